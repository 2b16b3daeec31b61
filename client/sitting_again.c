/* SPDX-License-Identifier: MIT */
/*
 * `start NAME again OLD` at the bench: the next visit of a unit, with the sheet of the earlier
 * job as `tally job start NAME --again OLD` has it; with `like` another unit of that kind, whose
 * job the sheet begins.
 *
 *     sheet.show, page by page --> job.show --> job.start --> job.set --> sheet.load
 *
 * The job is begun only when its sheet was found and read.  One at a time.
 */
#include "client/sitting_inside.h"

#include "client/phrase_line.h"
#include "client/sheet_copy.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct sitting_again {
	struct sheet_copy copy;
	json_t *unit; /* parameters of job.set, NULL for none */
	char name[KEYS_TEXT_MAX], old[KEYS_TEXT_MAX];
};

void sitting_again_end(struct sitting *s)
{
	if (s->again) {
		sheet_copy_end(&s->again->copy);
		json_decref(s->again->unit);
	}
	free(s->again);
	s->again = NULL;
}

static void fails(struct sitting *s, int code, const char *why)
{
	sitting_again_end(s);
	s->refused = s->typed;
	s->typed.action = ACTION_NONE;
	scene_refusal(s->scene, sitting_now(s), code, why);
	sitting_answered(s, 0, (struct slice){NULL, 0}, "");
}

/* Takes `params`. */
static void ask(struct sitting *s, const char *method, json_t *params, follow_answer *answer)
{
	char *line = params ? json_dumps(params, JSON_COMPACT) : NULL;
	json_decref(params);
	if (!line)
		fails(s, 0, "out of memory: not done");
	else if (!follow_call(s->follow, method, line, answer, s))
		fails(s, 0, "there is no daemon: not done");
	free(line);
}

static void loaded(void *arg, int code, struct slice result, const char *why)
{
	struct sitting *s = arg;
	(void)result;
	if (code != 0 || !s->again) {
		fails(s, code, why);
		return;
	}
	scene_say(s->scene, sitting_now(s), SCENE_GOOD, "started job %.60s with the sheet of %.60s",
	          s->again->name, s->again->old);
	sitting_again_end(s);
	s->typed.action = ACTION_NONE;
	sitting_ask(s, SCENE_ASK_STATUS | SCENE_ASK_SHEET);
	sitting_changed(s);
}

static void load(struct sitting *s)
{
	struct lines csv = {0};
	char file[KEYS_TEXT_MAX + 16];
	sheet_copy_csv(&s->again->copy, &csv);
	snprintf(file, sizeof file, "like job %s", s->again->old);
	ask(s, "sheet.load", json_pack("{s:s,s:s,s:s}", "name", file, "job", s->again->name, "text",
	                               lines_text(&csv)), loaded);
	lines_free(&csv);
}

static void unit_set(void *arg, int code, struct slice result, const char *why)
{
	struct sitting *s = arg;
	(void)result;
	if (code != 0 || !s->again)
		fails(s, code, why);
	else
		load(s);
}

static void started(void *arg, int code, struct slice result, const char *why)
{
	struct sitting *s = arg;
	(void)result;
	if (code != 0 || !s->again) {
		fails(s, code, why);
		return;
	}
	if (!s->again->unit) {
		load(s);
		return;
	}
	json_t *unit = s->again->unit;
	s->again->unit = NULL;
	ask(s, "job.set", unit, unit_set);
}

static void shown(void *arg, int code, struct slice result, const char *why)
{
	struct sitting *s = arg;
	if (code != 0 || !s->again) {
		fails(s, code, why);
		return;
	}
	s->again->unit = sheet_copy_unit(result);
	ask(s, "job.start", json_pack("{s:s,s:s}", "name", s->again->name, "again", s->again->old),
	    started);
}

static void page(void *arg, int code, struct slice result, const char *why)
{
	struct sitting *s = arg;
	struct slice rows = json_member(result.at, result.len, "rows"), row;
	size_t cursor = 0;
	int64_t next = 0;
	if (code != 0 || !s->again) {
		fails(s, code, why);
		return;
	}
	while (json_next(rows, &cursor, &row))
		sheet_copy_row(&s->again->copy, row);
	if (s->again->copy.failed)
		fails(s, 0, "out of memory: not done");
	else if (json_bool(json_member(result.at, result.len, "more"), false) &&
	         json_int(json_member(result.at, result.len, "next"), &next))
		ask(s, "sheet.show", json_pack("{s:s,s:I}", "job", s->again->old, "after", (json_int_t)next),
		    page);
	else if (!sheet_copy_rows(&s->again->copy))
		fails(s, 0, "that job has no sheet that could be taken over: start NAME alone begins one");
	else if (!s->again->copy.again)
		load(s);
	else
		ask(s, "job.show", json_pack("{s:s}", "job", s->again->old), shown);
}

void sitting_again(struct sitting *s, const char *name, const char *old, bool again)
{
	if (s->again) {
		sitting_not_done(s, "a job is being begun: this one when it is");
		return;
	}
	s->again = calloc(1, sizeof *s->again);
	if (!s->again) {
		sitting_not_done(s, "out of memory: not done");
		return;
	}
	sheet_copy_begin(&s->again->copy, again);
	snprintf(s->again->name, sizeof s->again->name, "%s", name);
	snprintf(s->again->old, sizeof s->again->old, "%s", old);
	ask(s, "sheet.show", json_pack("{s:s}", "job", old), page);
}
