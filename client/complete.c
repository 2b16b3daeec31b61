/* SPDX-License-Identifier: MIT */
/* What may stand at the cursor: see complete.h. */
#include "client/complete.h"

#include "client/command.h"
#include "client/words.h"
#include "protocol/meter/dialect.h"
#include "protocol/record/job_kinds.h"
#include "protocol/record/sheet.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

void complete_offer(struct complete *c, const char *candidate, const char *what)
{
	const char *typed = c->words[c->count - 1] + c->before_len;
	char clean[WORDS_SIZE];
	if (strncasecmp(candidate, typed, strlen(typed)) != 0 || !*candidate)
		return;
	/* A line each: a name with a control character is nothing to type. */
	for (const char *p = candidate; *p; p++)
		if ((unsigned char)*p < 0x20 || *p == 0x7f)
			return;
	words_clean(what ? what : "", what ? strlen(what) : 0, clean, sizeof clean);
	lines_printf(c->out, "%.*s%s\t%s\n", (int)c->before_len, c->before ? c->before : "", candidate, clean);
}

/* ---- what a placeholder stands for ---- */

/* Words with bars between them. */
static void offer_list(struct complete *c, const char *list)
{
	while (*list) {
		char word[64] = "";
		size_t n = strcspn(list, "|");
		memcpy(word, list, n < sizeof word ? n : sizeof word - 1);
		complete_offer(c, word, NULL);
		list += n + (list[n] == '|');
	}
}

static void offer_dialects(struct complete *c)
{
	for (int i = 0; dialects[i]; i++)
		complete_offer(c, dialects[i]->name, dialects[i]->summary);
	lines_puts(c->out, ":files\n");
}

static void offer_columns(struct complete *c)
{
	static const char *const more[] = {"marking=", "leakage=", "esr=", "dissipation=", "insulation=", "valve="};
	char key[SHEET_NAME_SIZE + 2];
	const char *typed = c->words[c->count - 1];
	if (strncmp(typed, "kind=", 5) == 0) {
		c->before = typed;
		c->before_len = 5;
		for (int k = 0; k < KIND_COUNT; k++)
			complete_offer(c, kind_name((enum kind)k), NULL);
		return;
	}
	for (int i = SHEET_POSITION + 1; i < SHEET_COLUMNS; i++) {
		snprintf(key, sizeof key, "%s=", sheet_column_name[i]);
		complete_offer(c, key, NULL);
	}
	for (size_t i = 0; i < sizeof more / sizeof more[0]; i++)
		complete_offer(c, more[i], NULL);
}

static void offer_identity(struct complete *c)
{
	static const struct {
		const char *key, *what;
	} keys[] = {
#define X(id, key, what) {key "=", what},
	    IDENTITY_LIST(X)
#undef X
	};
	for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++)
		complete_offer(c, keys[i].key, keys[i].what);
}

static void offer_meters(struct complete *c) { c->ask(c, COMPLETE_METERS); }
static void offer_positions(struct complete *c) { c->ask(c, COMPLETE_POSITIONS); }
static void offer_jobs(struct complete *c) { c->ask(c, COMPLETE_JOBS); }
static void offer_files(struct complete *c) { lines_puts(c->out, ":files\n"); }
static void offer_folders(struct complete *c) { lines_puts(c->out, ":folders\n"); }

static void offer_port(struct complete *c)
{
	offer_meters(c);
	offer_files(c);
}

static void offer_all_positions(struct complete *c)
{
	complete_offer(c, "all", "each that has no twin");
	offer_positions(c);
}

static void offer_quantities(struct complete *c)
{
	offer_list(c, "value|leakage|esr|dissipation|insulation|volts");
}

/* A verb (or its beginning; "" for any) and a placeholder, in words or of an option. */
static const struct {
	const char *verb, *place;
	void (*offer)(struct complete *c);
} places[] = {
    {"", "POSITION", offer_positions},     {"", "RANGE", offer_all_positions},
    {"", "OLD", offer_positions},          {"", "QUANTITY", offer_quantities},
    {"", "Q", offer_quantities},           {"", "JOB", offer_jobs},
    {"", "METER", offer_meters},           {"meters ", "NAME", offer_meters},
    {"job ", "NAME", offer_jobs},
    {"job set", "KEY=VALUE", offer_identity}, {"", "KEY=VALUE", offer_columns},
    {"", "DIALECT", offer_dialects},       {"", "PORT-or-FILE", offer_port},
    {"", "FILE", offer_files},             {"", "PICTURE", offer_files},
    {"", "PATH", offer_files},             {"", "DIR", offer_folders},
};

/* The same of an option, where its placeholder does not say enough. */
static const struct {
	enum option_id id;
	void (*offer)(struct complete *c);
	const char *list;
} option_places[] = {
    {OPTION_METER, offer_meters, NULL},
    {OPTION_JOB, offer_jobs, NULL},
    {OPTION_ORDER, NULL, "sheet|kind|channel"},
    {OPTION_ROUND, NULL, "1|2|3"},
    {OPTION_METERS, NULL, "1|2|3"},
};

static void offer_place(struct complete *c, const char *verb, const char *place, size_t len)
{
	if (strncmp(verb, "job start", 9) == 0 && len == 4 && memcmp(place, "NAME", 4) == 0)
		return; /* a new one */
	for (size_t i = 0; i < sizeof places / sizeof places[0]; i++)
		if (strncmp(verb, places[i].verb, strlen(places[i].verb)) == 0 &&
		    strlen(places[i].place) == len && memcmp(places[i].place, place, len) == 0) {
			if (places[i].offer)
				places[i].offer(c);
			return;
		}
}

/* ---- words ---- */

/* The word of a pattern at a place, without its brackets; the last one stands for all that
 * follow where it ends with dots. */
static void offer_word(struct complete *c, const struct command *command, int place)
{
	const char *at = command->words;
	for (;; place--) {
		at += strspn(at, " ");
		size_t n = strcspn(at, " ");
		if (!n)
			return;
		const char *word = at + (*at == '[');
		size_t len = n - 2 * (size_t)(*at == '[');
		bool many = len > 3 && memcmp(word + len - 3, "...", 3) == 0;
		len -= many ? 3 : 0;
		/* SEQ... POSITION: what follows the dots may come, too. */
		if (place <= 0 || many) {
			if (memchr(word, '|', len)) {
				char list[128] = "";
				memcpy(list, word, len < sizeof list ? len : sizeof list - 1);
				offer_list(c, list);
			} else if (*word >= 'a' && *word <= 'z') {
				char one[64] = "";
				memcpy(one, word, len < sizeof one ? len : sizeof one - 1);
				complete_offer(c, one, NULL);
				/* [accept] [POSITION...]: it may be left out. */
				if (*at == '[' && at[n])
					place++;
			} else {
				offer_place(c, command->verb, word, len);
			}
			if (!many && place <= 0)
				return;
		}
		at += n;
	}
}

/* The word of a verb that follows the words that stand there; NULL where it is another verb,
 * or ends with them. */
static const char *next_word(const char *verb, const char *const *words, int count)
{
	for (int k = 0; k < count; k++) {
		size_t n = strcspn(verb, " ");
		if (strlen(words[k]) != n || memcmp(words[k], verb, n) != 0 || !verb[n])
			return NULL;
		verb += n + 1;
	}
	return verb;
}

/* Verbs that go on from the words that stand there, `job` once for all that begin with it. */
static void offer_verbs(struct complete *c, const char *const *words, int count)
{
	for (int i = 0; i < command_count; i++) {
		char word[64] = "";
		const char *next = next_word(command_table[i].verb, words, count), *other;
		if (!next)
			continue;
		size_t n = strcspn(next, " ");
		int k = 0;
		for (; k < i; k++) {
			other = next_word(command_table[k].verb, words, count);
			if (other && strcspn(other, " ") == n && memcmp(other, next, n) == 0)
				break;
		}
		if (k < i)
			continue;
		memcpy(word, next, n < sizeof word ? n : sizeof word - 1);
		complete_offer(c, word, next[n] ? command_table[i].group : command_table[i].brief);
	}
}

static void offer_options(struct complete *c, const struct command *command)
{
	uint64_t own = command ? command->options : 0;
	char name[64];
	/* Those of the verb first. */
	for (int i = 0; i < 2 * OPTION_COUNT; i++) {
		const struct verb_option *o = &option_table[i % OPTION_COUNT];
		uint64_t bit = UINT64_C(1) << i % OPTION_COUNT;
		if (!(i < OPTION_COUNT ? own & bit : OPTIONS_COMMON & bit))
			continue;
		snprintf(name, sizeof name, "--%s", o->name);
		complete_offer(c, name, o->help);
	}
}

static void offer_value(struct complete *c, int option, const char *verb)
{
	for (size_t i = 0; i < sizeof option_places / sizeof option_places[0]; i++)
		if ((int)option_places[i].id == option) {
			if (option_places[i].list)
				offer_list(c, option_places[i].list);
			else
				option_places[i].offer(c);
			return;
		}
	const char *value = option_table[option].value;
	if (strchr(value, '|'))
		offer_list(c, value);
	else
		offer_place(c, verb, value, strlen(value));
}

/* ---- the line ---- */

/* An option by `--name` or `--name=...`; -1 for none. */
static int option_of(const char *word)
{
	if (strncmp(word, "--", 2) != 0)
		return -1;
	size_t n = strcspn(word + 2, "=");
	for (int i = 0; i < OPTION_COUNT; i++)
		if (strlen(option_table[i].name) == n && memcmp(option_table[i].name, word + 2, n) == 0)
			return i;
	return -1;
}

static void remember(struct complete *c, int option, const char *value)
{
	if (option == OPTION_SOCKET)
		c->socket = value;
	if (option == OPTION_FILE)
		c->file = value;
}

#define WORDS_MAX 128

void complete_run(struct complete *c)
{
	const char *words[WORDS_MAX] = {NULL};
	int count = 0, used = 0, pending = -1;
	bool free = false; /* after `--` */
	for (int i = 0; i + 1 < c->count; i++) {
		const char *word = c->words[i];
		int option = free ? -1 : option_of(word);
		if (pending >= 0) {
			remember(c, pending, word);
			pending = -1;
		} else if (option >= 0) {
			const char *equals = strchr(word, '=');
			if (option_table[option].value && !equals)
				pending = option;
			else if (equals)
				remember(c, option, equals + 1);
		} else if (!free && strcmp(word, "--") == 0) {
			free = true;
		} else if (count < WORDS_MAX) {
			words[count++] = word;
		}
	}
	const char *last = c->words[c->count - 1], *equals = strchr(last, '=');
	const struct command *command = command_find(words, count, &used);
	const char *verb = command ? command->verb : "";
	int option = free ? -1 : option_of(last);
	if (pending >= 0) {
		offer_value(c, pending, verb);
	} else if (option >= 0 && equals && option_table[option].value) {
		c->before = last;
		c->before_len = (size_t)(equals + 1 - last);
		offer_value(c, option, verb);
	} else if (!free && last[0] == '-') {
		offer_options(c, command);
	} else {
		bool help = command && strcmp(verb, "help") == 0;
		if (help)
			offer_verbs(c, words + used, count - used);
		else
			offer_verbs(c, words, count);
		if (command && !help)
			offer_word(c, command, count - used);
	}
}
