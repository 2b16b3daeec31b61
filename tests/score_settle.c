/* SPDX-License-Identifier: MIT */
/*
 * Scores settling on a large corpus of made-up traces (tests/traces.h), a row a
 * kind: touches that wanted an entry and got the right one, in time; what was
 * missed, doubled, taken from open leads or from a moving trace, out of bounds,
 * late; and by how much the entry came before (-) or after (+) it was due.
 *
 *     score_settle [TRACES [FIRST-SEED [KIND,...]]]   default 100 traces a kind
 *     score_settle -v ...                          with a line for every fault
 *     score_settle -e ...                          and every reading of its touch
 *     score_settle -l law_hazard=0.05 ...          with another limit
 */
#include "tests/settle_limit.h"
#include "tests/traces_score.h"

#include <stdio.h>
#include <time.h>

static int compare_double(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;
	return (x > y) - (x < y);
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

int main(int argc, char **argv)
{
	static struct judge j;
	int at = 1;
	j.limits = settle_limits_standard;
	for (; at < argc && argv[at][0] == '-'; at++) {
		if (!strcmp(argv[at], "-v")) {
			j.verbose = true;
		} else if (!strcmp(argv[at], "-e")) {
			j.verbose = j.explain = true;
		} else if (at + 1 >= argc || strcmp(argv[at], "-l") ||
		           !limit_set(&j.limits, argv[at + 1])) {
			fprintf(stderr, "score_settle: %s: not an option, or no such limit\n", argv[at]);
			return 2;
		} else {
			at++;
		}
	}
	int traces = at < argc ? atoi(argv[at++]) : 100;
	uint64_t seed = at < argc ? strtoull(argv[at++], NULL, 10) : 1;
	const char *only = at < argc ? argv[at] : NULL;
	printf("%-17s %7s %8s %6s %7s %5s %5s %6s %6s %5s %8s %8s %7s\n", "kind", "touches", "right %",
	       "missed", "doubled", "place", "open", "moving", "bounds", "late", "p50 s", "p99 s", "us/r");
	struct score sum[2] = {{0}, {0}};
	for (int kind = 0; kind < TRACE_KINDS; kind++) {
		if (only && !kind_among(only, trace_name((enum trace_kind)kind)))
			continue;
		struct score score = {0};
		score.delay = calloc(2 * (size_t)traces * TRACE_TOUCHES, sizeof(double));
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
		printf("%-17s %7d %8.2f %6d %7d %5d %5d %6d %6d %5d %8.3f %8.3f %7.2f\n",
		       trace_name((enum trace_kind)kind), score.touches,
		       score.touches ? 100.0 * score.right / score.touches : 100.0, score.missed,
		       score.doubled, score.place, score.open, score.moving, score.bounds, score.late, p50, p99,
		       1e6 * score.seconds / (double)score.readings);
		struct score *all = &sum[trace_hard((enum trace_kind)kind)];
		all->touches += score.touches;
		all->right += score.right;
		all->missed += score.missed;
		all->doubled += score.doubled;
		all->place += score.place;
		all->open += score.open;
		all->moving += score.moving;
		all->bounds += score.bounds;
		all->late += score.late;
		free(score.delay);
	}
	for (int i = 0; i < 2; i++)
		printf("%-17s %7d %8.2f %6d %7d %5d %5d %6d %6d %5d\n", i ? "all, hard" : "all, not hard",
		       sum[i].touches, sum[i].touches ? 100.0 * sum[i].right / sum[i].touches : 100.0,
		       sum[i].missed, sum[i].doubled, sum[i].place, sum[i].open, sum[i].moving, sum[i].bounds,
		       sum[i].late);
	return 0;
}
