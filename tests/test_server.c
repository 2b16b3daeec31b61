/* SPDX-License-Identifier: MIT */
/*
 * The server as its clients meet it: calls and answers, bad clients, bounds, the
 * socket.  (Watching stands in test_server_watch.c.)
 *
 * Source: JSON-RPC 2.0 Specification (2013-01-04), sections 4 and 5, for requests,
 * notifications, ids and error codes; protocol/WIRE.md for everything else.
 */
#include "tests/server_fixture.h"

#include <signal.h>
#include <sys/wait.h>

#define RESULT(id, text) "{\"jsonrpc\":\"2.0\",\"id\":" id ",\"result\":" text "}"
#define CALL(id, method, params) \
	"{\"jsonrpc\":\"2.0\",\"id\":" id ",\"method\":\"" method "\",\"params\":" params "}"

/* ---- calls and answers ---- */

static void test_hello(void **state)
{
	struct fixture *f = *state;
	struct peer *p = peer_new(f);
	mustsend(p, CALL("1", "status", "{}"));
	ckhas(p, "\"id\":1,\"error\":{\"code\":-32002,\"message\":\"hello comes first");
	mustsend(p, CALL("2", "hello", "{\"protocol\":2,\"client\":\"t\"}"));
	ckhas(p, "\"error\":{\"code\":-32003,\"message\":\"protocol 2 is not spoken here");
	mustsend(p, CALL("3", "hello", "{\"protocol\":2}"));
	ckhas(p, "\"data\":{\"protocol\":1}}}");
	mustsend(p, CALL("4", "hello", "{}"));
	ckhas(p, "\"code\":-32602,\"message\":\"hello: parameter \\\"protocol\\\" is missing");
	assert_int_equal(f->calls, 0);
	mustsend(p, CALL("5", "hello", "{\"protocol\":1,\"client\":\"test\"}"));
	ckresp(p, RESULT("5", "{\"protocol\":1,\"version\":\"1.2.3\",\"bench\":\"north\",\"identity\":"
	                      "\"01020300000000000000000000000000\",\"last\":1,\"live\":true}"));
	mustsend(p, CALL("6", "status", "{\"a\":1}"));
	ckresp(p, RESULT("6", "{\"a\":1}"));
	peer_free(p);
}

/* Each row on the same connection: none of these ends it. */
static void test_requests(void **state)
{
	static const struct {
		const char *legend, *send, *expect;
	} rows[] = {
		{ "params absent", "{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"status\"}",
		  RESULT("1", "{}") },
		{ "space and CR around", " {\"jsonrpc\" : \"2.0\", \"id\" : 1 , \"method\":\"status\"} \r",
		  RESULT("1", "{}") },
		{ "members in any order",
		  "{\"params\":{\"b\":[1,{\"c\":null}]},\"method\":\"status\",\"id\":1,\"jsonrpc\":\"2.0\"}",
		  RESULT("1", "{\"b\":[1,{\"c\":null}]}") },
		{ "further members are passed over",
		  "{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"status\",\"x\":2}", RESULT("1", "{}") },
		{ "id: text", CALL("\"a\\u0062\\\"\"", "status", "{}"), RESULT("\"a\\u0062\\\"\"", "{}") },
		{ "id: null is an id", CALL("null", "status", "{}"), RESULT("null", "{}") },
		{ "id: fraction as written", CALL("1.50", "status", "{}"), RESULT("1.50", "{}") },
		{ "id: beyond any integer", CALL("123456789012345678901234567890", "status", "{}"),
		  RESULT("123456789012345678901234567890", "{}") },
		{ "id: beyond any double", CALL("-1e999", "status", "{}"), RESULT("-1e999", "{}") },
		{ "id: object", CALL("{\"n\": [1, 2]}", "status", "{}"),
		  RESULT("{\"n\": [1, 2]}", "{}") },
		{ "id: true", CALL("true", "status", "{}"), RESULT("true", "{}") },
		{ "no such method", CALL("1", "frobnicate", "{}"),
		  "{\"jsonrpc\":\"2.0\",\"id\":1,\"error\":{\"code\":-32601,\"message\":\"no method "
		  "\\\"frobnicate\\\" here; protocol/WIRE.md lists them\"}}" },
		{ "a method that begins like one", CALL("1", "status\\u0000x", "{}"),
		  "{\"jsonrpc\":\"2.0\",\"id\":1,\"error\":{\"code\":-32601,\"message\":\"no method "
		  "\\\"status\xef\xbf\xbdx\\\" here; protocol/WIRE.md lists them\"}}" },
		{ "params in a list", CALL("1", "status", "[1]"),
		  "{\"jsonrpc\":\"2.0\",\"id\":1,\"error\":{\"code\":-32602,\"message\":\"status: params must "
		  "be an object with named parameters\"}}" },
		{ "unknown parameter", CALL("1", "entries", "{\"postion\":\"R1\"}"),
		  "{\"jsonrpc\":\"2.0\",\"id\":1,\"error\":{\"code\":-32602,\"message\":\"entries: unknown "
		  "parameter \\\"postion\\\"; it takes position, job, valve, after, limit\"}}" },
		{ "wrong type", CALL("1", "watch", "{\"after\":-1}"),
		  "{\"jsonrpc\":\"2.0\",\"id\":1,\"error\":{\"code\":-32602,\"message\":\"watch: parameter "
		  "\\\"after\\\" must be a whole number, 0 or above\"}}" },
		{ "a number that nothing holds", CALL("1", "watch", "{\"after\":1e999}"),
		  "\"code\":-32602" },
		{ "a refusal with its place", CALL("7", "sheet.load", "{}"),
		  "{\"jsonrpc\":\"2.0\",\"id\":7,\"error\":{\"code\":2,\"message\":\"nominal: \\\"4x7\\\" is "
		  "no value\",\"data\":{\"file\":\"a \\\"b\\\".csv\",\"line\":3,\"column\":7}}}" },
		{ "version missing", "{\"id\":1,\"method\":\"status\"}",
		  "{\"jsonrpc\":\"2.0\",\"id\":1,\"error\":{\"code\":-32600,\"message\":\"member "
		  "\\\"jsonrpc\\\" must be \\\"2.0\\\"\"}}" },
		{ "version 1", "{\"jsonrpc\":\"1.0\",\"id\":1,\"method\":\"status\"}", "\"code\":-32600" },
		{ "version as a number", "{\"jsonrpc\":2.0,\"id\":1,\"method\":\"status\"}",
		  "\"code\":-32600" },
		{ "method missing", "{\"jsonrpc\":\"2.0\",\"id\":9}", "\"id\":9,\"error\":{\"code\":-32600" },
		{ "method no text", "{\"jsonrpc\":\"2.0\",\"id\":9,\"method\":1}",
		  "\"id\":9,\"error\":{\"code\":-32600" },
		{ "no request and no id", "{\"jsonrpc\":\"2.0\"}", "\"id\":null,\"error\":{\"code\":-32600" },
		{ "a batch", "[" CALL("1", "status", "{}") "]",
		  "\"id\":null,\"error\":{\"code\":-32600,\"message\":\"batches are not used" },
		{ "a number", "12", "\"id\":null,\"error\":{\"code\":-32600" },
	};
	struct fixture *f = *state;
	struct peer *p = peer_greeted(f);
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		mustsend(p, rows[i].send);
		const char *line = peer_line(p);
		bool same = line && (rows[i].expect[0] == '{' ? !strcmp(line, rows[i].expect)
		                                               : strstr(line, rows[i].expect) != NULL);
		if (!same) {
			note_row("%s", rows[i].legend);
			fail_msg("got %s\nexpected %s", line, rows[i].expect);
		}
	}
	mustsend(p, "");
	mustsend(p, "  \r");
	mustsend(p, CALL("1", "status", "{}"));
	ckresp(p, RESULT("1", "{}"));
	peer_free(p);
}

static void test_long_id(void **state)
{
	struct peer *p = peer_greeted(*state);
	char line[4096], id[1100];
	memset(id, 'x', sizeof id);
	snprintf(line, sizeof line, "{\"jsonrpc\":\"2.0\",\"id\":\"%.1022s\",\"method\":\"status\"}", id);
	mustsend(p, line);
	ckhas(p, "xxx\",\"result\":{}}");
	snprintf(line, sizeof line, "{\"jsonrpc\":\"2.0\",\"id\":\"%.1023s\",\"method\":\"status\"}", id);
	mustsend(p, line);
	ckhas(p, "\"id\":null,\"error\":{\"code\":-32600");
	peer_free(p);
}

/* A notification is done and never answered, whatever comes of it (section 4.1). */
static void test_notifications(void **state)
{
	struct fixture *f = *state;
	struct peer *p = peer_greeted(f);
	mustsend(p, "{\"jsonrpc\":\"2.0\",\"method\":\"status\"}");
	mustsend(p, "{\"jsonrpc\":\"2.0\",\"method\":\"frobnicate\"}");
	mustsend(p, "{\"jsonrpc\":\"2.0\",\"method\":\"entries\",\"params\":{\"x\":1}}");
	mustsend(p, "{\"jsonrpc\":\"2.0\",\"method\":\"status\",\"params\":[1]}");
	mustsend(p, "{\"jsonrpc\":\"2.0\",\"method\":\"entries\"}");
	mustsend(p, CALL("1", "status", "{\"last\":1}"));
	ckresp(p, RESULT("1", "{\"last\":1}"));
	assert_int_equal(f->calls, 2);
	assert_int_equal(f->uid, getuid());
	peer_free(p);
}

/* Many calls in one write, some answered at once, some by the reader's thread, some
 * when the bench is ready: the answers keep the order. */
static void test_pipeline(void **state)
{
	struct fixture *f = *state;
	struct peer *p = peer_new(f);
	mustsend(p, HELLO "\n" CALL("1", "take", "{}") "\n" CALL("2", "status", "{\"x\":2}") "\n" CALL(
	                "3", "entries", "{}") "\n" CALL("4", "take", "{}") "\n"
	                CALL("5", "verify", "{}") "\n"
	                CALL("6", "status", "{\"x\":6}"));
	ckhas(p, "\"id\":0,");
	cknothing(p);
	assert_int_equal(f->pending_count, 1);
	server_answer(f->pending[0], "{\"seq\":\n10}");
	ckresp(p, RESULT("1", "{\"seq\": 10}"));
	ckresp(p, RESULT("2", "{\"x\":2}"));
	ckresp(p, RESULT("3", "{\"job\":null,\"entries\":[],\"more\":false}"));
	cknothing(p);
	assert_int_equal(f->pending_count, 2);
	struct fault why;
	fault_set(&why, "NOT LOGGED: the disk is full");
	server_refuse(f->pending[1], WIRE_NOT_LOGGED, &why);
	ckresp(p, "{\"jsonrpc\":\"2.0\",\"id\":4,\"error\":{\"code\":4,\"message\":\"NOT LOGGED: the disk "
	          "is full\"}}");
	ckhas(p, "\"id\":5,\"result\":{\"verdict\":\"intact");
	ckresp(p, RESULT("6", "{\"x\":6}"));
	peer_free(p);
}

static void test_thousands_in_one_write(void **state)
{
	enum { CALLS = 10000 };
	struct peer *p = peer_greeted(*state);
	char *text = malloc(CALLS * 64), line[128], *at = text;
	for (int i = 0; i < CALLS; i++)
		at += sprintf(at, "{\"jsonrpc\":\"2.0\",\"id\":%d,\"method\":\"status\"}\n", i);
	assert_true(peer_write(p, text, (size_t)(at - text)));
	for (int i = 0; i < CALLS; i++) {
		snprintf(line, sizeof line, "{\"jsonrpc\":\"2.0\",\"id\":%d,\"result\":{}}", i);
		ckresp(p, line);
	}
	free(text);
	peer_free(p);
}

static void test_byte_by_byte(void **state)
{
	static const char text[] = HELLO "\n" CALL("1", "status", "{\"x\":\"\xc2\xb5\"}") "\n";
	struct peer *p = peer_new(*state);
	for (size_t i = 0; i < sizeof text - 1; i++)
		assert_true(peer_write(p, text + i, 1));
	ckhas(p, "\"id\":0,");
	ckresp(p, RESULT("1", "{\"x\":\"\xc2\xb5\"}"));
	peer_free(p);
}

/* A client that says all and closes its writing end (a shell pipe) gets its answers. */
static void test_half_closed(void **state)
{
	struct fixture *f = *state;
	struct peer *p = peer_new(f);
	mustsend(p, HELLO "\n" CALL("1", "take", "{}"));
	assert_true(peer_write(p, CALL("2", "status", "{}"), strlen(CALL("2", "status", "{}"))));
	ckhas(p, "\"id\":0,");
	shutdown(p->fd, SHUT_WR);
	cknothing(p);
	server_answer(f->pending[0], "{}");
	ckresp(p, RESULT("1", "{}"));
	ckresp(p, RESULT("2", "{}"));
	ckend(p);
	peer_free(p);
}

/* ---- bad clients ---- */

static void test_not_json(void **state)
{
	static const struct {
		const char *legend, *send;
		size_t len;
	} rows[] = {
#define ROW(legend, text) { legend, text "\n", sizeof text }
		ROW("words", "hello"),
		ROW("cut", "{\"jsonrpc\":\"2.0\",\"id\":1"),
		ROW("two in a line", "{} {}"),
		ROW("key given twice", "{\"jsonrpc\":\"2.0\",\"id\":1,\"id\":2,\"method\":\"status\"}"),
		ROW("no UTF-8", "{\"jsonrpc\":\"2.0\",\"id\":\"\xff\",\"method\":\"status\"}"),
		ROW("UTF-8 cut", "{\"jsonrpc\":\"2.0\",\"id\":\"\xc2\",\"method\":\"status\"}"),
		ROW("overlong UTF-8", "{\"jsonrpc\":\"2.0\",\"id\":\"\xc0\xaf\",\"method\":\"status\"}"),
		ROW("surrogate", "{\"jsonrpc\":\"2.0\",\"id\":\"\xed\xa0\x80\",\"method\":\"status\"}"),
		ROW("NUL", "{\"jsonrpc\":\"2.0\",\0\"id\":1}"),
		ROW("NUL alone", "\0"),
		ROW("comment", "{} // x"),
		ROW("deep",
		    "[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[["),
#undef ROW
	};
	struct fixture *f = *state;
	struct peer *good = peer_greeted(f);
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		struct peer *p = peer_greeted(f);
		assert_true(peer_write(p, rows[i].send, rows[i].len));
		const char *line = peer_line(p);
		if (!line || !strstr(line, "{\"jsonrpc\":\"2.0\",\"id\":null,\"error\":{\"code\":-32700,")) {
			note_row("%s", rows[i].legend);
			fail_msg("got %s", line ? line : "the end");
		}
		ckend(p);
		peer_free(p);
		mustsend(good, CALL("1", "status", "{}"));
		ckresp(good, RESULT("1", "{}"));
	}
	peer_free(good);
}

/* A line of 1 MiB with its LF is taken, one byte more is not. */
static void test_line_length(void **state)
{
	static const char head[] = "{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"status\"";
	struct fixture *f = *state;
	for (size_t more = 0; more < 3; more++) {
		struct peer *p = peer_greeted(f);
		size_t len = WIRE_LINE_MAX + (more ? 1 : 0);
		char *line = malloc(len);
		memset(line, ' ', len);
		memcpy(line, head, sizeof head - 1);
		line[len - 2] = '}';
		line[len - 1] = more == 2 ? ' ' : '\n'; /* 2: the end has not come yet */
		assert_true(peer_write(p, line, len));
		if (more == 0) {
			ckresp(p, RESULT("1", "{}"));
		} else {
			ckhas(p, "\"id\":null,\"error\":{\"code\":-32700,\"message\":\"the line is longer than "
			         "1048576 bytes");
			ckend(p);
		}
		free(line);
		peer_free(p);
	}
}

static long resident_kib(void)
{
	long pages = 0;
	FILE *file = fopen("/proc/self/statm", "r");
	if (!file || fscanf(file, "%*d %ld", &pages) != 1)
		pages = 0;
	if (file)
		fclose(file);
	return pages * (sysconf(_SC_PAGESIZE) / 1024);
}

/* 1 GiB without a line end: answered, put out, and no memory taken for it. */
static void test_endless_line(void **state)
{
	struct fixture *f = *state;
	static char block[256 << 10];
	memset(block, 'a', sizeof block);
	struct peer *good = peer_greeted(f), *p = peer_greeted(f);
	long before = resident_kib(), most = before;
	size_t sent = 0;
	while (sent < (1u << 30) && peer_write(p, block, sizeof block)) {
		sent += sizeof block;
		long now = resident_kib();
		most = now > most ? now : most;
	}
	ckhas(p, "\"error\":{\"code\":-32700,");
	ckend(p);
	assert_true(sent >= WIRE_LINE_MAX);
	/* The line itself (1 MiB), twice while it grows; sanitizers keep their own. */
#if !defined(__SANITIZE_ADDRESS__)
	if (!getenv("LD_PRELOAD"))
		assert_true(most - before < 6 * 1024);
#endif
	mustsend(good, CALL("1", "status", "{}"));
	ckresp(good, RESULT("1", "{}"));
	peer_free(p);
	peer_free(good);
}

/* What waits behind a call that is on its way is bounded, too, and not lost. */
static void test_flood_behind_a_call(void **state)
{
	enum { CALLS = 60000 };
	struct fixture *f = *state;
	struct peer *p = peer_greeted(f);
	static const char call[] = CALL("2", "status", "{}") "\n";
	size_t sent = 0, got = 0, all = CALLS * (sizeof call - 1);
	mustsend(p, CALL("1", "take", "{}"));
	/* As much as fits, without reading. */
	for (int idle = 0; idle < 50 && sent < all;) {
		size_t at = sent % (sizeof call - 1);
		ssize_t n = send(p->fd, call + at, sizeof call - 1 - at, MSG_NOSIGNAL);
		idle = n > 0 ? 0 : idle + 1;
		sent += n > 0 ? (size_t)n : 0;
		turn(f);
	}
	assert_true(sent < all); /* held back */
	assert_true(sent >= WIRE_LINE_MAX);
	server_answer(f->pending[0], "{}");
	ckresp(p, RESULT("1", "{}"));
	while (got < sent / (sizeof call - 1)) {
		ckresp(p, RESULT("2", "{}"));
		got++;
	}
	peer_free(p);
}

static void test_too_many(void **state)
{
	struct fixture *f = *state;
	struct peer *p[64];
	for (int i = 0; i < 64; i++)
		p[i] = peer_greeted(f);
	/* Some more at once: each is told, or at least closed. */
	for (int round = 0; round < 3; round++) {
		struct peer *late[24];
		int told = 0;
		for (int i = 0; i < 24; i++) {
			late[i] = peer_new(f);
			turn(f);
		}
		for (int i = 0; i < 24; i++) {
			const char *line = peer_line(late[i]);
			if (line && strstr(line, "\"id\":null,\"error\":{\"code\":5,\"message\":\"64 clients are "
			                         "connected already"))
				told++;
			if (line)
				ckend(late[i]);
			peer_free(late[i]);
		}
		assert_true(told >= (round ? 1 : 16));
	}
	for (int i = 0; i < 64; i++) {
		mustsend(p[i], CALL("1", "status", "{}"));
		ckresp(p[i], RESULT("1", "{}"));
	}
	/* One goes, one comes. */
	peer_free(p[7]);
	for (int i = 0; i < 20; i++)
		turn(f);
	p[7] = peer_greeted(f);
	for (int i = 0; i < 64; i++)
		peer_free(p[i]);
}

/* A client that asks and asks and reads nothing loses its connection, nobody else. */
static void test_answers_unread(void **state)
{
	struct fixture *f = *state;
	struct peer *good = peer_greeted(f), *p = peer_greeted(f);
	for (int i = 0; i < 200 && peer_write(p, CALL("1", "big", "{}") "\n",
	                                      strlen(CALL("1", "big", "{}")) + 1); i++)
		;
	for (int i = 0; i < 50; i++)
		turn(f);
	assert_string_equal(f->said, "a client does not read its answers; put out");
	size_t lines = 0;
	while (peer_line(p))
		lines++;
	/* 4 MiB and what the kernel held, no more. */
	assert_in_range(lines, 1, (4 << 20) / (100 << 10) + 10);
	mustsend(good, CALL("1", "status", "{}"));
	ckresp(good, RESULT("1", "{}"));
	peer_free(p);
	peer_free(good);
}

/* A client that goes while its call is on its way: the bench answers nobody. */
static void test_gone_in_a_call(void **state)
{
	struct fixture *f = *state;
	struct peer *p = peer_greeted(f);
	mustsend(p, CALL("1", "take", "{}"));
	for (int i = 0; i < 5; i++)
		turn(f);
	assert_int_equal(f->pending_count, 1);
	peer_free(p);
	for (int i = 0; i < 5; i++)
		turn(f);
	server_answer(f->pending[0], "{}");
	for (int i = 0; i < 5; i++)
		turn(f);
	p = peer_greeted(f);
	/* The same with the log's reader. */
	mustsend(p, CALL("1", "verify", "{}") "\n" CALL("2", "entries", "{}"));
	peer_free(p);
	p = peer_greeted(f);
	peer_free(p);
}

static uint32_t next_random(uint32_t *seed)
{
	*seed = *seed * 1664525u + 1013904223u;
	return *seed >> 8;
}

/* Good calls with a few bytes spoilt, in pieces of any size. */
static void test_garbage(void **state)
{
	static const char good[] = HELLO "\n" CALL("\"x\"", "entries", "{\"limit\":5}") "\n" CALL(
	    "2", "watch", "{\"live\":true}") "\n" CALL("3", "tape", "{\"meters\":[\"red\"]}") "\n" CALL(
	    "4", "compare", "{\"position\":\"R1\"}") "\n";
	struct fixture *f = *state;
	uint32_t seed = 4711;
	for (int round = 0; round < 400; round++) {
		char text[sizeof good];
		memcpy(text, good, sizeof good);
		for (uint32_t n = next_random(&seed) % 4; n; n--)
			text[next_random(&seed) % (sizeof good - 1)] = (char)next_random(&seed);
		struct peer *p = peer_new(f);
		for (size_t at = 0, n; at < sizeof good - 1; at += n) {
			n = 1 + next_random(&seed) % 120;
			if (n > sizeof good - 1 - at)
				n = sizeof good - 1 - at;
			if (!peer_write(p, text + at, n))
				break;
		}
		/* Half of them go at once, half hear all answers out. */
		if (round % 2)
			shutdown(p->fd, SHUT_WR);
		while (round % 2 && peer_line(p))
			;
		peer_free(p);
	}
	struct peer *p = peer_greeted(f);
	mustsend(p, CALL("1", "status", "{}"));
	ckresp(p, RESULT("1", "{}"));
	peer_free(p);
}

/* ---- the socket ---- */

static void test_mode(void **state)
{
	struct fixture *f = *state;
	static const mode_t masks[] = { 0, 022, 077, 0777 };
	server_down(f);
	for (size_t i = 0; i < sizeof masks / sizeof masks[0]; i++) {
		struct fault why;
		struct stat st;
		mode_t before = umask(masks[i]);
		f->server = server_up(f, f->socket, &why);
		assert_int_equal(umask(before), masks[i]); /* put back */
		assert_non_null(f->server);
		assert_int_equal(stat(f->socket, &st), 0);
		assert_int_equal(st.st_mode & 07777, 0660);
		server_down(f);
		assert_int_equal(access(f->socket, F_OK), -1);
	}
}

static void test_two_servers(void **state)
{
	struct fixture *f = *state;
	struct fault why;
	char holder[64];
	assert_null(server_up(f, f->socket, &why));
	snprintf(holder, sizeof holder, "is held by process %d (", getpid());
	assert_non_null(strstr(why.text, f->socket));
	assert_non_null(strstr(why.text, holder));
	/* The first one still answers, on the same file. */
	struct peer *p = peer_greeted(f);
	peer_free(p);
}

static void test_stale_socket(void **state)
{
	struct fixture *f = *state;
	struct fault why;
	server_down(f);
	/* What a kill leaves behind: a file that nobody listens on. */
	struct sockaddr_un a = { .sun_family = AF_UNIX };
	snprintf(a.sun_path, sizeof a.sun_path, "%s", f->socket);
	int fd = socket(AF_UNIX, SOCK_STREAM, 0);
	assert_int_equal(bind(fd, (struct sockaddr *)&a, sizeof a), 0);
	close(fd);
	f->server = server_up(f, f->socket, &why);
	if (!f->server)
		fail_msg("%s", why.text);
	struct peer *p = peer_greeted(f);
	peer_free(p);
}

static void test_path_faults(void **state)
{
	struct fixture *f = *state;
	struct fault why;
	char path[300];
	/* A file that is no socket is somebody's, and stays. */
	snprintf(path, sizeof path, "%s/file", f->dir);
	close(open(path, O_CREAT | O_WRONLY, 0600));
	assert_null(server_up(f, path, &why));
	assert_non_null(strstr(why.text, "is there and is no socket"));
	assert_int_equal(access(path, F_OK), 0);
	snprintf(path, sizeof path, "%s/link", f->dir);
	assert_int_equal(symlink(f->socket, path), 0);
	assert_null(server_up(f, path, &why));
	assert_non_null(strstr(why.text, "is there and is no socket"));
	snprintf(path, sizeof path, "%s/none/tally.sock", f->dir);
	assert_null(server_up(f, path, &why));
	assert_non_null(strstr(why.text, "/none of the socket: No such file"));
	memset(path, 'x', sizeof path);
	path[108] = '\0';
	assert_null(server_up(f, path, &why));
	assert_non_null(strstr(why.text, "1 to 107 bytes, this one 108"));
	assert_null(server_up(f, "", &why));
}

/* A daemon that ends removes its own socket, not that of the one that came after. */
static void test_successor(void **state)
{
	struct fixture *f = *state;
	struct fault why;
	struct server *first = f->server;
	assert_int_equal(unlink(f->socket), 0);
	f->server = server_up(f, f->socket, &why);
	assert_non_null(f->server);
	struct server *second = f->server;
	f->server = first;
	server_down(f);
	f->server = second;
	struct peer *p = peer_greeted(f);
	peer_free(p);
}

/* The last answers go out before the end; who does not read cannot hold it up. */
static void test_close(void **state)
{
	struct fixture *f = *state;
	struct peer *p = peer_greeted(f), *idle = peer_greeted(f), *deaf = peer_greeted(f);
	mustsend(p, CALL("1", "take", "{}"));
	for (int i = 0; i < 20; i++)
		mustsend(deaf, CALL("1", "big", "{}"));
	turn(f);
	uint64_t began = now_ms();
	server_close(f->server, on_closed, f);
	assert_int_equal(access(f->socket, F_OK), -1);
	ckend(idle);
	server_answer(f->pending[0], "{\"seq\":2}");
	ckresp(p, RESULT("1", "{\"seq\":2}"));
	ckend(p);
	while (!f->closed && now_ms() < began + WAIT_MS)
		uv_run(&f->loop, UV_RUN_ONCE);
	assert_true(f->closed);
	assert_in_range(now_ms() - began, 900, 1900);
	f->server = NULL;
	peer_free(p);
	peer_free(idle);
	peer_free(deaf);
}

/* A call whose answer never comes does not hold the end up either; and when it
 * comes after all, it meets nobody. */
static void test_close_before_answer(void **state)
{
	struct fixture *f = *state;
	struct peer *p = peer_greeted(f);
	mustsend(p, CALL("1", "take", "{}"));
	turn(f);
	server_down(f);
	ckend(p);
	server_answer(f->pending[0], "{}");
	peer_free(p);
}

/* Connect while one daemon ends and the next begins, on a socket that a service
 * manager holds: nobody is refused. */
static void test_inherited(void **state)
{
	struct fixture *f = *state;
	struct sockaddr_un a = { .sun_family = AF_UNIX };
	server_down(f);
	snprintf(a.sun_path, sizeof a.sun_path, "%s", f->socket);
	int fd = socket(AF_UNIX, SOCK_STREAM, 0);
	assert_int_equal(bind(fd, (struct sockaddr *)&a, sizeof a), 0);
	assert_int_equal(listen(fd, 16), 0);
	struct peer *early = peer_new(f); /* nobody accepts yet */
	fflush(NULL);
	pid_t pid = fork();
	if (pid == 0) {
		/* A fresh process image is not needed: only descriptor 3 and the environment. */
		char number[24];
		struct fault why;
		uv_loop_t loop;
		int end[2];
		dup2(fd, 3);
		snprintf(number, sizeof number, "%ld", (long)getpid());
		setenv("LISTEN_PID", number, 1);
		setenv("LISTEN_FDS", "1", 1);
		uv_loop_init(&loop);
		struct server_options options = { .path = "/nonexistent/x", .log_path = f->log_path,
			                              .bench = "north", .version = "1" };
		struct server *s = server_open(&loop, &options, &why);
		if (!s || getenv("LISTEN_FDS") || pipe(end))
			_exit(1);
		alarm(20);
		for (;;)
			uv_run(&loop, UV_RUN_ONCE);
	}
	close(fd);
	mustsend(early, HELLO);
	ckhas(early, "\"result\":{\"protocol\":1,");
	kill(pid, SIGKILL);
	waitpid(pid, NULL, 0);
	peer_free(early);
	unlink(f->socket);
}

#define TEST(name) cmocka_unit_test_setup_teardown(test_##name, fixture_up, fixture_down)

int main(void)
{
	const struct CMUnitTest tests[] = {
		TEST(hello),
		TEST(requests),
		TEST(long_id),
		TEST(notifications),
		TEST(pipeline),
		TEST(thousands_in_one_write),
		TEST(byte_by_byte),
		TEST(half_closed),
		TEST(not_json),
		TEST(line_length),
		TEST(endless_line),
		TEST(flood_behind_a_call),
		TEST(too_many),
		TEST(answers_unread),
		TEST(gone_in_a_call),
		TEST(garbage),
		TEST(mode),
		TEST(two_servers),
		TEST(stale_socket),
		TEST(path_faults),
		TEST(successor),
		TEST(close),
		TEST(close_before_answer),
		TEST(inherited),
	};
	return cmocka_run_group_tests_name("server", tests, NULL, NULL);
}
