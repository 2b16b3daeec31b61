/* SPDX-License-Identifier: MIT */
/*
 * Fuzz entry point: what clients send.  Lines as the socket takes them, through the
 * reading of requests, the parameters, the questions to the log and the calls of
 * the bench, over a log in memory.
 *
 * Input: lines.  Each that is a request goes where the server would send it (hello
 * is not asked for first).
 *
 * What must hold: every request is answered exactly once, with a JSON text or with
 * a code of WIRE.md and a sentence; the line that goes back is one line of JSON with
 * the id as it was written; all records keep their rules and the chain verifies.
 */
#include "daemon/query.h"
#include "daemon/server_private.h"
#include "protocol/record/record.h"
#include "tests/fuzz.h"

/* The second half of main.c answers into this program, not to a socket. */
static void heard_answer(struct server_call *call, const char *result);
static void heard_refuse(struct server_call *call, int code, const struct fault *why);
#define server_answer heard_answer
#define server_refuse heard_refuse
#include "daemon/main_answer.c"
#include "daemon/main_calls.c"
#include "daemon/main_calls_guide.c"
#include "daemon/main_calls_job.c"
#include "daemon/main_calls_walk.c"

static const char config_text[] =
    "[bench]\nname = fuzz\n"
    "[meter red]\ndialect = ascii-unit\naccuracy ohm = 0.5% + 2\n"
    "[meter bench]\ndialect = scpi\nquery = MEAS:RES?\n";

static int answers;

static void line_must_hold(const char *id, struct answer *a)
{
	must(!a->failed && a->len && a->bytes[a->len - 1] == '\n');
	must(memchr(a->bytes, '\n', a->len) == a->bytes + a->len - 1);
	must(json_valid(a->bytes, a->len, NULL));
	struct slice back = json_member(a->bytes, a->len, "id");
	must(back.at && back.len == strlen(id) && !memcmp(back.at, id, back.len));
	answer_free(a);
}

static void result_must_hold(const char *id, const char *result)
{
	struct answer a;
	must(json_valid(result, strlen(result), NULL) && result[0] == '{');
	answer_begin(&a, OUT_MAX);
	answer_compose(&a, id, result, strlen(result));
	line_must_hold(id, &a);
	answers++;
}

static void refusal_must_hold(const char *id, int code, const struct fault *why)
{
	static const int codes[] = {
	    WIRE_NOT_JSON,    WIRE_NOT_REQUEST, WIRE_NO_METHOD, WIRE_BAD_PARAMS, WIRE_UNREADABLE,
	    WIRE_HELLO_FIRST, WIRE_VERSION,     WIRE_BAD_INPUT, WIRE_NOT_LOGGED, WIRE_REFUSED,
	};
	struct answer a;
	size_t i = 0;
	while (i < sizeof codes / sizeof *codes && codes[i] != code)
		i++;
	must(i < sizeof codes / sizeof *codes);
	must(why->text[0] && strlen(why->text) < sizeof why->text);
	/* A log in memory is always readable, and never full. */
	must(code != WIRE_NOT_LOGGED);
	answer_begin(&a, OUT_MAX);
	refusal_compose(&a, id, code, why);
	line_must_hold(id, &a);
	answers++;
}

static void heard_answer(struct server_call *call, const char *result)
{
	result_must_hold(call->id, result);
	free(call->id);
	free(call);
}

static void heard_refuse(struct server_call *call, int code, const struct fault *why)
{
	refusal_must_hold(call->id, code, why);
	free(call->id);
	free(call);
}

/* ---- the bench that is asked ---- */

struct world {
	struct log *log;
	struct log_reader *reader;
	struct bench *bench;
	struct calls calls;
	int64_t t, last;
};

static int64_t now(void *arg)
{
	return ((struct world *)arg)->t;
}

static void on_record(void *arg, int64_t seq, const char *text, size_t len)
{
	struct world *w = arg;
	struct fault why;
	must(seq > w->last && record_valid(seq, text, len, &why));
	w->last = seq;
}

static void world_open(struct world *w)
{
	static struct config config;
	static const uint8_t identity[16] = {1};
	struct fault why;
	memset(w, 0, sizeof *w);
	must(config.meters ||
	     config_parse("f", config_text, sizeof config_text - 1, true, &config, &why));
	struct log_options lo = {.path = ":memory:", .bench = "fuzz", .version = "0",
	                         .inline_mode = true, .identity = identity,
	                         .now = INT64_C(946684800000000)};
	w->log = log_open(&lo, &why);
	must(w->log);
	w->reader = log_reader_open(log_path(w->log), &why);
	w->last = 1;
	struct bench_options bo = {.config = &config, .log = w->log, .replay = true,
	                           .hooks = {.record = on_record, .arg = w},
	                           .utc = INT64_C(946684800000000), .boot = "fuzz", .version = "0"};
	w->bench = bench_open(&bo, &why);
	must(w->reader && w->bench);
	w->calls = (struct calls){.bench = w->bench, .now = now, .arg = w};
	/* Something to take, to undo and to strike. */
	for (int i = 0; i < 12; i++)
		bench_line_bytes(w->bench, w->t += 250000, 0, "100.1 kOhm\r\n", 12);
	bench_collect(w->bench);
}

static void world_close(struct world *w)
{
	struct fault why;
	struct log_check check;
	bench_finish(w->bench, w->t);
	bench_collect(w->bench);
	must(log_reader_verify(w->reader, NULL, &check, &why));
	must(check.verdict == LOG_INTACT_NO_ANCHOR && check.records == w->last);
	bench_free(w->bench);
	log_reader_close(w->reader);
	log_close(w->log);
}

/* ---- one line ---- */

static void ask(struct world *w, const struct request *r, const char *id)
{
	struct fault why;
	int code = 0;
	memset(&why, 0, sizeof why);
	if (!strcmp(r->method, "hello")) {
		int64_t last;
		char *text = NULL;
		if (hello_params(r->params, &code, &why)) {
			code = WIRE_UNREADABLE;
			text = hello_text(w->reader, "fuzz", "0", true, &last, &why);
			must(text && last == log_last_seq(w->log));
			result_must_hold(id, text);
		} else {
			refusal_must_hold(id, code, &why);
		}
		free(text);
	} else if (query_known(r->method)) {
		char *text = query_run(w->reader, r->method, r->params, &code, &why);
		if (text)
			result_must_hold(id, text);
		else
			refusal_must_hold(id, code, &why);
		free(text);
	} else {
		struct server_call *call = calloc(1, sizeof *call);
		must(call && (call->id = strdup(id)));
		if (!calls_call(&w->calls, call, r->method, r->params, 1000)) {
			fault_set(&why, "no method \"%s\" here", r->method);
			heard_refuse(call, WIRE_NO_METHOD, &why);
		}
		bench_collect(w->bench);
	}
}

static void line_run(struct world *w, bool *open, const char *line, size_t len)
{
	struct request r;
	struct fault why;
	int code = 0;
	memset(&why, 0, sizeof why);
	if (line_blank(line, len))
		return;
	bool good = request_read(line, len, &r, &code, &why);
	answers = 0;
	char *id = r.id.at ? strndup(r.id.at, r.id.len) : strdup("null");
	must(id);
	if (!good) {
		refusal_must_hold(id, code, &why);
	} else {
		if (!*open)
			world_open(w);
		*open = true;
		w->t += 100000;
		ask(w, &r, id);
	}
	must(answers == 1);
	free(id);
	json_decref(r.params);
}

int fuzz_damaged(void)
{
	return 12;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct world w;
	bool open = false;
	if (size > 8192)
		return 0;
	for (size_t at = 0, n; at < size; at += n + 1) {
		const uint8_t *end = memchr(data + at, '\n', size - at);
		n = end ? (size_t)(end - (data + at)) : size - at;
		line_run(&w, &open, (const char *)data + at, n);
	}
	if (open)
		world_close(&w);
	return 0;
}
