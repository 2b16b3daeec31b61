/* SPDX-License-Identifier: MIT */
/* What touches.c (circuit, hand and meter) and touches_kinds.c (of which kind) share. */
#ifndef TALLY_TESTS_TOUCHES_SIM_H
#define TALLY_TESTS_TOUCHES_SIM_H

#include "tests/chance.h"
#include "tests/touches.h"

#include <math.h>

/* From `a` to `b`, both among them. */
static inline int pick(struct chance *c, int a, int b)
{
	return a + chance_pick(c, b - a + 1);
}

static inline double gauss(struct chance *c)
{
	double u = chance_unit(c), v = chance_unit(c);
	return sqrt(-2 * log(1 - u)) * cos(6.283185307179586 * v);
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
