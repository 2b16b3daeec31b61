/* SPDX-License-Identifier: MIT */
/*
 * Guided runs on the bench of tests/bench_stand.h: scenes are played, its records looked at, and
 * it is killed and started again over its log.  For more than one test program, so what one of
 * them leaves out is no fault.
 */
#ifndef TALLY_TESTS_GUIDE_STAND_H
#define TALLY_TESTS_GUIDE_STAND_H

#include "tests/bench_stand.h"

#include <math.h>

/* The answer to `status`; valid until the next one. */
static inline const char *guide_status(struct stand *s)
{
	static char look[32768];
	struct text out;
	text_begin(&out, look, sizeof look);
	bench_status(s->bench, &out);
	assert_false(out.failed);
	assert_true(json_valid(look, out.len, NULL));
	return look;
}

static inline void guide_run(struct stand *s, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
static inline void guide_run(struct stand *s, const char *format, ...)
{
	char text[8192];
	va_list args;
	va_start(args, format);
	vsnprintf(text, sizeof text, format, args);
	va_end(args);
	stand_play(s, text);
}

/* The last record of that kind, and the n-th one (from 0); "" for none. */
static inline const char *last_of(const struct stand *s, const char *kind)
{
	char wanted[40];
	snprintf(wanted, sizeof wanted, "\"kind\":\"%s\"", kind);
	for (int i = s->records - 1; i >= 0; i--)
		if (strstr(s->record[i], wanted))
			return s->record[i];
	return "";
}

static inline const char *record_of(const struct stand *s, const char *kind, int n)
{
	char wanted[40];
	snprintf(wanted, sizeof wanted, "\"kind\":\"%s\"", kind);
	for (int i = 0; i < s->records; i++)
		if (strstr(s->record[i], wanted) && n-- == 0)
			return s->record[i];
	return "";
}

static inline double number(const char *text, const char *path) /* NaN: it is none */
{
	double x = NAN;
	(void)json_number(json_member(text, strlen(text), path), &x);
	return x;
}

/* Of the oldest run that goes on. */
static inline struct slice guide_first(const char *look)
{
	struct slice guides = json_member(look, strlen(look), "guides");
	return json_element(guides, 0);
}

static inline double guide_number(struct stand *s, const char *key)
{
	struct slice one = guide_first(guide_status(s));
	double x = NAN;
	(void)json_number(json_member(one.at, one.len, key), &x);
	return x;
}

static inline const char *guide_word(struct stand *s, const char *key)
{
	static char word[400];
	struct slice one = guide_first(guide_status(s));
	word[0] = '\0';
	(void)json_text(json_member(one.at, one.len, key), word, sizeof word);
	return word;
}

/* Killed, and started again over the same log. */
static inline void guide_killed(struct stand *s, const char *log)
{
	int64_t t = s->t;
	bench_free(s->bench);
	s->bench = NULL;
	stand_bench(s, NULL);
	struct log_reader *reader = log_reader_open(log, &s->why);
	assert_true(reader && bench_restore(s->bench, reader, &s->why));
	log_reader_close(reader);
	bench_run_until(s->bench, t);
}

#endif
