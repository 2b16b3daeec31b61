/* SPDX-License-Identifier: MIT */
/*
 * Small files of one line: of the kernel in /proc and /sys, and lock files.
 */
#ifndef TALLY_FIRST_LINE_H
#define TALLY_FIRST_LINE_H

#include <stdbool.h>
#include <stddef.h>

/* The first line without its end, cut to fit; "" and false where there is none. */
bool first_line(const char *path, char *out, size_t size);

#endif
