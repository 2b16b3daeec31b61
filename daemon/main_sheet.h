/* SPDX-License-Identifier: MIT */
/*
 * Sheets on the wire: maps of headings, what became of the columns, what would become of
 * typed lines.  Part of main_calls.c, where server and bench meet.
 */
#ifndef TALLY_MAIN_SHEET_H
#define TALLY_MAIN_SHEET_H

#include "daemon/bench.h"

#include <jansson.h>

/* {"Ref": "position", ...}; NULL and null are none. */
bool sheet_map_read(const json_t *object, struct sheet_map *map, struct fault *why);

/* ,"columns":[{"heading":"Ref","as":"position"},...], in the order of the file. */
void sheet_columns_write(struct text *out, const struct sheet_taken *taken);

/* {"positions":12,"faults":[{"line":2,"column":7,"message":"..."},...],"more":false}; at
 * most a thousand faults. */
void sheet_try_write(struct bench *b, int64_t t, const char *lines, struct text *out);

#endif
