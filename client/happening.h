/* SPDX-License-Identifier: MIT */
/*
 * What happens at the bench that a person should see, hear or feel at once.
 *
 * One list of happenings for screen, sound and speech, so that they cannot say
 * different things: command_bench.c makes one from each event, record and change of the
 * connection, and tells it to everyone who listens, in the order in which it
 * happened, on the thread of the loop.  A listener must not wait for anything.
 */
#ifndef TALLY_CLIENT_HAPPENING_H
#define TALLY_CLIENT_HAPPENING_H

#include <stdbool.h>
#include <stdint.h>

enum happening {
	HAPPENED_LOGGED,     /* an entry is durable, within its limits or without any */
	HAPPENED_OUTSIDE,    /* an entry is durable, and outside */
	HAPPENED_UNSURE,     /* an entry is durable, and unsure */
	HAPPENED_HELD,       /* settled, but it looks like another part: not logged yet */
	HAPPENED_REFUSED,    /* not logged, or an action not done; why */
	HAPPENED_MOVING,     /* it keeps moving and does not settle */
	HAPPENED_DOUBT,      /* a voltage that could be floating: waits for take */
	HAPPENED_GONE,       /* a meter, or with meter NULL the daemon */
	HAPPENED_BACK,       /* the same */
	HAPPENED_STALE,      /* a meter is silent: its value no longer stands */
	HAPPENED_NOT_LOGGED, /* the log took nothing: an alarm */
	HAPPENED_UP,         /* a position is up and armed: touch it */
	HAPPENED_LIVE,       /* the unit has volts on it: an alarm */
	HAPPENED_COLD,
	HAPPENED_GUIDE,      /* a guided run says what to do next; why */
	HAPPENED_ALARM,      /* danger that goes on, over everything: an alarm */
	HAPPENED_DISAGREE,   /* what was logged lies apart from another meter's value of the same part */
};
#define HAPPENING_COUNT (HAPPENED_DISAGREE + 1)

/*
 * What is known of it.  UTF-8 without control characters; a member that does not
 * apply or is not known is NULL, never "".  Valid during the call only.
 */
struct happening_told {
	enum happening what;
	const char *position; /* "R12": logged to, held at, up */
	const char *quantity; /* "value", "leakage" ... */
	/* "0.345 uF", "-35.2 V", "overload": number, blank, unit with its prefix as one
	 * ASCII word (u for micro, ohm spelt out). */
	const char *shown;
	const char *verdict;  /* "within", "outside", "unsure" */
	const char *side;     /* "low" or "high" */
	const char *looks;    /* held: the position that it looks like */
	const char *meter;    /* the technician's name for it */
	const char *other;    /* the one that disagrees with it */
	const char *place;    /* where the position is: channel and note, "left, input stage" */
	const char *role;     /* what the part does there: "coupling" */
	const char *why;      /* one sentence: reason of a verdict, a refusal, a loss */
	const char *next;     /* what can be done now: "take it, or choose R13" */
	const char *guide;    /* the step: "leak.zero"; `shown` is its value, `why` it was given up */
	const char *limit;    /* of that step: above it is switched off, "450 V" */
	const char *alarm;    /* what danger: "live", "mains", "held" */
	bool ear;             /* a guided run says what its pitch says, too: not over that */
	bool typed;           /* an entry from an instrument without a data line: `meter` */
	int64_t seq;          /* the record, where there is one; else 0 */
};

struct happening_listener {
	void (*heard)(void *arg, const struct happening_told *told);
	void *arg;
};

#define HAPPENING_LISTENERS_MAX 8

/* Begin with {0}. */
struct happening_list {
	struct happening_listener listener[HAPPENING_LISTENERS_MAX];
	int count;
};

/* False where the list is full. */
static inline bool happening_listen(struct happening_list *l, struct happening_listener who)
{
	if (l->count == HAPPENING_LISTENERS_MAX || !who.heard)
		return false;
	l->listener[l->count++] = who;
	return true;
}

static inline void happening_tell(const struct happening_list *l,
                                  const struct happening_told *told)
{
	for (int i = 0; i < l->count; i++)
		l->listener[i].heard(l->listener[i].arg, told);
}

#endif
