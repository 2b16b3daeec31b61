/* SPDX-License-Identifier: MIT */
/*
 * The published examples of judging, a case a row: tests/reference/NAME.tsv, with the
 * source of each in its last column and in SOURCES.md.  A row that no case here knows
 * fails, so that a table cannot grow unnoticed.
 */
#include "protocol/trade/budget.h"
#include "protocol/trade/crosscheck.h"
#include "protocol/trade/distribution.h"
#include "protocol/trade/preferred.h"
#include "protocol/trade/uncertainty.h"
#include "protocol/trade/verdict.h"
#include "tests/reference.h"

#include <gsl/gsl_randist.h>

static bool has(const char *text, const char *part)
{
	return strstr(text, part) != NULL;
}

static struct decimal exact(double x)
{
	return decimal_from_double(x, 12);
}

static struct limits upper(double high)
{
	return (struct limits){.has_high = true, .high = exact(high)};
}

static struct limits between(double low, double high)
{
	return (struct limits){true, true, exact(low), exact(high)};
}

/* As near as the figures of the row. */
static void row_near(const struct reference *r, double got, const char *want)
{
	double x = strtod(want, NULL), tolerance = 0.6 * reference_last(want) + 1e-9 * fabs(x);
	if (!near_enough(got, x, tolerance))
		note_row("%s, %s, %s: %.9g, expected %s", r->cell[0], r->cell[1], r->cell[2], got, want);
	assert_near(got, x, tolerance);
}

/* ---- E_n, three meters (ISO 13528:2022 9; Cox 2002) ---- */

static double number(const struct reference *r, int cell)
{
	return strtod(r->cell[cell], NULL);
}

static void en_row(const struct reference *r)
{
	double en = crosscheck_en(number(r, 0), number(r, 1), number(r, 2), number(r, 3));
	row_near(r, en, r->cell[4]);
	row_near(r, 2 * en, r->cell[5]); /* zeta, with both U at k = 2 */
	assert_int_equal(en <= 1, strcmp(r->cell[6], "agree") == 0);
}

static int list(const char *text, double *x, int max)
{
	int n = 0;
	char *end;
	for (; *text && n < max; text = *end ? end + 1 : end)
		x[n++] = strtod(text, &end);
	return n;
}

static void three_row(const struct reference *r)
{
	double x[8], u[8];
	struct consistency c;
	int n = list(r->cell[0], x, 8);
	assert_int_equal(list(r->cell[1], u, 8), n);
	assert_true(crosscheck_consistency(x, u, n, &c));
	row_near(r, c.mean, r->cell[2]);
	row_near(r, c.u, r->cell[3]);
	row_near(r, c.chi_squared, r->cell[4]);
	assert_int_equal(c.nu, atoi(r->cell[5]));
	row_near(r, c.p, r->cell[6]);
	row_near(r, c.birge, r->cell[7]);
	assert_int_equal(c.consistent, strcmp(r->cell[8], "consistent") == 0);
}

/* ---- decision rules (ILAC-G8:09/2019 4.2, JCGM 106:2012) ---- */

static struct verdict judged(double y, double U, struct limits l, bool in_circuit, double nominal)
{
	struct judgement j = {.has_value = true, .value = exact(y), .u = U / 2, .limits = l,
	                      .kind = KIND_RESISTOR, .function = FUNCTION_OHM, .settled = true,
	                      .has_nominal = nominal != 0, .nominal = exact(nominal),
	                      .in_circuit = in_circuit};
	return judge(&j);
}

/* Ours is the non-binary rule with w = U: a conditional pass or fail is `unsure`. */
static void decision_row(const struct reference *r)
{
	double n = number(r, 0), t = number(r, 1) / 100;
	struct verdict v = judged(number(r, 2), number(r, 3), between(n * (1 - t), n * (1 + t)), false, n);
	const char *want = r->cell[4];
	assert_int_equal(v.word, strcmp(want, "pass") == 0   ? VERDICT_WITHIN
	                         : strcmp(want, "fail") == 0 ? VERDICT_OUTSIDE
	                                                     : VERDICT_UNSURE);
	row_near(r, v.probability, r->cell[5]);
}

static void circuit_row(const struct reference *r)
{
	double n = number(r, 0), t = number(r, 1) / 100;
	struct verdict v = judged(number(r, 2), number(r, 3), between(n * (1 - t), n * (1 + t)), true, n);
	bool fail = has(r->cell[4], "FAIL high");
	assert_true(fail || has(r->cell[4], "lift"));
	assert_int_equal(v.word, fail ? VERDICT_OUTSIDE : VERDICT_UNSURE);
	if (fail)
		assert_int_equal(v.side, SIDE_HIGH);
	else
		assert_int_equal(v.reason, REASON_CIRCUIT);
	assert_non_null(strstr(v.next, fail ? "swap the leads" : "lift one leg"));
}

/* The risk of accepting exactly at T - w, where U = 2 u = 1. */
static void ilac_row(const struct reference *r)
{
	double w = strcmp(r->cell[1], "0") == 0 ? 0 : r->cell[1][0] == 'U' ? 1 : number(r, 1);
	struct limits l = upper(100);
	if (r->cell[3][0] != '-') {
		double risk = 1 - conformance(100 - w, 0.5, &l);
		assert_near_relative(risk, number(r, 3), w > 2 ? 0.01 : 0.002);
		return;
	}
	static const struct {
		const char *name;
		double from_limit;
		enum verdict_word word;
	} zone[] = {{"non-binary pass", -1.5, VERDICT_WITHIN},
	            {"conditional pass", -0.5, VERDICT_UNSURE},
	            {"conditional fail", 0.5, VERDICT_UNSURE},
	            {"non-binary fail", 1.5, VERDICT_OUTSIDE}};
	for (size_t i = 0; i < sizeof zone / sizeof *zone; i++)
		if (has(r->cell[0], zone[i].name)) {
			assert_int_equal(judged(100 + zone[i].from_limit, 1, l, false, 0).word, zone[i].word);
			return;
		}
	fail_msg("no case for %s", r->cell[0]);
}

/* ---- JCGM 106:2012 ---- */

struct prior {
	double (*density)(double x);
	double from, to, um;
	struct limits T, A;
};

static double resistors(double x)
{
	return gsl_ran_gaussian_pdf(x - 1500, 0.12);
}

static double bearings(double x)
{
	return gsl_ran_gamma_pdf(x, 4, 0.25);
}

/* Global risk by Simpson's rule: true value inside or outside T, measured inside or
 * outside A. */
static double risk(const struct prior *p, bool inside, bool accepted)
{
	enum { STEPS = 40000 };
	double h = (p->to - p->from) / STEPS, sum = 0;
	for (int i = 0; i <= STEPS; i++) {
		/* Each half of a step on its own side of a limit. */
		double x = p->from + i * h;
		double in = conformance(x, 0, &p->T), a = conformance(x, p->um, &p->A);
		double weight = i == 0 || i == STEPS ? 0.5 : 1;
		sum += weight * p->density(x) * (inside ? in : 1 - in) * (accepted ? a : 1 - a);
	}
	return sum * h;
}

static double global_risk(const struct reference *r)
{
	bool balls = has(r->cell[0], "ball bearing");
	struct prior p = {resistors, 1499, 1501, 0.04, between(1499.80, 1500.20),
	                  between(1499.80, 1500.20)};
	if (has(r->cell[0], "guard band 0.02"))
		p.A = between(1499.82, 1500.18);
	if (balls)
		p = (struct prior){bearings, 0, 12, 0.25, upper(2), upper(2)};
	if (strcmp(r->cell[2], "A_U") == 0) { /* the bound that leaves a risk of 0.1 % */
		double low = 1, high = 2;
		for (int i = 0; i < 30; i++) {
			double middle = (low + high) / 2;
			p.A = upper(middle);
			if (risk(&p, false, true) > 0.001)
				high = middle;
			else
				low = middle;
		}
		return low;
	}
	if (strcmp(r->cell[2], "R_P") == 0)
		return risk(&p, true, false);
	if (strcmp(r->cell[2], "R_C") == 0)
		return risk(&p, false, true);
	p.um = 1e9; /* measured anyhow: half of everything */
	return 1 - risk(&p, true, true) - risk(&p, true, false);
}

static void jcgm_row(const struct reference *r)
{
	const char *in = r->cell[1];
	struct limits l = {0};
	double y = 0, u = 0, low, high, p, limit, percent;
	if (has(r->cell[0], "9.5.4") || strcmp(r->cell[2], "R_C") == 0 ||
	    strcmp(r->cell[2], "R_P") == 0) {
		assert_near_relative(global_risk(r), number(r, 3), 2e-3);
	} else if (has(r->cell[0], "9.5 binary")) {
		l = between(1499.80, 1500.20); /* of the process alone */
		row_near(r, conformance(1500, 0.12, &l), r->cell[3]);
	} else if (strcmp(r->cell[2], "z") == 0) {
		assert_int_equal(sscanf(in, "pc=%lf", &p), 1);
		row_near(r, normal_quantile(p), r->cell[3]);
	} else if (sscanf(in, "limit %lf,u=%lf %%,p=%lf", &limit, &percent, &p) == 3) {
		/* guarded rejection: beyond this it is above the limit with that probability */
		double z = round(normal_quantile(p) * 100) / 100;
		row_near(r, limit / (1 - z * percent / 100), r->cell[3]);
	} else if (sscanf(in, "y=%lf,a=%lf,TU=%lf", &y, &u, &high) == 3) {
		row_near(r, rectangle_within(y, u, -INFINITY, high), r->cell[3]);
	} else if (sscanf(in, "y=%lf,u=%lf,TL=%lf,TU=%lf", &y, &u, &low, &high) == 4) {
		l = between(low, high);
		row_near(r, conformance(y, u, &l), r->cell[3]);
	} else if (sscanf(in, "y=%lf kPa,u=%lf,TL=%lf", &y, &u, &low) == 3) {
		l = (struct limits){.has_low = true, .low = exact(low)};
		row_near(r, conformance(y, u, &l), r->cell[3]);
	} else if (sscanf(in, "y=%lf V,u=%lf,TU=%lf", &y, &u, &high) == 3) {
		l = upper(high);
		row_near(r, conformance(y, u, &l), r->cell[3]);
	} else {
		fail_msg("no case for %s: %s", r->cell[0], in);
	}
}

/* ---- accuracy statements, GUM, EA-4/02 ---- */

static void accuracy_row(const struct reference *r)
{
	char *unit;
	double reading = strtod(r->cell[1], &unit), counts = 0, digit = 0, at;
	struct accuracy_line line = {.percent = number(r, 2)};
	/* A fixed part (of a range, or 1 mV) is so many of its own digit. */
	if (r->cell[3][0] != '-') {
		counts = number(r, 3);
		digit = number(r, 4);
	} else if (has(r->cell[4], "mV") && sscanf(r->cell[4], "%lf", &at) == 1) {
		counts = at;
		digit = 1e-3;
	} else {
		const char *equals = strchr(r->cell[4], '=');
		assert_non_null(equals);
		counts = strtod(equals + 1, NULL);
		digit = 1e-6;
	}
	line.counts = counts;
	double u = uncertainty_accuracy(&line, reading, digit);
	assert_near_relative(u * sqrt(3), number(r, 5), 1e-9);
	assert_near_relative(u, number(r, 6), 3e-4); /* four figures in one row */
}

/* EA-4/02 S9: a hand-held meter at 100 V, display step 0.1 V. */
static void ea_row(const struct reference *r)
{
	struct accuracy_line standard = {.percent = 0.01, .counts = 1};
	double parts[] = {0.002 / 2, uncertainty_repeatability(0, 1, 0.1),
	                  uncertainty_accuracy(&standard, 100, 1e-3)};
	double u = uncertainty_combine(parts[0], parts[1], parts[2]);
	const char *item = r->cell[0];
	if (strcmp(item, "u_V_S") == 0)
		assert_near_relative(parts[0], number(r, 2), 1e-3);
	else if (strcmp(item, "u_dV_iX") == 0)
		assert_near_relative(parts[1], number(r, 2), 1e-4);
	else if (strcmp(item, "u_dV_S") == 0)
		assert_near_relative(parts[2], number(r, 2), 1e-4);
	else if (strcmp(item, "u_E") == 0)
		assert_near_relative(u, number(r, 2), 1e-4);
	else if (strcmp(item, "k") == 0) /* one rectangle decides: 0.95 sqrt(3) */
		assert_near_relative(0.95 * sqrt(3), number(r, 2), 1e-3);
	else if (strcmp(item, "U_E") == 0) { /* 0.95 * 0.05 V * (what the rest adds) */
		assert_near_relative(0.95 * sqrt(3) * u, number(r, 1), 0.05);
		assert_true(2 * u > number(r, 1)); /* our k = 2 is on the safe side */
	} else if (strcmp(item, "E") == 0)
		assert_near(100.1 - 100.0, number(r, 1), 1e-9);
	else
		assert_true(has(item, "measurand") || has(item, "_V") || has(item, "spec") ||
		            has(item, "reported"));
}

static double quadrature(const double *x, int n)
{
	double all = 0;
	for (int i = 0; i < n; i++)
		all = hypot(all, x[i]);
	return all;
}

static double twenty[20];
static int twenty_n;

static void gum_443(const struct reference *r)
{
	double mean, s;
	if (strcmp(r->cell[1], "same") != 0) {
		char text[512], *end = text;
		snprintf(text, sizeof text, "%s", r->cell[1]);
		for (twenty_n = 0; twenty_n < 20 && *end; twenty_n++)
			twenty[twenty_n] = strtod(end, &end);
	}
	statistics(twenty, (size_t)twenty_n, &mean, &s);
	const char *what = r->cell[2];
	double got = strcmp(what, "mean") == 0     ? mean
	             : strcmp(what, "s") == 0      ? s
	             : strcmp(what, "s_mean") == 0 ? uncertainty_repeatability(s, twenty_n, 0.01)
	                                           : twenty_n - 1;
	assert_near_relative(got, number(r, 4), 1e-8);
}

static void gum_g41(const struct reference *r)
{
	static const double u[] = {0.25, 0.57, 0.82}, nu[] = {9, 4, 14};
	double uc = quadrature(u, 3), whole = welch_satterthwaite(u, nu, 3), below = 0;
	const char *what = r->cell[2];
	for (int i = 0; i < 3; i++)
		below += pow(u[i], 4) / nu[i];
	if (strcmp(what, "uc_pct") == 0)
		row_near(r, uc, r->cell[4]);
	else if (has(r->cell[1], "rounded to 1.03"))
		row_near(r, pow(1.03, 4) / below, r->cell[4]);
	else if (strcmp(what, "nu_eff") == 0)
		row_near(r, whole, r->cell[4]);
	else if (strcmp(what, "k") == 0)
		row_near(r, student_factor(0.95, 19), r->cell[4]);
	else if (strcmp(what, "U95_pct") == 0)
		row_near(r, student_factor(0.95, 19) * 1.03, r->cell[4]);
	else
		fail_msg("no case for %s %s", r->cell[0], what);
}

static void gum_row(const struct reference *r)
{
	static const double s2[] = {22.5, 8.66, 14.4, 5.77, 5.77};
	static const double s3[] = {2.5e-3, 5.8e-3, 1.6e-3, 3.2e-3, 4.1e-3, 7e-4};
	const char *example = r->cell[0], *what = r->cell[2];
	struct accuracy_line line = {.percent = 14e-4, .counts = 2}; /* 14e-6, 2e-6 of 1 V */
	double a = 1e6 * uncertainty_accuracy(&line, 0.928571, 1e-6) * sqrt(3);
	if (has(example, "4.4.3"))
		gum_443(r);
	else if (has(example, "G.4.1"))
		gum_g41(r);
	else if (strcmp(what, "a_uV") == 0)
		assert_near(a, number(r, 4), 1e-5);
	else if (strcmp(what, "u_B_uV") == 0)
		assert_near_relative(a / sqrt(3), number(r, 4), 1e-5);
	else if (strcmp(what, "uc_uV") == 0)
		assert_near_relative(uncertainty_combine(a / sqrt(3), 12, 0), number(r, 4), 1e-4);
	else if (has(example, "F.2.2.1"))
		row_near(r, uncertainty_repeatability(0, 1, 1), r->cell[4]);
	else if (has(example, "S2"))
		assert_near_relative(quadrature(s2, 5) * (has(what, "U") ? 2 : 1), number(r, 4), 1e-3);
	else if (has(example, "S3"))
		assert_near_relative(quadrature(s3, 6) * (has(what, "U") ? 2 : 1), number(r, 4), 2e-3);
	else
		/* Rounding for people: records carry six figures, views two of U. */
		assert_true(has(example, "7.2.6"));
}

/* GUM Table G.2. */
static void t_row(const struct reference *r)
{
	static const double p[] = {0.95, 0.9545, 0.99, 0.9973};
	for (int i = 0; i < 4; i++)
		assert_near_relative(student_factor(p[i], number(r, 0)), number(r, i + 1), 1e-3);
}

/* IEC 60063. */
static void series_row(const struct reference *r)
{
	enum series s;
	assert_true(series_from_name(r->cell[0], strlen(r->cell[0]), &s));
	struct decimal got = series_value(s, atoi(r->cell[1]));
	assert_near(decimal_double(got), number(r, 2), 1e-12);
	assert_true(series_contains(s, got));
}

static void every_row(void **state)
{
	static const struct {
		const char *name;
		void (*each)(const struct reference *row);
		int rows;
	} table[] = {
	    {"en-zeta", en_row, 3},        {"three-meter", three_row, 2},
	    {"decision-cases", decision_row, 7}, {"in-circuit", circuit_row, 3},
	    {"ilac-g8", ilac_row, 9},      {"jcgm106", jcgm_row, 18},
	    {"dmm-accuracy", accuracy_row, 6}, {"ea402-s9", ea_row, 14},
	    {"gum-other", gum_row, 20},    {"t-factors", t_row, 25},
	    {"e-series", series_row, 381},
	};
	(void)state;
	for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
		int rows = reference_read(table[i].name, table[i].each);
		if (rows != table[i].rows)
			note_row("%s: %d rows", table[i].name, rows);
		assert_int_equal(rows, table[i].rows);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {cmocka_unit_test(every_row)};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
