/* SPDX-License-Identifier: MIT */
/* See base64.h. */
#include "protocol/file/base64.h"

#include <stdint.h>
#include <string.h>

static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

void base64_write(const void *bytes, size_t len, char *out)
{
	const unsigned char *b = bytes;
	for (size_t i = 0; i < len; i += 3) {
		size_t n = len - i;
		uint32_t v = (uint32_t)b[i] << 16 | (n > 1 ? (uint32_t)b[i + 1] << 8 : 0) |
		             (n > 2 ? b[i + 2] : 0);
		*out++ = digits[v >> 18];
		*out++ = digits[v >> 12 & 63];
		*out++ = n > 1 ? digits[v >> 6 & 63] : '=';
		*out++ = n > 2 ? digits[v & 63] : '=';
	}
	*out = '\0';
}

static int digit(char c)
{
	const char *p = c ? strchr(digits, c) : NULL;
	return p ? (int)(p - digits) : -1;
}

bool base64_read(const char *text, size_t len, void *out, size_t *out_len)
{
	unsigned char *to = out;
	size_t pad = 0;
	*out_len = 0;
	if (len % 4)
		return false;
	while (pad < 2 && pad < len && text[len - 1 - pad] == '=')
		pad++;
	for (size_t i = 0; i < len; i += 4) {
		uint32_t v = 0;
		size_t n = i + 4 == len ? 4 - pad : 4;
		for (size_t k = 0; k < n; k++) {
			int d = digit(text[i + k]);
			if (d < 0)
				return false;
			v |= (uint32_t)d << (18 - 6 * k);
		}
		/* Bits that no byte holds. */
		if (n < 4 && (v & (n == 3 ? 0xffu : 0xffffu)))
			return false;
		for (size_t k = 0; k + 1 < n; k++)
			to[(*out_len)++] = (unsigned char)(v >> (16 - 8 * k));
	}
	return true;
}
