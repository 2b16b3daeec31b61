/* SPDX-License-Identifier: MIT */
/*
 * Does an approach that looks finished have a second, slower tail?
 *
 * settle_run.c weighs one exponential; many parts have two (a capacitor through two
 * resistances, a supply that sags behind its filter, dielectric absorption).  Where
 * one exponential says "at rest", the readings of its run are looked at once more,
 * with
 *
 *     y = c + a x_j + b x_k + noise,    tau_k 2 to 8 times tau_j,    or b = 0
 *
 * over all pairs of time constants that matter.  With the noise given, c, a and b
 * are linear; a and b have the prior normal(0, S), S the way that was gone, so that a
 * pair which the readings do not need costs what it should (Occam's factor).  The
 * chance that a x_j + b x_k is still more than a digit, over all pairs and levels of
 * noise, is the answer.
 *
 * Looked at only when all else says "at rest", so it may cost some 30 us.
 */
#include "daemon/settle_law_parts.h"

#include <math.h>
#include <string.h>

/* Time constants in finer steps than those of the one exponential: a pair is told from one
 * of them by little. */
#define FINE 3
#define TAUS (SETTLE_TAUS * FINE)
enum {
	/* tau_k / tau_j from 1.8 to 8.2: nearer ones are as good as one, farther ones are two
	 * approaches, of which the first is over. */
	NEAREST_PAIR = 2 * FINE,
	WIDEST_PAIR = 7 * FINE,
	/* Around the time constant of the one exponential: it lies between the two. */
	BELOW_BEST = 8 * FINE,
	ABOVE_BEST = 5 * FINE,
	NOISES = 6, /* levels, 1.6 times from one to the next */
};

static double tail_tau(int j)
{
	return settle_tau_seconds(0) * pow(SETTLE_TAU_RATIO, j / (double)FINE);
}

void law_history_add(struct settle_law *law, int64_t t, double value, double w)
{
	if (law->points == SETTLE_POINTS) {
		/* Two become one: what is old keeps its weight and loses only its detail. */
		for (int i = 0; i < SETTLE_POINTS / 2; i++) {
			const struct settle_point *a = &law->point[2 * i], *b = a + 1;
			struct settle_point *to = &law->point[i];
			double all = a->w + b->w;
			*to = (struct settle_point){
			    .t = a->t + (int64_t)(b->w / all * (double)(b->t - a->t)),
			    .value = (a->w * a->value + b->w * b->value) / all,
			    .w = all,
			};
		}
		law->points = SETTLE_POINTS / 2;
	}
	law->point[law->points++] = (struct settle_point){t, value, w};
}

/* The readings of the run as the fit wants them, z and S in digits. */
struct tail {
	int n;
	double z[SETTLE_POINTS], w[SETTLE_POINTS], s[SETTLE_POINTS]; /* s: seconds ago */
	double age;  /* s since the run began */
	double way;  /* S */
	double x[TAUS][SETTLE_POINTS];
	double sw, swz, swzz, lw;
	double noise[NOISES], prior[NOISES]; /* digits, log */
};

static void tail_gather(struct tail *y, const struct settle_law *law,
                        const struct settle_limits *limits, const struct settle_run *best)
{
	y->n = 0;
	y->sw = y->swz = y->swzz = y->lw = 0;
	y->way = limits->law_start_digits;
	y->age = (double)(law->t - best->t0) * 1e-6;
	for (int i = 0; i < law->points; i++) {
		const struct settle_point *p = &law->point[i];
		if (p->t < best->t0)
			continue;
		double ago = (double)(law->t - p->t) * 1e-6;
		double z = (p->value - law->last) / law->digit;
		y->way = fmax(y->way, fabs(z));
		/* What lies far back on the way says little of its end. */
		double w = p->w * exp(-fabs(z) / limits->tail_memory_digits);
		if (w < 1e-6)
			continue;
		y->s[y->n] = ago;
		y->z[y->n] = z;
		y->w[y->n++] = w;
		y->sw += w;
		y->swz += w * z;
		y->swzz += w * z * z;
	}
	y->swzz -= y->swz * y->swz / y->sw;
	for (int k = 0; k < NOISES; k++) {
		y->noise[k] = limits->tail_noise * pow(1.6, k);
		y->prior[k] = -limits->law_noise_step * k;
	}
	law_noise_known(law, limits, y->noise, y->prior, NOISES);
}

struct moments {
	double x, z, xx; /* means and squares about them, weighted */
};

static void tail_moments(struct tail *y, int j, double *sxx, double *sxz, double *mean)
{
	double tau = tail_tau(j), sx = 0, xx = 0, xz = 0;
	for (int i = 0; i < y->n; i++) {
		/* 1 when the run began. */
		double x = exp((y->s[i] - y->age) / tau);
		y->x[j][i] = x;
		sx += y->w[i] * x;
		xx += y->w[i] * x * x;
		xz += y->w[i] * x * y->z[i];
	}
	*mean = sx;
	*sxx = xx - sx * sx / y->sw;
	*sxz = xz - sx * y->swz / y->sw;
}

/* All pairs and levels of noise. */
struct sum {
	struct evidence all;
	double best, noise, a, b; /* the likeliest */
	int j, k;
};

static double above(double x)
{
	return x > 9 ? 0 : x < -9 ? 1 : 0.5 * erfc(x * M_SQRT1_2);
}

/* All levels of noise of one fit: `left` digits still to go, with variance `spread2`
 * times that of the noise. */
static void levels_add(struct sum *s, const struct tail *y, double lead, double rss, double left,
                       double spread2, double digits, double a, double b, int j, int kk)
{
	for (int k = 0; k < NOISES; k++) {
		double noise = y->noise[k];
		double l = lead + y->prior[k] - (y->sw - 1) * log(noise) - rss / (2 * noise * noise);
		if (l < s->all.top - 9)
			continue;
		double spread = noise * sqrt(spread2), allowed = fmax(digits, digits * noise);
		double out = above((allowed - left) / spread) + above((allowed + left) / spread);
		evidence_add(&s->all, l, fmin(1, out));
		if (l > s->best) {
			s->best = l;
			s->noise = noise;
			s->a = a;
			s->b = b;
			s->j = j;
			s->k = kk;
		}
	}
}

double law_tail(const struct settle_law *law, const struct settle_limits *limits,
                const struct settle_run *best, int *count)
{
	static const double ridge_noise = 0.5; /* digits; it matters little */
	struct tail y;
	double sxx[TAUS], sxz[TAUS], sx[TAUS];
	*count = 0;
	if (best->best_a == 0)
		return 0;
	tail_gather(&y, law, limits, best);
	if (y.n < 4)
		return 1;
	int low = FINE * best->best_tau - BELOW_BEST, high = FINE * best->best_tau + ABOVE_BEST;
	if (low < 0)
		low = 0;
	if (high > TAUS - 1)
		high = TAUS - 1;
	double ridge = ridge_noise * ridge_noise / (y.way * y.way);
	double single = log(1 - limits->tail_share), both = log(limits->tail_share / (WIDEST_PAIR - NEAREST_PAIR + 1));
	struct sum s = {.all.top = -INFINITY, .best = -INFINITY};
	for (int j = low; j <= high; j++) {
		tail_moments(&y, j, &sxx[j], &sxz[j], &sx[j]);
		double d = sxx[j] + ridge, a = sxz[j] / d;
		double x = exp(-y.age / tail_tau(j));
		levels_add(&s, &y, single + 0.5 * log(ridge / d), fmax(0, y.swzz - a * sxz[j]),
		           a * x, x * x / d, limits->tail_digits, a, 0, j, j);
	}
	for (int k = low + NEAREST_PAIR; k <= high; k++) {
		double xk = exp(-y.age / tail_tau(k));
		for (int j = k - NEAREST_PAIR; j >= low && j >= k - WIDEST_PAIR; j--) {
			double sxu = 0;
			for (int i = 0; i < y.n; i++)
				sxu += y.w[i] * y.x[j][i] * y.x[k][i];
			sxu -= sx[j] * sx[k] / y.sw;
			double p = sxx[j] + ridge, q = sxx[k] + ridge, det = p * q - sxu * sxu;
			if (!(det > 1e-12 * p * q))
				continue;
			double a = (q * sxz[j] - sxu * sxz[k]) / det, b = (p * sxz[k] - sxu * sxz[j]) / det;
			double xj = exp(-y.age / tail_tau(j));
			double rss = fmax(0, y.swzz - a * sxz[j] - b * sxz[k]);
			double spread2 = (q * xj * xj - 2 * sxu * xj * xk + p * xk * xk) / det;
			levels_add(&s, &y, both + 0.5 * log(ridge * ridge / det), rss, a * xj + b * xk,
			           spread2, limits->tail_digits, a, b, j, k);
		}
	}
	for (int i = y.n; i-- > 0;) {
		double left = s.a * y.x[s.j][i] + s.b * y.x[s.k][i];
		if (fabs(left) > limits->tail_rest_digits + limits->tail_rest_sigma * s.noise)
			break;
		++*count;
	}
	return s.all.total > 0 ? s.all.off / s.all.total : 1;
}
