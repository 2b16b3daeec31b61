/* SPDX-License-Identifier: MIT */
/*
 * What settle_law.c and settle_run.c say to each other.  Nobody else includes it.
 */
#ifndef TALLY_SETTLE_LAW_PARTS_H
#define TALLY_SETTLE_LAW_PARTS_H

#include "daemon/settle_law.h"

#include <math.h>

/* Steps of the time constants. */
#define SETTLE_TAU_RATIO 1.35

double settle_tau_seconds(int j);
double settle_noise_digits(int k);

/* What is believed before the first reading; lengths in digits. */
struct settle_priors {
	double noise[SETTLE_NOISES], log_noise[SETTLE_NOISES];
	double prior[SETTLE_NOISES];                   /* log probability of each level */
	double start[SETTLE_TAUS];                     /* an approach begins at least so far away, */
	double span[SETTLE_TAUS];                      /* log(most / least), */
	double least, small;                           /* or, with this share, only so far */
	double log_range;                              /* of the values there are */
	double log_rest, log_slow;                     /* at rest; approaching with one tau */
	double ridge;                                  /* see fit_tau */
	double most_noise;                             /* more of it is motion */
	double near, near_sigma, local;                /* at rest: within near + sigma share, */
	                                               /* of no more noise than neighbours show */
};

void run_begin(struct settle_run *r, double joint, int64_t t, double value);
/* Time goes on by `dt` seconds. */
void run_age(struct settle_run *r, const double decay[SETTLE_TAUS], double dt);
/* A reading with weight `w`. */
void run_absorb(struct settle_run *r, double value, double w);
/* Let what was absorbed so far count only `f` times. */
void run_fade(struct settle_run *r, double f);
/* Let its sums be of values less this one.  A trace that has gone far would lose its last digits
 * in the squares of the way. */
void run_refer(struct settle_run *r, double value);
/* The log evidence of a run; fills its likeliest law and its chance to be off. */
double run_judge(struct settle_run *r, const struct settle_priors *k, double digit);
/* What the likeliest law has still to go after `dt` seconds more, SI. */
double run_left(const struct settle_run *r, double dt);
/* When the likeliest law came as near to its rest as this (SI), us; t + 1 where it is
 * not there yet at `t`, the time of the last reading. */
int64_t run_reaches(const struct settle_run *r, int64_t t, double near);

/* Hypotheses summed: total is their evidence, off that of the ones which say that the rest
 * is not reached, both over exp(top). */
struct evidence {
	double top, total, off;
};

/* A hypothesis with log evidence `l`, which says "not at rest" with chance `out`. */
static inline void evidence_add(struct evidence *y, double l, double out)
{
	if (l > y->top) {
		double f = exp(y->top - l);
		y->total *= f;
		y->off *= f;
		y->top = l;
	}
	double p = exp(l - y->top);
	y->total += p;
	y->off += p * out;
}

/* The log prior of `n` levels of noise, in digits, mixed with what the meter showed at rest in its
 * last touches. */
void law_noise_known(const struct settle_law *law, const struct settle_limits *limits,
                     const double *noise, double *prior, int n);

/* --- settle_tail.c --- */

/* A reading with weight `w`, for a later look. */
void law_history_add(struct settle_law *law, int64_t t, double value, double w);
/* The chance that more than `tail digits` are still to go, with two exponentials. */
double law_tail(const struct settle_law *law, const struct settle_limits *limits,
                const struct settle_run *best, int *count);

/* --- settle_wave.c --- */

/* The chance that the readings since then are a slow wave and no rest. */
double law_wave(const struct settle_law *law, const struct settle_limits *limits, int64_t since);

#endif
