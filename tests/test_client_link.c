/* SPDX-License-Identifier: MIT */
/*
 * The link: what becomes of answers that are none, of a daemon that is not there, and
 * of one that is started over a file.
 */
#include "tests/client_script.h"

/* ---- what is no answer ---- */

static const struct bad_row {
	const char *what;
	const char *script[LINES_MOST];
	int status;
	const char *err;
} bad_rows[] = {
	{"closed at once", {"!close"}, 3, "closed the connection"},
	{"closed after hello", {HELLO, "!close"}, 3, "closed the connection"},
	{"half a line", {HELLO, "-{\"jsonrpc\":\"2.0\",\"id\":2,\"res", "!close"}, 3,
	 "closed the connection"},
	{"garbage", {HELLO, "=HTTP/1.1 400 Bad Request"}, 3, "no message of tallyd: HTTP/1.1 400"},
	{"garbage that steers", {HELLO, "=\x1b[31mred"}, 3, "\\x1B[31mred"},
	{"an empty line", {HELLO, "="}, 3, "an empty line"},
	{"a number", {HELLO, "=12"}, 3, "no message of tallyd"},
	{"an array", {HELLO, "=[]"}, 3, "no message of tallyd"},
	{"an empty object", {HELLO, "={}"}, 3, "no message of tallyd"},
	{"another version", {HELLO, "={\"jsonrpc\":\"1.0\",\"id\":$ID,\"result\":{}}"}, 3,
	 "no message"},
	{"a key twice", {HELLO, "={\"jsonrpc\":\"2.0\",\"id\":$ID,\"result\":{},\"result\":{}}"}, 3,
	 "no message"},
	{"neither", {HELLO, "={\"jsonrpc\":\"2.0\",\"id\":$ID}"}, 3, "no message"},
	{"both", {HELLO, "={\"jsonrpc\":\"2.0\",\"id\":$ID,\"result\":{},\"error\":{\"code\":2,"
	 "\"message\":\"x\"}}"}, 3, "no message"},
	{"not UTF-8", {HELLO, "={\"jsonrpc\":\"2.0\",\"id\":$ID,\"result\":\"\xff\"}"}, 3,
	 "no message"},
	{"a NUL in the line", {HELLO, "=", "!nul"}, 3, "no message"},
	{"somebody else's answer", {HELLO, "={\"jsonrpc\":\"2.0\",\"id\":77,\"result\":{}}"}, 3,
	 "not asked"},
	{"an error of the line", {HELLO, "={\"jsonrpc\":\"2.0\",\"id\":null,\"error\":{\"code\":-32700,"
	 "\"message\":\"not JSON\"}}"}, 2, "not JSON"},
	{"an error without words", {HELLO, "={\"jsonrpc\":\"2.0\",\"id\":$ID,\"error\":{\"code\":5}}"},
	 1, "gave no reason"},
	{"a line without an end", {HELLO, "!huge", "!hang"}, 3, "longer than"},
	{"no answer", {HELLO, "!hang"}, 3, "did not answer `take` in time"},
	{"no answer to hello", {"!hang"}, 3, "did not answer `hello` in time"},
	{"version refused", {"={\"jsonrpc\":\"2.0\",\"id\":$ID,\"error\":{\"code\":-32003,\"message\":"
	 "\"no\",\"data\":{\"protocol\":2}}}"}, 2, "speaks protocol 2, this tally speaks 1"},
	{"version mismatched", {RESULT("{\"protocol\":3}")}, 2, "speaks protocol 3"},
	{"hello without a version", {RESULT("{}")}, 2, "speaks protocol 0"},
};

static void test_bad_answers(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof bad_rows / sizeof bad_rows[0]; i++) {
		struct client c = client_for(NULL, NULL);
		c.timeout_ms = 300;
		note_row("%s", bad_rows[i].what);
		struct run r = run_script(&c, bad_rows[i].script, CLIENT("take"));
		expect(r.err, bad_rows[i].err, "standard error");
		assert_int_equal(r.status, bad_rows[i].status);
		assert_string_equal(r.out, "");
		/* Whether it was done is in doubt once it was asked, and never before. */
		bool doubt = r.status == 3 && strcmp(bad_rows[i].script[0], HELLO) == 0;
		assert_int_equal(strstr(r.err, "not known whether") != NULL, doubt);
		run_free(&r);
	}
}

static void test_flood(void **state)
{
	(void)state;
	/* Notifications before the answer are kept; too many of them are no daemon. */
	char many[LINK_KEPT_MAX * 64 + 256] = "=";
	for (int i = 0; i < LINK_KEPT_MAX + 1; i++)
		strcat(many, "{\"jsonrpc\":\"2.0\",\"method\":\"x\"}\n");
	struct run r = run_script(NULL, SCRIPT(HELLO, many), CLIENT("status"));
	assert_int_equal(r.status, 3);
	expect(r.err, "256 notifications and no answer", "standard error");
	run_free(&r);
}

/* ---- no daemon ---- */

static void test_not_there(void **state)
{
	(void)state;
	char longer[200], text[256];
	struct run r = run_client(NULL, CLIENT("status"));
	assert_int_equal(r.status, 3);
	expect(r.err, "there is no such socket. Start tallyd", "standard error");
	expect(r.err, path, "standard error");
	run_free(&r);
	/* The socket of one that was killed. */
	pid_t pid = daemon_start(NULL, 0);
	waitpid(pid, NULL, 0);
	r = run_client(NULL, CLIENT("status"));
	assert_int_equal(r.status, 3);
	expect(r.err, "nobody listens", "standard error");
	run_free(&r);
	unlink(path);
	/* --socket goes before the environment, which goes before the usual one. */
	r = run_client(NULL, CLIENT("status", "--socket", "/nowhere/s"));
	expect(r.err, "/nowhere/s", "standard error");
	run_free(&r);
	struct client c = client_for(NULL, NULL);
	c.socket = "";
	r = run_client(&c, CLIENT("status", "--socket=/nowhere/s"));
	run_free(&r);
	memset(longer, 'x', sizeof longer - 1);
	longer[0] = '/';
	longer[sizeof longer - 1] = '\0';
	r = run_client(NULL, CLIENT("status", "--socket", longer));
	assert_int_equal(r.status, 2);
	expect(r.err, "at most 107 bytes", "standard error");
	run_free(&r);
	/* What needs no daemon does not look for one. */
	r = run_client(NULL, CLIENT("judge", "470k", "10%", "468k", "--accuracy", "0.5% + 2"));
	assert_int_equal(r.status, 0);
	snprintf(text, sizeof text, "within, 0.43 %% low\n");
	expect(r.out, text, "standard output");
	run_free(&r);
}

/* ---- a file ---- */

/* The log is a script: this program, run as `--serve FILE`, is its daemon. */
static struct run run_file(const char *const *script, const char *const *argv)
{
	char file[128];
	struct client c = client_for(NULL, NULL);
	char self[1024];
	ssize_t n = readlink("/proc/self/exe", self, sizeof self - 1);
	assert_true(n > 0);
	self[n] = '\0';
	c.program = self;
	snprintf(file, sizeof file, "%s/log", place);
	FILE *f = fopen(file, "w");
	for (int i = 0; i < LINES_MOST && script[i]; i++)
		fprintf(f, "%s\n", script[i]);
	fclose(f);
	return run_client(&c, argv);
}

static void test_file(void **state)
{
	(void)state;
	char file[128], missing[128];
	snprintf(file, sizeof file, "%s/log", place);
	snprintf(missing, sizeof missing, "%s/no-log", place);
	const char *good[LINES_MOST] = {
		HELLO, RESULT("{\"verdict\":\"intact, no anchor\",\"ok\":true,\"records\":3}")};
	struct run r = run_file(good, CLIENT("verify", file));
	assert_int_equal(r.status, 0);
	expect(r.out, file, "standard output");
	run_free(&r);
	r = run_file(good, CLIENT("--file", file, "verify", "--json"));
	assert_int_equal(r.status, 0);
	run_free(&r);
	/* Its own reason stands on standard error; its status is the better one.  With 2 that reason is
	 * for the person, and nothing is added to it. */
	static const struct { const char *end; int status; const char *added; } ends[] = {
		{"!exit 2", 2, NULL}, {"!exit 4", 4, "ended with status"}, {"!exit 0", 3, "ended with status"},
		{"!exit 9", 3, "ended with status"}};
	for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
		note_row("%s", ends[i].end);
		r = run_file(SCRIPT(ends[i].end), CLIENT("verify", file));
		assert_int_equal(r.status, ends[i].status);
		if (ends[i].added)
			expect(r.err, ends[i].added, "standard error");
		else
			assert_string_equal(r.err, "");
		run_free(&r);
		r = run_file(SCRIPT(HELLO, ends[i].end), CLIENT("verify", file));
		assert_int_equal(r.status, ends[i].status);
		run_free(&r);
	}
	r = run_client(NULL, CLIENT("verify", missing));
	assert_int_equal(r.status, 2);
	expect(r.err, "no-log: No such file", "standard error");
	run_free(&r);
	r = run_client(NULL, CLIENT("verify", file, "--file", file));
	assert_int_equal(r.status, 2);
	run_free(&r);
	r = run_client(NULL, CLIENT("verify", file, "--anchor", "12:xyz"));
	assert_int_equal(r.status, 2);
	expect(r.err, "64 hex digits", "standard error");
	run_free(&r);
	r = run_client(NULL, CLIENT("take", "--file", file));
	assert_int_equal(r.status, 2);
	run_free(&r);
}

/* Beside our own executable, then PATH, never the working directory. */
static void test_program_missing(void **state)
{
	(void)state;
	char file[128], *path_was = strdup(getenv("PATH") ? getenv("PATH") : "");
	struct client c = client_for(NULL, NULL);
	snprintf(file, sizeof file, "%s/log", place);
	fclose(fopen(file, "w"));
	setenv("PATH", "/nowhere::/nowhere-either", 1);
	struct run r = run_client(&c, CLIENT("entries", "--file", file));
	assert_int_equal(r.status, 3);
	expect(r.err, "neither beside tally nor on PATH", "standard error");
	run_free(&r);
	c.program = "/nowhere/tallyd";
	r = run_client(&c, CLIENT("entries", "--file", file));
	assert_int_equal(r.status, 3);
	expect(r.err, "does not start", "standard error");
	run_free(&r);
	setenv("PATH", path_was, 1);
	free(path_was);
}

/* No daemon, and no tallyd that could look instead. */
static void test_doctor_without_any(void **state)
{
	(void)state;
	struct client c = {.program = "/nowhere/tallyd"};
	struct run r = run_client(&c, CLIENT("doctor"));
	expect(r.err, "no daemon at", "standard error");
	expect(r.err, "/nowhere/tallyd", "standard error");
	assert_string_equal(r.out, "");
	assert_int_equal(r.status, 3);
	run_free(&r);
	/* One that prints no answer is none. */
	c = (struct client){.program = "/bin/false"};
	r = run_client(&c, CLIENT("doctor", "--json"));
	expect(r.err, "gave no answer (exit status 1)", "standard error");
	assert_int_equal(r.status, 3);
	run_free(&r);
}

/* `--serve FILE`: the daemon of a file is this program, and the file its script. */
static int serve(const char *file)
{
	static char lines[LINES_MOST][4096];
	const char *script[LINES_MOST] = {NULL};
	FILE *f = fopen(file, "r");
	for (int i = 0; f && i < LINES_MOST && fgets(lines[i], sizeof lines[i], f); i++) {
		lines[i][strcspn(lines[i], "\n")] = '\0';
		script[i] = lines[i];
	}
	talk(0, 1, script, -1);
	return 0;
}

int main(int argc, char **argv)
{
	if (argc == 3 && strcmp(argv[1], "--serve") == 0)
		return serve(argv[2]);
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_bad_answers),
		cmocka_unit_test(test_flood),
		cmocka_unit_test(test_not_there),
		cmocka_unit_test(test_file),
		cmocka_unit_test(test_program_missing),
		cmocka_unit_test(test_doctor_without_any),
	};
	return cmocka_run_group_tests(tests, set_up, tear_down);
}
