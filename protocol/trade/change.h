/* SPDX-License-Identifier: MIT */
/*
 * The same part then and now: by how much its value changed, and how sure that is.
 *
 *     change = now / then - 1
 *     u(change) = |now / then| sqrt((u(now) / now)^2 + (u(then) / then)^2)
 *
 * the law of propagation for a quotient of uncorrelated inputs (JCGM 100:2008, 5.1.2, from
 * memory).  Where one meter measured both, what is wrong with it by itself falls out of the
 * quotient, and the true u is less than this: it is never falsely sure.
 */
#ifndef TALLY_TRADE_CHANGE_H
#define TALLY_TRADE_CHANGE_H

#include "protocol/trade/entry.h"
#include "protocol/trade/fault.h"

struct change {
	double change; /* as a fraction */
	double u;      /* standard, of that */
	double en;     /* of the two values: at most 1, nothing shows that it changed */
};

/* False with the reason where the two are not the same measurand (quantity, reach, function,
 * test frequency, method, volts), where one of them has no value or had not settled, and where
 * the value of then is zero.  Conditions differ by nature. */
bool change_since(const struct entry *then, const struct entry *now, struct change *out,
                  struct fault *why);

#endif
