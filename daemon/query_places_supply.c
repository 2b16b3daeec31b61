/* SPDX-License-Identifier: MIT */
/*
 * Of `places`: the supply.  Caution: reservoirs kill long after the mains is off; volts
 * come back after a discharge.  Measured dead, twice, before anybody touches.
 */
#include "daemon/query_places.h"

#include <math.h>
#include <string.h>

static const double safe_volts = 60; /* DC, below which a touch is no hazard (IEC 61140) */
static const double warm_watts = 1;  /* in a can: stop (common practice, no source) */

static void ripple(struct places *p, int row, enum of of)
{
	struct had Vac, Vdc;
	int rail = with_row(p, row);
	if (!had_entry(p, row, QUANTITY_VOLTS, FUNCTION_VOLT_AC, of, &Vac) ||
	    !had_entry(p, rail, QUANTITY_VOLTS, FUNCTION_VOLT_DC, of, &Vdc))
		return;
	const struct had *from[] = { &Vac, &Vdc };
	place_write(p, row, "ripple", of, place_ripple(Vac.m, Vdc.m), "%", NULL, from, 2);
}

/* The capacitance at its largest: discharge takes that long. */
static struct measure largest(const struct places *p, int row, const struct had *C)
{
	const struct position *s = &p->g.row[row].position;
	struct limits l;
	struct tolerance usual;
	if (C->entry || !(limits_from(&s->tolerance, true, s->nominal, &l) ||
	                  (tolerance_default(s->kind, s->function, &usual) &&
	                   limits_from(&usual, true, s->nominal, &l))) || !l.has_high)
		return C->m;
	return (struct measure){ decimal_double(l.high), 0 };
}

static void discharge(struct places *p, int row, int bleeder, enum of of)
{
	struct had C, R;
	const struct position *s = &p->g.row[row].position;
	bool has = of == OF_NOMINAL ? had_nominal(p, row, of, &C)
	                            : had_entry(p, row, QUANTITY_VALUE, FUNCTION_FARAD, of, &C);
	if (!has || !had_value(p, bleeder, of, &R))
		return;
	const struct had *from[] = { &C, &R };
	struct measure most = largest(p, row, &C), tau = place_tau(R.m, most);
	place_write(p, row, "discharge-5rc", of, (struct measure){ 5 * tau.value, 5 * tau.u }, "s",
	            "the volts come back: measure, wait a minute, measure again", from, 2);
	if (!s->has_rated)
		return;
	struct measure V0 = { decimal_double(s->rated), 0 };
	place_write(p, row, "discharge-to-60V", of, place_seconds_to(V0, R.m, most, safe_volts), "s",
	            "from the rated volts; measured dead counts, not the clock", from, 2);
}

static void leakage(struct places *p, int row, enum of of)
{
	struct had I, C;
	const struct position *s = &p->g.row[row].position;
	if (!s->has_rated || !had_entry(p, row, QUANTITY_LEAKAGE, FUNCTION_AMP_DC, of, &I) ||
	    !had_value(p, row, of, &C))
		return;
	const struct had *from[] = { &I, &C };
	struct measure V = { decimal_double(s->rated), 0 };
	for (int f = 0; f <= LEAKAGE_001CV; f++) {
		bool period = f == LEAKAGE_PERIOD;
		struct measure limit = place_leakage_allowed((enum leakage_formula)f, C.m, V.value);
		double more = I.m.value - limit.value, U = 2 * hypot(I.m.u, limit.u);
		place_write(p, row, period ? "leakage-limit-period" : "leakage-limit-modern", of, limit, "A",
		            more > U    ? "what was measured is above this limit"
		            : more > -U ? "what was measured is too near to it to tell"
		                        : "what was measured is not above it",
		            from, 2);
	}
	struct measure P = place_heat(V, I.m);
	place_write(p, row, "heat", of, P, "W",
	            P.value > warm_watts ? "warms the can: stop" : "at the rated volts", from, 1);
}

void places_supply(struct places *p, int row)
{
	int with = with_row(p, row);
	bool reservoir = row_is(p, row, FUNCTION_FARAD) && row_is(p, with, FUNCTION_OHM) &&
	                 (row_says(p, row, "reservoir") || row_says(p, row, "smoothing"));
	for (int of = 0; of < OF_COUNT; of++) {
		if (with >= 0 && of != OF_NOMINAL)
			ripple(p, row, (enum of)of);
		if (reservoir)
			discharge(p, row, with, (enum of)of);
		if (p->g.row[row].position.kind == KIND_ELECTROLYTIC && of != OF_NOMINAL)
			leakage(p, row, (enum of)of);
	}
}
