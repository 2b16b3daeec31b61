/* SPDX-License-Identifier: MIT */
/*
 * Preferred values against the printed tables of IEC 60063, and what the drift
 * of a kind lets one name.
 *
 * The tables below are the significands as printed (two figures up to E24,
 * three from E48), carried over from a public copy that was checked against the
 * rule round(10^(i/N)) and its exceptions.
 */
#include "protocol/trade/drift.h"
#include "protocol/trade/preferred.h"
#include "protocol/trade/quantity.h"
#include "tests/check.h"

static const int e3[] = {
    10, 22, 47,
};
static const int e6[] = {
    10, 15, 22, 33, 47, 68,
};
static const int e12[] = {
    10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82,
};
static const int e24[] = {
    10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82,
    91,
};
static const int e48[] = {
    100, 105, 110, 115, 121, 127, 133, 140, 147, 154, 162, 169, 178, 187, 196, 205, 215, 226,
    237, 249, 261, 274, 287, 301, 316, 332, 348, 365, 383, 402, 422, 442, 464, 487, 511, 536,
    562, 590, 619, 649, 681, 715, 750, 787, 825, 866, 909, 953,
};
static const int e96[] = {
    100, 102, 105, 107, 110, 113, 115, 118, 121, 124, 127, 130, 133, 137, 140, 143, 147, 150,
    154, 158, 162, 165, 169, 174, 178, 182, 187, 191, 196, 200, 205, 210, 215, 221, 226, 232,
    237, 243, 249, 255, 261, 267, 274, 280, 287, 294, 301, 309, 316, 324, 332, 340, 348, 357,
    365, 374, 383, 392, 402, 412, 422, 432, 442, 453, 464, 475, 487, 499, 511, 523, 536, 549,
    562, 576, 590, 604, 619, 634, 649, 665, 681, 698, 715, 732, 750, 768, 787, 806, 825, 845,
    866, 887, 909, 931, 953, 976,
};
static const int e192[] = {
    100, 101, 102, 104, 105, 106, 107, 109, 110, 111, 113, 114, 115, 117, 118, 120, 121, 123,
    124, 126, 127, 129, 130, 132, 133, 135, 137, 138, 140, 142, 143, 145, 147, 149, 150, 152,
    154, 156, 158, 160, 162, 164, 165, 167, 169, 172, 174, 176, 178, 180, 182, 184, 187, 189,
    191, 193, 196, 198, 200, 203, 205, 208, 210, 213, 215, 218, 221, 223, 226, 229, 232, 234,
    237, 240, 243, 246, 249, 252, 255, 258, 261, 264, 267, 271, 274, 277, 280, 284, 287, 291,
    294, 298, 301, 305, 309, 312, 316, 320, 324, 328, 332, 336, 340, 344, 348, 352, 357, 361,
    365, 370, 374, 379, 383, 388, 392, 397, 402, 407, 412, 417, 422, 427, 432, 437, 442, 448,
    453, 459, 464, 470, 475, 481, 487, 493, 499, 505, 511, 517, 523, 530, 536, 542, 549, 556,
    562, 569, 576, 583, 590, 597, 604, 612, 619, 626, 634, 642, 649, 657, 665, 673, 681, 690,
    698, 706, 715, 723, 732, 741, 750, 759, 768, 777, 787, 796, 806, 816, 825, 835, 845, 856,
    866, 876, 887, 898, 909, 920, 931, 942, 953, 965, 976, 988,
};

static const struct {
	const int *value;
	size_t count;
} printed[SERIES_COUNT] = {
    {e3, sizeof e3 / sizeof *e3},    {e6, sizeof e6 / sizeof *e6},
    {e12, sizeof e12 / sizeof *e12}, {e24, sizeof e24 / sizeof *e24},
    {e48, sizeof e48 / sizeof *e48}, {e96, sizeof e96 / sizeof *e96},
    {e192, sizeof e192 / sizeof *e192},
};

static uint64_t seed = 0xe24;
static uint64_t draw(void)
{
	seed ^= seed << 13;
	seed ^= seed >> 7;
	seed ^= seed << 17;
	return seed;
}

static void series_as_printed(void **state)
{
	(void)state;
	for (int s = 0; s < SERIES_COUNT; s++) {
		assert_int_equal(series_size((enum series)s), printed[s].count);
		enum series back;
		const char *name = series_name((enum series)s);
		assert_true(series_from_name(name, strlen(name), &back));
		assert_int_equal(back, s);
		for (size_t i = 0; i < printed[s].count; i++) {
			struct decimal d = series_value((enum series)s, (int)i);
			if (d.n != printed[s].value[i])
				note_row("%s %zu: %lld", name, i, (long long)d.n);
			assert_int_equal(d.n, printed[s].value[i]);
			assert_int_equal(d.e, s <= SERIES_E24 ? -1 : -2);
		}
	}
	enum series none;
	assert_false(series_from_name("E7", 2, &none));
	assert_int_equal(series_value(SERIES_E3, 3).n, 0);
	assert_int_equal(series_value(SERIES_E3, -1).n, 0);
}

static struct decimal parsed(const char *text)
{
	struct decimal d;
	enum function f;
	struct fault why;
	assert_true(quantity_parse(text, strlen(text), FUNCTION_NONE, &d, &f, &why));
	return d;
}

static void series_of_values(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		int series; /* -1: of none */
	} rows[] = {
	    {"4k7", SERIES_E3},  {"10", SERIES_E3},     {"470k", SERIES_E3},  {"15", SERIES_E6},
	    {"6.8", SERIES_E6},  {"120", SERIES_E12},   {"0.1 uF", SERIES_E3}, {"8.2k", SERIES_E12},
	    {"5.1k", SERIES_E24}, {"2.0", SERIES_E24},  {"4.99k", SERIES_E96}, {"4.64k", SERIES_E48},
	    {"9.20", SERIES_E192}, {"9.19", -1},        {"4.6", -1},
	    /* old nominals are of no series: normal in old equipment */
	    {"50k", -1},         {"8 uF", -1},          {"0.05 uF", -1},      {"250k", -1},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		enum series s = SERIES_COUNT;
		bool ok = series_of(parsed(rows[i].text), &s);
		if ((ok ? (int)s : -1) != rows[i].series)
			note_row("%s: %s", rows[i].text, ok ? series_name(s) : "none");
		assert_int_equal(ok ? (int)s : -1, rows[i].series);
	}
}

static void neighbours(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		enum series s;
		const char *nearest, *below, *above;
	} rows[] = {
	    {"5k", SERIES_E12, "4k7", "4k7", "5k6"},     {"50k", SERIES_E24, "51k", "47k", "51k"},
	    {"4k7", SERIES_E12, "4k7", "3k9", "5k6"},    {"9.9", SERIES_E12, "10", "8.2", "10"},
	    {"1.0", SERIES_E3, "1", "0.47", "2.2"},      {"9.5k", SERIES_E24, "9.1k", "9.1k", "10k"},
	    {"8 uF", SERIES_E6, "6.8 uF", "6.8 uF", "10 uF"},
	    {"331 nF", SERIES_E12, "330n", "330n", "390n"}, {"988", SERIES_E192, "988", "976", "1k"},
	    {"0.99999", SERIES_E6, "1", "0.68", "1"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct neighbours n;
		note_row("%s in %s", rows[i].text, series_name(rows[i].s));
		assert_true(preferred_find(rows[i].s, parsed(rows[i].text), &n));
		assert_int_equal(decimal_compare(n.nearest, parsed(rows[i].nearest)), 0);
		assert_int_equal(decimal_compare(n.below, parsed(rows[i].below)), 0);
		assert_int_equal(decimal_compare(n.above, parsed(rows[i].above)), 0);
	}
	struct neighbours n;
	assert_false(preferred_find(SERIES_E24, (struct decimal){0, 0}, &n));
	assert_false(preferred_find(SERIES_E24, (struct decimal){-47, 0}, &n));
	assert_false(preferred_find(SERIES_E24, (struct decimal){1, 40}, &n));
}

/* For any value: both neighbours are of the series and enclose it, the nearest
 * is one of the three, and nothing depends on the decade. */
static void neighbours_enclose(void **state)
{
	(void)state;
	for (int round = 0; round < 3000; round++) {
		enum series s = (enum series)(draw() % SERIES_COUNT);
		struct decimal v = {(int64_t)(draw() % 99999) + 1, (int)(draw() % 20) - 15}, w = v;
		struct neighbours n, m;
		assert_true(preferred_find(s, v, &n));
		assert_true(decimal_compare(n.below, v) < 0 && decimal_compare(n.above, v) > 0);
		assert_true(series_contains(s, n.below) && series_contains(s, n.above));
		assert_true(series_contains(s, n.nearest));
		bool member = series_contains(s, v);
		assert_int_equal(decimal_compare(n.nearest, v) == 0, member);
		w.e += 3;
		assert_true(preferred_find(s, w, &m));
		m.nearest.e -= 3;
		m.below.e -= 3;
		assert_int_equal(decimal_compare(m.nearest, n.nearest), 0);
		assert_int_equal(decimal_compare(m.below, n.below), 0);
	}
}

/* Common practice, no source: what may be called another value. */
static void another_value(void **state)
{
	(void)state;
	static const struct {
		enum kind kind;
		const char *nominal, *found, *other; /* NULL: not named */
	} rows[] = {
	    {KIND_ELECTROLYTIC, "100 uF", "330 uF", "330 uF"},
	    {KIND_ELECTROLYTIC, "100 uF", "345 uF", "330 uF"},
	    {KIND_ELECTROLYTIC, "100 uF", "190 uF", NULL},
	    {KIND_ELECTROLYTIC, "100 uF", "10 uF", NULL}, /* dried out reads anything below */
	    {KIND_CAPACITOR, "100 uF", "330 uF", "330 uF"},
	    {KIND_PAPER, "0.01 uF", "0.15 uF", NULL}, /* fifteen times: leaky */
	    {KIND_CAPACITOR, "0.01 uF", "0.15 uF", NULL},
	    {KIND_PAPER, "0.1 uF", "0.0473 uF", "47 nF"},
	    {KIND_CARBON_COMPOSITION, "470k", "680k", NULL}, /* drift */
	    {KIND_CARBON_COMPOSITION, "100k", "150k", NULL},
	    {KIND_CARBON_COMPOSITION, "100k", "998k", "1M"},
	    {KIND_RESISTOR, "470k", "680k", NULL},
	    {KIND_METAL_FILM, "1k", "2.2k", "2.2k"},
	    {KIND_METAL_FILM, "1k", "1.2k", NULL}, /* a neighbour */
	    {KIND_CARBON_FILM, "1k", "2.21k", "2.2k"},
	    {KIND_FILM, "0.1 uF", "0.221 uF", "0.22 uF"},
	    {KIND_FILM, "0.1 uF", "0.12 uF", NULL},
	    {KIND_FILM, "0.1 uF", "0.2 uF", NULL}, /* of no series, so no name */
	    {KIND_WIREWOUND, "1k", "0.47k", "470"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct decimal nominal = parsed(rows[i].nominal), found = parsed(rows[i].found), other;
		const struct drift *d = drift_of(rows[i].kind, nominal);
		assert_non_null(d);
		bool named = drift_other_value(d, nominal, found, 0.01 * decimal_double(found), &other);
		if (named != (rows[i].other != NULL))
			note_row("%s %s found %s", kind_name(rows[i].kind), rows[i].nominal, rows[i].found);
		assert_int_equal(named, rows[i].other != NULL);
		if (named)
			assert_int_equal(decimal_compare(other, parsed(rows[i].other)), 0);
	}
	assert_null(drift_of(KIND_RAIL, (struct decimal){285, 0}));
	struct decimal edge;
	const struct drift *e = drift_of(KIND_ELECTROLYTIC, parsed("100 uF"));
	assert_true(drift_other_value(e, parsed("100 uF"), parsed("225 uF"), 2e-6, &edge));
	assert_false(drift_other_value(e, parsed("100 uF"), parsed("225 uF"), 8e-6, &edge));
	e = drift_of(KIND_CARBON_FILM, parsed("1k"));
	assert_true(drift_other_value(e, parsed("1k"), parsed("0.75k"), 10, &edge));
	assert_false(drift_other_value(e, parsed("1k"), parsed("0.75k"), 60, &edge));
	/* A reading too blurred to lie beyond the drift, or to be near anything. */
	struct decimal other;
	const struct drift *d = drift_of(KIND_ELECTROLYTIC, parsed("100 uF"));
	assert_false(drift_other_value(d, parsed("100 uF"), parsed("330 uF"), 150e-6, &other));
	assert_false(drift_other_value(d, parsed("100 uF"), parsed("330 uF"), 60e-6, &other));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(series_as_printed), cmocka_unit_test(series_of_values),
	    cmocka_unit_test(neighbours),        cmocka_unit_test(neighbours_enclose),
	    cmocka_unit_test(another_value),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
