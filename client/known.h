/* SPDX-License-Identifier: MIT */
/*
 * What can stand at the cursor of a line of a sheet: names of positions, kinds, roles,
 * keys, for completion with Tab.
 *
 *   the first word   the next number that is free: `R` after R1-R6 is R7
 *   with= twin=      the positions of the sheet
 *   part= channel=   what was used already; valve=, the own number of a valve, too
 *   kind=            the kinds
 *   elsewhere        kinds, keys (tolerance= ...), roles of the trade, words that were used
 */
#ifndef TALLY_CLIENT_KNOWN_H
#define TALLY_CLIENT_KNOWN_H

#include "client/lines.h"
#include "protocol/record/sheet.h"

struct known {
	char (*names)[NAME_SIZE]; /* positions, in the order of the sheet */
	int count, size;
	char (*words)[SHEET_CELL_SIZE]; /* roles, parts, channels; "part=can1" for those */
	int word_count, word_size;
};

void known_free(struct known *k);
/* A row that is in the sheet.  Without memory it is not remembered. */
void known_add(struct known *k, const struct sheet_row *row);

/*
 * What the word that ends at byte `at` of the line may become, a line each, with what
 * belongs behind it (a space, or nothing after `=`).  `*from` is where the word begins.
 * Returns how many there are.
 */
int known_complete(const struct known *k, const char *line, size_t at, size_t *from,
                   struct lines *out);

/* How far all lines of such a list agree. */
size_t known_common(const char *list);

#endif
