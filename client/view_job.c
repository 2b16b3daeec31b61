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
	{"positions", true, false},  {"entries", true, false},  {"unit", false, false},
};

static void number_cell(struct table *t, struct slice object, const char *path)
{
	int64_t n;
	if (json_int(json_member(object.at, object.len, path), &n))
		table_printf(t, "%lld", (long long)n);
	else
		table_cell(t, "");
}

void view_jobs_begin(struct view_list *v)
{
	*v = (struct view_list){.rows = 0};
	table_begin(&v->table, job_columns, sizeof job_columns / sizeof job_columns[0]);
}

void view_jobs_add(struct view_list *v, const struct style *style, struct slice job)
{
	char text[WORDS_SIZE];
	struct table *t = &v->table;
	bool open = json_bool(json_member(job.at, job.len, "open"), false);
	v->rows++;
	table_row(t, TABLE_ORDINARY);
	words_member(job, "job", text, sizeof text);
	table_cell(t, text);
	words_member(job, "state", text, sizeof text);
	table_printf(t, "%s%s%.60s", open ? "open" : "closed", open && text[0] ? ", " : "",
	             open ? text : "");
	words_time(style, json_member(job.at, job.len, "t"), true, text, sizeof text);
	table_cell(t, text);
	number_cell(t, job, "positions");
	number_cell(t, job, "entries");
	struct lines unit = {0};
	view_unit_line(job, &unit);
	table_cell(t, lines_text(&unit));
	lines_free(&unit);
}

void view_jobs_print(struct view_list *v, const struct style *style, struct lines *out)
{
	if (!v->rows)
		lines_puts(out, "no jobs yet: `tally job start NAME` begins one\n");
	table_print(&v->table, style, out);
}

void view_list_end(struct view_list *v)
{
	table_end(&v->table);
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
	static const char *const numbers[] = {"positions", "entries", "fits"};
	for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++)
		if (json_int(json_member(result.at, result.len, numbers[i]), &n))
			fact_printf(out, style, numbers[i], "%lld", (long long)n);
	view_unit(style, result, out);
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

/* A cell as the technician wrote it: the text under `written` where there is such
 * an object, else the text itself, else the number that was understood. */
static void cell_text(struct slice row, const char *name, char *out, size_t size)
{
	char path[64];
	snprintf(path, sizeof path, "written.%s", name);
	words_member(row, path, out, size);
	if (!out[0] && strcmp(name, "nominal") == 0)
		words_nominal(row, out, size);
	if (out[0])
		return;
	struct slice s = json_member(row.at, row.len, name);
	if (!s.at || json_absent(s) || *s.at == '{' || *s.at == '[')
		return;
	if (*s.at == '"')
		words_string(s, out, size);
	else
		words_clean(s.at, s.len, out, size);
}

/* Columns that no one knows but the technician, and the rarer known ones. */
static void say_fit(struct slice row, struct lines *out)
{
	static const char *const cells[] = {"kind", "nominal", "tolerance", "rated", "max", "part", "note"};
	struct slice fit = json_member(row.at, row.len, "fit");
	char path[64], text[WORDS_SIZE];
	const char *gap = "fitted: ";
	if (!fit.at || *fit.at != '{')
		return;
	for (size_t i = 0; i < sizeof cells / sizeof cells[0]; i++) {
		snprintf(path, sizeof path, "written.%s", cells[i]);
		words_member(fit, path, text, sizeof text);
		if (text[0])
			lines_printf(out, "%s%s", gap, text);
		gap = text[0] ? " " : gap;
	}
}

void view_missing(struct slice of, const char *before, struct lines *out)
{
	struct slice list = json_member(of.at, of.len, "missing"), one;
	size_t cursor = 0;
	char text[64];
	const char *gap = before;
	while (before && json_next(list, &cursor, &one)) {
		words_string(one, text, sizeof text);
		lines_printf(out, "%s%s", gap, text);
		gap = ", ";
	}
	if (before && cursor)
		lines_puts(out, gap == before ? "" : " not measured");
}

static void say_beside(struct slice row, struct lines *out)
{
	static const char *const rare[] = {"source", "max", "price"};
	struct slice extra = json_member(row.at, row.len, "extra"), key, value;
	size_t cursor = 0;
	say_fit(row, out);
	/* Of what was measured at all: what else it must show. */
	int64_t entries = 0;
	json_int(json_member(row.at, row.len, "entries"), &entries);
	view_missing(row, entries ? out->len ? ", " : "" : NULL, out);
	const char *gap = out->len ? ", " : "";
	char name[64], text[WORDS_SIZE];
	for (size_t i = 0; i < sizeof rare / sizeof rare[0]; i++) {
		cell_text(row, rare[i], text, sizeof text);
		if (text[0])
			lines_printf(out, "%s%s %s", gap, rare[i], text);
		gap = out->len ? ", " : "";
	}
	while (json_next_member(extra, &cursor, &key, &value)) {
		words_clean(key.at, key.len, name, sizeof name);
		words_string(value, text, sizeof text);
		if (text[0])
			lines_printf(out, "%s%s %s", gap, name, text);
		gap = out->len ? ", " : "";
	}
}

void view_sheet_begin(struct view_list *v)
{
	*v = (struct view_list){.rows = 0};
	table_begin(&v->table, sheet_columns, sizeof sheet_columns / sizeof sheet_columns[0]);
}

void view_sheet_add(struct view_list *v, const struct style *style, struct slice row)
{
	char text[WORDS_SIZE], value[WORDS_SIZE];
	struct lines beside = {0};
	struct table *t = &v->table;
	int64_t entries = 0;
	json_int(json_member(row.at, row.len, "entries"), &entries);
	v->rows++;
	v->done += entries > 0;
	if (!entries && !v->next[0])
		words_member(row, "position", v->next, sizeof v->next);
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
	say_beside(row, &beside);
	table_cell(t, lines_text(&beside));
	lines_free(&beside);
}

void view_sheet_print(struct view_list *v, const struct style *style, struct lines *out)
{
	fact(out, style, "job", v->job);
	table_print(&v->table, style, out);
	if (!v->rows)
		lines_puts(out, "no positions yet: `tally sheet load FILE.csv` brings a list, and `tally at "
		           "POSITION` names one as it is touched\n");
	else
		lines_printf(out, "%d of %d positions measured%s%s\n", v->done, v->rows,
		             v->next[0] ? ", the first without an entry is " : "", v->next);
}

/* ---- what is missing ---- */

static const struct table_column missing_columns[] = {
	{"position", false, true}, {"kind", false, true}, {"part", false, false}, {"missing", false, true},
};

static void parts_print(const struct style *style, struct slice parts, struct lines *out)
{
	struct slice part, one;
	size_t cursor = 0;
	while (json_next(parts, &cursor, &part)) {
		char name[WORDS_SIZE], position[64];
		struct lines text = {0};
		size_t at = 0;
		words_member(part, "part", name, sizeof name);
		struct slice list = json_member(part.at, part.len, "positions");
		while (json_next(list, &at, &one)) {
			words_string(one, position, sizeof position);
			lines_printf(&text, "%s%s", text.len ? ", " : "", position);
		}
		lines_puts(&text, json_bool(json_member(part.at, part.len, "whole"), false)
		           ? ": everything was seen" : ": not everything was seen");
		fact_printf(out, style, "part", "%.60s is %s", name, lines_text(&text));
		lines_free(&text);
	}
}

void view_sheet_missing(const struct style *style, struct slice result, struct lines *out)
{
	struct table t;
	struct slice list = json_member(result.at, result.len, "positions"), row;
	size_t cursor = 0;
	int64_t of = 0;
	int rows = 0;
	char text[WORDS_SIZE];
	json_int(json_member(result.at, result.len, "of"), &of);
	words_member(result, "job", text, sizeof text);
	fact(out, style, "job", text);
	table_begin(&t, missing_columns, sizeof missing_columns / sizeof *missing_columns);
	while (json_next(list, &cursor, &row)) {
		struct lines missing = {0};
		view_missing(row, "", &missing);
		table_row(&t, TABLE_ORDINARY);
		words_member(row, "position", text, sizeof text);
		table_cell(&t, text);
		words_member(row, "kind", text, sizeof text);
		table_cell(&t, text);
		words_member(row, "part", text, sizeof text);
		table_cell(&t, text);
		table_cell(&t, lines_text(&missing));
		lines_free(&missing);
		rows++;
	}
	table_print(&t, style, out);
	table_end(&t);
	parts_print(style, json_member(result.at, result.len, "parts"), out);
	if (rows)
		lines_printf(out, "%d of %lld positions have not shown everything that their kind must show\n", rows,
		             (long long)of);
	else
		lines_puts(out, of ? "every position has shown what its kind must show\n" : "no positions yet\n");
}
