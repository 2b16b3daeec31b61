/* SPDX-License-Identifier: MIT */
/*
 * The trail of a guided run as a small picture: one panel a meter, one axis of time for all.
 *
 * A column shows its least and greatest reading; where nothing was read the line is open.  Of a
 * re-forming the current is not read but calculated: it stands in the records as `values`, `current`,
 * and is drawn from them as points, below.  No scale bridges to zero what is far from it.
 */
#include "client/report_guide.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define PANEL 96
#define TOP 22
#define LEFT 52.0
#define RIGHT (LEFT + REPORT_GUIDE_COLUMNS)
#define LABEL "font-family=\"DejaVu Sans,Verdana,sans-serif\" font-size=\"11\" fill=\"#111\""

static bool current_at(const struct report_guide *g, int i, double *x)
{
	struct slice record = g->record[i]->record;
	return json_number(json_member(record.at, record.len, "values.current.value"), x);
}

static int currents(const struct report_guide *g)
{
	double x;
	int n = 0;
	for (int i = 0; i < g->records; i++)
		n += current_at(g, i, &x);
	return n >= 2 ? n : 0;
}

int report_guide_height(const struct report_guide *g)
{
	int panels = g->panels + (currents(g) > 0);
	return panels ? TOP + panels * PANEL - 26 + 34 : 0;
}

static double x_of(const struct report_guide *g, int64_t t)
{
	return LEFT + REPORT_GUIDE_COLUMNS * (double)(t - g->from) / (double)(g->to - g->from);
}

struct panel {
	double top, bottom;
	struct chart_scale scale;
};

static double y_of(const struct panel *p, double value)
{
	double part = (value - p->scale.low) / (p->scale.high - p->scale.low);
	part = part < 0 ? 0 : part > 1 ? 1 : part;
	return p->bottom - (p->bottom - p->top) * part;
}

static void scale(const struct report *r, const struct panel *p, enum function f, const char *what,
                  struct lines *out)
{
	char number[40], unit[24];
	chart_unit(&p->scale, f, true, unit, sizeof unit);
	if (f == FUNCTION_VOLT_AC || f == FUNCTION_AMP_AC)
		snprintf(unit + strlen(unit), sizeof unit - strlen(unit), " AC");
	for (double at = p->scale.step * ceil(p->scale.low / p->scale.step - 1e-9);
	     at <= p->scale.high + p->scale.step * 1e-9; at += p->scale.step) {
		lines_printf(out, "<path d=\"M%.1f %.1fH%.1f\" stroke=\"#d4d4d4\"/>", LEFT, y_of(p, at), RIGHT);
		chart_mark(&p->scale, at, number, sizeof number);
		for (char *c = number; r->german && *c; c++)
			if (*c == '.')
				*c = ',';
		lines_printf(out, "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"end\" " LABEL ">%s</text>", LEFT - 5,
		             y_of(p, at) + 4, number);
	}
	lines_printf(out, "<text x=\"%.1f\" y=\"%.1f\" " LABEL ">", LEFT, p->top - 6);
	paper_escape(out, what);
	lines_puts(out, unit[0] ? ", " : "");
	paper_escape(out, unit);
	if (p->scale.beyond)
		lines_puts(out, SAY(r, "; peaks are cut off", "; Spitzen abgeschnitten"));
	lines_puts(out, "</text>");
}

/* With two marks at least: of one alone nobody can read how far another value is away. */
static void scale_of(const struct chart_panel *panel, int marks, struct chart_scale *out)
{
	for (int inside = 0; inside < 2 && marks < 12; marks++) {
		chart_scale(panel, marks, out);
		inside = (int)(floor(out->high / out->step + 1e-9) - ceil(out->low / out->step - 1e-9)) + 1;
	}
}

static void trail(const struct report *r, const struct report_guide *g,
                  const struct report_guide_panel *from, const struct panel *p, struct lines *out)
{
	const struct chart_panel *x = &from->panel;
	struct chart c = {.from = g->from, .to = g->to, .width = REPORT_GUIDE_COLUMNS};
	double longest = chart_longest(&c, x);
	char low[64], high[64], tip[200], like[32];
	bool pen = false;
	lines_puts(out, "<path fill=\"none\" stroke=\"#000\" stroke-width=\"1.4\" d=\"");
	for (int i = 0; i < x->columns; i++) {
		const struct chart_column *k = &x->column[i];
		double at = LEFT + k->index + 0.5;
		if (!k->has_value) {
			pen = false;
			continue;
		}
		pen = pen && i && chart_joined(x, i, longest);
		lines_printf(out, "%s%.1f %.1fV%.1fV%.1fV%.1f", pen ? "L" : "M", at, y_of(p, k->first),
		             y_of(p, k->low), y_of(p, k->high), y_of(p, k->last));
		pen = true;
	}
	lines_puts(out, "\"/>");
	/* What can be pointed at: an eighth of the time each. */
	for (int i = 0, part = 0; part < 8; part++) {
		int until = REPORT_GUIDE_COLUMNS * (part + 1) / 8, n = 0;
		double least = HUGE_VAL, most = -HUGE_VAL;
		for (; i < x->columns && x->column[i].index < until; i++)
			if (x->column[i].has_value) {
				least = fmin(least, x->column[i].low);
				most = fmax(most, x->column[i].high);
				n++;
			}
		if (!n)
			continue;
		report_si(most, function_unit(x->function), like, sizeof like);
		report_like(r, least, 4, like, low, sizeof low);
		report_like(r, most, 4, like, high, sizeof high);
		snprintf(tip, sizeof tip, "%.40s: %s%s%s", from->role, low, strcmp(low, high)
		         ? SAY(r, " to ", " bis ") : "", strcmp(low, high) ? high : "");
		lines_puts(out, "<g data-tip=\"");
		paper_escape(out, tip);
		lines_puts(out, "\"><title>");
		paper_escape(out, tip);
		lines_printf(out, "</title><rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\" "
		             "fill=\"#fff\" fill-opacity=\"0\"/></g>", LEFT + REPORT_GUIDE_COLUMNS * part / 8.0,
		             p->top, REPORT_GUIDE_COLUMNS / 8.0, p->bottom - p->top);
	}
}

/* The calculated current of the records, as points and what joins them. */
static void current(const struct report *r, const struct report_guide *g, struct panel *p,
                    struct lines *out)
{
	struct chart_column column[2] = {{.n = 1, .has_value = true, .low = HUGE_VAL, .high = -HUGE_VAL},
	                                 {.index = 1, .n = 1, .has_value = true}};
	struct chart_panel range = {.function = FUNCTION_AMP_DC, .column = column, .columns = 2};
	char shown[64], tip[120], like[32];
	double x;
	bool pen = false;
	for (int i = 0; i < g->records; i++)
		if (current_at(g, i, &x)) {
			column[0].low = fmin(column[0].low, fmin(x, 0));
			column[0].high = fmax(column[0].high, x);
		}
	column[0].first = column[0].last = column[0].low;
	column[1].low = column[1].high = column[1].first = column[1].last = column[0].high;
	scale_of(&range, 3, &p->scale);
	scale(r, p, FUNCTION_AMP_DC, SAY(r, "current, calculated", "Strom, berechnet"), out);
	lines_puts(out, "<path fill=\"none\" stroke=\"#000\" stroke-width=\"1.4\" stroke-dasharray=\"5 3\" d=\"");
	for (int i = 0; i < g->records; i++)
		if (current_at(g, i, &x)) {
			lines_printf(out, "%s%.1f %.1f", pen ? "L" : "M", x_of(g, g->record[i]->t), y_of(p, x));
			pen = true;
		}
	lines_puts(out, "\"/>");
	for (int i = 0; i < g->records; i++) {
		if (!current_at(g, i, &x))
			continue;
		report_si(x, "A", like, sizeof like);
		report_like(r, x, 3, like, shown, sizeof shown);
		snprintf(tip, sizeof tip, "%s", shown);
		lines_puts(out, "<g data-tip=\"");
		paper_escape(out, tip);
		lines_puts(out, "\"><title>");
		paper_escape(out, tip);
		lines_printf(out, "</title><circle cx=\"%.1f\" cy=\"%.1f\" r=\"2.6\" fill=\"#fff\" "
		             "stroke=\"#000\" stroke-width=\"1.2\"/></g>", x_of(g, g->record[i]->t), y_of(p, x));
	}
}

/* Seconds, minutes or hours since it began. */
static void time_axis(const struct report *r, const struct report_guide *g, double y,
                      struct lines *out)
{
	int64_t span = g->to - g->from, step = chart_time_step(span, 5);
	int64_t unit = step % INT64_C(3600000000) == 0 ? INT64_C(3600000000)
	               : step % 60000000 == 0 ? 60000000 : 1000000;
	for (int64_t at = 0; at <= span && step > 0; at += step) {
		double x = x_of(g, g->from + at);
		lines_printf(out, "<path d=\"M%.1f %.1fv4\" stroke=\"#111\"/><text x=\"%.1f\" y=\"%.1f\" "
		             "text-anchor=\"middle\" " LABEL ">%.6g</text>", x, y, x, y + 15,
		             (double)at / (double)unit);
	}
	lines_printf(out, "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"end\" " LABEL ">%s</text>", RIGHT, y + 27,
	             unit == 1000000 ? SAY(r, "seconds since it began", "Sekunden seit Beginn")
	             : unit == 60000000 ? SAY(r, "minutes since it began", "Minuten seit Beginn")
	                                : SAY(r, "hours since it began", "Stunden seit Beginn"));
}

void report_guide_picture(const struct report *r, const struct report_guide *g, int number,
                          const char *title, struct lines *out)
{
	int height = report_guide_height(g);
	struct panel p;
	char what[120], time[40];
	double y = TOP;
	if (!height)
		return;
	report_time(r, g->from, false, time, sizeof time);
	lines_printf(out, "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" width=\"%d\" height=\"%d\" "
	             "viewBox=\"0 0 %d %d\" aria-labelledby=\"g%d-t g%d-d\"><title id=\"g%d-t\">",
	             REPORT_GUIDE_WIDTH, height, REPORT_GUIDE_WIDTH, height, number, number, number);
	paper_escape(out, title);
	lines_printf(out, "</title><desc id=\"g%d-d\">%s %s", number,
	             SAY(r, "What its meters read, from", "Was seine Messgeräte zeigten, ab"), time);
	for (int i = 0; i < g->panels; i++) {
		lines_puts(out, "; ");
		paper_escape(out, g->panel[i].role);
	}
	lines_puts(out, "</desc>");
	for (int i = 0; i < g->panels; i++, y += PANEL) {
		p = (struct panel){.top = y, .bottom = y + PANEL - 26};
		scale_of(&g->panel[i].panel, 4, &p.scale);
		snprintf(what, sizeof what, "%.40s (%.32s)", report_guide_word(r, REPORT_GUIDE_ROLE, g->panel[i].role),
		         g->panel[i].panel.meter);
		scale(r, &p, g->panel[i].panel.function, what, out);
		trail(r, g, &g->panel[i], &p, out);
	}
	if (currents(g)) {
		p = (struct panel){.top = y, .bottom = y + PANEL - 26};
		current(r, g, &p, out);
		y += PANEL;
	}
	lines_printf(out, "<path d=\"M%.1f %.1fH%.1f\" stroke=\"#111\"/>", LEFT, y - 26, RIGHT);
	time_axis(r, g, y - 26, out);
	lines_puts(out, "</svg>");
}
