/* SPDX-License-Identifier: MIT */
/*
 * Paper: one document, written twice at the same time, as HTML and as pages for print.
 *
 * A report must say the same on the screen and on paper, so nobody writes HTML or pages
 * by hand: blocks go in (headings, paragraphs, tables, pictures), both texts come out.
 *
 * The HTML is one file that asks nothing of any network: style, pictures and the few lines of
 * script stand in it, and a content security policy forbids the rest.  On a narrow screen a row of
 * a table becomes a block, each cell with the name of its column; roles are written out, because
 * such a layout makes browsers forget that it is a table.
 *
 * The pages are lines of text for tally-draw, which breaks them into pages: see
 * draw_pages.h for the format.
 *
 * All texts are plain UTF-8; they are escaped here.  Whatever does not fit in memory sets
 * `failed` of the lines, and the text is not to be used then.
 */
#ifndef TALLY_CLIENT_REPORT_PAPER_H
#define TALLY_CLIENT_REPORT_PAPER_H

#include "client/lines.h"

/* How a paragraph or cell looks; never by colour alone. */
enum paper_look {
	PAPER_PLAIN,
	PAPER_LEAD,    /* the first sentence */
	PAPER_SMALL,
	PAPER_CAUTION, /* with a bar beside it */
	PAPER_STRONG,
	PAPER_MONO,    /* hashes and commands: may break anywhere */
	PAPER_GOOD,    /* the verdict, in a frame: what was asked for holds */
	PAPER_BAD,     /* ... in a thick one: it does not */
};

struct paper_column {
	const char *label;
	int weight; /* share of the width on paper */
	bool right; /* numbers */
};

struct paper_kept;

struct paper {
	struct lines html, pages;
	/* The table that is open: its cells are kept until its end. */
	const struct paper_column *column;
	char *caption;
	struct paper_kept *kept; /* malloc */
	int columns, kepts, kept_room;
};

struct paper_head {
	const char *title, *language; /* language: a tag for lang="" */
	const char *size;             /* of the paper: "a4" or "letter" */
	const char *foot;             /* on each page, and at the end of the HTML */
	const char *number;           /* "Page %1 of %2" */
	const char *author, *about;   /* of the PDF; NULL: not known */
};

void paper_begin(struct paper *p, const struct paper_head *head);
void paper_end(struct paper *p, const struct paper_head *head);
void paper_free(struct paper *p);

/* level 1 to 3; id may be NULL. */
void paper_heading(struct paper *p, int level, const char *id, const char *text);
void paper_text(struct paper *p, enum paper_look look, const char *text);
/* On the screen alone: what can be done there. */
void paper_screen(struct paper *p, const char *text);
void paper_printf(struct paper *p, enum paper_look look, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
void paper_list_begin(struct paper *p);
void paper_item(struct paper *p, const char *text);
/* With a sign of its own in place of the dot. */
void paper_item_marked(struct paper *p, const char *mark, const char *text);
void paper_list_end(struct paper *p);

/* Short facts with their names, two beside each other where there is room; an empty one is left out. */
void paper_facts_begin(struct paper *p);
void paper_fact(struct paper *p, const char *name, const char *value);
void paper_facts_end(struct paper *p);

/* The columns must live until paper_table_end.  A column in which no row has anything is left out,
 * but for the first. */
void paper_table(struct paper *p, const char *caption, const struct paper_column *column,
                 int columns);
/* Ends at the next row, or with the table. */
void paper_row(struct paper *p, const char *id);
/* The first cell of a row is its head.  LF parts lines. */
void paper_cell(struct paper *p, enum paper_look look, const char *text);
void paper_cell_printf(struct paper *p, enum paper_look look, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
/* A picture in a cell: a whole <svg>, its size in units of 1/96 inch. */
void paper_cell_picture(struct paper *p, int width, int height, const char *svg);
void paper_table_end(struct paper *p);
/* The table that is open was none: nothing of it is written. */
void paper_kept_free(struct paper *p);

/* A picture by itself; on paper two that follow each other stand side by side where they can. */
void paper_picture(struct paper *p, int width, int height, const char *svg);
/* What follows begins on a new page. */
void paper_page(struct paper *p);
/* What stands between them shall be one page: on paper it is made smaller where it must. */
void paper_sheet_begin(struct paper *p);
void paper_sheet_end(struct paper *p);

/* Text for HTML and SVG: & < > " and ' escaped, control characters left out. */
void paper_escape(struct lines *out, const char *text);

#endif
