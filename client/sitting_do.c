/* SPDX-License-Identifier: MIT */
/* What the person does, as calls: see sitting.h. */
#include "client/sitting_inside.h"

#include "protocol/record/wire.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

void sitting_answered(void *arg, int code, struct slice result, const char *why)
{
	struct sitting *s = arg;
	(void)result;
	if (code != 0)
		scene_refusal(s->scene, sitting_now(s), code, why);
	sitting_ask(s, SCENE_ASK_STATUS);
	sitting_changed(s);
}

static void walk(struct sitting *s, const char *mode, const char *order);

/* A daemon that knows no `walk lift` yet: the next word of the row. */
static void walk_answered(void *arg, int code, struct slice result, const char *why)
{
	struct sitting *s = arg;
	if (code != 0 && code != FOLLOW_LOST && s->walk_tries_lift) {
		s->walk_tries_lift = false;
		walk(s, "off", s->scene->order);
		return;
	}
	s->walk_tries_lift = false;
	sitting_answered(arg, code, result, why);
}

/* Call with pairs of member and text, NULL at the end; a NULL text is left out. */
static void call(struct sitting *s, const char *method, follow_answer *answer,
                 const char *const *pairs)
{
	char buffer[4 * KEYS_TEXT_MAX];
	struct text t;
	text_begin(&t, buffer, sizeof buffer);
	text_puts(&t, "{");
	bool first = true;
	for (int i = 0; pairs && pairs[i]; i += 2) {
		if (!pairs[i + 1])
			continue;
		text_printf(&t, "%s\"%s\":", first ? "" : ",", pairs[i]);
		text_string(&t, pairs[i + 1], strlen(pairs[i + 1]));
		first = false;
	}
	text_puts(&t, "}");
	if (!t.failed && follow_call(s->follow, method, t.bytes, answer, s))
		return;
	scene_refusal(s->scene, sitting_now(s), 0, s->scene->connected
	              ? "too much is asked at once: not done" : "there is no daemon: not done");
	sitting_answered(s, 0, (struct slice){NULL, 0}, "");
}

#define CALL(s, method, ...) \
	call(s, method, sitting_answered, (const char *const[]){__VA_ARGS__, NULL})

void sitting_refuse(struct sitting *s, const char *why)
{
	scene_refusal(s->scene, sitting_now(s), 0, why);
	sitting_answered(s, 0, (struct slice){NULL, 0}, "");
}

/* The word behind `now` in a row of words; the first where it is none of them. */
static const char *word_after(const char *const *row, int count, const char *now)
{
	for (int i = 0; i < count; i++)
		if (strcmp(row[i], now) == 0)
			return row[(i + 1) % count];
	return row[0];
}

static void go(struct sitting *s, int place)
{
	if (place < 0)
		sitting_refuse(s, "there is no sheet to go through: type the name of a position");
	else
		CALL(s, "at", "position", s->scene->sheet[place].name);
}

static void again(struct sitting *s)
{
	if (s->scene->position[0])
		CALL(s, "at", "position", s->scene->position, "quantity", s->scene->quantity);
	else
		sitting_refuse(s, "no position is up: choose one first");
}

static void other(struct sitting *s)
{
	if (s->scene->held.is && s->scene->held.looks[0])
		CALL(s, "at", "position", s->scene->held.looks);
	else
		sitting_refuse(s, "nothing is held that looks like another part");
}

/* The daemon knows best what is next, before, again and there: it skips, and goes back the
 * way that was gone.  One that does not know these words yet is told a position. */
#define WORD_ANSWERED(name, instead)                                                           \
	static void name##_answered(void *arg, int code, struct slice result, const char *why)      \
	{                                                                                          \
		struct sitting *s = arg;                                                               \
		if (code == WIRE_NO_METHOD)                                                            \
			instead;                                                                           \
		else                                                                                   \
			sitting_answered(arg, code, result, why);                                                  \
	}
WORD_ANSWERED(next, go(s, scene_next(s->scene)))
WORD_ANSWERED(back, go(s, scene_before(s->scene)))
WORD_ANSWERED(again, again(s))
WORD_ANSWERED(there, other(s))

static void swapped_answered(void *arg, int code, struct slice result, const char *why)
{
	struct sitting *s = arg;
	if (code == 0)
		scene_say(s->scene, sitting_now(s), SCENE_SAID,
		          "%s once more, with the leads changed over: touch it", s->scene->position);
	sitting_answered(arg, code, result, why);
}

/* Could it be taken for what is up? */
static bool suits(const struct sitting *s, const struct scene_meter *m)
{
	return !m->bound[0] && scene_stands(s->scene, m, sitting_now(s)) &&
	       strcmp(m->function, s->scene->function) == 0;
}

/* `meter`: that the person named, "" for none. */
static void take(struct sitting *s, const char *meter)
{
	const struct scene *scene = s->scene;
	int touching = 0, fit = 0;
	for (int i = 0; i < scene->meters; i++) {
		touching += scene->meter[i].touching;
		fit += suits(s, &scene->meter[i]);
	}
	const struct scene_meter *front = scene_front(scene);
	/* Where the daemon could not know which is meant, several touch, or a part reads open and so
	 * do the leads of several: the one whose value is seen, which touched last. */
	bool seen = front && (touching > 1 || (touching == 0 && fit > 1 && suits(s, front)));
	/* What waits for a word goes first.  A run that waits for the hand goes before what is seen:
	 * its meters touch all the time. */
	if (!meter[0] && scene->held.is)
		meter = scene->held.meter;
	if (meter[0])
		CALL(s, "take", "meter", meter);
	else
		CALL(s, "take", "seen", seen ? front->name : NULL);
}

/* Order and meters are said each time: a walk that is set without them loses them. */
static void walk_as(struct sitting *s, const char *mode, const char *order, int meters)
{
	char params[200];
	struct text t;
	text_begin(&t, params, sizeof params);
	text_puts(&t, "{\"walk\":");
	text_string(&t, mode, strlen(mode));
	if (order[0])
		text_member_string(&t, "order", order);
	if (meters > 1)
		text_member_int(&t, "meters", meters);
	text_puts(&t, "}");
	if (t.failed || !follow_call(s->follow, "walk", t.bytes, walk_answered, s))
		sitting_refuse(s, "there is no daemon: not done");
}

static void walk(struct sitting *s, const char *mode, const char *order)
{
	walk_as(s, mode, order, s->scene->walk_meters);
}

/* The key goes through one, two and three meters a position, for the cross-check; more, or a
 * number at once, by the word of --plain. */
static void walk_meters(struct sitting *s, const char *text)
{
	enum { BY_KEY = 3 };
	const struct scene *scene = s->scene;
	char *end;
	long n = strtol(text, &end, 10);
	if (!text[0])
		n = scene->walk_meters % BY_KEY + 1;
	else if (*end || n < 1 || n > INT16_MAX) {
		sitting_refuse(s, "so many meters, one after the other, at each position: 1 to 8");
		return;
	}
	scene_say(s->scene, sitting_now(s), SCENE_SAID, n == 1 ? "one meter at each position"
	          : "%ld meters, one after the other, at each position", n);
	walk_as(s, scene->walk[0] ? scene->walk : "off", scene->order, (int)n);
}

static void walk_mode(struct sitting *s, const char *text)
{
	static const char *const row[] = {"off", "on", "lift"};
	const char *word = text[0] ? text : word_after(row, 3, s->scene->walk);
	s->walk_tries_lift = !text[0] && strcmp(word, "lift") == 0;
	if (strncmp(text, "new ", 4) == 0) {
		CALL(s, "walk", "walk", "new", "prefix", text + 4 + strspn(text + 4, " "));
		return;
	}
	walk(s, word, s->scene->order);
}

static void walk_order(struct sitting *s, const char *text)
{
	static const char *const row[] = {"sheet", "kind", "channel"};
	walk(s, s->scene->walk[0] ? s->scene->walk : "off",
	     text[0] ? text : word_after(row, 3, s->scene->order));
}

static void say_status(struct sitting *s)
{
	const struct scene *c = s->scene;
	scene_say(s->scene, sitting_now(s), SCENE_SAID, "%s, %s, %s, %s, walk %s, %d of %d measured, "
	          "log %s", c->job[0] ? c->job : "no job", c->live ? "LIVE" : "cold", c->condition,
	          c->reach, c->walk, c->done, c->positions, c->health);
	sitting_answered(s, 0, (struct slice){NULL, 0}, "");
}

void sitting_do(struct sitting *s, const struct deed *deed)
{
	static const char *const reaches[] = {"in-circuit", "lifted", "loose"};
	static const char *const conditions[] = {"found", "new", "done"};
	static const char *const quantities[] = {"value", "leakage", "esr", "dissipation",
	                                         "insulation", "volts"};
	struct scene *scene = s->scene;
	const char *text = deed->text, *up = scene->position;
	switch (deed->action) {
	case ACTION_TAKE:
		take(s, text);
		return;
	case ACTION_UNDO:
		call(s, "undo", sitting_answered, NULL);
		return;
	case ACTION_NEXT:
		call(s, "next", next_answered, NULL);
		return;
	case ACTION_BACK:
		call(s, "back", back_answered, NULL);
		return;
	case ACTION_SAY:
		scene_say_again(scene);
		sitting_answered(s, 0, (struct slice){NULL, 0}, "");
		return;
	case ACTION_OTHER:
		call(s, "there", there_answered, NULL);
		return;
	case ACTION_AGAIN:
		call(s, "again", again_answered, NULL);
		return;
	case ACTION_SWAPPED:
		if (!follow_call(s->follow, "again", "{\"swapped\":true}", swapped_answered, s))
			sitting_refuse(s, "there is no daemon: not done");
		return;
	case ACTION_RISE:
		sitting_ready(s);
		return;
	case ACTION_NOTES:
		sitting_notes(s);
		return;
	case ACTION_TWINS:
		sitting_twins(s);
		return;
	case ACTION_AT:
	case ACTION_NOTE:
	case ACTION_PHOTO:
	case ACTION_LINE:
	case ACTION_FITTED:
	case ACTION_ENTER:
	case ACTION_MOVE:
	case ACTION_STRIKE:
	case ACTION_OFFSET:
	case ACTION_CHECK:
	case ACTION_BIND:
		sitting_typed(s, deed);
		return;
	case ACTION_REACH:
		CALL(s, "reach", "reach", text[0] ? text : word_after(reaches, 3, scene->reach));
		return;
	case ACTION_CONDITION:
		CALL(s, "condition", "condition",
		     text[0] ? text : word_after(conditions, 3, scene->condition));
		return;
	case ACTION_WALK:
		walk_mode(s, text);
		return;
	case ACTION_ORDER:
		walk_order(s, text);
		return;
	case ACTION_METERS:
		walk_meters(s, text);
		return;
	case ACTION_QUANTITY:
		if (!up[0])
			sitting_refuse(s, "no position is up: choose one first");
		else
			CALL(s, "at", "position", up, "quantity",
			     text[0] ? text : word_after(quantities, 6, scene->quantity));
		return;
	case ACTION_GO:
		CALL(s, "guide.go", "name", text[0] ? text : NULL);
		return;
	case ACTION_GO_BACK:
		CALL(s, "guide.back", "name", text[0] ? text : NULL);
		return;
	case ACTION_LEAVE:
		CALL(s, "guide.leave", "name", text[0] ? text : NULL);
		return;
	case ACTION_LIVE:
		CALL(s, "job.state", "state", "live");
		return;
	case ACTION_COLD:
		CALL(s, "job.state", "state", "cold");
		return;
	case ACTION_STATUS:
		say_status(s);
		return;
	case ACTION_QUIT:
		if (s->quit)
			s->quit(s->arg);
		return;
	case ACTION_MUTE: /* senses.h */
	case ACTION_LOUDER:
	case ACTION_QUIETER:
	case ACTION_SOUNDS:
	case ACTION_SHEET:
	case ACTION_HELP: /* it stands on the screen; --plain prints it */
	case ACTION_NONE:
	case ACTION_COUNT:
		return;
	}
}
