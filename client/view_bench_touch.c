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
	if (!m->touching)
		snprintf(out, size, "leads are open");
	else if (moves < 0)
		snprintf(out, size, "touched");
	else if (moves > 9999)
		snprintf(out, size, "changes range");
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
		picture_put(p, row, column + i, LOOK_ORDINARY, v->style->utf8 ? fine[level] : coarse[level]);
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

void view_bench_deviation(struct decimal value, const struct scene_position *p, char *out,
                          size_t size)
{
	out[0] = '\0';
	double x = decimal_double(value), nominal = decimal_double(p->nominal_value);
	if (!p->has_nominal || nominal == 0)
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
	d = decimal_strip(d);
	int prefix = quantity_prefix(d, f);
	if (d.e > prefix)
		decimal_rescale(d, prefix, &d);
	quantity_shown(d, f, prefix, text, sizeof text);
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

static void line_put(const struct bench_view *v, struct picture *p, int row, int column,
                     int cells, const struct scene_position *sheet, bool has_value, double value)
{
	bool utf8 = v->style->utf8;
	double low = decimal_double(sheet->low), high = decimal_double(sheet->high);
	bool both = sheet->has_low && sheet->has_high && high > low;
	/* One-sided: the bound in the middle, the scale a factor of two to each side. */
	if (!both) {
		double bound = sheet->has_low ? low : high;
		double span = fabs(bound) > 0 ? fabs(bound) : 1;
		low = bound - span / 2;
		high = bound + span / 2;
	}
	int a = cell_of(low, low, high, cells), b = cell_of(high, low, high, cells);
	int bound = cell_of((low + high) / 2, low, high, cells);
	for (int i = 0; i < cells; i++) {
		bool in = both ? i > a && i < b : sheet->has_low ? i > bound : i < bound;
		if (in)
			picture_put(p, row, column + i, LOOK_FAINT, utf8 ? "\u2500" : "-");
	}
	if (both) {
		picture_put(p, row, column + a, LOOK_STRONG, "|");
		picture_put(p, row, column + b, LOOK_STRONG, "|");
		if (sheet->has_nominal)
			picture_put(p, row, column + cell_of(decimal_double(sheet->nominal_value), low, high,
			                                     cells), LOOK_FAINT, "+");
	} else {
		picture_put(p, row, column + bound, LOOK_STRONG, "|");
	}
	if (!has_value)
		return;
	bool out = (sheet->has_low && value < decimal_double(sheet->low)) ||
	           (sheet->has_high && value > decimal_double(sheet->high));
	picture_put(p, row, column + cell_of(value, low, high, cells), out ? LOOK_BAD : LOOK_GOOD,
	            utf8 ? "\u25C6" : "*");
}

void view_bench_limits(const struct bench_view *v, struct picture *p, int row, int width)
{
	const struct scene *s = v->scene;
	const struct scene_meter *m = scene_front(s);
	int place = scene_place(s, s->position);
	char low[WORDS_SIZE] = "", high[WORDS_SIZE] = "", deviation[80] = "";
	label(p, row, "limits");
	const struct scene_position *sheet = place >= 0 ? &s->sheet[place] : NULL;
	if (!sheet || strcmp(s->quantity, "value") != 0 || (!sheet->has_low && !sheet->has_high)) {
		picture_put(p, row, BENCH_GUTTER, LOOK_FAINT,
		            !sheet ? "" : strcmp(s->quantity, "value") == 0
		            ? "none in the sheet: judged by its kind"
		            : "those of the sheet are for the value");
		return;
	}
	struct decimal value;
	enum function f;
	struct fault ignored;
	const char *function, *shown = scene_large(s, v->now, &function);
	/* Open leads are no value of this part. */
	bool has = shown && (shown == s->logged.shown || m->touching) &&
	           strcmp(function, sheet->function) == 0 &&
	           quantity_parse(shown, strlen(shown), FUNCTION_NONE, &value, &f, &ignored);
	if (has)
		view_bench_deviation(value, sheet, deviation, sizeof deviation);
	if (sheet->has_low)
		bound_text(v, sheet->low, sheet->function, low, sizeof low);
	if (sheet->has_high)
		bound_text(v, sheet->high, sheet->function, high, sizeof high);
	/* Bounds of any length leave the line where it is. */
	char text[WORDS_SIZE + 16];
	snprintf(text, sizeof text, "%s%s", !sheet->has_high ? "at least " : "",
	         low[0] ? low : "at most");
	int wide = (int)words_width(text, strlen(text)), column = BENCH_GUTTER;
	column = picture_put(p, row, wide < 9 ? column + 9 - wide : column, LOOK_ORDINARY, text) + 1;
	int cells = width - column - 10 - 22;
	cells = cells > 61 ? 61 : cells;
	if (cells < 3 * BEYOND) {
		picture_printf(p, row, column, LOOK_ORDINARY, "to %s  %s", high, deviation);
		return;
	}
	line_put(v, p, row, column, cells, sheet, has, has ? decimal_double(value) : 0);
	column += cells + 1;
	column = picture_put(p, row, column, LOOK_ORDINARY, high) + 2;
	picture_put(p, row, column, LOOK_STRONG, deviation);
}
