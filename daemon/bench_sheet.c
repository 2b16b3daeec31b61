/* SPDX-License-Identifier: MIT */
/*
 * The sheet of the job: loaded from a file, set by hand, or made as positions are
 * named; and what a change of it means for the verdicts of entries that are there.
 */
#include "daemon/bench_state.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void write_position(struct bench *b, const struct sheet_row *row,
                           enum position_change change, struct text *body)
{
	struct position_body position = {.change = change, .row = row, .by = b->by};
	snprintf(position.job, sizeof position.job, "%s", b->job);
	position_body_write(body, &position);
}

bool batch_add(struct sheet_batch *batch, const struct sheet_row *row,
               enum position_change change, struct fault *why)
{
	if (!bench_grow((void **)&batch->row, batch->rows, &batch->size, sizeof *batch->row) ||
	    !bench_grow((void **)&batch->change, batch->rows, &batch->changes, sizeof *batch->change)) {
		fault_set(why, "out of memory");
		return false;
	}
	batch->change[batch->rows] = change;
	batch->row[batch->rows++] = *row;
	return true;
}

void batch_free(struct sheet_batch *batch)
{
	free(batch->row);
	free(batch->change);
}

static bool load_row(void *arg, const struct sheet_row *row, struct fault *why)
{
	return batch_add(arg, row, POSITION_LOADED, why);
}

/* The positions and, of a file, the sheet record, as one transaction. */
static bool put_records(struct sheet_batch *l, int64_t t, const char *file, struct bench_wait w,
                        struct fault *why)
{
	struct bench *b = l->b;
	size_t rows = (size_t)l->rows, n = rows + (file ? 1 : 0);
	struct log_draft *draft = calloc(n, sizeof *draft);
	char **bodies = calloc(n, sizeof *bodies);
	bool good = draft && bodies;
	for (size_t i = 0; good && i < n; i++) {
		struct text body;
		text_begin(&body, b->body, BENCH_BODY_SIZE);
		if (i < rows) {
			write_position(b, &l->row[i], l->change[i], &body);
		} else {
			struct sheet_body sheet = {.count = l->rows, .by = b->by};
			snprintf(sheet.job, sizeof sheet.job, "%s", b->job);
			snprintf(sheet.file, sizeof sheet.file, "%s", file);
			sheet_body_write(&body, &sheet);
		}
		bodies[i] = body.failed ? NULL : strdup(body.bytes);
		good = bodies[i] != NULL;
		draft[i] = (struct log_draft){b->utc + t, i < rows ? "position" : "sheet", bodies[i],
		                              body.len};
	}
	uint64_t ticket = 0;
	if (good)
		ticket = log_append(b->log, draft, n, NULL, why);
	else
		fault_set(why, "out of memory");
	b->log_refused = good && !ticket;
	for (size_t i = 0; bodies && i < n; i++)
		free(bodies[i]);
	free(bodies);
	free(draft);
	/* When the last of them is durable, all are. */
	if (!ticket)
		return false;
	struct pending p = bench_pending(ticket + n - 1, w);
	p.job = true;
	return bench_pend(b, p);
}

static bool same_limit(bool has_a, struct decimal a, bool has_b, struct decimal b)
{
	return has_a == has_b && (!has_a || decimal_compare(a, b) == 0);
}

bool verdict_same(const struct verdict *a, const struct verdict *b)
{
	const struct limits *x = &a->limits, *y = &b->limits;
	return a->word == b->word && a->side == b->side && a->reason == b->reason &&
	       same_limit(x->has_low, x->low, y->has_low, y->low) &&
	       same_limit(x->has_high, x->high, y->has_high, y->high) &&
	       a->has_deviation == b->has_deviation &&
	       (!a->has_deviation || fabs(a->deviation - b->deviation) < 1e-12);
}

/* Verdicts are frozen in their entries; what changes them adds a new judgement. */
void job_judge_anew(struct bench *b, int made, const char *because)
{
	struct entry *e = &b->made[made].entry, before = *e;
	int place = position_find(b, e->position);
	if (e->struck || place < 0)
		return;
	entry_judge(&b->position[place].row.position, e);
	if (verdict_same(&before.verdict, &e->verdict) && verdict_same(&before.service, &e->service))
		return;
	b->owed += !b->made[made].owed;
	b->made[made].owed = because;
}

static void rejudge(struct bench *b, int place)
{
	for (int i = b->position[place].newest; i >= 0; i = b->made[i].older)
		job_judge_anew(b, i, "sheet set");
}

void rejudge_write(struct bench *b, int made, const char *because, struct text *body)
{
	const struct entry *e = &b->made[made].entry;
	struct rejudge_body rj = {.of = e->seq, .verdict = e->verdict, .service = e->service};
	snprintf(rj.job, sizeof rj.job, "%s", b->job);
	snprintf(rj.position, sizeof rj.position, "%s", e->position);
	snprintf(rj.because, sizeof rj.because, "%s", because);
	rejudge_body_write(body, &rj);
}

static bool put_rejudge(struct bench *b, int64_t t, int made)
{
	struct text body;
	struct fault why;
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	rejudge_write(b, made, b->made[made].owed, &body);
	uint64_t ticket = bench_append(b, "rejudge", t, &body, &why);
	if (!ticket)
		return false;
	struct pending p = bench_pending(ticket, (struct bench_wait){0});
	p.rejudges = made;
	p.because = b->made[made].owed;
	return bench_pend(b, p);
}

/* An entry that is itself on its way to the disk gets its record when it is there. */
void job_rejudge_owed(struct bench *b, int64_t t)
{
	for (int i = 0; i < b->mades && b->owed; i++) {
		struct made *made = &b->made[i];
		bool dead = made->entry.struck;
		if (!made->owed || (!dead && (!made->entry.seq || !put_rejudge(b, t, i))))
			continue;
		made->owed = NULL;
		b->owed--;
	}
}

bool batch_put(struct sheet_batch *l, int64_t t, const char *file, struct bench_wait w,
               struct fault *why)
{
	struct bench *b = l->b;
	if (!put_records(l, t, file, w, why))
		return false;
	for (int i = 0; i < l->rows; i++)
		if (!position_add(b, &l->row[i])) {
			fault_set(why, "out of memory");
			return false;
		}
	way_group(b);
	for (int i = 0; i < l->rows; i++)
		rejudge(b, position_find(b, l->row[i].position.name));
	job_rejudge_owed(b, t);
	walk_expect(b);
	return true;
}

bool bench_sheet_load(struct bench *b, int64_t t, const char *file, const char *text, size_t len,
                      const char *job, struct bench_wait w, struct fault *why)
{
	return bench_sheet_load_mapped(b, t, file, text, len, job, NULL, NULL, w, why);
}

bool bench_sheet_load_mapped(struct bench *b, int64_t t, const char *file, const char *text,
                             size_t len, const char *job, const struct sheet_map *map,
                             struct sheet_taken *taken, struct bench_wait w, struct fault *why)
{
	bench_run_until(b, t);
	struct sheet_batch l = {.b = b};
	bool good = sheet_parse_mapped(file, text, len, map, taken, load_row, &l, why);
	if (good && job && strcmp(job, b->job) != 0)
		good = bench_job_start(b, t, job, (struct bench_wait){0}, why);
	good = good && job_need(b, t, why) && batch_put(&l, t, file, w, why);
	batch_free(&l);
	if (good) {
		b->announced_all = false;
		/* A walk that waits for a sheet begins at its first position. */
		if (b->way.mode != WALK_OFF && b->chosen < 0)
			walk_first(b);
	}
	return good;
}

/* The place of that name; a position that is in no sheet yet is made as it is
 * named (the kind follows from its letters), for there may be no schematic. */
int job_place(struct bench *b, int64_t t, const char *name, struct fault *why)
{
	int i = position_find(b, name);
	if (i >= 0)
		return i;
	struct sheet_row row;
	struct text body;
	if (!sheet_bare(&row, name, why) || !job_need(b, t, why))
		return -1;
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	write_position(b, &row, POSITION_NAMED, &body);
	if (!bench_put_job(b, "position", t, &body, (struct bench_wait){0}, why))
		return -1;
	if (!position_add(b, &row)) {
		fault_set(why, "out of memory");
		return -1;
	}
	way_group(b);
	return b->positions - 1;
}

bool bench_sheet_set(struct bench *b, int64_t t, const char *position, const char *const *key,
                     const char *const *value, int fields, struct bench_wait w, struct fault *why)
{
	bench_run_until(b, t);
	int place = position_find(b, position);
	struct sheet_row row;
	if (place >= 0)
		row = b->position[place].row;
	else if (!sheet_bare(&row, position, why) || !job_need(b, t, why))
		return false;
	for (int i = 0; i < fields; i++)
		if (!sheet_set(&row, key[i], value[i], why))
			return false;
	if (strcmp(row.position.name, position) != 0) {
		fault_set(why, "a position is not renamed by setting its name");
		return false;
	}
	if (row.position.twin[0] && position_find(b, row.position.twin) < 0) {
		fault_set(why, "%s is to be the twin of %s, but is not in the sheet", row.position.twin,
		          position);
		return false;
	}
	struct text body;
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	write_position(b, &row, POSITION_SET, &body);
	if (!bench_put_job(b, "position", t, &body, w, why))
		return false;
	if (!position_add(b, &row)) {
		fault_set(why, "out of memory");
		return false;
	}
	way_group(b);
	rejudge(b, position_find(b, position));
	job_rejudge_owed(b, t);
	walk_expect(b);
	return true;
}
