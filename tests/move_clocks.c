/* SPDX-License-Identifier: MIT */
/*
 * Preloaded: the clocks of a program, moved from outside while it runs.
 *
 *     TALLY_CLOCKS=FILE LD_PRELOAD=libclocks.so PROGRAM
 *
 * FILE (which is there) holds three times in us, as they lie in memory (int64_t): what is added to the
 * clock that never jumps, to that which counts the machine's sleep, and to the wall clock.  Waits
 * of the kernel take as long as ever.
 */
#include <fcntl.h>
#include <stdatomic.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

int clock_gettime(clockid_t clock, struct timespec *out);

static atomic_int_fast64_t *moved;

__attribute__((constructor)) static void begin(void)
{
	const char *path = getenv("TALLY_CLOCKS");
	int fd = path ? open(path, O_RDWR | O_CLOEXEC) : -1;
	void *page = fd < 0 ? MAP_FAILED : mmap(NULL, 24, PROT_READ | PROT_WRITE, MAP_SHARED, fd, 0);
	if (fd >= 0)
		close(fd);
	moved = page == MAP_FAILED ? NULL : page;
}

int clock_gettime(clockid_t clock, struct timespec *out)
{
	int code = (int)syscall(SYS_clock_gettime, clock, out);
	int which = clock == CLOCK_MONOTONIC || clock == CLOCK_MONOTONIC_COARSE ? 0
	            : clock == CLOCK_BOOTTIME ? 1
	            : clock == CLOCK_REALTIME || clock == CLOCK_REALTIME_COARSE ? 2 : -1;
	if (code == 0 && moved && which >= 0) {
		int64_t us = (int64_t)out->tv_sec * 1000000 + out->tv_nsec / 1000 + moved[which];
		long rest = out->tv_nsec % 1000;
		out->tv_sec = (time_t)(us / 1000000);
		out->tv_nsec = (long)(us % 1000000) * 1000 + rest;
	}
	return code;
}
