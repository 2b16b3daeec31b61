/* SPDX-License-Identifier: MIT */
/*
 * How long a message takes on a line, and how well the time of a reading is known.
 *
 * A character on an asynchronous line has one start bit, 7 or 8 bits of data, a
 * parity bit or none, and 1 or 2 stop bits: 10 bits for 8N1, 7E1 and 7N2, 11 for
 * 8E1.  (Arithmetic; common practice of asynchronous lines, no source.)
 *
 * The stamp of a reading is taken when the first bytes of its frame reach the
 * program.  It is late, by
 *
 *     F   up to the length of the frame: an adapter may hand bytes on one by one or
 *         all of them when the line falls silent
 *     L   up to the latency timer of a USB adapter, which holds a packet that is not
 *         full (common practice: 16 ms is the usual setting, and the longest)
 *     P   up to the time in which the program looks at its lines: it waits in the
 *         kernel, so 1 ms
 *
 * each anything from 0 to its longest with the same chance: a rectangle of that width,
 * whose standard uncertainty is the width / sqrt(12) (JCGM 100:2008 4.3.7: half-width
 * a, u = a / sqrt(3)).  When a meter that is asked measured nobody knows but that it
 * lies between question and answer, which are A apart: half-width A / 2.  Together
 *
 *     u^2 = (F^2 + L^2 + P^2) / 12 + (A / 2)^2 / 3
 *
 * What a listened meter does before its frame begins (the conversion itself) is not
 * in it: it does not tell.  The mean of the delays, (F + L + P) / 2, is not corrected.
 */
#ifndef TALLY_METER_TIMING_H
#define TALLY_METER_TIMING_H

#include "protocol/meter/dialect.h"

#define TIMING_LATENCY_S 0.016
#define TIMING_POLL_S 0.001
/* Bytes of a line where none was seen yet: a sign, nine digits, an exponent and the
 * end, as bench meters answer (+1.23456789E+03 CR LF), is 17. */
#define TIMING_LINE_CHARS 17

int timing_bits(const struct line_settings *line); /* of one character, on the line */
/* Seconds that so many characters take; 0 where the line has no speed (a replay
 * without one). */
double timing_seconds(const struct line_settings *line, size_t chars);
/* Bytes of a frame of this dialect, as far as one can say before any was seen. */
size_t timing_frame(const struct dialect *d);
/* Standard uncertainty of a stamp in seconds.  `answer_s`: from question to answer, 0
 * for listened meters. */
double timing_stamp(const struct line_settings *line, size_t chars, double answer_s);

#endif
