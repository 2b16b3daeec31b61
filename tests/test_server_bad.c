/* SPDX-License-Identifier: MIT */
/* Clients that send what is no message, too much, or never read their answers. */
#include "tests/server_fixture.h"

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

#define TEST(name) cmocka_unit_test_setup_teardown(test_##name, fixture_up, fixture_down)

int main(void)
{
	const struct CMUnitTest tests[] = {
		TEST(not_json),
		TEST(line_length),
		TEST(endless_line),
		TEST(flood_behind_a_call),
		TEST(too_many),
		TEST(answers_unread),
		TEST(gone_in_a_call),
		TEST(garbage),
	};
	return cmocka_run_group_tests_name("server bad", tests, NULL, NULL);
}
