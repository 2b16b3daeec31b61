/* SPDX-License-Identifier: MIT */
/* What the two files of `tally trail` share. */
#ifndef TALLY_CLIENT_COMMAND_TRAIL_H
#define TALLY_CLIENT_COMMAND_TRAIL_H

#include "client/client.h"

/* Before and after the readings of a touch so much is shown, us. */
#define TRAIL_BEFORE_US INT64_C(8000000)
#define TRAIL_AFTER_US INT64_C(6000000)

/* The trail as the options ask (text, picture, CSV, records); of a position (NULL: all), and of the
 * touch of one entry there (0: the last). */
enum outcome trail_show(struct client *c, const char *position, int64_t entry);
/* --entry: one touch with its readings, and from there to the next and the one before. */
enum outcome trail_touch(struct client *c);

#endif
