/* SPDX-License-Identifier: MIT */
/*
 * What the person did, as a recording says it: acts by their words.
 *
 * One table has every act; a whole recording is checked against it before it
 * runs, so that a misspelt act at its end does not leave half a replay behind.
 */
#include "daemon/bench_guide.h"

#include "protocol/trade/frequency.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* On the tape of a live bench, so that its replay does the same. */
void bench_taped(struct bench *b, int64_t t, const char *act, const char *format, ...)
{
	char rest[512];
	if (!b->hooks.act || b->quiet)
		return;
	va_list args;
	va_start(args, format);
	vsnprintf(rest, sizeof rest, format, args);
	va_end(args);
	b->hooks.act(b->hooks.arg, NULL, t, act, rest);
}

#define WORDS_MAX 4
struct words {
	char word[WORDS_MAX][128];
	int column[WORDS_MAX];
	int count;
	const char *tail[WORDS_MAX]; /* the rest of the text from each word on */
};

static void split(const char *rest, struct words *w)
{
	memset(w, 0, sizeof *w);
	const char *p = rest;
	while (w->count < WORDS_MAX) {
		p += strspn(p, " \t");
		size_t n = strcspn(p, " \t");
		if (!n)
			break;
		w->column[w->count] = (int)(p - rest) + 1;
		w->tail[w->count] = p;
		snprintf(w->word[w->count], sizeof w->word[0], "%.*s", (int)(n < 127 ? n : 127), p);
		w->count++;
		p += n;
	}
}

/* b with t < 0: only check. */
typedef bool act_function(struct bench *b, int64_t t, const struct words *w, struct fault *why);

static bool expect(struct fault *why, const struct words *w, int word, const char *what)
{
	fault_at(why, NULL, 0, word < w->count ? w->column[word] : 0, "expected %s%s%s%s", what,
	         word < w->count ? ", found \"" : "", word < w->count ? w->word[word] : "",
	         word < w->count ? "\"" : "");
	return false;
}

static bool act_at(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	enum quantity q;
	bool has_quantity = w->count > 1;
	if (w->count < 1 || !name_valid(w->word[0], strlen(w->word[0])))
		return expect(why, w, 0, "the name of a position");
	if (strcmp(w->word[0], "new") == 0 && position_find(b, "new") < 0)
		return sheet_act_run(b, t, "new", has_quantity ? w->tail[1] : "", why);
	if (has_quantity && !quantity_from_name(w->word[1], strlen(w->word[1]), &q))
		return expect(why, w, 1, "a quantity (value, leakage, esr, dissipation, insulation, volts)");
	if (w->count > 2 && bench_meter_index(b, w->word[2]) < 0)
		return expect(why, w, 2, "the name of a meter");
	return t < 0 || bench_at(b, t, w->word[0], has_quantity ? (int)q : -1,
	                         w->count > 2 ? w->word[2] : NULL, why);
}

static bool act_walk(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	struct bench_way way = {.meters = 1};
	int at = 1;
	if (w->count < 1 || !walk_mode_from_name(w->word[0], &way.mode))
		return expect(why, w, 0, "on, off, lift or new");
	if (way.mode == WALK_NEW && at < w->count) {
		if (!prefix_valid(w->word[at], why))
			return expect(why, w, at, "the beginning of a name");
		snprintf(way.prefix, sizeof way.prefix, "%.32s", w->word[at++]);
	}
	if (at < w->count && walk_order_from_name(w->word[at], &way.order))
		at++;
	if (at < w->count && strlen(w->word[at]) == 1 && w->word[at][0] >= '1' &&
	    w->word[at][0] <= '0' + WALK_METERS_MAX)
		way.meters = w->word[at++][0] - '0';
	if (at < w->count)
		return expect(why, w, at, "sheet, kind or channel, and how many meters");
	return t < 0 || bench_walk(b, t, &way, why);
}

static bool act_reach(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	enum reach r;
	if (w->count != 1 || !reach_from_name(w->word[0], strlen(w->word[0]), &r))
		return expect(why, w, 0, "in-circuit, lifted or loose");
	return t < 0 || bench_reach(b, t, r, (struct bench_wait){0}, why);
}

static bool act_condition(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	enum condition c;
	if (w->count != 1 || !condition_from_name(w->word[0], strlen(w->word[0]), &c))
		return expect(why, w, 0, "found, new or done");
	return t < 0 || bench_condition(b, t, c, (struct bench_wait){0}, why);
}

static bool act_quantity(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	enum quantity q;
	if (w->count != 1 || !quantity_from_name(w->word[0], strlen(w->word[0]), &q))
		return expect(why, w, 0, "a quantity (value, leakage, esr, dissipation, insulation, volts)");
	return t < 0 || bench_quantity(b, t, q, why);
}

static bool act_take(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	struct decimal hertz;
	struct fault no;
	const char *frequency = w->count == 2 ? w->word[1] : NULL;
	if (w->count > 2 || (w->count && bench_meter_index(b, w->word[0]) < 0))
		return expect(why, w, 0, "nothing, or the name of a meter, and the frequency of the signal");
	if (frequency && !frequency_parse(frequency, &hertz, &no))
		return expect(why, w, 1, "a frequency such as 1kHz");
	return t < 0 || bench_take_at(b, t, w->count ? w->word[0] : NULL, frequency,
	                              (struct bench_wait){0}, why);
}

static bool act_again(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	bool swapped = w->count == 1 && strcmp(w->word[0], "swapped") == 0;
	if (w->count && !swapped)
		return expect(why, w, 0, "nothing, or swapped");
	return t < 0 || bench_again(b, t, swapped, why);
}

static bool act_undo(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	if (w->count)
		return expect(why, w, 0, "nothing");
	return t < 0 || bench_undo(b, t, (struct bench_wait){0}, why);
}

static bool act_next(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	if (w->count)
		return expect(why, w, 0, "nothing");
	return t < 0 || bench_next(b, t, why);
}

static bool act_back(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	if (w->count)
		return expect(why, w, 0, "nothing");
	return t < 0 || bench_back(b, t, why);
}

static bool act_there(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	if (w->count)
		return expect(why, w, 0, "nothing");
	return t < 0 || bench_there(b, t, (struct bench_wait){0}, why);
}

static bool act_speaks(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	bool on = w->count == 1 && strcmp(w->word[0], "on") == 0;
	if (!on && !(w->count == 1 && strcmp(w->word[0], "off") == 0))
		return expect(why, w, 0, "on or off");
	return t < 0 || bench_speaks(b, t, on, why);
}

static bool act_announced(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	if (w->count)
		return expect(why, w, 0, "nothing");
	return t < 0 || bench_announced(b, t, 0, why);
}

static bool act_guide(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	enum guide_kind kind;
	if (w->count < 2 || !guide_from_name(w->word[0], &kind))
		return expect(why, w, 0, "a kind of guided run (leak, reform, rise, tune, lot), what it is of or -, and "
		              "words such as grid=red");
	const char *of = strcmp(w->word[1], "-") == 0 ? "" : w->word[1];
	return t < 0 || bench_guide_start(b, t, w->word[0], of, w->count > 2 ? w->tail[2] : "",
	                                  (struct bench_wait){0}, why);
}

static bool act_go(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	bool back = w->count == 2 && strcmp(w->word[1], "back") == 0;
	if (w->count > 1 && !back)
		return expect(why, w, 1, "what the guided run is of, or nothing; and back, for the step before");
	const char *which = w->count ? w->word[0] : NULL;
	if (t < 0)
		return true;
	return back ? bench_guide_back(b, t, which, (struct bench_wait){0}, why)
	            : bench_guide_go(b, t, which, (struct bench_wait){0}, why);
}

static bool act_leave(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	if (w->count > 1)
		return expect(why, w, 1, "what the guided run is of, or nothing");
	return t < 0 || bench_guide_leave(b, t, w->count ? w->word[0] : NULL, "", (struct bench_wait){0}, why);
}

static bool act_resume(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	if (w->count > 1)
		return expect(why, w, 1, "what the guided run is of that was left, or nothing");
	return t < 0 || bench_guide_resume(b, t, w->count ? w->word[0] : NULL, (struct bench_wait){0}, why);
}

/* The position stands last, however many entries are named before it. */
static bool act_move(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	char which[512], *last;
	snprintf(which, sizeof which, "%s", w->count ? w->tail[0] : "");
	for (size_t n = strlen(which); n && which[n - 1] == ' ';)
		which[--n] = '\0';
	last = strrchr(which, ' ');
	if (!last || !name_valid(last + 1, strlen(last + 1)))
		return expect(why, w, 0, "entries (^1 is the last one) and the name of a position");
	*last++ = '\0';
	for (const char *p = which; *(p += strspn(p, " "));) {
		char word[32];
		size_t n = strcspn(p, " ");
		snprintf(word, sizeof word, "%.*s", (int)n, p);
		if (n >= sizeof word || !move_word_valid(word))
			return expect(why, w, 0, "entries (^1 is the last one) and the name of a position");
		p += n;
	}
	return t < 0 || bench_move(b, t, which, last, NULL, (struct bench_wait){0}, why);
}

static bool act_offset(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	bool open = w->count && strcmp(w->word[0], "open") == 0;
	if (!w->count || w->count > 2 || (!open && strcmp(w->word[0], "short") != 0))
		return expect(why, w, 0, "short or open, and the name of a meter");
	if (w->count == 2 && bench_meter_index(b, w->word[1]) < 0)
		return expect(why, w, 1, "the name of a meter that is configured");
	return t < 0 || bench_offset(b, t, open, w->count == 2 ? w->word[1] : NULL,
	                             (struct bench_wait){0}, why);
}

static bool act_check(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	if (w->count < 1 || bench_meter_index(b, w->word[0]) < 0)
		return expect(why, w, 0, "the name of a meter that is configured");
	if (w->count != 2 || !name_valid(w->word[1], strlen(w->word[1])))
		return expect(why, w, 1, "the position of a reference part");
	return t < 0 || bench_check(b, t, w->word[0], w->word[1], (struct bench_wait){0}, why);
}

static bool act_cold(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	/* What follows is why it is cold without a measurement. */
	return t < 0 || bench_job_state(b, t, false, w->count ? w->tail[0] : "",
	                                (struct bench_wait){0}, why);
}

static bool act_live(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	if (w->count)
		return expect(why, w, 0, "nothing");
	return t < 0 || bench_job_state(b, t, true, "", (struct bench_wait){0}, why);
}

static bool act_job(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	if (w->count < 1)
		return expect(why, w, 0, "the name of a job");
	if (t >= 0 && strcmp(b->job, w->tail[0]) == 0)
		return true; /* a tape may say again which job is open */
	return t < 0 || bench_job_start(b, t, w->tail[0], (struct bench_wait){0}, why);
}

static bool act_note(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	if (w->count < 2 || !name_valid(w->word[0], strlen(w->word[0])))
		return expect(why, w, w->count < 1 ? 0 : 1, "the name of a position and a text");
	return t < 0 || bench_note(b, t, w->word[0], w->tail[1], (struct bench_wait){0}, why);
}

static bool act_meter(struct bench *b, int64_t t, const struct words *w, struct fault *why)
{
	int i = w->count ? bench_meter_index(b, w->word[0]) : -1;
	if (i < 0)
		return expect(why, w, 0, "the name of a meter that is configured");
	bool gone = w->count > 1 && strcmp(w->word[1], "gone") == 0;
	bool free = w->count == 2 && strcmp(w->word[1], "free") == 0; /* bound no more */
	enum meter_class kind = METER_CLASS_UNKNOWN; /* what was seen of it before the tape began */
	bool seen = w->count == 3 && strcmp(w->word[1], "class") == 0;
	if (seen && !meter_class_from_word(w->word[2], strlen(w->word[2]), &kind))
		return expect(why, w, 2, "a class of meters");
	if (!gone && !free && !seen && !(w->count == 2 && strcmp(w->word[1], "back") == 0))
		return expect(why, w, 1, "gone, back, free or class");
	if (t < 0)
		return true;
	if (seen) {
		b->meter[i].kind_seen = kind;
		return true;
	}
	if (free)
		return bench_at(b, t, NULL, -1, w->word[0], why);
	if (gone)
		bench_line_gone(b, t, i, w->count > 2 ? w->tail[2] : "unplugged");
	else
		bench_line_opened(b, t, i);
	return true;
}

static const struct act {
	const char *name;
	act_function *call;
} acts[] = {
    {"at", act_at},       {"walk", act_walk},   {"reach", act_reach}, {"condition", act_condition},
    {"take", act_take},   {"again", act_again}, {"undo", act_undo},   {"quantity", act_quantity},
    {"cold", act_cold},   {"live", act_live},   {"job", act_job},     {"note", act_note},
    {"meter", act_meter}, {"next", act_next},   {"back", act_back},   {"there", act_there},
    {"move", act_move},   {"offset", act_offset}, {"check", act_check}, {"speaks", act_speaks},
    {"announced", act_announced}, {"guide", act_guide}, {"go", act_go}, {"leave", act_leave},
    {"resume", act_resume},
};

static bool act_run(struct bench *b, int64_t t, const char *name, const char *rest,
                    struct fault *why)
{
	struct words w;
	if (sheet_act_known(name))
		return sheet_act_run(b, t, name, rest, why);
	split(rest, &w);
	for (size_t i = 0; i < sizeof acts / sizeof *acts; i++)
		if (strcmp(acts[i].name, name) == 0)
			return acts[i].call(b, t, &w, why);
	fault_set(why, "there is no act @%s: at, walk, reach, condition, quantity, take, again, undo, "
	          "next, back, there, move, offset, check, speaks, announced, note, cold, live, job, "
	          "meter, sheet, fit, rename, new, twins, identity, fitted, guide, go, leave, resume", name);
	return false;
}

bool bench_act(struct bench *b, int64_t t, const char *act, const char *rest, struct fault *why)
{
	bench_run_until(b, t);
	return act_run(b, t, act, rest, why);
}

bool bench_act_check(const struct bench *b, const char *act, const char *rest, struct fault *why)
{
	/* With t < 0 no act changes anything; the table's functions serve both. */
	return act_run((struct bench *)(uintptr_t)b, -1, act, rest, why);
}

void bench_tape_begins(struct bench *b, int64_t t)
{
	bench_run_until(b, t);
	if (b->job[0])
		bench_taped(b, t, "job", "%s", b->job);
	sheet_fits_taped(b, t);
	if (b->condition != CONDITION_FOUND)
		bench_taped(b, t, "condition", "%s", condition_name(b->condition));
	if (b->reach != REACH_IN_CIRCUIT)
		bench_taped(b, t, "reach", "%s", reach_name(b->reach));
	if (b->live)
		bench_taped(b, t, "live", "%s", "");
	if (b->chosen >= 0)
		bench_taped(b, t, "at", "%s %s", b->position[b->chosen].row.position.name,
		            quantity_name(b->quantity));
	if (b->way.mode != WALK_OFF)
		way_taped(b, t, &b->way);
	for (int i = 0; i < b->meters; i++)
		if (b->meter[i].bound.place >= 0)
			bench_taped(b, t, "at", "%s %s %s",
			            b->position[b->meter[i].bound.place].row.position.name,
			            quantity_name(b->meter[i].bound.quantity), b->meter[i].config->name);
	for (int i = 0; i < b->meters; i++)
		if (b->meter[i].kind_seen > METER_CLASS_HANDHELD_2000)
			bench_taped(b, t, "meter", "%s class %s", b->meter[i].config->name,
			            meter_class_word(b->meter[i].kind_seen));
	if (b->speaks)
		bench_taped(b, t, "speaks", "%s", "on");
}
