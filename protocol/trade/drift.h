/* SPDX-License-Identifier: MIT */
/*
 * How parts of each kind go wrong with age, so that a value far from nominal is
 * called by its likely name: drifted, dried out, leaky, or another value that an
 * earlier repair fitted.
 *
 * Common practice, no source.  The table is on the careful side: another value
 * is named only where no drift of the kind explains the reading.
 */
#ifndef TALLY_TRADE_DRIFT_H
#define TALLY_TRADE_DRIFT_H

#include "protocol/trade/position.h"
#include "protocol/trade/preferred.h"

struct drift {
	double low, high;     /* a part of this kind may drift to nominal * low .. high */
	bool leaky_high;      /* reads high, without bound, when it leaks */
	enum series series;   /* what replacements are sold as */
	double near;          /* within this fraction of a preferred value to be named */
	const char *why_low;  /* what a low reading means */
	const char *why_high;
};

/* The row of a kind; NULL for kinds that do not drift as parts do (rails,
 * switches ...).  A `capacitor` of no known sort counts as electrolytic from
 * 1 uF upwards and as paper below. */
const struct drift *drift_of(enum kind k, struct decimal nominal);

/* The preferred value that seems to be fitted instead of the nominal.  The
 * whole of value - U .. value + U must lie beyond the drift of the kind. */
bool drift_other_value(const struct drift *d, struct decimal nominal, struct decimal value,
                       double U, struct decimal *other);

#endif
