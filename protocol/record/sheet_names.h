/* SPDX-License-Identifier: MIT */
/*
 * Names of positions, one or many at once, as they stand in schematics, parts lists
 * and on command lines.
 *
 *     R1-R6,R9      R1-6, R9      R1 R2 R5-R7      R1;R2;R5..R7      R1,2,5-7      R1 to R6
 *
 * Names are parted by commas, semicolons or spaces (spaces only where each has letters
 * and a number).  A range has the same letters on both sides, or none on the right;
 * leading zeros are kept (R01-R12); it has at most ENTRY_RANGE_MAX positions.  C9A-C9C are
 * the sections of C9: a range of one last letter, written out at both ends.  `B-1`
 * is a name, for B has no number.  A number alone behind a name has its letters.
 * Dashes and spaces may be those of a spreadsheet (see sheet_plain.h).
 */
#ifndef TALLY_RECORD_SHEET_NAMES_H
#define TALLY_RECORD_SHEET_NAMES_H

#include "protocol/trade/fault.h"
#include "protocol/trade/position.h"

#define ENTRY_RANGE_MAX 500  /* positions of one range */
#define NAMES_TEXT_MAX 4096  /* bytes of one list of names; a longer one is refused */

/*
 * Calls each() with every name of the text, in order, and the byte of the text at which
 * it or its range begins (0 the first); each() may refuse.  The fault's column counts from
 * the start of `text`, 1 the first byte; where each() refused it is that of the name, or the
 * column that each() said.
 */
bool names_each(const char *text, size_t len,
                bool (*each)(void *arg, const char *name, size_t at, struct fault *why), void *arg,
                struct fault *why);

/* The same without the places. */
bool names_expand(const char *text, size_t len,
                  bool (*each)(void *arg, const char *name, struct fault *why), void *arg,
                  struct fault *why);

/*
 * Is this cell of a sheet more than one name?  `lists`: in the words of a parts list,
 * where R1-6 is a range, too; a sheet of our own may have a position of that name.
 */
bool names_many(const char *cell, bool lists);

/* Letters, then a number: R12, VR3a, L/R7. */
bool name_numbered(const char *text, size_t len);

/*
 * The shortest text of these names that names_expand reads back: R1-R6,R9.  Returns its
 * length; 0 where it does not fit, or where a name cannot stand in a list (one that
 * looks like a range itself, a bare number behind another name).
 */
size_t names_print(const char (*names)[NAME_SIZE], size_t n, char *out, size_t size);

/* `r12`, `c7a` and the like typed in a hurry: R12, C7a.  Only where the letters are one or
 * two and mean a kind of part; all else stays as it is. */
void name_raise(const char *name, char out[NAME_SIZE]);

/* The name with its last number raised by `by`, as many digits as it had: R7 and 100
 * give R107, C7a gives C107a.  False where it has no number, or would fall below
 * zero or not fit. */
bool name_shift(const char *name, int by, char out[NAME_SIZE]);

#endif
