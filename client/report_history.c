/* SPDX-License-Identifier: MIT */
/*
 * The history of the job as its records tell it: meters and their checks, what was typed,
 * notes, strikes, moves, runs, danger; and how the report ends: what its words mean, the
 * seal, a place to sign.
 */
#include "client/report_photo.h"

#include <stdio.h>
#include <string.h>

static bool is(const struct report_record *one, const char *kind)
{
	return strcmp(one->kind, kind) == 0;
}

/* ---- meters ---- */

static bool used(const struct report *r, const char *meter)
{
	for (int i = 0; i < r->entries; i++)
		if (words_member_is(r->entry[i].record, "meter", meter))
			return true;
	return false;
}

/* The newest record that says how it was configured. */
static bool newest(const struct report *r, int at, const char *meter)
{
	for (int i = at + 1; i < r->records; i++)
		if (is(&r->record[i], "meter") && words_member_is(r->record[i].record, "meter", meter) &&
		    words_member_is(r->record[i].record, "state", "configured"))
			return false;
	return true;
}

/* What it says it is stands in the record of its coming. */
static void said_identity(const struct report *r, const char *meter, char *out, size_t size)
{
	char text[WORDS_SIZE];
	out[0] = '\0';
	for (int i = 0; i < r->records; i++) {
		if (!is(&r->record[i], "meter") || !words_member_is(r->record[i].record, "meter", meter))
			continue;
		words_member(r->record[i].record, "identity", text, sizeof text);
		if (text[0])
			snprintf(out, size, "%s", text);
	}
}

static void meters(const struct report *r, struct paper *p)
{
	const struct paper_column columns[] = {
		{SAY(r, "meter", "Messgerät"), 2, false}, {SAY(r, "says it is", "nennt sich"), 5, false},
		{SAY(r, "accuracy, as configured", "Genauigkeit, wie eingestellt"), 6, false}};
	char meter[48], text[WORDS_SIZE];
	bool any = false;
	paper_heading(p, 2, "meters", SAY(r, "The meters, and how they were checked",
	                                  "Die Messgeräte, und wie sie geprüft wurden"));
	for (int i = 0; i < r->records; i++) {
		const struct report_record *one = &r->record[i];
		words_member(one->record, "meter", meter, sizeof meter);
		if (!is(one, "meter") || !words_member_is(one->record, "state", "configured") ||
		    !used(r, meter) || !newest(r, i, meter))
			continue;
		if (!any)
			paper_table(p, SAY(r, "Meters of this job", "Messgeräte dieses Auftrags"), columns, 3);
		any = true;
		paper_row(p, NULL);
		paper_cell(p, PAPER_PLAIN, meter);
		said_identity(r, meter, text, sizeof text);
		paper_cell(p, PAPER_PLAIN, text[0] ? text : SAY(r, "nothing", "nichts"));
		words_member(one->record, "accuracy", text, sizeof text);
		paper_cell(p, PAPER_PLAIN, text[0] ? text
		           : SAY(r, "not stated: a pessimistic class was assumed",
		                                                "nicht angegeben: ungünstig angenommen"));
	}
	if (any)
		paper_table_end(p);
}

static void checks(const struct report *r, struct paper *p)
{
	const struct paper_column columns[] = {
		{SAY(r, "when", "wann"), 4, false}, {SAY(r, "meter", "Messgerät"), 3, false},
		{SAY(r, "what", "was"), 5, false}, {SAY(r, "reading", "Anzeige"), 3, true},
		{SAY(r, "answer", "Antwort"), 4, false}};
	char when[40], text[WORDS_SIZE], shown[80], en[40];
	double e;
	bool any = false;
	for (int i = 0; i < r->records; i++) {
		const struct report_record *one = &r->record[i];
		bool check = is(one, "check");
		if (!check && !is(one, "offset"))
			continue;
		if (!any)
			paper_table(p, SAY(r, "Checks against reference parts, and lead offsets",
			                   "Prüfungen an Vergleichsnormalen, und Messleitungen"), columns, 5);
		any = true;
		paper_row(p, NULL);
		report_time(r, one->t, false, when, sizeof when);
		paper_cell(p, PAPER_PLAIN, when);
		words_member(one->record, "meter", text, sizeof text);
		paper_cell(p, PAPER_PLAIN, text);
		if (check)
			paper_cell_printf(p, PAPER_PLAIN, SAY(r, "reference %s", "Normal %s"), one->position);
		else
			paper_cell(p, PAPER_PLAIN, words_member_is(one->record, "leads", "short")
			           ? SAY(r, "leads shorted", "Messleitungen kurzgeschlossen")
			           : SAY(r, "leads open", "Messleitungen offen"));
		words_member(one->record, "shown", shown, sizeof shown);
		report_value(r, shown, text, sizeof text);
		paper_cell(p, PAPER_PLAIN, text);
		en[0] = '\0';
		if (json_number(json_member(one->record.at, one->record.len, "en"), &e))
			report_number(r, e, 2, en, sizeof en);
		if (check)
			paper_cell_printf(p, PAPER_PLAIN, "%s, E_n %s",
			                  json_bool(json_member(one->record.at, one->record.len, "agree"),
			                            false)
			                      ? SAY(r, "✓ passed", "✓ bestanden")
			                      : SAY(r, "✗ failed", "✗ nicht bestanden"), en);
		else
			paper_cell(p, PAPER_PLAIN, SAY(r, "taken off", "abgezogen"));
	}
	if (any)
		paper_table_end(p);
	else
		paper_text(p, PAPER_PLAIN, SAY(r, "No meter was held against a reference part in this job.",
		                               "In diesem Auftrag wurde kein Messgerät an einem Normal "
		                               "geprüft."));
}

/* ---- what a hand did ---- */

static void typed(const struct report *r, struct paper *p)
{
	const struct paper_column columns[] = {
		{SAY(r, "record", "Datensatz"), 2, false}, {SAY(r, "position", "Position"), 3, false},
		{SAY(r, "measured", "gemessen"), 4, false}, {SAY(r, "value", "Wert"), 3, true},
		{SAY(r, "from", "von"), 3, false}, {SAY(r, "why", "warum"), 4, false}};
	char text[WORDS_SIZE];
	bool any = false;
	paper_heading(p, 2, "typed", SAY(r, "Typed by hand", "Von Hand eingegeben"));
	for (int i = 0; i < r->entries; i++) {
		const struct report_entry *e = &r->entry[i];
		if (!e->typed || e->struck.at)
			continue;
		if (!any)
			paper_table(p, SAY(r, "Values that no meter sent",
			                   "Werte, die kein Messgerät gesendet hat"), columns, 6);
		any = true;
		paper_row(p, NULL);
		paper_cell_printf(p, PAPER_PLAIN, "%lld", (long long)e->seq);
		paper_cell(p, PAPER_PLAIN, e->position);
		char hertz[48] = "";
		if (e->hertz > 0)
			report_hertz_text(r, e->hertz, hertz, sizeof hertz);
		paper_cell_printf(p, PAPER_PLAIN, "%s%s%s, %s", report_quantity_word(r, e->quantity),
		                  hertz[0] ? SAY(r, " at ", " bei ") : "", hertz,
		                  report_condition_word(r, e->condition));
		report_value(r, e->shown, text, sizeof text);
		paper_cell(p, PAPER_PLAIN, text);
		words_member(e->record, "meter", text, sizeof text);
		paper_cell(p, PAPER_PLAIN, text);
		words_member(e->record, "because", text, sizeof text);
		paper_cell(p, PAPER_PLAIN, text);
	}
	if (any)
		paper_table_end(p);
	else
		paper_text(p, PAPER_PLAIN, !r->entries ? SAY(r, "No value was logged.",
		                                             "Es wurde kein Wert verzeichnet.")
		           : SAY(r, "Nothing: every value came from a meter.",
		                 "Nichts: jeder Wert kam von einem Messgerät."));
}

/* "entry 45, R12, 612 kohm" */
static void of_text(const struct report *r, struct slice record, char *out, size_t size)
{
	int64_t of = 0;
	char value[96];
	json_int(json_member(record.at, record.len, "of"), &of);
	const struct report_entry *e = report_entry(r, of);
	if (!e) {
		snprintf(out, size, "%s %lld", SAY(r, "record", "Datensatz"), (long long)of);
		return;
	}
	report_value(r, e->shown, value, sizeof value);
	snprintf(out, size, "%s %lld, %s, %s", SAY(r, "entry", "Eintrag"), (long long)of, e->position,
	         value);
}

/* What a record says, for the table of what happened; false: it is told elsewhere. */
static bool happened(const struct report *r, const struct report_record *one, char *what,
                     size_t what_size,
                     char *text, size_t size)
{
	char because[WORDS_SIZE], of[400];
	words_member(one->record, "because", because, sizeof because);
	of[0] = text[0] = '\0';
	if (is(one, "note")) {
		snprintf(what, what_size, "%s", SAY(r, "note", "Notiz"));
		words_member(one->record, "text", text, size);
		report_photo_text(r, one->record, of, sizeof of);
		size_t n = strlen(text);
		if (of[0])
			snprintf(text + n, size - n, "%s%s", n ? "\n" : "", of);
	} else if (is(one, "photo")) {
		snprintf(what, what_size, "%s", SAY(r, "photo, by its SHA-256", "Foto, nach SHA-256"));
		words_member(one->record, json_member(one->record.at, one->record.len, "hash").at ? "hash"
		             : "sha256", text, size);
	} else if (is(one, "strike")) {
		snprintf(what, what_size, "%s", SAY(r, "struck: does not count",
		                                    "gestrichen: zählt nicht"));
		of_text(r, one->record, of, sizeof of);
		snprintf(text, size, "%s%s%s", of, because[0] ? ": " : "", because);
	} else if (is(one, "move")) {
		char from[48];
		words_member(one->record, "from", from, sizeof from);
		snprintf(what, what_size, "%s", SAY(r, "moved", "verschoben"));
		of_text(r, one->record, of, sizeof of);
		snprintf(text, size, SAY(r, "%s, was at %s%s%s", "%s, war bei %s%s%s"), of, from,
		         because[0] ? ": " : "", because);
	} else if (is(one, "rename")) {
		char from[48];
		words_member(one->record, "from", from, sizeof from);
		snprintf(what, what_size, "%s", SAY(r, "renamed", "umbenannt"));
		snprintf(text, size, SAY(r, "was %s", "war %s"), from);
	} else if (is(one, "alarm") && json_bool(json_member(one->record.at, one->record.len, "on"),
	                                         false)) {
		snprintf(what, what_size, "%s", SAY(r, "DANGER", "GEFAHR"));
		words_member(one->record, "text", text, size);
	} else if (is(one, "job")) {
		static const struct {
			const char *state, *en, *de;
		} states[] = {
			{"started", "job begun", "Auftrag begonnen"},
			    {"closed", "job closed", "Auftrag beendet"},
			{"live", "said to be live", "als spannungsführend erklärt"},
			{"cold", "said to be cold", "als spannungslos erklärt"},
			{"discharging", "reservoirs measured dead",
			 "Ladekondensatoren werden spannungslos gemessen"},
		};
		for (size_t i = 0; i < sizeof states / sizeof states[0]; i++)
			if (words_member_is(one->record, "state", states[i].state)) {
				snprintf(what, what_size, "%s", SAY(r, states[i].en, states[i].de));
				snprintf(text, size, "%s", because);
				return true;
			}
		return false;
	} else {
		return false;
	}
	return true;
}

static void events(const struct report *r, struct paper *p)
{
	const struct paper_column columns[] = {
		{SAY(r, "when", "wann"), 4, false}, {SAY(r, "what", "was"), 4, false},
		{SAY(r, "position", "Position"), 3, false}, {SAY(r, "text", "Text"), 9, false}};
	char what[96], text[WORDS_SIZE * 2], when[40];
	bool any = false;
	paper_heading(p, 2, "history", SAY(r, "Notes, strikes, moves, and what happened",
	                                   "Notizen, Streichungen, Verschiebungen und Vorkommnisse"));
	for (int i = 0; i < r->records; i++) {
		const struct report_record *one = &r->record[i];
		if (!happened(r, one, what, sizeof what, text, sizeof text))
			continue;
		if (!any)
			paper_table(p, SAY(r, "In the order in which it was recorded",
			                   "In der Reihenfolge der Aufzeichnung"), columns, 4);
		any = true;
		paper_row(p, NULL);
		report_time(r, one->t, false, when, sizeof when);
		paper_cell(p, PAPER_PLAIN, when);
		paper_cell(p, is(one, "alarm") ? PAPER_STRONG : PAPER_PLAIN, what);
		paper_cell(p, PAPER_PLAIN, is(one, "strike") || is(one, "move") ? "" : one->position);
		paper_cell(p, PAPER_PLAIN, text);
	}
	if (any)
		paper_table_end(p);
	else
		paper_text(p, PAPER_PLAIN, SAY(r, "Nothing was noted.", "Nichts wurde vermerkt."));
	report_photos(r, p);
}

void report_history(const struct report *r, struct paper *p)
{
	meters(r, p);
	checks(r, p);
	typed(r, p);
	events(r, p);
}

/* ---- the end ---- */

static void seal_table(const struct report *r, struct paper *p)
{
	const struct paper_column columns[] = {
		{SAY(r, "what", "was"), 3, false}, {SAY(r, "the seal", "das Siegel"), 10, false}};
	static const struct {
		const char *path, *en, *de;
	} rows[] = {
		{"verdict", "verdict", "Urteil"}, {"head", "anchor", "Anker"},
		{"key", "key, its fingerprint", "Schlüssel, Fingerabdruck"},
		    {"identity", "log", "Protokoll"},
	};
	char text[WORDS_SIZE];
	int64_t n = 0;
	paper_heading(p, 2, "proof", SAY(r, "The seal", "Das Siegel"));
	paper_table(p, SAY(r, "As checked right before this report was made",
	                   "Geprüft unmittelbar vor diesem Bericht"), columns, 2);
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		words_member(r->seal, rows[i].path, text, sizeof text);
		/* What is meant for somebody with an anchor in his hand says less than nothing here. */
		if (!i && !strncmp(text, "intact", 6))
			snprintf(text, sizeof text, "%s", SAY(r, "✓ intact: each record fits the one before it",
			                                      "✓ unversehrt: jeder Datensatz passt zum vorigen"));
		paper_row(p, NULL);
		paper_cell(p, PAPER_PLAIN, SAY(r, rows[i].en, rows[i].de));
		paper_cell(p, i ? PAPER_MONO : PAPER_PLAIN, text[0] ? text : SAY(r, "none", "keiner"));
	}
	json_int(json_member(r->seal.at, r->seal.len, "records"), &n);
	paper_row(p, NULL);
	paper_cell(p, PAPER_PLAIN, SAY(r, "records", "Datensätze"));
	paper_cell_printf(p, PAPER_PLAIN, SAY(r, "%lld, each in its place with its hash",
	                                      "%lld, jeder an seinem Platz mit seinem Hash"),
	                                      (long long)n);
	if (json_int(json_member(r->seal.at, r->seal.len, "signed"), &n) && n > 0) {
		paper_row(p, NULL);
		paper_cell(p, PAPER_PLAIN, SAY(r, "signed up to", "unterschrieben bis"));
		paper_cell_printf(p, PAPER_PLAIN, SAY(r, "record %lld", "Datensatz %lld"), (long long)n);
	}
	paper_table_end(p);
	paper_text(p, PAPER_PLAIN,
	           SAY(r, "What it proves: the log is unchanged since this anchor was given away. "
	                  "What it does not prove: that the probes were on the right part, that the "
	                  "clock was right, or that everything measured was logged. Whoever keeps the "
	                  "log and its key could have written it differently before the anchor was "
	                  "given away.",
	               "Was es beweist: das Protokoll ist unverändert, seit dieser Anker weggegeben "
	               "wurde. Was es nicht beweist: dass die Messspitzen am richtigen Teil waren, "
	               "dass die Uhr richtig ging oder dass alles Gemessene verzeichnet wurde. Wer "
	               "Protokoll und Schlüssel hat, hätte es anders schreiben können, bevor der "
	               "Anker weggegeben wurde."));
}

void report_closing(const struct report *r, struct paper *p)
{
	seal_table(r, p);
	paper_heading(p, 2, "words", SAY(r, "What the words mean", "Was die Wörter bedeuten"));
	paper_list_begin(p);
	paper_item(p, SAY(r, "found: as it came in; new: a replacement before it was fitted; done: as "
	                     "it is handed back.",
	                  "vorgefunden: wie es hereinkam; neu: ein Ersatzteil vor dem Einbau; fertig: "
	                  "wie es zurückgegeben wird."));
	paper_item(p, SAY(r, "Where a position was measured several times the newest value stands in "
	                     "the table; one with a leg lifted before one in circuit. All of them "
	                     "stand in entries.csv and report.json.",
	                  "Wurde eine Position mehrmals gemessen, steht der neueste Wert in der "
	                  "Tabelle; einer mit abgehobenem Anschluss vor einem in der Schaltung. Alle "
	                  "stehen in entries.csv und report.json."));
	paper_item(p, SAY(r, "Struck entries do not count. They stay in the log, and in entries.csv.",
	                  "Gestrichene Einträge zählen nicht. Sie bleiben im Protokoll und in "
	                  "entries.csv."));
	paper_item(p, SAY(r, "Notes, roles and reasons stand as they were written.",
	                  "Notizen und Gründe stehen so da, wie sie geschrieben wurden, Rollen auf "
	                  "Deutsch, wo es ein Wort dafür gibt."));
	paper_item(p, SAY(r, "Dates and times are those of the bench's clock here, UTC in the files "
	                     "for machines.",
	                  "Datum und Uhrzeit sind hier die der Werkstatt, in den Dateien für "
	                  "Maschinen UTC."));
	paper_list_end(p);
	paper_heading(p, 2, "sign", SAY(r, "Who answers for it", "Wer dafür einsteht"));
	paper_text(p, PAPER_PLAIN, SAY(r, "I measured or supervised what stands here, and hand the "
	                                  "item back in the condition described.",
	                               "Ich habe gemessen oder beaufsichtigt, was hier steht, und "
	                               "gebe das Gerät im beschriebenen Zustand zurück."));
	paper_printf(p, PAPER_PLAIN, "%s: %s\n\n%s: ______________________________\n\n\n%s: "
	                             "______________________________\n ",
	             SAY(r, "Name", "Name"), r->by ? r->by : "______________________________",
	             SAY(r, "Place and date", "Ort und Datum"), SAY(r, "Signature", "Unterschrift"));
	paper_printf(p, PAPER_STRONG, SAY(r, "End of the report on job %s.",
	                                  "Ende des Berichts zum Auftrag %s."), r->job);
}
