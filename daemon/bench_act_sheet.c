/* SPDX-License-Identifier: MIT */
/*
 * Changes of the sheet as acts of a recording, so that the replay of a tape judges as the
 * bench did:
 *
 *     @sheet set R5 nominal=470k role="anode load"
 *     @sheet set R1-R6,R9 tolerance=10%
 *     @fit C7 kind=film tolerance=5%
 *     @fit C7 none
 *     @rename N5 R12
 *     @new T3/
 *     @twins            the sure ones; @twins R1 R7
 *     @fitted C7 R1-R6
 *     @identity maker="A. N. Other" serial=1204
 *
 * A value with spaces stands in double quotes; \" and \\ in them.
 */
#include "daemon/bench_inside.h"

#include "protocol/record/sheet_names.h"

#include <stdio.h>
#include <string.h>

#define PAIRS_MAX 16
#define REST_MAX 512 /* of a recording's act */

struct pairs {
	char text[REST_MAX];
	const char *key[PAIRS_MAX], *value[PAIRS_MAX];
	int count;
};

static bool refuse(struct fault *why, size_t at, const char *what)
{
	fault_at(why, NULL, 0, (int)at + 1, "expected %s", what);
	return false;
}

/* The next word of `rest` from *at on, without quotes, into out; its start in *from. */
static bool next_word(const char *rest, size_t *at, size_t *from, char *out, size_t size)
{
	size_t n = 0;
	bool quoted = false;
	*at += strspn(rest + *at, " \t");
	*from = *at;
	for (; rest[*at] && (quoted || (rest[*at] != ' ' && rest[*at] != '\t')); (*at)++) {
		if (rest[*at] == '"') {
			quoted = !quoted;
			continue;
		}
		if (quoted && rest[*at] == '\\' && (rest[*at + 1] == '"' || rest[*at + 1] == '\\'))
			(*at)++;
		if (n + 1 < size)
			out[n++] = rest[*at];
	}
	out[n] = '\0';
	return *at > *from && !quoted;
}

/* Names and values from *at on. */
static bool read_pairs(const char *rest, size_t at, struct pairs *p, struct fault *why)
{
	size_t used = 0, from;
	p->count = 0;
	while (rest[at += strspn(rest + at, " \t")]) {
		char *word = p->text + used, *equals;
		if (!next_word(rest, &at, &from, word, sizeof p->text - used))
			return refuse(why, from, "a quote that is closed");
		equals = strchr(word, '=');
		if (!equals || equals == word)
			return refuse(why, from, "key=value");
		if (p->count == PAIRS_MAX)
			return refuse(why, from, "at most 16 of key=value");
		*equals = '\0';
		p->key[p->count] = word;
		p->value[p->count++] = equals + 1;
		used += strlen(word) + strlen(equals + 1) + 2;
	}
	return true;
}

static bool read_name(const char *rest, size_t *at, char name[NAME_SIZE], struct fault *why)
{
	char word[128];
	size_t from;
	if (!next_word(rest, at, &from, word, sizeof word) || !name_valid(word, strlen(word)))
		return refuse(why, from, "the name of a position");
	snprintf(name, NAME_SIZE, "%s", word);
	return true;
}

/* ---- the acts ---- */

typedef bool act_function(struct bench *b, int64_t t, const char *rest, struct fault *why);

static bool act_sheet(struct bench *b, int64_t t, const char *rest, struct fault *why)
{
	struct pairs p;
	char name[REST_MAX];
	size_t at = strspn(rest, " \t"), from;
	if (strncmp(rest + at, "set ", 4) != 0)
		return refuse(why, at, "set POSITION key=value...");
	at += 4;
	if (!next_word(rest, &at, &from, name, sizeof name) ||
	    !(name_valid(name, strlen(name)) || names_many(name, true)))
		return refuse(why, from, "the name of a position, or names such as R1-R6,R9");
	if (!read_pairs(rest, at, &p, why))
		return false;
	if (!p.count)
		return refuse(why, at, "key=value");
	return t < 0 || bench_sheet_set(b, t, name, p.key, p.value, p.count, (struct bench_wait){0},
	                                why);
}

static bool act_fit(struct bench *b, int64_t t, const char *rest, struct fault *why)
{
	struct pairs p = {.count = 0};
	char name[NAME_SIZE];
	size_t at = 0;
	if (!read_name(rest, &at, name, why))
		return false;
	at += strspn(rest + at, " \t");
	bool none = strcmp(rest + at, "none") == 0;
	if (!none && !read_pairs(rest, at, &p, why))
		return false;
	if (!none && !p.count)
		return refuse(why, at, "key=value, or none");
	return t < 0 || bench_sheet_fit(b, t, name, p.key, p.value, p.count, (struct bench_wait){0},
	                                why);
}

static bool act_rename(struct bench *b, int64_t t, const char *rest, struct fault *why)
{
	char from[NAME_SIZE], to[NAME_SIZE];
	size_t at = 0;
	if (!read_name(rest, &at, from, why) || !read_name(rest, &at, to, why))
		return false;
	at += strspn(rest + at, " \t");
	if (rest[at])
		return refuse(why, at, "two names");
	return t < 0 || bench_sheet_rename(b, t, from, to, (struct bench_wait){0}, why);
}

static bool act_new(struct bench *b, int64_t t, const char *rest, struct fault *why)
{
	char prefix[128] = "";
	size_t at = 0, from = 0;
	if (rest[strspn(rest, " \t")] && !next_word(rest, &at, &from, prefix, sizeof prefix))
		return refuse(why, from, "the beginning of a name");
	if (prefix[0] && !prefix_valid(prefix, why)) {
		why->column = (int)from + 1;
		return false;
	}
	at += strspn(rest + at, " \t");
	if (rest[at])
		return refuse(why, at, "one word, or none");
	return t < 0 || bench_at_new(b, t, prefix, why);
}

static bool act_twins(struct bench *b, int64_t t, const char *rest, struct fault *why)
{
	char name[NAME_SIZE];
	for (size_t at = 0; rest[at += strspn(rest + at, " \t")];)
		if (!read_name(rest, &at, name, why))
			return false;
	return t < 0 || bench_twins_accept(b, t, rest + strspn(rest, " \t"), (struct bench_wait){0},
	                                   why);
}

static bool act_identity(struct bench *b, int64_t t, const char *rest, struct fault *why)
{
	struct pairs p;
	if (!read_pairs(rest, 0, &p, why))
		return false;
	if (!p.count)
		return refuse(why, 0, "key=value");
	return t < 0 || bench_identity(b, t, p.key, p.value, p.count, (struct bench_wait){0}, why);
}

static bool act_fitted(struct bench *b, int64_t t, const char *rest, struct fault *why)
{
	if (!rest[strspn(rest, " \t")])
		return refuse(why, 0, "positions");
	return t < 0 || bench_fitted(b, t, rest, (struct bench_wait){0}, why);
}

static const struct {
	const char *name;
	act_function *call;
} acts[] = {
    {"sheet", act_sheet}, {"fit", act_fit}, {"rename", act_rename}, {"new", act_new},
    {"twins", act_twins}, {"identity", act_identity}, {"fitted", act_fitted},
};

bool sheet_act_known(const char *act)
{
	for (size_t i = 0; i < sizeof acts / sizeof acts[0]; i++)
		if (strcmp(acts[i].name, act) == 0)
			return true;
	return false;
}

bool sheet_act_run(struct bench *b, int64_t t, const char *act, const char *rest,
                   struct fault *why)
{
	for (size_t i = 0; i < sizeof acts / sizeof acts[0]; i++)
		if (strcmp(acts[i].name, act) == 0)
			return acts[i].call(b, t, rest, why);
	return false;
}

/* ---- on a tape ---- */

static void put_pair(struct text *out, const char *key, const char *value)
{
	text_printf(out, " %s=", key);
	bool quoted = value[strcspn(value, " \t\"")] != '\0';
	text_puts(out, quoted ? "\"" : "");
	for (; *value; value++) {
		if (quoted && (*value == '"' || *value == '\\'))
			text_puts(out, "\\");
		/* A line of a tape has no breaks in it. */
		text_add(out, *value == '\n' || *value == '\r' ? " " : value, 1);
	}
	text_puts(out, quoted ? "\"" : "");
}

void sheet_fits_taped(struct bench *b, int64_t t)
{
	const char *key[SHEET_COLUMNS], *value[SHEET_COLUMNS];
	for (int i = 0; i < b->positions; i++) {
		const struct bench_fit *fit = b->position[i].fit;
		int n = 0;
		for (int c = 0; fit && c < SHEET_COLUMNS; c++)
			if (fit->cells.written[c][0]) {
				key[n] = sheet_column_name[c];
				value[n++] = fit->cells.written[c];
			}
		if (n)
			sheet_act_taped(b, t, "fit", b->position[i].row.position.name, key, value, n);
	}
}

void sheet_act_taped(struct bench *b, int64_t t, const char *act, const char *position,
                     const char *const *key, const char *const *value, int fields)
{
	char rest[REST_MAX];
	const char *space = strchr(act, ' ');
	char name[16];
	snprintf(name, sizeof name, "%.*s", (int)(space ? space - act : (long)strlen(act)), act);
	/* All at once where they have room, else one after the other. */
	for (int from = 0, to = fields; from < fields || !fields; from = to, to = fields) {
		struct text out;
		text_begin(&out, rest, sizeof rest);
		text_printf(&out, "%s%s%s", space ? space + 1 : "", space ? " " : "", position);
		if (!fields)
			text_puts(&out, " none");
		for (int i = from; i < to; i++)
			put_pair(&out, key[i], value[i]);
		if (out.failed && to > from + 1) {
			to = from + 1;
			text_begin(&out, rest, sizeof rest);
			text_printf(&out, "%s%s%s", space ? space + 1 : "", space ? " " : "", position);
			put_pair(&out, key[from], value[from]);
		}
		if (!out.failed)
			bench_taped(b, t, name, "%s", rest);
		if (!fields)
			return;
	}
}
