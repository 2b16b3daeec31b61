/* SPDX-License-Identifier: MIT */
/*
 * What a service manager is told: the datagrams of sd_notify(3).
 *
 * The protocol is documented for programs to speak by themselves: lines KEY=VALUE, parted
 * by LF, in one datagram to the socket that NOTIFY_SOCKET names (a path, or @ and an
 * abstract name).  Without NOTIFY_SOCKET nothing is sent and nothing is wrong.
 *
 *     READY=1        the log is open and verified, the socket listens
 *     WATCHDOG=1     another sign of life, at least every WATCHDOG_USEC
 *     RELOADING=1    with MONOTONIC_USEC=..., then READY=1 when it is over
 *     STOPPING=1     ending, everything is logged first
 *     STATUS=...     one line for people
 *     EXTEND_TIMEOUT_USEC=...
 *
 * A datagram that the manager does not take at once is dropped: the daemon never waits
 * for it, and the next sign of life follows.
 */
#ifndef TALLY_NOTIFY_H
#define TALLY_NOTIFY_H

#include <stdbool.h>
#include <stdint.h>

struct notify {
	int fd;              /* -1: nobody wants to hear */
	uint64_t watchdog_us; /* a sign of life is wanted so often; 0: none is */
};

/* Reads NOTIFY_SOCKET, WATCHDOG_USEC and WATCHDOG_PID and takes them out of the
 * environment, so that no child speaks for the daemon. */
void notify_open(struct notify *n);
void notify_close(struct notify *n);

/* Lines without the last LF.  False where nobody took it. */
bool notify_send(struct notify *n, const char *format, ...) __attribute__((format(printf, 2, 3)));

#endif
