/* SPDX-License-Identifier: MIT */
/*
 * `tally trail`: what the meters read, as a quick look, as a picture, as CSV, as records.
 *
 * What is shown where nothing is said: with --at the last touch that made an entry there,
 * with what was seen before and after it; else all of the trail.
 */
#include "client/chart.h"
#include "client/command_calls.h"
#include "client/command_trail.h"
#include "client/moment.h"
#include "client/spawn.h"
#include "protocol/record/record.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#define PICTURE_COLUMNS 1720 /* two for each unit of the picture */
#define ENTRIES_MAX 2000

struct gathering {
	struct client *c;
	struct chart chart;
	const char *position, *meter;
	int64_t entry;     /* the touch of this one alone; 0: the last */
	int64_t t, until;  /* of all that is there */
	bool no_memory;
	char *unsealed;    /* the runs that are open, of the last page of records; NULL: none */
	size_t unsealed_len;
	int64_t left_out;
	struct line {
		char meter[40], function[24];
		int64_t readings;
	} line[64];
	int lines;
	int64_t touch_seq; /* the entry whose touch is shown; 0: none */
	int64_t touch_t;
	char touch_meter[40];
	int64_t trail_first, trail_last; /* records that it names, and the readings in them */
	int64_t from_index, to_index;
};

static bool grow(struct gathering *g, void *array, int count, size_t each)
{
	void **at = array;
	if (count & (count - 1))
		return true; /* room is doubled at powers of two */
	void *grown = realloc(*at, (count ? 2 * (size_t)count : 1) * each);
	if (!grown) {
		g->no_memory = true;
		return false;
	}
	*at = grown;
	return true;
}

static void time_param(json_t *params, const char *name, int64_t us)
{
	char buffer[40];
	struct text text;
	text_begin(&text, buffer, sizeof buffer);
	text_time(&text, us);
	if (!text.failed)
		json_object_set_new(params, name, json_stringn(buffer + 1, strlen(buffer) - 2));
}

/* ---- which lines, and when ---- */

static struct line *line_of(struct gathering *g, const char *meter, const char *function)
{
	for (int i = 0; i < g->lines; i++)
		if (!strcmp(g->line[i].meter, meter) && !strcmp(g->line[i].function, function))
			return &g->line[i];
	if (g->lines == (int)(sizeof g->line / sizeof *g->line))
		return NULL;
	struct line *l = &g->line[g->lines];
	snprintf(l->meter, sizeof l->meter, "%s", meter);
	snprintf(l->function, sizeof l->function, "%s", function);
	l->readings = 0;
	return l;
}

static void lines_take(struct gathering *g, struct slice list)
{
	struct slice one;
	size_t cursor = 0;
	while (json_next(list, &cursor, &one)) {
		char meter[40], function[24];
		int64_t from, to, readings = 0;
		words_member(one, "meter", meter, sizeof meter);
		words_member(one, "function", function, sizeof function);
		json_int(json_member(one.at, one.len, "readings"), &readings);
		struct line *l = line_of(g, meter, function);
		if (!l || !json_time(json_member(one.at, one.len, "from"), &from) ||
		    !json_time(json_member(one.at, one.len, "to"), &to))
			continue;
		g->t = !g->lines || from < g->t ? from : g->t;
		g->until = !g->lines || to > g->until ? to : g->until;
		l->readings += readings;
		g->lines += l == &g->line[g->lines];
	}
}

static enum outcome read_lines(struct gathering *g)
{
	struct message m;
	/* Of a position the meters are asked for, not the stretches: what was seen before and
	 * after a touch is not for the position. */
	json_t *params = client_params("meter", g->meter, "position", g->position, NULL);
	json_object_set_new(params, "unsealed", json_true());
	enum outcome outcome = client_ask(g->c, "trail.lines", params, &m);
	if (outcome == OUTCOME_DONE) {
		lines_take(g, json_member(m.result.at, m.result.len, "lines"));
		lines_take(g, json_member(m.result.at, m.result.len, "unsealed"));
	}
	message_free(&m);
	return outcome;
}

/* The newest entry there that was made from a trail. */
static void each_touch(struct client *c, struct slice element, struct slice result, void *arg)
{
	struct gathering *g = arg;
	(void)c, (void)result;
	struct slice record = json_member(element.at, element.len, "record");
	struct slice struck = json_member(element.at, element.len, "struck");
	struct slice trail = json_member(record.at, record.len, "trail"), part, last = {NULL, 0};
	size_t cursor = 0;
	int64_t t, seq = 0;
	if (!record.at || (struck.at && *struck.at == '{' && !g->entry) ||
	    !json_time(json_member(record.at, record.len, "t"), &t))
		return;
	if (g->meter && !words_member_is(record, "meter", g->meter))
		return;
	if (g->entry && (!json_int(json_member(record.at, record.len, "seq"), &seq) || seq != g->entry))
		return;
	struct slice first = json_element(trail, 0);
	while (json_next(trail, &cursor, &part))
		last = part;
	if (!first.at)
		return;
	json_int(json_element(first, 0), &g->trail_first);
	json_int(json_element(first, 1), &g->from_index);
	json_int(json_element(last, 0), &g->trail_last);
	json_int(json_element(last, 2), &g->to_index);
	json_int(json_member(record.at, record.len, "seq"), &g->touch_seq);
	g->touch_t = t;
	words_member(record, "meter", g->touch_meter, sizeof g->touch_meter);
}

/* The time of one reading of a trail record. */
static bool reading_time(struct client *c, int64_t seq, int64_t index, int64_t *t)
{
	struct message m;
	int64_t at = 0;
	json_t *params = client_params("kind", "trail", NULL);
	json_object_set_new(params, "after", json_integer(seq - 1));
	json_object_set_new(params, "limit", json_integer(1));
	bool good = client_ask(c, "records", params, &m) == OUTCOME_DONE;
	struct slice record = good ? json_element(json_member(m.result.at, m.result.len, "records"), 0)
	                           : (struct slice){NULL, 0};
	good = record.at && json_time(json_member(record.at, record.len, "t"), t) &&
	       json_int(json_element(json_member(record.at, record.len, "at"), (size_t)index), &at);
	*t += at * TRAIL_TICK_US;
	message_free(&m);
	return good;
}

static enum outcome choose_stretch(struct gathering *g)
{
	const char *from = client_option(g->c, OPTION_FROM), *to = client_option(g->c, OPTION_TO);
	struct chart *c = &g->chart;
	struct fault why;
	c->from = g->t;
	c->to = g->until + 1;
	if (g->position && !from && !to) {
		json_t *params = client_params("position", g->position, "job", "*", NULL);
		enum outcome outcome = client_pages(g->c, "entries", params, "entries", each_touch, g);
		if (outcome != OUTCOME_DONE)
			return outcome;
		int64_t a, b;
		if (g->touch_seq && reading_time(g->c, g->trail_first, g->from_index, &a) &&
		    reading_time(g->c, g->trail_last, g->to_index, &b)) {
			c->from = a - TRAIL_BEFORE_US;
			c->to = (b > g->touch_t ? b : g->touch_t) + TRAIL_AFTER_US;
		}
	}
	if (to && !moment_parse(to, g->until, &g->c->style, &c->to, &why))
		return client_wrong(g->c, "--to: %s", why.text);
	if (from && !moment_parse(from, to ? c->to : g->until, &g->c->style, &c->from, &why))
		return client_wrong(g->c, "--from: %s", why.text);
	if (c->to <= c->from)
		return client_wrong(g->c, "--from must be before --to");
	return OUTCOME_DONE;
}

/* ---- a panel ---- */

static enum outcome read_columns(struct gathering *g, struct chart_panel *p, const char *position)
{
	struct message m;
	struct slice one;
	size_t cursor = 0;
	json_t *params = client_params("meter", p->meter, "function", function_name(p->function), "position",
	                               position, NULL);
	time_param(params, "from", g->chart.from);
	time_param(params, "to", g->chart.to);
	json_object_set_new(params, "columns", json_integer(g->chart.width));
	json_object_set_new(params, "unsealed", json_true());
	enum outcome outcome = client_ask(g->c, "trail.envelope", params, &m);
	struct slice list = json_member(m.result.at, m.result.len, "columns");
	json_int(json_member(m.result.at, m.result.len, "unsealed"), &p->unsealed);
	while (outcome == OUTCOME_DONE && json_next(list, &cursor, &one)) {
		struct slice number;
		double x[7] = {0};
		size_t at = 0;
		int i = 0;
		bool has[7] = {false};
		for (; i < 7 && json_next(one, &at, &number); i++)
			has[i] = json_number(number, &x[i]);
		if (i < 7 || !grow(g, &p->column, p->columns, sizeof *p->column))
			break;
		p->column[p->columns++] = (struct chart_column){.index = (int)x[0], .n = (int64_t)x[1],
			.has_value = has[2], .low = x[2], .high = x[3], .first = x[4], .last = x[5], .silence = x[6]};
	}
	message_free(&m);
	return outcome;
}

/* What the meter record says: "ohm 0.02% + 4; farad below 10 nF 2% + 10". */
static void read_accuracy(const char *text, struct accuracy *a)
{
	struct fault ignored;
	while (*text && a->count < ACCURACY_LINES_MAX) {
		struct accuracy_line *l = &a->line[a->count];
		size_t n = strcspn(text, ";"), word = strcspn(text, " ");
		*l = (struct accuracy_line){.has_below = false};
		a->hertz[a->count] = (struct decimal){0, 0};
		bool good = word < n && function_from_name(text, word, &l->function);
		const char *p = text + word, *end = text + n;
		while (good && p < end && strncmp(p, " below ", 7) == 0) {
			char bound[48];
			enum function f;
			p += 7;
			/* A number and its unit. */
			const char *q = p + strcspn(p, " ");
			q = *q ? q + 1 + strcspn(q + 1, " ;") : q;
			snprintf(bound, sizeof bound, "%.*s", (int)(q - p), p);
			bool hertz = strstr(bound, "Hz") != NULL;
			struct decimal *to = hertz ? &a->hertz[a->count] : &l->below;
			good = quantity_parse(bound, strlen(bound), hertz ? FUNCTION_HERTZ : l->function, to, &f, &ignored);
			l->has_below = l->has_below || !hertz;
			p = q;
		}
		while (p < end && *p == ' ')
			p++;
		if (good && accuracy_parse(p, (size_t)(end - p), &l->percent, &l->counts, &ignored))
			a->count++;
		text += n;
		text += strspn(text, "; ");
	}
}

static void each_meter(struct client *c, struct slice record, struct slice result, void *arg)
{
	struct chart_panel *p = arg;
	char text[1024];
	(void)c, (void)result;
	if (!record.at || !words_member_is(record, "meter", p->meter))
		return;
	words_member(record, "accuracy", text, sizeof text);
	if (!text[0])
		return;
	memset(&p->accuracy, 0, sizeof p->accuracy);
	read_accuracy(text, &p->accuracy);
	p->has_accuracy = accuracy_find(&p->accuracy, p->function, 0) != NULL;
}

struct gap_reader {
	struct gathering *g;
	struct chart_panel *p;
};

static void each_gap(struct client *c, struct slice record, struct slice result, void *arg)
{
	struct gap_reader *r = arg;
	struct chart_gap gap;
	(void)c, (void)result;
	if (!record.at || !words_member_is(record, "meter", r->p->meter) ||
	    !json_time(json_member(record.at, record.len, "from"), &gap.from) ||
	    !json_time(json_member(record.at, record.len, "to"), &gap.to) || gap.to < r->g->chart.from ||
	    gap.from >= r->g->chart.to)
		return;
	words_member(record, "cause", gap.name, sizeof gap.name);
	if (grow(r->g, &r->p->gap, r->p->gaps, sizeof gap))
		r->p->gap[r->p->gaps++] = gap;
}

/* What one count weighs there, for the counts of the accuracy: of its first run. */
static enum outcome read_digit(struct gathering *g, struct chart_panel *p)
{
	struct message m;
	json_t *params = client_params("meter", p->meter, "function", function_name(p->function), NULL);
	time_param(params, "from", g->chart.from);
	time_param(params, "to", g->chart.to);
	json_object_set_new(params, "limit", json_integer(1));
	json_object_set_new(params, "unsealed", json_true());
	enum outcome outcome = client_ask(g->c, "trail", params, &m);
	struct slice record = json_element(json_member(m.result.at, m.result.len, "records"), 0);
	if (!record.at)
		record = json_element(json_member(m.result.at, m.result.len, "unsealed"), 0);
	if (record.at)
		json_number(json_member(record.at, record.len, "digit"), &p->digit);
	message_free(&m);
	return outcome;
}

static enum outcome read_beside(struct gathering *g, struct chart_panel *p)
{
	struct gap_reader r = {g, p};
	enum outcome outcome = read_digit(g, p);
	if (outcome == OUTCOME_DONE)
		outcome = client_pages(g->c, "records", client_params("kind", "meter", "meter", p->meter, NULL),
	                                    "records", each_meter, p);
	if (outcome == OUTCOME_DONE)
		outcome = client_pages(g->c, "records", client_params("kind", "gap", "meter", p->meter, NULL),
		                       "records", each_gap, &r);
	return outcome;
}

/* ---- entries ---- */

static struct chart_panel *panel_for(struct gathering *g, struct slice record)
{
	for (int i = 0; i < g->chart.panels; i++) {
		struct chart_panel *p = &g->chart.panel[i];
		if (words_member_is(record, "meter", p->meter) &&
		    words_member_is(record, "function", function_name(p->function)))
			return p;
	}
	return NULL;
}

static enum chart_word word_of(struct slice record)
{
	return words_member_is(record, "verdict", "within") ? CHART_WITHIN
	     : words_member_is(record, "verdict", "unsure") ? CHART_UNSURE
	     : words_member_is(record, "verdict", "outside") ? CHART_OUTSIDE : CHART_NOT_JUDGED;
}

static void read_limits(struct chart_panel *p, struct slice record, const char *position)
{
	struct slice limits = json_member(record.at, record.len, "limits");
	p->has_low = json_number(json_element(limits, 0), &p->low);
	p->has_high = json_number(json_element(limits, 1), &p->high);
	snprintf(p->limits_of, sizeof p->limits_of, "%s", position);
}

static void each_entry(struct client *c, struct slice element, struct slice result, void *arg)
{
	struct gathering *g = arg;
	struct slice record = json_member(element.at, element.len, "record");
	struct slice struck = json_member(element.at, element.len, "struck");
	struct slice moved = json_member(element.at, element.len, "moved");
	struct chart_entry e = {.t = 0};
	struct chart_panel *p;
	char shown[WORDS_SIZE], value[WORDS_SIZE], deviation[WORDS_SIZE], verdict[32];
	int64_t seq = 0;
	(void)result;
	if (!record.at || (struck.at && *struck.at == '{') ||
	    !json_time(json_member(record.at, record.len, "t"), &e.t) || e.t < g->chart.from ||
	    e.t >= g->chart.to || !(p = panel_for(g, record)) || p->entries >= ENTRIES_MAX)
		return;
	words_member(moved.at && *moved.at == '{' ? moved : record, "position", e.position, sizeof e.position);
	words_member(record, "shown", shown, sizeof shown);
	words_member(record, "verdict", verdict, sizeof verdict);
	words_value(&c->style, shown, value, sizeof value);
	words_deviation(&c->style, record, deviation, sizeof deviation);
	json_int(json_member(record.at, record.len, "seq"), &seq);
	e.has_value = json_number(json_member(record.at, record.len, "value"), &e.value);
	e.word = word_of(record);
	snprintf(e.text, sizeof e.text, "%s, %.40s%s%.16s%s%.40s, entry %lld", e.position, value,
	         strcmp(verdict, "none") ? ", " : "", strcmp(verdict, "none") ? verdict : "",
	         deviation[0] ? ", " : "", deviation, (long long)seq);
	if (grow(g, &p->entry, p->entries, sizeof e))
		p->entry[p->entries++] = e;
	if (g->position)
		read_limits(p, record, e.position);
	/* Its touch; of very many the marks alone are enough. */
	int64_t first, last, from, to;
	struct slice trail = json_member(record.at, record.len, "trail"), part, end = {NULL, 0};
	size_t cursor = 0;
	while (json_next(trail, &cursor, &part))
		end = part;
	struct chart_touch touch;
	if (p->touches < 100 && end.at && json_int(json_element(json_element(trail, 0), 0), &first) &&
	    json_int(json_element(json_element(trail, 0), 1), &from) &&
	    json_int(json_element(end, 0), &last) && json_int(json_element(end, 2), &to) &&
	    reading_time(c, first, from, &touch.from) && reading_time(c, last, to, &touch.to) &&
	    grow(g, &p->touch, p->touches, sizeof touch)) {
		snprintf(touch.position, sizeof touch.position, "%s", e.position);
		p->touch[p->touches++] = touch;
	}
}

/* ---- all of it ---- */

static int by_readings(const void *a, const void *b)
{
	int64_t x = ((const struct line *)a)->readings, y = ((const struct line *)b)->readings;
	return (y > x) - (y < x);
}

static void title(struct gathering *g)
{
	struct chart *c = &g->chart;
	snprintf(c->title, sizeof c->title, "%s%s%s", g->position ? g->position : "Trail",
	         g->touch_seq ? (g->entry ? ", one touch" : ", last touch") : "", g->meter ? ", one meter" : "");
}

static enum outcome gather(struct gathering *g, int width)
{
	struct chart *c = &g->chart;
	enum outcome outcome = read_lines(g);
	if (outcome == OUTCOME_DONE && !g->lines)
		return client_wrong(g->c, g->position ? "no reading was ever taken for %.60s%s%.60s"
		                    : "there is no trail%.0s%s%.60s", g->position ? g->position : "",
		                    g->meter ? " by " : "", g->meter ? g->meter : "");
	if (outcome == OUTCOME_DONE)
		outcome = choose_stretch(g);
	if (outcome != OUTCOME_DONE)
		return outcome;
	title(g);
	c->width = width;
	c->panel = calloc(CHART_PANELS_MAX, sizeof *c->panel);
	g->no_memory = !c->panel;
	qsort(g->line, (size_t)g->lines, sizeof *g->line, by_readings);
	for (int i = 0; i < g->lines && c->panel && c->panels < CHART_PANELS_MAX; i++) {
		struct chart_panel *p = &c->panel[c->panels];
		memset(p, 0, sizeof *p);
		/* A touch is of one meter; the others hang beside it. */
		if (g->touch_seq && strcmp(g->touch_meter, g->line[i].meter) != 0)
			continue;
		snprintf(p->meter, sizeof p->meter, "%s", g->line[i].meter);
		if (!function_from_name(g->line[i].function, strlen(g->line[i].function), &p->function))
			continue;
		outcome = read_columns(g, p, NULL);
		if (outcome != OUTCOME_DONE)
			return outcome;
		if (!p->columns) {
			free(p->column);
			continue; /* it read nothing in that stretch */
		}
		c->panels++;
		outcome = read_beside(g, p);
		if (outcome != OUTCOME_DONE)
			return outcome;
	}
	if (!c->panels)
		return client_wrong(g->c, "no meter read anything in that stretch of time");
	json_t *params = client_params("position", g->position, "job", "*", NULL);
	outcome = client_pages(g->c, "entries", params, "entries", each_entry, g);
	if (g->no_memory)
		return client_wrong(g->c, "no memory for so much: ask for a shorter stretch");
	return outcome;
}

/* ---- pictures ---- */

static enum outcome write_file(struct client *c, const char *file, const struct lines *svg)
{
	FILE *f = fopen(file, "w");
	bool good = f && fwrite(svg->bytes, 1, svg->len, f) == svg->len;
	int error = errno;
	if (f && fclose(f) != 0) {
		good = false;
		error = errno;
	}
	if (!good)
		return client_wrong(c, "%s: cannot be written: %s", file, strerror(error));
	return OUTCOME_DONE;
}

/* PNG and PDF are made by the drawing program, which reads the SVG. */
static enum outcome draw_file(struct client *c, const char *file, const struct lines *svg)
{
	struct fault why;
	struct spawn s;
	char program[PATH_MAX];
	if (!spawn_find_ours("tally-draw", program))
		return client_wrong(c, "tally-draw is not installed, which makes PNG and PDF of SVG: write FILE.svg");
	if (!spawn_run(program, (const char *const[]){file, NULL}, &s, &why))
		return client_wrong(c, "%s", why.text);
	spawn_give(&s, svg->bytes, svg->len, c->stop);
	return spawn_close(&s) == 0 ? OUTCOME_DONE : OUTCOME_WRONG; /* it has said why */
}

static enum outcome picture(struct client *c, struct gathering *g, const char *file)
{
	struct lines svg = {0};
	const char *dot = strrchr(file, '.');
	bool drawn = dot && (!strcmp(dot, ".png") || !strcmp(dot, ".pdf"));
	if (!dot || (!drawn && strcmp(dot, ".svg")))
		return client_wrong(c, "--chart %s: the name must end with .svg, .png or .pdf", file);
	enum outcome outcome = gather(g, PICTURE_COLUMNS);
	if (outcome != OUTCOME_DONE)
		return outcome;
	chart_svg(&g->chart, &c->style, &svg);
	if (svg.failed)
		outcome = client_wrong(c, "no memory for the picture");
	else
		outcome = drawn ? draw_file(c, file, &svg) : write_file(c, file, &svg);
	lines_free(&svg);
	if (outcome == OUTCOME_DONE && !client_has(c, OPTION_JSON))
		fprintf(c->out, "%s\n", file);
	return outcome;
}

/* ---- readings ---- */

static void csv_reading(struct client *c, const struct trail_body *b, const struct record_head *head,
                        int i)
{
	const struct trail_reading *r = &b->reading[i];
	char buffer[40], value[DECIMAL_TEXT_SIZE] = "", second[DECIMAL_TEXT_SIZE] = "";
	struct text text;
	struct decimal d;
	text_begin(&text, buffer, sizeof buffer);
	text_time(&text, head->t + r->at * TRAIL_TICK_US);
	text_begin(&text, value, sizeof value);
	if (r->has_value && !__builtin_mul_overflow(r->v, b->digit.n, &d.n)) {
		d.e = b->digit.e;
		text_decimal(&text, d);
	}
	text_begin(&text, second, sizeof second);
	if (r->has_second && !__builtin_mul_overflow(r->second, b->second_digit.n, &d.n)) {
		d.e = b->second_digit.e;
		text_decimal(&text, d);
	}
	char record[24] = ""; /* of what is not sealed there is no record yet */
	if (head->seq)
		snprintf(record, sizeof record, "%lld", (long long)head->seq);
	fprintf(c->out, "%.27s,%s,%s,%s,%s,%s,%s,%d,%s,%s\r\n", buffer + 1, b->meter,
	        b->position ? b->position : "", function_name(b->function), value,
	        r->has_value ? "" : reading_state_word(r->state), record, i,
	        r->has_second ? second_word(b->second) : "", second);
}

/* The readings of one run in the stretch that is shown. */
static int run_out(struct client *c, struct gathering *g, struct slice record)
{
	static struct trail_reading reading[TRAIL_READINGS_MAX];
	struct trail_body body;
	struct trail_names names;
	struct record_head head = {.seq = 0};
	int n = 0;
	if (!client_has(c, OPTION_CSV))
		client_json(c, record);
	json_int(json_member(record.at, record.len, "seq"), &head.seq);
	if (!json_time(json_member(record.at, record.len, "t"), &head.t) ||
	    !trail_body_read(record.at, record.len, &body, &names, reading, TRAIL_READINGS_MAX))
		return 0;
	for (int i = 0; i < body.n; i++) {
		int64_t t = head.t + reading[i].at * TRAIL_TICK_US;
		if (t < g->chart.from || t >= g->chart.to)
			continue;
		if (client_has(c, OPTION_CSV))
			csv_reading(c, &body, &head, i);
		n++;
	}
	return n;
}

static void each_run(struct client *c, struct slice record, struct slice result, void *arg)
{
	struct gathering *g = arg;
	if (record.at) {
		run_out(c, g, record);
		return;
	}
	/* A page begins: what is not sealed comes last, of the last of them. */
	struct slice unsealed = json_member(result.at, result.len, "unsealed");
	free(g->unsealed);
	g->unsealed = unsealed.at ? strndup(unsealed.at, unsealed.len) : NULL;
	g->unsealed_len = g->unsealed ? unsealed.len : 0;
	g->left_out = 0;
	json_int(json_member(result.at, result.len, "left_out"), &g->left_out);
}

static void unsealed_out(struct client *c, struct gathering *g)
{
	struct slice run;
	size_t cursor = 0;
	long long n = 0;
	while (g->unsealed && json_next((struct slice){g->unsealed, g->unsealed_len}, &cursor, &run))
		n += run_out(c, g, run);
	if (n)
		fprintf(c->err, "tally: %lld reading%s at the end %s not sealed yet%s\n", n, n == 1 ? "" : "s",
		        n == 1 ? "is" : "are",
		        client_has(c, OPTION_CSV) ? ": no record is named with them" : " (\"sealed\":false)");
	if (g->left_out)
		fprintf(c->err, "tally: %lld more run%s not sealed yet and had no room in the answer: ask for one "
		        "meter\n", (long long)g->left_out, g->left_out == 1 ? " is" : "s are");
	free(g->unsealed);
}

static enum outcome readings(struct client *c, struct gathering *g)
{
	enum outcome outcome = read_lines(g);
	if (outcome == OUTCOME_DONE && g->lines)
		outcome = choose_stretch(g);
	if (outcome != OUTCOME_DONE)
		return outcome;
	if (client_has(c, OPTION_CSV))
		fputs("time_utc,meter,position,function,value_si,state,record,reading,second,second_si\r\n", c->out);
	if (!g->lines)
		return OUTCOME_DONE;
	json_t *params = client_params("meter", g->meter, NULL);
	/* Of a touch all that was seen, else what is the position's. */
	if (g->position && !g->touch_seq)
		json_object_set_new(params, "position", json_string(g->position));
	time_param(params, "from", g->chart.from);
	time_param(params, "to", g->chart.to);
	json_object_set_new(params, "unsealed", json_true());
	outcome = client_pages(c, "trail", params, "records", each_run, g);
	if (outcome == OUTCOME_DONE)
		unsealed_out(c, g);
	else
		free(g->unsealed);
	return outcome;
}

enum outcome trail_show(struct client *c, const char *position, int64_t entry)
{
	struct gathering g = {.c = c, .position = position, .meter = client_option(c, OPTION_METER),
		.entry = entry};
	const char *file = client_option(c, OPTION_CHART);
	enum outcome outcome;
	if (file) {
		outcome = picture(c, &g, file);
	} else if (client_has(c, OPTION_CSV) || client_has(c, OPTION_JSON)) {
		outcome = readings(c, &g);
	} else {
		struct lines out = {0};
		int width = c->style.width > 40 ? c->style.width : 80;
		outcome = gather(&g, c->style.plain ? 800 : width - 11);
		if (outcome == OUTCOME_DONE) {
			chart_text(&g.chart, &c->style, &out);
			client_lines(c, &out);
		}
	}
	chart_free(&g.chart);
	return outcome;
}

enum outcome call_trail(struct client *c)
{
	return client_option(c, OPTION_ENTRY) ? trail_touch(c)
	                                      : trail_show(c, client_option(c, OPTION_AT), 0);
}
