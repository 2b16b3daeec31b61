/* SPDX-License-Identifier: MIT */
/*
 * A log from a copy or an export: verified first, over nothing, all at once.  Whatever fails,
 * and whenever it is killed, the old log is there under its name or under the one it was set
 * aside as, and the new one is whole or not there.
 */
#include "tests/fault_calls.h"
#include "tests/log_help.h"

#include "protocol/record/export.h"

#include <glob.h>
#include <signal.h>
#include <sys/wait.h>
#include <time.h>

/* ---- an export, written by section 9 of SEAL.md ---- */

struct writing {
	FILE *f;
	uint8_t hash[EXPORT_HASHES_MAX][32];
	int n;
	int64_t last;
};

static void write_hashes(struct writing *w, bool end)
{
	char buffer[EXPORT_SEAL_MAX];
	struct text t;
	text_begin(&t, buffer, sizeof buffer);
	export_hashes_write(&t, (const uint8_t (*)[32])w->hash, w->n, end ? w->last : 0);
	fprintf(w->f, "%s\n", buffer);
	w->n = 0;
}

static bool write_one(void *arg, const struct log_sealed *s)
{
	struct writing *w = arg;
	if (w->n == EXPORT_HASHES_MAX)
		write_hashes(w, false);
	fprintf(w->f, "%.*s\n", (int)s->len, s->text);
	memcpy(w->hash[w->n++], s->hash, 32);
	w->last = s->seq;
	return true;
}

static void export_log(const char *log, const char *to, int64_t after)
{
	char buffer[EXPORT_SEAL_MAX];
	struct fault why;
	struct text t;
	struct export_begin begin;
	struct writing w = { .f = fopen(to, "w") };
	struct log_reader *r = log_reader_open(log, &why);
	assert_true(log_reader_begin(r, after, &begin, &why));
	text_begin(&t, buffer, sizeof buffer);
	export_begin_write(&t, &begin);
	fprintf(w.f, "%s\n", buffer);
	assert_true(log_reader_sealed(r, after, INT64_MAX, write_one, &w, &why) > 0);
	write_hashes(&w, true);
	log_reader_close(r);
	fclose(w.f);
}

/* ---- what is there ---- */

static int64_t records_in(const char *path)
{
	uint8_t head[32];
	return access(path, F_OK) == 0 ? chain_by_rule(path, head) : 0;
}

/* Of the one log that was set aside; 0 where there is none. */
static int64_t records_aside(char name[400])
{
	glob_t g;
	int64_t n = 0;
	name[0] = '\0';
	if (glob(in_folder("a.db.aside-*Z"), 0, NULL, &g) == 0) {
		snprintf(name, 400, "%s", g.gl_pathv[0]);
		struct log_check check;
		verdict_of(name, 0, NULL, &check);
		n = check.records;
		globfree(&g);
	}
	return n;
}

enum { OLD = 9, NEW = 20 };

/* a.db has OLD records, some in LOG-wal; b.db is a copy of another log with NEW, b.jsonl its
 * export. */
static void set_up(void)
{
	fflush(NULL);
	pid_t pid = fork();
	if (pid == 0) {
		struct log *log = open_sure(in_folder("a.db"), false);
		for (int i = 1; i < OLD; i++)
			append_one(log, "note", "");
		log_flush(log);
		kill(getpid(), SIGKILL);
	}
	waitpid(pid, NULL, 0);
	make_log(in_folder("b.db"), NEW);
	export_log(in_folder("b.db"), in_folder("b.jsonl"), 0);
}

static void again(void)
{
	folder_drop(NULL);
	folder_make_fast(NULL);
	set_up();
}

/* An older copy is restored on purpose; one that was copied there by hand is said. */
static void an_older_copy_is_no_loss(void **state)
{
	(void)state;
	for (int by_hand = 0; by_hand < 2; by_hand++) {
		struct log_restored done;
		struct fault why;
		char command[900];
		again();
		make_log(in_folder("c.db"), 8);
		snprintf(command, sizeof command, "cp %s %s", in_folder("c.db"), in_folder("older.db"));
		assert_int_equal(system(command), 0);
		struct log *log = open_sure(in_folder("c.db"), false);
		append_one(log, "note", "");
		log_close(log);
		snprintf(command, sizeof command, "cp %s %s", in_folder("older.db"), in_folder("c.db"));
		if (by_hand)
			assert_int_equal(system(command), 0);
		else if (!log_restore(in_folder("older.db"), in_folder("c.db"), true, NOW, NULL, &done, &why))
			fail_msg("%s", why.text);
		log = open_sure(in_folder("c.db"), false);
		bool said = strstr(log_opening(log), "A PART OF THE LOG IS LOST") != NULL;
		log_close(log);
		assert_int_equal(said, by_hand);
	}
}

static void refused_where_it_should_be(void **state)
{
	(void)state;
	struct log_restored done;
	struct log_pin pin = { .seq = 5 };
	struct fault why;
	set_up();
	const struct {
		const char *legend, *from;
		bool over, pinned;
		enum log_verdict verdict;
		const char *says;
	} rows[] = {
		{ "a log is there", "b.db", false, false, LOG_INTACT_NO_ANCHOR, "already" },
		{ "a log is there, an export", "b.jsonl", false, false, LOG_INTACT_NO_ANCHOR, "already" },
		{ "no file", "none", true, false, LOG_INTACT_NO_ANCHOR, "no such file" },
		{ "onto itself", "a.db", true, false, LOG_INTACT_NO_ANCHOR, "the log itself" },
		{ "an anchor of another log", "b.db", true, true, LOG_REWRITTEN, "rewritten" },
		{ "an anchor of another log, an export", "b.jsonl", true, true, LOG_REWRITTEN, "rewritten" },
		{ "altered", "altered.db", true, false, LOG_ALTERED, "altered" },
		{ "altered, an export", "altered.jsonl", true, false, LOG_ALTERED, "altered" },
		{ "a part", "part.jsonl", true, false, LOG_INTACT_NO_ANCHOR, "part" },
		{ "cut off", "cut.jsonl", true, false, LOG_TRUNCATED, "cut off" },
		{ "no log", "text", true, false, LOG_INTACT_NO_ANCHOR, "not an SQLite database" },
	};
	make_log(in_folder("altered.db"), 8);
	assert_int_equal(sql(in_folder("altered.db"), "DROP TRIGGER record_no_update; UPDATE record SET "
	                     "text = replace(text, '\"n\":5', '\"n\":6')"), SQLITE_OK);
	export_log(in_folder("altered.db"), in_folder("altered.jsonl"), 0);
	export_log(in_folder("b.db"), in_folder("part.jsonl"), 3);
	export_log(in_folder("b.db"), in_folder("cut.jsonl"), 0);
	assert_int_equal(truncate(in_folder("cut.jsonl"), 1000), 0);
	FILE *f = fopen(in_folder("text"), "w");
	fputs("no log at all, but long enough for its beginning to be read as one", f);
	fclose(f);
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		note_row("%s", rows[i].legend);
		assert_false(log_restore(in_folder(rows[i].from), in_folder("a.db"), rows[i].over, NOW,
		                         rows[i].pinned ? &pin : NULL, &done, &why));
		if (!strstr(why.text, rows[i].says))
			fail_msg("%s: %s", rows[i].legend, why.text);
		assert_int_equal(done.check.verdict, rows[i].verdict);
		assert_false(is_there("a.db.restored"));
		char name[400];
		assert_int_equal(records_aside(name), 0);
	}
	struct log_check check;
	verdict_of(in_folder("a.db"), 0, NULL, &check);
	assert_int_equal(check.records, OLD);
	/* A daemon has it open. */
	struct log *log = open_sure(in_folder("a.db"), false);
	assert_false(log_restore(in_folder("b.db"), in_folder("a.db"), true, NOW, NULL, &done, &why));
	assert_non_null(strstr(why.text, "holds the log"));
	log_close(log);
	assert_int_equal(records_in(in_folder("a.db")), OLD);
}

/* Every line of an export in turn: a digit of it changed, or other text in its place.  The line is
 * named, whatever seals it further down. */
static void damage_is_named_by_its_line(void **state)
{
	(void)state;
	enum { RECORDS = 230, LINES = 240 };
	static char *line[LINES];
	char *text = NULL;
	size_t size = 0;
	int n = 0, tried = 0;
	make_log(in_folder("b.db"), RECORDS);
	export_log(in_folder("b.db"), in_folder("b.jsonl"), 0);
	FILE *f = fopen(in_folder("b.jsonl"), "r");
	while (n < LINES && getline(&text, &size, f) > 0)
		line[n++] = strdup(text);
	fclose(f);
	free(text);
	for (int at = 0; at < n; at++)
		for (int how = 0; how < 2; how++) {
			bool record = strncmp(line[at], "{\"seq\":", 7) == 0;
			struct log_restored done;
			struct fault why = { .text = "" };
			/* Of a seal line the records that it seals are named. */
			if (!record)
				continue;
			f = fopen(in_folder("bad.jsonl"), "w");
			for (int i = 0; i < n; i++) {
				char *digit = strstr(line[i], "\"t\":\"20");
				if (i != at)
					fputs(line[i], f);
				else if (how == 0)
					fprintf(f, "%.*s3%s", (int)(digit - line[i] + 7), line[i], digit + 8);
				else
					fputs("{\"sea\":0}\n", f);
			}
			fclose(f);
			assert_false(log_restore(in_folder("bad.jsonl"), in_folder("c.db"), false, NOW, NULL, &done,
			                         &why));
			/* Which digit it was the hash does not say; of other text it is the first byte that is. */
			if (why.line != at + 1 || why.column != (how == 0 ? 0 : 6) || !strstr(why.text, "altered"))
				fail_msg("line %d, %d: %d:%d: %s", at + 1, how, why.line, why.column, why.text);
			assert_false(is_there("c.db"));
			tried++;
		}
	for (int i = 0; i < n; i++)
		free(line[i]);
	print_message("  %d damaged lines\n", tried);
	assert_int_equal(tried, 2 * RECORDS);
}

/* The column is that of the first byte that is wrong, and none where that is not known. */
static void damage_has_its_column(void **state)
{
	(void)state;
	static const struct {
		const char *legend, *was, *now; /* in that line */
		int line, behind;               /* the column: that of `was`, and so much behind; below 0: see below */
	} rows[] = {
		{ "another number", "{\"seq\":4,", "{\"seq\":5,", 5, 7 },
		{ "a number with a zero", "{\"seq\":4,", "{\"seq\":04,", 5, 7 },
		{ "no time behind it", ",\"t\":\"", ",\"T\":\"", 5, 2 },
		{ "not a day", "-11-", "-13-", 5, -5 },
		{ "no kind", "\"kind\"", "\"kand\"", 5, -2 },
		{ "a brace missing", "}\n", "\n", 5, 0 },
		{ "a letter in a number", "\"n\":3", "\"n\":x", 5, 4 },
		{ "a key twice", "\"n\":3", "\"t\":3", 5, 0 },
		{ "a tab", "\"n\":3", "\"n\":\t3", 5, 4 },
		{ "not a line of ours", "{\"seq\":4,", "{\"sew\":4,", 5, 4 },
		{ "nothing of it left", "{\"seq\":4,", "x", 5, 0 },
		{ "another digit", "\"n\":3", "\"n\":4", 5, -1 },
		{ "the identity", "\"identity\":\"", "\"identity\":\"x", 2, 11 },
		{ "a seal line without its brace", "}\n", "\n", 1, 0 },
		{ "a seal line without a member", "\"after\":", "\"before\":", 1, -1 },
	};
	struct log *log = open_sure(in_folder("b.db"), true);
	for (int i = 2; i < 8; i++)
		append_one(log, "note", ",\"n\":3");
	log_close(log);
	export_log(in_folder("b.db"), in_folder("b.jsonl"), 0);
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct log_restored done;
		struct fault why = { .text = "" };
		char *text = NULL;
		size_t size = 0;
		int at = 0, want = 0;
		FILE *from = fopen(in_folder("b.jsonl"), "r"), *to = fopen(in_folder("bad.jsonl"), "w");
		while (getline(&text, &size, from) > 0) {
			char *was = ++at == rows[i].line ? strstr(text, rows[i].was) : NULL;
			if (!was) {
				fputs(text, to);
				continue;
			}
			fprintf(to, "%.*s%s%s", (int)(was - text), text, rows[i].now, was + strlen(rows[i].was));
			want = (int)(was - text) + 1 + rows[i].behind;
			if (rows[i].behind == -5) /* the time begins there */
				want = (int)(strstr(text, "\"t\":\"") - text) + 6;
			if (rows[i].behind == -2) /* the byte behind the time */
				want = (int)(was - text) - 1;
			if (rows[i].behind == -1)
				want = 0;
		}
		free(text);
		fclose(from);
		fclose(to);
		assert_false(log_restore(in_folder("bad.jsonl"), in_folder("c.db"), false, NOW, NULL, &done,
		                         &why));
		if (why.line != rows[i].line || why.column != want)
			fail_msg("%s: %d:%d, not %d:%d: %s", rows[i].legend, why.line, why.column, rows[i].line,
			         want, why.text);
	}
}

static void done_where_it_may_be(void **state)
{
	(void)state;
	for (int export = 0; export < 2; export++) {
		struct log_restored done;
		struct fault why = { .text = "" };
		char name[400];
		again();
		const char *from = in_folder(export ? "b.jsonl" : "b.db");
		/* Where none is. */
		if (!log_restore(from, in_folder("c.db"), false, NOW, NULL, &done, &why))
			fail_msg("%s", why.text);
		assert_int_equal(records_in(in_folder("c.db")), NEW);
		assert_string_equal(done.aside, "");
		assert_int_equal(done.key, LOG_KEY_NONE_NEEDED);
		/* Over one: that one is aside with its WAL and its key. */
		if (!log_restore(from, in_folder("a.db"), true, NOW, NULL, &done, &why))
			fail_msg("%s", why.text);
		assert_int_equal(records_in(in_folder("a.db")), NEW);
		assert_int_equal(records_aside(name), OLD);
		assert_string_equal(name, done.aside);
		assert_true(is_there("a.db.aside-20261125T100000Z.key"));
		assert_true(is_there("a.db.aside-20261125T100000Z-wal"));
		assert_false(is_there("a.db.key"));
		/* It goes on, hash upon hash. */
		struct log *log = open_sure(in_folder("a.db"), true);
		assert_int_equal(log_last_seq(log), NEW);
		append_one(log, "note", "");
		log_close(log);
		assert_int_equal(records_in(in_folder("a.db")), NEW + 1);
		/* And the one set aside can be put back: with its key. */
		if (!log_restore(name, in_folder("a.db"), true, NOW, NULL, &done, &why))
			fail_msg("%s", why.text);
		assert_int_equal(records_in(in_folder("a.db")), OLD);
		assert_int_equal(done.key, LOG_KEY_MISSING);
	}
}

/* A backup of the same log: its key stays, and signs on. */
static void the_key_stays_with_its_log(void **state)
{
	(void)state;
	struct log_restored done;
	struct log_check check;
	struct fault why;
	struct log *log = open_sure(in_folder("a.db"), false);
	append_one(log, "note", "");
	log_flush(log);
	struct log_reader *r = log_reader_open(in_folder("a.db"), &why);
	assert_true(log_reader_copy(r, in_folder("copy.db"), &check, &why));
	log_reader_close(r);
	append_one(log, "note", ",\"after\":\"the copy\"");
	log_flush(log);
	log_close(log);
	assert_true(log_restore(in_folder("copy.db"), in_folder("a.db"), true, NOW, NULL, &done, &why));
	assert_int_equal(done.key, LOG_KEY_THERE);
	assert_true(is_there("a.db.key"));
	log = open_sure(in_folder("a.db"), false);
	assert_null(strstr(log_opening(log), "no checkpoints"));
	append_one(log, "note", "");
	log_checkpoint(log, NOW);
	log_flush(log);
	log_close(log);
	assert_int_equal(verdict_of(in_folder("a.db"), 0, NULL, &check), LOG_INTACT_NO_ANCHOR);
	assert_int_equal(check.checkpoints, 1);
	assert_int_equal(check.signed_to, 3);
	/* The key alone is left: its log may come back without being told to go over one. */
	unlink(in_folder("a.db"));
	assert_null(open_log(in_folder("a.db"), false, NULL, &why));
	assert_true(log_restore(in_folder("copy.db"), in_folder("a.db"), false, NOW, NULL, &done, &why));
	assert_int_equal(done.key, LOG_KEY_THERE);
	assert_int_equal(records_in(in_folder("a.db")), 2);
}

/* ---- failing, and killed ---- */

/* Broken off while the old names were taken away: its LOG-wal is gone, its LOG-shm is not, and
 * the whole of it has its new name already.  Nobody may take what is left for the log. */
static bool half_gone(int64_t aside)
{
	struct fault why;
	if (aside != OLD || is_there("a.db-wal") || !is_there("a.db-shm"))
		return false;
	struct log *log = open_log(in_folder("a.db"), false, NULL, &why);
	bool told = log && strstr(log_opening(log), "A PART OF THE LOG IS LOST");
	if (log)
		log_close(log);
	return told;
}

/* Either log is whole somewhere, and nothing is in the wrong place. */
static bool nothing_is_lost(bool said_done, const char **what)
{
	char name[400];
	struct log_check check = { .records = 0 };
	if (is_there("a.db"))
		verdict_of(in_folder("a.db"), 0, NULL, &check);
	int64_t there = check.records, aside = records_aside(name);
	*what = "both are somewhere";
	if (said_done && (there != NEW || aside != OLD))
		*what = "said to be done, and is not";
	else if (there != OLD && there != NEW && there != 0 && !half_gone(aside))
		*what = "something else is in the log's place";
	else if (there != OLD && aside != OLD)
		*what = "the old log is gone";
	else
		return true;
	return false;
}

static void every_call_may_fail(void **state)
{
	(void)state;
	static const struct {
		enum calls_sort sort;
		int error;
	} faults[] = {
		{ CALLS_OPEN, EMFILE }, { CALLS_READ, EIO }, { CALLS_WRITE, ENOSPC }, { CALLS_WRITE, EIO },
		{ CALLS_SYNC, EIO }, { CALLS_RENAME, EIO }, { CALLS_UNLINK, EACCES }, { CALLS_TRUNCATE, EIO },
		{ CALLS_LOCK, ENOLCK }, { CALLS_LINK, EIO }, { CALLS_LINK, EPERM },
	};
	int runs = 0, hits = 0;
	calls.impatient = true;
	for (size_t i = 0; i < sizeof faults / sizeof *faults; i++)
		for (int export = 0; export < 2; export++)
			for (int lasting = 0; lasting < 2; lasting++)
				for (int after = 0;; after += getenv("TALLY_TORTURE") ? 1 : 1 + after / 3) {
					struct log_restored done;
					struct fault why = { .text = "" };
					const char *what;
					again();
					calls_plan((struct calls_rule){ .sort = faults[i].sort, .after = after,
						                            .times = lasting ? -1 : 1, .error = faults[i].error });
					bool said = log_restore(in_folder(export ? "b.jsonl" : "b.db"), in_folder("a.db"), true,
					                        NOW, NULL, &done, &why);
					int failed = calls_clear();
					runs++;
					hits += failed > 0;
					if (!nothing_is_lost(said, &what) || (!said && !why.text[0])) {
						note_row("%s, %s, after %d, %s: %s (%s)", calls_names[faults[i].sort],
						         export ? "export" : "copy", after, lasting ? "lasting" : "once", what,
						         why.text);
						fail();
					}
					if (!failed)
						break;
				}
	calls.impatient = false;
	print_message("  %d restores, a call failed in %d\n", runs, hits);
	assert_true(hits > 50);
}

static void killed_at_any_moment(void **state)
{
	(void)state;
	const char *kills = getenv("TALLY_KILLS"), *given = getenv("TALLY_SEED");
	unsigned seed = given ? (unsigned)atoi(given) : (unsigned)time(NULL);
	int n = kills ? atoi(kills) : 60, done_in_time = 0;
	print_message("  seed %u\n", seed);
	for (int i = 0; i < n; i++) {
		const char *what;
		struct log_restored done;
		struct fault why;
		again();
		fflush(NULL);
		pid_t pid = fork();
		if (pid == 0)
			_exit(log_restore(in_folder(i % 2 ? "b.jsonl" : "b.db"), in_folder("a.db"), true, NOW, NULL,
			                  &done, &why) ? 0 : 1);
		seed = seed * 1103515245u + 12345u;
		struct timespec wait = { 0, (long)((seed >> 8) % 12000) * 1000 };
		nanosleep(&wait, NULL);
		kill(pid, SIGKILL);
		int status;
		waitpid(pid, &status, 0);
		done_in_time += WIFEXITED(status);
		if (!nothing_is_lost(WIFEXITED(status) && WEXITSTATUS(status) == 0, &what)) {
			note_row("kill %d: %s", i, what);
			fail();
		}
		/* Where there is no log, none is made in silence; and a second try goes through. */
		if (!is_there("a.db"))
			assert_null(open_log(in_folder("a.db"), false, NULL, &why));
		if (!log_restore(in_folder("b.db"), in_folder("a.db"), true, NOW + 1000000, NULL, &done, &why))
			fail_msg("again: %s", why.text);
		assert_int_equal(records_in(in_folder("a.db")), NEW);
	}
	print_message("  %d killed, %d had ended\n", n - done_in_time, done_in_time);
	assert_true(n - done_in_time > 0);
}

int main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, folder_make_fast, folder_drop)
	const struct CMUnitTest tests[] = {
		T(refused_where_it_should_be),
		T(an_older_copy_is_no_loss),
		T(damage_is_named_by_its_line),
		T(damage_has_its_column),
		T(done_where_it_may_be),
		T(the_key_stays_with_its_log),
		T(every_call_may_fail),
		T(killed_at_any_moment),
	};
	return cmocka_run_group_tests_name("restore", tests, NULL, NULL);
}
