/* SPDX-License-Identifier: MIT */
/*
 * The foot switch on its whole road, from the bytes of the kernel to actions, on devices
 * that are pipes (tests/input_stand.h); and on one of the kernel's own (uinput) where
 * this machine has that.
 */
#ifdef HAVE_LIBEVDEV
#include "tests/input_stand.h"

#include "client/pedal.h"
#include "client/pedal_device.h"
#include "client/pedal_find.h"

#include <sys/wait.h>

#include <libevdev/libevdev-uinput.h>

static uv_loop_t loop;
static struct settings settings;
static struct pedal *pedal;
static char acts[512];
static int states, closes_on;

static void on_pedal(void *arg, enum pedal_action action)
{
	size_t n = strlen(acts);
	assert_ptr_equal(arg, &loop);
	if (action == PEDAL_STATE) {
		states++;
		print_message("  state %s: %s\n", pedal_state_name(pedal_state(pedal)), pedal_words(pedal));
	} else {
		snprintf(acts + n, sizeof acts - n, "%s%s", n ? " " : "", pedal_action_name(action));
	}
	if (closes_on && action == (enum pedal_action)closes_on) {
		pedal_close(pedal);
		pedal = NULL;
	}
}

/* The settings that the rows here use: the foot switch A1. */
static void chosen(const char *device, const char *buttons)
{
	char text[600];
	struct fault why;
	int n = snprintf(text, sizeof text, "[pedal]\ndevice = %s\nbuttons = %s\nlong = 300\n", device,
	                 buttons);
	if (!settings_parse(&settings, "t", text, (size_t)n, &why))
		fail_msg("%s", why.text);
}

#define A1 "usb:1209:0002 uniq=A1 phys=input0 name=Foot Switch"

static int begin(void **state)
{
	(void)state;
	input_begin();
	assert_int_equal(uv_loop_init(&loop), 0);
	acts[0] = '\0';
	states = closes_on = 0;
	pedal = NULL;
	chosen(A1, "KEY_B take, KEY_C next long back");
	return 0;
}

static int end(void **state)
{
	(void)state;
	pedal_close(pedal);
	uv_run(&loop, UV_RUN_DEFAULT);
	assert_int_equal(uv_loop_close(&loop), 0);
	input_end();
	return 0;
}

static void run_ms(int ms)
{
	for (int64_t until = fake_now() + ms * 1000; fake_now() < until; usleep(1000))
		uv_run(&loop, UV_RUN_NOWAIT);
}

static void until_state(enum pedal_state want)
{
	for (int64_t until = fake_now() + 5000000; pedal_state(pedal) != want; usleep(1000)) {
		uv_run(&loop, UV_RUN_NOWAIT);
		if (fake_now() > until)
			fail_msg("is %s (%s), not %s", pedal_state_name(pedal_state(pedal)),
			         pedal_words(pedal), pedal_state_name(want));
	}
}

static void until_acts(const char *want)
{
	for (int64_t until = fake_now() + 3000000; strcmp(acts, want) != 0 && fake_now() < until;
	     usleep(1000))
		uv_run(&loop, UV_RUN_NOWAIT);
	run_ms(60);
	assert_string_equal(acts, want);
}

static void begin_pedal(enum pedal_state want)
{
	pedal = pedal_open(&loop, &settings, on_pedal, &loop);
	assert_non_null(pedal);
	assert_int_equal(states, 0); /* never from within */
	for (int64_t until = fake_now() + 3000000; !states && fake_now() < until; usleep(1000))
		uv_run(&loop, UV_RUN_NOWAIT);
	assert_true(states > 0);
	until_state(want);
}

/* Stamped, not timed: a machine that is busy makes no long press of it. */
static void tap(struct fake *f, unsigned code)
{
	int64_t now = fake_now();
	fake_key_at(f, now - 20000, code, 1);
	fake_key_at(f, now - 10000, code, 2);
	fake_key_at(f, now, code, 0);
	run_ms(60);
}

static void test_press(void **state)
{
	(void)state;
	struct fake *other = fake_new(1, "", "isa/serio0/input0", "Desk Keyboard");
	struct fake *f = fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	fake_new(4, "A1", "usb-1/input1", "Foot Switch");
	begin_pedal(PEDAL_READY);
	assert_int_equal(pedal_buttons(pedal)->count, 2);
	tap(f, KEY_B);
	tap(f, KEY_C);
	tap(f, KEY_X);
	until_acts("take next");
	assert_int_equal(f->grabs, 1);
	assert_int_equal(f->leaked, 0);
	/* The keyboard is left alone. */
	tap(other, KEY_B);
	assert_int_equal(other->grabs, 0);
	assert_true(other->leaked > 0);
	until_acts("take next");
	/* Held. */
	fake_key(f, KEY_C, 1);
	until_acts("take next back");
	fake_key(f, KEY_C, 0);
	until_acts("take next back");
}

static void test_off(void **state)
{
	struct fault why;
	(void)state;
	fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	assert_true(settings_parse(&settings, "t", "", 0, &why));
	begin_pedal(PEDAL_OFF);
	run_ms(50);
	assert_int_equal(states, 1);
	assert_non_null(strstr(pedal_words(pedal), "tally pedal choose"));
	pedal_close(pedal);
	/* Chosen, without buttons. */
	chosen(A1, "");
	states = 0;
	begin_pedal(PEDAL_OFF);
	assert_non_null(strstr(pedal_words(pedal), "no buttons"));
}

/* A key that is down when it is found: nobody may be left with half of it. */
static void test_down_at_start(void **state)
{
	(void)state;
	struct fake *f = fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	fake_key(f, KEY_B, 1);
	begin_pedal(PEDAL_WAIT);
	assert_int_equal(f->grabs, 0);
	fake_key(f, KEY_B, 2);
	run_ms(50);
	assert_int_equal(f->grabs, 0);
	fake_key(f, KEY_B, 0);
	until_state(PEDAL_READY);
	run_ms(100);
	assert_string_equal(acts, "");
	tap(f, KEY_B);
	until_acts("take");
}

static void down_at_grab(struct fake *f)
{
	f->on_grab = NULL;
	fake_set(f, KEY_B, true);
}

/* It goes down in the moment of the grab: given back at once. */
static void test_down_in_the_moment(void **state)
{
	(void)state;
	struct fake *f = fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	f->on_grab = down_at_grab;
	begin_pedal(PEDAL_WAIT);
	assert_int_equal(f->grabs, 1);
	assert_false(f->grabbed);
	fake_key(f, KEY_B, 0);
	until_state(PEDAL_READY);
	assert_string_equal(acts, "");
	assert_true(f->grabbed);
}

static void test_unplug(void **state)
{
	(void)state;
	struct fake *f = fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	begin_pedal(PEDAL_READY);
	tap(f, KEY_B);
	until_acts("take");
	/* Gone with a button down that would be `long`. */
	fake_key(f, KEY_C, 1);
	run_ms(30);
	fake_unplug(f);
	until_state(PEDAL_AWAY);
	assert_non_null(strstr(pedal_words(pedal), "gone"));
	run_ms(450);
	assert_string_equal(acts, "take");
	/* Back, under another number and at another place; a keyboard has its old number. */
	fake_new(3, "", "isa/serio0/input0", "Desk Keyboard");
	f->phys = "usb-7/input0";
	int64_t from = fake_now();
	fake_plug(f, 9);
	until_state(PEDAL_READY);
	print_message("  there after %d ms\n", (int)(fake_now() - from) / 1000);
	assert_true(fake_now() - from < 900000); /* the watch saw it, not the retry */
	assert_string_equal(acts, "take");
	tap(f, KEY_B);
	until_acts("take take");
}

static void test_not_there_yet(void **state)
{
	(void)state;
	begin_pedal(PEDAL_AWAY);
	run_ms(50);
	assert_non_null(strstr(pedal_words(pedal), "is not there"));
	fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	until_state(PEDAL_READY);
}

/* No folder, so no watch: the retry finds what comes. */
static void test_without_watch(void **state)
{
	char later[128];
	(void)state;
	snprintf(later, sizeof later, "%s.later", input_folder);
	struct fake *f = fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	assert_int_equal(rename(input_folder, later), 0);
	begin_pedal(PEDAL_AWAY);
	run_ms(50);
	assert_int_equal(rename(later, input_folder), 0);
	until_state(PEDAL_READY);
	tap(f, KEY_B);
	until_acts("take");
}

/* The kernel's queue ran over: what was missed does nothing, what comes then does. */
static void test_dropped(void **state)
{
	(void)state;
	struct fake *f = fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	begin_pedal(PEDAL_READY);
	/* Pressed and let go, unseen. */
	fake_write(f, fake_now(), EV_SYN, SYN_DROPPED, 0);
	fake_write(f, fake_now(), EV_SYN, SYN_REPORT, 0);
	run_ms(50);
	tap(f, KEY_B);
	until_acts("take");
	/* Pressed, unseen, and still down. */
	fake_set(f, KEY_C, true);
	fake_write(f, fake_now(), EV_SYN, SYN_DROPPED, 0);
	fake_write(f, fake_now(), EV_SYN, SYN_REPORT, 0);
	run_ms(450);
	until_acts("take");
	fake_key(f, KEY_C, 0);
	run_ms(60);
	until_acts("take");
	/* Down, its release unseen: no long press. */
	fake_key(f, KEY_C, 1);
	run_ms(30);
	fake_set(f, KEY_C, false);
	fake_write(f, fake_now(), EV_SYN, SYN_DROPPED, 0);
	fake_write(f, fake_now(), EV_SYN, SYN_REPORT, 0);
	run_ms(450);
	until_acts("take");
	tap(f, KEY_C);
	until_acts("take next");
}

/* The program was stopped: what was done meanwhile does nothing, in whichever order the
 * loop finds timer and bytes. */
static void test_stopped(void **state)
{
	(void)state;
	struct fake *f = fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	begin_pedal(PEDAL_READY);
	int64_t then = fake_now() - 5000000;
	fake_key_at(f, then, KEY_B, 1);
	fake_key_at(f, then + 100000, KEY_B, 0);
	run_ms(60);
	assert_string_equal(acts, "");
	/* A short press that was let go while the program stood still is not a long one. */
	int64_t now = fake_now();
	fake_key_at(f, now, KEY_C, 1);
	run_ms(30);
	fake_key_at(f, now + 100000, KEY_C, 0);
	usleep(400000);
	run_ms(60);
	until_acts("next");
}

static void test_two_of_them(void **state)
{
	(void)state;
	fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	struct fake *second = fake_new(4, "A1", "usb-2/input0", "Foot Switch");
	begin_pedal(PEDAL_TROUBLE);
	assert_non_null(strstr(pedal_words(pedal), "2 devices"));
	tap(second, KEY_B);
	assert_string_equal(acts, "");
	fake_unplug(second);
	until_state(PEDAL_READY);
	/* And without a serial number, by place. */
	pedal_close(pedal);
	pedal = NULL;
	run_ms(10);
	chosen("usb:1209:0002 phys=usb-9/input0 name=Foot Switch", "KEY_B take");
	fake_new(5, "", "usb-8/input0", "Foot Switch");
	states = 0;
	begin_pedal(PEDAL_AWAY);
	run_ms(100);
	assert_non_null(strstr(pedal_words(pedal), "at another"));
	struct fake *right = fake_new(6, "", "usb-9/input0", "Foot Switch");
	until_state(PEDAL_READY);
	assert_true(right->grabbed);
}

/* What sysfs said is no longer so when it is opened: another device has that number. */
static void test_another_by_now(void **state)
{
	(void)state;
	struct fake *f = fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	f->name = "Desk Keyboard";
	begin_pedal(PEDAL_AWAY);
	tap(f, KEY_B);
	assert_int_equal(f->grabs, 0);
	assert_string_equal(acts, "");
	f->name = "Foot Switch";
	until_state(PEDAL_READY);
}

static void test_busy(void **state)
{
	(void)state;
	struct fake *f = fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	f->busy = true;
	begin_pedal(PEDAL_TROUBLE);
	assert_non_null(strstr(pedal_words(pedal), "another program"));
	int told = states;
	run_ms(1200);
	assert_int_equal(states, told); /* once */
	f->busy = false;
	until_state(PEDAL_READY);
}

/* Root may open everything: somebody else must look. */
static void test_no_right(void **state)
{
	int status;
	(void)state;
	if (geteuid() != 0)
		skip();
	fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	pid_t child = fork();
	assert_true(child >= 0);
	if (!child) {
		if (setuid(65534) != 0)
			_exit(9);
		uv_loop_fork(&loop);
		int64_t from = fake_now();
		begin_pedal(PEDAL_TROUBLE);
		if (fake_now() - from < PEDAL_GRACE_US ||
		    !strstr(pedal_words(pedal), "ATTRS{id/vendor}==\"1209\"") ||
		    !strstr(pedal_words(pedal), "TAG+=\"uaccess\""))
			_exit(1);
		until_state(PEDAL_READY);
		_exit(0);
	}
	char path[128];
	snprintf(path, sizeof path, "%s/event3", input_folder);
	usleep(2500000);
	assert_int_equal(chmod(path, 0666), 0); /* as the rule would */
	assert_int_equal(waitpid(child, &status, 0), child);
	assert_int_equal(status, 0);
}

/* Its auto-repeat would type into the terminal: it is waited for, but not for ever. */
static void test_close_waits(void **state)
{
	(void)state;
	struct fake *f = fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	begin_pedal(PEDAL_READY);
	fake_key(f, KEY_B, 1);
	until_acts("take");
	int64_t from = fake_now();
	pedal_close(pedal);
	pedal = NULL;
	int64_t took = fake_now() - from;
	assert_true(took >= 900000 && took < 2000000);
	/* With nothing down at once. */
	fake_set(f, KEY_B, false);
	states = 0;
	begin_pedal(PEDAL_READY);
	from = fake_now();
	pedal_close(pedal);
	pedal = NULL;
	assert_true(fake_now() - from < 200000);
}

static void test_close_within(void **state)
{
	(void)state;
	struct fake *f = fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	begin_pedal(PEDAL_READY);
	closes_on = PEDAL_TAKE;
	fake_key(f, KEY_B, 1);
	fake_key(f, KEY_B, 0);
	fake_key(f, KEY_C, 1);
	fake_key(f, KEY_C, 0);
	run_ms(100);
	assert_null(pedal);
	assert_string_equal(acts, "take");
	closes_on = PEDAL_STATE;
	pedal = pedal_open(&loop, &settings, on_pedal, &loop);
	run_ms(100);
	assert_null(pedal);
}

static void test_seen(void *arg, unsigned code, int value)
{
	char *out = arg;
	snprintf(out + strlen(out), 64, "%u:%d ", code, value);
}

static void test_observe(void **state)
{
	char seen[512] = "";
	(void)state;
	struct fake *f = fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	begin_pedal(PEDAL_READY);
	pedal_observe(pedal, test_seen, seen);
	tap(f, KEY_X);
	assert_string_equal(seen, "45:1 45:2 45:0 ");
	pedal_observe(pedal, NULL, NULL);
	tap(f, KEY_X);
	assert_string_equal(seen, "45:1 45:2 45:0 ");
}

/* Half an event, rubbish, and a flood: it may be lost and found again, nothing worse, and
 * no press that was none. */
static void test_rubbish(void **state)
{
	(void)state;
	struct fake *f = fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	begin_pedal(PEDAL_READY);
	unsigned r = 1;
	for (int round = 0; round < 30; round++) {
		unsigned char bytes[24 * 20];
		for (size_t i = 0; i < sizeof bytes; i++) {
			r = r * 1664525u + 1013904223u;
			bytes[i] = (unsigned char)(r >> 24);
		}
		/* Types far from EV_KEY, so that no press can be among them by chance. */
		for (size_t i = 16; i < sizeof bytes; i += 24)
			bytes[i + 1] |= 0x80;
		size_t n = round % 3 ? sizeof bytes : 7;
		assert_true(write(f->pipe, bytes, n) == (ssize_t)n);
		run_ms(3);
		if (n == 7) /* the other part, so that the pipe is even again */
			assert_true(write(f->pipe, bytes, 17) == 17);
		run_ms(3);
	}
	assert_string_equal(acts, "");
	until_state(PEDAL_READY);
	for (int i = 0; i < 500; i++) {
		fake_key(f, KEY_A, i & 1);
		if (i % 50 == 0)
			run_ms(1);
	}
	run_ms(20);
	assert_string_equal(acts, "");
	tap(f, KEY_B);
	until_acts("take");
}

/* ---- finding ---- */

static void test_list(void **state)
{
	struct pedal_list list;
	char path[160];
	(void)state;
	fake_new(10, "", "a/input0", "Ten");
	fake_new(2, "", "b/input0", "Two");
	struct fake *lid = fake_new(1, "", "c/input0", "Lid");
	input_file("event1", "capabilities/key", "0 0 0");
	/* What is no node of an event. */
	static const char *const others[] = {"mouse0", "event", "eventx", "event1x", "js0",
	                                     "event12345678901"};
	for (size_t i = 0; i < sizeof others / sizeof others[0]; i++) {
		snprintf(path, sizeof path, "%s/%s", input_folder, others[i]);
		assert_int_equal(mkfifo(path, 0600), 0);
	}
	pedal_find(&list);
	assert_int_equal(list.count, 2);
	assert_false(list.more);
	assert_string_equal(list.at[0].id.name, "Two");
	assert_string_equal(list.at[1].id.name, "Ten");
	assert_int_equal(list.at[1].id.vendor, 0x1209);
	assert_true(list.at[0].readable);
	fake_unplug(lid);
	/* Without sysfs they are asked themselves. */
	snprintf(path, sizeof path, "rm -rf %s/sys/event2", input_folder);
	assert_int_equal(system(path), 0);
	pedal_find(&list);
	assert_int_equal(list.count, 2);
	assert_string_equal(list.at[0].id.phys, "b/input0");
	for (int i = 20; i < 20 + FAKES_MAX - 4; i++)
		fake_new(i, "", "x/input0", "Many");
	pedal_find(&list);
	assert_int_equal(list.count, PEDAL_FOUND_MAX);
	assert_true(list.more);
}

/* A switch that the kernel itself has: where this machine lets us make one. */
static void test_uinput(void **state)
{
	struct libevdev_uinput *u = NULL;
	(void)state;
	if (access("/dev/uinput", W_OK) != 0)
		skip();
	struct libevdev *dev = libevdev_new();
	libevdev_set_name(dev, "Splittally test switch");
	libevdev_set_id_bustype(dev, BUS_USB);
	libevdev_set_id_vendor(dev, 0x1209);
	libevdev_set_id_product(dev, 2);
	libevdev_enable_event_code(dev, EV_KEY, KEY_B, NULL);
	libevdev_enable_event_code(dev, EV_KEY, KEY_C, NULL);
	if (libevdev_uinput_create_from_device(dev, LIBEVDEV_UINPUT_OPEN_MANAGED, &u) != 0)
		u = NULL;
	libevdev_free(dev);
	const char *node = u ? libevdev_uinput_get_devnode(u) : NULL;
	for (int i = 0; node && access(node, R_OK) != 0 && i < 200; i++)
		usleep(10000);
	if (!node || access(node, R_OK) != 0) {
		if (u)
			libevdev_uinput_destroy(u);
		skip();
	}
	unsetenv("TALLY_INPUT");
	chosen("usb:1209:0002 name=Splittally test switch", "KEY_B take, KEY_C next");
	begin_pedal(PEDAL_READY);
	static const unsigned keys[] = {KEY_B, KEY_C};
	for (int i = 0; i < 4; i++) {
		libevdev_uinput_write_event(u, EV_KEY, keys[i / 2], i % 2 == 0);
		libevdev_uinput_write_event(u, EV_SYN, SYN_REPORT, 0);
		run_ms(60);
	}
	until_acts("take next");
	libevdev_uinput_destroy(u);
	until_state(PEDAL_AWAY);
	until_acts("take next");
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, begin, end)
	const struct CMUnitTest tests[] = {
	    TEST(test_press),         TEST(test_off),        TEST(test_down_at_start),
	    TEST(test_down_in_the_moment), TEST(test_unplug), TEST(test_not_there_yet),
	    TEST(test_without_watch), TEST(test_dropped),    TEST(test_stopped),
	    TEST(test_two_of_them), TEST(test_another_by_now),   TEST(test_busy),       TEST(test_no_right),
	    TEST(test_close_waits),   TEST(test_close_within), TEST(test_observe),
	    TEST(test_rubbish),       TEST(test_list),       TEST(test_uinput),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

#else
#include <stdio.h>

int main(void)
{
	printf("built without libevdev: no foot switch to test\n");
	return 0;
}
#endif
