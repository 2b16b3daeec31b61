/* SPDX-License-Identifier: MIT */
/* Paragraphs, pictures and facts of a document: see draw_pages.h for their lines. */
#include "client/draw_inside.h"

#include <cairo-pdf.h>
#include <librsvg/rsvg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define UNIT 0.75       /* points in 1/96 inch */
#define GUTTER 18.0     /* between what stands side by side */
#define BESIDE_MIN 0.85 /* two pictures are made so much smaller to stand beside each other */
#define FACT_NAME 92.0  /* width of the name of a fact */

static void outline(struct document *d, const char *tag, const char *text)
{
	char where[64];
	if (!d->pages)
		return;
	snprintf(where, sizeof where, "page=%d pos=[%d %d]", d->page, (int)DRAW_MARGIN, (int)d->y - 8);
	int below = strcmp(tag, "H3") == 0 ? d->chapter : CAIRO_PDF_OUTLINE_ROOT;
	int at = cairo_pdf_surface_add_outline(d->surface, below, text, where,
	                                       strcmp(tag, "H1") == 0 ? CAIRO_PDF_OUTLINE_FLAG_BOLD : 0);
	if (strcmp(tag, "H2") == 0)
		d->chapter = at;
}

/* Line by line, so that a long paragraph may go over the end of a page. */
static void show_lines(struct document *d, PangoLayout *l, double x)
{
	PangoLayoutIter *i = pango_layout_get_iter(l);
	do {
		PangoRectangle all;
		int base = pango_layout_iter_get_baseline(i);
		pango_layout_iter_get_line_extents(i, NULL, &all);
		double height = (double)all.height / PANGO_SCALE;
		draw_need(d, height);
		cairo_move_to(d->cr, x, d->y + (double)(base - all.y) / PANGO_SCALE);
		pango_cairo_show_layout_line(d->cr, pango_layout_iter_get_line_readonly(i));
		d->y += height;
	} while (pango_layout_iter_next_line(i));
	pango_layout_iter_free(i);
}

void draw_paragraph(struct document *d, const char *look, const char *text, const char *tag,
                      const char *mark)
{
	const struct draw_type *t = draw_type(look);
	bool bar = strcmp(look, "caution") == 0, item = strcmp(tag, "LI") == 0;
	bool bad = strcmp(look, "bad") == 0, frame = bad || strcmp(look, "good") == 0;
	double x = DRAW_MARGIN + (bar || item ? 12 : frame ? 10 : 0);
	PangoLayout *l = draw_layout(d, t, text, d->width - DRAW_MARGIN - x - (frame ? 10 : 0), false);
	double height = draw_height(l), keep = height;
	if (tag[0] == 'H')
		keep += t->before + 60; /* not alone at the end of a page */
	else if (!bar && !frame && height > 60)
		keep = 30;
	if (frame)
		keep += 14 * d->scale;
	draw_need(d, keep);
	d->y += d->y > DRAW_MARGIN ? t->before * d->scale : 0;
	if (strcmp(tag, "H2") == 0) {
		cairo_set_line_width(d->cr, 1);
		cairo_move_to(d->cr, DRAW_MARGIN, d->y - 4);
		cairo_line_to(d->cr, d->width - DRAW_MARGIN, d->y - 4);
		cairo_stroke(d->cr);
	}
	if (tag[0] == 'H')
		outline(d, tag, text);
	if (frame) {
		double pad = 6 * d->scale;
		cairo_set_line_width(d->cr, bad ? 3 : 1.2);
		cairo_rectangle(d->cr, DRAW_MARGIN + 1, d->y + 1, d->width - 2 * DRAW_MARGIN - 2, height + 2 * pad - 2);
		cairo_stroke(d->cr);
		d->y += pad;
	}
	if (bar) {
		cairo_rectangle(d->cr, DRAW_MARGIN, d->y - 2, 4, height + 4);
		cairo_fill(d->cr);
	}
	cairo_tag_begin(d->cr, tag, NULL);
	if (item) {
		PangoLayout *dot = draw_layout(d, t, mark[0] ? mark : "\xe2\x80\xa2", 14, false);
		cairo_move_to(d->cr, DRAW_MARGIN + 2, d->y);
		pango_cairo_show_layout(d->cr, dot);
		g_object_unref(dot);
	}
	show_lines(d, l, x);
	cairo_tag_end(d->cr, tag);
	d->y += (item ? 2 : t->after) * d->scale + (frame ? 2 * d->scale : 0);
	g_object_unref(l);
}

void draw_picture(struct document *d, const char *svg, double x, double y, double width,
                    double height)
{
	GError *error = NULL;
	RsvgRectangle at = {x, y, width, height};
	if (!d->pages)
		return;
	RsvgHandle *handle = rsvg_handle_new_from_data((const guint8 *)svg, strlen(svg), &error);
	cairo_tag_begin(d->cr, "Figure", NULL);
	draw_access_figure(d->access, svg);
	bool good = handle && rsvg_handle_render_document(handle, d->cr, &at, &error);
	cairo_tag_end(d->cr, "Figure");
	if (!good && !d->bad)
		fprintf(stderr, "tally-draw: a picture: %s\n", error ? error->message
		        : "it cannot be drawn");
	d->bad = d->bad || !good;
	g_clear_error(&error);
	if (handle)
		g_object_unref(handle);
}

void draw_picture_size(const struct document *d, const struct draw_line *l, double most, double *width,
                         double *height)
{
	*width = atoi(draw_field(l, 1)) * UNIT * d->scale;
	*height = atoi(draw_field(l, 2)) * UNIT * d->scale;
	if (*width > most && *width > 0) {
		*height *= most / *width;
		*width = most;
	}
}

int draw_pictures(struct document *d, int at)
{
	double all = d->width - 2 * DRAW_MARGIN, width[2] = {0}, height[2] = {0}, fit = 1;
	int n = 1;
	draw_picture_size(d, &d->line[at], all, &width[0], &height[0]);
	if (at + 1 < d->lines && draw_word_is(&d->line[at + 1], "svg")) {
		draw_picture_size(d, &d->line[at + 1], all, &width[1], &height[1]);
		fit = (all - GUTTER) / (width[0] + width[1]);
		n = fit >= BESIDE_MIN ? 2 : 1;
		fit = n == 2 && fit < 1 ? fit : 1;
	}
	double tall = (n == 2 && height[1] > height[0] ? height[1] : height[0]) * fit;
	draw_need(d, tall + 8);
	draw_picture(d, draw_field(&d->line[at], 3), DRAW_MARGIN, d->y + 4, width[0] * fit, height[0] * fit);
	if (n == 2)
		draw_picture(d, draw_field(&d->line[at + 1], 3), DRAW_MARGIN + width[0] * fit + GUTTER, d->y + 4,
		        width[1] * fit, height[1] * fit);
	d->y += tall + 10;
	return at + n;
}

/* One of a pair: its name, and what it is; how tall they are. */
static double fact(struct document *d, const struct draw_line *l, double x, double width, bool show)
{
	const struct draw_type *t = draw_type("fact");
	double most = 0;
	for (int i = 1; i <= 2; i++) {
		PangoLayout *layout = draw_layout(d, t, draw_field(l, i), i == 1 ? FACT_NAME - 6
		                                : width - FACT_NAME, false);
		if (show) {
			cairo_set_source_rgb(d->cr, i == 1 ? 0.27 : 0, i == 1 ? 0.27 : 0, i == 1 ? 0.27 : 0);
			cairo_move_to(d->cr, x + (i == 1 ? 0 : FACT_NAME), d->y + 2 * d->scale);
			pango_cairo_show_layout(d->cr, layout);
			cairo_set_source_rgb(d->cr, 0, 0, 0);
		}
		most = draw_height(layout) > most ? draw_height(layout) : most;
		g_object_unref(layout);
	}
	return most + 5 * d->scale;
}

int draw_facts(struct document *d, int at)
{
	double width = (d->width - 2 * DRAW_MARGIN - GUTTER) / 2;
	d->y += 2 * d->scale;
	for (int n; at < d->lines && draw_word_is(&d->line[at], "fact"); at += n) {
		n = at + 1 < d->lines && draw_word_is(&d->line[at + 1], "fact") ? 2 : 1;
		double tall = 0;
		for (int i = 0; i < n; i++) {
			double height = fact(d, &d->line[at + i], 0, width, false);
			tall = height > tall ? height : tall;
		}
		draw_need(d, tall);
		for (int i = 0; i < n; i++) {
			double x = DRAW_MARGIN + i * (width + GUTTER);
			cairo_tag_begin(d->cr, "P", NULL);
			fact(d, &d->line[at + i], x, width, true);
			cairo_tag_end(d->cr, "P");
			draw_hairline(d, x, x + width, d->y + tall);
		}
		d->y += tall;
	}
	d->y += 6 * d->scale;
	return at;
}
