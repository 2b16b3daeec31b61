/* SPDX-License-Identifier: MIT */
/*
 * `tally trail --entry SEQ`: one touch, what was seen before, during and after it, and from there
 * to the touch after it and the one before.
 *
 * With --chart, --csv or --json it is the stretch of that touch, as of any other.  At a terminal
 * the next one is asked for; elsewhere it is named, for the next command.
 */
#include "client/array.h"
#include "client/command_calls.h"
#include "client/command_trail.h"
#include "client/view_touch.h"
#include "protocol/record/record.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define READINGS_MAX 200000 /* of one stretch: a fast meter's 14 s and more */

struct touch {
	int64_t seq;
	char position[NAME_SIZE];
	char meter[NAME_SIZE];
};

struct walk {
	struct client *c;
	struct touch *touch; /* all that can be walked, in the order of the log */
	int touches;
	/* The one at hand. */
	char *entry; /* its record */
	struct touch_reading *reading;
	int readings;
	int64_t from, to; /* of the readings that are shown */
	bool no_memory;
};

/* ---- which touches there are ---- */

static void each_touch(struct client *c, struct slice element, struct slice result, void *arg)
{
	struct walk *w = arg;
	const char *meter = client_option(c, OPTION_METER);
	struct slice record = json_member(element.at, element.len, "record");
	struct touch t;
	(void)result;
	if (!record.at || !json_int(json_member(record.at, record.len, "seq"), &t.seq))
		return;
	words_member(record, "meter", t.meter, sizeof t.meter);
	words_member(element, "position", t.position, sizeof t.position);
	if (!t.position[0])
		words_member(record, "position", t.position, sizeof t.position);
	/* Typed ones have no trail. */
	if (!json_element(json_member(record.at, record.len, "trail"), 0).at ||
	    (meter && strcmp(meter, t.meter) != 0) ||
	    !array_grow(&w->no_memory, &w->touch, w->touches, sizeof t))
		return;
	w->touch[w->touches++] = t;
}

static int find(const struct walk *w, int64_t seq)
{
	for (int i = 0; i < w->touches; i++)
		if (w->touch[i].seq == seq)
			return i;
	return -1;
}

/* ---- its readings ---- */

static bool one_record(struct walk *w, const char *kind, int64_t seq, struct message *m,
                       struct slice *record)
{
	json_t *params = client_params("kind", kind, NULL);
	json_object_set_new(params, "after", json_integer(seq - 1));
	json_object_set_new(params, "limit", json_integer(1));
	if (client_ask(w->c, "records", params, m) != OUTCOME_DONE)
		return false;
	*record = json_element(json_member(m->result.at, m->result.len, "records"), 0);
	return record->at != NULL;
}

static bool reading_time(struct walk *w, int64_t seq, int64_t index, int64_t *t)
{
	struct message m;
	struct slice record;
	int64_t at = 0;
	bool good = one_record(w, "trail", seq, &m, &record) &&
	            json_time(json_member(record.at, record.len, "t"), t) &&
	            json_int(json_element(json_member(record.at, record.len, "at"), (size_t)index), &at);
	*t += at * TRAIL_TICK_US;
	message_free(&m);
	return good;
}

/* Is reading `i` of record `seq` one of those that the entry names? */
static bool is_used(struct slice trail, int64_t seq, int i)
{
	struct slice part;
	int64_t of, from, to;
	for (size_t cursor = 0; json_next(trail, &cursor, &part);)
		if (json_int(json_element(part, 0), &of) && of == seq &&
		    json_int(json_element(part, 1), &from) && json_int(json_element(part, 2), &to) &&
		    i >= from && i <= to)
			return true;
	return false;
}

static void each_run(struct client *c, struct slice record, struct slice result, void *arg)
{
	static struct trail_reading reading[TRAIL_READINGS_MAX];
	struct walk *w = arg;
	struct trail_body body;
	struct trail_names names;
	struct record_head head;
	(void)c, (void)result;
	struct slice trail = json_member(w->entry, strlen(w->entry), "trail");
	if (!record.at || !record_head_read(record.at, record.len, &head) ||
	    !trail_body_read(record.at, record.len, &body, &names, reading, TRAIL_READINGS_MAX))
		return;
	for (int i = 0; i < body.n; i++) {
		struct touch_reading r = {.t = head.t + reading[i].at * TRAIL_TICK_US,
			.has_value = reading[i].has_value, .state = reading[i].state,
			.used = is_used(trail, head.seq, i)};
		if (r.has_value && __builtin_mul_overflow(reading[i].v, body.digit.n, &r.value.n))
			continue;
		r.value.e = body.digit.e;
		if (r.t < w->from || r.t >= w->to || w->readings >= READINGS_MAX ||
		    !array_grow(&w->no_memory, &w->reading, w->readings, sizeof r))
			continue;
		w->reading[w->readings++] = r;
	}
}

static int by_time(const void *a, const void *b)
{
	const struct touch_reading *x = a, *y = b;
	return (x->t > y->t) - (x->t < y->t);
}

static enum outcome read_readings(struct walk *w, const struct touch *t)
{
	char function[32];
	int64_t a = 0, b = 0, logged = 0, first = 0, from = 0, last = 0, to = 0;
	size_t len = strlen(w->entry);
	struct slice trail = json_member(w->entry, len, "trail"), part, end = {NULL, 0};
	for (size_t cursor = 0; json_next(trail, &cursor, &part);)
		end = part;
	w->readings = 0;
	words_member((struct slice){w->entry, len}, "function", function, sizeof function);
	json_time(json_member(w->entry, len, "t"), &logged);
	if (!json_int(json_element(json_element(trail, 0), 0), &first) ||
	    !json_int(json_element(json_element(trail, 0), 1), &from) ||
	    !json_int(json_element(end, 0), &last) || !json_int(json_element(end, 2), &to) ||
	    !reading_time(w, first, from, &a) || !reading_time(w, last, to, &b))
		return client_wrong(w->c, "entry %lld: its readings are not in this log", (long long)t->seq);
	w->from = a - TRAIL_BEFORE_US;
	w->to = (b > logged ? b : logged) + TRAIL_AFTER_US;
	json_t *params = client_params("meter", t->meter, "function", function, NULL);
	const char *const names[] = {"from", "to"};
	for (int i = 0; i < 2; i++) {
		char buffer[40];
		struct text text;
		text_begin(&text, buffer, sizeof buffer);
		text_time(&text, i ? w->to : w->from);
		json_object_set_new(params, names[i], json_stringn(buffer + 1, strlen(buffer) - 2));
	}
	enum outcome outcome = client_pages(w->c, "trail", params, "records", each_run, w);
	if (w->readings)
		qsort(w->reading, (size_t)w->readings, sizeof *w->reading, by_time);
	return w->no_memory ? client_wrong(w->c, "no memory for so many readings") : outcome;
}

/* ---- showing one ---- */

static void name_beside(const struct walk *w, int at, const char *which, struct lines *out)
{
	if (at < 0 || at >= w->touches)
		lines_printf(out, "%s: none\n", which);
	else
		lines_printf(out, "%s: tally trail --entry %lld (%s, %s)\n", which,
		             (long long)w->touch[at].seq, w->touch[at].position, w->touch[at].meter);
}

static enum outcome show(struct walk *w, int at)
{
	struct client *c = w->c;
	const struct touch *t = &w->touch[at];
	struct message m;
	struct slice record;
	struct lines out = {0};
	char when[40], quantity[24];
	enum outcome outcome = trail_show(c, t->position, t->seq);
	if (outcome != OUTCOME_DONE || client_option(c, OPTION_CHART) || client_has(c, OPTION_CSV) ||
	    client_has(c, OPTION_JSON))
		return outcome;
	bool there = one_record(w, "entry", t->seq, &m, &record);
	free(w->entry);
	w->entry = there ? strndup(record.at, record.len) : NULL;
	message_free(&m);
	if (!w->entry)
		return client_wrong(c, "entry %lld could not be read", (long long)t->seq);
	outcome = read_readings(w, t);
	if (outcome != OUTCOME_DONE)
		return outcome;
	struct slice entry = {w->entry, strlen(w->entry)};
	words_time(&c->style, json_member(entry.at, entry.len, "t"), true, when, sizeof when);
	words_member(entry, "quantity", quantity, sizeof quantity);
	lines_printf(&out, "\n%s, %s, entry %lld, %s, meter %s: touch %d of %d\n", t->position, quantity,
	             (long long)t->seq, when, t->meter, at + 1, w->touches);
	view_touch(&c->style, entry, w->reading, w->readings, &out);
	name_beside(w, at + 1, "next", &out);
	name_beside(w, at - 1, "back", &out);
	client_lines(c, &out);
	return OUTCOME_DONE;
}

/* -1: enough. */
static int asked(const struct walk *w, int at)
{
	char line[40];
	for (;;) {
		fflush(w->c->out);
		fputs("next (Enter), back (b), end (q)? ", w->c->err);
		fflush(w->c->err);
		if (!fgets(line, sizeof line, stdin) || line[0] == 'q' || line[0] == 'e')
			return -1;
		int to = line[0] == '\n' || line[0] == 'n' ? at + 1 : line[0] == 'b' ? at - 1 : -2;
		if (to >= 0 && to < w->touches)
			return to;
		fputs(to == -2 ? "n, b or q\n" : to < 0 ? "this is the first one\n"
		                                       : "this is the last one\n", w->c->err);
	}
}

static enum outcome first_shown(struct walk *w, int *at)
{
	const char *said = client_option(w->c, OPTION_ENTRY);
	int64_t seq;
	if (!w->touches)
		return client_wrong(w->c, "no entry here was made from a trail");
	*at = strcmp(said, "first") == 0 ? 0 : w->touches - 1;
	if (!strcmp(said, "first") || !strcmp(said, "last"))
		return OUTCOME_DONE;
	if (!client_seq(w->c, said, "--entry", &seq))
		return OUTCOME_WRONG;
	*at = find(w, seq);
	if (*at < 0)
		return client_wrong(w->c, "record %lld is no entry that was made from a trail%s", (long long)seq,
		                    client_option(w->c, OPTION_AT) ? " there" : "");
	return OUTCOME_DONE;
}

enum outcome trail_touch(struct client *c)
{
	struct walk w = {.c = c};
	int at = -1;
	json_t *params = client_params("position", client_option(c, OPTION_AT), "job", "*", NULL);
	enum outcome outcome = client_pages(c, "entries", params, "entries", each_touch, &w);
	if (outcome == OUTCOME_DONE)
		outcome = w.no_memory ? client_wrong(c, "no memory for so many entries") : first_shown(&w, &at);
	bool asks = c->out_terminal && isatty(STDIN_FILENO) == 1 && !client_has(c, OPTION_JSON) &&
	            !client_has(c, OPTION_CSV) && !client_option(c, OPTION_CHART);
	while (outcome == OUTCOME_DONE && at >= 0) {
		outcome = show(&w, at);
		at = asks && outcome == OUTCOME_DONE ? asked(&w, at) : -1;
	}
	free(w.touch);
	free(w.reading);
	free(w.entry);
	return outcome;
}
