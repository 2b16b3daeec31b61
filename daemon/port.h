/* SPDX-License-Identifier: MIT */
/*
 * One serial line: opened when it is there, kept, closed at once when it goes,
 * opened again when it comes back.
 *
 *     port_open --> looks --> opened() --> bytes() ... --> gone() --> looks ...
 *                     |
 *                     `--> failed() once for each distinct reason, looks on
 *
 * Everything runs on the thread of the loop.  Callbacks never come from inside
 * port_open or port_send, and may call any function here, port_close too.  Time is
 * the caller's: bytes come without a stamp, in the order of the line.
 *
 * What is done to a line, and in which order (each step because the other order
 * went wrong):
 *
 *   1. links are followed: libserialport knows only /dev/NODE itself;
 *   2. the node is opened without waiting for a carrier, and flock(2) is taken and
 *      kept; a line that somebody holds, by flock, TIOCEXCL or a live LCK.. file, is
 *      left as it is, its settings untouched, and the holder is named;
 *   3. dtr and rts are put as configured, echo is switched off;
 *   4. libserialport opens it; then TIOCEXCL (before, it would lock us out too);
 *   5. speed, bits, parity, stop bits, flow, and no hang-up at close; all read back:
 *      a setting that did not hold is a failure, not a surprise;
 *   6. what had arrived before is thrown away.  The first bytes may still be the
 *      rest of a message (frame_begin takes care of that).
 *
 * While it is open it is looked at as often: where the node went away, where another
 * adapter appeared that fits as well, where the link leads elsewhere now, or where
 * another program changed the settings, the line is closed with that cause.  What is
 * there decides, never the order in which it was plugged.
 *
 * Nothing is ever sent but by port_send.  `quiet_ms` of the settings is the
 * caller's to keep.
 */
#ifndef TALLY_PORT_H
#define TALLY_PORT_H

#include "daemon/bus.h"
#include "daemon/place.h"
#include "protocol/meter/dialect.h"

#include <uv.h>

struct port;

/* How often a line that is absent is looked for, and one that is open looked at. */
#define PORT_LOOK_MS 250
/* One that went away within a second of opening though its adapter was not plugged
 * anew is opened again after a wait that doubles up to this. */
#define PORT_HOLD_MAX_MS 1000
/* Bytes waiting to be sent, at most; beyond it port_send refuses. */
#define PORT_QUEUE_MAX 4096

enum port_state {
	PORT_ABSENT,  /* not there */
	PORT_REFUSED, /* there, but it cannot be had: port_why says why */
	PORT_OPEN,
};

struct port_options {
	struct place place;
	struct line_settings line;
	/* Looks shared with other ports of the same loop; NULL: it looks for itself. */
	struct bus *bus;
	int look_ms; /* 0 for PORT_LOOK_MS */
	void (*opened)(void *arg);
	/* At most 4096 bytes at a time; valid during the call. */
	void (*bytes)(void *arg, const char *bytes, size_t len);
	/* A byte came with a parity or framing error, or the line was held (a break): its
	 * frame is void.  In the order of the bytes; may be NULL. */
	void (*bad_byte)(void *arg);
	/* Was open, is closed now; `cause` is for people. */
	void (*gone)(void *arg, const char *cause);
	/* Cannot be opened.  Told when the reason is another than the last one; that it is
	 * absent is not told after gone(), which said it. */
	void (*failed)(void *arg, const struct fault *why);
	void *arg;
};

/* Begins to look for the line.  NULL where there is no memory. */
struct port *port_open(uv_loop_t *loop, const struct port_options *options, struct fault *why);

/* Closes the line; closed() is called (if not NULL) when nothing of it is left.  No
 * other callback comes after port_close. */
void port_close(struct port *p, void (*closed)(void *arg), void *arg);

/* Something was plugged or unplugged somewhere: look now.  The caller forgets a shared
 * bus first.  Harmless at any time; without it the look comes within look_ms. */
void port_nudge(struct port *p);

/* Send, at once or as soon as the line takes it.  All or nothing: false where the
 * line is not open or too much waits already (then nothing is sent). */
bool port_send(struct port *p, const char *bytes, size_t len);

enum port_state port_state(const struct port *p);
/* The device node now or last ("/dev/ttyUSB0"), "" before the first. */
const char *port_node(const struct port *p);
/* With PORT_ABSENT and PORT_REFUSED: why; NULL while it is open. */
const struct fault *port_why(const struct port *p);

/* What the driver counted since the line was opened; false where the driver does
 * not count. */
struct port_errors {
	long framing, parity, overrun, breaks, lost; /* lost: the kernel's buffer was full */
};
bool port_errors(const struct port *p, struct port_errors *out);

#endif
