/* SPDX-License-Identifier: MIT */
/* Names of positions and values as words, sign, point, digits and unit: see speech_words.h. */
#include "client/speech_inside.h"

#include "client/words.h"
#include "protocol/trade/ascii.h"

#include <stdio.h>
#include <string.h>

/* ---- numbers ---- */

static size_t digits_at(const char *text)
{
	size_t n = 0;
	while (ascii_digit(text[n]))
		n++;
	return n;
}

static void say_digits(struct sentence *s, const struct speech_table *t, const char *digits, size_t n)
{
	for (size_t i = 0; i < n; i++)
		sentence_word(s, t->digit[digits[i] - '0']);
}

/* Digits as one number, up to `most` of them; else one by one. */
static void say_whole(struct sentence *s, const struct speech_table *t, const char *digits, size_t n,
                      size_t most)
{
	char words[SPEECH_NUMBER];
	unsigned value = 0;
	if (n > most || (n > 1 && digits[0] == '0')) {
		say_digits(s, t, digits, n);
		return;
	}
	for (size_t i = 0; i < n; i++)
		value = value * 10 + (unsigned)(digits[i] - '0');
	t->number(value, words);
	sentence_word(s, words);
}

/* ---- positions ---- */

/* Is this run of letters a word rather than a row of letters? */
static bool is_word(const char *run, size_t n)
{
	bool vowel = false, capital = false;
	for (size_t i = 0; i < n; i++) {
		vowel = vowel || strchr("aeiouyAEIOUY", run[i]);
		capital = capital || (i && run[i] >= 'A' && run[i] <= 'Z');
	}
	return vowel && (n > 3 || (n == 3 && !capital));
}

static void say_letters(struct sentence *s, const struct speech_table *t, const char *run, size_t n)
{
	char word[64];
	if (is_word(run, n) && n < sizeof word) {
		/* In small letters: a voice spells capitals. */
		for (size_t i = 0; i < n; i++)
			word[i] = (char)(i && run[i] <= 'Z' ? run[i] + 'a' - 'A' : run[i]);
		word[n] = '\0';
		sentence_word(s, word);
		return;
	}
	for (size_t i = 0; i < n; i++) {
		char one[2] = {(char)(run[i] >= 'a' ? run[i] + 'A' - 'a' : run[i]), '\0'};
		sentence_word(s, one[0] == 'A' ? t->letter_a : one);
	}
}

void speech_position(enum language l, const char *name, char *out, size_t size)
{
	const struct speech_table *t = speech_table_of(l);
	struct sentence s = sentence_begin(out, size);
	while (*name) {
		size_t n = 0;
		if (ascii_digit(*name)) {
			n = digits_at(name);
			say_whole(&s, t, name, n, 3);
		} else if (ascii_letter(*name)) {
			while (ascii_letter(name[n]))
				n++;
			say_letters(&s, t, name, n);
		} else {
			n = 1;
			const char *said = speech_pair_said(t->separators, name, 1);
			if (said)
				sentence_word(&s, said);
		}
		name += n;
	}
}

/* ---- values ---- */

/* What may be written before or after a number, in one form: the micro and ohm signs
 * and the true minus become ASCII. */
static void ascii(const char *shown, char *out, size_t size)
{
	static const struct speech_pair sign[] = {
		{"\u00b5", "u"}, {"\u03bc", "u"}, {"\u03a9", "ohm"}, {"\u2126", "ohm"}, {"\u2212", "-"},
		{"\u00b0", ""},  {"\u00a0", " "}, {"\u202f", " "}, {NULL, NULL}};
	struct sentence s = sentence_begin(out, size);
	while (*shown) {
		const struct speech_pair *p = sign;
		while (p->written && strncmp(shown, p->written, strlen(p->written)) != 0)
			p++;
		sentence_bytes(&s, p->written ? p->said : shown, p->written ? strlen(p->said) : 1);
		shown += p->written ? strlen(p->written) : 1;
	}
}

static const struct speech_unit *unit_of(const struct speech_table *t, const char *text, size_t n)
{
	char lower[8] = "";
	/* Ohm is written with a capital, too. */
	bool ohm = n == 3 && memcmp(text + 1, "hm", 2) == 0 && (*text == 'o' || *text == 'O');
	snprintf(lower, sizeof lower, "%.*s", ohm ? 3 : 0, "ohm");
	for (const struct speech_unit *u = t->units; u->written; u++)
		if (strlen(u->written) == n && memcmp(u->written, ohm ? lower : text, n) == 0)
			return u;
	return NULL;
}

/* Prefix and unit as one word, "" for none; false for what is no unit. */
static bool unit_words(const struct speech_table *t, const char *text, size_t n, bool one,
                       char *out, size_t size)
{
	const struct speech_unit *u = unit_of(t, text, n);
	const char *prefix = "";
	out[0] = '\0';
	if (n == 0)
		return true;
	if (!u && n > 1 && (prefix = speech_pair_said(t->prefixes, text, 1)))
		u = unit_of(t, text + 1, n - 1);
	if (!u || !prefix)
		return false;
	const char *word = one ? u->one : u->many;
	snprintf(out, size, "%s%s%s", prefix, prefix[0] ? u->joint : "", word);
	/* "MikroFarad" is no word: within it the capital goes. */
	char *within = out + strlen(prefix);
	if (prefix[0] && *within >= 'A' && *within <= 'Z')
		*within = (char)(*within + 'a' - 'A');
	return true;
}

/* A number and its unit; false, and nothing said, where it is none. */
static bool say_number(struct sentence *s, const struct speech_table *t, const char *text)
{
	char unit[64];
	bool minus = *text == '-', above = *text == '>';
	text += minus || above || *text == '+';
	while (above && *text == ' ')
		text++;
	size_t whole = digits_at(text);
	const char *fraction = text[whole] == '.' ? text + whole + 1 : text + whole;
	size_t after = fraction > text + whole ? digits_at(fraction) : 0;
	const char *rest = fraction + after;
	if (!whole && !after)
		return false;
	rest += *rest == ' ';
	size_t n = strcspn(rest, " ");
	bool one = whole == 1 && text[0] == '1' && !after;
	if (!unit_words(t, rest, n, one, unit, sizeof unit))
		return false;
	/* " AC" and " DC" may stand behind; anything else is no value. */
	const char *kind = rest + n + (rest[n] == ' ');
	bool ac = strcmp(kind, "AC") == 0, dc = strcmp(kind, "DC") == 0;
	if (kind[0] && !ac && !dc)
		return false;
	sentence_word(s, above ? t->above : minus ? t->minus : "");
	if (one && n)
		sentence_word(s, t->one);
	else if (whole)
		say_whole(s, t, text, whole, 9);
	else
		sentence_word(s, t->digit[0]);
	sentence_word(s, after ? t->point : "");
	say_digits(s, t, fraction, after);
	sentence_word(s, unit);
	sentence_word(s, ac ? "A C" : dc ? "D C" : "");
	return true;
}

void speech_value(enum language l, const char *shown, char *out, size_t size)
{
	const struct speech_table *t = speech_table_of(l);
	struct sentence s = sentence_begin(out, size);
	char text[128];
	ascii(shown, text, sizeof text);
	const char *state = speech_pair_said(t->states, text, strlen(text));
	if (state)
		sentence_text(&s, state);
	else if (strncmp(text, "above ", 6) == 0 && ascii_digit(text[6])) {
		text[5] = '>';
		if (!say_number(&s, t, text + 5))
			sentence_text(&s, shown);
	} else if (!say_number(&s, t, text)) {
		words_clean(shown, strlen(shown), text, sizeof text);
		sentence_text(&s, text);
	}
}
