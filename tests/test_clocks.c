/* SPDX-License-Identifier: MIT */
/*
 * Steps of the wall clock and the machine's sleep, told apart.  The rows are what the three
 * clocks gain between two looks a second apart, in ms.
 */
#include "tests/check.h"

#include "daemon/clocks.h"

static const struct {
	const char *legend;
	int64_t stream, boot, real; /* gained */
	int64_t slept, step;        /* due, ms */
} rows[] = {
	{ "an ordinary second", 1000, 1000, 1000, 0, 0 },
	{ "the three are read one after the other", 1000, 1000, 1040, 0, 0 },
	{ "a time daemon that hurries", 1000, 1000, 1001, 0, 0 },
	{ "set forward by an hour", 1000, 1000, 3601000, 0, 3600000 },
	{ "set back by a day", 1000, 1000, 1000 - 86400000, 0, -86400000 },
	{ "set back by a quarter of a second", 1000, 1000, 750, 0, -250 },
	{ "slept for eight hours", 1000, 28801000, 28801000, 28800000, 0 },
	{ "slept for half a second", 1000, 1500, 1500, 500, 0 },
	{ "slept, and the clock stood still meanwhile", 1000, 61000, 1000, 60000, -60000 },
	{ "slept, and was set right on waking", 1000, 61000, 63000, 60000, 2000 },
	{ "the loop was held up for a minute", 60000, 60000, 60000, 0, 0 },
};

static void each_is_told_apart(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct clocks c;
		int64_t stream = 5000000, boot = 77000000, real = 1795600800000000;
		clocks_begin(&c, stream, boot, real - stream);
		for (int again = 0; again < 2; again++) {
			stream += rows[i].stream * 1000;
			boot += rows[i].boot * 1000;
			real += rows[i].real * 1000;
			struct clocks_change change = clocks_look(&c, stream, boot, real);
			if (change.slept != rows[i].slept * 1000 || change.step != rows[i].step * 1000)
				fail_msg("%s: slept %lld, step %lld", rows[i].legend, (long long)change.slept,
				         (long long)change.step);
			/* Said once. */
			change = clocks_look(&c, stream, boot, real);
			assert_int_equal(change.slept, 0);
			assert_int_equal(change.step, 0);
			if (rows[i].step || rows[i].slept)
				assert_int_equal(c.utc + stream, real);
		}
	}
}

/* What is too little for one look is said when it has come to something. */
static void a_slow_drift_comes_out(void **state)
{
	(void)state;
	struct clocks c;
	int64_t steps = 0;
	clocks_begin(&c, 0, 0, 0);
	for (int64_t s = 1; s <= 1000; s++)
		steps += clocks_look(&c, s * 1000000, s * 1000000, s * 1001000).step;
	assert_in_range(steps, 900000, 1000000);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(each_is_told_apart),
		cmocka_unit_test(a_slow_drift_comes_out),
	};
	return cmocka_run_group_tests_name("clocks", tests, NULL, NULL);
}
