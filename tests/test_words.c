/* SPDX-License-Identifier: MIT */
/* Values, limits, deviations, times and texts of others in words. */
#include "tests/view_stand.h"

static void test_deviation(void **state)
{
	(void)state;
	/* value, nominal's sign through the deviation, limits; what is said */
	static const struct { const char *members, *want; } rows[] = {
		{"\"value\":1,\"deviation\":0", "on nominal"},
		{"\"value\":1,\"deviation\":0.00004", "on nominal"},
		{"\"value\":1,\"deviation\":0.00997", "1.0 % high"},
		{"\"value\":1,\"deviation\":0.0099", "0.99 % high"},
		{"\"value\":1,\"deviation\":-0.105", "10.5 % low"},
		{"\"value\":1,\"deviation\":2.5", "250 % high"},
		{"\"value\":1,\"deviation\":99.0", "100 times nominal"},
		{"\"value\":0,\"deviation\":-1,\"limits\":[90,110]", "100 % low"},
		/* nominal -35 V */
		{"\"value\":-40,\"deviation\":0.142857", "14.3 % more negative"},
		{"\"value\":-30,\"deviation\":-0.142857", "14.3 % less negative"},
		{"\"value\":2,\"deviation\":-1.05714", "106 % off, of the wrong sign"},
		{"\"value\":0,\"deviation\":-1,\"limits\":[-38.5,-31.5]", "100 % less negative"},
		/* a positive nominal, and the leads swapped */
		{"\"value\":-35,\"deviation\":-2", "200 % low"},
		/* nominal zero, and none at all */
		{"\"value\":0.5,\"deviation\":null,\"side\":\"high\"", "high"},
		{"\"value\":0.5,\"deviation\":null,\"side\":null", ""},
		/* an overload */
		{"\"value\":null,\"above\":20000000,\"function\":\"ohm\"", "above 20 Mohm"},
		{"\"value\":null,\"above\":600,\"function\":\"volt-dc\",\"verdict\":\"outside\",\"side\":\"high\"",
		 "above 600 V"},
		{"\"value\":null,\"above\":600,\"function\":\"volt-dc\",\"verdict\":\"outside\",\"side\":null",
		 "beyond 600 V"},
		{"\"value\":null,\"function\":\"ohm\"", ""},
		{"\"value\":null,\"function\":\"ohm\",\"side\":\"high\"", "high"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		char text[256], got[WORDS_SIZE];
		snprintf(text, sizeof text, "{%s}", rows[i].members);
		note_row("%s", text);
		words_deviation(&columns, slice(text), got, sizeof got);
		assert_string_equal(got, rows[i].want);
	}
}

static void test_limits(void **state)
{
	(void)state;
	static const struct { const char *members, *want; } rows[] = {
		/* in the prefix that the meter showed */
		{"\"limits\":[9e-08,1.1e-07],\"function\":\"farad\",\"shown\":\"0.1183 uF\"",
		 "0.09 to 0.11 uF"},
		{"\"limits\":[9e-08,1.1e-07],\"function\":\"farad\",\"shown\":\"118 nF\"", "90 to 110 nF"},
		/* unless it would not be readable */
		{"\"limits\":[423000,517000],\"function\":\"ohm\",\"shown\":\"3 ohm\"", "423 to 517 kohm"},
		{"\"limits\":[423000,517000],\"function\":\"ohm\",\"shown\":\"overload\"",
		 "423 to 517 kohm"},
		{"\"limits\":[20000000,null],\"function\":\"ohm\",\"shown\":\"overload\"",
		 "at least 20 Mohm"},
		{"\"limits\":[null,0.1],\"function\":\"ohm\",\"shown\":\"0.05 ohm\"", "at most 0.1 ohm"},
		{"\"limits\":[-38.5,-31.5],\"function\":\"volt-dc\",\"shown\":\"-35 V\"",
		 "-38.5 to -31.5 V"},
		{"\"limits\":[-2,2],\"function\":\"volt-dc\",\"shown\":\"0.1 V\"", "-2 to 2 V"},
		{"\"limits\":[null,null],\"function\":\"ohm\",\"shown\":\"1 ohm\"", ""},
		{"\"function\":\"ohm\"", ""},
		{"\"limits\":[1,2],\"function\":\"number\",\"shown\":\"1.5\"", "1 to 2"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		char text[256], got[WORDS_SIZE];
		snprintf(text, sizeof text, "{%s}", rows[i].members);
		note_row("%s", text);
		words_limits(&columns, slice(text), got, sizeof got);
		assert_string_equal(got, rows[i].want);
	}
}

static void test_signs(void **state)
{
	(void)state;
	static const struct { const char *shown, *want; } rows[] = {
		{"0.345 uF", "0.345 \u00b5F"}, {"612 kohm", "612 k\u03a9"}, {"5 ohm", "5 \u03a9"},
		{"12 uohm", "12 \u00b5\u03a9"}, {"-40.1 V", "-40.1 V"}, {"overload", "overload"},
		{"", ""}, {"3 u", "3 u"}, {"0.09 to 0.11 uF", "0.09 to 0.11 \u00b5F"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		char got[WORDS_SIZE];
		note_row("%s", rows[i].shown);
		words_value(&signs, rows[i].shown, got, sizeof got);
		assert_string_equal(got, rows[i].want);
		words_value(&columns, rows[i].shown, got, sizeof got);
		assert_string_equal(got, rows[i].shown);
	}
}

/* Whatever a line sends must not steer the terminal, nor turn the text around. */
static void test_clean(void **state)
{
	(void)state;
	static const struct { const char *text, *want; } rows[] = {
		{"plain", "plain"}, {"\x1b[2J", "\\x1B[2J"}, {"a\nb\tc", "a\\x0Ab\\x09c"},
		{"\x7f", "\\x7F"}, {"\xc2\x9b" "31m", "\\x9B31m"}, {"\xff\xfe", "\\xFF\\xFE"},
		{"\xe2\x80\xae" "abc", "\\u202Eabc"}, {"\xc3\xa4", "\xc3\xa4"}, {"\xc3", "\\xC3"},
		{"\xed\xa0\x80", "\\xED\\xA0\\x80"}, {"\xc0\x80", "\\xC0\\x80"},
		{"\xf0\x9f\x94\x8a", "\xf0\x9f\x94\x8a"},
	};
	char got[WORDS_SIZE], small[8];
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		note_row("%zu", i);
		words_clean(rows[i].text, strlen(rows[i].text), got, sizeof got);
		assert_string_equal(got, rows[i].want);
	}
	/* Cut at a character, never inside one. */
	words_clean("abcdef\xc3\xa4", 8, small, sizeof small);
	assert_string_equal(small, "abcdef");
}

static void test_width(void **state)
{
	(void)state;
	static const struct { const char *text; size_t want; } rows[] = {
		{"", 0}, {"abc", 3}, {"\u00b5F", 2}, {"k\u03a9", 2}, {"e\u0301", 1},
		{"\u96fb", 2}, {"\xff", 1},
	};
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		note_row("%zu", i);
		assert_int_equal(words_width(rows[i].text, strlen(rows[i].text)), rows[i].want);
	}
}

static void shifted(int64_t us, char out[20])
{
	(void)us;
	memcpy(out, "2026-11-26 01:02:03", 20);
}

static void test_times(void **state)
{
	(void)state;
	struct style local = {.local = shifted};
	char got[64];
	const char *time = "\"2026-11-25T23:02:03.000001Z\"";
	words_time(&columns, slice(time), true, got, sizeof got);
	assert_string_equal(got, "2026-11-25 23:02:03");
	words_time(&local, slice(time), true, got, sizeof got);
	assert_string_equal(got, "2026-11-26 01:02:03");
	words_time(&local, slice(time), false, got, sizeof got);
	assert_string_equal(got, "01:02:03");
	words_time(&columns, slice("\"yesterday\""), false, got, sizeof got);
	assert_string_equal(got, "yesterday");
	words_time(&columns, slice("12"), false, got, sizeof got);
	assert_string_equal(got, "");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_deviation),
		cmocka_unit_test(test_limits),
		cmocka_unit_test(test_signs),
		cmocka_unit_test(test_clean),
		cmocka_unit_test(test_width),
		cmocka_unit_test(test_times),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
