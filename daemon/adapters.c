/* SPDX-License-Identifier: MIT */
/*
 * See adapters.h.  Where things stand in sysfs (Linux, Documentation/ABI):
 *
 *   /sys/class/tty/ttyUSB0          a link through the tree, whose way names the place
 *   /sys/class/tty/ttyUSB0/device   the port, or the interface itself (ttyACM0)
 *   /sys/bus/usb/devices/1-1.4:1.0  an interface; its `driver` is a link
 *   /run/udev/data/c188:0           what rules gave it: S: links, E: properties
 */
#include "daemon/adapters.h"
#include "daemon/first_line.h"
#include "daemon/holder.h"

#include <ctype.h>
#include <dirent.h>
#include <fcntl.h>
#include <grp.h>
#include <limits.h>
#include <pwd.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* ---- small files ---- */

static bool line_below(const char *folder, const char *name, char *out, size_t size)
{
	char path[PATH_MAX];
	return snprintf(path, sizeof path, "%s/%s", folder, name) < (int)sizeof path &&
	       first_line(path, out, size);
}

static int hex_below(const char *folder, const char *name)
{
	char text[16], *end;
	if (!line_below(folder, name, text, sizeof text))
		return -1;
	long n = strtol(text, &end, 16);
	return end > text && n >= 0 && n <= 0xffff ? (int)n : -1;
}

/* The last part of where a link leads, "" where there is no link. */
static void link_end(const char *path, char *out, size_t size)
{
	char target[PATH_MAX];
	ssize_t n = readlink(path, target, sizeof target - 1);
	out[0] = '\0';
	if (n <= 0)
		return;
	target[n] = '\0';
	const char *slash = strrchr(target, '/');
	snprintf(out, size, "%.*s", (int)size - 1, slash ? slash + 1 : target);
}

/* ---- rights ---- */

static bool in_groups(gid_t gid, const gid_t *list, int n)
{
	for (int i = 0; i < n; i++)
		if (list[i] == gid)
			return true;
	return false;
}

static bool is_member(gid_t gid)
{
	gid_t list[256];
	int n = getgroups(256, list);
	return gid == getegid() || in_groups(gid, list, n);
}

static bool is_listed(gid_t gid)
{
	struct passwd pw, *found = NULL;
	char buffer[4096];
	gid_t list[256];
	int n = 256;
	if (getpwuid_r(geteuid(), &pw, buffer, sizeof buffer, &found) != 0 || !found ||
	    getgrouplist(pw.pw_name, pw.pw_gid, list, &n) < 0)
		return false;
	return in_groups(gid, list, n);
}

static void user_name(uid_t uid, char *out, size_t size)
{
	struct passwd pw, *found = NULL;
	char buffer[4096];
	snprintf(out, size, "%u", (unsigned)uid);
	if (getpwuid_r(uid, &pw, buffer, sizeof buffer, &found) == 0 && found)
		snprintf(out, size, "%s", pw.pw_name);
}

static void group_name(gid_t gid, char *out, size_t size)
{
	struct group gr, *found = NULL;
	char buffer[8192];
	snprintf(out, size, "%u", (unsigned)gid);
	if (getgrgid_r(gid, &gr, buffer, sizeof buffer, &found) == 0 && found)
		snprintf(out, size, "%s", gr.gr_name);
}

void node_look(const char *node, struct node_rights *out)
{
	struct stat st;
	memset(out, 0, sizeof *out);
	if (stat(node, &st) != 0)
		return;
	out->there = true;
	out->mode = st.st_mode & 07777;
	user_name(st.st_uid, out->user, sizeof out->user);
	group_name(st.st_gid, out->group, sizeof out->group);
	out->may = faccessat(AT_FDCWD, node, R_OK | W_OK, AT_EACCESS) == 0;
	out->member = is_member(st.st_gid);
	out->listed = is_listed(st.st_gid);
	holders_of_file(node, out->holder, sizeof out->holder);
	if (!out->holder[0]) { /* of another user's process the lock alone can be seen */
		pid_t pid = holder_of_path_lock(node);
		if (!pid)
			pid = holder_of_lock_file(node);
		if (pid && pid != getpid())
			holder_name(pid, out->holder, sizeof out->holder);
	}
}

void self_look(struct self *out)
{
	gid_t list[256];
	int n = getgroups(256, list);
	size_t at = 0;
	memset(out, 0, sizeof *out);
	user_name(geteuid(), out->user, sizeof out->user);
	out->root = geteuid() == 0;
	if (!in_groups(getegid(), list, n) && n >= 0 && n < 256)
		list[n++] = getegid();
	for (int i = 0; i < n && at < sizeof out->groups; i++) {
		char name[64];
		group_name(list[i], name, sizeof name);
		at += (size_t)snprintf(out->groups + at, sizeof out->groups - at, "%s%s", at ? ", " : "",
		                       name);
	}
}

/* ---- adapters ---- */

/* usb1/1-1/1-1.4/1-1.4:1.0/ttyUSB0/...: the interface is the part with a colon that
 * begins with a number and a dash. */
static void bus_of(const char *entry, char *out, size_t size)
{
	char target[PATH_MAX];
	ssize_t n = readlink(entry, target, sizeof target - 1);
	out[0] = '\0';
	if (n <= 0)
		return;
	target[n] = '\0';
	for (char *save, *p = strtok_r(target, "/", &save); p; p = strtok_r(NULL, "/", &save))
		if (isdigit((unsigned char)p[0]) && strchr(p, '-') && strchr(p, ':'))
			snprintf(out, size, "%s", p);
}

/* What rules made of a node: the first link below tally/, and a property. */
static void read_udev(const char *root, const char *entry, struct adapter *a)
{
	char number[32], path[PATH_MAX], line[512];
	if (!line_below(entry, "dev", number, sizeof number))
		return;
	snprintf(path, sizeof path, "%s/run/udev/data/c%s", root, number);
	FILE *f = fopen(path, "re");
	if (!f)
		return;
	a->known = true;
	while (fgets(line, sizeof line, f)) {
		line[strcspn(line, "\n")] = '\0';
		if (strncmp(line, "S:tally/", 8) == 0 && !a->link[0])
			snprintf(a->link, sizeof a->link, "/dev/%.50s", line + 2);
		if (strcmp(line, "E:ID_MM_DEVICE_IGNORE=1") == 0)
			a->modem_ignored = true;
	}
	fclose(f);
}

/* The folder of the adapter itself: two levels above a port, one above an interface. */
static bool usb_folder(const char *entry, char *out, size_t size)
{
	static const char *const up[] = {"device/..", "device/../.."};
	for (size_t i = 0; i < sizeof up / sizeof *up; i++)
		if (snprintf(out, size, "%s/%s", entry, up[i]) < (int)size &&
		    hex_below(out, "idVendor") >= 0)
			return true;
	return false;
}

static bool adapter_read(const char *root, const char *name, struct adapter *a)
{
	char entry[512], usb[600], path[700], text[32];
	memset(a, 0, sizeof *a);
	if (snprintf(entry, sizeof entry, "%s/sys/class/tty/%s", root, name) >= (int)sizeof entry ||
	    !usb_folder(entry, usb, sizeof usb))
		return false;
	a->vid = hex_below(usb, "idVendor");
	a->pid = hex_below(usb, "idProduct");
	line_below(usb, "serial", a->serial, sizeof a->serial);
	line_below(usb, "product", a->product, sizeof a->product);
	bus_of(entry, a->bus, sizeof a->bus);
	snprintf(path, sizeof path, "%s/device/driver", entry);
	link_end(path, a->driver, sizeof a->driver);
	a->latency_ms = line_below(entry, "device/latency_timer", text, sizeof text) ? atoi(text) : -1;
	read_udev(root, entry, a);
	snprintf(a->node, sizeof a->node, "/dev/%.58s", name);
	snprintf(path, sizeof path, "%s%s", root, a->node);
	node_look(path, &a->rights);
	return true;
}

static int by_node(const void *a, const void *b)
{
	return strverscmp(((const struct adapter *)a)->node, ((const struct adapter *)b)->node);
}

int adapters_list(const char *root, struct adapter *out, int max)
{
	char folder[512];
	int n = 0;
	snprintf(folder, sizeof folder, "%s/sys/class/tty", root);
	DIR *dir = opendir(folder);
	struct dirent *e;
	while (dir && n < max && (e = readdir(dir)))
		if (e->d_name[0] != '.' && adapter_read(root, e->d_name, &out[n]))
			n++;
	if (dir)
		closedir(dir);
	qsort(out, (size_t)n, sizeof *out, by_node);
	return n;
}

/* ---- devices without a line ---- */

/* One interface 1-1.4:1.0: is it free, or taken past the kernel? */
static bool stray_read(const char *root, const char *name, struct stray *s)
{
	char folder[600], path[700], driver[32], usb[600], text[16];
	size_t place = strcspn(name, ":");
	snprintf(folder, sizeof folder, "%s/sys/bus/usb/devices/%.100s", root, name);
	snprintf(path, sizeof path, "%s/driver", folder);
	link_end(path, driver, sizeof driver);
	memset(s, 0, sizeof *s);
	s->claimed = strcmp(driver, "usbfs") == 0;
	if (driver[0] && !s->claimed)
		return false;
	snprintf(s->place, sizeof s->place, "%.*s", (int)(place < 63 ? place : 63), name);
	s->modem_class = hex_below(folder, "bInterfaceClass") == 2 &&
	                 hex_below(folder, "bInterfaceSubClass") == 2;
	snprintf(usb, sizeof usb, "%s/sys/bus/usb/devices/%s", root, s->place);
	s->vid = hex_below(usb, "idVendor");
	s->pid = hex_below(usb, "idProduct");
	line_below(usb, "serial", s->serial, sizeof s->serial);
	line_below(usb, "product", s->product, sizeof s->product);
	if (s->claimed && line_below(usb, "busnum", text, sizeof text)) {
		int bus = atoi(text);
		line_below(usb, "devnum", text, sizeof text);
		snprintf(path, sizeof path, "%s/dev/bus/usb/%03d/%03d", root, bus, atoi(text));
		holders_of_file(path, s->holder, sizeof s->holder);
	}
	return s->vid >= 0 && s->pid >= 0;
}

int strays_list(const char *root, struct stray *out, int max)
{
	char folder[512];
	int n = 0;
	snprintf(folder, sizeof folder, "%s/sys/bus/usb/devices", root);
	DIR *dir = opendir(folder);
	struct dirent *e;
	while (dir && n < max && (e = readdir(dir))) {
		if (!strchr(e->d_name, ':') || !stray_read(root, e->d_name, &out[n]))
			continue;
		bool another = true; /* one device, several interfaces */
		for (int i = 0; i < n; i++)
			another = another && strcmp(out[i].place, out[n].place) != 0;
		n += another;
	}
	if (dir)
		closedir(dir);
	return n;
}

/* ---- the rest ---- */

bool udev_runs(const char *root)
{
	char path[512];
	snprintf(path, sizeof path, "%s/run/udev/control", root);
	return access(path, F_OK) == 0;
}

static bool started_with(const char *pid, const char *const *words)
{
	char path[64], text[4096];
	snprintf(path, sizeof path, "/proc/%.20s/cmdline", pid);
	FILE *f = words ? fopen(path, "re") : NULL;
	if (!f)
		return false;
	size_t n = fread(text, 1, sizeof text - 1, f);
	fclose(f);
	text[n] = '\0';
	for (const char *word = text; word < text + n; word += strlen(word) + 1)
		for (int i = 0; words[i]; i++)
			if (strcmp(word, words[i]) == 0)
				return true;
	return false;
}

bool process_named(const char *part, const char *const *without, char *out, size_t size)
{
	DIR *dir = opendir("/proc");
	struct dirent *e;
	bool found = false;
	while (dir && !found && (e = readdir(dir))) {
		char path[64], name[64];
		snprintf(path, sizeof path, "/proc/%.20s/comm", e->d_name);
		if (!isdigit((unsigned char)e->d_name[0]) || atoi(e->d_name) == getpid() ||
		    !first_line(path, name, sizeof name) || !strcasestr(name, part) ||
		    started_with(e->d_name, without))
			continue;
		found = true;
		snprintf(out, size, "%s (process %.20s)", name, e->d_name);
	}
	if (dir)
		closedir(dir);
	return found;
}
