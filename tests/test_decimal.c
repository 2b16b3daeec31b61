/* SPDX-License-Identifier: MIT */
/* Exact decimals: reading, writing, comparing, arithmetic; and the fault text. */
#include "protocol/trade/decimal.h"
#include "protocol/trade/fault.h"
#include "tests/check.h"

#include <stdlib.h>

static uint64_t seed = 0x1234567;
static uint64_t draw(void)
{
	seed ^= seed << 13;
	seed ^= seed >> 7;
	seed ^= seed << 17;
	return seed;
}

static struct decimal draw_decimal(void)
{
	int64_t n = (int64_t)(draw() % UINT64_C(1000000000000000000));
	for (uint64_t cut = draw() % 18; cut > 0; cut--)
		n /= 10;
	return (struct decimal){draw() % 2 ? n : -n, (int)(draw() % 81) - 40};
}

static const struct {
	const char *text;
	size_t used; /* 0: refused */
	int64_t n;
	int e;
} reads[] = {
    {"0", 1, 0, 0},
    {"4.70", 4, 470, -2},
    {"-12.34 mV", 6, -1234, -2},
    {"+0.4812", 7, 4812, -4},
    {".047", 4, 47, -3},
    {"47.", 3, 47, 0},
    {"1e3", 3, 1, 3},
    {"-3.45E-07F", 9, -345, -9},
    {"4e", 1, 4, 0},
    {"4e+", 1, 4, 0},
    {"4.7.1", 3, 47, -1},
    {"000000000000000000000012", 24, 12, 0},
    {"999999999999999999", 18, INT64_C(999999999999999999), 0},
    {"1000000000000000000", 19, INT64_C(100000000000000000), 1},
    {"1.00000000000000000000", 22, INT64_C(100000000000000000), -17},
    {"1000000000000000001", 0, 0, 0},
    {"0.1234567890123456789", 0, 0, 0},
    {"1e41", 0, 0, 0},
    {"1e-41", 0, 0, 0},
    {"1e99999999999999999999", 0, 0, 0},
    {"0e99999999999999999999", 22, 0, 40},
    {"", 0, 0, 0},
    {".", 0, 0, 0},
    {"-", 0, 0, 0},
    {"+.", 0, 0, 0},
    {"-.e1", 0, 0, 0},
    {"e5", 0, 0, 0},
    {" 1", 0, 0, 0},
    {"OL", 0, 0, 0},
    {"9.9E37", 6, 99, 36}, /* IEEE 488.2 NR3 */
    {"+1.2345E+6", 10, 12345, 2},
    {"146", 3, 146, 0},
};

static void reads_numbers(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof reads / sizeof *reads; i++) {
		struct decimal d = {77, 7};
		size_t used = decimal_read(reads[i].text, strlen(reads[i].text), &d);
		if (used != reads[i].used || (used && (d.n != reads[i].n || d.e != reads[i].e)))
			note_row("%s -> %zu %lld e%d", reads[i].text, used, (long long)d.n, d.e);
		assert_int_equal(used, reads[i].used);
		if (used == 0)
			assert_int_equal(d.n, 77);
		else
			assert_true(d.n == reads[i].n && d.e == reads[i].e);
		struct decimal whole;
		bool all = used == strlen(reads[i].text) && used > 0;
		assert_int_equal(decimal_parse(reads[i].text, strlen(reads[i].text), &whole), all);
	}
}

/* Every prefix of every row, in a buffer of exactly that size, so that a
 * sanitizer sees a byte read too many. */
static void reads_every_prefix(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof reads / sizeof *reads; i++)
		for (size_t len = 0; len <= strlen(reads[i].text); len++) {
			char *exact = malloc(len ? len : 1);
			assert_non_null(exact);
			memcpy(exact, reads[i].text, len);
			struct decimal d;
			assert_true(decimal_read(exact, len, &d) <= len);
			free(exact);
		}
}

static void reads_random_bytes(void **state)
{
	(void)state;
	static const char alphabet[] = "0123456789..eE+-- x";
	for (int round = 0; round < 200000; round++) {
		char text[48];
		size_t len = draw() % sizeof text;
		for (size_t i = 0; i < len; i++)
			text[i] = alphabet[draw() % (sizeof alphabet - 1)];
		struct decimal d;
		size_t used = decimal_read(text, len, &d);
		assert_true(used <= len);
		if (!used)
			continue;
		assert_true(d.e >= DECIMAL_EXP_MIN && d.e <= DECIMAL_EXP_MAX);
		/* An independent reader agrees. */
		char copy[sizeof text + 1];
		memcpy(copy, text, used);
		copy[used] = '\0';
		assert_true(decimal_double(d) == strtod(copy, NULL));
	}
}

static void writes_and_reads_back(void **state)
{
	(void)state;
	for (int round = 0; round < 100000; round++) {
		struct decimal d = draw_decimal(), back;
		char text[DECIMAL_TEXT_SIZE];
		size_t len = decimal_json(d, text, sizeof text);
		assert_int_equal(len, strlen(text));
		assert_true(decimal_parse(text, len, &back));
		assert_int_equal(decimal_compare(d, back), 0);
		assert_true(strtod(text, NULL) == decimal_double(d));
		len = decimal_plain(d, text, sizeof text);
		assert_int_equal(len, strlen(text));
		assert_true(strchr(text, 'e') == NULL);
		if (decimal_parse(text, len, &back))
			assert_int_equal(decimal_compare(d, back), 0);
		if (d.e <= 0 && decimal_parse(text, len, &back))
			assert_int_equal(back.e, d.e);
	}
}

static void writes_json(void **state)
{
	(void)state;
	static const struct {
		struct decimal d;
		const char *plain, *json;
	} rows[] = {
	    {{345, -9}, "0.000000345", "3.45e-07"},
	    {{3450, -10}, "0.0000003450", "3.45e-07"},
	    {{12000, 0}, "12000", "12000"},
	    {{12, 3}, "12000", "12000"},
	    {{0, 0}, "0", "0"},
	    {{0, -3}, "0.000", "0"},
	    {{0, 5}, "0", "0"},
	    {{-345, -3}, "-0.345", "-0.345"},
	    {{12, -5}, "0.00012", "0.00012"},
	    {{12, -6}, "0.000012", "1.2e-05"},
	    {{1, 20}, "100000000000000000000", "1e+20"},
	    {{-5, 0}, "-5", "-5"},
	    {{470, -2}, "4.70", "4.7"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		char text[DECIMAL_TEXT_SIZE];
		decimal_plain(rows[i].d, text, sizeof text);
		assert_string_equal(text, rows[i].plain);
		decimal_json(rows[i].d, text, sizeof text);
		assert_string_equal(text, rows[i].json);
	}
	char tiny[4];
	assert_int_equal(decimal_plain((struct decimal){123456, 0}, tiny, sizeof tiny), 3);
	assert_string_equal(tiny, "123");
}

static void compares_exactly(void **state)
{
	(void)state;
	static const struct {
		struct decimal a, b;
		int want;
	} rows[] = {
	    {{10, -1}, {100, -2}, 0},
	    {{0, 5}, {0, -40}, 0},
	    {{-1, 0}, {0, 0}, -1},
	    {{1, -40}, {0, 40}, 1},
	    {{1, -40}, {1, 40}, -1},
	    {{-1, -40}, {-1, 40}, 1},
	    {{1, 18}, {INT64_C(999999999999999999), 0}, 1},
	    /* 0.1 + 0.2 against 0.3, which binary floating point gets wrong. */
	    {{3, -1}, {30, -2}, 0},
	    {{110000000000000001, -24}, {11, -8}, 1},
	    {{109999999999999999, -24}, {11, -8}, -1},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		assert_int_equal(decimal_compare(rows[i].a, rows[i].b), rows[i].want);
		assert_int_equal(decimal_compare(rows[i].b, rows[i].a), -rows[i].want);
	}
	for (int round = 0; round < 100000; round++) {
		struct decimal a = draw_decimal(), b = draw_decimal();
		int c = decimal_compare(a, b);
		assert_int_equal(decimal_compare(b, a), -c);
		assert_int_equal(decimal_compare(a, a), 0);
		double x = decimal_double(a), y = decimal_double(b);
		if (x != y) /* correctly rounded, so unequal doubles are ordered alike */
			assert_int_equal(c, x < y ? -1 : 1);
	}
}

static void adds_and_multiplies(void **state)
{
	(void)state;
	struct decimal out;
	assert_true(decimal_add((struct decimal){1, -1}, (struct decimal){2, -1}, &out));
	assert_int_equal(decimal_compare(out, (struct decimal){3, -1}), 0);
	assert_true(decimal_subtract((struct decimal){5, -1}, (struct decimal){5, -1}, &out));
	assert_int_equal(out.n, 0);
	assert_false(decimal_add((struct decimal){1, 40}, (struct decimal){1, -40}, &out));
	assert_false(decimal_multiply((struct decimal){1, 40}, (struct decimal){1, 40}, &out));
	assert_false(decimal_multiply((struct decimal){1, -40}, (struct decimal){1, -1}, &out));
	assert_true(decimal_multiply((struct decimal){0, -40}, (struct decimal){1, -10}, &out));
	assert_int_equal(out.n, 0);
	assert_true(decimal_multiply((struct decimal){10, -40}, (struct decimal){3, -1}, &out));
	assert_int_equal(decimal_compare(out, (struct decimal){3, -40}), 0);
	assert_true(decimal_multiply((struct decimal){3, 21}, (struct decimal){1, 20}, &out));
	assert_true(out.e <= DECIMAL_EXP_MAX);
	assert_int_equal(decimal_compare(out, (struct decimal){30, 40}), 0);
	for (int round = 0; round < 100000; round++) {
		int64_t a = (int64_t)(draw() % 2000000000) - 1000000000;
		int64_t b = (int64_t)(draw() % 2000000000) - 1000000000;
		int e = (int)(draw() % 20) - 10;
		struct decimal x = {a, e}, y = {b, e}, want = {a * b, 2 * e}, sum;
		assert_true(decimal_multiply(x, y, &out));
		assert_int_equal(decimal_compare(out, want), 0);
		assert_true(decimal_add(x, y, &sum));
		assert_int_equal(decimal_compare(sum, (struct decimal){a + b, e}), 0);
		assert_true(decimal_subtract(sum, y, &out));
		assert_int_equal(decimal_compare(out, x), 0);
	}
}

static void rescales_without_loss(void **state)
{
	(void)state;
	struct decimal out = {9, 9};
	assert_true(decimal_rescale((struct decimal){47, -1}, -3, &out));
	assert_true(out.n == 4700 && out.e == -3);
	assert_false(decimal_rescale((struct decimal){47, -1}, 0, &out));
	assert_true(out.n == 4700);
	assert_false(decimal_rescale((struct decimal){47, 0}, -17, &out));
	assert_true(decimal_rescale((struct decimal){0, 3}, -17, &out));
	for (int round = 0; round < 10000; round++) {
		struct decimal d = draw_decimal(), s = decimal_strip(d);
		assert_int_equal(decimal_compare(d, s), 0);
		assert_true(s.n == 0 || s.n % 10 != 0 || s.e == DECIMAL_EXP_MAX);
	}
}

static void doubles_are_nearest(void **state)
{
	(void)state;
	assert_true(decimal_double((struct decimal){345, -9}) == 3.45e-07);
	assert_true(decimal_double((struct decimal){1, 40}) == 1e40);
	for (int round = 0; round < 50000; round++) {
		double x = ((double)(int64_t)draw()) * pow(10, (double)(draw() % 60) - 35);
		if (fabs(x) < 1e-20)
			continue;
		assert_true(decimal_double(decimal_from_double(x, 17)) == x);
	}
	struct decimal d = decimal_from_double(147.2243186, 6);
	assert_true(d.n == 147224 && d.e == -3);
	d = decimal_from_double(1.23456e-38, 6);
	assert_true(d.n == 123 && d.e == -40);
	assert_int_equal(decimal_from_double(1e-50, 6).n, 0);
	assert_int_equal(decimal_from_double(1e70, 6).n, 0);
	assert_int_equal(decimal_from_double(NAN, 6).n, 0);
	assert_int_equal(decimal_from_double(INFINITY, 6).n, 0);
}

static void faults_say_where(void **state)
{
	(void)state;
	struct fault f;
	char text[700];
	fault_at(&f, "a.csv", 3, 7, "a %s was expected", "value");
	assert_int_equal(fault_text(&f, text, sizeof text), strlen("a.csv:3:7: a value was expected"));
	assert_string_equal(text, "a.csv:3:7: a value was expected");
	fault_at(&f, "a.csv", 3, 0, "cut");
	fault_text(&f, text, sizeof text);
	assert_string_equal(text, "a.csv:3: cut");
	fault_set(&f, "%s", f.text); /* its own text may be an argument */
	assert_string_equal(f.text, "cut");
	assert_int_equal(f.line, 0);
	fault_text(&f, text, sizeof text);
	assert_string_equal(text, "cut");
	assert_int_equal(fault_text(&f, text, 3), 2);
	assert_string_equal(text, "cu");
	fault_set(&f, "%400d", 1);
	assert_int_equal(strlen(f.text), sizeof f.text - 1);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(reads_numbers),         cmocka_unit_test(reads_every_prefix),
	    cmocka_unit_test(reads_random_bytes),    cmocka_unit_test(writes_and_reads_back),
	    cmocka_unit_test(writes_json),           cmocka_unit_test(compares_exactly),
	    cmocka_unit_test(adds_and_multiplies),   cmocka_unit_test(rescales_without_loss),
	    cmocka_unit_test(doubles_are_nearest),   cmocka_unit_test(faults_say_where),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
