/* SPDX-License-Identifier: MIT */
/*
 * Records of what belongs to a job beside its sheet and its entries:
 *
 *   bind      a meter is held to a position, or follows what is chosen again
 *   fitted    legs that were up are back, and a part that was new is in: the person says so
 *   identity  which unit this is: maker, type, serial, what its owner says ...
 *
 * As in record.h: a writer appends the members after "kind", a reader takes the whole text
 * and is false where it is not one of that kind.
 */
#ifndef TALLY_RECORD_JOB_KINDS_H
#define TALLY_RECORD_JOB_KINDS_H

#include "protocol/record/record.h"

/* ---- bind ---- */

struct bind_body {
	char job[JOB_SIZE];
	char meter[NAME_SIZE];
	char position[NAME_SIZE]; /* "": null, it is free again */
	enum quantity quantity;   /* where it has a position */
	struct asked_by by;
};
void bind_body_write(struct text *out, const struct bind_body *b);
bool bind_body_read(const char *text, size_t len, struct bind_body *b);

/* ---- fitted ---- */

struct fitted_body {
	char job[JOB_SIZE];
	char position[NAME_SIZE];
	struct asked_by by;
};
void fitted_body_write(struct text *out, const struct fitted_body *b);
bool fitted_body_read(const char *text, size_t len, struct fitted_body *b);

/* ---- identity ---- */

/* id, key, what it is */
#define IDENTITY_LIST(X)                                                     \
	X(MAKER, "maker", "who made it")                                        \
	X(TYPE, "type", "what the maker called it")                             \
	X(SERIAL, "serial", "its number")                                       \
	X(YEAR, "year", "when it was made, as far as known")                    \
	X(MAINS, "mains", "the mains tap that it is set to")                    \
	X(COMPLAINT, "complaint", "what is wrong with it, as it was told")      \
	X(OWNER, "owner", "the owner's word: what is wished, and agreed")       \
	X(CONDITION, "condition", "what the eye sees: leaks, heat, earlier repairs") \
	X(RECEIVED, "received", "the day it came in, YYYY-MM-DD")

enum identity_key {
#define X(id, key, what) IDENTITY_##id,
	IDENTITY_LIST(X)
#undef X
	    IDENTITY_COUNT
};

/* Bytes of a cell, with its NUL: a paragraph. */
#define IDENTITY_CELL_SIZE 512

struct job_identity {
	bool said[IDENTITY_COUNT]; /* of a record: it speaks of this cell */
	char cell[IDENTITY_COUNT][IDENTITY_CELL_SIZE]; /* "": not known */
};
/* Set a cell as `job set key=value` does; an empty value takes it away.  False with the
 * fault where there is no such key, where the value is longer than a cell, is not UTF-8 or has
 * control characters, and where the day is none. */
bool identity_set(struct job_identity *id, const char *key, const char *value, struct fault *why);
/* What a later record says counts. */
void identity_over(struct job_identity *id, const struct job_identity *later);
/* The cells that are known as the members of an object, null where none is. */
void identity_write(struct text *out, const struct job_identity *id);

struct identity_body {
	char job[JOB_SIZE];
	struct job_identity said; /* what changed, only: the cells that were said */
	struct asked_by by;
};
void identity_body_write(struct text *out, const struct identity_body *b);
bool identity_body_read(const char *text, size_t len, struct identity_body *b);

#endif
