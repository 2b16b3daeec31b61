/* SPDX-License-Identifier: MIT */
/*
 * Frames of fixed length, taken apart by columns: the dialect `columns-14`, and
 * users' files that say where things stand.
 *
 *     0         1
 *     01234567890123
 *     +1234 1SSSSB..       sign, four digits, blank, point code, four bytes of flag
 *                          bits, one of the bar graph, CR LF     (columns-14)
 *
 * Every column must hold what the rules say, every flag bit that is set must be
 * known, and the flags must make sense together (one unit; at most one prefix, one
 * of AC and DC): else the frame is not understood.  That is all the redundancy that
 * such a format has, and all of it is used.
 */
#ifndef TALLY_METER_COLUMNS_H
#define TALLY_METER_COLUMNS_H

#include "protocol/meter/dialect.h"

#define COLUMNS_FLAGS_MAX 64
#define COLUMNS_POINTS_MAX 10
#define COLUMNS_FIXED_MAX 8

/* What a flag bit means. */
#define COLUMN_MEANING_LIST(X)                                                            \
	X(VOLT, "volt") X(AMP, "amp") X(OHM, "ohm") X(FARAD, "farad") X(HENRY, "henry")       \
	X(HERTZ, "hertz") X(CELSIUS, "celsius") X(PERCENT, "percent") X(DIODE, "diode")       \
	X(PICO, "pico") X(NANO, "nano") X(MICRO, "micro") X(MILLI, "milli") X(KILO, "kilo")   \
	X(MEGA, "mega") X(GIGA, "giga") X(AC, "ac") X(DC, "dc") X(OVERLOAD, "overload")       \
	X(HOLD, "hold") X(LOW_BATTERY, "low-battery") X(RELATIVE, "relative")                 \
	X(MINMAX, "min-max") X(MINUS, "minus") X(IGNORE, "ignore")

enum column_meaning {
#define X(id, word) COLUMN_##id,
	COLUMN_MEANING_LIST(X)
#undef X
	    COLUMN_MEANINGS
};
bool column_meaning_find(const char *word, size_t len, enum column_meaning *out);

struct columns {
	int size;
	int sign;                /* column of + - or space; -1: a flag says minus */
	int digits_from, digits_to;
	int point;               /* column of the code, -1: never a point */
	struct { char code; int before; } points[COLUMNS_POINTS_MAX]; /* digits before the point */
	int point_count;
	char overload[8];        /* what the digits read then; "" where a flag says it */
	struct { int at; char byte; } fixed[COLUMNS_FIXED_MAX]; /* bytes that never change */
	int fixed_count;
	/* Bit 0 is 0x01, or 0x80 where the file counts from the left. */
	struct { int byte; unsigned char mask; enum column_meaning means; } flags[COLUMNS_FLAGS_MAX];
	int flag_count;
};

/* The rules of the shipped dialect. */
extern const struct columns columns_14;

/* Do the rules hold together (columns inside the frame, no column twice, a unit)?
 * For files; on false *why says what does not. */
bool columns_check(const struct columns *c, struct fault *why);

/* The `understand` of every dialect that goes by columns; setting->rules has them. */
void columns_understand(const struct dialect_setting *setting, struct dialect_memory *memory,
                        const struct frame *f, struct understood *out);

#endif
