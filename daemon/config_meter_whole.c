/* SPDX-License-Identifier: MIT */
/* What the keys of a whole section [meter NAME] mean beside each other: see config_meter.h. */
#include "daemon/config_meter.h"

#include "protocol/meter/scpi.h"

#include <stdio.h>
#include <string.h>

static bool at_section(const struct meter_draft *d, struct fault *why, const char *text)
{
	fault_at(why, d->file, d->line, d->column, "meter %s %s", d->meter->name, text);
	return false;
}

static void settings_join(struct meter_draft *d)
{
	struct line_settings *s = &d->meter->serial;
	*s = d->meter->dialect->line;
	if (d->given[KEY_SERIAL].line) {
		s->baud = d->serial.baud;
		s->bits = d->serial.bits;
		s->parity = d->serial.parity;
		s->stop = d->serial.stop;
	}
	if (d->given[KEY_FLOW].line)
		s->flow = d->serial.flow;
	if (d->given[KEY_DTR].line)
		s->dtr = d->serial.dtr;
	if (d->given[KEY_RTS].line)
		s->rts = d->serial.rts;
	if (d->given[KEY_QUIET].line)
		s->quiet_ms = d->serial.quiet_ms;
}

/* What an asked meter measures: `function`, else its query, else its set-up; where
 * two of them say something it must be the same. */
static bool asked_function(struct meter_draft *d, struct fault *why)
{
	struct config_meter *m = d->meter;
	enum function by_query = scpi_function(m->query, strlen(m->query));
	enum function by_setup = FUNCTION_NONE;
	for (int i = 0; i < m->setups; i++) {
		enum function f = scpi_function(m->setup[i], strlen(m->setup[i]));
		by_setup = f == FUNCTION_NONE ? by_setup : f;
	}
	enum meter_key key = by_query != FUNCTION_NONE ? KEY_QUERY : KEY_SETUP;
	enum function said = by_query != FUNCTION_NONE ? by_query : by_setup;
	if (said != FUNCTION_NONE && m->function != FUNCTION_NONE && said != m->function) {
		struct key_place at = d->given[d->given[key].line ? key : KEY_FUNCTION];
		fault_at(why, d->file, at.line, at.value_column,
		         "%s measures %s here, but `function` says %s",
		         key == KEY_QUERY ? "the query" : "the set-up", function_name(said),
		         function_name(m->function));
		return false;
	}
	if (m->function == FUNCTION_NONE)
		m->function = said;
	/* Nothing says it: the meter is asked, if it can be. */
	if (m->function == FUNCTION_NONE && m->dialect->bare && !m->dialect->learn)
		return at_section(d, why,
		                  "is asked, and nothing says what it measures: expected `function = "
		                  "ohm`, or a set-up such as `setup = CONF:RES`");
	return true;
}

/* The dialect's own set-up, whose loader saw to its lengths. */
static void dialect_setup(struct config_meter *m)
{
	const char *from = m->dialect->setup;
	while (from && m->setups < CONFIG_SETUP_MAX) {
		const char *bar = strstr(from, " | ");
		int len = bar ? (int)(bar - from) : (int)strlen(from);
		snprintf(m->setup[m->setups++], CONFIG_COMMAND_SIZE, "%.*s", len, from);
		from = bar ? bar + 3 : NULL;
	}
}

/* FETC? gives the last measurement again, however often it is asked; READ?, MEAS? and
 * whatever else make one. */
static bool fetches(const char *query)
{
	const char *word = query + (*query == ':');
	return scpi_mnemonic("FETCh", word, strcspn(word, ":?; "));
}

static bool asked_finish(struct meter_draft *d, struct fault *why)
{
	struct config_meter *m = d->meter;
	if (!d->given[KEY_SETUP].line)
		dialect_setup(m);
	m->identify = d->identify && m->dialect->identify;
	if (!m->query[0] && m->dialect->query)
		snprintf(m->query, sizeof m->query, "%s", m->dialect->query);
	if (!m->query[0])
		return at_section(d, why, "is asked, and nothing says how: expected `query = ...`");
	if (!d->given[KEY_PACE].line && fetches(m->query))
		m->pace_us = INT64_C(100000);
	return asked_function(d, why);
}

/* Nothing is ever sent to a meter that is listened to: keys that would are errors. */
static bool listened_finish(struct meter_draft *d, struct fault *why)
{
	if (d->meter->dialect->bare && d->meter->function == FUNCTION_NONE)
		return at_section(d, why, "sends bare numbers, and nothing says what they are: expected "
		                  "`function = ohm`, for one");
	const struct key_place *at;
	const char *key = meter_asking_key(d, &at);
	if (key)
		fault_at(why, d->file, at->line, at->column,
		         "`%s` does not go with the dialect %s, which is listened to: nothing is sent", key,
		         d->meter->dialect->name);
	return !key;
}

bool meter_finish(struct meter_draft *d, bool replay, struct fault *why)
{
	struct config_meter *m = d->meter;
	if (!m->dialect)
		return at_section(d, why, "has no dialect: expected `dialect = ...`");
	if (!m->has_place && !replay)
		return at_section(d, why, "has no port: expected `port = ...`");
	if (m->function == FUNCTION_NONE)
		m->function = dialects_function(d->dialects, m->dialect);
	settings_join(d);
	if (m->serial.flow == FLOW_HARDWARE && d->given[KEY_RTS].line &&
	    d->serial.rts != WIRE_LEAVE) {
		fault_at(why, d->file, d->given[KEY_RTS].line, d->given[KEY_RTS].column,
		         "`rts` belongs to the flow control where that is hardware: leave it out");
		return false;
	}
	return m->dialect->asked ? asked_finish(d, why) : listened_finish(d, why);
}
