/* SPDX-License-Identifier: MIT */
/*
 * A JSON text that grows while it is composed.
 *
 * Answers are put together as text, not from a tree, so that a sealed record
 * goes in byte for byte.  The text grows up to a bound; beyond it, or without
 * memory, `failed` is set and stays so: check it once at the end.
 */
#ifndef TALLY_QUERY_ANSWER_H
#define TALLY_QUERY_ANSWER_H

#include "protocol/record/text.h"

struct answer {
	char *bytes; /* malloc; NUL-terminated once something was added */
	size_t len, size;
	size_t max; /* bytes, without the NUL */
	bool failed;
};

void answer_begin(struct answer *a, size_t max);
void answer_free(struct answer *a);
/* Hand over the text (the caller frees), NULL where it failed or is empty. */
char *answer_take(struct answer *a);

void answer_add(struct answer *a, const char *bytes, size_t len);
void answer_puts(struct answer *a, const char *string);
void answer_printf(struct answer *a, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
/* A JSON text as it stands; a line break in it (white space there, by the grammar)
 * becomes a space, since a message is one line. */
void answer_json(struct answer *a, const char *json, size_t len);
void answer_text(struct answer *a, const char *string, size_t len); /* with quotes and escapes */
void answer_string(struct answer *a, const char *string);           /* the same */
void answer_name(struct answer *a, const char *name);               /* the same; "": null */
void answer_real(struct answer *a, double x);

#endif
