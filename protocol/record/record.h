/* SPDX-License-Identifier: MIT */
/*
 * The bodies of records: every kind that is sealed, written and read in one place.
 *
 * Each writer appends the members that stand after "kind" (with their leading
 * commas, as daemon/log wants them); each reader takes the whole text of a record.
 * What each member means stands in protocol/SEAL.md.
 */
#ifndef TALLY_RECORD_RECORD_H
#define TALLY_RECORD_RECORD_H

#include "protocol/record/text.h"
#include "protocol/trade/entry.h"

/* Which readings an entry came from: records of kind trail and indices in them. */
struct trail_part {
	uint64_t ticket; /* of the trail record, where its seq is not known yet */
	int64_t seq;     /* where it is; else 0 */
	int from, to;    /* indices, inclusive */
};

#define ENTRY_FRAMES_MAX 16
#define ENTRY_TRAIL_MAX 64

/* What an entry record holds beside struct entry. */
struct entry_beside {
	const char *job;
	const char *shown;              /* "0.345 uF" */
	const char *frames[ENTRY_FRAMES_MAX]; /* escaped as in recordings */
	int frame_count;
	struct trail_part trail[ENTRY_TRAIL_MAX];
	int trail_count;
	bool accuracy_assumed;
	const char *because;            /* typed entries; NULL for none */
};

void entry_write(struct text *out, const struct entry *e, const struct entry_beside *beside);

/* False where the text is not an entry record. */
bool entry_read(const char *text, size_t len, struct entry *e);

#endif
