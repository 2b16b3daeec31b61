/* SPDX-License-Identifier: MIT */
/*
 * Numbers and values of a guided run's result in words: its record is JSON of a shape that each
 * kind of run chooses for itself, so what is not known here is still told, member by member.
 */
#include "client/report_guide_inside.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void report_guide_put(char *out, size_t size, const char *between, const char *text)
{
	size_t n = strlen(out);
	if (text[0] && n < size)
		snprintf(out + n, size - n, "%s%s", n ? between : "", text);
}

void report_guide_number(const struct report *r, double x, char *out, size_t size)
{
	snprintf(out, size, "%s%.4g", x < 0 ? "−" : "", fabs(x));
	for (char *p = out; r->german && *p; p++)
		if (*p == '.')
			*p = ',';
}

const char *report_guide_unit(const char *member)
{
	static const struct {
		const char *name, *unit;
	} units[] = {{"watts", "W"}, {"formed", "s"}, {"held", "s"}, {"soaked", "s"}, {"mains", "V"},
	             {"tap", "V"}, {"balance-dB", "dB"}, {"hum-dB", "dB"}, {"percent", "%"}};
	for (size_t i = 0; i < sizeof units / sizeof *units; i++)
		if (strcmp(units[i].name, member) == 0)
			return units[i].unit;
	return "";
}

void report_guide_member(const struct report *r, const char *member, double x, char *out,
                          size_t size)
{
	const char *unit = report_guide_unit(member);
	long long s = llround(x);
	if (strcmp(unit, "s") == 0) {
		snprintf(out, size, "%lld:%02lld:%02lld\xc2\xa0h", s / 3600, s / 60 % 60, s % 60);
	} else if (unit[0]) {
		/* Watts, decibels and percent are no units of a reading, so nobody else writes them. */
		bool milli = !strcmp(unit, "W") && fabs(x) < 1;
		report_guide_number(r, milli ? 1000 * x : x, out, size);
		report_guide_put(out, size, "\xc2\xa0", milli ? "mW" : unit);
	} else {
		report_guide_number(r, x, out, size);
	}
}

bool report_guide_measured(const struct report *r, struct slice s, char *out, size_t size)
{
	char unit[24], like[40], spread[64];
	double x, u;
	if (!s.at || *s.at != '{' || !json_number(json_member(s.at, s.len, "value"), &x))
		return false;
	words_member(s, "unit", unit, sizeof unit);
	bool known = json_number(json_member(s.at, s.len, "u"), &u) && u > 0;
	/* Of nothing, or of less than its uncertainty, that has the prefix: "0 ± 0.48 nA". */
	report_si(known && fabs(x) < 2 * u ? 2 * u : x, unit, like, sizeof like);
	report_like(r, x, 3, like, out, size);
	if (known) {
		report_like(r, 2 * u, 2, like, spread, sizeof spread);
		/* The unit once: both are written alike. */
		char *unit_at = strstr(out, "\xc2\xa0");
		if (unit_at)
			*unit_at = '\0';
		report_guide_put(out, size, " ± ", spread);
	}
	return true;
}

void report_guide_flat(const struct report *r, json_t *value, int depth, char *out, size_t size)
{
	const char *key;
	json_t *one;
	size_t i;
	char text[300], both[400];
	json_object_foreach(value, key, one) {
		char *flat = json_dumps(one, JSON_ENCODE_ANY | JSON_COMPACT);
		text[0] = '\0';
		if (json_is_number(one))
			report_guide_member(r, key, json_number_value(one), text, sizeof text);
		else if (flat)
			report_guide_value(r, (struct slice){flat, strlen(flat)}, depth + 1, text, sizeof text);
		free(flat);
		if (!text[0])
			continue; /* null, true and false: nothing for people */
		snprintf(both, sizeof both, "%s %s", WORD(r, MEMBER, key), text);
		report_guide_put(out, size, ", ", both);
	}
	json_array_foreach(value, i, one) {
		char *flat = json_dumps(one, JSON_ENCODE_ANY | JSON_COMPACT);
		text[0] = '\0';
		if (flat)
			report_guide_value(r, (struct slice){flat, strlen(flat)}, depth + 1, text, sizeof text);
		free(flat);
		report_guide_put(out, size, json_is_number(one) ? ", " : "; ", text);
	}
}

void report_guide_value(const struct report *r, struct slice s, int depth, char *out, size_t size)
{
	char text[300];
	double x;
	out[0] = '\0';
	if (report_guide_measured(r, s, out, size) || depth > 3)
		return;
	if (json_text(s, text, sizeof text)) {
		words_string(s, out, size);
		if (!strcmp(out, "within") || !strcmp(out, "outside") || !strcmp(out, "unsure"))
			snprintf(out, size, "%s", report_verdict(r, !strcmp(out, "within") ? REPORT_WITHIN
			         : !strcmp(out, "unsure") ? REPORT_UNSURE : REPORT_OUTSIDE));
		else
			snprintf(out, size, "%s", WORD(r, VALUE, out));
	} else if (json_number(s, &x)) {
		report_guide_number(r, x, out, size);
	} else if (s.at && (*s.at == '{' || *s.at == '[')) {
		json_t *value = json_loadb(s.at, s.len, 0, NULL);
		report_guide_flat(r, value, depth, out, size);
		json_decref(value);
	}
}
