/* SPDX-License-Identifier: MIT */
/*
 * Scores settling on a large corpus of made-up traces (tests/traces.h), a row a
 * kind: touches that wanted an entry and got the right one, in time; what was
 * missed, doubled, taken from open leads or from a moving trace, out of bounds,
 * late; and by how much the entry came before (-) or after (+) it was due.
 *
 *     score_settle [TRACES [FIRST-SEED [KIND,...]]]   default 100 traces a kind
 *     score_settle -v ...                          with a line for every fault
 *     score_settle -l law_hazard=0.05 ...          with another limit
 */
#include "daemon/settle.h"
#include "tests/traces.h"

#include <stdio.h>
#include <time.h>

struct score {
	int touches, right, missed, doubled, open, moving, bounds, late;
	double *delay;
	int delays;
	long readings;
	double seconds;
};

static int compare_double(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;
	return (x > y) - (x < y);
}

struct judge {
	const struct trace *tr;
	struct settle s;
	struct settle_limits limits;
	int entries[TRACE_TOUCHES];
	bool wrong[TRACE_TOUCHES];
	int armed_for;     /* touches that an entry was made for: the bench's rule */
	int64_t open_from; /* of the last lift */
	bool entry_here;   /* this touch, or the one before a slip, has its entry */
	bool verbose;
	struct score *score;
};

static void fault_say(const struct judge *j, const char *what, int touch, int64_t t, double value)
{
	if (!j->verbose)
		return;
	const struct trace_touch *x = &j->tr->touch[touch < 0 ? 0 : touch];
	printf("  %s seed %llu touch %d: %s at %.3f, value %.8g rest %.8g digit %g sigma %.2f begin %.3f rest %.3f "
	       "due %.3f period %.4f\n",
	       trace_name(j->tr->kind), (unsigned long long)j->tr->seed, touch, what, (double)t * 1e-6,
	       value, x->rest, x->digit, x->sigma, (double)x->begin * 1e-6, (double)x->rest_at * 1e-6,
	       (double)x->due * 1e-6, j->tr->period);
}

static void judge_settled(struct judge *j, int64_t t, double truth)
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
	if (x->due != INT64_MAX)
		j->score->delay[j->score->delays++] = (double)(t - x->due) * 1e-6;
}

static void judge_events(struct judge *j, unsigned events, int64_t t, double truth)
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

static void judge_trace(struct judge *j, const struct trace *tr)
{
	struct settle_expected expected = {tr->function, true, 0, -INFINITY, INFINITY};
	int next = 0;
	j->tr = tr;
	j->entry_here = false;
	j->open_from = -1;
	memset(j->entries, 0, sizeof(j->entries));
	memset(j->wrong, 0, sizeof(j->wrong));
	settle_init(&j->s, &j->limits, tr->conversion);
	for (int i = 0; i < tr->count; i++) {
		const struct reading *r = &tr->reading[i];
		while (next < tr->touches && (next == 0 || r->t > tr->touch[next - 1].end + 500000)) {
			expected.nominal = tr->touch[next++].nominal;
			settle_expect(&j->s, &expected);
		}
		int64_t d;
		while ((d = settle_deadline(&j->s)) <= r->t)
			judge_events(j, settle_tick(&j->s, d), d, NAN);
		judge_events(j, settle_reading(&j->s, r), r->t, tr->truth[i]);
	}
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
}

static double now(void)
{
	struct timespec t;
	clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
	return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* `only`: names with commas between them. */
static bool kind_among(const char *only, const char *name)
{
	size_t len = strlen(name);
	for (const char *p = only; (p = strstr(p, name)); p += len)
		if ((p == only || p[-1] == ',') && (p[len] == ',' || !p[len]))
			return true;
	return false;
}

static bool limit_set(struct settle_limits *limits, const char *text)
{
	const char *sign = strchr(text, '=');
	size_t len = sign ? (size_t)(sign - text) : 0;
#define X(field, name, standard, low, high)                        \
	if (len == strlen(#field) && !strncmp(text, #field, len)) {    \
		limits->field = atof(sign + 1);                            \
		return true;                                               \
	}
	SETTLE_LIMIT_LIST(X)
#undef X
	return false;
}

int main(int argc, char **argv)
{
	static struct judge j;
	int at = 1;
	j.limits = settle_limits_standard;
	for (; at < argc && argv[at][0] == '-'; at++) {
		if (!strcmp(argv[at], "-v")) {
			j.verbose = true;
		} else if (at + 1 >= argc || strcmp(argv[at], "-l") || !limit_set(&j.limits, argv[at + 1])) {
			fprintf(stderr, "score_settle: %s: not an option, or no such limit\n", argv[at]);
			return 2;
		} else {
			at++;
		}
	}
	int traces = at < argc ? atoi(argv[at++]) : 100;
	uint64_t seed = at < argc ? strtoull(argv[at++], NULL, 10) : 1;
	const char *only = at < argc ? argv[at] : NULL;
	printf("%-17s %7s %8s %6s %7s %5s %6s %6s %5s %8s %8s %7s\n", "kind", "touches", "right %",
	       "missed", "doubled", "open", "moving", "bounds", "late", "p50 s", "p99 s", "us/r");
	struct score sum[2] = {{0}, {0}};
	for (int kind = 0; kind < TRACE_KINDS; kind++) {
		if (only && !kind_among(only, trace_name((enum trace_kind)kind)))
			continue;
		struct score score = {0};
		score.delay = calloc((size_t)traces * TRACE_TOUCHES, sizeof(double));
		if (!score.delay)
			return 1;
		j.score = &score;
		for (int i = 0; i < traces; i++) {
			struct trace tr;
			trace_make(&tr, (enum trace_kind)kind, seed + (uint64_t)i);
			double start = now();
			judge_trace(&j, &tr);
			score.seconds += now() - start;
			trace_free(&tr);
		}
		qsort(score.delay, (size_t)score.delays, sizeof(double), compare_double);
		double p50 = score.delays ? score.delay[score.delays / 2] : NAN;
		double p99 = score.delays ? score.delay[score.delays * 99 / 100] : NAN;
		printf("%-17s %7d %8.2f %6d %7d %5d %6d %6d %5d %8.3f %8.3f %7.2f\n",
		       trace_name((enum trace_kind)kind), score.touches,
		       score.touches ? 100.0 * score.right / score.touches : 100.0, score.missed,
		       score.doubled, score.open, score.moving, score.bounds, score.late, p50, p99,
		       1e6 * score.seconds / (double)score.readings);
		struct score *all = &sum[trace_hard((enum trace_kind)kind)];
		all->touches += score.touches;
		all->right += score.right;
		all->missed += score.missed;
		all->doubled += score.doubled;
		all->open += score.open;
		all->moving += score.moving;
		all->bounds += score.bounds;
		all->late += score.late;
		free(score.delay);
	}
	for (int i = 0; i < 2; i++)
		printf("%-17s %7d %8.2f %6d %7d %5d %6d %6d %5d\n", i ? "all, hard" : "all, not hard",
		       sum[i].touches, sum[i].touches ? 100.0 * sum[i].right / sum[i].touches : 100.0,
		       sum[i].missed, sum[i].doubled, sum[i].open, sum[i].moving, sum[i].bounds,
		       sum[i].late);
	return 0;
}
