/* SPDX-License-Identifier: MIT */
/* The first row of a sheet or parts list: see sheet_map.h. */
#include "protocol/record/sheet_reader.h"

#include "protocol/record/sheet_cells.h"

#include <stdio.h>
#include <string.h>

void reader_delimiter(struct reader *r)
{
	static const char signs[] = ",;\t";
	int count[3] = {0};
	bool quoted = false, any = false;
	r->delimiter = ',';
	if (r->len > 5 && memcmp(r->text, "sep=", 4) == 0 && memchr(signs, r->text[4], 3) &&
	    (r->text[5] == '\n' || r->text[5] == '\r')) {
		r->delimiter = r->text[4];
		r->first = r->text[5] == '\r' && r->len > 6 ? 7 : 6;
		return;
	}
	for (size_t i = 0; i < r->len && !(any && !quoted && r->text[i] == '\n'); i++) {
		const char *sign = r->text[i] ? strchr(signs, r->text[i]) : NULL;
		any |= r->text[i] > ' ' && !sign;
		if (r->text[i] == '"')
			quoted = !quoted;
		else if (sign && !quoted)
			count[sign - signs]++;
	}
	for (int i = 1; i < 3; i++)
		if (count[i] > count[0] && count[i] >= count[3 - i])
			r->delimiter = signs[i];
}

/* A column that is kept under its heading. */
static int keep_column(struct reader *r, const struct cell *c)
{
	for (int i = 0; i < SHEET_COLUMNS; i++)
		if (column_is(c->text, c->len, sheet_column_name[i])) {
			/* Kept under this name it would be taken for ours the next time. */
			reader_refuse(r, cell_begin(r, c),
			              "the map gives what this column is called to another: leave it out (=-) or "
			              "map it, too");
			return SHEET_KEPT;
		}
	for (int i = 0; i < r->extras; i++)
		if (column_is(c->text, c->len, r->extra_name[i]))
			return COLUMN_EXTRA + i;
	if (c->len >= SHEET_NAME_SIZE) {
		reader_refuse(r, cell_byte(r, c, SHEET_NAME_SIZE - 1),
		       "the name of a column is too long: at most 31 bytes; a map can leave it out (=-)");
	} else if (r->extras == SHEET_EXTRA_MAX) {
		reader_refuse(r, cell_begin(r, c),
		       "too many unknown columns: at most 16; a map can leave them out (*=-)");
	} else {
		memcpy(r->extra_name[r->extras], c->text, c->len + 1);
		return COLUMN_EXTRA + r->extras++;
	}
	return SHEET_KEPT;
}

static bool has_heading(const struct reader *r, const char *name)
{
	for (int i = 0; i < r->cells; i++)
		if (column_is(r->cell[i].text, r->cell[i].len, name))
			return true;
	return false;
}

static bool map_use(const struct reader *r, const struct cell *c, int *use)
{
	for (int i = 0; r->map && i < r->map->pairs; i++)
		if (column_is(c->text, c->len, r->map->heading[i])) {
			*use = r->map->use[i];
			return true;
		}
	return false;
}

/* What one heading means by itself. */
static int heading_use(const struct reader *r, const struct cell *c)
{
	int use;
	if (!c->len)
		return SHEET_UNNAMED;
	if (map_use(r, c, &use))
		return use;
	if (r->list)
		return sheet_heading_use(c->text, c->len);
	for (int i = 0; i < SHEET_COLUMNS; i++)
		if (column_is(c->text, c->len, sheet_column_name[i]))
			return i;
	return SHEET_KEPT;
}

static bool is_own_name(const struct cell *c, int use)
{
	return use < SHEET_COLUMNS && column_is(c->text, c->len, sheet_column_name[use]);
}

/* Of two headings that mean the same the map goes first, then the one that is called so
 * in a sheet; two that are alike in that are kept under their names, both. */
static int settle_use(const struct reader *r, int i, const int *use)
{
	int by_map;
	bool mapped = map_use(r, &r->cell[i], &by_map), own = is_own_name(&r->cell[i], use[i]);
	if (use[i] > SHEET_COUNT || (!r->list && !r->map))
		return use[i];
	for (int k = 0; k < r->cells; k++) {
		bool other_mapped = map_use(r, &r->cell[k], &by_map);
		if (k == i || use[k] != use[i] || mapped)
			continue;
		if (other_mapped || !own)
			return SHEET_KEPT;
	}
	return use[i];
}

/* Every heading of the map must be there: a slip in it would be lost in silence. */
static bool check_map(struct reader *r)
{
	for (int i = 0; r->map && i < r->map->pairs; i++)
		if (!has_heading(r, r->map->heading[i])) {
			char what[160];
			snprintf(what, sizeof what, "the map names a column %.60s, but none is called so",
			         r->map->heading[i]);
			return reader_refuse(r, cell_begin(r, &r->cell[0]), what);
		}
	return true;
}

static bool no_position_column(struct reader *r, int candidates)
{
	return reader_refuse(r, cell_begin(r, &r->cell[0]),
	              candidates > 1
	                  ? "more than one column may name the positions: say which with a map, such as "
	                    "--map Ref=position"
	                  : "the first row names the columns, and one must be named position; of a parts "
	                    "list say which it is with a map, such as --map Ref=position");
}

static bool same_column_twice(struct reader *r, int i)
{
	for (int k = 0; k < i; k++)
		if (r->column[k] == r->column[i] && r->column[i] != SHEET_UNNAMED &&
		    r->column[i] != SHEET_LEFT)
			return true;
	return false;
}

static void tell_taken(struct reader *r, int i)
{
	struct sheet_taken *t = r->taken;
	if (!t)
		return;
	t->delimiter = r->delimiter;
	t->list = r->list;
	t->columns = i + 1;
	snprintf(t->heading[i], sizeof t->heading[i], "%s", r->cell[i].text);
	t->use[i] = r->column[i] >= COLUMN_EXTRA ? SHEET_KEPT : r->column[i];
}

void reader_header(struct reader *r)
{
	int use[COLUMNS_MAX], positions = 0;
	if (r->cells > COLUMNS_MAX) {
		reader_refuse(r, cell_begin(r, &r->cell[COLUMNS_MAX]), "too many columns: at most 64");
		return;
	}
	r->list = !has_heading(r, "position");
	if (!check_map(r))
		return;
	for (int i = 0; i < r->cells; i++) {
		use[i] = heading_use(r, &r->cell[i]);
		positions += use[i] == SHEET_POSITION;
	}
	bool position = false;
	for (int i = 0; i < r->cells; i++) {
		r->column[i] = settle_use(r, i, use);
		if (r->column[i] == SHEET_KEPT)
			r->column[i] = r->map && r->map->rest_left ? SHEET_LEFT
			                                           : keep_column(r, &r->cell[i]);
		if (!r->failed && same_column_twice(r, i))
			reader_refuse(r, cell_begin(r, &r->cell[i]), "this column is named twice");
		if (r->failed)
			return;
		position |= r->column[i] == SHEET_POSITION;
		tell_taken(r, i);
	}
	if (position)
		r->columns = r->cells;
	else
		no_position_column(r, positions);
}
