/* SPDX-License-Identifier: MIT */
/*
 * The bodies of records: every kind that is sealed, written and read in one place.
 *
 * A writer appends the members that stand after "kind" (with their leading commas,
 * as daemon/log wants them); a reader takes the whole text of a record and returns
 * false where it is not one of that kind, or where what the record must hold is
 * not there.  What each member means stands in protocol/SEAL.md.
 *
 * Writers never fail half-way: where the buffer is full, out->failed is set.
 * Strings that are pointers belong to the caller; NULL leaves the member out unless
 * the comment says otherwise.
 */
#ifndef TALLY_RECORD_RECORD_H
#define TALLY_RECORD_RECORD_H

#include "protocol/record/sheet.h"
#include "protocol/record/text.h"
#include "protocol/trade/entry.h"
#include "protocol/trade/use.h"

/* A buffer that holds any body written here, a trail run of TRAIL_READINGS_MAX
 * readings and an entry with all its frames among them. */
#define RECORD_BODY_MAX 65536
#define RECORD_KIND_SIZE 16
#define JOB_SIZE 64 /* name of a job, with its NUL */

/* ---- every record ---- */

struct record_head {
	int64_t seq;
	int64_t t; /* UTC, us since 1970 */
	char kind[RECORD_KIND_SIZE];
};
bool record_head_read(const char *text, size_t len, struct record_head *out);

/* Does `text` keep the rules for the text of record `seq` (SEAL.md, rules 3 to 6)?
 * On false the fault's column is the first byte that does not. */
bool record_valid(int64_t seq, const char *text, size_t len, struct fault *why);

/* Who asked for it: the user id of the client's process.  Zeroed: nobody said. */
struct asked_by {
	bool known;
	unsigned uid;
};

/* ---- a meter's limits of use, in the records of what it read ---- */

/* The member `use`, left out where nothing is known (or `use` is NULL). */
void use_write(struct text *out, const struct limits_of_use *use);
/* The same of any record that may have one; false, and nothing known, where it has
 * none. */
bool use_read(const char *text, size_t len, struct limits_of_use *use);

/* ---- entry ---- */

/* Which readings an entry came from: records of kind trail and indices in them. */
struct trail_part {
	uint64_t ticket; /* of the trail record, where its seq is not known yet */
	int64_t seq;     /* where it is; else 0 */
	int from, to;    /* indices, inclusive */
};

#define ENTRY_FRAMES_MAX 16
#define ENTRY_TRAIL_MAX 64

/* What an entry record holds beside struct entry. */
struct entry_beside {
	const char *job;                      /* NULL: null */
	const char *valve;                    /* the number of the valve that is there; NULL, "" for none */
	const char *shown;                    /* "0.345 uF"; NULL: null */
	const char *frames[ENTRY_FRAMES_MAX]; /* escaped as in recordings, oldest first */
	int frame_count;
	struct trail_part trail[ENTRY_TRAIL_MAX];
	int trail_count;
	bool accuracy_assumed;
	const struct limits_of_use *use;      /* of its function; NULL for none */
	const char *because;                  /* typed entries; NULL for none */
	struct asked_by by;                   /* taken by key, or typed */
	struct record_ref guide;              /* the beginning of the guided run that it is of */
};

/*
 * u, probability and deviation are written with six significant digits; decimals
 * exactly, but for `above`, limits and `other` without the weight of their last
 * digit.  seq, t and struck are not part of the body: the log writes the first
 * two, and a strike is a record of its own.
 */
void entry_write(struct text *out, const struct entry *e, const struct entry_beside *beside);

/* False where the text is not an entry record.  seq and t are those of the record
 * (t in UTC); struck is false.  A `service` of null gives a verdict of
 * VERDICT_NONE with nothing in it. */
bool entry_read(const char *text, size_t len, struct entry *e);

/* The member `job` of any record that has one; "" where it has none. */
void record_job(const char *text, size_t len, char out[JOB_SIZE]);

/* ---- offset, check: what entries refer to ---- */

/* Of `e` the meter, function, value, digit, prefix, u, n; leads: "short" or "open". */
void offset_body_write(struct text *out, const char *leads, const struct entry *e,
                       const struct entry_beside *beside);

/* A meter against a reference part: E_n = |value - nominal| / sqrt(U^2 + U_nominal^2). */
struct check_result {
	struct decimal nominal;
	double u; /* standard, of the nominal */
	double en;
	bool agree;
};
void check_body_write(struct text *out, const struct entry *e, const struct entry_beside *beside,
                      const struct check_result *r);

struct backing_body {
	bool check; /* else an offset */
	int64_t seq, t;
	char meter[NAME_SIZE], position[NAME_SIZE]; /* position: of a check */
	enum function function;
	struct decimal value;
	double u;
	double en; /* of a check, and whether the two agree */
	bool agree;
};
/* kind: "offset" or "check"; false where the text is none. */
bool backing_body_read(const char *text, size_t len, const char *kind, struct backing_body *b);

/* ---- trail: one run of readings of one meter, function, digit and position ---- */

#define TRAIL_READINGS_MAX 1000
#define TRAIL_TICK_US 100
#define TRAIL_SECONDS_MAX 60

struct trail_reading {
	int64_t at;     /* ticks of TRAIL_TICK_US since the record's t; never falling */
	int64_t v;      /* the value counted in `digit` */
	int64_t second; /* what the meter sent beside it, counted in `second_digit` */
	unsigned state; /* READING_* bits; of those, see trail_body_write */
	bool has_value, has_second;
};

struct trail_body {
	const char *job;      /* NULL: left out */
	const char *meter;
	enum function function;
	const char *position; /* NULL or "": null */
	struct decimal digit; /* what one count weighs, SI */
	/* What the second values are, and what one count of them weighs; SECOND_NONE: there are
	 * none, and nothing is written of them. */
	enum second_kind second;
	struct decimal second_digit;
	const struct trail_reading *reading;
	int n;                /* 1 to TRAIL_READINGS_MAX */
	const struct limits_of_use *use; /* of its function; NULL for none; not read back */
	bool recovered;       /* read back only: the log marks what a kill left open */
};

/* Bytes that this reading adds to the text of its run, at most: end the run before
 * the sum passes TRAIL_TEXT_MAX (only a fast meter with three states at every
 * reading ever comes near it before TRAIL_READINGS_MAX). */
size_t trail_reading_size(const struct trail_reading *r);
#define TRAIL_TEXT_MAX (RECORD_BODY_MAX - 1024)

void trail_body_write(struct text *out, const struct trail_body *b);

/* Strings of a trail record that was read. */
struct trail_names {
	char meter[NAME_SIZE], position[NAME_SIZE];
};
/* Fills body, names and up to `size` readings; body->n is how many there are in
 * the record, body->reading is `reading`. */
bool trail_body_read(const char *text, size_t len, struct trail_body *body,
                     struct trail_names *names, struct trail_reading *reading, int size);

/* A run, or the part of one that lies in a stretch of time, without its readings. */
struct trail_extremes {
	int n;          /* readings, those without a value among them */
	bool has_value; /* the next four are there: at least one had a value */
	double low, high, first, last; /* SI */
};
struct trail_summary {
	char meter[NAME_SIZE], position[NAME_SIZE]; /* "" for no position */
	enum function function;
	int64_t t;    /* us since 1970, of the first reading */
	int64_t span; /* us from the first to the last */
	struct trail_extremes all;
	/* inside: slices of the text, and how far the parts have come */
	struct decimal digit;
	struct slice at, v;
	size_t next_at, next_v;
};
/* From the text of a trail record as it is written here; false for any other.  The
 * text must outlive it. */
bool trail_summary_read(const char *text, size_t len, struct trail_summary *s);
/* Its parts, in order: pass over the readings before `to` (us since 1970), or take them. */
void trail_summary_skip(struct trail_summary *s, int64_t to);
void trail_summary_part(struct trail_summary *s, int64_t to, struct trail_extremes *out);

/* ---- log: record 1, and no other ---- */

struct log_body {
	uint8_t identity[16];
	const char *bench;
	const char *version; /* of the program that began the log */
	const uint8_t *key;  /* 32 bytes, Ed25519; NULL (null) until checkpoints come */
};
void log_body_write(struct text *out, const struct log_body *b);

/* ---- clock: what stream time is tied to ---- */

struct clock_body {
	const char *boot;    /* the machine's boot id */
	const char *cause;   /* start, step (the wall clock was set), suspend (the machine slept) */
	const char *version; /* of the program that runs */
	int64_t step;        /* us by which it was set (the clock of before is behind), or for how long
	                      * the machine slept; 0: left out */
};
void clock_body_write(struct text *out, const struct clock_body *b);

/* ---- job ---- */

#define JOB_CHANGE_LIST(X)                                                     \
	X(STARTED, "started")                                                      \
	X(CLOSED, "closed")                                                        \
	X(COLD, "cold")                                                            \
	X(LIVE, "live")                                                            \
	X(DISCHARGING, "discharging") /* live, and its reservoirs are measured dead */ \
	X(SET, "set") /* condition or reach was chosen; nothing of the above changed */

enum job_change {
#define X(id, name) JOB_##id,
	JOB_CHANGE_LIST(X)
#undef X
	    JOB_CHANGE_COUNT
};

/* What happened, and the whole state after it: the last record of a job says all. */
struct job_body {
	char job[JOB_SIZE];
	enum job_change change; /* member `state` */
	bool open;
	bool live;              /* member `unit`: cold or live */
	enum condition condition;
	enum reach reach;
	char because[200];      /* why it is cold; "": left out */
	/* The position at which a reach was said, that is not in-circuit: its leg is up.  "":
	 * left out. */
	char position[NAME_SIZE];
	char again[JOB_SIZE];   /* the earlier job of this unit; "": left out */
	struct asked_by by;
};
void job_body_write(struct text *out, const struct job_body *b);
bool job_body_read(const char *text, size_t len, struct job_body *b);

/* ---- sheet: a file was loaded; its position records stand before it ---- */

struct sheet_body {
	char job[JOB_SIZE];
	char file[256]; /* its name, for people */
	int64_t count;  /* of position records */
	struct asked_by by;
};
void sheet_body_write(struct text *out, const struct sheet_body *b);
bool sheet_body_read(const char *text, size_t len, struct sheet_body *b);

/* ---- position ---- */

#define POSITION_CHANGE_LIST(X)                          \
	X(LOADED, "loaded") /* from a file */                \
	X(SET, "set")       /* a field was set by hand */    \
	X(NAMED, "named")   /* as it was touched, no sheet */ \
	X(NEW, "new")       /* the next of a strip, `at new` */ \
	X(ADDED, "added")   /* a line was typed */           \
	X(MIRRORED, "mirrored") /* from the other channel */ \
	X(RENAMED, "renamed")   /* it, or a position that it names, has another name */ \
	X(LEARNT, "learnt")     /* its kind, from what was measured */ \
	X(PAIRED, "paired")     /* a proposed twin was accepted */

enum position_change {
#define X(id, name) POSITION_##id,
	POSITION_CHANGE_LIST(X)
#undef X
	    POSITION_CHANGE_COUNT
};

/* The row as it stands after the change; the last record of a position counts. */
struct position_body {
	char job[JOB_SIZE];
	enum position_change change;
	const struct sheet_row *row; /* borrowed by the writer; NULL after reading */
	struct asked_by by;
};
void position_body_write(struct text *out, const struct position_body *b);
/* A row that today's rules understand otherwise than the record says is refused. */
bool position_body_read(const char *text, size_t len, struct position_body *b,
                        struct sheet_row *row, struct fault *why);

/* ---- what is said of an entry afterwards ---- */

struct rejudge_body {
	int64_t of; /* seq of the entry */
	char job[JOB_SIZE];
	char position[NAME_SIZE];
	char because[160];
	struct verdict verdict, service;
	bool has_second; /* the entry has a second value, and this is its verdict */
	struct verdict second;
	enum against against;
	struct asked_by by; /* of what made it come out otherwise; unknown where it follows later */
};
void rejudge_body_write(struct text *out, const struct rejudge_body *b);
bool rejudge_body_read(const char *text, size_t len, struct rejudge_body *b);

struct strike_body {
	int64_t of;
	char job[JOB_SIZE];       /* "": left out */
	char position[NAME_SIZE]; /* of the entry, so that it is found by position */
	char because[320];
	struct asked_by by;
};
void strike_body_write(struct text *out, const struct strike_body *b);
bool strike_body_read(const char *text, size_t len, struct strike_body *b);

/* The entry `of` was taken at `from` and belongs to `position`. */
struct move_body {
	int64_t of;
	char job[JOB_SIZE];
	char position[NAME_SIZE], from[NAME_SIZE];
	char because[320];
	struct asked_by by;
};
void move_body_write(struct text *out, const struct move_body *b);
bool move_body_read(const char *text, size_t len, struct move_body *b);

/* ---- alarm: danger that began or is over ---- */

struct alarm_body {
	const char *job;      /* NULL or "": left out */
	const char *alarm;    /* live, mains, held */
	const char *meter;    /* that saw it; NULL: null */
	const char *position; /* NULL: null */
	bool on;
	const char *what;     /* one sentence; member `text` */
};
void alarm_body_write(struct text *out, const struct alarm_body *b);

/* ---- note ---- */

struct note_body {
	char job[JOB_SIZE];       /* "": left out */
	char position[NAME_SIZE]; /* "": null, a note on the job */
	char note[1024];          /* member `text` */
	/* A photo that is kept beside the log; hash "": none.  The name is that of the file as the
	 * person called it. */
	struct {
		char hash[65], name[160], type[8];
		int64_t size;
	} photo;
	struct asked_by by;
};
void note_body_write(struct text *out, const struct note_body *b);
bool note_body_read(const char *text, size_t len, struct note_body *b);

/* ---- meter: one came, went, or said who it is ---- */

struct meter_body {
	const char *meter;
	const char *dialect;
	const char *state;    /* configured, here, gone */
	const char *identity; /* what it says it is; NULL: null */
	/* The same in its fields: with an identity all four are written, NULL or "" as
	 * null. */
	const char *maker, *model, *serial, *firmware;
	const char *accuracy; /* as configured, for people; NULL: null, a class is assumed */
	double stamp_u;       /* s, standard uncertainty of its stamps; 0: left out */
	const struct limits_of_use *use; /* all of them; NULL for none */
	const char *cause;    /* why the state changed; NULL for none */
};
void meter_body_write(struct text *out, const struct meter_body *b);

/* ---- gap: a stretch without readings that should have been there ---- */

struct gap_body {
	const char *meter;
	int64_t from, to;  /* UTC, us since 1970 */
	const char *cause;
	int64_t lost;      /* readings known to be lost; -1 where unknown */
};
void gap_body_write(struct text *out, const struct gap_body *b);

/* ---- bad: frames that were no reading ---- */

#define BAD_FRAMES_MAX 16

struct bad_frame {
	int64_t t;         /* UTC, us since 1970 */
	const char *bytes; /* escaped as in recordings */
	const char *why;
};

struct bad_body {
	const char *meter;
	const struct bad_frame *frame; /* the first ones */
	int frames;                    /* at most BAD_FRAMES_MAX */
	int64_t count;                 /* of all that this record stands for */
};
void bad_body_write(struct text *out, const struct bad_body *b);

#endif
