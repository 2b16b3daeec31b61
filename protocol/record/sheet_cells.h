/* SPDX-License-Identifier: MIT */
/*
 * Inside this room only: what the cells of one row mean.
 */
#ifndef TALLY_RECORD_SHEET_CELLS_H
#define TALLY_RECORD_SHEET_CELLS_H

#include "protocol/record/sheet.h"

/* Is `name` (len bytes, any case) this column? */
bool column_is(const char *name, size_t len, const char *column);

/* Fill row->position from row->written.  On a fault *bad is the column whose cell
 * is at fault, and why->column the byte in it, 0 for the whole cell. */
bool row_understand(struct sheet_row *row, enum sheet_column *bad, struct fault *why);

#endif
