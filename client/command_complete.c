/* SPDX-License-Identifier: MIT */
/*
 * `tally complete -- WORD...`: what a shell may put where the cursor is.
 *
 * Whoever presses Tab waits for this, so that the daemon has a fraction of a second to
 * answer; whatever goes wrong is silence, for a message would stand in the middle of what is
 * typed.
 */
#include "client/command_calls.h"

#include "client/complete.h"

#include <stdlib.h>
#include <string.h>

#define ASK_MS 400
/* A log file is opened by a daemon of our own. */
#define ASK_FILE_MS 2000
/* Pages of a list, so that a huge sheet does not keep the shell waiting. */
#define PAGES_MAX 8

struct asking {
	struct client *client;
	bool failed;
};

static bool connect_once(struct complete *c, struct asking *a)
{
	struct fault why;
	enum outcome outcome;
	struct client *client = a->client;
	if (client->link || a->failed)
		return client->link != NULL;
	struct link_target target = {
	    .socket = c->socket ? c->socket : client_socket(client),
	    .file = c->file,
	    .program = client->program,
	    .timeout_ms = c->file ? ASK_FILE_MS : ASK_MS,
	};
	client->link = link_open(&target, &outcome, &why);
	a->failed = !client->link;
	return !a->failed;
}

/* Offer a member of each element, with another beside it. */
static void offer_each(struct complete *c, struct slice list, const char *name, const char *what)
{
	struct slice element;
	size_t cursor = 0;
	while (json_next(list, &cursor, &element)) {
		char text[WORDS_SIZE], beside[WORDS_SIZE];
		words_member(element, name, text, sizeof text);
		words_member(element, what, beside, sizeof beside);
		complete_offer(c, text, beside);
	}
}

static void ask(struct complete *c, enum complete_source source)
{
	static const struct {
		const char *method, *list, *name, *what;
		bool pages;
	} table[] = {[COMPLETE_METERS] = {"meters", "meters", "name", "shown", false},
	             [COMPLETE_POSITIONS] = {"sheet.show", "rows", "position", "written.nominal", true},
	             [COMPLETE_JOBS] = {"job.list", "jobs", "job", "state", true}};
	struct asking *a = c->arg;
	int64_t after = 0;
	for (int page = 0; page < PAGES_MAX && connect_once(c, a); page++) {
		struct message m;
		int64_t next = 0;
		json_t *params = after ? json_pack("{s:I}", "after", (json_int_t)after) : NULL;
		bool good = link_call(a->client->link, table[source].method, params,
		                      c->file ? ASK_FILE_MS : ASK_MS, &m) == OUTCOME_DONE;
		if (good) {
			offer_each(c, json_member(m.result.at, m.result.len, table[source].list),
			           table[source].name, table[source].what);
			good = table[source].pages &&
			       json_bool(json_member(m.result.at, m.result.len, "more"), false) &&
			       json_int(json_member(m.result.at, m.result.len, "next"), &next) && next > after;
			after = next;
		}
		message_free(&m);
		if (!good)
			return;
	}
}

enum outcome call_complete(struct client *c)
{
	struct asking a = {.client = c};
	struct lines out = {0};
	struct complete complete = {
	    .words = c->args.words, .count = c->args.count, .ask = ask, .arg = &a, .out = &out};
	complete_run(&complete);
	client_lines(c, &out);
	return OUTCOME_DONE;
}
