/* SPDX-License-Identifier: MIT */
/*
 * The sheet of the job: loaded from a file, set by hand, or made as positions are
 * named; and what a change of it means for the verdicts of entries that are there.
 */
#include "daemon/bench_inside.h"

#include "protocol/record/sheet_names.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void position_write(struct bench *b, const struct sheet_row *row, enum position_change change,
                    struct text *body)
{
	struct position_body position = {.change = change, .row = row, .by = b->by};
	snprintf(position.job, sizeof position.job, "%s", b->job);
	position_body_write(body, &position);
}

/* Why entries are judged anew. */
const char *position_change_because(enum position_change change)
{
	switch (change) {
	case POSITION_LOADED:
		return "sheet loaded";
	case POSITION_ADDED:
		return "sheet added";
	case POSITION_MIRRORED:
		return "sheet mirrored";
	case POSITION_RENAMED:
		return "sheet renamed";
	default:
		return "sheet set";
	}
}

bool position_is_listed(enum position_change change)
{
	return change == POSITION_LOADED || change == POSITION_ADDED || change == POSITION_MIRRORED;
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

static bool same_limit(bool has_a, struct decimal a, bool has_b, struct decimal b)
{
	return has_a == has_b && (!has_a || decimal_compare(a, b) == 0);
}

static bool verdict_same(const struct verdict *a, const struct verdict *b)
{
	const struct limits *x = &a->limits, *y = &b->limits;
	return a->word == b->word && a->side == b->side && a->reason == b->reason &&
	       same_limit(x->has_low, x->low, y->has_low, y->low) &&
	       same_limit(x->has_high, x->high, y->has_high, y->high) &&
	       a->has_deviation == b->has_deviation &&
	       (!a->has_deviation || fabs(a->deviation - b->deviation) < 1e-12);
}

bool judged_same(const struct entry *a, const struct entry *b)
{
	return a->against == b->against && verdict_same(&a->verdict, &b->verdict) &&
	       verdict_same(&a->service, &b->service) &&
	       verdict_same(&a->second_verdict, &b->second_verdict);
}

/* Verdicts are frozen in their entries; what changes them adds a new judgement. */
void job_judge_anew(struct bench *b, int made, const char *because)
{
	struct entry *e = &b->made[made].entry, before = *e;
	int place = position_find(b, e->position);
	if (e->struck || place < 0)
		return;
	entry_judge_at(b, place, e);
	if (judged_same(&before, e))
		return;
	b->owed += !b->made[made].owed;
	b->made[made].owed = because;
}

void rejudge_write(struct bench *b, const struct entry *e, const char *because, struct text *body)
{
	struct rejudge_body rj = {.of = e->seq, .verdict = e->verdict, .service = e->service,
	                          .against = e->against,
	                          .by = b->by,
	                          .has_second = e->second.kind != SECOND_NONE,
	                          .second = e->second_verdict};
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
	rejudge_write(b, &b->made[made].entry, b->made[made].owed, &body);
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

/* Do the rows go with what is fitted there? */
static bool batch_fits(const struct sheet_batch *l, struct fault *why)
{
	for (int i = 0; i < l->rows; i++)
		if (!fit_check(l->b, position_find(l->b, l->row[i].position.name), &l->row[i], why))
			return false;
	return true;
}

/* The positions and, of a file, the sheet record; then what they make of verdicts. */
static void draft_batch(struct sheet_batch *l, struct records *r, int64_t t, const char *file)
{
	struct bench *b = l->b;
	struct text body;
	for (int i = 0; i < l->rows; i++) {
		text_begin(&body, b->body, BENCH_BODY_SIZE);
		position_write(b, &l->row[i], l->change[i], &body);
		records_add(b, r, t, "position", &body);
	}
	if (!file)
		return;
	struct sheet_body sheet = {.count = l->rows, .by = b->by};
	snprintf(sheet.job, sizeof sheet.job, "%s", b->job);
	snprintf(sheet.file, sizeof sheet.file, "%s", file);
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	sheet_body_write(&body, &sheet);
	records_add(b, r, t, "sheet", &body);
}

static void draft_rejudges(struct sheet_batch *l, struct records *r, int64_t t)
{
	struct bench *b = l->b;
	struct sheet_row over;
	struct fault ignored;
	for (int i = 0; i < l->rows; i++) {
		int place = position_find(b, l->row[i].position.name);
		if (place < 0)
			continue;
		const struct bench_fit *fit = b->position[place].fit;
		bool has = fit && fit_over(&l->row[i], &fit->cells, &over, &ignored);
		records_rejudge(b, r, t, place, &l->row[i], has ? &over.position : NULL,
		                position_change_because(l->change[i]));
	}
}

bool batch_put(struct sheet_batch *l, int64_t t, const char *file, struct bench_wait w,
               struct fault *why)
{
	struct bench *b = l->b;
	struct records r = {0};
	if (!batch_fits(l, why))
		return false;
	draft_batch(l, &r, t, file);
	int answer = r.n - 1;
	draft_rejudges(l, &r, t);
	bool good = records_put(b, &r, answer, w, why);
	for (int i = 0; good && i < l->rows; i++)
		if (!position_add(b, &l->row[i])) {
			fault_set(why, "out of memory");
			good = false;
		}
	for (int i = 0; good && i < l->rows; i++)
		b->listed = b->listed || position_is_listed(l->change[i]);
	if (good) {
		way_group(b);
		records_judged(b, &r, t);
		walk_expect(b);
	}
	records_free(&r);
	return good;
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
	int i = position_meant(b, name);
	if (i >= 0)
		return i;
	struct sheet_row row;
	struct text body;
	if (names_many(name, false)) {
		fault_set(why, "%.60s names many positions, and one is wanted here", name);
		return -1;
	}
	if (!sheet_bare(&row, name, why) || !job_need(b, t, why))
		return -1;
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	position_write(b, &row, POSITION_NAMED, &body);
	if (!bench_put_job(b, "position", t, &body, (struct bench_wait){0}, why))
		return -1;
	if (!position_add(b, &row)) {
		fault_set(why, "out of memory");
		return -1;
	}
	way_group(b);
	return b->positions - 1;
}
