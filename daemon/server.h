/* SPDX-License-Identifier: MIT */
/*
 * The Unix socket that clients talk to: protocol/WIRE.md.
 *
 * The server knows the wire and the log's readers, and nothing of the bench:
 * what a client asks of the bench goes through `hooks`, wired in main.c.  It
 * answers by itself: hello, watch, raw, tape, and every query marked *file*
 * there (through query.h, on a thread with a read-only connection).
 *
 * Bounds: a line 1 MiB, 64 connections (and 64 viewers), 4 MiB of output waiting for one client
 * (beyond it notifications other than records are dropped and counted, and one
 * that does not read its answers loses its connection).  A client that breaks them
 * loses its own connection, nothing else.
 *
 * Everything here runs on the loop's thread; only the log is read elsewhere, in
 * libuv's thread pool, so no call waits for a disk.  SIGPIPE is ignored from
 * server_open and server_serve on.
 */
#ifndef TALLY_SERVER_H
#define TALLY_SERVER_H

#include "protocol/trade/fault.h"

#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>
#include <uv.h>

struct server;
struct server_call; /* one call on its way; belongs to the server */

struct server_hooks {
	/* A method that the server does not answer itself.  The hook answers now or
	 * later, exactly once, by server_answer or server_refuse, also when the client
	 * or the server is gone by then; `params` is an object (empty where none was
	 * sent) and is borrowed for the call; params_read of query_params.h reads it.
	 * `uid` is the peer's.  Returns false, without an answer, where there is no
	 * such method. */
	bool (*call)(void *arg, struct server_call *call, const char *method, json_t *params,
	             unsigned uid);
	/* Is there a meter of that name?  Asked before its frames or tape are followed. */
	bool (*has_meter)(void *arg, const char *name);
	/* One line for the daemon's standard error (a client was put out, the log
	 * cannot be read); may be NULL. */
	void (*say)(void *arg, const char *text);
	/* A tape begins: what server_tape is given during this call goes to it alone, and
	 * says how things stand.  May be NULL. */
	void (*tape_begins)(void *arg);
	/* The last connection with a voice (server_voice) has ended; not when the server closes.
	 * May be NULL. */
	void (*voiceless)(void *arg);
	void *arg;
};

struct server_options {
	const char *path;     /* of the socket; up to 107 bytes */
	const char *viewers_path; /* of a second one through which nothing can be changed: its
	                       * mode is 0666, it has connections of its own; NULL or "": none */
	const char *log_path; /* for the readers: what log_path() says */
	const char *bench, *version;
	struct server_hooks hooks;
};

/* Listens, or says who holds the socket.  A socket file that nobody listens on is
 * replaced; one that somebody answers on is not, nor is a file that is no socket.
 * The mode is 0660.  Where a service manager handed over a listening socket
 * (inherit.h), that is used and its path is not touched.  Everything in
 * options is copied. */
struct server *server_open(uv_loop_t *loop, const struct server_options *options,
                           struct fault *why);
/* Stops listening, closes every connection after calls on their way were answered
 * and what waits was written (at most 1 s), removes the socket file; closed() is
 * called when all handles are closed and no job reads the log any more (a verify
 * of a large log is not interrupted), and `s` is gone then. */
void server_close(struct server *s, void (*closed)(void *arg), void *arg);

/* `result` is a JSON text (an object), put into the answer as it stands, but that
 * line breaks become spaces.  The call is over and belongs to nobody then. */
void server_answer(struct server_call *call, const char *result);
/* `code` as in WIRE.md; file, line and column of the fault go into data. */
void server_refuse(struct server_call *call, int code, const struct fault *why);

/* Who makes this call says names aloud, or does so no more: kept with the connection.
 * Returns how many connections do now. */
int server_voice(struct server_call *call, bool on);

/* A record became durable: goes to the watchers that are up to date; those that
 * lag read it from the log.  In the order of seq. */
void server_record(struct server *s, int64_t seq, const char *text, size_t len);
/* A notification for every watcher; `params` is a JSON object text. */
void server_event(struct server *s, const char *params);
/* The same for `live`: latest wins, held back to 20 a second. */
void server_live(struct server *s, const char *params);
/* For those who asked for the frames of this meter. */
void server_frame(struct server *s, const char *meter, const char *params);
/* For tapes: a line of a recording, of a meter or (NULL) of the technician. */
void server_tape(struct server *s, const char *meter, const char *line, size_t len);
/* Is anyone listening?  So that nothing is formatted for nobody. */
bool server_wants_live(const struct server *s);
bool server_wants_frames(const struct server *s, const char *meter);
bool server_wants_tape(const struct server *s, const char *meter);

#define SERVER_CALLERS_MAX 64 /* of one door */
/* Connections at this moment, of the bench's socket or the viewers'. */
int server_callers(const struct server *s, bool viewers);

/* `tallyd --serve FILE`: answer on standard input and output until end of file.
 * Returns the exit status: 0 at end of file, 1 where nobody reads the answers, 2
 * where FILE is no log (said on standard error) or a line was no JSON. */
int server_serve(const char *file, const char *version);

#endif
