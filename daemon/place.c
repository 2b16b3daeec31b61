/* SPDX-License-Identifier: MIT */
/*
 * See place.h.  What is on the bus is asked of libserialport; the place is read
 * from the link /sys/class/tty/NODE, whose way through the tree names it:
 * ../../devices/pci0000:00/.../usb1/1-1/1-1.4/1-1.4:1.0/ttyUSB0/tty/ttyUSB0
 */
#include "daemon/place.h"

#include <ctype.h>
#include <errno.h>
#include <libserialport.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* ---- what is written ---- */

/* Four hex digits at s[*at] up to `len`. */
static bool read_id(const char *s, size_t len, size_t *at, int *out)
{
	int value = 0;
	if (len - *at < 4)
		return false;
	for (int i = 0; i < 4; i++) {
		const char *digits = "0123456789abcdef";
		char c = (char)tolower((unsigned char)s[*at + (size_t)i]);
		const char *d = c ? strchr(digits, c) : NULL;
		if (!d)
			return false;
		value = value * 16 + (int)(d - digits);
	}
	*at += 4;
	*out = value;
	return true;
}

static bool parse_usb(const char *s, size_t len, struct place *out, struct fault *why)
{
	size_t at = 4; /* after "usb:" */
	if (!read_id(s, len, &at, &out->vid) || at == len || s[at++] != ':' ||
	    !read_id(s, len, &at, &out->pid) || (at < len && s[at] != ':')) {
		fault_at(why, NULL, 0, (int)at + 1,
		         "expected usb:VID:PID[:SERIAL] with four hex digits each, as in "
		         "usb:1209:0001:A1");
		return false;
	}
	if (at == len)
		return true;
	at++;
	if (at == len) {
		fault_at(why, NULL, 0, (int)at + 1,
		         "the serial number is empty: many adapters have none; use "
		         "usb-place:PLACE for such a one, or leave the last colon out");
		return false;
	}
	if (len - at >= sizeof out->serial) {
		fault_at(why, NULL, 0, (int)at + 1, "a serial number is at most %zu bytes long",
		         sizeof out->serial - 1);
		return false;
	}
	memcpy(out->serial, s + at, len - at);
	out->serial[len - at] = '\0';
	return true;
}

static size_t digits(const char *s, size_t len, size_t at)
{
	size_t n = 0;
	while (at + n < len && isdigit((unsigned char)s[at + n]))
		n++;
	return n;
}

/* 1-1.4:1.0: bus, ports through the hubs, configuration, interface.  Returns how
 * many bytes of it are right; all of them where it is whole. */
static bool bus_right(const char *s, size_t len, size_t *right)
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

bool place_parse(const char *text, size_t len, struct place *out, struct fault *why)
{
	const size_t bus = strlen("usb-place:");
	struct place p = { .form = PLACE_PATH };
	if (len >= 4 && memcmp(text, "usb:", 4) == 0) {
		p.form = PLACE_USB;
		if (!parse_usb(text, len, &p, why))
			return false;
	} else if (len >= bus && memcmp(text, "usb-place:", bus) == 0) {
		size_t right = 0;
		p.form = PLACE_BUS;
		if (!bus_right(text + bus, len - bus, &right) || len - bus >= sizeof p.bus) {
			fault_at(why, NULL, 0, (int)(bus + right) + 1,
			         "expected a place on the bus such as usb-place:1-1.4:1.0");
			return false;
		}
		memcpy(p.bus, text + bus, len - bus);
	} else {
		if (!memchr(text, '/', len) || memchr(text, '\0', len)) {
			fault_at(why, NULL, 0, 1,
			         "expected a path such as /dev/tally/red, usb:VID:PID[:SERIAL] or "
			         "usb-place:PLACE");
			return false;
		}
		if (len >= sizeof p.path) {
			fault_at(why, NULL, 0, 1, "a path is at most %zu bytes long", sizeof p.path - 1);
			return false;
		}
		memcpy(p.path, text, len);
	}
	*out = p;
	return true;
}

/* ---- what is there ---- */

/* The place on the bus of /dev/NAME, "" where it is not on one. */
static void bus_of(const char *node, char *out, size_t size)
{
	char path[PATH_MAX], link[PATH_MAX];
	out[0] = '\0';
	snprintf(path, sizeof path, "/sys/class/tty/%s", node + strlen("/dev/"));
	ssize_t n = readlink(path, link, sizeof link - 1);
	if (n <= 0)
		return;
	link[n] = '\0';
	char *rest = link, *part;
	size_t right;
	while ((part = strsep(&rest, "/")))
		if (bus_right(part, strlen(part), &right))
			snprintf(out, size, "%s", part);
}

static bool fits(const struct place *place, struct sp_port *port, const char *bus)
{
	int vid, pid;
	if (place->form == PLACE_BUS)
		return strcmp(place->bus, bus) == 0;
	if (sp_get_port_usb_vid_pid(port, &vid, &pid) != SP_OK || vid != place->vid ||
	    pid != place->pid)
		return false;
	const char *serial = sp_get_port_usb_serial(port);
	return !place->serial[0] || (serial && strcmp(serial, place->serial) == 0);
}

/* As it stands in the configuration. */
static void place_text(const struct place *place, char *out, size_t size)
{
	if (place->form == PLACE_BUS)
		snprintf(out, size, "usb-place:%s", place->bus);
	else if (place->form == PLACE_USB)
		snprintf(out, size, "usb:%04x:%04x%s%s", (unsigned)place->vid, (unsigned)place->pid,
		         place->serial[0] ? ":" : "", place->serial);
	else
		snprintf(out, size, "%s", place->path);
}

static enum place_found find_on_bus(const struct place *place, char *node, size_t size,
                                    struct fault *why)
{
	struct sp_port **list;
	char wanted[320], names[200] = "";
	int found = 0;
	place_text(place, wanted, sizeof wanted);
	if (sp_list_ports(&list) != SP_OK) {
		/* So it is too where the last serial line of the machine went away. */
		fault_set(why, "no serial line is there: %s is waited for", wanted);
		return PLACE_ABSENT;
	}
	for (int i = 0; list[i]; i++) {
		const char *name = sp_get_port_name(list[i]);
		char bus[64];
		if (strncmp(name, "/dev/", 5) != 0)
			continue;
		bus_of(name, bus, sizeof bus);
		if (!fits(place, list[i], bus))
			continue;
		if (found++ == 0)
			snprintf(node, size, "%s", name);
		size_t len = strlen(names);
		snprintf(names + len, sizeof names - len, "%s%s%s%s", len ? ", " : "", name,
		         bus[0] ? " in place " : "", bus);
	}
	sp_free_port_list(list);
	if (found == 1)
		return PLACE_THERE;
	if (found == 0) {
		fault_set(why, "no adapter %s is there: it is waited for", wanted);
		return PLACE_ABSENT;
	}
	fault_set(why, "%d adapters fit %s (%s), so none is taken: %s", found, wanted, names,
	          place->form == PLACE_USB && !place->serial[0]
	              ? "add the serial number, or use usb-place:PLACE"
	              : "use usb-place:PLACE");
	return PLACE_AMBIGUOUS;
}

enum place_found place_find(const struct place *place, char *node, size_t size, struct fault *why)
{
	char real[PATH_MAX];
	if (place->form != PLACE_PATH)
		return find_on_bus(place, node, size, why);
	if (realpath(place->path, real)) {
		if ((size_t)snprintf(node, size, "%s", real) < size)
			return PLACE_THERE;
		errno = ENAMETOOLONG;
	}
	if (errno == ENOENT || errno == ENODEV || errno == ENXIO) {
		fault_set(why, "%s is not there: it is waited for", place->path);
		return PLACE_ABSENT;
	}
	fault_set(why, "%s: %s", place->path, strerror(errno));
	return PLACE_UNCLEAR;
}
