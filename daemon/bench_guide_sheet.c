/* SPDX-License-Identifier: MIT */
/*
 * What tuning, a lot and bringing up the power take from the sheet:
 *
 *     tune   a rail or another row in volts is its own target.  A pot is read where its `with`
 *            says (a sense resistor, a rail, a load), for hum where its role says hum; a
 *            resistor is read in volts across it.  The valve in the resistor's `with` says with
 *            `max` what it may have.
 *     lot    the tolerance that was said, else that of the first position it is for.
 *     rise   rails, heaters, ripple, currents, loads and hum: struct guide_station.
 */
#include "daemon/bench_guide.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const struct position *row_at(const struct bench *b, int place)
{
	return &b->position[place].row.position;
}

static const struct position *with_of(const struct bench *b, const struct position *p, int *place)
{
	*place = p->with[0] ? position_find(b, p->with) : -1;
	return *place < 0 ? NULL : row_at(b, *place);
}

static void limits_of(const struct position *p, double *low, double *high)
{
	struct limits l;
	*low = *high = NAN;
	if (!position_limits(p, &l))
		return;
	*low = l.has_low ? decimal_double(l.low) : NAN;
	*high = l.has_high ? decimal_double(l.high) : NAN;
}

/* Watts of the valve behind a resistor, NaN where nobody said. */
static double most_of(const struct bench *b, const struct position *p)
{
	int place;
	const struct position *valve = with_of(b, p, &place);
	return valve && valve->kind == KIND_VALVE && valve->has_max ? decimal_double(valve->max) : NAN;
}

/* ---- tune ---- */

static bool tune(const struct bench *b, struct bench_guide *gd, struct fault *why)
{
	struct guide_plan *p = &gd->plan;
	const struct position *pot = row_at(b, gd->place), *at = pot;
	bool hum = role_says(pot->role, "hum");
	if (pot->kind == KIND_POT) {
		at = with_of(b, pot, &gd->place);
		if (!at) {
			gd->place = position_find(b, pot->name);
			fault_set(why, "%s is a pot: say in the sheet where what it sets is read (sheet set %s with=R21), or "
			          "tune that position", pot->name, pot->name);
			return false;
		}
	}
	snprintf(p->of, sizeof p->of, "%s", at->name);
	snprintf(p->twin, sizeof p->twin, "%s", at->twin);
	p->nominal = p->low = p->high = NAN;
	p->function = at->function;
	if (at->function == FUNCTION_OHM) {
		p->function = FUNCTION_VOLT_DC;
		if (isnan(p->R.value))
			p->R = guide_ohms_at(b, gd->place);
	} else {
		p->nominal = at->has_nominal ? decimal_double(at->nominal) : NAN;
		limits_of(at, &p->low, &p->high);
	}
	if (hum) {
		bool ac = p->function == FUNCTION_VOLT_AC;
		p->function = FUNCTION_VOLT_AC;
		p->nominal = NAN;
		p->high = ac ? p->high : NAN;
	}
	if (isnan(p->most))
		p->most = most_of(b, at);
	return true;
}

/* ---- lot ---- */

static bool lot(const struct bench *b, struct bench_guide *gd, struct fault *why)
{
	struct guide_plan *p = &gd->plan;
	for (int i = 0; i < p->fits; i++) {
		int place = position_find(b, p->fit[i]);
		if (place < 0) {
			fault_set(why, "for=: %.40s is not in the sheet", p->fit[i]);
			return false;
		}
		const struct position *at = row_at(b, place);
		bool same = at->has_nominal && at->function == p->function &&
		            fabs(decimal_double(at->nominal) / p->nominal - 1) < 1e-9;
		if (same && isnan(p->low) && isnan(p->high))
			limits_of(at, &p->low, &p->high);
	}
	return true;
}

/* ---- rise ---- */

static bool is_load(const struct position *p)
{
	return p->function == FUNCTION_OHM && role_says(p->role, "load") && !role_says(p->role, "anode") &&
	       !role_says(p->role, "plate");
}

/* -1: none of them. */
static int what_of(const struct bench *b, const struct position *p)
{
	int place;
	const struct position *with = with_of(b, p, &place);
	bool ac = p->function == FUNCTION_VOLT_AC;
	if (p->kind == KIND_RAIL && ac)
		return GUIDE_HEATER;
	if (p->kind == KIND_RAIL)
		return p->has_nominal && p->nominal.n < 0 ? GUIDE_BIAS : GUIDE_RAIL;
	if (role_says(p->role, "hum") && with && is_load(with))
		return GUIDE_HUM;
	if (ac && with && with->kind == KIND_RAIL)
		return GUIDE_RIPPLE;
	if (p->function != FUNCTION_OHM || p->kind == KIND_POT)
		return -1;
	if (role_says(p->role, "sense") ||
	    (role_says(p->role, "cathode") && !role_says(p->role, "bypass") && with &&
	     with->kind == KIND_VALVE))
		return GUIDE_SENSE;
	return is_load(p) ? GUIDE_LOAD : -1;
}

static void fill(const struct bench *b, int place, int what, struct guide_station *s)
{
	const struct position *p = row_at(b, place), *valve;
	bool by_with = what == GUIDE_RIPPLE || what == GUIDE_HUM;
	int with;
	memset(s, 0, sizeof *s);
	snprintf(s->name, sizeof s->name, "%s", p->name);
	snprintf(s->twin, sizeof s->twin, "%s", by_with ? p->with : p->twin);
	s->what = (enum guide_what)what;
	s->nominal = s->low = s->high = s->most = s->anode = NAN;
	s->R = (struct measure){NAN, NAN};
	if (what == GUIDE_SENSE || what == GUIDE_LOAD) {
		s->R = guide_ohms_at(b, place);
	} else if (p->has_nominal) {
		s->nominal = decimal_double(p->nominal);
		limits_of(p, &s->low, &s->high);
	}
	if (what != GUIDE_SENSE)
		return;
	s->most = most_of(b, p);
	valve = with_of(b, p, &with);
	if (valve && valve->kind == KIND_VALVE && valve->has_nominal &&
	    valve->function == FUNCTION_VOLT_DC)
		s->anode = decimal_double(valve->nominal);
}

/* The lowest rating of a reservoir that could stand on a rail of so many volts: that of a bias
 * supply is none of it. */
static double ceiling_over(const struct bench *b, double nominal)
{
	double least = NAN;
	for (int i = 0; i < b->positions; i++) {
		const struct position *p = row_at(b, i);
		double volts = p->has_rated && reservoir_by_role(p) ? decimal_double(p->rated) : NAN;
		if (volts >= nominal && !(least <= volts))
			least = volts;
	}
	return least;
}

static bool rise(const struct bench *b, struct bench_guide *gd, bool ceiling_said, struct fault *why)
{
	struct guide_plan *p = &gd->plan;
	double main = NAN;
	for (int i = 0; i < b->positions; i++) {
		const struct position *at = row_at(b, i);
		int what = what_of(b, at);
		if (at->kind == KIND_VALVE && role_says(at->role, "rectifier"))
			p->rectifier_valve = true;
		if (what < 0)
			continue;
		if (p->stations == GUIDE_STATIONS) {
			fault_set(why, "bringing up the power visits at most %d rails, heaters, currents, loads; the sheet "
			          "has more: %s is one too many", GUIDE_STATIONS, at->name);
			return false;
		}
		struct guide_station *s = &p->station[p->stations++];
		fill(b, i, what, s);
		if (what == GUIDE_LOAD && !isnan(p->load))
			s->R = (struct measure){p->load, 0};
		if (what == GUIDE_RAIL && !(main >= s->nominal))
			main = s->nominal;
		if (what == GUIDE_RAIL && main == s->nominal)
			gd->place = i;
	}
	if (!ceiling_said)
		p->ceiling = ceiling_over(b, main);
	return true;
}

bool guide_sheet(const struct bench *b, struct bench_guide *gd, bool ceiling_said,
                 struct fault *why)
{
	switch (gd->kind) {
	case GUIDE_TUNE:
		return gd->place < 0 ? (fault_set(why, "tune is of a position: a pot, a rail, a sense resistor"),
		                        false)
		                     : tune(b, gd, why);
	case GUIDE_LOT: return lot(b, gd, why);
	case GUIDE_RISE: return rise(b, gd, ceiling_said, why);
	default: return true;
	}
}
