/* SPDX-License-Identifier: MIT */
/*
 * Lines into pages: see draw_pages.h.  The document is laid out twice, first to count the
 * pages, for the foot of each says how many there are.
 */
#include "client/draw_pages.h"

#include "client/draw_access.h"

#include <cairo-pdf.h>
#include <librsvg/rsvg.h>
#include <pango/pangocairo.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FIELDS_MAX 6
#define COLUMNS_MAX 12
#define MARGIN 40.0  /* points */
#define FOOT 34.0    /* from the edge to the text below */
#define PAD 3.0      /* in cells */
#define GAP 9.0      /* behind numbers */
#define SCALE_MIN 0.6
#define UNIT 0.75    /* points in 1/96 inch */
#define GUTTER 18.0  /* between what stands side by side */
#define BESIDE_MIN 0.85 /* two pictures are made so much smaller to stand beside each other */
#define FACT_NAME 92.0 /* width of the name of a fact */

struct line {
	char *field[FIELDS_MAX]; /* the word first */
	int fields;
};

struct column {
	double x, width;
	bool right;
	char *label;
};

struct sheet {
	cairo_surface_t *surface;
	cairo_t *cr;
	struct line *line;
	int lines;
	double width, height, y;
	int page, pages; /* pages 0: they are being counted */
	const char *title, *foot, *number, *author, *about, *lang;
	int chapter; /* of the outline: what h3 stand below */
	struct column column[COLUMNS_MAX];
	int columns;
	double scale; /* of everything, to fit a sheet */
	bool bad; /* a picture could not be drawn */
	struct draw_access *access;
};

struct type {
	const char *word; /* look or heading */
	double size, before, after;
	bool bold, mono;
};
static const struct type types[] = {
	{"", 9.5, 0, 4, false, false},      {"lead", 11, 0, 5, false, false},
	{"small", 8, 0, 4, false, false},   {"caution", 9.5, 4, 8, false, false},
	{"strong", 9.5, 0, 4, true, false}, {"mono", 7.6, 0, 3, false, true},
	{"good", 10.5, 2, 10, true, false}, {"bad", 10.5, 2, 10, true, false},
	{"fact", 7.6, 0, 0, false, false},  {"h1", 20, 0, 4, true, false},      {"h2", 13, 14, 5, true, false},
	{"h3", 10.5, 9, 3, true, false},    {"cell", 7.4, 0, 0, false, false},
	{"foot", 7, 0, 0, false, false},
};

static const struct type *type_of(const char *word)
{
	for (size_t i = 0; i < sizeof types / sizeof types[0]; i++)
		if (strcmp(types[i].word, word) == 0)
			return &types[i];
	return &types[0];
}

static const char *field(const struct line *l, int i)
{
	return i < l->fields ? l->field[i] : "";
}

static bool word_is(const struct line *l, const char *word)
{
	return strcmp(field(l, 0), word) == 0;
}

/* ---- reading ---- */

bool draw_is_pages(const char *text, size_t len)
{
	return len > 14 && strncmp(text, "tally-pages-1\t", 14) == 0;
}

static void unescape(char *s)
{
	char *to = s;
	for (; *s; s++) {
		if (*s == '\\' && s[1]) {
			s++;
			*to++ = *s == 'n' ? '\n' : *s;
		} else {
			*to++ = *s;
		}
	}
	*to = '\0';
}

static bool split(struct sheet *s, char *text)
{
	int size = 0;
	for (char *next; text && *text; text = next) {
		next = strchr(text, '\n');
		if (next)
			*next++ = '\0';
		if (s->lines == size) {
			size = size ? 2 * size : 256;
			struct line *grown = realloc(s->line, (size_t)size * sizeof *grown);
			if (!grown)
				return false;
			s->line = grown;
		}
		struct line *l = &s->line[s->lines++];
		*l = (struct line){.fields = 0};
		for (char *at = text; at && l->fields < FIELDS_MAX;) {
			char *tab = l->fields < FIELDS_MAX - 1 ? strchr(at, '\t') : NULL;
			if (tab)
				*tab++ = '\0';
			l->field[l->fields++] = at;
			at = tab;
		}
		for (int i = 0; i < l->fields; i++)
			unescape(l->field[i]);
	}
	return true;
}

/* ---- pages ---- */

static PangoLayout *layout_of(struct sheet *s, const struct type *t, const char *text, double width,
                              bool bold)
{
	PangoLayout *l = pango_cairo_create_layout(s->cr);
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
	pango_font_description_set_absolute_size(font, t->size * s->scale * PANGO_SCALE);
	if (bold || t->bold)
		pango_font_description_set_weight(font, PANGO_WEIGHT_BOLD);
	pango_layout_set_font_description(l, font);
	pango_font_description_free(font);
	pango_layout_set_width(l, (int)(width * PANGO_SCALE));
	pango_layout_set_wrap(l, PANGO_WRAP_WORD_CHAR);
	pango_layout_set_text(l, text, -1);
	return l;
}

static double layout_height(PangoLayout *l)
{
	int height;
	pango_layout_get_size(l, NULL, &height);
	return (double)height / PANGO_SCALE;
}

/* The foot of the page that ends. */
static void foot(struct sheet *s)
{
	char number[120], text[160];
	const char *one = strstr(s->number, "%1"), *two = strstr(s->number, "%2");
	if (one && two && one < two && s->pages)
		snprintf(number, sizeof number, "%.*s%d%.*s%d%.40s", (int)(one - s->number), s->number,
		         s->page,
		         (int)(two - one - 2), one + 2, s->pages, two + 2);
	else
		snprintf(number, sizeof number, "%d", s->page);
	snprintf(text, sizeof text, "%.120s", number);
	double half = (s->width - 2 * MARGIN) * 0.72, y = s->height - FOOT;
	cairo_set_line_width(s->cr, 0.5);
	cairo_move_to(s->cr, MARGIN, y - 4);
	cairo_line_to(s->cr, s->width - MARGIN, y - 4);
	cairo_stroke(s->cr);
	PangoLayout *left = layout_of(s, type_of("foot"), s->foot, half, false);
	pango_layout_set_ellipsize(left, PANGO_ELLIPSIZE_END);
	PangoLayout *right = layout_of(s, type_of("foot"), text, s->width - 2 * MARGIN - half, false);
	pango_layout_set_alignment(right, PANGO_ALIGN_RIGHT);
	cairo_move_to(s->cr, MARGIN, y);
	pango_cairo_show_layout(s->cr, left);
	cairo_move_to(s->cr, MARGIN + half, y);
	pango_cairo_show_layout(s->cr, right);
	g_object_unref(left);
	g_object_unref(right);
}

static void page_begin(struct sheet *s)
{
	s->page++;
	s->y = MARGIN;
}

static void page_end(struct sheet *s)
{
	foot(s);
	cairo_show_page(s->cr);
}

static double bottom(const struct sheet *s)
{
	return s->height - FOOT - 12;
}

/* Is there no room for so much?  Then a new page; true. */
static bool need(struct sheet *s, double height)
{
	if (s->y + height <= bottom(s) || s->y <= MARGIN)
		return false;
	page_end(s);
	page_begin(s);
	return true;
}

/* Between rows: lighter than what stands in them. */
static void hairline(struct sheet *s, double from, double to, double y)
{
	cairo_set_source_rgb(s->cr, 0.7, 0.7, 0.7);
	cairo_set_line_width(s->cr, 0.5);
	cairo_move_to(s->cr, from, y);
	cairo_line_to(s->cr, to, y);
	cairo_stroke(s->cr);
	cairo_set_source_rgb(s->cr, 0, 0, 0);
}

/* ---- blocks ---- */

static void outline(struct sheet *s, const char *tag, const char *text)
{
	char where[64];
	if (!s->pages)
		return;
	snprintf(where, sizeof where, "page=%d pos=[%d %d]", s->page, (int)MARGIN, (int)s->y - 8);
	int below = strcmp(tag, "H3") == 0 ? s->chapter : CAIRO_PDF_OUTLINE_ROOT;
	int at = cairo_pdf_surface_add_outline(s->surface, below, text, where,
	                                       strcmp(tag, "H1") == 0 ? CAIRO_PDF_OUTLINE_FLAG_BOLD : 0);
	if (strcmp(tag, "H2") == 0)
		s->chapter = at;
}

/* Line by line, so that a long paragraph may go over the end of a page. */
static void show_lines(struct sheet *s, PangoLayout *l, double x)
{
	PangoLayoutIter *i = pango_layout_get_iter(l);
	do {
		PangoRectangle all;
		int base = pango_layout_iter_get_baseline(i);
		pango_layout_iter_get_line_extents(i, NULL, &all);
		double height = (double)all.height / PANGO_SCALE;
		need(s, height);
		cairo_move_to(s->cr, x, s->y + (double)(base - all.y) / PANGO_SCALE);
		pango_cairo_show_layout_line(s->cr, pango_layout_iter_get_line_readonly(i));
		s->y += height;
	} while (pango_layout_iter_next_line(i));
	pango_layout_iter_free(i);
}

static void paragraph(struct sheet *s, const char *look, const char *text, const char *tag,
                      const char *mark)
{
	const struct type *t = type_of(look);
	bool bar = strcmp(look, "caution") == 0, item = strcmp(tag, "LI") == 0;
	bool bad = strcmp(look, "bad") == 0, frame = bad || strcmp(look, "good") == 0;
	double x = MARGIN + (bar || item ? 12 : frame ? 10 : 0);
	PangoLayout *l = layout_of(s, t, text, s->width - MARGIN - x - (frame ? 10 : 0), false);
	double height = layout_height(l), keep = height;
	if (tag[0] == 'H')
		keep += t->before + 60; /* not alone at the end of a page */
	else if (!bar && !frame && height > 60)
		keep = 30;
	if (frame)
		keep += 14 * s->scale;
	need(s, keep);
	s->y += s->y > MARGIN ? t->before * s->scale : 0;
	if (strcmp(tag, "H2") == 0) {
		cairo_set_line_width(s->cr, 1);
		cairo_move_to(s->cr, MARGIN, s->y - 4);
		cairo_line_to(s->cr, s->width - MARGIN, s->y - 4);
		cairo_stroke(s->cr);
	}
	if (tag[0] == 'H')
		outline(s, tag, text);
	if (frame) {
		double pad = 6 * s->scale;
		cairo_set_line_width(s->cr, bad ? 3 : 1.2);
		cairo_rectangle(s->cr, MARGIN + 1, s->y + 1, s->width - 2 * MARGIN - 2, height + 2 * pad - 2);
		cairo_stroke(s->cr);
		s->y += pad;
	}
	if (bar) {
		cairo_rectangle(s->cr, MARGIN, s->y - 2, 4, height + 4);
		cairo_fill(s->cr);
	}
	cairo_tag_begin(s->cr, tag, NULL);
	if (item) {
		PangoLayout *dot = layout_of(s, t, mark[0] ? mark : "\xe2\x80\xa2", 14, false);
		cairo_move_to(s->cr, MARGIN + 2, s->y);
		pango_cairo_show_layout(s->cr, dot);
		g_object_unref(dot);
	}
	show_lines(s, l, x);
	cairo_tag_end(s->cr, tag);
	s->y += (item ? 2 : t->after) * s->scale + (frame ? 2 * s->scale : 0);
	g_object_unref(l);
}

static void picture(struct sheet *s, const char *svg, double x, double y, double width,
                    double height)
{
	GError *error = NULL;
	RsvgRectangle at = {x, y, width, height};
	if (!s->pages)
		return;
	RsvgHandle *handle = rsvg_handle_new_from_data((const guint8 *)svg, strlen(svg), &error);
	cairo_tag_begin(s->cr, "Figure", NULL);
	draw_access_figure(s->access, svg);
	bool good = handle && rsvg_handle_render_document(handle, s->cr, &at, &error);
	cairo_tag_end(s->cr, "Figure");
	if (!good && !s->bad)
		fprintf(stderr, "tally-draw: a picture: %s\n", error ? error->message
		        : "it cannot be drawn");
	s->bad = s->bad || !good;
	g_clear_error(&error);
	if (handle)
		g_object_unref(handle);
}

/* As large as it wants to be, and no wider than there is room. */
static void picture_size(const struct sheet *s, const struct line *l, double most, double *width,
                         double *height)
{
	*width = atoi(field(l, 1)) * UNIT * s->scale;
	*height = atoi(field(l, 2)) * UNIT * s->scale;
	if (*width > most && *width > 0) {
		*height *= most / *width;
		*width = most;
	}
}

/* From the first of them on, as many as follow each other: two in a row, and one is one tall.  Returns
 * the line after them. */
static int pictures(struct sheet *s, int at)
{
	double all = s->width - 2 * MARGIN, width[2] = {0}, height[2] = {0}, fit = 1;
	int n = 1;
	picture_size(s, &s->line[at], all, &width[0], &height[0]);
	if (at + 1 < s->lines && word_is(&s->line[at + 1], "svg")) {
		picture_size(s, &s->line[at + 1], all, &width[1], &height[1]);
		fit = (all - GUTTER) / (width[0] + width[1]);
		n = fit >= BESIDE_MIN ? 2 : 1;
		fit = n == 2 && fit < 1 ? fit : 1;
	}
	double tall = (n == 2 && height[1] > height[0] ? height[1] : height[0]) * fit;
	need(s, tall + 8);
	picture(s, field(&s->line[at], 3), MARGIN, s->y + 4, width[0] * fit, height[0] * fit);
	if (n == 2)
		picture(s, field(&s->line[at + 1], 3), MARGIN + width[0] * fit + GUTTER, s->y + 4,
		        width[1] * fit, height[1] * fit);
	s->y += tall + 10;
	return at + n;
}

/* One of a pair: its name, and what it is; how tall they are. */
static double fact(struct sheet *s, const struct line *l, double x, double width, bool show)
{
	const struct type *t = type_of("fact");
	double most = 0;
	for (int i = 1; i <= 2; i++) {
		PangoLayout *layout = layout_of(s, t, field(l, i), i == 1 ? FACT_NAME - 6
		                                : width - FACT_NAME, false);
		if (show) {
			cairo_set_source_rgb(s->cr, i == 1 ? 0.27 : 0, i == 1 ? 0.27 : 0, i == 1 ? 0.27 : 0);
			cairo_move_to(s->cr, x + (i == 1 ? 0 : FACT_NAME), s->y + 2 * s->scale);
			pango_cairo_show_layout(s->cr, layout);
			cairo_set_source_rgb(s->cr, 0, 0, 0);
		}
		most = layout_height(layout) > most ? layout_height(layout) : most;
		g_object_unref(layout);
	}
	return most + 5 * s->scale;
}

static int facts(struct sheet *s, int at)
{
	double width = (s->width - 2 * MARGIN - GUTTER) / 2;
	s->y += 2 * s->scale;
	for (int n; at < s->lines && word_is(&s->line[at], "fact"); at += n) {
		n = at + 1 < s->lines && word_is(&s->line[at + 1], "fact") ? 2 : 1;
		double tall = 0;
		for (int i = 0; i < n; i++) {
			double height = fact(s, &s->line[at + i], 0, width, false);
			tall = height > tall ? height : tall;
		}
		need(s, tall);
		for (int i = 0; i < n; i++) {
			double x = MARGIN + i * (width + GUTTER);
			cairo_tag_begin(s->cr, "P", NULL);
			fact(s, &s->line[at + i], x, width, true);
			cairo_tag_end(s->cr, "P");
			hairline(s, x, x + width, s->y + tall);
		}
		s->y += tall;
	}
	s->y += 6 * s->scale;
	return at;
}

/* ---- tables ---- */

static int table_columns(struct sheet *s, int at)
{
	double weights = 0, x = MARGIN;
	int first = at;
	s->columns = 0;
	for (; at < s->lines && word_is(&s->line[at], "col"); at++)
		weights += s->columns++ < COLUMNS_MAX ? atoi(field(&s->line[at], 1)) : 0;
	s->columns = s->columns > COLUMNS_MAX ? COLUMNS_MAX : s->columns;
	for (int i = 0; i < s->columns && weights > 0; i++) {
		const struct line *l = &s->line[first + i];
		double width = (s->width - 2 * MARGIN) * atoi(field(l, 1)) / weights;
		s->column[i] = (struct column){x, width, strcmp(field(l, 2), "r") == 0,
		                               l->field[l->fields - 1]};
		x += width;
	}
	return at;
}

static PangoLayout *cell_layout(struct sheet *s, int column, const char *look, const char *text)
{
	struct type t = *type_of("cell");
	t.mono = strcmp(look, "mono") == 0;
	t.size -= strcmp(look, "small") == 0 ? 0.6 : 0;
	/* Numbers end where they do not touch the words of the next column. */
	bool gap = s->column[column].right && column + 1 < s->columns && !s->column[column + 1].right;
	PangoLayout *l = layout_of(s, &t, text, s->column[column].width - 2 * PAD - (gap ? GAP : 0),
	                           strcmp(look, "strong") == 0);
	if (s->column[column].right)
		pango_layout_set_alignment(l, PANGO_ALIGN_RIGHT);
	return l;
}

static double head_row(struct sheet *s, bool show)
{
	double height = 0;
	if (show)
		cairo_tag_begin(s->cr, "TR", NULL);
	for (int i = 0; i < s->columns; i++) {
		PangoLayout *l = cell_layout(s, i, "strong", s->column[i].label);
		height = layout_height(l) > height ? layout_height(l) : height;
		if (show) {
			cairo_tag_begin(s->cr, "TH", NULL);
			if (s->pages)
				draw_access_head(s->access, true);
			cairo_move_to(s->cr, s->column[i].x + PAD, s->y + PAD * s->scale);
			pango_cairo_show_layout(s->cr, l);
			cairo_tag_end(s->cr, "TH");
		}
		g_object_unref(l);
	}
	height += 2 * PAD * s->scale;
	if (show) {
		cairo_tag_end(s->cr, "TR");
		s->y += height;
		cairo_set_line_width(s->cr, 1);
		cairo_move_to(s->cr, MARGIN, s->y);
		cairo_line_to(s->cr, s->width - MARGIN, s->y);
		cairo_stroke(s->cr);
	}
	return height;
}

static double row_height(struct sheet *s, int at, int *end)
{
	double height = 0, w, h;
	int column = 0;
	for (; at < s->lines && (word_is(&s->line[at], "c") || word_is(&s->line[at], "s")); at++) {
		if (column >= s->columns)
			continue;
		if (word_is(&s->line[at], "s")) {
			picture_size(s, &s->line[at], s->column[column].width - 2 * PAD, &w, &h);
		} else {
			PangoLayout *l = cell_layout(s, column, field(&s->line[at], 1), field(&s->line[at], 2));
			h = layout_height(l);
			g_object_unref(l);
		}
		height = h > height ? h : height;
		column++;
	}
	*end = at;
	return height + 2 * PAD * s->scale;
}

static void show_row(struct sheet *s, int at, int end, double height)
{
	double w, h;
	cairo_tag_begin(s->cr, "TR", NULL);
	for (int column = 0; at < end && column < s->columns; at++, column++) {
		const struct line *l = &s->line[at];
		const char *tag = column ? "TD" : "TH";
		double x = s->column[column].x + PAD;
		cairo_tag_begin(s->cr, tag, NULL);
		if (!column && s->pages)
			draw_access_head(s->access, false);
		if (word_is(l, "s")) {
			picture_size(s, l, s->column[column].width - 2 * PAD, &w, &h);
			picture(s, field(l, 3), x, s->y + PAD * s->scale, w, h);
		} else {
			PangoLayout *layout = cell_layout(s, column, field(l, 1), field(l, 2));
			cairo_move_to(s->cr, x, s->y + PAD * s->scale);
			pango_cairo_show_layout(s->cr, layout);
			g_object_unref(layout);
		}
		cairo_tag_end(s->cr, tag);
	}
	cairo_tag_end(s->cr, "TR");
	s->y += height;
	hairline(s, MARGIN, s->width - MARGIN, s->y);
}

/* From its line `table` on; returns the line after its `end`. */
static int table(struct sheet *s, int at)
{
	const char *caption = field(&s->line[at], 1);
	int end;
	at = table_columns(s, at + 1);
	PangoLayout *l = layout_of(s, type_of("small"), caption, s->width - 2 * MARGIN, true);
	double first = at < s->lines && word_is(&s->line[at], "row") ? row_height(s, at + 1, &end) : 0;
	need(s, layout_height(l) + head_row(s, false) + first + 8);
	s->y += 4;
	cairo_tag_begin(s->cr, "Table", NULL);
	cairo_tag_begin(s->cr, "Caption", NULL);
	cairo_move_to(s->cr, MARGIN, s->y);
	pango_cairo_show_layout(s->cr, l);
	cairo_tag_end(s->cr, "Caption");
	s->y += layout_height(l) + 1;
	g_object_unref(l);
	head_row(s, true);
	while (at < s->lines && word_is(&s->line[at], "row")) {
		double height = row_height(s, at + 1, &end);
		if (need(s, height))
			head_row(s, true);
		show_row(s, at + 1, end, height);
		at = end;
	}
	cairo_tag_end(s->cr, "Table");
	s->y += 8;
	return at < s->lines && word_is(&s->line[at], "end") ? at + 1 : at;
}

/* ---- all of it ---- */

/* A heading stands on the page of the picture that follows it. */
static void keep_picture(struct sheet *s, int at)
{
	double width, height;
	if (at + 1 >= s->lines || field(&s->line[at], 0)[0] != 'h' || !word_is(&s->line[at + 1], "svg"))
		return;
	picture_size(s, &s->line[at + 1], s->width - 2 * MARGIN, &width, &height);
	need(s, height + 48 * s->scale);
}

static void block(struct sheet *s, const struct line *l)
{
	static const char *const tags[] = {"H1", "H2", "H3"};
	const char *word = field(l, 0);
	if (word[0] == 'h' && word[1] >= '1' && word[1] <= '3' && !word[2]) {
		paragraph(s, word, field(l, 1), tags[word[1] - '1'], "");
	} else if (word_is(l, "p")) {
		paragraph(s, field(l, 1), field(l, 2), "P", "");
	} else if (word_is(l, "li")) {
		paragraph(s, "", field(l, 1), "LI", field(l, 2));
	} else if (word_is(l, "page")) {
		need(s, s->height);
	}
}

static void blocks(struct sheet *s, int from, int to)
{
	for (int i = from; i < to;) {
		if (word_is(&s->line[i], "table"))
			i = table(s, i);
		else if (word_is(&s->line[i], "svg"))
			i = pictures(s, i);
		else if (word_is(&s->line[i], "fact"))
			i = facts(s, i);
		else {
			keep_picture(s, i);
			block(s, &s->line[i++]);
		}
	}
}

static int find_word(const struct sheet *s, int from, const char *word)
{
	while (from < s->lines && !word_is(&s->line[from], word))
		from++;
	return from;
}

/* Tried on a page that goes nowhere, until it fits. */
static void one_sheet(struct sheet *s, int from, int to)
{
	for (s->scale = 1; s->scale > SCALE_MIN; s->scale -= 0.04) {
		struct sheet trial = *s;
		trial.surface = cairo_pdf_surface_create(NULL, s->width, s->height);
		trial.cr = cairo_create(trial.surface);
		trial.pages = 0;
		blocks(&trial, from, to);
		cairo_destroy(trial.cr);
		cairo_surface_destroy(trial.surface);
		if (trial.page == s->page)
			break;
	}
	blocks(s, from, to);
	s->scale = 1;
}

static void all_pages(struct sheet *s)
{
	s->page = 0;
	s->scale = 1;
	page_begin(s);
	cairo_tag_begin(s->cr, "Document", NULL);
	for (int i = 0; i < s->lines;) {
		int sheet = find_word(s, i, "sheet"), end = find_word(s, sheet, "sheet-end");
		blocks(s, i, sheet);
		if (sheet < s->lines)
			one_sheet(s, sheet + 1, end);
		i = end + 1;
	}
	cairo_tag_end(s->cr, "Document");
	page_end(s);
}

static void head(struct sheet *s)
{
	s->title = s->foot = s->number = s->author = s->about = s->lang = "";
	for (int i = 0; i < s->lines && i < 8; i++) {
		const struct line *l = &s->line[i];
		if (word_is(l, "title"))
			s->title = field(l, 1);
		else if (word_is(l, "foot"))
			s->foot = field(l, 1);
		else if (word_is(l, "number"))
			s->number = field(l, 1);
		else if (word_is(l, "author"))
			s->author = field(l, 1);
		else if (word_is(l, "about"))
			s->about = field(l, 1);
		else if (word_is(l, "lang"))
			s->lang = field(l, 1);
	}
	bool letter = s->lines && strcmp(field(&s->line[0], 1), "letter") == 0;
	s->width = letter ? 612 : 595.28;
	s->height = letter ? 792 : 841.89;
}

static void metadata(const struct sheet *s)
{
	cairo_pdf_surface_set_metadata(s->surface, CAIRO_PDF_METADATA_TITLE, s->title);
	if (s->author[0])
		cairo_pdf_surface_set_metadata(s->surface, CAIRO_PDF_METADATA_AUTHOR, s->author);
	if (s->about[0])
		cairo_pdf_surface_set_metadata(s->surface, CAIRO_PDF_METADATA_SUBJECT, s->about);
	cairo_pdf_surface_set_metadata(s->surface, CAIRO_PDF_METADATA_CREATOR, "tally report");
}

cairo_status_t draw_pages(char *text, size_t len, const char *file)
{
	struct draw_access access = {.language = NULL};
	struct sheet s = {.lines = 0, .access = &access};
	cairo_status_t status = CAIRO_STATUS_NO_MEMORY;
	if (memchr(text, 0, len) || !g_utf8_validate(text, (gssize)len, NULL) || !split(&s, text)) {
		free(s.line);
		return CAIRO_STATUS_INVALID_STRING;
	}
	head(&s);
	for (int pass = 0; pass < 2; pass++) {
		/* The first one goes nowhere. */
		s.surface = cairo_pdf_surface_create(pass ? file : NULL, s.width, s.height);
		s.cr = cairo_create(s.surface);
		s.pages = pass ? s.page : 0;
		if (pass)
			metadata(&s);
		all_pages(&s);
		status = cairo_status(s.cr);
		cairo_destroy(s.cr);
		cairo_surface_finish(s.surface);
		if (status == CAIRO_STATUS_SUCCESS)
			status = cairo_surface_status(s.surface);
		cairo_surface_destroy(s.surface);
		if (status != CAIRO_STATUS_SUCCESS)
			break;
	}
	/* A language tag has no sign that would have to be escaped. */
	access.language = s.lang[strspn(s.lang, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ-")]
	                  ? "" : s.lang;
	if (status == CAIRO_STATUS_SUCCESS && access.language[0] && !draw_access_write(&access, file))
		fprintf(stderr, "tally-draw: %s: without its language and the words of its pictures\n", file);
	draw_access_free(&access);
	free(s.line);
	return status == CAIRO_STATUS_SUCCESS && s.bad ? CAIRO_STATUS_READ_ERROR : status;
}
