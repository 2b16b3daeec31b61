/* SPDX-License-Identifier: MIT */
/* See escape.h. */
#include "protocol/file/escape.h"

#include "protocol/trade/ascii.h"

#include <string.h>

int hex_value(char c)
{
	if (ascii_digit(c))
		return c - '0';
	if (c >= 'a' && c <= 'f')
		return c - 'a' + 10;
	return c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1;
}

size_t escape_read(const char *text, size_t len, char *out)
{
	static const char letters[] = "rnt\\\"", meant[] = "\r\n\t\\\"";
	if (!len || (unsigned char)*text < 0x20 || (unsigned char)*text > 0x7e)
		return 0;
	if (*text != '\\') {
		*out = *text;
		return 1;
	}
	const char *letter = len > 1 && text[1] ? strchr(letters, text[1]) : NULL;
	if (letter) {
		*out = meant[letter - letters];
		return 2;
	}
	if (len < 4 || text[1] != 'x' || hex_value(text[2]) < 0 || hex_value(text[3]) < 0)
		return 0;
	*out = (char)(hex_value(text[2]) << 4 | hex_value(text[3]));
	return 4;
}

bool escape_read_all(const char *text, size_t len, char *out, size_t size, size_t *got,
                     size_t *at)
{
	size_t n = 0;
	for (size_t i = 0; i < len;) {
		char byte;
		size_t step = escape_read(text + i, len - i, &byte);
		if (!step || n == size) {
			*at = i;
			return false;
		}
		out[n++] = byte;
		i += step;
	}
	*got = n;
	return true;
}
