/* SPDX-License-Identifier: MIT */
/*
 * Guided runs on the bench (protocol/guide/guide.h): who they are of, which meters they hold,
 * and what a reading or a key means to them.
 *
 *   bench_guide.c       beginning, going on, leaving; records
 *   bench_guide_plan.c  what one needs to know before it begins
 *   bench_guide_sheet.c what of it tune, lot and rise take from the sheet
 *
 * Several go on at once, each with meters of its own: a capacitor is re-formed for hours while
 * others are measured.  Its meters are held to its position (bench_bind.c): their readings are
 * in the trail, and no touch makes an entry.
 */
#ifndef TALLY_BENCH_GUIDE_H
#define TALLY_BENCH_GUIDE_H

#include "daemon/bench_state.h"
#include "protocol/guide/guide.h"
#include "protocol/trade/reservoir.h"

#define BENCH_GUIDES_MAX 4
#define GUIDE_SAID_SIZE 200

struct bench_guide {
	bool open;
	bool left;                   /* not open, and may be taken up again */
	enum guide_kind kind;
	char of[NAME_SIZE];          /* as the person said it */
	char said[GUIDE_SAID_SIZE];  /* words: key=value ... */
	int place;                   /* of the position, -1 */
	int meter[GUIDE_ROLES];      /* index, -1 */
	struct guide_plan plan;
	struct guide g;
	int64_t number;              /* the newest one is who a key without a name means */
	char alarm[GUIDE_TEXT];      /* what was said while one goes on */
	/* The value of a step on its way to the disk: which entry, and who waits. */
	bool taking;
	int made;
	struct bench *bench;
	struct bench_wait wait;
};

/* Plan and first step of gd->kind, of, said; without meters for a dry run. */
bool guide_plan_make(struct bench *b, struct bench_guide *gd, bool meters, struct fault *why);
/* The part of it that tune, lot and rise take from the sheet (bench_guide_sheet.c). */
bool guide_sheet(const struct bench *b, struct bench_guide *gd, bool ceiling_said,
                 struct fault *why);
/* The newest value in ohms there, else the nominal with its tolerance as a rectangle; NaN. */
struct measure guide_ohms_at(const struct bench *b, int place);

#endif
