/* SPDX-License-Identifier: MIT */
/*
 * Guided runs of the job (records of kind `guide`, see protocol/SEAL.md), as the report tells
 * them: from `begun` to `done`, `stopped` or `left`, with what its meters read meanwhile.
 *
 *     report_guide.c          which records are one run, what its meters read, what is told of it
 *     report_guide_tables.c   its steps and result as tables, report_guide_values.c the values in them
 *     report_guide_words.c    what all of that is called
 *     report_guide_picture.c  its trail, meter by meter, over one axis of time
 */
#ifndef TALLY_CLIENT_REPORT_GUIDE_H
#define TALLY_CLIENT_REPORT_GUIDE_H

#include "client/chart.h"
#include "client/report.h"

#define REPORT_GUIDE_PANELS 6 /* of a meter one for each function that it read */
#define REPORT_GUIDE_COLUMNS 288 /* of its picture */

struct report_guide_panel {
	char role[40];
	struct chart_panel panel; /* columns of [from, to) of the run */
};

struct report_guide {
	const struct report_record **record; /* malloc */
	int records;
	const char *ended; /* "done", "stopped", "left"; NULL: not yet */
	int64_t from, to;  /* us since 1970 */
	struct report_guide_panel panel[REPORT_GUIDE_PANELS];
	int panels;
};

/* Asks for what its meters read; false where a question failed, which was said. */
enum outcome report_guide_gather(struct client *c, struct report *r);
void report_guide_free(struct report *r);

/* ---- report_guide_words.c: the word of that name, the name itself where none is known ---- */

enum report_guide_words {
	REPORT_GUIDE_KIND, REPORT_GUIDE_END, REPORT_GUIDE_MEMBER, REPORT_GUIDE_ROLE, REPORT_GUIDE_VALUE
};
const char *report_guide_word(const struct report *r, enum report_guide_words of, const char *name);
const char *report_guide_step(const struct report *r, const char *kind, const char *step);

/* ---- report_guide.c ---- */

/* What the last run that came to its end found of the leakage there, with its verdict: "4.40 uA, outside
 * (calculated)"; false where there is none, or what it rests on was struck.  *rests: the entry that it
 * was worked out from last, NULL where it made none. */
bool report_guide_leakage(const struct report *r, const char *position, char *out, size_t size,
                          const struct report_entry **rests, bool *outside);
/* A heading and everything behind it; nothing where there were no guided runs. */
void report_guides(const struct report *r, struct paper *p);
/* One item of the owner's page; nothing where there were none. */
void report_guide_owner(const struct report *r, struct paper *p);

/* ---- report_guide_picture.c ---- */

#define REPORT_GUIDE_WIDTH 344
int report_guide_height(const struct report_guide *g);
/* `number` makes its names differ from those of other pictures. */
void report_guide_picture(const struct report *r, const struct report_guide *g, int number,
                          const char *title, struct lines *out);

#endif
