/* SPDX-License-Identifier: MIT */
/* Axes and gaps of a chart: see chart.h. */
#include "client/chart.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Where all of the range is so many times the range of nine tenths of the readings, the
 * rest is pressed into a line, and the far ones are left beyond the axis. */
#define PRESSED 12.0

void chart_free(struct chart *c)
{
	for (int i = 0; i < c->panels; i++) {
		free(c->panel[i].column);
		free(c->panel[i].entry);
		free(c->panel[i].touch);
		free(c->panel[i].gap);
	}
	free(c->panel);
	*c = (struct chart){.panels = 0};
}

/* ---- values ---- */

struct weighed {
	double value;
	int64_t n;
};

static int by_value(const void *a, const void *b)
{
	double x = ((const struct weighed *)a)->value, y = ((const struct weighed *)b)->value;
	return (x > y) - (x < y);
}

static double quantile(const struct weighed *w, size_t count, int64_t all, double q)
{
	int64_t want = (int64_t)(q * (double)all), sum = 0;
	for (size_t i = 0; i < count; i++) {
		sum += w[i].n;
		if (sum > want)
			return w[i].value;
	}
	return w[count - 1].value;
}

static void reach(double *low, double *high, double x)
{
	*low = x < *low ? x : *low;
	*high = x > *high ? x : *high;
}

/* The range of most readings; false where it is all of them. */
static bool most(const struct chart_panel *p, double *low, double *high)
{
	struct weighed *w = malloc((size_t)p->columns * 2 * sizeof *w + 1);
	size_t count = 0;
	int64_t all = 0;
	bool cut = false;
	for (int i = 0; w && i < p->columns; i++) {
		const struct chart_column *c = &p->column[i];
		if (!c->has_value)
			continue;
		/* A column shows its range: half of its readings at either end. */
		w[count++] = (struct weighed){c->low, c->n};
		w[count++] = (struct weighed){c->high, c->n};
		all += 2 * c->n;
	}
	if (count) {
		qsort(w, count, sizeof *w, by_value);
		double a = quantile(w, count, all, 0.05), b = quantile(w, count, all, 0.95);
		double whole = w[count - 1].value - w[0].value;
		cut = whole > 0 && whole > PRESSED * (b - a) && whole > 1e-3 * fabs(b);
		if (cut) {
			*low = a;
			*high = b;
		}
	}
	free(w);
	return cut;
}

static bool range(const struct chart_panel *p, double *low, double *high)
{
	*low = INFINITY;
	*high = -INFINITY;
	if (!most(p, low, high)) {
		for (int i = 0; i < p->columns; i++)
			if (p->column[i].has_value) {
				reach(low, high, p->column[i].low);
				reach(low, high, p->column[i].high);
			}
	}
	for (int i = 0; i < p->entries; i++)
		if (p->entry[i].has_value)
			reach(low, high, p->entry[i].value);
	if (p->has_low)
		reach(low, high, p->low);
	if (p->has_high)
		reach(low, high, p->high);
	return *low <= *high;
}

/* 1, 2 or 5 times a power of ten, not below x. */
static double round_step(double x)
{
	double power = pow(10, floor(log10(x)));
	double m = x / power;
	return (m <= 1.0000001 ? 1 : m <= 2.0000001 ? 2 : m <= 5.0000001 ? 5 : 10) * power;
}

void chart_scale(const struct chart_panel *p, int marks, struct chart_scale *out)
{
	double low, high;
	*out = (struct chart_scale){.low = 0, .high = 1, .step = 0.5, .decimals = 1};
	if (!range(p, &low, &high))
		return;
	double size = fmax(fabs(low), fabs(high)), span = high - low;
	/* A value that stands still is drawn in the middle of a few of its digits. */
	double least = p->digit > 0 ? 10 * p->digit : size > 0 ? size * 1e-4 : 1e-3;
	if (span < least) {
		low -= (least - span) / 2;
		high += (least - span) / 2;
		span = least;
	}
	low -= 0.06 * span;
	high += 0.06 * span;
	out->step = round_step((high - low) / marks);
	out->low = low;
	out->high = high;
	while (size >= 1000 * pow(10, out->prefix) * 0.9999999 && out->prefix < 9)
		out->prefix += 3;
	while (size > 0 && size < pow(10, out->prefix) && out->prefix > -12)
		out->prefix -= 3;
	double shown = out->step / pow(10, out->prefix);
	out->decimals = shown >= 1 ? 0 : (int)ceil(-log10(shown) - 1e-9);
	for (int i = 0; i < p->columns; i++)
		if (p->column[i].has_value && (p->column[i].high > high || p->column[i].low < low))
			out->beyond += p->column[i].n;
}

void chart_mark(const struct chart_scale *s, double value, char *out, size_t size)
{
	double shown = value / pow(10, s->prefix);
	/* No -0.0. */
	if (fabs(shown) < 0.5 * pow(10, -s->decimals))
		shown = 0;
	snprintf(out, size, "%.*f", s->decimals, shown);
}

void chart_unit(const struct chart_scale *s, enum function f, bool utf8, char *out, size_t size)
{
	static const char *const prefix[] = {"p", "n", "u", "m", "", "k", "M", "G"};
	const char *unit = function_unit(f);
	bool ohm = utf8 && f == FUNCTION_OHM, micro = utf8 && s->prefix == -6;
	snprintf(out, size, "%s%s", micro ? "\xc2\xb5" : prefix[(s->prefix + 12) / 3],
	         ohm ? "\xce\xa9" : unit);
}

/* ---- time ---- */

int64_t chart_time_step(int64_t span, int marks)
{
	static const int64_t seconds[] = {1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200,
		10800, 21600, 43200, 86400, 172800, 604800, 1209600, 2592000, 7776000, 31536000};
	int64_t least = span / (marks > 0 ? marks : 1);
	for (int64_t us = 1000; us < 1000000; us *= 10)
		for (int m = 0; m < 3; m++) {
			int64_t step = us * (m == 0 ? 1 : m == 1 ? 2 : 5);
			if (step >= least)
				return step;
		}
	for (size_t i = 0; i < sizeof seconds / sizeof *seconds; i++)
		if (seconds[i] * 1000000 >= least)
			return seconds[i] * 1000000;
	return INT64_C(31536000000000) * 10;
}

int64_t chart_zone(const struct style *style, int64_t t)
{
	char local[20], text[40];
	int64_t there;
	if (!style->local)
		return 0;
	style->local(t, local);
	int n = snprintf(text, sizeof text, "%.10sT%.8s.000000Z", local, local + 11);
	if (!time_parse(text, (size_t)n, &there))
		return 0;
	int64_t second = t >= 0 ? t / 1000000 : -((999999 - t) / 1000000);
	return there - second * 1000000;
}

double chart_longest(const struct chart *c, const struct chart_panel *p)
{
	double per = (double)(c->to - c->from) / 1e6 / (c->width > 0 ? c->width : 1), time = 0;
	int64_t n = 0;
	for (int i = 1; i < p->columns; i++) {
		double between = (p->column[i].index - p->column[i - 1].index) * per;
		if (p->column[i].silence > CHART_SILENCE)
			continue;
		time += between;
		n += p->column[i].n;
	}
	double usual = n ? time / (double)n : 0;
	return 5 * usual > CHART_SILENCE ? 5 * usual : CHART_SILENCE;
}

bool chart_joined(const struct chart_panel *p, int i, double longest)
{
	return i > 0 && p->column[i].has_value && p->column[i - 1].has_value &&
	       p->column[i].silence <= longest;
}
