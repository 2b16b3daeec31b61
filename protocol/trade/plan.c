/* SPDX-License-Identifier: MIT */
/* See plan.h. */
#include "protocol/trade/plan.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

const char *plan_round_name(enum plan_round r)
{
	static const char *const names[] = {"supply and electrolytics", "coupling", "the rest"};
	return (unsigned)r < ROUND_COUNT ? names[r] : "";
}

bool plan_newer(const struct entry *a, const struct entry *b)
{
	bool done_a = a->condition == CONDITION_DONE, done_b = b->condition == CONDITION_DONE;
	return done_a != done_b ? done_a : a->seq > b->seq;
}

/* ---- which round ---- */

static enum plan_round round_of(const struct position *p)
{
	static const char *const supply[] = {"reservoir", "smoothing", "decoupling", "supply",
	                                     "bleeder",   "dropper",   "rectifier",  "mains",
	                                     "bias supply", "fuse"};
	if (p->kind == KIND_ELECTROLYTIC || p->kind == KIND_RECTIFIER || p->kind == KIND_FUSE)
		return ROUND_SUPPLY;
	for (size_t i = 0; i < sizeof supply / sizeof *supply; i++)
		if (role_says(p->role, supply[i]))
			return ROUND_SUPPLY;
	return p->kind == KIND_PAPER || role_says(p->role, "coupling") ? ROUND_COUPLING : ROUND_REST;
}

/* ---- one position ---- */

static bool is_part(enum kind k)
{
	return k != KIND_RAIL && k != KIND_VALVE && k != KIND_HEATER && k != KIND_REFERENCE;
}

static bool by_policy(const struct plan_line *l, const struct plan_policy *policy)
{
	enum kind k = l->position.kind;
	return (k == KIND_ELECTROLYTIC || k == KIND_PAPER) && !l->keep && !policy->keep[k];
}

/* By the place's limit, else by what it was sold to. */
static const struct verdict *deciding(const struct entry *e)
{
	bool service = e->service.word != VERDICT_NONE || e->service.reason != REASON_NONE;
	return service ? &e->service : &e->verdict;
}

static bool unconfirmed(const struct entry *e, const struct verdict *v)
{
	return v->word == VERDICT_OUTSIDE && v->side == SIDE_HIGH && e->reach == REACH_IN_CIRCUIT &&
	       e->function == FUNCTION_OHM && !(e->swapped && e->swap == AGREEMENT_YES);
}

/* "leakage 30 % high: carbon, drifted up" */
static void say(struct plan_line *l, const struct entry *e, const struct verdict *v)
{
	char far[48] = "";
	double percent = 100 * fabs(v->deviation);
	bool high = v->deviation > 0;
	if (v->has_deviation && v->deviation >= 10)
		snprintf(far, sizeof far, "%.0f times nominal", 1 + v->deviation);
	else if (v->has_deviation && percent >= 0.005)
		snprintf(far, sizeof far, "%.*f %% %s", percent < 9.95 ? 1 : 0, percent,
		         l->position.nominal.n < 0 ? high ? "more negative" : "less negative"
		         : high                    ? "high"
		                                   : "low");
	const char *quantity = e->quantity == QUANTITY_VALUE ? "" : quantity_name(e->quantity);
	const char *why = v->why[0] ? v->why : v->word == VERDICT_OUTSIDE ? "outside" : "";
	snprintf(l->because, sizeof l->because, "%s%s%s%s%.110s", quantity, quantity[0] ? " " : "", far,
	         far[0] && why[0] ? ": " : "", why);
	snprintf(l->next, sizeof l->next, "%s", v->next);
	l->quantity = e->quantity;
}

/* One entry may make it worse, never better. */
static void weigh(struct plan_line *l, const struct entry *e)
{
	const struct verdict *v = deciding(e);
	bool doubt = v->word == VERDICT_UNSURE || v->reason == REASON_LIMITS_OF_METER ||
	             unconfirmed(e, v) || (v->word == VERDICT_OUTSIDE && !is_part(l->position.kind));
	if (v->word == VERDICT_OUTSIDE && !doubt && l->action != PLAN_REPLACE) {
		l->action = PLAN_REPLACE;
		say(l, e, v);
	} else if (doubt && l->action != PLAN_REPLACE && l->action != PLAN_RECHECK) {
		l->action = PLAN_RECHECK;
		say(l, e, v);
	}
}

/* What was measured there since, of leakage or of the part that is in now. */
static bool superseded(const struct plan_line *l)
{
	for (int q = 0; q < QUANTITY_COUNT; q++)
		if (l->entry[q].seq > l->run.seq &&
		    (q == QUANTITY_LEAKAGE || l->entry[q].condition == CONDITION_DONE))
			return true;
	return false;
}

static void weigh_run(struct plan_line *l)
{
	const struct plan_run *run = &l->run;
	const char *what = run->reform ? "re-forming" : "leakage";
	bool replace = run->word == VERDICT_OUTSIDE && is_part(l->position.kind);
	bool doubt = run->word == VERDICT_UNSURE || (run->stopped && run->word != VERDICT_OUTSIDE);
	if (!run->seq || superseded(l) || l->action == PLAN_REPLACE ||
	    (!replace && (!doubt || l->action == PLAN_RECHECK)))
		return;
	l->action = replace ? PLAN_REPLACE : PLAN_RECHECK;
	l->by_run = true;
	l->quantity = QUANTITY_LEAKAGE;
	snprintf(l->because, sizeof l->because, "%s%s: %s", what, run->stopped ? " was given up" : "",
	         run->said[0] ? run->said : "no reason was said");
	snprintf(l->next, sizeof l->next, "%s", replace ? "" : run->stopped ?
	         "find the reason, then run it again" : "run it again, with a meter that resolves more");
}

static void decide(struct plan_line *l, const struct plan_policy *policy)
{
	bool measured = false, done = false;
	l->action = PLAN_KEEP;
	l->round = round_of(&l->position);
	l->with = -1;
	l->because[0] = l->next[0] = '\0';
	l->policy = l->by_run = false;
	for (int q = 0; q < QUANTITY_COUNT; q++) {
		if (!l->entry[q].seq)
			continue;
		measured = true;
		done = done || l->entry[q].condition == CONDITION_DONE;
		weigh(l, &l->entry[q]);
	}
	weigh_run(l);
	if (done && l->action == PLAN_KEEP) {
		l->action = PLAN_DONE;
		return;
	}
	if (!done && l->action != PLAN_REPLACE && by_policy(l, policy)) {
		l->action = PLAN_REPLACE;
		l->policy = true;
		l->by_run = false;
		snprintf(l->because, sizeof l->because, "%s of that age are always replaced",
		         l->position.kind == KIND_PAPER ? "paper capacitors" : "electrolytics");
		l->next[0] = '\0';
		return;
	}
	if (!measured && !l->run.seq && l->position.kind != KIND_REFERENCE) {
		l->action = PLAN_UNMEASURED;
		snprintf(l->because, sizeof l->because, "nothing was measured");
		snprintf(l->next, sizeof l->next, "measure it");
	}
}

/* ---- who goes along ---- */

static int find(const struct plan_line *line, int n, const char *name)
{
	for (int i = 0; name[0] && i < n; i++)
		if (strcmp(line[i].position.name, name) == 0)
			return i;
	return -1;
}

static bool along(struct plan_line *line, int i, int with, bool by_twin)
{
	struct plan_line *l = &line[i];
	if (l->action == PLAN_REPLACE || l->action == PLAN_DONE || !is_part(l->position.kind))
		return false;
	l->action = PLAN_REPLACE;
	l->by_run = false;
	l->with = with;
	l->by_twin = by_twin;
	snprintf(l->because, sizeof l->because, by_twin ? "its twin %.32s is replaced" :
	         "one part with %.32s", line[with].position.name);
	l->next[0] = '\0';
	return true;
}

static bool spread(struct plan_line *line, int n, int i)
{
	const struct position *p = &line[i].position;
	bool any = false;
	int twin = find(line, n, p->twin);
	if (twin >= 0 && twin != i)
		any = along(line, twin, i, true);
	for (int k = 0; p->part[0] && k < n; k++)
		if (k != i && strcmp(line[k].position.part, p->part) == 0)
			any = along(line, k, i, false) || any;
	return any;
}

/* What goes together is done in one round, the first of theirs. */
static bool same_round(struct plan_line *line, int n, int i)
{
	struct plan_line *l = &line[i];
	int twin = find(line, n, l->position.twin);
	bool any = false;
	for (int k = 0; k < n; k++) {
		struct plan_line *o = &line[k];
		bool together = k == twin || (l->position.part[0] &&
		                              strcmp(o->position.part, l->position.part) == 0);
		if (!together || o->action != PLAN_REPLACE || o->round <= l->round)
			continue;
		o->round = l->round;
		o->seen = false;
		any = true;
	}
	return any;
}

/* Of twins that agree in circuit the one that was measured last says so; it holds for both. */
static void as_its_twin(struct plan_line *line, int n, int i)
{
	struct plan_line *l = &line[i];
	int twin = find(line, n, l->position.twin);
	if (l->action != PLAN_RECHECK || twin < 0)
		return;
	const struct entry *e = &l->entry[l->quantity], *f = &line[twin].entry[l->quantity];
	const struct verdict *v = deciding(e);
	bool both = v->word == VERDICT_UNSURE && v->reason == REASON_CIRCUIT &&
	            e->reach == REACH_IN_CIRCUIT && f->reach == REACH_IN_CIRCUIT &&
	            strcmp(f->twin, l->position.name) == 0 && f->seq > e->seq;
	if (!both)
		return;
	struct verdict beside = *v;
	verdict_beside_twin(&beside, line[twin].position.name, f->twin_agrees, -f->twin_difference);
	say(l, e, &beside);
}

/* Each replaced line once, and again where it was changed since, until nothing changes. */
static void each_replaced(struct plan_line *line, int n,
                          bool (*act)(struct plan_line *line, int n, int i))
{
	bool more = true;
	for (int i = 0; i < n; i++)
		line[i].seen = false;
	while (more) {
		more = false;
		for (int i = 0; i < n; i++) {
			if (line[i].action != PLAN_REPLACE || line[i].seen)
				continue;
			line[i].seen = true;
			more = act(line, n, i) || more;
		}
	}
}

void plan_decide(struct plan_line *line, int n, const struct plan_policy *policy)
{
	for (int i = 0; i < n; i++)
		decide(&line[i], policy);
	for (int i = 0; i < n; i++)
		as_its_twin(line, n, i);
	each_replaced(line, n, spread);
	each_replaced(line, n, same_round);
}
