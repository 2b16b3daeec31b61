/* SPDX-License-Identifier: MIT */
/*
 * `tally verify FILE` as people run it, over whatever may lie under that name: what it answers, with
 * which status, and that nothing is another afterwards: no byte, no time, no file more or less.
 *
 * The log is that of a daemon that was killed, so that its newest records are in LOG-wal.  Each row
 * has a folder with copies of LOG, LOG-wal and LOG-shm, and makes of them what it needs.
 */
#include "tests/daemon_stand.h"

static const struct row {
	const char *legend;
	const char *make;   /* for sh, in the folder, where a.db, a.db-wal and a.db-shm are */
	const char *file;
	int status;
	const char *says;   /* in what is printed, on either side */
	const char *never;  /* what is not said; NULL for nothing */
	bool stranger;      /* asked by somebody to whom nothing there belongs */
} rows[] = {
	{ "killed, all three files", "", "a.db", 0, "intact, no anchor", NULL, false },
	{ "the key's fingerprint is shown", "", "a.db", 0, "\nkey ", NULL, false },
	{ "what cannot be proven is said", "", "a.db", 0, "not proven", NULL, false },
	{ "all of LOG-wal is read", "", "a.db", 0, "the text and the hash of each fit", " 1: the place",
	  false },
	{ "without LOG-shm", "rm a.db-shm", "a.db", 0, "intact, no anchor", " 1: the place", false },
	{ "LOG-shm is noise", "head -c 32768 /dev/urandom >a.db-shm", "a.db", 0, "intact, no anchor",
	  " 1: the place", false },
	{ "LOG-shm is short", "printf xx >a.db-shm", "a.db", 0, "intact, no anchor", " 1: the place",
	  false },
	{ "LOG-wal is empty", ": >a.db-wal; rm a.db-shm", "a.db", 0, "intact, no anchor", NULL, false },
	{ "closed log: the file alone", "rm a.db-wal a.db-shm", "a.db", 0, "intact, no anchor", NULL,
	  false },
	{ "through a link", "mkdir l; ln -s ../a.db l/b.db", "l/b.db", 0, "intact, no anchor",
	  " 1: the place", false },
	{ "a name with spaces, a sign of SQLite's, and letters", "for x in '' -wal -shm; do "
	  "mv a.db$x 'ü b?c=%41#.db'$x; done", "ü b?c=%41#.db", 0, "intact, no anchor", " 1: the place",
	  false },

	{ "by a stranger, in a folder that is not his", "", "a.db", 0, "intact, no anchor",
	  " 1: the place", true },
	{ "the same without LOG-shm", "rm a.db-shm", "a.db", 0, "intact, no anchor", " 1: the place",
	  true },
	{ "the same with a LOG-shm that he may not read", "chmod 600 a.db-shm", "a.db", 0,
	  "intact, no anchor", " 1: the place", true },
	{ "a log that he may not read", "chmod 600 a.db", "a.db", 2, "Permission denied", NULL, true },
	{ "a LOG-wal that he may not read", "chmod 600 a.db-wal", "a.db", 2,
	  "a.db-wal: this is a part of the log", "without an answer", true },

	{ "LOG-wal is missing, the log was not closed", "rm a.db-wal", "a.db", 1,
	  "LOG-wal is missing, though the log was not closed", NULL, false },
	{ "LOG-wal is damaged in the middle", "printf '\\377\\377\\377\\377' | dd of=a.db-wal bs=1 "
	  "seek=9000 conv=notrunc 2>/dev/null", "a.db", 1, "LOG-wal is damaged, and ", NULL, false },
	{ "the header of LOG-wal is damaged", "printf XXXX | dd of=a.db-wal conv=notrunc 2>/dev/null", "a.db",
	  1, "LOG-wal is damaged, and ", NULL, false },
	{ "LOG-wal of another log", "cp other.db-wal a.db-wal; rm -f a.db-shm", "a.db", 2,
	  "is not a part of this log, but of another one", "without an answer", false },
	{ "LOG-wal is a folder", "rm a.db-wal; mkdir a.db-wal", "a.db", 2, "a.db-wal: this is a folder",
	  "readonly", false },

	{ "a folder", "mkdir d", "d", 2, "this is a folder", "I/O", false },
	{ "a pipe", "mkfifo p", "p", 2, "this is a pipe", NULL, false },
	{ "a device", "", "/dev/null", 2, "this is a device", NULL, false },
	{ "the socket of a daemon", "", "../tally.sock", 2, "this is a socket", NULL, false },
	{ "nothing", "", "none.db", 2, "No such file", NULL, false },
	{ "a link to nothing", "ln -s none.db b.db", "b.db", 2, "No such file", NULL, false },
	{ "an empty file", ": >e.db", "e.db", 2, "the file is empty: no log", "beside it", false },
	{ "an empty file with a LOG-wal", ": >a.db", "a.db", 2, "there is a part of one beside it", NULL,
	  false },
	{ "a text", "printf 'position,kind\\nR1,resistor\\n' >t.db", "t.db", 2, "not an SQLite database",
	  "without an answer", false },
	{ "zeros", "head -c 8192 /dev/zero >z.db", "z.db", 2, "not an SQLite database", NULL, false },
	{ "LOG-wal itself", "", "a.db-wal", 2, "not an SQLite database", NULL, false },
	{ "the header trashed", "printf XXXX | dd of=a.db conv=notrunc 2>/dev/null; rm a.db-*", "a.db", 2,
	  "not an SQLite database", NULL, false },
	{ "cut in the middle", "dd if=a.db of=b.db bs=1000 count=20 2>/dev/null", "b.db", 1, "altered",
	  NULL, false },
	{ "cut in the first page", "dd if=a.db of=b.db bs=90 count=1 2>/dev/null", "b.db", 1, "altered",
	  NULL, false },
};

/* Every name, mode, size, time, link and sum of a folder. */
static char *seen(struct stand *s, const char *folder)
{
	const char *out = in_dir(s, "seen.txt");
	const char *script = "cd \"$0\" && find . -printf '%p %M %U %s %T@ %l\\n' | sort && "
	                     "find . -type f | sort | xargs -d '\\n' -r sha256sum";
	const char *words[] = { "sh", "-c", script, folder, NULL };
	unlink(out);
	assert_int_equal(child_wait(s, child_start(s, words, out, NULL)), 0);
	return file_text(out);
}

static void shell(struct stand *s, const char *script, const char *folder)
{
	const char *words[] = { "sh", "-c", script, folder, NULL };
	if (child_wait(s, child_start(s, words, NULL, in_dir(s, "shell.err"))) != 0)
		fail_msg("%s: %s", script, file_text(in_dir(s, "shell.err")));
}

/* Makes s->log, kills who wrote it, and gives it another name. */
static void make_killed(struct stand *s, const char *name)
{
	char script[160];
	daemon_start(s);
	for (int i = 0; i < 6; i++)
		musttally(s, 0, "note", "R1", "in LOG-wal");
	assert_int_equal(daemon_stop(s, SIGKILL), 128 + SIGKILL);
	snprintf(script, sizeof script, "cd \"$0\" && mkdir -p kept && for x in '' -wal -shm; do "
	         "mv stand.db$x kept/%s.db$x; done; rm -f stand.db.*", name);
	shell(s, script, s->dir);
}

static void ckrow(struct stand *s, const struct row *r)
{
	char script[PATH_MAX + 1024];
	const char *out = in_dir(s, "verify.out"), *folder = in_dir(s, "place");
	snprintf(script, sizeof script, "rm -rf \"$0\" && mkdir \"$0\" && cd \"$0\" && "
	         "cp -p ../kept/* . && { %s\n} && rm -f other.db*", r->make[0] ? r->make : ":");
	shell(s, script, folder);
	unlink(out);
	char *before = seen(s, folder);
	snprintf(script, sizeof script, "cd \"$0\" && exec %s%s/bin/tally verify '%s'", r->stranger
	         ? "setpriv --reuid=65534 --regid=65534 --clear-groups " : "", s->dir, r->file);
	const char *words[] = { "sh", "-c", script, folder, NULL };
	int status = child_wait(s, child_start(s, words, out, out));
	char *text = file_text(out), *after = seen(s, folder);
	note_row("%s", r->legend);
	if (status != r->status || !strstr(text, r->says) || (r->never && strstr(text, r->never)))
		fail_msg("status %d, expected %d and \"%s\", not \"%s\":\n%s", status, r->status, r->says,
		         r->never ? r->never : "", text);
	if (strcmp(before, after) != 0)
		fail_msg("something changed:\n%s\n%s", before, after);
	free(before);
	free(after);
	free(text);
}

/* The programs where a stranger may run them: the tree itself may lie in a folder of root's. */
static void copy_programs(struct stand *s)
{
	char program[PATH_MAX], script[2 * PATH_MAX + 128];
	assert_non_null(realpath(build_dir(), program));
	snprintf(script, sizeof script, "mkdir \"$0/bin\" && cp '%s/tally' '%s/tallyd' \"$0/bin\" && "
	         "chmod -R a+rX \"$0/bin\"", program, program);
	shell(s, script, s->dir);
}

static void test_rows(void **state)
{
	struct stand *s = *state;
	chmod(s->dir, 0755);
	copy_programs(s);
	make_killed(s, "other");
	make_killed(s, "a");
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
		if (!rows[i].stranger || getuid() == 0)
			ckrow(s, &rows[i]);
}

/* While a daemon writes, whoever looks neither disturbs it nor is taken for one. */
static void test_beside_a_daemon(void **state)
{
	struct stand *s = *state;
	daemon_start(s);
	for (int i = 0; i < 20; i++) {
		musttally(s, 0, "note", "R1", "meanwhile");
		mustprint(s, 0, "intact, no anchor", "verify", s->log);
		mustprint(s, 0, "intact, no anchor", "verify");
	}
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	mustprint(s, 0, "intact, no anchor", "verify", s->log);
}

/* Nothing but a file is ever taken for a log, and nothing is put in its place. */
static void test_no_log_there(void **state)
{
	struct stand *s = *state;
	static const struct {
		const char *make, *says;
	} places[] = {
		{ "mkdir \"$0\"", "this is a folder" },
		{ "mkfifo \"$0\"", "this is a pipe" },
		{ "ln -s /dev/null \"$0\"", "this is a device" },
	};
	for (size_t i = 0; i < sizeof places / sizeof *places; i++) {
		char name[16], path[160], *err;
		snprintf(name, sizeof name, "p%d", (int)i);
		const char *folder = in_dir(s, name);
		assert_int_equal(mkdir(folder, 0755), 0);
		snprintf(path, sizeof path, "%s/a.db", folder);
		shell(s, places[i].make, path);
		char *before = seen(s, folder);
		config_write(s);
		int status = daemon_run(s, (const char *[]){ "--config", s->config, "--log", path, NULL },
		                        &err);
		char *after = seen(s, folder);
		note_row("%s", places[i].says);
		if (status != 2 || !strstr(err, places[i].says))
			fail_msg("status %d: %s", status, err);
		assert_string_equal(before, after);
		free(before);
		free(after);
		free(err);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		on_stand(test_rows),
		on_stand(test_beside_a_daemon),
		on_stand(test_no_log_there),
	};
	return run_on_stand(tests);
}
