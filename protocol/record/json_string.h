/* SPDX-License-Identifier: MIT */
/*
 * Inside this room only: one character of a JSON string, raw and decoded.
 */
#ifndef TALLY_RECORD_JSON_STRING_H
#define TALLY_RECORD_JSON_STRING_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Decode the character at s (inside the quotes) to UTF-8.  Returns the raw bytes it
 * takes, 0 where it is not a character that JSON allows there: a bare control
 * character or quote is the caller's to stop at, bad UTF-8, an unknown escape,
 * half a surrogate pair. */
size_t string_step(const char *s, size_t len, char out[4], size_t *out_len);

/* Do two raw strings (without quotes) say the same, whatever their escapes? */
bool string_same(const char *a, size_t a_len, const char *b, size_t b_len);

/* The UTF-8 of a code point; returns its 1 to 4 bytes. */
size_t utf8_put(int32_t c, char out[4]);

#endif
