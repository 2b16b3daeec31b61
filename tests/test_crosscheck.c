/* SPDX-License-Identifier: MIT */
/* Meters against each other by E_n, who stands apart, and twins. */
#include "protocol/trade/crosscheck.h"
#include "tests/check.h"

static uint64_t seed = 0xe17;
static uint64_t draw(void)
{
	seed ^= seed << 13;
	seed ^= seed >> 7;
	seed ^= seed << 17;
	return seed;
}

/* E_n by ISO 13528:2022 section 9; the numbers recomputed. */
static void en_cases(void **state)
{
	(void)state;
	static const struct {
		double x1, U1, x2, U2, en;
		bool agree;
	} rows[] = {
	    {47.35, 0.3, 47.05, 0.15, 0.894427, true},
	    {10.02, 0.02, 10.0, 0.02, 0.707107, true},
	    {221.0, 2.2, 218.0, 1.1, 1.219673, false},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		double en = crosscheck_en(rows[i].x1, rows[i].U1, rows[i].x2, rows[i].U2);
		assert_near(en, rows[i].en, 1e-6);
		assert_int_equal(en <= 1, rows[i].agree);
		assert_near(crosscheck_en(rows[i].x2, rows[i].U2, rows[i].x1, rows[i].U1), en, 0);
	}
	assert_true(crosscheck_en(1, 0, 1, 0) == 0);
	assert_true(isinf(crosscheck_en(1, 0, 2, 0)));
}

static struct entry entry_of(const char *position, const char *meter, int64_t n, int e, double u)
{
	struct entry x = {.quantity = QUANTITY_VALUE,
	                  .condition = CONDITION_FOUND,
	                  .reach = REACH_LIFTED,
	                  .source = SOURCE_METER,
	                  .function = FUNCTION_OHM,
	                  .has_value = true,
	                  .value = {n, e},
	                  .u = u,
	                  .n = 4,
	                  .settled = true};
	snprintf(x.position, sizeof x.position, "%s", position);
	snprintf(x.meter, sizeof x.meter, "%s", meter);
	return x;
}

static void refusals(void **state)
{
	(void)state;
	struct entry a = entry_of("R12", "red", 47, 3, 100), b = entry_of("R12", "bench", 471, 2, 20);
	struct fault why = {"", "", 0, 0};
	assert_true(crosscheck_allowed(&a, &b, &why));
	assert_string_equal(why.text, "");
	for (int change = 0; change < 10; change++) {
		struct entry c = b;
		switch (change) {
		case 0:
			strcpy(c.position, "R13");
			break;
		case 1:
			c.quantity = QUANTITY_INSULATION;
			break;
		case 2:
			c.condition = CONDITION_DONE;
			break;
		case 3:
			c.reach = REACH_IN_CIRCUIT;
			break;
		case 4:
			c.function = FUNCTION_VOLT_DC;
			break;
		case 5:
			c.has_value = false;
			c.state = READING_OVERLOAD;
			break;
		case 6:
			c.struck = true;
			break;
		case 7:
			c.settled = false;
			break;
		case 8:
			c.source = SOURCE_TYPED;
			break;
		case 9:
			strcpy(c.meter, "red");
			break;
		}
		static const char *const words[] = {"positions",  "quantities", "conditions", "reach",
		                                    "functions",  "overload",   "struck",     "settled",
		                                    "typed",      "two meters"};
		fault_set(&why, "%s", "");
		assert_false(crosscheck_allowed(&a, &c, &why));
		if (!strstr(why.text, words[change]))
			note_row("%s: %s", words[change], why.text);
		assert_non_null(strstr(why.text, words[change]));
		fault_set(&why, "%s", "");
		assert_false(crosscheck_allowed(&c, &a, &why));
		assert_non_null(strstr(why.text, words[change]));
	}
}

/* The way of measuring may make two measurands of one part. */
static void ways_of_measuring(void **state)
{
	(void)state;
	static const struct {
		enum quantity quantity;
		enum function function;
		struct use a, b;
		const char *why; /* NULL: they may be compared */
	} rows[] = {
	    {QUANTITY_VALUE, FUNCTION_FARAD, {.input = 0}, {.input = 0}, NULL},
	    {QUANTITY_VALUE, FUNCTION_FARAD, {.frequency = 100}, {.frequency = 1000}, "100 Hz"},
	    {QUANTITY_VALUE, FUNCTION_FARAD, {.frequency = 100}, {.frequency = 120}, NULL},
	    {QUANTITY_VALUE, FUNCTION_FARAD, {.frequency = 100}, {.input = 0}, NULL}, /* nobody said */
	    {QUANTITY_VALUE, FUNCTION_FARAD, {.method = METHOD_RAMP}, {.method = METHOD_BRIDGE}, "ramp"},
	    {QUANTITY_VALUE, FUNCTION_FARAD, {.method = METHOD_RAMP}, {.method = METHOD_RAMP}, NULL},
	    {QUANTITY_ESR, FUNCTION_OHM, {.frequency = 1e5}, {.frequency = 120}, "Hz"},
	    {QUANTITY_VALUE, FUNCTION_OHM, {.volts = 0.5}, {.volts = 5}, NULL}, /* a resistor is one */
	    {QUANTITY_INSULATION, FUNCTION_OHM, {.volts = 50}, {.volts = 500}, "50 V"},
	    {QUANTITY_INSULATION, FUNCTION_OHM, {.volts = 500}, {.volts = 400}, NULL},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct entry a = entry_of("C1", "red", 471, -10, 1e-9), b = entry_of("C1", "blue", 472, -10, 1e-9);
		struct fault why = {"", "", 0, 0};
		a.quantity = b.quantity = rows[i].quantity;
		a.function = b.function = rows[i].function;
		a.use = rows[i].a;
		b.use = rows[i].b;
		bool allowed = crosscheck_allowed(&a, &b, &why);
		if (allowed != (rows[i].why == NULL))
			note_row("%zu: %s", i, why.text);
		assert_int_equal(allowed, rows[i].why == NULL);
		assert_true(!rows[i].why || strstr(why.text, rows[i].why));
		assert_int_equal(crosscheck_allowed(&b, &a, &why), allowed);
	}
}

/* Leads of up to 1 ohm that nobody took off. */
static void missing_offset(void **state)
{
	(void)state;
	struct entry a = entry_of("R1", "red", 103, -1, 0.01), b = entry_of("R1", "blue", 98, -1, 0.01);
	struct fault why = {"", "", 0, 0};
	assert_true(crosscheck_offset(&a, &b, &why));
	a.offset = 5;
	assert_true(crosscheck_offset(&a, &b, &why));
	assert_non_null(strstr(why.text, "blue"));
	b.offset = 6; /* both taken: it is none of that */
	assert_false(crosscheck_offset(&a, &b, &why));
	b.offset = 0;
	b.value = (struct decimal){80, -1}; /* too far for leads */
	assert_false(crosscheck_offset(&a, &b, &why));
	b.value = a.value; /* nothing to explain */
	assert_false(crosscheck_offset(&a, &b, &why));
}

static void consistency(void **state)
{
	(void)state;
	struct consistency c;
	double x[] = {5, 5, 5}, u[] = {1, 1, 1}, none[] = {1, 0, 1};
	assert_true(crosscheck_consistency(x, u, 3, &c));
	assert_true(c.chi_squared == 0 && c.p == 1 && c.consistent && c.nu == 2);
	assert_near(c.mean, 5, 0);
	assert_near(c.u, 1 / sqrt(3), 1e-15);
	assert_false(crosscheck_consistency(x, none, 3, &c));
	assert_false(crosscheck_consistency(x, u, 1, &c));
	/* free of the unit and of a common part */
	for (int round = 0; round < 500; round++) {
		double y[4], v[4], far[4], small[4], w[4];
		struct consistency d, e;
		for (int i = 0; i < 4; i++) {
			y[i] = (double)(draw() % 1000) / 100;
			v[i] = 0.1 + (double)(draw() % 100) / 50;
			far[i] = y[i] + 1e6;
			small[i] = y[i] * 1e-9;
			w[i] = v[i] * 1e-9;
		}
		assert_true(crosscheck_consistency(y, v, 4, &c) && crosscheck_consistency(far, v, 4, &d) &&
		            crosscheck_consistency(small, w, 4, &e));
		assert_near(d.chi_squared, c.chi_squared, 1e-6 * (1 + c.chi_squared));
		assert_near(e.chi_squared, c.chi_squared, 1e-9 * (1 + c.chi_squared));
		assert_int_equal(c.consistent, c.p >= 0.05);
	}
}

static void who_stands_apart(void **state)
{
	(void)state;
	static const struct {
		double x[4], U[4];
		int n, apart;
	} rows[] = {
	    {{10, 10, 12}, {0.5, 0.5, 0.5}, 3, 2},
	    {{12, 10, 10}, {0.5, 0.5, 0.5}, 3, 0},
	    {{10, 12, 10}, {0.5, 0.5, 0.5}, 3, 1},
	    {{10, 10, 10}, {0.5, 0.5, 0.5}, 3, -1},
	    {{10, 11, 12}, {0.5, 0.5, 0.5}, 3, -1},   /* all three differ */
	    {{10, 10.6, 11.2}, {0.5, 0.5, 0.5}, 3, -1}, /* the middle agrees with both */
	    {{10, 12}, {0.5, 0.5}, 2, -1},            /* of two, nobody can say */
	    {{10, 10, 10, 12}, {0.5, 0.5, 0.5, 0.5}, 4, 3},
	    {{10, 10, 12, 12}, {0.5, 0.5, 0.5, 0.5}, 4, -1},
	    /* three meters at U = 2u after a recomputed weighted-mean case: 10.01(1),
	     * 10.02(2), 10.09(3); pairwise, the third differs from the first only */
	    {{10.01, 10.02, 10.09}, {0.02, 0.04, 0.06}, 3, -1},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		int got = crosscheck_apart(rows[i].x, rows[i].U, rows[i].n);
		if (got != rows[i].apart)
			note_row("%zu: %d", i, got);
		assert_int_equal(got, rows[i].apart);
	}
	/* One moved far off stands apart, whoever it is. */
	for (int round = 0; round < 2000; round++) {
		double x[5], U[5];
		int n = 3 + (int)(draw() % 3), who = (int)(draw() % (uint64_t)n);
		for (int i = 0; i < n; i++) {
			x[i] = 100 + (double)(draw() % 100) / 200;
			U[i] = 0.5;
		}
		assert_int_equal(crosscheck_apart(x, U, n), -1);
		x[who] += 10;
		assert_int_equal(crosscheck_apart(x, U, n), who);
	}
}

static void twins(void **state)
{
	(void)state;
	struct fault why;
	struct twins t;
	struct entry a = entry_of("R12", "red", 105, 0, 0.1), b = entry_of("R112", "red", 95, 0, 0.1);
	assert_true(twins_compare(&a, &b, 0.1, &t, &why)); /* one meter for both is the rule */
	assert_near(t.ratio, 105.0 / 95, 1e-15);
	assert_near(t.difference, 0.1, 1e-15);
	assert_near(t.en, 10 / hypot(0.2, 0.2), 1e-12);
	assert_true(t.agree); /* at the bound: the better side */
	assert_true(twins_compare(&a, &b, 0.099, &t, &why));
	assert_false(t.agree);
	assert_true(twins_compare(&a, &b, 0, &t, &why));
	assert_false(t.agree);
	/* 1.23 and 1.17 differ by just 5 %, which doubles make 5.0000000000000044 */
	struct entry c = entry_of("R12", "red", 123, -2, 0), d = entry_of("R112", "red", 117, -2, 0);
	assert_true(twins_compare(&c, &d, 0.05, &t, &why));
	assert_true(t.agree);
	a.u = b.u = 5;
	assert_true(twins_compare(&a, &b, 0, &t, &why));
	assert_true(t.agree); /* within the meters' uncertainty */
	/* the other way round: the same answer, the difference negated */
	struct twins r;
	assert_true(twins_compare(&b, &a, 0, &r, &why));
	assert_near(r.difference, -t.difference, 0);
	assert_near(r.en, t.en, 0);
	assert_near(r.ratio * t.ratio, 1, 1e-15);
	/* typed values may be twins; unequal reach may not */
	a.source = SOURCE_TYPED;
	assert_true(twins_compare(&a, &b, 0, &t, &why));
	a.reach = REACH_IN_CIRCUIT;
	assert_false(twins_compare(&a, &b, 0, &t, &why));
	assert_non_null(strstr(why.text, "reach"));
	a.reach = b.reach = REACH_IN_CIRCUIT;
	assert_true(twins_compare(&a, &b, 0, &t, &why));
	b.has_value = false;
	b.state = READING_OVERLOAD;
	assert_false(twins_compare(&a, &b, 0, &t, &why));
	assert_false(twins_compare(&a, &a, 0, &t, &why));
	struct entry z = entry_of("R1", "red", 0, 0, 0), y = entry_of("R101", "red", 0, 0, 0);
	assert_true(twins_compare(&z, &y, 0, &t, &why));
	assert_true(t.agree && t.ratio == 0 && t.difference == 0 && t.en == 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(en_cases),
	    cmocka_unit_test(refusals),
	    cmocka_unit_test(ways_of_measuring),
	    cmocka_unit_test(missing_offset),
	    cmocka_unit_test(consistency),
	    cmocka_unit_test(who_stands_apart),
	    cmocka_unit_test(twins),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
