/* SPDX-License-Identifier: MIT */
/*
 * What follows the daemon (watch, raw, tape), what becomes of the output, and help.
 */
#include "tests/client_script.h"

/* ---- what follows ---- */

static void test_watch_texts(void **state)
{
	(void)state;
	/* One that comes before the answer is not lost; events are no records. */
	const char *script[LINES_MOST] = {
		HELLO, "={\"jsonrpc\":\"2.0\",\"method\":\"record\",\"params\":{\"seq\":5,\"record\":" ODD
		"}}\n{\"jsonrpc\":\"2.0\",\"id\":2,\"result\":{\"last\":5}}",
		NEWS("event", "{\"event\":\"moving\",\"t\":\"x\"}"),
		NEWS("record", "{\"seq\":6,\"record\":" ODD2 "}"), "!close"};
	struct run r = run_script(NULL, script, CLIENT("watch", "--json", "--after", "4"));
	assert_string_equal(r.out, ODD "\n" ODD2 "\n");
	/* A daemon that is gone is said, and is status 3. */
	assert_int_equal(r.status, 3);
	expect(r.err, "closed the connection", "standard error");
	expect(heard(), "\"method\":\"watch\",\"params\":{\"after\":4}", "what was asked");
	run_free(&r);
	/* Where nobody sits at a terminal it is the same without --json. */
	r = run_script(NULL, script, CLIENT("watch"));
	assert_string_equal(r.out, ODD "\n" ODD2 "\n");
	expect(heard(), "\"method\":\"watch\",\"params\":{}", "what was asked");
	run_free(&r);
	r = run_client(NULL, CLIENT("watch", "--after", "-3"));
	assert_int_equal(r.status, 2);
	run_free(&r);
}

static volatile sig_atomic_t stop_now;

static void on_alarm(int signal)
{
	(void)signal;
	stop_now = 1;
}

static void test_watch_words(void **state)
{
	(void)state;
	/* The daemon goes and comes back: it goes on after the last record, once each. */
	const char *first[LINES_MOST] = {HELLO, RESULT("{\"last\":4}"),
		NEWS("record", "{\"seq\":5,\"record\":{\"seq\":5,\"kind\":\"note\",\"text\":\"one\"}}"),
		NEWS("event", "{\"event\":\"gone\",\"meter\":\"red\"}"), "!close"};
	const char *second[LINES_MOST] = {HELLO, RESULT("{\"last\":6}"),
		NEWS("record", "{\"seq\":6,\"record\":{\"seq\":6,\"kind\":\"note\",\"text\":\"two\"}}")};
	const char *const *scripts[] = {first, second};
	struct client c = client_for(NULL, NULL);
	struct sigaction action = {.sa_handler = on_alarm};
	sigaction(SIGALRM, &action, NULL);
	c.stop = &stop_now;
	stop_now = 0;
	pid_t pid = daemon_start(scripts, 2);
	alarm(2);
	struct run r = run_client(&c, CLIENT("watch", "--plain"));
	kill(pid, SIGTERM);
	waitpid(pid, NULL, 0);
	unlink(path);
	/* Ended by the person: quietly, and done. */
	assert_int_equal(r.status, 0);
	assert_string_equal(r.out, "record 5, note one\ngone: red: is gone\nrecord 6, note two\n");
	expect(r.err, "waiting for it to come back", "standard error");
	expect(r.err, "it is back", "standard error");
	expect(heard(), "{\"after\":5}", "what was asked");
	run_free(&r);
}

static void test_watch_reader_gone(void **state)
{
	(void)state;
	int ends[2];
	assert_int_equal(pipe(ends), 0);
	struct client c = client_for(fdopen(ends[1], "w"), NULL);
	c.out_fd = ends[1];
	signal(SIGPIPE, SIG_IGN);
	close(ends[0]);
	/* Nothing comes, and nobody reads: it ends all the same. */
	struct run r = run_script(&c, SCRIPT(HELLO, RESULT("{\"last\":4}")), CLIENT("watch"));
	assert_int_equal(r.status, 0);
	assert_string_equal(r.err, "");
	fclose(c.out);
	run_free(&r);
}

static void test_tape(void **state)
{
	(void)state;
	const char *script[LINES_MOST] = {HELLO, RESULT("{}"),
		NEWS("tape", "{\"line\":\"# tally recording 1\"}"),
		NEWS("tape", "{\"line\":\"0.000000 red \\\"+1.0 V\\\\r\\\\n\\\"\"}"),
		NEWS("tape", "{\"line\":\"0.5 @at R1\",\"lost\":3}"), "!close"};
	struct run r = run_script(NULL, script, CLIENT("meters", "tape", "red", "blue"));
	expect(heard(), "{\"meters\":[\"red\",\"blue\"]}", "what was asked");
	assert_string_equal(r.out, "# tally recording 1\n0.000000 red \"+1.0 V\\r\\n\"\n"
	                           "# 3 lines are missing here\n0.5 @at R1\n");
	assert_int_equal(r.status, 3);
	expect(r.err, "the recording is not whole", "standard error");
	run_free(&r);
	r = run_script(NULL, SCRIPT(HELLO, FAULT("2", "there is no meter")), CLIENT("meters", "tape"));
	assert_int_equal(r.status, 2);
	assert_string_equal(r.out, "");
	expect(heard(), "{\"meters\":[]}", "what was asked");
	run_free(&r);
}

static void test_raw(void **state)
{
	(void)state;
#define FRAME "{\"meter\":\"red\",\"t\":\"2026-11-25T10:00:03.123456Z\",\"bytes\":\"+1.0 V\"," \
	"\"fault\":\"good\",\"said\":\"readings\",\"shown\":[\"1.0 V\"],\"why\":\"\"}"
	const char *script[LINES_MOST] = {HELLO, RESULT("{}"), NEWS("frame", FRAME), "!close"};
	struct run r = run_script(NULL, script, CLIENT("meters", "raw", "red", "--json"));
	assert_string_equal(r.out, FRAME "\n");
	assert_int_equal(r.status, 3);
	run_free(&r);
	r = run_script(NULL, script, CLIENT("meters", "raw", "red"));
	assert_string_equal(r.out, "10:00:03  \"+1.0 V\"                      1.0 V\n");
	expect(heard(), "{\"meter\":\"red\"}", "what was asked");
	run_free(&r);
}

/* ---- output ---- */

static void test_full_disk(void **state)
{
	(void)state;
	struct client c = client_for(fopen("/dev/full", "w"), NULL);
	if (!c.out)
		skip();
	struct run r = run_script(&c, SCRIPT(HELLO, RESULT("{\"job\":null}")),
	                          CLIENT("status", "--json"));
	assert_int_equal(r.status, 4);
	expect(r.err, "standard output cannot be written: No space left", "standard error");
	fclose(c.out);
	run_free(&r);
}

static void test_help(void **state)
{
	(void)state;
	struct run r = run_client(NULL, CLIENT("--help"));
	assert_int_equal(r.status, 0);
	expect(r.out, "Valve equipment kills", "standard output");
	assert_string_equal(r.err, "");
	run_free(&r);
	for (int i = 0; i < command_count; i++) {
		char first[32] = "", *second;
		snprintf(first, sizeof first, "%s", command_table[i].verb);
		second = strchr(first, ' ');
		if (second)
			*second++ = '\0';
		note_row("%s", command_table[i].verb);
		r = second ? run_client(NULL, CLIENT(first, second, "--help"))
		           : run_client(NULL, CLIENT(first, "--help"));
		assert_int_equal(r.status, 0);
		expect(r.out, "use: tally", "standard output");
		assert_string_equal(r.err, "");
		assert_null(strchr(r.out, '\033'));
		run_free(&r);
	}
	r = run_client(NULL, CLIENT(NULL));
	assert_int_equal(r.status, 2);
	assert_string_equal(r.out, "");
	run_free(&r);
	r = run_client(NULL, CLIENT("help", "enter"));
	assert_int_equal(r.status, 0);
	expect(r.out, "--from NAME", "standard output");
	run_free(&r);
	r = run_client(NULL, CLIENT("help", "nothing"));
	assert_int_equal(r.status, 2);
	run_free(&r);
	r = run_client(NULL, CLIENT("--version"));
	assert_int_equal(r.status, 0);
	assert_ptr_equal(strstr(r.out, "tally "), r.out);
	run_free(&r);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_watch_texts),
		cmocka_unit_test(test_watch_words),
		cmocka_unit_test(test_watch_reader_gone),
		cmocka_unit_test(test_tape),
		cmocka_unit_test(test_raw),
		cmocka_unit_test(test_full_disk),
		cmocka_unit_test(test_help),
	};
	return cmocka_run_group_tests(tests, set_up, tear_down);
}
