/* SPDX-License-Identifier: MIT */
/*
 * Dialect files: the shipped ones with their samples, files of users, what is refused
 * and where, and the plain dialects frame by frame.
 */
#include "tests/dialect_help.h"

static char *slurp(const char *path)
{
	FILE *f = fopen(path, "rb");
	char *text = calloc(1, 1 << 16);
	assert_non_null(f);
	assert_non_null(text);
	text[fread(text, 1, (1 << 16) - 1, f)] = '\0';
	fclose(f);
	return text;
}

/* ---- shipped ---- */

/* The file of every shipped dialect loads, its samples hold, and it says the same as
 * the built-in row. */
static void shipped_files_agree_with_their_rows(void **state)
{
	(void)state;
	for (int i = 0; dialects[i]; i++) {
		char path[128];
		struct fault why;
		snprintf(path, sizeof path, "protocol/meter/dialects/%s.ini", dialects[i]->name);
		char *text = slurp(path);
		struct dialect_file *d = malloc(sizeof *d);
		assert_non_null(d);
		if (!dialect_file_load(d, path, text, strlen(text), &why)) {
			note_row("%s:%d:%d: %s", why.file, why.line, why.column, why.text);
			fail();
		}
		const struct dialect *a = &d->row, *b = dialects[i];
		note_row("%s, %d samples", d->name, d->samples);
		assert_true(d->samples >= 4);
		assert_string_equal(a->name, b->name);
		assert_string_equal(a->summary, b->summary);
		assert_int_equal(a->asked, b->asked);
		assert_int_equal(a->end, b->end);
		assert_int_equal(a->size, b->size);
		assert_int_equal(a->line.baud, b->line.baud);
		assert_int_equal(a->line.dtr, b->line.dtr);
		assert_int_equal(a->line.quiet_ms, b->line.quiet_ms);
		if (b->query)
			assert_string_equal(a->query, b->query);
		if (b->line_end)
			assert_string_equal(a->line_end, b->line_end);
		drop(d);
		free(text);
	}
}

/* ---- files of users ---- */

#define HEAD "[dialect]\nname = mine\nreads = pattern\nserial = 2400 7E1\n"
#define SAMPLES "[samples]\nframe 1 = +0.4812 kR\nmeans 1 = ohm 481.2\n"

#define TOP "[dialect]\nname = x\nreads = ascii-unit\n"
#define ONE "[samples]\nframe 1 = 1 V\nmeans 1 = volt-dc 1\n"
#define COLS "[dialect]\nname = x\nreads = columns\n[columns]\n"
/* Six bytes: three digits, a flag byte, a range, an end. */
#define SIX COLS "size = 6\ndigits = 0-2\nflag 3.0 = ohm\nflag 3.1 = volt\npoint = 4: 0=3 1=2\n" \
                 "byte 5 = \\n\n"
#define SIX_ONE "[samples]\nframe 1 = 123\\x010\\n\nmeans 1 = ohm 123\n"

static void what_is_refused_and_where(void **state)
{
	static const struct {
		const char *text;
		int line, column;
		const char *says;
	} rows[] = {
	    /* the whole */
	    {"", 1, 1, "no `name`"},
	    {"[dialect]\nname = x\n", 1, 1, "no `reads`"},
	    {"[dialect]\nname = x\nreads = telepathy\n", 3, 9, "ask-comma"},
	    {"[dialect]\nname = -x\n", 2, 8, "letters, digits"},
	    {"[dialect]\nname = 012345678901234567890123456789012\n", 2, 8, "at most 32"},
	    {"[dialect]\nname = x\ncolour = red\n", 3, 1, "colour"},
	    {"[dialect]\nname = x\n[meter]\nx = 1\n", 3, 2, "[meter]"},
	    {"[dialect]\nname = x\nname = y\n", 3, 1, "already in line 2"},
	    {"[dialect]\nname = x\nrubbish\n", 3, 1, "key = value"},
	    {TOP, 1, 1, "no samples"},
	    /* [dialect] */
	    {TOP "serial = 9600 9N1\n", 4, 15, "7 or 8 bits"},
	    {TOP "serial =   fast\n", 4, 12, "a speed"},
	    {TOP "flow = maybe\n", 4, 8, "none, hardware, software"},
	    {TOP "dtr = up\n", 4, 7, "leave, on, off"},
	    {TOP "quiet = 60001\n", 4, 9, "0 to 60000"},
	    {TOP "gap = 0\n", 4, 7, "1 to 10000"},
	    {TOP "function = none\n", 4, 12, "volt-dc"},
	    {TOP "function = watt\n", 4, 12, "watt"},
	    {TOP "frame = fixed 1\n", 4, 9, "fixed and 2 to 256"},
	    {TOP "frame = fixed 257\n", 4, 9, "fixed and 2 to 256"},
	    {TOP "frame = until \\x0\n", 4, 15, "escape"},
	    {TOP "frame = until ab\n", 4, 16, "at most 1"},
	    {TOP "sync = numbered\n" ONE, 4, 8, "lines have their end"},
	    {TOP "frame = fixed 16\nsync = numbered\n" ONE, 5, 8, "at most 15"},
	    {TOP "frame = fixed 3\nsync = head ab tail cd\n" ONE, 5, 8, "longer than the frame"},
	    {TOP "sync = head abcde\n", 4, 17, "at most 4"},
	    {TOP "sync = tail \\q\n", 4, 13, "escape"},
	    {TOP "sync = tail\n", 4, 8, "1 to 4 bytes"},
	    {TOP "sync = by chance\n", 4, 8, "numbered, head and tail"},
	    {TOP "sync = head a head b\n", 4, 15, "numbered, head and tail"},
	    {TOP "sync =\n", 4, 7, "numbered, head and tail"},
	    {TOP "query = D\n" ONE, 4, 9, "asked = yes"},
	    {TOP "asked = maybe\n", 4, 9, "no, yes"},
	    {TOP "asked = yes\n" ONE, 4, 9, "wants a `query`"},
	    {TOP "asked = yes\nquery = \\x00\n", 5, 9, "byte 0"},
	    {TOP "asked = yes\nquery = a\\\n", 5, 10, "escape"},
	    {TOP "asked = yes\nquery = D\nidentify = *IDN?\n" ONE, 6, 12, "`identity`"},
	    {TOP "asked = yes\nquery = D\nerrors = E?\n" ONE, 6, 10, "`error`"},
    {TOP "asked = yes\nquery = D\nlearn = F?\n" ONE, 6, 9, "scpi"},
	    {TOP "asked = yes\nquery = D\nsetup = A |  | B\n" ONE, 6, 9, "` | `"},
	    {TOP "asked = yes\nquery = D\nline end = nl\n", 6, 12, "none, lf, cr, crlf"},
	    {TOP "[columns]\nsize = 6\n" ONE, 4, 2, "reads = columns"},
	    {TOP "[pattern]\nmatch = x\n" ONE, 4, 2, "reads = pattern"},
	    /* [samples] */
	    {TOP "[samples]\nframe 1 = 1 V\nmeans 1 = volt-dc 2\n", 6, 11, "`volt-dc 1`, not as"},
	    {TOP "[samples]\nframe 1 = 1 V\nmeans 1 = volt-ac 1\n", 6, 11, "volt-dc 1"},
	    {TOP "[samples]\nframe 1 = 1 V\nmeans 1 = volt-dc 1 hold\n", 6, 11, "volt-dc 1"},
	    {TOP "[samples]\nframe 1 = 1 V\nmeans 1 = nothing\n", 6, 11, "volt-dc 1"},
	    {TOP "[samples]\nframe 1 = 1 W\nmeans 1 = volt-dc 1\n", 6, 11, "a unit was expected"},
	    {TOP "[samples]\nframe 1 = OL V\nmeans 1 = volt-dc negative overload\n", 6, 11, "overload"},
	    {TOP "[samples]\nframe 1 = 1 V\n", 5, 11, "means 1"},
	    {TOP "[samples]\nmeans 1 = nothing\n", 5, 11, "frame 1"},
	    {TOP "[samples]\nframe 1 = 1 V\nmeans 1 =\n", 6, 10, "what the frame means"},
	    {TOP "[samples]\nframe 1 = 1 \\q\n", 5, 13, "escape"},
	    {TOP "[samples]\nframe 1 = 1 V\\n2 V\nmeans 1 = volt-dc 1\n", 5, 11, "without its end"},
	    {TOP "[samples]\nwhat 1 = 1 V\n", 5, 1, "frame N"},
	    {TOP "[samples]\nframe 0123456789abcdef = 1 V\n", 5, 1, "1 to 15"},
	    /* [pattern] */
	    {HEAD SAMPLES, 3, 9, "match"},
	    {HEAD "[pattern]\nmatch =\n", 6, 8, "expected a pattern"},
	    {HEAD "[pattern]\nmatch = (?<value>\\d+\n" SAMPLES, 6, 21, "pattern"},
	    {HEAD "[pattern]\nmatch = (?<value>\\d+)(?<colour>x)\n" SAMPLES, 6, 24 + 1, "colour"},
	    {HEAD "[pattern]\nmatch = (?<unit>V)\n" SAMPLES, 6, 9, "(?<value>...)"},
	    {HEAD "[pattern]\nmatch = (?<value>1)\nidentity = (a\n" SAMPLES, 7, 14, "pattern"},
	    {HEAD "[pattern]\nmatch = (?<value>1)\nerror = E.*\n" SAMPLES, 7, 9, "(?<number>...)"},
	    {HEAD "[pattern]\nmatch = \\C(?<value>1)\n" SAMPLES, 6, 11, "\\C"},
	    {HEAD "[pattern]\nunit R = ohms\n", 6, 10, "unit R"},
	    {HEAD "[pattern]\nunit R = kilo\n", 6, 10, "unit R"},
	    {HEAD "[pattern]\nunit \\q = ohm\n", 6, 6, "escape"},
	    {HEAD "[pattern]\nunit 0123456789012345678901234 = ohm\n", 6, 6 + 23, "at most 23"},
	    {HEAD "[pattern]\nprefix x = thousand\n", 6, 12, "pico, nano"},
	    {HEAD "[pattern]\nfunction 2 = watt\n", 6, 14, "volt-dc"},
	    {HEAD "[pattern]\nrange 1 = many\n", 6, 11, "2k"},
	    {HEAD "[pattern]\nrange ohm 1 = 2kk\n", 6, 15, "2k"},
	    {HEAD "[pattern]\nrange ohm 1 = 2\nrange ohm \\x31 = 3\n", 7, 1, "already"},
	    {HEAD "[pattern]\npoint = 5\n", 6, 9, "one character"},
	    {HEAD "[pattern]\ncolour = red\n", 6, 1, "unknown key `colour`"},
	    /* [columns] */
	    {"[dialect]\nname = x\nreads = columns\n" ONE, 3, 9, "[columns]"},
	    {COLS "digits = 0-2\n" ONE, 4, 2, "no `size`"},
	    {COLS "size = 1\n", 5, 8, "2 to 256"},
	    {COLS "size = 6\nflag 3.0 = ohm\n" ONE, 4, 2, "no digits"},
	    {COLS "size = 10\ndigits = 8-11\n" ONE, 6, 10, "column 10 lies outside"},
	    {COLS "size = 10\ndigits = 0-2,12\n" ONE, 6, 14, "column 12 lies outside"},
	    {COLS "digits = 0-9\n", 5, 10, "at most 9"},
	    {COLS "digits = one\n", 5, 10, "1-4"},
	    {COLS "digits = 1-4 \\x20\n", 5, 13, "1-4"},
	    {SIX "sign = 9\n" SIX_ONE, 11, 8, "column 9 lies outside"},
	    {SIX "sign = 2\n" SIX_ONE, 11, 8, "`digits` in line 6"},
	    {SIX "byte 6 = x\n" SIX_ONE, 11, 1, "column 6 lies outside"},
	    {SIX "byte 5 = x\n" SIX_ONE, 11, 1, "already"},
	    {SIX "byte 4 = xy\n", 11, 11, "at most 1"},
	    {SIX "byte four = x\n", 11, 1, "0 to 255"},
	    {SIX "flag 3.1 = amp\n" SIX_ONE, 11, 1, "already"},
	    {SIX "flag 3 = ignore\n" SIX_ONE, 11, 1, "already"},
	    {SIX "flag 3.9 = amp\n", 11, 1, "bits 0 to 7"},
	    {SIX "flag x = amp\n", 11, 1, "BYTE.BIT"},
	    {SIX "flag 3.2 = watt\n", 11, 12, "expected volt"},
	    {SIX "flag 3 = volt\n", 11, 10, "only be `ignore`"},
	    {SIX "flag 3.2 = point\n", 11, 12, "point N"},
	    {SIX "flag 3.2 = point 4\n" SIX_ONE, 11, 12, "4 digits before the point"},
	    {SIX "range = 4: 0=1\n" SIX_ONE, 11, 1, "already"},
	    {SIX "range ohm = 4: 0=1 1=4k\n" SIX_ONE, 11, 20, "4 digits before the point"},
	    {SIX "range ohm = 4: 0=1 0=2\n", 11, 20, "already"},
	    {SIX "range ohm = 4: 0=1 1=x\n", 11, 22, "2k"},
	    {SIX "range ohm = 4: 0\n", 11, 16, "and ="},
	    {SIX "range ohm = 4 0=1\n", 11, 15, "one whole byte"},
	    {SIX "range ohm = 4:\n", 11, 15, "codes"},
	    {SIX "range ohm = 4.3-0: 10=1\n", 11, 20, "4 bits in hex"},
	    {SIX "range ohm = 4.8: 0=1\n", 11, 16, "bits 0 to 7"},
	    {SIX "range watt = 4: 0=1\n", 11, 1, "such as ohm"},
	    {SIX "function = 2: 1=ohm\n" SIX_ONE, 11, 12, "`digits` in line 6"},
	    {SIX "function = 2: 1=watt\n", 11, 17, "volt-dc"},
	    {SIX "overload = OL\n" SIX_ONE, 11, 12, "3 characters"},
	    {SIX "shape 7D = 0\n" SIX_ONE, 11, 1, "`digit N`"},
	    {SIX "shape XY = 0\n", 11, 1, "in hex"},
	    {SIX "shape 99999999999999 = 0\n", 11, 1, "in hex"},
	    {SIX "digit 1 = 3.3-0\n" SIX_ONE, 6, 10, "at once"},
	    {SIX "digit 10 = 3.3-0\n", 11, 1, "`digit 9`"},
	    {SIX "bits = middle\n", 11, 8, "right or left"},
	    {SIX "blanks = some\n", 11, 10, "leading or none"},
	    {SIX "colour = red\n", 11, 1, "unknown key `colour`"},
	    {COLS "size = 7\ndigits = 0-2\nflag 3.0 = ohm\npoint = 4: 0=3\nbyte 5 = x\n" SIX_ONE, 5, 8,
	     "nothing is said of column 6"},
	    {COLS "size = 3\ndigit 1 = 0.3-0\ndigit 3 = 1.3-0\nflag 2 = ignore\n" ONE, 6, 1,
	     "`digit 2` is missing"},
	    {COLS "size = 3\ndigit 1 = 0.7-0 1.7\n", 6, 17, "at most 8 bits"},
	    {"[dialect]\nname = x\nreads = columns\nframe = fixed 7\n" "[columns]\nsize = 6\n" ONE, 6, 8,
	     "fixed 7"},
	};
	int wrong = 0;
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct fault why;
		struct dialect_file *d = load(rows[i].text, &why);
		if (d || why.line != rows[i].line || why.column != rows[i].column ||
		    !strstr(why.text, rows[i].says) || strcmp(why.file, "x.ini") != 0) {
			print_error("%s\n%s: %s:%d:%d: %s\nexpected %d:%d: %s\n", rows[i].text,
			            d ? "taken" : "refused", why.file, why.line, why.column, why.text,
			            rows[i].line, rows[i].column, rows[i].says);
			wrong++;
		}
		if (d)
			drop(d);
	}
	assert_int_equal(wrong, 0);
}

static void plain_dialects_frame_by_frame(void **state)
{
	static const struct {
		const char *dialect, *frame;
		enum function function;
		double value; /* NAN: overload; INFINITY: not understood */
	} rows[] = {
	    {"ascii-number", "+4.8120E+02", FUNCTION_FARAD, 481.2}, {"ascii-number", " 7 ", FUNCTION_OHM, 7},
	    {"ascii-number", "-OL", FUNCTION_OHM, NAN},          {"ascii-number", "7 V", FUNCTION_OHM, INFINITY},
	    {"ascii-number", "7,1", FUNCTION_OHM, INFINITY},     {"ascii-number", "--7", FUNCTION_OHM, INFINITY},
	    {"ask-comma", "1.5,mV DC,OK", FUNCTION_VOLT_DC, 0.0015}, {"ask-comma", "1.5,A AC,", FUNCTION_AMP_AC, 1.5},
	    {"ask-comma", "1.5,Ohm AC,", FUNCTION_OHM, INFINITY}, {"ask-comma", "1.5,V,OL", FUNCTION_VOLT_DC, INFINITY},
	    {"ask-comma", "1.5,V,OK,", FUNCTION_VOLT_DC, INFINITY}, {"ask-comma", "OL,kOhm,OK", FUNCTION_OHM, NAN},
	    {"ask-comma", ",,", FUNCTION_OHM, INFINITY},
	};
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		const struct dialect *d = dialect_find(rows[i].dialect, strlen(rows[i].dialect));
		struct understood u;
		say(d, rows[i].function, rows[i].frame, strlen(rows[i].frame), &u);
		note_row("%s %s", rows[i].dialect, rows[i].frame);
		if (isinf(rows[i].value)) {
			assert_int_equal(u.said, SAID_NOTHING);
			continue;
		}
		assert_int_equal(u.said, SAID_READINGS);
		assert_int_equal(u.reading[0].function, rows[i].function);
		if (isnan(rows[i].value))
			assert_true(u.reading[0].state & READING_OVERLOAD);
		else
			assert_near(decimal_double(u.reading[0].value), rows[i].value, 0);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(shipped_files_agree_with_their_rows),
	    cmocka_unit_test(what_is_refused_and_where),
	    cmocka_unit_test(plain_dialects_frame_by_frame),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
