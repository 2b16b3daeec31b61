/* SPDX-License-Identifier: MIT */
/*
 * The line to the daemon: a Unix socket, or a `tallyd --serve FILE` of our own.
 *
 * Blocking calls with time-outs, one at a time; protocol/WIRE.md is what is spoken.
 * The texts that arrive are kept as they are: `result` and `params` are slices of
 * the line, so that a sealed record can be printed byte for byte.
 *
 * Bounds: a line is at most WIRE_LINE_MAX bytes; notifications that arrive while an
 * answer is awaited are kept, at most LINK_KEPT_MAX.  A peer that breaks these, or
 * that sends what is no JSON-RPC 2.0, is not talked to any further.
 */
#ifndef TALLY_CLIENT_LINK_H
#define TALLY_CLIENT_LINK_H

#include "client/outcome.h"
#include "protocol/record/text.h"
#include "protocol/trade/fault.h"

#include <jansson.h>
#include <signal.h>

/* Where a daemon listens unless told otherwise. */
#define LINK_SOCKET "/run/tally/tally.sock"

/* How long is waited, in ms.  An answer may have to wait for a disk that stalls;
 * a log of gigabytes is verified as long as it takes. */
#define LINK_HELLO_MS 5000
#define LINK_SERVE_HELLO_MS 30000
#define LINK_CALL_MS 30000
#define LINK_FOREVER (-1)

#define LINK_KEPT_MAX 256

struct link_target {
	const char *socket;  /* path of the socket; ignored where file is given */
	const char *file;    /* a log: it is served by a daemon of our own; or NULL */
	const char *program; /* that daemon; NULL: beside our executable, then PATH */
	int timeout_ms;      /* for hello and calls that are not LINK_FOREVER; 0: as above */
};

struct link;

/* What came: free with message_free. */
struct message {
	char *line;           /* the whole line; the slices point into it */
	struct slice result;  /* of an answer that is one */
	struct slice method;  /* of a notification, without quotes */
	struct slice params;
	int code;             /* of an error answer, 0 for none ... */
	struct fault why;     /* ... and what it says */
};
void message_free(struct message *m);
/* Understand a line, which *m then owns: a notification, or an answer with its id.
 * False: it is no message of this protocol (*m owns the line all the same). */
bool message_read(char *line, struct message *m, struct slice *id);
/* Why a socket could not be connected to, and what to do. */
void link_connect_fault(const char *path, int error, struct fault *why);

/* What `hello` said. */
struct link_hello {
	char bench[64], version[64], identity[64];
	bool live;
};

/* Connect and say hello.  NULL with the outcome and a sentence that helps. */
struct link *link_open(const struct link_target *target, enum outcome *outcome,
                       struct fault *why);
/* Did a daemon at a socket close the connection, with nothing half said? */
bool link_cut_off(const struct link *l);
void link_close(struct link *l);
const struct link_hello *link_hello(const struct link *l);

/*
 * Call and wait for the answer.  `params` is taken over (NULL for none).  Returns
 * OUTCOME_DONE with m->result; else the outcome, with the sentence in m->why.
 * Where the link is lost, the sentence says so, and for a call that changes
 * something that it may or may not have been done.  Always message_free(m).
 */
enum outcome link_call(struct link *l, const char *method, json_t *params, int timeout_ms,
                       struct message *m);

/* For calls that take their time: *stop ends the waiting (OUTCOME_UNREACHABLE; closing the link
 * then ends the work), and notifications `progress` are handed on.  Both may be NULL. */
void link_patience(struct link *l, const volatile sig_atomic_t *stop,
                   void (*progress)(void *arg, int64_t done, int64_t all), void *arg);

enum link_next { LINK_LOST = -1, LINK_NOTHING = 0, LINK_MESSAGE = 1 };

/*
 * The next notification.  LINK_NOTHING where the time ran out, *stop became true,
 * or nobody reads `out_fd` any more (a closed pipe; -1 to not look).  LINK_LOST
 * with m->why.  stop may be NULL.
 */
enum link_next link_next(struct link *l, int timeout_ms, const volatile sig_atomic_t *stop,
                         int out_fd, struct message *m);

#endif
