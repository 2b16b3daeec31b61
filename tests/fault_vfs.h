/* SPDX-License-Identifier: MIT */
/*
 * A disk that fails on command: an SQLite VFS ("fault") over the usual one.
 *
 *   fault_install();
 *   fault_plan((struct fault_rule){ .calls = FAULT_SYNC, .after = 3, .times = 1,
 *                                   .code = SQLITE_IOERR_FSYNC });
 *   ... log_open with .vfs = "fault" ...
 *
 * One rule at a time: of the calls that it names, `after` pass, then `times` fail
 * (-1: from then on all).  A power cut is a rule with .cut: at that sync what was
 * written since the last one is dropped (or, with .seed, each write is kept or
 * dropped at random), and from then on the disk answers nothing.
 *
 * Static functions, because each test program is one file.
 */
#ifndef TALLY_TESTS_FAULT_VFS_H
#define TALLY_TESTS_FAULT_VFS_H

#include <errno.h>
#include <pthread.h>
#include <sqlite3.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define FAULT_OPEN 1u
#define FAULT_READ 2u
#define FAULT_WRITE 4u
#define FAULT_TRUNCATE 8u
#define FAULT_SYNC 16u
#define FAULT_SIZE 32u
#define FAULT_LOCK 64u
#define FAULT_UNLOCK 128u
#define FAULT_SHM 256u /* a page of LOG-shm is mapped */
#define FAULT_SHM_LOCK 512u
#define FAULT_DELETE 1024u
#define FAULT_ACCESS 2048u
#define FAULT_PATH 4096u

/* What a power cut leaves of the writes since the last sync. */
enum fault_rest {
	FAULT_DROPPED, /* nothing (with a seed: a part, as it was before there were the others) */
	FAULT_ALL_KEPT,
	FAULT_PART_KEPT, /* each write or not, some torn, by the seed */
	FAULT_TRASHED,   /* each sector of 512 bytes old, new, or noise, by the seed */
};

struct fault_rule {
	unsigned calls;  /* FAULT_*, which calls count */
	unsigned files;  /* SQLITE_OPEN_MAIN_DB, SQLITE_OPEN_WAL ...; 0: every file */
	int after;       /* so many of them pass */
	int times;       /* so many fail then; -1: all */
	int code;        /* what SQLite is told */
	int error;       /* errno, as the system would set it */
	bool half;       /* of a write that fails, the first half reaches the file */
	bool late;       /* a sync that fails has in truth reached the disk */
	bool cut;        /* power cut instead of a failure */
	enum fault_rest rest;
	unsigned seed;   /* of a power cut: 0 drops all unsynced writes, else a random part */
};

/* For tables: the first six, then others by name. */
#define FAULT(calls_, files_, after_, times_, code_, error_, ...)                            \
	{ .calls = calls_, .files = files_, .after = after_, .times = times_, .code = code_,     \
	  .error = error_, __VA_ARGS__ }

/* What was written since the last sync, with what stood there before. */
struct fault_write {
	struct fault_write *next; /* the one before it */
	sqlite3_int64 at, size_before;
	int len, old_len;
	bool truncate;
	char *old, *new;
};

struct fault_file {
	sqlite3_file base;
	sqlite3_file *real;
	unsigned kind; /* SQLITE_OPEN_MAIN_DB ... */
	int error;     /* errno of the last write that failed */
	struct fault_write *unsynced;
	struct fault_file *next;
};

static struct {
	sqlite3_vfs vfs, *real;
	sqlite3_io_methods methods;
	pthread_mutex_t mutex;
	struct fault_rule rule;
	int seen, failed;
	int told;  /* the code of the last call that failed */
	bool dark; /* the power is cut */
	struct fault_file *files;
} fault = { .mutex = PTHREAD_MUTEX_INITIALIZER, .seen = 0 };

static void fault_plan(struct fault_rule rule)
{
	pthread_mutex_lock(&fault.mutex);
	fault.rule = rule;
	fault.seen = fault.failed = 0;
	fault.dark = false;
	pthread_mutex_unlock(&fault.mutex);
}

static void fault_clear(void)
{
	fault_plan((struct fault_rule){ .calls = 0 });
}

/* How many calls have failed since fault_plan. */
static int fault_count(void)
{
	pthread_mutex_lock(&fault.mutex);
	int n = fault.failed;
	pthread_mutex_unlock(&fault.mutex);
	return n;
}

/* ---- the mutex is held in what follows ---- */

static void fault_forget(struct fault_file *f)
{
	while (f->unsynced) {
		struct fault_write *w = f->unsynced;
		f->unsynced = w->next;
		free(w->old);
		free(w->new);
		free(w);
	}
}

static void fault_note(struct fault_file *f, const void *bytes, int len, sqlite3_int64 at,
                       bool truncate)
{
	struct fault_write *w = calloc(1, sizeof *w);
	sqlite3_int64 size = 0;
	f->real->pMethods->xFileSize(f->real, &size);
	w->at = at;
	w->len = len;
	w->size_before = size;
	w->truncate = truncate;
	if (truncate)
		w->old_len = size > at ? (int)(size - at) : 0;
	else
		w->old_len = size > at ? (int)(size - at < len ? size - at : len) : 0;
	if (w->old_len) {
		w->old = malloc((size_t)w->old_len);
		f->real->pMethods->xRead(f->real, w->old, w->old_len, at);
	}
	if (len) {
		w->new = malloc((size_t)len);
		memcpy(w->new, bytes, (size_t)len);
	}
	w->next = f->unsynced;
	f->unsynced = w;
}

/* A write of which every sector may be old, new or noise. */
static void fault_trash(struct fault_file *f, const struct fault_write *w, unsigned *seed)
{
	char noise[512];
	for (int at = 0; at < w->len; at += 512) {
		int n = w->len - at < 512 ? w->len - at : 512;
		*seed = *seed * 1103515245u + 12345u;
		unsigned kind = *seed >> 16 & 3;
		for (int i = 0; kind == 3 && i < n; i++)
			noise[i] = (char)((*seed = *seed * 1103515245u + 12345u) >> 16);
		if (kind)
			f->real->pMethods->xWrite(f->real, kind == 3 ? noise : w->new + at, n, w->at + at);
	}
}

/* Back to the last sync, then part of it again, oldest first. */
static void fault_drop_unsynced(struct fault_file *f, enum fault_rest rest, unsigned seed)
{
	const sqlite3_io_methods *m = f->real->pMethods;
	struct fault_write *order[4096];
	int n = 0;
	for (struct fault_write *w = f->unsynced; w; w = w->next) {
		if (w->old_len)
			m->xWrite(f->real, w->old, w->old_len, w->at);
		m->xTruncate(f->real, w->size_before);
		if (n < 4096)
			order[n++] = w;
	}
	while ((seed || rest == FAULT_ALL_KEPT) && n > 0) {
		struct fault_write *w = order[--n];
		if (rest == FAULT_TRASHED && !w->truncate) {
			fault_trash(f, w, &seed);
			continue;
		}
		seed = seed * 1103515245u + 12345u;
		if (rest == FAULT_ALL_KEPT)
			seed = 3u << 17; /* every write, whole */
		else if (seed >> 16 & 1)
			continue;
		if (w->truncate)
			m->xTruncate(f->real, w->at);
		else /* sometimes torn */
			m->xWrite(f->real, w->new, seed >> 17 & 3 ? w->len : w->len / 2, w->at);
	}
	fault_forget(f);
}

static bool fault_hits(struct fault_file *f, unsigned call)
{
	const struct fault_rule *r = &fault.rule;
	if (!(r->calls & call) || (r->files && f && !(r->files & f->kind)))
		return false;
	fault.seen++;
	if (fault.seen <= r->after || (r->times >= 0 && fault.seen > r->after + r->times))
		return false;
	fault.failed++;
	if (r->cut) {
		fault.dark = true;
		for (struct fault_file *o = fault.files; o; o = o->next)
			fault_drop_unsynced(o, r->rest, r->seed);
	}
	errno = r->error ? r->error : EIO;
	if (f)
		f->error = errno;
	return true;
}

/* ---- the methods ---- */

static int fault_close(sqlite3_file *file)
{
	struct fault_file *f = (struct fault_file *)file;
	pthread_mutex_lock(&fault.mutex);
	for (struct fault_file **o = &fault.files; *o; o = &(*o)->next)
		if (*o == f) {
			*o = f->next;
			break;
		}
	fault_forget(f);
	pthread_mutex_unlock(&fault.mutex);
	return f->real->pMethods->xClose(f->real);
}

static int fault_read(sqlite3_file *file, void *bytes, int len, sqlite3_int64 at)
{
	struct fault_file *f = (struct fault_file *)file;
	pthread_mutex_lock(&fault.mutex);
	bool hit = fault.dark || fault_hits(f, FAULT_READ);
	int code = fault.rule.code ? fault.rule.code : SQLITE_IOERR_READ;
	pthread_mutex_unlock(&fault.mutex);
	return hit ? code : f->real->pMethods->xRead(f->real, bytes, len, at);
}

static int fault_write(sqlite3_file *file, const void *bytes, int len, sqlite3_int64 at)
{
	struct fault_file *f = (struct fault_file *)file;
	int code;
	pthread_mutex_lock(&fault.mutex);
	if (fault.dark) {
		code = SQLITE_IOERR_WRITE;
	} else if (fault_hits(f, FAULT_WRITE)) {
		if (fault.rule.half) {
			fault_note(f, bytes, len / 2, at, false);
			f->real->pMethods->xWrite(f->real, bytes, len / 2, at);
		}
		code = fault.rule.code;
	} else {
		fault_note(f, bytes, len, at, false);
		code = f->real->pMethods->xWrite(f->real, bytes, len, at);
	}
	pthread_mutex_unlock(&fault.mutex);
	return code;
}

static int fault_truncate(sqlite3_file *file, sqlite3_int64 size)
{
	struct fault_file *f = (struct fault_file *)file;
	int code;
	pthread_mutex_lock(&fault.mutex);
	if (fault.dark || fault_hits(f, FAULT_TRUNCATE)) {
		code = fault.rule.code ? fault.rule.code : SQLITE_IOERR_TRUNCATE;
	} else {
		fault_note(f, NULL, 0, size, true);
		code = f->real->pMethods->xTruncate(f->real, size);
	}
	pthread_mutex_unlock(&fault.mutex);
	return code;
}

static int fault_sync(sqlite3_file *file, int flags)
{
	struct fault_file *f = (struct fault_file *)file;
	int code;
	pthread_mutex_lock(&fault.mutex);
	if (fault.dark || fault_hits(f, FAULT_SYNC)) {
		code = fault.rule.code ? fault.rule.code : SQLITE_IOERR_FSYNC;
		if (fault.rule.late)
			f->real->pMethods->xSync(f->real, flags);
	} else {
		fault_forget(f);
		code = SQLITE_OK; /* the tests' disk is fast; its order is kept above */
	}
	pthread_mutex_unlock(&fault.mutex);
	return code;
}

#define FAULT_PASS(name, parameters, arguments)                         \
	static int name parameters                                          \
	{                                                                   \
		struct fault_file *f = (struct fault_file *)file;               \
		return f->real->pMethods->arguments;                            \
	}
/* The same, where it may fail; without power everything does. */
#define FAULT_TRY(name, call, code_, parameters, arguments)             \
	static int name parameters                                          \
	{                                                                   \
		struct fault_file *f = (struct fault_file *)file;               \
		return fault_try(f, call, code_) ? fault.told : f->real->pMethods->arguments; \
	}
static bool fault_try(struct fault_file *f, unsigned call, int code)
{
	pthread_mutex_lock(&fault.mutex);
	bool hit = fault.dark || fault_hits(f, call);
	fault.told = fault.dark || !fault.rule.code ? code : fault.rule.code;
	pthread_mutex_unlock(&fault.mutex);
	return hit;
}
FAULT_TRY(fault_size, FAULT_SIZE, SQLITE_IOERR_FSTAT, (sqlite3_file *file, sqlite3_int64 *size),
          xFileSize(f->real, size))
FAULT_TRY(fault_lock, FAULT_LOCK, SQLITE_IOERR_LOCK, (sqlite3_file *file, int level),
          xLock(f->real, level))
FAULT_PASS(fault_reserved, (sqlite3_file *file, int *out), xCheckReservedLock(f->real, out))
FAULT_PASS(fault_sector, (sqlite3_file *file), xSectorSize(f->real))
FAULT_PASS(fault_device, (sqlite3_file *file), xDeviceCharacteristics(f->real))
FAULT_TRY(fault_shm_map, FAULT_SHM, SQLITE_IOERR_SHMMAP,
          (sqlite3_file *file, int page, int size, int extend, void volatile **out),
          xShmMap(f->real, page, size, extend, out))

/* What is unlocked must be, or the test would wait for ever; that it failed may be said. */
static int fault_unlock(sqlite3_file *file, int level)
{
	struct fault_file *f = (struct fault_file *)file;
	int code = f->real->pMethods->xUnlock(f->real, level);
	return fault_try(f, FAULT_UNLOCK, SQLITE_IOERR_UNLOCK) && !fault.dark ? fault.told : code;
}

static int fault_shm_lock(sqlite3_file *file, int at, int n, int flags)
{
	struct fault_file *f = (struct fault_file *)file;
	if ((flags & SQLITE_SHM_LOCK) && fault_try(f, FAULT_SHM_LOCK, SQLITE_IOERR_SHMLOCK))
		return fault.told;
	return f->real->pMethods->xShmLock(f->real, at, n, flags);
}
FAULT_PASS(fault_shm_unmap, (sqlite3_file *file, int drop), xShmUnmap(f->real, drop))

static int fault_control(sqlite3_file *file, int op, void *arg)
{
	struct fault_file *f = (struct fault_file *)file;
	if (op != SQLITE_FCNTL_LAST_ERRNO || !f->error)
		return f->real->pMethods->xFileControl(f->real, op, arg);
	*(int *)arg = f->error;
	return SQLITE_OK;
}

static void fault_shm_barrier(sqlite3_file *file)
{
	struct fault_file *f = (struct fault_file *)file;
	f->real->pMethods->xShmBarrier(f->real);
}

static int fault_open(sqlite3_vfs *vfs, const char *name, sqlite3_file *file, int flags, int *out)
{
	struct fault_file *f = (struct fault_file *)file;
	(void)vfs;
	f->base.pMethods = NULL;
	f->real = (sqlite3_file *)(f + 1);
	f->kind = (unsigned)flags & 0x0fff00;
	f->unsynced = NULL;
	f->error = 0;
	pthread_mutex_lock(&fault.mutex);
	bool hit = fault.dark || fault_hits(f, FAULT_OPEN);
	int code = fault.rule.code ? fault.rule.code : SQLITE_CANTOPEN;
	pthread_mutex_unlock(&fault.mutex);
	if (hit)
		return code;
	code = fault.real->xOpen(fault.real, name, f->real, flags, out);
	if (code != SQLITE_OK)
		return code;
	f->base.pMethods = &fault.methods;
	pthread_mutex_lock(&fault.mutex);
	f->next = fault.files;
	fault.files = f;
	pthread_mutex_unlock(&fault.mutex);
	return SQLITE_OK;
}

/* ---- of no file ---- */

static int fault_delete(sqlite3_vfs *vfs, const char *name, int sync)
{
	(void)vfs;
	return fault_try(NULL, FAULT_DELETE, SQLITE_IOERR_DELETE)
	           ? fault.told : fault.real->xDelete(fault.real, name, sync);
}

static int fault_access(sqlite3_vfs *vfs, const char *name, int flags, int *out)
{
	(void)vfs;
	return fault_try(NULL, FAULT_ACCESS, SQLITE_IOERR_ACCESS)
	           ? fault.told : fault.real->xAccess(fault.real, name, flags, out);
}

static int fault_path(sqlite3_vfs *vfs, const char *name, int size, char *out)
{
	(void)vfs;
	return fault_try(NULL, FAULT_PATH, SQLITE_CANTOPEN)
	           ? fault.told : fault.real->xFullPathname(fault.real, name, size, out);
}

static void fault_install(void)
{
	if (fault.real)
		return;
	fault.real = sqlite3_vfs_find(NULL);
	fault.vfs = *fault.real;
	fault.vfs.zName = "fault";
	fault.vfs.pNext = NULL;
	fault.vfs.szOsFile = (int)sizeof(struct fault_file) + fault.real->szOsFile;
	fault.vfs.xOpen = fault_open;
	fault.vfs.xDelete = fault_delete;
	fault.vfs.xAccess = fault_access;
	fault.vfs.xFullPathname = fault_path;
	fault.methods = (sqlite3_io_methods){
		.iVersion = 2,
		.xClose = fault_close,
		.xRead = fault_read,
		.xWrite = fault_write,
		.xTruncate = fault_truncate,
		.xSync = fault_sync,
		.xFileSize = fault_size,
		.xLock = fault_lock,
		.xUnlock = fault_unlock,
		.xCheckReservedLock = fault_reserved,
		.xFileControl = fault_control,
		.xSectorSize = fault_sector,
		.xDeviceCharacteristics = fault_device,
		.xShmMap = fault_shm_map,
		.xShmLock = fault_shm_lock,
		.xShmBarrier = fault_shm_barrier,
		.xShmUnmap = fault_shm_unmap,
	};
	sqlite3_vfs_register(&fault.vfs, 0);
}

#endif
