/* SPDX-License-Identifier: MIT */
/*
 * Cold and live: what may be measured while volts that kill may be there, and how a unit
 * becomes cold.  The watch over one that is said to be: bench_guard.c.
 *
 *     live --- job cold ---> discharging --- every reservoir under 1 V, twice ---> cold
 *       ^                         |
 *       +------- job live --------+
 *
 * Dead is measured twice, a minute apart: the dielectric of a large electrolytic gives
 * back a part of its charge after it was discharged.  The first time counts from the last
 * reading above; a reading above begins anew, logged or only seen (bench_guard.c), and so does
 * one that is taken back.  Where the sheet names no reservoir nothing can be asked for, and the
 * person's word is taken, and kept as what it is.
 *
 * A job begins cold by word alone, which is what most units are that were carried in; the
 * watch is on from the first reading.  `measured` of the status says whether anybody has
 * measured it, and `job live`, then `job cold`, asks for that.
 *
 * Near zero a meter on a dead capacitor and one whose leads hang in the air look alike.  So
 * nothing is expected of these volts (walk_expect), and settle asks for the person's word.
 */
#include "daemon/bench_inside.h"

#include "protocol/trade/reservoir.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* The second time, so long after the first.  Common practice, no source: most of what a
 * dielectric gives back comes in the first minute. */
#define AGAIN_US INT64_C(60000000)

/* ---- reservoirs ---- */

/* Does any row of the sheet say so by its role?  Else every electrolytic may be one. */
static bool roles_say(const struct bench *b)
{
	for (int i = 0; i < b->positions; i++)
		if (reservoir_by_role(&b->position[i].row.position))
			return true;
	return false;
}

static bool is_reservoir(const struct bench *b, int place, bool by_role)
{
	const struct position *p = &b->position[place].row.position;
	return by_role ? reservoir_by_role(p) : reservoir_by_kind(p);
}

static bool entry_dead(const struct entry *e)
{
	return e->has_value && fabs(decimal_double(e->value)) + 2 * e->u < DEAD_VOLTS;
}

/* From which moment (UTC by the clock of `since`) a minute is over since an entry: a clock that was
 * set, slept or began anew meanwhile says nothing of before, so from then on. */
static int64_t minute_after(const struct made *m, int64_t since)
{
	return (m->since == since ? m->utc : since) + AGAIN_US;
}

/* How often it was measured dead since the unit was live: 0, 1 or 2; with 1, *again is the
 * moment (UTC) from which the next time counts.  What came before what goes by order: a wall clock
 * that is set makes nothing dead. */
static int times_dead(const struct bench *b, int place, int64_t *again)
{
	const struct made *first = NULL, *last = NULL;
	for (int i = b->position[place].newest; i >= 0; i = b->made[i].older) {
		const struct made *m = &b->made[i];
		if (m->entry.struck || m->entry.function != FUNCTION_VOLT_DC || i < b->live_from ||
		    i < b->position[place].came_back)
			continue;
		if (!entry_dead(&m->entry))
			break;
		first = m;
		last = last ? last : m;
	}
	*again = first ? minute_after(first, b->clock_since) : 0;
	return !first ? 0 : last->utc >= minute_after(first, last->since) ? 2 : 1;
}

bool safe_was_dead(const struct bench *b, int place)
{
	int64_t again;
	return place >= 0 && is_reservoir(b, place, roles_say(b)) && times_dead(b, place, &again) > 0;
}

bool safe_asks_volts(const struct bench *b, int place)
{
	int64_t again;
	bool by_role = roles_say(b);
	return b->live && b->cooling && is_reservoir(b, place, by_role) && times_dead(b, place, &again) < 2;
}

/* What is to be measured now: who was not yet, in the order of the sheet; then who may be
 * measured again.  -1: nobody; then *when is the moment (UTC) at which there will be
 * somebody, 0 where all are dead. */
static int next_to_measure(const struct bench *b, int64_t utc, int64_t *when)
{
	bool by_role = roles_say(b);
	int due = -1;
	*when = 0;
	for (int i = 0; i < b->positions; i++) {
		int64_t again;
		if (!is_reservoir(b, i, by_role))
			continue;
		int times = times_dead(b, i, &again);
		if (times == 0)
			return i;
		if (times == 1 && again <= utc && due < 0)
			due = i;
		if (times == 1 && (!*when || again < *when))
			*when = again;
	}
	return due;
}

/* "C20, C21 (again in 43 s)": what still lacks, cut where it does not fit. */
static int lacking(const struct bench *b, int64_t utc, char *out, size_t size)
{
	bool by_role = roles_say(b);
	size_t n = 0;
	int count = 0;
	out[0] = '\0';
	for (int i = 0; i < b->positions; i++) {
		int64_t again;
		if (!is_reservoir(b, i, by_role))
			continue;
		int times = times_dead(b, i, &again);
		if (times == 2)
			continue;
		count++;
		if (n >= size)
			continue;
		n += (size_t)snprintf(out + n, size - n, "%s%s", n ? ", " : "",
		                      b->position[i].row.position.name);
		if (times == 1 && n < size && again > utc)
			n += (size_t)snprintf(out + n, size - n, " (again in %d s)",
			                      (int)((again - utc + 999999) / 1000000));
		else if (times == 1 && n < size)
			n += (size_t)snprintf(out + n, size - n, " (again)");
	}
	return count;
}

static bool any_reservoir(const struct bench *b)
{
	bool by_role = roles_say(b);
	for (int i = 0; i < b->positions; i++)
		if (is_reservoir(b, i, by_role))
			return true;
	return false;
}

/* ---- what may be measured ---- */

/* These functions drive the part with the meter's own current. */
static bool drives(enum function f)
{
	return f == FUNCTION_OHM || f == FUNCTION_FARAD || f == FUNCTION_HENRY || f == FUNCTION_DIODE;
}

bool safe_allows(const struct bench *b, const struct bench_meter *m, enum function f,
                 const char *position, struct fault *why)
{
	char list[160];
	if (!b->live)
		return true;
	if (m->config->use.isolated == ANSWER_NO) {
		fault_set(why, "the unit is live, and %s is not isolated from earth: its probe would earth a "
		          "rail or a live chassis, and can kill; take an isolated meter to %s",
		          m->config->name, position);
		return false;
	}
	if (!drives(f))
		return true;
	if (!b->cooling)
		fault_set(why, "the unit is live: no %s at %s until it is isolated, discharged and said to be "
		          "cold (job cold)", function_name(f), position);
	else if (lacking(b, b->utc + b->now, list, sizeof list))
		fault_set(why, "the unit is live: no %s at %s until the reservoirs were measured dead, under "
		          "1 V dc, twice: %.150s", function_name(f), position, list);
	else
		return true;
	return false;
}

/* ---- live, discharging, cold ---- */

static const char measured_dead[] = "every reservoir was measured dead, twice";

/* Once: of all whose input is not known, or known not, to be isolated. */
static void say_isolation(struct bench *b, enum yes_or_no answer, const char *what)
{
	char text[400];
	size_t n = 0;
	for (int i = 0; i < b->meters && n < 160; i++) {
		struct bench_meter *m = &b->meter[i];
		if (m->config->use.isolated != answer || m->isolation_said)
			continue;
		m->isolation_said = true;
		n += (size_t)snprintf(text + n, sizeof text - n, "%s%s", n ? ", " : "", m->config->name);
	}
	if (!n)
		return;
	snprintf(text + n, sizeof text - n, ": %s", what);
	bench_event(b, "caution", "text", text, NULL);
}

static void tell_discharging(struct bench *b)
{
	char list[200], text[420];
	if (!lacking(b, b->utc + b->now, list, sizeof list))
		return;
	snprintf(text, sizeof text, "discharge through a resistor, then take volts dc of %s: under 1 V, and again "
	         "after a minute; near zero each is taken by key", list);
	bench_event(b, "discharging", "text", text, NULL);
}

/* Where the next volts are asked for; the walk has nothing to say meanwhile. */
static void lead(struct bench *b, bool chosen_by_person)
{
	int64_t when;
	int next = next_to_measure(b, b->utc + b->now, &when);
	b->safe_at = next < 0 && when ? when - b->utc : INT64_MAX;
	if (next >= 0 && chosen_by_person)
		walk_choose(b, next, QUANTITY_VOLTS);
	else if (next >= 0)
		walk_go_for(b, next, QUANTITY_VOLTS);
	else if (when)
		tell_discharging(b);
}

void safe_lead(struct bench *b)
{
	lead(b, false);
}

int64_t safe_deadline(const struct bench *b)
{
	return b->cooling ? b->safe_at : INT64_MAX;
}

void safe_due(struct bench *b)
{
	b->safe_at = INT64_MAX;
	/* Not from under hands that are at work on another one: they are told. */
	if (b->chosen < 0 || walk_served(b))
		lead(b, false);
	else
		tell_discharging(b);
}

static bool go_cold(struct bench *b, int64_t t, const char *because, struct bench_wait w,
                    struct fault *why)
{
	bool live = b->live, cooling = b->cooling;
	b->live = b->cooling = false;
	bool measured = strcmp(because, measured_dead) == 0;
	snprintf(b->job_because, sizeof b->job_because, "%s", because);
	bool put = job_put(b, t, JOB_COLD, w, why);
	b->job_because[0] = '\0';
	if (!put) {
		b->live = live;
		b->cooling = cooling;
		return false;
	}
	b->safe_at = INT64_MAX;
	b->measured = measured;
	guard_end(b);
	return true;
}

/* A measurement that made the unit cold was taken back, or belongs elsewhere: it is not known
 * to be dead any more. */
void safe_unmade(struct bench *b, int64_t t, const struct entry *e)
{
	char list[200];
	struct fault why;
	if (b->live || !b->measured || e->function != FUNCTION_VOLT_DC ||
	    !lacking(b, b->utc + t, list, sizeof list))
		return;
	b->live = b->cooling = true;
	b->measured = false;
	snprintf(b->job_because, sizeof b->job_because, "a measurement that made it cold was taken back");
	if (!job_put(b, t, JOB_DISCHARGING, (struct bench_wait){0}, &why))
		bench_event(b, "not-logged", "why", why.text, NULL);
	b->job_because[0] = '\0';
	guard_end(b);
	tell_discharging(b);
	b->safe_at = b->now;
}

void safe_made(struct bench *b, int place)
{
	struct fault why;
	int64_t when, again;
	bool by_role = roles_say(b);
	if (!b->live || place < 0 || !is_reservoir(b, place, by_role))
		return;
	const struct entry *e = &b->made[b->position[place].newest].entry;
	if (e->function == FUNCTION_VOLT_DC && !e->struck)
		guard_holds(b, place, b->cooling && times_dead(b, place, &again) == 0);
	if (!b->cooling || next_to_measure(b, b->utc + b->now, &when) >= 0 || when)
		return;
	if (go_cold(b, b->now, measured_dead, (struct bench_wait){0}, &why))
		bench_event(b, "cold", "text", "every reservoir was measured dead, twice: the unit is cold", NULL);
	else
		bench_event(b, "not-logged", "why", why.text, NULL);
}

bool bench_job_state(struct bench *b, int64_t t, bool live, const char *because,
                     struct bench_wait w, struct fault *why)
{
	char list[200];
	bench_run_until(b, t);
	if (!job_need(b, t, why))
		return false;
	bool was_live = b->live, was_cooling = b->cooling;
	if (live) {
		b->live = true;
		b->cooling = false;
		if (!job_put(b, t, JOB_LIVE, w, why)) {
			b->live = was_live;
			b->cooling = was_cooling;
			return false;
		}
		b->live_from = b->mades;
		b->measured = false;
		b->safe_at = INT64_MAX;
		guard_end(b);
		say_isolation(b, ANSWER_NO, "not isolated from earth, so nothing is logged from it while the unit is "
		              "live");
		say_isolation(b, ANSWER_UNKNOWN, "nobody said whether its input is isolated from earth (isolated = "
		              "yes or no in its section): look before it touches a live unit");
		bench_taped(b, t, "live", "%s", "");
		return true;
	}
	if (!b->live || because[0] || !any_reservoir(b)) {
		bool word = b->live && !because[0];
		/* Said once more, it is as cold as it was: what was measured stays so. */
		bool still = !b->live && b->measured && !because[0];
		if (!go_cold(b, t, word ? "the sheet names no reservoir: by word alone" : still ? measured_dead
		             : because, w, why))
			return false;
		if (word)
			bench_event(b, "caution", "text", "the sheet names no reservoir capacitor, so nothing was "
			            "measured dead: measure them before you touch", NULL);
		bench_taped(b, t, "cold", "%s", because);
		return true;
	}
	int64_t when;
	if (next_to_measure(b, b->utc + t, &when) < 0 && !when) {
		if (!go_cold(b, t, measured_dead, w, why))
			return false;
		bench_taped(b, t, "cold", "%s", "");
		return true;
	}
	if (b->cooling) {
		lacking(b, b->utc + t, list, sizeof list);
		fault_set(why, "not yet: volts dc are still to be measured, under 1 V, at %s", list);
		return false;
	}
	b->cooling = true;
	if (!job_put(b, t, JOB_DISCHARGING, w, why)) {
		b->cooling = false;
		return false;
	}
	bench_taped(b, t, "cold", "%s", "");
	if (!roles_say(b))
		bench_event(b, "caution", "text", "no role of the sheet says reservoir, smoothing, filter, supply, HT "
		            "or B+: every electrolytic rated above 50 V, or not at all, counts as one", NULL);
	tell_discharging(b);
	lead(b, true);
	return true;
}

void safe_restore(struct bench *b, const struct job_body *job)
{
	if (job->change == JOB_LIVE)
		b->live_from = b->mades;
	if (job->change != JOB_SET)
		b->measured = job->change == JOB_COLD && strcmp(job->because, measured_dead) == 0;
	if (job->change != JOB_SET)
		b->cooling = job->change == JOB_DISCHARGING;
	b->safe_at = b->cooling ? 0 : INT64_MAX;
}

/* ---- for people ---- */

void safe_look(const struct bench *b, struct text *out)
{
	bool by_role = roles_say(b), first = true, any = false;
	int64_t utc = b->utc + b->now;
	guard_look(b, out);
	text_member_bool(out, "discharging", b->cooling);
	text_member_bool(out, "measured", b->measured);
	for (int i = 0; i < b->positions; i++)
		any = any || is_reservoir(b, i, by_role);
	text_member_string(out, "reservoirs-by", !any ? NULL : by_role ? "role" : "kind");
	text_member(out, "reservoirs");
	text_puts(out, "[");
	first = true;
	for (int i = 0; b->live && i < b->positions; i++) {
		int64_t again;
		if (!is_reservoir(b, i, by_role))
			continue;
		int times = times_dead(b, i, &again);
		text_puts(out, first ? "{\"position\":" : ",{\"position\":");
		text_string(out, b->position[i].row.position.name, strlen(b->position[i].row.position.name));
		text_member_int(out, "dead", times);
		if (times == 1)
			text_member_int(out, "wait", again > utc ? (again - utc + 999999) / 1000000 : 0);
		text_puts(out, "}");
		first = false;
	}
	text_puts(out, "]");
}
