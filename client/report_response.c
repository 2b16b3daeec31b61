/* SPDX-License-Identifier: MIT */
/*
 * The measured response: the volts of one output at many frequencies, in dB of what it gave at
 * 1 kHz, as found against as done.
 *
 * Its points are the entries in volt-ac of a position that carry a frequency (see SEAL.md), of each
 * frequency the newest; three of them make a response.  0 dB is the point nearest to 1 kHz,
 * and wherever a level is told, its frequency is named.  Between points the curve is a straight line over the logarithm of frequency, and so is where it falls by 3 dB.
 */
#include "client/report_response.h"

#include "protocol/trade/frequency.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define REFERENCE_HERTZ 1000.0

/* ---- points ---- */

double report_hertz(const struct report_entry *e)
{
	double hertz;
	if (!frequency_suits(e->function) ||
	    !json_number(json_member(e->record.at, e->record.len, "frequency"), &hertz) || !(hertz > 0))
		return 0;
	return hertz;
}

static int by_hertz(const void *a, const void *b)
{
	const struct response_point *x = a, *y = b;
	if (x->hertz != y->hertz)
		return x->hertz < y->hertz ? -1 : 1;
	return (x->entry->seq > y->entry->seq) - (x->entry->seq < y->entry->seq);
}

/* Of one frequency (to half a percent) the newest. */
static void keep_newest(struct response *out)
{
	int n = 0;
	for (int i = 0; i < out->points; i++) {
		struct response_point *p = &out->point[i];
		if (n && p->hertz < out->point[n - 1].hertz * 1.005) {
			if (p->entry->seq > out->point[n - 1].entry->seq)
				out->point[n - 1] = *p;
		} else {
			out->point[n++] = *p;
		}
	}
	out->points = n;
}

static void response_free(struct response *x)
{
	free(x->point);
	*x = (struct response){.points = 0};
}

/* False, and nothing to free, where it has less than three points. */
static bool response_read(const struct report *r, const char *position, enum report_condition c,
                          struct response *out)
{
	*out = (struct response){.points = 0};
	out->point = calloc((size_t)r->entries + 1, sizeof *out->point);
	for (int i = 0; out->point && i < r->entries; i++) {
		const struct report_entry *e = &r->entry[i];
		double hertz = report_hertz(e);
		if (hertz > 0 && e->function == FUNCTION_VOLT_AC && e->condition == c && !e->struck.at &&
		    e->has_value && e->value > 0 && strcmp(e->position, position) == 0)
			out->point[out->points++] = (struct response_point){hertz, 0, e};
	}
	if (out->points)
		qsort(out->point, (size_t)out->points, sizeof *out->point, by_hertz);
	keep_newest(out);
	if (out->points < 3) {
		response_free(out);
		return false;
	}
	for (int i = 0; i < out->points; i++)
		if (fabs(log(out->point[i].hertz / REFERENCE_HERTZ)) <
		    fabs(log(out->point[out->reference].hertz / REFERENCE_HERTZ)))
			out->reference = i;
	double level = out->point[out->reference].entry->value;
	for (int i = 0; i < out->points; i++)
		out->point[i].db = 20 * log10(out->point[i].entry->value / level);
	return true;
}

/* Where it first lies 3 dB below the reference, walking away from it; false where it never does. */
static bool falls(const struct response *x, int step, double *hertz)
{
	for (int i = x->reference; i + step >= 0 && i + step < x->points; i += step) {
		const struct response_point *a = &x->point[i], *b = &x->point[i + step];
		if (b->db > -RESPONSE_FALL_DB)
			continue;
		double part = (a->db + RESPONSE_FALL_DB) / (a->db - b->db);
		*hertz = exp(log(a->hertz) + part * (log(b->hertz) - log(a->hertz)));
		return true;
	}
	*hertz = x->point[step < 0 ? 0 : x->points - 1].hertz;
	return false;
}

/* Where it is 3 dB down, Hz; the ends of what was measured where it never falls so far. */
static void response_span(const struct response *x, double *low, bool *low_falls, double *high,
                          bool *high_falls)
{
	*low_falls = falls(x, -1, low);
	*high_falls = falls(x, 1, high);
}

/* ---- words ---- */

static void hertz_text(const struct report *r, double hertz, int figures, char *out, size_t size)
{
	report_like(r, hertz, figures, hertz < 1000 ? "1 Hz" : "1 kHz", out, size);
}

/* "31.5 Hz", "1 kHz": no figures that nobody gave. */
void report_hertz_text(const struct report *r, double hertz, char *out, size_t size)
{
	char text[48];
	struct text t;
	struct decimal d = decimal_strip(decimal_from_double(hertz < 1000 ? hertz : hertz / 1000, 4));
	text_begin(&t, text, sizeof text);
	text_printf(&t, "%.5g %s", decimal_double(d), hertz < 1000 ? "Hz" : "kHz");
	report_value(r, text, out, size);
}

void response_db_text(const struct report *r, double db, char *out, size_t size)
{
	char number[32];
	report_number(r, db, 1, number, sizeof number);
	snprintf(out, size, "%s%.31s\xc2\xa0" "dB", db >= 0.05 ? "+" : "", number);
}

void response_span_text(const struct report *r, const struct response *x, char *out, size_t size)
{
	double low, high;
	bool a, b;
	char from[48], to[48], at[48];
	response_span(x, &low, &a, &high, &b);
	hertz_text(r, low, 2, from, sizeof from);
	hertz_text(r, high, 2, to, sizeof to);
	report_hertz_text(r, x->point[x->reference].hertz, at, sizeof at);
	snprintf(out, size, SAY(r, "no more than 3 dB below %s from %s%s to %s%s",
	                        "höchstens 3 dB unter %s von %s%s bis %s%s"), at, from,
	         a ? "" : SAY(r, " (the lowest measured)", " (der tiefsten gemessenen)"), to,
	         b ? "" : SAY(r, " (the highest measured)", " (der höchsten gemessenen)"));
}

/* ---- the table beside it ---- */

static const struct response_point *point_at(const struct response *x, double hertz)
{
	for (int i = 0; i < x->points; i++)
		if (fabs(x->point[i].hertz / hertz - 1) < 0.005)
			return &x->point[i];
	return NULL;
}

/* ---- the section ---- */

#define SHOWN_MAX 8 /* outputs whose responses are drawn; all of them stand in report.json */

struct shown {
	const struct report_position *at;
	struct response of[REPORT_CONDITIONS];
};

static int read_all(const struct report *r, struct shown *shown)
{
	int n = 0;
	for (int i = 0; i < r->positions && n < SHOWN_MAX; i++) {
		bool any = false;
		struct shown *s = &shown[n];
		*s = (struct shown){.at = &r->position[i]};
		for (int c = 0; c < REPORT_CONDITIONS; c++)
			if (c != REPORT_NEW && r->position[i].outputs)
				any = response_read(r, s->at->name, (enum report_condition)c, &s->of[c]) || any;
		n += any;
	}
	return n;
}

static void level_cell(const struct report *r, struct paper *p, const struct response *x,
                       double hertz)
{
	const struct response_point *at = x->points ? point_at(x, hertz) : NULL;
	char db[48], shown[96];
	if (!at) {
		paper_cell(p, PAPER_PLAIN, "");
		return;
	}
	response_db_text(r, at->db, db, sizeof db);
	report_value(r, at->entry->shown, shown, sizeof shown);
	paper_cell_printf(p, PAPER_PLAIN, "%s (%s)%s", db, shown, at->entry->typed ? " ⌨" : "");
}

#define BESIDE_MAX 2 /* outputs in one table: each has two columns */

/* Outputs beside each other, by frequency: so the channels can be held together. */
static void table(const struct report *r, struct paper *p, const struct shown *shown, int n)
{
	struct paper_column columns[1 + 2 * BESIDE_MAX] = {{SAY(r, "frequency", "Frequenz"), 3, false}};
	char label[2 * BESIDE_MAX][96], caption[200], text[48];
	int i[BESIDE_MAX][2] = {{0}};
	const struct response *any = NULL;
	for (int k = 0; k < n; k++)
		for (int c = 0; c < 2; c++) {
			const struct response *x = &shown[k].of[c ? REPORT_DONE : REPORT_FOUND];
			any = !any && x->points ? x : any;
			snprintf(label[2 * k + c], sizeof label[0], "%.32s, %s", shown[k].at->name,
			         report_condition_word(r, c ? REPORT_DONE : REPORT_FOUND));
			columns[1 + 2 * k + c] = (struct paper_column){label[2 * k + c], 5, n > 1};
		}
	report_hertz_text(r, any->point[any->reference].hertz, text, sizeof text);
	snprintf(caption, sizeof caption, SAY(r, "Response of %.32s%s%.32s, against the own level at %s",
	                                      "Frequenzgang von %.32s%s%.32s, gegen den eigenen Pegel bei %s"),
	         shown[0].at->name, n > 1 ? SAY(r, " and ", " und ") : "", n > 1 ? shown[1].at->name : "",
	         text);
	paper_table(p, caption, columns, 1 + 2 * n);
	for (double hertz = 0; hertz < HUGE_VAL;) {
		hertz = HUGE_VAL;
		for (int k = 0; k < 2 * n; k++) {
			const struct response *x = &shown[k / 2].of[k % 2 ? REPORT_DONE : REPORT_FOUND];
			if (i[k / 2][k % 2] < x->points)
				hertz = fmin(hertz, x->point[i[k / 2][k % 2]].hertz);
		}
		if (hertz == HUGE_VAL)
			break;
		report_hertz_text(r, hertz, text, sizeof text);
		paper_row(p, NULL);
		paper_cell(p, PAPER_PLAIN, text);
		for (int k = 0; k < 2 * n; k++) {
			const struct response *x = &shown[k / 2].of[k % 2 ? REPORT_DONE : REPORT_FOUND];
			int *at = &i[k / 2][k % 2];
			while (*at < x->points && x->point[*at].hertz <= hertz * 1.005)
				++*at;
			level_cell(r, p, x, hertz);
		}
	}
	paper_table_end(p);
}

/* Do both say 0 dB at the same frequency? */
static bool alike(const struct shown *a, const struct shown *b)
{
	double hertz = 0;
	for (int k = 0; k < 4; k++) {
		const struct response *x = &(k < 2 ? a : b)->of[k % 2 ? REPORT_DONE : REPORT_FOUND];
		if (!x->points)
			continue;
		double at = x->point[x->reference].hertz;
		if (hertz > 0 && fabs(at / hertz - 1) > 0.005)
			return false;
		hertz = at;
	}
	return true;
}

void report_response(const struct report *r, struct paper *p)
{
	struct shown shown[SHOWN_MAX];
	struct response all[SHOWN_MAX * REPORT_CONDITIONS];
	struct lines svg = {0};
	struct response_frame f;
	char span[240];
	int n = read_all(r, shown), k = 0;
	paper_heading(p, 3, "response", SAY(r, "Measured response", "Gemessener Frequenzgang"));
	if (!n) {
		paper_text(p, PAPER_PLAIN, SAY(r, "No output was measured at three frequencies or more.",
		                               "Kein Ausgang wurde bei drei oder mehr Frequenzen "
		                               "gemessen."));
		return;
	}
	for (int i = 0; i < n; i++)
		for (int c = 0; c < REPORT_CONDITIONS; c++)
			all[k++] = shown[i].of[c];
	response_frame_of(all, k, &f);
	for (int i = 0; i < n; i++) {
		svg.len = 0;
		response_picture(r, shown[i].at, i, &f, shown[i].of, &svg);
		paper_picture(p, RESPONSE_WIDTH, RESPONSE_HEIGHT, lines_text(&svg));
	}
	paper_list_begin(p);
	for (int i = 0; i < n; i++)
		for (int c = 0; c < REPORT_CONDITIONS; c++)
			if (shown[i].of[c].points) {
				char text[400];
				response_span_text(r, &shown[i].of[c], span, sizeof span);
				snprintf(text, sizeof text, "%s, %s: %s", shown[i].at->name,
				         report_condition_word(r, (enum report_condition)c), span);
				paper_item(p, text);
			}
	paper_list_end(p);
	for (int i = 0, beside; i < n; i += beside) {
		beside = i + 1 < n && alike(&shown[i], &shown[i + 1]) ? BESIDE_MAX : 1;
		table(r, p, &shown[i], beside);
	}
	paper_text(p, PAPER_SMALL, SAY(r, "Measured at the points; between them the line is drawn "
	                                  "straight, and where it falls by 3 dB is read from it. "
	                                  "⌨: typed by hand.",
	                               "Gemessen an den Punkten; dazwischen ist die Linie gerade, und "
	                               "wo sie um 3 dB fällt, ist an ihr abgelesen. ⌨: von Hand "
	                               "eingegeben."));
	for (int i = 0; i < n; i++)
		for (int c = 0; c < REPORT_CONDITIONS; c++)
			response_free(&shown[i].of[c]);
	lines_free(&svg);
}

/* "62 Hz to 8.5 kHz"; "20 Hz or lower" where it had not fallen at the lowest that was measured. */
static void reach_text(const struct report *r, const struct response *x, char *out, size_t size)
{
	double low, high;
	bool a, b;
	char from[48], to[48];
	if (!x->points) {
		snprintf(out, size, "%s", SAY(r, "not measured", "nicht gemessen"));
		return;
	}
	response_span(x, &low, &a, &high, &b);
	hertz_text(r, low, 2, from, sizeof from);
	hertz_text(r, high, 2, to, sizeof to);
	snprintf(out, size, SAY(r, "%s%s to %s%s", "%s%s bis %s%s"), from,
	         a ? "" : SAY(r, " or less", " oder weniger"), to, b ? "" : SAY(r, " or more", " oder mehr"));
}

bool report_response_owner(const struct report *r, struct paper *p)
{
	struct shown shown[SHOWN_MAX];
	char span[240], at[48], what[120];
	int n = read_all(r, shown);
	bool any = false;
	for (int i = 0; i < n; i++) {
		const struct response *x = &shown[i].of[REPORT_DONE], *was = &shown[i].of[REPORT_FOUND];
		if (x->points) {
			report_hertz_text(r, x->point[x->reference].hertz, at, sizeof at);
			snprintf(what, sizeof what, SAY(r, "response, within 3 dB of %s",
			                                "Frequenzgang, −3 dB gegen %s"), at);
			paper_row(p, NULL);
			paper_cell(p, PAPER_PLAIN, what);
			report_where(r, shown[i].at->name, span, sizeof span);
			paper_cell(p, PAPER_PLAIN, span);
			reach_text(r, was, span, sizeof span);
			paper_cell(p, PAPER_PLAIN, span);
			reach_text(r, x, span, sizeof span);
			paper_cell(p, PAPER_STRONG, span);
			any = true;
		}
		for (int c = 0; c < REPORT_CONDITIONS; c++)
			response_free(&shown[i].of[c]);
	}
	return any;
}

void report_response_json(const struct report *r, struct lines *out)
{
	bool any = false;
	lines_puts(out, ",\n\"responses\":[");
	for (int i = 0; i < r->positions; i++)
		for (int c = 0; r->position[i].outputs && c < REPORT_CONDITIONS; c++) {
			struct response x;
			if (!response_read(r, r->position[i].name, (enum report_condition)c, &x))
				continue;
			lines_printf(out, "%s\n{\"position\":\"%s\",\"condition\":\"%s\",\"reference\":%.9g,"
			             "\"points\":[", any ? "," : "", r->position[i].name,
			             c == REPORT_FOUND ? "found" : c == REPORT_NEW ? "new" : "done",
			             x.point[x.reference].hertz);
			for (int k = 0; k < x.points; k++)
				lines_printf(out, "%s{\"hertz\":%.9g,\"seq\":%lld,\"db\":%.4f}", k ? "," : "",
				             x.point[k].hertz, (long long)x.point[k].entry->seq, x.point[k].db);
			lines_puts(out, "]}");
			any = true;
			response_free(&x);
		}
	lines_puts(out, "\n]");
}
