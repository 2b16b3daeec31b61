/* SPDX-License-Identifier: MIT */
/*
 * See meter.h.  The states, and what leads from one to the next:
 *
 *                opened                        listened to
 *     ABSENT ------------> QUIET -----------------------------> LISTEN
 *       ^                    | quiet time is over
 *       | gone               v          identity
 *    (from any)          IDENTIFY ------------------> SETUP (each command: 0 from
 *                            ^ time-out: again          | the error queue)
 *                            `--                        |        \ refused
 *                                                       v         v
 *          answer    ,---> IDLE ---- pace ---> ASKED <--'      FAILED
 *                    `-------------------------'| |
 *                    ^        answer is no value| | overdue
 *                    `--------- CHECK <---------' v
 *                    ^                         RESYNC or DRAIN
 *                    `----- identity, silence ----'
 *
 * Where the function is learnt (meter_learn.h), LEARN stands in front of ASKED whenever it is
 * due; a meter that says none ends in UNKNOWN.
 *
 * Every cell of the table below is one small function; `nop` is a cell in which
 * nothing is to be done, `late` one in which a reading was not asked for.  Those of
 * identity, set-up and function stand in meter_setup.c, those of asking, being out of
 * step and coming back in meter_ask.c.
 */
#include "daemon/meter_parts.h"

#include "protocol/meter/scpi.h"
#include "protocol/record/recording.h"

#include <stdio.h>
#include <string.h>

#define TIMEOUT_US INT64_C(2000000)
/* The same answer again in less than this part of the time that the quickest of the
 * last ones took is the one before a second time; where answers take so long that the
 * difference is not the machine's own. */
#define TWICE_PART 4
#define TWICE_LEAST_US 4000

enum event {
	EVENT_OPENED,
	EVENT_DUE,      /* the state's deadline */
	EVENT_READINGS,
	EVENT_IDENTITY,
	EVENT_ERROR,
	EVENT_OTHER,    /* understood, no value: a banner, an empty line */
	EVENT_NOTHING,  /* a bad frame */
	EVENTS
};

static action nop, late, opened, note_error, replayed, replay_other;

static action *const actions[METER_STATES][EVENTS] = {
    /*                 opened   due             readings  identity       error        other  nothing */
    [METER_ABSENT]   = {opened, nop,            late,     nop,           nop,         nop,   nop},
    [METER_QUIET]    = {opened, meter_quiet_over,     late,     nop,           nop,         nop,   nop},
    [METER_IDENTIFY] = {opened, meter_identify_again, late,     meter_identified,    nop,         meter_keep_words, nop},
    [METER_SETUP]    = {opened, meter_setup_silent,   late,     meter_keep_identity, meter_setup_error, nop,   meter_setup_garbled},
    [METER_LEARN]    = {opened, meter_learn_silent,   late,     meter_keep_identity, meter_learn_refused, meter_learn_other, meter_learn_garbled},
    [METER_IDLE]     = {opened, meter_ask,            late,     meter_keep_identity, nop,         nop,   nop},
    [METER_ASKED]    = {opened, meter_overdue,        meter_answer,   meter_keep_identity, nop,         nop,   meter_answer_garbled},
    [METER_CHECK]    = {opened, meter_overdue,        late,     meter_keep_identity, meter_check_error, nop,   meter_check_over},
    [METER_RESYNC]   = {opened, meter_resync_again,   late,     meter_in_step_again, nop,         nop,   nop},
    [METER_DRAIN]    = {opened, meter_drain_over,     meter_drain_more, meter_drain_more,  meter_drain_more, meter_drain_more, meter_drain_more},
    [METER_FAILED]   = {opened, nop,            late,     nop,           nop,         nop,   nop},
    [METER_UNKNOWN]  = {opened, nop,            late,     nop,           nop,         nop,   nop},
    [METER_LISTEN]   = {opened, nop,            meter_deliver,  nop,           nop,         nop,   nop},
    [METER_REPLAY]   = {opened, nop,            replayed, meter_keep_identity, note_error,  replay_other, nop},
};

static const char *const state_word[METER_STATES] = {
    [METER_ABSENT] = "absent",       [METER_QUIET] = "opening",  [METER_IDENTIFY] = "identifying",
    [METER_SETUP] = "setting up",    [METER_IDLE] = "asked",     [METER_ASKED] = "asked",
    [METER_LEARN] = "asked",         [METER_UNKNOWN] = "function unknown",
    [METER_CHECK] = "asked",         [METER_RESYNC] = "silent",  [METER_DRAIN] = "silent",
    [METER_FAILED] = "set-up refused", [METER_LISTEN] = "listened to", [METER_REPLAY] = "replayed",
};

/* ---- small things ---- */

void meter_changed(struct meter *m)
{
	if (m->hooks.changed)
		m->hooks.changed(m->hooks.arg);
}

void meter_go(struct meter *m, enum meter_state state, int64_t deadline)
{
	bool another = m->state != state && strcmp(state_word[m->state], state_word[state]) != 0;
	m->state = state;
	m->deadline = deadline;
	if (another)
		meter_changed(m);
}

void meter_send_line(struct meter *m, const char *command)
{
	char line[METER_COMMAND_MAX + 8];
	int n = snprintf(line, sizeof line, "%s%s", command, m->config.dialect->line_end);
	if (n > 0 && (size_t)n < sizeof line && m->hooks.send)
		m->hooks.send(m->hooks.arg, line, (size_t)n);
}

void meter_send_identify(struct meter *m)
{
	m->identities_due++;
	meter_send_line(m, m->config.dialect->identify);
}

void meter_set_why(struct meter *m, const char *why)
{
	bool another = strcmp(m->why, why) != 0;
	snprintf(m->why, sizeof m->why, "%s", why);
	if (another)
		meter_changed(m);
}

void meter_say_silence(struct meter *m, bool silent)
{
	if (m->silent == silent)
		return;
	m->silent = silent;
	if (m->hooks.silence)
		m->hooks.silence(m->hooks.arg, m->now, silent);
}

const char *meter_query_of(const struct meter *m)
{
	return m->config.query[0] ? m->config.query : m->config.dialect->query;
}

static void keep_frame(struct meter *m, const struct frame *f)
{
	struct meter_frames *l = &m->last;
	l->frame[l->next].len = f->len;
	memcpy(l->frame[l->next].bytes, f->bytes, f->len);
	l->next = (l->next + 1) % METER_FRAMES;
	if (l->count < METER_FRAMES)
		l->count++;
}

/* What bare numbers are from now on, and how fine they are configured to be. */
void meter_set_function(struct meter *m, enum function f)
{
	m->setting.function = f;
	m->setting.has_digit = m->config.has_digit[f];
	m->setting.digit = m->config.digit[f];
	memset(&m->memory, 0, sizeof m->memory);
}

/* After it was out of step: what was known of its readings is not gone by any more. */
void meter_shaken(struct meter *m)
{
	memset(&m->memory, 0, sizeof m->memory);
	m->counters.late += learn_shaken(&m->learn);
}

/* ---- actions: nothing, readings ---- */

static void nop(struct meter *m, const struct understood *u)
{
	(void)m;
	(void)u;
}

/* Told as a bad frame by on_frame, which asks is_late first. */
static void late(struct meter *m, const struct understood *u)
{
	(void)u;
	m->counters.late++;
}

void meter_deliver(struct meter *m, const struct understood *u)
{
	for (int i = 0; i < u->count; i++) {
		m->counters.readings++;
		if (m->hooks.reading)
			m->hooks.reading(m->hooks.arg, &u->reading[i]);
	}
}

void meter_keep_identity(struct meter *m, const struct understood *u)
{
	if (strcmp(m->identity, u->text) == 0)
		return;
	snprintf(m->identity, sizeof m->identity, "%s", u->text);
	(void)identity_parse(m->identity, &m->fields);
	meter_changed(m);
}

static void note_error(struct meter *m, const struct understood *u)
{
	if (u->error_number != 0)
		meter_set_why(m, u->text);
}

/* ---- actions: opening ---- */

static void opened(struct meter *m, const struct understood *u)
{
	(void)u;
	if (m->config.replay)
		meter_go(m, m->config.dialect->asked ? METER_REPLAY : METER_LISTEN, INT64_MAX);
	else if (!m->config.dialect->asked)
		meter_go(m, METER_LISTEN, INT64_MAX);
	else
		meter_go(m, METER_QUIET, m->now + (int64_t)m->config.line.quiet_ms * 1000);
}

/* Readings, or an answer that waits until the function is known again. */
void meter_take_readings(struct meter *m, const struct understood *u)
{
	bool dropped;
	if (learn_take(&m->learn, m->now, u, &dropped))
		meter_deliver(m, u);
	m->counters.late += dropped;
}

static void replayed(struct meter *m, const struct understood *u)
{
	if (m->learn.on && m->learn.function == FUNCTION_NONE)
		m->counters.late++; /* told as a bad frame, see lateness */
	else
		meter_take_readings(m, u);
}

static void replay_other(struct meter *m, const struct understood *u)
{
	if (m->learn.on && u->function != FUNCTION_NONE)
		meter_learnt(m, u->function);
}

/* ---- inputs ---- */

static void happen(struct meter *m, enum event e, const struct understood *u)
{
	actions[m->state][e](m, u);
}

/* The answer before, once more, and far too soon for another. */
static bool comes_twice(const struct meter *m, const struct frame *f)
{
	const struct meter_frames *l = &m->last;
	int last = (l->next + METER_FRAMES - 1) % METER_FRAMES;
	int have = m->answer_count < METER_ANSWERS ? m->answer_count : METER_ANSWERS;
	int64_t quickest = INT64_MAX;
	for (int i = 0; i < have; i++)
		if (m->answers[i] < quickest)
			quickest = m->answers[i];
	return m->state == METER_ASKED && have >= 3 && quickest > TWICE_LEAST_US &&
	       m->now - m->asked_at < quickest / TWICE_PART && l->count > 0 &&
	       l->frame[last].len == f->len && memcmp(l->frame[last].bytes, f->bytes, f->len) == 0;
}

/* Why readings are none here; NULL where they are. */
static const char *lateness(const struct meter *m, const struct understood *u, bool twice)
{
	action *a = actions[m->state][EVENT_READINGS];
	if (u->said != SAID_READINGS)
		return NULL;
	if (a == late || a == meter_drain_more)
		return "it came late, or was not asked for";
	if (m->learn.on && m->learn.function == FUNCTION_NONE)
		return "a number, and the meter has not said yet what it measures";
	return twice ? "the answer before, a second time" : NULL;
}

static void count_frame(struct meter *m, const struct frame *f, bool good)
{
	if (good)
		m->counters.good++;
	else
		m->counters.bad++;
	if (f->fault == FRAME_CUT || f->fault == FRAME_OVERLONG)
		m->counters.resync++;
	if (good && f->len)
		m->frame_len = f->len + (m->config.dialect->end == FRAME_LINE ? 2 : 0);
}

static void on_frame(void *arg, const struct frame *f)
{
	static const enum event event_of[] = {
	    [SAID_READINGS] = EVENT_READINGS, [SAID_IDENTITY] = EVENT_IDENTITY,
	    [SAID_ERROR] = EVENT_ERROR, [SAID_OTHER] = EVENT_OTHER, [SAID_NOTHING] = EVENT_NOTHING};
	struct meter *m = arg;
	struct understood u;
	understood_clear(&u, SAID_NOTHING);
	if (f->fault == FRAME_GOOD)
		m->config.dialect->understand(&m->setting, &m->memory, f, &u);
	else
		snprintf(u.why, sizeof u.why, "%s frame", frame_fault_word(f->fault));
	if (u.said == SAID_IDENTITY && m->identities_due > 0)
		m->identities_due--;
	if (m->state == METER_LEARN && u.said == SAID_READINGS)
		learn_words(&m->learn, f->bytes, f->len); /* a number names no function */
	const struct understood *told = &u;
	struct understood refused;
	bool twice = u.said == SAID_READINGS && comes_twice(m, f);
	const char *no_reading = lateness(m, &u, twice);
	if (no_reading) {
		understood_clear(&refused, SAID_NOTHING);
		snprintf(refused.why, sizeof refused.why, "%s", no_reading);
		told = &refused;
	}
	count_frame(m, f, told->said != SAID_NOTHING);
	if (told->said == SAID_READINGS)
		keep_frame(m, f);
	if (m->hooks.frame)
		m->hooks.frame(m->hooks.arg, f, told);
	if (twice)
		m->counters.late++; /* the answer itself is still to come */
	else
		happen(m, event_of[u.said], &u);
}

void meter_bytes(struct meter *m, int64_t t, const char *bytes, size_t len)
{
	m->now = t;
	frame_feed(&m->splitter, t, bytes, len, on_frame, m);
	if (m->ask_next && m->state == METER_IDLE)
		meter_ask(m, NULL);
}

void meter_bad_byte(struct meter *m, int64_t t)
{
	m->now = t;
	m->counters.parity++;
	frame_bad_byte(&m->splitter, t);
}

int64_t meter_deadline(const struct meter *m)
{
	return m->deadline;
}

void meter_tick(struct meter *m, int64_t t)
{
	m->now = t;
	if (m->deadline <= t)
		happen(m, EVENT_DUE, NULL);
}

static void begin_line(struct meter *m, int64_t t)
{
	const struct dialect *d = m->config.dialect;
	learn_afresh(&m->learn);
	meter_set_function(m, meter_config_function(&m->config));
	m->wordy[0] = '\0';
	/* Who talks unasked may be in the middle of a frame; who is asked is not, and
	 * what is left of an older answer comes before *IDN?'s. */
	dialect_split(d, &m->splitter, d->asked ? INT64_MIN / 2 : t);
}

void meter_opened(struct meter *m, int64_t t)
{
	m->now = t;
	m->silent = m->in_step = m->ask_next = false;
	m->identities_due = m->answer_count = 0;
	m->why[0] = '\0';
	if (m->openings++ > 0)
		m->counters.reconnects++;
	begin_line(m, t);
	happen(m, EVENT_OPENED, NULL);
}

void meter_gone(struct meter *m, int64_t t, const char *cause)
{
	m->now = t;
	if (m->state == METER_ABSENT)
		return;
	m->ask_next = false;
	meter_shaken(m);
	frame_finish(&m->splitter, on_frame, m);
	snprintf(m->why, sizeof m->why, "%s", cause);
	meter_go(m, METER_ABSENT, INT64_MAX);
}

/* ---- beginning and looking ---- */

void meter_config_standard(struct meter_config *c, const struct dialect *d)
{
	memset(c, 0, sizeof *c);
	c->dialect = d;
	c->line = d->line;
	c->timeout_us = TIMEOUT_US;
	c->conversion = 1;
	c->identify = d->identify != NULL;
}

enum function meter_config_function(const struct meter_config *c)
{
	enum function f = c->function;
	const char *query = c->query[0] ? c->query : c->dialect->query;
	if (f == FUNCTION_NONE && query)
		f = scpi_function(query, strlen(query));
	for (int i = 0; i < c->setups && f == FUNCTION_NONE; i++)
		f = scpi_function(c->setup[i], strlen(c->setup[i]));
	return f;
}

void meter_begin(struct meter *m, const struct meter_config *config,
                 const struct meter_hooks *hooks)
{
	memset(m, 0, sizeof *m);
	m->config = *config;
	m->hooks = *hooks;
	m->state = METER_ABSENT;
	m->deadline = INT64_MAX;
	m->setting = (struct dialect_setting){.rules = config->dialect->rules,
	                                      .second = second_function(config->second)};
	meter_set_function(m, meter_config_function(config));
	bool learns = m->setting.function == FUNCTION_NONE && config->dialect->bare &&
	              config->dialect->asked;
	learn_begin(&m->learn, learns ? config->dialect->learn : NULL);
	if (!config->replay)
		return;
	/* A recording begins with whole frames: its meters were open long before. */
	m->openings = 1;
	begin_line(m, INT64_MIN / 2);
	opened(m, NULL);
}

void meter_dialect(struct meter *m, const struct dialect *d)
{
	m->config.dialect = d;
	m->setting.rules = d->rules;
	if (m->learn.questions)
		m->learn.questions = d->learn;
}

const char *meter_identity(const struct meter *m)
{
	return m->identity;
}

const struct identity *meter_identity_fields(const struct meter *m)
{
	return &m->fields;
}

enum function meter_function(const struct meter *m)
{
	return m->setting.function;
}

int64_t meter_answer_us(const struct meter *m)
{
	int have = m->answer_count < METER_ANSWERS ? m->answer_count : METER_ANSWERS;
	int64_t sum = 0;
	for (int i = 0; i < have; i++)
		sum += m->answers[i];
	return have ? sum / have : 0;
}

size_t meter_frame_len(const struct meter *m)
{
	return m->frame_len;
}

const char *meter_state_word(const struct meter *m)
{
	return state_word[m->state];
}

const char *meter_why(const struct meter *m)
{
	return m->why;
}

const struct meter_counters *meter_counters(const struct meter *m)
{
	return &m->counters;
}

const struct meter_frames *meter_frames(const struct meter *m)
{
	return &m->last;
}

int meter_frames_write(const struct meter_frames *l, int max, char out[][METER_FRAME_TEXT])
{
	int n = l->count < max ? l->count : max;
	for (int i = 0; i < n; i++) {
		int at = (l->next - n + i + 2 * METER_FRAMES) % METER_FRAMES;
		recording_escape(l->frame[at].bytes, l->frame[at].len, out[i], METER_FRAME_TEXT);
	}
	return n;
}

int meter_last_frames(const struct meter *m, int max, char out[][METER_FRAME_TEXT])
{
	return meter_frames_write(&m->last, max, out);
}
