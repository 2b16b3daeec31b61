/* SPDX-License-Identifier: MIT */
/* The exact JSON text of records: written, refused, walked, read back. */
#include "protocol/record/text.h"

#include "tests/check.h"

#include <jansson.h>

#include <locale.h>
#include <stdlib.h>

/* ---- writing ---- */

static void strings(void **state)
{
	(void)state;
	static const struct {
		const char *bytes;
		size_t len;
		const char *json;
	} rows[] = {
#define ROW(bytes, json) {bytes, sizeof(bytes) - 1, json}
	    ROW("", "\"\""),
	    ROW("0.345 uF", "\"0.345 uF\""),
	    ROW("a\"b\\c/", "\"a\\\"b\\\\c/\""),
	    ROW("\b\f\n\r\t", "\"\\b\\f\\n\\r\\t\""),
	    ROW("\x01\x0b\x1f\x7f", "\"\\u0001\\u000b\\u001f\x7f\""),
	    ROW("a\0b", "\"a\\u0000b\""),
	    ROW("\xc2\xb5 \xe2\x84\xa6 \xf0\x9f\x94\xa7", "\"\xc2\xb5 \xe2\x84\xa6 \xf0\x9f\x94\xa7\""),
	    /* bytes that are not UTF-8: alone, cut, long form, half a pair, above U+10FFFF */
	    ROW("\xff", "\"\xef\xbf\xbd\""),
	    ROW("a\xe2\x84", "\"a\xef\xbf\xbd\xef\xbf\xbd\""),
	    ROW("\xc0\x80", "\"\xef\xbf\xbd\xef\xbf\xbd\""),
	    ROW("\xed\xa0\x80", "\"\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd\""),
	    ROW("\xf4\x90\x80\x80", "\"\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd\""),
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		char out[128], back[64];
		struct text t;
		text_begin(&t, out, sizeof out);
		text_string(&t, rows[i].bytes, rows[i].len);
		assert_false(t.failed);
		assert_string_equal(out, rows[i].json);
		assert_int_equal(t.len, strlen(out));
		assert_true(json_valid(out, t.len, NULL));
		assert_true(json_text((struct slice){out, t.len}, back, sizeof back));
		if (i < 4 || i == 6)
			assert_string_equal(back, rows[i].bytes);
	}
}

static void numbers(void **state)
{
	(void)state;
	static const struct {
		double x;
		const char *json;
	} reals[] = {
	    {0, "0"},
	    {-0.0, "0"},
	    {1, "1"},
	    {0.5, "0.5"},
	    {1.0 / 3, "0.333333"},
	    {2.0 / 3, "0.666667"},
	    {123456.7, "123457"},
	    {1234567, "1234570"},
	    {-3.45e-7, "-3.45e-07"},
	    {5.6789012e-10, "5.6789e-10"},
	    {9.999999e-5, "0.0001"},
	    {1e-60, "1e-60"}, /* beyond what a decimal holds */
	    {-1.234567e-300, "-1.23457e-300"},
	    {1.5e300, "1.5e+300"},
	    {5e-324, "4.94066e-324"},
	    {HUGE_VAL, "null"},
	    {-HUGE_VAL, "null"},
	    {NAN, "null"},
	};
	char out[64];
	struct text t;
	for (size_t i = 0; i < sizeof reals / sizeof *reals; i++) {
		text_begin(&t, out, sizeof out);
		text_real(&t, reals[i].x);
		assert_string_equal(out, reals[i].json);
		assert_true(json_valid(out, t.len, NULL));
	}
	static const struct {
		int64_t n;
		const char *json;
	} ints[] = {
	    {0, "0"},
	    {7, "7"},
	    {-10, "-10"},
	    {INT64_MAX, "9223372036854775807"},
	    {INT64_MIN, "-9223372036854775808"},
	};
	for (size_t i = 0; i < sizeof ints / sizeof *ints; i++) {
		int64_t back;
		text_begin(&t, out, sizeof out);
		text_int(&t, ints[i].n);
		assert_string_equal(out, ints[i].json);
		assert_true(json_int((struct slice){out, t.len}, &back));
		assert_true(back == ints[i].n);
	}
	/* The reason for all this: a general writer prints 3.4499999999999998e-7. */
	text_begin(&t, out, sizeof out);
	text_decimal(&t, (struct decimal){345, -9});
	assert_string_equal(out, "3.45e-07");
}

/* A locale with a decimal comma must change nothing. */
static void locale_comma(void **state)
{
	(void)state;
	static const char *const names[] = {"de_DE.UTF-8", "fr_FR.UTF-8", "de_DE.utf8"};
	for (size_t i = 0; i < 3; i++)
		if (setlocale(LC_NUMERIC, names[i]))
			break;
	char out[64];
	struct text t;
	double x;
	text_begin(&t, out, sizeof out);
	text_real(&t, 1.25e-60);
	text_puts(&t, " ");
	text_real(&t, 0.25);
	bool read = json_number((struct slice){"2.5000000000000000000000001", 27}, &x);
	setlocale(LC_NUMERIC, "C");
	assert_string_equal(out, "1.25e-60 0.25");
	assert_true(read);
	assert_near(x, 2.5, 0);
}

static void times(void **state)
{
	(void)state;
	/* Seconds: POSIX.1-2017 4.16 "Seconds Since the Epoch", by its formula, and the
	 * two ends of the calendar. */
	static const struct {
		int64_t us;
		const char *json;
	} rows[] = {
	    {0, "\"1970-01-01T00:00:00.000000Z\""},
	    {-1, "\"1969-12-31T23:59:59.999999Z\""},
	    {946684800000000, "\"2000-01-01T00:00:00.000000Z\""},
	    {951782399999999, "\"2000-02-28T23:59:59.999999Z\""},
	    {951782400000000, "\"2000-02-29T00:00:00.000000Z\""},
	    {1795600800123456, "\"2026-11-25T10:00:00.123456Z\""},
	    {4107542400000000, "\"2100-03-01T00:00:00.000000Z\""},
	    {-62135596800000000, "\"0001-01-01T00:00:00.000000Z\""},
	    {253402300799999999, "\"9999-12-31T23:59:59.999999Z\""},
	};
	char out[64];
	struct text t;
	int64_t back;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		text_begin(&t, out, sizeof out);
		text_time(&t, rows[i].us);
		assert_string_equal(out, rows[i].json);
		assert_true(time_parse(out + 1, t.len - 2, &back));
		assert_true(back == rows[i].us);
		assert_true(json_time((struct slice){out, t.len}, &back));
	}
	text_begin(&t, out, sizeof out);
	text_time(&t, 253402300800000000);
	assert_true(t.failed);
	text_begin(&t, out, sizeof out);
	text_time(&t, INT64_MIN);
	assert_true(t.failed);
	/* Every day of 800 years there and back, by counting on. */
	int64_t day = -62135596800000000 + INT64_C(1500) * 365 * 86400 * 1000000;
	for (int i = 0; i < 292194; i++, day += INT64_C(86400000000)) {
		text_begin(&t, out, sizeof out);
		text_time(&t, day);
		if (!time_parse(out + 1, t.len - 2, &back) || back != day)
			fail_msg("%s", out);
	}
	static const char *const bad[] = {
	    "2026-11-25T10:00:00.12345Z",   "2026-11-25T10:00:00.1234567Z",
	    "2026-11-25 10:00:00.123456Z",  "2026-11-25T10:00:00,123456Z",
	    "2026-11-25T10:00:00.123456z",  "2026-11-25T24:00:00.000000Z",
	    "2026-11-25T10:60:00.000000Z",  "2016-12-31T23:59:60.000000Z",
	    "2026-02-29T10:00:00.000000Z",  "2100-02-29T10:00:00.000000Z",
	    "2026-13-01T10:00:00.000000Z",  "2026-00-01T10:00:00.000000Z",
	    "2026-04-31T10:00:00.000000Z",  "2026-04-00T10:00:00.000000Z",
	    "0000-01-01T00:00:00.000000Z",  "+026-11-25T10:00:00.123456Z",
	    "2026-11-25T1 :00:00.123456Z",  "",
	};
	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
		if (time_parse(bad[i], strlen(bad[i]), &back))
			fail_msg("taken: %s", bad[i]);
}

/* Into every buffer that is too small: failed, never past its end, still a string. */
static void small_buffers(void **state)
{
	(void)state;
	char out[256];
	struct text t;
	for (size_t size = 0; size < 200; size++) {
		memset(out, '!', sizeof out);
		text_begin(&t, out, size);
		text_member_string(&t, "shown", "a\"\n\x01\xff\xc2\xb5");
		text_member_decimal(&t, "value", (struct decimal){345, -9});
		text_member_real(&t, "u", 1e-60);
		text_member_int(&t, "n", -12);
		text_member_bool(&t, "settled", true);
		text_member_null(&t, "job");
		text_member(&t, "t");
		text_time(&t, 0);
		text_printf(&t, "%d", 12345);
		assert_true(out[size] == '!');
		if (size)
			assert_int_equal(strlen(out), t.len);
		if (!t.failed) {
			assert_string_equal(out,
			                    ",\"shown\":\"a\\\"\\n\\u0001\xef\xbf\xbd\xc2\xb5\",\"value\":3.45e-07,"
			                    "\"u\":1e-60,\"n\":-12,\"settled\":true,\"job\":null,\"t\":"
			                    "\"1970-01-01T00:00:00.000000Z\"12345");
			assert_int_equal(size, strlen(out) + 1);
			return;
		}
	}
	fail_msg("never fitted");
}

static void failed_stays(void **state)
{
	(void)state;
	char out[8];
	struct text t;
	text_begin(&t, out, sizeof out);
	text_puts(&t, "12345678");
	text_puts(&t, "1");
	assert_true(t.failed);
	assert_string_equal(out, "");
}

/* ---- valid or not ---- */

static void valid(void **state)
{
	(void)state;
	static const char *const good[] = {
	    "{}", "[]", "0", "-0", "1.5e-07", "1E+20", "\"\"", "true", "false", "null",
	    " \t\r\n[ 1 , 2 ] \n", "{\"a\":1,\"b\":{\"a\":1}}", "[{\"a\":1},{\"a\":1}]",
	    "\"\\u0000\\ud83d\\udd27\\/\"", "{\"\":1}", "\"\x7f\xc2\x80\xf4\x8f\xbf\xbf\"",
	    "{\"a\":1,\"A\":2,\"a \":3}",
	    "[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]", /* 32 deep */
	};
	for (size_t i = 0; i < sizeof good / sizeof *good; i++)
		if (!json_valid(good[i], strlen(good[i]), NULL))
			fail_msg("refused: %s", good[i]);

	/* A legend, the text, the byte at which it is refused. */
	static const struct {
		const char *legend, *text;
		size_t where;
	} bad[] = {
	    {"nothing", "", 0},
	    {"only space", "  ", 2},
	    {"two values", "1 2", 2},
	    {"plus", "+1", 0},
	    {"leading zero", "01", 1},
	    {"no digits before the point", ".5", 0},
	    {"none after it", "5.", 2},
	    {"empty exponent", "1e", 2},
	    {"hexadecimal", "0x1", 1},
	    {"NaN", "NaN", 0},
	    {"nan", "nan", 1},
	    {"Infinity", "[-Infinity]", 2},
	    {"word cut", "tru", 3},
	    {"word with more", "nullx", 4},
	    {"trailing comma in array", "[1,]", 3},
	    {"trailing comma in object", "{\"a\":1,}", 7},
	    {"no comma", "[1 2]", 3},
	    {"no colon", "{\"a\" 1}", 5},
	    {"key without quotes", "{a:1}", 1},
	    {"single quotes", "{'a':1}", 1},
	    {"wrong bracket", "[1}", 2},
	    {"not closed", "[1", 2},
	    {"comment", "[1/*x*/]", 2},
	    {"string not closed", "\"abc", 4},
	    {"line break in string", "\"a\nb\"", 2},
	    {"control character", "\"a\x01\"", 2},
	    {"unknown escape", "\"\\x41\"", 1},
	    {"short escape", "\"\\u12\"", 1},
	    {"half a pair, high", "\"\\ud83d\"", 1},
	    {"half a pair, low", "\"\\udd27\"", 1},
	    {"high twice", "\"\\ud83d\\ud83d\"", 1},
	    {"bad UTF-8", "\"a\xff\"", 2},
	    {"long form", "\"\xc0\xaf\"", 1},
	    {"surrogate in UTF-8", "\"\xed\xa0\x80\"", 1},
	    {"byte order mark", "\xef\xbb\xbf{}", 0},
	    {"key given twice", "{\"a\":1,\"a\":2}", 7},
	    {"twice, by escape", "{\"ab\":1,\"\\u0061b\":2}", 8},
	    {"twice, by escape of a solidus", "{\"/\":1,\"\\/\":2}", 7},
	    {"twice, further in", "{\"x\":{\"a\":1,\"b\":[{\"a\":1}],\"a\":3}}", 26},
	    {"twice, after an object within", "{\"a\":{\"b\":1},\"c\":1,\"a\":2}", 19},
	    {"33 deep", "[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]", 32},
	};
	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
		size_t where = 999;
		if (json_valid(bad[i].text, strlen(bad[i].text), &where))
			fail_msg("taken: %s", bad[i].legend);
		if (where != bad[i].where)
			fail_msg("%s: refused at %zu, expected %zu", bad[i].legend, where, bad[i].where);
	}
	assert_false(json_valid("1\0", 2, NULL)); /* a NUL is not an end */
}

static const char sample[] =
    "{\"seq\":12,\"t\":\"2026-11-25T10:00:00.123456Z\",\"kind\":\"entry\",\"value\":3.45e-07,"
    "\"limits\":[3.13e-7,null],\"shown\":\"0.345 \\u00b5F \\ud83d\\udd27\",\"service\":{\"verdict\":"
    "\"within\",\"limits\":[1,2]},\"frames\":[\"a\\\\r\\\\n\",\"]}\"],\"settled\":true,\"job\":null}";

/* Every prefix of a valid text is invalid, for the missing rest, and harmless. */
static void prefixes(void **state)
{
	(void)state;
	size_t len = strlen(sample);
	assert_true(json_valid(sample, len, NULL));
	for (size_t n = 0; n < len; n++) {
		/* A copy of exactly that size, so that a sanitizer sees a byte too far. */
		char *cut = malloc(n + 1);
		memcpy(cut, sample, n);
		char *exact = realloc(cut, n ? n : 1);
		size_t where = 0;
		assert_false(json_valid(exact, n, &where));
		assert_true(where <= n);
		assert_true(n - where <= 12); /* at most an escaped pair is taken back */
		double x;
		int64_t i;
		char word[8];
		json_number(json_member(exact, n, "value"), &x);
		json_int(json_member(exact, n, "service.limits"), &i);
		json_text(json_member(exact, n, "shown"), word, sizeof word);
		json_text(json_element(json_member(exact, n, "frames"), 1), word, sizeof word);
		json_text(json_member(exact, n, "nothing.here"), word, sizeof word);
		free(exact);
	}
}

/* Damage of every byte by every value: no reader leaves the text or hangs. */
static void damaged(void **state)
{
	(void)state;
	size_t len = strlen(sample);
	char *copy = malloc(len);
	for (size_t i = 0; i < len; i++)
		for (int c = 0; c < 256; c += 1) {
			memcpy(copy, sample, len);
			copy[i] = (char)c;
			char word[8];
			json_valid(copy, len, NULL);
			json_text(json_member(copy, len, "job"), word, sizeof word);
			json_text(json_element(json_member(copy, len, "frames"), 3), word, sizeof word);
		}
	free(copy);
}

static void many_members(void **state)
{
	(void)state;
	size_t size = 40000, len = 0;
	char *text = malloc(size);
	for (int members = JSON_MEMBERS_MAX; members <= JSON_MEMBERS_MAX + 1; members++) {
		len = 0;
		for (int i = 0; i < members; i++)
			len += (size_t)snprintf(text + len, size - len, "%c\"k%d\":0", i ? ',' : '{', i);
		text[len++] = '}';
		assert_int_equal(json_valid(text, len, NULL), members == JSON_MEMBERS_MAX);
	}
	free(text);
}

/* ---- reading ---- */

static void members(void **state)
{
	(void)state;
	size_t len = strlen(sample);
	char word[64];
	int64_t n;
	double x;
	struct decimal d;
	assert_true(json_int(json_member(sample, len, "seq"), &n));
	assert_int_equal(n, 12);
	assert_true(json_time(json_member(sample, len, "t"), &n));
	assert_true(json_is(json_member(sample, len, "kind"), "entry"));
	assert_false(json_is(json_member(sample, len, "kind"), "entr"));
	assert_false(json_is(json_member(sample, len, "kind"), "entryx"));
	assert_true(json_decimal(json_member(sample, len, "value"), &d));
	assert_true(d.n == 345 && d.e == -9);
	assert_true(json_number(json_member(sample, len, "value"), &x));
	assert_near(x, 3.45e-7, 0);
	struct slice limits = json_member(sample, len, "limits");
	assert_true(json_decimal(json_element(limits, 0), &d));
	assert_true(d.n == 313 && d.e == -9);
	assert_true(json_absent(json_element(limits, 1)));
	assert_null(json_element(limits, 2).at);
	assert_true(json_absent(json_element(limits, 2)));
	assert_true(json_text(json_member(sample, len, "service.verdict"), word, sizeof word));
	assert_string_equal(word, "within");
	assert_true(json_number(json_element(json_member(sample, len, "service.limits"), 1), &x));
	assert_near(x, 2, 0);
	assert_true(json_text(json_element(json_member(sample, len, "frames"), 0), word, sizeof word));
	assert_string_equal(word, "a\\r\\n");
	assert_true(json_text(json_element(json_member(sample, len, "frames"), 1), word, sizeof word));
	assert_string_equal(word, "]}");
	assert_true(json_bool(json_member(sample, len, "settled"), false));
	assert_true(json_bool(json_member(sample, len, "job"), true));
	assert_true(json_absent(json_member(sample, len, "job")));
	assert_true(json_absent(json_member(sample, len, "not there")));
	assert_null(json_member(sample, len, "service.verdict.side").at);
	assert_null(json_member(sample, len, "seq.more").at);
	assert_false(json_text(json_member(sample, len, "seq"), word, sizeof word));
	assert_string_equal(word, "");
	assert_false(json_int(json_member(sample, len, "shown"), &n));
	assert_false(json_number(json_member(sample, len, "settled"), &x));

	/* Cut at a character, never inside one. */
	static const char *const cut[] = {"", "0", "0.", "0.3", "0.34", "0.345", "0.345 ", "0.345 ",
	                                  "0.345 \xc2\xb5", "0.345 \xc2\xb5\x46"};
	for (size_t size = 1; size <= sizeof cut / sizeof *cut; size++) {
		assert_true(json_text(json_member(sample, len, "shown"), word, size));
		assert_string_equal(word, cut[size - 1]);
	}
	assert_true(json_text((struct slice){"\"a\\u0000b\"", 10}, word, sizeof word));
	assert_string_equal(word, "a\xef\xbf\xbd" "b");

	/* Spaces and escapes in keys, as a foreign writer may put them. */
	static const char spaced[] = " { \"\\u0061\" : [ ] , \"b\" : { \"c\" : [ 1 , [ 2 ] ] } } ";
	assert_int_equal(json_member(spaced, sizeof spaced - 1, "a").len, 3);
	struct slice c = json_member(spaced, sizeof spaced - 1, "b.c"), one;
	size_t cursor = 0;
	assert_true(json_next(c, &cursor, &one));
	assert_int_equal(one.len, 1);
	assert_true(json_next(c, &cursor, &one));
	assert_int_equal(one.len, 5);
	assert_false(json_next(c, &cursor, &one));
	cursor = 0;
	assert_false(json_next(json_member(spaced, sizeof spaced - 1, "a"), &cursor, &one));
	struct slice key;
	cursor = 0;
	assert_true(json_next_member((struct slice){sample, len}, &cursor, &key, &one));
	assert_memory_equal(key.at, "seq", 3);
	assert_int_equal(key.len, 3);
}

static void read_numbers(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		bool whole;
		int64_t n;
		double x;
	} rows[] = {
	    {"0", true, 0, 0},
	    {"-0", true, 0, 0},
	    {"9223372036854775807", true, INT64_MAX, 9223372036854775807.0},
	    {"-9223372036854775808", true, INT64_MIN, -9223372036854775808.0},
	    {"9223372036854775808", false, 0, 9223372036854775808.0},
	    {"1e3", true, 1000, 1000},
	    {"1.5e1", true, 15, 15},
	    {"1.5", false, 0, 1.5},
	    {"1e30", false, 0, 1e30},
	    {"3.45e-07", false, 0, 3.45e-7},
	    {"0.1234567890123456789012345678", false, 0, 0.1234567890123456789012345678},
	    {"123456789012345678901234567890123456789012345678901234567890", false, 0,
	     123456789012345678901234567890123456789012345678901234567890.0},
	    {"1.7976931348623157e308", false, 0, 1.7976931348623157e308},
	    {"-2.5e-320", false, 0, -2.5e-320},
	    {"0.00000000000000000000000000000000000000000000000000000000000000000000012", false, 0,
	     1.2e-70},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct slice s = {rows[i].text, strlen(rows[i].text)};
		int64_t n = -77;
		double x = 0;
		note_row("%s", rows[i].text);
		assert_int_equal(json_int(s, &n), rows[i].whole);
		if (rows[i].whole)
			assert_true(n == rows[i].n);
		assert_true(json_number(s, &x));
		assert_near(x, rows[i].x, 0);
	}
	int64_t n;
	double x;
	struct decimal d;
	static const char *const bad[] = {"", "-", "1x", "1..2", "\"1\"", "null", "+1", "1e", "e5"};
	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
		struct slice s = {bad[i], strlen(bad[i])};
		assert_false(json_int(s, &n));
		assert_false(json_decimal(s, &d));
	}
	assert_false(json_number((struct slice){"x", 1}, &x));
	assert_false(json_int((struct slice){NULL, 0}, &n));
	assert_false(json_decimal((struct slice){"1.2345678901234567891", 21}, &d));
}

/* Lists of whole numbers are looked at eight bytes at a time: what is not quite one must
 * be refused at the same byte wherever it stands, and the JSON library must agree. */
static void integers_in_any_place(void **state)
{
	(void)state;
	static const char *const bits[] = {"0", "1", "9", "-", ",", "12", "-7", ",0", ",-0", "00",
	                                   "01", "-,", ",,", "null", ".5", "x", " ", "[1]", "]", "[", "1234567"};
	unsigned seed = 7;
	int good = 0, bad = 0;
	for (int i = 0; i < 300000; i++) {
		char text[400] = "[", tail[500];
		size_t where;
		int n = (int)(seed >> 8) % 12;
		for (int k = 0; k < n; k++) {
			seed = seed * 1664525 + 1013904223;
			size_t many = sizeof bits / sizeof *bits;
			/* Mostly what belongs there, so that the odd one stands deep inside. */
			if ((seed >> 9) % 3)
				strcat(text, k % 2 ? "," : bits[(seed >> 16) % 3]);
			else
				strcat(text, bits[(seed >> 16) % many]);
		}
		seed = seed * 1664525 + 1013904223;
		strcat(text, "]");
		json_error_t e;
		json_t *j = json_loads(text, JSON_DECODE_INT_AS_REAL, &e);
		bool valid = json_valid(text, strlen(text), &where);
		if (valid != (j != NULL)) {
			note_row("%s: %s", text, valid ? "taken" : "refused");
			fail();
		}
		json_decref(j);
		good += valid;
		bad += !valid;
		/* Further to the right nothing changes but the place; an empty list is none there. */
		bool empty = text[1 + strspn(text + 1, " ")] == ']';
		for (size_t shift = 1; shift < 20 && !valid && !empty; shift += 3) {
			size_t there;
			snprintf(tail, sizeof tail, "[%.*s%s", (int)(2 * shift),
			         "1,2,3,4,5,6,7,8,9,0,1,2,3,4,5,6,7,8,9,0,", text + 1);
			assert_false(json_valid(tail, strlen(tail), &there));
			if (there != where + 2 * shift) {
				note_row("%s: at %zu, then %s at %zu", text, where, tail, there);
				fail();
			}
		}
	}
	assert_true(good > 1000 && bad > 1000);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(integers_in_any_place),
	    cmocka_unit_test(strings),       cmocka_unit_test(numbers),
	    cmocka_unit_test(locale_comma),  cmocka_unit_test(times),
	    cmocka_unit_test(small_buffers), cmocka_unit_test(failed_stays),
	    cmocka_unit_test(valid),         cmocka_unit_test(prefixes),
	    cmocka_unit_test(damaged),       cmocka_unit_test(many_members),
	    cmocka_unit_test(members),       cmocka_unit_test(read_numbers),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
