/* SPDX-License-Identifier: MIT */
/*
 * The uncertainty budget of one entry: every component that its u was made of, worked
 * out again from what the record holds, and from nothing else.
 *
 *     accuracy       a = percent / 100 * |value| + counts * digit, rectangular: a / sqrt(3)
 *                    (JCGM 100:2008 4.3.7); value and digit as the meter gave them
 *     repeatability  s / sqrt(n) of the settled conversions (4.2.3), n - 1 degrees of
 *                    freedom; where that is less than the display's step, instead
 *     digit          half a digit, rectangular: digit / sqrt(12) (F.2.2.1)
 *     lead offset    the standard uncertainty of the offset that was taken off
 *     stated         a typed entry whose u a person gave
 *
 * Combined as the root of the sum of squares (5.1.2; the inputs are independent, every
 * sensitivity is 1 or -1); effective degrees of freedom by Welch and Satterthwaite
 * (G.4.1).  Verdicts use U = 2 u; k95 is what Student's t would take for the same 95.45 %
 * (Table G.2), so that the two can be held against each other; nu is not cut to a whole
 * number, for t is defined between them.
 *
 * A record from before records said what u was made of (`basis` is missing) cannot be
 * taken apart: it has one component, `sealed`, and `unknown` says so.
 */
#ifndef TALLY_TRADE_BUDGET_H
#define TALLY_TRADE_BUDGET_H

#include "protocol/trade/entry.h"

#define BUDGET_COMPONENTS_MAX 4

struct budget_component {
	const char *name;
	char statement[96];       /* where it comes from, for people */
	const char *distribution; /* "rectangular", "normal" */
	double spread;            /* half-width or standard deviation, SI */
	double divisor;
	double u;                 /* spread / divisor */
	double sensitivity;
	double share;             /* of u^2, 0 to 1 */
	double nu;                /* degrees of freedom; infinite for what is not counted */
};

struct budget {
	struct budget_component part[BUDGET_COMPONENTS_MAX];
	int parts;
	double u;         /* combined anew */
	double nu;        /* effective; infinite where nothing was counted */
	double k, U;      /* 2, and 2 u */
	double k95, U95;  /* by Student's t for 95.45 % */
	bool agrees;      /* with the u that was sealed, to its six figures */
	char unknown[120]; /* what cannot be told; "" where all can */
};

/* False where the entry has no value, and so no uncertainty. */
bool budget_of(const struct entry *e, struct budget *out);

#endif
