/* SPDX-License-Identifier: MIT */
/*
 * The trail of one meter: its readings, gathered into runs.
 *
 * A run holds readings of one function, digit and position, in order, with what the meter
 * sent beside each (a finer digit of that ends the run, too).  It ends
 * when one of these changes, at a gap, after TRAIL_READINGS_MAX readings
 * or TRAIL_RUN_US, and when an entry is made from it.  A run that ended is one
 * sealed `trail` record; an entry names its readings by record and index, so
 * the last runs are remembered here until no entry can need them any more.
 *
 * Pure: no clock, no allocation.
 */
#ifndef TALLY_TRAIL_H
#define TALLY_TRAIL_H

#include "protocol/record/record.h"

#define TRAIL_RUN_US (INT64_C(1000000) * TRAIL_SECONDS_MAX)
/* Sealed runs remembered: a touch may hunt through that many digits and ranges
 * before it settles; an older run is only named by an entry of over a minute. */
#define TRAIL_SEALED_MAX 128

/* Runs of a value that waits for a word; it may wait for hours. */
#define TRAIL_KEPT_MAX 16

struct trail_sealed {
	uint64_t first; /* ordinal of its first reading */
	int n;
	uint64_t ticket;
	int64_t seq; /* 0 until durable */
};

struct trail {
	const struct limits_of_use *use; /* of the meter, its owner's; NULL for none */
	uint64_t count; /* readings so far; the next one has this ordinal */
	/* the open run; n is 0 where there is none */
	int n;
	uint64_t first;
	int64_t t; /* us of stream time of the first reading */
	enum function function;
	char position[NAME_SIZE]; /* "" for none */
	/* Power of ten of the last digit.  While every reading was without a value it
	 * is the one last seen of this function (0 for none) and says nothing yet. */
	bool has_digit;
	int digit;
	/* What the meter sends beside each value (its owner's word), and the finest digit that it
	 * had in this run; coarser ones are counted in it, too. */
	enum second_kind second;
	bool has_second;
	int second_digit;
	struct trail_reading reading[TRAIL_READINGS_MAX];
	size_t text;  /* bytes that its record will have, at most */
	bool changed; /* since it was last saved */
	/* the last ones that ended, a ring */
	struct trail_sealed sealed[TRAIL_SEALED_MAX];
	int sealed_next, sealed_count;
	/* readings that may be named however long it takes, and the runs of them that
	 * left the ring */
	uint64_t keep_from, keep_to;
	struct trail_sealed kept[TRAIL_KEPT_MAX];
	int kept_count;
};

/* Would this reading go on with the open run?  False where the run must be ended
 * first (or where none is open). */
bool trail_continues(const struct trail *tr, const struct reading *r, const char *position);

/* Add a reading; the caller has ended the run where trail_continues said so.
 * Returns its ordinal. */
uint64_t trail_add(struct trail *tr, const struct reading *r, const char *position);

/* us of stream time of the open run's last reading, as its record will have it. */
int64_t trail_end_time(const struct trail *tr);

/* When the open run must end because of its age; INT64_MAX where none is open. */
int64_t trail_deadline(const struct trail *tr);

/* The body of the open run's record. */
void trail_write(const struct trail *tr, const char *job, const char *meter, struct text *out);

/* The open run was handed to the log under this ticket (0: it was refused, and
 * its readings are not to be named): it is over. */
void trail_end(struct trail *tr, uint64_t ticket);

/* The record of that ticket is durable as `seq` (0: it was refused). */
void trail_durable(struct trail *tr, uint64_t ticket, int64_t seq);

/* The readings from..to (ordinals) may be named later, at any time; those that were
 * kept before no more. */
void trail_keep(struct trail *tr, uint64_t from, uint64_t to);

/* Where the readings from..to (ordinals) stand: fills at most `max` parts in
 * order, the open run as under `ticket`. Returns the number of parts. */
int trail_parts(const struct trail *tr, uint64_t from, uint64_t to, uint64_t ticket,
                struct trail_part *out, int max);

#endif
