/* SPDX-License-Identifier: MIT */
/* See verdict.h.  Defaults of the trade are in practice.c, drift in drift.c. */
#include "protocol/trade/verdict.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "protocol/trade/drift.h"

/* u is sealed with six significant digits; judging uses the same digits. */
static const int u_figures = 6;

/* What bad leads may add where no offset was taken (common practice, no
 * source): worn leads 0.5 ohm, open leads 50 pF; twice that. */
static const struct decimal offset_worst_ohm = {1, 0};
static const struct decimal offset_worst_farad = {100, -12};

static const char *const confirm_swapped = "high even in circuit: confirm with the leads swapped";

static const char *const same_swapped = "high even in circuit, and with the leads swapped";
static const char *const offset_missing = "lead offset missing: take it and measure again";
static const char *const differs_swapped =
    "differs with the leads swapped: something is charged";

static struct decimal negated(struct decimal d)
{
	d.n = -d.n;
	return d;
}

/* a - b: exact, or to 17 figures where the two are so unequal in size that the
 * exact difference does not fit. */
static struct decimal difference(struct decimal a, struct decimal b)
{
	struct decimal d;
	if (decimal_subtract(a, b, &d))
		return d;
	double x = decimal_double(a) - decimal_double(b);
	if (fabs(x) > 1e40) /* more than a decimal can say; more than any U, too */
		return (struct decimal){x < 0 ? -1 : 1, 40};
	return decimal_from_double(x, 17);
}

/* Where value - down .. value + up lies against the limits. */
struct place {
	bool inside;
	bool low, high; /* wholly outside, on that side */
};

static struct place place_of(struct decimal value, struct decimal down, struct decimal up,
                             const struct limits *l)
{
	struct place p = {true, false, false};
	if (l->has_low) {
		struct decimal over = difference(value, l->low); /* above the lower limit by this */
		p.inside = p.inside && decimal_compare(over, down) >= 0;
		p.low = decimal_compare(over, negated(up)) < 0;
	}
	if (l->has_high) {
		struct decimal under = difference(l->high, value);
		p.inside = p.inside && decimal_compare(under, up) >= 0;
		p.high = decimal_compare(under, negated(down)) < 0;
	}
	return p;
}

static bool has_limits(const struct limits *l)
{
	return l->has_low || l->has_high;
}

static enum verdict_side side_from(int compared)
{
	return compared < 0 ? SIDE_LOW : compared > 0 ? SIDE_HIGH : SIDE_NONE;
}

static enum verdict_side side_of(const struct judgement *j)
{
	const struct limits *l = &j->limits;
	if (l->has_low && decimal_compare(j->value, l->low) < 0)
		return SIDE_LOW;
	if (l->has_high && decimal_compare(j->value, l->high) > 0)
		return SIDE_HIGH;
	bool nominal_inside = j->has_nominal &&
	                      !(l->has_low && decimal_compare(j->nominal, l->low) < 0) &&
	                      !(l->has_high && decimal_compare(j->nominal, l->high) > 0);
	if (nominal_inside)
		return side_from(decimal_compare(j->value, j->nominal));
	if (l->has_low && l->has_high)
		return side_from(decimal_compare(difference(j->value, l->low),
		                                 difference(l->high, j->value)));
	return SIDE_NONE;
}

static void set_why(struct verdict *v, const char *text)
{
	snprintf(v->why, sizeof v->why, "%s", text);
}

static void unsure(struct verdict *v, enum verdict_reason reason, const char *why)
{
	v->word = VERDICT_UNSURE;
	v->reason = reason;
	set_why(v, why);
}

static void outside(struct verdict *v, enum verdict_side side, enum verdict_reason reason,
                    const char *why)
{
	v->word = VERDICT_OUTSIDE;
	v->side = side;
	v->reason = reason;
	set_why(v, why);
}

/* An overload whose range end nobody told: the least that ordinary meters reach
 * (common practice, no source). */
static bool above_assumed(enum function f, struct decimal *out)
{
	switch (f) {
	case FUNCTION_OHM:
		*out = (struct decimal){10, 6};
		return true;
	case FUNCTION_FARAD:
		*out = (struct decimal){10, -6};
		return true;
	case FUNCTION_VOLT_DC:
	case FUNCTION_VOLT_AC:
		*out = (struct decimal){600, 0};
		return true;
	case FUNCTION_DIODE:
		*out = (struct decimal){15, -1};
		return true;
	default:
		return false;
	}
}

static void judge_overload_outside(const struct judgement *j, struct verdict *v, bool negative)
{
	bool current_path = j->function == FUNCTION_OHM || j->function == FUNCTION_DIODE;
	if (current_path && j->in_circuit && j->swapped == AGREEMENT_NO) {
		v->side = SIDE_HIGH;
		unsure(v, REASON_CIRCUIT, differs_swapped);
	} else if (negative) {
		outside(v, SIDE_LOW, REASON_NONE, "more negative than the meter's range");
	} else if (current_path) {
		outside(v, SIDE_HIGH, REASON_OPEN,
		        !j->in_circuit || j->swapped == AGREEMENT_YES
		            ? "open" : "reads open: confirm with the leads swapped");
	} else if (j->function == FUNCTION_FARAD && j->in_circuit) {
		v->side = SIDE_HIGH;
		unsure(v, REASON_CIRCUIT, "overload in circuit: lift one leg");
	} else if (j->function == FUNCTION_FARAD) {
		outside(v, SIDE_HIGH, REASON_LEAKAGE,
		        "overload: shorted or heavily leaky, measure leakage");
	} else {
		outside(v, SIDE_HIGH, REASON_NONE, "beyond the meter's range");
	}
}

/* About zero, where the sign of what was beyond the range is not known: a meter shows the same for
 * both.  It is outside where either would be, and there is no side to say. */
static void judge_overload_about_zero(const struct limits *l, bool known, struct decimal above,
                                      struct verdict *v)
{
	struct decimal below = above;
	below.n = -below.n;
	if (known && decimal_compare(above, l->high) >= 0 && decimal_compare(below, l->low) <= 0)
		outside(v, SIDE_NONE, REASON_NONE, "beyond the meter's range");
	else
		unsure(v, REASON_METER, "the meter's range ends before the limit: use a higher range");
}

/* The value lies beyond `above`; how far is not known. */
static void judge_overload(const struct judgement *j, struct verdict *v)
{
	const struct limits *l = &j->limits;
	struct decimal above = j->above;
	bool known = j->has_above || above_assumed(j->function, &above);
	if (!has_limits(l))
		return;
	bool has_sign = j->function == FUNCTION_VOLT_DC || j->function == FUNCTION_AMP_DC;
	if (has_sign && j->has_nominal && j->nominal.n == 0 && l->has_low && l->has_high) {
		judge_overload_about_zero(l, known, above, v);
		return;
	}
	bool negative = j->has_nominal && j->nominal.n < 0;
	bool has_far = negative ? l->has_low : l->has_high;
	struct decimal far = negative ? l->low : l->high, end = above;
	if (negative)
		end.n = end.n > 0 ? -end.n : end.n;
	int sign = negative ? -1 : 1;
	if (!has_far) {
		/* Open on the side where the overload lies. */
		struct decimal bound = negative ? l->high : l->low;
		if (known && sign * decimal_compare(end, bound) >= 0) {
			v->word = VERDICT_WITHIN;
			set_why(v, "beyond the meter's range");
			return;
		}
		unsure(v, REASON_METER, "the meter's range ends before the limit");
		return;
	}
	if (known && sign * decimal_compare(end, far) >= 0) {
		judge_overload_outside(j, v, negative);
		return;
	}
	v->side = negative ? SIDE_LOW : SIDE_HIGH;
	unsure(v, REASON_METER, "the meter's range ends before the limit: use a higher range");
}

/* The expanded uncertainty, as records carry it.  False where u is no number
 * that could be compared. */
static bool expanded(double u, struct decimal *U)
{
	if (!(u >= 0) || u > 1e30)
		return false;
	*U = decimal_from_double(u, u_figures);
	U->n *= 2;
	return true;
}

/* The worst lead offset, where it matters and was not taken; else 0. */
static struct decimal offset_worst(const struct judgement *j)
{
	if (j->offset_missing && j->function == FUNCTION_OHM)
		return offset_worst_ohm;
	if (j->offset_missing && j->function == FUNCTION_FARAD)
		return offset_worst_farad;
	return (struct decimal){0, 0};
}

/* Would the worst lead offset, which can only have raised the reading, take the decision back? */
static bool offset_decides(const struct judgement *j, struct decimal U, const struct place *p)
{
	struct decimal worst = offset_worst(j), down;
	if (worst.n == 0)
		return false;
	if (!decimal_add(U, worst, &down)) /* then the smaller one is negligible */
		down = decimal_compare(U, worst) > 0 ? U : worst;
	struct place q = place_of(j->value, down, U, &j->limits);
	return (p->inside || p->low || p->high) && !q.inside && !q.low && !q.high;
}

/* In circuit.  True where this decided; false: judge as elsewhere. */
static bool judge_in_circuit(const struct judgement *j, struct decimal U, const struct place *p,
                             struct verdict *v)
{
	switch (j->function) {
	case FUNCTION_OHM:
		if (j->swapped == AGREEMENT_NO) {
			unsure(v, REASON_CIRCUIT, differs_swapped);
			return true;
		}
		/* What the circuit cannot have done, the leads could. */
		if ((p->high || (p->inside && !j->limits.has_high)) && offset_decides(j, U, p)) {
			unsure(v, REASON_OFFSET, offset_missing);
			return true;
		}
		if (p->high) {
			outside(v, SIDE_HIGH, REASON_NONE,
			        j->swapped == AGREEMENT_YES ? same_swapped : confirm_swapped);
			return true;
		}
		if (p->inside && !j->limits.has_high) {
			v->word = VERDICT_WITHIN;
			set_why(v, "other paths only lower it");
			return true;
		}
		unsure(v, REASON_CIRCUIT, "other paths lower it: lift one leg");
		return true;
	case FUNCTION_FARAD:
		unsure(v, REASON_CIRCUIT,
		       v->side == SIDE_LOW ? "low: lift one leg"
		                           : "other parts across it raise it: lift one leg");
		return true;
	case FUNCTION_HENRY:
		unsure(v, REASON_CIRCUIT, "other parts across it change it: lift one leg");
		return true;
	case FUNCTION_DIODE:
		if (p->inside || p->high)
			return false;
		unsure(v, REASON_CIRCUIT, "other paths lower it: lift one leg");
		return true;
	default:
		return false; /* voltages and currents are measured where they are */
	}
}

/* Which name the trade has for a value that is outside. */
static void explain_outside(const struct judgement *j, struct decimal U, struct verdict *v)
{
	if (j->has_nominal && j->nominal.n < 0) {
		set_why(v, v->side == SIDE_LOW ? "more negative" : "less negative");
		return;
	}
	const struct drift *d = j->has_nominal && j->nominal.n > 0 ? drift_of(j->kind, j->nominal)
	                                                           : NULL;
	if (!d || j->function != kind_function(j->kind))
		return;
	if (v->side == SIDE_HIGH && d->leaky_high) {
		v->reason = REASON_LEAKAGE;
		set_why(v, d->why_high);
		return;
	}
	if (drift_other_value(d, j->nominal, j->value, decimal_double(U), &v->other)) {
		char shown[2 * DECIMAL_TEXT_SIZE];
		quantity_shown(v->other, j->function, quantity_prefix(v->other, j->function), shown,
		               sizeof shown);
		v->has_other = true;
		v->reason = REASON_OTHER_VALUE;
		snprintf(v->why, sizeof v->why, "another value seems to be fitted: %.60s", shown);
		return;
	}
	double ratio = decimal_double(j->value) / decimal_double(j->nominal);
	if (ratio > d->high || ratio < d->low)
		set_why(v, "far from nominal: look at its marking, measure it again");
	else
		set_why(v, v->side == SIDE_HIGH ? d->why_high : d->why_low);
}

/* Would the value without the meter's load be judged otherwise? */
static bool load_decides(const struct judgement *j, struct decimal U, const struct place *p)
{
	if (!(j->load > 0) || j->load > 1e30)
		return j->load > 0;
	struct decimal load = decimal_from_double(j->load, u_figures), more;
	if (!decimal_add(U, load, &more)) /* then the smaller one is negligible */
		more = decimal_compare(U, load) > 0 ? U : load;
	bool negative = j->value.n < 0; /* loading pulls towards zero from either side */
	struct place q = place_of(j->value, negative ? more : U, negative ? U : more, &j->limits);
	return (p->inside || p->low || p->high) && !q.inside && !q.low && !q.high;
}

static void judge_plain(const struct judgement *j, struct decimal U, const struct place *p,
                        struct verdict *v)
{
	if (load_decides(j, U, p)) {
		char why[sizeof v->why];
		snprintf(why, sizeof why, "the meter loads this place: it may read %.3g %% low",
		         100 * j->load / fabs(decimal_double(j->value)));
		verdict_beyond_meter(v, why, "measure with a meter of higher input resistance");
		return;
	}
	if (offset_decides(j, U, p)) {
		unsure(v, REASON_OFFSET, offset_missing);
		return;
	}
	v->has_probability = true;
	v->probability = conformance(decimal_double(j->value), j->u, &j->limits);
	if (p->inside) {
		v->word = VERDICT_WITHIN;
	} else if (p->low || p->high) {
		v->word = VERDICT_OUTSIDE;
		explain_outside(j, U, v);
	} else if (decimal_compare(offset_worst(j), U) > 0) {
		/* The leads may be more of it than the meter is: they are seen to first. */
		unsure(v, REASON_OFFSET, offset_missing);
		v->has_probability = false;
	} else {
		unsure(v, REASON_METER, "too near the limit for this meter");
	}
}

void verdict_beyond_meter(struct verdict *v, const char *why, const char *next)
{
	v->word = VERDICT_NONE;
	v->side = SIDE_NONE;
	v->reason = REASON_LIMITS_OF_METER;
	v->has_probability = v->has_other = false;
	v->probability = 0;
	set_why(v, why);
	snprintf(v->next, sizeof v->next, "%s", next);
}

/* (value - nominal) / nominal, absent at nominal zero. */
static void set_deviation(const struct judgement *j, struct verdict *v)
{
	if (!j->has_value || !j->has_nominal || j->nominal.n == 0)
		return;
	struct decimal d = difference(j->value, j->nominal);
	/* Not -0 for a negative nominal that is met exactly. */
	double deviation = d.n ? decimal_double(d) / decimal_double(j->nominal) : 0;
	v->has_deviation = isfinite(deviation);
	v->deviation = v->has_deviation ? deviation : 0;
}

static struct verdict decide(const struct judgement *j)
{
	struct verdict v;
	memset(&v, 0, sizeof v);
	v.limits = j->limits;
	v.assumed = j->assumed;
	set_deviation(j, &v);
	if (!j->has_value) {
		judge_overload(j, &v);
		return v;
	}
	if (!has_limits(&j->limits))
		return v;
	v.side = side_of(j);
	if (!j->settled) {
		unsure(&v, REASON_MOVING, "not settled: measure it again");
		return v;
	}
	struct decimal U;
	if (!expanded(j->u, &U)) {
		unsure(&v, REASON_METER, "the meter's uncertainty is not known");
		return v;
	}
	struct place p = place_of(j->value, U, U, &j->limits);
	if (!(j->in_circuit && judge_in_circuit(j, U, &p, &v)))
		judge_plain(j, U, &p, &v);
	return v;
}

struct verdict judge(const struct judgement *j)
{
	struct verdict v = decide(j);
	verdict_advise(j, &v);
	return v;
}

/* Upper tail of the standard normal distribution. */
static double tail(double z)
{
	return 0.5 * erfc(z / sqrt(2));
}

double conformance(double value, double u, const struct limits *l)
{
	double low = l->has_low ? decimal_double(l->low) : -HUGE_VAL;
	double high = l->has_high ? decimal_double(l->high) : HUGE_VAL;
	if (isnan(value) || isnan(u))
		return 0;
	if (!(u > 0))
		return value >= low && value <= high ? 1 : 0;
	if (isinf(u))
		return l->has_low && l->has_high ? 0 : l->has_low || l->has_high ? 0.5 : 1;
	double a = (low - value) / u, b = (high - value) / u;
	/* Far below or far above the limits the difference is taken in that tail,
	 * where small numbers keep their digits. */
	double p = a > 0 ? tail(a) - tail(b) : b < 0 ? tail(-b) - tail(-a) : 1 - tail(-a) - tail(b);
	return p < 0 ? 0 : p > 1 ? 1 : p;
}

const char *verdict_word_name(enum verdict_word w)
{
	static const char *const names[] = {"none", "within", "outside", "unsure"};
	return (unsigned)w < sizeof names / sizeof *names ? names[w] : "";
}

const char *verdict_side_name(enum verdict_side s)
{
	static const char *const names[] = {"", "low", "high"};
	return (unsigned)s < sizeof names / sizeof *names ? names[s] : "";
}

const char *verdict_reason_name(enum verdict_reason r)
{
	static const char *const names[] = {
	    [REASON_NONE] = "",
	    [REASON_METER] = "meter",
	    [REASON_CIRCUIT] = "circuit",
	    [REASON_MOVING] = "moving",
	    [REASON_OFFSET] = "offset",
	    [REASON_OTHER_VALUE] = "other-value",
	    [REASON_LEAKAGE] = "leakage",
	    [REASON_OPEN] = "open",
	    [REASON_LIMITS_OF_METER] = "limits-of-meter",
	};
	return (unsigned)r < sizeof names / sizeof *names ? names[r] : "";
}
