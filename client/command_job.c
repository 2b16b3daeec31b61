/* SPDX-License-Identifier: MIT */
/*
 * Jobs: one unit on the bench, from taking in to handing back.
 */
#include "client/command_calls.h"

enum outcome call_job_start(struct client *c)
{
	char done[WORDS_SIZE];
	const char *name = client_word(c, 0), *like = client_option(c, OPTION_LIKE);
	const char *again = client_option(c, OPTION_AGAIN);
	if (like && again)
		return client_wrong(c, "--again takes the sheet of its job already: say --like or --again");
	if (like || again)
		return job_start_like(c, name, again ? again : like, again != NULL);
	snprintf(done, sizeof done, "started job %s", name);
	return client_change(c, "job.start", client_params("name", name, NULL), done);
}

enum outcome call_job_close(struct client *c)
{
	return client_change(c, "job.close", NULL, "closed the job");
}

static void each_job(struct client *c, struct slice job, struct slice result, void *arg)
{
	(void)result;
	if (job.at && client_has(c, OPTION_JSON))
		client_json(c, job);
	else if (job.at)
		view_jobs_add(arg, &c->style, job);
}

enum outcome call_job_list(struct client *c)
{
	struct view_list v;
	struct lines out = {0};
	view_jobs_begin(&v);
	enum outcome outcome = client_pages(c, "job.list", json_object(), "jobs", each_job, &v);
	if (outcome == OUTCOME_DONE && !client_has(c, OPTION_JSON)) {
		view_jobs_print(&v, &c->style, &out);
		client_lines(c, &out);
	}
	view_list_end(&v);
	return outcome;
}

enum outcome call_job_show(struct client *c)
{
	const char *job = client_word(c, 0) ? client_word(c, 0) : client_option(c, OPTION_JOB);
	return client_show(c, "job.show", client_params("job", job, NULL), view_job);
}

enum outcome call_job_live(struct client *c)
{
	return client_change(c, "job.state", client_params("state", "live", NULL), "the unit is live");
}

enum outcome call_job_cold(struct client *c)
{
	struct message m;
	struct lines out = {0};
	json_t *params = client_params("state", "cold", "because", client_option(c, OPTION_BECAUSE), NULL);
	enum outcome outcome = client_ask(c, "job.state", params, &m);
	if (outcome == OUTCOME_DONE && client_has(c, OPTION_JSON))
		client_json(c, m.result);
	message_free(&m);
	if (outcome != OUTCOME_DONE || client_has(c, OPTION_JSON))
		return outcome;
	/* Said is not measured: what does the daemon say of it now? */
	outcome = client_ask(c, "status", NULL, &m);
	if (outcome == OUTCOME_DONE) {
		view_safe(&c->style, m.result, &out);
		client_lines(c, &out);
		outcome = words_member_is(m.result, "state", "cold") ? OUTCOME_DONE : OUTCOME_NO;
	}
	message_free(&m);
	return outcome;
}
