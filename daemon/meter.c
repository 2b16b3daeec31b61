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
 * nothing is to be done, `late` one in which a reading was not asked for.
 */
#include "daemon/meter.h"

#include "protocol/meter/scpi.h"
#include "protocol/record/recording.h"

#include <stdio.h>
#include <string.h>

#define TIMEOUT_US INT64_C(2000000)
/* An error queue that never empties is cut here: it is a meter out of order. */
#define ERRORS_READ_MAX 20
/* A meter that is slower than its time-out would never catch up if it were asked
 * *IDN? at that pace: the wait doubles so many times.  After so long a silence
 * nothing is on its way any more. */
#define PATIENCE_TIMES 8
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

typedef void action(struct meter *m, const struct understood *u);

static action nop, late, opened, quiet_over, identify_again, identified, keep_identity,
    setup_error, setup_silent, setup_garbled, ask, answer, overdue, answer_garbled, check_error,
    check_over, resync_again, in_step_again, drain_more, drain_over, deliver, note_error,
    keep_words, learn_other, learn_refused, learn_silent, learn_garbled, replayed, replay_other;

static action *const actions[METER_STATES][EVENTS] = {
    /*                 opened   due             readings  identity       error        other  nothing */
    [METER_ABSENT]   = {opened, nop,            late,     nop,           nop,         nop,   nop},
    [METER_QUIET]    = {opened, quiet_over,     late,     nop,           nop,         nop,   nop},
    [METER_IDENTIFY] = {opened, identify_again, late,     identified,    nop,         keep_words, nop},
    [METER_SETUP]    = {opened, setup_silent,   late,     keep_identity, setup_error, nop,   setup_garbled},
    [METER_LEARN]    = {opened, learn_silent,   late,     keep_identity, learn_refused, learn_other, learn_garbled},
    [METER_IDLE]     = {opened, ask,            late,     keep_identity, nop,         nop,   nop},
    [METER_ASKED]    = {opened, overdue,        answer,   keep_identity, nop,         nop,   answer_garbled},
    [METER_CHECK]    = {opened, overdue,        late,     keep_identity, check_error, nop,   check_over},
    [METER_RESYNC]   = {opened, resync_again,   late,     in_step_again, nop,         nop,   nop},
    [METER_DRAIN]    = {opened, drain_over,     drain_more, drain_more,  drain_more, drain_more, drain_more},
    [METER_FAILED]   = {opened, nop,            late,     nop,           nop,         nop,   nop},
    [METER_UNKNOWN]  = {opened, nop,            late,     nop,           nop,         nop,   nop},
    [METER_LISTEN]   = {opened, nop,            deliver,  nop,           nop,         nop,   nop},
    [METER_REPLAY]   = {opened, nop,            replayed, keep_identity, note_error,  replay_other, nop},
};

static const char *const state_word[METER_STATES] = {
    [METER_ABSENT] = "absent",       [METER_QUIET] = "opening",  [METER_IDENTIFY] = "identifying",
    [METER_SETUP] = "setting up",    [METER_IDLE] = "asked",     [METER_ASKED] = "asked",
    [METER_LEARN] = "asked",         [METER_UNKNOWN] = "function unknown",
    [METER_CHECK] = "asked",         [METER_RESYNC] = "silent",  [METER_DRAIN] = "silent",
    [METER_FAILED] = "set-up refused", [METER_LISTEN] = "listened to", [METER_REPLAY] = "replayed",
};

static void out_of_step(struct meter *m, const char *asked);
static void ask_function(struct meter *m);
static void ask_soon(struct meter *m);
static void next_setup(struct meter *m);

/* ---- small things ---- */

static void changed(struct meter *m)
{
	if (m->hooks.changed)
		m->hooks.changed(m->hooks.arg);
}

static void go(struct meter *m, enum meter_state state, int64_t deadline)
{
	bool another = m->state != state && strcmp(state_word[m->state], state_word[state]) != 0;
	m->state = state;
	m->deadline = deadline;
	if (another)
		changed(m);
}

static void send_line(struct meter *m, const char *command)
{
	char line[METER_COMMAND_MAX + 8];
	int n = snprintf(line, sizeof line, "%s%s", command, m->config.dialect->line_end);
	if (n > 0 && (size_t)n < sizeof line && m->hooks.send)
		m->hooks.send(m->hooks.arg, line, (size_t)n);
}

static void send_identify(struct meter *m)
{
	m->identities_due++;
	send_line(m, m->config.dialect->identify);
}

static void set_why(struct meter *m, const char *why)
{
	bool another = strcmp(m->why, why) != 0;
	snprintf(m->why, sizeof m->why, "%s", why);
	if (another)
		changed(m);
}

static void say_silence(struct meter *m, bool silent)
{
	if (m->silent == silent)
		return;
	m->silent = silent;
	if (m->hooks.silence)
		m->hooks.silence(m->hooks.arg, m->now, silent);
}

static const char *query_of(const struct meter *m)
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
static void set_function(struct meter *m, enum function f)
{
	m->setting.function = f;
	m->setting.has_digit = m->config.has_digit[f];
	m->setting.digit = m->config.digit[f];
	memset(&m->memory, 0, sizeof m->memory);
}

/* After it was out of step: what was known of its readings is not gone by any more. */
static void shaken(struct meter *m)
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

static void deliver(struct meter *m, const struct understood *u)
{
	for (int i = 0; i < u->count; i++) {
		m->counters.readings++;
		if (m->hooks.reading)
			m->hooks.reading(m->hooks.arg, &u->reading[i]);
	}
}

static void keep_identity(struct meter *m, const struct understood *u)
{
	if (strcmp(m->identity, u->text) == 0)
		return;
	snprintf(m->identity, sizeof m->identity, "%s", u->text);
	(void)identity_parse(m->identity, &m->fields);
	changed(m);
}

static void note_error(struct meter *m, const struct understood *u)
{
	if (u->error_number != 0)
		set_why(m, u->text);
}

/* ---- actions: opening, identity, set-up ---- */

static void opened(struct meter *m, const struct understood *u)
{
	(void)u;
	if (m->config.replay)
		go(m, m->config.dialect->asked ? METER_REPLAY : METER_LISTEN, INT64_MAX);
	else if (!m->config.dialect->asked)
		go(m, METER_LISTEN, INT64_MAX);
	else
		go(m, METER_QUIET, m->now + (int64_t)m->config.line.quiet_ms * 1000);
}

/* Send the next set-up command with the error query behind it, or begin to ask. */
static void next_setup(struct meter *m)
{
	if (m->setup >= m->config.setups) {
		ask(m, NULL);
		return;
	}
	m->errors_read = 0;
	m->refused[0] = '\0';
	if (!m->config.dialect->error_query) { /* it cannot be asked whether it took them */
		while (m->setup < m->config.setups)
			send_line(m, m->config.setup[m->setup++]);
		ask(m, NULL);
		return;
	}
	send_line(m, m->config.setup[m->setup]);
	send_line(m, m->config.dialect->error_query);
	go(m, METER_SETUP, m->now + m->config.timeout_us);
}

/* Before the first set-up command: what the queue holds now is not about it (an echo
 * of the opening, say). */
static void begin_setup(struct meter *m)
{
	m->setup = 0;
	if (m->config.setups == 0 || !m->config.dialect->error_query) {
		next_setup(m);
		return;
	}
	m->setup = -1;
	m->errors_read = 0;
	m->refused[0] = '\0';
	send_line(m, m->config.dialect->error_query);
	go(m, METER_SETUP, m->now + m->config.timeout_us);
}

static void quiet_over(struct meter *m, const struct understood *u)
{
	(void)u;
	if (m->config.dialect->clear)
		send_line(m, m->config.dialect->clear);
	if (!m->config.identify || !m->config.dialect->identify) {
		begin_setup(m);
		return;
	}
	send_identify(m);
	go(m, METER_IDENTIFY, m->now + m->config.timeout_us);
}

static void identify_again(struct meter *m, const struct understood *u)
{
	char why[sizeof m->why];
	const char *question = m->config.dialect->identify;
	(void)u;
	m->counters.timeouts++;
	if (m->wordy[0])
		snprintf(why, sizeof why, "it answers %.20s with \"%s\": expected maker, model, serial number "
		         "and firmware with commas between them (identify = no, if it says no more)",
		         question, m->wordy);
	else
		snprintf(why, sizeof why, "it does not answer %.20s: check the cable, the speed and that the "
		         "meter's remote interface is on (identify = no, if it knows no %.20s)", question,
		         question);
	set_why(m, why);
	send_identify(m);
	m->deadline = m->now + m->config.timeout_us;
}

static void identified(struct meter *m, const struct understood *u)
{
	keep_identity(m, u);
	set_why(m, "");
	begin_setup(m);
}

/* What it said that is no identity: for people, if nothing better comes. */
static void keep_words(struct meter *m, const struct understood *u)
{
	if (u->text[0])
		snprintf(m->wordy, sizeof m->wordy, "%.79s", u->text);
}

static void setup_error(struct meter *m, const struct understood *u)
{
	if (u->error_number != 0 && ++m->errors_read < ERRORS_READ_MAX) {
		/* The first one is about the command; the queue is emptied behind it. */
		if (!m->refused[0]) {
			snprintf(m->refused, sizeof m->refused, "%s", u->text);
			m->refused_number = u->error_number;
		}
		send_line(m, m->config.dialect->error_query);
		m->deadline = m->now + m->config.timeout_us;
		return;
	}
	if (m->refused[0] && m->setup >= 0) {
		char why[sizeof m->why];
		const struct scpi_error_kind *kind = scpi_error_kind(m->refused_number);
		snprintf(why, sizeof why, "the meter refused its set-up \"%.60s\": %.120s%s%s%s",
		         m->config.setup[m->setup], m->refused, kind ? " (" : "", kind ? kind->means : "",
		         kind ? ")" : "");
		set_why(m, why);
		go(m, METER_FAILED, INT64_MAX);
		return;
	}
	m->setup++;
	next_setup(m);
}

static void setup_silent(struct meter *m, const struct understood *u)
{
	char why[sizeof m->why];
	(void)u;
	m->counters.timeouts++;
	snprintf(why, sizeof why, "it does not say whether it takes its set-up \"%.60s\" (no answer to "
	         "%.40s)", m->config.setup[m->setup < 0 ? 0 : m->setup], m->config.dialect->error_query);
	set_why(m, why);
	go(m, METER_FAILED, INT64_MAX);
}

/* A spoilt line may have been the answer: ask for the queue once more. */
static void setup_garbled(struct meter *m, const struct understood *u)
{
	(void)u;
	if (++m->errors_read < ERRORS_READ_MAX)
		send_line(m, m->config.dialect->error_query);
}

/* ---- actions: what does it measure ---- */

static void ask_function(struct meter *m)
{
	char question[LEARN_QUESTION_SIZE], why[sizeof m->why];
	const struct learn *l = &m->learn;
	if (learn_question(l, question)) {
		send_line(m, question);
		go(m, METER_LEARN, m->now + m->config.timeout_us);
		return;
	}
	snprintf(why, sizeof why, "it does not say what it measures (asked %.60s: %s%s%s): write what it is "
	         "set to, such as `function = ohm`, in its section", l->questions,
	         l->words[0] ? "\"" : "no answer", l->words, l->words[0] ? "\"" : "");
	set_why(m, why);
	go(m, METER_UNKNOWN, INT64_MAX);
}

/* It said its function: what waited for that is a reading now, or none. */
static void learnt(struct meter *m, enum function f)
{
	switch (learn_said(&m->learn, m->now, f)) {
	case LEARNT_SAME:
		return;
	case LEARNT_READING:
		deliver(m, &m->learn.waiting);
		return;
	case LEARNT_DROPPED:
		m->counters.late++;
		break;
	case LEARNT_OTHER:
		break;
	}
	set_function(m, f);
	changed(m);
}

static void learn_other(struct meter *m, const struct understood *u)
{
	if (u->function != FUNCTION_NONE) {
		learnt(m, u->function);
		ask_soon(m);
	} else if (u->text[0]) { /* the answer, and not one of those known */
		learn_words(&m->learn, u->text, strlen(u->text));
		learn_next(&m->learn);
		ask_function(m);
	}
}

/* Some say at once that they do not know the question. */
static void learn_refused(struct meter *m, const struct understood *u)
{
	if (u->error_number == 0)
		return;
	learn_words(&m->learn, u->text, strlen(u->text));
	learn_next(&m->learn);
	ask_function(m);
}

static void learn_garbled(struct meter *m, const struct understood *u)
{
	(void)u;
	if (!learn_again(&m->learn))
		learn_next(&m->learn);
	ask_function(m);
}

/* No answer: most meters say nothing to a question that they do not know.  One that
 * has answered it before is out of step. */
static void learn_silent(struct meter *m, const struct understood *u)
{
	char asked[LEARN_QUESTION_SIZE], ignored[LEARN_QUESTION_SIZE];
	(void)u;
	(void)learn_question(&m->learn, asked);
	if (m->learn.function == FUNCTION_NONE)
		learn_next(&m->learn);
	if (learn_question(&m->learn, ignored)) {
		out_of_step(m, asked);
	} else {
		m->counters.timeouts++;
		ask_function(m);
	}
}

/* Readings, or an answer that waits until the function is known again. */
static void take_readings(struct meter *m, const struct understood *u)
{
	bool dropped;
	if (learn_take(&m->learn, m->now, u, &dropped))
		deliver(m, u);
	m->counters.late += dropped;
}

static void replayed(struct meter *m, const struct understood *u)
{
	if (m->learn.on && m->learn.function == FUNCTION_NONE)
		m->counters.late++; /* told as a bad frame, see lateness */
	else
		take_readings(m, u);
}

static void replay_other(struct meter *m, const struct understood *u)
{
	if (m->learn.on && u->function != FUNCTION_NONE)
		learnt(m, u->function);
}

/* ---- actions: asking ---- */

static void ask(struct meter *m, const struct understood *u)
{
	(void)u;
	m->ask_next = false;
	if (m->learn.due) {
		ask_function(m);
		return;
	}
	m->asked_at = m->now;
	send_line(m, query_of(m));
	go(m, METER_ASKED, m->now + m->config.timeout_us);
}

/* The next query, once the bytes at hand are through: what stands behind the
 * answer in the same piece was there before the question. */
static void ask_soon(struct meter *m)
{
	int64_t due = m->learn.due ? m->now : m->asked_at + m->config.pace_us;
	m->in_step = true;
	if (due > m->now) {
		go(m, METER_IDLE, due);
		return;
	}
	m->ask_next = true;
	go(m, METER_IDLE, m->now);
}

static void check_queue(struct meter *m)
{
	m->errors_read = 0;
	send_line(m, m->config.dialect->error_query);
	go(m, METER_CHECK, m->now + m->config.timeout_us);
}

/* How long it took. */
static void note_answer(struct meter *m)
{
	m->answers[m->answer_count++ % METER_ANSWERS] = m->now - m->asked_at;
	if (m->answer_count == 2 * METER_ANSWERS)
		m->answer_count = METER_ANSWERS;
}

static void answer(struct meter *m, const struct understood *u)
{
	bool invalid = false;
	set_why(m, "");
	note_answer(m);
	take_readings(m, u);
	for (int i = 0; i < u->count; i++)
		invalid = invalid || (u->reading[i].state & READING_INVALID);
	if (invalid && m->config.dialect->error_query)
		check_queue(m);
	else
		ask_soon(m);
}

static void answer_garbled(struct meter *m, const struct understood *u)
{
	(void)u;
	if (m->config.dialect->error_query)
		check_queue(m);
	else
		ask_soon(m);
}

static void check_error(struct meter *m, const struct understood *u)
{
	if (u->error_number != 0 && ++m->errors_read < ERRORS_READ_MAX) {
		set_why(m, u->text);
		send_line(m, m->config.dialect->error_query);
		m->deadline = m->now + m->config.timeout_us;
		return;
	}
	ask_soon(m);
}

/* The answer about the queue was spoilt: only *IDN? tells where we are. */
static void check_over(struct meter *m, const struct understood *u)
{
	overdue(m, u);
}

/* ---- actions: out of step and back ---- */

static void overdue(struct meter *m, const struct understood *u)
{
	(void)u;
	out_of_step(m, query_of(m));
}

static void out_of_step(struct meter *m, const char *asked)
{
	char why[sizeof m->why];
	m->counters.timeouts++;
	m->counters.resync++;
	m->ask_next = false;
	snprintf(why, sizeof why, "it has not answered %.60s in %.1f s", asked,
	         (double)m->config.timeout_us / 1e6);
	set_why(m, why);
	if (m->config.identify && m->config.dialect->identify) {
		send_identify(m);
		m->patience = m->config.timeout_us;
		go(m, METER_RESYNC, m->now + m->patience);
	} else {
		go(m, METER_DRAIN, m->now + m->config.timeout_us);
	}
	if (m->in_step)
		say_silence(m, true);
}

static void resync_again(struct meter *m, const struct understood *u)
{
	(void)u;
	m->counters.timeouts++;
	if (m->patience < m->config.timeout_us * PATIENCE_TIMES)
		m->patience *= 2;
	else
		m->identities_due = 0; /* silent for so long: they were lost */
	send_identify(m);
	m->deadline = m->now + m->patience;
}

static void in_step_again(struct meter *m, const struct understood *u)
{
	if (m->identities_due > 0) { /* an older *IDN?: more is on its way */
		m->deadline = m->now + m->patience;
		return;
	}
	bool another = strcmp(m->identity, u->text) != 0;
	set_why(m, "");
	shaken(m);
	say_silence(m, false);
	keep_identity(m, u);
	if (another) { /* not the meter that was set up */
		learn_afresh(&m->learn);
		begin_setup(m);
		return;
	}
	if (m->config.dialect->error_query)
		check_queue(m);
	else
		ask_soon(m);
}

/* Something still came: the silence begins anew. */
static void drain_more(struct meter *m, const struct understood *u)
{
	if (u && u->said == SAID_READINGS)
		m->counters.late++;
	m->deadline = m->now + m->config.timeout_us;
}

static void drain_over(struct meter *m, const struct understood *u)
{
	(void)u;
	shaken(m);
	say_silence(m, false);
	m->in_step = false; /* silence is said again only after an answer */
	ask(m, NULL);
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
	if (a == late || a == drain_more)
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
	memset(&u, 0, sizeof u);
	u.said = SAID_NOTHING;
	if (f->fault == FRAME_GOOD)
		m->config.dialect->understand(&m->setting, &m->memory, f, &u);
	else
		snprintf(u.why, sizeof u.why, "%s frame", frame_fault_word(f->fault));
	if (u.said == SAID_IDENTITY && m->identities_due > 0)
		m->identities_due--;
	if (m->state == METER_LEARN && u.said == SAID_READINGS)
		learn_words(&m->learn, f->bytes, f->len); /* a number names no function */
	struct understood told = u;
	bool twice = u.said == SAID_READINGS && comes_twice(m, f);
	const char *no_reading = lateness(m, &u, twice);
	if (no_reading) {
		told.said = SAID_NOTHING;
		told.count = 0;
		snprintf(told.why, sizeof told.why, "%s", no_reading);
	}
	count_frame(m, f, told.said != SAID_NOTHING);
	if (told.said == SAID_READINGS)
		keep_frame(m, f);
	if (m->hooks.frame)
		m->hooks.frame(m->hooks.arg, f, &told);
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
		ask(m, NULL);
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
	set_function(m, meter_config_function(&m->config));
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
	shaken(m);
	frame_finish(&m->splitter, on_frame, m);
	snprintf(m->why, sizeof m->why, "%s", cause);
	go(m, METER_ABSENT, INT64_MAX);
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
	set_function(m, meter_config_function(config));
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
