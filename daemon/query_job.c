/* SPDX-License-Identifier: MIT */
/*
 * Jobs, folded from their records: the last record of a job says how it stands.
 */
#include "daemon/query_private.h"

#include "protocol/record/job_kinds.h"

#include <stdlib.h>
#include <string.h>

/* ---- jobs ---- */

struct job_line {
	struct job_body now; /* as its last record says */
	int64_t seq, t;      /* of the record that started it first */
	int64_t started;     /* seq of the one that started it last */
	int64_t positions, entries;
	char again[JOB_SIZE];          /* the earlier job of this unit, "" for none */
	struct job_identity *identity; /* NULL: nothing was said */
};

struct jobs {
	struct job_line *at;
	size_t n, size;
	bool no_memory;
};

static struct job_line *job_find(const struct jobs *jobs, const char *name)
{
	/* The newest is asked for most. */
	for (size_t i = jobs->n; i-- > 0;)
		if (!strcmp(jobs->at[i].now.job, name))
			return &jobs->at[i];
	return NULL;
}

static struct job_line *job_add(struct jobs *jobs)
{
	if (jobs->n == jobs->size) {
		size_t size = jobs->size ? 2 * jobs->size : 16;
		struct job_line *at = realloc(jobs->at, size * sizeof *at);
		if (!at)
			return NULL;
		jobs->at = at;
		jobs->size = size;
	}
	struct job_line *line = &jobs->at[jobs->n++];
	memset(line, 0, sizeof *line);
	return line;
}

static bool job_record(void *arg, int64_t seq, const char *text, size_t len)
{
	struct jobs *jobs = arg;
	struct job_body body;
	struct record_head head;
	if (!job_body_read(text, len, &body) || !record_head_read(text, len, &head))
		return true; /* of a later version: not understood, not guessed */
	struct job_line *line = job_find(jobs, body.job);
	if (!line) {
		line = job_add(jobs);
		if (!line) {
			jobs->no_memory = true;
			return false;
		}
		line->seq = seq;
		line->t = head.t;
	}
	if (body.change == JOB_STARTED || !line->started)
		line->started = seq;
	if (body.change == JOB_STARTED)
		memcpy(line->again, body.again, sizeof line->again);
	line->now = body;
	return true;
}

static void identity_found(void *arg, const struct identity_body *body)
{
	struct jobs *jobs = arg;
	struct job_line *line = job_find(jobs, body->job);
	if (line && !line->identity)
		line->identity = calloc(1, sizeof *line->identity);
	if (line && line->identity)
		identity_over(line->identity, &body->said);
	jobs->no_memory = jobs->no_memory || (line && !line->identity);
}

static void jobs_free(struct jobs *jobs)
{
	for (size_t i = 0; i < jobs->n; i++)
		free(jobs->at[i].identity);
	free(jobs->at);
}

static bool jobs_read(struct query *q, struct jobs *jobs)
{
	memset(jobs, 0, sizeof *jobs);
	const struct log_query what = { .kind = "job" };
	if (!query_each(q, &what, job_record, jobs) || !identities_read(q, identity_found, jobs))
		return false;
	return !jobs->no_memory || query_no_memory(q);
}

static bool newest_job(void *arg, int64_t seq, const char *text, size_t len)
{
	(void)seq;
	struct job_body body;
	if (!job_body_read(text, len, &body))
		return true;
	if (body.change != JOB_STARTED)
		return true;
	memcpy(arg, body.job, JOB_SIZE);
	return false;
}

bool query_job(struct query *q, const char *asked, bool all, char out[JOB_SIZE])
{
	memset(out, 0, JOB_SIZE);
	if (asked && all && !strcmp(asked, QUERY_ALL_JOBS))
		return true;
	if (!asked) {
		const struct log_query what = { .kind = "job", .newest_first = true };
		return query_each(q, &what, newest_job, out);
	}
	struct jobs jobs;
	bool good = jobs_read(q, &jobs);
	if (good && !job_find(&jobs, asked)) {
		fault_set(q->why, "there is no job \"%.64s\" in this log; `tally job list` lists them",
		          asked);
		good = query_refuse(q, WIRE_BAD_INPUT);
	} else if (good) {
		snprintf(out, JOB_SIZE, "%s", asked);
	}
	jobs_free(&jobs);
	return good;
}

bool query_of_job(const char *job, const char *text, size_t len)
{
	if (!job[0])
		return true;
	char of[JOB_SIZE];
	record_job(text, len, of);
	return !strcmp(of, job);
}

/* ---- counting entries that are not struck ---- */

struct counting {
	const struct said_list *strikes, *moves;
	const struct names *names;
	const char *job;
	void (*count)(void *arg, const char *job, const char *position, const char *text, size_t len);
	void *arg;
};

static bool entry_counted(void *arg, int64_t seq, const char *text, size_t len)
{
	const struct counting *c = arg;
	char job[JOB_SIZE], position[NAME_SIZE];
	record_job(text, len, job);
	if ((c->job[0] && strcmp(job, c->job)) || said_of(c->strikes, seq))
		return true;
	said_position(c->moves, c->names, seq, text, len, position);
	c->count(c->arg, job, position, text, len);
	return true;
}

bool entries_count(struct query *q, const char *job,
                   void (*count)(void *arg, const char *job, const char *position, const char *text,
                                 size_t len),
                   void *arg)
{
	struct said_list strikes = { 0 }, moves = { 0 };
	struct names names = { 0 };
	struct counting c = { &strikes, &moves, &names, job, count, arg };
	const struct log_query what = { .kind = "entry" };
	bool good = said_read(q, "strike", 0, false, NULL, NULL, &strikes) &&
	            said_read(q, "move", 0, false, NULL, NULL, &moves) && names_read(q, &names) &&
	            query_each(q, &what, entry_counted, &c);
	said_free(&strikes);
	said_free(&moves);
	names_free(&names);
	return good;
}

static void count_for_job(void *arg, const char *job, const char *position, const char *text,
                          size_t len)
{
	(void)position, (void)text, (void)len;
	struct job_line *line = job_find(arg, job);
	if (line)
		line->entries++;
}

/* Positions of every job: each counts once, where it was named first. */
struct seen {
	struct jobs *jobs;
	char **keys; /* "index/position", sorted */
	size_t n, size;
	struct names names;
	bool no_memory;
};

static size_t seen_place(const struct seen *s, const char *key, bool *there)
{
	size_t low = 0, high = s->n;
	while (low < high) {
		size_t middle = low + (high - low) / 2;
		if (strcmp(s->keys[middle], key) < 0)
			low = middle + 1;
		else
			high = middle;
	}
	*there = low < s->n && !strcmp(s->keys[low], key);
	return low;
}

static bool position_seen(void *arg, int64_t seq, const char *text, size_t len)
{
	struct seen *s = arg;
	char job[JOB_SIZE], position[NAME_SIZE], key[NAME_SIZE + 24];
	record_job(text, len, job);
	json_text(json_member(text, len, "position"), position, sizeof position);
	names_follow(&s->names, job, seq, position);
	struct job_line *line = job_find(s->jobs, job);
	if (!line)
		return true;
	/* The index with its zeros: jobs come one after the other, so the end moves. */
	snprintf(key, sizeof key, "%012zu/%s", (size_t)(line - s->jobs->at), position);
	bool there;
	size_t place = seen_place(s, key, &there);
	if (there)
		return true;
	if (s->n == s->size) {
		size_t size = s->size ? 2 * s->size : 256;
		char **keys = realloc(s->keys, size * sizeof *keys);
		if (keys) {
			s->keys = keys;
			s->size = size;
		}
	}
	char *copy = s->n < s->size ? strdup(key) : NULL;
	if (!copy) {
		s->no_memory = true;
		return false;
	}
	memmove(s->keys + place + 1, s->keys + place, (s->n - place) * sizeof *s->keys);
	s->keys[place] = copy;
	s->n++;
	line->positions++;
	return true;
}

static bool positions_count(struct query *q, struct jobs *jobs)
{
	struct seen s = { .jobs = jobs };
	const struct log_query what = { .kind = "position" };
	bool good = names_read(q, &s.names) && query_each(q, &what, position_seen, &s);
	if (good && s.no_memory)
		good = query_no_memory(q);
	for (size_t i = 0; i < s.n; i++)
		free(s.keys[i]);
	free(s.keys);
	names_free(&s.names);
	return good;
}

/* ---- job.list, job.show ---- */

/* fits: how many positions have another part now; -1 leaves it out. */
static void job_write(struct answer *out, const struct job_line *line, int64_t fits)
{
	char t[48];
	struct text time;
	text_begin(&time, t, sizeof t);
	text_time(&time, line->t);
	answer_puts(out, "{\"job\":");
	answer_string(out, line->now.job);
	answer_printf(out, ",\"seq\":%lld,\"t\":%s,\"open\":%s,\"state\":\"%s\"", (long long)line->seq,
	              t, line->now.open ? "true" : "false", line->now.live ? "live" : "cold");
	answer_printf(out, ",\"condition\":\"%s\",\"reach\":\"%s\"", condition_name(line->now.condition),
	              reach_name(line->now.reach));
	answer_printf(out, ",\"positions\":%lld,\"entries\":%lld", (long long)line->positions,
	              (long long)line->entries);
	if (fits >= 0)
		answer_printf(out, ",\"fits\":%lld", (long long)fits);
	answer_puts(out, ",\"again\":");
	answer_name(out, line->again);
	identity_answer(out, line->identity);
	answer_puts(out, "}");
}

bool query_job_list(struct query *q, json_t *params)
{
	struct page_bounds bounds = { 0, QUERY_LIMIT };
	const struct param list[] = {
		{ "after", PARAM_WHOLE, false, &bounds.after },
		{ "limit", PARAM_WHOLE, false, &bounds.limit },
	};
	if (!params_read("job.list", params, list, 2, q->why))
		return query_refuse(q, WIRE_BAD_PARAMS);
	struct jobs jobs = { 0 };
	bool good = query_bounds(q, "job.list", &bounds) && jobs_read(q, &jobs) &&
	            positions_count(q, &jobs) && entries_count(q, "", count_for_job, &jobs);
	int64_t given = 0, next = bounds.after;
	bool more = false;
	answer_puts(&q->out, "{\"jobs\":[");
	for (size_t i = 0; good && i < jobs.n; i++) {
		if (jobs.at[i].seq <= bounds.after)
			continue;
		/* A name of control characters grows sixfold; cells have none. */
		size_t unit = jobs.at[i].identity ? 2 * sizeof *jobs.at[i].identity : 0;
		more = given == bounds.limit || !query_room(q, 512 + 12 * JOB_SIZE + unit);
		if (more)
			break;
		answer_puts(&q->out, given++ ? "," : "");
		job_write(&q->out, &jobs.at[i], -1);
		next = jobs.at[i].seq;
	}
	answer_puts(&q->out, "]");
	query_more(q, more, next);
	answer_puts(&q->out, "}");
	jobs_free(&jobs);
	return good;
}

static bool fits_count(struct query *q, const char *job, int64_t *fits)
{
	struct sheet_lines lines;
	if (!sheet_lines_read(q, job, &lines))
		return false;
	for (size_t i = 0; i < lines.n; i++)
		*fits += lines.at[i].fit != NULL;
	sheet_lines_free(&lines);
	return true;
}

bool query_job_show(struct query *q, json_t *params)
{
	const char *asked = NULL;
	char name[JOB_SIZE];
	const struct param list[] = { { "job", PARAM_TEXT, false, &asked } };
	if (!params_read("job.show", params, list, 1, q->why))
		return query_refuse(q, WIRE_BAD_PARAMS);
	if (!query_job(q, asked, false, name))
		return false;
	if (!name[0]) {
		fault_set(q->why, "there is no job in this log yet; `tally job start NAME` begins one");
		return query_refuse(q, WIRE_REFUSED);
	}
	struct jobs jobs = { 0 };
	bool good = jobs_read(q, &jobs) && positions_count(q, &jobs) &&
	            entries_count(q, name, count_for_job, &jobs);
	const struct job_line *line = good ? job_find(&jobs, name) : NULL;
	int64_t fits = 0;
	good = line && fits_count(q, name, &fits);
	if (good)
		job_write(&q->out, line, fits);
	jobs_free(&jobs);
	return good;
}
