/* SPDX-License-Identifier: MIT */
/*
 * What the files of guided runs in the report share (report_guide.h says which does what).
 *
 * Texts go into `out` of `size` bytes, are cut there, and end with NUL.  Slices are JSON texts as they
 * were sealed.  Names of members, steps and kinds that are not known stand by their own word.
 */
#ifndef TALLY_CLIENT_REPORT_GUIDE_INSIDE_H
#define TALLY_CLIENT_REPORT_GUIDE_INSIDE_H

#include "client/report_guide.h"

#include <jansson.h>

#define WORD(r, of, name) report_guide_word(r, REPORT_GUIDE_##of, name)

/* "done", "stopped", "left" where that record ends its run, else NULL. */
const char *report_guide_end(const struct report_record *one);

/* ---- report_guide_values.c ---- */

/* Behind what stands in `out`, with `between` where something does; nothing for an empty text. */
void report_guide_put(char *out, size_t size, const char *between, const char *text);
/* A number of a result by itself: nobody says how many of its digits count, so four do. */
void report_guide_number(const struct report *r, double x, char *out, size_t size);
/* The unit of a member whose number stands without it: "W", "dB"; "s": it is told as time; "": none. */
const char *report_guide_unit(const char *member);
/* The number of that member, with its unit. */
void report_guide_member(const struct report *r, const char *member, double x, char *out, size_t size);
/* {"value":..., "u":..., "unit":...} as "4.40 ± 0.05 uA"; false where it is none. */
bool report_guide_measured(const struct report *r, struct slice s, char *out, size_t size);
/* An object or a list, flat: "a 1, b 4, percent 0.2"; "1, 3; 2, 4".  Behind what stands in `out`. */
void report_guide_flat(const struct report *r, json_t *value, int depth, char *out, size_t size);
/* Whatever stands there; "" for null, true and false, and for what lies deeper than three levels. */
void report_guide_value(const struct report *r, struct slice s, int depth, char *out, size_t size);

/* ---- report_guide_tables.c ---- */

/* What the run came to: facts, then a table or list for each list of objects in its result. */
void report_guide_result(const struct report *r, const struct report_guide *g, struct paper *p);
/* Its steps, a row each, with the entries that each one logged. */
void report_guide_steps(const struct report *r, const struct report_guide *g, struct paper *p);

#endif
