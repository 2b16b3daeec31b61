/* SPDX-License-Identifier: MIT */
/* See reading.h. */
#include "protocol/trade/reading.h"

#include <stdio.h>
#include <string.h>

static const struct {
	unsigned bit;
	const char *word;
} states[] = {
#define X(id, bit, word) {bit, word},
    READING_STATE_LIST(X)
#undef X
};

const char *reading_state_word(unsigned state)
{
	for (size_t i = 0; i < sizeof states / sizeof *states; i++)
		if (state & states[i].bit)
			return states[i].word;
	return "";
}

const char *reading_state_next(unsigned *state)
{
	for (size_t i = 0; *state && i < sizeof states / sizeof *states; i++)
		if (*state & states[i].bit) {
			*state &= ~states[i].bit;
			return states[i].word;
		}
	return NULL;
}

unsigned reading_state_bit(const char *word, size_t len)
{
	for (size_t i = 0; i < sizeof states / sizeof *states; i++)
		if (strlen(states[i].word) == len && memcmp(states[i].word, word, len) == 0)
			return states[i].bit;
	return 0;
}

size_t reading_shown(const struct reading *r, char *out, size_t size)
{
	if (r->has_value)
		return quantity_shown(r->value, r->function, r->prefix, out, size);
	const char *word = reading_state_word(r->state);
	bool minus = r->negative && (r->state & READING_OVERLOAD);
	int n = snprintf(out, size, "%s%s", minus ? "negative " : "", *word ? word : "no value");
	if (n < 0)
		return 0;
	return (size_t)n < size ? (size_t)n : size ? size - 1 : 0;
}
