/* SPDX-License-Identifier: MIT */
/*
 * Guided runs on the bench: what begins one, what `go` logs, what is refused, what is kept, and
 * that a daemon which is started anew goes on where it was.  Scenes as in tests/bench_stand.h.
 *
 * Leakage: 0.412 V on a grid leak of 1 Mohm beside 10 Mohm of the meter, 0.012 V as the zero:
 * I = 0.400 V (1/1M + 1/10M) = 0.44 uA, and without the meter the grid would stand 0.44 V up
 * (Ohm's law; computed by hand).
 */
#include "tests/guide_stand.h"

#include <unistd.h>

static const char config_text[] =
    "[meter red]\nport = /dev/null\ndialect = ascii-unit\naccuracy volt-dc = 0.5% + 2\n"
    "input volt-dc = 10M\nisolated = yes\nrated = 1000 V\n"
    "[meter blue]\nport = /dev/null2\ndialect = ascii-unit\nisolated = yes\nrated = 600 V\n"
    "[meter old]\nport = /dev/null3\ndialect = ascii-unit\nisolated = no\n"
    "[meter small]\nport = /dev/null4\ndialect = ascii-unit\nisolated = yes\nrated = 300 V\n"
    "[meter unsaid]\nport = /dev/null5\ndialect = ascii-unit\n"
    "[meter unrated]\nport = /dev/null6\ndialect = ascii-unit\nisolated = yes\n";

static const char sheet_text[] =
    "position,kind,nominal,tolerance,rated,role,with\n"
    "R1,metal-film,100k,5%,,,\n"
    "R5,carbon-film,1M,5%,,grid leak,\n"
    "C1,paper,0.1 uF,10%,400 V,coupling,R5\n"
    "C2,paper,0.1 uF,10%,400 V,coupling,\n"
    "C20,electrolytic,47 uF,-20/+50%,450 V,reservoir,\n";

static const char leak_steps[] =
    "@0 guide leak C1 grid=red rail=blue leak=1M\n@1 go\n@2 go\n@3 go\n"
    "red wait 3\nred ~0.0120 V DC *12\n@6.4 go\n@7 go\n"
    "blue wait 7\nblue 412.0 V DC *8\nred wait 1\nred ~0.4120 V DC *16\n@11.5 go\n";

static void begin(struct stand *s, const char *log)
{
	stand_open(s, config_text, log, NULL);
	stand_load(s, sheet_text);
}

static void leakage(void **state)
{
	(void)state;
	struct stand s;
	begin(&s, ":memory:");
	guide_run(&s, "%s", leak_steps);
	assert_non_null(strstr(s.made, "C1 red 0.0120 V volts; C1 red 0.4120 V leakage"));
	assert_non_null(strstr(guide_status(&s), "\"state\":\"live\""));
	assert_non_null(strstr(guide_status(&s), "\"step\":\"off\""));
	guide_run(&s, "@1 go\n");
	const char *done = last_of(&s, "guide");
	assert_string_equal(stand_member(done, "event"), "done");
	assert_true(fabs(number(done, "result.leakage.value") - 0.44e-6) < 0.01e-6);
	assert_true(fabs(number(done, "result.shift.value") - 0.44) < 0.01);
	assert_true(number(done, "values.volts.seq") > number(done, "values.zero.seq"));
	/* Each names the run that it is of, by its first record; and so do its later ones. */
	double begun = number(record_of(&s, "guide", 0), "seq");
	assert_true(begun > 0);
	assert_true(number(done, "begun") == begun);
	for (int i = 0; i < 2; i++)
		assert_true(number(record_of(&s, "entry", i), "guide") == begun);
	/* Half a volt of shift is practice; 0.44 uA of 0.5 uA is within it. */
	assert_string_equal(stand_member(done, "verdict"), "within");
	assert_non_null(strstr(done, "\"assumed\":true"));
	/* Over: the meters are free, and the unit is being measured dead. */
	assert_non_null(strstr(guide_status(&s), "\"guides\":[]"));
	assert_non_null(strstr(guide_status(&s), "\"bound\":[]"));
	assert_non_null(strstr(guide_status(&s), "\"discharging\":true"));
	stand_free(&s);
}

static const struct {
	const char *what, *scene, *refused, *why;
} refusals[] = {
    {"no grid leak is known", "@0 guide leak C2 grid=red\n", "guide", "not known"},
    {"a position that is not there", "@0 guide leak C9 grid=red\n", "guide", "C9"},
    {"nobody says which meter", "@0 guide leak C1\n", "guide", "no meter"},
    {"not isolated", "@0 guide leak C1 grid=old\n", "guide", "isolated"},
    {"not rated", "@0 guide leak C1 grid=small\n", "guide", "rated for 300 V"},
    {"nobody said isolated", "@0 guide leak C1 grid=unsaid\n", "guide", "isolated=unsaid"},
    {"nobody said it of the rail's", "@0 guide leak C1 grid=red rail=unsaid\n", "guide", "role rail"},
    {"nobody said rated", "@0 guide leak C1 grid=unrated\n", "guide", "rated=unrated:600V"},
    {"only one of both said", "@0 guide leak C1 grid=unsaid isolated=unsaid\n", "guide", "rated=unsaid:600V"},
    {"said of another", "@0 guide leak C1 grid=unsaid isolated=red rated=red:600V\n", "guide", "isolated=unsaid"},
    {"said too low", "@0 guide leak C1 grid=unrated rated=unrated:100V\n", "guide", "rated for 100 V (as was said)"},
    {"the section says no", "@0 guide leak C1 grid=old isolated=old rated=old:1kV\n", "guide", "is not isolated"},
    {"the section says less", "@0 guide leak C1 grid=small rated=small:1kV\n", "guide", "rated for 300 V (rated in"},
    {"rated without volts", "@0 guide leak C1 grid=unrated rated=600V\n", "guide", "no meter 600V"},
    {"rated without volts", "@0 guide leak C1 grid=unrated rated=unrated\n", "guide", "rated=red:600V"},
    {"rated zero", "@0 guide leak C1 grid=unrated rated=unrated:0V\n", "guide", "no rating"},
    {"rated ohms", "@0 guide leak C1 grid=unrated rated=unrated:4ohm\n", "guide", "rated="},
    {"a grid leak of nothing", "@0 guide leak C1 grid=red leak=0\n", "guide", "more than nothing"},
    {"a negative one", "@0 guide leak C1 grid=red leak=-1M\n", "guide", "more than nothing"},
    {"a resistor of nothing", "@0 guide reform C20 drop=red part=blue resistor=0\n", "guide", "more than nothing"},
    {"no mains", "@0 guide rise - rail=red mains=0\n", "guide", "more than nothing"},
    {"mains below nothing", "@0 guide rise - rail=red mains=-230V\n", "guide", "more than nothing"},
    {"no volts to go to", "@0 guide reform C20 drop=red part=blue resistor=100k to=0\n", "guide", "more than"},
    {"a word of another run", "@0 guide leak C1 grid=red mains=230V\n", "guide", "says nothing to leak"},
    {"a word twice", "@0 guide leak C1 grid=red leak=1M leak=2M\n", "guide", "said twice"},
    {"a meter in two places", "@0 guide leak C1 grid=red rail=red\n", "guide", "two places"},
    {"an unknown part", "@0 guide reform CAN9 drop=red part=blue resistor=100k\n", "guide", "CAN9"},
    {"a zero with the high tension on", "@0 guide leak C1 grid=red rail=blue\n@1 go\n@2 go\n@3 go\n"
     "red 0.0120 V DC *16\nblue wait 0.3\nblue 412.0 V DC *16\n@6 go\n", "go", "412 V: the zero is taken"},
    {"leakage with the high tension off", "@0 guide leak C1 grid=red rail=blue\n@1 go\n@2 go\n@3 go\n"
     "red 0.0120 V DC *16\nblue wait 0.3\nblue 0.2 V DC *16\n@5 go\n@6 go\n"
     "red 0.0120 V DC *16\nblue 0.2 V DC *16\n@12 go\n", "go", "0.2 V: without high tension"},
    {"isolated what", "@0 guide leak C1 grid=unsaid isolated=yes\n", "guide", "no meter yes"},
    {"a unit that is live", "@0 live\n@1 guide leak C1 grid=red\n", "guide", "cold"},
    {"the same twice", "@0 guide leak C1 grid=red\n@1 guide leak C1 grid=blue\n", "guide", "already"},
    {"a meter in two runs", "@0 guide leak C1 grid=red\n@1 guide leak C2 grid=red leak=1M\n", "guide",
     "another guided run"},
    {"a word that nobody knows", "@0 guide leak C1 grid=red speed=9\n", "guide", "speed"},
    {"nothing goes on", "@0 go\n", "go", "no guided run"},
    {"nothing to take yet", "@0 guide leak C1 grid=red\n@1 go\n@2 go\n@3 go\n@4 go\n", "go", ""},
};

/* What the section does not say the person may say; it stands in the records of the run. */
static void said_of_a_meter(void **state)
{
	static const char *const scenes[] = {
	    "@0 guide leak C1 grid=unsaid isolated=unsaid rated=unsaid:600V\n@1 go\n",
	    "@0 guide leak C1 grid=unrated rated=unrated:600V\n@1 go\n",
	    "@0 guide leak C1 grid=unsaid rail=unrated isolated=unrated,unsaid rated=unrated:1kV,unsaid:500V\n@1 go\n",
	};
	(void)state;
	for (size_t i = 0; i < sizeof scenes / sizeof *scenes; i++) {
		struct stand s;
		note_row("%s", scenes[i]);
		begin(&s, ":memory:");
		guide_run(&s, "%s", scenes[i]);
		if (s.refused[0])
			fail_msg("%s: %s", s.refused, s.why.text);
		const char *begun = record_of(&s, "guide", 0);
		assert_non_null(strstr(begun, "rated=un"));
		assert_non_null(strstr(record_of(&s, "guide", 1), "\"begun\":"));
		stand_free(&s);
	}
}

static void refused(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof refusals / sizeof *refusals; i++) {
		struct stand s;
		begin(&s, ":memory:");
		guide_run(&s, "%s", refusals[i].scene);
		if (strcmp(s.refused, refusals[i].refused) != 0 || !strstr(s.why.text, refusals[i].why))
			print_error("%s: %s (%s)\n", refusals[i].what, s.refused, s.why.text);
		assert_string_equal(s.refused, refusals[i].refused);
		assert_non_null(strstr(s.why.text, refusals[i].why));
		stand_free(&s);
	}
}

/* The rail above the rating of the reservoir: said over everything, and no going on. */
static void rail_alarm(void **state)
{
	(void)state;
	struct stand s;
	begin(&s, ":memory:");
	guide_run(&s, "@0 guide leak C1 grid=red rail=blue leak=1M\n@1 go\n@2 go\n@3 go\n"
	        "red wait 3\nred ~0.0120 V DC *12\n@6.4 go\n@7 go\nblue wait 7\nblue 463.0 V DC *8\n"
	        "red wait 1\nred ~0.4120 V DC *14\n@10.9 go\n");
	assert_non_null(strstr(s.says, "alarm"));
	assert_string_equal(s.refused, "go");
	assert_non_null(strstr(guide_status(&s), "{\"alarm\":\"guide\",\"text\":\"the rail is at 463 V, above 450 V: "
	                       "SWITCH OFF\"}"));
	guide_run(&s, "blue glide 463.0 0.0 0.5 V DC *30\n@5 leave\n");
	assert_non_null(strstr(guide_status(&s), "\"alarms\":[]"));
	assert_non_null(strstr(guide_status(&s), "\"state\":\"live\"")); /* nobody said that it is off */
	stand_free(&s);
}

/* The pedal is the same hand; what is not a step of a run stays what it was. */
static void by_pedal(void **state)
{
	(void)state;
	struct stand s;
	begin(&s, ":memory:");
	guide_run(&s, "@0 guide leak C1 grid=red leak=1M\n@1 take\n@2 take\n@3 take\n"
	        "red wait 3\nred ~0.0120 V DC *12\n@6.4 take\n@7 take\n");
	assert_string_equal(s.refused, "");
	assert_non_null(strstr(guide_status(&s), "\"step\":\"volts\""));
	assert_string_equal(s.made, "C1 red 0.0120 V volts");
	/* Left: `take` means what is up again, and nothing is. */
	guide_run(&s, "@0 leave\n@0.5 take\n");
	assert_string_equal(s.refused, "take");
	stand_free(&s);
}

/* A hand that sees a value and names no meter: the run's while one waits, else that meter's.  Who
 * names the meter means it, whatever runs. */
static void by_a_hand_that_sees(void **state)
{
	struct bench_wait nobody = {0};
	(void)state;
	struct stand s;
	begin(&s, ":memory:");
	guide_run(&s, "@0 guide leak C1 grid=red rail=blue leak=1M\n@1 take\n@2 take\n@3 take\n"
	          "red wait 3\nred ~0.0120 V DC *12\nblue wait 3\nblue 0.2 V DC *12\n");
	assert_non_null(strstr(guide_status(&s), "\"step\":\"zero\""));
	assert_true(bench_take(s.bench, s.t, "red", nobody, &s.why));
	bench_collect(s.bench);
	assert_non_null(strstr(guide_status(&s), "\"step\":\"zero\""));
	guide_run(&s, "red ~0.0130 V DC *12\nblue 0.2 V DC *1\n");
	assert_true(bench_take_seen(s.bench, s.t, "blue", NULL, nobody, &s.why));
	bench_collect(s.bench);
	assert_non_null(strstr(guide_status(&s), "\"step\":\"power\""));
	assert_non_null(strstr(s.made, "C1 red 0.0130 V volts"));
	assert_null(strstr(s.made, "blue"));
	guide_run(&s, "@0 leave\n@0.2 at C1 volts\nblue 35.0 V DC *8\n");
	(void)bench_take_seen(s.bench, s.t, "blue", NULL, nobody, &s.why);
	bench_collect(s.bench);
	assert_non_null(strstr(s.made, "C1 blue 35.0 V"));
	stand_free(&s);
}

/* Next is no button of a run, again says its step once more and makes no record; of a walk they
 * stay what they are. */
static void other_buttons(void **state)
{
	(void)state;
	struct stand s;
	begin(&s, ":memory:");
	guide_run(&s, "@0 guide leak C1 grid=red leak=1M\n@1 take\n");
	int records = s.records;
	guide_run(&s, "@0.5 next\n");
	assert_string_equal(s.refused, "next");
	assert_non_null(strstr(s.why.text, "a guided run waits for the hand"));
	s.refused[0] = '\0';
	guide_run(&s, "@0.5 again\n");
	assert_string_equal(s.refused, "");
	assert_int_equal(s.records, records);
	assert_non_null(strstr(guide_status(&s), "\"step\":\"valve\""));
	guide_run(&s, "@0 walk on\n@0.5 at R1\n@1 next\n");
	assert_string_equal(s.refused, "");
	stand_free(&s);
}

/* A value that is taken back is lacked again: the run asks for it once more, and rests on no other. */
static void undone(void **state)
{
	(void)state;
	struct stand s;
	begin(&s, ":memory:");
	guide_run(&s, "@0 guide leak C1 grid=red leak=1M\n@1 go\n@2 go\n@3 go\nred wait 3\nred ~0.0120 V DC *12\n"
	          "@6.4 take\n@7 undo\n");
	assert_string_equal(s.refused, "");
	assert_non_null(strstr(guide_status(&s), "\"step\":\"zero\""));
	assert_non_null(strstr(guide_status(&s), "\"values\":{}"));
	guide_run(&s, "red ~0.0220 V DC *12\n@3.2 take\n@4 go\nred wait 1\nred ~0.4220 V DC *16\n@8.2 go\n@9 go\n");
	assert_string_equal(s.refused, "");
	assert_true(fabs(number(last_of(&s, "guide"), "values.zero.value") - 0.022) < 1e-9);
	assert_true(fabs(number(last_of(&s, "guide"), "result.leakage.value") - 0.44e-6) < 0.01e-6);
	stand_free(&s);
}

/* Its other button: the step before, while a run waits for the hand. */
static void back_by_pedal(void **state)
{
	(void)state;
	struct stand s;
	begin(&s, ":memory:");
	guide_run(&s, "@0 guide leak C1 grid=red leak=1M\n@1 take\n@2 take\n");
	assert_non_null(strstr(guide_status(&s), "\"step\":\"clip\""));
	guide_run(&s, "@0.5 back\n");
	assert_string_equal(s.refused, "");
	assert_non_null(strstr(guide_status(&s), "\"step\":\"valve\""));
	guide_run(&s, "@0 leave\n@0.5 back\n");
	assert_string_equal(s.refused, "back");
	stand_free(&s);
}

/* Killed at each step: the next daemon is at the same one, with what was kept. */
static void taken_up(void **state)
{
	(void)state;
	static const char *const scenes[] = {
	    "@0 guide leak C1 grid=red rail=blue leak=1M\n", "@1 go\n", "@1 go\n", "@1 go\n",
	    "red ~0.0120 V DC *12\n@3.4 go\n", "@1 go\n", "red ~0.4120 V DC *16\n@4.2 go\n"};
	static const char *const steps[] = {"caution", "valve", "clip", "zero", "power", "volts", "off"};
	char log[] = "/tmp/tally-guide-XXXXXX";
	int fd = mkstemp(log);
	assert_true(fd >= 0);
	close(fd);
	unlink(log);
	struct stand s;
	begin(&s, log);
	for (size_t i = 0; i < sizeof scenes / sizeof *scenes; i++) {
		char wanted[40];
		guide_run(&s, "%s", scenes[i]);
		bench_free(s.bench); /* and nothing was said before */
		s.bench = NULL;
		int64_t t = s.t;
		stand_bench(&s, NULL);
		struct log_reader *reader = log_reader_open(log, &s.why);
		assert_true(reader && bench_restore(s.bench, reader, &s.why));
		log_reader_close(reader);
		bench_run_until(s.bench, t);
		snprintf(wanted, sizeof wanted, "\"step\":\"%s\"", steps[i]);
		assert_non_null(strstr(guide_status(&s), wanted));
		assert_non_null(strstr(guide_status(&s), "{\"meter\":\"red\",\"position\":\"C1\""));
	}
	guide_run(&s, "@1 go\n");
	assert_true(fabs(number(last_of(&s, "guide"), "result.leakage.value") - 0.44e-6) < 0.01e-6);
	stand_free(&s);
	unlink(log);
}

static void dry(void **state)
{
	(void)state;
	struct stand s;
	char text[4096];
	struct text out;
	begin(&s, ":memory:");
	guide_run(&s, "@0 live\n"); /* begun it would be refused */
	text_begin(&out, text, sizeof text);
	int records = s.records;
	assert_true(bench_guide_dry(s.bench, "leak", "C1", "", &out, &s.why));
	assert_non_null(strstr(text, "caution: valve equipment kills"));
	assert_non_null(strstr(text, "4  zero: high tension off: the grid's volts are the zero of C1"));
	assert_int_equal(s.records, records);
	/* It is said that it would be refused, and why; the road is there all the same. */
	assert_non_null(strstr(text, "refused as it stands: "));
	text_begin(&out, text, sizeof text);
	assert_true(bench_guide_dry(s.bench, "reform", "C20", "", &out, &s.why));
	assert_non_null(strstr(text, "refused as it stands: which resistor stands in series with C20?"));
	assert_non_null(strstr(text, "9  hold: "));
	/* Cautions stand before all else; without a rail there is no number to give. */
	assert_memory_equal(text, "caution: ", 9);
	text_begin(&out, text, sizeof text);
	assert_true(bench_guide_dry(s.bench, "rise", "", "", &out, &s.why));
	assert_memory_equal(text, "caution: ", 9);
	assert_non_null(strstr(text, "refused as it stands: the sheet has no rail to watch"));
	assert_null(strstr(text, "nan"));
	assert_null(strstr(text, "\nmains "));
	text_begin(&out, text, sizeof text);
	assert_true(bench_guide_dry(s.bench, "lot", "4k7", "for=R1,R5", &out, &s.why));
	assert_memory_equal(text, "caution: ", 9);
	assert_non_null(strstr(text, "for: R1 and R5"));
	assert_false(bench_guide_dry(s.bench, "reform", "C99", "", &out, &s.why));
	assert_false(bench_guide_dry(s.bench, "reform", "C20", "speed=9", &out, &s.why));
	assert_false(bench_guide_dry(s.bench, "polish", "C1", "", &out, &s.why));
	stand_free(&s);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(leakage), cmocka_unit_test(refused), cmocka_unit_test(said_of_a_meter), cmocka_unit_test(rail_alarm),
	    cmocka_unit_test(by_pedal),
	    cmocka_unit_test(by_a_hand_that_sees), cmocka_unit_test(other_buttons),
	    cmocka_unit_test(undone), cmocka_unit_test(back_by_pedal), cmocka_unit_test(taken_up), cmocka_unit_test(dry),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
