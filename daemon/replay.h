/* SPDX-License-Identifier: MIT */
/*
 * A recording through the whole pipeline on a virtual clock: the same bench, the
 * same log, no port and no socket.  Every record is printed on standard output
 * as it is sealed, one JSON text a line.
 *
 * The virtual clock begins at 2000-01-01T00:00:00Z; the log's identity is made
 * from the bytes of the recording, so the same recording gives the same records.
 */
#ifndef TALLY_REPLAY_H
#define TALLY_REPLAY_H

#include "daemon/config.h"

struct replay_options {
	const char *recording; /* path */
	const char *sheet;     /* path, or NULL */
	const char *log;       /* path; ":memory:" keeps nothing */
	const char *version;
	/* With no configuration at all, every meter of the recording is taken as
	 * ascii-unit; with one, a meter that it lacks is a fault. */
	bool any_meter;
};

/* Exit status: 0 done, 2 a fault in one of the files (said on standard error, with
 * file, line and column; then nothing has run), 4 not logged. */
int replay_run(const struct replay_options *options, struct config *config);

#endif
