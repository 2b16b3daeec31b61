/* SPDX-License-Identifier: MIT */
/*
 * What stops bringing up the power: rail, bias and dissipation while they are read, and what a
 * step shows when it is left.  The bounds: guide_rise_parts.h.
 */
#include "protocol/guide/guide_rise_parts.h"

#include <math.h>
#include <stdio.h>

#define READINGS 2 /* in a row: one may be a garbled frame or a spark; common practice, no source */

static void abort_rise(struct guide *g, struct guide_out *out)
{
	char why[sizeof g->because];
	snprintf(why, sizeof why, "%s", g->because);
	guide_give_up(g, STEP_OFF, out, "%s", why);
	g->alarm = true;
	out->alarm = true;
	snprintf(out->text, sizeof out->text, "SWITCH OFF: %s. Hands off, transformer to zero, mains off, "
	         "discharge, measure dead", why);
}

#define ABORT(g, out, ...)                                          \
	do {                                                            \
		snprintf((g)->because, sizeof(g)->because, __VA_ARGS__);    \
		abort_rise(g, out);                                         \
	} while (0)

static bool several(struct guide *g, int slot, bool above)
{
	guide_slot_set(g, slot, above ? guide_slot_value(g, slot) + 1 : 0);
	return guide_slot_value(g, slot) >= READINGS;
}

double rise_rail_most(const struct guide *g)
{
	return g->step == STEP_TRANSFORMER || g->step == STEP_HEATERS ? DEAD_VOLTS : g->plan.ceiling;
}

bool rise_watch_rail(struct guide *g, const struct guide_input *in, struct guide_out *out)
{
	double most = rise_rail_most(g);
	/* Where the rail's meter is the only one, it has other volts now. */
	bool its = rise_wanderer(g) != ROLE_RAIL || rise_here(g) == rise_rail(g);
	if (g->step < STEP_TRANSFORMER || !its || isnan(most))
		return false;
	if (!several(g, SLOT_ABOVE, in->over || fabs(in->x.value) > most))
		return false;
	if (in->over)
		ABORT(g, out, "the rail is beyond the meter's range");
	else if (most == DEAD_VOLTS)
		ABORT(g, out, "the rail is at %.0f V, above %.0f V with the rectifier out", in->x.value, most);
	else
		ABORT(g, out, "the rail is at %.0f V, above %.0f V", in->x.value, most);
	return true;
}

struct measure rise_watts(const struct guide *g, int station, struct measure V)
{
	const struct guide_station *s = &g->plan.station[station];
	struct measure nothing = {0, 0}, Va = guide_slot_measure(g, SLOT_FIRST + rise_main_rail(g));
	if (!isnan(s->anode))
		Va = (struct measure){s->anode, 0};
	return place_dissipation_sensed(Va, V, s->R, nothing);
}

bool rise_too_hot(const struct guide *g, int station, struct measure V)
{
	const struct guide_station *s = &g->plan.station[station];
	return s->what == GUIDE_SENSE && !isnan(s->most) && rise_watts(g, station, V).value > s->most;
}

void rise_abort_hot(struct guide *g, int station, struct measure V, struct guide_out *out)
{
	const struct guide_station *s = &g->plan.station[station];
	ABORT(g, out, "the valve at %s has %.1f W, above its %.3g W", s->name,
	      rise_watts(g, station, V).value, s->most);
}

bool rise_watch_bias(struct guide *g, const struct guide_input *in, struct guide_out *out)
{
	bool soak = g->step == STEP_SOAK;
	int i = (int)guide_slot_value(g, SLOT_STATION);
	if ((!soak && !(rise_here(g) && rise_here(g)->what == GUIDE_SENSE)) || i < 0 || i >= g->plan.stations ||
	    g->plan.station[i].what != GUIDE_SENSE || in->over)
		return false;
	double first = guide_slot_value(g, SLOT_FIRST + i), now = fabs(in->x.value);
	bool runs = soak && first != 0 && now > fabs(first) * (1 + RUNAWAY);
	/* A probe on its way may touch anything: what is far more than a current is none. */
	bool hot = rise_too_hot(g, i, in->x) && (first == 0 || now < 5 * fabs(first));
	if (!several(g, SLOT_ABOVE_BIAS, runs || (hot && soak)))
		return false;
	if (runs)
		ABORT(g, out, "the bias at %s rose by %.0f %% over the soak: it runs away", g->plan.station[i].name,
		      100 * (now / fabs(first) - 1));
	else
		rise_abort_hot(g, i, in->x, out);
	return true;
}

/* ---- what going on shows ---- */

static bool raised(struct guide *g, struct guide_out *out)
{
	double v = g->live[ROLE_RAIL].value;
	struct guide_expected e = rise_expected(g);
	bool cold = g->plan.rectifier_valve && rise_stage_mains(g) < WARM_RECTIFIER * g->plan.tap;
	if (v > RISE_MARGIN * e.unloaded)
		ABORT(g, out, "the rail is at %.0f V where %.0f V of mains give %.0f V at most: wrong tap, or another "
		      "transformer", v, rise_stage_mains(g), e.unloaded);
	else if (!cold && v < RISE_FLOOR * e.loaded)
		ABORT(g, out, "the rail is at %.0f V where %.0f V of mains give %.0f to %.0f V: something pulls it "
		      "down (rectifier, reservoir)", v, rise_stage_mains(g), e.loaded, e.unloaded);
	return g->failed;
}

bool rise_shows_fault(struct guide *g, struct guide_out *out)
{
	const struct guide_station *s = rise_here(g);
	double v = rise_heard(g, ROLE_RAIL) ? g->live[ROLE_RAIL].value : NAN;
	double nominal = rise_expected(g).loaded;
	int role = rise_wanderer(g);
	if (g->step == STEP_RAISE)
		return raised(g, out);
	if (g->step == STEP_BIAS && rise_heard(g, role) &&
	    g->live[role].value / s->nominal < BIAS_FLOOR)
		ABORT(g, out, "the bias rail %s is at %.1f V instead of %.1f V: without it the output valves run away",
		      s->name, g->live[role].value, s->nominal);
	else if (g->step == STEP_GLOW && v < GLOW_FLOOR * nominal)
		ABORT(g, out, "the rail is at %.0f V with the lamp in: something is short", v);
	else if (g->step == STEP_ON && v < ON_FLOOR * nominal)
		ABORT(g, out, "the rail is at %.0f V instead of %.0f V: too much is drawn from it", v, nominal);
	return g->failed;
}
