/* SPDX-License-Identifier: MIT */
/*
 * What must hold for every verdict, whatever the numbers: the rule worked out a
 * second time in integers, symmetry, monotony, freedom from prefix and from
 * trailing zeros, and that a stricter limit or a worse meter never helps.
 */
#include "protocol/trade/verdict.h"
#include "tests/check.h"

#define WITHIN VERDICT_WITHIN
#define OUTSIDE VERDICT_OUTSIDE
#define UNSURE VERDICT_UNSURE
#define OHM FUNCTION_OHM
#define FARAD FUNCTION_FARAD

static uint64_t seed = 0x7e4d1c7;
static uint64_t draw(void)
{
	seed ^= seed << 13;
	seed ^= seed >> 7;
	seed ^= seed << 17;
	return seed;
}

/* A random judgement whose every number is a small whole one at a power of ten,
 * so that the rule can be worked out in integers as well. */
struct whole {
	int64_t nominal, minus, plus, value, U;
	int e;
};

static struct whole draw_whole(void)
{
	struct whole w;
	w.nominal = (int64_t)(draw() % 900) + 100;
	w.minus = (int64_t)(draw() % 60) + 1;
	w.plus = (int64_t)(draw() % 60) + 1;
	w.value = w.nominal + (int64_t)(draw() % 201) - 100;
	w.U = (int64_t)(draw() % 40) * 2;
	w.e = (int)(draw() % 16) - 12;
	return w;
}

static struct judgement whole_judgement(const struct whole *w)
{
	struct judgement j = {.kind = KIND_OTHER, .function = OHM, .settled = true};
	j.has_value = j.has_nominal = true;
	j.value = (struct decimal){w->value, w->e};
	j.nominal = (struct decimal){w->nominal, w->e};
	j.limits = (struct limits){true, true, {w->nominal - w->minus, w->e},
	                           {w->nominal + w->plus, w->e}};
	j.u = decimal_double((struct decimal){w->U / 2, w->e});
	return j;
}

static enum verdict_word whole_word(const struct whole *w)
{
	int64_t low = w->nominal - w->minus, high = w->nominal + w->plus;
	if (w->value - w->U >= low && w->value + w->U <= high)
		return WITHIN;
	return w->value + w->U < low || w->value - w->U > high ? OUTSIDE : UNSURE;
}

/* within < unsure < outside */
static int rank(enum verdict_word w)
{
	return w == WITHIN ? 0 : w == UNSURE ? 1 : 2;
}

static void holds_for_all(void **state)
{
	(void)state;
	int seen[4] = {0, 0, 0, 0};
	for (int round = 0; round < 50000; round++) {
		struct whole w = draw_whole();
		struct judgement j = whole_judgement(&w);
		struct verdict v = judge(&j);
		seen[v.word]++;
		/* the rule, in integers */
		assert_int_equal(v.word, whole_word(&w));

		/* free of the SI prefix: shifted by any power of ten it is the same */
		struct whole s = w;
		s.e = (int)(draw() % 16) - 12;
		struct judgement shifted = whole_judgement(&s);
		struct verdict vs = judge(&shifted);
		assert_true(vs.word == v.word && vs.side == v.side && vs.reason == v.reason);
		assert_near(vs.deviation, v.deviation, 1e-15);
		assert_near(vs.probability, v.probability, 1e-9);

		/* written with more zeros it is the same */
		struct judgement zeros = j;
		assert_true(decimal_rescale(zeros.value, w.e - 5, &zeros.value));
		assert_int_equal(judge(&zeros).word, v.word);

		/* symmetric: mirrored about zero, low and high change places */
		struct judgement m = j;
		m.value.n = -m.value.n;
		m.nominal.n = -m.nominal.n;
		m.limits.low = (struct decimal){-j.limits.high.n, w.e};
		m.limits.high = (struct decimal){-j.limits.low.n, w.e};
		struct verdict vm = judge(&m);
		assert_int_equal(vm.word, v.word);
		assert_int_equal(vm.side, v.side == SIDE_NONE  ? SIDE_NONE
		                          : v.side == SIDE_LOW ? SIDE_HIGH
		                                               : SIDE_LOW);
		assert_near(vm.probability, v.probability, 1e-12);
		assert_near(vm.deviation, v.deviation, 1e-15);

		/* monotone: further out on its side is never better */
		int64_t middle = 2 * w.nominal - w.minus + w.plus;
		int step = 2 * w.value >= middle ? 1 : -1;
		struct whole further = w;
		further.value += step * (int64_t)(draw() % 30);
		struct judgement jf = whole_judgement(&further);
		struct verdict vf = judge(&jf);
		assert_true(rank(vf.word) >= rank(v.word));
		assert_true(vf.probability <= v.probability + 1e-12);

		/* a stricter limit never makes it better */
		struct whole strict = w;
		strict.minus -= (int64_t)(draw() % (uint64_t)w.minus);
		strict.plus -= (int64_t)(draw() % (uint64_t)w.plus);
		struct judgement js = whole_judgement(&strict);
		struct verdict vt = judge(&js);
		assert_true(rank(vt.word) >= rank(v.word));
		assert_true(vt.probability <= v.probability + 1e-12);

		/* a worse meter never makes it more certain */
		struct whole worse = w;
		worse.U += 2 * (int64_t)(draw() % 20);
		struct judgement jw = whole_judgement(&worse);
		enum verdict_word word = judge(&jw).word;
		assert_true(word == v.word || word == UNSURE);
	}
	assert_true(seen[WITHIN] > 1000 && seen[OUTSIDE] > 1000 && seen[UNSURE] > 1000);
}

/* In circuit a resistance is never within limits with an upper end, a
 * capacitance never within at all, whatever the numbers. */
static void circuit_is_never_falsely_sure(void **state)
{
	(void)state;
	for (int round = 0; round < 20000; round++) {
		struct whole w = draw_whole();
		struct judgement j = whole_judgement(&w);
		j.kind = (enum kind)(draw() % KIND_COUNT);
		j.in_circuit = true;
		struct verdict v = judge(&j);
		assert_true(v.word == UNSURE || (v.word == OUTSIDE && v.side == SIDE_HIGH));
		assert_int_equal(v.word == OUTSIDE, w.value - w.U > w.nominal + w.plus);
		j.function = FARAD;
		v = judge(&j);
		assert_true(v.word == UNSURE && v.reason == REASON_CIRCUIT);
		j.settled = false;
		assert_int_equal(judge(&j).reason, REASON_MOVING);
	}
}

/* Any bytes in a judgement give a verdict with sane fields. */
static void any_numbers_are_judged(void **state)
{
	(void)state;
	for (int round = 0; round < 50000; round++) {
		struct judgement j = {.has_value = draw() % 4 != 0, .has_nominal = draw() % 2,
		                      .has_above = draw() % 2, .in_circuit = draw() % 2,
		                      .settled = draw() % 4 != 0, .offset_missing = draw() % 2};
		struct decimal *ds[] = {&j.value, &j.above, &j.nominal, &j.limits.low, &j.limits.high};
		for (size_t i = 0; i < 5; i++)
			*ds[i] = (struct decimal){(int64_t)(draw() % 1999999999999999999u) -
			                              INT64_C(999999999999999999),
			                          (int)(draw() % 81) - 40};
		j.limits.has_low = draw() % 2;
		j.limits.has_high = draw() % 2;
		j.u = pow(10, (double)(draw() % 100) - 50);
		j.kind = (enum kind)(draw() % KIND_COUNT);
		j.function = (enum function)(draw() % FUNCTION_COUNT);
		struct verdict v = judge(&j);
		assert_true(!v.has_probability || (v.probability >= 0 && v.probability <= 1));
		assert_true(isfinite(v.deviation));
		assert_non_null(memchr(v.why, '\0', sizeof v.why));
		assert_int_equal(v.word == VERDICT_NONE, !j.limits.has_low && !j.limits.has_high);
		assert_true(v.word != UNSURE || v.reason != REASON_NONE);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(holds_for_all),
	    cmocka_unit_test(circuit_is_never_falsely_sure),
	    cmocka_unit_test(any_numbers_are_judged),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
