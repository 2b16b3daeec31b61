/* SPDX-License-Identifier: MIT */
/*
 * The trail at size: bytes a reading on the disk, and how long pictures and SQL over
 * millions of readings take.  Nothing is asserted.
 *
 *     build/tests/bench_trail [FOLDER] [MILLIONS]     (default: build, 10)
 *
 * Each log has one meter with readings ten times a second, whose value wanders by a few
 * digits, as on a bench; the plain side of a ratio is one SQL statement of the same library
 * over the same file (min, max and count of a column of integers).
 */
#include "daemon/log.h"
#include "protocol/record/record.h"
#include "protocol/record/seal.h"

#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#define START 1795600800000000
#define BATCH 64
#define ROUNDS 7
#define COLUMNS 2000

static double seconds(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

static void die(const char *what, const struct fault *why)
{
	fprintf(stderr, "bench_trail: %s: %s\n", what, why ? why->text : "");
	exit(1);
}

static int by_size(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;
	return (x > y) - (x < y);
}

static double median(double *x)
{
	qsort(x, ROUNDS, sizeof *x, by_size);
	return x[ROUNDS / 2];
}

static double megabytes(const char *path)
{
	struct stat st;
	return stat(path, &st) == 0 ? (double)st.st_size / 1e6 : 0;
}

static void drop(const char *path)
{
	static const char *const suffix[] = {"", "-wal", "-shm", ".lock", ".reserve", ".key", ".suspect"};
	char name[400];
	for (size_t i = 0; i < sizeof suffix / sizeof *suffix; i++) {
		snprintf(name, sizeof name, "%s%s", path, suffix[i]);
		unlink(name);
	}
}

static void pass_over(void *arg, const struct log_result *r)
{
	if (r->status != LOG_DURABLE)
		*(int *)arg = 1;
}

/* `readings` in runs of `run`, `step` ticks apart; one second of silence between two runs
 * that are not full ones, as between two touches. */
static double make(const char *path, long readings, int run, int step)
{
	static struct trail_reading reading[TRAIL_READINGS_MAX];
	static char buffer[BATCH][32768];
	struct log_draft draft[BATCH];
	struct fault why = {.text = ""};
	struct log_options o = {.path = path, .bench = "north", .version = "0", .inline_mode = true,
		.now = START};
	drop(path);
	struct log *log = log_open(&o, &why);
	if (!log)
		die(path, &why);
	int64_t t = START, v = 48120;
	uint64_t seed = 1;
	double begun = seconds();
	for (long done = 0; done < readings;) {
		int n = 0;
		for (; n < BATCH && done < readings; n++, done += run) {
			struct trail_body body = {.job = "bench", .meter = "red", .function = FUNCTION_OHM,
				.position = "R12", .digit = {.n = 1, .e = -1}, .reading = reading, .n = run};
			for (int i = 0; i < run; i++) {
				seed = seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
				v += (int64_t)(seed >> 33) % 5 - 2;
				v = v < 40000 ? 40000 : v;
				reading[i] = (struct trail_reading){.at = (int64_t)i * step + (int64_t)(seed >> 60) % 8,
					.v = v, .has_value = true};
			}
			struct text text;
			text_begin(&text, buffer[n], sizeof buffer[n]);
			trail_body_write(&text, &body);
			draft[n] = (struct log_draft){.t = t, .kind = "trail", .body = text.bytes,
				.body_len = text.len};
			t += (int64_t)run * step * TRAIL_TICK_US + (run < 200 ? 1000000 : 0);
		}
		if (!log_append(log, draft, (size_t)n, NULL, &why))
			die("append", &why);
		int refused = 0;
		log_collect(log, pass_over, &refused);
		if (refused)
			die("refused", NULL);
	}
	begun = seconds() - begun;
	log_close(log);
	return begun;
}

static void size_row(const char *path, const char *what, int run, int step)
{
	const long readings = 1000000;
	double took = make(path, readings, run, step);
	printf("%-44s %6.1f bytes a reading  (%.2f us each to the sealed log)\n", what,
	       megabytes(path) * 1e6 / (double)readings, took / (double)readings * 1e6);
	drop(path);
}

static double envelope_ms(const char *path, int64_t from, int64_t to)
{
	static struct log_column column[COLUMNS];
	double took[ROUNDS + 1];
	struct fault why = {.text = ""};
	struct log_reader *r = log_reader_open(path, &why);
	if (!r)
		die(path, &why);
	struct log_envelope_query q = {.meter = "red", .function = "ohm", .from = from, .to = to,
		.columns = COLUMNS};
	for (int i = 0; i <= ROUNDS; i++) {
		double t = seconds();
		if (!log_reader_envelope(r, &q, column, &why))
			die("envelope", &why);
		took[i] = (seconds() - t) * 1e3;
	}
	log_reader_close(r);
	return median(took + 1); /* the first is cold */
}

static double sql_ms(const char *path, const char *statement)
{
	double took[ROUNDS + 1];
	sqlite3 *db = NULL;
	sqlite3_stmt *st = NULL;
	long rows = 0;
	if (sqlite3_open_v2(path, &db, SQLITE_OPEN_READONLY, NULL) != SQLITE_OK ||
	    sqlite3_prepare_v2(db, statement, -1, &st, NULL) != SQLITE_OK)
		die(sqlite3_errmsg(db), NULL);
	for (int i = 0; i <= ROUNDS; i++) {
		double t = seconds();
		while (sqlite3_step(st) == SQLITE_ROW)
			rows++;
		sqlite3_reset(st);
		took[i] = (seconds() - t) * 1e3;
	}
	sqlite3_finalize(st);
	sqlite3_close(db);
	if (!rows)
		die("no rows", NULL);
	return median(took + 1);
}

static void picture(const char *path, long readings, int run)
{
	make(path, readings, run, 1000);
	int64_t runs = readings / run;
	int64_t end = START + runs * ((int64_t)run * 100000 + (run < 200 ? 1000000 : 0));
	/* Odd lengths, so that no edge of a column falls between two runs. */
	int64_t third = START + (end - START) / 3 + 17013007;
	double all = envelope_ms(path, START - 17013007, end + 43001013);
	double tenth = envelope_ms(path, third, third + (end - START) / 10);
	double hour = envelope_ms(path, third, third + INT64_C(3600000000));
	double plain = sql_ms(path, "SELECT meter, min(low), max(high), sum(n) FROM run GROUP BY meter");
	printf("%4ld million in runs of %4d: %.1f ms all, %.1f ms a tenth, %.1f ms an hour (%d columns); "
	       "SQL over all runs %.1f ms\n", readings / 1000000, run, all, tenth, hour, COLUMNS, plain);
	char statement[400], from[32], to[32];
	time_t at = (time_t)((START + (end - START) / 2) / 1000000), before = at - 70, after = at + 10;
	struct tm tm;
	strftime(from, sizeof from, "%Y-%m-%dT%H:%M:%SZ", gmtime_r(&before, &tm));
	strftime(to, sizeof to, "%Y-%m-%dT%H:%M:%SZ", gmtime_r(&after, &tm));
	snprintf(statement, sizeof statement, "SELECT count(*), min(value) FROM reading WHERE meter = 'red' "
	         "AND t BETWEEN '%s' AND '%s' AND julianday(t) * 86400 + seconds BETWEEN "
	         "julianday('%s') * 86400 - 10 AND julianday('%s') * 86400", from, to, to, to);
	printf("  the view `reading`, one meter and 10 s of it: %.1f ms\n", sql_ms(path, statement));
	drop(path);
}

int main(int argc, char **argv)
{
	char path[300];
	long millions = argc > 2 ? atol(argv[2]) : 10;
	snprintf(path, sizeof path, "%s/bench_trail.db", argc > 1 ? argv[1] : "build");
	size_row(path, "unbroken, 10 a second, runs of 600", 600, 1000);
	size_row(path, "unbroken, 100 a second, runs of 1000", 1000, 100);
	size_row(path, "unbroken, 4 a second, runs of 240", 240, 2500);
	size_row(path, "hands-free, 4 a second, runs of 16", 16, 2500);
	picture(path, millions * 1000000, 1000);
	picture(path, millions * 1000000, 40);
	return 0;
}
