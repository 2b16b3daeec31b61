/* SPDX-License-Identifier: MIT */
/*
 * A sheet typed from a schematic: a line for a position, or for many that are alike,
 * with no more than must be said.
 *
 *     R1-R6,R9 100k                    seven resistors
 *     R12 470k cc 10% anode V3         carbon composition, its role in words
 *     C7 0.1u paper 400V with=R14 twin=C17
 *     B+ 285 V >=270                   is no name: + does not belong to one
 *     RAIL1 285V +-10V
 *     V3
 *
 * First the positions, parted by commas: a name, or a range `R1-R6` or `R1-6` of at
 * most 500, leading zeros kept (`R01-R12`).  `B-1` is a name, for B has no number.
 * Then, in any order and parted by spaces:
 *   - a kind: its name in a sheet, or cc cf mf ww pot el pp (film) cer;
 *   - values, which begin with a digit, a point or a sign: the first is the nominal (a
 *     unit may stand apart: 285 V); with V on a kind that is not measured in volts it
 *     is what the part is rated for, with W what it may dissipate;
 *   - a tolerance: with %, or beginning with +- or >= or <=; `-10 +10 %` too;
 *   - key=value for any column of a sheet; a value with spaces in double quotes;
 *   - every other word belongs to the role.  What begins with a digit and is no value
 *     is a fault and no role.
 * What follows # is a remark.  The cells are then understood by the rules of sheet.h.
 */
#ifndef TALLY_RECORD_SHEET_ENTRY_H
#define TALLY_RECORD_SHEET_ENTRY_H

#include "protocol/record/sheet.h"

#define ENTRY_RANGE_MAX 500 /* positions of one line */

/*
 * Calls each() with every name of `R1-R6,R9`, in order; it may refuse.  The fault's
 * column counts from the start of `text`, 1 the first byte.
 */
bool names_expand(const char *text, size_t len,
                  bool (*each)(void *arg, const char *name, struct fault *why), void *arg,
                  struct fault *why);

/*
 * One line; each() gets the row of every position, in order.  An empty line, or one
 * with nothing but a remark, gives none.  On a fault the column is that byte of the
 * line, and each() may have been called for some rows already.
 */
bool sheet_entry_parse(const char *line, size_t len,
                       bool (*each)(void *arg, const struct sheet_row *row, struct fault *why),
                       void *arg, struct fault *why);

/* The name with its last number raised by `by`, as many digits as it had: R7 and 100
 * give R107, C7a gives C107a.  False where it has no number, or would fall below
 * zero or not fit. */
bool name_shift(const char *name, int by, char out[NAME_SIZE]);

/* `left` and `right`, `l` `r`, `a` `b`, `1` `2`, `red` `white`: the name of the other
 * channel, in the case of the first letter; "" where nobody can say. */
void channel_other(const char *channel, char out[16]);

/*
 * The same place in the other channel: the row with its name shifted, the twin of the
 * one it came from.  `with` follows where `mirrored` says that that position is
 * mirrored, too; a price and a note do not.
 */
bool sheet_mirror_row(const struct sheet_row *row, int by,
                      bool (*mirrored)(void *arg, const char *name), void *arg,
                      struct sheet_row *out, struct fault *why);

#endif
