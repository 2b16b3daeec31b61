/* SPDX-License-Identifier: MIT */
/*
 * Bytes of a line as text: what stands between the quotes of a recording, and in the
 * samples of a dialect file.  A byte from 20 to 7E stands for itself; the escapes are
 * \r \n \t \\ \" and \xHH with exactly two hex digits of either case.
 */
#ifndef TALLY_FILE_ESCAPE_H
#define TALLY_FILE_ESCAPE_H

#include <stdbool.h>
#include <stddef.h>

/* What a hex digit of either case counts; -1 for any other byte. */
int hex_value(char c);

#define ESCAPE_EXPECTED "an escape: \\r \\n \\t \\\\ \\\" or \\xHH with two hex digits"

/* The byte that stands at `text`; returns how many bytes of text it took, 0 where
 * neither a plain byte nor an escape stands there. */
size_t escape_read(const char *text, size_t len, char *out);

/* The whole of a text.  False where it is none, or has more than `size` bytes: *at is
 * then the place of the byte that does not fit, 0 the first. */
bool escape_read_all(const char *text, size_t len, char *out, size_t size, size_t *got,
                     size_t *at);

#endif
