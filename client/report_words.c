/* SPDX-License-Identifier: MIT */
/*
 * The words of the report in English and German, and numbers as each writes them.
 * Nothing here asks the machine's locale.
 */
#include "client/report.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define NBSP "\xc2\xa0"

/* ---- numbers and units ---- */

/* A unit with its prefix: "kohm" is kilo and ohm, "uF" micro and farad. */
static void unit_text(const char *unit, char *out, size_t size)
{
	size_t len = strlen(unit);
	bool ohm = len >= 3 && strcmp(unit + len - 3, "ohm") == 0;
	int stem = (int)(ohm ? len - 3 : len);
	bool micro = unit[0] == 'u' && len > 1;
	snprintf(out, size, "%s%.*s%s", micro ? "\xc2\xb5" : "", stem - micro, unit + micro,
	         ohm ? "\xce\xa9" : "");
	if (strcmp(unit, "C") == 0)
		snprintf(out, size, "\xc2\xb0" "C");
}

/* Digits with the locale's decimal sign and a true minus. */
static void number_text(const struct report *r, const char *digits, size_t len, char *out,
                        size_t size)
{
	size_t at = 0;
	for (size_t i = 0; i < len && at + 4 < size; i++) {
		if (digits[i] == '-') {
			memcpy(out + at, "\xe2\x88\x92", 3);
			at += 3;
		} else if (digits[i] != '+') {
			out[at++] = digits[i] == '.' && r->german ? ',' : digits[i];
		}
	}
	out[at] = '\0';
}

void report_value(const struct report *r, const char *shown, char *out, size_t size)
{
	char number[64], unit[32];
	size_t n = strcspn(shown, " ");
	bool digits = n && strspn(shown, "+-.0123456789") >= n;
	if (digits)
		number_text(r, shown, n, number, sizeof number);
	else
		snprintf(number, sizeof number, "%.*s", (int)n, shown);
	unit_text(shown[n] ? shown + n + 1 : "", unit, sizeof unit);
	snprintf(out, size, "%s%s%s", number, unit[0] ? NBSP : "", unit);
}

void report_like(const struct report *r, double x, int figures, const char *like, char *out,
                 size_t size)
{
	struct style plain = {.plain = true};
	char text[WORDS_SIZE];
	words_like(&plain, x, figures, like, text, sizeof text);
	report_value(r, text, out, size);
}

void report_si(double x, const char *unit, char *out, size_t size)
{
	static const char *const prefix[] = {"p", "n", "u", "m", "", "k", "M", "G"};
	bool bare = !unit[0] || !strcmp(unit, "%") || !strcmp(unit, "dB") || !strcmp(unit, "C");
	int step = 4;
	for (x = fabs(x); !bare && x >= 999.5 && step < 7; step++)
		x /= 1000;
	for (; !bare && x > 0 && x < 0.9995 && step > 0; step--)
		x *= 1000;
	snprintf(out, size, "1%s%s%s", unit[0] ? " " : "", bare ? "" : prefix[step], unit);
}

void report_number(const struct report *r, double x, int decimals, char *out, size_t size)
{
	char text[64];
	snprintf(text, sizeof text, "%.*f", decimals, x);
	/* No minus before what is shown as zero. */
	if (text[0] == '-' && strspn(text + 1, "0.") == strlen(text + 1))
		memmove(text, text + 1, strlen(text));
	number_text(r, text, strlen(text), out, size);
}

void report_deviation(const struct report *r, const struct report_entry *e, char *out, size_t size)
{
	double d;
	char number[64];
	out[0] = '\0';
	if (!json_number(json_member(e->judged.at, e->judged.len, "deviation"), &d))
		return;
	if (fabs(d) >= 10) {
		report_number(r, d + 1, 0, number, sizeof number);
		snprintf(out, size, "%s\xc3\x97 %s", number, SAY(r, "nominal", "Nennwert"));
		return;
	}
	report_number(r, 100 * d, fabs(d) < 0.995 ? 1 : 0, number, sizeof number);
	snprintf(out, size, "%s%s" NBSP "%%", d > 0 && strspn(number, "0.,") != strlen(number) ? "+"
	         : "",
	         number);
}

/* To four figures, without the zeros that nobody wrote. */
static void limit_text(const struct report *r, double limit, const char *like, char *out, size_t size)
{
	report_like(r, limit, 4, like, out, size);
	size_t n = strcspn(out, NBSP), end = n;
	if (!memchr(out, r->german ? ',' : '.', n))
		return;
	while (end && out[end - 1] == '0')
		end--;
	end -= end && (out[end - 1] == '.' || out[end - 1] == ',');
	memmove(out + end, out + n, strlen(out + n) + 1);
}

void report_limits_text(const struct report *r, const struct report_entry *e, char *out,
                        size_t size)
{
	bool has_low, has_high;
	double low = 0, high = 0;
	char a[64], b[64];
	out[0] = '\0';
	if (!report_limits(e, &has_low, &low, &has_high, &high))
		return;
	limit_text(r, low, e->shown, a, sizeof a);
	limit_text(r, high, e->shown, b, sizeof b);
	if (has_low && has_high)
		snprintf(out, size, "%s %s %s", a, SAY(r, "to", "bis"), b);
	else
		snprintf(out, size, "%s %s", has_low ? SAY(r, "at least", "mindestens")
		                                     : SAY(r, "at most", "höchstens"), has_low ? a : b);
}

void report_time(const struct report *r, int64_t t, bool day, char *out, size_t size)
{
	char text[40] = "";
	if (r->style->local) {
		r->style->local(t, text);
	} else {
		struct text utc;
		char buffer[40];
		text_begin(&utc, buffer, sizeof buffer);
		text_time(&utc, t);
		if (!utc.failed)
			snprintf(text, sizeof text, "%.10s %.8s", buffer + 1, buffer + 12);
	}
	snprintf(out, size, "%.*s", day ? 10 : 16, text);
}

/* ---- words ---- */

const char *report_mark(enum report_word word)
{
	return word == REPORT_WITHIN ? "✓" : word == REPORT_UNSURE ? "?" : word == REPORT_OUTSIDE ? "✗" : "–";
}

const char *report_verdict(const struct report *r, enum report_word word)
{
	switch (word) {
	case REPORT_WITHIN: return SAY(r, "✓ within", "✓ innerhalb");
	case REPORT_UNSURE: return SAY(r, "? unsure", "? unsicher");
	case REPORT_OUTSIDE: return SAY(r, "✗ outside", "✗ außerhalb");
	default: return SAY(r, "– not judged", "– nicht beurteilt");
	}
}

const char *report_condition_word(const struct report *r, enum report_condition c)
{
	switch (c) {
	case REPORT_NEW: return SAY(r, "new", "neu");
	case REPORT_DONE: return SAY(r, "done", "fertig");
	default: return SAY(r, "found", "vorgefunden");
	}
}

const char *report_quantity_word(const struct report *r, enum quantity q)
{
	switch (q) {
	case QUANTITY_LEAKAGE: return SAY(r, "leakage", "Leckstrom");
	case QUANTITY_ESR: return SAY(r, "ESR", "ESR");
	case QUANTITY_DISSIPATION: return SAY(r, "dissipation", "Verlustfaktor");
	case QUANTITY_INSULATION: return SAY(r, "insulation", "Isolation");
	case QUANTITY_VOLTS: return SAY(r, "volts", "Spannung");
	default: return SAY(r, "value", "Wert");
	}
}

void report_quantities(const struct report *r, const char *text, char *out, size_t size)
{
	out[0] = '\0';
	while (*text) {
		size_t n = strcspn(text, " "), len = strlen(out);
		enum quantity q;
		if (quantity_from_name(text, n, &q))
			snprintf(out + len, size - len, "%s%s", len ? " " : "", report_quantity_word(r, q));
		else if (n == 2 && !strncmp(text, "or", 2))
			snprintf(out + len, size - len, " %s", SAY(r, "or", "oder"));
		else
			snprintf(out + len, size - len, "%s%.*s", len ? " " : "", (int)n, text);
		text += n;
		text += strspn(text, " ");
	}
}

static const struct {
	enum kind kind;
	const char *en, *de;
} kinds[] = {
	{KIND_RESISTOR, "resistor", "Widerstand"},
	{KIND_CARBON_COMPOSITION, "carbon composition resistor", "Kohlemasse-Widerstand"},
	{KIND_CARBON_FILM, "carbon film resistor", "Kohleschicht-Widerstand"},
	{KIND_METAL_FILM, "metal film resistor", "Metallschicht-Widerstand"},
	{KIND_WIREWOUND, "wirewound resistor", "Drahtwiderstand"},
	{KIND_POT, "potentiometer", "Potentiometer"},
	{KIND_ELECTROLYTIC, "electrolytic capacitor", "Elektrolytkondensator"},
	{KIND_PAPER, "paper capacitor", "Papierkondensator"},
	{KIND_FILM, "film capacitor", "Folienkondensator"},
	{KIND_CERAMIC, "ceramic capacitor", "Keramikkondensator"},
	{KIND_MICA, "mica capacitor", "Glimmerkondensator"},
	{KIND_CAPACITOR, "capacitor", "Kondensator"},
	{KIND_WINDING, "winding", "Wicklung"},
	{KIND_RECTIFIER, "rectifier", "Gleichrichter"},
	{KIND_VALVE, "valve", "Röhre"},
	{KIND_HEATER, "heater", "Heizfaden"},
	{KIND_SWITCH, "switch", "Schalter"},
	{KIND_FUSE, "fuse", "Sicherung"},
	{KIND_RAIL, "supply rail", "Versorgungsspannung"},
	{KIND_REFERENCE, "reference part", "Vergleichsnormal"},
};

const char *report_kind_word(const struct report *r, enum kind k)
{
	for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++)
		if (kinds[i].kind == k)
			return SAY(r, kinds[i].en, kinds[i].de);
	return "";
}

const char *report_test_word(const struct report *r, enum report_test t)
{
	switch (t) {
	case REPORT_EARTH: return SAY(r, "Earth bond (resistance of the protective earth)",
	                              "Schutzleiterwiderstand");
	case REPORT_INSULATION: return SAY(r, "Insulation of the mains side",
	                                   "Isolationswiderstand der Netzseite");
	default: return SAY(r, "Touch current", "Berührungsstrom");
	}
}

const char *report_test_lacks(const struct report *r, enum report_test t)
{
	switch (t) {
	case REPORT_EARTH: return SAY(r, "earth bond", "Schutzleiterwiderstand");
	case REPORT_INSULATION: return SAY(r, "insulation", "Isolationswiderstand");
	default: return SAY(r, "touch current", "Berührungsstrom");
	}
}

static const struct {
	const char *reason, *en, *de;
} reasons[] = {
	{"meter", "too near the limit for this meter", "zu nah an der Grenze für dieses Messgerät"},
	{"circuit", "measured in circuit: other paths count",
	 "in der Schaltung gemessen: andere Wege zählen mit"},
	{"moving", "the reading had not settled", "die Anzeige war noch nicht ruhig"},
	{"offset", "lead offset not taken", "Messleitungen nicht abgezogen"},
	{"other-value", "another value seems to be fitted", "offenbar ein anderer Wert eingebaut"},
	{"leakage", "leakage misleads the meter", "Leckstrom täuscht das Messgerät"},
	{"open", "open", "unterbrochen"},
	{"limits-of-meter", "the meter was not made for this", "dafür ist das Messgerät nicht gemacht"},
};

const char *report_reason(const struct report *r, const struct report_entry *e)
{
	char word[48];
	words_member(e->judged, "reason", word, sizeof word);
	for (size_t i = 0; i < sizeof reasons / sizeof reasons[0]; i++)
		if (strcmp(reasons[i].reason, word) == 0)
			return SAY(r, reasons[i].en, reasons[i].de);
	return "";
}

static const struct {
	const char *what, *en, *de;
} places[] = {
	{"coupling-corner", "coupling: lower corner frequency", "Kopplung: untere Grenzfrequenz"},
	{"grid-shift", "shift of the grid by leakage", "Verschiebung am Gitter durch Leckstrom"},
	{"leakage", "leakage current", "Leckstrom"},
	{"cathode-zero", "cathode bypass: lower corner", "Kathodenkondensator: untere Ecke"},
	{"cathode-pole", "cathode bypass: upper corner", "Kathodenkondensator: obere Ecke"},
	{"cathode-step", "cathode bypass: step in gain", "Kathodenkondensator: Stufe der Verstärkung"},
	{"unloaded", "volts without the meter's load", "Spannung ohne Last des Messgeräts"},
	{"shunt-dissipation", "dissipation seen through the circuit",
	 "Verlustfaktor durch die Schaltung"},
	{"as-chart", "volts as the old chart would read", "Spannung wie in der alten Tabelle"},
	{"cathode-current", "cathode current", "Kathodenstrom"},
	{"pair-difference", "difference within the pair", "Unterschied im Paar"},
	{"bias-drift", "drift of the bias", "Drift der Gittervorspannung"},
	{"dissipation", "dissipation", "Verlustleistung"},
	{"dissipation-percent", "dissipation, of its maximum", "Verlustleistung, vom Höchstwert"},
	{"power", "output power", "Ausgangsleistung"},
	{"hum", "hum and noise, below the output", "Brumm und Rauschen, unter dem Ausgang"},
	{"balance", "balance of the channels", "Balance der Kanäle"},
	{"output-impedance", "output impedance", "Ausgangswiderstand"},
	{"damping", "damping factor", "Dämpfungsfaktor"},
	{"ripple", "ripple (hum) of the rail", "Brummspannung der Versorgung"},
	{"discharge-5rc", "discharge, five time constants", "Entladung, fünf Zeitkonstanten"},
	{"discharge-to-60V", "discharge to 60 V", "Entladung bis 60 V"},
	{"leakage-limit-period", "leakage limit of its period", "Grenze des Leckstroms, damals"},
	{"leakage-limit-modern", "leakage limit of today", "Grenze des Leckstroms, heute"},
	{"heat", "heat by leakage", "Wärme durch Leckstrom"},
};

const char *report_place_word(const struct report *r, const char *what)
{
	for (size_t i = 0; i < sizeof places / sizeof places[0]; i++)
		if (strcmp(places[i].what, what) == 0)
			return SAY(r, places[i].en, places[i].de);
	return what;
}
