/* SPDX-License-Identifier: MIT */
/*
 * What parts do in their place: every row of the reference tables, uncertainties
 * against their derivatives, and laws that hold for any values.
 */
#include "tests/reference.h"

#include "protocol/trade/places.h"

static struct measure exact(double x)
{
	return (struct measure){x, 0};
}

/* ---- valve-checks.tsv; sources in its last column and SOURCES.md ---- */

static double cathode_value(const struct measure x[5], const char *result)
{
	struct cathode c = place_cathode(x[0], x[1], x[2], x[3], x[4]);
	return strcmp(result, "zero") == 0   ? c.zero.value
	       : strcmp(result, "pole") == 0 ? c.pole.value
	       : strcmp(result, "B") == 0    ? c.B.value
	       : strcmp(result, "Zk") == 0   ? c.Zk.value
	                                     : c.decibel.value;
}

static double discharge_value(const char *in, const char *result)
{
	struct measure R = exact(reference_input(in, "R", NAN));
	struct measure C = exact(reference_input(in, "C", NAN));
	struct measure V0 = exact(reference_input(in, "V0", NAN));
	double tau = place_tau(R, C).value;
	if (strcmp(result, "tau") == 0)
		return tau;
	if (strcmp(result, "five") == 0)
		return 5 * tau;
	if (strcmp(result, "after-five") == 0)
		return place_volts_after(V0, R, C, 5 * tau).value;
	if (strcmp(result, "seconds") == 0)
		return place_seconds_to(V0, R, C, reference_input(in, "V", NAN)).value;
	return place_power(V0, R).value;
}

static double computed(const char *check, const char *in, const char *result)
{
#define IN(key) exact(reference_input(in, key, NAN))
#define IS(name) (strcmp(check, name) == 0)
	if (IS("coupling"))
		return place_coupling(IN("Rg"), IN("Ro"), IN("C")).value;
	if (IS("cathode"))
		return cathode_value((struct measure[]){IN("Rk"), IN("Ck"), IN("mu"), IN("ra"), IN("RL")},
		                     result);
	if (IS("slope"))
		return place_cathode_slope(IN("Rk"), IN("gm")).value;
	if (IS("shift"))
		return place_grid_shift(IN("I"), IN("Rg")).value;
	if (IS("leakage") && strcmp(result, "amps") == 0)
		return place_leakage(IN("V"), exact(0), IN("Rg"), exact(INFINITY)).value;
	if (IS("leakage"))
		return place_insulation(IN("Va"), IN("V"), exact(0), IN("Rg"), exact(INFINITY)).value;
	if (IS("leakage-limit"))
		return place_leakage_limit(reference_input(in, "bias", NAN), reference_input(in, "Rg", NAN),
		                           reference_input(in, "fraction", NAN));
	if (IS("sense"))
		return place_current(IN("V"), IN("R")).value;
	if (IS("dissipation"))
		return place_dissipation(IN("Va"), IN("Vk"), IN("Ik"), IN("Ig2")).value;
	if (IS("percent"))
		return place_percent(IN("part"), reference_input(in, "whole", NAN)).value;
	if (IS("ripple"))
		return place_ripple(IN("Vac"), IN("Vdc")).value;
	if (IS("regulation"))
		return place_regulation(IN("open"), IN("loaded")).value;
	if (IS("sawtooth"))
		return place_sawtooth(IN("Vac")).value;
	if (IS("power") || IS("reforming"))
		return place_power(IN("V"), IN("R")).value;
	if (IS("power-peak"))
		return place_power_peak(IN("V"), IN("R")).value;
	if (IS("balance"))
		return place_balance(IN("a"), IN("b")).value;
	if (IS("impedance")) {
		struct measure Z = place_output_impedance(IN("open"), exact(INFINITY), IN("loaded"), IN("R"));
		return strcmp(result, "damping") == 0 ? place_damping(IN("R"), Z).value : Z.value;
	}
	if (IS("drift"))
		return place_drift(IN("before"), IN("now")).value;
	if (IS("pair"))
		return place_pair(IN("a"), IN("b")).percent.value;
	if (IS("discharge"))
		return discharge_value(in, result);
	if (IS("bleeder"))
		return place_bleeder(IN("V0"), IN("C"), reference_input(in, "V", NAN),
		                     reference_input(in, "t", NAN)).value;
	if (IS("charge"))
		return place_charge(IN("C"), IN("V")).value;
	if (IS("energy"))
		return place_energy(IN("C"), IN("V")).value;
	if (IS("charging")) /* what a capacitor has still to gain falls as its volts would */
		return reference_input(in, "V0", NAN) -
		       place_volts_after(IN("V0"), IN("R"), IN("C"), reference_input(in, "t", NAN)).value;
	if (IS("heat"))
		return place_heat(IN("V"), IN("I")).value;
	if (IS("parallel")) /* one grid leak and the meter across it */
		return 1 / place_leakage(exact(1), exact(0), IN("R"), IN("shunt")).value;
	return NAN;
}

static void valve_check(const struct reference *r)
{
	note_row("%s %s: %s", r->cell[0], r->cell[1], r->cell[2]);
	assert_near(computed(r->cell[0], r->cell[1], r->cell[2]), strtod(r->cell[3], NULL),
	            0.6 * reference_last(r->cell[3]) + 1e-6 * fabs(strtod(r->cell[3], NULL)));
}

/* JAN-C-62 (S30, S31) and makers' forms (S32, S33). */
static void leakage_row(const struct reference *r)
{
	static const struct {
		const char *name;
		enum leakage_formula f;
	} formulas[] = {{"JAN-C-62", LEAKAGE_PERIOD}, {"0.01CV_or_3uA", LEAKAGE_001CV},
	                {"0.03CV", LEAKAGE_003CV}, {"3sqrtCV", LEAKAGE_ROOT_CV}};
	double unit = strcmp(r->cell[3], "mA") == 0 ? 1e-3 : 1e-6;
	note_row("%s %s uF %s V", r->cell[0], r->cell[1], r->cell[2]);
	for (size_t i = 0; i < sizeof formulas / sizeof *formulas; i++)
		if (strcmp(formulas[i].name, r->cell[0]) == 0) {
			assert_near_relative(leakage_limit(formulas[i].f, strtod(r->cell[1], NULL) * 1e-6,
			                                   strtod(r->cell[2], NULL)),
			                     strtod(r->cell[4], NULL) * unit, 1e-9);
			return;
		}
	fail_msg("%s: no such formula", r->cell[0]);
}

static void tables(void **state)
{
	(void)state;
	assert_int_equal(reference_read("valve-checks", valve_check), 68);
	assert_int_equal(reference_read("leakage-limits", leakage_row), 13);
	assert_true(isnan(leakage_limit(LEAKAGE_PERIOD, 8e-6, 600)));
	assert_true(isnan(leakage_limit(LEAKAGE_001CV, 0, 600)));
	assert_true(isnan(leakage_limit(LEAKAGE_FORMULAS, 1e-6, 50)));
}

/* ---- uncertainties ---- */

/* JCGM 100:2008 5.1.6: of products the relative contributions add in squares, each
 * times its power. */
static void uncertainties(void **state)
{
	(void)state;
	struct measure V = {0.45, 0.0013}, R = {10, 0.29};
	struct measure I = place_current(V, R);
	assert_near_relative(I.u / I.value, hypot(0.0013 / 0.45, 0.029), 2e-3);
	struct measure P = place_power((struct measure){12.65, 0.05}, (struct measure){8, 0.04});
	assert_near_relative(P.u / P.value, hypot(2 * 0.05 / 12.65, 0.005), 1e-3);
	struct measure f = place_corner((struct measure){470e3, 2700}, (struct measure){22e-9, 2.2e-10});
	assert_near_relative(f.u / f.value, hypot(2700 / 470e3, 0.01), 1e-3);
	/* (Va - Vk)(Ik - Ig2), each by its own derivative. */
	struct measure D = place_dissipation((struct measure){435, 2}, (struct measure){0.42, 0.003},
	                                     (struct measure){0.042, 2e-4}, (struct measure){0.0045, 1e-4});
	double want = sqrt(pow(0.0375 * 2, 2) + pow(0.0375 * 0.003, 2) + pow(434.58 * 2e-4, 2) +
	                   pow(434.58 * 1e-4, 2));
	assert_near_relative(D.u, want, 1e-6);
	/* A 5 % sense resistor alone is 2.9 % (GUM 4.3.7). */
	I = place_current((struct measure){0.045, 0}, (struct measure){1, 0.05 / sqrt(3)});
	assert_near(measure_percent(I), 2.9, 0.05);
	/* One reading that stands in two places counts as one: the drop over the sense
	 * resistor takes from the anode volts what it gives to the current. */
	struct measure Va = {300, 0}, Vs = {30, 0.3}, Rs = {1000, 0}, none = {0, 0};
	struct measure sensed = place_dissipation_sensed(Va, Vs, Rs, none);
	assert_near_relative(sensed.value, 270 * 0.03, 1e-12);
	assert_near_relative(sensed.u, fabs(270 / 1000.0 - 0.03) * 0.3, 1e-6);
	assert_true(isinf(measure_percent((struct measure){0, 1})));
	/* What has no value has no uncertainty that could be believed. */
	struct measure bad = place_corner((struct measure){0, 1}, (struct measure){1e-6, 0});
	assert_true(isnan(bad.value) && isinf(bad.u));
	bad = place_corner((struct measure){1, 1}, (struct measure){1e-6, 0});
	assert_true(bad.value > 0 && isinf(bad.u));
}

/* ---- what the meter does to what it measures ---- */

static void meters_count(void **state)
{
	(void)state;
	struct measure Rg = exact(1e6), Rin = exact(10e6), dead = exact(INFINITY);
	/* 0.1 uA through 1 Mohm: 100 mV, of which a meter of 10 Mohm shows 90.9. */
	struct measure V = exact(0.1 / 1.1), V0 = exact(0);
	assert_near_relative(place_leakage(V, V0, Rg, Rin).value, 1e-7, 1e-12);
	assert_near_relative(place_shift_without_meter(V, V0, Rg, Rin).value, 0.1, 1e-12);
	/* What is there with HT off is the zero. */
	assert_near(place_leakage(exact(0.05), exact(0.05), Rg, Rin).value, 0, 1e-20);
	assert_near_relative(place_leakage(exact(0.05), exact(0.01), Rg, dead).value, 4e-8, 1e-12);
	/* 100 kohm of source: 10 Mohm reads 1 % low. */
	assert_near_relative(place_unloaded(exact(100 / 1.01), exact(1e5), Rin).value, 100.0, 1e-12);
	/* 250 V behind 220 kohm on the 500 V range of a 1 kohm/V meter: 173.6 V, and
	 * 244.6 V on 10 Mohm (computed by the voltage divider). */
	struct measure digital = exact(250 / 1.022), chart = exact(250 / 1.44), source = exact(220e3);
	assert_near_relative(place_as_chart(digital, source, Rin, 1000, 500).value, chart.value, 1e-12);
	assert_near_relative(place_from_chart(chart, source, Rin, 1000, 500).value, digital.value, 1e-12);
	assert_near_relative(place_as_chart(digital, exact(0), Rin, 1000, 500).value, digital.value,
	                     1e-12);
}

/* ---- laws ---- */

static uint64_t seed = 0x706c6163;
static double draw(double low, double high) /* by ratio */
{
	seed ^= seed << 13;
	seed ^= seed >> 7;
	seed ^= seed << 17;
	return low * pow(high / low, (double)(seed >> 11) / 9007199254740992.0);
}

static void laws(void **state)
{
	(void)state;
	for (int round = 0; round < 20000; round++) {
		struct measure R = {draw(10, 1e7), 0}, C = {draw(1e-12, 1e-3), 0};
		struct measure V = {draw(1e-3, 900), 0}, W = {draw(1e-3, 900), 0};
		R.u = R.value * draw(1e-4, 0.1);
		C.u = C.value * draw(1e-4, 0.1);
		V.u = V.value * draw(1e-4, 0.1);
		struct measure f = place_corner(R, C), tau = place_tau(R, C);
		assert_near_relative(f.value * tau.value, 1 / (2 * 3.14159265358979324), 1e-12);
		/* The step of a prefix changes nothing. */
		struct measure kilo = place_corner((struct measure){R.value / 1e3, R.u / 1e3},
		                                   (struct measure){C.value * 1e3, C.u * 1e3});
		assert_near_relative(kilo.value, f.value, 1e-12);
		assert_near_relative(kilo.u, f.u, 1e-9);
		/* More doubt about one input is never less about the result. */
		struct measure blurred = R;
		blurred.u *= 1.5;
		assert_true(place_corner(blurred, C).u >= f.u * (1 - 1e-12));
		/* Twins: exchanged, the ratio turns and the difference changes its sign. */
		struct pair one = place_pair(V, W), other = place_pair(W, V);
		assert_near_relative(one.ratio.value * other.ratio.value, 1.0, 1e-12);
		assert_near_relative(one.percent.value, -other.percent.value, 1e-9);
		assert_near_relative(place_balance(V, W).value, -place_balance(W, V).value, 1e-9);
		/* Bypassed or not, the pole lies above the zero, and Zk below Rk. */
		struct cathode c = place_cathode(R, C, exact(draw(2, 100)), exact(draw(500, 1e5)),
		                                 exact(draw(1e3, 1e6)));
		assert_true(c.pole.value > c.zero.value && c.Zk.value < R.value && c.decibel.value > 0);
		assert_near_relative(c.pole.value, 1 / (2 * 3.14159265358979324 * c.Zk.value * C.value),
		                     1e-12);
		/* Discharge: down to V in the seconds that it says, and the bleeder for it. */
		struct measure V0 = {draw(61, 900), 0};
		double t = place_seconds_to(V0, R, C, 60).value;
		assert_near_relative(place_volts_after(V0, R, C, t).value, 60.0, 1e-9);
		assert_near_relative(place_bleeder(V0, C, 60, t).value, R.value, 1e-9);
		assert_near(place_seconds_to(exact(50), R, C, 60).value, 0, 0);
		/* A meter only ever reads low, and more so on a higher source. */
		struct measure s = {draw(1, 1e6), 0};
		assert_true(place_unloaded(V, s, exact(1e7)).value > V.value);
		/* The modern limit is the stricter one wherever its floor does not count. */
		double volts = draw(10, 450), farads = draw(1e-6, 1e-4);
		if (0.01 * farads * 1e6 * volts > 3)
			assert_true(leakage_limit(LEAKAGE_001CV, farads, volts) <
			            leakage_limit(LEAKAGE_PERIOD, farads, volts));
		assert_true(leakage_limit(LEAKAGE_PERIOD, 2 * farads, volts) >
		            leakage_limit(LEAKAGE_PERIOD, farads, volts));
	}
}

static void senseless(void **state)
{
	(void)state;
	struct measure zero = {0, 0}, one = {1, 0}, minus = {-1, 0};
	assert_true(isnan(place_corner(minus, one).value));
	assert_true(isnan(place_coupling(one, minus, one).value));
	/* 22 nF across 570 kohm at 100 Hz: computed by hand */
	assert_near(place_shunt(exact(570e3), exact(22e-9), 100).value, 0.12692, 1e-5);
	assert_true(isnan(place_shunt(one, one, 0).value));
	assert_true(isnan(place_current(one, zero).value));
	assert_true(isnan(place_pair(one, zero).ratio.value));
	assert_true(isnan(place_balance(zero, one).value));
	assert_true(isnan(place_ripple(one, zero).value));
	assert_true(isnan(place_drift(zero, one).value));
	assert_true(isnan(place_percent(one, 0).value));
	assert_true(isnan(place_output_impedance(one, one, one, one).value));
	assert_true(isnan(place_bleeder(one, one, 60, 5).value));
	assert_true(isnan(measure_of(NULL, NULL, MEASURE_INPUTS_MAX + 1).value));
	assert_true(isnan(place_leakage_limit(1.5, 0, 0.01)));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(tables), cmocka_unit_test(uncertainties), cmocka_unit_test(meters_count),
	    cmocka_unit_test(laws),   cmocka_unit_test(senseless),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
