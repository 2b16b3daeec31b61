/* SPDX-License-Identifier: MIT */
/*
 * What may stand where the cursor is on a command line: for completion by a shell.
 *
 * The table of verbs says which verbs, options and words there are; a second, small table
 * says what a placeholder such as POSITION stands for.  What only the daemon knows (meters,
 * positions, jobs) is asked of it through `ask`.
 */
#ifndef TALLY_CLIENT_COMPLETE_H
#define TALLY_CLIENT_COMPLETE_H

#include "client/lines.h"

/* What is asked of the daemon, or of a log file. */
enum complete_source { COMPLETE_METERS, COMPLETE_POSITIONS, COMPLETE_JOBS };

struct complete {
	const char *const *words; /* after `tally`, the last one as far as it was typed */
	int count;                /* at least 1 */
	/* Calls complete_offer for each; says nothing where nobody answers.  socket, file: as
	 * typed with --socket and --file, or NULL. */
	void (*ask)(struct complete *c, enum complete_source source);
	void *arg;
	const char *socket, *file;
	/* Where what follows the last `=` of an option is asked for: the bytes before it. */
	const char *before;
	size_t before_len;
	struct lines *out;
};

/*
 * One line a candidate, with a tab and what it is behind it; `:files` and `:folders` where
 * the shell's own completion of paths is wanted.  A candidate that ends with `=` goes on.
 */
void complete_run(struct complete *c);

/* Is it one, by what was typed so far?  (In either case, for positions: r1 finds R12.) */
void complete_offer(struct complete *c, const char *candidate, const char *what);

#endif
