/* SPDX-License-Identifier: MIT */
/*
 * Re-forming, from the first step to the last: parts that re-form, never do, or run away, on
 * a supply that is set as the run says; each abort by itself; what is kept, and taken up again.
 * The limits' published examples are in tests/reference/leakage-limits.tsv.
 */
#include "tests/reference.h"
#include "tests/reform_model.h"

#include "protocol/guide/guide.h"
#include "protocol/guide/guide_reform.h"

#define SECOND 1000000

struct bed {
	struct guide g;
	struct guide_out out;
	struct reform_part part;
	int64_t t;
	double S;            /* the supply */
	bool deaf;           /* the person does not set it */
	double every;        /* seconds between readings */
	int alarms;
	char alarm[GUIDE_TEXT], said[GUIDE_TEXT];
};

static struct guide_plan plan_of(double C, double rated, double R)
{
	struct guide_plan p;
	guide_plan_empty(&p);
	strcpy(p.of, "C5");
	p.nominal = C;
	p.rated = rated;
	p.R = (struct measure){R, R * 0.001};
	p.input[0] = p.input[1] = 10e6;
	return p;
}

static struct bed bed_of(struct reform_part part)
{
	struct bed b = {.part = part, .every = 1};
	struct guide_plan p = plan_of(part.C, part.rated, part.R);
	struct fault why;
	p.input[0] = p.input[1] = part.input;
	assert_true(guide_begin(&b.g, GUIDE_REFORM, &p, &why));
	return b;
}

static void input(struct bed *b, struct guide_input in)
{
	in.t = b->t;
	guide_input(&b->g, &in, &b->out);
	if (b->out.alarm) {
		b->alarms++;
		strcpy(b->alarm, b->out.text);
	}
	if (b->out.text[0])
		strcpy(b->said, b->out.text);
}

static double member(const struct guide *g, const char *key, bool of_result)
{
	static char bytes[8192];
	struct text t;
	double x = NAN;
	text_begin(&t, bytes, sizeof bytes);
	text_puts(&t, "{\"a\":0");
	if (of_result)
		guide_result_write(g, &t);
	else
		guide_look(g, &t);
	text_puts(&t, "}");
	assert_false(t.failed);
	assert_true(json_valid(t.bytes, t.len, NULL));
	json_number(json_member(t.bytes, t.len, key), &x);
	return x;
}

/* A handheld: four digits, 10 mV below 60 V and 100 mV above. */
static struct measure shown(double V)
{
	double digit = fabs(V) < 60 ? 0.01 : 0.1;
	return (struct measure){round(V / digit) * digit, 0.003 * fabs(V) + digit};
}

static void read_both(struct bed *b)
{
	double V = b->part.V;
	input(b, (struct guide_input){.act = GUIDE_READING, .role = 1, .x = shown(V)});
	input(b, (struct guide_input){.act = GUIDE_READING, .role = 0, .x = shown(b->S - V)});
}

/* The person sets the supply as they are told, and time passes; until the step is `word`. */
static bool run_to(struct bed *b, const char *word, double hours)
{
	for (double s = 0; s < hours * 3600; s += b->every) {
		double set = member(&b->g, "set", false);
		if (!b->deaf && !isnan(set))
			b->S = set;
		reform_part_run(&b->part, b->S, b->every);
		b->t += (int64_t)(b->every * SECOND);
		read_both(b);
		if (strcmp(guide_step_word(&b->g), word) == 0)
			return true;
	}
	return false;
}

static void go(struct bed *b)
{
	struct fault why;
	enum quantity q;
	const char *at;
	if (!guide_may_go(&b->g, &why))
		fail_msg("%s: %s", guide_step_word(&b->g), why.text);
	int role = guide_takes(&b->g, &q, &at);
	if (role < 0)
		input(b, (struct guide_input){.act = GUIDE_GO});
	else
		input(b, (struct guide_input){.act = GUIDE_TAKEN, .role = role, .x = b->g.live[role],
		                              .seq = b->t});
}

static void up_to_quarter(struct bed *b)
{
	struct fault why;
	go(b);
	go(b);
	assert_string_equal(guide_step_word(&b->g), "clip");
	assert_false(guide_may_go(&b->g, &why)); /* nothing is shown yet */
	read_both(b);
	go(b);
	go(b);
	assert_string_equal(guide_step_word(&b->g), "quarter");
}

static void discharged(struct bed *b)
{
	struct fault why;
	assert_string_equal(guide_step_word(&b->g), "off");
	go(b);
	assert_false(guide_may_go(&b->g, &why)); /* it still holds its charge */
	b->S = b->part.V = 0.1;
	read_both(b);
	go(b);
	assert_string_equal(guide_step_word(&b->g), "dead-again");
	assert_false(guide_may_go(&b->g, &why)); /* a minute is not over */
	for (int i = 0; i < 62; i++) {
		b->t += SECOND;
		read_both(b);
	}
	assert_int_equal(guide_unit(&b->g), GUIDE_UNIT_SAME); /* the part is out of it */
	go(b);
	assert_true(b->out.ended);
}

/* ---- parts ---- */

/* 32 uF 450 V, the maker's 100 kohm: begins with 2.5 mA at its volts, as unreformed ones do. */
static const struct reform_part good = {
    .C = 32e-6, .rated = 450, .A = 2.5e-3, .left = 40e-6, .tau = 900, .R = 100e3, .input = 10e6};
static const struct reform_part never = {
    .C = 32e-6, .rated = 450, .A = 2.5e-3, .left = 1.2e-3, .tau = 900, .R = 100e3, .input = 10e6};
static const struct reform_part runaway = {
    .C = 32e-6, .rated = 450, .A = 2.5e-3, .left = 60e-6, .tau = 600, .from = 280, .flee = 1500,
    .R = 100e3, .input = 10e6};

static void one_that_reforms(void **state)
{
	struct bed b = bed_of(good);
	(void)state;
	up_to_quarter(&b);
	assert_true(run_to(&b, "half", 2));
	assert_true(run_to(&b, "three-quarters", 2));
	assert_true(run_to(&b, "full", 2));
	assert_true(run_to(&b, "hold", 2));
	int64_t held_from = b.t;
	assert_true(run_to(&b, "volts", 1));
	assert_near((double)(b.t - held_from) / SECOND, REFORM_HOLD, 60);
	assert_int_equal(b.alarms, 0);
	assert_true(b.part.V < 450.5);
	go(&b);
	go(&b);
	/* 0.01 C V of 32 uF at 450 V: 144 uA; the true current of the made-up part. */
	assert_near(member(&b.g, "result.most", true), 144e-6, 1e-9);
	double x = b.part.V / 450;
	assert_near(member(&b.g, "result.leakage.value", true), b.part.A * x * x, 2e-6);
	assert_true(member(&b.g, "result.highest-current.value", true) > member(&b.g, "result.full.value", true));
	assert_false(b.g.failed);
	discharged(&b);
}

/* The meter at the part draws 45 uA at 450 V: left out, a part of 120 uA would fail. */
static void the_meters_inputs_count(void **state)
{
	struct bed b = bed_of(good);
	(void)state;
	b.part.left = 120e-6;
	b.part.tau = 300;
	up_to_quarter(&b);
	assert_true(run_to(&b, "volts", 6));
	go(&b);
	go(&b);
	double x = b.part.V / 450;
	assert_near(member(&b.g, "result.leakage.value", true), b.part.A * x * x, 1e-6);
	assert_true(b.part.A * x * x < 120e-6);
	assert_true((b.S - b.part.V) / 100e3 > 144e-6);
}

static void one_that_never_does(void **state)
{
	struct bed b = bed_of(never);
	(void)state;
	up_to_quarter(&b);
	b.every = 4;
	assert_true(run_to(&b, "off", 24));
	assert_true(b.g.failed);
	assert_non_null(strstr(b.g.because, "2 hours without progress"));
	assert_int_equal(b.alarms, 0);
	assert_true(member(&b.g, "result.leakage.value", true) > 144e-6);
	discharged(&b);
}

static void one_that_runs_away(void **state)
{
	struct bed b = bed_of(runaway);
	(void)state;
	up_to_quarter(&b);
	assert_true(run_to(&b, "off", 24));
	assert_true(b.g.failed);
	if (!strstr(b.g.because, "rises at constant volts"))
		fail_msg("%s", b.g.because);
	assert_int_equal(b.alarms, 1);
	assert_non_null(strstr(b.alarm, "SWITCH OFF"));
	/* It is danger until the volts are gone. */
	assert_true(b.g.alarm);
	b.S = b.part.V = 30;
	b.t += SECOND;
	input(&b, (struct guide_input){.act = GUIDE_READING, .role = 1, .x = shown(30)});
	assert_true(b.out.alarm_over);
	discharged(&b);
}

/* The period limit of 32 uF 450 V is 1.58 mA: with 10 kohm a tired part comes to it. */
static void by_the_limit_of_its_period(void **state)
{
	struct bed b = bed_of(never);
	struct guide_plan p = plan_of(32e-6, 450, 10e3);
	struct fault why;
	(void)state;
	p.limit = LEAKAGE_PERIOD;
	b.part.R = 10e3;
	assert_true(guide_begin(&b.g, GUIDE_REFORM, &p, &why));
	up_to_quarter(&b);
	assert_true(run_to(&b, "volts", 6));
	go(&b);
	go(&b);
	assert_near(member(&b.g, "result.most", true), 1.58e-3, 1e-9);
	assert_false(b.g.failed);
}

/* Below the limit, but the resistor keeps its volts away: said, and given up in the end. */
static void a_resistor_that_is_too_large(void **state)
{
	struct bed b = bed_of(never);
	struct guide_plan p = plan_of(32e-6, 450, 100e3);
	struct fault why;
	char say[GUIDE_TEXT];
	(void)state;
	p.limit = LEAKAGE_PERIOD;
	assert_true(guide_begin(&b.g, GUIDE_REFORM, &p, &why));
	up_to_quarter(&b);
	b.every = 4;
	assert_true(run_to(&b, "full", 6));
	assert_false(run_to(&b, "off", 0.5));
	guide_say(&b.g, say, sizeof say);
	assert_non_null(strstr(say, "comes near only below"));
	assert_true(run_to(&b, "off", 6));
	assert_non_null(strstr(b.g.because, "without progress"));
}

/* ---- aborts, one by one ---- */

static struct bed at_full(void)
{
	struct bed b = bed_of(good);
	b.part.tau = 200;
	up_to_quarter(&b);
	assert_true(run_to(&b, "full", 3));
	b.deaf = true;
	return b;
}

static void volts_above_the_rating(void **state)
{
	struct bed b = at_full();
	struct fault why;
	(void)state;
	b.S = 520;
	for (int i = 0; i < 60; i++)
		run_to(&b, "", 1.0 / 3600);
	assert_int_equal(b.alarms, 1);
	assert_non_null(strstr(b.alarm, "above 472 V: SWITCH OFF")); /* 1.05 times 450 */
	assert_false(b.g.failed);
	assert_false(guide_may_go(&b.g, &why));
	b.S = 450;
	for (int i = 0; i < 120 && b.g.alarm; i++)
		run_to(&b, "", 1.0 / 3600);
	assert_false(b.g.alarm);
	/* Beyond the meter's range says nothing less. */
	input(&b, (struct guide_input){.act = GUIDE_READING, .role = 1, .x = {NAN, NAN}, .over = true});
	assert_true(b.out.alarm);
	assert_non_null(strstr(b.alarm, "beyond"));
}

static void the_wrong_way_round(void **state)
{
	struct bed b = bed_of(good);
	(void)state;
	up_to_quarter(&b);
	b.t += SECOND;
	input(&b, (struct guide_input){.act = GUIDE_READING, .role = 1, .x = shown(-1.5)});
	assert_false(b.g.failed); /* a lead that picks something up */
	input(&b, (struct guide_input){.act = GUIDE_READING, .role = 1, .x = shown(-9)});
	assert_true(b.g.failed && b.out.alarm);
	assert_non_null(strstr(b.g.because, "wrong way round"));
	assert_string_equal(guide_step_word(&b.g), "off");
}

static void power_that_warms_the_can(void **state)
{
	struct bed b = bed_of(never);
	struct guide_plan p = plan_of(470e-6, 450, 4700);
	struct fault why;
	(void)state;
	/* The period limit lets 470 uF leak 19 mA, which would be 8.6 W. */
	p.limit = LEAKAGE_PERIOD;
	b.part.C = 470e-6;
	b.part.A = b.part.left = 15e-3;
	b.part.R = 4700;
	assert_true(guide_begin(&b.g, GUIDE_REFORM, &p, &why));
	assert_near(guide_reform_limit(&b.g.plan), 19.1e-3, 1e-9);
	up_to_quarter(&b);
	assert_true(run_to(&b, "off", 3));
	assert_true(b.g.failed);
	assert_non_null(strstr(b.g.because, "warms the can"));
	assert_int_equal(b.alarms, 1);
	assert_true(b.part.V < 350); /* long before its last volts */
}

/* Shorted: all volts stand over the resistor.  The same is seen where its meters are changed over. */
static void a_part_that_is_shorted(void **state)
{
	struct bed b = bed_of(good);
	(void)state;
	up_to_quarter(&b);
	b.part.A = b.part.left = 4; /* at its volts: a few volts are enough for 1 mA */
	assert_true(run_to(&b, "off", 1));
	assert_non_null(strstr(b.g.because, "it is shorted, or the meters are changed over"));
	assert_int_equal(b.alarms, 0);
}

static void over_the_resistor_beyond_the_range(void **state)
{
	struct bed b = at_full();
	(void)state;
	input(&b, (struct guide_input){.act = GUIDE_READING, .role = 0, .x = {NAN, NAN}, .over = true});
	assert_true(b.g.failed && b.out.alarm);
	assert_non_null(strstr(b.g.because, "beyond the meter's range"));
}

/* ---- what is not seen ---- */

static double slot(const struct guide *g, const char *name)
{
	static char bytes[8192];
	char path[64];
	struct text t;
	double x = NAN;
	text_begin(&t, bytes, sizeof bytes);
	text_puts(&t, "{\"a\":0");
	guide_state_write(g, &t);
	text_puts(&t, "}");
	snprintf(path, sizeof path, "values.%s.value", name);
	json_number(json_member(t.bytes, t.len, path), &x);
	return x;
}

/* A meter that is away for ten minutes: they count for nothing, and the hold begins anew. */
static void a_meter_away(void **state)
{
	static const struct {
		int role;
		bool said; /* that it is gone; else it is only silent */
	} rows[] = {{0, true}, {1, true}, {0, false}, {1, false}};
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct bed b = bed_of(good);
		note_row("role %d %s", rows[i].role, rows[i].said ? "gone" : "silent");
		b.part.tau = 200;
		up_to_quarter(&b);
		assert_true(run_to(&b, "hold", 3));
		assert_false(run_to(&b, "volts", 0.25));
		double formed = slot(&b.g, "formed"), held = slot(&b.g, "held");
		assert_true(held > 700);
		if (rows[i].said)
			input(&b, (struct guide_input){.act = GUIDE_AWAY, .role = rows[i].role});
		int other = 1 - rows[i].role;
		for (int s = 0; s < 600; s++) {
			b.t += SECOND;
			input(&b, (struct guide_input){.act = GUIDE_READING, .role = other,
			                               .x = shown(other ? b.part.V : b.S - b.part.V)});
		}
		assert_true(slot(&b.g, "formed") - formed < 40);
		read_both(&b);
		assert_near(slot(&b.g, "held"), 0, 0);
		assert_near(slot(&b.g, "away"), 1, 0);
		int64_t from = b.t;
		assert_true(run_to(&b, "volts", 1));
		assert_true((double)(b.t - from) / SECOND >= REFORM_HOLD);
	}
}

/* The daemon ends at any moment; what it kept last is taken up by another one. */
static void taken_up_again(void **state)
{
	static const char *const words[] = {"quarter", "half", "full", "hold", "volts"};
	(void)state;
	for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
		static char bytes[8192];
		struct bed b = bed_of(good);
		struct text t;
		note_row("killed at %s", words[i]);
		b.part.tau = 300;
		up_to_quarter(&b);
		if (strcmp(words[i], "quarter") != 0)
			assert_true(run_to(&b, words[i], 5));
		run_to(&b, "", 0.02);
		double formed = slot(&b.g, "formed");
		text_begin(&t, bytes, sizeof bytes);
		text_puts(&t, "{\"a\":0");
		guide_state_write(&b.g, &t);
		text_puts(&t, "}");
		assert_false(t.failed);
		struct bed after = bed_of(good);
		after.part = b.part;
		after.S = b.S;
		after.t = 5 * SECOND; /* another stream */
		assert_true(guide_state_read(&after.g, t.bytes, t.len));
		assert_string_equal(guide_step_word(&after.g), words[i]);
		assert_near(slot(&after.g, "formed"), formed, 0.01);
		after.t += SECOND;
		read_both(&after);
		assert_near(slot(&after.g, "away"), 1, 0);
		assert_near(slot(&after.g, "held"), 0, 0);
		assert_near(slot(&after.g, "formed"), formed, 0.01);
		assert_true(run_to(&after, "volts", 6));
		go(&after);
		go(&after);
		assert_true(member(&after.g, "result.leakage.value", true) < 144e-6);
	}
}

/* ---- before it begins ---- */

static void refusals(void **state)
{
	static const struct {
		double C, rated, R, to;
		enum leakage_formula limit;
		const char *why; /* NULL: it begins */
	} rows[] = {
	    {32e-6, 450, 100e3, NAN, LEAKAGE_001CV, NULL},
	    {NAN, 450, 100e3, NAN, LEAKAGE_001CV, "nominal=32u"},
	    {32e-6, NAN, 100e3, NAN, LEAKAGE_001CV, "rated=450V"},
	    {32e-6, 450, 100e3, 500, LEAKAGE_001CV, "is rated for 450 V: to 500 V is refused"},
	    {32e-6, 450, 100e3, 385, LEAKAGE_001CV, NULL},
	    {32e-6, 450, NAN, NAN, LEAKAGE_001CV, "resistor=100k"},
	    {25e-6, 25, NAN, NAN, LEAKAGE_001CV, "resistor=10k"},
	    {32e-6, 450, 47, NAN, LEAKAGE_001CV, "limits nothing"},
	    {32e-6, 600, 100e3, NAN, LEAKAGE_PERIOD, "era=modern"},
	};
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct guide g;
		struct fault why = {0};
		struct guide_plan p = plan_of(rows[i].C, rows[i].rated, rows[i].R);
		note_row("%zu: %s", i, rows[i].why ? rows[i].why : "begins");
		p.to = rows[i].to;
		p.limit = rows[i].limit;
		bool begun = guide_begin(&g, GUIDE_REFORM, &p, &why);
		assert_int_equal(begun, rows[i].why == NULL);
		if (rows[i].why && !strstr(why.text, rows[i].why))
			fail_msg("%s", why.text);
	}
}

/* tests/reference/leakage-limits.tsv: published examples, sources in its last column. */
static int limit_rows;

static void limit_row(const struct reference *row)
{
	static const struct {
		const char *name;
		enum leakage_formula formula;
	} formulas[] = {{"JAN-C-62", LEAKAGE_PERIOD}, {"0.01CV_or_3uA", LEAKAGE_001CV}};
	double unit = strcmp(row->cell[3], "mA") == 0 ? 1e-3 : 1e-6;
	for (size_t i = 0; i < sizeof formulas / sizeof *formulas; i++) {
		if (strcmp(row->cell[0], formulas[i].name) != 0)
			continue;
		struct guide_plan p = plan_of(strtod(row->cell[1], NULL) * 1e-6,
		                              strtod(row->cell[2], NULL), 100e3);
		struct guide g;
		struct fault why;
		p.limit = formulas[i].formula;
		assert_true(guide_begin(&g, GUIDE_REFORM, &p, &why));
		assert_near_relative(guide_reform_limit(&g.plan), strtod(row->cell[4], NULL) * unit, 1e-9);
		limit_rows++;
	}
}

static void limits_of_the_tables(void **state)
{
	(void)state;
	reference_read("leakage-limits", limit_row);
	assert_int_equal(limit_rows, 11);
	/* The sheet's own limit goes before. */
	struct guide_plan p = plan_of(32e-6, 450, 100e3);
	p.to = 450;
	p.high = 300e-6;
	assert_near(guide_reform_limit(&p), 300e-6, 0);
}

/* The supply that it asks for is never above the rating, whatever the current. */
static void never_above_the_rating(void **state)
{
	struct bed b = bed_of(never);
	(void)state;
	up_to_quarter(&b);
	b.every = 4;
	for (int i = 0; i < 6000; i++) {
		run_to(&b, "", 4.0 / 3600);
		assert_true(b.S <= 450);
		assert_true(b.part.V <= 450);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(one_that_reforms),
	    cmocka_unit_test(the_meters_inputs_count),
	    cmocka_unit_test(one_that_never_does),
	    cmocka_unit_test(one_that_runs_away),
	    cmocka_unit_test(by_the_limit_of_its_period),
	    cmocka_unit_test(a_resistor_that_is_too_large),
	    cmocka_unit_test(volts_above_the_rating),
	    cmocka_unit_test(the_wrong_way_round),
	    cmocka_unit_test(power_that_warms_the_can),
	    cmocka_unit_test(a_part_that_is_shorted),
	    cmocka_unit_test(over_the_resistor_beyond_the_range),
	    cmocka_unit_test(a_meter_away),
	    cmocka_unit_test(taken_up_again),
	    cmocka_unit_test(refusals),
	    cmocka_unit_test(limits_of_the_tables),
	    cmocka_unit_test(never_above_the_rating),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
