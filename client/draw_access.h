/* SPDX-License-Identifier: MIT */
/*
 * What a PDF of cairo 1.16 cannot say for itself, added to it afterwards: its language, that it is
 * tagged, that its title is what a window is to be called, words for its pictures, and which
 * way the heads of its tables look.  A screen reader needs each of them.
 *
 * It is an incremental update (ISO 32000-1:2008, 7.5.6): the objects in question are written once
 * more behind the old end, with a table of where they lie and a trailer that points to the one
 * before.  What cairo wrote is not touched.  Structure elements of one kind have their numbers in
 * the order in which they were drawn.  Keys: /Lang 14.9.2, /MarkInfo 14.7.1, /Alt 14.9.3, /Scope
 * 14.8.5.7, /DisplayDocTitle 12.2.
 */
#ifndef TALLY_CLIENT_DRAW_ACCESS_H
#define TALLY_CLIENT_DRAW_ACCESS_H

#include <stdbool.h>
#include <stddef.h>

struct draw_access {
	const char *language; /* a tag: "en" */
	char **alt;           /* malloc, of malloc: one for each Figure, in the order of drawing */
	char *scope;          /* malloc: 'c' or 'r' for each TH, in that order */
	int alts, alt_room, scopes, scope_room;
	bool failed;          /* no memory */
};

/* The words of a picture: its title and description. */
void draw_access_figure(struct draw_access *a, const char *svg);
/* The head of a column, or of a row. */
void draw_access_head(struct draw_access *a, bool column);
/* False where the file is not what was expected: it is left as it was then, and still a good PDF. */
bool draw_access_write(const struct draw_access *a, const char *file);
void draw_access_free(struct draw_access *a);

#endif
