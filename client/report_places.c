/* SPDX-License-Identifier: MIT */
/*
 * What was calculated, in the report: of the unit as a whole (power, balance, hum) before and
 * after, of single parts what they do in their place.
 */
#include "client/report.h"

#include <stdio.h>
#include <string.h>

/* Of the whole unit, and of single parts. */
static bool of_unit(const char *what)
{
	static const char *const unit[] = {"power", "hum", "balance", "output-impedance", "damping",
	                                   "ripple"};
	for (size_t i = 0; i < sizeof unit / sizeof unit[0]; i++)
		if (strcmp(unit[i], what) == 0)
			return true;
	return false;
}

/* "LOAD-L done, entry 262" in the report's language. */
static void from_text(const struct report *r, const char *part, char *out, size_t size)
{
	static const char *const words[][2] = {{"found", "vorgefunden"}, {"done", "fertig"}, {"new", "neu"},
	                                       {"nominal", "Nennwert"}, {"entry", "Eintrag"}};
	size_t n = 0;
	out[0] = '\0';
	while (*part && n + 1 < size) {
		size_t len = strspn(part, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-/._");
		const char *word = NULL;
		for (size_t i = 0; r->german && i < sizeof words / sizeof words[0]; i++)
			if (len == strlen(words[i][0]) && !memcmp(part, words[i][0], len))
				word = words[i][1];
		int put = len ? word ? snprintf(out + n, size - n, "%s", word)
		                     : snprintf(out + n, size - n, "%.*s", (int)len, part)
		              : snprintf(out + n, size - n, "%c", *part);
		n += put > 0 ? (size_t)put : 0;
		part += len ? len : 1;
	}
}

static void calculated_row(const struct report *r, struct paper *p, struct slice one)
{
	char text[400], shown[80], part[120];
	struct slice from = json_member(one.at, one.len, "from"), word;
	paper_row(p, NULL);
	words_member(one, "position", text, sizeof text);
	paper_cell(p, PAPER_PLAIN, text);
	words_member(one, "what", text, sizeof text);
	paper_cell(p, PAPER_PLAIN, report_place_word(r, text));
	words_member(one, "condition", text, sizeof text);
	paper_cell(p, PAPER_PLAIN, !strcmp(text, "nominal") ? SAY(r, "nominal", "Nennwert")
	           : report_condition_word(r, !strcmp(text, "done") ? REPORT_DONE
	                                      : !strcmp(text, "new") ? REPORT_NEW : REPORT_FOUND));
	words_member(one, "shown", shown, sizeof shown);
	report_value(r, shown, text, sizeof text);
	paper_cell(p, PAPER_PLAIN, text);
	text[0] = '\0';
	for (size_t at = 0; json_next(from, &at, &word) && json_text(word, part, sizeof part);) {
		size_t n = strlen(text);
		char said[160];
		from_text(r, part, said, sizeof said);
		snprintf(text + n, sizeof text - n, "%s%s", n ? "; " : "", said);
	}
	paper_cell(p, PAPER_SMALL, text);
}

static bool calculated(const struct report *r, struct paper *p)
{
	const struct paper_column columns[] = {
		{SAY(r, "position", "Position"), 3, false}, {SAY(r, "calculated", "berechnet"), 5, false},
		{SAY(r, "by values", "nach Werten"), 3, false}, {SAY(r, "result", "Ergebnis"), 3, true},
		{SAY(r, "from", "aus"), 6, false}};
	struct slice one, list = json_member(r->places.at, r->places.len, "places");
	char what[48];
	bool any = false;
	for (size_t cursor = 0; list.at && json_next(list, &cursor, &one);) {
		words_member(one, "what", what, sizeof what);
		if (of_unit(what))
			continue;
		if (!any)
			paper_table(p, SAY(r, "Calculated, not measured", "Berechnet, nicht gemessen"),
			            columns, 5);
		any = true;
		calculated_row(r, p, one);
	}
	if (any)
		paper_table_end(p);
	return any;
}

/* ---- power and hum, before and after ---- */

static const char *unit_at(struct slice list, const char *position, const char *what,
                           const char *condition, char *shown, size_t size)
{
	struct slice one;
	shown[0] = '\0';
	for (size_t cursor = 0; json_next(list, &cursor, &one);)
		if (words_member_is(one, "what", what) && words_member_is(one, "position", position) &&
		    words_member_is(one, "condition", condition))
			words_member(one, "shown", shown, size);
	return shown;
}

/* "found: 241, 231": the entries that it was worked out from. */
static void entries_at(const struct report *r, struct slice list, const char *position,
                       const char *what, enum report_condition c, char *out, size_t size)
{
	struct slice one, word;
	char part[160];
	size_t n = strlen(out);
	bool any = false;
	for (size_t cursor = 0; json_next(list, &cursor, &one);) {
		if (!words_member_is(one, "what", what) || !words_member_is(one, "position", position) ||
		    !words_member_is(one, "condition", c == REPORT_FOUND ? "found" : "done"))
			continue;
		struct slice from = json_member(one.at, one.len, "from");
		for (size_t at = 0; json_next(from, &at, &word) && json_text(word, part, sizeof part);) {
			const char *entry = strstr(part, "entry ");
			if (!entry || n + 16 > size)
				continue;
			n += (size_t)snprintf(out + n, size - n, "%s%s%s", any ? ", " : n ? "; " : "",
			                      any ? "" : report_condition_word(r, c), any ? "" : ": ");
			n = n < size ? n : size - 1;
			n += (size_t)snprintf(out + n, size - n, "%s", entry + 6);
			n = n < size ? n : size - 1;
			any = true;
		}
	}
}

/* One row of a position and what was worked out there, by the first condition that has it. */
static bool unit_before_after(const struct report *r, struct paper *p)
{
	const struct paper_column columns[] = {
		{SAY(r, "position", "Position"), 3, false}, {SAY(r, "calculated", "berechnet"), 6, false},
		{report_condition_word(r, REPORT_FOUND), 3, true},
		{report_condition_word(r, REPORT_DONE), 3, true},
		{SAY(r, "from entries", "aus Einträgen"), 6, false}};
	struct slice one, list = json_member(r->places.at, r->places.len, "places");
	char what[48], position[48], found[80], done[80], text[96], from[240];
	bool any = false;
	for (size_t cursor = 0; list.at && json_next(list, &cursor, &one);) {
		words_member(one, "what", what, sizeof what);
		words_member(one, "position", position, sizeof position);
		bool is_found = words_member_is(one, "condition", "found");
		if (!of_unit(what) || (!is_found && !words_member_is(one, "condition", "done")))
			continue;
		unit_at(list, position, what, "found", found, sizeof found);
		if (!is_found && found[0])
			continue; /* it had its row */
		if (!any)
			paper_table(p, SAY(r, "Before and after, calculated from measured values",
			                   "Vorher und nachher, aus Gemessenem berechnet"), columns, 5);
		any = true;
		unit_at(list, position, what, "done", done, sizeof done);
		paper_row(p, NULL);
		paper_cell(p, PAPER_PLAIN, position);
		paper_cell(p, PAPER_PLAIN, report_place_word(r, what));
		report_value(r, found, text, sizeof text);
		paper_cell(p, PAPER_PLAIN, text);
		report_value(r, done, text, sizeof text);
		paper_cell(p, PAPER_PLAIN, text);
		from[0] = '\0';
		entries_at(r, list, position, what, REPORT_FOUND, from, sizeof from);
		entries_at(r, list, position, what, REPORT_DONE, from, sizeof from);
		paper_cell(p, PAPER_SMALL, from);
	}
	if (any)
		paper_table_end(p);
	return any;
}

/* Volts stand in the table of positions; here is what follows from them. */
void report_power(const struct report *r, struct paper *p)
{
	paper_heading(p, 2, "power", SAY(r, "Power, balance, hum and response",
	                                 "Leistung, Balance, Brumm und Frequenzgang"));
	if (!unit_before_after(r, p))
		paper_text(p, PAPER_PLAIN, SAY(r,
		                               "No volts were measured at a load or beside a rail, so "
		                               "nothing is said of power and hum.",
		                               "An einer Last oder neben einer Versorgung wurden keine "
		                               "Spannungen gemessen; über Leistung und Brumm wird nichts "
		                               "gesagt."));
	paper_text(p, PAPER_SMALL, SAY(r, "Volts by position stand in the table of positions.",
	                               "Spannungen nach Position stehen in der Tabelle der "
	                               "Positionen."));
	report_response(r, p);
}

void report_calculated(const struct report *r, struct paper *p)
{
	paper_heading(p, 2, "calculated", SAY(r, "What parts do in their place, calculated",
	                                      "Was Teile an ihrem Platz tun, berechnet"));
	if (!calculated(r, p))
		paper_text(p, PAPER_PLAIN, SAY(r,
		                               "The sheet says too little of the places to calculate "
		                               "anything.",
		                               "Das Blatt sagt zu wenig über die Plätze, um etwas zu "
		                               "berechnen."));
}
