/* SPDX-License-Identifier: MIT */
/*
 * What stands in LOG-wal behind damage.
 *
 * SQLite reads a write-ahead log up to the first frame whose checksum does not fit, and
 * passes over the rest without a word: rightly after a power cut, which may tear the one
 * transaction that was not synced yet.  But where two commits of this generation stand behind
 * that place, the first of them had been synced, and acknowledged, before the second was
 * begun: then the file was damaged, and the person has to hear of it.
 *
 * The format is SQLite's (sqlite.org/fileformat2.html, section 4): a header of 32 bytes
 * (magic, version, page size, sequence, two salts, two checksums), then frames of 24 bytes
 * (page, size after a commit or 0, two salts, two checksums) and a page.  The checksum goes
 * over the first 24 bytes of the header, then over the first 8 of each frame and its page;
 * its words are big-endian where the lowest bit of the magic is set.
 */
#include "daemon/log_inside.h"

#include <fcntl.h>
#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define HEADER 32
#define FRAME 24

static uint32_t big(const uint8_t *p)
{
	return (uint32_t)p[0] << 24 | (uint32_t)p[1] << 16 | (uint32_t)p[2] << 8 | p[3];
}

static uint32_t little(const uint8_t *p)
{
	return (uint32_t)p[3] << 24 | (uint32_t)p[2] << 16 | (uint32_t)p[1] << 8 | p[0];
}

static void sum_on(bool is_big, const uint8_t *bytes, size_t n, uint32_t sum[2])
{
	for (size_t i = 0; i + 8 <= n; i += 8) {
		sum[0] += (is_big ? big(bytes + i) : little(bytes + i)) + sum[1];
		sum[1] += (is_big ? big(bytes + i + 4) : little(bytes + i + 4)) + sum[0];
	}
}

static bool sum_fits(const uint32_t sum[2], const uint8_t *at)
{
	return big(at) == sum[0] && big(at + 4) == sum[1];
}

static sqlite3_file *wal_file(struct sqlite3 *db, sqlite3_int64 *size)
{
	sqlite3_file *wal = NULL;
	if (sqlite3_file_control(db, "main", SQLITE_FCNTL_JOURNAL_POINTER, &wal) != SQLITE_OK || !wal ||
	    !wal->pMethods || wal->pMethods->xFileSize(wal, size) != SQLITE_OK || *size <= HEADER)
		return NULL;
	return wal;
}

/* With its header damaged SQLite sees nothing in LOG-wal at all.  The generation is then that of the
 * last frame.  It may be one that is in the file already (a new header was torn by a power cut
 * before the first commit under it): lost is it only where a page of the file is another than the
 * newest frame of it. */
static int lost_behind_header(struct sqlite3 *db, sqlite3_file *wal, sqlite3_int64 size)
{
	enum { PAGE = 4096, PAGES = 1 << 20 }; /* of 4 GiB; what lies beyond is not compared */
	sqlite3_file *main = NULL;
	uint8_t *frame = malloc(FRAME + PAGE), *page = malloc(PAGE), *seen = calloc(PAGES / 8, 1);
	uint8_t salt[8] = { 0 };
	sqlite3_int64 last = (size - HEADER) / (FRAME + PAGE) - 1;
	int commits = 0;
	bool differs = false;
	sqlite3_file_control(db, "main", SQLITE_FCNTL_FILE_POINTER, &main);
	for (sqlite3_int64 i = last; frame && page && seen && main && main->pMethods && i >= 0; i--) {
		sqlite3_int64 at = HEADER + i * (FRAME + PAGE);
		if (wal->pMethods->xRead(wal, frame, FRAME + PAGE, at) != SQLITE_OK)
			break;
		if (i == last)
			memcpy(salt, frame + 8, sizeof salt);
		if (memcmp(salt, frame + 8, sizeof salt) != 0)
			continue;
		uint32_t number = big(frame);
		commits += big(frame + 4) != 0;
		if (number == 0 || number >= PAGES || (seen[number / 8] & 1 << number % 8))
			continue;
		seen[number / 8] |= (uint8_t)(1 << number % 8);
		differs = differs || main->pMethods->xRead(main, page, PAGE, (sqlite3_int64)(number - 1) * PAGE) !=
		          SQLITE_OK || memcmp(page, frame + FRAME, PAGE) != 0;
	}
	free(frame);
	free(page);
	free(seen);
	return differs ? commits : 0;
}

int wal_lost_commits(struct sqlite3 *db)
{
	uint8_t header[HEADER], *frame = NULL;
	sqlite3_int64 size = 0;
	sqlite3_file *wal = wal_file(db, &size);
	int lost = 0;
	uint32_t sum[2] = { 0, 0 };
	if (!wal || wal->pMethods->xRead(wal, header, HEADER, 0) != SQLITE_OK)
		return 0;
	uint32_t page = big(header + 8);
	bool is_big = header[3] & 1, whole = (big(header) & ~1u) == 0x377f0682;
	sum_on(is_big, header, 24, sum);
	whole = whole && sum_fits(sum, header + 24);
	/* We write pages of 4096 bytes; with a damaged header that is all that is known. */
	if (!whole)
		return lost_behind_header(db, wal, size);
	if (page < 512 || page > 65536 || !(frame = malloc(FRAME + page)))
		return 0;
	for (sqlite3_int64 at = HEADER; at + FRAME + page <= size; at += FRAME + page) {
		if (wal->pMethods->xRead(wal, frame, (int)(FRAME + page), at) != SQLITE_OK)
			break;
		bool ours = memcmp(frame + 8, header + 16, 8) == 0;
		if (whole && ours) {
			sum_on(is_big, frame, 8, sum);
			sum_on(is_big, frame + FRAME, page, sum);
		}
		whole = whole && ours && sum_fits(sum, frame + 16);
		lost += !whole && ours && big(frame + 4) != 0;
	}
	free(frame);
	return lost;
}

/* The hash of record 1 on a connection; zeros where it cannot be told. */
static void first_hash(struct sqlite3 *db, uint8_t hash[32])
{
	sqlite3_stmt *st = NULL;
	memset(hash, 0, 32);
	if (sqlite3_prepare_v2(db, "SELECT hash FROM record WHERE seq = 1", -1, &st, NULL) == SQLITE_OK &&
	    sqlite3_step(st) == SQLITE_ROW && sqlite3_column_bytes(st, 0) == 32)
		memcpy(hash, sqlite3_column_blob(st, 0), 32);
	sqlite3_finalize(st);
}

/* SQLite takes any LOG-wal whose checksums fit for that of this file.  One of another log,
 * copied there by a slip, would show that log in place of this one, and be written over it.
 * Record 1 stands in the file since the log was made. */
bool wal_is_foreign(const char *path, struct sqlite3 *through)
{
	static const uint8_t zeros[32] = { 0 };
	int64_t size = 0;
	uint8_t seen[32], alone[32] = { 0 };
	struct sqlite3 *db = NULL;
	if (!beside_exists(path, "-wal", &size) || size <= HEADER)
		return false;
	char *uri = sqlite_uri(path, "mode=ro&immutable=1");
	if (uri && sqlite3_open_v2(uri, &db, SQLITE_OPEN_READONLY | SQLITE_OPEN_URI, NULL) == SQLITE_OK)
		first_hash(db, alone);
	sqlite3_close(db);
	sqlite3_free(uri);
	first_hash(through, seen);
	return memcmp(alone, zeros, 32) != 0 && memcmp(seen, alone, 32) != 0;
}

bool wal_keep(struct sqlite3 *db, const char *to)
{
	char bytes[65536];
	sqlite3_int64 size = 0;
	sqlite3_file *wal = wal_file(db, &size);
	int fd = wal ? open(to, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, 0600) : -1;
	bool done = fd >= 0;
	for (sqlite3_int64 at = 0; done && at < size; at += (sqlite3_int64)sizeof bytes) {
		size_t n = (size_t)(size - at < (sqlite3_int64)sizeof bytes ? size - at
		                                                            : (sqlite3_int64)sizeof bytes);
		done = wal->pMethods->xRead(wal, bytes, (int)n, at) == SQLITE_OK &&
		       write(fd, bytes, n) == (ssize_t)n;
	}
	done = done && fsync(fd) == 0;
	if (fd >= 0)
		close(fd);
	if (fd >= 0 && !done)
		unlink(to);
	return done;
}
