/* SPDX-License-Identifier: MIT */
/*
 * Records that belong together: a change of the sheet and what it makes of the verdicts.
 *
 * They are one transaction, so a daemon that is killed has both or neither.  What cannot
 * be in it is owed and follows on its own (job_rejudge_owed): the rejudge of an entry that
 * is itself on its way to the disk, for its number is not known, and what is beyond
 * LOG_DRAFTS_MAX.
 */
#include "daemon/bench_inside.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct anew {
	int made;
	struct entry judged;
	const char *owed; /* why, where its record could not be in the transaction */
};

void records_add(struct bench *b, struct records *r, int64_t t, const char *kind,
                 const struct text *body)
{
	char *copy = body->failed ? NULL : strdup(body->bytes);
	if (!copy || !bench_grow((void **)&r->draft, r->n, &r->size, sizeof *r->draft)) {
		free(copy);
		r->failed = true;
		return;
	}
	r->draft[r->n++] = (struct log_draft){b->utc + t, kind, copy, body->len};
}

/* The entry as it would be judged; true where that is another judgement. */
static bool comes_out_otherwise(const struct made *m, const struct sheet_row *row,
                                const struct position *fit, struct entry *judged)
{
	*judged = m->entry;
	snprintf(judged->position, sizeof judged->position, "%s", row->position.name);
	entry_judge_by(&row->position, fit, judged);
	return !judged_same(&m->entry, judged);
}

void records_rejudge(struct bench *b, struct records *r, int64_t t, int place,
                     const struct sheet_row *row, const struct position *fit, const char *because)
{
	struct text body;
	struct anew a = {.made = 0};
	for (int i = b->position[place].newest; i >= 0; i = b->made[i].older) {
		struct made *m = &b->made[i];
		if (m->entry.struck || !comes_out_otherwise(m, row, fit, &a.judged))
			continue;
		a.made = i;
		a.owed = !m->entry.seq || r->n >= LOG_DRAFTS_MAX ? because : NULL;
		if (!bench_grow((void **)&r->anew, r->anews, &r->anew_size, sizeof *r->anew)) {
			r->failed = true;
			return;
		}
		r->anew[r->anews++] = a;
		if (a.owed)
			continue;
		text_begin(&body, b->body, BENCH_BODY_SIZE);
		rejudge_write(b, &a.judged, because, &body);
		records_add(b, r, t, "rejudge", &body);
	}
}

bool records_put(struct bench *b, struct records *r, int answer, struct bench_wait w,
                 struct fault *why)
{
	b->log_refused = false;
	if (r->failed) {
		fault_set(why, "out of memory");
		return false;
	}
	uint64_t ticket = log_append(b->log, r->draft, (size_t)r->n, NULL, why);
	b->log_refused = !ticket;
	if (!ticket)
		return false;
	struct pending p = bench_pending(ticket + (uint64_t)answer, w);
	p.job = true; /* refused later, all of it is read back */
	return bench_pend(b, p);
}

void records_judged(struct bench *b, struct records *r, int64_t t)
{
	for (int i = 0; i < r->anews; i++) {
		struct made *m = &b->made[r->anew[i].made];
		const struct entry *judged = &r->anew[i].judged;
		m->entry.verdict = judged->verdict;
		m->entry.service = judged->service;
		m->entry.second_verdict = judged->second_verdict;
		m->entry.against = judged->against;
		b->owed += !m->owed && r->anew[i].owed;
		b->owed -= m->owed && !r->anew[i].owed;
		m->owed = r->anew[i].owed;
	}
	job_rejudge_owed(b, t);
}

void records_free(struct records *r)
{
	for (int i = 0; i < r->n; i++)
		free((void *)(uintptr_t)r->draft[i].body);
	free(r->draft);
	free(r->anew);
}
