/* SPDX-License-Identifier: MIT */
/*
 * Chance for made-up traces: a generator that gives the same numbers on every machine, and the
 * distributions that are drawn from it.
 *
 * The order of two draws in one expression is the compiler's: where both matter, draw them in
 * statements of their own.
 */
#ifndef TALLY_TESTS_CHANCE_H
#define TALLY_TESTS_CHANCE_H

#include <math.h>
#include <stdbool.h>
#include <stdint.h>

struct chance {
	uint64_t state;
};

static inline uint64_t chance_next(struct chance *c)
{
	/* splitmix64, from memory */
	uint64_t z = (c->state += UINT64_C(0x9e3779b97f4a7c15));
	z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
	z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
	return z ^ (z >> 31);
}

static inline double chance_unit(struct chance *c)
{
	return (double)(chance_next(c) >> 11) * 0x1p-53;
}

static inline double chance_between(struct chance *c, double low, double high)
{
	return low + (high - low) * chance_unit(c);
}

static inline double chance_log(struct chance *c, double low, double high)
{
	return low * pow(high / low, chance_unit(c));
}

static inline bool chance_of(struct chance *c, double p)
{
	return chance_unit(c) < p;
}

static inline int chance_pick(struct chance *c, int n)
{
	return (int)(chance_unit(c) * n);
}

static inline double chance_normal(struct chance *c)
{
	double u = chance_unit(c), v = chance_unit(c);
	return sqrt(-2 * log(u + 1e-300)) * cos(6.283185307179586 * v);
}

#endif
