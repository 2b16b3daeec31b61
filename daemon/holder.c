/* SPDX-License-Identifier: MIT */
/* See holder.h.  The format of /proc/locks and /proc/PID/fd: proc(5). */
#include "daemon/holder.h"

#include "daemon/first_line.h"

#include <ctype.h>
#include <dirent.h>
#include <errno.h>
#include <limits.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

static pid_t lock_holder(const struct stat *st)
{
	FILE *f = fopen("/proc/locks", "re");
	if (!f)
		return 0;
	/* 1: FLOCK  ADVISORY  WRITE 708 00:13:28 0 EOF */
	char line[256];
	pid_t found = 0;
	while (!found && fgets(line, sizeof line, f)) {
		int pid;
		unsigned major_of, minor_of;
		unsigned long long inode;
		if (sscanf(line, "%*d: FLOCK %*s %*s %d %x:%x:%llu", &pid, &major_of, &minor_of,
		           &inode) == 4 &&
		    major_of == major(st->st_dev) && minor_of == minor(st->st_dev) && inode == st->st_ino)
			found = pid > 0 ? pid : 0;
	}
	fclose(f);
	return found;
}

pid_t holder_of_lock(int fd)
{
	struct stat st;
	return fstat(fd, &st) == 0 ? lock_holder(&st) : 0;
}

pid_t holder_of_path_lock(const char *path)
{
	struct stat st;
	return stat(path, &st) == 0 ? lock_holder(&st) : 0;
}

pid_t holder_of_lock_file(const char *node)
{
	char path[PATH_MAX], text[32];
	const char *slash = strrchr(node, '/');
	snprintf(path, sizeof path, "/var/lock/LCK..%s", slash ? slash + 1 : node);
	if (!first_line(path, text, sizeof text))
		return 0;
	/* ten digits with leading spaces (the convention of UUCP) */
	long pid = strtol(text, NULL, 10);
	if (pid <= 0 || pid > INT_MAX || pid == getpid())
		return 0;
	return kill((pid_t)pid, 0) == 0 || errno == EPERM ? (pid_t)pid : 0;
}

void holder_name(pid_t pid, char *out, size_t size)
{
	char path[64], name[64];
	snprintf(path, sizeof path, "/proc/%d/comm", (int)pid);
	if (pid <= 0)
		snprintf(out, size, "a process that cannot be seen from here");
	else if (first_line(path, name, sizeof name))
		snprintf(out, size, "%s (process %d)", name, (int)pid);
	else
		snprintf(out, size, "process %d", (int)pid);
}

/* The same device (or file).  Pseudo-terminals of two mounts may share a number. */
static bool same(const struct stat *a, const struct stat *b)
{
	if (!S_ISCHR(a->st_mode))
		return a->st_dev == b->st_dev && a->st_ino == b->st_ino;
	bool pty = major(a->st_rdev) >= 136 && major(a->st_rdev) <= 143;
	return S_ISCHR(b->st_mode) && a->st_rdev == b->st_rdev && (!pty || a->st_dev == b->st_dev);
}

static bool has_open(const char *pid, const struct stat *what)
{
	char path[600];
	snprintf(path, sizeof path, "/proc/%s/fd", pid);
	DIR *dir = opendir(path);
	bool found = false;
	struct dirent *e;
	while (dir && !found && (e = readdir(dir))) {
		struct stat st;
		if (fstatat(dirfd(dir), e->d_name, &st, 0) == 0 && same(&st, what))
			found = true;
	}
	if (dir)
		closedir(dir);
	return found;
}

int holders_of_file(const char *path, char *out, size_t size)
{
	struct stat what;
	DIR *dir;
	int count = 0;
	size_t len = 0;
	out[0] = '\0';
	if (stat(path, &what) < 0 || !(dir = opendir("/proc")))
		return 0;
	struct dirent *e;
	while ((e = readdir(dir))) {
		if (!isdigit((unsigned char)e->d_name[0]) || !has_open(e->d_name, &what))
			continue;
		pid_t pid = (pid_t)strtol(e->d_name, NULL, 10);
		if (pid == getpid() || ++count > 3 || len >= size)
			continue;
		char name[HOLDER_TEXT_SIZE];
		holder_name(pid, name, sizeof name);
		int n = snprintf(out + len, size - len, "%s%s", len ? ", " : "", name);
		len += n > 0 ? (size_t)n : 0;
	}
	closedir(dir);
	return count;
}
