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
 * guide_rise_result.c has the numbers of its closing record.
 */
#include "protocol/guide/guide_rise_parts.h"

#include "protocol/trade/caution.h"

#include <math.h>
#include <stdio.h>

/* Common practice, no source. */
#define READINGS 2           /* in a row: one may be a garbled frame or a spark */
#define SOAK_WORD INT64_C(300000000)
#define SOAK_KEEP INT64_C(60000000)
#define SOAK_GAP INT64_C(5000000) /* a longer silence does not count as soaked */

static const double stages[] = {0.25, 0.5, 0.75, 1};
#define STAGES ((int)(sizeof stages / sizeof *stages))
/* The first is what the others are compared with. */
static const double response[] = {1000, 20, 50, 100, 200, 500, 2000, 5000, 10000, 20000};
#define RESPONSES ((int)(sizeof response / sizeof *response))

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

/* ---- stations ---- */

/* What a step visits; -1: nothing. */
static int visits(int step)
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

static int station_from(const struct guide *g, int what, int from, int by)
{
	for (int i = from; i >= 0 && i < g->plan.stations; i += by)
		if ((int)g->plan.station[i].what == what)
			return i;
	return -1;
}

static const struct guide_station *here(const struct guide *g)
{
	int i = (int)guide_slot_value(g, SLOT_STATION);
	return visits(g->step) >= 0 && i >= 0 && i < g->plan.stations ? &g->plan.station[i] : NULL;
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

static const struct guide_station *rail(const struct guide *g)
{
	return &g->plan.station[rise_main_rail(g)];
}

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

struct guide_expected guide_rise_expected(double nominal, double mains, double tap)
{
	double loaded = nominal * mains / tap;
	return (struct guide_expected){loaded, loaded * RISE_UNLOADED};
}

/* Mains that bring the rail to its ceiling without a load: no stage goes so far. */
static double mains_most(const struct guide *g)
{
	if (isnan(g->plan.ceiling))
		return INFINITY;
	return BELOW_CEILING * g->plan.ceiling / (RISE_UNLOADED * rail(g)->nominal) * g->plan.tap;
}

static double stage_mains(const struct guide *g)
{
	return fmin(stages[(int)guide_slot_value(g, SLOT_STAGE)] * g->plan.mains, mains_most(g));
}

static struct guide_expected expected(const struct guide *g)
{
	double mains = g->step == STEP_RAISE ? stage_mains(g) : g->plan.mains;
	return guide_rise_expected(rail(g)->nominal, mains, g->plan.tap);
}

/* ---- meters ---- */

static bool heard(const struct guide *g, int role)
{
	return role >= 0 && g->is_live[role] && !g->is_over[role] && isfinite(g->live[role].value);
}

/* The probe goes where the step is; where there is no second meter, the rail's does. */
static int wanderer(const struct guide *g)
{
	const struct guide_station *s = here(g);
	if (!s)
		return -1;
	if ((s->what == GUIDE_LOAD || s->what == GUIDE_HUM) && g->plan.there[ROLE_OUT])
		return ROLE_OUT;
	if (s == rail(g) || !g->plan.there[ROLE_PROBE])
		return ROLE_RAIL;
	return ROLE_PROBE;
}

static enum function wanted(const struct guide_station *s)
{
	bool dc = !s || s->what == GUIDE_BIAS || s->what == GUIDE_RAIL || s->what == GUIDE_SENSE;
	return dc ? FUNCTION_VOLT_DC : FUNCTION_VOLT_AC;
}

static int role_now(const struct guide *g)
{
	return steps[g->step].role < 0 ? -1 : wanderer(g);
}

static const char *at(const struct guide *g)
{
	return here(g) ? here(g)->name : "";
}

static double hertz(const struct guide *g)
{
	return g->step == STEP_RESPONSE ? response[(int)guide_slot_value(g, SLOT_HERTZ)] : 0;
}

/* ---- limits ---- */

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

/* What the rail may be now, at most. */
static double rail_most(const struct guide *g)
{
	return g->step == STEP_TRANSFORMER || g->step == STEP_HEATERS ? DEAD_VOLTS : g->plan.ceiling;
}

static bool watch_rail(struct guide *g, const struct guide_input *in, struct guide_out *out)
{
	double most = rail_most(g);
	/* Where the rail's meter is the only one, it has other volts now. */
	bool its = wanderer(g) != ROLE_RAIL || here(g) == rail(g);
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

static bool too_hot(const struct guide *g, int station, struct measure V)
{
	const struct guide_station *s = &g->plan.station[station];
	return s->what == GUIDE_SENSE && !isnan(s->most) && rise_watts(g, station, V).value > s->most;
}

/* Bias, while it is measured and over the soak. */
static bool watch_bias(struct guide *g, const struct guide_input *in, struct guide_out *out)
{
	bool soak = g->step == STEP_SOAK;
	int i = (int)guide_slot_value(g, SLOT_STATION);
	if ((!soak && !(here(g) && here(g)->what == GUIDE_SENSE)) || i < 0 || i >= g->plan.stations ||
	    g->plan.station[i].what != GUIDE_SENSE || in->over)
		return false;
	double first = guide_slot_value(g, SLOT_FIRST + i), now = fabs(in->x.value);
	bool runs = soak && first != 0 && now > fabs(first) * (1 + RUNAWAY);
	/* A probe on its way may touch anything: what is far more than a current is none. */
	bool hot = too_hot(g, i, in->x) && (first == 0 || now < 5 * fabs(first));
	if (!several(g, SLOT_ABOVE_BIAS, runs || (hot && soak)))
		return false;
	if (runs)
		ABORT(g, out, "the bias at %s rose by %.0f %% over the soak: it runs away", g->plan.station[i].name,
		      100 * (now / fabs(first) - 1));
	else
		ABORT(g, out, "the valve at %s has %.1f W, above its %.3g W", g->plan.station[i].name,
		      rise_watts(g, i, in->x).value, g->plan.station[i].most);
	return true;
}

/* ---- on and back ---- */

static bool passed_over(const struct guide *g, int step)
{
	bool load = station_from(g, GUIDE_LOAD, 0, 1) >= 0;
	int what = visits(step);
	if (what >= 0 && station_from(g, what, 0, 1) < 0)
		return true;
	return (step == STEP_SIGNAL && !load) || (step == STEP_LOAD2 && isnan(g->plan.load2)) ||
	       ((step == STEP_SOAK || step == STEP_SENSE_AFTER || step == STEP_RAILS_AFTER) &&
	        g->plan.soak == 0);
}

static int enter(struct guide *g, int step)
{
	while (step < STEP_OFF && passed_over(g, step))
		step++;
	if (visits(step) >= 0)
		guide_slot_set(g, SLOT_STATION, station_from(g, visits(step), 0, 1));
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
	if (g->step == STEP_RAISE && stage + 1 < STAGES && stage_mains(g) < mains_most(g)) {
		guide_slot_set(g, SLOT_STAGE, stage + 1);
		return g->step;
	}
	if (g->step == STEP_RESPONSE && point + 1 < RESPONSES) {
		guide_slot_set(g, SLOT_HERTZ, point + 1);
		return g->step;
	}
	guide_slot_set(g, SLOT_HERTZ, 0);
	int j = visits(g->step) < 0 ? -1 : station_from(g, visits(g->step), i + 1, 1);
	if (j >= 0) {
		guide_slot_set(g, SLOT_STATION, j);
		return g->step;
	}
	return enter(g, g->step + 1);
}

static void back(struct guide *g, struct guide_out *out)
{
	int i = (int)guide_slot_value(g, SLOT_STATION), point = (int)guide_slot_value(g, SLOT_HERTZ);
	int j = visits(g->step) < 0 ? -1 : station_from(g, visits(g->step), i - 1, -1);
	int step = g->step - 1;
	while (step > STEP_CAUTION && passed_over(g, step))
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

/* ---- what going on shows ---- */

static bool raised(struct guide *g, struct guide_out *out)
{
	double v = g->live[ROLE_RAIL].value;
	struct guide_expected e = expected(g);
	bool cold = g->plan.rectifier_valve && stage_mains(g) < WARM_RECTIFIER * g->plan.tap;
	if (v > RISE_MARGIN * e.unloaded)
		ABORT(g, out, "the rail is at %.0f V where %.0f V of mains give %.0f V at most: wrong tap, or another "
		      "transformer", v, stage_mains(g), e.unloaded);
	else if (!cold && v < RISE_FLOOR * e.loaded)
		ABORT(g, out, "the rail is at %.0f V where %.0f V of mains give %.0f to %.0f V: something pulls it "
		      "down (rectifier, reservoir)", v, stage_mains(g), e.loaded, e.unloaded);
	return g->failed;
}

static bool looked(struct guide *g, struct guide_out *out)
{
	const struct guide_station *s = here(g);
	double v = heard(g, ROLE_RAIL) ? g->live[ROLE_RAIL].value : NAN, nominal = expected(g).loaded;
	int role = wanderer(g);
	if (g->step == STEP_OFF)
		return false;
	if (g->step == STEP_RAISE)
		return raised(g, out);
	if (g->step == STEP_BIAS && heard(g, role) &&
	    g->live[role].value / s->nominal < BIAS_FLOOR)
		ABORT(g, out, "the bias rail %s is at %.1f V instead of %.1f V: without it the output valves run away",
		      s->name, g->live[role].value, s->nominal);
	else if (g->step == STEP_GLOW && v < GLOW_FLOOR * nominal)
		ABORT(g, out, "the rail is at %.0f V with the lamp in: something is short", v);
	else if (g->step == STEP_ON && v < ON_FLOOR * nominal)
		ABORT(g, out, "the rail is at %.0f V instead of %.0f V: too much is drawn from it", v, nominal);
	/* With the lamp in, and for the second load: looked at, not logged. */
	if (!g->failed && kept_in(g) >= 0 && steps[g->step].role < 0 && heard(g, role))
		g->slot[SLOT_TAKEN] = (struct guide_slot){true, g->live[role].value, g->live[role].u, {0, 0}};
	return g->failed;
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
	if (!here(g) || !too_hot(g, i, in->x))
		return false;
	g->slot[kept_in(g)] = (struct guide_slot){true, in->x.value, in->x.u, {in->seq, 0}};
	ABORT(g, out, "the valve at %s has %.1f W, above its %.3g W", here(g)->name,
	      rise_watts(g, i, in->x).value, here(g)->most);
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
	if (in->role == ROLE_RAIL && watch_rail(g, in, out))
		return;
	if (in->role == (g->plan.there[ROLE_PROBE] ? ROLE_PROBE : ROLE_RAIL) && watch_bias(g, in, out))
		return;
	soak(g, in, out);
}

static bool may_go(const struct guide *g, struct fault *why)
{
	bool rail_counts = g->step == STEP_TRANSFORMER || g->step == STEP_RAISE || g->step == STEP_GLOW ||
	                   g->step == STEP_ON;
	if (rail_counts && !heard(g, ROLE_RAIL)) {
		fault_set(why, "nothing is read on %s: nobody goes on blind; switch off and look to the meter",
		          rail(g)->name);
		return false;
	}
	enum function f = wanted(here(g));
	int role = wanderer(g);
	if (role >= 0 && heard(g, role) && g->reads[role] != FUNCTION_NONE && g->reads[role] != f) {
		fault_set(why, "the meter of role %s reads %s, and %s are wanted at %s: turn its dial",
		          roles[role].name, function_words(g->reads[role]), function_words(f), here(g)->name);
		return false;
	}
	if (g->step == STEP_BIAS && !heard(g, role)) {
		fault_set(why, "nothing is read on the bias rail %s: without it no output valve goes in",
		          here(g)->name);
		return false;
	}
	return true;
}

/* What a hand sets now: the mains, the frequency. */
static bool value(const struct guide *g, char out[32], const char **verdict)
{
	(void)verdict;
	if (g->step == STEP_RAISE)
		snprintf(out, 32, "%.0f V", stage_mains(g));
	else if (g->step == STEP_RESPONSE)
		guide_shown(hertz(g), "Hz", out);
	return out[0] != '\0';
}

static bool limit(const struct guide *g, char out[32])
{
	bool watched = g->step == STEP_TRANSFORMER || g->step == STEP_RAISE || g->step == STEP_GLOW ||
	               g->step == STEP_ON || g->step == STEP_SOAK;
	if (!watched || isnan(rail_most(g)))
		return false;
	snprintf(out, 32, "%.0f V", rail_most(g));
	return true;
}

const struct guide_procedure guide_rise = {
    .name = "rise", .step = steps, .steps = sizeof steps / sizeof *steps, .role = roles,
    .roles = sizeof roles / sizeof *roles, .needs = GUIDE_NEEDS_READY, .cautions = caution_rise,
    .slot = slots, .slots = sizeof slots / sizeof *slots, .begin = begin, .say = rise_say,
    .reading = reading, .next = next, .may_go = may_go, .at = at, .input = input,
    .role_now = role_now, .hertz = hertz, .result = rise_result, .look = rise_look, .value = value,
    .limit = limit, .figures = rise_figures,
};

/* ---- for rise_say ---- */

const struct guide_station *rise_here(const struct guide *g)
{
	return here(g);
}

const struct guide_station *rise_rail(const struct guide *g)
{
	return rail(g);
}

void rise_numbers(const struct guide *g, struct rise_numbers *n)
{
	n->expected = expected(g);
	n->mains = g->step == STEP_RAISE ? stage_mains(g) : g->plan.mains;
	n->most = rail_most(g);
	n->hertz = hertz(g);
}

/* ---- for the dry road ---- */

bool rise_passed_over(const struct guide *g, int step)
{
	return passed_over(g, step);
}

const char *rise_step_word(int step)
{
	return steps[step].word;
}

bool rise_stage(const struct guide *g, int stage, struct rise_numbers *n)
{
	struct guide at = *g;
	at.step = STEP_RAISE;
	guide_slot_set(&at, SLOT_STAGE, stage);
	if (stage >= STAGES || (stage > 0 && stages[stage - 1] * g->plan.mains >= mains_most(g)))
		return false;
	rise_numbers(&at, n);
	return true;
}
