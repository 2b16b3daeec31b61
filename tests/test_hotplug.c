/* SPDX-License-Identifier: MIT */
/*
 * daemon/hotplug with the real libudev and a device manager of our own
 * (tests/udev_stand.h), and the ports that look when it says so.
 *
 * The times are the project's own promises; no outside source.
 */
#include "tests/check.h"
#include "tests/udev_stand.h"

#include "daemon/hotplug.h"
#include "protocol/trade/fault.h"

#include <stdlib.h>
#include <sys/prctl.h>
#include <sys/wait.h>

static uv_loop_t loop;
static int calls, losses;
static uint64_t called_at;

static void on_changed(void *arg)
{
	assert_ptr_equal(arg, &loop);
	calls++;
	called_at = uv_hrtime();
}

static void on_lost(void *arg, const struct fault *why)
{
	(void)arg;
	print_error("lost: %s\n", why->text);
	losses++;
}

static void on_tick(uv_timer_t *timer)
{
	(void)timer;
}

/* Run until there were `wanted` calls, at most `ms`; returns ms. */
static int run_for(int wanted, int ms)
{
	uv_timer_t tick;
	uint64_t from = uv_hrtime();
	uv_timer_init(&loop, &tick);
	uv_timer_start(&tick, on_tick, 1, 1);
	while (calls < wanted && uv_hrtime() - from < (uint64_t)ms * 1000000)
		uv_run(&loop, UV_RUN_ONCE);
	uv_close((uv_handle_t *)&tick, NULL);
	uv_run(&loop, UV_RUN_NOWAIT);
	return (int)((uv_hrtime() - from) / 1000000);
}

static struct hotplug *begin(struct fault *why)
{
	calls = losses = 0;
	assert_int_equal(uv_loop_init(&loop), 0);
	return hotplug_open(&loop, on_changed, on_lost, &loop, why);
}

static void finish(struct hotplug *h)
{
	hotplug_close(h);
	hotplug_close(NULL);
	uv_run(&loop, UV_RUN_DEFAULT);
	assert_int_equal(uv_loop_close(&loop), 0); /* no handle is left */
}

/* The namespaces are for one test each: a child of its own.  runs: with a udev. */
static void in_child(void (*test)(int socket), bool runs)
{
	int status = -1;
	if (runs && !udev_stand_heard()) {
		print_message("   skipped: built without libudev\n");
		skip();
	}
	fflush(NULL);
	pid_t pid = fork();
	if (pid == 0) {
		prctl(PR_SET_PDEATHSIG, SIGKILL);
		if (!udev_stand_begin(runs))
			_exit(77);
		int fd = udev_stand_socket();
		test(fd);
		close(fd);
		/* A failed assertion left by another way. */
		fflush(NULL);
		_exit(0);
	}
	assert_int_equal(waitpid(pid, &status, 0), pid);
	if (WIFEXITED(status) && WEXITSTATUS(status) == 77) {
		print_message("   skipped: no namespace of our own is to be had here\n");
		skip();
	}
	assert_int_equal(status, 0);
}

/* ---- */

/* Assertions of cmocka do not leave a child: here a fault ends it. */
#define must(x)                                                                   \
	do {                                                                          \
		if (!(x)) {                                                               \
			print_error("%s:%d: not %s (calls %d)\n", __FILE__, __LINE__, #x, calls); \
			_exit(1);                                                             \
		}                                                                         \
	} while (0)

static void hear(int fd)
{
	struct fault why = {0};
	struct hotplug *h = begin(&why);
	must(h);
	must(run_for(1, 50) >= 49 && calls == 0);
	for (int i = 0; i < 5; i++) {
		uint64_t sent = uv_hrtime();
		must(udev_stand_event(fd, i % 2 ? "remove" : "add", "tty", "ttyUSB0"));
		run_for(i + 1, 1000);
		must(calls == i + 1);
		must((called_at - sent) / 1000000 <= 200); /* 10 of them are the burst's */
	}
	/* Other things than lines do not wake us. */
	must(udev_stand_event(fd, "add", "block", "sda"));
	must(udev_stand_event(fd, "add", "net", "eth7"));
	run_for(6, 60);
	must(calls == 5);
	/* A hub with its eight adapters: one call. */
	for (int i = 0; i < 8; i++)
		must(udev_stand_event(fd, "add", "tty", "ttyUSB1"));
	run_for(7, 100);
	must(calls == 6);
	finish(h);
}

/* How many events the kernel dropped, of all who listen in this network. */
static long dropped(void)
{
	char line[256];
	long sum = 0, drops;
	FILE *f = fopen("/proc/self/net/netlink", "r");
	while (f && fgets(line, sizeof line, f))
		if (sscanf(line, "%*s %*d %*s %*s %*s %*s %*s %*s %ld", &drops) == 1)
			sum += drops;
	if (f)
		fclose(f);
	return sum;
}

static void flood(int fd)
{
	struct fault why = {0};
	struct hotplug *h = begin(&why);
	must(h);
	for (int round = 0; round < 3; round++) {
		int before = calls;
		/* More than the socket holds: the kernel drops some and says so. */
		for (int i = 0; i < 5000; i++)
			must(udev_stand_event(fd, "change", "tty", "ttyUSB2"));
		must(dropped() > round);
		run_for(before + 1, 2000);
		must(calls > before);
		/* and quiet again when it is over */
		run_for(1000000, 100);
	}
	int before = calls;
	run_for(1000000, 100);
	must(calls == before);
	must(udev_stand_event(fd, "add", "tty", "ttyUSB0"));
	run_for(before + 1, 1000);
	must(calls == before + 1);
	must(losses == 0);
	/* Closed while a call is due: it does not come. */
	must(udev_stand_event(fd, "add", "tty", "ttyUSB0"));
	for (int i = 0; i < 3; i++)
		uv_run(&loop, UV_RUN_NOWAIT);
	finish(h);
	must(calls == before + 1);
}

static void rubbish(int fd)
{
	static const char *const said[] = {"", "libudev", "add@/devices/x", "ACTION=add"};
	struct fault why = {0};
	struct hotplug *h = begin(&why);
	must(h);
	struct sockaddr_nl to = {.nl_family = AF_NETLINK, .nl_groups = UDEV_GROUP};
	for (size_t i = 0; i < sizeof said / sizeof *said; i++)
		(void)!sendto(fd, said[i], strlen(said[i]) + 1, 0, (struct sockaddr *)&to, sizeof to);
	run_for(1, 60);
	must(udev_stand_event(fd, "add", "tty", "ttyUSB0"));
	run_for(1, 1000);
	must(calls == 1 && losses == 0);
	finish(h);
}

static void absent(int fd)
{
	struct fault why = {0};
	(void)fd;
	struct hotplug *h = begin(&why);
	if (h || !strstr(why.text, "250 ms")) {
		print_error("without udev: %s\n", h ? "a monitor that hears nothing" : why.text);
		_exit(1);
	}
	finish(h);
}

static void test_absent(void **state)
{
	(void)state;
	in_child(absent, false);
}

static void test_hear(void **state)
{
	(void)state;
	in_child(hear, true);
}

static void test_flood(void **state)
{
	(void)state;
	in_child(flood, true);
}

static void test_rubbish(void **state)
{
	(void)state;
	in_child(rubbish, true);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_absent),
		cmocka_unit_test(test_hear),
		cmocka_unit_test(test_flood),
		cmocka_unit_test(test_rubbish),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
