/* SPDX-License-Identifier: MIT */
/*
 * Guided runs: a person with both hands at a live or charged circuit is led through it one
 * step at a time.  A step says what to do; the person says that it is done (`go`: by key, by
 * pedal), which at most steps takes the value that stands there, too.  Nothing goes on by
 * itself but what only time can do, and nothing hurries.
 *
 * The program drives nothing: the person sets the supply, and switches it off.  What it can do
 * is look at every reading, and say at once that a limit was passed.
 *
 * Valve equipment kills.  Every run begins with its cautions, and a `go` to them; local codes
 * and licensed practice come before anything that is said here.
 *
 * Pure: time comes with each input, in microseconds of the stream; nothing is allocated.  All
 * that a run knows beyond its plan are its slots, so that a record of them is enough to take it
 * up again (guide_state_write, guide_state_read).
 *
 *     guide_begin          the plan is whole?  The first step
 *     guide_input          what came, and what follows from it
 *     guide_say            what to do now, for people
 */
#ifndef TALLY_GUIDE_GUIDE_H
#define TALLY_GUIDE_GUIDE_H

#include "protocol/record/text.h"
#include "protocol/trade/fault.h"
#include "protocol/trade/measure.h"
#include "protocol/trade/places.h"
#include "protocol/trade/position.h"

#include <stdint.h>

#define GUIDE_ROLES 3      /* meters of one run at most */
#define GUIDE_SLOTS 112    /* what it keeps */
#define GUIDE_TEXT 320     /* of one sentence for people, with its end */
#define GUIDE_LOT_MAX 40   /* parts of one lot */
#define GUIDE_FOR_MAX 8    /* positions that a lot is for */
#define GUIDE_STATIONS 40  /* places that bringing up the power visits */

enum guide_kind { GUIDE_LEAK, GUIDE_REFORM, GUIDE_RISE, GUIDE_TUNE, GUIDE_LOT, GUIDE_KINDS };
const char *guide_name(enum guide_kind k); /* "leak" */
bool guide_from_name(const char *name, enum guide_kind *out);

/* A place that bringing up the power visits, from the sheet, in the sheet's order. */
enum guide_what {
	GUIDE_HEATER, /* a rail in volts ac whose role says heater */
	GUIDE_BIAS,   /* a rail below zero */
	GUIDE_RAIL,   /* another rail */
	GUIDE_RIPPLE, /* a row in volts ac whose `with` is a rail */
	GUIDE_SENSE,  /* a resistor with role sense or cathode: a valve's current */
	GUIDE_LOAD,   /* a resistor with role load */
	GUIDE_HUM,    /* a row in volts ac with role hum, `with` its load */
};
struct guide_station {
	char name[NAME_SIZE];
	char twin[NAME_SIZE]; /* ripple, hum: the rail, the load (`with`) */
	enum guide_what what;
	double nominal, low, high; /* volts there; NaN where nobody said */
	struct measure R;          /* sense, load: measured, or the nominal with its tolerance */
	double most;               /* sense: watts that its valve may have at its anode, NaN */
	double anode;              /* sense: volts at that anode by the sheet, NaN */
};

/* What the sheet, the meters and the person say before it begins.  SI units; NaN where nobody
 * said.  Which of them a kind needs, guide_begin says. */
struct guide_plan {
	char of[NAME_SIZE];         /* the position, or the part; "" for rise */
	char twin[NAME_SIZE];       /* tune: its other half, "" for none */
	enum function function;     /* lot, tune: what is read */
	double nominal;             /* of the position: farad, ohm, volt */
	double low, high;           /* limits of what is measured, NaN: open */
	bool assumed;               /* those limits are practice, not the sheet's */
	double rated;               /* volts of the part */
	struct measure R;           /* leak: the grid leak; reform: the resistor in series; tune: the
	                             * resistor in the cathode */
	bool there[GUIDE_ROLES];    /* a meter has that role */
	double input[GUIDE_ROLES];  /* input resistance of each role's meter */
	double ceiling;             /* volts above which the person is told to switch off */
	double to;                  /* reform: the volts to end at */
	double heat;                /* reform: watts that warm the can */
	enum leakage_formula limit; /* reform: whose limit */
	double mains, tap;          /* rise: mains volts, and those of the tap */
	double load;                /* rise: ohms of the load, measured */
	char fit[GUIDE_FOR_MAX][NAME_SIZE]; /* lot: positions, two and two */
	int fits;
	double most;                /* tune: watts of the valve, NaN: nobody said */
	double load2;               /* rise: ohms of the second load, NaN: none */
	double soak;                /* rise: seconds; NaN: as usual */
	bool rectifier_valve;       /* rise: it conducts only once its heater is warm */
	struct guide_station station[GUIDE_STATIONS]; /* rise */
	int stations;
};
void guide_plan_empty(struct guide_plan *p);

/* A value that is kept: measured (u, and of which entry, in a lot of which part), or only counted (u 0). */
struct guide_slot {
	bool has;
	double value, u;
	struct record_ref of;
};

struct guide {
	enum guide_kind kind;
	struct guide_plan plan;
	int step;
	bool alarm;              /* a limit is passed, and was said */
	bool failed;             /* it was given up: `because` says why */
	char because[160];
	struct guide_slot slot[GUIDE_SLOTS];
	/* Not kept: of now. */
	struct measure live[GUIDE_ROLES];
	bool is_live[GUIDE_ROLES];
	bool is_over[GUIDE_ROLES]; /* beyond its range */
	enum function reads[GUIDE_ROLES]; /* FUNCTION_NONE: nobody said */
	int64_t read_at[GUIDE_ROLES]; /* of the last reading; INT64_MIN: none since it was taken up */
	int64_t said_at, kept_at;
};

/* What the unit is by a step: live from its beginning, for there it is switched on; being measured
 * dead once the person goes on from it. */
enum guide_unit { GUIDE_UNIT_SAME, GUIDE_UNIT_LIVE, GUIDE_UNIT_COLD };

/* What a run asks of the unit before it begins. */
enum guide_needs { GUIDE_NEEDS_COLD, GUIDE_NEEDS_LIVE, GUIDE_NEEDS_READY };

struct guide_role {
	const char *name;        /* "grid" */
	enum function function;
	enum quantity quantity;  /* under which its readings stand in the trail */
	bool optional;
	const char *where;       /* for people: "from the grid's pin to chassis" */
};
int guide_roles(enum guide_kind k);
const struct guide_role *guide_role(enum guide_kind k, int role);
enum guide_needs guide_needs(enum guide_kind k);
/* Cautions, in their order; the last is NULL. */
const char *const *guide_cautions(enum guide_kind k);

enum guide_act {
	GUIDE_GO,      /* the person: done, go on */
	GUIDE_BACK,    /* the person: the step before once more */
	GUIDE_TAKEN,   /* the value of this step was logged: x, seq */
	GUIDE_READING, /* of a role: x; over: beyond the range */
	GUIDE_SETTLED, /* the same, at rest: what a lot counts */
	GUIDE_AWAY,    /* of a role: its meter is gone */
};
struct guide_input {
	enum guide_act act;
	int64_t t;
	int role;
	struct measure x;
	enum function function; /* of a reading; FUNCTION_NONE: not said */
	bool over;
	int64_t seq;
	int number; /* back, in a lot: that part once more; 0: the last one */
};

struct guide_out {
	bool news;      /* another step: say what to do, and keep it */
	bool keep;      /* keep it */
	bool ended;     /* it is over; failed and because say how */
	bool alarm;     /* begins: `text` says what to do */
	bool alarm_over;
	int part;        /* of a lot: the part of that number was counted now; 0 */
	bool stood;      /* ... by `go`, as it stood */
	char text[GUIDE_TEXT]; /* to be said in between, "" for nothing */
};

/* False with the reason, where the plan lacks what this kind needs. */
bool guide_begin(struct guide *g, enum guide_kind kind, const struct guide_plan *plan,
                 struct fault *why);
/* It was begun anew, and is one that was left: what of that still counts. */
void guide_again(struct guide *g, const struct guide *left);
void guide_input(struct guide *g, const struct guide_input *in, struct guide_out *out);
/* May `go` be said now?  False with what is awaited instead. */
bool guide_may_go(const struct guide *g, struct fault *why);
/* Is `go` what it waits for, so that the pedal may mean it? */
bool guide_by_hand(const struct guide *g);
/* The role whose value `go` takes now, -1 for none; *quantity under which it is logged, and
 * *at where ("" : at plan.of). */
int guide_takes(const struct guide *g, enum quantity *quantity, const char **at);
/* Hertz of the signal that stands where `go` takes its value now, for the entry's `frequency`;
 * 0 for none. */
double guide_hertz(const struct guide *g);
enum guide_unit guide_unit(const struct guide *g); /* of this step */
const char *guide_step_word(const struct guide *g);
/* What to do now, in a sentence or two. */
void guide_say(const struct guide *g, char *out, size_t size);
/* The one value that is said aloud with the step ("135 V"), and the verdict on it, NULL for
 * none; false where it has no value. */
bool guide_value(const struct guide *g, char out[32], const char **verdict);
/* Above what the person switches off in this step, said aloud with it ("450 V"); false where
 * nothing is watched, or nobody said what may be. */
bool guide_limit(const struct guide *g, char out[32]);
/* The whole road, without doing anything of it: its cautions, then one step a line, then with what it
 * will go on and what ends it early.  The second leaves the cautions to who said them. */
void guide_dry(const struct guide *g, struct text *out);
void guide_dry_road(const struct guide *g, struct text *out);
void guide_dry_cautions(enum guide_kind k, struct text *out);

/* Members of a JSON object: "step", "alarm", "values". */
void guide_state_write(const struct guide *g, struct text *out);
bool guide_state_read(struct guide *g, const char *text, size_t len);
/* The member `result` of the closing record; nothing where there is none. */
void guide_result_write(const struct guide *g, struct text *out);
/* Members of what is shown while it goes on: `toward` (tune: 0 on the target, -1 and 1 at
 * its limits), `left` (s) ... */
void guide_look(const struct guide *g, struct text *out);

/* ---- tune: by ear ---- */

/*
 * What a distance sounds like.  `toward` as in guide_look: 0 on the target, 1 and -1 at its
 * limits.  Above is higher than the pitch of the target, below lower; near the target the
 * pitch moves most.  Inside the limits come two short notes instead of one long one, so that
 * whoever hears no pitch hears that.
 */
struct guide_ear {
	double hertz;
	bool inside;
	int notes, ms, gap_ms; /* each note, and the silence after it */
};
#define GUIDE_EAR_TARGET 660.0
struct guide_ear guide_tune_ear(double toward);
/* NaN where there is nothing to hear: no reading, leads open, another step. */
double guide_tune_toward(const struct guide *g);

/* ---- rise: what the rail should come to ---- */

/* Volts of a rail that is `nominal` loaded, at `mains` volts on a tap of `tap`.  Without a
 * load it rises up to 1.4 times: a capacitor charges to the peak (sqrt 2; what the windings
 * drop under load is left out). */
struct guide_expected {
	double loaded, unloaded;
};
struct guide_expected guide_rise_expected(double nominal, double mains, double tap);

/* ---- lot: pairs ---- */

struct guide_pair {
	int a, b;           /* numbers of two parts, from 1 */
	double percent;     /* difference, of their mean */
	bool apart;         /* it is more than the meter's uncertainty explains */
};
/* The n pairs whose differences are smallest in sum; fewer where there are not enough parts.
 * Parts outside of low and high are left out. */
int guide_lot_pairs(const struct guide *g, int n, struct guide_pair *out);
/* Of the part of that number, counted already: against the limits of the lot, which are written
 * to low and high.  within, outside, unsure with U = 2 u. */
const char *guide_lot_verdict(const struct guide *g, int number, double *low, double *high);

#endif
