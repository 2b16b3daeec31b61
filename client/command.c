/* SPDX-License-Identifier: MIT */
/*
 * What the table of verbs is read for: finding, checking words, help.  See command.h.
 */
#include "client/command_calls.h"

#include "client/nearly.h"

#include <string.h>

/* Help is folded at this width, so that it reads well anywhere. */
#define HELP_WIDTH 79

static const struct style help_style = {.width = HELP_WIDTH};

/* ---- finding ---- */

/* How many words of the verb stand at the start of `words`; 0 where not all. */
static int verb_words(const char *verb, const char *const *words, int count)
{
	int used = 0;
	while (*verb) {
		size_t n = strcspn(verb, " ");
		if (used == count || strlen(words[used]) != n || memcmp(words[used], verb, n) != 0)
			return 0;
		used++;
		verb += n + (verb[n] == ' ');
	}
	return used;
}

/* Is `word` the first of a verb of two words? */
static bool begins_verb(const char *word, const struct command *c)
{
	size_t n = strlen(word);
	return strncmp(c->verb, word, n) == 0 && c->verb[n] == ' ';
}

static bool begins_any(const char *word)
{
	for (int i = 0; i < command_count; i++)
		if (begins_verb(word, &command_table[i]))
			return true;
	return false;
}

const struct command *command_find(const char *const *words, int count, int *used)
{
	const struct command *found = NULL;
	*used = 0;
	for (int i = 0; i < command_count; i++) {
		int n = verb_words(command_table[i].verb, words, count);
		if (n > *used) {
			*used = n;
			found = &command_table[i];
		}
	}
	/* `meters foo`: not `meters` with a word too many, but a verb there is not. */
	if (found && !found->words[0] && count > *used && begins_any(found->verb))
		return NULL;
	return found;
}

/* ---- words ---- */

/* The next word of a pattern: its length; *at moves to it. */
static size_t pattern_word(const char **at)
{
	while (**at == ' ')
		(*at)++;
	return strcspn(*at, " ");
}

void command_word_range(const char *words, int *least, int *most)
{
	*least = *most = 0;
	for (size_t n; (n = pattern_word(&words)) > 0; words += n) {
		bool optional = words[0] == '[';
		size_t end = optional && n > 1 ? n - 1 : n;
		bool many = end >= 3 && memcmp(words + end - 3, "...", 3) == 0;
		*least += !optional;
		if (*most < INT32_MAX)
			*most = many ? INT32_MAX : *most + 1;
	}
}

bool command_word_fits(const char *words, int place, const char *word)
{
	for (size_t n; (n = pattern_word(&words)) > 0; words += n, place--) {
		if (place > 0)
			continue;
		const char *at = words + (words[0] == '[');
		const char *end = words + n - (words[0] == '[');
		if (!memchr(at, '|', (size_t)(end - at)))
			return true;
		while (at < end) {
			const char *bar = memchr(at, '|', (size_t)(end - at));
			size_t len = (size_t)((bar ? bar : end) - at);
			if (strlen(word) == len && memcmp(word, at, len) == 0)
				return true;
			at += len + 1;
		}
		return false;
	}
	return true;
}

/* ---- help ---- */

static void option_text(const struct verb_option *o, struct lines *out)
{
	lines_printf(out, "--%s%s%s", o->name, o->value ? " " : "", o->value ? o->value : "");
}

void command_usage(const struct command *c, struct lines *out)
{
	lines_printf(out, "tally %s%s%s", c->verb, c->words[0] ? " " : "", c->words);
	for (int i = 0; i < OPTION_COUNT; i++) {
		uint64_t bit = UINT64_C(1) << i;
		if (!(c->options & bit))
			continue;
		lines_puts(out, c->required & bit ? " " : " [");
		option_text(&option_table[i], out);
		lines_puts(out, c->required & bit ? "" : "]");
	}
}

static void option_lines(uint64_t bits, struct lines *out)
{
	for (int i = 0; i < OPTION_COUNT; i++) {
		if (!(bits & UINT64_C(1) << i))
			continue;
		struct lines name = {0};
		option_text(&option_table[i], &name);
		lines_printf(out, "  %-20s ", lines_text(&name));
		words_fold(out, &help_style, 23, 23, option_table[i].help);
		lines_puts(out, "\n");
		lines_free(&name);
	}
}

/* Paragraphs that are parted by LF, each folded. */
static void paragraphs(const char *text, struct lines *out)
{
	while (*text) {
		size_t n = strcspn(text, "\n");
		struct lines one = {0};
		lines_add(&one, text, n);
		words_fold(out, &help_style, 0, 0, lines_text(&one));
		lines_puts(out, "\n");
		lines_free(&one);
		text += n + (text[n] == '\n');
	}
}

/* --socket and --file where the verb asks a daemon, --file where a log will do. */
static uint64_t common_options(const struct command *c)
{
	uint64_t bits = OPTIONS_COMMON & ~OPTION_BIT(VERSION);
	if (c->need == NEED_NOTHING)
		bits &= ~(OPTION_BIT(SOCKET) | OPTION_BIT(FILE));
	if (c->need == NEED_BENCH)
		bits &= ~OPTION_BIT(FILE);
	return bits;
}

void command_help(const struct command *c, struct lines *out)
{
	struct lines usage = {0};
	lines_printf(out, "tally %s: %s\n\nuse: ", c->verb, c->brief);
	command_usage(c, &usage);
	words_fold(out, &help_style, 5, 9, lines_text(&usage));
	lines_puts(out, "\n\n");
	paragraphs(c->help, out);
	lines_puts(out, "\n");
	option_lines(c->options | common_options(c), out);
	lines_free(&usage);
}

static void verb_line(const struct command *c, struct lines *out)
{
	struct lines name = {0};
	lines_printf(&name, "%s%s%s", c->verb, c->words[0] ? " " : "", c->words);
	lines_printf(out, "  %-33s ", lines_text(&name));
	words_fold(out, &help_style, 36, 36, c->brief);
	lines_puts(out, "\n");
	lines_free(&name);
}

void command_overview(struct lines *out)
{
	lines_puts(out,
	           "tally: what the meters said, position by position, sealed\n\n"
	           "use: tally [--socket PATH | --file FILE] [--json] VERB ...\n\n"
	           "Valve equipment kills. Mains isolated, reservoirs discharged and measured, one\n"
	           "hand, rated probes; local codes and licensed practice come first.\n");
	const char *group = "";
	for (int i = 0; i < command_count; i++) {
		if (strcmp(group, command_table[i].group) != 0) {
			group = command_table[i].group;
			lines_printf(out, "\n%s\n", group);
		}
		verb_line(&command_table[i], out);
	}
	lines_puts(out, "\nwith every verb\n");
	option_lines(OPTIONS_COMMON, out);
	lines_puts(out, "\nOptions may stand anywhere; after -- everything is a word.\n"
	           "Exit status: 0 done; 1 done, and the answer is no, or refused for now; 2 wrong "
	           "use\nor bad input; 3 the daemon is not reachable; 4 not logged, nothing pretended.\n");
}

/* ---- what is no verb ---- */

void command_unknown(const char *const *words, int count, struct lines *out)
{
	char word[80];
	const char *gap = "";
	if (!count) {
		lines_puts(out, "which verb?");
		return;
	}
	words_clean(words[0], strlen(words[0]), word, sizeof word);
	if (begins_any(words[0])) {
		char second[80];
		if (count > 1) {
			words_clean(words[1], strlen(words[1]), second, sizeof second);
			lines_printf(out, "there is no verb \"%s %s\"; there are ", word, second);
		} else {
			lines_printf(out, "%s is followed by a word: ", word);
		}
		for (int i = 0; i < command_count; i++)
			if (begins_verb(words[0], &command_table[i]) ||
			    strcmp(words[0], command_table[i].verb) == 0) {
				lines_printf(out, "%s%s", gap, command_table[i].verb);
				gap = ", ";
			}
		return;
	}
	lines_printf(out, "there is no verb \"%s\"", word);
	for (int i = 0; i < command_count; i++)
		if (nearly_same(words[0], command_table[i].verb)) {
			lines_printf(out, "%s%s", gap[0] ? gap : "; perhaps ", command_table[i].verb);
			gap = " or ";
		}
}
