/* SPDX-License-Identifier: MIT */
/*
 * What the files of settling say to each other: the pace of a meter, and whether
 * a reading comes from open leads.  Nobody else includes it, but for the scorer, which
 * shows what a touch that went wrong lacked (tests/traces_score.h).
 */
#ifndef TALLY_SETTLE_PARTS_H
#define TALLY_SETTLE_PARTS_H

#include "daemon/settle.h"

/* --- settle_pace.c: how often a meter speaks, and how often it measures --- */

/* A frame came at `t`, `dt` after the last: learn the period. */
void settle_pace_frame(struct settle *s, int64_t dt);
/* Is this the last frame once more, sent twice?  Too many of them in a row are the pace itself,
 * which is learnt anew from here. */
bool settle_pace_doubled(struct settle *s, const struct reading *r, int64_t dt);
/* Is it another frame of the same conversion?  Keeps count of them. */
bool settle_pace_repeats(struct settle *s, const struct reading *r);
/* Learn from open leads how many frames a conversion has. */
void settle_pace_open(struct settle *s, const struct reading *r);
/* Frames of a conversion, at least 1. */
int settle_pace_frames(const struct settle *s);
/* The silence that is a lift for a meter that says nothing when open, us. */
int64_t settle_pace_lift(const struct settle *s);
/* The silence after which the leads count as open: longer for one that does speak. */
int64_t settle_pace_silence(const struct settle *s);

/* --- settle_rest.c: the conversions since the last break --- */

void settle_stretch_break(struct settle *s);
/* A conversion; another range breaks the stretch first. */
void settle_stretch_add(struct settle *s, const struct reading *r, uint64_t ordinal);
/* One more frame of the last conversion; false where the stretch is empty. */
bool settle_stretch_extend(struct settle *s, uint64_t ordinal);
/* What a stretch lacks to be at rest. */
enum settle_lack {
	LACK_NOTHING,
	LACK_TIME,    /* too short a while */
	LACK_COUNT,   /* too few undisturbed conversions */
	/* From here on it is the law that says no, and will until it changes. */
	LACK_REST,    /* the rest may be further off */
	LACK_LAW,     /* it jumps about */
	LACK_NOISE,   /* what looks like noise wanders ... */
	LACK_WAVE,    /* ... or is a wave */
	LACK_TAIL,    /* a second, slower approach may be on its way */
};

/* Are the last conversions at rest?  Then *first is the number of the first of them
 * that the value may be taken from. */
enum settle_lack settle_lacks(const struct settle *s, uint64_t *first);
/* Have the last conversions stood still, wherever that is? */
bool settle_stands_still(const struct settle *s, uint64_t *first);
/* ... in one word. */
const char *settle_lack_word(enum settle_lack lack);
void settle_stretch_result(const struct settle *s, uint64_t first, struct settle_result *out);
/* What the two items before item `i`, all three at rest, say of the noise of the meter. */
void settle_stretch_rests(struct settle *s, uint64_t i);
/* Does the law get this meter's readings in blocks? */
bool settle_is_fast(const struct settle *s);

/* --- settle_open.c: what the leads do --- */

enum contact {
	CONTACT_OPEN,   /* the leads are open */
	CONTACT_NUMBER, /* something is measured */
	CONTACT_BLIND,  /* touched, and no number: overload where that is not open */
};

enum contact settle_contact(const struct settle *s, const struct reading *r);
/* Remember what open leads read. */
void settle_open_learn(struct settle *s, const struct reading *r);
/* Does a voltage at rest need a word before it may be an entry? */
bool settle_open_doubt(const struct settle *s, const struct settle_result *r);

static inline bool settle_is_volt(enum function f)
{
	return f == FUNCTION_VOLT_DC || f == FUNCTION_VOLT_AC;
}

static inline bool settle_is_amp(enum function f)
{
	return f == FUNCTION_AMP_DC || f == FUNCTION_AMP_AC;
}

#endif
