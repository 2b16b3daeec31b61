/* SPDX-License-Identifier: MIT */
/*
 * The calculators that need no daemon, as people and scripts call them: `tally
 * marking`, `preferred`, `corner`.
 */
#include "tests/client_script.h"

static double number(const char *json, const char *path_of)
{
	double x = NAN;
	json_number(json_member(json, strlen(json), path_of), &x);
	return x;
}

/* Every line of the output is one JSON text; how many. */
static int lines_of_json(const char *out)
{
	int n = 0;
	for (const char *at = out; *at; n++) {
		size_t len = strcspn(at, "\n"), where;
		if (!json_valid(at, len, &where))
			fail_msg("line %d, byte %zu: %.*s", n + 1, where, (int)len, at);
		at += len;
		assert_int_equal(*at, '\n');
		at++;
	}
	return n;
}

/* Bands brown black yellow on a tubular part are 100 nF (common practice, no source);
 * on a resistor 100 kohm, 20 % (IEC 60062). */
static void markings(void **state)
{
	(void)state;
	struct run r = run_client(NULL, CLIENT("marking", "brown", "black", "yellow", "--json"));
	assert_int_equal(r.status, 0);
	assert_string_equal(r.err, "");
	assert_int_equal(lines_of_json(r.out), 2);
	assert_string_equal(r.out,
	                    "{\"value\":100000,\"unit\":\"ohm\",\"tolerance\":\"20%\",\"scheme\":\"resistor, 3 "
	                    "bands\"}\n{\"value\":1e-07,\"unit\":\"farad\",\"tolerance\":null,\"scheme\":"
	                    "\"capacitor, 3 bands, in pF\"}\n");
	run_free(&r);
	r = run_client(NULL, CLIENT("marking", "brown black yellow black yellow", "--json"));
	expect(r.out, "\"unit\":\"farad\",\"tolerance\":\"20%\",\"rated\":400", "standard output");
	run_free(&r);
	r = run_client(NULL, CLIENT("marking", "0.1/350"));
	assert_int_equal(r.status, 0);
	expect(r.out, "100 nF", "standard output");
	expect(r.out, "350 V?", "standard output");
	expect(r.out, "confirm it", "standard output");
	run_free(&r);
	r = run_client(NULL, CLIENT("marking", "--plain", "gold", "red", "black", "brown"));
	expect(r.out, "from the other end", "standard output");
	run_free(&r);
	r = run_client(NULL, CLIENT("marking", "purple", "haze"));
	assert_int_equal(r.status, 2);
	assert_string_equal(r.out, "");
	expect(r.err, "character 8", "standard error");
	run_free(&r);
	r = run_client(NULL, CLIENT("marking"));
	assert_int_equal(r.status, 2);
	run_free(&r);
}

/* IEC 60063, by hand. */
static void preferred(void **state)
{
	(void)state;
	static const char *const series[] = {"E3", "E6", "E12", "E24", "E48", "E96", "E192"};
	struct run r = run_client(NULL, CLIENT("preferred", "4k7", "--json"));
	assert_int_equal(r.status, 0);
	assert_int_equal(lines_of_json(r.out), 1);
	r.out[strcspn(r.out, "\n")] = '\0';
	for (size_t i = 0; i < 7; i++) {
		char path_of[32];
		snprintf(path_of, sizeof path_of, "%s.nearest", series[i]);
		assert_near_relative(number(r.out, path_of), i < 4 ? 4700.0 : i < 6 ? i == 4 ? 4640.0 : 4750.0
		                                                                    : 4700.0, 1e-12);
		snprintf(path_of, sizeof path_of, "%s.member", series[i]);
		/* 4.7 is in E192 and in neither E48 nor E96. */
		assert_int_equal(json_bool(json_member(r.out, strlen(r.out), path_of), false),
		                 i < 4 || i == 6);
		snprintf(path_of, sizeof path_of, "%s.below", series[i]);
		assert_true(number(r.out, path_of) < 4700);
		snprintf(path_of, sizeof path_of, "%s.above", series[i]);
		assert_true(number(r.out, path_of) > 4700);
	}
	assert_near(number(r.out, "E24.below"), 4300.0, 1e-9);
	assert_near(number(r.out, "E24.above"), 5100.0, 1e-9);
	run_free(&r);
	/* Old nominals are of no series, and no fault. */
	r = run_client(NULL, CLIENT("preferred", "8", "uF"));
	assert_int_equal(r.status, 0);
	expect(r.out, "of no series", "standard output");
	run_free(&r);
	r = run_client(NULL, CLIENT("preferred", "0", "--json"));
	assert_int_equal(r.status, 2);
	assert_string_equal(r.out, "");
	run_free(&r);
	r = run_client(NULL, CLIENT("preferred", "-4k7"));
	assert_int_equal(r.status, 2);
	run_free(&r);
}

/* 1 / (2 pi R C): 1 Mohm with 22 nF is 7.234 Hz, 220 kohm with 47 nF 15.39 Hz. */
static void corners(void **state)
{
	(void)state;
	static const struct {
		const char *R, *C;
		double hertz; /* 0: refused */
	} rows[] = {
	    {"1M", "22n", 7.23432},          {"220k", "47n", 15.3922},       {"220k", "0.047 uF", 15.3922},
	    {"47n", "220k", 15.3922},        {"1e6", "2.2e-8", 7.23432},     {"470k", ".022", 15.3922},
	    {"220 kohm", "473", 15.3922},    {"1M", "4K7", 0},               {"0", "1n", 0},
	    {"1M", "104K", 1.59155},         {"104K", "1M", 1.59155},        {"104K", "470K", 3.38628},
	    {"1M", "", 0},                   {"1M", "100", 0},               {"-1M", "1n", 0},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		note_row("%s %s", rows[i].R, rows[i].C);
		struct run r = run_client(NULL, CLIENT("corner", rows[i].R, rows[i].C, "--json"));
		assert_int_equal(r.status, rows[i].hertz > 0 ? 0 : 2);
		if (rows[i].hertz > 0) {
			r.out[strcspn(r.out, "\n")] = '\0';
			assert_near_relative(number(r.out, "hertz"), rows[i].hertz, 2e-6);
		} else {
			assert_string_equal(r.out, "");
			assert_true(r.err[0] != '\0');
		}
		run_free(&r);
	}
	struct run r = run_client(NULL, CLIENT("corner", "1", "Mohm", "22", "nF"));
	expect(r.out, "7.234 Hz", "standard output");
	run_free(&r);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(markings), cmocka_unit_test(preferred), cmocka_unit_test(corners),
	};
	return cmocka_run_group_tests(tests, set_up, tear_down);
}
