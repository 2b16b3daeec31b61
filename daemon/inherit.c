/* SPDX-License-Identifier: MIT */
/* See inherit.h. */
#include "daemon/inherit.h"

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#define FIRST_FD 3 /* SD_LISTEN_FDS_START */
#define FDS_MAX 16

static bool listens(int fd)
{
	int is = 0, type = 0;
	socklen_t size = sizeof is;
	struct sockaddr_un address = {0};
	socklen_t len = sizeof address;
	if (getsockopt(fd, SOL_SOCKET, SO_ACCEPTCONN, &is, &size) || !is)
		return false;
	size = sizeof type;
	if (getsockopt(fd, SOL_SOCKET, SO_TYPE, &type, &size) || type != SOCK_STREAM)
		return false;
	return !getsockname(fd, (struct sockaddr *)&address, &len) && address.sun_family == AF_UNIX;
}

/* The name of the n-th, "" for none. */
static void name_of(const char *names, int n, char *out, size_t size)
{
	for (; names && n > 0; n--) {
		names = strchr(names, ':');
		names = names ? names + 1 : NULL;
	}
	size_t len = names ? strcspn(names, ":") : 0;
	snprintf(out, size, "%.*s", (int)(len < size ? len : size - 1), names ? names : "");
}

static bool take(struct inherited *out, int fd, const char *name, struct fault *why)
{
	int *to = strcmp(name, "viewers") == 0 || out->bench >= 0 ? &out->viewers : &out->bench;
	if (!listens(fd)) {
		fault_set(why, "descriptor %d%s%.40s, which the service manager handed over, is no listening "
		          "Unix stream socket: look at ListenStream= of the socket unit", fd,
		          name[0] ? ", " : "", name);
		return false;
	}
	if (*to >= 0) {
		fault_set(why, "the service manager handed over more sockets than one for the bench and one "
		          "for viewers: give the second FileDescriptorName=viewers");
		return false;
	}
	fcntl(fd, F_SETFD, FD_CLOEXEC);
	*to = fd;
	return true;
}

bool inherit_sockets(struct inherited *out, struct fault *why)
{
	const char *pid = getenv("LISTEN_PID"), *count = getenv("LISTEN_FDS");
	long given = count ? strtol(count, NULL, 10) : 0;
	char names[512], name[64];
	const char *listed = getenv("LISTEN_FDNAMES");
	snprintf(names, sizeof names, "%s", listed ? listed : "");
	*out = (struct inherited){-1, -1};
	bool ours = pid && strtol(pid, NULL, 10) == (long)getpid() && given > 0;
	unsetenv("LISTEN_PID");
	unsetenv("LISTEN_FDS");
	unsetenv("LISTEN_FDNAMES");
	for (int i = 0; ours && i < given && i < FDS_MAX; i++) {
		name_of(names, i, name, sizeof name);
		if (strcmp(name, "stored") != 0 && !take(out, FIRST_FD + i, name, why))
			return false;
	}
	/* Named `viewers` first and the bench's nowhere: it would have no door for work. */
	return true;
}
