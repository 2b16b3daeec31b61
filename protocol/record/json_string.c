/* SPDX-License-Identifier: MIT */
/*
 * The characters of JSON strings, with their escapes: see json_string.h.
 */
#include "protocol/record/json_string.h"

#include "protocol/file/escape.h"
#include "protocol/record/text.h"

#include <string.h>

/* The four digits of \uXXXX at s, -1 where they are not there. */
static int32_t escape_unit(const char *s, size_t len)
{
	if (len < 6 || s[0] != '\\' || s[1] != 'u')
		return -1;
	int32_t unit = 0;
	for (int i = 2; i < 6; i++) {
		int v = hex_value(s[i]);
		if (v < 0)
			return -1;
		unit = unit * 16 + v;
	}
	return unit;
}

size_t utf8_put(int32_t c, char out[4])
{
	uint32_t u = (uint32_t)c;
	if (u < 0x80) {
		out[0] = (char)u;
		return 1;
	}
	size_t n = u < 0x800 ? 2 : u < 0x10000 ? 3 : 4;
	for (size_t i = n - 1; i > 0; i--) {
		out[i] = (char)(0x80 | (u & 0x3f));
		u >>= 6;
	}
	out[0] = (char)((n == 2 ? 0xc0u : n == 3 ? 0xe0u : 0xf0u) | u);
	return n;
}

size_t string_step(const char *s, size_t len, char out[4], size_t *out_len)
{
	static const char letters[] = "\"\\/bfnrt", meant[] = "\"\\/\b\f\n\r\t";
	if (!len || (unsigned char)s[0] < 0x20)
		return 0;
	if (s[0] != '\\') {
		size_t n = utf8_length(s, len);
		memcpy(out, s, n);
		*out_len = n;
		return n;
	}
	if (len < 2)
		return 0;
	const char *letter = s[1] ? strchr(letters, s[1]) : NULL;
	if (letter) {
		out[0] = meant[letter - letters];
		*out_len = 1;
		return 2;
	}
	int32_t unit = escape_unit(s, len);
	if (unit < 0 || (unit >= 0xdc00 && unit <= 0xdfff))
		return 0;
	if (unit < 0xd800 || unit > 0xdbff) {
		*out_len = utf8_put(unit, out);
		return 6;
	}
	int32_t low = escape_unit(s + 6, len - 6);
	if (low < 0xdc00 || low > 0xdfff)
		return 0;
	*out_len = utf8_put(0x10000 + ((unit - 0xd800) << 10) + (low - 0xdc00), out);
	return 12;
}

bool string_same(const char *a, size_t a_len, const char *b, size_t b_len)
{
	while (a_len && b_len) {
		char x[4], y[4];
		size_t xn = 0, yn = 0;
		size_t an = string_step(a, a_len, x, &xn), bn = string_step(b, b_len, y, &yn);
		if (!an || !bn || xn != yn || memcmp(x, y, xn) != 0)
			return false;
		a += an, a_len -= an;
		b += bn, b_len -= bn;
	}
	return a_len == b_len;
}
