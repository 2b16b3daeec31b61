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
 *   - log_append, log_save_open, log_checkpoint, log_collect, log_flush, log_next_ticket,
 *     log_pulse, log_backlog, log_trouble and log_close are called from one thread; log_health, log_last_seq, log_path,
 *     log_identity, log_opening, log_aside, log_key_trouble and log_wal_bytes from any.
 *
 * The file format and the seal stand in protocol/SEAL.md.
 *
 * What waits is written in one transaction, so that a hundred records cost one
 * sync.  What a failing write does:
 *   - a record that cannot be sealed (its body is no JSON) is refused with the
 *     records appended together with it; the others of the group are written;
 *   - disk full or read-only: the reserve beside the log (LOG.reserve) is given
 *     up and the group is tried once more at once (LOG_LOW); where that fails,
 *     too, the whole group is refused (LOG_NOT_LOGGED), and so is what comes
 *     within a second.  Then the next append tries again, or, where none comes,
 *     a small write every second (LOG_FULL);
 *   - I/O error or corruption: the group is refused, a marker (LOG.suspect) is
 *     left for the next start, and everything is refused until then, for the
 *     next log_open verifies the whole chain first (LOG_SUSPECT).
 * What was refused is never written later.
 *
 * Checkpoints: the log signs for itself (Ed25519, LOG.key).  A checkpoint record stands
 * right after the entry that is the LOG_CHECKPOINT_ENTRIES-th without one, right after a
 * job was closed, and where log_checkpoint asked for one, in the same transaction.  None
 * while it lives on the reserve, and none while LOG.key is not there or is not the key that
 * the log names (log_opening says so).  A log without a key (inline mode) has them in the
 * same places, without a signature.
 *
 * Files beside LOG, all of them the log's: LOG-wal and LOG-shm (SQLite's; they
 * belong to the log, copy them with it), LOG.lock (pid of the holder, and the number of
 * the last record, see log_last.c), LOG.key
 * (Ed25519 private key, PEM, mode 0600), LOG.reserve, LOG.suspect; while a log is
 * made, LOG.new and LOG.key.new.
 */
#ifndef TALLY_LOG_H
#define TALLY_LOG_H

#include "protocol/trade/fault.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct log;
struct log_reader;

/* Bytes appended and not yet collected, at most; beyond it log_append refuses. */
#define LOG_QUEUE_MAX (16u << 20)
/* Bytes of one record: it must fit into one line to a client (1 MiB). */
#define LOG_TEXT_MAX (512u << 10)
/* Entries after which the log makes a checkpoint by itself. */
#define LOG_CHECKPOINT_ENTRIES 100
/* Records in one log_append. */
#define LOG_DRAFTS_MAX 4096
/* Above so many bytes of LOG-wal somebody holds a read transaction open and keeps
 * the log from tidying up: tell the person. */
#define LOG_WAL_ALARM (64 << 20)

/* While a long question runs: called now and then, on the thread that asked, with the records
 * read so far, of `all` (0: not known).  False ends the question, with a fault. */
struct log_going {
	bool (*on)(void *arg, int64_t done, int64_t all);
	void *arg;
};

struct log_options {
	const char *path;    /* a file, or ":memory:" */
	const char *bench;   /* name, for record 1 */
	const char *version; /* of the program, for record 1 */
	/* For replays: no thread (log_append works at once, on the caller's; records
	 * and results are the same), no key, and the identity of a new log is given,
	 * so that the same input gives the same records.  identity points to 16
	 * bytes, or is NULL for a random one. */
	bool inline_mode;
	const uint8_t *identity;
	int64_t now; /* UTC, us since 1970, for record 1 */
	/* Called when results wait or the health has changed, typically
	 * uv_async_send; on the log thread, in inline mode at the end of log_append.
	 * It may not call the log. */
	void (*notify)(void *arg);
	void *arg;
	/* A log that is damaged (its chain is broken, its pages cannot be read) is not a fault:
	 * it is set aside as LOG.aside-DATE, with its key and all that belongs to it, and a new one
	 * is begun, whose second record says so.  Said loudly in log_opening. */
	bool set_aside;
	/* Asked while the log is verified, which takes seconds for tens of millions of readings;
	 * where it says no, the log is not opened. */
	struct log_going going;
	const char *vfs; /* name of an SQLite VFS, NULL for the usual one: the tests' fault seam */
};

/*
 * Open or create.  Takes the lock, checks application_id and user_version,
 * verifies the chain, seals the open runs that a kill left behind (as trail
 * records marked recovered).  On failure returns NULL and says why: another
 * daemon holds it (its pid is named), newer format, chain broken at record N,
 * unwritable directory, a network file system, ...  Nothing is ever replaced or
 * deleted; an empty file counts as none (but where it has a key it is damaged).  A log that is missing while its LOG.key
 * is there is not made anew.
 */
struct log *log_open(const struct log_options *options, struct fault *why);

/*
 * A new key for the log at `path`, which no daemon may have open: a `key` record that
 * the old key signs, then LOG.key is the new one.  The old one is not kept.  Where
 * LOG.key is not the key of the log nothing is changed.  `fingerprint`: of the new one.
 */
bool log_renew_key(const char *path, int64_t now, const char *because, char fingerprint[40],
                   struct fault *why);

/* What log_open found, for people: "verified 1234 records in 0.012 s; ..." */
const char *log_opening(const struct log *log);
/* 32 hex digits, from record 1. */
const char *log_identity(const struct log *log);

/* Everything queued is committed, the file is checkpointed, the lock released.
 * Results that were not collected are lost: log_flush and log_collect first. */
void log_close(struct log *log);

/* Wait until everything queued has come back; for shutdown. */
void log_flush(struct log *log);

/* One record to be sealed.  The log writes {"seq":N,"t":"...","kind":"KIND"
 * itself, then `body`: the further members, each with its leading comma
 * (,"job":"x","position":"R1"), then }.  body must be valid JSON in that place
 * and without line breaks; it may name the seq of another record by its ticket:
 * the byte 0x01, the ticket in decimal, the byte 0x01 (log_reference writes it);
 * the log puts the number there, or null where that record was refused, was not
 * yet appended, or lies more than 65536 tickets back. */
struct log_draft {
	int64_t t; /* UTC, us since 1970-01-01; years 1 to 9999 */
	const char *kind; /* [a-z] and -, up to 15 */
	const char *body;
	size_t body_len;
};

#define LOG_REFERENCE_SIZE 24
/* Writes a reference and a NUL; returns its length. */
size_t log_reference(uint64_t ticket, char out[LOG_REFERENCE_SIZE]);

/*
 * Queue `n` records (1 or more) as one transaction, all or nothing.  Their tickets
 * are consecutive; the first is returned.  Copies everything.  `run_of` names a
 * meter whose saved open run leaves the unsealed table in the same transaction
 * (NULL for none).
 * Returns 0 where the queue is full, the log is suspect, or a draft cannot be one
 * (why says which); then no ticket is used.
 */
uint64_t log_append(struct log *log, const struct log_draft *draft, size_t n, const char *run_of,
                    struct fault *why);

/* The ticket that the next log_append will give to its first record. */
uint64_t log_next_ticket(const struct log *log);

/* A checkpoint, if anything but the last checkpoint was logged since. */
void log_checkpoint(struct log *log, int64_t t);

/* Save the open runs (once a second) in one commit: all of them, replacing what
 * was saved before.  body as in log_draft, of a trail record, without references.
 * A save that cannot be made (full, suspect, on the reserve) is left out without a
 * word: the next one holds more. */
struct log_open_run {
	const char *meter;
	int64_t t;
	const char *body;
	size_t body_len;
};
void log_save_open(struct log *log, const struct log_open_run *run, size_t n);
/* The same commit, and with it how the desk is left: one JSON text that stands for all
 * before it, unsealed, for log_reader_desk after a restart.  NULL: it stays as it is. */
void log_save_desk(struct log *log, const struct log_open_run *run, size_t n, const char *desk);

enum log_status {
	LOG_DURABLE,
	LOG_NOT_LOGGED, /* refused; text and seq are absent */
};

struct log_result {
	uint64_t ticket; /* 0: a checkpoint; right after the record that it followed */
	enum log_status status;
	int64_t seq;
	const char *text; /* exactly as sealed, NUL-terminated; valid during the callback */
	size_t len;
	const char *why; /* with LOG_NOT_LOGGED: for people; valid during the callback */
};

/* Hand over all that has come back, in ticket order, on the caller's thread.
 * `each` may append (and in inline mode gets the result in the same call). */
void log_collect(struct log *log, void (*each)(void *arg, const struct log_result *r), void *arg);

enum log_health {
	LOG_GOOD,
	LOG_LOW,     /* disk full: running on the reserve, or without one */
	LOG_FULL,    /* full or read-only: refused, tried again every second */
	LOG_SUSPECT, /* I/O error or corruption: refused until a restart */
};
enum log_health log_health(const struct log *log);
const char *log_health_word(enum log_health h); /* "good", "low", "full", "suspect" */
int64_t log_last_seq(const struct log *log); /* durable */
const char *log_path(const struct log *log); /* for log_reader_open; memory logs too */
/* Asks the log's thread for a sign of life, and says whether it has given one since the call
 * before this one.  It gives none while a commit hangs.  Where there is no thread: true. */
bool log_pulse(struct log *log);
/* Bytes that were appended and are not written yet, or not collected. */
size_t log_backlog(struct log *log);
/* How far the log has vouched for itself; from any thread. */
struct log_signing {
	int64_t seq;     /* of the record that the last checkpoint or key signs; 0: none */
	int64_t entries; /* after it */
	bool key;        /* checkpoints can be made */
};
void log_signing(const struct log *log, struct log_signing *out);
/* What was wrong with LOG.key when the log was opened, for people; "" for nothing.  With signing.key it
 * signs all the same: others may use the file. */
const char *log_key_trouble(const struct log *log);
/* A damaged log, or a part of one, was set aside at this start, or at an earlier one and lies there
 * still: a sentence for people that says so and where; "" for nothing. */
const char *log_aside(const struct log *log);
/* What the last failure was, for people, while the log is not good; else "". */
void log_trouble(struct log *log, char *out, size_t size);
int64_t log_wal_bytes(const struct log *log); /* of LOG-wal that are in use; see LOG_WAL_ALARM */

/* ---- reading ---- */

/*
 * Opens what log_path said or the file of a log, running or not, and changes
 * nothing, neither in it nor beside it, though it may lie in an unwritable place
 * and with or without LOG-wal.  A file that is no SQLite database, is not a log,
 * or has a newer format is a fault.
 */
struct log_reader *log_reader_open(const char *path, struct fault *why);
/* The desk as it was saved last; false where it was never, or does not fit. */
bool log_reader_desk(struct log_reader *r, char *out, size_t size);
void log_reader_close(struct log_reader *r);
const char *log_reader_path(const struct log_reader *r);

struct log_query {
	int64_t after;        /* seq above this */
	int64_t until;        /* seq up to this; 0 for no bound */
	int limit;            /* at most so many; 0 for no bound */
	const char *kind;     /* NULL for every kind; several (up to 16) with commas: "entry,strike" */
	const char *position; /* NULL for any */
	const char *meter;    /* NULL for any */
	bool newest_first;
};
/* Calls each(arg, seq, text, len) in order; each returns false to stop; text is
 * NUL-terminated and valid during the call.  No read transaction is open while
 * `each` runs, and none is long: the rows are fetched a page at a time (a thousand
 * rows or 1 MiB).  Returns the number of records given, -1 on a fault. */
int64_t log_reader_records(struct log_reader *r, const struct log_query *q,
                           bool (*each)(void *arg, int64_t seq, const char *text, size_t len),
                           void *arg, struct fault *why);

/* ---- pictures of the trail ---- */

/* A position that had other names: until it is called with NULL, where `position` is asked
 * for below, those readings are given whose record `seq`, sealed under `name`, is of it.
 * `called` reads nothing of the log. */
void log_reader_called(struct log_reader *r, bool (*called)(void *arg, int64_t seq, const char *name),
                       void *arg);

/* The readings of one meter and function with from <= t < to, in columns of equal width
 * (column i begins i * (to - from) / columns us after `from`, rounded down).  Readings that
 * the log has not sealed yet (of the last minute, at most) are among them only where
 * `unsealed` is set, and are counted there. */
struct log_envelope_query {
	const char *meter, *function;
	const char *position; /* NULL for any */
	int64_t from, to;     /* us since 1970, UTC */
	int columns;          /* 1 or more */
	int64_t *unsealed;    /* NULL: sealed readings alone */
};
struct log_column {
	int64_t n;        /* readings, those without a value among them; 0: nothing else is there */
	bool has_value;   /* low to last are there */
	double low, high; /* SI: the true least and greatest */
	double first, last;
	int64_t t, until; /* us since 1970: of the readings in it, at least of the parts of runs */
	int64_t silence;  /* us: the longest time without a reading that ended in it, between runs
	                   * (within a run none is longer than a gap) */
};
/* Fills `columns` of them.  Sixty-four runs that lie in one column cost one row. */
bool log_reader_envelope(struct log_reader *r, const struct log_envelope_query *q,
                         struct log_column *column, struct fault *why);

/* The meters and functions of which there is a trail, in the order in which they first came. */
struct log_line {
	const char *meter, *function; /* valid during the call */
	int64_t t, until;             /* us since 1970; where an older program wrote the log, to 1 s */
	int64_t readings, runs;
	bool has_value;
	double low, high;
};
/* Of one meter or position, or NULL for any; `each` returns false to stop. */
bool log_reader_lines(struct log_reader *r, const char *meter, const char *position,
                      bool (*each)(void *arg, const struct log_line *line), void *arg,
                      struct fault *why);

/* The trail records that have readings in a stretch of time, in order.  NULL for any.
 * `each` returns false to stop, and must not take its time: the log cannot be tidied up
 * meanwhile.  The number given, -1 on a fault. */
struct log_trail_query {
	const char *meter, *function, *position;
	int64_t from, to; /* us since 1970: from <= t < to */
	int64_t after;    /* seq above this */
	/* Not NULL: after the last of them, of the same moment of the log, the runs that are still
	 * open, as they were saved a second ago at most: texts with "sealed":false in the place of
	 * a number, which no seal covers.  Returns false to stop. */
	bool (*unsealed)(void *arg, const char *text, size_t len);
};
int64_t log_reader_trail(struct log_reader *r, const struct log_trail_query *q,
                         bool (*each)(void *arg, int64_t seq, const char *text, size_t len), void *arg,
                         struct fault *why);
/* These open runs alone. */
bool log_reader_unsealed(struct log_reader *r, const struct log_trail_query *q, void *arg,
                         struct fault *why);

/* For the questions of this reader from now on; NULL for none. */
void log_reader_going(struct log_reader *r, const struct log_going *going);

/* What verification found. */
enum log_verdict {
	LOG_INTACT_NO_ANCHOR, /* chain whole; nothing from outside pins it */
	LOG_INTACT_TO_ANCHOR, /* chain whole and the anchor stands in it, as the last record */
	LOG_NEWER_THAN_ANCHOR, /* the same, with records after the anchor */
	LOG_TRUNCATED,        /* chain whole (or nothing there), but it ends before the anchor */
	LOG_REWRITTEN,        /* chain whole, but the anchor's record has another hash, or a
	                       * checkpoint of this log vouches for another one */
	LOG_WRONG_KEY,        /* chain whole, but somebody else signed, or it is not the key asked for */
	LOG_ALTERED,          /* a record does not fit its hash or its place */
	LOG_EMPTY,            /* no records and no anchor: never OK */
};
struct log_check {
	enum log_verdict verdict;
	int64_t records;    /* that were looked at and fit; of a part: the number of the last */
	int64_t after;      /* of a part of a log: the record before its first; else 0 */
	int64_t bad_seq;    /* with LOG_ALTERED: the first that does not fit */
	int64_t bad_line; /* of an export: the line where that is, from 1; 0: not known, or no export */
	int bad_column;   /* in it, of the first byte that is wrong, from 1; 0 where that cannot be known
	                   * (a hash does not say which byte); with bad_line alone */
	char what[160];     /* for people: what is wrong with it; "" where nothing is */
	uint8_t head[32];   /* hash of the last record that fits */
	bool stopped;       /* it was not read to its end, because it was told to stop */
	char identity[33];  /* of the log, hex; "" where record 1 does not fit */

	/* What the key says (protocol/record/checkpoint.h). */
	bool has_key;        /* record 1 names one */
	uint8_t key[32];     /* the public half that holds at the end */
	int keys;            /* how many there were, one after the other */
	int64_t checkpoints; /* that fit */
	int64_t signed_to;   /* the last record that one of them vouches for; 0: none */
	int64_t bad_signature; /* the first checkpoint or key record that does not fit; 0: none */
	int64_t entries_after; /* entry records after the last checkpoint that fits */
};

/* What somebody kept outside of the log, to hold it against. */
struct log_pin {
	int64_t seq;      /* of the anchor; 0 for none */
	uint8_t hash[32];
	bool has_key;     /* a fingerprint was kept: it must be one of the log's keys */
	uint8_t fingerprint[16];
};
/* The calling thread only reads from now on: it stands back (nice 5, for good) where
 * processors or the disk are short, so that a chart, a backup or a verify of millions does not
 * keep an entry from becoming durable. */
void log_reader_stand_back(void);
/* "intact", "intact to the anchor", "newer than the anchor", ... */
const char *log_verdict_name(enum log_verdict v);
/* pin may be NULL.  Reads seq, text and hash only.  False on a fault (not
 * a log, unreadable), which is not a verdict.  Damaged pages of the file are one:
 * LOG_ALTERED at the first record that cannot be read. */
bool log_reader_verify(struct log_reader *r, const struct log_pin *pin, struct log_check *out,
                       struct fault *why);

/* A copy of the log in the file `to`, which may not be there yet: the records of one
 * moment, while the daemon goes on.  It was verified (*out) before this returns true, and
 * has its name only then; it needs nothing beside it.  LOG.key is not copied: who has only
 * a copy cannot sign. */
bool log_reader_copy(struct log_reader *r, const char *to, struct log_check *out,
                     struct fault *why);

/* ---- exports: records as lines of text, protocol/record/export.h ---- */

/* Records with the hashes that seal them, as they stand, in order: after < seq <= until.
 * `each` returns false to stop; a read transaction is open while it runs.  The number
 * given, -1 on a fault. */
struct log_sealed {
	int64_t seq;
	const char *text;
	size_t len;
	const uint8_t *hash; /* 32 bytes */
};
int64_t log_reader_sealed(struct log_reader *r, int64_t after, int64_t until,
                          bool (*each)(void *arg, const struct log_sealed *record), void *arg,
                          struct fault *why);
/* Where a part that begins after record `seq` stands (0: at the beginning): its hash, the
 * identity of the log, the key that holds there.  False where there is no such record. */
struct export_begin;
bool log_reader_begin(struct log_reader *r, int64_t seq, struct export_begin *out,
                      struct fault *why);

/* Does the file look like an export (its first line)? */
bool log_is_export(const char *path);
/* The answer about an export, or about texts without seal lines, which need an anchor.  As
 * log_reader_verify; out->after > 0 for a part.  An export whose last line is missing is
 * LOG_TRUNCATED. */
bool log_export_verify(const char *path, const struct log_pin *pin,
                       const struct log_going *going, struct log_check *out, struct fault *why);

/*
 * A log from a copy of one, or from a whole export: verified (with `pin`, which may be
 * NULL), written beside its place, verified again, and only then put there, all at once.
 * No daemon may have the log open.  Where there is one already it is refused, unless `over`:
 * then the old one is set aside (log_set_aside), never deleted.  LOG.key stays where it is
 * the key of the restored log, and goes aside with the old log where it is not.
 * False: nothing was changed; where out->check.verdict is no good one, that is why.
 */
enum log_key { LOG_KEY_NONE_NEEDED, LOG_KEY_THERE, LOG_KEY_MISSING, LOG_KEY_OTHER };
struct log_restored {
	struct log_check check;
	char aside[4096]; /* where the old log is now; "" where there was none */
	enum log_key key; /* LOG.key, to the log that was restored */
};
bool log_restore(const char *from, const char *path, bool over, int64_t now,
                 const struct log_pin *pin, struct log_restored *out, struct fault *why);

#endif
