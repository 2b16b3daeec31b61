/* SPDX-License-Identifier: MIT */
/*
 * What is said before anyone is led to a live or charged circuit, in this order and before
 * anything else.  The usual cautions of the trade: common practice, no source.
 */
#ifndef TALLY_TRADE_CAUTION_H
#define TALLY_TRADE_CAUTION_H

/* Before the power comes up.  Ends with NULL. */
extern const char *const caution_rise[];

#endif
