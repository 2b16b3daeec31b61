/* SPDX-License-Identifier: MIT */
/*
 * Jobs and sheets.
 */
#include "client/view.h"

#include <stdio.h>
#include <string.h>

/* ---- jobs ---- */

static const struct table_column job_columns[] = {
	{"job", false, true},        {"state", false, true},    {"started", false, false},
	{"positions", true, false},  {"entries", true, false},
};

static void number_cell(struct table *t, struct slice object, const char *path)
{
	int64_t n;
	if (json_int(json_member(object.at, object.len, path), &n))
		table_printf(t, "%lld", (long long)n);
	else
		table_cell(t, "");
}

static void job_row(struct table *t, const struct style *style, struct slice job)
{
	char text[WORDS_SIZE];
	table_row(t, TABLE_ORDINARY);
	words_member(job, "job", text, sizeof text);
	table_cell(t, text);
	table_cell(t, json_bool(json_member(job.at, job.len, "open"), false) ? "open" : "closed");
	words_time(style, json_member(job.at, job.len, "t"), true, text, sizeof text);
	table_cell(t, text);
	number_cell(t, job, "positions");
	number_cell(t, job, "entries");
}

void view_jobs(const struct style *style, struct slice result, struct lines *out)
{
	struct slice jobs = json_member(result.at, result.len, "jobs"), job;
	struct table t;
	size_t cursor = 0;
	table_begin(&t, job_columns, sizeof job_columns / sizeof job_columns[0]);
	while (json_next(jobs, &cursor, &job))
		job_row(&t, style, job);
	if (!t.row_count)
		lines_puts(out, "no jobs yet: `tally job start NAME` begins one\n");
	table_print(&t, style, out);
	table_end(&t);
}

void view_job(const struct style *style, struct slice result, struct lines *out)
{
	char text[WORDS_SIZE];
	int64_t n;
	words_member(result, "job", text, sizeof text);
	fact(out, style, "job", text);
	fact(out, style, "is",
	     json_bool(json_member(result.at, result.len, "open"), false) ? "open" : "closed");
	words_member(result, "state", text, sizeof text);
	fact(out, style, "state", text);
	words_time(style, json_member(result.at, result.len, "t"), true, text, sizeof text);
	fact(out, style, "started", text);
	static const char *const numbers[] = {"positions", "entries"};
	for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++)
		if (json_int(json_member(result.at, result.len, numbers[i]), &n))
			fact_printf(out, style, numbers[i], "%lld", (long long)n);
}

/* ---- sheet ---- */

static const char *const known_cells[] = {
	"position", "kind", "nominal", "tolerance", "service", "rated",
	"role",     "with", "channel", "twin",      "part",    "note",
};
#define KNOWN_CELLS (sizeof known_cells / sizeof known_cells[0])

static const struct table_column sheet_columns[] = {
	{"position", false, true}, {"kind", false, true},      {"nominal", true, false},
	{"tolerance", true, false}, {"service", true, false},  {"rated", true, false},
	{"role", false, false},    {"with", false, false},     {"channel", false, false},
	{"twin", false, false},    {"part", false, false},     {"entries", true, false},
	{"note", false, false},    {"beside", false, true},
};

/* What was understood of the row stands beside what was written: not shown again. */
static bool understood(const char *name)
{
	static const char *const names[] = {"function", "limits", "entries", "written", "shown",
	                                    "service_limits", "assumed"};
	for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
		if (strcmp(name, names[i]) == 0)
			return true;
	for (size_t i = 0; i < KNOWN_CELLS; i++)
		if (strcmp(name, known_cells[i]) == 0)
			return true;
	return false;
}

/* A cell as the technician wrote it: the text under `written` where there is such
 * an object, else the text itself, else the number that was understood. */
static void cell_text(struct slice row, const char *name, char *out, size_t size)
{
	char path[64];
	snprintf(path, sizeof path, "written.%s", name);
	words_member(row, path, out, size);
	if (out[0])
		return;
	struct slice s = json_member(row.at, row.len, name);
	if (!s.at || json_is_null(s) || *s.at == '{' || *s.at == '[')
		return;
	if (*s.at == '"')
		words_string(s, out, size);
	else
		words_clean(s.at, s.len, out, size);
}

/* Columns that this program does not know: "owner: left side". */
static void say_beside(struct slice object, const char **gap, struct lines *out)
{
	size_t cursor = 0;
	struct slice key, value;
	while (json_next_member(object, &cursor, &key, &value)) {
		char name[64], text[WORDS_SIZE];
		words_clean(key.at, key.len, name, sizeof name);
		if (*value.at == '{' && strcmp(name, "written") != 0) {
			say_beside(value, gap, out);
			continue;
		}
		if (understood(name) || *value.at != '"')
			continue;
		words_string(value, text, sizeof text);
		if (!text[0])
			continue;
		lines_printf(out, "%s%s: %s", *gap, name, text);
		*gap = ", ";
	}
}

static void sheet_row(struct table *t, const struct style *style, struct slice row,
                      int64_t entries)
{
	char text[WORDS_SIZE], value[WORDS_SIZE];
	const char *gap = "";
	struct lines beside = {0};
	table_row(t, TABLE_ORDINARY);
	for (size_t i = 0; i + 1 < KNOWN_CELLS; i++) {
		cell_text(row, known_cells[i], text, sizeof text);
		words_value(style, text, value, sizeof value);
		table_cell(t, value);
	}
	if (entries)
		table_printf(t, "%lld", (long long)entries);
	else
		table_cell(t, "-");
	cell_text(row, "note", text, sizeof text);
	table_cell(t, text);
	say_beside(row, &gap, &beside);
	table_cell(t, lines_text(&beside));
	lines_free(&beside);
}

void view_sheet(const struct style *style, struct slice result, struct lines *out)
{
	struct slice rows = json_member(result.at, result.len, "rows"), row;
	char job[WORDS_SIZE], next[80] = "";
	struct table t;
	size_t cursor = 0;
	int positions = 0, done = 0;
	words_member(result, "job", job, sizeof job);
	table_begin(&t, sheet_columns, sizeof sheet_columns / sizeof sheet_columns[0]);
	while (json_next(rows, &cursor, &row)) {
		int64_t entries = 0;
		json_int(json_member(row.at, row.len, "entries"), &entries);
		sheet_row(&t, style, row, entries);
		positions++;
		done += entries > 0;
		if (!entries && !next[0])
			words_member(row, "position", next, sizeof next);
	}
	fact(out, style, "job", job);
	table_print(&t, style, out);
	table_end(&t);
	if (!positions)
		lines_puts(out, "no positions yet: `tally sheet load FILE.csv` brings a list, and `tally at "
		           "POSITION` names one as it is touched\n");
	else
		lines_printf(out, "%d of %d positions measured%s%s\n", done, positions,
		             next[0] ? ", the first without an entry is " : "", next);
}
