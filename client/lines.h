/* SPDX-License-Identifier: MIT */
/*
 * Text that grows: what the views write into.
 *
 * One buffer, bounded by LINES_MAX; beyond it, or without memory, `failed` is set
 * and stays so, and the text is not to be shown as if it were whole.
 */
#ifndef TALLY_CLIENT_LINES_H
#define TALLY_CLIENT_LINES_H

#include <stdbool.h>
#include <stddef.h>

/* A log of a hundred thousand entries as a table has some 20 MB. */
#define LINES_MAX (256u << 20)

struct lines {
	char *bytes; /* NUL-terminated whenever it is not NULL */
	size_t len, size;
	bool failed;
};

/* Start from `(struct lines){0}`; give the memory back with lines_free. */
void lines_free(struct lines *l);
void lines_add(struct lines *l, const char *bytes, size_t len);
void lines_puts(struct lines *l, const char *string);
void lines_printf(struct lines *l, const char *format, ...) __attribute__((format(printf, 2, 3)));
/* A cell of CSV (RFC 4180): `quoted` between quotes, with its own doubled.  `guarded`: a text that a
 * spreadsheet would run or reckon with (`=1+1`, but `-20/+50%` as well) gets an apostrophe before
 * it.  The caller says what has to be quoted beside what separators. */
void lines_csv(struct lines *l, const char *text, bool quoted, bool guarded);
/* `count` times the byte. */
void lines_fill(struct lines *l, char byte, size_t count);
/* The text, "" where nothing was written. */
const char *lines_text(const struct lines *l);

#endif
