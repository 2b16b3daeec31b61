/* SPDX-License-Identifier: MIT */
/*
 * The word that stands behind a goal in the tables of `make bench`.  Nothing is asserted: a
 * machine that does other things meanwhile misses one now and then.
 */
#ifndef TALLY_TESTS_BENCH_GOAL_H
#define TALLY_TESTS_BENCH_GOAL_H

#include <stdbool.h>

static inline const char *goal_word(bool met)
{
	return met ? "met" : "MISSED";
}

#endif
