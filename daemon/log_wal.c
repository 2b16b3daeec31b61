/* SPDX-License-Identifier: MIT */
/*
 * The write-ahead log, LOG-wal: how far it is committed, cutting off what must not
 * come back, emptying it into the file; and what else is done between two groups.
 *
 * Its format is SQLite's (sqlite.org/fileformat2.html, section 4): a header of 32
 * bytes with a salt at 16, then frames of 24 bytes and a page.
 */
#include "daemon/log_inside.h"

#include <sqlite3.h>
#include <string.h>

#define WAL_HEADER 32
#define WAL_FRAME (24 + 4096)
/* Frames not yet in the file: tidied up when nothing waits, and in any case. */
#define TIDY_FRAMES 256
#define TIDY_FRAMES_MOST 4096
#define TIDY_ROOM (1 << 20) /* to spare beside it while the disk is low */
#define TIDY_IDLE_US 2000000 /* nothing written for so long: the WAL is emptied */

/* The salt tells one generation of the WAL from the next. */
void wal_mark(struct log_store *s)
{
	sqlite3_file *wal = NULL;
	uint8_t header[WAL_HEADER] = { 0 };
	if (s->memory ||
	    sqlite3_file_control(s->db, "main", SQLITE_FCNTL_JOURNAL_POINTER, &wal) != SQLITE_OK ||
	    !wal || !wal->pMethods ||
	    wal->pMethods->xRead(wal, header, sizeof header, 0) != SQLITE_OK) {
		s->wal_known = false; /* better not to cut than to cut what is committed */
		return;
	}
	if (memcmp(s->wal_salt, header + 16, sizeof s->wal_salt) != 0)
		s->wal_done = 0;
	memcpy(s->wal_salt, header + 16, sizeof s->wal_salt);
}

/* A transaction whose sync failed stands complete in the WAL, and the next start
 * would take it for committed, although we are about to say that it is not
 * logged.  So it is cut off, as well as a failing disk lets us. */
void wal_cut(struct log_store *s)
{
	sqlite3_file *wal = NULL;
	sqlite3_int64 size = 0, keep = 0;
	uint8_t header[WAL_HEADER] = { 0 };
	if (s->memory || !s->wal_known ||
	    sqlite3_file_control(s->db, "main", SQLITE_FCNTL_JOURNAL_POINTER, &wal) != SQLITE_OK ||
	    !wal || !wal->pMethods || wal->pMethods->xFileSize(wal, &size) != SQLITE_OK)
		return;
	/* A new generation begins only when all of the old one is in the file.  Where the header
	 * cannot be read (the disk fails) nobody knows which it is: what was acknowledged stays. */
	if (s->wal_frames && (wal->pMethods->xRead(wal, header, sizeof header, 0) != SQLITE_OK ||
	                      memcmp(s->wal_salt, header + 16, sizeof s->wal_salt) == 0))
		keep = WAL_HEADER + (sqlite3_int64)s->wal_frames * WAL_FRAME;
	if (size > keep && wal->pMethods->xTruncate(wal, keep) == SQLITE_OK)
		(void)wal->pMethods->xSync(wal, SQLITE_SYNC_NORMAL);
}

/* ---- between the groups ---- */

void store_checkpoint(struct log_store *s, bool truncate)
{
	int frames = 0, done = 0;
	if (s->memory)
		return;
	/* Readers may hold us up, but not long: the next one will do. */
	sqlite3_busy_timeout(s->db, truncate ? 100 : 0);
	int code = sqlite3_wal_checkpoint_v2(
	    s->db, NULL, truncate ? SQLITE_CHECKPOINT_TRUNCATE : SQLITE_CHECKPOINT_PASSIVE, &frames,
	    &done);
	sqlite3_busy_timeout(s->db, 5000);
	if (code == SQLITE_OK && truncate) {
		s->wal_known = true;
		s->wal_frames = s->wal_done = 0;
		return;
	}
	if ((code & 0xff) != SQLITE_IOERR && frames >= 0 && done >= 0) {
		s->wal_known = true;
		wal_mark(s);
		s->wal_frames = frames;
		s->wal_done = done;
	}
	enum outcome o = trouble_kind(s->db, code);
	if (o == BROKEN) {
		trouble_say(s, o, code);
		trouble_suspect(s);
	} else if (o != WRITTEN || s->wal_done < s->wal_frames) {
		/* Nothing is lost by it: the records are safe in the WAL. */
		s->tidy_at = store_clock() + (o == OUT_OF_ROOM ? 10 : 1) * LOG_RETRY_US;
	}
}

static int64_t tend_good(struct log_store *s, bool quiet, int64_t now)
{
	int left = s->wal_frames - s->wal_done;
	if (s->memory || (s->wal_frames == 0 && left <= 0))
		return INT64_MAX;
	int64_t idle_at = s->written_at + TIDY_IDLE_US;
	if (now < s->tidy_at)
		return s->tidy_at;
	if (quiet && now >= idle_at)
		store_checkpoint(s, true);
	else if (left >= (quiet ? TIDY_FRAMES : TIDY_FRAMES_MOST))
		store_checkpoint(s, false);
	if (s->wal_frames == 0 || s->health != LOG_GOOD)
		return INT64_MAX;
	return s->tidy_at > idle_at ? s->tidy_at : idle_at;
}

/* While the disk is low a checkpoint may not take what the next records need: it is
 * made only where there is room for every page of the WAL, and then it gains room. */
bool store_may_tidy(const struct log_store *s)
{
	double wal = WAL_HEADER + (double)s->wal_frames * WAL_FRAME;
	return s->health == LOG_GOOD ||
	       (s->health == LOG_LOW && s->wal_frames > 0 && beside_room(s->path) >= wal + TIDY_ROOM);
}

/* Enough room for the reserve again?  An emptied WAL may be what makes it. */
static void tend_low(struct log_store *s, bool quiet)
{
	s->reserve = beside_reserve_make(s->path);
	if (!s->reserve && store_may_tidy(s)) {
		store_checkpoint(s, quiet);
		s->reserve = s->health == LOG_LOW && beside_reserve_make(s->path);
	}
	if (s->reserve)
		s->health = LOG_GOOD;
}

int64_t store_tend(struct log_store *s, bool quiet)
{
	int64_t now = store_clock();
	if (s->health == LOG_FULL && now >= s->retry_at)
		store_probe(s);
	if (s->health == LOG_LOW && now >= s->reserve_at) {
		s->reserve_at = now + LOG_RETRY_US;
		tend_low(s, quiet);
	}
	switch (s->health) {
	case LOG_FULL:
		return s->retry_at;
	case LOG_LOW:
		return s->reserve_at;
	case LOG_GOOD:
		return tend_good(s, quiet, now);
	default:
		return INT64_MAX;
	}
}
