/* SPDX-License-Identifier: MIT */
/*
 * The dialect files of a folder: every NAME.ini there is one dialect
 * (protocol/meter/dialect_file.h says how one is written).  They are loaded all or
 * refused with file, line and column.  A file whose dialect has the name of a
 * shipped one stands in its place.
 */
#ifndef TALLY_DIALECTS_H
#define TALLY_DIALECTS_H

#include "protocol/meter/dialect_file.h"

#define DIALECTS_MAX 64

/* Owned by the configuration; rows may be pointed to as long as it lives. */
struct dialects {
	struct dialect_file *file[DIALECTS_MAX];
	uint64_t said[DIALECTS_MAX]; /* of the text of each: not 0 */
	int count;
};

/* Load the folder.  One that is not there is a fault where `must` is true, else an
 * empty one. */
bool dialects_load(struct dialects *d, const char *folder, bool must, struct fault *why);
void dialects_free(struct dialects *d);

/* Of the files first, then of the shipped ones; NULL where there is none. */
const struct dialect *dialects_find(const struct dialects *d, const char *name);
/* The function that a file's bare numbers have; FUNCTION_NONE for shipped ones. */
enum function dialects_function(const struct dialects *d, const struct dialect *row);
/* Of the text of its file, to tell whether it is the same; 0 for shipped ones. */
uint64_t dialects_said(const struct dialects *d, const struct dialect *row);
/* All names, each once, with commas between, for faults; a list that does not fit ends
 * with an ellipsis.  `size` is at least 16. */
void dialects_names(const struct dialects *d, char *out, size_t size);

#endif
