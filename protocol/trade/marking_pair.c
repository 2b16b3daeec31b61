/* SPDX-License-Identifier: MIT */
/*
 * Two numbers that belong to one part (see marking_code_parts.h); trade practice, from memory:
 *
 *     3-30pF  4/20 mmf  2.5 to 6 pF     a trimmer: least and most
 *     25 25   8 450                     an electrolytic of old: microfarads, then volts
 *
 * A trimmer counts with its most, and its least stands as the tolerance below, so that any
 * setting between the two is within.
 */
#include "protocol/trade/marking_code_parts.h"

#include "protocol/trade/ascii.h"

#include <stdio.h>
#include <string.h>

static size_t spaces_at(const char *text, size_t at)
{
	while (text[at] == ' ')
		at++;
	return at;
}

/* "-", "/", "..", "..." or "to" between the two; the place behind it, 0 for none. */
static size_t until_at(const char *text, size_t at)
{
	at = spaces_at(text, at);
	if (text[at] == '-' || text[at] == '/')
		return spaces_at(text, at + 1);
	if (ascii_lower(text[at]) == 't' && ascii_lower(text[at + 1]) == 'o')
		return spaces_at(text, at + 2);
	size_t dots = strspn(text + at, ".");
	return dots == 2 || dots == 3 ? spaces_at(text, at + dots) : 0;
}

/* Trimmers are made in picofarads; "p" alone will do. */
static size_t picofarads_at(const char *text, size_t at)
{
	static const char *const words[] = {"mmfd", "uufd", "mmf", "uuf", "pfd", "pf", "p"};
	for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
		size_t n = 0;
		while (words[i][n] && ascii_lower(text[at + n]) == words[i][n])
			n++;
		if (!words[i][n] && !ascii_letter(text[at + n]) && !ascii_digit(text[at + n]))
			return at + n + (text[at + n] == '.' && !ascii_digit(text[at + n + 1]));
	}
	return 0;
}

/* "3-30pF": number_read takes the first point of "3..30" for none of its own. */
static void trimmer(struct scan *s, size_t at)
{
	const char *text = s->p->text;
	struct number least, most;
	struct tail t;
	size_t next;
	if (!number_read(s->p, at, &least))
		return;
	size_t unit = picofarads_at(text, spaces_at(text, least.end)); /* 3pF-30pF */
	next = until_at(text, unit ? unit : least.end);
	if (!next || !number_read(s->p, next, &most) || least.zero_first || most.zero_first)
		return;
	next = picofarads_at(text, spaces_at(text, most.end));
	if (!next || least.value.n <= 0 || decimal_compare(least.value, most.value) >= 0 ||
	    !tail_read(s, next, FUNCTION_FARAD, false, &t) || t.has_tolerance)
		return;
	t.has_tolerance = true;
	t.tolerance = (struct tolerance){.form = TOLERANCE_ABSOLUTE, .high = {0, 0}};
	if (!decimal_subtract(least.value, most.value, &t.tolerance.low))
		return;
	t.tolerance.low.e -= 12;
	most.value.e -= 12;
	code_add(s, most.value, FUNCTION_FARAD, &t, "trimmer, least to most");
}

/* Volts that electrolytics are rated for. */
static bool electrolytic_volts(struct decimal d)
{
	static const int volts[] = {3,   6,   10,  12,  15,  16,  25,  30,  35,  40,  50,  63,  64,
	                            70,  75,  80,  100, 150, 160, 200, 250, 275, 300, 350, 375, 385,
	                            400, 450, 475, 500, 525, 550, 600};
	for (size_t i = 0; i < sizeof volts / sizeof *volts; i++)
		if (decimal_compare(d, (struct decimal){volts[i], 0}) == 0)
			return true;
	return false;
}

/* "25 25" and nothing behind it.  Three figures that end in no zero are a digit code. */
static void two_numbers(struct scan *s, size_t at)
{
	struct number farads, volts;
	struct tail t = {0};
	if (!number_read(s->p, at, &farads) || s->p->text[farads.end] != ' ' || farads.point ||
	    farads.zero_first || farads.value.n == 0 || farads.digits > 4 ||
	    (farads.digits > 2 && farads.value.n % 10 != 0))
		return;
	if (!number_read(s->p, spaces_at(s->p->text, farads.end), &volts) || volts.point ||
	    volts.zero_first || s->p->text[spaces_at(s->p->text, volts.end)] ||
	    !electrolytic_volts(volts.value))
		return;
	t.has_volts = true;
	t.volts = decimal_strip(volts.value);
	farads.value.e -= 6;
	code_add(s, farads.value, FUNCTION_FARAD, &t, "old print, in uF and volts");
}

void pair_readings(struct scan *s, size_t at)
{
	trimmer(s, at);
	if (!s->has_volts && !s->has_watts)
		two_numbers(s, at);
}
