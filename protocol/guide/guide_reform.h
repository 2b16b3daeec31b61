/* SPDX-License-Identifier: MIT */
/*
 * The numbers by which a re-forming goes (guide_reform.c), in one place.  Where no source
 * stands: common practice, no source.
 */
#ifndef TALLY_GUIDE_REFORM_H
#define TALLY_GUIDE_REFORM_H

#include "protocol/guide/guide.h"

#define REFORM_WINDOW 20.0        /* s: over so long current and volts are averaged */
#define REFORM_REST 120.0         /* s after the supply was set until a current counts (JAN-C-62 as
                                   * handed down: 2 to 3 minutes); 5 R C where that is longer */
#define REFORM_NEAR 0.95          /* of its volts: the part is there */
#define REFORM_HOLD 1800.0        /* s at the limit, without a break */
#define REFORM_RISE 1.15          /* times the least current: it rises ... */
#define REFORM_RISE_SECONDS 60.0  /* ... when for so long */
#define REFORM_PROGRESS 0.97      /* times the current of the last progress: it falls */
#define REFORM_HOURS 7200.0       /* s without that, above the limit */
#define REFORM_WATTS 1.0          /* in the part: warms a can, stop */
#define REFORM_CEILING 1.05       /* times the rating: the alarm */
#define REFORM_SAFE 60.0          /* V dc that are no hazard to touch (IEC 61140) */
#define REFORM_DEAD 1.0           /* V below which it is discharged */
#define REFORM_REVERSE 2.0        /* V the wrong way round */
#define REFORM_AGAIN 60.0         /* s until it is measured again */
#define REFORM_OHMS_LEAST 100.0   /* EIA-815 (1999) */
#define REFORM_GAP_US 15000000    /* between two readings: longer was not seen */
#define REFORM_SAY_US 300000000   /* at most so often the supply that is wanted is said again */
#define REFORM_KEEP_US 300000000  /* at least so often it is kept */

/* Amps that the part may leak at the end: the sheet's own limit (high), else by the formula. */
double guide_reform_limit(const struct guide_plan *p);

/* ---- inside this room ---- */

enum { ROLE_DROP, ROLE_PART };

enum {
	STEP_CAUTION, STEP_PART, STEP_CLIP, STEP_SUPPLY,
	STEP_QUARTER, STEP_HALF, STEP_THREE, STEP_FULL, STEP_HOLD,
	STEP_VOLTS, STEP_LEAKAGE, STEP_OFF, STEP_DEAD, STEP_AGAIN,
};

enum {
	SLOT_VOLTS, SLOT_DROP,       /* at the end, of entries */
	SLOT_DEAD, SLOT_DEAD_AGAIN,  /* the same, discharged */
	SLOT_FORMED, SLOT_HELD,      /* seconds that were seen: in all; at the limit without a break */
	SLOT_AWAY,                   /* how often something was not seen */
	SLOT_SINCE,                  /* seconds since the supply was set last */
	SLOT_STILL,                  /* ... since the current made progress */
	SLOT_RISE,                   /* ... for which it has risen */
	SLOT_SUPPLY,                 /* volts of the supply, as it was set last */
	SLOT_LEAST, SLOT_PROGRESS,   /* current since then: the least; at the last progress */
	SLOT_NOW, SLOT_AT,           /* of the last window: current, volts */
	SLOT_HIGHEST,                /* ... the highest that counted */
	SLOT_QUARTER, SLOT_HALF, SLOT_THREE, SLOT_FULL, /* current with which a step was left */
	SLOT_MOST,                   /* highest volts it was at */
	SLOT_DANGER,                 /* given up so that it has to be switched off now */
	SLOT_WAITED,                 /* seconds since it was measured dead */
	SLOT_WINDOW, SLOT_AMPS, SLOT_PARTS, SLOT_DROPS, /* sums of the window, not of interest */
};

double reform_target(const struct guide *g);  /* volts that the part is to reach in this step */
double reform_supply(const struct guide *g);  /* volts to set the supply to: see guide_reform.c */
double reform_near(const struct guide *g);    /* the most current with which it gets there */
struct measure reform_current(const struct guide *g, struct measure drop, struct measure part);
bool reform_forming(const struct guide *g);
void reform_reading(struct guide *g, const struct guide_input *in, struct guide_out *out);

#endif
