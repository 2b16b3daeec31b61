/* SPDX-License-Identifier: MIT */
/*
 * The verdict on one value: within, outside or unsure against its limits.
 *
 * Decision rule: guard band w = U = 2 u on both sides (JCGM 106:2012 8.3;
 * ILAC-G8:09/2019 4.2.3).  `within`: [value - U, value + U] lies inside the
 * limits; `outside`: it lies wholly outside; else `unsure`, with the probability
 * of conformance.  Exactly at a bound the better side counts.
 *
 * The comparison with the limits is in exact decimals.  U is taken from u at
 * the six significant digits with which records carry it, so that a verdict can
 * be worked out again from the record alone.
 *
 * What overrides the plain rule, first to last:
 * - overload: see judge() below;
 * - no limits: nothing to judge;
 * - not settled: always unsure, moving; where the value will rest is not known,
 *   so even a value far outside is only so for now;
 * - in circuit, resistance: other paths lower it, so that only a value above the
 *   upper limit is conclusive (outside, high), and one above a lower bound alone
 *   (within).  A charge left behind would be read as ohms (50 mV are 15 % of a meter's
 *   test voltage): until it was measured with the leads swapped, `next` asks for that;
 *   where the two differ it is unsure, circuit, and where they agree it is confirmed;
 * - in circuit, capacitance and inductance: always unsure, circuit;
 * - in circuit, diode: a low drop is unsure, circuit;
 * - lead offset missing: what a bad lead could add (1 ohm, 100 pF) counts as
 *   uncertainty towards low values; where that decides, unsure, offset, in circuit as
 *   well; so too where it is too near a limit and the leads may be more of that than U;
 * - loading: what the meter's input takes away at a place of high impedance counts as
 *   uncertainty too; where that decides there is no verdict (none, limits-of-meter).
 *
 * `why` says what was found, `next` what to do, in a technician's words.
 */
#ifndef TALLY_TRADE_VERDICT_H
#define TALLY_TRADE_VERDICT_H

#include "protocol/trade/position.h"

enum verdict_word {
	VERDICT_NONE, /* no limits: nothing to judge */
	VERDICT_WITHIN,
	VERDICT_OUTSIDE,
	VERDICT_UNSURE,
};

enum verdict_side {
	SIDE_NONE,
	SIDE_LOW,  /* below the lower limit; inside, below the nominal, or below the
	            * middle of the limits where there is none within them */
	SIDE_HIGH, /* algebraic: -40 V is lower than -35 V, and `why` says more negative */
};

enum verdict_reason {
	REASON_NONE,
	REASON_METER,   /* U too large to tell */
	REASON_CIRCUIT, /* other paths in the circuit */
	REASON_MOVING,  /* not settled */
	REASON_OFFSET,  /* lead offset missing */
	REASON_OTHER_VALUE, /* another value seems to be fitted */
	REASON_LEAKAGE, /* reads far high as leaky paper does: measure leakage */
	REASON_OPEN,    /* overload where a finite value is expected */
	REASON_LIMITS_OF_METER, /* outside the meter's limits of use */
};

struct verdict {
	enum verdict_word word;
	enum verdict_side side;
	enum verdict_reason reason;
	bool has_probability;
	double probability;    /* of conformance, 0 to 1; only where the reading itself is
	                        * to be believed (not in circuit, moving, offset) */
	bool has_deviation;
	double deviation;      /* (value - nominal) / nominal; absent at nominal 0 */
	struct limits limits;  /* those judged against */
	bool assumed;          /* the limits are a default of the kind, not written */
	bool has_other;
	struct decimal other;  /* the preferred value that seems to be fitted */
	char why[120];         /* for people: "carbon, drifted up"; may be "" */
	char next[100];        /* for people: what to do; "" where nothing is to be done */
};

/* Two measurements that should say the same. */
enum agreement {
	AGREEMENT_UNKNOWN, /* the other one was not made */
	AGREEMENT_YES,
	AGREEMENT_NO,
};

/* Everything that a judgement depends on. */
struct judgement {
	bool has_value;          /* false: overload */
	struct decimal value;    /* SI */
	bool has_above;
	struct decimal above;    /* overload: the value lies above this */
	double u;                /* standard uncertainty, SI */
	bool has_nominal;
	struct decimal nominal;
	struct limits limits;    /* neither side bounded: nothing to judge */
	bool assumed;
	enum kind kind;
	enum function function;
	bool in_circuit;
	bool settled;
	bool offset_missing;     /* a lead offset matters here and was not taken */
	enum agreement swapped;  /* in circuit: the same with the leads swapped? */
	double load;             /* |value| reads low by this through the meter's input, SI; a bound,
	                          * without a u of its own: see loading in places.h */
};

/*
 * One verdict.  An overload is judged by the end of the range, `above`: at or
 * beyond the lower bound of a one-sided limit it is within; at or beyond the
 * upper limit it is outside, high (an ohm or diode reading: open; a capacitor: a
 * short or heavy leakage).  For a negative nominal it is taken to be a negative
 * one; about zero, of dc volts and amps, it may be either: outside where both would be,
 * and no side.  Where the range ends inside the limits, or the end is not known and the
 * limit lies beyond 10 Mohm, 10 uF or 600 V, it is unsure, meter.  Whether the
 * reading settled does not matter for an overload.
 */
struct verdict judge(const struct judgement *j);

/* No verdict: the meter was not made for this.  Limits and deviation stay. */
void verdict_beyond_meter(struct verdict *v, const char *why, const char *next);
/* Fill `next`, where it is empty: what to do about the verdict.  judge() has done so. */
void verdict_advise(const struct judgement *j, struct verdict *v);
/* Both verdicts of one value: what to do follows from the place, where both decided. */
void verdicts_advise(struct verdict *tolerance, struct verdict *service);
/* An in-circuit verdict that the circuit decides, seen beside its twin's value:
 * `difference` is (this - twin) / mean.  Agreement: nothing against it; else lift both. */
void verdict_beside_twin(struct verdict *v, const char *twin, bool agree, double difference);

/* Probability that a true value lies within the limits, for a normal posterior
 * (JCGM 106:2012 equation 7 ff.); one-sided where one side is open. */
double conformance(double value, double u, const struct limits *l);

/* Limits where the sheet says nothing: by kind, and by kind and role for the
 * service limit; common practice, no source.  Return false where even practice
 * says nothing. */
bool tolerance_default(enum kind k, enum function f, struct tolerance *out);
bool service_default(enum kind k, const char *role, struct tolerance *out);

const char *verdict_word_name(enum verdict_word w);
const char *verdict_side_name(enum verdict_side s);   /* "" for none */
const char *verdict_reason_name(enum verdict_reason r); /* "" for none */

#endif
