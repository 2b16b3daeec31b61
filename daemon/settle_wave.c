/* SPDX-License-Identifier: MIT */
/*
 * Is what looks like noise a slow wave?
 *
 * Hum that beats with the pace of a meter, and a supply that hunts, show as a sine of a few
 * readings a period.  To settle_run.c that is a rest with much noise; it never settles.  Where
 * all else says "at rest", the readings of the likeliest run are weighed once more between
 *
 *     y = c + noise,    y = c + d t + noise    (creep, which is logged)
 *     y = c + A cos(w t) + B sin(w t) + noise
 *
 * over all frequencies that the readings can tell apart, from less than half a turn among
 * them to nearly two readings a period, and over all levels of noise.  With these
 * given c, A, B and d are linear; A and B have the prior normal(0, S), S from a few digits to
 * hundreds, d normal(0, drift).  White noise of few readings can be fitted by some wave as well:
 * what three parameters more must cost (Occam's factor) comes out of the integrals.  The
 * chance that it is a wave is the answer.
 *
 * Costs up to 60 us, and only where all else says "at rest".
 */
#include "daemon/settle_law_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
	LEAST = 5,   /* readings: fewer fit any wave */
	NOISES = 9,  /* levels, 1.6 times from one to the next */
	WIDTHS = 5,  /* S: 3 digits, 3 times from one to the next */
};

static const double least_width = 3;
static const double least_turns = 0.4; /* among the readings; less is creep or an approach */
static const double most_per_reading = 0.48; /* turns; at a half sine and cosine are one */
static const double step_turns = 0.25; /* frequencies nearer than that look the same */
static const double stray_times = 5; /* the middle distance from the middle */
static const double drift = 0.5;  /* digits a reading */

struct wave {
	int n;
	double t[SETTLE_WAVE], z[SETTLE_WAVE]; /* in readings, in digits, both about their means */
	double szz;
	double noise[NOISES], lead[NOISES];
};

static int compare_doubles(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;
	return (x > y) - (x < y);
}

static double median(const double *x, int n)
{
	double sorted[SETTLE_WAVE];
	memcpy(sorted, x, (size_t)n * sizeof *x);
	qsort(sorted, (size_t)n, sizeof *sorted, compare_doubles);
	return sorted[n / 2];
}

/* Without strays: what lies much further from the middle than most. */
static void wave_trim(struct wave *y)
{
	double away[SETTLE_WAVE], middle = median(y->z, y->n);
	int n = 0;
	for (int i = 0; i < y->n; i++)
		away[i] = fabs(y->z[i] - middle);
	double most = stray_times * fmax(1, median(away, y->n));
	for (int i = 0; i < y->n; i++) {
		if (fabs(y->z[i] - middle) > most)
			continue;
		y->t[n] = y->t[i];
		y->z[n++] = y->z[i];
	}
	y->n = n;
}

static bool wave_gather(struct wave *y, const struct settle_law *law,
                        const struct settle_limits *limits, int64_t since)
{
	int have = law->waves < SETTLE_WAVE ? law->waves : SETTLE_WAVE;
	double st = 0, sz = 0, pace = fmax(law->pace, 1e-6);
	y->n = 0;
	for (int i = 0; i < have; i++) {
		int at = (law->waves - have + i) % SETTLE_WAVE;
		if (law->wave_t[at] < since)
			continue;
		y->t[y->n] = (double)(law->wave_t[at] - law->t) * 1e-6 / pace;
		y->z[y->n++] = (law->wave[at] - law->last) / law->digit;
	}
	if (y->n < LEAST)
		return false;
	wave_trim(y);
	if (y->n < LEAST)
		return false;
	for (int i = 0; i < y->n; i++) {
		st += y->t[i];
		sz += y->z[i];
	}
	y->szz = 0;
	for (int i = 0; i < y->n; i++) {
		y->t[i] -= st / y->n;
		y->z[i] -= sz / y->n;
		y->szz += y->z[i] * y->z[i];
	}
	for (int k = 0; k < NOISES; k++) {
		y->noise[k] = settle_noise_digits(k);
		y->lead[k] = -limits->law_noise_step * k;
	}
	law_noise_known(law, limits, y->noise, y->lead, NOISES);
	for (int k = 0; k < NOISES; k++)
		y->lead[k] -= (y->n - 1) * log(y->noise[k]);
	return y->t[y->n - 1] > y->t[0];
}

/* Constant, or creeping. */
static void wave_rest(const struct wave *y, double log_share, struct evidence *sum)
{
	double stt = 0, stz = 0;
	for (int i = 0; i < y->n; i++) {
		stt += y->t[i] * y->t[i];
		stz += y->t[i] * y->z[i];
	}
	for (int k = 0; k < NOISES; k++) {
		double v = y->noise[k] * y->noise[k], d = stt + v / (drift * drift);
		double l = log_share - M_LN2 + y->lead[k];
		evidence_add(sum, l - y->szz / (2 * v), 0);
		evidence_add(sum, l + 0.5 * log(v / (drift * drift) / d) -
		                  (y->szz - stz * stz / d) / (2 * v), 0);
	}
}

/* One frequency, `w` radians a reading. */
static void wave_at(const struct wave *y, double w, double log_share, struct evidence *sum)
{
	double c[SETTLE_WAVE], s[SETTLE_WAVE], mc = 0, ms = 0;
	double cc = 0, ss = 0, cs = 0, cz = 0, sz = 0;
	for (int i = 0; i < y->n; i++) {
		mc += c[i] = cos(w * y->t[i]);
		ms += s[i] = sin(w * y->t[i]);
	}
	mc /= y->n;
	ms /= y->n;
	for (int i = 0; i < y->n; i++) {
		double a = c[i] - mc, b = s[i] - ms;
		cc += a * a;
		ss += b * b;
		cs += a * b;
		cz += a * y->z[i];
		sz += b * y->z[i];
	}
	double width = least_width;
	for (int j = 0; j < WIDTHS; j++, width *= 3)
		for (int k = 0; k < NOISES; k++) {
			double v = y->noise[k] * y->noise[k], r = v / (width * width);
			double p = cc + r, q = ss + r, det = p * q - cs * cs;
			double fit = (q * cz * cz - 2 * cs * cz * sz + p * sz * sz) / det;
			double l = log_share + y->lead[k] + 0.5 * log(r * r / det) -
			           fmax(0, y->szz - fit) / (2 * v);
			if (l > sum->top - 9)
				evidence_add(sum, l, 1);
		}
}

double law_wave(const struct settle_law *law, const struct settle_limits *limits, int64_t since)
{
	struct wave y;
	struct evidence sum = {.top = -INFINITY};
	if (limits->wave_share <= 0 || !wave_gather(&y, law, limits, since))
		return 0;
	/* A display that stands still needs no look. */
	if (y.szz < y.n * limits->wave_least * limits->wave_least)
		return 0;
	double span = (y.t[y.n - 1] - y.t[0]) * y.n / (y.n - 1);
	double low = least_turns / span, step = step_turns / span;
	int steps = (int)ceil((most_per_reading - low) / step);
	if (steps < 1)
		return 0;
	/* A fine meter has noise that wanders like a slow wave. */
	double share = limits->wave_share / fmax(1, law->counts / limits->law_noise_counts);
	wave_rest(&y, log(1 - share), &sum);
	for (int i = 0; i < steps; i++)
		wave_at(&y, 2 * M_PI * (low + i * step), log(share / (steps * WIDTHS)), &sum);
	return sum.off / sum.total;
}
