/* SPDX-License-Identifier: MIT */
/*
 * Lines of a sheet, as they are said back: what was understood, and where a fault lies.
 */
#ifndef TALLY_CLIENT_TYPED_H
#define TALLY_CLIENT_TYPED_H

#include "client/words.h"
#include "protocol/record/sheet_entry.h"

/*
 * Rows that follow each other and are alike but for their names are one line:
 * "R1-R6,R9: 7 x resistor, 100 kohm, 5%".  Start from {.style = ..., .out = ...}.
 */
struct typed_rows {
	const struct style *style;
	struct lines *out;
	struct sheet_row first; /* of the ones that are gathered */
	char (*names)[NAME_SIZE];
	int count, size;
	int rows; /* all of them so far */
};
void typed_row(struct typed_rows *t, const struct sheet_row *row);
void typed_rows_end(struct typed_rows *t); /* the last of them */
void typed_rows_free(struct typed_rows *t);

/* The line, and a mark below the byte `column` (1 the first). */
void typed_mark(struct slice line, int column, const char *before, struct lines *out);

#endif
