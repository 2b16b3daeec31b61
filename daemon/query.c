/* SPDX-License-Identifier: MIT */
/* See query.h. */
#include "daemon/query_private.h"

#include "protocol/record/checkpoint.h"

#include <stdlib.h>
#include <string.h>

static const struct {
	const char *method;
	bool (*run)(struct query *q, json_t *params);
} table[] = {
	{ "records", query_records },
	{ "verify", query_verify },
	{ "backup", query_backup },
	{ "export", query_export },
	{ "entries", query_entries },
	{ "job.list", query_job_list },
	{ "job.show", query_job_show },
	{ "job.ready", query_job_ready },
	{ "sheet.show", query_sheet_show },
	{ "notes", query_notes },
	{ "parts", query_parts },
	{ "photos", query_photos },
	{ "photo.read", query_photo_read },
	{ "sheet.missing", query_sheet_missing },
	{ "compare", query_compare },
	{ "beside", query_beside },
	{ "plan", query_plan },
	{ "places", query_places },
	{ "trail", query_trail },
	{ "trail.lines", query_trail_lines },
	{ "trail.envelope", query_trail_envelope },
};

#define METHODS (sizeof table / sizeof table[0])

bool query_known(const char *method)
{
	for (size_t i = 0; i < METHODS; i++)
		if (!strcmp(table[i].method, method))
			return true;
	return false;
}

bool query_writes(const char *method)
{
	return !strcmp(method, "backup");
}

static char *query_answer(struct query *q, const char *method, json_t *params, int *code)
{
	size_t i = 0;
	while (i < METHODS && strcmp(table[i].method, method))
		i++;
	if (i == METHODS) {
		*code = WIRE_NO_METHOD;
		fault_set(q->why, "no method \"%s\" here", method);
		return NULL;
	}
	answer_begin(&q->out, QUERY_ANSWER_MAX);
	bool good = table[i].run(q, params);
	if (good && q->out.failed) {
		good = false;
		fault_set(q->why, "%s: the answer does not fit; ask for less, with limit or position", method);
	}
	if (good)
		return answer_take(&q->out);
	answer_free(&q->out);
	*code = q->code;
	return NULL;
}

char *query_run(struct log_reader *reader, const char *method, json_t *params, int *code,
                struct fault *why)
{
	struct query q = { .reader = reader, .code = WIRE_UNREADABLE, .why = why };
	return query_answer(&q, method, params, code);
}

char *query_run_export(const char *path, const struct log_going *going, json_t *params, int *code,
                       struct fault *why)
{
	struct query q = { .export = path, .going = going, .code = WIRE_UNREADABLE, .why = why };
	return query_answer(&q, "verify", params, code);
}

/* ---- what the methods have in common ---- */

bool query_refuse(struct query *q, int code)
{
	q->code = code;
	return false;
}

bool query_no_memory(struct query *q)
{
	fault_set(q->why, "no memory for the answer; ask for less, with limit or position");
	return query_refuse(q, WIRE_UNREADABLE);
}

bool query_each(struct query *q, const struct log_query *what,
                bool (*each)(void *arg, int64_t seq, const char *text, size_t len), void *arg)
{
	if (log_reader_records(q->reader, what, each, arg, q->why) >= 0)
		return true;
	return query_refuse(q, WIRE_UNREADABLE);
}

bool query_bounds(struct query *q, const char *method, const struct page_bounds *bounds)
{
	if (bounds->limit >= 1 && bounds->limit <= QUERY_LIMIT_MAX)
		return true;
	fault_set(q->why, "%s: limit must be 1 to %d", method, QUERY_LIMIT_MAX);
	return query_refuse(q, WIRE_BAD_PARAMS);
}

bool query_room(const struct query *q, size_t len)
{
	/* What closes an answer: more, next, last and the brackets. */
	enum { END = 160 };
	return !q->out.failed && q->out.len + len + END <= q->out.max;
}

void query_more(struct query *q, bool more, int64_t next)
{
	if (more)
		answer_printf(&q->out, ",\"more\":true,\"next\":%lld", (long long)next);
	else
		answer_puts(&q->out, ",\"more\":false");
}

/* ---- what hello says ---- */

static bool last_seq(void *arg, int64_t seq, const char *text, size_t len)
{
	(void)text;
	(void)len;
	((struct query_log *)arg)->last = seq;
	return false;
}

static bool first_record(void *arg, int64_t seq, const char *text, size_t len)
{
	struct query_log *log = arg;
	if (seq == 1 && json_is(json_member(text, len, "kind"), "log")) {
		json_text(json_member(text, len, "identity"), log->identity, sizeof log->identity);
		json_text(json_member(text, len, "bench"), log->bench, sizeof log->bench);
	}
	return false;
}

bool query_log(struct log_reader *reader, struct query_log *out, struct fault *why)
{
	memset(out, 0, sizeof *out);
	const struct log_query first = { .until = 1, .limit = 1 };
	const struct log_query last = { .limit = 1, .newest_first = true };
	bool good = log_reader_records(reader, &first, first_record, out, why) >= 0;
	return log_reader_records(reader, &last, last_seq, out, why) >= 0 && good;
}

/* ---- records ---- */

bool record_page_add(void *arg, int64_t seq, const char *text, size_t len)
{
	struct record_page *r = arg;
	if (!r->left || !query_room(r->q, len + 1)) {
		r->more = true;
		return false;
	}
	if (r->q->out.bytes[r->q->out.len - 1] != '[')
		answer_puts(&r->q->out, ",");
	answer_add(&r->q->out, text, len);
	r->left--;
	r->last = seq;
	return true;
}

bool query_records(struct query *q, json_t *params)
{
	struct page_bounds bounds = { 0, QUERY_LIMIT };
	struct log_query what = { 0 };
	const struct param list[] = {
		{ "after", PARAM_WHOLE, false, &bounds.after }, { "limit", PARAM_WHOLE, false, &bounds.limit },
		{ "kind", PARAM_TEXT, false, &what.kind },
		{ "position", PARAM_TEXT, false, &what.position },
		{ "meter", PARAM_TEXT, false, &what.meter },
	};
	if (!params_read("records", params, list, 5, q->why))
		return query_refuse(q, WIRE_BAD_PARAMS);
	if (!query_bounds(q, "records", &bounds))
		return false;
	struct record_page r = { .q = q, .left = bounds.limit, .last = bounds.after };
	what.after = bounds.after;
	what.limit = (int)bounds.limit + 1; /* one more, to know whether there is more */
	answer_puts(&q->out, "{\"records\":[");
	if (!query_each(q, &what, record_page_add, &r))
		return false;
	answer_printf(&q->out, "],\"last\":%lld", (long long)r.last);
	query_more(q, r.more, r.last);
	answer_puts(&q->out, "}");
	return true;
}

/* ---- verify ---- */

static bool verdict_good(enum log_verdict v)
{
	return v == LOG_INTACT_NO_ANCHOR || v == LOG_INTACT_TO_ANCHOR || v == LOG_NEWER_THAN_ANCHOR;
}

/* What was kept outside: an anchor, a fingerprint. */
static bool read_pin(struct query *q, json_t *params, struct log_pin *pin)
{
	const char *anchor = NULL, *key = NULL;
	bool progress = false; /* whoever carries the answer sees to it */
	const struct param list[] = { { "anchor", PARAM_TEXT, false, &anchor },
		                          { "key", PARAM_TEXT, false, &key },
		                          { "progress", PARAM_FLAG, false, &progress } };
	if (!params_read("verify", params, list, 3, q->why))
		return query_refuse(q, WIRE_BAD_PARAMS);
	if (anchor && !anchor_parse(anchor, strlen(anchor), &pin->seq, pin->hash)) {
		fault_set(q->why, "\"%.90s\" is no anchor: SEQ:HASH is expected, HASH being 64 hex digits",
		          anchor);
		return query_refuse(q, WIRE_BAD_INPUT);
	}
	pin->has_key = key != NULL;
	if (key && !fingerprint_parse(key, strlen(key), pin->fingerprint)) {
		fault_set(q->why, "\"%.60s\" is no fingerprint of a key: 32 hex digits are expected", key);
		return query_refuse(q, WIRE_BAD_INPUT);
	}
	return true;
}

static void add_seq(struct query *q, const char *name, int64_t seq)
{
	answer_printf(&q->out, ",\"%s\":", name);
	if (seq)
		answer_printf(&q->out, "%lld", (long long)seq);
	else
		answer_puts(&q->out, "null");
}

/* Whose key it is, and how far it vouches. */
static void add_key(struct query *q, const struct log_check *check)
{
	uint8_t fingerprint[FINGERPRINT_SIZE];
	char text[FINGERPRINT_TEXT_SIZE];
	answer_puts(&q->out, ",\"key\":");
	if (check->has_key) {
		key_fingerprint(check->key, fingerprint);
		fingerprint_text(fingerprint, text);
		answer_string(&q->out, text);
	} else {
		answer_puts(&q->out, "null");
	}
	answer_printf(&q->out, ",\"keys\":%d,\"checkpoints\":%lld,\"entries_after\":%lld", check->keys,
	              (long long)check->checkpoints, (long long)check->entries_after);
	add_seq(q, "signed", check->signed_to);
	add_seq(q, "misfit", check->bad_signature);
}

void query_check(struct query *q, const struct log_check *check)
{
	char head[SEAL_HEX_SIZE];
	seal_hex(check->head, SEAL_SIZE, head);
	answer_puts(&q->out, "{\"verdict\":");
	answer_string(&q->out, log_verdict_name(check->verdict));
	answer_printf(&q->out, ",\"ok\":%s,\"records\":%lld,\"bad\":",
	              verdict_good(check->verdict) ? "true" : "false",
	              (long long)(check->records - check->after));
	if (check->verdict == LOG_ALTERED)
		answer_printf(&q->out, "%lld", (long long)check->bad_seq);
	else
		answer_puts(&q->out, "null");
	add_seq(q, "line", check->verdict == LOG_ALTERED ? check->bad_line : 0);
	add_seq(q, "column", check->verdict == LOG_ALTERED && check->bad_line ? check->bad_column : 0);
	answer_puts(&q->out, ",\"what\":");
	answer_string(&q->out, check->what);
	answer_puts(&q->out, ",\"head\":");
	if (check->records)
		answer_printf(&q->out, "\"%lld:%s\"", (long long)check->records, head);
	else
		answer_puts(&q->out, "null");
	answer_puts(&q->out, ",\"identity\":");
	answer_string(&q->out, check->identity);
	answer_printf(&q->out, ",\"first\":%lld", (long long)check->after + 1);
	add_key(q, check);
	answer_puts(&q->out, "}");
}

bool query_verify(struct query *q, json_t *params)
{
	struct log_pin pin = { 0 };
	struct log_check check;
	memset(&check, 0, sizeof check);
	if (!read_pin(q, params, &pin))
		return false;
	bool read = q->export ? log_export_verify(q->export, &pin, q->going, &check, q->why)
	                      : log_reader_verify(q->reader, &pin, &check, q->why);
	if (!read)
		return query_refuse(q, q->export ? WIRE_BAD_INPUT : WIRE_UNREADABLE);
	query_check(q, &check);
	return true;
}

/* ---- backup ---- */

bool query_backup(struct query *q, json_t *params)
{
	const char *file = NULL;
	const struct param list[] = { { "file", PARAM_TEXT, true, &file } };
	struct log_check check;
	char head[SEAL_HEX_SIZE];
	memset(&check, 0, sizeof check);
	if (!params_read("backup", params, list, 1, q->why))
		return query_refuse(q, WIRE_BAD_PARAMS);
	if (file[0] != '/') {
		fault_set(q->why, "\"%.90s\": the whole path is needed, from / on", file);
		return query_refuse(q, WIRE_BAD_INPUT);
	}
	if (!log_reader_copy(q->reader, file, &check, q->why))
		return query_refuse(q, WIRE_BAD_INPUT);
	int64_t copied, lost;
	if (!photos_backup(q, file, &copied, &lost))
		return false;
	seal_hex(check.head, SEAL_SIZE, head);
	answer_puts(&q->out, "{\"file\":");
	answer_string(&q->out, file);
	answer_printf(&q->out, ",\"records\":%lld,\"head\":\"%lld:%s\",\"identity\":",
	              (long long)check.records, (long long)check.records, head);
	answer_string(&q->out, check.identity);
	answer_printf(&q->out, ",\"photos\":%lld,\"photos_lost\":%lld}", (long long)copied, (long long)lost);
	return true;
}
