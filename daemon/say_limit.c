/* SPDX-License-Identifier: MIT */
/* See say_limit.h. */
#include "daemon/say_limit.h"

#include <stdio.h>
#include <string.h>

/* Forget what was said more than a minute ago. */
static void pass(struct say_limit *l, int64_t t)
{
	while (l->count) {
		int oldest = (l->next - l->count + SAY_LIMIT_LINES) % SAY_LIMIT_LINES;
		if (t - l->said[oldest] < SAY_LIMIT_US)
			break;
		l->own -= !l->summary[oldest];
		l->count--;
	}
}

static void note(struct say_limit *l, int64_t t, bool summary)
{
	l->said[l->next] = t;
	l->summary[l->next] = summary;
	l->next = (l->next + 1) % SAY_LIMIT_LINES;
	l->count++;
	l->own += !summary;
}

bool say_limit_take(struct say_limit *l, int64_t t, const char *text)
{
	pass(l, t);
	bool same = l->last[0] && t - l->last_at < SAY_LIMIT_US &&
	            strncmp(l->last, text, sizeof l->last - 1) == 0;
	/* One of the ten stays free for the summary. */
	bool room = !same && l->own < SAY_LIMIT_LINES - 1;
	snprintf(l->last, sizeof l->last, "%s", text);
	if (!same)
		l->last_at = t;
	if (room) {
		note(l, t, false);
		return true;
	}
	if (!l->left_out++)
		l->since = t;
	return false;
}

bool say_limit_due(struct say_limit *l, int64_t t, uint64_t *left_out, int64_t *since)
{
	if (!l->left_out)
		return false;
	pass(l, t);
	if (t - l->since < SAY_LIMIT_US)
		return false;
	*left_out = l->left_out;
	*since = l->since;
	l->left_out = 0;
	note(l, t, true);
	return true;
}
