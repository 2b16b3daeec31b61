/* SPDX-License-Identifier: MIT */
/*
 * Deeds that were typed: their words as calls.  See sitting.h and phrase.h.
 *
 * What is refused need not be typed again: its text comes back with its key.
 */
#include "client/sitting_inside.h"

#include "client/phrase.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

/* ---- calls ---- */

static void typed_answered(void *arg, int code, struct slice result, const char *why)
{
	struct sitting *s = arg;
	if (code != 0)
		s->refused = s->typed;
	else if (s->typed.action == ACTION_LINE || s->typed.action == ACTION_FITTED)
		scene_say(s->scene, sitting_now(s), SCENE_GOOD, "done: %s%s",
		          s->typed.action == ACTION_FITTED ? "fitted " : "", s->typed.text);
	s->typed.action = ACTION_NONE;
	sitting_answered(arg, code, result, why);
}

void sitting_not_done(struct sitting *s, const char *why)
{
	s->refused = s->typed;
	s->typed.action = ACTION_NONE;
	sitting_refuse(s, why);
}

void sitting_ask_typed(struct sitting *s, const char *method, const struct text *params)
{
	if (params->failed)
		sitting_not_done(s, "that is too long: not done");
	else if (!follow_call(s->follow, method, params->bytes, typed_answered, s))
		sitting_not_done(s, s->scene->connected ? "too much is asked at once: not done"
		                                : "there is no daemon: not done");
}

/* One more member; none where the text is "". */
static void member(struct text *t, const char *key, const char *value)
{
	if (!value[0])
		return;
	text_printf(t, "%s\"%s\":", t->len > 1 ? "," : "", key);
	text_string(t, value, strlen(value));
}

void sitting_sheet_name(const struct scene *s, char *name, size_t size)
{
	if (scene_place(s, name) >= 0)
		return;
	for (int i = 0; i < s->sheet_count; i++)
		if (strcasecmp(s->sheet[i].name, name) == 0) {
			snprintf(name, size, "%s", s->sheet[i].name);
			return;
		}
}

/* ---- the deeds ---- */

/* "C8", "C8 leakage"; "new" and "new T3/": a position that is not there yet. */
static void choose(struct sitting *s, const char *text, struct text *t)
{
	char name[KEYS_TEXT_MAX];
	size_t n = strcspn(text, " ");
	snprintf(name, sizeof name, "%.*s", (int)n, text);
	if (strcmp(name, "new") == 0 && scene_place(s->scene, name) < 0) {
		member(t, "prefix", text + n + strspn(text + n, " "));
		text_puts(t, "}");
		sitting_ask_typed(s, "at.new", t);
		return;
	}
	sitting_sheet_name(s->scene, name, sizeof name);
	member(t, "position", name);
	member(t, "quantity", text + n + strspn(text + n, " "));
	text_puts(t, "}");
	sitting_ask_typed(s, "at", t);
}

static void note(struct sitting *s, const struct deed *deed, struct text *t)
{
	const char *position = deed->about[0] ? deed->about : s->scene->position, *words = deed->text;
	char name[SCENE_NAME] = "";
	size_t n = strcspn(words, " ");
	/* In --plain a line may begin as the verb does: C7 leaks at one end.  On the screen it
	 * stands beside the line what the note is about. */
	if (!deed->about[0] && words[n] && n < sizeof name) {
		snprintf(name, sizeof name, "%.*s", (int)n, words);
		sitting_sheet_name(s->scene, name, sizeof name);
	}
	if (scene_place(s->scene, name) >= 0) {
		position = name;
		words += n + strspn(words + n, " ");
	}
	if (!position[0]) {
		sitting_not_done(s, "no position is up: choose one first");
		return;
	}
	member(t, "position", position);
	member(t, "text", words);
	text_puts(t, "}");
	sitting_ask_typed(s, "note", t);
}

static void enter(struct sitting *s, struct phrase_enter *p, struct text *t)
{
	sitting_sheet_name(s->scene, p->position, sizeof p->position);
	member(t, "position", p->position);
	member(t, "value", p->value);
	member(t, "from", p->from);
	member(t, "quantity", p->quantity);
	member(t, "u", p->u);
	member(t, "because", p->because);
	text_puts(t, "}");
	snprintf(s->instrument, sizeof s->instrument, "%s", p->from);
	sitting_ask_typed(s, "enter", t);
}

/* `last` is said by the numbers of the entries that were seen then, for another may have
 * come while it was typed. */
static void move(struct sitting *s, const struct deed *deed, struct phrase_move *p, struct text *t)
{
	int64_t seqs[PHRASE_LAST_MAX];
	const char *gap = "";
	sitting_sheet_name(s->scene, p->position, sizeof p->position);
	member(t, "position", p->position);
	text_puts(t, ",\"seqs\":[");
	for (int i = 0; i < p->runs; i++, gap = ",")
		text_printf(t, "%s\"%lld-%lld\"", gap, (long long)p->run[i].from, (long long)p->run[i].to);
	int count = p->last ? phrase_picks(s->scene, ACTION_MOVE, deed->text, deed->seq, seqs) : 0;
	for (int i = 0; i < count; i++, gap = ",")
		text_printf(t, "%s%lld", gap, (long long)seqs[i]);
	text_puts(t, "]}");
	if (!gap[0])
		sitting_not_done(s, "there is no entry to move");
	else
		sitting_ask_typed(s, "move", t);
}

static void strike(struct sitting *s, const struct deed *deed, const struct phrase_strike *p,
                   struct text *t)
{
	int64_t seqs[PHRASE_LAST_MAX], seq = p->seq;
	if (!seq && phrase_picks(s->scene, ACTION_STRIKE, deed->text, deed->seq, seqs))
		seq = seqs[0];
	if (!seq) {
		sitting_not_done(s, "there is no entry to strike");
		return;
	}
	text_printf(t, "\"seq\":%lld", (long long)seq);
	member(t, "because", p->because);
	text_puts(t, "}");
	sitting_ask_typed(s, "strike", t);
}

/* Not waited for: the answer may take half a minute, and other calls would queue. */
static void errand(struct sitting *s, enum action action, struct phrase_names *p, struct text *t)
{
	bool check = action == ACTION_CHECK;
	if (check)
		sitting_sheet_name(s->scene, p->second, sizeof p->second);
	member(t, check ? "meter" : "leads", p->first);
	member(t, check ? "position" : "meter", p->second);
	text_puts(t, ",\"wait\":false}");
	sitting_ask_typed(s, check ? "meters.check" : "offset", t);
}

static void bind_meter(struct sitting *s, struct phrase_names *p, struct text *t)
{
	sitting_sheet_name(s->scene, p->second, sizeof p->second);
	member(t, "meter", p->first);
	member(t, "position", p->second);
	member(t, "quantity", p->third);
	text_puts(t, "}");
	sitting_ask_typed(s, "at", t);
}

void sitting_typed(struct sitting *s, const struct deed *deed)
{
	char buffer[4 * KEYS_TEXT_MAX], why[KEYS_HINT];
	struct text t;
	struct phrase_enter e;
	struct phrase_move m;
	struct phrase_strike k;
	struct phrase_names n;
	text_begin(&t, buffer, sizeof buffer);
	text_puts(&t, "{");
	s->typed = *deed;
	if (!phrase_good(deed->action, deed->text, why, sizeof why)) {
		sitting_not_done(s, why);
	} else if (deed->action == ACTION_AT) {
		choose(s, deed->text, &t);
	} else if (deed->action == ACTION_NOTE) {
		note(s, deed, &t);
	} else if (deed->action == ACTION_LINE) {
		sitting_line(s, deed);
	} else if (deed->action == ACTION_FITTED) {
		sitting_fitted(s, deed);
	} else if (deed->action == ACTION_PHOTO) {
		sitting_photo(s, deed);
	} else if (deed->action == ACTION_ENTER) {
		phrase_enter(deed->text, &e, why, sizeof why);
		enter(s, &e, &t);
	} else if (deed->action == ACTION_MOVE) {
		phrase_move(deed->text, &m, why, sizeof why);
		move(s, deed, &m, &t);
	} else if (deed->action == ACTION_STRIKE) {
		phrase_strike(deed->text, &k, why, sizeof why);
		strike(s, deed, &k, &t);
	} else {
		phrase_names(deed->action, deed->text, &n, why, sizeof why);
		if (deed->action == ACTION_BIND)
			bind_meter(s, &n, &t);
		else
			errand(s, deed->action, &n, &t);
	}
}
