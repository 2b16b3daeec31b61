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

#include "protocol/trade/position.h"

#define USE_TEST_SIZE 48

enum yes_or_no { ANSWER_UNKNOWN, ANSWER_YES, ANSWER_NO };
enum ac_kind { AC_UNKNOWN, AC_RMS, AC_AVERAGE };

/* 0, "" and UNKNOWN: nobody said. */
struct limits_of_use {
	double input[FUNCTION_COUNT]; /* input resistance, ohm */
	enum yes_or_no isolated;      /* does its input float against earth */
	enum ac_kind ac;              /* true rms, or average */
	double bandwidth;             /* Hz, of the ac functions */
	double crest;                 /* crest factor up to which true rms holds */
	char test[FUNCTION_COUNT][USE_TEST_SIZE]; /* how it measures, as people say it */
};

/* What of it concerns readings of one function: the rest is unknown in *out. */
void use_of(const struct limits_of_use *use, enum function f, struct limits_of_use *out);
/* Is anything known at all? */
bool use_known(const struct limits_of_use *use);

/* ---- one function, understood ---- */

enum test_method { METHOD_UNKNOWN, METHOD_RAMP, METHOD_BRIDGE };

struct use {
	double input;            /* ohm */
	enum yes_or_no isolated;
	enum ac_kind ac;
	double bandwidth, crest;
	double frequency;        /* of its own test signal, Hz */
	double signal;           /* of what it measured, as was said of the entry, Hz; 0: by the role */
	enum test_method method; /* how it measures a capacitor */
	double volts;            /* that it tests with */
};

/* Of the text of `test` the parts that are understood count: a frequency (120 Hz), the
 * volts (0.5 V), and ramp (or charge, dc) or bridge (or lcr, ac). */
void use_understand(const struct limits_of_use *use, enum function f, struct use *out);

/* A reading that the meter was not made for: a reading, and no verdict. */
struct use_doubt {
	char why[120], next[100];
};

/*
 * Does this meter measure that quantity there at all?  True, with why not and what to do
 * instead, where what is known of the meter says that it does not.  What nobody said
 * (0, unknown) is never held against a meter.
 *
 *   - volt-ac, amp-ac: above its bandwidth (the frequency is that of the entry, else
 *     it stands in the role, `output 10 kHz`; a heater has 50 Hz, ripple on a rail 100 Hz: the lowest that the trade has);
 *     average-responding on what is no sine wave (ripple, hum, noise, a rail or rectifier whose
 *     role names no output or frequency); a crest factor below 2 there
 *   - capacitors: an electrolytic tested above 1 kHz, its ESR below 10 kHz, its dissipation
 *     above 1 kHz; dissipation or ESR with a ramp
 *   - insulation and leakage as a resistance: test volts below a tenth of the rated ones
 *     (50 V where no rating is known)
 *   - volts across a part that is not at chassis (a resistor, a winding), with an input
 *     that is not isolated
 *
 * The bounds are common practice, no source.
 */
bool use_outside(const struct use *use, const struct position *p, enum quantity q,
                 enum function f, struct use_doubt *out);

/* The frequency of an AC signal there: as the role says (`output 10 kHz`), 50 Hz at a
 * heater, 100 Hz on a rail; 0 where nobody knows. */
double use_hertz(const struct position *p);

/* By how much |value| reads low through the meter's input at a place of `source` ohms
 * (sheet): |value| source / input; 10 Mohm where the input is not known (common
 * practice).  0 where the sheet names no source or this is no voltage. */
double use_loading(const struct use *use, const struct position *p, enum function f, double value);

#endif
