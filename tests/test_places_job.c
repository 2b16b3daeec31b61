/* SPDX-License-Identifier: MIT */
/*
 * What parts do in their place, worked out for a whole job.  Formulas: tests/test_places.c has
 * their sources.
 */
#include "tests/plan_stand.h"

static double value(json_t *list, const char *position, const char *what, const char *condition,
                    double *u)
{
	size_t i;
	json_t *one;
	json_array_foreach(list, i, one)
		if (!strcmp(json_string_value(json_object_get(one, "position")), position) &&
		    !strcmp(json_string_value(json_object_get(one, "what")), what) &&
		    !strcmp(json_string_value(json_object_get(one, "condition")), condition)) {
			assert_true(json_is_true(json_object_get(one, "calculated")));
			assert_true(json_array_size(json_object_get(one, "from")) >= 1);
			*u = json_number_value(json_object_get(one, "u"));
			return json_number_value(json_object_get(one, "value"));
		}
	*u = NAN;
	return NAN;
}

static void places(void **state)
{
	struct store *s = *state;
	sheet(s, "position,kind,nominal,tolerance,rated,role,with,channel,twin,source,max,mu,ra,load,chart,range\n"
	         "C7,film,22n,10%,400 V,coupling,R14,left,,,,,,,,\n"
	         "R14,resistor,1M,5%,,grid leak,,left,,,,,,,,\n"
	         "C9,electrolytic,25u,,25 V,cathode bypass,R9,left,,,,100,62500,90909.09,,\n"
	         "R9,resistor,1.5k,5%,,cathode,,left,,,,,,,,\n"
	         "V2,valve,100 V,20%,,,,left,,1M,,,,,1k,100 V\n"
	         "G2,rail,100 V,20%,,,,left,,1M,,,,,1 kohm/V,100 V\n"
	         "G3,rail,100 V,20%,,,,left,,1M,,,,,1000 ohms per volt,100 V\n"
	         "G4,rail,100 V,20%,,,,left,,1M,,,,,1 kohm/A,100 V\n"
	         "C8,film,22n,10%,400 V,coupling,R14,left,,38k,,,,,,\n"
	         "V5,valve,435 V,10%,,output,,left,,,25,,,,,\n"
	         "R30,resistor,10,1%,,sense,V5,left,R130,,,,,,,\n"
	         "R130,resistor,10,1%,,sense,,right,,,,,,,,\n"
	         "R31,resistor,1k,5%,,screen,V5,left,,,,,,,,\n"
	         "B1,rail,420 V,10%,,,,,,,,,,,,\n"
	         "B1ac,rail,2 V AC,90%,,ripple,B1,,,,,,,,,\n"
	         "L1,resistor,8,5%,,load,,left,L2,,,,,,,\n"
	         "L2,resistor,8,5%,,load,,right,,,,,,,,\n"
	         "L3,resistor,16,5%,,load,,left,,,,,,,,\n"
	         "C20,electrolytic,47u,,450 V,reservoir,R40,,,,,,,,,\n"
	         "R40,resistor,220k,5%,,bleeder,,,,,,,,,,\n");
	static const struct told touches[] = {
	    {"C7", "22n", F, 1e-10, W, W, 0, .reach = REACH_LIFTED},
	    {"C7", "1u A", FUNCTION_AMP_DC, 1e-8, 0, 0, 0, .quantity = QUANTITY_LEAKAGE, .reach = REACH_LIFTED},
	    {"R14", "1M", O, 1e3, W, W, 0, .reach = REACH_LIFTED},
	    {"C9", "25u", F, 1e-7, W, W, 0, .reach = REACH_LIFTED},
	    {"R9", "1.5k", O, 5, W, W, 0, .reach = REACH_LIFTED},
	    {"V2", "100 V", FUNCTION_VOLT_DC, 0.5, W, W, 0, .quantity = QUANTITY_VOLTS},
	    {"G2", "100 V", FUNCTION_VOLT_DC, 0.5, W, W, 0, .quantity = QUANTITY_VOLTS},
	    {"G3", "100 V", FUNCTION_VOLT_DC, 0.5, W, W, 0, .quantity = QUANTITY_VOLTS},
	    {"G4", "100 V", FUNCTION_VOLT_DC, 0.5, W, W, 0, .quantity = QUANTITY_VOLTS},
	    {"C8", "0.02 V", FUNCTION_VOLT_DC, 0.001, 0, 0, 0, .quantity = QUANTITY_VOLTS},
	    {"V5", "435 V", FUNCTION_VOLT_DC, 1, W, W, 0, .quantity = QUANTITY_VOLTS},
	    {"R30", "10", O, 0.02, W, W, 0, .reach = REACH_LIFTED},
	    {"R130", "10", O, 0.02, W, W, 0, .reach = REACH_LIFTED},
	    {"R30", "0.42 V", FUNCTION_VOLT_DC, 0.001, 0, 0, 0, .quantity = QUANTITY_VOLTS},
	    {"R130", "0.385 V", FUNCTION_VOLT_DC, 0.001, 0, 0, 0, .quantity = QUANTITY_VOLTS},
	    {"R31", "1k", O, 1, W, W, 0, .reach = REACH_LIFTED},
	    {"R31", "4.5 V", FUNCTION_VOLT_DC, 0.01, 0, 0, 0, .quantity = QUANTITY_VOLTS},
	    {"B1", "420 V", FUNCTION_VOLT_DC, 1, W, W, 0, .quantity = QUANTITY_VOLTS},
	    {"B1ac", "1.8 V AC", FUNCTION_VOLT_AC, 0.02, W, W, 0, .quantity = QUANTITY_VOLTS},
	    {"L1", "8.9 V AC", FUNCTION_VOLT_AC, 0.02, 0, 0, 0, .quantity = QUANTITY_VOLTS},
	    {"L2", "8.4 V AC", FUNCTION_VOLT_AC, 0.02, 0, 0, 0, .quantity = QUANTITY_VOLTS},
	    {"L3", "9.4 V AC", FUNCTION_VOLT_AC, 0.02, 0, 0, 0, .quantity = QUANTITY_VOLTS},
	    {"C20", "47u", F, 5e-7, W, W, 0, .reach = REACH_LIFTED},
	    {"C20", "1m A", FUNCTION_AMP_DC, 1e-5, 0, 0, 0, .quantity = QUANTITY_LEAKAGE, .reach = REACH_LIFTED},
	    {"R40", "220k", O, 500, W, W, 0, .reach = REACH_LIFTED},
	    {"C7", "23n", F, 1e-10, U, U, 0, .reach = REACH_IN_CIRCUIT},
	    {"C7", "20n", F, 1e-10, W, W, 0, .condition = CONDITION_DONE, .reach = REACH_LIFTED},
	};
	for (size_t i = 0; i < sizeof touches / sizeof *touches; i++)
		tell(s, &touches[i]);
	s->t += INT64_C(1200000000); /* a soak of 20 minutes */
	tell(s, &(struct told){"R30", "0.455 V", FUNCTION_VOLT_DC, 0.001, 0, 0, 0, .quantity = QUANTITY_VOLTS});
	json_t *all = answer(s, "places", "{}"), *list = json_object_get(all, "places");
	static const struct {
		const char *position, *what, *condition;
		double value; /* computed by hand, some of them in tests/reference/valve-checks.tsv */
		bool has_u;
	} rows[] = {
	    {"C7", "coupling-corner", "nominal", 7.23432, true},
	    {"C7", "coupling-corner", "found", 7.23432, true},
	    {"C7", "coupling-corner", "done", 7.95775, true},
	    {"C7", "grid-shift", "found", 1, true}, /* 1 uA over 1 Mohm */
	    {"C9", "cathode-zero", "found", 4.24413, true},
	    {"C9", "cathode-pole", "found", 8.43545, true},
	    {"C9", "cathode-step", "found", 5.96639, true},
	    {"V2", "unloaded", "found", 110, true},
	    /* 110 V through 1 Mohm into 1 kohm/V on 100 V */
	    {"V2", "as-chart", "found", 10, true},
	    /* as charts write it */
	    {"G2", "as-chart", "found", 10, true},
	    {"G3", "as-chart", "found", 10, true},
	    {"R30", "cathode-current", "found", 0.0455, true},
	    {"R30", "pair-difference", "found", 16.6667, true}, /* 45.5 against 38.5 mA */
	    {"R30", "bias-drift", "found", 8.33333, true},
	    /* (435 - 0.455) (45.5 mA - 4.5 mA) */
	    {"V5", "dissipation", "found", 17.8163, true},
	    {"V5", "dissipation-percent", "found", 71.2654, true},
	    {"B1ac", "ripple", "found", 0.428571, true},
	    {"L1", "power", "found", 9.90125, true},
	    {"L1", "balance", "found", 0.502196, true},
	    /* (9.4 - 8.9) / (8.9/8 - 9.4/16) */
	    {"L1", "output-impedance", "found", 0.952381, true},
	    {"C20", "discharge-5rc", "found", 51.7, true},
	    {"C20", "discharge-to-60V", "found", 20.8341, true},
	    {"C20", "leakage-limit-period", "found", 2.18e-3, true}, /* 0.04 47 + 0.3 mA */
	    {"C20", "leakage-limit-modern", "found", 211.5e-6, true},
	    {"C20", "heat", "found", 0.45, true},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		double u, got = value(list, rows[i].position, rows[i].what, rows[i].condition, &u);
		if (!near_enough(got, rows[i].value, fabs(rows[i].value) * 2e-4))
			note_row("%s %s %s: %.7g", rows[i].position, rows[i].what, rows[i].condition, got);
		assert_near_relative(got, rows[i].value, 2e-4);
		assert_int_equal(u > 0, rows[i].has_u);
	}
	/* No ohms per volt, no chart; and what drives a coupling capacitor loads no grid. */
	double none;
	assert_true(isnan(value(list, "G4", "as-chart", "found", &none)) != 0);
	assert_true(isnan(value(list, "G4", "unloaded", "found", &none)) == 0);
	assert_true(isnan(value(list, "C8", "unloaded", "found", &none)) != 0);
	json_decref(all);
	/* One position alone. */
	all = answer(s, "places", "{\"position\":\"C20\"}");
	size_t i;
	json_t *one;
	json_array_foreach(json_object_get(all, "places"), i, one)
		assert_string_equal(json_string_value(json_object_get(one, "position")), "C20");
	assert_true(i > 3);
	json_decref(all);
}

/* Nothing is calculated from what was measured in circuit, still moved, or is not there. */
static void nothing_made_up(void **state)
{
	struct store *s = *state;
	double u;
	sheet(s, "position,kind,nominal,tolerance,rated,role,with\n"
	         "C7,film,,,,coupling,R14\nR14,resistor,,,,grid leak,\nL1,resistor,8,5%,,anode load,\n");
	json_t *all = answer(s, "places", "{}");
	assert_int_equal(json_array_size(json_object_get(all, "places")), 0);
	json_decref(all);
	tell(s, &(struct told){"C7", "22n", F, 1e-10, W, W, 0, .reach = REACH_LIFTED});
	tell(s, &(struct told){"R14", "1M", O, 1e3, U, U, 0, .reach = REACH_IN_CIRCUIT});
	tell(s, &(struct told){"L1", "8 V AC", FUNCTION_VOLT_AC, 0.1, 0, 0, 0, .quantity = QUANTITY_VOLTS});
	all = answer(s, "places", "{}");
	assert_int_equal(json_array_size(json_object_get(all, "places")), 0);
	json_decref(all);
	tell(s, &(struct told){"R14", "OL", O, 0, X, X, 0, .reach = REACH_LIFTED});
	all = answer(s, "places", "{}");
	assert_int_equal(json_array_size(json_object_get(all, "places")), 0);
	json_decref(all);
	tell(s, &(struct told){"R14", "1M", O, 1e3, W, W, 0, .reach = REACH_LIFTED});
	all = answer(s, "places", "{}");
	assert_near_relative(value(json_object_get(all, "places"), "C7", "coupling-corner", "found", &u),
	                     7.23432, 1e-5);
	json_decref(all);
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup_teardown(f, store_up, store_down)
	const struct CMUnitTest tests[] = {
	    TEST(places), TEST(nothing_made_up),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
