/* SPDX-License-Identifier: MIT */
/*
 * Where one message of a meter begins and ends: bytes in, frames out.
 *
 * Splitting is apart from understanding: a dialect only ever sees whole frames.
 * Nothing here decides what a frame means; what cannot be a frame (over-long,
 * cut, with a byte that the line marked bad) is handed on as a bad frame, so that
 * it is counted and kept, and never becomes a reading.
 */
#ifndef TALLY_METER_FRAME_H
#define TALLY_METER_FRAME_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* No meter's message is longer; PCRE2 is bounded by the same number. */
#define FRAME_MAX 256

/* After opening, a line that was quiet for so long (us) is between two frames. */
#define FRAME_JOIN_US 50000
/* What the rooms above give for `gap_us` of lines: far longer than any adapter
 * holds bytes back, shorter than any time-out. */
#define FRAME_LINE_GAP_US 1000000

enum frame_end {
	FRAME_LINE,  /* ends with LF; a CR before it is not part of the frame; so is a
	              * lone CR as a line end (kept apart from the CR of CR LF) */
	FRAME_FIXED, /* `size` bytes; silence of `gap_us` before the first, 0: none needed */
};

enum frame_fault {
	FRAME_GOOD,
	FRAME_OVERLONG, /* more than FRAME_MAX bytes without an end: all is dropped up to the end;
	                 * of fixed size: bytes after a whole frame without the silence */
	FRAME_CUT,      /* the line fell silent, or went away, in the middle */
	FRAME_BAD_BYTE, /* parity or framing error inside */
	FRAME_PARTIAL,  /* the first bytes after opening, of a frame that began before */
};
/* "good", "over-long", "cut", "bad byte", "partial" */
const char *frame_fault_word(enum frame_fault f);

struct frame {
	const char *bytes; /* without the line end; valid during the callback */
	size_t len;        /* an over-long frame gives its first FRAME_MAX bytes */
	int64_t t;         /* us of stream time of its first byte */
	enum frame_fault fault;
};

#define FRAME_SYNC_MAX 4
#define FRAME_NUMBERED_MAX 15

/*
 * What else tells where a frame begins and ends.  Of fixed frames:
 *
 *   numbered  the high nibble of each byte is its number, 1 the first (at most
 *             FRAME_NUMBERED_MAX bytes): a frame begins wherever a 1 stands;
 *   tail      each frame ends with these bytes: after them the next one begins;
 *   head      each frame begins with these; they are checked, but alone they tell
 *             nothing, for they may stand in its middle too.
 *
 * With numbers or a tail frames may follow each other without silence.  A byte that
 * does not fit spoils all up to the next beginning, which is FRAME_CUT: never is a
 * frame looked for inside of another one, for its digits would look like digits there.
 *
 * Of lines: one byte of tail is the line end, in place of CR and LF.
 *
 *   blocks    an element (at the start of the line, or behind a comma or semicolon) may
 *             be a definite block of IEEE 488.2: # and a digit, so many digits, and as
 *             many bytes as they say, any bytes, line ends too.  It is passed over whole;
 *             its frame is good, and has what of it fits FRAME_MAX.  A silence of gap_us
 *             inside one says that it was none: the frame is FRAME_CUT.  `#0` and what
 *             is no such head are ordinary bytes.
 */
struct frame_sync {
	bool numbered, blocks;
	unsigned char heads, tails; /* how many there are of each */
	char head[FRAME_SYNC_MAX], tail[FRAME_SYNC_MAX];
};

struct frame_splitter {
	/* set by frame_begin and frame_sync */
	enum frame_end end;
	size_t size;
	int64_t gap_us;
	struct frame_sync sync;
	/* private */
	char buffer[FRAME_MAX];
	size_t len;
	int64_t first, last; /* us: first byte of this frame, last byte of all */
	bool started, dropping, bad, cut, joining, spent, lost, cr;
	unsigned char head; /* of a block: HEAD_* of frame.c, or digits still to come + HEAD_DIGITS */
	char quote;         /* the string that these bytes are in, else 0 */
	bool blocked;       /* a block stood in this line: it may be longer than FRAME_MAX */
	int64_t block;      /* bytes of its data that are still to come */
	unsigned char tail_seen; /* bytes of the tail that stand at the end of what is lost */
};

/*
 * `t`: the moment of opening.  Until a line end (of lines), or until a byte that
 * comes at least 50 ms after the opening or the byte before it (`gap_us` of fixed
 * frames, if longer), what arrives may be the rest of an older frame and is given
 * as FRAME_PARTIAL.  So an asked meter is not asked in the first 50 ms.
 *
 * `size` is bounded to 1..FRAME_MAX and counts for FRAME_FIXED only.
 *
 * `gap_us` of lines: where a frame pauses for so long in its middle, what comes
 * after may be its rest or a new frame, and nobody can say which; so all of it up
 * to the line end is one FRAME_CUT.  0: a line may pause for ever.  Of fixed
 * frames the silence is what tells one from the next: fewer bytes before it are
 * FRAME_CUT; bytes that follow a whole frame without it, FRAME_OVERLONG.
 */
void frame_begin(struct frame_splitter *s, enum frame_end end, size_t size, int64_t gap_us,
                 int64_t t);

/* After frame_begin, where there is more than size and silence.  What does not fit the
 * size (a head and tail longer than it, numbers over 15, a head alone without a
 * silence) is not taken. */
void frame_sync(struct frame_splitter *s, const struct frame_sync *sync);

/* Feed bytes that arrived at `t`; calls each() for every frame that ends.  Whole,
 * or in any pieces with the same `t`, the same bytes give the same frames.  An
 * empty line is a good frame of length 0. */
void frame_feed(struct frame_splitter *s, int64_t t, const char *bytes, size_t len,
                void (*each)(void *arg, const struct frame *f), void *arg);

/* A byte with a parity or framing error arrived: its frame is void.  It stands as
 * \xff in the bytes of the frame, and is no line end whatever it was. */
void frame_bad_byte(struct frame_splitter *s, int64_t t);

/* The line went away: what is there is given as FRAME_CUT; nothing where nothing
 * is there.  frame_begin comes before the next byte. */
void frame_finish(struct frame_splitter *s, void (*each)(void *arg, const struct frame *f),
                  void *arg);

#endif
