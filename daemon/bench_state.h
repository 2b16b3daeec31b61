/* SPDX-License-Identifier: MIT */
/*
 * The inside of the bench, shared by its files and by nobody else:
 *
 *   bench.c         inputs in, timers, the way of a reading
 *   bench_log.c     events, drafts to the log and what comes back
 *   bench_walk.c    which position is up, and when the next one is
 *   bench_capture.c from a settled value to an entry
 *   bench_job.c     jobs, sheets, notes, strikes; reading them back
 *   bench_act.c     what a recording says the person did
 *   bench_look.c    status, meters and live values as JSON
 *   trail.c         runs of readings
 */
#ifndef TALLY_BENCH_STATE_H
#define TALLY_BENCH_STATE_H

#include "daemon/bench.h"
#include "daemon/settle.h"
#include "daemon/spoilt.h"
#include "daemon/trail.h"
#include "protocol/record/sheet.h"

#define BENCH_BODY_SIZE RECORD_BODY_MAX

/* One position of the sheet, and what was made of it. */
struct bench_position {
	struct sheet_row row;
	int choice;    /* the choice (see below) at which it was last chosen */
};

/* An entry of this job as the bench remembers it. */
struct made {
	struct entry entry;
	uint64_t ticket; /* while it is on its way to the disk, else 0 */
	int choice;      /* at which it was made: a later choice allows another */
	int64_t undone;  /* ticket of a strike on its way */
};

/* One meter as the bench sees it; the line's own machine is inside. */
struct bench_meter {
	struct bench *bench; /* for the machine's hooks */
	int index;
	const struct config_meter *config;
	struct meter machine;
	struct settle settle;
	struct trail trail;
	struct spoilt spoilt;
	int bound;          /* place it is bound to, -1: follows the chosen one */
	bool lifted;        /* the leads are open, as settle says */
	/* It has made an entry and was not open for arm_seconds since: what it
	 * touches now is the old part again. */
	bool spent;
	int64_t spent_at;
	int spent_place;    /* of that entry */
	/* A settled value that waits for the person. */
	bool waits;
	bool doubt;         /* ... because it may be a floating voltage */
	int waits_place;    /* the place it would go to */
	int looks;          /* the place it looks like, -1 where it is only in doubt */
	struct settle_result held;
	/* A line or log that was away. */
	bool gone;
	int64_t gone_at;
	char gone_cause[96];
	int64_t unlogged;   /* readings that the log had no room for, since ... */
	int64_t unlogged_at;
	char trouble[200];  /* why the line cannot be opened */
	struct reading last;
	bool has_last;
	char identity[200]; /* that the last meter record had */
	int64_t next;       /* earliest deadline of this meter */
};

/* A draft on its way to the disk, and who waits for it. */
struct pending {
	uint64_t ticket; /* of the record that answers */
	int made;        /* index of the entry, -1 */
	int strikes;     /* index of the entry that it strikes, -1 */
	int meter;       /* whose trail run it is, or whose gap, -1 */
	int64_t readings; /* of that run or lost in that gap: counted where it is refused */
	int64_t since;   /* ... and since when (stream time) */
	bool job;        /* the job or its sheet is another by it, in memory already */
	struct bench_wait wait;
};

struct bench {
	const struct config *config;
	struct log *log;
	struct bench_hooks hooks;
	bool replay;
	int64_t utc;
	char boot[64], version[32];
	int64_t now; /* stream time of the last input or timer */

	struct bench_meter *meter;
	int meters;

	char job[JOB_SIZE]; /* "" where none is open */
	bool live;
	enum condition condition;
	enum reach reach;
	bool walk;
	int chosen;         /* place, -1 */
	enum quantity quantity;
	int choice;         /* counts what was chosen; 0: nothing yet */
	bool announced_all; /* the person was told that nothing is lacking any more */
	int before;         /* the place that was up before this one, -1 */

	/* The sheet.  A `place` below is an index into it, -1 for none. */
	struct bench_position *position;
	int positions, positions_size;
	struct made *made;
	int mades, mades_size;
	bool log_refused; /* the last call failed because the log took nothing */
	bool unsure;      /* a change of job or sheet was refused: read it back */
	/* Where the person was in the job that was left last, should leaving it be refused. */
	char left_job[JOB_SIZE], left[NAME_SIZE];
	enum quantity left_quantity;
	bool left_walk;
	struct pending *pending;
	int pendings, pendings_size;

	int64_t next_save; /* of the open runs; INT64_MAX while there is nothing new */
	char *body;        /* scratch for one record body */
	char *body2;       /* for the trail run beside an entry */
};

/* bench_log.c */
/* Tell people: pairs of key and value (strings; seq is written as a number; a
 * NULL value is left out), then NULL. */
void bench_event(struct bench *b, const char *event, ...) __attribute__((sentinel));
/* Draft one record; run_of and runs as in log_append.  Returns the ticket, 0 with
 * *why where the log refused at once. */
uint64_t bench_append(struct bench *b, const char *kind, int64_t t, const struct text *body,
                      struct fault *why);
/* What is on its way to the disk; fields that do not matter are -1 and 0. */
struct pending bench_pending(uint64_t ticket, struct bench_wait w);
bool bench_pend(struct bench *b, struct pending p);
/* The same as bench_put, of a record that says how job or sheet stand. */
bool bench_put_job(struct bench *b, const char *kind, int64_t t, const struct text *body,
                   struct bench_wait w, struct fault *why);
/* One record, one waiter: the common case. */
bool bench_put(struct bench *b, const char *kind, int64_t t, const struct text *body,
               struct bench_wait w, struct fault *why);
void bench_end_run(struct bench *b, struct bench_meter *m);
/* The open run went to the log under this ticket. */
void bench_pend_run(struct bench *b, struct bench_meter *m, uint64_t ticket);
/* A gap record; `lost` readings are known to be missing, -1: nobody knows. */
void bench_gap(struct bench *b, struct bench_meter *m, int64_t from, int64_t to,
               const char *cause, int64_t lost);
void bench_seal_spoilt(struct bench *b, struct bench_meter *m); /* bad frames, if any wait */
void bench_save_open_runs(struct bench *b);
/* bench_act.c: an act, for tapes. */
void bench_taped(struct bench *b, int64_t t, const char *act, const char *format, ...)
    __attribute__((format(printf, 4, 5)));
/* bench.c: when this meter has to be looked at next. */
void bench_timers(struct bench_meter *m);
bool bench_grow(void **array, int count, int *size, size_t each);

/* bench_walk.c */
int position_find(const struct bench *b, const char *name);
int position_of_meter(const struct bench *b, const struct bench_meter *m);
enum quantity position_quantity(const struct bench *b, int place);
enum quantity position_first_quantity(const struct position *p);
enum function position_function(const struct position *p, enum quantity q);
void walk_expect(struct bench *b);           /* tell settle what is up */
void walk_on_meter(struct bench *b, struct bench_meter *m, int64_t t); /* arm, advance */
int64_t walk_deadline(const struct bench_meter *m);
int walk_next(const struct bench *b, int from);
bool walk_lacks(const struct bench *b, int place);
void walk_choose(struct bench *b, int place, enum quantity q);
void walk_made(struct bench *b, int64_t t); /* an entry came by hand: go on? */

/* bench_capture.c */
void capture_settled(struct bench *b, struct bench_meter *m, int64_t t);
void capture_doubt(struct bench *b, struct bench_meter *m, int64_t t);
bool capture_entry(struct bench *b, struct bench_meter *m, int64_t t, int place,
                   const struct settle_result *r, struct bench_wait w, struct fault *why);
bool capture_looks_like(struct bench *b, struct bench_meter *m, int64_t t, int place,
                        struct fault *why);
void capture_failed(struct bench *b, struct made *made, const char *why);
void entry_shown(const struct entry *e, char *out, size_t size);
void entry_judge(const struct bench *b, const struct position *p, struct entry *e);

/* bench_look.c */
/* "ohm 0.5% + 2; farad below 10 nF 2% + 10"; "" where none is given. */
void accuracy_text(const struct accuracy *a, char *out, size_t size);

/* bench_job.c */
bool job_need(struct bench *b, int64_t t, struct fault *why); /* start one if none is open */
int job_place(struct bench *b, int64_t t, const char *name, struct fault *why);
void job_clear(struct bench *b);
/* What is in memory may not be what the log has: the log is right. */
void job_read_back(struct bench *b);
/* A job record of the state as it stands (nothing where no job is open). */
bool job_put(struct bench *b, int64_t t, enum job_change change, struct bench_wait w,
             struct fault *why);

#endif
