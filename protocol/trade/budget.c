/* SPDX-License-Identifier: MIT */
/* See budget.h. */
#include "protocol/trade/budget.h"

#include "protocol/trade/distribution.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Half a unit of the sixth figure, and what rounding adds to it. */
static const double sealed_figures = 5.1e-6;
static const double coverage = 0.954499736; /* of U = 2 u, normal */

static struct budget_component *part(struct budget *b, const char *name, const char *distribution,
                                     double spread, double divisor, double nu)
{
	struct budget_component *p = &b->part[b->parts++];
	*p = (struct budget_component){.name = name, .distribution = distribution,
	                               .spread = spread, .divisor = divisor, .u = spread / divisor,
	                               .sensitivity = 1, .nu = nu};
	return p;
}

static void accuracy(const struct entry *e, double value, double digit, struct budget *b)
{
	const struct basis *s = &e->basis;
	double half = s->percent / 100 * fabs(value) + s->counts * fabs(digit);
	struct budget_component *p =
	    part(b, "accuracy", "rectangular", half, sqrt(3), INFINITY);
	int n = snprintf(p->statement, sizeof p->statement, "%g%% of reading + %g counts%s%s%s", s->percent,
	                 s->counts, s->assumed ? ", assumed for " : "",
	                 s->assumed ? s->kind ? "a " : "this kind of " : "",
	                 s->assumed ? meter_class_name(s->kind) : "");
	if (s->has_below && n > 0 && (size_t)n < sizeof p->statement) {
		char below[2 * DECIMAL_TEXT_SIZE];
		struct decimal d = decimal_strip(s->below);
		int prefix = quantity_prefix(d, e->function);
		if (d.e > prefix) /* 10 kohm is {1, 4}: written with its zero */
			decimal_rescale(d, prefix, &d);
		quantity_shown(d, e->function, prefix, below, sizeof below);
		int more = snprintf(p->statement + n, sizeof p->statement - (size_t)n, ", below %.40s",
		                    below);
		n += more > 0 ? more : 0;
	}
	if (s->has_hertz && n > 0 && (size_t)n < sizeof p->statement)
		snprintf(p->statement + n, sizeof p->statement - (size_t)n, ", below %g Hz",
		         decimal_double(s->hertz));
}

static void repeatability(const struct entry *e, double digit, struct budget *b)
{
	double half = fabs(digit) / 2, step = half / sqrt(3), n = e->n > 0 ? e->n : 1;
	struct budget_component *p;
	if (e->basis.s / sqrt(n) > step) {
		p = part(b, "repeatability", "normal", e->basis.s, sqrt(n), n - 1);
		snprintf(p->statement, sizeof p->statement, "scatter of %d settled readings", e->n);
		return;
	}
	p = part(b, "digit", "rectangular", half, sqrt(3), INFINITY);
	snprintf(p->statement, sizeof p->statement,
	         e->n > 1 ? "half of the last digit; %d readings scattered less"
	                  : "half of the last digit; one reading",
	         e->n);
}

static void take_apart(const struct entry *e, struct budget *b)
{
	struct decimal seen = e->has_raw ? e->raw : e->value;
	double value = decimal_double(seen), digit = decimal_double((struct decimal){1, seen.e});
	struct budget_component *p;
	if (!e->basis.known) {
		p = part(b, "sealed", "normal", e->u, 1, INFINITY);
		snprintf(p->statement, sizeof p->statement, "as it stands in record %lld",
		         (long long)e->seq);
		snprintf(b->unknown, sizeof b->unknown,
		         "the record is from before records said what u was made of");
		return;
	}
	if (e->basis.stated) {
		p = part(b, "stated", "normal", e->u, 1, INFINITY);
		snprintf(p->statement, sizeof p->statement, "said by the person who typed the value");
		return;
	}
	accuracy(e, value, digit, b);
	if (e->source == SOURCE_METER)
		repeatability(e, digit, b);
	if (e->basis.offset_u > 0) {
		p = part(b, "lead offset", "normal", e->basis.offset_u, 1, INFINITY);
		p->sensitivity = -1;
		snprintf(p->statement, sizeof p->statement, "record %lld", (long long)e->offset);
	}
}

bool budget_of(const struct entry *e, struct budget *b)
{
	double u[BUDGET_COMPONENTS_MAX], nu[BUDGET_COMPONENTS_MAX];
	memset(b, 0, sizeof *b);
	if (!e->has_value)
		return false;
	take_apart(e, b);
	for (int i = 0; i < b->parts; i++) {
		u[i] = b->part[i].u;
		nu[i] = b->part[i].nu;
		b->u = hypot(b->u, u[i]);
	}
	for (int i = 0; i < b->parts; i++)
		b->part[i].share = b->u > 0 && isfinite(b->u) ? pow(u[i] / b->u, 2) : 0;
	b->nu = welch_satterthwaite(u, nu, b->parts);
	b->k = 2;
	b->U = 2 * b->u;
	b->k95 = student_factor(coverage, b->nu);
	b->U95 = b->k95 * b->u;
	b->agrees = fabs(b->u - e->u) <= sealed_figures * fabs(e->u) || (isinf(b->u) && isinf(e->u));
	if (!b->agrees && !b->unknown[0])
		snprintf(b->unknown, sizeof b->unknown,
		         "the record says u = %.6g: more went into it than is named here", e->u);
	return true;
}
