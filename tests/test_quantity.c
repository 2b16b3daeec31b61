/* SPDX-License-Identifier: MIT */
/* Functions, units and values as written; readings and entries in words. */
#include "protocol/trade/entry.h"
#include "protocol/trade/quantity.h"
#include "protocol/trade/reading.h"
#include "tests/check.h"

#include <stdlib.h>

static uint64_t seed = 0x89abcdef;
static uint64_t draw(void)
{
	seed ^= seed << 13;
	seed ^= seed >> 7;
	seed ^= seed << 17;
	return seed;
}

#define OHM FUNCTION_OHM
#define FARAD FUNCTION_FARAD
#define VDC FUNCTION_VOLT_DC
#define VAC FUNCTION_VOLT_AC
#define NO FUNCTION_NONE

static const struct {
	const char *text;
	enum function hint;
	int64_t n;
	int e;
	enum function f;
} good[] = {
    /* letter-and-digit codes, IEC 60062 as tables of the trade give them; the
     * capacitor rows and the sizes beyond mega are from memory */
    {"R47", OHM, 47, -2, OHM},
    {"470R", OHM, 470, 0, OHM},
    {"4K7", OHM, 47, 2, OHM},
    {"47K3", OHM, 473, 2, OHM},
    {"470K", OHM, 470, 3, OHM},
    {"1M0", OHM, 10, 5, OHM},
    {"2K2", OHM, 22, 2, OHM},
    {"10R0", OHM, 100, -1, OHM},
    {"R1", OHM, 1, -1, OHM},
    {"10G", OHM, 10, 9, OHM},
    {"1T0", OHM, 10, 11, OHM},
    {"3p3", FARAD, 33, -13, FARAD},
    {"33p", FARAD, 33, -12, FARAD},
    {"330p", FARAD, 330, -12, FARAD},
    {"4n7", FARAD, 47, -10, FARAD},
    {"u33", FARAD, 33, -8, FARAD},
    {"3u3", FARAD, 33, -7, FARAD},
    {"3m3", FARAD, 33, -4, FARAD},
    /* as sheets say it */
    {"4k7", OHM, 47, 2, OHM},
    {"470n", FARAD, 470, -9, FARAD},
    {"0.47 uF", FARAD, 47, -8, FARAD},
    {"100 kohm", OHM, 100, 3, OHM},
    {"1M", OHM, 1, 6, OHM},
    {"285 V", VDC, 285, 0, VDC},
    {"-35 V", VDC, -35, 0, VDC},
    {"0 V", VDC, 0, 0, VDC},
    {"4R7", NO, 47, -1, OHM},
    {"10 Mohm", NO, 10, 6, OHM},
    {"10 m", OHM, 10, -3, OHM},
    {"1 meg", OHM, 1, 6, OHM},
    {"100k", NO, 100, 3, NO},
    {"0.047", FARAD, 47, -3, FARAD},
    {"6.3 V AC", VAC, 63, -1, VAC},
    {"6.3V", VAC, 63, -1, VAC},
    {"6.3 VAC", NO, 63, -1, VAC},
    {"6.3", NO, 63, -1, NO},
    {"42 mA", NO, 42, -3, FUNCTION_AMP_DC},
    {"0.6 V", FUNCTION_DIODE, 6, -1, FUNCTION_DIODE},
    {"5V6", VDC, 56, -1, VDC},
    {"10 H", NO, 10, 0, FUNCTION_HENRY},
    {"1 kHz", NO, 1, 3, FUNCTION_HERTZ},
    {"21 C", NO, 21, 0, FUNCTION_CELSIUS},
    {"5 %", NO, 5, 0, FUNCTION_PERCENT},
    {"0.1 \xC2\xB5" "F", FARAD, 1, -7, FARAD},
    {"0.1\xCE\xBC" "F", NO, 1, -7, FARAD},
    {"4\xCE\xBC" "7", FARAD, 47, -7, FARAD},
    {"100 k\xCE\xA9", NO, 100, 3, OHM},
    {"100 k\xE2\x84\xA6", NO, 100, 3, OHM},
    {"\xE2\x88\x92" "35 V", NO, -35, 0, VDC},
    {"+4k7 ohm", OHM, 47, 2, OHM},
    {"3.45e-07", FARAD, 345, -9, FARAD},
    {"1e3 kohm", OHM, 1, 6, OHM},
    {" 4.70 k ", OHM, 470, 1, OHM},
    {"100nF", FARAD, 100, -9, FARAD},
    {"100 nf", FARAD, 100, -9, FARAD},
};

static const struct {
	const char *text;
	enum function hint;
	int column;
} bad[] = {
    {"", OHM, 1},           {"k", OHM, 1},          {"4,7k", OHM, 2},      {"4k7,", OHM, 4},
    {"4k7k", OHM, 4},       {"0.47 uF", OHM, 5},    {"4R7", FARAD, 4},     {"4R7 V", NO, 5},
    {"6.3 V AC", VDC, 4},   {"1M", FARAD, 2},       {"0.1 MF", FARAD, 4},  {"4x7", OHM, 2},
    {"--4", OHM, 2},        {"4E7", OHM, 1},        {"5 m%", NO, 2},
	    {"1234567890123456789", OHM, 1},
    {"1e40M", OHM, 5},      {"4.7k3", OHM, 5},      {"R", OHM, 1},         {"ohm", OHM, 1},
    {"OL", OHM, 1},         {"4 7k", OHM, 3},       {"1 P", FARAD, 3},     {"12 U", FARAD, 4},
    {"6.3 V DC", VAC, 4},   {"3 apples", NO, 4},    {"5 kg", NO, 4},
};

static void parses_values(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof good / sizeof *good; i++) {
		struct decimal d = {0, 0};
		enum function f = NO;
		struct fault why;
		bool ok = quantity_parse(good[i].text, strlen(good[i].text), good[i].hint, &d, &f, &why);
		if (!ok || d.n != good[i].n || d.e != good[i].e || f != good[i].f)
			note_row("%s: %s, %lld e%d %s", good[i].text, ok ? "read" : why.text, (long long)d.n,
			         d.e, function_name(f));
		assert_true(ok && d.n == good[i].n && d.e == good[i].e && f == good[i].f);
	}
}

static void refuses_with_a_column(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
		struct decimal d = {77, 7};
		enum function f = FUNCTION_HERTZ;
		struct fault why = {"", "", 0, 0};
		bool ok = quantity_parse(bad[i].text, strlen(bad[i].text), bad[i].hint, &d, &f, &why);
		if (ok || why.column != bad[i].column)
			note_row("\"%s\": %s, column %d", bad[i].text, ok ? "was read" : why.text, why.column);
		assert_false(ok);
		assert_int_equal(why.column, bad[i].column);
		assert_true(why.text[0] != '\0');
		assert_true(d.n == 77 && f == FUNCTION_HERTZ); /* left alone */
	}
}

static void try_bytes(const char *text, size_t len, enum function hint)
{
	char *exact = malloc(len ? len : 1);
	assert_non_null(exact);
	memcpy(exact, text, len);
	struct decimal d;
	enum function f;
	struct fault why = {"", "", 0, 0};
	if (quantity_parse(exact, len, hint, &d, &f, &why)) {
		assert_true(d.e >= DECIMAL_EXP_MIN && d.e <= DECIMAL_EXP_MAX);
		assert_true(hint == NO || f == hint);
	} else {
		assert_true(why.column >= 1 && why.column <= (int)len + 1);
	}
	free(exact);
}

static void survives_prefixes_and_noise(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof good / sizeof *good; i++)
		for (size_t len = 0; len <= strlen(good[i].text); len++)
			try_bytes(good[i].text, len, good[i].hint);
	static const char alphabet[] = "0123456789.eE+-kKmMunpGTRVFAhoCz% "
	                               "\xC2\xB5\xCE\xA9\xBC\xE2\x84\xA6,";
	for (int round = 0; round < 200000; round++) {
		char text[24];
		size_t len = draw() % sizeof text;
		for (size_t i = 0; i < len; i++)
			text[i] = round % 4 ? alphabet[draw() % sizeof alphabet] : (char)draw();
		try_bytes(text, len, (enum function)(draw() % FUNCTION_COUNT));
	}
}

static void shows_values(void **state)
{
	(void)state;
	static const struct {
		struct decimal d;
		enum function f;
		int prefix;
		const char *want;
	} rows[] = {
	    {{345, -9}, FARAD, -6, "0.345 uF"},    {{4812, -1}, OHM, 3, "0.4812 kohm"},
	    {{470, -2}, OHM, 0, "4.70 ohm"},       {{1, 6}, OHM, 6, "1 Mohm"},
	    {{1, 6}, OHM, 3, "1000 kohm"},         {{-1234, -5}, VDC, -3, "-12.34 mV"},
	    {{0, -3}, VDC, 0, "0.000 V"},          {{50, -1}, FUNCTION_PERCENT, -3, "5.0 %"},
	    {{215, -1}, FUNCTION_CELSIUS, 3, "21.5 C"}, {{12, 0}, FUNCTION_NUMBER, 3, "12"},
	    {{5000, -1}, FUNCTION_HERTZ, 0, "500.0 Hz"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		char text[80];
		size_t n = quantity_shown(rows[i].d, rows[i].f, rows[i].prefix, text, sizeof text);
		assert_string_equal(text, rows[i].want);
		assert_int_equal(n, strlen(text));
	}
	char tiny[4];
	assert_int_equal(quantity_shown((struct decimal){345, -9}, FARAD, -6, tiny, sizeof tiny), 3);
	assert_int_equal(quantity_shown((struct decimal){345, -9}, FARAD, -6, tiny, 0), 0);
}

static void chooses_prefixes(void **state)
{
	(void)state;
	static const struct {
		struct decimal d;
		enum function f;
		int want;
	} rows[] = {
	    {{47, 2}, OHM, 3},   {{999, 0}, OHM, 0},  {{1000, 0}, OHM, 3}, {{1, 6}, OHM, 6},
	    {{47, -8}, FARAD, -9}, {{1, -6}, FARAD, -6}, {{5, -13}, FARAD, -12}, {{0, 3}, OHM, 0},
	    {{-35, 0}, VDC, 0},  {{-35, -3}, VDC, -3}, {{5, 3}, FUNCTION_PERCENT, 0},
	    {{1, 20}, OHM, 12},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
		assert_int_equal(quantity_prefix(rows[i].d, rows[i].f), rows[i].want);
}

/* What is shown reads back as the same value, whatever the digits. */
/* Bounds: with the unit of their function, else with the prefix where the bare number is hard to read. */
static void shows_bounds(void **state)
{
	(void)state;
	static const struct {
		struct decimal d;
		enum function f;
		const char *want;
	} rows[] = {
	    {{20, 6}, FUNCTION_NUMBER, "20M"},     {{20, 6}, FUNCTION_NONE, "20M"},
	    {{20000000, 0}, FUNCTION_NONE, "20M"}, {{2, 7}, FUNCTION_NONE, "20M"},
	    {{-20, 6}, FUNCTION_NONE, "-20M"},     {{20, 6}, FUNCTION_OHM, "20 Mohm"},
	    {{10000, 0}, FUNCTION_NUMBER, "10k"},  {{9999, 0}, FUNCTION_NUMBER, "9999"},
	    {{1, -1}, FUNCTION_NUMBER, "0.1"},     {{1, -2}, FUNCTION_NUMBER, "0.01"},
	    {{5, -3}, FUNCTION_NONE, "5m"},        {{47, -9}, FUNCTION_NONE, "47n"},
	    {{0, 0}, FUNCTION_NONE, "0"},          {{20000, 0}, FUNCTION_PERCENT, "20000 %"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		char text[60];
		size_t n = bound_shown(rows[i].d, rows[i].f, text, sizeof text);
		assert_string_equal(text, rows[i].want);
		assert_int_equal(n, strlen(text));
		struct decimal back;
		enum function f = FUNCTION_NONE;
		struct fault why;
		if (rows[i].f == FUNCTION_NONE) {
			assert_true(quantity_parse(text, n, FUNCTION_NONE, &back, &f, &why));
			assert_int_equal(decimal_compare(back, rows[i].d), 0);
		}
	}
}

static void shown_reads_back(void **state)
{
	(void)state;
	static const enum function fs[] = {OHM, FARAD, VDC, VAC, FUNCTION_AMP_DC, FUNCTION_HERTZ,
	                                   FUNCTION_HENRY, FUNCTION_DIODE};
	for (int round = 0; round < 20000; round++) {
		struct decimal d = {(int64_t)(draw() % 1000000) + 1, (int)(draw() % 12) - 12}, back;
		enum function f = fs[draw() % (sizeof fs / sizeof *fs)], g;
		if (f == FARAD) /* kilofarads are refused */
			d.e -= 4;
		char text[128];
		struct fault why;
		size_t n = quantity_shown(d, f, quantity_prefix(d, f), text, sizeof text);
		assert_true(quantity_parse(text, n, f, &back, &g, &why));
		assert_int_equal(decimal_compare(d, back), 0);
		assert_int_equal(g, f);
	}
}

static void names_go_both_ways(void **state)
{
	(void)state;
	for (int i = 0; i < FUNCTION_COUNT; i++) {
		enum function f;
		const char *name = function_name((enum function)i);
		assert_true(function_from_name(name, strlen(name), &f));
		assert_int_equal(f, i);
		assert_false(function_from_name(name, strlen(name) - 1, &f));
	}
	for (int i = 0; i < QUANTITY_COUNT; i++) {
		enum quantity q;
		const char *name = quantity_name((enum quantity)i);
		assert_true(quantity_from_name(name, strlen(name), &q));
		assert_int_equal(q, i);
	}
	for (int i = 0; i < CONDITION_COUNT; i++) {
		enum condition c;
		const char *name = condition_name((enum condition)i);
		assert_true(condition_from_name(name, strlen(name), &c));
		assert_int_equal(c, i);
	}
	for (int i = 0; i < REACH_COUNT; i++) {
		enum reach r;
		const char *name = reach_name((enum reach)i);
		assert_true(reach_from_name(name, strlen(name), &r));
		assert_int_equal(r, i);
	}
	assert_string_equal(reach_name(REACH_IN_CIRCUIT), "in-circuit");
	assert_string_equal(source_name(SOURCE_TYPED), "typed");
	assert_string_equal(function_name(FUNCTION_VOLT_DC), "volt-dc");
	assert_string_equal(function_unit(FUNCTION_OHM), "ohm");
	assert_string_equal(function_words(FUNCTION_FARAD), "farads");
	enum condition c;
	assert_false(condition_from_name("old", 3, &c));
	int e;
	for (const char *p = "pnumkMGT"; *p; p++) {
		assert_true(prefix_exponent(*p, &e));
		assert_int_equal(prefix_letter(e), *p);
	}
	assert_true(prefix_exponent('K', &e) && e == 3);
	assert_true(prefix_exponent('\0', &e) && e == 0);
	assert_false(prefix_exponent('U', &e));
	assert_false(prefix_exponent('x', &e));
	assert_int_equal(prefix_letter(0), '\0');
	assert_int_equal(prefix_letter(1), '\0');
}

static void readings_in_words(void **state)
{
	(void)state;
	char text[80];
	struct reading r = {.function = OHM, .has_value = true, .value = {4812, -1}, .prefix = 3};
	reading_shown(&r, text, sizeof text);
	assert_string_equal(text, "0.4812 kohm");
	struct reading over = {.function = OHM, .state = READING_OVERLOAD | READING_LOW_BATTERY};
	assert_int_equal(reading_shown(&over, text, sizeof text), 8);
	assert_string_equal(text, "overload");
	over.negative = true;
	reading_shown(&over, text, sizeof text);
	assert_string_equal(text, "negative overload");
	struct reading none = {.function = OHM};
	reading_shown(&none, text, sizeof text);
	assert_string_equal(text, "no value");
	assert_string_equal(reading_state_word(READING_LOW_BATTERY), "low-battery");
	assert_string_equal(reading_state_word(0), "");
	assert_string_equal(reading_state_word(READING_HOLD | READING_UNDER), "under");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(parses_values),     cmocka_unit_test(refuses_with_a_column),
	    cmocka_unit_test(survives_prefixes_and_noise), cmocka_unit_test(shows_values),
	    cmocka_unit_test(chooses_prefixes),  cmocka_unit_test(shown_reads_back),
	    cmocka_unit_test(shows_bounds),
	    cmocka_unit_test(names_go_both_ways), cmocka_unit_test(readings_in_words),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
