/* SPDX-License-Identifier: MIT */
/*
 * The running daemon, in one struct that the parts of main share:
 *
 *     main.c          the command line
 *     main_live.c     beginning and end, time, the loop
 *     main_lines.c    the lines: bytes, tapes, plugs
 *     main_hooks.c    what bench and log say, to clients and to the journal
 *     main_service.c  the service manager: ready, watchdog, reload by signal
 *     main_reload.c   another configuration while it runs
 *     main_health.c   how everything stands
 *     main_calls.c    what a client may ask of the bench
 *
 * Everything here runs on the loop's thread.
 */
#ifndef TALLY_MAIN_STAND_H
#define TALLY_MAIN_STAND_H

#include "daemon/bench.h"
#include "daemon/bus.h"
#include "daemon/clocks.h"
#include "daemon/hotplug.h"
#include "daemon/log.h"
#include "daemon/main_calls.h"
#include "daemon/main_doctor.h"
#include "daemon/notify.h"
#include "daemon/port.h"
#include "daemon/say.h"
#include "daemon/server.h"

#include <uv.h>

struct stand;

/* The line of one meter; on the heap, for the port calls it back. */
struct line {
	struct stand *stand;
	int meter;      /* its index in the configuration and on the bench; -1: it closes */
	char name[NAME_SIZE];
	struct port *port;
	int64_t last;   /* when bytes came last */
	bool middle;    /* they ended in the middle of a line */
	bool taped;     /* somebody has a tape of it running */
	bool looked;    /* it was opened, or could not be, at least once */
	bool clogged;   /* it does not take what it is asked, and that was said */
	int64_t opened; /* when it was opened last */
	struct look look; /* at its bytes since then, for the doctor */
};

/* From the command line: above what the file says, at a reload too. */
struct orders {
	const char *config, *log, *socket; /* NULL where nothing was said */
};

struct stand {
	uv_loop_t loop;
	uv_prepare_t prepare;
	uv_timer_t deadline; /* of the bench */
	uv_timer_t second;   /* the wall clock, looked at */
	uv_timer_t live;     /* live values, while anyone looks */
	uv_timer_t watchdog; /* a sign of life for the service manager */
	uv_async_t results;  /* of the log */
	uv_signal_t term, interrupt, hangup;
	bool ended; /* by a signal, before the log was open */
	uint64_t hr0;        /* uv_hrtime at stream time 0, ns */
	int64_t utc;         /* at stream time 0, us */
	struct clocks clocks;
	struct orders orders;
	struct config *config;
	struct config *before[4]; /* older ones that a doctor at work may still look at */
	int befores, doctors;
	struct log *log;
	struct bench *bench;
	struct server *server;
	struct calls calls;
	struct notify notify;
	uint64_t log_quiet;      /* uv_now since when the log's thread gives no sign; 0: it does */
	enum log_health health;  /* last said */
	bool wal_said;           /* LOG-wal grew past its alarm */
	int64_t stepped_at, step; /* the wall clock was set last: stream time, by how much */
	struct line *line[CONFIG_METERS_MAX]; /* of each meter of the configuration */
	int lines_closing;       /* lines that are not wholly closed: no new one is opened meanwhile */
	struct bus bus;          /* looked at by all lines together */
	struct hotplug *hotplug; /* says when; NULL where nothing does */
	bool no_hotplug;         /* nothing does, and that was said */
	int64_t config_read;     /* UTC at which the configuration was read, us */
	bool reloaded;           /* not the one with which the daemon began */
	char reload_fault[700];  /* why the last one was refused; "" where it was not */
	bool begun;              /* everything is open, the loop runs */
	bool stopping;
	bool refused; /* another daemon has one of our lines */
	bool unlogged; /* at the end the log took nothing */
};

/* main_live.c */
/* Runs until it is told to end; returns the exit status.  The configuration is the stand's
 * from here on. */
int live_run(struct config *config, const struct orders *orders);
int64_t utc_now(void);
int64_t stream_now(void *stand);
/* Before anything that came is given a time: was the clock set, did the machine sleep? */
void look_at_clocks(struct stand *s, int64_t t);
void stand_stop(struct stand *s);
/* Older configurations that nobody looks at any more. */
void stand_forget(struct stand *s);

/* main_lines.c */
bool lines_open(struct stand *s, struct fault *why);
/* It is closed, and gone then. */
void line_end(struct line *l);
/* Every meter that has no line gets one, as soon as those that close are closed: the port may
 * be the same. */
void lines_settle(struct stand *s);
void lines_close(struct stand *s);
void tape_act(struct stand *s, const char *meter, int64_t t, const char *act, const char *rest);

/* main_hooks.c */
struct bench_hooks stand_bench_hooks(struct stand *s);
struct server_hooks stand_server_hooks(struct stand *s);
void call_doctor(void *stand, struct server_call *call);
void log_notify(void *stand);   /* log_options.notify */
void on_results(uv_async_t *async);
void on_live(uv_timer_t *timer);

/* main_service.c */
void service_begin(struct stand *s);
void service_ready(struct stand *s); /* READY, and the watchdog is fed from here on */
void service_stopping(struct stand *s);
void service_end(struct stand *s);
void service_reloading(struct stand *s);
void service_reloaded(struct stand *s);

/* main_reload.c */
struct text;
/* Reads the configuration and its dialects anew, all of it, and only then takes it: meters
 * whose section says the same go on as they are.  False with *why, and everything as it was,
 * where anything is wrong.  `out` (NULL for none): what came of it, a JSON object. */
bool stand_reload(struct stand *s, struct text *out, struct fault *why);
bool call_reload(void *stand, struct text *out, struct fault *why);

/* main_health.c */
/* The member `service` of `status` (protocol/WIRE.md). */
void call_health(void *stand, struct text *out);

#endif
