/* SPDX-License-Identifier: MIT */
/* See words.h. */
#include "client/words.h"

#include "protocol/trade/quantity.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- values ---- */

/* The unit of a shown value: what stands after the last space; "" without one. */
static const char *shown_unit(const char *shown)
{
	const char *space = strrchr(shown, ' ');
	return space ? space + 1 : "";
}

void words_value(const struct style *style, const char *shown, char *out, size_t size)
{
	const char *unit = shown_unit(shown);
	size_t length = strlen(unit);
	if (!style->utf8 || !length) {
		snprintf(out, size, "%s", shown);
		return;
	}
	bool micro = unit[0] == 'u' && length > 1;
	bool ohm = length >= 3 && strcmp(unit + length - 3, "ohm") == 0;
	size_t skip = micro ? 1 : 0;
	snprintf(out, size, "%.*s%s%.*s%s", (int)(unit - shown), shown, micro ? "\u00b5" : "",
	         (int)(length - skip - (ohm ? 3 : 0)), unit + skip, ohm ? "\u03a9" : "");
}

/* Function and prefix that a shown value's unit stands for. */
static bool shown_scale(const char *shown, enum function *f, int *prefix)
{
	const char *unit = shown_unit(shown);
	for (int i = FUNCTION_NONE + 1; i < FUNCTION_COUNT; i++) {
		const char *name = function_unit((enum function)i);
		if (!name[0])
			continue;
		*f = (enum function)i;
		*prefix = 0;
		if (strcmp(unit, name) == 0)
			return true;
		if (unit[0] && strcmp(unit + 1, name) == 0 && prefix_exponent(unit[0], prefix))
			return true;
	}
	*f = FUNCTION_NONE;
	*prefix = 0;
	return false;
}

/* The prefix of watts and seconds: no meter reads in them, but places are worked out in them. */
static int calculated_scale(const char *unit)
{
	static const char *const units[] = {"W", "s"};
	int prefix;
	for (size_t i = 0; i < sizeof units / sizeof units[0]; i++)
		if (unit[0] && strcmp(unit + 1, units[i]) == 0 && prefix_exponent(unit[0], &prefix))
			return prefix;
	return 0;
}

void words_like(const struct style *style, double x, int figures, const char *like, char *out,
                size_t size)
{
	char text[WORDS_SIZE];
	struct decimal d = decimal_from_double(x, figures);
	enum function f;
	int prefix;
	if (!shown_scale(like, &f, &prefix)) {
		char number[DECIMAL_TEXT_SIZE * 2];
		const char *unit = shown_unit(like);
		d.e -= calculated_scale(unit);
		decimal_plain(d, number, sizeof number);
		snprintf(text, sizeof text, "%s%s%.20s", number, unit[0] ? " " : "", unit);
	} else {
		/* Digits left of the last figure would be zeros made up, but "3000" reads
		 * better than an exponent. */
		quantity_shown(d, f, prefix, text, sizeof text);
	}
	words_value(style, text, out, size);
}

/* The bound in the prefix, without its unit: 0.09 for 9e-8 at -6. */
static void bound_number(struct decimal d, int prefix, char *out, size_t size)
{
	d = decimal_strip(d);
	d.e -= prefix;
	decimal_plain(d, out, size);
}

/* Would the bound at this prefix be a number that people like to read? */
static bool readable(struct decimal d, int prefix)
{
	double x = fabs(decimal_double(d)) / pow(10, prefix);
	return x == 0 || (x >= 0.01 && x < 10000);
}

static void bounds_text(const struct style *style, const struct decimal *low,
                        const struct decimal *high, enum function f, int prefix, char *out,
                        size_t size)
{
	char a[DECIMAL_TEXT_SIZE] = "", b[DECIMAL_TEXT_SIZE] = "", text[WORDS_SIZE];
	char letter[2] = {prefix_letter(prefix), '\0'};
	const char *unit = function_unit(f);
	const char *gap = unit[0] ? " " : "";
	if (low)
		bound_number(*low, prefix, a, sizeof a);
	if (high)
		bound_number(*high, prefix, b, sizeof b);
	if (low && high)
		snprintf(text, sizeof text, "%s to %s%s%s%s", a, b, gap, letter, unit);
	else
		snprintf(text, sizeof text, "%s %s%s%s%s", low ? "at least" : "at most", low ? a : b,
		         gap, letter, unit);
	words_value(style, text, out, size);
}

/* Limits from two decimals of a function; either may be missing (NULL). */
static void words_bounds(const struct style *style, const struct decimal *low,
                         const struct decimal *high, const char *function, char *out, size_t size)
{
	enum function f = FUNCTION_NONE;
	out[0] = '\0';
	if (!low && !high)
		return;
	function_from_name(function, strlen(function), &f);
	struct decimal largest = high ? *high : *low;
	if (low && high && fabs(decimal_double(*low)) > fabs(decimal_double(*high)))
		largest = *low;
	bounds_text(style, low, high, f, bound_prefix(largest, f), out, size);
}

void words_limits(const struct style *style, struct slice entry, char *out, size_t size)
{
	words_limits_of(style, entry, json_member(entry.at, entry.len, "limits"), out, size);
}

void words_limits_of(const struct style *style, struct slice entry, struct slice pair, char *out,
                     size_t size)
{
	struct decimal low, high;
	out[0] = '\0';
	bool has_low = pair.at && json_decimal(json_element(pair, 0), &low);
	bool has_high = pair.at && json_decimal(json_element(pair, 1), &high);
	char function[32], shown[WORDS_SIZE];
	words_member(entry, "function", function, sizeof function);
	words_member(entry, "shown", shown, sizeof shown);
	enum function f;
	int prefix;
	/* The prefix that the meter showed, so that value and limits compare at a
	 * glance; unless the value lies so far off that they would not be readable. */
	bool scaled = shown_scale(shown, &f, &prefix) && (!has_low || readable(low, prefix)) &&
	              (!has_high || readable(high, prefix));
	if (scaled && (has_low || has_high))
		bounds_text(style, has_low ? &low : NULL, has_high ? &high : NULL, f, prefix, out, size);
	else
		words_bounds(style, has_low ? &low : NULL, has_high ? &high : NULL, function, out, size);
}

void words_nominal(struct slice row, char *out, size_t size)
{
	struct decimal d;
	enum function f;
	char word[32];
	words_member(row, "written.nominal", out, size);
	if (out[0] || !json_decimal(json_member(row.at, row.len, "nominal"), &d))
		return;
	words_member(row, "function", word, sizeof word);
	if (!function_from_name(word, strlen(word), &f))
		f = FUNCTION_NONE;
	bound_shown(decimal_strip(d), f, out, size);
}

void words_compared(struct slice side, char *out, size_t size)
{
	words_member(side, "judged", out, size);
	if (!out[0])
		words_member(side, "shown", out, size);
}

/* ---- deviation ---- */

/* Is the nominal negative?  value = nominal * (1 + deviation); where the value is
 * zero the limits tell. */
static bool nominal_negative(struct slice entry, double value, double deviation)
{
	double low, high;
	if (value != 0 && deviation != -1)
		return (value < 0) == (1 + deviation > 0);
	struct slice pair = json_member(entry.at, entry.len, "limits");
	if (pair.at && json_number(json_element(pair, 0), &low) && low < 0 &&
	    json_number(json_element(pair, 1), &high))
		return high <= 0 || -low > high;
	return value < 0;
}

static void overload_text(const struct style *style, struct slice entry, char *out, size_t size)
{
	struct decimal above;
	char function[32], text[WORDS_SIZE];
	enum function f = FUNCTION_NONE;
	out[0] = '\0';
	if (!json_decimal(json_member(entry.at, entry.len, "above"), &above)) {
		/* Where the range ends is not known: the side is all there is to say. */
		words_member(entry, "side", out, size);
		return;
	}
	words_member(entry, "function", function, sizeof function);
	function_from_name(function, strlen(function), &f);
	above = decimal_strip(above);
	int prefix = quantity_prefix(above, f);
	if (above.e > prefix) /* 20 Mohm is {2, 7}: written with its zero */
		decimal_rescale(above, prefix, &above);
	quantity_shown(above, f, prefix, text, sizeof text);
	char value[WORDS_SIZE];
	words_value(style, text, value, sizeof value);
	/* About zero, of which sign is not known. */
	bool either = words_member_is(entry, "verdict", "outside") && (f == FUNCTION_VOLT_DC || f == FUNCTION_AMP_DC)
	              && json_absent(json_member(entry.at, entry.len, "side"));
	snprintf(out, size, "%s %.100s", either ? "beyond" : "above", value);
}

void words_deviation(const struct style *style, struct slice entry, char *out, size_t size)
{
	double deviation, value;
	char side[16];
	out[0] = '\0';
	if (!json_number(json_member(entry.at, entry.len, "value"), &value)) {
		overload_text(style, entry, out, size);
		return;
	}
	if (!json_number(json_member(entry.at, entry.len, "deviation"), &deviation)) {
		/* Nominal zero, or bounds alone: the side is all there is to say. */
		words_member(entry, "side", side, sizeof side);
		snprintf(out, size, "%s", side);
		return;
	}
	double percent = fabs(deviation) * 100;
	const char *which = deviation > 0 ? "high" : "low";
	if (nominal_negative(entry, value, deviation))
		which = value > 0 ? "off, of the wrong sign"
		      : deviation > 0 ? "more negative" : "less negative";
	if (percent < 0.005)
		snprintf(out, size, "on nominal");
	else if (deviation >= 10)
		/* A percentage with many digits says less than how many times it is. */
		snprintf(out, size, "%.0f times nominal", 1 + deviation);
	else
		snprintf(out, size, "%.*f %% %s", percent < 0.995 ? 2 : percent < 99.95 ? 1 : 0,
		         percent, which);
}

/* ---- reasons ---- */

static const struct {
	const char *reason, *means, *next;
} reason_table[] = {
	{"meter", "too near the limit for this meter", "measure with a more accurate one"},
	{"circuit", "other paths in the circuit count", "lift one leg and measure again"},
	{"moving", "it had not settled", "let it settle and measure again"},
	{"offset", "the lead offset is missing", "short the leads and take the offset"},
	{"other-value", "another value seems to be fitted", "read its marking"},
	{"leakage", "reads high as a leaky part does", "measure its leakage at working volts"},
	{"open", "reads open", "look at its joints, then replace it"},
	{"limits-of-meter", "outside this meter's limits of use", "measure with another kind of meter"},
};

const char *words_reason(const char *reason)
{
	for (size_t i = 0; i < sizeof reason_table / sizeof reason_table[0]; i++)
		if (strcmp(reason, reason_table[i].reason) == 0)
			return reason_table[i].means;
	return reason;
}

const char *words_next(const char *reason)
{
	for (size_t i = 0; i < sizeof reason_table / sizeof reason_table[0]; i++)
		if (strcmp(reason, reason_table[i].reason) == 0)
			return reason_table[i].next;
	return "";
}

/* ---- times and marks ---- */

void words_time(const struct style *style, struct slice time, bool date, char *out, size_t size)
{
	char text[64], local[20];
	int64_t us;
	out[0] = '\0';
	if (!json_text(time, text, sizeof text))
		return;
	if (!time_parse(text, strlen(text), &us)) {
		words_clean(text, strlen(text), out, size);
		return;
	}
	if (style->local) {
		style->local(us, local);
		local[19] = '\0';
	} else {
		/* What stands in the record is UTC: its first 19 characters. */
		snprintf(local, sizeof local, "%.10s %.8s", text, text + 11);
	}
	snprintf(out, size, "%s", date ? local : local + 11);
}

void words_mark(const struct style *style, const char *verdict, const char *text, char *out,
                size_t size)
{
	static const char *const marks[][3] = {
		{"within", "\xe2\x9c\x93 ", "  "}, {"outside", "\xe2\x9c\x97 ", "! "}, {"unsure", "? ", "? "}};
	const char *mark = style->plain ? "" : "  ";
	for (size_t i = 0; !style->plain && i < sizeof marks / sizeof marks[0]; i++)
		if (strcmp(verdict, marks[i][0]) == 0)
			mark = marks[i][style->utf8 ? 1 : 2];
	snprintf(out, size, "%s%s", mark, text);
}

void words_hertz(struct slice object, char *out, size_t size)
{
	double hertz;
	out[0] = '\0';
	if (json_number(json_member(object.at, object.len, "frequency"), &hertz) && hertz > 0)
		snprintf(out, size, hertz < 1000 ? "%g Hz" : "%g kHz", hertz < 1000 ? hertz : hertz / 1000);
}
