/* SPDX-License-Identifier: MIT */
/*
 * Functions, quantities and units: what is measured, and how it is written.
 *
 * A *function* is what a meter is set to; a *quantity* is what is asked of a
 * position.  A capacitor's quantity `leakage` may be measured with function
 * volt-dc; its `value` only with farad.
 *
 * Values are SI base units throughout.  For people they are written in
 * engineering notation with the digits that the meter gave ("0.345 uF").  In
 * plain text micro is the letter u; a terminal that can may show the sign.
 */
#ifndef TALLY_TRADE_QUANTITY_H
#define TALLY_TRADE_QUANTITY_H

#include "protocol/trade/decimal.h"
#include "protocol/trade/fault.h"

/* name in JSON and files, unit as written for people, unit in words */
#define FUNCTION_LIST(X)                         \
	X(NONE, "none", "", "")                      \
	X(VOLT_DC, "volt-dc", "V", "volts")          \
	X(VOLT_AC, "volt-ac", "V", "volts ac")       \
	X(AMP_DC, "amp-dc", "A", "amps")             \
	X(AMP_AC, "amp-ac", "A", "amps ac")          \
	X(OHM, "ohm", "ohm", "ohms")                 \
	X(FARAD, "farad", "F", "farads")             \
	X(HENRY, "henry", "H", "henries")            \
	X(HERTZ, "hertz", "Hz", "hertz")             \
	X(CELSIUS, "celsius", "C", "degrees celsius") \
	X(DIODE, "diode", "V", "volts, diode test")  \
	X(PERCENT, "percent", "%", "percent")        \
	X(NUMBER, "number", "", "")

enum function {
#define X(id, name, unit, words) FUNCTION_##id,
	FUNCTION_LIST(X)
#undef X
	    FUNCTION_COUNT
};

#define QUANTITY_LIST(X)          \
	X(VALUE, "value")             \
	X(LEAKAGE, "leakage")         \
	X(ESR, "esr")                 \
	X(DISSIPATION, "dissipation") \
	X(INSULATION, "insulation")   \
	X(VOLTS, "volts")

enum quantity {
#define X(id, name) QUANTITY_##id,
	QUANTITY_LIST(X)
#undef X
	    QUANTITY_COUNT
};

/* Names are static strings; never NULL for a valid enumerator. */
const char *function_name(enum function f);
const char *function_unit(enum function f);
const char *function_words(enum function f);
bool function_from_name(const char *name, size_t len, enum function *out);

const char *quantity_name(enum quantity q);
bool quantity_from_name(const char *name, size_t len, enum quantity *out);

/* The power of ten of an SI prefix letter: p n u m k M G (and T); 0 for '\0'.
 * Returns false for any other letter. */
bool prefix_exponent(char letter, int *out);
/* The letter of a power of ten (multiples of 3 from -12 to 12), '\0' for 0. */
char prefix_letter(int exponent);

/*
 * Write a value for people: the digits of `value` as they stand (value.e is the
 * weight of the last digit), with the unit of `f` and the SI prefix whose power
 * of ten is `prefix` -- the one that the meter showed.  E.g. {345, -9}, farad,
 * prefix -6: "0.345 uF".  Functions without a unit give the bare number;
 * percent and celsius take no prefix.
 */
size_t quantity_shown(struct decimal value, enum function f, int prefix, char *out, size_t size);

/* The prefix (multiple of 3) that puts one to three digits before the point;
 * 0 for value 0 and for functions that take none. */
int quantity_prefix(struct decimal value, enum function f);

/*
 * A bound that nobody measured, for people: as quantity_shown with the prefix that makes it
 * readable.  Where no unit is known (a position of kind other: `>=20M`) and the bare number
 * would be 10000 or more, or less than 0.01, it has the prefix alone, as in a sheet: "20M".
 */
size_t bound_shown(struct decimal value, enum function f, char *out, size_t size);
/* That prefix; 0 for none. */
int bound_prefix(struct decimal value, enum function f);

/*
 * Read a value as technicians write it: `4k7`, `470n`, `0.47 uF`, `100 kohm`,
 * `1M`, `285 V`, `-35 V`, `0 V`, `R47`, `4R7`, `10 Mohm`, with the micro signs
 * U+00B5 and U+03BC and the ohm signs U+03A9 and U+2126 too.  Case counts where
 * SI says so: m is milli, M is mega (and so is meg); k and K are both kilo.  A
 * comma is not a point.  Also read: `5V6`, `6.3 V AC`, `3.45e-07`, a degree sign
 * before C, the minus sign U+2212.  Refused, for nobody may guess: `4E7` (4.7 ohm
 * or 40 million; `4e7` is read) and kilo- to terafarads (`0.1 MF` of old print
 * means micro).
 *
 * `hint` is the function that a text without a unit has (FUNCTION_OHM for a
 * resistor); FUNCTION_NONE where nothing is known, then *f is FUNCTION_NONE
 * unless a unit stands there (V gives volt-dc, A amp-dc).  A unit that
 * contradicts the hint is a fault.  The value is exact.  The fault's column
 * counts from the start of `text`, 1 the first byte.
 */
bool quantity_parse(const char *text, size_t len, enum function hint, struct decimal *value,
                    enum function *f, struct fault *why);

#endif
