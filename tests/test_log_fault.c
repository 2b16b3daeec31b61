/* SPDX-License-Identifier: MIT */
/*
 * The log on disks that fail.  The promise: what was said to be durable is there
 * after any failure, what was refused never is, and the chain is whole.
 *
 * Each failure is tried at every call at which it can happen.
 */
#include "tests/fault_vfs.h"
#include "tests/log_promise.h"

#include "daemon/log_inside.h"

#include <fcntl.h>
#include <signal.h>
#include <sys/mount.h>
#include <sys/wait.h>
#include <time.h>

static void fresh(void)
{
	fault_clear();
	folder_drop(NULL);
	folder_make_fast(NULL);
}

static void every_failing_call(void **state)
{
	(void)state;
	static struct got got;
	const struct {
		const char *legend;
		struct fault_rule rule;
		enum log_health want; /* right after; LOG_GOOD: any (reads: it may all be cached) */
	} rows[] = {
		{ "write: full, once", FAULT(FAULT_WRITE, 0, 0, 1, SQLITE_FULL, ENOSPC), LOG_GOOD },
		{ "write: full, lasting", FAULT(FAULT_WRITE, 0, 0, -1, SQLITE_FULL, ENOSPC), LOG_FULL },
		{ "write: full, half of it, lasting",
		  FAULT(FAULT_WRITE, 0, 0, -1, SQLITE_FULL, ENOSPC, .half = true), LOG_FULL },
		{ "write: over quota, lasting", FAULT(FAULT_WRITE, 0, 0, -1, SQLITE_IOERR_WRITE, EDQUOT),
		  LOG_FULL },
		{ "write: read-only, lasting", FAULT(FAULT_WRITE, 0, 0, -1, SQLITE_READONLY, EROFS), LOG_FULL },
		{ "write: I/O error, once", FAULT(FAULT_WRITE, 0, 0, 1, SQLITE_IOERR_WRITE, EIO), LOG_SUSPECT },
		{ "write: I/O error, half of it, once",
		  FAULT(FAULT_WRITE, 0, 0, 1, SQLITE_IOERR_WRITE, EIO, .half = true), LOG_SUSPECT },
		{ "write: I/O error, lasting", FAULT(FAULT_WRITE, 0, 0, -1, SQLITE_IOERR_WRITE, EIO),
		  LOG_SUSPECT },
		{ "sync, once", FAULT(FAULT_SYNC, 0, 0, 1, SQLITE_IOERR_FSYNC, EIO), LOG_SUSPECT },
		{ "sync, lasting", FAULT(FAULT_SYNC, 0, 0, -1, SQLITE_IOERR_FSYNC, EIO), LOG_SUSPECT },
		{ "sync of the WAL, once, data on disk",
		  FAULT(FAULT_SYNC, SQLITE_OPEN_WAL, 0, 1, SQLITE_IOERR_FSYNC, EIO, .late = true),
		  LOG_SUSPECT },
		{ "sync of the file, once", FAULT(FAULT_SYNC, SQLITE_OPEN_MAIN_DB, 0, 1, SQLITE_IOERR_FSYNC, EIO),
		  LOG_SUSPECT },
		{ "sync, no room (pages are lost)", FAULT(FAULT_SYNC, 0, 0, 1, SQLITE_IOERR_FSYNC, ENOSPC),
		  LOG_SUSPECT },
		{ "truncate", FAULT(FAULT_TRUNCATE, 0, 0, 1, SQLITE_IOERR_TRUNCATE, EIO), LOG_SUSPECT },
		{ "read, once", FAULT(FAULT_READ, 0, 0, 1, SQLITE_IOERR_READ, EIO), LOG_GOOD },
		{ "read, lasting", FAULT(FAULT_READ, 0, 0, -1, SQLITE_IOERR_READ, EIO), LOG_GOOD },
		{ "read: corrupt", FAULT(FAULT_READ, 0, 0, -1, SQLITE_CORRUPT, EIO), LOG_GOOD },
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		int hit = 0, after = 0;
		for (; after < 60; after += 1 + after / 8) {
			struct fault why;
			fresh();
			const char *path = in_folder("a.db");
			make_log_again(path);
			struct log *log = open_log(path, true, "fault", &why);
			assert_non_null(log);
			memset(&got, 0, sizeof got);
			live(log, 3, &got);
			assert_int_equal(got.durable, 6);
			struct fault_rule rule = rows[i].rule;
			rule.after = after;
			fault_plan(rule);
			live(log, 8, &got);
			enum log_health health = log_health(log);
			int failed = fault_count();
			log_close(log);
			hit += failed > 0;
			bool right = failed == 0 || rows[i].want == LOG_GOOD || health == rows[i].want;
			fault_clear();
			if (!right || !promise_is_kept(path, &got, false)) {
				note_row("%s, after %d: %d failed, %s, %d of %d durable", rows[i].legend, after,
				         failed, log_health_word(health), got.durable, got.n);
				fail();
			}
			if (failed == 0)
				break;
		}
		note_row("%s: %d places", rows[i].legend, hit);
		assert_true(hit > 0 || (rows[i].rule.calls & (FAULT_READ | FAULT_TRUNCATE)) ||
		            rows[i].rule.files == SQLITE_OPEN_MAIN_DB);
	}
}

/* Checkpoints fail, too, and closing. */
static void failing_checkpoints(void **state)
{
	(void)state;
	static struct got got;
	const struct fault_rule rows[] = {
		FAULT(FAULT_WRITE, SQLITE_OPEN_MAIN_DB, 0, 1, SQLITE_FULL, ENOSPC),
		FAULT(FAULT_WRITE, SQLITE_OPEN_MAIN_DB, 0, -1, SQLITE_FULL, ENOSPC),
		FAULT(FAULT_WRITE, SQLITE_OPEN_MAIN_DB, 0, -1, SQLITE_IOERR_WRITE, EIO),
		FAULT(FAULT_SYNC, SQLITE_OPEN_MAIN_DB, 0, 1, SQLITE_IOERR_FSYNC, EIO),
		FAULT(FAULT_SYNC, SQLITE_OPEN_WAL, 0, 1, SQLITE_IOERR_FSYNC, EIO),
		FAULT(FAULT_TRUNCATE, 0, 0, 1, SQLITE_IOERR_TRUNCATE, EIO),
		FAULT(FAULT_READ, SQLITE_OPEN_WAL, 3, -1, SQLITE_IOERR_READ, EIO),
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
		for (int after = 0; after < 9; after += 2) {
			struct fault why;
			fresh();
			const char *path = in_folder("a.db");
			make_log_again(path);
			struct log *log = open_log(path, true, "fault", &why);
			assert_non_null(log);
			memset(&got, 0, sizeof got);
			live(log, 5, &got);
			struct fault_rule rule = rows[i];
			rule.after += after;
			fault_plan(rule);
			/* 60 appends make more than 256 frames: one checkpoint on the way, one at the end. */
			live(log, 60, &got);
			enum log_health health = log_health(log);
			log_close(log);
			fault_clear();
			if (!promise_is_kept(path, &got, false) ||
			    (rule.code == SQLITE_FULL && health != LOG_GOOD)) {
				note_row("row %d after %d: %s, %d of %d durable", (int)i, after,
				         log_health_word(health), got.durable, got.n);
				fail();
			}
		}
}

/* ---- full ---- */

static bool wait_for(struct log *log, enum log_health want, int ms)
{
	for (; ms > 0 && log_health(log) != want; ms -= 10)
		usleep(10000);
	return log_health(log) == want;
}

static atomic_int told;
static void tell(void *arg)
{
	(void)arg;
	atomic_fetch_add(&told, 1);
}

static void full_disk_step_by_step(void **state)
{
	(void)state;
	static struct got got;
	memset(&got, 0, sizeof got);
	struct fault why;
	struct log_options o = { .path = in_folder("a.db"), .bench = "north", .version = "0.1",
		                     .now = NOW, .vfs = "fault", .notify = tell };
	fault_clear();
	struct log *log = log_open(&o, &why);
	assert_non_null(log);
	assert_true(is_there("a.db.reserve"));
	/* Full once: the reserve is given up, the record is logged, nobody is troubled. */
	fault_plan((struct fault_rule)FAULT(FAULT_WRITE, 0, 0, 1, SQLITE_FULL, ENOSPC));
	live(log, 1, &got);
	assert_int_equal(fault_count(), 1);
	assert_int_equal(got.durable, 2);
	assert_int_equal(log_health(log), LOG_LOW);
	assert_false(is_there("a.db.reserve"));
	/* There is room in truth: a second later the reserve is back. */
	assert_true(wait_for(log, LOG_GOOD, 3000));
	assert_true(is_there("a.db.reserve"));
	/* Full for good: refused, with the reason, and the disk is left alone. */
	fault_plan((struct fault_rule)FAULT(FAULT_WRITE, 0, 0, -1, SQLITE_FULL, ENOSPC));
	live(log, 1, &got);
	assert_int_equal(got.n, 4);
	assert_int_equal(got.durable, 2);
	assert_non_null(strstr(got.row[2].why, "full"));
	assert_int_equal(log_health(log), LOG_FULL);
	assert_string_equal(log_health_word(log_health(log)), "full");
	int tried = fault_count();
	live(log, 50, &got);
	assert_int_equal(fault_count(), tried);
	assert_int_equal(got.durable, 2);
	/* It tries again by itself every second ... */
	usleep(1300000);
	assert_in_range(fault_count() - tried, 1, 2);
	assert_int_equal(log_health(log), LOG_FULL);
	/* ... and finds that there is room, says so, and goes on; what was refused stays so. */
	int before = atomic_load(&told);
	fault_clear();
	assert_true(wait_for(log, LOG_GOOD, 4000));
	assert_true(atomic_load(&told) > before);
	live(log, 1, &got);
	assert_int_equal(got.durable, 4);
	log_close(log);
	assert_true(promise_is_kept(in_folder("a.db"), &got, false));
}

/* Keeps the log thread busy while the test queues something behind it. */
static void dawdle(void *arg)
{
	(void)arg;
	usleep(300000);
}

/* What is queued when log_close comes is tried, though the disk was full a moment
 * ago and the second is not over. */
static void closing_tries_once_more(void **state)
{
	(void)state;
	struct fault why;
	struct log_options o = { .path = in_folder("a.db"), .bench = "north", .version = "0.1",
		                     .now = NOW, .vfs = "fault", .notify = dawdle };
	fault_clear();
	struct log *log = log_open(&o, &why);
	assert_non_null(log);
	fault_plan((struct fault_rule)FAULT(FAULT_WRITE, 0, 0, -1, SQLITE_FULL, ENOSPC));
	append_one(log, "note", ",\"first\":true");
	assert_true(wait_for(log, LOG_FULL, 1000));
	fault_clear();
	append_one(log, "note", ",\"last\":true");
	log_close(log);
	char n[8];
	assert_true(sql_value(in_folder("a.db"), "SELECT count(*) FROM record WHERE "
	                      "json_extract(text, '$.last')", n, sizeof n));
	assert_string_equal(n, "1");
	assert_true(sql_value(in_folder("a.db"), "SELECT count(*) FROM record WHERE "
	                      "json_extract(text, '$.first')", n, sizeof n));
	assert_string_equal(n, "0");
}

/* ---- suspect ---- */

static void suspect_until_a_restart(void **state)
{
	(void)state;
	static struct got got;
	memset(&got, 0, sizeof got);
	struct fault why;
	const char *path = in_folder("a.db");
	fault_clear();
	struct log *log = open_log(path, false, "fault", &why);
	live(log, 2, &got);
	fault_plan((struct fault_rule)FAULT(FAULT_SYNC, SQLITE_OPEN_WAL, 0, 1, SQLITE_IOERR_FSYNC, EIO,
		                            .late = true));
	live(log, 1, &got);
	assert_int_equal(got.n, 6);
	assert_int_equal(got.durable, 4);
	assert_int_equal(log_health(log), LOG_SUSPECT);
	assert_non_null(strstr(got.row[4].why, "suspect"));
	/* The disk is well again: that changes nothing. */
	fault_clear();
	assert_int_equal(append_one(log, "note", ""), 0);
	struct log_draft d = draft("note", "");
	assert_int_equal(log_append(log, &d, 1, NULL, &why), 0);
	assert_non_null(strstr(why.text, "restart"));
	assert_int_equal(log_last_seq(log), 5);
	assert_true(is_there("a.db.suspect"));
	log_close(log);
	assert_true(is_there("a.db.suspect"));
	log = open_log(path, false, NULL, &why);
	assert_non_null(log);
	assert_int_equal(log_last_seq(log), 6); /* 5, and the saved run */
	assert_non_null(strstr(log_opening(log), "verified 5 records"));
	assert_non_null(strstr(log_opening(log), "suspect"));
	assert_non_null(strstr(log_opening(log), "after record 5"));
	assert_false(is_there("a.db.suspect"));
	log_close(log);
	assert_true(promise_is_kept(path, &got, false));
}

/* The records fit, but an index does not: found because the log was suspect. */
static void a_damaged_index_is_made_again(void **state)
{
	(void)state;
	const char *path = in_folder("a.db");
	make_log(path, 30);
	/* Each index is given the other's pages. */
	assert_int_equal(sql(path, "PRAGMA writable_schema = ON; UPDATE sqlite_schema SET rootpage = "
	                     "(SELECT sum(rootpage) FROM sqlite_schema WHERE name LIKE 'record_by_%') - "
	                     "rootpage WHERE name LIKE 'record_by_%'"), SQLITE_OK);
	char value[200];
	assert_true(sql_value(path, "PRAGMA integrity_check", value, sizeof value));
	assert_string_not_equal(value, "ok");
	FILE *f = fopen(in_folder("a.db.suspect"), "w");
	fputs("after record 30: a test\n", f);
	fclose(f);
	struct log *log = open_sure(path, true);
	assert_non_null(strstr(log_opening(log), "a test"));
	log_close(log);
	assert_false(is_there("a.db.suspect"));
	assert_true(sql_value(path, "PRAGMA integrity_check", value, sizeof value));
	assert_string_equal(value, "ok");
	assert_true(sql_value(path, "SELECT count(*) FROM record WHERE kind = 'strike' AND "
	                      "position = 'R3'", value, sizeof value));
	assert_string_equal(value, "2");
}

/* ---- power cuts ---- */

static void power_cuts_while_logging(void **state)
{
	(void)state;
	static struct got got;
	int cuts = 0;
	for (unsigned seed = 0; seed < 6; seed++)
		for (int after = 0; after < 40; after += seed ? 1 + (int)seed % 3 : 1) {
			struct fault why;
			fresh();
			const char *path = in_folder("a.db");
			make_log_again(path);
			struct log *log = open_log(path, true, "fault", &why);
			assert_non_null(log);
			memset(&got, 0, sizeof got);
			live(log, 3, &got);
			fault_plan((struct fault_rule)FAULT(FAULT_SYNC, 0, after, 1, SQLITE_IOERR_FSYNC, EIO,
				                            .cut = true, .seed = seed));
			live(log, 30, &got);
			bool cut = fault_count() > 0;
			log_close(log);
			cut = cut || fault_count() > 0;
			cuts += cut;
			fault_clear();
			unlink(in_folder("a.db.suspect")); /* nobody was there to write it */
			if (!promise_is_kept(path, &got, true)) {
				note_row("seed %u, sync %d", seed, after);
				fail();
			}
		}
	assert_in_range(cuts, 60, 1000);
}

static void power_cuts_while_a_log_is_made(void **state)
{
	(void)state;
	int refused = 0;
	for (unsigned seed = 0; seed < 4; seed++)
		for (int after = 0; after < 12; after++) {
			struct fault why;
			fresh();
			const char *path = in_folder("a.db");
			fault_plan((struct fault_rule)FAULT(FAULT_SYNC, 0, after, 1, SQLITE_IOERR_FSYNC, EIO,
				                            .cut = true, .seed = seed));
			struct log *log = open_log(path, false, "fault", &why);
			refused += !log;
			log_close(log);
			fault_clear();
			unlink(in_folder("a.db.suspect"));
			static const struct got none = { .n = 0 };
			if (!promise_is_kept(path, &none, true)) {
				note_row("seed %u, sync %d", seed, after);
				fail();
			}
		}
	assert_true(refused > 0);
}

static void making_a_log_may_fail(void **state)
{
	(void)state;
	static const struct fault_rule rules[] = {
		FAULT(FAULT_WRITE, 0, 0, -1, SQLITE_FULL, ENOSPC),
		FAULT(FAULT_WRITE, 0, 0, -1, SQLITE_IOERR_WRITE, EIO),
		FAULT(FAULT_SYNC, 0, 0, -1, SQLITE_IOERR_FSYNC, EIO),
		FAULT(FAULT_OPEN, 0, 0, -1, SQLITE_CANTOPEN, EACCES),
		FAULT(FAULT_READ, 0, 0, -1, SQLITE_IOERR_READ, EIO),
	};
	for (size_t i = 0; i < sizeof rules / sizeof *rules; i++)
		for (int after = 0; after < 30; after++) {
			struct fault why;
			fresh();
			const char *path = in_folder("a.db");
			struct fault_rule rule = rules[i];
			rule.after = after;
			fault_plan(rule);
			struct log *log = open_log(path, false, "fault", &why);
			assert_true(log || why.text[0]);
			log_close(log);
			fault_clear();
			static const struct got none = { .n = 0 };
			if (!promise_is_kept(path, &none, false)) {
				note_row("rule %d after %d: %s", (int)i, after, why.text);
				fail();
			}
		}
}

/* ---- a disk that is full in truth ---- */

static double room_on(const char *path)
{
	struct statvfs fs;
	return statvfs(path, &fs) == 0 ? (double)fs.f_bavail * (double)fs.f_frsize : 0;
}

/* Writes until nothing more fits. */
static void fill_disk(const char *name)
{
	static char block[4096];
	int fd = open(name, O_CREAT | O_WRONLY, 0644);
	while (write(fd, block, sizeof block) > 0)
		;
	close(fd);
}

/* An entry with a full trail run, as large as they come in practice. */
static bool append_capture(struct log *log, struct got *got)
{
	static char trail[40000];
	struct fault why;
	char entry[64], *p = trail + sprintf(trail, ",\"meter\":\"red\",\"at\":[0");
	for (int i = 1; i < 1000; i++)
		p += sprintf(p, ",%d", i * 600);
	p += sprintf(p, "],\"v\":[100000");
	for (int i = 1; i < 1000; i++)
		p += sprintf(p, ",%d", 100000 + i * 37 % 1000);
	strcpy(p, "]");
	snprintf(entry, sizeof entry, ",\"position\":\"R1\",\"n\":%d", (int)log_next_ticket(log));
	struct log_draft d[2] = { draft("entry", entry), draft("trail", trail) };
	int durable = got->durable;
	got->n = 0;
	if (log_append(log, d, 2, "red", &why) == 0)
		return false;
	log_flush(log);
	log_collect(log, got_one, got);
	return got->durable == durable + 2;
}

static void a_full_file_system(void **state)
{
	(void)state;
	static struct got got;
	memset(&got, 0, sizeof got);
	char mount_at[120], path[160], filler[160];
	struct fault why;
	fault_clear();
	snprintf(mount_at, sizeof mount_at, "%s/disk", folder);
	assert_int_equal(mkdir(mount_at, 0755), 0);
	if (mount("tally", mount_at, "tmpfs", 0, "size=40m") != 0) {
		print_message("  skipped: no file system can be mounted here (%s)\n", strerror(errno));
		rmdir(mount_at);
		skip();
	}
	snprintf(path, sizeof path, "%s/a.db", mount_at);
	snprintf(filler, sizeof filler, "%s/filler", mount_at);
	struct log *log = open_sure(path, false);
	assert_true(append_capture(log, &got));
	fill_disk(filler);
	int good = 0, low = 0;
	while (append_capture(log, &got))
		if (log_health(log) == LOG_LOW)
			low++;
		else
			good++;
	print_message("  on a full disk: %d captures before, %d on the reserve of %d MiB\n", good, low,
	              LOG_RESERVE_SIZE >> 20);
	assert_true(low >= 100);
	assert_int_equal(log_health(log), LOG_FULL);
	assert_non_null(strstr(got.row[got.n - 1].why, "full"));
	/* A little room, not enough for a reserve: logging goes on. */
	assert_int_equal(truncate(filler, (off_t)(4 << 20)), 0);
	assert_true(room_on(mount_at) > 0);
	assert_true(wait_for(log, LOG_GOOD, 4000) || log_health(log) == LOG_LOW);
	assert_true(append_capture(log, &got));
	unlink(filler);
	assert_true(wait_for(log, LOG_GOOD, 4000));
	assert_true(append_capture(log, &got));
	int64_t last = log_last_seq(log);
	/* Full again, and closed, and opened on the full disk: the reserve pays for it. */
	fill_disk(filler);
	assert_true(append_capture(log, &got));
	log_close(log);
	fill_disk(filler);
	log = open_log(path, false, NULL, &why);
	if (!log)
		print_message("  %s\n", why.text);
	assert_non_null(log);
	assert_true(log_last_seq(log) == last + 2);
	assert_true(append_capture(log, &got));
	log_close(log);
	uint8_t head[32];
	unlink(filler);
	assert_int_equal(chain_by_rule(path, head), last + 4);
	umount(mount_at);
	rmdir(mount_at);
}

static void a_read_only_file_system(void **state)
{
	(void)state;
	static struct got got;
	memset(&got, 0, sizeof got);
	char mount_at[120], path[160];
	struct fault why;
	fault_clear();
	snprintf(mount_at, sizeof mount_at, "%s/disk", folder);
	assert_int_equal(mkdir(mount_at, 0755), 0);
	if (mount("tally", mount_at, "tmpfs", 0, "size=40m") != 0) {
		print_message("  skipped: no file system can be mounted here (%s)\n", strerror(errno));
		rmdir(mount_at);
		skip();
	}
	snprintf(path, sizeof path, "%s/a.db", mount_at);
	make_log(path, 5);
	assert_int_equal(mount("tally", mount_at, "tmpfs", MS_REMOUNT | MS_RDONLY, "size=40m"), 0);
	struct log_check check;
	assert_int_equal(verdict_of(path, 0, NULL, &check), LOG_INTACT_NO_ANCHOR);
	assert_int_equal(check.records, 5);
	assert_null(open_log(path, false, NULL, &why));
	assert_non_null(strstr(why.text, "Read-only"));
	assert_int_equal(mount("tally", mount_at, "tmpfs", MS_REMOUNT, "size=40m"), 0);
	struct log *log = open_sure(path, false);
	assert_true(append_capture(log, &got));
	log_close(log);
	umount(mount_at);
	rmdir(mount_at);
}

int main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, folder_make_fast, folder_drop)
	fault_install();
	const struct CMUnitTest tests[] = {
		T(every_failing_call),
		T(failing_checkpoints),
		T(full_disk_step_by_step),
		T(closing_tries_once_more),
		T(suspect_until_a_restart),
		T(a_damaged_index_is_made_again),
		T(power_cuts_while_logging),
		T(power_cuts_while_a_log_is_made),
		T(making_a_log_may_fail),
		T(a_full_file_system),
		T(a_read_only_file_system),
	};
	return cmocka_run_group_tests_name("log_fault", tests, NULL, NULL);
}
