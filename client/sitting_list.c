/* SPDX-License-Identifier: MIT */
/*
 * What is asked for as a list, and stands over the screen (or is printed) once it is answered:
 * the notes of the job, the newest first, and the twins that are proposed.  What stands
 * before the power is the third such list (sitting_line.c).
 */
#include "client/sitting_inside.h"

#include "client/view.h"

#include <stdio.h>
#include <string.h>

/* Notes are answered the oldest first, in pages; more are not waited for. */
#define PAGES_MAX 100

static const char no_notes[] = "no notes yet: t writes one (the word note), @ with a photo\n";

static void shown(struct sitting *s, const char *lines, const char *more)
{
	scene_list_set(s->scene, lines, more);
	sitting_changed(s);
}

static bool failed(struct sitting *s, int code, struct slice result, const char *why)
{
	if (code == 0)
		return false;
	s->notes_on = false;
	lines_free(&s->notes);
	scene_list_set(s->scene, why, "");
	sitting_answered(s, code, result, why);
	return true;
}

/* The screen folds and colours it: marks of a terminal would stand there as letters. */
static struct style for_screen(const struct sitting *s)
{
	struct style style = s->scene->style;
	style.width = 0;
	style.colour = false;
	return style;
}

/* ---- notes ---- */

static bool ask_notes(struct sitting *s, int64_t after);

/* This page, its newest line first, before the older ones; what no list shows is forgotten. */
static void add_page(struct sitting *s, struct slice notes)
{
	struct lines all = {0}, line = {0};
	struct slice element;
	size_t cursor = 0;
	struct style style = for_screen(s);
	while (json_next(notes, &cursor, &element)) {
		lines_free(&line);
		view_note(&style, element, &line);
		lines_puts(&line, lines_text(&all));
		struct lines swap = all;
		all = line;
		line = swap;
		if (all.len > 2 * SCENE_READY_MAX)
			all.bytes[all.len = 2 * SCENE_READY_MAX] = '\0';
	}
	lines_free(&line);
	lines_puts(&all, lines_text(&s->notes));
	if (all.len > 2 * SCENE_READY_MAX)
		all.bytes[all.len = 2 * SCENE_READY_MAX] = '\0';
	lines_free(&s->notes);
	s->notes = all;
}

static void got_notes(void *arg, int code, struct slice result, const char *why)
{
	struct sitting *s = arg;
	double next = 0;
	if (failed(s, code, result, why))
		return;
	add_page(s, json_member(result.at, result.len, "notes"));
	bool more = json_bool(json_member(result.at, result.len, "more"), false) &&
	            json_number(json_member(result.at, result.len, "next"), &next);
	if (more && ++s->notes_pages < PAGES_MAX && ask_notes(s, (int64_t)next))
		return;
	s->notes_on = false;
	shown(s, s->notes.len ? lines_text(&s->notes) : no_notes, "... and more: tally notes\n");
	lines_free(&s->notes);
}

static bool ask_notes(struct sitting *s, int64_t after)
{
	char params[48];
	snprintf(params, sizeof params, "{\"after\":%lld}", (long long)after);
	return follow_call(s->follow, "notes", params, got_notes, s);
}

void sitting_notes(struct sitting *s)
{
	if (s->notes_on)
		return;
	lines_free(&s->notes);
	s->notes_pages = 0;
	scene_list_set(s->scene, "", "");
	s->notes_on = ask_notes(s, 0);
	if (!s->notes_on)
		sitting_refuse(s, "there is no daemon: its notes are not known");
}

/* ---- twins ---- */

static void got_twins(void *arg, int code, struct slice result, const char *why)
{
	struct sitting *s = arg;
	struct lines out = {0};
	if (failed(s, code, result, why))
		return;
	struct style plain = for_screen(s);
	view_twins_how(&plain, result, "j, then twins accept (the word line)", &out);
	shown(s, lines_text(&out), "... and more: tally sheet twins\n");
	lines_free(&out);
}

void sitting_twins(struct sitting *s)
{
	scene_list_set(s->scene, "", "");
	if (!follow_call(s->follow, "sheet.twins", "{}", got_twins, s))
		sitting_refuse(s, "there is no daemon: it is not known which could be twins");
}
