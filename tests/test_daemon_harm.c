/* SPDX-License-Identifier: MIT */
/*
 * What is done to a daemon and must do no harm: killed at any moment, started twice,
 * a disk that is full, a place where nothing can be written.
 *
 * The promise that is checked: what a client was told to be in the log is in the
 * log, and nothing is pretended.  It is the project's own; no outside source.
 *
 * TALLY_LONG=1 kills 300 times and not 30.  TALLY_SEED=N chooses the moments.
 */
#include "tests/daemon_stand.h"

#define OHM "accuracy ohm = 0.5% + 2\n"

/* ---- what clients were told ---- */

struct told {
	char **text; /* by seq; NULL where nobody was told */
	long size, last, count;
};

static void told_keep(struct told *k, char *text)
{
	long seq = 0;
	if (!text || sscanf(text, "{\"seq\":%ld,", &seq) != 1 || seq < 1)
		fail_msg("no record: %.200s", text ? text : "");
	if (seq >= k->size) {
		long size = seq * 2 + 1024;
		k->text = realloc(k->text, (size_t)size * sizeof *k->text);
		assert_non_null(k->text);
		memset(k->text + k->size, 0, (size_t)(size - k->size) * sizeof *k->text);
		k->size = size;
	}
	if (k->text[seq]) {
		assert_string_equal(k->text[seq], text);
		free(text);
		return;
	}
	k->text[seq] = text;
	k->count++;
	if (seq > k->last)
		k->last = seq;
}

/* Everything that was told must be among the records from `after` on, to the byte. */
static void ckkept(struct stand *s, struct told *k, long after)
{
	struct peer *p = peer_watching(s, after);
	for (long seq = after + 1; seq <= k->last; seq++) {
		char *text = record_of(mustsee(p, "\"method\":\"record\"")), begin[32];
		snprintf(begin, sizeof begin, "{\"seq\":%ld,", seq);
		if (strncmp(text, begin, strlen(begin)) != 0)
			fail_msg("expected record %ld: %.200s", seq, text);
		if (k->text[seq] && strcmp(k->text[seq], text) != 0)
			fail_msg("a client was told\n%s\nand the log has\n%s", k->text[seq], text);
		free(text);
	}
	peer_free(p);
}

static void told_free(struct told *k)
{
	for (long i = 0; i < k->size; i++)
		free(k->text[i]);
	free(k->text);
}

/* The answers of `take` and `note`, and what a watcher saw. */
static void hear(struct told *k, struct peer *p, int *due)
{
	for (char *line; (line = peer_line(p, 0));) {
		if (strstr(line, "\"method\":\"record\"")) {
			told_keep(k, record_of(line));
		} else if (strstr(line, "\"id\":\"load\"")) {
			char *at = strstr(line, "\"record\":{");
			--*due;
			if (at) /* of a take: {"seq":N,"record":{...}}} */
				told_keep(k, strndup(at + 9, strlen(at + 9) - 2));
			else if (!strstr(line, "\"result\":{\"seq\":"))
				fail_msg("refused: %s", line);
		}
	}
}

/* ---- kill -9 ---- */

static unsigned dice(unsigned *seed)
{
	*seed = *seed * 1103515245u + 12345u;
	return *seed >> 8;
}

static void ckseal(struct stand *s)
{
	musttally(s, 0, "verify", s->log);
	const char *words[] = {"python3", "tests/verify_seal.py", s->log, NULL};
	const char *out = in_dir(s, "seal.out");
	unlink(out);
	if (child_wait(s, child_start(s, words, out, out)) != 0) {
		char *text = file_text(out);
		fail_msg("verify_seal.py: %s", text);
	}
}

/* One life under load, to its sudden end. */
static void live_and_die(struct stand *s, struct told *k, int ms)
{
	struct peer *watch = peer_watching(s, k->last), *load = peer_greeted(s);
	double until = now_s() + ms / 1000.0;
	int due = 0, ignored = 0, i = 0;
	mustsend(load, CALL("1", "at", "{\"position\":\"R1\"}"));
	mustsee(load, "\"id\":1,\"result\"");
	wait_until(s, (mustsend(load, CALL("2", "take", "{\"meter\":\"red\"}")),
	               strstr(mustsee(load, "\"id\":2,"), "\"result\"")));
	told_keep(k, strndup(strstr(load->line, "\"record\":{") + 9,
	                     strlen(strstr(load->line, "\"record\":{") + 9) - 2));
	do {
		while (due < 8) {
			mustsend(load, i++ % 2 ? CALL("\"load\"", "take", "{\"meter\":\"red\"}")
			                       : CALL("\"load\"", "note",
			                              "{\"position\":\"R1\",\"text\":\"under load\"}"));
			due++;
		}
		hear(k, load, &due);
		hear(k, watch, &ignored);
		nap_ms(1);
	} while (now_s() < until);
	assert_int_equal(daemon_stop(s, SIGKILL), 128 + SIGKILL);
	/* What was written to us before the end was told, too. */
	hear(k, load, &due);
	hear(k, watch, &ignored);
	peer_free(watch);
	peer_free(load);
}

static void test_kill(void **state)
{
	struct stand *s = *state;
	struct told told = {0};
	int kills = getenv("TALLY_LONG") ? 300 : 30;
	unsigned seed = getenv("TALLY_SEED") ? (unsigned)atoi(getenv("TALLY_SEED")) : 20261125u;
	for (int i = 0; i < 3; i++) {
		meter_new(s, (const char *[]){"red", "blue", "green"}[i], 100, OHM);
		meter_says(s, i, "wander");
		meter_plug(s, i);
	}
	long checked = 0;
	for (int i = 0; i < kills; i++) {
		/* Some live long enough for the open runs to be saved. */
		int ms = (int)(i % 10 == 9 ? 1000 + dice(&seed) % 300 : dice(&seed) % 250);
		daemon_start(s);
		ckkept(s, &told, checked);
		checked = told.last;
		live_and_die(s, &told, ms);
		if (i % 10 == 0)
			ckseal(s);
	}
	daemon_start(s);
	ckkept(s, &told, 0);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	ckseal(s);
	print_message("   %d kills, %ld of %ld records told and kept\n", kills, told.count, told.last);
	assert_true(told.count > kills * 10);
	told_free(&told);
}

/* The run that was open comes back, reading by reading, as a recovered record. */
static void test_recovered(void **state)
{
	struct stand *s = *state;
	int red = meter_new(s, "red", 50, OHM);
	meter_plug(s, red);
	daemon_start(s);
	musttally(s, 0, "at", "R1");
	meter_says(s, red, "wander");
	wait_until(s, meter_said(s, red) >= 130);
	assert_int_equal(daemon_stop(s, SIGKILL), 128 + SIGKILL);
	meter_says(s, red, NULL);
	daemon_start(s);
	struct peer *watch = peer_watching(s, 0);
	char *record = record_of(mustsee(watch, "\"recovered\":true"));
	json_t *r = json_loads(record, 0, NULL), *v = json_object_get(r, "v");
	assert_string_equal(json_string_value(json_object_get(r, "kind")), "trail");
	assert_string_equal(json_string_value(json_object_get(r, "position")), "R1");
	assert_string_equal(json_string_value(json_object_get(r, "meter")), "red");
	/* 2.6 s of readings were sent; at most the last second of them is lost. */
	size_t n = json_array_size(v);
	assert_true(n >= 70 && n <= 131);
	assert_int_equal(json_integer_value(json_object_get(r, "n")), n);
	/* They are what the meter said, in its order. */
	unsigned first = 0;
	while (first < 9000 && first * 7919 % 9000 + 1000 != json_integer_value(json_array_get(v, 0)))
		first++;
	for (size_t i = 0; i < n; i++)
		assert_int_equal(json_integer_value(json_array_get(v, i)),
		                 (first + (unsigned)i) * 7919 % 9000 + 1000);
	json_decref(r);
	free(record);
	/* The job is open again, with its sheet; only once was it recovered. */
	struct answer a = tally(s, "--json", "status");
	assert_non_null(strstr(a.out, "\"job\":\"job\""));
	answer_free(&a);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	daemon_start(s);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	char *all = log_texts(s, s->log), *at = strstr(all, "\"recovered\"");
	assert_non_null(at);
	assert_null(strstr(at + 1, "\"recovered\""));
	free(all);
	ckseal(s);
}

/* ---- a second daemon ---- */

static void refused(struct stand *s, pid_t holder, const char *what, const char *const *options)
{
	char *err, pid[32];
	note_row("%s", what);
	int status = daemon_run(s, options, &err);
	snprintf(pid, sizeof pid, "%d", (int)holder);
	if (status != 2 || !strstr(err, what) || !strstr(err, pid))
		fail_msg("status %d, expected 2 and a message about %s with %s:\n%s", status, what, pid,
		         err);
	free(err);
}

static void test_second(void **state)
{
	struct stand *s = *state;
	int red = meter_new(s, "red", 20, OHM);
	meter_says(s, red, "OL MOhm");
	meter_plug(s, red);
	daemon_start(s);
	wait_until(s, file_has(s->said, "red: line open"));
	const char *log2 = in_dir(s, "second.db"), *socket2 = in_dir(s, "second.sock");
	refused(s, s->daemon, s->log, (const char *[]){"--config", s->config, "--socket", socket2, NULL});
	refused(s, s->daemon, s->socket, (const char *[]){"--config", s->config, "--log", log2, NULL});
	refused(s, s->daemon, "/dev/ttyTEST0",
	        (const char *[]){"--config", s->config, "--log", log2, "--socket", socket2, NULL});
	/* The first one goes on as if nothing had been. */
	musttally(s, 0, "note", "R1", "still here");
	size_t said = meter_said(s, red);
	wait_until(s, meter_said(s, red) > said + 5);
	struct answer a = tally(s, "meters");
	assert_non_null(strstr(a.out, "overload"));
	assert_null(strstr(a.out, "1 reconnects"));
	answer_free(&a);
	/* A socket that nobody listens on is no daemon. */
	assert_int_equal(daemon_stop(s, SIGKILL), 128 + SIGKILL);
	assert_int_equal(access(s->socket, F_OK), 0);
	daemon_start(s);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	assert_int_equal(access(log2, F_OK), 0);
	musttally(s, 0, "verify", log2);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		on_stand(test_kill),
		on_stand(test_recovered),
		on_stand(test_second),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
