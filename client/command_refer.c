/* SPDX-License-Identifier: MIT */
/*
 * What entries refer to: lead offsets, and checks of a meter against a reference part.
 * Both may wait for the hands: the daemon answers when the meter has settled.
 */
#include "client/command_calls.h"

/* The daemon waits 30 s for a touch, and then for the disk. */
#define TOUCH_MS 45000

/* Ctrl-C: the next touch is for what is up again, and the daemon is told so, by a link of its
 * own, for this one still waits for its answer. */
static void call_off(struct client *c)
{
	struct message m;
	enum outcome outcome;
	link_close(c->link);
	c->link = NULL;
	if (!client_open(c, NULL, &outcome))
		return;
	outcome = link_call(c->link, "again", NULL, LINK_CALL_MS, &m);
	fprintf(c->err, outcome == OUTCOME_DONE ? "called off: the next touch is for what is up\n"
	        : "the meter may still wait for its touch: `tally again` calls it off\n");
	message_free(&m);
}

static enum outcome ask_touch(struct client *c, const char *method, json_t *params,
                              struct message *m)
{
	struct lines out = {0};
	enum outcome outcome;
	*m = (struct message){0};
	if (!client_open(c, NULL, &outcome)) {
		json_decref(params);
		return outcome;
	}
	link_patience(c->link, c->stop, NULL, NULL);
	outcome = client_ask_for(c, method, params, TOUCH_MS, m);
	link_patience(c->link, NULL, NULL, NULL);
	if (outcome == OUTCOME_UNREACHABLE && c->stop && *c->stop)
		call_off(c);
	if (outcome != OUTCOME_DONE)
		return outcome;
	struct slice record = json_member(m->result.at, m->result.len, "record");
	if (record.at && client_has(c, OPTION_JSON)) {
		client_json(c, record);
	} else if (record.at) {
		view_record(&c->style, record, &out);
		client_lines(c, &out);
	}
	return outcome;
}

enum outcome call_offset(struct client *c)
{
	struct message m;
	const char *leads = client_word(c, 0);
	if (c->err_terminal)
		fprintf(c->err, "hold the tips %s\n", leads[0] == 's' ? "together" : "apart");
	enum outcome outcome = ask_touch(c, "offset", client_params("leads", leads, "meter",
	                                 client_option(c, OPTION_METER), NULL), &m);
	message_free(&m);
	return outcome;
}

enum outcome call_meters_check(struct client *c)
{
	struct message m;
	const char *position = client_word(c, 1);
	if (c->err_terminal)
		fprintf(c->err, "touch %s\n", position);
	enum outcome outcome = ask_touch(c, "meters.check", client_params("meter", client_word(c, 0),
	                                 "position", position, NULL), &m);
	if (outcome == OUTCOME_DONE &&
	    !json_bool(json_member(m.result.at, m.result.len, "record.agree"), false))
		outcome = OUTCOME_NO;
	message_free(&m);
	return outcome;
}
