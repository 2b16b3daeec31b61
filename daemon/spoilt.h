/* SPDX-License-Identifier: MIT */
/*
 * Bad frames of one meter, kept until they are sealed.
 *
 * What cannot be understood is counted and kept, for it may be the first sign of a
 * bad cable or of the wrong dialect.  A line full of garbage must not fill the log:
 * the frames of SPOILT_US become one `bad` record, which holds the first ones and
 * says how many there were.
 *
 * Pure: no clock, no allocation.
 */
#ifndef TALLY_SPOILT_H
#define TALLY_SPOILT_H

#include "protocol/meter/frame.h"
#include "protocol/record/record.h"

#define SPOILT_US INT64_C(10000000)

struct spoilt {
	int64_t since; /* us of stream time of the first one */
	int64_t count; /* 0: nothing is waiting */
	struct {
		int64_t t;
		char bytes[FRAME_MAX * 4 + 1]; /* escaped */
		char why[120];
	} frame[BAD_FRAMES_MAX];
};

void spoilt_add(struct spoilt *s, int64_t t, const struct frame *f, const char *why);
/* When what waits must be sealed; INT64_MAX where nothing does. */
int64_t spoilt_deadline(const struct spoilt *s);
/* The body of the record; `utc` is UTC at stream time 0. */
void spoilt_write(const struct spoilt *s, const char *meter, int64_t utc, struct text *out);
void spoilt_clear(struct spoilt *s);

#endif
