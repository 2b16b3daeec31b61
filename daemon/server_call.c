/* SPDX-License-Identifier: MIT */
/*
 * JSON-RPC 2.0, one message a line: a line becomes a call, a call gets its
 * answer.  protocol/WIRE.md is the contract.
 *
 * The line is checked and cut by protocol/record/text, and only `params` goes
 * through a JSON library: so an id of any kind comes back exactly as it was
 * written, and a number that no library can hold spoils its own call and not the
 * connection.
 */
#include "daemon/query.h"
#include "daemon/query_params.h"
#include "daemon/server_private.h"

#include <stdlib.h>
#include <string.h>

/* ---- requests ---- */

void fault_too_long(struct fault *why)
{
	fault_set(why, "the line is longer than %u bytes; nothing of it was done", WIRE_LINE_MAX);
}

static bool refuse_request(int *code, struct fault *why, int which, const char *what)
{
	*code = which;
	fault_set(why, "%s", what);
	return false;
}

static bool params_parse(struct slice s, const char *method, json_t **out, struct fault *why)
{
	*out = NULL;
	if (!s.at) {
		*out = json_object();
		return *out != NULL;
	}
	if (s.at[0] != '{') {
		fault_set(why, "%s: params must be an object with named parameters", method);
		return false;
	}
	json_error_t error;
	*out = json_loadb(s.at, s.len, JSON_REJECT_DUPLICATES, &error);
	if (!*out)
		fault_set(why, "%s: params cannot be read: %s (byte %d of params)", method, error.text,
		          error.position);
	return *out != NULL;
}

static bool id_fits(struct slice id)
{
	return !id.at || id.len <= WIRE_ID_MAX;
}

bool request_read(const char *line, size_t len, struct request *out, int *code,
                  struct fault *why)
{
	memset(out, 0, sizeof *out);
	size_t where = 0;
	if (!json_valid(line, len, &where)) {
		*code = WIRE_NOT_JSON;
		fault_set(why, "not JSON at byte %zu of the line; one JSON-RPC 2.0 message a line is expected",
		          where + 1);
		return false;
	}
	while (len && strchr(" \t\r", line[0])) {
		line++;
		len--;
	}
	if (line[0] != '{')
		return refuse_request(code, why, WIRE_NOT_REQUEST,
		                      line[0] == '[' ? "batches are not used here; send one message a line"
		                                     : "a JSON-RPC 2.0 request is an object");
	out->id = json_member(line, len, "id");
	if (!id_fits(out->id)) {
		out->id = (struct slice){ 0 };
		return refuse_request(code, why, WIRE_NOT_REQUEST, "the id is longer than 1024 bytes");
	}
	struct slice version = json_member(line, len, "jsonrpc");
	if (!version.at || version.len != 5 || memcmp(version.at, "\"2.0\"", 5))
		return refuse_request(code, why, WIRE_NOT_REQUEST,
		                      "member \"jsonrpc\" must be \"2.0\"");
	struct slice method = json_member(line, len, "method");
	if (!method.at || method.at[0] != '"')
		return refuse_request(code, why, WIRE_NOT_REQUEST,
		                      "member \"method\" is missing or not a string");
	/* No method is so long; what is cut here is unknown all the same. */
	json_text(method, out->method, sizeof out->method);
	*code = WIRE_BAD_PARAMS;
	return params_parse(json_member(line, len, "params"), out->method, &out->params, why);
}

/* ---- answers ---- */

void answer_compose(struct answer *out, const char *id, const char *result, size_t len)
{
	answer_printf(out, "{\"jsonrpc\":\"2.0\",\"id\":%s,\"result\":", id);
	answer_json(out, result, len);
	answer_puts(out, "}\n");
}

void refusal_compose(struct answer *out, const char *id, int code, const struct fault *why)
{
	answer_printf(out, "{\"jsonrpc\":\"2.0\",\"id\":%s,\"error\":{\"code\":%d,\"message\":", id,
	              code);
	answer_string(out, why->text);
	if (code == WIRE_VERSION) {
		answer_printf(out, ",\"data\":{\"protocol\":%d}", WIRE_PROTOCOL);
	} else if (why->file[0] || why->line) {
		answer_puts(out, ",\"data\":{\"file\":");
		answer_string(out, why->file);
		if (why->line)
			answer_printf(out, ",\"line\":%d", why->line);
		if (why->column)
			answer_printf(out, ",\"column\":%d", why->column);
		answer_puts(out, "}");
	}
	answer_puts(out, "}}\n");
}

/* The call is over: its answer goes out, and the next line may come in. */
static void call_end(struct server_call *call, struct answer *text)
{
	struct caller *c = call->caller;
	if (c) {
		c->call = NULL;
		if (call->id && text->len)
			caller_send(c, CHUNK_ANSWER, text->bytes, text->len, 0);
	}
	answer_free(text);
	free(call->id);
	free(call);
	if (c)
		caller_lines(c);
}

void server_refuse(struct server_call *call, int code, const struct fault *why)
{
	struct answer text;
	answer_begin(&text, OUT_MAX);
	if (call->caller && call->id)
		refusal_compose(&text, call->id, code, why);
	call_end(call, &text);
}

void server_answer(struct server_call *call, const char *result)
{
	struct answer text;
	answer_begin(&text, OUT_MAX);
	if (call->caller && call->id)
		answer_compose(&text, call->id, result, strlen(result));
	if (text.failed) {
		struct fault why;
		answer_free(&text);
		fault_set(&why, "the answer is too long to send; ask for less");
		server_refuse(call, WIRE_UNREADABLE, &why);
		return;
	}
	call_end(call, &text);
}

void caller_refuse(struct caller *c, int code, const struct fault *why)
{
	struct answer text;
	answer_begin(&text, OUT_MAX);
	refusal_compose(&text, "null", code, why);
	if (!text.failed)
		caller_send(c, CHUNK_ANSWER, text.bytes, text.len, 0);
	answer_free(&text);
	caller_end(c, true);
}

/* ---- what the server answers by itself ---- */

bool hello_params(json_t *params, int *code, struct fault *why)
{
	int64_t protocol = 0;
	const char *name = NULL;
	const struct param list[] = {
		{ "protocol", PARAM_WHOLE, true, &protocol },
		{ "client", PARAM_TEXT, false, &name },
	};
	*code = WIRE_BAD_PARAMS;
	if (!params_read("hello", params, list, 2, why))
		return false;
	if (protocol == WIRE_PROTOCOL)
		return true;
	*code = WIRE_VERSION;
	fault_set(why, "protocol %lld is not spoken here, only %d; client and daemon are of different "
	          "versions", (long long)protocol, WIRE_PROTOCOL);
	return false;
}

char *hello_text(struct log_reader *reader, const char *bench, const char *version, bool live,
                 int64_t *last, struct fault *why)
{
	struct query_log log;
	/* A damaged file can still be verified: that is when it matters most. */
	if (!query_log(reader, &log, why) && live)
		return NULL;
	*last = log.last;
	struct answer a;
	answer_begin(&a, 4096);
	answer_printf(&a, "{\"protocol\":%d,\"version\":", WIRE_PROTOCOL);
	answer_string(&a, version);
	answer_puts(&a, ",\"bench\":");
	answer_string(&a, bench ? bench : log.bench);
	answer_puts(&a, ",\"identity\":");
	answer_string(&a, log.identity);
	answer_printf(&a, ",\"last\":%lld,\"live\":%s}", (long long)log.last,
	              live ? "true" : "false");
	char *text = answer_take(&a);
	if (!text)
		fault_set(why, "no memory for the answer");
	return text;
}

static void hello_run(struct job *job, struct log_reader *reader)
{
	job->code = WIRE_UNREADABLE;
	if (reader)
		job->text = hello_text(reader, job->server->bench, job->server->version, true,
		                       &job->last, &job->why);
}

static void query_job(struct job *job, struct log_reader *reader)
{
	job->code = WIRE_UNREADABLE;
	if (reader)
		job->text = query_run(reader, job->method, job->params, &job->code, &job->why);
}

static void job_answer(struct job *job)
{
	if (job->text)
		server_answer(job->call, job->text);
	else
		server_refuse(job->call, job->code, &job->why);
}

static void hello_done(struct job *job)
{
	if (job->text && job->last > job->server->last)
		job->server->last = job->last;
	if (job->text && job->call->caller)
		job->call->caller->greeted = true;
	job_answer(job);
}

/* Hand the call to a reader; takes the parameters. */
static void call_read(struct server *s, struct server_call *call, struct request *r, bool hello)
{
	struct job *job = job_new(s);
	if (job && (job->method = strdup(r->method))) {
		job->call = call;
		job->params = r->params;
		r->params = NULL;
		job->progress = json_is_true(json_object_get(job->params, "progress"));
		job->run = hello ? hello_run : query_job;
		job->done = hello ? hello_done : job_answer;
		bool longer = !strcmp(r->method, "verify") || !strcmp(r->method, "backup") ||
		              !strcmp(r->method, "export");
		lane_add(&s->lane[longer ? LANE_LONG : LANE_PROMPT], job);
		return;
	}
	free(job);
	struct fault why;
	fault_set(&why, "no memory for the question; ask again");
	server_refuse(call, WIRE_REFUSED, &why);
}

/* ---- dispatch ---- */

/* What changes nothing, neither on the bench nor on a disk nor on a line.  Named one by one:
 * a method that comes later is not for viewers until somebody said so. */
static bool viewer_may(const char *method)
{
	static const char *const list[] = { "status", "meters", "doctor", "watch", "raw", "tape" };
	for (size_t i = 0; i < sizeof list / sizeof *list; i++)
		if (!strcmp(method, list[i]))
			return true;
	return query_known(method) && !query_writes(method);
}

static void call_route(struct caller *c, struct server_call *call, struct request *r)
{
	struct server *s = c->server;
	struct fault why;
	int code = 0;
	if (!strcmp(r->method, "hello")) {
		if (hello_params(r->params, &code, &why))
			call_read(s, call, r, true);
		else
			server_refuse(call, code, &why);
	} else if (!c->greeted) {
		fault_set(&why, "hello comes first: {\"method\":\"hello\",\"params\":{\"protocol\":%d}}",
		          WIRE_PROTOCOL);
		server_refuse(call, WIRE_HELLO_FIRST, &why);
	} else if (c->door->viewers && !viewer_may(r->method)) {
		fault_set(&why, "%.40s: this socket is for looking only; the bench's own is for those who "
		          "work at it", r->method);
		server_refuse(call, WIRE_REFUSED, &why);
	} else if (query_known(r->method)) {
		call_read(s, call, r, false);
	} else if (!watch_call(c, call, r->method, r->params) &&
	           !(s->hooks.call && s->hooks.call(s->hooks.arg, call, r->method, r->params, c->uid))) {
		fault_set(&why, "no method \"%s\" here; protocol/WIRE.md lists them", r->method);
		server_refuse(call, WIRE_NO_METHOD, &why);
	}
}

static struct server_call *call_new(struct caller *c, struct slice id)
{
	struct server_call *call = calloc(1, sizeof *call);
	if (!call)
		return NULL;
	if (id.at && !(call->id = strndup(id.at, id.len))) {
		free(call);
		return NULL;
	}
	call->caller = c;
	c->call = call;
	return call;
}

bool line_blank(const char *line, size_t len)
{
	for (size_t i = 0; i < len; i++)
		if (!strchr(" \t\r", line[i]) || !line[i])
			return false;
	return true;
}

void caller_line(struct caller *c, const char *line, size_t len)
{
	if (line_blank(line, len))
		return;
	struct request r;
	struct fault why;
	int code;
	bool good = request_read(line, len, &r, &code, &why);
	if (!good && code == WIRE_NOT_JSON) {
		caller_refuse(c, code, &why);
		return;
	}
	/* What is no request at all is answered even without an id (specification, 5). */
	if (!good && code == WIRE_NOT_REQUEST && !r.id.at)
		r.id = (struct slice){ "null", 4 };
	struct server_call *call = call_new(c, r.id);
	if (!call)
		caller_drop(c);
	else if (good)
		call_route(c, call, &r);
	else
		server_refuse(call, code, &why);
	json_decref(r.params);
}
