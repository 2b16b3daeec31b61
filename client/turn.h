/* SPDX-License-Identifier: MIT */
/*
 * Whose turn it is to be heard: what waits, bounded, for tones and for speech alike.
 *
 *   alarm   (not logged, meter gone ...) queue up, first come first heard, before all
 *           others.  One that waits already is not queued again.  TURN_ALARMS of them;
 *           when that is full the newest is counted in `lost` and not heard.
 *   result  (logged, outside, refused ...) the newest wins: one waits at most.
 *   name    (the position that is up) the newest wins, and is heard after the result.
 *
 * So a new name does not swallow the verdict before it, a new verdict does swallow an
 * old one, and nothing swallows an alarm.  What waited too long is dropped, for a tone
 * that comes late is a wrong one: see TURN_LATE_US.
 *
 * Pure: times are microseconds of any steady clock, given by the caller.
 */
#ifndef TALLY_CLIENT_TURN_H
#define TALLY_CLIENT_TURN_H

#include "client/happening.h"

#include <stdbool.h>
#include <stdint.h>

enum turn_rank {
	TURN_NAME,
	TURN_RESULT,
	TURN_ALARM,
};

#define TURN_ALARMS 8
/* Room for the longest that is said, with its NUL: the cautions of a guided run. */
#define TURN_TEXT 1024

struct turn_item {
	enum turn_rank rank;
	enum happening what;
	char text[TURN_TEXT]; /* "" for a tone */
	int64_t at;           /* when it was pushed */
	int wait_ms;          /* speech alone: not begun sooner after that, for a tone sounds first */
	/* Whoever pushed it gets these back when it was heard; nothing here reads them. */
	char position[40];
	int64_t seq;
};

struct turn {
	struct turn_item alarm[TURN_ALARMS];
	int alarms;
	bool has_result, has_name;
	struct turn_item result, name;
	unsigned lost; /* alarms that found no room */
};

/* Begin with `(struct turn){0}`. */
void turn_push(struct turn *t, const struct turn_item *item);

/* Take the next; false where nothing waits.  What is older than `late` microseconds
 * at `now` is dropped on the way, alarms excepted (late 0: nothing is too late). */
bool turn_next(struct turn *t, int64_t now, int64_t late, struct turn_item *out);

/* Should what waits cut off what is being heard?  An alarm cuts all but an alarm; a
 * result a result and a name; a name a name. */
bool turn_cuts(const struct turn *t, enum turn_rank heard);

/* What was cut off by an alarm comes back in its place, unless something newer of its
 * rank waits there. */
void turn_return(struct turn *t, const struct turn_item *item);

/* Forget all that waits. */
void turn_clear(struct turn *t);

bool turn_empty(const struct turn *t);

#endif
