/* SPDX-License-Identifier: MIT */
/*
 * Block letters: what must be read from two metres, drawn from cells.
 *
 *     tall    8 rows, strokes of two columns: the value and its unit.  About 36 mm on a
 *             screen whose capitals are 3 mm.
 *     middle  3 rows, drawn from half cells: position, state, COLD or LIVE.  About 13 mm,
 *             which is what eyes need at two metres.
 *
 * The letters are our own.  Where the terminal shows no half blocks the middle ones
 * are drawn with # " _, the tall ones with # alone.  A letter that is not here is
 * taken as its capital, anything else as a hollow box.
 */
#ifndef TALLY_CLIENT_BLOCK_H
#define TALLY_CLIENT_BLOCK_H

#include "client/picture.h"

#define BLOCK_TALL_ROWS 8
#define BLOCK_MIDDLE_ROWS 3

enum block { BLOCK_MIDDLE, BLOCK_TALL, BLOCK_DOUBLE /* tall, twice as large */ };

int block_rows(enum block size);
/* Columns that a text takes; 0 for "". */
int block_width(enum block size, const char *text);
/* Draw, clipped at the edges.  Returns the column behind it. */
int block_put(struct picture *p, int row, int column, enum block size, bool utf8,
              enum look look, const char *text);

/* For block.c and its test: the pixel at a place of a letter.  Tall letters have 8
 * rows of '#', 'a' (lower half), 'v' (upper half) and '.'; middle ones 6 rows of '#'
 * and '.', two to a cell.  NULL where there is no such letter. */
const char *block_tall(uint32_t code, int row);
const char *block_middle(uint32_t code, int row);

#endif
