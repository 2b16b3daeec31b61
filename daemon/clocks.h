/* SPDX-License-Identifier: MIT */
/*
 * Three clocks of the machine held against each other once a second: was the wall clock set,
 * or did the machine sleep?
 *
 *   monotonic   counts only while the machine is awake: stream time goes by it
 *   boot        counts while it sleeps, too (CLOCK_BOOTTIME)
 *   real        the wall clock, which anybody may set
 *
 * What boot gained over monotonic was sleep; what real gained beyond both was set.  Pure:
 * whoever calls reads the clocks.
 */
#ifndef TALLY_CLOCKS_H
#define TALLY_CLOCKS_H

#include <stdint.h>

/* Less than this is the jitter of reading three clocks one after the other, or the slow hand
 * of a time daemon, which is set by steps of its own in time. */
#define CLOCKS_STEP_US INT64_C(100000)

struct clocks {
	int64_t utc;   /* real at stream time 0, as it is believed, us since 1970 */
	int64_t sleep; /* boot - stream at the last look, us */
};

struct clocks_change {
	int64_t slept; /* us; 0: it did not */
	int64_t step;  /* us by which the wall clock was set; 0: it was not */
};

/* All in us; `boot` of any origin. */
void clocks_begin(struct clocks *c, int64_t stream, int64_t boot, int64_t utc);
/* Anything new?  c->utc then follows. */
struct clocks_change clocks_look(struct clocks *c, int64_t stream, int64_t boot, int64_t real);

#endif
