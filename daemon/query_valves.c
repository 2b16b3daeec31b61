/* SPDX-License-Identifier: MIT */
/*
 * Which valve was in a socket when.  An entry says it itself; of one that was moved to another
 * socket the position records say it: the last one above the entry.
 */
#include "daemon/query_private.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

struct valves_reading {
	const struct names *names;
	struct valves *valves;
	bool no_memory;
};

static void valve_cell(const char *text, size_t len, char out[NAME_SIZE])
{
	struct slice extra = json_member(text, len, "sheet.extra"), key, value;
	out[0] = '\0';
	for (size_t cursor = 0; extra.at && json_next_member(extra, &cursor, &key, &value);)
		if (key.len == 5 && strncasecmp(key.at, "valve", 5) == 0)
			json_text(value, out, NAME_SIZE);
}

static bool position_record(void *arg, int64_t seq, const char *text, size_t len)
{
	struct valves_reading *r = arg;
	struct valves *v = r->valves;
	struct valve_line line = { .seq = seq };
	record_job(text, len, line.job);
	json_text(json_member(text, len, "position"), line.position, sizeof line.position);
	names_follow(r->names, line.job, seq, line.position);
	valve_cell(text, len, line.valve);
	if (v->n == v->size) {
		size_t size = v->size ? 2 * v->size : 256;
		struct valve_line *at = realloc(v->at, size * sizeof *at);
		r->no_memory = !at;
		if (!at)
			return false;
		v->at = at;
		v->size = size;
	}
	v->at[v->n++] = line;
	return true;
}

bool valves_read(struct query *q, const struct names *names, struct valves *out)
{
	struct valves_reading r = { names, out, false };
	const struct log_query what = { .kind = "position" };
	return query_each(q, &what, position_record, &r) && (!r.no_memory || query_no_memory(q));
}

void valves_free(struct valves *valves)
{
	free(valves->at);
	memset(valves, 0, sizeof *valves);
}

bool valves_has(const struct valves *valves, const struct said_list *moves,
                const struct names *names, int64_t seq, const char *text, size_t len,
                const char *valve)
{
	char job[JOB_SIZE], own[NAME_SIZE], position[NAME_SIZE];
	json_text(json_member(text, len, "position"), own, sizeof own);
	record_job(text, len, job);
	names_follow(names, job, seq, own);
	said_position(moves, names, seq, text, len, position);
	if (strcmp(own, position) == 0)
		return json_is(json_member(text, len, "valve"), valve);
	for (size_t i = valves->n; i-- > 0;)
		if (valves->at[i].seq < seq && !strcmp(valves->at[i].position, position) &&
		    !strcmp(valves->at[i].job, job))
			return !strcmp(valves->at[i].valve, valve);
	return false;
}
