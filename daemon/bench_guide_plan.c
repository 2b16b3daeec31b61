/* SPDX-License-Identifier: MIT */
/*
 * What a guided run needs to know before it begins: from the sheet, from the meters' sections, and
 * from the words that the person gave with it (bench_guide_words.c).
 */
#include "daemon/bench_guide.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* The newest value in ohms there, else its nominal with its tolerance as a rectangle. */
struct measure guide_ohms_at(const struct bench *b, int place)
{
	const struct position *p = &b->position[place].row.position;
	struct limits l;
	for (int i = b->position[place].newest; i >= 0; i = b->made[i].older) {
		const struct entry *e = &b->made[i].entry;
		if (!e->struck && e->has_value && e->function == FUNCTION_OHM && e->quantity == QUANTITY_VALUE &&
		    e->reach != REACH_IN_CIRCUIT)
			return (struct measure){decimal_double(e->value), e->u};
	}
	if (!p->has_nominal || p->function != FUNCTION_OHM)
		return (struct measure){NAN, NAN};
	struct measure m = {decimal_double(p->nominal), 0};
	if (limits_from(&p->tolerance, true, p->nominal, &l) && l.has_low && l.has_high)
		m.u = (decimal_double(l.high) - decimal_double(l.low)) / 2 / sqrt(3);
	return m;
}

/* ---- the sheet ---- */

/* The lowest rating of what stands on the rails: none of it may be passed. */
static double lowest_rating(const struct bench *b)
{
	double least = NAN;
	for (int i = 0; i < b->positions; i++) {
		const struct position *p = &b->position[i].row.position;
		if (!p->has_rated || !reservoir_by_role(p))
			continue;
		double volts = decimal_double(p->rated);
		least = isnan(least) || volts < least ? volts : least;
	}
	return least;
}

/* A can that is named as a part: its sections stand in parallel, and the lowest rating counts. */
static void sum_sections(const struct bench *b, struct bench_guide *gd)
{
	struct guide_plan *p = &gd->plan;
	double C = 0, rated = NAN;
	for (int i = 0; i < b->positions; i++) {
		const struct position *one = &b->position[i].row.position;
		if (strcmp(one->part, gd->of) != 0)
			continue;
		C += one->has_nominal ? decimal_double(one->nominal) : NAN;
		double volts = one->has_rated ? decimal_double(one->rated) : NAN;
		rated = isnan(rated) || volts < rated ? volts : rated;
	}
	p->nominal = C;
	p->rated = rated;
	p->high = NAN; /* of one section */
}

static void from_sheet(const struct bench *b, struct bench_guide *gd)
{
	struct guide_plan *p = &gd->plan;
	struct limits l;
	if (isnan(p->ceiling) && gd->kind != GUIDE_REFORM) /* that has its own part alone */
		p->ceiling = lowest_rating(b);
	if (gd->place < 0)
		return;
	const struct position *at = &b->position[gd->place].row.position;
	if (at->has_nominal)
		p->nominal = decimal_double(at->nominal);
	p->function = at->function;
	if (at->has_rated)
		p->rated = decimal_double(at->rated);
	snprintf(p->twin, sizeof p->twin, "%s", at->twin);
	bool leaks = gd->kind == GUIDE_LEAK || gd->kind == GUIDE_REFORM;
	const struct tolerance *most = &at->beside[QUANTITY_LEAKAGE];
	/* Who says an era wants its limit, whatever the sheet has. */
	if (leaks && most->form == TOLERANCE_AT_MOST && !strstr(gd->said, "era="))
		p->high = decimal_double(most->high);
	if (!leaks && position_limits(at, &l)) {
		p->low = l.has_low ? decimal_double(l.low) : NAN;
		p->high = l.has_high ? decimal_double(l.high) : NAN;
		p->assumed = at->tolerance.form == TOLERANCE_NONE;
	}
	if (gd->kind == GUIDE_REFORM && gd->of[0] && strcmp(gd->of, at->name) != 0)
		sum_sections(b, gd);
	int with = at->with[0] ? position_find(b, at->with) : -1;
	if (isnan(p->R.value) && with >= 0 && gd->kind != GUIDE_REFORM)
		p->R = guide_ohms_at(b, with);
}

/* ---- meters ---- */

static bool taken(const struct bench_guide *gd, int meter)
{
	for (int i = 0; i < GUIDE_ROLES; i++)
		if (gd->meter[i] == meter)
			return true;
	return false;
}

/* Who is there, reads that, and is held nowhere; -1 for none, -2 for several. */
static int only_one(const struct bench *b, const struct bench_guide *gd, enum function f)
{
	int found = -1;
	for (int i = 0; i < b->meters; i++) {
		const struct bench_meter *m = &b->meter[i];
		bool suits = m->has_last && (f == FUNCTION_NONE || m->last.function == f);
		if (m->gone || !suits || m->bound.place >= 0 || guide_of_meter(b, m) || taken(gd, i))
			continue;
		if (found >= 0)
			return -2;
		found = i;
	}
	return found;
}

static double volts_there(const struct guide_plan *p)
{
	double volts = isnan(p->to) ? p->ceiling : p->to;
	return isnan(volts) ? p->rated : volts;
}

static bool meter_may(const struct bench *b, const struct bench_guide *gd, int role,
                      struct fault *why)
{
	const struct guide_role *r = guide_role(gd->kind, role);
	const struct bench_meter *m = &b->meter[gd->meter[role]];
	const char *name = m->config->name;
	double volts = volts_there(&gd->plan);
	double rated = m->config->rated, ignored;
	if (!(rated > 0))
		(void)guide_vouched(gd, "rated", name, &rated);
	if (gd->kind == GUIDE_LOT) /* loose parts: nothing is charged */
		return true;
	if (m->config->use.isolated == ANSWER_NO) {
		fault_set(why, "the input of %s is not isolated from earth: clipped into a live unit it puts a rail or "
		          "a live chassis to earth, which can kill; use an isolated meter", name);
		return false;
	}
	if (m->config->use.isolated != ANSWER_YES && !guide_vouched(gd, "isolated", name, &ignored)) {
		fault_set(why, "whether the input of %s (role %s) is isolated from earth nobody said, and one that is not "
		          "can kill here: look into its manual, then write isolated = yes into its section, or say it "
		          "for this run (isolated=%s)", name, r->name, name);
		return false;
	}
	if (!(rated > 0)) {
		fault_set(why, "for how many volts %s (role %s) and its probes are rated nobody said: read it off them, "
		          "then write rated = 600 V into its section, or say it for this run (rated=%s:600V)", name,
		          r->name, name);
		return false;
	}
	if (volts > rated) {
		fault_set(why, "%s is rated for %.0f V (%s), and up to %.0f V may stand there: use a meter and probes "
		          "that are rated for it", name, rated,
		          m->config->rated > 0 ? "rated in its section" : "as was said", volts);
		return false;
	}
	return true;
}

static bool choose_meters(struct bench *b, struct bench_guide *gd, struct fault *why)
{
	for (int i = 0; i < guide_roles(gd->kind); i++) {
		const struct guide_role *r = guide_role(gd->kind, i);
		if (gd->meter[i] < 0 && !r->optional) {
			int m = only_one(b, gd, r->function == FUNCTION_NONE ? gd->plan.function : r->function);
			if (m < 0) {
				fault_set(why, m == -2 ? "several meters read %s: say which one is clipped on %s (%s=NAME)"
				                       : "no meter that is free reads %s: turn the dial of the one that is "
				                         "clipped on %s, or name it (%s=NAME)",
				          r->function == FUNCTION_NONE ? "what is wanted" : function_name(r->function),
				          r->where, r->name);
				return false;
			}
			gd->meter[i] = m;
		}
		if (gd->meter[i] < 0)
			continue;
		struct bench_meter *m = &b->meter[gd->meter[i]];
		for (int k = 0; k < i; k++)
			if (gd->meter[k] == gd->meter[i]) {
				fault_set(why, "%s cannot be in two places: it has the roles %s and %s", m->config->name,
				          guide_role(gd->kind, k)->name, r->name);
				return false;
			}
		if (guide_of_meter(b, m)) {
			fault_set(why, "%s is in another guided run", m->config->name);
			return false;
		}
		if (!meter_may(b, gd, i, why))
			return false;
		double ohms = m->config->use.input[r->function];
		gd->plan.input[i] = ohms > 0 ? ohms : NAN;
		gd->plan.there[i] = true;
	}
	return true;
}

bool guide_plan_make(struct bench *b, struct bench_guide *gd, bool meters, struct fault *why)
{
	guide_plan_empty(&gd->plan);
	for (int i = 0; i < GUIDE_ROLES; i++)
		gd->meter[i] = -1;
	if (gd->kind == GUIDE_LOT) {
		struct decimal d;
		enum function f;
		if (!quantity_parse(gd->of, strlen(gd->of), FUNCTION_NONE, &d, &f, why) &&
		    !quantity_parse(gd->of, strlen(gd->of), FUNCTION_OHM, &d, &f, why))
			return false;
		gd->plan.nominal = decimal_double(d);
		/* 100n without a unit is a capacitor: nobody sorts resistors below a milliohm. */
		gd->plan.function = f != FUNCTION_NONE ? f : gd->plan.nominal < 1e-3 ? FUNCTION_FARAD : FUNCTION_OHM;
	}
	gd->place = gd->kind == GUIDE_LOT || !gd->of[0] ? -1 : position_find(b, gd->of);
	for (int i = 0; gd->place < 0 && gd->kind == GUIDE_REFORM && i < b->positions; i++)
		if (strcmp(b->position[i].row.position.part, gd->of) == 0)
			gd->place = i;
	if (gd->place < 0 && gd->of[0] && gd->kind != GUIDE_LOT) {
		fault_set(why, "%.40s is not in the sheet: `tally sheet add \"%.40s ...\"` puts it there, `tally "
		          "sheet show` lists what is", gd->of, gd->of);
		return false;
	}
	snprintf(gd->plan.of, sizeof gd->plan.of, "%s",
	         gd->place >= 0 ? b->position[gd->place].row.position.name : gd->of);
	if (!guide_take_words(b, gd, why))
		return false;
	bool ceiling_said = !isnan(gd->plan.ceiling);
	from_sheet(b, gd);
	if (!guide_sheet(b, gd, ceiling_said, why))
		return false;
	for (int i = 0; i < GUIDE_ROLES; i++)
		gd->plan.there[i] = gd->meter[i] >= 0;
	return (!meters || choose_meters(b, gd, why)) && guide_begin(&gd->g, gd->kind, &gd->plan, why);
}
