/* SPDX-License-Identifier: MIT */
/*
 * Guided runs in the report: leakage, re-forming, bringing up the power, setting by ear, sorting.
 *
 * A run is what stands between a `guide` record whose event is `begun` and the one that ends it,
 * of the same `guide` and `of`; several may go on at once.  A kind, a step or a member of a result
 * that is not known here is told by its own word, so that a later program's log loses nothing.
 */
#include "client/report_guide.h"

#include "client/command_calls.h"
#include "client/guide_words.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define WORD(r, of, name) report_guide_word(r, REPORT_GUIDE_##of, name)

bool report_guide_tells(const struct report_record *one)
{
	return strcmp(one->kind, "guide") == 0;
}

/* ---- which records are one run ---- */

static bool same_run(const struct report_record *a, const struct report_record *b)
{
	char kind[32], of[64];
	words_member(a->record, "guide", kind, sizeof kind);
	words_member(a->record, "of", of, sizeof of);
	return words_member_is(b->record, "guide", kind) && words_member_is(b->record, "of", of);
}

static const char *end_of(const struct report_record *one)
{
	static const char *const ends[] = {"done", "stopped", "left"};
	for (size_t i = 0; i < sizeof ends / sizeof *ends; i++)
		if (words_member_is(one->record, "event", ends[i]))
			return ends[i];
	return NULL;
}

static void add_record(struct report *r, struct report_guide *g, const struct report_record *one)
{
	if (!report_grow(r, &g->record, g->records, sizeof *g->record))
		return;
	g->record[g->records++] = one;
	g->from = g->records == 1 || one->t < g->from ? one->t : g->from;
	g->to = one->t > g->to ? one->t : g->to;
	g->ended = end_of(one);
}

/* The open one of its kind and place; what does not begin with `begun` opens one, too. */
static struct report_guide *run_of(struct report *r, const struct report_record *one)
{
	if (!words_member_is(one->record, "event", "begun"))
		for (int i = r->guides - 1; i >= 0; i--)
			if (!r->guide[i].ended && same_run(r->guide[i].record[0], one))
				return &r->guide[i];
	if (!report_grow(r, &r->guide, r->guides, sizeof *r->guide))
		return NULL;
	memset(&r->guide[r->guides], 0, sizeof *r->guide);
	return &r->guide[r->guides++];
}

/* ---- what its meters read ---- */

static void time_param(json_t *params, const char *name, int64_t us)
{
	char buffer[40];
	struct text text;
	text_begin(&text, buffer, sizeof buffer);
	text_time(&text, us);
	if (!text.failed)
		json_object_set_new(params, name, json_stringn(buffer + 1, strlen(buffer) - 2));
}

static void read_columns(struct report *r, struct chart_panel *p, struct slice list)
{
	struct slice one, number;
	for (size_t cursor = 0; list.at && json_next(list, &cursor, &one);) {
		double x[7] = {0};
		bool has[7] = {false};
		int i = 0;
		for (size_t at = 0; i < 7 && json_next(one, &at, &number); i++)
			has[i] = json_number(number, &x[i]);
		if (i < 7 || !report_grow(r, &p->column, p->columns, sizeof *p->column))
			return;
		p->column[p->columns++] = (struct chart_column){.index = (int)x[0], .n = (int64_t)x[1],
			.has_value = has[2], .low = x[2], .high = x[3], .first = x[4], .last = x[5], .silence = x[6]};
	}
}

/* Readings that a picture is worth. */
#define PICTURE_READINGS 8

/* The functions that the meter read in that time, the most read first: a probe that wanders reads
 * volts dc here and volts ac there. */
static int functions_read(struct client *c, const struct report_guide *g, const char *meter,
                          enum function out[FUNCTION_COUNT])
{
	struct message m;
	struct slice one;
	char word[24];
	int64_t count[FUNCTION_COUNT] = {0}, n = 0, from = 0, to = 0;
	int found = 0;
	if (client_ask(c, "trail.lines", client_params("meter", meter, NULL), &m) == OUTCOME_DONE) {
		struct slice list = json_member(m.result.at, m.result.len, "lines");
		for (size_t cursor = 0; list.at && json_next(list, &cursor, &one);) {
			enum function f = FUNCTION_NONE;
			words_member(one, "function", word, sizeof word);
			if (function_from_name(word, strlen(word), &f) &&
			    json_int(json_member(one.at, one.len, "readings"), &n) &&
			    json_time(json_member(one.at, one.len, "from"), &from) &&
			    json_time(json_member(one.at, one.len, "to"), &to) && from < g->to && to > g->from)
				count[f] += n;
		}
	}
	message_free(&m);
	for (int best; found < FUNCTION_COUNT; out[found++] = (enum function)best) {
		best = 0;
		for (int f = 1; f < FUNCTION_COUNT; f++)
			best = count[f] > count[best] ? f : best;
		if (!count[best] || (found && count[best] < PICTURE_READINGS))
			break;
		count[best] = 0;
	}
	return found;
}

static enum outcome add_panel(struct client *c, struct report *r, struct report_guide *g,
                              const char *role, const char *meter, enum function f)
{
	struct message m;
	struct report_guide_panel *p = &g->panel[g->panels];
	memset(p, 0, sizeof *p);
	snprintf(p->role, sizeof p->role, "%s", role);
	snprintf(p->panel.meter, sizeof p->panel.meter, "%s", meter);
	p->panel.function = f;
	json_t *params = client_params("meter", meter, "function", function_name(f), NULL);
	time_param(params, "from", g->from);
	time_param(params, "to", g->to);
	json_object_set_new(params, "columns", json_integer(REPORT_GUIDE_COLUMNS));
	enum outcome outcome = client_ask(c, "trail.envelope", params, &m);
	if (outcome == OUTCOME_DONE)
		read_columns(r, &p->panel, json_member(m.result.at, m.result.len, "columns"));
	message_free(&m);
	g->panels += p->panel.columns > 0;
	return outcome;
}

static enum outcome add_meter(struct client *c, struct report *r, struct report_guide *g, const char *role,
                              const char *meter)
{
	enum function read[FUNCTION_COUNT];
	enum outcome outcome = OUTCOME_DONE;
	int n = g->to > g->from ? functions_read(c, g, meter, read) : 0;
	for (int i = 0; i < n && outcome == OUTCOME_DONE && g->panels < REPORT_GUIDE_PANELS; i++)
		outcome = add_panel(c, r, g, role, meter, read[i]);
	return outcome; /* no reading of it is left: no picture */
}

/* "meters":{"grid":"red","rail":"blue"}, as its first record says. */
static enum outcome add_panels(struct client *c, struct report *r, struct report_guide *g)
{
	struct slice record = g->record[0]->record;
	json_t *meters = NULL, *value;
	const char *role;
	struct slice text = json_member(record.at, record.len, "meters");
	enum outcome outcome = OUTCOME_DONE;
	if (text.at)
		meters = json_loadb(text.at, text.len, 0, NULL);
	json_object_foreach(meters, role, value)
		if (outcome == OUTCOME_DONE && json_is_string(value))
			outcome = add_meter(c, r, g, role, json_string_value(value));
	json_decref(meters);
	return outcome;
}

enum outcome report_guide_gather(struct client *c, struct report *r)
{
	enum outcome outcome = OUTCOME_DONE;
	for (int i = 0; i < r->records && !r->no_memory; i++) {
		struct report_guide *g =
		    report_guide_tells(&r->record[i]) ? run_of(r, &r->record[i]) : NULL;
		if (g)
			add_record(r, g, &r->record[i]);
	}
	for (int i = 0; i < r->guides && outcome == OUTCOME_DONE && !r->no_memory; i++)
		if (r->guide[i].records)
			outcome = add_panels(c, r, &r->guide[i]);
	return outcome;
}

void report_guide_free(struct report *r)
{
	for (int i = 0; i < r->guides; i++) {
		free(r->guide[i].record);
		for (int k = 0; k < REPORT_GUIDE_PANELS; k++)
			free(r->guide[i].panel[k].panel.column);
	}
	free(r->guide);
}

/* ---- numbers in words ---- */

static void title_of(const struct report *r, const struct report_guide *g, char *out, size_t size)
{
	char kind[48], of[64];
	words_member(g->record[0]->record, "guide", kind, sizeof kind);
	words_member(g->record[0]->record, "of", of, sizeof of);
	snprintf(out, size, "%s%s%s: %s", WORD(r, KIND, kind), of[0] ? ", " : "", of,
	         g->ended ? WORD(r, END, g->ended) : SAY(r, "not ended", "nicht beendet"));
}

static void put(char *out, size_t size, const char *between, const char *text)
{
	size_t n = strlen(out);
	if (text[0] && n < size)
		snprintf(out + n, size - n, "%s%s", n ? between : "", text);
}

/* A number of a result: nobody says how many of its digits count, so four do. */
static void plain_number(const struct report *r, double x, char *out, size_t size)
{
	snprintf(out, size, "%s%.4g", x < 0 ? "−" : "", fabs(x));
	for (char *p = out; r->german && *p; p++)
		if (*p == '.')
			*p = ',';
}

/* Numbers of a result that stand without their unit; "s": as time; "": they have none. */
static const char *unit_of(const char *member)
{
	static const struct {
		const char *name, *unit;
	} units[] = {{"watts", "W"}, {"formed", "s"}, {"held", "s"}, {"soaked", "s"}, {"mains", "V"},
	             {"tap", "V"}, {"balance-dB", "dB"}, {"hum-dB", "dB"}, {"percent", "%"}};
	for (size_t i = 0; i < sizeof units / sizeof *units; i++)
		if (strcmp(units[i].name, member) == 0)
			return units[i].unit;
	return "";
}

static void member_number(const struct report *r, const char *member, double x, char *out,
                          size_t size)
{
	const char *unit = unit_of(member);
	long long s = llround(x);
	if (strcmp(unit, "s") == 0) {
		snprintf(out, size, "%lld:%02lld:%02lld\xc2\xa0h", s / 3600, s / 60 % 60, s % 60);
	} else if (unit[0]) {
		/* Watts, decibels and percent are no units of a reading, so nobody else writes them. */
		bool milli = !strcmp(unit, "W") && fabs(x) < 1;
		plain_number(r, milli ? 1000 * x : x, out, size);
		put(out, size, "\xc2\xa0", milli ? "mW" : unit);
	} else {
		plain_number(r, x, out, size);
	}
}

/* {"value":..., "u":..., "unit":...}; false where it is none. */
static bool measured(const struct report *r, struct slice s, char *out, size_t size)
{
	char unit[24], like[40], spread[64];
	double x, u;
	if (!s.at || *s.at != '{' || !json_number(json_member(s.at, s.len, "value"), &x))
		return false;
	words_member(s, "unit", unit, sizeof unit);
	bool known = json_number(json_member(s.at, s.len, "u"), &u) && u > 0;
	/* Of nothing, or of less than its uncertainty, that has the prefix: "0 ± 0.48 nA". */
	report_si(known && fabs(x) < 2 * u ? 2 * u : x, unit, like, sizeof like);
	report_like(r, x, 3, like, out, size);
	if (known) {
		report_like(r, 2 * u, 2, like, spread, sizeof spread);
		/* The unit once: both are written alike. */
		char *unit_at = strstr(out, "\xc2\xa0");
		if (unit_at)
			*unit_at = '\0';
		put(out, size, " ± ", spread);
	}
	return true;
}

static void value_text(const struct report *r, struct slice s, int depth, char *out, size_t size);

/* An object or a list, flat: "a 1, b 4, percent 0.2"; "1, 3; 2, 4". */
static void inside_text(const struct report *r, json_t *value, int depth, char *out, size_t size)
{
	const char *key;
	json_t *one;
	size_t i;
	char text[300], both[400];
	json_object_foreach(value, key, one) {
		char *flat = json_dumps(one, JSON_ENCODE_ANY | JSON_COMPACT);
		text[0] = '\0';
		if (json_is_number(one))
			member_number(r, key, json_number_value(one), text, sizeof text);
		else if (flat)
			value_text(r, (struct slice){flat, strlen(flat)}, depth + 1, text, sizeof text);
		free(flat);
		if (!text[0])
			continue; /* null, true and false: nothing for people */
		snprintf(both, sizeof both, "%s %s", WORD(r, MEMBER, key), text);
		put(out, size, ", ", both);
	}
	json_array_foreach(value, i, one) {
		char *flat = json_dumps(one, JSON_ENCODE_ANY | JSON_COMPACT);
		text[0] = '\0';
		if (flat)
			value_text(r, (struct slice){flat, strlen(flat)}, depth + 1, text, sizeof text);
		free(flat);
		put(out, size, json_is_number(one) ? ", " : "; ", text);
	}
}

static void value_text(const struct report *r, struct slice s, int depth, char *out, size_t size)
{
	char text[300];
	double x;
	out[0] = '\0';
	if (measured(r, s, out, size) || depth > 3)
		return;
	if (json_text(s, text, sizeof text)) {
		words_string(s, out, size);
		if (!strcmp(out, "within") || !strcmp(out, "outside") || !strcmp(out, "unsure"))
			snprintf(out, size, "%s", report_verdict(r, !strcmp(out, "within") ? REPORT_WITHIN
			         : !strcmp(out, "unsure") ? REPORT_UNSURE : REPORT_OUTSIDE));
		else
			snprintf(out, size, "%s", WORD(r, VALUE, out));
	} else if (json_number(s, &x)) {
		plain_number(r, x, out, size);
	} else if (s.at && (*s.at == '{' || *s.at == '[')) {
		json_t *value = json_loadb(s.at, s.len, 0, NULL);
		inside_text(r, value, depth, out, size);
		json_decref(value);
	}
}

/* ---- the table of a run ---- */

static const struct report_entry *entry_of(const struct report *r, int64_t seq)
{
	for (int i = 0; i < r->entries; i++)
		if (r->entry[i].seq == seq)
			return &r->entry[i];
	return NULL;
}

/* The entries that a record names and an earlier one did not. */
static void new_entries(const struct report *r, struct slice record, struct slice before,
                        char *out, size_t size)
{
	struct slice values = json_member(record.at, record.len, "values");
	struct slice old = json_member(before.at, before.len, "values");
	json_t *all = values.at ? json_loadb(values.at, values.len, 0, NULL) : NULL, *one;
	json_t *seen = old.at ? json_loadb(old.at, old.len, 0, NULL) : NULL;
	const char *name;
	out[0] = '\0';
	json_object_foreach(all, name, one) {
		json_int_t seq = json_integer_value(json_object_get(one, "seq"));
		char text[200], shown[96];
		if (!seq || json_integer_value(json_object_get(json_object_get(seen, name), "seq")) == seq)
			continue;
		const struct report_entry *e = entry_of(r, seq);
		if (e)
			report_value(r, e->shown, shown, sizeof shown);
		else
			plain_number(r, json_number_value(json_object_get(one, "value")), shown, sizeof shown);
		snprintf(text, sizeof text, "%s%s%s (%s %lld)", e ? e->position : WORD(r, MEMBER, name),
		         e ? ": " : " ", shown, SAY(r, "entry", "Eintrag"), (long long)seq);
		put(out, size, "\n", text);
	}
	json_decref(all);
	json_decref(seen);
}

/* What was sealed only to be taken up again says nothing new. */
static bool same_step(struct slice a, struct slice b)
{
	char step[64], event[32], failed[200];
	words_member(a, "step", step, sizeof step);
	words_member(a, "event", event, sizeof event);
	words_member(a, "failed", failed, sizeof failed);
	return words_member_is(b, "step", step) && words_member_is(b, "event", event) &&
	       (!failed[0] || words_member_is(b, "failed", failed));
}

static void steps(const struct report *r, const struct report_guide *g, struct paper *p)
{
	const struct paper_column columns[] = {
		{SAY(r, "after", "nach"), 2, false}, {SAY(r, "step", "Schritt"), 6, false},
		{SAY(r, "logged", "verzeichnet"), 6, false}, {SAY(r, "said", "gesagt"), 5, false}};
	char when[40], text[WORDS_SIZE], said[WORDS_SIZE];
	struct slice before = {NULL, 0};
	char caption[120], kind[48];
	words_member(g->record[0]->record, "guide", kind, sizeof kind);
	report_time(r, g->from, false, when, sizeof when);
	snprintf(caption, sizeof caption, SAY(r, "Its steps, from %s", "Seine Schritte, ab %s"), when);
	paper_table(p, caption, columns, 4);
	for (int i = 0; i < g->records; i++) {
		struct slice record = g->record[i]->record;
		/* What a step logged is in the record with which the next one begins. */
		struct slice after = i + 1 < g->records ? g->record[i + 1]->record : record;
		new_entries(r, after, record, text, sizeof text);
		if (i && i + 1 < g->records && same_step(record, before) && !text[0])
			continue;
		paper_row(p, NULL);
		long long s = (g->record[i]->t - g->from) / 1000000;
		paper_cell_printf(p, PAPER_PLAIN, "%lld:%02lld:%02lld", s / 3600, s / 60 % 60, s % 60);
		words_member(record, "step", said, sizeof said);
		snprintf(said, sizeof said, "%s", report_guide_step(r, kind, said));
		if (end_of(g->record[i]))
			snprintf(said, sizeof said, "%s", WORD(r, END, end_of(g->record[i])));
		paper_cell(p, PAPER_PLAIN, said);
		paper_cell(p, PAPER_PLAIN, text);
		words_member(record, i ? "failed" : "said", said, sizeof said);
		if (i && r->german) {
			char german[GUIDE_WORDS_SIZE];
			if (guide_words(LANGUAGE_DE, GUIDE_WRITTEN, said, german, sizeof german))
				snprintf(said, sizeof said, "%.*s", (int)words_cut(german, strlen(german), sizeof said - 1), german);
		}
		if (!i && said[0]) {
			char with[WORDS_SIZE];
			snprintf(with, sizeof with, "%s %.400s", SAY(r, "with", "mit"), said);
			snprintf(said, sizeof said, "%s", with);
		}
		if (json_bool(json_member(record.at, record.len, "alarm"), false))
			put(said, sizeof said, "; ", SAY(r, "DANGER: a limit was passed",
			                                 "GEFAHR: eine Grenze war überschritten"));
		paper_cell(p, PAPER_PLAIN, said);
		before = record;
	}
	paper_table_end(p);
}

static bool bound(const char *name)
{
	static const char *const bounds[] = {"most", "low", "high", "target", "nominal"};
	for (size_t i = 0; i < sizeof bounds / sizeof *bounds; i++)
		if (strcmp(bounds[i], name) == 0)
			return true;
	return false;
}

/* A member that has a column of its own, as the text of its cell; taken out of `one`. */
static void station_cell(const struct report *r, struct paper *p, json_t *one, const char *member)
{
	char text[300] = "", spread[64], key[48];
	json_t *value = json_object_get(one, member), *u;
	char *flat = value ? json_dumps(value, JSON_ENCODE_ANY | JSON_COMPACT) : NULL;
	snprintf(key, sizeof key, "%s-u", member);
	u = json_object_get(one, key);
	if (json_is_number(value) && json_is_number(u)) {
		/* Watts are no unit of a reading. */
		report_like(r, json_number_value(value), 3, "1", text, sizeof text);
		report_like(r, 2 * json_number_value(u), 2, "1", spread, sizeof spread);
		put(text, sizeof text, " ± ", spread);
		put(text, sizeof text, "\xc2\xa0", unit_of(member));
	} else if (json_is_number(value)) {
		member_number(r, member, json_number_value(value), text, sizeof text);
	} else if (flat) {
		value_text(r, (struct slice){flat, strlen(flat)}, 1, text, sizeof text);
	}
	free(flat);
	json_object_del(one, member);
	json_object_del(one, key);
	paper_cell(p, PAPER_PLAIN, text);
}

/* What was measured at each place of a run, a row each; what has no column stands in the last. */
static void stations(const struct report *r, json_t *list, struct paper *p)
{
	static const char *const members[] = {"volts", "volts-after", "drift", "current", "watts",
	                                      "percent", "watts-verdict"};
	const struct paper_column columns[] = {
		{SAY(r, "position", "Position"), 7, false}, {SAY(r, "volts", "Spannung"), 5, false},
		{SAY(r, "after the soak", "nach dem Warmlauf"), 5, false},
		{SAY(r, "drift", "Drift"), 5, false}, {SAY(r, "current", "Strom"), 5, false},
		{SAY(r, "watts", "Leistung"), 5, false}, {SAY(r, "of its maximum", "vom Max."), 5, false},
		{SAY(r, "verdict", "Urteil"), 5, false}, {SAY(r, "besides", "außerdem"), 6, false}};
	char text[400];
	json_t *one;
	size_t i;
	paper_table(p, SAY(r, "What it read, place by place", "Was angezeigt wurde, Stelle für Stelle"),
	            columns, 9);
	json_array_foreach(list, i, one) {
		const char *at = json_string_value(json_object_get(one, "position"));
		const char *what = json_string_value(json_object_get(one, "what"));
		paper_row(p, NULL);
		paper_cell_printf(p, PAPER_PLAIN, "%s%s%s", at, what ? "\n" : "", what ? WORD(r, VALUE, what) : "");
		for (size_t k = 0; k < sizeof members / sizeof *members; k++)
			station_cell(r, p, one, members[k]);
		json_object_del(one, "position");
		json_object_del(one, "what");
		text[0] = '\0';
		inside_text(r, one, 1, text, sizeof text);
		paper_cell(p, PAPER_SMALL, text);
	}
	paper_table_end(p);
}

/* Pairs of a lot: "parts 1 and 4, for R1, R2: 0.02 % apart" */
static void pairs(const struct report *r, json_t *list, struct paper *p)
{
	char text[500], number[40];
	json_t *one, *place;
	size_t i, k;
	paper_list_begin(p);
	json_array_foreach(list, i, one) {
		json_t *a = json_object_get(one, "a"), *b = json_object_get(one, "b");
		json_t *percent = json_object_get(one, "percent");
		if (!json_is_integer(a) || !json_is_integer(b) || !json_is_number(percent)) {
			text[0] = '\0';
			inside_text(r, one, 1, text, sizeof text);
			paper_item(p, text);
			continue;
		}
		snprintf(text, sizeof text, SAY(r, "parts %d and %d", "Teile %d und %d"),
		         (int)json_integer_value(a), (int)json_integer_value(b));
		json_array_foreach(json_object_get(one, "for"), k, place)
			put(text, sizeof text, k ? ", " : SAY(r, ", for ", ", für "),
			    json_string_value(place) ? json_string_value(place) : "");
		report_number(r, json_number_value(percent), 2, number, sizeof number);
		put(text, sizeof text, ": ", number);
		put(text, sizeof text, "\xc2\xa0", SAY(r, "% apart", "% Unterschied"));
		if (json_is_false(json_object_get(one, "apart")))
			put(text, sizeof text, "; ", SAY(r, "no difference to this meter",
			                                 "für dieses Messgerät kein Unterschied"));
		paper_item(p, text);
	}
	paper_list_end(p);
}

/* A list of numbers of parts is no count. */
static bool parts_text(const struct report *r, const char *name, json_t *list, char *out, size_t size)
{
	json_t *one;
	size_t i;
	char number[24];
	if (strcmp(name, "outside") != 0 || !json_is_integer(json_array_get(list, 0)))
		return false;
	snprintf(out, size, "%s", json_array_size(list) == 1 ? SAY(r, "part", "Teil") : SAY(r, "parts", "Teile"));
	json_array_foreach(list, i, one) {
		snprintf(number, sizeof number, "%d", (int)json_integer_value(one));
		put(out, size, i ? ", " : " ", number);
	}
	return true;
}

static void result(const struct report *r, const struct report_guide *g, struct paper *p)
{
	struct slice record = g->record[g->records - 1]->record;
	struct slice s = json_member(record.at, record.len, "result");
	json_t *all = s.at && *s.at == '{' ? json_loadb(s.at, s.len, 0, NULL) : NULL, *one;
	const char *name;
	char text[600], unit[24] = "", like[40];
	bool any = false;
	/* Limits are in the unit of what they are limits of. */
	if (json_is_string(json_object_get(all, "unit"))) {
		snprintf(unit, sizeof unit, "%s", json_string_value(json_object_get(all, "unit")));
		json_object_del(all, "unit");
	}
	json_object_foreach(all, name, one)
		if (!unit[0] && json_is_object(one) && json_is_string(json_object_get(one, "unit")))
			snprintf(unit, sizeof unit, "%s", json_string_value(json_object_get(one, "unit")));
	/* By the text as it was sealed: its digits are not written anew. */
	json_object_foreach(all, name, one) {
		if (json_is_object(json_array_get(one, 0)))
			continue; /* below */
		value_text(r, json_member(s.at, s.len, name), 0, text, sizeof text);
		if (bound(name) && unit[0] && json_is_number(one)) {
			report_si(json_number_value(one), unit, like, sizeof like);
			report_like(r, json_number_value(one), 3, like, text, sizeof text);
			if (!strcmp(name, "most") && json_is_true(json_object_get(all, "assumed")))
				put(text, sizeof text, " ", SAY(r, "(assumed: the sheet says none)",
				                                "(angenommen: das Blatt nennt keine)"));
		} else if (parts_text(r, name, one, text, sizeof text)) {
			/* it is said */
		} else if (json_is_number(one)) {
			member_number(r, name, json_number_value(one), text, sizeof text);
		}
		if (!any && text[0])
			paper_facts_begin(p);
		any = any || text[0];
		paper_fact(p, WORD(r, MEMBER, name), text);
	}
	if (any)
		paper_facts_end(p);
	json_object_foreach(all, name, one) {
		json_t *first = json_array_get(one, 0);
		if (json_is_string(json_object_get(first, "position")))
			stations(r, one, p);
		else if (json_is_object(first))
			pairs(r, one, p);
	}
	json_decref(all);
}

/* The entry that a run's leakage was worked out from; *struck: one of them counts no more. */
static const struct report_entry *rests_on(const struct report *r, struct slice record, bool *struck)
{
	static const char *const slots[] = {"zero", "volts", "drop"};
	const struct report_entry *last = NULL;
	char path[40];
	int64_t seq;
	for (size_t i = 0; i < sizeof slots / sizeof *slots; i++) {
		snprintf(path, sizeof path, "values.%s.seq", slots[i]);
		const struct report_entry *e = json_int(json_member(record.at, record.len, path), &seq) ?
		                               entry_of(r, seq) : NULL;
		*struck = *struck || (e && (!json_absent(e->struck) || !json_absent(e->moved)));
		last = e && e->quantity == QUANTITY_LEAKAGE ? e : last;
	}
	return last;
}

bool report_guide_leakage(const struct report *r, const char *position, char *out, size_t size,
                          const struct report_entry **rests, bool *outside)
{
	char verdict[16], value[96];
	for (int i = r->guides - 1; i >= 0; i--) {
		const struct report_guide *g = &r->guide[i];
		const struct report_record *end = g->records ? g->record[g->records - 1] : NULL;
		bool struck = false;
		if (!g->ended || !strcmp(g->ended, "left") || strcmp(end->position, position) ||
		    (!words_member_is(end->record, "guide", "leak") &&
		     !words_member_is(end->record, "guide", "reform")) ||
		    !measured(r, json_member(end->record.at, end->record.len, "result.leakage"), value,
		              sizeof value))
			continue;
		*rests = rests_on(r, end->record, &struck);
		if (struck)
			continue;
		words_member(end->record, "result.verdict", verdict, sizeof verdict);
		*outside = !strcmp(verdict, "outside");
		snprintf(out, size, "%s %s, %s (%s%s)", SAY(r, "leakage", "Leckstrom"), value,
		         report_verdict(r, !strcmp(verdict, "within") ? REPORT_WITHIN
		                        : !strcmp(verdict, "unsure") ? REPORT_UNSURE
		                        : *outside ? REPORT_OUTSIDE : REPORT_NONE),
		         SAY(r, "calculated, guided run", "berechnet, geführter Lauf"),
		         !strcmp(g->ended, "stopped") ? SAY(r, ", given up", ", abgebrochen") : "");
		return true;
	}
	return false;
}

void report_guides(const struct report *r, struct paper *p)
{
	char title[200], heading[240];
	struct lines svg = {0};
	if (!r->guides)
		return;
	paper_heading(p, 2, "guides", SAY(r, "Guided runs", "Geführte Läufe"));
	paper_text(p, PAPER_SMALL, SAY(r, "Step by step, with the cautions read first. Results are "
	                                  "calculated from the entries named.",
	                               "Schritt für Schritt, nach den Vorsichtsregeln. Ergebnisse sind "
	                               "aus den genannten Einträgen berechnet."));
	for (int i = 0; i < r->guides; i++) {
		const struct report_guide *g = &r->guide[i];
		if (!g->records)
			continue;
		title_of(r, g, title, sizeof title);
		snprintf(heading, sizeof heading, "%d. %s", i + 1, title);
		paper_heading(p, 3, NULL, heading);
		result(r, g, p);
		svg.len = 0;
		report_guide_picture(r, g, i, title, &svg);
		if (svg.len)
			paper_picture(p, REPORT_GUIDE_WIDTH, report_guide_height(g), lines_text(&svg));
		steps(r, g, p);
	}
	lines_free(&svg);
}

void report_guide_owner(const struct report *r, struct paper *p)
{
	struct lines item = {0};
	char title[200];
	int n = 0;
	for (int i = 0; i < r->guides; i++) {
		if (!r->guide[i].records || n >= 8)
			continue;
		title_of(r, &r->guide[i], title, sizeof title);
		lines_printf(&item, "%s%s", n++ ? "; " : "", title);
	}
	if (n) {
		char *text = strdup(lines_text(&item));
		item.len = 0;
		lines_printf(&item, "%s: %s.", SAY(r, "Guided runs", "Geführte Läufe"), text ? text : "");
		free(text);
		paper_item(p, lines_text(&item));
	}
	lines_free(&item);
}
