/* SPDX-License-Identifier: MIT */
/*
 * The chain of hashes, read from the first record to the last.  Only seq, text
 * and hash are looked at; kinds, indices and views are derived and prove nothing.
 * The rules, numbered, are those of protocol/SEAL.md section 2.
 *
 * What each verdict stops: LOG_ALTERED, a change by anybody who does not rehash
 * all that follows.  Whoever does and has no key is found out by the checkpoints
 * (log_vouch.c): LOG_WRONG_KEY, LOG_REWRITTEN.  Whoever has the key, by an anchor alone,
 * a SEQ:HASH that was kept where he cannot write: LOG_REWRITTEN, LOG_TRUNCATED.
 */
#include "daemon/log_inside.h"

#include "protocol/record/checkpoint.h"
#include "protocol/record/record.h"

#include <sqlite3.h>
#include <stdio.h>
#include <string.h>

#define PAGE_ROWS 1000 /* in one read transaction */

const char *log_verdict_name(enum log_verdict v)
{
	switch (v) {
	case LOG_INTACT_NO_ANCHOR:
		return "intact, no anchor";
	case LOG_INTACT_TO_ANCHOR:
		return "intact to the anchor";
	case LOG_NEWER_THAN_ANCHOR:
		return "newer than the anchor";
	case LOG_TRUNCATED:
		return "truncated";
	case LOG_REWRITTEN:
		return "rewritten";
	case LOG_WRONG_KEY:
		return "wrong key";
	case LOG_ALTERED:
		return "altered";
	case LOG_EMPTY:
		return "empty";
	}
	return "unknown";
}

bool sqlite_says_damaged(int code)
{
	return (code & 0xff) == SQLITE_CORRUPT || (code & 0xff) == SQLITE_NOTADB ||
	       code == SQLITE_IOERR_SHORT_READ;
}

void verify_altered(struct log_check *c, const char *what)
{
	c->verdict = LOG_ALTERED;
	c->bad_seq = c->records + 1;
	c->bad_column = 0;
	snprintf(c->what, sizeof c->what, "record %lld %s", (long long)c->bad_seq, what);
}

/* *column: of what does not fit, 0 where that cannot be told. */
static bool first_fits(const char *text, size_t len, char identity[33], int *column)
{
	uint8_t bytes[16];
	struct fault why;
	*column = 0;
	if (!record_valid(1, text, len, &why)) {
		*column = why.column;
		return false;
	}
	json_text(json_member(text, len, "identity"), identity, 33);
	if (strlen(identity) == 32 && seal_unhex(identity, 32, bytes, sizeof bytes)) {
		seal_hex(bytes, sizeof bytes, identity); /* lower case, as it is signed */
		return true;
	}
	identity[0] = '\0';
	struct slice value = json_member(text, len, "identity");
	if (value.at)
		*column = (int)(value.at - text) + 1;
	return false;
}

int verify_text(struct sealer *sealer, int64_t seq, const char *text, size_t len,
                struct log_check *c, uint8_t hash[SEAL_SIZE])
{
	char what[120];
	if (seq != c->records + 1) {
		if (seq > c->records + 1)
			snprintf(what, sizeof what, "is missing (record %lld comes next)", (long long)seq);
		else
			snprintf(what, sizeof what, "cannot be: a record has the number %lld", (long long)seq);
		verify_altered(c, what);
		if (text)
			c->bad_column = (int)seal_place_misfit(c->records + 1, text, len) + 1;
		return SQLITE_DONE;
	}
	if (!text || !seal_place_fits(seq, text, len)) {
		verify_altered(c, "does not begin with its own number");
		if (text)
			c->bad_column = (int)seal_place_misfit(seq, text, len) + 1;
		return SQLITE_DONE;
	}
	int column;
	if (seq == 1 && !first_fits(text, len, c->identity, &column)) {
		verify_altered(c, "is not the beginning of a log");
		c->bad_column = column;
		return SQLITE_DONE;
	}
	if (!sealer_next(sealer, c->head, text, len, hash))
		return SQLITE_NOMEM;
	return SQLITE_OK;
}

int verify_form(int64_t seq, const char *text, size_t len, const char *but, struct log_check *c)
{
	char what[120];
	struct fault why;
	if (record_valid(seq, text, len, &why))
		return SQLITE_OK;
	snprintf(what, sizeof what, "%sis no record (byte %d: %.70s)", but, why.column, why.text);
	verify_altered(c, what);
	c->bad_column = why.column;
	return SQLITE_DONE;
}

/* One row: SQLITE_OK where it fits, SQLITE_DONE where it ends the chain, or an error. */
static int check_row(sqlite3_stmt *st, struct sealer *sealer, struct log_check *c)
{
	int64_t seq = sqlite3_column_int64(st, 0);
	uint8_t hash[SEAL_SIZE];
	/* A number out of place says more than what stands there. */
	if (seq == c->records + 1 && sqlite3_column_type(st, 1) != SQLITE_TEXT) {
		verify_altered(c, "has no text");
		return SQLITE_DONE;
	}
	if (seq == c->records + 1 && (sqlite3_column_type(st, 2) != SQLITE_BLOB ||
	                              sqlite3_column_bytes(st, 2) != SEAL_SIZE)) {
		verify_altered(c, "has a hash that is not of 32 bytes");
		return SQLITE_DONE;
	}
	const char *text = (const char *)sqlite3_column_text(st, 1);
	size_t len = (size_t)sqlite3_column_bytes(st, 1);
	int code = verify_text(sealer, seq, text, len, c, hash);
	if (code != SQLITE_OK)
		return code;
	if (memcmp(hash, sqlite3_column_blob(st, 2), sizeof hash) != 0) {
		verify_altered(c, "does not fit its hash: it, or the order of records, was changed");
		return SQLITE_DONE;
	}
	/* Its hash was made anew, but no writer of ours seals such a text. */
	code = verify_form(seq, text, len, "fits its hash, but ", c);
	if (code != SQLITE_OK)
		return code;
	memcpy(c->head, hash, sizeof hash);
	c->records = seq;
	return SQLITE_OK;
}

/* SQLITE_DONE at the end of the chain, SQLITE_OK to go on, or an error. */
static int verify_page(sqlite3_stmt *st, struct sealer *sealer, struct log_check *c,
                       struct vouch *v, uint8_t at_anchor[SEAL_SIZE])
{
	int rows = 0, code;
	/* The first page begins at the lowest number there is, be it below 1. */
	sqlite3_bind_int64(st, 1, c->records ? c->records + 1 : INT64_MIN);
	while ((code = sqlite3_step(st)) == SQLITE_ROW) {
		rows++;
		code = check_row(st, sealer, c);
		if (code == SQLITE_OK)
			code = vouch_record(v, c, (const char *)sqlite3_column_text(st, 1),
			                    (size_t)sqlite3_column_bytes(st, 1));
		if (code != SQLITE_OK) {
			sqlite3_reset(st);
			return code;
		}
		if (v->pin && c->records == v->pin->seq)
			memcpy(at_anchor, c->head, SEAL_SIZE);
	}
	sqlite3_reset(st);
	if (code != SQLITE_DONE)
		return code;
	return rows == PAGE_ROWS ? SQLITE_OK : SQLITE_DONE;
}

bool verdict_holds(enum log_verdict v)
{
	return v == LOG_INTACT_NO_ANCHOR || v == LOG_INTACT_TO_ANCHOR || v == LOG_NEWER_THAN_ANCHOR;
}

void verify_conclude(struct log_check *c, const struct log_pin *pin, const uint8_t *at_anchor)
{
	int64_t seq = pin ? pin->seq : 0;
	if (c->verdict == LOG_ALTERED)
		return;
	if (seq == 0) {
		c->verdict = c->records > c->after ? LOG_INTACT_NO_ANCHOR : LOG_EMPTY;
		if (c->verdict == LOG_EMPTY)
			snprintf(c->what, sizeof c->what, "there is no record in it");
	} else if (c->records < seq) {
		c->verdict = LOG_TRUNCATED;
		snprintf(c->what, sizeof c->what, "the log ends at record %lld, the anchor is record %lld",
		         (long long)c->records, (long long)seq);
	} else if (memcmp(pin->hash, at_anchor, SEAL_SIZE) != 0) {
		c->verdict = LOG_REWRITTEN;
		snprintf(c->what, sizeof c->what, "record %lld is not the one that the anchor names",
		         (long long)seq);
	} else {
		c->verdict = c->records == seq ? LOG_INTACT_TO_ANCHOR : LOG_NEWER_THAN_ANCHOR;
	}
}

/* A view of that name would be somebody's invention. */
static int record_is_table(struct sqlite3 *db, bool *table)
{
	sqlite3_stmt *st = NULL;
	int code = sqlite3_prepare_v2(db, "SELECT 1 FROM sqlite_schema WHERE name = 'record' AND "
	                              "type = 'table' AND sql LIKE 'CREATE TABLE %'", -1, &st, NULL);
	if (code == SQLITE_OK)
		code = sqlite3_step(st);
	*table = code == SQLITE_ROW;
	sqlite3_finalize(st);
	return code == SQLITE_ROW || code == SQLITE_DONE ? SQLITE_OK : code;
}

/* For a checkpoint of an earlier record than the one before it. */
struct hashes {
	struct sqlite3 *db;
	sqlite3_stmt *st;
};

static int hash_above(void *arg, int64_t seq, uint8_t hash[SEAL_SIZE])
{
	struct hashes *h = arg;
	int code = SQLITE_OK;
	if (!h->st)
		code = sqlite3_prepare_v2(h->db, "SELECT hash FROM record WHERE seq = ?", -1, &h->st, NULL);
	if (code != SQLITE_OK)
		return code;
	sqlite3_bind_int64(h->st, 1, seq);
	code = sqlite3_step(h->st);
	if (code == SQLITE_ROW && sqlite3_column_bytes(h->st, 0) == SEAL_SIZE)
		memcpy(hash, sqlite3_column_blob(h->st, 0), SEAL_SIZE);
	else if (code == SQLITE_ROW || code == SQLITE_DONE)
		code = SQLITE_CORRUPT; /* it was there a moment ago */
	sqlite3_reset(h->st);
	return code == SQLITE_ROW ? SQLITE_OK : code;
}

bool verify_goes_on(const struct log_going *going, int64_t done, int64_t all, struct fault *why)
{
	if (!going || !going->on || going->on(going->arg, done, all))
		return true;
	fault_set(why, "it was stopped after record %lld, before all was read: no answer", (long long)done);
	return false;
}

static int64_t last_of(struct sqlite3 *db)
{
	sqlite3_stmt *st = NULL;
	int64_t last = 0;
	if (sqlite3_prepare_v2(db, "SELECT max(seq) FROM record", -1, &st, NULL) == SQLITE_OK &&
	    sqlite3_step(st) == SQLITE_ROW)
		last = sqlite3_column_int64(st, 0);
	sqlite3_finalize(st);
	return last;
}

bool verify_chain(struct sqlite3 *db, const struct log_pin *pin, const struct log_going *going,
                  struct log_check *out, struct fault *why)
{
	struct hashes hashes = { .db = db };
	struct vouch vouch = { .above = hash_above, .arg = &hashes, .pin = pin };
	sqlite3_stmt *st = NULL;
	uint8_t at_anchor[SEAL_SIZE] = { 0 };
	bool table = false;
	struct sealer *sealer = sealer_open();
	memset(out, 0, sizeof *out);
	if (!sealer) {
		fault_set(why, "no memory, or no SHA-256 in libcrypto");
		return false;
	}
	int code = record_is_table(db, &table);
	if (code == SQLITE_OK && table)
		code = sqlite3_prepare_v2(db, "SELECT seq, text, hash FROM record WHERE seq >= ? "
		                          "ORDER BY seq LIMIT 1000", -1, &st, NULL);
	int64_t all = going && going->on && code == SQLITE_OK && table ? last_of(db) : 0;
	while (code == SQLITE_OK && table && !out->stopped) {
		code = verify_page(st, sealer, out, &vouch, at_anchor);
		out->stopped = code == SQLITE_OK && !verify_goes_on(going, out->records, all, why);
	}
	sqlite3_finalize(st);
	sqlite3_finalize(hashes.st);
	sealer_close(sealer);
	if (out->stopped)
		return false;
	if ((code & 0xff) == SQLITE_ERROR || (code == SQLITE_OK && !table)) {
		verify_altered(out, "cannot be read: the table of records is not as the log made it");
	} else if (sqlite_says_damaged(code)) {
		char what[100];
		snprintf(what, sizeof what, "cannot be read: the file is damaged there (%s)",
		         sqlite3_errstr(code));
		verify_altered(out, what);
	} else if (code != SQLITE_DONE && code != SQLITE_OK) {
		fault_set(why, "the log cannot be read after record %lld: %s", (long long)out->records,
		          sqlite3_errstr(code));
		return false;
	}
	verify_conclude(out, pin, at_anchor);
	vouch_conclude(&vouch, out);
	return true;
}
