/* SPDX-License-Identifier: MIT */
/*
 * The kinds of touches: which meter, which part, and what the hand does; see touches.h.
 */
#include "tests/touches_sim.h"

#include <stdlib.h>
#include <string.h>

const char *const touch_kind_name[KINDS] = {
#define X(id, name, class, what) name,
	TOUCH_KIND_LIST(X)
#undef X
};
const char *const touch_kind_what[KINDS] = {
#define X(id, name, class, what) what,
	TOUCH_KIND_LIST(X)
#undef X
};
const enum touch_class touch_kind_class[KINDS] = {
#define X(id, name, class, what) CLASS_##class,
	TOUCH_KIND_LIST(X)
#undef X
};

static void model_pick(struct sim *s, double counts_low, double counts_high, double rate_low,
                       double rate_high)
{
	static const double counts[] = {1999, 3999, 5999, 9999, 19999, 49999, 119999, 199999, 999999};
	struct model *m = &s->x->m;
	do {
		m->counts = counts[pick(&s->c, 0, 8)];
	} while (m->counts < counts_low || m->counts > counts_high);
	m->rate = chance_log(&s->c, rate_low, rate_high);
	m->integrate = chance_between(&s->c, 0.3, 0.95);
	m->frames = m->told = m->average = 1;
	m->sigma = m->counts < 30000 ? chance_between(&s->c, 0.05, 0.4) : chance_between(&s->c, 0.2, 0.9);
	m->down = chance_between(&s->c, 0.07, 0.095);
	m->range_waits = 1;
	m->jitter = chance_between(&s->c, 0, 0.012);
}

/* Exponents of its digits: ranges by decades, full scale from `low` to `high`. */
static void ranges(struct sim *s, double low, double high)
{
	struct model *m = &s->x->m;
	m->e_min = (int)ceil(log10(low / (m->counts + 1)) - 1e-9);
	m->e_max = (int)ceil(log10(high / (m->counts + 1)) - 1e-9);
}

static int exponent_for(const struct sim *s, double value)
{
	const struct model *m = &s->x->m;
	int e = m->e_min;
	while (e < m->e_max && fabs(value) > 0.97 * m->counts * pow(10, e))
		e++;
	return e;
}

/* ---- the kinds ---- */

static bool is_volt(enum touch_kind k)
{
	return k == KIND_VOLT || k == KIND_VOLT_GLIDE || k == KIND_VOLT_CLIMB || k == KIND_VOLT_ZERO ||
	       k == KIND_SAG || k == KIND_OVERSHOOT || k == KIND_VOLT_LOWPASS || k == KIND_HUM ||
	       k == KIND_FLOAT;
}

static bool is_farad(enum touch_kind k)
{
	return k == KIND_FARAD || k == KIND_FARAD_REPEATED || k == KIND_FARAD_SLOW ||
	       k == KIND_FARAD_SILENT || k == KIND_SOAK || k == KIND_LEAKY || k == KIND_RESIDUAL;
}

/* Which meter: its counts and pace, and how it goes from range to range. */
static void make_display(struct sim *s, enum touch_kind k)
{
	struct model *m = &s->x->m;
	struct chance *c = &s->c;
	m->function = is_volt(k) ? FUNCTION_VOLT_DC : is_farad(k) ? FUNCTION_FARAD : FUNCTION_OHM;
	m->open = m->function == FUNCTION_OHM ? OPEN_OVERLOAD : OPEN_VALUE;
	if (k == KIND_BENCH || k == KIND_CORRELATED6)
		model_pick(s, k == KIND_BENCH ? 40000 : 900000, 1e6, 5, 50);
	else if (k == KIND_FARAD_SLOW || k == KIND_SOAK)
		model_pick(s, 1900, 50000, 0.4, 2);
	else if (is_farad(k))
		model_pick(s, 1900, 50000, k == KIND_FARAD_SILENT ? 1 : 0.8,
		           k == KIND_FARAD_REPEATED ? 2 : 4);
	else if (chance_of(c, 0.15) && k != KIND_LOWPASS)
		model_pick(s, 1900, 130000, 5, 25);
	else
		model_pick(s, 1900, 50000, 1, 5);
	bool often = chance_of(c, 0.3);
	m->ranging = k != KIND_CLEAN && k != KIND_VOLT_LOWPASS &&
	             (often || m->function != FUNCTION_OHM || k == KIND_RANGE || k == KIND_RANGE_SLOW ||
	              k == KIND_RC_RANGE || k == KIND_BLANK || k == KIND_COARSE || k == KIND_QUICK ||
	              k == KIND_CAPACITOR);
	if (m->function == FUNCTION_OHM)
		ranges(s, 190, 1.9e7);
	else if (m->function == FUNCTION_FARAD)
		ranges(s, 1.9e-9, 1.9e-2);
	else
		ranges(s, 0.19, 590);
	/* An overload of the next part, touched too soon, were open leads. */
	m->range_loses = k != KIND_QUICK && chance_of(c, 0.4) ? 1 : 0;
	m->range_shows = chance_of(c, 0.5) ? RANGING_OVERLOAD : RANGING_VALUE;
	if (k == KIND_RANGE_SLOW)
		m->range_loses = pick(c, 2, 3);
	if (k == KIND_COARSE) {
		/* Four alike in a range cannot be told from rest. */
		m->range_waits = pick(c, 2, 3);
		m->range_loses = m->range_waits == 3 ? 0 : m->range_loses;
	}
	if (m->range_loses > 1 && m->range_shows == RANGING_VALUE)
		m->range_shows = RANGING_NOTHING; /* nor can few digits that stand for so long */
	if (k == KIND_BLANK) {
		m->range_loses = 1 + (int)(m->rate * chance_between(c, 0.3, 1));
		m->range_shows = RANGING_NOTHING;
	}
}

/* How its frames come. */
static void make_line(struct sim *s, enum touch_kind k)
{
	struct model *m = &s->x->m;
	struct chance *c = &s->c;
	bool mixed = k == KIND_MIXED;
	if (k == KIND_REPEATED || k == KIND_FARAD_REPEATED) {
		m->frames = pick(c, 2, 5);
		m->told = k == KIND_REPEATED || chance_of(c, 0.4) ? m->frames : 1;
	}
	if (k == KIND_LOST || k == KIND_SILENT_LOST || (mixed && chance_of(c, 0.4))) {
		m->lost = chance_between(c, 0.005, 0.05);
		m->doubled = chance_of(c, 0.5) ? chance_between(c, 0.005, 0.05) : 0;
	}
	if (k == KIND_GARBLED || (mixed && chance_of(c, 0.3)))
		m->garbled = chance_between(c, 0.005, 0.05);
	if (k == KIND_BUNCHED) {
		m->rate = chance_between(c, 4, 20);
		m->bunch = chance_between(c, 0.3, 0.9) / m->rate;
	}
	if (k == KIND_PAIRS) {
		m->rate = chance_between(c, 6, 20);
		m->bunch = chance_between(c, 1.2, 3) / m->rate;
	}
	if (k == KIND_SILENT || k == KIND_SILENT_LOST || k == KIND_FARAD_SILENT ||
	    (mixed && chance_of(c, 0.2)))
		m->open = OPEN_SILENT;
	if (k == KIND_STRAY || (mixed && chance_of(c, 0.3)))
		m->stray = chance_between(c, 0.005, 0.03);
}

/* Its noise, its filter, and what its leads pick up while they are open. */
static void make_noise(struct sim *s, enum touch_kind k)
{
	struct model *m = &s->x->m;
	struct chance *c = &s->c;
	if (k == KIND_LOWPASS || k == KIND_VOLT_LOWPASS) {
		if (chance_of(c, 0.5))
			m->average = pick(c, 2, 8);
		else
			m->lag = chance_between(c, 0.2, 0.9);
	}
	if (k == KIND_WHITE)
		m->sigma = chance_between(c, 0.4, m->counts > 10000 ? 2.5 : 1.5);
	if (k == KIND_BENCH)
		m->sigma = chance_between(c, 0.2, m->counts > 500000 ? 4 : 1.5);
	if (k == KIND_CORRELATED || (k == KIND_MIXED && chance_of(c, 0.3))) {
		m->corr_s = chance_between(c, 0.3, 2);
		m->sigma = chance_between(c, 0.2, 1);
	}
	if (k == KIND_CORRELATED6) {
		m->corr_s = chance_between(c, 0.2, 2);
		m->sigma = chance_between(c, 1, 5);
	}
	s->open_s = chance_between(c, 0.4, 3);
	s->open_sd = m->function == FUNCTION_FARAD ? chance_log(c, 2e-12, 15e-12)
	                                           : chance_log(c, 1e-3, 0.03);
	s->open_hum = m->function == FUNCTION_VOLT_DC ? chance_log(c, 0.2e-3, 0.02) : 0;
	s->open_hum_hz = chance_between(c, 0.2, m->rate / 2);
	s->glide_s = k == KIND_VOLT_GLIDE ? chance_between(c, 0.2, 1) : chance_between(c, 0.005, 0.1);
	s->h = 1 / m->rate / 16;
	if (s->h > 0.01)
		s->h = 1 / m->rate / ceil(1 / m->rate / 0.01);
}

/* Values as they are in such amplifiers. */
static double value_pick(struct sim *s, enum touch_kind k)
{
	struct chance *c = &s->c;
	static const double rails[] = {6.3, 12.6, 85,  120, 185, 250, 285, 320,
	                               410, -9.5, -18, -35, -48, 1.6, 3.2, -1.2};
	if (k == KIND_VOLT_ZERO)
		return chance_between(c, -0.08, 0.08);
	if (k == KIND_VOLT_CLIMB || k == KIND_SAG || k == KIND_OVERSHOOT || k == KIND_HUM)
		return rails[pick(c, 2, 8)] * chance_between(c, 0.92, 1.08);
	if (is_volt(k))
		return rails[pick(c, 0, 15)] * chance_between(c, 0.92, 1.08);
	if (k == KIND_FARAD_SLOW)
		return chance_log(c, 4e-6, 1.5e-3);
	if (k == KIND_SOAK)
		return chance_log(c, 1e-6, 1e-4);
	if (k == KIND_LEAKY)
		return chance_log(c, 5e-9, 1e-6);
	if (is_farad(k))
		return chance_log(c, 150e-12, 1e-6);
	if (k == KIND_ZERO)
		return chance_between(c, 1, 18) * pow(10, s->x->m.e_min);
	if (k == KIND_FINGERS)
		return chance_log(c, 3e5, 4e6);
	return chance_log(c, 68, 2.2e6);
}

static void one_section(struct part *p, double r, double tau)
{
	p->section[p->sections++] = (struct section){r, tau, 0};
}

/* Circuits that come to rest: capacitors across resistors, supplies. */
static void part_approaches(struct sim *s, enum touch_kind k, double v)
{
	struct chance *c = &s->c;
	struct part *p = &s->part;
	double sign = chance_of(c, 0.5) ? 1 : -1;
	if (k == KIND_RC || k == KIND_RC_RANGE || k == KIND_RC_CHARGED ||
	    (k == KIND_MIXED && chance_of(c, 0.3))) {
		double in = chance_between(c, 0.3, 1);
		one_section(p, v * in, chance_log(c, 0.05, 3));
		p->base = v * (1 - in);
		if (k == KIND_RC_CHARGED)
			p->section[0].u = v * in * chance_between(c, 0.2, 1.8);
	}
	if (k == KIND_DOUBLE) {
		double slow = chance_between(c, 0.03, 0.4), tau = chance_log(c, 0.08, 0.8);
		one_section(p, v * (0.8 - slow), tau);
		one_section(p, v * slow, tau * chance_between(c, 3, 8));
		p->base = v * 0.2;
	}
	if (k == KIND_LADDER) {
		double tau = chance_log(c, 0.08, 0.5);
		one_section(p, v * 0.5, tau);
		one_section(p, v * 0.25, tau * chance_between(c, 2, 4));
		one_section(p, v * 0.1, tau * chance_between(c, 5, 9));
		p->base = v * 0.15;
	}
	if (k == KIND_VOLT_CLIMB) {
		p->tail[0] = sign * chance_log(c, 0.005, 0.3);
		p->tail_tau[0] = chance_log(c, 0.3, 4);
	}
	if (k == KIND_SAG || k == KIND_OVERSHOOT) {
		p->tail[0] = (k == KIND_SAG ? sign : -sign) * chance_log(c, 0.005, 0.1);
		p->tail_tau[0] = chance_log(c, 0.2, 1);
		p->tail[1] = sign * chance_log(c, 0.003, 0.05);
		p->tail_tau[1] = p->tail_tau[0] * chance_between(c, 3, 8);
	}
}

/* What climbs, creeps, cools or is turned. */
static void part_moves(struct sim *s, enum touch_kind k, double v, double digit)
{
	struct chance *c = &s->c;
	struct part *p = &s->part;
	double sign = chance_of(c, 0.5) ? 1 : -1, beat = longer(1 / s->x->m.rate, 0.4);
	if (k == KIND_FARAD_SLOW)
		p->charge_tau = chance_log(c, 0.4, 4);
	if (k == KIND_SOAK) {
		p->charge_tau = chance_log(c, 0.05, 0.5);
		p->tail[0] = -chance_log(c, 3, 60) * digit / v;
		p->tail_tau[0] = chance_log(c, 10, 60);
	}
	if (k == KIND_WARM) {
		p->tail[0] = sign * chance_log(c, 3, 40) * digit / v;
		p->tail_tau[0] = chance_log(c, 8, 40);
	}
	if (k == KIND_CREEP) {
		p->ramp = sign * chance_between(c, 0.1, 0.8) * digit / beat;
		p->ramp_until = 1e9;
	}
	if (k == KIND_RAMP) {
		p->ramp = sign * chance_log(c, 5, 80) * digit / beat;
		p->ramp_until = 1e9;
		if (p->ramp < 0)
			p->ramp = longer(p->ramp, -v / 20);
		if (fabs(p->ramp) * beat / digit < 5)
			p->ramp = 5 * digit / beat;
	}
	if (k == KIND_RAMP_STOP) {
		p->ramp = sign * chance_log(c, 5, 80) * digit / beat;
		p->ramp_until = chance_between(c, 0.8, 3);
		p->lawless = true;
		if (p->ramp * p->ramp_until < -0.5 * v)
			p->ramp = -p->ramp;
	}
}

/* What a hand does to a contact. */
static void part_shakes(struct sim *s, enum touch_kind k, double digit)
{
	struct chance *c = &s->c;
	struct part *p = &s->part;
	if (k == KIND_WOBBLE) {
		p->wobble = chance_between(c, 0.5, 2) * digit;
		p->wobble_s = chance_between(c, 0.3, 1.5);
	}
	if (k == KIND_HALF || (k == KIND_MIXED && chance_of(c, 0.3))) {
		p->half_until = chance_between(c, 0.2, 1.2);
		p->half_share = chance_log(c, 0.05, 3);
		p->lawless = true;
	}
	if (k == KIND_CHATTER || (k == KIND_MIXED && chance_of(c, 0.3))) {
		double at = chance_between(c, 0.05, 0.4);
		int gaps = pick(c, 1, 3);
		for (p->gaps = 0; p->gaps < gaps; p->gaps++) {
			p->gap_at[p->gaps] = at;
			p->gap_for[p->gaps] = chance_between(c, 0.02, 0.28);
			at += p->gap_for[p->gaps] + chance_between(c, 0.05, 0.6);
		}
		/* One is a stray; more of them leave values that no law explains. */
		p->lawless |= gaps > 1;
	}
}

/* What never comes to rest. */
static void part_wanders(struct sim *s, enum touch_kind k, double v, double digit)
{
	struct chance *c = &s->c;
	struct part *p = &s->part;
	const struct model *m = &s->x->m;
	double sign = chance_of(c, 0.5) ? 1 : -1, beat = longer(1 / m->rate, 0.4);
	if (k == KIND_JOINT) {
		p->joint = longer(chance_log(c, 0.02, 0.3), 25 * digit / v);
		p->joint_mean = chance_between(c, 0.1, 0.8) * beat;
		p->wobble = chance_log(c, 1, 10) * digit;
		p->wobble_s = chance_between(c, 0.1, 0.5);
	}
	if (k == KIND_FINGERS) {
		p->skin = chance_between(c, 0.02, 0.1);
		p->tail[0] = chance_between(c, 0.2, 1);
		p->tail_tau[0] = chance_between(c, 1, 6);
	}
	if (k == KIND_CAPACITOR) {
		double C = chance_log(c, 0.05e-6, 1e-6), top = pow(10, m->e_max);
		while (C > beat / (6 * top)) /* six digits a reading on the top range, at least */
			C /= 2;
		one_section(p, 40e6 * chance_between(c, 1, 5), 0);
		p->section[0].tau = p->section[0].r * C;
		p->base = 0.1;
	}
	if (k == KIND_LEAKY) {
		p->ramp = sign * chance_log(c, 5, 40) * digit / beat;
		p->ramp_until = 1e9;
		if (p->ramp < 0 && p->ramp * 12 < -0.6 * v)
			p->ramp = -p->ramp;
	}
	if (k == KIND_HUM) {
		p->hum = chance_log(c, 12, 100) * digit;
		p->hum_hz = chance_between(c, 0.15, 0.4) * m->rate * (chance_of(c, 0.5) ? 1 : 0.4);
		while (p->hum * p->hum_hz * beat < 1.5 * digit)
			p->hum *= 1.5;
	}
}

/* The range that the part will be shown in. */
static int range_of(struct sim *s, enum touch_kind k, double v)
{
	struct model *m = &s->x->m;
	if (k == KIND_VOLT_LOWPASS)
		return s->e = m->e_max;
	if (m->ranging) {
		int e = exponent_for(s, v);
		/* From above it stays in a range that is a little too coarse. */
		bool coarse = m->function == FUNCTION_OHM && e < m->e_max &&
		              v >= m->down * m->counts * pow(10, e + 1);
		return coarse ? e + 1 : e;
	}
	/* The dial is set for what comes; a manual range has room. */
	int e = exponent_for(s, v * chance_between(&s->c, 1, 4));
	while (e > m->e_min && v < 0.1 * m->counts * pow(10, e))
		e--;
	return s->e = e;
}

/* What the sheet says of it, and what the rules ask. */
static void touch_expects(struct sim *s, enum touch_kind k, struct touch *u, double v, double digit)
{
	struct chance *c = &s->c;
	const struct model *m = &s->x->m;
	struct part *p = &s->part;
	*u = (struct touch){.from = s->t, .to = INFINITY, .settled = INFINITY, .due = INFINITY,
	                    .began = NAN};
	u->none = touch_kind_class[k] == CLASS_NEVER || k == KIND_FLOAT || k == KIND_RESIDUAL;
	u->creeps = k == KIND_SOAK || k == KIND_WARM || k == KIND_CREEP;
	u->doubt_is_good = k == KIND_VOLT_ZERO;
	u->sigma = m->sigma;
	if (p->wobble > 0)
		u->sigma = sqrt(u->sigma * u->sigma + p->wobble * p->wobble / digit / digit);
	u->correlated = m->corr_s > 0 || m->average > 1 || m->lag > 0 || p->wobble > 0;
	u->has_nominal = !chance_of(c, 0.2) || m->function == FUNCTION_VOLT_DC;
	u->tolerance = chance_of(c, 0.5) ? 0.1 : 0.2;
	double there = u->none ? v : part_value(p, m->function, k == KIND_RAMP_STOP ? 1e9 : 0, false);
	double nominal = there / (1 + u->tolerance * chance_between(c, -0.9, 0.9));
	if (k == KIND_ODD) {
		u->has_nominal = p->odd = true;
		nominal /= chance_between(c, 2.2, 6);
	}
	if (k == KIND_CAPACITOR)
		nominal = chance_log(c, 1e4, 1e6);
	if (k == KIND_VOLT_ZERO)
		nominal = 0;
	u->nominal = nominal;
}

static void make_part(struct sim *s, enum touch_kind k, struct touch *u)
{
	struct chance *c = &s->c;
	const struct model *m = &s->x->m;
	struct part *p = &s->part;
	double keep = p->settle_v, v = value_pick(s, k);
	memset(p, 0, sizeof *p);
	p->settle_v = keep; /* the input stands where it stood */
	if (k == KIND_EQUAL && u > s->x->touch)
		v = u[-1].rest * (1 + (chance_of(c, 0.5) ? 0 : 0.002 * gauss(c)));
	double digit = pow(10, range_of(s, k, v));
	if (k == KIND_VOLT_LOWPASS)
		v = (chance_of(c, 0.7) ? 1 : -1) * chance_log(c, 0.05, 0.9) * m->counts * digit;
	p->base = v;
	p->charge_tau = m->function == FUNCTION_FARAD ? 0.005 : chance_log(c, 0.001, 0.02);
	part_approaches(s, k, v);
	part_moves(s, k, v, digit);
	part_shakes(s, k, digit);
	part_wanders(s, k, v, digit);
	touch_expects(s, k, u, v, digit);
}

/* So long must the leads be open, at least, that the rules see a lift and arm. */
static double open_least(const struct model *m)
{
	double period = 1 / m->rate;
	if (m->open == OPEN_SILENT)
		return (m->function == FUNCTION_FARAD ? 6 : longer(1.2, 5 * period)) + 1.2 + 2 * period;
	double smeared = m->function == FUNCTION_VOLT_DC ? m->average * period + 5 * m->lag : 0;
	bool blind = m->range_shows == RANGING_NOTHING || m->function != FUNCTION_OHM;
	return 1 + smeared + longer(0.2, 2.5 * period) + 3 * period * (m->lost + m->garbled > 0) +
	       (blind ? 6 * m->range_loses * period : 0);
}

static void touch_end(struct sim *s)
{
	struct touch *u = &s->x->touch[s->now];
	u->to = s->t;
	u->digit = pow(10, s->e);
	u->rest = part_value(&s->part, s->x->m.function, u->creeps ? s->t - s->touched_at : 1e9, false);
	s->now = -1;
	s->n = s->off = 0;
}

static void one_touch(struct sim *s, enum touch_kind k, int position)
{
	struct trace *x = s->x;
	struct chance *c = &s->c;
	double period = 1 / x->m.rate;
	struct touch *u = &x->touch[x->touches];
	make_part(s, k, u);
	u->position = position;
	s->touched_at = s->t;
	s->now = x->touches++;
	s->n = s->off = 0;
	if (u->none)
		sim_run(s, chance_between(c, 2, 10));
	else
		sim_run(s, 45);
	double due = u->due;
	u->to = 0; /* the rest of it goes by the clock */
	if (!isinf(due))
		sim_run(s, chance_between(c, 0.6, 2.5) + chance_between(c, 1, 4) * period +
		           (touch_kind_class[k] == CLASS_CREEP && k != KIND_BRISK ? 10 * period + 3 : 0));
	if (k == KIND_SLIP || (k == KIND_MIXED && chance_of(c, 0.3))) {
		struct part *p = &s->part;
		p->gaps = 1;
		p->gap_at[0] = s->t - s->touched_at;
		/* (A silence of 1.2 s is a lift.) */
		double most = x->m.open == OPEN_SILENT ? 1.1 - 3 * period : 0.95;
		p->gap_for[0] = chance_between(c, 0.1, longer(0.15, most));
		sim_run(s, p->gap_for[0] + chance_between(c, 0.5, 4));
	}
	touch_end(s);
}

/* The next part, too soon: for the bench it is the old one again. */
static void quick_touch(struct sim *s, int position)
{
	struct trace *x = s->x;
	sim_run(s, chance_between(&s->c, 0.3, 0.9));
	struct touch *u = &x->touch[x->touches];
	make_part(s, KIND_RANGE, u);
	u->none = true;
	u->position = position;
	s->touched_at = s->t;
	s->now = x->touches++;
	u->to = 0;
	sim_run(s, chance_between(&s->c, 1.5, 5));
	touch_end(s);
}

static void waved(struct sim *s)
{
	/* A hand near the leads, a bench that is touched: hum and charge for a while. */
	struct chance *c = &s->c;
	double sd = s->open_sd, hum = s->open_hum;
	for (int i = 0; i < 6; i++) {
		s->open_sd = sd * chance_log(c, 0.3, 2);
		s->open_hum = hum * chance_log(c, 0.2, 3);
		s->open_s = chance_log(c, 0.2, 8);
		sim_run(s, chance_between(c, 2, 8));
	}
}

void touches_make(struct trace *x, enum touch_kind kind, uint64_t seed)
{
	struct sim s = {.x = x, .now = -1};
	memset(x, 0, sizeof *x);
	x->kind = kind;
	x->seed = seed;
	s.c.state = seed * 1000003;
	/* (A kind more leaves the others as they are.) */
	for (const char *p = touch_kind_name[kind]; *p; p++)
		s.c.state = s.c.state * 31 + (uint64_t)(unsigned char)*p;
	chance_next(&s.c);
	s.noise.state = s.c.state ^ UINT64_C(0xabcdef1234567);
	make_display(&s, kind);
	make_line(&s, kind);
	make_noise(&s, kind);
	struct model *m = &x->m;
	s.e = m->function == FUNCTION_OHM || !m->ranging ? m->e_max : m->e_min;
	s.part.charge_tau = 0.01;
	s.t = chance_between(&s.c, 0, 1 / m->rate);
	sim_run(&s, open_least(m) + chance_between(&s.c, 0.5, 3) + (m->frames > m->told ? 8 : 0));
	if (kind == KIND_FLOAT || kind == KIND_RESIDUAL) {
		x->touch[0] = (struct touch){.from = s.t, .none = true, .settled = INFINITY, .due = INFINITY,
		                             .has_nominal = true, .tolerance = 0.2, .digit = pow(10, m->e_min),
		                             .nominal = kind == KIND_FLOAT ? 250 * chance_between(&s.c, 0.02, 1) : 1e-8};
		waved(&s);
		x->touch[0].to = s.t;
		x->touches = x->positions = 1;
		return;
	}
	int n = pick(&s.c, 4, 6);
	for (int i = 0; i < n; i++) {
		one_touch(&s, kind, i);
		if (kind == KIND_QUICK)
			quick_touch(&s, i);
		double glide = m->function == FUNCTION_VOLT_DC ? 3 * s.glide_s : 0;
		double open = open_least(m) + glide - 0.8 * log(1 - chance_unit(&s.c));
		sim_run(&s, kind == KIND_BRISK ? chance_between(&s.c, 1.15, 1.6) : open);
	}
	x->positions = n;
}

void touches_free(struct trace *x)
{
	free(x->shown);
	free(x->conversion);
	memset(x, 0, sizeof *x);
}
