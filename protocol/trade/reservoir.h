/* SPDX-License-Identifier: MIT */
/*
 * Which capacitors of a sheet hold a charge that kills after the mains is off.
 *
 * Common practice, no source: the capacitors behind the rectifier, whatever the drawing
 * calls them.  A role that names one decides.  Where no role of the sheet does, every
 * electrolytic may be one whose rating is unknown or above 50 V (a cathode bypass of 25 V
 * has nothing to hold).
 */
#ifndef TALLY_TRADE_RESERVOIR_H
#define TALLY_TRADE_RESERVOIR_H

#include "protocol/trade/position.h"

/* By the words of its role: reservoir, smoothing, filter, supply, decoupling of a rail, B+,
 * HT; letters of either case.  Only of what is a capacitor. */
bool reservoir_by_role(const struct position *p);
bool reservoir_by_kind(const struct position *p);

#endif
