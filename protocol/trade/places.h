/* SPDX-License-Identifier: MIT */
/*
 * What parts do in their place: calculated from measured values, each result with
 * the uncertainty that those bring.  A calculated value is never shown as if it had
 * been measured.
 *
 * Cautions come first.  Most of what follows is measured in live or charged
 * equipment: mains isolated and reservoirs discharged and measured before touching,
 * one hand, rated probes and meters, never alone; local codes and licensed practice
 * come first.
 *
 * SI units throughout.  Sources stand at each; the formulas of circuits are those of
 * any textbook, worked numbers were computed.  Inputs that make no sense (a
 * resistance of zero or less, a divisor of zero) give NaN, never a made-up number.
 */
#ifndef TALLY_TRADE_PLACES_H
#define TALLY_TRADE_PLACES_H

#include "protocol/trade/measure.h"

/* ---- corners ---- */

/* f = 1 / (2 pi R C): where a coupling capacitor and the grid leak behind it have
 * lost 3 dB. */
struct measure place_corner(struct measure R, struct measure C);

/* The same with the output resistance Ro of the stage before (anode load parallel to
 * the valve): f = 1 / (2 pi (Rg + Ro) C). */
struct measure place_coupling(struct measure Rg, struct measure Ro, struct measure C);

/*
 * Cathode bypass of a triode (the form of the designer's handbooks of the 1950s):
 *     zero   fz = 1 / (2 pi Rk Ck), below which the whole feedback works
 *     B      1 + Rk (mu + 1) / (RL + ra), the gain that is lost without bypass
 *     Zk     Rk parallel to (ra + RL) / (mu + 1), what the capacitor sees
 *     pole   fp = B fz = 1 / (2 pi Zk Ck), above which the bypass works
 * Rk alone would put the corner too low.  RL: what the anode sees.
 */
struct cathode {
	struct measure zero, pole, Zk, B, decibel;
};
struct cathode place_cathode(struct measure Rk, struct measure Ck, struct measure mu,
                             struct measure ra, struct measure RL);
/* Where only the slope gm is known (pentodes, rough work): Zk = Rk parallel 1/gm. */
struct measure place_cathode_slope(struct measure Rk, struct measure gm);

/* ---- grids ---- */

/* A leaky coupling capacitor shifts the grid by I Rg. */
struct measure place_grid_shift(struct measure I, struct measure Rg);

/* Valve out: grid volts with HT on, less those with HT off, over grid leak and meter
 * in parallel: I = (V - V0) (1/Rg + 1/Rin).  Rin infinite: the meter draws nothing. */
struct measure place_leakage(struct measure V, struct measure V0, struct measure Rg,
                             struct measure Rin);
/* The shift when the meter is gone: I Rg, more than was read. */
struct measure place_shift_without_meter(struct measure V, struct measure V0, struct measure Rg,
                                         struct measure Rin);
/* Insulation of the capacitor between Va and the grid: (Va - V) / I. */
struct measure place_insulation(struct measure Va, struct measure V, struct measure V0,
                                struct measure Rg, struct measure Rin);
/* The leakage that shifts the bias by a fraction of it: fraction Vbias / Rg.  0.01
 * is the usual limit (common practice). */
double place_leakage_limit(double bias, double Rg, double fraction);

/* What R across a capacitor adds to its dissipation factor at f: 1 / (2 pi f R C).  22 nF
 * across 570 kohm: 0.13 at 100 Hz.  Above about 0.1 a capacitance meter is fooled. */
struct measure place_shunt(struct measure R, struct measure C, double hertz);

/* ---- loading ----
 *
 * `source` and Rin come in with an uncertainty of zero, and so does the meter's input in the
 * leakage above and the output resistance Ro of a coupling: a sheet has the one as ohms read off the
 * schematic, a configuration the other (`input volt-dc = 10M`) as its maker's round figure, and
 * neither says how far to trust it.  A u made up here would look as if somebody had stated
 * it.  What it would weigh: the correction is V source / Rin, so 10 % of doubt about either is 10 %
 * of the correction (of 0.1 Mohm before 10 Mohm: 0.1 % of V).  Whoever knows a u passes it:
 * the functions carry it like any other.
 */

/* Volts at a place of `source` ohms, read low through a meter of Rin: V (1 + Rs/Rin). */
struct measure place_unloaded(struct measure V, struct measure source, struct measure Rin);
/* What a moving-coil meter of so many ohms per volt on that range would have shown
 * where a meter of Rin shows V: for charts that were taken with 1 kohm/V. */
struct measure place_as_chart(struct measure V, struct measure source, struct measure Rin,
                              double ohms_per_volt, double range);
/* And from such a chart to what a meter of Rin should show. */
struct measure place_from_chart(struct measure V, struct measure source, struct measure Rin,
                                double ohms_per_volt, double range);

/* ---- twins and pairs ---- */

struct pair {
	struct measure ratio;   /* a / b */
	struct measure percent; /* 100 (a - b) / mean of the two */
};
struct pair place_pair(struct measure a, struct measure b);

/* ---- output stage ---- */

/* Cathode current from the volts over a sense resistor: V / R. */
struct measure place_current(struct measure V, struct measure R);
/* Anode dissipation (Va - Vk)(Ik - Ig2); Ig2 zero for a triode and for a pentode
 * that is strapped as one.  All volts against chassis. */
struct measure place_dissipation(struct measure Va, struct measure Vk, struct measure Ik,
                                 struct measure Ig2);
/* The same where the cathode current comes from the drop Vs over the sense resistor
 * Rs that stands at the cathode: the drop is Vk, and is one reading. */
struct measure place_dissipation_sensed(struct measure Va, struct measure Vs, struct measure Rs,
                                        struct measure Ig2);
/* Screen dissipation (Vg2 - Vk) Ig2: it has its own limit. */
struct measure place_screen(struct measure Vg2, struct measure Vk, struct measure Ig2);
/* part / whole in percent: dissipation of its limit. */
struct measure place_percent(struct measure part, double whole);

/* ---- supply, power, balance ---- */

/* 100 Vac / Vdc, Vac rms with the direct volts blocked. */
struct measure place_ripple(struct measure Vac, struct measure Vdc);
/* Peak to peak of a sawtooth from its rms value: 2 sqrt(3). */
struct measure place_sawtooth(struct measure Vac);
/* 100 (Vopen - Vloaded) / Vloaded. */
struct measure place_regulation(struct measure open, struct measure loaded);
/* V^2 / R, V rms over a load that was measured. */
struct measure place_power(struct measure V, struct measure R);
struct measure place_power_peak(struct measure Vpp, struct measure R); /* Vpp^2 / (8 R) */
/* 20 log10(a / b) dB. */
struct measure place_balance(struct measure a, struct measure b);
/* From two loads: (V1 - V2) / (V2/R2 - V1/R1).  R1 infinite: open, where the
 * stage may be run so -- a valve output stage may not. */
struct measure place_output_impedance(struct measure V1, struct measure R1, struct measure V2,
                                      struct measure R2);
/* R / Zout, where R had no part in Zout. */
struct measure place_damping(struct measure R, struct measure Zout);
/* R1 / Zout from the same two loads, each of the four one input: R1 stands in Zout, too. */
struct measure place_damping_of(struct measure V1, struct measure R1, struct measure V2,
                                struct measure R2);
/* 100 (now - before) / before: bias over a soak. */
struct measure place_drift(struct measure before, struct measure now);

/* ---- discharge ---- */

/* V = V0 exp(-t / RC).  After 5 RC 0.7 % is left -- and the volts come back from the
 * dielectric: measure, wait a minute, measure again.  Capacitances are to be taken at
 * their largest. */
struct measure place_tau(struct measure R, struct measure C);
struct measure place_volts_after(struct measure V0, struct measure R, struct measure C, double t);
/* Seconds from V0 down to V; 0 where V0 is below it. */
struct measure place_seconds_to(struct measure V0, struct measure R, struct measure C, double V);
/* The largest bleeder that brings V0 to V within t: t / (C ln(V0 / V)). */
struct measure place_bleeder(struct measure V0, struct measure C, double V, double t);
struct measure place_energy(struct measure C, struct measure V); /* C V^2 / 2 */
struct measure place_charge(struct measure C, struct measure V); /* C V */

/* ---- leakage of electrolytics ---- */

enum leakage_formula {
	LEAKAGE_PERIOD,     /* JAN-C-62 and its like: k C + 0.3 mA, k by the volts */
	LEAKAGE_001CV,      /* 0.01 C V, at least 3 uA: ordinary parts of today */
	LEAKAGE_003CV,      /* 0.03 C V */
	LEAKAGE_ROOT_CV,    /* 3 sqrt(C V) */
	LEAKAGE_FORMULAS
};
const char *leakage_formula_name(enum leakage_formula f);
/* Amps, for farads and rated volts; NaN where the formula does not reach (the period
 * one ends at 500 V; between its bands the next higher one counts). */
double leakage_limit(enum leakage_formula f, double C, double rated);
/* The same of a capacitance that was measured, or is known by its tolerance. */
struct measure place_leakage_allowed(enum leakage_formula f, struct measure C, double rated);
/* V I: above about 1 W in a can stop (common practice, no source). */
struct measure place_heat(struct measure V, struct measure I);

#endif
