/* SPDX-License-Identifier: MIT */
/*
 * What the files of the calls share (main_calls.h):
 *
 *     main_calls.c        one row a method: what it takes; status, meters, doctor, reload
 *     main_calls_job.c    jobs and sheets
 *     main_calls_walk.c   what is up, the walk, entries by key or typed, notes
 *     main_calls_guide.c  guided runs
 *     main_answer.c       answers that wait for the disk
 */
#ifndef TALLY_MAIN_CALLS_INSIDE_H
#define TALLY_MAIN_CALLS_INSIDE_H

#include "daemon/main_calls.h"
#include "daemon/main_sheet.h"
#include "protocol/record/text.h"
#include "protocol/record/wire.h"

/* Everything that any method takes. */
struct asked {
	const char *position, *quantity, *meter, *name, *text, *job, *because, *value, *from, *u;
	const char *reach, *condition, *walk, *state, *range, *order, *leads, *to, *prefix, *positions, *again, *photo,
	    *frequency, *seen;
	int64_t seq, by, meters, up;
	bool service, speaks, wait, swapped, accept, none, dry;
	json_t *fields, *seqs, *map;
};

struct answering {
	struct calls *calls;
	struct server_call *call;
	int64_t t;
	unsigned uid;
	struct asked asked;
	struct text out; /* an answer given at once */
};

/* False with *why: refused as bad input, where it was not answered. */
typedef bool method_function(struct answering *a, struct fault *why);

/* ---- answers that wait for the disk (main_answer.c) ---- */

enum shape { SHAPE_SEQ, SHAPE_RECORD, SHAPE_UNDONE, SHAPE_SHEET, SHAPE_MANNER, SHAPE_READY };

struct waiting {
	struct server_call *call;
	enum shape shape;
	const char *key, *word; /* SHAPE_MANNER: what the answer says */
	struct sheet_taken *taken; /* SHAPE_SHEET: what became of the columns */
	char *ready;            /* SHAPE_READY: the answer, but for seq at its end; malloc */
};

/* What the bench calls when the record is durable; without .done there is no memory for it. */
struct bench_wait wait_for(struct answering *a, enum shape shape);
/* Answers {key: word}. */
struct bench_wait wait_manner(struct answering *a, const char *key, const char *word);
/* The end of every call that waits: answered later, or refused now. */
bool later(struct answering *a, bool accepted, struct bench_wait w, int code,
           const struct fault *why);

/* Bad words are bad input (2); what the bench cannot do now is refused (5). */
#define LATER(shape, code, call_) LATER_BY(wait_for(a, shape), code, call_)
#define LATER_BY(wait_, code, call_)                         \
	do {                                                     \
		struct bench_wait w = (wait_);                       \
		bool accepted_ = w.done && (call_);                  \
		if (!w.done)                                         \
			fault_set(why, "out of memory");                 \
		return later(a, accepted_, w, code, why) && w.done;  \
	} while (0)

/* ---- the methods ---- */

/* main_calls_job.c */
method_function call_job_start;
method_function call_job_set;
method_function call_job_fitted;
method_function call_job_close;
method_function call_job_state;
method_function call_sheet_load;
method_function call_sheet_add;
method_function call_sheet_mirror;
method_function call_sheet_set;
method_function call_sheet_fit;
method_function call_sheet_rename;
method_function call_sheet_twins;
/* main_calls_walk.c */
method_function call_at;
method_function call_at_new;
method_function call_reach;
method_function call_condition;
method_function call_walk;
method_function call_next;
method_function call_back;
method_function call_again;
method_function call_speaks;
method_function call_announced;
method_function call_there;
method_function call_offset;
method_function call_check;
method_function call_move;
method_function call_take;
method_function call_undo;
method_function call_enter;
method_function call_strike;
method_function call_note;
/* main_calls_guide.c */
method_function call_guide_start;
method_function call_guide_go;
method_function call_guide_back;
method_function call_guide_leave;
method_function call_guide_resume;
method_function call_guide_dry;

#endif
