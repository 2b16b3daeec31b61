/* SPDX-License-Identifier: MIT */
/*
 * What the last bytes of a line look like: do they fit the settings with which the
 * line is read?  For `tally doctor`; nothing here makes or refuses a reading.
 *
 * Only what follows from the bits is said.  On the wire a byte is a start bit (0), the
 * data bits from the lowest, a parity bit where there is one, and a stop bit (1).
 *
 *   A meter that speaks k times slower than the line is read: each of its bits is seen
 *   k times, and every byte begins at one of its edges.  So every stretch of equal bits
 *   that ends inside a byte is a multiple of k long.  Text read at its own speed has
 *   stretches of one bit in nearly every byte.  From about ten times slower on, a start
 *   bit is longer than a whole byte: no byte comes without an error.
 *
 *   A meter that speaks faster: several of its bits fall into one of ours, which ones
 *   depends on where a byte begins.  The stop bit is 0 as often as not; no ratio follows
 *   from that, and none is said.
 *
 *   Seven bits and parity, read as eight: the top bit makes the number of ones of every
 *   byte even (or odd).  Eight bits and parity, read without: the parity bit stands
 *   where the stop bit should be, so just the bytes whose parity bit is 0 are bad.
 *
 * Pure; the ring holds the last LOOK_SIZE bytes and forgets older ones.
 */
#ifndef TALLY_METER_LOOK_H
#define TALLY_METER_LOOK_H

#include "protocol/meter/dialect.h"

#define LOOK_SIZE 1024
/* Nothing is said of fewer bytes. */
#define LOOK_LEAST 48

/* Begin with (struct look){0}, at every opening of the line. */
struct look {
	uint16_t seen[LOOK_SIZE]; /* a ring; LOOK_BAD for a byte with an error */
	size_t next;
	uint64_t bytes, bad; /* since the beginning; bytes counts the bad ones, too */
};
#define LOOK_BAD 0x100

void look_bytes(struct look *l, const char *bytes, size_t len);
void look_bad(struct look *l); /* a byte with a parity or framing error, or a break */

enum look_word {
	LOOK_LITTLE,       /* too few bytes to say anything */
	LOOK_PLAIN,        /* nothing speaks against the settings */
	LOOK_SLOWER,       /* the meter speaks `ratio` times slower */
	LOOK_HELD,         /* no byte without an error */
	LOOK_SEVEN_EVEN,   /* read as 8 bits without parity: it sends 7 bits and even parity */
	LOOK_SEVEN_ODD,
	LOOK_SEVEN_BARE,   /* ... 7 bits without parity, or with a parity bit that is always 1 */
	LOOK_EIGHT_EVEN,   /* ... 8 bits and even parity */
	LOOK_EIGHT_ODD,
	LOOK_OTHER_PARITY, /* read with parity: it has the other one */
	LOOK_NO_PARITY,    /* ... it has none */
	LOOK_GARBLED,      /* many bytes have errors, and nothing says why */
	LOOK_NOT_TEXT,     /* few errors, but no text either */
	LOOK_WORDS
};
/* "slower", "held" ...: for machines. */
const char *look_word(enum look_word w);

struct look_said {
	enum look_word word;
	int ratio;        /* LOOK_SLOWER: 2 to 8 */
	int count;        /* bytes looked at */
	double bad;       /* share of them that had an error, 0 to 1 */
	double high;      /* of the good ones: share with the top bit set */
	double odd_ones;  /* ... of control characters that no text has (NUL too) */
	/* Stretches of one bit are frequent: it does not speak slower by 2 or more. */
	bool not_slower;
	/* What to write instead, where that follows: `likely` differs from the settings. */
	bool has_likely;
	struct line_settings likely;
};

/* `framing` and `parity`: errors that the driver counted, -1 where it does not count.
 * What is sent by two stop bits or with spaces between the bytes looks the same. */
void look_judge(const struct look *l, const struct line_settings *line, long framing, long parity,
                struct look_said *out);

/* What that means, as a sentence for people without its full stop; "" where nothing
 * speaks against the settings (LOOK_LITTLE, LOOK_PLAIN). */
void look_text(const struct look_said *said, char *out, size_t size);

/* Does the dialect understand at least nine of ten frames among the last bytes, and at
 * least four?  The answer to *IDN? and the like are understood, but are no readings. */
bool look_fits(const struct look *l, const struct dialect *d);
/* The shipped dialect of those that are listened to which fits best; NULL where none
 * does. */
const struct dialect *look_dialect(const struct look *l);

/* Does this text stand among the last bytes? */
bool look_contains(const struct look *l, const char *text);

#endif
