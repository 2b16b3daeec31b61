/* SPDX-License-Identifier: MIT */
/*
 * A connection to the daemon that never makes anyone wait: it connects, says hello, calls
 * and hears on a uv loop, and where the daemon goes away it tries again until it is back.
 * (link.h is its blocking sister, for the verbs that ask once.)
 *
 * SIGPIPE must be ignored by the program.  Bounds: lines of WIRE_LINE_MAX bytes; FOLLOW_CALLS_MAX calls on their way, one more
 * is refused.  A daemon that does not answer hello within 5 s is left and tried again.
 */
#ifndef TALLY_CLIENT_FOLLOW_H
#define TALLY_CLIENT_FOLLOW_H

#include "client/link.h"

#include <uv.h>

#define FOLLOW_CALLS_MAX 64
#define FOLLOW_RETRY_MS 300

/* The code of an answer that did not come: it is not known whether it was done. */
#define FOLLOW_LOST (-1)

struct follow;

struct follow_hooks {
	void (*connected)(void *arg, struct slice hello); /* may call at once */
	/* The connection is lost (again); `why` for people.  Open calls were answered with
	 * FOLLOW_LOST before.  Also called, once, where the first try fails. */
	void (*away)(void *arg, const char *why);
	void (*news)(void *arg, struct slice method, struct slice params);
	void *arg;
};

/* code 0: `result` holds; else why says what is wrong. */
typedef void follow_answer(void *arg, int code, struct slice result, const char *why);

/* NULL without memory.  The loop must outlive it; the socket's path is copied. */
struct follow *follow_open(uv_loop_t *loop, const char *socket, const struct follow_hooks *hooks);
/* No hook and no answer is called any more.  The loop has to run until it is done. */
void follow_close(struct follow *f);

/* Call: `params` is a JSON object text, NULL for none; `tag` comes back with the answer.
 * False where it is not connected or too much is on its way. */
bool follow_call(struct follow *f, const char *method, const char *params, follow_answer *answer,
                 void *arg);

#endif
