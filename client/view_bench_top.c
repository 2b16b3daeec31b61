/* SPDX-License-Identifier: MIT */
/* The upper half of the screen: header, position and state, facts, value. */
#include "client/view_bench.h"

#include "client/block.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>

/* ---- header: the job, and every meter ---- */

static enum look meter_look(const struct bench_view *v, const struct scene_meter *m)
{
	if (strcmp(m->state, "absent") == 0 || m->why[0])
		return LOOK_BAD;
	if (m == scene_front(v->scene) && m->touching)
		return LOOK_STRONG;
	return LOOK_ORDINARY;
}

/* "red 131.20 kohm", "blue gone", "bench silent"; bound ones with their position. */
static void meter_text(const struct bench_view *v, const struct scene_meter *m, char *out,
                       size_t size)
{
	char value[WORDS_SIZE];
	const char *says = value;
	words_value(v->style, m->shown, value, sizeof value);
	if (strcmp(m->state, "absent") == 0)
		says = "gone";
	else if (!scene_stands(v->scene, m, v->now))
		says = !v->scene->connected ? "?" : m->stale ? m->state : m->shown[0] ? "stale" : m->state;
	snprintf(out, size, "%.20s%s%.20s %.40s", m->name, m->bound[0] ? ">" : "", m->bound, says);
}

void view_bench_header(const struct bench_view *v, struct picture *p, int row, int width)
{
	const struct scene *s = v->scene;
	char all[SCENE_METERS_MAX][WORDS_SIZE];
	int need = 0, first = 0;
	for (int i = 0; i < s->meters; i++) {
		meter_text(v, &s->meter[i], all[i], sizeof all[i]);
		need += (int)words_width(all[i], strlen(all[i])) + 2;
	}
	/* Where they do not all fit, those that are not asked for by anything give way. */
	while (first < s->meters && need > width * 3 / 4)
		need -= (int)words_width(all[first], strlen(all[first])) + 2, first++;
	int column = width - need;
	for (int i = first; i < s->meters; i++)
		column = picture_put(p, row, column, meter_look(v, &s->meter[i]), all[i]) + 2;
	char left[256];
	snprintf(left, sizeof left, "%s%s%.60s", s->job[0] ? s->job : "no job",
	         s->bench[0] ? "  bench " : "", s->bench);
	int room = width - need - 2;
	picture_put_most(p, row, 0, room > 0 ? room : 0, LOOK_FAINT,
	                 (int)strlen(left) <= room ? left : s->job[0] ? s->job : "no job");
}

/* ---- the state in one word ---- */

static const struct {
	const char *word;
	enum look look;
} states[] = {
	[SCENE_NO_DAEMON] = {"NO DAEMON", LOOK_BAD},   [SCENE_NO_POSITION] = {"CHOOSE", LOOK_WARNING},
	[SCENE_READY] = {"READY", LOOK_ORDINARY},      [SCENE_WAIT] = {"LIFT", LOOK_WARNING},
	[SCENE_SETTLING] = {"SETTLING", LOOK_STRONG},  [SCENE_MOVING] = {"MOVING", LOOK_WARNING},
	[SCENE_SETTLED] = {"SETTLED", LOOK_STRONG},    [SCENE_LOGGED] = {"LOGGED", LOOK_GOOD},
	[SCENE_HELD] = {"HELD", LOOK_WARNING},         [SCENE_DOUBT] = {"DOUBT", LOOK_WARNING},
	[SCENE_REFUSED] = {"REFUSED", LOOK_BAD},       [SCENE_NOT_LOGGED] = {"NOT LOGGED", LOOK_BAD},
	[SCENE_GONE] = {"NO METER", LOOK_BAD},         [SCENE_STALE] = {"STALE", LOOK_BAD},
	[SCENE_DONE] = {"FINISHED", LOOK_GOOD},       [SCENE_ERRAND] = {"WAITS", LOOK_WARNING},
	[SCENE_DIAL] = {"DIAL", LOOK_WARNING},         [SCENE_FORBIDDEN] = {"NO", LOOK_BAD},
};

/* What the hands are to do with a meter that was asked for something else than an entry. */
static void errand_word(const struct scene *s, char *word, size_t size)
{
	if (strcmp(s->errand.what, "short") == 0)
		snprintf(word, size, "SHORT LEADS");
	else if (strcmp(s->errand.what, "open") == 0)
		snprintf(word, size, "OPEN LEADS");
	else if (s->errand.position[0])
		snprintf(word, size, "TOUCH %s", s->errand.position);
}

/* "DIAL OHM", "DIAL V DC": turn one there; "NO OHM" while it is live. */
static void function_word(const char *before, const char *function, char *word, size_t size)
{
	const char *kind = strchr(function, '-');
	int n = kind ? 1 : (int)strlen(function);
	snprintf(word, size, "%s %.*s%s%s", before, n, function, kind ? " " : "", kind ? kind + 1 : "");
	for (char *c = word; *c; c++)
		*c = (char)toupper((unsigned char)*c);
}

void view_bench_state(const struct bench_view *v, char *word, size_t size, enum look *look)
{
	const struct scene *s = v->scene;
	enum scene_state state = scene_state(s, v->now);
	*look = states[state].look;
	snprintf(word, size, "%s", states[state].word);
	if (state == SCENE_ERRAND)
		errand_word(s, word, size);
	if (state == SCENE_DIAL)
		function_word("DIAL", scene_dial(s, v->now), word, size);
	if (state == SCENE_FORBIDDEN)
		function_word("NO", scene_forbidden(s), word, size);
	const struct scene_meter *m = scene_front(s);
	if (state == SCENE_LOGGED && !s->logged.is && m && m->made[0]) {
		snprintf(word, size, "%s", m->made);
		*look = strcmp(m->made, "FAILED") == 0   ? LOOK_BAD
		        : strcmp(m->made, "STRUCK") == 0 ? LOOK_WARNING : LOOK_GOOD;
	}
	const char *logged = s->logged.typed ? "TYPED" : "LOGGED";
	if (state == SCENE_LOGGED && s->logged.is)
		snprintf(word, size, "%s", logged);
	if (state == SCENE_LOGGED && s->logged.is &&
	    (strcmp(s->logged.verdict, "outside") == 0 || strcmp(s->logged.verdict, "unsure") == 0)) {
		snprintf(word, size, "%s %s", logged, s->logged.verdict[0] == 'o' ? "OUTSIDE" : "UNSURE");
		*look = view_bench_verdict(s->logged.verdict);
	}
	if (state == SCENE_HELD && s->held.looks[0])
		snprintf(word, size, "HELD %s?", s->held.looks);
}

/* ---- position and state ---- */

static void upper(const char *text, char *out, size_t size)
{
	size_t i = 0;
	for (; text[i] && i + 1 < size; i++)
		out[i] = (char)toupper((unsigned char)text[i]);
	out[i] = '\0';
}

/* What follows the last stroke or point of a name: R12 of power/left/R12. */
static const char *name_end(const char *name)
{
	const char *end = name;
	for (const char *c = name; *c; c++)
		if ((*c == '/' || *c == '.') && c[1])
			end = c + 1;
	return end;
}

/* What stands large: the state, and of the name all or its end; "" where neither fits. */
struct place_fit {
	char state[80];
	enum look look;
	const char *name;
};

static bool fits(const struct place_fit *f, const char *name, int width)
{
	return block_width(BLOCK_MIDDLE, name) + 3 + block_width(BLOCK_MIDDLE, f->state) <= width;
}

static void place_fit(const struct bench_view *v, int width, struct place_fit *f)
{
	const struct scene *s = v->scene;
	const char *whole = scene_at(s)[0] ? scene_at(s) : "---", *end = name_end(whole);
	view_bench_state(v, f->state, sizeof f->state, &f->look);
	f->name = whole;
	if (fits(f, whole, width))
		return;
	/* The word alone that says more, where both do not fit; of a name there its end. */
	char *word = strchr(f->state, ' ');
	if (word) /* HELD power/left/R13? */
		memmove(word + 1, name_end(word + 1), strlen(name_end(word + 1)) + 1);
	for (int pass = word ? 0 : 1; pass < 2; pass++) {
		if (pass && word)
			memmove(f->state, word + 1, strlen(word));
		for (f->name = whole; f->name; f->name = f->name == end ? NULL : end)
			if ((pass || f->name == end) && fits(f, f->name, width))
				return;
	}
	f->name = "";
}

void view_bench_place(const struct bench_view *v, struct picture *p, int row, int width)
{
	const struct scene *s = v->scene;
	char quantity[SCENE_NAME];
	struct place_fit f;
	place_fit(v, width, &f);
	upper(s->quantity, quantity, sizeof quantity);
	int state_wide = block_width(BLOCK_MIDDLE, f.state);
	if (!f.name[0]) { /* a long name: plain, for the state must be seen from afar */
		int end = picture_put(p, row, 0, LOOK_STRONG, scene_at(s)[0] ? scene_at(s) : "---");
		picture_put(p, row + 1, 0, LOOK_STRONG, quantity);
		if (end + 2 + state_wide <= width)
			block_put(p, row, width - state_wide, BLOCK_MIDDLE, v->style->utf8, f.look, f.state);
		else
			picture_put(p, row + 2, 0, f.look, f.state);
		return;
	}
	int column = block_put(p, row, 0, BLOCK_MIDDLE, v->style->utf8, LOOK_STRONG, f.name);
	block_put(p, row, width - state_wide, BLOCK_MIDDLE, v->style->utf8, f.look, f.state);
	/* What else than the value is measured must be seen from afar. */
	int room = width - column - 3 - state_wide - 2;
	if (quantity[0] && strcmp(quantity, "VALUE") != 0 &&
	    block_width(BLOCK_MIDDLE, quantity) + 2 <= room)
		block_put(p, row, column + 3, BLOCK_MIDDLE, v->style->utf8, LOOK_WARNING, quantity);
}

/* ---- facts ---- */

/* What does not fit before `end` is cut, and that is seen. */
static int fact_put(struct picture *p, int row, int column, enum look look, const char *text,
                    int end)
{
	column = column ? column + 2 : 0;
	int wide = (int)words_width(text, strlen(text));
	if (!text[0] || end - column < 4)
		return column ? column - 2 : 0;
	if (column + wide <= end)
		return picture_put(p, row, column, look, text);
	column = picture_put_most(p, row, column, end - column - 1, look, text);
	return picture_put(p, row, column, LOOK_FAINT, "~");
}

/* "twin R103  104.10 kohm within": its value in the quantity that is up.  Returns where
 * it begins, less a gap. */
static int twin_put(const struct bench_view *v, struct picture *p, int row, int width)
{
	const struct scene *s = v->scene;
	const char *verdict = "", *shown = scene_twin_shown(s, &verdict);
	char value[WORDS_SIZE], text[WORDS_SIZE + 100];
	if (!s->twin[0])
		return width;
	words_value(v->style, shown, value, sizeof value);
	snprintf(text, sizeof text, "twin %.40s %s", s->twin, value[0] ? value : "nothing yet");
	int wide = (int)words_width(text, strlen(text)) + (verdict[0] ? 1 + (int)strlen(verdict) : 0);
	if (wide > width / 2)
		return width;
	int column = picture_put(p, row, width - wide, LOOK_ORDINARY, text);
	if (verdict[0])
		picture_put(p, row, column + 1, view_bench_verdict(verdict), verdict);
	return width - wide - 2;
}

void view_bench_facts(const struct bench_view *v, struct picture *p, int row, int width)
{
	const struct scene *s = v->scene;
	char text[WORDS_SIZE], value[WORDS_SIZE];
	int place = scene_place(s, s->position), column = 0;
	if (!s->position[0]) {
		picture_put(p, row, 0, LOOK_WARNING,
		            !s->job[0] ? "no job is open: j, then: start NAME; or type the name of a position"
		            : !s->sheet_count ? "no position is up, and no sheet: type a name (R1), or j for "
		                                "lines of a sheet"
		            : "no position is up: type its name, or n for the first of the sheet");
		return;
	}
	const struct scene_position *sheet = place >= 0 ? &s->sheet[place] : NULL;
	/* The twin at the right: it stands beside the value of this one, and is not cut. */
	int twin = twin_put(v, p, row, width);
	struct place_fit large;
	place_fit(v, width, &large);
	/* Its block letters are covered, or are its end alone. */
	if (scene_alarm(s) || strcmp(scene_at(s), s->position) != 0 ||
	    (large.name[0] && strcmp(large.name, s->position) != 0))
		column = fact_put(p, row, column, LOOK_STRONG, s->position, twin);
	column = fact_put(p, row, column, LOOK_ORDINARY, s->quantity, twin);
	if (s->have[0]) {
		snprintf(text, sizeof text, "%s meters", s->have);
		column = fact_put(p, row, column, LOOK_WARNING, text, twin);
	}
	words_value(v->style, s->nominal, value, sizeof value);
	snprintf(text, sizeof text, "%s %.60s%s%.60s", s->fit ? "fitted" : "nominal",
	         value[0] ? value : "not given", s->tolerance[0] ? ", " : "", s->tolerance);
	column = fact_put(p, row, column, LOOK_STRONG, text, twin);
	column = fact_put(p, row, column, LOOK_ORDINARY, sheet ? sheet->rated : "", twin);
	column = fact_put(p, row, column, LOOK_ORDINARY, s->role[0] ? s->role : s->chosen_kind, twin);
	column = fact_put(p, row, column, LOOK_ORDINARY, s->before, twin);
	if (sheet && sheet->channel[0])
		column = fact_put(p, row, column, LOOK_ORDINARY, sheet->channel, twin);
	if (sheet && sheet->with[0]) {
		snprintf(text, sizeof text, "with %.40s", sheet->with);
		column = fact_put(p, row, column, LOOK_FAINT, text, twin);
	}
	if (sheet)
		fact_put(p, row, column, LOOK_FAINT, sheet->note, twin);
}

/* ---- the value ---- */

/* "131.20 kohm" to "131.20" and "k<ohm sign>"; a word to capitals. */
static void split(const char *shown, const char *function, char *number, char *unit, size_t size)
{
	static const struct style signs = {.utf8 = true};
	char text[WORDS_SIZE];
	unit[0] = '\0';
	words_value(&signs, shown, text, sizeof text);
	if (!strpbrk(text, "0123456789")) {
		upper(text, number, size);
		char *sign = strncmp(number, "NEGATIVE ", 9) == 0 ? number : NULL;
		if (sign) {
			memmove(sign + 1, sign + 9, strlen(sign + 9) + 1);
			*sign = '-';
		}
		return;
	}
	char *blank = strchr(text, ' ');
	if (blank) {
		*blank = '\0';
		snprintf(unit, size, "%.20s%s", blank + 1, strstr(function, "-ac") ? " AC" : "");
	}
	snprintf(number, size, "%.40s", text);
}

/* Why there is none, in words. */
static const char *no_value(const struct bench_view *v)
{
	const struct scene *s = v->scene;
	const struct scene_meter *m = scene_front(s);
	if (!s->connected)
		return s->away[0] ? s->away : "no daemon";
	if (!s->meters)
		return "no meter in the configuration";
	if (v->now - s->live_at > SCENE_LIVE_MS)
		return "the daemon has sent nothing for two seconds: what it said last is taken away";
	for (int i = 0; i < s->meters && !m; i++)
		if (strcmp(s->meter[i].state, "absent") != 0 && scene_elsewhere(s, &s->meter[i]))
			return "no meter is free: those that are here are bound to other positions";
	for (int i = 0; i < s->meters && !m; i++)
		if (strcmp(s->meter[i].state, "absent") != 0)
			return "the meters say nothing";
	return m ? "the meter is silent" : "every meter is gone: look at their cables";
}

/* The number in this size with its unit, or with the unit in middle letters beside it.
 * False where it does not fit. */
static bool value_put(const struct bench_view *v, struct picture *p, int row, int width,
                      enum block size, enum look look, const char *number, const char *unit)
{
	bool utf8 = v->style->utf8;
	int gap = size == BLOCK_DOUBLE ? 6 : 3, wide = block_width(size, number);
	char shorter[WORDS_SIZE];
	for (int pass = 0; pass < 3; pass++) {
		snprintf(shorter, sizeof shorter, "%s", unit);
		if (pass > 0 && strchr(shorter, ' '))
			*strchr(shorter, ' ') = '\0'; /* the AC of "V AC": the facts have it, too */
		enum block unit_size = pass < 2 ? size : BLOCK_MIDDLE;
		int unit_wide = block_width(unit_size, shorter);
		int all = wide + (unit_wide ? gap + unit_wide : 0);
		if (all > width)
			continue;
		/* Right-aligned: the unit stands in one place, whatever the number. */
		int right = width > BENCH_WIDTH ? width - (width - BENCH_WIDTH) / 2 : width;
		int column = right > all ? right - all : width - all;
		int below = row + block_rows(size) - block_rows(unit_size);
		column = block_put(p, row, column, size, utf8, look, number);
		block_put(p, below, column + gap, unit_size, utf8, look, shorter);
		return true;
	}
	return false;
}

void view_bench_value(const struct bench_view *v, struct picture *p, int row, int width,
                      int rows)
{
	const struct scene_meter *m = scene_front(v->scene);
	char number[WORDS_SIZE], unit[WORDS_SIZE], state[80];
	enum look look;
	const char *function, *shown = scene_large(v->scene, v->now, &function);
	if (!shown) {
		const char *why = no_value(v);
		int wide = (int)words_width(why, strlen(why));
		picture_put(p, row + rows / 2, wide < width ? (width - wide) / 2 : 0, LOOK_BAD, why);
		return;
	}
	view_bench_state(v, state, sizeof state, &look);
	if (!v->scene->logged.is && !(m && m->touching))
		look = LOOK_ORDINARY;
	split(shown, function, number, unit, sizeof number);
	if (rows >= 2 * BLOCK_TALL_ROWS &&
	    value_put(v, p, row, width, BLOCK_DOUBLE, look, number, unit))
		return;
	if (rows >= BLOCK_TALL_ROWS &&
	    value_put(v, p, row + (rows - BLOCK_TALL_ROWS) / 2, width, BLOCK_TALL, look, number, unit))
		return;
	int middle = row + (rows - BLOCK_MIDDLE_ROWS) / 2;
	if (rows >= BLOCK_MIDDLE_ROWS &&
	    value_put(v, p, middle, width, BLOCK_MIDDLE, look, number, unit))
		return;
	picture_printf(p, row + rows / 2, 0, LOOK_STRONG, "%s %s", number, unit);
}

/* ---- the unit on the bench ---- */

void view_bench_unit(const struct bench_view *v, struct picture *p, int row, int width)
{
	const struct scene *s = v->scene;
	char word[4][SCENE_NAME];
	upper(s->unit_known ? s->live ? "live" : "cold" : "", word[0], sizeof word[0]);
	/* While the reservoirs are measured dead that counts, and not the condition. */
	upper(s->discharging ? "discharging" : s->condition, word[1], sizeof word[1]);
	upper(s->reach, word[2], sizeof word[2]);
	upper(s->quantity, word[3], sizeof word[3]);
	int column = 0, used = 0, count = 0;
	for (int i = 0; i < 4; i++) {
		int wide = block_width(BLOCK_MIDDLE, word[i]);
		if (i == 3 && used + wide + 3 * count > width)
			word[3][0] = '\0'; /* the facts have it, and place where it is another */
		used += word[i][0] ? wide : 0;
		count += word[i][0] != '\0';
	}
	if (!count)
		return;
	int gap = count > 1 ? (width - used) / (count - 1) : 0;
	gap = gap > 8 ? 8 : gap < 1 ? 1 : gap;
	if (used + gap * (count - 1) > width) {
		picture_printf(p, row + 1, 0, s->live ? LOOK_LIVE : LOOK_STRONG, "%s  %s  %s", word[0],
		               word[1], word[2]);
		return;
	}
	for (int i = 0; i < 4; i++) {
		if (!word[i][0])
			continue;
		/* Never reversed: the strokes of a block letter reach its edges, and cut out of a
		 * coloured field they run into what is around it. */
		bool live = i == 0 && s->live;
		column = block_put(p, row, column, BLOCK_MIDDLE, v->style->utf8,
		                   live ? LOOK_BAD : i == 0 ? LOOK_STRONG : LOOK_ORDINARY, word[i]) + gap;
	}
}
