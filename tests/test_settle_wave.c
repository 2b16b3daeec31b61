/* SPDX-License-Identifier: MIT */
/*
 * A slow wave on the display is no rest, however much it looks like noise: sines of a
 * few readings a period, against noise, creep, strays and approaches, which are logged.
 *
 * The figures of meters are common practice, no source.
 */
#include "tests/check.h"

#include "tests/traces.h"
#include "daemon/settle_law_parts.h"
#include "daemon/settle.h"

enum { READINGS = 40 };
static const int64_t period = 330000;

/* Readings after which it settled, 0: never.  v in digits of 1 mV. */
static int settles_after(const double *v, const struct settle_limits *limits)
{
	static struct settle s;
	settle_init(&s, limits, 1);
	struct settle_expected expected = {FUNCTION_VOLT_DC, true, 12, -INFINITY, INFINITY};
	settle_expect(&s, &expected);
	for (int i = 0; i < READINGS; i++) {
		struct reading r = {.t = i * period, .function = FUNCTION_VOLT_DC, .has_value = true,
		                    .value = {llround(v[i]), -3}};
		if (settle_reading(&s, &r) & SETTLE_SETTLED)
			return i + 1;
	}
	return 0;
}

static void test_waves(void **state)
{
	(void)state;
	static const struct {
		double amplitude, readings, phase; /* digits, a period, share of a turn at the touch */
	} rows[] = {
		{20, 2.3, 0.1}, {20, 3.1, 0.4}, {20, 4.4, 0}, {20, 6.3, 0.7}, {25, 9, 0.2}, {25, 13, 0},
		{15, 3.4, 0.3}, {15, 5.2, 0.6}, {15, 7.7, 0}, {40, 2.7, 0.2}, {40, 5.5, 0.9}, {40, 12, 0.5},
		{150, 3.7, 0}, {150, 9.1, 0.35}, {300, 15, 0},
	};
	struct settle_limits blind = settle_limits_standard;
	int taken = 0;
	blind.wave_share = 0;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		double v[READINGS];
		for (int k = 0; k < READINGS; k++)
			v[k] = 12000 + rows[i].amplitude *
			               sin(2 * M_PI * (k / rows[i].readings + rows[i].phase));
		int n = settles_after(v, &settle_limits_standard);
		if (n) {
			note_row("a wave of %g digits, %g readings a period: settled after %d",
			         rows[i].amplitude, rows[i].readings, n);
			fail();
		}
		taken += settles_after(v, &blind) > 0;
	}
	/* It is this look that tells them: without it some are taken for noise. */
	assert_true(taken >= 3);
}

static void test_no_waves(void **state)
{
	(void)state;
	static const struct {
		const char *what;
		double noise, drift, from, tau; /* digits, a reading, digits, readings */
		int by; /* readings, at most */
	} rows[] = {
		{"noise of a digit", 1, 0, 0, 1, 12},
		{"noise of three", 3, 0, 0, 1, 14},
		{"noise of five", 5, 0, 0, 1, 18},
		{"creep", 0.3, 0.3, 0, 1, 8},
		{"an approach", 0.5, 0, -4000, 1.5, 26},
		{"an approach with noise", 2, 0, 3000, 1.2, 26},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
		for (uint64_t seed = 1; seed <= 20; seed++) {
			struct chance c = {seed};
			double v[READINGS];
			for (int k = 0; k < READINGS; k++)
				v[k] = 12000 + rows[i].drift * k + rows[i].from * exp(-k / rows[i].tau) +
				       rows[i].noise * chance_normal(&c);
			if (seed % 5 == 0)
				v[3] *= 1.3; /* a stray */
			int n = settles_after(v, &settle_limits_standard);
			if (!n || n > rows[i].by + (seed % 5 == 0 ? 6 : 0)) {
				note_row("%s, seed %d: settled after %d readings", rows[i].what, (int)seed, n);
				fail();
			}
		}
}

/* The tables of the law are what their formulas say, to the last bit but one. */
static void tables(void **state)
{
	(void)state;
	for (int j = 0; j < SETTLE_TAUS; j++) {
		double want = 0.03 * pow(SETTLE_TAU_RATIO, j);
		assert_true(fabs(settle_tau_seconds(j) - want) <= 2.3e-16 * want);
	}
	for (int k = 0; k < SETTLE_NOISES; k++) {
		double want = 0.4 * pow(1.6, k);
		assert_true(fabs(settle_noise_digits(k) - want) <= 2.3e-16 * want);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(tables),
		cmocka_unit_test(test_waves),
		cmocka_unit_test(test_no_waves),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
