/* SPDX-License-Identifier: MIT */
/*
 * The unit of a job: which one it is, and whether it may have its power back.
 */
#include "client/command_calls.h"

#include <stdlib.h>
#include <string.h>

enum outcome call_job_set(struct client *c)
{
	json_t *fields = sheet_fields_read(c, 0);
	if (!fields)
		return OUTCOME_WRONG;
	json_t *params = json_object();
	json_object_set_new(params, "fields", fields);
	return client_change(c, "job.set", params, "kept");
}

enum outcome call_job_ready(struct client *c)
{
	struct message m;
	struct lines out = {0};
	const char *job = client_word(c, 0) ? client_word(c, 0) : client_option(c, OPTION_JOB);
	enum outcome outcome = client_ask(c, "job.ready", client_params("job", job, NULL), &m);
	if (outcome == OUTCOME_DONE) {
		bool ready = view_ready(&c->style, m.result, "then say so: tally job fitted POSITION...",
		                        &out);
		if (client_has(c, OPTION_JSON)) {
			client_json(c, m.result);
			lines_free(&out);
		} else {
			client_lines(c, &out);
		}
		outcome = ready ? OUTCOME_DONE : OUTCOME_NO;
	}
	message_free(&m);
	return outcome;
}

enum outcome call_job_fitted(struct client *c)
{
	struct lines words = {0};
	for (int i = 0; i < c->args.count; i++)
		lines_printf(&words, "%s%s", i ? " " : "", client_word(c, i));
	json_t *params = client_params("positions", lines_text(&words), NULL);
	lines_free(&words);
	return client_change(c, "job.fitted", params, "fitted");
}
