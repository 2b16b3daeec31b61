/* SPDX-License-Identifier: MIT */
/*
 * A measured response as SVG: dB over the logarithm of frequency, found beside done, with the line
 * that lies 3 dB below the reference.
 */
#include "client/report_response.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define LEFT 42.0
#define RIGHT (RESPONSE_WIDTH - 14.0)
#define TOP 24.0
#define BOTTOM (RESPONSE_HEIGHT - 34.0)
#define LABEL "font-family=\"DejaVu Sans,Verdana,sans-serif\" font-size=\"12\" fill=\"#111\""

static double x_of(const struct response_frame *f, double hertz)
{
	return LEFT + (RIGHT - LEFT) * log(hertz / f->from) / log(f->to / f->from);
}

static double y_of(const struct response_frame *f, double db)
{
	return BOTTOM - (BOTTOM - TOP) * (db - f->low) / (f->high - f->low);
}

void response_frame_of(const struct response *x, int n, struct response_frame *f)
{
	static const double steps[] = {1, 2, 3, 6, 10, 20, 40};
	double low = -6, high = 1;
	*f = (struct response_frame){.from = HUGE_VAL};
	for (int i = 0; i < n; i++)
		for (int k = 0; k < x[i].points; k++) {
			const struct response_point *p = &x[i].point[k];
			f->from = fmin(f->from, p->hertz);
			f->to = fmax(f->to, p->hertz);
			low = fmin(low, p->db);
			high = fmax(high, p->db);
		}
	if (f->to < f->from * 4)
		f->to = f->from * 4;
	size_t s = 0;
	for (; s + 1 < sizeof steps / sizeof *steps && (high - low) / steps[s] > 7; s++)
		;
	f->step = steps[s];
	f->low = f->step * floor(low / f->step);
	f->high = f->step * ceil(high / f->step);
}

/* 1, 2, 5 of each decade: `each` of them, with a line or a word. */
static void hertz_axis(const struct response_frame *f, double each, bool words, double at[], int *n,
                       struct lines *out)
{
	char text[32];
	for (double decade = pow(10, floor(log10(f->from))); decade <= f->to; decade *= 10) {
		double hertz = decade * each, x = x_of(f, hertz);
		bool room = x > LEFT - 0.5 && x < RIGHT + 0.5;
		if (room && !words)
			lines_printf(out, "<path d=\"M%.1f %.1fV%.1f\" stroke=\"%s\"/>", x, TOP, BOTTOM,
			             each > 1 ? "#e4e4e4" : "#bbb");
		for (int i = 0; words && room && i < *n; i++)
			room = fabs(at[i] - x) >= 27;
		if (!words || !room || *n >= 32)
			continue;
		at[(*n)++] = x;
		snprintf(text, sizeof text, hertz < 1000 ? "%g" : "%gk", hertz < 1000 ? hertz : hertz / 1000);
		lines_printf(out, "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"middle\" " LABEL ">%s</text>", x,
		             BOTTOM + 15, text);
	}
}

static void axes(const struct report *r, const struct response_frame *f, struct lines *out)
{
	static const double of_decade[] = {1, 2, 5};
	char text[48];
	double at[32];
	int n = 0;
	for (double y = f->low; y <= f->high + f->step / 2; y += f->step) {
		lines_printf(out, "<path d=\"M%.1f %.1fH%.1f\" stroke=\"%s\"/>", LEFT, y_of(f, y), RIGHT,
		             fabs(y) < f->step / 2 ? "#555" : "#d4d4d4");
		report_number(r, y, 0, text, sizeof text);
		lines_printf(out, "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"end\" " LABEL ">%s</text>",
		             LEFT - 5, y_of(f, y) + 4, text);
	}
	lines_printf(out, "<path d=\"M%.1f %.1fH%.1f\" stroke=\"#333\" stroke-dasharray=\"1 3\"/>", LEFT,
	             y_of(f, -RESPONSE_FALL_DB), RIGHT);
	for (int i = 0; i < 6; i++)
		hertz_axis(f, of_decade[i % 3], i > 2, at, &n, out);
	lines_printf(out, "<path d=\"M%.1f %.1fH%.1f\" fill=\"none\" stroke=\"#111\"/>"
	             "<text x=\"2\" y=\"%.1f\" " LABEL ">dB</text>"
	             "<text x=\"%.1f\" y=\"%d\" text-anchor=\"end\" " LABEL ">Hz</text>", LEFT, BOTTOM,
	             RIGHT, TOP - 10, RIGHT, RESPONSE_HEIGHT - 4);
}

static void curve(const struct report *r, const struct response_frame *f, const struct response *x,
                  enum report_condition c, struct lines *out)
{
	char hertz[48], db[48], shown[96], tip[300];
	lines_puts(out, "<path fill=\"none\" stroke=\"#000\"");
	lines_puts(out, c == REPORT_DONE ? " stroke-width=\"2\"" : " stroke-width=\"1.3\" "
	           "stroke-dasharray=\"5 3\"");
	for (int i = 0; i < x->points; i++)
		lines_printf(out, "%s%.1f %.1f", i ? "L" : " d=\"M", x_of(f, x->point[i].hertz),
		             y_of(f, x->point[i].db));
	lines_puts(out, "\"/>");
	for (int i = 0; i < x->points; i++) {
		const struct response_point *p = &x->point[i];
		report_hertz_text(r, p->hertz, hertz, sizeof hertz);
		response_db_text(r, p->db, db, sizeof db);
		report_value(r, p->entry->shown, shown, sizeof shown);
		snprintf(tip, sizeof tip, "%s, %s: %s (%s)", report_condition_word(r, c), hertz, db, shown);
		lines_puts(out, "<g data-tip=\"");
		paper_escape(out, tip);
		lines_puts(out, "\"><title>");
		paper_escape(out, tip);
		lines_printf(out, "</title><circle cx=\"%.1f\" cy=\"%.1f\" r=\"7\" fill=\"#fff\" "
		             "fill-opacity=\"0\"/><circle cx=\"%.1f\" cy=\"%.1f\" r=\"3.2\" fill=\"%s\" "
		             "stroke=\"#000\" stroke-width=\"1.3\"/></g>", x_of(f, p->hertz), y_of(f, p->db),
		             x_of(f, p->hertz), y_of(f, p->db), c == REPORT_DONE ? "#000" : "#fff");
	}
}

void response_picture(const struct report *r, const struct report_position *at, int number,
                    const struct response_frame *f, const struct response x[REPORT_CONDITIONS],
                    struct lines *out)
{
	char title[160], said[600], span[240];
	report_where(r, at->name, title, sizeof title);
	size_t n = 0;
	said[0] = '\0';
	for (int c = 0; c < REPORT_CONDITIONS; c++) {
		if (!x[c].points)
			continue;
		response_span_text(r, &x[c], span, sizeof span);
		n += (size_t)snprintf(said + n, sizeof said - n, "%s: %s. ",
		                      report_condition_word(r, (enum report_condition)c), span);
	}
	lines_printf(out, "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" width=\"%d\" "
	             "height=\"%d\" viewBox=\"0 0 %d %d\" aria-labelledby=\"r%d-t r%d-d\"><title "
	             "id=\"r%d-t\">", RESPONSE_WIDTH, RESPONSE_HEIGHT, RESPONSE_WIDTH, RESPONSE_HEIGHT, number, number, number);
	lines_puts(out, SAY(r, "Measured response, ", "Gemessener Frequenzgang, "));
	paper_escape(out, title);
	lines_printf(out, "</title><desc id=\"r%d-d\">", number);
	paper_escape(out, said);
	lines_puts(out, "</desc>");
	axes(r, f, out);
	lines_printf(out, "<text x=\"%.1f\" y=\"14\" font-weight=\"bold\" " LABEL ">", LEFT);
	paper_escape(out, title);
	lines_puts(out, "</text>");
	for (int c = REPORT_FOUND, at_x = (int)LEFT; c < REPORT_CONDITIONS; c++) {
		if (!x[c].points || c == REPORT_NEW)
			continue;
		lines_printf(out, "<path d=\"M%d %dh24\" stroke=\"#000\" %s/><circle cx=\"%d\" cy=\"%d\" "
		             "r=\"3.2\" fill=\"%s\" stroke=\"#000\" stroke-width=\"1.3\"/><text x=\"%d\" "
		             "y=\"%d\" " LABEL ">%s</text>", at_x, RESPONSE_HEIGHT - 8, c == REPORT_DONE ? "stroke-width=\"2\""
		             : "stroke-width=\"1.3\" stroke-dasharray=\"5 3\"", at_x + 12,
		             RESPONSE_HEIGHT - 8, c == REPORT_DONE ? "#000" : "#fff", at_x + 30, RESPONSE_HEIGHT - 4,
		             report_condition_word(r, (enum report_condition)c));
		at_x += r->german ? 116 : 84;
	}
	for (int c = REPORT_FOUND; c < REPORT_CONDITIONS; c++)
		if (x[c].points && c != REPORT_NEW)
			curve(r, f, &x[c], (enum report_condition)c, out);
	lines_puts(out, "</svg>");
}
