/* SPDX-License-Identifier: MIT */
/*
 * What the tests of the log share: a fresh folder, drafts, what came back, and
 * the chain computed a second time with nothing of ours but the rule in
 * protocol/SEAL.md.  Static functions, because each test program is one file.
 */
#ifndef TALLY_TESTS_LOG_HELP_H
#define TALLY_TESTS_LOG_HELP_H

#include "daemon/log.h"
#include "tests/check.h"

#include <dirent.h>
#include <openssl/evp.h>
#include <sqlite3.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <unistd.h>

/* 2026-11-25T10:00:00.123456Z; checked with date -u -d @1795600800 */
#define NOW 1795600800123456

/* ---- a folder of its own for each test ---- */

static char folder[64];

static inline int folder_make(void **state)
{
	(void)state;
	strcpy(folder, "/tmp/tally-log-XXXXXX");
	return mkdtemp(folder) ? 0 : -1;
}

/* In memory where there is room: for tests that make logs by the hundred. */
static inline int folder_make_fast(void **state)
{
	struct statvfs fs;
	if (statvfs("/dev/shm", &fs) != 0 || (double)fs.f_bavail * (double)fs.f_frsize < 128e6)
		return folder_make(state);
	strcpy(folder, "/dev/shm/tally-log-XXXXXX");
	return mkdtemp(folder) ? 0 : -1;
}

static inline int folder_drop(void **state)
{
	(void)state;
	DIR *d = opendir(folder);
	struct dirent *e;
	char name[400];
	while (d && (e = readdir(d))) {
		snprintf(name, sizeof name, "%s/%s", folder, e->d_name);
		if (e->d_name[0] != '.' || strlen(e->d_name) > 2)
			unlink(name);
	}
	if (d)
		closedir(d);
	return rmdir(folder);
}

static const char *in_folder(const char *name)
{
	static char path[64][400]; /* the last 64 stay valid */
	static unsigned turn;
	char *out = path[turn++ % 64];
	snprintf(out, sizeof path[0], "%s/%s", folder, name);
	return out;
}

static inline bool is_there(const char *name)
{
	return access(in_folder(name), F_OK) == 0;
}

/* ---- what came back ---- */

struct got {
	int n, durable;
	int base;  /* added to each ticket in the bodies, to tell one life from another */
	int asked; /* tickets that were given out, where the test counts them */
	struct {
		uint64_t ticket;
		int64_t seq;
		enum log_status status;
		char text[1024];
		char why[200];
	} row[4096];
};

static inline void got_one(void *arg, const struct log_result *r)
{
	struct got *g = arg;
	if (g->n < 4096) {
		g->row[g->n].ticket = r->ticket;
		g->row[g->n].seq = r->seq;
		g->row[g->n].status = r->status;
		snprintf(g->row[g->n].text, sizeof g->row[0].text, "%s", r->text ? r->text : "");
		snprintf(g->row[g->n].why, sizeof g->row[0].why, "%s", r->why ? r->why : "");
	}
	g->n++;
	g->durable += r->status == LOG_DURABLE && r->ticket; /* checkpoints are not counted */
}

/* ---- drafts and logs ---- */

static inline struct log *open_log(const char *path, bool inline_mode, const char *vfs,
                                   struct fault *why)
{
	struct log_options o = { .path = path, .bench = "north", .version = "0.1", .now = NOW,
		                     .inline_mode = inline_mode, .vfs = vfs };
	*why = (struct fault){ .text = "" };
	return log_open(&o, why);
}

static inline struct log *open_sure(const char *path, bool inline_mode)
{
	struct fault why;
	struct log *log = open_log(path, inline_mode, NULL, &why);
	if (!log) {
		print_error("log_open %s: %s\n", path, why.text);
		fail();
	}
	return log;
}

static inline struct log_draft draft(const char *kind, const char *body)
{
	return (struct log_draft){ .t = NOW, .kind = kind, .body = body, .body_len = strlen(body) };
}

static inline uint64_t append_one(struct log *log, const char *kind, const char *body)
{
	struct fault why = { .text = "" };
	struct log_draft d = draft(kind, body);
	return log_append(log, &d, 1, NULL, &why);
}

/* A log at rest with records 2 to n (at most 1000), written in one transaction. */
static inline void make_log(const char *path, int n)
{
	static char body[1000][64];
	static struct log_draft d[1000];
	struct fault why;
	struct log *log = open_sure(path, true);
	for (int i = 2; i <= n; i++) {
		snprintf(body[i - 2], sizeof body[0], ",\"position\":\"R%d\",\"n\":%d", i % 7, i);
		d[i - 2] = draft(i % 3 ? "note" : "strike", body[i - 2]);
	}
	assert_true(n < 2 || log_append(log, d, (size_t)n - 1, NULL, &why) > 0);
	log_close(log);
}

/* The same, of 20 records, as fast as a file can be copied. */
static inline void make_log_again(const char *path)
{
	static char bytes[1 << 17];
	static size_t n;
	if (!n) {
		make_log(path, 20);
		FILE *made = fopen(path, "r");
		n = fread(bytes, 1, sizeof bytes, made);
		fclose(made);
		return;
	}
	FILE *f = fopen(path, "w");
	assert_int_equal(fwrite(bytes, 1, n, f), n);
	fclose(f);
}

/* ---- around the log ---- */

/* SQL on a connection of our own, as a person with a shell would. */
static inline int sql(const char *path, const char *statements)
{
	sqlite3 *db = NULL;
	int code = sqlite3_open(path, &db);
	sqlite3_busy_timeout(db, 2000);
	if (code == SQLITE_OK)
		code = sqlite3_exec(db, statements, NULL, NULL, NULL);
	if (getenv("SHOW_SQL") && code != SQLITE_OK)
		print_message("  %s: %s\n", statements, sqlite3_errmsg(db));
	sqlite3_close(db);
	return code;
}

static inline bool sql_value(const char *path, const char *query, char *out, size_t size)
{
	sqlite3 *db = NULL;
	sqlite3_stmt *st = NULL;
	out[0] = '\0';
	bool got = sqlite3_open(path, &db) == SQLITE_OK &&
	           sqlite3_prepare_v2(db, query, -1, &st, NULL) == SQLITE_OK &&
	           sqlite3_step(st) == SQLITE_ROW;
	if (got && sqlite3_column_text(st, 0))
		snprintf(out, size, "%s", (const char *)sqlite3_column_text(st, 0));
	sqlite3_finalize(st);
	sqlite3_close(db);
	return got;
}

/* SHA-256 over prefix, hash before and text, straight from libcrypto. */
static inline void chain_rule(const uint8_t before[32], const char *text, size_t len,
                              uint8_t out[32])
{
	EVP_MD_CTX *c = EVP_MD_CTX_new();
	EVP_DigestInit_ex(c, EVP_sha256(), NULL);
	EVP_DigestUpdate(c, "tally-record-1\n", 15);
	EVP_DigestUpdate(c, before, 32);
	EVP_DigestUpdate(c, text, len);
	EVP_DigestFinal_ex(c, out, NULL);
	EVP_MD_CTX_free(c);
}

/* Does the chain hold by chain_rule?  The number of records, -1 where it breaks. */
static inline int64_t chain_by_rule(const char *path, uint8_t head[32])
{
	sqlite3 *db = NULL;
	sqlite3_stmt *st = NULL;
	int64_t n = 0;
	uint8_t out[32];
	int code;
	memset(head, 0, 32);
	sqlite3_open_v2(path, &db, SQLITE_OPEN_READONLY, NULL);
	sqlite3_busy_timeout(db, 5000);
	code = sqlite3_prepare_v2(db, "SELECT text, hash FROM record ORDER BY seq", -1, &st, NULL);
	while (n >= 0 && code == SQLITE_OK && (code = sqlite3_step(st)) == SQLITE_ROW) {
		code = SQLITE_OK;
		chain_rule(head, (const char *)sqlite3_column_text(st, 0),
		           (size_t)sqlite3_column_bytes(st, 0), out);
		n = memcmp(out, sqlite3_column_blob(st, 1), 32) == 0 ? n + 1 : -1;
		memcpy(head, out, 32);
	}
	/* What could not be read is not what is not there. */
	if (n >= 0 && code != SQLITE_DONE)
		print_error("%s after %d records: %s (%d)\n", path, (int)n, sqlite3_errmsg(db),
		            sqlite3_extended_errcode(db));
	sqlite3_finalize(st);
	sqlite3_close(db);
	return n;
}

static inline enum log_verdict verdict_of(const char *path, int64_t anchor, const uint8_t *hash,
                                          struct log_check *check)
{
	struct fault why = { .text = "" };
	struct log_pin pin = { .seq = anchor };
	if (hash)
		memcpy(pin.hash, hash, sizeof pin.hash);
	struct log_reader *r = log_reader_open(path, &why);
	if (!r) {
		print_error("log_reader_open %s: %s\n", path, why.text);
		fail();
	}
	if (!log_reader_verify(r, &pin, check, &why)) {
		print_error("log_reader_verify: %s\n", why.text);
		fail();
	}
	log_reader_close(r);
	return check->verdict;
}

#endif
