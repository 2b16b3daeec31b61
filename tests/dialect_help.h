/* SPDX-License-Identifier: MIT */
/* What the tests of dialects share: files from text, frames through a reader. */
#ifndef TALLY_TESTS_DIALECT_HELP_H
#define TALLY_TESTS_DIALECT_HELP_H

#include "tests/check.h"

#include "protocol/meter/dialect_file.h"

#include <stdbool.h>
#include <stdlib.h>

static inline struct dialect_file *load(const char *text, struct fault *why)
{
	struct dialect_file *d = malloc(sizeof *d);
	assert_non_null(d);
	memset(why, 0, sizeof *why);
	if (dialect_file_load(d, "x.ini", text, strlen(text), why))
		return d;
	free(d);
	return NULL;
}

/* A file that must be taken. */
static inline struct dialect_file *loaded(const char *text)
{
	struct fault why;
	struct dialect_file *d = load(text, &why);
	if (!d)
		fail_msg("refused: %s:%d:%d: %s", why.file, why.line, why.column, why.text);
	return d;
}

static inline void drop(struct dialect_file *d)
{
	dialect_file_free(d);
	free(d);
}

static inline void say(const struct dialect *d, enum function f, const char *bytes, size_t len,
                       struct understood *u)
{
	struct dialect_setting setting = {.function = f, .rules = d->rules};
	struct dialect_memory memory = {0};
	/* Exactly as long as it is, so that a read past its end is seen. */
	char *copy = malloc(len ? len : 1);
	assert_non_null(copy);
	memcpy(copy, bytes, len);
	struct frame frame = {.bytes = copy, .len = len, .t = 7, .fault = FRAME_GOOD};
	memset(u, 0x55, sizeof *u);
	d->understand(&setting, &memory, &frame, u);
	free(copy);
	if (u->said == SAID_NOTHING)
		assert_true(u->why[0] && u->count == 0);
}

#endif
