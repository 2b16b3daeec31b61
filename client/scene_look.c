/* SPDX-License-Identifier: MIT */
/* What is said, told and asked of the scene: see scene.h. */
#include "client/scene.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

/* ---- saying ---- */

void scene_note_add(struct scene *s, int64_t now, enum scene_weight weight, struct slice time,
                    const char *text)
{
	struct scene_note *n = &s->note[s->note_next];
	s->note_next = (s->note_next + 1) % SCENE_NOTES_MAX;
	if (s->note_count < SCENE_NOTES_MAX)
		s->note_count++;
	s->noted++;
	*n = (struct scene_note){.at = now, .weight = weight};
	words_time(&s->style, time, false, n->time, sizeof n->time);
	words_clean(text, strlen(text), n->text, sizeof n->text);
}

void scene_note_told(struct scene *s)
{
	s->note[(s->note_next + SCENE_NOTES_MAX - 1) % SCENE_NOTES_MAX].told = true;
}

void scene_say(struct scene *s, int64_t now, enum scene_weight weight, const char *format, ...)
{
	char text[2 * SCENE_TEXT], cut[SCENE_TEXT];
	va_list args;
	va_start(args, format);
	vsnprintf(text, sizeof text, format, args);
	va_end(args);
	scene_copy(cut, sizeof cut, text);
	scene_note_add(s, now, weight, (struct slice){NULL, 0}, cut);
}

void scene_refusal(struct scene *s, int64_t now, int code, const char *why)
{
	static const char said[] = "NOT LOGGED: ";
	bool unlogged = code == 4;
	if (unlogged && strncmp(why, said, sizeof said - 1) == 0)
		why += sizeof said - 1; /* once is enough */
	scene_say(s, now, unlogged ? SCENE_BAD : SCENE_WARNING, "%s%s",
	          unlogged ? "NOT LOGGED: " : "", why);
	scene_note_told(s);
	s->not_logged = s->not_logged || unlogged;
	if (!unlogged) {
		s->refused.is = true;
		s->refused.at = now;
	}
	scene_tell(s, &(struct happening_told){
		.what = unlogged ? HAPPENED_NOT_LOGGED : HAPPENED_REFUSED, .why = why});
}

/* ---- telling ---- */

/* Keep a string with the happening; NULL for nothing. */
static const char *keep(struct scene_told *t, int i, const char *text)
{
	if (!text || !text[0])
		return NULL;
	scene_copy(t->text[i], sizeof t->text[i], text);
	return t->text[i];
}

void scene_tell(struct scene *s, const struct happening_told *told)
{
	if (s->told_count == SCENE_TOLD_MAX) {
		s->told_first = (s->told_first + 1) % SCENE_TOLD_MAX;
		s->told_count--;
		s->told_lost++;
	}
	struct scene_told *t = &s->told[(s->told_first + s->told_count++) % SCENE_TOLD_MAX];
	t->told = (struct happening_told){
		.what = told->what, .seq = told->seq, .typed = told->typed, .ear = told->ear,
		.position = keep(t, 0, told->position), .quantity = keep(t, 1, told->quantity),
		.shown = keep(t, 2, told->shown), .verdict = keep(t, 3, told->verdict),
		.side = keep(t, 4, told->side), .looks = keep(t, 5, told->looks),
		.meter = keep(t, 6, told->meter), .place = keep(t, 7, told->place),
		.role = keep(t, 8, told->role), .why = keep(t, 9, told->why),
		.next = keep(t, 10, told->next), .alarm = keep(t, 11, told->alarm),
		.guide = keep(t, 12, told->guide), .limit = keep(t, 13, told->limit),
		.other = keep(t, 14, told->other),
	};
}

const struct happening_told *scene_happening(struct scene *s)
{
	if (!s->told_count)
		return NULL;
	const struct happening_told *told = &s->told[s->told_first].told;
	s->told_first = (s->told_first + 1) % SCENE_TOLD_MAX;
	s->told_count--;
	return told;
}

void scene_tell_up(struct scene *s)
{
	char place[SCENE_TEXT] = "";
	int at = scene_place(s, s->position);
	if (at >= 0)
		snprintf(place, sizeof place, "%.40s%s%.*s", s->sheet[at].channel,
		         s->sheet[at].channel[0] && s->sheet[at].note[0] ? ", " : "",
		         (int)words_cut(s->sheet[at].note, strlen(s->sheet[at].note), 150),
		         s->sheet[at].note);
	s->up_told = s->up;
	scene_tell(s, &(struct happening_told){
		.what = HAPPENED_UP, .seq = s->up, .position = s->position, .quantity = s->quantity,
		.shown = s->nominal, .role = s->role[0] ? s->role : s->chosen_kind, .place = place});
}

void scene_say_again(struct scene *s)
{
	const struct scene_entry *e = scene_entry(s, 0);
	if (e && !e->struck)
		scene_tell(s, &(struct happening_told){
			.what = strcmp(e->verdict, "outside") == 0 ? HAPPENED_OUTSIDE
			      : strcmp(e->verdict, "unsure") == 0 ? HAPPENED_UNSURE : HAPPENED_LOGGED,
			.position = e->position, .quantity = e->quantity, .shown = e->shown,
			.verdict = e->verdict, .side = e->side, .meter = e->meter,
			.why = e->deviation[0] ? e->deviation : e->remark, .seq = e->seq,
			.typed = e->typed});
	if (s->position[0])
		scene_tell_up(s);
}

/* ---- asking ---- */

const struct scene_meter *scene_front(const struct scene *s)
{
	return s->front >= 0 && s->front < s->meters ? &s->meter[s->front] : NULL;
}

bool scene_elsewhere(const struct scene *s, const struct scene_meter *m)
{
	return m->bound[0] && strcmp(m->bound, s->position) != 0;
}

const char *scene_at(const struct scene *s)
{
	const struct scene_meter *m = scene_front(s);
	if (s->errand.is && s->errand.position[0])
		return s->errand.position;
	if (m && m->touching && m->made[0] && m->made_at[0])
		return m->made_at;
	return m && scene_elsewhere(s, m) ? m->bound : s->position;
}

bool scene_stands(const struct scene *s, const struct scene_meter *m, int64_t now)
{
	return s->connected && m && m->shown[0] && !m->stale && s->live_at != INT64_MIN &&
	       now - s->live_at <= SCENE_LIVE_MS;
}

const char *scene_dial(const struct scene *s, int64_t now)
{
	int others = 0;
	if (!s->limits_known || !s->function[0] || strcmp(s->function, "none") == 0)
		return "";
	for (int i = 0; i < s->meters; i++) {
		const struct scene_meter *m = &s->meter[i];
		if (strcmp(m->state, "absent") == 0 || scene_elsewhere(s, m))
			continue;
		if (!scene_stands(s, m, now) || !m->function[0] || strcmp(m->function, s->function) == 0)
			return "";
		others++;
	}
	return others ? s->function : "";
}

const char *scene_forbidden(const struct scene *s)
{
	bool known = s->live && s->limits_known;
	bool such = strcmp(s->function, "ohm") == 0 || strcmp(s->function, "farad") == 0;
	return known && such ? s->function : "";
}

double scene_ear(const struct scene *s, int64_t now, bool *inside)
{
	bool stands = s->connected && s->live_at != INT64_MIN && now - s->live_at <= SCENE_EAR_MS;
	*inside = stands && s->ear.inside;
	return stands ? s->ear.hertz : 0;
}

const char *scene_large(const struct scene *s, int64_t now, const char **function)
{
	const struct scene_meter *m = scene_front(s);
	bool stands = scene_stands(s, m, now);
	bool logged = s->connected && s->logged.is && strcmp(s->logged.position, s->position) == 0;
	if (logged) {
		*function = s->logged.function;
		return s->logged.shown;
	}
	*function = m ? m->function : "";
	return stands ? m->shown : NULL;
}

int scene_moves(const struct scene_meter *m, int64_t now)
{
	double least = INFINITY, most = -INFINITY;
	int finest = INT32_MAX, count = 0;
	for (int i = 0; i < m->trail_count; i++) {
		int at = (m->trail_next + SCENE_TRAIL_MAX - 1 - i) % SCENE_TRAIL_MAX;
		/* The display before the second began is where the second began from. */
		if (now - m->trail[at].at > SCENE_MOVES_MS && count)
			break;
		double x = decimal_double(m->trail[at].value);
		least = fmin(least, x);
		most = fmax(most, x);
		if (i == 0) /* the digit of the range that is on now */
			finest = m->trail[at].value.e;
		count++;
	}
	if (count < 2)
		return -1;
	double digits = round((most - least) / pow(10, finest));
	return digits > 1e6 ? 1000000 : (int)digits;
}

const struct scene_entry *scene_entry(const struct scene *s, int i)
{
	if (i < 0 || i >= s->entry_count)
		return NULL;
	return &s->entry[(s->entry_next + 2 * SCENE_ENTRIES_MAX - 1 - i) % SCENE_ENTRIES_MAX];
}

const struct scene_note *scene_note(const struct scene *s, int i)
{
	if (i < 0 || i >= s->note_count)
		return NULL;
	return &s->note[(s->note_next + 2 * SCENE_NOTES_MAX - 1 - i) % SCENE_NOTES_MAX];
}

int scene_place(const struct scene *s, const char *position)
{
	for (int i = 0; i < s->sheet_count && position[0]; i++)
		if (strcmp(s->sheet[i].name, position) == 0)
			return i;
	return -1;
}

const struct scene_last *scene_last(const struct scene *s, const struct scene_position *p,
                                    enum quantity q)
{
	enum condition condition;
	if (!condition_from_name(s->condition, strlen(s->condition), &condition))
		condition = CONDITION_FOUND;
	return &p->last[condition][q];
}

int scene_next(const struct scene *s)
{
	int from = scene_place(s, s->position);
	/* The daemon knows the order of the walk, and what was skipped. */
	if (s->next_known)
		return scene_place(s, s->next);
	for (int i = 1; i <= s->sheet_count; i++) {
		int at = (from + i) % s->sheet_count;
		if (s->sheet[at].entries == 0 && at != from)
			return at;
	}
	return s->sheet_count ? (from + 1) % s->sheet_count : -1;
}

int scene_before(const struct scene *s)
{
	int from = scene_place(s, s->position);
	if (!s->sheet_count)
		return -1;
	return from <= 0 ? s->sheet_count - 1 : from - 1;
}

/* ---- in one word ---- */

enum scene_state scene_state(const struct scene *s, int64_t now)
{
	const struct scene_meter *m = scene_front(s);
	if (!s->connected)
		return SCENE_NO_DAEMON;
	if (s->not_logged)
		return SCENE_NOT_LOGGED;
	if (s->errand.is && !(s->refused.is && now - s->refused.at <= SCENE_REFUSED_MS))
		return SCENE_ERRAND;
	if (s->held.is)
		return s->held.doubt ? SCENE_DOUBT : SCENE_HELD;
	if (s->refused.is && now - s->refused.at <= SCENE_REFUSED_MS)
		return SCENE_REFUSED;
	if (s->logged.is && strcmp(s->logged.position, s->position) == 0)
		return SCENE_LOGGED;
	if (now - s->live_at > SCENE_LIVE_MS)
		return SCENE_STALE;
	if (m && m->touching && m->stale)
		return SCENE_STALE;
	if (m && m->touching && m->entered)
		return SCENE_LOGGED;
	if (m && m->touching && m->moving)
		return SCENE_MOVING;
	if (m && m->touching && m->progress >= 1)
		return SCENE_SETTLED;
	if (m && m->touching && s->position[0])
		return SCENE_SETTLING;
	if (!s->position[0])
		return SCENE_NO_POSITION;
	if (s->all_done)
		return SCENE_DONE;
	int absent = 0, stale = 0, stands = 0;
	for (int i = 0; i < s->meters; i++) {
		bool away = strcmp(s->meter[i].state, "absent") == 0 || scene_elsewhere(s, &s->meter[i]);
		absent += away;
		stale += !away && s->meter[i].stale;
		stands += !away && scene_stands(s, &s->meter[i], now);
	}
	if (!m && s->meters && absent == s->meters)
		return SCENE_GONE;
	if (stale && !stands) /* ready for what? */
		return SCENE_STALE;
	if (scene_forbidden(s)[0])
		return SCENE_FORBIDDEN;
	return !s->armed ? SCENE_WAIT : scene_dial(s, now)[0] ? SCENE_DIAL : SCENE_READY;
}
