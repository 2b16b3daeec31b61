/* SPDX-License-Identifier: MIT */
/*
 * The watch over a unit that is said to be cold, or is about to be.
 *
 * Every reading of every meter comes by here before anything else is made of it, whatever
 * is chosen and wherever the meter is bound.  On a cold unit two in a row above what may be
 * touched are the alarm `live`.  While the reservoirs are measured dead, two in a row above
 * what counts as dead, at one that was dead already, begin that one anew: the volts came
 * back, whether anybody logged them or not, and that is the alarm `held`.  Alarms are records,
 * so a daemon that is started anew knows which reservoir has to be measured again.
 */
#include "daemon/bench_inside.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* What may be touched: limits of extra-low voltage that count as not dangerous in dry rooms
 * (IEC 60364-4-41, clause 414.4.5 and 411.7; from memory): 25 V ac and 60 V dc without
 * insulation.  Open leads pick up some volts ac, hence 30. */
#define TOUCH_VOLTS_AC 30.0
#define TOUCH_VOLTS_DC 60.0
/* It is over below this part of the limit. */
#define TOUCH_OVER 0.8
/* So many readings in a row: one may be a garbled frame or a spark of contact. */
#define TOUCH_READINGS 2

void guard_alarm(struct bench *b, const char *alarm, const char *meter, const char *position,
                 bool on, const char *text)
{
	struct alarm_body body = {.job = b->job, .alarm = alarm, .meter = meter, .position = position,
	                          .on = on, .what = text};
	struct text out;
	struct fault why;
	text_begin(&out, b->body, BENCH_BODY_SIZE);
	alarm_body_write(&out, &body);
	/* Heard at once, whatever the disk does. */
	bench_event(b, "alarm", "alarm", alarm, "meter", meter, "position", position, "on",
	            on ? "true" : "false", "text", text, NULL);
	bench_put(b, "alarm", b->now, &out, (struct bench_wait){0}, &why);
}

static double touch_limit(enum function f)
{
	return f == FUNCTION_VOLT_AC ? TOUCH_VOLTS_AC : f == FUNCTION_VOLT_DC ? TOUCH_VOLTS_DC : 0;
}

static void live_ends(struct bench *b, struct bench_meter *m, const char *text)
{
	m->over = 0;
	if (!m->alarm[0])
		return;
	m->alarm[0] = '\0';
	guard_alarm(b, "live", m->config->name, NULL, false, text);
}

static void live_begins(struct bench *b, struct bench_meter *m, const struct reading *r)
{
	char shown[80];
	reading_shown(r, shown, sizeof shown);
	snprintf(m->alarm, sizeof m->alarm, "LIVE: %.30s reads %.60s%s on a unit that is said to be cold. Hands off; "
	         "switch off, isolate, discharge, measure", m->config->name, shown,
	         r->function == FUNCTION_VOLT_AC ? " AC" : "");
	guard_alarm(b, "live", m->config->name, NULL, true, m->alarm);
}

/* It was measured dead, is up, and is not dead: from the beginning.  (A meter that has made its
 * entry, while something else is up since, may be at either of them.) */
static void came_back(struct bench *b, struct bench_meter *m, const struct reading *r, double volts)
{
	struct aim aim = walk_aim(b, m);
	bool above = r->function == FUNCTION_VOLT_DC &&
	             (r->has_value ? volts >= DEAD_VOLTS : (r->state & READING_OVERLOAD) != 0);
	bool either = m->spent && m->spent_place != aim.place;
	if (!b->cooling || !above || either || !safe_was_dead(b, aim.place)) {
		m->charged = 0;
		return;
	}
	if (++m->charged < TOUCH_READINGS)
		return;
	m->charged = 0;
	b->position[aim.place].came_back = b->mades;
	guard_holds(b, aim.place, true);
}

void guard_reading(struct bench *b, struct bench_meter *m, const struct reading *r)
{
	double limit = touch_limit(r->function), volts = r->has_value ? fabs(decimal_double(r->value)) : 0;
	bool overload = !r->has_value && (r->state & READING_OVERLOAD);
	if (guide_expects_volts(b, m))
		return;
	if (b->live) {
		came_back(b, m, r, volts);
		return;
	}
	if (limit == 0) {
		live_ends(b, m, "the meter was turned to another function");
		return;
	}
	/* Beyond a range nobody knows how far. */
	if (overload || volts > limit) {
		m->under = 0;
		if (m->over < TOUCH_READINGS && ++m->over == TOUCH_READINGS && !m->alarm[0])
			live_begins(b, m, r);
		return;
	}
	m->over = 0;
	if (r->has_value && volts < TOUCH_OVER * limit && m->alarm[0] && ++m->under >= TOUCH_READINGS)
		live_ends(b, m, "the volts are gone from the probes; the unit may still hold them");
}

void guard_away(struct bench *b, struct bench_meter *m)
{
	live_ends(b, m, "the meter is gone: nobody knows whether the volts are");
}

void guard_restore(struct bench *b, const char *text, size_t len)
{
	char position[NAME_SIZE] = "";
	bool on = json_bool(json_member(text, len, "on"), false);
	int place = -1;
	if (json_is(json_member(text, len, "alarm"), "held") &&
	    json_text(json_member(text, len, "position"), position, sizeof position))
		place = position_find(b, position);
	if (on && place >= 0)
		b->position[place].came_back = b->mades;
}

/* Which reservoirs were measured, and hold volts while they should be dead. */
static bool holding(const struct bench *b, char *out, size_t size)
{
	size_t n = 0;
	out[0] = '\0';
	for (int i = 0; i < b->positions; i++)
		if (b->position[i].holds && n < size)
			n += (size_t)snprintf(out + n, size - n, "%s%s", n ? ", " : "",
			                      b->position[i].row.position.name);
	return n > 0;
}

void guard_holds(struct bench *b, int place, bool holds)
{
	char list[120], text[240];
	if (b->position[place].holds == holds)
		return;
	b->position[place].holds = holds;
	bool any = holding(b, list, sizeof list);
	snprintf(text, sizeof text, any ? "%s still holds volts: hands off, discharge through a resistor, and "
	         "measure again" : "no reservoir is known to hold volts", list);
	guard_alarm(b, "held", NULL, holds ? b->position[place].row.position.name : NULL, any, text);
}

void guard_end(struct bench *b)
{
	for (int i = 0; i < b->meters; i++)
		live_ends(b, &b->meter[i], b->live ? "the unit is said to be live now" : "over");
	for (int i = 0; i < b->positions; i++)
		guard_holds(b, i, false);
}

/* ---- for people ---- */

void guard_look(const struct bench *b, struct text *out)
{
	bool first = true;
	text_member(out, "alarms");
	text_puts(out, "[");
	for (int i = 0; i < b->meters; i++) {
		const struct bench_meter *m = &b->meter[i];
		if (!m->alarm[0])
			continue;
		text_puts(out, first ? "{\"alarm\":\"live\"" : ",{\"alarm\":\"live\"");
		text_member_string(out, "meter", m->config->name);
		text_member_string(out, "text", m->alarm);
		text_puts(out, "}");
		first = false;
	}
	char list[120], holds[160];
	if (holding(b, list, sizeof list)) {
		text_puts(out, first ? "{\"alarm\":\"held\"" : ",{\"alarm\":\"held\"");
		snprintf(holds, sizeof holds, "%s still holds volts", list);
		text_member_string(out, "text", holds);
		text_puts(out, "}");
		first = false;
	}
	guides_alarms(b, out, first);
	text_puts(out, "]");
}
