/* SPDX-License-Identifier: MIT */
/*
 * The time of a scene, and the recording that may be made of it.
 *
 * Without a tape time is the machine's, in seconds.  With one it is a clock of its own that
 * begins at 0 and goes on only by tape_wait(), so that a scene is played as fast as it can be;
 * what the lines would have carried is written down (`tallyd --replay`).  One tape a program.
 */
#ifndef TALLY_DEMO_TAPE_H
#define TALLY_DEMO_TAPE_H

#include <stdbool.h>

/* "meters: ..." on standard error, and the program ends with status 2. */
_Noreturn void stop(const char *format, ...) __attribute__((format(printf, 1, 2)));

/* Seconds; they never fall. */
double now(void);

/* From here on the scene is taped; ends the program where the file cannot be made. */
void tape_open(const char *path);
bool tape_on(void);
/* The clock goes on to there. */
void tape_wait(double until);
/* Bytes of that meter's line, as they came now. */
void tape_line(const char *meter, const char *line);
/* "@..." as it was done now; the format says what stands behind the sign. */
void tape_act(const char *format, ...) __attribute__((format(printf, 1, 2)));
/* Ends the program where not all of it could be written; nothing without a tape. */
void tape_close(void);

#endif
