/* SPDX-License-Identifier: MIT */
/*
 * What the files of tally-draw's documents share: the lines of the document, and the page that is
 * being filled from the top.  All lengths are points (1/72 inch), from the upper left corner.
 *
 *     draw_pages.c   lines into fields, the document, its two passes
 *     draw_page.c    types, text, foot, the end of a page
 *     draw_blocks.c  headings, paragraphs, pictures, facts
 *     draw_table.c   tables
 */
#ifndef TALLY_CLIENT_DRAW_INSIDE_H
#define TALLY_CLIENT_DRAW_INSIDE_H

#include "client/draw_access.h"

#include <pango/pangocairo.h>
#include <stdbool.h>

#define DRAW_FIELDS_MAX 6
#define DRAW_COLUMNS_MAX 12
#define DRAW_MARGIN 40.0

struct draw_line {
	char *field[DRAW_FIELDS_MAX]; /* the word first */
	int fields;
};

struct draw_column {
	double x, width;
	bool right;
	char *label;
};

struct document {
	cairo_surface_t *surface;
	cairo_t *cr;
	struct draw_line *line;
	int lines;
	double width, height, y;
	int page, pages; /* pages 0: they are being counted */
	const char *title, *foot, *number, *author, *about, *lang;
	int chapter; /* of the outline: what h3 stand below */
	struct draw_column column[DRAW_COLUMNS_MAX];
	int columns;
	double scale; /* of everything, to fit a sheet */
	bool bad; /* a picture could not be drawn */
	struct draw_access *access;
};

struct draw_type {
	const char *word; /* look or heading */
	double size, before, after;
	bool bold, mono;
};

/* ---- draw_page.c ---- */

/* The type of that look or heading; that of a plain paragraph where none has the word. */
const struct draw_type *draw_type(const char *word);
/* A field of a line, the word is 0; "" where there is none. */
const char *draw_field(const struct draw_line *l, int i);
bool draw_word_is(const struct draw_line *l, const char *word);

/* The text broken into lines of that width, by the sheet's scale; g_object_unref. */
PangoLayout *draw_layout(struct document *d, const struct draw_type *t, const char *text, double width,
                         bool bold);
double draw_height(PangoLayout *l);
void draw_page_begin(struct document *d);
/* With its foot. */
void draw_page_end(struct document *d);
/* Is there no room for so much?  Then a new page; true. */
bool draw_need(struct document *d, double height);
/* Between rows: lighter than what stands in them. */
void draw_hairline(struct document *d, double from, double to, double y);

/* ---- draw_blocks.c: what is drawn moves d->y below it ---- */

/* tag: of the PDF, "P", "H1" to "H3", "LI"; mark: of an item, "" is a dot. */
void draw_paragraph(struct document *d, const char *look, const char *text, const char *tag,
                    const char *mark);
/* One picture at that place, d->y stays; what cannot be drawn is said once, and left out. */
void draw_picture(struct document *d, const char *svg, double x, double y, double width, double height);
/* As large as its line wants to be, and no wider than `most`. */
void draw_picture_size(const struct document *d, const struct draw_line *l, double most, double *width,
                       double *height);
/* From the first of them on, as many as follow each other: two in a row, and one is one tall.  Returns
 * the line after them. */
int draw_pictures(struct document *d, int at);
/* All facts that follow each other, in two columns; returns the line after them. */
int draw_facts(struct document *d, int at);

/* ---- draw_table.c ---- */

/* From its line `table` on; returns the line after its `end`. */
int draw_table(struct document *d, int at);

#endif
