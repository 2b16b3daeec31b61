/* SPDX-License-Identifier: MIT */
/*
 * `tally doctor`: what stands in the way of the meters.
 *
 * The running daemon is asked, for only it reads the lines.  Where none answers, a
 * tallyd of our own looks at everything else (`tallyd --doctor`).
 */
#include "client/command_calls.h"

#include "client/spawn.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* As on the wire. */
#define ANSWER_MAX (1u << 20)

/* Everything that it prints; NULL with *why. */
static char *read_answer(struct spawn *s, struct fault *why)
{
	char *text = malloc(ANSWER_MAX);
	size_t len = 0;
	ssize_t n = 1;
	while (text && len < ANSWER_MAX - 1 &&
	       (n = read(s->fd, text + len, ANSWER_MAX - 1 - len)) != 0) {
		if (n > 0)
			len += (size_t)n;
		else if (errno != EINTR)
			break;
	}
	int status = spawn_close(s);
	if (text)
		text[len] = '\0';
	while (text && len && text[len - 1] == '\n')
		text[--len] = '\0';
	if (text && status <= 1 && text[0] == '{' && json_valid(text, len, NULL))
		return text;
	free(text);
	fault_set(why, "tallyd --doctor, which looks where no daemon runs, gave no answer (exit status "
	          "%d): are tally and tallyd of one version?", status);
	return NULL;
}

static char *ask_alone(struct client *c, struct fault *why)
{
	const char *arguments[8], *config = client_option(c, OPTION_CONFIG);
	int n = 0;
	struct spawn s;
	arguments[n++] = "--doctor";
	if (config) {
		arguments[n++] = "--config";
		arguments[n++] = config;
	}
	if (client_option(c, OPTION_SOCKET) || (c->socket && c->socket[0])) {
		arguments[n++] = "--socket";
		arguments[n++] = client_socket(c);
	}
	arguments[n] = NULL;
	return spawn_run(c->program, arguments, &s, why) ? read_answer(&s, why) : NULL;
}

static bool has_meter(struct slice result, const char *name)
{
	struct slice meters = json_member(result.at, result.len, "meters"), meter;
	size_t cursor = 0;
	while (json_next(meters, &cursor, &meter))
		if (words_member_is(meter, "name", name))
			return true;
	return false;
}

/* Of one meter, or of everything. */
static bool is_well(struct slice result, const char *name)
{
	struct slice meters = json_member(result.at, result.len, "meters"), meter;
	size_t cursor = 0;
	if (!name)
		return json_bool(json_member(result.at, result.len, "ok"), false);
	while (json_next(meters, &cursor, &meter))
		if (words_member_is(meter, "name", name))
			return json_bool(json_member(meter.at, meter.len, "ok"), false);
	return false;
}

static enum outcome show(struct client *c, struct slice result, const char *socket_why)
{
	const char *meter = client_word(c, 0);
	struct lines out = {0};
	if (meter && !has_meter(result, meter) &&
	    json_bool(json_member(result.at, result.len, "daemon"), false))
		return client_wrong(c, "there is no meter %s; `tally meters` lists them", meter);
	if (client_has(c, OPTION_JSON)) {
		client_json(c, result);
	} else {
		view_doctor(&c->style, result, meter, socket_why, &out);
		client_lines(c, &out);
	}
	return is_well(result, meter) ? OUTCOME_DONE : OUTCOME_NO;
}

enum outcome call_doctor(struct client *c)
{
	struct fault why = {.text = ""}, no_daemon = {.text = ""};
	struct message m = {0};
	enum outcome outcome = OUTCOME_UNREACHABLE;
	struct link_target target = {.socket = client_socket(c), .timeout_ms = c->timeout_ms};
	if (client_has(c, OPTION_FILE))
		return client_wrong(c, "--file names a log, and a log has no lines to look at");
	c->link = link_open(&target, &outcome, &no_daemon);
	if (c->link) {
		outcome = client_ask(c, "doctor", NULL, &m);
		if (outcome == OUTCOME_DONE)
			outcome = show(c, m.result, "");
		message_free(&m);
		return outcome;
	}
	if (outcome == OUTCOME_WRONG)
		return client_fault(c, outcome, &no_daemon);
	char *answer = ask_alone(c, &why);
	if (!answer) {
		client_fault(c, OUTCOME_UNREACHABLE, &no_daemon);
		return client_fault(c, OUTCOME_UNREACHABLE, &why);
	}
	outcome = show(c, (struct slice){answer, strlen(answer)}, no_daemon.text);
	free(answer);
	return outcome;
}
