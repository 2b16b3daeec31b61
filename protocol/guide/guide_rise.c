/* SPDX-License-Identifier: MIT */
/*
 * Bringing up the power, in the order in which a fault does the least harm: a lamp in series
 * and a variable transformer; the transformer alone; heaters; the rectifier without a load; the
 * valves; then without the lamp.  Only from there on is anything logged and judged: with the
 * lamp in, every rail is low.
 *
 * After that what shows that it works: rails, ripple, bias, a soak, bias and rails again; and
 * into a measured load response, output impedance from two loads, hum, power.  Power comes last,
 * so that the newest volts at a load are those of its power.  The same run in conditions `found`
 * and `done` is the before and the after of the report.
 *
 * What it visits comes from the sheet (struct guide_station).  A step without a station is
 * passed over.  When a limit is passed, the person is told to switch off, and the run goes to
 * its last step, `off`: there is no way back into a unit that has just shown a fault.
 *
 *     guide_rise.c           the steps and the road through them
 *     guide_rise_station.c   where a step is, what is expected there, and on which meter
 *     guide_rise_watch.c     what stops the run
 *     guide_rise_result.c    what it says, and the numbers of its closing record
 *     guide_rise_dry.c       the road without a unit
 */
#include "protocol/guide/guide_rise_parts.h"

#include "protocol/trade/caution.h"

#include <math.h>
#include <stdio.h>

/* Common practice, no source. */
#define SOAK_WORD INT64_C(300000000)
#define SOAK_KEEP INT64_C(60000000)
#define SOAK_GAP INT64_C(5000000) /* a longer silence does not count as soaked */

static const char *const slots[] = {
    [SLOT_STATION] = "station", [SLOT_STAGE] = "stage", [SLOT_HERTZ] = "point",
    [SLOT_SOAKED] = "soaked", [SLOT_TAKEN] = "taken", [SLOT_ABOVE] = "above",
    [SLOT_ABOVE_BIAS] = "above-bias"};

static const struct guide_role roles[] = {
    [ROLE_RAIL] = {"rail", FUNCTION_VOLT_DC, QUANTITY_VOLTS, false, "from the main rail to chassis"},
    [ROLE_PROBE] = {"probe", FUNCTION_NONE, QUANTITY_VOLTS, true, "where each step says"},
    [ROLE_OUT] = {"out", FUNCTION_VOLT_AC, QUANTITY_VOLTS, true, "across the load"},
};

#define HAND -1, -1, QUANTITY_VOLTS
#define TAKES ROLE_RAIL, SLOT_TAKEN, QUANTITY_VOLTS
static const struct guide_step steps[] = {
    [STEP_CAUTION] = {"caution", HAND, GUIDE_UNIT_SAME, false, false, "the cautions hold%s"},
    [STEP_READY] = {"ready", HAND, GUIDE_UNIT_SAME, false, false,
                    "no leg is up, every new part is in, the fuse has its value%s"},
    [STEP_LOAD] = {"load", HAND, GUIDE_UNIT_SAME, false, false,
                   "a measured load on every output, nothing at the inputs, volume down%s"},
    [STEP_BARE] = {"bare", HAND, GUIDE_UNIT_SAME, false, false,
                   "valves and rectifier out, lamp in series, variable transformer at zero; the rail's "
                   "meter is clipped on%s"},
    [STEP_TRANSFORMER] = {"transformer", HAND, GUIDE_UNIT_LIVE, false, false,
                          "the transformer alone, slowly to full mains; abort: lamp bright, or volts on the "
                          "rail%s"},
    [STEP_HEATERS] = {"heaters", HAND, GUIDE_UNIT_SAME, false, false,
                      "each heater winding, without its valves; no verdict%s"},
    [STEP_RECTIFIER] = {"rectifier", HAND, GUIDE_UNIT_COLD, false, false,
                        "off, discharged; the rectifier in, and no other valve%s"},
    [STEP_RAISE] = {"raise", HAND, GUIDE_UNIT_LIVE, false, false,
                    "mains at 25, 50, 75 and 100 %%: the rail against what is expected there; abort: above "
                    "its ceiling, or nothing comes%s"},
    [STEP_BIAS] = {"bias", HAND, GUIDE_UNIT_SAME, false, false,
                   "each bias rail, before an output valve is in; abort: less than 70 %% of it%s"},
    [STEP_VALVES] = {"valves", HAND, GUIDE_UNIT_COLD, false, false,
                     "off, discharged; the valves in, bias at its most negative; the lamp stays%s"},
    [STEP_GLOW] = {"glow", HAND, GUIDE_UNIT_LIVE, false, false,
                   "on, with the lamp: it dims as the valves warm; abort: it stays bright, an anode glows; "
                   "no verdict%s"},
    [STEP_LAMP] = {"lamp", HAND, GUIDE_UNIT_COLD, false, false,
                   "off, discharged; the lamp out; the meters where they will be read%s"},
    [STEP_ON] = {"on", HAND, GUIDE_UNIT_LIVE, false, false,
                 "on, at full mains; abort: the rail above its ceiling or below 70 %% of its nominal%s"},
    [STEP_RAILS] = {"rails", TAKES, GUIDE_UNIT_SAME, false, false, "each rail%s"},
    [STEP_HEATED] = {"heated", TAKES, GUIDE_UNIT_SAME, false, false, "each heater, loaded%s"},
    [STEP_RIPPLE] = {"ripple", TAKES, GUIDE_UNIT_SAME, false, false, "ripple of each rail%s"},
    [STEP_SENSE] = {"sense", TAKES, GUIDE_UNIT_SAME, false, false,
                    "each valve's current and dissipation; abort: above its limit%s"},
    [STEP_SOAK] = {"soak", HAND, GUIDE_UNIT_SAME, true, false,
                   "the soak; abort: rail above its ceiling, bias off by a quarter%s"},
    [STEP_SENSE_AFTER] = {"sense-after", TAKES, GUIDE_UNIT_SAME, false, false,
                          "each valve once more: the drift%s"},
    [STEP_RAILS_AFTER] = {"rails-after", TAKES, GUIDE_UNIT_SAME, false, false, "each rail once more%s"},
    [STEP_SIGNAL] = {"signal", HAND, GUIDE_UNIT_SAME, false, false,
                     "1 kHz at the input, about 1 W in the load%s"},
    [STEP_RESPONSE] = {"response", TAKES, GUIDE_UNIT_SAME, false, false,
                       "volts at the load by frequency, 20 Hz to 20 kHz, the input the same%s"},
    [STEP_LOAD2] = {"second-load", HAND, GUIDE_UNIT_SAME, false, false,
                    "1 kHz, the same input, the other load: output impedance%s"},
    [STEP_HUM] = {"hum", TAKES, GUIDE_UNIT_SAME, false, false, "the input shorted: hum at each load%s"},
    [STEP_POWER] = {"power", TAKES, GUIDE_UNIT_SAME, false, false,
                    "1 kHz, up to where it just stays clean: power in each load%s"},
    [STEP_OFF] = {"off", HAND, GUIDE_UNIT_COLD, false, false, "switched off, discharged, measured dead%s"},
};

static bool begin(struct guide *g, struct fault *why)
{
	struct guide_plan *p = &g->plan;
	if (rise_main_rail(g) < 0) {
		fault_set(why, "the sheet has no rail to watch: add one, such as HT1,rail,285 V,10%%");
		return false;
	}
	p->tap = isnan(p->tap) ? 230 : p->tap;
	p->mains = isnan(p->mains) ? p->tap : p->mains;
	p->soak = isnan(p->soak) ? SOAK_SECONDS : p->soak;
	if (!(p->tap > 0) || !(p->mains > 0) || !(p->soak >= 0) || p->mains > 1.5 * p->tap) {
		fault_set(why, "mains %.0f V on a tap of %.0f V, soak %.0f s: these make no sense", p->mains, p->tap,
		          p->soak);
		return false;
	}
	return true;
}

/* ---- meters ---- */

static enum function wanted(const struct guide_station *s)
{
	bool dc = !s || s->what == GUIDE_BIAS || s->what == GUIDE_RAIL || s->what == GUIDE_SENSE;
	return dc ? FUNCTION_VOLT_DC : FUNCTION_VOLT_AC;
}

static int role_now(const struct guide *g)
{
	return steps[g->step].role < 0 ? -1 : rise_wanderer(g);
}

static const char *at(const struct guide *g)
{
	return rise_here(g) ? rise_here(g)->name : "";
}

/* ---- on and back ---- */

bool rise_passed_over(const struct guide *g, int step)
{
	bool load = rise_station_from(g, GUIDE_LOAD, 0, 1) >= 0;
	int what = rise_visits(step);
	if (what >= 0 && rise_station_from(g, what, 0, 1) < 0)
		return true;
	return (step == STEP_SIGNAL && !load) || (step == STEP_LOAD2 && isnan(g->plan.load2)) ||
	       ((step == STEP_SOAK || step == STEP_SENSE_AFTER || step == STEP_RAILS_AFTER) &&
	        g->plan.soak == 0);
}

static int enter(struct guide *g, int step)
{
	while (step < STEP_OFF && rise_passed_over(g, step))
		step++;
	if (rise_visits(step) >= 0)
		guide_slot_set(g, SLOT_STATION, rise_station_from(g, rise_visits(step), 0, 1));
	guide_slot_set(g, SLOT_HERTZ, 0);
	guide_slot_set(g, SLOT_ABOVE, 0);
	guide_slot_set(g, SLOT_ABOVE_BIAS, 0);
	if (step == STEP_RAISE)
		guide_slot_set(g, SLOT_STAGE, 0);
	/* Over the soak the probe stays on the last valve. */
	if (step == STEP_SOAK) {
		guide_slot_set(g, SLOT_SOAKED, 0);
		for (int i = 0; i < g->plan.stations; i++)
			if (g->plan.station[i].what == GUIDE_SENSE)
				guide_slot_set(g, SLOT_STATION, i);
	}
	return step;
}

int rise_second_slot(const struct guide *g, int station)
{
	int n = 0;
	for (int i = 0; i < station; i++)
		n += g->plan.station[i].what == GUIDE_LOAD;
	return n < RISE_LOADS ? SLOT_SECOND + n : -1;
}

/* Where the value of this step is kept; -1: nowhere. */
static int kept_in(const struct guide *g)
{
	int i = (int)guide_slot_value(g, SLOT_STATION);
	switch (g->step) {
	case STEP_HEATERS: case STEP_RAILS: case STEP_RIPPLE: case STEP_SENSE: case STEP_POWER:
	case STEP_BIAS: case STEP_HUM:
		return SLOT_FIRST + i;
	case STEP_HEATED: case STEP_SENSE_AFTER: case STEP_RAILS_AFTER:
		return SLOT_AFTER + i;
	case STEP_RESPONSE:
		return guide_slot_value(g, SLOT_HERTZ) == 0 ? SLOT_AFTER + i : -1;
	case STEP_LOAD2:
		return rise_second_slot(g, i);
	default:
		return -1;
	}
}

static int next(struct guide *g)
{
	int i = (int)guide_slot_value(g, SLOT_STATION), stage = (int)guide_slot_value(g, SLOT_STAGE);
	int point = (int)guide_slot_value(g, SLOT_HERTZ), to = kept_in(g);
	if (to >= 0 && g->slot[SLOT_TAKEN].has)
		g->slot[to] = g->slot[SLOT_TAKEN];
	g->slot[SLOT_TAKEN].has = false;
	if (g->step == STEP_RAISE && stage + 1 < RISE_STAGES && rise_stage_mains(g) < rise_mains_most(g)) {
		guide_slot_set(g, SLOT_STAGE, stage + 1);
		return g->step;
	}
	if (g->step == STEP_RESPONSE && point + 1 < RISE_RESPONSES) {
		guide_slot_set(g, SLOT_HERTZ, point + 1);
		return g->step;
	}
	guide_slot_set(g, SLOT_HERTZ, 0);
	int j = rise_visits(g->step) < 0 ? -1 : rise_station_from(g, rise_visits(g->step), i + 1, 1);
	if (j >= 0) {
		guide_slot_set(g, SLOT_STATION, j);
		return g->step;
	}
	return enter(g, g->step + 1);
}

static void back(struct guide *g, struct guide_out *out)
{
	int i = (int)guide_slot_value(g, SLOT_STATION), point = (int)guide_slot_value(g, SLOT_HERTZ);
	int j = rise_visits(g->step) < 0 ? -1 : rise_station_from(g, rise_visits(g->step), i - 1, -1);
	int step = g->step - 1;
	while (step > STEP_CAUTION && rise_passed_over(g, step))
		step--;
	if (g->step == STEP_RESPONSE && point > 0) {
		guide_slot_set(g, SLOT_HERTZ, point - 1);
		guide_to(g, g->step, out);
	} else if (j >= 0) {
		guide_slot_set(g, SLOT_STATION, j);
		guide_to(g, g->step, out);
	} else if (g->step > STEP_READY && g->step != STEP_OFF && steps[step].unit == GUIDE_UNIT_SAME &&
	           steps[g->step].unit == GUIDE_UNIT_SAME && step != STEP_SOAK && step >= STEP_READY) {
		guide_to(g, enter(g, step), out);
	} else {
		snprintf(out->text, sizeof out->text, "there is no way back from here: switch off, leave the run, "
		         "and begin it anew");
	}
}

/* ---- what going on shows, and what is read ---- */

static bool looked(struct guide *g, struct guide_out *out)
{
	int role = rise_wanderer(g);
	if (g->step == STEP_OFF)
		return false;
	if (rise_shows_fault(g, out))
		return true;
	/* With the lamp in, and for the second load: looked at, not logged. */
	if (kept_in(g) >= 0 && steps[g->step].role < 0 && rise_heard(g, role))
		g->slot[SLOT_TAKEN] = (struct guide_slot){true, g->live[role].value, g->live[role].u, {0, 0}};
	return false;
}

static bool input(struct guide *g, const struct guide_input *in, struct guide_out *out)
{
	int i = (int)guide_slot_value(g, SLOT_STATION);
	if (in->act == GUIDE_BACK) {
		back(g, out);
		return true;
	}
	if (in->act == GUIDE_GO)
		return looked(g, out);
	if (!rise_here(g) || !rise_too_hot(g, i, in->x))
		return false;
	g->slot[kept_in(g)] = (struct guide_slot){true, in->x.value, in->x.u, {in->seq, 0}};
	rise_abort_hot(g, i, in->x, out);
	return true;
}

static void soak(struct guide *g, const struct guide_input *in, struct guide_out *out)
{
	int64_t was = g->read_at[in->role], gone = was == INT64_MIN ? 0 : in->t - was;
	double soaked = guide_slot_value(g, SLOT_SOAKED);
	if (in->role != ROLE_RAIL || g->step != STEP_SOAK)
		return;
	if (gone > 0 && gone <= SOAK_GAP)
		guide_slot_set(g, SLOT_SOAKED, soaked += (double)gone / 1e6);
	if (soaked >= g->plan.soak) {
		guide_to(g, enter(g, STEP_SOAK + 1), out);
		snprintf(out->text, sizeof out->text, "the soak is over: %.0f minutes", soaked / 60);
		return;
	}
	if (in->t - g->kept_at >= SOAK_KEEP) {
		g->kept_at = in->t;
		out->keep = true;
	}
	if (in->t - g->said_at < SOAK_WORD)
		return;
	g->said_at = in->t;
	snprintf(out->text, sizeof out->text, "soak: %.0f minutes left, the rail at %.0f V",
	         ceil((g->plan.soak - soaked) / 60), in->x.value);
}

static void reading(struct guide *g, const struct guide_input *in, struct guide_out *out)
{
	if (g->step == STEP_OFF || g->step < STEP_BARE)
		return;
	if (in->role == ROLE_RAIL && rise_watch_rail(g, in, out))
		return;
	if (in->role == (g->plan.there[ROLE_PROBE] ? ROLE_PROBE : ROLE_RAIL) && rise_watch_bias(g, in, out))
		return;
	soak(g, in, out);
}

static bool may_go(const struct guide *g, struct fault *why)
{
	bool rail_counts = g->step == STEP_TRANSFORMER || g->step == STEP_RAISE || g->step == STEP_GLOW ||
	                   g->step == STEP_ON;
	if (rail_counts && !rise_heard(g, ROLE_RAIL)) {
		fault_set(why, "nothing is read on %s: nobody goes on blind; switch off and look to the meter",
		          rise_rail(g)->name);
		return false;
	}
	enum function f = wanted(rise_here(g));
	int role = rise_wanderer(g);
	if (role >= 0 && rise_heard(g, role) && g->reads[role] != FUNCTION_NONE && g->reads[role] != f) {
		fault_set(why, "the meter of role %s reads %s, and %s are wanted at %s: turn its dial",
		          roles[role].name, function_words(g->reads[role]), function_words(f), rise_here(g)->name);
		return false;
	}
	if (g->step == STEP_BIAS && !rise_heard(g, role)) {
		fault_set(why, "nothing is read on the bias rail %s: without it no output valve goes in",
		          rise_here(g)->name);
		return false;
	}
	return true;
}

/* What a hand sets now: the mains, the frequency. */
static bool value(const struct guide *g, char out[32], const char **verdict)
{
	(void)verdict;
	if (g->step == STEP_RAISE)
		snprintf(out, 32, "%.0f V", rise_stage_mains(g));
	else if (g->step == STEP_RESPONSE)
		guide_shown(rise_hertz(g), "Hz", out);
	return out[0] != '\0';
}

static bool limit(const struct guide *g, char out[32])
{
	bool watched = g->step == STEP_TRANSFORMER || g->step == STEP_RAISE || g->step == STEP_GLOW ||
	               g->step == STEP_ON || g->step == STEP_SOAK;
	if (!watched || isnan(rise_rail_most(g)))
		return false;
	snprintf(out, 32, "%.0f V", rise_rail_most(g));
	return true;
}

const struct guide_procedure guide_rise = {
    .name = "rise", .step = steps, .steps = sizeof steps / sizeof *steps, .role = roles,
    .roles = sizeof roles / sizeof *roles, .needs = GUIDE_NEEDS_READY, .cautions = caution_rise,
    .slot = slots, .slots = sizeof slots / sizeof *slots, .begin = begin, .say = rise_say,
    .reading = reading, .next = next, .may_go = may_go, .at = at, .input = input,
    .role_now = role_now, .hertz = rise_hertz, .result = rise_result, .look = rise_look, .value = value,
    .limit = limit, .figures = rise_figures,
};

/* ---- for the dry road ---- */

const char *rise_step_word(int step)
{
	return steps[step].word;
}
