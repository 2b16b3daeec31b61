/* SPDX-License-Identifier: MIT */
/* The dialect `scpi`: how many digits of a number count, and the prefix that it is
 * shown with.  All rows follow from scpi.h. */
#include "tests/meter_check.h"

static const struct dialect *dialect(void)
{
	const struct dialect *d = dialect_find("scpi", 4);
	assert_non_null(d);
	return d;
}

/* A meter in a function, digit unknown. */
struct meter {
	struct dialect_setting setting;
	struct dialect_memory memory;
};

static struct understood say(struct meter *m, const char *line)
{
	return understand(dialect(), &m->setting, &m->memory, line, strlen(line));
}

/* Say a line, expect {n, e} of its only reading. */
static void gives(struct meter *m, const char *line, int64_t n, int e)
{
	struct understood u = say(m, line);
	assert_int_equal(u.count, 1);
	if (u.reading[0].value.n != n || u.reading[0].value.e != e)
		note_row("%s: %lld e %d", line, (long long)u.reading[0].value.n, u.reading[0].value.e);
	assert_true(u.reading[0].value.n == n);
	assert_int_equal(u.reading[0].value.e, e);
}

/* The weight of the last digit, as scpi.h has it. */
static void test_digit(void **state)
{
	(void)state;
	struct meter m = {.setting = {.function = FUNCTION_OHM}};
	gives(&m, "+4.70123000E+03", 470123, -2);
	gives(&m, "+4.70120000E+03", 470120, -2);
	gives(&m, "+4.70000000E+03", 470000, -2);
	gives(&m, "+0.00000000E+00", 0, -2);
	gives(&m, "-4.70100000E+03", -470100, -2);
	/* a finer digit in the same range */
	gives(&m, "+4.70123400E+03", 4701234, -3);
	gives(&m, "+4.70120000E+03", 4701200, -3);
	/* a range higher: coarser digits, the figures stay */
	gives(&m, "+4.70120000E+04", 4701200, -2);
	gives(&m, "+4.70123400E+04", 4701234, -2);
	/* a range lower shows itself */
	gives(&m, "+1.20345600E+02", 1203456, -4);
}

static void test_digit_of_ranges(void **state)
{
	(void)state;
	/* A range change that shows in the decade, up and down; 9.99 to 10.01 in one range
	 * is none. */
	struct meter m = {.setting = {.function = FUNCTION_VOLT_DC}};
	gives(&m, "+9.99000000E+00", 999, -2);
	gives(&m, "+1.00100000E+01", 1001, -2);
	gives(&m, "+9.99900000E+00", 9999, -3);
	gives(&m, "+1.00100000E+01", 1001, -2);
	gives(&m, "+9.99900000E+00", 9999, -3);
	gives(&m, "+1.00000000E+01", 1000, -2);

	/* Small values near zero are no range change. */
	m = (struct meter){.setting = {.function = FUNCTION_VOLT_DC}};
	gives(&m, "+1.00000000E-04", 1, -4);
	gives(&m, "+1.00000000E-03", 10, -4);
	gives(&m, "-2.00000000E-02", -200, -4);
	gives(&m, "+3.00000000E-04", 3, -4);
	/* From there to a supply rail. */
	gives(&m, "+2.85400000E+02", 2854, -1);

	/* An overload, not a number, and another function. */
	m = (struct meter){.setting = {.function = FUNCTION_OHM}};
	gives(&m, "+4.70123000E+03", 470123, -2);
	assert_int_equal(say(&m, "9.91E37").reading[0].state, READING_INVALID);
	gives(&m, "+4.70000000E+03", 470000, -2);
	assert_int_equal(say(&m, "9.9E37").reading[0].state, READING_OVERLOAD);
	gives(&m, "+4.70000000E+03", 47, 2);
	gives(&m, "+4.70100000E+03", 4701, 0);
	m.setting.function = FUNCTION_VOLT_DC;
	gives(&m, "+4.70000000E+00", 47, -1);

	/* Zero first: its own digit, and nothing learnt. */
	m = (struct meter){.setting = {.function = FUNCTION_VOLT_DC}};
	gives(&m, "0.000", 0, -3);
	gives(&m, "0.0000", 0, -4);
	gives(&m, "+1.20000000E+00", 12, -1);
	gives(&m, "0.0000", 0, -1);
}

static void test_digit_configured(void **state)
{
	(void)state;
	struct meter m = {.setting = {FUNCTION_OHM, true, {10, -3}, .rules = NULL}};
	gives(&m, "+4.70000000E+03", 470000, -2);
	gives(&m, "0", 0, -2);
	gives(&m, "+9.90000000E+04", 9900000, -2);
	/* Finer than that: no digit is dropped. */
	gives(&m, "+4.70123400E+03", 4701234, -3);
	/* What would not fit 18 figures there: as if none were configured. */
	gives(&m, "+1.00000000E+30", 1000000, 24);
}

/* The value is never changed by its weight, whatever comes before it. */
static void test_digit_never_changes_the_value(void **state)
{
	(void)state;
	srandom(7);
	struct meter m = {.setting = {.function = FUNCTION_OHM}};
	for (int i = 0; i < 50000; i++) {
		char line[60];
		struct decimal sent;
		int figures = (int)(random() % 9);
		snprintf(line, sizeof line, "%c%ld.%0*ldE%+ld", "+-"[random() % 2], random() % 10,
		         figures ? figures : 1, figures ? random() % 1000 : 0, random() % 30 - 15);
		assert_true(decimal_parse(line, strlen(line), &sent));
		struct understood u = say(&m, line);
		assert_int_equal(u.count, 1);
		assert_int_equal(decimal_compare(u.reading[0].value, sent), 0);
	}
}

static void test_prefix(void **state)
{
	(void)state;
	static const struct {
		enum function function;
		const char *line, *shown;
	} cases[] = {
	    {FUNCTION_OHM, "+4.70123000E+03", "4.70123 kohm"},
	    {FUNCTION_FARAD, "+3.45000000E-07", "345 nF"},
	    {FUNCTION_VOLT_DC, "-1.23400000E-02", "-12.34 mV"},
	    {FUNCTION_HERTZ, "+5.00100000E+01", "50.01 Hz"},
	    {FUNCTION_NONE, "+5.00100000E+05", "500100"},
	};
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		char text[80];
		struct meter m = {.setting = {.function = cases[i].function}};
		struct understood u = say(&m, cases[i].line);
		reading_shown(&u.reading[0], text, sizeof text);
		assert_string_equal(text, cases[i].shown);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_digit),
	    cmocka_unit_test(test_digit_of_ranges),
	    cmocka_unit_test(test_digit_configured),
	    cmocka_unit_test(test_digit_never_changes_the_value),
	    cmocka_unit_test(test_prefix),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
