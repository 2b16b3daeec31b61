/* SPDX-License-Identifier: MIT */
/*
 * Two configurations held against each other, for a reload: what goes on as it is, and
 * what has to begin anew.
 *
 * A section is the same where it says the same: comments, blanks and the order of keys do
 * not matter, and neither does its place in the file.  Where its dialect comes from a file,
 * that file is part of it.
 */
#ifndef TALLY_CONFIG_COMPARE_H
#define TALLY_CONFIG_COMPARE_H

#include "daemon/config.h"

enum config_change {
	CONFIG_SAME,
	CONFIG_JUDGED, /* only what is made of its readings is another: accuracy, limits of use.
	                * The line goes on */
	CONFIG_OTHER,  /* the line, the dialect, or what is asked */
};
enum config_change config_meter_change(const struct config_meter *was,
                                       const struct config_meter *is);

/* Do the thresholds of settling differ? */
bool config_limits_differ(const struct config *was, const struct config *is);

/* What cannot be changed while the daemon runs: name, log, sockets.  A fault with the place
 * in the new file where any of them differs. */
bool config_can_follow(const struct config *was, const struct config *is, struct fault *why);

/* Of one key and its value, for config_meter.line_said and judged_said. */
void config_meter_remember(struct config_meter *m, const char *key, const char *value);
uint64_t config_hash(const char *bytes, size_t len, uint64_t from);

#endif
