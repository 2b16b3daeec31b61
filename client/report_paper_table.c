/* SPDX-License-Identifier: MIT */
/*
 * Tables on paper.  Cells are kept until the table ends, for only then it is known which columns
 * nobody wrote into: an empty column takes width from all the others and says nothing.
 */
#include "client/report_paper.h"
#include "client/report_paper_inside.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define COLUMNS_MAX 16

struct paper_kept {
	enum { KEPT_ROW, KEPT_TEXT, KEPT_PICTURE } what;
	enum paper_look look;
	int width, height;
	char *text; /* of a row: its id, or NULL */
};

void paper_kept_free(struct paper *p)
{
	for (int i = 0; i < p->kepts; i++)
		free(p->kept[i].text);
	free(p->kept);
	free(p->caption);
	p->kept = NULL;
	p->caption = NULL;
	p->kepts = p->kept_room = p->columns = 0;
}

static void keep(struct paper *p, struct paper_kept kept, const char *text)
{
	if (p->kepts == p->kept_room) {
		int room = p->kept_room ? 2 * p->kept_room : 64;
		struct paper_kept *grown = realloc(p->kept, (size_t)room * sizeof *grown);
		if (!grown) {
			p->html.failed = true;
			return;
		}
		p->kept = grown;
		p->kept_room = room;
	}
	kept.text = text ? strdup(text) : NULL;
	p->html.failed = p->html.failed || (text && !kept.text);
	p->kept[p->kepts++] = kept;
}

void paper_table(struct paper *p, const char *caption, const struct paper_column *column,
                 int columns)
{
	paper_kept_free(p);
	p->column = column;
	p->columns = columns < COLUMNS_MAX ? columns : COLUMNS_MAX;
	p->caption = strdup(caption);
	p->html.failed = p->html.failed || !p->caption;
}

void paper_row(struct paper *p, const char *id)
{
	keep(p, (struct paper_kept){.what = KEPT_ROW}, id);
}

void paper_cell(struct paper *p, enum paper_look look, const char *text)
{
	keep(p, (struct paper_kept){.what = KEPT_TEXT, .look = look}, text);
}

void paper_cell_printf(struct paper *p, enum paper_look look, const char *format, ...)
{
	va_list list;
	va_start(list, format);
	char *text = paper_format(p, format, list);
	va_end(list);
	if (text)
		paper_cell(p, look, text);
	free(text);
}

void paper_cell_picture(struct paper *p, int width, int height, const char *svg)
{
	keep(p, (struct paper_kept){.what = KEPT_PICTURE, .width = width, .height = height}, svg);
}

/* ---- writing it ---- */

static int columns_with_something(const struct paper *p, bool used[COLUMNS_MAX])
{
	int count = 0, rows = 0, at = 0;
	memset(used, 0, COLUMNS_MAX * sizeof *used);
	used[0] = true;
	for (int i = 0; i < p->kepts; i++) {
		const struct paper_kept *k = &p->kept[i];
		rows += k->what == KEPT_ROW;
		if (k->what == KEPT_ROW)
			at = 0;
		else if (at < p->columns)
			used[at++] |= k->text && k->text[0];
	}
	for (int i = 0; i < p->columns; i++) {
		used[i] = used[i] || !rows;
		count += used[i];
	}
	return count;
}

static void write_head(struct paper *p, const bool used[COLUMNS_MAX])
{
	int weights = 0;
	lines_puts(&p->html, "<table role=\"table\"><caption>");
	paper_escape(&p->html, p->caption);
	lines_puts(&p->html, "</caption>\n<colgroup>");
	for (int i = 0; i < p->columns; i++)
		weights += used[i] ? p->column[i].weight : 0;
	for (int i = 0; i < p->columns; i++)
		if (used[i])
			lines_printf(&p->html, "<col style=\"width:%.1f%%\">",
			             100.0 * p->column[i].weight / (weights ? weights : 1));
	lines_puts(&p->html, "</colgroup>\n<thead role=\"rowgroup\"><tr role=\"row\">");
	lines_puts(&p->pages, "table");
	paper_field(p, p->caption);
	lines_puts(&p->pages, "\n");
	for (int i = 0; i < p->columns; i++) {
		const struct paper_column *c = &p->column[i];
		if (!used[i])
			continue;
		lines_printf(&p->html, "<th scope=\"col\" role=\"columnheader\"%s>",
		             c->right ? " class=\"r\"" : "");
		paper_escape(&p->html, c->label);
		lines_puts(&p->html, "</th>");
		lines_printf(&p->pages, "col\t%d\t%s", c->weight, c->right ? "r" : "l");
		paper_field(p, c->label);
		lines_puts(&p->pages, "\n");
	}
	lines_puts(&p->html, "</tr></thead>\n<tbody role=\"rowgroup\">\n");
}

static void write_row(struct paper *p, const char *id)
{
	lines_puts(&p->html, "<tr role=\"row\"");
	if (id) {
		lines_puts(&p->html, " id=\"");
		paper_escape(&p->html, id);
		lines_puts(&p->html, "\"");
	}
	lines_puts(&p->html, ">");
	lines_puts(&p->pages, "row\n");
}

/* The first cell of a row is its head. */
static void write_cell(struct paper *p, const struct paper_kept *k, int column, int columns)
{
	const struct paper_column *c = &p->column[column];
	const char *text = k->text ? k->text : "";
	bool first = column == 0, marked = k->what == KEPT_TEXT && k->look != PAPER_PLAIN && !first && text[0];
	if (first)
		lines_puts(&p->html, "<th scope=\"row\" role=\"rowheader\">");
	else
		lines_printf(&p->html, "<td role=\"cell\"%s", c->right ? " class=\"r\"" : "");
	/* Of two columns the first says what the second is. */
	if (!first && columns > 2) {
		lines_puts(&p->html, " data-label=\"");
		paper_escape(&p->html, c->label);
		lines_puts(&p->html, "\"");
	}
	lines_puts(&p->html, first ? "" : ">");
	if (marked)
		lines_printf(&p->html, "<span class=\"%s\">", paper_looks[k->look]);
	if (k->what == KEPT_PICTURE)
		lines_puts(&p->html, text);
	else
		paper_html_lines(&p->html, text);
	lines_puts(&p->html, marked ? "</span>" : "");
	lines_puts(&p->html, first ? "</th>" : "</td>");
	if (k->what == KEPT_PICTURE)
		lines_printf(&p->pages, "s\t%d\t%d", k->width, k->height);
	else
		lines_printf(&p->pages, "c\t%s", paper_looks[first ? PAPER_STRONG : k->look]);
	paper_field(p, text);
	lines_puts(&p->pages, "\n");
}

void paper_table_end(struct paper *p)
{
	bool used[COLUMNS_MAX], open = false;
	int columns = columns_with_something(p, used), at = 0;
	if (p->caption) {
		write_head(p, used);
		for (int i = 0; i < p->kepts; i++) {
			const struct paper_kept *k = &p->kept[i];
			if (k->what == KEPT_ROW) {
				lines_puts(&p->html, open ? "</tr>\n" : "");
				write_row(p, k->text);
				open = true;
				at = 0;
			} else if (at < p->columns) {
				if (used[at])
					write_cell(p, k, at, columns);
				at++;
			}
		}
		lines_puts(&p->html, open ? "</tr>\n" : "");
		lines_puts(&p->html, "</tbody></table>\n");
		lines_puts(&p->pages, "end\n");
	}
	paper_kept_free(p);
}
