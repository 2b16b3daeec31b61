/* SPDX-License-Identifier: MIT */
/* daemon/port on its stand: opening, settings, locks, and where a line is. */
#include "tests/port_stand.h"

/* ---- opening, reading, writing ---- */

static void opens_reads_and_writes(void **state)
{
	char got[64];
	(void)state;
	plug(0);
	begin("/dev/ttyTEST0");
	assert_int_equal(told.opened, 0); /* never from inside port_open */
	assert_true(run_until(is_open, 1000) < 200);
	assert_int_equal(told.opened, 1);
	assert_string_equal(port_node(told.port), "/dev/ttyTEST0");
	assert_null(port_why(told.port));

	say(0, "+0.4812 kOhm\r\n", 14);
	wanted = 14;
	run_until(has_wanted, 1000);
	assert_int_equal(told.len, 14);
	assert_memory_equal(told.bytes, "+0.4812 kOhm\r\n", 14);

	assert_true(port_send(told.port, "*IDN?\n", 6));
	assert_int_equal(read(master[0], got, sizeof got), 6);
	assert_memory_equal(got, "*IDN?\n", 6);

	struct port_errors errors;
	assert_true(port_errors(told.port, &errors));
	assert_int_equal(errors.parity + errors.framing + errors.overrun, 0);
	finish();
	assert_int_equal(told.failed + told.gone, 0);
}

/* What came before the opening is thrown away. */
static void old_bytes_are_flushed(void **state)
{
	(void)state;
	plug(0);
	int keep = open(link_of[0], O_RDWR | O_NOCTTY | O_CLOEXEC);
	say(0, "9,OK,AUTO\r\n", 11);
	begin("/dev/ttyTEST0");
	run_until(is_open, 1000);
	say(0, "fresh\r\n", 7);
	wanted = 7;
	run_until(has_wanted, 1000);
	assert_int_equal(told.len, 7);
	assert_memory_equal(told.bytes, "fresh\r\n", 7);
	finish();
	close(keep);
}

static void bursts_arrive_whole(void **state)
{
	static char sent[50000];
	(void)state;
	for (size_t i = 0; i < sizeof sent; i++)
		sent[i] = (char)(i * 7 + i / 1000);
	plug(0);
	begin("/dev/ttyTEST0");
	run_until(is_open, 1000);
	for (size_t i = 0; i < sizeof sent; i += 1000) {
		say(0, sent + i, 1000);
		wanted = i + 1000;
		run_until(has_wanted, 1000);
	}
	assert_int_equal(told.len, sizeof sent);
	assert_memory_equal(told.bytes, sent, sizeof sent);
	finish();
}

/* A peer that does not read: what was accepted arrives, the rest was refused. */
static void a_full_line_refuses_and_loses_nothing(void **state)
{
	char block[500];
	size_t accepted = 0, got = 0;
	int refused = 0;
	(void)state;
	plug(0);
	begin("/dev/ttyTEST0");
	assert_false(port_send(told.port, "x", 1)); /* not open yet */
	run_until(is_open, 1000);
	for (int i = 0; i < 200; i++) {
		memset(block, 'a' + i % 26, sizeof block);
		if (port_send(told.port, block, sizeof block))
			accepted += sizeof block;
		else
			refused++;
	}
	assert_true(refused > 0);
	assert_false(port_send(told.port, block, PORT_QUEUE_MAX + 1));
	assert_int_equal(fcntl(master[0], F_SETFL, O_NONBLOCK), 0);
	for (int turn = 0; turn < 400 && got < accepted; turn++) {
		ssize_t n = read(master[0], block, sizeof block);
		for (ssize_t k = 0; k < n; k++)
			assert_int_equal(block[k], 'a' + (int)((got + (size_t)k) / 500 % 26));
		got += n > 0 ? (size_t)n : 0;
		run_until(never, 1);
	}
	assert_int_equal(got, accepted);
	assert_true(port_send(told.port, "again", 5));
	finish();
}

/* ---- settings ---- */

static void settings_are_exact(void **state)
{
	static const struct {
		const char *legend;
		struct line_settings line;
		tcflag_t cflag, iflag;
	} row[] = {
		{ "9600 8N1", { .baud = 9600, .bits = 8, .stop = 1 }, CS8 | B9600, 0 },
		{ "2400 7E1", { .baud = 2400, .bits = 7, .parity = PARITY_EVEN, .stop = 1 },
		  CS7 | PARENB | B2400, 0 },
		{ "19200 7O2 software flow",
		  { .baud = 19200, .bits = 7, .parity = PARITY_ODD, .stop = 2, .flow = FLOW_SOFTWARE },
		  CS7 | PARENB | PARODD | CSTOPB | B19200, IXON | IXOFF },
		{ "115200 8N1 hardware flow",
		  { .baud = 115200, .bits = 8, .stop = 1, .flow = FLOW_HARDWARE },
		  CS8 | CRTSCTS | B115200, 0 },
		{ "31250 8N1, which has no constant", { .baud = 31250, .bits = 8, .stop = 1 },
		  CS8 | CBAUDEX, 0 },
	};
	(void)state;
	for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
		struct termios t;
		plug(0);
		int fd = open("/dev/ttyTEST0", O_RDWR | O_NOCTTY | O_CLOEXEC);
		note_row("%s", row[i].legend);
		begin_with("/dev/ttyTEST0", &row[i].line);
		run_until(is_open, 1000);
		assert_int_equal(told.opened, 1);
		assert_int_equal(tcgetattr(fd, &t), 0);
		tcflag_t looked = CSIZE | PARENB | PARODD | CSTOPB | CRTSCTS;
		assert_int_equal(t.c_cflag & looked, row[i].cflag & looked);
		if (row[i].cflag & CBAUD & ~(tcflag_t)CBAUDEX)
			assert_int_equal(t.c_cflag & CBAUD, row[i].cflag & CBAUD);
		assert_int_equal(t.c_cflag & (HUPCL | CLOCAL), CLOCAL);
		assert_int_equal(t.c_iflag & (IXON | IXOFF | IXANY | ICRNL | ISTRIP), row[i].iflag);
		assert_int_equal(t.c_lflag & (ECHO | ICANON | ISIG), 0);
		assert_int_equal(t.c_oflag & OPOST, 0);
		finish();
		close(fd);
		unplug(0);
	}
}

static void wires_are_set_and_otherwise_left(void **state)
{
	static const struct {
		const char *legend;
		enum wire_state dtr, rts;
		int lines, changes;
	} row[] = {
		{ "left as the kernel has them", WIRE_LEAVE, WIRE_LEAVE, TIOCM_DTR | TIOCM_RTS, 0 },
		{ "both on", WIRE_ON, WIRE_ON, TIOCM_DTR | TIOCM_RTS, 0 },
		{ "dtr on, rts off: an isolator fed from them", WIRE_ON, WIRE_OFF, TIOCM_DTR, 1 },
		{ "both off", WIRE_OFF, WIRE_OFF, 0, 2 },
	};
	(void)state;
	for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
		int lines = -1;
		bench_down(NULL);
		bench_up(NULL);
		plug(0);
		int fd = open("/dev/ttyTEST0", O_RDWR | O_NOCTTY | O_CLOEXEC);
		note_row("%s", row[i].legend);
		struct line_settings line = plain;
		line.dtr = row[i].dtr;
		line.rts = row[i].rts;
		begin_with("/dev/ttyTEST0", &line);
		run_until(is_open, 1000);
		assert_int_equal(ioctl(fd, TIOCMGET, &lines), 0);
		assert_int_equal(lines & (TIOCM_DTR | TIOCM_RTS), row[i].lines);
		finish();
		/* Closing does not drop them: each wire moved once at most. */
		assert_int_equal(adapters_line_changes(), row[i].changes);
		close(fd);
	}
}

static void no_descriptor_leaks(void **state)
{
	(void)state;
	plug(0);
	int before = descriptors(false), open_to_children = descriptors(true);
	for (int i = 0; i < 5; i++) {
		begin("/dev/ttyTEST0");
		run_until(is_open, 1000);
		assert_int_equal(descriptors(true), open_to_children);
		finish();
	}
	assert_int_equal(descriptors(false), before);
}

/* ---- a line that somebody has ---- */

enum hold { HOLD_FLOCK, HOLD_EXCLUSIVE };

struct holder {
	pid_t pid;
	int leave; /* closed: let go and end */
};

/* A process that holds the pty of meter 0, without the shim, until told to leave. */
static struct holder holder_start(enum hold how)
{
	int ready[2], leave[2];
	char byte;
	assert_int_equal(pipe(ready), 0);
	assert_int_equal(pipe(leave), 0);
	pid_t pid = fork();
	if (pid == 0) {
		adapters_setup("");
		prctl(PR_SET_NAME, "a-terminal");
		close(leave[1]);
		int fd = open(link_of[0], O_RDWR | O_NOCTTY);
		if (how == HOLD_FLOCK ? flock(fd, LOCK_EX) : ioctl(fd, TIOCEXCL))
			_exit(1);
		if (write(ready[1], "x", 1) != 1 || read(leave[0], &byte, 1) != 0)
			_exit(1);
		/* A pty remembers it as long as its other end is open. */
		ioctl(fd, TIOCNXCL);
		_exit(0);
	}
	assert_int_equal(read(ready[0], &byte, 1), 1);
	close(ready[0]);
	close(ready[1]);
	close(leave[0]);
	return (struct holder){ .pid = pid, .leave = leave[1] };
}

static void holder_stop(struct holder *h)
{
	int status = -1;
	close(h->leave);
	waitpid(h->pid, &status, 0);
	assert_int_equal(status, 0);
}

static void held_lines_are_left_alone(void **state)
{
	static const struct {
		const char *legend;
		enum hold how;
		const char *word;
	} row[] = {
		{ "flock only", HOLD_FLOCK, "(flock)" },
		{ "TIOCEXCL only", HOLD_EXCLUSIVE, "(TIOCEXCL)" },
	};
	(void)state;
	for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
		struct termios before, after;
		char who[64];
		note_row("%s", row[i].legend);
		plug(0);
		struct holder h = holder_start(row[i].how);
		memset(&before, 0, sizeof before);
		memset(&after, 0, sizeof after);
		assert_int_equal(tcgetattr(master[0], &before), 0);
		begin("/dev/ttyTEST0");
		run_until(never, 900);
		assert_int_equal(told.opened, 0);
		assert_int_equal(told.failed, 1); /* once, though looked for four times */
		assert_int_equal(port_state(told.port), PORT_REFUSED);
		snprintf(who, sizeof who, "a-terminal (process %d)", (int)h.pid);
		assert_non_null(strstr(told.why.text, who));
		assert_non_null(strstr(told.why.text, row[i].word));
		assert_non_null(strstr(told.why.text, "/dev/ttyTEST0"));
		assert_int_equal(tcgetattr(master[0], &after), 0);
		assert_memory_equal(&before, &after, sizeof before);

		holder_stop(&h);
		assert_true(run_until(is_open, 2000) < 2000);
		finish();
		unplug(0);
	}
}

static void two_ports_do_not_share(void **state)
{
	(void)state;
	plug(0);
	begin("/dev/ttyTEST0");
	run_until(is_open, 1000);
	/* another opening of the node, as a second daemon would */
	int fd = open("/dev/ttyTEST0", O_RDWR | O_NOCTTY | O_CLOEXEC);
	if (fd >= 0) { /* root */
		int exclusive = 0;
		assert_int_equal(flock(fd, LOCK_EX | LOCK_NB), -1);
		assert_int_equal(errno, EWOULDBLOCK);
		assert_int_equal(ioctl(fd, TIOCGEXCL, &exclusive), 0);
		assert_int_equal(exclusive, 1);
		assert_int_equal(holder_of_lock(fd), getpid());
		close(fd);
	} else {
		assert_int_equal(errno, EBUSY);
	}
	finish();
	fd = open("/dev/ttyTEST0", O_RDWR | O_NOCTTY | O_CLOEXEC);
	assert_true(fd >= 0);
	int exclusive = 1;
	assert_int_equal(ioctl(fd, TIOCGEXCL, &exclusive), 0);
	assert_int_equal(exclusive, 0);
	assert_int_equal(flock(fd, LOCK_EX | LOCK_NB), 0);
	close(fd);
}

/* ---- where it is ---- */

static void places_lead_to_nodes(void **state)
{
	char by_name[128];
	(void)state;
	snprintf(by_name, sizeof by_name, "%s/by-name", folder);
	assert_int_equal(symlink("/dev/ttyTEST1", by_name), 0);
	plug(0);
	plug(1);
	plug(2);
	const struct {
		const char *place, *node;
	} row[] = {
		{ "/dev/ttyTEST2", "/dev/ttyTEST2" },
		{ by_name, "/dev/ttyTEST1" },
		{ "usb:1209:0001:A1", "/dev/ttyTEST0" },
		{ "usb:1209:0001:A2", "/dev/ttyTEST1" },
		{ "usb:1209:0002", "/dev/ttyTEST2" },
		{ "usb-place:9-2:1.0", "/dev/ttyTEST1" },
	};
	for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
		note_row("%s", row[i].place);
		begin(row[i].place);
		run_until(is_open, 1000);
		assert_string_equal(port_node(told.port), row[i].node);
		assert_int_equal(told.opened, 1);
		finish();
	}
	unlink(by_name);
}

static void wrong_nodes_are_explained(void **state)
{
	(void)state;
	plug(0);
	const struct {
		const char *place, *word;
	} row[] = {
		{ "/dev/null", "/dev/null is not a serial line" },
		{ link_of[0], "see demo/adapters" },
		{ "usb:1209:0001:A9", "no adapter usb:1209:0001:A9 is there" },
		{ "usb-place:9-7:1.0", "no adapter usb-place:9-7:1.0 is there" },
	};
	for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
		note_row("%s", row[i].place);
		begin(row[i].place);
		run_until(has_failed, 1000);
		assert_int_equal(told.failed, 1);
		if (!strstr(told.why.text, row[i].word))
			fail_msg("'%s' lacks '%s'", told.why.text, row[i].word);
		finish();
	}
}

static void places_are_parsed(void **state)
{
	static const struct {
		const char *text;
		int column; /* 0: good */
	} row[] = {
		{ "/dev/ttyUSB0", 0 },
		{ "build/red", 0 },
		{ "usb:1209:0001", 0 },
		{ "usb:1209:ABcd:A 1", 0 },
		{ "usb-place:1-1.4:1.0", 0 },
		{ "usb-place:12-1.4.2.11:1.10", 0 },
		{ "ttyUSB0", 1 },
		{ "", 1 },
		{ "usb:", 5 },
		{ "usb:12g9:0001", 5 },
		{ "usb:1209", 9 },
		{ "usb:1209-0001", 9 + 1 },
		{ "usb:1209:00", 10 },
		{ "usb:1209:00011", 14 },
		{ "usb:1209:0001:", 15 },
		{ "usb-place:", 11 },
		{ "usb-place:1", 12 },
		{ "usb-place:1-", 13 },
		{ "usb-place:1-1.4", 16 },
		{ "usb-place:1-1.:1.0", 14 },
		{ "usb-place:1-1:1", 16 },
		{ "usb-place:1-1:1.0x", 18 },
	};
	(void)state;
	for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
		struct place place;
		struct fault why = { 0 };
		bool good = place_parse(row[i].text, strlen(row[i].text), &place, &why);
		if (good != (row[i].column == 0) || why.column != row[i].column)
			fail_msg("'%s': column %d, %s", row[i].text, why.column, why.text);
	}
	struct place p;
	struct fault why;
	assert_true(place_parse("usb:1209:ABcd:A 1", 17, &p, &why));
	assert_int_equal(p.vid, 0x1209);
	assert_int_equal(p.pid, 0xabcd);
	assert_string_equal(p.serial, "A 1");
}

/* ---- closing from inside ---- */

static void may_be_closed_from_any_callback(void **state)
{
	(void)state;
	for (int where = 1; where <= 4; where++) {
		note_row("callback %d", where);
		if (where != 4)
			plug(0);
		begin("/dev/ttyTEST0");
		told.close_in = where;
		if (where == 2 || where == 3) {
			run_until(is_open, 1000);
			if (where == 2)
				say(0, "x", 1);
			else
				unplug(0);
		}
		run_until(is_closed, 1000);
		assert_true(told.closed);
		finish();
		unplug(0);
	}
}

int main(void)
{
#define CASE(f) cmocka_unit_test_setup_teardown(f, bench_up, bench_down)
	const struct CMUnitTest tests[] = {
		CASE(opens_reads_and_writes),
		CASE(old_bytes_are_flushed),
		CASE(bursts_arrive_whole),
		CASE(a_full_line_refuses_and_loses_nothing),
		CASE(settings_are_exact),
		CASE(wires_are_set_and_otherwise_left),
		CASE(no_descriptor_leaks),
		CASE(held_lines_are_left_alone),
		CASE(two_ports_do_not_share),
		CASE(places_lead_to_nodes),
		CASE(wrong_nodes_are_explained),
		CASE(places_are_parsed),
		CASE(may_be_closed_from_any_callback),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
