/* SPDX-License-Identifier: MIT */
/*
 * What is done to a daemon and must do no harm: killed at any moment, started twice,
 * a disk that is full, a place where nothing can be written.
 *
 * The promise that is checked: what a client was told to be in the log is in the
 * log, and nothing is pretended.  It is the project's own; no outside source.
 *
 * TALLY_LONG=1 kills 300 times and not 30, TALLY_KILLS=N as often as it says.  TALLY_SEED=N chooses
 * the moments.
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

/* By the other verifier, which reads a thousand records a second where the machine is busy. */
static void ckseal(struct stand *s)
{
	musttally(s, 0, "verify", s->log);
	const char *words[] = {"python3", "tests/verify_seal.py", s->log, NULL};
	const char *out = in_dir(s, "seal.out");
	unlink(out);
	pid_t pid = child_start(s, words, out, out);
	double until = now_s() + 600;
	int status;
	while ((status = child_ended(s, pid)) < 0 && now_s() < until)
		nap_ms(20);
	if (status != 0) {
		char *text = file_text(out);
		fail_msg("verify_seal.py, status %d: %s", status, text);
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
			/* Chosen anew each time, or it has its entry. */
			if (i % 2)
				mustsend(load, CALL("\"anew\"", "again", "{}"));
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
	const char *often = getenv("TALLY_KILLS");
	int kills = often ? atoi(often) : getenv("TALLY_LONG") ? 300 : 30;
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
		if (i % 100 == 0)
			ckseal(s);
		else if (i % 10 == 0)
			musttally(s, 0, "verify", s->log);
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

/* ---- a disk that is full ---- */

/* A small disk of its own for the log, in a mount namespace that only the daemon
 * sees; a process keeps it while no daemon runs.  False where this is not possible
 * here (it takes root and unshare). */
static bool small_disk(struct stand *s, pid_t *keeper)
{
	static char target[24];
	const char *disk = in_dir(s, "disk"), *ready = in_dir(s, "disk.ready");
	const char *script = "mkdir -p \"$1\" && mount -t tmpfs -o size=24m none \"$1\" && "
	                     ": >\"$2\" && exec sleep 600";
	const char *words[] = {"unshare", "-m", "sh", "-c", script, "sh", disk, ready, NULL};
	int status = -1;
	*keeper = child_start(s, words, NULL, NULL);
	wait_until(s, access(ready, F_OK) == 0 || (status = child_ended(s, *keeper)) >= 0);
	if (status >= 0)
		return false;
	snprintf(target, sizeof target, "%d", (int)*keeper);
	const char *const enter[] = {"nsenter", "-t", target, "-m", "-w", "--", NULL};
	memcpy(s->wrap, enter, sizeof enter);
	snprintf(s->log, sizeof s->log, "%s/stand.db", disk);
	return true;
}

/* A path on that disk as it is seen from here. */
static void on_disk(struct stand *s, pid_t keeper, const char *name, char out[256])
{
	snprintf(out, 256, "/proc/%d/root%s/%s", (int)keeper, in_dir(s, "disk"), name);
}

static void fill(struct stand *s, pid_t keeper)
{
	static const char block[4096];
	char path[256];
	on_disk(s, keeper, "filler", path);
	int fd = open(path, O_WRONLY | O_CREAT | O_APPEND, 0600);
	assert_true(fd >= 0);
	while (write(fd, block, sizeof block) == sizeof block)
		;
	assert_int_equal(errno, ENOSPC);
	close(fd);
}

static void clear(struct stand *s, pid_t keeper)
{
	char path[256];
	on_disk(s, keeper, "filler", path);
	assert_int_equal(unlink(path), 0);
}

/* Notes until one is refused; how many were logged. */
static int notes_until_refused(struct peer *p)
{
	for (int n = 0;; n++) {
		if (n > 20000)
			fail_msg("the disk does not get full");
		mustsend(p, CALL("\"n\"", "note", "{\"position\":\"R1\",\"text\":\"one more\"}"));
		const char *line = mustsee(p, "\"id\":\"n\"");
		if (strstr(line, "\"error\":{\"code\":4,\"message\":\"NOT LOGGED"))
			return n;
		if (!strstr(line, "\"result\":{\"seq\":"))
			fail_msg("neither logged nor refused: %s", line);
	}
}

static bool health_is(struct stand *s, const char *word)
{
	struct answer a = tally(s, "--json", "status");
	char expected[40];
	snprintf(expected, sizeof expected, "\"health\":\"%s\"", word);
	bool is = a.status <= 1 && strstr(a.out, expected); /* 1: something is wrong */
	answer_free(&a);
	return is;
}

static void test_full(void **state)
{
	struct stand *s = *state;
	pid_t keeper;
	int red = meter_new(s, "red", 20, OHM);
	meter_says(s, red, "wander");
	meter_plug(s, red);
	if (!small_disk(s, &keeper)) {
		print_message("   skipped: no disk can be mounted here (it takes root and unshare)\n");
		skip();
	}
	daemon_start(s);
	struct peer *p = peer_greeted(s), *first = peer_watching(s, 0), *second = peer_watching(s, 0);
	musttally(s, 0, "at", "R1");
	musttally(s, 0, "note", "R1", "there is room");
	wait_until(s, tally_status(s, "take") == 0);
	fill(s, keeper);
	/* The reserve lets at least a hundred records out. */
	int n = notes_until_refused(p);
	print_message("   %d records after the disk was full\n", n);
	assert_true(n >= 100);
	/* Everybody is told, and nothing is pretended. */
	mustsee(first, "\"event\":\"not-logged\"");
	mustsee(second, "\"event\":\"not-logged\"");
	wait_until(s, file_has(s->said, "NOT LOGGED"));
	assert_true(health_is(s, "full"));
	musttally(s, 0, "again"); /* it has its entry: another is asked for */
	struct answer a = tally(s, "take");
	assert_int_equal(a.status, 4);
	assert_non_null(strstr(a.err, "NOT LOGGED"));
	answer_free(&a);
	musttally(s, 4, "note", "R1", "refused for ever");
	musttally(s, 4, "job", "start", "another");
	musttally(s, 4, "undo");
	musttally(s, 4, "reach", "lifted");
	musttally(s, 4, "sheet", "load", "tests/recordings/sheet.csv");
	musttally(s, 4, "job", "close");
	/* What was refused does not hold: job, sheet and reach are those of the log. */
	a = tally(s, "--json", "status");
	assert_non_null(strstr(a.out, "\"job\":\"job\""));
	assert_non_null(strstr(a.out, "\"reach\":\"in-circuit\""));
	assert_non_null(strstr(a.out, "\"chosen\":{\"position\":\"R1\""));
	assert_non_null(strstr(a.out, "\"positions\":1,"));
	answer_free(&a);
	/* What only looks goes on. */
	musttally(s, 0, "meters");
	musttally(s, 0, "entries");
	musttally(s, 0, "verify");
	/* Room again: it goes on by itself. */
	clear(s, keeper);
	double t = now_s();
	wait_until(s, !health_is(s, "full"));
	if (now_s() - t > 8) /* it tries once a second; a busy machine takes its time */
		fail_msg("it took %.1f s to go on", now_s() - t);
	wait_until(s, health_is(s, "good")); /* the reserve is there again */
	musttally(s, 0, "note", "R1", "room again");
	mustsee(first, "room again");
	musttally(s, 0, "again");
	wait_until(s, tally_status(s, "take") == 0);
	musttally(s, 0, "verify");
	assert_int_equal(daemon_stop(s, SIGTERM), 0);

	/* The end comes on a full disk, and so does the next beginning. */
	daemon_start(s);
	peer_free(p);
	p = peer_greeted(s);
	fill(s, keeper);
	notes_until_refused(p);
	t = now_s();
	assert_int_equal(daemon_stop(s, SIGTERM), 4);
	assert_true(now_s() - t < 2);
	daemon_start(s);
	musttally(s, 4, "note", "R1", "no room at the start");
	clear(s, keeper);
	wait_until(s, tally_status(s, "note", "R1", "room at last") == 0);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);

	/* What was refused was never written; what was told is there. */
	char path[256];
	on_disk(s, keeper, "stand.db", path);
	snprintf(s->log, sizeof s->log, "%s", in_dir(s, "copy.db"));
	const char *copy[] = {"cp", path, s->log, NULL};
	assert_int_equal(child_wait(s, child_start(s, copy, NULL, NULL)), 0);
	char *all = log_texts(s, s->log);
	assert_null(strstr(all, "refused for ever"));
	assert_null(strstr(all, "no room at the start"));
	assert_null(strstr(all, "\"job\":\"another\""));
	assert_null(strstr(all, "\"kind\":\"sheet\""));
	assert_non_null(strstr(all, "room at last"));
	assert_non_null(strstr(all, "\"kind\":\"gap\"")); /* the readings of that time are counted */
	free(all);
	ckseal(s);
}

/* ---- memory ---- */

static bool have(struct stand *s, const char *program)
{
	const char *words[] = {program, "--version", NULL};
	return child_wait(s, child_start(s, words, NULL, NULL)) == 0;
}

/* A short session under valgrind: no byte is read that was not written, none is
 * lost at the end. */
static void test_memory(void **state)
{
	struct stand *s = *state;
	if (is_sanitized() || !have(s, "valgrind")) {
		print_message("   skipped: valgrind is not here, or the sanitizers look after memory\n");
		skip();
	}
	const char *said = in_dir(s, "valgrind.txt");
	char to[160];
	snprintf(to, sizeof to, "--log-file=%s", said);
	const char *wrap[] = {"valgrind", "--quiet", "--error-exitcode=99", "--leak-check=full",
	                      "--errors-for-leak-kinds=definite,indirect", to, NULL};
	memcpy(s->wrap, wrap, sizeof wrap);
	int red = meter_new(s, "red", 20, OHM),
	    bench = meter_new(s, "bench", 0, "setup = CONF:RES\npace = 0.1\n" OHM);
	meter_says(s, red, "OL MOhm");
	meter_says(s, bench, "+9.90000000E+37");
	meter_plug(s, red);
	meter_plug(s, bench);
	daemon_start(s);
	struct peer *watch = peer_watching(s, 0);
	musttally(s, 0, "sheet", "load", "tests/recordings/sheet.csv");
	musttally(s, 0, "walk", "on");
	mustsee(watch, "\"event\":\"up\"");
	meter_says(s, red, "+101.2 kOhm");
	mustsee(watch, "\"event\":\"logged\"");
	meter_says(s, red, "OL MOhm");
	mustsee(watch, "\"position\":\"R2\"");
	meter_says(s, bench, "+1.01000E+05");
	mustsee(watch, "\"event\":\"logged\"");
	meter_unplug(s, bench);
	mustsee(watch, "\"event\":\"gone\"");
	/* Lines of every kind: cut, garbled, far too long. */
	static const char *const lines[] = {"garbage", "+1.2.3 kOhm", "\xff\xfe\x80", "", " "};
	for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
		size_t before = meter_said(s, red);
		meter_says(s, red, lines[i]);
		wait_until(s, !lines[i][0] || meter_said(s, red) > before);
	}
	meter_says(s, red, "OL MOhm");
	musttally(s, 0, "meters");
	musttally(s, 0, "entries");
	musttally(s, 0, "compare");
	musttally(s, 0, "note", "R1", "a note");
	musttally(s, 0, "undo");
	musttally(s, 2, "sheet", "load", "LICENSE");
	musttally(s, 0, "verify");
	musttally(s, 0, "job", "close");
	peer_free(watch);
	int status = daemon_stop(s, SIGTERM);
	if (status != 0) {
		char *text = file_text(said);
		fail_msg("status %d\n%.6000s", status, text);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		on_stand(test_kill),
		on_stand(test_recovered),
		on_stand(test_second),
		on_stand(test_full),
		on_stand(test_memory),
	};
	return run_on_stand(tests);
}
