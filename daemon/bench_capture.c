/* SPDX-License-Identifier: MIT */
/*
 * From a settled value to an entry: is it for this position, does it look like
 * another part, what is its uncertainty, what is the verdict; then the entry and
 * the run that it was made from go to the log as one transaction.
 */
#include "daemon/bench_state.h"
#include "protocol/trade/uncertainty.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Farther than this from the nominal, and fitting a neighbour: held, not logged. */
#define FAR_FACTOR 1.5

void entry_shown(const struct entry *e, char *out, size_t size)
{
	struct reading r = {.function = e->function, .state = e->state, .has_value = e->has_value,
	                    .value = e->value, .prefix = e->prefix};
	reading_shown(&r, out, size);
}

/* ---- uncertainty and verdict ---- */

/* Fills u; says whether the accuracy had to be assumed. */
static bool entry_uncertainty(const struct bench_meter *m, const struct settle_result *r,
                              struct entry *e)
{
	if (!e->has_value)
		return false;
	double value = decimal_double(e->value);
	double digit = decimal_double((struct decimal){1, e->value.e});
	const struct accuracy_line *line = accuracy_find(&m->config->accuracy, e->function, value);
	struct accuracy_line assumed;
	bool none = !line;
	if (none) {
		assumed = accuracy_assumed(e->function);
		line = &assumed;
	}
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

void entry_judge(const struct bench *b, const struct position *p, struct entry *e)
{
	(void)b;
	struct judgement j = {.has_value = e->has_value, .value = e->value, .has_above = e->has_above,
	                      .above = e->above, .u = e->u, .kind = p->kind, .function = e->function,
	                      .in_circuit = e->reach == REACH_IN_CIRCUIT, .settled = e->settled};
	struct tolerance practice;
	bool first = e->quantity == position_first_quantity(p);
	memset(&e->verdict, 0, sizeof e->verdict);
	memset(&e->service, 0, sizeof e->service);
	if (!first)
		return; /* the sheet's limits are about the first quantity */
	j.has_nominal = p->has_nominal;
	j.nominal = p->nominal;
	bool known = tolerance_default(p->kind, p->function, &practice);
	j.limits = limits_of(p, &p->tolerance, known ? &practice : NULL, &j.assumed);
	e->verdict = judge(&j);
	known = service_default(p->kind, p->role, &practice);
	j.limits = limits_of(p, &p->service, known ? &practice : NULL, &j.assumed);
	e->service = judge(&j);
}

/* ---- does it belong here ---- */

static bool far_from(double value, double nominal)
{
	if (nominal == 0)
		return false;
	double ratio = value / nominal;
	return !(ratio < FAR_FACTOR && ratio > 1 / FAR_FACTOR);
}

static bool fits_place(const struct bench *b, int place, enum function f, double value, double U)
{
	if (place < 0)
		return false;
	const struct position *p = &b->position[place].row.position;
	struct tolerance practice;
	bool assumed;
	if (!p->has_nominal || position_function(p, position_first_quantity(p)) != f)
		return false;
	bool known = tolerance_default(p->kind, p->function, &practice);
	struct limits l = limits_of(p, &p->tolerance, known ? &practice : NULL, &assumed);
	if (!l.has_low && !l.has_high)
		return false;
	return (!l.has_low || value >= decimal_double(l.low) - U) &&
	       (!l.has_high || value <= decimal_double(l.high) + U);
}

/* The last, the next or the twin position that this value fits, -1 for none. */
static int looks_like(const struct bench *b, const struct bench_meter *m, int place,
                      const struct settle_result *r)
{
	const struct position *p = &b->position[place].row.position;
	double value = decimal_double(r->value);
	if (r->overload || !p->has_nominal || position_quantity(b, place) != position_first_quantity(p) ||
	    !far_from(value, decimal_double(p->nominal)))
		return -1;
	struct entry e = {.has_value = true, .value = r->value, .function = r->function};
	entry_uncertainty(m, r, &e);
	int sheet_next = b->positions > 1 ? (place + 1) % b->positions : -1;
	int candidate[] = {b->before, walk_next(b, place), sheet_next,
	                   p->twin[0] ? position_find(b, p->twin) : -1};
	for (size_t i = 0; i < sizeof candidate / sizeof *candidate; i++)
		if (candidate[i] != place && fits_place(b, candidate[i], r->function, value, 2 * e.u))
			return candidate[i];
	return -1;
}

/* Has this meter an entry here already, made since the position was last chosen? */
static bool already_made(const struct bench *b, const struct bench_meter *m, int place,
                         enum quantity q)
{
	const struct bench_position *pl = &b->position[place];
	for (int i = b->mades - 1; i >= 0; i--) {
		const struct entry *e = &b->made[i].entry;
		if (!e->struck && b->made[i].choice >= pl->choice && e->quantity == q &&
		    e->condition == b->condition && e->reach == b->reach &&
		    strcmp(e->meter, m->config->name) == 0 &&
		    strcmp(e->position, pl->row.position.name) == 0)
			return true;
	}
	return false;
}

static void refuse(struct bench *b, const struct bench_meter *m, int place, const char *why)
{
	bench_event(b, "refused", "meter", m->config->name, "position",
	            place >= 0 ? b->position[place].row.position.name : NULL, "why", why, NULL);
}

/* May what this meter reads be logged to this place at all? */
static bool suits(const struct bench *b, const struct bench_meter *m, int place,
                  enum function f, struct fault *why)
{
	const struct position *p = &b->position[place].row.position;
	enum function wanted = position_function(p, position_quantity(b, place));
	if (wanted != FUNCTION_NONE && wanted != f) {
		fault_set(why, "%s reads %s, and %s wants %s: turn the dial, or choose another position",
		          m->config->name, function_name(f), p->name, function_name(wanted));
		return false;
	}
	if (position_quantity(b, place) == QUANTITY_VOLTS && f != FUNCTION_VOLT_DC &&
	    f != FUNCTION_VOLT_AC) {
		fault_set(why, "%s reads %s, and volts are asked for at %s", m->config->name,
		          function_name(f), p->name);
		return false;
	}
	if (b->live && (f == FUNCTION_OHM || f == FUNCTION_FARAD)) {
		fault_set(why, "the unit is live: no %s at %s until it is cold and the reservoirs were "
		          "measured dead", function_name(f), p->name);
		return false;
	}
	return true;
}

/* ---- the entry ---- */

static void fill_entry(const struct bench *b, const struct bench_meter *m, int64_t t, int place,
                       const struct settle_result *r, struct entry *e)
{
	const struct position *p = &b->position[place].row.position;
	memset(e, 0, sizeof *e);
	e->t = t;
	snprintf(e->position, sizeof e->position, "%s", p->name);
	snprintf(e->meter, sizeof e->meter, "%s", m->config->name);
	e->quantity = position_quantity(b, place);
	e->condition = b->condition;
	e->reach = b->reach;
	e->source = SOURCE_METER;
	e->function = r->function;
	e->has_value = !r->overload;
	e->state = r->overload ? READING_OVERLOAD : 0;
	e->value = r->value;
	e->prefix = r->prefix;
	e->n = r->n;
	/* Open is at rest: only a value that still moved is not settled. */
	e->settled = r->settled || r->overload;
	if (r->overload)
		e->has_above = false;
}

bool capture_entry(struct bench *b, struct bench_meter *m, int64_t t, int place,
                   const struct settle_result *r, struct bench_wait w, struct fault *why)
{
	if (!job_need(b, t, why) || !bench_grow((void **)&b->made, b->mades, &b->mades_size,
	                                        sizeof *b->made))
		return false;
	struct made *made = &b->made[b->mades];
	struct entry_beside beside = {.job = b->job};
	char shown[80], frames[METER_FRAMES][METER_FRAME_TEXT];
	fill_entry(b, m, t, place, r, &made->entry);
	beside.accuracy_assumed = entry_uncertainty(m, r, &made->entry);
	entry_judge(b, &b->position[place].row.position, &made->entry);
	entry_shown(&made->entry, shown, sizeof shown);
	beside.shown = shown;
	beside.frame_count = meter_last_frames(&m->machine, ENTRY_FRAMES_MAX, frames);
	for (int i = 0; i < beside.frame_count; i++)
		beside.frames[i] = frames[i];

	uint64_t ticket = log_next_ticket(b->log);
	bool run = m->trail.n > 0;
	beside.trail_count = trail_parts(&m->trail, r->from, r->to, ticket, beside.trail,
	                                 ENTRY_TRAIL_MAX);
	struct text trail, body;
	text_begin(&trail, b->body2, BENCH_BODY_SIZE);
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	if (run)
		trail_write(&m->trail, b->job, m->config->name, &trail);
	entry_write(&body, &made->entry, &beside);
	if (trail.failed || body.failed) {
		fault_set(why, "the entry does not fit its buffer");
		return false;
	}
	struct log_draft draft[2];
	size_t n = 0;
	if (run)
		draft[n++] = (struct log_draft){b->utc + m->trail.t, "trail", trail.bytes, trail.len};
	draft[n++] = (struct log_draft){b->utc + t, "entry", body.bytes, body.len};
	b->log_refused = !log_append(b->log, draft, n, run ? m->config->name : NULL, why);
	if (b->log_refused)
		return false;
	if (run)
		bench_pend_run(b, m, ticket++);
	made->ticket = ticket;
	made->choice = b->choice;
	made->undone = 0;
	struct pending p = bench_pending(ticket, w);
	p.made = b->mades++;
	bench_pend(b, p);
	m->waits = false;
	m->spent = true;
	m->spent_at = t;
	m->spent_place = place;
	return true;
}

void capture_failed(struct bench *b, struct made *made, const char *why)
{
	made->ticket = 0;
	made->entry.struck = true; /* it is not in the log: it does not count */
	bench_event(b, "not-logged", "position", made->entry.position, "meter", made->entry.meter,
	            "why", why, NULL);
	/* The walk may have gone on meanwhile: back to the part that has nothing. */
	int place = position_find(b, made->entry.position);
	if (b->walk && place >= 0 && place != b->chosen)
		walk_choose(b, place, made->entry.quantity);
}

/* ---- what settle says ---- */

static void hold(struct bench *b, struct bench_meter *m, int place, int looks, bool doubt,
                 const struct settle_result *r)
{
	m->waits = true;
	m->doubt = doubt;
	m->waits_place = place;
	m->looks = looks;
	m->held = *r;
	char shown[64];
	quantity_shown(r->value, r->function, r->prefix, shown, sizeof shown);
	if (doubt)
		bench_event(b, "doubt", "meter", m->config->name, "position",
		            b->position[place].row.position.name, "shown", shown, "text",
		            "a voltage that could be floating leads: take it, or touch again", NULL);
	else
		bench_event(b, "held", "meter", m->config->name, "position",
		            b->position[place].row.position.name, "shown", shown, "looks",
		            b->position[looks].row.position.name, "text",
		            "far from this nominal: take it here, or choose the position it looks like",
		            NULL);
}

/* The place that a settled value is for, -1 where it is for none (and said so). */
static int place_for(struct bench *b, struct bench_meter *m, enum function f)
{
	struct fault why;
	int place = position_of_meter(b, m);
	if (m->spent) { /* the old part again */
		if (place != m->spent_place)
			refuse(b, m, place, "touched before the leads were open long enough: taken for the "
			       "part before; lift, and touch it again");
		return -1;
	}
	if (place < 0) {
		refuse(b, m, place, "no position is chosen");
		return -1;
	}
	if (!suits(b, m, place, f, &why)) {
		refuse(b, m, place, why.text);
		return -1;
	}
	if (already_made(b, m, place, position_quantity(b, place))) {
		refuse(b, m, place, "it has its entry: choose it again to measure it again");
		return -1;
	}
	return place;
}

void capture_settled(struct bench *b, struct bench_meter *m, int64_t t)
{
	const struct settle_result *r = settle_result(&m->settle);
	int place = place_for(b, m, r->function);
	if (place < 0)
		return;
	int looks = looks_like(b, m, place, r);
	if (looks >= 0) {
		hold(b, m, place, looks, false, r);
		return;
	}
	struct fault why;
	if (!capture_entry(b, m, t, place, r, (struct bench_wait){0}, &why))
		bench_event(b, "not-logged", "position", b->position[place].row.position.name, "meter",
		            m->config->name, "why", why.text, NULL);
}

void capture_doubt(struct bench *b, struct bench_meter *m, int64_t t)
{
	struct settle_result r;
	struct fault why;
	int place = position_of_meter(b, m);
	if (place < 0 || m->spent || !settle_take(&m->settle, t, &r, &why) ||
	    !suits(b, m, place, r.function, &why) ||
	    already_made(b, m, place, position_quantity(b, place)))
		return;
	hold(b, m, place, -1, true, &r);
}

/* The person chose the position that a held value looks like: it goes there. */
bool capture_looks_like(struct bench *b, struct bench_meter *m, int64_t t, int place,
                        struct fault *why)
{
	if (!m->waits || m->doubt || m->looks != place)
		return false;
	struct settle_result r = m->held;
	return capture_entry(b, m, t, place, &r, (struct bench_wait){0}, why);
}

/* ---- take ---- */

/* Which meter a `take` without a name means. */
static struct bench_meter *take_meter(struct bench *b, int64_t t, const char *name,
                                      struct fault *why)
{
	if (name) {
		int i = bench_meter_index(b, name);
		if (i < 0)
			fault_set(why, "there is no meter %s in the configuration", name);
		return i < 0 ? NULL : &b->meter[i];
	}
	struct bench_meter *found = NULL;
	struct settle_result r;
	struct fault ignored;
	/* First who waits for a word, then who touches, then who reads what is asked. */
	for (int pass = 0; pass < 3 && !found; pass++) {
		for (int i = 0; i < b->meters; i++) {
			struct bench_meter *m = &b->meter[i];
			int place = position_of_meter(b, m);
			bool good = place >= 0 && settle_take(&m->settle, t, &r, &ignored) &&
			            suits(b, m, place, r.function, &ignored);
			if (pass == 0)
				good = m->waits;
			else if (pass == 1)
				good = good && settle_touching(&m->settle);
			if (!good)
				continue;
			if (found) {
				fault_set(why, "both %s and %s have a reading: say which one (--meter NAME)",
				          found->config->name, m->config->name);
				return NULL;
			}
			found = m;
		}
	}
	if (!found)
		fault_set(why, "nothing to take: no meter has a fresh reading that suits the position");
	return found;
}

bool bench_take(struct bench *b, int64_t t, const char *meter, struct bench_wait w,
                struct fault *why)
{
	bench_run_until(b, t);
	struct settle_result r;
	struct bench_meter *m = take_meter(b, t, meter, why);
	if (!m)
		return false;
	int place = m->waits ? m->waits_place : position_of_meter(b, m);
	if (place < 0) {
		fault_set(why, "no position is chosen: say which part this is (at POSITION)");
		return false;
	}
	if (m->waits)
		r = m->held;
	else if (!settle_take(&m->settle, t, &r, why))
		return false;
	if (!suits(b, m, place, r.function, why) || !capture_entry(b, m, t, place, &r, w, why))
		return false;
	bench_taped(b, t, "take", "%s", m->config->name);
	walk_on_meter(b, m, t);
	bench_timers(m);
	return true;
}
