/* SPDX-License-Identifier: MIT */
/*
 * A log from a copy of one, or from an export.
 *
 * First the source is read through: what is not as it was sealed is put nowhere.  The new log
 * is written as LOG.restored and read through as well.  Only then the old one, if there is one,
 * goes aside and the new one gets its name.  Broken off before that, LOG is as it was; broken
 * off between the two, there is no LOG, and neither a daemon nor a second try that was not told
 * so makes one in silence (LOG.restored is there).
 */
#include "daemon/log_inside.h"

#include "protocol/record/checkpoint.h"

#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define PART ".restored"

/* ---- an export into a file ---- */

struct filling {
	sqlite3_stmt *st;
	int code;
};

static bool fill_one(void *arg, int64_t seq, const char *text, size_t len, const uint8_t hash[32])
{
	struct filling *f = arg;
	sqlite3_bind_int64(f->st, 1, seq);
	sqlite3_bind_text(f->st, 2, text, (int)len, SQLITE_STATIC);
	sqlite3_bind_blob(f->st, 3, hash, 32, SQLITE_STATIC);
	f->code = sqlite3_step(f->st);
	sqlite3_reset(f->st);
	return f->code == SQLITE_DONE;
}

/* All of it in one transaction; `check` is what this reading found. */
static bool fill(sqlite3 *db, const char *from, struct log_check *check, struct fault *why)
{
	struct filling f = { .code = SQLITE_DONE };
	bool done = sqlite3_exec(db, "BEGIN IMMEDIATE", NULL, NULL, NULL) == SQLITE_OK &&
	            schema_create(db, why) &&
	            sqlite3_prepare_v2(db, "INSERT INTO record (seq, text, hash) VALUES (?, ?, ?)", -1,
	                               &f.st, NULL) == SQLITE_OK;
	bool read = done && export_walk(from, NULL, NULL, fill_one, &f, check, why);
	sqlite3_finalize(f.st);
	if (done && f.code != SQLITE_DONE)
		fault_set(why, "%s", sqlite3_errstr(f.code));
	else if (!done)
		fault_set(why, "%s", sqlite3_errmsg(db));
	return read && sqlite3_exec(db, "COMMIT", NULL, NULL, NULL) == SQLITE_OK;
}

static bool from_export(const char *from, const char *part, struct fault *why)
{
	struct log_check again;
	struct fault what = { .text = "" };
	int code;
	char *uri = sqlite_uri(part, "mode=rwc");
	sqlite3 *db = uri ? store_connect(uri, NULL, "delete", &code, &what) : NULL;
	bool done = db && fill(db, from, &again, &what);
	done = sqlite3_close(db) == SQLITE_OK && done;
	sqlite3_free(uri);
	if (!done)
		fault_at(why, part, 0, 0, "the log cannot be written: %s", what.text);
	return done;
}

static bool from_log(const char *from, const char *part, struct fault *why)
{
	struct log_reader *r = log_reader_open(from, why);
	bool done = r && copy_make(r, part, why);
	log_reader_close(r);
	return done;
}

static bool settle(const char *path, const char *part, struct fault *why)
{
	struct fault what = { .text = "" };
	int code;
	char *uri = sqlite_uri(part, "mode=rw");
	sqlite3 *db = uri ? store_connect(uri, NULL, "delete", &code, &what) : NULL;
	bool done = db && store_settle(db, path, PART, &what) && copy_sync(part);
	sqlite3_free(uri);
	if (!done)
		fault_at(why, part, 0, 0, "the log cannot be written: %s", what.text);
	return done;
}

/* ---- whole, or not at all ---- */

static bool check_source(const char *from, bool export, const struct log_pin *pin,
                         struct log_check *check, struct fault *why)
{
	struct log_reader *r = export ? NULL : log_reader_open(from, why);
	bool read = export ? log_export_verify(from, pin, NULL, check, why)
	                   : r && log_reader_verify(r, pin, check, why);
	log_reader_close(r);
	if (!read)
		return false;
	if (check->after) {
		fault_at(why, from, 0, 0, "this is a part of a log, from record %lld on: a log begins with "
		         "record 1. Join the parts (cat FIRST NEXT), or use the whole export",
		         (long long)check->after + 1);
		return false;
	}
	if (!verdict_holds(check->verdict)) {
		fault_at(why, from, (int)check->bad_line, check->bad_column, "%s: %s; nothing was changed",
		         log_verdict_name(check->verdict), check->what);
		return false;
	}
	return true;
}

/* What LOG.key is to the restored log. */
static enum log_key key_state(const char *path, const struct log_check *check)
{
	struct fault why;
	uint8_t own[KEY_SIZE];
	if (!check->has_key)
		return LOG_KEY_NONE_NEEDED;
	struct signer *key = beside_key_read(path, ".key", &why);
	if (!key)
		return beside_exists(path, ".key", NULL) ? LOG_KEY_OTHER : LOG_KEY_MISSING;
	signer_key(key, own);
	signer_free(key);
	return memcmp(own, check->key, KEY_SIZE) == 0 ? LOG_KEY_THERE : LOG_KEY_OTHER;
}

static bool put_in_place(const char *path, bool there, int lock, int64_t now,
                         struct log_restored *out, struct fault *why)
{
	enum log_key key = key_state(path, &out->check);
	bool key_stays = key == LOG_KEY_THERE;
	/* What is older is put there on purpose: no start may take it for a loss. */
	if (!last_forget(lock)) {
		fault_at(why, path, 0, 0, "LOG.lock beside it cannot be written: is the disk full, or faulty?");
		return false;
	}
	if (there && !beside_set_aside(path, !key_stays, now, out->aside, sizeof out->aside, why))
		return false;
	if (!beside_put(path, PART, why)) {
		struct fault what = *why;
		if (out->aside[0])
			fault_at(why, path, 0, 0, "%.160s; the log that was there is now %.120s", what.text,
			         out->aside);
		return false;
	}
	/* Of no log that is there: it would be taken for this one's. */
	out->key = key == LOG_KEY_OTHER && there ? LOG_KEY_MISSING : key;
	return true;
}

static bool make(const char *from, const char *path, bool export, bool over, int lock,
                 int64_t now, struct log_restored *out, struct fault *why)
{
	bool there = beside_exists(path, "", NULL) || beside_exists(path, "-wal", NULL);
	struct log_check made;
	if (there && !over) {
		fault_at(why, path, 0, 0, "there is a log of this name already: nothing is written over. "
		         "With --over it is set aside first, and can be put back");
		return false;
	}
	char *part = beside_name(path, PART);
	if (!part)
		return false;
	beside_remove(path, PART);
	beside_remove(path, PART "-journal");
	beside_remove(path, PART "-wal");
	beside_remove(path, PART "-shm");
	bool done = (export ? from_export(from, part, why) : from_log(from, part, why)) &&
	            settle(path, part, why) && copy_verify(part, &made, why);
	/* Somebody may have written to it meanwhile. */
	if (done && (made.records != out->check.records ||
	             memcmp(made.head, out->check.head, sizeof made.head) != 0)) {
		fault_at(why, from, 0, 0, "it was changed while it was read: try again");
		done = false;
	}
	if (done)
		done = put_in_place(path, there, lock, now, out, why);
	else
		beside_remove(path, PART);
	free(part);
	return done;
}

static bool same_file(const char *from, const char *path)
{
	char *real = NULL;
	struct fault why;
	bool same = beside_path(from, &real, &why) && strcmp(real, path) == 0;
	free(real);
	return same;
}

bool log_restore(const char *from, const char *path, bool over, int64_t now,
                 const struct log_pin *pin, struct log_restored *out, struct fault *why)
{
	char *real = NULL;
	bool export = log_is_export(from);
	memset(out, 0, sizeof *out);
	if (!beside_path(path, &real, why))
		return false;
	if (same_file(from, real)) {
		fault_at(why, from, 0, 0, "this is the log itself: restore a copy or an export of it");
		free(real);
		return false;
	}
	bool done = false;
	if (check_source(from, export, pin, &out->check, why) && beside_place_fits(real, why)) {
		int lock = beside_lock(real, why);
		done = lock >= 0 && make(from, real, export, over, lock, now, out, why);
		beside_unlock(lock);
	}
	free(real);
	return done;
}
