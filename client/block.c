/* SPDX-License-Identifier: MIT */
/* Drawing block letters: see block.h. */
#include "client/block.h"

#include <string.h>

#define MICRO 0xB5
#define OHM 0x3A9

int block_rows(enum block size)
{
	return size == BLOCK_MIDDLE ? BLOCK_MIDDLE_ROWS
	     : size == BLOCK_TALL ? BLOCK_TALL_ROWS : 2 * BLOCK_TALL_ROWS;
}

/* The next character; both micro signs and both ohm signs are one. */
static uint32_t next_code(const char **text)
{
	const unsigned char *u = (const unsigned char *)*text;
	uint32_t code = u[0];
	int n = 1;
	if (u[0] >= 0xC2 && u[0] < 0xE0 && (u[1] & 0xC0) == 0x80) {
		code = (uint32_t)(u[0] & 0x1F) << 6 | (u[1] & 0x3F);
		n = 2;
	} else if ((u[0] & 0xF0) == 0xE0 && (u[1] & 0xC0) == 0x80 && (u[2] & 0xC0) == 0x80) {
		code = (uint32_t)(u[0] & 0x0F) << 12 | (uint32_t)(u[1] & 0x3F) << 6 | (u[2] & 0x3F);
		n = 3;
	}
	*text += n;
	return code == 0x3BC ? MICRO : code == 0x2126 ? OHM : code == 0x2212 ? '-' : code;
}

static const char *shape(enum block size, uint32_t code, int row)
{
	const char *(*look_up)(uint32_t, int) = size == BLOCK_MIDDLE ? block_middle : block_tall;
	const char *bits = look_up(code, row);
	if (!bits && code >= 'a' && code <= 'z')
		bits = look_up(code - 'a' + 'A', row);
	if (bits)
		return bits;
	int last = size == BLOCK_MIDDLE ? 2 * BLOCK_MIDDLE_ROWS - 1 : BLOCK_TALL_ROWS - 1;
	if (size == BLOCK_MIDDLE)
		return row == 0 || row == last ? "###" : "#.#";
	return row == 0 || row == last ? "#######" : "##...##";
}

int block_width(enum block size, const char *text)
{
	int width = 0, scale = size == BLOCK_DOUBLE ? 2 : 1;
	while (*text)
		width += ((int)strlen(shape(size, next_code(&text), 0)) + 1) * scale;
	return width ? width - scale : 0;
}

/* Two pixels, one above the other, as a cell. */
static const char *halves(bool upper, bool lower, bool utf8)
{
	if (upper && lower)
		return utf8 ? "\u2588" : "#";
	if (upper)
		return utf8 ? "\u2580" : "\"";
	return lower ? utf8 ? "\u2584" : "_" : NULL;
}

static int put_middle(struct picture *p, int row, int column, bool utf8, enum look look,
                      uint32_t code)
{
	int width = (int)strlen(shape(BLOCK_MIDDLE, code, 0));
	for (int r = 0; r < BLOCK_MIDDLE_ROWS; r++)
		for (int i = 0; i < width; i++) {
			const char *cell = halves(shape(BLOCK_MIDDLE, code, 2 * r)[i] == '#',
			                          shape(BLOCK_MIDDLE, code, 2 * r + 1)[i] == '#', utf8);
			if (cell)
				picture_put(p, row + r, column + i, look, cell);
		}
	return width;
}

/* A pixel of a tall letter: its upper and lower half.  Half pixels only round the
 * corners; without half blocks the letter does without them. */
static int put_tall(struct picture *p, int row, int column, int scale, bool utf8,
                    enum look look, uint32_t code)
{
	int width = (int)strlen(shape(BLOCK_TALL, code, 0));
	for (int r = 0; r < BLOCK_TALL_ROWS * scale; r++)
		for (int i = 0; i < width * scale; i++) {
			char pixel = shape(BLOCK_TALL, code, r / scale)[i / scale];
			bool first = r % scale == 0, full = pixel == '#';
			bool upper = full || (pixel == 'v' && (scale == 1 || first));
			bool lower = full || (pixel == 'a' && (scale == 1 || !first));
			if (scale == 2 && !full) /* half a pixel is a whole cell here */
				upper = lower = upper || lower;
			const char *cell = utf8 || full || scale == 2 ? halves(upper, lower, utf8) : NULL;
			if (cell)
				picture_put(p, row + r, column + i, look, cell);
		}
	return width * scale;
}

int block_put(struct picture *p, int row, int column, enum block size, bool utf8,
              enum look look, const char *text)
{
	int scale = size == BLOCK_DOUBLE ? 2 : 1;
	const char *gap = "";
	while (*text) {
		column += *gap ? scale : 0;
		gap = " ";
		uint32_t code = next_code(&text);
		column += size == BLOCK_MIDDLE ? put_middle(p, row, column, utf8, look, code)
		                               : put_tall(p, row, column, scale, utf8, look, code);
	}
	return column;
}
