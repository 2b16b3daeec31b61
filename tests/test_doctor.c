/* SPDX-License-Identifier: MIT */
/*
 * What the doctor says, from facts that are made up: a table of one trouble a row, with
 * the word, what the text and the cure must name, and what no cure may ever say.
 *
 * What a silent meter most often lacks is common practice, no source.
 */
#include "daemon/doctor.h"
#include "tests/check.h"

#include <stdlib.h>

/* ---- a bench in order ---- */

static struct config_meter configured[3];
static struct doctor d;
static struct findings found;

static const struct dialect *dialect(const char *name)
{
	const struct dialect *at = dialect_find(name, strlen(name));
	assert_non_null(at);
	return at;
}

static void adapter(int i, const char *node, const char *bus, const char *serial)
{
	struct adapter *a = &d.adapter[i];
	*a = (struct adapter){.vid = 0x1209, .pid = 1, .latency_ms = 1, .known = true,
	                      .modem_ignored = true, .rights = {.there = true, .mode = 0660,
	                      .may = true, .member = true, .listed = true}};
	snprintf(a->node, sizeof a->node, "%s", node);
	snprintf(a->bus, sizeof a->bus, "%s", bus);
	snprintf(a->serial, sizeof a->serial, "%s", serial);
	snprintf(a->rights.user, sizeof a->rights.user, "root");
	snprintf(a->rights.group, sizeof a->rights.group, "dialout");
	if (i >= d.adapters)
		d.adapters = i + 1;
}

/* `red` talks by itself and is well, at the first adapter; `bench` is asked. */
static void all_well(void)
{
	struct fault why;
	memset(&d, 0, sizeof d);
	memset(configured, 0, sizeof configured);
	d.bench = (struct doctor_bench){.daemon = true, .config = "/etc/tally.ini",
	                                .log = "/var/lib/tally/north.db", .log_health = "good",
	                                .socket = "/run/tally/tally.sock", .log_folder = "/var/lib/tally",
	                                .disk_free = INT64_C(1) << 40, .udev = true,
	                                .self = {.user = "tally", .groups = "tally, dialout"}};
	adapter(0, "/dev/ttyUSB0", "1-1.4:1.0", "A1");
	adapter(1, "/dev/ttyUSB1", "1-1.3:1.0", "A2");
	d.meters = 2;
	for (int i = 0; i < 2; i++) {
		struct config_meter *c = &configured[i];
		struct doctor_meter *m = &d.meter[i];
		snprintf(c->name, sizeof c->name, "%s", i ? "bench" : "red");
		snprintf(c->port, sizeof c->port, "usb:1209:0001:%s", i ? "A2" : "A1");
		assert_true(place_parse(c->port, strlen(c->port), &c->place, &why));
		c->has_place = true;
		c->dialect = dialect(i ? "scpi" : "ascii-unit");
		c->serial = c->dialect->line;
		c->identify = i == 1;
		snprintf(c->query, sizeof c->query, "%s", i ? "READ?" : "");
		*m = (struct doctor_meter){
		    .config = c, .line = DOCTOR_OPEN, .found = PLACE_THERE, .adapter = i,
		    .rights = d.adapter[i].rights, .open_us = 60000000, .quiet_us = 200000, .bytes = 4000,
		    .framing = -1, .parity = -1, .overrun = -1, .look = {.word = LOOK_PLAIN, .count = 1024},
		    .fits = true,
		    .counters = {.good = 300, .readings = 300, .resync = -1, .stale = -1}};
		snprintf(m->node, sizeof m->node, "/dev/ttyUSB%d", i);
		snprintf(m->state, sizeof m->state, "%s", i ? "asked" : "listened to");
	}
}

/* ---- one trouble a row ---- */

static void nothing(void) {}

static void absent(int meter)
{
	struct doctor_meter *m = &d.meter[meter];
	m->line = DOCTOR_ABSENT;
	m->found = PLACE_ABSENT;
	m->adapter = -1;
	m->node[0] = '\0';
	m->rights = (struct node_rights){0};
}

static void unplugged(void)
{
	d.adapters = 0;
	absent(0);
	d.meters = 1;
}

static void renumbered_path(void)
{
	struct fault why;
	absent(0);
	snprintf(configured[0].port, sizeof configured[0].port, "/dev/tally/red");
	assert_true(place_parse("/dev/tally/red", 14, &configured[0].place, &why));
}

static void dangling_link(void)
{
	renumbered_path();
	snprintf(d.meter[0].link_to, sizeof d.meter[0].link_to, "../ttyUSB7");
}

static void other_serial(void)
{
	absent(0);
	snprintf(d.adapter[0].serial, sizeof d.adapter[0].serial, "B9");
}

static void stray(bool claimed)
{
	absent(0);
	d.strays = 1;
	d.stray[0] = (struct stray){.place = "1-2", .vid = 0x1209, .pid = 1, .claimed = claimed};
}

static void no_driver(void)
{
	stray(false);
}

static void taken_past_the_kernel(void)
{
	stray(true);
	snprintf(d.stray[0].holder, sizeof d.stray[0].holder, "dots (process 77)");
}

static void no_driver_in_place(void)
{
	struct fault why;
	stray(false);
	d.stray[0].vid = 0x9999;
	assert_true(place_parse("usb-place:1-2:1.0", 17, &configured[0].place, &why));
}

static void stray_elsewhere(void)
{
	struct fault why;
	stray(false);
	snprintf(configured[0].port, sizeof configured[0].port, "usb-place:1-21:1.0");
	assert_true(place_parse("usb-place:1-21:1.0", 18, &configured[0].place, &why));
}

static void two_alike(void)
{
	struct fault why;
	absent(0);
	d.meter[0].found = PLACE_AMBIGUOUS;
	d.meter[0].line = DOCTOR_REFUSED;
	assert_true(place_parse("usb:1209:0001", 13, &configured[0].place, &why));
	snprintf(d.meter[0].place_why, sizeof d.meter[0].place_why, "2 adapters fit usb:1209:0001");
}

static void held_by(const char *who)
{
	d.meter[0].line = DOCTOR_REFUSED;
	snprintf(d.meter[0].rights.holder, sizeof d.meter[0].rights.holder, "%s", who);
}

static void held(void)
{
	held_by("cat (process 123)");
}

static void held_by_modem_manager(void)
{
	held_by("ModemThing (process 9)");
}

static void held_by_braille(void)
{
	held_by("brld (process 9)");
}

static void held_by_getty(void)
{
	held_by("agetty (process 9)");
}

static void held_by_tallyd(void)
{
	held_by("tallyd (process 9)");
}

static void held_unseen(void)
{
	d.meter[0].line = DOCTOR_REFUSED;
	snprintf(d.meter[0].refused, sizeof d.meter[0].refused,
	         "/dev/ttyUSB0 is held by a process that cannot be seen from here (TIOCEXCL)");
}

static void denied(void)
{
	d.meter[0].line = DOCTOR_REFUSED;
	d.meter[0].rights.may = d.meter[0].rights.member = d.meter[0].rights.listed = false;
	snprintf(d.bench.self.groups, sizeof d.bench.self.groups, "tally");
}

static void denied_until_restart(void)
{
	denied();
	d.meter[0].rights.listed = true;
}

static void denied_to_all_groups(void)
{
	denied();
	snprintf(d.meter[0].rights.group, sizeof d.meter[0].rights.group, "root");
	d.meter[0].rights.mode = 0600;
}

static void fenced(void)
{
	denied();
	d.meter[0].rights.member = d.meter[0].rights.listed = true;
}

static void settings_refused(void)
{
	d.meter[0].line = DOCTOR_REFUSED;
	snprintf(d.meter[0].refused, sizeof d.meter[0].refused,
	         "/dev/ttyUSB0: the adapter does not take the parity of 9600 7E1");
}

static void broken_port(void)
{
	d.meter[0].line = DOCTOR_REFUSED;
	snprintf(d.meter[0].refused, sizeof d.meter[0].refused, "/dev/ttyUSB0: Input/output error");
}

static void no_rule(void)
{
	d.adapter[0].modem_ignored = false;
}

static void modem_manager_about(void)
{
	no_rule();
	snprintf(d.bench.modems, sizeof d.bench.modems, "ModemThing (process 9)");
}

static void slow_adapter(void)
{
	d.adapter[0].latency_ms = 16;
}

static void silent(void)
{
	d.meter[0].bytes = 0;
	d.meter[0].quiet_us = -1;
	d.meter[0].counters = (struct doctor_counters){0};
	d.meter[0].look = (struct look_said){.word = LOOK_LITTLE};
	d.meter[0].fits = false;
}

static void silent_with_wires(void)
{
	silent();
	configured[0].serial.dtr = WIRE_ON;
	configured[0].serial.rts = WIRE_OFF;
}

static void silent_just_opened(void)
{
	silent();
	d.meter[0].open_us = 1000000;
}

static void fell_silent(void)
{
	d.meter[0].quiet_us = 90000000;
	snprintf(d.meter[0].state, sizeof d.meter[0].state, "stale");
}

static void a_slow_range(void)
{
	d.meter[0].quiet_us = 4000000;
	snprintf(d.meter[0].state, sizeof d.meter[0].state, "stale");
}

static void look(enum look_word w, int baud, int bits, enum parity parity)
{
	struct doctor_meter *m = &d.meter[0];
	m->look = (struct look_said){.word = w, .ratio = w == LOOK_SLOWER ? 4 : 1, .count = 1024,
	                             .bad = 0.4, .has_likely = baud != 0, .likely = configured[0].serial};
	m->look.likely.baud = baud;
	m->look.likely.bits = bits;
	m->look.likely.parity = parity;
	m->counters = (struct doctor_counters){.bad = 50, .parity = 400};
	m->fits = false;
}

static void slower(void)
{
	look(LOOK_SLOWER, 2400, 8, PARITY_NONE);
}

static void held_low(void)
{
	look(LOOK_HELD, 0, 8, PARITY_NONE);
}

static void seven_even(void)
{
	look(LOOK_SEVEN_EVEN, 9600, 7, PARITY_EVEN);
}

static void no_parity(void)
{
	look(LOOK_NO_PARITY, 9600, 8, PARITY_NONE);
}

static void garbled(void)
{
	look(LOOK_GARBLED, 0, 8, PARITY_NONE);
	d.meter[0].look.not_slower = true;
}

static void binary(void)
{
	look(LOOK_NOT_TEXT, 0, 8, PARITY_NONE);
	d.meter[0].look.high = 0.5;
}

static void another_dialect(void)
{
	look(LOOK_PLAIN, 0, 8, PARITY_NONE);
	d.meter[0].counters = (struct doctor_counters){.bad = 50};
	d.meter[0].other = dialect("ascii-number");
}

static void unknown_dialect(void)
{
	another_dialect();
	d.meter[0].other = NULL;
}

/* It was of another dialect all day, and is set right now. */
static void was_another_dialect(void)
{
	another_dialect();
	d.meter[0].counters.bad = 50;
	d.meter[0].counters.good = 60;
	d.meter[0].fits = true;
	d.meter[0].other = NULL;
}

static void unanswered(void)
{
	struct doctor_meter *m = &d.meter[1];
	m->bytes = 0;
	m->quiet_us = -1;
	m->counters = (struct doctor_counters){.timeouts = 3};
	m->look = (struct look_said){.word = LOOK_LITTLE};
	m->fits = false;
	snprintf(m->state, sizeof m->state, "identifying");
}

static void unanswered_yet(void)
{
	unanswered();
	d.meter[1].counters.timeouts = 0;
	d.meter[1].open_us = 500000;
}

static void echo(void)
{
	unanswered();
	d.meter[1].bytes = 70;
	d.meter[1].echoed = true;
}

static void asked_at_wrong_speed(void)
{
	unanswered();
	d.meter[1].bytes = 200;
	d.meter[1].look = (struct look_said){.word = LOOK_GARBLED, .bad = 0.6, .count = 200};
}

static void stopped_answering(void)
{
	snprintf(d.meter[1].state, sizeof d.meter[1].state, "silent");
	snprintf(d.meter[1].why, sizeof d.meter[1].why, "it has not answered READ? in 2.0 s");
	d.meter[1].counters.timeouts = 1;
}

static void set_up_refused(void)
{
	snprintf(d.meter[1].state, sizeof d.meter[1].state, "set-up refused");
	snprintf(d.meter[1].why, sizeof d.meter[1].why, "CONF:RSE: -113,\"Undefined header\"");
}

static void spoilt_frames(void)
{
	d.meter[0].counters.bad = 20;
	d.meter[0].counters.parity = 20;
}

static void many_spoilt_frames(void)
{
	d.meter[0].counters.bad = 100;
	d.meter[0].fits = false;
}

static void a_spoilt_frame(void)
{
	d.meter[0].counters.bad = 1;
}

static void late_answers(void)
{
	d.meter[1].counters.timeouts = 4;
	d.meter[1].counters.late = 4;
}

static void goes_and_comes(void)
{
	d.meter[0].counters.reconnects = 12;
}

static void goes_stale(void)
{
	d.meter[0].counters.stale = 3;
}

static void resyncs(void)
{
	d.meter[0].counters.resync = 30;
}

static void overruns(void)
{
	d.meter[0].overrun = 7;
}

static void unread(void)
{
	d.bench.daemon = false;
	d.bench.log_health[0] = '\0';
	for (int i = 0; i < 2; i++) {
		d.meter[i].line = DOCTOR_UNREAD;
		d.meter[i].bytes = 0;
	}
}

static void unread_denied(void)
{
	unread();
	denied();
	d.meter[0].line = DOCTOR_UNREAD;
}

static void unread_elsewhere(void)
{
	unread();
	snprintf(d.bench.elsewhere, sizeof d.bench.elsewhere, "tallyd (process 5)");
}

static void unread_socket_denied(void)
{
	unread();
	d.bench.socket_rights = (struct node_rights){.there = true, .mode = 0660, .user = "tally",
	                                             .group = "bench"};
}

static void bad_config(void)
{
	unread();
	d.meters = 0;
	snprintf(d.bench.config_fault, sizeof d.bench.config_fault, "x.conf:7:3: no such key");
}

static void no_meters(void)
{
	d.meters = 0;
}

static void log_full(void)
{
	snprintf(d.bench.log_health, sizeof d.bench.log_health, "full");
}

static void log_suspect(void)
{
	snprintf(d.bench.log_health, sizeof d.bench.log_health, "suspect");
}

static void log_not_writable(void)
{
	snprintf(d.bench.log_trouble, sizeof d.bench.log_trouble, "its folder: Permission denied");
}

static void disk_low(void)
{
	d.bench.disk_free = DOCTOR_DISK_LOW - 1;
}

static void disk_full(void)
{
	d.bench.disk_free = 1000;
}

static void as_root(void)
{
	d.bench.self.root = true;
}

static void asked_as_root(void)
{
	unread();
	as_root();
	d.bench.socket_rights = (struct node_rights){.there = true, .may = true};
}

static void no_udev(void)
{
	d.bench.udev = false;
}

/* meter -1: the bench.  word FINDING_WORDS: nothing at all is to be said.  `but`: what
 * neither text nor cure may say. */
static const struct row {
	const char *name;
	void (*make)(void);
	int meter;
	enum finding_word word;
	bool fault;
	const char *text, *cure, *but;
} rows[] = {
    {"all is well", nothing, 0, FINDING_WORDS, false, "", "", NULL},
    {"nothing is plugged in", unplugged, 0, FINDING_ABSENT, true, "no USB adapter at all",
     "charging", NULL},
    {"a name that no rule made", renumbered_path, 0, FINDING_ABSENT, true,
     "/dev/ttyUSB0 (1209:0001, serial A1, place 1-1.4:1.0)", "port = usb:1209:0001:A1", "ttyUSB1"},
    {"a link to nothing", dangling_link, 0, FINDING_ABSENT, true, "leads to ../ttyUSB7", "plug", NULL},
    {"another serial number", other_serial, 0, FINDING_ABSENT, true, "serial B9",
     "port = usb:1209:0001:B9", NULL},
    {"no driver", no_driver, 0, FINDING_NO_DRIVER, true, "1209:0001 in place 1-2", "modules", NULL},
    {"no driver, by place", no_driver_in_place, 0, FINDING_NO_DRIVER, true, "9999:0001", "dmesg", NULL},
    {"a stray in a place whose name begins alike", stray_elsewhere, 0, FINDING_ABSENT, true,
     "usb-place:1-21:1.0 is not there", "plug", NULL},
    {"a program past the kernel", taken_past_the_kernel, 0, FINDING_HELD, true, "dots (process 77)",
     "rule that excludes", "end that program"},
    {"two alike", two_alike, 0, FINDING_AMBIGUOUS, true, "2 adapters fit",
     "`port = usb-place:1-1.4:1.0` or `port = usb-place:1-1.3:1.0`", NULL},
    {"held", held, 0, FINDING_HELD, true, "cat (process 123)", "close the line", NULL},
    {"held by a modem manager", held_by_modem_manager, 0, FINDING_HELD, true, "ModemThing",
     "ATTRS{idVendor}==\"1209\", ATTRS{idProduct}==\"0001\", ENV{ID_MM_DEVICE_IGNORE}=\"1\"",
     "disable"},
    {"held by a braille display", held_by_braille, 0, FINDING_HELD, true, "brld", "leave it running",
     "end it"},
    {"held by a login", held_by_getty, 0, FINDING_HELD, true, "agetty",
     "serial-getty@ttyUSB0.service", NULL},
    {"held by a daemon", held_by_tallyd, 0, FINDING_HELD, true, "tallyd", "one of the two", NULL},
    {"held unseen", held_unseen, 0, FINDING_HELD, true, "cannot be seen", "fuser -v /dev/ttyUSB0", NULL},
    {"denied", denied, 0, FINDING_DENIED, true, "root:dialout, mode 0660", "`adduser tally dialout`",
     "log out"},
    {"denied until it is restarted", denied_until_restart, 0, FINDING_DENIED, true, "tally",
     "restart the daemon", "adduser"},
    {"denied to every group", denied_to_all_groups, 0, FINDING_DENIED, true, "root:root, mode 0600",
     "60-tally.rules", "adduser"},
    {"fenced in by the service", fenced, 0, FINDING_DENIED, true, "dialout", "DeviceAllow", "adduser"},
    {"settings refused", settings_refused, 0, FINDING_SETTINGS, true, "does not take the parity",
     "serial =", NULL},
    {"a port that fails", broken_port, 0, FINDING_REFUSED, true, "Input/output error", "dmesg", NULL},
    {"no rule", no_rule, 0, FINDING_NO_RULE, false, "no rule of ours", "60-tally.rules", NULL},
    {"a modem manager about", modem_manager_about, 0, FINDING_MODEM, false, "ModemThing (process 9)",
     "not off the machine", "stop"},
    {"a slow adapter", slow_adapter, 0, FINDING_LATENCY, false, "16 ms", "60-tally.rules", NULL},
    {"silent", silent, 0, FINDING_SILENT, true, "not one byte", "`dtr = on` and `rts = off`", NULL},
    {"silent on those wires", silent_with_wires, 0, FINDING_SILENT, true, "60 s",
     "here they are dtr = on, rts = off; try `dtr = off` and `rts = on`", NULL},
    {"opened a second ago", silent_just_opened, 0, FINDING_WORDS, false, "", "", NULL},
    {"fell silent", fell_silent, 0, FINDING_SILENT, true, "90 s", "switched itself off", "dtr"},
    {"a slow range", a_slow_range, 0, FINDING_WORDS, false, "", "", NULL},
    {"slower", slower, 0, FINDING_SPEED, true, "4 times slower", "`serial = 2400 8N1`", NULL},
    {"held low", held_low, 0, FINDING_SPEED, true, "not one of 1024 bytes", "lower speed", NULL},
    {"seven bits", seven_even, 0, FINDING_BITS, true, "even", "`serial = 9600 7E1`", NULL},
    {"no parity", no_parity, 0, FINDING_BITS, true, "parity error", "`serial = 9600 8N1`", NULL},
    {"garbled", garbled, 0, FINDING_GARBLED, true, "40 %", "higher speeds", NULL},
    {"binary", binary, 0, FINDING_GARBLED, true, "50 % of the bytes have the top bit", "tape", NULL},
    {"another dialect", another_dialect, 0, FINDING_DIALECT, true, "ascii-number understands them",
     "`dialect = ascii-number`", NULL},
    {"no dialect", unknown_dialect, 0, FINDING_DIALECT, true, "50 frames bad", "meters raw red", NULL},
    {"was another dialect", was_another_dialect, 0, FINDING_SPOILT, false, "hardly any", "raw", NULL},
    {"no answer", unanswered, 1, FINDING_NO_ANSWER, true, "*IDN? (ended by LF)", "`identify = no`", NULL},
    {"no answer yet", unanswered_yet, 1, FINDING_WORDS, false, "", "", NULL},
    {"an echo", echo, 1, FINDING_ECHO, true, "`*IDN?`", "pins 2 and 3", NULL},
    {"asked at a wrong speed", asked_at_wrong_speed, 1, FINDING_GARBLED, true, "60 %", "serial =", NULL},
    {"stopped answering", stopped_answering, 1, FINDING_NO_ANSWER, true, "READ? in 2.0 s", "off", NULL},
    {"set-up refused", set_up_refused, 1, FINDING_SETUP, true, "CONF:RSE: -113", "setup =", NULL},
    {"spoilt frames", spoilt_frames, 0, FINDING_SPOILT, false, "6.2 %", "screened", NULL},
    {"many spoilt frames", many_spoilt_frames, 0, FINDING_SPOILT, true, "25.0 %", "raw", NULL},
    {"one spoilt frame", a_spoilt_frame, 0, FINDING_WORDS, false, "", "", NULL},
    {"late answers", late_answers, 1, FINDING_SLOW, false, "4 time-outs", "timeout =", NULL},
    {"goes and comes", goes_and_comes, 0, FINDING_UNSTEADY, false, "12 times", "hub", NULL},
    {"goes stale", goes_stale, 0, FINDING_UNSTEADY, false, "3 times", "power-off", NULL},
    {"resyncs", resyncs, 0, FINDING_UNSTEADY, false, "30 times", "cable", NULL},
    {"overruns", overruns, 0, FINDING_SPOILT, false, "7 bytes", "flow = hardware", NULL},
    {"no daemon", unread, -1, FINDING_NO_DAEMON, true, "no daemon runs", "start", NULL},
    {"no daemon, denied", unread_denied, 0, FINDING_DENIED, true, "you (user tally) are in",
     "log out and in again", "restart"},
    {"a daemon elsewhere", unread_elsewhere, -1, FINDING_NO_DAEMON, true, "tallyd (process 5) runs",
     "--socket", NULL},
    {"a socket for others", unread_socket_denied, -1, FINDING_SOCKET, true, "tally:bench (mode 0660)",
     "`adduser tally bench`", NULL},
    {"a bad configuration", bad_config, -1, FINDING_CONFIG, true, "x.conf:7:3: no such key",
     "--check-config", NULL},
    {"no meters", no_meters, -1, FINDING_NO_METERS, true, "tally.ini names no meter", "[meter NAME]",
     NULL},
    {"the log is full", log_full, -1, FINDING_LOG, true, "is full", "make room", NULL},
    {"the log is suspect", log_suspect, -1, FINDING_LOG, true, "is suspect", "copy", NULL},
    {"the log cannot be written", log_not_writable, -1, FINDING_LOG, true, "Permission denied",
     "log = FILE", NULL},
    {"little room", disk_low, -1, FINDING_DISK, false, "67.1 MB", "room", NULL},
    {"no room", disk_full, -1, FINDING_DISK, true, "0.0 MB", "room", NULL},
    {"as root", as_root, -1, FINDING_ROOT, false, "runs as root", "user of its own", NULL},
    {"asked as root", asked_as_root, -1, FINDING_NO_DAEMON, true, "nobody reads", "start", NULL},
    {"no udev", no_udev, -1, FINDING_UDEV, false, "no udev", "container", NULL},
};

static void each_trouble_is_named(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		const struct row *r = &rows[i];
		all_well();
		r->make();
		doctor_find(&d, &found);
		int n = 0;
		const struct finding *f = NULL;
		for (int k = 0; k < found.count; k++)
			if (found.list[k].meter == r->meter && n++ == 0)
				f = &found.list[k];
		if (r->word == FINDING_WORDS ? n != 0 : n == 0)
			fail_msg("%s: %d findings: %s", r->name, n, f ? f->text : "");
		if (!f)
			continue;
		if (f->word != r->word || f->fault != r->fault || !strstr(f->text, r->text) ||
		    !strstr(f->cure, r->cure))
			fail_msg("%s: %s %s\n  %s\n  %s", r->name, finding_word(f->word),
			         f->fault ? "fault" : "hint", f->text, f->cure);
		if (r->but && (strstr(f->text, r->but) || strstr(f->cure, r->but)))
			fail_msg("%s must not say %s:\n  %s\n  %s", r->name, r->but, f->text, f->cure);
		assert_int_equal(findings_fault(&found), r->fault || found.count > n);
	}
}

/* One trouble is said once: what follows from it is not a finding of its own. */
static void one_trouble_is_one_finding(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		int faults = 0;
		all_well();
		rows[i].make();
		doctor_find(&d, &found);
		for (int k = 0; k < found.count; k++)
			faults += found.list[k].fault && found.list[k].meter >= 0;
		if (faults > 1)
			fail_msg("%s: %d faults of meters", rows[i].name, faults);
	}
}

/* Narrow cures: nothing that opens a node to everybody, no root, no other program taken
 * away from those who need it; nothing is cut off, and control characters stay out. */
static void cures_are_narrow(void **state)
{
	static const char *const never[] = {"chmod", "666", "777", "sudo", "as root,", "apt-get", "remove",
	                                    "uninstall", "purge", "mask", "killall", "setenforce"};
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		all_well();
		rows[i].make();
		doctor_find(&d, &found);
		for (int k = 0; k < found.count; k++) {
			const struct finding *f = &found.list[k];
			for (size_t n = 0; n < sizeof never / sizeof *never; n++)
				if (strstr(f->cure, never[n]))
					fail_msg("%s: the cure says %s: %s", rows[i].name, never[n], f->cure);
			assert_true(f->text[0] && f->cure[0]);
			assert_true(strlen(f->text) < sizeof f->text - 1);
			assert_true(strlen(f->cure) < sizeof f->cure - 1);
		}
	}
}

/* The answer is JSON whatever the facts hold, and within one line of the wire. */
static void written_as_json(void **state)
{
	enum { SIZE = 1 << 20 };
	static char buffer[SIZE];
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct text t;
		all_well();
		rows[i].make();
		snprintf(d.adapter[0].product, sizeof d.adapter[0].product, "\x1b[2J\xff\"bad\n");
		doctor_find(&d, &found);
		text_begin(&t, buffer, sizeof buffer);
		doctor_write(&d, &found, &t);
		assert_false(t.failed);
		assert_true(json_valid(t.bytes, t.len, NULL));
		assert_null(strchr(t.bytes, '\n'));
		struct slice ok = json_member(t.bytes, t.len, "ok");
		assert_int_equal(json_bool(ok, false), !findings_fault(&found));
	}
}

/* 64 meters, 96 adapters and every one of them in trouble: bounded, and said. */
static void the_largest_bench(void **state)
{
	enum { SIZE = (1 << 20) - 8192 };
	static char buffer[SIZE];
	struct text t;
	(void)state;
	all_well();
	for (int i = 0; i < ADAPTERS_MAX; i++)
		adapter(i, "/dev/ttyUSB77", "1-1.1.1.1.1.1:1.0", "0123456789012345678901234567890123456789");
	d.meters = CONFIG_METERS_MAX;
	for (int i = 0; i < CONFIG_METERS_MAX; i++) {
		d.meter[i] = d.meter[0];
		d.meter[i].adapter = i;
		spoilt_frames();
		struct doctor_counters *c = &d.meter[i].counters;
		*c = (struct doctor_counters){.good = 300, .bad = 100, .readings = 100, .timeouts = 90,
		                              .late = 9, .resync = 90, .stale = 9, .reconnects = 9};
		d.meter[i].overrun = 5;
		d.adapter[i].latency_ms = 16;
		d.adapter[i].modem_ignored = false;
	}
	doctor_find(&d, &found);
	assert_int_equal(found.count, FINDINGS_MAX);
	assert_true(found.dropped > 0 && findings_fault(&found));
	text_begin(&t, buffer, sizeof buffer);
	doctor_write(&d, &found, &t);
	assert_false(t.failed);
	assert_true(json_valid(t.bytes, t.len, NULL));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(each_trouble_is_named),
	    cmocka_unit_test(one_trouble_is_one_finding),
	    cmocka_unit_test(cures_are_narrow),
	    cmocka_unit_test(written_as_json),
	    cmocka_unit_test(the_largest_bench),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
