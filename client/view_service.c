/* SPDX-License-Identifier: MIT */
/*
 * One screen of how the daemon stands: a line for each thing that can be wrong, then what is,
 * with its cure.  And what came of a reload.
 */
#include "client/view.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#define LABEL_WIDTH 13

static int64_t number(struct slice of, const char *path)
{
	int64_t n = 0;
	json_int(json_member(of.at, of.len, path), &n);
	return n;
}

static void word(struct slice of, const char *path, char *out, size_t size)
{
	words_string(json_member(of.at, of.len, path), out, size);
}

/* "120 GB", decimal, as disks are sold; one digit behind the point below ten. */
static void bytes_shown(int64_t n, char *out, size_t size)
{
	static const char *const units[] = {"bytes", "kB", "MB", "GB", "TB"};
	double x = n < 0 ? 0 : (double)n;
	int unit = 0;
	while (x >= 999.5 && unit < 4) {
		x /= 1000;
		unit++;
	}
	snprintf(out, size, unit && x < 9.95 ? "%.1f %s" : "%.0f %s", x, units[unit]);
}

static void span_shown(int64_t s, char *out, size_t size)
{
	if (s < 120)
		snprintf(out, size, "%" PRId64 " s", s);
	else if (s < 7200)
		snprintf(out, size, "%" PRId64 " min", s / 60);
	else if (s < 172800)
		snprintf(out, size, "%" PRId64 " h", s / 3600);
	else
		snprintf(out, size, "%" PRId64 " days", s / 86400);
}

static void say_daemon(struct lines *out, const struct style *style, struct slice service)
{
	struct slice d = json_member(service.at, service.len, "daemon");
	char version[32], up[32], memory[32], config[WORDS_SIZE], read[40], watched[64] = "";
	double watchdog = 0;
	word(d, "version", version, sizeof version);
	word(d, "config", config, sizeof config);
	word(d, "read", read, sizeof read);
	span_shown(number(d, "up"), up, sizeof up);
	bytes_shown(number(d, "memory"), memory, sizeof memory);
	json_number(json_member(d.at, d.len, "watchdog"), &watchdog);
	if (watchdog > 0)
		snprintf(watched, sizeof watched, ", restarted after %.3g s without a sign of life", watchdog);
	fact_printf(out, style, "daemon", "tallyd %s, process %" PRId64 ", up %s, %s of memory%s%s", version,
	            number(d, "pid"), up, memory,
	            json_bool(json_member(d.at, d.len, "managed"), false) ? ", a service" : "", watched);
	fact_printf(out, style, "configured", "%.200s%s%.19s", config[0] ? config : "by no file, read ",
	            config[0] ? ", read " : "", read);
}

/* A finding tells it in full further down: one screen has no room for it twice. */
static bool found_below(struct slice service, const char *meter)
{
	struct slice list = json_member(service.at, service.len, "findings"), one;
	size_t cursor = 0;
	char text[1024], begin[WORDS_SIZE + 8];
	size_t len = (size_t)snprintf(begin, sizeof begin, "meter %s is ", meter);
	while (json_next(list, &cursor, &one)) {
		word(one, "text", text, sizeof text);
		if (strncmp(text, begin, len) == 0)
			return true;
	}
	return false;
}

static void say_meters(struct lines *out, const struct style *style, struct slice service)
{
	struct slice list = json_member(service.at, service.len, "meters"), m;
	size_t cursor = 0;
	while (json_next(list, &cursor, &m)) {
		char name[WORDS_SIZE], state[WORDS_SIZE], node[WORDS_SIZE], why[WORDS_SIZE];
		word(m, "name", name, sizeof name);
		word(m, "state", state, sizeof state);
		word(m, "node", node, sizeof node);
		word(m, "why", why, sizeof why);
		if (found_below(service, name))
			why[0] = '\0';
		fact_printf(out, style, name, "%s%s%.80s, %" PRId64 " readings, %" PRId64 " bad frames%s%.200s",
		            state, node[0] ? " at " : "", node, number(m, "readings"), number(m, "bad"),
		            why[0] ? ": " : "", why);
	}
}

static void say_log(struct lines *out, const struct style *style, struct slice service)
{
	struct slice l = json_member(service.at, service.len, "log");
	struct slice disk = json_member(service.at, service.len, "disk");
	char health[WORDS_SIZE], path[WORDS_SIZE], size[32], waits[32], left[32], backlog[64];
	word(l, "health", health, sizeof health);
	word(l, "path", path, sizeof path);
	bytes_shown(number(l, "bytes") + number(l, "wal"), size, sizeof size);
	bytes_shown(number(l, "backlog"), waits, sizeof waits);
	fact_printf(out, style, "log", "%s, %" PRId64 " records, %s, %.200s", health, number(l, "last"), size,
	            path);
	snprintf(backlog, sizeof backlog, "%s%s", number(l, "backlog") ? waits : "nothing waits",
	         number(l, "backlog") ? " wait for the disk" : "");
	bool known = disk.at && *disk.at == '{';
	bytes_shown(number(disk, "size"), size, sizeof size);
	bytes_shown(number(disk, "free"), left, sizeof left);
	/* One line of the 24 for both; whoever is read to has each by its name. */
	if (known && !style->plain) {
		fact_printf(out, style, "backlog", "%s; the disk has %s free of %s", backlog, left, size);
		return;
	}
	fact(out, style, "backlog", backlog);
	if (known)
		fact_printf(out, style, "disk", "%s free of %s", left, size);
}

static void say_rest(struct lines *out, const struct style *style, struct slice service)
{
	struct slice check = json_member(service.at, service.len, "checkpoint");
	struct slice clock = json_member(service.at, service.len, "clock");
	struct slice kept = json_member(clock.at, clock.len, "kept");
	char now[40];
	word(clock, "now", now, sizeof now);
	fact_printf(out, style, "clock", "%.19s UTC, %s", now,
	            json_absent(kept) ? "whether anything keeps it right is not known"
	            : json_bool(kept, false) ? "kept right" : "not kept right by anything");
	if (number(check, "seq"))
		fact_printf(out, style, "checkpoint", "of record %" PRId64 "%s, %" PRId64 " records after it",
		            number(check, "seq"),
		            json_bool(json_member(check.at, check.len, "signed"), true) ? "" : ", NO KEY",
		            number(check, "after"));
	else
		fact(out, style, "checkpoint", "none yet");
	fact_printf(out, style, "clients", "%" PRId64 " at the bench, %" PRId64 " viewers",
	            number(service, "clients.bench"), number(service, "clients.viewers"));
}

static void say_line(struct lines *out, const struct style *style, const char *label, const char *text)
{
	if (style->plain) {
		lines_printf(out, "%s: %s\n", label, text);
		return;
	}
	lines_printf(out, "%-12s ", label);
	words_fold(out, style, LABEL_WIDTH, LABEL_WIDTH, text);
	lines_puts(out, "\n");
}

static void say_findings(struct lines *out, const struct style *style, struct slice service)
{
	struct slice list = json_member(service.at, service.len, "findings"), one;
	size_t cursor = 0;
	while (json_next(list, &cursor, &one)) {
		char text[1024], line[1200];
		bool fault = json_bool(json_member(one.at, one.len, "fault"), true);
		enum table_mark mark = fault ? TABLE_BAD : TABLE_WARNING;
		word(one, "text", text, sizeof text);
		snprintf(line, sizeof line, "%s%s%s", table_colour(style, mark), text,
		         table_colour_end(style, mark));
		say_line(out, style, fault ? "WRONG" : "mind", line);
		word(one, "cure", text, sizeof text);
		say_line(out, style, "do", text);
	}
}

bool view_service(const struct style *style, struct slice service, bool danger, struct lines *out)
{
	bool well = json_bool(json_member(service.at, service.len, "ok"), true);
	say_daemon(out, style, service);
	say_meters(out, style, service);
	say_log(out, style, service);
	say_rest(out, style, service);
	say_findings(out, style, service);
	if (danger)
		fact(out, style, "all in all", "DANGER, as the first line says");
	else if (well)
		fact(out, style, "all in all", "nothing is wrong");
	return well && !danger;
}

void view_reload(const struct style *style, struct slice result, struct lines *out)
{
	static const struct { const char *key, *says; } fates[] = {
	    {"same", "as before"}, {"judged", "judged otherwise, its line went on"},
	    {"changed", "begins anew"}, {"added", "is new"}, {"removed", "is gone"},
	};
	char file[WORDS_SIZE], name[WORDS_SIZE];
	word(result, "file", file, sizeof file);
	fact(out, style, "configured", file[0] ? file : "by no file");
	for (size_t i = 0; i < sizeof fates / sizeof *fates; i++) {
		struct slice list = json_member(result.at, result.len, fates[i].key), one;
		size_t cursor = 0;
		while (json_next(list, &cursor, &one)) {
			words_string(one, name, sizeof name);
			fact(out, style, name, fates[i].says);
		}
	}
	if (json_bool(json_member(result.at, result.len, "thresholds"), false))
		fact(out, style, "settling", "goes by other thresholds from here on");
	if (!number(result, "meters"))
		lines_puts(out, "no meter is configured: `tally doctor` lists the adapters that are there\n");
}
