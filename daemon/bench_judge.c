/* SPDX-License-Identifier: MIT */
/*
 * What a value is worth: its uncertainty by the meter that read it, and its verdicts by the position that
 * it is for.  A function of the sheet's row and the entry alone, so that a restart, a changed sheet or a
 * reader of the log comes to the same.
 */
#include "daemon/bench_inside.h"

#include "protocol/trade/frequency.h"
#include "protocol/trade/uncertainty.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

void entry_shown(const struct entry *e, char *out, size_t size)
{
	struct reading r = {.function = e->function, .state = e->state, .has_value = e->has_value,
	                    .value = e->value, .prefix = e->prefix};
	reading_shown(&r, out, size);
}

/* ---- uncertainty ---- */

enum meter_class meter_kind(const struct bench_meter *m)
{
	const struct config_meter *c = m->config;
	if (c->kind)
		return c->kind;
	if (c->second == SECOND_DISSIPATION || c->second == SECOND_ESR || c->second == SECOND_Q)
		return METER_CLASS_LCR;
	if (c->identify)
		return METER_CLASS_BENCH_50000;
	return m->kind_seen ? m->kind_seen : METER_CLASS_HANDHELD_2000;
}

/* What settled says how many counts the display has.  Zeros at its end may be padding. */
void meter_kind_seen(struct bench_meter *m, struct decimal value)
{
	enum meter_class kind = meter_class_of_counts(decimal_strip(value).n);
	if (kind > m->kind_seen)
		m->kind_seen = kind;
}

/* Beyond every frequency that its accuracy is stated for a meter is no better than within. */
static enum meter_class assume(const struct bench_meter *m, const struct entry *e, double value,
                               struct accuracy_line *line)
{
	*line = accuracy_assumed_of(meter_kind(m), e->function);
	const struct accuracy_line *stated = accuracy_find(&m->config->accuracy, e->function, value);
	if (!stated || (stated->percent <= line->percent && stated->counts <= line->counts))
		return meter_kind(m);
	line->percent = fmax(line->percent, stated->percent);
	line->counts = fmax(line->counts, stated->counts);
	return METER_CLASS_UNKNOWN;
}

/* Fills u; says whether the accuracy had to be assumed. */
bool entry_uncertainty(const struct bench_meter *m, const struct settle_result *r,
                       struct entry *e)
{
	if (!e->has_value)
		return false;
	double value = decimal_double(e->value);
	double digit = decimal_double((struct decimal){1, e->value.e});
	const struct accuracy_line *line = accuracy_find_at(&m->config->accuracy, e->function, value,
	                                                    e->hertz);
	struct accuracy_line assumed;
	bool none = !line;
	enum meter_class kind = METER_CLASS_UNKNOWN;
	if (none) {
		kind = assume(m, e, value, &assumed);
		line = &assumed;
	}
	e->basis = (struct basis){.known = true, .assumed = none, .percent = line->percent,
	                          .kind = kind,
	                          .counts = line->counts, .has_below = line->has_below,
	                          .below = line->below, .s = r->s};
	if (!none)
		e->basis.hertz = m->config->accuracy.hertz[line - m->config->accuracy.line];
	e->basis.has_hertz = e->basis.hertz.n > 0;
	double accuracy = uncertainty_accuracy(line, value, digit);
	double repeat = uncertainty_repeatability(r->s, r->n > 0 ? r->n : 1, digit);
	e->u = uncertainty_combine(accuracy, repeat, 0);
	return none;
}

/* Where the sheet says nothing, practice does: then the limits are `assumed`. */
static struct limits limits_of(const struct position *p, const struct tolerance *written,
                               const struct tolerance *practice, bool *assumed)
{
	struct limits limits = {0};
	*assumed = false;
	if (limits_from(written, p->has_nominal, p->nominal, &limits))
		return limits;
	if (practice && limits_from(practice, p->has_nominal, p->nominal, &limits))
		*assumed = true;
	return limits;
}

bool position_limits(const struct position *p, struct limits *out)
{
	struct tolerance practice;
	bool assumed, known = tolerance_default(p->kind, p->function, &practice);
	*out = limits_of(p, &p->tolerance, known ? &practice : NULL, &assumed);
	return out->has_low || out->has_high;
}

/* A meter that disagrees with its reference decides nothing. */
static void doubt_meter(const struct entry *e, struct verdict *v)
{
	char before[sizeof v->why];
	if (!e->check_failed || v->word == VERDICT_NONE)
		return;
	if (v->word != VERDICT_UNSURE && e->has_value) {
		v->word = VERDICT_UNSURE;
		v->reason = REASON_METER;
		v->has_probability = false;
		v->has_other = false;
		v->why[0] = '\0';
	}
	memcpy(before, v->why, sizeof before);
	snprintf(v->why, sizeof v->why, "its meter failed check %lld%s%.60s", (long long)e->check,
	         before[0] ? "; " : "", before);
}

/* 3-30pF: its place takes any setting, where the sheet says nothing else. */
static bool is_trimmer(const struct position *p)
{
	const struct tolerance *t = &p->tolerance;
	return p->function == FUNCTION_FARAD && t->form == TOLERANCE_ABSOLUTE && t->low.n < 0 &&
	       t->high.n == 0;
}

/* Is this what the sheet's nominal and limits are about?  Volts are in those volts (`other,0 V
 * AC,<=5 mV AC`: hum, ripple). */
static bool sheet_means(const struct position *p, const struct entry *e)
{
	return e->quantity == position_first_quantity(p) ||
	       (position_nominal_means(p, e->quantity) &&
	        position_function(p, e->quantity) == e->function);
}

void entry_judge(const struct position *p, struct entry *e)
{
	struct judgement j = {.has_value = e->has_value, .value = e->value, .has_above = e->has_above,
	                      .above = e->above, .u = e->u, .kind = p->kind, .function = e->function,
	                      .in_circuit = e->reach == REACH_IN_CIRCUIT, .settled = e->settled,
	                      .offset_missing = e->offset_missing};
	struct tolerance practice;
	bool first = sheet_means(p, e);
	memset(&e->verdict, 0, sizeof e->verdict);
	memset(&e->service, 0, sizeof e->service);
	second_judge(p, e);
	/* The nominal is meant at another frequency: a value, and nothing to judge it by. */
	if (frequency_elsewhere(e, p))
		return;
	if (!first) {
		/* The sheet's tolerance is about the first quantity; the others have limits of their
		 * own, or none. */
		if (limits_from(&p->beside[e->quantity], false, (struct decimal){0, 0}, &j.limits) &&
		    part_limit_function(e->quantity) == e->function) {
			e->verdict = judge(&j);
			beside_verdict(p, e, &e->verdict);
			doubt_meter(e, &e->verdict);
		}
		return;
	}
	j.has_nominal = p->has_nominal;
	j.nominal = p->nominal;
	bool known = tolerance_default(p->kind, p->function, &practice);
	j.limits = limits_of(p, &p->tolerance, known ? &practice : NULL, &j.assumed);
	beside_judgement(p, e, &j);
	e->verdict = judge(&j);
	beside_verdict(p, e, &e->verdict);
	doubt_meter(e, &e->verdict);
	known = service_default(p->kind, p->role, &practice);
	if (is_trimmer(p)) {
		practice = p->tolerance;
		known = true;
	}
	j.limits = limits_of(p, &p->service, known ? &practice : NULL, &j.assumed);
	e->service = judge(&j);
	beside_verdict(p, e, &e->service);
	doubt_meter(e, &e->service);
}
