/* SPDX-License-Identifier: MIT */
/*
 * What a position is called now.  A record keeps the name that its position had when it was
 * sealed; rename records below it say what it was called afterwards.  So the name of a
 * record is: the one that stands in it, then each later rename of that name in its job, one
 * after the other.
 */
#include "daemon/query_private.h"

#include "protocol/record/fit.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct names_reading {
	struct names *names;
	bool no_memory;
};

static bool rename_record(void *arg, int64_t seq, const char *text, size_t len)
{
	struct names_reading *r = arg;
	struct names *names = r->names;
	struct rename_body body;
	if (!rename_body_read(text, len, &body))
		return true; /* of a later version: not understood, not guessed */
	if (names->n == names->size) {
		size_t size = names->size ? 2 * names->size : 16;
		struct renamed *at = realloc(names->at, size * sizeof *at);
		if (at) {
			names->at = at;
			names->size = size;
		}
	}
	char *copy = names->n < names->size ? malloc(len + 1) : NULL;
	if (!copy) {
		r->no_memory = true;
		return false;
	}
	memcpy(copy, text, len);
	copy[len] = '\0';
	struct renamed *one = &names->at[names->n++];
	*one = (struct renamed){ .seq = seq, .text = copy, .len = len };
	memcpy(one->job, body.job, sizeof one->job);
	memcpy(one->from, body.from, sizeof one->from);
	memcpy(one->to, body.position, sizeof one->to);
	return true;
}

static bool job_record(void *arg, int64_t seq, const char *text, size_t len)
{
	struct names_reading *r = arg;
	struct names *names = r->names;
	struct job_body body;
	if (!job_body_read(text, len, &body))
		return true;
	const char *open = body.open ? body.job : "";
	if (names->job_count && !strcmp(names->jobs[names->job_count - 1].job, open))
		return true;
	if (names->job_count == names->job_size) {
		size_t size = names->job_size ? 2 * names->job_size : 16;
		struct since *jobs = realloc(names->jobs, size * sizeof *jobs);
		r->no_memory = !jobs;
		if (!jobs)
			return false;
		names->jobs = jobs;
		names->job_size = size;
	}
	struct since *since = &names->jobs[names->job_count++];
	since->seq = seq;
	snprintf(since->job, sizeof since->job, "%s", open);
	return true;
}

bool names_read(struct query *q, struct names *out)
{
	memset(out, 0, sizeof *out);
	struct names_reading r = { .names = out };
	const struct log_query what = { .kind = "rename" }, jobs = { .kind = "job" };
	bool good = query_each(q, &what, rename_record, &r) &&
	            (!out->n || query_each(q, &jobs, job_record, &r));
	if (good && r.no_memory)
		good = query_no_memory(q);
	if (!good)
		names_free(out);
	return good;
}

void names_free(struct names *names)
{
	for (size_t i = 0; i < names->n; i++)
		free(names->at[i].text);
	free(names->at);
	free(names->jobs);
	memset(names, 0, sizeof *names);
}

const struct renamed *names_follow(const struct names *names, const char *job, int64_t seq,
                                   char name[NAME_SIZE])
{
	const struct renamed *last = NULL;
	for (size_t i = 0; i < names->n; i++) {
		const struct renamed *r = &names->at[i];
		if (r->seq <= seq || strcmp(r->from, name) || strcmp(r->job, job))
			continue;
		memcpy(name, r->to, NAME_SIZE);
		last = r;
	}
	return last;
}

void names_at(const struct names *names, int64_t seq, char name[NAME_SIZE])
{
	size_t low = 0, high = names->job_count; /* the first that begins after it */
	while (low < high) {
		size_t middle = low + (high - low) / 2;
		if (names->jobs[middle].seq <= seq)
			low = middle + 1;
		else
			high = middle;
	}
	if (low)
		names_follow(names, names->jobs[low - 1].job, seq, name);
}

const struct renamed *said_position(const struct said_list *moves, const struct names *names,
                                    int64_t seq, const char *text, size_t len,
                                    char out[NAME_SIZE])
{
	const struct said *move = said_of(moves, seq);
	char job[JOB_SIZE];
	if (move)
		memcpy(out, move->position, NAME_SIZE);
	else
		json_text(json_member(text, len, "position"), out, NAME_SIZE);
	if (!names->n)
		return NULL;
	record_job(text, len, job);
	return names_follow(names, job, move ? move->seq : seq, out);
}
