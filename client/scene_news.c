/* SPDX-License-Identifier: MIT */
/* What comes by itself: records and events.  See scene.h. */
#include "client/scene.h"

#include "client/view.h"

#include <stdio.h>
#include <string.h>

/* ---- entries ---- */

static struct style plain_style(const struct scene *s)
{
	struct style style = s->style;
	style.utf8 = style.colour = false;
	style.width = 0;
	return style;
}

/* The part of a remark that says that it was typed: said by the entry itself here. */
static void without_typed(char *remark)
{
	char *at = strstr(remark, "typed");
	if (!at || (at != remark && at[-1] != ' '))
		return;
	char *rest = at + strlen("typed");
	if (rest[0] == ':' || rest[0] == ';')
		rest += 1 + (rest[1] == ' ');
	else if (*rest)
		return;
	if (!*rest) /* with what parts it from the one before */
		while (at > remark && strchr(" ;", at[-1]))
			at--;
	memmove(at, rest, strlen(rest) + 1);
}

static void entry_judgement(const struct scene *s, struct scene_entry *e, struct slice entry)
{
	struct style style = plain_style(s);
	struct lines remark = {0};
	scene_member(entry, "verdict", e->verdict);
	if (strcmp(e->verdict, "none") == 0)
		e->verdict[0] = '\0';
	scene_member(entry, "side", e->side);
	words_deviation(&style, entry, e->deviation, sizeof e->deviation);
	view_remark(&style, entry, (struct slice){NULL, 0}, &remark);
	scene_copy(e->remark, sizeof e->remark, lines_text(&remark));
	if (e->typed)
		without_typed(e->remark);
	lines_free(&remark);
}

struct scene_entry *scene_entry_add(struct scene *s, struct slice record)
{
	struct scene_entry *e = &s->entry[s->entry_next];
	s->entry_next = (s->entry_next + 1) % SCENE_ENTRIES_MAX;
	if (s->entry_count < SCENE_ENTRIES_MAX)
		s->entry_count++;
	*e = (struct scene_entry){.seq = 0};
	json_int(json_member(record.at, record.len, "seq"), &e->seq);
	scene_member(record, "position", e->position);
	scene_member(record, "quantity", e->quantity);
	scene_member(record, "shown", e->shown);
	scene_member(record, "meter", e->meter);
	char condition[16];
	scene_member(record, "condition", condition);
	if (!condition_from_name(condition, strlen(condition), &e->condition))
		e->condition = CONDITION_FOUND;
	e->typed = words_member_is(record, "source", "typed");
	entry_judgement(s, e, record);
	return e;
}

void scene_place_entry(struct scene *s, const struct scene_entry *e)
{
	enum quantity q;
	int place = scene_place(s, e->position);
	if (place < 0 || e->struck)
		return;
	struct scene_position *p = &s->sheet[place];
	scene_copy(p->verdict, sizeof p->verdict, e->verdict);
	if (!quantity_from_name(e->quantity, strlen(e->quantity), &q))
		return;
	struct scene_last *last = &p->last[e->condition][q];
	if (last->seq > e->seq)
		return; /* an older one, that was moved here or is judged anew */
	last->seq = e->seq;
	scene_copy(last->shown, sizeof last->shown, e->shown);
	scene_copy(last->verdict, sizeof last->verdict, e->verdict);
	last->typed = e->typed;
}

void scene_entry_rejudge(struct scene *s, struct scene_entry *e, struct slice rejudged)
{
	char deviation[sizeof e->deviation];
	memcpy(deviation, e->deviation, sizeof deviation);
	entry_judgement(s, e, rejudged);
	if (!e->deviation[0] || strcmp(e->deviation, e->side) == 0)
		memcpy(e->deviation, deviation, sizeof deviation);
}

static struct scene_entry *entry_of(struct scene *s, int64_t seq)
{
	for (int i = 0; i < s->entry_count; i++)
		if (s->entry[i].seq == seq)
			return &s->entry[i];
	return NULL;
}

static struct scene_meter *meter_of(struct scene *s, struct slice object)
{
	char name[SCENE_NAME];
	scene_member(object, "meter", name);
	for (int i = 0; i < s->meters; i++)
		if (name[0] && strcmp(s->meter[i].name, name) == 0)
			return &s->meter[i];
	return NULL;
}

static void tell_entry(struct scene *s, const struct scene_entry *e)
{
	char why[SCENE_TEXT];
	snprintf(why, sizeof why, "%.60s%s%.*s", e->deviation,
	         e->deviation[0] && e->remark[0] ? "; " : "",
	         (int)words_cut(e->remark, strlen(e->remark), 130), e->remark);
	struct happening_told told = {
		.what = strcmp(e->verdict, "outside") == 0 ? HAPPENED_OUTSIDE
		      : strcmp(e->verdict, "unsure") == 0 ? HAPPENED_UNSURE : HAPPENED_LOGGED,
		.position = e->position, .quantity = e->quantity, .shown = e->shown,
		.verdict = e->verdict, .side = e->side, .meter = e->meter, .why = why, .seq = e->seq,
		.typed = e->typed,
	};
	scene_tell(s, &told);
}

/* What was asked for is done: it is not asked any longer. */
static void touch_notes_end(struct scene *s)
{
	for (int i = 0; i < s->note_count; i++)
		if (s->note[i].touch)
			s->note[i].at = INT64_MIN / 2;
}

static struct scene_note *newest_note(struct scene *s)
{
	return &s->note[(s->note_next + SCENE_NOTES_MAX - 1) % SCENE_NOTES_MAX];
}

static void note_of_touch(struct scene *s)
{
	newest_note(s)->touch = true;
	scene_note_told(s);
}

static void on_entry(struct scene *s, int64_t now, struct slice record, bool fresh)
{
	int64_t seq = 0;
	json_int(json_member(record.at, record.len, "seq"), &seq);
	if (entry_of(s, seq))
		return; /* the list had it already */
	struct scene_entry *e = scene_entry_add(s, record);
	int place = scene_place(s, e->position);
	if (place >= 0)
		s->sheet[place].entries++;
	scene_place_entry(s, e);
	if (!fresh) {
		scene_say(s, now, SCENE_SAID, "while away: %s %s%s %s", e->position,
		          e->typed ? "typed " : "", e->shown, e->verdict);
		return;
	}
	struct scene_meter *m = meter_of(s, record);
	if (m) {
		m->entered = true;
		m->entry = seq;
		m->made[0] = '\0';
		m->moving = false;
	}
	s->logged.is = true;
	s->logged.typed = e->typed;
	s->logged.seq = e->seq;
	snprintf(s->logged.position, sizeof s->logged.position, "%s", e->position);
	snprintf(s->logged.verdict, sizeof s->logged.verdict, "%s", e->verdict);
	snprintf(s->logged.shown, sizeof s->logged.shown, "%s", e->shown);
	scene_member(record, "function", s->logged.function);
	s->held.is = s->refused.is = s->not_logged = false;
	touch_notes_end(s);
	tell_entry(s, e);
}

/* ---- other records ---- */

static void on_strike(struct scene *s, int64_t now, struct slice record)
{
	int64_t of = 0;
	json_int(json_member(record.at, record.len, "of"), &of);
	struct scene_entry *e = entry_of(s, of);
	if (s->logged.is && s->logged.seq == of)
		s->logged.is = false;
	/* The probes are still where it was made: that touch has no entry any more. */
	for (int i = 0; i < s->meters; i++)
		if (s->meter[i].touching && s->meter[i].entered && s->meter[i].entry == of) {
			snprintf(s->meter[i].made, sizeof s->meter[i].made, "STRUCK");
			s->meter[i].made_at[0] = '\0';
		}
	if (!e || e->struck)
		return;
	e->struck = true;
	int place = scene_place(s, e->position);
	if (place >= 0 && s->sheet[place].entries > 0 && --s->sheet[place].entries == 0)
		s->sheet[place].verdict[0] = '\0';
	/* The one before it comes back with the list that is asked now. */
	for (int q = 0; place >= 0 && q < QUANTITY_COUNT; q++)
		if (s->sheet[place].last[e->condition][q].seq == of)
			s->sheet[place].last[e->condition][q] = (struct scene_last){.seq = 0};
	char text[SCENE_TEXT];
	snprintf(text, sizeof text, "struck: %s %s does not count (record %lld)", e->position,
	         e->shown, (long long)of);
	scene_note_add(s, now, SCENE_WARNING, json_member(record.at, record.len, "t"), text);
}

static void on_job(struct scene *s, int64_t now, struct slice record, bool fresh)
{
	char unit[16];
	scene_member(record, "unit", unit);
	if (!fresh || !unit[0])
		return;
	bool live = strcmp(unit, "live") == 0;
	bool changed = s->unit_known && live != s->live;
	s->live = live;
	s->discharging = s->discharging && live;
	s->unit_known = true;
	if (!changed)
		return;
	s->caution = live;
	scene_say(s, now, live ? SCENE_BAD : SCENE_SAID,
	          live ? "the unit is LIVE: ohm and farad are refused" : "the unit is cold");
	scene_note_told(s);
	scene_tell(s, &(struct happening_told){.what = live ? HAPPENED_LIVE : HAPPENED_COLD});
}

static void on_rejudge(struct scene *s, struct slice record)
{
	int64_t of = 0;
	json_int(json_member(record.at, record.len, "of"), &of);
	struct scene_entry *e = entry_of(s, of);
	if (!e)
		return;
	scene_entry_rejudge(s, e, record);
	int place = scene_place(s, e->position);
	if (place >= 0 && !e->struck)
		scene_place_entry(s, e);
}

static void on_note(struct scene *s, int64_t now, struct slice record)
{
	char position[SCENE_NAME], text[SCENE_TEXT], all[SCENE_TEXT];
	scene_member(record, "position", position);
	scene_member(record, "text", text);
	snprintf(all, sizeof all, "noted at %.40s: %.*s", position,
	         (int)words_cut(text, strlen(text), 140), text);
	scene_note_add(s, now, SCENE_SAID, json_member(record.at, record.len, "t"), all);
}

unsigned scene_record(struct scene *s, int64_t now, struct slice params)
{
	struct slice record = json_member(params.at, params.len, "record");
	char kind[24];
	int64_t seq = 0;
	unsigned ask = 0;
	if (!record.at || !json_int(json_member(record.at, record.len, "seq"), &seq) ||
	    seq <= s->last)
		return 0;
	bool fresh = seq > s->fresh;
	s->last = seq;
	scene_member(record, "kind", kind);
	if (strcmp(kind, "entry") == 0) {
		on_entry(s, now, record, fresh);
		ask = SCENE_ASK_STATUS;
	} else if (strcmp(kind, "strike") == 0) {
		on_strike(s, now, record);
		ask = SCENE_ASK_STATUS | SCENE_ASK_SHEET | SCENE_ASK_ENTRIES;
	} else if (strcmp(kind, "move") == 0 || strcmp(kind, "rename") == 0) {
		ask = SCENE_ASK_STATUS | SCENE_ASK_SHEET | SCENE_ASK_ENTRIES;
	} else if (strcmp(kind, "rejudge") == 0) {
		on_rejudge(s, record);
	} else if (strcmp(kind, "job") == 0) {
		on_job(s, now, record, fresh);
		ask = SCENE_ASK_STATUS | SCENE_ASK_SHEET;
		if (words_member_is(record, "state", "started") ||
		    words_member_is(record, "state", "closed"))
			ask |= SCENE_ASK_ENTRIES;
	} else if (strcmp(kind, "position") == 0 || strcmp(kind, "sheet") == 0 ||
	           strcmp(kind, "fit") == 0) {
		ask = SCENE_ASK_STATUS | SCENE_ASK_SHEET | SCENE_ASK_ENTRIES;
	} else if (strcmp(kind, "note") == 0) {
		on_note(s, now, record);
	} else if (strcmp(kind, "meter") == 0) {
		ask = SCENE_ASK_METERS;
	} else if (fresh) {
		scene_backing(s, now, record, kind);
	}
	if (s->up_waits && seq >= s->awaited) {
		s->up_waits = false;
		scene_tell_up(s);
	}
	return ask;
}

/* ---- events ---- */

static unsigned on_up(struct scene *s, struct slice event)
{
	char position[SCENE_NAME];
	bool armed = !words_member_is(event, "armed", "no");
	scene_member(event, "position", position);
	if (strcmp(position, s->position) != 0) {
		s->twin[0] = s->tolerance[0] = s->before[0] = '\0';
		s->held.is = false;
		touch_notes_end(s); /* they were about the part that was up */
	}
	snprintf(s->position, sizeof s->position, "%s", position);
	scene_member(event, "quantity", s->quantity);
	scene_member(event, "kind", s->chosen_kind);
	scene_member(event, "nominal", s->nominal);
	scene_member(event, "role", s->role);
	scene_member(event, "meters", s->have);
	s->limits_known = false; /* of what was up: status says them */
	s->armed = armed;
	s->refused.is = s->logged.is = s->all_done = false;
	s->up = 0;
	json_int(json_member(event.at, event.len, "up"), &s->up);
	/* A daemon that numbers what is up arms it when its name was said: it is told at
	 * once, and once.  Another one is told of when it is armed. */
	bool tell = s->up ? s->up != s->up_told : armed;
	if (tell && s->awaited > s->last)
		s->up_waits = true;
	else if (tell)
		scene_tell_up(s);
	return SCENE_ASK_STATUS;
}

static void on_held(struct scene *s, int64_t now, struct slice event, bool doubt)
{
	char text[SCENE_TEXT];
	s->held.is = true;
	s->held.doubt = doubt;
	scene_member(event, "position", s->held.position);
	scene_member(event, "looks", s->held.looks);
	scene_member(event, "meter", s->held.meter);
	scene_member(event, "shown", s->held.shown);
	struct happening_told told = {
		.what = doubt ? HAPPENED_DOUBT : HAPPENED_HELD, .position = s->held.position,
		.shown = s->held.shown, .looks = s->held.looks, .meter = s->held.meter,
		.next = doubt ? "take it, or touch again" : "take logs it here, other there, again neither",
	};
	if (doubt)
		snprintf(text, sizeof text, "%.60s at %.40s could be floating leads: take it, or touch "
		         "again", s->held.shown, s->held.position);
	else
		snprintf(text, sizeof text, "%.60s looks like %.40s, not %.40s: take logs it here, other "
		         "there", s->held.shown, s->held.looks, s->held.position);
	scene_note_add(s, now, SCENE_WARNING, json_member(event.at, event.len, "t"), text);
	note_of_touch(s);
	scene_tell(s, &told);
}

/* Refused, or not logged: why stands in the event. */
static void on_refusal(struct scene *s, int64_t now, struct slice event, bool unlogged)
{
	char position[SCENE_NAME], meter[SCENE_NAME], why[SCENE_TEXT], text[SCENE_TEXT];
	scene_member(event, "position", position);
	scene_member(event, "meter", meter);
	scene_member(event, "why", why);
	s->not_logged = s->not_logged || unlogged;
	s->refused.is = !unlogged;
	s->refused.at = now;
	/* Also the end of what was asked of a meter: it is not asked again by itself. */
	if (s->errand.is && !position[0] && strcmp(s->errand.meter, meter) == 0)
		s->errand.is = false;
	snprintf(text, sizeof text, "%s%s%.40s: %.*s", unlogged ? "NOT LOGGED" : "refused",
	         position[0] ? " at " : "", position, (int)words_cut(why, strlen(why), 130), why);
	scene_note_add(s, now, unlogged ? SCENE_BAD : SCENE_WARNING,
	               json_member(event.at, event.len, "t"), text);
	if (unlogged)
		scene_note_told(s);
	else
		note_of_touch(s);
	scene_tell(s, &(struct happening_told){
		.what = unlogged ? HAPPENED_NOT_LOGGED : HAPPENED_REFUSED, .position = position,
		.meter = meter, .why = why});
}

static void on_moving(struct scene *s, int64_t now, struct slice event)
{
	char position[SCENE_NAME], name[SCENE_NAME], text[SCENE_TEXT];
	struct scene_meter *m = meter_of(s, event);
	scene_member(event, "position", position);
	scene_member(event, "meter", name);
	if (m)
		m->moving = true;
	snprintf(text, sizeof text, "%.40s keeps moving at %.40s: wait, or take it as it stands", name,
	         position);
	scene_note_add(s, now, SCENE_WARNING, json_member(event.at, event.len, "t"), text);
	note_of_touch(s);
	scene_tell(s, &(struct happening_told){.what = HAPPENED_MOVING, .position = position,
	                                       .meter = name, .next = "wait, or take it"});
}

/* Two meters at one part, and two answers: it has to be known while the probes are there. */
static void on_disagree(struct scene *s, int64_t now, struct slice event)
{
	char position[SCENE_NAME], quantity[SCENE_NAME], name[SCENE_NAME], other[SCENE_NAME];
	char text[SCENE_TEXT];
	scene_member(event, "position", position);
	scene_member(event, "quantity", quantity);
	scene_member(event, "meter", name);
	scene_member(event, "other", other);
	scene_member(event, "text", text);
	scene_note_add(s, now, SCENE_WARNING, json_member(event.at, event.len, "t"), text);
	scene_note_told(s);
	scene_tell(s, &(struct happening_told){.what = HAPPENED_DISAGREE, .position = position,
	                                       .quantity = quantity, .meter = name, .other = other,
	                                       .why = text});
}

static void on_line(struct scene *s, int64_t now, struct slice event, bool gone)
{
	char name[SCENE_NAME], why[SCENE_TEXT], text[SCENE_TEXT];
	struct scene_meter *m = meter_of(s, event);
	scene_member(event, "meter", name);
	scene_member(event, "why", why);
	if (m && gone) {
		m->shown[0] = '\0';
		m->touching = m->moving = false;
		snprintf(m->state, sizeof m->state, "absent");
	}
	snprintf(text, sizeof text, "meter %.40s is %s%s%.*s", name, gone ? "gone" : "back",
	         why[0] ? ": " : "", (int)words_cut(why, strlen(why), 120), why);
	scene_note_add(s, now, gone ? SCENE_BAD : SCENE_GOOD, json_member(event.at, event.len, "t"),
	               text);
	scene_note_told(s);
	scene_tell(s, &(struct happening_told){.what = gone ? HAPPENED_GONE : HAPPENED_BACK,
	                                       .meter = name, .why = why});
}

/* Reach, condition, walk: the member has the event's name. */
static void on_setting(struct scene *s, int64_t now, struct slice event, const char *name)
{
	char word[16];
	char *where = name[0] == 'r' ? s->reach : name[0] == 'c' ? s->condition : s->walk;
	scene_member(event, name, word);
	if (strcmp(where, word) == 0)
		return;
	snprintf(where, sizeof s->reach, "%s", word);
	scene_say(s, now, SCENE_SAID, "%s %s", name, word);
}

unsigned scene_event(struct scene *s, int64_t now, struct slice params)
{
	char event[24], text[SCENE_TEXT];
	scene_member(params, "event", event);
	if (strcmp(event, "up") == 0)
		return on_up(s, params);
	if (strcmp(event, "armed") == 0) {
		s->armed = !words_member_is(params, "armed", "no");
		return 0;
	}
	if (strcmp(event, "logged") == 0) {
		json_int(json_member(params.at, params.len, "seq"), &s->awaited);
		return 0;
	}
	if (strcmp(event, "offset") == 0 || strcmp(event, "check") == 0) {
		s->errand.is = false; /* its record says the rest */
		return SCENE_ASK_METERS;
	}
	if (strcmp(event, "held") == 0 || strcmp(event, "doubt") == 0)
		on_held(s, now, params, event[0] == 'd');
	else if (strcmp(event, "refused") == 0 || strcmp(event, "not-logged") == 0)
		on_refusal(s, now, params, event[0] == 'n');
	else if (strcmp(event, "moving") == 0)
		on_moving(s, now, params);
	else if (strcmp(event, "disagree") == 0)
		on_disagree(s, now, params);
	else if (strcmp(event, "gone") == 0 || strcmp(event, "back") == 0) {
		on_line(s, now, params, event[0] == 'g');
		return SCENE_ASK_METERS;
	} else if (strcmp(event, "reloaded") == 0) {
		return SCENE_ASK_METERS | SCENE_ASK_STATUS; /* others, perhaps */
	} else if (scene_other_event(s, now, params, event)) {
		return SCENE_ASK_STATUS;
	} else if (strcmp(event, "reach") == 0 || strcmp(event, "condition") == 0 ||
	           strcmp(event, "walk") == 0) {
		on_setting(s, now, params, event);
	} else {
		/* Another one, perhaps of a later daemon: its sentence, where it has one. */
		scene_member(params, "text", text);
		if (strcmp(event, "other") == 0)
			scene_member(params, "meters", s->have);
		s->all_done = s->all_done || strcmp(event, "done") == 0;
		if (text[0])
			scene_note_add(s, now, SCENE_SAID, json_member(params.at, params.len, "t"), text);
		/* Over as soon as the other meter has measured it. */
		if (text[0] && strcmp(event, "other") == 0)
			newest_note(s)->touch = true;
	}
	return SCENE_ASK_STATUS;
}
