/* SPDX-License-Identifier: MIT */
/* See query_guided.h. */
#include "daemon/query_guided.h"

#include <stdlib.h>
#include <string.h>

struct guided_reading {
	struct guided_list *list;
	struct names names;
	struct said_list strikes, moves;
	const char *job;
	bool no_memory;
};

/* Does everything that it rests on still count, there? */
static bool still_stands(const struct guided_reading *r, const char *text, size_t len)
{
	struct slice values = json_member(text, len, "values"), key, value;
	for (size_t cursor = 0; values.at && json_next_member(values, &cursor, &key, &value);) {
		int64_t seq;
		if (value.at && *value.at == '{' && json_int(json_member(value.at, value.len, "seq"), &seq) &&
		    (said_of(&r->strikes, seq) || said_of(&r->moves, seq)))
			return false;
	}
	return true;
}

static void amps(double x, char *out, size_t size)
{
	struct decimal d = decimal_strip(decimal_from_double(x, 3));
	int prefix = quantity_prefix(d, FUNCTION_AMP_DC);
	if (d.e > prefix)
		decimal_rescale(d, prefix, &d);
	quantity_shown(d, FUNCTION_AMP_DC, prefix, out, size);
}

/* "4.4 uA, at most 500 nA"; why it was given up, where it was. */
static void say(struct plan_run *run, const char *text, size_t len)
{
	char value[2 * DECIMAL_TEXT_SIZE], most[2 * DECIMAL_TEXT_SIZE], failed[96] = "";
	double x;
	json_text(json_member(text, len, "failed"), failed, sizeof failed);
	if (run->stopped && failed[0]) {
		snprintf(run->said, sizeof run->said, "%s", failed);
		return;
	}
	if (!json_number(json_member(text, len, "result.leakage.value"), &x))
		return;
	amps(x, value, sizeof value);
	snprintf(run->said, sizeof run->said, "%.40s", value);
	if (!json_number(json_member(text, len, "result.most"), &x))
		return;
	amps(x, most, sizeof most);
	snprintf(run->said, sizeof run->said, "%.40s, at most %.40s", value, most);
}

static bool run_of(const char *text, size_t len, int64_t seq, struct plan_run *run)
{
	struct slice kind = json_member(text, len, "guide"), event = json_member(text, len, "event");
	char word[16] = "";
	memset(run, 0, sizeof *run);
	run->seq = seq;
	run->reform = json_is(kind, "reform");
	run->stopped = json_is(event, "stopped");
	if ((!run->reform && !json_is(kind, "leak")) || (!run->stopped && !json_is(event, "done")))
		return false;
	json_text(json_member(text, len, "result.verdict"), word, sizeof word);
	run->word = !strcmp(word, "within") ? VERDICT_WITHIN : !strcmp(word, "outside") ? VERDICT_OUTSIDE
	            : !strcmp(word, "unsure") ? VERDICT_UNSURE : VERDICT_NONE;
	say(run, text, len);
	return true;
}

static struct guided *room_for(struct guided_list *list, const char *position)
{
	for (size_t i = 0; i < list->n; i++)
		if (!strcmp(list->at[i].position, position))
			return &list->at[i];
	if (list->n == list->size) {
		size_t size = list->size ? 2 * list->size : 16;
		struct guided *at = realloc(list->at, size * sizeof *at);
		if (!at)
			return NULL;
		list->at = at;
		list->size = size;
	}
	struct guided *g = &list->at[list->n++];
	memset(g, 0, sizeof *g);
	snprintf(g->position, sizeof g->position, "%s", position);
	return g;
}

static bool guide_record(void *arg, int64_t seq, const char *text, size_t len)
{
	struct guided_reading *r = arg;
	struct plan_run run;
	char position[NAME_SIZE], job[JOB_SIZE];
	if (!query_of_job(r->job, text, len) || !run_of(text, len, seq, &run) ||
	    !json_text(json_member(text, len, "of"), position, sizeof position) || !position[0] ||
	    !still_stands(r, text, len))
		return true;
	if (json_text(json_member(text, len, "job"), job, sizeof job))
		names_follow(&r->names, job, seq, position);
	struct guided *g = room_for(r->list, position);
	r->no_memory = !g;
	if (g)
		g->run = run;
	return g != NULL;
}

bool guided_read(struct query *q, const char *job, struct guided_list *out)
{
	struct guided_reading r = { .list = out, .job = job };
	const struct log_query what = { .kind = "guide" };
	memset(out, 0, sizeof *out);
	bool good = names_read(q, &r.names) && said_read(q, "strike", 0, false, NULL, NULL, &r.strikes) &&
	            said_read(q, "move", 0, false, NULL, NULL, &r.moves) &&
	            query_each(q, &what, guide_record, &r);
	said_free(&r.strikes);
	said_free(&r.moves);
	names_free(&r.names);
	return good && r.no_memory ? query_no_memory(q) : good;
}

void guided_free(struct guided_list *list)
{
	free(list->at);
	memset(list, 0, sizeof *list);
}
