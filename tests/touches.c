/* SPDX-License-Identifier: MIT */
/*
 * A circuit, a technician's hand and a meter, simulated in small steps; see touches.h.
 */
#include "tests/touches_sim.h"

#include <stdlib.h>


/* What is there at the probes t seconds after the touch began, at rest or not. */
double part_value(const struct part *p, enum function f, double t, bool instant)
{
	double v = p->base;
	for (int i = 0; i < p->sections; i++)
		v += instant ? p->section[i].u : p->section[i].r;
	double fade = 0;
	for (int i = 0; i < 2; i++)
		if (p->tail_tau[i] > 0)
			fade += p->tail[i] * exp(-t / p->tail_tau[i]);
	v += p->base * fade;
	v += p->ramp * (t < p->ramp_until ? t : p->ramp_until);
	if (!instant)
		return v;
	v += p->hum * sin(6.283185307179586 * p->hum_hz * t);
	v += p->wobble * p->wobble_now;
	v += p->base * (p->joint_now + p->skin_now + p->skin_slow);
	if (t < p->half_until)
		v += f == FUNCTION_OHM ? p->base * p->half_share * exp(p->half_now)
		                       : -p->base * (1 - exp(-fabs(p->half_now)));
	return v;
}

static void part_step(struct sim *s, double h)
{
	struct part *p = &s->part;
	double t = s->t - s->touched_at;
	for (int i = 0; i < p->sections; i++)
		p->section[i].u += ((s->contact ? p->section[i].r : 0) - p->section[i].u) *
		                   (1 - exp(-h / p->section[i].tau));
	if (p->wobble > 0) {
		double k = exp(-h / p->wobble_s);
		p->wobble_now = p->wobble_now * k + gauss(&s->c) * sqrt(1 - k * k);
	}
	if (t < p->half_until) {
		double k = exp(-h / 0.12);
		p->half_now = p->half_now * k + 0.9 * gauss(&s->c) * sqrt(1 - k * k);
	}
	if (p->joint > 0 && (p->joint_left -= h) <= 0) {
		p->joint_left = p->joint_mean * chance_between(&s->c, 0.15, 1.85);
		p->joint_now = p->joint * -log(1 - chance_unit(&s->c));
	}
	if (p->skin > 0) {
		double k = exp(-h / 0.35), q = exp(-h / 2.5);
		p->skin_now = p->skin_now * k + p->skin * gauss(&s->c) * sqrt(1 - k * k);
		p->skin_slow = p->skin_slow * q + p->skin * gauss(&s->c) * sqrt(1 - q * q);
	}
	double k = exp(-h / s->open_s);
	s->open_now = s->open_now * k + s->open_sd * gauss(&s->c) * sqrt(1 - k * k);
}

/* What the meter's input sees now; *open where that is nothing. */
static double input(struct sim *s, double h, bool *open)
{
	struct part *p = &s->part;
	double t = s->t - s->touched_at;
	*open = !s->contact;
	double there = s->contact ? part_value(p, s->x->m.function, t, true) : 0;
	double floats = s->open_now + s->open_hum * sin(6.283185307179586 * s->open_hum_hz * s->t);
	switch ((int)s->x->m.function) {
	case FUNCTION_OHM:
		return there;
	case FUNCTION_FARAD:
		floats = fabs(s->open_now) + s->open_sd;
		if (!s->contact)
			return p->settle_v = floats;
		p->settle_v += (there - p->settle_v) * (1 - exp(-h / p->charge_tau));
		return p->settle_v;
	default:
		p->settle_v += ((s->contact ? there : floats) - p->settle_v) *
		               (1 - exp(-h / (s->contact ? p->charge_tau : s->glide_s)));
		return p->settle_v;
	}
}

/* ---- the meter ---- */

static double full(const struct sim *s)
{
	return s->x->m.counts * pow(10, s->e);
}

static void range_to(struct sim *s, int e)
{
	struct part *p = &s->part;
	/* Another current: the capacitors stay at their volts, which are other ohms now. */
	if (s->x->m.function == FUNCTION_OHM)
		for (int i = 0; i < p->sections; i++)
			p->section[i].u *= pow(10, e - s->e);
	s->e = e;
	s->losing = s->x->m.range_loses;
	s->waits = 0;
	s->ring = 0;
	s->lagging = false;
	s->n = 0;
}

static void show(struct sim *s, const struct shown *one)
{
	struct trace *x = s->x;
	if (x->shows == x->shows_room) {
		x->shows_room = x->shows_room ? 2 * x->shows_room : 1024;
		x->shown = realloc(x->shown, (size_t)x->shows_room * sizeof *x->shown);
		if (!x->shown)
			abort();
	}
	x->shown[x->shows++] = *one;
}

static int prefix_of(const struct sim *s)
{
	/* The unit that the range is written in: 60.00 kohm of a 6000-count meter. */
	double top = full(s) * 1.0001;
	int p = (int)floor(log10(top) / 3) * 3;
	if (s->x->m.function == FUNCTION_FARAD)
		return p < -12 ? -12 : p > -3 ? -3 : p;
	return p < -3 ? -3 : p > 6 ? 6 : p;
}

/* Send the frames of one conversion; false where one of them was lost or spoilt. */
static bool send(struct sim *s, struct shown one, double *arrived)
{
	struct model *m = &s->x->m;
	bool whole = true;
	for (int i = 0; i < m->frames; i++) {
		double t = s->t + i / (m->rate * m->frames) + 0.015 + m->jitter * chance_unit(&s->noise);
		if (m->bunch > 0)
			t = ceil(t / m->bunch) * m->bunch;
		if (t < s->last_arrival)
			t = s->last_arrival;
		one.t = (int64_t)(t * 1e6);
		one.r.t = one.t;
		one.garbled = chance_of(&s->noise, m->garbled);
		if (one.garbled || chance_of(&s->noise, m->lost))
			whole = false;
		if (!one.garbled && !whole && m->lost > 0 && i + 1 == m->frames)
			continue; /* lost */
		s->last_arrival = *arrived = t;
		show(s, &one);
		if (!one.garbled && chance_of(&s->noise, m->doubled)) {
			one.t += 2000;
			one.r.t = one.t;
			s->last_arrival = *arrived = t + 0.002;
			show(s, &one);
		}
	}
	return whole;
}

/* A display filter: ideal and noise go the same way. */
static void filter(struct sim *s, double ideal, double noise, double *out, double *out_noise)
{
	const struct model *m = &s->x->m;
	double period = 1 / m->rate;
	*out = ideal;
	*out_noise = noise;
	if (m->average > 1) {
		s->ring_ideal[s->ring % m->average] = ideal;
		s->ring_noise[s->ring % m->average] = noise;
		s->ring++;
		int n = s->ring < m->average ? s->ring : m->average;
		double a = 0, b = 0;
		for (int i = 0; i < n; i++) {
			a += s->ring_ideal[i];
			b += s->ring_noise[i];
		}
		*out = a / n;
		*out_noise = b / n;
	}
	if (m->lag > 0) {
		double k = 1 - exp(-period / m->lag);
		/* It follows a large step at once. */
		if (!s->lagging || fabs(ideal - s->lag_ideal) > 0.04 * full(s)) {
			s->lag_ideal = ideal;
			s->lag_noise = noise * sqrt(k / (2 - k));
		}
		s->lagging = true;
		s->lag_ideal += (ideal - s->lag_ideal) * k;
		s->lag_noise += (noise - s->lag_noise) * k;
		*out = s->lag_ideal;
		*out_noise = s->lag_noise;
	}
}

/* Noise of one conversion in digits, such that the display has m->sigma of it. */
static double noise_digits(struct sim *s)
{
	const struct model *m = &s->x->m;
	double raw = m->sigma;
	if (m->average > 1)
		raw *= sqrt(m->average);
	if (m->lag > 0) {
		double k = 1 - exp(-1 / (m->rate * m->lag));
		raw /= sqrt(k / (2 - k));
	}
	if (m->corr_s <= 0)
		return raw * gauss(&s->noise);
	double k = exp(-1 / (m->rate * m->corr_s));
	s->ar = s->ar * k + sqrt(1 - k * k) * gauss(&s->noise);
	return raw * (0.8 * s->ar + 0.6 * gauss(&s->noise));
}

/* A conversion as the count of undisturbed ones wants it. */
struct seen {
	double ideal; /* display without noise and rounding, NAN for none */
	bool lost_to_range, stray, undisturbed;
};

/* Count undisturbed conversions; the hand waits until the entry is due. */
static void count(struct sim *s, const struct seen *y, bool whole_contact, double arrived)
{
	struct trace *x = s->x;
	struct touch *u = &x->touch[s->now];
	const struct part *p = &s->part;
	double digit = pow(10, s->e), t = s->t - s->touched_at;
	double band = (0.5 + 0.5 * u->sigma) * digit;
	double rest = part_value(p, x->m.function, u->creeps ? t : 1e9, false);
	bool undisturbed = y->undisturbed;
	if (u->creeps) {
		double dt = longer(1 / x->m.rate, 0.4);
		double rate = fabs(rest - part_value(p, x->m.function, t - dt, false)) / digit;
		if (t < dt || rate > 1.5)
			undisturbed = false;
		band += 2 * rate * digit;
	}
	bool near = fabs(y->ideal - rest) <= band; /* (false for none) */
	s->off += isfinite(y->ideal) && whole_contact && !near;
	if (isnan(u->began) && whole_contact && isfinite(y->ideal))
		u->began = fabs(y->ideal - rest) / digit;
	if (!near)
		u->settled = INFINITY;
	if (!near || !undisturbed) {
		s->n = 0;
		return;
	}
	if (!s->n++)
		s->first = arrived; /* nobody knows more than when it came */
	if (isinf(u->settled))
		u->settled = arrived;
	u->slow |= s->off >= 3;
	bool more = u->slow || p->odd || u->sigma > 1 || u->creeps;
	int wanted = p->lawless ? 14 : more ? 8 : 4;
	if (isinf(u->due) && s->n >= wanted && arrived - s->first >= 0.4 - 1e-6)
		u->due = arrived;
}

/* The range of the next conversion. */
static int range_next(struct sim *s, double ideal)
{
	const struct model *m = &s->x->m;
	bool over = fabs(ideal) > full(s);
	if (s->losing > 0 || !m->ranging)
		return s->e;
	if (over && s->e < m->e_max)
		return s->e + 1;
	if (over || fabs(ideal) >= m->down * full(s) || s->e <= m->e_min) {
		s->waits = 0;
		return s->e;
	}
	return ++s->waits >= m->range_waits ? s->e - 1 : s->e;
}

/* What the display makes of a conversion; *silent: it sends nothing of it. */
static void display(struct sim *s, double ideal, double open, struct seen *y, struct shown *one,
                    bool *silent)
{
	const struct model *m = &s->x->m;
	bool over = fabs(ideal) > full(s), nothing = over || (open >= 1 && m->function == FUNCTION_FARAD);
	double digit = pow(10, s->e), noise = noise_digits(s), shown_noise;
	bool stands = m->range_shows == RANGING_VALUE && s->was_value;
	*silent = m->open == OPEN_SILENT && nothing;
	one->r.function = m->function;
	one->r.prefix = prefix_of(s);
	one->r.has_value = !over;
	y->lost_to_range = s->losing > 0;
	y->stray = false;
	y->ideal = NAN;
	if (over) {
		s->ring = 0;
		s->lagging = false;
	}
	if (s->losing > 0) {
		s->losing--;
		/* Going down from a value, nobody shows an overload. */
		*silent |= m->range_shows == RANGING_NOTHING ||
		           (!stands && !over && m->function != FUNCTION_OHM);
		one->r.has_value = !over && stands;
		one->r.value = s->last.value; /* what it showed before stands */
		if (one->r.has_value)
			one->r.prefix = s->last.prefix;
	} else if (!over) {
		filter(s, ideal, noise, &y->ideal, &shown_noise);
		one->r.value = (struct decimal){llround(y->ideal / digit + shown_noise), s->e};
		y->stray = chance_of(&s->noise, m->stray);
		double far = chance_log(&s->noise, 8, 0.3 * m->counts);
		if (y->stray)
			one->r.value.n += (int64_t)(chance_of(&s->noise, 0.5) ? far : -far);
		s->last = one->r;
	}
	s->was_value = one->r.has_value;
	if (!one->r.has_value) {
		one->r.value = (struct decimal){0, 0};
		one->r.state = READING_OVERLOAD;
		one->r.negative = ideal < 0;
	}
}

static void convert(struct sim *s)
{
	struct trace *x = s->x;
	double open = s->open_share / s->samples, ideal = s->sum / s->samples, arrived = s->t;
	if (x->m.function == FUNCTION_OHM && open > 0) /* the source runs into its end stop */
		ideal += open * full(s) * (1.2 + 3 * chance_unit(&s->noise));
	s->sum = s->open_share = 0;
	s->samples = 0;
	struct shown one = {.conversion = x->conversions};
	struct seen y;
	bool silent;
	int e = range_next(s, ideal);
	display(s, ideal, open, &y, &one, &silent);
	if (x->conversions == x->conversions_room) {
		x->conversions_room = x->conversions_room ? 2 * x->conversions_room : 1024;
		x->conversion = realloc(x->conversion, (size_t)x->conversions_room * sizeof *x->conversion);
		if (!x->conversion)
			abort();
	}
	x->conversion[x->conversions++] = (struct conversion){s->t, y.ideal, pow(10, s->e), s->now};
	bool whole = silent || send(s, one, &arrived);
	y.undisturbed = whole && !silent && !y.stray && !y.lost_to_range && open <= 0;
	if (s->now >= 0)
		count(s, &y, open <= 0, arrived);
	if (e != s->e)
		range_to(s, e);
}

/* ---- time ---- */

/* Let `seconds` go by. */
void sim_run(struct sim *s, double seconds)
{
	struct model *m = &s->x->m;
	double until = s->t + seconds, period = 1 / m->rate;
	while (s->t < until) {
		s->t += s->h;
		double phase = fmod(s->t, period);
		if (s->now >= 0) {
			const struct part *p = &s->part;
			double t = s->t - s->touched_at;
			s->contact = true;
			for (int i = 0; i < p->gaps; i++)
				if (t >= p->gap_at[i] && t < p->gap_at[i] + p->gap_for[i])
					s->contact = false;
		} else {
			s->contact = false;
		}
		part_step(s, s->h);
		bool open;
		double v = input(s, s->h, &open);
		if (phase >= period * (1 - m->integrate) || phase < s->h) {
			s->sum += v;
			s->open_share += open;
			s->samples++;
		}
		if (phase < s->h && s->samples)
			convert(s);
		if (s->now >= 0 && isinf(s->x->touch[s->now].to) && s->t > s->x->touch[s->now].due)
			return;
	}
}
