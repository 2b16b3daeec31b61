/* SPDX-License-Identifier: MIT */
/*
 * One input device of the kernel (evdev), through libevdev.  Does not block, but for the
 * moment in pedal_device_close.
 *
 * Without libevdev at build time pedal_device_open refuses with a sentence that says so.
 */
#ifndef TALLY_CLIENT_PEDAL_DEVICE_H
#define TALLY_CLIENT_PEDAL_DEVICE_H

#include "client/pedal_identity.h"

#include <stdint.h>

struct pedal_device;

/* Open the node.  NULL with the fault; errno is that of the opening (EACCES: the right
 * to it is missing). */
struct pedal_device *pedal_device_open(const char *node, struct fault *why);
int pedal_device_fd(const struct pedal_device *d);
/* What it says of itself now, for a number may have been dealt anew since it was found. */
void pedal_device_identity(const struct pedal_device *d, struct pedal_identity *id);
bool pedal_device_has_keys(const struct pedal_device *d);

/*
 * Have it alone (EVIOCGRAB), so that no letter gets to the terminal or the desktop.
 * Never while a key is down: they would have seen it go down and would repeat it for
 * ever.  What came before is dropped.
 */
enum pedal_grab {
	PEDAL_GRABBED,
	PEDAL_GRAB_WAIT, /* a key is down: again after the next event */
	PEDAL_GRAB_BUSY, /* another program has it */
	PEDAL_GRAB_LOST, /* it is gone, or refuses */
};
enum pedal_grab pedal_device_grab(struct pedal_device *d);

/* Read without having it alone; what was down before is known. */
bool pedal_device_listen(struct pedal_device *d);

struct pedal_event {
	int64_t time; /* us, of the clock of uv_hrtime */
	unsigned code;
	int value;    /* 0 up, 1 down, 2 auto-repeat */
};
enum pedal_read {
	PEDAL_READ_EVENT,
	PEDAL_READ_NOTHING, /* for now */
	PEDAL_READ_MISSED,  /* events were lost: pedal_device_down says what holds now */
	PEDAL_READ_LOST,    /* it is gone */
};
/* The next event of a key, after pedal_device_grab or _listen. */
enum pedal_read pedal_device_next(struct pedal_device *d, struct pedal_event *event);
bool pedal_device_down(const struct pedal_device *d, unsigned code);

/* Let it go and close it.  While a key of one that was grabbed is down, at most
 * PEDAL_LET_GO_MS are waited for its release: its auto-repeat would type. */
#define PEDAL_LET_GO_MS 1000
void pedal_device_close(struct pedal_device *d);

#endif
