/* SPDX-License-Identifier: MIT */
/* See decimal.h.  128-bit integers carry the intermediate results, so that
 * comparing and multiplying never need a second, approximate path. */
#include "protocol/trade/decimal.h"

#include "protocol/trade/ascii.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

__extension__ typedef __int128 wide;

/* 10^18 is the smallest number with more digits than DECIMAL_DIGITS_MAX. */
static const int64_t digits_limit = INT64_C(1000000000000000000);

static bool fits(wide n)
{
	return n > -(wide)digits_limit && n < (wide)digits_limit;
}

/* The digits and the point; the exponent part is read by the caller. */
static size_t read_digits(const char *text, size_t len, struct decimal *out)
{
	size_t i = 0;
	bool any = false, point = false;
	int64_t n = 0;
	int e = 0;
	for (; i < len; i++) {
		if (text[i] == '.' && !point) {
			point = true;
			continue;
		}
		if (!ascii_digit(text[i]))
			break;
		any = true;
		if (n >= digits_limit / 10) {
			/* Only zeros can be dropped without changing the value. */
			if (text[i] != '0')
				return 0;
			if (!point)
				e++;
			continue;
		}
		n = n * 10 + (text[i] - '0');
		if (point)
			e--;
	}
	if (!any)
		return 0;
	out->n = n;
	out->e = e;
	return i;
}

/* Bytes of an exponent part at `text`, 0 where there is none. */
static size_t read_exponent(const char *text, size_t len, int *out)
{
	size_t i = 0;
	if (len < 2 || (text[0] != 'e' && text[0] != 'E'))
		return 0;
	i = 1;
	bool minus = text[i] == '-';
	if (text[i] == '+' || text[i] == '-')
		i++;
	size_t first = i;
	int e = 0;
	for (; i < len && ascii_digit(text[i]); i++)
		if (e < 10000)
			e = e * 10 + (text[i] - '0');
	if (i == first)
		return 0;
	*out = minus ? -e : e;
	return i;
}

size_t decimal_read(const char *text, size_t len, struct decimal *out)
{
	size_t i = 0;
	bool minus = false;
	if (len && (text[0] == '+' || text[0] == '-')) {
		minus = text[0] == '-';
		i = 1;
	}
	struct decimal d;
	size_t digits = read_digits(text + i, len - i, &d);
	if (!digits)
		return 0;
	i += digits;
	int e = 0;
	i += read_exponent(text + i, len - i, &e);
	d.e += e;
	if (d.n == 0 && (d.e > DECIMAL_EXP_MAX || d.e < DECIMAL_EXP_MIN))
		d.e = d.e > 0 ? DECIMAL_EXP_MAX : DECIMAL_EXP_MIN;
	if (d.e > DECIMAL_EXP_MAX || d.e < DECIMAL_EXP_MIN)
		return 0;
	if (minus)
		d.n = -d.n;
	*out = d;
	return i;
}

bool decimal_parse(const char *text, size_t len, struct decimal *out)
{
	struct decimal d;
	size_t n = decimal_read(text, len, &d);
	if (n == 0 || n != len)
		return false;
	*out = d;
	return true;
}

double decimal_double(struct decimal d)
{
	/* Both exactly representable: one rounding, so correctly rounded.  Powers
	 * of ten up to 22 and integers up to 2^53 are exact in a double. */
	static const double power[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
	                               1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
	                               1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};
	if (d.n <= (INT64_C(1) << 53) && d.n >= -(INT64_C(1) << 53)) {
		if (d.e >= 0 && d.e <= 22)
			return (double)d.n * power[d.e];
		if (d.e < 0 && d.e >= -22)
			return (double)d.n / power[-d.e];
	}
	char text[DECIMAL_TEXT_SIZE];
	snprintf(text, sizeof text, "%llde%d", (long long)d.n, d.e);
	return strtod(text, NULL); /* no point in the text: free of the locale */
}

struct decimal decimal_from_double(double x, int figures)
{
	struct decimal d = {0, 0};
	if (!isfinite(x) || x == 0)
		return d;
	if (figures < 1)
		figures = 1;
	if (figures > 17)
		figures = 17;
	/* Near 10^DECIMAL_EXP_MIN not every figure has a place: as many as have. */
	for (; figures > 0; figures--) {
		char text[DECIMAL_TEXT_SIZE];
		snprintf(text, sizeof text, "%.*e", figures - 1, x);
		/* A locale may have put something else where the point belongs. */
		for (char *c = text; *c; c++)
			if (!ascii_digit(*c) && *c != '-' && *c != '+' && *c != 'e')
				*c = '.';
		if (decimal_parse(text, strlen(text), &d))
			break;
	}
	return d;
}

/* n * 10^k, false where it does not fit 128 bits. */
static bool scale_up(wide n, int k, wide *out)
{
	const wide limit = ((wide)1 << 126) / 10;
	for (; k > 0; k--) {
		if (n > limit || n < -limit)
			return false;
		n *= 10;
	}
	*out = n;
	return true;
}

int decimal_compare(struct decimal a, struct decimal b)
{
	wide x = a.n, y = b.n;
	int sign_a = (x > 0) - (x < 0), sign_b = (y > 0) - (y < 0);
	if (sign_a != sign_b)
		return sign_a < sign_b ? -1 : 1;
	if (sign_a == 0)
		return 0;
	/* Where the scaled one does not fit, it is the larger in magnitude. */
	if (a.e > b.e && !scale_up(x, a.e - b.e, &x))
		return sign_a;
	if (b.e > a.e && !scale_up(y, b.e - a.e, &y))
		return -sign_a;
	return (x > y) - (x < y);
}

struct decimal decimal_strip(struct decimal d)
{
	if (d.n == 0)
		return (struct decimal){0, 0};
	while (d.n % 10 == 0 && d.e < DECIMAL_EXP_MAX) {
		d.n /= 10;
		d.e++;
	}
	return d;
}

bool decimal_rescale(struct decimal d, int e, struct decimal *out)
{
	if (e > DECIMAL_EXP_MAX || e < DECIMAL_EXP_MIN)
		return false;
	wide n = d.n;
	if (d.n == 0) {
		*out = (struct decimal){0, e};
		return true;
	}
	if (e <= d.e) {
		if (!scale_up(n, d.e - e, &n) || !fits(n))
			return false;
	} else {
		for (int k = d.e; k < e; k++) {
			if (n % 10 != 0)
				return false;
			n /= 10;
		}
	}
	*out = (struct decimal){(int64_t)n, e};
	return true;
}

/* Fit a 128-bit result: zeros may come and go at the end, digits may not. */
static bool settle_wide(wide n, int e, struct decimal *out)
{
	if (n == 0)
		e = e < DECIMAL_EXP_MIN ? DECIMAL_EXP_MIN : e > DECIMAL_EXP_MAX ? DECIMAL_EXP_MAX : e;
	while ((!fits(n) || e < DECIMAL_EXP_MIN) && n != 0 && n % 10 == 0) {
		n /= 10;
		e++;
	}
	for (; e > DECIMAL_EXP_MAX && fits(n * 10); e--)
		n *= 10;
	if (!fits(n) || e > DECIMAL_EXP_MAX || e < DECIMAL_EXP_MIN)
		return false;
	*out = (struct decimal){(int64_t)n, e};
	return true;
}

bool decimal_add(struct decimal a, struct decimal b, struct decimal *out)
{
	wide x = a.n, y = b.n;
	int e = a.e < b.e ? a.e : b.e;
	if (!scale_up(x, a.e - e, &x) || !scale_up(y, b.e - e, &y))
		return false;
	return settle_wide(x + y, e, out);
}

bool decimal_subtract(struct decimal a, struct decimal b, struct decimal *out)
{
	b.n = -b.n;
	return decimal_add(a, b, out);
}

bool decimal_multiply(struct decimal a, struct decimal b, struct decimal *out)
{
	return settle_wide((wide)a.n * (wide)b.n, a.e + b.e, out);
}

size_t decimal_plain(struct decimal d, char *out, size_t size)
{
	char digits[24];
	uint64_t n = d.n < 0 ? (uint64_t)0 - (uint64_t)d.n : (uint64_t)d.n;
	int len = snprintf(digits, sizeof digits, "%llu", (unsigned long long)n);
	int point = d.e < 0 ? -d.e : 0; /* digits after the point */
	int zeros = d.e > 0 && n ? d.e : 0;
	char text[DECIMAL_TEXT_SIZE + 32];
	size_t at = 0;
	if (d.n < 0)
		text[at++] = '-';
	for (int i = len > point ? len : point + 1; i > 0; i--) {
		text[at++] = i > len ? '0' : digits[len - i];
		if (i - 1 == point && point)
			text[at++] = '.';
	}
	for (; zeros > 0; zeros--)
		text[at++] = '0';
	text[at] = '\0';
	int w = snprintf(out, size, "%s", text);
	return w < 0 ? 0 : (size_t)w < size ? (size_t)w : size ? size - 1 : 0;
}

size_t decimal_json(struct decimal d, char *out, size_t size)
{
	d = decimal_strip(d);
	char digits[24];
	uint64_t n = d.n < 0 ? (uint64_t)0 - (uint64_t)d.n : (uint64_t)d.n;
	int len = snprintf(digits, sizeof digits, "%llu", (unsigned long long)n);
	int lead = len + d.e; /* digits before the point */
	if (lead >= -3 && lead <= 15 && d.e > -DECIMAL_DIGITS_MAX - 3)
		return decimal_plain(d, out, size);
	int w = snprintf(out, size, "%s%c%s%se%s%02d", d.n < 0 ? "-" : "", digits[0],
	                 len > 1 ? "." : "", digits + 1, lead - 1 < 0 ? "-" : "+",
	                 lead - 1 < 0 ? 1 - lead : lead - 1);
	return w < 0 ? 0 : (size_t)w < size ? (size_t)w : size ? size - 1 : 0;
}
