/* SPDX-License-Identifier: MIT */
/* See quantity.h. */
#include "protocol/trade/quantity.h"

#include <stdio.h>
#include <string.h>

static const struct {
	const char *name, *unit, *words;
} functions[FUNCTION_COUNT] = {
#define X(id, name, unit, words) {name, unit, words},
    FUNCTION_LIST(X)
#undef X
};

static const char *const quantities[QUANTITY_COUNT] = {
#define X(id, name) name,
    QUANTITY_LIST(X)
#undef X
};

static bool same(const char *name, const char *text, size_t len)
{
	return strlen(name) == len && memcmp(name, text, len) == 0;
}

const char *function_name(enum function f)
{
	return (unsigned)f < FUNCTION_COUNT ? functions[f].name : "";
}

const char *function_unit(enum function f)
{
	return (unsigned)f < FUNCTION_COUNT ? functions[f].unit : "";
}

const char *function_words(enum function f)
{
	return (unsigned)f < FUNCTION_COUNT ? functions[f].words : "";
}

bool function_from_name(const char *name, size_t len, enum function *out)
{
	for (int i = 0; i < FUNCTION_COUNT; i++)
		if (same(functions[i].name, name, len)) {
			*out = (enum function)i;
			return true;
		}
	return false;
}

const char *quantity_name(enum quantity q)
{
	return (unsigned)q < QUANTITY_COUNT ? quantities[q] : "";
}

bool quantity_from_name(const char *name, size_t len, enum quantity *out)
{
	for (int i = 0; i < QUANTITY_COUNT; i++)
		if (same(quantities[i], name, len)) {
			*out = (enum quantity)i;
			return true;
		}
	return false;
}

static const struct {
	char letter;
	int exponent;
} prefixes[] = {{'p', -12}, {'n', -9}, {'u', -6}, {'m', -3}, {'k', 3},
                {'K', 3},   {'M', 6},  {'G', 9},  {'T', 12}};

bool prefix_exponent(char letter, int *out)
{
	if (letter == '\0') {
		*out = 0;
		return true;
	}
	for (size_t i = 0; i < sizeof prefixes / sizeof *prefixes; i++)
		if (prefixes[i].letter == letter) {
			*out = prefixes[i].exponent;
			return true;
		}
	return false;
}

char prefix_letter(int exponent)
{
	for (size_t i = 0; i < sizeof prefixes / sizeof *prefixes; i++)
		if (prefixes[i].exponent == exponent)
			return prefixes[i].letter;
	return '\0';
}

static bool takes_prefix(enum function f)
{
	return f != FUNCTION_NONE && f != FUNCTION_PERCENT && f != FUNCTION_CELSIUS &&
	       f != FUNCTION_NUMBER;
}

size_t quantity_shown(struct decimal value, enum function f, int prefix, char *out, size_t size)
{
	char letter = takes_prefix(f) ? prefix_letter(prefix) : '\0';
	if (letter)
		value.e -= prefix;
	char number[2 * DECIMAL_TEXT_SIZE];
	decimal_plain(value, number, sizeof number);
	const char *unit = function_unit(f);
	char mark[2] = {letter, '\0'};
	int n = snprintf(out, size, "%s%s%s%s", number, *unit ? " " : "", mark, unit);
	if (n < 0)
		return 0;
	return (size_t)n < size ? (size_t)n : size ? size - 1 : 0;
}

int bound_prefix(struct decimal value, enum function f)
{
	if (f != FUNCTION_NONE && f != FUNCTION_NUMBER)
		return quantity_prefix(value, f);
	int prefix = quantity_prefix(value, FUNCTION_OHM);
	double x = decimal_double(value);
	bool plain = x == 0 || (x > -10000 && x < 10000 && (x >= 0.01 || x <= -0.01));
	return plain ? 0 : prefix;
}

size_t bound_shown(struct decimal value, enum function f, char *out, size_t size)
{
	int prefix = bound_prefix(value, f);
	if (!takes_prefix(f))
		value = decimal_strip(value);
	if (value.e > prefix)
		decimal_rescale(value, prefix, &value);
	if (takes_prefix(f) || prefix == 0)
		return quantity_shown(value, f, prefix, out, size);
	char number[2 * DECIMAL_TEXT_SIZE];
	value.e -= prefix;
	decimal_plain(value, number, sizeof number);
	int n = snprintf(out, size, "%s%c", number, prefix_letter(prefix));
	return n < 0 ? 0 : (size_t)n < size ? (size_t)n : size ? size - 1 : 0;
}

int quantity_prefix(struct decimal value, enum function f)
{
	if (value.n == 0 || !takes_prefix(f))
		return 0;
	int magnitude = value.e; /* power of ten of the leading digit */
	for (int64_t n = value.n / 10; n != 0; n /= 10)
		magnitude++;
	int prefix = 0;
	while (prefix < 12 && magnitude >= prefix + 3)
		prefix += 3;
	while (prefix > -12 && magnitude < prefix)
		prefix -= 3;
	return prefix;
}
