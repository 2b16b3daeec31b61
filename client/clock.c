/* SPDX-License-Identifier: MIT */
/* See clock.h. */
#include "client/clock.h"

int64_t clock_us(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return (int64_t)t.tv_sec * 1000000 + t.tv_nsec / 1000;
}

int64_t clock_ms(void)
{
	return clock_us() / 1000;
}

void clock_condition(pthread_cond_t *c)
{
	pthread_condattr_t monotonic;
	pthread_condattr_init(&monotonic);
	pthread_condattr_setclock(&monotonic, CLOCK_MONOTONIC);
	pthread_cond_init(c, &monotonic);
	pthread_condattr_destroy(&monotonic);
}

struct timespec clock_after(int ms)
{
	int64_t us = clock_us() + ms * INT64_C(1000);
	return (struct timespec){us / 1000000, us % 1000000 * 1000};
}
