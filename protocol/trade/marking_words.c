/* SPDX-License-Identifier: MIT */
/*
 * Words beside a code that say on what kind of part it stands: `150 mica`, `paper .05`, `470K
 * resistor`, `103 X7R`.  They narrow the readings and are no part of the value.
 *
 * The codes of dielectrics: Z5U, X7R and their kin (EIA-198: a letter, a figure, a letter),
 * NP0 and COG; from memory.  Where such a code stands the part is a capacitor.
 */
#include "protocol/trade/marking_parts.h"

#include "protocol/trade/ascii.h"

#include <string.h>

static bool is(const char *text, size_t len, const char *word)
{
	for (size_t i = 0; i < len; i++)
		if (!word[i] || ascii_lower(text[i]) != word[i])
			return false;
	return word[len] == '\0';
}

static bool is_dielectric(const char *text, size_t len)
{
	if (len != 3)
		return false;
	if (is(text, len, "np0") || is(text, len, "npo") || is(text, len, "c0g") || is(text, len, "cog"))
		return true;
	return strchr("XYZ", text[0]) && text[0] && strchr("2456789", text[1]) && text[1] &&
	       strchr("ABCDEFLPRSTUV", text[2]) && text[2];
}

/* FUNCTION_NONE: the word says nothing of that. */
static enum function word_function(const char *text, size_t len)
{
	enum function f = bands_word(text, len);
	return f != FUNCTION_NONE         ? f
	       : is_dielectric(text, len) ? FUNCTION_FARAD
	                                  : FUNCTION_NONE;
}

static size_t word_end(const struct plain *p, size_t at)
{
	while (at < p->len && p->text[at] != ' ')
		at++;
	return at;
}

/* Takes `n` bytes away at `at`. */
static void cut(struct plain *p, size_t at, size_t n)
{
	memmove(p->text + at, p->text + at + n, p->len - at - n + 1);
	memmove(p->from + at, p->from + at + n, (p->len - at - n + 1) * sizeof *p->from);
	p->len -= n;
}

void words_peel(struct plain *p, enum function *f)
{
	*f = FUNCTION_NONE;
	for (size_t at = 0; at < p->len;) {
		size_t end = word_end(p, at);
		enum function one = end > at ? word_function(p->text + at, end - at) : FUNCTION_NONE;
		if (one == FUNCTION_NONE) {
			at = end + (end < p->len);
			continue;
		}
		if (*f != FUNCTION_OHM) /* a ceramic resistor is a resistor */
			*f = one;
		cut(p, at, end - at + (end < p->len));
	}
	while (p->len && p->text[p->len - 1] == ' ')
		p->text[--p->len] = '\0';
}

bool words_narrow(const struct plain *p, enum function f, struct marking_list *list,
                  struct fault *why)
{
	int kept = 0;
	for (int i = 0; i < list->n; i++)
		if (f == FUNCTION_NONE || list->at[i].function == f)
			list->at[kept++] = list->at[i];
	list->n = kept;
	return kept > 0 || plain_fail(why, p, 0, f == FUNCTION_OHM ? "this is a marking of a capacitor, "
	                                                             "not of a resistor"
	                                                           : "this is a marking of a resistor, "
	                                                             "not of a capacitor");
}
