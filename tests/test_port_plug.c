/* SPDX-License-Identifier: MIT */
/*
 * daemon/port on its stand: adapters that come, go, come back and cannot be told
 * apart.
 */
#include "tests/port_stand.h"

/* ---- plug and unplug ---- */

static void unplugged_is_closed_and_found_again(void **state)
{
	(void)state;
	plug(0);
	begin("/dev/ttyTEST0");
	run_until(is_open, 1000);
	int idle = descriptors(false);
	for (int i = 0; i < 2; i++) {
		told.gone = told.opened = 0;
		unplug(0);
		assert_true(run_until(is_gone, 1000) <= 100);
		assert_string_equal(told.cause, "unplugged");
		assert_int_equal(port_state(told.port), PORT_ABSENT);
		assert_int_equal(descriptors(false), idle - 3); /* both of the line, and the pty */

		double before = cpu_ms();
		run_until(never, 500);
		assert_true(cpu_ms() - before < 50); /* the 5 ms tick of this test included */
		assert_int_equal(told.gone, 1);
		assert_false(port_send(told.port, "x", 1));

		plug(0);
		assert_true(run_until(is_open, 3000) <= 2000);
		assert_int_equal(told.opened, 1);
		told.len = 0;
		say(0, "back\r\n", 6);
		wanted = 6;
		run_until(has_wanted, 1000);
		assert_memory_equal(told.bytes, "back\r\n", 6);
	}
	assert_int_equal(told.failed, 0); /* gone() said it */
	finish();
}

/* The link is taken away, the terminal behind it lives on. */
static void a_node_that_goes_is_unplugged(void **state)
{
	(void)state;
	plug(0);
	begin("/dev/ttyTEST0");
	run_until(is_open, 1000);
	unlink(link_of[0]);
	assert_true(run_until(is_gone, 1000) <= 400);
	close(master[0]);
	plug(0);
	assert_true(run_until(is_open, 3000) <= 2000);
	finish();
}

static void absent_at_the_start_is_said_once(void **state)
{
	(void)state;
	begin("/dev/ttyTEST0");
	run_until(never, 800);
	assert_int_equal(told.failed, 1);
	assert_int_equal(port_state(told.port), PORT_ABSENT);
	assert_non_null(strstr(told.why.text, "/dev/ttyTEST0 is not there"));
	plug(0);
	assert_true(run_until(is_open, 2000) <= 500);
	finish();
}

/* ---- which one ---- */

static void what_fits_twice_is_not_taken(void **state)
{
	(void)state;
	plug(0);
	plug(1);
	begin("usb:1209:0001");
	run_until(never, 600);
	assert_int_equal(told.opened, 0);
	assert_int_equal(told.failed, 1);
	assert_non_null(strstr(told.why.text, "2 adapters fit usb:1209:0001"));
	assert_non_null(strstr(told.why.text, "/dev/ttyTEST0 in place 9-1:1.0"));
	assert_non_null(strstr(told.why.text, "/dev/ttyTEST1 in place 9-2:1.0"));
	assert_non_null(strstr(told.why.text, "add the serial number, :A1 or :A2"));
	unplug(0);
	assert_true(run_until(is_open, 2000) <= 500);
	assert_string_equal(port_node(told.port), "/dev/ttyTEST1");
	/* It comes back while the other is in use: which one was meant is open again. */
	told.failed = 0;
	plug(0);
	assert_true(run_until(has_failed, 2000) <= 500);
	assert_int_equal(told.gone, 1);
	assert_string_equal(told.cause, "ambiguous: another adapter fits as well");
	assert_int_equal(port_state(told.port), PORT_REFUSED);
	assert_non_null(strstr(told.why.text, "2 adapters fit usb:1209:0001"));
	run_until(never, 600);
	assert_int_equal(told.failed, 1);
	assert_int_equal(told.opened, 1);
	/* Both away: absent, and said to be so. */
	unplug(0);
	unplug(1);
	told.failed = 0;
	run_until(has_failed, 2000);
	assert_int_equal(port_state(told.port), PORT_ABSENT);
	assert_non_null(strstr(told.why.text, "no adapter usb:1209:0001 is there"));
	finish();
}

/* Adapters that cannot be told apart by their serial numbers. */
static void equal_serials_are_refused(void **state)
{
	static const struct {
		const char *legend, *first, *second, *place, *cure;
	} row[] = {
		{ "equal serials", ",1209:0001:X1", ",1209:0001:X1", "usb:1209:0001:X1",
		  "write port = usb-place:9-1:1.0 or usb-place:9-2:1.0" },
		{ "equal serials, none asked for", ",1209:0001:X1", ",1209:0001:X1", "usb:1209:0001",
		  "write port = usb-place:9-1:1.0 or usb-place:9-2:1.0" },
		{ "no serials", ",1209:0001", ",1209:0001", "usb:1209:0001",
		  "write port = usb-place:9-1:1.0 or usb-place:9-2:1.0" },
		{ "one has none", ",1209:0001:X1", ",1209:0001", "usb:1209:0001",
		  "write port = usb-place:9-1:1.0 or usb-place:9-2:1.0" },
	};
	(void)state;
	plug(0);
	plug(1);
	for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
		char spec[600];
		note_row("%s", row[i].legend);
		snprintf(spec, sizeof spec, "ttyTEST0=%s%s\nttyTEST1=%s%s\n", link_of[0], row[i].first,
		         link_of[1], row[i].second);
		assert_int_equal(adapters_setup(spec), 2);
		begin(row[i].place);
		run_until(has_failed, 1000);
		assert_int_equal(told.opened, 0);
		if (!strstr(told.why.text, row[i].cure) || !strstr(told.why.text, row[i].place) ||
		    !strstr(told.why.text, "/dev/ttyTEST0 in place 9-1:1.0") ||
		    !strstr(told.why.text, "/dev/ttyTEST1 in place 9-2:1.0"))
			fail_msg("said: %s", told.why.text);
		finish();
		/* The cure cures. */
		begin("usb-place:9-2:1.0");
		run_until(is_open, 1000);
		assert_string_equal(port_node(told.port), "/dev/ttyTEST1");
		finish();
	}
}

/* The name of the configuration is led to another line, as by a rule that was changed. */
static void a_name_is_followed(void **state)
{
	char name[128], aside[140];
	(void)state;
	snprintf(name, sizeof name, "%s/by-name", folder);
	snprintf(aside, sizeof aside, "%s.new", name);
	assert_int_equal(symlink("/dev/ttyTEST0", name), 0);
	plug(0);
	plug(1);
	begin(name);
	run_until(is_open, 1000);
	assert_string_equal(port_node(told.port), "/dev/ttyTEST0");
	/* Without the name the line goes on: it is the same line. */
	unlink(name);
	run_until(never, 600);
	assert_true(is_open());
	assert_int_equal(symlink("/dev/ttyTEST1", aside), 0);
	assert_int_equal(rename(aside, name), 0);
	assert_true(run_until(is_gone, 2000) <= 1000);
	assert_string_equal(told.cause, "its name leads to another line now");
	assert_true(run_until(is_open, 3000) <= 2000);
	assert_string_equal(port_node(told.port), "/dev/ttyTEST1");
	assert_int_equal(told.opened, 2);
	finish();
	unlink(name);
}

/* ---- when it looks ---- */

/* Looks that come once a minute: only the nudge can be what opens and closes it. */
static void a_nudge_is_an_immediate_look(void **state)
{
	struct bus bus = { .known = false };
	(void)state;
	static const char *const place[] = { "/dev/ttyTEST0", "usb:1209:0001:A1" };
	for (size_t i = 0; i < sizeof place / sizeof place[0]; i++) {
		note_row("%s", place[i]);
		told.look_ms = 60000;
		bus_of_told = &bus;
		begin(place[i]);
		run_until(has_failed, 1000);
		for (int round = 0; round < 3; round++) {
			told.gone = 0;
			plug(0);
			run_until(never, 150);
			assert_false(is_open());
			bus_forget(&bus);
			port_nudge(told.port);
			assert_false(is_open()); /* never from inside */
			assert_true(run_until(is_open, 1000) <= 500);
			/* The node alone goes, without a hang-up. */
			unlink(link_of[0]);
			run_until(never, 100);
			assert_true(is_open());
			bus_forget(&bus);
			port_nudge(told.port);
			assert_true(run_until(is_gone, 1000) <= 500);
			close(master[0]);
			master[0] = -1;
		}
		/* Nudged a thousand times while absent: one look a turn of the loop. */
		double before = cpu_ms();
		for (int k = 0; k < 1000; k++)
			port_nudge(told.port);
		run_until(never, 20);
		assert_true(cpu_ms() - before < 50);
		finish();
		bus_of_told = NULL;
	}
}

/* What stands behind the names is read again where a name came, not again and again. */
static void an_open_line_reads_names_alone(void **state)
{
	static struct bus bus;
	(void)state;
	bus = (struct bus){ .known = false };
	bus_of_told = &bus;
	plug(0);
	begin("usb:1209:0001");
	run_until(is_open, 1000);
	run_until(never, BUS_NAMES_MS);
	uint64_t looked = bus.looked, read = bus.read;
	run_until(never, BUS_NAMES_MS + 300);
	assert_true(bus.looked > looked);
	assert_true(bus.read == read);
	assert_true(is_open());
	plug(1); /* fits as well */
	assert_true(run_until(is_gone, 3000) <= BUS_NAMES_MS + 500);
	assert_non_null(strstr(told.cause, "ambiguous"));
	assert_true(bus.read > read);
	finish();
	bus_of_told = NULL;
}

/* A line that fails as soon as it is opened is not opened without pause; the same
 * adapter plugged anew is opened at once. */
static void flapping_is_slowed_down(void **state)
{
	(void)state;
	plug(0);
	begin("/dev/ttyTEST0");
	int opened[2];
	for (int round = 0; round < 2; round++) {
		for (uint64_t until = uv_hrtime() + 1700000000u; uv_hrtime() < until;) {
			run_until(is_open, 20);
			if (!is_open())
				continue;
			if (round == 0) {
				struct termios t; /* somebody keeps setting another speed */
				assert_int_equal(tcgetattr(master[0], &t), 0);
				cfsetspeed(&t, B300);
				assert_int_equal(tcsetattr(master[0], TCSANOW, &t), 0);
			} else {
				unplug(0);
			}
			told.gone = 0;
			run_until(is_gone, 1000);
			if (round == 0)
				assert_string_equal(told.cause, "another program changed its settings");
			else
				plug(0);
		}
		opened[round] = told.opened;
		told.opened = 0;
	}
	/* Held for half a second, then for a second; against one look in 250 ms. */
	assert_in_range(opened[0], 2, 3);
	assert_in_range(opened[1], 4, 10);
	finish();
}

/* For up to a second a new node may belong to root alone: udev has yet to come. */
static void denied_just_after_plug_is_no_fault(void **state)
{
	char node[128];
	(void)state;
	if (geteuid() != 0) {
		print_message("   skipped: needs root, to become somebody else\n");
		skip();
	}
	assert_int_equal(chmod(folder, 0755), 0);
	begin("/dev/ttyTEST0");
	run_until(has_failed, 1000);
	for (int slow = 0; slow < 2; slow++) {
		told.failed = told.opened = told.gone = 0;
		plug(0);
		snprintf(node, sizeof node, "%s", ptsname(master[0]));
		assert_int_equal(chmod(node, 0600), 0);
		assert_int_equal(seteuid(65534), 0);
		run_until(has_failed, slow ? 3000 : 600);
		assert_int_equal(seteuid(0), 0);
		assert_int_equal(told.failed, slow);
		assert_int_equal(told.opened, 0);
		if (slow)
			assert_non_null(strstr(told.why.text, "permission denied: it belongs to root:"));
		assert_int_equal(chmod(node, 0666), 0);
		assert_int_equal(seteuid(65534), 0);
		port_nudge(told.port); /* as the event of udev, which comes after its rules */
		int64_t took = run_until(is_open, 2000);
		assert_int_equal(seteuid(0), 0);
		assert_true(is_open());
		assert_true(took <= 100);
		unplug(0);
		run_until(is_gone, 1000);
	}
	finish();
}

int main(void)
{
#define CASE(f) cmocka_unit_test_setup_teardown(f, bench_up, bench_down)
	const struct CMUnitTest tests[] = {
		CASE(unplugged_is_closed_and_found_again),
		CASE(a_node_that_goes_is_unplugged),
		CASE(absent_at_the_start_is_said_once),
		CASE(what_fits_twice_is_not_taken),
		CASE(equal_serials_are_refused),
		CASE(a_name_is_followed),
		CASE(a_nudge_is_an_immediate_look),
		CASE(an_open_line_reads_names_alone),
		CASE(flapping_is_slowed_down),
		CASE(denied_just_after_plug_is_no_fault),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
