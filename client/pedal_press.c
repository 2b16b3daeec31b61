/* SPDX-License-Identifier: MIT */
/* The stream of a foot switch to actions: see pedal_press.h. */
#include "client/pedal_press.h"

void pedal_press_begin(struct pedal_press *p, const struct pedal_buttons *buttons,
                       const struct pedal_timing *timing,
                       void (*act)(void *arg, enum pedal_action action, unsigned code), void *arg)
{
	*p = (struct pedal_press){.buttons = *buttons, .timing = *timing, .act = act, .arg = arg,
	                          .last = INT64_MIN};
	for (int i = 0; i < PEDAL_BUTTONS_MAX; i++)
		p->state[i].up_at = -1;
}

static int button_of(const struct pedal_press *p, unsigned code)
{
	for (int i = 0; i < p->buttons.count; i++)
		if (p->buttons.at[i].code == code)
			return i;
	return -1;
}

static void fire(struct pedal_press *p, int i, enum pedal_action action)
{
	p->state[i].pending = false;
	if (action != PEDAL_NONE)
		p->act(p->arg, action, p->buttons.at[i].code);
}

/* ---- decisions that time makes ---- */

/* What is due for a button, and when. */
enum due { DUE_NOTHING, DUE_RELEASE, DUE_LONG, DUE_ALONE };

static enum due button_due(const struct pedal_press *p, int i, int64_t *when)
{
	const struct pedal_press_state *s = &p->state[i];
	const struct pedal_button *b = &p->buttons.at[i];
	/* The contact is open: a release, if it stays so. */
	if (s->down && s->up_at >= 0) {
		*when = s->up_at + p->timing.debounce_us;
		return DUE_RELEASE;
	}
	if (!s->pending)
		return DUE_NOTHING;
	if (s->down && b->held != PEDAL_NONE) {
		*when = s->down_at + p->timing.long_us;
		return DUE_LONG;
	}
	/* No second press came in time. */
	*when = s->down_at + p->timing.double_us;
	return b->twice != PEDAL_NONE ? DUE_ALONE : DUE_NOTHING;
}

int64_t pedal_press_due(const struct pedal_press *p)
{
	int64_t first = INT64_MAX, when;
	for (int i = 0; i < p->buttons.count; i++)
		if (button_due(p, i, &when) != DUE_NOTHING && when < first)
			first = when;
	return first;
}

static void decide(struct pedal_press *p, int i, enum due due, bool stale)
{
	struct pedal_press_state *s = &p->state[i];
	const struct pedal_button *b = &p->buttons.at[i];
	bool pending = s->pending;
	if (stale)
		s->pending = pending = false;
	switch (due) {
	case DUE_RELEASE:
		s->down = false;
		/* A press that has no second to wait for is decided by its release. */
		if (pending && b->twice == PEDAL_NONE)
			fire(p, i, b->press);
		s->up_at = -1;
		break;
	case DUE_LONG:
		if (pending)
			fire(p, i, b->held);
		break;
	case DUE_ALONE:
		if (pending)
			fire(p, i, b->press);
		break;
	case DUE_NOTHING:
		break;
	}
}

/* All that is due until `until`, in the order of time; older than the stale limit at `now`
 * does nothing. */
static void run(struct pedal_press *p, int64_t until, int64_t now)
{
	for (;;) {
		int64_t first = INT64_MAX, when = 0;
		int which = -1;
		enum due due = DUE_NOTHING;
		for (int i = 0; i < p->buttons.count; i++) {
			enum due d = button_due(p, i, &when);
			if (d != DUE_NOTHING && when < first) {
				first = when;
				which = i;
				due = d;
			}
		}
		if (which < 0 || first > until)
			return;
		decide(p, which, due, now - first > PEDAL_STALE_US);
	}
}

void pedal_press_run(struct pedal_press *p, int64_t now)
{
	if (now > p->last)
		p->last = now;
	run(p, now, now);
}

/* ---- events ---- */

static void press(struct pedal_press *p, int i, int64_t time)
{
	struct pedal_press_state *s = &p->state[i];
	const struct pedal_button *b = &p->buttons.at[i];
	bool alone = true, second = s->pending;
	for (int k = 0; k < p->buttons.count; k++) {
		if (k == i)
			continue;
		alone = alone && !p->state[k].down;
		if (p->state[k].pending && !p->state[k].down)
			fire(p, k, p->buttons.at[k].press);
	}
	s->down = true;
	s->up_at = -1;
	if (!alone)
		s->pending = false;
	else if (second)
		fire(p, i, b->twice);
	else if (b->held == PEDAL_NONE && b->twice == PEDAL_NONE)
		fire(p, i, b->press);
	else {
		s->pending = true;
		s->down_at = time;
	}
}

void pedal_press_event(struct pedal_press *p, int64_t now, int64_t time, unsigned code, int value)
{
	int i = button_of(p, code);
	if (i < 0 || (value != 0 && value != 1))
		return;
	/* A device whose clock is another one: as it comes. */
	if (time > now)
		time = now;
	if (time < p->last)
		time = p->last;
	p->last = time;
	run(p, time, now);
	struct pedal_press_state *s = &p->state[i];
	if (now - time > PEDAL_STALE_US)
		pedal_press_set(p, code, value == 1);
	else if (value == 0 && s->down && s->up_at < 0)
		s->up_at = time;
	else if (value == 1 && s->down)
		s->up_at = -1;
	else if (value == 1)
		press(p, i, time);
	/* Without debounce a release is one at once. */
	run(p, time, now);
}

void pedal_press_set(struct pedal_press *p, unsigned code, bool down)
{
	int i = button_of(p, code);
	if (i >= 0)
		p->state[i] = (struct pedal_press_state){.down = down, .up_at = -1};
}
