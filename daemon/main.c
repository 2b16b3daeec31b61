/* SPDX-License-Identifier: MIT */
/*
 * tallyd: where the rooms meet.
 *
 *     tallyd [--config FILE] [--log FILE] [--socket PATH]
 *     tallyd --replay FILE.rec [--sheet FILE.csv] [--config FILE] [--log FILE]
 *     tallyd --check-config [--config FILE]
 *     tallyd --serve FILE
 *     tallyd --doctor [--config FILE] [--log FILE] [--socket PATH]
 *     tallyd --new-key [--config FILE] [--log FILE]
 *     tallyd --restore FILE [--over] [--anchor SEQ:HASH] [--key FINGERPRINT] [--log FILE]
 *     tallyd --listen PORT [--line "9600 8N1"]
 *
 * Live, everything starts in this order, each step for a reason:
 *   1. the configuration, whole or not at all;
 *   2. the log, which takes its lock and verifies its chain: nothing may be read
 *      that could not be kept;
 *   3. the bench, which reads the open job back;
 *   4. the socket: from here on a client finds a daemon that works;
 *   5. the lines: now bytes may come.
 * It ends in the reverse order, and the log is the last to be closed.
 */
#include "daemon/bench.h"
#include "daemon/bus.h"
#include "daemon/clocks.h"
#include "daemon/config.h"
#include "daemon/first_line.h"
#include "daemon/hotplug.h"
#include "daemon/listen.h"
#include "daemon/log.h"
#include "daemon/main_calls.h"
#include "daemon/main_doctor.h"
#include "daemon/main_restore.h"
#include "daemon/port.h"
#include "daemon/replay.h"
#include "daemon/server.h"
#include "protocol/record/recording.h"
#include "protocol/record/text.h"

#include <getopt.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <uv.h>

#define TALLY_VERSION "0.1.0"

#define LIVE_EVERY_MS 50

struct stand {
	uv_loop_t loop;
	uv_prepare_t prepare;
	uv_timer_t deadline; /* of the bench */
	uv_timer_t second;   /* the wall clock, looked at */
	uv_timer_t live;     /* live values, while anyone looks */
	uv_async_t results;  /* of the log */
	uv_signal_t term, interrupt;
	bool ended; /* by a signal, before the log was open */
	uint64_t hr0;        /* uv_hrtime at stream time 0, ns */
	int64_t utc;         /* at stream time 0, us */
	struct clocks clocks;
	struct config *config;
	struct log *log;
	struct bench *bench;
	struct server *server;
	struct calls calls;
	enum log_health health;  /* last said */
	bool wal_said;           /* LOG-wal grew past its alarm */
	struct line {
		struct stand *stand;
		int meter;
		struct port *port;
		int64_t last;   /* when bytes came last */
		bool middle;    /* they ended in the middle of a line */
		bool taped;     /* somebody has a tape of it running */
		bool looked;    /* it was opened, or could not be, at least once */
		int64_t opened; /* when it was opened last */
		struct look look; /* at its bytes since then, for the doctor */
	} *line;
	int lines_open;
	struct bus bus;          /* looked at by all lines together */
	struct hotplug *hotplug; /* says when; NULL where nothing does */
	bool stopping;
	bool refused; /* another daemon has one of our lines */
	bool unlogged; /* at the end the log took nothing */
};

static void say(const char *format, ...) __attribute__((format(printf, 1, 2)));
static void say(const char *format, ...)
{
	va_list args;
	va_start(args, format);
	fputs("tallyd: ", stderr);
	vfprintf(stderr, format, args);
	fputc('\n', stderr);
	va_end(args);
}

static int say_fault(const struct fault *why)
{
	char line[700];
	fault_text(why, line, sizeof line);
	say("%s", line);
	return 2;
}

/* ---- time ---- */

static int64_t utc_now(void)
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

static int64_t stream_now(void *arg)
{
	struct stand *s = arg;
	return (int64_t)((uv_hrtime() - s->hr0) / 1000);
}

static void on_live(uv_timer_t *timer);

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
		say("%s-wal has grown past %d MiB: some program holds the log open for reading",
		    s->config->log, LOG_WAL_ALARM >> 20);
	s->wal_said = high;
}

/* Once a second, and before anything that came is given a time: what comes first after a sleep
 * belongs behind it. */
static void look_at_clocks(struct stand *s, int64_t t)
{
	struct clocks_change change = clocks_look(&s->clocks, t, boot_now(), utc_now());
	if (change.slept) {
		say("the machine slept for %.3f s", (double)change.slept / 1e6);
		bench_slept(s->bench, t, change.slept);
	}
	if (change.step) {
		say("the wall clock was set by %+.3f s", (double)change.step / 1e6);
		bench_clock(s->bench, t, s->clocks.utc);
	}
	s->utc = s->clocks.utc;
}

static void on_second(uv_timer_t *timer)
{
	struct stand *s = timer->data;
	watch_wal(s);
	look_at_clocks(s, stream_now(s));
}

/* ---- the lines ---- */

/* A tape that begins in the middle of a frame would hand its rest to a replay as
 * if it were whole: it begins behind the next line end, or after a silence. */
#define TAPE_SILENCE_US INT64_C(50000)

static void tape_bytes(struct line *l, int64_t t, const char *bytes, size_t len)
{
	struct stand *s = l->stand;
	const char *meter = s->config->meter[l->meter].name;
	char line[RECORDING_LINE_MAX];
	bool wanted = server_wants_tape(s->server, meter);
	bool begins = wanted && !l->taped;
	bool rest = l->middle && t - l->last < TAPE_SILENCE_US;
	l->taped = wanted;
	l->last = t;
	l->middle = bytes[len - 1] != '\n';
	if (begins && rest) {
		const char *end = memchr(bytes, '\n', len);
		l->taped = end != NULL;
		len = end ? len - (size_t)(end + 1 - bytes) : 0;
		bytes = end ? end + 1 : bytes;
	}
	if (!l->taped)
		return;
	while (len) {
		size_t part = len < 1024 ? len : 1024;
		size_t n = recording_write_bytes(t, meter, bytes, part, line, sizeof line);
		if (n > 1)
			server_tape(s->server, meter, line, n - 1);
		bytes += part;
		len -= part;
	}
}

static void tape_act(struct stand *s, const char *meter, int64_t t, const char *act,
                     const char *rest)
{
	char line[1024];
	if (!server_wants_tape(s->server, meter))
		return;
	size_t n = recording_write_act(t, act, rest, line, sizeof line);
	if (n > 1)
		server_tape(s->server, meter, line, n - 1);
}

static void stop(struct stand *s);

static void on_opened(void *arg)
{
	struct line *l = arg;
	l->looked = true;
	const char *name = l->stand->config->meter[l->meter].name;
	int64_t t = stream_now(l->stand);
	char rest[64];
	l->opened = t;
	l->look = (struct look){0};
	say("%s: line open at %s", name, port_node(l->port));
	snprintf(rest, sizeof rest, "%s back", name);
	tape_act(l->stand, name, t, "meter", rest);
	bench_line_opened(l->stand->bench, t, l->meter);
}

static void on_bytes(void *arg, const char *bytes, size_t len)
{
	struct line *l = arg;
	int64_t t = stream_now(l->stand);
	look_at_clocks(l->stand, t);
	look_bytes(&l->look, bytes, len);
	tape_bytes(l, t, bytes, len);
	bench_line_bytes(l->stand->bench, t, l->meter, bytes, len);
}

/* On a tape it is the byte FF, which no dialect of text takes for anything. */
static void on_bad_byte(void *arg)
{
	struct line *l = arg;
	int64_t t = stream_now(l->stand);
	look_bad(&l->look);
	tape_bytes(l, t, "\xff", 1);
	bench_line_bad_byte(l->stand->bench, t, l->meter);
}

static void on_gone(void *arg, const char *cause)
{
	struct line *l = arg;
	const char *name = l->stand->config->meter[l->meter].name;
	int64_t t = stream_now(l->stand);
	char rest[160];
	say("%s: line gone: %s", name, cause);
	snprintf(rest, sizeof rest, "%s gone %s", name, cause);
	tape_act(l->stand, name, t, "meter", rest);
	bench_line_gone(l->stand->bench, t, l->meter, cause);
}

/* A line that another program has is waited for.  But two daemons on one line at
 * the start are a mistake of whoever started the second, as with log and socket. */
static bool is_daemon_there(const struct fault *why)
{
	return strstr(why->text, "is held by tallyd (process ") != NULL;
}

static void on_failed(void *arg, const struct fault *why)
{
	struct line *l = arg;
	struct stand *s = l->stand;
	bool first = !l->looked;
	l->looked = true;
	say("%s: %s", s->config->meter[l->meter].name, why->text);
	bench_line_trouble(s->bench, stream_now(s), l->meter, port_state(l->port) == PORT_REFUSED,
	                   why->text);
	if (!first || !is_daemon_there(why))
		return;
	say("another daemon reads this line: end that one, or take the meter out of this "
	    "configuration");
	s->refused = true;
	stop(s);
}

/* Something was plugged or unplugged: every line looks whether it was its own. */
static void on_hotplug(void *arg)
{
	struct stand *s = arg;
	bus_forget(&s->bus);
	for (int i = 0; i < s->config->meters; i++)
		if (s->line[i].port)
			port_nudge(s->line[i].port);
}

static void on_hotplug_lost(void *arg, const struct fault *why)
{
	(void)arg;
	say("%s", why->text);
}

static void listen_for_plugs(struct stand *s)
{
	struct fault why;
	if (!s->config->meters)
		return;
	s->hotplug = hotplug_open(&s->loop, on_hotplug, on_hotplug_lost, s, &why);
	if (!s->hotplug)
		say("%s", why.text);
}

static void on_line_closed(void *arg)
{
	struct line *l = arg;
	l->port = NULL;
	l->stand->lines_open--;
}

/* ---- bench to server ---- */

static void bench_send(void *arg, const char *meter, const char *bytes, size_t len)
{
	struct stand *s = arg;
	int i = bench_meter_index(s->bench, meter);
	if (i >= 0 && s->line && s->line[i].port && !port_send(s->line[i].port, bytes, len))
		say("%s: the line does not take what it is asked", meter);
}

/* An event in words, for whoever reads the daemon's standard error. */
static void say_not_logged(const char *json)
{
	static const char *const names[] = {"position", "meter", "why"};
	char part[3][400] = {"", "", ""};
	size_t len = strlen(json);
	for (int i = 0; i < 3; i++) {
		struct slice s = json_member(json, len, names[i]);
		if (s.at && !json_text(s, part[i], sizeof part[i]))
			part[i][0] = '\0';
	}
	say("NOT LOGGED: %s%s%s%s%s%s", part[0], part[0][0] ? ", " : "", part[1][0] ? "meter " : "",
	    part[1], part[1][0] ? ": " : "", part[2]);
}

static void bench_said(void *arg, const char *json)
{
	struct stand *s = arg;
	if (strstr(json, "{\"event\":\"not-logged\"") == json)
		say_not_logged(json);
	if (s->server)
		server_event(s->server, json);
}

static void bench_framed(void *arg, const char *meter, const struct frame *f,
                         const struct understood *u)
{
	struct stand *s = arg;
	char json[4096], escaped[FRAME_MAX * 4 + 1], shown[80];
	struct text t;
	static const char *const said[] = {"readings", "identity", "error", "other", "nothing"};
	if (!s->server || !server_wants_frames(s->server, meter))
		return;
	recording_escape(f->bytes, f->len, escaped, sizeof escaped);
	text_begin(&t, json, sizeof json);
	text_puts(&t, "{\"meter\":");
	text_string(&t, meter, strlen(meter));
	text_member(&t, "t");
	text_time(&t, s->utc + f->t);
	text_member_string(&t, "bytes", escaped);
	text_member_string(&t, "fault", frame_fault_word(f->fault));
	text_member_string(&t, "said", said[u->said]);
	text_member(&t, "shown");
	text_puts(&t, "[");
	for (int i = 0; i < u->count; i++) {
		reading_shown(&u->reading[i], shown, sizeof shown);
		text_puts(&t, i ? "," : "");
		text_string(&t, shown, strlen(shown));
	}
	text_puts(&t, "]");
	text_member_string(&t, "why", u->said == SAID_NOTHING ? u->why : u->text);
	text_puts(&t, "}");
	if (!t.failed)
		server_frame(s->server, meter, json);
}

static void bench_acted(void *arg, const char *meter, int64_t t, const char *act,
                        const char *rest)
{
	struct stand *s = arg;
	if (s->server)
		tape_act(s, meter, t, act, rest);
}

static void bench_recorded(void *arg, int64_t seq, const char *text, size_t len)
{
	struct stand *s = arg;
	if (s->server)
		server_record(s->server, seq, text, len);
}

static void on_live(uv_timer_t *timer)
{
	struct stand *s = timer->data;
	char json[65536];
	struct text t;
	if (!server_wants_live(s->server))
		return;
	text_begin(&t, json, sizeof json);
	bench_live(s->bench, stream_now(s), &t);
	if (!t.failed)
		server_live(s->server, json);
}

/* ---- the doctor ---- */

static void line_facts(const struct line *l, int64_t t, struct doctor_meter *m)
{
	struct port_errors errors;
	enum port_state state = port_state(l->port);
	m->line = state == PORT_OPEN ? DOCTOR_OPEN : state == PORT_REFUSED ? DOCTOR_REFUSED
	                                                                   : DOCTOR_ABSENT;
	if (port_why(l->port))
		snprintf(m->refused, sizeof m->refused, "%s", port_why(l->port)->text);
	m->open_us = t - l->opened;
	m->quiet_us = l->look.bytes ? t - l->last : -1;
	m->framing = m->parity = m->overrun = -1;
	if (port_errors(l->port, &errors)) {
		m->framing = errors.framing;
		m->parity = errors.parity;
		m->overrun = errors.overrun + errors.lost;
	}
	m->heard = l->look;
}

static void call_doctor(void *arg, struct server_call *call)
{
	struct stand *s = arg;
	struct doctor *d = doctor_new(s->config, log_health_word(log_health(s->log)));
	int64_t t = stream_now(s);
	for (int i = 0; d && i < d->meters; i++)
		if (s->line && s->line[i].port)
			line_facts(&s->line[i], t, &d->meter[i]);
	doctor_answer(&s->loop, d, s->bench, t, call);
}

static bool has_meter(void *arg, const char *name)
{
	const struct calls *calls = arg;
	return bench_meter_index(calls->bench, name) >= 0;
}

static void tape_begins(void *arg)
{
	const struct calls *calls = arg;
	bench_tape_begins(calls->bench, calls->now(calls->arg));
}

static void server_said(void *arg, const char *text)
{
	(void)arg;
	say("%s", text);
}

/* ---- results of the log ---- */

static void log_notify(void *arg)
{
	struct stand *s = arg;
	uv_async_send(&s->results);
}

/* Good, low, full, suspect: said when it changes, to everyone. */
static void tell_health(struct stand *s)
{
	enum log_health health = log_health(s->log);
	char json[128];
	if (health == s->health)
		return;
	s->health = health;
	say("the log is %s", log_health_word(health));
	snprintf(json, sizeof json, "{\"event\":\"health\",\"health\":\"%s\"}",
	         log_health_word(health));
	if (s->server)
		server_event(s->server, json);
}

static void on_results(uv_async_t *async)
{
	struct stand *s = async->data;
	bench_collect(s->bench);
	tell_health(s);
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
	sigemptyset(&ends);
	sigaddset(&ends, SIGTERM);
	sigaddset(&ends, SIGINT);
	pthread_sigmask(SIG_BLOCK, &ends, NULL);
	s->log = log_open(&options, why);
	pthread_sigmask(SIG_UNBLOCK, &ends, NULL);
	if (s->log)
		say("%s: %s", s->config->log, log_opening(s->log));
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
	struct bench_options options = {
	    .config = s->config, .log = s->log, .utc = s->utc, .boot = boot, .version = TALLY_VERSION,
	    .hooks = {.send = bench_send, .event = bench_said, .frame = bench_framed,
	              .act = bench_acted, .record = bench_recorded, .arg = s}};
	s->bench = bench_open(&options, why);
	if (!s->bench)
		return false;
	struct log_reader *reader = log_reader_open(log_path(s->log), why);
	bool good = reader && bench_restore(s->bench, reader, why);
	log_reader_close(reader);
	return good;
}

static bool open_server(struct stand *s, struct fault *why)
{
	s->calls = (struct calls){s->bench, stream_now, s, call_doctor,
	                          photos_open(&s->loop, log_path(s->log)), log_path(s->log)};
	struct server_options options = {
	    .path = s->config->socket, .viewers_path = s->config->viewers,
	    .log_path = log_path(s->log), .bench = s->config->name,
	    .version = TALLY_VERSION,
	    .hooks = {.call = calls_call, .has_meter = has_meter, .say = server_said,
	              .tape_begins = tape_begins, .arg = &s->calls}};
	s->server = server_open(&s->loop, &options, why);
	return s->server != NULL;
}

static bool open_lines(struct stand *s, struct fault *why)
{
	s->line = calloc((size_t)s->config->meters + 1, sizeof *s->line);
	if (!s->line) {
		fault_set(why, "out of memory");
		return false;
	}
	for (int i = 0; i < s->config->meters; i++) {
		struct line *l = &s->line[i];
		*l = (struct line){.stand = s, .meter = i};
		struct port_options options = {
		    .place = s->config->meter[i].place, .line = s->config->meter[i].serial,
		    .bus = &s->bus,
		    .opened = on_opened, .bytes = on_bytes, .bad_byte = on_bad_byte, .gone = on_gone,
		    .failed = on_failed, .arg = l};
		l->port = port_open(&s->loop, &options, why);
		if (!l->port)
			return false;
		s->lines_open++;
	}
	listen_for_plugs(s);
	return true;
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

static void stop(struct stand *s)
{
	if (s->stopping)
		return;
	s->stopping = true;
	uv_handle_t *handles[] = {(uv_handle_t *)&s->prepare, (uv_handle_t *)&s->deadline,
	                          (uv_handle_t *)&s->second, (uv_handle_t *)&s->live,
	                          (uv_handle_t *)&s->term, (uv_handle_t *)&s->interrupt};
	for (size_t i = 0; i < sizeof handles / sizeof *handles; i++)
		close_handle(handles[i]);
	hotplug_close(s->hotplug);
	for (int i = 0; s->line && i < s->config->meters; i++)
		if (s->line[i].port)
			port_close(s->line[i].port, on_line_closed, &s->line[i]);
	/* Everything read so far is on disk before the last client hears of it. */
	bench_finish(s->bench, stream_now(s));
	log_flush(s->log);
	bench_collect(s->bench);
	s->unlogged = log_health(s->log) == LOG_FULL || log_health(s->log) == LOG_SUSPECT;
	if (s->unlogged)
		say("NOT LOGGED: the last readings: the log takes nothing (%s)",
		    log_health_word(log_health(s->log)));
	if (s->server)
		server_close(s->server, on_server_closed, s);
}

static void on_signal(uv_signal_t *signal, int number)
{
	struct stand *s = signal->data;
	say("%s: ending, everything is logged first", number == SIGTERM ? "SIGTERM" : "SIGINT");
	stop(s);
}

static void begin_handles(struct stand *s)
{
	uv_prepare_init(&s->loop, &s->prepare);
	uv_timer_init(&s->loop, &s->deadline);
	uv_timer_init(&s->loop, &s->second);
	uv_timer_init(&s->loop, &s->live);
	uv_async_init(&s->loop, &s->results, on_results);
	uv_signal_init(&s->loop, &s->term);
	uv_signal_init(&s->loop, &s->interrupt);
	s->prepare.data = s->deadline.data = s->second.data = s->live.data = s;
	s->results.data = s->term.data = s->interrupt.data = s;
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
}

static int run_live(struct config *config)
{
	struct stand s = {.config = config};
	struct fault why;
	uv_loop_init(&s.loop);
	begin_handles(&s);
	bool good = open_log(&s, &why) && open_bench(&s, &why) && open_server(&s, &why) &&
	            open_lines(&s, &why);
	if (good) {
		start_handles(&s);
		say("bench %s: %d meters, log %s, socket %s", config->name, config->meters, config->log,
		    config->socket);
	} else if (s.ended) {
		say("ended by a signal while the log was verified: nothing was changed");
	} else {
		say_fault(&why);
		if (s.bench)
			stop(&s);
	}
	/* Until everything but the log's own handle is closed. */
	uv_unref((uv_handle_t *)&s.results);
	if (s.bench)
		uv_run(&s.loop, UV_RUN_DEFAULT);
	bench_free(s.bench);
	log_close(s.log);
	close_handle((uv_handle_t *)&s.results);
	uv_walk(&s.loop, close_walked, NULL);
	uv_run(&s.loop, UV_RUN_DEFAULT);
	uv_loop_close(&s.loop);
	photos_close(s.calls.photos);
	free(s.line);
	return s.ended ? 0 : !good || s.refused ? 2 : s.unlogged ? 4 : 0;
}

/* ---- the command line ---- */

static const char usage[] =
    "tallyd reads the bench's meters and keeps the sealed log.\n"
    "\n"
    "  tallyd [--config FILE] [--log FILE] [--socket PATH]\n"
    "  tallyd --replay FILE.rec [--sheet FILE.csv] [--config FILE] [--log FILE]\n"
    "  tallyd --check-config [--config FILE]\n"
    "  tallyd --serve FILE\n"
    "  tallyd --doctor [--config FILE] [--log FILE] [--socket PATH]\n"
    "  tallyd --new-key [--config FILE] [--log FILE]\n"
    "  tallyd --restore FILE [--over] [--anchor SEQ:HASH] [--key FINGERPRINT]\n"
    "         [--config FILE] [--log FILE]\n"
    "  tallyd --listen PORT [--line \"9600 8N1\"]\n"
    "\n"
    "It stays in the foreground and ends on SIGTERM or SIGINT with everything logged.\n"
    "The configuration is " CONFIG_FILE " where --config names no other.\n"
    "--replay runs a recording and prints every record; --log keeps them too.\n"
    "--serve answers queries over a log file on standard input and output.\n"
    "--listen makes a recording of a line that no daemon has, for 10 s; nothing is sent.\n"
    "--new-key gives the log a new key, which the old one signs; no daemon may run on it.\n"
    "--restore makes the log from a copy or an export of one, which is verified first; a log\n"
    "that is there is refused, with --over it is set aside; `tally restore` runs this.\n"
    "--doctor prints what stands in the way of a daemon and its meters, as JSON, and opens\n"
    "no line; `tally doctor` shows it for people.\n"
    "Exit status: 0 done, 1 something stands in the way (--doctor), 2 wrong use or bad input,\n"
    "4 not logged.\n"
    "\n"
    "Valve equipment kills: mains isolated, reservoirs discharged and measured before\n"
    "touching, one hand, never alone; local codes and licensed practice come first.\n";

struct command_line {
	const char *config, *log, *socket, *replay, *sheet, *serve, *listen, *line;
	bool check, doctor, new_key;
	struct restore_order restore;
};

static int read_command_line(int argc, char **argv, struct command_line *c)
{
	static const struct option options[] = {
	    {"config", required_argument, NULL, 'c'}, {"log", required_argument, NULL, 'l'},
	    {"socket", required_argument, NULL, 's'}, {"replay", required_argument, NULL, 'r'},
	    {"sheet", required_argument, NULL, 'S'},  {"serve", required_argument, NULL, 'f'},
	    {"check-config", no_argument, NULL, 'k'}, {"doctor", no_argument, NULL, 'd'},
	    {"new-key", no_argument, NULL, 'n'},      {"listen", required_argument, NULL, 'p'},
	    {"line", required_argument, NULL, 'L'},   {"restore", required_argument, NULL, 'R'},
	    {"over", no_argument, NULL, 'o'},         {"anchor", required_argument, NULL, 'a'},
	    {"key", required_argument, NULL, 'K'},
	    {"help", no_argument, NULL, 'h'},
	    {"version", no_argument, NULL, 'v'},      {NULL, 0, NULL, 0}};
	for (int o; (o = getopt_long(argc, argv, "", options, NULL)) != -1;) {
		switch (o) {
		case 'c': c->config = optarg; break;
		case 'l': c->log = optarg; break;
		case 's': c->socket = optarg; break;
		case 'r': c->replay = optarg; break;
		case 'S': c->sheet = optarg; break;
		case 'f': c->serve = optarg; break;
		case 'k': c->check = true; break;
		case 'd': c->doctor = true; break;
		case 'n': c->new_key = true; break;
		case 'p': c->listen = optarg; break;
		case 'L': c->line = optarg; break;
		case 'R': c->restore.from = optarg; break;
		case 'o': c->restore.over = true; break;
		case 'a': c->restore.anchor = optarg; break;
		case 'K': c->restore.key = optarg; break;
		case 'h': fputs(usage, stdout); return 0;
		case 'v': puts("tallyd " TALLY_VERSION); return 0;
		default: fputs(usage, stderr); return 2;
		}
	}
	if (optind < argc) {
		say("what is \"%s\"? Every argument belongs to an option (tallyd --help)", argv[optind]);
		return 2;
	}
	if (c->sheet && !c->replay) {
		say("--sheet goes with --replay; a running bench takes its sheet by `tally sheet load`");
		return 2;
	}
	if ((c->restore.over || c->restore.anchor || c->restore.key) && !c->restore.from) {
		say("--over, --anchor and --key go with --restore");
		return 2;
	}
	if (c->restore.from && (c->replay || c->serve || c->check || c->new_key || c->doctor)) {
		say("--restore goes with --over, --anchor, --key, --config and --log alone");
		return 2;
	}
	if (c->doctor && (c->replay || c->serve || c->check || c->new_key)) {
		say("--doctor goes with --config, --log and --socket alone");
		return 2;
	}
	if (c->socket && (c->replay || c->serve)) {
		say("--socket goes with neither --replay nor --serve: they open none");
		return 2;
	}
	return -1;
}

static int renew_key(const struct config *config)
{
	struct fault why = {.text = ""};
	char fingerprint[40];
	if (!config->log[0]) {
		say("--new-key needs a log: --log FILE, or `log` in the configuration");
		return 2;
	}
	if (!log_renew_key(config->log, utc_now(), NULL, fingerprint, &why))
		return say_fault(&why);
	say("%s has a new key, signed by the old one; its fingerprint is %s", config->log, fingerprint);
	say("write the fingerprint down where the log is not kept; the old key is gone");
	return 0;
}

static int restore(const struct restore_order *asked, const struct config *config)
{
	struct restore_order order = *asked;
	order.log = config->log;
	if (!order.log[0]) {
		say("--restore needs a log: --log FILE, or `log` in the configuration");
		return 2;
	}
	return restore_run(&order, utc_now());
}

int main(int argc, char **argv)
{
	struct command_line c = {0};
	struct fault why;
	int status = read_command_line(argc, argv, &c);
	if (status >= 0)
		return status;
	if (c.doctor)
		return doctor_alone(c.config, c.log, c.socket);
	if (c.listen)
		return listen_run(c.listen, c.line);
	if (c.serve)
		return server_serve(c.serve, TALLY_VERSION);
	struct config *config = calloc(1, sizeof *config);
	if (!config)
		return 2;
	bool any_meter = c.replay && !c.config;
	if (any_meter)
		config_standard(config);
	else if (!config_load(c.config, c.replay != NULL, config, &why))
		status = say_fault(&why);
	if (status < 0 && c.log)
		snprintf(config->log, sizeof config->log, "%s", c.log);
	if (status < 0 && c.socket)
		snprintf(config->socket, sizeof config->socket, "%s", c.socket);
	if (status < 0 && c.check) {
		if (config->file[0])
			say("%s is good: %d meters", config->file, config->meters);
		else
			say("there is no " CONFIG_FILE ": a bench without meters (--config names another)");
		status = 0;
	} else if (status < 0 && c.new_key) {
		status = renew_key(config);
	} else if (status < 0 && c.restore.from) {
		status = restore(&c.restore, config);
	} else if (status < 0 && c.replay) {
		struct replay_options options = {.recording = c.replay, .sheet = c.sheet,
		                                 .log = c.log ? c.log : ":memory:",
		                                 .version = TALLY_VERSION, .any_meter = any_meter};
		status = replay_run(&options, config);
	} else if (status < 0) {
		status = run_live(config);
	}
	config_free(config);
	free(config);
	return status;
}
