/* SPDX-License-Identifier: MIT */
/*
 * A system that fails on command: the calls that the log, and SQLite below it, make of the
 * C library, each of them under a counter.
 *
 *   calls_plan((struct calls_rule){ .sort = CALLS_SYNC, .after = 3, .times = 1, .error = EIO });
 *   ... what is tried ...
 *   calls_clear();
 *
 * Of the calls of that sort `after` pass, then `times` fail with `error` (-1: all of them).  A
 * write that fails may be a short one (half).  The functions stand in the program itself, so the
 * linker prefers them to the library's, for SQLite's shared object as well.
 *
 * Below the VFS of fault_vfs.h: there SQLite is told what happened, here it finds out.
 */
#ifndef TALLY_TESTS_FAULT_CALLS_H
#define TALLY_TESTS_FAULT_CALLS_H

#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <sys/file.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

enum calls_sort {
	CALLS_NONE,
	CALLS_OPEN,
	CALLS_READ,
	CALLS_WRITE,
	CALLS_SYNC,
	CALLS_TRUNCATE,
	CALLS_ALLOCATE,
	CALLS_RENAME,
	CALLS_UNLINK,
	CALLS_LOCK,
	CALLS_STAT,
	CALLS_MAP,
	CALLS_LINK,
	CALLS_SORTS,
};
static const char *const calls_names[CALLS_SORTS] = {
	"none", "open", "read", "write", "sync", "truncate", "allocate", "rename", "unlink", "lock",
	"stat", "map", "link",
};

struct calls_rule {
	enum calls_sort sort;
	int after, times, error;
	bool half; /* of a write or read: a half is done, and the next one fails */
};

static struct {
	pthread_mutex_t mutex;
	struct calls_rule rule;
	int seen, failed;
	bool impatient; /* nobody sleeps, and no room is really kept */
} calls = { .mutex = PTHREAD_MUTEX_INITIALIZER, .seen = 0 };

static inline void calls_plan(struct calls_rule rule)
{
	pthread_mutex_lock(&calls.mutex);
	calls.rule = rule;
	calls.seen = calls.failed = 0;
	pthread_mutex_unlock(&calls.mutex);
}

/* How many failed. */
static inline int calls_clear(void)
{
	pthread_mutex_lock(&calls.mutex);
	int n = calls.failed;
	calls.rule = (struct calls_rule){ .sort = CALLS_NONE };
	pthread_mutex_unlock(&calls.mutex);
	return n;
}

/* 0: it passes; 1: it fails, errno is set; 2: half of it. */
static inline int calls_hit(enum calls_sort sort)
{
	int hit = 0, error = 0;
	pthread_mutex_lock(&calls.mutex);
	const struct calls_rule *r = &calls.rule;
	if (r->sort == sort) {
		int n = calls.seen++ - r->after;
		if (n >= 0 && (r->times < 0 || n < r->times + (r->half ? 1 : 0))) {
			calls.failed++;
			hit = r->half && n % 2 == 0 ? 2 : 1;
			error = r->error;
		}
	}
	pthread_mutex_unlock(&calls.mutex);
	if (hit)
		errno = error;
	return hit;
}

#define CALLS_TRY(sort) \
	do {                \
		if (calls_hit(sort)) \
			return -1;  \
	} while (0)

int open64(const char *path, int flags, ...);
int open(const char *path, int flags, ...);
int open64(const char *path, int flags, ...)
{
	va_list args;
	va_start(args, flags);
	int mode = flags & O_CREAT ? va_arg(args, int) : 0;
	va_end(args);
	CALLS_TRY(CALLS_OPEN);
	return (int)syscall(SYS_openat, AT_FDCWD, path, flags, mode);
}
int open(const char *path, int flags, ...)
{
	va_list args;
	va_start(args, flags);
	int mode = flags & O_CREAT ? va_arg(args, int) : 0;
	va_end(args);
	return open64(path, flags, mode);
}

ssize_t read(int fd, void *to, size_t n)
{
	int hit = calls_hit(CALLS_READ);
	if (hit == 1)
		return -1;
	return syscall(SYS_read, fd, to, hit ? (n + 1) / 2 : n);
}
ssize_t pread64(int fd, void *to, size_t n, off64_t at)
{
	int hit = calls_hit(CALLS_READ);
	if (hit == 1)
		return -1;
	return syscall(SYS_pread64, fd, to, hit ? (n + 1) / 2 : n, at);
}
ssize_t pread(int fd, void *to, size_t n, off_t at)
{
	return pread64(fd, to, n, at);
}

ssize_t write(int fd, const void *from, size_t n)
{
	int hit = fd > 2 ? calls_hit(CALLS_WRITE) : 0; /* what the test itself says passes */
	if (hit == 1)
		return -1;
	return syscall(SYS_write, fd, from, hit ? n / 2 : n);
}
ssize_t pwrite64(int fd, const void *from, size_t n, off64_t at)
{
	int hit = calls_hit(CALLS_WRITE);
	if (hit == 1)
		return -1;
	return syscall(SYS_pwrite64, fd, from, hit ? n / 2 : n, at);
}
ssize_t pwrite(int fd, const void *from, size_t n, off_t at)
{
	return pwrite64(fd, from, n, at);
}

int fsync(int fd)
{
	CALLS_TRY(CALLS_SYNC);
	return (int)syscall(SYS_fsync, fd);
}
int fdatasync(int fd)
{
	CALLS_TRY(CALLS_SYNC);
	return (int)syscall(SYS_fdatasync, fd);
}

int ftruncate64(int fd, off64_t size)
{
	CALLS_TRY(CALLS_TRUNCATE);
	return (int)syscall(SYS_ftruncate, fd, size);
}
int ftruncate(int fd, off_t size)
{
	return ftruncate64(fd, size);
}

/* Returns the error, as POSIX has it. */
int posix_fallocate(int fd, off_t at, off_t size)
{
	if (calls_hit(CALLS_ALLOCATE))
		return errno;
	/* A disk in memory clears each page of the reserve, which would be a third of a test's time. */
	pthread_mutex_lock(&calls.mutex);
	bool sparse = calls.impatient;
	pthread_mutex_unlock(&calls.mutex);
	if (sparse)
		return syscall(SYS_ftruncate, fd, at + size) == 0 ? 0 : errno;
	return syscall(SYS_fallocate, fd, 0, at, size) == 0 ? 0 : errno;
}

int renameat2(int from_at, const char *from, int to_at, const char *to, unsigned flags)
{
	CALLS_TRY(CALLS_RENAME);
	return (int)syscall(SYS_renameat2, from_at, from, to_at, to, flags);
}
int rename(const char *from, const char *to)
{
	CALLS_TRY(CALLS_RENAME);
	return (int)syscall(SYS_renameat2, AT_FDCWD, from, AT_FDCWD, to, 0);
}

int link(const char *from, const char *to)
{
	CALLS_TRY(CALLS_LINK);
	return (int)syscall(SYS_linkat, AT_FDCWD, from, AT_FDCWD, to, 0);
}
int unlink(const char *path)
{
	CALLS_TRY(CALLS_UNLINK);
	return (int)syscall(SYS_unlinkat, AT_FDCWD, path, 0);
}

int flock(int fd, int what)
{
	CALLS_TRY(CALLS_LOCK);
	return (int)syscall(SYS_flock, fd, what);
}
int fcntl64(int fd, int command, ...);
int fcntl64(int fd, int command, ...)
{
	va_list args;
	va_start(args, command);
	void *arg = va_arg(args, void *);
	va_end(args);
	if (command == F_SETLK)
		CALLS_TRY(CALLS_LOCK);
	return (int)syscall(SYS_fcntl, fd, command, arg);
}

int stat(const char *restrict path, struct stat *restrict st)
{
	CALLS_TRY(CALLS_STAT);
	return (int)syscall(SYS_newfstatat, AT_FDCWD, path, st, 0);
}
int stat64(const char *restrict path, struct stat64 *restrict st)
{
	CALLS_TRY(CALLS_STAT);
	return (int)syscall(SYS_newfstatat, AT_FDCWD, path, st, 0);
}
int fstat64(int fd, struct stat64 *st)
{
	CALLS_TRY(CALLS_STAT);
	return (int)syscall(SYS_newfstatat, fd, "", st, AT_EMPTY_PATH);
}

/* SQLite waits for a lock by counting naps, seconds in all: the tests have no time. */
int usleep(useconds_t us)
{
	struct timespec nap = { us / 1000000, (long)(us % 1000000) * 1000 };
	pthread_mutex_lock(&calls.mutex);
	bool skip = calls.impatient;
	pthread_mutex_unlock(&calls.mutex);
	return skip ? 0 : (int)syscall(SYS_nanosleep, &nap, NULL);
}

/* The sanitizers map memory themselves. */
#ifndef __SANITIZE_ADDRESS__
void *mmap64(void *at, size_t n, int protection, int flags, int fd, off64_t offset)
{
	if (fd >= 0 && calls_hit(CALLS_MAP))
		return MAP_FAILED;
	return (void *)syscall(SYS_mmap, at, n, protection, flags, fd, offset);
}
#endif

#endif
