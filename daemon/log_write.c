/* SPDX-License-Identifier: MIT */
/*
 * Items into transactions.  A group is written in one; nothing of it counts before
 * COMMIT has returned.  What follows from a failure is decided at the end of this
 * file; what kind of failure it is, in log_trouble.c.
 */
#include "daemon/log_inside.h"

#include "protocol/record/record.h"
#include "protocol/record/seal.h"

#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- one transaction ---- */

int store_step(struct sqlite3_stmt *st)
{
	int code = sqlite3_step(st);
	int reset = sqlite3_reset(st);
	sqlite3_clear_bindings(st);
	if (code == SQLITE_DONE || code == SQLITE_ROW)
		return reset;
	return code;
}

/* What the store will be once the transaction is durable. */
struct head {
	int64_t seq;
	uint8_t hash[32];
	int64_t signed_seq;
	struct sign_count count;
};

static int insert(struct log_store *s, struct head *head, const struct log_piece *p)
{
	uint8_t hash[SEAL_SIZE];
	if (!sealer_next(s->sealer, head->hash, p->text, p->len, hash))
		return SQLITE_NOMEM;
	sqlite3_bind_int64(s->insert, 1, p->seq);
	sqlite3_bind_text(s->insert, 2, p->text, (int)p->len, SQLITE_STATIC);
	sqlite3_bind_blob(s->insert, 3, hash, sizeof hash, SQLITE_STATIC);
	int code = store_step(s->insert);
	if (code == SQLITE_OK) {
		head->seq = p->seq;
		memcpy(head->hash, hash, sizeof hash);
		sign_see(&head->count, p->text, p->len);
		code = run_add(s, p->seq, p->text, p->len);
	}
	return code;
}

/* A checkpoint of the head. */
static int insert_checkpoint(struct log_store *s, struct head *head, struct log_item *item,
                             int64_t t)
{
	char buffer[1024];
	struct text text;
	struct log_piece *p = &item->vouch;
	free(p->text);
	*p = (struct log_piece){ .t = t, .seq = head->seq + 1 };
	head->count.due = false;
	if (!s->reserve || (!s->signer && !s->keyless))
		return SQLITE_OK;
	text_begin(&text, buffer, sizeof buffer);
	if (!sign_text(s, head->seq, head->hash, p->t, &text) || !(p->text = strdup(text.bytes)))
		return SQLITE_OK; /* nothing that was measured is lost by that */
	p->len = text.len;
	int64_t of = head->seq;
	int code = insert(s, head, p);
	head->signed_seq = of;
	head->count = (struct sign_count){ 0 };
	return code;
}

/* All pieces are made before the first is inserted: an unfit one takes its
 * companions with it and nobody else.  Seqs are known before the texts, so that
 * records of one append may refer to each other in both directions. */
static int seal_item(struct log_store *s, struct head *head, struct log_item *item)
{
	int64_t first = head->seq + 1;
	int code = SQLITE_OK;
	ticket_put(s, item, first);
	for (size_t i = 0; i < item->n; i++)
		if (!piece_text(s, item, &item->piece[i], first + (int64_t)i, "")) {
			item->unfit = true;
			ticket_put(s, item, 0);
			return SQLITE_OK;
		}
	for (size_t i = 0; i < item->n && code == SQLITE_OK; i++)
		code = insert(s, head, &item->piece[i]);
	if (code == SQLITE_OK && item->run_of) {
		sqlite3_bind_text(s->run_clear, 1, item->run_of, -1, SQLITE_STATIC);
		code = store_step(s->run_clear);
	}
	/* At once, not at the end of the transaction: a replay has it in the same place. */
	if (code == SQLITE_OK && head->count.due)
		code = insert_checkpoint(s, head, item, item->piece[item->n - 1].t);
	return code;
}

static int save_runs(struct log_store *s, const struct log_item *item)
{
	int code = store_step(s->run_clear_all);
	for (size_t i = 0; i < item->n && code == SQLITE_OK; i++) {
		const struct log_piece *p = &item->piece[i];
		sqlite3_bind_text(s->run_save, 1, p->kind, -1, SQLITE_STATIC);
		sqlite3_bind_int64(s->run_save, 2, p->t);
		sqlite3_bind_text(s->run_save, 3, p->body, (int)p->body_len, SQLITE_STATIC);
		code = store_step(s->run_save);
	}
	if (code == SQLITE_OK && item->desk) {
		sqlite3_bind_text(s->desk_save, 1, item->desk, -1, SQLITE_STATIC);
		code = store_step(s->desk_save);
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
		if (piece_text(s, &item, &p, head->seq + 1, ",\"recovered\":true")) {
			code = insert(s, head, &p);
			++*sealed;
		}
		free(p.text);
	}
	sqlite3_finalize(st);
	if (code == SQLITE_DONE)
		code = *sealed ? store_step(s->run_clear_all) : SQLITE_OK;
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
		return trouble_kind(s->db, *code);
	if (version == s->data_version)
		return WRITTEN;
	*code = sqlite3_step(s->head);
	bool ours = *code == SQLITE_ROW && sqlite3_column_int64(s->head, 0) == s->seq &&
	            sqlite3_column_bytes(s->head, 1) == sizeof s->hash &&
	            memcmp(sqlite3_column_blob(s->head, 1), s->hash, sizeof s->hash) == 0;
	enum outcome o = *code == SQLITE_DONE ? FOREIGN : trouble_kind(s->db, *code);
	sqlite3_reset(s->head);
	if (o != WRITTEN)
		return o;
	if (!ours)
		return FOREIGN;
	s->data_version = version;
	return WRITTEN;
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
		else if (!i->checkpoint)
			code = seal_item(s, head, i);
		else if (head->seq > head->signed_seq + 1)
			code = insert_checkpoint(s, head, i, i->t);
	}
	if (code == SQLITE_OK && first == end && s->health == LOG_FULL)
		code = store_step(s->probe);
	return code;
}

static struct head head_now(const struct log_store *s)
{
	struct head head = { .seq = s->seq, .signed_seq = s->signed_seq,
		                 .count.entries = s->entries_after };
	memcpy(head.hash, s->hash, sizeof head.hash);
	return head;
}

/* It is durable. */
static void keep_head(struct log_store *s, const struct head *head)
{
	s->seq = head->seq;
	memcpy(s->hash, head->hash, sizeof s->hash);
	s->signed_seq = head->signed_seq;
	s->entries_after = head->count.entries;
	s->written_at = store_clock();
	wal_mark(s);
	last_note(s);
}

static enum outcome transact(struct log_store *s, struct log_item *first, struct log_item *end,
                             int *code)
{
	struct head head = head_now(s);
	int recovered = 0;
	for (struct log_item *i = first; i != end; i = i->next)
		i->unfit = false;
	*code = store_step(s->begin);
	enum outcome o = trouble_kind(s->db, *code);
	if (o == WRITTEN)
		o = head_is_ours(s, code);
	if (o == WRITTEN) {
		*code = fill_transaction(s, &head, first, end, &recovered);
		if (*code == SQLITE_OK)
			*code = store_step(s->commit);
		o = trouble_kind(s->db, *code);
	}
	if (o != WRITTEN) {
		trouble_say(s, o, *code);
		if (!sqlite3_get_autocommit(s->db))
			sqlite3_exec(s->db, "ROLLBACK", NULL, NULL, NULL);
		run_forget(s);
		if (o == BROKEN)
			wal_cut(s);
		for (struct log_item *i = first; i != end; i = i->next)
			ticket_put(s, i, 0);
		return o;
	}
	keep_head(s, &head);
	s->recovered += recovered;
	s->recover = false;
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
		ticket_put(s, i, 0);
	}
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
		trouble_suspect(s);
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

void store_probe(struct log_store *s)
{
	write_range(s, NULL, NULL);
}

bool store_append_text(struct log_store *s, const char *text, size_t len, struct fault *why)
{
	struct log_piece p = { .text = (char *)text, .len = len, .seq = s->seq + 1 };
	struct head head = head_now(s);
	bool done = record_valid(p.seq, text, len, why);
	if (done) {
		int code = store_step(s->begin);
		if (code == SQLITE_OK)
			code = insert(s, &head, &p);
		if (code == SQLITE_OK)
			code = store_step(s->commit);
		done = code == SQLITE_OK;
		if (!done)
			fault_at(why, s->path, 0, 0, "NOT LOGGED: %s", sqlite3_errmsg(s->db));
		if (!sqlite3_get_autocommit(s->db))
			sqlite3_exec(s->db, "ROLLBACK", NULL, NULL, NULL);
	}
	if (done)
		keep_head(s, &head);
	return done;
}
