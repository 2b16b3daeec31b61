/* SPDX-License-Identifier: MIT */
/*
 * A device manager of our own, in a network and mount namespace of its own, so that
 * a test hears events of udev on a machine where none runs, and none of the machine's
 * own.  The real libudev listens; what is sent to it has the form that
 * systemd-udevd sends (systemd, src/libsystemd/sd-device/device-monitor.c: header
 * "libudev", 0xfeedcafe, murmur2 hash of the subsystem for the socket's filter), written
 * here from that description.
 *
 * A process that is neither root nor may make user namespaces gets none: then
 * udev_stand_begin returns false, and the test says that it skips.
 */
#ifndef TALLY_TESTS_UDEV_STAND_H
#define TALLY_TESTS_UDEV_STAND_H

#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <linux/netlink.h>
#include <sched.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <sys/mount.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/uio.h>
#include <unistd.h>

#define UDEV_GROUP 2 /* of those who hear udev; 1 is the kernel's */

/* Does the program under test listen at all? */
static inline bool udev_stand_heard(void)
{
#ifdef TALLY_UDEV
	return true;
#else
	return false;
#endif
}

static inline bool udev_stand_write(const char *path, const char *text)
{
	int fd = open(path, O_WRONLY | O_CREAT | O_CLOEXEC, 0600);
	bool good = fd >= 0 && write(fd, text, strlen(text)) == (ssize_t)strlen(text);
	if (fd >= 0)
		close(fd);
	return good;
}

/* An own network, and own mounts with or without a udev that seems to run.  Before the
 * first thread; it cannot be undone. */
static inline bool udev_stand_begin(bool runs)
{
	char map[64];
	uid_t uid = getuid();
	gid_t gid = getgid();
	int own = CLONE_NEWNET | CLONE_NEWNS;
	if (unshare(own) < 0) {
		if (unshare(own | CLONE_NEWUSER) < 0)
			return false;
		snprintf(map, sizeof map, "0 %u 1", (unsigned)uid);
		udev_stand_write("/proc/self/setgroups", "deny");
		if (!udev_stand_write("/proc/self/uid_map", map))
			return false;
		snprintf(map, sizeof map, "0 %u 1", (unsigned)gid);
		udev_stand_write("/proc/self/gid_map", map);
	}
	/* /run/udev is there only where udev is installed; /run always is. */
	if (mount("none", "/", NULL, MS_REC | MS_PRIVATE, NULL) < 0 ||
	    mount("none", "/run", "tmpfs", 0, NULL) < 0 || mkdir("/run/udev", 0755) < 0)
		return false;
	return !runs || udev_stand_write("/run/udev/control", "x");
}

/* MurmurHash2 by A. Appleby (public domain), seed 0: what the socket's filter compares. */
static inline uint32_t udev_hash(const char *s)
{
	const uint32_t m = 0x5bd1e995;
	size_t len = strlen(s);
	uint32_t h = (uint32_t)len;
	for (; len >= 4; s += 4, len -= 4) {
		uint32_t k;
		memcpy(&k, s, 4);
		k *= m;
		k ^= k >> 24;
		h = h * m ^ k * m;
	}
	if (len >= 3)
		h ^= (uint32_t)(unsigned char)s[2] << 16;
	if (len >= 2)
		h ^= (uint32_t)(unsigned char)s[1] << 8;
	if (len >= 1)
		h = (h ^ (unsigned char)s[0]) * m;
	h = (h ^ h >> 13) * m;
	return h ^ h >> 15;
}

/* A socket to send from, -1 where there is none. */
static inline int udev_stand_socket(void)
{
	return socket(AF_NETLINK, SOCK_RAW | SOCK_CLOEXEC | SOCK_NONBLOCK, NETLINK_KOBJECT_UEVENT);
}

/* Tell those who listen that /dev/NAME came ("add") or went ("remove").  False where
 * it could not be sent; nobody who listens is no fault. */
static inline bool udev_stand_event(int fd, const char *action, const char *subsystem,
                                    const char *name)
{
	struct {
		char prefix[8];
		uint32_t magic, size, at, len, subsystem, devtype, tags[2];
	} head = {"libudev", htonl(0xfeedcafe), 40, 40, 0, htonl(udev_hash(subsystem)), 0, {0}};
	static unsigned number;
	char body[512];
	int n = snprintf(body, sizeof body,
	                 "ACTION=%s%cDEVPATH=/devices/virtual/tty/%s%cSUBSYSTEM=%s%cDEVNAME=/dev/%s%c"
	                 "SEQNUM=%u%cMAJOR=188%cMINOR=0%c", action, 0, name, 0, subsystem, 0, name, 0,
	                 ++number, 0, 0, 0);
	head.len = (uint32_t)n;
	struct iovec part[2] = {{&head, sizeof head}, {body, (size_t)n}};
	struct sockaddr_nl to = {.nl_family = AF_NETLINK, .nl_groups = UDEV_GROUP};
	struct msghdr message = {.msg_name = &to, .msg_namelen = sizeof to, .msg_iov = part,
	                         .msg_iovlen = 2};
	return sendmsg(fd, &message, 0) >= 0 || errno == ECONNREFUSED || errno == ESRCH ||
	       errno == ENOBUFS;
}

#endif
