/* SPDX-License-Identifier: MIT */
/*
 * The questions that the log alone can answer: entries, sheets, jobs, cross-checks,
 * verification.  The same code for a running daemon (on its reader thread) and
 * for `tallyd --serve FILE`.  Everything is derived from the records; nothing is
 * remembered between two questions.
 *
 * An answer stays below QUERY_ANSWER_MAX, so that with its envelope it fits a
 * line: a list that would be longer is cut there, with `more` true and `next` to
 * go on from.  Memory follows the size of an answer, or of a job where the whole
 * of it must be seen (compare), never the size of the log.
 */
#ifndef TALLY_QUERY_H
#define TALLY_QUERY_H

#include "daemon/log.h"

#include <jansson.h>

#define QUERY_ANSWER_MAX (960u << 10)

/* Is this one of the methods marked *file* in protocol/WIRE.md (but hello)? */
bool query_known(const char *method);
/* Does it write a file (with the daemon's right)? */
bool query_writes(const char *method);

/* Answer it.  Returns a JSON text (malloc; the caller frees), or NULL with *code
 * (see WIRE.md) and *why. */
char *query_run(struct log_reader *reader, const char *method, json_t *params, int *code,
                struct fault *why);

/* `verify` of an export. */
char *query_run_export(const char *path, const struct log_going *going, json_t *params, int *code,
                       struct fault *why);

/* What hello says of a log: from its first and its last record. */
struct query_log {
	char identity[65]; /* hex */
	char bench[128];
	int64_t last;      /* seq */
};
/* False where it cannot be read; what could be read is there all the same ("" and 0
 * for what could not, or where record 1 is not that of a log). */
bool query_log(struct log_reader *reader, struct query_log *out, struct fault *why);

#endif
