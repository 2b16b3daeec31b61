/* SPDX-License-Identifier: MIT */
/*
 * `tallyd --serve FILE`: the methods marked *file* of protocol/WIRE.md over
 * standard input and output, for one client and a log that lies still (or is
 * being written by a daemon: the connection only reads).
 *
 * A plain blocking loop: there is nobody else to keep waiting.
 */
#include "daemon/query.h"
#include "daemon/server_private.h"

#include <errno.h>
#include <poll.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct serve {
	struct log_reader *reader; /* NULL: an export is served, which can only be verified */
	const char *file;
	const char *version;
	bool greeted;
	bool progress;         /* of the call on its way */
	uint64_t told;         /* when it was told of last */
};

static bool write_all(const char *bytes, size_t len)
{
	while (len) {
		ssize_t n = write(STDOUT_FILENO, bytes, len);
		if (n < 0 && errno == EINTR)
			continue;
		if (n <= 0)
			return false;
		bytes += n;
		len -= (size_t)n;
	}
	return true;
}

/* A file that was read to its end, or a pipe whose writer closed it, may be all of the questions;
 * a socket that was closed is nobody. */
static bool serve_line_is_closed(void)
{
	struct stat st;
	return fstat(STDIN_FILENO, &st) == 0 && S_ISSOCK(st.st_mode);
}

/* Half a second between two words of progress; and is there anybody? */
static bool serve_goes_on(void *arg, int64_t done, int64_t all)
{
	struct serve *v = arg;
	struct pollfd in = { .fd = STDIN_FILENO };
	char line[160];
	if (poll(&in, 1, 0) > 0 && (in.revents & (POLLHUP | POLLERR)) &&
	    serve_line_is_closed())
		return false;
	if (!v->progress || uv_hrtime() - v->told < 500000000)
		return true;
	v->told = uv_hrtime();
	int n = snprintf(line, sizeof line, "{\"jsonrpc\":\"2.0\",\"method\":\"progress\",\"params\":{"
	                 "\"done\":%lld,\"all\":%lld}}\n", (long long)done, (long long)all);
	return write_all(line, (size_t)n);
}

static char *export_hello(const struct serve *v, struct fault *why)
{
	struct answer a;
	answer_begin(&a, 4096);
	answer_printf(&a, "{\"protocol\":%d,\"version\":", WIRE_PROTOCOL);
	answer_string(&a, v->version);
	answer_puts(&a, ",\"bench\":\"\",\"identity\":\"\",\"last\":0,\"live\":false}");
	char *text = answer_take(&a);
	if (!text)
		fault_set(why, "no memory for the answer");
	return text;
}

/* The answer to one good request; NULL with *code and *why. */
static char *serve_call(struct serve *v, struct request *r, int *code, struct fault *why)
{
	if (!strcmp(r->method, "hello")) {
		int64_t last;
		if (!hello_params(r->params, code, why))
			return NULL;
		*code = WIRE_UNREADABLE;
		char *text = !v->reader ? export_hello(v, why) : hello_text(v->reader, NULL, v->version, false, &last, why);
		v->greeted = v->greeted || text;
		return text;
	}
	*code = WIRE_HELLO_FIRST;
	if (!v->greeted) {
		fault_set(why, "hello comes first: {\"method\":\"hello\",\"params\":{\"protocol\":%d}}",
		          WIRE_PROTOCOL);
		return NULL;
	}
	v->progress = json_is_true(json_object_get(r->params, "progress"));
	if (!v->reader) {
		*code = WIRE_NO_METHOD;
		if (!strcmp(r->method, "verify"))
			return query_run_export(v->file, &(struct log_going){ serve_goes_on, v }, r->params, code,
			                        why);
		fault_set(why, "an export can only be verified; `tally import` makes a log of it, which "
		          "answers `%s`", r->method);
		return NULL;
	}
	if (query_known(r->method))
		return query_run(v->reader, r->method, r->params, code, why);
	*code = WIRE_NO_METHOD;
	fault_set(why, "no method \"%s\" on a file; it needs a running daemon, or does not exist",
	          r->method);
	return NULL;
}

static bool serve_refuse(const char *id, int code, const struct fault *why)
{
	struct answer out;
	answer_begin(&out, OUT_MAX);
	refusal_compose(&out, id, code, why);
	bool written = !out.failed && write_all(out.bytes, out.len);
	answer_free(&out);
	return written;
}

static bool serve_answer(const char *id, char *text, int code, const struct fault *why)
{
	if (!text)
		return serve_refuse(id, code, why);
	struct answer out;
	answer_begin(&out, OUT_MAX);
	answer_compose(&out, id, text, strlen(text));
	bool written = !out.failed && write_all(out.bytes, out.len);
	answer_free(&out);
	free(text);
	return written;
}

/* One line.  False where it ends the service, with *status. */
static bool serve_line(struct serve *v, const char *line, size_t len, int *status)
{
	struct request r;
	struct fault why;
	int code;
	if (line_blank(line, len))
		return true;
	bool good = request_read(line, len, &r, &code, &why);
	if (!good && code == WIRE_NOT_JSON) {
		serve_refuse("null", code, &why);
		*status = 2;
		return false;
	}
	if (!good && code == WIRE_NOT_REQUEST && !r.id.at)
		r.id = (struct slice){ "null", 4 };
	bool on = true;
	char *text = good ? serve_call(v, &r, &code, &why) : NULL;
	char *id = r.id.at ? strndup(r.id.at, r.id.len) : NULL;
	if (id)
		on = serve_answer(id, text, code, &why);
	else
		free(text); /* a notification is never answered */
	if (!on)
		*status = 1;
	free(id);
	json_decref(r.params);
	return on;
}

/* Whole lines from `in`; the bytes used, and whether to go on. */
static size_t serve_lines(struct serve *v, const char *in, size_t len, bool *on, int *status)
{
	size_t from = 0;
	const char *lf;
	while (*on && from < len && (lf = memchr(in + from, '\n', len - from))) {
		*on = serve_line(v, in + from, (size_t)(lf - in) - from, status);
		from = (size_t)(lf - in) + 1;
	}
	return from;
}

static int serve_loop(struct serve *v)
{
	char *in = malloc(WIRE_LINE_MAX);
	size_t len = 0;
	bool on = in != NULL;
	int status = in ? 0 : 1;
	while (on) {
		ssize_t n = read(STDIN_FILENO, in + len, WIRE_LINE_MAX - len);
		if (n < 0 && errno == EINTR)
			continue;
		if (n <= 0) {
			/* What stands there without a line end is the last line. */
			if (len)
				serve_line(v, in, len, &status);
			break;
		}
		len += (size_t)n;
		size_t used = serve_lines(v, in, len, &on, &status);
		len -= used;
		memmove(in, in + used, len);
		if (on && len == WIRE_LINE_MAX) {
			struct fault why;
			fault_too_long(&why);
			serve_refuse("null", WIRE_NOT_JSON, &why);
			status = 2;
			on = false;
		}
	}
	free(in);
	return status;
}

int server_serve(const char *file, const char *version)
{
	struct fault why;
	struct serve v = { .version = version, .file = file };
	signal(SIGPIPE, SIG_IGN);
	bool export = log_is_export(file);
	v.reader = export ? NULL : log_reader_open(file, &why);
	if (!v.reader && !export) {
		char text[640];
		fault_text(&why, text, sizeof text);
		fprintf(stderr, "tallyd: %s\n", text);
		return 2;
	}
	if (v.reader)
		log_reader_going(v.reader, &(struct log_going){ serve_goes_on, &v });
	int status = serve_loop(&v);
	log_reader_close(v.reader);
	return status;
}
