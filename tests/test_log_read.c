/* SPDX-License-Identifier: MIT */
/*
 * Reading a log: what each kind of tampering is called, and that onlookers change
 * nothing.
 *
 * The damaged logs are made here: a log of 12 records, triggers dropped, one
 * thing changed.
 */
#include "tests/log_help.h"

#include <fcntl.h>
#include <signal.h>
#include <sys/wait.h>

/* ---- tampering ---- */

#define DROP "DROP TRIGGER record_no_update; DROP TRIGGER record_no_delete; " \
	         "DROP TRIGGER record_in_order; "

/* Give every record from `from` on the hash that its text and place ask for, as
 * somebody would who knows the rule. */
static void rehash(const char *path, int64_t from)
{
	sqlite3 *db;
	sqlite3_stmt *st, *up;
	uint8_t before[32] = { 0 }, hash[32];
	sqlite3_open(path, &db);
	sqlite3_exec(db, DROP, NULL, NULL, NULL);
	sqlite3_prepare_v2(db, "SELECT seq, text, hash FROM record ORDER BY seq", -1, &st, NULL);
	sqlite3_prepare_v2(db, "UPDATE record SET hash = ? WHERE seq = ?", -1, &up, NULL);
	while (sqlite3_step(st) == SQLITE_ROW) {
		int64_t seq = sqlite3_column_int64(st, 0);
		chain_rule(before, (const char *)sqlite3_column_text(st, 1),
		           (size_t)sqlite3_column_bytes(st, 1), hash);
		if (seq < from)
			memcpy(hash, sqlite3_column_blob(st, 2), 32);
		sqlite3_bind_blob(up, 1, hash, 32, SQLITE_TRANSIENT);
		sqlite3_bind_int64(up, 2, seq);
		assert_int_equal(sqlite3_step(up), SQLITE_DONE);
		sqlite3_reset(up);
		memcpy(before, hash, 32);
	}
	sqlite3_finalize(st);
	sqlite3_finalize(up);
	sqlite3_close(db);
}

static void hash_at(const char *path, int64_t seq, uint8_t out[32])
{
	char query[80], hex[65] = "";
	snprintf(query, sizeof query, "SELECT hex(hash) FROM record WHERE seq = %d", (int)seq);
	assert_true(sql_value(path, query, hex, sizeof hex));
	for (int i = 0; i < 32; i++)
		sscanf(hex + 2 * i, "%2hhx", &out[i]);
}

static void copy_file(const char *from, const char *to)
{
	static char bytes[4 << 20];
	FILE *f = fopen(from, "r");
	size_t n = fread(bytes, 1, sizeof bytes, f);
	fclose(f);
	f = fopen(to, "w");
	fwrite(bytes, 1, n, f);
	fclose(f);
}

static void tampering_has_names(void **state)
{
	(void)state;
	const struct {
		const char *legend, *sql; /* triggers are dropped before */
		int rehash;               /* from this record on; 0: not */
		int anchor;               /* record of the true log; 0: none */
		enum log_verdict want;
		int bad;
		const char *what;
	} rows[] = {
		{ "nothing, no anchor", "", 0, 0, LOG_INTACT_NO_ANCHOR, 0, "" },
		{ "nothing, anchor at the end", "", 0, 12, LOG_INTACT_TO_ANCHOR, 0, "" },
		{ "nothing, anchor before it", "", 0, 7, LOG_NEWER_THAN_ANCHOR, 0, "" },
		{ "nothing, anchor at record 1", "", 0, 1, LOG_NEWER_THAN_ANCHOR, 0, "" },
		{ "last deleted", "DELETE FROM record WHERE seq = 12", 0, 0, LOG_INTACT_NO_ANCHOR, 0, "" },
		{ "last deleted, anchored", "DELETE FROM record WHERE seq = 12", 0, 12, LOG_TRUNCATED, 0,
		  "ends at record 11" },
		{ "last three deleted", "DELETE FROM record WHERE seq > 9", 0, 12, LOG_TRUNCATED, 0, "9" },
		{ "all deleted", "DELETE FROM record", 0, 0, LOG_EMPTY, 0, "no record" },
		{ "all deleted, anchored", "DELETE FROM record", 0, 12, LOG_TRUNCATED, 0, "" },
		{ "first deleted", "DELETE FROM record WHERE seq = 1", 0, 0, LOG_ALTERED, 1, "missing" },
		{ "one deleted", "DELETE FROM record WHERE seq = 5", 0, 0, LOG_ALTERED, 5, "missing" },
		{ "one deleted, rest renumbered and rehashed",
		  "DELETE FROM record WHERE seq = 5; UPDATE record SET seq = -seq WHERE seq > 5;"
		  "UPDATE record SET seq = -seq - 1 WHERE seq < 0", 1, 0, LOG_ALTERED, 5,
		  "does not begin with its own number" },
		{ "two swapped", "UPDATE record SET seq = 99 WHERE seq = 5; UPDATE record SET seq = 5 WHERE "
		  "seq = 6; UPDATE record SET seq = 6 WHERE seq = 99", 0, 0, LOG_ALTERED, 5, "number" },
		{ "texts swapped", "UPDATE record SET text = (SELECT text FROM record r WHERE r.seq = 6) "
		  "WHERE seq = 5", 0, 0, LOG_ALTERED, 5, "number" },
		{ "a value changed", "UPDATE record SET text = replace(text, '\"n\":8', '\"n\":9') "
		  "WHERE seq = 8", 0, 0, LOG_ALTERED, 8, "does not fit its hash" },
		{ "a time changed", "UPDATE record SET text = replace(text, '2026', '2025') WHERE seq = 8",
		  0, 0, LOG_ALTERED, 8, "hash" },
		{ "changed, its own hash made right", "UPDATE record SET text = replace(text, '\"n\":8', "
		  "'\"n\":9') WHERE seq = 8", -8, 0, LOG_ALTERED, 9, "hash" },
		{ "changed, all after it rehashed", "UPDATE record SET text = replace(text, '\"n\":8', "
		  "'\"n\":9') WHERE seq = 8", 8, 0, LOG_INTACT_NO_ANCHOR, 0, "" },
		{ "the same, anchored at the end", "UPDATE record SET text = replace(text, '\"n\":8', "
		  "'\"n\":9') WHERE seq = 8", 8, 12, LOG_REWRITTEN, 0, "record 12 is not" },
		{ "the same, anchored where it begins", "UPDATE record SET text = replace(text, '\"n\":8', "
		  "'\"n\":9') WHERE seq = 8", 8, 8, LOG_REWRITTEN, 0, "record 8 is not" },
		{ "the same, anchored before it", "UPDATE record SET text = replace(text, '\"n\":8', "
		  "'\"n\":9') WHERE seq = 8", 8, 7, LOG_NEWER_THAN_ANCHOR, 0, "" },
		{ "all rewritten", "UPDATE record SET text = replace(text, 'north', 'south')", 1, 12,
		  LOG_REWRITTEN, 0, "" },
		{ "hash cut", "UPDATE record SET hash = substr(hash, 1, 31) WHERE seq = 4", 0, 0, LOG_ALTERED,
		  4, "32 bytes" },
		{ "hash longer", "UPDATE record SET hash = CAST(hash || x'00' AS BLOB) WHERE seq = 4", 0, 0,
		  LOG_ALTERED, 4, "32 bytes" },
		{ "hash emptied", "UPDATE record SET hash = x'' WHERE seq = 4", 0, 0, LOG_ALTERED, 4, "" },
		{ "a record 0", "INSERT INTO record (seq, text, hash) SELECT 0, text, hash FROM record "
		  "WHERE seq = 1", 0, 0, LOG_ALTERED, 1, "number 0" },
		{ "a record -5", "INSERT INTO record (seq, text, hash) SELECT -5, text, hash FROM record "
		  "WHERE seq = 1", 0, 12, LOG_ALTERED, 1, "number -5" },
		{ "one more, wrong hash", "INSERT INTO record (seq, text, hash) SELECT 13, replace(text, "
		  "'\"seq\":12', '\"seq\":13'), hash FROM record WHERE seq = 12", 0, 0, LOG_ALTERED, 13, "" },
		{ "the same, anchored at 12", "INSERT INTO record (seq, text, hash) SELECT 13, replace(text, "
		  "'\"seq\":12', '\"seq\":13'), hash FROM record WHERE seq = 12", 0, 12, LOG_ALTERED, 13, "" },
		{ "record 1 of another kind", "UPDATE record SET text = replace(text, '\"kind\":\"log\"', "
		  "'\"kind\":\"note\"') WHERE seq = 1", 1, 0, LOG_ALTERED, 1, "beginning of a log" },
		{ "identity cut", "UPDATE record SET text = replace(text, '\"identity\":\"', "
		  "'\"identity\":\"x') WHERE seq = 1", 1, 0, LOG_ALTERED, 1, "" },
		{ "a space before the number", "UPDATE record SET text = replace(text, '{\"seq\"', "
		  "'{ \"seq\"') WHERE seq = 3", 1, 0, LOG_ALTERED, 3, "number" },
		{ "the number as a fraction", "UPDATE record SET text = replace(text, '\"seq\":3', "
		  "'\"seq\":3.0') WHERE seq = 3", 1, 0, LOG_ALTERED, 3, "number" },
		{ "the table gone", "DROP TABLE record", 0, 0, LOG_ALTERED, 1, "table" },
		{ "a view in its place", "CREATE TABLE x AS SELECT * FROM record; DROP TABLE record; "
		  "CREATE VIEW record AS SELECT * FROM x", 0, 0, LOG_ALTERED, 1, "table" },
		{ "a blob for a text", "CREATE TABLE x AS SELECT seq, CAST(text AS BLOB) AS text, hash FROM "
		  "record; DROP TABLE record; CREATE TABLE record (seq INTEGER PRIMARY KEY, text, hash); "
		  "INSERT INTO record SELECT * FROM x", 0, 0, LOG_ALTERED, 1, "no text" },
	};
	char path[160];
	struct log_check check;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		uint8_t anchor[32] = { 0 };
		snprintf(path, sizeof path, "%s/%zu.db", folder, i);
		make_log(path, 12);
		if (rows[i].anchor)
			hash_at(path, rows[i].anchor, anchor);
		char both[800];
		snprintf(both, sizeof both, "%s%s", DROP, rows[i].sql);
		assert_int_equal(sql(path, both), SQLITE_OK);
		if (rows[i].rehash > 0)
			rehash(path, rows[i].rehash);
		if (rows[i].rehash < 0) {
			char keep[65], back[200];
			sql_value(path, "SELECT hex(hash) FROM record WHERE seq = 9", keep, sizeof keep);
			rehash(path, -rows[i].rehash);
			/* Only that one: the next has its old hash again. */
			snprintf(back, sizeof back, "UPDATE record SET hash = x'%s' WHERE seq = 9", keep);
			assert_int_equal(sql(path, back), SQLITE_OK);
		}
		enum log_verdict got = verdict_of(path, rows[i].anchor, anchor, &check);
		if (got != rows[i].want || check.bad_seq != rows[i].bad ||
		    !strstr(check.what, rows[i].what)) {
			note_row("%s: %s, record %d, \"%s\"", rows[i].legend, log_verdict_name(got),
			         (int)check.bad_seq, check.what);
			fail();
		}
		/* And the daemon adds nothing to what is broken. */
		struct fault why;
		struct log *log = open_log(path, true, NULL, &why);
		assert_true((log != NULL) == (got != LOG_ALTERED && got != LOG_EMPTY &&
		                              !(got == LOG_TRUNCATED && check.records == 0)));
		log_close(log);
	}
}

/* Every byte of every text, changed where it lies in the file. */
struct going {
	int calls;
	int64_t last, all, stop_at;
};

static bool go_on(void *arg, int64_t done, int64_t all)
{
	struct going *g = arg;
	assert_true(done > g->last);
	g->calls++;
	g->last = done;
	g->all = all;
	return done < g->stop_at;
}

/* A long verification says how far it is, and ends where it is told to: with no answer. */
static void verification_can_be_stopped(void **state)
{
	(void)state;
	const char *path = in_folder("a.db");
	struct log *log = open_sure(path, true);
	static struct log_draft d[1000];
	struct fault why;
	for (int i = 0; i < 1000; i++)
		d[i] = draft("note", "");
	for (int i = 0; i < 6; i++)
		assert_true(log_append(log, d, 1000, NULL, &why) > 0);
	log_close(log);
	struct log_reader *r = log_reader_open(path, &why);
	struct log_check check;
	struct going g = { .stop_at = INT64_MAX };
	log_reader_going(r, &(struct log_going){ go_on, &g });
	assert_true(log_reader_verify(r, NULL, &check, &why));
	assert_int_equal(check.records, 6001);
	assert_true(g.calls >= 5);
	assert_int_equal(g.all, 6001);
	g = (struct going){ .stop_at = 3000 };
	assert_false(log_reader_verify(r, NULL, &check, &why));
	assert_true(check.stopped);
	assert_int_equal(g.last, 3000);
	assert_non_null(strstr(why.text, "stopped after record 3000"));
	/* The next question is another one. */
	log_reader_going(r, NULL);
	assert_true(log_reader_verify(r, NULL, &check, &why));
	assert_int_equal(check.verdict, LOG_INTACT_NO_ANCHOR);
	log_reader_close(r);
}

static void any_changed_byte_is_found(void **state)
{
	(void)state;
	static char bytes[1 << 16];
	struct log_check check;
	const char *path = in_folder("a.db");
	make_log(path, 6);
	int fd = open(path, O_RDWR);
	ssize_t n = read(fd, bytes, sizeof bytes);
	for (int seq = 1; seq <= 6; seq++) {
		char begin[32];
		int len = snprintf(begin, sizeof begin, "{\"seq\":%d,", seq);
		char *text = memmem(bytes, (size_t)n, begin, (size_t)len);
		assert_non_null(text);
		for (char *p = text; p == text || p[-1] != '}'; p++) {
			char other = (char)(*p ^ 1);
			assert_int_equal(pwrite(fd, &other, 1, p - bytes), 1);
			assert_int_equal(verdict_of(path, 0, NULL, &check), LOG_ALTERED);
			assert_int_equal(check.bad_seq, seq);
			assert_int_equal(check.records, seq - 1);
			assert_int_equal(pwrite(fd, p, 1, p - bytes), 1);
		}
	}
	close(fd);
	assert_int_equal(verdict_of(path, 0, NULL, &check), LOG_INTACT_NO_ANCHOR);
}

/* Bytes of the file itself, where SQLite keeps its own order: never a crash, never
 * another text under the old verdict. */
static void damaged_pages_are_altered_or_harmless(void **state)
{
	(void)state;
	const char *path = in_folder("a.db"), *copy = in_folder("b.db");
	make_log(path, 300);
	struct stat st;
	stat(path, &st);
	int altered = 0, fault = 0, intact = 0;
	for (long at = 0; at < st.st_size; at += 331) {
		struct fault why = { .text = "" };
		struct log_check check;
		copy_file(path, copy);
		int fd = open(copy, O_RDWR);
		uint8_t bytes[16];
		pread(fd, bytes, sizeof bytes, at);
		for (size_t i = 0; i < sizeof bytes; i++)
			bytes[i] ^= 0xa5;
		pwrite(fd, bytes, sizeof bytes, at);
		close(fd);
		struct log_reader *r = log_reader_open(copy, &why);
		if (!r) {
			fault++;
			assert_true(why.text[0]);
			assert_true(at < 100); /* the header: magic, sizes, application_id */
		} else if (!log_reader_verify(r, NULL, &check, &why)) {
			fault++;
		} else if (check.verdict == LOG_ALTERED || check.verdict == LOG_EMPTY) {
			altered++;
		} else {
			/* An index, a view, or unused room. */
			intact++;
			uint8_t head[32], true_head[32];
			assert_int_equal(chain_by_rule(path, true_head), 300);
			memcpy(head, check.head, 32);
			if (check.records == 300)
				assert_memory_equal(head, true_head, 32);
		}
		log_reader_close(r);
	}
	assert_in_range(fault, 1, 3);
	assert_in_range(altered, 20, 1000);
	assert_in_range(intact, 5, 1000);
}

static void a_cut_file_is_altered_where_it_ends(void **state)
{
	(void)state;
	struct stat st;
	struct log_check check;
	make_log(in_folder("a.db"), 600);
	stat(in_folder("a.db"), &st);
	copy_file(in_folder("a.db"), in_folder("b.db"));
	assert_int_equal(truncate(in_folder("b.db"), st.st_size / 2 / 4096 * 4096), 0);
	assert_int_equal(verdict_of(in_folder("b.db"), 0, NULL, &check), LOG_ALTERED);
	assert_true(check.bad_seq > 1);
	assert_non_null(strstr(check.what, "damaged"));
	struct fault why;
	assert_null(open_log(in_folder("b.db"), true, NULL, &why));
}

/* ---- onlookers ---- */

struct listing {
	int n;
	struct {
		char name[64];
		long size, nsec;
		ino_t inode;
	} file[16];
};

/* Everything but LOG-shm, SQLite's own scratch. */
static void list_folder(struct listing *l)
{
	DIR *d = opendir(folder);
	struct dirent *e;
	memset(l, 0, sizeof *l);
	while ((e = readdir(d)) && l->n < 16) {
		struct stat st;
		if (e->d_name[0] == '.' || stat(in_folder(e->d_name), &st) != 0)
			continue;
		int i = l->n++;
		for (; i > 0 && strcmp(l->file[i - 1].name, e->d_name) > 0; i--)
			l->file[i] = l->file[i - 1];
		memset(&l->file[i], 0, sizeof l->file[i]);
		snprintf(l->file[i].name, sizeof l->file[i].name, "%.63s", e->d_name);
		bool scratch = strstr(e->d_name, "-shm") != NULL;
		l->file[i].size = scratch ? 0 : st.st_size;
		l->file[i].nsec = scratch ? 0 : st.st_mtim.tv_nsec;
		l->file[i].inode = st.st_ino;
	}
	closedir(d);
}

/* A child appends up to record n and dies, leaving LOG-wal and LOG-shm. */
static void die_with_wal(const char *path, int n)
{
	pid_t pid = fork();
	if (pid == 0) {
		struct fault why;
		struct log *log = open_log(path, false, NULL, &why);
		while (log && log_last_seq(log) < n) {
			append_one(log, "note", ",\"a\":1");
			log_flush(log);
		}
		kill(getpid(), SIGKILL);
	}
	waitpid(pid, NULL, 0);
}

/* As nobody, where we are root. */
static int64_t records_as_nobody(const char *path)
{
	int out[2];
	assert_int_equal(pipe(out), 0);
	pid_t pid = fork();
	if (pid == 0) {
		struct fault why = { .text = "" };
		struct log_check check;
		int64_t n = -1;
		if (geteuid() == 0 && setuid(65534) != 0)
			_exit(1);
		struct log_reader *r = log_reader_open(path, &why);
		if (r && log_reader_verify(r, NULL, &check, &why) &&
		    check.verdict == LOG_INTACT_NO_ANCHOR)
			n = check.records;
		if (n < 0)
			fprintf(stderr, "%s\n", why.text);
		log_reader_close(r);
		(void)!write(out[1], &n, sizeof n);
		_exit(0);
	}
	int64_t n = -1;
	(void)!read(out[0], &n, sizeof n);
	close(out[0]);
	close(out[1]);
	waitpid(pid, NULL, 0);
	return n;
}

static void onlookers_change_nothing(void **state)
{
	(void)state;
	const char *path = in_folder("a.db");
	struct listing before, after;
	struct log_check check;
	enum { AT_REST, KILLED, NO_SHM, EMPTY_WAL, CASES };
	for (int c = 0; c < CASES; c++) {
		for (int unwritable = 0; unwritable < 2; unwritable++) {
			folder_drop(NULL);
			folder_make_fast(NULL);
			path = in_folder("a.db");
			int want = 5;
			make_log(path, 5);
			if (c == KILLED || c == NO_SHM) {
				die_with_wal(path, 9);
				want = 9;
				assert_true(is_there("a.db-wal"));
			}
			if (c == NO_SHM)
				unlink(in_folder("a.db-shm"));
			if (c == EMPTY_WAL)
				close(open(in_folder("a.db-wal"), O_CREAT | O_RDWR, 0644));
			if (unwritable) {
				chmod(path, 0444);
				chmod(folder, 0555);
			} else {
				chmod(folder, 0755);
			}
			list_folder(&before);
			int64_t n = records_as_nobody(path);
			verdict_of(path, 0, NULL, &check);
			list_folder(&after);
			chmod(folder, 0755);
			if (n != want || check.records != want || memcmp(&before, &after, sizeof after) != 0) {
				note_row("case %d, unwritable %d: %d and %d records, want %d; files %d and %d", c,
				         unwritable, (int)n, (int)check.records, want, before.n, after.n);
				fail();
			}
			/* And the log goes on. */
			chmod(path, 0644);
			struct log *log = open_sure(path, false);
			assert_int_equal(log_last_seq(log), want);
			log_close(log);
		}
	}
}

static bool count_one(void *arg, int64_t seq, const char *text, size_t len)
{
	(void)seq, (void)text, (void)len;
	++*(int *)arg;
	return true;
}

static void a_reader_follows_a_daemon_that_comes_and_goes(void **state)
{
	(void)state;
	struct fault why = { .text = "" };
	struct log_query all = { 0 };
	const char *path = in_folder("a.db");
	make_log(path, 5);
	struct log_reader *r = log_reader_open(path, &why);
	assert_non_null(r);
	for (int round = 0; round < 3; round++) {
		int n = 0;
		int want = 5 + round * 2;
		assert_int_equal(log_reader_records(r, &all, count_one, &n, &why), want);
		struct log *log = open_sure(path, false);
		append_one(log, "note", "");
		log_flush(log);
		assert_int_equal(log_reader_records(r, &all, count_one, &n, &why), want + 1);
		append_one(log, "note", "");
		log_flush(log);
		assert_int_equal(log_reader_records(r, &all, count_one, &n, &why), want + 2);
		struct log_check check;
		assert_true(log_reader_verify(r, NULL, &check, &why));
		assert_int_equal(check.records, want + 2);
		log_close(log);
	}
	log_reader_close(r);
}

int main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, folder_make_fast, folder_drop)
	const struct CMUnitTest tests[] = {
		T(tampering_has_names),
		T(verification_can_be_stopped),
		T(any_changed_byte_is_found),
		T(damaged_pages_are_altered_or_harmless),
		T(a_cut_file_is_altered_where_it_ends),
		T(onlookers_change_nothing),
		T(a_reader_follows_a_daemon_that_comes_and_goes),
	};
	return cmocka_run_group_tests_name("log_read", tests, NULL, NULL);
}
