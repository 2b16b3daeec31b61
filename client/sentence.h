/* SPDX-License-Identifier: MIT */
/*
 * A sentence that is put together word by word, to be spoken: UTF-8 in a buffer of the caller's.
 * What does not fit is cut at a character, and nothing comes behind it.
 */
#ifndef TALLY_CLIENT_SENTENCE_H
#define TALLY_CLIENT_SENTENCE_H

#include <stdbool.h>
#include <stddef.h>

struct sentence {
	char *out;
	size_t size, len;
	bool full; /* something was cut: nothing comes behind it */
};

/* Empty, in `out` of `size` bytes (0: nothing is ever written), which must live as long. */
struct sentence sentence_begin(char *out, size_t size);
void sentence_bytes(struct sentence *s, const char *text, size_t n);
void sentence_text(struct sentence *s, const char *text);
/* The next word, after a blank where something stands before it; nothing for an empty one. */
void sentence_word(struct sentence *s, const char *word);
/* The next part, after a comma; nothing for NULL and for an empty one. */
void sentence_part(struct sentence *s, const char *part);
/* A part whose first $ stands for `what`. */
void sentence_phrase(struct sentence *s, const char *phrase, const char *what);

#endif
