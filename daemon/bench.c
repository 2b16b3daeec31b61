/* SPDX-License-Identifier: MIT */
/*
 * The heart: inputs in, timers in order, and the way of a reading.
 *
 *     bench_line_bytes -> machine -> on_reading -> trail -> settle -> capture
 *
 * Invariants
 *   1. Time never falls; every timer that is due is fired before the input that
 *      came after it, earliest first, the lower meter first among equals.
 *   2. A reading is in the trail before settle sees it, under the same ordinal.
 *   3. What the bench remembers of an entry is made at the decision and taken
 *      back where the log refuses it; nobody is told `logged` before the disk
 *      said so.
 */
#include "daemon/bench_guide.h"

#include "protocol/meter/timing.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>


/* ---- the way of a reading ---- */

/* The position that a reading of this meter is for, "" for none. */
static const char *aim_name(const struct bench *b, const struct bench_meter *m)
{
	int place = walk_aim(b, m).place;
	return place < 0 ? "" : b->position[place].row.position.name;
}

static void settle_said(struct bench *b, struct bench_meter *m, int64_t t, unsigned events)
{
	m->lifted = !settle_touching(&m->settle);
	if (events & (SETTLE_LIFTED | SETTLE_TOUCHED)) {
		m->nowhere = m->passed = false;
		m->took = -1;
		walk_lifted(b, m);
	}
	if (events & SETTLE_TOUCHED) {
		m->touch_made = -1;
		m->early = m->bound.place < 0 && !name_was_said(b);
	}
	/* A held value outlives its lift (the hands are busy); a new touch ends it. */
	if (events & SETTLE_TOUCHED)
		m->held.waits = false;
	bool errand = m->errand.what != ERRAND_NONE;
	if ((events & SETTLE_SETTLED) && !errand_settled(b, m, t) && !guide_settled(b, m))
		capture_settled(b, m, t);
	if ((events & SETTLE_DOUBT) && !errand && !guide_of_meter(b, m))
		capture_doubt(b, m, t);
	if ((events & SETTLE_MOVING) && !m->spent && m->bound.place < 0)
		bench_event(b, "moving", "meter", m->config->name, "position", aim_name(b, m), "text",
		            "keeps moving: wait, or take it as it stands", NULL);
	walk_on_meter(b, m, t);
}

static void on_reading(void *arg, const struct reading *r)
{
	struct bench_meter *m = arg;
	struct bench *b = m->bench;
	const char *position = aim_name(b, m);
	if (!trail_continues(&m->trail, r, position))
		bench_end_run(b, m);
	second_keep(m, trail_add(&m->trail, r, position), r);
	if (b->next_save == INT64_MAX)
		b->next_save = b->now + BENCH_SAVE_US;
	guard_reading(b, m, r);
	way_dial(b, m, r);
	capture_mode(b, m, r);
	m->last = *r;
	m->has_last = true;
	/* Taken up again: how long its leads are open counts from here. */
	if (m->unheard && m->spent && m->spent_place < 0)
		m->spent_from = r->t;
	m->unheard = false;
	unsigned events = settle_reading(&m->settle, r);
	if (stale_reading(&m->stale, r, settle_period(&m->settle), settle_speaks(&m->settle)))
		bench_event(b, "fresh", "meter", m->config->name, NULL);
	settle_said(b, m, r->t > b->now ? r->t : b->now, events);
	errand_reading(b, m, b->now);
	guide_reading(b, m, r, false);
}

/* Open, and silent for too long: what it read last says nothing about now. */
static void say_stale(struct bench *b, struct bench_meter *m, int64_t t)
{
	char why[96];
	if (!stale_tick(&m->stale, t))
		return;
	snprintf(why, sizeof why, "no reading for %.1f s: is it on, and its line whole?",
	         (double)(t - m->stale.last.t) / 1e6);
	bench_event(b, "stale", "meter", m->config->name, "why", why, NULL);
}

static void on_frame(void *arg, const struct frame *f, const struct understood *u)
{
	struct bench_meter *m = arg;
	if (u->said == SAID_NOTHING)
		spoilt_add(&m->spoilt, m->bench->now, f, u->why);
	if (m->bench->hooks.frame)
		m->bench->hooks.frame(m->bench->hooks.arg, m->config->name, f, u);
}

static void on_send(void *arg, const char *bytes, size_t len)
{
	struct bench_meter *m = arg;
	if (m->bench->hooks.send)
		m->bench->hooks.send(m->bench->hooks.arg, m->config->name, bytes, len);
}

/* A meter record: what it is, and how its line stands. */
static void say_meter(struct bench *b, struct bench_meter *m, const char *state,
                      const char *cause)
{
	struct text body;
	struct fault why;
	char accuracy[1024];
	const struct identity *id = meter_identity_fields(&m->machine);
	accuracy_text(&m->config->accuracy, accuracy, sizeof accuracy);
	struct meter_body mb = {.meter = m->config->name, .dialect = m->config->dialect->name,
	                        .state = state, .identity = m->identity[0] ? m->identity : NULL,
	                        .maker = id->maker, .model = id->model, .serial = id->serial,
	                        .firmware = id->firmware, .stamp_u = timing_stamp(&m->config->serial,
	                        timing_frame(m->config->dialect), 0), .use = &m->config->use,
	                        .accuracy = accuracy[0] ? accuracy : NULL, .cause = cause};
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	meter_body_write(&body, &mb);
	bench_put(b, "meter", b->now, &body, (struct bench_wait){0}, &why);
}

static void on_changed(void *arg)
{
	struct bench_meter *m = arg;
	const char *identity = meter_identity(&m->machine);
	if (!identity[0] || strcmp(identity, m->identity) == 0)
		return;
	snprintf(m->identity, sizeof m->identity, "%s", identity);
	say_meter(m->bench, m, "here", NULL);
}

/* The line or the meter is away: what was touched counts as lifted. */
void bench_away(struct bench *b, struct bench_meter *m, int64_t t, const char *cause)
{
	if (m->gone)
		return;
	m->gone = m->unheard = true;
	m->gone_at = t;
	snprintf(m->gone_cause, sizeof m->gone_cause, "%s", cause);
	bench_end_run(b, m);
	say_meter(b, m, "gone", cause);
	bench_event(b, "gone", "meter", m->config->name, "why", cause, NULL);
	stale_away(&m->stale);
	guard_away(b, m);
	guide_away(b, m);
	settle_said(b, m, t, settle_gone(&m->settle, t));
}

static void here_again(struct bench *b, struct bench_meter *m, int64_t t)
{
	if (!m->gone)
		return;
	m->gone = false;
	bench_gap(b, m, m->gone_at, t, m->gone_cause, -1);
	bench_event(b, "back", "meter", m->config->name, NULL);
}

/* An asked meter did not answer in time (silent), or does again. */
static void on_silence(void *arg, int64_t t, bool silent)
{
	struct bench_meter *m = arg;
	struct bench *b = m->bench;
	if (b->hooks.act) {
		char rest[64];
		snprintf(rest, sizeof rest, "%s %s", m->config->name, silent ? "gone time-out" : "back");
		b->hooks.act(b->hooks.arg, m->config->name, t, "meter", rest);
	}
	if (silent)
		bench_away(b, m, t, "time-out");
	else
		here_again(b, m, t);
}

/* ---- lines ---- */

int bench_meter_index(const struct bench *b, const char *name)
{
	/* Nearly always asked with the very name: 64 names need not be read for it. */
	for (int i = 0; i < b->meters; i++)
		if (b->meter[i].config->name == name)
			return i;
	for (int i = 0; i < b->meters; i++)
		if (strcmp(b->meter[i].config->name, name) == 0)
			return i;
	return -1;
}

void bench_line_opened(struct bench *b, int64_t t, int meter)
{
	bench_run_until(b, t);
	struct bench_meter *m = &b->meter[meter];
	m->trouble[0] = '\0';
	meter_opened(&m->machine, t);
	here_again(b, m, t);
	bench_timers(m);
}

void bench_line_bytes(struct bench *b, int64_t t, int meter, const char *bytes, size_t len)
{
	bench_run_until(b, t);
	meter_bytes(&b->meter[meter].machine, t, bytes, len);
	bench_timers(&b->meter[meter]);
}

void bench_line_bad_byte(struct bench *b, int64_t t, int meter)
{
	bench_run_until(b, t);
	meter_bad_byte(&b->meter[meter].machine, t);
	bench_timers(&b->meter[meter]);
}

void bench_line_gone(struct bench *b, int64_t t, int meter, const char *cause)
{
	bench_run_until(b, t);
	struct bench_meter *m = &b->meter[meter];
	meter_gone(&m->machine, t, cause);
	bench_away(b, m, t, cause);
	bench_timers(m);
}

void bench_line_trouble(struct bench *b, int64_t t, int meter, bool refused, const char *why)
{
	bench_run_until(b, t);
	struct bench_meter *m = &b->meter[meter];
	snprintf(m->trouble, sizeof m->trouble, "%s", why);
	m->refused = refused;
	if (refused)
		bench_event(b, "trouble", "meter", m->config->name, "why", why, NULL);
}

/* ---- time ---- */

/* In stream time, so that a replay asks for it at the same place. */
#define CHECKPOINT_EVERY_US INT64_C(3600000000)

void bench_timers(struct bench_meter *m)
{
	int64_t next = meter_deadline(&m->machine);
	int64_t other[] = {settle_deadline(&m->settle), trail_deadline(&m->trail),
	                   walk_deadline(m), spoilt_deadline(&m->spoilt), stale_deadline(&m->stale),
	                   errand_deadline(m)};
	for (size_t i = 0; i < sizeof other / sizeof *other; i++)
		if (other[i] < next)
			next = other[i];
	m->next = next;
}

int64_t bench_deadline(const struct bench *b)
{
	int64_t next = b->next_save < b->next_checkpoint ? b->next_save : b->next_checkpoint;
	if (name_deadline(b) < next)
		next = name_deadline(b);
	if (safe_deadline(b) < next)
		next = safe_deadline(b);
	for (int i = 0; i < b->meters; i++)
		if (b->meter[i].next < next)
			next = b->meter[i].next;
	return next;
}

/* Everything of one meter that is due at `t`, in a fixed order. */
static void fire_meter(struct bench *b, struct bench_meter *m, int64_t t)
{
	if (meter_deadline(&m->machine) <= t)
		meter_tick(&m->machine, t);
	if (settle_deadline(&m->settle) <= t)
		settle_said(b, m, t, settle_tick(&m->settle, t));
	say_stale(b, m, t);
	if (trail_deadline(&m->trail) <= t)
		bench_end_run(b, m);
	if (walk_deadline(m) <= t)
		walk_on_meter(b, m, t);
	if (spoilt_deadline(&m->spoilt) <= t)
		bench_seal_spoilt(b, m);
	if (errand_deadline(m) <= t)
		errand_late(b, m, t);
	bench_timers(m);
	if (m->next <= t)
		m->next = t + 1; /* a timer that does not move may not stop the world */
}

void bench_run_until(struct bench *b, int64_t t)
{
	b->log_refused = false;
	for (;;) {
		int64_t next = bench_deadline(b);
		if (next > t)
			break;
		if (next > b->now)
			b->now = next;
		for (int i = 0; i < b->meters; i++)
			if (b->meter[i].next <= next)
				fire_meter(b, &b->meter[i], b->now);
		if (name_deadline(b) <= next)
			name_is_late(b);
		if (safe_deadline(b) <= next)
			safe_due(b);
		if (b->next_save <= next) {
			bench_save_open_runs(b);
			b->next_save = INT64_MAX; /* until the next reading: silence costs nothing */
		}
		if (b->next_checkpoint <= next) {
			log_checkpoint(b->log, b->utc + next);
			b->next_checkpoint = next + CHECKPOINT_EVERY_US;
		}
	}
	if (t > b->now)
		b->now = t;
}

static void say_clock(struct bench *b, int64_t t, const char *cause, int64_t step)
{
	struct clock_body clock = {.boot = b->boot, .cause = cause, .version = b->version,
	                           .step = step};
	struct text body;
	struct fault why;
	b->clock_since = b->utc + t;
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	clock_body_write(&body, &clock);
	bench_put(b, "clock", t, &body, (struct bench_wait){0}, &why);
}

void bench_clock(struct bench *b, int64_t t, int64_t utc)
{
	bench_run_until(b, t);
	for (int i = 0; i < b->meters; i++)
		bench_end_run(b, &b->meter[i]); /* their times were told by the old clock */
	int64_t step = utc - b->utc;
	b->utc = utc;
	say_clock(b, t, "step", step);
}

void bench_slept(struct bench *b, int64_t t, int64_t slept)
{
	bench_run_until(b, t);
	for (int i = 0; i < b->meters; i++) {
		bench_end_run(b, &b->meter[i]);
		if (!b->meter[i].gone)
			bench_gap(b, &b->meter[i], t, t + slept, "the machine slept", -1);
	}
	b->utc += slept;
	say_clock(b, t, "suspend", slept);
}

void bench_by(struct bench *b, int64_t t, unsigned uid)
{
	bench_run_until(b, t);
	b->by = (struct asked_by){.known = true, .uid = uid};
}

void bench_by_nobody(struct bench *b)
{
	b->by = (struct asked_by){0};
}

/* ---- beginning and end ---- */

static void fill_meter_config(const struct config_meter *c, struct meter_config *mc)
{
	meter_config_standard(mc, c->dialect);
	mc->line = c->serial;
	mc->function = c->function;
	mc->conversion = c->conversion;
	mc->second = c->second;
	if (!c->dialect->asked)
		return;
	snprintf(mc->query, sizeof mc->query, "%s", c->query);
	for (int i = 0; i < c->setups; i++)
		snprintf(mc->setup[i], sizeof mc->setup[i], "%s", c->setup[i]);
	mc->setups = c->setups;
	mc->identify = c->identify;
	mc->pace_us = c->pace_us;
	mc->timeout_us = c->timeout_us;
	for (int f = 0; f < FUNCTION_COUNT; f++)
		mc->has_digit[f] = config_digit(c, (enum function)f, &mc->digit[f]);
}

void bench_meter_said(struct bench *b, struct bench_meter *m)
{
	say_meter(b, m, "configured", NULL);
}

void bench_meter_begin(struct bench *b, int i, bool again)
{
	struct bench_meter *m = &b->meter[i];
	m->bench = b;
	m->index = i;
	m->config = &b->config->meter[i];
	if (!again)
		m->bound.place = m->before.place = -1;
	m->touch_made = m->took = -1;
	m->turned_at = -1;
	m->lifted = true;
	m->has_last = false;
	m->seconds = m->seconds_next = m->opens = 0;
	m->trouble[0] = m->identity[0] = '\0';
	struct meter_config mc;
	fill_meter_config(m->config, &mc);
	mc.replay = b->replay;
	struct meter_hooks hooks = {.send = b->replay ? NULL : on_send, .frame = on_frame,
	                            .reading = on_reading, .changed = on_changed,
	                            .silence = on_silence, .arg = m};
	meter_begin(&m->machine, &mc, &hooks);
	settle_init(&m->settle, &b->config->limits, mc.conversion);
	stale_begin(&m->stale, m->config->dialect->asked);
	m->trail.use = &m->config->use;
	m->trail.second = m->config->second;
	bench_timers(m);
	say_meter(b, m, "configured", NULL);
}

struct bench *bench_open(const struct bench_options *options, struct fault *why)
{
	struct bench *b = calloc(1, sizeof *b);
	if (b) {
		b->meters = options->config->meters;
		b->meter = calloc((size_t)b->meters + 1, sizeof *b->meter);
		b->guide = calloc(BENCH_GUIDES_MAX, sizeof *b->guide);
		b->body = malloc(BENCH_BODY_SIZE);
		b->body2 = malloc(BENCH_BODY_SIZE);
	}
	if (!b || !b->meter || !b->guide || !b->body || !b->body2) {
		fault_set(why, "out of memory");
		bench_free(b);
		return NULL;
	}
	b->config = options->config;
	b->log = options->log;
	b->hooks = options->hooks;
	b->replay = options->replay;
	b->utc = options->utc;
	b->chosen = b->last = b->dial_left = -1;
	b->came_up = INT64_MIN;
	b->next_save = b->say_until = INT64_MAX;
	b->next_checkpoint = CHECKPOINT_EVERY_US;
	b->way.meters = 1;
	snprintf(b->boot, sizeof b->boot, "%s", options->boot ? options->boot : "");
	snprintf(b->version, sizeof b->version, "%s", options->version ? options->version : "");
	say_clock(b, 0, "start", 0);
	for (int i = 0; i < b->meters; i++)
		bench_meter_begin(b, i, false);
	walk_expect(b);
	return b;
}

void bench_finish(struct bench *b, int64_t t)
{
	bench_run_until(b, t);
	bench_save_open_runs(b);
	for (int i = 0; i < b->meters; i++) {
		errand_drop(b, &b->meter[i], "the bench was closed");
		bench_end_run(b, &b->meter[i]);
		bench_seal_spoilt(b, &b->meter[i]);
	}
}

void bench_free(struct bench *b)
{
	if (!b)
		return;
	positions_clear(b);
	free(b->meter);
	free(b->guide);
	free(b->position);
	free(b->former);
	free(b->by_name);
	free(b->made);
	free(b->pending);
	free(b->backing);
	free(b->body);
	free(b->body2);
	free(b);
}
