/* SPDX-License-Identifier: MIT */
/*
 * A meter that is asked: query and answer, an answer that is no value, one that is overdue,
 * and how it comes back into step (see meter.c).
 */
#include "daemon/meter_parts.h"

#include <stdio.h>
#include <string.h>

/* A meter that is slower than its time-out would never catch up if it were asked
 * *IDN? at that pace: the wait doubles so many times.  After so long a silence
 * nothing is on its way any more. */
#define PATIENCE_TIMES 8
/* ---- actions: asking ---- */

void meter_ask(struct meter *m, const struct understood *u)
{
	(void)u;
	m->ask_next = false;
	if (m->learn.due) {
		meter_ask_function(m);
		return;
	}
	m->asked_at = m->now;
	meter_send_line(m, meter_query_of(m));
	meter_go(m, METER_ASKED, m->now + m->config.timeout_us);
}

/* The next query, once the bytes at hand are through: what stands behind the
 * answer in the same piece was there before the question. */
void meter_ask_soon(struct meter *m)
{
	int64_t due = m->learn.due ? m->now : m->asked_at + m->config.pace_us;
	m->in_step = true;
	if (due > m->now) {
		meter_go(m, METER_IDLE, due);
		return;
	}
	m->ask_next = true;
	meter_go(m, METER_IDLE, m->now);
}

static void check_queue(struct meter *m)
{
	m->errors_read = 0;
	meter_send_line(m, m->config.dialect->error_query);
	meter_go(m, METER_CHECK, m->now + m->config.timeout_us);
}

/* How long it took. */
static void note_answer(struct meter *m)
{
	m->answers[m->answer_count++ % METER_ANSWERS] = m->now - m->asked_at;
	if (m->answer_count == 2 * METER_ANSWERS)
		m->answer_count = METER_ANSWERS;
}

void meter_answer(struct meter *m, const struct understood *u)
{
	bool invalid = false;
	meter_set_why(m, "");
	note_answer(m);
	meter_take_readings(m, u);
	for (int i = 0; i < u->count; i++)
		invalid = invalid || (u->reading[i].state & READING_INVALID);
	if (invalid && m->config.dialect->error_query)
		check_queue(m);
	else
		meter_ask_soon(m);
}

void meter_answer_garbled(struct meter *m, const struct understood *u)
{
	(void)u;
	if (m->config.dialect->error_query)
		check_queue(m);
	else
		meter_ask_soon(m);
}

void meter_check_error(struct meter *m, const struct understood *u)
{
	if (u->error_number != 0 && ++m->errors_read < ERRORS_READ_MAX) {
		meter_set_why(m, u->text);
		meter_send_line(m, m->config.dialect->error_query);
		m->deadline = m->now + m->config.timeout_us;
		return;
	}
	meter_ask_soon(m);
}

/* The answer about the queue was spoilt: only *IDN? tells where we are. */
void meter_check_over(struct meter *m, const struct understood *u)
{
	meter_overdue(m, u);
}

/* ---- actions: out of step and back ---- */

void meter_overdue(struct meter *m, const struct understood *u)
{
	(void)u;
	meter_out_of_step(m, meter_query_of(m));
}

void meter_out_of_step(struct meter *m, const char *asked)
{
	char why[sizeof m->why];
	m->counters.timeouts++;
	m->counters.resync++;
	m->ask_next = false;
	snprintf(why, sizeof why, "it has not answered %.60s in %.1f s", asked,
	         (double)m->config.timeout_us / 1e6);
	meter_set_why(m, why);
	if (m->config.identify && m->config.dialect->identify) {
		meter_send_identify(m);
		m->patience = m->config.timeout_us;
		meter_go(m, METER_RESYNC, m->now + m->patience);
	} else {
		meter_go(m, METER_DRAIN, m->now + m->config.timeout_us);
	}
	if (m->in_step)
		meter_say_silence(m, true);
}

void meter_resync_again(struct meter *m, const struct understood *u)
{
	(void)u;
	m->counters.timeouts++;
	if (m->patience < m->config.timeout_us * PATIENCE_TIMES)
		m->patience *= 2;
	else
		m->identities_due = 0; /* silent for so long: they were lost */
	meter_send_identify(m);
	m->deadline = m->now + m->patience;
}

void meter_in_step_again(struct meter *m, const struct understood *u)
{
	if (m->identities_due > 0) { /* an older *IDN?: more is on its way */
		m->deadline = m->now + m->patience;
		return;
	}
	bool another = strcmp(m->identity, u->text) != 0;
	meter_set_why(m, "");
	meter_shaken(m);
	meter_say_silence(m, false);
	meter_keep_identity(m, u);
	if (another) { /* not the meter that was set up */
		learn_afresh(&m->learn);
		meter_begin_setup(m);
		return;
	}
	if (m->config.dialect->error_query)
		check_queue(m);
	else
		meter_ask_soon(m);
}

/* Something still came: the silence begins anew. */
void meter_drain_more(struct meter *m, const struct understood *u)
{
	if (u && u->said == SAID_READINGS)
		m->counters.late++;
	m->deadline = m->now + m->config.timeout_us;
}

void meter_drain_over(struct meter *m, const struct understood *u)
{
	(void)u;
	meter_shaken(m);
	meter_say_silence(m, false);
	m->in_step = false; /* silence is said again only after an answer */
	meter_ask(m, NULL);
}
