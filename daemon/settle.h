/* SPDX-License-Identifier: MIT */
/*
 * From the readings of one meter to one settled value a touch.
 *
 * Pure: a function of the sequence of (time, reading or nothing) and of what is
 * expected at the position.  It has no clock, allocates nothing and keeps no
 * static state, so that a recording replays the same.  One `struct settle` a
 * meter.  What it decides is about the probes alone: touched, settled, keeps
 * moving, lifted.  Which position a settled value belongs to, and whether it
 * becomes an entry, is the bench's affair.
 *
 * The states, and what leads from one to the next:
 *
 *     OPEN --touch--> TOUCH --settled--> SETTLED --lift--> OPEN
 *                       |  \--limit----> MOVING --settled--> SETTLED
 *                       \--lift (nothing settled)----------> OPEN
 */
#ifndef TALLY_SETTLE_H
#define TALLY_SETTLE_H

#include "protocol/trade/reading.h"

/*
 * Every threshold, once: field, name as in [bench] of the configuration, default,
 * smallest and largest allowed value, and below it what it is and why.  The values
 * were found on made-up traces (tests/score_settle.c) and are common practice of
 * this program, no source.
 */
#define SETTLE_LIMIT_LIST(X)                                                 \
	/* at rest */                                                            \
	X(settle_conversions, "settle conversions", 4, 2, 100)                   \
	/*   undisturbed ones, at least: three can hide a drift of 4 sigma */    \
	X(settle_seconds, "settle seconds", 0.4, 0, 60)                          \
	/*   and so long: a fast meter has hundreds of readings of one twitch */ \
	X(settle_conversions_slow, "settle conversions slow", 7, 2, 100)         \
	/*   after an approach, with noise, or where the value is odd */         \
	X(settle_conversions_noise, "settle conversions noise", 6, 2, 100)       \
	/*   with noise that the meter had before, too */                        \
	X(settle_noise, "settle noise", 2.2, 0, 1000)                            \
	/*   digits of spread in the stretch that are noise */                   \
	X(settle_doubt, "settle doubt", 0.1, 0.0001, 0.5)                       \
	/*   chance that the rest is further off: more takes slow ones early */  \
	X(settle_doubt_level, "settle doubt level", 0.14, 0.0001, 0.5)           \
	/*   the same of a trace that came in by no approach: it has less to go */ \
	X(odd_times, "odd times", 2, 1, 1e6)                                     \
	/*   times the nominal is odd: half a contact, or the wrong part */      \
	X(odd_digits, "odd digits", 0.08, 0, 1)                                  \
	/*   of full scale, with a finer range to come, is odd */                \
	/* lifting and moving on */                                              \
	X(lift_seconds, "lift seconds", 0.5, 0.05, 60)                           \
	/*   open readings for so long are a lift, not chatter (0.3 s) */        \
	X(silent_seconds, "silent seconds", 1.2, 0.1, 600)                       \
	/*   silence that is a lift, for meters that say nothing when open */    \
	X(silent_periods, "silent periods", 5, 1, 100)                           \
	/*   and so many periods: frames get lost */                             \
	X(silent_farad_seconds, "silent farad seconds", 6, 0.1, 600)             \
	/*   capacitance meters think for seconds */                             \
	X(silent_farad_periods, "silent farad periods", 2.5, 1, 100)             \
	/*   and one lost frame is no lift */                                    \
	X(silent_speaker, "silent speaker", 5, 1, 100)                           \
	/*   times as long, where open leads were heard to speak */              \
	X(arm_seconds, "arm seconds", 1, 0, 60)                                  \
	/*   open so long before the next position may be touched */             \
	X(moving_seconds, "moving seconds", 20, 1, 3600)                         \
	/*   after so long the person hears that it keeps moving */              \
	X(moving_millifarad_seconds, "moving millifarad seconds", 10, 0, 600)    \
	/*   more for each mF: they are measured by charging */                  \
	X(moving_digits, "moving digits", 3, 0.5, 1000)                          \
	/*   more a reading is moving, less is creep */                          \
	/* the end of an approach whose beginning nobody saw (settle_rest.c) */  \
	X(way_least, "way least", 2, 0, 1000)                                    \
	/*   digits that all readings of a range go one way are no rest yet, */  \
	X(way_times, "way times", 2, 0, 1000)                                    \
	/*   and so many times the noise that is known of the meter; */          \
	X(way_hidden_times, "way hidden times", 4, 0, 1000)                      \
	/*   where the touch read overload first, so many times; */              \
	X(way_short, "way short", 3, 0, 1000)                                    \
	/*   else two equal readings end a way so short */                       \
	X(way_ratio, "way ratio", 6, 1, 1000)                                    \
	/*   its first step is longer than the second up to this ratio */        \
	X(way_most, "way most", 25, 0, 1e6)                                      \
	/*   of more digits the law makes its own mind up */                     \
	/* two levels, one after the other (settle_rest.c) */                    \
	X(step_digits, "step digits", 3, 0, 1000)                                \
	/*   apart, where each of them shows one value alone, */                 \
	X(step_times, "step times", 4, 0, 1000)                                  \
	/*   and so many times the noise that is known, are no rest with noise */ \
	/* open leads */                                                         \
	X(residual_farad, "open farad", 0.05e-9, 0, 1e-6)                        \
	/*   residual of open leads: some pF up to this */                       \
	X(float_volt_dc, "float volt-dc", 0.15, 0, 1000)                         \
	/*   open leads float and pick up hum below this */                      \
	X(float_volt_ac, "float volt-ac", 1, 0, 1000)                            \
	/*   on the ac ranges more */                                            \
	X(float_share, "float share", 0.15, 0, 1)                                \
	/*   or below this share of the nominal, where there is one */           \
	X(float_times, "float times", 3, 0, 100)                                 \
	/*   times what floats lately is surely no floating */                   \
	X(glide_share, "glide share", 0.4, 0, 0.95)                              \
	/*   of the voltage that was touched: the probe has left */              \
	X(open_amp_digits, "open amp digits", 3, 0, 1000)                        \
	/*   open leads carry no current but show a digit or two */              \
	X(fit_share, "fit share", 0.5, 0, 1)                                     \
	/*   a voltage from this share */                                        \
	X(fit_times, "fit times", 2, 1, 100)                                     \
	/*   to so many times the nominal is what was expected */                \
	/* motion that no law explains */                                        \
	X(lawless_odds, "lawless odds", 0.3, 0, 100)                             \
	/*   that a trace which jumped once will jump again */                   \
	X(lawless_times, "lawless times", 6, 0, 100)                             \
	/*   times as likely with each jump more */                              \
	X(lawless_stray, "lawless stray", 2, 0, 100)                             \
	/*   readings on another level and back are a stray, and no jump */      \
	X(lawless_most, "lawless most", 14, 2, 1000)                             \
	/*   readings without a jump are enough whatever was before */           \
	X(wander_digits, "wander digits", 1, 0, 1000)                            \
	/*   spread from which noise is looked at more closely */                \
	X(wander_ratio, "wander ratio", 0.6, 0, 2)                               \
	/*   differences squared over squares: 2 is noise, 0 is a walk */        \
	/* the law (settle_law.h) */                                             \
	X(block_seconds, "block seconds", 0.02, 0.001, 0.1)                      \
	/*   a fast meter goes to the law in blocks of this */                   \
	X(law_hazard, "law hazard", 0.02, 1e-6, 0.5)                             \
	/*   that a reading begins another run */                                \
	X(law_hazard_first, "law hazard first", 0.2, 1e-6, 0.9)                  \
	/*   the same for the first readings: half of them is open lead */       \
	X(law_hazard_jolt, "law hazard jolt", 0.5, 1e-6, 0.9)                    \
	/*   the same after contact was lost */                                  \
	X(law_approach, "law approach", 0.15, 0.001, 0.9)                        \
	/*   that a run approaches, and is not at rest at once */                \
	X(law_start_digits, "law start digits", 30, 1, 10000)                    \
	/*   an approach begins so far away (of a 20000-count meter) */          \
	X(law_start_pace, "law start pace", 3, 0, 1000)                          \
	/*   and moves so many digits a reading at its start */                  \
	X(law_small_starts, "law small starts", 0.015, 0, 1)                     \
	/*   but this share of them begins nearer, */                            \
	X(law_hidden_approach, "law hidden approach", 0.2, 0.001, 0.9)           \
	/*   as law approach, where the touch read overload first, */            \
	X(law_hidden_starts, "law hidden starts", 0.1, 0, 1)                     \
	/*   and as law small starts */                                          \
	X(law_least_digits, "law least digits", 3, 0.1, 1000)                    \
	/*   at least so far away */                                             \
	X(law_memory_digits, "law memory digits", 10, 1, 1e6)                    \
	/*   way of the law on which a reading fades to 1/e */                   \
	X(law_step_share, "law step share", 0.05, 0, 1)                          \
	/*   of a step is added as noise: clocks jitter, laws are not exact */   \
	X(law_same_weight, "law same weight", 0.7, 0.01, 1)                      \
	/*   of a reading equal to the last: its rounding says nothing new */    \
	X(law_stray_share, "law stray share", 0.02, 1e-6, 0.5)                   \
	/*   of readings are strays */                                           \
	X(law_stray_sigma, "law stray sigma", 6, 3, 100)                         \
	/*   further from the law than this is a stray */                        \
	X(law_stray_digits, "law stray digits", 3, 0, 1000)                      \
	/*   and so many digits */                                               \
	X(law_noise_step, "law noise step", 0.5, 0, 10)                          \
	/*   each level of noise (1.6 times) is exp(-this) as likely */          \
	X(law_noise_cap, "law noise cap", 3, 0.5, 1000)                          \
	/*   digits up to which that is all */                                   \
	X(law_noise_most, "law noise most", 7.5, 0.5, 10000)                     \
	/*   more noise is motion */                                             \
	X(law_noise_local, "law noise local", 4, 1, 1000)                        \
	/*   times the noise between neighbours, too */                          \
	X(law_noise_known, "law noise known", 0.7, 0, 0.999)                     \
	/*   that a meter has the noise which it had in its last touches, */     \
	X(law_noise_spread, "law noise spread", 0.35, 0.05, 3)                   \
	/*   give or take so much of its logarithm */                            \
	X(law_noise_counts, "law noise counts", 20000, 100, 1e9)                 \
	/*   a meter with more counts may have more of it in proportion */       \
	X(law_rest_digits, "law rest digits", 0.6, 0.1, 10)                      \
	/*   the rest is reached within this */                                  \
	X(law_rest_sigma, "law rest sigma", 0.25, 0, 10)                         \
	/*   and this share of the noise */                                      \
	X(law_near_digits, "law near digits", 0.75, 0.1, 10)                     \
	/*   readings count as undisturbed within this */                        \
	X(law_near_sigma, "law near sigma", 0.5, 0, 10)                          \
	/*   and this share of the noise */                                      \
	X(law_quick_digits, "law quick digits", 1.5, 0, 10)                      \
	/*   and this, where it came in within a reading */                      \
	X(law_clear_digits, "law clear digits", 0.4, 0.1, 10)                    \
	/*   and are used for the value within this */                           \
	X(law_slow_periods, "law slow periods", 0.8, 0, 100)                     \
	/*   a time constant above this is a slow approach */                    \
	/* a slow wave (settle_wave.c) */                                        \
	X(wave_share, "wave share", 0.05, 0, 0.9)                                \
	/*   of what looks like noise is a wave */                               \
	X(wave_doubt, "wave doubt", 0.6, 0.0001, 1)                              \
	/*   chance of a wave that is too much */                                \
	X(wave_least, "wave least", 1, 0, 1000)                                  \
	/*   digits of spread from which it is looked for */                     \
	/* a second, slower tail (settle_tail.c) */                              \
	X(tail_digits, "tail digits", 1, 0.1, 10)                                \
	/*   still to go are too many (times the noise, where that is more) */   \
	X(tail_doubt, "tail doubt", 0.15, 0.0001, 1)                              \
	/*   chance that so many are still to go up to which it is at rest ... */ \
	X(tail_doubt_early, "tail doubt early", 0.012, 0.0001, 1)                 \
	/*   ... and as long as fewer than these stand near the rest, going */   \
	X(tail_least, "tail least", 4, 0, 1000)                                  \
	/*   over, in steps of ratio, to the first one at these: */              \
	X(tail_conversions, "tail conversions", 8, 0, 1000)                      \
	X(tail_doubt_most, "tail doubt most", 0.3, 0.0001, 1)                   \
	/*   and on in these steps, up to this */                                \
	X(tail_clear, "tail clear", 3, 0, 1000)                                  \
	/*   so many near it are wanted whatever the chance: the value is theirs */ \
	X(tail_rest_digits, "tail rest digits", 0.5, 0.0001, 100)                \
	/*   of the rest is near, */                                             \
	X(tail_rest_sigma, "tail rest sigma", 0.5, 0, 100)                       \
	/*   and this share of the noise */                                      \
	X(tail_noise, "tail noise", 0.4, 0.0001, 100)                            \
	/*   the least noise that is thought of, digits: rounding is 0.3 */      \
	X(tail_share, "tail share", 0.3, 0.0001, 0.9999)                         \
	/*   of approaches have two time constants */                            \
	X(tail_lag, "tail lag", 0.15, 0.0001, 0.9999)                            \
	/*   and of the others one twice: a display that lags by two stages */   \
	X(tail_memory_digits, "tail memory digits", 40, 1, 1e6)                  \
	/*   away from the last reading one weighs 1/e: its end counts */        \

struct settle_limits {
#define X(field, name, standard, low, high) double field;
	SETTLE_LIMIT_LIST(X)
#undef X
};
extern const struct settle_limits settle_limits_standard;

/* What the sheet says of the position that is up; all of it may be unknown. */
struct settle_expected {
	enum function function; /* FUNCTION_NONE: unknown */
	bool has_nominal;
	double nominal; /* SI */
	double low, high; /* limits where bounded, else -INFINITY / INFINITY */
};

/* Events, as bits: one reading may bring several. */
enum settle_event {
	SETTLE_TOUCHED = 1,
	SETTLE_SETTLED = 2, /* at most once a touch; settle_result() has it */
	SETTLE_MOVING = 4,  /* past the limit and still moving; at most once a touch */
	SETTLE_LIFTED = 8,
	SETTLE_DOUBT = 16,  /* a voltage at rest that may be floating leads: needs a word */
};

/* The value of the stretch that is at rest, or as it stands now. */
struct settle_result {
	enum function function;
	struct decimal value; /* median, SI; value.e is the weight of the digit */
	int prefix;           /* of the last reading in the stretch */
	double s;             /* sample standard deviation of the conversions, SI */
	int n;                /* conversions used */
	uint64_t from, to;    /* ordinals of the first and last reading used */
	bool settled;
	bool overload;        /* taken by key while it read overload */
	bool negative;        /* ... of the negative side */
};

/* Readings remembered of the current stretch; older ones leave the statistics. */
#define SETTLE_WINDOW 1024

struct settle; /* defined in settle_state.h, for embedding without allocation */
#include "daemon/settle_state.h"

/* `conversion`: frames that the meter sends of one conversion, at least 1. */
void settle_init(struct settle *s, const struct settle_limits *limits, int conversion);

/* May be called at any time; does not end a touch. */
void settle_expect(struct settle *s, const struct settle_expected *expected);

/* Feed one reading.  Times must not fall; ordinals count from 0 with each call.
 * Returns event bits. */
unsigned settle_reading(struct settle *s, const struct reading *r);

/* The line or the meter is gone: what was touched counts as lifted. */
unsigned settle_gone(struct settle *s, int64_t t);

/* The next moment at which settle_tick must be called, INT64_MAX for none. */
int64_t settle_deadline(const struct settle *s);
unsigned settle_tick(struct settle *s, int64_t t);

/* The result of SETTLE_SETTLED, valid until the lift. */
const struct settle_result *settle_result(const struct settle *s);

/* `take`: the value as it stands now (overload included).  False where there is
 * nothing to take: no reading, stale for 3 periods, or hold.  `settled` is true
 * only where settle_reading said so or where the stretch is at rest by the same
 * rules at time t. */
bool settle_take(const struct settle *s, int64_t t, struct settle_result *out, struct fault *why);

bool settle_touching(const struct settle *s);
/* For leads that are clipped on and stay: where the value left what it settled at, the touch
 * begins anew, so that it may settle again without a lift.  With every reading. */
void settle_follow(struct settle *s);
/* Does it send readings while its leads are open, as far as one can say by now? */
bool settle_speaks(const struct settle *s);
/* Since when the leads are open (first open reading; in a silence, when the first
 * missing reading would have come), -1 while they touch. */
int64_t settle_open_since(const struct settle *s);
/* How long after settle_open_since the next touch cannot be a slip of the last one:
 * arm_seconds, rounded up to whole periods (a slip of just under a second shows as
 * so many open readings). */
int64_t settle_arm(const struct settle *s);
/* 0 (just touched, or open) to 1 (settled): how far settling has come. */
double settle_progress(const struct settle *s, int64_t t);
/* Typical time between readings, us; 0 while unknown. */
int64_t settle_period(const struct settle *s);

#endif
