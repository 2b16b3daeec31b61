/* SPDX-License-Identifier: MIT */
/* See turn.h. */
#include "client/turn.h"

#include <string.h>

static bool same(const struct turn_item *a, const struct turn_item *b)
{
	return a->what == b->what && strcmp(a->text, b->text) == 0;
}

static void push_alarm(struct turn *t, const struct turn_item *item)
{
	for (int i = 0; i < t->alarms; i++)
		if (same(&t->alarm[i], item))
			return;
	if (t->alarms == TURN_ALARMS) {
		t->lost++;
		return;
	}
	t->alarm[t->alarms++] = *item;
}

void turn_push(struct turn *t, const struct turn_item *item)
{
	switch (item->rank) {
	case TURN_ALARM:
		push_alarm(t, item);
		break;
	case TURN_RESULT:
		/* The name that waits belongs to the touch before this result. */
		t->has_name = false;
		t->result = *item;
		t->has_result = true;
		break;
	case TURN_NAME:
		t->name = *item;
		t->has_name = true;
		break;
	}
}

/* Out of its slot, unless it waited too long. */
static bool take(bool *has, const struct turn_item *slot, int64_t now, int64_t late,
                 struct turn_item *out)
{
	bool good = *has && (late == 0 || now - slot->at <= late);
	*has = false;
	if (good)
		*out = *slot;
	return good;
}

bool turn_next(struct turn *t, int64_t now, int64_t late, struct turn_item *out)
{
	if (t->alarms) {
		*out = t->alarm[0];
		t->alarms--;
		memmove(&t->alarm[0], &t->alarm[1], (size_t)t->alarms * sizeof t->alarm[0]);
		return true;
	}
	if (t->has_result && take(&t->has_result, &t->result, now, late, out))
		return true;
	return t->has_name && take(&t->has_name, &t->name, now, late, out);
}

bool turn_cuts(const struct turn *t, enum turn_rank heard)
{
	switch (heard) {
	case TURN_ALARM:
		return false;
	case TURN_RESULT:
		return t->alarms || t->has_result;
	case TURN_NAME:
		break;
	}
	return t->alarms || t->has_result || t->has_name;
}

void turn_return(struct turn *t, const struct turn_item *item)
{
	if (item->rank == TURN_RESULT && !t->has_result) {
		t->result = *item;
		t->has_result = true;
	} else if (item->rank == TURN_NAME && !t->has_name && !t->has_result) {
		t->name = *item;
		t->has_name = true;
	}
}

void turn_clear(struct turn *t)
{
	t->alarms = 0;
	t->has_result = t->has_name = false;
}

bool turn_empty(const struct turn *t)
{
	return !t->alarms && !t->has_result && !t->has_name;
}
