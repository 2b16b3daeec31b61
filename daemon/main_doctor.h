/* SPDX-License-Identifier: MIT */
/*
 * The facts for the doctor (doctor.h), gathered where lines, bench and machine meet:
 * the third part of main.c.
 *
 * With a running daemon: main.c says how its lines stand (doctor_new, then each meter),
 * and doctor_answer adds the bench's counters at once, and the rest (adapters, rights, who
 * holds what, the look of the bytes) on a thread of libuv's pool, so that no line waits.
 * Without one: doctor_alone, which opens no line and sends nothing.
 */
#ifndef TALLY_MAIN_DOCTOR_H
#define TALLY_MAIN_DOCTOR_H

#include "daemon/bench.h"
#include "daemon/doctor.h"
#include "daemon/server.h"

/* The meters of the configuration, nothing known of their lines.  `health`: the log's
 * word.  NULL without memory.  The configuration must outlive the answer. */
struct doctor *doctor_new(const struct config *config, const char *health);
/* Answers the call, later, and frees `d` (which may be NULL: no memory).  Then, or at once,
 * done() is called: the configuration is not looked at any more. */
void doctor_answer(uv_loop_t *loop, struct doctor *d, const struct bench *bench, int64_t t,
                   struct server_call *call, void (*done)(void *arg), void *arg);

/* `tallyd --doctor`: the same without a daemon, as one line of JSON on standard output.
 * The three names may be NULL.  Returns the exit status: 0 where nothing stands in the
 * way, 1 where something does. */
int doctor_alone(const char *config, const char *log, const char *socket);

#endif
