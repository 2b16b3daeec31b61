/* SPDX-License-Identifier: MIT */
/*
 * One row of a sheet: set by hand, and as the JSON object of position records.
 * See sheet.h.
 */
#include "protocol/record/sheet_cells.h"

#include "protocol/record/kinds.h"
#include "protocol/record/sheet_words.h"
#include "protocol/trade/part.h"

#include <stdio.h>
#include <string.h>

/* ---- by hand ---- */

/* The quantity that `key` names, in letters of either case, if a limit can be said of it. */
static bool limit_key(const char *key, enum quantity *q)
{
	char name[SHEET_NAME_SIZE];
	size_t n = 0;
	for (; key[n] && n + 1 < sizeof name; n++)
		name[n] = key[n] >= 'A' && key[n] <= 'Z' ? (char)(key[n] - 'A' + 'a') : key[n];
	return !key[n] && quantity_from_name(name, n, q) && part_limit_function(*q) != FUNCTION_NONE;
}

/* The cell that `key` names, NULL where there is none. */
static char *find_cell(struct sheet_row *row, const char *key, int *column)
{
	for (int i = 0; i < SHEET_COLUMNS; i++)
		if (column_is(key, strlen(key), sheet_column_name[i])) {
			*column = i;
			return row->written[i];
		}
	*column = SHEET_COLUMNS;
	for (int i = 0; i < row->extras; i++)
		if (column_is(key, strlen(key), row->extra_name[i]))
			return row->extra_cell[i];
	/* A limit of another quantity may be set where the sheet has no column for it. */
	enum quantity q;
	if (row->extras == SHEET_EXTRA_MAX || !limit_key(key, &q))
		return NULL;
	snprintf(row->extra_name[row->extras], SHEET_NAME_SIZE, "%s", key);
	row->extra_cell[row->extras][0] = '\0';
	return row->extra_cell[row->extras++];
}

/* By hand it is a limit or a mistake. */
static bool limit_fits(const struct sheet_row *row, const char *key, const char *cell,
                       struct fault *why)
{
	enum quantity q;
	if (!cell[0] || !limit_key(key, &q) || row->position.beside[q].form != TOLERANCE_NONE)
		return true;
	fault_set(why, "%s wants a limit on one side, such as %s", key,
	          q == QUANTITY_INSULATION ? ">=20M" : q == QUANTITY_LEAKAGE ? "<=0.1 uA" : "<=0.3");
	return false;
}

/* The rules that sheet_parse has for the bytes of a cell. */
static bool cell_clean(const char *value, size_t len, bool breaks, struct fault *why)
{
	if (len >= SHEET_CELL_SIZE)
		return cell_refuse(why, SHEET_CELL_SIZE - 1, "too long: at most 159 bytes");
	return cell_bytes_fit(value, len, breaks, why);
}

bool sheet_set(struct sheet_row *row, const char *key, const char *value, struct fault *why)
{
	struct sheet_row changed = *row;
	int column;
	char *cell = find_cell(&changed, key, &column);
	if (!cell) {
		fault_set(why, "`%.40s` is no column: expected kind, nominal, tolerance, service, rated, "
		               "role, with, channel, twin, part, source, max, price, note, or a limit: "
		               "leakage, esr, dissipation, insulation", key);
		return false;
	}
	if (column == SHEET_POSITION) {
		fault_set(why, "the position's name is not set but renamed");
		return false;
	}
	size_t len;
	const char *kept = cell_trim(value, &len);
	struct fault said = {0};
	enum sheet_column bad = SHEET_POSITION;
	bool free_text = column == SHEET_NOTE || column == SHEET_COLUMNS;
	bool good = cell_clean(kept, len, free_text, &said);
	if (good) {
		memcpy(cell, kept, len);
		cell[len] = '\0';
		/* What the other row named goes with the cell it stood for. */
		char twin[NAME_SIZE];
		memcpy(twin, row->position.twin, sizeof twin);
		good = row_understand(&changed, &bad, &said);
		if (column != SHEET_TWIN && !changed.position.twin[0])
			memcpy(changed.position.twin, twin, sizeof twin);
		good = good && limit_fits(&changed, key, cell, &said);
		good = good && !slip_of_cell(&changed, (enum sheet_column)column, &bad, &said);
	}
	if (good) {
		*row = changed;
		return true;
	}
	/* A kind may be set under which another cell no longer makes sense: then no
	 * byte of this value is to blame. */
	bool here = said.column && (bad == (enum sheet_column)column || bad == SHEET_POSITION);
	fault_at(why, NULL, 0, here ? said.column + (int)(kept - value) : 0, "%s", said.text);
	return false;
}

bool sheet_bare(struct sheet_row *row, const char *name, struct fault *why)
{
	struct sheet_row bare = {0};
	enum sheet_column bad;
	size_t len = strlen(name);
	if (!name_valid(name, len)) {
		fault_set(why, "`%.40s` is no name of a position: letters, digits, . _ / -, first a "
		               "letter or digit, at most 32", name);
		return false;
	}
	memcpy(bare.written[SHEET_POSITION], name, len + 1);
	if (!row_understand(&bare, &bad, why))
		return false;
	*row = bare;
	return true;
}

/* ---- as JSON ---- */

static void member_value(struct text *out, const char *key, bool there, struct decimal d)
{
	if (there)
		text_member_decimal(out, key, d);
}

static void member_limits(struct text *out, const char *key, const struct tolerance *t,
                          const struct position *p)
{
	struct limits l;
	if (limits_from(t, p->has_nominal, p->nominal, &l))
		limits_write(out, key, &l);
	else
		text_member_null(out, key);
}

/* {"name":"cell",...} of the cells that are not empty. */
static void write_cells(struct text *out, const struct sheet_row *row, bool known)
{
	const char *before = "{";
	int count = known ? SHEET_COLUMNS : row->extras;
	for (int i = 0; i < count; i++) {
		const char *name = known ? sheet_column_name[i] : row->extra_name[i];
		const char *cell = known ? row->written[i] : row->extra_cell[i];
		/* Unknown columns stay with the row even where it is empty. */
		if (!cell[0] && known)
			continue;
		text_puts(out, before);
		text_string(out, name, strlen(name));
		text_add(out, ":", 1);
		text_string(out, cell, strlen(cell));
		before = ",";
	}
	text_puts(out, before[0] == '{' ? "{}" : "}");
}

void sheet_row_write(struct text *out, const struct sheet_row *row)
{
	const struct position *p = &row->position;
	text_puts(out, "{\"written\":");
	write_cells(out, row, true);
	if (row->extras) {
		text_member(out, "extra");
		write_cells(out, row, false);
	}
	member_set(out, "learnt", row->learnt);
	text_member_string(out, "kind", kind_name(p->kind));
	text_member_string(out, "function", function_name(p->function));
	if (p->has_nominal)
		text_member_decimal(out, "nominal", p->nominal);
	else
		text_member_null(out, "nominal");
	member_limits(out, "limits", &p->tolerance, p);
	member_limits(out, "service", &p->service, p);
	member_value(out, "rated", p->has_rated, p->rated);
	member_value(out, "source", p->has_source, p->source);
	member_value(out, "max", p->has_max, p->max);
	member_set(out, "role", p->role);
	member_set(out, "with", p->with);
	member_set(out, "channel", p->channel);
	member_set(out, "twin", p->twin);
	member_set(out, "part", p->part);
	text_add(out, "}", 1);
}

static bool read_cells(struct slice object, struct sheet_row *row, struct fault *why)
{
	struct slice written = json_member(object.at, object.len, "written");
	struct slice extra = json_member(object.at, object.len, "extra"), key, value;
	for (int i = 0; i < SHEET_COLUMNS; i++)
		json_text(json_member(written.at, written.len, sheet_column_name[i]), row->written[i],
		            SHEET_CELL_SIZE);
	json_text(json_member(object.at, object.len, "learnt"), row->learnt, sizeof row->learnt);
	for (size_t cursor = 0; json_next_member(extra, &cursor, &key, &value); row->extras++) {
		if (row->extras == SHEET_EXTRA_MAX) {
			fault_set(why, "the row has more than %d unknown columns", SHEET_EXTRA_MAX);
			return false;
		}
		struct slice quoted = {key.at - 1, key.len + 2};
		json_text(quoted, row->extra_name[row->extras], SHEET_NAME_SIZE);
		json_text(value, row->extra_cell[row->extras], SHEET_CELL_SIZE);
	}
	return true;
}

/* Is a limit or value still what the record says it was? */
static bool same_value(struct slice s, bool there, struct decimal d)
{
	struct decimal was;
	if (json_absent(s))
		return !there;
	return there && json_decimal(s, &was) && decimal_compare(was, d) == 0;
}

static bool same_limits(struct slice s, const struct tolerance *t, const struct position *p)
{
	struct limits l;
	if (!limits_from(t, p->has_nominal, p->nominal, &l))
		return json_absent(s);
	return s.at && same_value(json_element(s, 0), l.has_low, l.low) &&
	       same_value(json_element(s, 1), l.has_high, l.high);
}

static const char *changed_meaning(struct slice o, const struct position *p)
{
	if (!json_is(json_member(o.at, o.len, "kind"), kind_name(p->kind)))
		return "kind";
	if (!json_is(json_member(o.at, o.len, "function"), function_name(p->function)))
		return "function";
	if (!same_value(json_member(o.at, o.len, "nominal"), p->has_nominal, p->nominal))
		return "nominal";
	if (!same_limits(json_member(o.at, o.len, "limits"), &p->tolerance, p))
		return "limits";
	return same_limits(json_member(o.at, o.len, "service"), &p->service, p) ? NULL : "service";
}

bool sheet_row_read(struct slice object, struct sheet_row *row, struct fault *why)
{
	enum sheet_column bad;
	struct sheet_row read = {0};
	if (!object.at || !object.len || object.at[0] != '{') {
		fault_set(why, "the record has no sheet row");
		return false;
	}
	if (!read_cells(object, &read, why) || !row_understand(&read, &bad, why))
		return false;
	/* Letters that mean a kind today and meant none when it was written: it keeps its own. */
	if (!read.written[SHEET_KIND][0] &&
	    json_is(json_member(object.at, object.len, "kind"), kind_name(KIND_OTHER)) &&
	    read.position.kind != KIND_OTHER) {
		snprintf(read.written[SHEET_KIND], SHEET_CELL_SIZE, "%s", kind_name(KIND_OTHER));
		if (!row_understand(&read, &bad, why))
			return false;
	}
	const char *changed = changed_meaning(object, &read.position);
	if (changed) {
		fault_set(why, "%s: the record was understood otherwise (%s) by the version that wrote it",
		          read.position.name, changed);
		return false;
	}
	json_text(json_member(object.at, object.len, "twin"), read.position.twin, NAME_SIZE);
	*row = read;
	return true;
}
