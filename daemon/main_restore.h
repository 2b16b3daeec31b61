/* SPDX-License-Identifier: MIT */
/*
 * `tallyd --restore FILE`: a log from a copy of one or from an export, while no daemon runs
 * on it.  What `tally restore` and `tally import` run.
 */
#ifndef TALLY_MAIN_RESTORE_H
#define TALLY_MAIN_RESTORE_H

#include <stdbool.h>
#include <stdint.h>

struct restore_order {
	const char *from; /* the copy or the export */
	const char *log;  /* where the log is to be */
	bool over;        /* the log that is there goes aside */
	const char *anchor, *key; /* what was written down elsewhere, or NULL */
};

/* Prints what was done as one line of JSON on standard output; says what is wrong on
 * standard error.  Returns the exit status: 0 done, 1 the seal of FILE does not hold (nothing
 * was changed), 2 it cannot be done (the same). */
int restore_run(const struct restore_order *order, int64_t now);

#endif
