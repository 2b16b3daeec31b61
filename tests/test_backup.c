/* SPDX-License-Identifier: MIT */
/*
 * Copies of a log: of one moment while it is written to, verified before they have their
 * name, never over anything, and nothing left where it did not work.
 */
#include "tests/log_help.h"

#include <pthread.h>
#include <sys/mount.h>

static int64_t copy(const char *from, const char *to, struct log_check *check, struct fault *why)
{
	struct log_reader *r = log_reader_open(from, why);
	assert_non_null(r);
	bool done = log_reader_copy(r, to, check, why);
	log_reader_close(r);
	return done ? check->records : -1;
}

struct copying {
	const char *from, *to;
	struct log_check check;
	struct fault why;
	int64_t records;
};

static void *copy_thread(void *arg)
{
	struct copying *c = arg;
	c->records = copy(c->from, c->to, &c->check, &c->why);
	return NULL;
}

/* The writer goes on; every copy is the log as it was at some moment. */
static void while_it_is_written_to(void **state)
{
	(void)state;
	static char body[4096];
	const char *path = in_folder("a.db");
	struct log *log = open_sure(path, false);
	int64_t last = 0;
	snprintf(body, sizeof body, ",\"text\":\"%03000d\"", 7);
	for (int round = 0; round < 8; round++) {
		char name[16];
		pthread_t thread;
		snprintf(name, sizeof name, "copy%d.db", round);
		struct copying c = { .from = path, .to = in_folder(name) };
		append_one(log, "note", "");
		log_flush(log);
		int64_t before = log_last_seq(log);
		assert_int_equal(pthread_create(&thread, NULL, copy_thread, &c), 0);
		for (int i = 0; i < 200; i++)
			append_one(log, "note", body);
		pthread_join(thread, NULL);
		log_flush(log);
		if (c.records < before || c.records > log_last_seq(log)) {
			note_row("copy %d: %d records of %d to %d: %s", round, (int)c.records, (int)before,
			         (int)log_last_seq(log), c.why.text);
			fail();
		}
		/* By the rule alone, and with nothing beside it. */
		uint8_t head[32];
		assert_int_equal(chain_by_rule(c.to, head), c.records);
		assert_memory_equal(head, c.check.head, 32);
		snprintf(name, sizeof name, "copy%d.db-wal", round);
		assert_false(is_there(name));
		assert_true(c.records >= last);
		last = c.records;
	}
	log_close(log);
	/* One that goes on from a copy. */
	struct fault why;
	log = open_log(in_folder("copy3.db"), false, NULL, &why);
	assert_non_null(log);
	assert_non_null(strstr(log_opening(log), "no checkpoints are signed"));
	append_one(log, "note", "");
	log_close(log);
	struct log_check check;
	assert_int_equal(verdict_of(in_folder("copy3.db"), 0, NULL, &check), LOG_INTACT_NO_ANCHOR);
}

static void nothing_is_written_over(void **state)
{
	(void)state;
	struct log_check check;
	struct fault why = { .text = "" };
	const char *path = in_folder("a.db");
	make_log(path, 12);
	FILE *f = fopen(in_folder("there.db"), "w");
	fputs("mine", f);
	fclose(f);
	assert_int_equal(copy(path, in_folder("there.db"), &check, &why), -1);
	assert_non_null(strstr(why.text, "nothing is written over"));
	f = fopen(in_folder("there.db"), "r");
	char text[8] = "";
	assert_int_equal(fread(text, 1, 7, f), 4);
	fclose(f);
	assert_string_equal(text, "mine");
	f = fopen(in_folder("b.db.part"), "w");
	fclose(f);
	assert_int_equal(copy(path, in_folder("b.db"), &check, &why), -1);
	assert_non_null(strstr(why.text, "broken off"));
	assert_int_equal(copy(path, in_folder("none/b.db"), &check, &why), -1);
	assert_true(why.text[0]);
	/* Onto itself. */
	assert_int_equal(copy(path, path, &check, &why), -1);
	assert_int_equal(verdict_of(path, 0, NULL, &check), LOG_INTACT_NO_ANCHOR);
}

/* A log whose seal is broken gives no copy that somebody might trust. */
static void a_broken_log_gives_none(void **state)
{
	(void)state;
	struct log_check check;
	struct fault why = { .text = "" };
	const char *path = in_folder("a.db");
	make_log(path, 12);
	assert_int_equal(sql(path, "DROP TRIGGER record_no_update; UPDATE record SET text = "
	                     "replace(text, '\"n\":8', '\"n\":9') WHERE seq = 8"), SQLITE_OK);
	assert_int_equal(copy(path, in_folder("b.db"), &check, &why), -1);
	assert_non_null(strstr(why.text, "record 8"));
	assert_false(is_there("b.db"));
	assert_false(is_there("b.db.part"));
}

/* A disk of its own, larger and larger until there is room: each refusal says why, and leaves nothing. */
static void a_disk_that_is_full(void **state)
{
	(void)state;
	char path[100], disk[100], to[100];
	snprintf(path, sizeof path, "%s", in_folder("a.db"));
	snprintf(disk, sizeof disk, "%s", in_folder("disk"));
	snprintf(to, sizeof to, "%s", in_folder("disk/b.db"));
	int full = 0, done = 0;
	make_log(path, 200);
	assert_int_equal(mkdir(disk, 0755), 0);
	for (int kib = 4; kib <= 200; kib += 4) {
		struct log_check check;
		struct fault why = { .text = "" };
		char options[32];
		snprintf(options, sizeof options, "size=%dk", kib);
		if (mount("none", disk, "tmpfs", 0, options) != 0) {
			print_message("  skipped: no disk can be mounted here\n");
			rmdir(disk);
			skip();
		}
		int64_t records = copy(path, to, &check, &why);
		bool right = records == 200 ? is_there("disk/b.db") : strstr(why.text, "is full") != NULL;
		for (const char *const *left = (const char *const[]){ "", "-wal", "-shm", "-journal", NULL }; *left;
		     left++) {
			char name[40];
			snprintf(name, sizeof name, "disk/b.db.part%s", *left);
			right = right && !is_there(name);
		}
		full += records < 0;
		done += records == 200;
		assert_int_equal(umount(disk), 0);
		if (!right)
			fail_msg("%d KiB: %s", kib, why.text);
	}
	rmdir(disk);
	print_message("  %d disks were too small, %d not\n", full, done);
	assert_true(full > 5 && done > 5);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test_setup_teardown(while_it_is_written_to, folder_make, folder_drop),
		cmocka_unit_test_setup_teardown(nothing_is_written_over, folder_make, folder_drop),
		cmocka_unit_test_setup_teardown(a_broken_log_gives_none, folder_make, folder_drop),
		cmocka_unit_test_setup_teardown(a_disk_that_is_full, folder_make, folder_drop),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
