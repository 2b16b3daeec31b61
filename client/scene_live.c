/* SPDX-License-Identifier: MIT */
/* Live values, and whose of them stands large.  See scene.h. */
#include "client/scene.h"

#include <string.h>

static void trail_add(struct scene_meter *m, int64_t now)
{
	struct decimal value;
	enum function f;
	struct fault ignored;
	if (!quantity_parse(m->shown, strlen(m->shown), FUNCTION_NONE, &value, &f, &ignored))
		return;
	m->trail[m->trail_next].at = now;
	m->trail[m->trail_next].value = value;
	m->trail_next = (m->trail_next + 1) % SCENE_TRAIL_MAX;
	if (m->trail_count < SCENE_TRAIL_MAX)
		m->trail_count++;
}

/* A display that stands still is a point of the trail, too, but not 20 in a second. */
#define TRAIL_STANDS_MS 200

static void trail_follow(struct scene_meter *m, int64_t now, bool same)
{
	int last = (m->trail_next + SCENE_TRAIL_MAX - 1) % SCENE_TRAIL_MAX;
	if (same && m->trail_count && now - m->trail[last].at < TRAIL_STANDS_MS)
		return;
	trail_add(m, now);
}

static void meter_live(struct scene *s, struct scene_meter *m, int64_t now, struct slice one)
{
	char before[sizeof m->shown];
	bool touched = m->touching, was_stale = m->stale;
	memcpy(before, m->shown, sizeof before);
	scene_member(one, "state", m->state);
	scene_member(one, "shown", m->shown);
	scene_member(one, "function", m->function);
	m->progress = 0;
	json_number(json_member(one.at, one.len, "progress"), &m->progress);
	m->touching = json_bool(json_member(one.at, one.len, "touching"), false);
	m->stale = strcmp(m->state, "stale") == 0 || strcmp(m->state, "silent") == 0;
	if (m->stale)
		m->shown[0] = '\0';
	if (m->touching && !touched) {
		/* A probe that slipped, or the next part before its turn: nothing comes of it. */
		char has[SCENE_NAME];
		scene_member(one, "has", has);
		bool old = has[0] && s->logged.is && strcmp(s->logged.position, has) == 0;
		m->trail_count = m->trail_next = 0;
		m->moving = false;
		m->entered = old;
		m->made[0] = '\0';
		if (!scene_elsewhere(s, m) && !old)
			s->logged.is = s->refused.is = false;
	}
	if (!m->touching)
		m->moving = false;
	/* A meter that says nothing with open leads is no news; one that falls silent on a
	 * part is. */
	if (m->stale && !was_stale && touched && !m->entered)
		scene_tell(s, &(struct happening_told){.what = HAPPENED_STALE, .meter = m->name,
		                                       .position = m->bound[0] ? m->bound : s->position});
	if (m->touching)
		trail_follow(m, now, strcmp(before, m->shown) == 0);
}

/* Whose value stands large: who touches; else who was, as long as it suits; else the
 * one whose function is that of the position; else who shows anything. */
static void choose_front(struct scene *s)
{
	int best = -1, best_rank = 0;
	int place = scene_place(s, s->position);
	for (int i = 0; i < s->meters; i++) {
		const struct scene_meter *m = &s->meter[i];
		if (scene_elsewhere(s, m)) {
			bool waits = strcmp(m->name, s->guide_meter) == 0 && m->shown[0];
			if (waits && best_rank < 12) { /* below one that is touched */
				best_rank = 12;
				best = i;
			}
			continue;
		}
		bool suits = place >= 0 && strcmp(m->function, s->sheet[place].function) == 0;
		int rank = m->touching ? 16 : 0;
		rank += s->held.is && strcmp(m->name, s->held.meter) == 0 ? 8 : 0;
		rank += suits && m->shown[0] ? 4 : 0;
		rank += m->shown[0] ? 1 : 0;
		rank += i == s->front && rank ? 2 : 0;
		if (rank > best_rank) {
			best_rank = rank;
			best = i;
		}
	}
	s->front = best_rank ? best : -1;
}

void scene_live(struct scene *s, int64_t now, struct slice params)
{
	struct slice meters = json_member(params.at, params.len, "meters"), one;
	size_t cursor = 0;
	scene_meters(s, now, params); /* those that are new */
	while (json_next(meters, &cursor, &one)) {
		char name[SCENE_NAME];
		scene_member(one, "name", name);
		for (int i = 0; i < s->meters; i++)
			if (strcmp(s->meter[i].name, name) == 0)
				meter_live(s, &s->meter[i], now, one);
	}
	s->live_at = now;
	struct slice ear = json_member(params.at, params.len, "ear");
	s->ear.hertz = 0;
	if (ear.at)
		(void)json_number(json_member(ear.at, ear.len, "hertz"), &s->ear.hertz);
	s->ear.inside = ear.at && json_bool(json_member(ear.at, ear.len, "inside"), false);
	choose_front(s);
}
