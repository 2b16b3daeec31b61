/* SPDX-License-Identifier: MIT */
/*
 * Sockets that a service manager opened for us (socket activation, sd_listen_fds(3)):
 * LISTEN_PID says that they are for this process, LISTEN_FDS how many there are, from
 * descriptor 3 on, and LISTEN_FDNAMES their names, parted by colons.
 *
 * One named `viewers` is for those who only look (FileDescriptorName=viewers in its
 * socket unit); any other one is the bench's.  Where none is named `viewers`, a second
 * one is for viewers.  What is no listening Unix stream socket, or one too many, is
 * refused: a daemon that passed it over would listen somewhere else than it was told.
 */
#ifndef TALLY_INHERIT_H
#define TALLY_INHERIT_H

#include "protocol/trade/fault.h"

#include <stdbool.h>

struct inherited {
	int bench, viewers; /* descriptors, close on exec; -1 for none */
};

/* Takes the variables out of the environment.  False with *why: nothing is to be opened
 * then. */
bool inherit_sockets(struct inherited *out, struct fault *why);

#endif
