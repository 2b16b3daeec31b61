/* SPDX-License-Identifier: MIT */
/* See clocks.h. */
#include "daemon/clocks.h"

void clocks_begin(struct clocks *c, int64_t stream, int64_t boot, int64_t utc)
{
	c->utc = utc;
	c->sleep = boot - stream;
}

struct clocks_change clocks_look(struct clocks *c, int64_t stream, int64_t boot, int64_t real)
{
	struct clocks_change change = { 0, 0 };
	int64_t slept = boot - stream - c->sleep;
	if (slept >= CLOCKS_STEP_US) {
		change.slept = slept;
		c->sleep += slept;
		c->utc += slept;
	}
	int64_t step = real - stream - c->utc;
	if (step >= CLOCKS_STEP_US || step <= -CLOCKS_STEP_US) {
		change.step = step;
		c->utc += step;
	}
	return change;
}
