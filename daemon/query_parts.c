/* SPDX-License-Identifier: MIT */
/* `parts`: the loose parts of lots, as they were counted. */
#include "daemon/query_private.h"

#include <string.h>

struct counting {
	struct query *q;
	const char *job, *lot;
	int64_t limit, given, next;
	bool more;
};

static bool part_record(void *arg, int64_t seq, const char *text, size_t len)
{
	struct counting *n = arg;
	if (!query_of_job(n->job, text, len) ||
	    (n->lot && !json_is(json_member(text, len, "lot"), n->lot)))
		return true;
	n->more = n->given == n->limit || !query_room(n->q, len + 512);
	if (n->more)
		return false;
	answer_puts(&n->q->out, n->given++ ? ",{\"record\":" : "{\"record\":");
	answer_add(&n->q->out, text, len);
	answer_puts(&n->q->out, "}");
	n->next = seq;
	return true;
}

bool query_parts(struct query *q, json_t *params)
{
	struct page_bounds bounds = { 0, QUERY_LIMIT };
	const char *asked = NULL;
	char job[JOB_SIZE];
	struct counting n = { .q = q, .job = job };
	const struct param list[] = {
		{ "text", PARAM_TEXT, false, &n.lot }, { "job", PARAM_TEXT, false, &asked },
		{ "after", PARAM_WHOLE, false, &bounds.after }, { "limit", PARAM_WHOLE, false, &bounds.limit },
	};
	if (!params_read("parts", params, list, 4, q->why))
		return query_refuse(q, WIRE_BAD_PARAMS);
	if (!query_bounds(q, "parts", &bounds) || !query_job(q, asked, true, job))
		return false;
	const struct log_query from = { .after = bounds.after, .kind = "part" };
	n.next = bounds.after;
	n.limit = bounds.limit;
	answer_puts(&q->out, "{\"parts\":[");
	bool good = query_each(q, &from, part_record, &n);
	answer_puts(&q->out, "]");
	query_more(q, n.more, n.next);
	answer_puts(&q->out, "}");
	return good;
}
