/* SPDX-License-Identifier: MIT */
/*
 * What the daemon says to whoever looks after the machine: one line a happening.
 *
 * Where standard error is the journal's (JOURNAL_STREAM names it), each line goes there by
 * the journal's own protocol, with fields that can be asked for:
 *
 *     PRIORITY       3 error, 4 warning, 5 notice, 6 info
 *     TALLY_EVENT    what happened, one word: line-open, line-gone, line-trouble, stale,
 *                    fresh, silent, answers, not-logged, log, clock, client, start, stop,
 *                    reload, left-out
 *     METER, PORT, SEQ   where there is one (journalctl METER=red)
 *
 * Where that fails, it goes to standard error with <PRIORITY> before it, which the journal
 * understands too; where standard error is a terminal or a file, as `tallyd: line`.
 *
 * Readings are never said: they are in the log.  A happening is said when it begins and when
 * it ends, not while it lasts, and each source says at most ten lines a minute
 * (say_limit.h): a meter, the clients together, the log.
 *
 * One thread (the loop's) says everything.
 */
#ifndef TALLY_SAY_H
#define TALLY_SAY_H

#include "protocol/trade/fault.h"

#include <stdbool.h>
#include <stdint.h>

enum say_level { SAY_ERROR = 3, SAY_WARNING = 4, SAY_NOTICE = 5, SAY_INFO = 6 };

struct say_about {
	enum say_level level; /* 0 is SAY_INFO */
	const char *event;    /* NULL for none */
	const char *meter;    /* NULL for none; its lines are limited by themselves */
	const char *port;
	int64_t seq;          /* 0 for none */
	const char *source;   /* limited by that name where there is no meter; NULL: not limited,
	                       * for what happens once */
};

/* Looks where standard error goes.  Without it lines go there as they are. */
void say_begin(void);
void say_end(void);
/* From now on nothing is left out, for who looks for a fault (--say-all). */
void say_all(void);

void say_of(const struct say_about *about, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
/* At level info, about nothing in particular. */
void say(const char *format, ...) __attribute__((format(printf, 1, 2)));
/* At level error; returns 2, the exit status of bad input. */
int say_fault(const struct fault *why);
/* Once a second: what was left out, where that is due. */
void say_left_out(void);

#endif
