/* SPDX-License-Identifier: MIT */
/*
 * The log: one SQLite file of sealed records, on a thread of its own.
 *
 * Caveats first.
 *   - No code but SQLite may open the file: closing any other descriptor of it
 *     drops SQLite's POSIX locks.  The lock of the daemon is on LOG.lock.
 *   - One connection writes and checkpoints, on the log thread.  Everything
 *     that reads uses a `struct log_reader`, a read-only connection that belongs
 *     to one thread at a time.
 *   - A record is acknowledged only after COMMIT with synchronous=FULL returned.
 *     The caller learns it through log_collect(), on its own thread.
 *   - The thread that calls log_append never waits for the disk.
 *
 * The file format and the seal stand in protocol/SEAL.md.
 *
 * What a failing write does: the whole batch is refused (LOG_NOT_LOGGED) and
 * never written later.  Full or read-only: the next batch tries again, at most
 * once a second against a log known to be full.  I/O error at a sync, or
 * corruption: the log is suspect, everything is refused until a restart, which
 * verifies the whole chain first.
 */
#ifndef TALLY_LOG_H
#define TALLY_LOG_H

#include "protocol/trade/fault.h"

#include <stdbool.h>
#include <stdint.h>

struct log;
struct log_reader;

/* Bytes waiting for the disk, at most; beyond it log_append refuses. */
#define LOG_QUEUE_MAX (16u << 20)

struct log_options {
	const char *path;    /* a file, or ":memory:" */
	const char *bench;   /* name, for record 1 of a new log */
	const char *version; /* of the program, for record 1 */
	/* For replays: no thread (log_append works at once, on the caller's), and the
	 * identity of a new log is given, so that the same input gives the same
	 * records.  identity points to 16 bytes, or is NULL for a random one. */
	bool inline_mode;
	const uint8_t *identity;
	int64_t now; /* UTC, us since 1970, for record 1 */
	/* Called on the log thread when results wait; typically uv_async_send. */
	void (*notify)(void *arg);
	void *arg;
};

/*
 * Open or create.  Takes the lock, checks application_id and user_version,
 * verifies the chain, seals the open runs that a kill left behind (as trail
 * records marked recovered).  On failure returns NULL and says why: another
 * daemon holds it (its pid is named), newer format, chain broken at record N,
 * unwritable directory, ...  Nothing is ever replaced or deleted.
 */
struct log *log_open(const struct log_options *options, struct fault *why);

/* Everything queued is committed, the file is checkpointed, the lock released. */
void log_close(struct log *log);

/* One record to be sealed.  The log writes {"seq":N,"t":"...","kind":"KIND"
 * itself, then `body`: the further members, each with its leading comma
 * (,"job":"x","position":"R1"), then }.  body must be valid JSON in that place
 * and without line breaks; it may name the seq of another record by its ticket:
 * the byte 0x01, the ticket in decimal, the byte 0x01 (log_reference writes it);
 * the log puts the number there, or null where that record was refused. */
struct log_draft {
	int64_t t; /* UTC, us since 1970-01-01 */
	const char *kind;
	const char *body;
	size_t body_len;
};

#define LOG_REFERENCE_SIZE 24
size_t log_reference(uint64_t ticket, char out[LOG_REFERENCE_SIZE]);

/*
 * Queue `n` records as one transaction.  Their tickets are consecutive; the
 * first is returned.  Copies everything.  `run_of` names a meter whose saved open
 * run leaves the unsealed table in the same transaction (NULL for none).
 * Returns 0 where the queue is full or the log is suspect (why says so).
 */
uint64_t log_append(struct log *log, const struct log_draft *draft, size_t n, const char *run_of,
                    struct fault *why);

/* The ticket that the next log_append will give to its first record. */
uint64_t log_next_ticket(const struct log *log);

/* Save the open runs (once a second) in one commit: all of them, replacing what
 * was saved before.  body as in log_draft, of a trail record. */
struct log_open_run {
	const char *meter;
	int64_t t;
	const char *body;
	size_t body_len;
};
void log_save_open(struct log *log, const struct log_open_run *run, size_t n);

enum log_status {
	LOG_DURABLE,
	LOG_NOT_LOGGED, /* refused; text and seq are absent */
};

struct log_result {
	uint64_t ticket;
	enum log_status status;
	int64_t seq;
	const char *text; /* exactly as sealed; valid during the callback */
	size_t len;
	const char *why; /* with LOG_NOT_LOGGED: for people; valid during the callback */
};

/* Hand over what has come back, in ticket order, on the caller's thread. */
void log_collect(struct log *log, void (*each)(void *arg, const struct log_result *r), void *arg);

enum log_health {
	LOG_GOOD,
	LOG_LOW,     /* disk full: running on the reserve */
	LOG_FULL,    /* full or read-only: refused, tried again every second */
	LOG_SUSPECT, /* I/O error or corruption: refused until a restart */
};
enum log_health log_health(const struct log *log);
const char *log_health_word(enum log_health h);
int64_t log_last_seq(const struct log *log); /* durable */
const char *log_path(const struct log *log); /* for log_reader_open; memory logs too */

/* ---- reading ---- */

struct log_reader *log_reader_open(const char *path, struct fault *why);
void log_reader_close(struct log_reader *r);

struct log_query {
	int64_t after;        /* seq above this */
	int64_t until;        /* seq up to this; 0 for no bound */
	int limit;            /* at most so many; 0 for no bound */
	const char *kind;     /* NULL for every kind; several with commas: "entry,strike" */
	const char *position; /* NULL for any */
	const char *meter;    /* NULL for any */
	bool newest_first;
};
/* Calls each(arg, seq, text, len) in order; each returns false to stop.
 * Returns the number of records given, -1 on a fault. */
int64_t log_reader_records(struct log_reader *r, const struct log_query *q,
                           bool (*each)(void *arg, int64_t seq, const char *text, size_t len),
                           void *arg, struct fault *why);

/* What verification found. */
enum log_verdict {
	LOG_INTACT_NO_ANCHOR, /* chain whole; nothing from outside pins it */
	LOG_INTACT_TO_ANCHOR, /* chain whole and the anchor stands in it, as the last record */
	LOG_NEWER_THAN_ANCHOR, /* the same, with records after the anchor */
	LOG_TRUNCATED,        /* chain whole, but it ends before the anchor */
	LOG_REWRITTEN,        /* chain whole, but the anchor's record has another hash */
	LOG_ALTERED,          /* a record does not fit its hash or its place */
	LOG_EMPTY,            /* no records: never OK */
};
struct log_check {
	enum log_verdict verdict;
	int64_t records;    /* that were looked at and fit */
	int64_t bad_seq;    /* with LOG_ALTERED: the first that does not fit */
	char what[160];     /* for people: what is wrong with it */
	uint8_t head[32];   /* hash of the last record that fits */
	char identity[33];  /* of the log, hex */
};
const char *log_verdict_name(enum log_verdict v); /* "intact", "newer than the anchor", ... */
/* anchor_seq 0 for none.  Reads seq, text and hash only.  False on a fault (not
 * a log, unreadable), which is not a verdict. */
bool log_reader_verify(struct log_reader *r, int64_t anchor_seq, const uint8_t anchor_hash[32],
                       struct log_check *out, struct fault *why);

#endif
