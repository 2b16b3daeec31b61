/* SPDX-License-Identifier: MIT */
/*
 * Settling on the second corpus (touches.h), at seeds on which nothing was chosen: a floor for what
 * is right and a ceiling for what is false, by class of kind.
 *
 * The bounds lie below what 32 traces a kind score (SETTLE.md), so that they hold whatever seeds are
 * taken; approaches that first show within 25 digits of their rest are counted, and bounded, apart.
 */
#include "tests/check.h"
#include "tests/touches.h"

#include <string.h>

#define TRACES 6
#define SEED 9001

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
}

static struct touch_score score(enum touch_kind k, int traces, uint64_t seed,
                                const struct settle_limits *limits)
{
	struct touch_score s = {0};
	for (int i = 0; i < traces; i++) {
		struct trace x;
		touches_make(&x, k, seed + (uint64_t)i);
		touches_score(&x, limits, &s, 0);
		touches_free(&x);
	}
	return s;
}

static void check_class(enum touch_class class, const struct touch_score *s)
{
	/* right at least, false at most (without the shallow ones), shallow at most: % of the touches */
	static const struct {
		double right, wrong, shallow;
	} row[] = {
	    [CLASS_EASY] = {98.5, 0.4, 1},    [CLASS_HARD] = {82, 4, 14}, [CLASS_CREEP] = {88, 2, 1},
	    [CLASS_NEVER] = {94, 6, 0},       [CLASS_STILL] = {100, 0, 0},
	};
	double n = s->touches;
	note_row("class %d: %d touches, %d right, %d late, %d missed, %d false, %d of them shallow",
	         (int)class, s->touches, s->right, s->late, s->missed, touch_score_false(s), s->shallow);
	assert_true(s->touches > 10);
	assert_true(s->right >= row[class].right / 100 * n);
	assert_true(touch_score_false(s) - s->shallow <= row[class].wrong / 100 * n);
	assert_true(s->shallow <= row[class].shallow / 100 * n);
	assert_int_equal(s->doubled, 0);
	assert_int_equal(s->open, 0);
}

static void test_classes(void **state)
{
	(void)state;
	struct touch_score class[CLASS_STILL + 1] = {{0}};
	for (int k = 0; k < KINDS; k++) {
		struct touch_score s = score((enum touch_kind)k, TRACES, SEED, &settle_limits_standard);
		add(&class[touch_kind_class[k]], &s);
	}
	for (int i = 0; i <= CLASS_STILL; i++)
		check_class((enum touch_class)i, &class[i]);
}

/* Kinds of which each touch must be right. */
static void test_each_is_right(void **state)
{
	(void)state;
	static const struct {
		enum touch_kind kind;
		int traces;
		uint64_t seed;
	} row[] = {
	    {KIND_CLEAN, 10, 9101},  {KIND_RANGE, 10, 9101},          {KIND_SILENT, 10, 9101},
	    {KIND_SLIP, 10, 9101},   {KIND_ZERO, 10, 9101},           {KIND_VOLT_ZERO, 10, 9101},
	    {KIND_CAPACITOR, 6, 9101}, {KIND_FLOAT, 10, 9101},        {KIND_RESIDUAL, 10, 9101},
	    /* Wrong once: lifts that were seen late, conversions that were counted twice. */
	    {KIND_FARAD, 1, 29},     {KIND_FARAD, 1, 121},
	    {KIND_FARAD_REPEATED, 1, 40}, {KIND_FARAD_REPEATED, 1, 136},
	};
	for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
		struct touch_score s =
		    score(row[i].kind, row[i].traces, row[i].seed, &settle_limits_standard);
		note_row("%s: %d of %d, %d missed, %d in another place", touch_kind_name[row[i].kind],
		         s.right, s.touches, s.missed, s.wrong);
		assert_int_equal(s.right, s.touches);
		assert_int_equal(touch_score_false(&s), 0);
	}
}

/* A meter that comes down from an electrolytic shows its residual in ranges that are too coarse, and
 * each of them for two frames: traces of which some were missed for it. */
static void test_none_of_them_is_missed(void **state)
{
	(void)state;
	static const uint64_t seed[] = {38, 60, 67, 98, 99, 132, 158, 190};
	for (size_t i = 0; i < sizeof seed / sizeof *seed; i++) {
		struct touch_score s = score(KIND_FARAD_SLOW, 1, seed[i], &settle_limits_standard);
		note_row("seed %d: %d touches, %d missed, %d in another place", (int)seed[i], s.touches,
		         s.missed, s.wrong);
		assert_int_equal(s.missed, 0);
		assert_int_equal(s.wrong, 0);
	}
}

/* The scorer sees what a hasty detector does. */
static void test_a_worse_one_scores_worse(void **state)
{
	(void)state;
	struct settle_limits hasty = settle_limits_standard, slow = settle_limits_standard;
	hasty.settle_conversions = hasty.settle_conversions_slow = 2;
	hasty.settle_conversions_noise = 2;
	hasty.settle_doubt = hasty.settle_doubt_level = 0.5;
	hasty.tail_doubt = hasty.tail_doubt_early = 0.9;
	hasty.law_approach = 0.001;
	hasty.settle_seconds = hasty.tail_clear = 0;
	struct touch_score s = score(KIND_RC, 6, SEED, &hasty);
	assert_true(touch_score_false(&s) > s.touches / 10);
	s = score(KIND_JOINT, 6, SEED, &hasty);
	assert_true(touch_score_false(&s) > s.touches / 5);
	slow.settle_conversions = 12;
	s = score(KIND_CLEAN, 6, SEED, &slow);
	assert_true(s.late + s.missed > s.touches / 2);
	hasty = settle_limits_standard;
	hasty.arm_seconds = 0.1;
	s = score(KIND_SLIP, 6, SEED, &hasty);
	assert_true(s.doubled > s.touches / 10);
}

static void test_the_same_seed_the_same_trace(void **state)
{
	(void)state;
	for (int k = 0; k < KINDS; k += 5) {
		struct trace x, y;
		touches_make(&x, (enum touch_kind)k, 77);
		touches_make(&y, (enum touch_kind)k, 77);
		assert_int_equal(x.shows, y.shows);
		assert_true(x.shows > 5);
		for (int i = 0; i < x.shows; i++) {
			assert_true(x.shown[i].t == y.shown[i].t);
			assert_true(x.shown[i].r.value.n == y.shown[i].r.value.n);
			assert_true(!i || x.shown[i].t >= x.shown[i - 1].t);
		}
		touches_free(&x);
		touches_make(&x, (enum touch_kind)k, 78);
		assert_true(x.shows != y.shows || x.shown[3].t != y.shown[3].t);
		touches_free(&x);
		touches_free(&y);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_classes),
	    cmocka_unit_test(test_each_is_right),
	    cmocka_unit_test(test_none_of_them_is_missed),
	    cmocka_unit_test(test_a_worse_one_scores_worse),
	    cmocka_unit_test(test_the_same_seed_the_same_trace),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
