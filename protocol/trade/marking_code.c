/* SPDX-License-Identifier: MIT */
/*
 * Letter codes, digit codes and old print (see marking.h).
 *
 *     text  = [volts] number [unit | letter digits] tail
 *     tail  = tolerance letter | percent | volts | watts, in any order
 *
 * IEC 60062 for letters that stand for the point, tolerance letters and digit codes;
 * the letters of volts before a code (2A104J) from memory; old print is trade practice
 * from memory: a bare `.047` counts microfarads, a bare whole number picofarads, `mF`
 * and `M` mean micro where the part is old, `k` behind a number of a capacitor means
 * thousands of picofarads.
 */
#include "protocol/trade/marking_parts.h"

#include "protocol/trade/ascii.h"
#include "protocol/trade/preferred.h"

#include <stdio.h>
#include <string.h>

/* What stands behind a value. */
struct tail {
	bool has_tolerance, by_letter;
	char letter;
	struct tolerance tolerance;
	bool has_volts, has_watts;
	struct decimal volts, watts;
};

struct scan {
	const struct plain *p;
	struct marking_list *out;
	size_t far;              /* how far any reading came, and what stopped it there */
	const char *far_why;
	bool has_volts;          /* said before the number */
	struct decimal volts;
};

static void stopped(struct scan *s, size_t at, const char *why)
{
	if (at >= s->far || !s->far_why) {
		s->far = at;
		s->far_why = why;
	}
}

/* ---- the tail ---- */

/* "V", "VDC", "v.d.c.", "WV", "VW", "volts", "V~", "V=": bytes of it, 0 for none. */
static size_t volts_word(const char *text)
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
			return n + (text[n] == '~' || text[n] == '=');
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

/* Volts or watts at `at`; the place behind them, 0 where none stand there.  `bare`:
 * a number alone is volts, since a slash or dash stood before it. */
static size_t rating_at(const struct scan *s, size_t at, bool bare, struct tail *t)
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
	if (t->has_tolerance || !text[at] || !strchr("BCDFGHJKMNQTSZ", text[at]) ||
	    ascii_letter(text[at + 1]))
		return 0;
	if (!tolerance_parse(text + at, 1, f, &t->tolerance, &why))
		return 0;
	t->has_tolerance = t->by_letter = true;
	t->letter = text[at];
	return at + 1;
}

/* Everything behind a value.  `code`: volts may stand right behind the letter. */
static bool tail_read(struct scan *s, size_t at, enum function f, bool code, struct tail *t)
{
	const char *text = s->p->text;
	bool bare = false;
	memset(t, 0, sizeof *t);
	t->has_volts = s->has_volts;
	t->volts = s->volts;
	while (at < s->p->len) {
		size_t next;
		if (text[at] == ' ' || text[at] == ',' || text[at] == ';' || text[at] == '(' ||
		    text[at] == ')' || (text[at] == '.' && !ascii_digit(text[at + 1]))) {
			at++;
			continue;
		}
		if ((next = letter_at(s, at, f, t)) != 0) {
			bare = code;
		} else if ((next = tolerance_at(s, at, f, t)) != 0 ||
		           (next = rating_at(s, at, bare, t)) != 0) {
			bare = false;
		} else if ((text[at] == '/' || text[at] == '-' || text[at] == 'x' || text[at] == '@') &&
		           ascii_digit(text[at + 1])) {
			next = at + 1;
			bare = true;
		} else {
			stopped(s, at, "this is no tolerance, rating or unit that is known here");
			return false;
		}
		at = next;
	}
	if (f == FUNCTION_OHM ? t->has_volts : t->has_watts) {
		stopped(s, s->p->len, f == FUNCTION_OHM ? "no resistor is marked with volts"
		                                        : "no capacitor is marked with watts");
		return false;
	}
	return true;
}

/* ---- readings ---- */

/* IEC 60062 4.3: below 10 pF the letter counts picofarads (F and G from memory). */
static void small_tolerance(struct tail *t, struct decimal value)
{
	static const struct decimal ten = {10, -12};
	static const struct {
		char letter;
		int hundredths;
	} small[] = {{'B', 10}, {'C', 25}, {'D', 50}, {'F', 100}, {'G', 200}};
	if (!t->by_letter || decimal_compare(value, ten) >= 0)
		return;
	for (size_t i = 0; i < sizeof small / sizeof *small; i++)
		if (small[i].letter == t->letter) {
			struct decimal half = decimal_strip((struct decimal){small[i].hundredths, -14});
			t->tolerance = (struct tolerance){TOLERANCE_ABSOLUTE, {-half.n, half.e}, half};
		}
}

static void add(struct scan *s, struct decimal value, enum function f, const struct tail *tail,
                const char *scheme)
{
	static const struct decimal most_farad = {2, 0};
	struct tail t = *tail;
	if (value.n <= 0 || (f == FUNCTION_FARAD && decimal_compare(value, most_farad) > 0) ||
	    value.e > 20 || value.e < -30)
		return;
	if (f == FUNCTION_FARAD)
		small_tolerance(&t, value);
	struct marking m = {.function = f, .value = value, .tolerance = t.tolerance,
	                    .has_rated = t.has_volts, .rated = t.volts,
	                    .has_watts = t.has_watts, .watts = t.watts};
	snprintf(m.scheme, sizeof m.scheme, "%s", scheme);
	marking_add(s->out, &m);
}

/* Units as they are printed.  `exact`: the case counts.  `point`: it may stand in
 * the place of the point.  `old`: only where the marking is old, see unit_fits. */
static const struct unit {
	const char *word;
	bool exact, point, old;
	enum function f;
	int e;
	const char *scheme;
} units[] = {
    {"megohms", false, false, false, FUNCTION_OHM, 6, "printed"},
    {"megohm", false, false, false, FUNCTION_OHM, 6, "printed"},
    {"meg ohms", false, false, false, FUNCTION_OHM, 6, "printed"},
    {"meg ohm", false, false, false, FUNCTION_OHM, 6, "printed"},
    {"megs", false, false, false, FUNCTION_OHM, 6, "printed"},
    {"meg", false, false, false, FUNCTION_OHM, 6, "printed"},
    {"Mohms", true, false, false, FUNCTION_OHM, 6, "printed"},
    {"Mohm", true, false, false, FUNCTION_OHM, 6, "printed"},
    {"kohms", false, false, false, FUNCTION_OHM, 3, "printed"},
    {"kohm", false, false, false, FUNCTION_OHM, 3, "printed"},
    {"k ohms", false, false, false, FUNCTION_OHM, 3, "printed"},
    {"k ohm", false, false, false, FUNCTION_OHM, 3, "printed"},
    {"ohms", false, false, false, FUNCTION_OHM, 0, "printed"},
    {"ohm", false, false, false, FUNCTION_OHM, 0, "printed"},
    {"R", false, true, false, FUNCTION_OHM, 0, "letter code"},
    {"E", true, true, false, FUNCTION_OHM, 0, "letter code, E for ohms"},
    {"K", false, true, false, FUNCTION_OHM, 3, "letter code"},
    {"M", true, true, false, FUNCTION_OHM, 6, "letter code"},
    {"G", true, true, false, FUNCTION_OHM, 9, "letter code"},
    {"T", true, true, false, FUNCTION_OHM, 12, "letter code"},
    {"uuF", false, false, false, FUNCTION_FARAD, -12, "printed"},
    {"uufd", false, false, false, FUNCTION_FARAD, -12, "printed"},
    {"mmfd", false, false, false, FUNCTION_FARAD, -12, "old print"},
    {"mmf", false, false, false, FUNCTION_FARAD, -12, "old print"},
    {"pF", false, false, false, FUNCTION_FARAD, -12, "printed"},
    {"kpF", false, false, false, FUNCTION_FARAD, -9, "old print"},
    {"muF", false, false, false, FUNCTION_FARAD, -9, "old print"},
    {"nF", false, false, false, FUNCTION_FARAD, -9, "printed"},
    {"uF", false, false, false, FUNCTION_FARAD, -6, "printed"},
    {"ufd", false, false, false, FUNCTION_FARAD, -6, "printed"},
    {"mfds", false, false, false, FUNCTION_FARAD, -6, "old print"},
    {"mfd", false, false, false, FUNCTION_FARAD, -6, "old print"},
    {"mF", false, false, false, FUNCTION_FARAD, -6, "old print"},
    {"mF", true, false, false, FUNCTION_FARAD, -3, "millifarads as today"},
    {"P", false, true, false, FUNCTION_FARAD, -12, "letter code"},
    {"N", false, true, false, FUNCTION_FARAD, -9, "letter code"},
    {"U", false, true, false, FUNCTION_FARAD, -6, "letter code"},
    {"m", true, true, false, FUNCTION_FARAD, -3, "letter code"},
    {"k", true, false, true, FUNCTION_FARAD, -9, "old print, k for thousands of pF"},
    {"M", false, false, true, FUNCTION_FARAD, -6, "old print, M for microfarads"},
};

/* 1 cm of capacitance is 1 / (4 pi epsilon0) = 1.11265 pF. */
static const struct decimal centimetre = {111265, -17};

static size_t word_at(const char *text, const struct unit *u)
{
	size_t n = 0;
	for (; u->word[n]; n++)
		if (u->exact ? text[n] != u->word[n] : ascii_lower(text[n]) != ascii_lower(u->word[n]))
			return 0;
	return n;
}

/* Digits behind a letter in the place of the point: at most five figures in all
 * (IEC 60062 has three to five characters). */
static size_t fraction_at(const char *text, size_t at, int figures, struct decimal *value)
{
	size_t n = 0;
	while (ascii_digit(text[at + n]) && figures + (int)n <= 5) {
		value->n = value->n * 10 + (text[at + n] - '0');
		value->e--;
		n++;
	}
	return n == 0 || ascii_digit(text[at + n]) || figures + (int)n > 5 ? 0 : n;
}

static void with_unit(struct scan *s, const struct unit *u, struct decimal value, size_t at,
                      const char *scheme)
{
	struct tail t;
	if (!tail_read(s, at, u->f, false, &t))
		return;
	value.e += u->e;
	add(s, value, u->f, &t, scheme ? scheme : u->scheme);
}

/* What a number is like, before its unit is known. */
struct number {
	struct decimal value;
	int digits;       /* figures as they stand */
	bool point;
	bool zero_first;  /* 047 */
	size_t end;       /* the place behind it */
};

static bool in_series(struct decimal value)
{
	return series_contains(SERIES_E24, value);
}

/* Letters that stand for a unit or prefix. */
static void unit_readings(struct scan *s, const struct number *n)
{
	const char *text = s->p->text;
	size_t spaces = n->end;
	while (text[spaces] == ' ')
		spaces++;
	for (size_t i = 0; i < sizeof units / sizeof *units; i++) {
		const struct unit *u = &units[i];
		size_t at = u->point && ascii_digit(text[n->end + 1]) ? n->end : spaces;
		size_t len = word_at(text + at, u);
		if (!len)
			continue;
		struct decimal value = n->value;
		size_t fraction = u->point && !n->point && at == n->end
		                      ? fraction_at(text, at + len, n->digits, &value) : 0;
		if (fraction) {
			with_unit(s, u, value, at + len + fraction, NULL);
			continue;
		}
		/* A letter alone may carry a tolerance letter, a word may not. */
		char next = text[at + len];
		if (ascii_digit(next) || (ascii_letter(next) && (len > 1 || ascii_letter(text[at + len + 1]))))
			continue;
		/* nF and MF are units; only digits between would make F a tolerance. */
		if ((u->f == FUNCTION_FARAD || u->e == 6) && len == 1 && ascii_lower(next) == 'f')
			continue;
		/* Three figures that no resistor of 5 % or 1 % has, and K or M: a digit
		 * code with its tolerance (104K). */
		if (u->f == FUNCTION_OHM && (u->e == 3 || u->e == 6) && len == 1 && at == n->end &&
		    n->digits == 3 && !n->point && !in_series(n->value) &&
		    !series_contains(SERIES_E96, n->value))
			continue;
		struct tail t;
		if (u->old && !(n->point || (tail_read(s, at + len, u->f, false, &t) && t.has_volts) ||
		                (ascii_lower(u->word[0]) == 'k' && n->digits <= 3 && in_series(n->value))))
			continue;
		with_unit(s, u, value, at + len, NULL);
	}
	if (ascii_lower(text[spaces]) == 'c' && ascii_lower(text[spaces + 1]) == 'm' && !ascii_letter(text[spaces + 2])) {
		struct decimal value;
		struct tail t;
		if (decimal_multiply(n->value, centimetre, &value) &&
		    tail_read(s, spaces + 2, FUNCTION_FARAD, false, &t))
			add(s, value, FUNCTION_FARAD, &t, "old print, 1 cm is 1.11 pF");
	}
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
			add(s, scaled(n->value, -6), FUNCTION_FARAD, t, in_uf);
		if (!below_one && decimal_compare(n->value, hundred) < 0)
			add(s, scaled(n->value, -12), FUNCTION_FARAD, t, "printed, in pF");
		return;
	}
	if (n->zero_first)
		return;
	if (n->digits <= 2) {
		/* 8/450 is an electrolytic; beyond what those are made for it may be mica. */
		if (t->has_volts)
			add(s, scaled(n->value, -6), FUNCTION_FARAD, t, in_uf);
		if (!t->has_volts || decimal_compare(t->volts, electrolytic_most) > 0)
			add(s, scaled(n->value, -12), FUNCTION_FARAD, t, in_pf);
		return;
	}
	bool round = n->value.n % 10 == 0 || in_series(n->value);
	if (low_volts && round && n->digits <= 4)
		add(s, scaled(n->value, -6), FUNCTION_FARAD, t, in_uf);
	if (n->digits == 3 && code_value(n, true, &code))
		add(s, scaled(code, -12), FUNCTION_FARAD, t, "digit code, in pF");
	if (round || n->digits > 4)
		add(s, scaled(n->value, -12), FUNCTION_FARAD, t, in_pf);
	if (t->has_volts && !low_volts && n->digits == 3 && n->value.n % 10 == 0)
		add(s, scaled(n->value, -6), FUNCTION_FARAD, t, in_uf);
	if (n->digits == 4 && !t->has_volts && code_value(n, true, &code))
		add(s, scaled(code, -12), FUNCTION_FARAD, t, "digit code, in pF");
}

/* And on a resistor: K and M behind a number are then no tolerance. */
static void bare_resistor(struct scan *s, const struct number *n, const struct tail *t)
{
	struct decimal code;
	if (n->point || n->zero_first || (t->by_letter && strchr("KM", t->letter)))
		return;
	if (code_value(n, false, &code))
		add(s, code, FUNCTION_OHM, t, "digit code");
	if (!t->by_letter && (n->digits < 3 || n->value.n % 10 == 0))
		add(s, n->value, FUNCTION_OHM, t, "printed in ohms");
}

static void bare_readings(struct scan *s, const struct number *n)
{
	struct tail capacitor, resistor;
	bool code = !n->point && n->digits == 3;
	/* What three figures mean on a capacitor is said first, except where they end
	 * in a zero: 470K is a resistor more often than 47 pF. */
	if (tail_read(s, n->end, FUNCTION_FARAD, code, &capacitor))
		bare_capacitor(s, n, &capacitor);
	if (!s->has_volts && tail_read(s, n->end, FUNCTION_OHM, false, &resistor))
		bare_resistor(s, n, &resistor);
}

/* ---- what stands first ---- */

/* A letter, then digits: R47, n33, K22. */
static void letter_first(struct scan *s, size_t at)
{
	const char *text = s->p->text;
	for (size_t i = 0; i < sizeof units / sizeof *units; i++) {
		const struct unit *u = &units[i];
		struct decimal value = {0, 0};
		if (!u->point || u->word[0] == 'E' || !word_at(text + at, u))
			continue;
		size_t fraction = fraction_at(text, at + 1, 1, &value);
		if (fraction)
			with_unit(s, u, value, at + 1 + fraction, NULL);
	}
}

/* The letters for volts that stand before a digit code, 2A for 100 V: the digit is
 * the power of ten (from memory; the series R10 of preferred numbers). */
static bool volts_code(const char *text, struct decimal *volts)
{
	static const struct {
		char letter;
		int tenths;
	} letters[] = {{'A', 10}, {'C', 16}, {'D', 20}, {'E', 25}, {'V', 35}, {'G', 40},
	               {'W', 45}, {'H', 50}, {'J', 63}, {'K', 80}};
	if (text[0] < '0' || text[0] > '3' || !ascii_digit(text[2]) || !ascii_digit(text[3]) ||
	    !ascii_digit(text[4]) || ascii_digit(text[5]))
		return false;
	for (size_t i = 0; i < sizeof letters / sizeof *letters; i++)
		if (letters[i].letter == text[1]) {
			*volts = decimal_strip((struct decimal){letters[i].tenths, text[0] - '0' - 1});
			return true;
		}
	return false;
}

static bool number_read(const struct plain *p, size_t at, struct number *n)
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

static bool one_value(struct scan *s, size_t at)
{
	const char *text = s->p->text;
	struct number n;
	if (ascii_letter(text[at])) {
		letter_first(s, at);
	} else if (!number_read(s->p, at, &n)) {
		stopped(s, at, "a marking was expected, such as 4K7, 104, .047 or brown black yellow");
	} else if (n.value.n == 0) {
		stopped(s, at, "a value of zero is on no part but a link");
	} else {
		bool code_first = n.digits == 3 && !n.point && n.value.n % 10 != 0;
		if (code_first)
			bare_readings(s, &n);
		unit_readings(s, &n);
		fraction_of_meg(s, at);
		if (!code_first)
			bare_readings(s, &n);
	}
	return s->out->n > 0;
}

/* ---- sections: 32+32/450 ---- */

#define SECTIONS_MAX 4

/* Whole numbers joined by plus signs; the place behind them, 0 where it is not so. */
static size_t sections_at(const char *text, size_t from[], size_t to[], int *count)
{
	size_t at = 0;
	for (*count = 0; *count < SECTIONS_MAX;) {
		from[*count] = at;
		while (ascii_digit(text[at]) || (text[at] == '.' && ascii_digit(text[at + 1])))
			at++;
		to[*count] = at;
		if (to[*count] == from[*count])
			return 0;
		++*count;
		size_t next = at;
		while (text[next] == ' ')
			next++;
		if (text[next] != '+')
			break;
		for (next++; text[next] == ' ';)
			next++;
		if (!ascii_digit(text[next]))
			break;
		at = next;
	}
	return *count > 1 && text[at] != '+' ? at : 0;
}

/* Each section is read as if it stood alone before the rest of the print. */
static bool sections_read(const struct plain *p, struct marking_list *out, struct fault *why)
{
	size_t from[SECTIONS_MAX], to[SECTIONS_MAX];
	int count;
	size_t rest = sections_at(p->text, from, to, &count);
	/* 50+80% is a tolerance, not two sections. */
	if (!rest || p->text[rest] == '%')
		return false;
	for (int i = 0; i < count; i++) {
		struct plain one = *p;
		struct marking_list found = {.n = 0};
		size_t head = to[i] - from[i];
		memmove(one.text, p->text + from[i], head);
		memcpy(one.text + head, p->text + rest, p->len - rest + 1);
		one.len = head + p->len - rest;
		struct scan s = {.p = &one, .out = &found};
		if (!one_value(&s, 0))
			return plain_fail(why, p, from[i], "a section in microfarads was expected here");
		for (int k = 0; k < found.n; k++) {
			struct marking *m = &found.at[k];
			/* Only electrolytics are made so. */
			static const struct decimal least = {1, -7};
			if (m->function != FUNCTION_FARAD || decimal_compare(m->value, least) < 0)
				continue;
			snprintf(m->note, sizeof m->note, "one of %d sections", count);
			marking_add(out, m);
		}
	}
	return out->n > 0;
}

bool code_read(const struct plain *p, struct marking_list *out, struct fault *why)
{
	struct scan s = {.p = p, .out = out};
	size_t at = 0;
	while (p->text[at] == ' ')
		at++;
	struct fault none = {.text = ""};
	if (at == 0 && sections_read(p, out, &none))
		return true;
	if (volts_code(p->text + at, &s.volts)) {
		struct scan rated = s;
		rated.has_volts = true;
		if (one_value(&rated, at + 2))
			return true;
	}
	if (one_value(&s, at))
		return true;
	return plain_fail(why, p, s.far, s.far_why ? s.far_why : "no marking that is known looks so");
}
