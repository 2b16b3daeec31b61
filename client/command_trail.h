/* SPDX-License-Identifier: MIT */
/*
 * What the files of `tally trail` share.
 *
 *     command_trail.c        which lines and which stretch of time; text and pictures
 *     command_trail_panel.c  answers into the panels of a chart
 *     command_trail_out.c    single readings, as CSV or as records
 *     command_trail_touch.c  --entry: one touch, and from there to the next
 */
#ifndef TALLY_CLIENT_COMMAND_TRAIL_H
#define TALLY_CLIENT_COMMAND_TRAIL_H

#include "client/chart.h"
#include "client/client.h"

/* Before and after the readings of a touch so much is shown, us. */
#define TRAIL_BEFORE_US INT64_C(8000000)
#define TRAIL_AFTER_US INT64_C(6000000)

struct gathering {
	struct client *c;
	struct chart chart;
	const char *position, *meter; /* what was asked for; NULL: all */
	int64_t entry;     /* the touch of this one alone; 0: the last */
	int64_t t, until;  /* of all that is there, us since 1970 */
	bool no_memory;
	char *unsealed;    /* the runs that are open, of the last page of records; NULL: none */
	size_t unsealed_len;
	int64_t left_out;  /* open runs that had no room in the answer */
	struct line {
		char meter[40], function[24];
		int64_t readings;
	} line[64];
	int lines;
	int64_t touch_seq; /* the entry whose touch is shown; 0: none */
	int64_t touch_t;
	char touch_meter[40];
	int64_t trail_first, trail_last; /* records that it names, and the readings in them */
	int64_t from_index, to_index;
};

/* The trail as the options ask (text, picture, CSV, records); of a position (NULL: all), and of the
 * touch of one entry there (0: the last). */
enum outcome trail_show(struct client *c, const char *position, int64_t entry);
/* --entry: one touch with its readings, and from there to the next and the one before. */
enum outcome trail_touch(struct client *c);

/* ---- command_trail_panel.c; without memory g->no_memory is set, and less is there ---- */

/* A moment as a parameter of a question: UTC, as records have it. */
void trail_time_param(json_t *params, const char *name, int64_t us);
/* The columns of an answer to trail.envelope; false without memory. */
bool trail_columns_take(struct chart_panel *p, struct slice list);
/* The columns of the panel's meter and function in the chart's stretch. */
enum outcome trail_read_columns(struct gathering *g, struct chart_panel *p);
/* What its band and its gaps are drawn from: the weight of a digit, the accuracy, gaps. */
enum outcome trail_read_beside(struct gathering *g, struct chart_panel *p);
/* Entries of the stretch, with their touches and limits, into the panels they belong to. */
enum outcome trail_read_entries(struct gathering *g);
/* When the reading of that index in a trail record came, us since 1970; false where it is not known. */
bool trail_reading_time(struct client *c, int64_t seq, int64_t index, int64_t *t);

/* ---- command_trail_out.c ---- */

/* The readings of the chart's stretch, one by one, sealed or not, as --csv or --json ask. */
enum outcome trail_out(struct client *c, struct gathering *g);

#endif
