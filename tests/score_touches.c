/* SPDX-License-Identifier: MIT */
/*
 * The second corpus through settling, a row a kind.
 *
 *     build/tests/score_touches [-v | -e] [TRACES [SEED [KIND]]]
 *
 * TRACES of each kind (40), seeds from SEED (1) on.  -v says each fault, -e the readings, too.
 */
#include "tests/touches.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *const class_words[] = {"easy", "hard", "creep", "never", "still"};

static void row(const char *name, const char *class, const struct touch_score *s)
{
	double n = s->touches ? s->touches : 1;
	printf("%-15s %-5s %6d %7.2f %5d %6d %7d %6d %5d %5d %6d %4d %6.2f %6.1f\n", name, class, s->touches,
	       100.0 * s->right / n, s->late, s->missed, s->doubled, s->wrong, s->open, s->moving, s->out,
	       touch_score_false(s), 100.0 * touch_score_false(s) / n,
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
	to->late_conversions += s->late_conversions;
}

int main(int argc, char **argv)
{
	int say = 0, at = 1;
	if (at < argc && argv[at][0] == '-')
		say = argv[at++][1] == 'e' ? 2 : 1;
	int traces = at < argc ? atoi(argv[at++]) : 40;
	unsigned long long seed = at < argc ? strtoull(argv[at++], NULL, 10) : 1;
	const char *only = at < argc ? argv[at] : NULL;
	struct touch_score class[5] = {{0}};
	printf("%-15s %-5s %6s %7s %5s %6s %7s %6s %5s %5s %6s %4s %6s %6s\n", "kind", "class", "touch",
	       "right%", "late", "missed", "doubled", "wrong", "open", "mov", "out", "false", "%", "by");
	for (int k = 0; k < KINDS; k++) {
		struct touch_score s = {0};
		if (only && strcmp(only, touch_kind_name[k]) != 0)
			continue;
		for (int i = 0; i < traces; i++) {
			struct trace x;
			touches_make(&x, (enum touch_kind)k, seed + (unsigned long long)i);
			touches_score(&x, &settle_limits_standard, &s, say);
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
