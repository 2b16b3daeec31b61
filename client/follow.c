/* SPDX-License-Identifier: MIT */
/* The connection that waits for nobody: see follow.h. */
#include "client/follow.h"

#include "client/words.h"
#include "protocol/record/wire.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define HELLO_MS 5000

enum stage { FOLLOW_IDLE, FOLLOW_CONNECTING, FOLLOW_HELLO, FOLLOW_READY };

struct call {
	int64_t id; /* 0: free */
	follow_answer *answer;
	void *arg;
};

struct follow {
	uv_loop_t *loop;
	struct follow_hooks hooks;
	char socket[256];
	uv_pipe_t *pipe; /* of this try; its own memory, for it closes by itself */
	uv_timer_t timer;
	enum stage stage;
	bool closing, said_away;
	int64_t id;
	struct call call[FOLLOW_CALLS_MAX];
	char *buffer;
	size_t len, size, looked;
};

static void retry(uv_timer_t *timer);

/* ---- ends ---- */

static void pipe_closed(uv_handle_t *handle)
{
	free(handle);
}

static void fail_calls(struct follow *f, const char *why)
{
	for (int i = 0; i < FOLLOW_CALLS_MAX; i++) {
		struct call c = f->call[i];
		f->call[i].id = 0;
		if (c.id && c.answer && !f->closing)
			c.answer(c.arg, FOLLOW_LOST, (struct slice){NULL, 0}, why);
	}
}

/* Leave this try; the next one comes by the timer. */
static void leave(struct follow *f, const char *why)
{
	bool was = f->stage == FOLLOW_READY;
	if (f->pipe) {
		f->pipe->data = NULL;
		uv_close((uv_handle_t *)f->pipe, pipe_closed);
		f->pipe = NULL;
	}
	f->stage = FOLLOW_IDLE;
	f->len = f->looked = 0;
	fail_calls(f, "the daemon went away before it answered: it is not known whether this was done");
	if (f->closing)
		return;
	if (was || !f->said_away)
		f->hooks.away(f->hooks.arg, why);
	f->said_away = true;
	uv_timer_start(&f->timer, retry, FOLLOW_RETRY_MS, 0);
}

/* ---- out ---- */

struct sending {
	uv_write_t request;
	char bytes[];
};

static void written(uv_write_t *request, int status)
{
	(void)status; /* where it failed, reading says so */
	free(request->data);
}

static bool send_call(struct follow *f, const char *method, const char *params,
                      follow_answer *answer, void *arg)
{
	int free_call = -1;
	for (int i = 0; i < FOLLOW_CALLS_MAX && free_call < 0; i++)
		if (!f->call[i].id)
			free_call = i;
	if (free_call < 0 || !f->pipe)
		return false;
	size_t size = 128 + strlen(method) + (params ? strlen(params) : 0);
	struct sending *s = malloc(sizeof *s + size);
	if (!s)
		return false;
	int n = snprintf(s->bytes, size, "{\"jsonrpc\":\"2.0\",\"id\":%lld,\"method\":\"%s\"%s%s}\n",
	                 (long long)++f->id, method, params ? ",\"params\":" : "", params ? params : "");
	s->request.data = s;
	uv_buf_t buffer = uv_buf_init(s->bytes, (unsigned)n);
	if (uv_write(&s->request, (uv_stream_t *)f->pipe, &buffer, 1, written) != 0) {
		free(s);
		return false;
	}
	f->call[free_call] = (struct call){f->id, answer, arg};
	return true;
}

bool follow_call(struct follow *f, const char *method, const char *params, follow_answer *answer,
                 void *arg)
{
	return f->stage == FOLLOW_READY && send_call(f, method, params, answer, arg);
}

/* ---- in ---- */

static void on_hello(void *arg, int code, struct slice result, const char *why)
{
	struct follow *f = arg;
	int64_t protocol = 0;
	if (code == FOLLOW_LOST)
		return;
	json_int(json_member(result.at, result.len, "protocol"), &protocol);
	if (code != 0 || protocol != WIRE_PROTOCOL) {
		leave(f, code ? why : "this daemon speaks another protocol: install both programs from the "
		                      "same version");
		return;
	}
	uv_timer_stop(&f->timer);
	f->stage = FOLLOW_READY;
	f->said_away = false;
	f->hooks.connected(f->hooks.arg, result);
}

static void on_answer(struct follow *f, const struct message *m, struct slice id)
{
	int64_t n;
	if (!json_int(id, &n)) {
		leave(f, m->code ? m->why.text : "the daemon answered what was not asked");
		return;
	}
	for (int i = 0; i < FOLLOW_CALLS_MAX; i++) {
		struct call c = f->call[i];
		if (c.id != n)
			continue;
		f->call[i].id = 0;
		if (c.answer)
			c.answer(c.arg, m->code, m->result, m->why.text);
		return;
	}
}

/* One line; it is freed. */
static void on_line(struct follow *f, char *line)
{
	struct message m;
	struct slice id = {NULL, 0};
	if (!message_read(line, &m, &id))
		leave(f, "what answers there is no tallyd");
	else if (m.method.at && f->stage == FOLLOW_READY)
		f->hooks.news(f->hooks.arg, m.method, m.params);
	else if (!m.method.at)
		on_answer(f, &m, id);
	message_free(&m);
}

static void cut_lines(struct follow *f)
{
	size_t start = 0;
	while (f->stage != FOLLOW_IDLE && !f->closing) {
		char *lf = f->len > f->looked ? memchr(f->buffer + f->looked, '\n', f->len - f->looked)
		                              : NULL;
		if (!lf) {
			f->looked = f->len;
			break;
		}
		size_t n = (size_t)(lf - f->buffer) - start;
		char *line = malloc(n + 1);
		if (!line) {
			leave(f, "out of memory");
			return;
		}
		/* A NUL would hide what follows it; any other wrong character does not. */
		for (size_t i = 0; i < n; i++)
			line[i] = f->buffer[start + i] ? f->buffer[start + i] : '\x01';
		line[n] = '\0';
		start += n + 1;
		f->looked = start;
		on_line(f, line);
	}
	if (f->stage == FOLLOW_IDLE || !start)
		return; /* left meanwhile: the buffer is empty already */
	f->len -= start;
	f->looked -= start;
	memmove(f->buffer, f->buffer + start, f->len);
}

static void room(uv_handle_t *handle, size_t suggested, uv_buf_t *buffer)
{
	struct follow *f = handle->data;
	(void)suggested;
	*buffer = uv_buf_init(NULL, 0);
	if (!f)
		return;
	if (f->len == f->size) {
		size_t size = f->size ? f->size * 2 : 65536;
		size = size > WIRE_LINE_MAX ? WIRE_LINE_MAX : size;
		char *bytes = size > f->size ? realloc(f->buffer, size) : NULL;
		if (!bytes)
			return; /* read says UV_ENOBUFS: a line too long, or no memory */
		f->buffer = bytes;
		f->size = size;
	}
	*buffer = uv_buf_init(f->buffer + f->len, (unsigned)(f->size - f->len));
}

static void came(uv_stream_t *stream, ssize_t n, const uv_buf_t *buffer)
{
	struct follow *f = stream->data;
	(void)buffer;
	if (!f || n == 0)
		return;
	if (n > 0) {
		f->len += (size_t)n;
		cut_lines(f);
	} else if (n == UV_ENOBUFS) {
		leave(f, "what answers there is no tallyd: a line without an end");
	} else {
		leave(f, "the daemon went away");
	}
}

/* ---- connecting ---- */

static void late(uv_timer_t *timer)
{
	leave(timer->data, "the daemon does not answer: it is busy or stopped");
}

static void on_connect(uv_connect_t *request, int status)
{
	struct follow *f = request->handle->data;
	free(request);
	if (!f || status == UV_ECANCELED)
		return;
	struct fault why;
	if (status != 0) {
		link_connect_fault(f->socket, -status, &why);
		leave(f, why.text);
		return;
	}
	f->stage = FOLLOW_HELLO;
	uv_read_start((uv_stream_t *)f->pipe, room, came);
	char params[64];
	snprintf(params, sizeof params, "{\"protocol\":%d,\"client\":\"tally bench\"}", WIRE_PROTOCOL);
	if (!send_call(f, "hello", params, on_hello, f))
		leave(f, "out of memory");
}

static void retry(uv_timer_t *timer)
{
	struct follow *f = timer->data;
	uv_connect_t *request = malloc(sizeof *request);
	f->pipe = malloc(sizeof *f->pipe);
	if (!request || !f->pipe || uv_pipe_init(f->loop, f->pipe, 0) != 0) {
		free(request);
		free(f->pipe);
		f->pipe = NULL;
		uv_timer_start(&f->timer, retry, FOLLOW_RETRY_MS, 0);
		return;
	}
	f->pipe->data = f;
	f->stage = FOLLOW_CONNECTING;
	uv_timer_start(&f->timer, late, HELLO_MS, 0);
	uv_pipe_connect(request, f->pipe, f->socket, on_connect);
}

struct follow *follow_open(uv_loop_t *loop, const char *socket, const struct follow_hooks *hooks)
{
	struct follow *f = calloc(1, sizeof *f);
	if (!f)
		return NULL;
	f->loop = loop;
	f->hooks = *hooks;
	snprintf(f->socket, sizeof f->socket, "%s", socket);
	uv_timer_init(loop, &f->timer);
	f->timer.data = f;
	uv_timer_start(&f->timer, retry, 0, 0);
	return f;
}

static void timer_closed(uv_handle_t *handle)
{
	struct follow *f = handle->data;
	free(f->buffer);
	free(f);
}

void follow_close(struct follow *f)
{
	f->closing = true;
	leave(f, "");
	uv_close((uv_handle_t *)&f->timer, timer_closed);
}
