/* SPDX-License-Identifier: MIT */
/*
 * `tally pedal`, `pedal choose` and `pedal test`, as a person has them: the verb runs in a
 * thread, its questions are read, answers typed and buttons pressed (tests/input_stand.h).
 */
#ifdef HAVE_LIBEVDEV
#include "tests/input_stand.h"

#include "client/client.h"
#include "client/settings.h"

#include <poll.h>
#include <pthread.h>
#include <termios.h>

static char settings_file[128], said[65536], printed[65536];
static size_t said_len, said_at;
static int typed, heard, status;
static volatile sig_atomic_t stop;
static const char *argv[4];
static int argc;
static pthread_t thread;
static int own_stdin;

static int begin(void **state)
{
	int in[2];
	(void)state;
	input_begin();
	snprintf(settings_file, sizeof settings_file, "%s/tally.ini", input_folder);
	setenv("TALLY_SETTINGS", settings_file, 1);
	own_stdin = dup(STDIN_FILENO);
	assert_int_equal(pipe(in), 0);
	assert_int_equal(dup2(in[0], STDIN_FILENO), STDIN_FILENO);
	close(in[0]);
	typed = in[1];
	said_len = said_at = 0;
	stop = 0;
	return 0;
}

static int end(void **state)
{
	(void)state;
	if (typed >= 0)
		close(typed);
	dup2(own_stdin, STDIN_FILENO);
	close(own_stdin);
	input_end();
	return 0;
}

static void *run(void *arg)
{
	int *err = arg;
	char *out = NULL;
	size_t len;
	struct client c = {.out = open_memstream(&out, &len), .err = fdopen(*err, "w"), .out_fd = -1,
	                   .stop = &stop};
	setvbuf(c.err, NULL, _IONBF, 0);
	status = client_run(&c, argc, argv);
	fclose(c.out);
	fclose(c.err);
	snprintf(printed, sizeof printed, "%s", out);
	free(out);
	return NULL;
}

static void start(const char *one, const char *two, const char *three)
{
	static int err[2];
	argv[0] = one;
	argv[1] = two;
	argv[2] = three;
	argc = three ? 3 : two ? 2 : 1;
	assert_int_equal(pipe(err), 0);
	heard = err[0];
	assert_int_equal(pthread_create(&thread, NULL, run, &err[1]), 0);
}

/* Until it said this, after what was waited for before. */
static void hear(const char *text)
{
	for (int64_t until = fake_now() + 5000000; fake_now() < until;) {
		said[said_len] = '\0';
		char *found = strstr(said + said_at, text);
		if (found) {
			said_at = (size_t)(found - said) + strlen(text);
			return;
		}
		struct pollfd p = {.fd = heard, .events = POLLIN};
		if (poll(&p, 1, 20) > 0) {
			ssize_t n = read(heard, said + said_len, sizeof said - said_len - 1);
			said_len += n > 0 ? (size_t)n : 0;
			if (n <= 0)
				usleep(5000);
		}
	}
	fail_msg("never said \"%s\" after: %s", text, said + said_at);
}

static void type(const char *text)
{
	assert_int_equal(write(typed, text, strlen(text)), (ssize_t)strlen(text));
}

static void finish(int want)
{
	assert_int_equal(pthread_join(thread, NULL), 0);
	ssize_t n;
	while ((n = read(heard, said + said_len, sizeof said - said_len - 1)) > 0)
		said_len += (size_t)n;
	said[said_len] = '\0';
	close(heard);
	print_message("%s%s", said, printed);
	assert_int_equal(status, want);
}

static void tap(struct fake *f, unsigned code)
{
	fake_key(f, code, 1);
	usleep(20000);
	fake_key(f, code, 2);
	fake_key(f, code, 0);
	usleep(20000);
}

static const char *kept(const char *key)
{
	static struct settings s;
	struct fault why;
	assert_true(settings_load(&s, &why));
	return settings_get(&s, "pedal", key);
}

/* ---- choosing ---- */

static void test_three_buttons(void **state)
{
	(void)state;
	fake_new(1, "", "isa/serio0/input0", "Desk Keyboard");
	struct fake *f = fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	start("pedal", "choose", NULL);
	hear("Desk Keyboard");
	hear("Foot Switch");
	hear("Press the foot switch once");
	tap(f, KEY_B);
	hear("Foot Switch: KEY_B");
	hear("[yes]");
	assert_int_equal(f->grabs, 0);
	type("yes\n");
	hear("KEY_B pressed");
	hear("[take]");
	assert_true(f->grabbed);
	type("\n");
	hear("next button");
	tap(f, KEY_B);
	hear("KEY_B has its action already");
	hear("next button");
	/* A button that sends control and a letter is that letter. */
	fake_key(f, KEY_LEFTCTRL, 1);
	fake_key(f, KEY_C, 1);
	fake_key(f, KEY_C, 0);
	fake_key(f, KEY_LEFTCTRL, 0);
	hear("KEY_C pressed");
	type("jump\n");
	hear("none of these words");
	hear("measure this position again");
	type("  again \n");
	hear("next button");
	tap(f, KEY_F13);
	hear("KEY_F13 pressed");
	hear("[back]");
	type("none\n");
	hear("next button");
	type("\n");
	finish(OUTCOME_DONE);
	assert_string_equal(kept("device"), "usb:1209:0002 uniq=A1 phys=input0 name=Foot Switch");
	assert_string_equal(kept("buttons"), "KEY_B take, KEY_C again, KEY_F13 none");
	assert_non_null(strstr(printed, "pedal test"));
	assert_false(f->grabbed);
}

static void test_lone_button(void **state)
{
	(void)state;
	struct fake *f = fake_new(3, "", "usb-1/input0", "Foot \"Switch\" ; x");
	start("pedal", "choose", "--json");
	hear("Press the foot switch once");
	tap(f, BTN_LEFT);
	hear("[yes]");
	type("y\n");
	hear("[take]");
	type("\n");
	hear("next button");
	type("\n");
	hear("BTN_LEFT held long");
	hear("[undo]");
	type("\n");
	hear("pressed twice");
	hear("[none]");
	type("say\n");
	finish(OUTCOME_DONE);
	assert_string_equal(kept("device"), "usb:1209:0002 phys=usb-1/input0 name=Foot \"Switch\" ; x");
	assert_string_equal(kept("buttons"), "BTN_LEFT take long undo double say");
	assert_true(json_valid(printed, strlen(printed) - 1, NULL));
}

/* The answer is typed on what was pressed: it is the keyboard. */
static void test_own_keyboard(void **state)
{
	(void)state;
	struct fake *keyboard = fake_new(1, "", "isa/serio0/input0", "Desk Keyboard");
	struct fake *f = fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	start("pedal", "choose", NULL);
	hear("Press the foot switch once");
	tap(keyboard, KEY_A);
	hear("Desk Keyboard: KEY_A");
	tap(keyboard, KEY_Y);
	tap(keyboard, KEY_ENTER);
	type("y\n");
	hear("it is your keyboard");
	hear("Press the foot switch once");
	tap(keyboard, KEY_A);
	hear("[yes]");
	type("no\n");
	hear("Press the foot switch once");
	assert_int_equal(keyboard->grabs, 0);
	tap(f, KEY_B);
	hear("[yes]");
	close(typed); /* the end of the answers */
	typed = -1;
	finish(OUTCOME_NO);
	assert_non_null(strstr(said, "Nothing was changed"));
	assert_string_equal(kept("device"), "");
	assert_int_equal(access(settings_file, F_OK), -1);
}

/* Plugged in while it is waited for; unplugged while it is down, and while it is asked. */
static void test_plugging(void **state)
{
	(void)state;
	fake_new(1, "", "isa/serio0/input0", "Desk Keyboard");
	start("pedal", "choose", NULL);
	hear("Press the foot switch once");
	struct fake *f = fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	hear("event3 is there now");
	tap(f, KEY_B);
	hear("[yes]");
	type("\n");
	hear("[take]");
	type("\n");
	hear("next button");
	fake_unplug(f);
	finish(OUTCOME_WRONG);
	assert_non_null(strstr(said, "it is gone"));
	assert_int_equal(access(settings_file, F_OK), -1);
}

/* On a terminal the switch types before it is had alone: the letter is no answer and shows
 * nowhere, and the terminal is as it was. */
static void test_terminal(void **state)
{
	struct termios before, meanwhile, after;
	char echo[64];
	(void)state;
	int master = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK);
	if (master < 0 || grantpt(master) != 0 || unlockpt(master) != 0)
		skip();
	int slave = open(ptsname(master), O_RDWR | O_NOCTTY);
	assert_true(slave >= 0);
	assert_int_equal(dup2(slave, STDIN_FILENO), STDIN_FILENO);
	assert_int_equal(tcgetattr(slave, &before), 0);
	close(typed);
	typed = master;
	struct fake *f = fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	start("pedal", "choose", NULL);
	hear("Press the foot switch once");
	usleep(20000);
	assert_int_equal(tcgetattr(slave, &meanwhile), 0);
	assert_int_equal(meanwhile.c_lflag & (ECHO | ICANON), 0);
	assert_true(meanwhile.c_lflag & ISIG);
	type("b");
	tap(f, KEY_B);
	usleep(80000);
	type("b"); /* late, through a desktop */
	hear("[yes]");
	assert_true(read(master, echo, sizeof echo) <= 0);
	type("yes\n");
	hear("[take]");
	stop = 1;
	finish(OUTCOME_NO);
	assert_int_equal(tcgetattr(slave, &after), 0);
	assert_int_equal(after.c_lflag, before.c_lflag);
	/* Ended while it waits for the press. */
	stop = 0;
	start("pedal", "choose", NULL);
	hear("Press the foot switch once");
	stop = 1;
	finish(OUTCOME_NO);
	assert_int_equal(tcgetattr(slave, &after), 0);
	assert_int_equal(after.c_lflag, before.c_lflag);
	close(slave);
}

static void test_twins(void **state)
{
	(void)state;
	struct fake *f = fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	fake_new(4, "A1", "usb-2/input0", "Foot Switch");
	start("pedal", "choose", NULL);
	hear("Press the foot switch once");
	tap(f, KEY_B);
	finish(OUTCOME_WRONG);
	assert_non_null(strstr(said, "could not be told apart"));
}

static void test_ended(void **state)
{
	(void)state;
	fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	start("pedal", "choose", NULL);
	hear("Press the foot switch once");
	stop = 1;
	finish(OUTCOME_NO);
	stop = 0;
	start("pedal", "choose", NULL);
	hear("Press the foot switch once");
	stop = 1;
	finish(OUTCOME_NO);
}

static void test_nothing_there(void **state)
{
	(void)state;
	start("pedal", "choose", NULL);
	finish(OUTCOME_WRONG);
	assert_non_null(strstr(said, "no device with keys"));
	/* A settings file with a fault is said before anything is asked. */
	FILE *f = fopen(settings_file, "w");
	fputs("[pedal]\nbuttons = KEY_B jump\n", f);
	fclose(f);
	static const char *const verbs[] = {"choose", "test", NULL};
	for (int i = 0; i < 3; i++) {
		start("pedal", verbs[i], NULL);
		finish(OUTCOME_WRONG);
		assert_non_null(strstr(said, "tally.ini:2:17: "));
		said_len = 0;
	}
}

/* ---- testing and status ---- */

static void chosen(const char *buttons)
{
	struct settings s;
	struct fault why;
	assert_true(settings_load(&s, &why));
	assert_true(settings_set(&s, "pedal", "device",
	                         "usb:1209:0002 uniq=A1 phys=input0 name=Foot Switch", &why));
	assert_true(settings_set(&s, "pedal", "buttons", buttons, &why));
}

static void test_test(void **state)
{
	(void)state;
	struct fake *f = fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	chosen("KEY_B take long undo, KEY_C next");
	for (int json = 0; json < 2; json++) {
		stop = 0;
		start("pedal", "test", json ? "--json" : NULL);
		for (int i = 0; !f->grabbed && i < 2000; i++)
			usleep(1000);
		usleep(50000);
		tap(f, KEY_C);
		tap(f, KEY_X);
		fake_key(f, KEY_B, 1);
		usleep(800000);
		fake_key(f, KEY_B, 0);
		usleep(100000);
		stop = 1;
		finish(OUTCOME_DONE);
		assert_string_equal(printed, json ?
		                    "{\"state\":\"ready\",\"words\":\"Foot Switch is ready\"}\n"
		                    "{\"key\":\"KEY_C\",\"is\":\"down\"}\n"
		                    "{\"action\":\"next\",\"words\":\"go to the next position\"}\n"
		                    "{\"key\":\"KEY_C\",\"is\":\"repeats\"}\n"
		                    "{\"key\":\"KEY_C\",\"is\":\"up\"}\n"
		                    "{\"key\":\"KEY_X\",\"is\":\"down\"}\n"
		                    "{\"key\":\"KEY_X\",\"is\":\"repeats\"}\n"
		                    "{\"key\":\"KEY_X\",\"is\":\"up\"}\n"
		                    "{\"key\":\"KEY_B\",\"is\":\"down\"}\n"
		                    "{\"action\":\"undo\",\"words\":\"the last entry does not count\"}\n"
		                    "{\"key\":\"KEY_B\",\"is\":\"up\"}\n" :
		                    "Foot Switch is ready\n"
		                    "  KEY_C down\nnext: go to the next position\n  KEY_C repeats\n"
		                    "  KEY_C up\n  KEY_X down\n  KEY_X repeats\n  KEY_X up\n"
		                    "  KEY_B down\nundo: the last entry does not count\n  KEY_B up\n");
	}
	assert_int_equal(f->leaked, 0);
}

static void test_status(void **state)
{
	(void)state;
	start("pedal", NULL, NULL);
	finish(OUTCOME_NO);
	assert_non_null(strstr(printed, "none is chosen"));
	start("pedal", "test", NULL);
	finish(OUTCOME_NO);
	chosen("KEY_B take long undo");
	start("pedal", NULL, NULL);
	finish(OUTCOME_NO);
	assert_non_null(strstr(printed, "away"));
	struct fake *f = fake_new(3, "A1", "usb-1/input0", "Foot Switch");
	start("pedal", NULL, NULL);
	finish(OUTCOME_DONE);
	assert_non_null(strstr(printed, "take; long undo"));
	start("pedal", "--json", NULL);
	finish(OUTCOME_DONE);
	assert_string_equal(printed, "{\"device\":\"usb:1209:0002 uniq=A1 phys=input0 name=Foot Switch\","
	                    "\"buttons\":[{\"key\":\"KEY_B\",\"press\":\"take\",\"long\":\"undo\","
	                    "\"double\":null}],\"there\":true,\"state\":\"there\"}\n");
	assert_int_equal(f->grabs, 0);
	/* The rest of the file stays. */
	struct settings s;
	struct fault why;
	assert_true(settings_load(&s, &why) && settings_set(&s, "sound", "volume", "5", &why));
	start("pedal", "forget", NULL);
	finish(OUTCOME_DONE);
	assert_non_null(strstr(printed, "none is chosen"));
	assert_string_equal(kept("device"), "");
	assert_string_equal(kept("buttons"), "");
	assert_true(settings_load(&s, &why));
	assert_int_equal(settings_number(&s, "sound", "volume"), 5);
	start("pedal", "forget", NULL);
	finish(OUTCOME_DONE);
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, begin, end)
	const struct CMUnitTest tests[] = {
	    TEST(test_three_buttons), TEST(test_lone_button), TEST(test_own_keyboard),
	    TEST(test_plugging),      TEST(test_terminal), TEST(test_twins),       TEST(test_ended),
	    TEST(test_nothing_there), TEST(test_test),        TEST(test_status),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

#else
#include <stdio.h>

int main(void)
{
	printf("built without libevdev: no foot switch to choose\n");
	return 0;
}
#endif
