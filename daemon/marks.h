/* SPDX-License-Identifier: MIT */
/*
 * Undoes the marks that the terminal driver puts around bytes with a parity or
 * framing error (PARMRK, termios(3)):
 *
 *     FF 00 X   the byte X came with an error, or (X = 00) the line was held: a break
 *     FF FF     a byte FF that came well
 *     X         every other byte
 *
 * A mark may be cut between two reads, so the place in it is remembered.  Pure.
 */
#ifndef TALLY_MARKS_H
#define TALLY_MARKS_H

#include <stddef.h>

struct marks {
	int seen; /* bytes of a mark so far: 0, 1 (FF) or 2 (FF 00) */
};

/* Calls good() for stretches of bytes that came well and bad() for each that did
 * not, in the order of the line.  `bytes` is overwritten.  Either call may return
 * nonzero to stop (the line was closed by it): then the rest is dropped. */
void marks_undo(struct marks *m, char *bytes, size_t len,
                int (*good)(void *arg, const char *bytes, size_t len), int (*bad)(void *arg),
                void *arg);

#endif
