/* SPDX-License-Identifier: MIT */
/*
 * The daemon as a service: how it stands, and its configuration anew.
 */
#include "client/command_calls.h"

enum outcome call_status(struct client *c)
{
	struct message m;
	struct lines out = {0};
	json_t *params = json_object();
	json_object_set_new(params, "service", json_true());
	enum outcome outcome = client_ask(c, "status", params, &m);
	if (outcome == OUTCOME_DONE) {
		struct slice service = json_member(m.result.at, m.result.len, "service");
		struct slice alarms = json_member(m.result.at, m.result.len, "alarms");
		bool danger = json_element(alarms, 0).at != NULL;
		bool well = json_bool(json_member(service.at, service.len, "ok"), true) && !danger;
		if (client_has(c, OPTION_JSON)) {
			client_json(c, m.result);
		} else {
			view_status(&c->style, m.result, &out);
			if (service.at)
				view_service(&c->style, service, danger, &out);
			client_lines(c, &out);
		}
		outcome = well ? OUTCOME_DONE : OUTCOME_NO;
	}
	message_free(&m);
	return outcome;
}

enum outcome call_reload(struct client *c)
{
	return client_show(c, "reload", NULL, view_reload);
}
