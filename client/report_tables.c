/* SPDX-License-Identifier: MIT */
/*
 * Behind the first page: every position before and after, what was replaced and why, what is
 * still open, what was never measured; then what the other files tell, in its order.
 */
#include "client/report_guide.h"

#include <stdlib.h>
#include <stdio.h>
#include <string.h>

/* "R/1" as an id. */
static void row_id(const char *name, enum quantity q, char *out, size_t size)
{
	snprintf(out, size, "pos-%s%s%s", name, q == QUANTITY_VALUE ? "" : "-",
	         q == QUANTITY_VALUE ? "" : quantity_name(q));
}

/* Of its position: there stands what has no line of its own. */
static bool first_line(const struct report *r, int i)
{
	return i == 0 || r->line[i - 1].position != r->line[i].position;
}

static void before_and_after(const struct report *r, struct paper *p)
{
	const struct paper_column columns[] = {
		{SAY(r, "position", "Position"), 9, false},
		{SAY(r, "what it is", "was es ist"), 19, false},
		{report_condition_word(r, REPORT_FOUND), 18, false},
		{report_condition_word(r, REPORT_NEW), 17, false},
		{report_condition_word(r, REPORT_DONE), 17, false},
		{SAY(r, "between its limits", "zwischen den Grenzen"), 21, false},
	};
	char text[800], id[64], leakage[240];
	struct lines svg = {0};
	paper_heading(p, 2, "positions", SAY(r, "Every position, before and after",
	                                     "Jede Position, vorher und nachher"));
	paper_text(p, PAPER_SMALL,
	           SAY(r, "± is the uncertainty of 95 %. Within and outside are said only where all "
	                  "of it lies within or outside; else unsure. Where a place can live with "
	                  "more or less than the tolerance, that is said too.",
	               "± ist die Unsicherheit von 95 %. Innerhalb und außerhalb heißt es nur, wo sie "
	               "ganz innerhalb oder außerhalb liegt; sonst unsicher. Wo ein Platz mehr oder "
	               "weniger verträgt als die Toleranz, steht es dabei."));
	paper_screen(p, SAY(r, "Point at a mark to read it, or reach it with Tab and the arrow keys.",
	                    "Auf eine Marke zeigen, um sie zu lesen, oder mit Tab und den Pfeiltasten "
	                    "zu ihr gehen."));
	if (!r->lines) {
		paper_text(p, PAPER_PLAIN, SAY(r, "The sheet of this job has no positions.",
		                               "Das Blatt dieses Auftrags hat keine Positionen."));
		return;
	}
	report_scale_legend(r, &svg);
	paper_picture(p, 360, 64, lines_text(&svg));
	paper_table(p, SAY(r, "Positions", "Positionen"), columns, 6);
	for (int i = 0; i < r->lines; i++) {
		const struct report_line *l = &r->line[i];
		const struct report_entry *rests = NULL;
		bool leaks_badly = false, leaks = report_guide_leakage(r, l->position->name, leakage,
		                                                       sizeof leakage, &rests, &leaks_badly);
		row_id(l->position->name, l->quantity, id, sizeof id);
		paper_row(p, id);
		if (l->quantity == QUANTITY_VALUE)
			paper_cell(p, PAPER_STRONG, l->position->name);
		else
			paper_cell_printf(p, PAPER_STRONG, "%s\n%s", l->position->name,
			                  report_quantity_word(r, l->quantity));
		report_what(r, l->position, text, sizeof text);
		paper_cell(p, PAPER_SMALL, text);
		for (int c = 0; c < REPORT_CONDITIONS; c++) {
			const struct report_entry *e = l->at[c];
			text[0] = '\0';
			if (e)
				report_entry_text(r, e, text, sizeof text);
			else if (!l->at[0] && !l->at[1] && !l->at[2] && c == 0)
				snprintf(text, sizeof text, "%s", SAY(r, "not measured", "nicht gemessen"));
			bool bad = e && (e->word == REPORT_OUTSIDE || e->second == REPORT_OUTSIDE);
			if (leaks && (rests ? rests == e : c == 0 && first_line(r, i))) {
				size_t n = strlen(text);
				snprintf(text + n, sizeof text - n, "%s%s", n ? "\n" : "", leakage);
				bad = bad || leaks_badly;
			}
			paper_cell(p, bad ? PAPER_STRONG : PAPER_PLAIN, text);
		}
		svg.len = 0;
		report_scale(r, l, i, &svg);
		if (svg.len)
			paper_cell_picture(p, REPORT_SCALE_WIDTH, REPORT_SCALE_HEIGHT, lines_text(&svg));
		else
			paper_cell(p, PAPER_PLAIN, "");
	}
	paper_table_end(p);
	lines_free(&svg);
}

/* ---- replaced ---- */

static const struct report_line *line_of(const struct report *r, const struct report_position *p)
{
	for (int i = 0; i < r->lines; i++)
		if (r->line[i].position == p)
			return &r->line[i];
	return NULL;
}

static void why_replaced(const struct report *r, const struct report_line *l, char *out,
                         size_t size)
{
	const struct report_entry *e = l ? l->at[REPORT_FOUND] : NULL;
	char deviation[96];
	if (!e) {
		snprintf(out, size, "%s", SAY(r, "not measured before", "vorher nicht gemessen"));
		return;
	}
	report_deviation(r, e, deviation, sizeof deviation);
	const char *reason = report_reason(r, e);
	if (e->word == REPORT_WITHIN)
		snprintf(out, size, "%s%s%s", SAY(r, "was within its limits", "lag innerhalb der Grenzen"),
		         reason[0] ? ": " : "", reason);
	else
		snprintf(out, size, "%s%s%s%s%s", deviation, deviation[0] ? ", " : "",
		         report_verdict(r, e->word), reason[0] ? ": " : "", reason);
}

static void replaced(const struct report *r, struct paper *p)
{
	const struct paper_column columns[] = {
		{SAY(r, "position", "Position"), 2, false}, {SAY(r, "was", "war"), 4, false},
		{SAY(r, "now", "jetzt"), 4, false}, {SAY(r, "why", "warum"), 5, false}};
	char text[800];
	int n = 0;
	paper_heading(p, 2, "replaced", SAY(r, "What was replaced, and why",
	                                    "Was ersetzt wurde, und warum"));
	for (int i = 0; i < r->positions; i++) {
		const struct report_position *at = &r->position[i];
		if (!report_replaced(r, at))
			continue;
		if (!n++)
			paper_table(p, SAY(r, "Replaced parts", "Ersetzte Teile"), columns, 4);
		paper_row(p, NULL);
		paper_cell(p, PAPER_PLAIN, at->name);
		report_what(r, at, text, sizeof text);
		paper_cell(p, PAPER_PLAIN, text);
		if (at->fit.at)
			report_fit_text(r, at, text, sizeof text);
		else
			snprintf(text, sizeof text, "%s", SAY(r, "like the old one, by the sheet",
			                                      "wie das alte, nach dem Blatt"));
		paper_cell(p, PAPER_PLAIN, text);
		why_replaced(r, line_of(r, at), text, sizeof text);
		paper_cell(p, PAPER_PLAIN, text);
	}
	if (n)
		paper_table_end(p);
	else
		paper_text(p, PAPER_PLAIN, SAY(r, "No replacement was recorded.",
		                               "Es wurde kein Ersatz verzeichnet."));
}

static void other_values(const struct report *r, struct paper *p)
{
	char shown[64], found[96], nominal[800];
	double other;
	int n = 0;
	paper_heading(p, 3, "other", SAY(r, "Parts that were another value",
	                                 "Teile, die einen anderen Wert hatten"));
	for (int i = 0; i < r->lines; i++) {
		const struct report_entry *e = r->line[i].at[REPORT_FOUND];
		if (!e || !json_number(json_member(e->judged.at, e->judged.len, "other"), &other))
			continue;
		if (!n++)
			paper_list_begin(p);
		char text[1200];
		report_like(r, other, 3, e->shown, shown, sizeof shown);
		report_value(r, e->shown, found, sizeof found);
		report_what(r, r->line[i].position, nominal, sizeof nominal);
		nominal[strcspn(nominal, "\n")] = '\0';
		snprintf(text, sizeof text, SAY(r, "%s (%s): measured %s, so %s seems to have been fitted.",
		                                "%s (%s): gemessen %s, eingebaut war offenbar %s."),
		         e->position, nominal, found, shown);
		paper_item(p, text);
	}
	if (n)
		paper_list_end(p);
	else
		paper_text(p, PAPER_PLAIN, SAY(r, "None was seen.", "Keine gesehen."));
}

/* ---- still open ---- */

static void open_table(const struct report *r, struct paper *p, struct slice list,
                       const char *caption,
                       bool recheck)
{
	const struct paper_column columns[] = {
		{SAY(r, "position", "Position"), 2, false}, {SAY(r, "what it is", "was es ist"), 5, false},
		{SAY(r, "why", "warum"), 6, false}};
	struct slice one;
	char name[48], text[800];
	int untouched = 0, rows = 0;
	paper_table(p, caption, columns, 3);
	for (size_t cursor = 0; json_next(list, &cursor, &one);) {
		words_member(one, "position", name, sizeof name);
		const struct report_position *at = report_position(r, name);
		/* They stand together below: a row each would hide what was measured. */
		if (recheck && !json_bool(json_member(one.at, one.len, "measured"), true)) {
			untouched++;
			continue;
		}
		rows++;
		paper_row(p, NULL);
		paper_cell(p, PAPER_PLAIN, name);
		text[0] = '\0';
		if (at)
			report_what(r, at, text, sizeof text);
		paper_cell(p, PAPER_PLAIN, text);
		words_member(one, "along", text, sizeof text);
		if (!recheck && text[0]) {
			paper_cell_printf(p, PAPER_PLAIN, SAY(r, "with %s, its twin or part",
			                                      "mit %s, Gegenstück oder Teil"), text);
		} else if (!recheck && json_bool(json_member(one.at, one.len, "policy"), false)) {
			paper_cell(p, PAPER_PLAIN, SAY(r, "by its age and kind", "wegen Alter und Bauart"));
		} else if (r->german) {
			why_replaced(r, at ? line_of(r, at) : NULL, text, sizeof text);
			paper_cell(p, PAPER_PLAIN, text);
		} else {
			words_member(one, "because", text, sizeof text);
			paper_cell(p, PAPER_PLAIN, text);
		}
	}
	if (rows)
		paper_table_end(p);
	else
		paper_kept_free(p);
	if (untouched)
		paper_printf(p, PAPER_PLAIN, untouched == 1
		             ? SAY(r, "%d position was not measured at all: see “What was never measured”.",
		                   "%d Position wurde überhaupt nicht gemessen: siehe „Was nie gemessen wurde“.")
		             : SAY(r, "%d positions were not measured at all: see “What was never measured”.",
		                   "%d Positionen wurden überhaupt nicht gemessen: siehe „Was nie gemessen "
		                   "wurde“."), untouched);
}

static void still_open(const struct report *r, struct paper *p)
{
	struct slice round, list, rounds = json_member(r->plan.at, r->plan.len, "rounds");
	static const char *const de[] = {"Versorgung und Elektrolytkondensatoren", "Kopplung",
	                                 "der Rest"};
	static const char *const en[] = {"supply and electrolytics", "coupling", "the rest"};
	char caption[120];
	int n = 0;
	bool any = false;
	paper_heading(p, 2, "open", SAY(r, "Still open", "Noch offen"));
	for (size_t cursor = 0; rounds.at && json_next(rounds, &cursor, &round) && n < 3; n++) {
		list = json_member(round.at, round.len, "replace");
		if (!json_element(list, 0).at)
			continue;
		snprintf(caption, sizeof caption, "%s: %s", SAY(r, "To be replaced", "Zu ersetzen"),
		         SAY(r, en[n], de[n]));
		open_table(r, p, list, caption, false);
		any = true;
	}
	list = json_member(r->plan.at, r->plan.len, "recheck");
	if (json_element(list, 0).at) {
		open_table(r, p, list, SAY(r, "To be measured again before deciding",
		                           "Vor einer Entscheidung noch einmal zu messen"), true);
		any = true;
	}
	if (!any)
		paper_text(p, PAPER_PLAIN, r->entries ? SAY(r, "By what was measured nothing is open.",
		                                            "Nach dem Gemessenen ist nichts offen.")
		           : SAY(r, "Nothing was measured, so nothing can be said.",
		                 "Es wurde nichts gemessen, also lässt sich nichts sagen."));
}

/* Was nothing at all measured there? */
static bool untouched(const struct report *r, const struct report_position *p)
{
	for (int i = 0; i < r->lines; i++)
		if (r->line[i].position == p)
			return !r->line[i].at[0] && !r->line[i].at[1] && !r->line[i].at[2];
	return true;
}

/* Where nothing at all was measured: a list of names, however many there are. */
static void never_touched(const struct report *r, struct paper *p)
{
	struct lines names = {0};
	int n = 0;
	for (int i = 0; i < r->positions; i++)
		if (report_lacks(&r->position[i]).at && untouched(r, &r->position[i]))
			lines_printf(&names, "%s%s", n++ ? ", " : "", r->position[i].name);
	if (n)
		paper_printf(p, PAPER_PLAIN, n == 1 ? SAY(r, "Nothing at all was measured at %d position: %s.",
		                                          "Überhaupt nichts gemessen wurde an %d Position: %s.")
		             : SAY(r, "Nothing at all was measured at %d positions: %s.",
		                   "Überhaupt nichts gemessen wurde an %d Positionen: %s."), n, lines_text(&names));
	lines_free(&names);
}

static void never_measured(const struct report *r, struct paper *p)
{
	const struct paper_column columns[] = {
		{SAY(r, "position", "Position"), 2, false}, {SAY(r, "what it is", "was es ist"), 5, false},
		{SAY(r, "never measured", "nie gemessen"), 5, false}};
	char text[800];
	int n = 0;
	bool any = false;
	paper_heading(p, 2, "never", SAY(r, "What was never measured", "Was nie gemessen wurde"));
	for (int i = 0; i < r->positions; i++) {
		const struct report_position *at = &r->position[i];
		struct slice one, lacks = report_lacks(at);
		if (!lacks.at)
			continue;
		any = true;
		if (untouched(r, at))
			continue;
		if (!n++)
			paper_table(p, SAY(r, "Quantities that a part must show, and did not",
			                   "Größen, die zu messen wären und fehlen"), columns,
			                   3);
		paper_row(p, NULL);
		paper_cell(p, PAPER_PLAIN, at->name);
		report_what(r, at, text, sizeof text);
		paper_cell(p, PAPER_PLAIN, text);
		text[0] = '\0';
		for (size_t cursor = 0; json_next(lacks, &cursor, &one);) {
			char name[80], word[120];
			size_t len = strlen(text);
			json_text(one, name, sizeof name);
			report_quantities(r, name, word, sizeof word);
			snprintf(text + len, sizeof text - len, "%s%s", len ? ", " : "", word);
		}
		paper_cell(p, PAPER_PLAIN, text);
	}
	if (n)
		paper_table_end(p);
	never_touched(r, p);
	if (!any)
		paper_text(p, PAPER_PLAIN, !r->positions ? SAY(r, "There is nothing that should have been.",
		                                               "Es gibt nichts, was gemessen werden sollte.")
		           : SAY(r, "Every quantity that these parts must show was measured.",
		                               "Jede Größe, die diese Teile zeigen müssen, wurde "
		                               "gemessen."));
}

void report_tables(const struct report *r, struct paper *p)
{
	paper_page(p);
	before_and_after(r, p);
	replaced(r, p);
	other_values(r, p);
	still_open(r, p);
	never_measured(r, p);
	report_comparisons(r, p);
	report_power(r, p);
	report_guides(r, p);
	report_calculated(r, p);
}
