/* SPDX-License-Identifier: MIT */
/*
 * Records by number, kind, position and meter, without a long read transaction:
 * a reader that holds one keeps the write-ahead log from being emptied.
 *
 * A short stretch of the log is read through and sifted.  For a long one the index
 * gives the numbers first, sorted and in batches, and the texts are fetched page
 * by page; the records between two matches are never read.
 */
#include "daemon/log_inside.h"

#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define PAGE_ROWS 1000
#define PAGE_BYTES (1u << 20)
#define WINDOW 20000 /* numbers looked through in one transaction */
#define SHORT 4096   /* a stretch not worth an index */
#define BATCH 65536  /* numbers from the index at once: 512 KiB */
#define KINDS_MAX 16

struct page {
	char *bytes;
	size_t used, size;
	int n;
	struct {
		int64_t seq;
		size_t at, len;
	} row[PAGE_ROWS];
};

/* One question on its way. */
struct search {
	struct log_reader *reader;
	const struct log_query *q;
	bool (*each)(void *arg, int64_t seq, const char *text, size_t len);
	void *arg;
	struct fault *why;
	struct page *page;
	char kinds[KINDS_MAX][33];
	int kind_count;
	int64_t low, high; /* still to be looked at, inclusive */
	int64_t given;
	bool stopped;
};

static bool split_kinds(struct search *s)
{
	const char *p = s->q->kind;
	while (p && *p) {
		size_t len = strcspn(p, ",");
		if (len > 32 || s->kind_count == KINDS_MAX) {
			fault_set(s->why, "at most %d kinds of up to 32 letters can be asked for", KINDS_MAX);
			return false;
		}
		memcpy(s->kinds[s->kind_count], p, len);
		s->kinds[s->kind_count++][len] = '\0';
		p += len + (p[len] == ',');
	}
	return true;
}

static int64_t left(const struct search *s)
{
	return s->q->limit > 0 ? s->q->limit - s->given : INT64_MAX;
}

static bool finished(const struct search *s)
{
	return s->stopped || left(s) <= 0 || s->low > s->high;
}

static void fail(struct search *s, int code)
{
	fault_at(s->why, s->reader->path, 0, 0, "the log cannot be read: %s",
	         s->reader->db ? sqlite3_errmsg(s->reader->db) : sqlite3_errstr(code));
}

/* ---- pages ---- */

static bool page_add(struct page *p, int64_t seq, const void *text, size_t len)
{
	if (p->used + len + 1 > p->size) {
		size_t size = p->size ? p->size : 65536;
		while (size < p->used + len + 1)
			size *= 2;
		char *bytes = realloc(p->bytes, size);
		if (!bytes)
			return false;
		p->bytes = bytes;
		p->size = size;
	}
	if (len)
		memcpy(p->bytes + p->used, text, len);
	p->bytes[p->used + len] = '\0';
	p->row[p->n].seq = seq;
	p->row[p->n].at = p->used;
	p->row[p->n++].len = len;
	p->used += len + 1;
	return true;
}

static bool page_full(const struct page *p)
{
	return p->n == PAGE_ROWS || p->used >= PAGE_BYTES;
}

/* No statement is open here: what is called may write, or take its time. */
static void page_give(struct search *s)
{
	struct page *p = s->page;
	for (int i = 0; i < p->n && !s->stopped && left(s) > 0; i++) {
		s->given++;
		s->stopped = !s->each(s->arg, p->row[i].seq, p->bytes + p->row[i].at, p->row[i].len);
	}
	p->n = 0;
	p->used = 0;
}

/* ---- statements ---- */

/* SELECT `what` of the numbers ?1 to ?2 with the filters of the query; a plus
 * before a column keeps SQLite from using an index on it. */
static sqlite3_stmt *prepare(struct search *s, const char *what, bool by_index, int64_t low,
                             int64_t high, int64_t limit)
{
	sqlite3_str *sql = sqlite3_str_new(NULL);
	sqlite3_stmt *st = NULL;
	const char *no_index = by_index ? "" : "+", *no_scan = by_index ? "+" : "";
	sqlite3_str_appendf(sql, "SELECT %s FROM record WHERE %sseq >= ?1 AND %sseq <= ?2", what,
	                    no_scan, no_scan);
	for (int i = 0; i < s->kind_count; i++)
		sqlite3_str_appendf(sql, "%s?%d", i ? "," : by_index ? " AND kind IN (" : " AND +kind IN (",
		                    i + 6);
	if (s->kind_count)
		sqlite3_str_appendall(sql, ")");
	if (s->q->position)
		sqlite3_str_appendf(sql, " AND %sposition = ?3", no_index);
	if (s->q->meter)
		sqlite3_str_appendf(sql, " AND %smeter = ?4", no_index);
	sqlite3_str_appendf(sql, " ORDER BY seq%s LIMIT ?5", s->q->newest_first ? " DESC" : "");
	char *text = sqlite3_str_finish(sql);
	int code = text ? sqlite3_prepare_v2(s->reader->db, text, -1, &st, NULL) : SQLITE_NOMEM;
	sqlite3_free(text);
	if (code != SQLITE_OK) {
		fail(s, code);
		return NULL;
	}
	sqlite3_bind_int64(st, 1, low);
	sqlite3_bind_int64(st, 2, high);
	if (s->q->position)
		sqlite3_bind_text(st, 3, s->q->position, -1, SQLITE_STATIC);
	if (s->q->meter)
		sqlite3_bind_text(st, 4, s->q->meter, -1, SQLITE_STATIC);
	sqlite3_bind_int64(st, 5, limit);
	for (int i = 0; i < s->kind_count; i++)
		sqlite3_bind_text(st, i + 6, s->kinds[i], -1, SQLITE_STATIC);
	return st;
}

/* What is behind us. */
static void advance(struct search *s, int64_t low_end, int64_t high_end)
{
	if (s->q->newest_first)
		s->high = low_end - 1;
	else
		s->low = high_end + 1;
}

/* ---- sifting ---- */

static bool sift_window(struct search *s)
{
	struct page *p = s->page;
	int64_t low = s->low, high = s->high;
	if (high - low >= WINDOW && s->q->newest_first)
		low = high - WINDOW + 1;
	else if (high - low >= WINDOW)
		high = low + WINDOW - 1;
	sqlite3_stmt *st = prepare(s, "seq, text", false, low, high, left(s));
	if (!st)
		return false;
	int code = SQLITE_DONE;
	bool stored = true;
	while (stored && !page_full(p) && (code = sqlite3_step(st)) == SQLITE_ROW)
		stored = page_add(p, sqlite3_column_int64(st, 0), sqlite3_column_text(st, 1),
		                  (size_t)sqlite3_column_bytes(st, 1));
	sqlite3_finalize(st);
	if (!stored || (code != SQLITE_DONE && code != SQLITE_ROW)) {
		fail(s, stored ? code : SQLITE_NOMEM);
		return false;
	}
	if (page_full(p))
		advance(s, p->row[p->n - 1].seq, p->row[p->n - 1].seq);
	else
		advance(s, low, high);
	page_give(s);
	return true;
}

/* ---- by index ---- */

static int64_t collect(struct search *s, int64_t *seqs)
{
	int64_t want = left(s) < BATCH ? left(s) : BATCH, n = 0;
	sqlite3_stmt *st = prepare(s, "seq", true, s->low, s->high, want);
	if (!st)
		return -1;
	int code;
	while ((code = sqlite3_step(st)) == SQLITE_ROW && n < want)
		seqs[n++] = sqlite3_column_int64(st, 0);
	sqlite3_finalize(st);
	if (code == SQLITE_DONE)
		return n;
	fail(s, code);
	return -1;
}

/* Texts of seqs from *i on, until a page is full. */
static bool fetch_page(struct search *s, const int64_t *seqs, int64_t n, int64_t *i)
{
	sqlite3_stmt *st = NULL;
	if (!reader_refresh(s->reader, s->why))
		return false;
	int code = sqlite3_prepare_v2(s->reader->db, "SELECT text FROM record WHERE seq = ?", -1, &st,
	                              NULL);
	bool stored = true;
	for (; code == SQLITE_OK && stored && *i < n && !page_full(s->page); ++*i) {
		sqlite3_bind_int64(st, 1, seqs[*i]);
		code = sqlite3_step(st);
		if (code == SQLITE_ROW)
			stored = page_add(s->page, seqs[*i], sqlite3_column_text(st, 0),
			                  (size_t)sqlite3_column_bytes(st, 0));
		sqlite3_reset(st);
		code = code == SQLITE_ROW || code == SQLITE_DONE ? SQLITE_OK : code;
	}
	sqlite3_finalize(st);
	if (code == SQLITE_OK && stored)
		return true;
	fail(s, stored ? code : SQLITE_NOMEM);
	return false;
}

static bool by_index(struct search *s)
{
	int64_t *seqs = malloc(BATCH * sizeof *seqs);
	bool good = seqs != NULL;
	if (!good)
		fault_set(s->why, "no memory for the answer");
	while (good && !finished(s) && (good = reader_refresh(s->reader, s->why))) {
		int64_t n = collect(s, seqs);
		good = n >= 0;
		for (int64_t i = 0; good && i < n && !finished(s);) {
			good = fetch_page(s, seqs, n, &i);
			if (good)
				page_give(s);
		}
		if (n > 0)
			advance(s, seqs[n - 1], seqs[n - 1]);
		if (n < BATCH)
			break;
	}
	free(seqs);
	return good;
}

/* ---- the question ---- */

static bool bounds(struct search *s)
{
	sqlite3_stmt *st = NULL;
	int code = sqlite3_prepare_v2(s->reader->db, "SELECT max(seq) FROM record", -1, &st, NULL);
	if (code == SQLITE_OK)
		code = sqlite3_step(st);
	int64_t last = code == SQLITE_ROW ? sqlite3_column_int64(st, 0) : 0;
	sqlite3_finalize(st);
	if (code != SQLITE_ROW) {
		fail(s, code);
		return false;
	}
	s->low = s->q->after > 0 ? s->q->after + (s->q->after < INT64_MAX) : 1;
	s->high = s->q->until > 0 && s->q->until < last ? s->q->until : last;
	return true;
}

int64_t log_reader_records(struct log_reader *r, const struct log_query *q,
                           bool (*each)(void *arg, int64_t seq, const char *text, size_t len),
                           void *arg, struct fault *why)
{
	struct search s = { .reader = r, .q = q, .each = each, .arg = arg, .why = why };
	if (!split_kinds(&s) || !reader_refresh(r, why) || !bounds(&s))
		return -1;
	s.page = calloc(1, sizeof *s.page);
	if (!s.page) {
		fault_set(why, "no memory for the answer");
		return -1;
	}
	bool good = true;
	if (s.kind_count && s.high - s.low >= SHORT)
		good = by_index(&s);
	else
		while (good && !finished(&s))
			good = reader_refresh(r, why) && sift_window(&s);
	free(s.page->bytes);
	free(s.page);
	return good ? s.given : -1;
}
