/* SPDX-License-Identifier: MIT */
/*
 * What a meter measures, learnt from itself: when to ask it, and which of its
 * answers may be gone by.
 *
 * Only where neither query nor configuration says what bare numbers are, and the
 * dialect knows how to ask (`learn`: FUNC?, else CONF?).  The meter is asked after
 * the set-up, then every LEARN_US, and whenever an answer shows that the dial may
 * have been turned: another state, or a value more than an eighth away from the one
 * before, or the first one of all.  Such an answer waits until the meter has said its
 * function again.  It is a reading if that is what it was before, and none where it
 * is another, for nobody can say on which side of the turn it was taken.
 *
 * Pure; in a replay nobody asks, but the answers are on the tape, and the same ones
 * wait for them.
 */
#ifndef TALLY_METER_LEARN_H
#define TALLY_METER_LEARN_H

#include "protocol/meter/dialect.h"

/* How long a function is taken for granted at most, us. */
#define LEARN_US INT64_C(2000000)
#define LEARN_QUESTION_SIZE 128

struct learn {
	bool on;
	const char *questions; /* of the dialect, ` | ` between them */
	enum function function; /* FUNCTION_NONE while it has not said */
	bool due;              /* it is to be asked before the next query */
	int question;          /* which of them is next */
	int again;             /* times that its answer was spoilt */
	int64_t at;            /* when it said so last */
	bool has_before;       /* the reading to which the next is compared */
	struct reading before;
	bool waits;            /* an answer that may be of another function */
	struct understood waiting;
	char words[80];        /* what it answered that names no function; "" for nothing */
};

/* `questions` NULL: there is nothing to ask with, and nothing is learnt. */
void learn_begin(struct learn *l, const char *questions);
/* Another opening, or another meter on the line: all of it is unknown again. */
void learn_afresh(struct learn *l);
/* It was out of step: the function is asked again, what waits is dropped.  Returns
 * whether something was. */
bool learn_shaken(struct learn *l);

/* The question to ask now; false where all were of no use. */
bool learn_question(const struct learn *l, char out[LEARN_QUESTION_SIZE]);
/* That question was of no use. */
void learn_next(struct learn *l);
/* Its answer was spoilt.  False where it was asked often enough. */
bool learn_again(struct learn *l);
void learn_words(struct learn *l, const char *text, size_t len);

enum learnt {
	LEARNT_SAME,    /* nothing waited */
	LEARNT_READING, /* `waiting` is a reading after all */
	LEARNT_OTHER,   /* the function is another (or the first) */
	LEARNT_DROPPED, /* another, and what waited is no reading */
};
/* It said its function. */
enum learnt learn_said(struct learn *l, int64_t t, enum function f);

/* An answer with readings.  True: they are readings now.  False: they wait (where
 * others waited already, *dropped says so). */
bool learn_take(struct learn *l, int64_t t, const struct understood *u, bool *dropped);

#endif
