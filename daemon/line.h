/* SPDX-License-Identifier: MIT */
/*
 * One device node of a serial line, opened the way that port.h lists, or refused
 * with the reason.  No waiting, no loop: port.c decides when.
 */
#ifndef TALLY_LINE_H
#define TALLY_LINE_H

#include "protocol/meter/dialect.h"

#include <linux/serial.h>
#include <sys/types.h>
#include <termios.h>

struct sp_port;

struct line {
	int fd;                 /* ours: carries the flock; -1 while closed */
	struct sp_port *serial; /* libserialport's */
	int serial_fd;          /* its descriptor, to wait on; -1 while closed */
	dev_t rdev;
	struct termios set; /* as it was when it had been opened */
	bool counts; /* the driver counts errors; `counted` is how many at opening */
	struct serial_icounter_struct counted;
};

/* Why a line cannot be had, as bits. */
enum trouble {
	TROUBLE_NONE = 0,
	TROUBLE_ABSENT = 1,    /* not there */
	TROUBLE_AMBIGUOUS = 2, /* several fit */
	TROUBLE_DENIED = 4,    /* no right to it, or not yet */
	TROUBLE_BUSY = 8,      /* somebody holds it */
	TROUBLE_OTHER = 16,
};

/* Open `node`, a path without links.  On trouble everything is given back, and
 * `why` says what to do.  With name_holder false a holder is named only where that
 * is cheap; why->text is then "" where it is not. */
enum trouble line_open(struct line *l, const char *node, const struct line_settings *settings,
                       bool name_holder, struct fault *why);

/* Are the settings still those of the opening?  A helper that runs at plug time, or a
 * person with a terminal program, may have changed them since; bytes would be wrong.
 * A line that is gone counts as unchanged: its hang-up says it. */
bool line_as_set(const struct line *l);

/* Unsent bytes are thrown away.  The line may be closed already. */
void line_close(struct line *l);

#endif
