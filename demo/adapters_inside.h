/* SPDX-License-Identifier: MIT */
/*
 * What the files of the shim share (adapters_shim.c says what it does).  Included before all
 * others: the functions that stand in for the C library's must have no fortified or 64 bit twin by
 * macro.  Nothing of it is seen by the program that the shim is preloaded into.
 */
#ifndef TALLY_DEMO_ADAPTERS_INSIDE_H
#define TALLY_DEMO_ADAPTERS_INSIDE_H

#undef _FORTIFY_SOURCE
#undef _FILE_OFFSET_BITS

#include <dlfcn.h>
#include <errno.h>
#include <limits.h>
#include <pthread.h>
#include <stdbool.h>
#include <stddef.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <termios.h>
#include <unistd.h>

#define ADAPTERS_MAX 64
#define ADAPTERS_CLASS "/sys/class/tty"

/* The C library's own, each looked up where it is first needed. */
#define REAL(name)                                            \
	__extension__({                                           \
		static __typeof__(name) *found;                       \
		if (!found)                                           \
			*(void **)&found = dlsym(RTLD_NEXT, #name);       \
		found;                                                \
	})

struct node {
	char name[64];       /* below /dev */
	char pty[PATH_MAX];
	char vid[5], pid[5]; /* hex */
	char serial[64];     /* "" for none */
	bool opened;         /* by this process, as the device `rdev` */
	dev_t rdev;
	bool exclusive;      /* TIOCEXCL by this process */
	bool framed;         /* `framing` holds what tcsetattr set */
	tcflag_t framing;
	int lines;           /* TIOCM_* */
};

enum what { NOTHING, LINK, FOLDER, FILE_TEXT };

#pragma GCC visibility push(hidden)

extern struct node adapter_nodes[ADAPTERS_MAX];
extern int adapter_count;
extern int adapter_line_changes;
/* Over what is opened, framed and listed. */
extern pthread_mutex_t adapter_lock;

/* Once a program: reads TALLY_ADAPTERS. */
void adapters_ready(void);
/* Does its pseudo-terminal lead to a terminal? */
bool adapter_present(const struct node *n);
/* The node that is /dev/NODE itself; NULL: another path. */
struct node *adapter_dev(const char *path);
/* The node that this process has open as `fd`; NULL: none. */
struct node *adapter_fd(int fd);
/* True where `path` lies below a node's entry in /sys/class/tty and is ours to answer; *what is NOTHING
 * where it is not there, and of a FILE_TEXT `text` is what it holds. */
bool adapter_class(const char *path, enum what *what, struct node **node, char *text, size_t size);
/* Where the link of its entry leads to. */
void adapter_link(const struct node *n, char *out, size_t size);
/* Someone else's TIOCEXCL on the node behind `fd`? */
bool adapter_held(int fd);

#pragma GCC visibility pop

#endif
