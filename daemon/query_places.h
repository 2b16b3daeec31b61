/* SPDX-License-Identifier: MIT */
/*
 * What the files of `places` share: where values come from, and how results are written.
 */
#ifndef TALLY_QUERY_PLACES_H
#define TALLY_QUERY_PLACES_H

#include "daemon/query_gather.h"
#include "protocol/trade/places.h"

/* By what the values count: what the schematic says, or what was measured. */
enum of {
	OF_NOMINAL,
	OF_FOUND,
	OF_NEW,
	OF_DONE,
	OF_COUNT,
};

/* A value to calculate with, and where it is from. */
struct had {
	struct measure m;
	/* The middle of where it lies, with the spread about that.  It is m, but for a nominal
	 * whose tolerance reaches farther to one side: see had_spread. */
	struct measure middle;
	char from[64];          /* "R14 found, entry 12", "R14 nominal" */
	const struct entry *entry; /* NULL for a nominal */
};

struct places {
	struct query *q;
	struct gathered g;
	const char *position; /* asked for; NULL: all */
	int written;
};

/* The newest entry of a row, quantity and condition that can be calculated with; of that
 * function, or of any (FUNCTION_NONE).  A resistor or capacitor in circuit cannot. */
bool had_entry(const struct places *p, int row, enum quantity q, enum function f, enum of of,
               struct had *out);
/*
 * The nominal, with its tolerance (or the usual one) as a rectangular spread; of what is
 * fitted for new and done.
 *
 * A tolerance of -20/+80 % puts the part anywhere between 0.8 and 1.8 of it, so that it is to
 * be expected at 1.3, with u = (b+ + b-) / sqrt(12) (JCGM 100:2008 4.3.8).  That is `middle`.
 * The nominal stands beside that middle by a known bias, which is left in and so belongs to the
 * uncertainty of m: u^2 = u(middle)^2 + bias^2 (F.2.4.5).
 */
bool had_nominal(const struct places *p, int row, enum of of, struct had *out);
/* The result of a formula whose inputs are taken at their m, with the spread of the same
 * formula at their middles and the distance between the two.  In a quotient half a range
 * taken about the nominal would be far too much: a corner by -20/+80 % lies 0.27 (root mean
 * square) from that of the nominal, where (f(x + u) - f(x - u)) / 2 about it says 0.5. */
struct measure had_spread(struct measure at_m, struct measure at_middle);
/* What a part is: as measured in that condition, else as found, else its nominal. */
bool had_value(const struct places *p, int row, enum of of, struct had *out);
/* A cell of an unknown column as a value with `unit`; no uncertainty is known of it. */
bool had_cell(const struct places *p, int row, const char *column, enum function unit,
              struct had *out);

/* The row that works with this one: named in its `with`, -1 for none. */
int with_row(const struct places *p, int row);
/* Is the row of a part that is measured in ohms, in farads? */
bool row_is(const struct places *p, int row, enum function f);
/* Its role. */
bool row_says(const struct places *p, int row, const char *word);

/* One result; nothing where it is no number. */
void place_write(struct places *p, int row, const char *what, enum of of, struct measure m,
                 const char *unit, const char *note, const struct had *const *from, int n);

void places_signal(struct places *p, int row); /* corners, grids, loading */
void places_output(struct places *p, int row); /* currents, dissipation, power, balance */
void places_supply(struct places *p, int row); /* ripple, discharge, leakage of electrolytics */

#endif
