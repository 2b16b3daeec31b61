/* SPDX-License-Identifier: MIT */
/*
 * A bench (tests/bench_stand.h) and the questions that its log answers, for tests of what is
 * fitted, renamed, and named without a schematic: typed entries by value, the newest record
 * of a kind, all answers as one text, and a bench that is started anew from its log.
 */
#ifndef TALLY_TESTS_FIT_STAND_H
#define TALLY_TESTS_FIT_STAND_H

#include "daemon/query.h"
#include "tests/bench_stand.h"

static inline void fit_tell(struct stand *s, const char *act)
{
	char word[32];
	size_t n = strcspn(act, " ");
	snprintf(word, sizeof word, "%.*s", (int)n, act);
	s->why = (struct fault){.text = ""};
	if (!bench_act(s->bench, s->t, word, act[n] ? act + n + 1 : "", &s->why))
		fail_msg("%s: %s", act, s->why.text);
	bench_collect(s->bench);
}

/* The same, refused with these words, and nothing was logged. */
static inline void fit_refused(struct stand *s, const char *act, const char *says)
{
	char word[32];
	size_t n = strcspn(act, " ");
	int records = s->records;
	snprintf(word, sizeof word, "%.*s", (int)n, act);
	s->why = (struct fault){.text = ""};
	bool done = bench_act(s->bench, s->t, word, act[n] ? act + n + 1 : "", &s->why);
	bench_collect(s->bench);
	if (done || !strstr(s->why.text, says) || s->records != records)
		fail_msg("%s: %s, \"%s\", expected \"%s\", %d records", act, done ? "done" : "refused",
		         s->why.text, says, s->records - records);
}

/* An entry of an exact instrument. */
static inline void fit_enter(struct stand *s, const char *position, const char *value)
{
	struct bench_typed typed = {.position = position, .value = value, .from = "bridge",
	                            .quantity = -1, .u = "0"};
	if (!bench_enter(s->bench, s->t, &typed, (struct bench_wait){0}, &s->why))
		fail_msg("%s %s: %s", position, value, s->why.text);
	bench_collect(s->bench);
}

/* The n-th newest record of a kind, 0 the newest; "" where there is none. */
static inline const char *fit_record(const struct stand *s, const char *kind, int n)
{
	char want[40];
	snprintf(want, sizeof want, "\"kind\":\"%s\"", kind);
	for (int i = s->records - 1; i >= 0; i--)
		if (strstr(s->record[i], want) && n-- == 0)
			return s->record[i];
	return "";
}

static inline int fit_count(const struct stand *s, const char *kind)
{
	int n = 0;
	while (fit_record(s, kind, n)[0])
		n++;
	return n;
}

static inline void fit_has(const char *text, const char *fragment)
{
	if (!strstr(text, fragment))
		fail_msg("no %s in %s", fragment, text);
}

/* The answer of one question; the caller frees it. */
static inline char *fit_ask(struct stand *s, const char *method, const char *params)
{
	struct log_reader *reader = log_reader_open(log_path(s->log), &s->why);
	assert_non_null(reader);
	json_t *p = json_loads(params, 0, NULL);
	int code = 0;
	char *answer = query_run(reader, method, p, &code, &s->why);
	json_decref(p);
	log_reader_close(reader);
	if (!answer)
		fail_msg("%s %s: %s", method, params, s->why.text);
	return answer;
}

/* A bench that knows nothing but the log. */
static inline void fit_restart(struct stand *s)
{
	struct log_reader *reader = log_reader_open(log_path(s->log), &s->why);
	assert_non_null(reader);
	bench_finish(s->bench, s->t);
	bench_collect(s->bench);
	stand_bench(s, NULL);
	assert_true(bench_restore(s->bench, reader, &s->why));
	log_reader_close(reader);
	bench_collect(s->bench);
}

static inline struct stand *fit_begin(const char *sheet)
{
	struct stand *s = calloc(1, sizeof *s);
	stand_open(s, stand_config, ":memory:", NULL);
	if (sheet)
		stand_load(s, sheet);
	return s;
}

static inline void fit_end(struct stand *s)
{
	stand_free(s);
	free(s);
}

#endif
