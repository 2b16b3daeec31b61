/* SPDX-License-Identifier: MIT */
/*
 * Input devices that are none: a folder of pipes which the program takes for /dev/input,
 * with the files that sysfs would have, and an ioctl that answers for them as the kernel
 * does.  So the whole road runs, libevdev included, on a machine without any input device
 * and without /dev/uinput: bytes of struct input_event in, actions out.
 *
 * Include it in one file of a program: it defines ioctl.
 */
#ifndef TALLY_TESTS_INPUT_STAND_H
#define TALLY_TESTS_INPUT_STAND_H

#include "tests/check.h"

#include <errno.h>
#include <fcntl.h>
#include <linux/input.h>
#include <stdbool.h>
#include <stdlib.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

#define FAKES_MAX 70
#define WORD_BITS (8 * sizeof(unsigned long))

struct fake {
	int number; /* of event%d; -1: not plugged in */
	int pipe;   /* its other end */
	ino_t inode;
	unsigned bus, vendor, product;
	const char *uniq, *phys, *name;
	unsigned long down[KEY_MAX / WORD_BITS + 1];
	int grabs;     /* how often it was taken alone */
	bool grabbed, busy;
	int leaked;    /* events of keys that everybody saw */
	void (*on_grab)(struct fake *f); /* just after it was taken */
};

static struct fake fakes[FAKES_MAX];
static char input_folder[64];

static struct fake *fake_of(int fd)
{
	struct stat st;
	if (fstat(fd, &st) != 0 || !S_ISFIFO(st.st_mode))
		return NULL;
	for (int i = 0; i < FAKES_MAX; i++)
		if (fakes[i].number >= 0 && fakes[i].inode && fakes[i].inode == st.st_ino)
			return &fakes[i];
	return NULL;
}

static int fake_text(const char *text, void *out, unsigned size)
{
	size_t n = strlen(text) + 1;
	if (!text[0])
		return errno = ENOENT, -1;
	memcpy(out, text, n < size ? n : size);
	return (int)n;
}

static int fake_grab(struct fake *f, bool on)
{
	if (on && (f->busy || f->grabbed))
		return errno = EBUSY, -1;
	f->grabbed = on;
	f->grabs += on;
	if (on && f->on_grab)
		f->on_grab(f);
	return 0;
}

static int fake_ioctl(struct fake *f, unsigned long request, void *arg)
{
	unsigned nr = _IOC_NR(request), size = _IOC_SIZE(request);
	if (request == EVIOCGRAB)
		return fake_grab(f, arg != NULL);
	if (_IOC_DIR(request) == _IOC_READ)
		memset(arg, 0, size);
	if (request == EVIOCGID) {
		*(struct input_id *)arg = (struct input_id){(uint16_t)f->bus, (uint16_t)f->vendor,
		                                            (uint16_t)f->product, 1};
	} else if (request == EVIOCGVERSION) {
		*(int *)arg = EV_VERSION;
	} else if (nr == _IOC_NR(EVIOCGNAME(0))) {
		return fake_text(f->name, arg, size);
	} else if (nr == _IOC_NR(EVIOCGPHYS(0))) {
		return fake_text(f->phys, arg, size);
	} else if (nr == _IOC_NR(EVIOCGUNIQ(0))) {
		return fake_text(f->uniq, arg, size);
	} else if (nr == _IOC_NR(EVIOCGBIT(0, 0))) {
		*(unsigned long *)arg = 1ul << EV_SYN | 1ul << EV_KEY | 1ul << EV_REP;
	} else if (nr == _IOC_NR(EVIOCGBIT(EV_KEY, 0))) {
		memset(arg, 0xff, size); /* as keyboards do, it claims to have every key */
	} else if (nr == _IOC_NR(EVIOCGKEY(0))) {
		memcpy(arg, f->down, size < sizeof f->down ? size : sizeof f->down);
	}
	return 0;
}

int ioctl(int fd, unsigned long request, ...)
{
	va_list args;
	va_start(args, request);
	void *arg = va_arg(args, void *);
	va_end(args);
	struct fake *f = _IOC_TYPE(request) == 'E' ? fake_of(fd) : NULL;
	return f ? fake_ioctl(f, request, arg) : (int)syscall(SYS_ioctl, fd, request, arg);
}

/* ---- the folder ---- */

static inline void input_file(const char *event, const char *name, const char *text)
{
	char path[256];
	snprintf(path, sizeof path, "%s/sys/%s/device/%s", input_folder, event, name);
	FILE *f = fopen(path, "w");
	assert_non_null(f);
	fprintf(f, "%s\n", text);
	fclose(f);
}

static inline void input_folders(const char *event)
{
	static const char *const parts[] = {"", "/device", "/device/id", "/device/capabilities"};
	char path[256];
	for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
		snprintf(path, sizeof path, "%s/sys/%s%s", input_folder, event, parts[i]);
		assert_true(mkdir(path, 0755) == 0 || errno == EEXIST);
	}
}

static inline void input_begin(void)
{
	char path[128];
	snprintf(input_folder, sizeof input_folder, "/tmp/tally-input-XXXXXX");
	assert_non_null(mkdtemp(input_folder));
	assert_int_equal(chmod(input_folder, 0755), 0);
	snprintf(path, sizeof path, "%s/sys", input_folder);
	assert_int_equal(mkdir(path, 0755), 0);
	setenv("TALLY_INPUT", input_folder, 1);
	memset(fakes, 0, sizeof fakes);
	for (int i = 0; i < FAKES_MAX; i++)
		fakes[i].number = -1;
}

/* Plug it in as event`number`. */
static inline void fake_plug(struct fake *f, int number)
{
	char event[32], path[160], text[16];
	snprintf(event, sizeof event, "event%d", number);
	input_folders(event);
	input_file(event, "name", f->name);
	input_file(event, "phys", f->phys);
	input_file(event, "uniq", f->uniq);
	input_file(event, "capabilities/key", "ffff 0 0");
	snprintf(text, sizeof text, "%04x", f->bus);
	input_file(event, "id/bustype", text);
	snprintf(text, sizeof text, "%04x", f->vendor);
	input_file(event, "id/vendor", text);
	snprintf(text, sizeof text, "%04x", f->product);
	input_file(event, "id/product", text);
	snprintf(path, sizeof path, "%s/%s", input_folder, event);
	struct stat st;
	/* Whole before it is seen, as the kernel's are. */
	char hidden[160];
	snprintf(hidden, sizeof hidden, "%s/.new", input_folder);
	assert_int_equal(mkfifo(hidden, 0600), 0);
	f->pipe = open(hidden, O_RDWR | O_NONBLOCK | O_CLOEXEC);
	assert_true(f->pipe >= 0 && fstat(f->pipe, &st) == 0);
	f->inode = st.st_ino;
	f->number = number;
	f->grabbed = false;
	memset(f->down, 0, sizeof f->down);
	assert_int_equal(rename(hidden, path), 0);
}

static inline struct fake *fake_new(int number, const char *uniq, const char *phys,
                                    const char *name)
{
	for (int i = 0; i < FAKES_MAX; i++) {
		struct fake *f = &fakes[i];
		if (f->name)
			continue;
		*f = (struct fake){.bus = BUS_USB, .vendor = 0x1209, .product = 2, .uniq = uniq,
		                   .phys = phys, .name = name};
		fake_plug(f, number);
		return f;
	}
	fail_msg("no room for another device");
	return NULL;
}

static inline void fake_unplug(struct fake *f)
{
	char path[256];
	snprintf(path, sizeof path, "rm -rf %s/sys/event%d %s/event%d", input_folder, f->number,
	         input_folder, f->number);
	f->number = -1;
	f->inode = 0;
	assert_int_equal(system(path), 0);
	close(f->pipe);
}

static inline void input_end(void)
{
	char path[128];
	for (int i = 0; i < FAKES_MAX; i++)
		if (fakes[i].name && fakes[i].number >= 0)
			fake_unplug(&fakes[i]);
	snprintf(path, sizeof path, "rm -rf %s", input_folder);
	assert_int_equal(system(path), 0);
}

/* ---- events ---- */

static inline void fake_write(struct fake *f, int64_t us, unsigned type, unsigned code, int value)
{
	struct input_event e = {.type = (uint16_t)type, .code = (uint16_t)code, .value = value};
	e.input_event_sec = us / 1000000;
	e.input_event_usec = us % 1000000;
	assert_int_equal(write(f->pipe, &e, sizeof e), sizeof e);
}

static inline int64_t fake_now(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return (int64_t)t.tv_sec * 1000000 + t.tv_nsec / 1000;
}

static inline void fake_set(struct fake *f, unsigned code, bool down)
{
	unsigned long bit = 1ul << code % WORD_BITS;
	f->down[code / WORD_BITS] = down ? f->down[code / WORD_BITS] | bit
	                                 : f->down[code / WORD_BITS] & ~bit;
}

static inline void fake_key_at(struct fake *f, int64_t us, unsigned code, int value)
{
	fake_set(f, code, value != 0);
	f->leaked += !f->grabbed;
	fake_write(f, us, EV_MSC, MSC_SCAN, 0x70005); /* as keyboards send before it */
	fake_write(f, us, EV_KEY, code, value);
	fake_write(f, us, EV_SYN, SYN_REPORT, 0);
}

static inline void fake_key(struct fake *f, unsigned code, int value)
{
	fake_key_at(f, fake_now(), code, value);
}

#endif
