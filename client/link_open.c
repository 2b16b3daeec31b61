/* SPDX-License-Identifier: MIT */
/* Connecting to a daemon, or starting one over a file, and the hello: see link.h. */
#include "client/link_inside.h"

#include "client/words.h"
#include "protocol/record/wire.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

void link_connect_fault(const char *path, int error, struct fault *why)
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
			link_connect_fault(path, error == EAGAIN ? ETIMEDOUT : error, why);
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

/* A daemon that is restarted takes connections up to its last moment: whoever came then is cut
 * off before the hello is answered.  Nothing was asked yet, so it is asked again, of the next
 * one, which waits behind the same socket; once. */
static enum outcome hello_again(struct link *l, const struct link_target *target,
                                struct fault *why)
{
	struct fault first = *why;
	enum outcome outcome;
	if (l->fd >= 0)
		close(l->fd);
	l->len = l->looked = 0;
	l->fd = connect_socket(target->socket, &outcome, why);
	if (l->fd >= 0)
		return say_hello(l, why);
	*why = first;
	return OUTCOME_UNREACHABLE;
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
	if (there && !target->file && *outcome == OUTCOME_UNREACHABLE && l->lost)
		*outcome = hello_again(l, target, why);
	if (!there || *outcome != OUTCOME_DONE) {
		link_close(l);
		return NULL;
	}
	return l;
}
