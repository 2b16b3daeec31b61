/* SPDX-License-Identifier: MIT */
/* See crosscheck.h. */
#include "protocol/trade/crosscheck.h"

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

/* What must be the same for two entries to be of one measurand. */
static bool comparable(const struct entry *a, const struct entry *b, struct fault *why)
{
	if (a->quantity != b->quantity)
		fault_set(why, "different quantities: %s and %s", quantity_name(a->quantity),
		          quantity_name(b->quantity));
	else if (a->condition != b->condition)
		fault_set(why, "different conditions: %s and %s", condition_name(a->condition),
		          condition_name(b->condition));
	else if (a->reach != b->reach)
		fault_set(why, "different reach: %s and %s; measure both the same way",
		          reach_name(a->reach), reach_name(b->reach));
	else if (a->function != b->function)
		fault_set(why, "measured with different functions: %s and %s",
		          function_name(a->function), function_name(b->function));
	else
		return usable(a, why) && usable(b, why);
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
	out->en = crosscheck_en(x, expanded(a), y, expanded(b));
	/* The bound itself is still agreement; 1e-12 is what doubles lose here. */
	out->agree = out->en <= 1 ||
	             (allowed > 0 && fabs(out->difference) <= allowed * (1 + 1e-12));
	return true;
}
