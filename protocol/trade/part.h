/* SPDX-License-Identifier: MIT */
/*
 * What a part must show before it is called good: the quantities of each kind.
 *
 * Every row: common practice, no source.  An electrolytic of the right value may leak or
 * have dried up; a paper capacitor of the right value nearly always leaks at working volts; a
 * winding of the right resistance may have lost its insulation.  A quantity may stand for
 * another one (dissipation for ESR: one follows from the other and the value).
 */
#ifndef TALLY_TRADE_PART_H
#define TALLY_TRADE_PART_H

#include "protocol/trade/position.h"

#define PART_SHOWS_MAX 3

struct part_quantity {
	enum quantity quantity;
	enum quantity or_else; /* the same where nothing stands for it */
	bool live;             /* only at working volts: a guided run, or an instrument of its own */
};

/* How many there are, in the order in which they are asked for.  `p` and not the kind
 * alone: a rail or valve whose sheet says milliamps or ohms is asked for those. */
int part_shows(const struct position *p, struct part_quantity out[PART_SHOWS_MAX]);

/* Sets of quantities: one bit each. */
#define PART_BIT(q) (1u << (q))
/* Which of them are missing, where those of `seen` were measured. */
int part_missing(const struct position *p, unsigned seen, struct part_quantity out[PART_SHOWS_MAX]);
/* What a limit of that quantity is in: ohm for esr and insulation, amp-dc for leakage, number
 * for dissipation; FUNCTION_NONE of value and volts, which have a nominal. */
enum function part_limit_function(enum quantity q);

/* "leakage", "esr or dissipation" */
void part_quantity_text(const struct part_quantity *q, char *out, size_t size);

#endif
