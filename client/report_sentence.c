/* SPDX-License-Identifier: MIT */
/*
 * What is put together of words and numbers for the report: what a part is, what an entry says.
 */
#include "client/report.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define NBSP "\xc2\xa0"

static void join(char *out, size_t size, const char *between, const char *text)
{
	size_t n = strlen(out);
	if (text[0] && n < size)
		snprintf(out + n, size - n, "%s%s", n ? between : "", text);
}

/* "10%" is "10 %", "-20/+50%" has a true minus, "+-2 V" and "<=0.2 ohm" the signs of print, and a
 * bare "2M" of a one-sided limit the unit of its place. */
static void tolerance_text(const struct report *r, const struct report_position *p,
                           const char *written, char *out, size_t size)
{
	static const char *const signs[][2] = {{"+-", "±"}, {"<=", "≤" NBSP}, {">=", "≥" NBSP}};
	const char *sign = "", *at = written;
	char value[96];
	size_t n = 0;
	for (size_t i = 0; i < sizeof signs / sizeof signs[0]; i++)
		if (strncmp(written, signs[i][0], 2) == 0) {
			sign = signs[i][1];
			at = written + 2 + strspn(written + 2, " ");
		}
	struct decimal d;
	struct fault why;
	enum function f = p->function;
	/* Of a place whose unit the sheet does not say, what was measured there does. */
	for (int i = 0; f == FUNCTION_NONE && i < r->entries; i++)
		if (!r->entry[i].struck.at && !strcmp(r->entry[i].position, p->name) &&
		    r->entry[i].quantity == QUANTITY_VALUE)
			f = r->entry[i].function;
	if (sign[0] && !strchr(at, '%') && quantity_parse(at, strlen(at), f, &d, &f, &why) &&
	    f != FUNCTION_NONE) {
		bound_shown(d, f, value, sizeof value);
		char text[96];
		report_value(r, value, text, sizeof text);
		snprintf(out, size, "%s%s", sign, text);
		return;
	}
	n = (size_t)snprintf(out, size, "%s", sign);
	for (; *at && n + 4 < size; at++) {
		if (*at == '-') {
			memcpy(out + n, "\xe2\x88\x92", 3);
			n += 3;
		} else if (*at == '%' && n && isdigit((unsigned char)out[n - 1])) {
			memcpy(out + n, NBSP "%", 3);
			n += 3;
		} else {
			out[n++] = *at == '.' && r->german ? ',' : *at;
		}
	}
	out[n] = '\0';
}

static const struct {
	const char *role, *de;
} roles[] = {
	{"anode", "Anode"}, {"anode load", "Anodenwiderstand"}, {"plate load", "Anodenwiderstand"},
	{"balance", "Symmetrierung"}, {"bias", "Gittervorspannung"}, {"bleeder", "Entladewiderstand"},
	{"cathode", "Kathode"}, {"cathode bypass", "Kathodenkondensator"}, {"coupling", "Koppelkondensator"},
	{"decoupling", "Siebung"}, {"earth bond", "Schutzleiter"}, {"feedback", "Gegenkopplung"},
	{"grid leak", "Gitterableitung"}, {"grid stopper", "Gittervorwiderstand"}, {"heater", "Heizung"},
	{"hum", "Brumm"}, {"load", "Last"}, {"mains insulation", "Netzisolation"}, {"output", "Ausgang"},
	{"protective earth", "Schutzleiter"}, {"reservoir", "Ladekondensator"}, {"ripple", "Brummspannung"},
	{"screen", "Schirmgitter"}, {"sense", "Messwiderstand"}, {"smoothing", "Siebung"},
	{"tone", "Klangregler"}, {"touch current", "Berührungsstrom"}, {"volume", "Lautstärke"},
	{"left", "links"}, {"right", "rechts"},
};

static const char *in_german(const struct report *r, const char *word)
{
	for (size_t i = 0; r->german && i < sizeof roles / sizeof roles[0]; i++)
		if (strcmp(roles[i].role, word) == 0)
			return roles[i].de;
	return word;
}

void report_role(const struct report *r, const struct report_position *p, char *out, size_t size)
{
	snprintf(out, size, "%s%s%s", in_german(r, p->role), p->role[0] && p->channel[0] ? ", " : "",
	         in_german(r, p->channel));
}

void report_where(const struct report *r, const char *name, char *out, size_t size)
{
	const struct report_position *p = report_position(r, name);
	struct report_position channel = {.name = ""};
	char word[32] = "";
	if (p) {
		snprintf(channel.channel, sizeof channel.channel, "%s", p->channel);
		report_role(r, &channel, word, sizeof word);
	}
	snprintf(out, size, "%s%s%s", word, word[0] ? ", " : "", name);
}

/* "400 V": a rating is a number with its unit, or what somebody wrote. */
static void rated_text(const struct report *r, const char *written, char *out, size_t size)
{
	struct decimal d;
	struct fault why;
	enum function f = FUNCTION_VOLT_DC;
	char value[96];
	if (quantity_parse(written, strlen(written), FUNCTION_VOLT_DC, &d, &f, &why) && f == FUNCTION_VOLT_DC) {
		quantity_shown(d, f, quantity_prefix(d, f), value, sizeof value);
		report_value(r, value, out, size);
	} else {
		snprintf(out, size, "%s", written);
	}
}

static void nominal_text(const struct report *r, const struct report_position *p, double nominal,
                         char *out, size_t size)
{
	char shown[80];
	struct decimal d = decimal_strip(decimal_from_double(nominal, 6));
	quantity_shown(d, p->function, quantity_prefix(d, p->function), shown, sizeof shown);
	report_value(r, shown, out, size);
}

void report_what(const struct report *r, const struct report_position *p, char *out, size_t size)
{
	char text[160], written[80];
	double nominal;
	out[0] = '\0';
	join(out, size, ", ", report_kind_word(r, p->kind));
	if (json_number(json_member(p->row.at, p->row.len, "nominal"), &nominal)) {
		nominal_text(r, p, nominal, text, sizeof text);
		join(out, size, ", ", text);
	}
	words_member(p->row, "written.tolerance", written, sizeof written);
	tolerance_text(r, p, written, text, sizeof text);
	if (text[0]) /* one-sided: it is not of the nominal */
		join(out, size, !out[0] ? "" : strchr("<>", written[0]) ? ", " : " ", text);
	words_member(p->row, "written.rated", written, sizeof written);
	rated_text(r, written, text, sizeof text);
	join(out, size, ", ", text);
	report_role(r, p, text, sizeof text);
	join(out, size, "\n", text);
	words_member(p->row, "part", text, sizeof text);
	if (text[0]) {
		join(out, size, "\n", SAY(r, "part", "Teil"));
		join(out, size, " ", text);
	}
}

void report_fit_text(const struct report *r, const struct report_position *p, char *out, size_t size)
{
	char text[200], written[200];
	double nominal;
	enum kind kind;
	out[0] = '\0';
	words_member(p->fit, "written.kind", written, sizeof written);
	if (written[0])
		join(out, size, ", ", kind_from_name(written, strlen(written), &kind) && report_kind_word(r, kind)[0]
		     ? report_kind_word(r, kind) : written);
	words_member(p->fit, "written.nominal", written, sizeof written);
	if (written[0] && json_number(json_member(p->fit.at, p->fit.len, "nominal"), &nominal)) {
		nominal_text(r, p, nominal, text, sizeof text);
		join(out, size, ", ", text);
	} else {
		join(out, size, ", ", written);
	}
	words_member(p->fit, "written.tolerance", written, sizeof written);
	tolerance_text(r, p, written, text, sizeof text);
	join(out, size, out[0] ? " " : "", text);
	words_member(p->fit, "written.rated", written, sizeof written);
	rated_text(r, written, text, sizeof text);
	join(out, size, ", ", text);
	words_member(p->fit, "written.note", written, sizeof written);
	join(out, size, ", ", written);
}

/* What the meter sent beside the value: "ESR 1.2 ohm at 100 Hz". */
static void second_text(const struct report *r, const struct report_entry *e, char *out, size_t size)
{
	struct slice second = json_member(e->record.at, e->record.len, "second");
	char is[32], word[32], value[64], like[32], at[64] = "";
	double x, hertz;
	enum function f;
	enum quantity q;
	out[0] = '\0';
	if (e->hertz > 0) {
		char number[48];
		report_hertz_text(r, e->hertz, number, sizeof number);
		snprintf(out, size, SAY(r, "at %s", "bei %s"), number);
		return;
	}
	if (!second.at || *second.at != '{' ||
	    !json_number(json_member(second.at, second.len, "value"), &x))
		return;
	words_member(second, "is", is, sizeof is);
	words_member(second, "function", word, sizeof word);
	if (!function_from_name(word, strlen(word), &f))
		f = FUNCTION_NONE;
	snprintf(like, sizeof like, "1%s%s", function_unit(f)[0] ? " " : "", function_unit(f));
	report_like(r, x, 3, like, value, sizeof value);
	if (json_number(json_member(e->record.at, e->record.len, "frequency"), &hertz)) {
		char number[48];
		report_hertz_text(r, hertz, number, sizeof number);
		snprintf(at, sizeof at, SAY(r, " at %s", " bei %s"), number);
	}
	snprintf(out, size, "%s %s%s%s%s",
	         quantity_from_name(is, strlen(is), &q) ? report_quantity_word(r, q) : is, value, at,
	         e->second != REPORT_NONE ? ", " : "",
	         e->second != REPORT_NONE ? report_verdict(r, e->second) : "");
}

static void odd_things(const struct report *r, const struct report_entry *e, char *out, size_t size)
{
	char text[160], shown[80];
	double other;
	out[0] = '\0';
	if (e->word != REPORT_WITHIN || words_member_is(e->judged, "reason", "leakage"))
		join(out, size, "; ", report_reason(r, e));
	if (!out[0] && e->word == REPORT_OUTSIDE)
		join(out, size, "; ", report_why(r, e));
	if (json_number(json_member(e->judged.at, e->judged.len, "other"), &other)) {
		report_like(r, other, 3, e->shown, shown, sizeof shown);
		snprintf(text, sizeof text, SAY(r, "like %s", "wie %s"), shown);
		join(out, size, ": ", text);
	}
	second_text(r, e, text, sizeof text);
	join(out, size, "; ", text);
	if (e->service != REPORT_NONE && e->service != e->word) {
		snprintf(text, sizeof text, "%s %s", SAY(r, "for its place", "für diesen Platz"),
		         report_verdict(r, e->service));
		join(out, size, "; ", text);
	}
	if (e->typed)
		join(out, size, "; ", SAY(r, "⌨ typed by hand", "⌨ von Hand eingegeben"));
	if (!json_bool(json_member(e->record.at, e->record.len, "settled"), true))
		join(out, size, "; ", SAY(r, "taken by key", "von Hand ausgelöst"));
}

/* Places behind the point of "131.20 kohm"; -1 where it is no number. */
static int places_of(const char *shown)
{
	size_t n = strcspn(shown, " ");
	const char *point = memchr(shown, '.', n);
	return strspn(shown, "+-.0123456789") < n || !n ? -1 : point ? (int)(shown + n - point - 1) : 0;
}

void report_spread(const struct report *r, double U, const char *shown, char *out, size_t size)
{
	struct style plain = {.plain = true};
	struct decimal two;
	char text[WORDS_SIZE], number[64];
	int places = places_of(shown);
	words_like(&plain, U, 2, shown, text, sizeof text);
	size_t n = strcspn(text, " ");
	report_value(r, text, out, size);
	if (places < 0 || places_of(text) <= places || !decimal_parse(text, n, &two))
		return;
	double x = decimal_double(two), step = pow(10, -places), up = step * ceil(x / step - 1e-9);
	if (up > 1.25 * x)
		return;
	report_number(r, up, places, number, sizeof number);
	const char *unit = strstr(out, NBSP);
	char tail[64];
	snprintf(tail, sizeof tail, "%.60s", unit ? unit : "");
	snprintf(out, size, "%s%s", number, tail);
}

void report_entry_text(const struct report *r, const struct report_entry *e, char *out, size_t size)
{
	char value[96], spread[96] = "", text[400], deviation[96];
	double above;
	report_value(r, e->shown, value, sizeof value);
	if (e->overload && json_number(json_member(e->record.at, e->record.len, "above"), &above)) {
		report_like(r, above, 3, e->shown, spread, sizeof spread);
		snprintf(value, sizeof value, "> %.60s", spread);
	} else if (e->overload) {
		snprintf(value, sizeof value, "%s", SAY(r, "overload", "Überlauf"));
	} else if (e->has_value && e->u > 0) {
		report_spread(r, 2 * e->u, e->shown, spread, sizeof spread);
		/* The unit once, where it is the same. */
		char *unit = strstr(value, NBSP), *same = strstr(spread, NBSP);
		if (unit && same && strcmp(unit, same) == 0) {
			char tail[64];
			snprintf(tail, sizeof tail, "%.40s", unit);
			*unit = *same = '\0';
			snprintf(text, sizeof text, "%s ± %s%s", value, spread, tail);
		} else {
			snprintf(text, sizeof text, "%s ± %s", value, spread);
		}
		snprintf(value, sizeof value, "%.95s", text);
	}
	report_deviation(r, e, deviation, sizeof deviation);
	snprintf(out, size, "%s\n%s%s%s", value, deviation, deviation[0] ? ", " : "",
	         report_verdict(r, e->word));
	odd_things(r, e, text, sizeof text);
	join(out, size, "\n", text);
}
