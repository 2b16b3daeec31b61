/* SPDX-License-Identifier: MIT */
/*
 * Silence of a meter whose line is open: when its value is taken off, when it is
 * said, and when it is not, because it is silent by nature.
 */
#include "tests/bench_stand.h"

#include <stdlib.h>

/* Legend: what happens; the scene; who was said to be stale or fresh, and at what
 * second; what was refused. */
static const struct {
	const char *what, *scene, *silent, *refused;
} scenes[] = {
    {"no reading yet is no silence", "blue 5.0 V DC *3\n@4 take red\n", "stale blue 01.250", "take"},
    {"three periods of a quarter second", "@0 at HT1\nred 285.1 V DC *8\nred wait 3\n@2.3 again\n@2.4 take red\n@2.6 take red\n",
     "stale red 02.500", "take"},
    {"over when a frame comes, and said again in the next silence",
     "red ~5.012 V DC *8\nred wait 3\nred ~5.012 V DC *4\nred wait 2\n",
     "stale red 02.500; fresh red 05.000; stale red 06.500", ""},
    {"a lost frame or two is none", "red ~5.012 V DC *8\nred wait 0.49\nred ~5.012 V DC *8\n", "", ""},
    {"ten a second: three tenths", "red every 0.1\nred ~5.012 V DC *9\nred wait 2\n",
     "stale red 01.100", ""},
    {"a thousand a second: no sooner, for adapters bunch",
     "red every 0.001\nred ~5.012 V DC *500\nred wait 2\n", "stale red 00.799", ""},
    {"one in two seconds: six", "red every 2\nred ~5.012 V DC *5\nred wait 6\n", "stale red 14.000", ""},
    {"one reading alone: a period of a second is taken", "red 5.012 V DC\nred wait 4\n",
     "stale red 03.000", ""},
    {"open leads that speak, then silence: each time",
     "red OL MOhm *20\nred wait 3\nred OL MOhm *20\nred wait 3\n",
     "stale red 05.500; fresh red 08.000; stale red 13.500", ""},
    {"silent with open leads by nature: the first time only",
     "red ~100.2 kOhm *8\nred wait 3\nred ~47.05 kOhm *8\nred wait 3\nred ~1.002 kOhm *8\nred wait 3\n",
     "stale red 02.500; fresh red 05.000", ""},
    {"... and its value cannot be taken all the same",
     "@0 at R1\nred ~100.2 kOhm *8\nred wait 3\nred ~47.05 kOhm *8\nred wait 3\n@9.5 take red\n",
     "stale red 02.500; fresh red 05.000", "take"},
    {"the same part after the silence proves nothing",
     "red ~100.2 kOhm *8\nred wait 3\nred ~100.2 kOhm *8\nred wait 3\n",
     "stale red 02.500; fresh red 05.000; stale red 07.500", ""},
    {"volts float: silence is never their nature",
     "red ~5.012 V DC *8\nred wait 3\nred ~285.1 V DC *8\nred wait 3\n",
     "stale red 02.500; fresh red 05.000; stale red 07.500", ""},
    {"a capacitance meter may think for six seconds",
     "red ~12 pF *8\nred wait 5\nred ~0.101 uF *8\nred wait 7\n", "stale red 14.750", ""},
    {"a line that is away is gone, not stale",
     "red ~5.012 V DC *8\n@2 meter red gone\n@9 meter red back\nred wait 10\n", "", ""},
    {"... and silent after it came back, it has said nothing yet",
     "red ~5.012 V DC *8\n@2 meter red gone\n@4 meter red back\nred wait 3\nred ~5.012 V DC *4\nred wait 3\n",
     "stale red 06.500", ""},
    {"frames that are not understood are no readings",
     "red ~5.012 V DC *8\nred garbage *20\n", "stale red 02.500", ""},
    {"doubled frames shorten no period by half: not stale between two",
     "dup twice\ndup ~5.012 V DC *8\ndup wait 0.2\ndup ~5.012 V DC *8\n", "", ""},
    {"an asked meter may look for its range for a second",
     "bench every 0.02\nbench 4701.2 *20\nbench wait 0.9\nbench 4701.2 *20\nbench wait 2\n",
     "stale bench 02.680", ""},
};

static void who_is_stale(void **state)
{
	int wrong = 0;
	(void)state;
	for (size_t i = 0; i < sizeof scenes / sizeof *scenes; i++) {
		struct stand *s = calloc(1, sizeof *s);
		assert_non_null(s);
		stand_begin(s);
		stand_play(s, scenes[i].scene);
		bool good = stand_same("silent", s->silent, scenes[i].silent);
		good = stand_same("refused", s->refused, scenes[i].refused) && good;
		if (!good) {
			note_row("%s", scenes[i].what);
			wrong++;
		}
		stand_free(s);
		free(s);
	}
	assert_int_equal(wrong, 0);
}

static const char *meters(struct stand *s, int64_t t)
{
	static char json[65536];
	struct text out;
	text_begin(&out, json, sizeof json);
	bench_meters(s->bench, t, &out);
	assert_false(out.failed);
	return json;
}

static const char *live(struct stand *s, int64_t t)
{
	static char json[65536];
	struct text out;
	text_begin(&out, json, sizeof json);
	bench_live(s->bench, t, &out);
	assert_false(out.failed);
	return json;
}

/* The value leaves the screen, the state says why, and it is counted. */
static void shown_and_counted(void **state)
{
	struct stand *s = calloc(1, sizeof *s);
	struct fault why = {0};
	(void)state;
	assert_non_null(s);
	stand_begin(s);
	stand_play(s, "@0 at HT1\nred 285.1 V DC *8\n");
	assert_non_null(strstr(meters(s, 2400000), "\"shown\":\"285.1 V"));
	assert_non_null(strstr(live(s, 2400000), "\"shown\":\"285.1 V"));
	bench_run_until(s->bench, 2600000);
	assert_null(strstr(meters(s, 2600000), "285.1"));
	assert_null(strstr(live(s, 2600000), "285.1"));
	assert_non_null(strstr(meters(s, 2600000), "\"name\":\"red\",\"dialect\":\"ascii-unit\",\"port\":"
	                                           "null,\"state\":\"stale\""));
	assert_non_null(strstr(live(s, 2600000), "\"name\":\"red\",\"state\":\"stale\",\"shown\":null"));
	assert_non_null(strstr(meters(s, 2600000), "\"stale\":1"));
	assert_false(bench_take(s->bench, 2600000, "red", (struct bench_wait){0}, &why));
	assert_non_null(strstr(why.text, "is the meter still on"));
	assert_false(bench_take(s->bench, 2600000, NULL, (struct bench_wait){0}, &why));
	assert_non_null(strstr(why.text, "red"));
	s->t = 3000000;
	stand_play(s, "red 285.3 V DC *1\n");
	assert_non_null(strstr(live(s, s->t), "\"shown\":\"285.3 V"));
	assert_non_null(strstr(live(s, s->t), "\"name\":\"red\",\"state\":\"listened to\""));
	assert_non_null(strstr(meters(s, s->t), "\"stale\":1"));
	stand_free(s);
	free(s);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(who_is_stale),
	    cmocka_unit_test(shown_and_counted),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
