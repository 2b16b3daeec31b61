/* SPDX-License-Identifier: MIT */
/*
 * A server on a real loop with a real log and a bench that is played by the test,
 * for tests that read like a conversation: mustsend(), ckresp().
 *
 * One thread runs both ends: whenever a client waits, the loop is turned.  So a
 * test decides what happens between two messages.  Nothing here waits by sleeping
 * for a guess; what does not come within WAIT_MS is a failure.
 */
#ifndef TALLY_TESTS_SERVER_FIXTURE_H
#define TALLY_TESTS_SERVER_FIXTURE_H

#include "tests/check.h"

#include "daemon/log.h"
#include "daemon/server.h"
#include "protocol/record/wire.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdlib.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#define RESULT(id, text) "{\"jsonrpc\":\"2.0\",\"id\":" id ",\"result\":" text "}"
#define CALL(id, method, params) \
	"{\"jsonrpc\":\"2.0\",\"id\":" id ",\"method\":\"" method "\",\"params\":" params "}"

#define WAIT_MS 20000
#define HELLO "{\"jsonrpc\":\"2.0\",\"id\":0,\"method\":\"hello\",\"params\":{\"protocol\":1}}"

struct fixture {
	uv_loop_t loop;
	char dir[64], socket[96], log_path[96];
	struct log *log;
	struct server *server;
	bool closed;
	/* the bench */
	struct server_call *pending[16]; /* calls of "take": answered when the test says so */
	int pending_count;
	int calls;      /* that reached the bench */
	unsigned uid;   /* of the last one */
	char said[400]; /* the last line for standard error */
};

struct peer {
	struct fixture *f;
	int fd;
	char *in;
	size_t len, size;
	bool ended;
};

/* ---- the bench ---- */

static inline bool bench_call(void *arg, struct server_call *call, const char *method,
                              json_t *params, unsigned uid)
{
	struct fixture *f = arg;
	struct fault why;
	f->calls++;
	f->uid = uid;
	if (!strcmp(method, "status")) {
		char *echo = json_dumps(params, JSON_COMPACT | JSON_SORT_KEYS);
		server_answer(call, echo);
		free(echo);
	} else if (!strcmp(method, "take")) {
		f->pending[f->pending_count++] = call;
	} else if (!strcmp(method, "big")) {
		static char big[100 << 10];
		memset(big, 'x', sizeof big - 1);
		memcpy(big, "{\"x\":\"", 6);
		memcpy(big + sizeof big - 3, "\"}", 3);
		server_answer(call, big);
	} else if (!strcmp(method, "sheet.load")) {
		fault_at(&why, "a \"b\".csv", 3, 7, "nominal: \"4x7\" is no value");
		server_refuse(call, WIRE_BAD_INPUT, &why);
	} else {
		f->calls--;
		return false;
	}
	return true;
}

static inline bool bench_has_meter(void *arg, const char *name)
{
	(void)arg;
	return !strcmp(name, "red") || !strcmp(name, "bench");
}

static inline void bench_say(void *arg, const char *text)
{
	struct fixture *f = arg;
	snprintf(f->said, sizeof f->said, "%s", text);
}

/* ---- the log ---- */

static inline void announce(void *arg, const struct log_result *r)
{
	struct fixture *f = arg;
	assert_int_equal(r->status, LOG_DURABLE);
	if (f->server)
		server_record(f->server, r->seq, r->text, r->len);
}

/* So many records in one commit, durable and not announced yet. */
static inline void log_notes(struct fixture *f, const char *kind, const char *const *body, size_t n)
{
	struct fault why;
	struct log_draft draft[256];
	assert_in_range(n, 1, 256);
	for (size_t i = 0; i < n; i++)
		draft[i] = (struct log_draft){
			.t = 1795600800000000 + 1000 * (log_last_seq(f->log) + (int64_t)i),
			.kind = kind, .body = body[i], .body_len = strlen(body[i]),
		};
	if (!log_append(f->log, draft, n, NULL, &why))
		fail_msg("%s", why.text);
}

/* A record, durable and announced. */
static inline void log_record(struct fixture *f, const char *kind, const char *body)
{
	log_notes(f, kind, &body, 1);
	log_collect(f->log, announce, f);
}

/* ---- up and down ---- */

static inline struct server *server_up(struct fixture *f, const char *path, struct fault *why)
{
	struct server_options options = {
		.path = path, .log_path = log_path(f->log), .bench = "north", .version = "1.2.3",
		.hooks = {.call = bench_call, .has_meter = bench_has_meter, .say = bench_say, .arg = f},
	};
	return server_open(&f->loop, &options, why);
}

static inline int fixture_up(void **state)
{
	struct fixture *f = calloc(1, sizeof *f);
	struct fault why;
	static const uint8_t identity[16] = { 1, 2, 3 };
	snprintf(f->dir, sizeof f->dir, "/tmp/tally-test-XXXXXX");
	assert_non_null(mkdtemp(f->dir));
	snprintf(f->socket, sizeof f->socket, "%s/tally.sock", f->dir);
	snprintf(f->log_path, sizeof f->log_path, "%s/north.db", f->dir);
	uv_loop_init(&f->loop);
	struct log_options options = { .path = f->log_path, .bench = "north", .version = "1.2.3",
		                           .inline_mode = true, .identity = identity,
		                           .now = 1795600800000000 };
	f->log = log_open(&options, &why);
	if (!f->log)
		fail_msg("%s", why.text);
	f->server = server_up(f, f->socket, &why);
	if (!f->server)
		fail_msg("%s", why.text);
	*state = f;
	return 0;
}

static inline void on_closed(void *arg)
{
	((struct fixture *)arg)->closed = true;
}

static inline uint64_t now_ms(void)
{
	return uv_hrtime() / 1000000;
}

static inline void turn(struct fixture *f)
{
	uv_run(&f->loop, UV_RUN_NOWAIT);
}

static inline void server_down(struct fixture *f)
{
	uint64_t until = now_ms() + WAIT_MS;
	f->closed = false;
	server_close(f->server, on_closed, f);
	while (!f->closed && now_ms() < until)
		uv_run(&f->loop, UV_RUN_ONCE);
	assert_true(f->closed);
	f->server = NULL;
}

/* Nothing may be left on the loop, nothing in the directory but the log. */
static inline int fixture_down(void **state)
{
	struct fixture *f = *state;
	char command[128];
	if (f->server)
		server_down(f);
	uv_run(&f->loop, UV_RUN_NOWAIT);
	assert_int_equal(uv_loop_close(&f->loop), 0);
	assert_int_equal(access(f->socket, F_OK), -1);
	log_close(f->log);
	snprintf(command, sizeof command, "rm -rf %s", f->dir);
	assert_int_equal(system(command), 0);
	free(f);
	return 0;
}

/* ---- clients ---- */

static inline struct peer *peer_new(struct fixture *f)
{
	struct peer *p = calloc(1, sizeof *p);
	struct sockaddr_un a = { .sun_family = AF_UNIX };
	snprintf(a.sun_path, sizeof a.sun_path, "%s", f->socket);
	p->f = f;
	p->fd = socket(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
	if (connect(p->fd, (struct sockaddr *)&a, sizeof a))
		fail_msg("connect: %s", strerror(errno));
	return p;
}

static inline void peer_free(struct peer *p)
{
	close(p->fd);
	free(p->in);
	free(p);
}

/* Send these bytes; false where the other end would not have them. */
static inline bool peer_write(struct peer *p, const char *bytes, size_t len)
{
	uint64_t until = now_ms() + WAIT_MS;
	while (len) {
		ssize_t n = send(p->fd, bytes, len, MSG_NOSIGNAL);
		if (n > 0) {
			bytes += n;
			len -= (size_t)n;
		} else if (errno != EAGAIN) {
			return false;
		}
		turn(p->f);
		if (now_ms() > until)
			fail_msg("could not send");
	}
	return true;
}

/* Read what is there. */
static inline void peer_read(struct peer *p, size_t most)
{
	while (!p->ended && most) {
		if (p->size - p->len < (64 << 10)) {
			p->size = p->size ? 2 * p->size : 128 << 10;
			p->in = realloc(p->in, p->size);
			assert_non_null(p->in);
		}
		size_t want = p->size - p->len - 1;
		ssize_t n = recv(p->fd, p->in + p->len, want < most ? want : most, 0);
		if (n > 0) {
			p->len += (size_t)n;
			most -= (size_t)n;
		} else if (n == 0 || errno != EAGAIN) {
			p->ended = true;
		} else {
			return;
		}
	}
}

/* The next line without its LF (valid until the next call), or NULL at the end. */
static inline char *peer_line(struct peer *p)
{
	static char *line;
	uint64_t until = now_ms() + WAIT_MS;
	free(line);
	line = NULL;
	for (;;) {
		char *lf = p->len ? memchr(p->in, '\n', p->len) : NULL;
		if (lf) {
			size_t len = (size_t)(lf - p->in);
			line = strndup(p->in, len);
			p->len -= len + 1;
			memmove(p->in, lf + 1, p->len);
			return line;
		}
		if (p->ended)
			return NULL;
		if (now_ms() > until)
			fail_msg("no line came");
		turn(p->f);
		peer_read(p, 64 << 10);
		if (p->len == 0 || !memchr(p->in, '\n', p->len))
			poll(&(struct pollfd){ .fd = p->fd, .events = POLLIN }, 1, 1);
	}
}

static inline void mustsend(struct peer *p, const char *text)
{
	assert_true(peer_write(p, text, strlen(text)));
	assert_true(peer_write(p, "\n", 1));
}

static inline void ckresp(struct peer *p, const char *expected)
{
	const char *line = peer_line(p);
	if (!line)
		fail_msg("the connection ended; expected %s", expected);
	assert_string_equal(line, expected);
}

/* The line contains this. */
static inline void ckhas(struct peer *p, const char *expected)
{
	const char *line = peer_line(p);
	if (!line || !strstr(line, expected))
		fail_msg("got %.400s\nexpected something with %s", line ? line : "the end", expected);
}

static inline void ckend(struct peer *p)
{
	const char *line = peer_line(p);
	if (line)
		fail_msg("got %.400s\nexpected the end of the connection", line);
}

/* Nothing has come, though the loop was turned. */
static inline void cknothing(struct peer *p)
{
	for (int i = 0; i < 20; i++) {
		turn(p->f);
		peer_read(p, 64 << 10);
		usleep(500);
	}
	if (p->len)
		fail_msg("got %.*s\nexpected nothing", (int)(p->len < 400 ? p->len : 400), p->in);
}

static inline struct peer *peer_greeted(struct fixture *f)
{
	struct peer *p = peer_new(f);
	mustsend(p, HELLO);
	ckhas(p, "\"result\":{\"protocol\":1,");
	return p;
}

#endif
