/* SPDX-License-Identifier: MIT */
/*
 * Made-up meter traces with the truth beside them.
 *
 * A small model of probes, part and meter, seeded, so that a trace can be had again
 * by its kind and seed.  The part has a noise-free display p(t); the meter samples
 * it at its own pace, picks a range (one step a conversion where it hunts), rounds
 * to its digit, and the line loses, doubles or repeats frames.
 *
 * The truth of a touch: where it rests, from which conversion on the display is
 * within (0.5 + 0.5 sigma) digit of that and undisturbed, and by when the entry is
 * due: the 4th such conversion and 0.4 s, whichever is later (the 8th after a slow
 * approach or where noise is over one digit).  A stray, a lost frame or a change of
 * range starts the count again.
 *
 * All of it is a model, not measurement: common practice, no source.
 */
#ifndef TALLY_TESTS_TRACES_H
#define TALLY_TESTS_TRACES_H

#include "protocol/trade/reading.h"
#include "tests/chance.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* name, hard (bounds of 90 % and 3 %), an entry is wanted */
#define TRACE_LIST(X)                    \
	X(CLEAN, "clean", 0, 1)              \
	X(HUNTING, "hunting", 0, 1)          \
	X(CHATTER, "chatter", 0, 1)          \
	X(SLIP, "slip", 0, 1)                \
	X(SLOW, "slow", 0, 1)                \
	X(SLOW_RANGES, "slow-ranges", 0, 1)  \
	X(OVERLOAD, "overload", 0, 0)        \
	X(NOISY, "noisy", 0, 1)              \
	X(NEGATIVE, "negative", 0, 1)        \
	X(ZERO, "near-zero", 0, 1)           \
	X(HALF, "half-contact", 0, 1)        \
	X(STRAY, "stray", 0, 1)              \
	X(LINE, "bad-line", 0, 1)            \
	X(REPEATS, "repeats", 0, 1)          \
	X(CREEP, "creep", 0, 1)              \
	X(BENCH, "bench", 0, 1)              \
	X(BENCH_SLOW, "bench-slow", 0, 1)    \
	X(FARAD, "farad", 0, 1)              \
	X(FARAD_SLOW, "farad-slow", 0, 1)    \
	X(VOLT, "volt", 0, 1)                \
	X(VOLT_GLIDE, "volt-glide", 0, 1)    \
	X(VOLT_SLOW, "volt-slow", 0, 1)      \
	X(CAP_ON_OHM, "cap-on-ohm", 0, 0)    \
	X(FLOAT, "float", 0, 0)              \
	X(RAMP, "ramp", 1, 0)                \
	X(TWO_EXP, "two-exponentials", 1, 1) \
	X(SAG, "sag", 1, 1)                  \
	X(WOBBLE, "wobble", 1, 1)            \
	X(CORRELATED, "correlated", 1, 1)    \
	X(JOINT, "bad-joint", 1, 0)          \
	X(FINGERS, "fingers", 1, 0)          \
	X(HUM, "hum", 1, 0)                  \
	X(SPIKES, "spikes", 0, 1)            \
	X(GARBLED, "garbled", 0, 1)          \
	X(HYSTERESIS, "hysteresis", 0, 1)    \
	X(LOW_PASS, "low-pass", 0, 1)        \
	X(SILENT, "silent", 0, 1)            \
	X(EQUAL, "equal", 0, 1)              \
	X(SOAK, "soak", 0, 1)                \
	X(WARM, "warm", 0, 1)                \
	X(LEAKY, "leaky", 0, 0)              \
	X(RISE, "rise", 0, 1)                \
	X(PACE, "pace", 0, 1)                \
	X(TWO, "two-meters", 0, 1)

enum trace_kind {
#define X(id, name, hard, wants) TRACE_##id,
	TRACE_LIST(X)
#undef X
	    TRACE_KINDS
};

struct trace_touch {
	int64_t begin, end; /* the probes meet and leave the part, us */
	bool wants;         /* one entry is wanted */
	double rest;        /* SI; where it creeps, see truth[] */
	double digit;       /* SI, of the range at rest */
	double sigma;       /* noise of one display, digits */
	bool correlated;
	int64_t rest_at;    /* first conversion of the undisturbed rest, us */
	int64_t due;        /* the entry must have come, us */
	double nominal;     /* as a sheet would say */
	bool seen;          /* a number came */
	bool unfair;        /* the approach first shows next to its rest: not to be seen */
};

#define TRACE_TOUCHES 12

struct trace {
	enum trace_kind kind;
	uint64_t seed;
	enum function function;
	double period;  /* s, of frames */
	int conversion; /* frames of a conversion, to be configured; 1 where unknown */
	bool silent;    /* sends nothing while open */
	struct trace_touch touch[TRACE_TOUCHES];
	int touches;
	struct reading *reading;
	double *truth; /* noise-free display at each reading, without strays; NAN where open */
	int count, room;
	struct trace *other; /* of a second meter on the same parts, where there is one */
};

static inline const char *trace_name(enum trace_kind kind)
{
	static const char *const names[] = {
#define X(id, name, hard, wants) name,
		TRACE_LIST(X)
#undef X
	};
	return names[kind];
}

static inline bool trace_hard(enum trace_kind kind)
{
	static const bool hard[] = {
#define X(id, name, hard, wants) hard,
		TRACE_LIST(X)
#undef X
	};
	return hard[kind];
}

static inline bool trace_wants(enum trace_kind kind)
{
	static const bool wanted[] = {
#define X(id, name, hard, wants) wants,
		TRACE_LIST(X)
#undef X
	};
	return wanted[kind];
}

/* The display creeps on when it has settled: what is true is what it showed then. */
static inline bool trace_creeps(enum trace_kind kind)
{
	return kind == TRACE_CREEP || kind == TRACE_SOAK || kind == TRACE_WARM;
}

/* --- the model --- */

struct trace_meter {
	double period;   /* of conversions, s */
	double jitter;   /* share of the period */
	double counts;   /* full scale */
	int finest;      /* exponent of the finest range */
	int coarsest;
	bool hunts;      /* one range a conversion, each shown */
	bool stays;      /* in its range, until the value leaves that */
	bool decades;    /* autorange; else one range */
	bool silent;
	int repeats;     /* frames of one conversion */
	double lost, doubled, garbled;
	double sigma;    /* noise, digits */
	double rho;      /* correlation from conversion to conversion */
	int range;       /* now */
	double noise;    /* now */
	double floating; /* now, volts */
	double wander;   /* of the residual or the float */
};

/* What one touch does. */
struct trace_part {
	double rest;
	double a1, tau1, a2, tau2; /* rest + a1 exp(-t / tau1) + a2 exp(-t / tau2) */
	double rate;               /* SI per second */
	double hum, hum_seconds;
	double hum_digit;          /* the digit that hum was made for */
	double half_until, half_times; /* half-contact until then: so many times the value */
	double chatter_until;      /* contact comes and goes until then */
	double slip_from, slip_to; /* contact lost, s */
	double stray_at;           /* the conversion after that is another number */
	double stray_again;        /* and after that, 0: once only */
	double stray_times;
	double filter;             /* two low-pass stages of the display, s */
	double soak, soak_seconds; /* soak log(1 + t / soak_seconds) */
	bool warm;                 /* a1, tau1 are creep */
	double rise;               /* even way from a1 to the rest, s */
	double wobble;             /* chance of an excursion at a conversion */
	double joint_mean;         /* mean time on one level, s */
	double walk;               /* random walk of log value per root second */
	bool open;                 /* the part itself is open */
	bool slow;
};

struct trace_walk {
	double level;       /* factor of a bad joint or of fingers */
	double until;
	double wobble_left; /* conversions left of an excursion */
	double wobble_times;
	int strays;
	double filtered[2];
	bool filters;
	bool contact;
	double contact_until;
};

static inline void trace_put(struct trace *tr, const struct reading *r, double truth)
{
	if (tr->count == tr->room) {
		tr->room = tr->room ? 2 * tr->room : 1024;
		tr->reading = realloc(tr->reading, (size_t)tr->room * sizeof(*tr->reading));
		tr->truth = realloc(tr->truth, (size_t)tr->room * sizeof(*tr->truth));
		if (!tr->reading || !tr->truth)
			abort();
	}
	tr->reading[tr->count] = *r;
	tr->truth[tr->count++] = truth;
}

static inline void trace_free(struct trace *tr)
{
	free(tr->reading);
	free(tr->truth);
	if (tr->other)
		trace_free(tr->other);
	free(tr->other);
	memset(tr, 0, sizeof(*tr));
}

/* Where it rests, or creeps. */
static inline double part_rest(const struct trace_part *p, double t)
{
	double v = p->rest + p->rate * t;
	if (p->warm)
		v += p->a1 * exp(-t / p->tau1);
	if (p->soak_seconds > 0)
		v += p->soak * log1p(t / p->soak_seconds);
	return v;
}

static inline double part_at(const struct trace_part *p, double t)
{
	double v = p->rest + p->rate * t;
	if (p->soak_seconds > 0)
		v += p->soak * log1p(t / p->soak_seconds);
	if (t < p->rise)
		v += p->a1 * (1 - t / p->rise);
	if (p->tau1 > 0)
		v += p->a1 * exp(-t / p->tau1);
	if (p->tau2 > 0)
		v += p->a2 * exp(-t / p->tau2);
	if (p->hum > 0)
		v += p->hum * sin(6.283185307179586 * t / p->hum_seconds);
	if (t < p->half_until)
		v *= p->half_times;
	return v;
}

static inline int range_for(const struct trace_meter *m, double v)
{
	int e = m->finest;
	while (e < m->coarsest && fabs(v) >= m->counts * pow(10, e))
		e++;
	return e;
}

/* The meter looks at `v`: one reading.  False where it shows overload. */
static inline bool meter_looks(struct trace_meter *m, struct chance *c, double v,
                               struct reading *r)
{
	if (m->decades && !m->hunts) {
		double n = fabs(v) / pow(10, m->range);
		if (!m->stays || n >= m->counts || (n < 0.08 * m->counts && m->range > m->finest))
			m->range = range_for(m, v);
	}
	double digit = pow(10, m->range);
	m->noise = m->rho * m->noise + sqrt(1 - m->rho * m->rho) * chance_normal(c);
	double n = v / digit + m->sigma * m->noise;
	bool over = fabs(n) >= m->counts;
	r->state = over ? READING_OVERLOAD : 0;
	r->negative = over && v < 0;
	r->has_value = !over;
	r->value = (struct decimal){over ? 0 : (int64_t)llround(n), over ? 0 : m->range};
	if (m->decades && m->hunts) {
		if (over && m->range < m->coarsest)
			m->range++;
		else if (!over && fabs(n) < 0.09 * m->counts && m->range > m->finest)
			m->range--;
	}
	return !over;
}

struct trace_make {
	struct trace *tr;
	struct chance c;
	struct trace_meter m;
	double t;     /* s, of the next conversion */
	int64_t last; /* us, of the last frame */
};

/* Send a reading: repeats, losses and doubles happen here.  False where it was lost. */
static inline bool make_send(struct trace_make *k, struct reading *r, double truth)
{
	bool sent = false;
	double step = k->m.period / k->m.repeats;
	for (int i = 0; i < k->m.repeats; i++) {
		double t = k->t + i * step + chance_between(&k->c, 0, k->m.jitter) * step;
		if (chance_of(&k->c, k->m.lost))
			continue;
		r->t = (int64_t)llround(t * 1e6);
		if (r->t < k->last)
			r->t = k->last;
		k->last = r->t;
		if (k->m.garbled > 0 && chance_of(&k->c, k->m.garbled)) {
			struct reading bad = {.t = r->t, .function = r->function, .state = READING_INVALID};
			trace_put(k->tr, &bad, truth);
			continue;
		}
		trace_put(k->tr, r, truth);
		if (chance_of(&k->c, k->m.doubled)) {
			struct reading again = *r;
			again.t += 2000;
			k->last = again.t;
			trace_put(k->tr, &again, truth);
		}
		sent = true;
	}
	return sent;
}

/* What open leads show; may be nothing. */
static inline void make_open(struct trace_make *k, double since, double glide, double glide_tau)
{
	struct trace_meter *m = &k->m;
	struct reading r = {.function = k->tr->function};
	if (m->silent)
		return;
	if (k->tr->function == FUNCTION_FARAD || k->tr->function == FUNCTION_VOLT_DC ||
	    k->tr->function == FUNCTION_VOLT_AC) {
		m->floating = 0.9 * m->floating + 0.44 * m->wander * chance_normal(&k->c);
		double v = m->floating;
		if (k->tr->function == FUNCTION_FARAD)
			v = fabs(m->wander * 2 + m->floating);
		if (k->tr->function == FUNCTION_VOLT_AC)
			v = fabs(v);
		if (glide_tau > 0)
			v += glide * exp(-since / glide_tau);
		/* Residuals sit in the finest range. */
		if (k->tr->function == FUNCTION_FARAD && m->decades)
			m->range = m->finest;
		meter_looks(m, &k->c, v, &r);
	} else {
		r.state = READING_OVERLOAD;
		if (m->decades && !m->stays)
			m->range = m->coarsest;
	}
	make_send(k, &r, NAN);
}

static inline void make_gap(struct trace_make *k, double seconds, double glide, double glide_tau)
{
	double from = k->t, end = k->t + seconds;
	while (k->t < end) {
		make_open(k, k->t - from, glide, glide_tau);
		k->t += k->m.period;
	}
}

/* Is contact made `at` seconds after the touch began? */
static inline bool part_contact(const struct trace_part *p, struct trace_walk *w,
                                struct chance *c, double at)
{
	if (p->slip_to > 0 && at >= p->slip_from && at < p->slip_to)
		return false;
	if (at >= p->chatter_until)
		return true;
	while (at >= w->contact_until) {
		w->contact = !w->contact;
		w->contact_until += w->contact ? chance_between(c, 0.05, 0.5)
		                               : chance_between(c, 0.03, 0.29);
	}
	return w->contact;
}

/* Motion that no law explains. */
static inline double part_moves(const struct trace_part *p, struct trace_walk *w,
                                struct chance *c, double at, double dt)
{
	double v = part_at(p, at);
	if (p->filter > 0) {
		double share = 1 - exp(-dt / p->filter);
		if (!w->filters)
			w->filtered[0] = w->filtered[1] = p->rest + p->a1;
		w->filters = true;
		w->filtered[0] += share * (p->rest - w->filtered[0]);
		w->filtered[1] += share * (w->filtered[0] - w->filtered[1]);
		v = w->filtered[1];
	}
	if (p->joint_mean > 0) {
		if (at >= w->until) {
			w->level = chance_log(c, 1, 6);
			w->until = at - p->joint_mean * log(chance_unit(c) + 1e-12);
		}
		v *= w->level;
	}
	if (p->walk > 0) {
		w->level *= exp(p->walk * sqrt(dt) * chance_normal(c));
		v *= w->level;
	}
	if (w->wobble_left > 0) {
		w->wobble_left--;
		v *= w->wobble_times;
	} else if (p->wobble > 0 && chance_of(c, p->wobble)) {
		w->wobble_left = chance_pick(c, 2);
		w->wobble_times = 1 + chance_log(c, 0.005, 0.3);
		v *= w->wobble_times;
	}
	return v;
}

/* One touch, until the entry was due and the hand had time to leave, and not before `least`. */
static inline void make_touch(struct trace_make *k, const struct trace_part *p, double nominal,
                              double seconds, double least)
{
	struct trace_meter *m = &k->m;
	struct trace_touch *x = &k->tr->touch[k->tr->touches++];
	struct trace_walk w = {.level = 1, .contact = true};
	double start = k->t - chance_unit(&k->c) * m->period * 0.999;
	double linger = chance_between(&k->c, 0.6, 2.5) + m->period;
	int need = p->slow || m->sigma > 1 ? 8 : 4, good = 0;
	int final = m->decades ? range_for(m, p->rest) : m->range;
	int last_range = 100;
	double first_good = 0;
	memset(x, 0, sizeof(*x));
	x->begin = (int64_t)(start * 1e6);
	x->wants = trace_wants(k->tr->kind);
	x->rest = p->rest;
	x->sigma = m->sigma;
	x->correlated = m->rho > 0;
	x->nominal = nominal;
	x->due = INT64_MAX;
	double end = start + (seconds > 0 ? seconds : 1e9);
	if (m->stays) {
		struct trace_meter there = *m;
		struct chance none = {1};
		struct reading r;
		meter_looks(&there, &none, p->rest, &r);
		final = there.range;
	}
	if (chance_of(&k->c, 0.5) && m->decades && !m->stays)
		m->range = range_for(m, p->rest); /* the meter was in its range by luck */
	while (k->t < end) {
		double at = k->t - start;
		struct reading r = {.function = k->tr->function};
		bool contact = part_contact(p, &w, &k->c, at) && !p->open;
		bool slipped = p->slip_to > 0 && at >= p->slip_from && at < p->slip_to;
		double v = part_moves(p, &w, &k->c, at, m->period);
		bool stray = (!w.strays && p->stray_at > 0 && at >= p->stray_at) ||
		             (w.strays == 1 && p->stray_again > 0 && at >= p->stray_again);
		double truth = v;
		if (stray)
			v *= w.strays++ ? sqrt(p->stray_times) : p->stray_times;
		/* A conversion that began before the touch sees only some of it. */
		bool mixed = at < 0.6 * m->period && chance_of(&k->c, 0.7) &&
		             k->tr->function != FUNCTION_OHM;
		if (mixed)
			v *= at / (0.6 * m->period);
		bool sent;
		if (!contact) {
			int before = k->tr->count;
			make_open(k, at, 0, 0);
			sent = k->tr->count > before;
			last_range = 100;
		} else {
			bool number = meter_looks(m, &k->c, v, &r);
			sent = make_send(k, &r, stray ? truth : v) &&
			       k->tr->reading[k->tr->count - 1].has_value == number;
			double there = part_rest(p, at);
			bool rest = number && fabs(v - there) <= (0.5 + 0.5 * m->sigma) * pow(10, final);
			double away = fabs(v - p->rest) / pow(10, final);
			if (p->slow && number && !mixed && !x->rest_at && !x->seen) {
				x->seen = true;
				x->unfair = away < 25 && away > 0.5 + 0.5 * m->sigma;
			}
			if (number && r.value.e != last_range && last_range != 100)
				good = 0;
			last_range = number ? r.value.e : 100;
			if (!rest || !sent || stray || (number && r.value.e != final))
				good = 0;
			else if (!good++)
				first_good = (double)k->last * 1e-6;
			if (good == 1)
				x->rest_at = k->last;
			if (x->due == INT64_MAX && good >= need &&
			    (double)k->last * 1e-6 >= first_good + 0.4 - 1e-9) {
				x->due = k->last;
				x->digit = pow(10, final);
				if (!(seconds > 0)) {
					end = fmax(k->t + linger, least);
					if (p->slip_to > 0)
						end += p->slip_to + 1;
				}
			}
			if (x->due == INT64_MAX && at > 120)
				break;
		}
		if (!contact && !slipped)
			good = 0;
		k->t += m->period;
	}
	x->digit = pow(10, final);
	x->end = (int64_t)(k->t * 1e6);
}

/* --- the kinds --- */

static inline double preferred_value(struct chance *c, double low, double high)
{
	return chance_log(c, low, high);
}

static inline void meter_ohm(struct trace_meter *m, struct chance *c)
{
	static const double counts[] = {2000, 4000, 6000, 20000, 50000, 60000};
	m->period = 1 / chance_log(c, 1, 10);
	m->counts = counts[chance_pick(c, 6)];
	m->finest = m->counts < 10000 ? -1 : -2;
	m->coarsest = m->finest + 5;
	m->decades = true;
	m->hunts = chance_of(c, 0.3);
	m->jitter = chance_of(c, 0.5) ? 0.02 : 0.12;
	m->repeats = 1;
	m->silent = chance_of(c, 0.15);
	m->sigma = chance_of(c, 0.5) ? 0 : chance_between(c, 0, 0.7);
	m->range = m->coarsest;
}

static inline void meter_farad(struct trace_meter *m, struct chance *c)
{
	meter_ohm(m, c);
	m->period = chance_log(c, 0.3, 3);
	m->finest = m->counts < 10000 ? -12 : -13;
	m->coarsest = m->finest + 7;
	m->wander = chance_log(c, 3e-12, 12e-12);
	m->silent = chance_of(c, 0.1);
}

static inline void meter_volt(struct trace_meter *m, struct chance *c)
{
	meter_ohm(m, c);
	m->finest = m->counts < 10000 ? -4 : -5;
	m->coarsest = m->finest + 4;
	m->wander = chance_log(c, 0.002, 0.03);
	m->sigma = chance_between(c, 0, 1.0);
	m->silent = false;
}

static inline void meter_bench(struct trace_meter *m, struct chance *c)
{
	meter_ohm(m, c);
	m->period = 1 / chance_log(c, 20, 2000);
	m->counts = chance_of(c, 0.5) ? 200000 : 1000000;
	m->finest = m->counts > 500000 ? -4 : -3;
	m->coarsest = m->finest + 6;
	m->sigma = chance_log(c, 0.3, 4);
	m->hunts = chance_of(c, 0.2);
	m->silent = false;
}

/* Fills the meter, the part and the nominal of one touch of this kind. */
static inline void trace_meter_of(struct trace *tr, struct trace_make *k)
{
	struct trace_meter *m = &k->m;
	struct chance *c = &k->c;
	tr->function = FUNCTION_OHM;
	meter_ohm(m, c);
	switch (tr->kind) {
	case TRACE_HUNTING:
		m->hunts = true;
		if (chance_of(c, 0.3)) {
			meter_farad(m, c);
			tr->function = FUNCTION_FARAD;
			m->hunts = true;
		}
		break;
	case TRACE_SLOW_RANGES:
		m->hunts = chance_of(c, 0.5);
		break;
	case TRACE_NOISY:
		m->sigma = chance_between(c, 1, 5);
		break;
	case TRACE_CREEP:
		m->sigma = chance_between(c, 0, 0.7);
		break;
	case TRACE_GARBLED:
		m->garbled = 0.06;
		break;
	case TRACE_HYSTERESIS:
		m->hunts = false;
		m->stays = true;
		break;
	case TRACE_SILENT:
		if (chance_of(c, 0.3)) {
			meter_farad(m, c);
			tr->function = FUNCTION_FARAD;
		}
		m->silent = true;
		break;
	case TRACE_LEAKY:
		meter_farad(m, c);
		tr->function = FUNCTION_FARAD;
		break;
	case TRACE_LINE:
		m->lost = 0.05;
		m->doubled = 0.05;
		break;
	case TRACE_REPEATS:
		m->repeats = 2 + chance_pick(c, 3);
		tr->conversion = m->repeats;
		if (chance_of(c, 0.5)) {
			meter_farad(m, c);
			m->repeats = tr->conversion;
			m->wander = 10e-12;
			m->finest = -13;
			m->silent = false;
			tr->function = FUNCTION_FARAD;
		}
		break;
	case TRACE_BENCH:
	case TRACE_BENCH_SLOW:
		meter_bench(m, c);
		if (tr->kind == TRACE_BENCH_SLOW)
			m->sigma = chance_between(c, 0.3, 1);
		break;
	case TRACE_CORRELATED:
		meter_bench(m, c);
		m->counts = 1000000;
		m->finest = -4;
		m->coarsest = 2;
		m->period = 1 / chance_log(c, 3, 300);
		m->sigma = chance_between(c, 1, 6);
		m->rho = chance_between(c, 0.5, 0.9);
		break;
	case TRACE_FARAD:
	case TRACE_FARAD_SLOW:
		meter_farad(m, c);
		tr->function = FUNCTION_FARAD;
		break;
	case TRACE_NEGATIVE:
	case TRACE_VOLT:
	case TRACE_VOLT_GLIDE:
	case TRACE_VOLT_SLOW:
	case TRACE_SAG:
	case TRACE_HUM:
	case TRACE_FLOAT:
	case TRACE_RISE:
	case TRACE_TWO:
		meter_volt(m, c);
		tr->function = tr->kind == TRACE_VOLT && chance_of(c, 0.3) ? FUNCTION_VOLT_AC
		                                                           : FUNCTION_VOLT_DC;
		break;
	default:
		break;
	}
	m->range = m->coarsest;
}

static inline void trace_part_of(const struct trace *tr, struct trace_make *k, struct trace_part *p)
{
	struct trace_meter *m = &k->m;
	struct chance *c = &k->c;
	double full = m->counts * pow(10, m->coarsest);
	memset(p, 0, sizeof(*p));
	if (tr->function == FUNCTION_FARAD)
		p->rest = chance_log(c, 120e-12, 200e-6);
	else if (tr->function == FUNCTION_OHM)
		p->rest = chance_log(c, 10, fmin(5e6, full * 0.8));
	else
		p->rest = chance_log(c, 1.2, 450);
	double T = m->period;
	double digit = pow(10, range_for(m, p->rest));
	switch (tr->kind) {
	case TRACE_CHATTER:
		p->chatter_until = chance_between(c, 0.2, 1.5);
		break;
	case TRACE_SLIP:
		p->slip_from = 1e9; /* after the entry: set by the maker */
		break;
	case TRACE_SLOW:
	case TRACE_BENCH_SLOW:
		p->tau1 = chance_log(c, fmax(0.5 * T, 0.1), fmin(25 * T, 5));
		if (p->tau1 < 0.5 * T)
			p->tau1 = 0.5 * T;
		p->a1 = -p->rest * chance_between(c, 0.3, 1);
		if (chance_of(c, 0.3))
			p->a1 = -p->a1 * 0.2;
		p->slow = true;
		break;
	case TRACE_SLOW_RANGES:
		p->tau1 = chance_log(c, 0.5 * T, fmin(15 * T, 4));
		if (p->tau1 < 0.5 * T)
			p->tau1 = 0.5 * T;
		p->a1 = p->rest * chance_log(c, 3, 60);
		if (p->a1 + p->rest > 0.9 * full)
			p->a1 = -0.99 * p->rest;
		p->slow = true;
		break;
	case TRACE_OVERLOAD:
		p->open = true;
		break;
	case TRACE_NEGATIVE:
		p->rest = -p->rest;
		break;
	case TRACE_ZERO:
		p->rest = chance_pick(c, 12) * pow(10, m->finest);
		break;
	case TRACE_HALF:
		p->half_until = T * chance_between(c, 0.5, 2.9);
		p->half_times = chance_log(c, 1.01, 30);
		break;
	case TRACE_STRAY:
		p->stray_at = T * chance_between(c, 0.1, 3.5);
		p->stray_times = chance_of(c, 0.5) ? chance_log(c, 1.01, 10) : chance_log(c, 0.1, 0.99);
		break;
	case TRACE_FARAD_SLOW:
		p->rest = chance_log(c, 1e-6, 200e-6);
		p->tau1 = chance_log(c, 0.5 * T, fmin(5 * T, 5));
		if (p->tau1 < 0.5 * T)
			p->tau1 = 0.5 * T;
		p->a1 = -p->rest * chance_between(c, 0.3, 1);
		p->slow = true;
		break;
	case TRACE_VOLT_SLOW:
		p->tau1 = chance_log(c, 0.5 * T, fmin(15 * T, 4));
		if (p->tau1 < 0.5 * T)
			p->tau1 = 0.5 * T;
		p->a1 = p->rest * chance_between(c, -0.6, 0.6);
		p->slow = true;
		break;
	case TRACE_SPIKES:
		p->stray_at = T * chance_between(c, 0.1, 3.5);
		p->stray_again = p->stray_at + T * chance_between(c, 1, 3.5);
		p->stray_times = chance_log(c, 1.02, 10);
		break;
	case TRACE_LOW_PASS:
		p->filter = chance_log(c, 0.3 * T, fmin(4 * T, 2));
		if (p->filter < 0.3 * T)
			p->filter = 0.3 * T;
		p->a1 = p->rest * (chance_of(c, 0.5) ? chance_between(c, 0.05, 0.6) : -1);
		p->slow = true;
		break;
	case TRACE_RISE:
		p->rise = chance_between(c, 2, 12) * T;
		p->a1 = -p->rest * chance_between(c, 0.3, 0.9);
		p->slow = true;
		break;
	case TRACE_LEAKY:
		p->rest = chance_log(c, 1e-9, 50e-6);
		p->tau1 = chance_log(c, 0.5 * T, 2 * T);
		p->a1 = -p->rest * chance_between(c, 0.3, 0.9);
		break;
	case TRACE_CAP_ON_OHM:
		p->rate = fmax(p->rest * chance_between(c, 0.2, 2), 60 * digit / T);
		p->rest *= 0.05;
		break;
	case TRACE_RAMP:
		m->decades = false;
		m->range = range_for(m, 1.5 * p->rest);
		digit = pow(10, m->range);
		p->rate = (chance_of(c, 0.5) ? 1 : -1) * chance_log(c, 4.5, 60) * digit / fmax(T, 0.4);
		break;
	case TRACE_TWO_EXP:
		p->tau1 = chance_log(c, 0.5 * T, 4 * T);
		p->tau2 = p->tau1 * chance_between(c, 2.5, 8);
		p->a1 = -p->rest * chance_between(c, 0.3, 0.8);
		p->a2 = -p->rest * chance_between(c, 0.02, 0.2);
		p->slow = true;
		break;
	case TRACE_SAG:
		p->tau1 = chance_log(c, T, 5 * T);
		p->tau2 = p->tau1 * chance_between(c, 2, 5);
		p->a1 = p->rest * chance_between(c, 0.02, 0.2);
		p->a2 = p->rest * chance_between(c, 0.01, 0.1);
		p->slow = true;
		break;
	case TRACE_WOBBLE:
		p->wobble = chance_between(c, 0.03, 0.15);
		break;
	case TRACE_JOINT:
		p->joint_mean = chance_between(c, 0.4, 1.6) * T;
		break;
	case TRACE_FINGERS:
		p->rest = chance_log(c, 2e5, 2e6);
		if (p->rest > 0.3 * full)
			p->rest = 0.3 * full;
		p->walk = chance_log(c, 0.06, 0.3);
		break;
	case TRACE_HUM:
		p->hum = chance_log(c, 15, 300) * digit;
		p->hum_digit = digit;
		p->hum_seconds = T * chance_log(c, 2.2, 16);
		break;
	default:
		break;
	}
}

/* Not where a range ends: there the range at rest is a matter of luck. */
static inline bool part_fits(const struct trace_meter *m, double rest)
{
	int e = range_for(m, rest);
	double share = fabs(rest) / pow(10, e) / m->counts;
	return share < 0.88 && (share > 0.105 || e == m->finest);
}

/* What depends on the digit that the part is seen with. */
static inline void part_digits(struct trace_part *p, struct trace_make *k, enum trace_kind kind)
{
	struct chance *c = &k->c;
	double T = k->m.period, digit = pow(10, range_for(&k->m, p->rest));
	switch (kind) {
	case TRACE_HUM:
		/* In digits of the range that it is seen in: below one it is no hum. */
		p->hum *= digit / p->hum_digit;
		break;
	case TRACE_CREEP:
		p->rate = chance_between(c, -0.3, 0.3) * digit / T;
		break;
	case TRACE_LEAKY:
		p->rate = fmax(0.01 * p->rest, 6 * digit) / T;
		break;
	case TRACE_SOAK:
		/* Dielectric absorption: so many digits for each e-fold of time, not faster than creep. */
		p->soak = (chance_of(c, 0.5) ? 1 : -1) * chance_between(c, 1, 8) * digit;
		p->soak_seconds = fabs(p->soak) / digit * fmax(T, 0.4) / 0.3 * chance_log(c, 1, 5);
		break;
	case TRACE_WARM:
		/* From the fingers, slower than a third of a digit in a reading. */
		p->warm = true;
		p->a1 = chance_between(c, 3, 25) * digit;
		p->tau1 = p->a1 / digit * fmax(T, 0.4) / 0.3 * chance_log(c, 1, 5);
		break;
	default:
		break;
	}
}

/* A second meter, with its own probes on the same part. */
static inline void trace_second(struct trace *tr, struct trace_make *k)
{
	tr->other = calloc(1, sizeof(*tr->other));
	if (!tr->other)
		abort();
	*tr->other = (struct trace){.kind = tr->kind, .seed = tr->seed, .conversion = 1};
	k->tr = tr->other;
	k->c.state = tr->seed * 1000003 + 7777;
	chance_next(&k->c);
	trace_meter_of(tr->other, k);
	k->tr->period = k->m.period;
}

/* Both touch, one after the other, and both stay until both had their time. */
static inline void make_touch_two(struct trace_make *k, struct trace_make *other,
                                  const struct trace_part *p, double nominal)
{
	struct trace_part q = *p;
	q.rest *= chance_between(&k->c, 0.998, 1.002);
	make_gap(other, k->t + chance_between(&k->c, 0, 0.7) - other->t, 0, 0);
	make_touch(other, &q, nominal, 0, 0);
	make_touch(k, p, nominal, 0, other->t - chance_between(&k->c, 0, 0.4));
	if (other->t > k->t)
		make_gap(k, other->t - k->t, 0, 0);
	make_gap(k, 2 * other->m.period, 0, 0);
}

static inline void trace_make(struct trace *tr, enum trace_kind kind, uint64_t seed)
{
	struct trace_make k = {.tr = tr}, second = {0};
	memset(tr, 0, sizeof(*tr));
	tr->kind = kind;
	tr->seed = seed;
	tr->conversion = 1;
	k.c.state = seed * 1000003 + (uint64_t)kind;
	chance_next(&k.c);
	trace_meter_of(tr, &k);
	tr->period = k.m.period / k.m.repeats;
	tr->silent = k.m.silent;
	bool fast = k.m.period < 0.05;
	int touches = fast ? 3 : 8;
	double last = 0;
	/* Half of the recordings begin with the probes on a part. */
	if (chance_of(&k.c, 0.5))
		make_gap(&k, chance_between(&k.c, 1, 4), 0, 0);
	if (kind == TRACE_TWO)
		trace_second(tr, &second);
	for (int i = 0; i < touches; i++) {
		struct trace_part p;
		trace_part_of(tr, &k, &p);
		if (i && chance_of(&k.c, 0.2) && kind != TRACE_FINGERS && kind != TRACE_ZERO &&
		    kind != TRACE_SLOW_RANGES && kind != TRACE_CREEP &&
		    kind != TRACE_CAP_ON_OHM)
			p.rest = last; /* equal neighbours */
		if (i && kind == TRACE_EQUAL)
			p.rest = last;
		for (int guard = 0; guard < 40 && p.rest != 0 && kind != TRACE_ZERO; guard++) {
			if (part_fits(&k.m, p.rest) && (!tr->other || part_fits(&second.m, p.rest)))
				break;
			p.rest *= 0.93;
			p.a1 *= 0.93;
			p.a2 *= 0.93;
		}
		part_digits(&p, &k, kind);
		/* A meter that was set to another pace while the leads were open. */
		if (kind == TRACE_PACE && i && chance_of(&k.c, 0.5))
			k.m.period = 1 / chance_log(&k.c, 1, 20);
		last = p.rest;
		double nominal = p.rest * chance_between(&k.c, 0.8, 1.2);
		double seconds = trace_wants(kind) ? 0 : fmax(6, 20 * k.m.period);
		if (kind == TRACE_CAP_ON_OHM)
			nominal = last * 20;
		if (p.slip_from > 0) {
			double wait = 4.5 + (k.m.hunts ? 7 : 0) + (k.m.sigma > 1 ? 4 : 0);
			p.slip_from = fmax(wait * k.m.period, 0.5) + 0.4;
			p.slip_to = p.slip_from + chance_between(&k.c, 0.1, 0.9);
		}
		if (kind == TRACE_FLOAT)
			make_gap(&k, 10, 0, 0);
		else if (kind == TRACE_TWO)
			make_touch_two(&k, &second, &p, nominal);
		else
			make_touch(&k, &p, nominal, seconds, 0);
		double gap = chance_between(&k.c, 1.4, 3) + 2 * k.m.period;
		double glide = 0, tau = 0;
		if (kind == TRACE_VOLT_GLIDE) {
			glide = p.rest;
			tau = chance_log(&k.c, 0.1, 3);
			gap += tau;
		}
		if (k.m.silent)
			gap += tr->function == FUNCTION_FARAD ? 7 : 5 * tr->period;
		make_gap(&k, gap, glide, tau);
	}
	if (tr->other)
		make_gap(&second, k.t - second.t, 0, 0);
}

#endif
