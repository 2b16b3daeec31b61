/* SPDX-License-Identifier: MIT */
/*
 * Letters and words that stand for a unit or a prefix, behind a number or in the place of
 * its point: see marking_code_parts.h.
 */
#include "protocol/trade/marking_code_parts.h"

#include "protocol/trade/ascii.h"
#include "protocol/trade/preferred.h"

#include <string.h>

/* Units as they are printed.  `exact`: the case counts.  `point`: it may stand in
 * the place of the point.  `old`: only where the marking is old: a point, volts behind it, or (k) a
 * value that parts are made in. */
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
    {"L", true, true, false, FUNCTION_OHM, -3, "letter code, L for milliohms"}, /* from memory */
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
    {"k", true, true, true, FUNCTION_FARAD, -9, "old print, k for thousands of pF"},
    {"M", false, false, true, FUNCTION_FARAD, -6, "old print, M for microfarads"},
};

const char marking_k_point[] = "old print, k at the point of nanofarads";

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
	if (!tail_read(s, at, u->f, u->f == FUNCTION_FARAD, &t))
		return;
	value.e += u->e;
	code_add(s, value, u->f, &t, scheme ? scheme : u->scheme);
}

/* Letters that stand for a unit or prefix. */
void unit_readings(struct scan *s, const struct number *n)
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
			with_unit(s, u, value, at + len + fraction, u->old ? marking_k_point : NULL);
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
		 * code with its tolerance (104K), but not 500K and 375K of old. */
		if (u->f == FUNCTION_OHM && (text[at] == 'K' || text[at] == 'M') && at == n->end &&
		    len == 1 && n->digits == 3 && !n->point && n->value.n % 10 != 0 && !in_series(n->value) &&
		    !ascii_letter(next) && /* 114KJ: the J is the tolerance */
		    in_series((struct decimal){n->value.n / 10, 0}) &&
		    !series_contains(SERIES_E96, n->value))
			continue;
		struct tail t;
		if (u->old && !(n->point || (tail_read(s, at + len, u->f, u->f == FUNCTION_FARAD, &t) && t.has_volts) ||
		                (ascii_lower(u->word[0]) == 'k' && n->digits <= 3 && in_series(n->value))))
			continue;
		with_unit(s, u, value, at + len, NULL);
	}
	if (ascii_lower(text[spaces]) == 'c' && ascii_lower(text[spaces + 1]) == 'm' && !ascii_letter(text[spaces + 2])) {
		struct decimal value;
		struct tail t;
		if (decimal_multiply(n->value, centimetre, &value) &&
		    tail_read(s, spaces + 2, FUNCTION_FARAD, true, &t))
			code_add(s, value, FUNCTION_FARAD, &t, "old print, 1 cm is 1.11 pF");
	}
}

/* A word of two letters and more before its number: MMF 47, MFD. .05, ohms 500. */
static void word_first(struct scan *s, size_t at)
{
	const char *text = s->p->text;
	for (size_t i = 0; i < sizeof units / sizeof *units; i++) {
		const struct unit *u = &units[i];
		struct number n;
		size_t len = word_at(text + at, u), next = at + len;
		if (len < 2 || ascii_letter(text[next]))
			continue;
		next += text[next] == '.' && text[next + 1] == ' ';
		while (text[next] == ' ' || text[next] == '=' || text[next] == ':')
			next++;
		if (number_read(s->p, next, &n) && !n.zero_first && n.value.n > 0)
			with_unit(s, u, n.value, n.end, NULL);
	}
}

/* A letter, then digits: R47, n33, K22; or a word, then a number. */
void letter_first(struct scan *s, size_t at)
{
	const char *text = s->p->text;
	word_first(s, at);
	for (size_t i = 0; i < sizeof units / sizeof *units; i++) {
		const struct unit *u = &units[i];
		struct decimal value = {0, 0};
		if (!u->point || u->old || u->word[0] == 'E' || !word_at(text + at, u))
			continue;
		size_t fraction = fraction_at(text, at + 1, 1, &value);
		if (fraction)
			with_unit(s, u, value, at + 1 + fraction, NULL);
	}
}
