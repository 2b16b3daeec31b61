/* SPDX-License-Identifier: MIT */
/*
 * What to replace, in rounds; what to buy; what to measure again: as tables for people
 * and as CSV (RFC 4180) for a shop or a spreadsheet.
 */
#include "client/view.h"

#include <stdio.h>
#include <string.h>

/* ---- CSV ---- */

static void csv_row(struct lines *out, const char *const *cell, size_t n)
{
	for (size_t i = 0; i < n; i++) {
		lines_puts(out, i ? "," : "");
		lines_csv(out, cell[i], strpbrk(cell[i], ",;\"\r\n") || cell[i][0] == ' ', true);
	}
	lines_puts(out, "\r\n");
}

/* ---- what is in a line ---- */

/* The names in a list, with a space between. */
static void names(struct slice list, char *out, size_t size)
{
	struct slice one;
	size_t cursor = 0, at = 0;
	char name[80];
	out[0] = '\0';
	while (json_next(list, &cursor, &one) && json_text(one, name, sizeof name)) {
		int n = snprintf(out + at, size - at, "%s%s", at ? " " : "", name);
		if (n < 0 || (size_t)n >= size - at)
			return;
		at += (size_t)n;
	}
}

static const char *const replace_members[] = {"position", "part",    "kind", "nominal",
                                              "role",     "channel", "twin", "because"};
#define REPLACE (sizeof replace_members / sizeof replace_members[0])

static const char *const recheck_members[] = {"position", "quantity", "verdict", "because", "next"};
#define RECHECK (sizeof recheck_members / sizeof recheck_members[0])

static int each(struct slice list, void (*row)(void *arg, struct slice one), void *arg)
{
	struct slice one;
	size_t cursor = 0;
	int n = 0;
	for (; json_next(list, &cursor, &one); n++)
		row(arg, one);
	return n;
}

/* "450 V", "2 W"; "" where neither is known. */
static void rating(struct slice one, char *out, size_t size)
{
	double volts, watts;
	bool has_volts = json_number(json_member(one.at, one.len, "rated"), &volts);
	bool has_watts = json_number(json_member(one.at, one.len, "watts"), &watts);
	out[0] = '\0';
	if (has_volts && has_watts)
		snprintf(out, size, "%g V, %g W", volts, watts);
	else if (has_volts)
		snprintf(out, size, "%g V", volts);
	else if (has_watts)
		snprintf(out, size, "%g W", watts);
}

/* ---- rounds ---- */

struct rows {
	struct table *table;
	const struct style *style;
	struct lines *csv;
	int round;
	char name[80];
};

static void replace_row(void *arg, struct slice one)
{
	struct rows *r = arg;
	char text[WORDS_SIZE], value[WORDS_SIZE];
	bool policy = json_bool(json_member(one.at, one.len, "policy"), false);
	table_row(r->table, policy ? TABLE_ORDINARY : TABLE_BAD);
	for (size_t i = 0; i < REPLACE; i++) {
		words_member(one, replace_members[i], text, sizeof text);
		words_value(r->style, text, value, sizeof value);
		table_cell(r->table, i == 3 ? value : text);
	}
}

static void replace_csv(void *arg, struct slice one)
{
	struct rows *r = arg;
	char number[16], text[REPLACE][WORDS_SIZE];
	const char *cell[REPLACE + 2] = {number, r->name};
	snprintf(number, sizeof number, "%d", r->round);
	for (size_t i = 0; i < REPLACE; i++) {
		words_member(one, replace_members[i], text[i], sizeof text[i]);
		cell[i + 2] = text[i];
	}
	csv_row(r->csv, cell, REPLACE + 2);
}

static const struct table_column replace_columns[] = {
	{"position", false, true}, {"part", false, false},    {"kind", false, true},
	{"nominal", true, true},   {"role", false, true},     {"channel", false, true},
	{"twin", false, false},    {"because", false, false},
};

static void counted(struct slice result, const char *key, const char *after, struct lines *out)
{
	int64_t n = 0;
	if (json_int(json_member(result.at, result.len, key), &n) && n > 0)
		lines_printf(out, ", %lld %s", (long long)n, after);
}

static void plan_tail(struct slice result, int replaced, struct lines *out)
{
	lines_printf(out, "%d to replace", replaced);
	counted(result, "keep", "kept", out);
	counted(result, "done", "done already", out);
	counted(result, "unsure", "to look at again (tally plan recheck)", out);
	counted(result, "unmeasured", "not measured", out);
	lines_puts(out, "\n");
}

static void rounds(const struct style *style, struct slice result, bool csv, struct lines *out)
{
	static const char *const head[] = {"round", "name", "position", "part", "kind", "nominal",
	                                   "role",  "channel", "twin", "because"};
	struct slice list = json_member(result.at, result.len, "rounds"), one;
	struct rows r = {.style = style, .csv = out};
	size_t cursor = 0;
	int all = 0;
	if (csv)
		csv_row(out, head, REPLACE + 2);
	while (json_next(list, &cursor, &one)) {
		struct table t;
		struct slice replace = json_member(one.at, one.len, "replace");
		r.round++;
		words_member(one, "name", r.name, sizeof r.name);
		if (csv) {
			each(replace, replace_csv, &r);
			continue;
		}
		table_begin(&t, replace_columns, sizeof replace_columns / sizeof replace_columns[0]);
		r.table = &t;
		int n = each(replace, replace_row, &r);
		if (n)
			lines_printf(out, "%sround %d: %s\n", all && !style->plain ? "\n" : "", r.round,
			             r.name);
		table_print(&t, style, out);
		out->failed |= t.failed;
		table_end(&t);
		all += n;
	}
	if (!csv)
		plan_tail(result, all, out);
}

/* ---- order ---- */

#define ORDER_CELLS 9

static void order_cells(struct slice one, char cell[ORDER_CELLS][WORDS_SIZE])
{
	int64_t count = 0;
	json_int(json_member(one.at, one.len, "count"), &count);
	snprintf(cell[0], WORDS_SIZE, "%lld", (long long)count);
	words_member(one, "kind", cell[1], WORDS_SIZE);
	words_member(one, "value", cell[2], WORDS_SIZE);
	words_member(one, "tolerance", cell[3], WORDS_SIZE);
	rating(one, cell[4], WORDS_SIZE);
	names(json_member(one.at, one.len, "positions"), cell[5], WORDS_SIZE);
	words_member(one, "note", cell[6], WORDS_SIZE);
	words_member(one, "number", cell[7], WORDS_SIZE);
	words_member(one, "price", cell[8], WORDS_SIZE);
}

static void order_row(void *arg, struct slice one)
{
	struct rows *r = arg;
	char cell[ORDER_CELLS][WORDS_SIZE], value[WORDS_SIZE];
	order_cells(one, cell);
	table_row(r->table, TABLE_ORDINARY);
	words_value(r->style, cell[2], value, sizeof value);
	for (int i = 0; i < ORDER_CELLS; i++)
		table_cell(r->table, i == 2 ? value : cell[i]);
}

static void order_csv(void *arg, struct slice one)
{
	struct rows *r = arg;
	char cell[ORDER_CELLS][WORDS_SIZE];
	const char *cells[ORDER_CELLS];
	order_cells(one, cell);
	for (int i = 0; i < ORDER_CELLS; i++)
		cells[i] = cell[i];
	csv_row(r->csv, cells, ORDER_CELLS);
}

static void order(const struct style *style, struct slice result, bool csv, struct lines *out)
{
	static const struct table_column columns[] = {
		{"count", true, true},      {"kind", false, true},   {"value", true, true},
		{"tolerance", false, true}, {"at least", false, false}, {"for", false, false},
		{"note", false, true},      {"number", false, false}, {"price", true, false},
	};
	static const char *const head[] = {"count", "kind", "value", "tolerance", "at least",
	                                   "positions", "note", "number", "price"};
	struct slice list = json_member(result.at, result.len, "order");
	struct table t;
	struct rows r = {.style = style, .csv = out, .table = &t};
	if (csv) {
		csv_row(out, head, ORDER_CELLS);
		each(list, order_csv, &r);
		return;
	}
	table_begin(&t, columns, sizeof columns / sizeof columns[0]);
	int n = each(list, order_row, &r);
	table_print(&t, style, out);
	out->failed |= t.failed;
	table_end(&t);
	char here[WORDS_SIZE];
	names(json_member(result.at, result.len, "here"), here, sizeof here);
	if (here[0])
		lines_printf(out, "here already, measured new: %s\n", here);
	else if (!n)
		lines_puts(out, "nothing to buy: nothing is to be replaced\n");
}

/* ---- recheck ---- */

static void recheck_row(void *arg, struct slice one)
{
	struct rows *r = arg;
	char text[WORDS_SIZE];
	bool measured = json_bool(json_member(one.at, one.len, "measured"), false);
	table_row(r->table, measured ? TABLE_WARNING : TABLE_ORDINARY);
	for (size_t i = 0; i < RECHECK; i++) {
		words_member(one, recheck_members[i], text, sizeof text);
		table_cell(r->table, text);
	}
}

static void recheck_csv(void *arg, struct slice one)
{
	struct rows *r = arg;
	char text[RECHECK][WORDS_SIZE];
	const char *cell[RECHECK];
	for (size_t i = 0; i < RECHECK; i++) {
		words_member(one, recheck_members[i], text[i], sizeof text[i]);
		cell[i] = text[i];
	}
	csv_row(r->csv, cell, RECHECK);
}

static void recheck(const struct style *style, struct slice result, bool csv, struct lines *out)
{
	static const struct table_column columns[] = {
		{"position", false, true}, {"quantity", false, true}, {"verdict", false, true},
		{"because", false, true},  {"next", false, false},
	};
	struct slice list = json_member(result.at, result.len, "recheck");
	struct table t;
	struct rows r = {.style = style, .csv = out, .table = &t};
	if (csv) {
		csv_row(out, recheck_members, RECHECK);
		each(list, recheck_csv, &r);
		return;
	}
	table_begin(&t, columns, sizeof columns / sizeof columns[0]);
	int n = each(list, recheck_row, &r);
	table_print(&t, style, out);
	out->failed |= t.failed;
	table_end(&t);
	if (!n)
		lines_puts(out, "nothing to look at again\n");
}

void view_plan(const struct style *style, struct slice result, enum plan_part part, bool csv,
               struct lines *out)
{
	if (part == PLAN_ORDER)
		order(style, result, csv, out);
	else if (part == PLAN_LOOK)
		recheck(style, result, csv, out);
	else
		rounds(style, result, csv, out);
}
