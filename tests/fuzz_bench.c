/* SPDX-License-Identifier: MIT */
/*
 * Fuzz entry point: a recording through the whole bench, as a replay runs it, over
 * a log in memory.
 *
 * Input: the text of a recording, with or without its header.  A line that is none
 * is passed over (a replay would refuse the file), so that one damaged byte does
 * not hide what stands behind it.  The meters are red and blue (ascii-unit) and
 * bench (scpi); the sheet is that of the test recordings, in short.
 *
 * What must hold: every record keeps the rules of its text and is understood by
 * the reader of its kind, in the order of seq; nothing is refused by the log; the
 * chain verifies; the same bytes one by one give the same records.
 */
#include "daemon/bench.h"
#include "daemon/log.h"
#include "protocol/record/fit.h"
#include "protocol/record/record.h"
#include "protocol/record/recording.h"
#include "tests/fuzz.h"

static const char config_text[] =
    "[bench]\nname = fuzz\n"
    "[meter red]\ndialect = ascii-unit\naccuracy ohm = 0.5% + 2\naccuracy farad = 1.0% + 3\n"
    "[meter blue]\ndialect = ascii-unit\n"
    "[meter bench]\ndialect = scpi\nsetup = CONF:RES\nquery = READ?\n";

static const char sheet_text[] =
    "position,kind,nominal,tolerance,role,twin\n"
    "R1,carbon-composition,100k,10%,anode load,R2\n"
    "R2,carbon-composition,100k,10%,anode load,R1\n"
    "R3,metal-film,47k,1%,grid leak,\n"
    "C1,paper,0.1 uF,10%,coupling,\n"
    "HT1,rail,285 V,5%,,\n"
    "BIAS,rail,-35 V,+-2 V,,\n"
    "REF1,reference,100 ohm,0.1%,,\n";

struct heard {
	int64_t last;
	long records, entries;
	uint64_t sum; /* of all texts */
	bool again;   /* the second run: only the sum counts */
};

static void entry_check(const char *text, size_t len)
{
	static struct entry e;
	must(entry_read(text, len, &e));
	must(name_valid(e.position, strlen(e.position)) && name_valid(e.meter, strlen(e.meter)));
	must(e.has_value != ((e.state & READING_OVERLOAD) != 0));
	must(e.n >= 1 || !e.settled || !e.has_value);
	must(!(e.u < 0));
	must(e.function > FUNCTION_NONE && e.function < FUNCTION_COUNT);
}

static void on_record(void *arg, int64_t seq, const char *text, size_t len)
{
	static struct sheet_row row;
	static struct trail_reading reading[TRAIL_READINGS_MAX];
	struct heard *h = arg;
	struct record_head head;
	struct trail_body trail;
	struct trail_names names;
	struct position_body position;
	struct job_body job;
	struct backing_body backing;
	struct move_body move;
	struct rename_body rename;
	struct fit_body fit;
	struct fault why;
	must(seq > h->last);
	h->last = seq;
	h->records++;
	for (size_t i = 0; i < len; i++)
		h->sum = (h->sum ^ (uint8_t)text[i]) * UINT64_C(1099511628211);
	if (h->again)
		return;
	must(record_valid(seq, text, len, &why));
	must(record_head_read(text, len, &head) && head.seq == seq);
	if (!strcmp(head.kind, "entry")) {
		h->entries++;
		entry_check(text, len);
	} else if (!strcmp(head.kind, "trail")) {
		must(trail_body_read(text, len, &trail, &names, reading, TRAIL_READINGS_MAX));
		must(reading[0].at == 0);
		for (int i = 1; i < trail.n; i++)
			must(reading[i].at >= reading[i - 1].at);
	} else if (!strcmp(head.kind, "position")) {
		must(position_body_read(text, len, &position, &row, &why));
	} else if (!strcmp(head.kind, "job")) {
		must(job_body_read(text, len, &job) && job.job[0]);
	} else if (!strcmp(head.kind, "offset") || !strcmp(head.kind, "check")) {
		must(backing_body_read(text, len, head.kind, &backing));
		must(backing.seq == seq && !(backing.u < 0) && backing.function > FUNCTION_NONE);
	} else if (!strcmp(head.kind, "move")) {
		must(move_body_read(text, len, &move) && strcmp(move.from, move.position) != 0);
	} else if (!strcmp(head.kind, "rename")) {
		must(rename_body_read(text, len, &rename) && strcmp(rename.from, rename.position) != 0);
	} else if (!strcmp(head.kind, "fit")) {
		must(fit_body_read(text, len, &fit, &row) && fit.none == fit_empty(&row));
	}
}

static void on_event(void *arg, const char *json)
{
	(void)arg;
	must(json_valid(json, strlen(json), NULL));
	must(!strstr(json, "\"event\":\"not-logged\""));
}

static void look(struct bench *b, int64_t t)
{
	static char buffer[256 << 10];
	static void (*const calls[])(const struct bench *b, int64_t t, struct text *out) = {
	    bench_meters, bench_live,
	};
	struct text out;
	for (size_t i = 0; i < 3; i++) {
		text_begin(&out, buffer, sizeof buffer);
		if (i < 2)
			calls[i](b, t, &out);
		else
			bench_status(b, &out);
		must(!out.failed && json_valid(out.bytes, out.len, NULL));
	}
}

static void line_run(struct bench *b, const struct recording_line *line, bool single)
{
	struct fault why;
	memset(&why, 0, sizeof why);
	if (line->what == RECORDING_BYTES) {
		int meter = bench_meter_index(b, line->meter);
		if (meter < 0)
			return;
		if (!single)
			bench_line_bytes(b, line->t, meter, line->bytes, line->len);
		for (size_t i = 0; single && i < line->len; i++)
			bench_line_bytes(b, line->t, meter, line->bytes + i, 1);
	} else if (line->what == RECORDING_ACT) {
		if (!bench_act_check(b, line->act, line->rest, &why)) {
			must(why.text[0]);
			return;
		}
		if (!bench_act(b, line->t, line->act, line->rest, &why))
			must(why.text[0]);
	}
	bench_collect(b);
}

static struct log *memory_log(void)
{
	static const uint8_t identity[16] = {1};
	struct log_options o = {.path = ":memory:", .bench = "fuzz", .version = "0",
	                        .inline_mode = true, .identity = identity,
	                        .now = INT64_C(946684800000000)};
	struct fault why;
	struct log *log = log_open(&o, &why);
	must(log);
	return log;
}

static void verify(struct log *log, const struct heard *h)
{
	struct fault why;
	struct log_check check;
	struct log_reader *reader = log_reader_open(log_path(log), &why);
	must(reader && log_reader_verify(reader, NULL, &check, &why));
	must(check.verdict == LOG_INTACT_NO_ANCHOR);
	must(check.records == log_last_seq(log) && check.records == h->last);
	log_reader_close(reader);
}

static void run(const struct config *config, const char *text, size_t len, bool single,
                struct heard *h)
{
	static struct recording_line line;
	struct recording_reader reader;
	struct fault why;
	int64_t before = 0;
	memset(h, 0, sizeof *h);
	h->last = 1; /* record 1 is the log's own */
	h->again = single;
	struct log *log = memory_log();
	struct bench_options o = {.config = config, .log = log, .replay = true,
	                          .hooks = {.record = on_record, .event = on_event, .arg = h},
	                          .utc = INT64_C(946684800000000), .boot = "fuzz", .version = "0"};
	struct bench *b = bench_open(&o, &why);
	must(b && bench_sheet_load(b, 0, "sheet", sheet_text, sizeof sheet_text - 1, "unit",
	                           (struct bench_wait){0}, &why));
	recording_begin(&reader, "f");
	must(recording_read(&reader, RECORDING_HEADER, strlen(RECORDING_HEADER), &line, &why));
	for (size_t at = 0, n; at < len; at += n + 1) {
		const char *end = memchr(text + at, '\n', len - at);
		n = end ? (size_t)(end - (text + at)) : len - at;
		memset(&why, 0, sizeof why);
		if (!recording_read(&reader, text + at, n, &line, &why)) {
			must(why.text[0] && why.line >= 1 && why.column >= 1 && (size_t)why.column <= n + 1);
			continue;
		}
		if (line.what == RECORDING_NOTHING)
			continue;
		must(line.t >= before);
		before = line.t;
		line_run(b, &line, single);
	}
	if (!single)
		look(b, before);
	bench_finish(b, 0);
	bench_collect(b);
	bench_free(b);
	if (!single)
		verify(log, h);
	log_close(log);
}

int fuzz_damaged(void)
{
	return 4;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	static struct config config;
	static bool ready;
	struct heard whole, single;
	struct fault why;
	if (!ready)
		must(config_parse("f", config_text, sizeof config_text - 1, true, &config, &why));
	ready = true;
	if (size > 8192)
		return 0;
	run(&config, (const char *)data, size, false, &whole);
	run(&config, (const char *)data, size, true, &single);
	must(whole.sum == single.sum && whole.records == single.records);
	return 0;
}
