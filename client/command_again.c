/* SPDX-License-Identifier: MIT */
/*
 * A unit that came back: what was measured in its earlier job beside what is measured now.
 */
#include "client/command_calls.h"

#include <string.h>

static void each_beside(struct client *c, struct slice element, struct slice result, void *arg)
{
	(void)result;
	if (element.at && client_has(c, OPTION_JSON))
		client_json(c, element);
	else if (element.at)
		view_beside_add(arg, &c->style, element);
}

enum outcome call_beside(struct client *c, const char *position, const char *beside)
{
	struct view_list v;
	struct lines out = {0};
	json_t *params = client_params("position", position, "job", client_option(c, OPTION_JOB), "beside",
	                               beside, NULL);
	view_beside_begin(&v);
	enum outcome outcome = client_pages(c, "beside", params, "positions", each_beside, &v);
	if (outcome == OUTCOME_DONE && !client_has(c, OPTION_JSON)) {
		view_beside_print(&v, &c->style, &out);
		client_lines(c, &out);
	}
	view_list_end(&v);
	return outcome;
}

static void each_before(struct client *c, struct slice element, struct slice result, void *arg)
{
	char text[WORDS_SIZE * 2], quantity[40];
	(void)result;
	if (!element.at)
		return;
	words_member(element, "quantity", quantity, sizeof quantity);
	view_before(&c->style, element, text, sizeof text);
	fact_printf(arg, &c->style, "before", "%s, %s", quantity, text);
}

void say_before(struct client *c, struct slice chosen)
{
	char position[WORDS_SIZE], again[WORDS_SIZE];
	struct lines out = {0};
	words_member(chosen, "position", position, sizeof position);
	words_member(chosen, "again", again, sizeof again);
	if (!position[0] || !again[0])
		return;
	client_pages(c, "beside", client_params("position", position, NULL), "positions", each_before,
	             &out);
	client_lines(c, &out);
}

void say_beside(struct client *c, const char *position)
{
	struct message m;
	char again[WORDS_SIZE] = "";
	json_t *params = client_params("job", client_option(c, OPTION_JOB), NULL);
	if (client_ask(c, "job.show", params, &m) == OUTCOME_DONE)
		words_member(m.result, "again", again, sizeof again);
	message_free(&m);
	if (!again[0])
		return;
	fprintf(c->out, "beside job %s:\n", again);
	call_beside(c, position, NULL);
}
