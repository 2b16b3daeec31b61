/* SPDX-License-Identifier: MIT */
/* The touch: how far settling has come, its trail as a line, and where the value lies
 * between its limits. */
#include "client/view_bench.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static void label(struct picture *p, int row, const char *text)
{
	picture_put(p, row, BENCH_GUTTER - 2 - (int)strlen(text), LOOK_FAINT, text);
}

/* ---- settling, and the trail of this touch ---- */

#define BAR 12

static void bar_put(const struct bench_view *v, struct picture *p, int row, int column,
                    double progress, enum look look)
{
	int full = (int)floor(progress * BAR + 1e-9);
	full = full < 0 ? 0 : full > BAR ? BAR : full;
	bool utf8 = v->style->utf8;
	for (int i = 0; i < BAR; i++)
		picture_put(p, row, column + i, i < full ? look : LOOK_FAINT,
		            i < full ? utf8 ? "\u25A0" : "=" : utf8 ? "\u00B7" : ".");
}

/* "still moves 12 digits", "at rest within 1 digit", "open leads". */
static void rest_words(const struct bench_view *v, const struct scene_meter *m, char *out,
                       size_t size)
{
	int moves = scene_moves(m, v->now);
	const char *dial = scene_dial(v->scene, v->now), *no = scene_forbidden(v->scene);
	if (!m->touching && no[0])
		snprintf(out, size, "LIVE: no %.20s; volts, or another position", no);
	else if (!m->touching && dial[0])
		snprintf(out, size, "no meter is on %.20s: turn a dial", dial);
	else if (!m->touching)
		snprintf(out, size, "leads are open");
	else if (moves < 0)
		snprintf(out, size, "touched");
	else if (moves > 9999)
		snprintf(out, size, "changes range");
	else if (moves == 0 && m->progress < 1)
		snprintf(out, size, "does not move");
	else
		snprintf(out, size, "%s %d digit%s", m->progress >= 1 ? "at rest, within" : "still moves",
		         m->progress >= 1 && moves == 0 ? 1 : moves,
		         moves == 1 || (m->progress >= 1 && moves == 0) ? "" : "s");
}

/* The displays of this touch, the newest at the right: how high each lies between the
 * lowest and the highest of them, but never finer than eight digits for the whole. */
static void trail_put(const struct bench_view *v, struct picture *p, int row, int column,
                      int width, const struct scene_meter *m)
{
	static const char *const fine[] = {"\u2581", "\u2582", "\u2583", "\u2584",
	                                   "\u2585", "\u2586", "\u2587", "\u2588"};
	static const char *const coarse[] = {"_", ".", "-", "=", "+", "*", "^", "\""};
	int count = m->trail_count < width ? m->trail_count : width;
	double low = INFINITY, high = -INFINITY;
	bool fine_steps = v->style->utf8 && !v->style->few;
	if (!count)
		return;
	const struct decimal newest =
	    m->trail[(m->trail_next + SCENE_TRAIL_MAX - 1) % SCENE_TRAIL_MAX].value;
	for (int i = 0; i < count; i++) {
		int at = (m->trail_next + SCENE_TRAIL_MAX - 1 - i) % SCENE_TRAIL_MAX;
		double x = decimal_double(m->trail[at].value);
		low = fmin(low, x);
		high = fmax(high, x);
	}
	double least = 8 * pow(10, newest.e);
	if (high - low < least) {
		double middle = (high + low) / 2;
		low = middle - least / 2;
		high = middle + least / 2;
	}
	for (int i = 0; i < count; i++) {
		int at = (m->trail_next + 2 * SCENE_TRAIL_MAX - count + i) % SCENE_TRAIL_MAX;
		double share = (decimal_double(m->trail[at].value) - low) / (high - low);
		int level = (int)floor(share * 7.999);
		level = level < 0 ? 0 : level > 7 ? 7 : level;
		picture_put(p, row, column + i, LOOK_ORDINARY, fine_steps ? fine[level] : coarse[level]);
	}
}

void view_bench_settling(const struct bench_view *v, struct picture *p, int row, int width)
{
	const struct scene_meter *m = scene_front(v->scene);
	char words[80], state[80];
	enum look look;
	label(p, row, "settling");
	if (!scene_stands(v->scene, m, v->now))
		return;
	view_bench_state(v, state, sizeof state, &look);
	bar_put(v, p, row, BENCH_GUTTER, m->touching ? m->progress : 0, look);
	rest_words(v, m, words, sizeof words);
	int column = picture_put(p, row, BENCH_GUTTER + BAR + 2, LOOK_ORDINARY, words);
	/* The trail begins in one place, so that it does not jump with the words. */
	int trail = BENCH_GUTTER + BAR + 2 + 28;
	column = column + 2 > trail ? column + 2 : trail;
	if (!m->touching || column + 16 > width)
		return;
	column = picture_put(p, row, column, LOOK_FAINT, "touch ");
	trail_put(v, p, row, column, width - column, m);
}

/* ---- limits ---- */

void view_bench_deviation(struct decimal value, const struct scene_limits *l, char *out,
                          size_t size)
{
	out[0] = '\0';
	double x = decimal_double(value), nominal = decimal_double(l->nominal);
	if (!l->has_nominal || nominal == 0)
		return;
	double percent = (x - nominal) / fabs(nominal) * 100;
	const char *which = percent > 0 ? "high" : "low";
	if (nominal < 0)
		which = x > 0 ? "off, of the wrong sign" : percent < 0 ? "more negative" : "less negative";
	percent = fabs(percent);
	if (percent >= 900)
		snprintf(out, size, "%.3g times nominal", fabs(x / nominal));
	else if (percent < 0.005)
		snprintf(out, size, "on nominal");
	else
		snprintf(out, size, percent < 1 ? "%.2f %% %s" : "%.1f %% %s", percent, which);
}

static void bound_text(const struct bench_view *v, struct decimal d, const char *function,
                       char *out, size_t size)
{
	enum function f = FUNCTION_NONE;
	char text[2 * DECIMAL_TEXT_SIZE];
	function_from_name(function, strlen(function), &f);
	bound_shown(decimal_strip(d), f, text, sizeof text);
	words_value(v->style, text, out, size);
}

/* Cells beside the bounds, for values beyond them. */
#define BEYOND 6

/* Where x lies, in cells from the left end of a line with bounds at BEYOND and at
 * cells - 1 - BEYOND; at the ends for what lies further out. */
static int cell_of(double x, double low, double high, int cells)
{
	double inside = cells - 1 - 2 * BEYOND;
	double at = BEYOND + (x - low) / (high - low) * inside;
	return at < 0 ? 0 : at > cells - 1 ? cells - 1 : (int)lround(at);
}

/* The line, with the ends that its cells stand for. */
struct limits_line {
	int row, column, cells;
	double low, high;
};

static int line_cell(const struct limits_line *l, double x)
{
	return l->column + cell_of(x, l->low, l->high, l->cells);
}

static void line_put(const struct bench_view *v, struct picture *p, struct limits_line *l,
                     const struct scene_limits *s)
{
	bool utf8 = v->style->utf8, both = s->has_low && s->has_high;
	l->low = decimal_double(s->low);
	l->high = decimal_double(s->high);
	both = both && l->high > l->low;
	/* One-sided: the bound in the middle, the scale a factor of two to each side. */
	if (!both) {
		double bound = s->has_low ? l->low : l->high;
		double span = fabs(bound) > 0 ? fabs(bound) : 1;
		l->low = bound - span / 2;
		l->high = bound + span / 2;
	}
	int a = line_cell(l, l->low), b = line_cell(l, l->high);
	int bound = line_cell(l, (l->low + l->high) / 2);
	for (int i = l->column; i < l->column + l->cells; i++) {
		bool in = both ? i > a && i < b : s->has_low ? i > bound : i < bound;
		if (in)
			picture_put(p, l->row, i, LOOK_FAINT, utf8 ? "\u2500" : "-");
	}
	if (!both) {
		picture_put(p, l->row, bound, LOOK_STRONG, "|");
		return;
	}
	picture_put(p, l->row, a, LOOK_STRONG, "|");
	picture_put(p, l->row, b, LOOK_STRONG, "|");
	/* Limits that do not lie about it evenly leave it where it is. */
	double nominal = decimal_double(s->nominal);
	if (s->has_nominal && nominal > l->low && nominal < l->high)
		picture_put(p, l->row, line_cell(l, nominal), LOOK_FAINT, "+");
}

static void value_mark(const struct bench_view *v, struct picture *p, const struct limits_line *l,
                       const struct scene_limits *s, double value)
{
	bool out = (s->has_low && value < decimal_double(s->low)) ||
	           (s->has_high && value > decimal_double(s->high));
	picture_put(p, l->row, line_cell(l, value), out ? LOOK_BAD : LOOK_GOOD,
	            v->style->utf8 ? "\u25C6" : "*");
}

/* A display as a number of that function; overloads lie beyond every bound. */
static bool shown_value(const char *shown, double *x, struct decimal *value)
{
	enum function f;
	struct fault ignored;
	bool above = strcmp(shown, "overload") == 0;
	if (above || strcmp(shown, "negative overload") == 0) {
		*x = above ? INFINITY : -INFINITY;
		*value = (struct decimal){0, 0};
		return true;
	}
	if (!quantity_parse(shown, strlen(shown), FUNCTION_NONE, value, &f, &ignored))
		return false;
	*x = decimal_double(*value);
	return true;
}

/* This touch, or what was logged; open leads are no value of this part. */
static bool value_now(const struct bench_view *v, const struct scene_limits *l, double *x,
                      char *deviation, size_t size)
{
	const struct scene *s = v->scene;
	const struct scene_meter *m = scene_front(s);
	const char *function, *shown = scene_large(s, v->now, &function);
	struct decimal value;
	deviation[0] = '\0';
	if (m && scene_elsewhere(s, m) && shown != s->logged.shown)
		return false; /* of another position than the limits */
	if (!shown || !(shown == s->logged.shown || (m->touching && scene_is_for_part(s, m))) ||
	    strcmp(function, l->function) != 0 || !shown_value(shown, x, &value))
		return false;
	/* Touching and overloaded is range hunting, until it is logged so. */
	if (isinf(*x))
		return shown == s->logged.shown;
	view_bench_deviation(value, l, deviation, size);
	return true;
}

void view_bench_limits(const struct bench_view *v, struct picture *p, int row, int width)
{
	const struct scene *s = v->scene;
	char low[WORDS_SIZE] = "", high[WORDS_SIZE] = "", deviation[80] = "", text[WORDS_SIZE + 16];
	const char *verdict, *twin = scene_twin_shown(s, &verdict);
	struct scene_limits limits;
	struct decimal ignored;
	double x, y;
	bool any = scene_limits(s, &limits);
	label(p, row, any && limits.assumed ? "assumed" : "limits");
	if (!any) {
		picture_put(p, row, BENCH_GUTTER, LOOK_FAINT,
		            !s->position[0] ? "" : limits.function[0] && !s->limits_known
		            ? "none in the sheet: judged by its kind"
		            : "none: it is logged without a verdict");
		return;
	}
	bool has = value_now(v, &limits, &x, deviation, sizeof deviation);
	if (limits.has_low)
		bound_text(v, limits.low, limits.function, low, sizeof low);
	if (limits.has_high)
		bound_text(v, limits.high, limits.function, high, sizeof high);
	/* Bounds of any length leave the line where it is. */
	snprintf(text, sizeof text, "%s%s", !limits.has_high ? "at least " : "",
	         low[0] ? low : "at most");
	int wide = (int)words_width(text, strlen(text)), column = BENCH_GUTTER;
	column = picture_put(p, row, wide < 9 ? column + 9 - wide : column, LOOK_ORDINARY, text) + 1;
	struct limits_line line = {.row = row, .column = column, .cells = width - column - 10 - 22};
	line.cells = line.cells > 61 ? 61 : line.cells;
	if (line.cells < 3 * BEYOND) {
		picture_printf(p, row, column, LOOK_ORDINARY, "%s%s  %s", high[0] && low[0] ? "to " : "", high,
		               deviation);
		return;
	}
	line_put(v, p, &line, &limits);
	if (twin[0] && shown_value(twin, &y, &ignored))
		picture_put(p, row, line_cell(&line, y), LOOK_STRONG, "t");
	if (has)
		value_mark(v, p, &line, &limits, x);
	column += line.cells + 1;
	column = picture_put(p, row, column, LOOK_ORDINARY, high) + 2;
	picture_put(p, row, column, LOOK_STRONG, deviation);
}
