/* SPDX-License-Identifier: MIT */
/* The section [pattern] of a dialect file: see dialect_file.h. */
#include "protocol/meter/dialect_draft.h"

#include <string.h>

/* What follows the first word of the key, at `text`: what the frame has. */
static bool word_text(struct draft *t, const struct ini_item *i, const char *text, int count,
                      struct pattern_word *w, struct fault *why)
{
	struct spot at = draft_key(i);
	if (count == PATTERN_WORDS_MAX)
		return draft_wrong(t, why, at, "`%.40s`: at most %d such lines were expected", i->key,
		                   PATTERN_WORDS_MAX);
	*w = (struct pattern_word){.before = -1};
	at.column += (int)(text - i->key);
	return draft_word(t, at, text, w->text, sizeof w->text, why);
}

/* `unit R = ohm`, `unit mR = milli ohm`. */
static bool take_unit(struct draft *t, const struct ini_item *i, struct fault *why)
{
	struct pattern *p = &t->d->pattern;
	struct pattern_word w;
	const char *value = i->value;
	size_t n = strcspn(value, " ");
	if (!word_text(t, i, i->key + 5, p->units, &w, why))
		return false;
	if (draft_prefix(value, n, &w.exponent)) {
		value += n;
		value += strspn(value, " ");
	}
	if (!function_from_name(value, strlen(value), &w.function) || w.function == FUNCTION_NONE)
		return draft_wrong(t, why, draft_value(i), "`%s`: expected a function such as ohm, farad, "
		                   "volt-dc, with pico ... giga before it where the unit has a prefix",
		                   i->key);
	p->unit[p->units++] = w;
	return true;
}

static bool take_prefix(struct draft *t, const struct ini_item *i, struct fault *why)
{
	struct pattern *p = &t->d->pattern;
	struct pattern_word w;
	if (!word_text(t, i, i->key + 7, p->prefixes, &w, why))
		return false;
	if (!draft_prefix(i->value, strlen(i->value), &w.exponent) && strcmp(i->value, "none") != 0)
		return draft_wrong(t, why, draft_value(i), "`%s`: expected pico, nano, micro, milli, none, "
		                   "kilo, mega or giga", i->key);
	p->prefix[p->prefixes++] = w;
	return true;
}

static bool take_function(struct draft *t, const struct ini_item *i, struct fault *why)
{
	struct pattern *p = &t->d->pattern;
	struct pattern_word w;
	if (!word_text(t, i, i->key + 9, p->functions, &w, why))
		return false;
	if (!function_from_name(i->value, strlen(i->value), &w.function) ||
	    w.function == FUNCTION_NONE)
		return draft_wrong(t, why, draft_value(i), "`%s`: expected a function such as ohm, farad, "
		                   "volt-dc", i->key);
	p->function[p->functions++] = w;
	return true;
}

/* `range 3 = 2k`, `range ohm 3 = 2k`. */
static bool take_range(struct draft *t, const struct ini_item *i, struct fault *why)
{
	struct pattern *p = &t->d->pattern;
	struct pattern_word w;
	const char *text = i->key + 6;
	size_t n = strcspn(text, " ");
	enum function f = FUNCTION_NONE;
	if (text[n] == ' ' && function_from_name(text, n, &f))
		text += n + 1;
	if (!word_text(t, i, text, p->ranges, &w, why))
		return false;
	w.function = f;
	if (!draft_scale(i->value, strlen(i->value), &w.before, &w.exponent))
		return draft_wrong(t, why, draft_value(i), "`%s`: expected digits before the point and a "
		                   "prefix, as in 2, 2k, M", i->key);
	for (int k = 0; k < p->ranges; k++)
		if (p->range[k].function == f && strcmp(p->range[k].text, w.text) == 0)
			return draft_wrong(t, why, draft_key(i), "`%s` was given already", i->key);
	p->range[p->ranges++] = w;
	return true;
}

static bool take_overload(struct draft *t, const struct ini_item *i, struct fault *why)
{
	struct pattern *p = &t->d->pattern;
	if (p->overloads == PATTERN_WORDS_MAX)
		return draft_wrong(t, why, draft_key(i), "at most %d overloads were expected",
		                   PATTERN_WORDS_MAX);
	return draft_word(t, draft_value(i), i->value, p->overload[p->overloads++], PATTERN_WORD_SIZE,
	                  why);
}

static bool take_match(struct draft *t, const struct ini_item *i, struct draft_text *out,
                       struct fault *why)
{
	out->len = strlen(i->value);
	out->at = draft_value(i);
	if (out->len == 0)
		return draft_wrong(t, why, draft_value(i), "`%s`: expected a pattern", i->key);
	return draft_text(t, i, out->text, sizeof out->text, why);
}

bool draft_take_pattern(struct draft *t, const struct ini_item *i, struct fault *why)
{
	const char *key = i->key;
	if (strcmp(key, "match") == 0)
		return take_match(t, i, &t->pattern.match, why);
	if (strcmp(key, "identity") == 0)
		return take_match(t, i, &t->pattern.identity, why);
	if (strcmp(key, "error") == 0)
		return take_match(t, i, &t->pattern.error, why);
	if (strcmp(key, "point") == 0) {
		if (strlen(i->value) != 1 || strchr("0123456789+-eE", *i->value))
			return draft_wrong(t, why, draft_value(i), "`point`: expected one character, such as a "
			                   "comma");
		t->d->pattern.point = *i->value == '.' ? '\0' : *i->value;
		return true;
	}
	if (strncmp(key, "unit ", 5) == 0)
		return take_unit(t, i, why);
	if (strncmp(key, "prefix ", 7) == 0)
		return take_prefix(t, i, why);
	if (strncmp(key, "function ", 9) == 0)
		return take_function(t, i, why);
	if (strncmp(key, "range ", 6) == 0)
		return take_range(t, i, why);
	if (strcmp(key, "overload") == 0 || strncmp(key, "overload ", 9) == 0)
		return take_overload(t, i, why);
	return draft_wrong(t, why, draft_key(i), "unknown key `%.40s` of [pattern]: expected match, "
	                   "identity, error, point, unit TEXT, prefix TEXT, function TEXT, range TEXT, "
	                   "overload", key);
}

static bool join_one(struct draft *t, enum pattern_sort sort, const struct draft_text *from,
                     struct fault *why)
{
	struct fault inner;
	if (!from->len || pattern_compile(&t->d->pattern, sort, from->text, from->len, &inner))
		return true;
	return draft_wrong(t, why, (struct spot){from->at.line, from->at.column + inner.column - 1},
	                   "%s", inner.text);
}

bool draft_join_pattern(struct draft *t, struct fault *why)
{
	struct draft_pattern *p = &t->pattern;
	if (!p->match.len)
		return draft_wrong(t, why, t->said[SAID_KEY_READS], "reads = pattern wants `match` in "
		                   "[pattern]");
	return join_one(t, PATTERN_VALUE, &p->match, why) &&
	       join_one(t, PATTERN_IDENTITY, &p->identity, why) &&
	       join_one(t, PATTERN_ERROR, &p->error, why);
}
