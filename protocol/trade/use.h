/* SPDX-License-Identifier: MIT */
/*
 * A meter's limits of use: what it was made to measure.  Outside them it gives a
 * reading and no verdict (an average-responding meter on a distorted wave, a
 * bandwidth that was passed, an input that loads a high-impedance place, a test
 * frequency at which a capacitor is another one).
 *
 * They come from the meter's section of the configuration and are carried with what
 * it read: the meter record has all of them, each trail run and each entry those of
 * its function (protocol/SEAL.md), so that whoever judges later knows them without
 * the configuration of that day.
 */
#ifndef TALLY_TRADE_USE_H
#define TALLY_TRADE_USE_H

#include "protocol/trade/quantity.h"

#define USE_TEST_SIZE 48

enum yes_or_no { ANSWER_UNKNOWN, ANSWER_YES, ANSWER_NO };
enum ac_kind { AC_UNKNOWN, AC_RMS, AC_AVERAGE };

/* 0, "" and UNKNOWN: nobody said. */
struct limits_of_use {
	double input[FUNCTION_COUNT]; /* input resistance, ohm */
	enum yes_or_no isolated;      /* does its input float against earth */
	enum ac_kind ac;              /* true rms, or average */
	double bandwidth;             /* Hz, of the ac functions */
	char test[FUNCTION_COUNT][USE_TEST_SIZE]; /* how it measures, as people say it */
};

/* What of it concerns readings of one function: the rest is unknown in *out. */
void use_of(const struct limits_of_use *use, enum function f, struct limits_of_use *out);
/* Is anything known at all? */
bool use_known(const struct limits_of_use *use);

#endif
