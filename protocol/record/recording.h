/* SPDX-License-Identifier: MIT */
/*
 * Recordings: the bytes of the lines with their times, and what the technician
 * did, in a text file that a person can read, cut and write by hand.
 *
 *     # tally recording 1
 *     0.000000 red "+0.4812 kOhm\r\n"
 *     0.250000 red "+0.4811 kOhm\r\n"
 *     0.300000 @at R12
 *     0.310000 @reach lifted
 *
 * Seconds since the start with up to six decimals, at most 999999999; the meter's
 * name and bytes in quotes (escapes \r \n \t \\ \" and \xHH with exactly two hex
 * digits, always used outside 20-7E); or @ and what was done.  Lines are in order
 * of time.  Fields are parted by spaces or tabs.  Further lines that start with #
 * and empty lines are passed over; a # anywhere else starts no comment.  A line is
 * at most RECORDING_LINE_MAX bytes; a byte order mark before the header is passed
 * over and counts for no column.
 *
 * Acts beside those of the work itself change the sheet; a value with spaces stands in
 * double quotes, a quote or backslash in it after a backslash:
 *
 *     1.0 @sheet set R5 nominal=470k role="anode load"
 *     1.1 @fit C7 kind=film tolerance=5%
 *     1.2 @fit C7 none
 *     1.3 @rename N5 R12
 *     1.4 @new T3/            the next position of that strip; @walk new T3/ goes on so
 *     1.5 @twins              the sure proposals; @twins R1 R7 those
 *
 * Which acts there are, and which meters, is the affair of the one who replays:
 * `column` tells the place for a fault.
 */
#ifndef TALLY_RECORD_RECORDING_H
#define TALLY_RECORD_RECORDING_H

#include "protocol/trade/fault.h"

#include <stdbool.h>
#include <stdint.h>

#define RECORDING_BYTES_MAX 4096
/* Room for a time, a name and RECORDING_BYTES_MAX bytes that are all escaped. */
#define RECORDING_LINE_MAX (4 * RECORDING_BYTES_MAX + 1024)
#define RECORDING_HEADER "# tally recording 1"

enum recording_what {
	RECORDING_NOTHING, /* comment or empty line */
	RECORDING_BYTES,
	RECORDING_ACT,
};

struct recording_line {
	enum recording_what what;
	int64_t t; /* us */
	char meter[33];
	char bytes[RECORDING_BYTES_MAX];
	size_t len;
	char act[32];  /* without the @: "at", "walk", "meter" ... */
	char rest[512]; /* what follows it, spaces trimmed; UTF-8 */
	int column;      /* of the meter's name or of the @; 1 the first byte of the line */
	int rest_column; /* where `rest` begins */
};

struct recording_reader {
	const char *file; /* for faults */
	int line;         /* of the last line read */
	int64_t t;        /* of the last line with a time */
};

void recording_begin(struct recording_reader *r, const char *file);

/* Read one line (without its LF; a CR before it is passed over).  The first line
 * must be the header.  False with the fault: place and what was expected. */
bool recording_read(struct recording_reader *r, const char *line, size_t len,
                    struct recording_line *out, struct fault *why);

/* Is the whole text a recording?  A replay asks this before it runs the first line,
 * so that a fault near the end leaves no half-made log.  each (may be NULL) sees
 * every line and may refuse it, as in ini_parse: where it sets no line, the place
 * is added, of `column` or, where it set a column, that many bytes on in `rest`. */
bool recording_check(const char *file, const char *text, size_t len,
                     bool (*each)(void *arg, const struct recording_line *line, struct fault *why),
                     void *arg, struct fault *why);

/* Write one line with its LF and a NUL; returns the length without the NUL.  0
 * where it does not fit, or where it could not be read back: a negative time, no
 * name, more than RECORDING_BYTES_MAX bytes, a control character in `rest`.
 * `rest` may be NULL. */
size_t recording_write_bytes(int64_t t, const char *meter, const char *bytes, size_t len, char *out,
                             size_t size);
size_t recording_write_act(int64_t t, const char *act, const char *rest, char *out, size_t size);

/* The escapes alone, as records use them for frames; without quotes.  Returns the
 * length; what does not fit is cut at an escape.  4 len + 1 bytes hold any. */
size_t recording_escape(const char *bytes, size_t len, char *out, size_t size);

#endif
