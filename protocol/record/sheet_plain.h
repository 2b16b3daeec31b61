/* SPDX-License-Identifier: MIT */
/*
 * What people and spreadsheets write, as the plain characters that a sheet is read in.
 *
 *   no-break and other wide or narrow spaces           a space
 *   hyphens, dashes, the minus sign (U+2010-2015, U+2212)   -
 *   typographic quotes                                 "
 *   the three dots in one (U+2026)                     ..
 *   the multiplication sign                            x
 *   one half, a quarter, an eighth                     1/2 1/4 1/8
 *   at least, at most (U+2265, U+2264), +/-            >= <= +-
 *   zero width space, soft hyphen, byte order mark     nothing
 *
 * All else stays as it is, the micro and ohm signs too.  What stands in double quotes
 * is the person's own text: there only the quotes are changed.
 */
#ifndef TALLY_RECORD_SHEET_PLAIN_H
#define TALLY_RECORD_SHEET_PLAIN_H

#include "protocol/trade/fault.h"

#include <stdbool.h>
#include <stddef.h>

/* Writes the plain text with a NUL; returns its length, or `size` where it does not
 * fit (nothing is to be made of `out` then). */
size_t plain_text(const char *in, size_t len, char *out, size_t size);

/* The byte of `in` from which byte `at` of its plain text came; `len` behind its end. */
size_t plain_origin(const char *in, size_t len, size_t at);

/*
 * Make the commas between digits that can only be decimal points such: `4,7k` and
 * `,047` and `0,047`.  Refused, with the column: three digits behind it as in `10,000`,
 * which is ten here and ten thousand there, and a number that has a point, too.
 * `decimal`: the file says that its commas are decimal; then 10,000 is ten, and 10.000 is
 * what nobody can tell.
 */
bool comma_to_point(char *text, bool decimal, struct fault *why);

#endif
