/* SPDX-License-Identifier: MIT */
/* See bus.h. */
#include "daemon/bus.h"

#include "daemon/first_line.h"

#include <ctype.h>
#include <dirent.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define CLASS "/sys/class/tty"
/* From the tty's own folder up to the adapter's: two for most, one for a modem class. */
#define UP_MAX 3

static size_t digits(const char *s, size_t len, size_t at)
{
	size_t n = 0;
	while (at + n < len && isdigit((unsigned char)s[at + n]))
		n++;
	return n;
}

/* 1-1.4:1.0: bus, ports through the hubs, configuration, interface. */
bool bus_place_right(const char *s, size_t len, size_t *right)
{
	size_t at = 0, n;
	*right = 0;
	for (const char *after = "-:."; *after; after++) {
		if ((n = digits(s, len, at)) == 0)
			return false;
		*right = at += n;
		while (*after == ':' && at < len && s[at] == '.') {
			if ((n = digits(s, len, at + 1)) == 0)
				return false;
			*right = at += n + 1;
		}
		if (at == len || s[at] != *after)
			return false;
		*right = ++at;
	}
	n = digits(s, len, at);
	*right = at + n;
	return n > 0 && at + n == len;
}

/* The place of /dev/NAME on the bus; false where it is on none. */
static bool read_place(const char *name, char *out, size_t size)
{
	char path[320], link[PATH_MAX];
	out[0] = '\0';
	snprintf(path, sizeof path, CLASS "/%s", name);
	ssize_t n = readlink(path, link, sizeof link - 1);
	if (n <= 0)
		return false;
	link[n] = '\0';
	char *rest = link, *part;
	size_t right;
	while ((part = strsep(&rest, "/")))
		if (strlen(part) < size && bus_place_right(part, strlen(part), &right))
			snprintf(out, size, "%s", part);
	return out[0] != '\0';
}

/* The first line of a file that lies `up` folders above the tty's device. */
static bool read_above(const char *name, int up, const char *file, char *out, size_t size)
{
	char path[400];
	snprintf(path, sizeof path, CLASS "/%s/device%.*s/%s", name, up * 3, "/../../..", file);
	return first_line(path, out, size);
}

static int hex(const char *s)
{
	char *end;
	long value = strtol(s, &end, 16);
	return end > s && !*end && value >= 0 && value <= 0xffff ? (int)value : -1;
}

static void read_ids(const char *name, struct bus_adapter *a)
{
	char text[32];
	int up = 0;
	a->vid = a->pid = -1;
	a->serial[0] = '\0';
	while (!read_above(name, up, "idVendor", text, sizeof text))
		if (++up > UP_MAX)
			return;
	a->vid = hex(text);
	if (read_above(name, up, "idProduct", text, sizeof text))
		a->pid = hex(text);
	read_above(name, up, "serial", a->serial, sizeof a->serial);
}

/* FNV-1a of each name, summed: the order of a folder says nothing. */
static uint64_t name_number(const char *name)
{
	uint64_t h = UINT64_C(0xcbf29ce484222325);
	for (; *name; name++)
		h = (h ^ (unsigned char)*name) * UINT64_C(0x100000001b3);
	return h;
}

static uint64_t names_number(void)
{
	DIR *dir = opendir(CLASS);
	struct dirent *e;
	uint64_t sum = 0;
	while (dir && (e = readdir(dir)))
		sum += name_number(e->d_name);
	if (dir)
		closedir(dir);
	return sum;
}

static void read_all(struct bus *b, uint64_t now)
{
	b->count = 0;
	b->known = true;
	b->looked = b->read = now;
	b->names = 0;
	/* Where the last serial line of a machine went, there may be no such folder. */
	DIR *dir = opendir(CLASS);
	struct dirent *e;
	while (dir && (e = readdir(dir))) {
		char place[sizeof b->adapter->place];
		b->names += name_number(e->d_name);
		if (b->count == BUS_MAX || strlen(e->d_name) > 50 ||
		    !read_place(e->d_name, place, sizeof place))
			continue;
		struct bus_adapter *a = &b->adapter[b->count++];
		snprintf(a->node, sizeof a->node, "/dev/%.50s", e->d_name);
		memcpy(a->place, place, sizeof place);
		read_ids(e->d_name, a);
	}
	if (dir)
		closedir(dir);
}

void bus_look(struct bus *b, uint64_t now)
{
	if (!b->known || now - b->looked >= BUS_FRESH_MS)
		read_all(b, now);
}

void bus_look_idly(struct bus *b, uint64_t now)
{
	if (b->known && now - b->looked < BUS_NAMES_MS)
		return;
	if (!b->known || now - b->read >= BUS_READ_MS || names_number() != b->names)
		read_all(b, now);
	b->looked = now;
}

void bus_forget(struct bus *b)
{
	b->known = false;
}
