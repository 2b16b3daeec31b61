/* SPDX-License-Identifier: MIT */
/* Messages and calls: see link.h. */
#include "client/link_inside.h"

#include "client/words.h"
#include "protocol/record/wire.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

void message_free(struct message *m)
{
	free(m->line);
	*m = (struct message){0};
}

bool link_cut_off(const struct link *l)
{
	return l && l->lost && !l->child.pid;
}

const struct link_hello *link_hello(const struct link *l)
{
	return &l->hello;
}

void link_close(struct link *l)
{
	if (!l)
		return;
	for (; l->kept_count; l->kept_count--, l->kept_first++)
		free(l->kept[l->kept_first % LINK_KEPT_MAX]);
	if (l->child.pid)
		spawn_close(&l->child);
	else if (l->fd >= 0)
		close(l->fd);
	free(l->buffer);
	free(l);
}

/* ---- messages ---- */

static void read_error(struct slice error, struct message *m)
{
	int64_t code = 0, line = 0, column = 0;
	char text[sizeof m->why.text], file[sizeof m->why.file];
	words_member(error, "message", text, sizeof text);
	words_member(error, "data.file", file, sizeof file);
	json_int(json_member(error.at, error.len, "code"), &code);
	json_int(json_member(error.at, error.len, "data.line"), &line);
	json_int(json_member(error.at, error.len, "data.column"), &column);
	bool placed = line > 0 && line < INT32_MAX && column >= 0 && column < INT32_MAX;
	fault_at(&m->why, file, placed ? (int)line : 0, placed ? (int)column : 0, "%s",
	         text[0] ? text : "the daemon refused, and gave no reason");
	/* A code of 0 would pass for "no error". */
	m->code = code != 0 && code > INT32_MIN && code < INT32_MAX ? (int)code : WIRE_NOT_REQUEST;
}

bool message_read(char *line, struct message *m, struct slice *id)
{
	size_t where, len = strlen(line);
	*m = (struct message){.line = line};
	if (!json_valid(line, len, &where))
		return false;
	struct slice whole = {line, len};
	while (whole.len && (*whole.at == ' ' || *whole.at == '\t' || *whole.at == '\r')) {
		whole.at++;
		whole.len--;
	}
	if (!whole.len || *whole.at != '{' || !words_member_is(whole, "jsonrpc", "2.0"))
		return false;
	*id = json_member(whole.at, whole.len, "id");
	struct slice method = json_member(whole.at, whole.len, "method");
	struct slice error = json_member(whole.at, whole.len, "error");
	m->params = json_member(whole.at, whole.len, "params");
	m->result = json_member(whole.at, whole.len, "result");
	if (method.at) {
		if (method.len < 2 || *method.at != '"')
			return false;
		m->method = (struct slice){method.at + 1, method.len - 2};
		return true;
	}
	if (error.at)
		read_error(error, m);
	return id->at && (error.at != NULL) != (m->result.at != NULL);
}

static void no_message(struct link *l, const char *line, struct fault *why)
{
	char start[60];
	words_clean(line, strlen(line) < 40 ? strlen(line) : 40, start, sizeof start);
	fault_set(why, "%s sent what is no message of tallyd: %s", l->name,
	          start[0] ? start : "an empty line");
}

/* A notification that came before the answer: kept for link_next. */
static bool keep(struct link *l, struct message *m, struct fault *why)
{
	if (l->kept_count == LINK_KEPT_MAX) {
		fault_set(why, "%s sent %d notifications and no answer", l->name, LINK_KEPT_MAX);
		return false;
	}
	l->kept[(l->kept_first + l->kept_count++) % LINK_KEPT_MAX] = m->line;
	*m = (struct message){0};
	return true;
}

enum link_next link_next(struct link *l, int timeout_ms, const volatile sig_atomic_t *stop,
                         int out_fd, struct message *m)
{
	*m = (struct message){0};
	if (l->kept_count) {
		struct slice id;
		message_read(l->kept[l->kept_first], m, &id);
		l->kept_first = (l->kept_first + 1) % LINK_KEPT_MAX;
		l->kept_count--;
		return LINK_MESSAGE;
	}
	int64_t deadline = deadline_in(timeout_ms);
	for (;;) {
		char *line;
		struct slice id;
		struct fault why = {0};
		enum got got = read_line(l, deadline, stop, out_fd, &line, &why);
		if (got == GOT_LOST)
			m->why = why;
		if (got != GOT_LINE)
			return got == GOT_LOST ? LINK_LOST : LINK_NOTHING;
		if (!message_read(line, m, &id)) {
			no_message(l, line, &why);
			message_free(m);
			m->why = why;
			return LINK_LOST;
		}
		if (m->method.at)
			return LINK_MESSAGE;
		message_free(m); /* an answer that nobody waits for any more */
	}
}

/* ---- calls ---- */

/* The request as one line with its LF; NULL where it cannot be written or is too
 * long. */
static char *request_line(struct link *l, const char *method, json_t *params, struct fault *why)
{
	json_t *request = json_pack("{s:s, s:I, s:s}", "jsonrpc", "2.0", "id", ++l->id, "method",
	                            method);
	if (request && params)
		json_object_set_new(request, "params", params);
	else
		json_decref(params);
	char *line = request ? json_dumps(request, JSON_COMPACT) : NULL;
	json_decref(request);
	size_t len = line ? strlen(line) : 0;
	char *longer = line && len < WIRE_LINE_MAX ? realloc(line, len + 2) : NULL;
	if (longer) {
		memcpy(longer + len, "\n", 2);
		return longer;
	}
	if (len >= WIRE_LINE_MAX)
		fault_set(why, "what is to be sent has %zu bytes; the daemon takes at most %u", len,
		          WIRE_LINE_MAX - 1);
	else
		fault_set(why, "the request cannot be written: not UTF-8, or out of memory");
	free(line);
	return NULL;
}

/* Is this the answer to the call?  An error without an id is meant for us too:
 * there is only one call on its way. */
static bool answers(const struct link *l, struct slice id, int code)
{
	int64_t n;
	if (json_absent(id))
		return code != 0;
	return json_int(id, &n) && n == l->id;
}

void link_patience(struct link *l, const volatile sig_atomic_t *stop,
                   void (*progress)(void *arg, int64_t done, int64_t all), void *arg)
{
	l->stop = stop;
	l->progress = progress;
	l->progress_arg = arg;
}

/* Was it one that is not kept? */
static bool took_progress(struct link *l, const struct message *m)
{
	int64_t done = 0, all = 0;
	if (m->method.len != 8 || memcmp(m->method.at, "progress", 8) != 0)
		return false;
	json_int(json_member(m->params.at, m->params.len, "done"), &done);
	json_int(json_member(m->params.at, m->params.len, "all"), &all);
	if (l->progress)
		l->progress(l->progress_arg, done, all);
	return true;
}

static enum outcome await(struct link *l, const char *method, int64_t deadline,
                          struct message *m)
{
	struct fault why = {0};
	for (;;) {
		char *line;
		struct slice id;
		enum got got = read_line(l, deadline, l->stop, -1, &line, &why);
		if (got == GOT_NOTHING && l->stop && *l->stop)
			fault_set(&why, "stopped: there is no answer to `%s`", method);
		else if (got == GOT_NOTHING)
			fault_set(&why, "%s did not answer `%s` in time", l->name, method);
		if (got != GOT_LINE)
			break;
		if (!message_read(line, m, &id)) {
			no_message(l, line, &why);
			message_free(m);
			break;
		}
		if (m->method.at) {
			if (took_progress(l, m)) {
				message_free(m);
				continue;
			}
			if (keep(l, m, &why))
				continue;
			message_free(m);
			break;
		}
		if (answers(l, id, m->code))
			return outcome_from_code(m->code);
		fault_set(&why, "%s gave an answer to something that was not asked", l->name);
		message_free(m);
		break;
	}
	m->why = why;
	return l->ended != OUTCOME_DONE ? l->ended : OUTCOME_UNREACHABLE;
}

enum outcome link_call(struct link *l, const char *method, json_t *params, int timeout_ms,
                       struct message *m)
{
	if (l->timeout_ms && timeout_ms >= 0)
		timeout_ms = l->timeout_ms;
	int64_t deadline = deadline_in(timeout_ms);
	*m = (struct message){0};
	char *line = request_line(l, method, params, &m->why);
	if (!line)
		return OUTCOME_WRONG;
	/* Where sending fails, what was said before the end is still to be read. */
	if (l->fd >= 0)
		send_line(l, line, strlen(line), deadline);
	free(line);
	return await(l, method, deadline, m);
}
