/* SPDX-License-Identifier: MIT */
/*
 * Before the power: what `job.ready` lists stands in the way of the guided run `rise`,
 * whichever client begins it, unless its words say why it does not (because=TEXT).  The bench
 * keeps no record that long, so the log is asked, on another thread, for a disk may stall.
 */
#ifndef TALLY_MAIN_READY_H
#define TALLY_MAIN_READY_H

#include "protocol/trade/fault.h"

#include <stdbool.h>
#include <uv.h>

/* Is this a run that waits for that? `kind` and `words` as in guide.start, words may be NULL. */
bool ready_wanted(const char *kind, const char *words);

/*
 * Asks the log for its last job.  `done` comes on the loop, once: `good` where nothing stands
 * in the way (or there is no job at all, which the bench refuses itself), else *why says what
 * does and what to do.  False with *why where it cannot be asked; then `done` never comes.
 * `log` is used until then.
 */
bool ready_ask(uv_loop_t *loop, const char *log,
               void (*done)(void *arg, bool good, const struct fault *why), void *arg,
               struct fault *why);

#endif
