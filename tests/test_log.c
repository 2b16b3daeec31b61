/* SPDX-License-Identifier: MIT */
/*
 * The log as those who use it see it: what goes in comes back sealed, in order,
 * the same with and without a thread; nobody can change it.
 */
#include "tests/log_help.h"

#include <signal.h>
#include <sys/wait.h>

/* ---- what goes in comes back ---- */

static void records_are_exact(void **state)
{
	(void)state;
	static struct got got;
	memset(&got, 0, sizeof got);
	struct log *log = open_sure(in_folder("a.db"), false);
	struct fault why;
	struct log_draft d[2] = { draft("entry", ",\"position\":\"R1\",\"value\":3.45e-7"),
		                      draft("trail", ",\"meter\":\"red\"") };
	d[1].t = NOW - 60000000;
	assert_int_equal(log_next_ticket(log), 1);
	assert_int_equal(log_append(log, d, 2, NULL, &why), 1);
	assert_int_equal(append_one(log, "note", ""), 3);
	assert_int_equal(log_next_ticket(log), 4);
	log_flush(log);
	log_collect(log, got_one, &got);
	assert_int_equal(got.n, 3);
	assert_int_equal(got.durable, 3);
	for (int i = 0; i < 3; i++) {
		assert_int_equal(got.row[i].ticket, i + 1);
		assert_int_equal(got.row[i].seq, i + 2);
	}
	assert_string_equal(got.row[0].text,
	                    "{\"seq\":2,\"t\":\"2026-11-25T10:00:00.123456Z\",\"kind\":\"entry\","
	                    "\"position\":\"R1\",\"value\":3.45e-7}");
	assert_string_equal(got.row[1].text, "{\"seq\":3,\"t\":\"2026-11-25T09:59:00.123456Z\","
	                                     "\"kind\":\"trail\",\"meter\":\"red\"}");
	assert_string_equal(got.row[2].text,
	                    "{\"seq\":4,\"t\":\"2026-11-25T10:00:00.123456Z\",\"kind\":\"note\"}");
	assert_int_equal(log_last_seq(log), 4);
	assert_int_equal(log_health(log), LOG_GOOD);
	assert_int_equal(strlen(log_identity(log)), 32);
	log_close(log);
	uint8_t head[32];
	assert_int_equal(chain_by_rule(in_folder("a.db"), head), 4);
	char value[512];
	assert_true(sql_value(in_folder("a.db"), "SELECT text FROM record WHERE seq = 2", value,
	                      sizeof value));
	assert_string_equal(value, got.row[0].text);
}

/* The same drafts through a thread, without one, and in memory. */
static void modes_agree(void **state)
{
	(void)state;
	static const uint8_t identity[16] = { 1, 2, 3 };
	uint8_t head[3][32];
	for (int mode = 0; mode < 3; mode++) {
		struct fault why;
		struct log_options o = { .path = mode == 2 ? ":memory:" : in_folder(mode ? "i.db" : "t.db"),
			                     .bench = "north", .version = "0.1", .now = NOW,
			                     .identity = identity, .inline_mode = mode != 0 };
		struct log *log = log_open(&o, &why);
		assert_non_null(log);
		for (int i = 0; i < 200; i++) {
			char body[64];
			snprintf(body, sizeof body, ",\"n\":%d", i);
			append_one(log, i % 2 ? "entry" : "note", i % 50 == 49 ? ",broken" : body);
		}
		log_flush(log);
		struct log_check check;
		assert_int_equal(verdict_of(log_path(log), 0, NULL, &check), LOG_INTACT_NO_ANCHOR);
		assert_int_equal(check.records, 197);
		memcpy(head[mode], check.head, 32);
		assert_string_equal(check.identity, "01020300000000000000000000000000");
		log_close(log);
	}
	/* A thread's log has a key in record 1: only that differs. */
	assert_memory_equal(head[1], head[2], 32);
	char query[400];
	snprintf(query, sizeof query, "ATTACH '%s' AS o", in_folder("i.db"));
	sqlite3 *db;
	sqlite3_stmt *st;
	sqlite3_open(in_folder("t.db"), &db);
	sqlite3_exec(db, query, NULL, NULL, NULL);
	sqlite3_prepare_v2(db, "SELECT count(*), sum(a.text = b.text) FROM record a JOIN o.record b "
	                   "USING (seq)", -1, &st, NULL);
	assert_int_equal(sqlite3_step(st), SQLITE_ROW);
	assert_int_equal(sqlite3_column_int(st, 0), 197);
	assert_int_equal(sqlite3_column_int(st, 1), 196);
	sqlite3_finalize(st);
	sqlite3_close(db);
}

static void references_become_numbers(void **state)
{
	(void)state;
	static struct got got;
	static struct log_draft many[LOG_DRAFTS_MAX];
	memset(&got, 0, sizeof got);
	struct log *log = open_sure(":memory:", true);
	struct fault why;
	char body[4][128], ref[3][LOG_REFERENCE_SIZE];
	append_one(log, "note", ",bad"); /* ticket 1: refused */
	log_reference(1, ref[0]);
	log_reference(2, ref[1]);
	log_reference(3, ref[2]);
	snprintf(body[0], sizeof body[0], ",\"trail\":[[%s,0,9],[%s,0,1]],\"of\":%s", ref[2], ref[1],
	         ref[0]);
	struct log_draft d[2] = { draft("entry", body[0]), draft("trail", ",\"v\":[1]") };
	assert_int_equal(log_append(log, d, 2, NULL, &why), 2);
	log_reference(99, ref[0]); /* not yet appended */
	snprintf(body[1], sizeof body[1], ",\"of\":%s,\"and\":%s", ref[1], ref[0]);
	append_one(log, "strike", body[1]); /* ticket 4 */
	append_one(log, "strike", ",\"of\":\x01""12x\x01");
	append_one(log, "strike", ",\"of\":\x01\x01");
	append_one(log, "strike", ",\"of\":\x01""12");
	append_one(log, "strike", ",\"of\":\x01""99999999999999999999999\x01");
	log_collect(log, got_one, &got);
	assert_int_equal(got.n, 8);
	assert_int_equal(got.row[0].status, LOG_NOT_LOGGED);
	assert_non_null(strstr(got.row[1].text, "\"trail\":[[3,0,9],[2,0,1]],\"of\":null}"));
	assert_non_null(strstr(got.row[3].text, "\"of\":2,\"and\":null}"));
	for (int i = 4; i < 8; i++)
		assert_int_equal(got.row[i].status, LOG_NOT_LOGGED);
	/* The oldest ticket that can be named, and one before it: next is 9. */
	for (int i = 0; i < LOG_DRAFTS_MAX; i++)
		many[i] = draft("note", "");
	for (int i = 0; i < 15; i++)
		assert_true(log_append(log, many, LOG_DRAFTS_MAX, NULL, &why) > 0);
	assert_true(log_append(log, many, LOG_DRAFTS_MAX - 8 + 2, NULL, &why) > 0);
	got.n = 0;
	log_collect(log, got_one, &got);
	assert_int_equal(log_next_ticket(log), 65536 + 3);
	got.n = 0;
	log_reference(3, ref[0]);
	log_reference(4, ref[1]);
	snprintf(body[2], sizeof body[2], ",\"of\":%s,\"and\":%s", ref[0], ref[1]);
	append_one(log, "strike", body[2]);
	log_collect(log, got_one, &got);
	assert_non_null(strstr(got.row[0].text, "\"of\":null,\"and\":4}"));
	log_close(log);
}

static void an_unfit_record_takes_only_its_companions(void **state)
{
	(void)state;
	static struct got got;
	static const char *const bad[] = {
		",", ",\"a\":", "}", ",\"a\":1,\"a\":2", ",\"kind\":\"x\"", ",\"a\":\"\n\"", ",\"a\":\n1",
		",\"a\":\"\xff\"", ",\"a\":01", "x", ",\"seq\":9",
	};
	memset(&got, 0, sizeof got);
	struct log *log = open_sure(in_folder("a.db"), false);
	struct fault why;
	int n = 0;
	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
		struct log_draft d[3] = { draft("note", ",\"a\":1"), draft("entry", bad[i]),
			                      draft("note", ",\"a\":2") };
		assert_true(log_append(log, d, 3, NULL, &why) > 0);
		assert_true(append_one(log, "note", ",\"good\":1") > 0);
		n += 4;
	}
	log_flush(log);
	log_collect(log, got_one, &got);
	assert_int_equal(got.n, n);
	for (int i = 0; i < n; i++) {
		assert_int_equal(got.row[i].status, i % 4 == 3 ? LOG_DURABLE : LOG_NOT_LOGGED);
		assert_true(i % 4 == 3 || got.row[i].why[0]);
	}
	assert_int_equal(log_last_seq(log), 1 + n / 4);
	assert_int_equal(log_health(log), LOG_GOOD);
	log_close(log);
	uint8_t head[32];
	assert_int_equal(chain_by_rule(in_folder("a.db"), head), 1 + n / 4);
}

static void what_is_no_draft_is_refused(void **state)
{
	(void)state;
	struct log *log = open_sure(":memory:", true);
	struct fault why;
	static char big[LOG_TEXT_MAX];
	memset(big, ' ', sizeof big - 1);
	const struct {
		const char *legend;
		struct log_draft d;
		size_t n;
	} rows[] = {
		{ "no kind", { NOW, NULL, "", 0 }, 1 },
		{ "empty kind", { NOW, "", "", 0 }, 1 },
		{ "capitals", { NOW, "Entry", "", 0 }, 1 },
		{ "a quote", { NOW, "e\"", "", 0 }, 1 },
		{ "16 letters", { NOW, "abcdefghijklmnop", "", 0 }, 1 },
		{ "too long", { NOW, "entry", big, sizeof big - 1 }, 1 },
		{ "year 0", { -62135596800000001, "entry", "", 0 }, 1 },
		{ "year 10000", { 253402300800000000, "entry", "", 0 }, 1 },
		{ "none", { NOW, "entry", "", 0 }, 0 },
		{ "too many", { NOW, "entry", "", 0 }, LOG_DRAFTS_MAX + 1 },
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		why.text[0] = '\0';
		note_row("%s", rows[i].legend);
		assert_int_equal(log_append(log, &rows[i].d, rows[i].n, NULL, &why), 0);
		assert_true(strlen(why.text) > 10);
	}
	assert_int_equal(log_next_ticket(log), 1);
	struct log_draft edge = { 253402300799999999, "abcdefghijklmno", "", 0 };
	assert_int_equal(log_append(log, &edge, 1, NULL, &why), 1);
	assert_int_equal(log_last_seq(log), 2);
	log_close(log);
}

static void a_full_queue_refuses(void **state)
{
	(void)state;
	static struct got got;
	memset(&got, 0, sizeof got);
	static char body[400 * 1024];
	struct fault why = { .text = "" };
	struct log *log = open_sure(":memory:", false);
	memset(body, 'x', sizeof body);
	memcpy(body, ",\"a\":\"", 6);
	body[sizeof body - 1] = '"';
	struct log_draft d = { NOW, "note", body, sizeof body };
	int n = 0;
	while (n < 100 && log_append(log, &d, 1, NULL, &why))
		n++;
	assert_int_equal(n, LOG_QUEUE_MAX / sizeof body);
	assert_non_null(strstr(why.text, "16 MiB"));
	log_flush(log);
	log_collect(log, got_one, &got);
	assert_int_equal(got.durable, n);
	assert_int_equal(log_append(log, &d, 1, NULL, &why), n + 1);
	log_close(log);
}

static void append_from_a_result(void *arg, const struct log_result *r)
{
	struct log *log = arg;
	if (r->ticket < 5)
		append_one(log, "note", ",\"after\":true");
}

static void a_result_may_append(void **state)
{
	(void)state;
	struct log *log = open_sure(":memory:", true);
	append_one(log, "note", "");
	log_collect(log, append_from_a_result, log);
	assert_int_equal(log_last_seq(log), 1 + 5);
	log_close(log);
}

/* ---- open runs ---- */

static struct log_open_run run_of(const char *meter, int64_t t, const char *body)
{
	return (struct log_open_run){ .meter = meter, .t = t, .body = body,
		                          .body_len = strlen(body) };
}

/* What a child leaves behind that is killed after what it did was durable. */
static void in_a_child_that_dies(const char *path, void (*act)(struct log *log))
{
	pid_t pid = fork();
	if (pid == 0) {
		struct fault why;
		struct log *log = open_log(path, false, NULL, &why);
		if (!log)
			_exit(1);
		act(log);
		log_flush(log);
		kill(getpid(), SIGKILL);
	}
	int status;
	waitpid(pid, &status, 0);
	assert_true(WIFSIGNALED(status));
}

static void leave_runs(struct log *log)
{
	struct log_open_run old = run_of("gone", NOW, ",\"meter\":\"gone\"");
	struct log_open_run runs[3] = { run_of("red", NOW + 5, ",\"meter\":\"red\",\"v\":[1]"),
		                            run_of("blue", NOW + 3, ",\"meter\":\"blue\",\"v\":[2]"),
		                            run_of("grey", NOW + 4, ",\"meter\":\"grey\",\"v\":[3]") };
	struct log_draft d = draft("trail", ",\"meter\":\"grey\",\"v\":[3,4]");
	struct fault why;
	log_save_open(log, &old, 1);
	log_save_open(log, runs, 3);
	log_append(log, &d, 1, "grey", &why);
}

static void nothing(struct log *log)
{
	(void)log;
}

static void open_runs_are_sealed_first(void **state)
{
	(void)state;
	const char *path = in_folder("a.db");
	char value[512];
	in_a_child_that_dies(path, leave_runs);
	struct log *log = open_sure(path, false);
	assert_non_null(strstr(log_opening(log), "sealed 2 open runs"));
	append_one(log, "note", "");
	log_close(log);
	static const char *const want[] = {
		"{\"seq\":2,\"t\":\"2026-11-25T10:00:00.123456Z\",\"kind\":\"trail\",\"meter\":\"grey\","
		"\"v\":[3,4]}",
		"{\"seq\":3,\"t\":\"2026-11-25T10:00:00.123459Z\",\"kind\":\"trail\",\"meter\":\"blue\","
		"\"v\":[2],\"recovered\":true}",
		"{\"seq\":4,\"t\":\"2026-11-25T10:00:00.123461Z\",\"kind\":\"trail\",\"meter\":\"red\","
		"\"v\":[1],\"recovered\":true}",
		"{\"seq\":5,\"t\":\"2026-11-25T10:00:00.123456Z\",\"kind\":\"note\"}",
	};
	for (int i = 0; i < 4; i++) {
		char query[64];
		snprintf(query, sizeof query, "SELECT text FROM record WHERE seq = %d", i + 2);
		assert_true(sql_value(path, query, value, sizeof value));
		assert_string_equal(value, want[i]);
	}
	/* Once is enough. */
	in_a_child_that_dies(path, nothing);
	log = open_sure(path, false);
	assert_int_equal(log_last_seq(log), 5);
	assert_null(strstr(log_opening(log), "sealed"));
	log_close(log);
}

static void a_spoilt_open_run_does_not_stop_the_log(void **state)
{
	(void)state;
	const char *path = in_folder("a.db");
	make_log(path, 3);
	assert_int_equal(sql(path, "INSERT INTO open_run VALUES ('red', 5, ',not json'),"
	                     "('blue', 6, ',\"meter\":\"blue\"')"), SQLITE_OK);
	struct log *log = open_sure(path, true);
	assert_int_equal(log_last_seq(log), 4);
	log_close(log);
}

/* ---- nobody can change it ---- */

static void sealed_records_refuse_changes(void **state)
{
	(void)state;
	static const char *const attempts[] = {
		"UPDATE record SET text = '{}' WHERE seq = 3",
		"UPDATE record SET seq = 99 WHERE seq = 3",
		"UPDATE OR REPLACE record SET seq = 2 WHERE seq = 3",
		"UPDATE record SET hash = zeroblob(32)",
		"DELETE FROM record WHERE seq = 5",
		"DELETE FROM record",
		"REPLACE INTO record (seq, text, hash) VALUES (3, '{\"a\":1}', zeroblob(32))",
		"INSERT OR REPLACE INTO record (seq, text, hash) VALUES (5, '{\"a\":1}', zeroblob(32))",
		("INSERT INTO record (seq, text, hash) VALUES (3, '{}', zeroblob(32)) "
		 "ON CONFLICT (seq) DO UPDATE SET text = excluded.text"),
		"INSERT OR IGNORE INTO record (seq, text, hash) VALUES (9, '{}', zeroblob(32))",
		"INSERT INTO record (seq, text, hash) VALUES (7, '{}', zeroblob(32))",
		"INSERT INTO record (seq, text, hash) VALUES (0, '{}', zeroblob(32))",
		"INSERT INTO record (seq, text, hash) VALUES (-1, '{}', zeroblob(32))",
		"INSERT INTO record (seq, text, hash) VALUES (9223372036854775807, '{}', zeroblob(32))",
		"INSERT INTO record (text, hash) VALUES ('{}', zeroblob(32))",
		"INSERT INTO record (seq, text, hash) VALUES (NULL, '{}', zeroblob(32))",
		"INSERT INTO record (seq, text, hash) VALUES (6, '{}', zeroblob(32)), (8, '{}', zeroblob(32))",
		"INSERT INTO record (seq, text, hash) VALUES (6, 'no json', zeroblob(32))",
		"INSERT INTO record (seq, text, hash) VALUES (6, x'7b7d', zeroblob(32))",
		"INSERT INTO record (seq, text, hash) VALUES (6, '{}', NULL)",
		"INSERT INTO record (seq, text, hash) VALUES (6, '{}', 'text')",
		"INSERT INTO entry (seq) VALUES (6)",
	};
	const char *path = in_folder("a.db");
	uint8_t before[32], after[32];
	make_log(path, 5);
	assert_int_equal(chain_by_rule(path, before), 5);
	for (int recursive = 0; recursive < 2; recursive++)
		for (size_t i = 0; i < sizeof attempts / sizeof *attempts; i++) {
			char both[400];
			snprintf(both, sizeof both, "PRAGMA recursive_triggers = %d; %s", recursive,
			         attempts[i]);
			if (sql(path, both) == SQLITE_OK) {
				note_row("passed: %s", both);
				fail();
			}
		}
	assert_int_equal(chain_by_rule(path, after), 5);
	assert_memory_equal(before, after, 32);
	/* The next one is let in: that is what the log itself does. */
	assert_int_equal(sql(path, "INSERT INTO record (seq, text, hash) VALUES (6, '{}', zeroblob(32))"),
	                 SQLITE_OK);
}

static void a_foreign_record_makes_the_log_suspect(void **state)
{
	(void)state;
	static struct got got;
	memset(&got, 0, sizeof got);
	struct fault why;
	const char *path = in_folder("a.db");
	struct log *log = open_sure(path, false);
	append_one(log, "note", ",\"a\":1");
	log_flush(log);
	/* A table of somebody's own is not our business ... */
	assert_int_equal(sql(path, "CREATE TABLE mine (x)"), SQLITE_OK);
	append_one(log, "note", ",\"a\":2");
	log_flush(log);
	assert_int_equal(log_last_seq(log), 3);
	assert_int_equal(log_health(log), LOG_GOOD);
	/* ... a record is. */
	assert_int_equal(sql(path, "INSERT INTO record (seq, text, hash) VALUES (4, '{}', zeroblob(32))"),
	                 SQLITE_OK);
	append_one(log, "note", ",\"a\":3");
	log_flush(log);
	log_collect(log, got_one, &got);
	assert_int_equal(got.n, 3);
	assert_int_equal(got.row[2].status, LOG_NOT_LOGGED);
	assert_non_null(strstr(got.row[2].why, "another program"));
	assert_int_equal(log_health(log), LOG_SUSPECT);
	assert_int_equal(append_one(log, "note", ""), 0);
	assert_true(is_there("a.db.suspect"));
	log_close(log);
	assert_null(open_log(path, false, NULL, &why));
	assert_non_null(strstr(why.text, "record 4"));
	assert_true(is_there("a.db.suspect"));
}

static void missing_triggers_come_back(void **state)
{
	(void)state;
	const char *path = in_folder("a.db");
	make_log(path, 5);
	assert_int_equal(sql(path, "DROP TRIGGER record_no_update; DROP VIEW reading;"
	                     "CREATE VIEW reading AS SELECT 1; DROP INDEX record_by_position"),
	                 SQLITE_OK);
	struct log *log = open_sure(path, true);
	assert_non_null(strstr(log_opening(log), "trigger record_no_update"));
	assert_non_null(strstr(log_opening(log), "index record_by_position"));
	assert_non_null(strstr(log_opening(log), "view reading"));
	log_close(log);
	assert_int_not_equal(sql(path, "UPDATE record SET text = '{}'"), SQLITE_OK);
	assert_int_equal(sql(path, "SELECT seconds FROM reading"), SQLITE_OK);
}

int main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, folder_make, folder_drop)
	const struct CMUnitTest tests[] = {
		T(records_are_exact),
		T(modes_agree),
		T(references_become_numbers),
		T(an_unfit_record_takes_only_its_companions),
		T(what_is_no_draft_is_refused),
		T(a_full_queue_refuses),
		T(a_result_may_append),
		T(open_runs_are_sealed_first),
		T(a_spoilt_open_run_does_not_stop_the_log),
		T(sealed_records_refuse_changes),
		T(a_foreign_record_makes_the_log_suspect),
		T(missing_triggers_come_back),
	};
	return cmocka_run_group_tests_name("log", tests, NULL, NULL);
}
