/* SPDX-License-Identifier: MIT */
/*
 * One run: the mathematics of "since this reading, nothing but the law".  The
 * formulas stand in settle_law.h; the names here are theirs.
 */
#include "daemon/settle_law_parts.h"

#include <math.h>
#include <string.h>

static const double half_log_2pi = 0.91893853320467274178;
static const double sqrt_2pi = 2.50662827463100050242;

/* Evidence that lies so far (in nats) below the best is not worth an exponential. */
static const double negligible = 9;

/* 0.03 * pow(SETTLE_TAU_RATIO, j) and 0.4 * pow(1.6, k), each to its last bit as the C library
 * rounds them: asked for hundreds of times a reading (tests/test_settle_wave.c works them out). */
static const double tau_seconds[SETTLE_TAUS] = {
	0x1.eb851eb851eb8p-6, 0x1.4bc6a7ef9db23p-5, 0x1.bfe5c91d14e3dp-5,
	0x1.2e54b48d3ae69p-4, 0x1.98258d5842b75p-4, 0x1.137fbf68603bcp-3,
	0x1.73ec7599b51d8p-3, 0x1.f618d1f5e7b4ap-3, 0x1.52ea5a85fc66cp-2,
	0x1.c9892d6814bdfp-2, 0x1.34d631d97466bp-1, 0x1.a0edf67f29f1p-1,
	0x1.196d6cc9091c5p+0, 0x1.7bed52dc32b3p+0, 0x1.007364bb089f5p+1,
	0x1.5a3561961870ap+1, 0x1.d361aa243a981p+1, 0x1.3b7b860ba78d2p+2,
	0x1.a9e6c1c2eefe8p+2, 0x1.1f7bc2c9faebdp+3, 0x1.841a46f712be6p+3,
	0x1.05f82319f973bp+4, 0x1.61a895c97729p+4, 0x1.dd7063cffa777p+4,
	0x1.42457692c910ap+5, 0x1.b310f9ac8f701p+5, 0x1.25ab75547a6bbp+6,
};
/* At least the noise of rounding (0.29 digit), and so much that a display that
 * stands still is no likelier than certain: 1 / sqrt(2 pi). */
static const double noise_digits[SETTLE_NOISES] = {
	0x1.999999999999ap-2, 0x1.47ae147ae147cp-1, 0x1.0624dd2f1a9fdp+0,
	0x1.a36e2eb1c432fp+0, 0x1.4f8b588e368f2p+1, 0x1.0c6f7a0b5ed8fp+2,
	0x1.ad7f29abcaf4cp+2, 0x1.5798ee2308c3cp+3, 0x1.12e0be826d697p+4,
	0x1.b7cdfd9d7bdbfp+4, 0x1.5fd7fe1796499p+5, 0x1.19799812dea14p+6,
	0x1.c25c268497687p+6, 0x1.6849b86a12bap+7, 0x1.203af9ee7561ap+8,
};

double settle_tau_seconds(int j)
{
	return tau_seconds[j];
}

double settle_noise_digits(int k)
{
	return noise_digits[k];
}

/* Probability that a standard normal lies above x. */
static double above(double x)
{
	if (x < -6)
		return 1;
	return x > 9 ? 0 : 0.5 * erfc(x * M_SQRT1_2);
}

void run_begin(struct settle_run *r, double joint, int64_t t, double value)
{
	memset(r, 0, sizeof(*r));
	r->joint = joint;
	r->ref = value;
	r->w = 1;
	r->m = 1;
	r->n = 1;
	r->t0 = t;
	for (int j = 0; j < SETTLE_TAUS; j++) {
		r->x[j] = 1;
		r->wx[j] = 1;
		r->wxx[j] = 1;
	}
}

void run_age(struct settle_run *r, const double decay[SETTLE_TAUS], double dt)
{
	for (int j = 0; j < SETTLE_TAUS; j++) {
		double x = r->x[j] * decay[j];
		/* No denormal numbers: they are slow. */
		r->x[j] = x < 1e-60 ? 0 : x;
		r->s[j] += dt / settle_tau_seconds(j);
	}
}

void run_absorb(struct settle_run *r, double value, double w)
{
	double z = value - r->ref;
	r->w += w;
	r->wz += w * z;
	r->wzz += w * z * z;
	r->lw += 0.5 * log(w);
	for (int j = 0; j < SETTLE_TAUS; j++) {
		double x = r->x[j], u = x * r->s[j];
		r->wx[j] += w * x;
		r->wxx[j] += w * x * x;
		r->wxz[j] += w * x * z;
		r->wu[j] += w * u;
		r->wuu[j] += w * u * u;
		r->wxu[j] += w * x * u;
		r->wuz[j] += w * u * z;
	}
	r->m++;
	r->n++;
	r->strays = 0;
}

void run_fade(struct settle_run *r, double f)
{
	r->m *= f;
	r->lw *= f;
	r->w *= f;
	r->wz *= f;
	r->wzz *= f;
	for (int j = 0; j < SETTLE_TAUS; j++) {
		r->wx[j] *= f;
		r->wxx[j] *= f;
		r->wxz[j] *= f;
		r->wu[j] *= f;
		r->wuu[j] *= f;
		r->wxu[j] *= f;
		r->wuz[j] *= f;
	}
}

void run_refer(struct settle_run *r, double value)
{
	double d = value - r->ref;
	r->ref = value;
	r->wzz += d * (d * r->w - 2 * r->wz);
	r->wz -= d * r->w;
	for (int j = 0; j < SETTLE_TAUS; j++) {
		r->wxz[j] -= d * r->wx[j];
		r->wuz[j] -= d * r->wu[j];
	}
}

double run_left(const struct settle_run *r, double dt)
{
	if (r->best_a == 0)
		return 0;
	double tau = settle_tau_seconds(r->best_tau);
	double s = r->s[r->best_tau] + dt / tau;
	return (r->best_a + r->best_b * s) * exp(-s);
}

int64_t run_reaches(const struct settle_run *r, int64_t t, double near)
{
	double now = (double)(t - r->t0) * 1e-6, low = 0, high = now;
	if (fabs(run_left(r, 0)) > near)
		return t + 1;
	for (int i = 0; i < 24; i++) {
		double middle = 0.5 * (low + high);
		if (fabs(run_left(r, middle - now)) > near)
			low = middle;
		else
			high = middle;
	}
	return r->t0 + (int64_t)(low * 1e6);
}

/* --- judging --- */

/* Probability that an amplitude lies beyond x on either side, where the readings say
 * normal(a, s).  (Five sigma off there is nothing; past four nothing is missing, and past six
 * nothing is added.) */
static double beyond(double x, double a, double s)
{
	a = fabs(a);
	if (a + 5 * s < x)
		return 0;
	if (a > x + 4 * s)
		return 1;
	return above((x - a) / s) + (x + a > 6 * s ? 0 : above((x + a) / s));
}

/* Evidence of amplitudes of which `share` lies within the prior's ends, the lower of them `least`,
 * where the readings say normal(a, s) and the prior is 1/|a| over `span` (the log of the ratio of
 * its ends), either sign. */
static double amplitude_mass(double a, double s, double share, double least, double most,
                             double span)
{
	double typical = fmax(least, fmin(most, sqrt(a * a + s * s)));
	double mass = s * sqrt_2pi * share / (2 * span * typical);
	return mass < 1 ? fmax(0, mass) : 1;
}

/* The levels of noise that matter where the squares of the misfit sum to `rss`. */
static void noise_window(const struct settle_priors *k, double rss, double m, int *low, int *high)
{
	double guess = sqrt(rss / (m > 1 ? m : 1));
	int i = 0;
	while (i < SETTLE_NOISES - 1 && k->noise[i + 1] < guess * 0.4)
		i++;
	*low = i;
	while (i < SETTLE_NOISES - 1 && (k->noise[i] < guess * 2.5 || i < *low + 3))
		i++;
	*high = i;
}

/* The hypotheses of one run. */
struct tally {
	struct evidence sum;
	double best; /* evidence of the likeliest */
};

/* What is the same for every tau: log evidence of each level of noise without the
 * misfit, and 1 / (2 sigma^2). */
struct levels {
	double lead[SETTLE_NOISES], half_precision[SETTLE_NOISES];
	double szz; /* squares about the mean, digits */
};

/* y = c: at rest since the first reading. */
static void judge_rest(struct settle_run *r, const struct settle_priors *k,
                       const struct levels *v, struct tally *y)
{
	int low, high;
	noise_window(k, v->szz, r->m, &low, &high);
	for (int i = low; i <= high; i++) {
		double l = k->log_rest + v->lead[i] - v->szz * v->half_precision[i];
		/* So much is motion, not noise. */
		evidence_add(&y->sum, l, k->noise[i] > k->most_noise);
		if (l > y->best) {
			y->best = l;
			r->best_a = 0;
			r->best_c = r->ref + r->wz / r->w;
			r->best_noise = k->noise[i];
		}
	}
}

/* The least squares of y = c + a x + b u for one tau, in digits. */
struct fit {
	double a, b;     /* amplitudes of x, and of u (a change of log tau) */
	double rss;      /* squares of the misfit */
	double pxx;      /* precision of a, times sigma^2 */
	double log_det;  /* what integrating b out costs */
	double left;     /* still to go */
	double spread2;  /* its variance over sigma^2 */
	double share;    /* still to go, of a */
};

static bool fit_tau(const struct settle_run *r, const struct settle_priors *k, double szz,
                    double digit, int j, struct fit *f)
{
	double sxx = r->wxx[j] - r->wx[j] * r->wx[j] / r->w;
	if (!(sxx > 1e-12 * r->wxx[j]))
		return false;
	double sxz = (r->wxz[j] - r->wx[j] * r->wz / r->w) / digit;
	double suu = fmax(0, r->wuu[j] - r->wu[j] * r->wu[j] / r->w);
	double sxu = r->wxu[j] - r->wx[j] * r->wu[j] / r->w;
	double suz = (r->wuz[j] - r->wu[j] * r->wz / r->w) / digit;
	/* b has the prior normal(0, (width a)^2), a as it is without b. */
	double a = fmax(fabs(sxz / sxx), k->start[j]);
	double ridge = k->ridge / (a * a);
	double d = suu + ridge;
	f->pxx = sxx - sxu * sxu / d;
	if (!(f->pxx > 1e-9 * sxx))
		return false;
	double pxz = sxz - sxu * suz / d;
	f->a = pxz / f->pxx;
	f->b = (suz - f->a * sxu) / d;
	f->rss = fmax(0, szz - suz * suz / d - pxz * f->a);
	f->log_det = 0.5 * log(ridge / d);
	double x = r->x[j], u = x * r->s[j], slope = x - sxu / d * u;
	f->left = f->a * x + f->b * u;
	f->spread2 = slope * slope / f->pxx + u * u / d;
	f->share = fabs(x + f->b / f->a * u);
	return true;
}

/* y = c + a x: approaching the rest with time constant j. */
static void judge_approach(struct settle_run *r, const struct settle_priors *k,
                           const struct levels *v, double digit, int j, struct tally *y)
{
	struct fit f;
	int low, high;
	if (!fit_tau(r, k, v->szz, digit, j, &f))
		return;
	noise_window(k, f.rss, r->m, &low, &high);
	for (int i = low; i <= high; i++) {
		double l = k->log_slow + f.log_det + v->lead[i] - f.rss * v->half_precision[i];
		if (l < y->sum.top - negligible)
			continue;
		double s = k->noise[i] / sqrt(f.pxx), least = k->start[j];
		/* Of all amplitudes, those that the prior allows. */
		double far = beyond(least, f.a, s), all = far;
		double mass = (1 - k->small) * amplitude_mass(f.a, s, far, least, INFINITY, k->span[j]);
		if (fabs(f.a) - 3 * s < least) {
			all = beyond(k->least, f.a, s);
			mass += k->small * amplitude_mass(f.a, s, all - far, k->least, least,
			                                  log(least / k->least));
			least = k->least;
		}
		l += mass > 0 ? log(mass) : -INFINITY;
		if (l < y->sum.top - negligible)
			continue;
		double allowed = k->near + k->near_sigma * fmin(k->noise[i], k->local);
		double out = 1;
		if (f.share * least < allowed && k->noise[i] <= k->most_noise) {
			double spread = k->noise[i] * sqrt(f.spread2);
			out = above((allowed - f.left) / spread) + above((allowed + f.left) / spread);
			/* ... of the amplitudes that there may be at all. */
			if (fabs(f.a) < least + 3 * s)
				out /= fmax(1e-12, all);
		}
		evidence_add(&y->sum, l, fmin(1, out));
		if (l > y->best) {
			y->best = l;
			r->best_a = fabs(f.a) > k->least ? f.a : copysign(k->least, f.a);
			r->best_b = f.b;
			r->best_tau = j;
			r->best_noise = k->noise[i];
		}
	}
}

double run_judge(struct settle_run *r, const struct settle_priors *k, double digit)
{
	if (r->n < 2) {
		r->off = 1;
		r->best_c = r->ref;
		r->best_a = 0;
		r->best_noise = k->noise[0];
		return -k->log_range;
	}
	struct levels v = {.szz = fmax(0, r->wzz - r->wz * r->wz / r->w) / (digit * digit)};
	double base = r->lw - 0.5 * log(r->w) - (r->m - 1) * half_log_2pi - k->log_range;
	for (int i = 0; i < SETTLE_NOISES; i++) {
		v.lead[i] = k->prior[i] + base - (r->m - 1) * k->log_noise[i];
		v.half_precision[i] = 0.5 / (k->noise[i] * k->noise[i]);
	}
	struct tally y = {.sum.top = -INFINITY, .best = -INFINITY};
	judge_rest(r, k, &v, &y);
	/* From the likeliest of before outwards: what is not worth an exponential shows at once. */
	int likely = r->best_tau;
	for (int j = likely; j < SETTLE_TAUS; j++)
		judge_approach(r, k, &v, digit, j, &y);
	for (int j = likely - 1; j >= 0; j--)
		judge_approach(r, k, &v, digit, j, &y);
	if (r->best_a != 0) {
		int j = r->best_tau;
		r->best_a *= digit;
		r->best_b *= digit;
		r->best_c = r->ref + (r->wz - r->best_a * r->wx[j] - r->best_b * r->wu[j]) / r->w;
	}
	/* Two readings fit anything. */
	r->off = r->n < 3 ? 1 : y.sum.off / y.sum.total;
	return y.sum.top + log(y.sum.total);
}
