/* SPDX-License-Identifier: MIT */
/*
 * Which position is up, and when the next one is.
 *
 * The rule that keeps a value off the wrong part: a meter that has made an entry
 * is *spent* until its leads were open for `arm seconds`.  Moving two probes to
 * another part takes longer than that, so a touch before is the old part again
 * and makes nothing.  In `walk` the next position comes up at that same moment:
 * when every meter with an entry here is no longer spent.  While a meter's line is
 * away nothing is known of its leads: it stays spent, and holds nobody up; the first
 * reading after that tells whether it still touches.
 *
 * A *choice* is numbered: every choosing of a position, by the person or by the
 * walk, is a new one.  A meter makes one entry a choice; only choosing the
 * position again allows another.
 *
 * Where a client says names aloud (bench_speech.c) a touch that begins before the name
 * of what is up was said makes nothing either.
 *
 * What a reading is for (walk_aim): the position that its meter is bound to; else
 * the one that was up when this touch began, if only the walk went on since; else
 * the one that is chosen.
 */
#include "daemon/bench_inside.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

struct aim walk_aim(const struct bench *b, const struct bench_meter *m)
{
	if (m->bound.place >= 0)
		return m->bound;
	if (m->before.place >= 0)
		return m->before;
	return (struct aim){b->chosen, b->quantity};
}

/* Tell every meter's settle what the sheet says of the position that it is for. */
void walk_expect(struct bench *b)
{
	for (int i = 0; i < b->meters; i++) {
		struct bench_meter *m = &b->meter[i];
		struct settle_expected expected = {FUNCTION_NONE, false, 0, -INFINITY, INFINITY};
		struct aim aim = walk_aim(b, m);
		if (aim.place >= 0) {
			const struct position *p = position_now(b, aim.place);
			enum quantity q = aim.quantity;
			struct tolerance assumed;
			const struct tolerance *tolerance = &p->tolerance;
			struct limits limits;
			expected.function = position_function(p, q);
			expected.has_nominal = p->has_nominal && position_nominal_means(p, q);
			expected.nominal = expected.has_nominal ? decimal_double(p->nominal) : 0;
			if (tolerance->form == TOLERANCE_NONE &&
			    tolerance_default(p->kind, p->function, &assumed))
				tolerance = &assumed;
			if (expected.has_nominal && limits_from(tolerance, true, p->nominal, &limits)) {
				if (limits.has_low)
					expected.low = decimal_double(limits.low);
				if (limits.has_high)
					expected.high = decimal_double(limits.high);
			}
		}
		settle_expect(&m->settle, &expected);
	}
}

/* A meter that made an entry here and has not left yet. */
static bool anyone_here(const struct bench *b)
{
	for (int i = 0; i < b->meters; i++) {
		const struct bench_meter *m = &b->meter[i];
		if (m->spent && !m->gone && m->spent_place == b->chosen)
			return true;
	}
	return false;
}

bool walk_armed(const struct bench *b)
{
	for (int i = 0; i < b->meters; i++) {
		const struct bench_meter *m = &b->meter[i];
		if (m->spent && !m->gone && m->bound.place < 0 && !(m->unheard && m->spent_place < 0))
			return false;
	}
	return name_was_said(b);
}

/* The position that is up: from here on it may be touched, once its name was said. */
static void announce(struct bench *b)
{
	if (b->chosen < 0)
		return;
	const struct position *p = position_now(b, b->chosen);
	char nominal[64] = "", up[24], has[32] = "";
	if (p->has_nominal)
		quantity_shown(p->nominal, p->function, quantity_prefix(p->nominal, p->function), nominal,
		               sizeof nominal);
	snprintf(up, sizeof up, "%d", b->choice);
	if (b->way.mode != WALK_OFF && b->way.meters > 1)
		snprintf(has, sizeof has, "%d of %d", way_meters_have(b, b->chosen, b->quantity),
		         b->way.meters);
	bench_event(b, "up", "position", p->name, "quantity", quantity_name(b->quantity), "kind",
	            kind_name(p->kind), "nominal", nominal[0] ? nominal : NULL, "role",
	            p->role[0] ? p->role : NULL, "channel", p->channel[0] ? p->channel : NULL,
	            "meters", has[0] ? has : NULL, "armed", walk_armed(b) ? "yes" : "no", "up", up,
	            NULL);
}

void walk_announce(struct bench *b)
{
	announce(b);
}

static void choose(struct bench *b, int place, enum quantity q)
{
	b->swapped = false;
	if (place != b->chosen) {
		b->last = b->chosen;
		way_remember(b, b->chosen);
	}
	b->chosen = place;
	b->quantity = q;
	b->choice++;
	b->position[place].choice = b->choice;
	b->position[place].skipped = false;
	b->announced_all = false;
	b->came_up = INT64_MIN;
	b->chosen_seq = log_last_seq(b->log);
	desk_changed(b);
	walk_expect(b);
	name_to_say(b);
	announce(b);
}

void walk_choose(struct bench *b, int place, enum quantity q)
{
	/* What waited for a word was about the position that was up before. */
	for (int i = 0; i < b->meters; i++) {
		struct bench_meter *m = &b->meter[i];
		if (m->bound.place < 0)
			m->held.waits = false;
		m->before.place = -1;
	}
	choose(b, place, q);
}

/* Only the walk goes on: who still touches the part that was up touches it.  (Not on
 * volts, where floating leads look like a touch.) */
void walk_go(struct bench *b, int next)
{
	walk_go_for(b, next, shows_next(b, next, b->dial));
}

void walk_go_for(struct bench *b, int next, enum quantity q)
{
	for (int i = 0; i < b->meters; i++) {
		struct bench_meter *m = &b->meter[i];
		bool volts = m->last.function == FUNCTION_VOLT_DC || m->last.function == FUNCTION_VOLT_AC;
		if (!m->lifted && !m->spent && !volts && m->before.place < 0)
			m->before = (struct aim){b->chosen, b->quantity};
	}
	choose(b, next, q);
}

/* Where there is no schematic the next one is made. */
static void advance_new(struct bench *b)
{
	struct fault why;
	int next = place_new(b, b->now, NULL, &why);
	if (next >= 0)
		walk_go(b, next);
	else
		bench_event(b, "refused", "why", why.text, NULL);
}

static void say_done(struct bench *b)
{
	char text[240], missing[160];
	shows_missing_text(b, missing, sizeof missing);
	snprintf(text, sizeof text, "%s%s", b->way.mode == WALK_LIFT
	         ? "every position that needs a leg up has its value"
	         : "every position of the sheet has its entry", missing);
	bench_event(b, "done", "text", text, NULL);
}

static void advance(struct bench *b)
{
	if (b->cooling) {
		safe_lead(b);
		return;
	}
	if (b->way.mode == WALK_NEW) {
		advance_new(b);
		return;
	}
	/* The hands are there: what else a meter can read of this part as it is set comes first. */
	enum quantity also = shows_here(b, b->chosen);
	if (b->way.mode == WALK_ON && also != b->quantity && shows_lacks(b, b->chosen, also)) {
		walk_go_for(b, b->chosen, also);
		return;
	}
	int next = walk_next(b, b->chosen);
	if (b->way.mode == WALK_ON && next != b->chosen && !b->announced_all)
		shows_say_missing(b, b->chosen);
	if (next >= 0 && next != b->chosen) {
		walk_go(b, next);
		return;
	}
	if (!b->announced_all)
		say_done(b);
	b->announced_all = true;
}

void walk_lifted(struct bench *b, struct bench_meter *m)
{
	if (m->before.place < 0)
		return;
	m->before.place = -1;
	walk_expect(b);
}

void walk_first(struct bench *b)
{
	int first = walk_next(b, -1);
	if (first >= 0)
		walk_choose(b, first, shows_next(b, first, FUNCTION_NONE));
}

void walk_back(struct bench *b, const struct entry *e)
{
	int place = position_find(b, e->position);
	for (int i = 0; i < b->meters; i++)
		if (place < 0 || (b->meter[i].bound.place == place && place != b->chosen))
			return; /* the walk was never there */
	/* What was learnt from it is forgotten: it may be measured in anything again. */
	bool any = b->position[place].row.position.kind == KIND_OTHER;
	walk_choose(b, place, any && e->quantity == QUANTITY_VOLTS ? QUANTITY_VALUE : e->quantity);
}

/* Has this choice brought what it was for: an entry, and of enough meters? */
bool walk_served(const struct bench *b)
{
	const struct bench_position *p = &b->position[b->chosen];
	bool served = false;
	for (int i = p->newest; i >= 0 && !served; i = b->made[i].older) {
		const struct entry *e = &b->made[i].entry;
		served = b->made[i].choice >= p->choice && !e->struck && e->quantity == b->quantity &&
		         e->condition == b->condition &&
		         (b->way.mode != WALK_LIFT || e->reach != REACH_IN_CIRCUIT);
	}
	if (served && b->way.meters > 1)
		served = way_meters_have(b, b->chosen, b->quantity) >= b->way.meters;
	return served;
}

static void maybe_advance(struct bench *b)
{
	bool goes = b->way.mode != WALK_OFF || b->cooling;
	if (!goes || b->chosen < 0 || !walk_served(b) || anyone_here(b))
		return;
	int before = b->choice;
	advance(b);
	if (b->choice != before)
		b->came_up = b->now;
}

/* One meter has measured it and left, and another is to follow. */
static void ask_for_other(struct bench *b, const struct bench_meter *m)
{
	char has[32];
	if (b->way.mode == WALK_OFF || b->way.meters < 2 || b->chosen < 0 ||
	    m->spent_place != b->chosen || m->bound.place >= 0 || anyone_here(b))
		return;
	int have = way_meters_have(b, b->chosen, b->quantity);
	if (!have || have >= b->way.meters)
		return;
	snprintf(has, sizeof has, "%d of %d", have, b->way.meters);
	bench_event(b, "other", "position", b->position[b->chosen].row.position.name, "meters", has,
	            "text", "now the other meter, on the same part", NULL);
}

/* The moment at which a spent meter's leads will have been open for long enough. */
int64_t walk_deadline(const struct bench_meter *m)
{
	if (!m->spent || !m->lifted || m->unheard)
		return INT64_MAX;
	int64_t since = settle_open_since(&m->settle);
	if (since < m->spent_from)
		since = m->spent_from;
	/* Whole periods: a slip of just under a second shows as so many open readings. */
	return since + settle_arm(&m->settle);
}

void walk_on_meter(struct bench *b, struct bench_meter *m, int64_t t)
{
	if (walk_deadline(m) > t)
		return;
	m->spent = false;
	int before = b->choice;
	maybe_advance(b);
	if (b->choice == before)
		ask_for_other(b, m);
	/* Chosen while the old part was still touched: only now it may be touched. */
	if (b->choice == before && m->bound.place < 0 && b->chosen >= 0 &&
	    m->spent_place != b->chosen && walk_armed(b))
		announce(b);
}

void walk_made(struct bench *b)
{
	maybe_advance(b);
}
