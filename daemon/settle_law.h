/* SPDX-License-Identifier: MIT */
/*
 * Is a trace at rest?  The mathematics of settling, apart from probes and meters.
 *
 * What is asked.  Readings y_1 .. y_i came at times t_1 .. t_i.  Somewhere among
 * them a *run* began: since then nothing has happened but
 *
 *     y = c + a x + noise,    x = exp(-(t - t0) / tau)
 *
 * with c where it comes to rest, and a = 0 where it was there at once.  When it
 * began, c, a, tau and the noise are unknown.  Wanted is the probability, over all
 * that is unknown, that y is still further from c than the meter's digit: `off`.  A
 * touch is settled when that is below `settle doubt`.  (This is Bayesian online
 * change-point detection: Adams and MacKay, "Bayesian Online Changepoint Detection",
 * arXiv:0710.3742, 2007 -- from memory -- with a law instead of a level in each run.)
 *
 * One run (settle_run.c).  With tau and the noise sigma given, y is linear in c and
 * a, so that weighted sums of 1, z, z^2, x, x^2 and x z (z = y - y_1) hold all that
 * the readings say; nothing is kept of the readings themselves.  In digits, with
 * S.. the sums about their means and W the sum of the weights,
 *
 *     a = Sxz / Sxx,   rss = Szz - a Sxz,   sd of a = s = sigma / sqrt(Sxx)
 *
 * and the evidence (c integrated out over the range of the meter, a over its prior)
 *
 *     sigma^-(m-1) W^-1/2 exp(-rss / 2 sigma^2) . s sqrt(2 pi) . integral
 *
 * where the integral is that of normal(a, s) over the prior of a.  It is summed over
 * tau (steps of 1.35) and sigma (steps of 1.6), and over a = 0 for which rss = Szz.
 *
 * The steps of tau are too wide for a trace that comes in from 10000 digits.  So the
 * law is free inside a step: to first order, a change of log tau adds b u with
 * u = x (t - t0) / tau; b has the prior normal(0, (width a)^2) and is integrated out
 * like one more linear unknown (sums of u, u^2, x u, u z).
 *
 * Priors.  An approach begins far away (log a evenly spread from `start` up, more
 * for finer meters, and so much that it moves 3 digits a reading at its start): what
 * begins near its rest and is slow is creep, and creep is logged.  A small share may
 * begin nearer, for approaches whose beginning is hidden by a range; a larger one where the
 * touch began with an overload.
 * Noise has a cap, and noise that neighbours do not show is drift.
 *
 * All runs (settle_law.c).  Each reading begins a run of its own with probability
 * `hazard` (more at the first readings and after lost contact).  The joint
 * probability of a run and all readings is kept as a logarithm; SETTLE_RUNS of the
 * likeliest are kept.  A reading far from a run's law may be left out of it as a
 * stray, at a price; two in a row end the run.
 *
 * Approaches are not exact.  A reading taken in a step of d digits has its variance
 * raised by (share d)^2: the clocks of meters jitter.  And a run forgets: what was
 * absorbed fades by 1/e for each 10 digits (or sigma) that the law goes on, so that
 * the last of the way decides where it ends, even where there are two exponentials.
 *
 * Three checks stand beside `off`, because rounding is not independent noise:
 * `tail_chance`, of a second, slower exponential (settle_tail.c);
 * `wave_chance`, of a slow wave that looks like noise (settle_wave.c);
 * `wanders`, from the ratio of their differences to their spread (von Neumann's):
 * a walk that no law explains.
 *
 * Costs: 27 tau x 8 runs x 9 sums a reading, and about 60 us to judge (measured at
 * -O2); therefore only while something is touched and has not settled, and for
 * meters faster than 50 readings a second in blocks of 20 ms.  16 KiB of memory.
 */
#ifndef TALLY_SETTLE_LAW_H
#define TALLY_SETTLE_LAW_H

#include "daemon/settle.h"

/* What the readings so far say. */
struct settle_judgement {
	double off;    /* probability that the rest is more than a digit (or sigma) off */
	double noise;  /* of one reading, in digits, under the likeliest law */
	double known;  /* the same as the meter showed it in its last touches; 0: unknown */
	int64_t since; /* the stretch that is at rest under that law began then, us */
	int64_t begun; /* the likeliest run did */
	double rest;   /* where it comes to rest, SI */
	int jumps;     /* to another level, that no law explains ... */
	int readings;  /* ... among so many */
	int64_t clear; /* ... and from then on the readings are clear of the approach */
	double drift;  /* what the likeliest law still has to go, digits (signed) */
	double tail_chance; /* that a second, slower tail still has more than a digit to go */
	int tail_count;     /* readings that stand near where the likeliest of them ends */
	double wave_chance; /* that it is a slow wave */
	bool wanders;  /* the last readings walk more than noise does */
	int n;         /* readings in the likeliest run */
	bool slow;     /* that run came in by a slow exponential, not by a jump */
	double doubt;  /* up to which `off` is at rest */
};

void settle_law_reset(struct settle_law *law);
/* Something is touched, and reads overload: whatever it does meanwhile is not seen. */
void settle_law_hide(struct settle_law *law);
/* Another function: nothing that was learnt of the meter holds. */
void settle_law_forget(struct settle_law *law);
/* Two readings at rest, one after the other, are so many digits apart: the noise of the meter. */
void settle_law_rests(struct settle_law *law, double digits);
/* Contact was lost for a moment: what comes next may be another value. */
void settle_law_jolt(struct settle_law *law);
/* One reading (or one block of a fast meter): value and weight of its last digit in SI. */
void settle_law_add(struct settle_law *law, const struct settle_limits *limits, int64_t t,
                    double value, double digit, double period);
/* Where the likeliest law comes to rest, SI; NAN where that law is no approach. */
double settle_law_rest(const struct settle_law *law);
void settle_law_judge(const struct settle_law *law, const struct settle_limits *limits,
                      struct settle_judgement *out);

#endif
