/* SPDX-License-Identifier: MIT */
/*
 * A copy of a log, running or not, that is whole and was verified before anybody is told
 * of it.  SQLite's own backup copies the pages of one moment while the writer goes on; the
 * copy is made beside its name and gets it only when its seal was read through.
 */
#include "daemon/log_inside.h"

#include <errno.h>
#include <fcntl.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Pages that are written before they are waited for.  Of a copy that is written in one go the disk
 * has so much to do that an entry, which is told when it is durable, waits behind it (half a second
 * behind 140 MB). */
#define STEP_PAGES 256
/* ... and then the disk is left to others for as long as that took, at most so long. */
#define REST_MOST_US 50000

/* What was written reaches the disk. */
static bool step_sync(int written)
{
	int64_t from = store_clock();
	if (fdatasync(written) != 0)
		return false;
	int64_t took = store_clock() - from;
	usleep((useconds_t)(took < REST_MOST_US ? took : REST_MOST_US));
	return true;
}

/* All pages, some at a time; what is written goes to the disk at once.  `written` is the copy, open. */
static int copy_steps(struct sqlite3 *from, struct sqlite3 *to, int written)
{
	sqlite3_backup *b = sqlite3_backup_init(to, "main", from, "main");
	if (!b)
		return sqlite3_extended_errcode(to);
	bool synced = true;
	while (synced && sqlite3_backup_step(b, STEP_PAGES) == SQLITE_OK)
		synced = step_sync(written);
	int code = sqlite3_backup_finish(b);
	return code == SQLITE_OK && !synced ? SQLITE_IOERR_FSYNC : code;
}

/* All pages of one moment: that of the transaction that is open meanwhile.  Afterwards a file that needs
 * no LOG-wal beside it.  Nobody else looks at it, so the index of its write-ahead log need not be a
 * file, either; it counts once all of it was synced, by copy_make. */
static int copy_pages(struct sqlite3 *from, struct sqlite3 *to, const char *part)
{
	int written = open(part, O_RDONLY | O_CLOEXEC);
	if (written < 0)
		return SQLITE_CANTOPEN;
	sqlite3_exec(to, "PRAGMA locking_mode = EXCLUSIVE; PRAGMA synchronous = OFF", NULL, NULL, NULL);
	int code = sqlite3_exec(from, "BEGIN; SELECT count(*) FROM sqlite_schema", NULL, NULL, NULL);
	if (code == SQLITE_OK)
		code = copy_steps(from, to, written);
	if (!sqlite3_get_autocommit(from))
		sqlite3_exec(from, "COMMIT", NULL, NULL, NULL);
	if (code == SQLITE_OK)
		code = sqlite3_exec(to, "PRAGMA journal_mode = DELETE", NULL, NULL, NULL);
	close(written);
	return code;
}

bool copy_sync(const char *path)
{
	int fd = open(path, O_RDONLY | O_CLOEXEC);
	bool done = fd >= 0 && fsync(fd) == 0;
	if (fd >= 0)
		close(fd);
	return done;
}

static void say_why(const char *part, int code, int error, struct fault *why)
{
	if ((code & 0xff) == SQLITE_FULL || error == ENOSPC || error == EDQUOT)
		fault_at(why, part, 0, 0, "the disk of the copy is full: make room on it, or name a file on "
		         "another one");
	else if ((code & 0xff) == SQLITE_CANTOPEN)
		fault_at(why, part, 0, 0, "the copy cannot be begun (%s): its folder must be there, and the "
		         "daemon must be allowed to write in it", error ? strerror(error) : "no reason given");
	else
		fault_at(why, part, 0, 0, "the copy cannot be written: %s%s%s", sqlite3_errstr(code),
		         error ? ", " : "", error ? strerror(error) : "");
}

/* What is left of one that failed, and what SQLite had beside it. */
static void copy_drop(const char *part)
{
	static const char *const suffixes[] = { "", "-journal", "-wal", "-shm" };
	for (size_t i = 0; i < sizeof suffixes / sizeof *suffixes; i++)
		beside_remove(part, suffixes[i]);
}

bool copy_make(struct log_reader *r, const char *part, struct fault *why)
{
	struct sqlite3 *to = NULL;
	char *uri = sqlite_uri(part, "mode=rwc");
	int flags = SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_URI | SQLITE_OPEN_NOMUTEX;
	int code = uri ? sqlite3_open_v2(uri, &to, flags, NULL) : SQLITE_NOMEM;
	sqlite3_free(uri);
	if (code == SQLITE_OK)
		code = copy_pages(r->db, to, part);
	if (code != SQLITE_OK)
		say_why(part, code, to ? sqlite3_system_errno(to) : 0, why);
	int closed = sqlite3_close(to);
	if (code == SQLITE_OK && (closed != SQLITE_OK || !copy_sync(part))) {
		fault_at(why, part, 0, 0, "the copy cannot be written: %s", strerror(errno));
		return false;
	}
	return code == SQLITE_OK;
}

bool copy_verify(const char *part, struct log_check *out, struct fault *why)
{
	struct log_reader *r = log_reader_open(part, why);
	bool read = r && log_reader_verify(r, NULL, out, why);
	log_reader_close(r);
	if (read && (out->verdict == LOG_ALTERED || out->verdict == LOG_EMPTY)) {
		fault_at(why, part, 0, 0, "the seal does not hold: %.150s; the copy was thrown away",
		         out->what);
		return false;
	}
	return read;
}

/* Its name, if nothing has it yet. */
static bool name_copy(const char *part, const char *to, struct fault *why)
{
	int code = renameat2(AT_FDCWD, part, AT_FDCWD, to, RENAME_NOREPLACE);
	if (code != 0 && (errno == EINVAL || errno == ENOSYS) && access(to, F_OK) != 0)
		code = rename(part, to);
	if (code == 0)
		return beside_folder_sync(to);
	fault_at(why, to, 0, 0, errno == EEXIST ? "there is a file of this name already: nothing is "
	         "written over" : "the copy cannot be given its name: %s", strerror(errno));
	return false;
}

bool log_reader_copy(struct log_reader *r, const char *to, struct log_check *out,
                     struct fault *why)
{
	char *part = beside_name(to, ".part");
	if (!part) {
		fault_set(why, "no memory for the copy");
		return false;
	}
	bool done = false;
	if (beside_exists(to, "", NULL))
		fault_at(why, to, 0, 0, "there is a file of this name already: nothing is written over");
	else if (beside_exists(to, ".part", NULL))
		fault_at(why, part, 0, 0, "this is left from a copy that was broken off, or one that is "
		         "being made: remove it, or name another file");
	else if (reader_refresh(r, why)) {
		done = copy_make(r, part, why) && copy_verify(part, out, why) && name_copy(part, to, why);
		if (!done)
			copy_drop(part);
	}
	free(part);
	return done;
}
