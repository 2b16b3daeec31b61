/* SPDX-License-Identifier: MIT */
/*
 * One connection: lines in, chunks out.
 *
 * What is bounded, and what happens when it is full:
 *   - a line without end: 1 MiB, then an error and the end of the connection;
 *   - lines that wait while a call is on its way: 1 MiB (and one read), then the
 *     kernel holds the rest;
 *   - output: 4 MiB.  Events, lives, frames and tapes make way, the oldest first,
 *     and are counted; records are only read while there is room; a client whose
 *     answers alone come to more does not read them and loses its connection.
 *
 * One call of a connection is on its way at a time, so that answers keep the
 * order of the calls and each call sees what the one before it did.
 */
#include "daemon/server_private.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>

static void client_write(struct client *c);
static void client_finish(struct client *c);

/* ---- out ---- */

static size_t chunk_weight(const struct chunk *k)
{
	return sizeof *k + k->len;
}

static bool chunk_lossy(const struct chunk *k)
{
	return k->kind == CHUNK_LOSSY || k->kind == CHUNK_LIVE;
}

static void chunk_gone(struct client *c, struct chunk *k)
{
	c->out_bytes -= chunk_weight(k);
	if (!chunk_lossy(k))
		c->solid_bytes -= chunk_weight(k);
	free(k);
}

/* Take the oldest waiting chunk out that is lossy (or only: a live). */
static bool chunk_evict(struct client *c, bool live_only)
{
	struct chunk **link = &c->head;
	while (*link && !(live_only ? (*link)->kind == CHUNK_LIVE : chunk_lossy(*link)))
		link = &(*link)->next;
	struct chunk *k = *link;
	if (!k)
		return false;
	*link = k->next;
	if (!*link)
		c->tail = link;
	chunk_gone(c, k);
	return true;
}

bool client_room(struct client *c, size_t len)
{
	while (c->out_bytes + len > OUT_MAX) {
		if (!chunk_evict(c, false))
			return false;
		c->lost++;
	}
	return true;
}

bool client_send(struct client *c, enum chunk_kind kind, const char *bytes, size_t len,
                 size_t params_at)
{
	if (c->state == CLIENT_LINGER || c->state == CLIENT_CLOSING)
		return false;
	if (c->state == CLIENT_ENDING && kind != CHUNK_ANSWER)
		return false;
	bool lossy = kind == CHUNK_LOSSY || kind == CHUNK_LIVE;
	if (kind == CHUNK_LIVE)
		chunk_evict(c, true);
	struct chunk *k = NULL;
	/* One message alone is let through, whatever it weighs. */
	if (client_room(c, sizeof *k + len) || (!lossy && c->out_bytes == 0))
		k = malloc(sizeof *k + len);
	if (!k) {
		if (lossy)
			c->lost++;
		if (kind == CHUNK_ANSWER) {
			server_say(c->server, "a client does not read its answers; put out");
			client_drop(c);
		}
		return false;
	}
	*k = (struct chunk){ .kind = kind, .params_at = params_at, .len = len };
	memcpy(k->bytes, bytes, len);
	*c->tail = k;
	c->tail = &k->next;
	c->out_bytes += chunk_weight(k);
	if (!lossy)
		c->solid_bytes += chunk_weight(k);
	client_write(c);
	return c->state != CLIENT_CLOSING;
}

/* Tell in this chunk how many were dropped before it. */
static struct chunk *chunk_tell_lost(struct client *c, struct chunk *k)
{
	char told[48];
	bool alone = k->bytes[k->params_at] == '}';
	int n = snprintf(told, sizeof told, "\"lost\":%llu%s", (unsigned long long)c->lost,
	                 alone ? "" : ",");
	struct chunk *with = malloc(sizeof *with + k->len + (size_t)n);
	if (!with)
		return k; /* it is told in the next */
	*with = *k;
	with->len += (size_t)n;
	memcpy(with->bytes, k->bytes, k->params_at);
	memcpy(with->bytes + k->params_at, told, (size_t)n);
	memcpy(with->bytes + k->params_at + n, k->bytes + k->params_at, k->len - k->params_at);
	c->out_bytes += (size_t)n;
	c->lost = 0;
	free(k);
	return with;
}

static void client_written(uv_write_t *write, int status)
{
	struct client *c = write->data;
	while (c->flying) {
		struct chunk *k = c->flying;
		c->flying = k->next;
		chunk_gone(c, k);
	}
	if (c->state == CLIENT_CLOSING)
		return;
	if (status < 0) {
		client_drop(c);
		return;
	}
	client_write(c);
	watch_pump(c);
	client_finish(c);
}

static void client_write(struct client *c)
{
	if (c->flying || !c->head || c->state == CLIENT_CLOSING)
		return;
	uv_buf_t bufs[64];
	unsigned n = 0;
	size_t bytes = 0;
	struct chunk **tail = &c->flying;
	while (c->head && n < 64 && (n == 0 || bytes + c->head->len <= OUT_BATCH)) {
		struct chunk *k = c->head;
		c->head = k->next;
		if (c->lost && chunk_lossy(k))
			k = chunk_tell_lost(c, k);
		k->next = NULL;
		*tail = k;
		tail = &k->next;
		bytes += k->len;
		bufs[n++] = uv_buf_init(k->bytes, (unsigned)k->len);
	}
	if (!c->head)
		c->tail = &c->head;
	c->write.data = c;
	if (uv_write(&c->write, (uv_stream_t *)&c->pipe, bufs, n, client_written) == 0)
		return;
	while (c->flying) {
		struct chunk *k = c->flying;
		c->flying = k->next;
		chunk_gone(c, k);
	}
	client_drop(c);
}

/* ---- the end of a connection ---- */

static void client_closed(uv_handle_t *handle)
{
	struct client *c = (struct client *)handle;
	struct server *s = c->server;
	while (c->head) {
		struct chunk *k = c->head;
		c->head = k->next;
		free(k);
	}
	*c->link = c->next;
	if (c->next)
		c->next->link = c->link;
	free(c->in);
	free(c->frames);
	free(c->tape);
	free(c);
	server_check_closed(s);
}

static void client_uncount(struct client *c)
{
	if (c->counted)
		c->server->client_count--;
	else
		c->server->lingerers--;
}

void client_drop(struct client *c)
{
	if (c->state == CLIENT_CLOSING)
		return;
	c->state = CLIENT_CLOSING;
	client_uncount(c);
	watch_end(c);
	if (c->call)
		c->call->client = NULL;
	c->call = NULL;
	uv_close((uv_handle_t *)&c->pipe, client_closed);
}

static void shut_down(uv_shutdown_t *shutdown, int status)
{
	(void)status;
	free(shutdown);
}

/* A peer that is still writing when it is closed would get an error instead of the
 * answer that says why.  So what it writes is passed over for a moment. */
static void client_linger(struct client *c)
{
	struct server *s = c->server;
	uv_shutdown_t *shutdown = malloc(sizeof *shutdown);
	if (!shutdown || s->closing || c->ended || (c->counted && s->lingerers >= LINGERERS_MAX) ||
	    uv_shutdown(shutdown, (uv_stream_t *)&c->pipe, shut_down)) {
		free(shutdown);
		client_drop(c);
		return;
	}
	client_uncount(c);
	c->counted = false;
	s->lingerers++;
	c->state = CLIENT_LINGER;
	c->since = uv_now(s->loop);
	server_need_sweep(s);
}

static void client_finish(struct client *c)
{
	if (c->state != CLIENT_ENDING || c->call || c->head || c->flying)
		return;
	if (c->linger)
		client_linger(c);
	else
		client_drop(c);
}

static void client_flow(struct client *c);

void client_end(struct client *c, bool linger)
{
	if (c->state != CLIENT_OPEN)
		return;
	c->state = CLIENT_ENDING;
	c->linger = linger;
	c->since = uv_now(c->server->loop);
	watch_end(c);
	free(c->in);
	c->in = NULL;
	c->in_len = c->in_size = c->scanned = 0;
	if (linger)
		server_need_sweep(c->server);
	client_flow(c);
	client_finish(c);
}

/* ---- in ---- */

static bool client_append(struct client *c, const char *bytes, size_t len)
{
	if (c->in_len + len > c->in_size) {
		size_t size = c->in_size ? c->in_size : 4096;
		while (size < c->in_len + len)
			size *= 2;
		char *in = realloc(c->in, size);
		if (!in)
			return false;
		c->in = in;
		c->in_size = size;
	}
	memcpy(c->in + c->in_len, bytes, len);
	c->in_len += len;
	return true;
}

static void client_consume(struct client *c, size_t len)
{
	if (c->state != CLIENT_OPEN || !len)
		return;
	c->in_len -= len;
	c->scanned = c->scanned > len ? c->scanned - len : 0;
	if (c->in_len) {
		memmove(c->in, c->in + len, c->in_len);
		return;
	}
	free(c->in); /* an idle client holds nothing */
	c->in = NULL;
	c->in_size = 0;
}

static void client_too_long(struct client *c)
{
	struct fault why;
	fault_too_long(&why);
	client_refuse(c, WIRE_NOT_JSON, &why);
}

/* The lines that are whole, one after the other while no call is on its way. */
static size_t lines_take(struct client *c)
{
	size_t from = 0;
	while (c->state == CLIENT_OPEN && !c->call) {
		size_t look = c->scanned > from ? c->scanned : from;
		const char *lf = look < c->in_len ? memchr(c->in + look, '\n', c->in_len - look) : NULL;
		if (!lf) {
			c->scanned = c->in_len;
			break;
		}
		const char *line = c->in + from;
		size_t len = (size_t)(lf - line);
		from += len + 1;
		if (len + 1 > WIRE_LINE_MAX)
			client_too_long(c);
		else
			client_line(c, line, len);
	}
	return from;
}

/* The peer has ended: what it wrote without a line end is the last line. */
static void line_last(struct client *c)
{
	if (c->in_len) {
		c->in_lines = true;
		client_line(c, c->in, c->in_len);
		c->in_lines = false;
		client_consume(c, c->in_len);
	}
	if (!c->call)
		client_end(c, false);
}

void client_lines(struct client *c)
{
	if (c->in_lines)
		return;
	c->in_lines = true;
	size_t taken = lines_take(c);
	c->in_lines = false;
	client_consume(c, taken);
	if (c->state == CLIENT_OPEN && !c->call) {
		if (c->in_len >= WIRE_LINE_MAX)
			client_too_long(c);
		else if (c->ended)
			line_last(c);
	}
	client_flow(c);
	client_finish(c);
}

static void read_into(uv_handle_t *handle, size_t size, uv_buf_t *buf)
{
	(void)size;
	struct client *c = (struct client *)handle;
	*buf = uv_buf_init(c->server->scratch, sizeof c->server->scratch);
}

static void read_done(uv_stream_t *stream, ssize_t n, const uv_buf_t *buf)
{
	struct client *c = (struct client *)stream;
	if (n == 0 || c->state == CLIENT_CLOSING)
		return;
	if (n > 0) {
		if (c->state != CLIENT_OPEN)
			return; /* lingering: passed over */
		if (client_append(c, buf->base, (size_t)n))
			client_lines(c);
		else
			client_drop(c);
	} else if (n == UV_EOF && c->state != CLIENT_LINGER) {
		c->ended = true;
		if (c->state == CLIENT_OPEN)
			client_lines(c);
		else
			client_flow(c);
	} else {
		client_drop(c);
	}
}

/* Read or let the kernel hold what comes. */
static void client_flow(struct client *c)
{
	bool want = !c->ended;
	if (c->state == CLIENT_OPEN)
		want = want && c->in_len < WIRE_LINE_MAX;
	else if (c->state == CLIENT_ENDING)
		want = want && c->linger;
	else
		return;
	if (want == c->reading)
		return;
	c->reading = want;
	if (!want)
		uv_read_stop((uv_stream_t *)&c->pipe);
	else if (uv_read_start((uv_stream_t *)&c->pipe, read_into, read_done))
		client_drop(c);
}

/* ---- the beginning ---- */

/* Make room for a newcomer: someone who never said hello has had its time. */
static void put_out_the_silent(struct server *s)
{
	struct client *oldest = NULL;
	for (struct client *c = s->clients; c; c = c->next)
		if (c->counted && c->state == CLIENT_OPEN && !c->greeted && !c->call &&
		    (!oldest || c->since < oldest->since))
			oldest = c;
	if (oldest && uv_now(s->loop) - oldest->since >= GREETING_MS)
		client_drop(oldest);
}

void client_accept(struct server *s)
{
	struct client *c = calloc(1, sizeof *c);
	s->accept_later = !c;
	if (!c) {
		server_need_sweep(s);
		return;
	}
	c->server = s;
	c->tail = &c->head;
	c->since = uv_now(s->loop);
	c->next = s->clients;
	c->link = &s->clients;
	if (c->next)
		c->next->link = &c->next;
	s->clients = c;
	if (s->client_count >= CLIENTS_MAX)
		put_out_the_silent(s);
	c->counted = s->client_count < CLIENTS_MAX;
	*(c->counted ? &s->client_count : &s->lingerers) += 1;

	uv_pipe_init(s->loop, &c->pipe, 0);
	if (uv_accept((uv_stream_t *)&s->listener, (uv_stream_t *)&c->pipe)) {
		client_drop(c);
		return;
	}
	uv_os_fd_t fd;
	struct ucred peer;
	socklen_t size = sizeof peer;
	if (uv_fileno((uv_handle_t *)&c->pipe, &fd) ||
	    getsockopt(fd, SOL_SOCKET, SO_PEERCRED, &peer, &size)) {
		client_drop(c); /* whoever changes something must have a name */
		return;
	}
	c->uid = peer.uid;
	if (c->counted) {
		client_flow(c);
		return;
	}
	if (s->lingerers > LINGERERS_MAX) {
		client_drop(c);
		return;
	}
	struct fault why;
	fault_set(&why, "%d clients are connected already; close one and try again", CLIENTS_MAX);
	client_refuse(c, WIRE_REFUSED, &why);
}
