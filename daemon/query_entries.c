/* SPDX-License-Identifier: MIT */
/*
 * `entries`: sealed entries verbatim, each with what was said of it afterwards.
 */
#include "daemon/query_private.h"

#include <stdlib.h>
#include <string.h>

struct found {
	int64_t seq;
	char *text;
	size_t len;
};

struct entries {
	struct query *q;
	const char *job, *position, *valve;
	struct valves valves;
	int64_t limit;
	size_t bytes;
	struct said_list strikes, moves, rejudged;
	struct names names;
	struct found *at;
	size_t n, size;
	bool more, no_memory;
};

static bool keep(struct entries *e, int64_t seq, const char *text, size_t len)
{
	if (e->n == e->size) {
		size_t size = e->size ? 2 * e->size : 64;
		struct found *at = realloc(e->at, size * sizeof *at);
		if (!at)
			return false;
		e->at = at;
		e->size = size;
	}
	char *copy = malloc(len + 1);
	if (!copy)
		return false;
	memcpy(copy, text, len);
	copy[len] = '\0';
	e->at[e->n++] = (struct found){ seq, copy, len };
	e->bytes += len;
	return true;
}

static bool entry_found(void *arg, int64_t seq, const char *text, size_t len)
{
	struct entries *e = arg;
	char position[NAME_SIZE];
	if (!query_of_job(e->job, text, len))
		return true;
	if (e->position) {
		said_position(&e->moves, &e->names, seq, text, len, position);
		if (strcmp(position, e->position))
			return true;
	}
	if (e->valve && !valves_has(&e->valves, &e->moves, &e->names, seq, text, len, e->valve))
		return true;
	if ((int64_t)e->n == e->limit || (e->n && e->bytes + len > QUERY_ANSWER_MAX)) {
		e->more = true;
		return false;
	}
	e->no_memory = !keep(e, seq, text, len);
	return !e->no_memory;
}

static bool on_page(void *arg, int64_t of)
{
	const struct entries *e = arg;
	size_t low = 0, high = e->n;
	while (low < high) {
		size_t middle = low + (high - low) / 2;
		if (e->at[middle].seq < of)
			low = middle + 1;
		else
			high = middle;
	}
	return low < e->n && e->at[low].seq == of;
}

/* The `because` of a strike as it stands in the record. */
static void struck_add(struct answer *out, const struct said *strike)
{
	answer_printf(out, "{\"seq\":%lld,\"because\":", (long long)strike->seq);
	struct slice because = json_member(strike->text, strike->len, "because");
	if (because.at)
		answer_add(out, because.at, because.len);
	else
		answer_puts(out, "null");
	answer_puts(out, "}");
}

static void text_or_null(struct answer *out, const struct said *s)
{
	if (s)
		answer_add(out, s->text, s->len);
	else
		answer_puts(out, "null");
}

/* One element.  False where it has no room any more. */
static bool element_add(struct entries *e, const struct found *f)
{
	struct answer *out = &e->q->out;
	const struct said *strike = said_of(&e->strikes, f->seq), *move = said_of(&e->moves, f->seq),
	                  *rejudged = said_of(&e->rejudged, f->seq);
	char position[NAME_SIZE];
	const struct renamed *renamed = said_position(&e->moves, &e->names, f->seq, f->text, f->len,
	                                              position);
	size_t len = f->len + 192 + (renamed ? renamed->len : 0) +
	             (strike ? strike->len : 0) + (move ? move->len : 0) +
	             (rejudged ? rejudged->len : 0);
	if (!query_room(e->q, len))
		return false;
	answer_puts(out, out->bytes[out->len - 1] == '[' ? "{\"record\":" : ",{\"record\":");
	answer_add(out, f->text, f->len);
	answer_puts(out, ",\"struck\":");
	if (strike)
		struck_add(out, strike);
	else
		answer_puts(out, "false");
	answer_puts(out, ",\"moved\":");
	text_or_null(out, move);
	answer_puts(out, ",\"rejudged\":");
	text_or_null(out, rejudged);
	answer_puts(out, ",\"renamed\":");
	if (renamed)
		answer_add(out, renamed->text, renamed->len);
	else
		answer_puts(out, "null");
	answer_puts(out, ",\"position\":");
	answer_string(out, position);
	answer_puts(out, "}");
	return true;
}

static void entries_write(struct entries *e, int64_t after)
{
	size_t i = 0;
	answer_puts(&e->q->out, "{\"job\":");
	answer_name(&e->q->out, e->job);
	answer_puts(&e->q->out, ",\"entries\":[");
	while (i < e->n && element_add(e, &e->at[i]))
		i++;
	answer_puts(&e->q->out, "]");
	query_more(e->q, e->more || i < e->n, i ? e->at[i - 1].seq : after);
	answer_puts(&e->q->out, "}");
	/* Not even one had room: going on from `after` would never end. */
	if (i < e->n && i == 0)
		e->q->out.failed = true;
}

static bool entries_read(struct entries *e, int64_t after)
{
	struct query *q = e->q;
	if (!said_read(q, "move", after, true, NULL, NULL, &e->moves) || !names_read(q, &e->names) ||
	    (e->valve && !valves_read(q, &e->names, &e->valves)))
		return false;
	/* The position that the log indexes is the one at the time of the touch. */
	const struct log_query what = { .after = after, .kind = "entry",
		                        .position = e->moves.n || e->names.n ? NULL : e->position };
	if (!query_each(q, &what, entry_found, e))
		return false;
	if (e->no_memory)
		return query_no_memory(q);
	return !e->n || (said_read(q, "strike", e->at[0].seq, true, on_page, e, &e->strikes) &&
	                 said_read(q, "rejudge", e->at[0].seq, true, on_page, e, &e->rejudged));
}

bool query_entries(struct query *q, json_t *params)
{
	struct page_bounds bounds = { 0, QUERY_LIMIT };
	const char *asked = NULL;
	char job[JOB_SIZE];
	struct entries e = { .q = q, .job = job };
	const struct param list[] = {
		{ "position", PARAM_TEXT, false, &e.position },
		{ "job", PARAM_TEXT, false, &asked },
		{ "valve", PARAM_TEXT, false, &e.valve },
		{ "after", PARAM_WHOLE, false, &bounds.after },
		{ "limit", PARAM_WHOLE, false, &bounds.limit },
	};
	if (!params_read("entries", params, list, 5, q->why))
		return query_refuse(q, WIRE_BAD_PARAMS);
	/* A valve goes from unit to unit. */
	asked = !asked && e.valve ? QUERY_ALL_JOBS : asked;
	if (!query_bounds(q, "entries", &bounds) || !query_job(q, asked, true, job))
		return false;
	e.limit = bounds.limit;
	bool good = entries_read(&e, bounds.after);
	if (good)
		entries_write(&e, bounds.after);
	for (size_t i = 0; i < e.n; i++)
		free(e.at[i].text);
	free(e.at);
	said_free(&e.strikes);
	said_free(&e.moves);
	said_free(&e.rejudged);
	names_free(&e.names);
	valves_free(&e.valves);
	return good;
}
