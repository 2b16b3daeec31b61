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
 * First the positions, as sheet_names.h says: a name, or many with ranges.  Further ones
 * behind a space have the letters of the last one (`R1 R2 R5-R7 100k`).
 * Then, in any order and parted by spaces:
 *   - a kind: its name in a sheet, or cc cf mf ww pot el pp (film) cer;
 *   - values, which begin with a digit, a point or a sign (and n47, M47): the first is the
 *     nominal (a unit may stand apart: 285 V); with V on a kind that is not measured in volts
 *     it is what the part is rated for, with W what it may dissipate; 47u/450V says both;
 *     three or more colours are the bands of a part;
 *   - a tolerance: with %, or beginning with +- or >= or <=; `-10 +10 %` too;
 *   - key=value for any column of a sheet, or for the limit of another quantity
 *     (esr=<=3, leakage=<=10uA); a value with spaces in double quotes; valve=A17 is the own
 *     number of the valve in that socket (V3A,V3B valve=A17: both halves of it);
 *   - every other word belongs to the role, in quotes or without.  What begins with a digit
 *     and is no value is a fault and no role.  Commas may part the words.
 * What follows # is a remark.  The cells are then understood by the rules of sheet.h.
 *
 * Slips of the hand, and what spreadsheets make of a line:
 *   - characters as sheet_plain.h says (R1 - R6 with any dash, no-break spaces);
 *   - r12 is R12, where the letters mean a kind of part;
 *   - a comma is a point where it can be nothing else: 4,7k; 10,000 is refused;
 *   - units in any case: uf, PF, MFD, mmf, Kohm, VDC, volts, watt;
 *   - 8+8u and 2x100k are the values of sections: as many names must stand before them
 *     (C9A,C9B 8+8u), each gets its own, and `part` joins them where it is not given;
 *   - what is surely no name (R1-C5, R1-R6-R9), no part (-5 ohm), no role (<2k) is refused;
 *   - a sign that stands alone, and R47 behind a name (0.47 ohm, or one more name?), are
 *     refused, with what to write instead.
 */
#ifndef TALLY_RECORD_SHEET_ENTRY_H
#define TALLY_RECORD_SHEET_ENTRY_H

#include "protocol/record/sheet.h"
#include "protocol/record/sheet_names.h"

#define ENTRY_LINE_MAX 4096 /* bytes of a line; a longer one is refused */

/*
 * One line; each() gets the row of every position, in order.  An empty line, or one
 * with nothing but a remark, gives none.  On a fault the column is that byte of the
 * line, and each() may have been called for some rows already.
 */
bool sheet_entry_parse(const char *line, size_t len,
                       bool (*each)(void *arg, const struct sheet_row *row, struct fault *why),
                       void *arg, struct fault *why);

/* The same, each() with the byte of the line where the name or its range begins. */
bool sheet_entry_read(const char *line, size_t len,
                      bool (*each)(void *arg, const struct sheet_row *row, size_t at,
                                   struct fault *why),
                      void *arg, struct fault *why);

/*
 * The words of a value as a cell of a parts list has it (47u/450V, 100k 1W 5%, 0.1 uF
 * 400 V), put into the empty cells of the row that has its name and kind.  False where
 * anything in it is no value, rating, tolerance or kind, or stands there already.
 */
bool sheet_entry_spread(struct sheet_row *row, const char *value, struct fault *why);

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
