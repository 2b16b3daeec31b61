/* SPDX-License-Identifier: MIT */
/*
 * Items into transactions: texts and hashes are made here, and here it is decided
 * what a failing write means.  A group is written in one transaction; nothing of
 * it counts before COMMIT has returned.
 */
#include "daemon/log_inside.h"

#include "protocol/record/record.h"
#include "protocol/record/seal.h"

#include <errno.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define WAL_HEADER 32
#define WAL_FRAME (24 + 4096)
/* Frames not yet in the file: tidied up when nothing waits, and in any case. */
#define TIDY_FRAMES 256
#define TIDY_FRAMES_MOST 4096
#define TIDY_IDLE_US 2000000 /* nothing written for so long: the WAL is emptied */

/* ---- what went wrong ---- */

enum outcome {
	WRITTEN,
	OUT_OF_ROOM, /* full or read-only: tried again later */
	BROKEN,      /* I/O error or corruption */
	FOREIGN,     /* somebody else has appended: our head is not the head */
	NOT_NOW,     /* locked, no memory: refused, no more than that */
	UNFIT,       /* the data are at fault */
};

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

static enum outcome classify(struct sqlite3 *db, int code)
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

static void say_trouble(struct log_store *s, enum outcome o, int code)
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

/* ---- tickets ---- */

static void ring_put(struct log_store *s, uint64_t ticket, int64_t seq)
{
	s->ring[ticket % LOG_RING] = seq;
	if (ticket >= s->ring_next)
		s->ring_next = ticket + 1;
}

static int64_t ring_get(const struct log_store *s, uint64_t ticket)
{
	if (ticket == 0 || ticket >= s->ring_next || s->ring_next - ticket > LOG_RING)
		return 0;
	return s->ring[ticket % LOG_RING];
}

static void ring_put_item(struct log_store *s, const struct log_item *item, int64_t first_seq)
{
	for (size_t i = 0; !item->save && i < item->n; i++)
		ring_put(s, item->ticket + i, first_seq ? first_seq + (int64_t)i : 0);
}

/* ---- texts ---- */

/* Copies body with each 0x01 TICKET 0x01 replaced; false where a mark stands alone. */
static bool add_body(const struct log_store *s, struct text *out, const char *body, size_t len)
{
	const char *end = body + len;
	while (body < end) {
		const char *mark = memchr(body, 1, (size_t)(end - body));
		text_add(out, body, (size_t)((mark ? mark : end) - body));
		if (!mark)
			return true;
		uint64_t ticket = 0;
		const char *p = mark + 1;
		for (; p < end && *p >= '0' && *p <= '9' && p - mark <= 19; p++)
			ticket = ticket * 10 + (uint64_t)(*p - '0');
		if (p == mark + 1 || p == end || *p != 1)
			return false;
		int64_t seq = ring_get(s, ticket);
		char number[24];
		snprintf(number, sizeof number, "%lld", (long long)seq);
		text_puts(out, seq ? number : "null");
		body = p + 1;
	}
	return true;
}

/* The text of one record as it will be sealed.  False with item->why where it
 * cannot be one. */
static bool make_text(const struct log_store *s, struct log_item *item, struct log_piece *p,
                      int64_t seq, const char *tail)
{
	struct fault what = { .text = "a reference to a record is not one" };
	size_t marks = 0;
	for (size_t i = 0; i < p->body_len; i++)
		marks += p->body[i] == 1;
	/* A mark pair takes 3 bytes at least and becomes 19 at most. */
	size_t size = p->body_len + marks * 8 + strlen(p->kind) + strlen(tail) + 128;
	char head[32];
	struct text text;
	free(p->text);
	p->text = malloc(size);
	if (!p->text) {
		snprintf(item->why, sizeof item->why, "no memory");
		return false;
	}
	text_begin(&text, p->text, size);
	snprintf(head, sizeof head, "{\"seq\":%lld,\"t\":", (long long)seq);
	text_puts(&text, head);
	text_time(&text, p->t);
	text_puts(&text, ",\"kind\":\"");
	text_puts(&text, p->kind);
	text_puts(&text, "\"");
	bool marked = add_body(s, &text, p->body, p->body_len);
	text_puts(&text, tail);
	text_puts(&text, "}");
	p->len = text.len;
	p->seq = seq;
	if (!marked || text.failed || !record_valid(seq, p->text, p->len, &what)) {
		snprintf(item->why, sizeof item->why, "the %.16s record cannot be sealed (%.80s, byte %d): "
		         "a fault of the program, please report it", p->kind, what.text, what.column);
		return false;
	}
	return true;
}

/* ---- one transaction ---- */

/* Runs a statement that gives no rows. */
static int step(struct sqlite3_stmt *st)
{
	int code = sqlite3_step(st);
	int reset = sqlite3_reset(st);
	sqlite3_clear_bindings(st);
	if (code == SQLITE_DONE || code == SQLITE_ROW)
		return reset;
	return code;
}

struct head {
	int64_t seq;
	uint8_t hash[32];
};

static int insert(struct log_store *s, struct head *head, const struct log_piece *p)
{
	uint8_t hash[SEAL_SIZE];
	if (!sealer_next(s->sealer, head->hash, p->text, p->len, hash))
		return SQLITE_NOMEM;
	sqlite3_bind_int64(s->insert, 1, p->seq);
	sqlite3_bind_text(s->insert, 2, p->text, (int)p->len, SQLITE_STATIC);
	sqlite3_bind_blob(s->insert, 3, hash, sizeof hash, SQLITE_STATIC);
	int code = step(s->insert);
	if (code == SQLITE_OK) {
		head->seq = p->seq;
		memcpy(head->hash, hash, sizeof hash);
	}
	return code;
}

/* All pieces are made before the first is inserted: an unfit one takes its
 * companions with it and nobody else.  Seqs are known before the texts, so that
 * records of one append may refer to each other in both directions. */
static int seal_item(struct log_store *s, struct head *head, struct log_item *item)
{
	int64_t first = head->seq + 1;
	int code = SQLITE_OK;
	ring_put_item(s, item, first);
	for (size_t i = 0; i < item->n; i++)
		if (!make_text(s, item, &item->piece[i], first + (int64_t)i, "")) {
			item->unfit = true;
			ring_put_item(s, item, 0);
			return SQLITE_OK;
		}
	for (size_t i = 0; i < item->n && code == SQLITE_OK; i++)
		code = insert(s, head, &item->piece[i]);
	if (code == SQLITE_OK && item->run_of) {
		sqlite3_bind_text(s->run_clear, 1, item->run_of, -1, SQLITE_STATIC);
		code = step(s->run_clear);
	}
	return code;
}

static int save_runs(struct log_store *s, const struct log_item *item)
{
	int code = step(s->run_clear_all);
	for (size_t i = 0; i < item->n && code == SQLITE_OK; i++) {
		const struct log_piece *p = &item->piece[i];
		sqlite3_bind_text(s->run_save, 1, p->kind, -1, SQLITE_STATIC);
		sqlite3_bind_int64(s->run_save, 2, p->t);
		sqlite3_bind_text(s->run_save, 3, p->body, (int)p->body_len, SQLITE_STATIC);
		code = step(s->run_save);
	}
	return code;
}

/* The saved runs of an earlier start, in the order of their times. */
static int seal_old_runs(struct log_store *s, struct head *head, int *sealed)
{
	sqlite3_stmt *st = NULL;
	struct log_item item = { .n = 1 };
	int code = sqlite3_prepare_v2(s->db, "SELECT t, body FROM open_run ORDER BY t, meter", -1, &st,
	                              NULL);
	*sealed = 0;
	while (code == SQLITE_OK && (code = sqlite3_step(st)) == SQLITE_ROW) {
		struct log_piece p = { .t = sqlite3_column_int64(st, 0), .kind = "trail" };
		p.body = (const char *)sqlite3_column_text(st, 1);
		p.body_len = (size_t)sqlite3_column_bytes(st, 1);
		code = SQLITE_OK;
		/* We only save what is JSON: this one was tampered with, and is no record. */
		if (make_text(s, &item, &p, head->seq + 1, ",\"recovered\":true")) {
			code = insert(s, head, &p);
			++*sealed;
		}
		free(p.text);
	}
	sqlite3_finalize(st);
	if (code == SQLITE_DONE)
		code = *sealed ? step(s->run_clear_all) : SQLITE_OK;
	return code;
}

/* Only we append.  A changed data_version says that somebody else wrote: harmless
 * where the last record is still ours. */
static enum outcome head_is_ours(struct log_store *s, int *code)
{
	*code = sqlite3_step(s->changed);
	int64_t version = *code == SQLITE_ROW ? sqlite3_column_int64(s->changed, 0) : 0;
	sqlite3_reset(s->changed);
	if (*code != SQLITE_ROW)
		return classify(s->db, *code);
	if (version == s->data_version)
		return WRITTEN;
	*code = sqlite3_step(s->head);
	bool ours = *code == SQLITE_ROW && sqlite3_column_int64(s->head, 0) == s->seq &&
	            sqlite3_column_bytes(s->head, 1) == sizeof s->hash &&
	            memcmp(sqlite3_column_blob(s->head, 1), s->hash, sizeof s->hash) == 0;
	enum outcome o = *code == SQLITE_DONE ? FOREIGN : classify(s->db, *code);
	sqlite3_reset(s->head);
	if (o != WRITTEN)
		return o;
	if (!ours)
		return FOREIGN;
	s->data_version = version;
	return WRITTEN;
}

/* The salt tells one generation of the WAL from the next. */
static void wal_mark(struct log_store *s)
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
static void wal_cut(struct log_store *s)
{
	sqlite3_file *wal = NULL;
	sqlite3_int64 size = 0, keep = 0;
	uint8_t header[WAL_HEADER] = { 0 };
	if (s->memory || !s->wal_known ||
	    sqlite3_file_control(s->db, "main", SQLITE_FCNTL_JOURNAL_POINTER, &wal) != SQLITE_OK ||
	    !wal || !wal->pMethods || wal->pMethods->xFileSize(wal, &size) != SQLITE_OK)
		return;
	/* A new generation begins only when all of the old one is in the file. */
	if (s->wal_frames && wal->pMethods->xRead(wal, header, sizeof header, 0) == SQLITE_OK &&
	    memcmp(s->wal_salt, header + 16, sizeof s->wal_salt) == 0)
		keep = WAL_HEADER + (sqlite3_int64)s->wal_frames * WAL_FRAME;
	if (size > keep && wal->pMethods->xTruncate(wal, keep) == SQLITE_OK)
		(void)wal->pMethods->xSync(wal, SQLITE_SYNC_NORMAL);
}

/* Everything between BEGIN and COMMIT. */
static int fill_transaction(struct log_store *s, struct head *head, struct log_item *first,
                            struct log_item *end, int *recovered)
{
	int code = s->recover ? seal_old_runs(s, head, recovered) : SQLITE_OK;
	/* The reserve is for records: what a save would hold is still in memory. */
	bool saving = s->reserve;
	for (struct log_item *i = first; i != end && code == SQLITE_OK; i = i->next) {
		if (i->save)
			code = i->overtaken || !saving ? SQLITE_OK : save_runs(s, i);
		else
			code = seal_item(s, head, i);
	}
	if (code == SQLITE_OK && first == end && s->health == LOG_FULL)
		code = step(s->probe);
	return code;
}

static enum outcome transact(struct log_store *s, struct log_item *first, struct log_item *end,
                             int *code)
{
	struct head head = { .seq = s->seq };
	int recovered = 0;
	memcpy(head.hash, s->hash, sizeof head.hash);
	for (struct log_item *i = first; i != end; i = i->next)
		i->unfit = false;
	*code = step(s->begin);
	enum outcome o = classify(s->db, *code);
	if (o == WRITTEN)
		o = head_is_ours(s, code);
	if (o == WRITTEN) {
		*code = fill_transaction(s, &head, first, end, &recovered);
		if (*code == SQLITE_OK)
			*code = step(s->commit);
		o = classify(s->db, *code);
	}
	if (o != WRITTEN) {
		say_trouble(s, o, *code);
		if (!sqlite3_get_autocommit(s->db))
			sqlite3_exec(s->db, "ROLLBACK", NULL, NULL, NULL);
		if (o == BROKEN)
			wal_cut(s);
		for (struct log_item *i = first; i != end; i = i->next)
			ring_put_item(s, i, 0);
		return o;
	}
	s->seq = head.seq;
	memcpy(s->hash, head.hash, sizeof s->hash);
	s->recovered += recovered;
	s->recover = false;
	s->written_at = store_clock();
	wal_mark(s);
	for (struct log_item *i = first; i != end; i = i->next)
		i->durable = !i->unfit;
	return WRITTEN;
}

/* ---- what follows from it ---- */

static void refuse(struct log_store *s, struct log_item *first, struct log_item *end)
{
	for (struct log_item *i = first; i != end; i = i->next) {
		i->durable = false;
		snprintf(i->why, sizeof i->why, "%s", s->trouble);
		ring_put_item(s, i, 0);
	}
}

static void become_suspect(struct log_store *s)
{
	s->health = LOG_SUSPECT;
	if (!s->memory)
		beside_suspect_mark(s->path, s->seq, s->trouble);
}

/* Is there anything in it that must reach the disk? */
static bool worth_it(const struct log_store *s, struct log_item *first, struct log_item *end)
{
	for (struct log_item *i = first; i != end; i = i->next)
		if (!i->save || (!i->overtaken && s->reserve))
			return true;
	return false;
}

static enum outcome write_range(struct log_store *s, struct log_item *first, struct log_item *end)
{
	int code = SQLITE_OK;
	enum outcome o = transact(s, first, end, &code);
	/* s->reserve also says "there is room": without it there is nothing to give up. */
	if (o == OUT_OF_ROOM && s->reserve && !s->memory) {
		s->reserve = false;
		beside_reserve_drop(s->path);
		o = transact(s, first, end, &code);
	}
	switch (o) {
	case WRITTEN:
		if (s->health != LOG_LOW && !s->reserve)
			s->reserve_at = store_clock() + LOG_RETRY_US;
		s->health = s->reserve ? LOG_GOOD : LOG_LOW;
		break;
	case OUT_OF_ROOM:
		s->health = LOG_FULL;
		s->retry_at = store_clock() + LOG_RETRY_US;
		refuse(s, first, end);
		break;
	case BROKEN:
	case FOREIGN:
		become_suspect(s);
		refuse(s, first, end);
		break;
	case NOT_NOW:
	case UNFIT:
		refuse(s, first, end);
		break;
	}
	return o;
}

void store_write(struct log_store *s, struct log_item *items, bool force)
{
	bool waits = s->health == LOG_FULL && !force && store_clock() < s->retry_at;
	if (s->health == LOG_SUSPECT || waits) {
		refuse(s, items, NULL);
		return;
	}
	if (!worth_it(s, items, NULL) || write_range(s, items, NULL) != UNFIT)
		return;
	/* One of them is at fault: each by itself, so that only that one is refused. */
	for (struct log_item *i = items; i; i = i->next) {
		if (s->health == LOG_SUSPECT || s->health == LOG_FULL)
			refuse(s, i, i->next);
		else if (worth_it(s, i, i->next))
			write_range(s, i, i->next);
	}
}

void store_recover(struct log_store *s)
{
	write_range(s, NULL, NULL);
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
	enum outcome o = classify(s->db, code);
	if (o == BROKEN) {
		say_trouble(s, o, code);
		become_suspect(s);
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

int64_t store_tend(struct log_store *s, bool quiet)
{
	int64_t now = store_clock();
	if (s->health == LOG_FULL && now >= s->retry_at)
		write_range(s, NULL, NULL);
	if (s->health == LOG_LOW && now >= s->reserve_at) {
		s->reserve_at = now + LOG_RETRY_US;
		s->reserve = beside_reserve_make(s->path);
		if (s->reserve)
			s->health = LOG_GOOD;
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
