/* SPDX-License-Identifier: MIT */
/*
 * tally meters try DIALECT FILE.rec: hold a dialect against a recording, without a
 * daemon.  DIALECT is a shipped one by name, or a dialect file by its path; the
 * frames of every meter in the recording (or of the one named by --meter) are
 * split and read by it, exactly as the daemon would.
 */
#include "client/command_calls.h"

#include "protocol/meter/dialect_file.h"
#include "protocol/record/recording.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define TRIED_METERS_MAX 64

struct tried {
	char name[33];
	struct frame_splitter splitter;
	struct dialect_memory memory;
};

struct attempt {
	struct client *c;
	const struct dialect *dialect;
	struct dialect_setting setting;
	struct tried meter[TRIED_METERS_MAX];
	int meters;
	struct tried *now; /* whose bytes are being fed */
	struct lines out;
	long good, bad, readings;
};

static char *slurp(struct client *c, const char *path, size_t *len, enum outcome *outcome)
{
	FILE *f = fopen(path, "rb");
	struct fault why;
	char *text = NULL;
	size_t size = 0;
	*len = 0;
	while (f && !ferror(f) && !feof(f)) {
		if (*len + 65536 > size) {
			size = size ? size * 2 : 1 << 17;
			char *grown = realloc(text, size);
			if (!grown)
				break;
			text = grown;
		}
		*len += fread(text + *len, 1, 65536, f);
	}
	bool good = f && feof(f) && !ferror(f);
	if (!good) {
		fault_at(&why, path, 0, 0, "cannot be read: %s", strerror(errno));
		*outcome = client_fault(c, OUTCOME_WRONG, &why);
		free(text);
		text = NULL;
	}
	if (f)
		fclose(f);
	return text;
}

/* One frame and what was understood of it. */
static void tell(struct attempt *a, const struct frame *f, const struct understood *u)
{
	char bytes[FRAME_MAX * 4 + 1], shown[80], line[2048];
	struct text t;
	recording_escape(f->bytes, f->len, bytes, sizeof bytes);
	if (!client_has(a->c, OPTION_JSON)) {
		lines_printf(&a->out, "%.6f %s \"%s\"  ", (double)f->t / 1e6, a->now->name, bytes);
		for (int i = 0; i < u->count; i++) {
			reading_shown(&u->reading[i], shown, sizeof shown);
			lines_printf(&a->out, "%s%s %s", i ? ", " : "", shown,
			             function_name(u->reading[i].function));
		}
		if (u->said == SAID_NOTHING)
			lines_printf(&a->out, "NOT UNDERSTOOD: %s", u->why);
		else if (u->said != SAID_READINGS)
			lines_printf(&a->out, "%s", u->text[0] ? u->text : "nothing to do with values");
		lines_printf(&a->out, "\n");
		return;
	}
	text_begin(&t, line, sizeof line);
	text_printf(&t, "{\"after\":%.6f", (double)f->t / 1e6);
	text_member_string(&t, "meter", a->now->name);
	text_member_string(&t, "bytes", bytes);
	text_member_bool(&t, "understood", u->said != SAID_NOTHING);
	text_member(&t, "readings");
	text_puts(&t, "[");
	for (int i = 0; i < u->count; i++) {
		const struct reading *r = &u->reading[i];
		text_puts(&t, i ? ",{\"function\":" : "{\"function\":");
		text_string(&t, function_name(r->function), strlen(function_name(r->function)));
		text_member(&t, "value");
		if (r->has_value)
			text_decimal(&t, r->value);
		else
			text_puts(&t, "null");
		text_member_string(&t, "state", reading_state_word(r->state));
		text_puts(&t, "}");
	}
	text_puts(&t, "]");
	text_member_string(&t, "why", u->said == SAID_NOTHING ? u->why : "");
	text_puts(&t, "}");
	client_json(a->c, (struct slice){t.bytes, t.len});
}

static void on_frame(void *arg, const struct frame *f)
{
	struct attempt *a = arg;
	struct understood u;
	memset(&u, 0, sizeof u);
	u.said = SAID_NOTHING;
	if (f->fault == FRAME_GOOD)
		a->dialect->understand(&a->setting, &a->now->memory, f, &u);
	else
		snprintf(u.why, sizeof u.why, "%s frame", frame_fault_word(f->fault));
	if (u.said == SAID_NOTHING)
		a->bad++;
	else
		a->good++;
	a->readings += u.count;
	tell(a, f, &u);
}

static struct tried *meter_of(struct attempt *a, const char *name)
{
	for (int i = 0; i < a->meters; i++)
		if (strcmp(a->meter[i].name, name) == 0)
			return &a->meter[i];
	if (a->meters == TRIED_METERS_MAX)
		return NULL;
	struct tried *m = &a->meter[a->meters++];
	snprintf(m->name, sizeof m->name, "%s", name);
	dialect_split(a->dialect, &m->splitter, INT64_MIN / 2);
	return m;
}

static enum outcome run(struct attempt *a, const char *path, const char *text, size_t len)
{
	struct recording_reader reader;
	struct recording_line *line = malloc(sizeof *line);
	const char *only = client_option(a->c, OPTION_METER);
	struct fault why;
	enum outcome outcome = OUTCOME_DONE;
	size_t at = 0;
	if (!line)
		return client_wrong(a->c, "out of memory");
	recording_begin(&reader, path);
	do {
		const char *end = memchr(text + at, '\n', len - at);
		size_t n = end ? (size_t)(end - (text + at)) : len - at;
		if (!recording_read(&reader, text + at, n, line, &why)) {
			outcome = client_fault(a->c, OUTCOME_WRONG, &why);
			break;
		}
		if (line->what == RECORDING_BYTES && (!only || strcmp(only, line->meter) == 0) &&
		    (a->now = meter_of(a, line->meter)))
			frame_feed(&a->now->splitter, line->t, line->bytes, line->len, on_frame, a);
		at += n + (end ? 1 : 0);
	} while (at < len);
	for (int i = 0; outcome == OUTCOME_DONE && i < a->meters; i++) {
		a->now = &a->meter[i];
		frame_finish(&a->now->splitter, on_frame, a);
	}
	free(line);
	return outcome;
}

static enum outcome finish(struct attempt *a, enum outcome outcome)
{
	if (outcome != OUTCOME_DONE) {
		lines_free(&a->out);
		return outcome;
	}
	if (!client_has(a->c, OPTION_JSON)) {
		lines_printf(&a->out, "%s: %ld frames understood with %ld readings, %ld not\n",
		             a->dialect->name, a->good, a->readings, a->bad);
		client_lines(a->c, &a->out);
	}
	return a->bad || !a->good ? OUTCOME_NO : OUTCOME_DONE;
}

enum outcome call_meters_try(struct client *c)
{
	const char *name = client_word(c, 0), *path = client_word(c, 1);
	enum outcome outcome = OUTCOME_DONE;
	struct fault why;
	size_t len;
	struct attempt *a = calloc(1, sizeof *a);
	struct dialect_file *file = calloc(1, sizeof *file);
	if (!a || !file) {
		free(a);
		free(file);
		return client_wrong(c, "out of memory");
	}
	a->c = c;
	a->dialect = dialect_find(name, strlen(name));
	bool own = !a->dialect;
	if (own && !strchr(name, '/') && !strstr(name, ".ini")) {
		outcome = client_wrong(c, "there is no shipped dialect %s; a file is named by its path "
		                       "(./%s.ini)", name, name);
	} else if (own) {
		char *text = slurp(c, name, &len, &outcome);
		if (text && !dialect_file_load(file, name, text, len, &why))
			outcome = client_fault(c, OUTCOME_WRONG, &why);
		free(text);
		a->dialect = &file->row;
		a->setting.function = file->function;
	}
	if (outcome == OUTCOME_DONE) {
		a->setting.rules = a->dialect->rules;
		char *text = slurp(c, path, &len, &outcome);
		if (text)
			outcome = finish(a, run(a, path, text, len));
		free(text);
	}
	if (own)
		dialect_file_free(file);
	free(file);
	free(a);
	return outcome;
}
