/* SPDX-License-Identifier: MIT */
/*
 * A measured response of one output: see report_response.c for what makes one.
 */
#ifndef TALLY_CLIENT_REPORT_RESPONSE_H
#define TALLY_CLIENT_REPORT_RESPONSE_H

#include "client/report.h"

#define RESPONSE_FALL_DB 3.0 /* the end of a response lies so far below its reference */

struct response_point {
	double hertz, db;                 /* dB above the reference */
	const struct report_entry *entry; /* that it was made of */
};

struct response {
	struct response_point *point; /* by frequency, rising */
	int points, reference;        /* which of them is 0 dB */
};

/* "no more than 3 dB below 1 kHz from 28 Hz to 17 kHz" */
void response_span_text(const struct report *r, const struct response *x, char *out, size_t size);

/* "-3.0 dB", "+0.4 dB" */
void response_db_text(const struct report *r, double db, char *out, size_t size);

/* ---- report_response_picture.c ---- */

#define RESPONSE_WIDTH 344
#define RESPONSE_HEIGHT 226

struct response_frame {
	double from, to;  /* Hz */
	double low, high; /* dB */
	double step;      /* dB between two lines */
};

/* Axes that hold all of `n` responses, of both channels and conditions, so that their pictures can be held
 * together. */
void response_frame_of(const struct response *x, int n, struct response_frame *f);
/* The responses of one output by condition (points 0: not measured); `number` makes the names in it
 * differ from those of other pictures. */
void response_picture(const struct report *r, const struct report_position *at, int number,
                      const struct response_frame *f, const struct response x[REPORT_CONDITIONS],
                      struct lines *out);

#endif
