/* SPDX-License-Identifier: MIT */
/*
 * The file of the log and its one writing connection: opened, verified,
 * recovered after a kill, closed.
 *
 * A new log is made by log_new.c.  An old one is looked at through a connection
 * that changes nothing before it is opened for writing: a foreign file, or one of
 * a newer program, stays as it is to the byte.
 *
 * SQLite before 3.51.3 can lose committed pages where two connections write or
 * checkpoint at the same moment (the WAL-reset race).  There is one such
 * connection here and one process (LOG.lock), so the version does not matter;
 * it would, if somebody wrote to the log with another program.
 */
#include "daemon/log_inside.h"

#include "protocol/record/seal.h"

#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

/* LOG-wal is cut to this when a checkpoint has emptied it. */
#define WAL_KEPT "4194304"

int64_t store_clock(void)
{
	struct timespec ts;
	clock_gettime(CLOCK_MONOTONIC, &ts);
	return (int64_t)ts.tv_sec * 1000000 + ts.tv_nsec / 1000;
}

/* ---- the connection ---- */

/* One value of a pragma as text; false where it gives none. */
static bool pragma(struct sqlite3 *db, const char *sql, char *out, size_t size)
{
	sqlite3_stmt *st = NULL;
	bool got = sqlite3_prepare_v2(db, sql, -1, &st, NULL) == SQLITE_OK &&
	           sqlite3_step(st) == SQLITE_ROW && sqlite3_column_text(st, 0);
	snprintf(out, size, "%s", got ? (const char *)sqlite3_column_text(st, 0) : "");
	return sqlite3_finalize(st) == SQLITE_OK && got;
}

/* Set and read back: a pragma that SQLite does not take is silent. */
static bool set_up(struct sqlite3 *db, const char *journal, struct fault *why)
{
	const struct {
		const char *set, *read, *want;
	} rows[] = {
		{ "PRAGMA page_size = 4096", NULL, NULL },
		{ "PRAGMA encoding = 'UTF-8'", "PRAGMA encoding", "UTF-8" },
		{ NULL, NULL, NULL }, /* the journal mode */
		{ "PRAGMA synchronous = FULL", "PRAGMA synchronous", "2" },
		{ "PRAGMA cache_size = -512", "PRAGMA cache_size", "-512" },
		{ "PRAGMA wal_autocheckpoint = 0", "PRAGMA wal_autocheckpoint", "0" },
		{ "PRAGMA journal_size_limit = " WAL_KEPT, "PRAGMA journal_size_limit", WAL_KEPT },
		{ "PRAGMA recursive_triggers = ON", "PRAGMA recursive_triggers", "1" },
		{ "PRAGMA temp_store = MEMORY", "PRAGMA temp_store", "2" },
		{ "PRAGMA cell_size_check = ON", "PRAGMA cell_size_check", "1" },
	};
	char got[64], set[64];
	sqlite3_busy_timeout(db, 5000);
	sqlite3_db_config(db, SQLITE_DBCONFIG_DEFENSIVE, 1, NULL);
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		snprintf(set, sizeof set, "%s", rows[i].set ? rows[i].set : "");
		const char *read = rows[i].read, *want = rows[i].want;
		if (!rows[i].set) {
			snprintf(set, sizeof set, "PRAGMA journal_mode = %s", journal);
			read = "PRAGMA journal_mode";
			want = journal;
		}
		if (sqlite3_exec(db, set, NULL, NULL, NULL) != SQLITE_OK ||
		    (read && (!pragma(db, read, got, sizeof got) || strcmp(got, want) != 0))) {
			fault_set(why, "SQLite refused \"%s\": %s", set, sqlite3_errmsg(db));
			return false;
		}
	}
	return true;
}

struct sqlite3 *store_connect(const char *uri, const char *vfs, const char *journal, int *code,
                              struct fault *why)
{
	struct sqlite3 *db = NULL;
	int flags = SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_URI |
	            SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_EXRESCODE;
	*code = sqlite3_open_v2(uri, &db, flags, vfs);
	if (*code != SQLITE_OK) {
		fault_set(why, "SQLite cannot open it: %s", db ? sqlite3_errmsg(db) : "no memory");
		sqlite3_close(db);
		return NULL;
	}
	/* Only store_close checkpoints at the end, and only a sound log. */
	sqlite3_db_config(db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, NULL);
	if (set_up(db, journal, why))
		return db;
	*code = sqlite3_extended_errcode(db);
	sqlite3_close(db);
	return NULL;
}

static int wal_grew(void *arg, struct sqlite3 *db, const char *name, int frames)
{
	struct log_store *s = arg;
	(void)db, (void)name;
	s->wal_frames = frames;
	s->wal_known = true;
	return SQLITE_OK;
}

static bool prepare_all(struct log_store *s, struct fault *why)
{
	const struct {
		struct sqlite3_stmt **st;
		const char *sql;
	} rows[] = {
		{ &s->begin, "BEGIN IMMEDIATE" },
		{ &s->commit, "COMMIT" },
		{ &s->insert, "INSERT INTO record (seq, text, hash) VALUES (?, ?, ?)" },
		{ &s->changed, "PRAGMA data_version" },
		{ &s->head, "SELECT seq, hash FROM record ORDER BY seq DESC LIMIT 1" },
		{ &s->run_clear, "DELETE FROM open_run WHERE meter = ?" },
		{ &s->run_clear_all, "DELETE FROM open_run" },
		{ &s->run_save, "INSERT INTO open_run (meter, t, body) VALUES (?, ?, ?)" },
		{ &s->desk_save, "INSERT OR REPLACE INTO desk (one, body) VALUES (1, ?)" },
		{ &s->probe, "PRAGMA user_version = 1" },
		{ &s->run_add, "INSERT INTO run (meter, function, seq, t, until, silence, position, low, "
		               "high, first, last, n) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)" },
		{ &s->rollup_add, "INSERT INTO rollup (meter, function, seq, since, t, until, silence, inner, "
		                  "low, high, first, last, n) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)" },
		/* The last run that is rolled up, and all after it. */
		{ &s->run_tail,
		  "WITH rolled AS (SELECT coalesce(max(seq), 0) AS seq FROM rollup "
		  "  WHERE meter = ?1 AND function = ?2) "
		  "SELECT run.seq, t, until, silence, low, high, first, last, n, run.seq = rolled.seq "
		  "FROM run, rolled WHERE meter = ?1 AND function = ?2 AND run.seq >= rolled.seq "
		  "ORDER BY run.seq" },
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
		if (sqlite3_prepare_v3(s->db, rows[i].sql, -1, SQLITE_PREPARE_PERSISTENT, rows[i].st,
		                       NULL) != SQLITE_OK) {
			fault_at(why, s->path, 0, 0, "%s", sqlite3_errmsg(s->db));
			return false;
		}
	sqlite3_wal_hook(s->db, wal_grew, s);
	return true;
}

static void disconnect(struct log_store *s)
{
	struct sqlite3_stmt **st[] = { &s->begin, &s->commit, &s->insert, &s->changed, &s->head,
		&s->run_clear, &s->run_clear_all, &s->run_save, &s->desk_save, &s->probe, &s->run_add, &s->run_tail,
		&s->rollup_add };
	for (size_t i = 0; i < sizeof st / sizeof *st; i++) {
		sqlite3_finalize(*st[i]);
		*st[i] = NULL;
	}
	sqlite3_close(s->db);
	s->db = NULL;
}

/* Of a new log before it gets its name: later, the power could be cut while the first page is changed. */
bool store_settle(struct sqlite3 *db, const char *path, const char *suffix, struct fault *why)
{
	static const char *const left[] = { "-wal", "-shm", "-journal" };
	char got[16] = "";
	bool done = pragma(db, "PRAGMA journal_mode = WAL", got, sizeof got) && strcmp(got, "wal") == 0;
	if (!done)
		fault_set(why, "%s", sqlite3_errmsg(db));
	done = sqlite3_close(db) == SQLITE_OK && done;
	char *name = beside_name(path, suffix);
	for (size_t i = 0; name && i < sizeof left / sizeof *left; i++)
		beside_remove(name, left[i]);
	free(name);
	return done;
}

/* A log that was put there by hand (a backup) is changed over at its first start; where the power
 * was cut just then, LOG-journal has what stood there before.  SQLite takes it back when it opens
 * the file for writing, and only then, so this comes before anybody looks. */
static void take_back(const char *path)
{
	int64_t size = 0;
	struct sqlite3 *db = NULL;
	if (!beside_exists(path, "-journal", &size) || size == 0 || !aside_was_log(path))
		return;
	char *uri = sqlite_uri(path, "mode=rw");
	if (uri && sqlite3_open_v2(uri, &db, SQLITE_OPEN_READWRITE | SQLITE_OPEN_URI, NULL) == SQLITE_OK)
		sqlite3_exec(db, "SELECT 1 FROM sqlite_schema", NULL, NULL, NULL);
	sqlite3_close(db);
	sqlite3_free(uri);
}

/* ---- an old one ---- */

/* Is there a log, and may we write to it?  Changes nothing.  True with *damaged: it is to be
 * set aside, and `why` says what is wrong with it. */
static bool look_first(const char *path, const struct log_options *o, bool *there, bool *damaged,
                       struct fault *why)
{
	int64_t size = 0;
	*there = *damaged = false;
	if (!beside_is_file(path, why))
		return false;
	bool is = beside_exists(path, "", &size), key = beside_exists(path, ".key", NULL);
	*there = is && size > 0;
	*damaged = is && size == 0 && key;
	if (*damaged)
		fault_at(why, path, 0, 0, "the file is empty, though it had a log: its key is there");
	if (*there) {
		struct log_reader *r = reader_open(path, damaged, why);
		log_reader_close(r);
		if (r)
			return true;
		*damaged = *damaged && o->set_aside && aside_was_log(path);
		return *damaged;
	}
	*damaged = *damaged && o->set_aside;
	return true; /* what is missing is told apart when it is made */
}

/* After trouble the indices may be wrong though every record fits: they are
 * checked, and made again where they are. */
static bool mend_after_trouble(struct log_store *s, const char *trouble, struct fault *why)
{
	char got[200];
	bool sound = pragma(s->db, "PRAGMA integrity_check(1)", got, sizeof got) &&
	             strcmp(got, "ok") == 0;
	if (!sound)
		sound = sqlite3_exec(s->db, "REINDEX", NULL, NULL, NULL) == SQLITE_OK &&
		        pragma(s->db, "PRAGMA integrity_check(1)", got, sizeof got) &&
		        strcmp(got, "ok") == 0;
	size_t len = strlen(s->opening);
	snprintf(s->opening + len, sizeof s->opening - len,
	         "; the log was suspect (%.150s) and is found whole", trouble);
	s->damaged = !sound;
	if (!sound)
		fault_at(why, s->path, 0, 0, "the log was suspect (%.100s), its records fit, but the file "
		         "is damaged (%.80s); copy it to another disk with \"VACUUM INTO\" and use that",
		         trouble, got);
	return sound;
}

static bool verify_all(struct log_store *s, const struct log_going *going, struct fault *why)
{
	struct log_check check;
	int64_t start = store_clock();
	if (!verify_chain(s->db, NULL, going, &check, why))
		return false;
	/* Signatures by another key break no chain: whoever reads it must know, and what is
	 * logged today still has to be. */
	s->found = check;
	if (check.verdict == LOG_ALTERED || check.verdict == LOG_EMPTY) {
		s->damaged = true;
		fault_at(why, s->path, 0, 0, "the seal of the log is broken, so nothing is added to it: "
		         "%.150s; keep the file as it is and name a new one", check.what);
		return false;
	}
	s->seq = check.records;
	memcpy(s->hash, check.head, sizeof s->hash);
	memcpy(s->identity, check.identity, sizeof s->identity);
	snprintf(s->opening, sizeof s->opening, "verified %lld record%s in %.3f s",
	         (long long)check.records, check.records == 1 ? "" : "s",
	         (double)(store_clock() - start) / 1e6);
	if (check.bad_signature) {
		size_t len = strlen(s->opening);
		snprintf(s->opening + len, sizeof s->opening - len, "; NOT SIGNED BY ITS KEY: %.150s",
		         check.what);
	}
	sign_begin(s, &check);
	return true;
}

static bool foreign_wal(struct log_store *s, struct fault *why)
{
	if (s->memory || !wal_is_foreign(s->path, s->db))
		return true;
	s->damaged = true;
	fault_at(why, s->path, 0, 0, "%.200s-wal is not a part of this log, but of another file; "
	         "without it the log itself may be whole", s->path);
	return false;
}

/* Records that were acknowledged may stand in a LOG-wal that is damaged further up. */
static void keep_lost_wal(struct log_store *s, int64_t now, bool unclosed)
{
	int lost = s->memory ? 0 : wal_lost_commits(s->db);
	if (unclosed) {
		s->aside_wal = true;
		snprintf(s->aside, sizeof s->aside, "%.1000s-wal", s->path);
		snprintf(s->aside_why, sizeof s->aside_why, "it is missing, though the log was not closed, and "
		         "with it the newest records; record %lld is the last that is left", (long long)s->seq);
		return;
	}
	struct log_last last = { 0 };
	int64_t size = 0;
	if (!s->memory)
		last_read(s->path, &last);
	bool shorter = last_beyond(&last, s->identity, s->seq);
	if (lost < 2 && !shorter)
		return;
	char *name = beside_aside_name(s->path, now);
	char *to = name ? beside_name(name, "-wal") : NULL;
	s->aside_wal = true;
	if (shorter && (!beside_exists(s->path, "-wal", &size) || size <= 32))
		snprintf(s->aside, sizeof s->aside, "%.1000s-wal", s->path); /* nothing to keep */
	else
		snprintf(s->aside, sizeof s->aside, "%s", to && wal_keep(s->db, to) ? to : "(not kept: no room)");
	if (lost >= 2)
		snprintf(s->aside_why, sizeof s->aside_why, "LOG-wal was damaged, and is kept under this name: "
		         "it holds %d commits that cannot be read; record %lld is the last that is left", lost,
		         (long long)s->seq);
	else
		snprintf(s->aside_why, sizeof s->aside_why, "the log ended at record %lld, and now ends at record "
		         "%lld: its LOG-wal was cut off, emptied or damaged, or an older copy took its place",
		         (long long)last.seq, (long long)s->seq);
	free(name);
	free(to);
}

static bool begin_writing(struct log_store *s, const struct log_options *o, struct fault *why)
{
	char note[200] = "", trouble[200];
	/* SQLite takes both away, or none. */
	bool unclosed = !s->memory && beside_exists(s->path, "-shm", NULL) &&
	                !beside_exists(s->path, "-wal", NULL);
	char *uri = s->memory ? sqlite3_mprintf("%s", s->path) : sqlite_uri(s->path, "mode=rw");
	int code = SQLITE_NOMEM;
	s->db = uri ? store_connect(uri, s->memory ? NULL : o->vfs, s->memory ? "memory" : "wal", &code,
	                            why) : NULL;
	sqlite3_free(uri);
	if (!s->db) {
		struct fault what = *why;
		s->damaged = sqlite_says_damaged(code);
		fault_at(why, s->path, 0, 0, "the log cannot be opened for writing: %s", what.text);
		return false;
	}
	if (s->memory && !store_fill(s->db, o, NULL, why))
		return false;
	if (!foreign_wal(s, why) || !verify_all(s, &o->going, why))
		return false;
	keep_lost_wal(s, o->now, unclosed);
	if (!schema_check(s->db, note, sizeof note, why)) {
		s->damaged = sqlite_says_damaged(sqlite3_extended_errcode(s->db));
		return false;
	}
	if (note[0]) {
		size_t len = strlen(s->opening);
		snprintf(s->opening + len, sizeof s->opening - len, "; missing or changed and made again: %s",
		         note);
	}
	if (!s->memory && beside_suspect_read(s->path, trouble, sizeof trouble)) {
		if (!mend_after_trouble(s, trouble, why))
			return false;
		beside_suspect_clear(s->path);
	}
	if (!prepare_all(s, why))
		return false;
	if (!run_catch_up(s)) {
		size_t len = strlen(s->opening);
		snprintf(s->opening + len, sizeof s->opening - len, "; pictures of the trail will lack what is "
		         "logged now, until it is started with room on the disk");
	}
	schema_seal_off(s->db);
	return true;
}

/* Seal what a kill left, begin with an empty WAL. */
static bool tidy_up(struct log_store *s, struct fault *why)
{
	s->recover = true;
	store_probe(s);
	if (s->health == LOG_SUSPECT) {
		fault_at(why, s->path, 0, 0, "the log cannot be written to: %s", s->trouble);
		return false;
	}
	if (s->recovered) {
		size_t len = strlen(s->opening);
		snprintf(s->opening + len, sizeof s->opening - len, "; sealed %d open run%s of an earlier start",
		         s->recovered, s->recovered == 1 ? "" : "s");
	}
	if (store_may_tidy(s))
		store_checkpoint(s, true);
	return true;
}

/* ---- the store ---- */

/* The damaged one aside, and a new one; the reason is in `why`. */
static bool begin_anew(struct log_store *s, const struct log_options *o, struct fault *why)
{
	struct fault reason = *why;
	disconnect(s);
	s->damaged = false;
	s->opening[0] = '\0';
	aside_look(s, &reason);
	return aside_move(s, o->now, &reason, why) && store_create(s->path, o, why);
}

static bool open_file(struct log_store *s, const struct log_options *o, struct fault *why)
{
	bool there, damaged;
	if (!beside_path(o->path, &s->path, why) || !beside_place_fits(s->path, why))
		return false;
	/* Before the lock: a file that is no log gets nothing put beside it. */
	bool half = beside_exists(s->path, "-journal", NULL) && aside_was_log(s->path);
	if (!half && !look_first(s->path, o, &there, &damaged, why))
		return false;
	s->lock = beside_lock(s->path, why);
	if (s->lock >= 0)
		take_back(s->path);
	/* And again: somebody may have had it until now. */
	if (s->lock < 0 || !look_first(s->path, o, &there, &damaged, why))
		return false;
	if (damaged ? !begin_anew(s, o, why) : !there && !store_create(s->path, o, why))
		return false;
	if (!beside_key_settle(s->path, why))
		return false;
	s->reserve = beside_reserve_make(s->path);
	if (begin_writing(s, o, why))
		return true;
	if (s->damaged && o->set_aside)
		return begin_anew(s, o, why) && begin_writing(s, o, why);
	/* On a full disk even opening needs some room. */
	int code = s->db ? sqlite3_errcode(s->db) & 0xff : SQLITE_FULL;
	if (!s->reserve || (code != SQLITE_FULL && code != SQLITE_IOERR) ||
	    beside_exists(s->path, ".suspect", NULL))
		return false;
	disconnect(s);
	s->reserve = false;
	return beside_reserve_drop(s->path) && begin_writing(s, o, why);
}

static bool open_memory(struct log_store *s, const struct log_options *o, struct fault *why)
{
	static atomic_uint number;
	char uri[80];
	snprintf(uri, sizeof uri, "file:/tally-%ld-%u?vfs=memdb", (long)getpid(),
	         atomic_fetch_add(&number, 1u) + 1);
	s->memory = true;
	s->path = strdup(uri);
	s->reserve = true;
	return s->path && begin_writing(s, o, why);
}

bool store_open(struct log_store *s, const struct log_options *o, struct fault *why)
{
	memset(s, 0, sizeof *s);
	s->lock = -1;
	s->ring = calloc(LOG_RING, sizeof *s->ring);
	s->ring_next = 1;
	s->sealer = sealer_open();
	if (!s->ring || !s->sealer) {
		free(s->ring);
		sealer_close(s->sealer);
		fault_set(why, "no memory for the log, or no SHA-256 in libcrypto");
		return false;
	}
	bool memory = o->path && strcmp(o->path, ":memory:") == 0;
	bool opened = memory ? open_memory(s, o, why) : open_file(s, o, why);
	if (opened) {
		s->health = s->reserve ? LOG_GOOD : LOG_LOW;
		opened = tidy_up(s, why);
	}
	if (opened)
		aside_tell(s, o->now);
	if (opened)
		aside_recall(s);
	else
		store_close(s);
	return opened;
}

void store_close(struct log_store *s)
{
	if (s->db && s->insert && store_may_tidy(s)) {
		store_checkpoint(s, true);
		/* Nothing is left in it, and SQLite may remove LOG-wal and LOG-shm. */
		if (s->health != LOG_SUSPECT && s->wal_frames == 0)
			sqlite3_db_config(s->db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 0, NULL);
	}
	disconnect(s);
	beside_unlock(s->lock);
	s->lock = -1;
	free(s->ring);
	free(s->lines);
	free(s->path);
	sealer_close(s->sealer);
	sign_end(s);
	s->ring = NULL;
	s->lines = NULL;
	s->path = NULL;
	s->sealer = NULL;
}
