/* SPDX-License-Identifier: MIT */
/* The words of a typed line: see sheet_words.h. */
#include "protocol/record/sheet_words.h"

#include "protocol/record/sheet_cells.h"
#include "protocol/record/sheet_names.h"
#include "protocol/trade/ascii.h"
#include "protocol/trade/marking.h"
#include "protocol/trade/quantity.h"

#include <string.h>

bool word_is(const struct line *l, int i, const char *text)
{
	const struct word *w = &l->word[i];
	return column_is(l->text + w->at, w->len, text);
}

bool words_split(struct line *l)
{
	for (size_t at = 0; at < l->len;) {
		if (ascii_blank(l->text[at])) {
			at++;
			continue;
		}
		if (l->text[at] == '#')
			return true;
		if (l->words == WORDS_MAX)
			return cell_refuse(l->why, at, "more than 64 words in one line");
		struct word *w = &l->word[l->words++];
		*w = (struct word){.at = at};
		bool quoted = false, value = ascii_digit(l->text[at]) || l->text[at] == '.' ||
		                             (l->text[at] == '-' && at + 1 < l->len &&
		                              ascii_digit(l->text[at + 1]));
		for (; at < l->len && (quoted || !ascii_blank(l->text[at])); at++) {
			if (l->text[at] == '"')
				quoted = !quoted;
			/* 100k+-5%: the tolerance is a word of its own. */
			if (value && at > w->at && at + 1 < l->len &&
			    (memcmp(l->text + at, "+-", 2) == 0 || memcmp(l->text + at, "\xc2\xb1", 2) == 0))
				break;
		}
		if (quoted)
			return cell_refuse(l->why, w->at, "the quote is not closed");
		w->len = at - w->at;
	}
	return true;
}

/* ---- how many of them are names ---- */

/* The letters of the last name in a word: where they begin; their number. */
static size_t last_letters(const struct line *l, const struct word *w, size_t *at)
{
	size_t end = w->at + w->len, begin;
	while (end > w->at && !ascii_letter(l->text[end - 1]))
		end--;
	begin = end;
	while (begin > w->at && ascii_letter(l->text[begin - 1]))
		begin--;
	*at = begin;
	return end - begin;
}

/* A word of names: letters and a number first, and nothing that is no name. */
static bool is_names(const struct line *l, int i)
{
	if (i >= l->words)
		return false;
	const struct word *w = &l->word[i];
	const char *text = l->text + w->at;
	size_t n = 0;
	while (n < w->len && text[n] != ',' && text[n] != ';' && text[n] != '-')
		n++;
	if (!name_numbered(text, n))
		return false;
	for (; n < w->len; n++)
		if (!ascii_letter(text[n]) && !ascii_digit(text[n]) && !strchr(",;-./_", text[n]))
			return false;
	return true;
}

static bool same_letters(const struct line *l, const struct word *a, const struct word *b)
{
	size_t x, y, n = last_letters(l, a, &x);
	(void)last_letters(l, b, &y);
	y = b->at;
	return n > 0 && n < b->len && memcmp(l->text + x, l->text + y, n) == 0 &&
	       ascii_digit(l->text[y + n]);
}

/* A comma, a semicolon, a dash or dots at this end of a word. */
static bool open_end(const struct line *l, const struct word *w)
{
	const char *end = l->text + w->at + w->len;
	return strchr(",;-", end[-1]) || (w->len > 1 && end[-1] == '.' && end[-2] == '.');
}

static bool is_sign(const struct line *l, int i)
{
	static const char *const signs[] = {"-", "..", "...", "to", "thru", "through", "bis", ",", ";",
	                                    "and", "und", "&", "+"};
	for (size_t k = 0; k < sizeof signs / sizeof *signs; k++)
		if (word_is(l, i, signs[k]))
			return true;
	return false;
}

/* ,R2 and -R6 behind a space */
static bool open_begin(const struct line *l, int i)
{
	const struct word *w = &l->word[i];
	const char *text = l->text + w->at;
	size_t n = w->len > 2 && text[0] == '.' && text[1] == '.' ? 2 : 1;
	return (n == 2 || strchr(",;-", text[0])) && w->len > n && ascii_letter(text[n]) &&
	       name_numbered(text + n, w->len - n < NAME_SIZE ? w->len - n : 0);
}

size_t words_names(struct line *l)
{
	int n = 1;
	while (n < l->words) {
		const struct word *before = &l->word[n - 1];
		if (open_end(l, before) ? is_names(l, n) : open_begin(l, n)) {
			n++;
		} else if (is_sign(l, n) && is_names(l, n + 1)) {
			n += 2;
		} else if (is_names(l, n - 1) && is_names(l, n) && same_letters(l, before, &l->word[n])) {
			l->soft = true;
			n++;
		} else {
			break;
		}
	}
	l->first = n;
	size_t end = l->word[n - 1].at + l->word[n - 1].len;
	/* R12 470k, cc, 10%: a comma that only parts the words. */
	for (int i = n; i < l->words; i++) {
		struct word *w = &l->word[i];
		w->len -= w->len > 1 && strchr(",;", l->text[w->at + w->len - 1]) != NULL;
	}
	return end;
}

bool words_swapped(const struct line *l)
{
	struct decimal value;
	enum function f;
	struct fault ignored;
	const struct word *w = &l->word[0];
	return l->first == 1 && l->words > 1 && ascii_digit(l->text[w->at]) && is_names(l, 1) &&
	       quantity_parse(l->text + w->at, w->len, FUNCTION_NONE, &value, &f, &ignored);
}

/* ---- what a word can be ---- */

static bool begins(const struct line *l, const struct word *w, const char *with)
{
	size_t n = strlen(with);
	return w->len >= n && memcmp(l->text + w->at, with, n) == 0;
}

static bool begins_any_case(const struct line *l, const struct word *w, const char *with)
{
	size_t n = strlen(with);
	return w->len >= n && column_is(l->text + w->at, n, with);
}

bool word_is_limit(const struct line *l, const struct word *w)
{
	/* The sign for plus or minus has two bytes, too. */
	return begins(l, w, "+-") || begins(l, w, "\xc2\xb1") || begins(l, w, ">=") ||
	       begins(l, w, "<=");
}

/* A number alone, sign, point and 1/2 allowed, and what a tolerance begins with. */
static bool bare_number(const struct line *l, const struct word *w)
{
	const char *text = l->text + w->at;
	bool digit = false;
	size_t i = 0;
	if (word_is_limit(l, w))
		i = 2;
	else if (text[0] == '-' || text[0] == '+')
		i = 1;
	for (; i < w->len; i++) {
		digit |= ascii_digit(text[i]);
		bool part = i > 0 && i + 2 == w->len && text[i] == '/' && strchr("248", text[i + 1]);
		if (!ascii_digit(text[i]) && text[i] != '.' && text[i] != ',' && !part)
			return false;
	}
	return digit;
}

/* Words that may stand after a number as its unit, in any case but the single letters
 * that mean something else then. */
static bool is_unit(const struct line *l, int i)
{
	static const char *const exact[] = {"m", "M", "u", "n", "p", "A", "H", "C", "F", "%", "R",
	                                    "\xc2\xb5", "\xce\xbc", "\xce\xa9", "\xe2\x84\xa6",
	                                    "k\xce\xa9", "M\xce\xa9", "k\xe2\x84\xa6", "M\xe2\x84\xa6",
	                                    "K\xce\xa9", "K\xe2\x84\xa6"};
	static const char *const any[] = {
	    "k",    "V",    "mV",    "kV",    "mA",   "uA",     "W",       "mW",  "uF",   "nF",
	    "pF",   "mF",   "ohm",   "ohms",  "kohm", "kohms",  "Mohm",    "Mohms", "mH", "Hz",
	    "kHz",  "meg",  "megs",  "megohm", "megohms", "mfd", "mmf",    "mmfd", "uuF", "ufd",
	    "kpF",  "volt", "volts", "watt",  "watts", "VDC",   "VAC",     "VW",  "WV",   "amp",
	    "amps", "\xc2\xb5" "F", "\xce\xbc" "F",
	    "farad", "farads", "microfarad", "microfarads", "mikrofarad", "nanofarad", "nanofarads",
	    "picofarad", "picofarads", "kilohm", "kilohms", "kiloohm", "kiloohms", "megaohm", "megaohms",
	    "henry", "henries", "henrys", "millihenry", "millihenries", "WVDC", "VDCW", "milliamps",
	    "milliamp", "millivolts", "milliwatts", "kilovolts"};
	const struct word *w = &l->word[i];
	for (size_t k = 0; k < sizeof exact / sizeof *exact; k++)
		if (strlen(exact[k]) == w->len && memcmp(l->text + w->at, exact[k], w->len) == 0)
			return true;
	for (size_t k = 0; k < sizeof any / sizeof *any; k++)
		if (word_is(l, i, any[k]))
			return true;
	return false;
}

/* 2 x 100k and 8 + 8 u, with spaces. */
static bool is_between(const struct line *l, int k, bool behind)
{
	const struct word *other = k + 1 < l->words ? &l->word[k + 1] : NULL;
	bool sign = word_is(l, k, "x") || word_is(l, k, "*") || word_is(l, k, "+");
	return behind ? is_between(l, k - 1, false)
	              : sign && other && ascii_digit(l->text[other->at]) && k > l->first &&
	                    bare_number(l, &l->word[k - 1]);
}

size_t words_join(struct line *l, int i, bool tolerance)
{
	size_t end = l->word[i].at + l->word[i].len;
	for (int k = i + 1; k < l->words; k++) {
		const struct word *w = &l->word[k];
		bool more = is_unit(l, k) && bare_number(l, &l->word[k - 1]);
		if (!more && !tolerance)
			more = is_between(l, k, false) || is_between(l, k, true);
		/* +- 5 % */
		if (!more && tolerance)
			more = k == i + 1 && l->word[i].len == 2 && word_is_limit(l, &l->word[i]) &&
			       ascii_digit(l->text[w->at]);
		/* -10 +10 %, and AC or DC after volts */
		if (!more && tolerance)
			more = k == i + 1 && l->text[w->at] == '+' && l->text[l->word[i].at] == '-';
		if (!more && !tolerance && (word_is(l, k, "AC") || word_is(l, k, "DC")))
			more = ascii_lower(l->text[end - 1]) == 'v';
		if (!more)
			break;
		l->word[k].taken = true;
		end = w->at + w->len;
	}
	return end;
}

/* Three bands or more; two may be the colours of a wire. */
#define BANDS_LEAST 3

static bool is_colour(const struct line *l, int i)
{
	const struct word *w = &l->word[i];
	return marking_is_colour(l->text + w->at, w->len);
}

size_t words_bands(struct line *l, int i)
{
	int n = i;
	while (n < l->words && is_colour(l, n))
		n++;
	if (n - i < BANDS_LEAST)
		return 0;
	for (int k = i; k < n; k++)
		l->word[k].taken = true;
	return l->word[n - 1].at + l->word[n - 1].len;
}

bool word_is_scale(const struct line *l, int i)
{
	static const char *const scales[] = {"micro", "mikro", "nano", "pico", "milli", "kilo", "mega"};
	if (i <= l->first || !bare_number(l, &l->word[i - 1]))
		return false;
	for (size_t k = 0; k < sizeof scales / sizeof *scales; k++)
		if (begins_any_case(l, &l->word[i], scales[k]))
			return true;
	return false;
}

bool word_is_value(const struct line *l, const struct word *w, enum function f)
{
	const char *text = l->text + w->at;
	if (ascii_digit(text[0]) || ((text[0] == '.' || text[0] == ',') && w->len > 1))
		return true;
	if (text[0] == '-' || text[0] == '+')
		return w->len > 1;
	/* n47, M47: IEC 60062, where no role is called so. */
	size_t sign = begins(l, w, "\xc2\xb5") || begins(l, w, "\xce\xbc") ? 2 : 1;
	bool letter = f == FUNCTION_FARAD ? sign == 2 || strchr("pnu", text[0]) != NULL
	                                  : f == FUNCTION_OHM && strchr("kKM", text[0]) != NULL;
	for (size_t i = sign; letter && i < w->len; i++)
		letter = ascii_digit(text[i]);
	return letter && w->len > sign;
}

bool word_is_micro(const struct line *l, const struct word *w)
{
	bool sign = begins(l, w, "\xc2\xb5") || begins(l, w, "\xce\xbc");
	bool digits = sign && w->len > 2;
	for (size_t i = 2; digits && i < w->len; i++)
		digits = ascii_digit(l->text[w->at + i]);
	return digits;
}

bool word_is_tolerance(const struct line *l, int i)
{
	const struct word *w = &l->word[i];
	if (memchr(l->text + w->at, '%', w->len) || word_is_limit(l, w))
		return true;
	/* A letter of IEC 60062 right after the value: 100n K */
	if (w->len == 1 && memchr("BCDFGJKMZ", l->text[w->at], 9) && i > l->first)
		return word_is_value(l, &l->word[i - 1], FUNCTION_NONE);
	if (!bare_number(l, w) || i + 1 >= l->words)
		return false;
	const struct word *next = &l->word[i + 1];
	bool percent = next->len == 1 && l->text[next->at] == '%';
	/* -10 +10 % */
	bool pair = l->text[w->at] == '-' && l->text[next->at] == '+';
	return percent || pair;
}
