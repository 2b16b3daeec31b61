/* SPDX-License-Identifier: MIT */
/*
 * How a run of `tally` ends: the exit status, for scripts.
 *
 * The numbers are a contract.  An `outside` verdict is an answer "no"; `unsure`
 * is not (nobody has said no yet), so it ends with 0 and the word tells.
 */
#ifndef TALLY_CLIENT_OUTCOME_H
#define TALLY_CLIENT_OUTCOME_H

enum outcome {
	OUTCOME_DONE = 0,
	OUTCOME_NO = 1,          /* done, and the answer is no; or refused for now */
	OUTCOME_WRONG = 2,       /* wrong use or bad input */
	OUTCOME_UNREACHABLE = 3, /* no daemon, or one that does not answer as it should */
	OUTCOME_NOT_LOGGED = 4,  /* nothing was written, and nothing is pretended */
};

/* The outcome that an error code of protocol/WIRE.md stands for. */
enum outcome outcome_from_code(int code);

#endif
