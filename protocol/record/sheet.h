/* SPDX-License-Identifier: MIT */
/*
 * Sheets: the list of positions of a job, as CSV (RFC 4180, UTF-8 with or
 * without a byte order mark, LF or CR LF).
 *
 * The first row names the columns, in any order and any case:
 *   position,kind,nominal,tolerance,service,rated,role,with,channel,twin,part,
 *   source,max,price,note
 * Only `position` is compulsory; the kind follows from its letters.  Unknown
 * columns are kept and shown, not dropped.  A sheet with any fault is refused
 * whole, with file, line and column (the byte at which the cell begins).
 */
#ifndef TALLY_RECORD_SHEET_H
#define TALLY_RECORD_SHEET_H

#include "protocol/record/text.h"
#include "protocol/trade/fault.h"
#include "protocol/trade/position.h"

#define SHEET_ROWS_MAX 4096
#define SHEET_EXTRA_MAX 16

/* A position with what the technician wrote, beside what was understood. */
struct sheet_row {
	struct position position;
	/* The cells of known columns as written, "" where empty; index by sheet_column. */
	char written[15][96];
	/* Unknown columns: name and cell. */
	int extras;
	char extra_name[SHEET_EXTRA_MAX][32];
	char extra_cell[SHEET_EXTRA_MAX][96];
};

enum sheet_column {
	SHEET_POSITION, SHEET_KIND, SHEET_NOMINAL, SHEET_TOLERANCE, SHEET_SERVICE,
	SHEET_RATED, SHEET_ROLE, SHEET_WITH, SHEET_CHANNEL, SHEET_TWIN, SHEET_PART,
	SHEET_SOURCE, SHEET_MAX, SHEET_PRICE, SHEET_NOTE, SHEET_COLUMNS
};
extern const char *const sheet_column_name[SHEET_COLUMNS];

/* Read a whole sheet.  each() is called for every row only after the whole file
 * was found good, in the file's order; returns false with the fault otherwise.
 * Checks across rows: a position given twice; a twin or `with` that names a
 * position that is not in the sheet is a fault too; a twin that is not mutual is
 * made so where the other names none, and a fault where it names a third. */
bool sheet_parse(const char *file, const char *text, size_t len,
                 bool (*each)(void *arg, const struct sheet_row *row, struct fault *why), void *arg,
                 struct fault *why);

/* Set one field of a row as `sheet set POSITION key=value` does, and understand
 * it anew; an empty value clears the field.  The row is unchanged on a fault. */
bool sheet_set(struct sheet_row *row, const char *key, const char *value, struct fault *why);

/* A row with nothing but a name; the kind follows from its letters. */
bool sheet_bare(struct sheet_row *row, const char *name, struct fault *why);

/* The row as a JSON object text, for position records and answers: `written`
 * cells under their column names (empty ones left out), what was understood
 * beside them: kind, function, nominal (SI number), limits.  And back. */
void sheet_row_write(struct text *out, const struct sheet_row *row);
bool sheet_row_read(struct slice object, struct sheet_row *row, struct fault *why);

#endif
