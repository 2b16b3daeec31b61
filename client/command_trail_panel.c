/* SPDX-License-Identifier: MIT */
/*
 * Answers of the daemon into the panels of a chart: columns of readings, the band of a meter's
 * accuracy, gaps, entries with their touches and limits.
 */
#include "client/array.h"
#include "client/command_calls.h"
#include "client/command_trail.h"
#include "protocol/record/record.h"

#include <string.h>

/* Marks of entries in one panel: what more there are would lie on each other. */
#define ENTRIES_MAX 2000

/* ---- a panel ---- */

void trail_time_param(json_t *params, const char *name, int64_t us)
{
	char buffer[40];
	struct text text;
	text_begin(&text, buffer, sizeof buffer);
	text_time(&text, us);
	if (!text.failed)
		json_object_set_new(params, name, json_stringn(buffer + 1, strlen(buffer) - 2));
}

/* A column is seven numbers (protocol/WIRE.md); null where there is none. */
bool trail_columns_take(struct chart_panel *p, struct slice list)
{
	struct slice one, number;
	bool no_memory = false;
	for (size_t cursor = 0; list.at && json_next(list, &cursor, &one);) {
		double x[7] = {0};
		bool has[7] = {false};
		int i = 0;
		for (size_t at = 0; i < 7 && json_next(one, &at, &number); i++)
			has[i] = json_number(number, &x[i]);
		if (i < 7 || !array_grow(&no_memory, &p->column, p->columns, sizeof *p->column))
			break;
		p->column[p->columns++] = (struct chart_column){.index = (int)x[0], .n = (int64_t)x[1],
			.has_value = has[2], .low = x[2], .high = x[3], .first = x[4], .last = x[5], .silence = x[6]};
	}
	return !no_memory;
}

enum outcome trail_read_columns(struct gathering *g, struct chart_panel *p)
{
	struct message m;
	json_t *params = client_params("meter", p->meter, "function", function_name(p->function), NULL);
	trail_time_param(params, "from", g->chart.from);
	trail_time_param(params, "to", g->chart.to);
	json_object_set_new(params, "columns", json_integer(g->chart.width));
	json_object_set_new(params, "unsealed", json_true());
	enum outcome outcome = client_ask(g->c, "trail.envelope", params, &m);
	json_int(json_member(m.result.at, m.result.len, "unsealed"), &p->unsealed);
	if (outcome == OUTCOME_DONE &&
	    !trail_columns_take(p, json_member(m.result.at, m.result.len, "columns")))
		g->no_memory = true;
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
	if (array_grow(&r->g->no_memory, &r->p->gap, r->p->gaps, sizeof gap))
		r->p->gap[r->p->gaps++] = gap;
}

/* What one count weighs there, for the counts of the accuracy: of its first run. */
static enum outcome read_digit(struct gathering *g, struct chart_panel *p)
{
	struct message m;
	json_t *params = client_params("meter", p->meter, "function", function_name(p->function), NULL);
	trail_time_param(params, "from", g->chart.from);
	trail_time_param(params, "to", g->chart.to);
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

enum outcome trail_read_beside(struct gathering *g, struct chart_panel *p)
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

bool trail_reading_time(struct client *c, int64_t seq, int64_t index, int64_t *t)
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
	if (array_grow(&g->no_memory, &p->entry, p->entries, sizeof e))
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
	    trail_reading_time(c, first, from, &touch.from) && trail_reading_time(c, last, to, &touch.to) &&
	    array_grow(&g->no_memory, &p->touch, p->touches, sizeof touch)) {
		snprintf(touch.position, sizeof touch.position, "%s", e.position);
		p->touch[p->touches++] = touch;
	}
}

enum outcome trail_read_entries(struct gathering *g)
{
	json_t *params = client_params("position", g->position, "job", "*", NULL);
	return client_pages(g->c, "entries", params, "entries", each_entry, g);
}
