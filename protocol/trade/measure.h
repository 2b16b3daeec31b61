/* SPDX-License-Identifier: MIT */
/*
 * A value with its standard uncertainty, and what becomes of it in a formula.
 *
 * Law of propagation for independent inputs (JCGM 100:2008 5.1.2), with the
 * contributions taken as half the change of the result between x - u and x + u
 * (5.1.3 note 2), so that every formula of the trade is written once, without its
 * derivatives.  Of a quotient 1 / x with the relative d = u / x that is d / (1 - d^2): of what
 * was measured (d below 2 %) the derivative's d to 0.04 %; of a part that is only nominal, +-20 %
 * rectangular (d = 11.5 %), 1.4 % above the derivative, which leaves out the terms of higher
 * order (5.1.2, note), and 2 % below what drawing says (JCGM 101:2008 7).  Bounds that are not
 * symmetric need more than that: see had_spread in daemon/query_places.h.
 * What is the same reading in two places of a formula (the sense
 * drop, in a dissipation) is one input.
 */
#ifndef TALLY_TRADE_MEASURE_H
#define TALLY_TRADE_MEASURE_H

#include <stdbool.h>
#include <stddef.h>

/* SI units; u >= 0.  A value that cannot be had is NaN, and so is everything that is
 * made of it; u is infinite where it is not known. */
struct measure {
	double value, u;
};

#define MEASURE_INPUTS_MAX 8

/* f of n <= MEASURE_INPUTS_MAX inputs.  Where f has no value at x - u or x + u but
 * has one at x, the uncertainty is infinite. */
struct measure measure_of(double (*f)(const double *x), const struct measure *x, int n);

/* 100 * u / |value|; infinite at zero. */
double measure_percent(struct measure m);

#endif
