/* SPDX-License-Identifier: MIT */
/*
 * The first page, for the owner: what was wrong, what was done, what it does now, what was
 * tested for safety, how to check the seal.  In plain words, and nothing that was not recorded.
 */
#include "client/report_guide.h"

#include <stdio.h>
#include <string.h>

/* Names in a sentence are worth reading up to here; the tables have all of them. */
#define NAMED_MAX 12
/* What is told in words of its own, one a line, so that the page stays a page. */
#define FINDINGS_MAX 9

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
		{"received", "received", "eingegangen"},
	};
	char text[WORDS_SIZE], day[40];
	int64_t t = 0;
	paper_facts_begin(p);
	paper_fact(p, SAY(r, "job", "Auftrag"), r->item ? r->job : "");
	for (size_t i = 0; i < sizeof cells / sizeof cells[0]; i++) {
		identity(r, cells[i].key, text, sizeof text);
		paper_fact(p, SAY(r, cells[i].en, cells[i].de), text);
	}
	if (json_time(json_member(r->job_show.at, r->job_show.len, "t"), &t)) {
		report_time(r, t, true, day, sizeof day);
		paper_fact(p, SAY(r, "work began", "Arbeit begonnen"), day);
	}
	report_time(r, r->made, true, day, sizeof day);
	paper_fact(p, SAY(r, "report made", "Bericht erstellt"), day);
	paper_fact(p, SAY(r, "bench", "Messplatz"), r->bench);
	paper_fact(p, SAY(r, "answers for it", "verantwortlich"),
	     r->by ? r->by : SAY(r, "the one who signs at the end", "wer am Ende unterschreibt"));
	paper_facts_end(p);
}

/* ---- what was wrong ---- */

/* How far it is from what it should be, for somebody who knows no signs: "31 % too high". */
static void plain_deviation(const struct report *r, const struct report_entry *e, char *out,
                            size_t size)
{
	double d, other;
	char number[96];
	bool outside = e->word == REPORT_OUTSIDE;
	if (json_number(json_member(e->judged.at, e->judged.len, "other"), &other)) {
		report_like(r, other, 3, e->shown, number, sizeof number);
		snprintf(out, size, SAY(r, "another value was fitted, about %s",
		                        "ein anderer Wert war eingebaut, etwa %s"), number);
	} else if (e->overload) {
		snprintf(out, size, "%s", SAY(r, "open, or beyond the range of the meter",
		                              "unterbrochen, oder über dem Bereich des Messgeräts"));
	} else if (json_number(json_member(e->judged.at, e->judged.len, "deviation"), &d) && d > -1 &&
	           d < 10) {
		d *= words_member_is(e->judged, "side", "low") && d > 0 ? -1 : 1;
		report_number(r, 100 * (d < 0 ? -d : d), d < 0.1 && d > -0.1 ? 1 : 0, number, sizeof number);
		snprintf(out, size, "%s\xc2\xa0%% %s%s", number, outside ? SAY(r, "too ", "zu ") : "",
		         d < 0 ? SAY(r, "low", "niedrig") : SAY(r, "high", "hoch"));
	} else {
		report_value(r, e->shown, out, size);
		report_limits_text(r, e, number, sizeof number);
		size_t n = strlen(out);
		if (number[0])
			snprintf(out + n, size - n, SAY(r, ", should be %s", ", soll: %s"), number);
	}
	size_t n = strlen(out);
	if (e->word == REPORT_UNSURE && report_reason(r, e)[0])
		snprintf(out + n, size - n, "; %s", report_reason(r, e));
	else if (outside && words_member_is(e->judged, "reason", "leakage"))
		snprintf(out + n, size - n, "; %s", SAY(r, "it leaks", "mit Leckstrom"));
}

/* "R3, anode load, left: 31 % too high" */
static void finding(const struct report *r, const struct report_entry *e, char *out, size_t size)
{
	const struct report_position *p = report_position(r, e->position);
	bool plain = e->quantity == QUANTITY_VALUE || e->quantity == QUANTITY_VOLTS;
	char deviation[300], role[96] = "";
	plain_deviation(r, e, deviation, sizeof deviation);
	if (p)
		report_role(r, p, role, sizeof role);
	snprintf(out, size, "%s%s%s%s%s: %s", e->position, role[0] ? ", " : "", role, plain ? "" : ", ",
	         plain ? "" : report_quantity_word(r, e->quantity), deviation);
}

/* All that have that word, as found or now, each an item; behind so many by name alone, for the tables have all. */
static void findings(const struct report *r, bool now, enum report_word w, const char *before,
                     struct paper *p)
{
	struct lines rest = {0}, item = {0};
	char text[600];
	int told = 0, more = 0;
	for (int i = 0; i < r->lines; i++) {
		const struct report_line *l = &r->line[i];
		const struct report_entry *e = now ? l->now : l->at[REPORT_FOUND];
		if (!e || e->word != w)
			continue;
		if (told < FINDINGS_MAX) {
			finding(r, e, text, sizeof text);
			item.len = 0;
			lines_printf(&item, "%s%s", before, text);
			if (now && l->kept && e->service == REPORT_WITHIN && w != REPORT_WITHIN)
				lines_puts(&item, SAY(r, "; its place can live with that",
				                      "; an diesem Platz vertretbar"));
			paper_item_marked(p, report_mark(w), lines_text(&item));
			told++;
		} else {
			add_name(&rest, more++, e->position);
		}
	}
	if (more) {
		end_names(r, &rest, more);
		item.len = 0;
		lines_printf(&item, "%s: %s", SAY(r, "and also", "und außerdem"), lines_text(&rest));
		paper_item_marked(p, report_mark(w), lines_text(&item));
	}
	lines_free(&rest);
	lines_free(&item);
}

static void what_was_wrong(const struct report *r, struct paper *p)
{
	char complaint[WORDS_SIZE];
	const int *count = r->counts.of[REPORT_FOUND], positions = r->counts.positions;
	struct lines item = {0};
	paper_heading(p, 2, "wrong", SAY(r, "What was wrong", "Was nicht in Ordnung war"));
	identity(r, "complaint", complaint, sizeof complaint);
	if (complaint[0])
		paper_printf(p, PAPER_LEAD, "%s: %s", SAY(r, "The complaint", "Beanstandet wurde"),
		             complaint);
	lines_printf(&item, SAY(r, "%d of %d parts and places were measured as they came in; %d lie within "
	                           "what they should be.",
	                        "%d von %d Teilen und Stellen wurden gemessen, so wie sie hereinkamen; "
	                        "%d liegen im Rahmen."),
	             r->counts.measured[REPORT_FOUND], positions, count[REPORT_WITHIN]);
	if (count[REPORT_NONE])
		lines_printf(&item, SAY(r, " %d have no limits to be held against.",
		                        " %d haben keine Grenzen, an denen sie zu messen wären."),
		             count[REPORT_NONE]);
	paper_text(p, PAPER_PLAIN, positions ? lines_text(&item)
	           : SAY(r, "Nothing was measured: the sheet of this job has no positions.",
	                 "Es wurde nichts gemessen: das Blatt dieses Auftrags hat keine Positionen."));
	if (count[REPORT_OUTSIDE] + count[REPORT_UNSURE]) {
		paper_list_begin(p);
		findings(r, false, REPORT_OUTSIDE, "", p);
		findings(r, false, REPORT_UNSURE, SAY(r, "no sure answer: ", "keine sichere Aussage: "), p);
		paper_list_end(p);
	}
	lines_free(&item);
}

/* ---- what was done ---- */

/* "R3 (anode load, left)": an owner knows no R3. */
static void plain_name(const struct report *r, const struct report_position *p, char *out, size_t size)
{
	char role[96];
	report_role(r, p, role, sizeof role);
	snprintf(out, size, role[0] ? "%s (%s)" : "%s%s", p->name, role);
}

static void what_was_done(const struct report *r, struct paper *p)
{
	char text[160];
	struct lines names = {0}, item = {0};
	int n = 0;
	paper_heading(p, 2, "work", SAY(r, "What was done", "Was getan wurde"));
	for (int i = 0; i < r->positions; i++)
		if (report_replaced(r, &r->position[i])) {
			plain_name(r, &r->position[i], text, sizeof text);
			add_name(&names, n++, text);
		}
	end_names(r, &names, n);
	paper_list_begin(p);
	if (n)
		lines_printf(&item, "%s: %s.", n == 1 ? SAY(r, "One part was replaced", "Ein Teil wurde ersetzt")
		             : SAY(r, "Replaced", "Ersetzt"), lines_text(&names));
	else
		lines_puts(&item, SAY(r, "No replacement was recorded.",
		                      "Es wurde kein Ersatz verzeichnet."));
	paper_item(p, lines_text(&item));
	report_guide_owner(r, p);
	item.len = 0;
	int64_t left = 0;
	if (json_int(json_member(r->plan.at, r->plan.len, "replace"), &left) && left > 0) {
		lines_printf(&item, left == 1
		             ? SAY(r, "One more part is due by measurement or by age and was not replaced so "
		                      "far: see “Still open”.",
		                   "Ein weiteres Teil wäre nach Messung oder Alter fällig und wurde bisher "
		                   "nicht ersetzt: siehe „Noch offen“.")
		             : SAY(r, "%lld more parts are due by measurement or by age and were not replaced "
		                      "so far: see “Still open”.",
		                   "%lld weitere Teile wären nach Messung oder Alter fällig und wurden bisher "
		                   "nicht ersetzt: siehe „Noch offen“."), (long long)left);
		paper_item(p, lines_text(&item));
	}
	paper_list_end(p);
	lines_free(&names);
	lines_free(&item);
}

/* ---- what it does now ---- */

/* "4.508 W" is "4.51 W". */
static void three_figures(char *shown)
{
	struct decimal d;
	size_t n = strcspn(shown, " ");
	char text[40];
	if (!decimal_parse(shown, n, &d))
		return;
	struct text t;
	text_begin(&t, text, sizeof text);
	d = decimal_from_double(decimal_double(d), 3);
	double x = decimal_double(d);
	text_printf(&t, "%.*f", d.e < 0 ? -d.e : 0, x);
	size_t len = strlen(text);
	if (!t.failed && len <= n) {
		memcpy(shown, text, len);
		memmove(shown + len, shown + n, strlen(shown + n) + 1);
	}
}

/* What was worked out there in that condition, to the figures that mean something to an owner; ""
 * where it was not. */
static void figure(const struct report *r, const char *position, const char *what,
                   const char *condition, char *out, size_t size)
{
	struct slice one, list = json_member(r->places.at, r->places.len, "places");
	char shown[80];
	double x;
	out[0] = '\0';
	for (size_t cursor = 0; list.at && json_next(list, &cursor, &one);) {
		if (!words_member_is(one, "condition", condition) || !words_member_is(one, "what", what) ||
		    !words_member_is(one, "position", position))
			continue;
		words_member(one, "shown", shown, sizeof shown);
		bool db = strlen(shown) > 3 && !strcmp(shown + strlen(shown) - 3, " dB");
		if (db && json_number(json_member(one.at, one.len, "value"), &x)) {
			report_number(r, x, 1, out, size);
			size_t n = strlen(out);
			snprintf(out + n, size - n, "\xc2\xa0" "dB");
		} else {
			three_figures(shown);
			report_value(r, shown, out, size);
		}
	}
}

/* Power, hum, balance and how far it reaches: as found beside now. */
static void before_and_now(const struct report *r, struct paper *p)
{
	static const char *const told[] = {"power", "balance", "hum", "output-impedance", "ripple"};
	const struct paper_column columns[] = {
		{SAY(r, "what it does", "Eigenschaft"), 6, false}, {SAY(r, "where", "wo"), 3, false},
		{SAY(r, "as found", "vorgefunden"), 4, false}, {SAY(r, "now", "jetzt"), 4, false}};
	struct slice one, list = json_member(r->places.at, r->places.len, "places");
	char found[120], done[120], what[48], position[48], where[96];
	bool any = false;
	paper_table(p, SAY(r, "The unit, before and now", "Das Gerät vorher und jetzt"), columns, 4);
	for (size_t i = 0; i < sizeof told / sizeof told[0]; i++)
		for (size_t cursor = 0; list.at && json_next(list, &cursor, &one);) {
			words_member(one, "what", what, sizeof what);
			words_member(one, "position", position, sizeof position);
			if (strcmp(told[i], what) != 0 || !words_member_is(one, "condition", "done"))
				continue;
			figure(r, position, what, "found", found, sizeof found);
			figure(r, position, what, "done", done, sizeof done);
			paper_row(p, NULL);
			paper_cell(p, PAPER_PLAIN, report_place_word(r, what));
			report_where(r, position, where, sizeof where);
			paper_cell(p, PAPER_PLAIN, where);
			paper_cell(p, PAPER_PLAIN, found[0] ? found : SAY(r, "not measured", "nicht gemessen"));
			paper_cell(p, PAPER_STRONG, done);
			any = true;
		}
	any = report_response_owner(r, p) || any;
	if (!any) {
		paper_kept_free(p);
		return;
	}
	paper_table_end(p);
	paper_text(p, PAPER_SMALL,
	           SAY(r, "Power, balance and hum are calculated from measured volts. Hum and noise: the "
	                  "more dB below the output, the quieter.",
	               "Leistung, Balance und Brumm sind aus gemessenen Spannungen berechnet. Brumm und "
	               "Rauschen: je mehr dB unter dem Ausgang, desto ruhiger."));
}

/* What stands as it is handed back: measured again, or left as it was found. */
static void handed_back(const struct report *r, struct paper *p)
{
	const struct report_counts *n = &r->counts;
	const int *count = n->of[REPORT_DONE], again = n->measured[REPORT_DONE];
	struct lines item = {0};
	paper_list_begin(p);
	if (again)
		lines_printf(&item, SAY(r, "%d of %d parts and places were measured again as it is handed back; "
		                           "%d lie within what they should be.",
		                        "%d von %d Teilen und Stellen wurden im Zustand der Rückgabe erneut "
		                        "gemessen; %d liegen im Rahmen."),
		             again, n->positions, count[REPORT_WITHIN]);
	else
		lines_puts(&item, SAY(r, "Nothing was measured yet in the condition in which it is handed "
		                         "back: this report shows how it was found.",
		                      "Im Zustand der Rückgabe wurde noch nichts gemessen: dieser Bericht "
		                      "zeigt, wie es vorgefunden wurde."));
	if (count[REPORT_NONE])
		lines_printf(&item, SAY(r, " %d have no limits to be held against.",
		                        " %d haben keine Grenzen, an denen sie zu messen wären."),
		             count[REPORT_NONE]);
	paper_item(p, lines_text(&item));
	if (again && n->left) {
		item.len = 0;
		lines_printf(&item, SAY(r, "%d more parts were left in and not measured again; as found %d of "
		                           "them lie within what they should be.",
		                        "%d weitere Teile blieben unverändert und wurden nicht erneut gemessen; "
		                        "davon lagen vorgefunden %d im Rahmen."),
		             n->left, n->kept[REPORT_WITHIN]);
		paper_item(p, lines_text(&item));
	}
	if (again) {
		findings(r, true, REPORT_OUTSIDE, SAY(r, "still outside: ", "noch außerhalb: "), p);
		findings(r, true, REPORT_UNSURE, SAY(r, "no sure answer: ", "keine sichere Aussage: "), p);
	}
	paper_list_end(p);
	lines_free(&item);
}

static void what_it_does(const struct report *r, struct paper *p)
{
	struct lines svg = {0};
	paper_heading(p, 2, "now", SAY(r, "What it does now", "Was es jetzt tut"));
	before_and_now(r, p);
	handed_back(r, p);
	if (r->lines)
		report_bars(r, &svg);
	if (svg.len)
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
	               "mit entladenen und spannungslos gemessenen Ladekondensatoren, mit einer Hand, "
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
		paper_text(p, PAPER_GOOD, SAY(r,
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
		paper_printf(p, PAPER_BAD, SAY(r, "✗ NOT COMPLETE. Not shown to be safe by a test: %s.",
		                                   "✗ NICHT VOLLSTÄNDIG. Nicht durch eine Prüfung als "
		                                   "sicher gezeigt: %s."), lines_text(&lacks));
	else
		paper_text(p, PAPER_BAD, SAY(r, "✗ NOT COMPLETE.", "✗ NICHT VOLLSTÄNDIG."));
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
	                              "Übergabebericht: was vorgefunden und was getan wurde, und "
	                              "wie es jetzt misst."));
	verdict(r, p);
	unit_table(r, p);
	what_was_wrong(r, p);
	what_was_done(r, p);
	what_it_does(r, p);
	safety(r, p);
	seal(r, p);
	paper_sheet_end(p);
}
