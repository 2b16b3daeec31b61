/* SPDX-License-Identifier: MIT */
/* See places.h: corners, grids, loading, pairs and the output stage.  Supply and
 * discharge are in places_supply.c. */
#include "protocol/trade/places.h"

#include <math.h>

static const double two_pi = 6.283185307179586;

/* NaN where a part has no resistance or capacitance: nothing is made up for it. */
static double positive(double x)
{
	return x > 0 ? x : (double)NAN;
}

/* ---- corners ---- */

static double corner(const double *x)
{
	return 1 / (two_pi * positive(x[0]) * positive(x[1]));
}

struct measure place_corner(struct measure R, struct measure C)
{
	return measure_of(corner, (struct measure[]){R, C}, 2);
}

static double coupling(const double *x)
{
	return x[1] >= 0 ? 1 / (two_pi * (positive(x[0]) + x[1]) * positive(x[2])) : (double)NAN;
}

struct measure place_coupling(struct measure Rg, struct measure Ro, struct measure C)
{
	return measure_of(coupling, (struct measure[]){Rg, Ro, C}, 3);
}

/* Inputs: Rk Ck mu ra RL. */
static double cathode_B(const double *x)
{
	return 1 + positive(x[0]) * (x[2] + 1) / (positive(x[3]) + (x[4] >= 0 ? x[4] : (double)NAN));
}

static double cathode_zero(const double *x)
{
	return 1 / (two_pi * positive(x[0]) * positive(x[1]));
}

static double cathode_pole(const double *x)
{
	return cathode_B(x) * cathode_zero(x);
}

static double cathode_Z(const double *x)
{
	return x[0] / cathode_B(x);
}

static double cathode_decibel(const double *x)
{
	return 20 * log10(cathode_B(x));
}

struct cathode place_cathode(struct measure Rk, struct measure Ck, struct measure mu,
                             struct measure ra, struct measure RL)
{
	const struct measure x[] = {Rk, Ck, mu, ra, RL};
	return (struct cathode){
	    measure_of(cathode_zero, x, 5), measure_of(cathode_pole, x, 5), measure_of(cathode_Z, x, 5),
	    measure_of(cathode_B, x, 5),    measure_of(cathode_decibel, x, 5),
	};
}

static double slope(const double *x)
{
	return 1 / (1 / positive(x[0]) + positive(x[1]));
}

struct measure place_cathode_slope(struct measure Rk, struct measure gm)
{
	return measure_of(slope, (struct measure[]){Rk, gm}, 2);
}

/* ---- grids ---- */

static double product(const double *x)
{
	return x[0] * x[1];
}

struct measure place_grid_shift(struct measure I, struct measure Rg)
{
	return measure_of(product, (struct measure[]){I, Rg}, 2);
}

/* Inputs: V V0 Rg Rin. */
static double leakage(const double *x)
{
	return (x[0] - x[1]) * (1 / positive(x[2]) + 1 / positive(x[3]));
}

struct measure place_leakage(struct measure V, struct measure V0, struct measure Rg,
                             struct measure Rin)
{
	return measure_of(leakage, (struct measure[]){V, V0, Rg, Rin}, 4);
}

static double shift_without(const double *x)
{
	return leakage(x) * x[2];
}

struct measure place_shift_without_meter(struct measure V, struct measure V0, struct measure Rg,
                                         struct measure Rin)
{
	return measure_of(shift_without, (struct measure[]){V, V0, Rg, Rin}, 4);
}

/* Inputs: V V0 Rg Rin Va. */
static double insulation(const double *x)
{
	double I = leakage(x);
	return I != 0 ? (x[4] - x[0]) / I : (double)NAN;
}

struct measure place_insulation(struct measure Va, struct measure V, struct measure V0,
                                struct measure Rg, struct measure Rin)
{
	return measure_of(insulation, (struct measure[]){V, V0, Rg, Rin, Va}, 5);
}

double place_leakage_limit(double bias, double Rg, double fraction)
{
	return fabs(bias) * fraction / positive(Rg);
}

/* Inputs: R C f. */
static double shunt(const double *x)
{
	return 1 / (two_pi * positive(x[2]) * positive(x[0]) * positive(x[1]));
}

struct measure place_shunt(struct measure R, struct measure C, double hertz)
{
	return measure_of(shunt, (struct measure[]){R, C, {hertz, 0}}, 3);
}

/* ---- loading ---- */

/* Inputs: V source Rin. */
static double unloaded(const double *x)
{
	return x[1] >= 0 ? x[0] * (1 + x[1] / positive(x[2])) : (double)NAN;
}

struct measure place_unloaded(struct measure V, struct measure source, struct measure Rin)
{
	return measure_of(unloaded, (struct measure[]){V, source, Rin}, 3);
}

/* Inputs: V source, the meter it was read with, the meter it is wanted for. */
static double reloaded(const double *x)
{
	return unloaded(x) / (1 + x[1] / positive(x[3]));
}

struct measure place_as_chart(struct measure V, struct measure source, struct measure Rin,
                              double ohms_per_volt, double range)
{
	struct measure coil = {ohms_per_volt * range, 0};
	return measure_of(reloaded, (struct measure[]){V, source, Rin, coil}, 4);
}

struct measure place_from_chart(struct measure V, struct measure source, struct measure Rin,
                                double ohms_per_volt, double range)
{
	struct measure coil = {ohms_per_volt * range, 0};
	return measure_of(reloaded, (struct measure[]){V, source, coil, Rin}, 4);
}

/* ---- twins and pairs ---- */

static double ratio(const double *x)
{
	return x[1] != 0 ? x[0] / x[1] : (double)NAN;
}

static double difference(const double *x)
{
	double mean = (fabs(x[0]) + fabs(x[1])) / 2;
	return mean > 0 ? 100 * (x[0] - x[1]) / mean : (double)NAN;
}

struct pair place_pair(struct measure a, struct measure b)
{
	const struct measure x[] = {a, b};
	return (struct pair){measure_of(ratio, x, 2), measure_of(difference, x, 2)};
}

/* ---- output stage ---- */

static double current(const double *x)
{
	return x[0] / positive(x[1]);
}

struct measure place_current(struct measure V, struct measure R)
{
	return measure_of(current, (struct measure[]){V, R}, 2);
}

/* Inputs: Va Vk Ik Ig2. */
static double dissipation(const double *x)
{
	return (x[0] - x[1]) * (x[2] - x[3]);
}

struct measure place_dissipation(struct measure Va, struct measure Vk, struct measure Ik,
                                 struct measure Ig2)
{
	return measure_of(dissipation, (struct measure[]){Va, Vk, Ik, Ig2}, 4);
}

/* Inputs: Va Vs Rs Ig2. */
static double dissipation_sensed(const double *x)
{
	return (x[0] - x[1]) * (x[1] / positive(x[2]) - x[3]);
}

struct measure place_dissipation_sensed(struct measure Va, struct measure Vs, struct measure Rs,
                                        struct measure Ig2)
{
	return measure_of(dissipation_sensed, (struct measure[]){Va, Vs, Rs, Ig2}, 4);
}

static double screen(const double *x)
{
	return (x[0] - x[1]) * x[2];
}

struct measure place_screen(struct measure Vg2, struct measure Vk, struct measure Ig2)
{
	return measure_of(screen, (struct measure[]){Vg2, Vk, Ig2}, 3);
}

static double percent(const double *x)
{
	return x[1] != 0 ? 100 * x[0] / x[1] : (double)NAN;
}

struct measure place_percent(struct measure part, double whole)
{
	return measure_of(percent, (struct measure[]){part, {whole, 0}}, 2);
}
