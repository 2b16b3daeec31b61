/* SPDX-License-Identifier: MIT */
/*
 * Tolerances as written, and the limits they put around a nominal
 * (see position.h).
 *
 *     letter          IEC 60062: J K M ...
 *     >=X  <=X        a bound (also the signs U+2265, U+2264, and > <)
 *     [+-]X           symmetric: percent, or absolute where a unit or prefix stands
 *     -X/+Y  -X +Y    asymmetric, in either order; a unit behind the second
 *                     belongs to both
 */
#include "protocol/trade/ascii.h"
#include "protocol/trade/position.h"

#include <stdio.h>
#include <string.h>

/* Letters of IEC 60062 (from tables of the trade and from memory; what
 * B C D F G mean below 10 pF: tolerance_small_letter).  Deviations in thousandths of a percent. */
static const struct {
	char letter;
	int minus, plus;
	bool capacitors_only;
} letters[] = {
    {'E', 5, 5, false},          {'L', 10, 10, false},        {'P', 20, 20, false},
    {'W', 50, 50, false},        {'A', 50, 50, false},        {'B', 100, 100, false},
    {'C', 250, 250, false},      {'D', 500, 500, false},      {'F', 1000, 1000, false},
    {'G', 2000, 2000, false},    {'H', 3000, 3000, false},    {'J', 5000, 5000, false},
    {'K', 10000, 10000, false},  {'M', 20000, 20000, false},  {'N', 30000, 30000, false},
    {'Q', 10000, 30000, true},   {'T', 10000, 50000, true},   {'S', 20000, 50000, true},
    {'Z', 20000, 80000, true},
};

/* Nobody writes more; a slip does. */
static const int percent_max = 1000;

static bool fail(struct fault *why, size_t at, const char *text)
{
	fault_at(why, NULL, 0, (int)at + 1, "%s", text);
	return false;
}

static bool parse_letter(char c, size_t at, enum function f, struct tolerance *out,
                         struct fault *why)
{
	if (c >= 'a' && c <= 'z')
		c = (char)(c - 'a' + 'A');
	for (size_t i = 0; i < sizeof letters / sizeof *letters; i++) {
		if (letters[i].letter != c)
			continue;
		if (letters[i].capacitors_only && f != FUNCTION_FARAD && f != FUNCTION_NONE)
			return fail(why, at, "this tolerance letter is for capacitors only");
		out->form = TOLERANCE_PERCENT;
		out->low = decimal_strip((struct decimal){-letters[i].minus, -3});
		out->high = decimal_strip((struct decimal){letters[i].plus, -3});
		return true;
	}
	return fail(why, at, "no such tolerance letter: J is 5 %, K 10 %, M 20 %");
}

static size_t skip_spaces(const char *text, size_t at, size_t len)
{
	while (at < len && (text[at] == ' ' || text[at] == '\t'))
		at++;
	return at;
}

/* Length of the sign `+-` in any of its spellings at `at`, 0 where none is. */
static size_t plus_minus(const char *text, size_t at, size_t len)
{
	static const char *const signs[] = {"+/-", "+-", "\xC2\xB1"};
	for (size_t i = 0; i < sizeof signs / sizeof *signs; i++) {
		size_t n = strlen(signs[i]);
		if (len - at >= n && memcmp(text + at, signs[i], n) == 0)
			return n;
	}
	return 0;
}

static bool parse_bound(const char *text, size_t len, enum function f, struct tolerance *out,
                        struct fault *why, bool *is_bound)
{
	static const struct {
		const char *sign;
		enum tolerance_form form;
	} signs[] = {
	    {">=", TOLERANCE_AT_LEAST}, {"<=", TOLERANCE_AT_MOST}, {"\xE2\x89\xA5", TOLERANCE_AT_LEAST},
	    {"\xE2\x89\xA4", TOLERANCE_AT_MOST}, {">", TOLERANCE_AT_LEAST}, {"<", TOLERANCE_AT_MOST},
	};
	*is_bound = false;
	for (size_t i = 0; i < sizeof signs / sizeof *signs; i++) {
		size_t n = strlen(signs[i].sign);
		if (len < n || memcmp(text, signs[i].sign, n) != 0)
			continue;
		*is_bound = true;
		struct decimal value;
		enum function unit;
		if (!quantity_parse(text + n, len - n, f, &value, &unit, why)) {
			why->column += (int)n;
			return false;
		}
		out->form = signs[i].form;
		out->low = out->high = (struct decimal){0, 0};
		if (out->form == TOLERANCE_AT_LEAST)
			out->low = value;
		else
			out->high = value;
		return true;
	}
	return false;
}

/* One deviation as written: sign, digits, and what stands behind them. */
struct side {
	int sign;           /* -1, +1, or 0 for both */
	size_t from;        /* of the digits */
	size_t tail, end;   /* unit text in [tail, end), trimmed */
	struct decimal number;
};

/* Where the tail of a side ends: at a '/' or a sign. */
static size_t side_end(const char *text, size_t at, size_t len)
{
	while (at < len && text[at] != '/' && text[at] != '+' && text[at] != '-' &&
	       memcmp(text + at, "\xE2\x88\x92", len - at < 3 ? len - at : 3) != 0)
		at++;
	return at;
}

/* Read a side at *at; *at moves to what follows it. */
static bool scan_side(const char *text, size_t *at, size_t len, struct side *s, struct fault *why)
{
	size_t i = skip_spaces(text, *at, len), n;
	s->sign = 0;
	if ((n = plus_minus(text, i, len)) != 0) {
		i += n;
	} else if (i < len && (text[i] == '+' || text[i] == '-')) {
		s->sign = text[i] == '-' ? -1 : 1;
		i++;
	} else if (len - i >= 3 && memcmp(text + i, "\xE2\x88\x92", 3) == 0) {
		s->sign = -1;
		i += 3;
	}
	i = skip_spaces(text, i, len);
	s->from = i;
	n = i < len && text[i] != '+' && text[i] != '-'
	        ? decimal_read(text + i, len - i, &s->number)
	        : 0;
	if (n == 0)
		return fail(why, i, "a tolerance was expected, such as 5%, -20/+80%, K, +-2 V or >=20M");
	i = skip_spaces(text, i + n, len);
	s->tail = i;
	i = side_end(text, i, len);
	s->end = i;
	while (s->end > s->tail && (text[s->end - 1] == ' ' || text[s->end - 1] == '\t'))
		s->end--;
	if (i < len && text[i] == '/')
		i++;
	*at = i;
	return true;
}

static bool is_percent(const char *text, const struct side *s)
{
	return s->end == s->tail || (s->end - s->tail == 1 && text[s->tail] == '%');
}

/* The size of a side in the unit of `f`: its digits with the unit text of
 * `unit`, which is its own or that of the side behind it. */
static bool side_size(const char *text, const struct side *s, const struct side *unit,
                      enum function f, struct decimal *out, struct fault *why)
{
	if (is_percent(text, unit)) {
		*out = s->number;
		return true;
	}
	char joined[96];
	size_t digits = s->tail - s->from, tail = unit->end - unit->tail;
	if (digits + tail > sizeof joined)
		return fail(why, s->from, "this tolerance is too long");
	for (size_t i = unit->tail; s != unit && i < unit->end; i++)
		if (ascii_digit(text[i]))
			return fail(why, s->from, "both sides need their own unit here");
	memcpy(joined, text + s->from, digits);
	memcpy(joined + digits, text + unit->tail, tail);
	enum function g;
	if (quantity_parse(joined, digits + tail, f, out, &g, why))
		return true;
	why->column = s == unit ? why->column + (int)s->from : (int)unit->tail + 1;
	return false;
}

static bool check_range(const struct tolerance *t, size_t at, struct fault *why)
{
	struct decimal limit = {percent_max, 0}, minus = t->low;
	minus.n = -minus.n;
	if (t->low.n == 0 && t->high.n == 0)
		return fail(why, at, "a tolerance of zero leaves no room for any part");
	if (t->form == TOLERANCE_PERCENT &&
	    (decimal_compare(t->high, limit) > 0 || decimal_compare(minus, limit) > 0))
		return fail(why, at, "a tolerance of more than 1000 % is surely a slip");
	return true;
}

static bool parse_symmetric(const char *text, const struct side *s, enum function f,
                            struct tolerance *out, struct fault *why)
{
	if (s->sign != 0)
		return fail(why, s->from, "one side only: write 5% for both, or -0/+5%");
	if (!side_size(text, s, s, f, &out->high, why))
		return false;
	out->low = out->high;
	out->low.n = -out->low.n;
	out->form = is_percent(text, s) ? TOLERANCE_PERCENT : TOLERANCE_ABSOLUTE;
	return check_range(out, s->from, why);
}

static bool parse_asymmetric(const char *text, const struct side *a, const struct side *b,
                             enum function f, struct tolerance *out, struct fault *why)
{
	if (a->sign * b->sign != -1)
		return fail(why, b->from, "one side needs a minus and the other a plus, as in -20/+80%");
	const struct side *unit = a->end > a->tail ? a : b;
	if (is_percent(text, unit) != is_percent(text, b))
		return fail(why, b->from, "both sides must be in percent, or both in one unit");
	struct decimal x, y;
	if (!side_size(text, a, unit, f, &x, why) || !side_size(text, b, b, f, &y, why))
		return false;
	out->form = is_percent(text, b) ? TOLERANCE_PERCENT : TOLERANCE_ABSOLUTE;
	out->low = a->sign < 0 ? x : y;
	out->high = a->sign < 0 ? y : x;
	out->low.n = -out->low.n;
	return check_range(out, a->from, why);
}

bool tolerance_parse(const char *text, size_t len, enum function f, struct tolerance *out,
                     struct fault *why)
{
	size_t at = skip_spaces(text, 0, len);
	while (len > at && (text[len - 1] == ' ' || text[len - 1] == '\t'))
		len--;
	struct tolerance t = {TOLERANCE_NONE, {0, 0}, {0, 0}};
	if (at == len) {
		*out = t;
		return true;
	}
	bool is_bound;
	if (len - at == 1 && ascii_letter(text[at])) {
		if (!parse_letter(text[at], at, f, &t, why))
			return false;
		*out = t;
		return true;
	}
	if (parse_bound(text + at, len - at, f, &t, why, &is_bound)) {
		*out = t;
		return true;
	}
	if (is_bound) {
		why->column += (int)at;
		return false;
	}
	struct side a, b;
	if (!scan_side(text, &at, len, &a, why))
		return false;
	if (skip_spaces(text, at, len) == len && (at == a.end || text[at - 1] != '/')) {
		if (!parse_symmetric(text, &a, f, &t, why))
			return false;
	} else {
		if (!scan_side(text, &at, len, &b, why))
			return false;
		if (at != len || text[at - 1] == '/')
			return fail(why, at, "nothing more was expected here");
		if (!parse_asymmetric(text, &a, &b, f, &t, why))
			return false;
	}
	*out = t;
	return true;
}

bool tolerance_parse_for(const char *text, size_t len, enum function f, bool has_nominal,
                         struct decimal nominal, struct tolerance *out, struct fault *why)
{
	if (!tolerance_parse(text, len, f, out, why))
		return false;
	size_t at = skip_spaces(text, 0, len);
	if (f == FUNCTION_FARAD && has_nominal && at < len &&
	    skip_spaces(text, at + 1, len) == len)
		tolerance_small_letter(text[at], nominal, out);
	return true;
}

bool tolerance_small_letter(char letter, struct decimal farad, struct tolerance *out)
{
	static const struct decimal ten = {10, -12};
	static const struct {
		char letter;
		int hundredths;
	} small[] = {{'B', 10}, {'C', 25}, {'D', 50}, {'F', 100}, {'G', 200}};
	if (letter >= 'a' && letter <= 'z')
		letter = (char)(letter - 'a' + 'A');
	if (farad.n <= 0 || decimal_compare(farad, ten) >= 0)
		return false;
	for (size_t i = 0; i < sizeof small / sizeof *small; i++)
		if (small[i].letter == letter) {
			struct decimal half = decimal_strip((struct decimal){small[i].hundredths, -14});
			*out = (struct tolerance){TOLERANCE_ABSOLUTE, {-half.n, half.e}, half};
			return true;
		}
	return false;
}

/* Two sides with the prefix of the larger, so that they read alike. */
static int shown_sides(const struct tolerance *t, enum function f, char *out, size_t size)
{
	struct decimal minus = t->low;
	minus.n = -minus.n;
	bool percent = t->form == TOLERANCE_PERCENT;
	if (percent)
		f = FUNCTION_NONE;
	struct decimal larger = decimal_compare(minus, t->high) > 0 ? minus : t->high;
	int prefix = quantity_prefix(larger, f);
	char low[2 * DECIMAL_TEXT_SIZE], high[2 * DECIMAL_TEXT_SIZE];
	quantity_shown(t->high, f, prefix, high, sizeof high);
	if (decimal_compare(minus, t->high) == 0)
		return snprintf(out, size, "%s%s%s", percent ? "" : "+-", high, percent ? "%" : "");
	minus.e -= f == FUNCTION_NONE ? 0 : prefix;
	decimal_plain(minus, low, sizeof low);
	return snprintf(out, size, "-%s/+%s%s", low, high, percent ? "%" : "");
}

size_t tolerance_shown(const struct tolerance *t, enum function f, char *out, size_t size)
{
	int n = 0;
	char bound[2 * DECIMAL_TEXT_SIZE];
	if (size)
		out[0] = '\0';
	switch (t->form) {
	case TOLERANCE_NONE:
		break;
	case TOLERANCE_PERCENT:
	case TOLERANCE_ABSOLUTE:
		n = shown_sides(t, f, out, size);
		break;
	case TOLERANCE_AT_LEAST:
		bound_shown(t->low, f, bound, sizeof bound);
		n = snprintf(out, size, ">=%s", bound);
		break;
	case TOLERANCE_AT_MOST:
		bound_shown(t->high, f, bound, sizeof bound);
		n = snprintf(out, size, "<=%s", bound);
		break;
	}
	if (n < 0)
		return 0;
	return (size_t)n < size ? (size_t)n : size ? size - 1 : 0;
}

/* nominal + percent of it, exactly. */
static bool percent_of(struct decimal nominal, struct decimal percent, struct decimal *out)
{
	struct decimal part;
	percent = decimal_strip(percent);
	percent.e -= 2;
	return decimal_multiply(decimal_strip(nominal), percent, &part) &&
	       decimal_add(nominal, part, out);
}

bool limits_from(const struct tolerance *t, bool has_nominal, struct decimal nominal,
                 struct limits *out)
{
	struct limits l = {true, true, {0, 0}, {0, 0}};
	switch (t->form) {
	case TOLERANCE_NONE:
		return false;
	case TOLERANCE_AT_LEAST:
		l.has_high = false;
		l.low = t->low;
		break;
	case TOLERANCE_AT_MOST:
		l.has_low = false;
		l.high = t->high;
		break;
	case TOLERANCE_ABSOLUTE:
		if (!has_nominal || !decimal_add(nominal, t->low, &l.low) ||
		    !decimal_add(nominal, t->high, &l.high))
			return false;
		break;
	case TOLERANCE_PERCENT:
		/* Percent of zero says nothing. */
		if (!has_nominal || nominal.n == 0 || !percent_of(nominal, t->low, &l.low) ||
		    !percent_of(nominal, t->high, &l.high))
			return false;
		break;
	}
	if (l.has_low && l.has_high && decimal_compare(l.low, l.high) > 0) {
		struct decimal swap = l.low;
		l.low = l.high;
		l.high = swap;
	}
	*out = l;
	return true;
}
