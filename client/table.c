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

/* A column as it is set: of numbers, how much stands before their points, from there to their last
 * digit, and behind it. */
struct extent {
	size_t width; /* 0: without a cell */
	size_t whole, places, rest;
};

/* Where a cell of numbers is cut; false for what is none, which ends where the digits end. */
static bool number_parts(const char *text, struct extent *out)
{
	size_t sign = strspn(text, "+-"), whole = sign + strspn(text + sign, "0123456789"), places = 0;
	if (text[whole] == '.')
		places = 1 + strspn(text + whole + 1, "0123456789");
	const char *rest = text + whole + places;
	*out = (struct extent){.width = words_width(text, strlen(text))};
	/* As it was written, "470k", and two values for one, "33 uF + 33 uF", are words. */
	if (whole == sign || (rest[0] && rest[0] != ' ') || strstr(rest, " + "))
		return false;
	out->whole = whole;
	out->places = places;
	out->rest = words_width(rest, strlen(rest));
	return true;
}

static size_t most_of(size_t a, size_t b)
{
	return a > b ? a : b;
}

static void measure_column(const struct table *t, int c, struct extent *e)
{
	struct extent one;
	size_t words = 0;
	*e = (struct extent){.width = 0};
	for (size_t r = 0; r < t->row_count; r++) {
		const char *text = cell_text(&t->rows[r], c);
		if (t->columns[c].right && number_parts(text, &one)) {
			e->whole = most_of(e->whole, one.whole);
			e->places = most_of(e->places, one.places);
			e->rest = most_of(e->rest, one.rest);
		} else {
			words = most_of(words, words_width(text, strlen(text)));
		}
	}
	/* A word stands above the digits, and reaches over where units stand when it is longer. */
	e->width = most_of(words, e->whole + e->places + e->rest);
}

/* How far a cell is put in from the left of its column, and in *gap how much is put between its number
 * and the unit. */
static size_t put_in(const struct extent *e, const char *text, bool right, size_t *cut, size_t *gap)
{
	struct extent one;
	*gap = *cut = 0;
	if (!right)
		return 0;
	bool number = number_parts(text, &one);
	if (!e->whole)
		return e->width - one.width;
	/* What else is wider, a heading or a word. */
	size_t before = e->width - e->whole - e->places - e->rest, digits = before + e->whole + e->places;
	if (!number)
		return digits > one.width ? digits - one.width : 0;
	*cut = one.whole + one.places;
	*gap = one.rest ? e->places - one.places : 0;
	return before + e->whole - one.whole;
}

/* Each column, and the last one that is used. */
static int measure(const struct table *t, struct extent *width)
{
	int last = -1;
	for (int c = 0; c < t->count; c++) {
		measure_column(t, c, &width[c]);
		if (!width[c].width)
			continue;
		last = c;
		width[c].width = most_of(width[c].width, strlen(t->columns[c].name));
	}
	return last;
}

/*
 * Where a terminal is too narrow, columns that do not fit are said on a line below each row, as a
 * screen reader says them.  The last column is folded where it has room for some words.
 */
#define FOLD_ROOM 20
#define BELOW_INDENT 5
static int columns_that_fit(const struct table *t, const struct style *style, const struct extent *width,
                            int last)
{
	size_t column = 0;
	for (int c = 0; c <= last && style->width > 0; c++) {
		if (!width[c].width)
			continue;
		bool fits = column + width[c].width <= (size_t)style->width ||
		            (c == last && column + FOLD_ROOM <= (size_t)style->width);
		if (!fits && c > 0)
			return c;
		column += width[c].width + TABLE_GAP;
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
                      const struct extent *width, int last, const struct table_row *row)
{
	size_t column = 0, owed = 0;
	enum table_mark mark = row ? row->mark : TABLE_FAINT;
	int fit = columns_that_fit(t, style, width, last);
	lines_puts(out, table_colour(style, mark));
	for (int c = 0; c <= last && c < fit; c++) {
		const struct extent *e = &width[c];
		if (!e->width)
			continue;
		const char *text = row ? cell_text(row, c) : t->columns[c].name;
		size_t w = words_width(text, strlen(text)), cut = 0, gap = 0;
		size_t before = row ? put_in(e, text, t->columns[c].right, &cut, &gap)
		                    : t->columns[c].right ? e->width - w : 0;
		if (text[0]) {
			lines_fill(out, ' ', owed + before);
			lines_add(out, text, cut);
			lines_fill(out, ' ', gap);
			if (c == last)
				words_fold(out, style, column + before + cut + gap, column, text + cut);
			else
				lines_puts(out, text + cut);
			owed = e->width - w - before - gap;
		} else {
			owed += e->width;
		}
		column += e->width + TABLE_GAP;
		owed += TABLE_GAP;
	}
	if (row && fit <= last)
		print_below(t, style, out, fit, last, row);
	lines_puts(out, table_colour_end(style, mark));
	lines_puts(out, "\n");
}

void table_print(const struct table *t, const struct style *style, struct lines *out)
{
	struct extent width[TABLE_COLUMNS_MAX];
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
