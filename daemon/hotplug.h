/* SPDX-License-Identifier: MIT */
/*
 * When to look for adapters: the events of the device manager.
 *
 * udev tells its listeners of every serial line that came or went, after its rules
 * have set group and links.  That is taken as a hint and nothing else: what is there,
 * and which adapter is meant, is read from sysfs (daemon/bus.h), and the ports look
 * every 250 ms anyway.  So no event has to be believed, a lost one costs a quarter of a
 * second, and where there are none (built without libudev, no netlink in this
 * sandbox, no udev running) everything works as before, a little later.
 *
 * A hub that is plugged gives a burst of events: it becomes one call.
 */
#ifndef TALLY_HOTPLUG_H
#define TALLY_HOTPLUG_H

#include <uv.h>

struct fault;
struct hotplug;

/* Events that come within this belong together; so many calls a second at most. */
#define HOTPLUG_BURST_MS 10

/*
 * Listen for events of serial lines.  `changed` comes from the loop, never from
 * inside a call here.  NULL where there are none to be had: `why` says the reason, and
 * that is no error.  `lost` (may be NULL) is called once if they fail later.
 */
struct hotplug *hotplug_open(uv_loop_t *loop, void (*changed)(void *arg),
                             void (*lost)(void *arg, const struct fault *why), void *arg,
                             struct fault *why);

/* No call comes any more; memory goes when the loop has turned.  NULL is allowed. */
void hotplug_close(struct hotplug *h);

#endif
