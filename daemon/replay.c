/* SPDX-License-Identifier: MIT */
/*
 * See replay.h.  The recording is read twice: once to find any fault in it, so
 * that a bad one is refused whole; once to run it.
 */
#include "daemon/replay.h"

#include "daemon/bench.h"
#include "daemon/faults.h"
#include "daemon/say.h"
#include "protocol/record/record.h"
#include "protocol/record/recording.h"
#include "protocol/record/seal.h"
#include "protocol/record/sheet_map.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* 2000-01-01T00:00:00Z */
#define REPLAY_UTC INT64_C(946684800000000)

struct replay {
	const struct replay_options *options;
	struct config *config;
	struct bench *bench;
	char *text;
	size_t len;
	char job[JOB_SIZE]; /* that the recording starts first; "" for none */
	bool not_logged;
	bool faults_said; /* of the sheet, every one: none is left to say */
};

/* The whole of a file; the caller frees. */
static char *slurp(const char *path, size_t *len, struct fault *why)
{
	FILE *f = fopen(path, "rb");
	char *text = NULL;
	size_t size = 0, n = 0;
	while (f && !ferror(f)) {
		if (n + 65536 + 1 > size) {
			size = size ? size * 2 : 1 << 17;
			char *grown = realloc(text, size);
			if (!grown)
				break;
			text = grown;
		}
		size_t got = fread(text + n, 1, 65536, f);
		n += got;
		if (!got)
			break;
	}
	if (!f || ferror(f) || !text) {
		fault_at(why, path, 0, 0, "cannot be read: check that it is there and readable");
		free(text);
		text = NULL;
	}
	if (f)
		fclose(f);
	if (text)
		text[n] = '\0';
	*len = n;
	return text;
}

/* ---- every line, to check it or to run it ---- */

typedef bool line_function(struct replay *r, const struct recording_line *line, struct fault *why);

static bool each_line(struct replay *r, line_function *call, struct fault *why)
{
	struct recording_reader reader;
	struct recording_line *line = malloc(sizeof *line);
	if (!line) {
		fault_set(why, "out of memory");
		return false;
	}
	recording_begin(&reader, r->options->recording);
	bool good = true;
	size_t at = 0;
	/* An empty file has no header: the reader says so of its first line. */
	do {
		const char *end = memchr(r->text + at, '\n', r->len - at);
		size_t n = end ? (size_t)(end - (r->text + at)) : r->len - at;
		good = recording_read(&reader, r->text + at, n, line, why);
		if (good && line->what != RECORDING_NOTHING && !call(r, line, why)) {
			if (!why->line) {
				int column = line->what == RECORDING_ACT
				                 ? line->rest_column + (why->column ? why->column - 1 : 0)
				                 : 1;
				struct fault inner = *why;
				fault_at(why, r->options->recording, reader.line, column > 0 ? column : 1, "%s",
				         inner.text);
			}
			good = false;
		}
		at += n + (end ? 1 : 0);
	} while (good && at < r->len);
	free(line);
	return good;
}

static bool check_line(struct replay *r, const struct recording_line *line, struct fault *why)
{
	if (line->what == RECORDING_ACT) {
		if (!r->job[0] && strcmp(line->act, "job") == 0)
			snprintf(r->job, sizeof r->job, "%.*s", (int)sizeof r->job - 1, line->rest);
		return bench_act_check(r->bench, line->act, line->rest, why);
	}
	if (bench_meter_index(r->bench, line->meter) >= 0)
		return true;
	fault_set(why, "the meter %s is not in the configuration", line->meter);
	return false;
}

static bool run_line(struct replay *r, const struct recording_line *line, struct fault *why)
{
	if (line->what == RECORDING_BYTES) {
		bench_line_bytes(r->bench, line->t, bench_meter_index(r->bench, line->meter), line->bytes,
		                 line->len);
	} else if (!bench_act(r->bench, line->t, line->act, line->rest, why)) {
		/* What the bench refuses (nothing to take, say) is part of what happened. */
		fprintf(stderr, "tallyd: %.6f @%s: %s\n", (double)line->t / 1e6, line->act, why->text);
	}
	bench_collect(r->bench);
	return true;
}

static bool add_meter(struct config *c, const char *name, struct fault *why)
{
	if (config_meter(c, name))
		return true;
	if (c->meters == CONFIG_METERS_MAX) {
		fault_set(why, "more than %d meters", CONFIG_METERS_MAX);
		return false;
	}
	struct config_meter *m = &c->meter[c->meters++];
	memset(m, 0, sizeof *m);
	snprintf(m->name, sizeof m->name, "%s", name);
	m->dialect = dialect_find("ascii-unit", strlen("ascii-unit"));
	m->serial = m->dialect->line;
	m->conversion = 1;
	return true;
}

/* With no configuration the recording itself says which meters there are. */
static bool find_meter(struct replay *r, const struct recording_line *line, struct fault *why)
{
	if (line->what == RECORDING_BYTES)
		return add_meter(r->config, line->meter, why);
	return true;
}

/* ---- running ---- */

static void print_record(void *arg, int64_t seq, const char *text, size_t len)
{
	(void)arg;
	(void)seq;
	fwrite(text, 1, len, stdout);
	putchar('\n');
}

static bool print_one(void *arg, int64_t seq, const char *text, size_t len)
{
	print_record(arg, seq, text, len);
	return true;
}

static bool keep_seq(void *arg, int64_t seq, const char *text, size_t len)
{
	int64_t *last = arg;
	(void)text;
	(void)len;
	*last = seq;
	return false;
}

static void print_event(void *arg, const char *json)
{
	struct replay *r = arg;
	if (strstr(json, "{\"event\":\"not-logged\"") == json) {
		r->not_logged = true;
		fprintf(stderr, "tallyd: NOT LOGGED %s\n", json);
	}
}

/* Records that the log made by itself as it was opened: record 1 of a new one,
 * and what a kill had left open. */
static int64_t last_record(const char *path)
{
	struct fault ignored;
	struct log_query newest = {.limit = 1, .newest_first = true};
	int64_t last = 0;
	struct log_reader *reader = log_reader_open(path, &ignored);
	if (reader)
		log_reader_records(reader, &newest, keep_seq, &last, &ignored);
	log_reader_close(reader);
	return last;
}

static bool print_opening(const char *path, int64_t before, struct fault *why)
{
	struct log_query query = {.after = before};
	struct log_reader *reader = log_reader_open(path, why);
	bool good = reader && log_reader_records(reader, &query, print_one, NULL, why) >= 0;
	log_reader_close(reader);
	return good;
}

/* The sheet belongs to the job that the recording starts, if it starts one. */
static bool load_sheet(struct replay *r, struct fault *why)
{
	size_t len;
	if (!r->options->sheet)
		return true;
	char *text = slurp(r->options->sheet, &len, why);
	bool good = text && bench_sheet_load(r->bench, 0, r->options->sheet, text, len,
	                                     r->job[0] ? r->job : NULL, (struct bench_wait){0}, why);
	struct faults faults = {0};
	if (text && !good && why->line)
		sheet_faults(r->options->sheet, text, len, NULL, faults_keep, &faults);
	r->faults_said = faults_say(&faults) > 0;
	free(text);
	return good;
}

/* A scratch bench over nothing, so that the checking pass leaves no record. */
static bool check(struct replay *r, struct fault *why)
{
	struct log_options lo = {.path = ":memory:", .bench = r->config->name,
	                         .version = r->options->version, .inline_mode = true,
	                         .now = REPLAY_UTC};
	struct log *log = log_open(&lo, why);
	if (!log)
		return false;
	struct bench_options bo = {.config = r->config, .log = log, .replay = true,
	                           .utc = REPLAY_UTC, .boot = "replay",
	                           .version = r->options->version};
	r->bench = bench_open(&bo, why);
	bool good = r->bench && load_sheet(r, why) && each_line(r, check_line, why);
	bench_free(r->bench);
	r->bench = NULL;
	log_close(log);
	return good;
}

static bool run(struct replay *r, struct fault *why)
{
	uint8_t digest[SEAL_SIZE];
	seal_sha256(r->text, r->len, digest);
	struct log_options lo = {.path = r->options->log, .bench = r->config->name,
	                         .version = r->options->version, .inline_mode = true,
	                         .identity = digest, .now = REPLAY_UTC};
	int64_t before = strcmp(lo.path, ":memory:") == 0 ? 0 : last_record(lo.path);
	struct log *log = log_open(&lo, why);
	if (!log)
		return false;
	if (!print_opening(log_path(log), before, why)) {
		log_close(log);
		return false;
	}
	struct bench_options bo = {.config = r->config, .log = log, .replay = true,
	                           .hooks = {.record = print_record, .event = print_event, .arg = r},
	                           .utc = REPLAY_UTC, .boot = "replay",
	                           .version = r->options->version};
	r->bench = bench_open(&bo, why);
	bool good = r->bench && load_sheet(r, why) && each_line(r, run_line, why);
	if (r->bench) {
		bench_finish(r->bench, 0);
		bench_collect(r->bench);
	}
	bench_free(r->bench);
	log_close(log);
	return good;
}

int replay_run(const struct replay_options *options, struct config *config)
{
	struct replay r = {.options = options, .config = config};
	struct fault why;
	r.text = slurp(options->recording, &r.len, &why);
	bool good = r.text && (!options->any_meter || each_line(&r, find_meter, &why)) &&
	            check(&r, &why) && run(&r, &why);
	free(r.text);
	if (!good && !r.faults_said)
		say_fault(&why);
	if (fflush(stdout) != 0) {
		fprintf(stderr, "tallyd: standard output cannot be written\n");
		return 2;
	}
	return !good ? 2 : r.not_logged ? 4 : 0;
}
