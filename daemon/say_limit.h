/* SPDX-License-Identifier: MIT */
/*
 * How much one source (a meter, the clients, the log) may say: at most ten lines in any
 * sixty seconds, whatever goes wrong with it.
 *
 * Nine of them are its own.  What comes beyond is counted, and as soon as the oldest of
 * the nine is a minute old, the tenth says how many lines were left out and what the
 * last of them was.  A line that is the same as the one before it within a minute is
 * left out, too: a message tells of an edge, not of a state.
 *
 * Pure: time is an argument (us, never falling), memory the caller's.  Zeroed: nothing
 * was said yet.
 */
#ifndef TALLY_SAY_LIMIT_H
#define TALLY_SAY_LIMIT_H

#include <stdbool.h>
#include <stdint.h>

#define SAY_LIMIT_LINES 10
#define SAY_LIMIT_US INT64_C(60000000)
#define SAY_LINE_SIZE 400

struct say_limit {
	int64_t said[SAY_LIMIT_LINES]; /* when, a ring; summaries too */
	int next, count;
	int own;                       /* of those within the window that are no summaries */
	bool summary[SAY_LIMIT_LINES];
	uint64_t left_out;             /* since the last summary */
	int64_t since;                 /* of the first of them */
	char last[SAY_LINE_SIZE];      /* what was said or left out last */
	int64_t last_at;
};

/* May `text` be said now?  What may not is counted. */
bool say_limit_take(struct say_limit *l, int64_t t, const char *text);

/* Is a summary due at `t`?  Then *left_out lines were, from *since on, the last of them is
 * l->last; they are forgotten with that.  Before say_limit_take, and once a second. */
bool say_limit_due(struct say_limit *l, int64_t t, uint64_t *left_out, int64_t *since);

#endif
