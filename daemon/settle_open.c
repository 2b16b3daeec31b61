/* SPDX-License-Identifier: MIT */
/*
 * What the leads do: open, on something, or on something without a number.
 *
 *     ohm, diode, henry   overload is open
 *     farad               a residual of some pF is open; overload is a short
 *     volts               below what floats is open (and a glide down to it)
 *     amps, hertz         next to nothing is open
 */
#include "daemon/settle_parts.h"

#include <math.h>
#include <stdlib.h>

/* Digits of a range too coarse for the residual that are still nothing ... */
static const int64_t coarse_digits = 2;
/* ... unless the nominal lies between this part of such a digit and so many of them. */
static const double coarse_part = 3, coarse_times = 5;

static int opens(const struct settle *s)
{
	return s->opens < SETTLE_OPENS ? s->opens : SETTLE_OPENS;
}

/* Does a residual not show in the range of this capacitance? */
static bool is_coarse(const struct settle *s, const struct reading *r)
{
	return decimal_double((struct decimal){1, r->value.e}) >= s->limits.residual_farad;
}

void settle_open_learn(struct settle *s, const struct reading *r)
{
	/* (Of a residual that is below its digit a coarse range says nothing.) */
	if (!r->has_value || (r->function == FUNCTION_FARAD && is_coarse(s, r)))
		return;
	s->open_value[s->opens % SETTLE_OPENS] = decimal_double(r->value);
	if (++s->opens == 2 * SETTLE_OPENS)
		s->opens = SETTLE_OPENS;
}

/* Parts below the residual's limit are seen above the residual that was learnt; and
 * a residual that wanders up to the limit may well wander over it. */
static double farad_limit(const struct settle *s)
{
	double limit = s->limits.residual_farad;
	int have = opens(s);
	if (have < 3)
		return limit;
	double mean = 0, square = 0;
	for (int i = 0; i < have; i++)
		mean += s->open_value[i] / have;
	for (int i = 0; i < have; i++)
		square += (s->open_value[i] - mean) * (s->open_value[i] - mean) / (have - 1);
	double wide = fmin(mean + 4 * sqrt(square), 1.5 * s->limits.residual_farad);
	if (have >= 5 && wide > limit)
		limit = wide;
	if (!s->expected.has_nominal || s->expected.function != FUNCTION_FARAD)
		return limit;
	double small = mean + 0.35 * s->expected.nominal;
	return small < limit ? small : limit;
}

/* A meter that comes down from a large part shows its residual in ranges that are too coarse for
 * it: a digit or two there is nothing, unless a part so small was expected. */
static bool coarse_residual(const struct settle *s, const struct reading *r)
{
	double digit = decimal_double((struct decimal){1, r->value.e});
	if (llabs(r->value.n) > coarse_digits || !is_coarse(s, r))
		return false;
	return !s->expected.has_nominal || s->expected.function != FUNCTION_FARAD ||
	       s->expected.nominal > coarse_times * digit || s->expected.nominal < digit / coarse_part;
}

static double volt_limit(const struct settle *s, enum function f)
{
	double limit = f == FUNCTION_VOLT_DC ? s->limits.float_volt_dc : s->limits.float_volt_ac;
	if (!s->expected.has_nominal || s->expected.function != f || s->expected.nominal == 0)
		return limit;
	double share = s->limits.float_share * fabs(s->expected.nominal);
	/* A small nominal is looked for below the usual limit, too. */
	return share > limit / 10 ? share : limit / 10;
}

static enum contact volt_contact(const struct settle *s, const struct reading *r)
{
	if (!r->has_value)
		return CONTACT_BLIND;
	double v = fabs(decimal_double(r->value));
	if (s->touching && (s->settled || s->doubted)) {
		double level = fabs(decimal_double(s->result.value));
		return v < s->limits.glide_share * level ? CONTACT_OPEN : CONTACT_NUMBER;
	}
	if (v < volt_limit(s, r->function))
		return CONTACT_OPEN;
	/* After a lift the meter's own input takes the charge down: a glide is open. */
	if (!s->touching && s->gliding) {
		double last = s->last.has_value ? fabs(decimal_double(s->last.value)) : 0;
		double digit = decimal_double((struct decimal){1, r->value.e});
		if (v < last - s->limits.moving_digits * digit)
			return CONTACT_OPEN;
	}
	return CONTACT_NUMBER;
}

enum contact settle_contact(const struct settle *s, const struct reading *r)
{
	bool over = (r->state & READING_OVERLOAD) != 0;
	if (settle_is_volt(r->function))
		return volt_contact(s, r);
	if (r->function == FUNCTION_FARAD) {
		if (!r->has_value)
			return CONTACT_BLIND;
		return fabs(decimal_double(r->value)) < farad_limit(s) || coarse_residual(s, r) ? CONTACT_OPEN
		                                                                               : CONTACT_NUMBER;
	}
	if (settle_is_amp(r->function)) {
		if (!r->has_value)
			return CONTACT_BLIND;
		double n = fabs((double)r->value.n);
		return n <= s->limits.open_amp_digits ? CONTACT_OPEN : CONTACT_NUMBER;
	}
	if (r->function == FUNCTION_HERTZ && (!r->has_value || r->value.n == 0))
		return CONTACT_OPEN;
	if (over)
		return CONTACT_OPEN;
	return r->has_value ? CONTACT_NUMBER : CONTACT_BLIND;
}

bool settle_open_doubt(const struct settle *s, const struct settle_result *r)
{
	if (!settle_is_volt(r->function))
		return false;
	const struct settle_expected *x = &s->expected;
	double v = decimal_double(r->value);
	if (!x->has_nominal || x->function != r->function || x->nominal == 0)
		return true;
	double times = v / x->nominal;
	if (r->function == FUNCTION_VOLT_AC)
		times = fabs(times);
	bool fits = times >= s->limits.fit_share && times <= s->limits.fit_times;
	if (isfinite(x->low) && isfinite(x->high) && v >= x->low && v <= x->high)
		fits = true;
	if (!fits)
		return true;
	/* What floats lately: a value not well above it may be floating, too.  The
	 * third largest, for a touch may have been taken for open at its first reading. */
	double top[3] = {0, 0, 0};
	for (int i = 0; i < opens(s); i++) {
		double o = fabs(s->open_value[i]);
		for (int j = 0; j < 3; j++) {
			if (o > top[j]) {
				double swap = top[j];
				top[j] = o;
				o = swap;
			}
		}
	}
	double floats = top[2];
	/* (A glide, which is open too, does not count.) */
	floats = fmin(floats, r->function == FUNCTION_VOLT_DC ? s->limits.float_volt_dc
	                                                      : s->limits.float_volt_ac);
	return fabs(v) < s->limits.float_times * floats;
}
