/* SPDX-License-Identifier: MIT */
/*
 * A port on a stand: pseudo-terminals that stand in for adapters (the shim of
 * demo/adapters is linked in), so that libserialport runs as it does on a bench, and
 * what the port said.
 *
 * The times that are checked over it (gone within 100 ms, back within 2 s, idle while
 * absent) are the project's own promises; no outside source.
 */
#ifndef TALLY_TESTS_PORT_STAND_H
#define TALLY_TESTS_PORT_STAND_H

#include "tests/check.h"

#include "daemon/holder.h"
#include "daemon/port.h"
#include "demo/adapters_shim.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <termios.h>
#include <unistd.h>

/* ---- a bench of pseudo-terminals ---- */

#define METERS 3
static char folder[64];
static char link_of[METERS][128];
static int master[METERS];

/* Make the pty of meter `i`, raw, and let its link lead to it. */
static inline void plug(int i)
{
	struct termios t;
	master[i] = posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
	assert_true(master[i] >= 0);
	assert_int_equal(grantpt(master[i]), 0);
	assert_int_equal(unlockpt(master[i]), 0);
	assert_int_equal(tcgetattr(master[i], &t), 0);
	cfmakeraw(&t);
	assert_int_equal(tcsetattr(master[i], TCSANOW, &t), 0);
	unlink(link_of[i]);
	assert_int_equal(symlink(ptsname(master[i]), link_of[i]), 0);
}

/* The number of the pty stays taken until the link is gone: it could be another test's then. */
static inline void unplug(int i)
{
	if (master[i] >= 0) {
		int keep = open(link_of[i], O_RDWR | O_NOCTTY | O_CLOEXEC | O_NONBLOCK);
		close(master[i]);
		unlink(link_of[i]);
		if (keep >= 0)
			close(keep);
	}
	master[i] = -1;
}

static inline int bench_up(void **state)
{
	char spec[600];
	(void)state;
	strcpy(folder, "/tmp/test_port.XXXXXX");
	if (!mkdtemp(folder))
		return -1;
	for (int i = 0; i < METERS; i++) {
		snprintf(link_of[i], sizeof link_of[i], "%s/pty%d", folder, i);
		master[i] = -1;
	}
	snprintf(spec, sizeof spec,
	         "ttyTEST0=%s,1209:0001:A1\nttyTEST1=%s,1209:0001:A2\nttyTEST2=%s,1209:0002\n",
	         link_of[0], link_of[1], link_of[2]);
	return adapters_setup(spec) == METERS ? 0 : -1;
}

static inline int bench_down(void **state)
{
	(void)state;
	for (int i = 0; i < METERS; i++)
		unplug(i);
	adapters_setup("");
	return rmdir(folder);
}

/* ---- a port and what it said ---- */

struct told {
	int opened, gone, failed;
	char cause[200];
	struct fault why;
	char bytes[1 << 17];
	size_t len;
	struct port *port;
	int look_ms;  /* of the options, kept over begin() */
	int close_in; /* 1 opened, 2 bytes, 3 gone, 4 failed: close from inside */
	bool closed;
};

static inline void on_closed(void *arg)
{
	((struct told *)arg)->closed = true;
}

static inline void close_if(struct told *t, int where)
{
	if (t->close_in == where)
		port_close(t->port, on_closed, t);
}

static inline void on_opened(void *arg)
{
	struct told *t = arg;
	t->opened++;
	close_if(t, 1);
}

static inline void on_bytes(void *arg, const char *bytes, size_t len)
{
	struct told *t = arg;
	assert_true(len > 0 && len <= 4096);
	assert_true(t->len + len <= sizeof t->bytes);
	memcpy(t->bytes + t->len, bytes, len);
	t->len += len;
	close_if(t, 2);
}

static inline void on_gone(void *arg, const char *cause)
{
	struct told *t = arg;
	t->gone++;
	snprintf(t->cause, sizeof t->cause, "%s", cause);
	close_if(t, 3);
}

static inline void on_failed(void *arg, const struct fault *why)
{
	struct told *t = arg;
	t->failed++;
	t->why = *why;
	close_if(t, 4);
}

static uv_loop_t loop;
static struct told told;
static struct bus *bus_of_told; /* shared looks, or NULL */

static const struct line_settings plain = { .baud = 9600, .bits = 8, .stop = 1 };

static inline void begin_with(const char *place, const struct line_settings *line)
{
	struct fault why = { 0 };
	struct port_options o = { .line = *line, .opened = on_opened, .bytes = on_bytes,
		                      .gone = on_gone, .failed = on_failed, .arg = &told,
		                      .bus = bus_of_told, .look_ms = told.look_ms };
	memset(&told, 0, sizeof told);
	assert_true(place_parse(place, strlen(place), &o.place, &why));
	assert_int_equal(uv_loop_init(&loop), 0);
	told.port = port_open(&loop, &o, &why);
	assert_non_null(told.port);
}

static inline void begin(const char *place)
{
	begin_with(place, &plain);
}

static inline void on_tick(uv_timer_t *timer)
{
	(void)timer;
}

/* Run the loop until `what` is true, at most `ms`; returns how long it took. */
static inline int64_t run_until(bool (*what)(void), int ms)
{
	uv_timer_t tick;
	uint64_t from = uv_hrtime() / 1000000;
	uv_timer_init(&loop, &tick);
	uv_timer_start(&tick, on_tick, 5, 5);
	while (!what() && uv_hrtime() / 1000000 - from < (uint64_t)ms)
		uv_run(&loop, UV_RUN_ONCE);
	uv_close((uv_handle_t *)&tick, NULL);
	uv_run(&loop, UV_RUN_NOWAIT);
	return (int64_t)(uv_hrtime() / 1000000 - from);
}

static inline bool never(void)
{
	return false;
}
static inline bool is_open(void)
{
	return port_state(told.port) == PORT_OPEN;
}
static inline bool is_gone(void)
{
	return told.gone > 0;
}
static inline bool has_failed(void)
{
	return told.failed > 0;
}
static inline bool is_closed(void)
{
	return told.closed;
}

static inline void finish(void)
{
	if (!told.closed) {
		port_close(told.port, on_closed, &told);
		run_until(is_closed, 1000);
	}
	assert_true(told.closed);
	assert_int_equal(uv_loop_close(&loop), 0); /* no handle is left */
}

static size_t wanted;
static inline bool has_wanted(void)
{
	return told.len >= wanted;
}

static inline void say(int i, const char *text, size_t len)
{
	assert_int_equal(write(master[i], text, len), (ssize_t)len);
}

static inline int descriptors(bool only_without_cloexec)
{
	int count = 0;
	DIR *dir = opendir("/proc/self/fd");
	struct dirent *e;
	while ((e = readdir(dir))) {
		int fd = atoi(e->d_name), flags = fcntl(fd, F_GETFD);
		if (e->d_name[0] == '.' || fd == dirfd(dir) || fd < 3)
			continue;
		if (!only_without_cloexec || (flags >= 0 && !(flags & FD_CLOEXEC)))
			count++;
	}
	closedir(dir);
	return count;
}

static inline double cpu_ms(void)
{
	struct rusage u;
	getrusage(RUSAGE_SELF, &u);
	return (double)(u.ru_utime.tv_sec + u.ru_stime.tv_sec) * 1e3 +
	       (double)(u.ru_utime.tv_usec + u.ru_stime.tv_usec) / 1e3;
}

#endif
