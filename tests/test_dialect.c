/* SPDX-License-Identifier: MIT */
/* The table of dialects, and line settings. */
#include "tests/check.h"

#include "protocol/meter/dialect.h"

static void test_table(void **state)
{
	(void)state;
	int count = 0;
	for (const struct dialect *const *d = dialects; *d; d++, count++) {
		note_row("%s", (*d)->name);
		assert_true(strlen((*d)->name) > 0 && strlen((*d)->summary) > 0);
		for (const struct dialect *const *other = dialects; other != d; other++)
			assert_string_not_equal((*d)->name, (*other)->name);
		assert_ptr_equal(dialect_find((*d)->name, strlen((*d)->name)), *d);
		assert_non_null((*d)->understand);
		assert_true((*d)->line.bits == 7 || (*d)->line.bits == 8);
		assert_true((*d)->line.stop == 1 || (*d)->line.stop == 2);
		assert_true((*d)->line.baud > 0);
		assert_true((*d)->end == FRAME_LINE || ((*d)->size > 0 && (*d)->size <= FRAME_MAX));
		if ((*d)->asked) {
			assert_non_null((*d)->query);
			assert_non_null((*d)->line_end);
			/* The answer must not come while frames may be partial. */
			assert_true((*d)->line.quiet_ms * 1000 > FRAME_JOIN_US);
		} else {
			/* To a meter that is listened to nothing is ever sent. */
			assert_null((*d)->identify);
			assert_null((*d)->query);
			assert_null((*d)->error_query);
			assert_null((*d)->clear);
			assert_null((*d)->line_end);
		}
	}
	assert_true(count >= 2);
}

static void test_find(void **state)
{
	(void)state;
	assert_string_equal(dialect_find("scpi", 4)->name, "scpi");
	assert_string_equal(dialect_find("ascii-unit, and more", 10)->name, "ascii-unit");
	assert_null(dialect_find("scp", 3));
	assert_null(dialect_find("scpi2", 5));
	assert_null(dialect_find("SCPI", 4));
	assert_null(dialect_find("", 0));
}

/* Legend: text; speed, bits, parity, stop; or the column of the fault. */
static const struct {
	const char *text;
	int baud, bits;
	enum parity parity;
	int stop, column;
} settings[] = {
    {"9600 8N1", 9600, 8, PARITY_NONE, 1, 0},
    {"2400 7E1", 2400, 7, PARITY_EVEN, 1, 0},
    {"2400 7O1", 2400, 7, PARITY_ODD, 1, 0},
    {"600 7n2", 600, 7, PARITY_NONE, 2, 0},
    {"115200 8e2", 115200, 8, PARITY_EVEN, 2, 0},
    {"  31250\t 8o1  ", 31250, 8, PARITY_ODD, 1, 0},
    {"4000000 8N1", 4000000, 8, PARITY_NONE, 1, 0},
    {"50 8N1", 50, 8, PARITY_NONE, 1, 0},
    {"", 0, 0, PARITY_NONE, 0, 1},
    {"   ", 0, 0, PARITY_NONE, 0, 1},
    {"8N1", 0, 0, PARITY_NONE, 0, 1},
    {"0 8N1", 0, 0, PARITY_NONE, 0, 1},
    {"49 8N1", 0, 0, PARITY_NONE, 0, 1},
    {"-9600 8N1", 0, 0, PARITY_NONE, 0, 1},
    {"4000001 8N1", 0, 0, PARITY_NONE, 0, 1},
    {"99999999999999999999 8N1", 0, 0, PARITY_NONE, 0, 1},
    {"9600", 0, 0, PARITY_NONE, 0, 5},
    {"9600 ", 0, 0, PARITY_NONE, 0, 5},
    {"9600,8N1", 0, 0, PARITY_NONE, 0, 5},
    {"9600 9N1", 0, 0, PARITY_NONE, 0, 6},
    {"9600 5N1", 0, 0, PARITY_NONE, 0, 6},
    {"9600 8", 0, 0, PARITY_NONE, 0, 7},
    {"9600 8M1", 0, 0, PARITY_NONE, 0, 7},
    {"9600 8N", 0, 0, PARITY_NONE, 0, 8},
    {"9600 8N3", 0, 0, PARITY_NONE, 0, 8},
    {"9600 8N1.5", 0, 0, PARITY_NONE, 0, 9},
    {"9600 8N1 x", 0, 0, PARITY_NONE, 0, 9},
};

static void test_settings(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof settings / sizeof *settings; i++) {
		const struct line_settings before = {
		    .baud = 1, .bits = 2, .parity = PARITY_ODD, .stop = 3, .quiet_ms = 4, .rts = WIRE_ON};
		struct line_settings got = before;
		struct fault why = {.column = 0};
		bool ok = line_settings_parse(settings[i].text, strlen(settings[i].text), &got, &why);
		if (ok != (settings[i].column == 0) || why.column != settings[i].column)
			note_row("%s: column %d, %s", settings[i].text, why.column, why.text);
		assert_int_equal(ok, settings[i].column == 0);
		assert_int_equal(why.column, settings[i].column);
		assert_int_equal(got.quiet_ms, 4);
		assert_int_equal(got.rts, WIRE_ON);
		assert_int_equal(got.baud, ok ? settings[i].baud : before.baud);
		assert_int_equal(got.bits, ok ? settings[i].bits : before.bits);
		assert_int_equal(got.parity, ok ? settings[i].parity : before.parity);
		assert_int_equal(got.stop, ok ? settings[i].stop : before.stop);
		if (!ok)
			assert_non_null(strstr(why.text, "expected"));
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_table),
	    cmocka_unit_test(test_find),
	    cmocka_unit_test(test_settings),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
