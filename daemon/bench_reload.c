/* SPDX-License-Identifier: MIT */
/*
 * Another configuration while the bench works.
 *
 * Meters whose section is the same keep everything: the frame that is half in, the run, the
 * touch.  One of which only the judging changed (accuracy, limits of use) keeps its line and
 * begins a new run.  Any other one is away, as if it had been unplugged, and begins anew; the
 * gap between stands in the log.  What is bound to a position stays bound.
 */
#include "daemon/bench_guide.h"
#include "daemon/bench_inside.h"
#include "daemon/config_compare.h"

#include <stdlib.h>
#include <string.h>

/* Nothing points to the old place of a meter any more. */
static void settle_in(struct bench *b, int at, const struct config_meter *config)
{
	struct bench_meter *m = &b->meter[at];
	m->index = at;
	m->config = config;
	m->machine.hooks.arg = m;
	m->trail.use = &config->use;
	meter_dialect(&m->machine, config->dialect);
}

static int place_of(const struct config *c, const char *name)
{
	for (int i = 0; i < c->meters; i++)
		if (strcmp(c->meter[i].name, name) == 0)
			return i;
	return -1;
}

static enum config_change change_of(const struct bench *b, int meter, const struct config *now)
{
	int to = place_of(now, b->meter[meter].config->name);
	return to < 0 ? CONFIG_OTHER : config_meter_change(b->meter[meter].config, &now->meter[to]);
}

bool bench_may_reload(const struct bench *b, const struct config *now, struct fault *why)
{
	for (int i = 0; i < b->meters; i++) {
		const struct bench_guide *gd = guide_of_meter(b, &b->meter[i]);
		if (!gd || change_of(b, i, now) != CONFIG_OTHER)
			continue;
		/* It watches volts, perhaps; it is not taken away behind somebody's back. */
		fault_set(why, "meter %s watches in the guided run of %s and cannot change now: end that "
		          "first (tally leave); nothing was changed", b->meter[i].config->name,
		          gd->of[0] ? gd->of : guide_name(gd->kind));
		return false;
	}
	return true;
}

/* Guided runs name their meters by index. */
static void guides_moved(struct bench *b, const struct config *now)
{
	for (int i = 0; i < BENCH_GUIDES_MAX; i++)
		for (int k = 0; k < GUIDE_ROLES; k++) {
			int *meter = &b->guide[i].meter[k];
			if (b->guide[i].open && *meter >= 0)
				*meter = place_of(now, b->meter[*meter].config->name);
		}
}

/* What is on its way to the disk names meters by their index. */
static void pending_moved(struct bench *b, const struct config *now)
{
	for (int i = b->heard; i < b->pendings; i++)
		if (b->pending[i].meter >= 0)
			b->pending[i].meter = place_of(now, b->meter[b->pending[i].meter].config->name);
}

/* Before it goes: everything of the old section is sealed. */
static void take_leave(struct bench *b, struct bench_meter *m, int64_t t, bool for_good)
{
	errand_drop(b, m, for_good ? "this meter is in the configuration no more"
	                           : "this meter has another configuration now");
	bench_away(b, m, t, for_good ? "not in the configuration any more" : "another configuration");
	bench_seal_spoilt(b, m);
}

/* The meter at its new place; `was`: its section before, NULL for one that is new. */
static void take_up(struct bench *b, int at, const struct config_meter *was, bool limits)
{
	struct bench_meter *m = &b->meter[at];
	const struct config_meter *config = &b->config->meter[at];
	enum config_change change = was ? config_meter_change(was, config) : CONFIG_OTHER;
	if (!was || change == CONFIG_OTHER) {
		bench_meter_begin(b, at, was != NULL);
		return;
	}
	settle_in(b, at, config);
	if (limits) {
		/* The touch that was going on is spent, or it is looked at anew. */
		settle_init(&m->settle, &b->config->limits, m->machine.config.conversion);
		m->lifted = true;
	}
	if (change == CONFIG_JUDGED)
		bench_meter_said(b, m);
	bench_timers(m);
}

bool bench_reload(struct bench *b, int64_t t, const struct config *now, struct fault *why)
{
	const struct config *was = b->config;
	struct bench_meter *room = calloc((size_t)now->meters + 1, sizeof *room);
	if (!room) {
		fault_set(why, "out of memory; nothing was changed");
		return false;
	}
	bench_run_until(b, t);
	for (int i = 0; i < b->meters; i++) {
		struct bench_meter *m = &b->meter[i];
		enum config_change change = change_of(b, i, now);
		if (change == CONFIG_JUDGED)
			bench_end_run(b, m);
		else if (change == CONFIG_OTHER)
			take_leave(b, m, t, place_of(now, m->config->name) < 0);
	}
	pending_moved(b, now);
	guides_moved(b, now);
	struct bench_meter *before = b->meter;
	b->meter = room;
	b->meters = now->meters;
	b->config = now;
	for (int i = 0; i < now->meters; i++) {
		int from = place_of(was, now->meter[i].name);
		if (from >= 0)
			room[i] = before[from];
		take_up(b, i, from >= 0 ? &was->meter[from] : NULL, config_limits_differ(was, now));
	}
	free(before);
	walk_expect(b);
	bench_event(b, "reloaded", NULL);
	return true;
}
