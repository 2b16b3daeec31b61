/* SPDX-License-Identifier: MIT */
/* The rows of a sheet or parts list behind the first: see sheet.h and sheet_map.h. */
#include "protocol/record/sheet_reader.h"

#include "protocol/record/sheet_cells.h"
#include "protocol/record/sheet_entry.h"
#include "protocol/record/sheet_plain.h"
#include "protocol/record/sheet_words.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Columns whose cells are values or names, no text of the person's own. */
static bool is_plain_column(int column)
{
	return column < SHEET_COLUMNS && column != SHEET_ROLE && column != SHEET_CHANNEL &&
	       column != SHEET_PART && column != SHEET_PRICE && column != SHEET_NOTE;
}

/* A cell in plain characters; in a file with decimal commas, with points. */
static bool plain_cell(struct reader *r, const struct cell *c, int column, char *to)
{
	struct fault said;
	size_t len = plain_text(c->text, c->len, to, SHEET_CELL_SIZE);
	if (len == SHEET_CELL_SIZE)
		return reader_refuse(r, cell_begin(r, c), "the cell is too long: at most 159 bytes");
	const char *kept = cell_trim(to, &len);
	memmove(to, kept, len);
	to[len] = '\0';
	bool value = column == SHEET_NOMINAL || column == SHEET_TOLERANCE || column == SHEET_SERVICE ||
	             column == SHEET_RATED || column == SHEET_SOURCE || column == SHEET_MAX;
	if (!value || r->delimiter == ',' || comma_to_point(to, r->delimiter == ';', &said))
		return true;
	return reader_refuse(r, cell_byte(r, c, plain_origin(c->text, c->len, (size_t)said.column - 1)),
	              said.text);
}

static bool put_cell(struct reader *r, const struct cell *c, int column, struct sheet_row *row)
{
	if (!c->len || column == SHEET_LEFT)
		return true;
	if (column == SHEET_UNNAMED)
		return reader_refuse(r, cell_begin(r, c), "this cell's column has no name in the first row");
	if (c->len >= SHEET_CELL_SIZE)
		return reader_refuse(r, cell_byte(r, c, SHEET_CELL_SIZE - 1),
		              "the cell is too long: at most 159 bytes");
	const char *line_break = strpbrk(c->text, "\r\n");
	if (line_break && column < COLUMN_EXTRA && column != SHEET_NOTE)
		return reader_refuse(r, cell_byte(r, c, (size_t)(line_break - c->text)),
		              "a line break in a cell that is not a note");
	if (column == SHEET_COUNT)
		return true; /* looked at when the positions were counted */
	char *to = column >= COLUMN_EXTRA ? row->extra_cell[column - COLUMN_EXTRA]
	                                  : row->written[column];
	if (is_plain_column(column))
		return plain_cell(r, c, column, to);
	memcpy(to, c->text, c->len + 1);
	return true;
}

/* The cell of a column, in the row at work; NULL where there is no such column. */
static const struct cell *cell_of(const struct reader *r, int column)
{
	for (int i = 0; i < r->columns; i++)
		if (r->column[i] == column)
			return &r->cell[i];
	return NULL;
}

static size_t raw_of(const struct reader *r, int column)
{
	const struct cell *c = cell_of(r, column);
	return c ? cell_begin(r, c) : 0;
}

static bool given_already(struct reader *r, size_t here, const struct row_index *first)
{
	char what[160];
	int line, column;
	reader_place(r, first->name_raw, &line, &column);
	snprintf(what, sizeof what, "%s was given already, at line %d, column %d", first->name, line,
	         column);
	return reader_refuse(r, here, what);
}

static bool add_to_index(struct reader *r, const struct sheet_row *row, size_t here)
{
	const struct position *p = &row->position;
	for (size_t i = 0; i < r->rows; i++)
		if (strcmp(r->index[i].name, p->name) == 0)
			return given_already(r, here, &r->index[i]);
	if (r->rows == SHEET_ROWS_MAX) {
		r->name_lost = true;
		return reader_refuse(r, here, "too many positions: at most 4096");
	}
	if (r->rows == r->index_size) {
		size_t size = r->index_size ? 2 * r->index_size : 64;
		struct row_index *more = realloc(r->index, size * sizeof *more);
		if (!more)
			return reader_refuse(r, here, "out of memory");
		r->index = more;
		r->index_size = size;
	}
	struct row_index *x = &r->index[r->rows++];
	memcpy(x->name, p->name, sizeof x->name);
	memcpy(x->twin, p->twin, sizeof x->twin);
	memcpy(x->with, p->with, sizeof x->with);
	x->name_raw = here;
	x->twin_raw = raw_of(r, SHEET_TWIN);
	x->with_raw = raw_of(r, SHEET_WITH);
	return true;
}

static void give_row(struct reader *r, struct sheet_row *row)
{
	/* A twin that the other row named: see check_twins. */
	memcpy(row->position.twin, r->index[r->given].twin, NAME_SIZE);
	size_t here = r->index[r->given++].name_raw;
	struct fault said = {0};
	if (r->each(r->arg, row, &said))
		return;
	if (!said.line)
		reader_refuse(r, here, said.text);
	else
		fault_at(r->why, said.file[0] ? said.file : r->file, said.line, said.column, "%s",
		         said.text);
	r->failed = true;
}

/* What a parts list has as the value of a valve or a transformer: its type. */
static bool value_to_note(struct sheet_row *row, struct fault *why)
{
	enum sheet_column bad;
	struct sheet_row changed = *row;
	enum function f = row->position.function;
	char *note = changed.written[SHEET_NOTE];
	const char *value = row->written[SHEET_NOMINAL];
	if (f == FUNCTION_FARAD || (f == FUNCTION_OHM && row->position.kind != KIND_WINDING &&
	                            row->position.kind != KIND_SWITCH && row->position.kind != KIND_FUSE))
		return false;
	size_t len = strlen(note), more = strlen(value);
	if (len + more + 3 > SHEET_CELL_SIZE)
		return false;
	if (len) {
		memmove(note + more + 2, note, len + 1);
		memcpy(note + more, "; ", 2);
		memcpy(note, value, more);
	} else {
		memcpy(note, value, more + 1);
	}
	changed.written[SHEET_NOMINAL][0] = '\0';
	if (!row_understand(&changed, &bad, why))
		return false;
	*row = changed;
	return true;
}

/* The nominal with its rating and tolerance, each into its own cell. */
static bool row_spread(struct sheet_row *row)
{
	struct sheet_row changed = *row;
	enum sheet_column bad;
	struct fault why;
	const char *nominal = row->written[SHEET_NOMINAL];
	changed.written[SHEET_NOMINAL][0] = '\0';
	/* A comma that is no point here would become one. */
	if (!nominal[0] || strchr(nominal, ',') || !sheet_entry_spread(&changed, nominal, &why) ||
	    !row_understand(&changed, &bad, &why))
		return false;
	*row = changed;
	return true;
}

/* As it stands, or with a value that says more than the nominal.  In a sheet a marking
 * such as 8/450 is the nominal alone, for a rating that it proposes may be wrong. */
static bool cells_read(struct reader *r, struct sheet_row *row, enum sheet_column *bad,
                       struct fault *said)
{
	struct fault why;
	if (r->list && strpbrk(row->written[SHEET_NOMINAL], "/ ") && row_spread(row))
		return true;
	if (row_understand(row, bad, said))
		return true;
	if (*bad != SHEET_NOMINAL)
		return false;
	return row_spread(row) || (r->list && value_to_note(row, &why));
}

static bool row_read(struct reader *r, struct sheet_row *row, enum sheet_column *bad,
                     struct fault *said)
{
	if (!cells_read(r, row, bad, said))
		return false;
	*bad = SHEET_NOMINAL;
	return !slip_below_nothing(row, said);
}

struct row_names {
	struct reader *r;
	struct sheet_row *row;  /* what all of them have */
	const struct cell *cell;
	int count;
	bool counting;
};

/* The place of byte `i` of what was understood of a cell. */
static size_t plain_byte(const struct reader *r, const struct cell *c, size_t i)
{
	return cell_byte(r, c, plain_origin(c->text, c->len, i));
}

/* Where every fault is told: the row without the cell that was at fault, to see what else is. */
static bool row_excused(struct reader *r, struct sheet_row *row, enum sheet_column bad)
{
	if (!reader_excuse(r))
		return false;
	if (bad != SHEET_POSITION && row->written[bad][0]) {
		row->written[bad][0] = '\0';
		return true;
	}
	r->name_lost |= bad == SHEET_POSITION;
	return false;
}

static bool one_row(struct reader *r, struct sheet_row *row, size_t here, bool many)
{
	enum sheet_column bad = SHEET_POSITION;
	struct fault said = {.text = ""};
	while (!row_read(r, row, &bad, &said)) {
		const struct cell *c = cell_of(r, (int)bad);
		size_t at = c ? cell_begin(r, c) : here;
		if (bad == SHEET_POSITION && many)
			at = here;
		else if (said.column && c && is_plain_column((int)bad))
			at = plain_byte(r, c, (size_t)said.column - 1);
		else if (said.column && c)
			at = cell_byte(r, c, (size_t)said.column - 1);
		reader_refuse(r, at, said.text);
		if (!row_excused(r, row, bad))
			return !r->failed;
		said = (struct fault){.text = ""};
	}
	if (r->giving)
		give_row(r, row);
	else if (!add_to_index(r, row, here))
		reader_excuse(r);
	return !r->failed;
}

static bool one_name(void *arg, const char *name, size_t at, struct fault *why)
{
	struct row_names *n = arg;
	struct sheet_row row = *n->row;
	(void)why;
	n->count++;
	if (n->counting)
		return true;
	snprintf(row.written[SHEET_POSITION], SHEET_CELL_SIZE, "%s", name);
	return one_row(n->r, &row, cell_byte(n->r, n->cell, at), true);
}

/* Does the row have as many positions as it says? */
static bool count_fits(struct reader *r, int count)
{
	const struct cell *c = cell_of(r, SHEET_COUNT);
	char what[120];
	int n = 0;
	if (!c || !c->len)
		return true;
	for (size_t i = 0; i < c->len; i++) {
		if (c->text[i] < '0' || c->text[i] > '9' || c->len > 6)
			return reader_refuse(r, cell_byte(r, c, i), "expected how many positions the row has");
		n = n * 10 + (c->text[i] - '0');
	}
	if (n == count)
		return true;
	snprintf(what, sizeof what, "%d stand%s here, but the row names %d position%s", n,
	         n == 1 ? "s" : "", count, count == 1 ? "" : "s");
	return reader_refuse(r, cell_begin(r, c), what);
}

static void read_names(struct reader *r, struct sheet_row *row)
{
	struct fault said = {.text = ""};
	const struct cell *c = cell_of(r, SHEET_POSITION);
	struct row_names n = {.r = r, .row = row, .cell = c, .counting = true};
	if (!names_many(c->text, r->list)) {
		if (count_fits(r, row->written[SHEET_POSITION][0] != '\0') || reader_excuse(r))
			one_row(r, row, cell_begin(r, c), false);
		return;
	}
	if (!names_each(c->text, c->len, one_name, &n, &said)) {
		reader_refuse(r, cell_byte(r, c, (size_t)said.column - 1), said.text);
		r->name_lost = true;
		reader_excuse(r);
		return;
	}
	if (!count_fits(r, n.count) && !reader_excuse(r))
		return;
	if (n.count > 1 && row->written[SHEET_TWIN][0]) {
		reader_refuse(r, raw_of(r, SHEET_TWIN),
		       "one twin for several positions: give each of them a row of its own");
		if (!reader_excuse(r))
			return;
		row->written[SHEET_TWIN][0] = '\0';
	}
	n.counting = false;
	names_each(c->text, c->len, one_name, &n, &said);
}

void reader_row(struct reader *r)
{
	if (r->cells != r->columns) {
		reader_refuse(r, r->cells > r->columns ? cell_begin(r, &r->cell[r->columns]) : r->at,
		       r->cells > r->columns ? "the row has more cells than the first row names columns"
		                             : "the row has fewer cells than the first row names columns");
		r->name_lost = true;
		reader_excuse(r);
		return;
	}
	struct sheet_row row = {.extras = r->extras};
	memcpy(row.extra_name, r->extra_name, sizeof row.extra_name);
	for (int i = 0; i < r->cells; i++)
		if (!put_cell(r, &r->cell[i], r->column[i], &row)) {
			if (!reader_excuse(r))
				return;
			if (r->column[i] < SHEET_COLUMNS) {
				row.written[r->column[i]][0] = '\0';
				if (r->column[i] == SHEET_POSITION) {
					r->name_lost = true;
					return;
				}
			}
		}
	read_names(r, &row);
}
