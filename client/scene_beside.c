/* SPDX-License-Identifier: MIT */
/* What stands beside the touch: danger, what meters were asked for, limits and twin of
 * what is up.  See scene.h. */
#include "client/scene.h"
#include "client/view.h"

#include <stdio.h>
#include <string.h>

void scene_copy(char *out, size_t size, const char *text)
{
	size_t n = words_cut(text, strlen(text), size - 1);
	memmove(out, text, n);
	out[n] = '\0';
}

/* ---- danger ---- */

static const struct {
	const char *word;
	enum scene_danger danger;
} dangers[] = {
	{"live", SCENE_DANGER_LIVE}, {"mains", SCENE_DANGER_MAINS}, {"held", SCENE_DANGER_HELD},
};

void scene_alarm_read(struct slice object, struct scene_alarm *out)
{
	*out = (struct scene_alarm){.danger = SCENE_DANGER_OTHER};
	scene_member(object, "alarm", out->word);
	scene_member(object, "meter", out->meter);
	scene_member(object, "text", out->text);
	for (size_t i = 0; i < sizeof dangers / sizeof dangers[0]; i++)
		if (strcmp(out->word, dangers[i].word) == 0)
			out->danger = dangers[i].danger;
}

static int alarm_find(const struct scene *s, const struct scene_alarm *alarm)
{
	for (int i = 0; i < s->alarms; i++)
		if (strcmp(s->alarm[i].word, alarm->word) == 0 &&
		    strcmp(s->alarm[i].meter, alarm->meter) == 0)
			return i;
	return -1;
}

bool scene_alarm_set(struct scene *s, const struct scene_alarm *alarm, bool on)
{
	int at = alarm_find(s, alarm);
	if (!on) {
		if (at < 0)
			return false;
		memmove(&s->alarm[at], &s->alarm[at + 1],
		        (size_t)(--s->alarms - at) * sizeof s->alarm[0]);
		return true;
	}
	if (at >= 0) {
		s->alarm[at] = *alarm;
		return false;
	}
	if (s->alarms < SCENE_ALARMS_MAX) { /* beyond: the others stand over everything already */
		s->alarm[s->alarms++] = *alarm;
	} else {
		int least = 0;
		for (int i = 1; i < s->alarms; i++)
			if (s->alarm[i].danger < s->alarm[least].danger)
				least = i;
		if (s->alarm[least].danger < alarm->danger)
			s->alarm[least] = *alarm;
	}
	return true;
}

const struct scene_alarm *scene_alarm(const struct scene *s)
{
	const struct scene_alarm *worst = NULL;
	for (int i = 0; i < s->alarms; i++)
		if (!worst || s->alarm[i].danger > worst->danger)
			worst = &s->alarm[i];
	return worst;
}

static void on_alarm(struct scene *s, int64_t now, struct slice event)
{
	struct scene_alarm alarm;
	struct slice on = json_member(event.at, event.len, "on");
	bool goes_on = json_bool(on, true) && !words_member_is(event, "on", "no") &&
	               !words_member_is(event, "on", "false");
	struct slice time = json_member(event.at, event.len, "t");
	scene_alarm_read(event, &alarm);
	if (!scene_alarm_set(s, &alarm, goes_on))
		return;
	if (!goes_on) {
		char text[SCENE_TEXT];
		snprintf(text, sizeof text, "over: %.*s", (int)words_cut(alarm.text, strlen(alarm.text), 190),
		         alarm.text[0] ? alarm.text : alarm.word);
		scene_note_add(s, now, SCENE_GOOD, time, text);
		return;
	}
	scene_note_add(s, now, SCENE_BAD, time, alarm.text[0] ? alarm.text : alarm.word);
	scene_note_told(s);
	s->alarm_told = now;
	scene_tell(s, &(struct happening_told){.what = HAPPENED_ALARM, .meter = alarm.meter,
	                                       .alarm = alarm.word, .why = alarm.text});
}

/* ---- guided runs ---- */

static void guide_stands(struct scene *s, const char *kind, const char *of, const char *text)
{
	s->guide.weight = SCENE_WARNING; /* two lines, where one is too short */
	snprintf(s->guide.text, sizeof s->guide.text, "%.20s %.40s: %.*s", kind, of,
	         (int)words_cut(text, strlen(text), sizeof s->guide.text - 70), text);
}

void scene_guides_read(struct scene *s, struct slice guides)
{
	struct slice one;
	size_t cursor = 0;
	char kind[32], of[SCENE_NAME], text[SCENE_TEXT];
	s->guide.text[0] = s->guide_meter[0] = '\0';
	while (json_next(guides, &cursor, &one)) {
		scene_member(one, "takes", text);
		if (text[0])
			scene_copy(s->guide_meter, sizeof s->guide_meter, text);
		scene_member(one, "guide", kind);
		scene_member(one, "of", of);
		scene_member(one, "text", text);
		guide_stands(s, kind, of, text);
	}
}

static void on_guide(struct scene *s, int64_t now, struct slice event)
{
	char kind[32], of[SCENE_NAME], text[SCENE_TEXT], step[32], key[72], line[SCENE_TEXT];
	char shown[64], verdict[16], why[SCENE_TEXT], at[SCENE_NAME], limit[32];
	scene_member(event, "guide", kind);
	scene_member(event, "at", at);
	scene_member(event, "of", of);
	scene_member(event, "text", text);
	scene_member(event, "step", step);
	scene_member(event, "shown", shown);
	scene_member(event, "verdict", verdict);
	scene_member(event, "limit", limit);
	scene_member(event, "why", why);
	bool next = words_member_is(event, "state", "step"), said = words_member_is(event, "state", "said");
	snprintf(key, sizeof key, "%s.%s", kind, step);
	if (next) {
		guide_stands(s, kind, of, text);
		s->guide.at = now;
	} else if (!said) {
		s->guide.text[0] = '\0';
	}
	if (!next) {
		snprintf(line, sizeof line, "%.20s %.40s: %.*s", kind, of,
		         (int)words_cut(text, strlen(text), sizeof line - 70), text);
		scene_note_add(s, now, said ? SCENE_SAID : SCENE_WARNING, json_member(event.at, event.len, "t"), line);
		scene_note_told(s);
	}
	bool ear = said && words_member_is(event, "ear", "yes");
	scene_tell(s, &(struct happening_told){.what = HAPPENED_GUIDE, .ear = ear, .guide = next ? key : NULL,
	                                       .position = next && at[0] ? at : of[0] ? of : NULL,
	                                       .shown = next && shown[0] ? shown : NULL,
	                                       .verdict = next && verdict[0] ? verdict : NULL,
	                                       .limit = next && limit[0] ? limit : NULL,
	                                       .why = !next ? text : why[0] ? why : NULL});
}

/* ---- what a meter was asked for ---- */

static void on_errand(struct scene *s, int64_t now, struct slice event)
{
	char how[SCENE_TEXT], text[SCENE_TEXT];
	s->errand.is = true;
	scene_member(event, "errand", s->errand.what);
	scene_member(event, "meter", s->errand.meter);
	scene_member(event, "position", s->errand.position);
	scene_member(event, "text", how);
	s->logged.is = s->refused.is = false;
	snprintf(text, sizeof text, "%s waits%s%s: %.*s; again calls it off", s->errand.meter,
	         s->errand.position[0] ? " for " : "", s->errand.position,
	         (int)words_cut(how, strlen(how), 100), how);
	scene_note_add(s, now, SCENE_WARNING, json_member(event.at, event.len, "t"), text);
}

/* Durable: heard as an entry is, for the hands hold the leads together. */
void scene_backing(struct scene *s, int64_t now, struct slice record, const char *kind)
{
	char meter[SCENE_NAME], shown[SCENE_NAME * 2], value[SCENE_NAME * 2], position[SCENE_NAME];
	char text[SCENE_TEXT];
	bool check = strcmp(kind, "check") == 0;
	if (!check && strcmp(kind, "offset") != 0)
		return;
	scene_member(record, "meter", meter);
	scene_member(record, "shown", shown);
	scene_member(record, "position", position);
	words_value(&s->style, shown, value, sizeof value);
	bool agree = !check || json_bool(json_member(record.at, record.len, "agree"), false);
	if (check)
		snprintf(text, sizeof text, "%.40s %s its check against %.40s: it reads %.60s", meter,
		         agree ? "passed" : "FAILED", position, value);
	else
		snprintf(text, sizeof text, "lead offset of %.40s: %.60s, taken off from here on", meter,
		         value);
	s->errand.is = false;
	for (int i = 0; i < s->meters; i++) /* this touch has made what it was for */
		if (strcmp(s->meter[i].name, meter) == 0) {
			s->meter[i].entered = true;
			snprintf(s->meter[i].made, sizeof s->meter[i].made, "%s",
			         !check ? "OFFSET" : agree ? "PASSED" : "FAILED");
			scene_copy(s->meter[i].made_at, sizeof s->meter[i].made_at, position);
		}
	scene_note_add(s, now, agree ? SCENE_GOOD : SCENE_BAD,
	               json_member(record.at, record.len, "t"), text);
	scene_note_told(s);
	scene_tell(s, &(struct happening_told){
		.what = agree ? HAPPENED_LOGGED : HAPPENED_OUTSIDE, .shown = shown, .meter = meter,
		.quantity = check ? "meter check" : "lead offset", .position = check ? position : NULL,
		.why = agree ? NULL : text});
}

void scene_remind(struct scene *s, int64_t now)
{
	const struct scene_alarm *a = scene_alarm(s);
	if (!a || !s->connected || now - s->alarm_told < SCENE_REMIND_MS)
		return;
	s->alarm_told = now;
	scene_tell(s, &(struct happening_told){.what = HAPPENED_ALARM, .meter = a->meter,
	                                       .alarm = a->word, .why = a->text});
}

bool scene_is_for_part(const struct scene *s, const struct scene_meter *m)
{
	return !m->made[0] && !(s->errand.is && strcmp(s->errand.meter, m->name) == 0);
}

/* ---- lines, and other words of the daemon ---- */

static const struct {
	const char *event, *before, *behind;
	enum scene_weight weight;
} said[] = {
	/* event, before the meter, behind it (then `why`, where there is one) */
	{"stale", "meter ", " is silent", SCENE_WARNING},
	{"fresh", "meter ", " reads again", SCENE_GOOD},
	{"trouble", "meter ", " cannot be had", SCENE_BAD},
	{"bound", "meter ", " is bound", SCENE_SAID},
	{"freed", "meter ", " is free: it follows what is up", SCENE_SAID},
};

bool scene_other_event(struct scene *s, int64_t now, struct slice event, const char *name)
{
	char meter[SCENE_NAME], why[SCENE_TEXT], text[SCENE_TEXT];
	struct slice time = json_member(event.at, event.len, "t");
	if (strcmp(name, "alarm") == 0) {
		on_alarm(s, now, event);
		return true;
	}
	if (strcmp(name, "guide") == 0) {
		on_guide(s, now, event);
		return true;
	}
	if (strcmp(name, "errand") == 0) {
		on_errand(s, now, event);
		return true;
	}
	/* Nobody may take these for said in passing. */
	if (strcmp(name, "discharging") == 0 || strcmp(name, "caution") == 0) {
		s->discharging = s->discharging || name[0] == 'd';
		scene_member(event, "text", text);
		scene_note_add(s, now, SCENE_WARNING, time, text);
		return true;
	}
	scene_member(event, "meter", meter);
	scene_member(event, "why", why);
	if (!why[0] && strcmp(name, "bound") == 0) {
		scene_member(event, "position", why);
		memmove(why + 3, why, sizeof why - 3);
		memcpy(why, "to ", 3);
		why[sizeof why - 1] = '\0';
	}
	for (size_t i = 0; i < sizeof said / sizeof said[0]; i++) {
		if (strcmp(said[i].event, name) != 0)
			continue;
		bool to = strncmp(why, "to ", 3) == 0;
		snprintf(text, sizeof text, "%s%.40s%s%s%.*s", said[i].before, meter, said[i].behind,
		         !why[0] ? "" : to ? " " : ": ", (int)words_cut(why, strlen(why), 120), why);
		scene_note_add(s, now, said[i].weight, time, text);
		return true;
	}
	if (strcmp(name, "moved") != 0)
		return false;
	char from[SCENE_NAME], position[SCENE_NAME];
	scene_member(event, "from", from);
	scene_member(event, "position", position);
	snprintf(text, sizeof text, "moved: an entry of %.40s belongs to %.40s", from, position);
	scene_note_add(s, now, SCENE_SAID, time, text);
	return true;
}

/* ---- limits and twin of what is up ---- */

int scene_quantity(const struct scene *s)
{
	enum quantity q;
	return quantity_from_name(s->quantity, strlen(s->quantity), &q) ? (int)q : -1;
}

void scene_last_time(struct scene *s, struct slice result)
{
	struct slice list = json_member(result.at, result.len, "positions"), element;
	char text[WORDS_SIZE * 2];
	s->before[0] = '\0';
	for (size_t cursor = 0; json_next(list, &cursor, &element);) {
		if (!words_member_is(element, "position", s->position) ||
		    !words_member_is(element, "quantity", s->quantity))
			continue;
		view_before(&s->style, element, text, sizeof text);
		scene_copy(s->before, sizeof s->before, text);
	}
}

const char *scene_twin_shown(const struct scene *s, const char **verdict)
{
	int at = s->twin[0] ? scene_place(s, s->twin) : -1, q = scene_quantity(s);
	if (at < 0 || q < 0)
		return "";
	const struct scene_last *last = scene_last(s, &s->sheet[at], (enum quantity)q);
	*verdict = last->verdict;
	return last->shown;
}

/* The sheet's limits are about the quantity that its kind asks first: volts of a rail,
 * the value of all others. */
static bool sheet_quantity(const struct scene *s, const struct scene_position *p)
{
	bool volts = strncmp(p->function, "volt-", 5) == 0;
	return strcmp(s->quantity, "value") == 0 || (volts && strcmp(s->quantity, "volts") == 0);
}

bool scene_limits(const struct scene *s, struct scene_limits *out)
{
	int place = scene_place(s, s->position);
	const struct scene_position *p = place >= 0 ? &s->sheet[place] : NULL;
	bool own = p && sheet_quantity(s, p);
	*out = (struct scene_limits){.has_low = s->limits_known && s->has_low,
	                             .has_high = s->limits_known && s->has_high, .low = s->low,
	                             .high = s->high, .assumed = s->limits_assumed};
	bool known = s->limits_known && s->function[0] && strcmp(s->function, "none") != 0;
	const struct scene_meter *m = scene_front(s);
	/* Where several functions will do, it is that of the meter that is used. */
	scene_copy(out->function, sizeof out->function,
	           known ? s->function : own ? p->function : s->limits_known && m ? m->function : "");
	if (own) {
		enum function f;
		struct fault ignored;
		out->has_nominal = p->has_nominal;
		out->nominal = p->nominal_value;
		/* What is up may be a replacement, with a nominal of its own. */
		if (s->limits_known && quantity_parse(s->nominal, strlen(s->nominal), FUNCTION_NONE,
		                                      &out->nominal, &f, &ignored))
			out->has_nominal = true;
		else
			out->nominal = p->nominal_value;
	}
	if (!s->limits_known && own) {
		out->has_low = p->has_low;
		out->has_high = p->has_high;
		out->low = p->low;
		out->high = p->high;
	}
	return out->has_low || out->has_high;
}

/* ---- before the power ---- */

static void waiting_add(struct scene *s, struct slice list)
{
	struct slice element;
	for (size_t cursor = 0; json_next(list, &cursor, &element);) {
		if (s->waiting_count == SCENE_WAITING_MAX)
			return;
		char *name = s->waiting[s->waiting_count];
		words_member(element, "position", name, SCENE_NAME);
		bool twice = false;
		for (int i = 0; i < s->waiting_count && !twice; i++)
			twice = strcmp(s->waiting[i], name) == 0;
		s->waiting_count += name[0] && !twice;
	}
}

void scene_ready_set(struct scene *s, struct slice result, const char *lines)
{
	s->waiting_count = 0;
	waiting_add(s, json_member(result.at, result.len, "lifted"));
	waiting_add(s, json_member(result.at, result.len, "new"));
	scene_list_set(s, lines, "... and more: tally job ready\n");
}

void scene_list_set(struct scene *s, const char *lines, const char *more)
{
	size_t len = strlen(lines), room = sizeof s->ready - strlen(more) - 1;
	size_t cut = len;
	if (len > room) {
		cut = words_cut(lines, len, room);
		while (cut && lines[cut - 1] != '\n')
			cut--;
	}
	memcpy(s->ready, lines, cut);
	snprintf(s->ready + cut, sizeof s->ready - cut, "%s", cut < len ? more : "");
	s->ready_asked += lines[0] != '\0';
}
