/* SPDX-License-Identifier: MIT */
/* See notify.h. */
#include "daemon/notify.h"

#include <errno.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

static int connect_to(const char *path)
{
	struct sockaddr_un to = {.sun_family = AF_UNIX};
	size_t len = strlen(path);
	if ((path[0] != '/' && path[0] != '@') || len < 2 || len >= sizeof to.sun_path)
		return -1;
	memcpy(to.sun_path, path, len);
	if (path[0] == '@')
		to.sun_path[0] = '\0';
	/* The name of an abstract one has no NUL at its end. */
	socklen_t size = (socklen_t)(offsetof(struct sockaddr_un, sun_path) + len + (path[0] == '/'));
	int fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
	if (fd >= 0 && connect(fd, (const struct sockaddr *)&to, size)) {
		close(fd);
		fd = -1;
	}
	return fd;
}

/* WATCHDOG_PID, where it is given, says whom it is for. */
static uint64_t watchdog_wanted(void)
{
	const char *usec = getenv("WATCHDOG_USEC"), *pid = getenv("WATCHDOG_PID");
	char *end = NULL;
	if (!usec || (pid && strtol(pid, NULL, 10) != (long)getpid()))
		return 0;
	errno = 0;
	unsigned long long us = strtoull(usec, &end, 10);
	return errno || end == usec || *end || us > UINT64_C(86400000000) ? 0 : us;
}

void notify_open(struct notify *n)
{
	const char *path = getenv("NOTIFY_SOCKET");
	n->fd = path ? connect_to(path) : -1;
	n->watchdog_us = n->fd >= 0 ? watchdog_wanted() : 0;
	unsetenv("NOTIFY_SOCKET");
	unsetenv("WATCHDOG_USEC");
	unsetenv("WATCHDOG_PID");
}

void notify_close(struct notify *n)
{
	if (n->fd >= 0)
		close(n->fd);
	n->fd = -1;
}

bool notify_send(struct notify *n, const char *format, ...)
{
	char text[1024];
	va_list args;
	if (n->fd < 0)
		return false;
	va_start(args, format);
	int len = vsnprintf(text, sizeof text, format, args);
	va_end(args);
	if (len <= 0)
		return false;
	if ((size_t)len >= sizeof text)
		len = (int)sizeof text - 1;
	return send(n->fd, text, (size_t)len, MSG_NOSIGNAL | MSG_DONTWAIT) == len;
}
