/* SPDX-License-Identifier: MIT */
/*
 * What the technician decides at the bench: position, reach, condition, walk.
 */
#include "client/command_calls.h"

#include <string.h>

enum outcome call_at(struct client *c)
{
	struct message m;
	struct lines out = {0};
	json_t *params = client_params("position", client_word(c, 0), "quantity", client_word(c, 1),
	                               "meter", client_option(c, OPTION_METER), NULL);
	enum outcome outcome = client_ask(c, "at", params, &m);
	if (outcome == OUTCOME_DONE && client_has(c, OPTION_JSON)) {
		client_json(c, m.result);
	} else if (outcome == OUTCOME_DONE) {
		view_chosen(&c->style, m.result, &out);
		view_bound(&c->style, m.result, &out);
		client_lines(c, &out);
		say_before(c, json_member(m.result.at, m.result.len, "chosen"));
	}
	message_free(&m);
	return outcome;
}

/* A setting of one word: without it, say what it is. */
static enum outcome set_word(struct client *c, const char *name)
{
	struct message m;
	struct lines out = {0};
	char text[WORDS_SIZE];
	const char *word = client_word(c, 0);
	enum outcome outcome = word ? client_ask(c, name, client_params(name, word, NULL), &m)
	                            : client_ask(c, "status", NULL, &m);
	if (outcome == OUTCOME_DONE && client_has(c, OPTION_JSON) && word) {
		client_json(c, m.result);
	} else if (outcome == OUTCOME_DONE && client_has(c, OPTION_JSON)) {
		struct slice value = json_member(m.result.at, m.result.len, name);
		lines_printf(&out, "{\"%s\":%.*s}\n", name, value.at ? (int)value.len : 4,
		             value.at ? value.at : "null");
		client_lines(c, &out);
	} else if (outcome == OUTCOME_DONE) {
		words_member(m.result, name, text, sizeof text);
		fact(&out, &c->style, name, text[0] ? text : word ? word : "not known");
		struct slice chosen = json_member(m.result.at, m.result.len, "chosen");
		if (word && chosen.at && *chosen.at == '{')
			view_chosen(&c->style, chosen, &out);
		client_lines(c, &out);
	}
	message_free(&m);
	return outcome;
}

enum outcome call_reach(struct client *c)
{
	return set_word(c, "reach");
}

enum outcome call_condition(struct client *c)
{
	return set_word(c, "condition");
}

enum outcome call_walk(struct client *c)
{
	struct message m;
	struct lines out = {0};
	char text[WORDS_SIZE];
	const char *word = client_word(c, 0), *meters = client_option(c, OPTION_METERS);
	int64_t n = 0;
	if (!word && (meters || client_option(c, OPTION_ORDER)))
		return client_wrong(c, "say on or lift with --order and --meters");
	if (!word)
		return set_word(c, "walk");
	if (meters && !client_seq(c, meters, "--meters", &n))
		return OUTCOME_WRONG;
	json_t *params = client_params("walk", word, "order", client_option(c, OPTION_ORDER), "prefix",
	                               client_option(c, OPTION_PREFIX), NULL);
	if (meters)
		json_object_set_new(params, "meters", json_integer(n));
	enum outcome outcome = client_ask(c, "walk", params, &m);
	if (outcome == OUTCOME_DONE && client_has(c, OPTION_JSON)) {
		client_json(c, m.result);
	} else if (outcome == OUTCOME_DONE) {
		words_member(m.result, "walk", text, sizeof text);
		fact(&out, &c->style, "walk", text[0] ? text : word);
		if (json_int(json_member(m.result.at, m.result.len, "meters"), &n) && n > 1) {
			snprintf(text, sizeof text, "%lld, one after the other, at each position", (long long)n);
			fact(&out, &c->style, "meters", text);
		}
		struct slice chosen = json_member(m.result.at, m.result.len, "chosen");
		if (chosen.at && *chosen.at == '{')
			view_chosen(&c->style, chosen, &out);
		client_lines(c, &out);
	}
	message_free(&m);
	return outcome;
}

enum outcome call_next(struct client *c)
{
	return client_show(c, "next", NULL, view_chosen);
}

enum outcome call_back(struct client *c)
{
	return client_show(c, "back", NULL, view_chosen);
}

enum outcome call_again(struct client *c)
{
	const char *word = client_word(c, 0);
	if (word && strcmp(word, "swapped") != 0)
		return client_wrong(c, "again \"%s\": swapped was expected, or nothing", word);
	json_t *params = json_object();
	if (word)
		json_object_set_new(params, "swapped", json_true());
	return client_show(c, "again", params, view_chosen);
}
