/* SPDX-License-Identifier: MIT */
/*
 * Meters: which are there, their frames as they come, and recordings of them.
 */
#include "client/command_calls.h"

#include "protocol/record/recording.h"

#include <stdlib.h>
#include <string.h>

/* A bench without meters says what to do next. */
static bool show_first_steps(struct client *c, struct slice meters)
{
	struct message m;
	struct lines out = {0};
	struct slice none;
	size_t cursor = 0;
	int used;
	if (json_next(meters, &cursor, &none))
		return false;
	bool asked = client_ask(c, "doctor", NULL, &m) == OUTCOME_DONE;
	if (asked) {
		/* `reload` is a verb of the table, or it is not there yet. */
		bool reloads = command_find((const char *const[]){"reload"}, 1, &used) != NULL;
		view_first_meter(&c->style, m.result, reloads, &out);
		client_lines(c, &out);
	}
	message_free(&m);
	return asked;
}

enum outcome call_meters(struct client *c)
{
	struct message m;
	struct lines out = {0};
	struct slice meter;
	size_t cursor = 0;
	enum outcome outcome = client_ask(c, "meters", NULL, &m);
	if (outcome == OUTCOME_DONE && client_has(c, OPTION_JSON)) {
		struct slice meters = json_member(m.result.at, m.result.len, "meters");
		while (json_next(meters, &cursor, &meter))
			client_json(c, meter);
	} else if (outcome == OUTCOME_DONE &&
	           !show_first_steps(c, json_member(m.result.at, m.result.len, "meters"))) {
		view_meters(&c->style, m.result, &out);
		client_lines(c, &out);
	}
	message_free(&m);
	return outcome;
}

/* Follow notifications until the person, the reader or the daemon ends it. */
static enum outcome follow(struct client *c,
                           bool (*each)(struct client *c, const struct message *m, void *arg),
                           void *arg)
{
	struct message m;
	bool gone;
	/* What stands before the first one is seen at once. */
	if (!client_flush(c, &gone))
		return gone ? OUTCOME_DONE : OUTCOME_NOT_LOGGED;
	for (;;) {
		enum link_next next = link_next(c->link, LINK_FOREVER, c->stop, c->out_fd, &m);
		if (next == LINK_NOTHING)
			return OUTCOME_DONE;
		if (next == LINK_LOST)
			return client_fault(c, OUTCOME_UNREACHABLE, &m.why);
		bool wrote = each(c, &m, arg);
		message_free(&m);
		if (wrote && !client_flush(c, &gone))
			return gone ? OUTCOME_DONE : OUTCOME_NOT_LOGGED;
	}
}

/* How many notifications the daemon had to drop before this one. */
static int64_t lost_before(const struct message *m)
{
	int64_t lost = 0;
	json_int(json_member(m->params.at, m->params.len, "lost"), &lost);
	return lost;
}

static bool method_is(const struct message *m, const char *name)
{
	return m->method.len == strlen(name) && memcmp(m->method.at, name, m->method.len) == 0;
}

static bool each_frame(struct client *c, const struct message *m, void *arg)
{
	struct lines out = {0};
	(void)arg;
	if (!method_is(m, "frame") || !m->params.at)
		return false;
	if (lost_before(m))
		fprintf(c->err, "tally meters raw: %lld frames were not shown: the terminal is too slow\n",
		        (long long)lost_before(m));
	if (client_has(c, OPTION_JSON)) {
		client_json(c, m->params);
	} else {
		view_frame(&c->style, m->params, &out);
		client_lines(c, &out);
	}
	return true;
}

enum outcome call_meters_raw(struct client *c)
{
	struct message m;
	enum outcome outcome = client_ask(c, "raw", client_params("meter", client_word(c, 0), NULL),
	                                  &m);
	message_free(&m);
	return outcome == OUTCOME_DONE ? follow(c, each_frame, NULL) : outcome;
}

static bool each_tape(struct client *c, const struct message *m, void *arg)
{
	int64_t *lost = arg;
	struct slice line = m->params.at ? json_member(m->params.at, m->params.len, "line")
	                                 : (struct slice){NULL, 0};
	if (!method_is(m, "tape") || !line.at)
		return false;
	*lost += lost_before(m);
	if (client_has(c, OPTION_JSON)) {
		client_json(c, m->params);
		return true;
	}
	char *text = malloc(line.len + 1);
	if (!text || !json_text(line, text, line.len + 1)) {
		free(text);
		return false;
	}
	/* Lost lines leave a hole that must not be invisible in the file. */
	if (lost_before(m))
		fprintf(c->out, "# %lld lines are missing here\n", (long long)lost_before(m));
	/* The header was written at the start, whoever writes it besides. */
	if (strcmp(text, RECORDING_HEADER) != 0)
		fprintf(c->out, "%s\n", text);
	free(text);
	return true;
}

enum outcome call_meters_tape(struct client *c)
{
	struct message m;
	int64_t lost = 0;
	json_t *meters = json_array();
	for (int i = 0; i < c->args.count; i++)
		json_array_append_new(meters, json_string_nocheck(c->args.words[i]));
	enum outcome outcome = client_ask(c, "tape", json_pack("{s:o}", "meters", meters), &m);
	message_free(&m);
	if (outcome != OUTCOME_DONE)
		return outcome;
	if (c->err_terminal)
		fprintf(c->err, "recording; Ctrl-C ends it\n");
	if (!client_has(c, OPTION_JSON))
		fputs(RECORDING_HEADER "\n", c->out);
	outcome = follow(c, each_tape, &lost);
	if (lost) {
		fprintf(c->err, "tally meters tape: %lld lines are missing: the recording is not whole\n",
		        (long long)lost);
		if (outcome == OUTCOME_DONE)
			outcome = OUTCOME_NO;
	}
	return outcome;
}
