/* SPDX-License-Identifier: MIT */
/*
 * How long an entry takes until it is durable: log_append to the result, through the thread of
 * the log; a bare durable SQLite commit of a row on the same disk takes turns with it, and so does
 * waking another thread and being woken by it, ten of each a second.  Then the same into a log of
 * millions of readings while other threads draw charts of it, back it up and verify it without a
 * pause.  Last, what a reading costs in such a log, against one in a log that was empty.
 *
 *     build/tests/bench_latency [FOLDER [MILLIONS [ENTRIES]]]      (build, 10, 300)
 */
#include "daemon/log.h"
#include "protocol/record/record.h"
#include "tests/bench_goal.h"

#include <pthread.h>
#include <sqlite3.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#define START 1795600800000000
#define ENTRIES_MAX 10000
#define RUN 1000
#define BATCH 20 /* runs in a transaction: a hundred million wait for few syncs */
#define STEP 1000 /* ticks of 100 us between two readings */
#define TURN_US 33333 /* three by turns, ten of each a second */

static char folder[300], path[340], plain_path[340], copy_path[340];
static int64_t t_next = START;

static void die(const char *what, const struct fault *why)
{
	fprintf(stderr, "bench_latency: %s: %s\n", what, why ? why->text : "");
	exit(1);
}

static double clock_s(clockid_t clock)
{
	struct timespec t;
	clock_gettime(clock, &t);
	return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

static void drop(const char *log)
{
	static const char *const suffix[] = {"", "-wal", "-shm", ".lock", ".reserve", ".key", ".part"};
	char name[400];
	for (size_t i = 0; i < sizeof suffix / sizeof *suffix; i++) {
		snprintf(name, sizeof name, "%s%s", log, suffix[i]);
		unlink(name);
	}
}

/* ---- a log of millions ---- */

static void pass_over(void *arg, const struct log_result *r)
{
	if (r->status != LOG_DURABLE)
		*(int *)arg = 1;
}

/* A million readings more, in full runs; CPU us a reading. */
static double million(struct log *log)
{
	static struct trail_reading reading[RUN];
	static char buffer[BATCH][32768];
	struct log_draft draft[BATCH];
	struct fault why;
	static uint64_t seed = 1;
	static int64_t v = 48120;
	double cpu = clock_s(CLOCK_PROCESS_CPUTIME_ID);
	for (int run = 0; run < 1000000 / RUN; run++) {
		struct trail_body body = {.job = "bench", .meter = "red", .function = FUNCTION_OHM,
		    .position = "R12", .digit = {.n = 1, .e = -1}, .reading = reading, .n = RUN};
		for (int i = 0; i < RUN; i++) {
			seed = seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
			v += (int64_t)(seed >> 33) % 5 - 2;
			reading[i] = (struct trail_reading){.at = (int64_t)i * STEP, .v = v, .has_value = true};
		}
		struct text text;
		text_begin(&text, buffer[run % BATCH], sizeof buffer[0]);
		trail_body_write(&text, &body);
		draft[run % BATCH] = (struct log_draft){t_next, "trail", text.bytes, text.len};
		int refused = 0;
		t_next += (int64_t)RUN * STEP * TRAIL_TICK_US;
		if ((run + 1) % BATCH)
			continue;
		if (!log_append(log, draft, BATCH, NULL, &why))
			die("append", &why);
		log_flush(log);
		log_collect(log, pass_over, &refused);
		if (refused)
			die("a run was refused", NULL);
	}
	return clock_s(CLOCK_PROCESS_CPUTIME_ID) - cpu;
}

static struct log *log_begin(bool tells, void (*notify)(void *), void *arg)
{
	struct fault why;
	struct log_options o = {.path = path, .bench = "north", .version = "0", .now = START,
	                        .notify = tells ? notify : NULL, .arg = arg};
	struct log *log = log_open(&o, &why);
	if (!log)
		die(path, &why);
	return log;
}

/* ---- who reads meanwhile ---- */

static atomic_bool enough;
static atomic_long charts, backups, verifies;

static struct log_reader *reader(void)
{
	struct fault why;
	struct log_reader *r = log_reader_open(path, &why);
	if (!r)
		die("a reader", &why);
	return r;
}

static void *draw(void *arg)
{
	static struct log_column column[2000];
	struct fault why;
	struct log_reader *r = reader();
	(void)arg;
	log_reader_stand_back(); /* as the daemon's readers do */
	struct log_envelope_query q = {.meter = "red", .function = "ohm", .from = START - 17013007,
	                               .to = t_next + 43001013, .columns = 2000};
	for (; !enough; charts++)
		if (!log_reader_envelope(r, &q, column, &why))
			die("a chart", &why);
	log_reader_close(r);
	return NULL;
}

static void *back_up(void *arg)
{
	struct fault why;
	struct log_check check;
	struct log_reader *r = reader();
	(void)arg;
	log_reader_stand_back(); /* as the daemon's readers do */
	for (; !enough; backups++) {
		drop(copy_path);
		if (!log_reader_copy(r, copy_path, &check, &why))
			die("a backup", &why);
	}
	drop(copy_path);
	log_reader_close(r);
	return NULL;
}

static void *verify(void *arg)
{
	struct fault why;
	struct log_check check;
	struct log_reader *r = reader();
	(void)arg;
	log_reader_stand_back(); /* as the daemon's readers do */
	for (; !enough; verifies++)
		if (!log_reader_verify(r, NULL, &check, &why) || check.verdict != LOG_INTACT_NO_ANCHOR)
			die("verify", &why);
	log_reader_close(r);
	return NULL;
}

/* ---- what waking costs ---- */

/* Between an entry and its result a thread is woken twice: the one of the log, and who asked.  On a
 * machine that sleeps meanwhile that is the larger part of what a bare commit does not have. */
static struct {
	pthread_mutex_t mutex;
	pthread_cond_t asked, answered;
	bool ask, answer, over;
} ping = {PTHREAD_MUTEX_INITIALIZER, PTHREAD_COND_INITIALIZER, PTHREAD_COND_INITIALIZER,
          false, false, false};

static void *pong(void *arg)
{
	(void)arg;
	pthread_mutex_lock(&ping.mutex);
	for (;;) {
		while (!ping.ask && !ping.over)
			pthread_cond_wait(&ping.asked, &ping.mutex);
		if (ping.over)
			break;
		ping.ask = false;
		ping.answer = true;
		pthread_cond_signal(&ping.answered);
	}
	pthread_mutex_unlock(&ping.mutex);
	return NULL;
}

/* ms from the question to the answer */
static double waking(void)
{
	double t = clock_s(CLOCK_MONOTONIC);
	pthread_mutex_lock(&ping.mutex);
	ping.ask = true;
	pthread_cond_signal(&ping.asked);
	while (!ping.answer)
		pthread_cond_wait(&ping.answered, &ping.mutex);
	ping.answer = false;
	pthread_mutex_unlock(&ping.mutex);
	return (clock_s(CLOCK_MONOTONIC) - t) * 1e3;
}

/* ---- entries ---- */

static double ours[ENTRIES_MAX], plain[ENTRIES_MAX], woken[ENTRIES_MAX];
static pthread_mutex_t mutex = PTHREAD_MUTEX_INITIALIZER;
static pthread_cond_t told = PTHREAD_COND_INITIALIZER;
static bool news;

static void on_news(void *arg)
{
	(void)arg;
	pthread_mutex_lock(&mutex);
	news = true;
	pthread_cond_signal(&told);
	pthread_mutex_unlock(&mutex);
}

static void durable(void *arg, const struct log_result *r)
{
	*(int *)arg += r->status == LOG_DURABLE && r->ticket;
}

static double entry(struct log *log)
{
	struct fault why;
	static char body[2048];
	int got = 0;
	int n = snprintf(body, sizeof body, ",\"job\":\"x\",\"position\":\"R12\",\"value\":481.2,"
	                 "\"frames\":[\"%0600d\"]", 0);
	struct log_draft draft[2] = {{t_next, "trail", body, (size_t)n}, {t_next, "entry", body, (size_t)n}};
	double t = clock_s(CLOCK_MONOTONIC);
	if (!log_append(log, draft, 2, NULL, &why))
		die("append", &why);
	while (got < 2) {
		pthread_mutex_lock(&mutex);
		while (!news)
			pthread_cond_wait(&told, &mutex);
		news = false;
		pthread_mutex_unlock(&mutex);
		log_collect(log, durable, &got);
	}
	return (clock_s(CLOCK_MONOTONIC) - t) * 1e3;
}

static sqlite3_stmt *plain_open(sqlite3 **db)
{
	sqlite3_stmt *st = NULL;
	drop(plain_path);
	if (sqlite3_open(plain_path, db) != SQLITE_OK ||
	    sqlite3_exec(*db, "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;"
	                 "CREATE TABLE row (id INTEGER PRIMARY KEY, text TEXT)", NULL, NULL, NULL) ||
	    sqlite3_prepare_v2(*db, "INSERT INTO row (text) VALUES (?)", -1, &st, NULL))
		die("the plain database", NULL);
	return st;
}

static double commit(sqlite3_stmt *st)
{
	static char text[1300];
	memset(text, 'x', sizeof text);
	sqlite3_bind_text(st, 1, text, sizeof text, SQLITE_STATIC);
	double t = clock_s(CLOCK_MONOTONIC);
	if (sqlite3_step(st) != SQLITE_DONE)
		die("the bare commit", NULL);
	t = (clock_s(CLOCK_MONOTONIC) - t) * 1e3;
	sqlite3_reset(st);
	return t;
}

static void wait_turn(double *next)
{
	*next += TURN_US / 1e6;
	double left = *next - clock_s(CLOCK_MONOTONIC);
	if (left > 0)
		usleep((useconds_t)(left * 1e6));
	else
		*next -= left;
}

static void alternate(struct log *log, int n)
{
	sqlite3 *db = NULL;
	sqlite3_stmt *st = plain_open(&db);
	double next = clock_s(CLOCK_MONOTONIC);
	for (int i = 0; i < n; i++) {
		wait_turn(&next);
		ours[i] = entry(log);
		wait_turn(&next);
		plain[i] = commit(st);
		wait_turn(&next);
		woken[i] = waking();
	}
	sqlite3_finalize(st);
	sqlite3_close(db);
	drop(plain_path);
}

static int by_size(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;
	return (x > y) - (x < y);
}

static double quantile(double *x, int n, double q)
{
	qsort(x, (size_t)n, sizeof *x, by_size);
	return x[(int)(q * (n - 1) + 0.5)];
}

static void waking_row(int n)
{
	printf("%-40s %8.3f ms p50 %8.3f ms p99\n", "  of that, waking two threads by turns",
	       quantile(woken, n, 0.5), quantile(woken, n, 0.99));
}

static void quiet_rows(int n)
{
	double a = quantile(ours, n, 0.5), b = quantile(plain, n, 0.5);
	printf("%-40s %8.3f ms %8.3f ms bare commit  + %.3f ms, goal + 0.100: %s\n",
	       "durable entry with its run, p50", a, b, a - b, goal_word(a - b <= 0.1));
	a = quantile(ours, n, 0.99), b = quantile(plain, n, 0.99);
	printf("%-40s %8.3f ms %8.3f ms bare commit  %.2f times, goal 1.50: %s\n", "the same, p99", a, b,
	       a / b, goal_word(a / b <= 1.5));
	waking_row(n);
}

static void busy_rows(int n, long millions)
{
	double a = quantile(ours, n, 0.5), b = quantile(plain, n, 0.5);
	printf("while %ld charts, %ld backups and %ld verifies of %ld million readings ran:\n",
	       (long)charts, (long)backups, (long)verifies, millions);
	printf("%-40s %8.3f ms %8.3f ms bare commit\n", "durable entry with its run, p50", a, b);
	a = quantile(ours, n, 0.99), b = quantile(plain, n, 0.99);
	printf("%-40s %8.3f ms %8.3f ms bare commit  goal 100 ms: %s\n", "the same, p99", a, b,
	       goal_word(a <= 100));
	waking_row(n);
}

int main(int argc, char **argv)
{
	static void *(*const work[])(void *) = {draw, back_up, verify};
	pthread_t thread[3], answers;
	long millions = argc > 2 ? atol(argv[2]) : 10;
	int n = argc > 3 ? atoi(argv[3]) : 300;
	if (millions < 2 || n < 10 || n > ENTRIES_MAX)
		return 2;
	snprintf(folder, sizeof folder, "%s", argc > 1 ? argv[1] : "build");
	snprintf(path, sizeof path, "%s/bench_latency.db", folder);
	snprintf(plain_path, sizeof plain_path, "%s/bench_latency_plain.db", folder);
	snprintf(copy_path, sizeof copy_path, "%s/bench_latency_copy.db", folder);
	drop(path);
	drop(copy_path);
	if (pthread_create(&answers, NULL, pong, NULL))
		die("no thread", NULL);
	struct log *log = log_begin(true, on_news, NULL);
	alternate(log, n);
	quiet_rows(n);
	double first = million(log), last = first;
	for (long i = 1; i < millions; i++)
		last = million(log);
	log_close(log);
	log = log_begin(true, on_news, NULL);
	for (int i = 0; i < 3; i++)
		if (pthread_create(&thread[i], NULL, work[i], NULL))
			die("no thread", NULL);
	alternate(log, n);
	enough = true;
	for (int i = 0; i < 3; i++)
		pthread_join(thread[i], NULL);
	pthread_mutex_lock(&ping.mutex);
	ping.over = true;
	pthread_cond_signal(&ping.asked);
	pthread_mutex_unlock(&ping.mutex);
	pthread_join(answers, NULL);
	busy_rows(n, millions);
	printf("a reading in a log of %ld million: %.3f us CPU, in an empty one %.3f: %.2f times, goal 1.1: "
	       "%s\n", millions, last, first, last / first, goal_word(last / first <= 1.1));
	log_close(log);
	drop(path);
	return 0;
}
