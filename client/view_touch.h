/* SPDX-License-Identifier: MIT */
/*
 * One touch, reading by reading: what was seen before, during and after the readings that its
 * entry was made from.
 */
#ifndef TALLY_CLIENT_VIEW_TOUCH_H
#define TALLY_CLIENT_VIEW_TOUCH_H

#include "client/words.h"
#include "protocol/trade/quantity.h"

struct touch_reading {
	int64_t t;            /* us since 1970 */
	bool has_value;
	struct decimal value; /* SI */
	unsigned state;       /* READING_* where there is no value */
	bool used;            /* the entry was made from it */
};

/* `entry` is its record; readings in order of time, of its meter and function. */
void view_touch(const struct style *style, struct slice entry, const struct touch_reading *r, int n,
                struct lines *out);

#endif
