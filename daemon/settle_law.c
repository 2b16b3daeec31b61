/* SPDX-License-Identifier: MIT */
/* See settle_law.h: the runs together.  What is known of one is in settle_run.c. */
#include "daemon/settle_law_parts.h"

#include <math.h>
#include <string.h>

/* So many differences at rest are enough to know the noise by. */
static const double known_least = 6;

void settle_law_reset(struct settle_law *law)
{
	/* What is known of the meter stays. */
	double counts = law->counts, dd = law->rest_dd, n = law->rest_n;
	memset(law, 0, sizeof(*law));
	law->counts = counts;
	law->rest_dd = dd;
	law->rest_n = n;
}

void settle_law_forget(struct settle_law *law)
{
	law->counts = law->rest_dd = law->rest_n = 0;
}

void settle_law_rests(struct settle_law *law, double digits)
{
	double fade = law->rest_n < SETTLE_RESTS ? 1 : 1 - 1.0 / SETTLE_RESTS;
	law->rest_dd = fade * law->rest_dd + digits * digits;
	law->rest_n = fade * law->rest_n + 1;
}

void settle_law_hide(struct settle_law *law)
{
	law->hidden = true;
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

/* --- priors --- */

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
	double over = settle_noise_digits(k) / cap;
	if (over > 1)
		p -= 3 + 4 * log(over);
	return p;
}

void law_noise_known(const struct settle_law *law, const struct settle_limits *limits,
                     const double *noise, double *prior, int n)
{
	double share = limits->law_noise_known * law->rest_n / (law->rest_n + 4);
	if (share <= 0)
		return;
	/* (More than the most that is thought of would leave nothing of the shape.) */
	double known = log(fmin(noise[n - 1], fmax(noise[0], sqrt(law->rest_dd / (2 * law->rest_n)))));
	double width2 = limits->law_noise_spread * limits->law_noise_spread + 0.5 / law->rest_n;
	double shape[SETTLE_NOISES], all = 0, sum = 0;
	for (int i = 0; i < n; i++) {
		double d = log(noise[i]) - known;
		shape[i] = exp(-d * d / (2 * width2));
		sum += shape[i];
		all += exp(prior[i]);
	}
	for (int i = 0; i < n; i++)
		prior[i] = log((1 - share) * exp(prior[i]) + share * all * shape[i] / sum);
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

static void priors_fill(struct settle_priors *k, const struct settle_law *law,
                         const struct settle_limits *limits, double period)
{
	double counts = fmax(law->counts, 2000);
	k->log_range = log(2 * counts);
	k->near = limits->law_rest_digits;
	k->near_sigma = limits->law_rest_sigma;
	k->local = law_local(law);
	double fine = law_fine(law, limits);
	k->most_noise = limits->law_noise_most * fine;
	/* What readings next to each other do not show is no noise either. */
	double beside = fmax(k->local, settle_noise_digits(0));
	k->most_noise = fmin(k->most_noise, limits->law_noise_local * beside);
	/* log tau is evenly spread over its step: variance log(ratio)^2 / 12.  The noise
	 * that belongs to the prior of b is set to 0.7 digit: it matters little. */
	k->ridge = 0.5 / (log(SETTLE_TAU_RATIO) * log(SETTLE_TAU_RATIO) / 12);
	k->least = limits->law_least_digits;
	k->small = law->hidden ? limits->law_hidden_starts : limits->law_small_starts;
	double approach = law->hidden ? limits->law_hidden_approach : limits->law_approach;
	k->log_rest = log(1 - approach);
	k->log_slow = log(approach / SETTLE_TAUS);
	for (int j = 0; j < SETTLE_TAUS; j++) {
		/* An approach begins far away, and fast enough to be called moving. */
		double fast = limits->law_start_pace * settle_tau_seconds(j) /
		              fmax(period, limits->settle_seconds);
		k->start[j] = fmax(limits->law_start_digits * fine, fast);
		k->span[j] = log(fmax(20 * k->start[j], 2 * counts) / k->start[j]);
	}
	for (int i = 0; i < SETTLE_NOISES; i++) {
		k->noise[i] = settle_noise_digits(i);
		k->log_noise[i] = log(k->noise[i]);
		k->prior[i] = noise_prior(law, limits, i);
	}
	law_noise_known(law, limits, k->noise, k->prior, SETTLE_NOISES);
}

/* --- one more reading --- */

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
	for (int i = 0; i < law->points; i++)
		law->point[i].w *= f;
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

static bool is_stray(const struct settle_run *r, double dt, const struct settle_limits *limits,
                     double value, double digit)
{
	if (r->n < 3)
		return false;
	double left = run_left(r, dt), step = run_left(r, 0) - left;
	double miss = fabs(value - (r->best_c + left)) / digit;
	return miss > limits->law_stray_sigma * r->best_noise + 2 + 0.5 * fabs(step) / digit;
}

/* Steps are alike up to this ratio. */
static const double like_steps = 1.3;
/* So many more of them are an even way. */
static const int even_way = 3;

/* Another level, as of that reading. */
static void law_stands(struct settle_law *law, double value, double digit, int reading)
{
	int at = law->levels % SETTLE_LEVELS;
	law->level[at] = value;
	law->level_digit[at] = digit;
	law->stood[at] = reading;
	law->jumps_to[at] = law->jumps;
	/* Only the place in the ring and "full" count. */
	if (++law->levels == 2 * SETTLE_LEVELS)
		law->levels = SETTLE_LEVELS;
}

/*
 * How lawless the trace is: jumps to levels that it did not stand on before.  A
 * stray goes back to its level, a chatter comes back to it, and an approach does not
 * begin a new run; a bad joint does.
 */
static void law_jumps(struct settle_law *law, const struct settle_limits *limits,
                      const struct settle_run *best, double value, double coarse, double dt)
{
	double band = (1.5 + 2 * best->best_noise) * coarse;
	law->readings++;
	int have = law->levels < SETTLE_LEVELS ? law->levels : SETTLE_LEVELS;
	bool known = fabs(value - law->last) <= band;
	for (int i = 0; i < have; i++) {
		/* As exact as either was shown. */
		if (fabs(value - law->level[i]) > band * fmax(1, law->level_digit[i] / coarse))
			continue;
		known = true;
		/* Back where it was: what lay between were strays. */
		if (law->readings - law->stood[i] <= 1 + (int)limits->lawless_stray &&
		    law->jumps > law->jumps_to[i])
			law->jumps = law->jumps_to[i];
		law->stood[i] = law->readings;
	}
	/* A step like the last goes on with a way, and jumps nowhere; the last of them is shorter.  Who
	 * goes an even way for so long jumped nowhere before either. */
	double pace = dt > 0 ? (value - law->last) / dt : 0, fast = fabs(pace), was = fabs(law->way);
	/* (Steps of few digits are alike as far as noise lets them be.) */
	double blur = dt > 0 ? band / dt : 0;
	bool goes = pace * law->way > 0 && fast < like_steps * was + blur &&
	            (law->goes > 1 || was < like_steps * fast + blur);
	law->way = pace;
	law->goes = goes ? law->goes + 1 : 0;
	if (law->goes >= even_way)
		law->jumps = 0;
	if (known)
		return;
	/* The first step away from where it began is none: half a contact begins so. */
	if (law->levels)
		law->jumps += !goes;
	else
		law_stands(law, law->last, coarse, law->readings - 1);
	law_stands(law, value, coarse, law->readings);
}

/* A reading as every run sees it. */
struct law_reading {
	double value, w;
	double dt;       /* s since the one before */
	double decay[SETTLE_TAUS];
	double log_stay; /* that no run begins here */
	bool rescaled;   /* the range has just changed */
};

/* Each run absorbs the reading, or leaves it out as a stray. */
static void law_absorb(struct settle_law *law, const struct settle_limits *limits,
                       const struct settle_priors *k, const struct law_reading *x)
{
	int kept = 0;
	for (int i = 0; i < law->runs; i++) {
		struct settle_run *r = &law->run[i];
		if (is_stray(r, x->dt, limits, x->value, law->digit)) {
			/* Two in a row are a jump. */
			if (r->strays++)
				continue;
			r->joint += x->log_stay + log(limits->law_stray_share) - k->log_range;
			run_age(r, x->decay, x->dt);
		} else {
			double go = fabs(run_left(r, 0) - run_left(r, x->dt)) / law->digit /
			            (limits->law_memory_digits * fmax(1, r->best_noise));
			r->gone += fmin(go, 0.7);
			if (r->gone > 0.05 || x->rescaled) {
				run_fade(r, exp(-r->gone));
				r->gone = 0;
				run_refer(r, x->value);
				r->evidence = run_judge(r, k, law->digit);
			}
			run_age(r, x->decay, x->dt);
			run_absorb(r, x->value, x->w);
			double evidence = run_judge(r, k, law->digit);
			r->joint += x->log_stay + evidence - r->evidence;
			r->evidence = evidence;
		}
		if (kept != i)
			law->run[kept] = *r;
		kept++;
	}
	law->runs = kept;
}

static void law_remember(struct settle_law *law, int64_t t, double value, bool anew)
{
	if (anew)
		law->recents = 0;
	law->recent[law->recents % SETTLE_RECENTS] = value;
	law->recent_t[law->recents % SETTLE_RECENTS] = t;
	/* Only the place in the ring and "full" count. */
	if (++law->recents == 2 * SETTLE_RECENTS)
		law->recents = SETTLE_RECENTS;
}

static const struct settle_run *law_best(const struct settle_law *law)
{
	const struct settle_run *best = &law->run[0];
	for (int i = 1; i < law->runs; i++)
		if (law->run[i].joint > best->joint)
			best = &law->run[i];
	return best;
}

void settle_law_add(struct settle_law *law, const struct settle_limits *limits, int64_t t,
                    double value, double digit, double period)
{
	struct settle_priors k;
	struct law_reading x = {.value = value};
	law->counts = fmax(law->counts, fabs(value) / digit);
	if (!law->any) {
		law->any = true;
		law->digit = digit;
		law->t = t;
		law->last = value;
	}
	x.rescaled = digit != law->digit;
	if (x.rescaled)
		law_rescale(law, digit);
	law_remember(law, t, value, x.rescaled || law->jolted);
	priors_fill(&k, law, limits, period);

	x.dt = (double)(t > law->t ? t - law->t : 0) * 1e-6;
	for (int j = 0; j < SETTLE_TAUS; j++)
		x.decay[j] = exp(-x.dt / settle_tau_seconds(j));
	double hazard = law->jolted         ? limits->law_hazard_jolt
	                : law->readings < 3 ? limits->law_hazard_first
	                                    : limits->law_hazard;
	x.log_stay = log(1 - hazard);
	double step = (value - law->last) / digit * limits->law_step_share;
	x.w = step == 0 ? limits->law_same_weight : 1 / (1 + step * step);
	law_absorb(law, limits, &k, &x);
	law_prune(law);

	/* A run may begin here.  (The evidence of all that came before is 1.) */
	struct settle_run *r = &law->run[law->runs++];
	run_begin(r, log(hazard), t, value);
	r->evidence = run_judge(r, &k, digit);
	r->joint += r->evidence;

	double all = -INFINITY;
	for (int i = 0; i < law->runs; i++)
		all = log_sum(all, law->run[i].joint);
	for (int i = 0; i < law->runs; i++)
		law->run[i].joint -= all;
	law_jumps(law, limits, law_best(law), value, fmax(digit, law->coarse), x.dt);
	law->coarse = digit;
	if (x.rescaled)
		law->waves = 0; /* what was before had another rounding */
	if (!law_best(law)->strays) {
		law_history_add(law, t, value, x.w);
		law->wave[law->waves % SETTLE_WAVE] = value;
		law->wave_t[law->waves % SETTLE_WAVE] = t;
		/* Only the place in the ring and "full" count. */
		if (++law->waves == 2 * SETTLE_WAVE)
			law->waves = SETTLE_WAVE;
	}
	law->pace = fmax(period, limits->block_seconds); /* of what comes here */
	law->t = t;
	law->last = value;
	law->jolted = false;
}

/* --- judging --- */

/* White noise has differences twice as large as itself; a walk much smaller. */
static bool law_wanders(const struct settle_law *law, const struct settle_limits *limits,
                        const struct settle_run *best)
{
	int have = law->recents < SETTLE_RECENTS ? law->recents : SETTLE_RECENTS;
	if (have > best->n)
		have = best->n;
	if (best->best_a != 0 || have < 6 || law_fine(law, limits) > 1)
		return false;
	double sz = 0, szz = 0, sdd = 0, last = 0;
	for (int i = 0; i < have; i++) {
		int at = (law->recents - have + i) % SETTLE_RECENTS;
		double z = (law->recent[at] - law->last) / law->digit;
		sz += z;
		szz += z * z;
		if (i)
			sdd += (z - last) * (z - last);
		last = z;
	}
	double czz = szz - sz * sz / have;
	return czz > (have - 1) * limits->wander_digits * limits->wander_digits &&
	       sdd < limits->wander_ratio * czz;
}

double settle_law_rest(const struct settle_law *law)
{
	const struct settle_run *best = law->runs ? law_best(law) : NULL;
	return best && best->best_a != 0 ? best->best_c : NAN;
}

void settle_law_judge(const struct settle_law *law, const struct settle_limits *limits,
                      struct settle_judgement *out)
{
	memset(out, 0, sizeof(*out));
	out->off = 1;
	out->since = law->t;
	if (!law->runs)
		return;
	const struct settle_run *best = law_best(law);
	double off = 0, total = 0;
	for (int i = 0; i < law->runs; i++) {
		const struct settle_run *r = &law->run[i];
		double p = exp(r->joint);
		total += p;
		off += p * r->off;
	}
	out->off = off / total;
	out->noise = best->best_noise;
	out->known = law->rest_n < known_least ? 0 : sqrt(law->rest_dd / (2 * law->rest_n));
	out->n = best->n;
	out->since = out->clear = out->begun = best->t0;
	out->rest = best->best_c;
	out->jumps = law->jumps;
	out->readings = law->readings;
	out->slow = best->best_a != 0;
	out->wanders = law_wanders(law, limits, best);
	out->doubt = out->slow ? limits->settle_doubt
	                       : fmax(limits->settle_doubt, limits->settle_doubt_level);
	/* Only where all else says that it rests: it costs more than all else together. */
	if (out->off <= out->doubt)
		out->tail_chance = law_tail(law, limits, best, &out->tail_count);
	if (out->slow) {
		double local = fmin(out->noise, law_local(law));
		double near = limits->law_near_digits + limits->law_near_sigma * out->noise;
		double clear = limits->law_clear_digits + limits->law_near_sigma * local;
		out->slow = settle_tau_seconds(best->best_tau) > limits->law_slow_periods * law->pace;
		out->since = run_reaches(best, law->t, near * law->digit);
		out->clear = run_reaches(best, law->t, clear * law->digit);
		out->drift = run_left(best, 0) / law->digit;
	}
	if (out->off <= out->doubt)
		out->wave_chance = law_wave(law, limits, out->since);
}
