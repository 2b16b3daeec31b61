/* SPDX-License-Identifier: MIT */
/* See settle_law.h. */
#include "daemon/settle_law.h"

#include <math.h>
#include <string.h>

/* log(2 pi) / 2 */
static const double half_log_2pi = 0.91893853320467274178;

/* Evidence that lies so far (in nats) below the best is not worth an exponential. */
static const double negligible = 9;

static double tau_seconds(int j)
{
	static const double first = 0.03, ratio = 1.35;
	return first * pow(ratio, j);
}

static double noise_digits(int k)
{
	/* At least the noise of rounding (0.29 digit), and so much that a display that
	 * stands still is no likelier than certain: 1 / sqrt(2 pi). */
	static const double first = 0.4, ratio = 1.6;
	return first * pow(ratio, k);
}

/* Probability that a standard normal lies above x. */
static double above(double x)
{
	if (x < -6)
		return 1;
	return x > 9 ? 0 : 0.5 * erfc(x * M_SQRT1_2);
}

void settle_law_reset(struct settle_law *law)
{
	double counts = law->counts;
	memset(law, 0, sizeof(*law));
	law->counts = counts;
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

/* How much finer than a common meter this one is: what is noise grows with it. */
static double law_fine(const struct settle_law *law, const struct settle_limits *limits)
{
	return fmax(1, law->counts / limits->law_noise_counts);
}

/* The prior of the noise levels: smaller is likelier, and below 60000 counts what
 * looks like large noise is an approach in most cases. */
static double noise_prior(const struct settle_law *law, const struct settle_limits *limits, int k)
{
	double cap = limits->law_noise_cap * law_fine(law, limits);
	double p = -limits->law_noise_step * k;
	double over = noise_digits(k) / cap;
	if (over > 1)
		p -= 3 + 4 * log(over);
	return p;
}

/* Evidence of amplitudes from `least` to `most` (INFINITY: no end) where the
 * readings say normal(a, s) and the prior is 1/|a| over `span` (the log of the
 * ratio of its ends), either sign. */
static double amplitude_mass(double a, double s, double least, double most, double span)
{
	if (fabs(a) + 5 * s < least)
		return 0;
	double typical = sqrt(a * a + s * s);
	/* (Past four sigma nothing is missing.) */
	double share = fabs(a) > least + 4 * s ? 1 : above((least - a) / s) + above((least + a) / s);
	if (most < INFINITY) {
		share -= above((most - a) / s) + above((most + a) / s);
		if (typical > most)
			typical = most;
	}
	if (typical < least)
		typical = least;
	double mass = s * 2.5066282746310002 * share / (2 * span * typical);
	return mass < 1 ? fmax(0, mass) : 1;
}

struct scratch {
	double noise[SETTLE_NOISES], log_noise[SETTLE_NOISES], prior[SETTLE_NOISES];
	double start[SETTLE_TAUS], span[SETTLE_TAUS];
	double log_range;
	double log_rest, log_slow; /* priors of the two laws */
	double most_noise;         /* more of it is motion, digits */
	double least, small;       /* smallest amplitude; share of those below start */
	double width2;             /* variance of log tau inside a step of its ratio */
	double near, near_sigma, local, local2; /* what counts as at rest */
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
	for (int i = low; i <= high; i++) {
		double p = exp(k->log_rest + lead[i] - szz * half_precision[i] - top);
		total += p;
		if (k->noise[i] > k->most_noise)
			off += p; /* so much is motion, not noise */
	}

	/* Approaching it. */
	for (int j = 0; j < SETTLE_TAUS; j++) {
		double sxx = r->wxx[j] - r->wx[j] * r->wx[j] / r->w;
		if (!(sxx > 1e-12 * r->wxx[j]))
			continue;
		double sxz = (r->wxz[j] - r->wx[j] * r->wz / r->w) * iq;
		double suu = fmax(0, r->wuu[j] - r->wu[j] * r->wu[j] / r->w);
		double sxu = r->wxu[j] - r->wx[j] * r->wu[j] / r->w;
		double suz = (r->wuz[j] - r->wu[j] * r->wz / r->w) * iq;
		double a = sxz / sxx;
		/* b has the prior normal(0, (width a)^2): as if one more reading said so. */
		double width2 = k->width2 * fmax(a * a, k->start[j] * k->start[j]);
		double ridge = k->local2 / width2;
		double d = suu + ridge;
		double pxx = sxx - sxu * sxu / d, pxz = sxz - sxu * suz / d;
		if (!(pxx > 1e-9 * sxx))
			continue;
		a = pxz / pxx;
		double b = (suz - a * sxu) / d;
		double rss = fmax(0, szz - suz * suz / d - pxz * a);
		double det = 0.5 * log(ridge / d);
		double x = r->x[j], u = x * r->s[j];
		double left = a * x + b * u;
		double slope = x - sxu / d * u;
		double spread2 = slope * slope / pxx + u * u / d;
		double share_left = fabs(x + b / a * u);
		noise_window(k, rss, r->m, &low, &high);
		for (int i = low; i <= high; i++) {
			double l = k->log_slow + det + lead[i] - rss * half_precision[i];
			if (l < top - negligible)
				continue;
			double s = k->noise[i] / sqrt(pxx);
			double mass = (1 - k->small) * amplitude_mass(a, s, k->start[j], INFINITY, k->span[j]);
			double least = k->start[j];
			if (fabs(a) - 3 * s < k->start[j]) {
				mass += k->small * amplitude_mass(a, s, k->least, k->start[j],
				                                  log(k->start[j] / k->least));
				least = k->least;
			}
			if (mass <= 0)
				continue;
			double here = l + log(mass);
			if (here < top - negligible)
				continue;
			double allowed = k->near + k->near_sigma * fmin(k->noise[i], k->local);
			double out = 1;
			if (share_left * least < allowed && k->noise[i] <= k->most_noise) {
				double spread = k->noise[i] * sqrt(spread2);
				out = above((allowed - left) / spread) + above((allowed + left) / spread);
				if (fabs(a) < least + 3 * s)
					out /= fmax(1e-12, above((least - a) / s) + above((least + a) / s));
			}
			if (here > top) {
				double f = exp(top - here);
				total *= f;
				off *= f;
				top = here;
			}
			double p = exp(here - top);
			total += p;
			off += p * fmin(1, out);
			if (here > best) {
				best = here;
				r->best_a = fabs(a) > k->least ? a : copysign(k->least, a);
				r->best_b = b;
				r->best_tau = j;
				r->best_noise = k->noise[i];
			}
		}
	}
	if (r->best_a != 0) {
		int j = r->best_tau;
		r->best_a *= law->digit;
		r->best_b *= law->digit;
		r->best_c = r->ref + (r->wz - r->best_a * r->wx[j] - r->best_b * r->wu[j]) / r->w;
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
		r->wu[j] *= f;
		r->wuu[j] *= f;
		r->wxu[j] *= f;
		r->wuz[j] *= f;
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

/* Time goes on by `dt` seconds. */
static void run_age(struct settle_run *r, const double decay[SETTLE_TAUS], double dt)
{
	for (int j = 0; j < SETTLE_TAUS; j++) {
		double x = r->x[j] * decay[j];
		/* No denormal numbers: they are slow. */
		r->x[j] = x < 1e-60 ? 0 : x;
		r->s[j] += dt / tau_seconds(j);
	}
}

static void run_absorb(struct settle_run *r, double value, double w)
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
}

/* Noise from the last readings alone, digits: twice the root mean square of their
 * second differences, which no approach can explain; INFINITY where they are few. */
static double law_local(const struct settle_law *law)
{
	int have = law->recents < SETTLE_RECENTS ? law->recents : SETTLE_RECENTS;
	if (have < 5)
		return INFINITY;
	double sum = 0;
	for (int i = 0; i < have - 2; i++) {
		int at = law->recents - have + i;
		double d = law->recent[at % SETTLE_RECENTS] - 2 * law->recent[(at + 1) % SETTLE_RECENTS] +
		           law->recent[(at + 2) % SETTLE_RECENTS];
		sum += d * d;
	}
	return 2 * sqrt(sum / (6 * (have - 2))) / law->digit;
}

static void scratch_fill(struct scratch *k, const struct settle_law *law,
                         const struct settle_limits *limits, double period)
{
	double counts = fmax(law->counts, 2000);
	k->log_range = log(2 * counts);
	k->near = limits->law_rest_digits;
	k->near_sigma = limits->law_rest_sigma;
	k->local = law_local(law);
	k->most_noise = limits->law_noise_most * law_fine(law, limits);
	/* What readings next to each other do not show is no noise either. */
	k->most_noise = fmin(k->most_noise, limits->law_noise_local * fmax(k->local, noise_digits(0)));
	k->local2 = 0.5;
	k->width2 = 0.0075;
	k->least = limits->law_least_digits;
	k->small = limits->law_small_starts;
	k->log_rest = log(1 - limits->law_approach);
	k->log_slow = log(limits->law_approach / SETTLE_TAUS);
	for (int j = 0; j < SETTLE_TAUS; j++) {
		/* An approach begins far away, and fast enough to be called moving. */
		k->start[j] = fmax(limits->law_start_digits * law_fine(law, limits), limits->law_start_pace *
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
		double behind = top - law->run[i].joint;
		if ((law->run[i].n >= 4 && behind > 18) || (law->run[i].n >= 6 && behind > 12))
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

/* What the likeliest law has still to go after `dt` seconds more, SI. */
static double run_left(const struct settle_run *r, double dt)
{
	if (r->best_a == 0)
		return 0;
	double tau = tau_seconds(r->best_tau);
	double s = r->s[r->best_tau] + dt / tau;
	return (r->best_a + r->best_b * s) * exp(-s);
}

static bool is_stray(const struct settle_run *r, double dt, const struct settle_limits *limits,
                     double value, double digit)
{
	if (r->n < 3)
		return false;
	double left = run_left(r, dt), step = run_left(r, 0) - left;
	double miss = fabs(value - (r->best_c + left)) / digit;
	return miss > limits->law_stray_sigma * r->best_noise + 2 + 0.5 * fabs(step) / digit;
}

/*
 * How lawless the trace is: jumps to levels that it did not stand on before.  A
 * stray goes back to its level, a chatter comes back to it, and an approach does not
 * begin a new run; a bad joint does.
 */
static void law_jumps(struct settle_law *law, const struct settle_run *best, double value,
                      double coarse)
{
	double band = (1.5 + 2 * best->best_noise) * coarse;
	law->readings++;
	int have = law->levels < SETTLE_LEVELS ? law->levels : SETTLE_LEVELS;
	bool known = fabs(value - law->last) <= band;
	for (int i = 0; i < have && !known; i++)
		known = fabs(value - law->level[i]) <= band;
	if (known || (law->levels && best->n > 2))
		return;
	law->level[law->levels % SETTLE_LEVELS] = value;
	if (law->levels++)
		law->jumps++;
	if (law->levels == 2 * SETTLE_LEVELS)
		law->levels = SETTLE_LEVELS;
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
	bool rescaled = digit != law->digit;
	if (rescaled)
		law_rescale(law, digit);
	if (rescaled || law->jolted)
		law->recents = 0;
	law->recent[law->recents % SETTLE_RECENTS] = value;
	law->recent_t[law->recents % SETTLE_RECENTS] = t;
	if (++law->recents == 2 * SETTLE_RECENTS)
		law->recents = SETTLE_RECENTS;
	scratch_fill(&k, law, limits, period);
	double dt = (double)(t - law->t) * 1e-6;
	double decay[SETTLE_TAUS];
	for (int j = 0; j < SETTLE_TAUS; j++)
		decay[j] = exp(-dt / tau_seconds(j));
	double hazard = law->jolted         ? limits->law_hazard_jolt
	                : law->readings < 3 ? limits->law_hazard_first
	                                    : limits->law_hazard;
	double step = (value - law->last) / digit * limits->law_step_share;
	double w = 1 / (1 + step * step);
	if (step == 0)
		w = limits->law_same_weight;
	double log_stay = log(1 - hazard);

	/* Each run absorbs the reading, or leaves it out as a stray. */
	int kept = 0;
	for (int i = 0; i < law->runs; i++) {
		struct settle_run *r = &law->run[i];
		if (is_stray(r, dt, limits, value, digit)) {
			if (r->strays++)
				continue;
			r->joint += log_stay + log(limits->law_stray_share) - k.log_range;
			run_age(r, decay, dt);
		} else {
			double go = fabs(run_left(r, 0) - run_left(r, dt)) / digit /
			            (limits->law_memory_digits * fmax(1, r->best_noise));
			r->gone += fmin(go, 0.7);
			if (r->gone > 0.05 || rescaled) {
				run_fade(r, exp(-r->gone));
				r->gone = 0;
				r->evidence = run_judge(r, law, &k);
			}
			run_age(r, decay, dt);
			run_absorb(r, value, w);
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

	law->pace = fmax(period, limits->block_seconds); /* of what comes here */
	double all = -INFINITY;
	const struct settle_run *best = &law->run[0];
	for (int i = 0; i < law->runs; i++) {
		all = log_sum(all, law->run[i].joint);
		if (law->run[i].joint > best->joint)
			best = &law->run[i];
	}
	law_jumps(law, best, value, fmax(digit, law->coarse));
	law->coarse = digit;
	/* Only differences count; keep the numbers small. */
	for (int i = 0; i < law->runs; i++)
		law->run[i].joint -= all;
	law->t = t;
	law->last = value;
	law->jolted = false;
}

/* When the likeliest law came as near to its rest as this; now, where it did not. */
static int64_t run_reaches(const struct settle_run *r, const struct settle_law *law, double near)
{
	double now = (double)(law->t - r->t0) * 1e-6, low = 0, high = now;
	if (fabs(run_left(r, 0)) > near)
		return law->t + 1;
	for (int i = 0; i < 24; i++) {
		double middle = 0.5 * (low + high);
		if (fabs(run_left(r, middle - now)) > near)
			low = middle;
		else
			high = middle;
	}
	return r->t0 + (int64_t)(low * 1e6);
}

/*
 * An approach may have a second, slower tail that one exponential does not show.
 * The slope of the last readings alone, less its own uncertainty, for as long as a
 * tail would last: digits that may still be to go the way it came.
 */
static double law_tail(const struct settle_law *law, const struct settle_limits *limits,
                       const struct settle_run *best, bool *wanders)
{
	double now = (double)law->t;
	int have = law->recents < SETTLE_RECENTS ? law->recents : SETTLE_RECENTS;
	*wanders = false;
	if (have > best->n)
		have = best->n;
	if (have < 5 || law->pace <= 0)
		return 0;
	double st = 0, stt = 0, sz = 0, stz = 0, szz = 0, sdd = 0, last = 0;
	double ref = law->last;
	for (int i = 0; i < have; i++) {
		double t = i;
		int at = (law->recents - have + i) % SETTLE_RECENTS;
		double left = run_left(best, ((double)law->recent_t[at] - now) * 1e-6);
		double z = (law->recent[at] - left - ref) / law->digit;
		st += t;
		stt += t * t;
		sz += z;
		stz += t * z;
		szz += z * z;
		if (i)
			sdd += (z - last) * (z - last);
		last = z;
	}
	double n = have;
	double ctt = stt - st * st / n, ctz = stz - st * sz / n, czz = szz - sz * sz / n;
	/* White noise has differences twice as large as itself; a walk much smaller. */
	*wanders = best->best_a == 0 && have >= 6 &&
	           czz > (n - 1) * limits->wander_digits * limits->wander_digits &&
	           sdd < limits->wander_ratio * czz && law_fine(law, limits) <= 1;
	double slope = ctz / ctt;
	double noise = sqrt(fmax(0, czz - slope * ctz) / (n - 2));
	if (noise < 0.3)
		noise = 0.3;
	double sure = fabs(slope) - limits->law_tail_sigma * noise / sqrt(ctt);
	if (best->best_a == 0 || sure <= 0 || (slope > 0) != (best->best_a < 0))
		return 0;
	double lasts = limits->law_tail_times * tau_seconds(best->best_tau) / law->pace;
	return sure * fmin(lasts, 200);
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
	out->since = out->clear = out->begun = best->t0;
	out->rest = best->best_c;
	out->jumps = law->jumps;
	out->readings = law->readings;
	out->slow = best->best_a != 0;
	out->tail = law_tail(law, limits, best, &out->wanders);
	if (out->slow) {
		double local = fmin(out->noise, law_local(law));
		double near = limits->law_near_digits + limits->law_near_sigma * out->noise;
		double clear = limits->law_clear_digits + limits->law_near_sigma * local;
		out->slow = tau_seconds(best->best_tau) > limits->law_slow_periods * law->pace;
		out->since = run_reaches(best, law, near * law->digit);
		out->clear = run_reaches(best, law, clear * law->digit);
		out->drift = run_left(best, 0) / law->digit;
	}
}
