/* SPDX-License-Identifier: MIT */
/*
 * See hotplug.h.  libudev's monitor is a netlink socket that the loop waits on.  When
 * its buffer overflows the socket is in error once, which libuv takes for the end of
 * it: reading clears that, and waiting begins anew.
 */
#include "daemon/hotplug.h"

#include "protocol/trade/fault.h"

#include <errno.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#ifdef TALLY_UDEV
#include <libudev.h>

/* Events taken in one turn of the loop, at most; the rest waits for the next. */
#define AT_A_TIME 256
/* Events that wait for us, in bytes of the kernel: the library would take 128 MiB.  What
 * does not fit is lost, which is said by an error and costs nothing (hotplug.h). */
#define BUFFER_SIZE (128 << 10)
/* Errors in a row without an event between them: then it is given up. */
#define ERRORS_MAX 3

struct hotplug {
	struct udev *udev;
	struct udev_monitor *monitor;
	uv_poll_t poll;
	uv_timer_t burst; /* runs from the first event to the call */
	int handles;      /* that the loop has not given back */
	int errors;
	void (*changed)(void *arg);
	void (*lost)(void *arg, const struct fault *why);
	void *arg;
};

static void give_back(struct hotplug *h)
{
	if (h->monitor)
		udev_monitor_unref(h->monitor);
	if (h->udev)
		udev_unref(h->udev);
	free(h);
}

static void on_handle_closed(uv_handle_t *handle)
{
	struct hotplug *h = handle->data;
	if (--h->handles == 0)
		give_back(h);
}

static void on_burst(uv_timer_t *timer)
{
	struct hotplug *h = timer->data;
	h->changed(h->arg);
}

static bool take_events(struct hotplug *h)
{
	struct udev_device *device;
	bool any = false;
	for (int i = 0; i < AT_A_TIME && (device = udev_monitor_receive_device(h->monitor)); i++) {
		udev_device_unref(device);
		any = true;
	}
	return any;
}

static void on_event(uv_poll_t *poll, int status, int events)
{
	struct hotplug *h = poll->data;
	(void)events;
	bool any = take_events(h);
	/* Lost events are a reason to look as well. */
	if ((any || status < 0) && !uv_is_active((uv_handle_t *)&h->burst))
		uv_timer_start(&h->burst, on_burst, HOTPLUG_BURST_MS, 0);
	h->errors = any ? 0 : status < 0 ? h->errors + 1 : h->errors;
	if (status >= 0 || (h->errors < ERRORS_MAX && uv_poll_start(poll, UV_READABLE, on_event) == 0))
		return;
	struct fault why;
	fault_set(&why, "events of udev cannot be waited for (%s): meters are looked for every "
	          "250 ms instead", uv_strerror(status));
	uv_poll_stop(poll);
	if (h->lost)
		h->lost(h->arg, &why);
}

static bool listen_to_udev(struct hotplug *h)
{
	h->udev = udev_new();
	h->monitor = h->udev ? udev_monitor_new_from_netlink(h->udev, "udev") : NULL;
	if (h->monitor)
		udev_monitor_set_receive_buffer_size(h->monitor, BUFFER_SIZE);
	return h->monitor &&
	       udev_monitor_filter_add_match_subsystem_devtype(h->monitor, "tty", NULL) >= 0 &&
	       udev_monitor_enable_receiving(h->monitor) >= 0;
}

struct hotplug *hotplug_open(uv_loop_t *loop, void (*changed)(void *arg),
                             void (*lost)(void *arg, const struct fault *why), void *arg,
                             struct fault *why)
{
	struct hotplug *h = calloc(1, sizeof *h);
	/* Without udev the monitor would be given, and stay silent for ever. */
	errno = 0;
	if (access("/run/udev/control", F_OK) < 0) {
		fault_set(why, "udev does not run here: meters are looked for every 250 ms");
		free(h);
		return NULL;
	}
	if (!h || !listen_to_udev(h) ||
	    uv_poll_init(loop, &h->poll, udev_monitor_get_fd(h->monitor)) < 0) {
		fault_set(why, "no events of udev (%s): meters are looked for every 250 ms",
		          errno ? strerror(errno) : "it cannot be listened to");
		if (h)
			give_back(h);
		return NULL;
	}
	uv_timer_init(loop, &h->burst);
	h->handles = 2;
	h->poll.data = h->burst.data = h;
	h->changed = changed;
	h->lost = lost;
	h->arg = arg;
	uv_poll_start(&h->poll, UV_READABLE, on_event);
	return h;
}

void hotplug_close(struct hotplug *h)
{
	if (!h || uv_is_closing((uv_handle_t *)&h->poll))
		return;
	uv_poll_stop(&h->poll);
	uv_close((uv_handle_t *)&h->poll, on_handle_closed);
	uv_close((uv_handle_t *)&h->burst, on_handle_closed);
}

#else

struct hotplug *hotplug_open(uv_loop_t *loop, void (*changed)(void *arg),
                             void (*lost)(void *arg, const struct fault *why), void *arg,
                             struct fault *why)
{
	(void)loop, (void)changed, (void)lost, (void)arg;
	fault_set(why, "built without libudev: meters are looked for every 250 ms");
	return NULL;
}

void hotplug_close(struct hotplug *h)
{
	(void)h;
}

#endif
