/* SPDX-License-Identifier: MIT */
/*
 * Who holds a file: for the message that says why something is busy.
 *
 * Looks into /proc.  Processes of other users show neither their open files nor,
 * in a container, their number; then the words say so.
 */
#ifndef TALLY_HOLDER_H
#define TALLY_HOLDER_H

#include <stdbool.h>
#include <stddef.h>
#include <sys/types.h>

#define HOLDER_TEXT_SIZE 160

/* The process that has flock(2) on the open file `fd` (Linux: /proc/locks), 0 where
 * there is none or it cannot be seen. */
pid_t holder_of_lock(int fd);
/* The same of a file that is not opened for it. */
pid_t holder_of_path_lock(const char *path);

/* The live process that left a lock file /var/lock/LCK..NAME for a serial line, 0
 * for none.  `node` is the path of the line. */
pid_t holder_of_lock_file(const char *node);

/* For people: "cat (process 123)", "a process that cannot be seen from here" for 0. */
void holder_name(pid_t pid, char *out, size_t size);

/* Every other process that has the device or file of `path` open, three at most by
 * name: "cat (process 123), socat (process 99)"; returns how many there are and
 * leaves `out` "" for none.  Walks all of /proc: some milliseconds. */
int holders_of_file(const char *path, char *out, size_t size);

#endif
