/* SPDX-License-Identifier: MIT */
/* What a log does beside logging: the WAL is emptied, a backup is a log, a start is broken off. */
#include "tests/log_help.h"

static void the_wal_is_emptied_when_idle(void **state)
{
	(void)state;
	struct stat st;
	struct log *log = open_sure(in_folder("a.db"), false);
	for (int i = 0; i < 300; i++) {
		append_one(log, "note", ",\"a\":1");
		if (i % 10 == 0)
			log_flush(log);
	}
	log_flush(log);
	int64_t busy = log_wal_bytes(log);
	assert_true(busy > 0);
	for (int i = 0; i < 60 && log_wal_bytes(log) > 0; i++)
		usleep(100000);
	assert_int_equal(log_wal_bytes(log), 0);
	assert_int_equal(stat(in_folder("a.db-wal"), &st), 0);
	assert_int_equal(st.st_size, 0);
	append_one(log, "note", ",\"a\":2");
	log_close(log);
	assert_false(is_there("a.db-wal"));
	assert_false(is_there("a.db-shm"));
	uint8_t head[32];
	assert_int_equal(chain_by_rule(in_folder("a.db"), head), 302);
}

static void the_wal_stays_small_under_load(void **state)
{
	(void)state;
	struct fault why;
	static struct got got;
	struct log *log = open_sure(in_folder("a.db"), false);
	char body[2000];
	memset(body, '1', sizeof body);
	memcpy(body, ",\"a\":", 5);
	struct log_draft d = { NOW, "note", body, sizeof body };
	int64_t most = 0;
	for (int i = 0; i < 3000; i++) {
		assert_true(log_append(log, &d, 1, NULL, &why) > 0);
		if (i % 20 == 0) {
			log_flush(log);
			got.n = 0;
			log_collect(log, got_one, &got);
			most = log_wal_bytes(log) > most ? log_wal_bytes(log) : most;
		}
	}
	log_close(log);
	/* 7 MB of records; tidied up every 256 frames (1 MiB) once nothing waits. */
	assert_in_range(most, 1, 6 << 20);
}

/* A forgotten shell holds a read transaction: logging goes on, the WAL grows (and
 * log_wal_bytes says so), and shrinks when the shell is closed. */
static void a_forgotten_reader_holds_up_only_the_tidying(void **state)
{
	(void)state;
	static char body[3000];
	static struct got got;
	struct fault why;
	struct log *log = open_sure(in_folder("a.db"), false);
	append_one(log, "note", "");
	log_flush(log);
	sqlite3 *db;
	assert_int_equal(sqlite3_open(in_folder("a.db"), &db), SQLITE_OK);
	assert_int_equal(sqlite3_exec(db, "BEGIN; SELECT count(*) FROM record", NULL, NULL, NULL),
	                 SQLITE_OK);
	memset(body, '1', sizeof body);
	memcpy(body, ",\"a\":", 5);
	struct log_draft d = { NOW, "note", body, sizeof body };
	memset(&got, 0, sizeof got);
	for (int i = 0; i < 1500; i++) {
		assert_true(log_append(log, &d, 1, NULL, &why) > 0);
		if (i % 50 == 49) {
			log_flush(log);
			log_collect(log, got_one, &got);
		}
	}
	assert_int_equal(got.durable, 1501);
	assert_int_equal(log_health(log), LOG_GOOD);
	assert_true(log_wal_bytes(log) > 4 << 20);
	sqlite3_exec(db, "COMMIT", NULL, NULL, NULL);
	sqlite3_close(db);
	for (int i = 0; i < 60 && log_wal_bytes(log) > 0; i++)
		usleep(100000);
	assert_int_equal(log_wal_bytes(log), 0);
	log_close(log);
	uint8_t head[32];
	assert_int_equal(chain_by_rule(in_folder("a.db"), head), 1502);
}

/* VACUUM INTO leaves the WAL mode behind; the copy is a log all the same. */
static void a_backup_is_a_log(void **state)
{
	(void)state;
	char copy[500];
	struct log_check check;
	make_log(in_folder("a.db"), 30);
	snprintf(copy, sizeof copy, "VACUUM INTO '%s'", in_folder("b.db"));
	assert_int_equal(sql(in_folder("a.db"), copy), SQLITE_OK);
	assert_int_equal(verdict_of(in_folder("b.db"), 0, NULL, &check), LOG_INTACT_NO_ANCHOR);
	struct log *log = open_sure(in_folder("b.db"), false);
	append_one(log, "note", "");
	log_flush(log);
	assert_int_equal(log_last_seq(log), 31);
	char mode[16];
	assert_true(sql_value(in_folder("b.db"), "PRAGMA journal_mode", mode, sizeof mode));
	assert_string_equal(mode, "wal");
	log_close(log);
}

static bool stop_at_once(void *arg, int64_t done, int64_t all)
{
	(void)all;
	*(int64_t *)arg = done;
	return false;
}

/* Verifying a large log takes seconds: who wants the program to end need not wait for it. */
static void a_start_can_be_broken_off(void **state)
{
	(void)state;
	int64_t done = 0;
	struct fault why = { .text = "" };
	const char *path = in_folder("a.db");
	struct log *made = open_sure(path, true);
	for (int i = 0; i < 1200; i++)
		append_one(made, "note", ",\"text\":\"x\"");
	int64_t last = log_last_seq(made);
	log_close(made);
	struct log_options o = { .path = path, .bench = "north", .version = "0.1", .now = NOW,
		                     .set_aside = true, .going = { stop_at_once, &done } };
	assert_null(log_open(&o, &why));
	assert_int_equal(done, 1000);
	assert_non_null(strstr(why.text, "stopped after record 1000"));
	/* Nothing was set aside, and nothing is held. */
	struct log *log = open_sure(path, false);
	assert_int_equal(log_last_seq(log), last);
	log_close(log);
}

int main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, folder_make, folder_drop)
	const struct CMUnitTest tests[] = {
		T(the_wal_is_emptied_when_idle),
		T(the_wal_stays_small_under_load),
		T(a_forgotten_reader_holds_up_only_the_tidying),
		T(a_backup_is_a_log),
		T(a_start_can_be_broken_off),
	};
	return cmocka_run_group_tests_name("log tidy", tests, NULL, NULL);
}
