/* SPDX-License-Identifier: MIT */
/*
 * What settling made of a made-up trace (tests/traces.h), against the truth: used by
 * the long scorer and by the quick test.
 *
 * The bench's rule 5 is stood in for: a touch that comes before the leads were open
 * for settle_arm() is the old part again and makes no second entry.
 */
#ifndef TALLY_TESTS_TRACES_SCORE_H
#define TALLY_TESTS_TRACES_SCORE_H

#include "daemon/settle_law.h"
#include "daemon/settle_parts.h"
#include "tests/traces.h"

#include <stdio.h>

struct score {
	int touches, right, missed, doubled, place, open, moving, bounds, late;
	double *delay; /* where not NULL: entry less due, s; room for every touch */
	int delays;
	long readings;
	double seconds;
};

/* One meter. */
struct judge_line {
	const struct trace *tr;
	struct settle s;
	int entries[TRACE_TOUCHES];
	bool wrong[TRACE_TOUCHES];
	int64_t open_from; /* of the last lift */
	bool entry_here;   /* this touch, or the one before a slip, has its entry */
	bool entry_up;     /* the position that is up has its entry of this meter */
	int at, next;      /* reading; touch that is expected next */
};

struct judge {
	const struct trace *tr;
	struct judge_line line[2];
	int lines;
	int up;       /* the position that is up, counted as the touches are */
	struct settle_limits limits;
	bool verbose;
	bool explain; /* show every reading of the touches that went wrong */
	int shown;    /* that is under way: this touch; else -1 */
	struct score *score;
};

static inline void fault_say(const struct judge *j, const struct judge_line *y, const char *what,
                             int touch, int64_t t, double value)
{
	if (!j->verbose)
		return;
	const struct trace_touch *x = &y->tr->touch[touch < 0 ? 0 : touch];
	printf("  %s seed %llu touch %d: %s at %.3f, value %.8g rest %.8g digit %g sigma %.2f "
	       "begin %.3f rest %.3f due %.3f period %.4f\n",
	       trace_name(y->tr->kind), (unsigned long long)y->tr->seed, touch, what, (double)t * 1e-6,
	       value, x->rest, x->digit, x->sigma, (double)x->begin * 1e-6, (double)x->rest_at * 1e-6,
	       (double)x->due * 1e-6, y->tr->period);
}

static inline void judge_settled(struct judge *j, struct judge_line *y, int64_t t, double truth)
{
	const struct settle_result *r = settle_result(&y->s);
	double value = decimal_double(r->value);
	if (y->entry_here)
		return; /* the probe slipped and came back: the bench makes no second entry */
	y->entry_here = y->entry_up = true;
	int i = 0;
	while (i < y->tr->touches && t >= y->tr->touch[i].end + 300000)
		i++;
	const struct trace_touch *x = &y->tr->touch[i];
	if (i == y->tr->touches || t < x->begin) {
		j->score->open++;
		fault_say(j, y, "open", i < y->tr->touches ? i : -1, t, value);
		return;
	}
	if (j->up != i) {
		j->score->place++;
		y->wrong[i] = true;
		fault_say(j, y, "place", i, t, value);
		j->up = i; /* the person sees it, and says where the probes are */
	}
	if (x->unfair) {
		y->entries[i]++;
		return;
	}
	if (y->entries[i]++) {
		j->score->doubled++;
		y->wrong[i] = true;
		fault_say(j, y, "doubled", i, t, value);
		return;
	}
	if (!x->wants) {
		j->score->moving++;
		fault_say(j, y, "moving", i, t, value);
		return;
	}
	double rest = trace_creeps(y->tr->kind) && isfinite(truth) ? truth : x->rest;
	double bound = (1.25 + (x->correlated ? 3.3 : 2.2) * x->sigma) * x->digit;
	double off = fabs(truth - rest);
	if (isfinite(truth) && off > 1.0001 * fmax(1, x->sigma) * x->digit &&
	    y->tr->kind != TRACE_WOBBLE) {
		j->score->moving++;
		y->wrong[i] = true;
		fault_say(j, y, "moving", i, t, value);
	} else if (!(fabs(value - rest) <= bound * 1.0001)) {
		j->score->bounds++;
		y->wrong[i] = true;
		fault_say(j, y, "bounds", i, t, value);
	}
	if (t > x->due) {
		j->score->late++;
		y->wrong[i] = true;
		fault_say(j, y, "late", i, t, value);
	}
	if (x->due != INT64_MAX && j->score->delay)
		j->score->delay[j->score->delays++] = (double)(t - x->due) * 1e-6;
}

/* Was every meter that has an entry at the position that is up lifted for long enough? */
static inline bool judge_armed(const struct judge *j, const struct judge_line *mine, int64_t t)
{
	for (int i = 0; i < j->lines; i++) {
		const struct judge_line *y = &j->line[i];
		if (!y->entry_up)
			continue;
		if (y != mine && settle_touching(&y->s))
			return false;
		if (t - y->open_from <= settle_arm(&y->s))
			return false;
	}
	return true;
}

static inline void judge_events(struct judge *j, struct judge_line *y, unsigned events, int64_t t,
                                double truth)
{
	if (events & SETTLE_LIFTED)
		y->open_from = settle_open_since(&y->s);
	if ((events & SETTLE_TOUCHED) && judge_armed(j, y, t)) {
		bool any = false;
		for (int i = 0; i < j->lines; i++) {
			any |= j->line[i].entry_up;
			j->line[i].entry_up = false;
			j->line[i].entry_here = false;
		}
		j->up += any;
	}
	if (events & SETTLE_SETTLED)
		judge_settled(j, y, t, truth);
}

/* What is there at reading `i` of the touch that is shown: the display, its truth, and what it
 * lacks to be at rest. */
static inline void judge_show(const struct judge *j, const struct judge_line *l, int i,
                              unsigned events)
{
	const struct reading *r = &l->tr->reading[i];
	const struct trace_touch *x = &l->tr->touch[j->shown];
	struct settle_judgement y;
	uint64_t first = 0;
	if (r->t < x->begin || r->t > x->end || (l->s.settled && !(events & SETTLE_SETTLED)))
		return;
	settle_law_judge(&l->s.law, &l->s.limits, &y);
	bool asked = l->s.touching && !l->s.settled;
	const char *lack = asked ? settle_lack_word(settle_lacks(&l->s, &first)) : "";
	printf("    %8.3f %9s", (double)(r->t - x->begin) * 1e-6, r->has_value ? "" : "overload");
	if (r->has_value)
		printf(" %lldE%d", (long long)r->value.n, r->value.e);
	double digit = r->has_value ? pow(10, r->value.e) : x->digit;
	printf(" off %8.2f truth %8.2f %s%s%s%s%s  %-7s doubt %.3f n %d%s noise %.2f left %.2f tail "
	       "%.3f/%d wave %.2f jumps %d since %.3f clear %.3f\n",
	       r->has_value ? (double)r->value.n - x->rest / digit : NAN,
	       (l->tr->truth[i] - x->rest) / digit, events & SETTLE_TOUCHED ? "T" : "",
	       events & SETTLE_LIFTED ? "L" : "", events & SETTLE_SETTLED ? "S" : "",
	       events & SETTLE_DOUBT ? "D" : "", r->t >= x->due ? " due" : "", lack, y.off, y.n,
	       y.slow ? " slow" : "", y.noise, y.drift, y.tail_chance, y.tail_count, y.wave_chance,
	       y.jumps, (double)(y.since - x->begin) * 1e-6, (double)(y.clear - x->begin) * 1e-6);
}

static inline void judge_begin(const struct judge *j, struct judge_line *y, const struct trace *tr)
{
	static const double up[] = {285, 1.5, 0.1, 0.02};
	struct settle_expected expected = {tr->function, true, up[tr->seed % 4], -INFINITY, INFINITY};
	memset(y, 0, sizeof(*y));
	y->tr = tr;
	y->open_from = INT64_MIN / 2;
	settle_init(&y->s, &j->limits, tr->conversion);
	/* Where nothing is touched, whatever is up. */
	if (!tr->touches)
		settle_expect(&y->s, &expected);
}

static inline void judge_reading(struct judge *j, struct judge_line *y)
{
	const struct trace *tr = y->tr;
	const struct reading *r = &tr->reading[y->at];
	struct settle_expected expected = {tr->function, true, 0, -INFINITY, INFINITY};
	while (y->next < tr->touches && (y->next == 0 || r->t > tr->touch[y->next - 1].end + 500000)) {
		/* What was missed is left behind by the person, who heard no tone; an entry moves on by
		 * itself. */
		bool any = false, heard = y->next == 0;
		for (int i = 0; i < j->lines; i++) {
			any |= j->line[i].entry_up;
			heard |= y->next > 0 && j->line[i].entries[y->next - 1] > 0;
		}
		if (j->up < y->next && (!any || !heard)) {
			j->up = y->next;
			for (int i = 0; i < j->lines; i++)
				j->line[i].entry_up = j->line[i].entry_here = false;
		}
		expected.nominal = tr->touch[y->next++].nominal;
		settle_expect(&y->s, &expected);
	}
	int64_t d;
	while ((d = settle_deadline(&y->s)) <= r->t)
		judge_events(j, y, settle_tick(&y->s, d), d, NAN);
	unsigned events = settle_reading(&y->s, r);
	judge_events(j, y, events, r->t, tr->truth[y->at]);
	if (j->shown >= 0)
		judge_show(j, y, y->at, events);
	y->at++;
}

static inline void judge_run(struct judge *j, const struct trace *tr)
{
	j->tr = tr;
	j->lines = tr->other ? 2 : 1;
	j->up = 0;
	judge_begin(j, &j->line[0], tr);
	if (tr->other)
		judge_begin(j, &j->line[1], tr->other);
	for (;;) {
		struct judge_line *first = NULL;
		for (int i = 0; i < j->lines; i++) {
			struct judge_line *y = &j->line[i];
			if (y->at < y->tr->count &&
			    (!first || y->tr->reading[y->at].t < first->tr->reading[first->at].t))
				first = y;
		}
		if (!first)
			break;
		judge_reading(j, first);
	}
}

/* Once more, with every reading of one touch. */
static inline void judge_explain(struct judge *j, int touch)
{
	struct judge again = *j;
	struct score nothing = {0};
	again.verbose = false;
	again.score = &nothing;
	again.shown = touch;
	printf("   %s seed %llu touch %d, reading by reading:\n", trace_name(j->tr->kind),
	       (unsigned long long)j->tr->seed, touch);
	judge_run(&again, j->tr);
}

static inline void judge_trace(struct judge *j, const struct trace *tr)
{
	j->shown = -1;
	judge_run(j, tr);
	for (int l = 0; l < j->lines; l++) {
		struct judge_line *y = &j->line[l];
		for (int i = 0; i < y->tr->touches; i++) {
			const struct trace_touch *x = &y->tr->touch[i];
			if (x->unfair)
				continue;
			if (x->wants && !y->entries[i]) {
				j->score->missed++;
				y->wrong[i] = true;
				fault_say(j, y, "missed", i, 0, 0);
			}
			bool wrong = x->wants ? y->wrong[i] : y->entries[i] > 0 || y->wrong[i];
			j->score->touches++;
			j->score->right += !wrong;
			if (wrong && j->explain)
				judge_explain(j, i);
		}
		j->score->readings += y->tr->count;
	}
}

#endif
