/* SPDX-License-Identifier: MIT */
/*
 * Bringing up the power, a pot by ear and a lot on the bench: an amplifier of meters' lines, played
 * at speed.  One comes up, one has a shorted rectifier, the bias of one drifts; and each is
 * killed after every step and goes on where it was.  Scenes as in tests/bench_stand.h.
 */
#include "tests/guide_stand.h"

#include <unistd.h>

static const char config_text[] =
    "[meter red]\nport = /dev/null\ndialect = ascii-unit\naccuracy volt-dc = 0.5% + 2\naccuracy ohm = 0.1% + 1\n"
    "isolated = yes\nrated = 1000 V\n"
    "[meter blue]\nport = /dev/null2\ndialect = ascii-unit\nisolated = yes\nrated = 1000 V\n"
    "[meter green]\nport = /dev/null3\ndialect = ascii-unit\nisolated = yes\nrated = 1000 V\n";

static const char sheet_text[] =
    "position,kind,nominal,tolerance,rated,role,with,twin,max\n"
    "H1,rail,6.3 V AC,5%,,heater,,,\n"
    "HT1,rail,285 V,10%,,,,,\n"
    "BIAS,rail,-35 V,+-2 V,,bias,,,\n"
    "RIP1,other,1 V AC,<=3 V AC,,ripple,HT1,,\n"
    "V3,valve,280 V,10%,,output,,,12\n"
    "V4,valve,280 V,10%,,output,,,12\n"
    "R21,metal-film,10,1%,,sense,V3,R22,\n"
    "R22,metal-film,10,1%,,sense,V4,R21,\n"
    "LOAD1,wirewound,8,5%,,load,,,\n"
    "HUM1,other,0 V AC,<=5 mV AC,,hum,LOAD1,,\n"
    "C20,electrolytic,47 uF,-20/+50%,450 V,reservoir,,,\n"
    "R1,metal-film,4k7,5%,,grid stopper,,,\n"
    "R2,metal-film,4k7,5%,,grid stopper,,,\n";

struct amplifier {
	double rectified; /* of the unloaded volts that are expected */
	double creep;     /* of the bias over the soak */
};

/* What the meters say at this step, and the hand's go. */
static void one_step(struct stand *s, const struct amplifier *a)
{
	char step[40], at[40];
	snprintf(step, sizeof step, "%s", guide_word(s, "step"));
	snprintf(at, sizeof at, "%s", guide_word(s, "at"));
	if (strcmp(step, "transformer") == 0)
		guide_run(s, "red 0.1 V DC *16\n@3.9 go\n");
	else if (strcmp(step, "heaters") == 0)
		guide_run(s, "blue 6.52 V AC *16\n@3.9 go\n");
	else if (strcmp(step, "raise") == 0)
		guide_run(s, "red %.1f V DC *16\n@3.9 go\n", a->rectified * guide_number(s, "expected-unloaded"));
	else if (strcmp(step, "bias") == 0)
		guide_run(s, "blue -36.0 V DC *16\n@3.9 go\n");
	else if (strcmp(step, "glow") == 0)
		guide_run(s, "red 150.0 V DC *16\n@3.9 go\n");
	else if (strcmp(step, "on") == 0 || strncmp(step, "rails", 5) == 0)
		guide_run(s, "red 286.0 V DC *16\n@3.9 go\n");
	else if (strcmp(step, "heated") == 0)
		guide_run(s, "blue 6.28 V AC *16\n@3.9 go\n");
	else if (strcmp(step, "ripple") == 0)
		guide_run(s, "blue wait 3\nblue 1.20 V AC *16\n@6.9 go\n");
	else if (strncmp(step, "sense", 5) == 0)
		guide_run(s, "blue %s V DC *16\n@3.9 go\n", strcmp(at, "R21") == 0 ? "0.3500" : "0.3800");
	else if (strcmp(step, "soak") == 0)
		guide_run(s, "red 286.0 V DC *260\nblue 0.3800 V DC *60\nblue %.4f V DC *200\n@66 walk off\n",
		    0.38 * (1 + a->creep));
	else if (strcmp(step, "response") == 0)
		guide_run(s, "green %.3f V AC *16\n@3.9 go\n",
		    guide_number(s, "frequency") > 15000 ? 2.0 : guide_number(s, "frequency") < 30 ? 2.2 : 2.83);
	else if (strcmp(step, "second-load") == 0)
		guide_run(s, "green 2.900 V AC *16\n@3.9 go\n");
	else if (strcmp(step, "hum") == 0)
		guide_run(s, "green 2.10 mV AC *16\n@3.9 go\n");
	else if (strcmp(step, "power") == 0)
		guide_run(s, "green 8.940 V AC *16\n@3.9 go\n");
	else
		guide_run(s, "@0.5 go\n");
	if (s->refused[0])
		fail_msg("at %s: refused %s: %s", step, s->refused, s->says);
}

/* Until the step of that name, or the end. */
static int rise(struct stand *s, const struct amplifier *a, const char *until, const char *log)
{
	int steps = 0;
	stand_open(s, config_text, log ? log : ":memory:", NULL);
	stand_load(s, sheet_text);
	guide_run(s, "red 0.0 V DC *4\n@2 guide rise - rail=red probe=blue out=green soak=1 load2=10 because=tests\n");
	assert_string_equal(s->refused, "");
	for (; steps < 80 && guide_word(s, "step")[0]; steps++) {
		if (until && strcmp(guide_word(s, "step"), until) == 0)
			break;
		one_step(s, a);
		if (log)
			guide_killed(s, log);
	}
	return steps;
}

/* By frequency, in the order of the records: what a response is drawn from. */
static int points(const struct stand *s, double *least, double *most)
{
	int n = 0;
	*least = INFINITY;
	*most = 0;
	for (int i = 0; i < s->records; i++) {
		const char *r = s->record[i];
		double hertz = number(r, "frequency");
		if (!strstr(r, "\"kind\":\"entry\"") || isnan(hertz))
			continue;
		assert_non_null(strstr(r, "\"position\":\"LOAD1\""));
		assert_non_null(strstr(r, "\"function\":\"volt-ac\""));
		*least = fmin(*least, hertz);
		*most = fmax(*most, hertz);
		n++;
	}
	return n;
}

static void comes_up(void **state)
{
	(void)state;
	static const struct amplifier good = {.rectified = 0.95};
	char log[] = "/tmp/tally-rise-XXXXXX";
	int fd = mkstemp(log);
	assert_true(fd >= 0);
	close(fd);
	for (int kills = 0; kills < 2; kills++) {
		struct stand s;
		double least, most;
		unlink(log);
		rise(&s, &good, NULL, kills ? log : NULL);
		const char *done = last_of(&s, "guide");
		assert_string_equal(stand_member(done, "event"), "done");
		assert_string_equal(stand_member(done, "said"),
		                    "rail=red probe=blue out=green soak=1 load2=10 because=tests");
		assert_string_equal(s.made,
		                    "HT1 red 286.0 V volts; H1 blue 6.28 V volts; RIP1 blue 1.20 V volts; "
		                    "R21 blue 0.3500 V volts; R22 blue 0.3800 V volts; R21 blue 0.3500 V volts; "
		                    "R22 blue 0.3800 V volts; HT1 red 286.0 V volts; LOAD1 green 2.830 V volts; "
		                    "LOAD1 green 2.200 V volts; LOAD1 green 2.830 V volts; LOAD1 green 2.830 V volts; "
		                    "LOAD1 green 2.830 V volts; LOAD1 green 2.830 V volts; LOAD1 green 2.830 V volts; "
		                    "LOAD1 green 2.830 V volts; LOAD1 green 2.830 V volts; LOAD1 green 2.000 V volts; "
		                    "HUM1 green 2.10 mV volts; LOAD1 green 8.940 V volts");
		assert_int_equal(points(&s, &least, &most), 10);
		assert_near(least, 20, 0);
		assert_near(most, 20000, 0);
		/* 8.94 V into 8 ohm; -60 dB and 8.94 V to 2.1 mV are 72.6 dB (computed). */
		assert_non_null(strstr(done, "\"position\":\"LOAD1\""));
		const char *load = strstr(done, "\"what\":\"load\""), *hum = strstr(done, "\"hum-dB\":");
		assert_true(load && hum);
		assert_near(strtod(strstr(load, "\"watts\":") + 8, NULL), 9.99045, 1e-3);
		assert_near(strtod(hum + 9, NULL), -72.58, 0.01);
		assert_non_null(strstr(guide_status(&s), "\"guides\":[]"));
		stand_free(&s);
	}
	unlink(log);
}

static void shorted_rectifier(void **state)
{
	(void)state;
	static const struct amplifier bad = {.rectified = 0.01};
	struct stand s;
	rise(&s, &bad, "off", NULL);
	assert_string_equal(guide_word(&s, "step"), "off");
	assert_string_equal(s.made, ""); /* nothing was logged of it */
	assert_non_null(strstr(last_of(&s, "alarm"), "SWITCH OFF"));
	assert_non_null(strstr(last_of(&s, "alarm"), "rectifier"));
	guide_run(&s, "@1 go\n");
	assert_string_equal(stand_member(last_of(&s, "guide"), "event"), "stopped");
	assert_non_null(strstr(last_of(&s, "guide"), "pulls it down"));
	stand_free(&s);
}

static void bias_drifts(void **state)
{
	(void)state;
	static const struct amplifier bad = {.rectified = 0.95, .creep = 0.31};
	struct stand s;
	rise(&s, &bad, "off", NULL);
	assert_string_equal(guide_word(&s, "step"), "off");
	assert_non_null(strstr(last_of(&s, "alarm"), "R22"));
	assert_non_null(strstr(last_of(&s, "guide"), "runs away"));
	stand_free(&s);
}

static void a_lot(void **state)
{
	(void)state;
	struct stand s;
	stand_open(&s, config_text, ":memory:", NULL);
	stand_load(&s, sheet_text);
	guide_run(&s, "red OL MOhm *4\n@1.2 guide lot 4k7 part=red for=R1,R2\n@1.5 go\n");
	assert_string_equal(s.refused, "");
	static const char *const parts[] = {"4.712", "4.655", "4.790", "4.713", "5.600"};
	for (size_t i = 0; i < sizeof parts / sizeof *parts; i++)
		guide_run(&s, "red OL MOhm *8\nred ~%s kOhm *12\nred OL MOhm *8\n", parts[i]);
	assert_near(number(last_of(&s, "guide"), "values.1.value"), 4712, 2);
	assert_near(number(last_of(&s, "guide"), "values.5.value"), 5600, 2);
	assert_near(guide_number(&s, "parts"), 5, 0);
	assert_near(guide_number(&s, "usable"), 4, 0);
	assert_string_equal(s.made, ""); /* on no position until the yes */
	guide_run(&s, "red OL MOhm *8\n@1 go\n");
	assert_string_equal(guide_word(&s, "step"), "pairs");
	assert_non_null(strstr(guide_word(&s, "text"), "1 and 4 for R1 and R2: no difference"));
	guide_run(&s, "@1 go\n");
	const char *done = last_of(&s, "guide"), *fit = last_of(&s, "fit");
	assert_string_equal(stand_member(done, "event"), "done");
	assert_non_null(strstr(done, "\"outside\":[5]"));
	assert_string_equal(stand_member(fit, "position"), "R2");
	assert_non_null(strstr(fit, "part 4 of the lot 4k7: 4.71"));
	/* A record for each part, with its readings; the fit, and the run, name it. */
	for (int i = 0; i < 5; i++) {
		const char *part = record_of(&s, "part", i);
		char path[24];
		snprintf(path, sizeof path, "values.%d.seq", i + 1);
		assert_true(number(part, "number") == i + 1);
		assert_near(number(part, "value"), 1000 * strtod(parts[i], NULL), 1e-9);
		assert_true(number(part, "guide") == number(record_of(&s, "guide", 0), "seq"));
		assert_true(number(part, "seq") == number(done, path));
		assert_non_null(strstr(part, i == 4 ? "\"verdict\":\"outside\"" : "\"verdict\":\"within\""));
		assert_non_null(strstr(part, "\"trail\":[["));
	}
	assert_true(number(fit, "lot") == number(record_of(&s, "part", 3), "seq"));
	assert_string_equal(record_of(&s, "part", 5), "");
	stand_free(&s);
}

static void by_ear(void **state)
{
	(void)state;
	struct stand s;
	stand_open(&s, config_text, ":memory:", NULL);
	stand_load(&s, sheet_text);
	guide_run(&s, "red -38.0 V DC *8\n@1.5 guide tune BIAS here=red\n");
	assert_string_equal(s.refused, "guide"); /* it is cold */
	guide_run(&s, "@0 live\n@0.5 guide tune BIAS here=red\n@1 go\n@1.2 go\nred wait 1.5\nred -38.0 V DC *12\n");
	assert_string_equal(guide_word(&s, "step"), "set");
	assert_near(guide_number(&s, "toward"), -1.5, 1e-9);
	assert_true(guide_number(&s, "hertz") < 660);
	assert_string_equal(s.made, "");
	guide_run(&s, "red -34.5 V DC *16\n@3.9 take\n");
	assert_string_equal(s.made, "BIAS red -34.5 V volts");
	const char *done = last_of(&s, "guide");
	assert_string_equal(stand_member(done, "event"), "done");
	assert_near(number(done, "result.target"), -35, 0);
	assert_true(json_is(json_member(done, strlen(done), "result.verdict"), "within"));
	stand_free(&s);
}

static void refused(void **state)
{
	(void)state;
	static const struct {
		const char *scene, *why;
	} row[] = {
	    {"@0 guide lot 4k7 part=red for=R1\n", "pairs"},
	    {"@0 guide lot 4k7 part=red for=R1,R9\n", "R9"},
	    {"@0 live\n@1 guide lot 4k7 part=red\n", "cold"},
	    {"@0 guide rise - rail=red mains=900V\n", "sense"},
	    {"@0 live\n@1 guide tune R1 here=red\n", "to=0.42V"},
	};
	for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
		struct stand s;
		note_row("%s", row[i].scene);
		stand_open(&s, config_text, ":memory:", NULL);
		stand_load(&s, sheet_text);
		guide_run(&s, "%s", row[i].scene);
		assert_string_equal(s.refused, "guide");
		assert_non_null(strstr(s.why.text, row[i].why));
		stand_free(&s);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(comes_up), cmocka_unit_test(shorted_rectifier), cmocka_unit_test(bias_drifts),
	    cmocka_unit_test(a_lot), cmocka_unit_test(by_ear), cmocka_unit_test(refused),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
