/* SPDX-License-Identifier: MIT */
/*
 * One value from a meter.
 *
 * A reading is what one frame said, and nothing that was concluded from it.
 * Time is stream time: microseconds since the run began, taken at the first
 * byte of the frame.  States that are not a number (overload, for one) are
 * states; the value is then absent and never a 0 or a made-up number.
 */
#ifndef TALLY_TRADE_READING_H
#define TALLY_TRADE_READING_H

#include "protocol/trade/quantity.h"

/* Bits of `state`; the words are those of records. */
#define READING_STATE_LIST(X)         \
	X(OVERLOAD, 1u, "overload")       \
	X(UNDER, 2u, "under")             \
	X(HOLD, 4u, "hold")               \
	X(LOW_BATTERY, 8u, "low-battery") \
	X(RELATIVE, 16u, "relative")      \
	X(MINMAX, 32u, "min-max")         \
	X(INVALID, 64u, "invalid")

enum reading_state {
#define X(id, bit, word) READING_##id = bit,
	READING_STATE_LIST(X)
#undef X
};

struct reading {
	int64_t t;              /* us of stream time, at the first byte of the frame */
	enum function function; /* what the meter was set to */
	unsigned state;         /* READING_* bits; 0 is an ordinary reading */
	bool has_value;         /* false with overload, under range and invalid */
	bool negative;          /* of an overload: it was a negative one */
	struct decimal value;   /* SI; value.e is the weight of the meter's last digit */
	int prefix;             /* power of ten of the SI prefix that the meter showed */
	bool has_second;        /* the meter sent a second value with it (second.h) ... */
	struct decimal second;  /* ... SI; its e is the weight of its last digit */
};

/* The word of the first (lowest) bit of `state`, or "" where it is 0. */
const char *reading_state_word(unsigned state);
/* The same of *state, which it leaves; NULL where it is 0. */
const char *reading_state_next(unsigned *state);
/* The bit of that word (len bytes); 0 where it is none of ours. */
unsigned reading_state_bit(const char *word, size_t len);

/* Write the reading for people: "0.4812 kohm", "overload"; returns the length. */
size_t reading_shown(const struct reading *r, char *out, size_t size);

#endif
