/* SPDX-License-Identifier: MIT */
/*
 * `notes`: what was noted, where it belongs now; `photos`: are the photos that notes name
 * still what they were?  And the copies of them for a backup.
 */
#include "daemon/query_private.h"

#include "daemon/photo.h"
#include "protocol/file/base64.h"

#include <stdlib.h>
#include <string.h>

struct noting {
	struct query *q;
	const char *job, *position;
	bool photos; /* only notes with one, checked */
	int64_t limit, given, next;
	bool more, bad;
	struct names names;
};

static bool photo_of(const char *text, size_t len, struct photo_kept *k)
{
	return json_text(json_member(text, len, "photo.hash"), k->hash, sizeof k->hash) &&
	       json_text(json_member(text, len, "photo.type"), k->type, sizeof k->type) &&
	       json_int(json_member(text, len, "photo.size"), &k->size) && photo_hash_valid(k->hash);
}

static bool note_record(void *arg, int64_t seq, const char *text, size_t len)
{
	struct noting *n = arg;
	struct answer *out = &n->q->out;
	char job[JOB_SIZE], position[NAME_SIZE];
	struct photo_kept kept;
	if (!query_of_job(n->job, text, len))
		return true;
	record_job(text, len, job);
	json_text(json_member(text, len, "position"), position, sizeof position);
	names_follow(&n->names, job, seq, position);
	bool has = photo_of(text, len, &kept);
	if ((n->position && strcmp(position, n->position) != 0) || (n->photos && !has))
		return true;
	n->more = n->given == n->limit || !query_room(n->q, len + 512);
	if (n->more)
		return false;
	answer_puts(out, n->given++ ? ",{\"record\":" : "{\"record\":");
	answer_add(out, text, len);
	answer_puts(out, ",\"position\":");
	answer_string(out, position);
	if (n->photos) {
		enum photo_state state = photo_check(log_reader_path(n->q->reader), &kept);
		n->bad = n->bad || state != PHOTO_GOOD;
		answer_printf(out, ",\"state\":\"%s\"", photo_state_name(state));
	}
	answer_puts(out, "}");
	n->next = seq;
	return true;
}

static bool notes(struct query *q, json_t *params, const char *method, bool photos)
{
	struct page_bounds bounds = { 0, QUERY_LIMIT };
	const char *asked = NULL;
	char job[JOB_SIZE];
	struct noting n = { .q = q, .job = job, .photos = photos };
	const struct param list[] = {
		{ "position", PARAM_TEXT, false, &n.position }, { "job", PARAM_TEXT, false, &asked },
		{ "after", PARAM_WHOLE, false, &bounds.after }, { "limit", PARAM_WHOLE, false, &bounds.limit },
	};
	if (!params_read(method, params, list, 4, q->why))
		return query_refuse(q, WIRE_BAD_PARAMS);
	/* All photos of a log are checked, where no job is named. */
	asked = !asked && photos ? QUERY_ALL_JOBS : asked;
	if (!query_bounds(q, method, &bounds) || !query_job(q, asked, true, job) ||
	    !names_read(q, &n.names))
		return false;
	n.limit = bounds.limit;
	n.next = bounds.after;
	const struct log_query what = { .after = bounds.after, .kind = "note" };
	answer_printf(&q->out, "{\"%s\":[", photos ? "photos" : "notes");
	bool good = query_each(q, &what, note_record, &n);
	answer_puts(&q->out, "]");
	if (photos)
		answer_printf(&q->out, ",\"ok\":%s", n.bad ? "false" : "true");
	query_more(q, n.more, n.next);
	answer_puts(&q->out, "}");
	names_free(&n.names);
	return good;
}

bool query_notes(struct query *q, json_t *params)
{
	return notes(q, params, "notes", false);
}

bool query_photos(struct query *q, json_t *params)
{
	return notes(q, params, "photos", true);
}

/* ---- one of them ---- */

/* Bytes of a piece: a multiple of 3, so that their texts may be put behind each other. */
#define PIECE ((size_t)384 << 10)

static bool photo_piece(struct query *q, const struct photo_kept *k, int64_t at, unsigned char *bytes,
                        char *text)
{
	size_t n;
	if (!photo_read(log_reader_path(q->reader), k, at, bytes, PIECE, &n, q->why))
		return query_refuse(q, WIRE_UNREADABLE);
	base64_write(bytes, n, text);
	answer_printf(&q->out, "{\"hash\":\"%s\",\"type\":\"%s\",\"size\":%lld,\"at\":%lld,\"data\":\"",
	              k->hash, k->type, (long long)k->size, (long long)at + (long long)n);
	answer_puts(&q->out, text);
	answer_printf(&q->out, "\",\"more\":%s}", n && at + (int64_t)n < k->size ? "true" : "false");
	return true;
}

bool query_photo_read(struct query *q, json_t *params)
{
	const char *hash = NULL;
	int64_t at = 0;
	struct photo_kept kept;
	const struct param list[] = {
		{ "hash", PARAM_TEXT, true, &hash }, { "at", PARAM_WHOLE, false, &at },
	};
	if (!params_read("photo.read", params, list, 2, q->why))
		return query_refuse(q, WIRE_BAD_PARAMS);
	if (!photo_hash_valid(hash) || !photo_find(log_reader_path(q->reader), hash, &kept, q->why)) {
		fault_set(q->why, "photo.read: no photo of that hash is kept beside this log");
		return query_refuse(q, WIRE_REFUSED);
	}
	unsigned char *bytes = malloc(PIECE);
	char *text = malloc(BASE64_SIZE(PIECE));
	bool good = bytes && text;
	if (!good)
		fault_set(q->why, "no memory");
	good = good ? photo_piece(q, &kept, at, bytes, text) : query_refuse(q, WIRE_REFUSED);
	free(bytes);
	free(text);
	return good;
}

/* ---- for a backup ---- */

struct copying {
	struct query *q;
	const char *to;
	int64_t copied, lost;
};

static bool photo_copied(void *arg, int64_t seq, const char *text, size_t len)
{
	struct copying *c = arg;
	struct photo_kept kept;
	struct fault why;
	(void)seq;
	if (!photo_of(text, len, &kept))
		return true;
	bool good = photo_copy(log_reader_path(c->q->reader), c->to, &kept, &why) == PHOTO_GOOD;
	c->copied += good;
	c->lost += !good;
	return true;
}

bool photos_backup(struct query *q, const char *to, int64_t *copied, int64_t *lost)
{
	struct copying c = { q, to, 0, 0 };
	const struct log_query what = { .kind = "note" };
	bool good = query_each(q, &what, photo_copied, &c);
	*copied = c.copied;
	*lost = c.lost;
	return good;
}
