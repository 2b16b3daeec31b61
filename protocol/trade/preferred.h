/* SPDX-License-Identifier: MIT */
/*
 * Preferred values: the E series of IEC 60063.
 *
 * Old parts need not be of any series (50 k, 8 uF are normal); a series says
 * what a replacement can be bought as, and what another value that an earlier
 * repair fitted is likely to be called.
 *
 * The series are made by their rule, round(10^(i/N)) to two figures up to E24
 * and to three from E48, with the exceptions that the standard keeps for
 * history's sake: 2.7 3.0 3.3 3.6 3.9 4.3 4.7 and 8.2 in E24 and below, 9.20 in
 * E192.  E3, E6 and E12 are every 8th, 4th and 2nd of E24; E48 and E96 every 4th
 * and 2nd of E192.
 */
#ifndef TALLY_TRADE_PREFERRED_H
#define TALLY_TRADE_PREFERRED_H

#include "protocol/trade/decimal.h"

#define SERIES_LIST(X) \
	X(E3, 3)           \
	X(E6, 6)           \
	X(E12, 12)         \
	X(E24, 24)         \
	X(E48, 48)         \
	X(E96, 96)         \
	X(E192, 192)

enum series {
#define X(id, size) SERIES_##id,
	SERIES_LIST(X)
#undef X
	    SERIES_COUNT
};

const char *series_name(enum series s); /* "E24" */
int series_size(enum series s);         /* 24 */
bool series_from_name(const char *name, size_t len, enum series *out);

/* The i-th value of a series, 0 <= i < size: in [1, 10), e.g. {47, -1}. */
struct decimal series_value(enum series s, int i);

/* Is this one of the series, in any decade? */
bool series_contains(enum series s, struct decimal value);

/* The coarsest series that holds the value; false where none does. */
bool series_of(struct decimal value, enum series *out);

/*
 * The neighbours of a value in a series.  `nearest` by ratio (the smaller of
 * value/p and p/value); `below` and `above` are strictly so, also where the
 * value is itself of the series.  Returns false for values that are not above
 * zero or that lie at the end of what a decimal holds.
 */
struct neighbours {
	struct decimal nearest, below, above;
};
bool preferred_find(enum series s, struct decimal value, struct neighbours *out);

#endif
