/* SPDX-License-Identifier: MIT */
/*
 * Bytes as text: base64 (RFC 4648, section 4), with its padding, without line breaks.
 */
#ifndef TALLY_FILE_BASE64_H
#define TALLY_FILE_BASE64_H

#include <stdbool.h>
#include <stddef.h>

#define BASE64_SIZE(n) (((n) + 2) / 3 * 4 + 1) /* of the text of n bytes, with its NUL */

void base64_write(const void *bytes, size_t len, char *out);
/* `out` has room for len / 4 * 3 bytes.  False for anything else than one whole text, bits
 * of the padding that are not 0 among it. */
bool base64_read(const char *text, size_t len, void *out, size_t *out_len);

#endif
