/* SPDX-License-Identifier: MIT */
/* Tables of a document: no row is broken, and the head stands again on each page. */
#include "client/draw_inside.h"

#include <stdlib.h>
#include <string.h>

#define PAD 3.0 /* in cells, points */
#define GAP 9.0 /* behind numbers */

static int table_columns(struct document *d, int at)
{
	double weights = 0, x = DRAW_MARGIN;
	int first = at;
	d->columns = 0;
	for (; at < d->lines && draw_word_is(&d->line[at], "col"); at++)
		weights += d->columns++ < DRAW_COLUMNS_MAX ? atoi(draw_field(&d->line[at], 1)) : 0;
	d->columns = d->columns > DRAW_COLUMNS_MAX ? DRAW_COLUMNS_MAX : d->columns;
	for (int i = 0; i < d->columns && weights > 0; i++) {
		const struct draw_line *l = &d->line[first + i];
		double width = (d->width - 2 * DRAW_MARGIN) * atoi(draw_field(l, 1)) / weights;
		d->column[i] = (struct draw_column){x, width, strcmp(draw_field(l, 2), "r") == 0,
		                               l->field[l->fields - 1]};
		x += width;
	}
	return at;
}

static PangoLayout *cell_layout(struct document *d, int column, const char *look, const char *text)
{
	struct draw_type t = *draw_type("cell");
	t.mono = strcmp(look, "mono") == 0;
	t.size -= strcmp(look, "small") == 0 ? 0.6 : 0;
	/* Numbers end where they do not touch the words of the next column. */
	bool gap = d->column[column].right && column + 1 < d->columns && !d->column[column + 1].right;
	PangoLayout *l = draw_layout(d, &t, text, d->column[column].width - 2 * PAD - (gap ? GAP : 0),
	                           strcmp(look, "strong") == 0);
	if (d->column[column].right)
		pango_layout_set_alignment(l, PANGO_ALIGN_RIGHT);
	return l;
}

static double head_row(struct document *d, bool show)
{
	double height = 0;
	if (show)
		cairo_tag_begin(d->cr, "TR", NULL);
	for (int i = 0; i < d->columns; i++) {
		PangoLayout *l = cell_layout(d, i, "strong", d->column[i].label);
		height = draw_height(l) > height ? draw_height(l) : height;
		if (show) {
			cairo_tag_begin(d->cr, "TH", NULL);
			if (d->pages)
				draw_access_head(d->access, true);
			cairo_move_to(d->cr, d->column[i].x + PAD, d->y + PAD * d->scale);
			pango_cairo_show_layout(d->cr, l);
			cairo_tag_end(d->cr, "TH");
		}
		g_object_unref(l);
	}
	height += 2 * PAD * d->scale;
	if (show) {
		cairo_tag_end(d->cr, "TR");
		d->y += height;
		cairo_set_line_width(d->cr, 1);
		cairo_move_to(d->cr, DRAW_MARGIN, d->y);
		cairo_line_to(d->cr, d->width - DRAW_MARGIN, d->y);
		cairo_stroke(d->cr);
	}
	return height;
}

static double row_height(struct document *d, int at, int *end)
{
	double height = 0, w, h;
	int column = 0;
	for (; at < d->lines && (draw_word_is(&d->line[at], "c") || draw_word_is(&d->line[at], "s")); at++) {
		if (column >= d->columns)
			continue;
		if (draw_word_is(&d->line[at], "s")) {
			draw_picture_size(d, &d->line[at], d->column[column].width - 2 * PAD, &w, &h);
		} else {
			PangoLayout *l = cell_layout(d, column, draw_field(&d->line[at], 1), draw_field(&d->line[at], 2));
			h = draw_height(l);
			g_object_unref(l);
		}
		height = h > height ? h : height;
		column++;
	}
	*end = at;
	return height + 2 * PAD * d->scale;
}

static void show_row(struct document *d, int at, int end, double height)
{
	double w, h;
	cairo_tag_begin(d->cr, "TR", NULL);
	for (int column = 0; at < end && column < d->columns; at++, column++) {
		const struct draw_line *l = &d->line[at];
		const char *tag = column ? "TD" : "TH";
		double x = d->column[column].x + PAD;
		cairo_tag_begin(d->cr, tag, NULL);
		if (!column && d->pages)
			draw_access_head(d->access, false);
		if (draw_word_is(l, "s")) {
			draw_picture_size(d, l, d->column[column].width - 2 * PAD, &w, &h);
			draw_picture(d, draw_field(l, 3), x, d->y + PAD * d->scale, w, h);
		} else {
			PangoLayout *layout = cell_layout(d, column, draw_field(l, 1), draw_field(l, 2));
			cairo_move_to(d->cr, x, d->y + PAD * d->scale);
			pango_cairo_show_layout(d->cr, layout);
			g_object_unref(layout);
		}
		cairo_tag_end(d->cr, tag);
	}
	cairo_tag_end(d->cr, "TR");
	d->y += height;
	draw_hairline(d, DRAW_MARGIN, d->width - DRAW_MARGIN, d->y);
}

int draw_table(struct document *d, int at)
{
	const char *caption = draw_field(&d->line[at], 1);
	int end;
	at = table_columns(d, at + 1);
	PangoLayout *l = draw_layout(d, draw_type("small"), caption, d->width - 2 * DRAW_MARGIN, true);
	double first = at < d->lines && draw_word_is(&d->line[at], "row") ? row_height(d, at + 1, &end) : 0;
	draw_need(d, draw_height(l) + head_row(d, false) + first + 8);
	d->y += 4;
	cairo_tag_begin(d->cr, "Table", NULL);
	cairo_tag_begin(d->cr, "Caption", NULL);
	cairo_move_to(d->cr, DRAW_MARGIN, d->y);
	pango_cairo_show_layout(d->cr, l);
	cairo_tag_end(d->cr, "Caption");
	d->y += draw_height(l) + 1;
	g_object_unref(l);
	head_row(d, true);
	while (at < d->lines && draw_word_is(&d->line[at], "row")) {
		double height = row_height(d, at + 1, &end);
		if (draw_need(d, height))
			head_row(d, true);
		show_row(d, at + 1, end, height);
		at = end;
	}
	cairo_tag_end(d->cr, "Table");
	d->y += 8;
	return at < d->lines && draw_word_is(&d->line[at], "end") ? at + 1 : at;
}
