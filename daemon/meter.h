/* SPDX-License-Identifier: MIT */
/*
 * One meter: from the bytes of its line to readings, and what is asked of it.
 *
 * Pure: no line is opened here and no clock is read.  Bytes and time come in,
 * bytes to send and readings come out through hooks.  Live, the hooks reach the
 * port; in a replay nothing is sent, for nobody would answer.
 *
 * The one promise about asked meters: an answer is never taken for the answer to
 * another question.  Readings look alike, so once an answer is overdue no further
 * query is sent until the meter has answered *IDN?, which no late reading can be
 * mistaken for; what arrives before that is counted as late and is no reading.
 *
 * What bare numbers are is said by the configuration, or else learnt from the meter
 * (meter_learn.h).  A meter that says no function is not read, and `why` says what to write;
 * nothing is guessed.
 */
#ifndef TALLY_METER_H
#define TALLY_METER_H

#include "daemon/meter_learn.h"
#include "protocol/trade/second.h"
#include "protocol/meter/identity.h"

#define METER_COMMAND_MAX 128
#define METER_SETUPS_MAX 16
/* Frames remembered for the entries that are made of them. */
#define METER_FRAMES 16
/* Answers of which the time is remembered. */
#define METER_ANSWERS 8
/* Room for one frame escaped as in recordings. */
#define METER_FRAME_TEXT (FRAME_MAX * 4 + 1)

struct meter_config {
	const struct dialect *dialect;
	char query[METER_COMMAND_MAX];  /* "" for the dialect's own */
	char setup[METER_SETUPS_MAX][METER_COMMAND_MAX];
	int setups;
	enum function function; /* of bare numbers; FUNCTION_NONE: as the dialect says */
	/* Resolution of an asked meter, by function. */
	bool has_digit[FUNCTION_COUNT];
	struct decimal digit[FUNCTION_COUNT];
	int64_t pace_us;        /* least time from query to query; 0: as fast as it answers */
	int64_t timeout_us;     /* an answer is overdue after this */
	enum second_kind second; /* of the pairs that it sends */
	int conversion;         /* frames that the meter sends of one conversion */
	bool identify;          /* it understands *IDN? */
	bool replay;
	struct line_settings line;
};
/* The defaults of a dialect: time-out 2 s, conversion 1, identify. */
void meter_config_standard(struct meter_config *c, const struct dialect *d);

struct meter_hooks {
	void (*send)(void *arg, const char *bytes, size_t len);
	/* Every frame; of a bad one `u->said` is SAID_NOTHING and u->why says why. */
	void (*frame)(void *arg, const struct frame *f, const struct understood *u);
	void (*reading)(void *arg, const struct reading *r);
	/* State, identity, the function learnt or the reason of a trouble is another. */
	void (*changed)(void *arg);
	/* An asked meter has fallen silent, or is in step again. */
	void (*silence)(void *arg, int64_t t, bool silent);
	void *arg; /* any hook may be NULL */
};

struct meter_counters {
	uint64_t good;       /* frames that were understood */
	uint64_t bad;        /* frames that were not, late ones too */
	uint64_t readings;
	uint64_t timeouts;
	uint64_t late;       /* answers that came after their time, or unasked, or twice */
	/* Times that its place was lost: a frame that was cut or had no end, so that the
	 * next beginning was looked for, or an overdue answer, after which only *IDN? (or
	 * silence) tells which answer belongs to which question. */
	uint64_t resync;
	uint64_t parity;     /* bytes with a parity or framing error, and breaks */
	uint64_t reconnects; /* openings after the first */
};

enum meter_state {
	METER_ABSENT,   /* no line */
	METER_QUIET,    /* open; nothing is sent yet */
	METER_IDENTIFY, /* *IDN? is asked for the first time */
	METER_SETUP,    /* the error queue is read: first until it is empty, for what is in it
	                 * may be older than us, then behind each set-up command */
	METER_LEARN,    /* its function is asked */
	METER_IDLE,     /* the next query comes at its pace */
	METER_ASKED,    /* a query is out */
	METER_CHECK,    /* the error queue is read after an answer that was no value */
	METER_RESYNC,   /* an answer is overdue: *IDN? is asked, readings are late ones */
	METER_DRAIN,    /* the same for a meter without *IDN?: waits for silence */
	METER_FAILED,   /* the set-up was refused; only another opening ends this */
	METER_UNKNOWN,  /* it does not say what it measures; the same */
	METER_LISTEN,   /* listened to */
	METER_REPLAY,   /* of an asked meter: taken by content */
	METER_STATES
};

/* The last frames that gave readings, a ring. */
struct meter_frames {
	struct { char bytes[FRAME_MAX]; size_t len; } frame[METER_FRAMES];
	int next, count;
};

/* Fields are private to meter.c and its two halves (meter_parts.h). */
struct meter {
	struct meter_config config;
	struct meter_hooks hooks;
	enum meter_state state;
	struct frame_splitter splitter;
	struct dialect_setting setting;
	struct dialect_memory memory;
	struct meter_counters counters;
	int64_t now;       /* of the input that is being worked on */
	int64_t deadline;  /* of the state, INT64_MAX for none */
	int64_t asked_at;
	int64_t answers[METER_ANSWERS]; /* us from query to answer, of the last ones, a ring */
	int answer_count;  /* only the place in the ring and "full" count */
	size_t frame_len;  /* bytes of the last good frame, its end too */
	bool ask_next;     /* a question is due once these bytes are through */
	bool silent;       /* said by hooks.silence */
	bool in_step;      /* has answered a query since the opening */
	int openings;
	/* *IDN? questions whose answers are still to come: a meter is in step only
	 * when the last of them is answered, for an older one proves nothing about
	 * what was asked after it. */
	int identities_due;
	int64_t patience;  /* in RESYNC: to the next *IDN?; doubles, for a slow meter */
	int setup;         /* index of the set-up command that is being checked; -1: none, the
	                    * queue is emptied before the first */
	int errors_read;
	struct learn learn;
	char wordy[80];    /* what it answered to *IDN? that was no identity */
	char refused[200]; /* of a set-up: the first error, while the queue is emptied */
	int refused_number;
	char identity[200];
	struct identity fields;
	char why[320];
	struct meter_frames last;
};

void meter_begin(struct meter *m, const struct meter_config *config,
                 const struct meter_hooks *hooks);
/* The same dialect in another place: its configuration was loaded anew. */
void meter_dialect(struct meter *m, const struct dialect *d);
void meter_opened(struct meter *m, int64_t t);
void meter_gone(struct meter *m, int64_t t, const char *cause);
void meter_bytes(struct meter *m, int64_t t, const char *bytes, size_t len);
/* A byte with a parity or framing error: it voids its frame. */
void meter_bad_byte(struct meter *m, int64_t t);
/* When meter_tick must be called; INT64_MAX for never. */
int64_t meter_deadline(const struct meter *m);
void meter_tick(struct meter *m, int64_t t);

/* What a bare number is: as configured, else as query or set-up say. */
enum function meter_config_function(const struct meter_config *c);

/* What it is now: configured, else learnt; FUNCTION_NONE while it has not said so. */
enum function meter_function(const struct meter *m);

const char *meter_identity(const struct meter *m); /* "" while it has none */
/* The same in its fields, empty where it has none or says them otherwise. */
const struct identity *meter_identity_fields(const struct meter *m);
const char *meter_state_word(const struct meter *m);
const char *meter_why(const struct meter *m);      /* what is wrong with it; "" for nothing */
const struct meter_counters *meter_counters(const struct meter *m);
/* Usual time from query to answer, us; 0 for listened meters, in a replay, and while
 * unknown. */
int64_t meter_answer_us(const struct meter *m);
/* Bytes of its frames with their end, as last seen; 0 while unknown. */
size_t meter_frame_len(const struct meter *m);

/* The last frames that gave readings, at most `max`, oldest first, escaped as in
 * recordings; returns how many. */
int meter_last_frames(const struct meter *m, int max, char out[][METER_FRAME_TEXT]);
/* The same in two steps: keep them now, write them later. */
const struct meter_frames *meter_frames(const struct meter *m);
int meter_frames_write(const struct meter_frames *l, int max, char out[][METER_FRAME_TEXT]);

#endif
