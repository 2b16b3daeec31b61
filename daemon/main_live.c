/* SPDX-License-Identifier: MIT */
/*
 * The running daemon from its beginning to its end: a part of main (main_stand.h).
 *
 * Everything starts in this order, each step for a reason:
 *   1. the configuration, whole or not at all (main.c);
 *   2. the log, which takes its lock and verifies its chain: nothing may be read
 *      that could not be kept;
 *   3. the bench, which reads the open job back;
 *   4. the socket: from here on a client finds a daemon that works;
 *   5. the lines: now bytes may come; and the service manager hears READY.
 * It ends in the reverse order, and the log is the last to be closed.
 */
#include "daemon/main_stand.h"

#include "daemon/first_line.h"

#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define LIVE_EVERY_MS 50

/* ---- time ---- */

int64_t utc_now(void)
{
	struct timespec ts;
	clock_gettime(CLOCK_REALTIME, &ts);
	return (int64_t)ts.tv_sec * 1000000 + ts.tv_nsec / 1000;
}

static int64_t boot_now(void)
{
	struct timespec ts;
	clock_gettime(CLOCK_BOOTTIME, &ts);
	return (int64_t)ts.tv_sec * 1000000 + ts.tv_nsec / 1000;
}

int64_t stream_now(void *arg)
{
	struct stand *s = arg;
	return (int64_t)((uv_hrtime() - s->hr0) / 1000);
}

static void on_deadline(uv_timer_t *timer)
{
	struct stand *s = timer->data;
	bench_run_until(s->bench, stream_now(s));
}

/* Before the loop sleeps: wake at the bench's next deadline. */
static void on_prepare(uv_prepare_t *prepare)
{
	struct stand *s = prepare->data;
	int64_t wait = bench_deadline(s->bench) - stream_now(s);
	uint64_t ms = wait <= 0 ? 0 : (uint64_t)(wait / 1000 + 1);
	uv_update_time(&s->loop);
	uv_timer_start(&s->deadline, on_deadline, ms < 3600000 ? ms : 3600000, 0);
	/* Live values are made only while somebody looks. */
	bool wanted = server_wants_live(s->server);
	bool ticking = uv_is_active((uv_handle_t *)&s->live);
	if (wanted && !ticking)
		uv_timer_start(&s->live, on_live, LIVE_EVERY_MS, LIVE_EVERY_MS);
	else if (!wanted && ticking)
		uv_timer_stop(&s->live);
}

/* Somebody holds a read transaction open and keeps the log from tidying up. */
static void watch_wal(struct stand *s)
{
	bool high = log_wal_bytes(s->log) > LOG_WAL_ALARM;
	if (high && !s->wal_said)
		say_of(&(struct say_about){.level = SAY_WARNING, .event = "log", .source = "log"},
		       "%s-wal has grown past %d MiB: some program holds the log open for reading",
		       s->config->log, LOG_WAL_ALARM >> 20);
	s->wal_said = high;
}

/* Once a second, and before anything that came is given a time: what comes first after a sleep
 * belongs behind it. */
void look_at_clocks(struct stand *s, int64_t t)
{
	struct clocks_change change = clocks_look(&s->clocks, t, boot_now(), utc_now());
	const struct say_about about = {.level = SAY_NOTICE, .event = "clock", .source = "clock"};
	if (change.slept) {
		say_of(&about, "the machine slept for %.3f s", (double)change.slept / 1e6);
		bench_slept(s->bench, t, change.slept);
	}
	if (change.step) {
		say_of(&about, "the wall clock was set by %+.3f s", (double)change.step / 1e6);
		s->stepped_at = t;
		s->step = change.step;
		bench_clock(s->bench, t, s->clocks.utc);
	}
	s->utc = s->clocks.utc;
}

static void on_second(uv_timer_t *timer)
{
	struct stand *s = timer->data;
	watch_wal(s);
	look_at_clocks(s, stream_now(s));
	say_left_out();
}

/* ---- beginning ---- */

/* Signals wait while the log is opened: was the end asked for meanwhile? */
static bool nobody_ended_us(void *arg, int64_t done, int64_t all)
{
	struct stand *s = arg;
	sigset_t waiting;
	(void)done, (void)all;
	sigpending(&waiting);
	s->ended = sigismember(&waiting, SIGTERM) == 1 || sigismember(&waiting, SIGINT) == 1;
	return !s->ended;
}

static bool open_log(struct stand *s, struct fault *why)
{
	sigset_t ends;
	struct log_options options = {.path = s->config->log, .bench = s->config->name,
	                              .version = TALLY_VERSION, .now = utc_now(),
	                              .notify = log_notify, .arg = s, .set_aside = true,
	                              .going = {nobody_ended_us, s}};
	notify_send(&s->notify, "STATUS=verifying %s", s->config->log);
	sigemptyset(&ends);
	sigaddset(&ends, SIGTERM);
	sigaddset(&ends, SIGINT);
	pthread_sigmask(SIG_BLOCK, &ends, NULL);
	s->log = log_open(&options, why);
	pthread_sigmask(SIG_UNBLOCK, &ends, NULL);
	if (s->log)
		say_of(&(struct say_about){.event = "log"}, "%s: %s", s->config->log, log_opening(s->log));
	return s->log != NULL;
}

static bool open_bench(struct stand *s, struct fault *why)
{
	char boot[64];
	/* So that times of one boot can be told together. */
	first_line("/proc/sys/kernel/random/boot_id", boot, sizeof boot);
	s->hr0 = uv_hrtime();
	s->utc = utc_now();
	clocks_begin(&s->clocks, 0, boot_now(), s->utc);
	struct bench_options options = {.config = s->config, .log = s->log, .utc = s->utc,
	                                .boot = boot, .version = TALLY_VERSION,
	                                .hooks = stand_bench_hooks(s)};
	s->bench = bench_open(&options, why);
	if (!s->bench)
		return false;
	struct log_reader *reader = log_reader_open(log_path(s->log), why);
	bool good = reader && bench_restore(s->bench, reader, why);
	if (good)
		bench_resume(s->bench, reader);
	log_reader_close(reader);
	return good;
}

static bool open_server(struct stand *s, struct fault *why)
{
	s->calls = (struct calls){.bench = s->bench, .now = stream_now, .arg = s, .doctor = call_doctor,
	                          .reload = call_reload, .health = call_health,
	                          .photos = photos_open(&s->loop, log_path(s->log)),
	                          .log = log_path(s->log), .loop = &s->loop};
	struct server_options options = {
	    .path = s->config->socket, .viewers_path = s->config->viewers,
	    .log_path = log_path(s->log), .bench = s->config->name,
	    .version = TALLY_VERSION, .hooks = stand_server_hooks(s)};
	s->server = server_open(&s->loop, &options, why);
	return s->server != NULL;
}

/* ---- end ---- */

static void on_server_closed(void *arg)
{
	struct stand *s = arg;
	s->server = NULL;
}

static void close_handle(uv_handle_t *handle)
{
	if (!uv_is_closing(handle))
		uv_close(handle, NULL);
}

static void close_walked(uv_handle_t *handle, void *arg)
{
	(void)arg;
	close_handle(handle);
}

void stand_stop(struct stand *s)
{
	if (s->stopping)
		return;
	s->stopping = true;
	service_stopping(s);
	uv_handle_t *handles[] = {(uv_handle_t *)&s->prepare, (uv_handle_t *)&s->deadline,
	                          (uv_handle_t *)&s->second, (uv_handle_t *)&s->live,
	                          (uv_handle_t *)&s->watchdog, (uv_handle_t *)&s->term,
	                          (uv_handle_t *)&s->interrupt, (uv_handle_t *)&s->hangup};
	for (size_t i = 0; i < sizeof handles / sizeof *handles; i++)
		close_handle(handles[i]);
	lines_close(s);
	/* Everything read so far is on disk before the last client hears of it. */
	bench_finish(s->bench, stream_now(s));
	log_flush(s->log);
	bench_collect(s->bench);
	s->unlogged = log_health(s->log) == LOG_FULL || log_health(s->log) == LOG_SUSPECT;
	if (s->unlogged)
		say_of(&(struct say_about){.level = SAY_ERROR, .event = "not-logged"},
		       "NOT LOGGED: the last readings: the log takes nothing (%s)",
		       log_health_word(log_health(s->log)));
	if (s->server)
		server_close(s->server, on_server_closed, s);
}

static void on_signal(uv_signal_t *signal, int number)
{
	struct stand *s = signal->data;
	say_of(&(struct say_about){.event = "stop"}, "%s: ending, everything is logged first",
	       number == SIGTERM ? "SIGTERM" : "SIGINT");
	stand_stop(s);
}

static void begin_handles(struct stand *s)
{
	uv_prepare_init(&s->loop, &s->prepare);
	uv_timer_init(&s->loop, &s->deadline);
	uv_timer_init(&s->loop, &s->second);
	uv_timer_init(&s->loop, &s->live);
	uv_timer_init(&s->loop, &s->watchdog);
	uv_async_init(&s->loop, &s->results, on_results);
	uv_signal_init(&s->loop, &s->term);
	uv_signal_init(&s->loop, &s->interrupt);
	uv_signal_init(&s->loop, &s->hangup);
	s->prepare.data = s->deadline.data = s->second.data = s->live.data = s;
	s->watchdog.data = s->hangup.data = s->results.data = s;
	s->term.data = s->interrupt.data = s;
	/* Before anything is opened: a signal meanwhile is heard when the loop runs, and
	 * ends what was begun in the right order. */
	uv_signal_start(&s->term, on_signal, SIGTERM);
	uv_signal_start(&s->interrupt, on_signal, SIGINT);
	signal(SIGPIPE, SIG_IGN);
}

static void start_handles(struct stand *s)
{
	uv_prepare_start(&s->prepare, on_prepare);
	uv_timer_start(&s->second, on_second, 1000, 1000);
	s->begun = true;
}

void stand_forget(struct stand *s)
{
	while (s->befores && !s->doctors) {
		struct config *c = s->before[--s->befores];
		config_free(c);
		free(c);
	}
}

int live_run(struct config *config, const struct orders *orders)
{
	/* With the rooms of all its meters it is too large for some stacks. */
	struct stand *s = calloc(1, sizeof *s);
	struct fault why;
	if (!s)
		return 2;
	s->config = config;
	s->config_read = utc_now();
	s->orders = *orders;
	uv_loop_init(&s->loop);
	say_begin();
	begin_handles(s);
	service_begin(s);
	bool good = open_log(s, &why) && open_bench(s, &why) && open_server(s, &why) &&
	            lines_open(s, &why);
	if (good) {
		start_handles(s);
		say_of(&(struct say_about){.level = SAY_NOTICE, .event = "start"},
		       "bench %s: %d meters, log %s, socket %s", config->name, config->meters, config->log,
		       config->socket);
		service_ready(s);
	} else if (s->ended) {
		say("ended by a signal while the log was verified: nothing was changed");
	} else {
		say_fault(&why);
		if (s->bench)
			stand_stop(s);
	}
	/* Until everything but the log's own handle is closed. */
	uv_unref((uv_handle_t *)&s->results);
	if (s->bench)
		uv_run(&s->loop, UV_RUN_DEFAULT);
	bench_free(s->bench);
	log_close(s->log);
	close_handle((uv_handle_t *)&s->results);
	uv_walk(&s->loop, close_walked, NULL);
	uv_run(&s->loop, UV_RUN_DEFAULT);
	uv_loop_close(&s->loop);
	photos_close(s->calls.photos);
	service_end(s);
	say_end();
	stand_forget(s);
	config_free(s->config);
	free(s->config);
	int status = s->ended ? 0 : !good || s->refused ? 2 : s->unlogged ? 4 : 0;
	free(s);
	return status;
}
