/* SPDX-License-Identifier: MIT */
/* The grid of cells: see picture.h. */
#include "client/picture.h"

#include "client/words.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

bool picture_begin(struct picture *p, int width, int height)
{
	width = width < 1 ? 1 : width > PICTURE_WIDTH_MAX ? PICTURE_WIDTH_MAX : width;
	height = height < 1 ? 1 : height > PICTURE_HEIGHT_MAX ? PICTURE_HEIGHT_MAX : height;
	*p = (struct picture){.width = width, .height = height, .cursor_row = -1,
	                      .cursor_column = -1};
	p->cells = calloc((size_t)width * (size_t)height, sizeof *p->cells);
	if (!p->cells) {
		p->width = p->height = 0;
		return false;
	}
	for (int row = 0; row < height; row++)
		picture_clear(p, row, 0, width);
	return true;
}

void picture_end(struct picture *p)
{
	free(p->cells);
	*p = (struct picture){.cells = NULL};
}

static struct cell *cell_at(struct picture *p, int row, int column)
{
	if (row < 0 || row >= p->height || column < 0 || column >= p->width)
		return NULL;
	return &p->cells[row * p->width + column];
}

/* Bytes of the character at `text`: 1 for a byte that begins none. */
static size_t character_bytes(const char *text)
{
	unsigned char c = (unsigned char)*text;
	size_t n = c < 0xC2 ? 1 : c < 0xE0 ? 2 : c < 0xF0 ? 3 : c < 0xF5 ? 4 : 1;
	for (size_t i = 1; i < n; i++)
		if (((unsigned char)text[i] & 0xC0) != 0x80)
			return 1;
	return n;
}

/* Half of a wide character must not stand alone. */
static void unwiden(struct picture *p, int row, int column)
{
	struct cell *c = cell_at(p, row, column), *before = cell_at(p, row, column - 1);
	if (c && !c->text[0] && before)
		strcpy(before->text, " ");
}

int picture_put_most(struct picture *p, int row, int column, int most, enum look look,
                     const char *text)
{
	int end = column + most, begin = column;
	if (end > p->width)
		end = p->width;
	while (*text) {
		size_t n = character_bytes(text);
		int width = (int)words_width(text, n);
		bool bad = (unsigned char)*text < ' ' || *text == 0x7F || (n == 1 && (*text & 0x80));
		struct cell *before = cell_at(p, row, column - 1);
		if (before && !before->text[0]) /* the second half of a wide one */
			before = cell_at(p, row, column - 2);
		if (width == 0 && !bad) { /* a combining mark: with the character before it */
			if (before && column > begin && strlen(before->text) + n < sizeof before->text)
				strncat(before->text, text, n);
			text += n;
			continue;
		}
		width = bad ? 1 : width;
		if (column + width > end)
			break;
		struct cell *c = cell_at(p, row, column);
		if (c) {
			unwiden(p, row, column);
			snprintf(c->text, sizeof c->text, "%.*s", bad ? 1 : (int)n, bad ? "?" : text);
			c->look = (uint8_t)look;
			struct cell *behind = width == 2 ? cell_at(p, row, column + 1) : NULL;
			if (behind) {
				behind->text[0] = '\0';
				behind->look = (uint8_t)look;
			}
		}
		column += width;
		text += n;
	}
	return column;
}

int picture_put_name(struct picture *p, int row, int column, int most, enum look look,
                     const char *name)
{
	size_t len = strlen(name);
	if ((int)len <= most || most < 3)
		return picture_put_most(p, row, column, most, look, name);
	picture_put_most(p, row, column, 1, look, "~");
	return picture_put_most(p, row, column + 1, most - 1, look, name + len - (size_t)(most - 1));
}

int picture_put(struct picture *p, int row, int column, enum look look, const char *text)
{
	return picture_put_most(p, row, column, p->width - column, look, text);
}

int picture_printf(struct picture *p, int row, int column, enum look look, const char *format,
                   ...)
{
	char text[1024];
	va_list args;
	va_start(args, format);
	vsnprintf(text, sizeof text, format, args);
	va_end(args);
	return picture_put(p, row, column, look, text);
}

void picture_clear(struct picture *p, int row, int column, int width)
{
	for (int i = 0; i < width; i++) {
		struct cell *c = cell_at(p, row, column + i);
		if (c)
			*c = (struct cell){.text = " ", .look = LOOK_ORDINARY};
	}
}

void picture_tint(struct picture *p, int row, int column, int width, enum look look)
{
	for (int i = 0; i < width; i++) {
		struct cell *c = cell_at(p, row, column + i);
		if (c)
			c->look = (uint8_t)look;
	}
}

static void row_text(const struct picture *p, int row, bool looks, struct lines *out)
{
	static const char letters[LOOK_COUNT + 1] = " fsgwblk";
	const struct cell *cells = &p->cells[row * p->width];
	int end = p->width;
	while (end > 0 && (looks ? cells[end - 1].look == LOOK_ORDINARY
	                         : strcmp(cells[end - 1].text, " ") == 0))
		end--;
	for (int i = 0; i < end; i++) {
		if (looks)
			lines_add(out, &letters[cells[i].look], 1);
		else
			lines_puts(out, cells[i].text);
	}
	lines_puts(out, "\n");
}

void picture_text(const struct picture *p, bool looks, struct lines *out)
{
	for (int row = 0; row < p->height; row++)
		row_text(p, row, false, out);
	if (!looks)
		return;
	lines_puts(out, "looks\n");
	for (int row = 0; row < p->height; row++)
		row_text(p, row, true, out);
}
