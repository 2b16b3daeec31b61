/* SPDX-License-Identifier: MIT */
/*
 * What settling learns of a meter and of a trace: the noise that the meter had at rest in its last
 * touches, a jump and back that is a stray, an even way that ends at rest.  Each is counted with
 * the look and without it, on the same seeded traces (tests/traces.h): a model, no source.
 */
#include "tests/check.h"

#include "tests/traces_score.h"

enum { SEED = 4200 };

static struct score scored(enum trace_kind kind, int traces, const struct settle_limits *limits)
{
	static struct judge j;
	struct score score = {0};
	j.limits = *limits;
	j.score = &score;
	for (uint64_t i = 0; i < (uint64_t)traces; i++) {
		struct trace tr;
		trace_make(&tr, kind, SEED + i);
		judge_trace(&j, &tr);
		trace_free(&tr);
	}
	return score;
}

/* Touches of a noisy meter that are late where it has to be learnt at each touch anew. */
static void test_noise(void **state)
{
	(void)state;
	struct settle_limits blind = settle_limits_standard;
	blind.law_noise_known = 0;
	struct score with = scored(TRACE_NOISY, 40, &settle_limits_standard);
	struct score without = scored(TRACE_NOISY, 40, &blind);
	print_message("  late of %d: %d, without %d\n", with.touches, with.late, without.late);
	assert_true(with.late < without.late);
	assert_true(with.right >= 0.985 * with.touches);
}

/* Another function, another meter as far as its noise goes. */
static void test_forgotten(void **state)
{
	(void)state;
	struct settle_law law;
	memset(&law, 0, sizeof law);
	struct settle_judgement j;
	for (int i = 0; i < 20; i++)
		settle_law_rests(&law, i % 2 ? 4 : -4);
	settle_law_reset(&law);
	for (int i = 0; i < 3; i++)
		settle_law_add(&law, &settle_limits_standard, i * 300000, 100, 1, 0.3);
	settle_law_judge(&law, &settle_limits_standard, &j);
	assert_near(j.known, 4 / sqrt(2), 1e-9);
	settle_law_forget(&law);
	settle_law_judge(&law, &settle_limits_standard, &j);
	assert_near(j.known, 0, 0);
}

/* Two strays, one after the other, and back: on time. */
static void test_strays(void **state)
{
	(void)state;
	struct settle_limits blind = settle_limits_standard;
	blind.lawless_stray = -2; /* no way back */
	struct score with = scored(TRACE_SPIKES, 20, &settle_limits_standard);
	struct score without = scored(TRACE_SPIKES, 20, &blind);
	assert_true(with.right >= 0.99 * with.touches);
	assert_true(without.late > 5 * with.late + 3);
}

/* Jumps and no way back, as a bad joint makes them, are held for longer than an even way. */
static void test_way(void **state)
{
	(void)state;
	static const double way[] = {1000, 2000, 3000, 4000, 5000, 5600};
	static const double joint[] = {1000, 4100, 2000, 5000, 1500, 5600};
	struct settle_law law[2];
	memset(law, 0, sizeof law);
	struct settle_judgement j[2];
	for (int k = 0; k < 2; k++) {
		for (int i = 0; i < 10; i++) {
			double v = (k ? joint : way)[i < 6 ? i : 5];
			settle_law_add(&law[k], &settle_limits_standard, i * 300000, v, 1, 0.3);
		}
		settle_law_judge(&law[k], &settle_limits_standard, &j[k]);
	}
	assert_true(j[0].jumps <= 1);
	assert_true(j[1].jumps >= 3);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_noise),
	    cmocka_unit_test(test_forgotten),
	    cmocka_unit_test(test_strays),
	    cmocka_unit_test(test_way),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
