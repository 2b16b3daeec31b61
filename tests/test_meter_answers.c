/* SPDX-License-Identifier: MIT */
/*
 * Late and wrong answers to one meter's machine: doubled, garbled, cut in two, all at once, or
 * none.  A reading that was not the answer to the question that is out is no reading.
 */
#include "tests/meter_stand.h"

/* ---- late and wrong answers ---- */

static void a_late_answer_is_no_reading_and_shifts_nothing(void **state)
{
	struct meter_config c = scpi_config();
	(void)state;
	struct stand *s = in_step(&c);
	say(s, "+1.0E+03\r\n");
	assert_string_equal(asked(s), "READ?|");
	pass(s, s->t + 2500 * MS); /* overdue */
	assert_string_equal(asked(s), "*IDN?|");
	assert_int_equal(s->heard.silences, 1);
	say(s, "+2.0E+03\r\n"); /* the late answer */
	assert_int_equal(s->heard.readings, 1);
	assert_int_equal(meter_counters(&s->meter)->late, 1);
	assert_string_equal(asked(s), "");
	say(s, IDN);
	assert_string_equal(asked(s), "SYST:ERR?|");
	say(s, "0,\"No error\"\r\n");
	assert_string_equal(asked(s), "READ?|");
	assert_int_equal(s->heard.backs, 1);
	say(s, "+3.0E+03\r\n");
	assert_int_equal(s->heard.readings, 2);
	assert_near(decimal_double(s->heard.reading[1].value), 3000, 0);
	free(s);
}

static void everything_at_once_after_a_long_silence(void **state)
{
	struct meter_config c = scpi_config();
	(void)state;
	struct stand *s = in_step(&c);
	pass(s, s->t + 9000 * MS); /* *IDN? is asked again and again meanwhile */
	assert_string_equal(asked(s), "*IDN?|*IDN?|*IDN?|");
	say(s, "+1.0E+03\r\n" IDN IDN);
	assert_string_equal(asked(s), ""); /* the third is still to come */
	say(s, IDN);
	assert_int_equal(s->heard.readings, 0);
	assert_string_equal(asked(s), "SYST:ERR?|");
	say(s, "0,\"No error\"\r\n");
	say(s, "+2.0E+03\r\n");
	assert_int_equal(s->heard.readings, 1);
	assert_near(decimal_double(s->heard.reading[0].value), 2000, 0);
	free(s);
}

static void an_answer_twice_in_one_piece_counts_once(void **state)
{
	struct meter_config c = scpi_config();
	(void)state;
	struct stand *s = in_step(&c);
	say(s, "+1.0E+03\r\n+1.0E+03\r\n");
	assert_int_equal(s->heard.readings, 1);
	assert_int_equal(meter_counters(&s->meter)->late, 1);
	assert_string_equal(asked(s), "READ?|");
	free(s);
}

/* An answer that is there exactly when it is overdue is late: timers go first. */
static void an_answer_exactly_at_the_time_out_is_late(void **state)
{
	struct meter_config c = scpi_config();
	(void)state;
	struct stand *s = in_step(&c);
	pass(s, s->t + 1999 * MS);
	say(s, "+1.0E+03\r\n"); /* a moment before: in time */
	assert_int_equal(s->heard.readings, 1);
	assert_string_equal(asked(s), "READ?|");
	pass(s, s->t + 2000 * MS);
	assert_string_equal(asked(s), "*IDN?|");
	say(s, "+2.0E+03\r\n");
	assert_int_equal(s->heard.readings, 1);
	assert_string_equal(asked(s), "");
	say(s, IDN "0,\"No error\"\r\n");
	assert_string_equal(asked(s), "SYST:ERR?|READ?|");
	say(s, "+3.0E+03\r\n");
	assert_int_equal(s->heard.readings, 2);
	assert_near(decimal_double(s->heard.reading[1].value), 3000, 0);
	assert_int_equal(meter_counters(&s->meter)->resync, 1);
	free(s);
}

static void two_answers_in_one_piece_shift_nothing(void **state)
{
	struct meter_config c = scpi_config();
	(void)state;
	struct stand *s = in_step(&c);
	say(s, "+1.0E+03\r\n+2.0E+03\r\n");
	assert_int_equal(s->heard.readings, 1);
	assert_near(decimal_double(s->heard.reading[0].value), 1000, 0);
	assert_string_equal(asked(s), "READ?|");
	say(s, "+3.0E+03\r\n");
	assert_int_equal(s->heard.readings, 2);
	assert_near(decimal_double(s->heard.reading[1].value), 3000, 0);
	free(s);
}

/* Legend: how long the line pauses in the middle, ms; the second half, if any comes. */
static void an_answer_cut_by_the_time_out_is_no_reading(void **state)
{
	static const struct {
		int pause;
		const char *rest;
	} row[] = {{5, "1E+03\r\n"}, {900, "1E+03\r\n"}, {1500, "1E+03\r\n"}, {5, NULL}, {1500, NULL}};
	(void)state;
	for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
		struct meter_config c = scpi_config();
		struct stand *s = in_step(&c);
		note_row("%d %s", row[i].pause, row[i].rest ? "rest" : "none");
		pass(s, s->t + 1998 * MS);
		say(s, "+4.70");
		pass(s, s->t + row[i].pause * MS);
		assert_string_equal(asked(s), "*IDN?|");
		if (row[i].rest)
			say(s, row[i].rest);
		assert_int_equal(s->heard.readings, 0);
		say(s, IDN);
		if (!row[i].rest) { /* it stuck to the cut one: asked once more */
			assert_string_equal(asked(s), "");
			pass(s, s->t + 4000 * MS);
			assert_string_equal(asked(s), "*IDN?|");
			/* The spoilt one may still be on its way for all the machine knows. */
			say(s, IDN);
			assert_int_equal(s->heard.readings, 0);
			free(s);
			continue;
		}
		assert_string_equal(asked(s), "SYST:ERR?|");
		say(s, "0,\"No error\"\r\n");
		say(s, "+3.0E+03\r\n");
		assert_int_equal(s->heard.readings, 1);
		assert_near(decimal_double(s->heard.reading[0].value), 3000, 0);
		free(s);
	}
}

/* It answers *IDN? late two times, with the answer to READ? in front of them or
 * between them: only the last of them proves that nothing is on its way. */
static void an_identity_late_twice(void **state)
{
	(void)state;
	for (int order = 0; order < 2; order++) {
		struct meter_config c = scpi_config();
		struct stand *s = in_step(&c);
		say(s, "+9.0E+03\r\n");
		asked(s);
		pass(s, s->t + 5000 * MS);
		assert_string_equal(asked(s), "*IDN?|*IDN?|");
		say(s, order ? IDN : "+1.0E+03\r\n");
		assert_string_equal(asked(s), "");
		say(s, order ? "+1.0E+03\r\n" : IDN);
		assert_string_equal(asked(s), "");
		assert_int_equal(s->heard.backs, 0);
		say(s, IDN);
		assert_int_equal(s->heard.backs, 1);
		assert_int_equal(s->heard.readings, 1);
		assert_string_equal(asked(s), "SYST:ERR?|");
		say(s, "0,\"No error\"\r\n");
		assert_string_equal(asked(s), "READ?|");
		say(s, "+2.0E+03\r\n");
		assert_int_equal(s->heard.readings, 2);
		assert_near(decimal_double(s->heard.reading[1].value), 2000, 0);
		free(s);
	}
}

/* At the first opening too: both come after the set-up has begun. */
static void an_identity_late_twice_at_the_opening(void **state)
{
	struct meter_config c = scpi_config();
	(void)state;
	snprintf(c.setup[0], METER_COMMAND_MAX, "CONF:RES");
	c.setups = 1;
	struct stand *s = stand_new(&c);
	meter_opened(&s->meter, 0);
	pass(s, 2500 * MS);
	assert_string_equal(asked(s), "*CLS|*IDN?|*IDN?|");
	say(s, IDN);
	assert_string_equal(asked(s), "SYST:ERR?|");
	say(s, IDN "0,\"No error\"\r\n");
	assert_string_equal(asked(s), "CONF:RES|SYST:ERR?|");
	say(s, "0,\"No error\"\r\n");
	assert_string_equal(asked(s), "READ?|");
	free(s);
}

/* A meter that sends each answer twice, the second a moment later, when the next
 * question is out: the second is no answer to it. */
static void an_answer_twice_in_two_pieces_shifts_nothing(void **state)
{
	struct meter_config c = scpi_config();
	(void)state;
	struct stand *s = in_step(&c);
	for (int i = 1; i <= 20; i++) {
		char line[32];
		int had = s->heard.readings;
		snprintf(line, sizeof line, "+%d.0E+03\r\n", i);
		pass(s, s->t + 40 * MS);
		say(s, line);
		assert_int_equal(s->heard.readings, had + 1);
		assert_near(decimal_double(s->heard.reading[had].value), 1000 * i, 1e-9);
		assert_string_equal(asked(s), "READ?|");
		if (i < 4)
			continue; /* how long it takes is learnt from the first three */
		pass(s, s->t + 2 * MS);
		say(s, line);
		assert_int_equal(s->heard.readings, had + 1);
		assert_string_equal(asked(s), "");
	}
	assert_int_equal(meter_counters(&s->meter)->late, 17);
	/* The same value again after the usual time is an answer. */
	pass(s, s->t + 40 * MS);
	say(s, "+20.0E+03\r\n");
	assert_int_equal(s->heard.readings, 21);
	free(s);
}

/* #15hello and the like, with line ends in it: one answer that is refused. */
static void a_block_is_refused_politely(void **state)
{
	struct meter_config c = scpi_config();
	(void)state;
	struct stand *s = in_step(&c);
	meter_bytes(&s->meter, s->t, "#217+1.0E+03\n+2.0E+0\n\n", 22);
	assert_int_equal(s->heard.readings, 0);
	assert_int_equal(s->heard.bad_frames, 1);
	assert_non_null(strstr(s->heard.last_why, "block"));
	assert_string_equal(asked(s), "SYST:ERR?|");
	say(s, "0,\"No error\"\r\n");
	assert_string_equal(asked(s), "READ?|");
	say(s, "+3.0E+03\r\n");
	assert_int_equal(s->heard.readings, 1);
	assert_int_equal(meter_counters(&s->meter)->resync, 0);
	free(s);
}

/* Listened to or asked: each time that a beginning had to be looked for. */
static void resync_is_counted(void **state)
{
	struct meter_config c;
	char over[400];
	(void)state;
	meter_config_standard(&c, find("ascii-unit"));
	struct stand *s = stand_new(&c);
	meter_opened(&s->meter, 0);
	pass(s, 250 * MS);
	say(s, "+47.05 kOhm\r\n");
	assert_int_equal(meter_counters(&s->meter)->resync, 0);
	memset(over, '7', sizeof over - 1);
	over[sizeof over - 1] = '\0';
	say(s, over);
	say(s, "\r\n");
	assert_int_equal(meter_counters(&s->meter)->resync, 1);
	say(s, "+47.");
	pass(s, s->t + 1200 * MS);
	say(s, "05 kOhm\r\n");
	assert_int_equal(meter_counters(&s->meter)->resync, 2);
	assert_int_equal(s->heard.readings, 1);
	say(s, "gar bage\r\n"); /* bad, but its place was known */
	assert_int_equal(meter_counters(&s->meter)->resync, 2);
	free(s);
}

static void no_identity_but_words_are_named(void **state)
{
	struct meter_config c = scpi_config();
	(void)state;
	struct stand *s = stand_new(&c);
	meter_opened(&s->meter, 0);
	pass(s, 1 * MS);
	say(s, "OLD METER 3\r\n");
	pass(s, s->t + 2500 * MS);
	assert_non_null(strstr(meter_why(&s->meter), "OLD METER 3"));
	assert_non_null(strstr(meter_why(&s->meter), "identify = no"));
	free(s);
}

static void a_banner_and_a_cut_answer_do_no_harm(void **state)
{
	struct meter_config c = scpi_config();
	(void)state;
	struct stand *s = stand_new(&c);
	meter_opened(&s->meter, 0);
	say(s, "Ready.\r\n\r\n");
	pass(s, 1 * MS);
	say(s, "Lantern Wor");
	pass(s, 20 * MS);
	say(s, "ks,LW1,0001,1.0\r\n");
	asked(s);
	say(s, "+4.7");
	pass(s, s->t + 30 * MS);
	assert_int_equal(s->heard.readings, 0);
	say(s, "0E+03\r");
	say(s, "\n");
	assert_int_equal(s->heard.readings, 1);
	free(s);
}

static void a_spoilt_answer_asks_the_error_queue(void **state)
{
	struct meter_config c = scpi_config();
	(void)state;
	struct stand *s = in_step(&c);
	say(s, "+4.7\x01E+03\r\n");
	assert_string_equal(asked(s), "SYST:ERR?|");
	say(s, "-230,\"Data corrupt or stale\"\r\n");
	assert_string_equal(asked(s), "SYST:ERR?|");
	say(s, "0,\"No error\"\r\n");
	assert_string_equal(asked(s), "READ?|");
	say(s, "+9.91E+37\r\n"); /* not a number */
	assert_string_equal(asked(s), "SYST:ERR?|");
	assert_true(s->heard.reading[0].state & READING_INVALID);
	assert_false(s->heard.reading[0].has_value);
	free(s);
}

static void without_idn_it_waits_for_silence(void **state)
{
	struct meter_config c = scpi_config();
	(void)state;
	c.identify = false;
	struct stand *s = stand_new(&c);
	meter_opened(&s->meter, 0);
	pass(s, 1 * MS);
	assert_string_equal(asked(s), "*CLS|READ?|");
	say(s, "+1.0E+03\r\n");
	asked(s);
	pass(s, s->t + 2500 * MS); /* overdue at 2 s: half a second of waiting is over */
	assert_string_equal(asked(s), "");
	say(s, "+2.0E+03\r\n"); /* late: the silence begins anew */
	pass(s, s->t + 1900 * MS);
	assert_string_equal(asked(s), "");
	pass(s, s->t + 200 * MS);
	assert_string_equal(asked(s), "READ?|");
	say(s, "+3.0E+03\r\n");
	assert_int_equal(s->heard.readings, 2);
	free(s);
}

/* ---- a peer of random manners: what is delivered answers what was asked ---- */

/* The peer numbers its answers by the question: the N-th READ? is answered N.
 * Whatever it delays, the reading taken after question N must be N. */
static void no_answer_is_ever_shifted(void **state)
{
	uint32_t seed = 20261125;
	(void)state;
	for (int round = 0; round < 300; round++) {
		struct meter_config c = scpi_config();
		struct stand *s = in_step(&c);
		struct { int64_t due; char text[80]; } queue[64];
		int queued = 0, reads = 1; /* in_step has sent the first */
		int64_t peer_free = s->t;
		bool begun = false;
		for (int step = 0; step < 400; step++) {
			const char *q = begun ? asked(s) : "READ?|";
			begun = true;
			for (const char *p = q; *p; p += strcspn(p, "|") + 1) {
				seed = seed * 1664525u + 1013904223u;
				int64_t delay = (seed >> 8) % 100 < 15 ? (int64_t)((seed >> 9) % 7000) * MS
				                                       : (int64_t)((seed >> 9) % 50) * MS;
				if (peer_free < s->t)
					peer_free = s->t;
				peer_free += delay;
				if (queued == 64)
					break;
				queue[queued].due = peer_free;
				if (strncmp(p, "READ?", 5) == 0)
					snprintf(queue[queued].text, 80, "%d\r\n", reads++);
				else if (strncmp(p, "*IDN?", 5) == 0)
					snprintf(queue[queued].text, 80, IDN);
				else if (strncmp(p, "SYST", 4) == 0)
					snprintf(queue[queued].text, 80, "0,\"No error\"\r\n");
				else
					continue;
				queued++;
			}
			int64_t next = meter_deadline(&s->meter);
			if (queued && queue[0].due <= next) {
				if (queue[0].due > s->t)
					s->t = queue[0].due;
				char text[80];
				memcpy(text, queue[0].text, sizeof text);
				memmove(queue, queue + 1, (size_t)--queued * sizeof *queue);
				int had = s->heard.readings, expected = reads - 1;
				say(s, text);
				if (s->heard.readings > had)
					assert_int_equal((int)decimal_double(s->heard.reading[had].value), expected);
			} else if (next != INT64_MAX) {
				pass(s, next);
			} else {
				break;
			}
		}
		free(s);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_late_answer_is_no_reading_and_shifts_nothing),
		cmocka_unit_test(everything_at_once_after_a_long_silence),
		cmocka_unit_test(an_answer_twice_in_one_piece_counts_once),
		cmocka_unit_test(an_answer_exactly_at_the_time_out_is_late),
		cmocka_unit_test(two_answers_in_one_piece_shift_nothing),
		cmocka_unit_test(an_answer_cut_by_the_time_out_is_no_reading),
		cmocka_unit_test(an_identity_late_twice),
		cmocka_unit_test(an_identity_late_twice_at_the_opening),
		cmocka_unit_test(an_answer_twice_in_two_pieces_shifts_nothing),
		cmocka_unit_test(a_block_is_refused_politely),
		cmocka_unit_test(resync_is_counted),
		cmocka_unit_test(no_identity_but_words_are_named),
		cmocka_unit_test(a_banner_and_a_cut_answer_do_no_harm),
		cmocka_unit_test(a_spoilt_answer_asks_the_error_queue),
		cmocka_unit_test(without_idn_it_waits_for_silence),
		cmocka_unit_test(no_answer_is_ever_shifted),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
