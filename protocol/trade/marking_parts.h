/* SPDX-License-Identifier: MIT */
/*
 * Inside marking*.c only.
 */
#ifndef TALLY_TRADE_MARKING_PARTS_H
#define TALLY_TRADE_MARKING_PARTS_H

#include "protocol/trade/marking.h"

/* The text in plain letters: one spelling of micro (u), ohm, plus-minus (+-) and
 * minus, single spaces as they stood; `from` says where each byte came from. */
struct plain {
	char text[2 * MARKING_TEXT_MAX];
	size_t from[2 * MARKING_TEXT_MAX + 1];
	size_t len;
};

/* The scheme of 4k7 on a capacitor: it is a resistor's first, so that a sheet does not take it
 * from a bare 4k7. */
extern const char marking_k_point[];

/* Add a reading; one that says the same as another joins its scheme. */
void marking_add(struct marking_list *list, const struct marking *m);

/* marking_bands.c: is this about colours at all; and what they mean. */
bool bands_are(const struct plain *p);
bool band_is_colour(const struct plain *word);
bool bands_read(const struct plain *p, struct marking_list *out, struct fault *why);

/* Whose the word is: ohm (resistor), farad (tubular, mica, paper ...), or FUNCTION_NONE. */
enum function bands_word(const char *text, size_t len);

/* marking_words.c: takes such words out of a code; and leaves only the readings of that kind. */
void words_peel(struct plain *p, enum function *f);
bool words_narrow(const struct plain *p, enum function f, struct marking_list *list,
                  struct fault *why);

/* marking_code.c */
bool code_read(const struct plain *p, struct marking_list *out, struct fault *why);

/* A fault at a byte of the plain text, at its place in the text as it was given. */
bool plain_fail(struct fault *why, const struct plain *p, size_t at, const char *text);

#endif
