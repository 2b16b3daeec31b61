/* SPDX-License-Identifier: MIT */
/*
 * Exports: records with the hashes that seal them, out of a log; and the answer about
 * the lines of one.  The rules are those of protocol/SEAL.md sections 2, 8 and 9.
 *
 * What is exported is what stands in the log, its hashes too: whoever reads the export
 * finds what was altered in the log as well as on the way.
 */
#include "daemon/log_inside.h"

#include "protocol/record/export.h"
#include "protocol/record/record.h"

#include <errno.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- out of a log ---- */

int64_t log_reader_sealed(struct log_reader *r, int64_t after, int64_t until,
                          bool (*each)(void *arg, const struct log_sealed *record), void *arg,
                          struct fault *why)
{
	sqlite3_stmt *st = NULL;
	int64_t n = 0;
	if (!reader_refresh(r, why))
		return -1;
	int code = sqlite3_prepare_v2(r->db, "SELECT seq, text, hash FROM record WHERE seq > ?1 AND "
	                              "seq <= ?2 ORDER BY seq", -1, &st, NULL);
	sqlite3_bind_int64(st, 1, after);
	sqlite3_bind_int64(st, 2, until);
	bool on = true;
	while (code == SQLITE_OK && on && (code = sqlite3_step(st)) == SQLITE_ROW) {
		struct log_sealed s = { .seq = sqlite3_column_int64(st, 0),
			.text = (const char *)sqlite3_column_text(st, 1),
			.len = (size_t)sqlite3_column_bytes(st, 1), .hash = sqlite3_column_blob(st, 2) };
		code = SQLITE_OK;
		if (!s.text || sqlite3_column_bytes(st, 2) != SEAL_SIZE) {
			fault_at(why, r->path, 0, 0, "record %lld has no text or no hash: verify the log",
			         (long long)s.seq);
			sqlite3_finalize(st);
			return -1;
		}
		on = each(arg, &s);
		n += on;
	}
	sqlite3_finalize(st);
	if (code == SQLITE_OK || code == SQLITE_DONE)
		return n;
	fault_at(why, r->path, 0, 0, "the log cannot be read: %s", sqlite3_errstr(code));
	return -1;
}

/* The first row of a question about a number: its text and hash. */
static bool one_row(struct log_reader *r, const char *sql, int64_t seq, char **text,
                    uint8_t hash[SEAL_SIZE])
{
	sqlite3_stmt *st = NULL;
	bool got = sqlite3_prepare_v2(r->db, sql, -1, &st, NULL) == SQLITE_OK &&
	           sqlite3_bind_int64(st, 1, seq) == SQLITE_OK && sqlite3_step(st) == SQLITE_ROW &&
	           sqlite3_column_text(st, 0) && sqlite3_column_bytes(st, 1) == SEAL_SIZE;
	*text = got ? strdup((const char *)sqlite3_column_text(st, 0)) : NULL;
	if (got)
		memcpy(hash, sqlite3_column_blob(st, 1), SEAL_SIZE);
	sqlite3_finalize(st);
	return *text != NULL;
}

bool log_reader_begin(struct log_reader *r, int64_t seq, struct export_begin *out,
                      struct fault *why)
{
	static const char by_seq[] = "SELECT text, hash FROM record WHERE seq = ?1";
	uint8_t hash[SEAL_SIZE];
	char *first = NULL, *at = NULL, *key = NULL;
	memset(out, 0, sizeof *out);
	out->after = seq;
	if (!reader_refresh(r, why))
		return false;
	bool good = one_row(r, by_seq, 1, &first, hash) &&
	            (seq == 0 || one_row(r, by_seq, seq, &at, out->hash));
	if (!good)
		fault_at(why, r->path, 0, 0, "there is no record %lld in the log", (long long)seq);
	if (good) {
		size_t len = strlen(first);
		json_text(json_member(first, len, "identity"), out->identity, sizeof out->identity);
		one_row(r, "SELECT text, hash FROM record WHERE kind = 'key' AND seq <= ?1 "
		        "ORDER BY seq DESC LIMIT 1", seq, &key, hash);
		const char *holds = key ? key : first;
		struct slice hex = json_member(holds, strlen(holds), "key");
		out->has_key = hex.at && hex.len == 2 * KEY_SIZE + 2 &&
		               seal_unhex(hex.at + 1, 2 * KEY_SIZE, out->key, KEY_SIZE);
	}
	free(first);
	free(at);
	free(key);
	return good;
}

/* ---- the lines of one ---- */

bool log_is_export(const char *path)
{
	char start[8];
	struct fault why;
	if (!beside_is_file(path, &why)) /* a pipe would be waited for */
		return false;
	/* No log is ever opened so: this is before SQLite sees the file, or it is none. */
	FILE *f = fopen(path, "re");
	bool is = f && fread(start, 1, sizeof start, f) == sizeof start &&
	          (export_is_seal(start, sizeof start) || export_is_record(start, sizeof start));
	if (f)
		fclose(f);
	return is;
}

/* The next line without its LF (*broken_off: it had none); -1 at the end, -2 where it is too long
 * or cannot be read. */
static int64_t next_line(FILE *f, char *line, bool *broken_off)
{
	size_t len = 0;
	int c;
	while ((c = getc_unlocked(f)) != EOF && c != '\n') {
		if (len == EXPORT_LINE_MAX)
			return -2;
		line[len++] = (char)c;
	}
	line[len] = '\0';
	*broken_off = c == EOF;
	if (ferror(f))
		return -2;
	return c == EOF && len == 0 ? -1 : (int64_t)len;
}

struct export_walk {
	struct log_check *c;
	const struct log_pin *pin;
	const struct log_going *going;
	struct vouch vouch;
	struct sealer *sealer;
	export_record *each;
	void *arg;
	bool any, bare, ended;        /* a line was seen; without seal lines; the last line was an end */
	uint8_t pending[EXPORT_HASHES_MAX][SEAL_SIZE];
	int line_of[EXPORT_HASHES_MAX]; /* their lines */
	int number;                   /* of the line that is looked at */
	int n;                        /* records since the last seal line */
	bool broken_off;              /* the line that is looked at has no LF */
	uint8_t (*all)[SEAL_SIZE];    /* the hash of every record, for checkpoints of earlier ones */
	size_t size;
	uint8_t at_anchor[SEAL_SIZE];
	struct export_begin begin;
	bool unfit;                   /* a hash did not fit: no half line is to blame */
	bool wrong;                   /* it is no export: why says so */
	struct fault *why;
};

static int hash_above(void *arg, int64_t seq, uint8_t hash[SEAL_SIZE])
{
	struct export_walk *w = arg;
	memcpy(hash, w->all[seq - w->c->after], SEAL_SIZE);
	return SQLITE_OK;
}

static bool keep_hash(struct export_walk *w)
{
	size_t at = (size_t)(w->c->records - w->c->after);
	if (at >= w->size) {
		size_t size = w->size ? 2 * w->size : 1024;
		void *all = realloc(w->all, size * SEAL_SIZE);
		if (!all)
			return false;
		w->all = all;
		w->size = size;
	}
	memcpy(w->all[at], w->c->head, SEAL_SIZE);
	return true;
}

/* Back to the last record that is known to fit. */
static void misfit(struct export_walk *w, int fit, const char *what)
{
	struct log_check *c = w->c;
	c->bad_line = fit < w->n ? w->line_of[fit] : w->number;
	c->records -= w->n - fit;
	memcpy(c->head, w->all[c->records - c->after], SEAL_SIZE);
	w->n = 0;
	w->unfit = true;
	verify_altered(c, what);
}

/* What a beginning says of the log must be what the records say. */
static bool same_log(const struct log_check *c, const struct export_begin *b)
{
	return strcmp(b->identity, c->identity) == 0 && b->has_key == c->has_key &&
	       (!b->has_key || memcmp(b->key, c->key, KEY_SIZE) == 0);
}

static int see_record(struct export_walk *w, const char *line, size_t len)
{
	struct log_check *c = w->c;
	uint8_t hash[SEAL_SIZE];
	int64_t seq = 0;
	/* Half a line behind them is none, and accuses nobody. */
	struct fault half;
	if (w->n == EXPORT_HASHES_MAX && !w->bare &&
	    !(w->broken_off && !record_valid(c->records + 1, line, len, &half))) {
		misfit(w, 0, "has no hash: a seal line of the export is missing");
		return SQLITE_DONE;
	}
	json_int(json_member(line, len, "seq"), &seq);
	int code = verify_text(w->sealer, seq, line, len, c, hash);
	if (code == SQLITE_OK)
		code = verify_form(seq, line, len, "", c);
	if (code != SQLITE_OK)
		return code;
	memcpy(c->head, hash, SEAL_SIZE);
	c->records = seq;
	if (w->pin && w->pin->seq == seq)
		memcpy(w->at_anchor, hash, SEAL_SIZE);
	if (!w->bare) {
		w->line_of[w->n] = w->number;
		memcpy(w->pending[w->n++], hash, SEAL_SIZE);
	}
	if (!keep_hash(w))
		return SQLITE_NOMEM;
	code = vouch_record(&w->vouch, c, line, len);
	if (code == SQLITE_OK && seq == 1 && !w->bare && !same_log(c, &w->begin)) {
		misfit(w, 0, "is of another log, or of another key, than the first line says");
		return SQLITE_DONE;
	}
	if (code == SQLITE_OK && w->each && !w->each(w->arg, seq, line, len, hash))
		code = SQLITE_ABORT;
	return code;
}

static int see_hashes(struct export_walk *w, const struct export_seal *s)
{
	for (int i = 0; i < w->n && i < s->n; i++)
		if (memcmp(w->pending[i], s->hash[i], SEAL_SIZE) != 0) {
			misfit(w, i, "does not fit its hash: it, or the order of records, was changed");
			return SQLITE_DONE;
		}
	if (s->n != w->n || (s->end && s->end != w->c->records)) {
		misfit(w, s->n < w->n ? s->n : w->n,
		       "does not stand where the seal line after it says: lines were taken out or put in");
		return SQLITE_DONE;
	}
	w->n = 0;
	w->ended = s->end != 0;
	w->c->stopped = !verify_goes_on(w->going, w->c->records, 0, w->why);
	return w->c->stopped ? SQLITE_INTERRUPT : SQLITE_OK;
}

/* The first line, or, where files were joined, the first of the next part. */
static int see_begin(struct export_walk *w, const struct export_begin *b)
{
	struct log_check *c = w->c;
	static const uint8_t zeros[SEAL_SIZE] = { 0 };
	if (w->any) {
		if (w->n || b->after != c->records || memcmp(b->hash, c->head, SEAL_SIZE) != 0 ||
		    !same_log(c, b)) {
			misfit(w, 0, "is followed by a part that does not go on from it");
			return SQLITE_DONE;
		}
		return SQLITE_OK;
	}
	if (b->after == 0 && memcmp(b->hash, zeros, SEAL_SIZE) != 0) {
		verify_altered(c, "does not follow from zeros, as the first one must");
		return SQLITE_DONE;
	}
	w->begin = *b;
	c->after = c->records = b->after;
	memcpy(c->head, b->hash, SEAL_SIZE);
	if (w->pin && w->pin->seq == b->after)
		memcpy(w->at_anchor, b->hash, SEAL_SIZE);
	if (b->after) {
		memcpy(c->identity, b->identity, sizeof c->identity);
		vouch_part(&w->vouch, c, b->has_key ? b->key : NULL);
	}
	return keep_hash(w) ? SQLITE_OK : SQLITE_NOMEM;
}

static int see_line(struct export_walk *w, const char *line, size_t len, int number)
{
	struct export_seal *s;
	int code = SQLITE_ERROR;
	w->ended = false;
	w->number = number;
	if (!w->any && export_is_record(line, len)) {
		w->bare = true;
		if (!keep_hash(w))
			return SQLITE_NOMEM;
	}
	bool record = export_is_record(line, len);
	s = record || w->bare || !export_is_seal(line, len) ? NULL : malloc(sizeof *s);
	enum export_seal_kind kind = s ? export_seal_read(line, len, s) : EXPORT_NO_SEAL;
	if (record)
		code = see_record(w, line, len);
	else if (kind == EXPORT_BEGIN)
		code = see_begin(w, &s->begin);
	else if (kind == EXPORT_HASHES && w->any)
		code = see_hashes(w, s);
	else if (w->any && !w->bare) {
		verify_altered(w->c, "is no record, nor a line that seals");
		w->c->bad_column = export_misfit(line, len);
		code = SQLITE_DONE;
	} else {
		fault_at(w->why, NULL, number, export_misfit(line, len), "this is no line of an export");
		w->wrong = true;
	}
	free(s);
	w->any = true;
	if (code == SQLITE_DONE && !w->c->bad_line)
		w->c->bad_line = number;
	return code;
}

/* A record was found unfit.  One before it that is not sealed yet may be, too, and then
 * that is the first: the next seal line knows. */
static void look_back(struct export_walk *w, FILE *f, char *line)
{
	struct export_seal *s = malloc(sizeof *s);
	int64_t len;
	bool broken_off;
	while (s && w->n && (len = next_line(f, line, &broken_off)) >= 0) {
		if (!export_is_seal(line, (size_t)len) ||
		    export_seal_read(line, (size_t)len, s) != EXPORT_HASHES)
			continue;
		for (int i = 0; i < w->n && i < s->n; i++)
			if (memcmp(w->pending[i], s->hash[i], SEAL_SIZE) != 0) {
				misfit(w, i, "does not fit its hash: it, or the order of records, was changed");
				break;
			}
		break;
	}
	free(s);
}

static int walk(struct export_walk *w, FILE *f, const char *path)
{
	char *line = malloc(EXPORT_LINE_MAX + 1);
	int64_t len = 0;
	int code = line ? SQLITE_OK : SQLITE_NOMEM, number = 0;
	while (code == SQLITE_OK && (len = next_line(f, line, &w->broken_off)) >= 0)
		code = see_line(w, line, (size_t)len, ++number);
	if (code == SQLITE_DONE && w->broken_off && !w->bare && !w->unfit) {
		/* Half a line: the file was cut off there, nothing was altered. */
		w->c->verdict = LOG_INTACT_NO_ANCHOR;
		w->c->what[0] = '\0';
		w->c->bad_seq = w->c->bad_line = w->c->bad_column = 0;
	} else if (code == SQLITE_DONE) {
		look_back(w, f, line);
	}
	if (code == SQLITE_OK && len == -2 && ferror(f)) {
		fault_at(w->why, path, number + 1, 0, "it cannot be read: %s", strerror(errno));
		code = SQLITE_IOERR;
	} else if (code == SQLITE_OK && len == -2) {
		verify_altered(w->c, "is longer than a record can be");
		w->c->bad_line = number + 1;
		code = SQLITE_DONE;
	} else if (code == SQLITE_NOMEM) {
		fault_at(w->why, path, number, 0, "no memory");
	}
	free(line);
	return code;
}

/* Is the anchor one that such a file can be held against? */
static bool anchor_fits(const struct export_walk *w, const char *path)
{
	if (w->bare && (!w->pin || !w->pin->seq)) {
		fault_at(w->why, path, 0, 0, "there are texts in it, and no hashes: nothing shows whether "
		         "they were changed. Give --anchor SEQ:HASH of the last one, or use what `tally "
		         "export` writes");
		return false;
	}
	if (w->pin && w->pin->seq && w->pin->seq < w->c->after) {
		fault_at(w->why, path, 0, 0, "the anchor is of record %lld, and this part begins with record "
		         "%lld: it says nothing about it", (long long)w->pin->seq,
		         (long long)w->c->after + 1);
		return false;
	}
	return true;
}

bool export_walk(const char *path, const struct log_pin *pin, const struct log_going *going,
                 export_record *each, void *arg, struct log_check *out, struct fault *why)
{
	struct export_walk w = { .c = out, .pin = pin, .going = going, .each = each, .arg = arg,
		                     .why = why };
	w.vouch = (struct vouch){ .above = hash_above, .arg = &w, .pin = pin };
	memset(out, 0, sizeof *out);
	FILE *f = fopen(path, "re");
	w.sealer = f ? sealer_open() : NULL;
	int code = w.sealer ? SQLITE_OK : SQLITE_IOERR;
	if (!f)
		fault_at(why, path, 0, 0, "%s", strerror(errno));
	else if (!w.sealer)
		fault_set(why, "no memory, or no SHA-256 in libcrypto");
	else
		code = walk(&w, f, path);
	if (f)
		fclose(f);
	bool good = (code == SQLITE_OK || code == SQLITE_DONE) && anchor_fits(&w, path);
	if (w.wrong)
		snprintf(why->file, sizeof why->file, "%s", path);
	if (good) {
		verify_conclude(out, pin, w.at_anchor);
		vouch_conclude(&w.vouch, out);
		if (!w.ended && !w.bare && verdict_holds(out->verdict)) {
			out->verdict = LOG_TRUNCATED;
			snprintf(out->what, sizeof out->what, "the export is cut off after record %lld: the line "
			         "that says it is whole is missing", (long long)out->records);
		}
	}
	sealer_close(w.sealer);
	free(w.all);
	return good;
}

bool log_export_verify(const char *path, const struct log_pin *pin,
                       const struct log_going *going, struct log_check *out, struct fault *why)
{
	return export_walk(path, pin, going, NULL, NULL, out, why);
}
