/* SPDX-License-Identifier: MIT */
/*
 * The uncertainty of every calculated value, against slopes that are taken by the
 * calculation itself: u^2 = sum of (df/dx_i u_i)^2 (JCGM 100:2008 5.1.2), df/dx_i by a
 * central difference, at random values of the sizes that the trade has and with u so small
 * that no curve is seen.  A value that
 * enters twice (the drop over a sense resistor, which is Vk as well) must be counted
 * as one.
 */
#include "protocol/trade/places.h"
#include "tests/check.h"

#include <math.h>

#define ARGUMENTS 5

static struct measure corner(const struct measure *x)
{
	return place_corner(x[0], x[1]);
}

static struct measure coupling(const struct measure *x)
{
	return place_coupling(x[0], x[1], x[2]);
}

static struct measure zero(const struct measure *x)
{
	return place_cathode(x[0], x[1], x[2], x[3], x[4]).zero;
}

static struct measure pole(const struct measure *x)
{
	return place_cathode(x[0], x[1], x[2], x[3], x[4]).pole;
}

static struct measure Zk(const struct measure *x)
{
	return place_cathode(x[0], x[1], x[2], x[3], x[4]).Zk;
}

static struct measure lost(const struct measure *x)
{
	return place_cathode(x[0], x[1], x[2], x[3], x[4]).B;
}

static struct measure decibel(const struct measure *x)
{
	return place_cathode(x[0], x[1], x[2], x[3], x[4]).decibel;
}

static struct measure slope(const struct measure *x)
{
	return place_cathode_slope(x[0], x[1]);
}

static struct measure shift(const struct measure *x)
{
	return place_grid_shift(x[0], x[1]);
}

static struct measure leakage(const struct measure *x)
{
	return place_leakage(x[0], x[1], x[2], x[3]);
}

static struct measure gone(const struct measure *x)
{
	return place_shift_without_meter(x[0], x[1], x[2], x[3]);
}

static struct measure insulation(const struct measure *x)
{
	return place_insulation(x[0], x[1], x[2], x[3], x[4]);
}

static struct measure shunt(const struct measure *x)
{
	return place_shunt(x[0], x[1], 100);
}

static struct measure unloaded(const struct measure *x)
{
	return place_unloaded(x[0], x[1], x[2]);
}

static struct measure as_chart(const struct measure *x)
{
	return place_as_chart(x[0], x[1], x[2], 1000, 300);
}

static struct measure from_chart(const struct measure *x)
{
	return place_from_chart(x[0], x[1], x[2], 1000, 300);
}

static struct measure ratio(const struct measure *x)
{
	return place_pair(x[0], x[1]).ratio;
}

static struct measure percent(const struct measure *x)
{
	return place_pair(x[0], x[1]).percent;
}

static struct measure current(const struct measure *x)
{
	return place_current(x[0], x[1]);
}

static struct measure anode(const struct measure *x)
{
	return place_dissipation(x[0], x[1], x[2], x[3]);
}

static struct measure sensed(const struct measure *x)
{
	return place_dissipation_sensed(x[0], x[1], x[2], x[3]);
}

static struct measure screen(const struct measure *x)
{
	return place_screen(x[0], x[1], x[2]);
}

static struct measure of_limit(const struct measure *x)
{
	return place_percent(x[0], 25);
}

static struct measure ripple(const struct measure *x)
{
	return place_ripple(x[0], x[1]);
}

static struct measure sawtooth(const struct measure *x)
{
	return place_sawtooth(x[0]);
}

static struct measure regulation(const struct measure *x)
{
	return place_regulation(x[0], x[1]);
}

static struct measure power(const struct measure *x)
{
	return place_power(x[0], x[1]);
}

static struct measure power_peak(const struct measure *x)
{
	return place_power_peak(x[0], x[1]);
}

static struct measure balance(const struct measure *x)
{
	return place_balance(x[0], x[1]);
}

static struct measure impedance(const struct measure *x)
{
	return place_output_impedance(x[0], x[1], x[2], x[3]);
}

static struct measure damping(const struct measure *x)
{
	return place_damping(x[0], x[1]);
}

static struct measure damping_of(const struct measure *x)
{
	return place_damping_of(x[0], x[1], x[2], x[3]);
}

static struct measure modern(const struct measure *x)
{
	return place_leakage_allowed(LEAKAGE_001CV, x[0], 450);
}

static struct measure period(const struct measure *x)
{
	return place_leakage_allowed(LEAKAGE_PERIOD, x[0], 450);
}

static struct measure drift(const struct measure *x)
{
	return place_drift(x[0], x[1]);
}

static struct measure tau(const struct measure *x)
{
	return place_tau(x[0], x[1]);
}

static struct measure after(const struct measure *x)
{
	return place_volts_after(x[0], x[1], x[2], 20);
}

static struct measure seconds(const struct measure *x)
{
	return place_seconds_to(x[0], x[1], x[2], 60);
}

static struct measure bleeder(const struct measure *x)
{
	return place_bleeder(x[0], x[1], 60, 5);
}

static struct measure energy(const struct measure *x)
{
	return place_energy(x[0], x[1]);
}

static struct measure charge(const struct measure *x)
{
	return place_charge(x[0], x[1]);
}

static struct measure heat(const struct measure *x)
{
	return place_heat(x[0], x[1]);
}


/* The sizes from which the values are drawn, each times 0.5 to 2. */
static const struct {
	const char *name;
	struct measure (*f)(const struct measure *x);
	int count;
	double size[ARGUMENTS];
} rows[] = {
    {"corner", corner, 2, {1e6, 22e-9}},
    {"coupling", coupling, 3, {470e3, 47e3, 100e-9}},
    {"cathode zero", zero, 5, {1500, 25e-6, 100, 62500, 91e3}},
    {"cathode pole", pole, 5, {1500, 25e-6, 100, 62500, 91e3}},
    {"cathode Zk", Zk, 5, {1500, 25e-6, 100, 62500, 91e3}},
    {"cathode B", lost, 5, {1500, 25e-6, 100, 62500, 91e3}},
    {"cathode dB", decibel, 5, {1500, 25e-6, 100, 62500, 91e3}},
    {"cathode by slope", slope, 2, {330, 3e-3}},
    {"grid shift", shift, 2, {1e-7, 470e3}},
    {"leakage", leakage, 4, {0.2, 0.01, 470e3, 10e6}},
    {"shift without meter", gone, 4, {0.2, 0.01, 470e3, 10e6}},
    {"insulation", insulation, 5, {300, 0.2, 0.01, 470e3, 10e6}},
    {"shunt", shunt, 2, {570e3, 22e-9}},
    {"unloaded", unloaded, 3, {120, 1e6, 10e6}},
    {"as the chart", as_chart, 3, {120, 220e3, 10e6}},
    {"from the chart", from_chart, 3, {120, 220e3, 10e6}},
    {"ratio", ratio, 2, {42e-3, 38e-3}},
    {"difference", percent, 2, {42e-3, 38e-3}},
    {"current", current, 2, {0.42, 10}},
    {"dissipation", anode, 4, {420, 25, 42e-3, 4.5e-3}},
    {"dissipation, sensed", sensed, 4, {420, 0.42, 10, 4.5e-3}},
    {"screen", screen, 3, {400, 25, 4.5e-3}},
    {"of the limit", of_limit, 1, {15}},
    {"ripple", ripple, 2, {1.8, 420}},
    {"sawtooth", sawtooth, 1, {1.8}},
    {"regulation", regulation, 2, {60, 56}},
    {"power", power, 2, {12.65, 8}},
    {"power, peak to peak", power_peak, 2, {25.3, 8}},
    {"balance", balance, 2, {10, 9.5}},
    {"output impedance", impedance, 4, {30, 16, 8, 8}},
    {"damping", damping, 2, {8, 1}},
    {"damping, of the loads", damping_of, 4, {30, 16, 8, 8}},
    {"modern leakage limit", modern, 1, {32e-6}},
    {"period leakage limit", period, 1, {32e-6}},
    {"drift", drift, 2, {42e-3, 45.5e-3}},
    {"tau", tau, 2, {220e3, 47e-6}},
    {"volts after", after, 3, {450, 220e3, 47e-6}},
    {"seconds to", seconds, 3, {450, 220e3, 47e-6}},
    {"bleeder", bleeder, 2, {450, 47e-6}},
    {"energy", energy, 2, {47e-6, 450}},
    {"charge", charge, 2, {4.4e-6, 80}},
    {"heat", heat, 2, {450, 1.58e-3}},
};

static uint64_t seed = 0x736c6f7065;
static double draw(double low, double high)
{
	seed = seed * 6364136223846793005U + 1442695040888963407U;
	return low + (high - low) * (double)(seed >> 11) / 9007199254740992.0;
}

/* The value alone, with one argument moved. */
static double moved(size_t row, const struct measure *x, int i, double by)
{
	struct measure y[ARGUMENTS] = {{0, 0}};
	for (int k = 0; k < rows[row].count; k++)
		y[k] = (struct measure){x[k].value + (k == i ? by : 0), 0};
	return rows[row].f(y).value;
}

static void slopes(void **state)
{
	(void)state;
	for (size_t row = 0; row < sizeof rows / sizeof *rows; row++) {
		note_row("%s", rows[row].name);
		for (int turn = 0; turn < 200; turn++) {
			struct measure x[ARGUMENTS] = {{0, 0}};
			double squares = 0;
			for (int i = 0; i < rows[row].count; i++) {
				x[i].value = rows[row].size[i] * draw(0.7, 1.4);
				x[i].u = x[i].value * draw(0.00001, 0.0001);
			}
			for (int i = 0; i < rows[row].count; i++) {
				double h = x[i].value * 1e-5;
				double d = (moved(row, x, i, h) - moved(row, x, i, -h)) / (2 * h);
				squares += pow(d * x[i].u, 2);
			}
			struct measure got = rows[row].f(x);
			assert_near_relative(got.value, moved(row, x, 0, 0), 1e-12);
			assert_near_relative(got.u, sqrt(squares), 1e-3);
		}
	}
}

/* A meter that draws nothing, and a stage that is measured open, are limits, not faults. */
static void infinite(void **state)
{
	(void)state;
	const struct measure none = {INFINITY, 0}, V = {0.2, 0.001}, V0 = {0.01, 0.001}, Rg = {470e3, 5e3};
	struct measure I = place_leakage(V, V0, Rg, none);
	assert_near_relative(I.value, 0.19 / 470e3, 1e-12);
	assert_near_relative(I.u, I.value * hypot(hypot(0.001, 0.001) / 0.19, 5e3 / 470e3), 1e-3);
	assert_near_relative(place_unloaded(V, Rg, none).value, 0.2, 1e-12);
	/* 10.0 V open, 8.89 V over 8 ohm: 0.999 ohm */
	const struct measure open = {10, 0}, loaded = {8.89, 0}, load = {8, 0};
	struct measure Z = place_output_impedance(open, none, loaded, load);
	assert_near_relative(Z.value, 8 * (10 - 8.89) / 8.89, 1e-12);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(slopes),
	    cmocka_unit_test(infinite),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
