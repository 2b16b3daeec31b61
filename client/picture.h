/* SPDX-License-Identifier: MIT */
/*
 * A picture: a grid of cells, each one character and the name of how it looks.
 *
 * Views draw into it, the terminal (screen.c) shows it, and tests keep it as text.
 * What does not fit is clipped; nothing here knows a terminal.
 */
#ifndef TALLY_CLIENT_PICTURE_H
#define TALLY_CLIENT_PICTURE_H

#include "client/lines.h"

#include <stdint.h>

#define PICTURE_WIDTH_MAX 400
#define PICTURE_HEIGHT_MAX 200

/* How a cell looks.  Colour and weight add: what they mean stands there in words, too. */
enum look {
	LOOK_ORDINARY,
	LOOK_FAINT,   /* beside the matter: labels, what was before */
	LOOK_STRONG,  /* what is to be read first */
	LOOK_GOOD,    /* logged, within */
	LOOK_WARNING, /* unsure, held, still moving */
	LOOK_BAD,     /* outside, not logged, gone */
	LOOK_LIVE,    /* the unit has volts on it: inverse */
	LOOK_KEY,     /* the letter of a key */
	LOOK_COUNT
};

struct cell {
	char text[12]; /* one character with its combining marks; "" behind a wide one */
	uint8_t look;
};

struct picture {
	int width, height;
	int cursor_row, cursor_column; /* where the person types; -1: nowhere */
	struct cell *cells;            /* width * height, row by row */
};

/* Blank, of this size (bounded by the sizes above).  False without memory; then it has no
 * cells, and drawing into it does nothing.  picture_end frees. */
bool picture_begin(struct picture *p, int width, int height);
void picture_end(struct picture *p);

/* Text from a place on; control characters as '?'.  Returns the column behind it, also
 * where it was clipped.  `most` columns at most (picture_put: to the right edge). */
int picture_put(struct picture *p, int row, int column, enum look look, const char *text);
int picture_put_most(struct picture *p, int row, int column, int most, enum look look,
                     const char *text);
/* The name of a position (ASCII); of one that is longer than `most` its end behind a ~, for
 * that is where names such as power/left/R12 differ. */
int picture_put_name(struct picture *p, int row, int column, int most, enum look look,
                     const char *name);
int picture_printf(struct picture *p, int row, int column, enum look look, const char *format,
                   ...) __attribute__((format(printf, 5, 6)));
/* Blank part of a row. */
void picture_clear(struct picture *p, int row, int column, int width);
/* Another look for cells that are there. */
void picture_tint(struct picture *p, int row, int column, int width, enum look look);

/* All rows, blanks at their ends dropped; with looks, a letter a cell, below a line
 * "looks" (o ordinary as blank, f s g w b l k). */
void picture_text(const struct picture *p, bool looks, struct lines *out);

#endif
