/* SPDX-License-Identifier: MIT */
/*
 * The clock that does not jump when somebody sets the time: for time-outs and waits.
 */
#ifndef TALLY_CLIENT_CLOCK_H
#define TALLY_CLIENT_CLOCK_H

#include <pthread.h>
#include <stdint.h>
#include <time.h>

/* Since some moment in the past, never falling. */
int64_t clock_us(void);
int64_t clock_ms(void);

/* A condition that waits by this clock, and when such a wait is to end. */
void clock_condition(pthread_cond_t *c);
struct timespec clock_after(int ms);

#endif
