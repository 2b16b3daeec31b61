/* SPDX-License-Identifier: MIT */
/*
 * What went wrong, by kind and in words: SQLite's codes and the system's errno
 * into the few things that the log does about them.
 */
#include "daemon/log_inside.h"

#include <errno.h>
#include <sqlite3.h>
#include <stdio.h>

/* What the system said of a failed write.  SQLite keeps it a file; what the
 * connection remembers is of whatever call came last. */
static int write_errno(struct sqlite3 *db)
{
	sqlite3_file *wal = NULL;
	int error = 0;
	if (sqlite3_file_control(db, "main", SQLITE_FCNTL_JOURNAL_POINTER, &wal) == SQLITE_OK && wal &&
	    wal->pMethods)
		wal->pMethods->xFileControl(wal, SQLITE_FCNTL_LAST_ERRNO, &error);
	if (!error)
		sqlite3_file_control(db, "main", SQLITE_FCNTL_LAST_ERRNO, &error);
	return error;
}

enum outcome trouble_kind(struct sqlite3 *db, int code)
{
	int error = (code & 0xff) == SQLITE_IOERR ? write_errno(db) : 0;
	switch (code & 0xff) {
	case SQLITE_OK:
	case SQLITE_ROW:
	case SQLITE_DONE:
		return WRITTEN;
	case SQLITE_FULL:
	case SQLITE_READONLY:
	case SQLITE_PERM:
	case SQLITE_CANTOPEN:
		return OUT_OF_ROOM;
	case SQLITE_IOERR:
		if (code == SQLITE_IOERR_NOMEM)
			return NOT_NOW;
		if (code == SQLITE_IOERR_SHMSIZE)
			return OUT_OF_ROOM;
		/* SQLite calls only ENOSPC full; a quota or a remount is the same to us.
		 * At a sync it would mean that pages are lost already. */
		if ((code == SQLITE_IOERR_WRITE || code == SQLITE_IOERR_TRUNCATE) &&
		    (error == ENOSPC || error == EDQUOT || error == EROFS || error == EFBIG))
			return OUT_OF_ROOM;
		return BROKEN;
	case SQLITE_CORRUPT:
	case SQLITE_NOTADB:
		return BROKEN;
	case SQLITE_BUSY:
	case SQLITE_LOCKED:
	case SQLITE_NOMEM:
	case SQLITE_PROTOCOL:
	case SQLITE_INTERRUPT:
		return NOT_NOW;
	default:
		return UNFIT;
	}
}

void trouble_say(struct log_store *s, enum outcome o, int code)
{
	const char *detail = sqlite3_errstr(code);
	switch (o) {
	case OUT_OF_ROOM:
		if ((code & 0xff) == SQLITE_FULL)
			snprintf(s->trouble, sizeof s->trouble, "the disk of the log is full; make room on it");
		else
			snprintf(s->trouble, sizeof s->trouble, "the log cannot be written to (%s); is its disk "
			         "full or read-only?", detail);
		break;
	case BROKEN:
		snprintf(s->trouble, sizeof s->trouble, "the disk of the log fails (%s, %d); the log is "
		         "suspect: check the disk, then restart", detail, code);
		break;
	case FOREIGN:
		snprintf(s->trouble, sizeof s->trouble, "another program has written to the log; it is "
		         "suspect: restart to verify it");
		break;
	case NOT_NOW:
		snprintf(s->trouble, sizeof s->trouble, "the log could not be written to just now (%s); does "
		         "another program hold it?", detail);
		break;
	default:
		snprintf(s->trouble, sizeof s->trouble, "the record does not fit into the log (%s)",
		         sqlite3_errmsg(s->db));
	}
}

void trouble_suspect(struct log_store *s)
{
	s->health = LOG_SUSPECT;
	if (!s->memory)
		beside_suspect_mark(s->path, s->seq, s->trouble);
}
