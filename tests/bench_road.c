/* SPDX-License-Identifier: MIT */
/*
 * What the road costs, as ratios in one run: ours against a plain loop over the
 * same library, on the same bytes and the same disk.  Nothing is asserted; a
 * ratio is printed with both of its sides, as medians of ROUNDS turns that
 * alternate, so that a machine whose speed drifts does not favour one of them.
 *
 *     build/tests/bench_road [FOLDER [PART]]      the folder for the logs (default: build);
 *                                one of the parts alone, as for a profile: see `parts`
 */
#include "daemon/bench.h"
#include "daemon/log.h"
#include "protocol/meter/dialect.h"
#include "protocol/meter/dialect_file.h"
#include "protocol/record/record.h"
#include "protocol/record/seal.h"
#include "tests/bench_goal.h"

#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#define ROUNDS 5

static double cpu_seconds(void)
{
	struct timespec t;
	clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
	return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

static double wall_seconds(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
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

/* `goal` of the ratio; 0: there is none. */
static void row(const char *what, const char *unit, double *ours, double *plain, const char *than,
                double goal)
{
	double a = quantile(ours, ROUNDS, 0.5), b = quantile(plain, ROUNDS, 0.5);
	printf("%-30s %10.3f %-12s %10.3f %-34s %6.2f", what, a, unit, b, than, a / b);
	if (goal > 0)
		printf("  goal %g: %s", goal, goal_word(a / b <= goal));
	printf("\n");
}

static void die(const char *what)
{
	fprintf(stderr, "bench_road: %s\n", what);
	exit(1);
}

/* ---- frame to reading ---- */

#define FRAMES 200000

static volatile double sink;

static void count_frame(void *arg, const struct frame *f)
{
	struct {
		const struct dialect *d;
		struct dialect_setting setting;
		struct dialect_memory memory;
		long readings;
	} *at = arg;
	struct understood u;
	at->d->understand(&at->setting, &at->memory, f, &u);
	at->readings += u.count;
}

static double frames_ours(const struct dialect *dialect, const char *line, size_t len)
{
	struct {
		const struct dialect *d;
		struct dialect_setting setting;
		struct dialect_memory memory;
		long readings;
	} at = {.d = dialect, .setting = {.function = FUNCTION_OHM, .rules = dialect->rules}};
	struct frame_splitter s;
	frame_begin(&s, FRAME_LINE, 0, FRAME_LINE_GAP_US, -1000000);
	double t = cpu_seconds();
	for (int i = 0; i < FRAMES; i++)
		frame_feed(&s, i * 1000, line, len, count_frame, &at);
	t = cpu_seconds() - t;
	if (at.readings != FRAMES)
		die("a frame was not understood");
	return t / FRAMES * 1e9;
}

/* The plain way: find the line end, strtod, and look at what follows. */
static double frames_plain(const char *line, size_t len)
{
	char buffer[256];
	size_t n = 0;
	double sum = 0;
	double t = cpu_seconds();
	for (int i = 0; i < FRAMES; i++)
		for (size_t k = 0; k < len; k++) {
			buffer[n++] = line[k];
			if (line[k] != '\n')
				continue;
			char *end;
			buffer[n] = '\0';
			sum += strtod(buffer, &end);
			sum += strstr(end, "kOhm") ? 1000 : 1;
			n = 0;
		}
	sink = sum;
	return (cpu_seconds() - t) / FRAMES * 1e9;
}

static void bench_frames_of(const struct dialect *dialect, const char *line, double goal)
{
	double ours[ROUNDS], plain[ROUNDS];
	size_t len = strlen(line);
	for (int i = 0; i < ROUNDS; i++) {
		ours[i] = frames_ours(dialect, line, len);
		plain[i] = frames_plain(line, len);
	}
	char what[64];
	snprintf(what, sizeof what, "frame to reading, %s", dialect->name);
	row(what, "ns CPU each", ours, plain, "line end and strtod", goal);
}

static void bench_frames(const char *dialect, const char *line)
{
	bench_frames_of(dialect_find(dialect, strlen(dialect)), line, 2);
}

/* ---- bytes to sealed records ---- */

#define INGEST 200000

static char folder[512];

static const char *path_of(const char *name)
{
	static char path[4][600];
	static int turn;
	char *out = path[turn++ % 4];
	snprintf(out, sizeof path[0], "%s/%s", folder, name);
	return out;
}

static void remove_log(const char *path)
{
	static const char *const ends[] = {"", "-wal", "-shm", ".lock", ".key", ".reserve"};
	for (size_t i = 0; i < sizeof ends / sizeof *ends; i++) {
		char name[700];
		snprintf(name, sizeof name, "%s%s", path, ends[i]);
		unlink(name);
	}
}

static struct config *bench_config(void)
{
	static struct config config;
	static const char text[] = "[bench]\nname = bench\n[meter red]\ndialect = ascii-unit\n"
	                           "accuracy ohm = 0.5% + 2\n";
	struct fault why;
	if (!config_parse("bench", text, sizeof text - 1, true, &config, &why))
		die(why.text);
	return &config;
}

static struct log *new_log(const char *path, struct fault *why)
{
	remove_log(path);
	struct log_options o = {.path = path, .bench = "bench", .version = "0", .now = 1};
	struct log *log = log_open(&o, why);
	if (!log)
		die(why->text);
	return log;
}

/* 1000 readings a second: of open leads (the trail alone), or of touches of four
 * seconds with a second between them, which settle and are logged. */
enum ingest { OPEN_LEADS, TOUCHES };

static const char *ingest_line(enum ingest what, int i)
{
	static const char *const values[] = {"100.1 kOhm\r\n", "100.1 kOhm\r\n", "100.2 kOhm\r\n"};
	bool open = what == OPEN_LEADS || i % 5000 < 1000;
	return open ? "OL MOhm\r\n" : values[i * 7 % 3];
}

static void count_entry(void *arg, int64_t seq, const char *text, size_t len)
{
	(void)seq;
	*(int *)arg += memmem(text, len < 80 ? len : 80, "\"kind\":\"entry\"", 14) != NULL;
}

static double ingest_ours(enum ingest what)
{
	struct fault why;
	const char *path = path_of("bench-ours.db");
	struct log *log = new_log(path, &why);
	int entries = 0;
	struct bench_options o = {.config = bench_config(), .log = log, .replay = true, .utc = 1,
	                          .hooks = {.record = count_entry, .arg = &entries},
	                          .boot = "bench", .version = "0"};
	struct bench *b = bench_open(&o, &why);
	if (!b)
		die(why.text);
	if (what == TOUCHES && (!bench_job_start(b, 0, "x", (struct bench_wait){0}, &why) ||
	                        !bench_at(b, 0, "R1", -1, NULL, &why)))
		die(why.text);
	double t = cpu_seconds();
	for (int i = 0; i < INGEST; i++) {
		const char *line = ingest_line(what, i);
		if (what == TOUCHES && i % 5000 == 999 && !bench_again(b, i * 1000, false, &why))
			die(why.text);
		bench_line_bytes(b, i * 1000, 0, line, strlen(line));
		if (i % 1000 == 0)
			bench_collect(b);
	}
	bench_finish(b, INGEST * 1000);
	log_flush(log);
	bench_collect(b);
	t = cpu_seconds() - t;
	if (entries != (what == TOUCHES ? INGEST / 5000 : 0))
		die("not one entry a touch");
	bench_free(b);
	log_close(log);
	remove_log(path);
	return t / INGEST * 1e6;
}

static void run_sql(sqlite3 *db, const char *sql)
{
	if (sqlite3_exec(db, sql, NULL, NULL, NULL) != SQLITE_OK)
		die(sqlite3_errmsg(db));
}

static sqlite3 *plain_db(const char *path)
{
	sqlite3 *db;
	remove_log(path);
	if (sqlite3_open(path, &db) != SQLITE_OK)
		die("cannot open");
	run_sql(db, "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;"
	            "CREATE TABLE reading (t INTEGER, meter TEXT, value REAL, unit TEXT, frame TEXT)");
	return db;
}

static double ingest_plain(enum ingest what)
{
	const char *path = path_of("bench-plain.db");
	sqlite3 *db = plain_db(path);
	sqlite3_stmt *s;
	sqlite3_prepare_v2(db, "INSERT INTO reading VALUES (?,?,?,?,?)", -1, &s, NULL);
	double t = cpu_seconds();
	run_sql(db, "BEGIN");
	for (int i = 0; i < INGEST; i++) {
		sqlite3_bind_int64(s, 1, i * 1000);
		sqlite3_bind_text(s, 2, "red", -1, SQLITE_STATIC);
		const char *line = ingest_line(what, i);
		if (line[0] == 'O')
			sqlite3_bind_null(s, 3);
		else
			sqlite3_bind_double(s, 3, strtod(line, NULL));
		sqlite3_bind_text(s, 4, "ohm", -1, SQLITE_STATIC);
		sqlite3_bind_text(s, 5, line, (int)strlen(line) - 2, SQLITE_STATIC);
		sqlite3_step(s);
		sqlite3_reset(s);
		if (i % 1000 == 999)
			run_sql(db, "COMMIT; BEGIN");
	}
	run_sql(db, "COMMIT");
	t = cpu_seconds() - t;
	sqlite3_finalize(s);
	sqlite3_close(db);
	remove_log(path);
	return t / INGEST * 1e6;
}

static void bench_ingest(enum ingest what, const char *name)
{
	double ours[ROUNDS], plain[ROUNDS];
	for (int i = 0; i < ROUNDS; i++) {
		ours[i] = ingest_ours(what);
		plain[i] = ingest_plain(what);
	}
	row(name, "us CPU each", ours, plain, "prepared insert, a row a reading",
	    what == OPEN_LEADS ? 0.5 : 0);
}

/* ---- a durable entry ---- */

#define ENTRIES 300

static bool came;

static void collected(void *arg, const struct log_result *r)
{
	(void)arg;
	came = r->status == LOG_DURABLE;
}

static void bench_entries(void)
{
	struct fault why;
	char body[2048];
	double ours[ENTRIES], plain[ENTRIES];
	const char *path = path_of("bench-entry.db"), *other = path_of("bench-commit.db");
	struct log *log = new_log(path, &why);
	sqlite3 *db = plain_db(other);
	sqlite3_stmt *s;
	sqlite3_prepare_v2(db, "INSERT INTO reading VALUES (?,?,?,?,?)", -1, &s, NULL);
	int n = snprintf(body, sizeof body, ",\"job\":\"x\",\"position\":\"R12\",\"value\":481.2,"
	                 "\"frames\":[\"%0600d\"]", 0);
	struct log_draft draft[2] = {{1, "trail", body, (size_t)n}, {1, "entry", body, (size_t)n}};
	for (int i = 0; i < ENTRIES; i++) {
		double t = wall_seconds();
		came = false;
		if (!log_append(log, draft, 2, NULL, &why))
			die(why.text);
		log_flush(log);
		log_collect(log, collected, NULL);
		if (!came)
			die("an entry was not logged");
		ours[i] = (wall_seconds() - t) * 1e3;
		t = wall_seconds();
		sqlite3_bind_text(s, 5, body, n, SQLITE_STATIC);
		sqlite3_step(s);
		sqlite3_reset(s);
		plain[i] = (wall_seconds() - t) * 1e3;
	}
	sqlite3_finalize(s);
	sqlite3_close(db);
	log_close(log);
	remove_log(path);
	remove_log(other);
	static const struct { const char *what; double q; } rows[] = {
	    {"durable entry with its run, p50", 0.5}, {"the same, p99", 0.99}};
	for (size_t i = 0; i < 2; i++) {
		double a = quantile(ours, ENTRIES, rows[i].q), b = quantile(plain, ENTRIES, rows[i].q);
		printf("%-30s %10.3f %-12s %10.3f %-34s %6.2f\n", rows[i].what, a, "ms", b,
		       "one durable row, committed", a / b);
	}
}

/* ---- verify ---- */

#define VERIFY 1000 /* runs */

/* A full run, as the trail writes it. */
static size_t full_run(char *out, size_t size)
{
	static struct trail_reading reading[1000];
	struct trail_body body = {.job = "x", .meter = "red", .function = FUNCTION_OHM,
	                          .position = "R12", .digit = {1, -1}, .reading = reading, .n = 1000};
	struct text text;
	for (int i = 0; i < 1000; i++)
		reading[i] = (struct trail_reading){.at = i * 1000, .v = 4700 + i % 10, .has_value = true};
	text_begin(&text, out, size);
	trail_body_write(&text, &body);
	return text.len;
}

static void bench_verify(void)
{
	struct fault why;
	static char body[RECORD_BODY_MAX];
	const char *path = path_of("bench-verify.db");
	struct log *log = new_log(path, &why);
	double ours[ROUNDS], plain[ROUNDS];
	size_t n = full_run(body, sizeof body), bytes = 0;
	struct log_draft draft = {1, "trail", body, n};
	for (int i = 0; i < VERIFY; i++) {
		if (!log_append(log, &draft, 1, NULL, &why))
			die(why.text);
		bytes += n + 64;
		if (i % 200 == 199)
			log_flush(log), log_collect(log, collected, NULL);
	}
	log_flush(log);
	log_collect(log, collected, NULL);
	log_close(log); /* as most of a log is: in the file, not in LOG-wal */
	struct log_reader *reader = log_reader_open(path, &why);
	struct log_check check;
	char *text = malloc(bytes);
	uint8_t hash[SEAL_SIZE];
	if (!reader || !text)
		die("cannot read");
	memset(text, '4', bytes); /* pages of its own */
	for (int i = 0; i < ROUNDS; i++) {
		double t = cpu_seconds();
		if (!log_reader_verify(reader, NULL, &check, &why) ||
		    check.verdict != LOG_INTACT_NO_ANCHOR)
			die("the log does not verify");
		ours[i] = (cpu_seconds() - t) / (double)bytes * 1e9;
		t = cpu_seconds();
		seal_sha256(text, bytes, hash);
		plain[i] = (cpu_seconds() - t) / (double)bytes * 1e9;
	}
	free(text);
	log_reader_close(reader);
	remove_log(path);
	row("verify a log of full runs", "ns CPU/byte", ours, plain, "SHA-256 of the same library",
	    3);
}

static void frames_unit(void)
{
	bench_frames("ascii-unit", "+0.4812 kOhm\r\n");
}

static void frames_scpi(void)
{
	bench_frames("scpi", "+4.81212345E+02\r\n");
}

/* As a user writes one, after the manual page tally-dialect(5). */
static void frames_pattern(void)
{
	static const char text[] =
	    "[dialect]\nname = pattern\nreads = pattern\n[pattern]\n"
	    "match = (?<value>[-+]?\\d+\\.\\d+|OL) +(?<prefix>[kM]?)(?<unit>Ohm|V|A)"
	    "(?: (?<coupling>DC|AC))?\n"
	    "overload = OL\n[samples]\nframe 1 = +0.4812 kOhm\nmeans 1 = ohm 481.2\n";
	struct dialect_file file;
	struct fault why;
	if (!dialect_file_load(&file, "a pattern", text, sizeof text - 1, &why))
		die(why.text);
	bench_frames_of(&file.row, "+0.4812 kOhm\r\n", 8);
	dialect_file_free(&file);
}

static void ingest_open(void)
{
	bench_ingest(OPEN_LEADS, "bytes to sealed trail");
}

static void ingest_touches(void)
{
	bench_ingest(TOUCHES, "the same with 40 entries");
}

static const struct part {
	const char *name;
	void (*run)(void);
} parts[] = {
    {"unit", frames_unit}, {"scpi", frames_scpi}, {"pattern", frames_pattern},
    {"open", ingest_open}, {"touches", ingest_touches}, {"entries", bench_entries},
    {"verify", bench_verify},
};

int main(int argc, char **argv)
{
	snprintf(folder, sizeof folder, "%s", argc > 1 ? argv[1] : "build");
	printf("%-30s %10s %-12s %10s %-34s %6s\n", "what", "ours", "", "plain", "against", "ratio");
	for (size_t i = 0; i < sizeof parts / sizeof *parts; i++)
		if (argc < 3 || strcmp(argv[2], parts[i].name) == 0)
			parts[i].run();
	return 0;
}
