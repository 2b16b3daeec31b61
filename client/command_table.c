/* SPDX-License-Identifier: MIT */
/*
 * The verbs of `tally`: see command.h.  One table, in the order of the work; the rows of each
 * group stand in a file of their own.  Help, usage lines, the manual page and completion are all
 * made from it.
 */
#include "client/command_calls.h"

const struct verb_option option_table[OPTION_COUNT] = {
#define X(id, name, value, help) {name, value, help},
	OPTION_LIST(X)
#undef X
};

#define METERS "the meters"
#define JOB "the job and its sheet"
#define BENCH "at the bench"
#define ENTRIES "entries"
#define GUIDED "guided runs"
#define LOG "the log"
#define HAND "by hand, without a daemon"

/* What must be read before anyone measures where volts may be. */
#define CAUTION \
	"\nCaution: valve equipment kills. Mains isolated, reservoirs discharged and measured, one " \
	"hand; local codes and licensed practice come first."

/* Of every guided run. */
#define GUIDE \
	" Its cautions come first and want a yes; at a terminal the verb stays, and Enter says that a " \
	"step is done; so do `tally go` and the pedal. --dry prints the steps and touches nothing. --resume takes " \
	"up the one that was left (`tally leave`): from its cautions, with what of it still counts." CAUTION, \
	OPTION_BIT(DRY) | OPTION_BIT(YES) | OPTION_BIT(RESUME)

const struct command command_table[] = {
#include "client/verbs_meters.h"
#include "client/verbs_job.h"
#include "client/verbs_bench.h"
#include "client/verbs_entries.h"
#include "client/verbs_guided.h"
#include "client/verbs_log.h"
#include "client/verbs_hand.h"
};
const int command_count = sizeof command_table / sizeof command_table[0];
