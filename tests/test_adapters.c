/* SPDX-License-Identifier: MIT */
/*
 * demo/adapters as people use it: the launcher with the preloaded library, around
 * ordinary programs.  The library must have been built (build/demo/libadapters.so, in
 * the build directory of this test).  The form is the project's own; no outside source.
 */
#include "tests/check.h"

#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <stdlib.h>
#include <sys/wait.h>
#include <termios.h>
#include <unistd.h>

static char folder[64], pty[100];
static int master = -1;

static void plug(void)
{
	struct termios t;
	master = posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
	assert_true(master >= 0);
	assert_int_equal(grantpt(master), 0);
	assert_int_equal(unlockpt(master), 0);
	assert_int_equal(tcgetattr(master, &t), 0);
	cfmakeraw(&t);
	assert_int_equal(tcsetattr(master, TCSANOW, &t), 0);
	assert_int_equal(symlink(ptsname(master), pty), 0);
}

static void unplug(void)
{
	if (master >= 0) {
		close(master);
		unlink(pty);
	}
	master = -1;
}

/* Where this test was built, for the launcher; the top of the checkout is the
 * directory in which tests are run. */
static int set_up(void **state)
{
	char self[4096], *at;
	ssize_t n = readlink("/proc/self/exe", self, sizeof self - 1);
	(void)state;
	if (n <= 0)
		return -1;
	self[n] = '\0';
	at = dirname(dirname(self)); /* BUILD/tests/test_adapters */
	setenv("TALLY_BUILD", at, 1);
	strcpy(folder, "/tmp/test_adapters.XXXXXX");
	if (!mkdtemp(folder))
		return -1;
	snprintf(pty, sizeof pty, "%s/pty", folder);
	return 0;
}

static int tear_down(void **state)
{
	(void)state;
	unplug();
	return rmdir(folder);
}

static char said[4096];

/* Run a shell command; its output, both streams, is in `said`.  Returns its status. */
static int run(const char *format, ...)
{
	char command[1000], whole[1100];
	va_list args;
	va_start(args, format);
	vsnprintf(command, sizeof command, format, args);
	va_end(args);
	snprintf(whole, sizeof whole, "{ %s\n} 2>&1", command);
	FILE *f = popen(whole, "r");
	assert_non_null(f);
	said[fread(said, 1, sizeof said - 1, f)] = '\0';
	int status = pclose(f);
	return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

static void expect(const char *text)
{
	if (!strstr(said, text))
		fail_msg("'%s' lacks '%s'", said, text);
}

static void a_pty_looks_like_an_adapter(void **state)
{
	(void)state;
	plug();
	assert_int_equal(run("demo/adapters ttyTEST5=%s,1209:0001:A1 -- ls -l /dev/ttyTEST5", pty), 0);
	assert_int_equal(said[0], 'c'); /* a character device, and no link */
	expect("/dev/ttyTEST5\n");
	assert_null(strchr(said, '>'));
	assert_int_equal(run("demo/adapters ttyTEST5=%s,1209:0001:A1 -- sh -c 'cd /; ls /sys/class/tty "
	                     "| grep TEST5; d=/sys/class/tty/ttyTEST5/device/../..; cat $d/idVendor "
	                     "$d/idProduct $d/serial; readlink /sys/class/tty/ttyTEST5'",
	                     pty),
	                 0);
	expect("ttyTEST5\n1209\n0001\nA1\n");
	expect("/9-1:1.0/ttyTEST5/tty/ttyTEST5\n");
	/* no serial number, none made up */
	assert_int_not_equal(run("demo/adapters ttyTEST5=%s,1209:0001 -- cat "
	                         "/sys/class/tty/ttyTEST5/device/../../serial", pty), 0);
}

static void bytes_go_both_ways(void **state)
{
	char got[16] = "";
	(void)state;
	plug();
	int keep = open(pty, O_RDWR | O_NOCTTY | O_CLOEXEC);
	assert_int_equal(write(master, "1.234 V\n", 8), 8);
	assert_int_equal(run("demo/adapters ttyTEST5=%s -- sh -c 'read line </dev/ttyTEST5; echo "
	                     "\"<$line>\"; printf %%s hello >/dev/ttyTEST5'", pty), 0);
	expect("<1.234 V>");
	assert_int_equal(read(master, got, sizeof got), 5);
	assert_memory_equal(got, "hello", 5);
	close(keep);
}

static void an_absent_pty_is_an_absent_adapter(void **state)
{
	(void)state;
	assert_int_equal(run("demo/adapters ttyTEST5=%s -- test -e /dev/ttyTEST5", pty), 1);
	/* it comes and goes while the command runs; a relative path is of the start */
	plug();
	assert_int_equal(run("top=$PWD; cd %s; $top/demo/adapters ttyTEST5=pty -- sh -c '"
	                     "cd /; test -e /dev/ttyTEST5 && echo here; mv %s %s.away; "
	                     "test -e /dev/ttyTEST5 || echo gone; mv %s.away %s; "
	                     "test -e /dev/ttyTEST5 && echo back'", folder, pty, pty, pty, pty), 0);
	assert_string_equal(said, "here\ngone\nback\n");
}

static void the_status_is_that_of_the_command(void **state)
{
	(void)state;
	assert_int_equal(run("demo/adapters a=/b -- sh -c 'exit 7'"), 7);
	assert_int_equal(run("demo/adapters a=/b c=/d,1209:0001:X -- printf '%%s|' 1 '2 3' ''"), 0);
	assert_string_equal(said, "1|2 3||");
}

static void wrong_use_is_refused(void **state)
{
	static const struct {
		const char *words, *expected;
	} row[] = {
		{ "", "no --" },
		{ "-- true", "no adapter" },
		{ "a=/b", "no --" },
		{ "a=/b --", "no command" },
		{ "ab -- true", "'ab' is not NODE=PTY" },
		{ "=/b -- true", "is not NODE=PTY" },
		{ "a= -- true", "is not NODE=PTY" },
		{ "a=,1209:0001 -- true", "names no pseudo-terminal" },
		{ "../a=/b -- true", "is not NODE=PTY" },
		{ "x/../a=/b -- true", "not the name of a node" },
		{ "'a b=/b' -- true", "not the name of a node" },
		{ "a=/b a=/c -- true", "given twice" },
		{ "a=/b,12:34 -- true", "'12:34' is not VID:PID:SERIAL" },
		{ "a=/b,1209:0001A -- true", "is not VID:PID:SERIAL" },
		{ "a=/b,1209:00g1:x -- true", "is not VID:PID:SERIAL" },
	};
	(void)state;
	for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
		note_row("%s", row[i].words);
		assert_int_equal(run("demo/adapters %s", row[i].words), 2);
		expect(row[i].expected);
		expect("usage: ");
	}
	assert_int_equal(run("TALLY_BUILD=/nonexistent demo/adapters a=/b -- true"), 2);
	expect("run make first");
	assert_int_equal(run("demo/adapters --help"), 0);
	expect("demo/adapters NODE=PTY");
}

int main(void)
{
#define CASE(f) cmocka_unit_test_setup_teardown(f, set_up, tear_down)
	const struct CMUnitTest tests[] = {
		CASE(a_pty_looks_like_an_adapter),
		CASE(bytes_go_both_ways),
		CASE(an_absent_pty_is_an_absent_adapter),
		CASE(the_status_is_that_of_the_command),
		CASE(wrong_use_is_refused),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
