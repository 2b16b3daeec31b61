/* SPDX-License-Identifier: MIT */
/*
 * The runs that are still open, for onlookers: readings of the last seconds that no seal
 * covers yet, as the table open_run has them (saved once a second).
 *
 * They are given as texts that are no records: "sealed":false where a record has its number.
 * Whoever asks in a transaction gets each reading once, sealed or not: a run is sealed and
 * its row cleared in one commit.
 */
#include "daemon/log_inside.h"

#include "protocol/record/record.h"
#include "protocol/record/text.h"

#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>

#define HEAD_SIZE 100

/* NULL: no memory, or not what we saved; the table is not under the seal. */
static char *open_text(int64_t t, const char *body, size_t len, size_t *out)
{
	struct text text;
	char *bytes = body ? malloc(len + HEAD_SIZE) : NULL;
	if (!bytes)
		return NULL;
	text_begin(&text, bytes, len + HEAD_SIZE);
	text_puts(&text, "{\"sealed\":false,\"t\":");
	text_time(&text, t);
	text_puts(&text, ",\"kind\":\"trail\"");
	text_add(&text, body, len);
	text_puts(&text, "}");
	size_t where, control;
	*out = text.len;
	if (!text.failed && json_valid_line(bytes, text.len, &where, &control) && control == text.len)
		return bytes;
	free(bytes);
	return NULL;
}

int reader_open_runs(struct log_reader *r, const struct log_trail_query *q,
                     bool (*each)(void *arg, const struct trail_summary *run, const char *text,
                                  size_t len),
                     void *arg)
{
	sqlite3_stmt *st = NULL;
	bool more = true;
	int code = sqlite3_prepare_v2(r->db, "SELECT t, body FROM open_run ORDER BY t, meter", -1, &st, NULL);
	while (code == SQLITE_OK && more && (code = sqlite3_step(st)) == SQLITE_ROW) {
		size_t len = 0;
		const char *body = (const char *)sqlite3_column_text(st, 1);
		char *text = open_text(sqlite3_column_int64(st, 0), body, (size_t)sqlite3_column_bytes(st, 1), &len);
		struct trail_summary run;
		/* Its name is the one of today: no record came after it. */
		if (text && trail_summary_read(text, len, &run) && reader_in_stretch(r, q, INT64_MAX, &run))
			more = each(arg, &run, text, len);
		free(text);
		code = SQLITE_OK;
	}
	sqlite3_finalize(st);
	return code == SQLITE_DONE ? SQLITE_OK : code;
}

struct giving {
	bool (*each)(void *arg, const char *text, size_t len);
	void *arg;
};

static bool give(void *arg, const struct trail_summary *run, const char *text, size_t len)
{
	struct giving *g = arg;
	(void)run;
	return g->each(g->arg, text, len);
}

int reader_give_open(struct log_reader *r, const struct log_trail_query *q, void *arg)
{
	struct giving g = { q->unsealed, arg };
	return reader_open_runs(r, q, give, &g);
}

bool log_reader_unsealed(struct log_reader *r, const struct log_trail_query *q, void *arg,
                         struct fault *why)
{
	if (!reader_refresh(r, why))
		return false;
	if (reader_give_open(r, q, arg) == SQLITE_OK)
		return true;
	fault_at(why, r->path, 0, 0, "the log cannot be read: %s", sqlite3_errmsg(r->db));
	return false;
}
