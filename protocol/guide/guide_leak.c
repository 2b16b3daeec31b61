/* SPDX-License-Identifier: MIT */
/*
 * Leakage of a coupling capacitor in its place: the valve is out, so that only the capacitor
 * can lift the grid.  Grid volts with the high tension off are the zero, with it on they are
 * the leakage over grid leak and meter in parallel (place_leakage).
 *
 * With the valves out nothing loads the supply: its rail rises above what the reservoirs are
 * rated for in many a unit.  So a meter may stand on the rail, and is watched.
 *
 * The limit is the sheet's for `leakage` of that position.  Where it says none, what shifts
 * the grid by half a volt: common practice, no source.
 */
#include "protocol/guide/guide_parts.h"

#include <math.h>
#include <stdio.h>

/* Common practice, no source. */
#define SHIFT_VOLTS 0.5
#define RAIL_OFF 30.0 /* V on a rail that is on, at least */

enum { ROLE_GRID, ROLE_RAIL };
enum { SLOT_ZERO, SLOT_VOLTS };
enum { STEP_CAUTION, STEP_VALVE, STEP_CLIP, STEP_ZERO, STEP_POWER, STEP_VOLTS, STEP_OFF };

static const char *const slots[] = {[SLOT_ZERO] = "zero", [SLOT_VOLTS] = "volts"};

static const struct guide_role roles[] = {
    [ROLE_GRID] = {"grid", FUNCTION_VOLT_DC, QUANTITY_LEAKAGE, false, "from the grid's pin to chassis"},
    [ROLE_RAIL] = {"rail", FUNCTION_VOLT_DC, QUANTITY_VOLTS, true, "from the rail to chassis"},
};

static const char *const cautions[] = {
    "valve equipment kills: local codes and licensed practice come before anything said here",
    "mains isolated, and the reservoir capacitors discharged and measured, before anything is touched",
    "one valve at a time: with heaters in series the others go out with it; with heaters in parallel "
    "those that stay get more volts",
    "with valves out the rails rise: above the rating of a reservoir, switch off",
    "probes are clipped on while it is off; hands off while it is on; never alone",
    NULL,
};

static const struct guide_step steps[] = {
    [STEP_CAUTION] = {"caution", -1, -1, QUANTITY_VALUE, GUIDE_UNIT_SAME, false, false,
                      "the cautions hold"},
    [STEP_VALVE] = {"valve", -1, -1, QUANTITY_VALUE, GUIDE_UNIT_SAME, false, false,
                    "the valve behind %s is out, and only that one"},
    [STEP_CLIP] = {"clip", -1, -1, QUANTITY_VALUE, GUIDE_UNIT_SAME, false, false,
                   "the meters are clipped on: the grid behind %s, and the rail where one watches it"},
    [STEP_ZERO] = {"zero", ROLE_GRID, SLOT_ZERO, QUANTITY_VOLTS, GUIDE_UNIT_SAME, false, false,
                   "high tension off: the grid's volts are the zero of %s"},
    [STEP_POWER] = {"power", -1, -1, QUANTITY_VALUE, GUIDE_UNIT_LIVE, false, false,
                    "hands off; high tension on: %s stands at its working volts"},
    [STEP_VOLTS] = {"volts", ROLE_GRID, SLOT_VOLTS, QUANTITY_LEAKAGE, GUIDE_UNIT_SAME, false, false,
                    "the grid's volts once they rest: what %s lets through"},
    [STEP_OFF] = {"off", -1, -1, QUANTITY_VALUE, GUIDE_UNIT_COLD, false, false,
                  "switched off and discharged, before anybody touches %s"},
};

static bool begin(struct guide *g, struct fault *why)
{
	if (!(g->plan.R.value > 0)) {
		fault_set(why, "the grid leak behind %s is not known: name its position in the sheet (sheet set %s "
		          "with=R5), or say it (leak=1M)", g->plan.of, g->plan.of);
		return false;
	}
	return true;
}

static struct measure input(const struct guide *g)
{
	double ohms = g->plan.input[ROLE_GRID];
	/* 10 Mohm where nobody said: common practice, no source. */
	return (struct measure){isnan(ohms) ? 10e6 : ohms, 0};
}

static struct measure leakage(const struct guide *g)
{
	return place_leakage(guide_slot_measure(g, SLOT_VOLTS), guide_slot_measure(g, SLOT_ZERO),
	                     g->plan.R, input(g));
}

static double most(const struct guide *g, bool *assumed)
{
	*assumed = isnan(g->plan.high);
	return *assumed ? SHIFT_VOLTS / g->plan.R.value : g->plan.high;
}

static void say(const struct guide *g, char *out, size_t size)
{
	char a[32], b[32];
	bool assumed;
	double limit = most(g, &assumed);
	switch (g->step) {
	case STEP_CAUTION:
		snprintf(out, size, "read the cautions; go on when they hold");
		break;
	case STEP_VALVE:
		snprintf(out, size, "take out the valve whose grid %s feeds, and only that one; then go on", g->plan.of);
		break;
	case STEP_CLIP:
		snprintf(out, size, "clip the meter on: from that grid's pin to chassis (grid leak %s); then go on",
		         guide_shown(g->plan.R.value, "ohm", a));
		break;
	case STEP_ZERO:
		snprintf(out, size, "high tension off: go on takes the grid's volts as the zero");
		break;
	case STEP_POWER:
		if (isnan(g->plan.ceiling))
			snprintf(out, size, "hands off; high tension on; go on when it is up");
		else
			snprintf(out, size, "hands off; high tension on, and off again above %.0f V; go on when it is up",
			         g->plan.ceiling);
		break;
	case STEP_VOLTS:
		snprintf(out, size, "wait until the grid's volts rest; go on takes them");
		break;
	default:
		snprintf(out, size, "%s: %s, %s %s; switch off, discharge, then go on", g->plan.of,
		         guide_shown(leakage(g).value, "A", a), guide_verdict_most(leakage(g), limit),
		         guide_shown(limit, "A", b));
	}
}

static void figures(const struct guide *g, struct text *out)
{
	char a[32], b[32], c[32];
	bool assumed;
	double limit = most(g, &assumed);
	text_printf(out, "with: grid leak %s, meter %s; may leak %s%s\n",
	            guide_shown(g->plan.R.value, "ohm", a), guide_shown(input(g).value, "ohm", b),
	            guide_shown(limit, "A", c), assumed ? ", which shifts the grid by half a volt" : "");
	if (!isnan(g->plan.ceiling))
		text_printf(out, "alarm: the rail above %.0f V, or beyond its meter's range\n", g->plan.ceiling);
}

static bool value(const struct guide *g, char out[32], const char **verdict)
{
	bool assumed;
	if (g->step != STEP_OFF)
		return false;
	*verdict = guide_verdict_most(leakage(g), most(g, &assumed));
	guide_shown(leakage(g).value, "A", out);
	return true;
}

static bool limit(const struct guide *g, char out[32])
{
	bool on = g->step == STEP_POWER || g->step == STEP_VOLTS;
	if (!on || isnan(g->plan.ceiling))
		return false;
	snprintf(out, 32, "%.0f V", g->plan.ceiling);
	return true;
}

static void reading(struct guide *g, const struct guide_input *in, struct guide_out *out)
{
	if (in->role != ROLE_RAIL)
		return;
	g->live[ROLE_RAIL] = in->x;
	g->is_over[ROLE_RAIL] = in->over;
	g->is_live[ROLE_RAIL] = true;
	guide_ceiling(g, ROLE_RAIL, out, "the rail");
}

static bool may_go(const struct guide *g, struct fault *why)
{
	bool seen = g->is_live[ROLE_RAIL] && !g->is_over[ROLE_RAIL];
	double rail = fabs(g->live[ROLE_RAIL].value);
	if (seen && g->step == STEP_ZERO && rail > RAIL_OFF) {
		fault_set(why, "the rail is at %.0f V: the zero is taken with the high tension off", rail);
		return false;
	}
	if (seen && g->step == STEP_VOLTS && rail < RAIL_OFF) {
		fault_set(why, "the rail is at %.1f V: without high tension nothing leaks; switch it on, hands off", rail);
		return false;
	}
	if (!g->alarm || g->step == STEP_OFF)
		return true;
	fault_set(why, "the rail is above %.0f V: switch off, then leave this run", g->plan.ceiling);
	return false;
}

static void result(const struct guide *g, struct text *out)
{
	bool assumed;
	double limit = most(g, &assumed);
	if (!g->slot[SLOT_VOLTS].has)
		return;
	text_member(out, "result");
	text_puts(out, "{\"calculated\":true");
	guide_value_write(out, "leakage", leakage(g), FUNCTION_AMP_DC);
	guide_value_write(out, "shift",
	                  place_shift_without_meter(guide_slot_measure(g, SLOT_VOLTS),
	                                            guide_slot_measure(g, SLOT_ZERO), g->plan.R, input(g)),
	                  FUNCTION_VOLT_DC);
	text_member_string(out, "verdict", guide_verdict_most(leakage(g), limit));
	text_member_real(out, "most", limit);
	text_member_bool(out, "assumed", assumed);
	text_puts(out, "}");
}

const struct guide_procedure guide_leak = {
    .name = "leak", .step = steps, .steps = sizeof steps / sizeof *steps, .role = roles,
    .roles = sizeof roles / sizeof *roles, .needs = GUIDE_NEEDS_COLD, .cautions = cautions,
    .slot = slots, .slots = sizeof slots / sizeof *slots, .begin = begin, .say = say,
    .reading = reading, .may_go = may_go, .result = result, .value = value, .limit = limit,
    .figures = figures,
};
