/* SPDX-License-Identifier: MIT */
/* Where a log lies: who holds it, what is no log, odd paths, the key, folders that cannot be written. */
#include "tests/log_help.h"

#include <fcntl.h>
#include <openssl/pem.h>
#include <sys/wait.h>

static void the_holder_is_named(void **state)
{
	(void)state;
	struct fault why;
	char pid[32];
	const char *path = in_folder("a.db"), *link = in_folder("b.db");
	struct log *log = open_sure(path, false);
	assert_int_equal(symlink(path, link), 0);
	snprintf(pid, sizeof pid, "process %ld (", (long)getpid());
	assert_null(open_log(path, false, NULL, &why));
	assert_non_null(strstr(why.text, pid));
	assert_null(open_log(link, true, NULL, &why));
	assert_non_null(strstr(why.text, pid));
	/* The loser takes nothing with it. */
	append_one(log, "note", "");
	log_flush(log);
	assert_int_equal(log_last_seq(log), 2);
	assert_int_equal(log_health(log), LOG_GOOD);
	log_close(log);
	log = open_sure(link, false);
	assert_int_equal(log_last_seq(log), 2);
	log_close(log);
	assert_false(is_there("b.db.lock"));
}

/* Names, sizes, times and contents of everything in the folder. */
static void fingerprint(uint8_t out[32], bool times)
{
	DIR *d = opendir(folder);
	struct dirent *e;
	uint8_t sum[32] = { 0 }, one[32], zero[32] = { 0 };
	static char bytes[1 << 20];
	while ((e = readdir(d))) {
		struct stat st;
		if (strcmp(e->d_name, ".") == 0 || strcmp(e->d_name, "..") == 0)
			continue;
		int fd = open(in_folder(e->d_name), O_RDONLY);
		size_t n = 0;
		ssize_t got;
		while ((got = read(fd, bytes + n, sizeof bytes - n - 100)) > 0)
			n += (size_t)got;
		fstat(fd, &st);
		close(fd);
		n += (size_t)snprintf(bytes + n, 100, "%s %ld %ld", e->d_name,
		                      times ? (long)st.st_mtim.tv_nsec : 0, (long)st.st_ino);
		chain_rule(zero, bytes, n, one);
		for (int i = 0; i < 32; i++)
			sum[i] = (uint8_t)(sum[i] ^ one[i]);
	}
	closedir(d);
	memcpy(out, sum, 32);
}

static void write_file(const char *path, const char *bytes, size_t n)
{
	FILE *f = fopen(path, "w");
	fwrite(bytes, 1, n, f);
	fclose(f);
}

static void foreign_files_stay_as_they_are(void **state)
{
	(void)state;
	char page[8192];
	const struct {
		const char *legend, *make, *want;
	} rows[] = {
		{ "newer format", "PRAGMA user_version = 2", "format 2" },
		{ "format 0", "PRAGMA user_version = 0", "format 0" },
		{ "other application", "PRAGMA application_id = 7", "not a log" },
		{ "other database", NULL, "not a log" },
		{ "no database", "text", "not an SQLite database" },
		{ "noise", "noise", "not an SQLite database" },
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		note_row("%s", rows[i].legend);
		char path[160];
		struct fault why = { .text = "" };
		uint8_t before[32], after[32];
		snprintf(path, sizeof path, "%s/%zu.db", folder, i);
		if (!rows[i].make) {
			sql(path, "CREATE TABLE t (x); INSERT INTO t VALUES (1)");
		} else if (strcmp(rows[i].make, "text") == 0) {
			write_file(path, "hello\n", 6);
		} else if (strcmp(rows[i].make, "noise") == 0) {
			for (size_t j = 0; j < sizeof page; j++)
				page[j] = (char)(j * 7919 >> 3);
			write_file(path, page, sizeof page);
		} else {
			make_log(path, 3);
			assert_int_equal(sql(path, rows[i].make), SQLITE_OK);
			unlink(in_folder("0.db.lock"));
		}
		fingerprint(before, true);
		assert_null(open_log(path, false, NULL, &why));
		assert_non_null(strstr(why.text, rows[i].want));
		assert_string_equal(why.file, path);
		assert_null(log_reader_open(path, &why));
		assert_non_null(strstr(why.text, rows[i].want));
		fingerprint(after, true);
		assert_memory_equal(before, after, 32);
	}
}

static void odd_paths(void **state)
{
	(void)state;
	struct fault why = { .text = "" };
	assert_null(open_log(in_folder("no/such/a.db"), false, NULL, &why));
	assert_non_null(strstr(why.text, "No such file"));
	assert_null(open_log(folder, false, NULL, &why));
	assert_true(why.text[0]);
	assert_null(open_log("", false, NULL, &why));
	assert_null(log_reader_open(in_folder("none.db"), &why));
	assert_non_null(strstr(why.text, "no such file"));
	/* Characters that mean something in a URI. */
	struct log *log = open_sure(in_folder("a?b#c%20 d&e=.db"), false);
	append_one(log, "note", "");
	log_close(log);
	struct log_check check;
	assert_int_equal(verdict_of(in_folder("a?b#c%20 d&e=.db"), 0, NULL, &check),
	                 LOG_INTACT_NO_ANCHOR);
	assert_int_equal(check.records, 2);
	assert_true(is_there("a?b#c%20 d&e=.db"));
	/* An empty file is no log yet. */
	write_file(in_folder("empty.db"), "", 0);
	assert_null(log_reader_open(in_folder("empty.db"), &why));
	log = open_sure(in_folder("empty.db"), false);
	log_close(log);
	assert_int_equal(verdict_of(in_folder("empty.db"), 0, NULL, &check), LOG_INTACT_NO_ANCHOR);
}

static void a_missing_log_is_not_made_anew(void **state)
{
	(void)state;
	struct fault why;
	log_close(open_sure(in_folder("a.db"), false));
	unlink(in_folder("a.db"));
	assert_null(open_log(in_folder("a.db"), false, NULL, &why));
	assert_non_null(strstr(why.text, "key"));
	assert_false(is_there("a.db"));
	unlink(in_folder("a.db.key"));
	log_close(open_sure(in_folder("a.db"), false));
	assert_true(is_there("a.db.key"));
}

/* What a kill in the middle of making a log may leave. */
static void a_log_half_made_is_finished_or_begun_again(void **state)
{
	(void)state;
	struct fault why;
	struct log_check check;
	log_close(open_sure(in_folder("a.db"), false));
	assert_int_equal(rename(in_folder("a.db.key"), in_folder("a.db.key.new")), 0);
	log_close(open_sure(in_folder("a.db"), false));
	assert_true(is_there("a.db.key"));
	assert_false(is_there("a.db.key.new"));
	assert_int_equal(rename(in_folder("a.db.key"), in_folder("b.db.key.new")), 0);
	assert_int_equal(rename(in_folder("a.db"), in_folder("b.db.new")), 0);
	log_close(open_sure(in_folder("b.db"), false));
	assert_int_equal(verdict_of(in_folder("b.db"), 0, NULL, &check), LOG_INTACT_NO_ANCHOR);
	assert_false(is_there("b.db.new"));
	/* A log is never overwritten by what lies about. */
	write_file(in_folder("b.db.new"), "x", 1);
	log_close(open_sure(in_folder("b.db"), false));
	assert_int_equal(verdict_of(in_folder("b.db"), 0, NULL, &check), LOG_INTACT_NO_ANCHOR);
	/* A WAL without its log is part of a log. */
	write_file(in_folder("c.db-wal"), "x", 1);
	assert_null(open_log(in_folder("c.db"), false, NULL, &why));
	assert_non_null(strstr(why.text, "-wal"));
}

static void the_key_is_private_and_in_record_1(void **state)
{
	(void)state;
	struct stat st;
	char hex[65] = "", want[65];
	uint8_t public[32];
	size_t len = sizeof public;
	log_close(open_sure(in_folder("a.db"), false));
	assert_int_equal(stat(in_folder("a.db.key"), &st), 0);
	assert_int_equal(st.st_mode & 0777, 0600);
	FILE *f = fopen(in_folder("a.db.key"), "r");
	EVP_PKEY *key = PEM_read_PrivateKey(f, NULL, NULL, NULL);
	fclose(f);
	assert_non_null(key);
	assert_int_equal(EVP_PKEY_get_raw_public_key(key, public, &len), 1);
	EVP_PKEY_free(key);
	for (int i = 0; i < 32; i++)
		sprintf(want + 2 * i, "%02x", public[i]);
	assert_true(sql_value(in_folder("a.db"), "SELECT json_extract(text, '$.key') FROM record", hex,
	                      sizeof hex));
	assert_string_equal(hex, want);
	/* A replay has none. */
	log_close(open_sure(in_folder("r.db"), true));
	assert_false(is_there("r.db.key"));
	assert_true(sql_value(in_folder("r.db"),
	                      "SELECT json_type(text, '$.key') FROM record", hex, sizeof hex));
	assert_string_equal(hex, "null");
}

static void an_unwritable_folder_is_said(void **state)
{
	(void)state;
	if (geteuid() != 0) {
		chmod(folder, 0555);
		struct fault why;
		assert_null(open_log(in_folder("a.db"), false, NULL, &why));
		assert_non_null(strstr(why.text, "writable"));
		chmod(folder, 0755);
		return;
	}
	chmod(folder, 0555);
	pid_t pid = fork();
	if (pid == 0) {
		struct fault why;
		if (setuid(65534) != 0)
			_exit(2);
		bool refused = !open_log(in_folder("a.db"), false, NULL, &why);
		_exit(refused && strstr(why.text, "writable") ? 0 : 1);
	}
	int status;
	waitpid(pid, &status, 0);
	chmod(folder, 0755);
	assert_true(WIFEXITED(status));
	assert_int_equal(WEXITSTATUS(status), 0);
}

int main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, folder_make, folder_drop)
	const struct CMUnitTest tests[] = {
		T(the_holder_is_named),
		T(foreign_files_stay_as_they_are),
		T(odd_paths),
		T(a_missing_log_is_not_made_anew),
		T(a_log_half_made_is_finished_or_begun_again),
		T(the_key_is_private_and_in_record_1),
		T(an_unwritable_folder_is_said),
	};
	return cmocka_run_group_tests_name("log place", tests, NULL, NULL);
}
