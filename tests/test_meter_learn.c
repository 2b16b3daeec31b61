/* SPDX-License-Identifier: MIT */
/*
 * What a meter measures, learnt from itself, with a peer that has a dial: which
 * questions it knows, in what form it answers, and when the dial is turned is each
 * row's affair.  What must hold: no reading ever has another function than the dial
 * had when it was measured.
 */
#include "tests/check.h"

#include "daemon/meter.h"

#include <stdlib.h>

#define MS INT64_C(1000)
#define IDN "Lantern Works,LW1,0001,1.0\r\n"

struct heard {
	char sent[1 << 20];
	size_t len, seen;
	struct reading reading[8192];
	int readings, changes;
	char last_why[120];
};

struct stand {
	struct meter meter;
	struct heard heard;
	int64_t t;
};

static void on_send(void *arg, const char *bytes, size_t len)
{
	struct heard *h = arg;
	assert_true(h->len + len < sizeof h->sent);
	memcpy(h->sent + h->len, bytes, len);
	h->len += len;
	h->sent[h->len] = '\0';
}

static void on_frame(void *arg, const struct frame *f, const struct understood *u)
{
	struct heard *h = arg;
	(void)f;
	if (u->said == SAID_NOTHING)
		snprintf(h->last_why, sizeof h->last_why, "%s", u->why);
}

static void on_reading(void *arg, const struct reading *r)
{
	struct heard *h = arg;
	assert_true(h->readings < 8192);
	h->reading[h->readings++] = *r;
}

static void on_changed(void *arg)
{
	struct heard *h = arg;
	h->changes++;
}

static struct stand *stand_new(bool replay, enum function f)
{
	struct meter_config c;
	struct stand *s = calloc(1, sizeof *s);
	assert_non_null(s);
	meter_config_standard(&c, dialect_find("scpi", 4));
	c.function = f;
	c.line.quiet_ms = 0;
	c.replay = replay;
	c.has_digit[FUNCTION_OHM] = true;
	c.digit[FUNCTION_OHM] = (struct decimal){1, -1};
	c.has_digit[FUNCTION_VOLT_DC] = true;
	c.digit[FUNCTION_VOLT_DC] = (struct decimal){1, -4};
	struct meter_hooks hooks = {on_send, on_frame, on_reading, on_changed, NULL, &s->heard};
	meter_begin(&s->meter, &c, &hooks);
	return s;
}

static void pass(struct stand *s, int64_t until)
{
	while (meter_deadline(&s->meter) <= until) {
		if (meter_deadline(&s->meter) > s->t)
			s->t = meter_deadline(&s->meter);
		meter_tick(&s->meter, s->t);
	}
	s->t = until;
}

static void say(struct stand *s, const char *bytes)
{
	meter_bytes(&s->meter, s->t, bytes, strlen(bytes));
}

/* What was sent since this was last asked, lines joined by |. */
static const char *asked(struct stand *s)
{
	static char out[4096];
	size_t n = 0;
	for (; s->heard.seen < s->heard.len && n < sizeof out - 1; s->heard.seen++)
		out[n++] = s->heard.sent[s->heard.seen] == '\n' ? '|' : s->heard.sent[s->heard.seen];
	out[n] = '\0';
	return out;
}

static struct stand *opened(enum function f)
{
	struct stand *s = stand_new(false, f);
	meter_opened(&s->meter, 0);
	pass(s, 1 * MS);
	assert_string_equal(asked(s), "*CLS|*IDN?|");
	say(s, IDN);
	return s;
}

static void asked_after_the_set_up_and_again_when_the_value_jumps(void **state)
{
	struct stand *s = opened(FUNCTION_NONE);
	(void)state;
	assert_string_equal(asked(s), "FUNC?|");
	assert_int_equal(meter_function(&s->meter), FUNCTION_NONE);
	say(s, "\"RES\"\r\n");
	assert_int_equal(meter_function(&s->meter), FUNCTION_OHM);
	assert_string_equal(asked(s), "READ?|");
	/* The first one waits until the function is known on both sides of it. */
	say(s, "+4.7012E+03\r\n");
	assert_int_equal(s->heard.readings, 0);
	assert_string_equal(asked(s), "FUNC?|");
	say(s, "\"RES\"\r\n");
	assert_int_equal(s->heard.readings, 1);
	assert_int_equal(s->heard.reading[0].function, FUNCTION_OHM);
	assert_int_equal(s->heard.reading[0].value.e, -1); /* the digit configured for ohm */
	assert_string_equal(asked(s), "READ?|");
	/* Near the one before: at once. */
	say(s, "+4.7015E+03\r\n");
	assert_int_equal(s->heard.readings, 2);
	assert_string_equal(asked(s), "READ?|");
	/* Somebody turned the dial. */
	say(s, "+1.2501E-02\r\n");
	assert_int_equal(s->heard.readings, 2);
	assert_string_equal(asked(s), "FUNC?|");
	say(s, "\"VOLT\"\r\n");
	assert_int_equal(s->heard.readings, 2); /* on which side of the turn it was, nobody knows */
	assert_int_equal(meter_counters(&s->meter)->late, 1);
	assert_int_equal(meter_function(&s->meter), FUNCTION_VOLT_DC);
	assert_string_equal(asked(s), "READ?|");
	say(s, "+1.2501E-02\r\n");
	say(s, "\"VOLT\"\r\n");
	assert_int_equal(s->heard.readings, 3);
	assert_int_equal(s->heard.reading[2].function, FUNCTION_VOLT_DC);
	assert_int_equal(s->heard.reading[2].value.e, -6); /* finer than the digit: none is dropped */
	free(s);
}

static void what_the_configuration_says_stands_above_it(void **state)
{
	struct stand *s = opened(FUNCTION_FARAD);
	(void)state;
	assert_string_equal(asked(s), "READ?|");
	say(s, "+4.7E-09\r\n+1\r\n");
	say(s, "+9.9E37\r\n");
	assert_int_equal(s->heard.readings, 2);
	assert_int_equal(s->heard.reading[0].function, FUNCTION_FARAD);
	assert_null(strstr(s->heard.sent, "FUNC?"));
	free(s);
}

/* Legend: what it answers to FUNC? and to CONF? (NULL: nothing, as most do to what
 * they do not know); what it is taken for; words of the trouble where it is none. */
static const struct {
	const char *func, *conf;
	enum function function;
	const char *why;
} manners[] = {
    {"\"VOLT:AC\"", NULL, FUNCTION_VOLT_AC, ""},
    {"VOLT", NULL, FUNCTION_VOLT_DC, ""},
    {"\"RESistance\"", NULL, FUNCTION_OHM, ""},
    {"'CAP'", NULL, FUNCTION_FARAD, ""},
    {NULL, "\"FRES +1.000000E+03,+1.000000E-02\"", FUNCTION_OHM, ""},
    {NULL, "CURR:AC 1.0,DEF", FUNCTION_AMP_AC, ""},
    {"1", "\"VOLT:DC 10,AUTO\"", FUNCTION_VOLT_DC, ""},       /* a number names nothing */
    {"-113,\"Undefined header\"", "\"DIOD\"", FUNCTION_DIODE, ""},
    {"\"WOBBLE\"", "\"RES 1e3,0.1\"", FUNCTION_OHM, ""},
    {"\"WOBBLE\"", "\"WOBBLE 3\"", FUNCTION_NONE, "WOBBLE 3"},
    {NULL, NULL, FUNCTION_NONE, "no answer"},
    {"2", "2", FUNCTION_NONE, "function = ohm"},
    {"\"VOLT:DC\",\"CURR:DC\"", NULL, FUNCTION_NONE, "CURR:DC"}, /* two at once */
};

static void it_answers_as_it_may(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof manners / sizeof *manners; i++) {
		struct stand *s = opened(FUNCTION_NONE);
		note_row("%s", manners[i].func ? manners[i].func : "(nothing)");
		for (int turn = 0; turn < 40 && meter_function(&s->meter) == FUNCTION_NONE; turn++) {
			char line[128] = "";
			const char *q = asked(s), *last = strlen(q) > 1 ? q + strlen(q) - 1 : q;
			while (last > q && last[-1] != '|')
				last--;
			const char *a = strncmp(last, "FUNC?", 5) == 0   ? manners[i].func
			                : strncmp(last, "CONF?", 5) == 0 ? manners[i].conf
			                : strncmp(last, "SYST", 4) == 0  ? "0,\"No error\""
			                : strncmp(last, "*IDN", 4) == 0  ? "Lantern Works,LW1,0001,1.0"
			                                                 : NULL;
			if (a)
				snprintf(line, sizeof line, "%s\r\n", a);
			int64_t next = meter_deadline(&s->meter);
			if (a) {
				pass(s, s->t + MS);
				say(s, line);
			} else if (next != INT64_MAX) {
				pass(s, next);
			} else {
				break;
			}
		}
		assert_int_equal(meter_function(&s->meter), manners[i].function);
		assert_int_equal(s->heard.readings, 0);
		if (manners[i].why[0]) {
			assert_string_equal(meter_state_word(&s->meter), "function unknown");
			assert_non_null(strstr(meter_why(&s->meter), manners[i].why));
			asked(s);
			pass(s, s->t + 60000 * MS);
			say(s, "+4.7E+03\r\n");
			assert_int_equal(s->heard.readings, 0);
			assert_string_equal(asked(s), ""); /* it is left alone until it is opened anew */
		}
		free(s);
	}
}

static void a_turn_without_a_jump_is_seen_in_two_seconds(void **state)
{
	struct stand *s = opened(FUNCTION_NONE);
	int volts = 0;
	(void)state;
	for (int i = 0; i < 400; i++) {
		const char *q = asked(s);
		bool turned = s->t > 1000 * MS;
		say(s, strstr(q, "FUNC?") ? turned ? "\"VOLT\"\r\n" : "\"RES\"\r\n" : "0.1\r\n");
		pass(s, s->t + 20 * MS);
	}
	for (int i = 0; i < s->heard.readings; i++) {
		if (s->heard.reading[i].function == FUNCTION_VOLT_DC)
			volts++;
		else
			assert_true(s->heard.reading[i].t < 3100 * MS);
	}
	assert_true(volts > 100);
	free(s);
}

static void out_of_step_and_another_opening_ask_anew(void **state)
{
	struct stand *s = opened(FUNCTION_NONE);
	(void)state;
	say(s, "\"RES\"\r\n+100.0\r\n\"RES\"\r\n");
	assert_int_equal(s->heard.readings, 0); /* all in one piece: nothing of it was asked */
	asked(s);
	say(s, "+100.0\r\n");
	say(s, "\"RES\"\r\n");
	assert_int_equal(s->heard.readings, 1);
	pass(s, s->t + 2500 * MS);
	say(s, "+100.1\r\n" IDN);
	say(s, "0,\"No error\"\r\n");
	assert_string_equal(asked(s), "FUNC?|READ?|*IDN?|SYST:ERR?|FUNC?|");
	say(s, "\"VOLT\"\r\n");
	assert_int_equal(meter_function(&s->meter), FUNCTION_VOLT_DC);
	/* Its function is asked and does not come: it was known, so this is a time-out. */
	say(s, "+5.0\r\n");
	assert_string_equal(asked(s), "READ?|FUNC?|");
	pass(s, s->t + 2500 * MS);
	assert_string_equal(asked(s), "*IDN?|");
	assert_int_equal(s->heard.readings, 1);
	meter_gone(&s->meter, s->t, "unplugged");
	meter_opened(&s->meter, s->t);
	assert_int_equal(meter_function(&s->meter), FUNCTION_NONE);
	free(s);
}

/* A peer whose dial is turned at random, and whose values say what the dial was: its
 * n-th function gives values around 1000^n, or around zero. */
static void no_reading_has_the_wrong_function(void **state)
{
	static const struct {
		const char *word;
		enum function function;
	} dial[] = {{"\"RES\"", FUNCTION_OHM}, {"\"VOLT\"", FUNCTION_VOLT_DC}, {"\"CAP\"", FUNCTION_FARAD}};
	uint32_t seed = 20261125;
	int readings = 0;
	(void)state;
	for (int round = 0; round < 60; round++) {
		struct stand *s = opened(FUNCTION_NONE);
		int at = 0, since = 0;
		for (int step = 0; step < 400; step++) {
			char line[64];
			const char *q = asked(s);
			seed = seed * 1664525u + 1013904223u;
			pass(s, s->t + (int64_t)(seed >> 28) * MS + MS);
			/* There and back between two questions is faster than any hand. */
			if (since++ > 3 && (seed >> 8) % 8 == 0) {
				at = (int)((seed >> 12) % 3);
				since = 0;
			}
			if (strstr(q, "FUNC?"))
				snprintf(line, sizeof line, "%s\r\n", dial[at].word);
			else if (strstr(q, "READ?"))
				snprintf(line, sizeof line, "+%d.%dE%d\r\n", 2 + at, (int)((seed >> 16) % 3), 3 * at);
			else
				continue;
			say(s, line);
		}
		for (int i = 0; i < s->heard.readings; i++) {
			const struct reading *r = &s->heard.reading[i];
			double v = decimal_double(r->value);
			int was = v < 10 ? 0 : v < 10000 ? 1 : 2;
			assert_int_equal(r->function, dial[was].function);
		}
		readings += s->heard.readings;
		free(s);
	}
	assert_true(readings > 5000);
}

/* The tape of a live session gives the same readings, for the same answers wait. */
static void a_replay_learns_the_same(void **state)
{
	static const char *const tape[] = {"\"RES\"\r\n", "+100.1\r\n", "\"RES\"\r\n", "+100.2\r\n",
	                                   "+5.001\r\n", "\"VOLT\"\r\n", "+5.002\r\n", "\"VOLT\"\r\n",
	                                   "+9.9E37\r\n", "\"VOLT\"\r\n", "+5.003\r\n", "\"VOLT\"\r\n"};
	struct stand *live = opened(FUNCTION_NONE), *again = stand_new(true, FUNCTION_NONE);
	(void)state;
	/* Nobody can say what a number is before the meter has said so. */
	say(again, "+77\r\n");
	assert_int_equal(again->heard.readings, 0);
	assert_non_null(strstr(again->heard.last_why, "not said yet what it measures"));
	for (size_t i = 0; i < sizeof tape / sizeof *tape; i++) {
		pass(live, live->t + 20 * MS);
		again->t = live->t;
		say(live, tape[i]);
		say(again, tape[i]);
	}
	assert_int_equal(live->heard.readings, 5);
	assert_int_equal(again->heard.readings, 5);
	for (int i = 0; i < 5; i++) {
		assert_int_equal(again->heard.reading[i].t, live->heard.reading[i].t);
		assert_int_equal(again->heard.reading[i].function, live->heard.reading[i].function);
		assert_int_equal(again->heard.reading[i].value.n, live->heard.reading[i].value.n);
		assert_int_equal(again->heard.reading[i].value.e, live->heard.reading[i].value.e);
		assert_int_equal(again->heard.reading[i].state, live->heard.reading[i].state);
	}
	assert_int_equal(again->heard.len, 0);
	free(live);
	free(again);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(asked_after_the_set_up_and_again_when_the_value_jumps),
	    cmocka_unit_test(what_the_configuration_says_stands_above_it),
	    cmocka_unit_test(it_answers_as_it_may),
	    cmocka_unit_test(a_turn_without_a_jump_is_seen_in_two_seconds),
	    cmocka_unit_test(out_of_step_and_another_opening_ask_anew),
	    cmocka_unit_test(no_reading_has_the_wrong_function),
	    cmocka_unit_test(a_replay_learns_the_same),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
