/* SPDX-License-Identifier: MIT */
/* See config_value.h. */
#include "daemon/config_value.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

bool value_word(const char *value, const char *const *words, int *out, struct fault *why)
{
	char list[160] = "";
	for (int i = 0; words[i]; i++) {
		if (strcmp(words[i], value) == 0) {
			*out = i;
			return true;
		}
		size_t len = strlen(list);
		snprintf(list + len, sizeof list - len, "%s%s", !i ? "" : words[i + 1] ? ", " : " or ",
		         words[i]);
	}
	fault_set(why, "`%.60s`: expected %s", value, list);
	return false;
}

bool value_whole(const char *value, int low, int high, int *out, struct fault *why)
{
	long n = 0;
	size_t digits = strspn(value, "0123456789");
	if (digits > 0 && digits < 9 && !value[digits])
		n = atol(value);
	else
		n = (long)high + 1;
	if (n < low || n > high) {
		fault_set(why, "`%.60s`: expected a whole number from %d to %d", value, low, high);
		return false;
	}
	*out = (int)n;
	return true;
}

/* Digits and point at the start of the value; *rest is what follows, without
 * spaces between. */
static bool leading_number(const char *value, double *out, const char **rest)
{
	struct decimal d;
	size_t n = decimal_read(value, strlen(value), &d);
	if (n == 0)
		return false;
	*out = decimal_double(d);
	*rest = value + n + strspn(value + n, " \t");
	return true;
}

bool value_seconds(const char *value, int64_t low, int64_t high, int64_t *us, struct fault *why)
{
	double number = 0;
	const char *unit = "";
	bool good = leading_number(value, &number, &unit);
	double scale = strcmp(unit, "ms") == 0 ? 1e3 : 1e6;
	good = good && (!*unit || strcmp(unit, "s") == 0 || strcmp(unit, "ms") == 0);
	double t = number * scale;
	if (!good || t < (double)low || t > (double)high) {
		fault_set(why, "`%.60s`: expected seconds from %g to %g, as in 0.5 or 500 ms", value,
		          (double)low / 1e6, (double)high / 1e6);
		return false;
	}
	*us = llround(t);
	return true;
}

bool value_number(const char *value, double low, double high, double *out, struct fault *why)
{
	double number = 0;
	const char *rest = "";
	int exponent = 0;
	bool good = leading_number(value, &number, &rest);
	if (good && *rest)
		good = !rest[1] && prefix_exponent(*rest, &exponent);
	number *= pow(10, exponent);
	if (!good || number < low || number > high) {
		fault_set(why, "`%.60s`: expected a number from %g to %g", value, low, high);
		return false;
	}
	*out = number;
	return true;
}

bool value_quantity(const char *value, enum function f, double low, double high,
                    struct decimal *out, struct fault *why)
{
	enum function found;
	if (!quantity_parse(value, strlen(value), f, out, &found, why))
		return false;
	double x = decimal_double(*out);
	if (x < low || x > high) {
		fault_set(why, "`%.60s`: expected %s from %g to %g", value, function_words(f), low, high);
		return false;
	}
	return true;
}

bool value_text(const char *value, const char *what, char *out, size_t size, struct fault *why)
{
	size_t len = strlen(value);
	if (len == 0) {
		fault_set(why, "nothing stands here: expected %s", what);
		return false;
	}
	for (size_t i = 0; i < len; i++)
		if ((unsigned char)value[i] < 0x20 || value[i] == 0x7f) {
			fault_at(why, NULL, 0, (int)i + 1, "a control character in %s", what);
			return false;
		}
	if (len >= size) {
		fault_at(why, NULL, 0, (int)size, "%s is longer than %zu bytes", what, size - 1);
		return false;
	}
	memcpy(out, value, len + 1);
	return true;
}
