/* SPDX-License-Identifier: MIT */
/* See table.h. */
#include "client/table.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct table_row {
	enum table_mark mark;
	int filled;
	char *cells[TABLE_COLUMNS_MAX]; /* NULL is empty */
};

#define TABLE_GAP 2
/* Facts: the label's column. */
#define FACT_INDENT 13

void table_begin(struct table *t, const struct table_column *columns, int count)
{
	*t = (struct table){.columns = columns, .count = count};
}

void table_end(struct table *t)
{
	for (size_t r = 0; r < t->row_count; r++)
		for (int c = 0; c < t->rows[r].filled; c++)
			free(t->rows[r].cells[c]);
	free(t->rows);
	*t = (struct table){0};
}

void table_row(struct table *t, enum table_mark mark)
{
	if (t->failed)
		return;
	if (t->row_count == t->row_room) {
		size_t room = t->row_room ? t->row_room * 2 : 32;
		struct table_row *rows = realloc(t->rows, room * sizeof *rows);
		if (!rows) {
			t->failed = true;
			return;
		}
		t->rows = rows;
		t->row_room = room;
	}
	t->rows[t->row_count++] = (struct table_row){.mark = mark};
}

void table_cell(struct table *t, const char *text)
{
	if (t->failed || !t->row_count)
		return;
	struct table_row *row = &t->rows[t->row_count - 1];
	if (row->filled >= t->count)
		return;
	char *copy = text[0] ? strdup(text) : NULL;
	if (text[0] && !copy) {
		t->failed = true;
		return;
	}
	row->cells[row->filled++] = copy;
}

void table_printf(struct table *t, const char *format, ...)
{
	char text[WORDS_SIZE];
	va_list args;
	va_start(args, format);
	vsnprintf(text, sizeof text, format, args);
	va_end(args);
	table_cell(t, text);
}

const char *table_colour(const struct style *style, enum table_mark mark)
{
	static const char *const on[] = {"", "\033[33m", "\033[1;31m", "\033[2m"};
	return style->colour && !style->plain ? on[mark] : "";
}

const char *table_colour_end(const struct style *style, enum table_mark mark)
{
	return table_colour(style, mark)[0] ? "\033[0m" : "";
}

static const char *cell_text(const struct table_row *row, int column)
{
	return column < row->filled && row->cells[column] ? row->cells[column] : "";
}

static void print_plain(const struct table *t, struct lines *out)
{
	for (size_t r = 0; r < t->row_count; r++) {
		const char *gap = "";
		for (int c = 0; c < t->count; c++) {
			const char *text = cell_text(&t->rows[r], c);
			if (!text[0])
				continue;
			const char *name = t->columns[c].bare ? "" : t->columns[c].name;
			lines_printf(out, "%s%s%s%s", gap, name, name[0] ? " " : "", text);
			gap = ", ";
		}
		lines_puts(out, "\n");
	}
}

/* Width of each column, 0 for one without a cell; the last one that is used. */
static int measure(const struct table *t, size_t *width)
{
	int last = -1;
	for (int c = 0; c < t->count; c++) {
		width[c] = 0;
		for (size_t r = 0; r < t->row_count; r++) {
			const char *text = cell_text(&t->rows[r], c);
			size_t w = words_width(text, strlen(text));
			if (w > width[c])
				width[c] = w;
		}
		if (!width[c])
			continue;
		last = c;
		if (strlen(t->columns[c].name) > width[c])
			width[c] = strlen(t->columns[c].name);
	}
	return last;
}

/*
 * Where a terminal is too narrow, columns that do not fit are said on a line below each row, as a
 * screen reader says them.  The last column is folded where it has room for some words.
 */
#define FOLD_ROOM 20
#define BELOW_INDENT 5
static int columns_that_fit(const struct table *t, const struct style *style, const size_t *width,
                            int last)
{
	size_t column = 0;
	for (int c = 0; c <= last && style->width > 0; c++) {
		if (!width[c])
			continue;
		bool fits = column + width[c] <= (size_t)style->width ||
		            (c == last && column + FOLD_ROOM <= (size_t)style->width);
		if (!fits && c > 0)
			return c;
		column += width[c] + TABLE_GAP;
	}
	return t->count;
}

static void print_below(const struct table *t, const struct style *style, struct lines *out, int from,
                        int last, const struct table_row *row)
{
	struct lines text = {0};
	for (int c = from; c <= last; c++) {
		const char *cell = cell_text(row, c), *name = t->columns[c].bare ? "" : t->columns[c].name;
		if (cell[0])
			lines_printf(&text, "%s%s%s%s", text.len ? ", " : "", name, name[0] ? " " : "", cell);
	}
	if (text.len) {
		lines_puts(out, "\n");
		lines_fill(out, ' ', BELOW_INDENT);
		words_fold(out, style, BELOW_INDENT, BELOW_INDENT, lines_text(&text));
	}
	out->failed = out->failed || text.failed;
	lines_free(&text);
}

/* One line of cells; trailing spaces are never written. */
static void print_row(const struct table *t, const struct style *style, struct lines *out,
                      const size_t *width, int last, const struct table_row *row)
{
	size_t column = 0, owed = 0;
	enum table_mark mark = row ? row->mark : TABLE_FAINT;
	int fit = columns_that_fit(t, style, width, last);
	lines_puts(out, table_colour(style, mark));
	for (int c = 0; c <= last && c < fit; c++) {
		if (!width[c])
			continue;
		const char *text = row ? cell_text(row, c) : t->columns[c].name;
		size_t w = words_width(text, strlen(text));
		size_t before = t->columns[c].right ? width[c] - w : 0;
		if (text[0]) {
			lines_fill(out, ' ', owed + before);
			if (c == last)
				words_fold(out, style, column + before, column, text);
			else
				lines_puts(out, text);
			owed = width[c] - w - before;
		} else {
			owed += width[c];
		}
		column += width[c] + TABLE_GAP;
		owed += TABLE_GAP;
	}
	if (row && fit <= last)
		print_below(t, style, out, fit, last, row);
	lines_puts(out, table_colour_end(style, mark));
	lines_puts(out, "\n");
}

void table_print(const struct table *t, const struct style *style, struct lines *out)
{
	size_t width[TABLE_COLUMNS_MAX];
	if (t->failed) {
		out->failed = true;
		return;
	}
	if (!t->row_count)
		return;
	if (style->plain) {
		print_plain(t, out);
		return;
	}
	int last = measure(t, width);
	print_row(t, style, out, width, last, NULL);
	for (size_t r = 0; r < t->row_count; r++)
		print_row(t, style, out, width, last, &t->rows[r]);
}

void fact(struct lines *out, const struct style *style, const char *label, const char *value)
{
	if (!value[0])
		return;
	if (style->plain) {
		lines_printf(out, "%s%s%s\n", label, label[0] ? ": " : "", value);
		return;
	}
	lines_puts(out, label);
	size_t w = words_width(label, strlen(label));
	lines_fill(out, ' ', w < FACT_INDENT ? FACT_INDENT - w : 1);
	words_fold(out, style, w < FACT_INDENT ? FACT_INDENT : w + 1, FACT_INDENT, value);
	lines_puts(out, "\n");
}

void fact_printf(struct lines *out, const struct style *style, const char *label,
                 const char *format, ...)
{
	char text[WORDS_SIZE * 2];
	va_list args;
	va_start(args, format);
	vsnprintf(text, sizeof text, format, args);
	va_end(args);
	fact(out, style, label, text);
}
