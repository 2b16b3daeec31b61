/* SPDX-License-Identifier: MIT */
/*
 * A daemon of our own that says what a script tells it, and the client run against
 * it: for the tests of the client.
 *
 * A script is a list of lines:
 *     =TEXT    wait for a request, then send TEXT and a line end; $ID is its id
 *     +TEXT    send TEXT and a line end at once
 *     -TEXT    send TEXT without a line end
 *     !huge    send more than a line may hold      !nul   a line with a NUL in it
 *     !close   close the connection                !hang  say nothing for a while
 *     !exit N  end (of a script that is served over standard input)
 * Every script begins with the answer to hello; where it ends, the connection is
 * closed after the client closed it.
 */
#ifndef TALLY_TESTS_CLIENT_SCRIPT_H
#define TALLY_TESTS_CLIENT_SCRIPT_H

#include "tests/check.h"

#include "client/client.h"
#include "protocol/record/wire.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <unistd.h>

#define HELLO "={\"jsonrpc\":\"2.0\",\"id\":$ID,\"result\":{\"protocol\":1,\"version\":\"0\"," \
	"\"bench\":\"north\",\"identity\":\"ab\",\"last\":3,\"live\":true}}"
#define RESULT(text) "={\"jsonrpc\":\"2.0\",\"id\":$ID,\"result\":" text "}"
#define FAULT(code, message) \
	"={\"jsonrpc\":\"2.0\",\"id\":$ID,\"error\":{\"code\":" code ",\"message\":\"" message "\"}}"
#define NEWS(method, params) \
	"+{\"jsonrpc\":\"2.0\",\"method\":\"" method "\",\"params\":" params "}"

#define LINES_MOST 16
#define HEARD "heard" /* what was asked of the daemon, a line each */

static char place[64]; /* a folder of this run, and the socket in it */
static char path[96];

/* ---- the daemon that is none ---- */

static inline void put(int fd, const char *bytes, size_t len)
{
	while (len) {
		ssize_t n = write(fd, bytes, len);
		if (n <= 0)
			return;
		bytes += n;
		len -= (size_t)n;
	}
}

/* Read a request, byte by byte; false at the end.  Its id is a number. */
static inline bool hear(int in, char *line, size_t size)
{
	size_t at = 0;
	char c;
	while (at + 1 < size && read(in, &c, 1) == 1) {
		if (c == '\n') {
			line[at] = '\0';
			return true;
		}
		line[at++] = c;
	}
	return false;
}

static inline void answer(int out, const char *text, const char *request)
{
	const char *id = strstr(request, "\"id\":"), *mark;
	while ((mark = strstr(text, "$ID"))) {
		put(out, text, (size_t)(mark - text));
		if (id)
			put(out, id + 5, strspn(id + 5, "0123456789"));
		text = mark + 3;
	}
	put(out, text, strlen(text));
}

static inline void talk(int in, int out, const char *const *script, int heard)
{
	static char request[1 << 21];
	static char huge[WIRE_LINE_MAX + 100];
	for (int i = 0; i < LINES_MOST && script[i]; i++) {
		const char *line = script[i];
		if (line[0] == '=') {
			if (!hear(in, request, sizeof request))
				return;
			if (heard >= 0)
				dprintf(heard, "%s\n", request);
		}
		if (strchr("=+-", line[0]))
			answer(out, line + 1, request);
		if (line[0] == '=' || line[0] == '+')
			put(out, "\n", 1);
		if (strcmp(line, "!close") == 0)
			return;
		if (strncmp(line, "!exit ", 6) == 0)
			_exit(atoi(line + 6));
		if (strcmp(line, "!nul") == 0)
			put(out, "{\"jsonrpc\":\"2.0\",\"id\":2,\"result\":{}}\0}\n", 40);
		if (strcmp(line, "!huge") == 0) {
			memset(huge, ' ', sizeof huge);
			put(out, huge, sizeof huge);
		}
		if (strcmp(line, "!hang") == 0)
			usleep(600000);
	}
	/* The client ends it; what it still says is heard. */
	while (hear(in, request, sizeof request))
		if (heard >= 0)
			dprintf(heard, "%s\n", request);
}

/* Listen first, then fork: the client cannot come too early. */
static inline pid_t daemon_start(const char *const *scripts[], int count)
{
	struct sockaddr_un a = {.sun_family = AF_UNIX};
	char file[128];
	unlink(path);
	strcpy(a.sun_path, path);
	int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
	assert_int_equal(bind(fd, (struct sockaddr *)&a, sizeof a), 0);
	assert_int_equal(listen(fd, 4), 0);
	snprintf(file, sizeof file, "%s/" HEARD, place);
	int heard = open(file, O_CREAT | O_TRUNC | O_WRONLY | O_APPEND, 0600);
	pid_t pid = fork();
	if (pid == 0) {
		signal(SIGPIPE, SIG_IGN);
		alarm(60); /* a test that failed leaves it alone */
		for (int i = 0; i < count; i++) {
			int one = accept(fd, NULL, NULL);
			talk(one, one, scripts[i], heard);
			close(one);
		}
		_exit(0);
	}
	close(fd);
	close(heard);
	return pid;
}

static inline const char *heard(void)
{
	static char text[1 << 20];
	char file[128];
	snprintf(file, sizeof file, "%s/" HEARD, place);
	FILE *f = fopen(file, "rb");
	size_t n = f ? fread(text, 1, sizeof text - 1, f) : 0;
	text[n] = '\0';
	if (f)
		fclose(f);
	return text;
}

/* ---- the client ---- */

struct run {
	int status;
	char *out, *err;
};

#define ARGV_MOST 12
#define CLIENT(...) (const char *const[ARGV_MOST]){__VA_ARGS__}
#define SCRIPT(...) (const char *const[LINES_MOST]){__VA_ARGS__}

static inline struct client client_for(FILE *out, FILE *err)
{
	return (struct client){.out = out, .err = err, .out_fd = -1, .socket = path,
	                       .timeout_ms = 5000};
}

static inline struct run run_client(struct client *base, const char *const *argv)
{
	struct run r = {0};
	size_t out_len, err_len;
	static struct client c;
	int argc = 0;
	while (argc < ARGV_MOST && argv[argc])
		argc++;
	FILE *out = open_memstream(&r.out, &out_len), *err = open_memstream(&r.err, &err_len);
	c = base ? *base : client_for(NULL, NULL);
	if (!c.out)
		c.out = out;
	c.err = err;
	r.status = client_run(&c, argc, argv);
	fclose(out);
	fclose(err);
	return r;
}

static inline void run_free(struct run *r)
{
	free(r->out);
	free(r->err);
	*r = (struct run){0};
}

/* Run against one connection's script. */
static inline struct run run_script(struct client *base, const char *const *script,
                             const char *const *argv)
{
	const char *const *scripts[] = {script};
	pid_t pid = daemon_start(scripts, 1);
	struct run r = run_client(base, argv);
	int status;
	/* A client that never came leaves the daemon waiting. */
	if (waitpid(pid, &status, WNOHANG) == 0) {
		usleep(20000);
		kill(pid, SIGTERM);
		waitpid(pid, &status, 0);
	}
	unlink(path);
	return r;
}

static inline void expect(const char *got, const char *want, const char *what)
{
	if (!strstr(got, want)) {
		print_error("%s is\n%s\nexpected in it:\n%s\n", what, got, want);
		fail();
	}
}

/* Spacing, escapes and forms of numbers that no writer of ours would choose: only
 * bytes that were never printed anew come out so. */
#define ODD "{\"seq\":5, \"kind\" : \"entry\",\"value\":3.45e-07,\"u\":1.50E+1,\"x\":\"\\u00b5\\/\"}"
#define ODD2 "{\"seq\":6,\"n\":-0.0,\"deep\":[ 1 , {\"a\":[ ]}]}"

/* ---- a folder for each program ---- */

static inline int set_up(void **state)
{
	(void)state;
	strcpy(place, "/tmp/tally-client-XXXXXX");
	if (!mkdtemp(place))
		return -1;
	snprintf(path, sizeof path, "%s/sock", place);
	return 0;
}

static inline int tear_down(void **state)
{
	static const char *const files[] = {"sock", HEARD, "log", "s.csv"};
	char file[128];
	(void)state;
	for (size_t i = 0; i < sizeof files / sizeof files[0]; i++) {
		snprintf(file, sizeof file, "%s/%s", place, files[i]);
		unlink(file);
	}
	return rmdir(place);
}

#endif
