/* SPDX-License-Identifier: MIT */
/*
 * The server as its clients meet it: calls and answers.  Bad clients stand in
 * test_server_bad.c, the socket in test_server_socket.c, watching in test_server_watch.c.
 *
 * Source: JSON-RPC 2.0 Specification (2013-01-04), sections 4 and 5, for requests,
 * notifications, ids and error codes; protocol/WIRE.md for everything else.
 */
#include "tests/server_fixture.h"

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
	};
	return cmocka_run_group_tests_name("server", tests, NULL, NULL);
}
