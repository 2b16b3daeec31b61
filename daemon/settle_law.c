/* SPDX-License-Identifier: MIT */
/* See settle_law.h. */
#include "daemon/settle_law.h"

#include <math.h>
#include <string.h>

/* log(2 pi) / 2 */
static const double half_log_2pi = 0.91893853320467274178;

/* Evidence that lies so far (in nats) below the best is not worth an exponential. */
static const double negligible = 16;

static double tau_seconds(int j)
{
	static const double first = 0.03, ratio = 1.35;
	return first * pow(ratio, j);
}

static double noise_digits(int k)
{
	/* A display that stands still has the noise of its own rounding: 0.29 digit. */
	static const double first = 0.3, ratio = 1.6;
	return first * pow(ratio, k);
}

/* Probability that a standard normal lies above x. */
static double above(double x)
{
	return 0.5 * erfc(x * M_SQRT1_2);
}

void settle_law_reset(struct settle_law *law)
{
	memset(law, 0, sizeof(*law));
}

void settle_law_jolt(struct settle_law *law)
{
	law->jolted = true;
}

/* log(exp(a) + exp(b)) */
static double log_sum(double a, double b)
{
	double high = a > b ? a : b, low = a > b ? b : a;
	if (high == -INFINITY)
		return high;
	return high + log1p(exp(low - high));
}

/* --- one run --- */

/* The prior of the noise levels: smaller is likelier, and below 60000 counts what
 * looks like large noise is an approach in most cases. */
static double noise_prior(const struct settle_law *law, const struct settle_limits *limits, int k)
{
	double cap = law->counts / limits->law_noise_counts;
	if (cap < limits->law_noise_cap)
		cap = limits->law_noise_cap;
	double p = -0.25 * k;
	double over = noise_digits(k) / cap;
	if (over > 1)
		p -= 3 + 4 * log(over);
	return p;
}

/* The share of amplitudes beyond `least` that a normal(a, s) supports, under a
 * prior of 1/|a| between start and counts: times the width it is integrated over. */
static double amplitude_mass(double a, double s, double least, double span)
{
	double typical = hypot(a, s);
	if (typical < least)
		typical = least;
	double mass = s * 2.5066282746310002 * (above((least - a) / s) + above((least + a) / s)) /
	              (2 * span * typical);
	return mass < 1 ? mass : 1;
}

struct scratch {
	double noise[SETTLE_NOISES], log_noise[SETTLE_NOISES], prior[SETTLE_NOISES];
	double start[SETTLE_TAUS], span[SETTLE_TAUS];
	double log_range;
	double log_rest, log_slow; /* priors of the two laws */
};

/* The levels of noise that matter where the squares of the misfit sum to `rss`. */
static void noise_window(const struct scratch *k, double rss, double m, int *low, int *high)
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

/* The evidence of a run, its likeliest law, and the chance that it is not at rest. */
static double run_judge(struct settle_run *r, const struct settle_law *law,
                        const struct scratch *k)
{
	double iq = 1 / law->digit;
	if (r->n < 2) {
		r->off = 1;
		r->best_c = r->ref;
		r->best_a = 0;
		r->best_noise = k->noise[0];
		return -k->log_range;
	}
	double szz = fmax(0, r->wzz - r->wz * r->wz / r->w) * iq * iq;
	double base = r->lw - 0.5 * log(r->w) - (r->m - 1) * half_log_2pi - k->log_range;
	double top = -INFINITY, best = -INFINITY;
	double total = 0, off = 0;
	double lead[SETTLE_NOISES], half_precision[SETTLE_NOISES];
	int low, high;

	for (int i = 0; i < SETTLE_NOISES; i++) {
		lead[i] = k->prior[i] + base - (r->m - 1) * k->log_noise[i];
		half_precision[i] = 0.5 / (k->noise[i] * k->noise[i]);
	}
	/* At rest since the first reading. */
	noise_window(k, szz, r->m, &low, &high);
	for (int i = low; i <= high; i++) {
		double l = k->log_rest + lead[i] - szz * half_precision[i];
		if (l > best) {
			best = l;
			r->best_a = 0;
			r->best_c = r->ref + r->wz / r->w;
			r->best_noise = k->noise[i];
		}
	}
	top = best;
	for (int i = low; i <= high; i++)
		total += exp(k->log_rest + lead[i] - szz * half_precision[i] - top);

	/* Approaching it. */
	for (int j = 0; j < SETTLE_TAUS; j++) {
		double sxx = r->wxx[j] - r->wx[j] * r->wx[j] / r->w;
		if (!(sxx > 1e-12 * r->wxx[j]))
			continue;
		double sxz = (r->wxz[j] - r->wx[j] * r->wz / r->w) * iq;
		double a = sxz / sxx;
		double rss = fmax(0, szz - sxz * a);
		noise_window(k, rss, r->m, &low, &high);
		for (int i = low; i <= high; i++) {
			double l = k->log_slow + lead[i] - rss * half_precision[i];
			if (l < top - negligible)
				continue;
			double s = k->noise[i] / sqrt(sxx);
			double mass = amplitude_mass(a, s, k->start[j], k->span[j]);
			if (mass <= 0)
				continue;
			double here = l + log(mass);
			if (here < top - negligible)
				continue;
			double allowed = k->noise[i] > 1 ? k->noise[i] : 1;
			double least = allowed / fmax(r->x[j], 1e-30);
			double out = least <= k->start[j] ? mass : amplitude_mass(a, s, least, k->span[j]);
			if (here > top) {
				double f = exp(top - here);
				total *= f;
				off *= f;
				top = here;
			}
			double p = exp(here - top);
			total += p;
			off += p * fmin(1, out / mass);
			if (here > best) {
				best = here;
				r->best_a = fabs(a) > k->start[j] ? a : copysign(k->start[j], a);
				r->best_tau = j;
				r->best_noise = k->noise[i];
			}
		}
	}
	if (r->best_a != 0) {
		int j = r->best_tau;
		r->best_a *= law->digit;
		r->best_c = r->ref + (r->wz - r->best_a * r->wx[j]) / r->w;
	}
	r->off = r->n < 3 ? 1 : off / total;
	return top + log(total);
}

/* Let what was absorbed so far count only `f` times. */
static void run_fade(struct settle_run *r, double f)
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
	}
}

/* --- the runs together --- */

static void run_begin(struct settle_run *r, double joint, int64_t t, double value)
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

static void run_absorb(struct settle_run *r, const double decay[SETTLE_TAUS], double value,
                       double w)
{
	double z = value - r->ref;
	r->w += w;
	r->wz += w * z;
	r->wzz += w * z * z;
	r->lw += 0.5 * log(w);
	for (int j = 0; j < SETTLE_TAUS; j++) {
		double x = r->x[j] * decay[j];
		if (x < 1e-60)
			x = 0; /* and no denormal numbers */
		r->x[j] = x;
		r->wx[j] += w * x;
		r->wxx[j] += w * x * x;
		r->wxz[j] += w * x * z;
	}
	r->m++;
	r->n++;
	r->strays = 0;
}

/* A change of range: what came before counts with the rounding it had. */
static void law_rescale(struct settle_law *law, double digit)
{
	double f = digit / law->digit;
	law->digit = digit;
	f = f < 1 ? f * f : 1;
	for (int i = 0; i < law->runs; i++) {
		struct settle_run *r = &law->run[i];
		double m = r->m, lw = r->lw;
		run_fade(r, f);
		r->m = m;
		r->lw = lw + 0.5 * log(f) * m;
	}
	law->jolted = true;
}

static void scratch_fill(struct scratch *k, const struct settle_law *law,
                         const struct settle_limits *limits, double period)
{
	double counts = fmax(law->counts, 2000);
	k->log_range = log(2 * counts);
	k->log_rest = log(1 - limits->law_approach);
	k->log_slow = log(limits->law_approach / SETTLE_TAUS);
	for (int j = 0; j < SETTLE_TAUS; j++) {
		/* An approach begins far away, and fast enough to be called moving. */
		k->start[j] = fmax(limits->law_start_digits, limits->law_start_pace *
		                   tau_seconds(j) / fmax(period, limits->settle_seconds));
		k->span[j] = log(fmax(20 * k->start[j], 2 * counts) / k->start[j]);
	}
	for (int i = 0; i < SETTLE_NOISES; i++) {
		k->noise[i] = noise_digits(i);
		k->log_noise[i] = log(k->noise[i]);
		k->prior[i] = noise_prior(law, limits, i);
	}
}

/* Drop what is as good as impossible, and where all seats are taken the least
 * likely; the youngest runs have had no chance yet. */
static void law_prune(struct settle_law *law)
{
	double top = -INFINITY;
	for (int i = 0; i < law->runs; i++)
		top = fmax(top, law->run[i].joint);
	int kept = 0;
	for (int i = 0; i < law->runs; i++) {
		if (law->run[i].joint < top - 30 && law->run[i].n >= 4)
			continue;
		if (kept != i)
			law->run[kept] = law->run[i];
		kept++;
	}
	law->runs = kept;
	if (kept < SETTLE_RUNS)
		return;
	int worst = 0;
	for (int i = 1; i < law->runs; i++) {
		bool young = law->run[i].n < 4, worst_young = law->run[worst].n < 4;
		if (young != worst_young ? worst_young : law->run[i].joint < law->run[worst].joint)
			worst = i;
	}
	law->run[worst] = law->run[--law->runs];
}

/* How far the likeliest law of a run goes until the next reading, SI. */
static double run_step(const struct settle_run *r, const double decay[SETTLE_TAUS])
{
	return r->best_a != 0 ? r->best_a * r->x[r->best_tau] * (1 - decay[r->best_tau]) : 0;
}

static bool is_stray(const struct settle_run *r, const double decay[SETTLE_TAUS],
                     const struct settle_limits *limits, double value, double digit)
{
	if (r->n < 3)
		return false;
	double go = r->best_a != 0 ? r->best_a * r->x[r->best_tau] * decay[r->best_tau] : 0;
	double miss = fabs(value - (r->best_c + go)) / digit;
	return miss > limits->law_stray_sigma * r->best_noise + 2 +
	              0.5 * fabs(run_step(r, decay)) / digit;
}

void settle_law_add(struct settle_law *law, const struct settle_limits *limits, int64_t t,
                    double value, double digit, double period)
{
	struct scratch k;
	double count = fabs(value) / digit;
	if (count > law->counts)
		law->counts = count;
	if (!law->any) {
		law->any = true;
		law->digit = digit;
		law->t = t;
		law->last = value;
	}
	scratch_fill(&k, law, limits, period);
	bool rescaled = digit != law->digit;
	if (rescaled)
		law_rescale(law, digit);
	double dt = (double)(t - law->t) * 1e-6;
	double decay[SETTLE_TAUS];
	for (int j = 0; j < SETTLE_TAUS; j++)
		decay[j] = exp(-dt / tau_seconds(j));
	double hazard = law->jolted ? limits->law_hazard_jolt : limits->law_hazard;
	double step = (value - law->last) / digit * limits->law_step_share;
	double w = 1 / (1 + step * step);
	double log_stay = log(1 - hazard);

	/* Each run absorbs the reading, or leaves it out as a stray. */
	int kept = 0;
	for (int i = 0; i < law->runs; i++) {
		struct settle_run *r = &law->run[i];
		if (is_stray(r, decay, limits, value, digit)) {
			if (r->strays++)
				continue;
			r->joint += log_stay + log(limits->law_stray_share) - k.log_range;
			for (int j = 0; j < SETTLE_TAUS; j++)
				r->x[j] *= decay[j];
		} else {
			double go = fabs(run_step(r, decay)) / digit /
			            (limits->law_memory_digits * fmax(1, r->best_noise));
			if (go > 0.01 || rescaled) {
				run_fade(r, exp(-fmin(go, 0.7)));
				r->evidence = run_judge(r, law, &k);
			}
			run_absorb(r, decay, value, w);
			double evidence = run_judge(r, law, &k);
			r->joint += log_stay + evidence - r->evidence;
			r->evidence = evidence;
		}
		if (kept != i)
			law->run[kept] = *r;
		kept++;
	}
	law->runs = kept;
	law_prune(law);
	struct settle_run *r = &law->run[law->runs++];
	run_begin(r, log(hazard), t, value);
	r->evidence = run_judge(r, law, &k);
	r->joint += r->evidence;

	double all = -INFINITY;
	for (int i = 0; i < law->runs; i++)
		all = log_sum(all, law->run[i].joint);
	/* Only differences count; keep the numbers small. */
	for (int i = 0; i < law->runs; i++)
		law->run[i].joint -= all;
	law->t = t;
	law->last = value;
	law->jolted = false;
}

void settle_law_judge(const struct settle_law *law, const struct settle_limits *limits,
                      struct settle_judgement *out)
{
	memset(out, 0, sizeof(*out));
	out->off = 1;
	out->since = law->t;
	if (!law->runs)
		return;
	const struct settle_run *best = &law->run[0];
	double off = 0, total = 0;
	for (int i = 0; i < law->runs; i++) {
		const struct settle_run *r = &law->run[i];
		double p = exp(r->joint);
		total += p;
		off += p * r->off;
		if (r->joint > best->joint)
			best = r;
	}
	out->off = off / total;
	out->noise = best->best_noise;
	out->n = best->n;
	out->since = best->t0;
	out->slow = best->best_a != 0;
	if (out->slow) {
		double tau = tau_seconds(best->best_tau);
		double near = (limits->law_near_digits + limits->law_near_sigma * out->noise) * law->digit;
		double wait = tau * log(fmax(1, fabs(best->best_a) / near));
		out->since += (int64_t)(wait * 1e6);
		out->drift = best->best_a * best->x[best->best_tau] / law->digit;
	}
}
