/* SPDX-License-Identifier: MIT */
/*
 * Which unit a job is about: folded from its identity records, what was said last counts.
 */
#include "daemon/query_private.h"

#include "protocol/record/job_kinds.h"

#include <stdlib.h>

struct identity_reading {
	void (*each)(void *arg, const struct identity_body *body);
	void *arg;
	struct identity_body *body;
};

static bool identity_record(void *arg, int64_t seq, const char *text, size_t len)
{
	struct identity_reading *r = arg;
	(void)seq;
	if (identity_body_read(text, len, r->body))
		r->each(r->arg, r->body);
	return true;
}

bool identities_read(struct query *q, void (*each)(void *arg, const struct identity_body *body),
                     void *arg)
{
	struct identity_reading r = { each, arg, malloc(sizeof *r.body) };
	const struct log_query what = { .kind = "identity" };
	bool good = r.body ? query_each(q, &what, identity_record, &r) : query_no_memory(q);
	free(r.body);
	return good;
}

void identity_answer(struct answer *out, const struct job_identity *id)
{
	enum { SIZE = IDENTITY_COUNT * (6 * IDENTITY_CELL_SIZE + 32) };
	char *buffer = id ? malloc(SIZE) : NULL;
	struct text t;
	answer_puts(out, ",\"identity\":");
	if (!buffer) {
		answer_puts(out, "null");
		out->failed = out->failed || id;
		return;
	}
	text_begin(&t, buffer, SIZE);
	identity_write(&t, id);
	answer_add(out, t.bytes, t.len);
	free(buffer);
}
