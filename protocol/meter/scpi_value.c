/* SPDX-License-Identifier: MIT */
/*
 * One element of an answer in SCPI: a number with or without suffix, or one of
 * the words for what is no number.  See scpi.h.
 *
 * Sources: IEEE 488.2 7.7.2 (decimal numeric data), 7.7.3 (suffix), 7.7.4 (other
 * bases), tables 7-1 and 7-2 (units and multipliers); SCPI-99 volume 1, 7.2 (the
 * numbers for infinity and not a number).
 */
#include "protocol/meter/scpi.h"

#include "protocol/trade/ascii.h"

#include <stdio.h>
#include <string.h>

struct rest {
	const char *at, *end;
};

static size_t left(const struct rest *r)
{
	return (size_t)(r->end - r->at);
}

static void skip_spaces(struct rest *r)
{
	while (r->at < r->end && ascii_blank(*r->at))
		r->at++;
}

/* `word` is in capitals; the text may have any case. */
static bool is_word(const char *text, size_t len, const char *word)
{
	if (strlen(word) != len)
		return false;
	for (size_t i = 0; i < len; i++)
		if (ascii_upper(text[i]) != word[i])
			return false;
	return true;
}

static bool refuse(char *why, size_t size, const char *text)
{
	snprintf(why, size, "%s", text);
	return false;
}

/* #H123, #Q17, #B101: `r` stands behind the #. */
static bool read_other_base(struct rest r, struct scpi_value *out)
{
	static const char digits[] = "0123456789ABCDEF";
	const int64_t limit = INT64_C(1000000000000000000) / 16;
	int64_t base, n = 0;
	if (left(&r) < 2)
		return false;
	switch (ascii_upper(*r.at++)) {
	case 'H':
		base = 16;
		break;
	case 'Q':
		base = 8;
		break;
	case 'B':
		base = 2;
		break;
	default:
		return false;
	}
	for (; r.at < r.end; r.at++) {
		const char *digit = *r.at ? strchr(digits, ascii_upper(*r.at)) : NULL;
		if (!digit || digit - digits >= base || n >= limit)
			return false;
		n = n * base + (digit - digits);
	}
	out->kind = SCPI_NUMBER;
	out->value = (struct decimal){n, 0};
	return true;
}

/* INF, NINF, NAN and their long forms, with a sign as C writes them. */
static bool read_word(struct rest r, struct scpi_value *out)
{
	bool minus = false;
	if (r.at < r.end && (*r.at == '+' || *r.at == '-'))
		minus = *r.at++ == '-';
	if (r.at == r.end || !ascii_letter(*r.at))
		return false;
	if (scpi_mnemonic("NAN", r.at, left(&r))) {
		out->kind = SCPI_NOT_A_NUMBER;
		return true;
	}
	if (!minus && scpi_mnemonic("NINFinity", r.at, left(&r)))
		minus = true;
	else if (!scpi_mnemonic("INFinity", r.at, left(&r)))
		return false;
	out->kind = SCPI_INFINITE;
	out->negative = minus;
	return true;
}

/* The exponent behind a mantissa; nothing is taken where there is none, for an E
 * may also begin a suffix (EX). */
static void take_exponent(struct rest *r, char *text, size_t *len, size_t size)
{
	struct rest e = *r;
	skip_spaces(&e);
	if (e.at == e.end || ascii_upper(*e.at) != 'E')
		return;
	e.at++;
	skip_spaces(&e);
	const char *first = e.at;
	if (e.at < e.end && (*e.at == '+' || *e.at == '-'))
		e.at++;
	if (e.at == e.end || !ascii_digit(*e.at))
		return;
	while (e.at < e.end && ascii_digit(*e.at))
		e.at++;
	size_t n = (size_t)(e.at - first);
	if (*len + 1 + n > size)
		return;
	text[(*len)++] = 'E';
	memcpy(text + *len, first, n);
	*len += n;
	*r = e;
}

/* The number itself, brought to the strict form that decimal_parse reads. */
static bool take_number(struct rest *r, struct decimal *out)
{
	char text[FRAME_MAX];
	size_t len = 0;
	const char *first = r->at;
	if (r->at < r->end && (*r->at == '+' || *r->at == '-'))
		r->at++;
	while (r->at < r->end && (ascii_digit(*r->at) || *r->at == '.'))
		r->at++;
	len = (size_t)(r->at - first);
	if (len > sizeof text)
		return false;
	memcpy(text, first, len);
	take_exponent(r, text, &len, sizeof text);
	return decimal_parse(text, len, out);
}

/* Is it this special number, to one part in a million? */
static bool is_about(struct decimal v, int64_t low, int64_t high)
{
	v.n = v.n < 0 ? -v.n : v.n;
	return decimal_compare(v, (struct decimal){low, 30}) >= 0 &&
	       decimal_compare(v, (struct decimal){high, 30}) <= 0;
}

/* The three numbers that are none.  False: beyond them. */
static bool sort_out_special(struct decimal v, struct scpi_value *out)
{
	const struct decimal from = {98999901, 30}; /* 9.9E37 less one part in a million */
	struct decimal size = {v.n < 0 ? -v.n : v.n, v.e};
	/* 18 digits: below 1E36, as nearly all are. */
	if (v.e <= 18 || decimal_compare(size, from) < 0) {
		out->kind = SCPI_NUMBER;
	} else if (is_about(v, 98999901, 99000099)) {
		out->kind = SCPI_INFINITE;
		out->negative = v.n < 0;
	} else if (is_about(v, 99099901, 99100099)) {
		out->kind = SCPI_NOT_A_NUMBER;
	} else {
		return false;
	}
	return true;
}

static const struct unit {
	const char *word;
	enum function function;
	bool coupled, multiplied;
} units[] = {
    {"OHM", FUNCTION_OHM, false, true},     {"V", FUNCTION_VOLT_DC, false, true},
    {"VDC", FUNCTION_VOLT_DC, true, true},  {"VAC", FUNCTION_VOLT_AC, true, true},
    {"A", FUNCTION_AMP_DC, false, true},    {"ADC", FUNCTION_AMP_DC, true, true},
    {"AAC", FUNCTION_AMP_AC, true, true},   {"F", FUNCTION_FARAD, false, true},
    {"FAR", FUNCTION_FARAD, false, true},   {"H", FUNCTION_HENRY, false, true},
    {"HZ", FUNCTION_HERTZ, false, true},    {"CEL", FUNCTION_CELSIUS, false, false},
    {"PCT", FUNCTION_PERCENT, false, false}, {"%", FUNCTION_PERCENT, false, false},
};

static const struct unit *unit_find(const char *text, size_t len)
{
	for (size_t i = 0; i < sizeof units / sizeof *units; i++)
		if (is_word(text, len, units[i].word))
			return &units[i];
	return NULL;
}

/* Table 7-2, the longer ones first. */
static const struct multiplier {
	const char *word;
	int exponent;
} multipliers[] = {{"EX", 18}, {"PE", 15}, {"MA", 6},  {"T", 12},  {"G", 9},   {"K", 3},
                   {"M", -3},  {"U", -6},  {"N", -9},  {"P", -12}, {"F", -15}, {"A", -18}};
#define MULTIPLIERS (sizeof multipliers / sizeof *multipliers)

/* A multiplier with a unit behind it, or (`alone`) one with nothing. */
static const struct multiplier *multiplier_find(const char *text, size_t len, bool alone,
                                                const struct unit **unit)
{
	for (size_t i = 0; i < MULTIPLIERS; i++) {
		size_t n = strlen(multipliers[i].word);
		if (n > len || !is_word(text, n, multipliers[i].word))
			continue;
		*unit = alone ? NULL : unit_find(text + n, len - n);
		if (alone ? n == len : *unit && (*unit)->multiplied)
			return &multipliers[i];
	}
	return NULL;
}

/* The suffix: a unit, a multiplier and a unit, or a multiplier, in this order, so
 * that A is ampere, MA milliampere and M milli. */
static bool read_suffix(const char *text, size_t len, struct scpi_value *out, int *exponent,
                        char *why, size_t size)
{
	const struct multiplier *m = NULL;
	const struct unit *unit = unit_find(text, len);
	*exponent = 0;
	if (!unit) {
		m = multiplier_find(text, len, false, &unit);
		if (!m)
			m = multiplier_find(text, len, true, &unit);
		if (!m)
			return refuse(why, size, "a unit was expected after the number, or nothing");
		*exponent = m->exponent;
	}
	if (!unit)
		return true;
	out->function = unit->function;
	out->coupled = unit->coupled;
	if (m && is_word(m->word, strlen(m->word), "M") &&
	    (unit->function == FUNCTION_OHM || unit->function == FUNCTION_HERTZ)) {
		if (text[0] == 'm')
			return refuse(why, size, "a capital M was expected for mega before OHM or HZ; "
			                         "m could be milli");
		*exponent = 6;
	}
	return true;
}

bool scpi_value_parse(const char *text, size_t len, struct scpi_value *out, char *why,
                      size_t size)
{
	struct rest r = {text, text + len};
	struct decimal v;
	int exponent = 0;
	memset(out, 0, sizeof *out);
	skip_spaces(&r);
	while (r.end > r.at && ascii_blank(r.end[-1]))
		r.end--;
	if (r.at == r.end)
		return refuse(why, size, "a number was expected, and there is nothing");
	if (*r.at == '#') {
		r.at++;
		return read_other_base(r, out) ||
		       refuse(why, size, "digits were expected after #H, #Q or #B");
	}
	if (read_word(r, out))
		return true;
	if (!take_number(&r, &v))
		return refuse(why, size, "a number of up to 18 digits was expected");
	if (!sort_out_special(v, out))
		return refuse(why, size, "a number up to 9.9E37 was expected");
	skip_spaces(&r);
	if (r.at < r.end && !read_suffix(r.at, left(&r), out, &exponent, why, size))
		return false;
	if (out->kind != SCPI_NUMBER)
		return true;
	out->value = (struct decimal){v.n, v.e + exponent};
	if (out->value.e < DECIMAL_EXP_MIN || out->value.e > DECIMAL_EXP_MAX)
		return refuse(why, size, "a number within 1e-40 and 1e40 was expected");
	return true;
}
