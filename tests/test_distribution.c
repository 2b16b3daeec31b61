/* SPDX-License-Identifier: MIT */
/* Normal, chi-squared and Student's t, held against GSL over their whole range. */
#include "protocol/trade/distribution.h"
#include "protocol/trade/verdict.h"
#include "tests/check.h"

#include <gsl/gsl_cdf.h>

static void normal(void **state)
{
	(void)state;
	for (double z = -37; z <= 37; z += 0.037)
		assert_near(normal_tail(z), gsl_cdf_ugaussian_Q(z),
		            1e-12 * gsl_cdf_ugaussian_Q(z) + 1e-300);
	static const double p[] = {1e-12, 1e-6, 0.001, 0.025, 0.16, 0.5, 0.75, 0.8, 0.975, 0.999, 1 - 1e-9};
	for (size_t i = 0; i < sizeof p / sizeof *p; i++)
		assert_near(normal_quantile(p[i]), gsl_cdf_ugaussian_Pinv(p[i]), 1e-7);
	assert_true(isnan(normal_quantile(0)) && isnan(normal_quantile(1)));
	assert_true(isnan(normal_quantile(NAN)));
}

static void chi_squared(void **state)
{
	(void)state;
	static const double nu[] = {0.5, 1, 2, 3, 7, 10, 31.5, 100, 500};
	for (size_t i = 0; i < sizeof nu / sizeof *nu; i++)
		for (double x = 0.001; x < 1200; x *= 1.17)
			assert_near(chi_squared_tail(x, nu[i]), gsl_cdf_chisq_Q(x, nu[i]),
			            1e-9 * gsl_cdf_chisq_Q(x, nu[i]) + 1e-13);
	assert_near(chi_squared_tail(6, 2), exp(-3), 1e-15); /* exactly so for two */
	assert_true(chi_squared_tail(0, 3) == 1 && chi_squared_tail(-1, 3) == 1);
	assert_true(chi_squared_tail(INFINITY, 3) == 0);
	assert_true(isnan(chi_squared_tail(1, 0)) && isnan(chi_squared_tail(NAN, 2)));
}

static void student(void **state)
{
	(void)state;
	static const double nu[] = {1, 1.5, 2, 3, 5, 9.3, 19, 50, 300, 1e6};
	for (size_t i = 0; i < sizeof nu / sizeof *nu; i++)
		for (double t = 0.01; t < 1000; t *= 1.23) {
			double want = 2 * gsl_cdf_tdist_Q(t, nu[i]);
			assert_near(student_tail(t, nu[i]), want, 1e-7 * want + 1e-14);
			assert_near(student_tail(-t, nu[i]), student_tail(t, nu[i]), 0); /* symmetric */
		}
	for (double n = 1; n < 40; n += 1.7)
		assert_near_relative(student_factor(0.95, n), gsl_cdf_tdist_Pinv(0.975, n), 1e-8);
	/* Known everything: the normal distribution; U = 2 u is 95.45 %. */
	assert_near(student_factor(0.9544997, INFINITY), 2, 1e-5);
	assert_true(isnan(student_factor(0.95, 0)) && isnan(student_factor(1, 5)));
}

/* What the law says of any distribution: falling, between 0 and 1. */
static void monotone(void **state)
{
	(void)state;
	double n = 1, c = 1, s = 1;
	for (double x = 0; x < 60; x += 0.01) {
		assert_true(normal_tail(x) <= n && chi_squared_tail(x, 5) <= c && student_tail(x, 5) <= s);
		n = normal_tail(x);
		c = chi_squared_tail(x, 5);
		s = student_tail(x, 5);
		assert_true(n >= 0 && c >= 0 && s >= 0);
	}
	/* Fewer degrees of freedom never make one surer. */
	for (double nu = 1; nu < 1000; nu *= 1.3)
		assert_true(student_factor(0.95, nu) > student_factor(0.95, nu * 1.3));
}

static void freedom(void **state)
{
	(void)state;
	const double u[] = {3, 4}, one[] = {INFINITY, 4}, none[] = {INFINITY, INFINITY}, zero[] = {0, 0};
	/* 5^4 / (4^4 / 4) */
	assert_near_relative(welch_satterthwaite(u, one, 2), 625.0 / 64, 1e-12);
	assert_true(isinf(welch_satterthwaite(u, none, 2)));
	assert_true(isinf(welch_satterthwaite(zero, one, 2)));
	/* Free of the unit. */
	const double small[] = {3e-12, 4e-12};
	assert_near_relative(welch_satterthwaite(small, one, 2), 625.0 / 64, 1e-12);
}

static void rectangle(void **state)
{
	(void)state;
	assert_near(rectangle_within(48, 1, -INFINITY, 48.5), 0.75, 1e-15);
	assert_near(rectangle_within(48, 1, 47, 49), 1, 0);
	assert_near(rectangle_within(48, 1, 50, 60), 0, 0);
	assert_near(rectangle_within(48, 0, 47, 48), 1, 0);
	assert_near(rectangle_within(48, 0, 48.1, 49), 0, 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(normal),   cmocka_unit_test(chi_squared), cmocka_unit_test(student),
	    cmocka_unit_test(monotone), cmocka_unit_test(freedom),     cmocka_unit_test(rectangle),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
