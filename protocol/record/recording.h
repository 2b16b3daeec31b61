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
 * Seconds since the start with up to six decimals; the meter's name and bytes in
 * quotes (escapes \r \n \t \\ \" and \xHH with exactly two hex digits, always used
 * outside 20-7E); or @ and what was done.  Lines are in order of time.  Further
 * lines that start with # and empty lines are passed over.  A line is at most
 * RECORDING_LINE_MAX bytes.
 */
#ifndef TALLY_RECORD_RECORDING_H
#define TALLY_RECORD_RECORDING_H

#include "protocol/trade/fault.h"

#include <stdbool.h>
#include <stdint.h>

#define RECORDING_LINE_MAX 16384
#define RECORDING_BYTES_MAX 4096
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
	char rest[512]; /* what follows it, spaces trimmed */
	int rest_column; /* where `rest` begins, 1 the first byte of the line */
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

/* Write one line with its LF; returns the length, 0 where it does not fit. */
size_t recording_write_bytes(int64_t t, const char *meter, const char *bytes, size_t len, char *out,
                             size_t size);
size_t recording_write_act(int64_t t, const char *act, const char *rest, char *out, size_t size);

/* The escapes alone, as records use them for frames; without quotes. */
size_t recording_escape(const char *bytes, size_t len, char *out, size_t size);

#endif
