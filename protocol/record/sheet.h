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
 * whole, with file, line and column.
 *
 * What RFC 4180 leaves open, and what is stricter:
 *   - Cells are parted by commas, or by semicolons or tabs where more of these stand in the
 *     first row (or a line `sep=;` before it says so); then 4,7k is 4.7k.  With semicolons
 *     10,000 is ten and 10.000 is refused; with tabs 10,000 is refused.
 *   - Spaces around a cell are dropped, inside quotes too.  Every row has as many cells as the first.
 *   - Empty lines, and rows whose cells are all empty (spreadsheets leave such at
 *     the end), are passed over.  A column without a name is passed over while its
 *     cells are empty.
 *   - Line breaks stand in quoted cells of `note` and of unknown columns only.
 *   - A cell of `position` may name many that are alike: R1,R2,R5-R7 (sheet_names.h); what
 *     could be one name, such as V1-2, is one.  The letters must stand on both sides.
 *   - No-break spaces, dashes and the like are read as sheet_plain.h says, but in role,
 *     channel, part, price and note.
 *   - A nominal may have rating and tolerance with it, where their cells are empty:
 *     47u/450V, 100k 1W 5%.
 *   - A file without a column `position` is a parts list: sheet_map.h.
 *   - Refused: control characters other than tab, a carriage return alone at the
 *     end of a row, bytes that are not UTF-8.
 *
 * What the cells mean:
 *   - nominal: see quantity_parse.  Without a unit it has the one of the kind; a
 *     reference or other needs its unit.  What quantity_parse does not read may be a
 *     marking as it stands on the part (104K, .047/400, brown black yellow), and so is
 *     a capacitor's bare number (.047 is 47 nF; on an electrolytic 8 is 8 uF); it must
 *     mean one value only (100 does not), and its tolerance counts where that cell is
 *     empty.  A column `marking` counts the same where the nominal is empty and it means
 *     one value only.  A rail, valve or heater may be given in
 *     what it is measured with (V, V AC, A, ohm).
 *   - rated: volts; in watts (`0.5 W`, `1/2W`) it is the limit of dissipation where
 *     `max` says nothing.
 *   - max: watts or amps; source: ohms.  All three above zero (source: not below).
 *   - with and twin name other positions of the sheet.
 *
 * The place of a fault: line, and column in bytes from 1, a byte order mark not
 * counted.  Inside a value it is the very byte, else the byte at which the cell
 * begins (its quote, where it has one); for a row with too few cells its end.
 */
#ifndef TALLY_RECORD_SHEET_H
#define TALLY_RECORD_SHEET_H

#include "protocol/record/text.h"
#include "protocol/trade/fault.h"
#include "protocol/trade/position.h"

#define SHEET_ROWS_MAX 4096
#define SHEET_EXTRA_MAX 16 /* unknown columns */
#define SHEET_CELL_SIZE 160 /* of a cell with its NUL; a longer one is a fault */
#define SHEET_NAME_SIZE 32 /* of a column's name */

enum sheet_column {
	SHEET_POSITION, SHEET_KIND, SHEET_NOMINAL, SHEET_TOLERANCE, SHEET_SERVICE,
	SHEET_RATED, SHEET_ROLE, SHEET_WITH, SHEET_CHANNEL, SHEET_TWIN, SHEET_PART,
	SHEET_SOURCE, SHEET_MAX, SHEET_PRICE, SHEET_NOTE, SHEET_COLUMNS
};
extern const char *const sheet_column_name[SHEET_COLUMNS];

/* A position with what the technician wrote, beside what was understood. */
struct sheet_row {
	struct position position;
	/* The cells of known columns as written, "" where empty.  A twin that only the
	 * other row names stands in position.twin alone. */
	char written[SHEET_COLUMNS][SHEET_CELL_SIZE];
	/* Unknown columns: name and cell, "" where empty. */
	int extras;
	char extra_name[SHEET_EXTRA_MAX][SHEET_NAME_SIZE];
	char extra_cell[SHEET_EXTRA_MAX][SHEET_CELL_SIZE];
	/* The kind by what was measured there, its name; "" where that taught nothing.  It
	 * counts where neither the cell nor the letters of the position say one. */
	char learnt[24];
};

/*
 * Read a whole sheet.  each() is called for every row only after the whole file
 * was found good, in the file's order; it may still refuse (the place of the
 * position is added where it set no line).  Returns false with the fault
 * otherwise.  A sheet with no rows but the first is a good one.
 *
 * Checks across rows: a position given twice; a twin or `with` that names a
 * position that is not in the sheet, or itself.  A twin that is not mutual is made
 * so where the other names none, and is a fault where it names a third.
 *
 * `file` is its name for faults.  Takes memory by the number of rows (about 200
 * bytes each) while it runs.
 */
bool sheet_parse(const char *file, const char *text, size_t len,
                 bool (*each)(void *arg, const struct sheet_row *row, struct fault *why), void *arg,
                 struct fault *why);

/*
 * Set one field of a row as `sheet set POSITION key=value` does, and understand
 * it anew; an empty value clears the field.  `key` is the name of a column, in any
 * case, or of an unknown column that the row has; not `position`.  The row is
 * unchanged on a fault; the fault's column then counts from the start of `value`
 * (0: the whole of it).  Whether the positions that `with` and `twin` name exist,
 * and that the twin names this one, is the caller's affair.
 */
bool sheet_set(struct sheet_row *row, const char *key, const char *value, struct fault *why);

/*
 * The same with a marking as it stands on the part: `104K`, `4K7`, `.047/400`, `brown black
 * yellow`.  It becomes the nominal, as it is written where a nominal of those letters means
 * that value, else as the value; a tolerance that is marked counts where none is written.
 * Refused where it can mean more than one value on a part of that kind.
 */
bool sheet_mark(struct sheet_row *row, const char *marking, struct fault *why);

/* Another name for the position.  Its kind follows from the new letters where no cell says
 * it; refused where the other cells then make no sense. */
bool sheet_rename(struct sheet_row *row, const char *name, struct fault *why);

/* Where `with`, `twin` or `part` of the row say `old`, they say `name`.  True where any
 * did. */
bool sheet_follow(struct sheet_row *row, const char *old, const char *name);

/* The kind, learnt from the function that measured it (FUNCTION_NONE: unlearnt).  True
 * where the row is another by it: its kind is `other`, nothing but name, channel, twin,
 * note or part is written, and that function tells a kind. */
bool sheet_learn(struct sheet_row *row, enum function f);

/* A row with nothing but a name; the kind follows from its letters. */
bool sheet_bare(struct sheet_row *row, const char *name, struct fault *why);

/*
 * The row as a JSON object text, for position records and answers (protocol/SEAL.md,
 * `position`): `written` has the cells under their column names (empty ones left
 * out), `extra` those of unknown columns, and beside them stands what was
 * understood: kind, function, nominal (SI number), limits, service and so on.
 *
 * And back: the cells are understood anew; where today's rules understand another
 * kind, function, nominal or limit than the object says, that is a fault, so that
 * no sealed sheet changes its meaning unnoticed.
 */
void sheet_row_write(struct text *out, const struct sheet_row *row);
bool sheet_row_read(struct slice object, struct sheet_row *row, struct fault *why);

#endif
