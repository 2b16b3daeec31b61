/* SPDX-License-Identifier: MIT */
/* See utf8.h. */
#include "protocol/file/utf8.h"

size_t utf8_length(const char *text, size_t len)
{
	const unsigned char *s = (const unsigned char *)text;
	if (!len)
		return 0;
	if (s[0] < 0x80)
		return 1;
	size_t n = s[0] >= 0xc2 && s[0] <= 0xdf ? 2 : (s[0] & 0xf0) == 0xe0 ? 3
	           : s[0] >= 0xf0 && s[0] <= 0xf4                        ? 4
	                                                                 : 0;
	if (!n || len < n)
		return 0;
	/* The second byte alone keeps out long forms, surrogates and what lies above
	 * U+10FFFF (the table of RFC 3629, section 4). */
	unsigned char low = s[0] == 0xe0 ? 0xa0 : s[0] == 0xf0 ? 0x90 : 0x80;
	unsigned char high = s[0] == 0xed ? 0x9f : s[0] == 0xf4 ? 0x8f : 0xbf;
	if (s[1] < low || s[1] > high)
		return 0;
	for (size_t i = 2; i < n; i++)
		if ((s[i] & 0xc0) != 0x80)
			return 0;
	return n;
}
