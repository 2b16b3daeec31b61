/* SPDX-License-Identifier: MIT */
/* Where a character of UTF-8 ends. */
#ifndef TALLY_FILE_UTF8_H
#define TALLY_FILE_UTF8_H

#include <stddef.h>

/* Bytes of the UTF-8 character at `text` (1 to 4), 0 where none stands there:
 * the shortest form only, no surrogates, nothing above U+10FFFF (RFC 3629). */
size_t utf8_length(const char *text, size_t len);

#endif
