/* SPDX-License-Identifier: MIT */
/* Block letters and pictures. */
#include "tests/check.h"

#include "client/block.h"

/* What positions, values, units and words are made of. */
static const char needed[] = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZkmnpuz%-+.,/_:!? ";
static const uint32_t signs[] = {0xB5, 0x3A9, 0xB0};

static void same_width(uint32_t code)
{
	for (int row = 0; row < BLOCK_TALL_ROWS; row++) {
		assert_non_null(block_tall(code, row));
		assert_int_equal(strlen(block_tall(code, row)), strlen(block_tall(code, 0)));
	}
	for (int row = 0; row < 2 * BLOCK_MIDDLE_ROWS; row++) {
		assert_non_null(block_middle(code, row));
		assert_int_equal(strlen(block_middle(code, row)), strlen(block_middle(code, 0)));
	}
}

static void test_all_there(void **state)
{
	(void)state;
	for (const char *c = needed; *c; c++)
		same_width((uint32_t)*c);
	for (size_t i = 0; i < sizeof signs / sizeof signs[0]; i++)
		same_width(signs[i]);
	assert_null(block_tall('~', 0));
}

static bool same_shape(uint32_t a, uint32_t b, bool tall)
{
	for (int row = 0; row < (tall ? BLOCK_TALL_ROWS : 2 * BLOCK_MIDDLE_ROWS); row++)
		if (strcmp(tall ? block_tall(a, row) : block_middle(a, row),
		           tall ? block_tall(b, row) : block_middle(b, row)) != 0)
			return false;
	return true;
}

/* No letter looks like another; O and 0 may in the tall size, where values stand. */
static void test_all_differ(void **state)
{
	(void)state;
	for (const char *a = needed; *a; a++)
		for (const char *b = a + 1; *b; b++) {
			if (same_shape((uint32_t)*a, (uint32_t)*b, false)) {
				print_error("%c and %c\n", *a, *b);
				fail();
			}
			if (!(*a == '0' && *b == 'O'))
				assert_false(same_shape((uint32_t)*a, (uint32_t)*b, true));
		}
}

static const struct {
	enum block size;
	const char *text;
	int width;
} widths[] = {
	{BLOCK_MIDDLE, "", 0},      {BLOCK_MIDDLE, "R12", 3 + 1 + 3 + 1 + 3},
	{BLOCK_MIDDLE, "r12", 11},  {BLOCK_TALL, "1.5", 6 + 1 + 2 + 1 + 7},
	{BLOCK_DOUBLE, "1.5", 34},  {BLOCK_TALL, "\u00B5", 8},
	{BLOCK_TALL, "\u03BC", 8},  /* the other micro sign */
	{BLOCK_TALL, "\u2126", 10}, /* the other ohm sign */
	{BLOCK_TALL, "\u2212", 5},  /* the minus sign */
	{BLOCK_TALL, "\xFF", 7},    /* no letter: a box */
};

static void test_widths(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof widths / sizeof widths[0]; i++) {
		struct picture p;
		assert_int_equal(block_width(widths[i].size, widths[i].text), widths[i].width);
		assert_true(picture_begin(&p, 80, 20));
		assert_int_equal(block_put(&p, 0, 3, widths[i].size, true, LOOK_ORDINARY, widths[i].text),
		                 3 + widths[i].width);
		picture_end(&p);
	}
}

static void expect(const struct picture *p, const char *want)
{
	struct lines out = {0};
	picture_text(p, false, &out);
	assert_string_equal(lines_text(&out), want);
	lines_free(&out);
}

static void test_drawn(void **state)
{
	(void)state;
	struct picture p;
	assert_true(picture_begin(&p, 12, 3));
	block_put(&p, 0, 0, BLOCK_MIDDLE, true, LOOK_ORDINARY, "R7-");
	expect(&p, "█▀▄ ▀▀█\n█▄▀  ▄▀ ▄▄▄\n█ █  █\n");
	picture_end(&p);
	assert_true(picture_begin(&p, 12, 3));
	block_put(&p, 0, 0, BLOCK_MIDDLE, false, LOOK_ORDINARY, "R7-");
	expect(&p, "#\"_ \"\"#\n#_\"  _\" ___\n# #  #\n");
	picture_end(&p);
	/* Clipped at every edge. */
	assert_true(picture_begin(&p, 4, 2));
	block_put(&p, -1, -2, BLOCK_TALL, true, LOOK_ORDINARY, "88");
	expect(&p, "   █\n   █\n");
	picture_end(&p);
}

static void test_picture(void **state)
{
	(void)state;
	struct picture p;
	assert_true(picture_begin(&p, 6, 4));
	assert_int_equal(picture_put(&p, 0, 4, LOOK_ORDINARY, "abc"), 6);
	assert_int_equal(picture_put(&p, 1, 0, LOOK_ORDINARY, "e\u0301\u4E2Dx"), 4);
	picture_put(&p, 1, 2, LOOK_ORDINARY, "y"); /* the second half of the wide one goes: all of it */
	picture_put(&p, 2, 0, LOOK_ORDINARY, "\x1B[2J");
	picture_put(&p, 3, 5, LOOK_ORDINARY, "\u4E2D"); /* no room for both halves */
	picture_put(&p, 9, 0, LOOK_ORDINARY, "beyond");
	picture_put(&p, 3, 0, LOOK_BAD, "\xC3(");
	expect(&p, "    ab\ne\u0301 yx\n?[2J\n?(\n");
	struct lines out = {0};
	picture_text(&p, true, &out);
	assert_non_null(strstr(lines_text(&out), "looks\n\n\n\nbb\n"));
	lines_free(&out);
	picture_end(&p);
	assert_true(picture_begin(&p, 100000, 100000)); /* bounded */
	assert_int_equal(p.width, PICTURE_WIDTH_MAX);
	picture_end(&p);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_all_there), cmocka_unit_test(test_all_differ),
		cmocka_unit_test(test_widths),    cmocka_unit_test(test_drawn),
		cmocka_unit_test(test_picture),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
