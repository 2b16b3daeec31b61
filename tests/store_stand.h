/* SPDX-License-Identifier: MIT */
/* A log in memory and a reader of it, for questions on records that a test makes by hand. */
#ifndef TALLY_TESTS_STORE_STAND_H
#define TALLY_TESTS_STORE_STAND_H

#include "tests/check.h"

#include "daemon/query.h"

#include <stdlib.h>

struct store {
	struct log *log;
	struct log_reader *reader;
	int64_t t; /* of the next record, us since 1970; the test moves it on */
};

static inline int store_up(void **state)
{
	struct store *s = calloc(1, sizeof *s);
	struct fault why;
	static const uint8_t identity[16] = { 0xab };
	struct log_options options = { .path = ":memory:", .bench = "north", .version = "1",
		                           .inline_mode = true, .identity = identity, .now = 0 };
	s->log = log_open(&options, &why);
	if (!s->log)
		fail_msg("%s", why.text);
	s->reader = log_reader_open(log_path(s->log), &why);
	if (!s->reader)
		fail_msg("%s", why.text);
	s->t = INT64_C(1795600800000000);
	*state = s;
	return 0;
}

static inline int store_down(void **state)
{
	struct store *s = *state;
	log_reader_close(s->reader);
	log_close(s->log);
	free(s);
	return 0;
}

static inline void store_durable(void *arg, const struct log_result *r)
{
	(void)arg;
	if (r->status != LOG_DURABLE)
		fail_msg("not logged: %s", r->why);
}

/* Add one record; its seq. */
static inline int64_t store_add(struct store *s, const char *kind, const char *body, size_t len)
{
	struct fault why;
	struct log_draft draft = {s->t, kind, body, len};
	if (!log_append(s->log, &draft, 1, NULL, &why))
		fail_msg("%s", why.text);
	log_collect(s->log, store_durable, NULL);
	return log_last_seq(s->log);
}

#endif
