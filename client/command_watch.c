/* SPDX-License-Identifier: MIT */
/*
 * Every record as it is made.
 *
 * For scripts (--json, and wherever standard output is no terminal and --plain was
 * not asked for): the sealed text byte for byte, one a line.  For people: a line in
 * words, with what is heard at the bench besides; the daemon may go and come back,
 * the cursor goes on where it was, so that nothing is missed and nothing comes
 * twice.
 */
#include "client/command_calls.h"

#include <string.h>
#include <time.h>

/* How often a daemon that is gone is tried again. */
#define RETRY_MS 1000

struct watching {
	int64_t last; /* seq of the last record shown; -1: begin at the end of the log */
	bool texts;   /* for scripts */
	char identity[64]; /* of the log, so that another one is not taken for it */
};

static bool stopped(const struct client *c)
{
	return c->stop && *c->stop;
}

static bool method_is(const struct message *m, const char *name)
{
	return m->method.len == strlen(name) && memcmp(m->method.at, name, m->method.len) == 0;
}

static void show(struct client *c, struct watching *w, const struct message *m)
{
	struct lines out = {0};
	if (!m->params.at)
		return;
	if (method_is(m, "record")) {
		struct slice record = json_member(m->params.at, m->params.len, "record");
		int64_t seq;
		if (!record.at)
			return;
		if (json_int(json_member(m->params.at, m->params.len, "seq"), &seq))
			w->last = seq;
		if (w->texts)
			client_json(c, record);
		else
			view_record(&c->style, record, &out);
	} else if (method_is(m, "event") && !w->texts) {
		view_event(&c->style, m->params, &out);
	}
	client_lines(c, &out);
}

/* Ask for the records after the cursor, then show what comes, until the link, the
 * reader or the person ends it. */
static enum outcome watch_once(struct client *c, struct watching *w, bool *lost)
{
	struct message m;
	bool gone;
	json_t *params = json_object();
	if (w->last >= 0)
		json_object_set_new(params, "after", json_integer(w->last));
	*lost = false;
	enum outcome outcome = client_ask(c, "watch", params, &m);
	if (outcome == OUTCOME_DONE && w->last < 0)
		json_int(json_member(m.result.at, m.result.len, "last"), &w->last);
	*lost = outcome == OUTCOME_UNREACHABLE;
	message_free(&m);
	while (outcome == OUTCOME_DONE) {
		enum link_next next = link_next(c->link, LINK_FOREVER, c->stop, c->out_fd, &m);
		if (next == LINK_NOTHING)
			return OUTCOME_DONE;
		*lost = next == LINK_LOST;
		if (*lost)
			return client_fault(c, OUTCOME_UNREACHABLE, &m.why);
		show(c, w, &m);
		message_free(&m);
		if (!client_flush(c, &gone))
			return gone ? OUTCOME_DONE : OUTCOME_NOT_LOGGED;
	}
	return outcome;
}

/* Another log behind the same socket: its records are not the next of ours. */
static void note_identity(struct client *c, struct watching *w)
{
	const char *now = link_hello(c->link)->identity;
	if (w->identity[0] && strcmp(w->identity, now) != 0) {
		fprintf(c->err, "tally watch: this daemon writes another log; watching that from now on\n");
		w->last = -1;
	}
	snprintf(w->identity, sizeof w->identity, "%s", now);
}

/* Wait for the daemon to come back.  False where the person ended it. */
static bool come_back(struct client *c)
{
	const struct timespec nap = {RETRY_MS / 1000, RETRY_MS % 1000 * 1000000L};
	FILE *err = c->err;
	enum outcome outcome = OUTCOME_UNREACHABLE;
	fprintf(err, "waiting for it to come back; Ctrl-C ends\n");
	link_close(c->link);
	c->link = NULL;
	while (!stopped(c) && !c->link) {
		nanosleep(&nap, NULL);
		struct fault why;
		struct link_target target = {.socket = client_socket(c), .timeout_ms = c->timeout_ms};
		c->link = link_open(&target, &outcome, &why);
	}
	if (c->link)
		fprintf(err, "it is back\n");
	return c->link != NULL;
}

enum outcome call_watch(struct client *c)
{
	struct watching w = {.last = -1};
	enum outcome outcome;
	bool lost;
	const char *after = client_option(c, OPTION_AFTER);
	w.texts = client_has(c, OPTION_JSON) || (!c->out_terminal && !client_has(c, OPTION_PLAIN));
	if (after && !client_seq(c, after, "--after", &w.last))
		return OUTCOME_WRONG;
	/* Not there at the start is not the same as gone for a while. */
	if (!client_open(c, NULL, &outcome))
		return outcome;
	for (;;) {
		note_identity(c, &w);
		outcome = watch_once(c, &w, &lost);
		if (!lost || w.texts || stopped(c))
			return outcome;
		if (!come_back(c))
			return OUTCOME_DONE;
	}
}
