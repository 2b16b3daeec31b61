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

/* Lists that come in pages: three rounds, what to buy, what to measure again. */
enum { LISTS = 5 };

struct pages {
	struct lines list[LISTS], whole;
	char name[3][80]; /* of the rounds */
};

static void list_add(struct lines *out, struct slice list)
{
	struct slice one;
	for (size_t cursor = 0; list.at && json_next(list, &cursor, &one);) {
		lines_puts(out, out->len ? "," : "");
		lines_add(out, one.at, one.len);
	}
}

static void page_add(struct pages *p, struct slice result)
{
	struct slice round, rounds = json_member(result.at, result.len, "rounds");
	size_t cursor = 0;
	for (int i = 0; i < 3 && json_next(rounds, &cursor, &round); i++) {
		json_text(json_member(round.at, round.len, "name"), p->name[i], sizeof p->name[i]);
		list_add(&p->list[i], json_member(round.at, round.len, "replace"));
	}
	list_add(&p->list[3], json_member(result.at, result.len, "order"));
	list_add(&p->list[4], json_member(result.at, result.len, "recheck"));
}

/* All pages as one: the last page's other members beside the whole lists. */
static void pages_join(struct pages *p, struct slice last)
{
	struct lines *out = &p->whole;
	struct slice key, value;
	lines_puts(out, "{");
	for (size_t cursor = 0; json_next_member(last, &cursor, &key, &value);) {
		struct slice k = key;
		lines_printf(out, "%s\"%.*s\":", out->len > 1 ? "," : "", (int)k.len, k.at);
		bool order = k.len == 5 && memcmp(k.at, "order", 5) == 0;
		if (k.len == 6 && memcmp(k.at, "rounds", 6) == 0) {
			for (int i = 0; i < 3; i++)
				lines_printf(out, "%s{\"round\":%d,\"name\":\"%s\",\"replace\":[%s]}", i ? "," : "[", i + 1,
				             p->name[i], lines_text(&p->list[i]));
			lines_puts(out, "]");
		} else if (order || (k.len == 7 && memcmp(k.at, "recheck", 7) == 0)) {
			lines_printf(out, "[%s]", lines_text(&p->list[order ? 3 : 4]));
		} else {
			lines_add(out, value.at, value.len);
		}
	}
	lines_puts(out, "}");
}

enum outcome plan_ask(struct client *c, json_t *params, struct lines *whole)
{
	struct pages p = {.whole = {0}};
	struct message m;
	enum outcome outcome;
	int64_t after = 0, next = 0;
	bool more;
	do {
		if (after)
			json_object_set_new(params, "after", json_integer(after));
		outcome = client_ask(c, "plan", json_copy(params), &m);
		if (outcome != OUTCOME_DONE) {
			message_free(&m);
			break;
		}
		page_add(&p, m.result);
		more = json_bool(json_member(m.result.at, m.result.len, "more"), false);
		json_int(json_member(m.result.at, m.result.len, "next"), &next);
		if (more && next <= after) /* a page that does not move on would come for ever */
			outcome = client_wrong(c, "the daemon says there is more of the plan and does not give it");
		else if (!more)
			pages_join(&p, m.result);
		after = next;
		message_free(&m);
	} while (outcome == OUTCOME_DONE && more);
	json_decref(params);
	bool failed = p.whole.failed;
	for (int i = 0; i < LISTS; i++) {
		failed = failed || p.list[i].failed;
		lines_free(&p.list[i]);
	}
	*whole = p.whole;
	return outcome == OUTCOME_DONE && failed ? client_wrong(c, "no memory for the plan") : outcome;
}

static enum outcome plan(struct client *c, enum plan_part part)
{
	struct lines out = {0}, whole = {0};
	const char *round = client_option(c, OPTION_ROUND);
	if (round && (round[0] < '1' || round[0] > '3' || round[1]))
		return client_wrong(c, "--round \"%s\": 1, 2 or 3 was expected", round);
	json_t *params = client_params("job", client_option(c, OPTION_JOB), NULL);
	if (client_option(c, OPTION_KEEP))
		json_object_set_new(params, "keep", keep_list(client_option(c, OPTION_KEEP)));
	if (round)
		json_object_set_new(params, "round", json_integer(round[0] - '0'));
	enum outcome outcome = plan_ask(c, params, &whole);
	struct slice result = {lines_text(&whole), whole.len};
	if (outcome == OUTCOME_DONE && client_has(c, OPTION_JSON)) {
		plan_json(c, result, part);
	} else if (outcome == OUTCOME_DONE) {
		view_plan(&c->style, result, part, client_has(c, OPTION_CSV), &out);
		client_lines(c, &out);
	}
	lines_free(&whole);
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
	static const char *const lists[] = {"places", NULL};
	struct lines out = {0}, whole = {0};
	json_t *params = client_params("position", client_word(c, 0), "job",
	                               client_option(c, OPTION_JOB), NULL);
	enum outcome outcome = client_whole(c, "places", params, lists, &whole);
	struct slice result = {lines_text(&whole), whole.len};
	if (outcome == OUTCOME_DONE && client_has(c, OPTION_JSON)) {
		print_list(c, json_member(result.at, result.len, "places"));
	} else if (outcome == OUTCOME_DONE) {
		view_places(&c->style, result, &out);
		client_lines(c, &out);
	}
	lines_free(&whole);
	return outcome;
}
