/* SPDX-License-Identifier: MIT */
/*
 * The frequency of a signal: read, typed, taken by key, sent by a meter beside its volts; what it
 * means for judgement, accuracy and comparison; power and hum of an output in spite of a response that
 * was measured at the same place.  1 kHz as reference: common practice, no source.
 */
#include "tests/bench_stand.h"

#include "daemon/query.h"
#include "protocol/trade/crosscheck.h"
#include "protocol/trade/frequency.h"

static void test_parse(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		double hertz; /* 0: refused */
	} rows[] = {
		{"1 kHz", 1000}, {"1kHz", 1000}, {"31.5 Hz", 31.5}, {"31.5", 31.5}, {"20k", 20000},
		{"1000", 1000}, {"0", 0}, {"-50 Hz", 0}, {"3 V", 0}, {"soon", 0}, {"", 0}, {"9 THz", 0},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct decimal d = {0, 0};
		struct fault why = {.text = ""};
		if (frequency_parse(rows[i].text, &d, &why) != (rows[i].hertz > 0))
			fail_msg("\"%s\": %s", rows[i].text, why.text);
		if (rows[i].hertz > 0)
			assert_near(decimal_double(d), rows[i].hertz, 1e-9);
		else
			assert_non_null(strstr(why.text, "no frequency"));
	}
}

/* A third of an octave about 1 kHz, or about what the role says. */
static void test_elsewhere(void **state)
{
	(void)state;
	static const struct {
		const char *role, *said;
		enum function f;
		bool elsewhere;
		enum kind kind; /* 0: resistor */
	} rows[] = {
		{"load", "1 kHz", FUNCTION_VOLT_AC, false, 0}, {"load", "1.2 kHz", FUNCTION_VOLT_AC, false, 0},
		{"load", "1.3 kHz", FUNCTION_VOLT_AC, true, 0}, {"load", "400", FUNCTION_VOLT_AC, true, 0},
		{"output 400 Hz", "400", FUNCTION_VOLT_AC, false, 0}, {"output 400 Hz", "1 kHz", FUNCTION_VOLT_AC, true, 0},
		{"hum", "100", FUNCTION_VOLT_AC, false, 0}, {"load", "20", FUNCTION_VOLT_DC, false, 0},
		{"load", "20", FUNCTION_AMP_AC, true, 0},
		/* what the mains feeds is judged at the mains' frequency */
		{"", "50", FUNCTION_VOLT_AC, false, KIND_HEATER}, {"", "60", FUNCTION_VOLT_AC, false, KIND_RAIL},
		{"", "120", FUNCTION_VOLT_AC, false, KIND_RAIL}, {"", "1 kHz", FUNCTION_VOLT_AC, true, KIND_RAIL},
		{"", "1 kHz", FUNCTION_VOLT_AC, true, KIND_HEATER},
		{"output", "50", FUNCTION_VOLT_AC, true, KIND_RAIL}, {"mains primary", "50", FUNCTION_VOLT_AC, false, KIND_WINDING},
		{"", "20", FUNCTION_VOLT_AC, true, KIND_WINDING}, {"400 Hz", "50", FUNCTION_VOLT_AC, true, KIND_RAIL},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct position p = {.kind = rows[i].kind ? rows[i].kind : KIND_RESISTOR};
		struct entry e = {.function = rows[i].f};
		struct decimal d;
		struct fault why;
		snprintf(p.role, sizeof p.role, "%s", rows[i].role);
		assert_false(frequency_elsewhere(&e, &p)); /* nobody said one */
		assert_true(frequency_parse(rows[i].said, &d, &why));
		frequency_known(&e, d);
		if (frequency_elsewhere(&e, &p) != rows[i].elsewhere)
			fail_msg("%s at %s", rows[i].said, rows[i].role);
	}
}

/* ---- a bench ---- */

static const char config[] =
    "[bench]\nname = tests\n"
    "[meter red]\ndialect = ascii-unit\naccuracy volt-ac below 1 kHz = 0.5% + 3\n"
    "accuracy volt-ac below 100 kHz = 5% + 3\nbandwidth = 15 kHz\nac = rms\n"
    "[meter two]\ndialect = scpi\nquery = READ?\nfunction = volt-ac\nsecond = hertz\n";

static const char sheet[] = "position,kind,nominal,tolerance,role,with,channel,twin\n"
                            "L1,wirewound,8 ohm,5%,load,,left,L2\n"
                            "L2,wirewound,8 ohm,5%,load,,right,L1\n"
                            "H1,other,,<=5 mV,hum,L1,left,\n"
                            "V1,rail,9 V AC,5%,output 400 Hz,,left,\n";

static void begin(struct stand *s)
{
	stand_open(s, config, ":memory:", NULL);
	stand_load(s, sheet);
}

static void run(struct stand *s, const char *scene)
{
	char text[4096];
	snprintf(text, sizeof text, "%s", scene);
	stand_play(s, text);
}

static const char *last_entry(const struct stand *s)
{
	for (int i = s->records - 1; i >= 0; i--)
		if (strstr(s->record[i], "\"kind\":\"entry\""))
			return s->record[i];
	return "";
}

static bool type(struct stand *s, const char *position, const char *value, const char *frequency)
{
	struct bench_typed typed = {.position = position, .value = value, .from = "mill",
	                            .quantity = QUANTITY_VOLTS, .frequency = frequency};
	bool good = bench_enter(s->bench, s->t, &typed, (struct bench_wait){0}, &s->why);
	if (good)
		bench_collect(s->bench);
	return good;
}

static char *ask(struct stand *s, const char *method, const char *params)
{
	struct fault why;
	int code = 0;
	struct log_reader *r = log_reader_open(log_path(s->log), &why);
	json_t *p = json_loads(params, 0, NULL);
	char *text = query_run(r, method, p, &code, &why);
	json_decref(p);
	log_reader_close(r);
	if (!text)
		fail_msg("%s", why.text);
	return text;
}

static void read_last(const struct stand *s, struct entry *e)
{
	const char *text = last_entry(s);
	assert_true(entry_read(text, strlen(text), e));
}

static void test_typed(void **state)
{
	(void)state;
	struct stand s;
	struct entry e;
	begin(&s);
	/* Volts of which a frequency is said alternate. */
	assert_true(type(&s, "L1", "8.94 V", "1 kHz"));
	assert_non_null(strstr(last_entry(&s), "\"frequency\":1000,"));
	read_last(&s, &e);
	assert_int_equal(e.function, FUNCTION_VOLT_AC);
	assert_near(decimal_double(e.frequency), 1000, 1e-9);
	assert_near(e.use.signal, 1000, 1e-9);
	assert_true(type(&s, "L1", "8.1 V AC", "31.5 Hz"));
	assert_non_null(strstr(last_entry(&s), "\"frequency\":31.5,"));
	/* Without one nothing is said. */
	assert_true(type(&s, "L1", "8.1 V AC", NULL));
	assert_null(strstr(last_entry(&s), "\"frequency\""));
	/* What has none is refused, and nothing is logged. */
	int before = s.records;
	struct bench_typed ohm = {.position = "L1", .value = "8.1 ohm", .from = "mill",
	                          .quantity = QUANTITY_VALUE, .frequency = "1 kHz"};
	assert_false(bench_enter(s.bench, s.t, &ohm, (struct bench_wait){0}, &s.why));
	assert_non_null(strstr(s.why.text, "has no frequency"));
	assert_false(type(&s, "L1", "8 V", "often"));
	assert_int_equal(s.records, before);
	stand_free(&s);
}

/* A nominal counts at the frequency of its place, and nowhere else. */
static void test_judged(void **state)
{
	(void)state;
	struct stand s;
	struct entry e;
	begin(&s);
	static const struct {
		const char *value, *frequency;
		enum verdict_word word;
	} rows[] = {
		{"9.000 V AC", "400 Hz", VERDICT_WITHIN}, {"6.000 V AC", "400", VERDICT_OUTSIDE},
		{"6.000 V AC", "20 kHz", VERDICT_NONE},  {"6.000 V AC", NULL, VERDICT_OUTSIDE},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		if (!type(&s, "V1", rows[i].value, rows[i].frequency))
			fail_msg("%s", s.why.text);
		read_last(&s, &e);
		if (e.verdict.word != rows[i].word)
			fail_msg("row %zu: %s", i, last_entry(&s));
	}
	stand_free(&s);
}

/* By key, with the accuracy and the bandwidth of that frequency. */
static void test_taken(void **state)
{
	(void)state;
	struct stand s;
	struct entry e;
	begin(&s);
	run(&s, "@0 at L1 volts\nred 8.94 V AC *12\n@2.6 take red 400\n");
	read_last(&s, &e);
	assert_non_null(strstr(last_entry(&s), "\"frequency\":400,"));
	assert_near(e.basis.percent, 0.5, 0);
	run(&s, "red 8.94 V AC *12\n@2.6 take red 12kHz\n");
	read_last(&s, &e);
	assert_near(decimal_double(e.frequency), 12000, 0);
	assert_near(e.basis.percent, 5, 0);
	run(&s, "@0 at V1\nred 9.02 V AC *12\n@2.6 take red\n");
	read_last(&s, &e);
	assert_int_equal(e.verdict.word, VERDICT_WITHIN);
	/* Beyond 15 kHz this meter says nothing, whatever the role of the place. */
	assert_int_equal(e.frequency.n, 0);
	struct use use = e.use;
	struct use_doubt doubt;
	struct position p = {.kind = KIND_OTHER, .function = FUNCTION_VOLT_AC, .role = "output 400 Hz"};
	assert_false(use_outside(&use, &p, QUANTITY_VOLTS, FUNCTION_VOLT_AC, &doubt));
	use.signal = 20000;
	assert_true(use_outside(&use, &p, QUANTITY_VOLTS, FUNCTION_VOLT_AC, &doubt));
	assert_string_equal(s.refused, "");
	/* Beyond all that its accuracy is stated for it is no better than below. */
	run(&s, "red 8.94 V AC *12\n@2.6 take red 200kHz\n");
	read_last(&s, &e);
	assert_true(e.basis.assumed);
	assert_true(e.basis.percent >= 5 && e.basis.counts >= 3);
	/* What is no frequency is refused before anything is logged. */
	run(&s, "red 9.02 V AC *4\n@0.6 take red soon\n");
	assert_string_equal(s.refused, "take");
	stand_free(&s);
}

/* Acts of a tape say it, so that a replay has it. */
static void test_tape(void **state)
{
	(void)state;
	struct stand s;
	begin(&s);
	struct fault why;
	assert_true(bench_act_check(s.bench, "take", "red 20kHz", &why));
	assert_true(bench_act_check(s.bench, "take", "red", &why));
	assert_false(bench_act_check(s.bench, "take", "red 20kHz again", &why));
	assert_false(bench_act_check(s.bench, "take", "red 20 V", &why));
	assert_false(bench_act_check(s.bench, "take", "20kHz", &why));
	stand_free(&s);
}

/* A meter that sends the frequency with the volts. */
static void test_metered(void **state)
{
	(void)state;
	struct stand s;
	struct entry e;
	begin(&s);
	run(&s, "@0 at L2 volts\ntwo +8.812E+00,+4.0012E+02 *12\n@2.6 take two\n");
	read_last(&s, &e);
	assert_int_equal(e.second.kind, SECOND_HERTZ);
	assert_near(decimal_double(e.frequency), 400.12, 1e-9);
	assert_non_null(strstr(last_entry(&s), "\"frequency\":400.12"));
	/* What the person says comes before what the meter says. */
	run(&s, "two +8.812E+00,+4.0012E+02 *12\n@2.6 take two 402\n");
	read_last(&s, &e);
	assert_near(decimal_double(e.frequency), 402, 0);
	stand_free(&s);
}

/* Two meters at two frequencies measured two things. */
static void test_compared(void **state)
{
	(void)state;
	struct decimal hertz[] = {{20, 0}, {20, 3}, {24, 0}};
	for (int i = 0; i < 3; i++) {
		struct entry a = {.function = FUNCTION_VOLT_AC, .quantity = QUANTITY_VOLTS, .has_value = true,
		                  .settled = true, .value = {894, -2}, .u = 0.01, .meter = "red",
		                  .position = "L1"}, b = a;
		struct fault why;
		frequency_known(&a, hertz[0]);
		frequency_known(&b, hertz[i]);
		snprintf(b.meter, sizeof b.meter, "two");
		bool good = crosscheck_allowed(&a, &b, &why);
		assert_int_equal(good, i == 0 || i == 2);
		if (!good)
			assert_non_null(strstr(why.text, "20000 Hz"));
	}
}

/* Power and hum of what it gave at 1 kHz, though the last that was measured was 20 Hz. */
static void test_places(void **state)
{
	(void)state;
	struct stand s;
	begin(&s);
	assert_true(type(&s, "L1", "8.944 V", "1 kHz"));
	assert_true(type(&s, "L1", "4.0 V", "20 Hz"));
	assert_true(type(&s, "H1", "0.8944 mV AC", "100 Hz"));
	char *text = ask(&s, "places", "{}");
	/* 8.944^2 / 8 = 10.0 W; 20 log10(8.944 / 0.0008944) = 80.0 dB. */
	const char *power = strstr(text, "\"what\":\"power\""), *hum = strstr(text, "\"what\":\"hum\"");
	assert_non_null(power);
	assert_non_null(hum);
	assert_near(strtod(strstr(power, "\"value\":") + 8, NULL), 8.944 * 8.944 / 8, 1e-4);
	assert_near(strtod(strstr(hum, "\"value\":") + 8, NULL), 80, 1e-4);
	assert_null(strstr(power + 10, "\"what\":\"power\""));
	free(text);
	stand_free(&s);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_parse),    cmocka_unit_test(test_elsewhere), cmocka_unit_test(test_typed),
		cmocka_unit_test(test_judged),   cmocka_unit_test(test_taken),     cmocka_unit_test(test_tape),
		cmocka_unit_test(test_metered),  cmocka_unit_test(test_compared),  cmocka_unit_test(test_places),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
