/* SPDX-License-Identifier: MIT */
/* See change.h. */
#include "protocol/trade/change.h"

#include "protocol/trade/crosscheck.h"

#include <math.h>
#include <string.h>

bool change_since(const struct entry *then, const struct entry *now, struct change *out,
                  struct fault *why)
{
	/* Compared as twins are: another place, but the same measurand. */
	struct entry before = *then;
	struct twins twins;
	before.condition = now->condition;
	memset(before.position, 0, sizeof before.position);
	if (!twins_compare(now, &before, 0, &twins, why))
		return false;
	double x = decimal_double(then->value), y = decimal_double(now->value);
	if (x == 0) {
		fault_set(why, "it was zero then: no change can be given of that");
		return false;
	}
	double ratio = y / x;
	out->change = ratio - 1;
	out->u = hypot(now->u / x, ratio * then->u / x);
	out->en = twins.en;
	return true;
}
