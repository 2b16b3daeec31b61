/* SPDX-License-Identifier: MIT */
/*
 * The output of one connection: chunks that wait, and those with the kernel.
 *
 * It is bounded at 4 MiB.  Events, lives, frames and tapes make way, the oldest
 * first, and are counted; records are only read while there is room; a client
 * whose answers alone come to more does not read them and loses its connection.
 */
#include "daemon/server_private.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void caller_write(struct caller *c);

static size_t chunk_weight(const struct chunk *k)
{
	return sizeof *k + k->len;
}

static bool chunk_lossy(const struct chunk *k)
{
	return k->kind == CHUNK_LOSSY || k->kind == CHUNK_LIVE;
}

static void chunk_gone(struct caller *c, struct chunk *k)
{
	c->out_bytes -= chunk_weight(k);
	if (!chunk_lossy(k))
		c->solid_bytes -= chunk_weight(k);
	free(k);
}

/* Take the oldest waiting chunk out that is lossy (or only: a live). */
static bool chunk_evict(struct caller *c, bool live_only)
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

/* Is there room for `len` bytes, once lossy chunks made way? */
static bool caller_room(struct caller *c, size_t len)
{
	while (c->out_bytes + len > OUT_MAX) {
		if (!chunk_evict(c, false))
			return false;
		c->lost++;
	}
	return true;
}

bool caller_send(struct caller *c, enum chunk_kind kind, const char *bytes, size_t len,
                 size_t params_at)
{
	if (c->state == CALLER_LINGER || c->state == CALLER_CLOSING)
		return false;
	if (c->state == CALLER_ENDING && kind != CHUNK_ANSWER)
		return false;
	bool lossy = kind == CHUNK_LOSSY || kind == CHUNK_LIVE;
	if (kind == CHUNK_LIVE)
		chunk_evict(c, true);
	struct chunk *k = NULL;
	/* One message alone is let through, whatever it weighs. */
	if (caller_room(c, sizeof *k + len) || (!lossy && c->out_bytes == 0))
		k = malloc(sizeof *k + len);
	if (!k) {
		if (lossy)
			c->lost++;
		if (kind == CHUNK_ANSWER) {
			server_say(c->server, "a client does not read its answers; put out");
			caller_drop(c);
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
	caller_write(c);
	return c->state != CALLER_CLOSING;
}

/* Tell in this chunk how many were dropped before it. */
static struct chunk *chunk_tell_lost(struct caller *c, struct chunk *k)
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

static void caller_written(uv_write_t *write, int status)
{
	struct caller *c = write->data;
	while (c->flying) {
		struct chunk *k = c->flying;
		c->flying = k->next;
		chunk_gone(c, k);
	}
	if (c->state == CALLER_CLOSING)
		return;
	if (status < 0) {
		caller_drop(c);
		return;
	}
	caller_write(c);
	watch_pump(c);
	caller_finish(c);
}

/* Hand the kernel what waits, a batch at a time. */
static void caller_write(struct caller *c)
{
	if (c->flying || !c->head || c->state == CALLER_CLOSING)
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
	if (uv_write(&c->write, (uv_stream_t *)&c->pipe, bufs, n, caller_written) == 0)
		return;
	while (c->flying) {
		struct chunk *k = c->flying;
		c->flying = k->next;
		chunk_gone(c, k);
	}
	caller_drop(c);
}

void caller_forget_output(struct caller *c)
{
	while (c->head) {
		struct chunk *k = c->head;
		c->head = k->next;
		free(k);
	}
}
