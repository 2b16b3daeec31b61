/* SPDX-License-Identifier: MIT */
/*
 * What settling makes of a trace, against the truth beside it; see touches.h.
 *
 * The walk is the bench's in short: a meter that made an entry is spent until its leads were open
 * for settle_arm(); then the next position is up.  Where an entry did not come the person goes on
 * to the next position by hand before the next touch.
 */
#include "daemon/settle_law.h"
#include "daemon/settle_parts.h"
#include "tests/touches.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

/* Less is creep, as far as four readings can tell (daemon/SETTLE.md). */
static const double shallow_digits = 25;

struct walker {
	const struct trace *x;
	struct settle settle;
	struct touch_score *score;
	int *of_ordinal; /* conversion of each reading that was fed */
	int fed;
	int up;          /* position */
	bool spent;
	int spent_at;    /* the position that its entry was made at */
	int entries[TOUCHES_MOST]; /* of each touch */
	bool faulty[TOUCHES_MOST];
	double at[TOUCHES_MOST];   /* s, of its entry */
	bool doubt[TOUCHES_MOST];
	int say;
};

int touch_score_false(const struct touch_score *s)
{
	return s->doubled + s->wrong + s->open + s->moving + s->out;
}

static void say_state(const struct walker *w, unsigned events)
{
	const struct settle_expected *e = &w->settle.expected;
	uint64_t first;
	bool asked = settle_touching(&w->settle) && !w->settle.settled;
	struct settle_judgement j;
	settle_law_judge(&w->settle.law, &w->settle.limits, &j);
	printf("    events %x up %d spent %d lacks %s off %.3f n %d noise %.2f known %.2f slow %d tail %.3f "
	       "nominal %g low %g high %g\n",
	       events, w->up, w->spent,
	       asked ? settle_lack_word(settle_lacks(&w->settle, &first)) : "-", j.off, j.n, j.noise,
	       j.known, j.slow, j.tail_chance, e->nominal, e->low, e->high);
}

static void expect(struct walker *w)
{
	const struct trace *x = w->x;
	struct settle_expected e = {.function = x->m.function, .low = -INFINITY, .high = INFINITY};
	for (int i = 0; i < x->touches; i++) {
		const struct touch *u = &x->touch[i];
		if (u->position != w->up)
			continue;
		e.has_nominal = u->has_nominal;
		e.nominal = u->has_nominal ? u->nominal : 0;
		if (u->has_nominal) {
			double half = fabs(u->nominal) * u->tolerance + (u->doubt_is_good ? 0.1 : 0);
			e.low = u->nominal - half;
			e.high = u->nominal + half;
		}
		break;
	}
	settle_expect(&w->settle, &e);
}

/* The touch whose contact was there a moment before `t` (frames come late), -1: none. */
static int touch_at(const struct trace *x, double t)
{
	double late = 2.2 / x->m.rate + 0.05 + x->m.jitter + 2 * x->m.bunch;
	for (int i = x->touches - 1; i >= 0; i--)
		if (t >= x->touch[i].from)
			return t <= x->touch[i].to + late ? i : -1;
	return -1;
}

static void fault(struct walker *w, const char *what, int i, double t,
                  const struct settle_result *r)
{
	const struct trace *x = w->x;
	if (!w->say)
		return;
	printf("%s seed %llu touch %d: %s at %.3f s", touch_kind_name[x->kind],
	       (unsigned long long)x->seed, i, what, t);
	if (i >= 0) {
		const struct touch *u = &x->touch[i];
		printf("; contact %.3f to %.3f, settled %.3f, due %.3f, rest %.7g digit %.1g sigma %.2f%s%s",
		       u->from, u->to, u->settled, u->due, u->rest, u->digit, u->sigma,
		       u->correlated ? " correlated" : "", u->slow ? " slow" : "");
		if (r)
			printf("; value %.7g, %.2f digits off, n %d", decimal_double(r->value),
			       (decimal_double(r->value) - u->rest) / u->digit, r->n);
	}
	printf("; %.0f counts %.2f/s frames %d/%d average %d lag %.2f ranging %d loses %d waits %d "
	       "open %d\n",
	       x->m.counts, x->m.rate, x->m.frames, x->m.told, x->m.average, x->m.lag, x->m.ranging,
	       x->m.range_loses, x->m.range_waits, (int)x->m.open);
}

/* Is the value one of the stretch that it names, and may the trace be called settled there? */
static int *judge(struct walker *w, int i, double t, const struct settle_result *r)
{
	const struct trace *x = w->x;
	const struct touch *u = &x->touch[i];
	double bound = (1.25 + (u->correlated ? 3.3 : 2.2) * u->sigma) * u->digit;
	double value = decimal_double(r->value), low = u->rest, high = u->rest;
	int last = r->to < (uint64_t)w->fed ? w->of_ordinal[r->to] : -1;
	if (u->creeps && last >= 0) {
		int first = w->of_ordinal[r->from];
		low = INFINITY;
		high = -INFINITY;
		for (int k = first; k <= last; k++) {
			double y = x->conversion[k].ideal;
			low = y < low ? y : low;
			high = y > high ? y : high;
		}
		double span = 0.4 * x->m.rate > 1 ? 0.4 * x->m.rate : 1;
		int before = last - (int)ceil(span);
		if (before >= 0 &&
		    fabs(x->conversion[last].ideal - x->conversion[before].ideal) > 3.3 * u->digit)
			return &w->score->moving;
	}
	if (value >= low - bound && value <= high + bound)
		return NULL;
	return t < u->settled ? &w->score->moving : &w->score->out;
}

static void settled(struct walker *w, double t)
{
	const struct trace *x = w->x;
	const struct settle_result *r = settle_result(&w->settle);
	if (w->spent)
		return; /* the old part again */
	int i = touch_at(x, t);
	w->spent = true;
	w->spent_at = w->up;
	if (i < 0) {
		w->score->open++;
		fault(w, "OPEN", i, t, r);
		return;
	}
	const struct touch *u = &x->touch[i];
	if (w->entries[i]++) {
		w->score->doubled++;
		fault(w, "DOUBLED", i, t, r);
		return;
	}
	if (u->none) {
		int *what = u->from == 0 ? &w->score->open
		            : touch_kind_class[x->kind] == CLASS_NEVER ? &w->score->moving : &w->score->wrong;
		++*what;
		w->faulty[i] = true;
		fault(w, "FROM NOTHING", i, t, r);
		return;
	}
	if (w->up != u->position) {
		w->score->wrong++;
		w->faulty[i] = true;
		fault(w, "WRONG PLACE", i, t, r);
		return;
	}
	int *what = judge(w, i, t, r);
	if (what) {
		++*what;
		w->score->shallow += u->slow && u->began < shallow_digits;
		w->faulty[i] = true;
		fault(w, what == &w->score->moving ? "MOVING" : "OUT OF BOUNDS", i, t, r);
	}
	w->at[i] = t;
}

static void look(struct walker *w, unsigned events, double t)
{
	if (events & SETTLE_SETTLED)
		settled(w, t);
	if (events & SETTLE_DOUBT) {
		int i = touch_at(w->x, t);
		if (i >= 0)
			w->doubt[i] = true;
	}
	if (w->spent && !settle_touching(&w->settle) &&
	    (int64_t)(t * 1e6) >= settle_open_since(&w->settle) + settle_arm(&w->settle)) {
		w->spent = false;
		if (w->spent_at == w->up && w->up + 1 < w->x->positions)
			w->up++;
		expect(w);
	}
}

static void until(struct walker *w, int64_t t)
{
	for (int64_t d; (d = settle_deadline(&w->settle)) <= t;)
		look(w, settle_tick(&w->settle, d), (double)d / 1e6);
	look(w, 0, (double)t / 1e6);
}

static void sum_up(struct walker *w)
{
	const struct trace *x = w->x;
	for (int i = 0; i < x->touches; i++) {
		const struct touch *u = &x->touch[i];
		if (u->none) {
			w->score->touches++;
			w->score->right += !w->entries[i];
			continue;
		}
		/* Nobody could tell; what creeps along a law that can be seen may be moving. */
		if (!w->entries[i] && (isinf(u->due) || (u->creeps && x->kind != KIND_CREEP)))
			continue;
		w->score->touches++;
		if (w->faulty[i])
			continue;
		if (!w->entries[i]) {
			if (u->doubt_is_good) { /* `take` is there */
				w->score->right++;
				continue;
			}
			w->score->missed++;
			fault(w, "MISSED", i, u->due, NULL);
			continue;
		}
		if (touch_kind_class[x->kind] != CLASS_CREEP && w->at[i] > u->due + 1e-3) {
			w->score->late++;
			w->score->late_conversions += (w->at[i] - u->due) * x->m.rate;
			fault(w, "LATE", i, w->at[i], NULL);
			continue;
		}
		w->score->right++;
	}
}

void touches_score(const struct trace *x, const struct settle_limits *limits,
                   struct touch_score *s, int say)
{
	struct walker w = {.x = x, .score = s, .say = say};
	w.of_ordinal = malloc(((size_t)x->shows + 1) * sizeof *w.of_ordinal);
	if (!w.of_ordinal)
		abort();
	settle_init(&w.settle, limits, x->m.told);
	expect(&w);
	int touched = 0;
	for (int k = 0; k < x->shows; k++) {
		const struct shown *one = &x->shown[k];
		double t = (double)one->t / 1e6;
		/* The person goes on where nothing came. */
		while (touched < x->touches && x->touch[touched].from <= t) {
			const struct touch *u = &x->touch[touched++];
			if (w.up != u->position && !u->none) {
				w.up = u->position;
				expect(&w);
			}
		}
		until(&w, one->t);
		if (say > 1)
			printf("%.3f %s%s%.8g  [%.8g] touch %d\n", t, one->garbled ? "garbled " : "",
			       one->r.has_value ? "" : "overload ",
			       one->r.has_value ? decimal_double(one->r.value) : 0,
			       x->conversion[one->conversion].ideal, x->conversion[one->conversion].touch);
		if (one->garbled)
			continue;
		w.of_ordinal[w.fed++] = one->conversion;
		unsigned events = settle_reading(&w.settle, &one->r);
		if (say > 1)
			say_state(&w, events);
		look(&w, events, t);
	}
	until(&w, x->shows ? x->shown[x->shows - 1].t + 20000000 : 0);
	sum_up(&w);
	free(w.of_ordinal);
}
