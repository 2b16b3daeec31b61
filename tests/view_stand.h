/* SPDX-License-Identifier: MIT */
/* Styles to look at, a JSON text, and lines that must be the picture that a test keeps. */
#ifndef TALLY_TESTS_VIEW_STAND_H
#define TALLY_TESTS_VIEW_STAND_H

#include "tests/check.h"

#include "client/view.h"

static const struct style columns = {0};
static const struct style sentences = {.plain = true};
static const struct style signs = {.utf8 = true, .width = 100};
static const struct style colours = {.colour = true};

static inline struct slice slice(const char *text)
{
	size_t where;
	/* A picture of what is no JSON would prove nothing. */
	if (!json_valid(text, strlen(text), &where))
		fail_msg("not JSON at %zu: %s", where, text);
	return (struct slice){text, strlen(text)};
}

static inline void same(struct lines *got, const char *want)
{
	if (strcmp(lines_text(got), want) != 0) {
		print_error("got:\n%s\nexpected:\n%s\n", lines_text(got), want);
		fail();
	}
	lines_free(got);
}

#endif
