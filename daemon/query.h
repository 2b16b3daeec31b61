/* SPDX-License-Identifier: MIT */
/*
 * The questions that the log alone can answer: entries, sheets, jobs, cross-checks,
 * verification.  The same code for a running daemon (on its reader thread) and
 * for `tallyd --serve FILE`.  Everything is derived from the records; nothing is
 * remembered between two questions.
 */
#ifndef TALLY_QUERY_H
#define TALLY_QUERY_H

#include "daemon/log.h"

#include <jansson.h>

/* Is this one of the methods marked *file* in protocol/WIRE.md (but hello)? */
bool query_known(const char *method);

/* Answer it.  Returns a JSON text (malloc; the caller frees), or NULL with *code
 * (see WIRE.md) and *why. */
char *query_run(struct log_reader *reader, const char *method, json_t *params, int *code,
                struct fault *why);

#endif
