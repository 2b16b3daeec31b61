/* SPDX-License-Identifier: MIT */
/* See reservoir.h. */
#include "protocol/trade/reservoir.h"

#include "protocol/trade/ascii.h"

#include <stddef.h>
#include <strings.h>
#include <string.h>

#define SAFE_RATING 50 /* volts */

static bool in_word(char c)
{
	return ascii_letter(c) || ascii_digit(c);
}

/* Does the word stand in the text, as the beginning of a word ("filters") or, where
 * `whole`, as one by itself ("HT", not "height")? */
static bool has_word(const char *text, const char *word, bool whole)
{
	size_t n = strlen(word);
	for (const char *at = text; *at; at++)
		if ((at == text || !in_word(at[-1])) && strncasecmp(at, word, n) == 0 &&
		    (!whole || !in_word(at[n])))
			return true;
	return false;
}

bool reservoir_by_role(const struct position *p)
{
	static const struct {
		const char *word;
		bool whole;
	} words[] = {
		{"reservoir", false}, {"smooth", false}, {"filter", false}, {"supply", false},
		{"b+", true}, {"ht", true}, {"h.t", true}, {"main cap", false},
	};
	if (kind_function(p->kind) != FUNCTION_FARAD)
		return false;
	for (size_t i = 0; i < sizeof words / sizeof *words; i++)
		if (has_word(p->role, words[i].word, words[i].whole))
			return true;
	return false;
}

bool reservoir_by_kind(const struct position *p)
{
	return p->kind == KIND_ELECTROLYTIC &&
	       (!p->has_rated || decimal_double(p->rated) > SAFE_RATING);
}
