/* SPDX-License-Identifier: MIT */
/*
 * A pot by ear: what a distance sounds like, what is said, what is logged and what is an alarm.
 */
#include "tests/check.h"

#include "protocol/guide/guide.h"

enum { HERE, TWIN, ANODE };

static void plan_bias(struct guide_plan *p)
{
	guide_plan_empty(p);
	snprintf(p->of, sizeof p->of, "BIAS");
	p->function = FUNCTION_VOLT_DC;
	p->nominal = -35;
	p->low = -37;
	p->high = -33;
	p->there[HERE] = true;
}

/* Over a sense resistor of 10 ohm, 0.42 V, with a twin and an anode. */
static void plan_sense(struct guide_plan *p)
{
	guide_plan_empty(p);
	snprintf(p->of, sizeof p->of, "R21");
	snprintf(p->twin, sizeof p->twin, "R22");
	p->function = FUNCTION_VOLT_DC;
	p->to = 0.42;
	p->R = (struct measure){10, 0.01};
	p->most = 25;
	p->there[HERE] = p->there[TWIN] = p->there[ANODE] = true;
}

static void begin(struct guide *g, const struct guide_plan *p)
{
	struct fault why;
	struct guide_out out;
	if (!guide_begin(g, GUIDE_TUNE, p, &why))
		fail_msg("%s", why.text);
	guide_input(g, &(struct guide_input){.act = GUIDE_GO}, &out);
	assert_int_equal(guide_unit(g), GUIDE_UNIT_LIVE);
	guide_input(g, &(struct guide_input){.act = GUIDE_GO}, &out);
	assert_string_equal(guide_step_word(g), "set");
}

static void read_at(struct guide *g, int role, int64_t ms, double v, struct guide_out *out)
{
	guide_input(g, &(struct guide_input){.act = GUIDE_READING, .t = ms * 1000, .role = role,
	                                     .x = {v, 0.001 * fabs(v)}}, out);
}

/* ---- pitch ---- */

static void above_is_higher_below_is_lower(void **state)
{
	(void)state;
	double before = guide_tune_ear(-64).hertz;
	for (double toward = -63.9; toward < 64; toward += 0.1) {
		struct guide_ear ear = guide_tune_ear(toward);
		assert_true(ear.hertz >= before);
		assert_true(ear.hertz >= 200 && ear.hertz <= 2000);
		if (fabs(toward) < 5)
			assert_true(ear.hertz > before);
		assert_int_equal(ear.notes, fabs(toward) <= 1 ? 2 : 1);
		before = ear.hertz;
	}
	assert_near(guide_tune_ear(0).hertz, GUIDE_EAR_TARGET, 1e-9);
}

/* The same step of the pot is a larger step of pitch near the target, and the edge of the
 * limits is heard as a leap. */
static void finer_near_the_target(void **state)
{
	(void)state;
	double near = guide_tune_ear(2).hertz / guide_tune_ear(1.5).hertz;
	double far = guide_tune_ear(8.5).hertz / guide_tune_ear(8).hertz;
	assert_true(near > far && far > 1);
	assert_true(guide_tune_ear(1.001).hertz / guide_tune_ear(1).hertz > 1.15);
	assert_true(guide_tune_ear(-1).hertz / guide_tune_ear(-1.001).hertz > 1.15);
}

static void mute_when_nothing_is_there(void **state)
{
	(void)state;
	struct guide_plan p;
	struct guide g;
	struct guide_out out;
	plan_bias(&p);
	begin(&g, &p);
	assert_true(isnan(guide_tune_toward(&g)));
	read_at(&g, HERE, 100, -36, &out);
	assert_near(guide_tune_toward(&g), -0.5, 1e-12);
	guide_input(&g, &(struct guide_input){.act = GUIDE_READING, .t = 200000, .over = true}, &out);
	assert_true(isnan(guide_tune_toward(&g)));
	struct fault why;
	assert_false(guide_may_go(&g, &why));
	read_at(&g, HERE, 300, -34, &out);
	assert_near(guide_tune_toward(&g), 0.5, 1e-12);
	guide_input(&g, &(struct guide_input){.act = GUIDE_AWAY}, &out);
	assert_true(isnan(guide_tune_toward(&g)));
}

/* ---- words ---- */

static void a_word_every_two_seconds(void **state)
{
	(void)state;
	struct guide_plan p;
	struct guide g;
	struct guide_out out;
	int words = 0;
	plan_bias(&p);
	begin(&g, &p);
	for (int ms = 0; ms <= 10000; ms += 250) {
		read_at(&g, HERE, ms, -38, &out);
		assert_false(out.keep || out.news);
		if (!out.text[0])
			continue;
		words++;
		assert_string_equal(out.text, "-38 V, 3 V more negative");
	}
	assert_int_equal(words, 6);
	read_at(&g, HERE, 12100, -34, &out);
	assert_string_equal(out.text, "-34 V, 1 V less negative, inside");
}

/* ---- what is set ---- */

static void limits_where_the_sheet_has_none(void **state)
{
	(void)state;
	struct guide_plan p;
	struct guide g;
	struct guide_out out;
	plan_sense(&p);
	begin(&g, &p);
	read_at(&g, HERE, 100, 0.42 * 1.05, &out);
	assert_near(guide_tune_toward(&g), 1, 1e-9);
	read_at(&g, HERE, 200, 0.42 * 0.9, &out);
	assert_near(guide_tune_toward(&g), -2, 1e-9);
}

static void both_of_a_pair(void **state)
{
	(void)state;
	static const bool two_meters[] = {true, false};
	for (int i = 0; i < 2; i++) {
		struct guide_plan p;
		struct guide g;
		struct guide_out out;
		enum quantity q;
		const char *at;
		plan_sense(&p);
		p.there[TWIN] = two_meters[i];
		begin(&g, &p);
		read_at(&g, HERE, 100, 0.420, &out);
		read_at(&g, ANODE, 100, 420, &out);
		assert_int_equal(guide_takes(&g, &q, &at), HERE);
		assert_string_equal(at, "R21");
		guide_input(&g, &(struct guide_input){.act = GUIDE_TAKEN, .x = {0.420, 4e-4}, .seq = 7}, &out);
		assert_string_equal(guide_step_word(&g), "twin");
		assert_int_equal(guide_takes(&g, &q, &at), two_meters[i] ? TWIN : HERE);
		assert_string_equal(at, "R22");
		assert_int_equal(q, QUANTITY_VOLTS);
		guide_input(&g, &(struct guide_input){.act = GUIDE_TAKEN, .x = {0.385, 4e-4}, .seq = 8}, &out);
		assert_true(out.ended);
		struct text t;
		char text[4096];
		double x;
		text_begin(&t, text, sizeof text);
		text_puts(&t, "{\"x\":0");
		guide_result_write(&g, &t);
		text_puts(&t, "}");
		assert_true(json_valid(text, t.len, NULL));
		/* 0.42 V over 10 ohm is 42 mA; 42.0 and 38.5 mA differ by 8.70 % of their mean: computed. */
		assert_true(json_number(json_member(text, t.len, "result.current-here.value"), &x));
		assert_near(x, 0.042, 1e-9);
		assert_true(json_number(json_member(text, t.len, "result.difference.value"), &x));
		assert_near(x, 8.6957, 1e-3);
		/* (420 - 0.42) V at 42 mA. */
		assert_true(json_number(json_member(text, t.len, "result.watts-here"), &x));
		assert_near(x, 17.6224, 1e-3);
		assert_true(json_is(json_member(text, t.len, "result.watts-verdict-here"), "within"));
	}
}

static void above_the_valves_limit_is_an_alarm(void **state)
{
	(void)state;
	struct guide_plan p;
	struct guide g;
	struct guide_out out;
	plan_sense(&p);
	begin(&g, &p);
	read_at(&g, ANODE, 0, 420, &out);
	read_at(&g, HERE, 100, 0.59, &out);
	assert_false(out.alarm);
	read_at(&g, HERE, 200, 0.60, &out); /* 25.2 W */
	assert_true(out.alarm && out.keep);
	assert_non_null(strstr(out.text, "SWITCH OFF"));
	read_at(&g, HERE, 300, 0.60, &out);
	assert_false(out.alarm);
	read_at(&g, HERE, 400, 0.58, &out); /* not yet well below */
	assert_false(out.alarm_over);
	read_at(&g, HERE, 500, 0.50, &out);
	assert_true(out.alarm_over);
}

static void balance_is_nothing_between_them(void **state)
{
	(void)state;
	struct guide_plan p;
	struct guide g;
	struct guide_out out;
	plan_sense(&p);
	p.to = NAN;
	begin(&g, &p);
	read_at(&g, HERE, 100, 0.40, &out);
	assert_true(isnan(guide_tune_toward(&g)));
	read_at(&g, TWIN, 100, 0.40, &out);
	assert_near(guide_tune_toward(&g), 0, 1e-9);
	read_at(&g, HERE, 200, 0.44, &out);
	assert_true(guide_tune_toward(&g) > 1.8 && guide_tune_toward(&g) < 2);
	read_at(&g, TWIN, 300, 0.50, &out);
	assert_true(guide_tune_toward(&g) < -2);
	/* One meter, moved: against what was logged. */
	p.there[TWIN] = false;
	begin(&g, &p);
	guide_input(&g, &(struct guide_input){.act = GUIDE_TAKEN, .x = {0.40, 4e-4}, .seq = 7}, &out);
	read_at(&g, HERE, 400, 0.40, &out);
	assert_near(guide_tune_toward(&g), 0, 1e-9);
}

static void hum_is_as_low_as_it_goes(void **state)
{
	(void)state;
	struct guide_plan p;
	struct guide g;
	struct guide_out out;
	plan_bias(&p);
	p.function = FUNCTION_VOLT_AC;
	p.nominal = p.low = p.high = NAN;
	begin(&g, &p);
	read_at(&g, HERE, 100, 0.010, &out);
	assert_near(guide_tune_toward(&g), 0, 1e-9);
	read_at(&g, HERE, 200, 0.004, &out);
	assert_near(guide_tune_toward(&g), 0, 1e-9);
	read_at(&g, HERE, 300, 0.010, &out);
	assert_true(guide_tune_toward(&g) > 10);
	p.high = 0.005;
	begin(&g, &p);
	read_at(&g, HERE, 100, 0.010, &out);
	assert_near(guide_tune_toward(&g), 2, 1e-9);
}

static void what_a_plan_needs(void **state)
{
	(void)state;
	struct guide_plan p;
	struct guide g;
	struct fault why;
	plan_sense(&p);
	p.to = NAN;
	p.twin[0] = '\0';
	assert_false(guide_begin(&g, GUIDE_TUNE, &p, &why));
	assert_non_null(strstr(why.text, "to=0.42V"));
	plan_bias(&p);
	p.nominal = 0;
	p.low = p.high = NAN;
	assert_false(guide_begin(&g, GUIDE_TUNE, &p, &why));
}

/* The twin's meter goes away: the other one is not taken for it. */
static void a_meter_that_went_is_not_another(void **state)
{
	(void)state;
	struct guide_plan p;
	struct guide g;
	struct guide_out out;
	enum quantity q;
	const char *at;
	struct fault why;
	plan_sense(&p);
	begin(&g, &p);
	read_at(&g, HERE, 100, 0.40, &out);
	read_at(&g, TWIN, 100, 0.40, &out);
	guide_input(&g, &(struct guide_input){.act = GUIDE_TAKEN, .x = {0.40, 4e-4}, .seq = 7}, &out);
	guide_input(&g, &(struct guide_input){.act = GUIDE_AWAY, .role = TWIN}, &out);
	assert_int_equal(guide_takes(&g, &q, &at), TWIN);
	assert_false(guide_may_go(&g, &why));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(above_is_higher_below_is_lower), cmocka_unit_test(finer_near_the_target),
	    cmocka_unit_test(mute_when_nothing_is_there), cmocka_unit_test(a_word_every_two_seconds),
	    cmocka_unit_test(limits_where_the_sheet_has_none), cmocka_unit_test(both_of_a_pair),
	    cmocka_unit_test(above_the_valves_limit_is_an_alarm),
	    cmocka_unit_test(balance_is_nothing_between_them), cmocka_unit_test(hum_is_as_low_as_it_goes),
	    cmocka_unit_test(what_a_plan_needs), cmocka_unit_test(a_meter_that_went_is_not_another)};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
