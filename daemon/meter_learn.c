/* SPDX-License-Identifier: MIT */
/* See meter_learn.h. */
#include "daemon/meter_learn.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* A value farther than this share of the larger from the one before may be of another
 * function: far more than a settled value moves, less than any other function would
 * show but by chance.  Common practice of this program, no source. */
#define TURNED_SHARE 0.125
#define AGAIN_MAX 3

void learn_begin(struct learn *l, const char *questions)
{
	memset(l, 0, sizeof *l);
	l->on = questions != NULL;
	l->questions = questions;
	learn_afresh(l);
}

void learn_afresh(struct learn *l)
{
	l->function = FUNCTION_NONE;
	l->due = l->on;
	l->question = l->again = 0;
	l->has_before = l->waits = false;
	l->words[0] = '\0';
}

bool learn_shaken(struct learn *l)
{
	bool dropped = l->waits;
	l->due = l->on;
	l->has_before = l->waits = false;
	return dropped;
}

bool learn_question(const struct learn *l, char out[LEARN_QUESTION_SIZE])
{
	const char *at = l->questions, *bar;
	out[0] = '\0';
	for (int n = l->question; at && n > 0; n--) {
		bar = strstr(at, " | ");
		at = bar ? bar + 3 : NULL;
	}
	if (!at)
		return false;
	bar = strstr(at, " | ");
	snprintf(out, LEARN_QUESTION_SIZE, "%.*s", bar ? (int)(bar - at) : LEARN_QUESTION_SIZE - 1, at);
	return true;
}

void learn_next(struct learn *l)
{
	l->question++;
	l->again = 0;
}

bool learn_again(struct learn *l)
{
	return ++l->again <= AGAIN_MAX;
}

void learn_words(struct learn *l, const char *text, size_t len)
{
	size_t n = len < sizeof l->words - 1 ? len : sizeof l->words - 1;
	for (size_t i = 0; i < n; i++)
		l->words[i] = text[i] >= 0x20 && text[i] < 0x7f ? text[i] : '?';
	l->words[n] = '\0';
}

enum learnt learn_said(struct learn *l, int64_t t, enum function f)
{
	bool same = l->function == f, waited = l->waits;
	l->at = t;
	l->due = false;
	l->again = 0;
	l->function = f;
	l->waits = false;
	if (same && waited) {
		l->before = l->waiting.reading[l->waiting.count - 1];
		l->has_before = true;
	}
	if (same)
		return waited ? LEARNT_READING : LEARNT_SAME;
	l->has_before = false;
	return waited ? LEARNT_DROPPED : LEARNT_OTHER;
}

static bool far_apart(double a, double b)
{
	double size = fabs(a) > fabs(b) ? fabs(a) : fabs(b);
	return fabs(a - b) > TURNED_SHARE * size;
}

static bool may_have_turned(const struct learn *l, const struct reading *r)
{
	const struct reading *b = &l->before;
	if (!l->has_before || b->has_value != r->has_value || b->state != r->state ||
	    b->negative != r->negative)
		return true;
	return r->has_value && far_apart(decimal_double(b->value), decimal_double(r->value));
}

bool learn_take(struct learn *l, int64_t t, const struct understood *u, bool *dropped)
{
	*dropped = false;
	if (!l->on || u->count == 0)
		return true;
	if (may_have_turned(l, &u->reading[0])) {
		*dropped = l->waits; /* in a replay: no answer about the function came between */
		l->waiting = *u;
		l->waits = true;
		l->due = true;
		return false;
	}
	*dropped = l->waits;
	l->waits = false;
	l->before = u->reading[u->count - 1];
	if (t - l->at > LEARN_US)
		l->due = true;
	return true;
}
