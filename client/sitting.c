/* SPDX-License-Identifier: MIT */
/* The connection of a sitting: what is asked, and what becomes of it.  See sitting.h. */
#include "client/sitting_inside.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Several records come together (a sheet that is loaded): asked once. */
#define ASK_MS 60
#define REMIND_MS 1000

int64_t sitting_now(const struct sitting *s)
{
	return (int64_t)uv_now(s->loop);
}

/* What happened is told, then shown. */
void sitting_changed(struct sitting *s)
{
	const struct happening_told *told;
	while ((told = scene_happening(s->scene)))
		happening_tell(&s->listeners, told);
	if (s->changed)
		s->changed(s->arg);
}

/* ---- asking how things stand ---- */

static void on_ask(uv_timer_t *timer);

void sitting_ask(struct sitting *s, unsigned what)
{
	s->asked |= what;
	if (s->asked && !uv_is_active((uv_handle_t *)&s->ask_timer))
		uv_timer_start(&s->ask_timer, on_ask, ASK_MS, 0);
}

static void complain(struct sitting *s, int code, const char *why)
{
	if (code != FOLLOW_LOST)
		scene_say(s->scene, sitting_now(s), SCENE_BAD, "%s", why);
	sitting_changed(s);
}

static void got_before(void *arg, int code, struct slice result, const char *why)
{
	struct sitting *s = arg;
	(void)why;
	if (code == 0)
		scene_last_time(s->scene, result);
	sitting_changed(s);
}

/* The unit was here before: what did it read then? */
static void ask_before(struct sitting *s)
{
	char params[SCENE_NAME + 32];
	if (!s->scene->again[0] || !s->scene->position[0])
		return;
	snprintf(params, sizeof params, "{\"position\":\"%s\"}", s->scene->position);
	follow_call(s->follow, "beside", params, got_before, s);
}

static void got_status(void *arg, int code, struct slice result, const char *why)
{
	struct sitting *s = arg;
	s->on_the_way &= ~SCENE_ASK_STATUS;
	if (code == 0)
		scene_status(s->scene, sitting_now(s), result);
	if (code == 0)
		ask_before(s);
	else
		complain(s, code, why);
	sitting_changed(s);
}

static void got_meters(void *arg, int code, struct slice result, const char *why)
{
	struct sitting *s = arg;
	s->on_the_way &= ~SCENE_ASK_METERS;
	if (code == 0)
		scene_meters(s->scene, sitting_now(s), result);
	else
		complain(s, code, why);
	sitting_changed(s);
}

/* The page behind this one, where there is one. */
static bool next_page(struct sitting *s, const char *method, struct slice result,
                      follow_answer *answer)
{
	int64_t next = 0;
	char params[64];
	if (!json_bool(json_member(result.at, result.len, "more"), false) ||
	    !json_int(json_member(result.at, result.len, "next"), &next) || next <= 0)
		return false;
	snprintf(params, sizeof params, "{\"after\":%lld}", (long long)next);
	return follow_call(s->follow, method, params, answer, s);
}

static void got_sheet_page(void *arg, int code, struct slice result, const char *why)
{
	struct sitting *s = arg;
	if (code == 0) {
		scene_sheet(s->scene, result);
		if (next_page(s, "sheet.show", result, got_sheet_page))
			return;
	}
	s->on_the_way &= ~SCENE_ASK_SHEET;
	/* No sheet yet is no fault. */
	if (code != 0 && code != 5)
		complain(s, code, why);
	sitting_changed(s);
}

static void got_sheet(void *arg, int code, struct slice result, const char *why)
{
	struct sitting *s = arg;
	if (code == 0)
		scene_sheet_begin(s->scene);
	got_sheet_page(arg, code, result, why);
}

static void got_entries_page(void *arg, int code, struct slice result, const char *why)
{
	struct sitting *s = arg;
	if (code == 0) {
		scene_entries(s->scene, result);
		if (next_page(s, "entries", result, got_entries_page))
			return;
	}
	s->on_the_way &= ~SCENE_ASK_ENTRIES;
	if (code != 0 && code != 5)
		complain(s, code, why);
	sitting_changed(s);
}

static void got_entries(void *arg, int code, struct slice result, const char *why)
{
	struct sitting *s = arg;
	if (code == 0)
		scene_entries_begin(s->scene);
	got_entries_page(arg, code, result, why);
}

static void on_ask(uv_timer_t *timer)
{
	struct sitting *s = timer->data;
	/* The sheet before the entries, which are put into it. */
	static const struct { unsigned bit; const char *method; follow_answer *answer; } table[] = {
		{SCENE_ASK_SHEET, "sheet.show", got_sheet}, {SCENE_ASK_ENTRIES, "entries", got_entries},
		{SCENE_ASK_METERS, "meters", got_meters},    {SCENE_ASK_STATUS, "status", got_status},
	};
	for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
		unsigned bit = table[i].bit;
		/* What is on its way may have been asked too early: once more, later. */
		if (!(s->asked & bit) || (s->on_the_way & bit))
			continue;
		s->asked &= ~bit;
		if (follow_call(s->follow, table[i].method, NULL, table[i].answer, s))
			s->on_the_way |= bit;
	}
	if (s->asked && s->scene->connected)
		uv_timer_start(&s->ask_timer, on_ask, ASK_MS, 0);
}

/* ---- the connection ---- */

static void got_watch(void *arg, int code, struct slice result, const char *why)
{
	struct sitting *s = arg;
	(void)result;
	if (code == 0 || code == FOLLOW_LOST)
		return;
	complain(s, code, why);
	follow_call(s->follow, "watch", "{\"live\":true}", NULL, s);
}

static void on_connected(void *arg, struct slice hello)
{
	struct sitting *s = arg;
	char params[80];
	scene_connected(s->scene, sitting_now(s), hello);
	s->on_the_way = 0;
	s->asked = SCENE_ASK_STATUS | SCENE_ASK_METERS | SCENE_ASK_SHEET | SCENE_ASK_ENTRIES;
	on_ask(&s->ask_timer);
	snprintf(params, sizeof params, "{\"after\":%lld,\"live\":true}", (long long)s->scene->last);
	follow_call(s->follow, "watch", params, got_watch, s);
	if (s->speaks)
		sitting_speaks(s, true);
	sitting_changed(s);
}

void sitting_speaks(struct sitting *s, bool speaks)
{
	s->speaks = speaks;
	follow_call(s->follow, "speaks", speaks ? "{\"speaks\":true}" : "{\"speaks\":false}", NULL, s);
}

void sitting_announced(struct sitting *s, int64_t up)
{
	char params[64];
	/* It had been too late once, and the daemon waits for us no more. */
	if (s->mute_said) {
		s->mute_said = false;
		sitting_speaks(s, s->speaks);
	}
	snprintf(params, sizeof params, up ? "{\"up\":%lld}" : "{}", (long long)up);
	follow_call(s->follow, "announced", params, NULL, s);
}

static void on_away(void *arg, const char *why)
{
	struct sitting *s = arg;
	s->on_the_way = s->asked = 0;
	scene_away(s->scene, sitting_now(s), why);
	sitting_changed(s);
}

static bool is(struct slice s, const char *word)
{
	return s.len == strlen(word) && memcmp(s.at, word, s.len) == 0;
}

static void on_news(void *arg, struct slice method, struct slice params)
{
	struct sitting *s = arg;
	unsigned ask = 0;
	if (!params.at)
		return;
	if (is(method, "record"))
		ask = scene_record(s->scene, sitting_now(s), params);
	else if (is(method, "event")) {
		ask = scene_event(s->scene, sitting_now(s), params);
		s->mute_said = s->mute_said || words_member_is(params, "event", "mute");
	}
	else if (is(method, "live"))
		scene_live(s->scene, sitting_now(s), params);
	sitting_ask(s, ask);
	sitting_changed(s);
}

/* Danger goes on: it is told again. */
static void on_remind(uv_timer_t *timer)
{
	struct sitting *s = timer->data;
	bool danger = scene_alarm(s->scene) != NULL;
	scene_remind(s->scene, sitting_now(s));
	if (danger)
		sitting_changed(s);
}

bool sitting_begin(struct sitting *s, const char *socket, const struct style *style)
{
	struct scene_position *sheet = calloc(SCENE_POSITIONS_MAX, sizeof *sheet);
	struct follow_hooks hooks = {on_connected, on_away, on_news, s};
	s->scene = calloc(1, sizeof *s->scene);
	if (!s->scene || !sheet) {
		free(sheet);
		free(s->scene);
		s->scene = NULL;
		return false;
	}
	scene_begin(s->scene, sheet, style);
	uv_timer_init(s->loop, &s->ask_timer);
	uv_timer_init(s->loop, &s->remind_timer);
	s->ask_timer.data = s->remind_timer.data = s;
	uv_timer_start(&s->remind_timer, on_remind, REMIND_MS, REMIND_MS);
	s->follow = follow_open(s->loop, socket, &hooks);
	return s->follow != NULL;
}

void sitting_end(struct sitting *s)
{
	if (s->follow)
		follow_close(s->follow);
	s->follow = NULL;
	sitting_photo_end(s);
	sitting_again_end(s);
	if (s->scene)
		uv_close((uv_handle_t *)&s->ask_timer, NULL);
	if (s->scene)
		uv_close((uv_handle_t *)&s->remind_timer, NULL);
}

void sitting_free(struct sitting *s)
{
	if (s->scene)
		free(s->scene->sheet);
	free(s->scene);
	s->scene = NULL;
	lines_free(&s->notes);
}
