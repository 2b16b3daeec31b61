/* SPDX-License-Identifier: MIT */
/*
 * Kinds of meters, and the accuracy that is assumed of each where nobody has said one.
 *
 * Every number of the table: common practice, no source.  Each is what a poor one of its
 * kind still keeps at the end of its calibration interval, so that a verdict by it is
 * rather `unsure` than falsely sure.  An entry that was judged so says that the accuracy was
 * assumed, and of which kind.
 *
 * Which kind a meter is: what its section says (`class = handheld-6000`); else a meter that
 * sends a second value beside a capacitance (dissipation, ESR, Q) is a bridge; one that is
 * asked as bench instruments are (the dialect scpi) a bench meter; of any other the counts
 * that its display was seen to have decide, the fewest as long as nothing was seen.
 */
#ifndef TALLY_TRADE_METER_CLASS_H
#define TALLY_TRADE_METER_CLASS_H

#include "protocol/trade/quantity.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* id, word, what it is */
#define METER_CLASS_LIST(X)                                   \
	X(UNKNOWN, "", "meter")                                   \
	X(HANDHELD_2000, "handheld-2000", "handheld of 2000 counts") \
	X(HANDHELD_6000, "handheld-6000", "handheld of 6000 counts") \
	X(BENCH_50000, "bench-50000", "bench meter of 50000 counts") \
	X(LCR, "lcr", "bridge for L, C and R")

enum meter_class {
#define X(id, word, name) METER_CLASS_##id,
	METER_CLASS_LIST(X)
#undef X
	    METER_CLASS_COUNT
};

const char *meter_class_word(enum meter_class c); /* "" for unknown */
const char *meter_class_name(enum meter_class c); /* for people */
bool meter_class_from_word(const char *word, size_t len, enum meter_class *out);

/* Half-width of what is assumed: percent of the reading, and counts of the last digit.
 * Unknown is as the handheld of 2000 counts. */
void meter_class_accuracy(enum meter_class c, enum function f, double *percent, double *counts);

/* The least kind whose display shows that many counts; the sign does not matter. */
enum meter_class meter_class_of_counts(int64_t counts);

#endif
