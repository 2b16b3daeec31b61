/* SPDX-License-Identifier: MIT */
/*
 * The dialect `scpi`: meters that are asked in SCPI-99, over IEEE 488.2 messages.
 *
 * An answer is one of these, told apart by its form:
 *
 *     +4.70123000E+03              a number: NR1, NR2 or NR3
 *     1.2,3.4E0                    several, at most READINGS_IN_FRAME_MAX
 *     MAKER,MODEL,SERIAL,VERSION   an identity: at least 3 commas, and no numbers
 *     -113,"Undefined header"      an entry of the error queue
 *     "VOLT:DC +1.0E+01,+1.0E-05"  what it is set to: the answer to FUNC? or CONF?
 *     Welcome.                     a banner: text that is none of these, or an empty line
 *
 * Numbers are read as IEEE 488.2 tells listeners to (forgiving): white space
 * around the E, a point without digits before or after it, and a suffix
 * (`28E-3K`, `4.7 KOHM`, `12 MV`), its case ignored.  M is milli, but mega before
 * OHM and HZ; a small m before those two is refused, for its writer may have meant
 * milli.  #H, #Q and #B numbers are read.  A definite or indefinite block
 * (`#15hello`) is refused: what is wanted is a number.  A definite one is passed over
 * whole, even with line ends among its bytes (frame.h); an indefinite one (`#0`) ends
 * with its first line end, for nothing else on a serial line says where.
 *
 * 9.9E37 is infinity, -9.9E37 minus infinity (an overload), 9.91E37 not a number
 * (READING_INVALID); they are known by their value, not by their text, and within
 * one part in a million, for some meters hold them in 32 bits.  So are the words
 * INF, INFINITY, NINF, NINFINITY and NAN.  9.9E36 is an ordinary number; what lies
 * between 9.9E37 and no end is not understood.
 *
 * The weight of the last digit: NR3 answers show more digits than the meter has,
 * filled with zeros.  So the value is written with the finest digit seen since
 * the function or the range changed (trailing zeros not counted), or the
 * configured one.  A range change is noticed by an overload, or by a value of
 * a higher decade than any before whose digits are coarser and that three figures
 * would not hold; then the number of figures is taken to have stayed, unless the
 * value shows more.  A finer range shows by itself.  A zero says nothing about
 * digits: it takes the known one, else its own.
 */
#ifndef TALLY_METER_SCPI_H
#define TALLY_METER_SCPI_H

#include "protocol/meter/dialect.h"

/*
 * What kind of fault an entry of the error queue is, by its number: the bit that it
 * sets in the standard event register (IEEE 488.2 11.5.1), its name there, and what it
 * means for whoever wrote the command.  NULL for 0 and for numbers of no kind.
 * Source: SCPI-99 volume 2, 21.8.9 to 21.8.16, as a public parser library carries it.
 */
struct scpi_error_kind {
	int bit;
	const char *name;  /* "CME command error" */
	const char *means; /* "it does not know this command, or not in this form" */
};
const struct scpi_error_kind *scpi_error_kind(int number);

/* The `understand` of the dialect `scpi`. */
void scpi_understand(const struct dialect_setting *setting, struct dialect_memory *memory,
                     const struct frame *f, struct understood *out);

/* What a numeric element is. */
enum scpi_kind { SCPI_NUMBER, SCPI_INFINITE, SCPI_NOT_A_NUMBER };

struct scpi_value {
	enum scpi_kind kind;
	bool negative;          /* of SCPI_INFINITE */
	struct decimal value;   /* SCPI_NUMBER: with the multiplier of its suffix */
	enum function function; /* of the unit in its suffix; FUNCTION_NONE: there was none */
	bool coupled;           /* the unit said DC or AC: VDC, VAC, ADC, AAC */
};

/* The whole of `text` (white space around it allowed) must be one element.  On
 * false `why` (of `size` bytes) says what was expected. */
bool scpi_value_parse(const char *text, size_t len, struct scpi_value *out, char *why,
                      size_t size);

/*
 * Is `word` the short or the long form of `mnemonic`?  The mnemonic is written as
 * SCPI documents do, the short form in capitals: `RESistance` is RES or
 * RESISTANCE, in any case, and nothing between.
 */
bool scpi_mnemonic(const char *mnemonic, const char *word, size_t len);

#endif
