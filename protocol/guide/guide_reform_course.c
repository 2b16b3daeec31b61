/* SPDX-License-Identifier: MIT */
/*
 * Re-forming: what the readings of its two meters mean.  They are averaged over windows of
 * 20 s; a window says whether the supply was set anew, whether the current falls, stands or
 * rises, and whether a step is done.  See guide_reform.c for the rules and their sources.
 */
#include "protocol/guide/guide_reform.h"
#include "protocol/guide/guide_parts.h"

#include <math.h>
#include <stdio.h>

/* ---- what is known ---- */

double reform_target(const struct guide *g)
{
	int quarters = g->step < STEP_QUARTER ? 1 : g->step > STEP_FULL ? 4 : g->step - STEP_QUARTER + 1;
	return g->plan.to * quarters / 4;
}

double guide_reform_limit(const struct guide_plan *p)
{
	/* Of the volts at which it is measured: below the rating that is the stricter one. */
	return isnan(p->high) ? leakage_limit(p->limit, p->nominal, p->to) : p->high;
}

static double input(const struct guide *g, int role)
{
	double ohms = g->plan.input[role];
	return isnan(ohms) ? 10e6 : ohms; /* common practice, no source */
}

/* Inputs: Vdrop R Rdrop Vpart Rpart. */
static double current(const double *x)
{
	return x[0] * (1 / x[1] + 1 / x[2]) - x[3] / x[4];
}

struct measure reform_current(const struct guide *g, struct measure drop, struct measure part)
{
	return measure_of(current,
	                  (struct measure[]){drop, g->plan.R, {input(g, ROLE_DROP), 0}, part,
	                                     {input(g, ROLE_PART), 0}},
	                  5);
}

bool reform_forming(const struct guide *g)
{
	return g->step >= STEP_QUARTER && g->step <= STEP_LEAKAGE;
}

/* The supply that brings the part to its volts with the current of now: never above the
 * rating, see above. */
double reform_supply(const struct guide *g)
{
	double drop = guide_slot_value(g, SLOT_NOW) * g->plan.R.value;
	double most = g->plan.rated > g->plan.to ? g->plan.rated : g->plan.to;
	double V = reform_target(g) + (drop > 0 ? drop : 0);
	return floor(fmin(V, most) + 0.5);
}

/* The highest current with which the part comes near enough to its volts at that supply. */
double reform_near(const struct guide *g)
{
	double most = g->plan.rated > reform_target(g) ? g->plan.rated : reform_target(g);
	return (most - REFORM_NEAR * reform_target(g)) / g->plan.R.value;
}

/* ---- what the readings mean ---- */

/* The alarm: volts above what it may have, beyond the range, or given up in danger and not off. */
static void watch(struct guide *g, struct guide_out *out)
{
	const struct measure *V = &g->live[ROLE_PART];
	bool danger = g->slot[SLOT_DANGER].has;
	if (!g->is_live[ROLE_PART] || g->step < STEP_SUPPLY)
		return;
	bool over = g->is_over[ROLE_PART];
	/* The wrong way round a volt is one too many. */
	double gone = !danger ? 0.95 * g->plan.ceiling : V->value < 0 ? REFORM_DEAD : REFORM_SAFE;
	bool above = over || V->value > g->plan.ceiling;
	if (!g->alarm && above) {
		g->alarm = out->alarm = out->keep = true;
		if (over)
			snprintf(out->text, sizeof out->text, "%s is beyond the meter's range: SWITCH OFF", g->plan.of);
		else
			snprintf(out->text, sizeof out->text, "%s is at %.0f V, above %.0f V: SWITCH OFF", g->plan.of,
			         V->value, g->plan.ceiling);
	} else if (g->alarm && !over && fabs(V->value) < gone) {
		g->alarm = false;
		out->alarm_over = out->keep = true;
		snprintf(out->text, sizeof out->text, "%s is at %.0f V", g->plan.of, V->value);
	}
}

static void in_danger(struct guide *g, struct guide_out *out)
{
	char text[GUIDE_TEXT];
	guide_slot_set(g, SLOT_DANGER, 1);
	snprintf(text, sizeof text, "SWITCH OFF. %.300s", out->text);
	snprintf(out->text, sizeof out->text, "%.319s", text);
	out->alarm = !g->alarm;
	g->alarm = true;
}

static void window_begin(struct guide *g)
{
	for (int i = SLOT_WINDOW; i <= SLOT_DROPS; i++)
		guide_slot_set(g, i, 0);
}

/* Something was not seen: whatever has to be held or compared begins anew. */
static void unseen(struct guide *g)
{
	bool seen = g->slot[SLOT_SUPPLY].has || guide_slot_value(g, SLOT_WINDOW) > 0;
	window_begin(g);
	g->slot[SLOT_SUPPLY].has = false;
	guide_slot_set(g, SLOT_HELD, 0);
	if (seen)
		guide_slot_set(g, SLOT_AWAY, guide_slot_value(g, SLOT_AWAY) + 1);
}

/* The supply was set anew: the current of before says nothing of that of now. */
static bool supply_moved(struct guide *g, double supply)
{
	double was = guide_slot_value(g, SLOT_SUPPLY);
	if (g->slot[SLOT_SUPPLY].has && fabs(supply - was) <= fmax(0.01 * fabs(was), 1))
		return false;
	guide_slot_set(g, SLOT_SUPPLY, supply);
	guide_slot_set(g, SLOT_SINCE, 0);
	guide_slot_set(g, SLOT_STILL, 0);
	guide_slot_set(g, SLOT_RISE, 0);
	g->slot[SLOT_LEAST].has = g->slot[SLOT_PROGRESS].has = false;
	return true;
}

/* Is another supply wanted than it stands at?  Said again, but not every minute. */
static void remind(struct guide *g, int64_t t, double V, double supply, struct guide_out *out)
{
	double want = reform_supply(g);
	bool low = V < REFORM_NEAR * reform_target(g) && want > supply + fmax(0.02 * want, 2);
	bool high = V > 1.02 * reform_target(g) && want < supply - fmax(0.02 * want, 2);
	if (g->step > STEP_FULL || !(low || high) || t - g->said_at < REFORM_SAY_US)
		return;
	g->said_at = t;
	out->news = true;
}

/* Does it rise, does it fall?  True where it was given up. */
static bool course(struct guide *g, double I, double seconds, struct guide_out *out)
{
	char a[32], b[32];
	double least = guide_slot_value(g, SLOT_LEAST), progress = guide_slot_value(g, SLOT_PROGRESS);
	double u = reform_current(g, g->live[ROLE_DROP], g->live[ROLE_PART]).u;
	double want = fmin(guide_reform_limit(&g->plan), reform_near(g));
	u = isfinite(u) ? u : 0;
	if (!g->slot[SLOT_LEAST].has || I < least)
		guide_slot_set(g, SLOT_LEAST, I);
	if (!g->slot[SLOT_PROGRESS].has || I < progress * REFORM_PROGRESS) {
		guide_slot_set(g, SLOT_PROGRESS, I);
		guide_slot_set(g, SLOT_STILL, 0);
	} else {
		guide_slot_set(g, SLOT_STILL, I > want ? guide_slot_value(g, SLOT_STILL) + seconds : 0);
	}
	bool rises = g->slot[SLOT_LEAST].has && I > guide_slot_value(g, SLOT_LEAST) * REFORM_RISE + 2 * u;
	guide_slot_set(g, SLOT_RISE, rises ? guide_slot_value(g, SLOT_RISE) + seconds : 0);
	if (guide_slot_value(g, SLOT_RISE) >= REFORM_RISE_SECONDS) {
		guide_give_up(g, STEP_OFF, out, "the current rises at constant volts, from %s to %s",
		              guide_shown(least, "A", a), guide_shown(I, "A", b));
		in_danger(g, out);
		return true;
	}
	if (guide_slot_value(g, SLOT_STILL) >= REFORM_HOURS) {
		guide_give_up(g, STEP_OFF, out, "%.0f hours without progress at %s, where %s are allowed",
		              REFORM_HOURS / 3600, guide_shown(I, "A", a),
		              guide_shown(guide_reform_limit(&g->plan), "A", b));
		return true;
	}
	return false;
}

/* Is this step done, with the current and the volts of a window? */
static void stage(struct guide *g, double I, double V, double seconds, struct guide_out *out)
{
	bool good = I <= guide_reform_limit(&g->plan) && V >= REFORM_NEAR * reform_target(g) && !g->alarm;
	if (g->step == STEP_HOLD) {
		guide_slot_set(g, SLOT_HELD, good ? guide_slot_value(g, SLOT_HELD) + seconds : 0);
		if (guide_slot_value(g, SLOT_HELD) >= REFORM_HOLD)
			guide_to(g, STEP_VOLTS, out);
	} else if (g->step <= STEP_FULL && good && guide_slot_value(g, SLOT_SINCE) >= REFORM_REST &&
	           guide_slot_value(g, SLOT_RISE) == 0) {
		guide_slot_set(g, SLOT_QUARTER + g->step - STEP_QUARTER, I);
		guide_slot_set(g, SLOT_HELD, 0);
		guide_to(g, g->step + 1, out);
	}
}

/* So many seconds were seen: what they say. */
static void window_end(struct guide *g, int64_t t, struct guide_out *out)
{
	char a[32], b[32];
	double s = guide_slot_value(g, SLOT_WINDOW);
	double I = guide_slot_value(g, SLOT_AMPS) / s, V = guide_slot_value(g, SLOT_PARTS) / s;
	double supply = V + guide_slot_value(g, SLOT_DROPS) / s;
	double rest = fmax(REFORM_REST, 5 * g->plan.R.value * g->plan.nominal);
	bool moved = supply_moved(g, supply);
	window_begin(g);
	guide_slot_set(g, SLOT_FORMED, guide_slot_value(g, SLOT_FORMED) + s);
	guide_slot_set(g, SLOT_SINCE, moved ? 0 : guide_slot_value(g, SLOT_SINCE) + s);
	guide_slot_set(g, SLOT_NOW, I);
	guide_slot_set(g, SLOT_AT, V);
	guide_slot_set(g, SLOT_MOST, fmax(V, guide_slot_value(g, SLOT_MOST)));
	if (I * V > g->plan.heat) {
		guide_give_up(g, STEP_OFF, out, "%s at %.0f V are %s, which warms the can", guide_shown(I, "A", a),
		              V, guide_shown(I * V, "W", b));
		in_danger(g, out);
		return;
	}
	/* While it charges its current is no leakage. */
	if (guide_slot_value(g, SLOT_SINCE) < rest) {
		if (g->step == STEP_HOLD) /* held from when it rests */
			guide_slot_set(g, SLOT_HELD, 0);
		return;
	}
	if (!g->slot[SLOT_HIGHEST].has || I > guide_slot_value(g, SLOT_HIGHEST))
		guide_slot_set(g, SLOT_HIGHEST, I);
	if (!course(g, I, s, out))
		stage(g, I, V, s, out);
	if (out->news)
		g->said_at = t;
	else
		remind(g, t, V, supply, out);
}

/* A reading of the drop while it forms: the time since the last one counts where both were seen. */
static void form(struct guide *g, const struct guide_input *in, struct guide_out *out)
{
	int64_t last = g->read_at[ROLE_DROP], part = g->read_at[ROLE_PART];
	bool seen = last != INT64_MIN && in->t - last <= REFORM_GAP_US && g->is_live[ROLE_PART] &&
	            part != INT64_MIN && in->t - part <= REFORM_GAP_US && !g->is_over[ROLE_PART];
	if (g->is_over[ROLE_DROP]) {
		guide_give_up(g, STEP_OFF, out, "the volts over the resistor are beyond the meter's range");
		in_danger(g, out);
		return;
	}
	if (!seen) {
		unseen(g);
		return;
	}
	double s = (double)(in->t - last) / 1e6, V = g->live[ROLE_PART].value;
	double I = reform_current(g, in->x, g->live[ROLE_PART]).value;
	guide_slot_set(g, SLOT_WINDOW, guide_slot_value(g, SLOT_WINDOW) + s);
	guide_slot_set(g, SLOT_AMPS, guide_slot_value(g, SLOT_AMPS) + I * s);
	guide_slot_set(g, SLOT_PARTS, guide_slot_value(g, SLOT_PARTS) + V * s);
	guide_slot_set(g, SLOT_DROPS, guide_slot_value(g, SLOT_DROPS) + in->x.value * s);
	if (guide_slot_value(g, SLOT_WINDOW) >= REFORM_WINDOW)
		window_end(g, in->t, out);
	if (g->kept_at < 0) /* only begun, or taken up: that is a record already */
		g->kept_at = in->t;
	if (in->t - g->kept_at >= REFORM_KEEP_US)
		out->keep = true;
	if (out->keep)
		g->kept_at = in->t;
}

void reform_reading(struct guide *g, const struct guide_input *in, struct guide_out *out)
{
	int64_t before = g->read_at[in->role];
	g->live[in->role] = in->x;
	g->is_over[in->role] = in->over;
	g->is_live[in->role] = true;
	if (in->role == ROLE_PART) {
		if (reform_forming(g) && !in->over && in->x.value < -REFORM_REVERSE) {
			guide_give_up(g, STEP_OFF, out, "%s reads %.1f V: it or its meter is the wrong way round",
			              g->plan.of, in->x.value);
			in_danger(g, out);
			return;
		}
		watch(g, out);
		if (g->step == STEP_AGAIN && before != INT64_MIN && in->t - before <= REFORM_GAP_US)
			guide_slot_set(g, SLOT_WAITED, guide_slot_value(g, SLOT_WAITED) +
			                                   (double)(in->t - before) / 1e6);
	} else if (reform_forming(g)) {
		form(g, in, out);
	}
}
