/* SPDX-License-Identifier: MIT */
/*
 * Which devices with keys there are, without opening any: their nodes from /dev/input,
 * what they say of themselves from /sys/class/input, which everybody may read.
 *
 * TALLY_INPUT names another folder for both (NODES, and NODES/sys in the place of
 * /sys/class/input), for trials and tests.
 */
#ifndef TALLY_CLIENT_PEDAL_FIND_H
#define TALLY_CLIENT_PEDAL_FIND_H

#include "client/pedal_identity.h"

/* More than any machine has; what is beyond is not seen, and `more` says so. */
#define PEDAL_FOUND_MAX 64
#define PEDAL_NODE_MAX 300

struct pedal_found {
	char node[PEDAL_NODE_MAX]; /* "/dev/input/event7" */
	struct pedal_identity id;
	bool readable; /* this person may open it */
};

struct pedal_list {
	int count;  /* in the order of their numbers */
	bool more;
	struct pedal_found at[PEDAL_FOUND_MAX];
};

/* The folder of the nodes. */
const char *pedal_folder(void);

/* All that have keys or buttons.  A folder that is not there is an empty list. */
void pedal_find(struct pedal_list *list);

/* Of the list those that are the wanted one: their number, the first in *which; `like`
 * counts those of its kind at another place. */
int pedal_find_wanted(const struct pedal_list *list, const struct pedal_identity *wanted,
                      int *which, int *like);

#endif
