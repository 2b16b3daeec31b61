/* SPDX-License-Identifier: MIT */
/*
 * What follows from the entries: what to replace, buy and measure again, and what parts do
 * in their place.
 */
#include "client/command_calls.h"

#include <string.h>

/* `--keep paper,C12`: a list of names. */
static json_t *keep_list(const char *text)
{
	json_t *list = json_array();
	while (text && *text) {
		size_t n = strcspn(text, ", ");
		if (n)
			json_array_append_new(list, json_stringn(text, n));
		text += n;
		text += strspn(text, ", ");
	}
	return list;
}

/* Every element of a list, one text a line. */
static void print_list(struct client *c, struct slice list)
{
	struct slice one;
	for (size_t cursor = 0; list.at && json_next(list, &cursor, &one);)
		client_json(c, one);
}

static void plan_json(struct client *c, struct slice result, enum plan_part part)
{
	struct slice one, list = json_member(result.at, result.len, "rounds");
	if (part != PLAN_ROUNDS) {
		print_list(c, json_member(result.at, result.len, part == PLAN_ORDER ? "order" : "recheck"));
		return;
	}
	for (size_t cursor = 0; json_next(list, &cursor, &one);)
		client_json(c, one);
}

static enum outcome plan(struct client *c, enum plan_part part)
{
	struct message m;
	struct lines out = {0};
	const char *round = client_option(c, OPTION_ROUND);
	if (round && (round[0] < '1' || round[0] > '3' || round[1]))
		return client_wrong(c, "--round \"%s\": 1, 2 or 3 was expected", round);
	json_t *params = client_params("job", client_option(c, OPTION_JOB), NULL);
	if (client_option(c, OPTION_KEEP))
		json_object_set_new(params, "keep", keep_list(client_option(c, OPTION_KEEP)));
	if (round)
		json_object_set_new(params, "round", json_integer(round[0] - '0'));
	enum outcome outcome = client_ask(c, "plan", params, &m);
	if (outcome == OUTCOME_DONE && client_has(c, OPTION_JSON)) {
		plan_json(c, m.result, part);
	} else if (outcome == OUTCOME_DONE) {
		view_plan(&c->style, m.result, part, client_has(c, OPTION_CSV), &out);
		client_lines(c, &out);
	}
	message_free(&m);
	return outcome;
}

enum outcome call_plan(struct client *c)
{
	return plan(c, PLAN_ROUNDS);
}

enum outcome call_plan_order(struct client *c)
{
	return plan(c, PLAN_ORDER);
}

enum outcome call_plan_recheck(struct client *c)
{
	return plan(c, PLAN_LOOK);
}

enum outcome call_places(struct client *c)
{
	struct message m;
	struct lines out = {0};
	json_t *params = client_params("position", client_word(c, 0), "job",
	                               client_option(c, OPTION_JOB), NULL);
	enum outcome outcome = client_ask(c, "places", params, &m);
	if (outcome == OUTCOME_DONE && client_has(c, OPTION_JSON)) {
		print_list(c, json_member(m.result.at, m.result.len, "places"));
	} else if (outcome == OUTCOME_DONE) {
		view_places(&c->style, m.result, &out);
		client_lines(c, &out);
	}
	message_free(&m);
	return outcome;
}
