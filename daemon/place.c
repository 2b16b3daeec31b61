/* SPDX-License-Identifier: MIT */
/* See place.h. */
#include "daemon/place.h"
#include "daemon/bus.h"

#include <ctype.h>
#include <errno.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

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
		if (!bus_place_right(text + bus, len - bus, &right) || len - bus >= sizeof p.bus) {
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

static bool fits(const struct place *place, const struct bus_adapter *a)
{
	if (place->form == PLACE_BUS)
		return strcmp(place->bus, a->place) == 0;
	return a->vid == place->vid && a->pid == place->pid &&
	       (!place->serial[0] || strcmp(a->serial, place->serial) == 0);
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

/* Several fit: which, and what to write instead.  The first two are named; with
 * them the cure can be written down word for word. */
static void say_ambiguous(const struct place *place, const struct bus_adapter *a,
                          const struct bus_adapter *b, int found, struct fault *why)
{
	char wanted[320], cure[200], more[32] = "";
	place_text(place, wanted, sizeof wanted);
	bool told_apart = a->serial[0] && b->serial[0] && strcmp(a->serial, b->serial) != 0;
	if (place->form == PLACE_USB && !place->serial[0] && told_apart)
		snprintf(cure, sizeof cure, "add the serial number, :%.40s or :%.40s", a->serial,
		         b->serial);
	else if (strcmp(a->place, b->place) != 0)
		snprintf(cure, sizeof cure, "write port = usb-place:%s or usb-place:%s", a->place,
		         b->place);
	else
		snprintf(cure, sizeof cure,
		         "they are lines of one adapter: write a path of /dev/serial/by-path");
	if (found > 2)
		snprintf(more, sizeof more, " and %d more", found - 2);
	fault_set(why, "%d adapters fit %.80s (%s in place %s, %s in place %s%s), so none is taken: %s",
	          found, wanted, a->node, a->place, b->node, b->place, more, cure);
}

static enum place_found find_on_bus(const struct place *place, const struct bus *bus, char *node,
                                    size_t size, struct fault *why)
{
	const struct bus_adapter *fit[2];
	char wanted[320];
	int found = 0;
	for (int i = 0; i < bus->count; i++)
		if (fits(place, &bus->adapter[i]) && found++ < 2)
			fit[found - 1] = &bus->adapter[i];
	if (found == 1) {
		snprintf(node, size, "%s", fit[0]->node);
		return PLACE_THERE;
	}
	if (found > 1) {
		/* In the order of the places, whatever that of the folder is. */
		bool turned = strcmp(fit[0]->place, fit[1]->place) > 0;
		say_ambiguous(place, fit[turned], fit[!turned], found, why);
		return PLACE_AMBIGUOUS;
	}
	place_text(place, wanted, sizeof wanted);
	fault_set(why, "no adapter %s is there: it is waited for", wanted);
	return PLACE_ABSENT;
}

enum place_found place_find_on(const struct place *place, const struct bus *bus, char *node,
                               size_t size, struct fault *why)
{
	char real[PATH_MAX];
	if (place->form != PLACE_PATH)
		return find_on_bus(place, bus, node, size, why);
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

enum place_found place_find(const struct place *place, char *node, size_t size, struct fault *why)
{
	struct bus bus;
	bus.known = false;
	if (place->form != PLACE_PATH)
		bus_look(&bus, 0);
	return place_find_on(place, &bus, node, size, why);
}
