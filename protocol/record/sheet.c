/* SPDX-License-Identifier: MIT */
/*
 * Sheets as CSV: see sheet.h.
 *
 * libcsv splits and unquotes, fed byte by byte, so that the place of every cell is
 * known; it keeps a byte order mark and tells no lines, which is done here.  The
 * file is read twice: once to find every fault, once to give the rows, so that only
 * an index of names is kept in memory.
 */
#include "protocol/record/sheet_cells.h"

#include <csv.h>
#include <stdlib.h>
#include <string.h>

#define COLUMNS_MAX 64
#define COLUMN_UNNAMED (-1)
#define COLUMN_EXTRA 100 /* and the index of the unknown column */

struct cell {
	size_t raw;  /* where it begins in the text, spaces and quote included */
	size_t lead; /* spaces dropped at the start of its content */
	size_t len;  /* of the content; may be more than what was kept */
	char text[SHEET_CELL_SIZE];
};

/* What is kept of a row, to check it against the others. */
struct row_index {
	char name[NAME_SIZE], twin[NAME_SIZE], with[NAME_SIZE];
	size_t name_raw, twin_raw, with_raw;
};

struct reader {
	const char *file, *text;
	size_t len;
	struct fault *why;
	bool failed;

	size_t at;         /* the byte that libcsv is being given */
	size_t cell_start; /* of the cell at work */
	bool quoted;       /* inside quotes */

	int cells; /* of the row at work */
	struct cell cell[COLUMNS_MAX + 1];

	int columns; /* 0 until the first row was read */
	int column[COLUMNS_MAX];
	int extras;
	char extra_name[SHEET_EXTRA_MAX][SHEET_NAME_SIZE];

	struct row_index *index;
	size_t rows, index_size;

	/* The second reading only. */
	bool giving;
	size_t given;
	bool (*each)(void *arg, const struct sheet_row *row, struct fault *why);
	void *arg;
};

/* ---- places ---- */

/* A fault at a byte of the text; lines are counted only then. */
static bool refuse(struct reader *r, size_t at, const char *what)
{
	int line = 1, column = 1;
	for (size_t i = 0; i < at && i < r->len; i++) {
		column++;
		if (r->text[i] == '\n')
			line++, column = 1;
	}
	fault_at(r->why, r->file, line, column, "%s", what);
	r->failed = true;
	return false;
}

/* Where a cell begins, without the spaces before it. */
static size_t cell_begin(const struct reader *r, const struct cell *c)
{
	size_t at = c->raw;
	while (at < r->len && cell_blank(r->text[at]))
		at++;
	return at;
}

/* Where byte `i` of its content stands. */
static size_t cell_byte(const struct reader *r, const struct cell *c, size_t i)
{
	size_t at = cell_begin(r, c);
	if (at == r->len || r->text[at] != '"')
		return at + i;
	at++;
	for (i += c->lead; i > 0 && at < r->len; i--)
		at += r->text[at] == '"' ? 2 : 1; /* a quote inside is doubled */
	return at;
}

/* ---- the first row ---- */

static int find_column(struct reader *r, const struct cell *c)
{
	if (!c->len)
		return COLUMN_UNNAMED;
	for (int i = 0; i < SHEET_COLUMNS; i++)
		if (column_is(c->text, c->len, sheet_column_name[i]))
			return i;
	for (int i = 0; i < r->extras; i++)
		if (column_is(c->text, c->len, r->extra_name[i]))
			return COLUMN_EXTRA + i;
	if (c->len >= SHEET_NAME_SIZE) {
		refuse(r, cell_byte(r, c, SHEET_NAME_SIZE - 1),
		       "the name of a column is too long: at most 31 bytes");
	} else if (r->extras == SHEET_EXTRA_MAX) {
		refuse(r, cell_begin(r, c), "too many unknown columns: at most 16");
	} else {
		memcpy(r->extra_name[r->extras], c->text, c->len + 1);
		return COLUMN_EXTRA + r->extras++;
	}
	return COLUMN_UNNAMED;
}

static void no_position_column(struct reader *r)
{
	const char *first = r->text + r->cell[0].raw;
	size_t len = r->len - r->cell[0].raw;
	const char *end = memchr(first, '\n', len);
	len = end ? (size_t)(end - first) : len;
	refuse(r, cell_begin(r, &r->cell[0]),
	       memchr(first, ';', len)
	           ? "no column is named position; the cells seem to be parted by semicolons: save "
	             "the sheet with commas"
	       : memchr(first, '\t', len)
	           ? "no column is named position; the cells seem to be parted by tabs: save the "
	             "sheet with commas"
	           : "the first row names the columns, and one must be named position");
}

static void read_header(struct reader *r)
{
	if (r->cells > COLUMNS_MAX) {
		refuse(r, cell_begin(r, &r->cell[COLUMNS_MAX]), "too many columns: at most 64");
		return;
	}
	bool position = false;
	for (int i = 0; i < r->cells; i++) {
		int column = find_column(r, &r->cell[i]);
		if (r->failed)
			return;
		for (int k = 0; k < i; k++)
			if (column != COLUMN_UNNAMED && r->column[k] == column) {
				refuse(r, cell_begin(r, &r->cell[i]), "this column is named twice");
				return;
			}
		r->column[i] = column;
		position |= column == SHEET_POSITION;
	}
	if (position)
		r->columns = r->cells;
	else
		no_position_column(r);
}

/* ---- the other rows ---- */

static bool put_cell(struct reader *r, const struct cell *c, int column, struct sheet_row *row)
{
	if (!c->len)
		return true;
	if (column == COLUMN_UNNAMED)
		return refuse(r, cell_begin(r, c), "this cell's column has no name in the first row");
	if (c->len >= SHEET_CELL_SIZE)
		return refuse(r, cell_byte(r, c, SHEET_CELL_SIZE - 1),
		              "the cell is too long: at most 159 bytes");
	const char *line_break = strpbrk(c->text, "\r\n");
	if (line_break && column < COLUMN_EXTRA && column != SHEET_NOTE)
		return refuse(r, cell_byte(r, c, (size_t)(line_break - c->text)),
		              "a line break in a cell that is not a note");
	char *to = column >= COLUMN_EXTRA ? row->extra_cell[column - COLUMN_EXTRA]
	                                  : row->written[column];
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

static bool add_to_index(struct reader *r, const struct sheet_row *row)
{
	const struct position *p = &row->position;
	size_t here = raw_of(r, SHEET_POSITION);
	for (size_t i = 0; i < r->rows; i++)
		if (strcmp(r->index[i].name, p->name) == 0)
			return refuse(r, here, "this position was given already, in a row above");
	if (r->rows == SHEET_ROWS_MAX)
		return refuse(r, here, "too many positions: at most 4096");
	if (r->rows == r->index_size) {
		size_t size = r->index_size ? 2 * r->index_size : 64;
		struct row_index *more = realloc(r->index, size * sizeof *more);
		if (!more)
			return refuse(r, here, "out of memory");
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
		refuse(r, here, said.text);
	else
		fault_at(r->why, said.file[0] ? said.file : r->file, said.line, said.column, "%s",
		         said.text);
	r->failed = true;
}

static void read_row(struct reader *r)
{
	if (r->cells != r->columns) {
		refuse(r, r->cells > r->columns ? cell_begin(r, &r->cell[r->columns]) : r->at,
		       r->cells > r->columns ? "the row has more cells than the first row names columns"
		                             : "the row has fewer cells than the first row names columns");
		return;
	}
	struct sheet_row row = {.extras = r->extras};
	memcpy(row.extra_name, r->extra_name, sizeof row.extra_name);
	for (int i = 0; i < r->cells; i++)
		if (!put_cell(r, &r->cell[i], r->column[i], &row))
			return;
	enum sheet_column bad;
	struct fault said;
	if (!row_understand(&row, &bad, &said)) {
		const struct cell *c = cell_of(r, (int)bad);
		refuse(r, said.column ? cell_byte(r, c, (size_t)said.column - 1) : cell_begin(r, c),
		       said.text);
	} else if (r->giving) {
		give_row(r, &row);
	} else {
		add_to_index(r, &row);
	}
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
		for (c->lead = 0; c->lead < len && cell_blank(text[c->lead]);)
			c->lead++;
		while (len > c->lead && cell_blank(text[len - 1]))
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
		if (r->columns)
			read_row(r);
		else
			read_header(r);
	}
	r->cells = 0;
}

/* ---- bytes ---- */

/* Only text may come in: the rest is refused before it can be misread. */
static bool check_bytes(struct reader *r)
{
	for (size_t i = 0; i < r->len;) {
		unsigned char c = (unsigned char)r->text[i];
		size_t n = utf8_length(r->text + i, r->len - i);
		if (!n)
			return refuse(r, i, "not UTF-8: save the sheet as CSV in UTF-8");
		if ((c < 0x20 && c != '\t' && c != '\r' && c != '\n') || c == 0x7f)
			return refuse(r, i, "a control character: save the sheet as CSV in UTF-8");
		i += n;
	}
	return true;
}

static bool feed_byte(struct reader *r, struct csv_parser *p)
{
	char c = r->text[r->at];
	if (c == '\r' && !r->quoted && (r->at + 1 == r->len || r->text[r->at + 1] != '\n'))
		return refuse(r, r->at, "a carriage return without a line feed: rows end with LF or CR LF");
	if (csv_parse(p, &c, 1, on_cell, on_row, r) != 1) {
		if (csv_error(p) != CSV_EPARSE)
			return refuse(r, r->at, "out of memory");
		return refuse(r, r->at,
		              c == '"' ? "a quote inside a cell: put the whole cell in quotes and double "
		                         "the quotes in it"
		                       : "something stands after the closing quote: expected a comma or "
		                         "the end of the row");
	}
	if (c == '"')
		r->quoted = !r->quoted;
	if (!r->quoted && (c == ',' || c == '\n' || c == '\r'))
		r->cell_start = r->at + 1;
	return !r->failed;
}

static bool read_all(struct reader *r)
{
	struct csv_parser p;
	if (csv_init(&p, CSV_STRICT | CSV_STRICT_FINI) != 0)
		return refuse(r, 0, "out of memory");
	r->cell_start = 0;
	r->quoted = false;
	r->cells = r->columns = r->extras = 0;
	bool good = true;
	for (r->at = 0; r->at < r->len && good; r->at++)
		good = feed_byte(r, &p);
	if (good && csv_fini(&p, on_cell, on_row, r) != 0) {
		struct cell open = {.raw = r->cell_start};
		refuse(r, cell_begin(r, &open), "this quote is not closed");
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
		if (x->with[0] && !find_row(r, x->with))
			return refuse(r, x->with_raw, "with: no position of this name is in the sheet");
		struct row_index *twin = x->twin[0] ? find_row(r, x->twin) : NULL;
		if (x->twin[0] && !twin)
			return refuse(r, x->twin_raw, "twin: no position of this name is in the sheet");
	}
	for (size_t i = 0; i < r->rows; i++) {
		struct row_index *x = &r->index[i];
		struct row_index *twin = x->twin[0] ? find_row(r, x->twin) : NULL;
		if (!twin)
			continue;
		if (!twin->twin[0])
			memcpy(twin->twin, x->name, NAME_SIZE);
		else if (strcmp(twin->twin, x->name) != 0)
			return refuse(r, x->twin_raw, "twin: that position is the twin of another one");
	}
	return true;
}

bool sheet_parse(const char *file, const char *text, size_t len,
                 bool (*each)(void *arg, const struct sheet_row *row, struct fault *why), void *arg,
                 struct fault *why)
{
	if (len >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0)
		text += 3, len -= 3;
	struct reader *r = calloc(1, sizeof *r);
	if (!r) {
		fault_at(why, file, 0, 0, "out of memory");
		return false;
	}
	r->file = file;
	r->text = text;
	r->len = len;
	r->why = why;
	r->each = each;
	r->arg = arg;
	bool good = check_bytes(r) && read_all(r);
	if (good && !r->columns)
		good = refuse(r, 0, "the sheet is empty: the first row names the columns");
	if (good && check_twins(r)) {
		r->giving = true;
		read_all(r);
	}
	good = !r->failed;
	free(r->index);
	free(r);
	return good;
}
