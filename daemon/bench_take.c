/* SPDX-License-Identifier: MIT */
/*
 * `take`: the reading as it stands now, by key.  It is asked of the meter that waits
 * for a word, else of the one that touches, else of the one that reads what is asked
 * for: a part that reads open cannot be touched in any other way.
 */
#include "daemon/bench_guide.h"
#include "daemon/bench_inside.h"
#include "protocol/trade/frequency.h"

#include <math.h>
#include <stdio.h>

#define MODES (READING_HOLD | READING_RELATIVE | READING_MINMAX)

/* Of one meter that reads, and whose reading is of no use here: why. */
static bool unsuitable(const struct bench *b, const struct bench_meter *m, int64_t t,
                       struct fault *why)
{
	struct aim aim = walk_aim(b, m);
	struct fault said;
	if (!m->has_last || m->gone || m->bound.place >= 0 || aim.place < 0 || stale_old(&m->stale, t))
		return false;
	if (m->last.state & MODES)
		fault_set(why, "nothing to take: %s is in its mode %s: turn that off", m->config->name,
		          reading_state_word(m->last.state & MODES));
	else if (!capture_suits(b, m, aim, m->last.function, &said))
		fault_set(why, "nothing to take: %s", said.text);
	else
		return false;
	return true;
}

/* Why there is nothing: that a meter is stale, if one is. */
static void say_nothing(const struct bench *b, int64_t t, struct fault *why)
{
	char list[200] = "";
	size_t n = 0;
	for (int i = 0; i < b->meters && n < sizeof list; i++) {
		const struct bench_meter *m = &b->meter[i];
		if (m->has_last && !m->gone && stale_old(&m->stale, t))
			n += (size_t)snprintf(list + n, sizeof list - n, "%s%s (%.1f s)", n ? ", " : "",
			                      m->config->name, (double)(t - m->last.t) / 1e6);
	}
	int bound = -1;
	for (int i = 0; i < b->meters; i++)
		bound = b->meter[i].bound.place >= 0 ? i : bound;
	if (bound >= 0 && !list[0])
		fault_set(why, "nothing to take: no meter that is free has a fresh reading that suits the "
		          "position; %s is bound to %s: take it by its name (take --meter %s)",
		          b->meter[bound].config->name,
		          b->position[b->meter[bound].bound.place].row.position.name,
		          b->meter[bound].config->name);
	else if (list[0])
		fault_set(why, "nothing to take: no reading came for too long from %s: is it on?", list);
	else
		fault_set(why, "nothing to take: no meter has a fresh reading that suits the position");
	for (int i = 0; i < b->meters && bound < 0 && !list[0]; i++)
		if (unsuitable(b, &b->meter[i], t, why))
			return;
}

/* Which meter a `take` without a name means. */
static struct bench_meter *take_meter(struct bench *b, int64_t t, const char *name,
                                      struct fault *why)
{
	if (name) {
		int i = bench_meter_index(b, name);
		if (i < 0)
			fault_set(why, "there is no meter %s in the configuration", name);
		return i < 0 ? NULL : &b->meter[i];
	}
	struct bench_meter *found = NULL;
	struct settle_result r;
	struct fault ignored;
	/* First who waits for a word, then who touches, then who reads what is asked. */
	for (int pass = 0; pass < 3 && !found; pass++) {
		for (int i = 0; i < b->meters; i++) {
			struct bench_meter *m = &b->meter[i];
			if (m->bound.place >= 0)
				continue; /* held to a part that the hands are not at: by its name only */
			struct aim aim = walk_aim(b, m);
			bool good = aim.place >= 0 && settle_take(&m->settle, t, &r, &ignored) &&
			            capture_suits(b, m, aim, r.function, &ignored);
			if (pass == 0)
				good = m->held.waits;
			else if (pass == 1)
				good = good && settle_touching(&m->settle);
			if (!good)
				continue;
			if (found) {
				fault_set(why, "both %s and %s have a reading: say which one (--meter NAME)",
				          found->config->name, m->config->name);
				return NULL;
			}
			found = m;
		}
	}
	if (!found)
		say_nothing(b, t, why);
	return found;
}

/* What a take of this meter logs: what stands there now; else, where the hands have
 * left already or it moves again, what was held. */
static bool take_what(struct bench_meter *m, int64_t t, struct capture *c,
                      struct settle_result *r, struct fault *why)
{
	const struct held *h = &m->held;
	bool now = settle_take(&m->settle, t, r, why);
	c->frames = meter_frames(&m->machine);
	c->open = !settle_touching(&m->settle);
	if (h->waits && (!now || c->open || !r->settled || r->function != h->value.function)) {
		*r = h->value;
		c->frames = &h->frames;
		c->open = false;
		now = true;
	}
	return now;
}

/* While it is clipped on, or the unit is live, time alone can change the value: only what comes
 * so soon is the same press twice. */
#define TWICE_US INT64_C(5000000)
/* At rest it moves by 2 digits and its noise. */
#define TWICE_DIGITS 2

/* Is what would be taken the entry that this meter has made already, in the same touch (or with
 * leads that were open all the time), at this place and choice? */
static bool taken_before(const struct bench *b, const struct bench_meter *m, int64_t t,
                         const struct capture *c)
{
	const struct made *made = m->took >= 0 ? &b->made[m->took] : NULL;
	const struct settle_result *r = c->r;
	if (!made || made->entry.struck || made->choice < b->position[c->aim.place].choice)
		return false;
	const struct entry *e = &made->entry;
	bool changes = m->bound.place >= 0 || b->live || b->cooling;
	if (position_find(b, e->position) != c->aim.place || e->quantity != c->aim.quantity ||
	    e->condition != b->condition || e->reach != b->reach || e->function != r->function ||
	    e->has_value == r->overload || (changes && t - e->t > TWICE_US) ||
	    (c->frequency.n && decimal_double(c->frequency) != decimal_double(e->frequency)))
		return false;
	if (r->overload)
		return true;
	double digit = decimal_double((struct decimal){1, r->value.e > e->value.e ? r->value.e : e->value.e});
	return r->settled && e->settled && fabs(decimal_double(r->value) - decimal_double(e->value)) <=
	       TWICE_DIGITS * digit * (1 + 1e-9) + 2 * r->s;
}

static bool is_new(const struct bench *b, const struct bench_meter *m, int64_t t,
                   const struct capture *c, struct fault *why)
{
	const struct bench_guide *run = guide_of_meter(b, m);
	if ((run && run->taking) || !taken_before(b, m, t, c))
		return true; /* a step of a guided run says itself what it is for */
	const struct entry *e = &b->made[m->took].entry;
	if (e->seq)
		fault_set(why, "it has its entry %lld: `again` measures it again", (long long)e->seq);
	else
		fault_set(why, "it has its entry, which is on its way to the disk: `again` measures it again");
	return false;
}

/* What reads open (overload, on farad the residual of the leads) cannot be seen to be touched.  Where
 * one was taken, and the walk has only just brought up the next, or its name is still to be said,
 * the probes cannot be there yet: the key was meant for the part before, and pressed twice. */
static bool may_be_there(const struct bench *b, const struct bench_meter *m, int64_t t,
                         const struct capture *c, struct fault *why)
{
	const struct entry *last = m->took >= 0 ? &b->made[m->took].entry : NULL;
	bool opens = c->r->overload || c->r->function == FUNCTION_FARAD;
	if (!c->open || !opens || !last || m->spent_from == INT64_MIN || last->struck ||
	    m->bound.place >= 0 || b->came_up == INT64_MIN ||
	    (t - b->came_up >= settle_arm(&m->settle) && name_was_said(b)))
		return true;
	fault_set(why, "%s came up only just now: touch it, then take it",
	          b->position[c->aim.place].row.position.name);
	return false;
}

bool bench_take(struct bench *b, int64_t t, const char *meter, struct bench_wait w,
                struct fault *why)
{
	return bench_take_at(b, t, meter, NULL, w, why);
}

static bool frequency_good(const struct bench_meter *m, enum function f, const char *frequency,
                           struct fault *why)
{
	if (!frequency || frequency_suits(f))
		return true;
	fault_set(why, "%s reads %s, which has no frequency: turn it to volts or amps AC",
	          m->config->name, function_name(f));
	return false;
}

bool bench_take_at(struct bench *b, int64_t t, const char *meter, const char *frequency,
                   struct bench_wait w, struct fault *why)
{
	bench_run_until(b, t);
	if (!meter && guide_wants_hand(b)) /* one hand, one key */
		return bench_guide_go(b, t, NULL, w, why);
	struct settle_result r;
	struct decimal hertz = {0, 0};
	if (frequency && !frequency_parse(frequency, &hertz, why))
		return false;
	struct bench_meter *m = take_meter(b, t, meter, why);
	if (!m)
		return false;
	/* A reservoir that is discharged: what stands there now counts, not what stood there. */
	if (b->cooling && m->held.doubt)
		m->held.waits = false;
	struct capture c = {.aim = m->held.waits ? m->held.aim : walk_aim(b, m), .r = &r,
	                    .frequency = hertz};
	if (c.aim.place < 0) {
		fault_set(why, "no position is chosen: say which part this is (at POSITION)");
		return false;
	}
	if (!take_what(m, t, &c, &r, why) || !capture_suits(b, m, c.aim, r.function, why) ||
	    !frequency_good(m, r.function, frequency, why) || !is_new(b, m, t, &c, why) ||
	    !may_be_there(b, m, t, &c, why) || !capture_entry(b, m, t, &c, w, why))
		return false;
	if (frequency)
		bench_taped(b, t, "take", "%s %g", m->config->name, decimal_double(hertz));
	else
		bench_taped(b, t, "take", "%s", m->config->name);
	walk_on_meter(b, m, t);
	bench_timers(m);
	return true;
}

bool bench_take_seen(struct bench *b, int64_t t, const char *seen, const char *frequency,
                     struct bench_wait w, struct fault *why)
{
	bench_run_until(b, t);
	return bench_take_at(b, t, guide_wants_hand(b) ? NULL : seen, frequency, w, why);
}

bool bench_there(struct bench *b, int64_t t, struct bench_wait w, struct fault *why)
{
	bench_run_until(b, t);
	struct bench_meter *m = NULL;
	for (int i = 0; i < b->meters; i++) {
		const struct held *h = &b->meter[i].held;
		if (!h->waits || h->doubt)
			continue;
		if (m) {
			fault_set(why, "both %s and %s hold a value: choose the position of each (at POSITION)",
			          m->config->name, b->meter[i].config->name);
			return false;
		}
		m = &b->meter[i];
	}
	if (!m) {
		fault_set(why, "nothing is held that looks like another part");
		return false;
	}
	struct settle_result r = m->held.value;
	struct meter_frames frames = m->held.frames;
	struct capture c = {.aim = {m->held.looks, QUANTITY_VALUE}, .r = &r, .frames = &frames};
	c.aim.quantity = position_first_quantity(&b->position[c.aim.place].row.position);
	if (!capture_suits(b, m, c.aim, r.function, why) || !capture_entry(b, m, t, &c, w, why))
		return false;
	bench_taped(b, t, "there", "%s", "");
	walk_on_meter(b, m, t);
	bench_timers(m);
	return true;
}
