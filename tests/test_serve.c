/* SPDX-License-Identifier: MIT */
/*
 * `tallyd --serve FILE`: one client on standard input and output, a log that lies
 * still, read-only.
 */
#include "tests/check.h"

#include "daemon/log.h"
#include "daemon/server.h"
#include "protocol/record/wire.h"

#include <signal.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#define HELLO "{\"jsonrpc\":\"2.0\",\"id\":0,\"method\":\"hello\",\"params\":{\"protocol\":1}}\n"
#define CALL(id, method, params) \
	"{\"jsonrpc\":\"2.0\",\"id\":" id ",\"method\":\"" method "\",\"params\":" params "}\n"

struct place {
	char dir[64], path[96];
};

static int place_up(void **state)
{
	struct place *p = calloc(1, sizeof *p);
	struct fault why;
	static const uint8_t identity[16] = { 0xcd };
	snprintf(p->dir, sizeof p->dir, "/tmp/tally-test-XXXXXX");
	assert_non_null(mkdtemp(p->dir));
	snprintf(p->path, sizeof p->path, "%s/north.db", p->dir);
	struct log_options options = { .path = p->path, .bench = "north", .version = "1",
		                           .inline_mode = true, .identity = identity, .now = 0 };
	struct log *log = log_open(&options, &why);
	if (!log)
		fail_msg("%s", why.text);
	static const char body[] = ",\"job\":null,\"position\":\"R1\",\"value\":3.450e-07";
	struct log_draft draft = { 0, "entry", body, sizeof body - 1 };
	assert_int_not_equal(log_append(log, &draft, 1, NULL, &why), 0);
	log_close(log);
	*state = p;
	return 0;
}

static int place_down(void **state)
{
	struct place *p = *state;
	char command[100];
	snprintf(command, sizeof command, "rm -rf %s", p->dir);
	assert_int_equal(system(command), 0);
	free(p);
	return 0;
}

static char out[4 << 20], err[8192];

/* Serve this file to somebody who says `in`; fills out and err. */
static int serve(struct place *p, const char *file, const char *in, size_t len)
{
	char name[3][96];
	static const char *const what[3] = { "in", "out", "err" };
	int status;
	for (int i = 0; i < 3; i++)
		snprintf(name[i], sizeof name[i], "%s/%s", p->dir, what[i]);
	FILE *f = fopen(name[0], "w");
	assert_non_null(f);
	fwrite(in, 1, len, f);
	fclose(f);
	fflush(NULL);
	pid_t pid = fork();
	if (pid == 0) {
		if (!freopen(name[0], "r", stdin) || !freopen(name[1], "w", stdout) ||
		    !freopen(name[2], "w", stderr))
			_exit(99);
		int code = server_serve(file, "1.2.3");
		fflush(NULL);
		_exit(code);
	}
	assert_int_equal(waitpid(pid, &status, 0), pid);
	memset(out, 0, sizeof out);
	memset(err, 0, sizeof err);
	f = fopen(name[1], "r");
	assert_true(fread(out, 1, sizeof out - 1, f) < sizeof out - 1);
	fclose(f);
	f = fopen(name[2], "r");
	assert_true(fread(err, 1, sizeof err - 1, f) < sizeof err - 1);
	fclose(f);
	assert_true(WIFEXITED(status));
	return WEXITSTATUS(status);
}

static int serve_text(struct place *p, const char *in)
{
	return serve(p, p->path, in, strlen(in));
}

static void test_answers(void **state)
{
	static const char expected[] =
	    "{\"jsonrpc\":\"2.0\",\"id\":0,\"result\":{\"protocol\":1,\"version\":\"1.2.3\",\"bench\":"
	    "\"north\",\"identity\":\"cd000000000000000000000000000000\",\"last\":2,\"live\":false}}\n"
	    "{\"jsonrpc\":\"2.0\",\"id\":\"a\",\"result\":{\"job\":null,\"entries\":[{"
	    "\"record\":{\"seq\":2,"
	    "\"t\":\"1970-01-01T00:00:00.000000Z\",\"kind\":\"entry\",\"job\":null,\"position\":\"R1\","
	    "\"value\":3.450e-07},\"struck\":false,\"moved\":null,\"rejudged\":null,\"renamed\":null,\"position\":\"R1\"}],\"more\":false}}\n"
	    "{\"jsonrpc\":\"2.0\",\"id\":2,\"error\":{\"code\":-32601,\"message\":\"no method "
	    "\\\"take\\\" on a file; it needs a running daemon, or does not exist\"}}\n"
	    "{\"jsonrpc\":\"2.0\",\"id\":3,\"error\":{\"code\":-32602,\"message\":\"entries: unknown "
	    "parameter \\\"x\\\"; it takes position, job, valve, after, limit\"}}\n";
	assert_int_equal(serve_text(*state, HELLO CALL("\"a\"", "entries", "{}")
	                            "\n" /* an empty line, a notification, then without LF */
	                            "{\"jsonrpc\":\"2.0\",\"method\":\"entries\"}\n"
	                            CALL("2", "take", "{}") "{\"jsonrpc\":\"2.0\",\"id\":3,"
	                            "\"method\":\"entries\",\"params\":{\"x\":1}}"),
	                 0);
	assert_string_equal(out, expected);
	assert_string_equal(err, "");
	/* Nothing said, nothing answered. */
	assert_int_equal(serve_text(*state, ""), 0);
	assert_string_equal(out, "");
}

static void test_hello_first(void **state)
{
	assert_int_equal(serve_text(*state, CALL("1", "entries", "{}")
	                                        CALL("2", "hello", "{\"protocol\":7}")
	                                        CALL("3", "verify", "{}")), 0);
	assert_non_null(strstr(out, "\"id\":1,\"error\":{\"code\":-32002"));
	assert_non_null(strstr(out, "\"id\":2,\"error\":{\"code\":-32003"));
	assert_non_null(strstr(out, "\"data\":{\"protocol\":1}"));
	assert_non_null(strstr(out, "\"id\":3,\"error\":{\"code\":-32002"));
}

static void test_verify(void **state)
{
	assert_int_equal(serve_text(*state, HELLO CALL("1", "verify", "{}")), 0);
	assert_non_null(strstr(out, "\"id\":1,\"result\":{\"verdict\":\"intact"));
	assert_non_null(strstr(out, "\"ok\":true,\"records\":2,"));
}

static void test_bad_lines(void **state)
{
	static const char call[] = "{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"verify\"";
	/* Not JSON: answered, and over. */
	assert_int_equal(serve_text(*state, HELLO "nonsense\n" CALL("1", "verify", "{}")), 2);
	assert_non_null(strstr(out, "\"id\":null,\"error\":{\"code\":-32700"));
	assert_null(strstr(out, "\"id\":1"));
	/* A line of 1 MiB is taken, one byte more is not. */
	for (int more = 0; more < 2; more++) {
		size_t head = strlen(HELLO), len = head + WIRE_LINE_MAX + (size_t)more;
		char *in = malloc(len);
		memset(in, ' ', len);
		memcpy(in, HELLO, head);
		memcpy(in + head, call, sizeof call - 1);
		memcpy(in + len - 2, "}\n", 2);
		struct place *p = *state;
		assert_int_equal(serve(p, p->path, in, len), more ? 2 : 0);
		assert_non_null(strstr(out, more ? "the line is longer than 1048576 bytes" : "\"ok\":true"));
		free(in);
	}
}

static void test_not_a_log(void **state)
{
	struct place *p = *state;
	char other[96];
	snprintf(other, sizeof other, "%s/text", p->dir);
	FILE *f = fopen(other, "w");
	fputs("position,kind\nR1,resistor\n", f);
	fclose(f);
	assert_int_equal(serve(p, other, HELLO, strlen(HELLO)), 2);
	assert_string_equal(out, "");
	assert_memory_equal(err, "tallyd: ", 8);
	assert_non_null(strstr(err, other));
	snprintf(other, sizeof other, "%s/none", p->dir);
	assert_int_equal(serve(p, other, HELLO, strlen(HELLO)), 2);
	assert_string_equal(out, "");
	assert_int_equal(access(other, F_OK), -1); /* and is not made */
}

/* Whoever listens goes away: quietly over. */
static void test_nobody_listens(void **state)
{
	struct place *p = *state;
	int in[2], answers[2], status;
	assert_int_equal(pipe(in) | pipe(answers), 0);
	fflush(NULL);
	pid_t pid = fork();
	if (pid == 0) {
		dup2(in[0], STDIN_FILENO);
		dup2(answers[1], STDOUT_FILENO);
		close(in[1]);
		close(answers[0]);
		_exit(server_serve(p->path, "1"));
	}
	close(in[0]);
	close(answers[1]);
	close(answers[0]);
	signal(SIGPIPE, SIG_IGN);
	assert_int_equal(write(in[1], HELLO, strlen(HELLO)), (ssize_t)strlen(HELLO));
	assert_int_equal(waitpid(pid, &status, 0), pid);
	assert_true(WIFEXITED(status));
	assert_int_equal(WEXITSTATUS(status), 1);
	close(in[1]);
}

#define TEST(name) cmocka_unit_test_setup_teardown(test_##name, place_up, place_down)

int main(void)
{
	const struct CMUnitTest tests[] = {
		TEST(answers), TEST(hello_first), TEST(verify), TEST(bad_lines), TEST(not_a_log),
		TEST(nobody_listens),
	};
	return cmocka_run_group_tests_name("serve", tests, NULL, NULL);
}
