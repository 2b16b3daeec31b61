/* SPDX-License-Identifier: MIT */
/*
 * The uncertainty of one entry: what the meter's accuracy statement says, joined
 * with how the settled readings scattered.
 *
 * Sources: JCGM 100:2008 (GUM) 4.2 (type A), 4.3.7 (rectangular), 5.1.2
 * (combination), F.2.2.1 (display step).
 */
#ifndef TALLY_TRADE_UNCERTAINTY_H
#define TALLY_TRADE_UNCERTAINTY_H

#include "protocol/trade/meter_class.h"
#include "protocol/trade/position.h"

/* One line of a meter's accuracy: `accuracy farad below 10n = 2.0% + 10`, `accuracy volt-ac
 * below 1 kHz = 1% + 5`. */
struct accuracy_line {
	enum function function;
	bool has_below;       /* only for |value| < below */
	struct decimal below; /* SI */
	double percent;       /* of the reading */
	double counts;        /* of the last digit */
};

#define ACCURACY_LINES_MAX 32
struct accuracy {
	struct accuracy_line line[ACCURACY_LINES_MAX];
	int count;
	/* The line holds only for a signal below this frequency, Hz; 0: for any. */
	struct decimal hertz[ACCURACY_LINES_MAX];
};

/* Read `0.5% + 2`, `0.5%`, `2`, `2 counts`, `2 + 0.5%`; either part may stand
 * alone; neither may be negative, percent at most 100, counts at most 100000. */
bool accuracy_parse(const char *text, size_t len, double *percent, double *counts,
                    struct fault *why);

/* The line that applies: the one with the smallest `below` above |value|, else
 * the one without; NULL where none is given for this function.  Of those the one with the
 * smallest frequency above that of the signal; where that is not known (0), one without a
 * frequency, else the one that reaches farthest, which is the widest. */
const struct accuracy_line *accuracy_find_at(const struct accuracy *a, enum function f,
                                             double value, double hertz);
/* The same where the frequency is not known. */
const struct accuracy_line *accuracy_find(const struct accuracy *a, enum function f, double value);

/* An assumed, pessimistic accuracy where the configuration says nothing, by the kind of meter
 * (meter_class.h; common practice, no source); the caller must say in the entry that it was
 * assumed, and of which kind. */
struct accuracy_line accuracy_assumed_of(enum meter_class kind, enum function f);
/* The same where nothing is known of the meter: by hand, or typed. */
struct accuracy_line accuracy_assumed(enum function f);
/* The same of a value that is sent beside another (second.h): a tenth of it and a count.
 * Common practice, no source. */
struct accuracy_line accuracy_assumed_second(enum function f);

/* What the u of an entry was made of, kept with it so that it can be worked out again
 * (budget.h). */
struct basis {
	bool known;           /* false: of a record that does not say */
	bool stated;          /* a person gave u; the rest is then 0 */
	bool assumed;         /* the accuracy is an assumed class ... */
	enum meter_class kind; /* ... of this kind of meter; unknown where nothing is said */
	double percent, counts;
	bool has_below;       /* the statement that holds below this only */
	struct decimal below;
	bool has_hertz;       /* ... below this frequency only */
	struct decimal hertz;
	double s;             /* scatter of the settled conversions */
	double offset_u;      /* of the lead offset that was taken off; 0: none */
};

/* Half-width percent/100 * |value| + counts * digit; u = half-width / sqrt(3). */
double uncertainty_accuracy(const struct accuracy_line *line, double value, double digit);

/* s / sqrt(n), never below digit / sqrt(12) (the display step). n >= 1. */
double uncertainty_repeatability(double s, int n, double digit);

/* sqrt(a^2 + b^2 + c^2), without overflow. */
double uncertainty_combine(double a, double b, double c);

/* Mean and sample standard deviation (n - 1), two passes, for n >= 1 (s = 0 for
 * n = 1).  Meets the NIST StRD sets to what a double can hold. */
void statistics(const double *x, size_t n, double *mean, double *s);

#endif
