/* SPDX-License-Identifier: MIT */
/*
 * Lines into pages: see draw_pages.h.  The document is laid out twice, first to count the
 * pages, for the foot of each says how many there are.
 */
#include "client/draw_pages.h"

#include "client/draw_inside.h"

#include <cairo-pdf.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SCALE_MIN 0.6

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

static bool split(struct document *d, char *text)
{
	int size = 0;
	for (char *next; text && *text; text = next) {
		next = strchr(text, '\n');
		if (next)
			*next++ = '\0';
		if (d->lines == size) {
			size = size ? 2 * size : 256;
			struct draw_line *grown = realloc(d->line, (size_t)size * sizeof *grown);
			if (!grown)
				return false;
			d->line = grown;
		}
		struct draw_line *l = &d->line[d->lines++];
		*l = (struct draw_line){.fields = 0};
		for (char *at = text; at && l->fields < DRAW_FIELDS_MAX;) {
			char *tab = l->fields < DRAW_FIELDS_MAX - 1 ? strchr(at, '\t') : NULL;
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

/* ---- all of it ---- */

/* A heading stands on the page of the picture that follows it. */
static void keep_picture(struct document *d, int at)
{
	double width, height;
	if (at + 1 >= d->lines || draw_field(&d->line[at], 0)[0] != 'h' || !draw_word_is(&d->line[at + 1], "svg"))
		return;
	draw_picture_size(d, &d->line[at + 1], d->width - 2 * DRAW_MARGIN, &width, &height);
	draw_need(d, height + 48 * d->scale);
}

static void block(struct document *d, const struct draw_line *l)
{
	static const char *const tags[] = {"H1", "H2", "H3"};
	const char *word = draw_field(l, 0);
	if (word[0] == 'h' && word[1] >= '1' && word[1] <= '3' && !word[2]) {
		draw_paragraph(d, word, draw_field(l, 1), tags[word[1] - '1'], "");
	} else if (draw_word_is(l, "p")) {
		draw_paragraph(d, draw_field(l, 1), draw_field(l, 2), "P", "");
	} else if (draw_word_is(l, "li")) {
		draw_paragraph(d, "", draw_field(l, 1), "LI", draw_field(l, 2));
	} else if (draw_word_is(l, "page")) {
		draw_need(d, d->height);
	}
}

static void blocks(struct document *d, int from, int to)
{
	for (int i = from; i < to;) {
		if (draw_word_is(&d->line[i], "table"))
			i = draw_table(d, i);
		else if (draw_word_is(&d->line[i], "svg"))
			i = draw_pictures(d, i);
		else if (draw_word_is(&d->line[i], "fact"))
			i = draw_facts(d, i);
		else {
			keep_picture(d, i);
			block(d, &d->line[i++]);
		}
	}
}

static int find_word(const struct document *d, int from, const char *word)
{
	while (from < d->lines && !draw_word_is(&d->line[from], word))
		from++;
	return from;
}

/* Tried on a page that goes nowhere, until it fits. */
static void one_sheet(struct document *d, int from, int to)
{
	for (d->scale = 1; d->scale > SCALE_MIN; d->scale -= 0.04) {
		struct document trial = *d;
		trial.surface = cairo_pdf_surface_create(NULL, d->width, d->height);
		trial.cr = cairo_create(trial.surface);
		trial.pages = 0;
		blocks(&trial, from, to);
		cairo_destroy(trial.cr);
		cairo_surface_destroy(trial.surface);
		if (trial.page == d->page)
			break;
	}
	blocks(d, from, to);
	d->scale = 1;
}

static void all_pages(struct document *d)
{
	d->page = 0;
	d->scale = 1;
	draw_page_begin(d);
	cairo_tag_begin(d->cr, "Document", NULL);
	for (int i = 0; i < d->lines;) {
		int sheet = find_word(d, i, "sheet"), end = find_word(d, sheet, "sheet-end");
		blocks(d, i, sheet);
		if (sheet < d->lines)
			one_sheet(d, sheet + 1, end);
		i = end + 1;
	}
	cairo_tag_end(d->cr, "Document");
	draw_page_end(d);
}

static void head(struct document *d)
{
	d->title = d->foot = d->number = d->author = d->about = d->lang = "";
	for (int i = 0; i < d->lines && i < 8; i++) {
		const struct draw_line *l = &d->line[i];
		if (draw_word_is(l, "title"))
			d->title = draw_field(l, 1);
		else if (draw_word_is(l, "foot"))
			d->foot = draw_field(l, 1);
		else if (draw_word_is(l, "number"))
			d->number = draw_field(l, 1);
		else if (draw_word_is(l, "author"))
			d->author = draw_field(l, 1);
		else if (draw_word_is(l, "about"))
			d->about = draw_field(l, 1);
		else if (draw_word_is(l, "lang"))
			d->lang = draw_field(l, 1);
	}
	bool letter = d->lines && strcmp(draw_field(&d->line[0], 1), "letter") == 0;
	d->width = letter ? 612 : 595.28;
	d->height = letter ? 792 : 841.89;
}

static void metadata(const struct document *d)
{
	cairo_pdf_surface_set_metadata(d->surface, CAIRO_PDF_METADATA_TITLE, d->title);
	if (d->author[0])
		cairo_pdf_surface_set_metadata(d->surface, CAIRO_PDF_METADATA_AUTHOR, d->author);
	if (d->about[0])
		cairo_pdf_surface_set_metadata(d->surface, CAIRO_PDF_METADATA_SUBJECT, d->about);
	cairo_pdf_surface_set_metadata(d->surface, CAIRO_PDF_METADATA_CREATOR, "tally report");
}

cairo_status_t draw_pages(char *text, size_t len, const char *file)
{
	struct draw_access access = {.language = NULL};
	struct document d = {.lines = 0, .access = &access};
	cairo_status_t status = CAIRO_STATUS_NO_MEMORY;
	if (memchr(text, 0, len) || !g_utf8_validate(text, (gssize)len, NULL) || !split(&d, text)) {
		free(d.line);
		return CAIRO_STATUS_INVALID_STRING;
	}
	head(&d);
	for (int pass = 0; pass < 2; pass++) {
		/* The first one goes nowhere. */
		d.surface = cairo_pdf_surface_create(pass ? file : NULL, d.width, d.height);
		d.cr = cairo_create(d.surface);
		d.pages = pass ? d.page : 0;
		if (pass)
			metadata(&d);
		all_pages(&d);
		status = cairo_status(d.cr);
		cairo_destroy(d.cr);
		cairo_surface_finish(d.surface);
		if (status == CAIRO_STATUS_SUCCESS)
			status = cairo_surface_status(d.surface);
		cairo_surface_destroy(d.surface);
		if (status != CAIRO_STATUS_SUCCESS)
			break;
	}
	/* A language tag has no sign that would have to be escaped. */
	access.language = d.lang[strspn(d.lang, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ-")]
	                  ? "" : d.lang;
	if (status == CAIRO_STATUS_SUCCESS && access.language[0] && !draw_access_write(&access, file))
		fprintf(stderr, "tally-draw: %s: without its language and the words of its pictures\n", file);
	draw_access_free(&access);
	free(d.line);
	return status == CAIRO_STATUS_SUCCESS && d.bad ? CAIRO_STATUS_READ_ERROR : status;
}
