/* SPDX-License-Identifier: MIT */
/*
 * An exact decimal number: n times ten to the power e.
 *
 * The digits that a meter sends are the digits that are sealed, shown and
 * compared with limits, so they never pass through binary floating point:
 * 0.345 uF is 345 times ten to the minus nine, and stays so.  The exponent also
 * says what the last digit weighs, which is the one thing that floating point
 * forgets: 1.00 and 1.0 are different measurements.
 *
 * Values are plain structs, copied freely.  Nothing here allocates, keeps
 * state or depends on the locale.
 */
#ifndef TALLY_TRADE_DECIMAL_H
#define TALLY_TRADE_DECIMAL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* No quantity on a bench needs more; what lies outside is refused, so that
 * aligning two decimals is always defined (see decimal_compare). */
#define DECIMAL_EXP_MIN (-40)
#define DECIMAL_EXP_MAX 40
/* At most 18 significant digits: they fit int64_t with room for a sign. */
#define DECIMAL_DIGITS_MAX 18
/* Room for the longest text that decimal_text or decimal_plain writes. */
#define DECIMAL_TEXT_SIZE 64

struct decimal {
	int64_t n; /* the digits, with the sign */
	int e;     /* the power of ten that the last digit weighs */
};

/*
 * Read a number at `text`, at most `len` bytes: an optional sign, digits with
 * at most one point (at least one digit), and an optional exponent (e or E, an
 * optional sign, digits).  The last digit weighs what it is written to weigh:
 * "4.70" gives n 470, e -2.
 *
 * Returns the number of bytes read, 0 where no number stands there or where it
 * does not fit (more than 18 significant digits, exponent out of range; zeros
 * beyond the 18th significant digit are dropped when they change nothing but
 * the weight).
 */
size_t decimal_read(const char *text, size_t len, struct decimal *out);

/* The whole of `text` must be one number. */
bool decimal_parse(const char *text, size_t len, struct decimal *out);

/* Nearest double (through the decimal text, so correctly rounded). */
double decimal_double(struct decimal d);

/* The decimal nearest to `x` with `figures` significant figures (1 to 17);
 * fewer where they would weigh less than 10^DECIMAL_EXP_MIN.  0 for NaN, the
 * infinities and what is too large or too small. */
struct decimal decimal_from_double(double x, int figures);

/* -1, 0 or 1; exact for all values. 1.0 equals 1.00. */
int decimal_compare(struct decimal a, struct decimal b);

/* The same value with trailing zeros taken into the exponent (0 gives 0e0). */
struct decimal decimal_strip(struct decimal d);

/* The same value written with its last digit weighing ten to the `e`.
 * Returns false (and leaves *out) where digits would be lost or overflow. */
bool decimal_rescale(struct decimal d, int e, struct decimal *out);

/* Exact sum, difference and product; false where the result does not fit. */
bool decimal_add(struct decimal a, struct decimal b, struct decimal *out);
bool decimal_subtract(struct decimal a, struct decimal b, struct decimal *out);
bool decimal_multiply(struct decimal a, struct decimal b, struct decimal *out);

/* Plain positional text without exponent: "0.345", "-12000".  Digits after the
 * point as many as -e (trailing zeros kept), zeros filled in where e > 0.
 * `out` needs room for |e| + 22 bytes; DECIMAL_TEXT_SIZE is enough for any. */
size_t decimal_plain(struct decimal d, char *out, size_t size);

/* A JSON number with exactly this value, short: integers up to 15 digits
 * plain ("12000", "0"), others plain where the point stands within 4 zeros of
 * the digits ("0.345", "0.00012"), else one digit before the point and an
 * exponent ("3.45e-07", two exponent digits at least).  Trailing zeros of a
 * fraction are dropped: the weight of the digit is carried beside the value. */
size_t decimal_json(struct decimal d, char *out, size_t size);

#endif
