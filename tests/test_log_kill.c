/* SPDX-License-Identifier: MIT */
/*
 * Kill -9 at any moment.  A child appends as fast as it can and says on a pipe
 * what was acknowledged; it is killed at a random moment.  Whatever it had said
 * must be there word for word, and the chain must be whole.  The same log goes
 * through all of it, so that each start also recovers from the last kill.
 *
 * TALLY_KILLS sets how often (default 60), TALLY_SEED the moments.
 */
#include "tests/log_help.h"

#include <poll.h>
#include <signal.h>
#include <sys/wait.h>
#include <time.h>

struct said {
	int64_t seq;
	uint8_t sum[32]; /* of the text */
};

static int out_pipe;

/* A pipe write of this size is all or nothing. */
static void say(void *arg, const struct log_result *r)
{
	struct said s = { .seq = r->seq };
	uint8_t zero[32] = { 0 };
	(void)arg;
	if (r->status != LOG_DURABLE)
		return;
	chain_rule(zero, r->text, r->len, s.sum);
	if (write(out_pipe, &s, sizeof s) != sizeof s)
		_exit(3);
}

/* Captures of an entry and its run, two meters with open runs, notes in between,
 * and no mercy for the disk: the queue is never empty for long. */
static void work_until_killed(const char *path, unsigned seed)
{
	struct fault why;
	struct log *log = open_log(path, false, NULL, &why);
	if (!log) {
		fprintf(stderr, "child: %s\n", why.text);
		_exit(2);
	}
	for (unsigned i = seed;; i++) {
		char entry[100], ref[LOG_REFERENCE_SIZE], run[2][900];
		log_reference(log_next_ticket(log) + 1, ref);
		snprintf(entry, sizeof entry, ",\"position\":\"R%u\",\"trail\":[[%s,0,3]]", i % 20, ref);
		for (int m = 0; m < 2; m++) {
			char *p = run[m] + sprintf(run[m], ",\"meter\":\"m%d\",\"v\":[1", m);
			for (unsigned j = 0; j < i % 300; j++) {
				*p++ = ',';
				*p++ = (char)('0' + j % 10);
			}
			strcpy(p, "]");
		}
		struct log_draft d[2] = { draft("entry", entry), draft("trail", run[0]) };
		struct log_open_run open[2] = { { "m0", NOW, run[0], strlen(run[0]) },
			                            { "m1", NOW, run[1], strlen(run[1]) } };
		log_append(log, d, 2, "m0", &why);
		if (i % 3 == 0)
			append_one(log, "note", ",\"text\":\"x\"");
		if (i % 4 == 0)
			log_save_open(log, open, 2);
		if (i % 5 == 0)
			log_flush(log);
		log_collect(log, say, NULL);
	}
}

static int64_t read_back(const char *path, const struct said *said, int n)
{
	sqlite3 *db;
	sqlite3_stmt *st;
	uint8_t zero[32] = { 0 }, sum[32];
	sqlite3_open_v2(path, &db, SQLITE_OPEN_READONLY, NULL); /* leaves LOG-wal as it is */
	sqlite3_prepare_v2(db, "SELECT text FROM record WHERE seq = ?", -1, &st, NULL);
	int64_t missing = 0;
	for (int i = 0; i < n; i++) {
		sqlite3_bind_int64(st, 1, said[i].seq);
		bool there = sqlite3_step(st) == SQLITE_ROW;
		if (there)
			chain_rule(zero, (const char *)sqlite3_column_text(st, 0),
			           (size_t)sqlite3_column_bytes(st, 0), sum);
		if (!there || memcmp(sum, said[i].sum, 32) != 0)
			missing++;
		sqlite3_reset(st);
	}
	sqlite3_finalize(st);
	sqlite3_close(db);
	return missing;
}

/* One life of the daemon; what it said is added to `said`. */
static int one_life(const char *path, unsigned seed, struct said *said, int room)
{
	int pipes[2], n = 0;
	assert_int_equal(pipe(pipes), 0);
	pid_t pid = fork();
	if (pid == 0) {
		close(pipes[0]);
		out_pipe = pipes[1];
		work_until_killed(path, seed);
	}
	close(pipes[1]);
	/* Half of the lives end somewhere from before the log is open to well into the
	 * work, half soon after the first word, however slow the machine is. */
	unsigned at = seed >> 8;
	struct pollfd first = { .fd = pipes[0], .events = POLLIN };
	struct timespec wait = { 0, (long)(at % 40000) * 1000 };
	if (at / 40000 % 2)
		poll(&first, 1, 5000);
	nanosleep(&wait, NULL);
	kill(pid, SIGKILL);
	while (n < room && read(pipes[0], &said[n], sizeof said[n]) == (ssize_t)sizeof said[n])
		n++;
	close(pipes[0]);
	int status;
	waitpid(pid, &status, 0);
	assert_true(WIFSIGNALED(status));
	return n;
}

static void no_kill_loses_what_was_acknowledged(void **state)
{
	(void)state;
	enum { ROOM = 1 << 20 };
	struct said *said = calloc(ROOM, sizeof *said);
	const char *path = in_folder("a.db");
	const char *kills = getenv("TALLY_KILLS"), *seeds = getenv("TALLY_SEED");
	int n = 0, lives = kills ? atoi(kills) : 60, started = 0;
	unsigned seed = seeds ? (unsigned)atoi(seeds) : (unsigned)time(NULL) ^ (unsigned)getpid() << 8;
	int64_t records = 0;
	for (int i = 0; i < lives; i++) {
		uint8_t head[32];
		int before = n;
		seed = seed * 1103515245u + 12345u;
		n += one_life(path, seed, said + n, ROOM - n);
		started += n > before;
		/* What a killed life leaves is whole without anybody's help ... */
		if (!is_there("a.db"))
			continue;
		struct log_check check;
		enum log_verdict verdict = verdict_of(path, 0, NULL, &check);
		/* ... by the other reading of the rule, too, and nothing is lost. */
		records = chain_by_rule(path, head);
		int64_t missing = read_back(path, said, n);
		if (verdict != LOG_INTACT_NO_ANCHOR || records < check.records || missing) {
			note_row("life %d seed %u: %s, %d records, %d of %d acknowledged ones missing", i, seed,
			         log_verdict_name(verdict), (int)records, (int)missing, n);
			fail();
		}
	}
	print_message("  %d lives (%d that said something), %d records acknowledged, %d in the log\n",
	              lives, started, n, (int)records);
	assert_true(started >= lives / 5);
	struct log *log = open_sure(path, false);
	assert_true(log_last_seq(log) >= records);
	assert_int_equal(log_health(log), LOG_GOOD);
	log_close(log);
	assert_int_equal(read_back(path, said, n), 0);
	free(said);
}

/* Every entry's run stands right behind it: one transaction, whole or not at all.
 * After a start nothing is left in the table of open runs. */
static void captures_are_whole(void **state)
{
	(void)state;
	const char *path = in_folder("a.db");
	struct said *said = calloc(1 << 18, sizeof *said);
	unsigned seed = 0x7a5e1234;
	int n = 0;
	for (int i = 0; i < 12; i++) {
		seed = seed * 1103515245u + 12345u;
		n += one_life(path, seed, said + n, (1 << 18) - n);
	}
	free(said);
	log_close(open_sure(path, false));
	char value[32];
	assert_true(sql_value(path, "SELECT count(*) FROM record e LEFT JOIN record r ON r.seq = "
	                      "json_extract(e.text, '$.trail[0][0]') WHERE e.kind = 'entry' AND "
	                      "(r.kind IS NOT 'trail' OR r.seq <> e.seq + 1)", value, sizeof value));
	assert_string_equal(value, "0");
	assert_true(sql_value(path, "SELECT count(*) FROM record WHERE kind = 'entry'", value,
	                      sizeof value));
	assert_true(atoi(value) > 10);
	assert_true(sql_value(path, "SELECT count(*) FROM open_run", value, sizeof value));
	assert_string_equal(value, "0");
}

int main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, folder_make, folder_drop)
	const struct CMUnitTest tests[] = {
		T(no_kill_loses_what_was_acknowledged),
		T(captures_are_whole),
	};
	return cmocka_run_group_tests_name("log_kill", tests, NULL, NULL);
}
