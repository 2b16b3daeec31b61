/* SPDX-License-Identifier: MIT */
/*
 * Which position is up, and when the next one is.
 *
 * The rule that keeps a value off the wrong part: a meter that has made an entry
 * is *spent* until its leads were open for `arm seconds`.  Moving two probes to
 * another part takes longer than that, so a touch before is the old part again
 * and makes nothing.  In `walk` the next position comes up at that same moment:
 * when every meter with an entry here is no longer spent.
 *
 * A *choice* is numbered: every choosing of a position, by the person or by the
 * walk, is a new one.  A meter makes one entry a choice; only choosing the
 * position again allows another.
 */
#include "daemon/bench_state.h"

#include <math.h>
#include <string.h>

int position_find(const struct bench *b, const char *name)
{
	for (int i = 0; i < b->positions; i++)
		if (strcmp(b->position[i].row.position.name, name) == 0)
			return i;
	return -1;
}

int position_of_meter(const struct bench *b, const struct bench_meter *m)
{
	return m->bound >= 0 ? m->bound : b->chosen;
}

/* What a kind is asked for first.  The table of all quantities by kind comes with
 * the work on quantities; this one has what a first sweep measures. */
enum quantity position_first_quantity(const struct position *p)
{
	return p->kind == KIND_RAIL || p->kind == KIND_VALVE ? QUANTITY_VOLTS : QUANTITY_VALUE;
}

enum quantity position_quantity(const struct bench *b, int place)
{
	if (place == b->chosen)
		return b->quantity;
	return position_first_quantity(&b->position[place].row.position);
}

/* What the meter must be set to; FUNCTION_NONE where more than one will do. */
enum function position_function(const struct position *p, enum quantity q)
{
	switch (q) {
	case QUANTITY_VALUE:
		return p->function != FUNCTION_NONE ? p->function : kind_function(p->kind);
	case QUANTITY_VOLTS:
		if (p->has_nominal && (p->function == FUNCTION_VOLT_AC || p->function == FUNCTION_VOLT_DC))
			return p->function;
		return FUNCTION_NONE;
	case QUANTITY_ESR:
	case QUANTITY_INSULATION:
		return FUNCTION_OHM;
	default:
		return FUNCTION_NONE;
	}
}

static bool entry_counts(const struct bench *b, const struct entry *e, int place,
                         enum quantity q)
{
	return !e->struck && e->quantity == q && e->condition == b->condition &&
	       strcmp(e->position, b->position[place].row.position.name) == 0;
}

bool walk_lacks(const struct bench *b, int place)
{
	enum quantity q = position_first_quantity(&b->position[place].row.position);
	for (int i = 0; i < b->mades; i++)
		if (entry_counts(b, &b->made[i].entry, place, q))
			return false;
	return true;
}

int walk_next(const struct bench *b, int from)
{
	for (int i = 1; i <= b->positions; i++) {
		int place = (from + i + b->positions) % b->positions;
		if (place != from && walk_lacks(b, place))
			return place;
	}
	return -1;
}

/* Tell every meter's settle what the sheet says of the position that it is for. */
void walk_expect(struct bench *b)
{
	for (int i = 0; i < b->meters; i++) {
		struct bench_meter *m = &b->meter[i];
		struct settle_expected expected = {FUNCTION_NONE, false, 0, -INFINITY, INFINITY};
		int place = position_of_meter(b, m);
		if (place >= 0) {
			const struct position *p = &b->position[place].row.position;
			enum quantity q = position_quantity(b, place);
			struct tolerance assumed;
			const struct tolerance *tolerance = &p->tolerance;
			struct limits limits;
			expected.function = position_function(p, q);
			expected.has_nominal = p->has_nominal && q == position_first_quantity(p);
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
	for (int i = 0; i < b->meters; i++)
		if (b->meter[i].spent && b->meter[i].spent_place == b->chosen)
			return true;
	return false;
}

/* A meter whose next touch would be taken for the old part. */
static bool anyone_spent(const struct bench *b)
{
	for (int i = 0; i < b->meters; i++)
		if (b->meter[i].spent && b->meter[i].bound < 0)
			return true;
	return false;
}

/* The name of the position that is up is said; from here on it may be touched. */
static void announce(struct bench *b)
{
	if (b->chosen < 0)
		return;
	const struct position *p = &b->position[b->chosen].row.position;
	char nominal[64] = "";
	if (p->has_nominal)
		quantity_shown(p->nominal, p->function, quantity_prefix(p->nominal, p->function), nominal,
		               sizeof nominal);
	bench_event(b, "up", "position", p->name, "quantity", quantity_name(b->quantity), "kind",
	            kind_name(p->kind), "nominal", nominal[0] ? nominal : NULL, "role",
	            p->role[0] ? p->role : NULL, "armed", anyone_spent(b) ? "no" : "yes", NULL);
}

void walk_choose(struct bench *b, int place, enum quantity q)
{
	if (place != b->chosen)
		b->before = b->chosen;
	b->chosen = place;
	b->quantity = q;
	b->choice++;
	b->position[place].choice = b->choice;
	b->announced_all = false;
	/* What waited for a word was about the position that was up before. */
	for (int i = 0; i < b->meters; i++)
		if (b->meter[i].bound < 0)
			b->meter[i].waits = false;
	walk_expect(b);
	announce(b);
}

static void advance(struct bench *b)
{
	int next = walk_next(b, b->chosen);
	if (next >= 0) {
		walk_choose(b, next, position_first_quantity(&b->position[next].row.position));
		return;
	}
	if (!b->announced_all)
		bench_event(b, "done", "text", "every position of the sheet has its entry", NULL);
	b->announced_all = true;
}

/* Has this choice brought what it was for? */
static bool choice_served(const struct bench *b)
{
	for (int i = b->mades - 1; i >= 0; i--)
		if (b->made[i].choice == b->choice && entry_counts(b, &b->made[i].entry, b->chosen, b->quantity))
			return true;
	return false;
}

static void maybe_advance(struct bench *b)
{
	if (b->walk && b->chosen >= 0 && choice_served(b) && !anyone_here(b))
		advance(b);
}

/* The moment at which a spent meter's leads will have been open for long enough. */
int64_t walk_deadline(const struct bench_meter *m)
{
	if (!m->spent || !m->lifted)
		return INT64_MAX;
	int64_t since = settle_open_since(&m->settle);
	/* A part taken by key while it reads open shows no lift: count from then. */
	if (since < m->spent_at)
		since = m->spent_at;
	return since + settle_arm(&m->settle);
}

void walk_on_meter(struct bench *b, struct bench_meter *m, int64_t t)
{
	if (walk_deadline(m) > t)
		return;
	m->spent = false;
	int before = b->choice;
	maybe_advance(b);
	/* Chosen while the old part was still touched: only now it may be touched. */
	if (b->choice == before && m->bound < 0 && b->chosen >= 0 && m->spent_place != b->chosen &&
	    !anyone_spent(b))
		announce(b);
}

void walk_made(struct bench *b, int64_t t)
{
	(void)t;
	maybe_advance(b);
}
