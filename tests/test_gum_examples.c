/* SPDX-License-Identifier: MIT */
/*
 * JCGM 100:2008 (GUM) H.1, a gauge block, and H.2, resistance and reactance from five readings of
 * volts, amps and phase: each row of the tables is a case; sources in their last column and in
 * SOURCES.md.
 *
 * H.1: l = l_S + d - l_S (dalpha theta + alpha_S dtheta); u by the law of propagation, degrees of
 * freedom by Welch and Satterthwaite (G.4.1), U by Student's t.  H.2, where the inputs vary
 * together: what this program does with such readings is the second approach, the result of each
 * five times and its scatter; taken as independent the inputs give what the last rows warn of.
 */
#include "tests/reference.h"

#include "protocol/trade/distribution.h"
#include "protocol/trade/measure.h"
#include "protocol/trade/uncertainty.h"

#define ROWS_MAX 64

struct named {
	char name[48];
	double value;
};
static struct named rows[ROWS_MAX];
static int row_count;

static void keep(const struct reference *r)
{
	assert_true(row_count < ROWS_MAX);
	snprintf(rows[row_count].name, sizeof rows[row_count].name, "%s", r->cell[0]);
	rows[row_count++].value = strtod(r->cell[1], NULL);
}

static bool used[ROWS_MAX];

static double of(const char *name)
{
	for (int i = 0; i < row_count; i++)
		if (strcmp(rows[i].name, name) == 0) {
			used[i] = true;
			return rows[i].value;
		}
	fail_msg("no row %s", name);
	return 0;
}

/* Inputs: l_S d alpha theta dalpha dtheta. */
static double length(const double *x)
{
	return x[0] + x[1] - x[0] * (x[4] * x[3] + x[2] * x[5]);
}

static void gauge_block(void **state)
{
	(void)state;
	row_count = 0;
	memset(used, 0, sizeof used);
	assert_int_equal(reference_read("gum-h1", keep), 29);
	const double ud[] = {of("u_dbar_nm"), of("u_d1_nm"), of("u_d2_nm")};
	const double nud[] = {of("nu_dbar"), of("nu_d1"), of("nu_d2")};
	/* Published of 9.7 as it is rounded: of 9.685 it is 25.45. */
	double u_d = uncertainty_combine(ud[0], ud[1], ud[2]), nu_d = welch_satterthwaite(ud, nud, 3);
	assert_near(u_d, of("u_d_nm"), 0.05);
	assert_near(nu_d, of("nu_eff_d"), 0.2);
	/* theta and alpha_S: dalpha and dtheta are zero at best, so they add nothing at first order. */
	const struct measure x[] = {{of("l_S_nm"), of("u_l_S_nm")}, {of("d_nm"), u_d},
	                            {of("alpha_S_per_C"), of("u_alpha_S")}, {of("theta_C"), of("u_theta_C")},
	                            {0, of("u_dalpha_per_C")}, {0, of("u_dtheta_C")}};
	static const char *const contribution[] = {"contrib_l_S_nm", "contrib_d_nm", NULL, NULL,
	                                           "contrib_dalpha_nm", "contrib_dtheta_nm"};
	const double nu[] = {of("nu_l_S"), nu_d, INFINITY, INFINITY, of("nu_dalpha"), of("nu_dtheta")};
	double part[6];
	for (int i = 0; i < 6; i++) {
		struct measure one[6];
		for (int k = 0; k < 6; k++)
			one[k] = (struct measure){x[k].value, k == i ? x[k].u : 0};
		part[i] = measure_of(length, one, 6).u;
		assert_near(part[i], contribution[i] ? of(contribution[i]) : 0, 0.1);
	}
	struct measure l = measure_of(length, x, 6);
	assert_near(l.value, of("l_nm"), 0.5);
	assert_near(l.u, of("uc_nm"), 0.5);
	double nu_eff = welch_satterthwaite(part, nu, 6);
	assert_near(floor(nu_eff), of("nu_eff"), 0);
	double t = student_factor(0.99, of("nu_eff"));
	assert_near(t, of("t99_16"), 0.005);
	assert_near(t * l.u, of("U99_nm"), 1);
	for (int i = 0; i < row_count; i++)
		if (!used[i])
			fail_msg("%s is no case", rows[i].name);
}

/* ---- H.2 ---- */

static double set[3][5]; /* volts, amps, radians */
static double made[3][5]; /* R, X, Z of each set */
static int sets;

static void keep_set(const struct reference *r)
{
	for (int i = 0; i < 3; i++)
		set[i][sets] = strtod(r->cell[i + 1], NULL) * (i == 1 ? 1e-3 : 1);
	sets++;
}

static double resistance(const double *x)
{
	return x[0] / x[1] * cos(x[2]);
}

static double reactance(const double *x)
{
	return x[0] / x[1] * sin(x[2]);
}

static double impedance(const double *x)
{
	return x[0] / x[1];
}

static double (*const formula[3])(const double *) = {resistance, reactance, impedance};

/* By the scatter of the sum beside those of the two. */
static double correlation(const double *a, const double *b)
{
	double sum[5], mean, sa, sb, both;
	for (int i = 0; i < 5; i++)
		sum[i] = a[i] + b[i];
	statistics(a, 5, &mean, &sa);
	statistics(b, 5, &mean, &sb);
	/* Of one size, so that no figures are lost. */
	for (int i = 0; i < 5; i++)
		sum[i] = a[i] / sa + b[i] / sb;
	statistics(sum, 5, &mean, &both);
	return (both * both - 2) / 2;
}

static const char letters[] = "RXZ";

static double result_of(const char *name)
{
	static const char *const inputs[] = {"V", "I", "phi"};
	double mean, s;
	struct measure in[3];
	for (int i = 0; i < 3; i++) {
		statistics(set[i], 5, &mean, &s);
		in[i] = (struct measure){mean, uncertainty_repeatability(s, 5, 1e-9)};
		double scale = i == 1 ? 1e3 : 1;
		if (strncmp(name, "mean_", 5) == 0 && strncmp(name + 5, inputs[i], strlen(inputs[i])) == 0)
			return mean * scale;
		if (strncmp(name, "s_mean_", 7) == 0 && strncmp(name + 7, inputs[i], strlen(inputs[i])) == 0)
			return in[i].u * scale;
	}
	for (int i = 0; i < 3; i++)
		for (int k = i + 1; k < 3; k++) {
			char pair[24];
			snprintf(pair, sizeof pair, "r_%s_%s", inputs[i], inputs[k]);
			if (strcmp(name, pair) == 0)
				return correlation(set[i], set[k]);
			snprintf(pair, sizeof pair, "r_%c_%c", letters[i], letters[k]);
			if (strcmp(name, pair) == 0)
				return correlation(made[i], made[k]);
		}
	bool second = strncmp(name, "approach2_", 10) == 0, ignored = strncmp(name, "NEGATIVE_", 9) == 0;
	const char *what = second ? name + 10 : ignored ? name + 9 : name;
	bool u = strncmp(what, "u_", 2) == 0;
	const char *letter = strchr(letters, what[u ? 2 : 0]);
	assert_true(letter && *letter);
	int of_what = (int)(letter - letters);
	statistics(made[of_what], 5, &mean, &s);
	struct measure free_of_each_other = measure_of(formula[of_what], in, 3);
	/* The first approach's values are those of the means. */
	return ignored ? free_of_each_other.u
	       : u     ? uncertainty_repeatability(s, 5, 1e-9)
	       : second ? mean
	               : free_of_each_other.value;
}

static void result_row(const struct reference *r)
{
	bool ignored = strncmp(r->cell[0], "NEGATIVE_", 9) == 0;
	double got = result_of(r->cell[0]), computed = strtod(r->cell[2], NULL);
	note_row("%s: %.7g", r->cell[0], got);
	if (ignored) {
		assert_near_relative(got, computed, 1e-4);
		return;
	}
	assert_near(got, strtod(r->cell[1], NULL), strtod(r->cell[3], NULL));
}

static void resistance_and_reactance(void **state)
{
	(void)state;
	sets = 0;
	assert_int_equal(reference_read("gum-h2", keep_set), 5);
	for (int i = 0; i < 5; i++) {
		double x[] = {set[0][i], set[1][i], set[2][i]};
		for (int k = 0; k < 3; k++)
			made[k][i] = formula[k](x);
	}
	assert_int_equal(reference_read("gum-h2-results", result_row), 27);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(gauge_block),
	    cmocka_unit_test(resistance_and_reactance),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
