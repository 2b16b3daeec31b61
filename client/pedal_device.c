/* SPDX-License-Identifier: MIT */
/* See pedal_device.h. */
#include "client/pedal_device.h"

#include <errno.h>
#include <fcntl.h>
#include <linux/input.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <time.h>
#include <unistd.h>

#ifdef HAVE_LIBEVDEV
#include <libevdev/libevdev.h>

/* One bit a key, as EVIOCGKEY and EVIOCGBIT fill them. */
#define WORD_BITS (8 * sizeof(unsigned long))
#define KEY_WORDS (KEY_MAX / WORD_BITS + 1)

struct pedal_device {
	int fd;
	bool grabbed, lost;
	struct libevdev *evdev; /* from the grab or the listening on */
};

struct pedal_device *pedal_device_open(const char *node, struct fault *why)
{
	int fd = open(node, O_RDONLY | O_NONBLOCK | O_CLOEXEC | O_NOCTTY);
	if (fd < 0) {
		int cause = errno;
		fault_set(why, "%s cannot be opened: %s", node, strerror(cause));
		errno = cause;
		return NULL;
	}
	struct pedal_device *d = calloc(1, sizeof *d);
	if (!d) {
		close(fd);
		fault_set(why, "out of memory");
		errno = ENOMEM;
		return NULL;
	}
	d->fd = fd;
	return d;
}

int pedal_device_fd(const struct pedal_device *d)
{
	return d->fd;
}

void pedal_device_identity(const struct pedal_device *d, struct pedal_identity *id)
{
	char name[256] = "", phys[256] = "", uniq[256] = "";
	struct input_id kind = {0};
	/* What is not said stays empty.  The kernel's text ends within the buffer, but for the
	 * longest. */
	ioctl(d->fd, EVIOCGID, &kind);
	ioctl(d->fd, EVIOCGNAME(sizeof name - 1), name);
	ioctl(d->fd, EVIOCGPHYS(sizeof phys - 1), phys);
	ioctl(d->fd, EVIOCGUNIQ(sizeof uniq - 1), uniq);
	pedal_identity_make(id, kind.bustype, kind.vendor, kind.product, uniq, phys, name);
}

static bool any_bit(const unsigned long bits[KEY_WORDS])
{
	for (size_t i = 0; i < KEY_WORDS; i++)
		if (bits[i])
			return true;
	return false;
}

bool pedal_device_has_keys(const struct pedal_device *d)
{
	unsigned long bits[KEY_WORDS] = {0};
	return ioctl(d->fd, EVIOCGBIT(EV_KEY, sizeof bits), bits) >= 0 && any_bit(bits);
}

/* ---- alone ---- */

/* Take what waits to be read, unread.  False where the device is gone. */
static bool drain(struct pedal_device *d)
{
	struct input_event events[64];
	for (int i = 0; i < 1000; i++) {
		ssize_t n = read(d->fd, events, sizeof events);
		if (n > 0 || (n < 0 && errno == EINTR))
			continue;
		struct pollfd p = {.fd = d->fd, .events = POLLIN};
		if (n == 0 || errno != EAGAIN)
			d->lost = poll(&p, 1, 0) < 0 || p.revents != 0;
		return !d->lost;
	}
	return true;
}

static bool any_down(const struct pedal_device *d)
{
	unsigned long bits[KEY_WORDS] = {0};
	return ioctl(d->fd, EVIOCGKEY(sizeof bits), bits) >= 0 && any_bit(bits);
}

/* libevdev's own remarks would stand in the middle of the screen. */
static void say_nothing(const struct libevdev *dev, enum libevdev_log_priority priority, void *data,
                        const char *file, int line, const char *func, const char *format,
                        va_list args)
{
	(void)dev, (void)priority, (void)data, (void)file, (void)line, (void)func, (void)format;
	(void)args;
}

static bool evdev_begin(struct pedal_device *d)
{
	d->evdev = libevdev_new();
	if (!d->evdev)
		return false;
	libevdev_set_device_log_function(d->evdev, say_nothing, LIBEVDEV_LOG_ERROR, NULL);
	if (libevdev_set_fd(d->evdev, d->fd) != 0) {
		libevdev_free(d->evdev);
		d->evdev = NULL;
		return false;
	}
	libevdev_set_clock_id(d->evdev, CLOCK_MONOTONIC);
	return true;
}

enum pedal_grab pedal_device_grab(struct pedal_device *d)
{
	if (!drain(d))
		return PEDAL_GRAB_LOST;
	if (any_down(d))
		return PEDAL_GRAB_WAIT;
	if (ioctl(d->fd, EVIOCGRAB, 1) != 0)
		return errno == EBUSY ? PEDAL_GRAB_BUSY : PEDAL_GRAB_LOST;
	/* One may have gone down between the two: others saw it. */
	if (any_down(d)) {
		ioctl(d->fd, EVIOCGRAB, 0);
		return PEDAL_GRAB_WAIT;
	}
	d->grabbed = true;
	return d->evdev || evdev_begin(d) ? PEDAL_GRABBED : PEDAL_GRAB_LOST;
}

bool pedal_device_listen(struct pedal_device *d)
{
	return drain(d) && (d->evdev || evdev_begin(d));
}

/* ---- reading ---- */

/* Nothing more to read: or is nobody there any more? */
static enum pedal_read nothing(struct pedal_device *d)
{
	struct pollfd p = {.fd = d->fd, .events = POLLIN};
	d->lost = poll(&p, 1, 0) > 0 && (p.revents & (POLLHUP | POLLERR | POLLNVAL)) != 0;
	return d->lost ? PEDAL_READ_LOST : PEDAL_READ_NOTHING;
}

enum pedal_read pedal_device_next(struct pedal_device *d, struct pedal_event *event)
{
	struct input_event e;
	for (;;) {
		int rc = libevdev_next_event(d->evdev, LIBEVDEV_READ_FLAG_NORMAL, &e);
		if (rc == LIBEVDEV_READ_STATUS_SYNC) {
			/* What libevdev makes up to bring its state up to date is nothing that a foot
			 * did just now. */
			while (rc == LIBEVDEV_READ_STATUS_SYNC)
				rc = libevdev_next_event(d->evdev, LIBEVDEV_READ_FLAG_SYNC, &e);
			return PEDAL_READ_MISSED;
		}
		if (rc == -EAGAIN)
			return nothing(d);
		if (rc == -EINTR)
			continue;
		if (rc != LIBEVDEV_READ_STATUS_SUCCESS) {
			d->lost = true;
			return PEDAL_READ_LOST;
		}
		if (e.type != EV_KEY)
			continue;
		*event = (struct pedal_event){
			.time = (int64_t)e.input_event_sec * 1000000 + (int64_t)e.input_event_usec,
			.code = e.code,
			.value = e.value,
		};
		return PEDAL_READ_EVENT;
	}
}

bool pedal_device_down(const struct pedal_device *d, unsigned code)
{
	return d->evdev && libevdev_get_event_value(d->evdev, EV_KEY, code) != 0;
}

void pedal_device_close(struct pedal_device *d)
{
	if (!d)
		return;
	for (int waited = 0; d->grabbed && !d->lost && any_down(d) && waited < PEDAL_LET_GO_MS;
	     waited += 20) {
		struct pollfd p = {.fd = -1};
		poll(&p, 1, 20);
		drain(d);
	}
	if (d->evdev)
		libevdev_free(d->evdev);
	if (d->grabbed)
		ioctl(d->fd, EVIOCGRAB, 0);
	close(d->fd);
	free(d);
}

#else

struct pedal_device *pedal_device_open(const char *node, struct fault *why)
{
	fault_set(why, "%s is not opened: this tally was built without libevdev (libevdev-dev), so "
	          "it knows no foot switch", node);
	errno = ENOSYS;
	return NULL;
}

/* Nothing gets here without a device. */
int pedal_device_fd(const struct pedal_device *d)
{
	(void)d;
	return -1;
}

void pedal_device_identity(const struct pedal_device *d, struct pedal_identity *id)
{
	(void)d;
	pedal_identity_make(id, 0, 0, 0, NULL, NULL, NULL);
}

bool pedal_device_has_keys(const struct pedal_device *d)
{
	(void)d;
	return false;
}

enum pedal_grab pedal_device_grab(struct pedal_device *d)
{
	(void)d;
	return PEDAL_GRAB_LOST;
}

bool pedal_device_listen(struct pedal_device *d)
{
	(void)d;
	return false;
}

enum pedal_read pedal_device_next(struct pedal_device *d, struct pedal_event *event)
{
	(void)d;
	(void)event;
	return PEDAL_READ_LOST;
}

bool pedal_device_down(const struct pedal_device *d, unsigned code)
{
	(void)d;
	(void)code;
	return false;
}

void pedal_device_close(struct pedal_device *d)
{
	(void)d;
}

#endif
