/* SPDX-License-Identifier: MIT */
/*
 * Where a meter's adapter is, as the configuration says it:
 *
 *   /dev/tally/red            a path; symbolic links are followed at every look
 *   usb:VID:PID               the one adapter with these USB ids (hex)
 *   usb:VID:PID:SERIAL        ... and this serial number (never an empty one)
 *   usb-place:1-1.4:1.0       the adapter in this place on the bus, whatever it is
 *
 * A meter is never known by a ttyUSB number that happened to be given.  Where
 * more than one adapter fits (equal serial numbers, or none), none is taken, and both
 * places are named with what to write instead.
 */
#ifndef TALLY_PLACE_H
#define TALLY_PLACE_H

#include "protocol/trade/fault.h"

#include <stdbool.h>

#define PLACE_PATH_SIZE 256

enum place_form { PLACE_PATH, PLACE_USB, PLACE_BUS };

struct place {
	enum place_form form;
	char path[PLACE_PATH_SIZE]; /* PLACE_PATH */
	int vid, pid;               /* PLACE_USB */
	char serial[64];            /* PLACE_USB; "" where none was given */
	char bus[64];               /* PLACE_BUS */
};

/* Understand the text; the fault's column counts from its start, 1 the first. */
bool place_parse(const char *text, size_t len, struct place *out, struct fault *why);

enum place_found {
	PLACE_THERE,     /* node is filled */
	PLACE_ABSENT,    /* not there now; why says what was looked for */
	PLACE_AMBIGUOUS, /* several fit; why names them */
	PLACE_UNCLEAR,   /* could not be looked for; why says why */
};

/* Look for it now: writes the path of the device node, without links.  Takes well
 * under a millisecond; opens nothing. */
enum place_found place_find(const struct place *place, char *node, size_t size, struct fault *why);

/* The same among the adapters of a look at the bus (daemon/bus.h). */
struct bus;
enum place_found place_find_on(const struct place *place, const struct bus *bus, char *node,
                               size_t size, struct fault *why);

#endif
