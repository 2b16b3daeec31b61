/* SPDX-License-Identifier: MIT */
/*
 * An entry comes by the reading at which it is due (40-settle: the 4th undisturbed conversion, the
 * 8th after an approach) and not from one that moves: displays that lag by two stages, supplies
 * that come up evenly, half a contact next to the rest, ways of a hundred million digits, and the
 * ends of ways that a coarser range hid.
 *
 * The figures of meters are common practice, no source.
 */
#include "tests/check.h"

#include "tests/traces.h"
#include "daemon/settle.h"

enum { READINGS = 400 };

/* What a display shows: v in units of `e`, or of a coarser range beyond 60000 of them. */
static struct reading shown(double v, int e)
{
	struct reading r = {.function = FUNCTION_OHM, .has_value = true};
	for (; fabs(v) >= 60000; e++)
		v /= 10;
	r.value = (struct decimal){llround(v), e};
	return r;
}

/* Readings after which it settled, 0: never.  v in units of `e`, at t or every `seconds`; *value:
 * what it settled on. */
static int settles_after(const double *v, const double *t, int n, int e, double seconds,
                         const struct settle_limits *limits, double *value)
{
	static struct settle s;
	settle_init(&s, limits, 1);
	for (int i = 0; i < n; i++) {
		struct reading r = shown(v[i], e);
		r.t = (int64_t)((t ? t[i] : i * seconds) * 1e6);
		if (settle_reading(&s, &r) & SETTLE_SETTLED) {
			if (value)
				*value = (double)settle_result(&s)->value.n;
			return i + 1;
		}
	}
	return 0;
}

/* Two low-pass stages alike, of a meter whose clock jitters; the time constant in readings, the way
 * in digits. */
static void test_lag(void **state)
{
	(void)state;
	struct settle_limits pairs = settle_limits_standard;
	struct chance c = {3};
	int late = 0, late_without = 0, rows = 0;
	pairs.tail_lag = 0.0001;
	for (double tau = 1; tau < 4; tau *= 1.13)
		for (double way = -3000; way < 3000; way += 850, rows++) {
			double v[READINGS / 4], t[READINGS / 4], rest = 12000 + chance_unit(&c);
			int due = 0;
			for (int i = 0; i < READINGS / 4; i++) {
				t[i] = 0.33 * (i + 0.12 * chance_unit(&c));
				v[i] = rest + way * (1 + i / tau) * exp(-i / tau);
				due = fabs(v[i] - rest) > 0.5 ? i + 1 + 8 : due;
			}
			int n = settles_after(v, t, READINGS / 4, -3, 0, &settle_limits_standard, NULL);
			late += !n || n > due;
			if (n && fabs(v[n - 1] - rest) > 1) {
				note_row("tau %g, way %g: settled %g digits off", tau, way, v[n - 1] - rest);
				fail();
			}
			n = settles_after(v, t, READINGS / 4, -3, 0, &pairs, NULL);
			late_without += !n || n > due;
		}
	assert_true(late * 25 <= rows);
	/* It is this hypothesis that does it. */
	assert_true(late_without > late);
}

/* A supply that comes up by some ten digits a reading, with noise, and then stands. */
static void test_rise(void **state)
{
	(void)state;
	int late = 0;
	for (uint64_t seed = 1; seed <= 60; seed++) {
		double v[60], t[60];
		struct chance c = {seed};
		int way = 6 + (int)(seed % 7);
		double pace = chance_between(&c, 7, 14);
		for (int i = 0; i < 60; i++) {
			t[i] = 0.7 * (i + 0.12 * chance_unit(&c));
			v[i] = 375.2 - pace * fmax(0, way - i) + 0.8 * chance_normal(&c);
		}
		int n = settles_after(v, t, 60, -1, 0, &settle_limits_standard, NULL);
		late += !n || n > way + 8;
	}
	/* (Noise of a digit beside steps of ten: some look like an approach to their end.) */
	assert_in_range(late, 0, 18);
}

static void test_beside(void **state)
{
	(void)state;
	static const struct {
		const char *what;
		double v[9];
		int due, least;
	} rows[] = {
		{"half of the first conversion", {1222, 1231, 1229, 1231, 1230, 1231, 1231, 1231, 1231}, 5, 4},
		{"the same, of a display that jumps", {1537, 1550, 1551, 1552, 1550, 1551, 1551, 1551, 1551}, 6, 4},
		{"a stray of a few digits", {111, 123, 111, 111, 111, 111, 111, 111, 111}, 6, 4},
		/* The middle of the first four is the level that was left. */
		{"a level that was left", {208, 208, 208, 204, 204, 204, 204, 204, 204}, 7, 7},
		/* Twice is no stray. */
		{"two that go", {1210, 1222, 1231, 1231, 1231, 1231, 1231, 1231, 1231}, 9, 4},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		int n = settles_after(rows[i].v, NULL, 9, -3, 0.6, &settle_limits_standard, NULL);
		if (!n || n > rows[i].due || n < rows[i].least) {
			note_row("%s: settled after %d, due %d", rows[i].what, n, rows[i].due);
			fail();
		}
	}
}

/*
 * A meter that changes range by range hides an approach, and shows the last digits of it alone.
 * Rows of made-up approaches with the rest that they go to, in digits of the finest range.
 */
static void test_hidden(void **state)
{
	(void)state;
	static const struct {
		const char *what;
		struct decimal v[20];
		double rest;
		int least, due; /* it settles between these */
	} rows[] = {
		{"a digit a reading",
		 {{3, 1}, {19, 0}, {185, -1}, {184, -1}, {183, -1}, {182, -1}, {181, -1}, {181, -1}, {181, -1},
		  {180, -1}, {180, -1}, {180, -1}, {180, -1}, {180, -1}, {180, -1}, {180, -1}},
		 180.1, 8, 17},
		{"two digits a reading, and a still display",
		 {{2, 2}, {26, 1}, {255, 0}, {253, 0}, {251, 0}, {251, 0}, {250, 0}, {250, 0}, {249, 0},
		  {249, 0}, {249, 0}, {249, 0}, {249, 0}, {249, 0}},
		 248.6, 8, 14},
		{"the end of one: the value is that of its end",
		 {{5, 1}, {45, 0}, {448, -1}, {447, -1}, {446, -1}, {446, -1}, {446, -1}, {446, -1}},
		 445.6, 5, 7},
		{"noise", {{1, 1}, {13, 0}, {126, -1}, {1258, -2}, {1257, -2}, {1258, -2}, {1257, -2}}, 1257.4, 5, 7},
		{"half a contact", {{6, 1}, {45, 0}, {406, -1}, {395, -1}, {395, -1}, {395, -1}, {395, -1}}, 395, 6, 7},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		static struct settle s;
		int n = 0, end = 0;
		double value = NAN;
		settle_init(&s, &settle_limits_standard, 1);
		for (int k = 0; k < 20 && rows[i].v[k].n && !n; k++) {
			struct reading r = {.function = FUNCTION_OHM, .has_value = true};
			r.t = (int64_t)(k * 0.42e6);
			r.value = rows[i].v[k];
			end = k + 1;
			if (settle_reading(&s, &r) & SETTLE_SETTLED)
				n = end;
		}
		if (n)
			value = (double)settle_result(&s)->value.n;
		if (n < rows[i].least || n > rows[i].due || !(fabs(value - rows[i].rest) <= 1.25)) {
			note_row("%s: settled after %d of %d (due %d to %d) on %g, rest %g", rows[i].what, n, end,
			         rows[i].least, rows[i].due, value, rows[i].rest);
			fail();
		}
	}
}

/* From megohms below to some ohms in hundredths: the squares of the way leave no
 * bits for the last digits, if they are kept. */
static void test_far(void **state)
{
	(void)state;
	for (uint64_t seed = 1; seed <= 12; seed++) {
		double v[READINGS], rest = 1849.8, tau = 9 + (double)seed / 3;
		struct chance c = {seed};
		for (int i = 0; i < READINGS; i++)
			v[i] = rest - 2.1e8 * exp(-i / tau) + 0.5 * chance_normal(&c);
		double value = NAN;
		int n = settles_after(v, NULL, READINGS, -2, 0.112, &settle_limits_standard, &value);
		double left = n ? -2.1e8 * exp(-(n - 1) / tau) : INFINITY;
		int due = (int)ceil(tau * log(2.1e8 / 0.75)) + 8 + 2;
		if (!(fabs(left) <= 1.0) || n > due || !(fabs(value - rest) <= 1.25 + 2.2 * 0.5)) {
			note_row("seed %d: settled after %d (due %d) with %g digits to go, value %g off",
			         (int)seed, n, due, left, value - rest);
			fail();
		}
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_lag),
		cmocka_unit_test(test_rise),
		cmocka_unit_test(test_beside),
		cmocka_unit_test(test_hidden),
		cmocka_unit_test(test_far),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
