/* SPDX-License-Identifier: MIT */
/*
 * Two plain dialects.
 *
 * `ascii-number`: meters that talk by themselves and send a bare number a line; what
 * it is must be said in the configuration (`function = ohm`).
 *
 *     +4.8120E+02      481.2      -0.00012      OL
 *
 *     line = [+ | -] (digits with at most one point [E exponent] | OL)
 *
 * `ask-comma`: meters that are asked by one character (`D`, without a line end) and
 * answer value, unit and state with commas between:
 *
 *     +0.4812,kOhm,OK        0.345,uF,        231.4,V AC,HOLD        OL,MOhm,OL
 *
 *     line  = value , unit , state
 *     unit  = as in ascii-unit, with DC or AC after V and A
 *     state = empty or OK; HOLD; BATT; OL (any case); several with spaces between
 *
 * The last digit weighs what it is written to weigh.  Spaces may stand around every
 * part.  Anything else is not understood.
 */
#ifndef TALLY_METER_NUMBER_H
#define TALLY_METER_NUMBER_H

#include "protocol/meter/dialect.h"

void ascii_number_understand(const struct dialect_setting *setting, struct dialect_memory *memory,
                             const struct frame *f, struct understood *out);
void ask_comma_understand(const struct dialect_setting *setting, struct dialect_memory *memory,
                          const struct frame *f, struct understood *out);

#endif
