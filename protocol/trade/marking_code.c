/* SPDX-License-Identifier: MIT */
/*
 * Letter codes, digit codes and old print (see marking.h).
 *
 *     text  = [volts | watts] number [unit | letter digits] tail
 *     tail  = see marking_tail.c; units and the letters of IEC 60062: marking_unit.c
 *
 * IEC 60062 for letters that stand for the point, tolerance letters and digit codes;
 * the letters of volts before a code (2A104J) from memory; old print is trade practice
 * from memory: a bare `.047` counts microfarads, a bare whole number picofarads, `mF`
 * and `M` mean micro where the part is old, `k` behind a number of a capacitor means
 * thousands of picofarads.
 */
#include "protocol/trade/marking_code_parts.h"

#include "protocol/trade/ascii.h"
#include "protocol/trade/preferred.h"

#include <stdio.h>
#include <string.h>

/* ---- readings ---- */

void code_add(struct scan *s, struct decimal value, enum function f, const struct tail *tail,
              const char *scheme)
{
	static const struct decimal most_farad = {2, 0};
	struct tail t = *tail;
	if (value.n <= 0 || (f == FUNCTION_FARAD && decimal_compare(value, most_farad) > 0) ||
	    value.e > 20 || value.e < -30)
		return;
	if (f == FUNCTION_FARAD && t.by_letter)
		tolerance_small_letter(t.letter, value, &t.tolerance);
	struct marking m = {.function = f, .value = value, .tolerance = t.tolerance,
	                    .has_rated = t.has_volts, .rated = t.volts,
	                    .has_watts = t.has_watts, .watts = t.watts};
	snprintf(m.scheme, sizeof m.scheme, "%s", scheme);
	if (t.track)
		snprintf(m.note, sizeof m.note, "%s", t.track);
	marking_add(s->out, &m);
}

bool in_series(struct decimal value)
{
	return series_contains(SERIES_E24, value);
}

/* Two or three figures and how many zeros. */
static bool code_value(const struct number *n, bool capacitor, struct decimal *out)
{
	int zeros = (int)(n->value.n % 10);
	if (n->point || n->zero_first || n->value.e != 0 || n->digits < 3 || n->digits > 4)
		return false;
	if (zeros >= 8 && !capacitor)
		return false;
	*out = (struct decimal){n->value.n / 10, zeros >= 8 ? zeros - 10 : zeros};
	return true;
}

static struct decimal scaled(struct decimal d, int e)
{
	d.e += e;
	return d;
}

/* A number without any unit, on a capacitor. */
static void bare_capacitor(struct scan *s, const struct number *n, const struct tail *t)
{
	static const char *const in_uf = "old print, in uF", *const in_pf = "old print, in pF";
	static const struct decimal hundred = {100, 0}, electrolytic_most = {475, 0};
	struct decimal code;
	bool low_volts = t->has_volts && decimal_compare(t->volts, hundred) <= 0;
	bool picofarads = t->by_letter && strchr("BCDG", t->letter);
	if (n->point) {
		bool below_one = decimal_compare(n->value, (struct decimal){1, 0}) < 0;
		if (!picofarads || below_one)
			code_add(s, scaled(n->value, -6), FUNCTION_FARAD, t, in_uf);
		if (!below_one && decimal_compare(n->value, hundred) < 0)
			code_add(s, scaled(n->value, -12), FUNCTION_FARAD, t, "printed, in pF");
		return;
	}
	if (n->zero_first)
		return;
	if (n->digits <= 2) {
		/* 8/450 is an electrolytic; beyond what those are made for it may be mica. */
		if (t->has_volts)
			code_add(s, scaled(n->value, -6), FUNCTION_FARAD, t, in_uf);
		if (!t->has_volts || decimal_compare(t->volts, electrolytic_most) > 0)
			code_add(s, scaled(n->value, -12), FUNCTION_FARAD, t, in_pf);
		return;
	}
	bool round = n->value.n % 10 == 0 || in_series(n->value);
	if (low_volts && round && n->digits <= 4)
		code_add(s, scaled(n->value, -6), FUNCTION_FARAD, t, in_uf);
	if (n->digits == 3 && code_value(n, true, &code))
		code_add(s, scaled(code, -12), FUNCTION_FARAD, t, "digit code, in pF");
	if (round || n->digits > 4)
		code_add(s, scaled(n->value, -12), FUNCTION_FARAD, t, in_pf);
	if (t->has_volts && !low_volts && n->digits == 3 && n->value.n % 10 == 0)
		code_add(s, scaled(n->value, -6), FUNCTION_FARAD, t, in_uf);
	if (n->digits == 4 && !t->has_volts && code_value(n, true, &code))
		code_add(s, scaled(code, -12), FUNCTION_FARAD, t, "digit code, in pF");
}

/* And on a resistor: K and M behind a number are then no tolerance, nor are the letters of the
 * closest ones. */
static void bare_resistor(struct scan *s, const struct number *n, const struct tail *t)
{
	struct decimal code;
	if (n->point || n->zero_first || (t->by_letter && strchr("AEKLMPW", t->letter)))
		return;
	if (code_value(n, false, &code))
		code_add(s, code, FUNCTION_OHM, t, "digit code");
	if (!t->by_letter && (n->digits < 3 || n->value.n % 10 == 0))
		code_add(s, n->value, FUNCTION_OHM, t, "printed in ohms");
}

static void bare_readings(struct scan *s, const struct number *n)
{
	struct tail capacitor, resistor;
	bool loose = n->point || n->digits == 3;
	/* What three figures mean on a capacitor is said first, except where they end
	 * in a zero: 470K is a resistor more often than 47 pF. */
	if (tail_read(s, n->end, FUNCTION_FARAD, loose, &capacitor))
		bare_capacitor(s, n, &capacitor);
	if (!s->has_volts && tail_read(s, n->end, FUNCTION_OHM, false, &resistor))
		bare_resistor(s, n, &resistor);
}

/* The letters for volts that stand before a digit code, 2A for 100 V: the digit is
 * the power of ten (from memory; the series R10 of preferred numbers).  The bytes to the code,
 * 0 where none is. */
static size_t volts_code(const char *text, struct decimal *volts)
{
	static const struct {
		char letter;
		int tenths;
	} letters[] = {{'A', 10}, {'C', 16}, {'D', 20}, {'E', 25}, {'V', 35}, {'G', 40},
	               {'W', 45}, {'H', 50}, {'J', 63}, {'K', 80}};
	if (text[0] < '0' || text[0] > '3' || !text[1])
		return 0;
	/* Three figures must follow, at once or behind a space. */
	size_t end = text[2] == ' ' ? 3 : 2;
	if (!ascii_digit(text[end]) || !ascii_digit(text[end + 1]) || !ascii_digit(text[end + 2]) ||
	    ascii_digit(text[end + 3]))
		return 0;
	for (size_t i = 0; i < sizeof letters / sizeof *letters; i++)
		if (letters[i].letter == text[1]) {
			*volts = decimal_strip((struct decimal){letters[i].tenths, text[0] - '0' - 1});
			return end;
		}
	return 0;
}

bool number_read(const struct plain *p, size_t at, struct number *n)
{
	memset(n, 0, sizeof *n);
	size_t i = at, figures = at;
	char copy[32];
	size_t len = 0;
	for (; i < p->len && len < sizeof copy - 1; i++) {
		char c = p->text[i];
		/* 0,1 as it is printed on the continent. */
		bool point = (c == '.' || c == ',') && !n->point && ascii_digit(p->text[i + 1]);
		if (!point && !ascii_digit(c))
			break;
		n->point = n->point || point;
		copy[len++] = point ? '.' : c;
		figures += !point;
	}
	n->digits = (int)(figures - at);
	n->zero_first = len > 1 && copy[0] == '0' && copy[1] != '.';
	n->end = i;
	return len > 0 && n->digits > 0 && decimal_read(copy, len, &n->value) == len &&
	       !(i < p->len && ascii_digit(p->text[i]));
}

/* "1/2 meg", "1/4M". */
static void fraction_of_meg(struct scan *s, size_t at)
{
	const char *text = s->p->text;
	if (text[at] != '1' || text[at + 1] != '/' || !text[at + 2] || !strchr("248", text[at + 2]))
		return;
	struct number n = {.digits = 1, .point = true, .end = at + 3};
	n.value = decimal_strip((struct decimal){1000 / (text[at + 2] - '0'), -3});
	unit_readings(s, &n);
}

/* 0R, 000, R00, 0 ohm: a piece of wire. */
static bool is_link(const char *text)
{
	size_t n = strspn(text, "0");
	if (text[n] == 'R')
		n += 1 + strspn(text + n + 1, "0");
	else if (n && (strncmp(text + n, "ohm", 3) == 0 || strncmp(text + n, " ohm", 4) == 0))
		n += text[n] == ' ' ? 4 : 3;
	return n > 0 && strchr(text, '0') && text[n] == '\0';
}

bool one_value(struct scan *s, size_t at)
{
	const char *text = s->p->text;
	struct number n;
	if (is_link(text + at)) {
		struct marking m = {.function = FUNCTION_OHM, .scheme = "a link"};
		marking_add(s->out, &m);
	} else if (ascii_letter(text[at])) {
		letter_first(s, at);
	} else if (!number_read(s->p, at, &n)) {
		scan_stopped(s, at, "a marking was expected, such as 4K7, 104, .047 or brown black yellow");
	} else if (n.value.n == 0) { /* 0R47, 0n47; a zero alone is none */
		if (n.digits == 1 && ascii_letter(text[n.end]) && ascii_digit(text[n.end + 1]))
			unit_readings(s, &n);
		else
			scan_stopped(s, at, "a value of zero is on no part but a link");
	} else {
		bool code_first = n.digits == 3 && !n.point && n.value.n % 10 != 0;
		pair_readings(s, at);
		if (code_first)
			bare_readings(s, &n);
		unit_readings(s, &n);
		fraction_of_meg(s, at);
		if (!code_first)
			bare_readings(s, &n);
	}
	return s->out->n > 0;
}

/* 600 V .05 mfd, 1/2 W 100K: the rating stands first. */
static bool rated_first(const struct scan *s, size_t at)
{
	struct tail t = {0};
	size_t behind = rating_at(s, at, false, &t);
	if (!behind || s->p->text[behind] != ' ')
		return false;
	struct scan rated = *s;
	rated.has_volts = t.has_volts;
	rated.volts = t.volts;
	rated.has_watts = t.has_watts;
	rated.watts = t.watts;
	while (s->p->text[behind] == ' ')
		behind++;
	return one_value(&rated, behind);
}

bool code_read(const struct plain *p, struct marking_list *out, struct fault *why)
{
	struct scan s = {.p = p, .out = out};
	size_t at = 0;
	while (p->text[at] == ' ')
		at++;
	if (at == 0 && sections_read(p, out))
		return true;
	struct scan rated = s;
	size_t code = volts_code(p->text + at, &rated.volts);
	rated.has_volts = code > 0;
	if ((code && one_value(&rated, at + code)) || one_value(&s, at) || rated_first(&s, at))
		return true;
	return plain_fail(why, p, s.far, s.far_why ? s.far_why : "no marking that is known looks so");
}
