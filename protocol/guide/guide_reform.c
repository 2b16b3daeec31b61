/* SPDX-License-Identifier: MIT */
/*
 * Re-forming of an old electrolytic: through a resistor in series, a quarter of the volts at a
 * time, while its current falls; until it holds the limit at the last volts, or until it is
 * plain that it never will.
 *
 * Two meters: volts over the resistor, and volts at the part.  The current of the part is that
 * of the resistor and of the meter over it, less what the meter at the part draws (10 Mohm at
 * 450 V draw 45 uA, a third of what a modern 32 uF part may leak):
 *
 *     I = Vdrop (1/R + 1/Rin,drop) - Vpart / Rin,part
 *
 * The person sets the supply, and is told how high: what the part is to get and what the
 * resistor drops, but never above the rating, so that a part whose current falls while nobody
 * looks cannot climb above it.
 *
 * The time that counts is time in which both meters were read.  What was not seen (a meter that
 * was away, a daemon that was started again) is not known, and counts for nothing: the stretch
 * that has to be held begins anew.
 *
 * The part is out of its circuit, so the unit stays cold, and other meters go on with it.
 *
 * Given up where the current rises while the supply stands still, where the power in the part
 * warms its can, where it reads the wrong way round or is shorted, and after two hours without
 * progress.
 *
 * Sources: steps of 25, 50, 75 and 100 %, the next when the current is below the limit and
 * falls, held half an hour at the end, given up as above: common practice, no source.  Two or
 * three minutes until a current is read: JAN-C-62 as handed down.  10 kohm up to 75 V and
 * 100 kohm above: a maker's note of 1993; not below 100 ohm: EIA-815.
 */
#include "protocol/guide/guide_reform.h"
#include "protocol/guide/guide_parts.h"

#include <math.h>
#include <stdio.h>

static const char *const slots[] = {
    [SLOT_VOLTS] = "volts", [SLOT_DROP] = "drop", [SLOT_DEAD] = "dead",
    [SLOT_DEAD_AGAIN] = "dead-again", [SLOT_FORMED] = "formed", [SLOT_HELD] = "held",
    [SLOT_AWAY] = "away", [SLOT_SINCE] = "since", [SLOT_STILL] = "still", [SLOT_RISE] = "rise",
    [SLOT_SUPPLY] = "supply", [SLOT_LEAST] = "least", [SLOT_PROGRESS] = "progress",
    [SLOT_NOW] = "current", [SLOT_AT] = "at", [SLOT_HIGHEST] = "highest",
    [SLOT_QUARTER] = "quarter", [SLOT_HALF] = "half", [SLOT_THREE] = "three-quarters",
    [SLOT_FULL] = "full", [SLOT_MOST] = "most", [SLOT_DANGER] = "danger",
    [SLOT_WAITED] = "waited", [SLOT_WINDOW] = "window", [SLOT_AMPS] = "amps",
    [SLOT_PARTS] = "parts", [SLOT_DROPS] = "drops",
};

static const struct guide_role roles[] = {
    [ROLE_DROP] = {"drop", FUNCTION_VOLT_DC, QUANTITY_LEAKAGE, false,
                   "over the resistor in series, red lead to the supply"},
    [ROLE_PART] = {"part", FUNCTION_VOLT_DC, QUANTITY_VOLTS, false,
                   "at the part itself, red lead to its positive end"},
};

static const char *const cautions[] = {
    "a charged capacitor kills, and one that bursts throws hot paste: cover it, and keep your face away",
    "local codes and licensed practice come before anything said here",
    "the part is free of its circuit, discharged through a resistor, and measured dead",
    "never the wrong way round; a can that bulges, leaks or is warm is not re-formed but replaced",
    "the supply is isolated and has a limit of its own; the meter over the resistor stands at high "
    "volts against ground: isolated, rated, and not touched while it is on",
    "never alone; what is switched off still holds its charge: discharge, measure, wait a minute, "
    "measure again",
    NULL,
};

#define SAME GUIDE_UNIT_SAME
static const struct guide_step steps[] = {
    [STEP_CAUTION] = {"caution", -1, -1, QUANTITY_VALUE, SAME, false, false, "the cautions hold"},
    [STEP_PART] = {"part", -1, -1, QUANTITY_VALUE, SAME, false, false,
                   "%s is free of its circuit and discharged; resistor in series with its positive end"},
    [STEP_CLIP] = {"clip", -1, -1, QUANTITY_VALUE, SAME, false, false,
                   "both meters are clipped on and show nothing: %s holds no charge"},
    [STEP_SUPPLY] = {"supply", -1, -1, QUANTITY_VALUE, SAME, false, false,
                     "%s is covered, hands off; supply on, at its lowest volts"},
    [STEP_QUARTER] = {"quarter", -1, -1, QUANTITY_VALUE, SAME, true, false,
                      "a quarter of the volts at %s, until its current is below the limit and falls"},
    [STEP_HALF] = {"half", -1, -1, QUANTITY_VALUE, SAME, true, false, "half of the volts at %s, the same"},
    [STEP_THREE] = {"three-quarters", -1, -1, QUANTITY_VALUE, SAME, true, false,
                    "three quarters of the volts at %s, the same"},
    [STEP_FULL] = {"full", -1, -1, QUANTITY_VALUE, SAME, true, false, "all of the volts at %s, the same"},
    [STEP_HOLD] = {"hold", -1, -1, QUANTITY_VALUE, SAME, true, false,
                   "%s holds the limit for half an hour without a break"},
    [STEP_VOLTS] = {"volts", ROLE_PART, SLOT_VOLTS, QUANTITY_VOLTS, SAME, false, false,
                    "the volts at %s"},
    [STEP_LEAKAGE] = {"leakage", ROLE_DROP, SLOT_DROP, QUANTITY_LEAKAGE, SAME, false, false,
                      "the volts over the resistor: what %s leaks"},
    [STEP_OFF] = {"off", -1, -1, QUANTITY_VALUE, SAME, false, false,
                  "supply down and off; %s discharged through a resistor"},
    [STEP_DEAD] = {"dead", ROLE_PART, SLOT_DEAD, QUANTITY_VOLTS, SAME, false, false,
                   "%s measured dead, below 1 V"},
    [STEP_AGAIN] = {"dead-again", ROLE_PART, SLOT_DEAD_AGAIN, QUANTITY_VOLTS, SAME, false, false,
                    "%s measured dead again after a minute, for the volts come back"},
};

static bool begin(struct guide *g, struct fault *why)
{
	struct guide_plan *p = &g->plan;
	char a[32], b[32];
	if (isnan(p->to))
		p->to = p->rated;
	if (isnan(p->heat))
		p->heat = REFORM_WATTS;
	if (isnan(p->ceiling))
		p->ceiling = REFORM_CEILING * p->rated;
	if (!(p->nominal > 0))
		fault_set(why, "how large %s is stands nowhere: sheet set %s nominal=32u", p->of, p->of);
	else if (!(p->rated > 0))
		fault_set(why, "for how many volts %s was made stands nowhere: sheet set %s rated=450V", p->of,
		          p->of);
	else if (!(p->to > 0) || p->to > p->rated)
		fault_set(why, "%s is rated for %s: to %s is refused", p->of, guide_shown(p->rated, "V", a),
		          guide_shown(p->to, "V", b));
	else if (!(p->R.value > 0))
		fault_set(why, "which resistor stands in series with %s? Say it (resistor=%s): 10 kohm up to 75 V, "
		          "100 kohm above", p->of, p->rated > 75 ? "100k" : "10k");
	else if (p->R.value < REFORM_OHMS_LEAST)
		fault_set(why, "%s in series limits nothing: at least 100 ohm, better 10 kohm up to 75 V and "
		          "100 kohm above", guide_shown(p->R.value, "ohm", a));
	else if (isnan(guide_reform_limit(p)))
		fault_set(why, "%s has no limit at %s: the other one (era=modern), or the sheet's own (sheet set "
		          "%s leakage=1mA)", leakage_formula_name(p->limit), guide_shown(p->to, "V", a), p->of);
	else
		return true;
	return false;
}

/* ---- what is said ---- */

static void say_stage(const struct guide *g, char *out, size_t size)
{
	char now[32], limit[32], most[32], R[32];
	double I = guide_slot_value(g, SLOT_NOW), V = guide_slot_value(g, SLOT_AT);
	double near = reform_near(g), max = guide_reform_limit(&g->plan);
	int n = snprintf(out, size, "set the supply to %.0f V, for %.0f V at %s", reform_supply(g),
	                 reform_target(g), g->plan.of);
	if (!g->slot[SLOT_NOW].has || n < 0 || (size_t)n >= size)
		return;
	n += snprintf(out + n, size - (size_t)n, "; it takes %s at %.0f V, and may take %s",
	              guide_shown(I, "A", now), V, guide_shown(max, "A", limit));
	if ((size_t)n < size && I <= max && I > near && guide_slot_value(g, SLOT_SINCE) > REFORM_REST)
		snprintf(out + n, size - (size_t)n, "; through %s it comes near only below %s",
		         guide_shown(g->plan.R.value, "ohm", R), guide_shown(near, "A", most));
}

static void say(const struct guide *g, char *out, size_t size)
{
	char a[32], b[32], c[32];
	double limit = guide_reform_limit(&g->plan);
	struct measure I = reform_current(g, guide_slot_measure(g, SLOT_DROP), guide_slot_measure(g, SLOT_VOLTS));
	switch (g->step) {
	case STEP_CAUTION:
		snprintf(out, size, "read the cautions; go on when they hold");
		break;
	case STEP_PART:
		snprintf(out, size, "free %s of its circuit, discharge it, and put %s in series with its positive "
		         "end (at a short it gets %s); then go on", g->plan.of,
		         guide_shown(g->plan.R.value, "ohm", a),
		         guide_shown(g->plan.to * g->plan.to / g->plan.R.value, "W", b));
		break;
	case STEP_CLIP:
		snprintf(out, size, "clip the meters on: one over the resistor, red to the supply; one at %s, red to "
		         "its positive end; both must show nothing; then go on", g->plan.of);
		break;
	case STEP_SUPPLY:
		snprintf(out, size, "cover %s, hands off; supply on at its lowest volts; then go on", g->plan.of);
		break;
	case STEP_HOLD:
		snprintf(out, size, "leave the supply at %.0f V: %s has held %s for %.0f minutes, %.0f are wanted",
		         reform_supply(g), g->plan.of, guide_shown(limit, "A", a),
		         floor(guide_slot_value(g, SLOT_HELD) / 60), REFORM_HOLD / 60);
		break;
	case STEP_VOLTS:
		snprintf(out, size, "%s holds its limit: go on takes its volts", g->plan.of);
		break;
	case STEP_LEAKAGE:
		snprintf(out, size, "go on takes the volts over the resistor, which are its leakage");
		break;
	case STEP_OFF:
		if (g->failed)
			snprintf(out, size, "%s; supply down and off, discharge %s through a resistor; then go on",
			         g->because, g->plan.of);
		else
			snprintf(out, size, "%s leaks %s, %s %s; supply down and off, discharge it through a resistor; "
			         "then go on", g->plan.of, guide_shown(I.value, "A", b),
			         guide_verdict_most(I, limit), guide_shown(limit, "A", c));
		break;
	case STEP_DEAD:
		snprintf(out, size, "do not touch: go on when %s reads below 1 V, it takes them", g->plan.of);
		break;
	case STEP_AGAIN:
		snprintf(out, size, "the volts come back: wait a minute; go on takes them again");
		break;
	default:
		say_stage(g, out, size);
	}
}

static void figures(const struct guide *g, struct text *out)
{
	const struct guide_plan *p = &g->plan;
	char a[32], b[32], c[32], d[32], e[32];
	double limit = guide_reform_limit(p);
	text_printf(out, "with: %s, rated %s, to %s; %s in series, which gets %s at a short\n",
	            guide_shown(p->nominal, "F", a), guide_shown(p->rated, "V", b),
	            guide_shown(p->to, "V", c), guide_shown(p->R.value, "ohm", d),
	            guide_shown(p->to * p->to / p->R.value, "W", e));
	text_printf(out, "limit: %s, %s\n", guide_shown(limit, "A", a),
	            isnan(p->high) ? leakage_formula_name(p->limit) : "the sheet's own");
	text_printf(out, "alarm: volts above %s, or beyond the meter's range\n",
	            guide_shown(p->ceiling, "V", a));
	text_printf(out, "given up: the current rises by %.0f %% while the supply stands still; more than %s in "
	            "the part, which warms it; the wrong way round; shorted; %.0f hours without progress\n",
	            (REFORM_RISE - 1) * 100, guide_shown(p->heat, "W", a), REFORM_HOURS / 3600);
	text_puts(out, "time in which a meter was away counts for nothing, and the half hour begins anew\n");
}

static bool value(const struct guide *g, char out[32], const char **verdict)
{
	struct measure V = guide_slot_measure(g, SLOT_VOLTS);
	struct measure I = reform_current(g, guide_slot_measure(g, SLOT_DROP), V);
	if (g->step >= STEP_QUARTER && g->step <= STEP_FULL) {
		guide_shown(reform_supply(g), "V", out);
		return true;
	}
	if (g->step != STEP_OFF || g->failed || !isfinite(I.value))
		return false;
	*verdict = guide_verdict_most(I, guide_reform_limit(&g->plan));
	guide_shown(I.value, "A", out);
	return true;
}

static bool limit(const struct guide *g, char out[32])
{
	if (g->step != STEP_SUPPLY)
		return false;
	snprintf(out, 32, "%.0f V", g->plan.ceiling);
	return true;
}

/* The hours that it was formed count, the steps are gone through again: it may have lost what it
 * had. */
static void again(struct guide *g, const struct guide *left)
{
	static const int kept[] = {SLOT_FORMED, SLOT_AWAY, SLOT_HIGHEST, SLOT_MOST};
	for (size_t i = 0; i < sizeof kept / sizeof *kept; i++)
		g->slot[kept[i]] = left->slot[kept[i]];
	guide_slot_set(g, SLOT_AWAY, guide_slot_value(g, SLOT_AWAY) + 1);
}

static bool shows_nothing(const struct guide *g, int role, struct fault *why)
{
	char a[32];
	if (!g->is_live[role])
		fault_set(why, "the meter `%s` (%s) shows nothing yet", roles[role].name, roles[role].where);
	else if (g->is_over[role] || fabs(g->live[role].value) >= REFORM_DEAD)
		fault_set(why, "%s still holds %s: discharge it through a resistor", g->plan.of,
		          g->is_over[role] ? "more than the meter can show" : guide_shown(g->live[role].value, "V", a));
	else
		return true;
	return false;
}

static bool may_go(const struct guide *g, struct fault *why)
{
	if (g->step == STEP_CLIP)
		return shows_nothing(g, ROLE_PART, why) && shows_nothing(g, ROLE_DROP, why);
	if (g->step == STEP_DEAD)
		return shows_nothing(g, ROLE_PART, why);
	if (g->step == STEP_AGAIN) {
		double left = REFORM_AGAIN - guide_slot_value(g, SLOT_WAITED);
		if (left <= 0)
			return shows_nothing(g, ROLE_PART, why);
		fault_set(why, "in %.0f s: the volts of a discharged capacitor come back", ceil(left));
		return false;
	}
	if (g->alarm && g->step < STEP_OFF) {
		fault_set(why, "%s is above %.0f V: switch off", g->plan.of, g->plan.ceiling);
		return false;
	}
	return true;
}

/* ---- what comes of it ---- */

/* Of a window: its uncertainty was not kept. */
static struct measure averaged(const struct guide *g, int slot)
{
	return (struct measure){guide_slot_value(g, slot), NAN};
}

static void result(const struct guide *g, struct text *out)
{
	static const char *const stages[] = {"quarter", "half", "three-quarters", "full"};
	double limit = guide_reform_limit(&g->plan);
	bool whole = g->slot[SLOT_DROP].has && g->slot[SLOT_VOLTS].has;
	struct measure V = guide_slot_measure(g, SLOT_VOLTS);
	struct measure I = reform_current(g, guide_slot_measure(g, SLOT_DROP), V);
	if (!whole && !g->slot[SLOT_NOW].has)
		return;
	if (!whole) { /* given up or left: what it was at last */
		V = (struct measure){guide_slot_value(g, SLOT_AT), NAN};
		I = (struct measure){guide_slot_value(g, SLOT_NOW), NAN};
	}
	text_member(out, "result");
	text_puts(out, "{\"calculated\":true");
	guide_value_write(out, "leakage", I, FUNCTION_AMP_DC);
	guide_value_write(out, "volts", V, FUNCTION_VOLT_DC);
	text_member_string(out, "verdict", whole ? guide_verdict_most(I, limit)
	                                   : g->failed && g->step >= STEP_OFF ? "outside"
	                                                                      : "unsure");
	text_member_real(out, "most", limit);
	text_member_bool(out, "assumed", isnan(g->plan.high));
	if (isnan(g->plan.high))
		text_member_string(out, "by", leakage_formula_name(g->plan.limit));
	text_member_real(out, "watts", place_heat(V, I).value);
	text_member_real(out, "formed", guide_slot_value(g, SLOT_FORMED));
	text_member_real(out, "held", guide_slot_value(g, SLOT_HELD));
	text_member_real(out, "breaks", guide_slot_value(g, SLOT_AWAY));
	if (g->slot[SLOT_HIGHEST].has)
		guide_value_write(out, "highest-current", averaged(g, SLOT_HIGHEST), FUNCTION_AMP_DC);
	for (int i = 0; i < 4; i++)
		if (g->slot[SLOT_QUARTER + i].has)
			guide_value_write(out, stages[i], averaged(g, SLOT_QUARTER + i), FUNCTION_AMP_DC);
	text_puts(out, "}");
}

static void look(const struct guide *g, struct text *out)
{
	if (!reform_forming(g))
		return;
	text_member_real(out, "set", reform_supply(g));
	text_member_real(out, "target", reform_target(g));
	text_member_real(out, "most", guide_reform_limit(&g->plan));
	if (g->is_live[ROLE_DROP] && g->is_live[ROLE_PART]) {
		struct measure I = reform_current(g, g->live[ROLE_DROP], g->live[ROLE_PART]);
		text_member_real(out, "current", I.value);
		text_member_real(out, "volts", g->live[ROLE_PART].value);
		text_member_real(out, "watts", I.value * g->live[ROLE_PART].value);
	}
	if (g->step == STEP_HOLD)
		text_member_real(out, "left", fmax(0, REFORM_HOLD - guide_slot_value(g, SLOT_HELD)));
}

const struct guide_procedure guide_reform = {
    .name = "reform", .step = steps, .steps = sizeof steps / sizeof *steps, .role = roles,
    .roles = sizeof roles / sizeof *roles, .needs = GUIDE_NEEDS_COLD, .cautions = cautions,
    .slot = slots, .slots = sizeof slots / sizeof *slots, .begin = begin, .say = say,
    .reading = reform_reading, .may_go = may_go, .result = result, .look = look, .value = value, .limit = limit,
    .figures = figures,
    .again = again,
};
