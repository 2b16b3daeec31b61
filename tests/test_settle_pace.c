/* SPDX-License-Identifier: MIT */
/*
 * The pace of a meter that is often silent: gaps are not its pace, and so equal readings after
 * them are not frames that were sent twice.
 */
#include "tests/check.h"

#include "daemon/settle.h"

#define MS 1000
#define PERIOD (250 * MS)

static struct settle s;
static int64_t t;

static void say(enum function f, int64_t n, int e, int count)
{
	for (int i = 0; i < count; i++, t += PERIOD) {
		struct reading r = {.t = t, .function = f, .has_value = true, .value = {n, e}};
		settle_reading(&s, &r);
	}
}

static void silent(int64_t ms)
{
	t += ms * MS;
}

static void begin(void)
{
	settle_init(&s, NULL, 1);
	t = 0;
}

/* Whether the value that stands now is at rest, and of how many conversions. */
static void at_rest(int64_t n, int least)
{
	struct settle_result r;
	struct fault why;
	assert_true(settle_take(&s, t - PERIOD, &r, &why));
	assert_int_equal(r.value.n, n);
	assert_true(r.settled);
	assert_in_range(r.n, least, 1000);
}

/* The dial is turned, and after a long silence comes 6.28 V, then another place: 1.20 V. */
static void another_dial(void **state)
{
	(void)state;
	begin();
	say(FUNCTION_VOLT_DC, -360, -1, 16);
	silent(13000);
	say(FUNCTION_VOLT_AC, 628, -2, 16);
	assert_int_equal(settle_period(&s), PERIOD);
	at_rest(628, 12);
	silent(3000);
	say(FUNCTION_VOLT_AC, 120, -2, 16);
	at_rest(120, 12);
}

/* Gaps among the first readings, before there was a pace: none of them is kept. */
static void gaps_first(void **state)
{
	(void)state;
	for (int gaps = 1; gaps <= 3; gaps++) {
		note_row("%d gaps", gaps);
		begin();
		for (int i = 0; i < gaps; i++) {
			say(FUNCTION_VOLT_DC, 4000 + 700 * i, -1, 1);
			silent(9000);
		}
		say(FUNCTION_VOLT_DC, 2860, -1, 24);
		assert_int_equal(settle_period(&s), PERIOD);
		at_rest(2860, 8);
	}
}

/* What is sent twice is one conversion all the same. */
static void doubled(void **state)
{
	struct settle_result r;
	struct fault why;
	(void)state;
	begin();
	say(FUNCTION_OHM, 5000, 0, 3);
	for (int i = 0; i < 8; i++) {
		say(FUNCTION_OHM, 4712, 0, 1);
		t -= PERIOD - 20 * MS;
		say(FUNCTION_OHM, 4712, 0, 1);
		t -= 20 * MS;
	}
	assert_in_range(settle_period(&s), PERIOD - 20 * MS, PERIOD); /* from the copy to the next */
	assert_true(settle_take(&s, t - PERIOD, &r, &why));
	assert_true(r.settled);
	assert_in_range(r.n, 4, 8);
}

static void at(int64_t when, enum function f, int64_t n)
{
	struct reading r = {.t = when, .function = f, .has_value = true, .value = {n, 0}};
	settle_reading(&s, &r);
	t = when;
}

/* A meter that was set to ten times the pace: its equal readings are no frames sent twice. */
static void faster(void **state)
{
	(void)state;
	begin();
	for (int i = 0; i < 12; i++)
		at(t + 1000 * MS, FUNCTION_OHM, 4712);
	assert_int_equal(settle_period(&s), 1000 * MS);
	for (int i = 0; i < 6; i++)
		at(t + 100 * MS, FUNCTION_OHM, 4712);
	assert_int_equal(settle_period(&s), 100 * MS);
}

/* The first frames come twice, before there is a pace: one gap of a lost frame is no lift then. */
static void doubled_first(void **state)
{
	(void)state;
	begin();
	at(0, FUNCTION_OHM, 1714);
	at(2 * MS, FUNCTION_OHM, 1714);
	at(612 * MS, FUNCTION_OHM, 1714);
	at(614 * MS, FUNCTION_OHM, 1714);
	assert_in_range(settle_period(&s), 600 * MS, 620 * MS);
	assert_true(settle_deadline(&s) > 612 * MS + 1300 * MS);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(another_dial),
	    cmocka_unit_test(gaps_first),
	    cmocka_unit_test(doubled),
	    cmocka_unit_test(faster),
	    cmocka_unit_test(doubled_first),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
