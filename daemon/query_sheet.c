/* SPDX-License-Identifier: MIT */
/*
 * Sheets, folded from their records: of a position the last record counts, and
 * its place in the sheet is that of the first.  A rename leaves it there; what is fitted
 * stands beside it.
 */
#include "daemon/query_guided.h"
#include "daemon/query_private.h"

#include "protocol/record/fit.h"

#include <stdlib.h>
#include <string.h>

/* ---- the rows of a sheet ---- */

struct sheet_reading {
	struct sheet_lines *lines;
	const char *job;
	bool no_memory;
};

/* Where the name stands in by_name, or would. */
static size_t place_of(const struct sheet_lines *lines, const char *position)
{
	size_t low = 0, high = lines->n;
	while (low < high) {
		size_t middle = low + (high - low) / 2;
		if (strcmp(lines->at[lines->by_name[middle]].position, position) < 0)
			low = middle + 1;
		else
			high = middle;
	}
	return low;
}

struct sheet_line *sheet_lines_find(const struct sheet_lines *lines, const char *position)
{
	size_t place = place_of(lines, position);
	if (place == lines->n)
		return NULL;
	struct sheet_line *line = &lines->at[lines->by_name[place]];
	return strcmp(line->position, position) ? NULL : line;
}

static struct sheet_line *line_add(struct sheet_lines *lines, const char *position, int64_t seq)
{
	if (lines->n == lines->size) {
		size_t size = lines->size ? 2 * lines->size : 64;
		struct sheet_line *at = realloc(lines->at, size * sizeof *at);
		if (!at)
			return NULL;
		lines->at = at;
		size_t *by_name = realloc(lines->by_name, size * sizeof *by_name);
		if (!by_name)
			return NULL;
		lines->by_name = by_name;
		lines->size = size;
	}
	size_t place = place_of(lines, position);
	memmove(lines->by_name + place + 1, lines->by_name + place,
	        (lines->n - place) * sizeof *lines->by_name);
	lines->by_name[place] = lines->n;
	struct sheet_line *line = &lines->at[lines->n++];
	memset(line, 0, sizeof *line);
	snprintf(line->position, NAME_SIZE, "%s", position);
	line->first = seq;
	return line;
}

/* Out of the order of names, and in again under the new one. */
static void line_rename(struct sheet_lines *lines, const char *from, const char *to)
{
	struct sheet_line *line = sheet_lines_find(lines, from);
	if (!line || sheet_lines_find(lines, to))
		return;
	size_t place = place_of(lines, from), index = lines->by_name[place];
	lines->n--;
	memmove(lines->by_name + place, lines->by_name + place + 1,
	        (lines->n - place) * sizeof *lines->by_name);
	snprintf(line->position, NAME_SIZE, "%s", to);
	place = place_of(lines, to);
	memmove(lines->by_name + place + 1, lines->by_name + place,
	        (lines->n - place) * sizeof *lines->by_name);
	lines->by_name[place] = index;
	lines->n++;
}

static bool fit_record(struct sheet_reading *r, struct sheet_line *line, const char *text,
                       size_t len)
{
	free(line->fit);
	line->fit = NULL;
	line->fit_len = 0;
	if (json_absent(json_member(text, len, "fit")))
		return true;
	line->fit = malloc(len + 1);
	if (!line->fit) {
		r->no_memory = true;
		return false;
	}
	memcpy(line->fit, text, len);
	line->fit[len] = '\0';
	line->fit_len = len;
	return true;
}

static bool position_record(void *arg, int64_t seq, const char *text, size_t len)
{
	struct sheet_reading *r = arg;
	char position[NAME_SIZE];
	struct rename_body rename;
	struct slice kind = json_member(text, len, "kind");
	if (!query_of_job(r->job, text, len) ||
	    !json_text(json_member(text, len, "position"), position, sizeof position))
		return true;
	if (json_is(kind, "rename")) {
		if (rename_body_read(text, len, &rename))
			line_rename(r->lines, rename.from, rename.position);
		return true;
	}
	if (json_is(kind, "fit")) {
		struct sheet_line *fitted = sheet_lines_find(r->lines, position);
		return !fitted || fit_record(r, fitted, text, len);
	}
	struct sheet_line *line = sheet_lines_find(r->lines, position);
	if (!line)
		line = line_add(r->lines, position, seq);
	char *copy = malloc(len + 1);
	if (!line || !copy) {
		free(copy);
		r->no_memory = true;
		return false;
	}
	memcpy(copy, text, len);
	copy[len] = '\0';
	free(line->text);
	line->text = copy;
	line->len = len;
	line->seq = seq;
	return true;
}

bool sheet_lines_read(struct query *q, const char *job, struct sheet_lines *out)
{
	memset(out, 0, sizeof *out);
	struct sheet_reading r = { .lines = out, .job = job };
	const struct log_query what = { .kind = "position,rename,fit" };
	bool good = query_each(q, &what, position_record, &r);
	if (good && r.no_memory)
		good = query_no_memory(q);
	if (!good)
		sheet_lines_free(out);
	return good;
}

void sheet_lines_free(struct sheet_lines *lines)
{
	for (size_t i = 0; i < lines->n; i++)
		free(lines->at[i].text), free(lines->at[i].fit);
	free(lines->at);
	free(lines->by_name);
	memset(lines, 0, sizeof *lines);
}

/* What its second value is of, too. */
static void count_for_position(void *arg, const char *job, const char *position, const char *text,
                               size_t len)
{
	(void)job;
	struct sheet_line *line = sheet_lines_find(arg, position);
	char word[32];
	enum condition condition;
	enum quantity quantity;
	if (!line)
		return;
	line->entries++;
	if (!json_text(json_member(text, len, "condition"), word, sizeof word) ||
	    !condition_from_name(word, strlen(word), &condition))
		return;
	static const char *const members[] = { "quantity", "second.quantity" };
	for (int i = 0; i < 2; i++)
		if (json_text(json_member(text, len, members[i]), word, sizeof word) &&
		    quantity_from_name(word, strlen(word), &quantity))
			line->seen[condition] |= PART_BIT(quantity);
}

/* Count the entries of each line, and what they are of. */
static bool sheet_lines_seen(struct query *q, const char *job, struct sheet_lines *lines)
{
	struct guided_list list;
	bool good = guided_read(q, job, &list);
	for (size_t i = 0; good && i < list.n; i++) {
		struct sheet_line *line = sheet_lines_find(lines, list.at[i].position);
		if (line && list.at[i].run.word != VERDICT_NONE)
			line->guided = list.at[i].run.seq;
	}
	guided_free(&list);
	return good && entries_count(q, job, count_for_position, lines);
}

/* ---- what is missing ---- */

/* What the part that is there now must still show; *position is how it is specified. */
static int sheet_line_missing(const struct sheet_line *line, struct part_quantity out[PART_SHOWS_MAX],
                              struct position *position)
{
	struct position_body body;
	struct sheet_row row, fit, whole;
	struct fit_body fitted;
	struct fault ignored;
	unsigned seen = 0;
	if (!position_body_read(line->text, line->len, &body, &row, &ignored))
		return 0;
	*position = row.position;
	bool fits = line->fit && fit_body_read(line->fit, line->fit_len, &fitted, &fit) &&
	            fit_over(&row, &fit, &whole, &ignored);
	if (fits)
		*position = whole.position;
	/* Of another part than was found only what was measured since counts. */
	for (int c = 0; c < CONDITION_COUNT; c++)
		if (!fits || c != CONDITION_FOUND)
			seen |= line->seen[c];
	/* A run that was given up made no entry of it, and found it out all the same. */
	if (line->guided && !fits)
		seen |= PART_BIT(QUANTITY_LEAKAGE);
	return part_missing(position, seen, out);
}

static void missing_write(struct answer *out, const struct part_quantity *missing, int count)
{
	char text[48];
	answer_puts(out, "[");
	for (int i = 0; i < count; i++) {
		part_quantity_text(&missing[i], text, sizeof text);
		answer_puts(out, i ? "," : "");
		answer_string(out, text);
	}
	answer_puts(out, "]");
}

/* ---- sheet.show ---- */

/* As its record has it, with what it replaces and the seq of that record. */
static void fit_write(struct answer *out, const struct sheet_line *line)
{
	static const char *const members[] = { "seq", "fit", "replaces" };
	answer_puts(out, ",\"fit\":");
	if (!line->fit) {
		answer_puts(out, "null");
		return;
	}
	answer_puts(out, "{");
	for (size_t i = 0; i < 3; i++) {
		struct slice s = json_member(line->fit, line->fit_len, members[i]), key, value;
		if (!s.at || json_absent(s))
			continue;
		if (i != 1) {
			answer_printf(out, "%s\"%s\":", i ? "," : "", members[i]);
			answer_add(out, s.at, s.len);
			continue;
		}
		for (size_t cursor = 0; json_next_member(s, &cursor, &key, &value);) {
			if (key.len == 3 && !memcmp(key.at, "seq", 3))
				continue;
			answer_puts(out, ",\"");
			answer_add(out, key.at, key.len);
			answer_puts(out, "\":");
			answer_add(out, value.at, value.len);
		}
	}
	answer_puts(out, "}");
}

static void row_write(struct answer *out, const struct sheet_line *line)
{
	answer_puts(out, "{\"position\":");
	answer_string(out, line->position);
	answer_printf(out, ",\"entries\":%lld,\"seq\":%lld", (long long)line->entries,
	              (long long)line->seq);
	struct slice sheet = json_member(line->text, line->len, "sheet"), key, value;
	size_t cursor = 0;
	while (sheet.at && json_next_member(sheet, &cursor, &key, &value)) {
		if ((key.len == 8 && !memcmp(key.at, "position", 8)) ||
		    (key.len == 7 && !memcmp(key.at, "entries", 7)) ||
		    (key.len == 3 && !memcmp(key.at, "seq", 3)))
			continue;
		answer_puts(out, ",\"");
		answer_add(out, key.at, key.len);
		answer_puts(out, "\":");
		answer_add(out, value.at, value.len);
	}
	fit_write(out, line);
	struct part_quantity missing[PART_SHOWS_MAX];
	struct position position;
	answer_puts(out, ",\"missing\":");
	missing_write(out, missing, sheet_line_missing(line, missing, &position));
	answer_puts(out, "}");
}

static void sheet_write(struct query *q, const char *job, const struct sheet_lines *lines,
                        const struct page_bounds *bounds)
{
	int64_t given = 0, next = bounds->after;
	bool more = false;
	answer_puts(&q->out, "{\"job\":");
	answer_name(&q->out, job);
	answer_puts(&q->out, ",\"rows\":[");
	for (size_t i = 0; i < lines->n; i++) {
		const struct sheet_line *line = &lines->at[i];
		if (line->first <= bounds->after)
			continue;
		more = given == bounds->limit || !query_room(q, line->len + line->fit_len + 320);
		if (more)
			break;
		answer_puts(&q->out, given++ ? "," : "");
		row_write(&q->out, line);
		next = line->first;
	}
	answer_puts(&q->out, "]");
	query_more(q, more, next);
	answer_puts(&q->out, "}");
}

bool query_sheet_show(struct query *q, json_t *params)
{
	/* A sheet is looked at as a whole: no limit but that of a line. */
	struct page_bounds bounds = { 0, QUERY_LIMIT_MAX };
	const char *asked = NULL;
	char job[JOB_SIZE];
	const struct param list[] = {
		{ "job", PARAM_TEXT, false, &asked },
		{ "after", PARAM_WHOLE, false, &bounds.after },
		{ "limit", PARAM_WHOLE, false, &bounds.limit },
	};
	if (!params_read("sheet.show", params, list, 3, q->why))
		return query_refuse(q, WIRE_BAD_PARAMS);
	struct sheet_lines lines;
	if (!query_bounds(q, "sheet.show", &bounds) || !query_job(q, asked, false, job) ||
	    !sheet_lines_read(q, job, &lines))
		return false;
	bool good = sheet_lines_seen(q, job, &lines);
	if (good)
		sheet_write(q, job, &lines, &bounds);
	sheet_lines_free(&lines);
	return good;
}

/* ---- sheet.missing ---- */

/* A line of the sheet, and what it has not shown yet. */
struct shown {
	struct position position;
	struct part_quantity missing[PART_SHOWS_MAX];
	int count;
};

/* Positions of one part stand together, each part once, where its first position stands. */
static bool part_begins(const struct shown *of, size_t i)
{
	for (size_t k = 0; k < i; k++)
		if (!strcmp(of[k].position.part, of[i].position.part))
			return false;
	return of[i].position.part[0];
}

static void parts_write(struct query *q, const struct sheet_lines *lines, const struct shown *of)
{
	bool first = true;
	answer_puts(&q->out, ",\"parts\":[");
	for (size_t i = 0; i < lines->n; i++) {
		if (!part_begins(of, i) || !query_room(q, 512))
			continue;
		answer_puts(&q->out, first ? "{\"part\":" : ",{\"part\":");
		answer_string(&q->out, of[i].position.part);
		answer_puts(&q->out, ",\"positions\":[");
		bool begun = false, whole = true;
		for (size_t k = i; k < lines->n && query_room(q, 128); k++) {
			if (strcmp(of[k].position.part, of[i].position.part))
				continue;
			answer_puts(&q->out, begun ? "," : "");
			answer_string(&q->out, lines->at[k].position);
			whole = whole && of[k].count == 0;
			begun = true;
		}
		answer_printf(&q->out, "],\"whole\":%s}", whole ? "true" : "false");
		first = false;
	}
	answer_puts(&q->out, "]");
}

bool query_sheet_missing(struct query *q, json_t *params)
{
	const char *asked = NULL, *only = NULL;
	char job[JOB_SIZE];
	const struct param list[] = { { "job", PARAM_TEXT, false, &asked },
		                          { "position", PARAM_TEXT, false, &only } };
	struct sheet_lines lines;
	if (!params_read("sheet.missing", params, list, 2, q->why))
		return query_refuse(q, WIRE_BAD_PARAMS);
	if (!query_job(q, asked, false, job) || !sheet_lines_read(q, job, &lines))
		return false;
	struct shown *of = calloc(lines.n + 1, sizeof *of);
	bool good = of ? sheet_lines_seen(q, job, &lines) : query_no_memory(q);
	size_t lack = 0;
	if (good) {
		answer_puts(&q->out, "{\"job\":");
		answer_name(&q->out, job);
		answer_puts(&q->out, ",\"positions\":[");
		for (size_t i = 0; i < lines.n; i++) {
			struct shown *s = &of[i];
			s->count = sheet_line_missing(&lines.at[i], s->missing, &s->position);
			if (!s->count || (only && strcmp(only, lines.at[i].position)) || !query_room(q, 256))
				continue;
			answer_puts(&q->out, lack++ ? ",{\"position\":" : "{\"position\":");
			answer_string(&q->out, lines.at[i].position);
			answer_puts(&q->out, ",\"kind\":");
			answer_string(&q->out, kind_name(s->position.kind));
			answer_puts(&q->out, ",\"part\":");
			answer_name(&q->out, s->position.part);
			answer_printf(&q->out, ",\"entries\":%lld,\"missing\":", (long long)lines.at[i].entries);
			missing_write(&q->out, s->missing, s->count);
			answer_puts(&q->out, "}");
		}
		answer_printf(&q->out, "],\"of\":%zu", lines.n);
		parts_write(q, &lines, of);
		answer_puts(&q->out, "}");
	}
	free(of);
	sheet_lines_free(&lines);
	return good;
}
