/* SPDX-License-Identifier: MIT */
/*
 * Touches made from physics, with the truth beside them: a second corpus for settling, written
 * from the design's words alone and without a look at the first one (traces.h).
 *
 * traces.h draws what a display shows: a step, an exponential, noise on it.  Here a circuit is
 * simulated and a meter looks at it.  The circuit: resistors with capacitors across them as a chain
 * of sections, fed by the current of the range, so that a change of range moves the rest and the
 * approach begins again; a node behind its source resistance; a capacitor with absorption; the
 * floating input.  The meter: it integrates over a part of its period, mixes what lay before and
 * after the contact into one conversion, ranges up and down by thresholds, averages its display,
 * rounds, and sends each conversion one or more times through an adapter that delays and bunches.
 *
 * The truth of each touch is taken from the simulation without noise: its rest, when the display
 * came within (0.5 + 0.5 sigma) digit of it to stay, and the conversion by which the entry is due.
 *
 * Every figure (time constants, thresholds of ranging, noise, loss) is from memory of such
 * circuits and meters, no source.  Deterministic by seed.
 */
#ifndef TALLY_TESTS_TOUCHES_H
#define TALLY_TESTS_TOUCHES_H

#include "daemon/settle.h"

/* How a kind is counted. */
enum touch_class {
	CLASS_EASY,  /* 99.9 % right and on time, none false */
	CLASS_HARD,  /* 90 %, at most 3 % false */
	CLASS_CREEP, /* hard, and the rules leave open when it is due: late is not counted */
	CLASS_NEVER, /* nothing may come of it; hard */
	CLASS_STILL, /* nothing may come of it; easy: open leads, touches of the old part */
};

/* name, class, what it is */
#define TOUCH_KIND_LIST(X)                                                              \
	X(CLEAN, "clean", EASY, "fixed range, resistors")                                   \
	X(RANGE, "range", EASY, "ranges by itself, hunts down from the top")                \
	X(RANGE_SLOW, "range-slow", EASY, "and loses two or three conversions a range")     \
	X(COARSE, "coarse", EASY, "and shows few digits for a while before it ranges down") \
	X(BENCH, "bench", EASY, "50000 to 1000000 counts, fast, white noise")               \
	X(LOWPASS, "lowpass", EASY, "the display averages")                                 \
	X(REPEATED, "repeated", EASY, "each conversion sent two to five times")             \
	X(LOST, "lost", EASY, "frames lost and sent twice")                                 \
	X(GARBLED, "garbled", EASY, "frames garbled")                                       \
	X(BUNCHED, "bunched", EASY, "an adapter that holds frames back")                    \
	X(PAIRS, "pairs", CREEP, "one that holds back two or three at once: are they doubled?") \
	X(SILENT, "silent", EASY, "says nothing when open")                                 \
	X(SILENT_LOST, "silent-lost", EASY, "and loses frames")                             \
	X(HALF, "half", EASY, "half a contact first")                                       \
	X(CHATTER, "chatter", EASY, "contact lost for less than 0.3 s")                     \
	X(SLIP, "slip", EASY, "a probe leaves after the tone and comes back")               \
	X(BRISK, "brisk", CREEP, "leads open for 1.15 to 1.6 s: shorter than a slip may show as") \
	X(QUICK, "quick", EASY, "the next part touched within a second")                   \
	X(WHITE, "white", EASY, "white noise up to 2.5 digits")                             \
	X(CORRELATED, "correlated", EASY, "correlated noise up to 1 digit")                 \
	X(STRAY, "stray", EASY, "stray spikes")                                             \
	X(EQUAL, "equal", EASY, "equal neighbours")                                         \
	X(ZERO, "zero", EASY, "some digits of ohm")                                         \
	X(RC, "rc", EASY, "a capacitor across the resistor")                                \
	X(RC_RANGE, "rc-range", EASY, "the same, ranging by itself")                        \
	X(RC_CHARGED, "rc-charged", EASY, "the same with charge left")                      \
	X(VOLT, "volt", EASY, "volts, positive and negative")                               \
	X(VOLT_GLIDE, "volt-glide", EASY, "and glide down when the probes leave")           \
	X(VOLT_CLIMB, "volt-climb", EASY, "a supply that climbs or falls")                  \
	X(VOLT_LOWPASS, "volt-lowpass", EASY, "a fixed range, and a display that averages")         \
	X(VOLT_ZERO, "volt-zero", EASY, "volts near zero: a word is as good")               \
	X(FARAD, "farad", EASY, "small capacitors")                                         \
	X(FARAD_REPEATED, "farad-repeated", EASY, "and conversions sent several times")     \
	X(FARAD_SLOW, "farad-slow", EASY, "electrolytics, climbing for seconds")            \
	X(FARAD_SILENT, "farad-silent", EASY, "silent when open")                           \
	X(BLANK, "blank", EASY, "blanks for a second while it ranges")                      \
	X(ODD, "odd", EASY, "far above the nominal")                                        \
	X(RAMP_STOP, "ramp-stop", EASY, "a ramp that stops")                                \
	X(MIXED, "mixed", EASY, "some of all that at once")                                 \
	X(DOUBLE, "double", HARD, "two time constants")                                     \
	X(LADDER, "ladder", HARD, "an amplifier's supply: three time constants")            \
	X(SAG, "sag", HARD, "a supply that sags")                                           \
	X(OVERSHOOT, "overshoot", HARD, "one that climbs and then sags")                      \
	X(WOBBLE, "wobble", HARD, "the pressure on the contact wobbles")                    \
	X(CORRELATED6, "correlated6", HARD, "a million counts, correlated noise")           \
	X(SOAK, "soak", CREEP, "absorption: creeps for a minute")                           \
	X(WARM, "warm", CREEP, "a part that cools")                                         \
	X(CREEP, "creep", CREEP, "a steady creep of under a digit a reading")               \
	X(RAMP, "ramp", NEVER, "steep ramps")                                               \
	X(JOINT, "joint", NEVER, "a bad joint")                                             \
	X(FINGERS, "fingers", NEVER, "both tips in the fingers")                            \
	X(CAPACITOR, "capacitor", NEVER, "a capacitor alone on an ohm range")               \
	X(LEAKY, "leaky", NEVER, "a leaky part drifts on")                                  \
	X(HUM, "hum", NEVER, "hum that beats with the conversions")                         \
	X(FLOAT, "float", STILL, "volts, leads waved about and laid down")                  \
	X(RESIDUAL, "residual", STILL, "farad, leads waved about")

enum touch_kind {
#define X(id, name, class, what) KIND_##id,
	TOUCH_KIND_LIST(X)
#undef X
	    KINDS
};
extern const char *const touch_kind_name[KINDS];
extern const char *const touch_kind_what[KINDS];
extern const enum touch_class touch_kind_class[KINDS];

enum meter_open { OPEN_OVERLOAD, OPEN_SILENT, OPEN_VALUE };
enum meter_ranging { RANGING_OVERLOAD, RANGING_NOTHING, RANGING_VALUE };

struct model {
	enum function function;
	double counts, rate;
	double integrate;      /* share of the period that a conversion integrates */
	int frames, told;      /* frames of a conversion, and what the configuration says of it */
	int average;           /* conversions of the moving average, 1: none */
	double lag;            /* s of an exponential display filter, 0: none */
	double sigma, corr_s;  /* digits of noise of one display; its correlation time (0: white) */
	bool ranging;
	double down;           /* share of full scale below which it ranges down */
	int range_loses;       /* conversions a change of range */
	int range_waits;       /* conversions below `down` before it ranges down */
	enum meter_ranging range_shows;
	enum meter_open open;
	double lost, doubled, garbled, stray; /* a frame (stray: a conversion) */
	double jitter, bunch;  /* s */
	int e_min, e_max;      /* exponents of the digits of its ranges */
};

struct touch {
	double from, to;    /* s: contact */
	double rest;        /* SI */
	double digit;       /* of the range at the end */
	double sigma;       /* digits, of what the rules call noise here */
	bool correlated;
	double settled;     /* s: arrival of the first undisturbed conversion, INFINITY for none */
	double due;         /* s: arrival of the conversion by which the entry is due, INFINITY */
	int position;
	bool none;          /* nothing may come of it */
	bool creeps;        /* counted against the value of its own time */
	bool doubt_is_good; /* a word is as good as an entry */
	bool slow;
	double began;       /* digits from its rest, where it was shown first */
	bool has_nominal;
	double nominal, tolerance;
};

struct shown {
	int64_t t;       /* us, arrival */
	bool garbled;    /* no reading came of it */
	int conversion;
	struct reading r;
};

struct conversion {
	double t;        /* s, its end */
	double ideal;    /* display without noise and rounding, NAN for none */
	double digit;
	int touch;       /* whose contact it saw, -1: none */
};

#define TOUCHES_MOST 12
struct trace {
	enum touch_kind kind;
	uint64_t seed;
	struct model m;
	struct touch touch[TOUCHES_MOST];
	int touches, positions;
	struct shown *shown;
	int shows, shows_room;
	struct conversion *conversion;
	int conversions, conversions_room;
};

/* Make the trace; what it holds is freed by touches_free. */
void touches_make(struct trace *x, enum touch_kind kind, uint64_t seed);
void touches_free(struct trace *x);

/* What came of a kind. */
struct touch_score {
	int touches; /* that are due, or must make nothing */
	int right, late, missed, doubled, wrong, open, moving, out;
	int shallow; /* of the false ones: approaches that first show within 25 digits of their rest */
	double late_conversions; /* sum over those that were late */
};
int touch_score_false(const struct touch_score *s);

/* Feed a trace to settling, as the bench does, and count.  `say`: print each fault (1), and the
 * readings (2). */
void touches_score(const struct trace *x, const struct settle_limits *limits,
                   struct touch_score *s, int say);

#endif
