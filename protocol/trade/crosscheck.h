/* SPDX-License-Identifier: MIT */
/*
 * Cross-check: entries of one position, quantity, condition and reach from two
 * or more meters, by E_n; and twin against twin.
 *
 * E_n = |x1 - x2| / sqrt(U1^2 + U2^2), U = 2 u; agree where E_n <= 1
 * (ISO 13528:2022 section 9, ISO/IEC 17043).
 */
#ifndef TALLY_TRADE_CROSSCHECK_H
#define TALLY_TRADE_CROSSCHECK_H

#include "protocol/trade/entry.h"

double crosscheck_en(double x1, double U1, double x2, double U2);
/* The same of two entries that have a value, with U = 2 u. */
double crosscheck_entries(const struct entry *a, const struct entry *b);

/* May these two be compared?  Refused, with the reason in `why`, where
 * position, quantity, condition, reach or function differ, where either has no
 * value, was struck, did not settle, or was typed, where both come from
 * one meter, and where the way of measuring makes them different measurands: a
 * capacitor (or coil) by ramp and by bridge or at test frequencies more than 20 %
 * apart, insulation or leakage at test volts more than a factor of 2 apart.
 * What nobody said of a meter is not held against it. */
bool crosscheck_allowed(const struct entry *a, const struct entry *b, struct fault *why);

/* Of n >= 3 values, the one that stands apart: it disagrees with every other
 * while the others agree among themselves; -1 where none or more than one does. */
int crosscheck_apart(const double *x, const double *U, int n);

/*
 * Do n >= 2 values have one true value in common?  Weighted mean m with weights 1/u^2,
 * chi^2 = sum((x - m)^2 / u^2) with n - 1 degrees of freedom, consistent where as much by
 * chance has p >= 0.05; Birge ratio sqrt(chi^2 / (n - 1)).  (Cox, Metrologia 39 (2002)
 * 589-595.)  u: standard uncertainties, above zero; false where one is not.
 */
struct consistency {
	double mean, u, chi_squared, p, birge;
	int nu;
	bool consistent;
};
bool crosscheck_consistency(const double *x, const double *u, int n, struct consistency *out);

/* A value against a reference part: the standard uncertainty of its nominal is that of
 * a rectangular spread between its limits (the wider side); false where the sheet
 * bounds it to no side. */
bool crosscheck_reference(const struct entry *e, struct decimal nominal, const struct limits *l,
                          double *u_nominal, double *en);

/* Two that disagree, and the lead offset was not taken of one: could it be that?  (Ohm
 * 1, farad 100 pF; common practice.)  They disagree all the same: true, with why. */
bool crosscheck_offset(const struct entry *a, const struct entry *b, struct fault *why);

struct twins {
	double ratio;       /* a / b; 0 where b is 0 */
	double difference;  /* (a - b) / mean of |a| and |b|, as a fraction */
	double en;          /* with both U */
	bool agree;         /* en <= 1, or difference within what `allowed` says */
};
/* Twin against twin at equal reach.  `allowed`: the fraction that the tolerance
 * of the two lets them differ (0.1 for 5 % parts); 0 where unknown. */
bool twins_compare(const struct entry *a, const struct entry *b, double allowed,
                   struct twins *out, struct fault *why);

#endif
