/* SPDX-License-Identifier: MIT */
/*
 * The memory of one meter's settling, laid open only so that it can be embedded
 * without allocation.  Nobody but settle*.c reads or writes the fields.
 *
 * About 52 KiB: SETTLE_WINDOW conversions of the present stretch (32 KiB), and the
 * hypotheses of the law (16 KiB).
 */
#ifndef TALLY_SETTLE_STATE_H
#define TALLY_SETTLE_STATE_H

/* Starts of a run that are weighed against each other; the least likely leaves. */
#define SETTLE_RUNS 8
/* Time constants of the approach: 0.03 s to about 73 s, each 1.35 times the last. */
#define SETTLE_TAUS 27
/* Levels of noise, 0.4 digit and up, each 1.6 times the last. */
#define SETTLE_NOISES 15
/* Intervals between readings that are remembered for the period. */
#define SETTLE_INTERVALS 32
/* Readings of open leads that are remembered (residual, float). */
#define SETTLE_OPENS 16
/* Readings of a fast meter that are put together for the law. */
#define SETTLE_BLOCK 256

/* Last readings, for the noise that they show by themselves. */
#define SETTLE_RECENTS 9

/* Readings of a touch that are kept for a second look at its tail; when they are
 * full, two become one. */
#define SETTLE_POINTS 96

/* Readings that are looked at for a wave. */
#define SETTLE_WAVE 24

/* Differences at rest that are remembered for the noise of the meter. */
#define SETTLE_RESTS 64

/* Levels that a trace stood on and left. */
#define SETTLE_LEVELS 4

/*
 * One hypothesis: since the reading that began it, nothing has happened but
 * y = c + a exp(-(t - t0) / tau) and noise.  All sums are weighted, of values less
 * `ref`, in SI; x is the exponential, 1 at the first reading.
 */
struct settle_run {
	double joint;  /* log probability of this run and all readings */
	double evidence; /* log evidence of the run alone, as it is remembered */
	double off;    /* probability that the rest is further off than a digit, in this run */
	double ref;    /* the first value, or a later one where it has moved on */
	double w, wz, wzz, lw; /* sums of w, w z, w z^2 and log(w) / 2 */
	double x[SETTLE_TAUS], wx[SETTLE_TAUS], wxx[SETTLE_TAUS], wxz[SETTLE_TAUS];
	/* s = (t - t0) / tau, and u = s x, by which y changes with log tau. */
	double s[SETTLE_TAUS], wu[SETTLE_TAUS], wuu[SETTLE_TAUS], wxu[SETTLE_TAUS], wuz[SETTLE_TAUS];
	/* The likeliest law, for strays and for counting: c, a (0: none), tau, noise. */
	double best_c, best_a, best_b, best_noise;
	int best_tau;
	double m;      /* readings absorbed, less what has faded */
	double gone;   /* way gone that has not faded the readings before it yet */
	int n;         /* readings absorbed */
	int strays;    /* strays in a row that it has left out */
	int64_t t0;
};

struct settle_point {
	int64_t t;
	double value, w; /* SI; weight */
};

struct settle_law {
	struct settle_run run[SETTLE_RUNS];
	int runs;
	bool any;       /* a reading came since the reset */
	bool hidden;    /* it read overload in this touch: an approach may have begun behind it */
	bool jolted;    /* contact was lost: a new start is likely at the next reading */
	double last;    /* last value, SI */
	double digit;   /* weight of the last digit now, SI */
	double counts;  /* largest count seen of this meter and function */
	double recent[SETTLE_RECENTS]; /* last values, SI */
	int64_t recent_t[SETTLE_RECENTS];
	int recents;
	double wave[SETTLE_WAVE]; /* the same without strays, for settle_wave.c */
	int64_t wave_t[SETTLE_WAVE];
	int waves;
	struct settle_point point[SETTLE_POINTS];
	int points;
	double pace;    /* s, of conversions */
	double level[SETTLE_LEVELS], level_digit[SETTLE_LEVELS], coarse; /* see law_jumps */
	int levels, jumps, readings;
	double way;     /* from the last reading but one to the last, SI a second ... */
	int goes;       /* ... which is like so many before it */
	int stood[SETTLE_LEVELS];    /* the last reading on that level ... */
	int jumps_to[SETTLE_LEVELS]; /* ... and the jumps until it was reached first */
	int64_t t;      /* of the last reading */
	/* Differences between neighbours at rest in the last touches: squares, digits, and how many. */
	double rest_dd, rest_n;
};

/* One conversion of the present stretch. */
struct settle_item {
	int64_t t;
	int64_t n;        /* digits */
	uint64_t first, last; /* ordinals of its first and last frame */
};

struct settle {
	struct settle_limits limits;
	struct settle_expected expected;
	int conversion;       /* frames of one conversion: configured, at least 1 */
	int learnt;           /* ... or learnt, 0 while unknown */
	uint64_t ordinal;     /* of the next reading */

	/* The state of the probes. */
	bool touching;
	bool settled, moving, doubted; /* said in this touch */
	bool refused; /* the law, as it stands, says that it moves: asked again once that changes */
	int64_t touched_at;
	int64_t open_since;   /* where not touching */
	int64_t blank_since;  /* first of the open readings in a row, -1 for none */
	int blanks;           /* open readings in a row */
	bool blank_joined;    /* ... which came without a silence before them */
	bool gliding;         /* a voltage that was left may still be on its way down */
	bool speaks_open;     /* sends readings while the leads are open */

	/* The last reading. */
	bool heard;
	struct reading last;
	int64_t last_t;
	int same;             /* frames of the present conversion so far */
	double open_value[SETTLE_OPENS]; /* what open leads read lately, SI */
	int opens;            /* ever, of this function */
	int repeat[SETTLE_OPENS]; /* lengths of runs of equal frames in open leads */
	int repeats, repeat_now;

	/* Pace: intervals between readings, us. */
	int64_t interval[SETTLE_INTERVALS];
	int64_t interval_sum; /* of those that are there */
	int intervals, long_ones;
	int short_ones; /* intervals in a row that are far shorter than the period */
	int doubles; /* frames in a row that looked like the last one sent twice */
	int64_t period;

	/* The stretch: conversions without a break, in one range. */
	struct settle_item item[SETTLE_WINDOW];
	uint64_t items;       /* ever; the last SETTLE_WINDOW are there */
	uint64_t stretch;     /* number of the first item of the stretch */
	int64_t stretch_t;    /* its first reading, which may have left the window */
	int exponent;         /* of the stretch */
	int prefix;
	int finest;           /* finest exponent seen with this function */
	bool has_finest;
	bool narrowed;        /* a finer range than before, in this touch: what came before was hidden */

	/* Readings of a fast meter, until they are handed to the law together. */
	double block[SETTLE_BLOCK];
	int blocked;
	int64_t block_t;

	struct settle_law law;
	struct settle_result result;
};

#endif
