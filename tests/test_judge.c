/* SPDX-License-Identifier: MIT */
/*
 * One verdict by hand, as `tally judge` gives it.
 */
#include "tests/client_script.h"

/* ---- judge ---- */

static double number(const char *json, const char *path_of)
{
	double x = NAN;
	json_number(json_member(json, strlen(json), path_of), &x);
	return x;
}

/* Common practice, no source: parts of old amplifiers and what a meter of 1 % + 3
 * (the resistors 0.5 % + 2) says of them. */
static const struct judge_row {
	const char *nominal, *tolerance, *value, *accuracy, *verdict;
	int status;
	double deviation;
} judge_rows[] = {
	{"0.47 uF", "10%", "0.56 uF", "1.0% + 3", "outside", 1, 0.191489},
	{"0.01u", "10%", "0.02u", "1.0% + 0", "outside", 1, 1},
	{"0.01 uF", "10%", "0.15 uF", "1.0% + 3", "outside", 1, 14},
	{"0.25uF", "+-10%", "0.345uF", "1.0% + 3", "outside", 1, 0.38},
	{"0.1u", "10%", "0.45u", "1.0% + 3", "outside", 1, 3.5},
	{"0.33 uF", "10%", "331 nF", "1.0% + 3", "within", 0, 0.0030303},
	{"470n", "10%", "469n", "1.0% + 3", "within", 0, -0.00212766},
	{"100k", "1%", "100.2k", "0.1% + 2", "within", 0, 0.002},
	{"100k", "1%", "101.5k", "0.1% + 2", "outside", 1, 0.015},
	{"100k", "1%", "101.0k", "0.1% + 2", "unsure", 0, 0.01},
	{"-35 V", "10%", "-35.5 V", "0.5% + 1", "within", 0, 0.0142857},
	{"-35 V", "10%", "-42.0 V", "0.5% + 1", "outside", 1, 0.2},
	{"0 V", "+-2 V", "0.5 V", "0.5% + 1", "within", 0, NAN},
	{"-", ">=20M", "25.0M", "1% + 2", "within", 0, NAN},
	{"-", ">=20M", "OL", "1% + 2", "unsure", 0, NAN},
	{"-", ">=20M", ">40M", "1% + 2", "within", 0, NAN},
	{"100k", "5%", "OL", "1% + 2", "outside", 1, NAN},
	/* markings: 104K beside a capacitor's value is 100 nF */
	{"104K", "10%", "0.105u", "1% + 3", "within", 0, 0.05},
	{"104K", "10%", "105 nF", "1% + 3", "within", 0, 0.05},
	{"104K", "10%", "105k", "1% + 3", "within", 0, 0.00961538},
	{"473J", "5%", "56n", "1% + 3", "outside", 1, 0.191489},
	{".047", "20%", "48n", "1% + 3", "within", 0, 0.0212766},
	{"yellow violet yellow", "10%", "471k", "1% + 3", "within", 0, 0.00212766},
	{"8u", "-20/+80%", "13.0u", "1% + 3", "within", 0, 0.625},
};

static void test_judge(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof judge_rows / sizeof judge_rows[0]; i++) {
		const struct judge_row *row = &judge_rows[i];
		char word[32];
		size_t where;
		note_row("%s %s %s", row->nominal, row->tolerance, row->value);
		struct run r = run_client(NULL, CLIENT("judge", row->nominal, row->tolerance, row->value,
		                                       "--accuracy", row->accuracy, "--json"));
		assert_string_equal(r.err, "");
		r.out[strcspn(r.out, "\n")] = '\0';
		assert_true(json_valid(r.out, strlen(r.out), &where));
		json_text(json_member(r.out, strlen(r.out), "verdict"), word, sizeof word);
		assert_string_equal(word, row->verdict);
		assert_int_equal(r.status, row->status);
		if (isnan(row->deviation))
			assert_true(isnan(number(r.out, "deviation")));
		else
			assert_near_relative(number(r.out, "deviation"), row->deviation, 1e-5);
		/* The members that scripts rely on. */
		static const char *const members[] = {"side", "reason", "probability", "limits", "u"};
		for (size_t k = 0; k < sizeof members / sizeof members[0]; k++)
			assert_non_null(json_member(r.out, strlen(r.out), members[k]).at);
		run_free(&r);
	}
}

/* u: JCGM 100:2008 4.3.7 for the accuracy statement, F.2.2.1 for the step of the
 * display; limits exact. */
static void test_judge_numbers(void **state)
{
	(void)state;
	struct run r = run_client(NULL, CLIENT("judge", "0.345 uF", "10%", "0.350uF", "--accuracy",
	                                       "1% + 3", "--json"));
	double a = 0.01 * 0.35e-6 + 3 * 1e-9;
	assert_near_relative(number(r.out, "u"), sqrt(a * a / 3 + 1e-18 / 12), 1e-5);
	expect(r.out, "\"limits\":[3.105e-07,3.795e-07]", "standard output");
	run_free(&r);
	r = run_client(NULL, CLIENT("judge", "0.345 uF", "10%", "0.350uF", "--accuracy", "1% + 3",
	                            "--digit", "0.1n", "--json"));
	a = 0.01 * 0.35e-6 + 3 * 1e-10;
	assert_near_relative(number(r.out, "u"), sqrt(a * a / 3 + 1e-20 / 12), 1e-5);
	run_free(&r);
	/* Without an accuracy: a pessimistic class, and it is said. */
	r = run_client(NULL, CLIENT("judge", "470k", "10%", "512k"));
	expect(r.out, "accuracy     assumed: ", "standard output");
	run_free(&r);
	r = run_client(NULL, CLIENT("judge", "470k", "10%", "512k", "--json"));
	expect(r.out, "\"accuracy\":\"assumed\"", "standard output");
	assert_true(number(r.out, "u") > 1000 / sqrt(12));
	run_free(&r);
	r = run_client(NULL, CLIENT("judge", "470k", "10%", "612k", "--accuracy", "0.5% + 2"));
	assert_int_equal(r.status, 1);
	assert_string_equal(r.out, "outside, 30.2 % high\n"
	                           "value        612 kohm +- 5.9 kohm (U = 2 u)\n"
	                           "limits       423 to 517 kohm\n"
	                           "probability  0.0 % that it lies within\n"
	                           "accuracy     0.5% + 2\n");
	run_free(&r);
}

static void test_judge_refused(void **state)
{
	(void)state;
	static const struct { const char *argv[ARGV_MOST], *says; } rows[] = {
		{{"judge", "100q", "5%", "98k"}, "NOMINAL \"100q\""},
		{{"judge", "100k", "5q", "98k"}, "TOLERANCE \"5q\""},
		{{"judge", "100k", "5%", "9,8k"}, "VALUE \"9,8k\""},
		{{"judge", "100 kohm", "5%", "98 nF"}, "VALUE \"98 nF\""},
		{{"judge", "-", "5%", "98k"}, "without a nominal"},
		{{"judge", "100k", "5%", "98k", "--accuracy", "-1%"}, "--accuracy \"-1%\""},
		{{"judge", "100k", "5%", "98k", "--digit", "0"}, "more than 0"},
		{{"judge", "100k", "5%", "98k", "--digit", "x"}, "--digit \"x\""},
		{{"judge", "100k", "5%", ">x"}, "VALUE \">x\""},
		{{"judge", "100k", "5%", ""}, "VALUE \"\""},
	};
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		note_row("%zu", i);
		struct run r = run_client(NULL, rows[i].argv);
		assert_int_equal(r.status, 2);
		assert_string_equal(r.out, "");
		expect(r.err, rows[i].says, "standard error");
		run_free(&r);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_judge),
		cmocka_unit_test(test_judge_numbers),
		cmocka_unit_test(test_judge_refused),
	};
	return cmocka_run_group_tests(tests, set_up, tear_down);
}
