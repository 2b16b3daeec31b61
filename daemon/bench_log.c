/* SPDX-License-Identifier: MIT */
/*
 * The bench towards the log: drafts out, results back.
 *
 * What was handed over and not yet heard of stands in `pending`.  A refusal takes
 * back what the bench had remembered at the decision: an entry does not count, a
 * strike is undone, and the readings of a run are counted until a gap record can
 * say how many there were.
 */
#include "daemon/bench_inside.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- events and records ---- */

void bench_event(struct bench *b, const char *event, ...)
{
	if (!b->hooks.event)
		return;
	char json[2304];
	struct text t;
	text_begin(&t, json, sizeof json);
	text_puts(&t, "{\"event\":");
	text_string(&t, event, strlen(event));
	text_member(&t, "t");
	text_time(&t, b->utc + b->now);
	va_list args;
	va_start(args, event);
	for (const char *key; (key = va_arg(args, const char *));) {
		const char *value = va_arg(args, const char *);
		if (!value)
			continue;
		if (strcmp(key, "seq") == 0 || strcmp(key, "up") == 0)
			text_member_int(&t, key, strtoll(value, NULL, 10));
		else if (strcmp(key, "on") == 0)
			text_member_bool(&t, key, strcmp(value, "true") == 0);
		else
			text_member_string(&t, key, value);
	}
	va_end(args);
	text_puts(&t, "}");
	if (!t.failed)
		b->hooks.event(b->hooks.arg, json);
}

bool bench_grow(void **array, int count, int *size, size_t each)
{
	if (count < *size)
		return true;
	int more = *size ? *size * 2 : 64;
	void *grown = realloc(*array, (size_t)more * each);
	if (!grown)
		return false;
	*array = grown;
	*size = more;
	return true;
}

struct pending bench_pending(uint64_t ticket, struct bench_wait w)
{
	return (struct pending){.ticket = ticket, .made = -1, .strikes = -1, .rejudges = -1,
	                        .moves = -1, .backing = -1, .unbacks = -1, .meter = -1, .wait = w};
}

bool bench_pend(struct bench *b, struct pending p)
{
	/* Those that were heard of leave when they are the greater part. */
	if (b->heard > 32 && 2 * b->heard >= b->pendings) {
		b->pendings -= b->heard;
		memmove(b->pending, b->pending + b->heard, (size_t)b->pendings * sizeof *b->pending);
		b->heard = 0;
	}
	if (!bench_grow((void **)&b->pending, b->pendings, &b->pendings_size, sizeof *b->pending))
		return false;
	b->pending[b->pendings++] = p;
	return true;
}

uint64_t bench_append(struct bench *b, const char *kind, int64_t t, const struct text *body,
                      struct fault *why)
{
	if (body->failed) {
		fault_set(why, "the %s record does not fit its buffer", kind);
		return 0;
	}
	struct log_draft draft = {b->utc + t, kind, body->bytes, body->len};
	uint64_t ticket = log_append(b->log, &draft, 1, NULL, why);
	b->log_refused = ticket == 0;
	return ticket;
}

bool bench_put(struct bench *b, const char *kind, int64_t t, const struct text *body,
               struct bench_wait w, struct fault *why)
{
	uint64_t ticket = bench_append(b, kind, t, body, why);
	if (!ticket)
		return false;
	return bench_pend(b, bench_pending(ticket, w));
}

bool bench_put_job(struct bench *b, const char *kind, int64_t t, const struct text *body,
                   struct bench_wait w, struct fault *why)
{
	if (!bench_put(b, kind, t, body, w, why))
		return false;
	b->pending[b->pendings - 1].job = true;
	return true;
}

bool bench_log_refused(const struct bench *b)
{
	return b->log_refused;
}

/* ---- the trail ---- */

/* The log did not take them: the readings are counted, and said in a gap record as
 * soon as it takes something again. */
static void count_unlogged(struct bench_meter *m, int64_t readings, int64_t from, int64_t to)
{
	if (!m->unlogged || from < m->unlogged_from)
		m->unlogged_from = from;
	if (!m->unlogged || to > m->unlogged_to)
		m->unlogged_to = to;
	m->unlogged += readings;
}

void bench_gap(struct bench *b, struct bench_meter *m, int64_t from, int64_t to,
                    const char *cause, int64_t lost)
{
	struct gap_body gap = {.meter = m->config->name, .from = b->utc + from, .to = b->utc + to,
	                       .cause = cause, .lost = lost};
	struct text body;
	struct fault why;
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	gap_body_write(&body, &gap);
	uint64_t ticket = bench_append(b, "gap", b->now, &body, &why);
	if (!ticket)
		return;
	struct pending p = bench_pending(ticket, (struct bench_wait){0});
	if (lost > 0) {
		p.meter = m->index;
		p.readings = lost;
		p.from = from;
		p.to = to;
		m->unlogged = 0;
	}
	bench_pend(b, p);
}

void bench_end_run(struct bench *b, struct bench_meter *m)
{
	if (!m->trail.n)
		return;
	struct text body;
	struct fault why;
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	trail_write(&m->trail, b->job[0] ? b->job : NULL, m->config->name, &body);
	struct log_draft draft = {b->utc + m->trail.t, "trail", body.bytes, body.len};
	uint64_t ticket = body.failed ? 0 : log_append(b->log, &draft, 1, m->config->name, &why);
	if (!ticket) {
		count_unlogged(m, m->trail.n, m->trail.t, trail_end_time(&m->trail));
		trail_end(&m->trail, 0);
		return;
	}
	bench_pend_run(b, m, ticket);
}

void bench_pend_run(struct bench *b, struct bench_meter *m, uint64_t ticket)
{
	struct pending p = bench_pending(ticket, (struct bench_wait){0});
	p.meter = m->index;
	p.readings = m->trail.n;
	p.from = m->trail.t;
	p.to = trail_end_time(&m->trail);
	bench_pend(b, p);
	trail_end(&m->trail, ticket);
}

/* Bad frames of the last seconds, as one record. */
void bench_seal_spoilt(struct bench *b, struct bench_meter *m)
{
	struct text body;
	struct fault why;
	if (!m->spoilt.count)
		return;
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	spoilt_write(&m->spoilt, m->config->name, b->utc, &body);
	bench_put(b, "bad", b->now, &body, (struct bench_wait){0}, &why);
	spoilt_clear(&m->spoilt);
}

/* Once a second, so that a kill costs at most a second of readings. */
void bench_save_open_runs(struct bench *b)
{
	enum { RUNS = 64 };
	struct log_open_run run[RUNS];
	char *at[RUNS];
	size_t n = 0;
	bool changed = false;
	for (int i = 0; i < b->meters && n < RUNS; i++) {
		struct bench_meter *m = &b->meter[i];
		/* A run that is full goes into the log at the next reading: now is as well, and it
		 * is not written twice. */
		if (m->trail.n == TRAIL_READINGS_MAX)
			bench_end_run(b, m);
		changed = changed || m->trail.changed;
		if (!m->trail.n)
			continue;
		struct text body;
		text_begin(&body, b->body, BENCH_BODY_SIZE);
		trail_write(&m->trail, b->job[0] ? b->job : NULL, m->config->name, &body);
		at[n] = body.failed ? NULL : strdup(body.bytes);
		if (!at[n])
			continue;
		run[n] = (struct log_open_run){m->config->name, b->utc + m->trail.t, at[n], body.len};
		n++;
	}
	const char *desk = desk_left(b);
	if (changed || desk)
		log_save_desk(b->log, run, n, desk);
	for (int i = 0; i < b->meters; i++)
		b->meter[i].trail.changed = false;
	for (size_t i = 0; i < n; i++)
		free(at[i]);
}

/* ---- results of the log ---- */

static void entry_durable(struct bench *b, struct made *made, int64_t seq)
{
	made->entry.seq = seq;
	made->ticket = 0;
	const struct entry *e = &made->entry;
	char shown[64], number[24];
	entry_shown(e, shown, sizeof shown);
	snprintf(number, sizeof number, "%lld", (long long)seq);
	bench_event(b, "logged", "seq", number, "position", e->position, "quantity",
	            quantity_name(e->quantity), "meter", e->meter, "shown", shown, "verdict",
	            verdict_word_name(e->verdict.word), NULL);
	cross_durable(b, e);
	safe_made(b, position_find(b, e->position));
}

/* The log takes records again: say what it did not take. */
static void say_unlogged(struct bench *b)
{
	for (int i = 0; i < b->meters; i++) {
		struct bench_meter *m = &b->meter[i];
		if (m->unlogged)
			bench_gap(b, m, m->unlogged_from, m->unlogged_to, "the log took nothing", m->unlogged);
	}
}

static void heard_of(struct bench *b, const struct pending *p, const struct log_result *r)
{
	bool durable = r->status == LOG_DURABLE;
	if (p->meter >= 0) {
		trail_durable(&b->meter[p->meter].trail, p->ticket, durable ? r->seq : 0);
		if (!durable)
			count_unlogged(&b->meter[p->meter], p->readings, p->from, p->to);
	}
	if (p->made >= 0 && durable)
		entry_durable(b, &b->made[p->made], r->seq);
	else if (p->made >= 0)
		capture_failed(b, &b->made[p->made], r->why);
	if (p->strikes >= 0 && !durable)
		b->made[p->strikes].entry.struck = false;
	if (p->rejudges >= 0 && !durable && !b->made[p->rejudges].owed) {
		b->made[p->rejudges].owed = p->because;
		b->owed++;
	}
	if (p->moves >= 0 && !durable)
		move_revert(b, p->moves, p->was_at);
	if (p->backing >= 0)
		backing_heard(b, &b->backing[p->backing], durable ? r->seq : 0);
	if (p->unbacks >= 0 && !durable)
		backing_unstrike(b, p->unbacks);
	if (durable) {
		say_unlogged(b);
		job_rejudge_owed(b, b->now);
	}
	if (p->job && !durable)
		b->unsure = true;
	if (p->meter < 0 && p->made < 0 && !durable)
		bench_event(b, "not-logged", "why", r->why, NULL);
	if (p->wait.done) {
		struct bench_outcome o = {.durable = durable, .seq = r->seq, .record = r->text,
		                          .len = r->len, .why = r->why};
		p->wait.done(p->wait.arg, &o);
	}
}

static void on_result(void *arg, const struct log_result *r)
{
	struct bench *b = arg;
	if (r->status == LOG_DURABLE && b->hooks.record)
		b->hooks.record(b->hooks.arg, r->seq, r->text, r->len);
	/* Results come in ticket order and so do the pending ones; not every ticket has
	 * one. */
	if (b->heard == b->pendings || b->pending[b->heard].ticket != r->ticket)
		return;
	struct pending p = b->pending[b->heard++];
	heard_of(b, &p, r);
}

void bench_collect(struct bench *b)
{
	log_collect(b->log, on_result, b);
	/* Not before all that is on its way has arrived: it may be about the job, too. */
	if (b->unsure && b->heard == b->pendings) {
		b->unsure = false;
		job_read_back(b);
	}
}
