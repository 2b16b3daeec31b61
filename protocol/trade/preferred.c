/* SPDX-License-Identifier: MIT */
/* See preferred.h. */
#include "protocol/trade/preferred.h"

#include <math.h>
#include <string.h>

static const struct {
	const char *name;
	int size;
} series_table[SERIES_COUNT] = {
#define X(id, size) {#id, size},
    SERIES_LIST(X)
#undef X
};

const char *series_name(enum series s)
{
	return (unsigned)s < SERIES_COUNT ? series_table[s].name : "";
}

int series_size(enum series s)
{
	return (unsigned)s < SERIES_COUNT ? series_table[s].size : 0;
}

bool series_from_name(const char *name, size_t len, enum series *out)
{
	for (int i = 0; i < SERIES_COUNT; i++)
		if (strlen(series_table[i].name) == len && memcmp(series_table[i].name, name, len) == 0) {
			*out = (enum series)i;
			return true;
		}
	return false;
}

/* Where the standard keeps another value than its rule gives. */
static int e24_exception(int i)
{
	static const int kept[] = {27, 30, 33, 36, 39, 43, 47};
	if (i >= 10 && i <= 16)
		return kept[i - 10];
	return i == 22 ? 82 : 0;
}

struct decimal series_value(enum series s, int i)
{
	int size = series_size(s);
	if (size == 0 || i < 0 || i >= size)
		return (struct decimal){0, 0};
	if (s <= SERIES_E24) {
		i *= 24 / size;
		int n = e24_exception(i);
		if (n == 0)
			n = (int)floor(10 * pow(10, i / 24.0) + 0.5);
		return (struct decimal){n, -1};
	}
	i *= 192 / size;
	int n = i == 185 ? 920 : (int)floor(100 * pow(10, i / 192.0) + 0.5);
	return (struct decimal){n, -2};
}

/* The decade of a value above zero: value / 10^decade lies in [1, 10). */
static int decade_of(struct decimal value)
{
	int decade = value.e;
	for (int64_t n = value.n / 10; n > 0; n /= 10)
		decade++;
	return decade;
}

/* The value at any index, counted on through the decades. */
static struct decimal value_at(enum series s, int decade, int i)
{
	int size = series_size(s);
	for (; i < 0; i += size)
		decade--;
	for (; i >= size; i -= size)
		decade++;
	struct decimal d = series_value(s, i);
	d.e += decade;
	return d;
}

static bool in_range(struct decimal value)
{
	if (value.n <= 0)
		return false;
	int decade = decade_of(value);
	return decade > DECIMAL_EXP_MIN + 4 && decade < DECIMAL_EXP_MAX - 4;
}

bool series_contains(enum series s, struct decimal value)
{
	if (!in_range(value))
		return false;
	int decade = decade_of(value);
	for (int i = 0; i < series_size(s); i++)
		if (decimal_compare(value_at(s, decade, i), value) == 0)
			return true;
	return false;
}

bool series_of(struct decimal value, enum series *out)
{
	for (int s = 0; s < SERIES_COUNT; s++)
		if (series_contains((enum series)s, value)) {
			*out = (enum series)s;
			return true;
		}
	return false;
}

bool preferred_find(enum series s, struct decimal value, struct neighbours *out)
{
	if (!in_range(value) || series_size(s) == 0)
		return false;
	int decade = decade_of(value), above = 0;
	while (decimal_compare(value_at(s, decade, above), value) <= 0)
		above++;
	int below = above - 1;
	struct decimal at = value_at(s, decade, below);
	bool member = decimal_compare(at, value) == 0;
	out->above = decimal_strip(value_at(s, decade, above));
	out->below = decimal_strip(value_at(s, decade, member ? below - 1 : below));
	if (member) {
		out->nearest = decimal_strip(at);
		return true;
	}
	double x = decimal_double(value);
	bool lower = x / decimal_double(out->below) <= decimal_double(out->above) / x;
	out->nearest = lower ? out->below : out->above;
	return true;
}
