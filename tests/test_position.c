/* SPDX-License-Identifier: MIT */
/* Names and kinds of positions; tolerances as written and the limits they make. */
#include "protocol/trade/position.h"
#include "tests/check.h"

#include <stdlib.h>

#define P TOLERANCE_PERCENT
#define ABS TOLERANCE_ABSOLUTE
#define GE TOLERANCE_AT_LEAST
#define LE TOLERANCE_AT_MOST
#define OHM FUNCTION_OHM
#define FARAD FUNCTION_FARAD
#define VDC FUNCTION_VOLT_DC
#define NO FUNCTION_NONE

static void names(void **state)
{
	(void)state;
	assert_true(name_valid("R12", 3));
	assert_true(name_valid("L/R12", 5));
	assert_true(name_valid("1", 1));
	assert_true(name_valid("a.b_c/d-e", 9));
	assert_true(name_valid("ABCDEFGHIJKLMNOPQRSTUVWXYZ012345", 32));
	assert_false(name_valid("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456", 33));
	assert_false(name_valid("", 0));
	assert_false(name_valid("/R1", 3));
	assert_false(name_valid("-R1", 3));
	assert_false(name_valid("R 1", 3));
	assert_false(name_valid("R1\0x", 4));
	assert_false(name_valid("R\xC3\xA9", 3));
}

static void kinds(void **state)
{
	(void)state;
	for (int i = 0; i < KIND_COUNT; i++) {
		enum kind k;
		const char *name = kind_name((enum kind)i);
		assert_true(kind_from_name(name, strlen(name), &k));
		assert_int_equal(k, i);
	}
	enum kind k;
	assert_false(kind_from_name("resist", 6, &k));
	assert_int_equal(kind_function(KIND_PAPER), FARAD);
	assert_int_equal(kind_function(KIND_RAIL), VDC);
	assert_int_equal(kind_function(KIND_OTHER), NO);
	static const struct {
		const char *name;
		enum kind kind;
	} rows[] = {
	    {"R12", KIND_RESISTOR},     {"C7", KIND_CAPACITOR},   {"VR1", KIND_POT},
	    {"P3", KIND_POT},           {"RV2", KIND_POT},        {"L1", KIND_WINDING},
	    {"T2", KIND_WINDING},       {"V3", KIND_VALVE},       {"D1", KIND_RECTIFIER},
	    {"F1", KIND_FUSE},          {"S1", KIND_SWITCH},      {"SW2", KIND_SWITCH},
	    {"L/R12", KIND_RESISTOR},   {"B-C7", KIND_CAPACITOR}, {"A/B/V1", KIND_VALVE},
	    {"L-R12", KIND_RESISTOR},   {"C7-a", KIND_CAPACITOR}, {"r12", KIND_RESISTOR},
	    {"Rk1", KIND_RESISTOR},     {"Cc1", KIND_CAPACITOR},  {"TP4", KIND_RAIL},
	    {"RAIL1", KIND_RAIL},       {"HTR2", KIND_HEATER},
	    {"HT1", KIND_RAIL},         {"7", KIND_OTHER},        {"REF1", KIND_REFERENCE},
	    {"speaker", KIND_OTHER},    {"X1", KIND_OTHER},       {"L/", KIND_OTHER},
	    {"", KIND_OTHER},           {"chassis", KIND_OTHER},  {"R", KIND_RESISTOR},
	    {"T-1", KIND_WINDING},      {"HT.2", KIND_RAIL},      {"B.C7", KIND_CAPACITOR},
	    {"resistors1", KIND_OTHER},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		enum kind got = kind_from_position(rows[i].name);
		if (got != rows[i].kind)
			note_row("%s -> %s", rows[i].name, kind_name(got));
		assert_int_equal(got, rows[i].kind);
	}
}

static const struct {
	const char *text;
	enum function f;
	enum tolerance_form form;
	struct decimal low, high;
	const char *shown;
} good[] = {
    {"5%", OHM, P, {-5, 0}, {5, 0}, "5%"},
    {"5", OHM, P, {-5, 0}, {5, 0}, "5%"},
    {"0.5 %", OHM, P, {-5, -1}, {5, -1}, "0.5%"},
    {"+-5 %", OHM, P, {-5, 0}, {5, 0}, "5%"},
    {"+/-5%", OHM, P, {-5, 0}, {5, 0}, "5%"},
    {"\xC2\xB1" "5%", OHM, P, {-5, 0}, {5, 0}, "5%"},
    {"-20/+80%", FARAD, P, {-20, 0}, {80, 0}, "-20/+80%"},
    {"+80/-20%", FARAD, P, {-20, 0}, {80, 0}, "-20/+80%"},
    {"-20%/+80%", FARAD, P, {-20, 0}, {80, 0}, "-20/+80%"},
    {"-20% +80%", FARAD, P, {-20, 0}, {80, 0}, "-20/+80%"},
    {"-20%/+80", FARAD, P, {-20, 0}, {80, 0}, "-20/+80%"},
    {"-10 +10 %", OHM, P, {-10, 0}, {10, 0}, "10%"},
    {"-10+50%", FARAD, P, {-10, 0}, {50, 0}, "-10/+50%"},
    {"-0/+100%", FARAD, P, {0, 0}, {100, 0}, "-0/+100%"},
    {"\xE2\x88\x92" "20/+50 %", FARAD, P, {-20, 0}, {50, 0}, "-20/+50%"},
    {"+-2 V", VDC, ABS, {-2, 0}, {2, 0}, "+-2 V"},
    {"2V", VDC, ABS, {-2, 0}, {2, 0}, "+-2 V"},
    {"-1/+2 V", VDC, ABS, {-1, 0}, {2, 0}, "-1/+2 V"},
    {"-1V/+2V", VDC, ABS, {-1, 0}, {2, 0}, "-1/+2 V"},
    {"-500mV/+2V", VDC, ABS, {-500, -3}, {2, 0}, "-0.500/+2 V"},
    {"+-2k", OHM, ABS, {-2, 3}, {2, 3}, "+-2 kohm"},
    {"+-4k7", OHM, ABS, {-47, 2}, {47, 2}, "+-4.7 kohm"},
    {"+-0.5 pF", FARAD, ABS, {-5, -13}, {5, -13}, "+-0.5 pF"},
    {">=20M", OHM, GE, {20, 6}, {0, 0}, ">=20 Mohm"},
    {">= 20 Mohm", OHM, GE, {20, 6}, {0, 0}, ">=20 Mohm"},
    {"\xE2\x89\xA5" "20M", OHM, GE, {20, 6}, {0, 0}, ">=20 Mohm"},
    {"<=0.1", OHM, LE, {0, 0}, {1, -1}, "<=100 mohm"},
    {"\xE2\x89\xA4" "0.1", NO, LE, {0, 0}, {1, -1}, "<=0.1"},
    {">=-5 V", VDC, GE, {-5, 0}, {0, 0}, ">=-5 V"},
    {"", OHM, TOLERANCE_NONE, {0, 0}, {0, 0}, ""},
    {"  ", OHM, TOLERANCE_NONE, {0, 0}, {0, 0}, ""},
    /* letters of IEC 60062, from tables of the trade; E L P W N Q T S from memory */
    {"E", OHM, P, {-5, -3}, {5, -3}, "0.005%"},
    {"L", OHM, P, {-1, -2}, {1, -2}, "0.01%"},
    {"P", OHM, P, {-2, -2}, {2, -2}, "0.02%"},
    {"W", OHM, P, {-5, -2}, {5, -2}, "0.05%"},
    {"A", OHM, P, {-5, -2}, {5, -2}, "0.05%"},
    {"B", OHM, P, {-1, -1}, {1, -1}, "0.1%"},
    {"C", OHM, P, {-25, -2}, {25, -2}, "0.25%"},
    {"D", OHM, P, {-5, -1}, {5, -1}, "0.5%"},
    {"F", OHM, P, {-1, 0}, {1, 0}, "1%"},
    {"G", OHM, P, {-2, 0}, {2, 0}, "2%"},
    {"H", OHM, P, {-3, 0}, {3, 0}, "3%"},
    {"J", OHM, P, {-5, 0}, {5, 0}, "5%"},
    {"K", OHM, P, {-10, 0}, {10, 0}, NULL},
    {"M", OHM, P, {-20, 0}, {20, 0}, NULL},
    {"N", OHM, P, {-30, 0}, {30, 0}, NULL},
    {"Q", FARAD, P, {-10, 0}, {30, 0}, "-10/+30%"},
    {"T", FARAD, P, {-10, 0}, {50, 0}, "-10/+50%"},
    {"S", FARAD, P, {-20, 0}, {50, 0}, "-20/+50%"},
    {"Z", FARAD, P, {-20, 0}, {80, 0}, "-20/+80%"},
    {"k", OHM, P, {-10, 0}, {10, 0}, "10%"},
};

static const struct {
	const char *text;
	enum function f;
	int column;
} bad[] = {
    {"five", OHM, 1},     {"X", OHM, 1},        {"Z", OHM, 1},        {"+20%", OHM, 2},
    {"-5%", OHM, 2},      {"20/80%", OHM, 4},   {"-5%/+2V", VDC, 6},  {"+-2 F", VDC, 4},
    {">=", OHM, 3},       {">=20 F", OHM, 5},   {"0%", OHM, 1},       {"5%%", OHM, 3},
    {"1001%", OHM, 1},    {"-20/+80/+5%", OHM, 9}, {"-20/", OHM, 5},  {"+-5,5%", OHM, 4},
    {"--5", OHM, 2},      {"  >=x", OHM, 5},    {"-4/+4k7", OHM, 2},
};

static void tolerances(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof good / sizeof *good; i++) {
		struct tolerance t, again;
		struct fault why = {"", "", 0, 0};
		bool ok = tolerance_parse(good[i].text, strlen(good[i].text), good[i].f, &t, &why);
		bool same = ok && t.form == good[i].form && decimal_compare(t.low, good[i].low) == 0 &&
		            decimal_compare(t.high, good[i].high) == 0;
		if (!same)
			note_row("\"%s\": %s", good[i].text, ok ? "read as something else" : why.text);
		assert_true(same);
		char text[128];
		size_t n = tolerance_shown(&t, good[i].f, text, sizeof text);
		if (good[i].shown)
			assert_string_equal(text, good[i].shown);
		/* what is shown reads back as the same */
		assert_true(tolerance_parse(text, n, good[i].f, &again, &why));
		assert_int_equal(again.form, t.form);
		assert_int_equal(decimal_compare(again.low, t.low), 0);
		assert_int_equal(decimal_compare(again.high, t.high), 0);
	}
}

static void refused_tolerances(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
		struct tolerance t = {LE, {7, 7}, {7, 7}};
		struct fault why = {"", "", 0, 0};
		bool ok = tolerance_parse(bad[i].text, strlen(bad[i].text), bad[i].f, &t, &why);
		if (ok || why.column != bad[i].column)
			note_row("\"%s\": %s, column %d", bad[i].text, ok ? "was read" : why.text, why.column);
		assert_false(ok);
		assert_int_equal(why.column, bad[i].column);
		assert_true(t.form == LE && t.low.n == 7);
	}
}

static uint64_t seed = 0x5eed;
static uint64_t draw(void)
{
	seed ^= seed << 13;
	seed ^= seed >> 7;
	seed ^= seed << 17;
	return seed;
}

static void survives_prefixes_and_noise(void **state)
{
	(void)state;
	static const char alphabet[] = "0123456789.+-/% KkMVF<>=\xC2\xB1\xE2\x89\xA5\x88\x92";
	for (int round = 0; round < 100000; round++) {
		char text[24];
		size_t len = 0;
		if (round < (int)(sizeof good / sizeof *good)) {
			len = strlen(good[round].text);
			memcpy(text, good[round].text, len);
		} else {
			len = draw() % sizeof text;
			for (size_t i = 0; i < len; i++)
				text[i] = alphabet[draw() % sizeof alphabet];
		}
		for (size_t cut = round < 100 ? 0 : len; cut <= len; cut++) {
			char *exact = malloc(cut ? cut : 1);
			assert_non_null(exact);
			memcpy(exact, text, cut);
			struct tolerance t;
			struct fault why = {"", "", 0, 0};
			if (!tolerance_parse(exact, cut, (enum function)(draw() % FUNCTION_COUNT), &t, &why))
				assert_true(why.column >= 1 && why.column <= (int)cut + 1);
			free(exact);
		}
	}
}

static struct limits limits_of(const char *text, enum function f, bool has, struct decimal nominal)
{
	struct tolerance t;
	struct fault why;
	struct limits l;
	assert_true(tolerance_parse(text, strlen(text), f, &t, &why));
	assert_true(limits_from(&t, has, nominal, &l));
	return l;
}

static void assert_limits(struct limits l, bool has_low, struct decimal low, bool has_high,
                          struct decimal high)
{
	assert_int_equal(l.has_low, has_low);
	assert_int_equal(l.has_high, has_high);
	if (has_low)
		assert_int_equal(decimal_compare(l.low, low), 0);
	if (has_high)
		assert_int_equal(decimal_compare(l.high, high), 0);
}

#define D(n, e) ((struct decimal){n, e})

static void limits_are_exact(void **state)
{
	(void)state;
	assert_limits(limits_of("10%", FARAD, true, D(47, -8)), true, D(423, -9), true, D(517, -9));
	assert_limits(limits_of("-20/+80%", FARAD, true, D(100, -6)), true, D(80, -6), true,
	              D(180, -6));
	assert_limits(limits_of("5%", OHM, true, D(4700, 0)), true, D(4465, 0), true, D(4935, 0));
	assert_limits(limits_of("+-2 V", VDC, true, D(0, 0)), true, D(-2, 0), true, D(2, 0));
	/* a negative nominal: low is the more negative */
	assert_limits(limits_of("10%", VDC, true, D(-35, 0)), true, D(-385, -1), true, D(-315, -1));
	assert_limits(limits_of("-10/+20%", VDC, true, D(-35, 0)), true, D(-42, 0), true,
	              D(-315, -1));
	assert_limits(limits_of("-1/+2 V", VDC, true, D(-35, 0)), true, D(-36, 0), true, D(-33, 0));
	assert_limits(limits_of(">=20M", OHM, false, D(0, 0)), true, D(20, 6), false, D(0, 0));
	assert_limits(limits_of("<=0.1", OHM, false, D(0, 0)), false, D(0, 0), true, D(1, -1));
	struct tolerance t;
	struct fault why;
	struct limits l;
	assert_true(tolerance_parse("5%", 2, OHM, &t, &why));
	assert_false(limits_from(&t, false, D(0, 0), &l));
	assert_false(limits_from(&t, true, D(0, 0), &l)); /* percent of zero says nothing */
	assert_true(tolerance_parse("", 0, OHM, &t, &why));
	assert_false(limits_from(&t, true, D(1, 0), &l));
}

/* The limits are the nominal scaled: the same in every decade, and wider for a
 * wider tolerance. */
static void limits_scale(void **state)
{
	(void)state;
	for (int round = 0; round < 20000; round++) {
		int64_t n = (int64_t)(draw() % 9999) + 1, p = (int64_t)(draw() % 900) + 1;
		int e = (int)(draw() % 18) - 12, shift = (int)(draw() % 12) - 6;
		struct tolerance t = {P, {-p, -1}, {p, -1}}, wider = {P, {-p - 1, -1}, {p + 1, -1}};
		struct limits l, m, w;
		assert_true(limits_from(&t, true, D(n, e), &l));
		assert_true(limits_from(&t, true, D(n, e + shift), &m));
		m.low.e -= shift;
		m.high.e -= shift;
		assert_int_equal(decimal_compare(l.low, m.low), 0);
		assert_int_equal(decimal_compare(l.high, m.high), 0);
		assert_int_equal(decimal_compare(l.low, D(n * (1000 - p), e - 3)), 0);
		assert_int_equal(decimal_compare(l.high, D(n * (1000 + p), e - 3)), 0);
		assert_true(limits_from(&wider, true, D(n, e), &w));
		assert_true(decimal_compare(w.low, l.low) < 0 && decimal_compare(w.high, l.high) > 0);
	}
}

/* IEC 60062 4.3 (F and G from memory): below 10 pF a letter counts picofarads. */
static void small_letters(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		struct decimal nominal;
		enum function f;
		enum tolerance_form form;
		double half;
	} rows[] = {
	    {"B", {56, -13}, FARAD, ABS, 0.1e-12}, {"C", {56, -13}, FARAD, ABS, 0.25e-12},
	    {" d ", {47, -13}, FARAD, ABS, 0.5e-12}, {"F", {999, -14}, FARAD, ABS, 1e-12},
	    {"G", {1, -12}, FARAD, ABS, 2e-12},   {"C", {10, -12}, FARAD, P, 0.25},
	    {"J", {56, -13}, FARAD, P, 5},        {"C", {56, -1}, OHM, P, 0.25},
	    {"0.25%", {56, -13}, FARAD, P, 0.25}, {"C", {0, 0}, FARAD, P, 0.25},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct tolerance t;
		struct fault why;
		note_row("%s", rows[i].text);
		assert_true(tolerance_parse_for(rows[i].text, strlen(rows[i].text), rows[i].f,
		                                rows[i].nominal.n > 0, rows[i].nominal, &t, &why));
		assert_int_equal(t.form, rows[i].form);
		assert_near_relative(decimal_double(t.high), rows[i].half, 1e-12);
		assert_near_relative(decimal_double(t.low), -rows[i].half, 1e-12);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(names),
	    cmocka_unit_test(kinds),
	    cmocka_unit_test(tolerances),
	    cmocka_unit_test(refused_tolerances),
	    cmocka_unit_test(survives_prefixes_and_noise),
	    cmocka_unit_test(limits_are_exact),
	    cmocka_unit_test(limits_scale),
	    cmocka_unit_test(small_letters),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
