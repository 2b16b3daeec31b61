/* SPDX-License-Identifier: MIT */
/*
 * Jobs: one unit on the bench, from taking in to handing back.
 */
#include "client/command_calls.h"

/* A change that answers with the seq of its record. */
static enum outcome change(struct client *c, const char *method, json_t *params, const char *done,
                           const char *what)
{
	struct message m;
	int64_t seq = 0;
	enum outcome outcome = client_ask(c, method, params, &m);
	if (outcome == OUTCOME_DONE && client_has(c, OPTION_JSON)) {
		client_json(c, m.result);
	} else if (outcome == OUTCOME_DONE) {
		json_int(json_member(m.result.at, m.result.len, "seq"), &seq);
		fprintf(c->out, "%s%s%s: record %lld\n", done, what[0] ? " " : "", what, (long long)seq);
	}
	message_free(&m);
	return outcome;
}

enum outcome call_job_start(struct client *c)
{
	const char *name = client_word(c, 0);
	return change(c, "job.start", client_params("name", name, NULL), "started job", name);
}

enum outcome call_job_close(struct client *c)
{
	return change(c, "job.close", NULL, "closed the job", "");
}

enum outcome call_job_list(struct client *c)
{
	struct message m;
	struct lines out = {0};
	struct slice job;
	size_t cursor = 0;
	enum outcome outcome = client_ask(c, "job.list", NULL, &m);
	if (outcome == OUTCOME_DONE && client_has(c, OPTION_JSON)) {
		struct slice jobs = json_member(m.result.at, m.result.len, "jobs");
		while (json_next(jobs, &cursor, &job))
			client_json(c, job);
	} else if (outcome == OUTCOME_DONE) {
		view_jobs(&c->style, m.result, &out);
		client_lines(c, &out);
	}
	message_free(&m);
	return outcome;
}

enum outcome call_job_show(struct client *c)
{
	struct message m;
	struct lines out = {0};
	const char *job = client_word(c, 0) ? client_word(c, 0) : client_option(c, OPTION_JOB);
	enum outcome outcome = client_ask(c, "job.show", client_params("job", job, NULL), &m);
	if (outcome == OUTCOME_DONE && client_has(c, OPTION_JSON)) {
		client_json(c, m.result);
	} else if (outcome == OUTCOME_DONE) {
		view_job(&c->style, m.result, &out);
		client_lines(c, &out);
	}
	message_free(&m);
	return outcome;
}
