/* SPDX-License-Identifier: MIT */
/*
 * The USB-serial adapters that are there now, as the kernel tells it in
 * /sys/class/tty: which node, in which place on the bus, with which ids.
 *
 * One look serves every meter that is looked for at the same moment: sixty absent
 * meters cost no more than one.  Nothing is opened but small files of sysfs, so a
 * look does not disturb an adapter.
 *
 *     /sys/class/tty/ttyUSB0 -> ../../devices/.../usb1/1-1/1-1.4/1-1.4:1.0/ttyUSB0/tty/ttyUSB0
 *
 * The last part of the form 1-1.4:1.0 is the place (the interface); idVendor,
 * idProduct and serial lie in the folder of the adapter above it.
 */
#ifndef TALLY_BUS_H
#define TALLY_BUS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Adapters at most, two full buses of them; further ones are not seen. */
#define BUS_MAX 256
/* A look is good for so long; events on the bus end it sooner (bus_forget). */
#define BUS_FRESH_MS 50
/* For a line that is open: the names of all ttys are read so often, */
#define BUS_NAMES_MS 1000
/* and what stands behind them only where a name came or went, or after so long: reading the ids of
 * 64 adapters takes 5 ms, and a machine may have as many ttys that are none. */
#define BUS_READ_MS 10000

struct bus {
	struct bus_adapter {
		char node[64];    /* "/dev/ttyUSB0" */
		char place[64];   /* "1-1.4:1.0" */
		int vid, pid;     /* -1 where they could not be read */
		char serial[128]; /* "" where it has none */
	} adapter[BUS_MAX];
	int count;
	bool known;       /* looked at, and not forgotten since */
	uint64_t looked;  /* ms, when */
	uint64_t read;    /* ms, when what stands behind the names was read */
	uint64_t names;   /* of all ttys, in any order, as one number */
};

/* Look anew where the last look is older than BUS_FRESH_MS; `now` in ms of any
 * steady clock.  A struct bus of zeros has not looked yet. */
void bus_look(struct bus *b, uint64_t now);

/* The same for who only asks whether a second adapter answers to the name of a line that is
 * open: BUS_NAMES_MS and BUS_READ_MS say how often. */
void bus_look_idly(struct bus *b, uint64_t now);

/* Something changed: the next bus_look looks anew. */
void bus_forget(struct bus *b);

/* Is all of it a place on the bus?  *right: how many bytes of it are. */
bool bus_place_right(const char *s, size_t len, size_t *right);

#endif
