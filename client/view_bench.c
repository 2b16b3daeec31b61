/* SPDX-License-Identifier: MIT */
/*
 * The bench as it stands: meters, what is chosen, the state of everything.
 */
#include "client/view.h"

#include "protocol/record/wire.h"

#include <stdio.h>
#include <string.h>

/* ---- meters ---- */

static const struct table_column meter_columns[] = {
	{"meter", false, true},     {"state", false, true},   {"reads", true, false},
	{"function", false, true},  {"dialect", false, false}, {"line", false, true},
	{"port", false, false},     {"good", true, false},    {"bad", true, false},
	{"resync", true, false},    {"parity", true, false},  {"stale", true, false},
	{"late", true, false},      {"reconnects", true, false},
};

/* In the order of the columns.  A counter of which nothing has come leaves its cell
 * empty, and a column of empty cells is left out; frames are always counted. */
static const struct meter_counter {
	const char *path, *more; /* `more` is added to it */
	bool always;
} meter_counters_shown[] = {
	{"counters.good", NULL, true},     {"counters.bad", NULL, true},
	{"counters.resync", NULL, false},  {"counters.parity", NULL, false},
	{"counters.stale", NULL, false},   {"counters.late", "counters.timeouts", false},
	{"counters.reconnects", NULL, false},
};

static void counter_cells(struct table *t, struct slice meter)
{
	for (size_t i = 0; i < sizeof meter_counters_shown / sizeof meter_counters_shown[0]; i++) {
		const struct meter_counter *c = &meter_counters_shown[i];
		int64_t n = 0, more = 0;
		bool there = json_int(json_member(meter.at, meter.len, c->path), &n);
		if (c->more && json_int(json_member(meter.at, meter.len, c->more), &more))
			there = true;
		if (there && (n + more || c->always))
			table_printf(t, "%lld", (long long)(n + more));
		else
			table_cell(t, "");
	}
}

static void meter_row(struct table *t, const struct style *style, struct slice meter)
{
	char text[WORDS_SIZE], value[WORDS_SIZE];
	struct slice asked = json_member(meter.at, meter.len, "asked");
	words_member(meter, "state", text, sizeof text);
	bool why = !json_absent(json_member(meter.at, meter.len, "why")) &&
	           !words_member_is(meter, "why", "");
	table_row(t, why ? TABLE_WARNING : TABLE_ORDINARY);
	words_member(meter, "name", value, sizeof value);
	table_cell(t, value);
	table_cell(t, text);
	words_member(meter, "shown", text, sizeof text);
	words_value(style, text, value, sizeof value);
	table_cell(t, value);
	words_member(meter, "function", text, sizeof text);
	table_cell(t, strcmp(text, "none") == 0 ? "" : text);
	words_member(meter, "dialect", text, sizeof text);
	table_cell(t, text);
	table_cell(t, json_absent(asked) ? "" : json_bool(asked, false) ? "asked" : "listened to");
	words_member(meter, "port", text, sizeof text);
	table_cell(t, text);
	counter_cells(t, meter);
}

/* "maker Lantern Works, model LW1, serial 0001, firmware 1.0"; the text as it stands
 * where it is not in four fields. */
static void identity_words(struct slice meter, char *out, size_t size)
{
	static const char *const fields[] = {"maker", "model", "serial", "firmware"};
	char text[WORDS_SIZE];
	size_t at = 0;
	out[0] = '\0';
	for (size_t i = 0; i < sizeof fields / sizeof *fields && at < size; i++) {
		words_member(meter, fields[i], text, sizeof text);
		if (text[0])
			at += (size_t)snprintf(out + at, size - at, "%s%s %s", at ? ", " : "", fields[i], text);
	}
	if (!out[0])
		words_member(meter, "identity", out, size);
}

/* What does not fit a column: said below the table, a line each. */
static void meter_beside(const struct style *style, struct slice meter, struct lines *out)
{
	static const struct { const char *path, *says; } beside[] = {
		{"identity", "says it is"}, {"accuracy", "accuracy"}, {"why", "attention:"},
	};
	char name[WORDS_SIZE], text[WORDS_SIZE];
	words_member(meter, "name", name, sizeof name);
	for (size_t i = 0; i < sizeof beside / sizeof beside[0]; i++) {
		words_member(meter, beside[i].path, text, sizeof text);
		if (i == 0)
			identity_words(meter, text, sizeof text);
		if (text[0])
			fact_printf(out, style, name, "%s %s", beside[i].says, text);
		else if (strcmp(beside[i].path, "accuracy") == 0 &&
		         !json_member(meter.at, meter.len, "accuracy").at)
			continue;
		else if (strcmp(beside[i].path, "accuracy") == 0)
			fact_printf(out, style, name, "accuracy not given: a pessimistic class is assumed; "
			            "write `accuracy ohm = 0.5%% + 2` under [meter %s]", name);
	}
}

/* Frames come, and none was ever understood: whoever meets that first knows no doctor yet. */
static void meter_stranger(const struct style *style, struct slice meter, struct lines *out)
{
	char name[WORDS_SIZE], why[WORDS_SIZE];
	int64_t good = 0, bad = 0;
	words_member(meter, "name", name, sizeof name);
	words_member(meter, "why", why, sizeof why);
	json_int(json_member(meter.at, meter.len, "counters.good"), &good);
	json_int(json_member(meter.at, meter.len, "counters.bad"), &bad);
	if (!why[0] && !good && bad >= WIRE_STRANGER_FRAMES)
		fact_printf(out, style, name, "attention: not one of its %lld frames was understood: `tally doctor %s` "
		            "says what stands in the way", (long long)bad, name);
}

/* Its lead offsets and checks, a line each. */
static void meter_backings(const struct style *style, struct slice meter, struct lines *out)
{
	char name[WORDS_SIZE], text[WORDS_SIZE], value[WORDS_SIZE];
	struct slice one, list = json_member(meter.at, meter.len, "offsets");
	size_t cursor = 0;
	int64_t seq = 0;
	words_member(meter, "name", name, sizeof name);
	while (json_next(list, &cursor, &one)) {
		words_member(one, "shown", text, sizeof text);
		words_value(style, text, value, sizeof value);
		json_int(json_member(one.at, one.len, "seq"), &seq);
		fact_printf(out, style, name, "lead offset %.60s (record %lld)", value, (long long)seq);
	}
	list = json_member(meter.at, meter.len, "checks");
	cursor = 0;
	while (json_next(list, &cursor, &one)) {
		words_member(one, "function", text, sizeof text);
		words_member(one, "position", value, sizeof value);
		json_int(json_member(one.at, one.len, "seq"), &seq);
		bool passed = json_bool(json_member(one.at, one.len, "passed"), false);
		fact_printf(out, style, name, "%s its check on %.20s against %.40s (record %lld)",
		            passed ? "passed" : "FAILED", text, value, (long long)seq);
	}
}

void view_meters(const struct style *style, struct slice result, struct lines *out)
{
	struct slice meters = json_member(result.at, result.len, "meters"), meter;
	struct table t;
	size_t cursor = 0;
	table_begin(&t, meter_columns, sizeof meter_columns / sizeof meter_columns[0]);
	while (json_next(meters, &cursor, &meter))
		meter_row(&t, style, meter);
	if (!t.row_count)
		lines_puts(out, "no meters: the configuration names none. Add a section [meter NAME] with "
		           "port and dialect,\nand start tallyd again\n");
	table_print(&t, style, out);
	table_end(&t);
	cursor = 0;
	while (json_next(meters, &cursor, &meter)) {
		meter_beside(style, meter, out);
		meter_stranger(style, meter, out);
		meter_backings(style, meter, out);
	}
}

/* ---- what is chosen ---- */

void view_chosen(const struct style *style, struct slice chosen, struct lines *out)
{
	char position[WORDS_SIZE], text[WORDS_SIZE], all[WORDS_SIZE * 2];
	/* The answer to `at` holds what is chosen, and the meter that was bound. */
	struct slice inner = json_member(chosen.at, chosen.len, "chosen");
	if (inner.at) {
		words_member(chosen, "meter", text, sizeof text);
		words_member(chosen, "position", position, sizeof position);
		if (text[0])
			fact_printf(out, style, "meter", "%.60s %s%.60s", text,
			            position[0] ? "is bound to " : "is free: it follows what is chosen",
			            position);
		chosen = inner;
	}
	words_member(chosen, "position", position, sizeof position);
	if (!position[0]) {
		fact(out, style, "position", "none is chosen: `tally at POSITION` does");
		return;
	}
	static const struct { const char *path, *before; } parts[] = {
		{"quantity", ", "}, {"kind", ", "}, {"nominal", ", nominal "}, {"tolerance", " "},
		{"role", ", "}, {"twin", ", twin "}, {"valve", ", valve "},
	};
	int at = snprintf(all, sizeof all, "%.60s", position);
	for (size_t i = 0; i < sizeof parts / sizeof parts[0] && (size_t)at < sizeof all; i++) {
		char value[WORDS_SIZE];
		words_member(chosen, parts[i].path, text, sizeof text);
		words_value(style, text, value, sizeof value);
		if (text[0])
			at += snprintf(all + at, sizeof all - (size_t)at, "%s%.200s", parts[i].before, value);
	}
	struct slice armed = json_member(chosen.at, chosen.len, "armed");
	if (!json_absent(armed) && (size_t)at < sizeof all)
		snprintf(all + at, sizeof all - (size_t)at, "%s",
		         json_bool(armed, false) ? ", ready for the probes"
		                                 : ", not ready yet: lift the probes");
	fact(out, style, "position", all);
}

/* ---- status ---- */

void view_bound(const struct style *style, struct slice result, struct lines *out)
{
	struct slice bound = json_member(result.at, result.len, "bound"), element;
	size_t cursor = 0;
	while (json_next(bound, &cursor, &element)) {
		char meter[WORDS_SIZE], position[WORDS_SIZE];
		words_member(element, "meter", meter, sizeof meter);
		words_member(element, "position", position, sizeof position);
		fact_printf(out, style, "bound", "%.60s to %.60s", meter, position);
	}
}

void view_safe(const struct style *style, struct slice status, struct lines *out)
{
	struct slice one;
	size_t cursor = 0;
	char position[WORDS_SIZE];
	if (words_member_is(status, "state", "cold")) {
		bool measured = json_bool(json_member(status.at, status.len, "measured"), true);
		fact(out, style, "state", measured ? "cold: every reservoir was measured dead, twice"
		                                   : "cold, by word alone: nothing was measured dead; measure before you "
		                                     "touch");
		return;
	}
	if (!json_bool(json_member(status.at, status.len, "discharging"), false)) {
		fact(out, style, "state", "LIVE");
		return;
	}
	fact(out, style, "state", "LIVE still: measure volts dc at the reservoirs, under 1 V, twice");
	if (words_member_is(status, "reservoirs-by", "kind"))
		fact(out, style, "reservoirs", "no role of the sheet names them: every electrolytic rated above 50 V, "
		     "or not at all, counts");
	struct slice list = json_member(status.at, status.len, "reservoirs");
	while (json_next(list, &cursor, &one)) {
		int64_t times = 0, wait = 0;
		words_member(one, "position", position, sizeof position);
		json_int(json_member(one.at, one.len, "dead"), &times);
		json_int(json_member(one.at, one.len, "wait"), &wait);
		if (times == 2)
			fact_printf(out, style, position, "dead, twice");
		else if (times == 1 && wait)
			fact_printf(out, style, position, "dead once; again in %lld s", (long long)wait);
		else
			fact(out, style, position, times ? "dead once; measure it again now" : "not measured yet");
	}
}

/* What goes over everything. */
static void alarms(const struct style *style, struct slice result, struct lines *out)
{
	struct slice list = json_member(result.at, result.len, "alarms"), one;
	size_t cursor = 0;
	char text[WORDS_SIZE];
	while (json_next(list, &cursor, &one)) {
		words_member(one, "text", text, sizeof text);
		fact(out, style, "DANGER", text);
	}
}

void view_status(const struct style *style, struct slice result, struct lines *out)
{
	char text[WORDS_SIZE];
	static const char *const words[] = {"state", "condition", "reach", "walk"};
	/* With `service` below it all of it is to be one screen of 24 lines. */
	alarms(style, result, out);
	words_member(result, "bench", text, sizeof text);
	fact(out, style, "bench", text);
	words_member(result, "job", text, sizeof text);
	fact(out, style, "job", text[0] ? text : "none is open: `tally job start NAME` does");
	if (json_member(result.at, result.len, "service").at && !style->plain) {
		char state[32], condition[32], reach[32], walk[32];
		words_member(result, "state", state, sizeof state);
		words_member(result, "condition", condition, sizeof condition);
		words_member(result, "reach", reach, sizeof reach);
		words_member(result, "walk", walk, sizeof walk);
		fact_printf(out, style, "state", "%s, %s, %s, walk %s", state, condition, reach, walk);
	} else {
		for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
			words_member(result, words[i], text, sizeof text);
			fact(out, style, words[i], text);
		}
	}
	if (json_bool(json_member(result.at, result.len, "discharging"), false))
		view_safe(style, result, out);
	view_chosen(style, json_member(result.at, result.len, "chosen"), out);
	view_bound(style, result, out);
	int64_t done, positions;
	if (json_int(json_member(result.at, result.len, "positions"), &positions) &&
	    json_int(json_member(result.at, result.len, "done"), &done))
		fact_printf(out, style, "measured", "%lld of %lld positions", (long long)done,
		            (long long)positions);
	/* With `service` below it, the log has a line of its own. */
	words_member(result, "health", text, sizeof text);
	if (!json_member(result.at, result.len, "service").at)
		fact(out, style, "log", text);
}
