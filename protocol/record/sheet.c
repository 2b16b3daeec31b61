/* SPDX-License-Identifier: MIT */
/*
 * Sheets as CSV: see sheet.h.
 *
 * libcsv splits and unquotes, fed byte by byte, so that the place of every cell is
 * known; it keeps a byte order mark and tells no lines, which is done here.  The
 * file is read twice: once to find every fault, once to give the rows, so that only
 * an index of names is kept in memory.
 */
#include "protocol/record/sheet_reader.h"

#include "protocol/record/sheet_cells.h"
#include "protocol/trade/ascii.h"

#include <csv.h>
#include <stdlib.h>
#include <string.h>

/* ---- places ---- */

/* Lines are counted only where somebody is told. */
void reader_place(const struct reader *r, size_t at, int *line, int *column)
{
	*line = *column = 1;
	for (size_t i = 0; i < at && i < r->len; i++) {
		++*column;
		if (r->text[i] == '\n')
			++*line, *column = 1;
	}
}

/* A fault at a byte of the text. */
bool reader_refuse(struct reader *r, size_t at, const char *what)
{
	int line, column;
	reader_place(r, at, &line, &column);
	fault_at(r->why, r->file, line, column, "%s", what);
	r->failed = true;
	return false;
}

static bool reader_blank(const struct reader *r, char c)
{
	return ascii_blank(c) && c != r->delimiter;
}

/* Where a cell begins, without the spaces before it. */
size_t cell_begin(const struct reader *r, const struct cell *c)
{
	size_t at = c->raw;
	while (at < r->len && reader_blank(r, r->text[at]))
		at++;
	return at;
}

/* Where byte `i` of its content stands. */
size_t cell_byte(const struct reader *r, const struct cell *c, size_t i)
{
	size_t at = cell_begin(r, c);
	if (at == r->len || r->text[at] != '"')
		return at + i;
	at++;
	for (i += c->lead; i > 0 && at < r->len; i--)
		at += r->text[at] == '"' ? 2 : 1; /* a quote inside is doubled */
	return at;
}

/* ---- what libcsv calls ---- */

static void on_cell(void *content, size_t len, void *arg)
{
	struct reader *r = arg;
	const char *text = content ? content : "";
	if (r->failed)
		return;
	struct cell *c = &r->cell[r->cells <= COLUMNS_MAX ? r->cells : COLUMNS_MAX];
	if (r->cells <= COLUMNS_MAX) {
		c->raw = r->cell_start;
		for (c->lead = 0; c->lead < len && reader_blank(r, text[c->lead]);)
			c->lead++;
		while (len > c->lead && reader_blank(r, text[len - 1]))
			len--;
		c->len = len - c->lead;
		size_t kept = c->len < SHEET_CELL_SIZE ? c->len : SHEET_CELL_SIZE - 1;
		memcpy(c->text, text + c->lead, kept);
		c->text[kept] = '\0';
	}
	r->cells++;
}

static void on_row(int end, void *arg)
{
	(void)end;
	struct reader *r = arg;
	bool empty = true;
	for (int i = 0; i < r->cells && i <= COLUMNS_MAX; i++)
		empty &= r->cell[i].len == 0;
	if (!r->failed && !empty) {
		r->row_told = 0;
		if (r->columns)
			reader_row(r);
		else
			reader_header(r);
	}
	r->cells = 0;
}

/* ---- bytes ---- */

static bool feed_byte(struct reader *r, struct csv_parser *p)
{
	char c = r->text[r->at];
	if (c == '\r' && !r->quoted && (r->at + 1 == r->len || r->text[r->at + 1] != '\n'))
		return reader_refuse(r, r->at, "a carriage return without a line feed: rows end with LF or CR LF");
	if (csv_parse(p, &c, 1, on_cell, on_row, r) != 1) {
		if (csv_error(p) != CSV_EPARSE)
			return reader_refuse(r, r->at, "out of memory");
		return reader_refuse(r, r->at,
		              c == '"' ? "a quote inside a cell: put the whole cell in quotes and double "
		                         "the quotes in it"
		                       : "something stands after the closing quote: expected the next cell "
		                         "or the end of the row");
	}
	if (c == '"')
		r->quoted = !r->quoted;
	if (!r->quoted && (c == r->delimiter || c == '\n' || c == '\r'))
		r->cell_start = r->at + 1;
	return !r->failed;
}

static bool read_all(struct reader *r)
{
	struct csv_parser p;
	if (csv_init(&p, CSV_STRICT | CSV_STRICT_FINI) != 0)
		return reader_refuse(r, 0, "out of memory");
	csv_set_delim(&p, (unsigned char)r->delimiter);
	r->cell_start = r->first;
	r->quoted = false;
	r->cells = r->columns = r->extras = 0;
	bool good = true;
	for (r->at = r->first; r->at < r->len && good; r->at++)
		good = feed_byte(r, &p);
	if (good && csv_fini(&p, on_cell, on_row, r) != 0) {
		struct cell open = {.raw = r->cell_start};
		reader_refuse(r, cell_begin(r, &open), "this quote is not closed");
	}
	csv_free(&p);
	return !r->failed;
}

/* ---- across rows ---- */

static struct row_index *find_row(struct reader *r, const char *name)
{
	for (size_t i = 0; i < r->rows; i++)
		if (strcmp(r->index[i].name, name) == 0)
			return &r->index[i];
	return NULL;
}

static bool check_twins(struct reader *r)
{
	/* First what was written; then what follows from it. */
	for (size_t i = 0; i < r->rows; i++) {
		struct row_index *x = &r->index[i];
		r->row_told = 0;
		if (x->with[0] && !find_row(r, x->with) && !r->name_lost &&
		    !reader_refuse(r, x->with_raw, "with: no position of this name is in the sheet") &&
		    !reader_excuse(r))
			return false;
		struct row_index *twin = x->twin[0] ? find_row(r, x->twin) : NULL;
		if (x->twin[0] && !twin && !r->name_lost &&
		    !reader_refuse(r, x->twin_raw, "twin: no position of this name is in the sheet") &&
		    !reader_excuse(r))
			return false;
	}
	for (size_t i = 0; i < r->rows; i++) {
		struct row_index *x = &r->index[i];
		struct row_index *twin = x->twin[0] ? find_row(r, x->twin) : NULL;
		if (!twin)
			continue;
		if (!twin->twin[0])
			memcpy(twin->twin, x->name, NAME_SIZE);
		else if (strcmp(twin->twin, x->name) != 0 &&
		         !reader_refuse(r, x->twin_raw, "twin: that position is the twin of another one") &&
		         !reader_excuse(r))
			return false;
	}
	return true;
}

bool reader_run(struct reader *r)
{
	r->failed = !sheet_bytes_check(r->file, r->text, r->len, r->why);
	if (!r->failed)
		reader_delimiter(r);
	bool good = !r->failed && read_all(r);
	if (good && !r->columns)
		good = reader_refuse(r, 0, "the sheet is empty: the first row names the columns");
	if (good && check_twins(r) && !r->told) {
		r->giving = true;
		read_all(r);
	}
	return !r->failed && !r->told;
}

bool sheet_parse(const char *file, const char *text, size_t len,
                 bool (*each)(void *arg, const struct sheet_row *row, struct fault *why), void *arg,
                 struct fault *why)
{
	return sheet_parse_mapped(file, text, len, NULL, NULL, each, arg, why);
}

bool sheet_parse_mapped(const char *file, const char *text, size_t len,
                        const struct sheet_map *map, struct sheet_taken *taken,
                        bool (*each)(void *arg, const struct sheet_row *row, struct fault *why),
                        void *arg, struct fault *why)
{
	if (len >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0)
		text += 3, len -= 3;
	struct reader *r = calloc(1, sizeof *r);
	if (!r) {
		fault_at(why, file, 0, 0, "out of memory");
		return false;
	}
	*r = (struct reader){.file = file, .text = text, .len = len, .why = why, .each = each,
	                     .arg = arg, .map = map, .taken = taken};
	bool good = reader_run(r);
	free(r->index);
	free(r);
	return good;
}
