/* SPDX-License-Identifier: MIT */
/*
 * An old electrolytic on a supply, through a resistor, with two meters on it: what a
 * re-forming is tried against.  A made-up part, no source: its leakage goes with the square of
 * the volts, and falls with a time constant while there are volts, down to what is left.
 *
 *     C dV/dt = (S - V) (1/R + 1/Rdrop) - V/Rpart - A (V/rated)^2 - V/Rs
 *     dA/dt   = (left - A) / tau              a part that re-forms, or never does
 *     dA/dt   = + A / flee                    above `from` volts: one that runs away
 */
#ifndef TALLY_TESTS_REFORM_MODEL_H
#define TALLY_TESTS_REFORM_MODEL_H

#include <math.h>

struct reform_part {
	double C, rated;
	double A, left, tau;  /* A, A, s */
	double from, flee;    /* V (0: never), s */
	double R, input;      /* in series; of both meters */
	double V;             /* at the part */
};

/* So many seconds with the supply at S volts. */
static inline void reform_part_run(struct reform_part *p, double S, double seconds)
{
	double tau = p->R * p->C, step = fmin(tau / 20, 0.5);
	for (double t = 0; t < seconds - 1e-9;) {
		double dt = fmin(step, seconds - t), x = p->V / p->rated;
		double leak = p->A * x * fabs(x);
		p->V += dt * ((S - p->V) * (1 / p->R + 1 / p->input) - p->V / p->input - leak) / p->C;
		if (p->from > 0 && p->V > p->from)
			p->A += dt * p->A / p->flee;
		else if (p->V > 1)
			p->A += dt * (p->left - p->A) / p->tau;
		t += dt;
	}
}

#endif
