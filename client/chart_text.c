/* SPDX-License-Identifier: MIT */
/* The chart in characters, and in sentences: see chart.h. */
#include "client/chart.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ROWS 9
#define GUTTER 11 /* for the numbers at the left */

static void clock_text(const struct style *style, int64_t t, bool date, char out[32])
{
	char buffer[40];
	struct text text;
	text_begin(&text, buffer, sizeof buffer);
	text_time(&text, t + chart_zone(style, t));
	if (date)
		snprintf(out, 32, "%.10s %.8s", buffer + 1, buffer + 12);
	else
		snprintf(out, 32, "%.8s", buffer + 12);
}

/* A value in its own unit, with five figures. */
static void value_text(enum function f, const struct style *style, double value, char out[64])
{
	char unit[16];
	struct chart_scale own = {.prefix = 0};
	double size = fabs(value);
	while (size >= 999.995 * pow(10, own.prefix) && own.prefix < 9)
		own.prefix += 3;
	while (size > 0 && size < 0.999995 * pow(10, own.prefix) && own.prefix > -12)
		own.prefix -= 3;
	chart_unit(&own, f, style->utf8, unit, sizeof unit);
	snprintf(out, 64, "%.5g%s%s", value / pow(10, own.prefix), unit[0] ? " " : "", unit);
}

/* "red, ohm: 1200 readings, 480.9 to 481.3 kohm, from ... to ...; 2 gaps" */
static void sentence(const struct chart *c, const struct chart_panel *p, const struct style *style,
                     struct lines *out)
{
	double low = INFINITY, high = -INFINITY, longest = chart_longest(c, p);
	int64_t n = 0, without = 0;
	int open = 0;
	char a[64], b[64];
	for (int i = 0; i < p->columns; i++) {
		const struct chart_column *k = &p->column[i];
		n += k->n;
		open += k->silence > longest;
		if (!k->has_value) {
			without += k->n;
			continue;
		}
		low = k->low < low ? k->low : low;
		high = k->high > high ? k->high : high;
	}
	lines_printf(out, "%s, %s: %lld reading%s", p->meter, function_name(p->function), (long long)n,
	             n == 1 ? "" : "s");
	if (low <= high) {
		value_text(p->function, style, low, a);
		value_text(p->function, style, high, b);
		if (low < high)
			lines_printf(out, ", least %s, greatest %s", a, b);
		else
			lines_printf(out, ", all of them %s", a);
	}
	if (without)
		lines_printf(out, ", at least %lld beyond the range", (long long)without);
	if (open)
		lines_printf(out, ", %d gap%s", open, open == 1 ? "" : "s");
	if (p->unsealed)
		lines_printf(out, ", %lld of them not sealed yet", (long long)p->unsealed);
	lines_puts(out, "\n");
	for (int i = 0; i < p->gaps; i++) {
		clock_text(style, p->gap[i].from, false, a);
		lines_printf(out, "  gap from %s, %.0f s: %s\n", a, (double)(p->gap[i].to - p->gap[i].from) / 1e6,
		             p->gap[i].name);
	}
}

static void entry_lines(const struct chart_panel *p, const struct style *style, struct lines *out)
{
	char at[32];
	for (int i = 0; i < p->entries; i++) {
		clock_text(style, p->entry[i].t, false, at);
		lines_printf(out, "  %s  %s\n", at, p->entry[i].text);
	}
}

/* ---- the plot ---- */

static int row_of(const struct chart_scale *s, double value)
{
	double part = (value - s->low) / (s->high - s->low);
	int row = (int)((1 - part) * ROWS);
	return row < 0 ? 0 : row >= ROWS ? ROWS - 1 : row;
}

static void plot(const struct chart *c, const struct chart_panel *p, const struct style *style,
                 int width, struct lines *out)
{
	struct chart_scale s;
	char mark[40], unit[16];
	int across = width - GUTTER;
	char *cell = malloc((size_t)across * ROWS + 1);
	if (!cell) {
		out->failed = true;
		return;
	}
	chart_scale(p, 4, &s);
	memset(cell, ' ', (size_t)across * ROWS);
	for (int i = 0; i < p->columns; i++) {
		const struct chart_column *k = &p->column[i];
		int x = (int)((int64_t)k->index * across / c->width);
		if (!k->has_value) {
			if (cell[x] == ' ')
				cell[x] = '^';
			continue;
		}
		for (int y = row_of(&s, k->high); y <= row_of(&s, k->low); y++)
			cell[y * across + x] = '|';
		cell[row_of(&s, k->first) * across + x] = '*';
		cell[row_of(&s, k->last) * across + x] = '*';
	}
	for (int i = 0; i < p->entries; i++) {
		int x = (int)((double)(p->entry[i].t - c->from) / (double)(c->to - c->from) * across);
		x = x < 0 ? 0 : x >= across ? across - 1 : x;
		int y = p->entry[i].has_value ? row_of(&s, p->entry[i].value) : 0;
		cell[y * across + x] = p->entry[i].word == CHART_WITHIN ? 'o' : p->entry[i].word == CHART_OUTSIDE
		                       ? 'X' : p->entry[i].word == CHART_UNSURE ? '?' : '.';
	}
	chart_unit(&s, p->function, style->utf8, unit, sizeof unit);
	lines_printf(out, "%s, %s%s%s\n", p->meter, function_name(p->function), unit[0] ? " in " : "", unit);
	double next = floor(s.high / s.step) * s.step;
	for (int y = 0; y < ROWS; y++) {
		double bottom = s.high - (s.high - s.low) * (y + 1) / ROWS;
		mark[0] = '\0';
		if (next >= bottom && next >= s.low) {
			chart_mark(&s, next, mark, sizeof mark);
			while (next >= bottom)
				next -= s.step;
		}
		lines_printf(out, "%*s |", GUTTER - 2, mark);
		size_t n = (size_t)across;
		while (n && cell[y * across + (int)n - 1] == ' ')
			n--;
		lines_add(out, cell + y * across, n);
		lines_puts(out, "\n");
	}
	free(cell);
}

/* Times below the plot, as many as have room. */
static void time_line(const struct chart *c, const struct style *style, int width, struct lines *out)
{
	int across = width - GUTTER, marks = across / 14 > 1 ? across / 14 : 1, used = 0;
	int64_t step = chart_time_step(c->to - c->from, marks), zone = chart_zone(style, c->from);
	int64_t first = (c->from + zone + step - 1) / step * step - zone;
	char at[32];
	lines_fill(out, ' ', GUTTER);
	for (int64_t t = first; t <= c->to; t += step) {
		int x = (int)((double)(t - c->from) / (double)(c->to - c->from) * across);
		clock_text(style, t, step >= INT64_C(86400000000), at);
		if (step >= INT64_C(86400000000))
			at[10] = '\0';
		if (x < used || x + (int)strlen(at) > across)
			continue;
		lines_fill(out, ' ', (size_t)(x - used));
		lines_puts(out, at);
		used = x + (int)strlen(at);
	}
	lines_puts(out, "\n");
}

void chart_text(const struct chart *c, const struct style *style, struct lines *out)
{
	char from[32], to[32];
	int width = style->width > 40 ? style->width : 80;
	clock_text(style, c->from, true, from);
	clock_text(style, c->to, true, to);
	lines_printf(out, "%s%s%s to %s\n", c->title, style->plain ? ", " : ": ", from, to);
	for (int i = 0; i < c->panels; i++) {
		const struct chart_panel *p = &c->panel[i];
		if (!style->plain)
			plot(c, p, style, width, out);
		if (!style->plain && i == c->panels - 1)
			time_line(c, style, width, out);
		sentence(c, p, style, out);
		entry_lines(p, style, out);
	}
	if (!style->plain && c->panels)
		lines_puts(out, "o within, ? unsure, X outside, ^ beyond the range\n");
}
