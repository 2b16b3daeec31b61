/* SPDX-License-Identifier: MIT */
/*
 * Which pitch is in these samples, found without knowing how they were made: counts
 * the upward zero crossings between the first and the last one.
 */
#ifndef TALLY_TESTS_PITCH_H
#define TALLY_TESTS_PITCH_H

#include <math.h>
#include <stddef.h>
#include <stdint.h>

/* Mean square. */
static inline double pitch_power(const int16_t *pcm, size_t n)
{
	double sum = 0;
	for (size_t i = 0; i < n; i++)
		sum += (double)pcm[i] * pcm[i];
	return n ? sum / (double)n : 0;
}

/* In hertz; 0 where there are not two crossings. */
static inline double pitch_of(const int16_t *pcm, size_t n, double rate)
{
	double first = -1, last = -1;
	int waves = 0;
	for (size_t i = 1; i < n; i++) {
		if (pcm[i - 1] >= 0 || pcm[i] < 0)
			continue;
		last = (double)i - (double)pcm[i] / (double)(pcm[i] - pcm[i - 1]);
		if (first < 0)
			first = last;
		else
			waves++;
	}
	return waves ? waves * rate / (last - first) : 0;
}

#endif
