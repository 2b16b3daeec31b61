/* SPDX-License-Identifier: MIT */
/*
 * A tallyd of our own: over one log file (`tallyd --serve FILE`), or for a question that
 * needs no running one.  It is found beside the executable of tally (so that a build
 * directory works), then on PATH.
 */
#ifndef TALLY_CLIENT_SPAWN_H
#define TALLY_CLIENT_SPAWN_H

#include "protocol/trade/fault.h"

#include <limits.h>
#include <stdbool.h>
#include <sys/types.h>

struct spawn {
	pid_t pid;
	int fd; /* its standard input and output, both ways; close-on-exec */
};

/* A program on PATH that may be run, by its full path; false where there is none. */
bool spawn_find(const char *program, char out[PATH_MAX]);

/* A program of ours: beside the executable of tally, else on PATH. */
bool spawn_find_ours(const char *program, char out[PATH_MAX]);

/* program NULL: looked for.  What it writes to standard error goes to ours. */
bool spawn_open(const char *program, const char *file, struct spawn *out, struct fault *why);
/* The same with arguments of one's own, NULL at the end. */
bool spawn_run(const char *program, const char *const *arguments, struct spawn *out,
               struct fault *why);
/* Closes the line and waits for its end: 2 s, then asks it to (SIGTERM), 2 s more,
 * then makes it.  Returns its exit status, 128 + the signal where one ended it. */
int spawn_close(struct spawn *s);

#endif
