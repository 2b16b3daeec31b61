/* SPDX-License-Identifier: MIT */
/* Completion for lines of a sheet: see known.h. */
#include "client/known.h"

#include "protocol/record/sheet_names.h"
#include "protocol/trade/ascii.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* The words by which service limits know a role (protocol/trade/practice.c), in the
 * forms that people write (common practice, no source). */
static const char *const roles[] = {
    "anode",     "anode load", "bias",     "bleeder",  "bypass",       "cathode",  "cathode bypass",
    "coupling",  "decoupling", "divider",  "dropper",  "equalisation", "feedback", "grid leak",
    "heaters",   "hum",        "inverter", "output",   "plate",        "reservoir", "screen",
    "sense",     "smoothing",  "splitter", "stopper",  "tone",
};

static const char *const limits[] = {"leakage=", "esr=", "dissipation=", "insulation="};

void known_free(struct known *k)
{
	free(k->names);
	free(k->words);
	*k = (struct known){0};
}

static bool grow(void **rows, int count, int *size, size_t each)
{
	if (count < *size)
		return true;
	int more = *size ? 2 * *size : 64;
	void *bigger = realloc(*rows, (size_t)more * each);
	if (!bigger)
		return false;
	*rows = bigger;
	*size = more;
	return true;
}

static void add_word(struct known *k, const char *key, const char *value)
{
	char word[SHEET_CELL_SIZE];
	int n = snprintf(word, sizeof word, "%s%s", key, value);
	if (!value[0] || n >= (int)sizeof word)
		return;
	for (int i = 0; i < k->word_count; i++)
		if (strcmp(k->words[i], word) == 0)
			return;
	if (grow((void **)&k->words, k->word_count, &k->word_size, sizeof *k->words))
		memcpy(k->words[k->word_count++], word, (size_t)n + 1);
}

void known_add(struct known *k, const struct sheet_row *row)
{
	if (grow((void **)&k->names, k->count, &k->size, sizeof *k->names))
		memcpy(k->names[k->count++], row->position.name, NAME_SIZE);
	add_word(k, "", row->written[SHEET_ROLE]);
	add_word(k, "part=", row->written[SHEET_PART]);
	add_word(k, "channel=", row->written[SHEET_CHANNEL]);
	for (int i = 0; i < row->extras; i++)
		if (strcasecmp(row->extra_name[i], "valve") == 0)
			add_word(k, "valve=", row->extra_cell[i]);
}

/* ---- what fits ---- */

struct list {
	struct lines *out;
	const char *word;
	size_t len;
	int count;
};

static void offer(struct list *l, const char *text, const char *behind)
{
	char line[2 * SHEET_CELL_SIZE];
	size_t n = strlen(lines_text(l->out));
	if (strncasecmp(text, l->word, l->len) != 0)
		return;
	int len = snprintf(line, sizeof line, "%s%s\n", text, behind);
	/* A role of the trade that was used, too, is offered once. */
	const char *there = n ? strstr(lines_text(l->out), line) : NULL;
	if (there && (there == lines_text(l->out) || there[-1] == '\n'))
		return;
	lines_add(l->out, line, (size_t)len);
	l->count++;
}

/* C9 is there where C9A is. */
static bool is_there(const struct known *k, const char *name)
{
	size_t n = strlen(name);
	for (int i = 0; i < k->count; i++)
		if (strncmp(k->names[i], name, n) == 0 && !ascii_digit(k->names[i][n]))
			return true;
	return false;
}

/* The next free number of the letters: those of the word, else of the newest name. */
static void offer_next(const struct known *k, struct list *l)
{
	char letters[NAME_SIZE] = "", next[NAME_SIZE];
	for (int i = k->count - 1; i >= 0; i--) {
		size_t n = strcspn(k->names[i], "0123456789");
		if (!k->names[i][n] || (l->len && (n != l->len || strncasecmp(k->names[i], l->word, n) != 0)))
			continue;
		/* C10 comes after C9A and C9B. */
		n += strspn(k->names[i] + n, "0123456789");
		snprintf(letters, sizeof letters, "%.*s", (int)n, k->names[i]);
		break;
	}
	if (!letters[0])
		return;
	memcpy(next, letters, sizeof next);
	for (int by = 1; by < SHEET_ROWS_MAX && is_there(k, next); by++)
		if (!name_shift(letters, by, next))
			return;
	offer(l, next, "");
}

static void offer_values(const struct known *k, struct list *l, const char *key, size_t key_len)
{
	if (strncasecmp(key, "kind=", key_len) == 0)
		for (int i = 0; i < KIND_COUNT; i++)
			offer(l, kind_name((enum kind)i), " ");
	if (strncasecmp(key, "with=", key_len) == 0 || strncasecmp(key, "twin=", key_len) == 0)
		for (int i = 0; i < k->count; i++)
			offer(l, k->names[i], " ");
	for (int i = 0; i < k->word_count; i++)
		if (strncasecmp(k->words[i], key, key_len) == 0)
			offer(l, k->words[i] + key_len, " ");
}

static void offer_words(const struct known *k, struct list *l)
{
	if (!l->len)
		return; /* everything is no help */
	for (int i = 0; i < KIND_COUNT; i++)
		offer(l, kind_name((enum kind)i), " ");
	for (int i = SHEET_KIND; i < SHEET_COLUMNS; i++) {
		char key[SHEET_NAME_SIZE];
		snprintf(key, sizeof key, "%s=", sheet_column_name[i]);
		offer(l, key, "");
	}
	for (size_t i = 0; i < sizeof limits / sizeof *limits; i++)
		offer(l, limits[i], "");
	offer(l, "valve=", "");
	for (size_t i = 0; i < sizeof roles / sizeof *roles; i++)
		offer(l, roles[i], " ");
	for (int i = 0; i < k->word_count; i++)
		if (!strchr(k->words[i], '='))
			offer(l, k->words[i], " ");
	for (int i = 0; i < k->count; i++)
		offer(l, k->names[i], " ");
}

/* A role of two words, of which the second is being typed: grid le */
static bool offer_two_words(const struct known *k, const char *line, size_t word, size_t at,
                            struct list *l)
{
	size_t before = word;
	while (before > 0 && ascii_blank(line[before - 1]))
		before--;
	while (before > 0 && !ascii_blank(line[before - 1]))
		before--;
	struct list two = {.out = l->out, .word = line + before, .len = at - before};
	if (at == word || before == word)
		return false;
	for (size_t i = 0; i < sizeof roles / sizeof *roles; i++)
		offer(&two, roles[i], " ");
	for (int i = 0; i < k->word_count; i++)
		offer(&two, k->words[i], " ");
	if (two.count)
		*l = two;
	return two.count > 0;
}

int known_complete(const struct known *k, const char *line, size_t at, size_t *from,
                   struct lines *out)
{
	size_t begin = at, word = 0;
	while (begin > 0 && !strchr(" \t=,;", line[begin - 1]))
		begin--;
	for (word = begin; word > 0 && line[word - 1] != ' ' && line[word - 1] != '\t';)
		word--;
	struct list l = {.out = out, .word = line + begin, .len = at - begin};
	bool first = strspn(line, " \t") >= word;
	*from = begin;
	if (first)
		offer_next(k, &l);
	else if (begin > word && line[begin - 1] == '=')
		offer_values(k, &l, line + word, begin - word);
	else if (begin == word && offer_two_words(k, line, word, at, &l))
		*from = (size_t)(l.word - line);
	else
		offer_words(k, &l);
	return l.count;
}

size_t known_common(const char *list)
{
	size_t common = strcspn(list, "\n");
	for (const char *line = list; *line;) {
		size_t len = strcspn(line, "\n"), n = 0;
		while (n < len && n < common && line[n] == list[n])
			n++;
		common = n;
		line += len + (line[len] == '\n');
	}
	/* Not in the middle of a character. */
	while (common > 0 && ((unsigned char)list[common] & 0xc0) == 0x80)
		common--;
	return common;
}
