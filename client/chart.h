/* SPDX-License-Identifier: MIT */
/*
 * Values over time as a picture: SVG with real text, written by us; and the same in
 * characters for a quick look.
 *
 * Pure: columns in, text out.  One panel a meter and function, one below the other over one
 * axis of time.  What a picture may not do: bridge a gap, lose the greatest or least value,
 * say by colour alone.  So a stretch without readings stays open and has its name where it
 * is known, columns show their true least and greatest, and entries are marked by shape: a
 * ring within, a square unsure, a triangle outside, a dot where nothing was judged.
 */
#ifndef TALLY_CLIENT_CHART_H
#define TALLY_CLIENT_CHART_H

#include "client/words.h"
#include "protocol/trade/quantity.h"
#include "protocol/trade/uncertainty.h"

#define CHART_PANELS_MAX 6
/* Longest silence that is no gap: readings of a meter come faster. */
#define CHART_SILENCE 1.5 /* s */

struct chart_column {
	int index;      /* from 0, below the chart's width */
	int64_t n;      /* readings */
	bool has_value; /* else all of them were beyond the range, or no numbers */
	double low, high, first, last; /* SI */
	double silence; /* s without a reading that ended in it */
};

enum chart_word { CHART_NOT_JUDGED, CHART_WITHIN, CHART_UNSURE, CHART_OUTSIDE };

struct chart_entry {
	int64_t t; /* us since 1970 */
	bool has_value;
	double value;
	enum chart_word word;
	char position[40];
	char text[160]; /* "R12, 612 kohm, outside, 30 % high, entry 45" */
};

/* A touch: from the first to the last reading that its entry was made from. */
struct chart_touch {
	int64_t from, to;
	char position[40];
};

struct chart_gap {
	int64_t from, to;
	char name[96]; /* its cause */
};

struct chart_panel {
	char meter[40];
	enum function function;
	struct chart_column *column; /* malloc, in order; chart_free */
	int columns;
	double digit;           /* weight of the last digit, for the band; 0: not known */
	bool has_accuracy;      /* statements of the meter; else no band is drawn */
	struct accuracy accuracy;
	bool has_low, has_high; /* limits of the position */
	double low, high;
	char limits_of[40];
	struct chart_entry *entry;
	struct chart_touch *touch;
	struct chart_gap *gap;
	int entries, touches, gaps;
	int64_t unsealed; /* readings among them that no seal covers yet; said in words */
};

struct chart {
	char title[200];
	int64_t from, to; /* us since 1970; from < to */
	int width;        /* columns */
	struct chart_panel *panel; /* malloc */
	int panels;
};

void chart_free(struct chart *c);

/* The whole picture; style->local is the person's clock. */
void chart_svg(const struct chart *c, const struct style *style, struct lines *out);
/* `style->width` columns wide (80 where it is not known); with style->plain sentences. */
void chart_text(const struct chart *c, const struct style *style, struct lines *out);

/* ---- inside: chart_axis.c, tested by themselves ---- */

struct chart_scale {
	double low, high;  /* what the axis spans */
	double step;       /* between two marks, 1 2 or 5 times a power of ten */
	int prefix;        /* power of ten of the unit that is written: 3 for kohm */
	int decimals;      /* of the numbers at the marks */
	int64_t beyond;    /* readings beyond the axis, at least (of columns that are cut off) */
};
/* An axis for a panel: all of it, unless some far values would press the rest into a line;
 * then the rest, and `beyond` says that they are.  Limits and entries are always in it. */
void chart_scale(const struct chart_panel *p, int marks, struct chart_scale *out);
/* "480.5": the number at a mark. */
void chart_mark(const struct chart_scale *s, double value, char *out, size_t size);
/* "kohm", "V", "" */
void chart_unit(const struct chart_scale *s, enum function f, bool utf8, char *out, size_t size);

/* Marks of time: us between two, at least `least`; full seconds, minutes, hours, days. */
int64_t chart_time_step(int64_t span, int marks);
/* What is to be added to a time for the person's clock, us. */
int64_t chart_zone(const struct style *style, int64_t t);
/* Does a column follow the one before it without a gap? */
bool chart_joined(const struct chart_panel *p, int i, double longest);
/* How long a silence is no gap here: CHART_SILENCE, or five times the usual time between
 * two readings. */
double chart_longest(const struct chart *c, const struct chart_panel *p);

#endif
