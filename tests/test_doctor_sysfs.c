/* SPDX-License-Identifier: MIT */
/*
 * Which adapters the machine has (daemon/adapters.h), from a small tree laid out as the
 * kernel and udev lay out theirs (Linux, Documentation/ABI: sysfs-bus-usb, sysfs-tty;
 * the database of udev as it is found under /run/udev/data, from memory).
 */
#include "daemon/adapters.h"
#include "tests/check.h"

#include <fcntl.h>
#include <signal.h>
#include <stdlib.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

static char root[64];

static void folder(const char *path)
{
	char all[512];
	snprintf(all, sizeof all, "%s/%s", root, path);
	for (char *p = all + strlen(root) + 1; (p = strchr(p, '/')); p++) {
		*p = '\0';
		mkdir(all, 0755);
		*p = '/';
	}
	mkdir(all, 0755);
}

static void file(const char *path, const char *text)
{
	char all[512], above[512];
	snprintf(above, sizeof above, "%s", path);
	char *slash = strrchr(above, '/');
	assert_non_null(slash);
	*slash = '\0';
	folder(above);
	snprintf(all, sizeof all, "%s/%s", root, path);
	FILE *f = fopen(all, "w");
	assert_non_null(f);
	fputs(text, f);
	fclose(f);
}

static void link_to(const char *path, const char *target)
{
	char all[512], above[512];
	snprintf(above, sizeof above, "%s", path);
	*strrchr(above, '/') = '\0';
	folder(above);
	snprintf(all, sizeof all, "%s/%s", root, path);
	assert_int_equal(symlink(target, all), 0);
}

static void usb(const char *at, const char *vid, const char *pid, const char *serial)
{
	char path[300];
	snprintf(path, sizeof path, "%s/idVendor", at);
	file(path, vid);
	snprintf(path, sizeof path, "%s/idProduct", at);
	file(path, pid);
	snprintf(path, sizeof path, "%s/busnum", at);
	file(path, "1\n");
	snprintf(path, sizeof path, "%s/devnum", at);
	file(path, "7\n");
	if (!serial)
		return;
	snprintf(path, sizeof path, "%s/serial", at);
	file(path, serial);
}

#define PCI "sys/devices/pci0000:00/0000:00:14.0/usb1"

static int lay_out(void **state)
{
	(void)state;
	strcpy(root, "/tmp/tally-sysfs-XXXXXX");
	if (!mkdtemp(root))
		return -1;
	/* a converter behind a hub: its line hangs two levels below the adapter */
	usb(PCI "/1-1/1-1.4", "1209\n", "0001\n", "A1\n");
	file(PCI "/1-1/1-1.4/product", "serial converter\n");
	file(PCI "/1-1/1-1.4/1-1.4:1.0/ttyUSB0/latency_timer", "16\n");
	file(PCI "/1-1/1-1.4/1-1.4:1.0/ttyUSB0/tty/ttyUSB0/dev", "188:0\n");
	link_to(PCI "/1-1/1-1.4/1-1.4:1.0/ttyUSB0/tty/ttyUSB0/device", "../../../ttyUSB0");
	link_to(PCI "/1-1/1-1.4/1-1.4:1.0/ttyUSB0/driver", "../../../../../../../bus/usb-serial/drivers/conv");
	link_to(PCI "/1-1/1-1.4/1-1.4:1.0/driver", "../../../../../../../bus/usb/drivers/conv");
	link_to("sys/class/tty/ttyUSB0",
	        "../../devices/pci0000:00/0000:00:14.0/usb1/1-1/1-1.4/1-1.4:1.0/ttyUSB0/tty/ttyUSB0");
	file("run/udev/data/c188:0", "I:1234\nS:serial/by-id/x\nS:tally/red\nE:ID_MM_DEVICE_IGNORE=1\nG:systemd\n");
	file("dev/ttyUSB0", "");
	/* an instrument of its own: the line hangs on the interface; no serial, no rule */
	usb(PCI "/1-2", "1209\n", "0002\n", NULL);
	file(PCI "/1-2/1-2:1.0/tty/ttyACM10/dev", "166:10\n");
	link_to(PCI "/1-2/1-2:1.0/tty/ttyACM10/device", "../../../1-2:1.0");
	link_to(PCI "/1-2/1-2:1.0/driver", "../../../../../../bus/usb/drivers/acm");
	link_to("sys/class/tty/ttyACM10",
	        "../../devices/pci0000:00/0000:00:14.0/usb1/1-2/1-2:1.0/tty/ttyACM10");
	file("run/udev/data/c166:10", "I:99\nE:ID_MM_DEVICE_IGNORE=10\nS:tallyho/x\n");
	file("dev/ttyACM10", "");
	/* lines that are no adapters */
	file("sys/devices/platform/serial8250/tty/ttyS0/dev", "4:64\n");
	link_to("sys/devices/platform/serial8250/tty/ttyS0/device", "../../../serial8250");
	link_to("sys/class/tty/ttyS0", "../../devices/platform/serial8250/tty/ttyS0");
	file("sys/devices/virtual/tty/tty1/dev", "4:1\n");
	link_to("sys/class/tty/tty1", "../../devices/virtual/tty/tty1");
	/* devices without a line: no driver; two interfaces taken past the kernel; one that
	 * is no adapter and has its driver */
	usb(PCI "/1-3", "1209\n", "0003\n", "C3\n");
	file(PCI "/1-3/1-3:1.0/bInterfaceClass", "02\n");
	file(PCI "/1-3/1-3:1.0/bInterfaceSubClass", "02\n");
	usb(PCI "/1-4", "1209\n", "0004\n", NULL);
	file(PCI "/1-4/1-4:1.0/bInterfaceClass", "ff\n");
	file(PCI "/1-4/1-4:1.1/bInterfaceClass", "ff\n");
	link_to(PCI "/1-4/1-4:1.0/driver", "../../../../../../bus/usb/drivers/usbfs");
	link_to(PCI "/1-4/1-4:1.1/driver", "../../../../../../bus/usb/drivers/usbfs");
	usb(PCI "/1-5", "1209\n", "0005\n", NULL);
	file(PCI "/1-5/1-5:1.0/bInterfaceClass", "03\n");
	link_to(PCI "/1-5/1-5:1.0/driver", "../../../../../../bus/usb/drivers/hid");
	static const char *const on_bus[] = {"1-1/1-1.4", "1-1/1-1.4/1-1.4:1.0", "1-2", "1-2/1-2:1.0",
	    "1-3", "1-3/1-3:1.0", "1-4", "1-4/1-4:1.0", "1-4/1-4:1.1", "1-5", "1-5/1-5:1.0"};
	for (size_t i = 0; i < sizeof on_bus / sizeof *on_bus; i++) {
		char path[200], target[300];
		const char *name = strrchr(on_bus[i], '/') ? strrchr(on_bus[i], '/') + 1 : on_bus[i];
		snprintf(path, sizeof path, "sys/bus/usb/devices/%s", name);
		snprintf(target, sizeof target, "../../../devices/pci0000:00/0000:00:14.0/usb1/%s", on_bus[i]);
		link_to(path, target);
	}
	return 0;
}

static int clear_away(void **state)
{
	char command[128];
	(void)state;
	snprintf(command, sizeof command, "rm -rf %s", root);
	return system(command);
}

static void adapters_are_read(void **state)
{
	static struct adapter a[ADAPTERS_MAX];
	(void)state;
	assert_int_equal(adapters_list(root, a, ADAPTERS_MAX), 2);
	assert_string_equal(a[0].node, "/dev/ttyACM10");
	assert_string_equal(a[0].bus, "1-2:1.0");
	assert_int_equal(a[0].pid, 2);
	assert_string_equal(a[0].serial, "");
	assert_string_equal(a[0].driver, "acm");
	assert_int_equal(a[0].latency_ms, -1);
	assert_true(a[0].known && !a[0].modem_ignored);
	assert_string_equal(a[0].link, "");
	assert_string_equal(a[1].node, "/dev/ttyUSB0");
	assert_string_equal(a[1].bus, "1-1.4:1.0");
	assert_int_equal(a[1].vid, 0x1209);
	assert_string_equal(a[1].serial, "A1");
	assert_string_equal(a[1].product, "serial converter");
	assert_string_equal(a[1].driver, "conv");
	assert_string_equal(a[1].link, "/dev/tally/red");
	assert_int_equal(a[1].latency_ms, 16);
	assert_true(a[1].known && a[1].modem_ignored && a[1].rights.there && a[1].rights.may);
	assert_int_equal(adapters_list(root, a, 1), 1);
}

static void strays_are_read(void **state)
{
	struct stray s[STRAYS_MAX];
	(void)state;
	assert_int_equal(strays_list(root, s, STRAYS_MAX), 2);
	int free_one = s[0].claimed ? 1 : 0;
	assert_string_equal(s[free_one].place, "1-3");
	assert_int_equal(s[free_one].pid, 3);
	assert_string_equal(s[free_one].serial, "C3");
	assert_true(s[free_one].modem_class && !s[free_one].claimed);
	assert_string_equal(s[!free_one].place, "1-4");
	assert_true(s[!free_one].claimed && !s[!free_one].modem_class);
}

static void nothing_is_there(void **state)
{
	struct adapter a[1];
	struct stray s[1];
	(void)state;
	assert_int_equal(adapters_list("/tmp/no-such-folder", a, 1), 0);
	assert_int_equal(strays_list("/tmp/no-such-folder", s, 1), 0);
	assert_false(udev_runs("/tmp/no-such-folder"));
	file("run/udev/control", "");
	assert_true(udev_runs(root));
}

/* Whose a node is, who has it open, and who has a lock on it without showing more. */
static void rights_and_holders(void **state)
{
	struct node_rights r;
	char path[128], me[64];
	(void)state;
	snprintf(path, sizeof path, "%s/dev/ttyUSB0", root);
	assert_int_equal(chmod(path, 0640), 0);
	node_look(path, &r);
	assert_true(r.there && r.member && r.user[0] && r.group[0]);
	assert_int_equal(r.mode, 0640);
	assert_string_equal(r.holder, "");
	if (geteuid() != 0) {
		assert_int_equal(chmod(path, 0040), 0);
		node_look(path, &r);
		assert_false(r.may);
		assert_int_equal(chmod(path, 0640), 0);
	}
	int to[2], pid = (assert_int_equal(pipe(to), 0), fork());
	if (pid == 0) {
		int fd = open(path, O_RDONLY);
		if (fd < 0 || flock(fd, LOCK_EX) != 0 || write(to[1], "x", 1) != 1)
			_exit(1);
		pause();
		_exit(0);
	}
	char x;
	assert_int_equal(read(to[0], &x, 1), 1);
	node_look(path, &r);
	snprintf(me, sizeof me, "(process %d)", pid);
	assert_non_null(strstr(r.holder, me));
	assert_int_equal(kill(pid, SIGKILL), 0);
	assert_int_equal(waitpid(pid, NULL, 0), pid);
	node_look(path, &r);
	assert_string_equal(r.holder, "");
	node_look("/nowhere/at/all", &r);
	assert_false(r.there || r.may);
}

/* A process of a name that no other has, but for those that were started with a word. */
static void processes_by_name(void **state)
{
	static const char *const without[] = {"30", NULL}, *const other[] = {"31", NULL};
	char name[64], path[128], want[64], command[300];
	(void)state;
	snprintf(path, sizeof path, "%s/x-tally-nap", root);
	snprintf(command, sizeof command, "cp /bin/sleep %s", path);
	assert_int_equal(system(command), 0);
	assert_false(process_named("x-tally-NAP", NULL, name, sizeof name));
	int pid = fork();
	if (pid == 0) {
		execl(path, path, "30", NULL);
		_exit(1);
	}
	for (int i = 0; i < 500 && !process_named("x-tally-NAP", NULL, name, sizeof name); i++)
		usleep(10000);
	snprintf(want, sizeof want, "x-tally-nap (process %d)", pid);
	assert_true(process_named("x-tally-NAP", other, name, sizeof name));
	assert_string_equal(name, want);
	assert_false(process_named("x-tally-NAP", without, name, sizeof name));
	kill(pid, SIGKILL);
	while (waitpid(pid, NULL, 0) < 0)
		;
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(adapters_are_read), cmocka_unit_test(strays_are_read),
	    cmocka_unit_test(nothing_is_there),  cmocka_unit_test(rights_and_holders),
	    cmocka_unit_test(processes_by_name),
	};
	return cmocka_run_group_tests(tests, lay_out, clear_away);
}
