/* SPDX-License-Identifier: MIT */
/*
 * The dialect `ascii-unit`: meters that talk by themselves, a line a reading,
 * each with number and unit.
 *
 *     +0.4812 kOhm      0.345 uF     -12.34 mV DC     231.4 V AC     AC 231.4V
 *     OL MOhm           OL mF        -OL V DC         12.5%          50.01Hz
 *
 *     line    = [coupling] (number | overload) [prefix] unit [coupling]
 *     number  = [+ | -] digits with at most one point [E exponent]
 *     overload= [+ | -] OL       (`O.L`, `.OL` and `OL.` too: displays move the point)
 *     coupling= DC | AC          (any case; first or last, once, with V and A only)
 *     prefix  = p n u m k K M G, U+00B5, U+03BC, or the byte B5 of Latin-1
 *     unit    = V  A  Ohm  Ohms  U+03A9  U+2126  F  H  Hz  HZ  C  %
 *
 * Spaces and tabs may stand around the line, after the sign and between the parts
 * of the first row, but not between prefix and unit.  A degree sign (U+00B0 or the
 * byte B0) may stand before C.  The bytes B5 and B0 are read behind a space only:
 * right after the number they may be a 5 or 0 with a bit too much (a line of seven
 * bits and odd parity that is read as eight sends 120C as 12, B0, C).
 *
 * Case: a prefix is exactly what SI says, so m is always milli and M always mega,
 * whatever the case of the unit (MOHM is mega, mohm is milli); only k may be K,
 * for there is no other letter that it could be taken for.  Ohm and Ohms are read
 * in any case, the other units as written here.  C and % take no prefix.
 *
 * Volts and amperes without DC or AC are DC.  An overload without a unit, a number
 * without a unit, and any line with something else in it are not understood.  The
 * last digit weighs what it is written to weigh.
 */
#ifndef TALLY_METER_STREAM_H
#define TALLY_METER_STREAM_H

#include "protocol/meter/dialect.h"

/* The `understand` of the dialect `ascii-unit`. */
void ascii_unit_understand(const struct dialect_setting *setting, struct dialect_memory *memory,
                           const struct frame *f, struct understood *out);

/*
 * Prefix and unit alone ("kOhm", "uF", "mV", "%"), by the rules above: the whole of
 * `text` must be that.  Volts and amperes come as DC.  False where it is not.
 */
bool unit_read(const char *text, size_t len, enum function *f, int *prefix);

/* Does `unit`, a place in the line that begins at `line`, begin with the byte B5 or B0
 * right after a digit?  Then that byte may be a spoilt digit. */
bool unit_doubtful(const char *line, const char *unit);

#endif
