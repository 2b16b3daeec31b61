/* SPDX-License-Identifier: MIT */
/*
 * What guided runs found out of a part: leakage, of a capacitor in its circuit (`leak`) or of an
 * electrolytic at its volts (`reform`).
 *
 * The entries of such a run are volts, which have no limits of their own; the current, its limit
 * and the verdict are calculated from them and stand in the `result` of the run's last record
 * (protocol/SEAL.md).  The newest run of each position that came to its end counts, `done` or
 * `stopped`; one that was left found nothing out.  It does not count where an entry that it rests
 * on was struck or moved since.
 */
#ifndef TALLY_QUERY_GUIDED_H
#define TALLY_QUERY_GUIDED_H

#include "daemon/query_private.h"

#include "protocol/trade/plan.h"

struct guided {
	char position[NAME_SIZE]; /* by the name that it has now */
	struct plan_run run;
};
struct guided_list {
	struct guided *at; /* one a position, in the order in which they were first run */
	size_t n, size;
};

/* False where the log cannot be read.  Free it either way. */
bool guided_read(struct query *q, const char *job, struct guided_list *out);
void guided_free(struct guided_list *list);

#endif
