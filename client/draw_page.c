/* SPDX-License-Identifier: MIT */
/* A page: its types, text laid out on it, its foot, and what of it is left: see draw_inside.h. */
#include "client/draw_inside.h"

#include <stdio.h>
#include <string.h>

#define FOOT 34.0 /* from the edge to the text below, points */

static const struct draw_type types[] = {
	{"", 9.5, 0, 4, false, false},      {"lead", 11, 0, 5, false, false},
	{"small", 8, 0, 4, false, false},   {"caution", 9.5, 4, 8, false, false},
	{"strong", 9.5, 0, 4, true, false}, {"mono", 7.6, 0, 3, false, true},
	{"good", 10.5, 2, 10, true, false}, {"bad", 10.5, 2, 10, true, false},
	{"fact", 7.6, 0, 0, false, false},  {"h1", 20, 0, 4, true, false},      {"h2", 13, 14, 5, true, false},
	{"h3", 10.5, 9, 3, true, false},    {"cell", 7.4, 0, 0, false, false},
	{"foot", 7, 0, 0, false, false},
};

const struct draw_type *draw_type(const char *word)
{
	for (size_t i = 0; i < sizeof types / sizeof types[0]; i++)
		if (strcmp(types[i].word, word) == 0)
			return &types[i];
	return &types[0];
}

const char *draw_field(const struct draw_line *l, int i)
{
	return i < l->fields ? l->field[i] : "";
}

bool draw_word_is(const struct draw_line *l, const char *word)
{
	return strcmp(draw_field(l, 0), word) == 0;
}

PangoLayout *draw_layout(struct document *d, const struct draw_type *t, const char *text, double width,
                              bool bold)
{
	PangoLayout *l = pango_cairo_create_layout(d->cr);
	/* Letters where they belong, not at whole points as on a screen: at 6 points that would be
	 * a gap in the middle of a number. */
	cairo_font_options_t *options = cairo_font_options_create();
	cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
	cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
	pango_cairo_context_set_font_options(pango_layout_get_context(l), options);
	cairo_font_options_destroy(options);
	pango_context_set_round_glyph_positions(pango_layout_get_context(l), FALSE);
	PangoFontDescription *font = pango_font_description_from_string(
	    t->mono ? "DejaVu Sans Mono, Monospace" : "DejaVu Sans, Sans");
	/* In points of the page, whatever resolution a screen has. */
	pango_font_description_set_absolute_size(font, t->size * d->scale * PANGO_SCALE);
	if (bold || t->bold)
		pango_font_description_set_weight(font, PANGO_WEIGHT_BOLD);
	pango_layout_set_font_description(l, font);
	pango_font_description_free(font);
	pango_layout_set_width(l, (int)(width * PANGO_SCALE));
	pango_layout_set_wrap(l, PANGO_WRAP_WORD_CHAR);
	pango_layout_set_text(l, text, -1);
	return l;
}

double draw_height(PangoLayout *l)
{
	int height;
	pango_layout_get_size(l, NULL, &height);
	return (double)height / PANGO_SCALE;
}

/* The foot of the page that ends. */
static void foot(struct document *d)
{
	char number[120];
	const char *one = strstr(d->number, "%1"), *two = strstr(d->number, "%2");
	if (one && two && one < two && d->pages)
		snprintf(number, sizeof number, "%.*s%d%.*s%d%.40s", (int)(one - d->number), d->number,
		         d->page, (int)(two - one - 2), one + 2, d->pages, two + 2);
	else
		snprintf(number, sizeof number, "%d", d->page);
	double half = (d->width - 2 * DRAW_MARGIN) * 0.72, y = d->height - FOOT;
	cairo_set_line_width(d->cr, 0.5);
	cairo_move_to(d->cr, DRAW_MARGIN, y - 4);
	cairo_line_to(d->cr, d->width - DRAW_MARGIN, y - 4);
	cairo_stroke(d->cr);
	PangoLayout *left = draw_layout(d, draw_type("foot"), d->foot, half, false);
	pango_layout_set_ellipsize(left, PANGO_ELLIPSIZE_END);
	PangoLayout *right = draw_layout(d, draw_type("foot"), number, d->width - 2 * DRAW_MARGIN - half, false);
	pango_layout_set_alignment(right, PANGO_ALIGN_RIGHT);
	cairo_move_to(d->cr, DRAW_MARGIN, y);
	pango_cairo_show_layout(d->cr, left);
	cairo_move_to(d->cr, DRAW_MARGIN + half, y);
	pango_cairo_show_layout(d->cr, right);
	g_object_unref(left);
	g_object_unref(right);
}

void draw_page_begin(struct document *d)
{
	d->page++;
	d->y = DRAW_MARGIN;
}

void draw_page_end(struct document *d)
{
	foot(d);
	cairo_show_page(d->cr);
}

static double bottom(const struct document *d)
{
	return d->height - FOOT - 12;
}

bool draw_need(struct document *d, double height)
{
	if (d->y + height <= bottom(d) || d->y <= DRAW_MARGIN)
		return false;
	draw_page_end(d);
	draw_page_begin(d);
	return true;
}

void draw_hairline(struct document *d, double from, double to, double y)
{
	cairo_set_source_rgb(d->cr, 0.7, 0.7, 0.7);
	cairo_set_line_width(d->cr, 0.5);
	cairo_move_to(d->cr, from, y);
	cairo_line_to(d->cr, to, y);
	cairo_stroke(d->cr);
	cairo_set_source_rgb(d->cr, 0, 0, 0);
}
