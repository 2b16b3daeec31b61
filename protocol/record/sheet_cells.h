/* SPDX-License-Identifier: MIT */
/*
 * Inside this room only: what the cells of one row mean.
 */
#ifndef TALLY_RECORD_SHEET_CELLS_H
#define TALLY_RECORD_SHEET_CELLS_H

#include "protocol/record/sheet.h"

/* False, with a fault at byte `at` of a cell or a line, 0 the first. */
bool cell_refuse(struct fault *why, size_t at, const char *what);

/* Without the blanks around it: where it begins, and *len bytes of it. */
const char *cell_trim(const char *value, size_t *len);

/* Bytes that may stand in a sheet: UTF-8 without control characters but the tab; line
 * breaks only where `breaks` says so. */
bool cell_bytes_fit(const char *value, size_t len, bool breaks, struct fault *why);

/* Is `name` (len bytes, any case) this column? */
bool column_is(const char *name, size_t len, const char *column);

/* Fill row->position from row->written.  On a fault *bad is the column whose cell
 * is at fault, and why->column the byte in it, 0 for the whole cell. */
bool row_understand(struct sheet_row *row, enum sheet_column *bad, struct fault *why);

#endif
