/* SPDX-License-Identifier: MIT */
/*
 * One row of a sheet, changed: by a marking, by another name, by what was measured.  See
 * sheet.h.
 */
#include "protocol/record/sheet_cells.h"

#include "protocol/trade/marking.h"

#include <stdio.h>
#include <string.h>

/* ---- a marking ---- */

/* Does this cell, as a nominal, mean that value? */
static bool means(const struct sheet_row *row, const char *cell, struct decimal value)
{
	struct sheet_row as = *row;
	struct fault ignored;
	return sheet_set(&as, "nominal", cell, &ignored) && as.position.has_nominal &&
	       decimal_compare(as.position.nominal, value) == 0;
}

bool sheet_mark(struct sheet_row *row, const char *marking, struct fault *why)
{
	enum function f = kind_function(row->position.kind);
	struct sheet_row changed = *row;
	struct tolerance marked = {0};
	struct decimal value;
	char shown[SHEET_CELL_SIZE];
	if (!marking[strspn(marking, " \t")]) {
		fault_set(why, "say what stands on the part; nominal= takes a value away");
		return false;
	}
	if (f != FUNCTION_OHM && f != FUNCTION_FARAD) {
		fault_set(why, "a %s has no marking that is known: say its kind first (kind=resistor, "
		          "kind=capacitor ...)", kind_name(row->position.kind));
		return false;
	}
	if (!marking_value(marking, strlen(marking), f, &value, &marked, why))
		return false;
	if (means(row, marking, value)) {
		if (!sheet_set(&changed, "nominal", marking, why))
			return false;
	} else {
		quantity_shown(value, f, quantity_prefix(value, f), shown, sizeof shown);
		if (!sheet_set(&changed, "nominal", shown, why))
			return false;
	}
	/* 104K may not stand for a value that took its K along. */
	if (marked.form != TOLERANCE_NONE && changed.position.tolerance.form == TOLERANCE_NONE) {
		tolerance_shown(&marked, f, shown, sizeof shown);
		if (!sheet_set(&changed, "tolerance", shown, why))
			return false;
	}
	*row = changed;
	return true;
}

/* ---- another name ---- */

bool sheet_rename(struct sheet_row *row, const char *name, struct fault *why)
{
	struct sheet_row changed = *row;
	enum sheet_column bad;
	struct fault said = {0};
	char twin[NAME_SIZE];
	size_t len = strlen(name);
	if (!name_valid(name, len)) {
		fault_set(why, "`%.40s` is no name of a position: letters, digits, . _ / -, first a "
		               "letter or digit, at most 32", name);
		return false;
	}
	memcpy(changed.written[SHEET_POSITION], name, len + 1);
	memcpy(twin, row->position.twin, sizeof twin);
	if (!row_understand(&changed, &bad, &said)) {
		fault_set(why, "%s would be a %s by its letters, and that does not go with its %s; set its "
		          "kind first (sheet set %s kind=%s)", name, kind_name(kind_from_position(name)),
		          said.text, row->position.name, kind_name(row->position.kind));
		return false;
	}
	if (!changed.position.twin[0])
		memcpy(changed.position.twin, twin, sizeof twin);
	*row = changed;
	return true;
}

static bool follow(char *cell, size_t size, const char *old, const char *name)
{
	if (strcmp(cell, old) != 0)
		return false;
	snprintf(cell, size, "%s", name);
	return true;
}

bool sheet_follow(struct sheet_row *row, const char *old, const char *name)
{
	static const enum sheet_column columns[] = {SHEET_WITH, SHEET_TWIN, SHEET_PART};
	struct position *p = &row->position;
	bool any = false;
	for (size_t i = 0; i < sizeof columns / sizeof columns[0]; i++)
		any |= follow(row->written[columns[i]], SHEET_CELL_SIZE, old, name);
	any |= follow(p->with, sizeof p->with, old, name);
	any |= follow(p->twin, sizeof p->twin, old, name);
	any |= follow(p->part, sizeof p->part, old, name);
	return any;
}

/* ---- what was measured ---- */

/* What a part is whose meter was set so.  A capacitor of no known sort; volts to the unit's
 * own metal are a rail's. */
static const char *kind_measured(enum function f)
{
	switch (f) {
	case FUNCTION_OHM:
		return kind_name(KIND_RESISTOR);
	case FUNCTION_FARAD:
		return kind_name(KIND_CAPACITOR);
	case FUNCTION_HENRY:
		return kind_name(KIND_WINDING);
	case FUNCTION_DIODE:
		return kind_name(KIND_RECTIFIER);
	case FUNCTION_VOLT_DC:
	case FUNCTION_VOLT_AC:
		return kind_name(KIND_RAIL);
	default:
		return "";
	}
}

/* Nothing is written that a kind would have a say in. */
static bool undescribed(const struct sheet_row *row)
{
	for (int i = 0; i < SHEET_COLUMNS; i++)
		if (row->written[i][0] && i != SHEET_POSITION && i != SHEET_CHANNEL && i != SHEET_NOTE &&
		    i != SHEET_PART && i != SHEET_TWIN)
			return false;
	return row->extras == 0;
}

bool sheet_learn(struct sheet_row *row, enum function f)
{
	struct sheet_row changed = *row;
	enum sheet_column bad;
	struct fault ignored;
	const char *kind = kind_measured(f);
	bool unlearn = f == FUNCTION_NONE && row->learnt[0];
	if (!undescribed(row) || kind_from_position(row->position.name) != KIND_OTHER ||
	    (!unlearn && (row->learnt[0] || !kind[0])))
		return false;
	snprintf(changed.learnt, sizeof changed.learnt, "%s", kind);
	if (!row_understand(&changed, &bad, &ignored))
		return false;
	memcpy(changed.position.twin, row->position.twin, sizeof changed.position.twin);
	*row = changed;
	return true;
}
