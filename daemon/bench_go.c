/* SPDX-License-Identifier: MIT */
/* The walk by the person's word: on, off, lift, new; skipping a position and coming back. */
#include "daemon/bench_guide.h"

#include <stdio.h>
#include <string.h>

/* ---- skip, and come back ---- */

/* Who still touches what was up touches it: that touch makes nothing any more.  (Not on
 * volts, where floating leads look like a touch.) */
static void leave_touched(struct bench *b)
{
	for (int i = 0; i < b->meters; i++) {
		struct bench_meter *m = &b->meter[i];
		bool volts = m->last.function == FUNCTION_VOLT_DC || m->last.function == FUNCTION_VOLT_AC;
		if (m->bound.place >= 0 || m->lifted || m->spent || volts || b->chosen < 0)
			continue;
		m->spent = m->passed = true;
		m->spent_place = b->chosen;
		m->spent_from = INT64_MIN;
	}
}

static void go_to(struct bench *b, int64_t t, int place)
{
	leave_touched(b);
	walk_choose(b, place, shows_next(b, place, FUNCTION_NONE));
	for (int i = 0; i < b->meters; i++) {
		walk_on_meter(b, &b->meter[i], t);
		bench_timers(&b->meter[i]);
	}
}

static bool need_sheet(const struct bench *b, struct fault *why)
{
	if (b->positions)
		return true;
	fault_set(why, "there is no sheet to go through yet: load one, choose a position (at POSITION), or "
	          "name each as it is touched (walk new)");
	return false;
}

/* In a walk of new positions the next is one more. */
static bool next_new(struct bench *b, int64_t t, struct fault *why)
{
	int place = place_new(b, t, NULL, why);
	if (place < 0)
		return false;
	bench_taped(b, t, "next", "%s", "");
	go_to(b, t, place);
	return true;
}

bool bench_next(struct bench *b, int64_t t, struct fault *why)
{
	bench_run_until(b, t);
	if (guide_waits_alone(b, why))
		return false;
	if (b->way.mode == WALK_NEW)
		return next_new(b, t, why);
	if (!need_sheet(b, why))
		return false;
	int from = b->chosen, next;
	if (b->way.mode == WALK_OFF)
		next = way_next_row(b, from);
	else
		next = walk_next(b, from);
	if (next < 0 || next == from) {
		fault_set(why, next < 0 ? "nothing is lacking any more: no position comes next"
		                        : "%s is the last one that lacks something",
		          next < 0 ? "" : b->position[next].row.position.name);
		return false;
	}
	if (b->way.mode != WALK_OFF && from >= 0)
		b->position[from].skipped = walk_wants(b, from);
	bench_taped(b, t, "next", "%s", "");
	go_to(b, t, next);
	return true;
}

bool bench_back(struct bench *b, int64_t t, struct fault *why)
{
	bench_run_until(b, t);
	if (guide_wants_hand(b)) /* one hand, one key: `take` is the run's, too */
		return bench_guide_back(b, t, NULL, (struct bench_wait){0}, why);
	if (!b->histories) {
		fault_set(why, "no position was up before this one");
		return false;
	}
	bench_taped(b, t, "back", "%s", "");
	int place = b->history[--b->histories];
	int kept = b->histories;
	b->position[place].skipped = false;
	go_to(b, t, place);
	b->histories = kept; /* further back comes what was before that */
	return true;
}

void way_remember(struct bench *b, int place)
{
	if (place < 0 || (b->histories && b->history[b->histories - 1] == place))
		return;
	if (b->histories == WALK_HISTORY) {
		memmove(b->history, b->history + 1, (WALK_HISTORY - 1) * sizeof *b->history);
		b->histories--;
	}
	b->history[b->histories++] = place;
}

void way_forget(struct bench *b)
{
	b->histories = 0;
	b->dial = FUNCTION_NONE;
	b->dial_left = -1;
	for (int i = 0; i < b->positions; i++)
		b->position[i].skipped = false;
}

/* ---- on, off, lift ---- */

/* Lifted values are what `lift` is for; afterwards parts are in circuit again.  The
 * wrong way round this costs a sure verdict, never gives a false one. */
static bool set_reach(struct bench *b, int64_t t, enum walk_mode mode, struct fault *why)
{
	if (mode == WALK_LIFT && b->reach == REACH_IN_CIRCUIT) {
		if (!bench_reach_set(b, t, REACH_LIFTED, why))
			return false;
		b->lift_reach = true;
	} else if (mode != WALK_LIFT && b->lift_reach) {
		if (b->reach == REACH_LIFTED && !bench_reach_set(b, t, REACH_IN_CIRCUIT, why))
			return false;
		b->lift_reach = false;
	}
	return true;
}

static bool any_lift(const struct bench *b)
{
	for (int i = 0; i < b->positions; i++)
		if (walk_needs_lift(b, i))
			return true;
	return false;
}

/* The act as a tape has it: on kind 2 */
void way_taped(struct bench *b, int64_t t, const struct bench_way *way)
{
	char order[16] = "", meters[16] = "";
	if (way->mode != WALK_OFF && way->order != WALK_SHEET)
		snprintf(order, sizeof order, " %s", walk_order_name(way->order));
	if (way->mode != WALK_OFF && way->meters > 1)
		snprintf(meters, sizeof meters, " %d", way->meters);
	bool new = way->mode == WALK_NEW && way->prefix[0];
	bench_taped(b, t, "walk", "%s%s%s%s%s", walk_mode_name(way->mode), new ? " " : "",
	            new ? way->prefix : "", order, meters);
}

/* What is up and waits for its entry stays up, if it has that prefix; else one is made. */
static bool begin_new(struct bench *b, int64_t t, const char *prefix, struct fault *why)
{
	bool fits = b->chosen >= 0 && walk_lacks(b, b->chosen) &&
	            strncmp(b->position[b->chosen].row.position.name, prefix, strlen(prefix)) == 0;
	if (prefix[0])
		snprintf(b->prefix, sizeof b->prefix, "%s", prefix);
	int place = fits ? b->chosen : place_new(b, t, prefix, why);
	if (place < 0) {
		b->way.mode = WALK_OFF;
		return false;
	}
	memcpy(b->way.prefix, b->prefix, sizeof b->way.prefix);
	if (!fits)
		go_to(b, t, place);
	return true;
}

bool bench_walk(struct bench *b, int64_t t, const struct bench_way *way, struct fault *why)
{
	bench_run_until(b, t);
	if (way->meters < 1 || way->meters > WALK_METERS_MAX) {
		fault_set(why, "a walk waits for 1 to %d meters at each position", WALK_METERS_MAX);
		return false;
	}
	if (way->mode == WALK_LIFT && !any_lift(b)) {
		fault_set(why, "nothing needs a leg up: there is no capacitor, and no in-circuit entry that "
		          "could not decide");
		return false;
	}
	if (way->mode == WALK_NEW && way->prefix[0] && !prefix_valid(way->prefix, why))
		return false;
	if (!set_reach(b, t, way->mode, why))
		return false;
	way_taped(b, t, way);
	bool began = way->mode != WALK_OFF;
	b->way = *way;
	desk_changed(b);
	b->announced_all = false;
	for (int i = 0; began && i < b->positions; i++)
		b->position[i].skipped = false;
	b->dial = FUNCTION_NONE;
	b->dial_left = -1;
	way_group(b);
	bench_event(b, "walk", "walk", walk_mode_name(way->mode), "order",
	            began ? walk_order_name(way->order) : NULL, NULL);
	if (!began)
		return true;
	if (way->mode == WALK_NEW)
		return begin_new(b, t, way->prefix, why);
	bool lift = way->mode == WALK_LIFT;
	if (b->chosen < 0 || (lift && !walk_wants(b, b->chosen)))
		walk_first(b);
	else if (lift) /* what was measured of it in circuit does not count here */
		walk_choose(b, b->chosen, position_first_quantity(&b->position[b->chosen].row.position));
	else
		walk_made(b); /* what is up may have its entry already */
	return true;
}
