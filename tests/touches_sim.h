/* SPDX-License-Identifier: MIT */
/* What touches.c (circuit, hand and meter) and touches_kinds.c (of which kind) share. */
#ifndef TALLY_TESTS_TOUCHES_SIM_H
#define TALLY_TESTS_TOUCHES_SIM_H

#include "tests/touches.h"

#include <math.h>

/* ---- chance ---- */

struct chance {
	uint64_t s;
};

static inline uint64_t next64(struct chance *c)
{
	uint64_t z = (c->s += UINT64_C(0x9e3779b97f4a7c15));
	z = (z ^ z >> 30) * UINT64_C(0xbf58476d1ce4e5b9);
	z = (z ^ z >> 27) * UINT64_C(0x94d049bb133111eb);
	return z ^ z >> 31;
}

static inline double unit(struct chance *c)
{
	return (double)(next64(c) >> 11) * 0x1p-53;
}

static inline double between(struct chance *c, double a, double b)
{
	return a + (b - a) * unit(c);
}

static inline double log_between(struct chance *c, double a, double b)
{
	return a * pow(b / a, unit(c));
}

static inline int pick(struct chance *c, int a, int b)
{
	return a + (int)(unit(c) * (b - a + 1));
}

static inline bool luck(struct chance *c, double p)
{
	return unit(c) < p;
}

static inline double gauss(struct chance *c)
{
	return sqrt(-2 * log(1 - unit(c))) * cos(6.283185307179586 * unit(c));
}

static inline double longer(double a, double b)
{
	return a > b ? a : b;
}

/* ---- the part and the hand ---- */

#define SECTIONS 3
#define GAPS 4
struct section {
	double r, tau, u; /* ohm, s, ohm as seen by the current of the present range */
};

struct part {
	double base;             /* SI, at rest */
	struct section section[SECTIONS];
	int sections;
	double tail[2], tail_tau[2]; /* shares of base that fade, s */
	double ramp, ramp_until; /* SI a second, s after the touch */
	double hum, hum_hz;      /* SI */
	double wobble, wobble_s, wobble_now;
	double half_until, half_now, half_share;
	double joint, joint_left, joint_now, joint_mean; /* share of base */
	double skin;             /* share of base: fingers */
	double skin_now, skin_slow;
	double charge_tau;       /* farad: s; volt: s of source resistance and input */
	double settle_v;         /* SI: state of the one low-pass */
	double charged;          /* share of the rest that is there at the touch */
	double gap_at[GAPS], gap_for[GAPS]; /* s after the touch: contact lost */
	int gaps;
	bool slips, lawless, odd;
};

struct sim {
	struct trace *x;
	struct chance c, noise;
	struct part part;
	double t, h;
	/* the hand */
	bool contact;
	double touched_at;
	int now; /* touch, -1: open */
	/* float of open leads */
	double open_now, open_sd, open_s, open_hum, open_hum_hz, glide_s;
	/* the conversion that goes on */
	double sum, open_share;
	int samples;
	/* the meter */
	int e, losing, waits;
	double ring_ideal[64], ring_noise[64];
	int ring;
	double lag_ideal, lag_noise;
	bool lagging;
	double ar;
	bool was_value;
	struct reading last; /* shown */
	double last_arrival;
	/* the count of undisturbed conversions */
	int n, off;
	double first;
};

/* SI: what is there at the probes so long after the touch began, now or (not `instant`) as the law
 * of the part has it, without noise and what disturbs. */
double part_value(const struct part *p, enum function f, double t, bool instant);
/* Let so many seconds go by; a touch whose end is open ends when its entry is due. */
void sim_run(struct sim *s, double seconds);

#endif
