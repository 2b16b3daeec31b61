/* SPDX-License-Identifier: MIT */
/*
 * The sheet as it is typed: lines, and the other channel made from the first.  All of
 * what is typed at once goes into the sheet, or nothing of it does.
 */
#include "daemon/bench_inside.h"

#include "protocol/record/sheet_entry.h"
#include "protocol/record/sheet_map.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* ---- lines ---- */

static struct sheet_row *batch_find(struct sheet_batch *batch, const char *name)
{
	for (int i = 0; i < batch->rows; i++)
		if (strcmp(batch->row[i].position.name, name) == 0)
			return &batch->row[i];
	return NULL;
}

/* Was it only named as it was touched, and never described? */
static bool only_named(const struct sheet_row *row)
{
	for (int i = 0; i < SHEET_COLUMNS; i++)
		if (i != SHEET_POSITION && row->written[i][0])
			return false;
	return row->extras == 0;
}

/* Lines while they are read: where each row of the batch came from. */
struct typing {
	struct sheet_batch batch;
	int line; /* at work; 0: rows of a table, which say their places themselves */
	struct typed_at {
		int line, column;
	} *at;
	int size;
	/* Where all faults are wanted: told, and gone on. */
	void (*each)(void *arg, const struct fault *why);
	void *arg;
};

static bool given_already(struct typing *t, const struct sheet_row *first, struct fault *why)
{
	const struct typed_at *at = &t->at[first - t->batch.row];
	if (at->line)
		fault_set(why, "%s was given already, at line %d, column %d", first->position.name, at->line,
		          at->column);
	else
		fault_set(why, "%s was given already, further up", first->position.name);
	return false;
}

static bool add_row(void *arg, const struct sheet_row *row, size_t at, struct fault *why)
{
	struct typing *t = arg;
	struct sheet_batch *batch = &t->batch;
	const char *name = row->position.name;
	int place = position_find(batch->b, name);
	const struct sheet_row *first = batch_find(batch, name);
	if (first)
		return given_already(t, first, why);
	if (place >= 0 && !only_named(&batch->b->position[place].row)) {
		fault_set(why, "%s is in the sheet already; to change it: sheet set %s key=value", name, name);
		return false;
	}
	if (batch->b->positions + batch->rows >= SHEET_ROWS_MAX) {
		fault_set(why, "%s: a sheet has at most %d positions", name, SHEET_ROWS_MAX);
		return false;
	}
	if (!bench_grow((void **)&t->at, batch->rows, &t->size, sizeof *t->at)) {
		fault_set(why, "out of memory");
		return false;
	}
	t->at[batch->rows] = (struct typed_at){t->line, (int)at + 1};
	return batch_add(batch, row, POSITION_ADDED, why);
}

static bool add_table_row(void *arg, const struct sheet_row *row, struct fault *why)
{
	return add_row(arg, row, 0, why);
}

/* Told and passed over, or the end of it. */
static bool pass_over(struct typing *t, const struct fault *why)
{
	if (t->each)
		t->each(t->arg, why);
	return t->each != NULL;
}

static bool read_line(struct typing *t, const char *text, size_t len, struct fault *why)
{
	struct fault said = {.text = ""};
	int before = t->batch.rows;
	if (len && text[len - 1] == '\r')
		len--;
	if (sheet_entry_read(text, len, add_row, t, &said))
		return true;
	fault_at(why, "(typed)", t->line, said.column ? said.column : 1, "%s", said.text);
	/* What stood to the left of the fault in its line does not count either. */
	t->batch.rows = before;
	return pass_over(t, why);
}

/* Rows below their headings, as a spreadsheet copies them. */
static bool read_table(struct typing *t, const char *text, size_t len, struct fault *why)
{
	struct fault said = {.text = ""};
	t->line = 0;
	if (sheet_parse("(typed)", text, len, add_table_row, t, &said))
		return true;
	*why = said;
	t->batch.rows = 0;
	return pass_over(t, why);
}

static bool read_lines(struct typing *t, const char *text, size_t len, struct fault *why)
{
	size_t first = 0;
	bool any_fault = false;
	while (first < len && strchr(" \t\r\n", text[first]))
		first++;
	const char *end = memchr(text + first, '\n', len - first);
	if (end && sheet_is_header(text + first, (size_t)(end - text) - first)) {
		if (!read_table(t, text, len, why))
			return false;
	} else {
		t->line = 1;
		for (size_t at = 0; at < len; t->line++) {
			struct fault said = {.text = ""};
			end = memchr(text + at, '\n', len - at);
			size_t n = end ? (size_t)(end - text) - at : len - at;
			if (!read_line(t, text + at, n, &said)) {
				*why = said;
				return false;
			}
			any_fault |= said.text[0] != '\0';
			at += n + 1;
		}
	}
	if (t->batch.rows || any_fault || why->text[0])
		return true;
	fault_set(why, "no position stands there: a line is such as R1-R6,R9 100k");
	return pass_over(t, why);
}

/* Which row would that position have? */
static const struct position *position_to_be(struct sheet_batch *batch, const char *name)
{
	const struct sheet_row *row = batch_find(batch, name);
	int place = row ? -1 : position_find(batch->b, name);
	if (place >= 0)
		row = &batch->b->position[place].row;
	return row ? &row->position : NULL;
}

/* `a` is the twin of `b`, so b is the twin of a. */
static bool make_mutual(struct sheet_batch *batch, const char *a, const char *b, struct fault *why)
{
	struct sheet_row *row = batch_find(batch, b);
	int place = position_find(batch->b, b);
	struct sheet_row changed;
	if (!row && place >= 0) {
		changed = batch->b->position[place].row;
		row = &changed;
	}
	if (!row) {
		fault_set(why, "%s is to be the twin of %s, but is not in the sheet", b, a);
		return false;
	}
	if (row->position.twin[0] && strcmp(row->position.twin, a) != 0) {
		fault_set(why, "%s is the twin of %s, not of %s", b, row->position.twin, a);
		return false;
	}
	if (strcmp(row->position.twin, a) == 0)
		return true;
	snprintf(row->position.twin, NAME_SIZE, "%s", a);
	return row != &changed || batch_add(batch, row, POSITION_SET, why);
}

static bool check_row(struct sheet_batch *batch, int i, struct fault *why)
{
	struct position p = batch->row[i].position;
	if (p.with[0] && !position_to_be(batch, p.with)) {
		fault_set(why, "%s works with %s, but that is not in the sheet", p.name, p.with);
		return false;
	}
	return !p.twin[0] || make_mutual(batch, p.name, p.twin, why);
}

static bool check_names(struct sheet_batch *batch, struct fault *why)
{
	for (int i = 0, n = batch->rows; i < n; i++)
		if (!check_row(batch, i, why))
			return false;
	return true;
}

/* The same with the place of each. */
static bool check_typed(struct typing *t, struct fault *why)
{
	for (int i = 0, n = t->batch.rows; i < n; i++) {
		struct fault said = {.text = ""};
		if (check_row(&t->batch, i, &said))
			continue;
		if (t->at[i].line)
			fault_at(why, "(typed)", t->at[i].line, t->at[i].column, "%s", said.text);
		else
			*why = said;
		if (!pass_over(t, why))
			return false;
	}
	return true;
}

static void typing_free(struct typing *t)
{
	batch_free(&t->batch);
	free(t->at);
}

bool bench_sheet_add(struct bench *b, int64_t t, const char *text, size_t len,
                     struct bench_wait w, struct fault *why)
{
	struct typing typing = {.batch = {.b = b}};
	struct fault said = {.text = ""};
	bench_run_until(b, t);
	bool good = read_lines(&typing, text, len, &said) && check_typed(&typing, &said) &&
	            valves_typed(&typing.batch, &said);
	if (!good)
		*why = said;
	good = good && job_need(b, t, why) && batch_put(&typing.batch, t, NULL, w, why);
	typing_free(&typing);
	if (good && b->way.mode != WALK_OFF && b->chosen < 0)
		walk_first(b);
	return good;
}

int bench_sheet_try(struct bench *b, int64_t t, const char *text, size_t len,
                    void (*each)(void *arg, const struct fault *why), void *arg)
{
	struct typing typing = {.batch = {.b = b}, .each = each, .arg = arg};
	struct fault why = {.text = ""};
	bench_run_until(b, t);
	bool good = read_lines(&typing, text, len, &why) && check_typed(&typing, &why);
	if (good && !valves_typed(&typing.batch, &why))
		pass_over(&typing, &why);
	int rows = 0;
	/* Twins that became mutual are rows that were set. */
	for (int i = 0; i < typing.batch.rows; i++)
		rows += typing.batch.change[i] == POSITION_ADDED;
	typing_free(&typing);
	return rows;
}

/* ---- the other channel ---- */

struct mirror {
	struct bench *b;
	int by;
	bool chosen[SHEET_ROWS_MAX]; /* by place */
};

static bool choose(void *arg, const char *name, struct fault *why)
{
	struct mirror *m = arg;
	int place = position_meant(m->b, name);
	(void)why;
	/* R1-R60 where there is no R7: nobody numbers without holes. */
	if (place >= 0 && place < SHEET_ROWS_MAX)
		m->chosen[place] = true;
	return true;
}

static bool leave_out(void *arg, const char *name, struct fault *why)
{
	struct mirror *m = arg;
	int place = position_meant(m->b, name);
	if (place < 0) {
		fault_set(why, "%s is not in the sheet, and need not be excepted", name);
		return false;
	}
	if (place < SHEET_ROWS_MAX)
		m->chosen[place] = false;
	return true;
}

/* `all except R5,C7`: where the word stands, NULL for none. */
static const char *find_except(const char *range)
{
	const char *at = strstr(range, " except ");
	return at && at > range ? at : NULL;
}

static bool is_mirrored(void *arg, const char *name)
{
	struct mirror *m = arg;
	int place = position_find(m->b, name);
	return place >= 0 && place < SHEET_ROWS_MAX && m->chosen[place];
}

static bool mirror_one(struct mirror *m, struct sheet_batch *batch, int place, struct fault *why)
{
	struct sheet_row made;
	const struct sheet_row *row = &m->b->position[place].row;
	if (!sheet_mirror_row(row, m->by, is_mirrored, m, &made, why))
		return false;
	if (!valve_set(&made, "", why)) /* one valve is in one socket */
		return false;
	const char *name = made.position.name;
	int there = position_find(m->b, name);
	if (there >= 0 && !only_named(&m->b->position[there].row)) {
		fault_set(why, "%s would become %s, but that is in the sheet already", row->position.name,
		          name);
		return false;
	}
	if (row->position.twin[0] && strcmp(row->position.twin, name) != 0) {
		fault_set(why, "%s has a twin already: %s", row->position.name, row->position.twin);
		return false;
	}
	return batch_add(batch, &made, POSITION_MIRRORED, why);
}

/* All of a sheet is mirrored: not what is a mirror image already. */
static void choose_all(struct mirror *m)
{
	for (int i = 0; i < m->b->positions && i < SHEET_ROWS_MAX; i++) {
		size_t digits = strcspn(m->b->position[i].row.position.name, "0123456789");
		bool numbered = m->b->position[i].row.position.name[digits] != '\0';
		m->chosen[i] = numbered && !m->b->position[i].row.position.twin[0];
	}
}

bool bench_sheet_mirror(struct bench *b, int64_t t, const char *range, int by,
                        struct bench_wait w, struct fault *why)
{
	struct mirror m = {.b = b, .by = by};
	struct sheet_batch batch = {.b = b};
	bench_run_until(b, t);
	if (by == 0) {
		fault_set(why, "the numbers of the other channel are raised by how much? +100, say");
		return false;
	}
	range += strspn(range, " \t");
	const char *except = find_except(range), *out = except ? except + strlen(" except ") : "";
	size_t len = except ? (size_t)(except - range) : strlen(range);
	while (len && (range[len - 1] == ' ' || range[len - 1] == '\t'))
		len--;
	if (len == 3 && strncasecmp(range, "all", 3) == 0)
		choose_all(&m);
	else if (!names_expand(range, len, choose, &m, why))
		return false;
	if (except && !names_expand(out, strlen(out), leave_out, &m, why)) {
		why->column += why->column ? (int)(out - range) : 0;
		return false;
	}
	bool good = true;
	for (int i = 0; good && i < b->positions && i < SHEET_ROWS_MAX; i++)
		if (m.chosen[i])
			good = mirror_one(&m, &batch, i, why);
	if (good && !batch.rows) {
		fault_set(why, "nothing of %.60s is in the sheet", range);
		good = false;
	}
	good = good && check_names(&batch, why) && job_need(b, t, why) &&
	       batch_put(&batch, t, NULL, w, why);
	batch_free(&batch);
	return good;
}
