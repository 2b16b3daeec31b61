/* SPDX-License-Identifier: MIT */
/*
 * A meter that is held to a position while the others go on (a bias meter that stays
 * clipped to a cathode, a voltmeter on the high tension).
 *
 * Its readings stand in the trail under that position.  It makes no entry by itself, and
 * nothing of it is held or in doubt: clips stay where they are, so a value that comes to rest
 * says nothing that was asked for.  `take --meter NAME` logs what it stands at.  A record
 * says where it is held, so a daemon that is started anew holds it there again.
 */
#include "daemon/bench_inside.h"

#include "protocol/record/job_kinds.h"

#include <stdio.h>
#include <string.h>

static bool put(struct bench *b, int64_t t, const struct bench_meter *m, const char *position,
                enum quantity q, struct bench_wait w, struct fault *why)
{
	struct bind_body bind = {.quantity = q, .by = b->by};
	struct text body;
	snprintf(bind.job, sizeof bind.job, "%s", b->job);
	snprintf(bind.meter, sizeof bind.meter, "%s", m->config->name);
	snprintf(bind.position, sizeof bind.position, "%s", position ? position : "");
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	bind_body_write(&body, &bind);
	return bench_put_job(b, "bind", t, &body, w, why);
}

static void hold_to(struct bench_meter *m, struct aim aim)
{
	m->bound = aim;
	m->took = -1;
	m->before.place = -1;
	m->held.waits = false;
	m->nowhere = false;
}

bool bench_bind(struct bench *b, int64_t t, const char *position, int quantity, const char *meter,
                struct bench_wait w, struct fault *why)
{
	bench_run_until(b, t);
	int i = bench_meter_index(b, meter);
	struct aim aim = {-1, QUANTITY_VALUE};
	if (i < 0) {
		fault_set(why, "there is no meter %.40s in the configuration", meter);
		return false;
	}
	struct bench_meter *m = &b->meter[i];
	if (!position && m->bound.place < 0) {
		fault_set(why, "%s is not bound: it follows what is chosen", meter);
		return false;
	}
	if (position) {
		aim.place = job_place(b, t, position, why);
		if (aim.place < 0)
			return false;
		aim.quantity = quantity >= 0 ? (enum quantity)quantity
		               : position_first_quantity(&b->position[aim.place].row.position);
	}
	/* What it read until now stands under what it was for. */
	bench_end_run(b, m);
	if (!put(b, t, m, position, aim.quantity, w, why))
		return false;
	if (position)
		bench_taped(b, t, "at", "%s %s %s", position, quantity_name(aim.quantity), meter);
	else
		bench_taped(b, t, "meter", "%s free", meter);
	hold_to(m, aim);
	walk_expect(b);
	bench_event(b, position ? "bound" : "freed", "meter", meter, "position", position, NULL);
	return true;
}

bool bind_restore(struct bench *b, const char *text, size_t len)
{
	struct bind_body bind;
	if (!bind_body_read(text, len, &bind))
		return true; /* of a later version: not understood, not guessed */
	int i = bench_meter_index(b, bind.meter);
	int place = bind.position[0] ? position_find(b, bind.position) : -1;
	if (i >= 0 && strcmp(bind.job, b->job) == 0)
		hold_to(&b->meter[i], (struct aim){place, bind.quantity});
	return true;
}

void bench_bindings(const struct bench *b, struct text *out)
{
	bool first = true;
	text_member(out, "bound");
	text_puts(out, "[");
	for (int i = 0; i < b->meters; i++) {
		struct aim bound = b->meter[i].bound;
		if (bound.place < 0)
			continue;
		text_puts(out, first ? "{\"meter\":" : ",{\"meter\":");
		text_string(out, b->meter[i].config->name, strlen(b->meter[i].config->name));
		text_member_string(out, "position", b->position[bound.place].row.position.name);
		text_member_string(out, "quantity", quantity_name(bound.quantity));
		text_puts(out, "}");
		first = false;
	}
	text_puts(out, "]");
}
