/* SPDX-License-Identifier: MIT */
/*
 * Exports: the texts of records, a line each, byte for byte, with the hashes that
 * sealed them.  protocol/SEAL.md section 9 is the contract.
 *
 *   {"seal":"tally-export-1","identity":"...","after":0,"hash":"000...","key":"..."}
 *   {"seq":1,"t":"2026-11-25T10:00:00.000000Z","kind":"log", ...}
 *   ...
 *   {"seal":"tally-export-1","hashes":["a117...", ...]}
 *   ...
 *   {"seal":"tally-export-1","hashes":["cffc...", ...],"end":2}
 *
 * A line that begins with {"seq": is a record, one that begins with {"seal": is ours; there
 * is nothing else.  The first line says where the part begins and which hash stood before
 * it; each seal line has the hashes of the records since the one before it, the last one
 * says which record is the last.  So a changed byte is found and named, and so is an end
 * that was cut off; what all that proves is told in SEAL.md.
 */
#ifndef TALLY_RECORD_EXPORT_H
#define TALLY_RECORD_EXPORT_H

#include "protocol/record/checkpoint.h"
#include "protocol/record/text.h"

/* Hashes in one seal line, at most: what a reader must keep. */
#define EXPORT_HASHES_MAX 100
/* Room for any seal line of ours. */
#define EXPORT_SEAL_MAX (EXPORT_HASHES_MAX * 68 + 512)
/* A line that is longer is none: every record fits into a line of the wire (1 MiB). */
#define EXPORT_LINE_MAX (1u << 20)

struct export_begin {
	char identity[IDENTITY_SIZE]; /* of the log */
	int64_t after;                /* the part begins with the record after this; 0: with the first */
	uint8_t hash[SEAL_SIZE];      /* of that record; zeros for 0 */
	bool has_key;                 /* the key that held there; of a whole export record 1 says it */
	uint8_t key[KEY_SIZE];
};
void export_begin_write(struct text *out, const struct export_begin *b);

/* Hashes of the `n` records above it; `end` is the last of all of them, 0 where more follow. */
void export_hashes_write(struct text *out, const uint8_t (*hash)[SEAL_SIZE], int n, int64_t end);

bool export_is_seal(const char *line, size_t len);
bool export_is_record(const char *line, size_t len);

enum export_seal_kind { EXPORT_NO_SEAL, EXPORT_BEGIN, EXPORT_HASHES };
struct export_seal {
	struct export_begin begin; /* EXPORT_BEGIN */
	int n;                     /* EXPORT_HASHES */
	uint8_t hash[EXPORT_HASHES_MAX][SEAL_SIZE];
	int64_t end;               /* 0: more follows */
};
/* Of a line that is none of an export's: the first byte that is wrong, from 1; 0 where that cannot
 * be told (it is valid JSON, but a member is missing or of another form). */
int export_misfit(const char *line, size_t len);
/* EXPORT_NO_SEAL for a line that is none: of another format, with a member missing. */
enum export_seal_kind export_seal_read(const char *line, size_t len, struct export_seal *out);

#endif
