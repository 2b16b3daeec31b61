/* SPDX-License-Identifier: MIT */
/* See crosscheck.h. */
#include "protocol/trade/crosscheck.h"

#include "protocol/trade/distribution.h"

#include <math.h>
#include <string.h>

double crosscheck_en(double x1, double U1, double x2, double U2)
{
	double d = fabs(x1 - x2), U = hypot(U1, U2);
	if (d == 0)
		return 0;
	return U > 0 ? d / U : INFINITY;
}

static double expanded(const struct entry *e)
{
	return 2 * e->u;
}

double crosscheck_entries(const struct entry *a, const struct entry *b)
{
	return crosscheck_en(decimal_double(a->value), expanded(a), decimal_double(b->value),
	                     expanded(b));
}

/* What makes one entry unfit for any comparison. */
static bool usable(const struct entry *e, struct fault *why)
{
	if (e->struck)
		fault_set(why, "the entry of %s on %s was struck", e->meter, e->position);
	else if (!e->has_value)
		fault_set(why, "%s on %s read %s: there is no value to compare", e->meter, e->position,
		          e->state ? reading_state_word(e->state) : "nothing");
	else if (!e->settled)
		fault_set(why, "%s on %s had not settled: measure it again", e->meter, e->position);
	else
		return true;
	return false;
}

/* Test frequencies that differ by less are the same (100 and 120 Hz are). */
static const double frequency_factor = 1.21;
static const double volts_factor = 2;
/* In 20 a chance that is taken for none (ISO 13528; Cox 2002). */
static const double significance = 0.05;
static const double offset_worst_ohm = 1, offset_worst_farad = 100e-12;

static bool apart(double a, double b, double factor)
{
	return a > 0 && b > 0 && (a > b * factor || b > a * factor);
}

/* Frequency, method and test volts: the same measurand? */
static bool same_way(const struct entry *a, const struct entry *b, struct fault *why)
{
	static const char *const methods[] = {"?", "a ramp", "a bridge"};
	const struct use *x = &a->use, *y = &b->use;
	bool reactive = a->function == FUNCTION_FARAD || a->function == FUNCTION_HENRY ||
	                a->quantity == QUANTITY_ESR || a->quantity == QUANTITY_DISSIPATION;
	bool insulation = a->quantity == QUANTITY_INSULATION || a->quantity == QUANTITY_LEAKAGE;
	if (reactive && x->method && y->method && x->method != y->method)
		fault_set(why, "different measurands: %s measures by %s, %s by %s; compare with a meter of the "
		          "same way", a->meter, methods[x->method], b->meter, methods[y->method]);
	else if (reactive && apart(x->frequency, y->frequency, frequency_factor))
		fault_set(why, "different measurands: %s tests at %g Hz, %s at %g Hz; set both to one frequency",
		          a->meter, x->frequency, b->meter, y->frequency);
	else if (apart(x->signal, y->signal, frequency_factor))
		fault_set(why, "different measurands: %s measured at %g Hz, %s at %g Hz; measure both at one "
		          "frequency", a->meter, x->signal, b->meter, y->signal);
	else if (insulation && apart(x->volts, y->volts, volts_factor))
		fault_set(why, "different measurands: %s tests with %g V, %s with %g V; test both with the same "
		          "volts", a->meter, x->volts, b->meter, y->volts);
	else
		return true;
	return false;
}

/* What must be the same for two entries to be of one measurand. */
static bool comparable(const struct entry *a, const struct entry *b, struct fault *why)
{
	if (a->quantity != b->quantity)
		fault_set(why, "different quantities: %s and %s; measure the same one with both",
		          quantity_name(a->quantity), quantity_name(b->quantity));
	else if (a->condition != b->condition)
		fault_set(why, "different conditions: %s and %s; measure both in one condition",
		          condition_name(a->condition), condition_name(b->condition));
	else if (a->reach != b->reach)
		fault_set(why, "different reach: %s and %s; measure both the same way",
		          reach_name(a->reach), reach_name(b->reach));
	else if (a->function != b->function)
		fault_set(why, "measured with different functions: %s and %s; set both to the same",
		          function_name(a->function), function_name(b->function));
	else
		return same_way(a, b, why) && usable(a, why) && usable(b, why);
	return false;
}

bool crosscheck_allowed(const struct entry *a, const struct entry *b, struct fault *why)
{
	if (strcmp(a->position, b->position) != 0) {
		fault_set(why, "different positions: %s and %s", a->position, b->position);
		return false;
	}
	if (!comparable(a, b, why))
		return false;
	if (a->source == SOURCE_TYPED || b->source == SOURCE_TYPED) {
		fault_set(why, "the value from %s was typed: only values that meters sent are compared",
		          a->source == SOURCE_TYPED ? a->meter : b->meter);
		return false;
	}
	if (strcmp(a->meter, b->meter) == 0) {
		fault_set(why, "both values came from %s: a cross-check needs two meters", a->meter);
		return false;
	}
	return true;
}

int crosscheck_apart(const double *x, const double *U, int n)
{
	if (n < 3)
		return -1;
	/* i stands apart when the only pairs that disagree are its own, and all
	 * of those do; no second one can then, for n >= 3. */
	int pairs = 0;
	for (int i = 0; i < n; i++)
		for (int k = i + 1; k < n; k++)
			pairs += !(crosscheck_en(x[i], U[i], x[k], U[k]) <= 1);
	if (pairs != n - 1)
		return -1;
	for (int i = 0; i < n; i++) {
		int own = 0;
		for (int k = 0; k < n; k++)
			own += k != i && !(crosscheck_en(x[i], U[i], x[k], U[k]) <= 1);
		if (own == n - 1)
			return i;
	}
	return -1;
}

bool crosscheck_consistency(const double *x, const double *u, int n, struct consistency *out)
{
	double weights = 0, sum = 0;
	memset(out, 0, sizeof *out);
	if (n < 2)
		return false;
	for (int i = 0; i < n; i++) {
		if (!(u[i] > 0) || !isfinite(u[i]) || !isfinite(x[i]))
			return false;
		weights += 1 / (u[i] * u[i]);
	}
	/* Of what they differ by, so that a large common value costs no figures. */
	for (int i = 0; i < n; i++)
		sum += (x[i] - x[0]) / (u[i] * u[i]);
	out->mean = x[0] + sum / weights;
	out->u = 1 / sqrt(weights);
	for (int i = 0; i < n; i++)
		out->chi_squared += pow((x[i] - out->mean) / u[i], 2);
	out->nu = n - 1;
	out->p = chi_squared_tail(out->chi_squared, out->nu);
	out->birge = sqrt(out->chi_squared / out->nu);
	out->consistent = out->p >= significance;
	return true;
}

bool crosscheck_reference(const struct entry *e, struct decimal nominal, const struct limits *l,
                          double *u_nominal, double *en)
{
	double x = decimal_double(nominal), half = 0;
	if (l->has_low)
		half = fmax(half, x - decimal_double(l->low));
	if (l->has_high)
		half = fmax(half, decimal_double(l->high) - x);
	*u_nominal = half / sqrt(3);
	*en = crosscheck_en(decimal_double(e->value), expanded(e), x, 2 * *u_nominal);
	return half > 0;
}

bool crosscheck_offset(const struct entry *a, const struct entry *b, struct fault *why)
{
	double worst = a->function == FUNCTION_OHM     ? offset_worst_ohm
	               : a->function == FUNCTION_FARAD ? offset_worst_farad
	                                               : 0;
	double d = fabs(decimal_double(a->value) - decimal_double(b->value));
	bool missing = (a->offset == 0 && a->source == SOURCE_METER) ||
	               (b->offset == 0 && b->source == SOURCE_METER);
	double U = hypot(expanded(a), expanded(b));
	if (!missing || d <= U || d > worst + U)
		return false;
	fault_set(why, "the lead offset of %s was not taken, and could be the difference: take it and "
	          "measure again", a->offset == 0 ? a->meter : b->meter);
	return true;
}

bool twins_compare(const struct entry *a, const struct entry *b, double allowed,
                   struct twins *out, struct fault *why)
{
	if (strcmp(a->position, b->position) == 0) {
		fault_set(why, "%s is not its own twin", a->position);
		return false;
	}
	if (!comparable(a, b, why))
		return false;
	double x = decimal_double(a->value), y = decimal_double(b->value);
	double mean = (fabs(x) + fabs(y)) / 2;
	out->ratio = y != 0 ? x / y : 0;
	out->difference = mean > 0 ? (x - y) / mean : 0;
	out->en = crosscheck_entries(a, b);
	/* The bound itself is still agreement; 1e-12 is what doubles lose here. */
	out->agree = out->en <= 1 ||
	             (allowed > 0 && fabs(out->difference) <= allowed * (1 + 1e-12));
	return true;
}
