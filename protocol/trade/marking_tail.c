/* SPDX-License-Identifier: MIT */
/*
 * What stands behind (or before) the value of a printed marking: see marking_code_parts.h.
 *
 *     tail  = tolerance letter | percent | volts | watts | track of a pot, in any order
 *
 * Tolerance letters: IEC 60062.  The rest is trade practice, from memory.
 */
#include "protocol/trade/marking_code_parts.h"

#include "protocol/trade/ascii.h"

#include <string.h>

void scan_stopped(struct scan *s, size_t at, const char *why)
{
	if (at >= s->far || !s->far_why) {
		s->far = at;
		s->far_why = why;
	}
}

/* "V", "VDC", "v.d.c.", "WV", "VW", "volts", "V~", "V=", "V-" at the end. */
size_t volts_word(const char *text)
{
	size_t n = 0;
	while (ascii_letter(text[n]) || text[n] == '.')
		n++;
	char word[16];
	size_t len = 0;
	for (size_t i = 0; i < n && len < sizeof word - 1; i++)
		if (text[i] != '.')
			word[len++] = ascii_lower(text[i]);
	word[len] = '\0';
	static const char *const known[] = {"v",   "vdc", "vac", "wv",  "vw",    "wvdc", "vdcw",
	                                    "vwdc", "volt", "volts", "vwkg", "dcv", "dcwv"};
	for (size_t i = 0; i < sizeof known / sizeof *known; i++)
		if (strcmp(word, known[i]) == 0)
			return n + (text[n] == '~' || text[n] == '=' ||
			            (text[n] == '-' && (!text[n + 1] || text[n + 1] == ' ')));
	return 0;
}

/* "D.C.", "wkg", "working", "peak", "~" behind volts. */
static size_t volts_more(const char *text)
{
	static const char *const known[] = {"working", "wkg.", "wkg", "work", "peak", "test",
	                                    "d.c.w.", "d.c.",  "a.c.", "dcw",  "dc",   "ac",  "~", "="};
	for (size_t i = 0; i < sizeof known / sizeof *known; i++) {
		size_t n = 0;
		while (known[i][n] && ascii_lower(text[n]) == known[i][n])
			n++;
		if (!known[i][n] && !ascii_letter(text[n]))
			return n;
	}
	return 0;
}

/* A number at `at`, with a point or a comma; its length. */
static size_t number_at(const char *text, size_t at, struct decimal *out)
{
	char copy[32];
	size_t n = 0;
	bool point = false;
	while (n < sizeof copy - 1 &&
	       (ascii_digit(text[at + n]) ||
	        (!point && (text[at + n] == '.' || text[at + n] == ',') && ascii_digit(text[at + n + 1])))) {
		point = point || !ascii_digit(text[at + n]);
		copy[n] = ascii_digit(text[at + n]) ? text[at + n] : '.';
		n++;
	}
	if (n == 0 || decimal_read(copy, n, out) != n)
		return 0;
	return n;
}

static bool rating_possible(struct decimal volts)
{
	static const struct decimal low = {1, 0}, high = {50000, 0};
	return decimal_compare(volts, low) >= 0 && decimal_compare(volts, high) <= 0;
}

size_t rating_at(const struct scan *s, size_t at, bool bare, struct tail *t)
{
	const char *text = s->p->text;
	struct decimal d;
	size_t n = number_at(text, at, &d);
	if (n == 0)
		return 0;
	at += n;
	if (text[at] == '/' && d.n == 1 && d.e == 0 && strchr("248", text[at + 1]) && text[at + 1]) {
		d = decimal_strip((struct decimal){1000 / (text[at + 1] - '0'), -3});
		at += 2;
		n = 0; /* then only watts */
	}
	size_t behind = at;
	while (text[behind] == ' ')
		behind++;
	if (ascii_lower(text[behind]) == 'w' && !ascii_letter(text[behind + 1]) && text[behind + 1] != '.') {
		if (t->has_watts)
			return 0;
		t->has_watts = true;
		t->watts = d;
		return behind + 1;
	}
	if (n == 0 || t->has_volts)
		return 0;
	bool kilo = ascii_lower(text[behind]) == 'k' && volts_word(text + behind + 1);
	size_t word = volts_word(text + behind + kilo);
	if (kilo)
		d.e += 3;
	if (word) {
		at = behind + kilo + word;
	} else if (text[at] == '=' || text[at] == '~' || (text[at] == '-' && !text[at + 1])) {
		at++; /* 630= and 630- for direct volts */
	} else if (!bare) {
		return 0;
	}
	if (!rating_possible(d))
		return 0;
	t->has_volts = true;
	t->volts = decimal_strip(d);
	for (size_t more = 1; more;) {
		size_t next = at;
		while (text[next] == ' ')
			next++;
		more = volts_more(text + next);
		at = more ? next + more : at;
	}
	return at;
}

/* A tolerance in percent, or absolute with its sign; the place behind it. */
static size_t tolerance_at(const struct scan *s, size_t at, enum function f, struct tail *t)
{
	const char *text = s->p->text;
	size_t end = at;
	struct fault why;
	while (text[end] && strchr("+-/., 0123456789", text[end]))
		end++;
	if (end == at || t->has_tolerance)
		return 0;
	if (text[end] == '%') {
		end++;
	} else if (text[at] == '+' || text[at] == '-') {
		while (text[end] && text[end] != ' ')
			end++;
	} else {
		return 0;
	}
	struct tolerance got;
	/* -20 +80 % as it is printed has its two signs; 20 % without is both. */
	if (!tolerance_parse(text + at, end - at, f, &got, &why) || got.form == TOLERANCE_NONE ||
	    got.form == TOLERANCE_AT_LEAST || got.form == TOLERANCE_AT_MOST)
		return 0;
	t->has_tolerance = true;
	t->tolerance = got;
	return end;
}

/* A tolerance letter that no other letter touches. */
static size_t letter_at(const struct scan *s, size_t at, enum function f, struct tail *t)
{
	const char *text = s->p->text;
	struct fault why;
	/* The closest ones are on resistors only: P and L are units of other parts. */
	const char *letters = f == FUNCTION_OHM ? "ABCDEFGHJKLMNPW" : "BCDFGHJKMNQTSZ";
	if (t->has_tolerance || !text[at] || !strchr(letters, text[at]) ||
	    ascii_letter(text[at + 1]))
		return 0;
	if (!tolerance_parse(text + at, 1, f, &t->tolerance, &why))
		return 0;
	t->has_tolerance = t->by_letter = true;
	t->letter = text[at];
	return at + 1;
}

/* "log", "lin", "audio" of a pot; the place behind it, 0 for none. */
static size_t track_at(const struct scan *s, size_t at, enum function f, struct tail *t)
{
	static const struct {
		const char *word, *note;
	} tracks[] = {
	    {"logarithmic", "logarithmic track"}, {"log", "logarithmic track"},
	    {"linear", "linear track"},           {"lin", "linear track"},
	    {"audio", "logarithmic track"},
	};
	for (size_t i = 0; i < sizeof tracks / sizeof *tracks && f == FUNCTION_OHM; i++) {
		size_t n = 0;
		while (tracks[i].word[n] && ascii_lower(s->p->text[at + n]) == tracks[i].word[n])
			n++;
		if (tracks[i].word[n] || ascii_letter(s->p->text[at + n]))
			continue;
		t->track = tracks[i].note;
		return at + n;
	}
	return 0;
}

/* Volts that nothing but a space sets apart, as on the second line of a print: no less than
 * 50, and round, so that a slip is none. */
static bool round_volts(const char *text, size_t at)
{
	struct decimal d;
	size_t n = number_at(text, at, &d);
	return n > 0 && d.e >= 0 && d.n >= 50 && d.n % 10 == 0 &&
	       (!text[at + n] || text[at + n] == ' ');
}

bool tail_read(struct scan *s, size_t at, enum function f, bool loose, struct tail *t)
{
	const char *text = s->p->text;
	bool bare = false;
	memset(t, 0, sizeof *t);
	t->has_volts = s->has_volts;
	t->volts = s->volts;
	t->has_watts = s->has_watts;
	t->watts = s->watts;
	while (at < s->p->len) {
		size_t next;
		if (text[at] == ' ' || text[at] == ',' || text[at] == ';' || text[at] == '(' ||
		    text[at] == ')' || (text[at] == '.' && !ascii_digit(text[at + 1]))) {
			at++;
			bare = bare || (loose && round_volts(text, at));
			continue;
		}
		if ((next = letter_at(s, at, f, t)) != 0) {
			bare = loose;
		} else if ((next = tolerance_at(s, at, f, t)) != 0 ||
		           (next = rating_at(s, at, bare, t)) != 0) {
			bare = false;
		} else if ((next = track_at(s, at, f, t)) != 0) {
			bare = false;
		} else if ((text[at] == '/' || text[at] == '-' || text[at] == 'x' || text[at] == '@') &&
		           ascii_digit(text[at + 1])) {
			next = at + 1;
			bare = true;
		} else {
			scan_stopped(s, at, "this is no tolerance, rating or unit that is known here");
			return false;
		}
		at = next;
	}
	if (f == FUNCTION_OHM ? t->has_volts : t->has_watts) {
		scan_stopped(s, s->p->len, f == FUNCTION_OHM ? "no resistor is marked with volts"
		                                             : "no capacitor is marked with watts");
		return false;
	}
	return true;
}
