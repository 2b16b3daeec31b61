/* SPDX-License-Identifier: MIT */
/*
 * A touch that makes no entry but what entries refer to: the lead offset, and the check
 * of a meter against a reference part.
 *
 * Asked for, it is taken at once where the meter stands at rest on what was asked; else
 * the next touch of that meter within BENCH_ERRAND_SECONDS is for it and for nothing
 * else.  Open leads need no touch: seven readings in a row will do.  An entry that this
 * same touch made before anybody said what it was is struck.
 *
 *     short    ohm: at most 2 ohm and not below -0.5 ohm.  Good leads have 0.05 to 0.3
 *              ohm, worn ones 0.5; more is a broken lead, a dirty plug, or no short, and
 *              taking it off would falsify every value (common practice, no source).
 *     open     farad: at most 500 pF and not below -500 pF.  Leads of a metre have some
 *              tens of pF; more is a part that is still touched (the same).
 *     check    against a position of kind reference with nominal and tolerance; U of the
 *              nominal is that of a rectangular spread between its limits.
 *              E_n as in protocol/trade/crosscheck.h.
 */
#include "daemon/bench_inside.h"
#include "protocol/trade/crosscheck.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SHORT_MOST 2.0
#define SHORT_LEAST (-0.5)
#define OPEN_MOST 500e-12
#define OPEN_READINGS 7

static const char *errand_name(enum errand what)
{
	return what == ERRAND_SHORT ? "short" : what == ERRAND_OPEN ? "open" : "check";
}

/* ---- how it ends ---- */

static struct bench_wait errand_end(struct bench_meter *m)
{
	struct bench_wait w = m->errand.wait;
	m->errand.what = ERRAND_NONE;
	m->errand.wait = (struct bench_wait){0};
	m->opens = 0;
	return w;
}

void errand_drop(struct bench *b, struct bench_meter *m, const char *why)
{
	if (m->errand.what == ERRAND_NONE)
		return;
	struct bench_wait w = errand_end(m);
	struct bench_outcome o = {.refused = true, .why = why};
	bench_event(b, "refused", "meter", m->config->name, "why", why, NULL);
	if (w.done)
		w.done(w.arg, &o);
}

int64_t errand_deadline(const struct bench_meter *m)
{
	return m->errand.what == ERRAND_NONE ? INT64_MAX : m->errand.until;
}

/* ---- is it what was asked for ---- */

static bool plausible(const struct bench *b, const struct bench_meter *m,
                      const struct settle_result *r, struct fault *why)
{
	char shown[64];
	double v = decimal_double(r->value);
	quantity_shown(r->value, r->function, r->prefix, shown, sizeof shown);
	if (m->errand.what == ERRAND_CHECK) {
		const struct position *p = &b->position[m->errand.place].row.position;
		if (position_takes(p, position_first_quantity(p), r->function))
			return true;
		fault_set(why, "%s reads %s, and %s wants %s: turn the dial", m->config->name,
		          function_name(r->function), p->name,
		          function_name(position_function(p, position_first_quantity(p))));
		return false;
	}
	bool open = m->errand.what == ERRAND_OPEN;
	if (r->function != (open ? FUNCTION_FARAD : FUNCTION_OHM)) {
		fault_set(why, "%s reads %s: the offset of %s leads is taken on %s", m->config->name,
		          function_name(r->function), open ? "open" : "shorted", open ? "farad" : "ohm");
		return false;
	}
	if (open ? fabs(v) <= OPEN_MOST : v <= SHORT_MOST && v >= SHORT_LEAST)
		return true;
	fault_set(why, open ? "%s shows %s with open leads: more than 500 pF is no lead; what is still "
	                      "touched?"
	                    : "%s shows %s: a lead offset lies from -0.5 to 2 ohm; short the leads, clean "
	                      "the plugs, or take other leads", m->config->name, shown);
	return false;
}

/* ---- the record ---- */

static void reference_judge(const struct position *p, const struct entry *e,
                            struct check_result *r)
{
	struct limits l;
	limits_from(&p->tolerance, true, p->nominal, &l);
	r->nominal = p->nominal;
	crosscheck_reference(e, p->nominal, &l, &r->u, &r->en);
	r->agree = r->en <= 1;
}

/* The body of the record, and what is remembered of it. */
static void write_body(struct bench *b, const struct bench_meter *m, struct entry *e,
                       const struct entry_beside *beside, struct backing *k, struct text *body)
{
	*k = (struct backing){.what = m->errand.what, .utc = b->utc + e->t, .function = e->function};
	memcpy(k->meter, e->meter, sizeof k->meter);
	if (m->errand.what == ERRAND_CHECK) {
		const struct position *p = &b->position[m->errand.place].row.position;
		struct check_result r;
		memcpy(e->position, p->name, sizeof e->position);
		memcpy(k->position, p->name, sizeof k->position);
		entry_refer(b, e);
		e->check = 0; /* the one before says nothing about this one */
		reference_judge(p, e, &r);
		k->en = r.en;
		k->failed = !r.agree;
		check_body_write(body, e, beside, &r);
	} else {
		offset_body_write(body, errand_name(m->errand.what), e, beside);
	}
	k->value = e->value;
	k->u = e->u;
}

static void strike_touch(struct bench *b, struct bench_meter *m, int64_t t, bool check)
{
	struct fault ignored;
	int made = m->touch_made;
	if (made < 0 || b->made[made].entry.struck || !b->made[made].entry.seq)
		return;
	bench_strike(b, t, b->made[made].entry.seq,
	             check ? "it was a reference part" : "it was the lead offset",
	             (struct bench_wait){0}, &ignored);
}

/* What the meter shows is it: true, or false with the reason. */
static bool errand_make(struct bench *b, struct bench_meter *m, int64_t t,
                        const struct settle_result *r, struct fault *why)
{
	if (!plausible(b, m, r, why))
		return false;
	if (!backing_room(b)) {
		fault_set(why, "out of memory");
		return false;
	}
	struct entry e;
	struct entry_beside beside = {.job = b->job, .by = m->errand.by};
	struct text body;
	char shown[80], frames[METER_FRAMES][METER_FRAME_TEXT];
	capture_fill(b, m, t, r, &e);
	beside.accuracy_assumed = entry_uncertainty(m, r, &e);
	entry_shown(&e, shown, sizeof shown);
	beside.shown = shown;
	beside.frame_count = meter_frames_write(meter_frames(&m->machine), ENTRY_FRAMES_MAX, frames);
	for (int i = 0; i < beside.frame_count; i++)
		beside.frames[i] = frames[i];
	struct backing *k = &b->backing[b->backings];
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	capture_trail(b, m, r, &beside);
	write_body(b, m, &e, &beside, k, &body);
	uint64_t ticket = capture_put(b, m, t, m->errand.what == ERRAND_CHECK ? "check" : "offset",
	                              &body, why);
	if (!ticket)
		return false;
	bool touched = m->errand.what != ERRAND_OPEN, check = m->errand.what == ERRAND_CHECK;
	struct asked_by before = b->by, by = m->errand.by;
	struct pending p = bench_pending(ticket, errand_end(m));
	p.backing = b->backings++;
	bench_pend(b, p);
	/* Open leads are no touch: what the last one made was a part. */
	if (touched) {
		b->by = by;
		strike_touch(b, m, t, check);
		b->by = before;
		/* The rest of this touch, and a slip after it, are for no part. */
		m->held.waits = false;
		m->spent = true;
		m->spent_place = -1;
		m->spent_from = INT64_MIN;
	}
	return true;
}

/* ---- when ---- */

bool errand_settled(struct bench *b, struct bench_meter *m, int64_t t)
{
	struct fault why;
	if (m->errand.what == ERRAND_NONE)
		return false;
	if (m->errand.what == ERRAND_OPEN) {
		capture_refuse(b, m, -1, "the leads touch something: open them for the offset");
		return true;
	}
	struct settle_result r = *settle_result(&m->settle);
	if (errand_make(b, m, t, &r, &why))
		return true;
	m->spent = true;
	m->spent_place = -1;
	m->spent_from = INT64_MIN;
	errand_drop(b, m, why.text);
	return true;
}

static int by_value(const void *a, const void *b)
{
	return decimal_compare(*(const struct decimal *)a, *(const struct decimal *)b);
}

/* The last readings of open leads, as a settled value: the median, whose spread is in u. */
static void open_result(const struct bench_meter *m, struct settle_result *r)
{
	struct decimal sorted[OPEN_READINGS];
	double x[OPEN_READINGS], mean;
	memset(r, 0, sizeof *r);
	memcpy(sorted, m->open, sizeof sorted);
	qsort(sorted, OPEN_READINGS, sizeof *sorted, by_value);
	for (int i = 0; i < OPEN_READINGS; i++)
		x[i] = decimal_double(m->open[i]);
	statistics(x, OPEN_READINGS, &mean, &r->s);
	r->function = FUNCTION_FARAD;
	r->value = sorted[OPEN_READINGS / 2];
	r->prefix = m->last.prefix;
	r->n = OPEN_READINGS;
	r->to = m->trail.count - 1;
	r->from = m->trail.count - OPEN_READINGS;
	r->settled = true;
}

void errand_reading(struct bench *b, struct bench_meter *m, int64_t t)
{
	struct settle_result r;
	struct fault why;
	const struct reading *last = &m->last;
	if (m->errand.what != ERRAND_OPEN)
		return;
	bool good = last->function == FUNCTION_FARAD && last->has_value && !last->state &&
	            fabs(decimal_double(last->value)) <= OPEN_MOST &&
	            (!m->opens || m->open[(m->opens - 1) % OPEN_READINGS].e == last->value.e);
	if (!good)
		m->opens = 0;
	else
		m->open[m->opens++ % OPEN_READINGS] = last->value;
	if (m->opens < OPEN_READINGS)
		return;
	open_result(m, &r);
	if (!errand_make(b, m, t, &r, &why))
		errand_drop(b, m, why.text);
}

void errand_late(struct bench *b, struct bench_meter *m, int64_t t)
{
	if (errand_deadline(m) > t)
		return;
	struct fault why;
	const char *name = m->config->name;
	if (m->errand.what == ERRAND_CHECK)
		fault_set(&why, "%s settled on nothing for %d s: touch the reference part, and ask again",
		          name, BENCH_ERRAND_SECONDS);
	else
		fault_set(&why, "%s settled on no %s leads for %d s: %s, and ask again", name,
		          m->errand.what == ERRAND_OPEN ? "open" : "shorted", BENCH_ERRAND_SECONDS,
		          m->errand.what == ERRAND_OPEN ? "set it to farad and hold the leads apart"
		                                        : "set it to ohm and hold the tips together");
	errand_drop(b, m, why.text);
}

/* ---- asked for ---- */

/* What stands there now, at rest: true where that was it, or where it is refused. */
static bool errand_now(struct bench *b, struct bench_meter *m, int64_t t, bool *refused,
                       struct fault *why)
{
	struct settle_result r;
	struct fault ignored;
	*refused = false;
	if (!settle_take(&m->settle, t, &r, &ignored) || !r.settled || r.overload ||
	    settle_touching(&m->settle) != (m->errand.what != ERRAND_OPEN))
		return false;
	*refused = !errand_make(b, m, t, &r, why);
	return true;
}

static bool errand_begin(struct bench *b, struct bench_meter *m, int64_t t, enum errand what,
                         int place, struct bench_wait w, struct fault *why)
{
	bool refused;
	if (m->gone) {
		fault_set(why, "%s is not there: %s", m->config->name, m->gone_cause);
		return false;
	}
	if (m->has_last && m->last.state & (READING_HOLD | READING_RELATIVE | READING_MINMAX)) {
		fault_set(why, "%s is in its mode %s and does not show what it measures: turn that off",
		          m->config->name, reading_state_word(m->last.state & ~(unsigned)READING_LOW_BATTERY));
		return false;
	}
	errand_drop(b, m, "something else was asked of this meter");
	m->errand.what = what;
	m->errand.place = place;
	m->errand.until = t + BENCH_ERRAND_SECONDS * INT64_C(1000000);
	m->errand.wait = w;
	m->errand.by = b->by;
	m->opens = 0;
	if (errand_now(b, m, t, &refused, why)) {
		if (refused)
			errand_end(m);
		bench_timers(m);
		return !refused;
	}
	bench_event(b, "errand", "meter", m->config->name, "errand", errand_name(what), "position",
	            place >= 0 ? b->position[place].row.position.name : NULL, "text",
	            what == ERRAND_SHORT  ? "hold the tips together"
	            : what == ERRAND_OPEN ? "hold the leads apart"
	                                  : "touch the reference part", NULL);
	bench_timers(m);
	return true;
}

/* Without a name: the one meter that reads what is wanted. */
static struct bench_meter *errand_meter(struct bench *b, const char *name, enum function f,
                                        struct fault *why)
{
	struct bench_meter *found = NULL;
	for (int i = 0; i < b->meters; i++) {
		struct bench_meter *m = &b->meter[i];
		if (name ? strcmp(m->config->name, name) != 0
		         : m->gone || !m->has_last || m->last.function != f)
			continue;
		if (found) {
			fault_set(why, "both %s and %s read %s: say which one (--meter NAME)",
			          found->config->name, m->config->name, function_name(f));
			return NULL;
		}
		found = m;
	}
	if (!found && name)
		fault_set(why, "there is no meter %s in the configuration", name);
	else if (!found)
		fault_set(why, "no meter reads %s: turn the dial of one, or name it (--meter NAME)",
		          function_name(f));
	return found;
}

bool bench_offset(struct bench *b, int64_t t, bool open, const char *meter, struct bench_wait w,
                  struct fault *why)
{
	bench_run_until(b, t);
	struct bench_meter *m = errand_meter(b, meter, open ? FUNCTION_FARAD : FUNCTION_OHM, why);
	if (!m || !errand_begin(b, m, t, open ? ERRAND_OPEN : ERRAND_SHORT, -1, w, why))
		return false;
	bench_taped(b, t, "offset", "%s %s", open ? "open" : "short", m->config->name);
	return true;
}

bool bench_check(struct bench *b, int64_t t, const char *meter, const char *position,
                 struct bench_wait w, struct fault *why)
{
	bench_run_until(b, t);
	struct limits limits;
	struct bench_meter *m = errand_meter(b, meter, FUNCTION_NONE, why);
	int place = position_find(b, position);
	if (!m)
		return false;
	if (place < 0) {
		fault_set(why, "%.40s is not in the sheet: a meter is checked against a position of kind "
		          "reference, with nominal and tolerance", position);
		return false;
	}
	const struct position *p = &b->position[place].row.position;
	if (p->kind != KIND_REFERENCE) {
		fault_set(why, "%s is of kind %s: a meter is checked against one of kind reference (sheet "
		          "set %s kind=reference)", position, kind_name(p->kind), position);
		return false;
	}
	if (!p->has_nominal || !limits_from(&p->tolerance, true, p->nominal, &limits) ||
	    !limits.has_low || !limits.has_high) {
		fault_set(why, "%s needs its nominal and a tolerance to both sides: what is it known to be, "
		          "and how well?", position);
		return false;
	}
	if (!errand_begin(b, m, t, ERRAND_CHECK, place, w, why))
		return false;
	bench_taped(b, t, "check", "%s %s", m->config->name, position);
	return true;
}
