/* SPDX-License-Identifier: MIT */
/*
 * The fit: what is fitted at a position instead of what was there, as far as it is another
 * part than the sheet says.
 *
 *     sheet fit C7 kind=film tolerance=5% rated=630V
 *
 * A replacement is judged by its own specification, its place by the sheet.  So a fit says
 * kind, nominal (or marking), tolerance, rated, max, part (its number, for the order),
 * price and note; what belongs to the place stays with the sheet: role, with, channel,
 * twin, source, and the service limit.
 *
 * A cell that the fit does not say is that of the sheet, but:
 *   - a tolerance is what the old part was sold to: it does not count where the fit is of
 *     another kind, or has a marking that says one; then the default of the kind does, and
 *     the verdict says `assumed`;
 *   - max does not count where the fit is rated in watts;
 *   - part and note are those of the old part; the sheet's price is what a new one costs.
 */
#ifndef TALLY_RECORD_FIT_H
#define TALLY_RECORD_FIT_H

#include "protocol/record/record.h"

/* The cells of a fit stand in `written` of a sheet row; nothing else of it counts. */

/* Set a cell as `sheet fit POSITION key=value` does; an empty value takes it out.  False
 * with the fault where the key is none of a fit, or the whole makes no sense; the fault's
 * column then counts from the start of `value` (0: all of it). */
bool fit_set(struct sheet_row *fit, const struct sheet_row *sheet, const char *key,
             const char *value, struct fault *why);

bool fit_empty(const struct sheet_row *fit);

/* The position with that part in it: what its replacement is judged by.  False where the
 * cells of both together make no sense. */
bool fit_over(const struct sheet_row *sheet, const struct sheet_row *fit, struct sheet_row *out,
              struct fault *why);

/* ---- its record ---- */

struct fit_body {
	char job[JOB_SIZE];
	char position[NAME_SIZE];
	/* Borrowed by the writer.  fit NULL: it is taken back; over: as fit_over has it. */
	const struct sheet_row *fit, *over;
	/* What the cells that it says, or no longer says, were before: the fit before, else
	 * the sheet.  The writer takes both; `before` may be NULL. */
	const struct sheet_row *before, *sheet;
	struct record_ref lot; /* the `part` record of the loose part that it is; writing only */
	bool none; /* after reading: it was taken back */
	struct asked_by by;
};
void fit_body_write(struct text *out, const struct fit_body *b);
/* `fit` gets the cells; what they mean depends on the sheet (fit_over). */
bool fit_body_read(const char *text, size_t len, struct fit_body *b, struct sheet_row *fit);

/* ---- another name for a position ---- */

/* From here on `from` is called `position`; its row, and those that name it, follow in the
 * same transaction.  What was sealed under the old name stays as it is, and belongs to it. */
struct rename_body {
	char job[JOB_SIZE];
	char position[NAME_SIZE], from[NAME_SIZE];
	struct asked_by by;
};
void rename_body_write(struct text *out, const struct rename_body *b);
bool rename_body_read(const char *text, size_t len, struct rename_body *b);

#endif
