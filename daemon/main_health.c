/* SPDX-License-Identifier: MIT */
/*
 * How everything stands: the member `service` of `status`, a part of main (main_stand.h).  What is wrong is
 * a finding with its cure, in the form that the doctor uses.
 *
 * Nothing here waits: the disk is asked with statvfs alone.
 */
#include "daemon/main_stand.h"

#include "protocol/record/text.h"
#include "protocol/record/wire.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <sys/timex.h>
#include <unistd.h>

/* Free bytes on the disk of the log.  A day's work is some ten MB, so this is days and
 * weeks: time to make room.  All three: common practice of this program, no source. */
#define DISK_BAD (INT64_C(64) << 20)
#define DISK_LOW (INT64_C(512) << 20)
#define BACKLOG_BAD (1u << 20) /* some hundred entries wait */
#define STEP_TOLD_US INT64_C(3600000000)
#define METERS_SIZE (192 * 1024)

struct report {
	struct stand *stand;
	int64_t t;
	struct text *out;
	int findings;
	bool fault;
	char rest[16 * 1024]; /* the findings, until they are written */
	struct text found;
};

static void __attribute__((format(printf, 5, 6)))
find(struct report *r, const char *word, bool fault, const char *cure, const char *format, ...)
{
	char text[1600];
	va_list args;
	va_start(args, format);
	vsnprintf(text, sizeof text, format, args);
	va_end(args);
	size_t before = r->found.len;
	text_puts(&r->found, r->findings ? ",{\"word\":" : "{\"word\":");
	text_string(&r->found, word, strlen(word));
	text_member_bool(&r->found, "fault", fault);
	text_member_string(&r->found, "text", text);
	text_member_string(&r->found, "cure", cure);
	text_puts(&r->found, "}");
	if (r->found.failed) { /* as many as there is room for */
		r->found.len = before;
		r->rest[before] = '\0';
	}
	r->findings++;
	r->fault = r->fault || fault;
}

/* ---- meters ---- */

static void find_meter(struct report *r, const char *name, const char *state, const char *why,
                       int64_t good, int64_t spoilt)
{
	static const struct { const char *state, *word; } bad[] = {
	    {"absent", "meter-absent"}, {"refused", "meter-refused"}, {"stale", "meter-stale"},
	    {"set-up refused", "meter-setup"}, {"function unknown", "meter-function"},
	    {"silent", "meter-silent"},
	};
	char cure[128];
	snprintf(cure, sizeof cure, "tally doctor %.40s says what stands in the way, and what to do", name);
	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
		if (strcmp(state, bad[i].state) == 0) {
			find(r, bad[i].word, true, cure, "meter %s is %s%s%s", name, state, why[0] ? ": " : "",
			     why);
			return;
		}
	if (!good && spoilt >= WIRE_STRANGER_FRAMES)
		find(r, "meter-stranger", true, cure, "meter %s: not one of its %lld frames was understood", name,
		     (long long)spoilt);
}

/* Of the answer to `meters`, what tells whether it works. */
static void write_meters(struct report *r)
{
	char *json = malloc(METERS_SIZE), name[NAME_SIZE], state[32], why[320];
	struct text all;
	struct slice list, meter;
	size_t cursor = 0;
	int n = 0;
	text_member(r->out, "meters");
	text_puts(r->out, "[");
	if (json) {
		text_begin(&all, json, METERS_SIZE);
		bench_meters(r->stand->bench, r->t, &all);
		list = json_member(all.bytes, all.failed ? 0 : all.len, "meters");
		while (json_next(list, &cursor, &meter)) {
			const struct line *l = r->stand->line[n];
			int64_t readings = 0, good = 0, bad = 0;
			name[0] = state[0] = why[0] = '\0';
			json_text(json_member(meter.at, meter.len, "name"), name, sizeof name);
			json_text(json_member(meter.at, meter.len, "state"), state, sizeof state);
			json_text(json_member(meter.at, meter.len, "why"), why, sizeof why);
			json_int(json_member(meter.at, meter.len, "counters.readings"), &readings);
			json_int(json_member(meter.at, meter.len, "counters.good"), &good);
			json_int(json_member(meter.at, meter.len, "counters.bad"), &bad);
			text_puts(r->out, n++ ? ",{\"name\":" : "{\"name\":");
			text_string(r->out, name, strlen(name));
			text_member_string(r->out, "state", state);
			text_member_string(r->out, "node", l ? port_node(l->port) : "");
			text_member_int(r->out, "readings", readings);
			text_member_int(r->out, "bad", bad);
			text_member_string(r->out, "why", why[0] ? why : NULL);
			text_puts(r->out, "}");
			find_meter(r, name, state, why, good, bad);
		}
	}
	free(json);
	text_puts(r->out, "]");
	if (!r->stand->config->meters)
		find(r, "no-meters", false, "tally doctor lists the adapters that are plugged in; describe "
		     "each meter in a section [meter NAME] of the configuration, then: tally reload",
		     "no meter is configured");
}

/* ---- the log, its disk, its checkpoints ---- */

static void find_log(struct report *r, enum log_health health)
{
	const char *path = r->stand->config->log;
	char why[160];
	log_trouble(r->stand->log, why, sizeof why);
	const char *but = why[0] ? ": " : "";
	if (health == LOG_SUSPECT)
		find(r, "log-suspect", true, "look at the disk (journalctl -k, smartctl), then restart: the "
		     "whole log is verified at the start", "the log takes nothing after an error of its "
		     "disk%s%s", but, why);
	else if (health == LOG_FULL)
		find(r, "log-full", true, "make room on the disk of the log: it goes on by itself, within a "
		     "second", "the log takes nothing%s%s", but, why);
	else if (health == LOG_LOW)
		find(r, "log-low", true, "make room on the disk of the log", "the disk is full and %s lives on "
		     "its reserve", path);
	if (log_aside(r->stand->log)[0])
		find(r, "log-aside", true, "keep what was set aside: `tally verify` and `tally --file` say how far it "
		     "can be read, and a backup of it can be restored (`tally restore`). Moved to another folder, "
		     "and the daemon restarted, it is said no more", "%s", log_aside(r->stand->log));
	if (log_wal_bytes(r->stand->log) > LOG_WAL_ALARM)
		find(r, "log-wal", true, "end the program that holds the log open for reading (an sqlite3 "
		     "shell, perhaps)", "%s-wal has grown past %d MiB", path, LOG_WAL_ALARM >> 20);
	size_t backlog = log_backlog(r->stand->log);
	if (backlog > BACKLOG_BAD)
		find(r, "backlog", true, "look at what else writes to that disk", "%zu KiB wait for the disk "
		     "of the log", backlog >> 10);
}

static void write_log(struct report *r)
{
	struct stand *s = r->stand;
	enum log_health health = log_health(s->log);
	struct stat st;
	text_member(r->out, "log");
	text_puts(r->out, "{\"path\":");
	text_string(r->out, s->config->log, strlen(s->config->log));
	text_member_string(r->out, "health", log_health_word(health));
	text_member_int(r->out, "last", log_last_seq(s->log));
	text_member_string(r->out, "identity", log_identity(s->log));
	text_member_int(r->out, "bytes", stat(s->config->log, &st) == 0 ? (int64_t)st.st_size : -1);
	text_member_int(r->out, "wal", log_wal_bytes(s->log));
	text_member_int(r->out, "backlog", (int64_t)log_backlog(s->log));
	text_member_string(r->out, "opening", log_opening(s->log));
	text_puts(r->out, "}");
	find_log(r, health);
}

static void write_disk(struct report *r)
{
	struct statvfs fs;
	const char *path = r->stand->config->log;
	text_member(r->out, "disk");
	/* Not there while the log is in memory. */
	if (statvfs(path, &fs)) {
		text_puts(r->out, "null");
		return;
	}
	int64_t room = (int64_t)(fs.f_bavail * fs.f_frsize), all = (int64_t)(fs.f_blocks * fs.f_frsize);
	text_puts(r->out, "{\"free\":");
	text_int(r->out, room);
	text_member_int(r->out, "size", all);
	text_puts(r->out, "}");
	if (room < DISK_LOW)
		find(r, "disk", room < DISK_BAD, "make room there, or move the log to a larger disk",
		     "%lld MiB are left on the disk of the log", (long long)(room >> 20));
}

static void write_checkpoint(struct report *r)
{
	struct log_signing g;
	int64_t last = log_last_seq(r->stand->log);
	const char *trouble = log_key_trouble(r->stand->log);
	log_signing(r->stand->log, &g);
	text_member(r->out, "checkpoint");
	text_puts(r->out, "{\"seq\":");
	text_int(r->out, g.seq);
	text_member_int(r->out, "after", g.seq ? last - g.seq : last);
	text_member_int(r->out, "entries", g.entries);
	text_member_bool(r->out, "signed", g.key);
	text_puts(r->out, "}");
	if (!g.key)
		find(r, "no-key", true, "put the log's own LOG.key back beside it, from the place where you "
		     "keep a copy, then restart; `tally verify` says which key it is",
		     "%s, so no checkpoint is made", trouble[0] ? trouble : "the log's key is not there");
	else if (trouble[0])
		find(r, "key-open", true, "chmod 600 it; then end the daemon and give the log another key with "
		     "tallyd --new-key, which the old one signs, and start it again", "%s", trouble);
}

/* ---- clock, service, viewers ---- */

/* Does something keep the clock right?  -1: it cannot be found out. */
static int clock_kept(void)
{
	struct timex t = {.modes = 0};
	int state = adjtimex(&t);
	if (state >= 0)
		return state != TIME_ERROR && !(t.status & STA_UNSYNC);
	/* A hardened service may not ask the kernel. */
	return access("/run/systemd/timesync/synchronized", F_OK) == 0 ? 1 : -1;
}

static void write_clock(struct report *r)
{
	struct stand *s = r->stand;
	int kept = clock_kept();
	text_member(r->out, "clock");
	text_puts(r->out, "{\"now\":");
	text_time(r->out, utc_now());
	if (kept < 0)
		text_member_null(r->out, "kept");
	else
		text_member_bool(r->out, "kept", kept);
	if (s->step) {
		text_member_real(r->out, "step", (double)s->step / 1e6);
		text_member(r->out, "stepped");
		text_time(r->out, s->utc + s->stepped_at);
	}
	text_puts(r->out, "}");
	if (kept == 0)
		find(r, "clock", false, "timedatectl set-ntp true: dates depend on it, the order does not",
		     "nothing keeps the clock of this machine right");
	if (s->step && r->t - s->stepped_at < STEP_TOLD_US)
		find(r, "clock-step", false, "nothing: a clock record says so in the log",
		     "the wall clock was set by %+.3f s within the last hour", (double)s->step / 1e6);
}

static int64_t memory_now(void)
{
	long size = 0, resident = 0;
	FILE *f = fopen("/proc/self/statm", "re");
	if (f && fscanf(f, "%ld %ld", &size, &resident) != 2)
		resident = 0;
	if (f)
		fclose(f);
	return (int64_t)resident * sysconf(_SC_PAGESIZE);
}

static bool file_is_newer(const struct stand *s)
{
	struct stat st;
	return s->config->file[0] && stat(s->config->file, &st) == 0 &&
	       (int64_t)st.st_mtim.tv_sec * 1000000 + st.st_mtim.tv_nsec / 1000 > s->config_read;
}

static void write_daemon(struct report *r)
{
	struct stand *s = r->stand;
	text_member(r->out, "daemon");
	text_printf(r->out, "{\"pid\":%ld", (long)getpid());
	text_member_string(r->out, "version", TALLY_VERSION);
	text_member_int(r->out, "up", r->t / 1000000);
	text_member_int(r->out, "memory", memory_now());
	text_member_string(r->out, "config", s->config->file);
	text_member(r->out, "read");
	text_time(r->out, s->config_read);
	text_member_string(r->out, "refused", s->reload_fault[0] ? s->reload_fault : NULL);
	text_member_bool(r->out, "managed", s->notify.fd >= 0);
	text_member_real(r->out, "watchdog", (double)s->notify.watchdog_us / 1e6);
	text_puts(r->out, "}");
	if (s->reload_fault[0])
		find(r, "reload", true, "put that right in the file, then: tally reload",
		     "the configuration was not taken, an older one goes on: %s", s->reload_fault);
	else if (file_is_newer(s))
		find(r, "config", false, "tally reload", "%s was changed since it was read",
		     s->config->file);
	if (s->log_quiet)
		find(r, "watchdog", true, "look at the disk of the log (journalctl -k): the service manager "
		     "restarts the daemon soon", "the log's thread gives no sign of life");
}

static void write_viewers(struct report *r)
{
	text_member(r->out, "clients");
	text_printf(r->out, "{\"bench\":%d,\"viewers\":%d,\"most\":%d}",
	            server_callers(r->stand->server, false), server_callers(r->stand->server, true),
	            SERVER_CALLERS_MAX);
}

void call_health(void *arg, struct text *out)
{
	struct stand *s = arg;
	struct report *r = calloc(1, sizeof *r);
	if (!r) {
		text_puts(out, "{\"ok\":false,\"findings\":[]}");
		return;
	}
	r->stand = s;
	r->t = stream_now(s);
	r->out = out;
	text_begin(&r->found, r->rest, sizeof r->rest);
	text_puts(out, "{\"bench\":");
	text_string(out, s->config->name, strlen(s->config->name));
	write_daemon(r);
	write_meters(r);
	write_log(r);
	write_disk(r);
	write_checkpoint(r);
	write_clock(r);
	write_viewers(r);
	text_member(out, "findings");
	text_puts(out, "[");
	text_add(out, r->rest, strlen(r->rest));
	text_puts(out, "]");
	text_member_bool(out, "ok", !r->fault);
	text_puts(out, "}");
	free(r);
}
