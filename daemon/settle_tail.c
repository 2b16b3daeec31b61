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
 * over all pairs of time constants that matter, and with
 *
 *     y = c + (a + b t / tau_j) exp(-t / tau_j) + noise
 *
 * as a display does that lags by two stages alike: without it such a display, and many an
 * approach that is one exponential but for its jitter, was taken for a pair.
 *
 * With the noise given, c, a and b are linear; a and b have the prior normal(0, S), S the
 * way that was gone, so that a second shape which the readings do not need costs what it
 * should (Occam's factor).  The chance that more than a digit is still to go, over all
 * shapes and levels of noise, is the answer.
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
	double sw, swz, swzz;
	double noise[NOISES], prior[NOISES]; /* digits, log */
};

static void tail_gather(struct tail *y, const struct settle_law *law,
                        const struct settle_limits *limits, const struct settle_run *best)
{
	y->n = 0;
	y->sw = y->swz = y->swzz = 0;
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

/* One shape of the law at every reading, and where it is now; sums are weighted, about the means. */
struct shape {
	double at[SETTLE_POINTS], now;
	double sum, square, z;
};

static void shape_sum(const struct tail *y, struct shape *s)
{
	double sum = 0, square = 0, z = 0;
	for (int i = 0; i < y->n; i++) {
		sum += y->w[i] * s->at[i];
		square += y->w[i] * s->at[i] * s->at[i];
		z += y->w[i] * s->at[i] * y->z[i];
	}
	s->sum = sum;
	s->square = square - sum * sum / y->sw;
	s->z = z - sum * y->swz / y->sw;
}

/* exp(-t / tau), 1 when the run began. */
static void shape_fall(const struct tail *y, double tau, struct shape *s)
{
	for (int i = 0; i < y->n; i++)
		s->at[i] = exp((y->s[i] - y->age) / tau);
	s->now = exp(-y->age / tau);
	shape_sum(y, s);
}

/* t / tau exp(-t / tau). */
static void shape_lag(const struct tail *y, double tau, const struct shape *fall, struct shape *s)
{
	for (int i = 0; i < y->n; i++)
		s->at[i] = fall->at[i] * (y->age - y->s[i]) / tau;
	s->now = fall->now * y->age / tau;
	shape_sum(y, s);
}

/* All pairs and levels of noise. */
struct sum {
	struct evidence all;
	double ridge, digits;
	double best, noise, a, b; /* the likeliest */
	const struct shape *x, *u;
};

static double above(double x)
{
	return x > 9 ? 0 : x < -9 ? 1 : 0.5 * erfc(x * M_SQRT1_2);
}

/* All levels of noise of one fit: `left` digits still to go, with variance `spread2`
 * times that of the noise.  True where it is the likeliest so far. */
static bool levels_add(struct sum *s, const struct tail *y, double lead, double rss, double left,
                       double spread2)
{
	bool best = false;
	for (int k = 0; k < NOISES; k++) {
		double noise = y->noise[k];
		double l = lead + y->prior[k] - (y->sw - 1) * log(noise) - rss / (2 * noise * noise);
		if (l < s->all.top - 9)
			continue;
		double spread = noise * sqrt(spread2), allowed = fmax(s->digits, s->digits * noise);
		double out = above((allowed - left) / spread) + above((allowed + left) / spread);
		evidence_add(&s->all, l, fmin(1, out));
		if (l > s->best) {
			s->best = l;
			s->noise = noise;
			best = true;
		}
	}
	return best;
}

/* y = c + a x */
static void add_one(struct sum *s, const struct tail *y, double log_share, const struct shape *x)
{
	double d = x->square + s->ridge, a = x->z / d;
	double lead = log_share + 0.5 * log(s->ridge / d), rss = fmax(0, y->swzz - a * x->z);
	if (levels_add(s, y, lead, rss, a * x->now, x->now * x->now / d)) {
		s->a = a;
		s->b = 0;
		s->x = s->u = x;
	}
}

/* y = c + a x + b u */
static void add_two(struct sum *s, const struct tail *y, double log_share, const struct shape *x,
                    const struct shape *u)
{
	double xu = 0;
	for (int i = 0; i < y->n; i++)
		xu += y->w[i] * x->at[i] * u->at[i];
	xu -= x->sum * u->sum / y->sw;
	double p = x->square + s->ridge, q = u->square + s->ridge, det = p * q - xu * xu;
	if (!(det > 1e-12 * p * q))
		return;
	double a = (q * x->z - xu * u->z) / det, b = (p * u->z - xu * x->z) / det;
	double rss = fmax(0, y->swzz - a * x->z - b * u->z);
	double spread2 = (q * x->now * x->now - 2 * xu * x->now * u->now + p * u->now * u->now) / det;
	double lead = log_share + 0.5 * log(s->ridge * s->ridge / det);
	if (levels_add(s, y, lead, rss, a * x->now + b * u->now, spread2)) {
		s->a = a;
		s->b = b;
		s->x = x;
		s->u = u;
	}
}

double law_tail(const struct settle_law *law, const struct settle_limits *limits,
                const struct settle_run *best, int *count)
{
	static const double ridge_noise = 0.5; /* digits; it matters little */
	struct tail y;
	struct shape fall[TAUS], lag[TAUS];
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
	double one = log((1 - limits->tail_share) * (1 - limits->tail_lag));
	double lagged = log((1 - limits->tail_share) * limits->tail_lag);
	double two = log(limits->tail_share / (WIDEST_PAIR - NEAREST_PAIR + 1));
	struct sum s = {
	    .all.top = -INFINITY,
	    .best = -INFINITY,
	    .ridge = ridge_noise * ridge_noise / (y.way * y.way),
	    .digits = limits->tail_digits,
	};
	for (int j = low; j <= high; j++) {
		shape_fall(&y, tail_tau(j), &fall[j]);
		add_one(&s, &y, one, &fall[j]);
		shape_lag(&y, tail_tau(j), &fall[j], &lag[j]);
		add_two(&s, &y, lagged, &fall[j], &lag[j]);
	}
	for (int k = low + NEAREST_PAIR; k <= high; k++)
		for (int j = k - NEAREST_PAIR; j >= low && j >= k - WIDEST_PAIR; j--)
			add_two(&s, &y, two, &fall[j], &fall[k]);
	for (int i = y.n; s.x && i-- > 0; ++*count) {
		double left = s.a * s.x->at[i] + s.b * s.u->at[i];
		if (fabs(left) > limits->tail_rest_digits + limits->tail_rest_sigma * s.noise)
			break;
	}
	return s.all.total > 0 ? s.all.off / s.all.total : 1;
}
