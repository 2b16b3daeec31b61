/* SPDX-License-Identifier: MIT */
/*
 * A meter from its opening to its first query: who it is, its set-up commands, each with the
 * error queue behind it, and what it measures where nobody said so (see meter.c).
 */
#include "daemon/meter_parts.h"

#include "protocol/meter/scpi.h"

#include <stdio.h>
#include <string.h>

/* ---- identity, set-up ---- */

/* Send the next set-up command with the error query behind it, or begin to ask. */
static void next_setup(struct meter *m)
{
	if (m->setup >= m->config.setups) {
		meter_ask(m, NULL);
		return;
	}
	m->errors_read = 0;
	m->refused[0] = '\0';
	if (!m->config.dialect->error_query) { /* it cannot be asked whether it took them */
		while (m->setup < m->config.setups)
			meter_send_line(m, m->config.setup[m->setup++]);
		meter_ask(m, NULL);
		return;
	}
	meter_send_line(m, m->config.setup[m->setup]);
	meter_send_line(m, m->config.dialect->error_query);
	meter_go(m, METER_SETUP, m->now + m->config.timeout_us);
}

/* Before the first set-up command: what the queue holds now is not about it (an echo
 * of the opening, say). */
void meter_begin_setup(struct meter *m)
{
	m->setup = 0;
	if (m->config.setups == 0 || !m->config.dialect->error_query) {
		next_setup(m);
		return;
	}
	m->setup = -1;
	m->errors_read = 0;
	m->refused[0] = '\0';
	meter_send_line(m, m->config.dialect->error_query);
	meter_go(m, METER_SETUP, m->now + m->config.timeout_us);
}

void meter_quiet_over(struct meter *m, const struct understood *u)
{
	(void)u;
	if (m->config.dialect->clear)
		meter_send_line(m, m->config.dialect->clear);
	if (!m->config.identify || !m->config.dialect->identify) {
		meter_begin_setup(m);
		return;
	}
	meter_send_identify(m);
	meter_go(m, METER_IDENTIFY, m->now + m->config.timeout_us);
}

void meter_identify_again(struct meter *m, const struct understood *u)
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
	meter_set_why(m, why);
	meter_send_identify(m);
	m->deadline = m->now + m->config.timeout_us;
}

void meter_identified(struct meter *m, const struct understood *u)
{
	meter_keep_identity(m, u);
	meter_set_why(m, "");
	meter_begin_setup(m);
}

/* What it said that is no identity: for people, if nothing better comes. */
void meter_keep_words(struct meter *m, const struct understood *u)
{
	if (u->text[0])
		snprintf(m->wordy, sizeof m->wordy, "%.79s", u->text);
}

void meter_setup_error(struct meter *m, const struct understood *u)
{
	if (u->error_number != 0 && ++m->errors_read < ERRORS_READ_MAX) {
		/* The first one is about the command; the queue is emptied behind it. */
		if (!m->refused[0]) {
			snprintf(m->refused, sizeof m->refused, "%s", u->text);
			m->refused_number = u->error_number;
		}
		meter_send_line(m, m->config.dialect->error_query);
		m->deadline = m->now + m->config.timeout_us;
		return;
	}
	if (m->refused[0] && m->setup >= 0) {
		char why[sizeof m->why];
		const struct scpi_error_kind *kind = scpi_error_kind(m->refused_number);
		snprintf(why, sizeof why, "the meter refused its set-up \"%.60s\": %.120s%s%s%s",
		         m->config.setup[m->setup], m->refused, kind ? " (" : "", kind ? kind->means : "",
		         kind ? ")" : "");
		meter_set_why(m, why);
		meter_go(m, METER_FAILED, INT64_MAX);
		return;
	}
	m->setup++;
	next_setup(m);
}

void meter_setup_silent(struct meter *m, const struct understood *u)
{
	char why[sizeof m->why];
	(void)u;
	m->counters.timeouts++;
	snprintf(why, sizeof why, "it does not say whether it takes its set-up \"%.60s\" (no answer to "
	         "%.40s)", m->config.setup[m->setup < 0 ? 0 : m->setup], m->config.dialect->error_query);
	meter_set_why(m, why);
	meter_go(m, METER_FAILED, INT64_MAX);
}

/* A spoilt line may have been the answer: ask for the queue once more. */
void meter_setup_garbled(struct meter *m, const struct understood *u)
{
	(void)u;
	if (++m->errors_read < ERRORS_READ_MAX)
		meter_send_line(m, m->config.dialect->error_query);
}

/* ---- actions: what does it measure ---- */

void meter_ask_function(struct meter *m)
{
	char question[LEARN_QUESTION_SIZE], why[sizeof m->why];
	const struct learn *l = &m->learn;
	if (learn_question(l, question)) {
		meter_send_line(m, question);
		meter_go(m, METER_LEARN, m->now + m->config.timeout_us);
		return;
	}
	snprintf(why, sizeof why, "it does not say what it measures (asked %.60s: %s%s%s): write what it is "
	         "set to, such as `function = ohm`, in its section", l->questions,
	         l->words[0] ? "\"" : "no answer", l->words, l->words[0] ? "\"" : "");
	meter_set_why(m, why);
	meter_go(m, METER_UNKNOWN, INT64_MAX);
}

/* It said its function: what waited for that is a reading now, or none. */
void meter_learnt(struct meter *m, enum function f)
{
	switch (learn_said(&m->learn, m->now, f)) {
	case LEARNT_SAME:
		return;
	case LEARNT_READING:
		meter_deliver(m, &m->learn.waiting);
		return;
	case LEARNT_DROPPED:
		m->counters.late++;
		break;
	case LEARNT_OTHER:
		break;
	}
	meter_set_function(m, f);
	meter_changed(m);
}

void meter_learn_other(struct meter *m, const struct understood *u)
{
	if (u->function != FUNCTION_NONE) {
		meter_learnt(m, u->function);
		meter_ask_soon(m);
	} else if (u->text[0]) { /* the answer, and not one of those known */
		learn_words(&m->learn, u->text, strlen(u->text));
		learn_next(&m->learn);
		meter_ask_function(m);
	}
}

/* Some say at once that they do not know the question. */
void meter_learn_refused(struct meter *m, const struct understood *u)
{
	if (u->error_number == 0)
		return;
	learn_words(&m->learn, u->text, strlen(u->text));
	learn_next(&m->learn);
	meter_ask_function(m);
}

void meter_learn_garbled(struct meter *m, const struct understood *u)
{
	(void)u;
	if (!learn_again(&m->learn))
		learn_next(&m->learn);
	meter_ask_function(m);
}

/* No answer: most meters say nothing to a question that they do not know.  One that
 * has answered it before is out of step. */
void meter_learn_silent(struct meter *m, const struct understood *u)
{
	char asked[LEARN_QUESTION_SIZE], ignored[LEARN_QUESTION_SIZE];
	(void)u;
	(void)learn_question(&m->learn, asked);
	if (m->learn.function == FUNCTION_NONE)
		learn_next(&m->learn);
	if (learn_question(&m->learn, ignored)) {
		meter_out_of_step(m, asked);
	} else {
		m->counters.timeouts++;
		meter_ask_function(m);
	}
}
