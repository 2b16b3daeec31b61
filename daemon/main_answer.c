/* SPDX-License-Identifier: MIT */
/*
 * See main_calls_inside.h: a call that made a record is answered once that is durable, in the shape
 * that its method has.
 */
#include "daemon/main_calls_inside.h"

#include <stdlib.h>
#include <string.h>

static void waiting_free(struct waiting *w)
{
	free(w->taken);
	free(w->ready);
	free(w);
}

static void answer_durable(const struct waiting *w, const struct bench_outcome *o)
{
	size_t size = o->len + 256 + (w->taken ? SHEET_MAP_MAX * 512 : 0) +
	              (w->ready ? strlen(w->ready) : 0);
	char *buffer = malloc(size);
	struct text t;
	int64_t n;
	if (!buffer) { /* the record stands; only its answer has no room */
		server_answer(w->call, "{}");
		return;
	}
	text_begin(&t, buffer, size);
	if (w->shape == SHAPE_MANNER)
		text_printf(&t, "{\"%s\":\"%s\"", w->key, w->word);
	else if (w->shape == SHAPE_READY)
		text_printf(&t, "%s,\"seq\":%lld", w->ready, (long long)o->seq);
	else
		text_printf(&t, "{\"seq\":%lld", (long long)o->seq);
	if (w->shape == SHAPE_RECORD) {
		text_member(&t, "record");
		text_add(&t, o->record, o->len);
	}
	if (w->shape == SHAPE_UNDONE && json_int(json_member(o->record, o->len, "of"), &n))
		text_member_int(&t, json_is(json_member(o->record, o->len, "kind"), "move") ? "moved"
		                                                                           : "struck", n);
	if (w->shape == SHAPE_SHEET && json_int(json_member(o->record, o->len, "count"), &n))
		text_member_int(&t, "positions", n);
	if (w->taken)
		sheet_columns_write(&t, w->taken);
	text_puts(&t, "}");
	server_answer(w->call, buffer);
	free(buffer);
}

static void answered(void *arg, const struct bench_outcome *o)
{
	struct waiting *w = arg;
	struct fault why;
	if (o->durable) {
		answer_durable(w, o);
	} else if (o->refused) {
		fault_set(&why, "%s", o->why);
		server_refuse(w->call, WIRE_REFUSED, &why);
	} else {
		fault_set(&why, "NOT LOGGED: %s", o->why ? o->why : "the log refused it");
		server_refuse(w->call, WIRE_NOT_LOGGED, &why);
	}
	waiting_free(w);
}

struct bench_wait wait_for(struct answering *a, enum shape shape)
{
	struct waiting *w = malloc(sizeof *w);
	if (!w)
		return (struct bench_wait){NULL, NULL};
	*w = (struct waiting){.call = a->call, .shape = shape};
	return (struct bench_wait){answered, w};
}

struct bench_wait wait_manner(struct answering *a, const char *key, const char *word)
{
	struct bench_wait w = wait_for(a, SHAPE_MANNER);
	if (w.arg) {
		((struct waiting *)w.arg)->key = key;
		((struct waiting *)w.arg)->word = word;
	}
	return w;
}

bool later(struct answering *a, bool accepted, struct bench_wait w, int code,
                  const struct fault *why)
{
	if (accepted)
		return true;
	if (bench_log_refused(a->calls->bench))
		code = WIRE_NOT_LOGGED;
	struct waiting *waiting = w.arg;
	if (waiting) {
		server_refuse(waiting->call, code, why);
		waiting_free(waiting);
	}
	return true;
}
