/* SPDX-License-Identifier: MIT */
/*
 * Has an open meter fallen silent?  A reading that is older than three of the meter's
 * usual periods says nothing about now: it is taken off the screen, and `take` is
 * refused.  That is so for every meter (`old` below).
 *
 * `stale` is more: it is said aloud and counted, once a silence, and is over when a
 * reading comes.  Two kinds of silence are no news and are not said:
 *
 *   - A meter that blanks its display, or stops sending, while its leads are open (on
 *     ohm, farad, henry and diode) would be said to be stale after each lift.  Nobody
 *     can tell this from the meter's death at the first one, so the first one is
 *     said; but when a reading then comes that is another than the last before the
 *     silence, and the meter was never heard with open leads, silence is its nature
 *     and is not said again.  A meter that is heard with open leads has no such
 *     nature, and on volts, amps and the rest there is no silence by nature: leads
 *     float there.
 *   - While a meter measures a capacitor it may think for seconds, and one that is
 *     asked answers late while it looks for its range: on farad a silence is said
 *     after STALE_FARAD_US at the earliest, of an asked meter after STALE_ASKED_US.
 *     (An answer that is overdue is another thing: the line counts as gone.)
 *
 * The period is settle's (settle_period): the mean of the last intervals without the
 * gaps, so a lost frame changes little.  While it is not known a second stands for it.
 *
 * Pure: a function of times and readings; in a replay the same is said.
 */
#ifndef TALLY_METER_STALE_H
#define TALLY_METER_STALE_H

#include "protocol/trade/reading.h"

/* All of these are common practice of this program, no source. */
#define STALE_PERIODS 3
/* However fast it is: adapters hand bytes on in bunches. */
#define STALE_LEAST_US INT64_C(300000)
#define STALE_ASKED_US INT64_C(1000000)
#define STALE_FARAD_US INT64_C(6000000) /* silent farad seconds of settle.h */
#define STALE_PERIOD_US INT64_C(1000000)

struct stale {
	bool asked;
	bool heard;         /* a reading came since the line was opened */
	struct reading last;
	int64_t period;     /* us, as of that reading; 0: not known */
	bool speaks;        /* it is heard with open leads, as far as settle knows */
	bool nature;        /* silence is its way to say that they are open */
	bool said;          /* this silence was said */
	uint64_t count;     /* silences that were said */
};

void stale_begin(struct stale *s, bool asked);
/* The line was opened anew, or is away: silence is no news then. */
void stale_away(struct stale *s);
/* A reading.  `period` as of now; `speaks`: it has been heard with open leads.
 * Returns whether a silence that was said is over. */
bool stale_reading(struct stale *s, const struct reading *r, int64_t period, bool speaks);
/* When stale_tick must be called; INT64_MAX for never. */
int64_t stale_deadline(const struct stale *s);
/* Returns whether it is to be said now. */
bool stale_tick(struct stale *s, int64_t t);

/* Is the last reading too old to stand for now?  Also where there is none. */
bool stale_old(const struct stale *s, int64_t t);

#endif
