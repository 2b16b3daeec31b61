/* SPDX-License-Identifier: MIT */
/*
 * What the files of the server share: connections, calls on their way, and jobs
 * for the readers.  For server*.c only.
 *
 *     server.c         the socket: who holds it, listening, closing
 *     server_caller.c  one connection: its beginning, its lines, its end
 *     server_out.c     its output, bounded
 *     server_call.c    JSON-RPC: a line becomes a call, a call gets its answer
 *     server_watch.c   cursors over the log, events, live, frames, tapes
 *     server_reader.c  jobs that read the log, off the loop
 *     server_serve.c   the same calls over standard input and output
 */
#ifndef TALLY_SERVER_PRIVATE_H
#define TALLY_SERVER_PRIVATE_H

#include "daemon/log.h"
#include "daemon/query_answer.h"
#include "daemon/server.h"
#include "protocol/record/text.h"
#include "protocol/record/wire.h"
#include "protocol/trade/position.h"

#include <stdatomic.h>

#define CALLERS_MAX SERVER_CALLERS_MAX /* of one door */
#define LINGERERS_MAX 16            /* told why and not yet gone; more are closed at once */
#define OUT_MAX (4u << 20)          /* waiting for one client, chunks' own size counted */
#define OUT_BATCH (256u << 10)      /* handed to the kernel at once */
#define RECORDS_LOW (256u << 10)    /* fewer answers and records waiting: read on for a watcher */
#define PAGE_RECORDS 256            /* read from the log for a watcher at once, */
#define PAGE_BYTES (256u << 10)     /* and no more than this (but one record at least) */
#define SUBSCRIPTIONS_MAX 64        /* meters that one client follows */
#define LINGER_MS 1000
#define CLOSE_MS 1000
#define RETRY_MS 1000               /* after the log could not be read for a watcher */
#define SWEEP_MS 250
#define LIVE_MS 50                  /* 20 a second */
#define GREETING_MS 10000           /* without hello for so long: may be put out for another */

/* ---- one connection ---- */

enum chunk_kind {
	CHUNK_ANSWER, /* never dropped: the client is, where it does not read them */
	CHUNK_RECORD, /* never dropped: read from the log only when there is room */
	CHUNK_LOSSY,  /* event, frame, tape: the oldest are dropped and counted */
	CHUNK_LIVE,   /* the same, and a newer one replaces an older one that waits */
};

struct chunk {
	struct chunk *next;
	enum chunk_kind kind;
	size_t params_at; /* lossy: where the first member of params would stand */
	size_t len;
	char bytes[];
};

enum caller_state {
	CALLER_OPEN,
	CALLER_ENDING,  /* reads no more; what is due is answered and written, then closed */
	CALLER_LINGER,  /* told why; what still comes is passed over, until the peer ends */
	CALLER_CLOSING, /* uv_close was called */
};

struct watch {
	bool on, live;
	uint64_t stuck;         /* uv_now when the log could not be read; tried again later */
	int64_t cursor;         /* seq of the last record put into the output */
	struct job *page;       /* being read */
};

struct caller {
	uv_pipe_t pipe; /* first: handle and client are one address */
	struct server *server;
	struct caller *next, **link;
	enum caller_state state;
	unsigned uid;
	uint64_t since; /* uv_now at the connection, or when lingering began */
	bool greeted, ended, reading, in_lines;
	struct door *door;
	bool counted; /* among the callers of its door; else among lingerers, until it closes */
	bool linger; /* when all is written: pass over what still comes for a while */

	char *in; /* what came and is not answered yet */
	size_t in_len, in_size, scanned;

	struct server_call *call; /* the one on its way; answers keep the order of calls */

	struct chunk *head, **tail; /* waiting */
	struct chunk *flying;       /* with the kernel */
	size_t out_bytes, solid_bytes; /* waiting and flying: all, answers and records */
	uint64_t lost;              /* lossy chunks dropped since the last one written */
	uv_write_t write;

	struct watch watch;
	char (*frames)[NAME_SIZE]; /* meters followed by `raw` */
	size_t frame_count;
	char (*tape)[NAME_SIZE];   /* meters followed by `tape` */
	size_t tape_count;
	bool tape_on, tape_all;
	bool voice; /* it says names aloud */
};

void caller_accept(struct door *door);
/* Put a message (with its LF) into the output; it is copied.  False where there is
 * no room for it (lossy: dropped and counted) or the client is going. */
bool caller_send(struct caller *c, enum chunk_kind kind, const char *bytes, size_t len,
                 size_t params_at);
void caller_forget_output(struct caller *c);
/* Going, and nothing is due any more: close. */
void caller_finish(struct caller *c);
/* Go on with the lines that wait (after an answer). */
void caller_lines(struct caller *c);
/* No more input; close when all is answered and written. */
void caller_end(struct caller *c, bool linger);
/* Close now; what waits is lost. */
void caller_drop(struct caller *c);
/* Lingerers that had their time, watchers that wait for a readable log. */
void server_sweep(uv_timer_t *timer);
void server_need_sweep(struct server *s);
void server_say(struct server *s, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* ---- one call ---- */

struct server_call {
	struct caller *caller; /* NULL once it is gone: the answer goes nowhere */
	char *id;              /* as it was written; NULL: a notification, never answered */
};

/* A line as a request, for the socket and for --serve alike. */
struct request {
	char method[64];
	struct slice id; /* in the line; at == NULL: a notification */
	json_t *params;  /* owned; an object */
};

/* Understand a line.  On false `code` and `why` say what to answer, to `id`
 * ("null" where none could be read); WIRE_NOT_JSON ends the connection. */
bool request_read(const char *line, size_t len, struct request *out, int *code,
                  struct fault *why);
/* The two kinds of answers, with their LF, appended to `out`. */
void answer_compose(struct answer *out, const char *id, const char *result, size_t len);
void refusal_compose(struct answer *out, const char *id, int code, const struct fault *why);

/* Nothing but white space: passed over, so that a person may type. */
bool line_blank(const char *line, size_t len);
void caller_line(struct caller *c, const char *line, size_t len);
/* A refusal that belongs to no call (id null), and the end of the connection. */
void caller_refuse(struct caller *c, int code, const struct fault *why);
void fault_too_long(struct fault *why);

bool hello_params(json_t *params, int *code, struct fault *why);
/* The text of hello's result, NULL with *why.  `bench` NULL: as the log says.
 * *last: seq of the last record. */
char *hello_text(struct log_reader *reader, const char *bench, const char *version, bool live,
                 int64_t *last, struct fault *why);

/* ---- jobs that read the log ---- */

struct job {
	struct job *next;
	/* On the reader's thread; `reader` is NULL where the log could not be opened
	 * (job->why says so). */
	void (*run)(struct job *job, struct log_reader *reader);
	void (*done)(struct job *job); /* on the loop; frees what the job holds, not the job */
	struct server *server;
	struct caller *caller;    /* a page's; NULL once it is gone or begins anew */
	struct server_call *call; /* a question's */
	char *method;
	json_t *params;
	bool progress; /* the caller wants to hear how far it is */
	int64_t after, last;
	char *text; /* the answer, or a page of records */
	size_t text_len;
	int code;
	struct fault why;
};

/* One connection to the log, used by one job at a time, in order. */
struct lane {
	uv_work_t work; /* first */
	atomic_bool stop;                   /* nobody waits for the answer any more */
	atomic_int_fast64_t records, all;   /* how far the job has come; 0: nothing to say */
	int64_t told;                       /* of these, to the caller */
	struct server *server;
	struct log_reader *reader;
	struct job *now, *head, **tail;
};

enum lane_kind {
	LANE_PROMPT, /* pages for watchers and all questions that end soon */
	LANE_LONG,   /* verify, so that nothing waits behind it */
	LANES
};

void lane_init(struct lane *lane, struct server *s);
void lane_add(struct lane *lane, struct job *job);
void lane_close(struct lane *lane); /* what waits is thrown away; check lane->now */
struct job *job_new(struct server *s);
/* The caller is gone: what runs for it alone ends soon. */
void lane_forget(struct lane *lane, const struct caller *c);
/* From time to time while a job runs: how far it is, and is the caller still there? */
void lane_look(struct lane *lane);

/* ---- subscriptions ---- */

/* True where the server itself answers `method` (watch, raw, tape). */
bool watch_call(struct caller *c, struct server_call *call, const char *method, json_t *params);
/* Read on for this client, if it lags and has room. */
void watch_pump(struct caller *c);
void watch_end(struct caller *c);

/* ---- the server ---- */

/* A socket that clients come in by. */
struct door {
	uv_pipe_t listener; /* first */
	struct server *server;
	char *path;
	bool viewers;   /* through this one nothing can be changed */
	bool owns_path; /* made here, so removed here */
	uint64_t path_dev, path_ino;
	int callers;
	bool accept_later; /* there was no memory for the one that waits */
};

enum door_kind {
	DOOR_BENCH,
	DOOR_VIEWERS, /* where the configuration names one; else its path is NULL */
	DOORS
};

struct server {
	uv_loop_t *loop;
	struct server_hooks hooks;
	char *log_path, *bench, *version;

	struct door door[DOORS];
	uv_timer_t live_timer, sweep_timer, close_timer;
	int handles; /* the listeners and the three above, not closed yet */
	bool closing;
	void (*closed)(void *arg);
	void *closed_arg;

	struct caller *callers;
	int lingerers, voices;
	struct caller *taping; /* whose tape begins just now, NULL for none */
	char scratch[64u << 10];     /* every read lands here first */

	struct lane lane[LANES];
	int64_t last; /* seq of the newest record known to be durable */

	char *live; /* the newest `live`, not sent yet */
	uint64_t live_sent;
};

/* A connection or a lane is done: when closing, look whether all are. */
void server_check_closed(struct server *s);

#endif
