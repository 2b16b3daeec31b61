/* SPDX-License-Identifier: MIT */
/*
 * One connection: its beginning, its lines, its end.
 *
 * What is bounded, and what happens when it is full:
 *   - a line without end: 1 MiB, then an error and the end of the connection;
 *   - lines that wait while a call is on its way: 1 MiB (and one read), then the
 *     kernel holds the rest;
 *   - connections: 64 through each door, and 16 more that are being told why they
 *     cannot stay.
 *
 * One call of a connection is on its way at a time, so that answers keep the
 * order of the calls and each call sees what the one before it did.
 */
#include "daemon/server_private.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>

static void caller_flow(struct caller *c);

/* ---- the end of a connection ---- */

static void caller_closed(uv_handle_t *handle)
{
	struct caller *c = (struct caller *)handle;
	struct server *s = c->server;
	caller_forget_output(c);
	*c->link = c->next;
	if (c->next)
		c->next->link = c->link;
	free(c->in);
	free(c->frames);
	free(c->tape);
	bool voice = c->voice;
	free(c);
	s->voices -= voice;
	/* Here, and not when it was dropped: that may be in the middle of telling an event. */
	if (voice && !s->voices && !s->closing && s->hooks.voiceless)
		s->hooks.voiceless(s->hooks.arg);
	server_check_closed(s);
}

int server_voice(struct server_call *call, bool on)
{
	struct caller *c = call->caller;
	if (!c)
		return 0;
	c->server->voices += on - c->voice;
	c->voice = on;
	return c->server->voices;
}

static void caller_uncount(struct caller *c)
{
	if (c->counted)
		c->door->callers--;
	else
		c->server->lingerers--;
}

void caller_drop(struct caller *c)
{
	if (c->state == CALLER_CLOSING)
		return;
	c->state = CALLER_CLOSING;
	caller_uncount(c);
	watch_end(c);
	if (c->call) {
		lane_forget(&c->server->lane[LANE_LONG], c);
		c->call->caller = NULL;
	}
	c->call = NULL;
	uv_close((uv_handle_t *)&c->pipe, caller_closed);
}

static void shut_down(uv_shutdown_t *shutdown, int status)
{
	(void)status;
	free(shutdown);
}

/* A peer that is still writing when it is closed would get an error instead of the
 * answer that says why.  So what it writes is passed over for a moment. */
static void caller_linger(struct caller *c)
{
	struct server *s = c->server;
	uv_shutdown_t *shutdown = malloc(sizeof *shutdown);
	if (!shutdown || s->closing || c->ended || (c->counted && s->lingerers >= LINGERERS_MAX) ||
	    uv_shutdown(shutdown, (uv_stream_t *)&c->pipe, shut_down)) {
		free(shutdown);
		caller_drop(c);
		return;
	}
	caller_uncount(c);
	c->counted = false;
	s->lingerers++;
	c->state = CALLER_LINGER;
	c->since = uv_now(s->loop);
	server_need_sweep(s);
}

void caller_finish(struct caller *c)
{
	if (c->state != CALLER_ENDING || c->call || c->head || c->flying)
		return;
	if (c->linger)
		caller_linger(c);
	else
		caller_drop(c);
}

void caller_end(struct caller *c, bool linger)
{
	if (c->state != CALLER_OPEN)
		return;
	c->state = CALLER_ENDING;
	c->linger = linger;
	c->since = uv_now(c->server->loop);
	watch_end(c);
	free(c->in);
	c->in = NULL;
	c->in_len = c->in_size = c->scanned = 0;
	if (linger)
		server_need_sweep(c->server);
	caller_flow(c);
	caller_finish(c);
}

/* ---- in ---- */

static bool caller_append(struct caller *c, const char *bytes, size_t len)
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

static void caller_consume(struct caller *c, size_t len)
{
	if (c->state != CALLER_OPEN || !len)
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

static void caller_too_long(struct caller *c)
{
	struct fault why;
	fault_too_long(&why);
	caller_refuse(c, WIRE_NOT_JSON, &why);
}

/* The lines that are whole, one after the other while no call is on its way. */
static size_t lines_take(struct caller *c)
{
	size_t from = 0;
	while (c->state == CALLER_OPEN && !c->call) {
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
			caller_too_long(c);
		else
			caller_line(c, line, len);
	}
	return from;
}

/* The peer has ended: what it wrote without a line end is the last line. */
static void line_last(struct caller *c)
{
	if (c->in_len) {
		c->in_lines = true;
		caller_line(c, c->in, c->in_len);
		c->in_lines = false;
		caller_consume(c, c->in_len);
	}
	if (!c->call)
		caller_end(c, false);
}

void caller_lines(struct caller *c)
{
	if (c->in_lines)
		return;
	c->in_lines = true;
	size_t taken = lines_take(c);
	c->in_lines = false;
	caller_consume(c, taken);
	if (c->state == CALLER_OPEN && !c->call) {
		if (c->in_len >= WIRE_LINE_MAX)
			caller_too_long(c);
		else if (c->ended)
			line_last(c);
	}
	caller_flow(c);
	caller_finish(c);
}

static void read_into(uv_handle_t *handle, size_t size, uv_buf_t *buf)
{
	(void)size;
	struct caller *c = (struct caller *)handle;
	*buf = uv_buf_init(c->server->scratch, sizeof c->server->scratch);
}

static void read_done(uv_stream_t *stream, ssize_t n, const uv_buf_t *buf)
{
	struct caller *c = (struct caller *)stream;
	if (n == 0 || c->state == CALLER_CLOSING)
		return;
	if (n > 0) {
		if (c->state != CALLER_OPEN)
			return; /* lingering: passed over */
		if (caller_append(c, buf->base, (size_t)n))
			caller_lines(c);
		else
			caller_drop(c);
	} else if (n == UV_EOF && c->state != CALLER_LINGER) {
		c->ended = true;
		if (c->state == CALLER_OPEN)
			caller_lines(c);
		else
			caller_flow(c);
	} else {
		caller_drop(c);
	}
}

/* Read or let the kernel hold what comes. */
static void caller_flow(struct caller *c)
{
	bool want = !c->ended;
	if (c->state == CALLER_OPEN)
		want = want && c->in_len < WIRE_LINE_MAX;
	else if (c->state == CALLER_ENDING)
		want = want && c->linger;
	else
		return;
	if (want == c->reading)
		return;
	c->reading = want;
	if (!want)
		uv_read_stop((uv_stream_t *)&c->pipe);
	else if (uv_read_start((uv_stream_t *)&c->pipe, read_into, read_done))
		caller_drop(c);
}

/* ---- the beginning ---- */

/* Make room for a newcomer: someone who never said hello has had its time. */
static void put_out_the_silent(struct door *door)
{
	struct server *s = door->server;
	struct caller *oldest = NULL;
	for (struct caller *c = s->callers; c; c = c->next)
		if (c->counted && c->door == door && c->state == CALLER_OPEN && !c->greeted && !c->call &&
		    (!oldest || c->since < oldest->since))
			oldest = c;
	if (oldest && uv_now(s->loop) - oldest->since >= GREETING_MS)
		caller_drop(oldest);
}

void caller_accept(struct door *door)
{
	struct server *s = door->server;
	struct caller *c = calloc(1, sizeof *c);
	door->accept_later = !c;
	if (!c) {
		server_need_sweep(s);
		return;
	}
	c->server = s;
	c->door = door;
	c->tail = &c->head;
	c->since = uv_now(s->loop);
	c->next = s->callers;
	c->link = &s->callers;
	if (c->next)
		c->next->link = &c->next;
	s->callers = c;
	if (door->callers >= CALLERS_MAX)
		put_out_the_silent(door);
	c->counted = door->callers < CALLERS_MAX;
	*(c->counted ? &door->callers : &s->lingerers) += 1;

	uv_pipe_init(s->loop, &c->pipe, 0);
	if (uv_accept((uv_stream_t *)&door->listener, (uv_stream_t *)&c->pipe)) {
		caller_drop(c);
		return;
	}
	uv_os_fd_t fd;
	struct ucred peer;
	socklen_t size = sizeof peer;
	if (uv_fileno((uv_handle_t *)&c->pipe, &fd) ||
	    getsockopt(fd, SOL_SOCKET, SO_PEERCRED, &peer, &size)) {
		caller_drop(c); /* whoever changes something must have a name */
		return;
	}
	c->uid = peer.uid;
	if (c->counted) {
		caller_flow(c);
		return;
	}
	if (s->lingerers > LINGERERS_MAX) {
		caller_drop(c);
		return;
	}
	struct fault why;
	fault_set(&why, "%d clients are connected already; close one and try again", CALLERS_MAX);
	caller_refuse(c, WIRE_REFUSED, &why);
}
