/* SPDX-License-Identifier: MIT */
/*
 * Guided runs on the bench (protocol/guide/guide.h): who they are of, which meters they hold,
 * and what a reading or a key means to them.
 *
 *   bench_guide.c       those that go on, and their records
 *   bench_guide_hand.c  what the person does: begin, go on, leave
 *   bench_guide_kept.c  read back from the log; how they stand
 *   bench_guide_lot.c   the parts of a lot: a record each, and where they go
 *   bench_guide_plan.c  what one needs to know before it begins
 *   bench_guide_words.c ... of it what the person says
 *   bench_guide_sheet.c what of it tune, lot and rise take from the sheet
 *
 * Several go on at once, each with meters of its own: a capacitor is re-formed for hours while
 * others are measured.  Its meters are held to its position (bench_bind.c): their readings are
 * in the trail, and no touch makes an entry.
 */
#ifndef TALLY_BENCH_GUIDE_H
#define TALLY_BENCH_GUIDE_H

#include "daemon/bench_inside.h"
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
	struct record_ref begun;     /* its first record */
	char alarm[GUIDE_TEXT];      /* what was said while one goes on */
	/* The value of a step on its way to the disk: which entry, and who waits. */
	bool taking;
	int made;
	struct bench *bench;
	struct bench_wait wait;
};

/* Plan and first step of gd->kind, of, said; without meters for a dry run. */
bool guide_plan_make(struct bench *b, struct bench_guide *gd, bool meters, struct fault *why);
/* The words of gd->said into its plan and its roles. */
bool guide_take_words(struct bench *b, struct bench_guide *gd, struct fault *why);
/* Did the person say that (isolated, rated) of this meter?  *most: the volts that were said of it. */
bool guide_vouched(const struct bench_guide *gd, const char *key, const char *meter, double *most);
/* The part of it that tune, lot and rise take from the sheet (bench_guide_sheet.c). */
bool guide_sheet(const struct bench *b, struct bench_guide *gd, bool ceiling_said,
                 struct fault *why);
/* The part of that number was counted: its record, whose value the run keeps. */
void guide_lot_part(struct bench *b, struct bench_guide *gd, int64_t t, int number, bool stood);
/* The pairs of a lot go to their positions: a fit for each, with number, value and the part's
 * record. */
void guide_lot_fit(struct bench *b, const struct bench_guide *gd, int64_t t);
/* The newest value in ohms there, else the nominal with its tolerance as a rectangle; NaN. */
struct measure guide_ohms_at(const struct bench *b, int place);

/* ---- between these files ---- */

/* By what it is of or by its kind; NULL: the newest one. */
struct bench_guide *hosted_find(struct bench *b, const char *which, struct fault *why);
void hosted_draft(struct bench_guide *gd, struct bench *b, enum guide_kind kind, const char *of,
                  const char *words);
/* Room for one more: of the same that was left, else where nothing is, else of what was left
 * longest ago; NULL where all of them go on. */
struct bench_guide *hosted_room(struct bench *b, enum guide_kind kind, const char *of);
bool hosted_put(struct bench *b, struct bench_guide *gd, int64_t t, const char *event,
                struct bench_wait w, struct fault *why);
/* A wait for the record of that ticket, which runs name: once it is durable by its seq; then `w`.
 * False: out of memory. */
bool hosted_name(struct bench *b, uint64_t ticket, struct bench_wait w, struct bench_wait *out);
void hosted_tell(struct bench *b, const struct bench_guide *gd, const char *event, const char *text);
void hosted_say(struct bench *b, const struct bench_guide *gd); /* what to do now */
bool hosted_hold(struct bench *b, struct bench_guide *gd, int64_t t, struct fault *why);
/* The unit is what a step says that it is: live from when the person is told to switch it on, and being
 * measured dead once they said that it is off. */
bool hosted_unit(struct bench *b, int64_t t, enum guide_unit unit, struct fault *why);
/* What follows from it; `w` is answered by the record of that, or at once where there is none. */
void hosted_input(struct bench *b, struct bench_guide *gd, const struct guide_input *in,
                  struct bench_wait w);
void hosted_end(struct bench *b, struct bench_guide *gd, int64_t t);

#endif
