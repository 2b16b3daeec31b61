/* SPDX-License-Identifier: MIT */
/*
 * What must hold after any failure, for the tests of the log: it opens and is sound; what was
 * acknowledged is there once, word for word; what was refused is nowhere; everybody was told
 * once; the chain is whole by the rule alone.
 */
#ifndef TALLY_TESTS_LOG_PROMISE_H
#define TALLY_TESTS_LOG_PROMISE_H

#include "tests/log_help.h"

/* A bit of life: appends of two, saved runs.  Each body carries its ticket. */
static inline void live(struct log *log, int appends, struct got *got)
{
	char filler[700];
	memset(filler, '7', sizeof filler - 1);
	filler[sizeof filler - 1] = '\0';
	for (int i = 0; i < appends; i++) {
		struct fault why;
		char body[2][800];
		uint64_t ticket = log_next_ticket(log);
		snprintf(body[0], sizeof body[0], ",\"position\":\"R1\",\"ticket\":%d",
		         got->base + (int)ticket);
		snprintf(body[1], sizeof body[1], ",\"meter\":\"red\",\"ticket\":%d,\"v\":[%s]",
		         got->base + (int)ticket + 1, filler);
		struct log_draft d[2] = { draft("entry", body[0]), draft("trail", body[1]) };
		struct log_open_run run = { "red", NOW, ",\"meter\":\"red\"", 14 };
		uint64_t given = log_append(log, d, 2, i % 3 ? "red" : NULL, &why);
		got->asked += given ? 2 : 0;
		if (i % 2)
			log_save_open(log, &run, 1);
		log_flush(log);
		log_collect(log, got_one, got);
	}
}

/* How many records carry this ticket; *seq is the last. */
static inline int ticket_count(sqlite3_stmt *by_ticket, uint64_t ticket, int64_t *seq)
{
	int n = 0;
	sqlite3_bind_int64(by_ticket, 1, (int64_t)ticket);
	while (sqlite3_step(by_ticket) == SQLITE_ROW) {
		*seq = sqlite3_column_int64(by_ticket, 0);
		n++;
	}
	sqlite3_reset(by_ticket);
	return n;
}

static inline bool text_is_in(sqlite3_stmt *by_seq, int64_t seq, const char *text)
{
	sqlite3_bind_int64(by_seq, 1, seq);
	sqlite3_bind_text(by_seq, 2, text, -1, SQLITE_STATIC);
	bool is = sqlite3_step(by_seq) == SQLITE_ROW;
	sqlite3_reset(by_seq);
	return is;
}

/* `refused_may_stand`: after a power cut nobody was there to be told. */
static inline bool results_hold(sqlite3 *db, const struct got *got, bool refused_may_stand)
{
	sqlite3_stmt *by_ticket, *by_seq;
	bool kept = true;
	sqlite3_prepare_v2(db, "SELECT seq FROM record WHERE json_extract(text, '$.ticket') = ?", -1,
	                   &by_ticket, NULL);
	sqlite3_prepare_v2(db, "SELECT 1 FROM record WHERE seq = ? AND text = ?", -1, &by_seq, NULL);
	for (int i = 0; i < got->n && kept; i++) {
		int64_t seq = 0;
		uint64_t ticket = got->row[i].ticket;
		bool durable = got->row[i].status == LOG_DURABLE;
		int n = ticket ? ticket_count(by_ticket, (uint64_t)got->base + ticket, &seq) : 1;
		if (durable && !text_is_in(by_seq, got->row[i].seq, got->row[i].text)) {
			print_message("  acknowledged, but gone: %.60s\n", got->row[i].text);
			kept = false;
		} else if (durable && n != 1) {
			print_message("  acknowledged, and %d times there: %.60s\n", n, got->row[i].text);
			kept = false;
		} else if (!durable && n && !refused_may_stand) {
			print_message("  refused, but there: ticket %d (%s)\n", (int)ticket, got->row[i].why);
			kept = false;
		} else if (!durable && !got->row[i].why[0]) {
			print_message("  refused without a reason: ticket %d\n", (int)ticket);
			kept = false;
		}
	}
	sqlite3_finalize(by_ticket);
	sqlite3_finalize(by_seq);
	return kept;
}

/* In the order of the tickets each once, and as many as were taken. */
static inline bool everybody_was_told(const struct got *got)
{
	uint64_t last = 0;
	int n = 0;
	for (int i = 0; i < got->n; i++) {
		uint64_t ticket = got->row[i].ticket;
		if (!ticket)
			continue;
		n++;
		if (ticket <= last) {
			print_message("  ticket %d was told of twice\n", (int)ticket);
			return false;
		}
		last = ticket;
	}
	if (n != got->asked)
		print_message("  %d of %d were told\n", n, got->asked);
	return n == got->asked;
}

/* Of one life, after it. */
static inline bool was_kept(const char *path, const struct got *got, bool refused_may_stand)
{
	sqlite3 *db;
	sqlite3_open(path, &db);
	bool kept = results_hold(db, got, refused_may_stand);
	sqlite3_close(db);
	return everybody_was_told(got) && kept;
}

static inline bool promise_is_kept(const char *path, const struct got *got, bool refused_may_stand)
{
	struct fault why;
	struct log *log = open_log(path, true, NULL, &why);
	if (!log) {
		print_message("  does not open: %s\n", why.text);
		return false;
	}
	/* From then on it is a sound log again. */
	bool kept = log_health(log) == LOG_GOOD && append_one(log, "note", ",\"again\":true") > 0;
	if (!kept)
		print_message("  opens, and is not sound: %s\n", log_health_word(log_health(log)));
	log_close(log);
	uint8_t head[32];
	return chain_by_rule(path, head) > 0 && was_kept(path, got, refused_may_stand) && kept;
}

#endif
