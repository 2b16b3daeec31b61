/* SPDX-License-Identifier: MIT */
/*
 * Frames taken apart by a user's pattern: every named part, answers that are no
 * values, and patterns that would run for ever.
 */
#include "tests/dialect_help.h"

#include <time.h>

#define HEAD "[dialect]\nname = mine\nreads = pattern\nserial = 2400 7E1\n[pattern]\n"

static void every_part(void **state)
{
	(void)state;
	struct dialect_file *d = loaded(
	    HEAD "match = (?<sign>[-+ ])(?<value>\\d+\\.\\d+|O\\.L|\\?+) (?<prefix>[kMxu]?)"
	    "(?<unit>R|V|A|F|mR|\\xF4|C|%|W)(?: (?<coupling>AC|DC|XC))?(?<under> U)?(?<hold> H)?"
	    "(?<battery> B)?(?<relative> D)?(?<overload> over)?\n"
	    "unit R = ohm\nunit mR = milli ohm\nunit \\xF4 = ohm\nprefix x = micro\n"
	    "overload = O.L\noverload 2 = ????\n"
	    "[samples]\n"
	    "frame 1 = +0.4812 kR\nmeans 1 = ohm 481.2\n"
	    "frame 2 = -12.34 V AC H\nmeans 2 = volt-ac -12.34 hold\n"
	    "frame 3 = +O.L MR\nmeans 3 = ohm overload\n"
	    "frame 4 = +12.34 W\nmeans 4 = nothing\n"
	    "frame 5 = \\x201.5 mR\nmeans 5 = ohm 0.0015\n"
	    "frame 6 = +1.5 kmR\nmeans 6 = nothing\n" /* a prefix twice */
	    "frame 7 = +1.5 xF\nmeans 7 = farad 1.5e-6\n"
	    "frame 8 = +1.5 uF\nmeans 8 = farad 1.5e-6\n"
	    "frame 9 = +1.5 \\xF4\nmeans 9 = ohm 1.5\n"
	    "frame 10 = +1.5 R AC\nmeans 10 = nothing\n"
	    "frame 11 = +1.5 V XC\nmeans 11 = nothing\n"
	    "frame 12 = -???? V\nmeans 12 = volt-dc negative overload\n"
	    "frame 13 = +??? V\nmeans 13 = nothing\n"
	    "frame 14 = +1.5 V U\nmeans 14 = volt-dc under\n"
	    "frame 15 = +1.5 V B D\nmeans 15 = volt-dc 1.5 low-battery relative\n"
	    "frame 16 = +1.5 V over\nmeans 16 = volt-dc overload\n"
	    "frame 17 = +1.5 kC\nmeans 17 = nothing\n"
	    "frame 18 = +20.5 C\nmeans 18 = celsius 20.50\n"
	    "frame 19 = +1.5 A DC\nmeans 19 = amp-dc 1.5\n"
	    "frame 20 = 1.5 V\nmeans 20 = nothing\n");
	drop(d);
}

/* The point comes from the range, by function; functions by a code. */
static void ranges_and_functions(void **state)
{
	(void)state;
	struct dialect_file *d = loaded(
	    HEAD "match = (?<function>[VOF\\x3D])(?<range>\\d)(?<value>[-+]?\\d{4}|[-+]?OFLO|\\d\\.\\d)\n"
	    "function V = volt-dc\nfunction O = ohm\nfunction F = farad\nfunction \\x3D = hertz\n"
	    "range 0 = 1\nrange ohm 0 = 3\nrange ohm 1 = 1k\nrange farad 1 = 4n\nrange 2 = k\n"
	    "range 9 = 9\noverload = +OFLO\n"
	    "[samples]\n"
	    "frame 1 = V01234\nmeans 1 = volt-dc 1.234\n"
	    "frame 2 = O01234\nmeans 2 = ohm 123.4\n"
	    "frame 3 = O11234\nmeans 3 = ohm 1234\n"
	    "frame 4 = F1-1234\nmeans 4 = farad -1.234e-6\n"
	    "frame 5 = V11234\nmeans 5 = nothing\n" /* 1 is no range of volts */
	    "frame 6 = O21234\nmeans 6 = ohm 1234000\n"
	    "frame 7 = O21.2\nmeans 7 = ohm 1200\n"
	    "frame 8 = O01.2\nmeans 8 = nothing\n" /* a point of its own, too */
	    "frame 9 = O91234\nmeans 9 = nothing\n" /* nine of four digits */
	    "frame 10 = O1+OFLO\nmeans 10 = ohm overload\n"
	    "frame 11 = =01234\nmeans 11 = hertz 1.234\n");
	drop(d);
}

/* One name in several branches: the one that matched counts. */
static void the_same_name_in_branches(void **state)
{
	(void)state;
	struct dialect_file *d = loaded(
	    HEAD "match = (?<value>[\\d.]+) (?<unit>V|A)|(?<unit>V|A):(?<value>[\\d,.]+)"
	    "|(?<overload>OL) (?<unit>V|A)\n"
	    "[samples]\nframe 1 = 1.5 V\nmeans 1 = volt-dc 1.5\nframe 2 = A:2.5\nmeans 2 = amp-dc 2.5\n"
	    "frame 3 = OL A\nmeans 3 = amp-dc overload\nframe 4 = A:2,5\nmeans 4 = nothing\n");
	drop(d);
}

static void another_point(void **state)
{
	(void)state;
	struct dialect_file *d = loaded(
	    HEAD "match = (?<value>[-\\d,.]+) ?(?<unit>V)\npoint = ,\n"
	    "[samples]\nframe 1 = -1,50 V\nmeans 1 = volt-dc -1.5\nframe 2 = 1.50 V\nmeans 2 = nothing\n"
	    "frame 3 = 1,2,3 V\nmeans 3 = nothing\n");
	struct understood u;
	say(&d->row, FUNCTION_NONE, "1,50V", 5, &u);
	assert_int_equal(u.reading[0].value.n, 150);
	assert_int_equal(u.reading[0].value.e, -2);
	drop(d);
}

/* An asked meter whose answers a file describes whole. */
static void identity_and_errors(void **state)
{
	(void)state;
	struct dialect_file *d = loaded(
	    "[dialect]\nname = asked\nreads = pattern\nasked = yes\nquery = V\nline end = cr\n"
	    "identify = ID\nerrors = E\nclear = C\nsetup = F1 | R0\n"
	    "[pattern]\nmatch = (?<value>[-+]\\d+\\.\\d+)\nidentity = LANTERN [A-Z0-9 ]+\n"
	    "error = E(?<number>\\d+)(?: .*)?\n"
	    "[samples]\nframe 1 = +1.5\nmeans 1 = number 1.5\n"
	    "frame 2 = LANTERN LW1\nmeans 2 = identity\nframe 3 = E0\nmeans 3 = error 0\n"
	    "frame 4 = E12 no such\nmeans 4 = error 12\nframe 5 = HELLO\nmeans 5 = nothing\n"
	    "frame 6 = E99999999999\nmeans 6 = nothing\n");
	struct understood u;
	assert_true(d->row.asked);
	assert_true(d->row.bare);
	assert_int_equal(d->row.line.quiet_ms, 100);
	assert_string_equal(d->row.identify, "ID");
	assert_string_equal(d->row.error_query, "E");
	assert_string_equal(d->row.clear, "C");
	assert_string_equal(d->row.setup, "F1 | R0");
	assert_string_equal(d->row.line_end, "\r");
	say(&d->row, FUNCTION_OHM, "LANTERN LW1", 11, &u);
	assert_int_equal(u.said, SAID_IDENTITY);
	assert_string_equal(u.text, "LANTERN LW1");
	say(&d->row, FUNCTION_OHM, "+1.50", 5, &u);
	assert_int_equal(u.reading[0].function, FUNCTION_OHM);
	say(&d->row, FUNCTION_OHM, "", 0, &u);
	assert_int_equal(u.said, SAID_OTHER);
	drop(d);
}

static void what_is_not_wholly_matched(void **state)
{
	static const char frame[] = "+0.4812 kR";
	struct understood u;
	(void)state;
	struct dialect_file *d = loaded(
	    HEAD "match = (?<value>[-+]\\d\\.\\d{4}) (?<prefix>[kM]?)(?<unit>R)\nunit R = ohm\n"
	    "[samples]\nframe 1 = +0.4812 kR\nmeans 1 = ohm 481.2\n");
	for (size_t n = 1; n < sizeof frame - 1; n++) {
		say(&d->row, FUNCTION_NONE, frame, n, &u);
		assert_int_equal(u.said, SAID_NOTHING);
	}
	say(&d->row, FUNCTION_NONE, frame, sizeof frame, &u); /* with its NUL */
	assert_int_equal(u.said, SAID_NOTHING);
	say(&d->row, FUNCTION_NONE, frame, sizeof frame - 1, &u);
	assert_int_equal(u.reading[0].value.n, 4812);
	assert_int_equal(u.reading[0].value.e, -1);
	assert_int_equal(u.reading[0].prefix, 3);
	drop(d);
}

/* A digit over 18, an exponent out of range. */
static void numbers_that_do_not_fit(void **state)
{
	struct understood u;
	(void)state;
	struct dialect_file *d = loaded(HEAD "match = (?<value>.*)(?<unit>V)\n"
	                                     "[samples]\nframe 1 = 1V\nmeans 1 = volt-dc 1\n");
	static const char *const frames[] = {"1234567890123456789.1V", "1e99V", "V", "--1V", "1..2V",
	                                     "0x10V", "nanV", "infV", "12\xb5V"};
	for (size_t i = 0; i < sizeof frames / sizeof *frames; i++) {
		say(&d->row, FUNCTION_NONE, frames[i], strlen(frames[i]), &u);
		note_row("%s", frames[i]);
		assert_int_equal(u.said, SAID_NOTHING);
	}
	drop(d);
}

/* ---- patterns that would run for ever ---- */

static const struct {
	const char *match, *sample;
	char fill;
} slow[] = {
    {"(?<value>(?:(?:\\d+)+)+)x", "12x", '1'},
    {"(?<value>\\d+?)(?:1*)*(?:1*)*(?:1*)*(?:1*)*y?z", "12z", '1'},
    {"(?<value>\\d)(?:a|aa|aaa|aaaa)*b", "1aab", 'a'},
    {"(?<value>1)(?:(.*)(.*)(.*)(.*)(.*)(.*)(.*)(.*)(.*))x", "1x", '1'},
    {"(?<value>1)(?:(?=(1*))(?:\\2|1|11))*x", "11x", '1'},
    {"(?<value>1)(?(R)x|(?:1|(?R))*)q?", "1", '1'},
    {"(?<value>1)((?:1|(?1))*)*x", "1x", '1'},
    {"(?<value>1)(?:[^x]*[^y]*[^z]*)*w", "1w", '1'},
    {"(*LIMIT_MATCH=4000000000)(*LIMIT_DEPTH=4000000000)(?<value>(?:(?:\\d+)+)+)x", "12x", '1'},
    {"(*NO_START_OPT)(*NO_AUTO_POSSESS)(?<value>(?:(?:\\d+)+)+)x", "12x", '1'},
};

/* Each is taken, for it does what its sample says; and each frame is over in a moment. */
static void a_catastrophic_pattern_is_bounded(void **state)
{
	(void)state;
	double worst = 0;
	for (size_t i = 0; i < sizeof slow / sizeof *slow; i++) {
		char file[2048], frame[FRAME_MAX];
		struct fault why;
		struct understood u;
		snprintf(file, sizeof file, "[dialect]\nname = slow\nreads = pattern\nfunction = ohm\n"
		         "[pattern]\nmatch = %s\n[samples]\nframe 1 = %s\nmeans 1 = %s\n", slow[i].match,
		         slow[i].sample, strncmp(slow[i].sample, "12", 2) == 0 ? "ohm 12" : "ohm 1");
		struct dialect_file *d = load(file, &why);
		if (!d)
			fail_msg("%s: %d:%d: %s", slow[i].match, why.line, why.column, why.text);
		memset(frame, slow[i].fill, sizeof frame);
		frame[0] = '1';
		frame[sizeof frame - 1] = '!';
		clock_t before = clock();
		for (int k = 0; k < 10; k++) {
			say(&d->row, FUNCTION_OHM, frame, sizeof frame, &u);
			assert_int_equal(u.said, SAID_NOTHING);
		}
		double each = (double)(clock() - before) / CLOCKS_PER_SEC / 10;
		worst = each > worst ? each : worst;
		drop(d);
	}
	print_message("  the slowest takes %.3f ms a frame\n", worst * 1e3);
	assert_true(worst < 0.5); /* without limits it would be years */
}

/* An ordinary pattern on the longest frame stays far from the limits. */
static void a_long_frame_is_no_trouble(void **state)
{
	char frame[FRAME_MAX];
	struct understood u;
	(void)state;
	struct dialect_file *d = loaded(
	    HEAD "match = (?:[A-Z]+=\\d+;)*(?<value>\\d+)(?<unit>V)(?:;[A-Z]+=\\d+)*\\s*\n"
	    "[samples]\nframe 1 = A=1;B=2;15V;C=3\nmeans 1 = volt-dc 15\n");
	for (size_t i = 0; i < sizeof frame; i++)
		frame[i] = "A=1;"[i % 4];
	memcpy(frame + 200, "77V;", 4);
	memset(frame + 253, ' ', 3);
	memcpy(frame + 248, "A=12", 4);
	frame[252] = '3';
	say(&d->row, FUNCTION_NONE, frame, sizeof frame, &u);
	if (u.said != SAID_READINGS)
		note_row("%s", u.why);
	assert_int_equal(u.said, SAID_READINGS);
	assert_int_equal(u.reading[0].value.n, 77);
	drop(d);
}

/* Patterns as large as they may be, and hostile to the compiler of patterns: taken or
 * refused, at once. */
static void large_patterns_are_compiled_or_refused(void **state)
{
	static const char *const heads[] = {"(?<value>\\d)", "((((((((((", "(?:a{1000}){1000}",
	                                    "(?:(?:(?:a{99}){99}){99}){99}", "[^", "(?=", "(?(DEFINE)(a))",
	                                    "\\x{FFFF}", "(?<value>a)(?J)", "(?i)(?<value>\\d+)\\g{-1}"};
	(void)state;
	clock_t before = clock();
	for (size_t i = 0; i < sizeof heads / sizeof *heads; i++)
		for (size_t total = strlen(heads[i]); total <= 1100; total += 107) {
			char match[1200] = "", file[2048];
			struct fault why;
			while (strlen(match) + strlen(heads[i]) <= total)
				strcat(match, heads[i]);
			snprintf(file, sizeof file, HEAD "match = %s\n[samples]\nframe 1 = 1\nmeans 1 = nothing\n",
			         match);
			struct dialect_file *d = load(file, &why);
			if (d)
				drop(d);
			else
				assert_true(why.line > 0 && why.column > 0 && why.text[0]);
		}
	assert_true((double)(clock() - before) / CLOCKS_PER_SEC < 5);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(every_part),
	    cmocka_unit_test(ranges_and_functions),
	    cmocka_unit_test(the_same_name_in_branches),
	    cmocka_unit_test(another_point),
	    cmocka_unit_test(identity_and_errors),
	    cmocka_unit_test(what_is_not_wholly_matched),
	    cmocka_unit_test(numbers_that_do_not_fit),
	    cmocka_unit_test(a_catastrophic_pattern_is_bounded),
	    cmocka_unit_test(a_long_frame_is_no_trouble),
	    cmocka_unit_test(large_patterns_are_compiled_or_refused),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
