/* SPDX-License-Identifier: MIT */
/*
 * The hand-back report at size: 400 positions, each measured as found and as done, over a log with
 * ten million readings; time and peak memory, with and without the PDF.  Nothing is asserted.
 *
 *     build/tests/bench_report [FOLDER] [MILLIONS] [POSITIONS]     (default: memory, 10, 400)
 *
 * The entries are real ones: a recording of all touches is replayed, then the readings of weeks are
 * appended.  In memory (/dev/shm, where it is), for what a disk takes to sync is not asked here.  The plain side of the ratio is what the report cannot do without: the check of the seal.
 */
#include "daemon/log.h"
#include "protocol/record/record.h"

#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#define START 1795600800000000
#define BATCH 64

static char folder[PATH_MAX], programs[PATH_MAX];

static double seconds(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

static void die(const char *what, const char *why)
{
	fprintf(stderr, "bench_report: %s: %s\n", what, why);
	exit(1);
}

static FILE *create(const char *name)
{
	char path[PATH_MAX + 32];
	snprintf(path, sizeof path, "%s/%s", folder, name);
	FILE *f = fopen(path, "w");
	if (!f)
		die(path, "cannot be written");
	return f;
}

/* Both channels, each part measured as found and as done: 1 s open, 2.5 s of a value. */
static void recording(int positions)
{
	FILE *sheet = create("sheet.csv"), *rec = create("job.rec"), *conf = create("bench.conf");
	double t = 0;
	fputs("[bench]\nname = size\n[meter red]\nport = /dev/none\ndialect = ascii-unit\n"
	      "accuracy ohm = 0.5% + 2\n", conf);
	fputs("position,kind,nominal,tolerance,role,channel,twin\n", sheet);
	fputs("# tally recording 1\n0.000000 @reach lifted\n", rec);
	for (int i = 0; i < positions; i++)
		fprintf(sheet, "R%d,carbon-film,47k,5%%,anode load,%s,R%d\n", i + 1,
		        i < positions / 2 ? "left" : "right", (i + positions / 2) % positions + 1);
	for (int done = 0; done < 2; done++) {
		if (done)
			fprintf(rec, "%.6f @condition done\n", t);
		for (int i = 0; i < positions; i++) {
			fprintf(rec, "%.6f @at R%d\n", t, i + 1);
			for (int k = 0; k < 20; k++, t += 0.25) {
				if (k < 6 || k > 15)
					fprintf(rec, "%.6f red \"OL MOhm\\r\\n\"\n", t);
				else
					fprintf(rec, "%.6f red \"+%.2f kOhm\\r\\n\"\n", t,
					        done ? 47.1 : 44 + (i * 37 % 100) * 0.08);
			}
		}
	}
	fclose(sheet);
	fclose(rec);
	fclose(conf);
}

static void durable(void *arg, const struct log_result *r)
{
	(void)arg;
	if (r->status != LOG_DURABLE)
		die("append", "was refused");
}

static void append(const char *path, long readings)
{
	static struct trail_reading reading[TRAIL_READINGS_MAX];
	static char buffer[BATCH][32768];
	struct log_draft draft[BATCH];
	struct fault why = {.text = ""};
	struct log_options o = {.path = path, .bench = "size", .version = "0", .inline_mode = true,
		.now = START};
	struct log *log = log_open(&o, &why);
	int64_t t = START, v = 48120;
	uint64_t seed = 1;
	if (!log)
		die(path, why.text);
	for (long done = 0; done < readings;) {
		int n = 0;
		for (; n < BATCH && done < readings; n++, done += TRAIL_READINGS_MAX) {
			struct trail_body body = {.job = "job", .meter = "red", .function = FUNCTION_OHM,
				.position = "R12", .digit = {.n = 1, .e = -1}, .reading = reading,
				.n = TRAIL_READINGS_MAX};
			for (int i = 0; i < body.n; i++) {
				seed = seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
				v += (int64_t)(seed >> 33) % 5 - 2;
				reading[i] = (struct trail_reading){.at = (int64_t)i * 1000, .v = v, .has_value = true};
			}
			struct text text;
			text_begin(&text, buffer[n], sizeof buffer[n]);
			trail_body_write(&text, &body);
			draft[n] = (struct log_draft){.t = t, .kind = "trail", .body = text.bytes,
				.body_len = text.len};
			t += (int64_t)body.n * 1000 * TRAIL_TICK_US;
		}
		if (!log_append(log, draft, (size_t)n, NULL, &why))
			die("append", why.text);
		log_collect(log, durable, NULL);
	}
	log_close(log);
}

/* Seconds that a command took; *peak its and its children's greatest resident size, MB. */
static double run(const char *const *words, int status_wanted, double *peak)
{
	struct rusage used;
	int status;
	char path[PATH_MAX + 16];
	double begun = seconds();
	if (snprintf(path, sizeof path, "%s/%s", programs, words[0]) >= (int)sizeof path)
		die(words[0], "too long a path");
	pid_t pid = fork();
	if (pid == 0) {
		if (!freopen("/dev/null", "w", stdout) || !freopen("/dev/null", "w", stderr))
			_exit(120);
		execv(path, (char *const *)(uintptr_t)words);
		_exit(121);
	}
	if (pid < 0 || wait4(pid, &status, 0, &used) != pid || !WIFEXITED(status) ||
	    WEXITSTATUS(status) != status_wanted)
		die(words[0], "did not end as it should");
	*peak = (double)used.ru_maxrss / 1024;
	return seconds() - begun;
}

int main(int argc, char **argv)
{
	const char *base = argc > 1 ? argv[1] : access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "build";
	long millions = argc > 2 ? atol(argv[2]) : 10;
	int positions = argc > 3 ? atoi(argv[3]) : 400;
	char log[PATH_MAX + 16], out[PATH_MAX + 16], sheet[PATH_MAX + 16], rec[PATH_MAX + 16],
	    conf[PATH_MAX + 16], command[2 * PATH_MAX + 64];
	const char *built = getenv("TALLY_BUILD");
	double peak, seal, took;
	snprintf(programs, sizeof programs, "%s", built ? built : "build");
	snprintf(folder, sizeof folder, "%.3000s/bench-report", base);
	snprintf(command, sizeof command, "rm -rf '%s' && mkdir -p '%s'", folder, folder);
	if (system(command) != 0)
		die(folder, "cannot be made");
	snprintf(log, sizeof log, "%s/job.db", folder);
	snprintf(out, sizeof out, "%s/out", folder);
	snprintf(sheet, sizeof sheet, "%s/sheet.csv", folder);
	snprintf(rec, sizeof rec, "%s/job.rec", folder);
	snprintf(conf, sizeof conf, "%s/bench.conf", folder);
	recording(positions);
	took = run((const char *const[]){"tallyd", "--replay", rec, "--sheet", sheet, "--config", conf, "--log",
	           log, NULL}, 0, &peak);
	printf("%d positions, %d touches replayed: %.1f s, %.0f MB\n", positions, 2 * positions, took, peak);
	append(log, millions * 1000000);
	seal = run((const char *const[]){"tally", "--file", log, "verify", NULL}, 0, &peak);
	printf("the seal over %ld million readings: %.2f s, %.0f MB\n", millions, seal, peak);
	took = run((const char *const[]){"tally", "--file", log, "report", "--out", out, "--incomplete", "size",
	           NULL}, 0, &peak);
	printf("the report, HTML, PDF, CSV and JSON: %.2f s (%.1f times the seal), %.0f MB\n", took,
	       took / seal, peak);
	snprintf(command, sizeof command, "rm -rf '%s'", folder);
	return system(command) != 0;
}
