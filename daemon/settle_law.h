/* SPDX-License-Identifier: MIT */
/*
 * Is a trace at rest?  The mathematics of settling, apart from probes and meters.
 *
 * TODO header text
 */
#ifndef TALLY_SETTLE_LAW_H
#define TALLY_SETTLE_LAW_H

#include "daemon/settle.h"

/* What the readings so far say. */
struct settle_judgement {
	double off;    /* probability that the rest is more than a digit (or sigma) off */
	double noise;  /* of one reading, in digits, under the likeliest law */
	int64_t since; /* the stretch that is at rest under that law began then, us */
	int64_t begun; /* the likeliest run did */
	double rest;   /* where it comes to rest, SI */
	int jumps;     /* to another level, that no law explains ... */
	int readings;  /* ... among so many */
	int64_t clear; /* ... and from then on the readings are clear of the approach */
	double drift;  /* what the likeliest law still has to go, digits (signed) */
	double tail;   /* digits that a second, slower tail may still go */
	bool wanders;  /* the last readings walk more than noise does */
	int n;         /* readings in the likeliest run */
	bool slow;     /* that run came in by an exponential, not by a jump */
};

void settle_law_reset(struct settle_law *law);
/* Contact was lost for a moment: what comes next may be another value. */
void settle_law_jolt(struct settle_law *law);
/* One reading (or one block of a fast meter): value and weight of its last digit in SI. */
void settle_law_add(struct settle_law *law, const struct settle_limits *limits, int64_t t,
                    double value, double digit, double period);
void settle_law_judge(const struct settle_law *law, const struct settle_limits *limits,
                      struct settle_judgement *out);

#endif
