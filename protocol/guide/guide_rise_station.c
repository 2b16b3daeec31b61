/* SPDX-License-Identifier: MIT */
/* Where a step of bringing up the power is, what is expected there, and which meter reads it. */
#include "protocol/guide/guide_rise_parts.h"

#include <math.h>

/* Of the mains; common practice, no source. */
static const double stages[RISE_STAGES] = {0.25, 0.5, 0.75, 1};
/* The first is what the others are compared with. */
static const double response[RISE_RESPONSES] = {1000, 20, 50, 100, 200, 500, 2000, 5000, 10000, 20000};

/* ---- stations ---- */

int rise_visits(int step)
{
	switch (step) {
	case STEP_HEATERS: case STEP_HEATED: return GUIDE_HEATER;
	case STEP_BIAS: return GUIDE_BIAS;
	case STEP_RAILS: case STEP_RAILS_AFTER: return GUIDE_RAIL;
	case STEP_RIPPLE: return GUIDE_RIPPLE;
	case STEP_SENSE: case STEP_SENSE_AFTER: return GUIDE_SENSE;
	case STEP_RESPONSE: case STEP_LOAD2: case STEP_POWER: return GUIDE_LOAD;
	case STEP_HUM: return GUIDE_HUM;
	default: return -1;
	}
}

int rise_station_from(const struct guide *g, int what, int from, int by)
{
	for (int i = from; i >= 0 && i < g->plan.stations; i += by)
		if ((int)g->plan.station[i].what == what)
			return i;
	return -1;
}

const struct guide_station *rise_here(const struct guide *g)
{
	int i = (int)guide_slot_value(g, SLOT_STATION);
	return rise_visits(g->step) >= 0 && i >= 0 && i < g->plan.stations ? &g->plan.station[i] : NULL;
}

int rise_main_rail(const struct guide *g)
{
	int best = -1;
	for (int i = 0; i < g->plan.stations; i++) {
		const struct guide_station *s = &g->plan.station[i];
		if (s->what == GUIDE_RAIL && s->nominal > 0 &&
		    (best < 0 || s->nominal > g->plan.station[best].nominal))
			best = i;
	}
	return best;
}

const struct guide_station *rise_rail(const struct guide *g)
{
	return &g->plan.station[rise_main_rail(g)];
}

/* ---- what is expected ---- */

struct guide_expected guide_rise_expected(double nominal, double mains, double tap)
{
	double loaded = nominal * mains / tap;
	return (struct guide_expected){loaded, loaded * RISE_UNLOADED};
}

double rise_mains_most(const struct guide *g)
{
	if (isnan(g->plan.ceiling))
		return INFINITY;
	return BELOW_CEILING * g->plan.ceiling / (RISE_UNLOADED * rise_rail(g)->nominal) * g->plan.tap;
}

double rise_stage_mains(const struct guide *g)
{
	return fmin(stages[(int)guide_slot_value(g, SLOT_STAGE)] * g->plan.mains, rise_mains_most(g));
}

struct guide_expected rise_expected(const struct guide *g)
{
	double mains = g->step == STEP_RAISE ? rise_stage_mains(g) : g->plan.mains;
	return guide_rise_expected(rise_rail(g)->nominal, mains, g->plan.tap);
}

/* ---- meters ---- */

bool rise_heard(const struct guide *g, int role)
{
	return role >= 0 && g->is_live[role] && !g->is_over[role] && isfinite(g->live[role].value);
}

int rise_wanderer(const struct guide *g)
{
	const struct guide_station *s = rise_here(g);
	if (!s)
		return -1;
	if ((s->what == GUIDE_LOAD || s->what == GUIDE_HUM) && g->plan.there[ROLE_OUT])
		return ROLE_OUT;
	if (s == rise_rail(g) || !g->plan.there[ROLE_PROBE])
		return ROLE_RAIL;
	return ROLE_PROBE;
}

double rise_hertz(const struct guide *g)
{
	return g->step == STEP_RESPONSE ? response[(int)guide_slot_value(g, SLOT_HERTZ)] : 0;
}

/* ---- numbers ---- */

void rise_numbers(const struct guide *g, struct rise_numbers *n)
{
	n->expected = rise_expected(g);
	n->mains = g->step == STEP_RAISE ? rise_stage_mains(g) : g->plan.mains;
	n->most = rise_rail_most(g);
	n->hertz = rise_hertz(g);
}

bool rise_stage(const struct guide *g, int stage, struct rise_numbers *n)
{
	struct guide at = *g;
	at.step = STEP_RAISE;
	guide_slot_set(&at, SLOT_STAGE, stage);
	if (stage >= RISE_STAGES || (stage > 0 && stages[stage - 1] * g->plan.mains >= rise_mains_most(g)))
		return false;
	rise_numbers(&at, n);
	return true;
}
