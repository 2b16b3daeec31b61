/* SPDX-License-Identifier: MIT */
/* Comparisons in the report: channel against channel, meter against meter. */
#include "client/report.h"

#include <stdio.h>
#include <string.h>

static void side(const struct report *r, struct slice one, const char *name, char *out, size_t size)
{
	char shown[80], value[96], meter[48], spread[64] = "";
	double U;
	struct slice at = json_member(one.at, one.len, name);
	words_compared(at, shown, sizeof shown);
	words_member(at, "meter", meter, sizeof meter);
	report_value(r, shown, value, sizeof value);
	if (json_number(json_member(at.at, at.len, "U"), &U))
		report_spread(r, U, shown, spread, sizeof spread);
	/* The unit once, where it is the same. */
	char *unit = strstr(value, "\xc2\xa0"), *same = strstr(spread, "\xc2\xa0");
	if (unit && same && strcmp(unit, same) == 0)
		*unit = '\0';
	snprintf(out, size, "%s%s%s\n%s", value, spread[0] ? " ± " : "", spread, meter);
}

static void compare_row(const struct report *r, struct paper *p, struct slice one,
                        const char *first, bool agree, const char *measured)
{
	char text[300];
	double en;
	paper_row(p, NULL);
	paper_cell(p, PAPER_PLAIN, first);
	paper_cell(p, PAPER_PLAIN, measured);
	side(r, one, "a", text, sizeof text);
	paper_cell(p, PAPER_PLAIN, text);
	side(r, one, "b", text, sizeof text);
	paper_cell(p, PAPER_PLAIN, text);
	text[0] = '\0';
	if (json_number(json_member(one.at, one.len, "difference"), &en)) {
		report_number(r, 100 * en, 1, text, sizeof text - 4);
		snprintf(text + strlen(text), 8, "\xc2\xa0%%");
	} else if (json_number(json_member(one.at, one.len, "en"), &en)) {
		report_number(r, en, 2, text, sizeof text);
	}
	paper_cell(p, PAPER_PLAIN, text);
	paper_cell(p, agree ? PAPER_PLAIN : PAPER_STRONG,
	           agree ? SAY(r, "✓ agree", "✓ stimmen überein")
	                 : SAY(r, "✗ differ", "✗ weichen ab"));
}

static void measured_text(const struct report *r, struct slice one, char *out, size_t size)
{
	char word[24];
	enum quantity q;
	words_member(one, "condition", word, sizeof word);
	enum report_condition c = !strcmp(word, "done") ? REPORT_DONE : !strcmp(word, "new")
	    ? REPORT_NEW : REPORT_FOUND;
	words_member(one, "quantity", word, sizeof word);
	bool known = quantity_from_name(word, strlen(word), &q);
	double hertz;
	char at[48] = "";
	if (json_number(json_member(one.at, one.len, "frequency"), &hertz) && hertz > 0)
		report_hertz_text(r, hertz, at, sizeof at);
	snprintf(out, size, "%s%s%s, %s", known ? report_quantity_word(r, q) : word,
	         at[0] ? SAY(r, " at ", " bei ") : "", at, report_condition_word(r, c));
}

static void twins(const struct report *r, struct paper *p)
{
	const struct paper_column columns[] = {
		{SAY(r, "positions", "Positionen"), 4, false}, {SAY(r, "measured", "gemessen"), 4, false},
		{SAY(r, "one channel", "ein Kanal"), 5, false}, {SAY(r, "the other", "der andere"), 5,
		                                                 false},
		{SAY(r, "difference", "Unterschied"), 4, true}, {SAY(r, "answer", "Ergebnis"), 4, false}};
	struct slice one, list = json_member(r->compare.at, r->compare.len, "twins");
	char a[48], b[48], text[120], measured[80];
	bool any = false;
	paper_heading(p, 2, "twins", SAY(r, "Channel against channel", "Kanal gegen Kanal"));
	for (size_t cursor = 0; list.at && json_next(list, &cursor, &one);) {
		if (!any)
			paper_table(p, SAY(r, "The same place in both channels",
			                   "Dieselbe Stelle in beiden Kanälen"), columns, 6);
		any = true;
		words_member(one, "position", a, sizeof a);
		words_member(one, "twin", b, sizeof b);
		snprintf(text, sizeof text, "%s / %s", a, b);
		measured_text(r, one, measured, sizeof measured);
		compare_row(r, p, one, text, json_bool(json_member(one.at, one.len, "agree"), true),
		            measured);
	}
	if (any)
		paper_table_end(p);
	else
		paper_text(p, PAPER_PLAIN, SAY(r, "No two places were measured alike.",
		                               "Keine zwei Stellen wurden gleich gemessen."));
}

static void crosschecks(const struct report *r, struct paper *p)
{
	const struct paper_column columns[] = {
		{SAY(r, "position", "Position"), 3, false}, {SAY(r, "measured", "gemessen"), 4, false},
		{SAY(r, "one meter", "ein Messgerät"), 5, false},
		{SAY(r, "another", "ein anderes"), 5, false}, {"Eₙ", 2, true},
		    {SAY(r, "answer", "Ergebnis"), 4, false}};
	struct slice one, pair, list = json_member(r->compare.at, r->compare.len, "crosschecks");
	char name[48], measured[80];
	bool any = false;
	paper_heading(p, 2, "crosschecks", SAY(r, "Meter against meter", "Messgerät gegen Messgerät"));
	for (size_t cursor = 0; list.at && json_next(list, &cursor, &one);) {
		struct slice pairs = json_member(one.at, one.len, "pairs");
		words_member(one, "position", name, sizeof name);
		measured_text(r, one, measured, sizeof measured);
		for (size_t at = 0; json_next(pairs, &at, &pair);) {
			if (!any)
				paper_table(p, SAY(r, "The same part by two meters (agree where Eₙ is at most 1)",
				                   "Dasselbe Teil mit zwei Messgeräten (sie stimmen überein, wo Eₙ "
				                   "höchstens 1 ist)"), columns, 6);
			any = true;
			compare_row(r, p, pair, name, json_bool(json_member(pair.at, pair.len, "agree"), true),
			            measured);
		}
	}
	if (any)
		paper_table_end(p);
	else
		paper_text(p, PAPER_PLAIN, SAY(r, "No part was measured by two meters.",
		                               "Kein Teil wurde mit zwei Messgeräten gemessen."));
}

void report_comparisons(const struct report *r, struct paper *p)
{
	twins(r, p);
	crosschecks(r, p);
}
