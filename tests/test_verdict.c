/* SPDX-License-Identifier: MIT */
/* The verdict: published cases, cases of the trade, and what must hold for all. */
#include "protocol/trade/verdict.h"
#include "tests/check.h"

#include <gsl/gsl_cdf.h>

#define WITHIN VERDICT_WITHIN
#define OUTSIDE VERDICT_OUTSIDE
#define UNSURE VERDICT_UNSURE
#define OHM FUNCTION_OHM
#define FARAD FUNCTION_FARAD
#define VDC FUNCTION_VOLT_DC

static uint64_t seed = 0x7e4d1c7;
static uint64_t draw(void)
{
	seed ^= seed << 13;
	seed ^= seed >> 7;
	seed ^= seed << 17;
	return seed;
}

static struct decimal parsed(const char *text, enum function f)
{
	struct decimal d = {0, 0};
	struct fault why;
	enum function g;
	if (!quantity_parse(text, strlen(text), f, &d, &g, &why)) {
		note_row("%s: %s", text, why.text);
		fail();
	}
	return d;
}

/* A lifted, settled reading as a table row gives it; `value` NULL is overload. */
static struct judgement judgement_of(enum kind k, enum function f, const char *nominal,
                                     const char *tolerance, const char *value, double u)
{
	struct judgement j = {.kind = k, .function = f, .u = u, .settled = true};
	struct tolerance t;
	struct fault why;
	if (nominal) {
		j.has_nominal = true;
		j.nominal = parsed(nominal, f);
	}
	assert_true(tolerance_parse(tolerance, strlen(tolerance), f, &t, &why));
	if (!limits_from(&t, j.has_nominal, j.nominal, &j.limits))
		memset(&j.limits, 0, sizeof j.limits);
	if (value) {
		j.has_value = true;
		j.value = parsed(value, f);
	}
	return j;
}

static void show(const char *what, const struct verdict *v)
{
	note_row("%s: %s %s %s p %.6f \"%s\"", what, verdict_word_name(v->word),
	         verdict_side_name(v->side), verdict_reason_name(v->reason), v->probability, v->why);
}

/* JCGM 106:2012 7.3, 7.4 and Table 1: inputs as published, digits recomputed. */
static void jcgm106_cases(void **state)
{
	(void)state;
	struct limits low = {true, false, {490, 0}, {0, 0}};
	assert_near(conformance(509.7, 8.6, &low), 0.989010, 1e-6); /* published 0.99 */
	struct limits high = {false, true, {0, 0}, {-540, -2}};
	assert_near(conformance(-5.47, 0.05, &high), 0.919243, 1e-6); /* published 0.92 */
	struct limits both = {true, true, {125, -1}, {163, -1}};
	assert_near(conformance(13.6, 1.8, &both), 0.662630, 1e-6); /* published 0.66 */
	static const struct {
		double p, z;
	} table[] = {{0.80, 0.8416}, {0.90, 1.2816}, {0.95, 1.6449}, {0.99, 2.3263}, {0.999, 3.0902}};
	struct limits zero = {false, true, {0, 0}, {0, 0}};
	for (size_t i = 0; i < sizeof table / sizeof *table; i++)
		assert_near(conformance(-table[i].z, 1, &zero), table[i].p, 2e-5);
	/* ILAC-G8:09/2019 4.2.3: specific risk at the acceptance limit for guard
	 * bands of U, 0.83 U, 1.5 U, 3 U; the numbers recomputed. */
	static const double bands[][2] = {
	    {1, 0.02275}, {0.83, 0.04846}, {1.5, 0.001350}, {3, 9.87e-10}};
	for (size_t i = 0; i < 4; i++)
		assert_near_relative(1 - conformance(-2 * bands[i][0], 1, &zero), bands[i][1], 1e-3);
}

/* Against the normal distribution of the GNU Scientific Library, tails too. */
static void conformance_agrees_with_gsl(void **state)
{
	(void)state;
	for (int round = 0; round < 20000; round++) {
		struct decimal low = {-(int64_t)(draw() % 1000), -2}, high = {(int64_t)(draw() % 1000), -2};
		struct limits l = {true, true, low, high};
		double y = ((double)(draw() % 60000) - 30000) / 1000, u = (double)(draw() % 999 + 1) / 100;
		double a = (decimal_double(l.low) - y) / u, b = (decimal_double(l.high) - y) / u;
		double want = a > 0 ? gsl_cdf_ugaussian_Q(a) - gsl_cdf_ugaussian_Q(b)
		                    : gsl_cdf_ugaussian_P(b) - gsl_cdf_ugaussian_P(a);
		double got = conformance(y, u, &l);
		assert_true(got >= 0 && got <= 1);
		assert_near(got, want, 1e-12 * want + (a <= 0 && b >= 0 ? 1e-15 : 1e-300));
		l.has_low = false;
		assert_near(conformance(y, u, &l), gsl_cdf_ugaussian_P(b), 1e-13);
		l.has_low = true;
		l.has_high = false;
		assert_near(conformance(y, u, &l), gsl_cdf_ugaussian_Q(a), 1e-13);
	}
	struct limits l = {true, true, {-1, 0}, {1, 0}};
	assert_true(conformance(1, 0, &l) == 1); /* exactly at the bound */
	assert_true(conformance(1.0000001, 0, &l) == 0);
	assert_true(conformance(NAN, 1, &l) == 0);
	assert_true(conformance(0, NAN, &l) == 0);
	assert_true(conformance(0, INFINITY, &l) == 0);
}

/* ILAC-G8:09/2019 4.2.3, the non-binary rule with w = U; equality on the better
 * side.  Computed by the rule; a conditional pass or fail is unsure here. */
static void ilac_g8_cases(void **state)
{
	(void)state;
	static const struct {
		const char *y;
		enum verdict_word word;
		enum verdict_side side;
		double pc;
	} rows[] = {
	    {"99000", WITHIN, SIDE_LOW, 1.000000},   {"109000", WITHIN, SIDE_HIGH, 0.977250},
	    {"109500", UNSURE, SIDE_HIGH, 0.841345}, {"110500", UNSURE, SIDE_HIGH, 0.158655},
	    {"111000", UNSURE, SIDE_HIGH, 0.022750}, {"89500", UNSURE, SIDE_LOW, 0.158655},
	    {"88900", OUTSIDE, SIDE_LOW, 0.013903},
	    /* one digit to either side of the bounds */
	    {"109000.001", UNSURE, SIDE_HIGH, 0.977250}, {"111000.001", OUTSIDE, SIDE_HIGH, 0.022750},
	    {"91000", WITHIN, SIDE_LOW, 0.977250},   {"90999.999", UNSURE, SIDE_LOW, 0.977250},
	    {"89000", UNSURE, SIDE_LOW, 0.022750},   {"88999.999", OUTSIDE, SIDE_LOW, 0.022750},
	    {"100000", WITHIN, SIDE_NONE, 1},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct judgement j = judgement_of(KIND_OTHER, OHM, "100k", "10%", rows[i].y, 500);
		struct verdict v = judge(&j);
		if (v.word != rows[i].word || v.side != rows[i].side)
			show(rows[i].y, &v);
		assert_int_equal(v.word, rows[i].word);
		assert_int_equal(v.side, rows[i].side);
		assert_int_equal(v.reason, v.word == UNSURE ? REASON_METER : REASON_NONE);
		assert_true(v.has_probability);
		assert_near(v.probability, rows[i].pc, 1e-6);
	}
}

/* The same in farads, where no bound is exact in binary. */
static void bounds_are_exact_in_decimals(void **state)
{
	(void)state;
	static const struct {
		const char *value;
		double u;
		enum verdict_word word;
	} rows[] = {
	    {"0.109 uF", 0.5e-9, WITHIN},   {"0.1090001 uF", 0.5e-9, UNSURE},
	    {"0.111 uF", 0.5e-9, UNSURE},   {"0.1110001 uF", 0.5e-9, OUTSIDE},
	    {"0.091 uF", 0.5e-9, WITHIN},   {"0.0909999 uF", 0.5e-9, UNSURE},
	    {"0.110 uF", 0, WITHIN},        {"0.110000001 uF", 0, OUTSIDE},
	    {"0.090 uF", 0, WITHIN},        {"0.089999999 uF", 0, OUTSIDE},
	    {"0.1 uF", NAN, UNSURE},        {"0.1 uF", INFINITY, UNSURE},
	    {"0.1 uF", -1e-9, UNSURE},      {"0.1 uF", 1e-40, WITHIN},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct judgement j = judgement_of(KIND_OTHER, FARAD, "0.1 uF", "10%", rows[i].value,
		                                  rows[i].u);
		struct verdict v = judge(&j);
		if (v.word != rows[i].word)
			show(rows[i].value, &v);
		assert_int_equal(v.word, rows[i].word);
	}
	/* digits far finer or far coarser than the limits still compare */
	struct judgement j = judgement_of(KIND_OTHER, OHM, "1", "10%", "1.09999999999999999", 1e-30);
	assert_int_equal(judge(&j).word, WITHIN);
	j.value = (struct decimal){1, 40};
	assert_int_equal(judge(&j).word, OUTSIDE);
	j.value = (struct decimal){INT64_C(999999999999999999), 40};
	assert_int_equal(judge(&j).word, OUTSIDE);
	j.value.n = -j.value.n;
	assert_int_equal(judge(&j).word, OUTSIDE);
	assert_int_equal(judge(&j).side, SIDE_LOW);
}

/* Facts of the trade: common practice, no source.  A meter of 1 % + 3. */
static void cases_of_the_trade(void **state)
{
	(void)state;
	static const struct {
		enum kind kind;
		const char *nominal, *tolerance, *value;
		enum verdict_word word;
		enum verdict_side side;
		enum verdict_reason reason;
	} rows[] = {
	    {KIND_PAPER, "0.47 uF", "10%", "0.56 uF", OUTSIDE, SIDE_HIGH, REASON_LEAKAGE},
	    {KIND_PAPER, "0.01 uF", "10%", "0.020 uF", OUTSIDE, SIDE_HIGH, REASON_LEAKAGE},
	    {KIND_PAPER, "0.01 uF", "10%", "0.150 uF", OUTSIDE, SIDE_HIGH, REASON_LEAKAGE},
	    {KIND_PAPER, "0.25 uF", "10%", "0.345 uF", OUTSIDE, SIDE_HIGH, REASON_LEAKAGE},
	    {KIND_PAPER, "0.1 uF", "10%", "0.45 uF", OUTSIDE, SIDE_HIGH, REASON_LEAKAGE},
	    {KIND_CAPACITOR, "0.1 uF", "10%", "0.45 uF", OUTSIDE, SIDE_HIGH, REASON_LEAKAGE},
	    {KIND_OTHER, "0.1 uF", "10%", "0.45 uF", OUTSIDE, SIDE_HIGH, REASON_NONE},
	    {KIND_PAPER, "0.1 uF", "10%", "0.0800 uF", OUTSIDE, SIDE_LOW, REASON_NONE},
	    {KIND_PAPER, "0.1 uF", "10%", "0.0473 uF", OUTSIDE, SIDE_LOW, REASON_OTHER_VALUE},
	    {KIND_FILM, "0.33 uF", "10%", "331 nF", WITHIN, SIDE_HIGH, REASON_NONE},
	    {KIND_FILM, "0.47 uF", "10%", "469 nF", WITHIN, SIDE_LOW, REASON_NONE},
	    {KIND_ELECTROLYTIC, "100 uF", "-20/+50%", "330 uF", OUTSIDE, SIDE_HIGH, REASON_OTHER_VALUE},
	    {KIND_CAPACITOR, "100 uF", "-20/+50%", "330 uF", OUTSIDE, SIDE_HIGH, REASON_OTHER_VALUE},
	    {KIND_ELECTROLYTIC, "100 uF", "-20/+50%", "33.0 uF", OUTSIDE, SIDE_LOW, REASON_NONE},
	    {KIND_FILM, "0.1 uF", "10%", "0.221 uF", OUTSIDE, SIDE_HIGH, REASON_OTHER_VALUE},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct decimal d = parsed(rows[i].value, FARAD);
		double a = 0.01 * decimal_double(d) + 3 * pow(10, d.e);
		struct judgement j = judgement_of(rows[i].kind, FARAD, rows[i].nominal, rows[i].tolerance,
		                                  rows[i].value, a / sqrt(3));
		struct verdict v = judge(&j);
		if (v.word != rows[i].word || v.reason != rows[i].reason || v.side != rows[i].side)
			show(rows[i].value, &v);
		assert_int_equal(v.word, rows[i].word);
		assert_int_equal(v.side, rows[i].side);
		assert_int_equal(v.reason, rows[i].reason);
		assert_int_equal(v.has_other, rows[i].reason == REASON_OTHER_VALUE);
		assert_true(v.word != OUTSIDE || rows[i].kind == KIND_OTHER || v.why[0]);
	}
	struct judgement j = judgement_of(KIND_ELECTROLYTIC, FARAD, "100 uF", "20%", "331 uF", 2e-6);
	struct verdict v = judge(&j);
	assert_int_equal(decimal_compare(v.other, (struct decimal){330, -6}), 0);
	assert_non_null(strstr(v.why, "330 uF"));
}

static void resistors_of_the_trade(void **state)
{
	(void)state;
	static const struct {
		enum kind kind;
		const char *nominal, *tolerance, *value;
		double u;
		enum verdict_word word;
		enum verdict_reason reason;
		const char *why;
	} rows[] = {
	    {KIND_CARBON_COMPOSITION, "470k", "10%", "680k", 2000, OUTSIDE, REASON_NONE,
	     "carbon, drifted up"},
	    {KIND_CARBON_COMPOSITION, "470k", "10%", "612k", 2000, OUTSIDE, REASON_NONE,
	     "carbon, drifted up"},
	    {KIND_CARBON_COMPOSITION, "4k7", "5%", "5k4", 20, OUTSIDE, REASON_NONE,
	     "carbon, drifted up"},
	    {KIND_CARBON_COMPOSITION, "4k7", "10%", "4k1", 20, OUTSIDE, REASON_NONE, "unusual"},
	    {KIND_CARBON_COMPOSITION, "100k", "10%", "1.00M", 4000, OUTSIDE, REASON_OTHER_VALUE,
	     "1 Mohm"},
	    {KIND_METAL_FILM, "10k", "1%", "10.05k", 20, WITHIN, REASON_NONE, ""},
	    {KIND_METAL_FILM, "10k", "1%", "10.15k", 20, OUTSIDE, REASON_NONE, "drifted up"},
	    {KIND_METAL_FILM, "10k", "1%", "10.09k", 20, UNSURE, REASON_METER, "too near"},
	    {KIND_METAL_FILM, "10k", "1%", "22.1k", 50, OUTSIDE, REASON_OTHER_VALUE, "22 kohm"},
	    /* a meter that is itself not good to 1 % cannot pass a 1 % part */
	    {KIND_METAL_FILM, "10k", "1%", "10.00k", 90, UNSURE, REASON_METER, "too near"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct judgement j = judgement_of(rows[i].kind, OHM, rows[i].nominal, rows[i].tolerance,
		                                  rows[i].value, rows[i].u);
		struct verdict v = judge(&j);
		if (v.word != rows[i].word || v.reason != rows[i].reason || !strstr(v.why, rows[i].why))
			show(rows[i].value, &v);
		assert_int_equal(v.word, rows[i].word);
		assert_int_equal(v.reason, rows[i].reason);
		assert_non_null(strstr(v.why, rows[i].why));
	}
	struct judgement j = judgement_of(KIND_RESISTOR, OHM, "470k", "10%", "611k", 100);
	struct verdict v = judge(&j);
	assert_true(v.has_deviation);
	assert_near(v.deviation, 0.3, 1e-15);
}

/* In circuit, capacitors discharged, no residual emf: the true resistance is at
 * least the reading (parallel paths), so only high is conclusive. */
static void in_circuit(void **state)
{
	(void)state;
	static const struct {
		enum function f;
		const char *nominal, *tolerance, *value;
		double u;
		enum verdict_word word;
		enum verdict_side side;
		enum verdict_reason reason;
		const char *why;
	} rows[] = {
	    {OHM, "100k", "10%", "118k", 500, OUTSIDE, SIDE_HIGH, REASON_NONE, "leads swapped"},
	    {OHM, "100k", "10%", "95k", 500, UNSURE, SIDE_LOW, REASON_CIRCUIT, "lift"},
	    {OHM, "100k", "10%", "41k", 500, UNSURE, SIDE_LOW, REASON_CIRCUIT, "lift"},
	    {OHM, "100k", "10%", "105k", 500, UNSURE, SIDE_HIGH, REASON_CIRCUIT, "lift"},
	    {OHM, "100k", "10%", "110.5k", 500, UNSURE, SIDE_HIGH, REASON_CIRCUIT, "lift"},
	    {OHM, "100k", "10%", "950k", 500, OUTSIDE, SIDE_HIGH, REASON_NONE, "leads swapped"},
	    {OHM, NULL, ">=20M", "25M", 100e3, WITHIN, SIDE_NONE, REASON_NONE, "lower"},
	    {OHM, NULL, ">=20M", "15M", 100e3, UNSURE, SIDE_LOW, REASON_CIRCUIT, "lift"},
	    {OHM, NULL, "<=0.1", "0.05", 0.005, UNSURE, SIDE_NONE, REASON_CIRCUIT, "lift"},
	    {OHM, NULL, "<=0.1", "5.00", 0.05, OUTSIDE, SIDE_HIGH, REASON_NONE, "swapped"},
	    {FARAD, "0.1 uF", "10%", "0.1 uF", 1e-9, UNSURE, SIDE_NONE, REASON_CIRCUIT, "lift"},
	    {FARAD, "0.1 uF", "10%", "0.03 uF", 1e-9, UNSURE, SIDE_LOW, REASON_CIRCUIT, "lift"},
	    {FARAD, "0.1 uF", "10%", "0.5 uF", 1e-9, UNSURE, SIDE_HIGH, REASON_CIRCUIT, "lift"},
	    {FUNCTION_HENRY, "10 H", "20%", "10 H", 0.1, UNSURE, SIDE_NONE, REASON_CIRCUIT, "lift"},
	    {FUNCTION_DIODE, "0.6 V", "20%", "0.1 V", 0.01, UNSURE, SIDE_LOW, REASON_CIRCUIT, "lift"},
	    {FUNCTION_DIODE, "0.6 V", "20%", "0.62 V", 0.01, WITHIN, SIDE_HIGH, REASON_NONE, ""},
	    {FUNCTION_DIODE, "0.6 V", "20%", "1.2 V", 0.01, OUTSIDE, SIDE_HIGH, REASON_NONE, ""},
	    {VDC, "285 V", "10%", "280 V", 1, WITHIN, SIDE_LOW, REASON_NONE, ""},
	    {VDC, "285 V", "10%", "200 V", 1, OUTSIDE, SIDE_LOW, REASON_NONE, ""},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct judgement j = judgement_of(KIND_CARBON_COMPOSITION, rows[i].f, rows[i].nominal,
		                                  rows[i].tolerance, rows[i].value, rows[i].u);
		j.in_circuit = true;
		struct verdict v = judge(&j);
		if (v.word != rows[i].word || v.reason != rows[i].reason || v.side != rows[i].side)
			show(rows[i].value, &v);
		assert_int_equal(v.word, rows[i].word);
		assert_int_equal(v.side, rows[i].side);
		assert_int_equal(v.reason, rows[i].reason);
		assert_non_null(strstr(v.why, rows[i].why));
		assert_false(v.has_other);
		assert_true(v.reason != REASON_CIRCUIT || !v.has_probability);
	}
}

static void overloads(void **state)
{
	(void)state;
	static const struct {
		enum function f;
		const char *nominal, *tolerance, *above; /* NULL: not known */
		bool in_circuit;
		enum verdict_word word;
		enum verdict_side side;
		enum verdict_reason reason;
	} rows[] = {
	    {OHM, "100k", "10%", "40M", false, OUTSIDE, SIDE_HIGH, REASON_OPEN},
	    {OHM, "100k", "10%", NULL, false, OUTSIDE, SIDE_HIGH, REASON_OPEN},
	    {OHM, "100k", "10%", "40M", true, OUTSIDE, SIDE_HIGH, REASON_OPEN},
	    {OHM, "100k", "10%", "110k", false, OUTSIDE, SIDE_HIGH, REASON_OPEN}, /* at the bound */
	    {OHM, "470", "10%", "400", false, UNSURE, SIDE_HIGH, REASON_METER},
	    {OHM, "22M", "10%", "20M", false, UNSURE, SIDE_HIGH, REASON_METER},
	    {OHM, "22M", "10%", NULL, false, UNSURE, SIDE_HIGH, REASON_METER},
	    {OHM, NULL, "<=0.1", "40M", false, OUTSIDE, SIDE_HIGH, REASON_OPEN},
	    {OHM, NULL, ">=20M", "20M", false, WITHIN, SIDE_NONE, REASON_NONE},
	    {OHM, NULL, ">=20M", "40M", false, WITHIN, SIDE_NONE, REASON_NONE},
	    {OHM, NULL, ">=20M", "40M", true, WITHIN, SIDE_NONE, REASON_NONE},
	    {OHM, NULL, ">=20M", "19.9M", false, UNSURE, SIDE_NONE, REASON_METER},
	    {OHM, NULL, ">=20M", NULL, false, UNSURE, SIDE_NONE, REASON_METER},
	    {FARAD, "0.1 uF", "10%", "40 uF", false, OUTSIDE, SIDE_HIGH, REASON_LEAKAGE},
	    {FARAD, "0.1 uF", "10%", "40 uF", true, UNSURE, SIDE_HIGH, REASON_CIRCUIT},
	    {FARAD, "470 uF", "20%", "400 uF", false, UNSURE, SIDE_HIGH, REASON_METER},
	    {VDC, "285 V", "10%", "600 V", true, OUTSIDE, SIDE_HIGH, REASON_NONE},
	    {VDC, "-35 V", "10%", "60 V", true, OUTSIDE, SIDE_LOW, REASON_NONE},
	    {VDC, "-35 V", "10%", "20 V", true, UNSURE, SIDE_LOW, REASON_METER},
	    /* Of which sign it was nobody knows; of ac there is but one. */
	    {VDC, "0 V", "+-2 V", "600 V", true, OUTSIDE, SIDE_NONE, REASON_NONE},
	    {VDC, "0 V", "+-2 V", NULL, true, OUTSIDE, SIDE_NONE, REASON_NONE},
	    {VDC, "0 V", "+-2 V", "2 V", true, OUTSIDE, SIDE_NONE, REASON_NONE},
	    {VDC, "0 V", "+-2 V", "1.9 V", true, UNSURE, SIDE_NONE, REASON_METER},
	    {VDC, "0 V", "-1/+3 V", "2 V", true, UNSURE, SIDE_NONE, REASON_METER},
	    {VDC, "0 V", "-3/+1 V", "2 V", true, UNSURE, SIDE_NONE, REASON_METER},
	    {FUNCTION_AMP_DC, "0 A", "+-0.1 A", "2 A", true, OUTSIDE, SIDE_NONE, REASON_NONE},
	    {FUNCTION_VOLT_AC, "0 V", "+-2 V", "600 V", true, OUTSIDE, SIDE_HIGH, REASON_NONE},
	    {FUNCTION_DIODE, "0.6 V", "20%", "2 V", false, OUTSIDE, SIDE_HIGH, REASON_OPEN},
	    {OHM, "100k", "", "40M", false, VERDICT_NONE, SIDE_NONE, REASON_NONE},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct judgement j = judgement_of(KIND_OTHER, rows[i].f, rows[i].nominal,
		                                  rows[i].tolerance, NULL, 0);
		j.in_circuit = rows[i].in_circuit;
		j.has_above = rows[i].above != NULL;
		if (j.has_above)
			j.above = parsed(rows[i].above, rows[i].f);
		for (int settled = 0; settled < 2; settled++) {
			j.settled = settled;
			struct verdict v = judge(&j);
			if (v.word != rows[i].word || v.reason != rows[i].reason || v.side != rows[i].side)
				show(rows[i].nominal ? rows[i].nominal : rows[i].tolerance, &v);
			assert_int_equal(v.word, rows[i].word);
			assert_int_equal(v.side, rows[i].side);
			assert_int_equal(v.reason, rows[i].reason);
			assert_false(v.has_deviation);
			assert_false(v.has_probability);
		}
	}
}

static void moving_and_offset(void **state)
{
	(void)state;
	struct judgement j = judgement_of(KIND_ELECTROLYTIC, FARAD, "100 uF", "20%", "100 uF", 1e-6);
	j.settled = false;
	assert_int_equal(judge(&j).word, UNSURE);
	assert_int_equal(judge(&j).reason, REASON_MOVING);
	j.value = (struct decimal){20, -6}; /* far off, but it climbs yet */
	struct verdict v = judge(&j);
	assert_true(v.word == UNSURE && v.reason == REASON_MOVING && v.side == SIDE_LOW);
	assert_false(v.has_probability);

	static const struct {
		const char *nominal, *value;
		enum verdict_word word;
		enum verdict_reason reason;
	} rows[] = {
	    {"0.47", "0.47", UNSURE, REASON_OFFSET},  {"0.47", "0.62", UNSURE, REASON_OFFSET},
	    {"0.47", "0.20", OUTSIDE, REASON_NONE}, /* leads only add */
	    {"0.47", "9.00", OUTSIDE, REASON_NONE}, /* no lead is that bad */
	    {"100k", "101k", WITHIN, REASON_NONE},    /* leads do not matter here */
	    {"0.47", "0.51", UNSURE, REASON_OFFSET}, /* a better meter would not help */
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		j = judgement_of(KIND_OTHER, OHM, rows[i].nominal, "10%", rows[i].value, 0.005);
		j.offset_missing = true;
		v = judge(&j);
		if (v.word != rows[i].word || v.reason != rows[i].reason)
			show(rows[i].value, &v);
		assert_int_equal(v.word, rows[i].word);
		assert_int_equal(v.reason, rows[i].reason);
	}
	/* In circuit as well: what no other path has raised, the leads could have. */
	static const struct {
		const char *tolerance, *value;
		enum verdict_word word;
		enum verdict_reason reason;
	} circuit[] = {
	    {"5%", "10.9", UNSURE, REASON_OFFSET}, {"5%", "12.0", OUTSIDE, REASON_NONE},
	    {"5%", "9.0", UNSURE, REASON_CIRCUIT}, {">=10", "10.5", UNSURE, REASON_OFFSET},
	    {">=10", "11.5", WITHIN, REASON_NONE},
	};
	for (size_t i = 0; i < sizeof circuit / sizeof *circuit; i++) {
		j = judgement_of(KIND_OTHER, OHM, "10", circuit[i].tolerance, circuit[i].value, 0.01);
		j.in_circuit = j.offset_missing = true;
		j.swapped = AGREEMENT_YES;
		v = judge(&j);
		if (v.word != circuit[i].word || v.reason != circuit[i].reason)
			show(circuit[i].value, &v);
		assert_int_equal(v.word, circuit[i].word);
		assert_int_equal(v.reason, circuit[i].reason);
		assert_false(v.has_probability && v.word == UNSURE);
	}
	/* an uncertainty too fine, or too coarse, to be added to an ohm exactly */
	j = judgement_of(KIND_OTHER, OHM, "0.47", "10%", "0.47", 1.23456e-20);
	j.offset_missing = true;
	assert_int_equal(judge(&j).reason, REASON_OFFSET);
	j = judgement_of(KIND_OTHER, OHM, "100k", "10%", "100k", 1.23456e25);
	j.offset_missing = true;
	assert_int_equal(judge(&j).reason, REASON_METER);
	j = judgement_of(KIND_MICA, FARAD, "220p", "10%", "230p", 1e-12);
	assert_int_equal(judge(&j).word, WITHIN);
	j.offset_missing = true;
	assert_int_equal(judge(&j).reason, REASON_OFFSET);
	j = judgement_of(KIND_RAIL, VDC, "285 V", "10%", "285 V", 1);
	j.offset_missing = true; /* nothing to offset in volts */
	assert_int_equal(judge(&j).word, WITHIN);
}

static void volts(void **state)
{
	(void)state;
	struct judgement j = judgement_of(KIND_RAIL, VDC, "-35 V", "10%", "-40 V", 0.1);
	struct verdict v = judge(&j);
	assert_true(v.word == OUTSIDE && v.side == SIDE_LOW);
	assert_string_equal(v.why, "more negative");
	assert_near(v.deviation, 5.0 / 35, 1e-15);
	j.value = (struct decimal){-30, 0};
	v = judge(&j);
	assert_true(v.word == OUTSIDE && v.side == SIDE_HIGH);
	assert_string_equal(v.why, "less negative");
	j.value = (struct decimal){-350, -1};
	v = judge(&j);
	assert_true(v.has_deviation && v.deviation == 0 && !signbit(v.deviation));
	j = judgement_of(KIND_RAIL, VDC, "0 V", "+-2 V", "1.5 V", 0.1);
	v = judge(&j);
	assert_true(v.word == WITHIN && v.side == SIDE_HIGH && !v.has_deviation);
	j = judgement_of(KIND_RAIL, VDC, "0 V", "+-2 V", "-2.5 V", 0.1);
	assert_int_equal(judge(&j).word, OUTSIDE);
	/* no limits: nothing to judge, the deviation is still told */
	j = judgement_of(KIND_RAIL, VDC, "100 V", "", "110 V", 0.1);
	v = judge(&j);
	assert_true(v.word == VERDICT_NONE && v.has_deviation && v.side == SIDE_NONE);
	assert_near(v.deviation, 0.1, 1e-15);
	j.assumed = true;
	assert_true(judge(&j).assumed);
	/* the side goes by the nominal, also where the tolerance is lopsided */
	j = judgement_of(KIND_ELECTROLYTIC, FARAD, "100 uF", "-20/+80%", "110 uF", 1e-6);
	v = judge(&j);
	assert_true(v.word == WITHIN && v.side == SIDE_HIGH);
}

static void defaults_of_the_trade(void **state)
{
	(void)state;
	struct tolerance t;
	for (int k = 0; k < KIND_COUNT; k++) {
		struct tolerance s;
		if (!tolerance_default((enum kind)k, kind_function((enum kind)k), &t))
			continue;
		/* where practice knows a tolerance, it knows a service limit, no narrower */
		assert_true(service_default((enum kind)k, "", &s));
		assert_int_equal(s.form, t.form);
		assert_true(decimal_compare(s.high, t.high) >= 0);
		assert_true(decimal_compare(s.low, t.low) <= 0);
	}
	assert_true(tolerance_default(KIND_METAL_FILM, OHM, &t));
	assert_int_equal(decimal_compare(t.high, (struct decimal){1, 0}), 0);
	assert_true(tolerance_default(KIND_SWITCH, OHM, &t));
	assert_int_equal(t.form, TOLERANCE_AT_MOST);
	assert_true(tolerance_default(KIND_RESISTOR, VDC, &t)); /* volts at a part */
	assert_false(tolerance_default(KIND_RESISTOR, FARAD, &t));
	assert_false(tolerance_default(KIND_OTHER, OHM, &t));
	assert_false(tolerance_default(KIND_HEATER, OHM, &t));
	assert_true(tolerance_default(KIND_HEATER, FUNCTION_VOLT_AC, &t));
	static const struct {
		enum kind kind;
		const char *role;
		int low, high;
	} rows[] = {
	    {KIND_CARBON_COMPOSITION, "cathode", -10, 10},
	    {KIND_RESISTOR, "anode load", -20, 20},
	    {KIND_RESISTOR, "Grid stopper", -50, 50},
	    {KIND_RESISTOR, "grid-stopper", -50, 50},
	    {KIND_RESISTOR, "cathode bias", -10, 10},
	    {KIND_ELECTROLYTIC, "cathode bypass", -30, 150},
	    {KIND_PAPER, "coupling to V3", -20, 10},
	    {KIND_PAPER, "anode load", -25, 25}, /* no such role for a capacitor */
	    {KIND_RESISTOR, NULL, -20, 20},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		assert_true(service_default(rows[i].kind, rows[i].role, &t));
		assert_int_equal(t.form, TOLERANCE_PERCENT);
		assert_int_equal(decimal_compare(t.low, (struct decimal){rows[i].low, 0}), 0);
		assert_int_equal(decimal_compare(t.high, (struct decimal){rows[i].high, 0}), 0);
	}
	assert_false(service_default(KIND_OTHER, "cathode", &t));
}

static void words(void **state)
{
	(void)state;
	assert_string_equal(verdict_word_name(UNSURE), "unsure");
	assert_string_equal(verdict_word_name(VERDICT_NONE), "none");
	assert_string_equal(verdict_side_name(SIDE_NONE), "");
	assert_string_equal(verdict_side_name(SIDE_HIGH), "high");
	for (int r = REASON_METER; r <= REASON_LIMITS_OF_METER; r++)
		assert_true(verdict_reason_name((enum verdict_reason)r)[0] != '\0');
	assert_string_equal(verdict_reason_name(REASON_NONE), "");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(jcgm106_cases),
	    cmocka_unit_test(conformance_agrees_with_gsl),
	    cmocka_unit_test(ilac_g8_cases),
	    cmocka_unit_test(bounds_are_exact_in_decimals),
	    cmocka_unit_test(cases_of_the_trade),
	    cmocka_unit_test(resistors_of_the_trade),
	    cmocka_unit_test(in_circuit),
	    cmocka_unit_test(overloads),
	    cmocka_unit_test(moving_and_offset),
	    cmocka_unit_test(volts),
	    cmocka_unit_test(defaults_of_the_trade),
	    cmocka_unit_test(words),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
