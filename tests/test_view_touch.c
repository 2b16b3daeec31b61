/* SPDX-License-Identifier: MIT */
/*
 * One touch as lines: phases, readings drawn together, silences, what is not there.
 */
#include "client/view_touch.h"
#include "protocol/trade/reading.h"
#include "tests/check.h"

#include <stdlib.h>

#define ENTRY \
	"{\"seq\":9,\"t\":\"2000-01-01T00:00:10.000000Z\",\"kind\":\"entry\",\"position\":\"R1\",\"function\":" \
	"\"ohm\",\"prefix\":3,\"shown\":\"47.3 kohm\",\"verdict\":\"within\"}"
#define ZERO INT64_C(946684810000000)

/* Each: ms from the moment of the entry, value in 100 ohm (0: overload), used. */
struct row {
	int ms, v;
	bool used;
};

static const char *told(const struct row *rows, int n, bool plain)
{
	static struct lines out;
	static struct touch_reading r[4000];
	struct style style = {.plain = plain, .width = 80};
	for (int i = 0; i < n; i++)
		r[i] = (struct touch_reading){.t = ZERO + (int64_t)rows[i].ms * 1000, .has_value = rows[i].v != 0,
			.value = {rows[i].v, 2}, .state = rows[i].v ? 0 : READING_OVERLOAD, .used = rows[i].used};
	out.len = 0;
	view_touch(&style, (struct slice){ENTRY, strlen(ENTRY)}, r, n, &out);
	return lines_text(&out);
}

static void test_phases(void **state)
{
	(void)state;
	static const struct row rows[] = {
		{-1500, 0, false}, {-1250, 0, false}, {-1000, 512, false}, {-750, 473, true}, {-500, 474, true},
		{-250, 473, true}, {0, 473, true}, {250, 0, false}, {500, 0, false},
	};
	assert_string_equal(told(rows, 9, true),
	                    "before\n-1.50 to -1.25 s: overload, 2 readings\n-1.00 s: 51.2 kohm\n"
	                    "during: the entry was made from these\n-0.75 s: 47.3 kohm\n-0.50 s: 47.4 kohm\n"
	                    "-0.25 to +0.00 s: 47.3 kohm, 2 readings\nlogged: 47.3 kohm, within\n"
	                    "after\n+0.25 to +0.50 s: overload, 2 readings\n");
	assert_non_null(strstr(told(rows, 9, false), "0 s  logged: 47.3 kohm"));
}

static void test_silence(void **state)
{
	(void)state;
	static const struct row rows[] = {
		{-9000, 0, false}, {-8750, 0, false}, {-500, 473, true}, {-250, 473, true}, {0, 473, true},
	};
	const char *text = told(rows, 5, true);
	assert_non_null(strstr(text, "8.2 s without a reading\n-0.50 to +0.00 s: 47.3 kohm, 3 readings\n"));
	assert_non_null(strstr(text, "after: nothing\n"));
}

/* A fast meter's thousands are drawn together, and none of their extremes is lost. */
static void test_many(void **state)
{
	(void)state;
	static struct row rows[3000];
	for (int i = 0; i < 3000; i++)
		rows[i] = (struct row){i - 2990, 400 + i % 97, i >= 2900};
	rows[1234].v = 9999;
	const char *text = told(rows, 3000, true);
	int lines = 0, readings = 0;
	for (const char *p = text; *p; p++)
		lines += *p == '\n';
	assert_true(lines < 3 * 16 + 6);
	assert_non_null(strstr(text, "999.9 kohm"));
	assert_non_null(strstr(text, "40.0 kohm"));
	for (const char *p = text; (p = strstr(p, "kohm, ")); p++)
		readings += atoi(p + 6);
	assert_int_equal(readings, 3000);
}

/* Where the log has its readings no more, the time of the entry parts them. */
static void test_none_used(void **state)
{
	(void)state;
	static const struct row rows[] = {{-500, 473, false}, {500, 0, false}};
	assert_string_equal(told(rows, 2, true),
	                    "before\n-0.50 s: 47.3 kohm\nduring: the entry was made from these: nothing\n"
	                    "logged: 47.3 kohm, within\nafter\n+0.50 s: overload\n");
	assert_non_null(strstr(told(rows, 0, true), "before: nothing\n"));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_phases), cmocka_unit_test(test_silence), cmocka_unit_test(test_many),
		cmocka_unit_test(test_none_used),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
