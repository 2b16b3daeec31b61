/* SPDX-License-Identifier: MIT */
/*
 * What a client may ask of the bench: the methods of protocol/WIRE.md that are
 * not answered from the log, each a call of the bench.  Server and bench do not
 * know each other; this is the second half of main.c, where they meet.
 */
#ifndef TALLY_MAIN_CALLS_H
#define TALLY_MAIN_CALLS_H

#include "daemon/bench.h"
#include "daemon/main_photo.h"
#include "daemon/server.h"

struct calls {
	struct bench *bench;
	int64_t (*now)(void *arg); /* stream time, us */
	void *arg;
	/* What stands in the way of the meters; answers the call later.  NULL: nobody knows. */
	void (*doctor)(void *arg, struct server_call *call);
	/* Takes the configuration anew, and says what came of it; false with *why, and nothing
	 * changed.  NULL: there is none to take. */
	bool (*reload)(void *arg, struct text *out, struct fault *why);
	/* How everything stands; NULL: nobody knows. */
	void (*health)(void *arg, struct text *out);
	struct photos *photos; /* NULL: none are taken */
	const char *log;       /* its path */
	uv_loop_t *loop;       /* where the log is asked before a rise; NULL: it is not */
};

/* A server hook; `arg` is a struct calls. */
bool calls_call(void *arg, struct server_call *call, const char *method, json_t *params,
                unsigned uid);

#endif
