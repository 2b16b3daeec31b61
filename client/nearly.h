/* SPDX-License-Identifier: MIT */
/* Slips of the hand between two words: letters put in, left out, changed or swapped. */
#ifndef TALLY_CLIENT_NEARLY_H
#define TALLY_CLIENT_NEARLY_H

#include <stdbool.h>

#define NEARLY_FAR 3

/* How many there are; NEARLY_FAR for as many and more, and for words above 22 letters. */
int nearly(const char *a, const char *b);

/* So few that the other is probably meant: two, in a short word one.  Equal words are. */
bool nearly_same(const char *typed, const char *meant);

#endif
