/* SPDX-License-Identifier: MIT */
/* Opening and looking at paths, as the C library does it: see adapters_shim.c. */
#include "demo/adapters_inside.h"

#include <fcntl.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/xattr.h>

/* ---- opening ---- */

/* A descriptor from which `text` can be read. */
static int text_open(const char *text)
{
	int fd = memfd_create("adapter", MFD_CLOEXEC);
	if (fd < 0)
		return -1;
	size_t len = strlen(text);
	if (write(fd, text, len) != (ssize_t)len || lseek(fd, 0, SEEK_SET) != 0) {
		close(fd);
		errno = EIO;
		return -1;
	}
	return fd;
}

static int node_opened(struct node *n, int fd)
{
	struct stat st;
	if (fd < 0 || REAL(fstat)(fd, &st) < 0)
		return fd;
	if (geteuid() != 0 && adapter_held(fd)) {
		close(fd);
		errno = EBUSY;
		return -1;
	}
	pthread_mutex_lock(&adapter_lock);
	if (!n->opened || n->rdev != st.st_rdev) {
		n->framed = false;
		n->exclusive = false;
	}
	n->opened = true;
	n->rdev = st.st_rdev;
	pthread_mutex_unlock(&adapter_lock);
	return fd;
}

/* True where the path is ours; *fd is then the answer. */
static bool open_ours(const char *path, int flags, int *fd)
{
	char text[128];
	enum what what;
	struct node *n = adapter_dev(path);
	if (n) {
		*fd = node_opened(n, REAL(open)(n->pty, flags & ~(O_CREAT | O_EXCL)));
		return true;
	}
	if (!adapter_class(path, &what, &n, text, sizeof text))
		return false;
	if (what == FILE_TEXT) {
		*fd = text_open(text);
	} else {
		errno = what == NOTHING ? ENOENT : EISDIR;
		*fd = -1;
	}
	return true;
}

static mode_t mode_of(int flags, va_list args)
{
	bool creates = flags & O_CREAT || (flags & O_TMPFILE) == O_TMPFILE;
	return creates ? va_arg(args, mode_t) : 0;
}

#define OPEN(name)                                     \
	int name(const char *path, int flags, ...)         \
	{                                                  \
		int fd;                                        \
		if (open_ours(path, flags, &fd))               \
			return fd;                                 \
		va_list args;                                  \
		va_start(args, flags);                         \
		mode_t mode = mode_of(flags, args);            \
		va_end(args);                                  \
		return REAL(name)(path, flags, mode);          \
	}
OPEN(open)
OPEN(open64)

#define OPENAT(name)                                             \
	int name(int dir, const char *path, int flags, ...)          \
	{                                                            \
		int fd;                                                  \
		if (path[0] == '/' && open_ours(path, flags, &fd))       \
			return fd;                                           \
		va_list args;                                            \
		va_start(args, flags);                                   \
		mode_t mode = mode_of(flags, args);                      \
		va_end(args);                                            \
		return REAL(name)(dir, path, flags, mode);               \
	}
OPENAT(openat)
OPENAT(openat64)

/* What programs call that were built with fortified headers, or before the C
 * library had stat as a function. */
int __open_2(const char *path, int flags);
int __open64_2(const char *path, int flags);
int __xstat(int version, const char *path, struct stat *st);
int __lxstat(int version, const char *path, struct stat *st);
int __xstat64(int version, const char *path, struct stat64 *st);
int __lxstat64(int version, const char *path, struct stat64 *st);
ssize_t __readlink_chk(const char *path, char *out, size_t size, size_t room);
char *__realpath_chk(const char *path, char *out, size_t room);

int __open_2(const char *path, int flags)
{
	int fd;
	return open_ours(path, flags, &fd) ? fd : REAL(__open_2)(path, flags);
}

int __open64_2(const char *path, int flags)
{
	int fd;
	return open_ours(path, flags, &fd) ? fd : REAL(__open64_2)(path, flags);
}

#define FOPEN(name)                                                                     \
	FILE *name(const char *path, const char *mode)                                      \
	{                                                                                   \
		int fd, flags = strchr(mode, '+') ? O_RDWR : *mode == 'r' ? O_RDONLY : O_WRONLY; \
		if (open_ours(path, flags | O_NOCTTY, &fd))                                     \
			return fd < 0 ? NULL : fdopen(fd, mode);                                    \
		return REAL(name)(path, mode);                                                  \
	}
FOPEN(fopen)
FOPEN(fopen64)

/* ---- looking ---- */

static int class_mode(enum what what, bool follow, mode_t *mode)
{
	switch (what) {
	case LINK:
		*mode = follow ? S_IFDIR | 0755 : S_IFLNK | 0777;
		return 0;
	case FOLDER:
		*mode = S_IFDIR | 0755;
		return 0;
	case FILE_TEXT:
		*mode = S_IFREG | 0444;
		return 0;
	case NOTHING:
		break;
	}
	errno = ENOENT;
	return -1;
}

/* Is `path` ours, and what is there?  *target is the file to look at instead, or
 * NULL where *mode says it all; *result is not 0 where nothing is there. */
static bool look_ours(const char *path, bool follow, const char **target, mode_t *mode,
                      int *result)
{
	char text[128];
	enum what what;
	struct node *n = adapter_dev(path);
	*target = NULL;
	*result = 0;
	if (n) {
		*target = n->pty;
		return true;
	}
	if (!adapter_class(path, &what, &n, text, sizeof text))
		return false;
	*result = class_mode(what, follow, mode);
	return true;
}

#define LOOK(name, type, real, follow)                              \
	int name(const char *path, struct type *st)                     \
	{                                                               \
		const char *target;                                         \
		mode_t mode;                                                \
		int result;                                                 \
		if (!look_ours(path, follow, &target, &mode, &result))      \
			return REAL(name)(path, st);                            \
		if (target)                                                 \
			return REAL(real)(target, st);                          \
		if (result == 0) {                                          \
			memset(st, 0, sizeof *st);                              \
			st->st_mode = mode;                                     \
			st->st_nlink = 1;                                       \
		}                                                           \
		return result;                                              \
	}
LOOK(stat, stat, stat, true)
LOOK(lstat, stat, stat, false)
LOOK(stat64, stat64, stat64, true)
LOOK(lstat64, stat64, stat64, false)

#define LOOK_OLD(name, type, now)                                             \
	int name(int version, const char *path, struct type *st)                  \
	{                                                                         \
		const char *target;                                                   \
		mode_t mode;                                                          \
		int result;                                                           \
		if (!look_ours(path, true, &target, &mode, &result))                  \
			return REAL(name)(version, path, st);                             \
		return now(path, st);                                                 \
	}
LOOK_OLD(__xstat, stat, stat)
LOOK_OLD(__lxstat, stat, lstat)
LOOK_OLD(__xstat64, stat64, stat64)
LOOK_OLD(__lxstat64, stat64, lstat64)

#define LOOK_AT(name, type, now, now_link)                                     \
	int name(int dir, const char *path, struct type *st, int flags)            \
	{                                                                          \
		const char *target;                                                    \
		mode_t mode;                                                           \
		int result;                                                            \
		if (path[0] != '/' || !look_ours(path, true, &target, &mode, &result)) \
			return REAL(name)(dir, path, st, flags);                           \
		return flags & AT_SYMLINK_NOFOLLOW ? now_link(path, st) : now(path, st); \
	}
LOOK_AT(fstatat, stat, stat, lstat)
LOOK_AT(fstatat64, stat64, stat64, lstat64)

int statx(int dir, const char *path, int flags, unsigned mask, struct statx *out)
{
	const char *target;
	mode_t mode;
	int result;
	bool follow = !(flags & AT_SYMLINK_NOFOLLOW);
	if (path[0] != '/' || !look_ours(path, follow, &target, &mode, &result))
		return REAL(statx)(dir, path, flags, mask, out);
	if (target)
		return REAL(statx)(AT_FDCWD, target, flags & ~AT_SYMLINK_NOFOLLOW, mask, out);
	if (result == 0) {
		memset(out, 0, sizeof *out);
		out->stx_mask = STATX_TYPE | STATX_MODE | STATX_NLINK;
		out->stx_mode = (uint16_t)mode;
		out->stx_nlink = 1;
	}
	return result;
}

int access(const char *path, int how)
{
	const char *target;
	mode_t mode;
	int result;
	if (!look_ours(path, true, &target, &mode, &result))
		return REAL(access)(path, how);
	return target ? REAL(access)(target, how) : result;
}

int faccessat(int dir, const char *path, int how, int flags)
{
	const char *target;
	mode_t mode;
	int result;
	if (path[0] != '/' || !look_ours(path, true, &target, &mode, &result))
		return REAL(faccessat)(dir, path, how, flags);
	return target ? REAL(faccessat)(AT_FDCWD, target, how, flags & ~AT_SYMLINK_NOFOLLOW) : result;
}

/* ls -l asks for these. */
#define NO_XATTR(name)                                                              \
	ssize_t name(const char *path, const char *key, void *value, size_t size)       \
	{                                                                               \
		const char *target;                                                         \
		mode_t mode;                                                                \
		int result;                                                                 \
		if (!look_ours(path, true, &target, &mode, &result))                        \
			return REAL(name)(path, key, value, size);                              \
		errno = ENOTSUP;                                                            \
		return -1;                                                                  \
	}
NO_XATTR(getxattr)
NO_XATTR(lgetxattr)

/* True where the path is ours; *len is then the answer. */
static bool readlink_ours(const char *path, char *out, size_t size, ssize_t *len)
{
	char text[PATH_MAX];
	enum what what;
	struct node *n = adapter_dev(path);
	*len = -1;
	if (n) {
		errno = adapter_present(n) ? EINVAL : ENOENT;
		return true;
	}
	if (!adapter_class(path, &what, &n, text, sizeof text))
		return false;
	if (what != LINK) {
		errno = what == NOTHING ? ENOENT : EINVAL;
		return true;
	}
	adapter_link(n, text, sizeof text);
	size_t room = strlen(text) < size ? strlen(text) : size;
	memcpy(out, text, room);
	*len = (ssize_t)room;
	return true;
}

ssize_t readlink(const char *path, char *out, size_t size)
{
	ssize_t len;
	return readlink_ours(path, out, size, &len) ? len : REAL(readlink)(path, out, size);
}

ssize_t __readlink_chk(const char *path, char *out, size_t size, size_t room)
{
	(void)room;
	return readlink(path, out, size);
}

ssize_t readlinkat(int dir, const char *path, char *out, size_t size)
{
	ssize_t len;
	if (path[0] == '/' && readlink_ours(path, out, size, &len))
		return len;
	return REAL(readlinkat)(dir, path, out, size);
}

/* A link may lead to /dev/NODE, which the file system does not know: follow links
 * one by one until a node stands there, else leave it to the library. */
static struct node *node_through_links(const char *path)
{
	char here[PATH_MAX], link[PATH_MAX];
	if (adapter_count == 0)
		return NULL;
	snprintf(here, sizeof here, "%s", path);
	for (int i = 0; i < 40; i++) {
		struct node *n = adapter_dev(here);
		if (n)
			return n;
		ssize_t len = REAL(readlink)(here, link, sizeof link - 1);
		if (len <= 0)
			return NULL;
		link[len] = '\0';
		char *slash = strrchr(here, '/');
		size_t folder = link[0] == '/' || !slash ? 0 : (size_t)(slash - here) + 1;
		if (folder + (size_t)len >= sizeof here)
			return NULL;
		memcpy(here + folder, link, (size_t)len + 1);
	}
	return NULL;
}

char *realpath(const char *path, char *out)
{
	adapters_ready();
	struct node *n = node_through_links(path);
	if (!n)
		return REAL(realpath)(path, out);
	if (!adapter_present(n)) {
		errno = ENOENT;
		return NULL;
	}
	if (!out && !(out = malloc(PATH_MAX)))
		return NULL;
	snprintf(out, PATH_MAX, "/dev/%s", n->name);
	return out;
}

char *__realpath_chk(const char *path, char *out, size_t room)
{
	(void)room;
	return realpath(path, out);
}
