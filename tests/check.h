/* SPDX-License-Identifier: MIT */
/*
 * What every test program includes: cmocka with its prerequisites, and the
 * comparison of doubles that cmocka 1.1.5 lacks (its assert_float_equal rounds
 * both sides to float first, so that 1.0 and 1.00000001 pass as equal).
 */
#ifndef TALLY_TESTS_CHECK_H
#define TALLY_TESTS_CHECK_H

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

/* |got - want| <= tolerance, in double; NaN never passes. */
static inline int near_enough(double got, double want, double tolerance)
{
	return got == want || fabs(got - want) <= tolerance;
}

#define assert_near(got, want, tolerance)                                                    \
	do {                                                                                     \
		double got_ = (got), want_ = (want), tol_ = (tolerance);                             \
		if (!near_enough(got_, want_, tol_)) {                                               \
			print_error("%s:%d: %s is %.17g, expected %.17g within %.3g\n", __FILE__,        \
			            __LINE__, #got, got_, want_, tol_);                                  \
			fail();                                                                          \
		}                                                                                    \
	} while (0)

#define assert_near_relative(got, want, relative) \
	assert_near(got, want, fabs(want) * (relative))

/* Which row of a table a failure belongs to. */
#define note_row(...)                  \
	do {                               \
		print_message("  row: ");      \
		print_message(__VA_ARGS__);    \
		print_message("\n");           \
	} while (0)

#endif
