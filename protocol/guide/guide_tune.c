/* SPDX-License-Identifier: MIT */
/*
 * A pot set by ear: eyes and one hand are in the amplifier, so the live value is heard against
 * its target, as pitch (guide_tune_ear) or as a word every two seconds.  Nothing is logged until
 * the person says so.  What is set:
 *
 *     a target     volts that the sheet names there, or said with to=: bias
 *     a balance    no target, and a meter at the twin: both the same
 *     the least    volts ac: hum, as low as it goes, or below the sheet's limit
 *
 * Over a cathode or sense resistor the volts are a current, and with the anode's volts a
 * dissipation: above the valve's limit is an alarm.  Without the screen's current that counts
 * as the anode's, which errs on the safe side.
 */
#include "protocol/guide/guide_parts.h"

#include <math.h>
#include <stdio.h>

/* Limits where the sheet names none: common practice, no source. */
#define FRACTION_TARGET 0.05  /* of a target */
#define FRACTION_BALANCE 0.05 /* of the mean of two */
#define FRACTION_LEAST 0.1    /* above the least that was seen */
#define WORD_EVERY INT64_C(2000000)
/* Beyond an octave and a half it is only far. */
#define OCTAVES_MOST 1.5
#define SEMITONES_INSIDE 2.0
#define SEMITONES_STEP 3.0

enum { ROLE_HERE, ROLE_TWIN, ROLE_ANODE };
enum { SLOT_HERE, SLOT_TWIN, SLOT_ANODE, SLOT_ANODE_TWIN, SLOT_LEAST };
enum { STEP_CAUTION, STEP_CLIP, STEP_SET, STEP_TWIN };

static const char *const slots[] = {
    [SLOT_HERE] = "here", [SLOT_TWIN] = "twin", [SLOT_ANODE] = "anode",
    [SLOT_ANODE_TWIN] = "anode-twin", [SLOT_LEAST] = "least"};

static const struct guide_role roles[] = {
    [ROLE_HERE] = {"here", FUNCTION_NONE, QUANTITY_VOLTS, false, "where it is set"},
    [ROLE_TWIN] = {"twin", FUNCTION_NONE, QUANTITY_VOLTS, true, "at its twin"},
    [ROLE_ANODE] = {"anode", FUNCTION_VOLT_DC, QUANTITY_VOLTS, true, "from the anode to chassis"},
};

static const char *const cautions[] = {
    "valve equipment kills: local codes and licensed practice come before anything said here",
    "the unit is on: meters are clipped on while it is off, mains isolated, reservoirs measured dead",
    "one hand, an insulated screwdriver, nothing else in the amplifier; never alone",
    "a load on every output; before the valves are warm a bias says nothing",
    "turn the bias to its most negative before the first time; a valve that glows red: switch off",
    NULL,
};

static const struct guide_step steps[] = {
    [STEP_CAUTION] = {"caution", -1, -1, QUANTITY_VALUE, GUIDE_UNIT_SAME, false, false,
                      "the cautions hold"},
    [STEP_CLIP] = {"clip", -1, -1, QUANTITY_VALUE, GUIDE_UNIT_LIVE, false, false,
                   "the meters were clipped on at %s while it was off; it is on and warm"},
    [STEP_SET] = {"set", ROLE_HERE, SLOT_HERE, QUANTITY_VOLTS, GUIDE_UNIT_SAME, false, false,
                  "%s is set by ear: higher is above its target, lower below, two short notes inside"},
    [STEP_TWIN] = {"twin", ROLE_TWIN, SLOT_TWIN, QUANTITY_VOLTS, GUIDE_UNIT_SAME, false, false,
                   "the same at the twin of %s"},
};

/* ---- what is set ---- */

enum mode { MODE_TARGET, MODE_BALANCE, MODE_LEAST };

static double target(const struct guide *g)
{
	return isnan(g->plan.to) ? g->plan.nominal : g->plan.to;
}

static enum mode mode_of(const struct guide *g)
{
	double t = target(g);
	bool ac = g->plan.function == FUNCTION_VOLT_AC || g->plan.function == FUNCTION_AMP_AC;
	if (ac && (isnan(t) || t == 0))
		return MODE_LEAST;
	return isnan(t) || (t == 0 && g->plan.twin[0] && isnan(g->plan.high)) ? MODE_BALANCE : MODE_TARGET;
}

static bool begin(struct guide *g, struct fault *why)
{
	double t = target(g);
	if (mode_of(g) == MODE_BALANCE && !g->plan.twin[0]) {
		fault_set(why, "what %s is to be set to is not known: give it a nominal in volts in the sheet, say "
		          "to=0.42V, or name its twin to balance them", g->plan.of);
		return false;
	}
	if (mode_of(g) == MODE_TARGET && t == 0 && isnan(g->plan.high)) {
		fault_set(why, "a target of 0 V at %s needs limits: a tolerance such as +-10 mV in the sheet", g->plan.of);
		return false;
	}
	return true;
}

static double upper(const struct guide *g)
{
	double t = target(g);
	bool known = isnan(g->plan.to) && !isnan(g->plan.high) && g->plan.high > t;
	return known ? g->plan.high : t + FRACTION_TARGET * fabs(t);
}

static double lower(const struct guide *g)
{
	double t = target(g);
	bool known = isnan(g->plan.to) && !isnan(g->plan.low) && g->plan.low < t;
	if (!known && isnan(g->plan.to) && !isnan(g->plan.high) && t == 0)
		return -g->plan.high;
	return known ? g->plan.low : t - FRACTION_TARGET * fabs(t);
}

/* ---- how far ---- */

/* Whose value moves now; and of the other half, for a balance. */
static int role_now(const struct guide *g)
{
	if (g->step == STEP_TWIN)
		return g->plan.there[ROLE_TWIN] ? ROLE_TWIN : ROLE_HERE;
	return g->step == STEP_SET ? ROLE_HERE : -1;
}

static bool heard(const struct guide *g, int role)
{
	return role >= 0 && g->is_live[role] && !g->is_over[role] && isfinite(g->live[role].value);
}

static double balance(const struct guide *g, int role)
{
	double here = g->live[role].value, other, mean;
	if (heard(g, role == ROLE_HERE ? ROLE_TWIN : ROLE_HERE))
		other = g->live[role == ROLE_HERE ? ROLE_TWIN : ROLE_HERE].value;
	else if (g->step == STEP_TWIN && g->slot[SLOT_HERE].has)
		other = g->slot[SLOT_HERE].value;
	else
		return NAN;
	mean = (fabs(here) + fabs(other)) / 2;
	return mean > 0 ? (here - other) / mean / FRACTION_BALANCE : NAN;
}

static double least(const struct guide *g, double v)
{
	double best = g->slot[SLOT_LEAST].has ? g->slot[SLOT_LEAST].value : v;
	if (!isnan(g->plan.high) && g->plan.high > 0)
		return v / g->plan.high;
	return best > 0 ? (v / best - 1) / FRACTION_LEAST : 0;
}

double guide_tune_toward(const struct guide *g)
{
	int role = g->kind == GUIDE_TUNE ? role_now(g) : -1;
	double v, t = target(g);
	if (!heard(g, role))
		return NAN;
	v = g->live[role].value;
	switch (mode_of(g)) {
	case MODE_BALANCE:
		return balance(g, role);
	case MODE_LEAST:
		return least(g, fabs(v));
	default:
		return v >= t ? (v - t) / (upper(g) - t) : (v - t) / (t - lower(g));
	}
}

/* Within the limits the pitch moves by SEMITONES_INSIDE; beyond them it leaps by
 * SEMITONES_STEP, and then goes with the logarithm of the distance. */
struct guide_ear guide_tune_ear(double toward)
{
	double far = fabs(toward), semitones;
	struct guide_ear ear = {.inside = far <= 1};
	if (isnan(toward))
		return (struct guide_ear){0};
	semitones = ear.inside ? SEMITONES_INSIDE * far
	                       : SEMITONES_INSIDE + SEMITONES_STEP + 4 * log2(far);
	semitones = fmin(semitones, 12 * OCTAVES_MOST);
	ear.hertz = GUIDE_EAR_TARGET * exp2(copysign(semitones, toward) / 12);
	ear.notes = ear.inside ? 2 : 1;
	ear.ms = ear.inside ? 80 : 200;
	ear.gap_ms = ear.inside ? 60 : 100;
	return ear;
}

/* ---- the valve ---- */

static struct measure dissipation(const struct guide *g, struct measure V, struct measure Va)
{
	struct measure nothing = {0, 0};
	return place_dissipation_sensed(Va, V, g->plan.R, nothing);
}

static bool senses(const struct guide *g)
{
	return g->plan.R.value > 0 && g->plan.function == FUNCTION_VOLT_DC;
}

static void watch(struct guide *g, struct guide_out *out)
{
	int role = role_now(g);
	if (isnan(g->plan.most) || !senses(g) || !heard(g, role) || !heard(g, ROLE_ANODE))
		return;
	double watts = dissipation(g, g->live[role], g->live[ROLE_ANODE]).value;
	bool above = watts > g->plan.most;
	if (above == g->alarm || (!above && watts > 0.95 * g->plan.most))
		return;
	g->alarm = above;
	out->alarm = above;
	out->alarm_over = !above;
	out->keep = true;
	if (above)
		snprintf(out->text, sizeof out->text, "%.1f W at the anode, above %.3g W: turn it down, or SWITCH OFF",
		         watts, g->plan.most);
	else
		snprintf(out->text, sizeof out->text, "below %.3g W again", g->plan.most);
}

/* ---- words ---- */

static void word(const struct guide *g, char *out, size_t size)
{
	double toward = guide_tune_toward(g), v = g->live[role_now(g)].value, d = v - target(g);
	char value[32], away[32];
	const char *unit = function_unit(g->plan.function);
	guide_shown(v, unit, value);
	if (mode_of(g) == MODE_BALANCE)
		snprintf(out, size, "%s, %.1f %% %s the other%s", value, fabs(toward) * 100 * FRACTION_BALANCE,
		         toward >= 0 ? "above" : "below", fabs(toward) <= 1 ? ", inside" : "");
	else if (mode_of(g) == MODE_LEAST)
		snprintf(out, size, "%s%s", value, fabs(toward) <= 1 ? ", inside" : "");
	else
		snprintf(out, size, "%s, %s %s%s", value, guide_shown(fabs(d), unit, away),
		         target(g) < 0 ? (d < 0 ? "more negative" : "less negative") : d < 0 ? "below" : "above",
		         fabs(toward) <= 1 ? ", inside" : "");
}

static void reading(struct guide *g, const struct guide_input *in, struct guide_out *out)
{
	int role = role_now(g);
	g->live[in->role] = in->x;
	g->is_over[in->role] = in->over;
	g->is_live[in->role] = true;
	if (g->step < STEP_SET)
		return;
	if (in->role == role && !in->over && mode_of(g) == MODE_LEAST &&
	    (!g->slot[SLOT_LEAST].has || fabs(in->x.value) < g->slot[SLOT_LEAST].value))
		guide_slot_set(g, SLOT_LEAST, fabs(in->x.value));
	watch(g, out);
	if (in->role != role || out->text[0] || isnan(guide_tune_toward(g)) ||
	    in->t - g->said_at < WORD_EVERY)
		return;
	g->said_at = in->t;
	word(g, out->text, sizeof out->text);
}

/* ---- steps ---- */

static bool input(struct guide *g, const struct guide_input *in, struct guide_out *out)
{
	(void)out;
	if (in->act == GUIDE_TAKEN && heard(g, ROLE_ANODE))
		g->slot[g->step == STEP_TWIN ? SLOT_ANODE_TWIN : SLOT_ANODE] =
		    (struct guide_slot){true, g->live[ROLE_ANODE].value, g->live[ROLE_ANODE].u, {0, 0}};
	return false;
}

static int next(struct guide *g)
{
	if (g->step == STEP_SET && !g->plan.twin[0])
		return STEP_TWIN + 1;
	if (g->step == STEP_SET)
		g->slot[SLOT_LEAST].has = false;
	return g->step + 1;
}

static const char *at(const struct guide *g)
{
	return g->step == STEP_TWIN ? g->plan.twin : g->plan.of;
}

static bool may_go(const struct guide *g, struct fault *why)
{
	int role = role_now(g);
	if (role < 0 || heard(g, role))
		return true;
	fault_set(why, "nothing is read at %s: look to the meter's leads", at(g));
	return false;
}

static void say(const struct guide *g, char *out, size_t size)
{
	char a[32], b[32], c[32];
	const char *unit = function_unit(g->plan.function);
	if (g->step == STEP_CAUTION)
		snprintf(out, size, "read the cautions; go on when they hold");
	else if (g->step == STEP_CLIP)
		snprintf(out, size, "the meter is clipped on at %s since it was off, and the unit is on and warm: go on; "
		         "else switch off first", g->plan.of);
	else if (mode_of(g) == MODE_TARGET)
		snprintf(out, size, "set %s to %s (%s to %s); go on logs it", at(g),
		         guide_shown(target(g), unit, a), guide_shown(lower(g), unit, b),
		         guide_shown(upper(g), unit, c));
	else if (mode_of(g) == MODE_BALANCE)
		snprintf(out, size, "set %s and %s to the same; go on logs %s", g->plan.of, g->plan.twin, at(g));
	else
		snprintf(out, size, "set %s to the least; go on logs it", at(g));
}

/* ---- for the record ---- */

static void one(const struct guide *g, const char *key, int slot, int anode, struct text *out)
{
	struct measure V = guide_slot_measure(g, slot);
	char name[40];
	if (!g->slot[slot].has)
		return;
	guide_value_write(out, key, V, g->plan.function);
	if (!senses(g))
		return;
	snprintf(name, sizeof name, "current-%s", key);
	guide_value_write(out, name, place_current(V, g->plan.R), FUNCTION_AMP_DC);
	if (!g->slot[anode].has)
		return;
	struct measure W = dissipation(g, V, guide_slot_measure(g, anode));
	snprintf(name, sizeof name, "watts-%s", key);
	text_member_real(out, name, W.value);
	snprintf(name, sizeof name, "watts-u-%s", key);
	text_member_real(out, name, W.u);
	snprintf(name, sizeof name, "watts-verdict-%s", key);
	text_member_string(out, name, guide_verdict_most(W, g->plan.most));
}

/* With U = 2 u, as everywhere. */
static const char *verdict(const struct guide *g, int slot)
{
	struct measure x = guide_slot_measure(g, slot);
	double U = 2 * x.u, low = lower(g), high = upper(g);
	if (mode_of(g) == MODE_LEAST)
		return guide_verdict_most((struct measure){fabs(x.value), x.u}, g->plan.high);
	if (mode_of(g) != MODE_TARGET || !isfinite(U))
		return "unsure";
	return x.value - U >= low && x.value + U <= high  ? "within"
	       : x.value + U < low || x.value - U > high ? "outside" : "unsure";
}

static void result(const struct guide *g, struct text *out)
{
	static const char *const modes[] = {"target", "balance", "least"};
	if (!g->slot[SLOT_HERE].has)
		return;
	text_member(out, "result");
	text_printf(out, "{\"calculated\":true,\"sets\":\"%s\"", modes[mode_of(g)]);
	if (mode_of(g) == MODE_TARGET) {
		text_member_real(out, "target", target(g));
		text_member_real(out, "low", lower(g));
		text_member_real(out, "high", upper(g));
	}
	one(g, "here", SLOT_HERE, SLOT_ANODE, out);
	if (mode_of(g) != MODE_BALANCE)
		text_member_string(out, "verdict", verdict(g, SLOT_HERE));
	one(g, "twin", SLOT_TWIN, SLOT_ANODE_TWIN, out);
	if (g->slot[SLOT_TWIN].has) {
		struct pair p = place_pair(guide_slot_measure(g, SLOT_HERE), guide_slot_measure(g, SLOT_TWIN));
		guide_value_write(out, "difference", p.percent, FUNCTION_PERCENT);
	}
	text_puts(out, "}");
}

static void look(const struct guide *g, struct text *out)
{
	double toward = guide_tune_toward(g);
	if (isnan(toward))
		return;
	struct guide_ear ear = guide_tune_ear(toward);
	text_member_real(out, "toward", toward);
	text_member_bool(out, "inside", ear.inside);
	text_member_real(out, "hertz", ear.hertz);
}

static void figures(const struct guide *g, struct text *out)
{
	char a[32], b[32], c[32];
	const char *unit = function_unit(g->plan.function);
	if (mode_of(g) == MODE_BALANCE && !g->plan.twin[0]) /* it does not begin so, and that is said */
		return;
	if (mode_of(g) == MODE_TARGET)
		text_printf(out, "with: to %s, inside from %s to %s\n", guide_shown(target(g), unit, a),
		            guide_shown(lower(g), unit, b), guide_shown(upper(g), unit, c));
	else if (mode_of(g) == MODE_BALANCE)
		text_printf(out, "with: the same at %s and %s, inside %.0f %%\n", g->plan.of, g->plan.twin,
		            100 * FRACTION_BALANCE);
	else if (!isnan(g->plan.high))
		text_printf(out, "with: to the least, inside below %s\n", guide_shown(g->plan.high, unit, a));
	else
		text_printf(out, "with: to the least, inside up to %.0f %% above the least that was seen\n",
		            100 * FRACTION_LEAST);
	if (!g->plan.twin[0])
		text_puts(out, "passed over: twin, for the sheet names none\n");
	if (!isnan(g->plan.most) && senses(g))
		text_printf(out, "alarm: more than %.3g W at the anode, over %s, where a meter stands at the anode\n",
		            g->plan.most, guide_shown(g->plan.R.value, "ohm", a));
}

static bool limit(const struct guide *g, char out[32])
{
	if (g->step < STEP_SET || isnan(g->plan.most) || !senses(g) || !g->plan.there[ROLE_ANODE])
		return false;
	snprintf(out, 32, "%.3g W", g->plan.most);
	return true;
}

const struct guide_procedure guide_tune = {
    .name = "tune", .step = steps, .steps = sizeof steps / sizeof *steps, .role = roles,
    .roles = sizeof roles / sizeof *roles, .needs = GUIDE_NEEDS_LIVE, .cautions = cautions,
    .slot = slots, .slots = sizeof slots / sizeof *slots, .begin = begin, .say = say,
    .reading = reading, .next = next, .may_go = may_go, .at = at, .input = input,
    .role_now = role_now, .result = result, .look = look, .limit = limit,
    .figures = figures,
};
