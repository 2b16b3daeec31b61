/* SPDX-License-Identifier: MIT */
/*
 * What is wrong with something that came from outside, said so that a person
 * can mend it: what happened, where, and what was expected.
 *
 * A fault never ends the program.  A function that can meet one takes a
 * `struct fault *`, fills it and returns false (or -1); the caller decides who
 * is told.  The pointer may not be NULL.  On success the fault is untouched.
 */
#ifndef TALLY_TRADE_FAULT_H
#define TALLY_TRADE_FAULT_H

#include <stdarg.h>
#include <stddef.h>

struct fault {
	char text[320]; /* one sentence, no newline, NUL-terminated */
	char file[256]; /* the file it is about; "" where there is none */
	int line;       /* 1 is the first; 0 where there is none */
	int column;     /* in bytes, 1 is the first; 0 where there is none */
};

/* Fill `f` with a sentence; file is cleared, line and column are set to 0. */
void fault_set(struct fault *f, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* The same with a place.  `file` may be NULL or "". */
void fault_at(struct fault *f, const char *file, int line, int column, const char *format, ...)
    __attribute__((format(printf, 5, 6)));

/* "file:line:column: sentence", leaving out the parts that are not known.
 * Writes at most `size` bytes with the NUL; returns the length written. */
size_t fault_text(const struct fault *f, char *out, size_t size);

/* For qsort of many faults of one file: by line, then by column. */
int fault_by_place(const void *a, const void *b);

#endif
