/* SPDX-License-Identifier: MIT */
/*
 * A re-forming on the bench that is cut off in the middle of each step, as by kill -9: nothing
 * is said or written before.  The next bench reads the log, is at the same step with what was
 * kept, holds the same meters, and comes to the same end; the time between counts for nothing.
 * In virtual time, with a made-up part (tests/reform_model.h).
 */
#include "tests/bench_stand.h"
#include "tests/reform_model.h"

#include <unistd.h>

static const char config_text[] =
    "[meter drop]\nport = /dev/null\ndialect = ascii-unit\naccuracy volt-dc = 0.3% + 1\n"
    "input volt-dc = 10M\nisolated = yes\nrated = 1000 V\n"
    "[meter part]\nport = /dev/null2\ndialect = ascii-unit\naccuracy volt-dc = 0.3% + 1\n"
    "input volt-dc = 10M\nisolated = yes\nrated = 1000 V\n"
    "[meter red]\nport = /dev/null3\ndialect = ascii-unit\naccuracy ohm = 0.5% + 2\n";

static const char sheet_text[] = "position,kind,nominal,tolerance,rated,role\n"
                                 "R1,metal-film,100k,5%,,\n"
                                 "C20,electrolytic,32 uF,-20/+50%,450 V,reservoir\n";

struct bed {
	struct stand s;
	struct reform_part part;
	double S;
	char log[40];
};

static const char *status(struct bed *b)
{
	static char look[16384];
	struct text out;
	text_begin(&out, look, sizeof look);
	bench_status(b->s.bench, &out);
	assert_false(out.failed);
	return look;
}

static bool at(struct bed *b, const char *step)
{
	char wanted[60];
	snprintf(wanted, sizeof wanted, "\"step\":\"%s\"", step);
	return strstr(status(b), wanted) != NULL;
}

static double number(const char *text, const char *path)
{
	double x = NAN;
	struct slice guides = json_member(text, strlen(text), "guides");
	struct slice one = json_element(guides, 0);
	if (!json_number(json_member(one.at, one.len, path), &x))
		return NAN;
	return x;
}

static void says(struct bed *b, int meter, double V)
{
	char line[64];
	snprintf(line, sizeof line, "%+.*f V DC\r\n", fabs(V) < 60 ? 2 : 1, V);
	bench_line_bytes(b->s.bench, b->s.t, meter, line, strlen(line));
	bench_collect(b->s.bench);
}

static void pass(struct bed *b, double seconds)
{
	for (double s = 0; s < seconds; s += 2) {
		double set = number(status(b), "set");
		if (!isnan(set))
			b->S = set;
		reform_part_run(&b->part, b->S, 2);
		b->s.t += 2000000;
		says(b, 1, b->part.V);
		says(b, 0, b->S - b->part.V);
	}
}

static void act(struct bed *b, const char *text)
{
	b->s.t += 100000;
	stand_act(&b->s, b->s.t, text);
	bench_collect(b->s.bench);
	if (b->s.refused[0])
		fail_msg("%s: %s", b->s.refused, b->s.why.text);
}

/* The daemon is gone, and another one comes; meanwhile the part stands as it stood. */
static void cut_off(struct bed *b)
{
	struct stand *s = &b->s;
	bench_free(s->bench);
	s->bench = NULL;
	stand_bench(s, NULL);
	struct log_reader *reader = log_reader_open(b->log, &s->why);
	assert_true(reader && bench_restore(s->bench, reader, &s->why));
	log_reader_close(reader);
	s->t += 5000000;
	bench_run_until(s->bench, s->t);
	bench_collect(s->bench);
}

/* Cut off at this step, it is at it again. */
static void cut_at(struct bed *b, const char *step)
{
	assert_true(at(b, step));
	cut_off(b);
	if (!at(b, step))
		fail_msg("not at %s: %.900s", step, status(b));
	assert_non_null(strstr(status(b), "{\"meter\":\"drop\",\"position\":\"C20\""));
	assert_non_null(strstr(status(b), "{\"meter\":\"part\",\"position\":\"C20\""));
	assert_null(strstr(b->s.says, "alarm"));
}

static void wait_for(struct bed *b, const char *step, double seconds)
{
	for (double s = 0; s < seconds && !at(b, step); s += 10)
		pass(b, 10);
	assert_true(at(b, step));
}

static const char *last_guide(const struct stand *s)
{
	for (int i = s->records - 1; i >= 0; i--)
		if (strstr(s->record[i], "\"kind\":\"guide\""))
			return s->record[i];
	return "";
}

static void begin(struct bed *b)
{
	memset(b, 0, sizeof *b);
	b->part = (struct reform_part){.C = 32e-6, .rated = 450, .A = 2.5e-3, .left = 40e-6,
	                               .tau = 300, .R = 100e3, .input = 10e6};
	strcpy(b->log, "/tmp/tally-again-XXXXXX");
	int fd = mkstemp(b->log);
	assert_true(fd >= 0);
	close(fd);
	unlink(b->log);
	stand_open(&b->s, config_text, b->log, NULL);
	stand_load(&b->s, sheet_text);
	pass(b, 4);
	act(b, "guide reform C20 drop=drop part=part resistor=100k");
}

static void cut_off_at_each_step(void **state)
{
	static const char *const waits[] = {"quarter", "half", "three-quarters", "full", "hold"};
	static const char *const hands[] = {"caution", "part", "clip", "supply"};
	struct bed b;
	(void)state;
	begin(&b);
	for (int i = 0; i < 4; i++) {
		cut_at(&b, hands[i]);
		pass(&b, 4); /* both meters are read again */
		act(&b, "go");
	}
	for (int i = 0; i < 5; i++) {
		wait_for(&b, waits[i], 7200);
		pass(&b, 60);
		cut_at(&b, waits[i]);
	}
	wait_for(&b, "volts", 7200);
	cut_at(&b, "volts");
	pass(&b, 20);
	act(&b, "go");
	cut_at(&b, "leakage");
	pass(&b, 20);
	act(&b, "go");
	cut_at(&b, "off");
	pass(&b, 4);
	act(&b, "go");
	cut_at(&b, "dead");
	b.S = b.part.V = 0;
	pass(&b, 20);
	act(&b, "go");
	pass(&b, 30);
	cut_at(&b, "dead-again");
	pass(&b, 70);
	act(&b, "go");
	const char *done = last_guide(&b.s);
	assert_string_equal(stand_member(done, "event"), "done");
	assert_string_equal(stand_member(done, "verdict"), "within");
	/* Each of the five times that it was cut off while it formed, and the two before its end. */
	double away = NAN, formed = NAN;
	assert_true(json_number(json_member(done, strlen(done), "result.breaks"), &away));
	assert_true(json_number(json_member(done, strlen(done), "result.formed"), &formed));
	assert_near(away, 5, 2);
	assert_true(formed > 1800);
	assert_non_null(strstr(b.s.made, "leakage loose"));
	assert_non_null(strstr(status(&b), "\"guides\":[]"));
	assert_non_null(strstr(status(&b), "\"state\":\"cold\""));
	stand_free(&b.s);
	unlink(b.log);
}

/* Left over night, in the middle: taken up by another daemon with the time that it was formed,
 * from its cautions on. */
static void left_and_taken_up(void **state)
{
	struct bed b;
	(void)state;
	begin(&b);
	for (int i = 0; i < 4; i++) {
		pass(&b, 4);
		act(&b, "go");
	}
	wait_for(&b, "half", 7200);
	double formed = number(status(&b), "values.formed.value");
	assert_true(formed > 200);
	act(&b, "leave C20");
	assert_non_null(strstr(status(&b), "\"guides\":[]"));
	cut_off(&b);
	assert_non_null(strstr(status(&b), "\"guides\":[]"));
	b.S = b.part.V = 0;
	pass(&b, 10);
	act(&b, "resume C20");
	assert_true(at(&b, "caution"));
	cut_at(&b, "caution");
	assert_near(number(status(&b), "values.formed.value"), formed, 1);
	assert_near(number(status(&b), "values.away.value"), 1, 0);
	/* It is one that goes on now, and is not there twice. */
	b.s.t += 1000000;
	stand_act(&b.s, b.s.t, "resume C20");
	assert_string_equal(b.s.refused, "resume");
	assert_non_null(strstr(b.s.why.text, "was left"));
	b.s.refused[0] = '\0';
	for (int i = 0; i < 4; i++) {
		pass(&b, 4);
		act(&b, "go");
	}
	wait_for(&b, "volts", 7200);
	stand_free(&b.s);
	unlink(b.log);
}

/* Ohms are measured with another meter meanwhile: the unit is cold, the part is not in it. */
static void others_go_on(void **state)
{
	struct bed b;
	(void)state;
	begin(&b);
	for (int i = 0; i < 4; i++) {
		pass(&b, 4);
		act(&b, "go");
	}
	pass(&b, 100);
	act(&b, "at R1");
	for (int i = 0; i < 24; i++) {
		const char *line = i < 6 || i > 18 ? "OL MOhm\r\n" : "+100.2 kOhm\r\n";
		b.s.t += 250000;
		bench_line_bytes(b.s.bench, b.s.t, 2, line, strlen(line));
		bench_collect(b.s.bench);
		if (i % 8 == 0) {
			says(&b, 1, b.part.V);
			says(&b, 0, b.S - b.part.V);
		}
	}
	assert_string_equal(b.s.made, "R1 red 100.2 kohm");
	/* The pedal is the walk's while the run waits for the part. */
	assert_true(strstr(status(&b), "\"hand\":false,\"step\":") != NULL);
	assert_null(strstr(b.s.says, "alarm"));
	/* ... and while a walk goes on also when the run waits for a hand. */
	b.part.tau = 60;
	wait_for(&b, "volts", 7200);
	assert_true(strstr(status(&b), "\"hand\":true,\"takes\":\"") != NULL); /* by this meter's value */
	act(&b, "walk on");
	b.s.t += 100000;
	stand_act(&b.s, b.s.t, "take");
	b.s.refused[0] = '\0'; /* red is silent: there is nothing that the walk could take */
	bench_collect(b.s.bench);
	assert_true(at(&b, "volts"));
	act(&b, "walk off");
	act(&b, "take");
	assert_true(at(&b, "leakage"));
	/* Left as it stands, its volts are a danger that nobody watches over as a run any more. */
	act(&b, "leave C20");
	says(&b, 1, b.part.V);
	says(&b, 1, b.part.V);
	assert_non_null(strstr(b.s.says, "alarm"));
	stand_free(&b.s);
	unlink(b.log);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(cut_off_at_each_step),
	    cmocka_unit_test(left_and_taken_up),
	    cmocka_unit_test(others_go_on),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
