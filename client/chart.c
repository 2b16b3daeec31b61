/* SPDX-License-Identifier: MIT */
/* The chart as SVG: see chart.h. */
#include "client/chart.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* In units of the picture; A4 across takes it whole. */
#define WIDTH 960
#define LEFT 78
#define RIGHT 36
#define TOP 62       /* title and legend */
#define PANEL 250    /* from panel to panel */
#define PLOT 176     /* height of a plot */
#define ABOVE 26     /* between the top of a panel and its plot: its name */
#define LANE 18      /* below a plot: touches */
#define BOTTOM 44
#define PLOT_WIDTH (WIDTH - LEFT - RIGHT)

#define INK "#1b1b1b"
#define FAINT "#5c5c5c"

struct drawing {
	const struct chart *c;
	const struct style *style;
	const struct chart_panel *p;
	struct chart_scale scale;
	double top; /* of the plot */
	struct lines *out;
};

/* ---- text ---- */

static void escaped(struct lines *out, const char *text)
{
	for (; *text; text++) {
		unsigned char byte = (unsigned char)*text;
		if (byte == '<')
			lines_puts(out, "&lt;");
		else if (byte == '>')
			lines_puts(out, "&gt;");
		else if (byte == '&')
			lines_puts(out, "&amp;");
		else if (byte == '"')
			lines_puts(out, "&quot;");
		else if (byte >= 0x20 && byte != 0x7f)
			lines_add(out, text, 1);
	}
}

static void words_at(struct drawing *d, double x, double y, const char *class, const char *text)
{
	lines_printf(d->out, "<text x=\"%.1f\" y=\"%.1f\" class=\"%s\">", x, y, class);
	escaped(d->out, text);
	lines_puts(d->out, "</text>\n");
}

/* About how wide a text is, at 12 units. */
static double width_of(const char *text)
{
	return 6.6 * (double)words_width(text, strlen(text));
}

/* ---- places ---- */

static double x_of(const struct drawing *d, int64_t t)
{
	double part = (double)(t - d->c->from) / (double)(d->c->to - d->c->from);
	return LEFT + PLOT_WIDTH * (part < 0 ? 0 : part > 1 ? 1 : part);
}

static double x_column(const struct drawing *d, int index)
{
	return LEFT + PLOT_WIDTH * (index + 0.5) / d->c->width;
}

/* Beyond the axis: at its edge. */
static double y_of(const struct drawing *d, double value)
{
	double part = (value - d->scale.low) / (d->scale.high - d->scale.low);
	return d->top + PLOT * (1 - (part < 0 ? 0 : part > 1 ? 1 : part));
}

/* ---- a panel, from the back to the front ---- */

static void limits(struct drawing *d)
{
	const struct chart_panel *p = d->p;
	const struct {
		bool there;
		double at, from, to;
	} sides[] = {
		{p->has_high, p->high, d->top, y_of(d, p->high)},
		{p->has_low, p->low, y_of(d, p->low), d->top + PLOT},
	};
	for (int i = 0; i < 2; i++) {
		if (!sides[i].there)
			continue;
		if (sides[i].to > sides[i].from)
			lines_printf(d->out, "<rect x=\"%d\" y=\"%.1f\" width=\"%d\" height=\"%.1f\" "
			             "fill=\"url(#beyond)\"/>\n", LEFT, sides[i].from, PLOT_WIDTH,
			             sides[i].to - sides[i].from);
		lines_printf(d->out, "<line x1=\"%d\" x2=\"%d\" y1=\"%.1f\" y2=\"%.1f\" class=\"limit\"/>\n", LEFT,
		             LEFT + PLOT_WIDTH, y_of(d, sides[i].at), y_of(d, sides[i].at));
	}
}

/* Where the words of both limits stand: between them where there is room, else outside of them, and both
 * on one side where the edge of the panel is near. */
static void limit_places(const struct drawing *d, double *high, double *low)
{
	const struct chart_panel *p = d->p;
	double top = y_of(d, p->high), bottom = y_of(d, p->low);
	*high = top + 13;
	*low = bottom - 5;
	if (!p->has_low || !p->has_high || bottom - top >= 30)
		return;
	*high = top - 5;
	*low = bottom + 13;
	if (top - 16 < d->top) {
		*high = bottom + 13;
		*low = bottom + 26;
	} else if (bottom + 15 > d->top + PLOT) {
		*low = top - 5;
		*high = top - 18;
	}
}

/* On top of everything. */
static void limit_words(struct drawing *d)
{
	const struct chart_panel *p = d->p;
	double place[2];
	limit_places(d, &place[1], &place[0]);
	for (int high = 0; high < 2; high++) {
		char number[40], unit[16], text[120];
		double at = high ? p->high : p->low;
		if (high ? !p->has_high : !p->has_low)
			continue;
		struct chart_scale fine = d->scale;
		fine.decimals++;
		chart_mark(&fine, at, number, sizeof number);
		chart_unit(&d->scale, p->function, true, unit, sizeof unit);
		snprintf(text, sizeof text, "%s%s%s limit %s %s", p->limits_of, p->limits_of[0] ? " " : "",
		         high ? "high" : "low", number, unit);
		words_at(d, LEFT + PLOT_WIDTH - 6, place[high], "end small halo", text);
	}
}

static void grid(struct drawing *d)
{
	char text[40];
	const struct chart_scale *s = &d->scale;
	lines_printf(d->out, "<rect x=\"%d\" y=\"%.1f\" width=\"%d\" height=\"%d\" class=\"plot\"/>\n", LEFT,
	             d->top, PLOT_WIDTH, PLOT);
	for (double at = ceil(s->low / s->step) * s->step; at <= s->high; at += s->step) {
		lines_printf(d->out, "<line x1=\"%d\" x2=\"%d\" y1=\"%.1f\" y2=\"%.1f\" class=\"grid\"/>\n", LEFT,
		             LEFT + PLOT_WIDTH, y_of(d, at), y_of(d, at));
		chart_mark(s, at, text, sizeof text);
		words_at(d, LEFT - 8, y_of(d, at) + 4, "end", text);
	}
}

/* U of a reading, by the statement of its meter; 0 where there is none. */
static double band(const struct chart_panel *p, double value)
{
	const struct accuracy_line *line =
	    p->has_accuracy ? accuracy_find(&p->accuracy, p->function, value) : NULL;
	return line ? 2 * uncertainty_accuracy(line, value, p->digit) : 0;
}

/* One stretch without a gap, out along its greatest values and back along its least. */
static void stretch(struct drawing *d, int from, int to, bool with_band, const char *class)
{
	const struct chart_column *c = d->p->column;
	lines_puts(d->out, "<path d=\"");
	for (int i = from; i < to; i++) {
		double u = with_band ? band(d->p, c[i].high) : 0;
		lines_printf(d->out, "%c%.1f %.1f", i == from ? 'M' : 'L', x_column(d, c[i].index),
		             y_of(d, c[i].high + u));
	}
	for (int i = to - 1; i >= from; i--) {
		double u = with_band ? band(d->p, c[i].low) : 0;
		lines_printf(d->out, "L%.1f %.1f", x_column(d, c[i].index), y_of(d, c[i].low - u));
	}
	lines_printf(d->out, "Z\" class=\"%s\"/>\n", class);
}

static void each_stretch(struct drawing *d, bool with_band, const char *class)
{
	const struct chart_panel *p = d->p;
	double longest = chart_longest(d->c, p);
	for (int i = 0; i < p->columns;) {
		int from = i++;
		if (!p->column[from].has_value)
			continue;
		while (i < p->columns && chart_joined(p, i, longest))
			i++;
		stretch(d, from, i, with_band, class);
	}
}

/* Readings that are no number stand at the upper edge. */
static void overloads(struct drawing *d)
{
	const struct chart_panel *p = d->p;
	for (int i = 0; i < p->columns;) {
		int from = i;
		while (i < p->columns && !p->column[i].has_value &&
		       (i == from || p->column[i].index == p->column[i - 1].index + 1))
			i++;
		if (i == from) {
			i++;
			continue;
		}
		double a = x_column(d, p->column[from].index), b = x_column(d, p->column[i - 1].index);
		lines_printf(d->out, "<line x1=\"%.1f\" x2=\"%.1f\" y1=\"%.1f\" y2=\"%.1f\" class=\"over\"/>\n", a,
		             b - a < 1.5 ? a + 1.5 : b, d->top + 3, d->top + 3);
	}
}

static void gaps(struct drawing *d)
{
	for (int i = 0; i < d->p->gaps; i++) {
		const struct chart_gap *g = &d->p->gap[i];
		double a = x_of(d, g->from), b = x_of(d, g->to);
		char text[160];
		snprintf(text, sizeof text, "%s, %.0f s", g->name, (double)(g->to - g->from) / 1e6);
		lines_printf(d->out, "<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%d\" class=\"gap\"><title>", a,
		             d->top, b - a < 1 ? 1 : b - a, PLOT);
		escaped(d->out, text);
		lines_puts(d->out, "</title></rect>\n");
		if (width_of(text) + 8 < b - a) {
			words_at(d, (a + b) / 2, d->top + PLOT / 2.0, "middle small", text);
		} else if (b - a > 14 && width_of(text) + 8 < PLOT) {
			lines_printf(d->out, "<text transform=\"translate(%.1f %.1f) rotate(-90)\" class=\"middle "
			             "small\">", (a + b) / 2 + 4, d->top + PLOT / 2.0);
			escaped(d->out, text);
			lines_puts(d->out, "</text>\n");
		}
	}
}

/* Below the plot: which part was touched when. */
static void touches(struct drawing *d)
{
	double free_from = LEFT;
	for (int i = 0; i < d->p->touches; i++) {
		const struct chart_touch *t = &d->p->touch[i];
		double a = x_of(d, t->from), b = x_of(d, t->to), y = d->top + PLOT + 3;
		lines_printf(d->out, "<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"5\" class=\"touch\"/>\n", a, y,
		             b - a < 2 ? 2 : b - a);
		if (a >= free_from && a + width_of(t->position) < LEFT + PLOT_WIDTH) {
			words_at(d, a, y + 15, "small", t->position);
			free_from = a + width_of(t->position) + 6;
		}
	}
}

static void entries(struct drawing *d)
{
	static const char *const shape[] = {
		[CHART_NOT_JUDGED] = "<circle r=\"3\" fill=\"" INK "\"/>",
		[CHART_WITHIN] = "<circle r=\"5\" class=\"mark\"/>",
		[CHART_UNSURE] = "<rect x=\"-5\" y=\"-5\" width=\"10\" height=\"10\" class=\"mark\"/>",
		[CHART_OUTSIDE] = "<path d=\"M0 -6.5L6.5 5.5L-6.5 5.5Z\" class=\"mark bad\"/>",
	};
	double free_from = LEFT;
	for (int i = 0; i < d->p->entries; i++) {
		const struct chart_entry *e = &d->p->entry[i];
		double x = x_of(d, e->t), y = e->has_value ? y_of(d, e->value) : d->top + 8;
		lines_printf(d->out, "<g transform=\"translate(%.1f %.1f)\">%s<title>", x, y, shape[e->word]);
		escaped(d->out, e->text);
		lines_puts(d->out, "</title></g>\n");
		if (x < free_from)
			continue;
		bool left = x + 10 + width_of(e->position) > LEFT + PLOT_WIDTH;
		words_at(d, left ? x - 9 : x + 9, y < d->top + 16 ? y + 14 : y - 6, left ? "end name" : "name",
		         e->position);
		free_from = x + 14 + width_of(e->position);
	}
}

static void heading(struct drawing *d)
{
	char unit[16], text[240];
	const struct chart_panel *p = d->p;
	chart_unit(&d->scale, p->function, true, unit, sizeof unit);
	int n = snprintf(text, sizeof text, "%s, %s%s%s%s", p->meter, function_name(p->function),
	                 unit[0] ? " in " : "", unit,
	                 p->has_accuracy ? "" : "; its accuracy is not known, so no band");
	if (p->unsealed)
		snprintf(text + n, sizeof text - (size_t)n, "; %lld reading%s at the end %s not sealed yet",
		         (long long)p->unsealed, p->unsealed == 1 ? "" : "s", p->unsealed == 1 ? "is" : "are");
	words_at(d, LEFT, d->top - 9, "panel", text);
	if (d->scale.beyond) {
		snprintf(text, sizeof text, "some readings lie beyond this axis");
		words_at(d, LEFT + PLOT_WIDTH, d->top - 9, "end small", text);
	}
}

static void time_axis(struct drawing *d, double y, bool words)
{
	int64_t step = chart_time_step(d->c->to - d->c->from, 8);
	int64_t zone = chart_zone(d->style, d->c->from);
	char text[20] = "", day[20] = "";
	int64_t first = (d->c->from + zone + step - 1) / step * step - zone;
	for (int64_t t = first; t <= d->c->to; t += step) {
		double x = x_of(d, t);
		lines_printf(d->out, "<line x1=\"%.1f\" x2=\"%.1f\" y1=\"%.1f\" y2=\"%.1f\" class=\"grid\"/>\n", x, x,
		             d->top, d->top + PLOT);
		if (!words)
			continue;
		char buffer[40];
		struct text at;
		text_begin(&at, buffer, sizeof buffer);
		text_time(&at, t + zone);
		if (step < 1000000)
			snprintf(text, sizeof text, "%.12s", buffer + 12);
		else
			snprintf(text, sizeof text, step >= 86400000000 ? "%.10s" : step >= 60000000 ? "%.5s" : "%.8s",
			         step >= 86400000000 ? buffer + 1 : buffer + 12);
		words_at(d, x, y, "middle", text);
		if (step < 86400000000 && strncmp(day, buffer + 1, 10) != 0) {
			snprintf(day, sizeof day, "%.10s", buffer + 1);
			words_at(d, x, y + 14, "middle small", day);
		}
	}
}

static void panel(struct drawing *d, bool last)
{
	chart_scale(d->p, 5, &d->scale);
	lines_puts(d->out, "<g>\n");
	heading(d);
	grid(d);
	time_axis(d, d->top + PLOT + LANE + 18, last);
	limits(d);
	gaps(d);
	each_stretch(d, true, "band");
	each_stretch(d, false, "trail");
	overloads(d);
	touches(d);
	limit_words(d);
	entries(d);
	lines_puts(d->out, "</g>\n");
}

/* What the marks are. */
static void legend(struct drawing *d)
{
	static const struct {
		const char *shape, *word;
	} parts[] = {
		{"<rect x=\"0\" y=\"-9\" width=\"16\" height=\"10\" class=\"band\"/><line x1=\"0\" x2=\"16\" y1=\"-4\" "
		 "y2=\"-4\" class=\"trail\"/>", "trail with the meter's U (k = 2)"},
		{"<circle cx=\"8\" cy=\"-4\" r=\"5\" class=\"mark\"/>", "within"},
		{"<rect x=\"3\" y=\"-9\" width=\"10\" height=\"10\" class=\"mark\"/>", "unsure"},
		{"<path d=\"M8 -10.5L14.5 1.5L1.5 1.5Z\" class=\"mark bad\"/>", "outside"},
		{"<circle cx=\"8\" cy=\"-4\" r=\"3\" fill=\"" INK "\"/>", "not judged"},
		{"<rect x=\"0\" y=\"-9\" width=\"16\" height=\"10\" fill=\"url(#beyond)\" class=\"edge\"/>", "beyond a limit"},
		{"<line x1=\"0\" x2=\"16\" y1=\"-4\" y2=\"-4\" class=\"over\"/>", "beyond the range"},
	};
	double x = LEFT;
	for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
		lines_printf(d->out, "<g transform=\"translate(%.1f 44)\">%s<text x=\"22\" y=\"0\" class=\"small\">%s"
		             "</text></g>\n", x, parts[i].shape, parts[i].word);
		x += 22 + 5.9 * (double)strlen(parts[i].word) + 16;
	}
}

static const char styles[] =
	"<style>text{font:12px sans-serif;fill:" INK "}.title{font-size:16px;font-weight:bold}"
	".panel{font-weight:bold}.small{font-size:11px;fill:" FAINT "}.name{font-size:11px}.name,.halo{paint-order:stroke;stroke:#fff;stroke-width:3px}"
	".end{text-anchor:end}.middle{text-anchor:middle}"
	".plot{fill:#fff;stroke:" FAINT ";stroke-width:1}.grid{stroke:#d9d9d9;stroke-width:1}"
	".limit{stroke:" INK ";stroke-width:1;stroke-dasharray:6 3}"
	".band{fill:#b9cbd9;stroke:none;fill-opacity:.8}"
	".trail{fill:#12466b;fill-opacity:.55;stroke:#12466b;stroke-width:1.4;stroke-linejoin:round}"
	".over{stroke:" INK ";stroke-width:3}.gap{fill:#f1f1f1}.touch{fill:#7a7a7a}"
	".mark{fill:#fff;stroke:" INK ";stroke-width:1.8}.bad{fill:#e9b64d}.edge{stroke:" FAINT "}</style>\n"
	"<defs><pattern id=\"beyond\" width=\"7\" height=\"7\" patternUnits=\"userSpaceOnUse\" "
	"patternTransform=\"rotate(45)\"><rect width=\"7\" height=\"7\" fill=\"#f7f3ec\"/><line x1=\"0\" y1=\"0\" "
	"x2=\"0\" y2=\"7\" stroke=\"#c9b48c\" stroke-width=\"2\"/></pattern></defs>\n";

void chart_svg(const struct chart *c, const struct style *style, struct lines *out)
{
	int height = TOP + c->panels * PANEL + BOTTOM - (PANEL - ABOVE - PLOT - LANE) + 8;
	struct drawing d = {.c = c, .style = style, .out = out};
	lines_printf(out, "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %d %d\" width=\"%d\" "
	             "height=\"%d\" role=\"img\">\n<title>", WIDTH, height, WIDTH, height);
	escaped(out, c->title);
	lines_puts(out, "</title>\n<desc>");
	/* For who cannot see it: the same in sentences. */
	struct style spoken = {.plain = true, .local = style->local};
	struct lines text = {0};
	chart_text(c, &spoken, &text);
	escaped(out, lines_text(&text));
	lines_free(&text);
	lines_puts(out, "</desc>\n");
	lines_puts(out, styles);
	lines_printf(out, "<rect width=\"%d\" height=\"%d\" fill=\"#fff\"/>\n", WIDTH, height);
	words_at(&d, LEFT, 24, "title", c->title);
	legend(&d);
	for (int i = 0; i < c->panels; i++) {
		d.p = &c->panel[i];
		d.top = TOP + i * PANEL + ABOVE;
		panel(&d, i == c->panels - 1);
	}
	lines_puts(out, "</svg>\n");
}
