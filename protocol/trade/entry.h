/* SPDX-License-Identifier: MIT */
/*
 * The one settled value of a touch, logged to a position and quantity, with its
 * uncertainty and verdict.  The record of it is written by protocol/record;
 * this is the form in memory that judgement and comparison work on.
 */
#ifndef TALLY_TRADE_ENTRY_H
#define TALLY_TRADE_ENTRY_H

#include "protocol/trade/position.h"
#include "protocol/trade/reading.h"
#include "protocol/trade/second.h"
#include "protocol/trade/uncertainty.h"
#include "protocol/trade/use.h"
#include "protocol/trade/verdict.h"

#define CONDITION_LIST(X) \
	X(FOUND, "found")     \
	X(NEW, "new")         \
	X(DONE, "done")

#define REACH_LIST(X)           \
	X(IN_CIRCUIT, "in-circuit") \
	X(LIFTED, "lifted")         \
	X(LOOSE, "loose")

enum condition {
#define X(id, name) CONDITION_##id,
	CONDITION_LIST(X)
#undef X
	    CONDITION_COUNT
};

enum reach {
#define X(id, name) REACH_##id,
	REACH_LIST(X)
#undef X
	    REACH_COUNT
};

enum source {
	SOURCE_METER, /* sent by the meter */
	SOURCE_TYPED, /* from an instrument without a data line; marked so for ever */
};

/* Whose specification a `new` or `done` part was judged by: its own (the fit), or, as long
 * as no fit is known, that of the part that the sheet has there. */
enum against {
	AGAINST_NOTHING, /* as found: by the sheet, of course */
	AGAINST_SHEET,
	AGAINST_FIT,
};

struct entry {
	int64_t seq;               /* of its record; 0 until it is sealed */
	int64_t t;                 /* us of stream time at which it was taken */
	char position[NAME_SIZE];
	char meter[NAME_SIZE];     /* the meter's name, or the instrument's */
	enum quantity quantity;
	enum condition condition;
	enum reach reach;
	enum source source;
	enum function function;
	bool has_value;            /* false with overload */
	unsigned state;            /* READING_* bits */
	struct decimal value;      /* SI; value.e is the weight of the digit */
	int prefix;                /* power of ten of the shown prefix */
	bool has_above;
	struct decimal above;      /* with overload: the end of the range */
	/* What stands behind it (0: nothing): records by their seq. */
	int64_t offset;            /* the lead offset that was taken off the value */
	int64_t check;             /* the newest check of the meter against a reference */
	bool has_raw;              /* the offset changed the value ... */
	struct decimal raw;        /* ... from this, as the meter gave it */
	bool offset_missing;       /* it matters here, and none counts */
	bool check_failed;         /* the meter did not agree with the reference */
	double u;                  /* standard uncertainty, SI */
	struct basis basis;        /* what it was made of */
	double hertz;              /* of an AC signal, as far as it or the sheet tells; 0: unknown */
	struct decimal frequency;  /* the same, as it was said of this entry; n 0: it was not */
	struct use use;            /* what the meter was made to measure, for this function */
	bool swapped;              /* measured with the leads swapped ... */
	enum agreement swap;       /* ... and whether that agrees with the value before */
	char twin[NAME_SIZE];      /* in circuit: the twin, "" where it had no such value ... */
	bool twin_agrees;          /* ... and whether the two agree */
	double twin_difference;    /* (this - twin) / mean of the two */
	struct second second;      /* what the meter sent beside the value ... */
	struct verdict second_verdict; /* ... by the limit that the sheet has for it */
	int n;                     /* readings used */
	bool settled;
	struct verdict verdict;    /* against tolerance */
	struct verdict service;    /* against the service limit, which is the place's */
	enum against against;      /* of the first */
	bool struck;
};

/* The second value as an entry of its own, to take its uncertainty apart.  False where there
 * is none, or the record does not say what its u was made of. */
bool entry_second(const struct entry *e, struct entry *out);

const char *condition_name(enum condition c);
bool condition_from_name(const char *name, size_t len, enum condition *out);
const char *reach_name(enum reach r);
bool reach_from_name(const char *name, size_t len, enum reach *out);
const char *source_name(enum source s);
const char *against_name(enum against a); /* "" for nothing */

#endif
