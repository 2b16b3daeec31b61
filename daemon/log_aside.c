/* SPDX-License-Identifier: MIT */
/*
 * What is done with a log that is damaged: it gets another name, with all that belongs to it,
 * and a new one is begun that says so in its second record.  Nothing of it is changed, so that
 * whoever knows more than we do may still read it.
 *
 * Not done to a file that may never have been a log (the path may be a slip), nor to one that
 * cannot be read at all (the disk may be at fault, and be well again tomorrow).
 */
#include "daemon/log_inside.h"

#include "protocol/record/record.h"
#include "protocol/record/seal.h"

#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

bool aside_was_log(const char *path)
{
	return beside_exists(path, ".key", NULL) || beside_exists(path, ".reserve", NULL) ||
	       beside_exists(path, ".lock", NULL);
}

void aside_look(struct log_store *s, struct fault *reason)
{
	struct fault why;
	struct log_check check;
	if (s->found.records)
		return;
	struct log_reader *r = log_reader_open(s->path, &why);
	if (r && log_reader_verify(r, NULL, &check, &why)) {
		s->found = check;
		if (check.verdict == LOG_ALTERED)
			fault_set(reason, "%s", check.what);
	}
	log_reader_close(r);
}

bool aside_move(struct log_store *s, int64_t now, const struct fault *reason, struct fault *why)
{
	/* All that the reader of it found out. */
	snprintf(s->aside_why, sizeof s->aside_why, "%.199s", reason->text);
	return beside_set_aside(s->path, true, now, s->aside, sizeof s->aside, why);
}

/* The words come first: they must not be cut off. */
static void say(struct log_store *s, const char *what)
{
	char before[800];
	snprintf(before, sizeof before, "%.799s", s->opening);
	snprintf(s->opening, sizeof s->opening, "%s %s: %s; %s", what, s->aside, s->aside_why, before);
}

static void text_of(const struct log_store *s, int64_t now, struct text *out)
{
	char anchor[ANCHOR_SIZE];
	bool known = s->found.records > 0;
	if (known)
		anchor_text(s->found.records, s->found.head, anchor);
	text_printf(out, "{\"seq\":%lld,\"t\":", (long long)s->seq + 1);
	text_time(out, now);
	text_puts(out, ",\"kind\":\"aside\"");
	text_member_string(out, "file", s->aside);
	text_member_string(out, "why", s->aside_why);
	text_member_string(out, "identity", s->found.identity[0] ? s->found.identity : NULL);
	text_member_string(out, "head", known ? anchor : NULL);
	text_puts(out, "}");
}

void aside_tell(struct log_store *s, int64_t now)
{
	char buffer[16384];
	struct text t;
	struct fault why;
	if (!s->aside[0])
		return;
	say(s, s->aside_wal ? "A PART OF THE LOG IS LOST."
	                    : "THE LOG WAS DAMAGED. It was set aside, as it is, and a new one was begun. "
	                      "It is now");
	text_begin(&t, buffer, sizeof buffer);
	text_of(s, now, &t);
	/* On a full disk it is only said. */
	if (!t.failed)
		(void)store_append_text(s, t.bytes, t.len, &why);
}

/* The newest aside record; false where there is none. */
static bool newest(struct log_store *s, char *file, size_t file_size, char *why, size_t why_size)
{
	sqlite3_stmt *st = NULL;
	bool got = sqlite3_prepare_v2(s->db, "SELECT text FROM record WHERE kind = 'aside' ORDER BY seq DESC "
	                              "LIMIT 1", -1, &st, NULL) == SQLITE_OK && sqlite3_step(st) == SQLITE_ROW;
	const char *text = got ? (const char *)sqlite3_column_text(st, 0) : NULL;
	size_t len = text ? strlen(text) : 0;
	got = text && json_text(json_member(text, len, "file"), file, file_size) && file[0] &&
	      json_text(json_member(text, len, "why"), why, why_size);
	sqlite3_finalize(st);
	return got;
}

void aside_recall(struct log_store *s)
{
	char file[1024], why[400];
	char *wal_name = beside_name(s->path, "-wal");
	bool now = s->aside[0] != '\0';
	if (now) {
		snprintf(file, sizeof file, "%s", s->aside);
		snprintf(why, sizeof why, "%s", s->aside_why);
	} else if (!newest(s, file, sizeof file, why, sizeof why) || !beside_exists(file, "", NULL) ||
	           !wal_name || strcmp(file, wal_name) == 0) { /* it was missing; this is a new one */
		free(wal_name);
		return;
	}
	free(wal_name);
	size_t len = strlen(file);
	bool wal = now ? s->aside_wal : len > 4 && strcmp(file + len - 4, "-wal") == 0;
	if (wal)
		snprintf(s->aside_said, sizeof s->aside_said, "A PART OF THE LOG IS LOST: %s: %s", file, why);
	else
		snprintf(s->aside_said, sizeof s->aside_said, "THE LOG WAS DAMAGED and another one was begun; it "
		         "is set aside, as it was, as %s: %s", file, why);
}
