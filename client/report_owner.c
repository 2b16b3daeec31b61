/* SPDX-License-Identifier: MIT */
/*
 * The first page, for the owner: what was wrong, what was done, what it does now, what was
 * tested for safety, how to check the seal.  In plain words, and nothing that was not recorded.
 */
#include "client/report_guide.h"

#include <stdlib.h>
#include <stdio.h>
#include <string.h>

/* Names in a sentence are worth reading up to here; the tables have all of them. */
#define NAMED_MAX 12

static void add_name(struct lines *out, int n, const char *text)
{
	if (n < NAMED_MAX)
		lines_printf(out, "%s%s", n ? ", " : "", text);
}

static void end_names(const struct report *r, struct lines *out, int n)
{
	if (n > NAMED_MAX)
		lines_printf(out, SAY(r, " and %d more", " und %d weitere"), n - NAMED_MAX);
}

/* ---- which unit, by whom ---- */

/* Cells of `identity` records: the last one said counts. */
static void identity(const struct report *r, const char *key, char *out, size_t size)
{
	char path[40];
	out[0] = '\0';
	snprintf(path, sizeof path, "identity.%s", key);
	for (int i = 0; i < r->records; i++) {
		struct slice record = r->record[i].record;
		if (!strcmp(r->record[i].kind, "identity") && json_member(record.at, record.len, path).at)
			words_member(record, path, out, size);
	}
}

static void fact(struct paper *p, const char *name, const char *value)
{
	if (!value[0])
		return;
	paper_row(p, NULL);
	paper_cell(p, PAPER_PLAIN, name);
	paper_cell(p, PAPER_PLAIN, value);
	paper_row_end(p);
}

static void unit_table(const struct report *r, struct paper *p)
{
	static const struct {
		const char *key, *en, *de;
	} cells[] = {
		{"maker", "maker", "Hersteller"},
		{"type", "type", "Typ"},
		{"serial", "serial number", "Seriennummer"},
		{"year", "year", "Baujahr"},
		{"mains", "mains tap", "Netzspannung"},
		{"condition", "condition, as seen", "Zustand, nach Augenschein"},
		{"owner", "wished and agreed", "gewünscht und vereinbart"},
		{"received", "received", "angenommen"},
	};
	const struct paper_column columns[] = {
		{SAY(r, "what", "was"), 3, false}, {SAY(r, "this job", "dieser Auftrag"), 9, false}};
	char text[WORDS_SIZE], day[40];
	int64_t t = 0;
	paper_table(p, SAY(r, "The item", "Das Gerät"), columns, 2);
	fact(p, SAY(r, "job", "Auftrag"), r->job);
	fact(p, SAY(r, "item", "Gerät"), r->item ? r->item : "");
	for (size_t i = 0; i < sizeof cells / sizeof cells[0]; i++) {
		identity(r, cells[i].key, text, sizeof text);
		fact(p, SAY(r, cells[i].en, cells[i].de), text);
	}
	if (json_time(json_member(r->job_show.at, r->job_show.len, "t"), &t)) {
		report_time(r, t, true, day, sizeof day);
		fact(p, SAY(r, "work began", "Arbeit begonnen"), day);
	}
	report_time(r, r->made, true, day, sizeof day);
	fact(p, SAY(r, "report made", "Bericht erstellt"), day);
	fact(p, SAY(r, "bench", "Messplatz"), r->bench);
	fact(p, SAY(r, "answers for it", "verantwortlich"),
	     r->by ? r->by : SAY(r, "the one who signs at the end", "wer am Ende unterschreibt"));
	paper_table_end(p);
}

/* ---- what was wrong ---- */

static void name_deviation(const struct report *r, const struct report_entry *e, char *out,
                           size_t size)
{
	char deviation[96];
	double other;
	report_deviation(r, e, deviation, sizeof deviation);
	if (e->overload)
		snprintf(deviation, sizeof deviation, "%s", SAY(r, "open or beyond the range",
		                                                "unterbrochen oder über dem Bereich"));
	if (json_number(json_member(e->judged.at, e->judged.len, "other"), &other)) {
		char shown[64];
		report_like(r, other, 3, e->shown, shown, sizeof shown);
		snprintf(deviation, sizeof deviation, SAY(r, "another value, %s", "anderer Wert, %s"),
		         shown);
	}
	if (!deviation[0])
		report_value(r, e->shown, deviation, sizeof deviation);
	snprintf(out, size, "%s (%s%s%s)", e->position,
	         e->quantity == QUANTITY_VALUE || e->quantity == QUANTITY_VOLTS ? ""
	                                       : report_quantity_word(r, e->quantity),
	         e->quantity == QUANTITY_VALUE || e->quantity == QUANTITY_VOLTS ? "" : ": ", deviation);
}

/* All that have that word in that condition, as an item; true where there are any. */
static int name_all(const struct report *r, enum report_condition c, enum report_word w,
                    struct lines *out)
{
	char text[200];
	int n = 0;
	for (int i = 0; i < r->lines; i++) {
		const struct report_entry *e = r->line[i].at[c];
		if (!e || e->word != w)
			continue;
		name_deviation(r, e, text, sizeof text);
		add_name(out, n++, text);
	}
	end_names(r, out, n);
	return n;
}

static void condition_items(const struct report *r, enum report_condition c, struct paper *p)
{
	struct lines names = {0}, item = {0};
	int count[REPORT_WORDS], positions, n, measured = 0;
	report_count(r, c, count, &positions);
	for (int w = 0; w < REPORT_WORDS; w++)
		measured += count[w];
	lines_printf(&item, SAY(r, "%d of %d parts and places were measured as %s; %d lie within what "
	                           "they should be.",
	                        "%d von %d Teilen und Stellen wurden gemessen (%s); %d liegen im "
	                        "Rahmen."),
	             measured, positions, report_condition_word(r, c), count[REPORT_WITHIN]);
	if (count[REPORT_NONE])
		lines_printf(&item, SAY(r, " %d have no limits to be held against.",
		                        " %d haben keine Grenzen, an denen sie zu messen wären."),
		             count[REPORT_NONE]);
	paper_item(p, lines_text(&item));
	n = name_all(r, c, REPORT_OUTSIDE, &names);
	if (n) {
		item.len = 0;
		lines_printf(&item, "%s: %s.", SAY(r, "Outside", "Außerhalb"), lines_text(&names));
		paper_item(p, lines_text(&item));
	}
	names.len = 0;
	n = name_all(r, c, REPORT_UNSURE, &names);
	if (n) {
		item.len = 0;
		lines_printf(&item, "%s: %s.", SAY(r, "Measured, but no sure answer",
		                                   "Gemessen, aber ohne sichere Antwort"),
		             lines_text(&names));
		paper_item(p, lines_text(&item));
	}
	lines_free(&names);
	lines_free(&item);
}

static void what_was_wrong(const struct report *r, struct paper *p)
{
	char complaint[WORDS_SIZE];
	paper_heading(p, 2, "wrong", SAY(r, "What was wrong", "Was nicht in Ordnung war"));
	identity(r, "complaint", complaint, sizeof complaint);
	if (complaint[0])
		paper_printf(p, PAPER_LEAD, "%s: %s", SAY(r, "The complaint", "Beanstandet wurde"),
		             complaint);
	paper_list_begin(p);
	condition_items(r, REPORT_FOUND, p);
	paper_list_end(p);
}

/* ---- what was done ---- */

/* "R3 (anode load, left)": an owner knows no R3. */
static void plain_name(const struct report_position *p, char *out, size_t size)
{
	bool both = p->role[0] && p->channel[0], any = p->role[0] || p->channel[0];
	snprintf(out, size, "%s%s%s%s%s%s", p->name, any ? " (" : "", p->role, both ? ", " : "",
	         p->channel, any ? ")" : "");
}

static void what_was_done(const struct report *r, struct paper *p)
{
	char text[160];
	struct lines names = {0}, item = {0};
	int n = 0;
	paper_heading(p, 2, "work", SAY(r, "What was done", "Was getan wurde"));
	for (int i = 0; i < r->positions; i++)
		if (report_replaced(r, &r->position[i])) {
			plain_name(&r->position[i], text, sizeof text);
			add_name(&names, n++, text);
		}
	end_names(r, &names, n);
	paper_list_begin(p);
	if (n)
		lines_printf(&item, "%s: %s.", SAY(r, "Replaced", "Ersetzt"), lines_text(&names));
	else
		lines_puts(&item, SAY(r, "No replacement was recorded.",
		                      "Es wurde kein Ersatz verzeichnet."));
	paper_item(p, lines_text(&item));
	report_guide_owner(r, p);
	item.len = 0;
	int64_t left = 0;
	if (json_int(json_member(r->plan.at, r->plan.len, "replace"), &left) && left > 0) {
		lines_printf(&item, SAY(r, "By measurement or by age %lld more parts should be replaced; "
		                           "none of them is known to have been yet (see “Still open”).",
		                        "Nach Messung oder Alter sollten noch %lld Teile ersetzt werden; "
		                        "verzeichnet ist das noch nicht (siehe „Noch offen“)."),
		                        (long long)left);
		paper_item(p, lines_text(&item));
	}
	paper_list_end(p);
	lines_free(&names);
	lines_free(&item);
}

/* ---- what it does now ---- */

/* The same as it was found; "" where it was not measured then. */
static void was(const struct report *r, struct slice list, const char *position, const char *what,
                char *out, size_t size)
{
	struct slice one;
	char shown[80];
	out[0] = '\0';
	for (size_t cursor = 0; json_next(list, &cursor, &one);)
		if (words_member_is(one, "condition", "found") && words_member_is(one, "what", what) &&
		    words_member_is(one, "position", position)) {
			words_member(one, "shown", shown, sizeof shown);
			report_value(r, shown, out, size);
		}
}

static void what_it_does(const struct report *r, struct paper *p)
{
	static const char *const told[] = {"power", "hum", "balance", "output-impedance", "ripple"};
	struct slice one, list = json_member(r->places.at, r->places.len, "places");
	struct lines svg = {0};
	int count[REPORT_WORDS], positions, measured = 0;
	bool calculated = false;
	paper_heading(p, 2, "now", SAY(r, "What it does now", "Was es jetzt tut"));
	report_count(r, REPORT_DONE, count, &positions);
	for (int w = 0; w < REPORT_WORDS; w++)
		measured += count[w];
	paper_list_begin(p);
	if (measured)
		condition_items(r, REPORT_DONE, p);
	else
		paper_item(p, SAY(r, "Nothing was measured yet in the condition in which it is handed "
		                     "back: this report shows how it was found.",
		                  "Im Zustand der Rückgabe wurde noch nichts gemessen: dieser Bericht "
		                  "zeigt, wie es vorgefunden wurde."));
	for (size_t cursor = 0; list.at && json_next(list, &cursor, &one);) {
		char shown[80], value[96], before[96], what[48], position[48], text[400];
		words_member(one, "what", what, sizeof what);
		bool tell = words_member_is(one, "condition", "done");
		for (size_t i = 0; tell && i < sizeof told / sizeof told[0]; i++) {
			if (strcmp(told[i], what) != 0)
				continue;
			words_member(one, "shown", shown, sizeof shown);
			words_member(one, "position", position, sizeof position);
			report_value(r, shown, value, sizeof value);
			was(r, list, position, what, before, sizeof before);
			snprintf(text, sizeof text, "%s, %s: %s%s%s%s", report_place_word(r, what), position,
			         value, before[0] ? SAY(r, " (as found: ", " (vorgefunden: ") : "", before,
			         before[0] ? ")" : "");
			paper_item(p, text);
			calculated = true;
		}
	}
	report_response_owner(r, p);
	paper_list_end(p);
	if (calculated)
		paper_text(p, PAPER_SMALL, SAY(r, "Power, balance and hum are calculated from measured volts.",
		                               "Leistung, Balance und Brumm sind aus gemessenen Spannungen "
		                               "berechnet."));
	report_bars(r, &svg);
	paper_picture(p, REPORT_BARS_WIDTH, REPORT_BARS_HEIGHT, lines_text(&svg));
	lines_free(&svg);
}

/* ---- safety ---- */

static void safety(const struct report *r, struct paper *p)
{
	const struct paper_column columns[] = {
		{SAY(r, "test", "Prüfung"), 5, false}, {SAY(r, "where", "wo"), 2, false},
		{SAY(r, "result", "Ergebnis"), 5, false}, {SAY(r, "limit", "Grenze"), 3, false}};
	char text[800], limits[160];
	paper_heading(p, 2, "safety", SAY(r, "What was tested for safety",
	                                  "Was auf Sicherheit geprüft wurde"));
	paper_table(p, SAY(r, "Safety tests, as handed back",
	                   "Sicherheitsprüfungen, im Zustand der Rückgabe"),
	            columns, 4);
	for (int t = 0; t < REPORT_TESTS; t++) {
		const struct report_entry *e = r->test[t];
		paper_row(p, NULL);
		paper_cell(p, PAPER_PLAIN, report_test_word(r, (enum report_test)t));
		paper_cell(p, PAPER_PLAIN, e ? e->position : "");
		if (e) {
			report_entry_text(r, e, text, sizeof text);
			for (char *at = text; (at = strchr(at, '\n'));)
				*at = ' ';
			report_limits_text(r, e, limits, sizeof limits);
			paper_cell(p, report_test_passed(e) ? PAPER_PLAIN : PAPER_STRONG, text);
			paper_cell(p, PAPER_PLAIN, limits[0] ? limits : SAY(r, "none stated", "keine genannt"));
		} else {
			paper_cell(p, PAPER_STRONG, SAY(r, "NOT MEASURED", "NICHT GEMESSEN"));
			paper_cell(p, PAPER_PLAIN, "");
		}
		paper_row_end(p);
	}
	paper_table_end(p);
	paper_text(p, PAPER_PLAIN,
	           SAY(r, "Which tests are required, with which limits and by whom, is decided by the "
	                  "local codes and by licensed practice. They come first; this report does "
	                  "not replace them.",
	               "Welche Prüfungen verlangt sind, mit welchen Grenzwerten und durch wen, "
	               "bestimmen die örtlichen Vorschriften und die dazu Befugten. Sie gehen vor; "
	               "dieser Bericht ersetzt sie nicht."));
	paper_text(p, PAPER_CAUTION,
	           SAY(r, "Caution: there are volts inside that kill, also when it is switched off and "
	               "unplugged. Do not open it. Work inside only with the mains isolated, the "
	               "reservoir capacitors discharged and measured dead, one hand, rated probes and "
	               "meters, never alone.",
	               "Vorsicht: innen liegen Spannungen, die töten, auch ausgeschaltet und bei "
	               "gezogenem Stecker. Nicht öffnen. Arbeiten im Inneren nur vom Netz getrennt, "
	               "mit entladenen und spannungslos gemessenen Siebkondensatoren, mit einer Hand, "
	               "mit geeigneten Messleitungen und Messgeräten, niemals allein."));
}

/* ---- the seal, for the owner ---- */

static void seal(const struct report *r, struct paper *p)
{
	char head[120], key[60];
	words_member(r->seal, "head", head, sizeof head);
	words_member(r->seal, "key", key, sizeof key);
	paper_heading(p, 2, "seal", SAY(r, "How to check the seal", "Wie das Siegel geprüft wird"));
	paper_text(p, PAPER_PLAIN,
	           SAY(r, "Every value here stands in a sealed log. Keep this page. Whoever has a "
	                  "copy of the log can check that nothing in it was changed since, with this "
	                  "anchor and this key:",
	               "Jeder Wert hier steht in einem versiegelten Protokoll. Bewahren Sie diese "
	               "Seite auf. Wer eine Kopie des Protokolls hat, kann mit diesem Anker und "
	               "diesem Schlüssel prüfen, dass seither nichts darin geändert wurde:"));
	paper_printf(p, PAPER_MONO, "%s %s", SAY(r, "anchor", "Anker"), head);
	paper_printf(p, PAPER_MONO, "%s %s", SAY(r, "key", "Schlüssel"),
	             key[0] ? key : SAY(r, "none: nobody signs for this log",
	                                "keiner: niemand unterschreibt dafür"));
	if (key[0])
		paper_printf(p, PAPER_MONO, "tally verify LOG --anchor %s --key %s", head, key);
	else
		paper_printf(p, PAPER_MONO, "tally verify LOG --anchor %s", head);
	paper_text(p, PAPER_STRONG,
	           SAY(r, "The seal proves “unchanged since”. It does not prove that the probes were "
	                  "on the right part.",
	               "Das Siegel beweist „seither unverändert“. Es beweist nicht, dass die "
	               "Messspitzen am richtigen Teil waren."));
}

static void verdict(const struct report *r, struct paper *p)
{
	struct lines lacks = {0};
	if (report_complete(r)) {
		paper_text(p, PAPER_LEAD, SAY(r,
		                              "✓ Complete: earth bond, insulation and touch current were "
		                              "measured as it is handed back.",
		                              "✓ Vollständig: Schutzleiter, Isolation und Berührungsstrom "
		                              "wurden im Zustand der Rückgabe gemessen."));
		return;
	}
	for (int t = 0; t < REPORT_TESTS; t++)
		if (!report_test_passed(r->test[t]))
			lines_printf(&lacks, "%s%s", lacks.len ? ", " : "",
			             report_test_lacks(r, (enum report_test)t));
	if (lacks.len)
		paper_printf(p, PAPER_CAUTION, SAY(r, "✗ NOT COMPLETE. Not shown to be safe by a test: %s.",
		                                   "✗ NICHT VOLLSTÄNDIG. Nicht durch eine Prüfung als "
		                                   "sicher gezeigt: %s."), lines_text(&lacks));
	else
		paper_text(p, PAPER_CAUTION, SAY(r, "✗ NOT COMPLETE.", "✗ NICHT VOLLSTÄNDIG."));
	if (r->incomplete)
		paper_printf(p, PAPER_PLAIN, "%s: %s", SAY(r, "The stated reason", "Angegebener Grund"),
		             r->incomplete);
	lines_free(&lacks);
}

void report_owner(const struct report *r, struct paper *p)
{
	paper_sheet_begin(p);
	paper_heading(p, 1, NULL, r->item ? r->item : r->job);
	paper_text(p, PAPER_LEAD, SAY(r, "Hand-back report: what was found, what was done, and what "
	                                 "it measures now.",
	                              "Bericht zur Rückgabe: was vorgefunden wurde, was getan wurde "
	                              "und was es jetzt misst."));
	verdict(r, p);
	unit_table(r, p);
	what_was_wrong(r, p);
	what_was_done(r, p);
	what_it_does(r, p);
	safety(r, p);
	seal(r, p);
	paper_sheet_end(p);
}
