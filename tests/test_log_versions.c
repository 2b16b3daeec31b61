/* SPDX-License-Identifier: MIT */
/*
 * Every earlier shape of a log opens in this program: its records stay as they are to the
 * byte, what is derived from them is made again, and a newer format is refused.
 *
 * tests/logs/FORMAT-NAME.sql are logs as the sqlite3 shell dumps them, one for each shape that
 * ever was released.  They are never written anew; DEVELOPERS.md, "A step of the schema", says
 * when one is added.
 */
#include "tests/log_help.h"

#include <glob.h>

static const struct {
	const char *file;
	int records;         /* as kept */
	const char *head;    /* the hash of the last of them */
	int opened;          /* records after this program opened it: open runs are sealed */
	const char *note;    /* what must be made again, at least */
} kept[] = {
	{ "1-first", 22, "2aad9ab29a6a34cddb6af4ce0360becf39e5e129de0f7165f71893002ad0ca60", 23, "made again: table desk, table run" },
	{ "1-runs", 22, "2aad9ab29a6a34cddb6af4ce0360becf39e5e129de0f7165f71893002ad0ca60", 22, "made again: table desk" },
	{ "1-key", 9, "f7441dfa69c19e8144bb465782d36ea66f4d32ec3597fd85046499af814a0084", 9, "made again: table desk" },
};

/* The kept log as a file. */
static const char *build(const char *name)
{
	static char dump[1 << 20];
	char path[200];
	const char *log = in_folder("a.db");
	snprintf(path, sizeof path, "tests/logs/%s.sql", name);
	FILE *f = fopen(path, "r");
	if (!f)
		fail_msg("%s is not there", path);
	size_t n = fread(dump, 1, sizeof dump - 1, f);
	fclose(f);
	dump[n] = '\0';
	unlink(log);
	assert_int_equal(sql(log, dump), SQLITE_OK);
	return log;
}

static void head_at(const char *path, int seq, char out[65])
{
	char query[100];
	snprintf(query, sizeof query, "SELECT lower(hex(hash)) FROM record WHERE seq = %d", seq);
	sql_value(path, query, out, 65);
}

static bool count_line(void *arg, const struct log_line *line)
{
	*(int64_t *)arg += line->readings;
	return true;
}

static int number(const char *path, const char *query)
{
	char value[40];
	if (!sql_value(path, query, value, sizeof value))
		fail_msg("%s gives nothing", query);
	return atoi(value);
}

static void every_earlier_shape_opens(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof kept / sizeof *kept; i++) {
		char head[65];
		struct fault why;
		struct log_check check;
		uint8_t rule[32];
		note_row("%s", kept[i].file);
		folder_drop(NULL);
		folder_make_fast(NULL);
		const char *path = build(kept[i].file);
		/* Read, by whoever only looks. */
		assert_int_equal(verdict_of(path, 0, NULL, &check), LOG_INTACT_NO_ANCHOR);
		assert_int_equal(check.records, kept[i].records);
		struct log_reader *r = log_reader_open(path, &why);
		int64_t before = 0, after = 0;
		assert_true(log_reader_lines(r, NULL, NULL, count_line, &before, &why));
		log_reader_close(r);
		head_at(path, kept[i].records, head);
		assert_string_equal(head, kept[i].head);
		/* Written to. */
		struct log *log = open_sure(path, false);
		assert_int_equal(log_last_seq(log), kept[i].opened);
		if (!strstr(log_opening(log), kept[i].note))
			fail_msg("%s: %s", kept[i].file, log_opening(log));
		assert_true(append_one(log, "note", ",\"position\":\"R1\"") > 0);
		log_flush(log);
		log_close(log);
		assert_int_equal(chain_by_rule(path, rule), kept[i].opened + 1);
		head_at(path, kept[i].records, head);
		assert_string_equal(head, kept[i].head);
		/* What is derived is there, of the same shape as in a new log. */
		assert_int_equal(number(path, "SELECT count(*) FROM run"),
		                 number(path, "SELECT count(*) FROM record WHERE kind = 'trail'"));
		assert_int_equal(number(path, "SELECT count(*) FROM entry"),
		                 number(path, "SELECT count(*) FROM record WHERE kind = 'entry'"));
		assert_int_equal(number(path, "PRAGMA user_version"), 1);
		r = log_reader_open(path, &why);
		assert_true(log_reader_lines(r, NULL, NULL, count_line, &after, &why));
		log_reader_close(r);
		assert_int_equal(after, before + (kept[i].opened - kept[i].records));
		log = open_sure(path, false);
		assert_null(strstr(log_opening(log), "made again"));
		log_close(log);
		log = open_sure(in_folder("new.db"), true);
		log_close(log);
		static const char shape[] = "SELECT group_concat(sql, ';') FROM (SELECT sql FROM sqlite_schema "
		                            "WHERE sql IS NOT NULL ORDER BY type, name)";
		static char old[20000], new[20000];
		assert_true(sql_value(path, shape, old, sizeof old));
		assert_true(sql_value(in_folder("new.db"), shape, new, sizeof new));
		assert_string_equal(old, new);
	}
}

/* No file in the folder that this table does not know. */
static void none_is_forgotten(void **state)
{
	(void)state;
	glob_t g;
	assert_int_equal(glob("tests/logs/*.sql", 0, NULL, &g), 0);
	assert_int_equal(g.gl_pathc, sizeof kept / sizeof *kept);
	globfree(&g);
}

/* Derived tables of another shape, as an older or a newer program made them. */
static void other_shapes_are_made_again(void **state)
{
	(void)state;
	static const char *const changes[] = {
		"DROP TABLE rollup; CREATE TABLE rollup (x)",
		"DROP TABLE run; CREATE TABLE run (meter, n)",
		"ALTER TABLE run ADD COLUMN later TEXT",
		"DROP VIEW entry; CREATE VIEW entry AS SELECT 1",
		"DROP INDEX record_by_meter; CREATE INDEX record_by_meter ON record (t)",
		"DROP TABLE run; DROP TABLE rollup; DROP VIEW entry; DROP INDEX record_by_position",
		"DROP VIEW reading; DROP TRIGGER record_in_order",
		"CREATE TABLE later (x); CREATE VIEW later_still AS SELECT * FROM later",
	};
	for (size_t i = 0; i < sizeof changes / sizeof *changes; i++) {
		note_row("%s", changes[i]);
		folder_drop(NULL);
		folder_make_fast(NULL);
		const char *path = build("1-runs");
		assert_int_equal(sql(path, changes[i]), SQLITE_OK);
		struct log *log = open_sure(path, false);
		assert_int_equal(log_last_seq(log), 22);
		log_close(log);
		assert_int_equal(number(path, "SELECT count(n) FROM run"),
		                 number(path, "SELECT count(*) FROM record WHERE kind = 'trail'"));
		assert_true(number(path, "SELECT count(shown) FROM entry") > 0);
		char value[64];
		assert_true(sql_value(path, "PRAGMA integrity_check", value, sizeof value));
		assert_string_equal(value, "ok");
	}
}

/* What holds more than can be derived may not be of another shape. */
static void state_is_not_guessed_at(void **state)
{
	(void)state;
	static const char *const changes[] = {
		"ALTER TABLE record ADD COLUMN more TEXT",
		"ALTER TABLE open_run ADD COLUMN more TEXT",
	};
	for (size_t i = 0; i < sizeof changes / sizeof *changes; i++) {
		struct fault why;
		const char *path = build("1-key");
		assert_int_equal(sql(path, changes[i]), SQLITE_OK);
		assert_null(open_log(path, false, NULL, &why));
		assert_non_null(strstr(why.text, "not as the log made it"));
		folder_drop(NULL);
		folder_make_fast(NULL);
	}
}

static void a_newer_format_is_refused(void **state)
{
	(void)state;
	struct fault why;
	const char *path = build("1-key");
	assert_int_equal(sql(path, "PRAGMA user_version = 2"), SQLITE_OK);
	assert_null(open_log(path, false, NULL, &why));
	assert_non_null(strstr(why.text, "format 2"));
	assert_non_null(strstr(why.text, "newer program"));
	assert_int_equal(number(path, "PRAGMA user_version"), 2);
	assert_int_equal(number(path, "SELECT count(*) FROM record"), 9);
}

int main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, folder_make_fast, folder_drop)
	const struct CMUnitTest tests[] = {
		T(every_earlier_shape_opens),
		T(none_is_forgotten),
		T(other_shapes_are_made_again),
		T(state_is_not_guessed_at),
		T(a_newer_format_is_refused),
	};
	return cmocka_run_group_tests_name("log_versions", tests, NULL, NULL);
}
