/* SPDX-License-Identifier: MIT */
/*
 * tally-draw's second input: a document as lines, broken into pages of a PDF with real text.
 *
 * A line is a word and its fields, parted by TAB; in a field \n is a line break and \\ a backslash.
 *
 *     tally-pages-1  SIZE       a4 or letter: the first line
 *     title TEXT   lang TAG     of the document
 *     author TEXT  about TEXT   who answers for it; what it is of
 *     foot TEXT    number TEXT  at the foot of each page: left; right ("Page %1 of %2")
 *     h1 h2 h3  TEXT            headings
 *     p  LOOK TEXT              a paragraph: LOOK empty, lead, small, caution, strong, mono; good or bad: framed
 *     fact NAME TEXT            a short fact; those that follow each other stand in two columns
 *     li TEXT [MARK]            an item; MARK: in place of its dot
 *     svg WIDTH HEIGHT SVG      a picture, in units of 1/96 inch; two that follow each other stand
 *                               side by side where they can
 *     page                      a new page
 *     sheet ... sheet-end       what stands between them is made smaller (to 60 %) to fit one page
 *     table CAPTION, then col WEIGHT l|r LABEL for each column, then rows, then end
 *     row, then for each cell  c LOOK TEXT  or  s WIDTH HEIGHT SVG
 *
 * A row is not broken; the head of a table stands again on each page.  Words that are not known
 * are passed over.  The PDF carries its structure (headings, paragraphs, tables, figures) and an outline.
 */
#ifndef TALLY_CLIENT_DRAW_PAGES_H
#define TALLY_CLIENT_DRAW_PAGES_H

#include <cairo.h>
#include <stdbool.h>
#include <stddef.h>

/* Is it such a document? */
bool draw_is_pages(const char *text, size_t len);
/* Writes the file.  `text` is changed.  What is wrong with a picture was said on standard
 * error; it is left out then, and the result is CAIRO_STATUS_READ_ERROR. */
cairo_status_t draw_pages(char *text, size_t len, const char *file);

#endif
