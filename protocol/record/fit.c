/* SPDX-License-Identifier: MIT */
/* What is fitted instead: see fit.h. */
#include "protocol/record/fit.h"

#include "protocol/record/kinds.h"
#include "protocol/record/sheet_cells.h"
#include "protocol/record/sheet_words.h"

#include <stdio.h>
#include <string.h>

/* What a part says of itself; the rest of the row is the place's. */
static const enum sheet_column fit_columns[] = {
    SHEET_KIND, SHEET_NOMINAL, SHEET_TOLERANCE, SHEET_RATED,
    SHEET_MAX,  SHEET_PART,    SHEET_PRICE,     SHEET_NOTE,
};
#define FIT_COLUMNS (sizeof fit_columns / sizeof fit_columns[0])

/* ---- both together ---- */

static bool is_watts(const char *cell)
{
	size_t len = strlen(cell);
	return len && (cell[len - 1] == 'W' || cell[len - 1] == 'w');
}

/* Understand a row with one cell and the kind alone: does its nominal bring a tolerance? */
static bool marked_tolerance(const struct sheet_row *sheet, const struct sheet_row *fit)
{
	struct sheet_row one = {0};
	enum sheet_column bad;
	struct fault ignored;
	memcpy(one.written[SHEET_POSITION], sheet->written[SHEET_POSITION], SHEET_CELL_SIZE);
	snprintf(one.written[SHEET_KIND], SHEET_CELL_SIZE, "%s",
	         fit->written[SHEET_KIND][0] ? fit->written[SHEET_KIND]
	                                     : kind_name(sheet->position.kind));
	memcpy(one.written[SHEET_NOMINAL], fit->written[SHEET_NOMINAL], SHEET_CELL_SIZE);
	return row_understand(&one, &bad, &ignored) && one.position.tolerance.form != TOLERANCE_NONE;
}

/* Cells of the old part that say nothing of the new one. */
static void forget_old(const struct sheet_row *sheet, const struct sheet_row *fit,
                       struct sheet_row *out)
{
	const char *kind = fit->written[SHEET_KIND];
	bool other_kind = kind[0] && strcmp(kind, kind_name(sheet->position.kind)) != 0;
	if (other_kind || (fit->written[SHEET_NOMINAL][0] && marked_tolerance(sheet, fit)))
		out->written[SHEET_TOLERANCE][0] = '\0';
	if (is_watts(fit->written[SHEET_RATED]))
		out->written[SHEET_MAX][0] = '\0';
	out->written[SHEET_PART][0] = out->written[SHEET_PRICE][0] = out->written[SHEET_NOTE][0] = '\0';
	/* A nominal that is a marking of the old part brings that part's tolerance along. */
	if (other_kind && !fit->written[SHEET_NOMINAL][0] && sheet->position.has_nominal)
		quantity_shown(sheet->position.nominal, sheet->position.function,
		               quantity_prefix(sheet->position.nominal, sheet->position.function),
		               out->written[SHEET_NOMINAL], SHEET_CELL_SIZE);
}

static bool understand(const struct sheet_row *sheet, const struct sheet_row *fit,
                       struct sheet_row *out, enum sheet_column *bad, struct fault *why)
{
	*out = *sheet;
	forget_old(sheet, fit, out);
	for (size_t i = 0; i < FIT_COLUMNS; i++)
		if (fit->written[fit_columns[i]][0])
			memcpy(out->written[fit_columns[i]], fit->written[fit_columns[i]], SHEET_CELL_SIZE);
	if (!row_understand(out, bad, why))
		return false;
	memcpy(out->position.twin, sheet->position.twin, sizeof out->position.twin);
	return true;
}

bool fit_over(const struct sheet_row *sheet, const struct sheet_row *fit, struct sheet_row *out,
              struct fault *why)
{
	enum sheet_column bad;
	return understand(sheet, fit, out, &bad, why);
}

bool fit_empty(const struct sheet_row *fit)
{
	for (size_t i = 0; i < FIT_COLUMNS; i++)
		if (fit->written[fit_columns[i]][0])
			return false;
	return true;
}

/* ---- by hand ---- */

static bool key_column(const char *key, enum sheet_column *out, struct fault *why)
{
	for (size_t i = 0; i < FIT_COLUMNS; i++)
		if (column_is(key, strlen(key), sheet_column_name[fit_columns[i]])) {
			*out = fit_columns[i];
			return true;
		}
	if (column_is(key, strlen(key), "valve")) {
		fault_set(why, "a valve's own number goes with the socket, for it moves to another one: sheet "
		          "set POSITION valve=...");
		return false;
	}
	for (int i = 0; i < SHEET_COLUMNS; i++)
		if (column_is(key, strlen(key), sheet_column_name[i])) {
			fault_set(why, "`%.40s` belongs to the place, whatever is fitted there: sheet set "
			          "POSITION %.40s=...", key, key);
			return false;
		}
	fault_set(why, "`%.40s` says nothing of a part: expected kind, nominal, marking, tolerance, "
	          "rated, max, part, price or note", key);
	return false;
}

/* The cells of the fit as a row of that place, and back. */
static bool set_marking(struct sheet_row *fit, const struct sheet_row *sheet, const char *value,
                        struct fault *why)
{
	struct sheet_row row;
	if (!fit_over(sheet, fit, &row, why))
		return false;
	row.written[SHEET_TOLERANCE][0] = row.written[SHEET_NOMINAL][0] = '\0';
	row.position.tolerance.form = TOLERANCE_NONE;
	if (!sheet_mark(&row, value, why))
		return false;
	memcpy(fit->written[SHEET_NOMINAL], row.written[SHEET_NOMINAL], SHEET_CELL_SIZE);
	if (!fit->written[SHEET_TOLERANCE][0])
		memcpy(fit->written[SHEET_TOLERANCE], row.written[SHEET_TOLERANCE], SHEET_CELL_SIZE);
	return true;
}

bool fit_set(struct sheet_row *fit, const struct sheet_row *sheet, const char *key,
             const char *value, struct fault *why)
{
	struct sheet_row changed = *fit, over;
	enum sheet_column column, bad = SHEET_POSITION;
	struct fault said = {0};
	size_t len;
	if (column_is(key, strlen(key), "marking") && value[0])
		return set_marking(fit, sheet, value, why);
	if (column_is(key, strlen(key), "marking"))
		key = sheet_column_name[SHEET_NOMINAL];
	if (!key_column(key, &column, why))
		return false;
	const char *kept = cell_trim(value, &len);
	int lead = (int)(kept - value);
	if (len >= SHEET_CELL_SIZE)
		return cell_refuse(why, SHEET_CELL_SIZE - 1, "too long: at most 159 bytes");
	if (!cell_bytes_fit(kept, len, column == SHEET_NOTE, &said)) {
		fault_at(why, NULL, 0, said.column + lead, "%s", said.text);
		return false;
	}
	memcpy(changed.written[column], kept, len);
	changed.written[column][len] = '\0';
	if (!understand(sheet, &changed, &over, &bad, &said) ||
	    slip_of_cell(&over, column, &bad, &said)) {
		bool here = said.column && bad == column;
		fault_at(why, NULL, 0, here ? said.column + lead : 0, "%s", said.text);
		return false;
	}
	*fit = changed;
	return true;
}

/* ---- the record ---- */

/* What stood in a column before, as it was written. */
static const char *cell_before(const struct fit_body *b, enum sheet_column c)
{
	if (b->before && b->before->written[c][0])
		return b->before->written[c];
	return b->sheet->written[c];
}

static bool says(const struct sheet_row *fit, enum sheet_column c)
{
	return fit && fit->written[c][0];
}

/* {"nominal":"0.1 uF", ...}: of every cell that it touches. */
static void write_replaced(struct text *out, const struct fit_body *b)
{
	const char *before = "{";
	text_member(out, "replaces");
	for (size_t i = 0; i < FIT_COLUMNS; i++) {
		enum sheet_column c = fit_columns[i];
		if (!says(b->fit, c) && !says(b->before, c))
			continue;
		const char *cell = cell_before(b, c), *name = sheet_column_name[c];
		/* A kind that no cell says is one all the same. */
		if (c == SHEET_KIND && !cell[0])
			cell = kind_name(b->sheet->position.kind);
		text_puts(out, before);
		text_string(out, name, strlen(name));
		text_puts(out, ":");
		if (cell[0])
			text_string(out, cell, strlen(cell));
		else
			text_puts(out, "null");
		before = ",";
	}
	text_puts(out, before[0] == '{' ? "{}" : "}");
}

void fit_body_write(struct text *out, const struct fit_body *b)
{
	text_member_string(out, "job", b->job);
	text_member_string(out, "position", b->position);
	if (b->fit) {
		/* Its own cells, and what the part is with those of the sheet beside them. */
		struct sheet_row row = *b->over;
		memcpy(row.written, b->fit->written, sizeof row.written);
		row.extras = 0;
		row.learnt[0] = '\0';
		row.position.service.form = TOLERANCE_NONE;
		row.position.has_source = false;
		row.position.role[0] = row.position.with[0] = '\0';
		row.position.channel[0] = row.position.twin[0] = '\0';
		text_member(out, "fit");
		sheet_row_write(out, &row);
	} else {
		text_member_null(out, "fit");
	}
	write_replaced(out, b);
	text_member_ref(out, "lot", b->lot);
	asked_by_write(out, &b->by);
}

bool fit_body_read(const char *text, size_t len, struct fit_body *b, struct sheet_row *fit)
{
	*b = (struct fit_body){0};
	*fit = (struct sheet_row){0};
	struct slice object = json_member(text, len, "fit");
	if (!record_is(text, len, "fit") || !object.at ||
	    !member_string(text, len, "job", b->job, sizeof b->job) ||
	    !member_string(text, len, "position", b->position, sizeof b->position))
		return false;
	asked_by_read(text, len, &b->by);
	b->none = json_absent(object);
	if (b->none)
		return true;
	struct slice written = json_member(object.at, object.len, "written");
	for (size_t i = 0; i < FIT_COLUMNS; i++)
		json_text(json_member(written.at, written.len, sheet_column_name[fit_columns[i]]),
		          fit->written[fit_columns[i]], SHEET_CELL_SIZE);
	return written.at != NULL;
}

void rename_body_write(struct text *out, const struct rename_body *b)
{
	text_member_string(out, "job", b->job);
	text_member_string(out, "position", b->position);
	text_member_string(out, "from", b->from);
	asked_by_write(out, &b->by);
}

bool rename_body_read(const char *text, size_t len, struct rename_body *b)
{
	*b = (struct rename_body){0};
	asked_by_read(text, len, &b->by);
	return record_is(text, len, "rename") &&
	       member_string(text, len, "job", b->job, sizeof b->job) &&
	       member_string(text, len, "position", b->position, sizeof b->position) &&
	       member_string(text, len, "from", b->from, sizeof b->from) &&
	       name_valid(b->position, strlen(b->position)) && name_valid(b->from, strlen(b->from));
}
