/* SPDX-License-Identifier: MIT */
/*
 * tally meters try DIALECT FILE.rec: hold a dialect against a recording, without a
 * daemon; tally meters try DIALECT NAME: against a meter of the running daemon, for
 * some seconds; tally meters try DIALECT PORT: against a line that no daemon has, which a
 * tallyd of our own listens to (`tallyd --listen`).  DIALECT is a shipped one by name, or a dialect file by its path.  The
 * bytes are split and read by it exactly as the daemon would.
 */
#include "client/command_calls.h"

#include "client/clock.h"
#include "client/spawn.h"
#include "protocol/meter/dialect_file.h"
#include "protocol/meter/look.h"
#include "protocol/record/recording.h"

#include <errno.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define TRIED_METERS_MAX 64
#define FOLLOW_MS 10000

struct tried {
	char name[33];
	struct frame_splitter splitter;
	struct dialect_memory memory;
	struct look look; /* at its bytes, for where they are not understood */
};

struct attempt {
	struct client *c;
	const struct dialect *dialect;
	struct dialect_setting setting;
	struct recording_reader reader;
	struct recording_line line;
	struct tried meter[TRIED_METERS_MAX];
	int meters;
	struct tried *now; /* whose bytes are being fed */
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

/* ---- one frame and what was understood of it ---- */

static void tell_reading(struct lines *out, const struct reading *r)
{
	char shown[80];
	reading_shown(r, shown, sizeof shown);
	lines_printf(out, "%s %s", shown, function_name(r->function));
	for (unsigned bit = 1; bit <= READING_INVALID; bit <<= 1)
		if (r->state & bit && (r->has_value || strcmp(shown, reading_state_word(bit)) != 0))
			lines_printf(out, " %s", reading_state_word(bit));
}

static void tell_lines(struct attempt *a, const struct frame *f, const char *bytes,
                       const struct understood *u)
{
	struct lines out = {0};
	lines_printf(&out, "%.6f %s \"%s\"  ", (double)f->t / 1e6, a->now->name, bytes);
	for (int i = 0; i < u->count; i++) {
		lines_printf(&out, "%s", i ? ", " : "");
		tell_reading(&out, &u->reading[i]);
	}
	if (u->said == SAID_NOTHING)
		lines_printf(&out, "NOT UNDERSTOOD: %s", u->why);
	else if (u->said == SAID_IDENTITY || u->said == SAID_ERROR)
		lines_printf(&out, "%s: %s", u->said == SAID_ERROR ? "error" : "identity", u->text);
	else if (u->said == SAID_OTHER)
		lines_printf(&out, "nothing to do with values");
	lines_printf(&out, "\n");
	client_lines(a->c, &out);
}

static void json_reading(struct text *t, const struct reading *r)
{
	text_puts(t, "{\"function\":");
	text_string(t, function_name(r->function), strlen(function_name(r->function)));
	text_member(t, "value");
	if (r->has_value)
		text_decimal(t, r->value);
	else
		text_puts(t, "null");
	text_member_string(t, "state", reading_state_word(r->state));
	text_puts(t, "}");
}

static void tell_json(struct attempt *a, const struct frame *f, const char *bytes,
                      const struct understood *u)
{
	char line[FRAME_MAX * 8 + 4096];
	struct text t;
	text_begin(&t, line, sizeof line);
	text_printf(&t, "{\"after\":%.6f", (double)f->t / 1e6);
	text_member_string(&t, "meter", a->now->name);
	text_member_string(&t, "bytes", bytes);
	text_member_bool(&t, "understood", u->said != SAID_NOTHING);
	text_member(&t, "readings");
	text_puts(&t, "[");
	for (int i = 0; i < u->count; i++) {
		text_puts(&t, i ? "," : "");
		json_reading(&t, &u->reading[i]);
	}
	text_puts(&t, "]");
	text_member_string(&t, "text", u->text);
	text_member_string(&t, "why", u->said == SAID_NOTHING ? u->why : "");
	text_puts(&t, "}");
	client_json(a->c, (struct slice){t.bytes, t.len});
}

static void on_frame(void *arg, const struct frame *f)
{
	struct attempt *a = arg;
	char bytes[FRAME_MAX * 4 + 1];
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
	recording_escape(f->bytes, f->len, bytes, sizeof bytes);
	(client_has(a->c, OPTION_JSON) ? tell_json : tell_lines)(a, f, bytes, &u);
}

/* ---- lines of a recording or a tape ---- */

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

/* `@meter NAME gone`: what was begun is cut, and what comes later begins anew. */
static void meter_act(struct attempt *a, const char *rest)
{
	char name[33] = "", what[8] = "";
	if (sscanf(rest, "%32s %7s", name, what) != 2 || strcmp(what, "gone") != 0)
		return;
	for (int i = 0; i < a->meters; i++)
		if (strcmp(a->meter[i].name, name) == 0) {
			a->now = &a->meter[i];
			frame_finish(&a->now->splitter, on_frame, a);
			dialect_split(a->dialect, &a->now->splitter, INT64_MIN / 2);
			memset(&a->now->memory, 0, sizeof a->now->memory);
		}
}

/* A byte that came with an error stands on a tape as FF. */
static void look_recorded(struct look *l, const char *bytes, size_t len)
{
	for (size_t i = 0; i < len; i++)
		if (bytes[i] == '\xff')
			look_bad(l);
		else
			look_bytes(l, bytes + i, 1);
}

static enum outcome one_line(struct attempt *a, const char *text, size_t len)
{
	const char *only = client_option(a->c, OPTION_METER);
	struct recording_line *l = &a->line;
	struct fault why;
	if (!recording_read(&a->reader, text, len, l, &why))
		return client_fault(a->c, OUTCOME_WRONG, &why);
	if (l->what == RECORDING_ACT && strcmp(l->act, "meter") == 0)
		meter_act(a, l->rest);
	if (l->what != RECORDING_BYTES || (only && strcmp(only, l->meter) != 0))
		return OUTCOME_DONE;
	if (!(a->now = meter_of(a, l->meter)))
		return client_wrong(a->c, "more than %d meters in one recording: name one with --meter",
		                    TRIED_METERS_MAX);
	look_recorded(&a->now->look, l->bytes, l->len);
	frame_feed(&a->now->splitter, l->t, l->bytes, l->len, on_frame, a);
	return OUTCOME_DONE;
}

static enum outcome run_file(struct attempt *a, const char *path, const char *text, size_t len)
{
	enum outcome outcome = OUTCOME_DONE;
	size_t at = 0;
	recording_begin(&a->reader, path);
	do {
		const char *end = memchr(text + at, '\n', len - at);
		size_t n = end ? (size_t)(end - (text + at)) : len - at;
		outcome = one_line(a, text + at, n);
		at += n + (end ? 1 : 0);
	} while (outcome == OUTCOME_DONE && at < len);
	return outcome;
}

/* ---- a meter of the running daemon ---- */

static enum outcome each_tape(struct attempt *a, const struct message *m)
{
	struct slice line = m->params.at ? json_member(m->params.at, m->params.len, "line")
	                                 : (struct slice){NULL, 0};
	if (!line.at || m->method.len != 4 || memcmp(m->method.at, "tape", 4) != 0)
		return OUTCOME_DONE;
	char *text = malloc(line.len + 1);
	enum outcome outcome = OUTCOME_DONE;
	if (text && json_text(line, text, line.len + 1))
		outcome = one_line(a, text, strlen(text));
	free(text);
	return outcome;
}

static enum outcome run_meter(struct attempt *a, const char *name)
{
	struct client *c = a->c;
	struct message m;
	bool gone;
	json_t *meters = json_array();
	json_array_append_new(meters, json_string_nocheck(name));
	enum outcome outcome = client_ask(c, "tape", json_pack("{s:o}", "meters", meters), &m);
	message_free(&m);
	if (outcome == OUTCOME_UNREACHABLE)
		fprintf(c->err, "tally meters try: there is no file %s, so it was taken for a meter\n", name);
	if (outcome == OUTCOME_DONE && c->err_terminal)
		fprintf(c->err, "listening to %s for %d s; Ctrl-C ends it\n", name, FOLLOW_MS / 1000);
	recording_begin(&a->reader, name);
	if (outcome == OUTCOME_DONE)
		outcome = one_line(a, RECORDING_HEADER, strlen(RECORDING_HEADER));
	for (int64_t end = clock_ms() + FOLLOW_MS; outcome == OUTCOME_DONE;) {
		int64_t left = end - clock_ms();
		enum link_next next = left > 0 ? link_next(c->link, (int)left, c->stop, c->out_fd, &m)
		                               : LINK_NOTHING;
		if (next == LINK_NOTHING)
			break;
		if (next == LINK_LOST)
			return client_fault(c, OUTCOME_UNREACHABLE, &m.why);
		outcome = each_tape(a, &m);
		message_free(&m);
		if (!client_flush(c, &gone))
			return gone ? OUTCOME_DONE : OUTCOME_NOT_LOGGED;
	}
	return outcome;
}

/* ---- a line that no daemon has ---- */

/* As the daemon would open it for this dialect. */
static void settings_text(const struct line_settings *l, char *out, size_t size)
{
	static const char *const flow[] = {"", " hardware", " software"};
	static const char *const dtr[] = {"", " dtr=on", " dtr=off"}, *const rts[] = {"", " rts=on",
	                                                                              " rts=off"};
	line_settings_text(l, out, size);
	size_t n = strlen(out);
	snprintf(out + n, size - n, "%s%s%s", flow[l->flow], dtr[l->dtr], rts[l->rts]);
}

/* Whole lines of what came; the rest stays at the beginning of the buffer. */
static enum outcome each_listened(struct attempt *a, char *buffer, size_t *len)
{
	enum outcome outcome = OUTCOME_DONE;
	size_t at = 0;
	for (char *end; outcome == OUTCOME_DONE && (end = memchr(buffer + at, '\n', *len - at));) {
		outcome = one_line(a, buffer + at, (size_t)(end - (buffer + at)));
		at = (size_t)(end - buffer) + 1;
	}
	memmove(buffer, buffer + at, *len - at);
	*len -= at;
	return outcome;
}

static enum outcome run_port(struct attempt *a, const char *port)
{
	struct client *c = a->c;
	struct spawn s;
	struct fault why;
	char settings[80], *buffer = malloc(2 * RECORDING_LINE_MAX);
	size_t len = 0;
	ssize_t n = 1;
	bool gone;
	settings_text(&a->dialect->line, settings, sizeof settings);
	const char *const arguments[] = {"--listen", port, "--line", settings, NULL};
	if (a->dialect->asked)
		fprintf(c->err, "tally meters try: %s asks, and nothing is sent to a line that is only "
		        "tried: put it into the configuration, then try it by its name\n", a->dialect->name);
	if (!buffer || !spawn_run(c->program, arguments, &s, &why)) {
		if (!buffer)
			fault_set(&why, "out of memory");
		free(buffer);
		return client_fault(c, OUTCOME_WRONG, &why);
	}
	if (c->err_terminal)
		fprintf(c->err, "listening to %s for %d s; Ctrl-C ends it\n", port, FOLLOW_MS / 1000);
	enum outcome outcome = OUTCOME_DONE;
	recording_begin(&a->reader, port);
	while (outcome == OUTCOME_DONE && len < 2 * RECORDING_LINE_MAX) {
		struct pollfd one = {.fd = s.fd, .events = POLLIN};
		int ready = poll(&one, 1, 500);
		if ((ready < 0 && errno != EINTR) || (c->stop && *c->stop) || !client_flush(c, &gone))
			break;
		if (ready <= 0)
			continue;
		n = read(s.fd, buffer + len, 2 * RECORDING_LINE_MAX - len);
		if (n <= 0)
			break;
		len += (size_t)n;
		outcome = each_listened(a, buffer, &len);
	}
	free(buffer);
	/* What stood in its way it said itself. */
	int status = spawn_close(&s);
	return outcome == OUTCOME_DONE && status == 2 ? OUTCOME_WRONG : outcome;
}

/* ---- the verb ---- */

/* A device, or an adapter by its number or place. */
static bool is_port(const char *word)
{
	struct stat st;
	if (strncmp(word, "usb:", 4) == 0 || strncmp(word, "usb-place:", 10) == 0)
		return true;
	if (stat(word, &st) == 0)
		return S_ISCHR(st.st_mode);
	return strncmp(word, "/dev/", 5) == 0;
}

/* Frames were not understood: is it the line, or another dialect? */
static void tell_look(struct attempt *a)
{
	for (int i = 0; i < a->meters; i++) {
		const struct tried *m = &a->meter[i];
		const struct dialect *other = look_dialect(&m->look);
		struct look_said said;
		char text[500];
		look_judge(&m->look, &a->dialect->line, -1, -1, &said);
		look_text(&said, text, sizeof text);
		if (look_fits(&m->look, a->dialect))
			continue;
		if (other)
			fprintf(a->c->err, "%s: the shipped dialect %s understands it\n", m->name, other->name);
		else if (text[0])
			fprintf(a->c->err, "%s: %s\n", m->name, text);
	}
}

static enum outcome finish(struct attempt *a, enum outcome outcome)
{
	struct lines out = {0};
	char line[256];
	struct text t;
	if (outcome != OUTCOME_DONE)
		return outcome;
	for (int i = 0; i < a->meters; i++) {
		a->now = &a->meter[i];
		frame_finish(&a->now->splitter, on_frame, a);
	}
	if (client_has(a->c, OPTION_JSON)) {
		text_begin(&t, line, sizeof line);
		text_puts(&t, "{\"dialect\":");
		text_string(&t, a->dialect->name, strlen(a->dialect->name));
		text_member_int(&t, "good", a->good);
		text_member_int(&t, "readings", a->readings);
		text_member_int(&t, "bad", a->bad);
		text_puts(&t, "}");
		client_json(a->c, (struct slice){t.bytes, t.len});
	} else {
		lines_printf(&out, "%s: %ld frames understood with %ld readings, %ld not understood\n",
		             a->dialect->name, a->good, a->readings, a->bad);
		client_lines(a->c, &out);
	}
	if (a->bad)
		tell_look(a);
	if (!a->good && !a->bad)
		fprintf(a->c->err, "tally meters try: no frame came%s\n",
		        client_option(a->c, OPTION_METER) ? " from that meter" : "");
	return a->bad || !a->good ? OUTCOME_NO : OUTCOME_DONE;
}

/* A path, or a name that no file has: of a meter. */
static bool is_meter(const char *word)
{
	FILE *f = strchr(word, '/') || strstr(word, ".rec") ? NULL : fopen(word, "rb");
	if (f)
		fclose(f);
	return !f && !strchr(word, '/') && !strstr(word, ".rec");
}

static enum outcome try_it(struct attempt *a)
{
	const char *word = client_word(a->c, 1);
	enum outcome outcome = OUTCOME_DONE;
	size_t len;
	a->setting.rules = a->dialect->rules;
	if (is_port(word))
		return finish(a, run_port(a, word));
	if (is_meter(word))
		return finish(a, run_meter(a, word));
	char *text = slurp(a->c, word, &len, &outcome);
	if (text)
		outcome = finish(a, run_file(a, word, text, len));
	free(text);
	return outcome;
}

static enum outcome unknown(struct client *c, const char *name)
{
	char list[200] = "";
	for (int i = 0; dialects[i]; i++) {
		size_t n = strlen(list);
		snprintf(list + n, sizeof list - n, "%s%s", i ? ", " : "", dialects[i]->name);
	}
	return client_wrong(c, "there is no shipped dialect %.40s: expected one of %s, or the path of a "
	                    "dialect file (./%.40s.ini)", name, list, name);
}

enum outcome call_meters_try(struct client *c)
{
	const char *name = client_word(c, 0);
	enum outcome outcome = OUTCOME_DONE;
	struct fault why;
	size_t len;
	struct attempt *a = calloc(1, sizeof *a);
	struct dialect_file *file = calloc(1, sizeof *file);
	char *text = NULL;
	if (!a || !file) {
		free(a);
		free(file);
		return client_wrong(c, "out of memory");
	}
	a->c = c;
	if ((a->dialect = dialect_find(name, strlen(name)))) {
		outcome = try_it(a);
	} else if (!strchr(name, '/') && !strstr(name, ".ini")) {
		outcome = unknown(c, name);
	} else if ((text = slurp(c, name, &len, &outcome))) {
		if (dialect_file_load(file, name, text, len, &why)) {
			a->dialect = &file->row;
			a->setting.function = file->function;
			outcome = try_it(a);
			dialect_file_free(file);
		} else {
			outcome = client_fault(c, OUTCOME_WRONG, &why);
		}
	}
	free(text);
	free(file);
	free(a);
	return outcome;
}
