/* SPDX-License-Identifier: MIT */
/*
 * Records with the hashes that seal them, a page at a time: what `tally export` writes
 * (protocol/record/export.h).  The texts go through as they stand.
 */
#include "daemon/query_private.h"

#include "protocol/record/export.h"

#include <stdlib.h>
#include <string.h>

struct page {
	struct query *q;
	char *hashes; /* "...","..." */
	size_t len, size;
	int64_t left, last;
	bool more, no_memory;
};

static bool add_hash(struct page *p, const uint8_t hash[SEAL_SIZE])
{
	enum { ONE = SEAL_HEX_SIZE + 3 };
	if (p->len + ONE > p->size) {
		size_t size = p->size ? 2 * p->size : 8192;
		char *more = realloc(p->hashes, size);
		p->no_memory = !more;
		if (!more)
			return false;
		p->hashes = more;
		p->size = size;
	}
	char *at = p->hashes + p->len;
	if (p->len)
		*at++ = ',';
	*at++ = '"';
	seal_hex(hash, SEAL_SIZE, at);
	at += SEAL_HEX_SIZE - 1;
	*at++ = '"';
	p->len = (size_t)(at - p->hashes);
	return true;
}

static bool add_record(void *arg, const struct log_sealed *s)
{
	struct page *p = arg;
	if (!p->left || !query_room(p->q, s->len + 1 + p->len + SEAL_HEX_SIZE + 3)) {
		p->more = true;
		return false;
	}
	if (p->q->out.bytes[p->q->out.len - 1] != '[')
		answer_puts(&p->q->out, ",");
	answer_add(&p->q->out, s->text, s->len);
	p->left--;
	p->last = s->seq;
	return add_hash(p, s->hash);
}

static void add_begin(struct query *q, const struct export_begin *b)
{
	char hash[SEAL_HEX_SIZE], key[2 * KEY_SIZE + 1];
	seal_hex(b->hash, SEAL_SIZE, hash);
	seal_hex(b->key, KEY_SIZE, key);
	answer_printf(&q->out, "{\"identity\":\"%s\",\"before\":\"%s\",\"key\":", b->identity, hash);
	if (b->has_key)
		answer_string(&q->out, key);
	else
		answer_puts(&q->out, "null");
	answer_puts(&q->out, ",\"records\":[");
}

bool query_export(struct query *q, json_t *params)
{
	struct page_bounds bounds = { 0, QUERY_LIMIT };
	struct query_log log;
	struct export_begin begin;
	int64_t until = 0;
	const struct param list[] = {
		{ "after", PARAM_WHOLE, false, &bounds.after }, { "limit", PARAM_WHOLE, false, &bounds.limit },
		{ "until", PARAM_WHOLE, false, &until },
	};
	if (!params_read("export", params, list, 3, q->why))
		return query_refuse(q, WIRE_BAD_PARAMS);
	if (!query_bounds(q, "export", &bounds))
		return false;
	if (!query_log(q->reader, &log, q->why))
		return query_refuse(q, WIRE_UNREADABLE);
	if (until == 0)
		until = log.last;
	if (bounds.after < 0 || bounds.after >= until || until > log.last) {
		fault_set(q->why, "the log has the records 1 to %lld; %lld to %lld were asked for",
		          (long long)log.last, (long long)bounds.after + 1, (long long)until);
		return query_refuse(q, WIRE_BAD_INPUT);
	}
	if (!log_reader_begin(q->reader, bounds.after, &begin, q->why))
		return query_refuse(q, WIRE_BAD_INPUT);
	struct page page = { .q = q, .left = bounds.limit, .last = bounds.after };
	add_begin(q, &begin);
	bool good = log_reader_sealed(q->reader, bounds.after, until, add_record, &page, q->why) >= 0 ||
	            query_refuse(q, WIRE_UNREADABLE);
	if (page.no_memory)
		good = query_no_memory(q);
	answer_puts(&q->out, "],\"hashes\":[");
	answer_add(&q->out, page.hashes, page.len);
	answer_printf(&q->out, "],\"until\":%lld", (long long)until);
	query_more(q, page.more, page.last);
	answer_puts(&q->out, "}");
	free(page.hashes);
	return good;
}
