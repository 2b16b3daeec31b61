/* SPDX-License-Identifier: MIT */
/*
 * One meter's machine against a peer that answers as it is told: late, doubled,
 * garbled, cut in two, all at once, or not at all.  What must hold each time: a
 * reading that was not the answer to the question that is out is no reading.
 */
#include "tests/meter_stand.h"

/* ---- listened meters ---- */

static void nothing_is_sent_on_a_listened_line(void **state)
{
	struct meter_config c;
	(void)state;
	meter_config_standard(&c, find("ascii-unit"));
	struct stand *s = stand_new(&c);
	meter_opened(&s->meter, 0);
	pass(s, 100 * MS);
	for (int i = 0; i < 50; i++) {
		say(s, i % 5 ? "+47.05 kOhm\r\n" : "gar\x01" "bage\r\n");
		pass(s, s->t + 250 * MS);
	}
	meter_gone(&s->meter, s->t, "unplugged");
	pass(s, s->t + 1000 * MS);
	meter_opened(&s->meter, s->t);
	pass(s, s->t + 100 * MS);
	say(s, "+47.05 kOhm\r\n");
	assert_int_equal(s->heard.sent_len, 0);
	assert_int_equal(s->heard.readings, 41);
	assert_int_equal(meter_counters(&s->meter)->bad, 10);
	assert_int_equal(meter_counters(&s->meter)->reconnects, 1);
	free(s);
}

static void the_first_fragment_is_no_reading(void **state)
{
	struct meter_config c;
	(void)state;
	meter_config_standard(&c, find("ascii-unit"));
	struct stand *s = stand_new(&c);
	meter_opened(&s->meter, 0);
	pass(s, 3 * MS);
	say(s, "7.05 kOhm\r\n"); /* the rest of 47.05 kOhm */
	assert_int_equal(s->heard.readings, 0);
	assert_int_equal(s->heard.bad_frames, 1);
	pass(s, 250 * MS);
	say(s, "+47.05 kOhm\r\n");
	assert_int_equal(s->heard.readings, 1);
	free(s);
}

/* ---- set-up ---- */

static void set_up_is_checked_command_by_command(void **state)
{
	struct meter_config c = scpi_config();
	(void)state;
	snprintf(c.setup[0], METER_COMMAND_MAX, "CONF:RES");
	snprintf(c.setup[1], METER_COMMAND_MAX, "RES:NPLC 1");
	c.setups = 2;
	struct stand *s = stand_new(&c);
	meter_opened(&s->meter, 0);
	pass(s, 1 * MS);
	assert_string_equal(asked(s), "*CLS|*IDN?|");
	say(s, IDN);
	/* What the queue holds now is not about the set-up. */
	assert_string_equal(asked(s), "SYST:ERR?|");
	say(s, "-101,\"Invalid character\"\r\n");
	assert_string_equal(asked(s), "SYST:ERR?|");
	say(s, "0,\"No error\"\r\n");
	assert_string_equal(asked(s), "CONF:RES|SYST:ERR?|");
	say(s, "+0,\"No error\"\r\n");
	assert_string_equal(asked(s), "RES:NPLC 1|SYST:ERR?|");
	say(s, "0,\"No error\"\n");
	assert_string_equal(asked(s), "READ?|");
	assert_string_equal(meter_identity(&s->meter), "Lantern Works,LW1,0001,1.0");
	say(s, "+4.70123E+03\r\n");
	assert_int_equal(s->heard.readings, 1);
	assert_int_equal(s->heard.reading[0].function, FUNCTION_OHM);
	free(s);
}

static void a_refused_set_up_is_named_and_nothing_is_guessed(void **state)
{
	struct meter_config c = scpi_config();
	(void)state;
	snprintf(c.setup[0], METER_COMMAND_MAX, "CONF:RSE");
	c.setups = 1;
	struct stand *s = stand_new(&c);
	meter_opened(&s->meter, 0);
	pass(s, 1 * MS);
	say(s, IDN);
	say(s, "0,\"No error\"\r\n");
	asked(s);
	say(s, "-113,\"Undefined header\"\r\n");
	assert_string_equal(asked(s), "SYST:ERR?|");
	say(s, "0,\"No error\"\r\n");
	assert_string_equal(asked(s), "");
	assert_non_null(strstr(meter_why(&s->meter), "CONF:RSE"));
	assert_non_null(strstr(meter_why(&s->meter), "-113"));
	pass(s, s->t + 60000 * MS);
	say(s, "+4.7E+03\r\n");
	assert_int_equal(s->heard.readings, 0);
	assert_string_equal(asked(s), "");
	/* Another opening tries again. */
	meter_gone(&s->meter, s->t, "unplugged");
	meter_opened(&s->meter, s->t + MS);
	pass(s, s->t + 2 * MS);
	assert_string_equal(asked(s), "*CLS|*IDN?|");
	free(s);
}

static void the_pace_is_kept(void **state)
{
	struct meter_config c = scpi_config();
	(void)state;
	c.pace_us = 200 * MS;
	struct stand *s = in_step(&c);
	int64_t first = s->t;
	for (int i = 0; i < 10; i++) {
		pass(s, s->t + 10 * MS);
		say(s, "+1.0E+03\r\n");
		assert_string_equal(asked(s), "");
		pass(s, first + (i + 1) * 200 * MS);
		assert_string_equal(asked(s), "READ?|");
	}
	free(s);
}

static void another_meter_on_the_line_is_set_up_anew(void **state)
{
	struct meter_config c = scpi_config();
	(void)state;
	snprintf(c.setup[0], METER_COMMAND_MAX, "CONF:RES");
	c.setups = 1;
	struct stand *s = stand_new(&c);
	meter_opened(&s->meter, 0);
	pass(s, 1 * MS);
	say(s, IDN);
	say(s, "0,\"No error\"\r\n");
	say(s, "0,\"No error\"\r\n");
	assert_string_equal(asked(s), "*CLS|*IDN?|SYST:ERR?|CONF:RES|SYST:ERR?|READ?|");
	pass(s, s->t + 2500 * MS);
	asked(s);
	say(s, "Lantern Works,LW2,0007,2.0\r\n");
	assert_string_equal(asked(s), "SYST:ERR?|");
	say(s, "0,\"No error\"\r\n");
	assert_string_equal(asked(s), "CONF:RES|SYST:ERR?|");
	free(s);
}

/* ---- live and replay of the same bytes ---- */

static void a_replay_of_the_tape_makes_the_same_readings(void **state)
{
	struct meter_config c = scpi_config();
	(void)state;
	struct stand *live = in_step(&c);
	struct { int64_t t; const char *text; } line[] = {
	    {10, "+1.0E+03\r\n"}, {20, "+1.1E+03\r\n"}, {2500, "+1.2E+03\r\n"}, {2600, IDN},
	    {2601, "0,\"No error\"\r\n"}, {2610, "+1.3E+03\r\n"}, {2700, "+9.9E+37\r\n"},
	    {2800, "+1.31E+03\r\n"}};
	c.replay = true;
	struct stand *again = stand_new(&c);
	int silences = 0, backs = 0;
	for (size_t i = 0; i < sizeof line / sizeof *line; i++) {
		pass(live, line[i].t * MS);
		if (live->heard.silences > silences)
			meter_gone(&again->meter, live->heard.silent_at[silences++], "time-out");
		say(live, line[i].text);
		again->t = line[i].t * MS;
		say(again, line[i].text);
		if (live->heard.backs > backs)
			meter_opened(&again->meter, live->heard.back_at[backs++]);
	}
	assert_int_equal(silences, 1);
	assert_int_equal(live->heard.readings, 5);
	assert_int_equal(again->heard.readings, live->heard.readings);
	for (int i = 0; i < live->heard.readings; i++) {
		const struct reading *a = &live->heard.reading[i], *b = &again->heard.reading[i];
		assert_int_equal(a->t, b->t);
		assert_int_equal(a->value.n, b->value.n);
		assert_int_equal(a->value.e, b->value.e);
		assert_int_equal(a->state, b->state);
	}
	assert_int_equal(again->heard.sent_len, 0);
	free(live);
	free(again);
}

static void the_last_frames_are_kept(void **state)
{
	struct meter_config c;
	char frames[METER_FRAMES][METER_FRAME_TEXT];
	(void)state;
	meter_config_standard(&c, find("ascii-unit"));
	struct stand *s = stand_new(&c);
	meter_opened(&s->meter, 0);
	for (int i = 0; i < 20; i++) {
		char line[32];
		pass(s, s->t + 250 * MS);
		snprintf(line, sizeof line, "+%d.5 Ohm\r\n", 10 + i);
		say(s, line);
		say(s, "spoilt\r\n");
	}
	assert_int_equal(meter_last_frames(&s->meter, METER_FRAMES, frames), METER_FRAMES);
	assert_string_equal(frames[0], "+14.5 Ohm");
	assert_string_equal(frames[15], "+29.5 Ohm");
	assert_int_equal(meter_last_frames(&s->meter, 2, frames), 2);
	assert_string_equal(frames[1], "+29.5 Ohm");
	free(s);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(nothing_is_sent_on_a_listened_line),
		cmocka_unit_test(the_first_fragment_is_no_reading),
		cmocka_unit_test(set_up_is_checked_command_by_command),
		cmocka_unit_test(a_refused_set_up_is_named_and_nothing_is_guessed),
		cmocka_unit_test(the_pace_is_kept),
		cmocka_unit_test(another_meter_on_the_line_is_set_up_anew),
		cmocka_unit_test(a_replay_of_the_tape_makes_the_same_readings),
		cmocka_unit_test(the_last_frames_are_kept),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
