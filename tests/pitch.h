/* SPDX-License-Identifier: MIT */
/*
 * Which pitch is in these samples, found without knowing how they were made: counts
 * the upward zero crossings between the first and the last one.
 */
#ifndef TALLY_TESTS_PITCH_H
#define TALLY_TESTS_PITCH_H

#include <math.h>
#include <stdbool.h>
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

/* The notes that are in it, at most 64, found by the silence between them. */
static inline int pitch_notes(const int16_t *pcm, size_t n, int rate, double hertz[64],
                              double ms[64])
{
	const size_t step = (size_t)rate / 200;
	size_t from = 0;
	int notes = 0;
	bool on = false;
	for (size_t at = 0; at + step <= n; at += step) {
		bool loud = pitch_power(pcm + at, step) > 1000;
		if (loud && !on)
			from = at;
		bool last = at + 2 * step > n;
		if (on && (!loud || last) && notes < 64) {
			size_t to = last && loud ? at + step : at;
			hertz[notes] = pitch_of(pcm + from, to - from, rate);
			ms[notes++] = (double)(to - from) * 1000 / rate;
		}
		on = loud;
	}
	return notes;
}

#endif
