/* SPDX-License-Identifier: MIT */
/*
 * The second corpus through settling, a row a kind.
 *
 *     build/tests/score_touches [-r FOLDER] [-l LIMIT=VALUE]... [-v | -e] [TRACES [SEED [KIND]]]
 *
 * TRACES of each kind (40), seeds from SEED (1) on.  -v says each fault, -e the readings, too; -r
 * writes each as a recording with its sheet, its configuration and the truth, for tallyd --replay.
 */
#include "tests/settle_limit.h"
#include "tests/touches.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *const class_words[] = {"easy", "hard", "creep", "never", "still"};

/* ---- as recordings, for the whole program ---- */

static const char *unit_of(enum function f)
{
	return f == FUNCTION_OHM ? "Ohm" : f == FUNCTION_FARAD ? "F" : "V DC";
}

static void write_frame(FILE *f, const struct shown *one)
{
	const struct reading *r = &one->r;
	char letter = prefix_letter(r->prefix), text[64], prefix[2] = {letter, 0};
	int places = r->prefix - r->value.e;
	if (!r->has_value)
		snprintf(text, sizeof text, "%sOL %s%s", r->negative ? "-" : "", prefix, unit_of(r->function));
	else
		snprintf(text, sizeof text, "%+.*f %s%s", places > 0 ? places : 0,
		         (double)r->value.n * pow(10, r->value.e - r->prefix), prefix, unit_of(r->function));
	if (one->garbled) /* a byte that is no digit */
		text[2] = '?';
	fprintf(f, "%.6f red \"%s\\r\\n\"\n", (double)one->t / 1e6, text);
}

static FILE *open_file(const char *folder, const struct trace *x, const char *ending)
{
	char path[512];
	snprintf(path, sizeof path, "%s/%s-%llu.%s", folder, touch_kind_name[x->kind],
	         (unsigned long long)x->seed, ending);
	FILE *f = fopen(path, "w");
	if (!f) {
		perror(path);
		exit(1);
	}
	return f;
}

static void write_trace(const char *folder, const struct trace *x)
{
	char letter = x->m.function == FUNCTION_OHM ? 'R' : x->m.function == FUNCTION_FARAD ? 'C' : 'B';
	const char *kind = letter == 'R' ? "resistor" : letter == 'C' ? "film" : "rail";
	FILE *f = open_file(folder, x, "ini");
	fprintf(f, "[bench]\nname = north\n[meter red]\nport = /dev/null\ndialect = ascii-unit\n");
	if (x->m.told > 1)
		fprintf(f, "conversion = %d\n", x->m.told);
	fclose(f);
	f = open_file(folder, x, "csv");
	fprintf(f, "position,kind,nominal,tolerance\n");
	for (int p = 0, last = -1; p < x->touches; p++) {
		const struct touch *u = &x->touch[p];
		if (u->position == last)
			continue;
		last = u->position;
		fprintf(f, "%c%d,%s,", letter, u->position + 1, kind);
		if (u->has_nominal && u->nominal != 0)
			fprintf(f, "%.4g %s,%.0f%%\n", u->nominal, letter == 'B' ? "V" : letter == 'C' ? "F" : "ohm",
			        100 * u->tolerance);
		else if (u->has_nominal)
			fprintf(f, "0 V,+-0.1 V\n");
		else
			fprintf(f, ",\n");
	}
	fclose(f);
	f = open_file(folder, x, "truth");
	for (int i = 0; i < x->touches; i++) {
		const struct touch *u = &x->touch[i];
		fprintf(f, "%c%d %.4f %.4f %.10g %g %.4f %d %.4f %.4f %d %d %d %d %.4f\n", letter,
		        u->position + 1, u->from, u->to, u->rest, u->digit, u->sigma, u->correlated,
		        u->settled, u->due, u->none, u->creeps, u->doubt_is_good,
		        (int)touch_kind_class[x->kind], 1 / x->m.rate);
	}
	fclose(f);
	f = open_file(folder, x, "rec");
	fprintf(f, "# tally recording 1\n0.000000 @at %c1\n0.000000 @walk on\n", letter);
	int touched = 1;
	for (int k = 0; k < x->shows; k++) {
		for (; touched < x->touches && x->touch[touched].from * 1e6 <= (double)x->shown[k].t; touched++)
			if (!x->touch[touched].none || x->touch[touched].position != x->touch[touched - 1].position)
				fprintf(f, "%.6f @at %c%d\n", (double)x->shown[k].t / 1e6, letter,
				        x->touch[touched].position + 1);
		write_frame(f, &x->shown[k]);
	}
	fclose(f);
}

static void row(const char *name, const char *class, const struct touch_score *s)
{
	double n = s->touches ? s->touches : 1;
	printf("%-15s %-5s %6d %7.2f %5d %6d %7d %6d %5d %6d %6d %5d %6.2f %7d %6.1f\n", name, class,
	       s->touches, 100.0 * s->right / n, s->late, s->missed, s->doubled, s->wrong, s->open,
	       s->moving, s->out, touch_score_false(s), 100.0 * touch_score_false(s) / n, s->shallow,
	       s->late ? s->late_conversions / s->late : 0);
}

static void add(struct touch_score *to, const struct touch_score *s)
{
	to->touches += s->touches;
	to->right += s->right;
	to->late += s->late;
	to->missed += s->missed;
	to->doubled += s->doubled;
	to->wrong += s->wrong;
	to->open += s->open;
	to->moving += s->moving;
	to->out += s->out;
	to->shallow += s->shallow;
	to->late_conversions += s->late_conversions;
}

int main(int argc, char **argv)
{
	int say = 0, at = 1;
	struct settle_limits limits = settle_limits_standard;
	const char *folder = NULL;
	if (at + 1 < argc && strcmp(argv[at], "-r") == 0) {
		folder = argv[at + 1];
		at += 2;
	}
	while (at + 1 < argc && strcmp(argv[at], "-l") == 0) {
		if (!limit_set(&limits, argv[at + 1])) {
			fprintf(stderr, "score_touches: no limit %s\n", argv[at + 1]);
			return 2;
		}
		at += 2;
	}
	if (at < argc && argv[at][0] == '-')
		say = argv[at++][1] == 'e' ? 2 : 1;
	int traces = at < argc ? atoi(argv[at++]) : 40;
	unsigned long long seed = at < argc ? strtoull(argv[at++], NULL, 10) : 1;
	const char *only = at < argc ? argv[at] : NULL;
	struct touch_score class[5] = {{0}};
	printf("%-15s %-5s %6s %7s %5s %6s %7s %6s %5s %6s %6s %5s %6s %7s %6s\n", "kind", "class",
	       "touch", "right%", "late", "missed", "doubled", "place", "open", "moving", "bounds",
	       "false", "%", "shallow", "by");
	for (int k = 0; k < KINDS; k++) {
		struct touch_score s = {0};
		if (only && strcmp(only, touch_kind_name[k]) != 0)
			continue;
		for (int i = 0; i < traces; i++) {
			struct trace x;
			touches_make(&x, (enum touch_kind)k, seed + (unsigned long long)i);
			if (folder)
				write_trace(folder, &x);
			touches_score(&x, &limits, &s, say);
			touches_free(&x);
		}
		row(touch_kind_name[k], class_words[touch_kind_class[k]], &s);
		add(&class[touch_kind_class[k]], &s);
	}
	for (int i = 0; i < 5; i++)
		if (class[i].touches)
			row("all", class_words[i], &class[i]);
	return 0;
}
