/* SPDX-License-Identifier: MIT */
/*
 * Photos, kept beside the log as files by their SHA-256:
 *
 *     LOG.photos/HASH.jpg (.png, .webp)
 *
 * A note record holds hash, size and name; the seal over the record is so one over the photo.
 * A photo comes in pieces, into a hidden file of that folder, and gets its name only when all of
 * it is there, is on the disk, and begins as a picture does.  A file that has the name already is
 * never written over: it is the same photo, or (altered) the new one is refused.
 *
 * These functions read and write files and may wait for a disk: never on the thread of the lines.
 */
#ifndef TALLY_PHOTO_H
#define TALLY_PHOTO_H

#include "protocol/trade/fault.h"

#include <limits.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define PHOTO_SIZE_MAX (INT64_C(64) << 20)
#define PHOTO_HEX_SIZE 65
#define PHOTO_NAME_SIZE 160 /* of the file as the person called it */

struct photo_kept {
	char hash[PHOTO_HEX_SIZE]; /* SHA-256, lower-case hex digits */
	char type[8];              /* jpeg, png, webp */
	int64_t size;
};

/* One that is coming in. */
struct photo;

/* Thrown away what a kill left half written.  Nothing where there is no folder. */
void photo_sweep(const char *log);
struct photo *photo_begin(const char *log, int64_t size, struct fault *why);
/* The next bytes; `at` is where they stand, which must be where the ones before ended. */
bool photo_add(struct photo *p, int64_t at, const void *bytes, size_t len, struct fault *why);
/* All of it is there: gets its name.  The photo is freed by the caller, either way. */
bool photo_keep(struct photo *p, struct photo_kept *out, struct fault *why);
void photo_free(struct photo *p);

bool photo_hash_valid(const char *hash);
/* One that is kept: false where no file has that hash as its name. */
bool photo_find(const char *log, const char *hash, struct photo_kept *out, struct fault *why);

enum photo_state { PHOTO_GOOD, PHOTO_MISSING, PHOTO_ALTERED };
const char *photo_state_name(enum photo_state s);
/* Read through: is it still what its hash says? */
enum photo_state photo_check(const char *log, const struct photo_kept *k);
/* Up to `room` bytes of it from `at` on; false where there are none to be read. */
bool photo_read(const char *log, const struct photo_kept *k, int64_t at, void *bytes, size_t room,
                size_t *len, struct fault *why);
/* The same photo beside another log; as photo_check where it is not good. */
enum photo_state photo_copy(const char *log, const char *to, const struct photo_kept *k,
                            struct fault *why);

#endif
