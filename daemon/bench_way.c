/* SPDX-License-Identifier: MIT */
/*
 * The order of the walk: what it visits, which position comes after which, skipping
 * and coming back.
 *
 *     order     sheet     as the rows stand
 *               kind      resistors, then capacitors, windings, rectifiers ... in the
 *                         order of protocol/trade/position.h: few turns of the dial
 *               channel   one channel after the other, as they first come in the sheet
 *
 *     mode      on        what lacks its first quantity in this condition
 *               lift      what needs a leg up and was not measured so:
 *                         - capacitance and inductance: in circuit nothing is ever sure;
 *                         - resistance and diodes whose in-circuit entry is not
 *                           conclusive (unsure, or outside and low), unless it agrees
 *                           with its twin at the same reach: both channels have the
 *                           same paths, and agreement is nothing against it;
 *                         never what is measured in volts or amps, and nothing of which
 *                         there is no entry yet (the sweep comes first).
 *              new       a position that is not there yet: it is named as the probes
 *                        leave the one before (bench_new.c); no dial leads elsewhere.
 *
 * In the first two: positions for which the dial was turned come before all others, and what was
 * skipped comes after all others, in the same order, once the rest is done.
 *
 * With `meters` above 1 a position is done when so many meters have an entry there at
 * the reach that is chosen.
 */
#include "daemon/bench_inside.h"
#include "protocol/trade/crosscheck.h"

#include <math.h>
#include <string.h>

static const char *const mode_names[] = {"off", "on", "lift", "new"};
static const char *const order_names[] = {"sheet", "kind", "channel"};

const char *walk_mode_name(enum walk_mode m)
{
	return mode_names[m];
}

const char *walk_order_name(enum walk_order o)
{
	return order_names[o];
}

static int index_of(const char *name, const char *const *names, int count)
{
	for (int i = 0; i < count; i++)
		if (strcmp(name, names[i]) == 0)
			return i;
	return -1;
}

bool walk_mode_from_name(const char *name, enum walk_mode *out)
{
	int i = index_of(name, mode_names, 4);
	*out = i < 0 ? WALK_OFF : (enum walk_mode)i;
	return i >= 0;
}

bool walk_order_from_name(const char *name, enum walk_order *out)
{
	int i = index_of(name, order_names, 3);
	*out = i < 0 ? WALK_SHEET : (enum walk_order)i;
	return i >= 0;
}

/* ---- groups ---- */

/* Kinds that are measured alike are one group. */
static int kind_group(enum kind k)
{
	switch (k) {
	case KIND_CARBON_COMPOSITION:
	case KIND_CARBON_FILM:
	case KIND_METAL_FILM:
	case KIND_WIREWOUND:
	case KIND_POT:
		return KIND_RESISTOR;
	case KIND_PAPER:
	case KIND_FILM:
	case KIND_CERAMIC:
	case KIND_MICA:
	case KIND_CAPACITOR:
		return KIND_ELECTROLYTIC;
	default:
		return (int)k;
	}
}

/* Channels are few: the place of the first of each is its group. */
#define CHANNELS_MAX 64

void way_group(struct bench *b)
{
	int first[CHANNELS_MAX], channels = 0;
	for (int i = 0; i < b->positions; i++) {
		const struct position *p = &b->position[i].row.position;
		int group = 0;
		if (b->way.order == WALK_KIND) {
			group = kind_group(p->kind);
		} else if (b->way.order == WALK_CHANNEL) {
			while (group < channels &&
			       strcmp(b->position[first[group]].row.position.channel, p->channel) != 0)
				group++;
			/* The last group takes those of all channels beyond. */
			if (group == channels && channels < CHANNELS_MAX)
				first[channels++] = i;
		}
		b->position[i].group = group;
	}
}

/* ---- what there is already ---- */

static bool counts(const struct bench *b, const struct entry *e, enum quantity q)
{
	return !e->struck && entry_shows(e, q) && e->condition == b->condition;
}

static bool not_circuit(const struct entry *e)
{
	return e->reach != REACH_IN_CIRCUIT;
}

/* How many different meters have an entry at this place and quantity that counts; at
 * one reach where more than one is wanted, for others would not be compared. */
int way_meters_have(const struct bench *b, int place, enum quantity q)
{
	const char *name[WALK_METERS_MAX];
	int have = 0;
	for (int i = b->position[place].newest; i >= 0 && have < WALK_METERS_MAX;
	     i = b->made[i].older) {
		const struct entry *e = &b->made[i].entry;
		bool again = false;
		if (!counts(b, e, q) || (b->way.meters > 1 && e->reach != b->reach))
			continue;
		for (int k = 0; k < have; k++)
			again = again || strcmp(name[k], e->meter) == 0;
		if (!again)
			name[have++] = e->meter;
	}
	return have;
}

bool walk_lacks(const struct bench *b, int place)
{
	enum quantity asked[PART_SHOWS_MAX];
	int count = shows_asked(b, place, asked);
	/* A reference lies on the bench for the meters' sake, and is no part of the unit. */
	if (b->position[place].row.position.kind == KIND_REFERENCE)
		return false;
	for (int i = 0; i < count; i++)
		if (shows_lacks(b, place, asked[i]))
			return true;
	return false;
}

/* ---- what needs a leg up ---- */

static const struct entry *newest_in_circuit(const struct bench *b, int place, enum quantity q)
{
	for (int i = b->position[place].newest; i >= 0; i = b->made[i].older)
		if (counts(b, &b->made[i].entry, q) && !not_circuit(&b->made[i].entry))
			return &b->made[i].entry;
	return NULL;
}

/* How far apart two of this tolerance may lie, as a share of their mean. */
static double twins_allowed(const struct position *p)
{
	struct limits l;
	if (!position_limits(p, &l) || !l.has_low || !l.has_high)
		return 0;
	double low = decimal_double(l.low), high = decimal_double(l.high);
	double mean = (fabs(low) + fabs(high)) / 2;
	return mean > 0 ? (high - low) / mean : 0;
}

bool way_twin(const struct bench *b, int place, const struct entry *e, struct twins *out)
{
	const struct position *p = &b->position[place].row.position;
	int other = p->twin[0] ? position_find(b, p->twin) : -1;
	if (other < 0 || other == place)
		return false;
	const struct position *q = &b->position[other].row.position;
	const struct entry *f = newest_in_circuit(b, other, e->quantity);
	struct fault ignored;
	if (!f || !p->has_nominal || !q->has_nominal || decimal_compare(p->nominal, q->nominal) != 0)
		return false;
	return twins_compare(e, f, twins_allowed(p), out, &ignored);
}

static bool twin_agrees(const struct bench *b, int place, const struct entry *e)
{
	struct twins twins;
	return way_twin(b, place, e, &twins) && twins.agree;
}

bool walk_needs_lift(const struct bench *b, int place)
{
	const struct position *p = &b->position[place].row.position;
	enum quantity q = position_first_quantity(p);
	enum function f = position_function(p, q);
	if (f == FUNCTION_FARAD || f == FUNCTION_HENRY)
		return true;
	if (f != FUNCTION_OHM && f != FUNCTION_DIODE)
		return false;
	const struct entry *e = newest_in_circuit(b, place, q);
	if (!e)
		return false;
	bool open = e->verdict.word == VERDICT_UNSURE ||
	            (e->verdict.word == VERDICT_OUTSIDE && e->verdict.side == SIDE_LOW);
	return open && !twin_agrees(b, place, e);
}

/* Is it to be visited by the walk that goes on (or by one, where none does)? */
bool walk_wants(const struct bench *b, int place)
{
	if (b->way.mode != WALK_LIFT)
		return walk_lacks(b, place);
	if (!walk_needs_lift(b, place))
		return false;
	enum quantity q = position_first_quantity(&b->position[place].row.position);
	if (b->way.meters > 1 && b->reach != REACH_IN_CIRCUIT)
		return walk_lacks(b, place);
	for (int i = b->position[place].newest; i >= 0; i = b->made[i].older)
		if (counts(b, &b->made[i].entry, q) && not_circuit(&b->made[i].entry))
			return false;
	return true;
}

/* ---- which is next ---- */

static bool for_dial(const struct bench *b, int place)
{
	const struct position *p = &b->position[place].row.position;
	return b->dial == FUNCTION_NONE || position_takes(p, shows_next(b, place, b->dial), b->dial);
}

/* In the order of the walk: is x before y? */
static bool comes_before(const struct bench *b, int x, int y)
{
	int g = b->position[x].group, h = b->position[y].group;
	return g != h ? g < h : x < y;
}

/* The first after `from` that passes, else the first of all, but never `from`. */
static int next_of(const struct bench *b, int from, bool dial, bool skipped, bool any)
{
	int after = -1, first = -1;
	for (int i = 0; i < b->positions; i++) {
		if (i == from || (!any && (b->position[i].skipped != skipped ||
		                           (dial && !for_dial(b, i)) || !walk_wants(b, i))))
			continue;
		if (first < 0 || comes_before(b, i, first))
			first = i;
		if (from >= 0 && comes_before(b, from, i) && (after < 0 || comes_before(b, i, after)))
			after = i;
	}
	return after >= 0 ? after : first;
}

int way_next_row(const struct bench *b, int from)
{
	return next_of(b, from, false, false, true);
}

static bool waits(const struct bench *b, int place)
{
	return place >= 0 && walk_wants(b, place);
}

int walk_next(const struct bench *b, int from)
{
	for (int skipped = 0; skipped < 2; skipped++)
		for (int dial = b->dial != FUNCTION_NONE; dial >= 0; dial--) {
			/* Nothing more for the dial: back to where it was turned. */
			if (!dial && b->dial != FUNCTION_NONE && waits(b, b->dial_left) &&
			    b->dial_left != from && b->position[b->dial_left].skipped == skipped)
				return b->dial_left;
			int next = next_of(b, from, dial, skipped, false);
			if (next >= 0)
				return next;
		}
	/* What is up comes again only where there is nothing else. */
	return from >= 0 && walk_wants(b, from) ? from : -1;
}

/* ---- the dial ---- */

/* Turning through the functions in between takes less than this. */
#define DIAL_REST_US INT64_C(1000000)

/* Volts and amps lead to a live unit: to those nobody is led by a dial. */
static bool dial_leads(enum function f)
{
	return f == FUNCTION_OHM || f == FUNCTION_FARAD || f == FUNCTION_HENRY ||
	       f == FUNCTION_DIODE;
}

/* Somebody else follows the walk and reads what is up, or has just measured it. */
static bool others_serve(const struct bench *b, const struct bench_meter *m, const struct position *p)
{
	for (int i = 0; i < b->meters; i++) {
		const struct bench_meter *o = &b->meter[i];
		if (o == m || o->gone || o->bound.place >= 0 || !o->has_last ||
		    b->now - o->last.t > INT64_C(5000000))
			continue;
		if (position_takes(p, b->quantity, o->last.function))
			return true;
	}
	return false;
}

void way_dial(struct bench *b, struct bench_meter *m, const struct reading *r)
{
	if (m->has_last && r->function != m->last.function)
		m->turned_at = r->t;
	if (m->turned_at < 0 || r->t - m->turned_at < DIAL_REST_US)
		return;
	m->turned_at = -1;
	if (b->way.mode == WALK_OFF || b->way.mode == WALK_NEW || m->bound.place >= 0 ||
	    b->cooling || !dial_leads(r->function))
		return;
	b->dial = r->function;
	if (b->chosen < 0)
		return;
	const struct position *p = &b->position[b->chosen].row.position;
	if (position_takes(p, b->quantity, r->function) || others_serve(b, m, p))
		return;
	int left = b->dial_left, next = walk_next(b, b->chosen);
	if (waits(b, left) && left != b->chosen && for_dial(b, left) && !b->position[left].skipped)
		next = left;
	if (next < 0 || next == b->chosen || !for_dial(b, next))
		return;
	b->dial_left = waits(b, b->chosen) ? b->chosen : -1;
	walk_go(b, next);
}
