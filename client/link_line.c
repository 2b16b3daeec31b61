/* SPDX-License-Identifier: MIT */
/* Lines in and out, with deadlines: see link_inside.h. */
#include "client/link_inside.h"

#include "client/clock.h"
#include "protocol/record/wire.h"

#include <errno.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

int left_ms(int64_t deadline)
{
	if (deadline < 0)
		return -1;
	int64_t left = deadline - clock_ms();
	return left < 0 ? 0 : left > 3600000 ? 3600000 : (int)left;
}

int64_t deadline_in(int timeout_ms)
{
	return timeout_ms < 0 ? -1 : clock_ms() + timeout_ms;
}

static void lost(struct link *l, struct fault *why)
{
	if (!l->child.pid) {
		fault_set(why, "the daemon at %s closed the connection", l->name);
		return;
	}
	int status = spawn_close(&l->child);
	l->child.pid = 0;
	l->fd = -1;
	if (status == 127)
		fault_set(why, "tallyd, which reads %s, does not start", l->name);
	else if (status == OUTCOME_WRONG)
		*why = (struct fault){.text = ""}; /* it has said why, on the same standard error */
	else
		fault_set(why, "tallyd, which reads %s, ended with status %d and without an answer",
		          l->name, status);
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

enum got read_line(struct link *l, int64_t deadline, const volatile sig_atomic_t *stop, int out_fd,
                   char **line, struct fault *why)
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
			l->lost = l->len == 0;
			lost(l, why);
			return GOT_LOST;
		}
	}
}

void send_line(struct link *l, const char *line, size_t len, int64_t deadline)
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
