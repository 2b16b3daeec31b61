/* SPDX-License-Identifier: MIT */
/*
 * Lines about the sheet and the unit, photos, and what stands before the power: typed deeds
 * as calls.  See sitting.h, phrase_line.h.
 */
#include "client/sitting_inside.h"

#include "client/phrase_line.h"
#include "client/view.h"
#include "protocol/file/base64.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- a line ---- */

static void member(struct text *t, const char *key, const char *value)
{
	text_printf(t, "%s\"%s\":", t->len > 1 ? "," : "", key);
	text_string(t, value, strlen(value));
}

static void fields(struct text *t, const char *pairs)
{
	char key[32], value[KEYS_TEXT_MAX];
	const char *gap = "";
	text_printf(t, "%s\"fields\":{", t->len > 1 ? "," : "");
	while (phrase_pair(&pairs, key, value)) {
		text_puts(t, gap);
		text_string(t, key, strlen(key));
		text_puts(t, ":");
		text_string(t, value, strlen(value));
		gap = ",";
	}
	text_puts(t, "}");
}

static const char *line_params(struct sitting *s, struct phrase_line *p, struct text *t)
{
	switch (p->what) {
	case LINE_ADD:
		member(t, "text", p->rest);
		return "sheet.add";
	case LINE_MIRROR:
		member(t, "range", p->range);
		text_printf(t, ",\"by\":%d", p->by);
		return "sheet.mirror";
	case LINE_RENAME:
		sitting_sheet_name(s->scene, p->position, sizeof p->position);
		member(t, "position", p->position);
		member(t, "to", p->to);
		return "sheet.rename";
	case LINE_TWINS:
		text_puts(t, "\"accept\":true");
		if (p->range[0])
			member(t, "positions", p->range);
		return "sheet.twins";
	case LINE_UNIT:
		fields(t, p->rest);
		return "job.set";
	case LINE_START:
		member(t, "name", p->range);
		return "job.start";
	case LINE_WALK:
		member(t, "walk", p->range);
		if (p->again[0])
			member(t, "prefix", p->again);
		return "walk";
	case LINE_SET:
	case LINE_FIT:
		break;
	}
	sitting_sheet_name(s->scene, p->position, sizeof p->position);
	member(t, "position", p->position);
	if (p->none)
		text_puts(t, ",\"none\":true");
	else
		fields(t, p->rest);
	return p->what == LINE_SET ? "sheet.set" : "sheet.fit";
}

void sitting_line(struct sitting *s, const struct deed *deed)
{
	char buffer[6 * KEYS_TEXT_MAX], why[KEYS_HINT];
	struct phrase_line p;
	struct text t;
	text_begin(&t, buffer, sizeof buffer);
	text_puts(&t, "{");
	if (!phrase_line(deed->text, &p, why, sizeof why)) {
		sitting_not_done(s, why);
		return;
	}
	if (p.what == LINE_START && p.again[0]) {
		sitting_again(s, p.range, p.again, !p.like);
		return;
	}
	const char *method = line_params(s, &p, &t);
	text_puts(&t, "}");
	sitting_ask_typed(s, method, &t);
}

void sitting_fitted(struct sitting *s, const struct deed *deed)
{
	char buffer[4 * KEYS_TEXT_MAX], names[KEYS_TEXT_MAX], word[SCENE_NAME];
	struct text t;
	size_t len = 0;
	names[0] = '\0';
	for (const char *at = deed->text + strspn(deed->text, " ,"); *at; at += strspn(at, " ,")) {
		size_t n = strcspn(at, " ,");
		snprintf(word, sizeof word, "%.*s", (int)n, at);
		sitting_sheet_name(s->scene, word, sizeof word);
		/* A longer one is no name, and is sent as it was typed. */
		len += (size_t)snprintf(names + len, sizeof names - len, "%s%.*s", len ? " " : "", (int)n,
		                        n < sizeof word ? word : at);
		at += n;
		if (len >= sizeof names)
			break;
	}
	text_begin(&t, buffer, sizeof buffer);
	text_puts(&t, "{");
	member(&t, "positions", names);
	text_puts(&t, "}");
	sitting_ask_typed(s, "job.fitted", &t);
}

/* ---- before the power ---- */

static void got_ready(void *arg, int code, struct slice result, const char *why)
{
	struct sitting *s = arg;
	struct lines out = {0};
	if (code != 0) {
		scene_ready_set(s->scene, result, why);
		sitting_answered(arg, code, result, why);
		return;
	}
	struct style plain = s->scene->style;
	plain.width = 0; /* the screen folds and colours it */
	plain.colour = false;
	view_ready(&plain, result, "then say so: the key . (the word fitted) and the positions", &out);
	scene_ready_set(s->scene, result, lines_text(&out));
	lines_free(&out);
	sitting_changed(s);
}

void sitting_ready(struct sitting *s)
{
	scene_ready_set(s->scene, (struct slice){NULL, 0}, "");
	if (!follow_call(s->follow, "job.ready", "{}", got_ready, s))
		sitting_refuse(s, "there is no daemon: it is not known what stands before the power");
}

/* ---- a photo ---- */

#define PIECE 491520 /* bytes: as text they fit a line of the wire */

/* One at a time: read a piece, send it, and on with its answer. */
struct sitting_photo {
	FILE *file;
	char hash[80], name[KEYS_TEXT_MAX], said[KEYS_TEXT_MAX], position[SCENE_NAME];
	int64_t number, at;
};

void sitting_photo_end(struct sitting *s)
{
	if (s->photo && s->photo->file)
		fclose(s->photo->file);
	free(s->photo);
	s->photo = NULL;
}

static void photo_fails(struct sitting *s, int code, const char *why)
{
	sitting_photo_end(s);
	s->refused = s->photo_typed;
	scene_refusal(s->scene, sitting_now(s), code, why);
	sitting_answered(s, 0, (struct slice){NULL, 0}, "");
}

static void photo_goes(struct sitting *s, const char *method, const char *params,
                       follow_answer *answer)
{
	if (!follow_call(s->follow, method, params, answer, s))
		photo_fails(s, 0, "there is no daemon: the photo is not kept");
}

static void photo_noted(void *arg, int code, struct slice result, const char *why)
{
	struct sitting *s = arg;
	(void)result;
	if (code != 0) {
		photo_fails(s, code, why);
		return;
	}
	if (s->photo)
		scene_say(s->scene, sitting_now(s), SCENE_GOOD, "photo kept, %s", s->photo->position);
	sitting_photo_end(s);
	sitting_changed(s);
}

static void photo_kept(void *arg, int code, struct slice result, const char *why)
{
	struct sitting *s = arg;
	char buffer[6 * KEYS_TEXT_MAX];
	struct text t;
	if (code != 0 || !s->photo) {
		photo_fails(s, code, why);
		return;
	}
	struct sitting_photo *p = s->photo;
	json_text(json_member(result.at, result.len, "hash"), p->hash, sizeof p->hash);
	text_begin(&t, buffer, sizeof buffer);
	text_puts(&t, "{");
	member(&t, "position", p->position);
	member(&t, "text", p->said[0] ? p->said : "photo");
	member(&t, "photo", p->hash);
	member(&t, "name", p->name);
	text_puts(&t, "}");
	photo_goes(s, "note", t.bytes, photo_noted);
}

static void photo_piece(void *arg, int code, struct slice result, const char *why)
{
	struct sitting *s = arg;
	struct sitting_photo *p = s->photo;
	char params[64];
	if (code != 0 || !p) {
		photo_fails(s, code, why);
		return;
	}
	if (p->number < 0 && !json_int(json_member(result.at, result.len, "photo"), &p->number)) {
		photo_fails(s, 0, "the daemon takes no photos");
		return;
	}
	char *bytes = malloc(PIECE), *line = malloc(BASE64_SIZE(PIECE) + 128);
	size_t n = bytes && line ? fread(bytes, 1, PIECE, p->file) : 0;
	if (!bytes || !line || ferror(p->file)) {
		photo_fails(s, 0, "the file of the photo cannot be read to its end: not kept");
	} else if (n) {
		int head = snprintf(line, 128, "{\"photo\":%lld,\"at\":%lld,\"data\":\"", (long long)p->number,
		                    (long long)p->at);
		base64_write(bytes, n, line + head);
		strcat(line + head, "\"}");
		p->at += (int64_t)n;
		photo_goes(s, "photo.data", line, photo_piece);
	} else {
		snprintf(params, sizeof params, "{\"photo\":%lld}", (long long)p->number);
		photo_goes(s, "photo.end", params, photo_kept);
	}
	free(bytes);
	free(line);
}

/* Opened, and its size known; else false with the reason. */
static bool photo_open(struct sitting_photo *p, const char *file, int64_t *size, char *why,
                       size_t room)
{
	long end = -1;
	p->file = fopen(file, "rb");
	if (p->file && fseek(p->file, 0, SEEK_END) == 0)
		end = ftell(p->file);
	if (end < 0) {
		snprintf(why, room, "%.120s: %s", file, strerror(errno));
		return false;
	}
	rewind(p->file);
	*size = end;
	return true;
}

void sitting_photo(struct sitting *s, const struct deed *deed)
{
	char file[KEYS_TEXT_MAX], why[KEYS_HINT], params[64];
	const char *said, *position = deed->about[0] ? deed->about : s->scene->position;
	int64_t size = 0;
	if (s->photo || !position[0]) {
		sitting_not_done(s, s->photo ? "a photo is on its way: this one when it is kept"
		                             : "no position is up: choose one first");
		return;
	}
	s->photo = calloc(1, sizeof *s->photo);
	if (!s->photo || !phrase_photo(deed->text, file, &said, why, sizeof why) ||
	    !photo_open(s->photo, file, &size, why, sizeof why)) {
		sitting_not_done(s, s->photo ? why : "out of memory: not done");
		sitting_photo_end(s);
		return;
	}
	const char *slash = strrchr(file, '/');
	s->photo->number = -1;
	snprintf(s->photo->name, sizeof s->photo->name, "%s", slash ? slash + 1 : file);
	snprintf(s->photo->said, sizeof s->photo->said, "%s", said);
	snprintf(s->photo->position, sizeof s->photo->position, "%s", position);
	s->photo_typed = *deed;
	s->typed.action = ACTION_NONE;
	snprintf(params, sizeof params, "{\"size\":%lld}", (long long)size);
	photo_goes(s, "photo.begin", params, photo_piece);
}
