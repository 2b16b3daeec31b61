/* SPDX-License-Identifier: MIT */
/*
 * Which adapters the machine has, and who may use them: for `tally doctor`.
 *
 * Read from sysfs, the database of udev, /proc and the user database.  Nothing is
 * opened that is a line, nothing is sent, nothing is set.  Takes some milliseconds,
 * so not for the thread that reads the lines.
 *
 * `root` stands before every path ("" outside of tests), but for /proc and the user
 * database.  What cannot be read is "", -1 or false; all texts are for people and may
 * hold any bytes that the adapter sent.
 */
#ifndef TALLY_ADAPTERS_H
#define TALLY_ADAPTERS_H

#include <stdbool.h>
#include <stddef.h>

/* More are counted and not listed. */
#define ADAPTERS_MAX 96
#define STRAYS_MAX 16

/* A device node: whose it is, and whether this process may use it. */
struct node_rights {
	bool there;
	char user[32], group[32]; /* names, or numbers where there are none */
	unsigned mode;            /* 0660 and the like */
	bool may;                 /* this process may read and write it */
	bool member;              /* this process is in its group */
	bool listed;              /* the user database has our user in its group */
	char holder[256];         /* others that have it open: "cat (process 12)"; "" for none */
};
void node_look(const char *node, struct node_rights *out);

/* A serial line on USB that has a driver and so a node. */
struct adapter {
	char node[64];        /* "/dev/ttyUSB0" */
	char bus[64];         /* "1-1.4:1.0": for usb-place: */
	int vid, pid;
	char serial[64], product[64], driver[32];
	char link[64];        /* "/dev/tally/red" where a rule made one */
	bool known;           /* udev has an entry for it */
	bool modem_ignored;   /* a rule keeps the modem manager off it */
	int latency_ms;       /* after which it hands bytes on; -1: it does not say */
	struct node_rights rights;
};
/* Returns how many were written, at most `max`, in the order of their nodes. */
int adapters_list(const char *root, struct adapter *out, int max);

/* A USB device without any serial line: no driver took its interface, or a program
 * took it over past the kernel. */
struct stray {
	char place[64];       /* "1-1.4" */
	int vid, pid;
	char serial[64], product[64];
	bool modem_class;     /* it says that it is a serial line (CDC ACM) */
	bool claimed;         /* a program has it, by usbfs */
	char holder[256];     /* that program, where it can be seen */
};
int strays_list(const char *root, struct stray *out, int max);

/* Who we are. */
struct self {
	char user[32];
	bool root;
	char groups[512]; /* of this process: "bench, dialout" */
};
void self_look(struct self *out);

/* Does udev manage devices here? */
bool udev_runs(const char *root);
/* The first other process whose name has this in it (case does not matter) and that was
 * started with none of these words (NULL at the end; may be NULL itself): "name (process
 * 12)"; false where there is none. */
bool process_named(const char *part, const char *const *without, char *out, size_t size);

#endif
