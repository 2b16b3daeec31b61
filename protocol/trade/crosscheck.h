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

/* May these two be compared?  Refused, with the reason in `why`, where
 * position, quantity, condition, reach or function differ, where either has no
 * value, was struck, did not settle, or was typed, and where both come from
 * one meter. */
bool crosscheck_allowed(const struct entry *a, const struct entry *b, struct fault *why);

/* Of n >= 3 values, the one that stands apart: it disagrees with every other
 * while the others agree among themselves; -1 where none or more than one does. */
int crosscheck_apart(const double *x, const double *U, int n);

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
