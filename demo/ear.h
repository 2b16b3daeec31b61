/* SPDX-License-Identifier: MIT */
/*
 * What the hands hear of the daemon, over its socket as any client does: names that are called, and
 * values that are logged.  One ear a program; without a socket it hears nothing.
 */
#ifndef TALLY_DEMO_EAR_H
#define TALLY_DEMO_EAR_H

#include <stdbool.h>

/* Listen there; NULL: to nobody.  The path is kept. */
void ear_at(const char *socket_path);
/* Is there anybody to listen to? */
bool ear_is(void);
/* Connect, where it is not and was not tried just now. */
void ear_try(double t);
/* To be polled for reading; -1: not connected. */
int ear_fd(void);
void ear_hear(void);

/* Was that name called since it was last asked for?  A second call is heard anew. */
bool ear_called(const char *position);
/* How many values were logged so far. */
unsigned ear_logged(void);
/* Was the last of them logged there? */
bool ear_logged_at(const char *position);

#endif
