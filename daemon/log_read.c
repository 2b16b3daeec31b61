/* SPDX-License-Identifier: MIT */
/*
 * Read-only connections to a log, running or at rest, that change nothing.
 *
 * SQLite reads a write-ahead log through LOG-shm and makes that file where it is
 * missing, which an onlooker may not.  So there are three ways in:
 *
 *   beside LOG                    way
 *   LOG-wal, LOG-shm, a daemon    shared
 *   LOG-wal that is not empty     alone: read it without locks, the index in memory; so too
 *                                 what a daemon left that was killed, LOG-shm or not
 *   neither                       immutable: the file is all there is
 *
 * Before each question we look whether the way is still the right one: a daemon
 * may have been started meanwhile.
 */
#include "daemon/log_inside.h"

#include <errno.h>
#include <inttypes.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <unistd.h>

enum way {
	WAY_MEMORY, /* a log in the memory of this process */
	WAY_SHARED,
	WAY_ALONE,
	WAY_IMMUTABLE,
};

/* ---- the connection ---- */

char *sqlite_uri(const char *path, const char *parameters)
{
	sqlite3_str *uri = sqlite3_str_new(NULL);
	sqlite3_str_appendall(uri, "file:");
	for (const unsigned char *p = (const unsigned char *)path; *p; p++) {
		bool plain = (*p >= 'a' && *p <= 'z') || (*p >= 'A' && *p <= 'Z') ||
		             (*p >= '0' && *p <= '9') || strchr("/._-~", *p);
		sqlite3_str_appendf(uri, plain ? "%c" : "%%%02X", *p);
	}
	sqlite3_str_appendf(uri, "?%s", parameters);
	return sqlite3_str_finish(uri);
}

static bool is_memory(const char *path)
{
	return strncmp(path, "file:/tally-", 12) == 0 && strstr(path, "?vfs=memdb");
}

static enum way way_now(const char *path)
{
	int64_t wal = 0;
	if (is_memory(path))
		return WAY_MEMORY;
	bool has_wal = beside_exists(path, "-wal", &wal);
	if (has_wal && beside_exists(path, "-shm", NULL) && beside_held(path))
		return WAY_SHARED;
	return has_wal && wal > 0 ? WAY_ALONE : WAY_IMMUTABLE;
}

static const char *const set_up[] = {
	"PRAGMA query_only = ON", "PRAGMA cache_size = -512", "PRAGMA temp_store = MEMORY",
	"PRAGMA mmap_size = 0",   "PRAGMA cell_size_check = ON",
};

/* The value of a pragma that needs no more than the first page. */
static int number_of(struct sqlite3 *db, const char *sql, int64_t *out)
{
	sqlite3_stmt *st = NULL;
	int code = sqlite3_prepare_v2(db, sql, -1, &st, NULL);
	if (code == SQLITE_OK)
		code = sqlite3_step(st);
	if (code == SQLITE_ROW)
		*out = sqlite3_column_int64(st, 0);
	sqlite3_finalize(st);
	return code == SQLITE_ROW ? SQLITE_OK : code;
}

static int connect(const char *path, enum way way, struct sqlite3 **db)
{
	static const char *const parameters[] = {
		[WAY_SHARED] = "mode=ro",
		[WAY_ALONE] = "mode=ro&vfs=unix-none",
		[WAY_IMMUTABLE] = "mode=ro&immutable=1",
	};
	char *uri = way == WAY_MEMORY ? sqlite3_mprintf("%s", path) : sqlite_uri(path, parameters[way]);
	int flags = SQLITE_OPEN_READONLY | SQLITE_OPEN_URI | SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_EXRESCODE;
	int code = uri ? sqlite3_open_v2(uri, db, flags, NULL) : SQLITE_NOMEM;
	sqlite3_free(uri);
	if (code != SQLITE_OK)
		return code;
	sqlite3_busy_timeout(*db, 5000);
	sqlite3_db_config(*db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, NULL);
	/* Before anything is read: the index of the WAL in memory, no LOG-shm. */
	if (way == WAY_ALONE)
		sqlite3_exec(*db, "PRAGMA locking_mode = EXCLUSIVE", NULL, NULL, NULL);
	for (size_t i = 0; i < sizeof set_up / sizeof *set_up; i++)
		sqlite3_exec(*db, set_up[i], NULL, NULL, NULL);
	int64_t version = 0;
	code = number_of(*db, "PRAGMA schema_version", &version);
	/* A file shorter than its header says is refused as a whole; we want to know
	 * how far it can be read.  Nothing can be written on this connection. */
	if ((code & 0xff) == SQLITE_CORRUPT) {
		sqlite3_exec(*db, "PRAGMA writable_schema = ON", NULL, NULL, NULL);
		code = number_of(*db, "PRAGMA schema_version", &version);
	}
	return code;
}

/* Shared may fail in an unwritable place: then by oneself. */
static int connect_somehow(struct log_reader *r)
{
	enum way way = way_now(r->path);
	int code = connect(r->path, way, &r->db);
	r->way = (int)way;
	if (way == WAY_SHARED && ((code & 0xff) == SQLITE_CANTOPEN ||
	                          (code & 0xff) == SQLITE_READONLY || (code & 0xff) == SQLITE_PERM)) {
		int64_t wal = 0;
		beside_exists(r->path, "-wal", &wal);
		sqlite3_close(r->db);
		r->db = NULL;
		code = connect(r->path, wal > 0 ? WAY_ALONE : WAY_IMMUTABLE, &r->db);
	}
	return code;
}

static bool check_ids(struct log_reader *r, struct fault *why)
{
	int64_t application = 0, version = 0, size = 0;
	int code = number_of(r->db, "PRAGMA application_id", &application);
	if (code == SQLITE_OK)
		code = number_of(r->db, "PRAGMA user_version", &version);
	if (code != SQLITE_OK)
		fault_at(why, r->path, 0, 0, "the file cannot be read: %s", sqlite3_errstr(code));
	else if (application != LOG_APPLICATION_ID && beside_exists(r->path, "", &size) && size < 512)
		fault_at(why, r->path, 0, 0, "this is not an SQLite database"); /* SQLite takes a byte for none */
	else if (application != LOG_APPLICATION_ID)
		fault_at(why, r->path, 0, 0, "this is an SQLite database, but not a log");
	else if (version > LOG_USER_VERSION)
		fault_at(why, r->path, 0, 0, "the log has format %" PRId64 ", this program knows %d: use the "
		         "newer program; nothing was changed", version, LOG_USER_VERSION);
	else if (version != LOG_USER_VERSION)
		fault_at(why, r->path, 0, 0, "the log has format %" PRId64 ", which never was", version);
	else
		return true;
	return false;
}

/* SQLite's words are of the log, where LOG-wal is at fault. */
static bool wal_fits(const char *path, struct fault *why)
{
	char *wal = beside_name(path, "-wal");
	bool fits = !wal || !beside_exists(path, "-wal", NULL);
	if (!fits) {
		fits = beside_is_file(wal, why);
		if (fits && access(wal, R_OK) != 0) {
			fits = false;
			fault_at(why, wal, 0, 0, "this is a part of the log, with its newest records, and cannot "
			         "be read: %s", strerror(errno));
		}
	}
	free(wal);
	return fits;
}

/* There is something to be read at all. */
static bool is_something(const char *path, struct fault *why)
{
	int64_t size = 0;
	if (is_memory(path))
		return true;
	if (!beside_exists(path, "", &size)) {
		fault_at(why, path, 0, 0, "there is no such file");
		return false;
	}
	if (!beside_is_file(path, why))
		return false;
	if (size > 0)
		return wal_fits(path, why);
	fault_at(why, path, 0, 0, beside_exists(path, "-wal", NULL) ? "the file is empty: no log, though "
	         "there is a part of one beside it (-wal)" : "the file is empty: no log");
	return false;
}

/* *damaged is set where the bytes of the file are at fault. */
static bool open_anew(struct log_reader *r, bool *damaged, struct fault *why)
{
	*damaged = false;
	sqlite3_close(r->db);
	r->db = NULL;
	if (!is_something(r->path, why))
		return false;
	int code = connect_somehow(r);
	if (code == SQLITE_OK)
		return check_ids(r, why);
	*damaged = sqlite_says_damaged(code);
	if ((code & 0xff) == SQLITE_NOTADB)
		fault_at(why, r->path, 0, 0, "this is not an SQLite database");
	else if ((code & 0xff) == SQLITE_CORRUPT && check_ids(r, why))
		return true; /* how far it can be read, verification will say */
	else
		fault_at(why, r->path, 0, 0, "the file cannot be read: %s",
		         r->db ? sqlite3_errmsg(r->db) : sqlite3_errstr(code));
	return false;
}

static bool open_again(struct log_reader *r, struct fault *why)
{
	bool damaged;
	return open_anew(r, &damaged, why);
}

struct log_reader *log_reader_open(const char *path, struct fault *why)
{
	bool damaged;
	return reader_open(path, &damaged, why);
}

struct log_reader *reader_open(const char *path, bool *damaged, struct fault *why)
{
	*damaged = false;
	struct log_reader *r = calloc(1, sizeof *r);
	if (!r) {
		fault_set(why, "no memory for reading the log");
		return NULL;
	}
	if (is_memory(path))
		r->path = strdup(path);
	else if (!beside_path(path, &r->path, why))
		r->path = NULL;
	if (r->path && open_anew(r, damaged, why))
		return r;
	log_reader_close(r);
	return NULL;
}

bool log_reader_desk(struct log_reader *r, char *out, size_t size)
{
	struct sqlite3_stmt *st = NULL;
	struct fault why;
	bool got = false;
	if (reader_refresh(r, &why) &&
	    sqlite3_prepare_v2(r->db, "SELECT body FROM desk", -1, &st, NULL) == SQLITE_OK &&
	    sqlite3_step(st) == SQLITE_ROW) {
		const char *body = (const char *)sqlite3_column_text(st, 0);
		size_t len = body ? strlen(body) : size;
		got = len < size;
		if (got)
			memcpy(out, body, len + 1);
	}
	sqlite3_finalize(st);
	return got;
}

const char *log_reader_path(const struct log_reader *r)
{
	return r->path;
}

void log_reader_stand_back(void)
{
	/* Linux counts nice by threads, and takes the turn at the disk from it.  The whole weight
	 * of 10 and more would let people wait for their lists on a busy machine. */
	static const int back = 5;
	static _Thread_local bool done;
	if (!done && getpriority(PRIO_PROCESS, 0) < back)
		(void)setpriority(PRIO_PROCESS, 0, back);
	done = true;
}

void log_reader_close(struct log_reader *r)
{
	if (!r)
		return;
	sqlite3_close(r->db);
	free(r->path);
	free(r);
}

bool reader_refresh(struct log_reader *r, struct fault *why)
{
	/* After a failed attempt the connection is gone: try anew. */
	return (r->db && (int)way_now(r->path) == r->way) || open_again(r, why);
}

void log_reader_going(struct log_reader *r, const struct log_going *going)
{
	r->going = going ? *going : (struct log_going){ 0 };
}

/* What a verifier sees that goes by the records alone is whole; what LOG-wal had is not.  Asked
 * of a log that lies still: while a daemon writes, its start has looked. */
static bool look_beside(struct log_reader *r, struct log_check *c, struct fault *why)
{
	if (r->way != WAY_ALONE && r->way != WAY_IMMUTABLE)
		return true;
	if (wal_is_foreign(r->path, r->db)) {
		fault_at(why, r->path, 0, 0, "what lies beside it as LOG-wal is not a part of this log, but of "
		         "another one: move it away to see what the log itself has");
		return false;
	}
	if (!verdict_holds(c->verdict))
		return true;
	int lost = wal_lost_commits(r->db);
	bool missing = r->way == WAY_IMMUTABLE && beside_exists(r->path, "-shm", NULL) &&
	               !beside_exists(r->path, "-wal", NULL) && !beside_held(r->path);
	if (lost < 2 && !missing)
		return true;
	c->verdict = LOG_TRUNCATED;
	if (missing)
		snprintf(c->what, sizeof c->what, "LOG-wal is missing, though the log was not closed, and with "
		         "it the newest records: record %lld is the last that is left", (long long)c->records);
	else
		snprintf(c->what, sizeof c->what, "LOG-wal is damaged, and %d commits in it cannot be read: "
		         "record %lld is the last that can", lost, (long long)c->records);
	return true;
}

bool log_reader_verify(struct log_reader *r, const struct log_pin *pin, struct log_check *out,
                       struct fault *why)
{
	/* A daemon that starts or ends meanwhile moves pages under an onlooker's feet:
	 * what was found then is not worth anything. */
	for (int tries = 0; tries < 5; tries++) {
		if (!reader_refresh(r, why))
			return false;
		bool read = verify_chain(r->db, pin, &r->going, out, why) && look_beside(r, out, why);
		if (way_now(r->path) == (enum way)r->way || (!read && out->stopped))
			return read;
	}
	fault_at(why, r->path, 0, 0, "the log is being opened and closed all the time; verify it when "
	         "that is over");
	return false;
}
