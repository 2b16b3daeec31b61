/* SPDX-License-Identifier: MIT */
/* Accuracy statements, how uncertainties join, mean and standard deviation. */
#include "protocol/trade/uncertainty.h"
#include "tests/check.h"

#include <gsl/gsl_statistics_double.h>
#include <stdlib.h>

static uint64_t seed = 0xacc;
static uint64_t draw(void)
{
	seed ^= seed << 13;
	seed ^= seed >> 7;
	seed ^= seed << 17;
	return seed;
}

static void parses_statements(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		double percent, counts;
	} good[] = {
	    {"0.5% + 2", 0.5, 2},        {"0.5%", 0.5, 0},          {"2", 0, 2},
	    {"2 counts", 0, 2},          {"2 + 0.5%", 0.5, 2},      {"0.5%+2", 0.5, 2},
	    {"0.5 % + 2 digits", 0.5, 2}, {" 1.0% + 3 ", 1, 3},     {"0.08% + 2 count", 0.08, 2},
	    {"0% + 0", 0, 0},            {"+-(0.5% + 2)", 0.5, 2},  {"\xC2\xB1" "0.5% + 2 dgt", 0.5, 2},
	    {"100% + 100000", 100, 100000}, {".5%", 0.5, 0},        {"1e-3% + 1", 0.001, 1},
	};
	for (size_t i = 0; i < sizeof good / sizeof *good; i++) {
		double p = -7, c = -7;
		struct fault why;
		bool ok = accuracy_parse(good[i].text, strlen(good[i].text), &p, &c, &why);
		if (!ok)
			note_row("\"%s\": %s", good[i].text, why.text);
		assert_true(ok);
		assert_near(p, good[i].percent, 0);
		assert_near(c, good[i].counts, 0);
	}
	static const struct {
		const char *text;
		int column;
	} bad[] = {
	    {"", 1},          {"good", 1},      {"-0.5%", 1},     {"0.5% + -2", 8}, {"101%", 1},
	    {"100001", 1},    {"1% + 2%", 6},   {"1 + 2", 5},     {"1% +", 5},      {"1% 2", 2},
	    {"1% + 2 V", 8},  {"1% + 2 + 3", 8}, {"1,5%", 2},     {"+ 2", 1},       {"(1%", 1},
	};
	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
		double p = -7, c = -7;
		struct fault why = {"", "", 0, 0};
		bool ok = accuracy_parse(bad[i].text, strlen(bad[i].text), &p, &c, &why);
		if (ok || why.column != bad[i].column)
			note_row("\"%s\": %s, column %d", bad[i].text, ok ? "was read" : why.text, why.column);
		assert_false(ok);
		assert_int_equal(why.column, bad[i].column);
		assert_true(p == -7 && c == -7);
	}
}

static void survives_noise(void **state)
{
	(void)state;
	static const char alphabet[] = "0123456789.+-% ecountsdigt()\xC2\xB1";
	for (int round = 0; round < 100000; round++) {
		size_t len = draw() % 20;
		char *text = malloc(len ? len : 1);
		assert_non_null(text);
		for (size_t i = 0; i < len; i++)
			text[i] = alphabet[draw() % sizeof alphabet];
		double p = 0, c = 0;
		struct fault why;
		if (accuracy_parse(text, len, &p, &c, &why))
			assert_true(p >= 0 && p <= 100 && c >= 0 && c <= 100000);
		else
			assert_true(why.column >= 1 && why.column <= (int)len + 1);
		free(text);
	}
}

static void finds_the_line_that_applies(void **state)
{
	(void)state;
	struct accuracy a = {
	    .line = {
	        {FUNCTION_FARAD, false, {0, 0}, 1.0, 3},
	        {FUNCTION_FARAD, true, {100, -9}, 1.5, 5},
	        {FUNCTION_FARAD, true, {10, -9}, 2.0, 10},
	        {FUNCTION_OHM, true, {400, 0}, 0.8, 4},
	    },
	    .count = 4,
	};
	assert_ptr_equal(accuracy_find(&a, FUNCTION_FARAD, 1e-6), &a.line[0]);
	assert_ptr_equal(accuracy_find(&a, FUNCTION_FARAD, 100e-9), &a.line[0]); /* at the bound */
	assert_ptr_equal(accuracy_find(&a, FUNCTION_FARAD, 99e-9), &a.line[1]);
	assert_ptr_equal(accuracy_find(&a, FUNCTION_FARAD, 9.99e-9), &a.line[2]);
	assert_ptr_equal(accuracy_find(&a, FUNCTION_FARAD, -9.99e-9), &a.line[2]);
	assert_ptr_equal(accuracy_find(&a, FUNCTION_OHM, 10), &a.line[3]);
	assert_null(accuracy_find(&a, FUNCTION_OHM, 400));
	assert_null(accuracy_find(&a, FUNCTION_VOLT_DC, 1));
	/* in whatever order the configuration has them */
	struct accuracy_line swap = a.line[0];
	a.line[0] = a.line[2];
	a.line[2] = swap;
	assert_ptr_equal(accuracy_find(&a, FUNCTION_FARAD, 9.99e-9), &a.line[0]);
	assert_ptr_equal(accuracy_find(&a, FUNCTION_FARAD, 99e-9), &a.line[1]);
	assert_ptr_equal(accuracy_find(&a, FUNCTION_FARAD, 100e-9), &a.line[2]);
	for (int f = 0; f < FUNCTION_COUNT; f++) {
		struct accuracy_line l = accuracy_assumed((enum function)f);
		assert_int_equal(l.function, f);
		/* never the digit alone */
		assert_true(l.percent > 0 && l.counts >= 1 && !l.has_below);
	}
}

/* Better kinds are never worse, in any function; each has a word; counts tell them apart.
 * Common practice, no source. */
static void kinds_of_meters(void **state)
{
	(void)state;
	static const struct { int64_t counts; enum meter_class kind; } rows[] = {
		{0, METER_CLASS_HANDHELD_2000},     {1999, METER_CLASS_HANDHELD_2000},
		{-1999, METER_CLASS_HANDHELD_2000}, {2199, METER_CLASS_HANDHELD_2000},
		{2200, METER_CLASS_HANDHELD_6000},  {-5999, METER_CLASS_HANDHELD_6000},
		{9999, METER_CLASS_HANDHELD_6000},  {10000, METER_CLASS_BENCH_50000},
		{51000, METER_CLASS_BENCH_50000},   {INT64_MIN, METER_CLASS_BENCH_50000},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
		assert_int_equal(meter_class_of_counts(rows[i].counts), rows[i].kind);
	/* What a full display of each is good for: a better kind is never worse. */
	static const double display[] = {1999, 5999, 50000};
	for (int f = 0; f < FUNCTION_COUNT; f++) {
		double before = 1;
		for (int c = METER_CLASS_HANDHELD_2000; c <= METER_CLASS_BENCH_50000; c++) {
			struct accuracy_line l = accuracy_assumed_of((enum meter_class)c, (enum function)f);
			double share = l.percent / 100 + l.counts / display[c - METER_CLASS_HANDHELD_2000];
			assert_true(l.percent > 0 && l.counts >= 1 && share < before + 1e-12);
			before = share;
		}
		struct accuracy_line a = accuracy_assumed((enum function)f);
		struct accuracy_line b = accuracy_assumed_of(METER_CLASS_HANDHELD_2000, (enum function)f);
		assert_true(a.percent == b.percent && a.counts == b.counts);
	}
	struct accuracy_line lcr = accuracy_assumed_of(METER_CLASS_LCR, FUNCTION_FARAD);
	assert_true(lcr.percent < accuracy_assumed(FUNCTION_FARAD).percent);
	for (int c = METER_CLASS_UNKNOWN + 1; c < METER_CLASS_COUNT; c++) {
		enum meter_class back = METER_CLASS_UNKNOWN;
		const char *word = meter_class_word((enum meter_class)c);
		assert_true(word[0] && meter_class_from_word(word, strlen(word), &back));
		assert_int_equal(back, c);
	}
	enum meter_class none = METER_CLASS_LCR;
	assert_false(meter_class_from_word("", 0, &none));
	assert_false(meter_class_from_word("handheld", 8, &none));
	assert_int_equal(none, METER_CLASS_LCR);
}

static void accuracy_of_meters(void **state)
{
	(void)state;
	static const struct {
		const char *what;
		double reading, percent, counts, digit, half_width, u;
	} rows[] = {
	    /* maker's worked example of a handheld: 32.00 V, 2.5 % + 3; u recomputed */
	    {"dc volts", 32.00, 2.5, 3, 0.01, 0.83, 0.479201},
	    /* published interval 1.9964..2.0036 of a 5 V range; u recomputed */
	    {"5 V range", 2.000, 0.08, 2, 0.001, 0.0036, 0.002078},
	    /* the rest recomputed by JCGM 100:2008 4.3.7 */
	    {"50.00 kohm range", 47.00e3, 0.5, 2, 10, 255, 147.224},
	    {"600.0 V range", 412.3, 0.5, 3, 0.1, 2.3615, 1.363413},
	    {"negative", -412.3, 0.5, 3, 0.1, 2.3615, 1.363413},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct accuracy_line l = {FUNCTION_OHM, false, {0, 0}, rows[i].percent, rows[i].counts};
		double u = uncertainty_accuracy(&l, rows[i].reading, rows[i].digit);
		assert_near_relative(u, rows[i].u, 3e-4);
		assert_near_relative(u * sqrt(3), rows[i].half_width, 1e-12);
	}
}

/* By frequency, too: the statement that reaches just beyond the signal. */
static void finds_the_line_of_a_frequency(void **state)
{
	(void)state;
	struct accuracy a = {
	    .line = {
	        {FUNCTION_VOLT_AC, false, {0, 0}, 3, 10},
	        {FUNCTION_VOLT_AC, false, {0, 0}, 1, 5},
	        {FUNCTION_VOLT_AC, true, {10, 0}, 0.5, 3},
	        {FUNCTION_AMP_AC, false, {0, 0}, 2, 5},
	        {FUNCTION_AMP_AC, false, {0, 0}, 4, 5},
	    },
	    .count = 5,
	    .hertz = {{10, 3}, {1, 3}, {1, 3}, {1, 3}, {20, 3}},
	};
	static const struct {
		enum function f;
		double value, hertz;
		int line; /* -1: none */
	} rows[] = {
	    {FUNCTION_VOLT_AC, 100, 50, 1},   {FUNCTION_VOLT_AC, 5, 50, 2},
	    {FUNCTION_VOLT_AC, 100, 1000, 0}, /* at the bound it does not hold any more */
	    {FUNCTION_VOLT_AC, 5, 5000, 0},   {FUNCTION_VOLT_AC, 100, 10000, -1},
	    {FUNCTION_VOLT_AC, 100, 0, 0},    /* not known: the widest */
	    {FUNCTION_AMP_AC, 1, 0, 4},       {FUNCTION_AMP_AC, 1, 50, 3},
	    {FUNCTION_VOLT_DC, 1, 0, -1},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		const struct accuracy_line *got = accuracy_find_at(&a, rows[i].f, rows[i].value, rows[i].hertz);
		if (got != (rows[i].line < 0 ? NULL : &a.line[rows[i].line]))
			note_row("%s %g at %g Hz", function_name(rows[i].f), rows[i].value, rows[i].hertz);
		assert_ptr_equal(got, rows[i].line < 0 ? NULL : &a.line[rows[i].line]);
	}
}

static void uncertainties_join(void **state)
{
	(void)state;
	/* JCGM 100:2008 5.1.5: 12 uV and 8.7 uV (recomputed 8.66025) give 15 uV. */
	assert_near(uncertainty_combine(12, 8.66025, 0), 14.798647, 1e-5);
	/* EA-4/02 M:2022 S2: 22.5, 8.66, 14.4, 5.77, 5.77 mg give 29.2 (29.25) mg. */
	double u = uncertainty_combine(uncertainty_combine(22.5, 8.66, 14.4), 5.77, 5.77);
	assert_near(u, 29.25, 0.01);
	/* JCGM 100:2008 G.4.1: 0.25, 0.57, 0.82 % give 1.03 % (1.029466). */
	assert_near(uncertainty_combine(0.25, 0.57, 0.82), 1.029465881, 1e-9);
	assert_near_relative(uncertainty_combine(3e200, 4e200, 0), 5e200, 1e-15);
	assert_near_relative(uncertainty_combine(3e-200, 4e-200, 0), 5e-200, 1e-15);
	/* JCGM 100:2008 F.2.2.1: a display step dx gives dx / sqrt(12) = 0.29 dx. */
	assert_near(uncertainty_repeatability(0, 5, 1), 0.288675, 1e-6);
	assert_near(uncertainty_repeatability(0.1, 4, 1), 0.288675, 1e-6);
	assert_near(uncertainty_repeatability(4, 16, 1), 1, 1e-15);
	assert_near(uncertainty_repeatability(4, 1, 1), 4, 1e-15);
}

/* JCGM 100:2008 4.4.3, published 100.145, 1.489, 0.333; recomputed digits. */
static void gum_temperatures(void **state)
{
	(void)state;
	static const double x[] = {96.90,  98.18,  98.25,  98.61,  99.03,  99.49,  99.56,
	                           99.74,  99.89,  100.07, 100.33, 100.42, 100.68, 100.95,
	                           101.11, 101.20, 101.57, 101.84, 102.36, 102.72};
	double mean, s;
	statistics(x, 20, &mean, &s);
	assert_near(mean, 100.145, 1e-12);
	assert_near(s, 1.488844483, 1e-9);
	assert_near(uncertainty_repeatability(s, 20, 0.01), 0.332915747, 1e-9);
}

/* NIST StRD, univariate summary statistics: the NumAcc sets made by their rule,
 * with the certified mean and standard deviation.  The tolerance of the standard
 * deviation is what the binary form of the data leaves of it. */
static void nist_numacc(void **state)
{
	(void)state;
	static const struct {
		const char *name;
		double first, low, high; /* then low and high in turn */
		size_t n;
		double mean, s, mean_relative, s_relative;
	} sets[] = {
	    {"NumAcc2", 1.2, 1.1, 1.3, 1001, 1.2, 0.1, 1e-15, 1e-14},
	    {"NumAcc3", 1000000.2, 1000000.1, 1000000.3, 1001, 1000000.2, 0.1, 1e-15, 1e-9},
	    {"NumAcc4", 10000000.2, 10000000.1, 10000000.3, 1001, 10000000.2, 0.1, 1e-15, 1e-7},
	};
	double mean, s;
	static const double numacc1[] = {10000001, 10000003, 10000002};
	statistics(numacc1, 3, &mean, &s);
	assert_near(mean, 10000002, 0);
	assert_near(s, 1, 0);
	for (size_t k = 0; k < sizeof sets / sizeof *sets; k++) {
		double x[1001];
		x[0] = sets[k].first;
		for (size_t i = 1; i < sets[k].n; i++)
			x[i] = i % 2 ? sets[k].low : sets[k].high;
		statistics(x, sets[k].n, &mean, &s);
		note_row("%s", sets[k].name);
		assert_near_relative(mean, sets[k].mean, sets[k].mean_relative);
		assert_near_relative(s, sets[k].s, sets[k].s_relative);
	}
}

/* Against the GNU Scientific Library, on data that looks like readings. */
static void agrees_with_gsl(void **state)
{
	(void)state;
	for (int round = 0; round < 500; round++) {
		double x[300];
		size_t n = 2 + draw() % 298;
		double level = (double)(draw() % 1000000), digit = pow(10, (double)(draw() % 16) - 12);
		for (size_t i = 0; i < n; i++)
			x[i] = (level + (double)(draw() % 9) - 4) * digit;
		double mean, s;
		statistics(x, n, &mean, &s);
		assert_near_relative(mean, gsl_stats_mean(x, 1, n), 1e-13);
		double want = gsl_stats_sd(x, 1, n);
		assert_near(s, want, want * 1e-10 + level * digit * 1e-14);
	}
	double one = 5, mean, s;
	statistics(&one, 1, &mean, &s);
	assert_true(mean == 5 && s == 0);
	double same[4] = {0.1, 0.1, 0.1, 0.1};
	statistics(same, 4, &mean, &s);
	assert_true(mean == 0.1 && s == 0);
	statistics(same, 0, &mean, &s);
	assert_true(mean == 0 && s == 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(parses_statements),    cmocka_unit_test(survives_noise),
	    cmocka_unit_test(finds_the_line_that_applies),
	    cmocka_unit_test(finds_the_line_of_a_frequency), cmocka_unit_test(kinds_of_meters), cmocka_unit_test(accuracy_of_meters),
	    cmocka_unit_test(uncertainties_join),   cmocka_unit_test(gum_temperatures),
	    cmocka_unit_test(nist_numacc),          cmocka_unit_test(agrees_with_gsl),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
