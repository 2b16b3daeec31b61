/* SPDX-License-Identifier: MIT */
/*
 * Rows of cells as aligned columns, or as one sentence a row for screen readers.
 *
 *     seq  position  quantity      shown  verdict  deviation
 *      12  R12       value      612 kohm  outside  30.2 % high
 *
 * plain:
 *
 *     seq 12, position R12, quantity value, shown 612 kohm, verdict outside, ...
 *
 * Columns without any cell are left out.  The last column is folded at the width
 * of the terminal; what has no room there at all is said on a line below its row.
 */
#ifndef TALLY_CLIENT_TABLE_H
#define TALLY_CLIENT_TABLE_H

#include "client/words.h"

#define TABLE_COLUMNS_MAX 14

struct table_column {
	const char *name;
	bool right; /* numbers: their decimal points stand below each other, and so do their units */
	bool bare;  /* plain: the cell says what it is, its name is left out */
};

/* How a row is coloured, where there is colour: the words say the same. */
enum table_mark { TABLE_ORDINARY, TABLE_WARNING, TABLE_BAD, TABLE_FAINT };

struct table_row;
struct table {
	const struct table_column *columns;
	int count;
	struct table_row *rows;
	size_t row_count, row_room;
	bool failed; /* out of memory; table_print says so */
};

void table_begin(struct table *t, const struct table_column *columns, int count);
/* A new row; its cells are filled from the left. */
void table_row(struct table *t, enum table_mark mark);
void table_cell(struct table *t, const char *text);
void table_printf(struct table *t, const char *format, ...) __attribute__((format(printf, 2, 3)));
void table_print(const struct table *t, const struct style *style, struct lines *out);
void table_end(struct table *t);

/* The escapes of a mark, "" without colour. */
const char *table_colour(const struct style *style, enum table_mark mark);
const char *table_colour_end(const struct style *style, enum table_mark mark);

/* One fact on a line: "head        12:9f2c...", plain "head: 12:9f2c...".  An empty
 * value prints nothing. */
void fact(struct lines *out, const struct style *style, const char *label, const char *value);
void fact_printf(struct lines *out, const struct style *style, const char *label,
                 const char *format, ...) __attribute__((format(printf, 4, 5)));

#endif
