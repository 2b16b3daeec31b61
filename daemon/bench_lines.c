/* SPDX-License-Identifier: MIT */
/*
 * The sheet as it is typed: lines, and the other channel made from the first.  All of
 * what is typed at once goes into the sheet, or nothing of it does.
 */
#include "daemon/bench_state.h"

#include "protocol/record/sheet_entry.h"

#include <stdio.h>
#include <string.h>

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

static bool add_row(void *arg, const struct sheet_row *row, struct fault *why)
{
	struct sheet_batch *batch = arg;
	const char *name = row->position.name;
	int place = position_find(batch->b, name);
	if (batch_find(batch, name)) {
		fault_set(why, "%s was given already, further up or to the left", name);
		return false;
	}
	if (place >= 0 && !only_named(&batch->b->position[place].row)) {
		fault_set(why, "%s is in the sheet already; to change it: sheet set %s key=value", name, name);
		return false;
	}
	if (batch->b->positions + batch->rows >= SHEET_ROWS_MAX) {
		fault_set(why, "%s: a sheet has at most %d positions", name, SHEET_ROWS_MAX);
		return false;
	}
	return batch_add(batch, row, POSITION_ADDED, why);
}

static bool read_lines(struct sheet_batch *batch, const char *text, size_t len, struct fault *why)
{
	int line = 1;
	for (size_t at = 0; at < len; line++) {
		const char *end = memchr(text + at, '\n', len - at);
		size_t n = end ? (size_t)(end - text) - at : len - at;
		size_t kept = n && text[at + n - 1] == '\r' ? n - 1 : n;
		struct fault said = {.text = ""};
		if (!sheet_entry_parse(text + at, kept, add_row, batch, &said)) {
			fault_at(why, "(typed)", line, said.column ? said.column : 1, "%s", said.text);
			return false;
		}
		at += n + 1;
	}
	if (!batch->rows)
		fault_set(why, "no position stands there: a line is such as R1-R6,R9 100k");
	return batch->rows > 0;
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

static bool check_names(struct sheet_batch *batch, struct fault *why)
{
	for (int i = 0, n = batch->rows; i < n; i++) {
		struct position p = batch->row[i].position;
		if (p.with[0] && !position_to_be(batch, p.with)) {
			fault_set(why, "%s works with %s, but that is not in the sheet", p.name, p.with);
			return false;
		}
		if (p.twin[0] && !make_mutual(batch, p.name, p.twin, why))
			return false;
	}
	return true;
}

bool bench_sheet_add(struct bench *b, int64_t t, const char *text, size_t len,
                     struct bench_wait w, struct fault *why)
{
	bench_run_until(b, t);
	struct sheet_batch batch = {.b = b};
	bool good = read_lines(&batch, text, len, why) && check_names(&batch, why) &&
	            job_need(b, t, why) && batch_put(&batch, t, NULL, w, why);
	batch_free(&batch);
	if (good && b->way.mode != WALK_OFF && b->chosen < 0)
		walk_first(b);
	return good;
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
	int place = position_find(m->b, name);
	(void)why;
	/* R1-R60 where there is no R7: nobody numbers without holes. */
	if (place >= 0 && place < SHEET_ROWS_MAX)
		m->chosen[place] = true;
	return true;
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
	if (strcmp(range, "all") == 0)
		choose_all(&m);
	else if (!names_expand(range, strlen(range), choose, &m, why))
		return false;
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
