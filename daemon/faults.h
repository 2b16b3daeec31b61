/* SPDX-License-Identifier: MIT */
/*
 * Many faults of one file, said one after the other in the order of their places: the first
 * twenty, and of the rest how many there are.
 */
#ifndef TALLY_FAULTS_H
#define TALLY_FAULTS_H

#include "protocol/trade/fault.h"

struct faults {
	struct fault *kept;
	int count, size;
	int all; /* with those for which there was no memory */
};

/* A `tell` of sheet_faults and config_faults; arg is a struct faults, zeroed at first. */
void faults_keep(void *arg, const struct fault *why);

/* Says them on standard error and lets go of them; how many there were. */
int faults_say(struct faults *f);

#endif
