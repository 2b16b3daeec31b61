/* SPDX-License-Identifier: MIT */
/*
 * What the files of the link share.  For link*.c only.
 *
 *     link.c       messages and calls
 *     link_line.c  lines in and out, with deadlines
 *     link_open.c  connecting, hello
 */
#ifndef TALLY_CLIENT_LINK_INSIDE_H
#define TALLY_CLIENT_LINK_INSIDE_H

#include "client/link.h"
#include "client/spawn.h"

struct link {
	int fd;
	struct spawn child; /* pid 0 where there is none */
	char name[256];     /* of the socket or the file, for sentences */
	struct link_hello hello;
	int timeout_ms;     /* of the target */
	bool lost;          /* the other end closed, with no piece of a line before it */
	enum outcome ended; /* how the child ended, where that says more than "lost" */
	const volatile sig_atomic_t *stop; /* ends waiting for an answer; NULL for nothing */
	void (*progress)(void *arg, int64_t done, int64_t all);
	void *progress_arg;
	json_int_t id;      /* of the last call */
	char *buffer;       /* what came and is no whole line yet */
	size_t len, size, looked; /* looked: bytes without an LF in them */
	char *kept[LINK_KEPT_MAX]; /* lines of notifications, a ring */
	int kept_first, kept_count;
};

/* A moment of the monotonic clock in ms; -1 for never. */
int64_t deadline_in(int timeout_ms);
/* For poll: what is left until then, -1 for no bound. */
int left_ms(int64_t deadline);

enum got { GOT_LOST = -1, GOT_NOTHING = 0, GOT_LINE = 1 };

/* The next line without its LF, malloc'd.  GOT_NOTHING: the time ran out, *stop
 * became true, or nobody reads out_fd.  GOT_LOST with the sentence. */
enum got read_line(struct link *l, int64_t deadline, const volatile sig_atomic_t *stop, int out_fd,
                   char **line, struct fault *why);
/* Send what can be sent until the deadline.  That something failed shows when the
 * answer is read: what was said before the end counts. */
void send_line(struct link *l, const char *line, size_t len, int64_t deadline);

#endif
