/* SPDX-License-Identifier: MIT */
/*
 * Small pictures: where a value lies between its limits, and how many lie where.
 * By shape and place alone, so that a grey print or an eye without colours loses nothing:
 * found is a ring, new a diamond, done a disc, each in a lane of its own; what lies beyond
 * the picture is an arrow at its edge.
 */
#include "client/report.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define MIDDLE (REPORT_SCALE_WIDTH / 2.0)
#define HALF 34.0 /* from nominal to a limit */
#define EDGE (MIDDLE - 9.0)

static const double lane[REPORT_CONDITIONS] = {6, 15, 24};

static void mark(struct lines *out, enum report_condition c, double x, double y)
{
	if (c == REPORT_NEW)
		lines_printf(out, "<path d=\"M%.1f %.1fl4.2 4.2l-4.2 4.2l-4.2 -4.2z\" fill=\"#fff\" "
		             "stroke=\"#000\" stroke-width=\"1.4\"/>", x, y - 4.2);
	else
		lines_printf(out, "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"3.4\" fill=\"%s\" stroke=\"#000\" "
		             "stroke-width=\"1.4\"/>", x, y, c == REPORT_DONE ? "#000" : "#fff");
}

static void arrow(struct lines *out, enum report_condition c, int side, double y)
{
	double x = MIDDLE + side * (EDGE + 6);
	lines_printf(out, "<path d=\"M%.1f %.1fl%d -4.4v8.8z\" fill=\"%s\" stroke=\"#000\" "
	             "stroke-width=\"1.2\"/>", x, y, -8 * side, c == REPORT_DONE ? "#000" : "#fff");
}

static double clamp(double place)
{
	double most = EDGE / HALF;
	return MIDDLE + HALF * (place > most ? most : place < -most ? -most : place);
}

static void entry_mark(const struct report *r, const struct report_entry *e, struct lines *out)
{
	double place, low, high, y = lane[e->condition];
	char said[400], value[800];
	report_entry_text(r, e, value, sizeof value);
	for (char *p = value; *p; p++)
		if (*p == '\n')
			*p = ' ';
	snprintf(said, sizeof said, "%s: %.380s", report_condition_word(r, e->condition), value);
	lines_puts(out, "<g data-tip=\"");
	paper_escape(out, said);
	lines_puts(out, "\"><title>");
	paper_escape(out, said);
	lines_puts(out, "</title>");
	if (!e->has_value) {
		arrow(out, e->condition, 1, y);
	} else if (report_place(r, e, e->value, &place)) {
		bool beyond = fabs(place) * HALF > EDGE;
		if (!beyond && e->u > 0 && report_place(r, e, e->value - 2 * e->u, &low) &&
		    report_place(r, e, e->value + 2 * e->u, &high))
			lines_printf(out, "<path d=\"M%.1f %.1fH%.1f\" stroke=\"#000\" stroke-width=\"1.6\"/>",
			             clamp(low), y, clamp(high));
		if (beyond)
			arrow(out, e->condition, place > 0 ? 1 : -1, y);
		else
			mark(out, e->condition, clamp(place), y);
	}
	lines_puts(out, "</g>");
}

static void svg_begin(struct lines *out, int width, int height, const char *id, const char *title,
                      const char *description)
{
	lines_printf(out, "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" width=\"%d\" "
	                  "height=\"%d\" "
	             "viewBox=\"0 0 %d %d\" aria-labelledby=\"%s-t %s-d\"><title id=\"%s-t\">", width,
	             height, width, height, id, id, id);
	paper_escape(out, title);
	lines_printf(out, "</title><desc id=\"%s-d\">", id);
	paper_escape(out, description);
	lines_puts(out, "</desc>");
}

/* The band between the limits; one that is open fades to the edge of the picture. */
static void band(const struct report_entry *e, struct lines *out)
{
	bool has_low, has_high;
	double low, high;
	if (!report_limits(e, &has_low, &low, &has_high, &high))
		return;
	double from = has_low ? MIDDLE - HALF : MIDDLE - EDGE, to = has_high ? MIDDLE + HALF
	    : MIDDLE + EDGE;
	lines_printf(out, "<rect x=\"%.1f\" y=\"0\" width=\"%.1f\" height=\"%d\" fill=\"#dcdcdc\"/>",
	             from,
	             to - from, REPORT_SCALE_HEIGHT);
	if (has_low)
		lines_printf(out, "<path d=\"M%.1f 0V%d\" stroke=\"#000\"/>", from, REPORT_SCALE_HEIGHT);
	if (has_high)
		lines_printf(out, "<path d=\"M%.1f 0V%d\" stroke=\"#000\"/>", to, REPORT_SCALE_HEIGHT);
	if (has_low && has_high)
		lines_printf(out, "<path d=\"M%.1f 0V%d\" stroke=\"#777\" stroke-dasharray=\"2 2\"/>",
		             MIDDLE,
		             REPORT_SCALE_HEIGHT);
}

void report_scale(const struct report *r, const struct report_line *l, int number,
                  struct lines *out)
{
	const struct report_entry *any = NULL;
	struct lines said = {0};
	char id[40], title[120], text[800], limits[160];
	bool a, b;
	double x, y;
	for (int c = 0; c < REPORT_CONDITIONS; c++) {
		const struct report_entry *e = l->at[c];
		if (!e || !report_limits(e, &a, &x, &b, &y))
			continue;
		any = any ? any : e;
		report_entry_text(r, e, text, sizeof text);
		report_limits_text(r, e, limits, sizeof limits);
		lines_printf(&said, "%s: %s (%s). ", report_condition_word(r, (enum report_condition)c),
		             text, limits);
	}
	if (any) {
		for (size_t i = 0; i < said.len; i++)
			if (said.bytes[i] == '\n')
				said.bytes[i] = ' ';
		snprintf(id, sizeof id, "s%d", number);
		snprintf(title, sizeof title, SAY(r, "%s between its limits", "%s zwischen den Grenzen"),
		         l->position->name);
		svg_begin(out, REPORT_SCALE_WIDTH, REPORT_SCALE_HEIGHT, id, title, lines_text(&said));
		band(any, out);
		for (int c = 0; c < REPORT_CONDITIONS; c++)
			if (l->at[c] && report_limits(l->at[c], &a, &x, &b, &y))
				entry_mark(r, l->at[c], out);
		lines_puts(out, "</svg>");
	}
	out->failed = out->failed || said.failed;
	lines_free(&said);
}

#define LABEL "font-family=\"DejaVu Sans,Verdana,sans-serif\" font-size=\"11\" fill=\"#111\""

void report_scale_legend(const struct report *r, struct lines *out)
{
	svg_begin(out, 360, 64, "legend", SAY(r, "How the scales are read",
	                                      "Wie die Skalen zu lesen sind"),
	          SAY(r, "Ring: found. Diamond: new. Disc: done. Grey: between the limits, dashed: "
	                 "nominal. Line: uncertainty. Arrow: beyond the picture.",
	              "Ring: vorgefunden. Raute: neu. Scheibe: fertig. Grau: zwischen den Grenzen, "
	              "gestrichelt: Nennwert. Strich: Unsicherheit. Pfeil: außerhalb des Bildes."));
	mark(out, REPORT_FOUND, 10, 12);
	lines_printf(out, "<text x=\"20\" y=\"16\" " LABEL ">%s</text>",
	             report_condition_word(r, REPORT_FOUND));
	mark(out, REPORT_NEW, 130, 12);
	lines_printf(out, "<text x=\"140\" y=\"16\" " LABEL ">%s</text>",
	             report_condition_word(r, REPORT_NEW));
	mark(out, REPORT_DONE, 200, 12);
	lines_printf(out, "<text x=\"210\" y=\"16\" " LABEL ">%s</text>",
	             report_condition_word(r, REPORT_DONE));
	lines_puts(out, "<path d=\"M5 32H25\" stroke=\"#000\" stroke-width=\"1.6\"/>");
	lines_printf(out, "<text x=\"32\" y=\"36\" " LABEL ">%s</text>",
	             SAY(r, "uncertainty (95 %)", "Unsicherheit (95 %)"));
	arrow(out, REPORT_FOUND, 1, 32);
	lines_printf(out, "<text x=\"174\" y=\"36\" " LABEL ">%s</text>",
	             SAY(r, "beyond the picture", "außerhalb des Bildes"));
	lines_puts(out, "<rect x=\"5\" y=\"44\" width=\"20\" height=\"16\" fill=\"#dcdcdc\"/><path "
	                "d=\"M5 44V60M25 "
	           "44V60\" stroke=\"#000\"/><path d=\"M15 44V60\" stroke=\"#777\" "
	           "stroke-dasharray=\"2 2\"/>");
	lines_printf(out, "<text x=\"32\" y=\"57\" " LABEL ">%s</text></svg>",
	             SAY(r, "between the limits; dashed: nominal",
	                 "zwischen den Grenzen; gestrichelt: Nennwert"));
}

static void bar(const char *label, const int count[REPORT_WORDS], int positions, double y,
                struct lines *out)
{
	static const enum report_word order[] = {REPORT_WITHIN, REPORT_UNSURE, REPORT_OUTSIDE,
	                                         REPORT_NONE};
	static const char *const fill[] = {"#dcdcdc", "url(#hatch)", "#000", "url(#dots)"};
	double x = 0;
	lines_printf(out, "<text x=\"0\" y=\"%.0f\" " LABEL ">", y - 5);
	paper_escape(out, label);
	lines_puts(out, "</text>");
	lines_printf(out, "<rect x=\"0.5\" y=\"%.1f\" width=\"%d\" height=\"19\" fill=\"#fff\" "
	                  "stroke=\"#111\"/>",
	             y + 0.5, REPORT_BARS_WIDTH - 1);
	for (int i = 0; i < REPORT_WORDS && positions; i++) {
		double width = REPORT_BARS_WIDTH * (double)count[order[i]] / positions;
		if (!count[order[i]])
			continue;
		lines_printf(out, "<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"19\" fill=\"%s\" "
		             "stroke=\"#111\"/>", x + 0.5, y + 0.5, width - 1, fill[i]);
		if (width > 20 && (order[i] == REPORT_WITHIN || order[i] == REPORT_OUTSIDE))
			lines_printf(out, "<text x=\"%.1f\" y=\"%.0f\" text-anchor=\"middle\" "
			             "font-family=\"DejaVu Sans,Verdana,sans-serif\" font-size=\"12\" "
			             "fill=\"%s\">%d"
			             "</text>", x + width / 2, y + 14, order[i] == REPORT_OUTSIDE ? "#fff"
			             : "#111",
			             count[order[i]]);
		x += width;
	}
}

static void key(struct lines *out, double x, double y, const char *fill, const char *text)
{
	lines_printf(out, "<rect x=\"%.1f\" y=\"%.1f\" width=\"12\" height=\"12\" fill=\"%s\" "
	             "stroke=\"#111\"/><text x=\"%.0f\" y=\"%.0f\" " LABEL ">", x + 0.5, y + 0.5, fill,
	             x + 18,
	             y + 11);
	paper_escape(out, text);
	lines_puts(out, "</text>");
}

void report_bars(const struct report *r, struct lines *out)
{
	const struct report_counts *n = &r->counts;
	const int *found = n->of[REPORT_FOUND];
	int done[REPORT_WORDS], positions = n->positions, again = n->measured[REPORT_DONE];
	char said[500], before[120], now[160];
	for (int w = 0; w < REPORT_WORDS; w++)
		done[w] = n->of[REPORT_DONE][w] + (again ? n->kept[w] : 0);
	snprintf(before, sizeof before, SAY(r, "as found: %d of %d measured", "vorgefunden: %d von %d gemessen"),
	         n->measured[REPORT_FOUND], positions);
	if (!again)
		snprintf(now, sizeof now, "%s", SAY(r, "as handed back: not measured yet",
		                                    "bei Rückgabe: noch nicht gemessen"));
	else
		snprintf(now, sizeof now, SAY(r, "as handed back: %d measured again, %d left in as found",
	                              "bei Rückgabe: %d neu gemessen, %d wie vorgefunden"), again, n->left);
	snprintf(said, sizeof said,
	         SAY(r, "As found: %d within, %d unsure, %d outside. As handed back, with what was left in: "
	                "%d within, %d unsure, %d outside. Of %d positions.",
	             "Vorgefunden: %d innerhalb, %d unsicher, %d außerhalb. Bei Rückgabe, mit dem, was "
	             "eingebaut blieb: %d innerhalb, %d unsicher, %d außerhalb. Von %d Positionen."),
	         found[REPORT_WITHIN], found[REPORT_UNSURE], found[REPORT_OUTSIDE], done[REPORT_WITHIN],
	         done[REPORT_UNSURE], done[REPORT_OUTSIDE], positions);
	svg_begin(out, REPORT_BARS_WIDTH, REPORT_BARS_HEIGHT, "bars",
	          SAY(r, "Before and after", "Vorher und nachher"),
	          said);
	lines_puts(out, "<defs><pattern id=\"hatch\" width=\"6\" height=\"6\" "
	                "patternUnits=\"userSpaceOnUse\">"
	           "<rect width=\"6\" height=\"6\" fill=\"#fff\"/><path d=\"M0 6L6 0\" stroke=\"#111\" "
	           "stroke-width=\"1.4\"/></pattern><pattern id=\"dots\" width=\"5\" height=\"5\" "
	           "patternUnits=\"userSpaceOnUse\"><rect width=\"5\" height=\"5\" "
	           "fill=\"#fff\"/><circle cx=\"2\" "
	           "cy=\"2\" r=\"0.9\" fill=\"#111\"/></pattern></defs>");
	bar(before, found, positions, 17, out);
	bar(now, done, positions, 59, out);
	key(out, 0, 86, "#dcdcdc", SAY(r, "within", "innerhalb"));
	key(out, 90, 86, "url(#hatch)", SAY(r, "unsure", "unsicher"));
	key(out, 180, 86, "#000", SAY(r, "outside", "außerhalb"));
	key(out, 0, 104, "url(#dots)", SAY(r, "not judged", "nicht beurteilt"));
	key(out, 180, 104, "#fff", SAY(r, "not measured", "nicht gemessen"));
	lines_puts(out, "</svg>");
}
