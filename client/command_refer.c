/* SPDX-License-Identifier: MIT */
/*
 * What entries refer to: lead offsets, and checks of a meter against a reference part.
 * Both may wait for the hands: the daemon answers when the meter has settled.
 */
#include "client/command_calls.h"

/* The daemon waits 30 s for a touch, and then for the disk. */
#define TOUCH_MS 45000

static enum outcome ask_touch(struct client *c, const char *method, json_t *params,
                              struct message *m)
{
	enum outcome outcome = client_ask_for(c, method, params, TOUCH_MS, m);
	struct lines out = {0};
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
