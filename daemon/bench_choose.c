/* SPDX-License-Identifier: MIT */
/* What is up, by the person's word: position, quantity, condition, reach, once more. */
#include "daemon/bench_inside.h"

#include <stdio.h>

static enum quantity quantity_asked(const struct bench *b, int place, int quantity)
{
	return quantity >= 0 ? (enum quantity)quantity
	     : safe_asks_volts(b, place) ? QUANTITY_VOLTS
	                     : position_first_quantity(&b->position[place].row.position);
}

bool bench_at(struct bench *b, int64_t t, const char *position, int quantity, const char *meter,
              struct fault *why)
{
	bench_run_until(b, t);
	if (meter)
		return bench_bind(b, t, position, quantity, meter, (struct bench_wait){0}, why);
	int place = job_place(b, t, position, why);
	if (place < 0)
		return false;
	enum quantity q = quantity_asked(b, place, quantity);
	bench_taped(b, t, "at", "%s %s", position, quantity_name(q));
	/* Chosen again: measure it again. */
	for (int i = 0; place == b->chosen && i < b->meters; i++)
		if (b->meter[i].spent_place == place)
			b->meter[i].spent = false;
	capture_chosen(b, t, place, q);
	return true;
}

/* What a meter was asked for and waits for, it does not wait for any more. */
static bool call_off(struct bench *b, int64_t t)
{
	bool any = false;
	for (int i = 0; i < b->meters; i++)
		any = any || b->meter[i].errand.what != ERRAND_NONE;
	if (!any)
		return false;
	bench_run_until(b, t);
	bench_taped(b, t, "again", "%s", "");
	for (int i = 0; i < b->meters; i++) {
		errand_drop(b, &b->meter[i], "called off: the next touch is for what is up");
		bench_timers(&b->meter[i]);
	}
	return true;
}

bool bench_again(struct bench *b, int64_t t, bool swapped, struct fault *why)
{
	if (call_off(b, t))
		return true;
	if (!swapped && guide_waits_alone(b, why)) { /* what is to be done is said once more, by nobody's record */
		guide_say_again(b);
		bench_taped(b, t, "again", "%s", "");
		return true;
	}
	if (b->chosen < 0) {
		fault_set(why, "no position is chosen that could be measured again");
		return false;
	}
	if (!bench_at(b, t, b->position[b->chosen].row.position.name, (int)b->quantity, NULL, why))
		return false;
	if (swapped) /* after it: on a tape the choice stands before it */
		bench_taped(b, t, "again", "%s", "swapped");
	b->swapped = swapped;
	return true;
}

bool bench_quantity(struct bench *b, int64_t t, enum quantity q, struct fault *why)
{
	if (b->chosen < 0) {
		fault_set(why, "choose a position before its quantity");
		return false;
	}
	return bench_at(b, t, b->position[b->chosen].row.position.name, (int)q, NULL, why);
}

/* Reach or condition is another: a record where a job is open. */
static bool put_manner(struct bench *b, int64_t t, bool changed, struct bench_wait w,
                       struct fault *why)
{
	if (b->job[0] && changed)
		return job_put(b, t, JOB_SET, w, why);
	struct bench_outcome nothing = {.durable = true};
	if (w.done)
		w.done(w.arg, &nothing);
	return true;
}

static bool set_reach(struct bench *b, int64_t t, enum reach reach, struct bench_wait w,
                      struct fault *why)
{
	enum reach before = b->reach;
	b->reach = reach;
	if (!put_manner(b, t, reach != before || b->job_position[0], w, why)) {
		b->reach = before;
		return false;
	}
	bench_event(b, "reach", "reach", reach_name(reach), NULL);
	return true;
}

/* The walk sets it: on a tape that follows from the walk. */
bool bench_reach_set(struct bench *b, int64_t t, enum reach reach, struct fault *why)
{
	return set_reach(b, t, reach, (struct bench_wait){0}, why);
}

bool bench_reach(struct bench *b, int64_t t, enum reach reach, struct bench_wait w,
                 struct fault *why)
{
	bench_run_until(b, t);
	/* Said of what is up: that leg is up until it is measured in circuit, or said to be back. */
	if (reach != REACH_IN_CIRCUIT && b->chosen >= 0)
		snprintf(b->job_position, sizeof b->job_position, "%s",
		         b->position[b->chosen].row.position.name);
	bool set = set_reach(b, t, reach, w, why);
	b->job_position[0] = '\0';
	if (!set)
		return false;
	b->lift_reach = false;
	bench_taped(b, t, "reach", "%s", reach_name(reach));
	return true;
}

const char *bench_reach_word(const struct bench *b)
{
	return reach_name(b->reach);
}

bool bench_condition(struct bench *b, int64_t t, enum condition condition, struct bench_wait w,
                     struct fault *why)
{
	bench_run_until(b, t);
	enum condition before = b->condition;
	b->condition = condition;
	if (!put_manner(b, t, condition != before, w, why)) {
		b->condition = before;
		return false;
	}
	b->announced_all = false;
	walk_expect(b); /* a part that is new is what is fitted, not what was there */
	bench_taped(b, t, "condition", "%s", condition_name(condition));
	bench_event(b, "condition", "condition", condition_name(condition), NULL);
	return true;
}
