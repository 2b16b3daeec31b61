/* SPDX-License-Identifier: MIT */
/* See link.h. */
#include "client/link.h"

#include "client/spawn.h"
#include "client/words.h"
#include "protocol/record/wire.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

struct link {
	int fd;
	struct spawn child; /* pid 0 where there is none */
	char name[256];     /* of the socket or the file, for sentences */
	struct link_hello hello;
	int timeout_ms;     /* of the target */
	enum outcome ended; /* how the child ended, where that says more than "lost" */
	json_int_t id;      /* of the last call */
	char *buffer;       /* what came and is no whole line yet */
	size_t len, size, looked; /* looked: bytes without an LF in them */
	char *kept[LINK_KEPT_MAX]; /* lines of notifications, a ring */
	int kept_first, kept_count;
};

static int64_t now_ms(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* For poll: what is left until the deadline, -1 for none. */
static int left_ms(int64_t deadline)
{
	if (deadline < 0)
		return -1;
	int64_t left = deadline - now_ms();
	return left < 0 ? 0 : left > 3600000 ? 3600000 : (int)left;
}

static int64_t deadline_in(int timeout_ms)
{
	return timeout_ms < 0 ? -1 : now_ms() + timeout_ms;
}

void message_free(struct message *m)
{
	free(m->line);
	*m = (struct message){0};
}

const struct link_hello *link_hello(const struct link *l)
{
	return &l->hello;
}

void link_close(struct link *l)
{
	if (!l)
		return;
	for (; l->kept_count; l->kept_count--, l->kept_first++)
		free(l->kept[l->kept_first % LINK_KEPT_MAX]);
	if (l->child.pid)
		spawn_close(&l->child);
	else if (l->fd >= 0)
		close(l->fd);
	free(l->buffer);
	free(l);
}

/* ---- lines ---- */

enum got { GOT_LOST = -1, GOT_NOTHING = 0, GOT_LINE = 1 };

static void lost(struct link *l, struct fault *why)
{
	if (!l->child.pid) {
		fault_set(why, "the daemon at %s closed the connection", l->name);
		return;
	}
	int status = spawn_close(&l->child);
	l->child.pid = 0;
	l->fd = -1;
	fault_set(why, "tallyd, which reads %s, ended with status %d and without an answer", l->name,
	          status);
	/* Its own reason stands on standard error; its status is the better one. */
	if (status == OUTCOME_WRONG || status == OUTCOME_NOT_LOGGED)
		l->ended = (enum outcome)status;
}

/* A line out of the buffer, without its LF; NULL where there is none yet. */
static char *cut_line(struct link *l, bool *failed)
{
	char *lf = l->len > l->looked ? memchr(l->buffer + l->looked, '\n', l->len - l->looked) : NULL;
	l->looked = l->len;
	if (!lf)
		return NULL;
	size_t n = (size_t)(lf - l->buffer);
	char *line = malloc(n + 1);
	if (!line) {
		*failed = true;
		return NULL;
	}
	/* A NUL would hide what follows it; another control character is as wrong
	 * in JSON, and does not. */
	for (size_t i = 0; i < n; i++)
		line[i] = l->buffer[i] ? l->buffer[i] : '\x01';
	line[n] = '\0';
	l->len -= n + 1;
	memmove(l->buffer, lf + 1, l->len);
	l->looked = 0;
	return line;
}

static bool make_room(struct link *l)
{
	if (l->len < l->size)
		return true;
	size_t size = l->size ? l->size * 2 : 4096;
	if (size > WIRE_LINE_MAX)
		size = WIRE_LINE_MAX;
	if (l->len >= size)
		return false;
	char *buffer = realloc(l->buffer, size);
	if (!buffer)
		return false;
	l->buffer = buffer;
	l->size = size;
	return true;
}

/* Wait until something can be read.  False where there is nothing to read for a
 * reason that is no loss: time, the person, a reader of ours that went away. */
static bool wait_readable(struct link *l, int64_t deadline, const volatile sig_atomic_t *stop,
                          int out_fd)
{
	for (;;) {
		if (stop && *stop)
			return false;
		struct pollfd fds[2] = {{l->fd, POLLIN, 0}, {out_fd, 0, 0}};
		/* With a stop flag a signal may fall between the look and the poll:
		 * half a second later it is seen all the same. */
		int left = left_ms(deadline);
		int nap = stop && (left < 0 || left > 500) ? 500 : left;
		int n = poll(fds, out_fd >= 0 ? 2 : 1, nap);
		if (n > 0 && out_fd >= 0 && fds[1].revents)
			return false;
		if (n > 0)
			return true;
		if (n < 0 && errno != EINTR)
			return true; /* read will say what it is */
		if (n == 0 && deadline >= 0 && left_ms(deadline) == 0)
			return false;
	}
}

static enum got read_line(struct link *l, int64_t deadline, const volatile sig_atomic_t *stop,
                          int out_fd, char **line, struct fault *why)
{
	for (;;) {
		bool failed = false;
		*line = cut_line(l, &failed);
		if (*line)
			return GOT_LINE;
		if (l->fd < 0) {
			fault_set(why, "the link to %s is closed", l->name);
			return GOT_LOST;
		}
		if (failed || !make_room(l)) {
			fault_set(why, "%s sent a line longer than %u bytes: that is no tallyd", l->name,
			          WIRE_LINE_MAX);
			return GOT_LOST;
		}
		if (!wait_readable(l, deadline, stop, out_fd))
			return GOT_NOTHING;
		ssize_t n = read(l->fd, l->buffer + l->len, l->size - l->len);
		if (n > 0) {
			l->len += (size_t)n;
		} else if (n == 0 || (errno != EINTR && errno != EAGAIN)) {
			lost(l, why);
			return GOT_LOST;
		}
	}
}

static void send_line(struct link *l, const char *line, size_t len, int64_t deadline)
{
	while (len) {
		ssize_t n = send(l->fd, line, len, MSG_NOSIGNAL);
		if (n > 0) {
			line += n;
			len -= (size_t)n;
			continue;
		}
		if (n < 0 && errno == EINTR)
			continue;
		if (n < 0 && errno != EAGAIN)
			return;
		struct pollfd fd = {l->fd, POLLOUT, 0};
		if (poll(&fd, 1, left_ms(deadline)) == 0)
			return;
	}
}

/* ---- messages ---- */

static void read_error(struct slice error, struct message *m)
{
	int64_t code = 0, line = 0, column = 0;
	char text[sizeof m->why.text], file[sizeof m->why.file];
	words_member(error, "message", text, sizeof text);
	words_member(error, "data.file", file, sizeof file);
	json_int(json_member(error.at, error.len, "code"), &code);
	json_int(json_member(error.at, error.len, "data.line"), &line);
	json_int(json_member(error.at, error.len, "data.column"), &column);
	bool placed = line > 0 && line < INT32_MAX && column >= 0 && column < INT32_MAX;
	fault_at(&m->why, file, placed ? (int)line : 0, placed ? (int)column : 0, "%s",
	         text[0] ? text : "the daemon refused, and gave no reason");
	/* A code of 0 would pass for "no error". */
	m->code = code != 0 && code > INT32_MIN && code < INT32_MAX ? (int)code : WIRE_NOT_REQUEST;
}

/* Understand a line.  False: it is no message of this protocol. */
static bool read_message(char *line, struct message *m, struct slice *id)
{
	size_t where, len = strlen(line);
	*m = (struct message){.line = line};
	if (!json_valid(line, len, &where))
		return false;
	struct slice whole = {line, len};
	while (whole.len && (*whole.at == ' ' || *whole.at == '\t' || *whole.at == '\r')) {
		whole.at++;
		whole.len--;
	}
	if (!whole.len || *whole.at != '{' || !words_member_is(whole, "jsonrpc", "2.0"))
		return false;
	*id = json_member(whole.at, whole.len, "id");
	struct slice method = json_member(whole.at, whole.len, "method");
	struct slice error = json_member(whole.at, whole.len, "error");
	m->params = json_member(whole.at, whole.len, "params");
	m->result = json_member(whole.at, whole.len, "result");
	if (method.at) {
		if (method.len < 2 || *method.at != '"')
			return false;
		m->method = (struct slice){method.at + 1, method.len - 2};
		return true;
	}
	if (error.at)
		read_error(error, m);
	return id->at && (error.at != NULL) != (m->result.at != NULL);
}

static void no_message(struct link *l, const char *line, struct fault *why)
{
	char start[60];
	words_clean(line, strlen(line) < 40 ? strlen(line) : 40, start, sizeof start);
	fault_set(why, "%s sent what is no message of tallyd: %s", l->name,
	          start[0] ? start : "an empty line");
}

/* A notification that came before the answer: kept for link_next. */
static bool keep(struct link *l, struct message *m, struct fault *why)
{
	if (l->kept_count == LINK_KEPT_MAX) {
		fault_set(why, "%s sent %d notifications and no answer", l->name, LINK_KEPT_MAX);
		return false;
	}
	l->kept[(l->kept_first + l->kept_count++) % LINK_KEPT_MAX] = m->line;
	*m = (struct message){0};
	return true;
}

enum link_next link_next(struct link *l, int timeout_ms, const volatile sig_atomic_t *stop,
                         int out_fd, struct message *m)
{
	*m = (struct message){0};
	if (l->kept_count) {
		struct slice id;
		read_message(l->kept[l->kept_first], m, &id);
		l->kept_first = (l->kept_first + 1) % LINK_KEPT_MAX;
		l->kept_count--;
		return LINK_MESSAGE;
	}
	int64_t deadline = deadline_in(timeout_ms);
	for (;;) {
		char *line;
		struct slice id;
		struct fault why = {0};
		enum got got = read_line(l, deadline, stop, out_fd, &line, &why);
		if (got == GOT_LOST)
			m->why = why;
		if (got != GOT_LINE)
			return got == GOT_LOST ? LINK_LOST : LINK_NOTHING;
		if (!read_message(line, m, &id)) {
			no_message(l, line, &why);
			message_free(m);
			m->why = why;
			return LINK_LOST;
		}
		if (m->method.at)
			return LINK_MESSAGE;
		message_free(m); /* an answer that nobody waits for any more */
	}
}

/* ---- calls ---- */

/* The request as one line with its LF; NULL where it cannot be written or is too
 * long. */
static char *request_line(struct link *l, const char *method, json_t *params, struct fault *why)
{
	json_t *request = json_pack("{s:s, s:I, s:s}", "jsonrpc", "2.0", "id", ++l->id, "method",
	                            method);
	if (request && params)
		json_object_set_new(request, "params", params);
	else
		json_decref(params);
	char *line = request ? json_dumps(request, JSON_COMPACT) : NULL;
	json_decref(request);
	size_t len = line ? strlen(line) : 0;
	char *longer = line && len < WIRE_LINE_MAX ? realloc(line, len + 2) : NULL;
	if (longer) {
		memcpy(longer + len, "\n", 2);
		return longer;
	}
	if (len >= WIRE_LINE_MAX)
		fault_set(why, "what is to be sent has %zu bytes; the daemon takes at most %u", len,
		          WIRE_LINE_MAX - 1);
	else
		fault_set(why, "the request cannot be written: not UTF-8, or out of memory");
	free(line);
	return NULL;
}

/* Is this the answer to the call?  An error without an id is meant for us too:
 * there is only one call on its way. */
static bool answers(const struct link *l, struct slice id, int code)
{
	int64_t n;
	if (json_absent(id))
		return code != 0;
	return json_int(id, &n) && n == l->id;
}

static enum outcome await(struct link *l, const char *method, int64_t deadline,
                          struct message *m)
{
	struct fault why = {0};
	for (;;) {
		char *line;
		struct slice id;
		enum got got = read_line(l, deadline, NULL, -1, &line, &why);
		if (got == GOT_NOTHING)
			fault_set(&why, "%s did not answer `%s` in time", l->name, method);
		if (got != GOT_LINE)
			break;
		if (!read_message(line, m, &id)) {
			no_message(l, line, &why);
			message_free(m);
			break;
		}
		if (m->method.at) {
			if (keep(l, m, &why))
				continue;
			message_free(m);
			break;
		}
		if (answers(l, id, m->code))
			return outcome_from_code(m->code);
		fault_set(&why, "%s gave an answer to something that was not asked", l->name);
		message_free(m);
		break;
	}
	m->why = why;
	return l->ended != OUTCOME_DONE ? l->ended : OUTCOME_UNREACHABLE;
}

enum outcome link_call(struct link *l, const char *method, json_t *params, int timeout_ms,
                       struct message *m)
{
	if (l->timeout_ms && timeout_ms >= 0)
		timeout_ms = l->timeout_ms;
	int64_t deadline = deadline_in(timeout_ms);
	*m = (struct message){0};
	char *line = request_line(l, method, params, &m->why);
	if (!line)
		return OUTCOME_WRONG;
	/* Where sending fails, what was said before the end is still to be read. */
	if (l->fd >= 0)
		send_line(l, line, strlen(line), deadline);
	free(line);
	return await(l, method, deadline, m);
}

/* ---- opening ---- */

static void connect_fault(const char *path, int error, struct fault *why)
{
	if (error == ENOENT)
		fault_set(why, "no daemon at %s: there is no such socket. Start tallyd, or name its "
		          "socket with --socket PATH or TALLY_SOCKET", path);
	else if (error == ECONNREFUSED)
		fault_set(why, "no daemon at %s: the socket is there, but nobody listens. Start tallyd "
		          "again; it replaces the socket", path);
	else if (error == EACCES || error == EPERM)
		fault_set(why, "the daemon at %s may not be used by you: the socket is for its owner "
		          "and its group (ls -l shows which); join the group and log in again", path);
	else if (error == ETIMEDOUT)
		fault_set(why, "the daemon at %s takes no connection: it is busy or stopped", path);
	else
		fault_set(why, "no daemon at %s: %s", path, strerror(error));
}

/* Connect without blocking for ever: a full backlog is tried again for a while. */
static int connect_socket(const char *path, enum outcome *outcome, struct fault *why)
{
	struct sockaddr_un address = {.sun_family = AF_UNIX};
	*outcome = OUTCOME_UNREACHABLE;
	if (strlen(path) >= sizeof address.sun_path) {
		*outcome = OUTCOME_WRONG;
		fault_set(why, "the path of a socket has at most %zu bytes; this one has %zu: %s",
		          sizeof address.sun_path - 1, strlen(path), path);
		return -1;
	}
	strcpy(address.sun_path, path);
	int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
	if (fd < 0) {
		fault_set(why, "no socket: %s", strerror(errno));
		return -1;
	}
	const struct timespec nap = {0, 20000000};
	int64_t deadline = deadline_in(LINK_HELLO_MS);
	while (connect(fd, (struct sockaddr *)&address, sizeof address) != 0) {
		int error = errno;
		if (error == EINTR)
			continue;
		if (error != EAGAIN || left_ms(deadline) == 0) {
			connect_fault(path, error == EAGAIN ? ETIMEDOUT : error, why);
			close(fd);
			return -1;
		}
		nanosleep(&nap, NULL);
	}
	return fd;
}

static bool serve_file(struct link *l, const struct link_target *target, enum outcome *outcome,
                       struct fault *why)
{
	/* Looked at, never opened: only SQLite may open a log. */
	if (access(target->file, R_OK) != 0) {
		*outcome = OUTCOME_WRONG;
		fault_at(why, target->file, 0, 0, "%s", strerror(errno));
		return false;
	}
	*outcome = OUTCOME_UNREACHABLE;
	if (!spawn_open(target->program, target->file, &l->child, why)) {
		l->child.pid = 0;
		return false;
	}
	l->fd = l->child.fd;
	int flags = fcntl(l->fd, F_GETFL);
	fcntl(l->fd, F_SETFL, flags | O_NONBLOCK);
	return true;
}

static void wrong_version(struct link *l, int64_t theirs, struct fault *why)
{
	fault_set(why, "%s speaks protocol %lld, this tally speaks %d: install both from the same "
	          "version", l->name, (long long)theirs, WIRE_PROTOCOL);
}

static enum outcome say_hello(struct link *l, struct fault *why)
{
	struct message m;
	int64_t protocol = 0;
	json_t *params = json_pack("{s:i, s:s}", "protocol", WIRE_PROTOCOL, "client", "tally");
	enum outcome outcome = link_call(l, "hello", params,
	                                 l->child.pid ? LINK_SERVE_HELLO_MS : LINK_HELLO_MS, &m);
	*why = m.why;
	if (m.code == WIRE_VERSION) {
		json_int(json_member(m.line, strlen(m.line), "error.data.protocol"), &protocol);
		if (protocol)
			wrong_version(l, protocol, why);
	} else if (outcome == OUTCOME_DONE) {
		json_int(json_member(m.result.at, m.result.len, "protocol"), &protocol);
		words_member(m.result, "bench", l->hello.bench, sizeof l->hello.bench);
		words_member(m.result, "version", l->hello.version, sizeof l->hello.version);
		words_member(m.result, "identity", l->hello.identity, sizeof l->hello.identity);
		l->hello.live = json_bool(json_member(m.result.at, m.result.len, "live"), true);
		if (protocol != WIRE_PROTOCOL) {
			wrong_version(l, protocol, why);
			outcome = OUTCOME_WRONG;
		}
	}
	message_free(&m);
	return outcome;
}

struct link *link_open(const struct link_target *target, enum outcome *outcome,
                       struct fault *why)
{
	struct link *l = calloc(1, sizeof *l);
	if (!l) {
		*outcome = OUTCOME_UNREACHABLE;
		fault_set(why, "out of memory");
		return NULL;
	}
	l->fd = -1;
	l->timeout_ms = target->timeout_ms;
	snprintf(l->name, sizeof l->name, "%s", target->file ? target->file : target->socket);
	bool there = false;
	if (target->file) {
		there = serve_file(l, target, outcome, why);
	} else {
		l->fd = connect_socket(target->socket, outcome, why);
		there = l->fd >= 0;
	}
	if (there)
		*outcome = say_hello(l, why);
	if (!there || *outcome != OUTCOME_DONE) {
		link_close(l);
		return NULL;
	}
	return l;
}
