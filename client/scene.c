/* SPDX-License-Identifier: MIT */
/* Answers and the connection: see scene.h.  Notifications are in scene_news.c. */
#include "client/scene.h"

#include <stdio.h>
#include <string.h>

static void forget(struct scene *s)
{
	struct scene_position *sheet = s->sheet;
	struct style style = s->style;
	memset(s, 0, sizeof *s);
	s->sheet = sheet;
	s->style = style;
	s->last = s->awaited = -1;
	s->front = -1;
	s->live_at = INT64_MIN;
	s->armed = true;
}

void scene_begin(struct scene *s, struct scene_position *sheet, const struct style *style)
{
	s->sheet = sheet;
	s->style = *style;
	forget(s);
}

/* ---- the daemon ---- */

/* That it went away is no news any more: as a bad one it would stand for a minute over
 * whatever is said since. */
static void away_is_over(struct scene *s)
{
	for (int i = 0; i < s->note_count; i++)
		if (s->note[i].away)
			s->note[i].weight = SCENE_SAID;
}

void scene_connected(struct scene *s, int64_t now, struct slice hello)
{
	char identity[64];
	int64_t last = 0;
	bool before = s->known;
	scene_member(hello, "identity", identity);
	if (before && strcmp(identity, s->identity) != 0) {
		forget(s);
		scene_say(s, now, SCENE_WARNING, "this daemon writes another log; showing that now");
	}
	snprintf(s->identity, sizeof s->identity, "%s", identity);
	scene_member(hello, "bench", s->bench);
	json_int(json_member(hello.at, hello.len, "last"), &last);
	s->fresh = last;
	if (s->last < 0)
		s->last = last;
	s->connected = s->known = true;
	away_is_over(s);
	s->away[0] = '\0';
	s->live_at = now; /* the first one has its time to come */
	s->awaited = -1;
	s->up_waits = false;
	s->tell_chosen = true;
	s->up = s->up_told = 0;
	/* It says anew what goes on; meanwhile, and while it was away, danger stood. */
	s->alarms = 0;
	if (before) {
		scene_say(s, now, SCENE_GOOD, "the daemon is back");
		scene_note_told(s);
		scene_tell(s, &(struct happening_told){.what = HAPPENED_BACK});
	}
}

/* What is not known to stand any more is taken away. */
static void values_end(struct scene *s)
{
	for (int i = 0; i < s->meters; i++) {
		struct scene_meter *m = &s->meter[i];
		m->shown[0] = '\0';
		m->touching = m->moving = m->entered = false;
		m->progress = 0;
		m->trail_count = 0;
	}
	s->front = -1;
	s->held.is = s->refused.is = s->logged.is = s->errand.is = false;
}

void scene_away(struct scene *s, int64_t now, const char *why)
{
	bool was = s->connected;
	s->connected = false;
	values_end(s);
	snprintf(s->away, sizeof s->away, "%s", why);
	if (!was)
		return;
	scene_say(s, now, SCENE_BAD, "%s", why);
	scene_note_told(s);
	s->note[(s->note_next + SCENE_NOTES_MAX - 1) % SCENE_NOTES_MAX].away = true;
	scene_tell(s, &(struct happening_told){.what = HAPPENED_GONE, .why = s->away,
	                                       .next = "waiting for it to come back"});
}

/* ---- status ---- */

static void chosen_limits(struct scene *s, struct slice chosen)
{
	struct slice limits = json_member(chosen.at, chosen.len, "limits");
	s->limits_known = limits.at != NULL;
	s->has_low = json_decimal(json_element(limits, 0), &s->low);
	s->has_high = json_decimal(json_element(limits, 1), &s->high);
	s->limits_assumed = json_bool(json_member(chosen.at, chosen.len, "assumed"), false);
	s->fit = json_bool(json_member(chosen.at, chosen.len, "fit"), false);
	scene_member(chosen, "function", s->function);
}

static void chosen_read(struct scene *s, struct slice chosen)
{
	scene_member(chosen, "position", s->position);
	scene_member(chosen, "quantity", s->quantity);
	scene_member(chosen, "kind", s->chosen_kind);
	scene_member(chosen, "nominal", s->nominal);
	scene_member(chosen, "tolerance", s->tolerance);
	scene_member(chosen, "role", s->role);
	scene_member(chosen, "twin", s->twin);
	scene_member(chosen, "again", s->again);
	if (!s->again[0])
		s->before[0] = '\0';
	s->armed = json_bool(json_member(chosen.at, chosen.len, "armed"), true);
	chosen_limits(s, chosen);
	if (s->tell_chosen && s->position[0])
		scene_tell_up(s);
	s->tell_chosen = false;
}

static struct scene_meter *meter_named(struct scene *s, const char *name)
{
	for (int i = 0; i < s->meters; i++)
		if (strcmp(s->meter[i].name, name) == 0)
			return &s->meter[i];
	return NULL;
}

static void bound_read(struct scene *s, struct slice bound)
{
	struct slice one;
	size_t cursor = 0;
	for (int i = 0; i < s->meters; i++)
		s->meter[i].bound[0] = '\0';
	while (json_next(bound, &cursor, &one)) {
		char name[SCENE_NAME];
		scene_member(one, "meter", name);
		struct scene_meter *m = meter_named(s, name);
		if (m)
			scene_member(one, "position", m->bound);
	}
}

/* What waits for a word; a daemon that does not say leaves it as it is known. */
static void held_read(struct scene *s, struct slice held)
{
	struct slice first = json_element(held, 0);
	if (!held.at || *held.at != '[')
		return;
	s->held.is = first.at != NULL;
	if (!first.at)
		return;
	scene_member(first, "position", s->held.position);
	scene_member(first, "looks", s->held.looks);
	scene_member(first, "meter", s->held.meter);
	scene_member(first, "shown", s->held.shown);
	s->held.doubt = !s->held.looks[0];
}

/* Danger that goes on, as the daemon lists it; one that does not list it says it by
 * events alone. */
static void alarms_read(struct scene *s, struct slice list)
{
	struct slice one;
	size_t cursor = 0;
	if (!list.at || *list.at != '[')
		return;
	s->alarms = 0;
	while (json_next(list, &cursor, &one)) {
		struct scene_alarm alarm;
		scene_alarm_read(one, &alarm);
		scene_alarm_set(s, &alarm, true);
	}
}

/* How the log stands is said when it changes: nothing else on the screen shows it. */
static void log_read(struct scene *s, int64_t now, struct slice result)
{
	char health[sizeof s->health], aside[sizeof s->log_aside];
	scene_member(result, "health", health);
	scene_member(result, "log-aside", aside);
	bool good = strcmp(health, "good") == 0, was = !s->health[0] || strcmp(s->health, "good") == 0;
	if (health[0] && !good && strcmp(health, s->health) != 0)
		scene_say(s, now, SCENE_BAD, "the log is %s: `tally status` says why, and what to do", health);
	else if (good && !was)
		scene_say(s, now, SCENE_GOOD, "the log is good again");
	if (aside[0] && strcmp(aside, s->log_aside) != 0)
		scene_say(s, now, SCENE_BAD, "%s", aside);
	scene_copy(s->health, sizeof s->health, health);
	scene_copy(s->log_aside, sizeof s->log_aside, aside);
}

/* The sheet may come before this list or after it.  Both go in one order. */
static void lacks_apply(struct scene *s)
{
	for (int i = 0; i < s->sheet_count; i++)
		s->sheet[i].lacks = false;
	for (int i = 0, from = 0; i < s->lacks_count; i++)
		for (int k = 0; k < s->sheet_count; k++) {
			int at = (from + k) % s->sheet_count;
			if (strcmp(s->sheet[at].name, s->lacks[i]) != 0)
				continue;
			s->sheet[at].lacks = true;
			from = at + 1;
			break;
		}
}

static void lacks_read(struct scene *s, struct slice list)
{
	struct slice one;
	s->lacks_known = list.at && *list.at == '[';
	s->lacks_count = 0;
	for (size_t cursor = 0; s->lacks_known && json_next(list, &cursor, &one);)
		if (s->lacks_count < SCENE_POSITIONS_MAX)
			s->lacks_count += json_text(one, s->lacks[s->lacks_count], SCENE_NAME);
	lacks_apply(s);
}

void scene_status(struct scene *s, int64_t now, struct slice result)
{
	int64_t n;
	struct slice next = json_member(result.at, result.len, "next");
	held_read(s, json_member(result.at, result.len, "held"));
	alarms_read(s, json_member(result.at, result.len, "alarms"));
	char order[sizeof s->order];
	scene_member(result, "order", order);
	if (s->order[0] && order[0] && strcmp(s->order, order) != 0)
		scene_say(s, now, SCENE_SAID, "the walk goes by %s", order);
	scene_copy(s->order, sizeof s->order, order);
	s->walk_meters = 1;
	if (json_int(json_member(result.at, result.len, "meters"), &n) && n > 0 && n < 100)
		s->walk_meters = (int)n;
	s->next_known = next.at != NULL;
	scene_member(result, "next", s->next);
	scene_member(result, "job", s->job);
	scene_member(result, "condition", s->condition);
	scene_member(result, "reach", s->reach);
	bool walked = s->walk[0] && strcmp(s->walk, "off") != 0;
	scene_member(result, "walk", s->walk);
	if (s->tell_chosen && walked && strcmp(s->walk, "off") == 0)
		scene_say(s, now, SCENE_WARNING, "the daemon is back, and begins anew: the walk is off, "
		          "nothing is up; choose, then walk");
	else if (s->tell_chosen && walked)
		scene_say(s, now, SCENE_WARNING, "the daemon is back, and the walk goes on where it was: "
		          "lift the probes, then touch what is up");
	log_read(s, now, result);
	if (words_member_is(result, "state", "live") || words_member_is(result, "state", "cold")) {
		s->live = words_member_is(result, "state", "live");
		s->unit_known = true;
	}
	scene_guides_read(s, json_member(result.at, result.len, "guides"));
	s->discharging = json_bool(json_member(result.at, result.len, "discharging"), false);
	if (json_int(json_member(result.at, result.len, "done"), &n) && n >= 0 && n < INT32_MAX)
		s->done = (int)n;
	if (json_int(json_member(result.at, result.len, "positions"), &n) && n >= 0 && n < INT32_MAX)
		s->positions = (int)n;
	lacks_read(s, json_member(result.at, result.len, "lacks"));
	if (s->done < s->positions)
		s->all_done = false;
	bound_read(s, json_member(result.at, result.len, "bound"));
	chosen_read(s, json_member(result.at, result.len, "chosen"));
}

void scene_meters(struct scene *s, int64_t now, struct slice result)
{
	struct slice meters = json_member(result.at, result.len, "meters"), one;
	size_t cursor = 0;
	(void)now;
	while (json_next(meters, &cursor, &one)) {
		char name[SCENE_NAME];
		scene_member(one, "name", name);
		struct scene_meter *m = meter_named(s, name);
		if (!m && s->meters < SCENE_METERS_MAX) {
			m = &s->meter[s->meters++];
			*m = (struct scene_meter){.progress = 0};
			snprintf(m->name, sizeof m->name, "%s", name);
		}
		if (!m)
			continue;
		scene_member(one, "state", m->state);
		scene_member(one, "identity", m->identity);
		scene_member(one, "why", m->why);
	}
}

/* ---- the sheet ---- */

void scene_sheet_begin(struct scene *s)
{
	s->sheet_count = s->sheet_more = 0;
}

static void limits_read(struct scene_position *p, struct slice row)
{
	struct slice limits = json_member(row.at, row.len, "limits");
	p->has_low = limits.at && json_decimal(json_element(limits, 0), &p->low);
	p->has_high = limits.at && json_decimal(json_element(limits, 1), &p->high);
	p->has_nominal = json_decimal(json_member(row.at, row.len, "nominal"), &p->nominal_value);
}

/* The verdict of the newest entry that counts. */
static void last_verdict(const struct scene *s, struct scene_position *p)
{
	p->verdict[0] = '\0';
	for (int i = 0; p->entries > 0; i++) {
		const struct scene_entry *e = scene_entry(s, i);
		if (!e)
			return;
		if (!e->struck && strcmp(e->position, p->name) == 0) {
			snprintf(p->verdict, sizeof p->verdict, "%s", e->verdict);
			return;
		}
	}
}

void scene_sheet(struct scene *s, struct slice result)
{
	struct slice rows = json_member(result.at, result.len, "rows"), row;
	size_t cursor = 0;
	while (json_next(rows, &cursor, &row)) {
		int64_t n = 0;
		if (s->sheet_count == SCENE_POSITIONS_MAX) {
			s->sheet_more++;
			continue;
		}
		struct scene_position *p = &s->sheet[s->sheet_count++];
		struct scene_position before = *p;
		*p = (struct scene_position){.entries = 0};
		scene_member(row, "position", p->name);
		scene_member(row, "kind", p->kind);
		scene_member(row, "function", p->function);
		words_nominal(row, p->nominal, sizeof p->nominal);
		scene_member(row, "written.tolerance", p->tolerance);
		scene_member(row, "written.rated", p->rated);
		scene_member(row, "written.note", p->note);
		scene_member(row, "role", p->role);
		scene_member(row, "twin", p->twin);
		scene_member(row, "with", p->with);
		scene_member(row, "channel", p->channel);
		limits_read(p, row);
		json_int(json_member(row.at, row.len, "entries"), &n);
		p->entries = n > 0 && n < INT32_MAX ? (int)n : 0;
		last_verdict(s, p);
		/* Of older entries than those that are kept: as it was known before. */
		bool same = p->entries && strcmp(before.name, p->name) == 0;
		if (same && !p->verdict[0])
			memcpy(p->verdict, before.verdict, sizeof p->verdict);
		if (same)
			memcpy(p->last, before.last, sizeof p->last);
	}
	lacks_apply(s);
}

/* ---- entries ---- */

void scene_entries_begin(struct scene *s)
{
	s->entry_count = s->entry_next = 0;
	for (int i = 0; i < s->sheet_count; i++)
		memset(s->sheet[i].last, 0, sizeof s->sheet[i].last);
}

void scene_entries(struct scene *s, struct slice result)
{
	struct slice list = json_member(result.at, result.len, "entries"), one;
	size_t cursor = 0;
	while (json_next(list, &cursor, &one)) {
		struct slice record = json_member(one.at, one.len, "record");
		struct slice struck = json_member(one.at, one.len, "struck");
		struct slice moved = json_member(one.at, one.len, "moved");
		struct slice rejudged = json_member(one.at, one.len, "rejudged");
		if (!record.at)
			continue;
		struct scene_entry *e = scene_entry_add(s, record);
		e->struck = struck.at && *struck.at == '{';
		if (moved.at && *moved.at == '{')
			scene_member(moved, "position", e->position);
		if (json_member(one.at, one.len, "position").at)
			scene_member(one, "position", e->position); /* as it is called now */
		if (rejudged.at && *rejudged.at == '{')
			scene_entry_rejudge(s, e, rejudged);
		scene_place_entry(s, e);
	}
}
