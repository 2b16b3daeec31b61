/* SPDX-License-Identifier: MIT */
/*
 * The frequency of a signal that was measured: at one output the same volts are taken at twenty
 * frequencies, and a response is made of them.
 *
 * An entry in volt-ac or amp-ac may say it (`frequency`, in Hz): typed with the value, said with
 * `take`, or sent by the meter beside the value (second.h).  Where an entry says none, the role of its
 * place does (`output 10 kHz`, use.h); else an output is taken to be measured at 1 kHz.
 */
#ifndef TALLY_TRADE_FREQUENCY_H
#define TALLY_TRADE_FREQUENCY_H

#include "protocol/trade/fault.h"
#include "protocol/trade/entry.h"

/* "1 kHz", "1k", "31.5": Hz where no unit is named.  0.001 Hz to 1 GHz. */
bool frequency_parse(const char *text, struct decimal *out, struct fault *why);

/* Is it a function of alternating current, of which a frequency can be said? */
bool frequency_suits(enum function f);

/* What an entry knows of its frequency, put where judgement looks for it. */
void frequency_known(struct entry *e, struct decimal hertz);

/*
 * Was it taken at another frequency than that for which its place has a nominal, and at which power
 * is told?  That is the role's, else 1 kHz (the usual reference of audio; common practice,
 * no source).  More than a third of an octave away counts; false where the entry says none, and
 * for hum and noise, which have the frequency that they have.
 */
bool frequency_elsewhere(const struct entry *e, const struct position *p);

#endif
