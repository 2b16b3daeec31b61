/* SPDX-License-Identifier: MIT */
/*
 * Why a value is what it is said to be, in a few spoken words: deviations as words.h writes them,
 * and the daemon's English sentences, by the words that stand in them.
 */
#include "client/speech_inside.h"

#include "client/guide_words.h"
#include "client/words.h"
#include "protocol/trade/ascii.h"

#include <stdio.h>
#include <string.h>

static bool in_word(char c)
{
	return ascii_letter(c) || ascii_digit(c);
}

/* Do the words stand in the text, whole? */
static bool has_words(const char *text, const char *words)
{
	size_t n = strlen(words);
	for (const char *at = text; (at = strstr(at, words)); at++)
		if ((at == text || !in_word(at[-1])) && !in_word(at[n]))
			return true;
	return false;
}

const char *speech_known_reason(const struct speech_table *t, const char *why)
{
	/* The word itself, or what the word means for people, first: `meter` stands in
	 * many sentences. */
	for (const struct speech_reason *r = t->reasons; r->written; r++)
		if (strcmp(why, r->written) == 0 || strcmp(why, words_reason(r->written)) == 0)
			return r->said;
	for (const struct speech_reason *r = t->reasons; r->written; r++)
		if (strchr(r->written, ' ') && has_words(why, r->written))
			return r->said;
	for (const struct speech_reason *r = t->reasons; r->written; r++)
		if (!strchr(r->written, ' ') && words_reason(r->written) == r->written &&
		    has_words(why, r->written))
			return r->said;
	return NULL;
}

void speech_say_free(struct sentence *s, const char *text)
{
	char clean[SPEECH_FREE];
	if (!text)
		return;
	words_clean(text, strlen(text), clean, sizeof clean);
	sentence_part(s, clean);
}

/* The words of one deviation as words.h writes it; false for what is none. */
static bool deviation_words(enum language l, const char *text, char *out, size_t size)
{
	const struct speech_table *t = speech_table_of(l);
	char value[256], number[SPEECH_FREE];
	const char *percent = strstr(text, " % ");
	const char *side = percent ? speech_word_said(t->deviations, percent + 3) : "";
	size_t times = strspn(text, "0123456789");
	out[0] = '\0';
	if (side[0]) {
		snprintf(number, sizeof number, "%.*s %%", (int)(percent - text), text);
		speech_value(l, number, value, sizeof value);
		snprintf(out, size, "%s %s", value, side);
	} else if (times && strcmp(text + times, " times nominal") == 0) {
		snprintf(number, sizeof number, "%.*s", (int)times, text);
		speech_value(l, number, value, sizeof value);
		snprintf(out, size, "%s %s", value, t->times);
	} else if (strcmp(text, "on nominal") == 0) {
		snprintf(out, size, "%s", t->on_nominal);
	} else if (strncmp(text, "above ", 6) == 0) {
		speech_value(l, text, out, size);
	} else {
		snprintf(out, size, "%s", speech_word_said(t->sides, text));
	}
	return out[0] != '\0';
}

const char *speech_say_deviation(struct sentence *s, enum language l, const char *why)
{
	static const char sign[] = ", of the wrong sign";
	char clause[SPEECH_FREE], words[WORDS_SIZE];
	size_t n = strcspn(why, ",;");
	snprintf(clause, sizeof clause, "%.*s", (int)n, why);
	if (!deviation_words(l, clause, words, sizeof words))
		return why;
	sentence_part(s, words);
	why += n;
	if (strncmp(why, sign, sizeof sign - 1) == 0)
		why += sizeof sign - 1;
	return why + strspn(why, ",; ");
}

void speech_say_why(struct sentence *s, enum language l, const char *why, bool must)
{
	const struct speech_table *t = speech_table_of(l);
	char first[SPEECH_FREE], value[WORDS_SIZE];
	if (!why || !why[0])
		return;
	size_t n = strcspn(why, ":;");
	struct sentence clause = sentence_begin(first, sizeof first);
	sentence_bytes(&clause, why, n);
	char guided[GUIDE_WORDS_SIZE];
	bool whole = t->other_reason && guide_words(l, GUIDE_SPOKEN, why, guided, sizeof guided);
	const char *known = whole ? guided : speech_known_reason(t, why);
	if (!known)
		known = speech_known_reason(t, first);
	if (known)
		sentence_part(s, known);
	else if (!t->other_reason)
		speech_say_free(s, first);
	else if (must)
		sentence_part(s, t->other_reason);
	/* "another value seems to be fitted: 22 kohm" */
	if (why[n] == ':' && ascii_digit(why[n + 1 + (why[n + 1] == ' ')])) {
		speech_value(l, why + n + 1 + (why[n + 1] == ' '), value, sizeof value);
		sentence_part(s, value);
	}
}
