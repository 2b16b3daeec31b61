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
 * Where a thing stands is a field: a whole byte, or bits gathered from any bytes, so
 * that meters fit which send the segments of their display.  Every field must hold
 * what the rules say, every flag bit that is set must be known, and all of it must
 * make sense together: one unit; at most one prefix, and one that goes with the unit;
 * AC or DC with volts and amperes and with nothing else.  Else the frame is not
 * understood.  That is all the redundancy that such a format has, and all of it is
 * used.
 */
#ifndef TALLY_METER_COLUMNS_H
#define TALLY_METER_COLUMNS_H

#include "protocol/meter/dialect.h"

#define COLUMNS_FLAGS_MAX 96
#define COLUMNS_DIGITS_MAX 9
#define COLUMNS_CODES_MAX 160
#define COLUMNS_TABLES_MAX 12
#define COLUMNS_SHAPES_MAX 32
#define COLUMNS_FIXED_MAX 16
#define COLUMNS_OVERLOADS_MAX 4
#define COLUMNS_BITS_MAX 8

/* What a flag bit means.  ALWAYS is a bit that is always set, IGNORE one that carries
 * nothing; a bit by which nothing is said is always clear. */
#define COLUMN_MEANING_LIST(X)                                                            \
	X(VOLT, "volt") X(AMP, "amp") X(OHM, "ohm") X(FARAD, "farad") X(HENRY, "henry")       \
	X(HERTZ, "hertz") X(CELSIUS, "celsius") X(PERCENT, "percent") X(DIODE, "diode")       \
	X(PICO, "pico") X(NANO, "nano") X(MICRO, "micro") X(MILLI, "milli") X(KILO, "kilo")   \
	X(MEGA, "mega") X(GIGA, "giga") X(AC, "ac") X(DC, "dc") X(OVERLOAD, "overload")       \
	X(UNDER, "under") X(HOLD, "hold") X(LOW_BATTERY, "low-battery")                       \
	X(RELATIVE, "relative") X(MINMAX, "min-max") X(MINUS, "minus") X(POINT, "point")      \
	X(ALWAYS, "always") X(IGNORE, "ignore")

enum column_meaning {
#define X(id, word) COLUMN_##id,
	COLUMN_MEANING_LIST(X)
#undef X
	    COLUMN_MEANINGS
};
/* POINT is found by its word alone; how many digits stand before it is the caller's. */
bool column_meaning_find(const char *word, size_t len, enum column_meaning *out);

/* A whole byte, or bits with the most significant first. */
struct column_field {
	int column; /* -1: no such field; counts where bits is 0 */
	int bits;
	struct {
		short byte;
		unsigned char mask; /* one bit; 0x01 is bit 0 */
	} bit[COLUMNS_BITS_MAX];
};

/* Codes of one field: of the function, or of the range, which tells how many digits
 * stand before the point and which prefix the unit has. */
struct column_table {
	enum function function; /* of a range: for this function; FUNCTION_NONE for all others */
	struct column_field field;
	int first, count; /* in `codes` */
};
struct column_code {
	unsigned char code;
	signed char before; /* digits before the point; -1: as many as there are */
	signed char prefix; /* power of ten */
	enum function function;
};

struct column_flag {
	short byte;
	unsigned char mask;
	enum column_meaning means;
	signed char before; /* of POINT */
};

struct columns {
	int size;
	int sign;                /* column of + - or space; -1: a flag says minus */
	int digits;
	struct column_field digit[COLUMNS_DIGITS_MAX]; /* the most significant first */
	/* What gathered bits look like; with none they are the digit's number.  Digits
	 * that are whole bytes are the character itself. */
	struct { unsigned char code; char shape; } shapes[COLUMNS_SHAPES_MAX];
	int shape_count;
	bool blanks;             /* leading digits may be spaces */
	char overload[COLUMNS_OVERLOADS_MAX][COLUMNS_DIGITS_MAX + 1]; /* what the digits read then */
	int overloads;
	bool has_function;
	struct column_table function;
	struct column_table range[COLUMNS_TABLES_MAX];
	int ranges;
	struct column_code codes[COLUMNS_CODES_MAX];
	int code_count;
	bool numbered;           /* high nibbles count the bytes, 1 the first */
	struct { short at; char byte; } fixed[COLUMNS_FIXED_MAX]; /* bytes that never change */
	int fixed_count;
	struct column_flag flags[COLUMNS_FLAGS_MAX];
	int flag_count;
	/* The bits that something is said by; all others are always clear.  Follows from the
	 * rest (columns_know). */
	unsigned char known[FRAME_MAX];
};

/* The rules of the shipped dialect. */
extern const struct columns columns_14;

/* Fills `known` when all else is there. */
void columns_know(struct columns *c);

/* Does a flag or a code say the unit?  Else the configuration must. */
bool columns_say_unit(const struct columns *c);

/* The `understand` of every dialect that goes by columns; setting->rules has them,
 * and every column in them lies inside the frame (the loader of files sees to it). */
void columns_understand(const struct dialect_setting *setting, struct dialect_memory *memory,
                        const struct frame *f, struct understood *out);

#endif
