/* SPDX-License-Identifier: MIT */
/* See places.h: supply, power, balance, discharge, and the leakage of electrolytics. */
#include "protocol/trade/places.h"

#include <math.h>

static double positive(double x)
{
	return x > 0 ? x : (double)NAN;
}

/* ---- supply, power, balance ---- */

static double percent(const double *x)
{
	return x[1] != 0 ? 100 * x[0] / fabs(x[1]) : (double)NAN;
}

struct measure place_ripple(struct measure Vac, struct measure Vdc)
{
	return measure_of(percent, (struct measure[]){Vac, Vdc}, 2);
}

static double sawtooth(const double *x)
{
	return x[0] * 2 * sqrt(3);
}

struct measure place_sawtooth(struct measure Vac)
{
	return measure_of(sawtooth, &Vac, 1);
}

static double change(const double *x)
{
	return x[0] != 0 ? 100 * (x[1] - x[0]) / fabs(x[0]) : (double)NAN;
}

struct measure place_regulation(struct measure open, struct measure loaded)
{
	return measure_of(change, (struct measure[]){loaded, open}, 2);
}

struct measure place_drift(struct measure before, struct measure now)
{
	return measure_of(change, (struct measure[]){before, now}, 2);
}

static double power(const double *x)
{
	return x[0] * x[0] / positive(x[1]);
}

struct measure place_power(struct measure V, struct measure R)
{
	return measure_of(power, (struct measure[]){V, R}, 2);
}

static double power_peak(const double *x)
{
	return power(x) / 8;
}

struct measure place_power_peak(struct measure Vpp, struct measure R)
{
	return measure_of(power_peak, (struct measure[]){Vpp, R}, 2);
}

static double decibel(const double *x)
{
	return 20 * log10(positive(x[0]) / positive(x[1]));
}

struct measure place_balance(struct measure a, struct measure b)
{
	return measure_of(decibel, (struct measure[]){a, b}, 2);
}

/* Inputs: V1 R1 V2 R2. */
static double impedance(const double *x)
{
	double more = x[2] / positive(x[3]) - x[0] / positive(x[1]);
	return more != 0 ? (x[0] - x[2]) / more : (double)NAN;
}

struct measure place_output_impedance(struct measure V1, struct measure R1, struct measure V2,
                                      struct measure R2)
{
	return measure_of(impedance, (struct measure[]){V1, R1, V2, R2}, 4);
}

static double damping_of(const double *x)
{
	double Z = impedance(x);
	return Z != 0 ? x[1] / Z : (double)NAN;
}

struct measure place_damping_of(struct measure V1, struct measure R1, struct measure V2,
                                struct measure R2)
{
	return measure_of(damping_of, (struct measure[]){V1, R1, V2, R2}, 4);
}

static double damping(const double *x)
{
	return x[1] != 0 ? x[0] / x[1] : (double)NAN;
}

struct measure place_damping(struct measure R, struct measure Zout)
{
	return measure_of(damping, (struct measure[]){R, Zout}, 2);
}

/* ---- discharge ---- */

static double tau(const double *x)
{
	return positive(x[0]) * positive(x[1]);
}

struct measure place_tau(struct measure R, struct measure C)
{
	return measure_of(tau, (struct measure[]){R, C}, 2);
}

/* Inputs: R C V0 t. */
static double volts_after(const double *x)
{
	return x[2] * exp(-x[3] / tau(x));
}

struct measure place_volts_after(struct measure V0, struct measure R, struct measure C, double t)
{
	return measure_of(volts_after, (struct measure[]){R, C, V0, {t, 0}}, 4);
}

/* Inputs: R C V0 V. */
static double seconds_to(const double *x)
{
	double fall = fabs(x[2]) / positive(x[3]);
	return fall > 1 ? tau(x) * log(fall) : fall <= 1 ? 0 : (double)NAN;
}

struct measure place_seconds_to(struct measure V0, struct measure R, struct measure C, double V)
{
	return measure_of(seconds_to, (struct measure[]){R, C, V0, {V, 0}}, 4);
}

/* Inputs: V0 C V t. */
static double bleeder(const double *x)
{
	double fall = fabs(x[0]) / positive(x[2]);
	/* Already below: any bleeder will do, and none is the largest. */
	return fall > 1 ? x[3] / (positive(x[1]) * log(fall)) : (double)NAN;
}

struct measure place_bleeder(struct measure V0, struct measure C, double V, double t)
{
	return measure_of(bleeder, (struct measure[]){V0, C, {V, 0}, {t, 0}}, 4);
}

static double energy(const double *x)
{
	return positive(x[0]) * x[1] * x[1] / 2;
}

struct measure place_energy(struct measure C, struct measure V)
{
	return measure_of(energy, (struct measure[]){C, V}, 2);
}

static double product(const double *x)
{
	return x[0] * x[1];
}

struct measure place_charge(struct measure C, struct measure V)
{
	return measure_of(product, (struct measure[]){C, V}, 2);
}

struct measure place_heat(struct measure V, struct measure I)
{
	return measure_of(product, (struct measure[]){V, I}, 2);
}

/* ---- leakage of electrolytics ---- */

const char *leakage_formula_name(enum leakage_formula f)
{
	static const char *const names[LEAKAGE_FORMULAS] = {
	    [LEAKAGE_PERIOD] = "period (JAN-C-62)", [LEAKAGE_001CV] = "0.01 C V, at least 3 uA",
	    [LEAKAGE_003CV] = "0.03 C V", [LEAKAGE_ROOT_CV] = "3 sqrt(C V)",
	};
	return (unsigned)f < LEAKAGE_FORMULAS ? names[f] : "";
}

/* JAN-C-62 and old EIA text, as handed down: mA for microfarads; the top band ends
 * at 450 or at 500 V, by the copy. */
static double period_limit(double microfarads, double volts)
{
	static const struct {
		double to, k;
	} bands[] = {{100, 0.01}, {250, 0.02}, {350, 0.025}, {500, 0.04}};
	for (size_t i = 0; i < sizeof bands / sizeof *bands; i++)
		if (volts <= bands[i].to)
			return (bands[i].k * microfarads + 0.3) / 1e3;
	return NAN;
}

double leakage_limit(enum leakage_formula f, double C, double rated)
{
	double microfarads = positive(C) * 1e6, volts = positive(rated);
	if (!(microfarads > 0) || !(volts > 0))
		return NAN;
	switch (f) {
	case LEAKAGE_PERIOD:
		return period_limit(microfarads, volts);
	case LEAKAGE_001CV:
		return fmax(0.01 * microfarads * volts, 3) / 1e6;
	case LEAKAGE_003CV:
		return 0.03 * microfarads * volts / 1e6;
	case LEAKAGE_ROOT_CV:
		return 3 * sqrt(microfarads * volts) / 1e6;
	case LEAKAGE_FORMULAS:
		break;
	}
	return NAN;
}

/* Inputs: the formula, C, the rated volts. */
static double allowed(const double *x)
{
	return leakage_limit((enum leakage_formula)x[0], x[1], x[2]);
}

struct measure place_leakage_allowed(enum leakage_formula f, struct measure C, double rated)
{
	return measure_of(allowed, (struct measure[]){{f, 0}, C, {rated, 0}}, 3);
}
