/* SPDX-License-Identifier: MIT */
/*
 * The unit on the bench: which one it is, and what was put back into it.
 *
 * Both are the person's word, kept as records and nowhere else: the questions about them
 * (job.show, job.ready) read the log, so they are the same after a restart.
 */
#include "daemon/bench_inside.h"

#include "protocol/record/job_kinds.h"
#include "protocol/record/sheet_entry.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool job_is_open(const struct bench *b, struct fault *why)
{
	if (b->job[0])
		return true;
	fault_set(why, "no job is open; `tally job start NAME` begins one");
	return false;
}

/* ---- which unit it is ---- */

bool bench_identity(struct bench *b, int64_t t, const char *const *key, const char *const *value,
                    int cells, struct bench_wait w, struct fault *why)
{
	bench_run_until(b, t);
	struct text out;
	struct identity_body body = {.by = b->by};
	if (!job_is_open(b, why))
		return false;
	if (!cells) {
		fault_set(why, "say what the unit is: maker=, type=, serial= ...");
		return false;
	}
	for (int i = 0; i < cells; i++)
		if (!identity_set(&body.said, key[i], value[i], why))
			return false;
	memcpy(body.job, b->job, sizeof body.job);
	text_begin(&out, b->body, BENCH_BODY_SIZE);
	identity_body_write(&out, &body);
	if (!bench_put(b, "identity", t, &out, w, why))
		return false;
	sheet_act_taped(b, t, "identity", "", key, value, cells);
	return true;
}

/* ---- what is back in its place ---- */

struct fitting {
	const struct bench *b;
	bool *chosen; /* by place */
	int found;
};

static bool choose(void *arg, const char *name, struct fault *why)
{
	struct fitting *f = arg;
	int place = position_find(f->b, name);
	(void)why;
	if (place >= 0) {
		f->found++;
		f->chosen[place] = true;
	}
	return true;
}

/* A can with three sections is fitted at once. */
static void choose_part(struct fitting *f, const char *part)
{
	for (int i = 0; i < f->b->positions; i++)
		if (strcmp(f->b->position[i].row.position.part, part) == 0) {
			f->found++;
			f->chosen[i] = true;
		}
}

static bool choose_word(struct fitting *f, const char *word, size_t len, struct fault *why)
{
	char part[SHEET_CELL_SIZE];
	struct fault said = {.text = ""};
	f->found = 0;
	bool names = names_expand(word, len, choose, f, &said);
	if (!f->found && len < sizeof part) {
		snprintf(part, sizeof part, "%.*s", (int)len, word);
		choose_part(f, part);
	}
	if (f->found)
		return true;
	if (names)
		fault_set(why, "nothing of %.*s is in the sheet", (int)(len < 60 ? len : 60), word);
	else
		fault_set(why, "%.*s: %.200s", (int)(len < 60 ? len : 60), word, said.text);
	return false;
}

/* One transaction: all of them or none. */
static bool put_fitted(struct bench *b, int64_t t, const bool *chosen, struct bench_wait w,
                       struct fault *why)
{
	struct records r = {0};
	struct text out;
	int count = 0;
	for (int i = 0; i < b->positions; i++) {
		struct fitted_body body = {.by = b->by};
		if (!chosen[i])
			continue;
		count++;
		memcpy(body.job, b->job, sizeof body.job);
		memcpy(body.position, b->position[i].row.position.name, sizeof body.position);
		text_begin(&out, b->body, BENCH_BODY_SIZE);
		fitted_body_write(&out, &body);
		records_add(b, &r, t, "fitted", &out);
	}
	bool good = count <= LOG_DRAFTS_MAX;
	if (!good)
		fault_set(why, "%d positions at once, at most %d: say them in parts", count, LOG_DRAFTS_MAX);
	good = good && records_put(b, &r, count - 1, w, why);
	records_free(&r);
	return good;
}

bool bench_fitted(struct bench *b, int64_t t, const char *positions, struct bench_wait w,
                  struct fault *why)
{
	bench_run_until(b, t);
	bool good = job_is_open(b, why), any = false;
	struct fitting f = {.b = b};
	if (!good)
		return false;
	f.chosen = calloc((size_t)b->positions + 1, sizeof *f.chosen);
	if (!f.chosen)
		fault_set(why, "out of memory");
	good = f.chosen != NULL;
	for (const char *p = positions; good && *(p += strspn(p, " \t,"));) {
		size_t len = strcspn(p, " \t,");
		good = choose_word(&f, p, len, why);
		any = true;
		p += len;
	}
	if (good && !any) {
		fault_set(why, "say what is fitted: positions, ranges such as R1-R6, or parts");
		good = false;
	}
	good = good && put_fitted(b, t, f.chosen, w, why);
	free(f.chosen);
	if (good)
		bench_taped(b, t, "fitted", "%s", positions);
	return good;
}
