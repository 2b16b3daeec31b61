/* SPDX-License-Identifier: MIT */
/*
 * What the files daemon/log*.c share; nobody else includes it.
 *
 *   log.c         the queue, the thread, tickets and results: the interface
 *   log_text.c    drafts into the texts of records
 *   log_write.c   items into transactions; what a failing write does
 *   log_trouble.c what went wrong, by kind and in words
 *   log_wal.c     LOG-wal, and what is done between two groups
 *   log_file.c    open, recover, close: the one writing connection
 *   log_new.c     a log in the making, and its key
 *   log_schema.c  tables, triggers, views
 *   log_beside.c  the files beside the log: lock, reserve, marker
 *   log_aside.c   a damaged log gets another name
 *   log_last.c      a note of how far the log went
 *   log_wal_look.c  what LOG-wal holds that SQLite would pass over
 *   log_verify.c  the chain of hashes
 *   log_vouch.c   checkpoints and keys, while it is read
 *   log_sign.c    checkpoints and keys, made
 *   log_read.c    read-only connections
 *   log_copy.c    copies that are whole
 *   log_export.c  records with their hashes, for exports; an export read and checked
 *   log_restore.c a log from a copy or an export
 *   log_records.c queries: records by kind, place and number
 *   log_run.c     a row a run, and rollups of them
 *   log_envelope.c  pictures of the trail, from these
 *
 * The threads: `struct log_store` belongs to the log thread from the moment that
 * it runs (before, and in inline mode, to the caller); `struct log` is guarded by
 * its mutex; what other threads may ask is atomic.
 */
#ifndef TALLY_LOG_INSIDE_H
#define TALLY_LOG_INSIDE_H

#include "daemon/log.h"
#include "protocol/record/text.h"

#include <stdatomic.h>

struct run_lines;
struct sealer;
struct signer;
struct sqlite3;
struct sqlite3_stmt;

#define LOG_APPLICATION_ID 0x54616c79
#define LOG_USER_VERSION 1

/* Bytes of LOG.reserve.  Must let 100 records out.  Measured: an entry with a full
 * run of 1000 readings (13 KiB of text), in a commit of its own, takes 40 KiB of
 * LOG-wal, so this is room for 200 of the largest captures (test_log_fault counts
 * them on a full file system). */
#define LOG_RESERVE_SIZE (8 << 20)

/* Pause between two tries while the disk is full. */
#define LOG_RETRY_US 1000000

/* ---- items: what is queued and what comes back ---- */

/* One record of an item, or one open run of a save. */
struct log_piece {
	int64_t t;
	const char *kind; /* of a save: the meter */
	const char *body;
	size_t body_len;
	char *text; /* as sealed (malloc); NULL until then */
	size_t len;
	int64_t seq;
};

/* One log_append or log_save_open: all or nothing. */
struct log_item {
	struct log_item *next;
	bool save;       /* open runs to be saved; else records to be sealed */
	const char *desk; /* of a save: how the desk is left, NULL for nothing new */
	bool checkpoint; /* a checkpoint is asked for, at t; there are no pieces */
	int64_t t;
	struct log_piece vouch; /* the checkpoint that followed; its text is NULL for none */
	bool overtaken;  /* a save that a newer one has replaced */
	bool unfit;      /* cannot be sealed, whatever the disk does */
	bool durable;
	uint64_t ticket; /* of the first record */
	size_t bytes;    /* counted against LOG_QUEUE_MAX */
	const char *run_of;
	char why[200];   /* where it was refused */
	size_t n;
	struct log_piece piece[]; /* then the copied strings */
};

/* ---- the store: the file and its one writing connection ---- */

#define LOG_RING 65536 /* tickets that can still be referred to */

struct log_store {
	struct sqlite3 *db;
	bool memory;
	char *path; /* of the file, absolute; of a memory log its URI */
	int lock;   /* descriptor of LOG.lock, -1 for none */
	int64_t noted; /* the number that the note there has (log_last.c) */
	struct sqlite3_stmt *begin, *commit, *insert, *changed, *head;
	struct sqlite3_stmt *run_clear, *run_clear_all, *run_save, *desk_save, *probe;
	struct sqlite3_stmt *run_add, *run_tail, *rollup_add;
	struct sealer *sealer;
	char identity[33];
	char opening[2400];

	int64_t seq; /* of the last durable record, and its hash */
	uint8_t hash[32];
	int64_t data_version; /* changes when somebody else has written; 0: not known */
	bool recover;         /* open runs of an earlier start are still to be sealed */
	int recovered;        /* how many were, at this start */

	struct signer *signer;  /* NULL: no checkpoints are made */
	int64_t signed_seq;     /* the last checkpoint, or key record */
	int64_t entries_after;  /* entries after it */
	char key_trouble[304];  /* what is wrong with LOG.key, for people; "" for nothing */
	bool keyless;           /* the log names no key: checkpoints without a signature */

	enum log_health health;
	char trouble[160];   /* what the last failure was, for people */
	int64_t retry_at;    /* monotonic us: full, tried again then */
	int64_t reserve_at;  /* low: the reserve is made again then */
	bool reserve;        /* LOG.reserve is there */

	bool wal_known;      /* the next three are; not before the first commit or checkpoint */
	int wal_frames;      /* in LOG-wal at the last commit */
	int wal_done;        /* of these, known to be in the file */
	uint8_t wal_salt[8]; /* of the WAL that wal_frames counts */
	int64_t written_at;  /* monotonic us of the last commit */
	int64_t tidy_at;     /* no checkpoint before that */

	struct run_lines *lines; /* log_run.c */
	bool runs_stale;         /* the table of runs has a hole: nothing is added to it */

	bool damaged;            /* what could not be opened is damaged, not merely unreadable */
	struct log_check found;  /* of the log that could not be opened, or of what is left */
	char aside[1024];        /* where it is now, or the damaged LOG-wal; "" for nothing */
	char aside_why[200];
	bool aside_wal;          /* it is LOG-wal alone */
	char aside_said[1500];   /* that, for whoever asks how the log stands; "" for nothing */

	int64_t *ring;       /* seq by ticket % LOG_RING; 0: refused */
	uint64_t ring_next;  /* the ticket after the last one in it */
};

/* log_file.c */
bool store_open(struct log_store *s, const struct log_options *o, struct fault *why);
void store_close(struct log_store *s);
int64_t store_clock(void); /* monotonic, us */
/* A connection that writes, set up as it must be; NULL with why and SQLite's code. */
struct sqlite3 *store_connect(const char *uri, const char *vfs, const char *journal, int *code,
                              struct fault *why);

/* A file that was made with a rollback journal will use a write-ahead log from now on; closes the
 * connection, and leaves nothing beside it. */
bool store_settle(struct sqlite3 *db, const char *path, const char *suffix, struct fault *why);

/* log_write.c */
/* Runs a statement that gives no rows, and clears its bindings.  An SQLite code. */
int store_step(struct sqlite3_stmt *st);
/* Write a group; each item knows afterwards whether it is durable, or why not.
 * `force`: try although the disk was full a moment ago (closing). */
void store_write(struct log_store *s, struct log_item *items, bool force);
/* Write as little as there is to write: the open runs of an earlier start, where
 * they are still to be sealed; when full, a page, to see whether it can be done. */
void store_probe(struct log_store *s);

/* One record whose text is made already, in a transaction of its own. */
bool store_append_text(struct log_store *s, const char *text, size_t len, struct fault *why);

/* log_text.c */
/* The seqs of the records of an item; 0 for refused. */
void ticket_put(struct log_store *s, const struct log_item *item, int64_t first_seq);
/* The text of one record as it will be sealed, `tail` before its last brace.  False
 * with item->why where it cannot be one. */
bool piece_text(const struct log_store *s, struct log_item *item, struct log_piece *p,
                int64_t seq, const char *tail);

/* log_trouble.c */
enum outcome {
	WRITTEN,
	OUT_OF_ROOM, /* full or read-only: tried again later */
	BROKEN,      /* I/O error or corruption */
	FOREIGN,     /* somebody else has appended: our head is not the head */
	NOT_NOW,     /* locked, no memory: refused, no more than that */
	UNFIT,       /* the data are at fault */
};
enum outcome trouble_kind(struct sqlite3 *db, int code);
void trouble_say(struct log_store *s, enum outcome o, int code); /* into s->trouble */
void trouble_suspect(struct log_store *s); /* nothing more until a restart */

/* log_run.c */
/* The row of a trail record, in the transaction that seals it.  An SQLite code. */
int run_add(struct log_store *s, int64_t seq, const char *text, size_t len);
void run_forget(struct log_store *s); /* after a transaction that was undone */
/* At the start: rows of what has none, in a transaction of its own.  False where that
 * cannot be written: the log works all the same. */
bool run_catch_up(struct log_store *s);

/* log_aside.c */
/* Is there anything that shows that this file was a log? */
bool aside_was_log(const char *path);
/* What of it can still be read: s->found, and a better reason. */
void aside_look(struct log_store *s, struct fault *reason);
bool aside_move(struct log_store *s, int64_t now, const struct fault *reason, struct fault *why);
/* Say it, in words and as a record, once the log can be written to. */
void aside_tell(struct log_store *s, int64_t now);
/* What was set aside at this start, or at an earlier one and still lies there: s->aside_said. */
void aside_recall(struct log_store *s);

/* log_wal_look.c */
/* Commits that stand in LOG-wal behind its first frame that does not fit: what SQLite passes
 * over.  One may be a transaction that a power cut tore, of more the last but one was synced,
 * and acknowledged.  0 where all is well. */
int wal_lost_commits(struct sqlite3 *db);
/* Is LOG-wal, which `db` reads through, that of another log?  Record 1 tells; changes nothing. */
bool wal_is_foreign(const char *path, struct sqlite3 *db);
/* A copy of LOG-wal as it is, through SQLite. */
bool wal_keep(struct sqlite3 *db, const char *to);

/* log_last.c: how far the log went, noted in LOG.lock behind the first LOG_PID_SIZE bytes. */
#define LOG_PID_SIZE 32
struct log_last {
	char identity[33]; /* of the log that is meant */
	int64_t seq;       /* a record of this number was durable once; 0: there is no note */
};
void last_note(struct log_store *s); /* after a commit; not synced */
/* By who holds the lock: others could read it before what it speaks of. */
void last_read(const char *path, struct log_last *out);
/* Does it speak of this log, and of more than it has now? */
bool last_beyond(const struct log_last *last, const char *identity, int64_t seq);
/* An older log takes the place on purpose.  False where the note may come back. */
bool last_forget(int lock);

/* log_wal.c */
void wal_mark(struct log_store *s); /* after a commit */
void wal_cut(struct log_store *s);  /* after one that failed */
void store_checkpoint(struct log_store *s, bool truncate);
/* May the WAL be emptied into the file now? */
bool store_may_tidy(const struct log_store *s);
/* Checkpoint, make the reserve again, try again.  `quiet`: nothing waits.
 * Returns when to come again (store_clock), INT64_MAX for "not by yourself". */
int64_t store_tend(struct log_store *s, bool quiet);

/* log_copy.c */
bool copy_make(struct log_reader *r, const char *part, struct fault *why);
bool copy_verify(const char *part, struct log_check *out, struct fault *why);
bool copy_sync(const char *path);

/* log_schema.c */
bool schema_create(struct sqlite3 *db, struct fault *why);
/* Put back what is missing beside the table of records; say so in note. */
bool schema_check(struct sqlite3 *db, char *note, size_t size, struct fault *why);
/* From now on this connection can do nothing but append. */
void schema_seal_off(struct sqlite3 *db);

/* log_new.c: all of them take the path of the log. */
/* A new key into LOG.key.new; its public half comes back. */
bool beside_key_make(const char *path, uint8_t public[32], struct fault *why);
/* The key in LOG.key, or LOG.key.new (suffix); NULL where there is none, with why. */
struct signer *beside_key_read(const char *path, const char *suffix, struct fault *why);
/* The rights on LOG.key (the low nine bits); false where it is not there. */
bool beside_key_mode(const char *path, unsigned *mode);
/* LOG.key.new takes the place of LOG.key. */
bool beside_key_replace(const char *path, struct fault *why);
void beside_key_drop(const char *path); /* LOG.key.new */
/* LOG.key.new becomes LOG.key, where that is left to do. */
bool beside_key_settle(const char *path, struct fault *why);
/* LOG.SUFFIX becomes LOG, which is not there. */
bool beside_put(const char *path, const char *suffix, struct fault *why);
/* Schema and record 1 into an empty file, in one transaction; key: its public half, NULL for none. */
bool store_fill(struct sqlite3 *db, const struct log_options *o, const uint8_t *key,
                struct fault *why);
/* A new log under that name, with its key; refused where something of an older one lies beside it. */
bool store_create(const char *path, const struct log_options *o, struct fault *why);

/* log_beside.c: all of them take the path of the log. */
bool beside_path(const char *given, char **absolute, struct fault *why);
char *beside_name(const char *path, const char *suffix); /* malloc; path + suffix */
bool beside_exists(const char *path, const char *suffix, int64_t *size);
bool beside_place_fits(const char *path, struct fault *why); /* no network file system */
int beside_lock(const char *path, struct fault *why);        /* -1 on failure */
/* Has a daemon the log open, this one or another?  Where that cannot be told: true. */
bool beside_held(const char *path);
/* What there is under this name can be a log: a file.  Of folders, pipes, sockets and devices
 * `why` says what they are.  What is not there passes. */
bool beside_is_file(const char *path, struct fault *why);
void beside_unlock(int lock);
/* Free bytes of the disk that the log is on; 0 where that is not known. */
double beside_room(const char *path);
bool beside_reserve_make(const char *path);
bool beside_reserve_drop(const char *path);
void beside_suspect_mark(const char *path, int64_t seq, const char *what);
bool beside_suspect_read(const char *path, char *what, size_t size);
void beside_suspect_clear(const char *path);
bool beside_folder_sync(const char *path); /* a name is durable only once its folder is */
void beside_remove(const char *path, const char *suffix);
/* LOG.aside-DATE, a name that nothing has; malloc. */
char *beside_aside_name(const char *path, int64_t now);
/* LOG and what lies beside it (with `key` LOG.key, too) get other names, which are still
 * those of a log and its parts; `out` is the new name of LOG.  Nothing is deleted. */
bool beside_set_aside(const char *path, bool key, int64_t now, char *out, size_t size,
                      struct fault *why);

/* log_verify.c */
bool verify_chain(struct sqlite3 *db, const struct log_pin *pin, const struct log_going *going,
                  struct log_check *out, struct fault *why);
/* May it go on?  `going` may be NULL; why says that it was stopped. */
bool verify_goes_on(const struct log_going *going, int64_t done, int64_t all, struct fault *why);
/* Is this what SQLite says of damaged pages? */
bool sqlite_says_damaged(int code);
/* Does `text` stand in its place as the record after c->records, and which hash has it
 * there?  Then: does it keep rules 3 to 6?  SQLITE_OK; SQLITE_DONE where it ends the chain,
 * which c says, `but` before the words. */
int verify_text(struct sealer *sealer, int64_t seq, const char *text, size_t len,
                struct log_check *c, uint8_t hash[32]);
int verify_form(int64_t seq, const char *text, size_t len, const char *but, struct log_check *c);
void verify_altered(struct log_check *c, const char *what); /* the record after c->records */
/* The answer, once all was read; at_anchor: the hash of the record that pin names. */
void verify_conclude(struct log_check *c, const struct log_pin *pin, const uint8_t *at_anchor);
/* Is it a good one? */
bool verdict_holds(enum log_verdict v);

/* log_vouch.c: zeroed but for above, arg and pin at the beginning */
struct vouch {
	/* The hash of a record further up, which was found to fit.  An SQLite code. */
	int (*above)(void *arg, int64_t seq, uint8_t hash[32]);
	void *arg;
	const struct log_pin *pin; /* or NULL */
	bool pinned;               /* the fingerprint asked for was seen */
	bool keyless;              /* record 1 names no key */
	bool rewritten;            /* what the first bad signature shows */
	uint8_t before[32];        /* hash of the record before */
	char what[160];
};
/* The next record of the chain, which fits: c->records is its seq, c->head its hash.
 * An SQLite code. */
int vouch_record(struct vouch *v, struct log_check *c, const char *text, size_t len);
void vouch_conclude(const struct vouch *v, struct log_check *c);
/* Of a part of a log: the key that holds before its first record, NULL for none. */
void vouch_part(struct vouch *v, struct log_check *c, const uint8_t *key);
/* Is this the text of such a record?  It must keep rule 3 of SEAL.md. */
bool text_is_of_kind(const char *text, size_t len, const char *kind);

/* log_export.c */
/* The lines of an export, each record as soon as it was read (its hash is ours, the export's
 * comes later); false ends it.  False on a fault, or where `each` ended it. */
typedef bool export_record(void *arg, int64_t seq, const char *text, size_t len,
                           const uint8_t hash[32]);
bool export_walk(const char *path, const struct log_pin *pin, const struct log_going *going,
                 export_record *each, void *arg, struct log_check *out, struct fault *why);

/* log_sign.c */
/* After the chain was read: the key beside the log, if it is the log's.  What is wrong
 * with it goes to s->opening. */
void sign_begin(struct log_store *s, const struct log_check *c);
void sign_end(struct log_store *s);
/* Of the records of a transaction that may be rolled back. */
struct sign_count {
	int64_t entries; /* since the last checkpoint */
	bool due;        /* a checkpoint is to follow */
};
void sign_see(struct sign_count *count, const char *text, size_t len);
/* The text of a checkpoint of record `seq`, which has that hash; true where it is one. */
bool sign_text(const struct log_store *s, int64_t seq, const uint8_t hash[32], int64_t t,
               struct text *out);

/* log_read.c */
struct log_reader {
	struct sqlite3 *db; /* NULL after a fault */
	int way;            /* how it was opened */
	struct log_going going;
	char *path;
	/* Which readings are of the position that is asked for; NULL: by the name alone. */
	bool (*called)(void *arg, int64_t seq, const char *name);
	void *called_arg;
};
struct trail_summary;
/* Is this run, of record `seq`, among those that are asked for? */
bool reader_in_stretch(const struct log_reader *r, const struct log_trail_query *q, int64_t seq,
                       const struct trail_summary *run);
/* The open runs among them (log_open.c), on the connection as it is; `each` returns false to
 * stop.  A code of SQLite.  reader_give_open hands them to q->unsealed. */
int reader_open_runs(struct log_reader *r, const struct log_trail_query *q,
                     bool (*each)(void *arg, const struct trail_summary *run, const char *text,
                                  size_t len),
                     void *arg);
int reader_give_open(struct log_reader *r, const struct log_trail_query *q, void *arg);
/* Open it anew where a daemon was started or ended since; before every question. */
bool reader_refresh(struct log_reader *r, struct fault *why);
/* As log_reader_open; *damaged: it cannot be opened because its bytes are no log any more. */
struct log_reader *reader_open(const char *path, bool *damaged, struct fault *why);
/* file:/absolute/path with what is special escaped, and `parameters` after "?". */
char *sqlite_uri(const char *path, const char *parameters);

#endif
