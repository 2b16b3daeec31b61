/* SPDX-License-Identifier: MIT */
/*
 * A meter's limits of use: what its `test` text is understood as, and what it was not made
 * for.  The bounds are common practice, no source.
 */
#include "protocol/trade/use.h"
#include "tests/check.h"

static void texts(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		double hertz, volts;
		enum test_method method;
	} rows[] = {
	    {"", 0, 0, METHOD_UNKNOWN},
	    {"1 kHz bridge, 0.5 V", 1000, 0.5, METHOD_BRIDGE},
	    {"100Hz", 100, 0, METHOD_UNKNOWN},
	    {"bridge 120 Hz", 120, 0, METHOD_BRIDGE},
	    {"ramp", 0, 0, METHOD_RAMP},
	    {"Ramp, 2.5 V", 0, 2.5, METHOD_RAMP},
	    {"LCR @ 100 kHz", 100000, 0, METHOD_BRIDGE},
	    {"500 V dc", 0, 500, METHOD_RAMP},
	    {"charge 1.2V (at most)", 0, 1.2, METHOD_RAMP},
	    {"nobody knows", 0, 0, METHOD_UNKNOWN},
	    {"1 kHz 10 V bridge", 1000, 10, METHOD_BRIDGE},
	    {"4 wires, 1 mA", 0, 0, METHOD_UNKNOWN},
	    {",,,;;(", 0, 0, METHOD_UNKNOWN},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct limits_of_use use = {.isolated = ANSWER_UNKNOWN};
		struct use one;
		snprintf(use.test[FUNCTION_FARAD], USE_TEST_SIZE, "%s", rows[i].text);
		use_understand(&use, FUNCTION_FARAD, &one);
		if (one.frequency != rows[i].hertz || one.volts != rows[i].volts ||
		    one.method != rows[i].method)
			note_row("\"%s\": %g Hz, %g V, %d", rows[i].text, one.frequency, one.volts,
			         (int)one.method);
		assert_near(one.frequency, rows[i].hertz, 1e-9);
		assert_near(one.volts, rows[i].volts, 1e-12);
		assert_int_equal(one.method, rows[i].method);
		use_understand(&use, FUNCTION_OHM, &one); /* said of farad alone */
		assert_true(one.frequency == 0 && one.method == METHOD_UNKNOWN);
	}
}

static void limits(void **state)
{
	(void)state;
#define V FUNCTION_VOLT_AC
#define F FUNCTION_FARAD
	static const struct {
		const char *what;
		struct use use;
		enum kind kind;
		const char *role;
		double nominal, rated;
		enum quantity quantity;
		enum function function;
		const char *why; /* a word of it; NULL: it may be judged */
	} rows[] = {
	    {"nothing is known of the meter", {.input = 0}, KIND_RAIL, "ripple", 0, 0, QUANTITY_VOLTS, V, NULL},
	    {"average on ripple", {.ac = AC_AVERAGE}, KIND_OTHER, "ripple of B+", 0, 0, QUANTITY_VOLTS, V, "average"},
	    {"average on a heater's sine", {.ac = AC_AVERAGE}, KIND_HEATER, "", 0, 0, QUANTITY_VALUE, V, NULL},
	    {"rms on ripple", {.ac = AC_RMS}, KIND_OTHER, "ripple", 0, 0, QUANTITY_VOLTS, V, NULL},
	    {"rms of a small crest factor", {.ac = AC_RMS, .crest = 1.5}, KIND_OTHER, "hum", 0, 0, QUANTITY_VOLTS, V, "crest"},
	    {"rms of crest factor 3", {.ac = AC_RMS, .crest = 3}, KIND_OTHER, "hum", 0, 0, QUANTITY_VOLTS, V, NULL},
	    {"10 kHz by 1 kHz", {.bandwidth = 1000}, KIND_OTHER, "output 10 kHz", 0, 0, QUANTITY_VOLTS, V, "bandwidth"},
	    {"1 kHz by 1 kHz", {.bandwidth = 1000}, KIND_OTHER, "output 1 kHz", 0, 0, QUANTITY_VOLTS, V, NULL},
	    {"ripple of 100 Hz by 60 Hz", {.bandwidth = 60}, KIND_RAIL, "", 0, 0, QUANTITY_VOLTS, V, "bandwidth"},
	    {"an unknown frequency", {.bandwidth = 60}, KIND_OTHER, "output", 0, 0, QUANTITY_VOLTS, V, NULL},
	    {"direct volts have no bandwidth", {.bandwidth = 1}, KIND_RAIL, "", 0, 0, QUANTITY_VOLTS, FUNCTION_VOLT_DC, NULL},
	    {"electrolytic at 10 kHz", {.frequency = 1e4}, KIND_ELECTROLYTIC, "", 32e-6, 450, QUANTITY_VALUE, F, "another part"},
	    {"electrolytic at 1 kHz", {.frequency = 1e3}, KIND_ELECTROLYTIC, "", 32e-6, 450, QUANTITY_VALUE, F, NULL},
	    {"film at 10 kHz", {.frequency = 1e4}, KIND_FILM, "", 1e-7, 400, QUANTITY_VALUE, F, NULL},
	    {"ESR at 120 Hz", {.frequency = 120}, KIND_ELECTROLYTIC, "", 32e-6, 450, QUANTITY_ESR, FUNCTION_OHM, "ESR"},
	    {"ESR at 100 kHz", {.frequency = 1e5}, KIND_ELECTROLYTIC, "", 32e-6, 450, QUANTITY_ESR, FUNCTION_OHM, NULL},
	    {"losses by a ramp", {.method = METHOD_RAMP}, KIND_FILM, "", 1e-7, 400, QUANTITY_DISSIPATION, FUNCTION_NUMBER, "ramp"},
	    {"insulation with 1 V", {.volts = 1}, KIND_PAPER, "", 1e-7, 400, QUANTITY_INSULATION, FUNCTION_OHM, "working volts"},
	    {"insulation with 500 V", {.volts = 500}, KIND_PAPER, "", 1e-7, 400, QUANTITY_INSULATION, FUNCTION_OHM, NULL},
	    {"a resistor measured with 1 V", {.volts = 1}, KIND_RESISTOR, "", 1e5, 0, QUANTITY_VALUE, FUNCTION_OHM, NULL},
	    {"earthed input across a resistor", {.isolated = ANSWER_NO}, KIND_RESISTOR, "", 1e5, 0, QUANTITY_VOLTS, FUNCTION_VOLT_DC, "earth"},
	    {"earthed input at a rail", {.isolated = ANSWER_NO}, KIND_RAIL, "", 285, 0, QUANTITY_VOLTS, FUNCTION_VOLT_DC, NULL},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct position p = {.kind = rows[i].kind, .has_nominal = rows[i].nominal > 0,
		                     .has_rated = rows[i].rated > 0};
		struct use_doubt doubt;
		p.nominal = decimal_from_double(rows[i].nominal, 6);
		p.rated = decimal_from_double(rows[i].rated, 6);
		snprintf(p.role, sizeof p.role, "%s", rows[i].role);
		bool out = use_outside(&rows[i].use, &p, rows[i].quantity, rows[i].function, &doubt);
		if (out != (rows[i].why != NULL) || (out && !strstr(doubt.why, rows[i].why)))
			note_row("%s: %d, \"%s\"", rows[i].what, out, doubt.why);
		assert_int_equal(out, rows[i].why != NULL);
		assert_true(!out || (strstr(doubt.why, rows[i].why) && doubt.next[0]));
	}
}

static void loading(void **state)
{
	(void)state;
	struct position p = {.kind = KIND_VALVE, .has_source = true, .source = {1, 6}};
	struct use use = {.input = 10e6};
	assert_near(use_loading(&use, &p, FUNCTION_VOLT_DC, 100), 10, 1e-9);
	assert_near(use_loading(&use, &p, FUNCTION_VOLT_DC, -100), 10, 1e-9);
	use.input = 0; /* nobody said: 10 Mohm */
	assert_near(use_loading(&use, &p, FUNCTION_VOLT_DC, 100), 10, 1e-9);
	use.input = 1e9;
	assert_near(use_loading(&use, &p, FUNCTION_VOLT_DC, 100), 0.1, 1e-9);
	assert_near(use_loading(&use, &p, FUNCTION_OHM, 100), 0, 0);
	p.has_source = false;
	assert_near(use_loading(&use, &p, FUNCTION_VOLT_DC, 100), 0, 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(texts), cmocka_unit_test(limits), cmocka_unit_test(loading),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
