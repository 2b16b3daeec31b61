/* SPDX-License-Identifier: MIT */
/* One meter's machine, with time that a test moves on, and everything that it does written down. */
#ifndef TALLY_TESTS_METER_STAND_H
#define TALLY_TESTS_METER_STAND_H

#include "tests/check.h"

#include "daemon/meter.h"

#include <stdbool.h>
#include <stdlib.h>

#define MS INT64_C(1000)
#define EVENTS_MAX 4096

struct heard {
	char sent[65536];
	size_t sent_len, sent_seen;
	struct reading reading[EVENTS_MAX];
	int readings;
	int bad_frames, good_frames;
	int silences, backs;
	int64_t silent_at[64], back_at[64];
	char last_why[120];
};

static inline void on_send(void *arg, const char *bytes, size_t len)
{
	struct heard *h = arg;
	assert_true(h->sent_len + len < sizeof h->sent);
	memcpy(h->sent + h->sent_len, bytes, len);
	h->sent_len += len;
	h->sent[h->sent_len] = '\0';
}

static inline void on_frame(void *arg, const struct frame *f, const struct understood *u)
{
	struct heard *h = arg;
	(void)f;
	if (u->said == SAID_NOTHING) {
		h->bad_frames++;
		snprintf(h->last_why, sizeof h->last_why, "%s", u->why);
	} else {
		h->good_frames++;
	}
}

static inline void on_reading(void *arg, const struct reading *r)
{
	struct heard *h = arg;
	assert_true(h->readings < EVENTS_MAX);
	h->reading[h->readings++] = *r;
}

static inline void on_silence(void *arg, int64_t t, bool silent)
{
	struct heard *h = arg;
	assert_true(h->silences < 64 && h->backs < 64);
	if (silent)
		h->silent_at[h->silences++] = t;
	else
		h->back_at[h->backs++] = t;
}

struct stand {
	struct meter meter;
	struct heard heard;
	int64_t t;
};

static inline const struct dialect *find(const char *name)
{
	const struct dialect *d = dialect_find(name, strlen(name));
	assert_non_null(d);
	return d;
}

static inline struct stand *stand_new(const struct meter_config *c)
{
	struct stand *s = calloc(1, sizeof *s);
	assert_non_null(s);
	struct meter_hooks hooks = {on_send, on_frame, on_reading, NULL, on_silence, &s->heard};
	meter_begin(&s->meter, c, &hooks);
	return s;
}

static inline struct meter_config scpi_config(void)
{
	struct meter_config c;
	meter_config_standard(&c, find("scpi"));
	c.function = FUNCTION_OHM;
	c.line.quiet_ms = 0;
	return c;
}

/* Let time pass; timers fire in order. */
static inline void pass(struct stand *s, int64_t until)
{
	while (meter_deadline(&s->meter) <= until) {
		int64_t at = meter_deadline(&s->meter);
		if (at > s->t)
			s->t = at;
		meter_tick(&s->meter, s->t);
	}
	s->t = until;
}

static inline void say(struct stand *s, const char *bytes)
{
	meter_bytes(&s->meter, s->t, bytes, strlen(bytes));
}

/* What was sent since this was last asked, lines joined by |. */
static inline const char *asked(struct stand *s)
{
	static char out[4096];
	size_t n = 0;
	for (size_t i = s->heard.sent_seen; i < s->heard.sent_len && n < sizeof out - 1; i++)
		if (s->heard.sent[i] != '\r')
			out[n++] = s->heard.sent[i] == '\n' ? '|' : s->heard.sent[i];
	out[n] = '\0';
	s->heard.sent_seen = s->heard.sent_len;
	return out;
}

#define IDN "Lantern Works,LW1,0001,1.0\r\n"

static inline struct stand *in_step(const struct meter_config *c)
{
	struct stand *s = stand_new(c);
	meter_opened(&s->meter, 0);
	pass(s, 1 * MS);
	assert_string_equal(asked(s), "*CLS|*IDN?|");
	say(s, IDN);
	assert_string_equal(asked(s), "READ?|");
	return s;
}

#endif
