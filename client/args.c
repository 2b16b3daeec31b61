/* SPDX-License-Identifier: MIT */
/* See args.h. */
#include "client/args.h"

#include "client/nearly.h"
#include "client/words.h"
#include "protocol/trade/ascii.h"

#include <stdio.h>
#include <string.h>

static int option_find(const char *name, size_t len)
{
	for (int i = 0; i < OPTION_COUNT; i++)
		if (strlen(option_table[i].name) == len && memcmp(option_table[i].name, name, len) == 0)
			return i;
	return -1;
}

/* For a sentence: what the person wrote, harmless and short. */
static const char *quoted(const char *text, char out[80])
{
	words_clean(text, strlen(text), out, 80);
	return out;
}

/* The option that is probably meant, or NULL. */
static const char *option_nearly(const char *name, size_t len)
{
	char typed[24];
	const char *best = NULL;
	int least = NEARLY_FAR;
	if (len >= sizeof typed)
		return NULL;
	memcpy(typed, name, len);
	typed[len] = '\0';
	for (int i = 0; i < OPTION_COUNT; i++) {
		int far = nearly(typed, option_table[i].name);
		if (far < least && nearly_same(typed, option_table[i].name)) {
			least = far;
			best = option_table[i].name;
		}
	}
	return best;
}

/* One option at argv[*at]; *at is left at the last argument it used. */
static bool take_option(struct args *a, int argc, const char *const *argv, int *at,
                        struct fault *why)
{
	char text[80];
	const char *name = argv[*at] + 2;
	size_t len = strcspn(name, "=");
	int id = option_find(name, len);
	if (id < 0) {
		const char *meant = option_nearly(name, len);
		fault_set(why, "there is no option %s%s%s%s", quoted(argv[*at], text),
		          meant ? "; perhaps --" : "", meant ? meant : "", meant ? " is meant" : "");
		return false;
	}
	if (a->option[id] && option_table[id].value) {
		fault_set(why, "--%s is given twice", option_table[id].name);
		return false;
	}
	if (!option_table[id].value) {
		if (name[len] == '=') {
			fault_set(why, "--%s takes no value", option_table[id].name);
			return false;
		}
		a->option[id] = "";
		return true;
	}
	if (name[len] == '=') {
		a->option[id] = name + len + 1;
		return true;
	}
	const char *next = *at + 1 < argc ? argv[*at + 1] : NULL;
	if (!next || (next[0] == '-' && next[1] == '-')) {
		fault_set(why, "--%s needs its %s%s", option_table[id].name, option_table[id].value,
		          next ? "; one that begins with -- is written with =" : "");
		return false;
	}
	a->option[id] = next;
	(*at)++;
	return true;
}

static bool take_word(struct args *a, const char *word, struct fault *why)
{
	if (a->count == ARGS_WORDS_MAX) {
		fault_set(why, "more than %d words", ARGS_WORDS_MAX);
		return false;
	}
	a->words[a->count++] = word;
	return true;
}

static bool collect(struct args *a, int argc, const char *const *argv, struct fault *why)
{
	char text[80];
	for (int i = 0; i < argc; i++) {
		const char *arg = argv[i];
		if (strcmp(arg, "--") == 0) {
			for (i++; i < argc; i++)
				if (!take_word(a, argv[i], why))
					return false;
		} else if (arg[0] == '-' && arg[1] == '-') {
			if (!take_option(a, argc, argv, &i, why))
				return false;
		} else if (strcmp(arg, "-h") == 0) {
			a->option[OPTION_HELP] = "";
		} else if (arg[0] == '-' && ascii_letter(arg[1])) {
			fault_set(why, "there is no option %s; a word that begins with a dash stands "
			          "after --", quoted(arg, text));
			return false;
		} else if (!take_word(a, arg, why)) {
			return false;
		}
	}
	return true;
}

/* Join words `from` to `to` with spaces into one. */
static bool join(struct args *a, int from, int to, struct fault *why)
{
	size_t start = a->joined_len;
	for (int i = from; i <= to; i++) {
		size_t len = strlen(a->words[i]);
		if (a->joined_len + len + 2 > sizeof a->joined) {
			fault_set(why, "the text is longer than %zu bytes", sizeof a->joined);
			return false;
		}
		if (i > from)
			a->joined[a->joined_len++] = ' ';
		memcpy(a->joined + a->joined_len, a->words[i], len);
		a->joined_len += len;
	}
	a->joined[a->joined_len++] = '\0';
	a->words[from] = a->joined + start;
	memmove(&a->words[from + 1], &a->words[to + 1],
	        (size_t)(a->count - to) * sizeof a->words[0]);
	a->count -= to - from;
	return true;
}

/* A unit, or a prefix, that stands alone. */
static bool unit_alone(const char *word)
{
	static const char *const units[] = {"V", "A", "F", "H", "Hz", "C", "%", "ohm", "Ohm",
	                                    "\u03a9", "\u2126"};
	static const char *const prefixes[] = {"", "p", "n", "u", "m", "k", "K", "M", "G",
	                                       "\u00b5", "\u03bc"};
	for (size_t p = 0; p < sizeof prefixes / sizeof prefixes[0]; p++) {
		size_t len = strlen(prefixes[p]);
		if (strncmp(word, prefixes[p], len) != 0)
			continue;
		if (len && !word[len])
			return true;
		for (size_t u = 0; u < sizeof units / sizeof units[0]; u++)
			if (strcmp(word + len, units[u]) == 0)
				return true;
	}
	return strcmp(word, "DC") == 0 || strcmp(word, "AC") == 0;
}

static bool numeric(const char *word)
{
	if (strncmp(word, "+-", 2) == 0)
		word += 2;
	word += strspn(word, "+-<>=");
	return ascii_digit(word[0]) || (word[0] == '.' && ascii_digit(word[1]));
}

/* In `judge 100k K 105k` and `judge 100 k K 105 k` the letter is the tolerance of IEC 60062, and
 * no prefix of the nominal: that has one, or there are no more than the three words. */
static bool tolerance_letter(const struct args *a, int i)
{
	if (strcmp(a->command->verb, "judge") != 0 || i != 1 || i + 1 >= a->count)
		return false;
	const char *nominal = a->words[0], *letter = a->words[i], *next = a->words[i + 1];
	if (!letter[0] || letter[1] || !strchr("ABCDEFGHJKLMNPQSTWZ", letter[0]))
		return false;
	if (strpbrk(next, "%<>") || strncmp(next, "+-", 2) == 0)
		return false;
	return a->count == 3 || nominal[strspn(nominal, "+-.0123456789 ")] != '\0';
}

/* A position may be called `5`: what is joined begins at word `first`. */
static bool join_units(struct args *a, int first, struct fault *why)
{
	for (int i = first + 1; i < a->count;) {
		if (numeric(a->words[i - 1]) && unit_alone(a->words[i]) && !tolerance_letter(a, i)) {
			if (!join(a, i - 1, i, why))
				return false;
		} else {
			i++;
		}
	}
	return true;
}

/* Words that people write apart and mean as one. */
static bool join_words(struct args *a, struct fault *why)
{
	const char *verb = a->command->verb;
	if (strcmp(verb, "enter") == 0)
		return join_units(a, 1, why);
	if (strcmp(verb, "judge") == 0 || strcmp(verb, "corner") == 0 ||
	    strcmp(verb, "preferred") == 0)
		return join_units(a, 0, why);
	if (strcmp(verb, "marking") == 0 && a->count > 1)
		return join(a, 0, a->count - 1, why);
	if (strcmp(verb, "note") == 0 && a->count > 2)
		return join(a, 1, a->count - 1, why);
	return true;
}

static bool check_words(const struct args *a, struct fault *why)
{
	char text[80];
	const struct command *c = a->command;
	int least, most;
	command_word_range(c->words, &least, &most);
	if (a->count < least || a->count > most) {
		const char *hint = a->count > most ? "; put a value with spaces in quotes" : "";
		if (most == 0)
			fault_set(why, "no word is expected, and here is %s", quoted(a->words[0], text));
		else
			fault_set(why, "%s is expected, and here %s %d word%s%s", c->words,
			          a->count == 1 ? "is" : "are", a->count, a->count == 1 ? "" : "s", hint);
		return false;
	}
	for (int i = 0; i < a->count; i++)
		if (!command_word_fits(c->words, i, a->words[i])) {
			fault_set(why, "%s is expected, not %s", c->words, quoted(a->words[i], text));
			return false;
		}
	return true;
}

static bool check_options(const struct args *a, struct fault *why)
{
	const struct command *c = a->command;
	for (int i = 0; i < OPTION_COUNT; i++) {
		uint64_t bit = UINT64_C(1) << i;
		if (a->option[i] && !((c->options | OPTIONS_COMMON) & bit)) {
			fault_set(why, "--%s does not go with this verb", option_table[i].name);
			return false;
		}
		if (!a->option[i] && (c->required & bit)) {
			fault_set(why, "--%s %s is missing: %s", option_table[i].name,
			          option_table[i].value, option_table[i].help);
			return false;
		}
	}
	if (a->option[OPTION_FILE] && a->option[OPTION_SOCKET]) {
		fault_set(why, "--file and --socket exclude each other");
		return false;
	}
	if (a->option[OPTION_FILE] && c->need == NEED_BENCH) {
		fault_set(why, "this needs the running daemon; --file only reads a log");
		return false;
	}
	return true;
}

bool args_parse(struct args *a, int argc, const char *const *argv, struct fault *why)
{
	memset(a, 0, sizeof *a);
	bool good = collect(a, argc, argv, why);
	int used = 0;
	a->command = command_find(a->words, a->count, &used);
	if (!good)
		return false;
	if (a->option[OPTION_HELP] || a->option[OPTION_VERSION])
		return true;
	/* `tally --plain` alone is the plain screen. */
	if (!a->command && !a->count && a->option[OPTION_PLAIN])
		a->command = command_find((const char *const[]){"bench"}, 1, &used), used = 0;
	if (!a->command) {
		struct lines said = {0};
		command_unknown(a->words, a->count, &said);
		fault_set(why, "%s", lines_text(&said));
		lines_free(&said);
		return false;
	}
	memmove(a->words, a->words + used, (size_t)(a->count - used) * sizeof a->words[0]);
	a->count -= used;
	a->words[a->count] = NULL;
	return join_words(a, why) && check_words(a, why) && check_options(a, why);
}
