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
	int touches, right, missed, doubled, open, moving, bounds, late;
	double *delay; /* where not NULL: entry less due, s; room for every touch */
	int delays;
	long readings;
	double seconds;
};

struct judge {
	const struct trace *tr;
	struct settle s;
	struct settle_limits limits;
	int entries[TRACE_TOUCHES];
	bool wrong[TRACE_TOUCHES];
	int64_t open_from; /* of the last lift */
	bool entry_here;   /* this touch, or the one before a slip, has its entry */
	bool verbose;
	bool explain; /* show every reading of the touches that went wrong */
	int shown;    /* that is under way: this touch; else -1 */
	struct score *score;
};

static inline void fault_say(const struct judge *j, const char *what, int touch, int64_t t,
                             double value)
{
	if (!j->verbose)
		return;
	const struct trace_touch *x = &j->tr->touch[touch < 0 ? 0 : touch];
	printf("  %s seed %llu touch %d: %s at %.3f, value %.8g rest %.8g digit %g sigma %.2f "
	       "begin %.3f rest %.3f due %.3f period %.4f\n",
	       trace_name(j->tr->kind), (unsigned long long)j->tr->seed, touch, what, (double)t * 1e-6,
	       value, x->rest, x->digit, x->sigma, (double)x->begin * 1e-6, (double)x->rest_at * 1e-6,
	       (double)x->due * 1e-6, j->tr->period);
}

static inline void judge_settled(struct judge *j, int64_t t, double truth)
{
	const struct settle_result *r = settle_result(&j->s);
	double value = decimal_double(r->value);
	if (j->entry_here)
		return; /* the probe slipped and came back: the bench makes no second entry */
	j->entry_here = true;
	int i = 0;
	while (i < j->tr->touches && t >= j->tr->touch[i].end + 300000)
		i++;
	const struct trace_touch *x = &j->tr->touch[i];
	if (i == j->tr->touches || t < x->begin) {
		j->score->open++;
		fault_say(j, "open", i < j->tr->touches ? i : -1, t, value);
		return;
	}
	if (x->unfair) {
		j->entries[i]++;
		return;
	}
	if (j->entries[i]++) {
		j->score->doubled++;
		j->wrong[i] = true;
		fault_say(j, "doubled", i, t, value);
		return;
	}
	if (!x->wants) {
		j->score->moving++;
		fault_say(j, "moving", i, t, value);
		return;
	}
	double rest = j->tr->kind == TRACE_CREEP && isfinite(truth) ? truth : x->rest;
	double bound = (1.25 + (x->correlated ? 3.3 : 2.2) * x->sigma) * x->digit;
	double off = fabs(truth - rest);
	if (isfinite(truth) && off > 1.0001 * fmax(1, x->sigma) * x->digit &&
	    j->tr->kind != TRACE_WOBBLE) {
		j->score->moving++;
		j->wrong[i] = true;
		fault_say(j, "moving", i, t, value);
	} else if (!(fabs(value - rest) <= bound * 1.0001)) {
		j->score->bounds++;
		j->wrong[i] = true;
		fault_say(j, "bounds", i, t, value);
	}
	if (t > x->due) {
		j->score->late++;
		j->wrong[i] = true;
		fault_say(j, "late", i, t, value);
	}
	if (x->due != INT64_MAX && j->score->delay)
		j->score->delay[j->score->delays++] = (double)(t - x->due) * 1e-6;
}

static inline void judge_events(struct judge *j, unsigned events, int64_t t, double truth)
{
	if (events & SETTLE_LIFTED)
		j->open_from = settle_open_since(&j->s);
	if (events & SETTLE_TOUCHED) {
		if (t - j->open_from > settle_arm(&j->s) || j->open_from < 0)
			j->entry_here = false;
	}
	if (events & SETTLE_SETTLED)
		judge_settled(j, t, truth);
}

/* What is there at reading `i` of the touch that is shown: the display, its truth, and what it
 * lacks to be at rest. */
static inline void judge_show(const struct judge *j, int i, unsigned events)
{
	const struct reading *r = &j->tr->reading[i];
	const struct trace_touch *x = &j->tr->touch[j->shown];
	struct settle_judgement y;
	uint64_t first = 0;
	if (r->t < x->begin || r->t > x->end || (j->s.settled && !(events & SETTLE_SETTLED)))
		return;
	settle_law_judge(&j->s.law, &j->s.limits, &y);
	bool asked = j->s.touching && !j->s.settled;
	const char *lack = asked ? settle_lack_word(settle_lacks(&j->s, &first)) : "";
	printf("    %8.3f %9s", (double)(r->t - x->begin) * 1e-6, r->has_value ? "" : "overload");
	if (r->has_value)
		printf(" %lldE%d", (long long)r->value.n, r->value.e);
	double digit = r->has_value ? pow(10, r->value.e) : x->digit;
	printf(" off %8.2f truth %8.2f %s%s%s%s%s  %-7s doubt %.3f n %d%s noise %.2f left %.2f tail "
	       "%.3f/%d wave %.2f jumps %d since %.3f clear %.3f\n",
	       r->has_value ? (double)r->value.n - x->rest / digit : NAN,
	       (j->tr->truth[i] - x->rest) / digit, events & SETTLE_TOUCHED ? "T" : "",
	       events & SETTLE_LIFTED ? "L" : "", events & SETTLE_SETTLED ? "S" : "",
	       events & SETTLE_DOUBT ? "D" : "", r->t >= x->due ? " due" : "", lack, y.off, y.n,
	       y.slow ? " slow" : "", y.noise, y.drift, y.tail_chance, y.tail_count, y.wave_chance,
	       y.jumps, (double)(y.since - x->begin) * 1e-6, (double)(y.clear - x->begin) * 1e-6);
}

static inline void judge_run(struct judge *j, const struct trace *tr)
{
	struct settle_expected expected = {tr->function, true, 0, -INFINITY, INFINITY};
	int next = 0;
	j->tr = tr;
	j->entry_here = false;
	j->open_from = -1;
	memset(j->entries, 0, sizeof(j->entries));
	memset(j->wrong, 0, sizeof(j->wrong));
	settle_init(&j->s, &j->limits, tr->conversion);
	if (!tr->touches) {
		/* Nothing is touched, whatever is up. */
		static const double up[] = {285, 1.5, 0.1, 0.02};
		expected.nominal = up[tr->seed % 4];
		settle_expect(&j->s, &expected);
	}
	for (int i = 0; i < tr->count; i++) {
		const struct reading *r = &tr->reading[i];
		while (next < tr->touches && (next == 0 || r->t > tr->touch[next - 1].end + 500000)) {
			expected.nominal = tr->touch[next++].nominal;
			settle_expect(&j->s, &expected);
		}
		int64_t d;
		while ((d = settle_deadline(&j->s)) <= r->t)
			judge_events(j, settle_tick(&j->s, d), d, NAN);
		unsigned events = settle_reading(&j->s, r);
		judge_events(j, events, r->t, tr->truth[i]);
		if (j->shown >= 0)
			judge_show(j, i, events);
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
	for (int i = 0; i < tr->touches; i++) {
		if (!tr->touch[i].wants)
			continue;
		if (!j->entries[i]) {
			j->score->missed++;
			j->wrong[i] = true;
			fault_say(j, "missed", i, 0, 0);
		}
	}
	for (int i = 0; i < tr->touches; i++) {
		if (tr->touch[i].unfair)
			continue;
		j->score->touches++;
		j->score->right += tr->touch[i].wants ? !j->wrong[i] : !j->entries[i];
	}
	j->score->readings += tr->count;
	for (int i = 0; i < tr->touches && j->explain; i++)
		if (!tr->touch[i].unfair && (tr->touch[i].wants ? j->wrong[i] : j->entries[i] > 0))
			judge_explain(j, i);
}

#endif
