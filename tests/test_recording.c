/* SPDX-License-Identifier: MIT */
/* Recordings: read, refused with the place, written and read back. */
#include "protocol/record/recording.h"

#include "tests/check.h"

#include <stdlib.h>

static const char example[] = "# tally recording 1\n"
                              "0.000000 red \"+0.4812 kOhm\\r\\n\"\n"
                              "0.250000 red \"+0.4811 kOhm\\r\\n\"\n"
                              "0.300000 @at R12\n"
                              "0.310000 @reach lifted\n";

struct seen {
	int bytes, acts, nothing;
	int64_t last;
};

static bool count(void *arg, const struct recording_line *line, struct fault *why)
{
	(void)why;
	struct seen *s = arg;
	s->bytes += line->what == RECORDING_BYTES;
	s->acts += line->what == RECORDING_ACT;
	s->nothing += line->what == RECORDING_NOTHING;
	s->last = line->t;
	return true;
}

static void the_example(void **state)
{
	(void)state;
	struct seen s = {0};
	struct fault why;
	assert_true(recording_check("a.rec", example, sizeof example - 1, count, &s, &why));
	assert_int_equal(s.bytes, 2);
	assert_int_equal(s.acts, 2);
	assert_int_equal(s.nothing, 1);
	assert_true(s.last == 310000);
}

/* One line after the header. */
static bool read_line(const char *line, size_t len, struct recording_line *out, struct fault *why)
{
	struct recording_reader r;
	recording_begin(&r, "a.rec");
	assert_true(recording_read(&r, RECORDING_HEADER, strlen(RECORDING_HEADER), out, why));
	r.t = 1000000; /* a line at 1 s came before */
	return recording_read(&r, line, len, out, why);
}

static void byte_lines(void **state)
{
	(void)state;
	static const struct {
		const char *line;
		int64_t t;
		const char *meter, *bytes;
		size_t len;
		int column;
	} rows[] = {
	    {"1 red \"\"", 1000000, "red", "", 0, 3},
	    {"1.5 red \"a\"", 1500000, "red", "a", 1, 5},
	    {"1.000001 r/e-d_.9 \"a b\"", 0, "", "", 0, 0}, /* _ is allowed */
	    {"1.000000\tred\t \"x\" \t", 1000000, "red", "x", 1, 10},
	    {"  2.25   red   \"x\"", 2250000, "red", "x", 1, 10},
	    {"1.0 red\"x\"", 1000000, "red", "x", 1, 5},
	    {"1.0 red \"\\r\\n\\t\\\\\\\"\\x00\\xFf\\x7e#;@\"", 1000000, "red", "\r\n\t\\\"\0\xff~#;@", 11, 5},
	    {"999999999.999999 red \"x\"\r", 999999999999999, "red", "x", 1, 18},
	};
	struct recording_line out;
	struct fault why;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		note_row("%s", rows[i].line);
		assert_true(read_line(rows[i].line, strlen(rows[i].line), &out, &why));
		assert_int_equal(out.what, RECORDING_BYTES);
		if (!rows[i].column) {
			assert_string_equal(out.meter, "r/e-d_.9");
			continue;
		}
		assert_true(out.t == rows[i].t);
		assert_string_equal(out.meter, rows[i].meter);
		assert_int_equal(out.len, rows[i].len);
		assert_memory_equal(out.bytes, rows[i].bytes, rows[i].len);
		assert_int_equal(out.column, rows[i].column);
	}
}

static void acts(void **state)
{
	(void)state;
	static const struct {
		const char *line, *act, *rest;
		int column, rest_column;
	} rows[] = {
	    {"1 @at R12", "at", "R12", 3, 7},
	    {"1.5 @walk on", "walk", "on", 5, 11},
	    {"1 @take", "take", "", 3, 8},
	    {"1 @take   ", "take", "", 3, 11},
	    {"1 @meter  red \t gone  ", "meter", "red \t gone", 3, 11},
	    {"1 @job M\xc3\xbchle, 2nd", "job", "M\xc3\xbchle, 2nd", 3, 8},
	    {"1 @at \"R1\" # x", "at", "\"R1\" # x", 3, 7},
	};
	struct recording_line out;
	struct fault why;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		note_row("%s", rows[i].line);
		assert_true(read_line(rows[i].line, strlen(rows[i].line), &out, &why));
		assert_int_equal(out.what, RECORDING_ACT);
		assert_string_equal(out.act, rows[i].act);
		assert_string_equal(out.rest, rows[i].rest);
		assert_int_equal(out.column, rows[i].column);
		if (rows[i].rest[0])
			assert_int_equal(out.rest_column, rows[i].rest_column);
	}
}

static void nothing(void **state)
{
	(void)state;
	static const char *const rows[] = {"", " \t", "# x", "  # \x01 anything", "\r"};
	struct recording_line out;
	struct fault why;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		assert_true(read_line(rows[i], strlen(rows[i]), &out, &why));
		assert_int_equal(out.what, RECORDING_NOTHING);
		assert_true(out.t == 1000000);
	}
}

static void refused(void **state)
{
	(void)state;
	static const struct {
		const char *legend, *line;
		int column;
		const char *says;
	} rows[] = {
	    {"no time", "red \"x\"", 1, "time"},
	    {"minus", "-1 red \"x\"", 1, "time"},
	    {"plus", "+1 red \"x\"", 1, "time"},
	    {"no digit before the point", ".5 red \"x\"", 1, "time"},
	    {"no digit after it", "1. red \"x\"", 3, "decimals"},
	    {"seven decimals", "1.0000000 red \"x\"", 9, "six"},
	    {"too large", "1000000000 red \"x\"", 1, "too large"},
	    {"exponent", "1e3 red \"x\"", 2, "space"},
	    {"comma", "1,5 red \"x\"", 2, "space"},
	    {"time alone", "1.5", 4, "space"},
	    {"time alone with a space", "1.5 ", 5, "expected"},
	    {"before the line above", "0.999999 red \"x\"", 1, "order of time"},
	    {"no name of a meter", "1 _red \"x\"", 3, "name"},
	    {"name too long", "1 abcdefghijklmnopqrstuvwxyz0123456 \"x\"", 3, "name"},
	    {"no name", "1 \"x\"", 3, "name"},
	    {"no bytes", "1 red", 6, "quotes"},
	    {"bytes without quotes", "1 red x", 7, "quotes"},
	    {"single quotes", "1 red 'x'", 7, "quotes"},
	    {"not closed", "1 red \"x", 7, "not closed"},
	    {"closed only by escape", "1 red \"x\\\"", 7, "not closed"},
	    {"more after it", "1 red \"x\" y", 11, "after the closing"},
	    {"comment after it", "1 red \"x\" # y", 11, "after the closing"},
	    {"unknown escape", "1 red \"ab\\q\"", 10, "escape"},
	    {"octal", "1 red \"\\012\"", 8, "escape"},
	    {"one hex digit", "1 red \"\\x1\"", 8, "escape"},
	    {"not hex", "1 red \"\\xg1\"", 8, "escape"},
	    {"capital X", "1 red \"\\X41\"", 8, "escape"},
	    {"escape cut by the end", "1 red \"\\x4", 8, "escape"},
	    {"backslash at the end", "1 red \"\\", 8, "escape"},
	    {"raw tab", "1 red \"a\tb\"", 9, "20-7E"},
	    {"raw byte above 7E", "1 red \"a\xb5\"", 9, "20-7E"},
	    {"raw 7F", "1 red \"\x7f\"", 8, "20-7E"},
	    {"no act", "1 @", 3, "word"},
	    {"no act before a space", "1 @ at", 3, "word"},
	    {"capital in an act", "1 @At R1", 4, "small"},
	    {"minus first", "1 @-at R1", 4, "small"},
	    {"control character after an act", "1 @at R1\x01", 9, "control"},
	    {"not UTF-8 after an act", "1 @job M\xfchle", 9, "UTF-8"},
	    {"CR in the middle", "1 red \"x\"\r ", 10, "after the closing"},
	};
	struct recording_line out;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct fault why = {.line = 0};
		bool good = read_line(rows[i].line, strlen(rows[i].line), &out, &why);
		note_row("%s: %s", rows[i].legend, good ? "taken" : why.text);
		assert_false(good);
		assert_string_equal(why.file, "a.rec");
		assert_int_equal(why.line, 2);
		assert_int_equal(why.column, rows[i].column);
		assert_non_null(strstr(why.text, rows[i].says));
	}
}

static void headers(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		int column; /* 0: good */
	} rows[] = {
	    {"# tally recording 1", 0},
	    {"# tally recording 1\r\n", 0},
	    {"# tally recording 1  \n", 0},
	    {"\xef\xbb\xbf# tally recording 1\n", 0},
	    {"", 1},
	    {"\n# tally recording 1\n", 1},
	    {"# tally recording 2\n", 19},
	    {"# tally recording 12\n", 20},
	    {"# tally recording", 18},
	    {"#tally recording 1\n", 2},
	    {"0.0 red \"x\"\n", 1},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct fault why = {.column = 0};
		bool good = recording_check("a.rec", rows[i].text, strlen(rows[i].text), NULL, NULL, &why);
		note_row("%s", rows[i].text);
		assert_int_equal(good, rows[i].column == 0);
		assert_int_equal(why.column, rows[i].column);
		assert_int_equal(why.line, good ? 0 : 1);
	}
}

static bool no_lifting(void *arg, const struct recording_line *line, struct fault *why)
{
	int column = *(int *)arg;
	if (line->what != RECORDING_ACT || strcmp(line->act, "reach") != 0)
		return true;
	fault_at(why, NULL, 0, column, "not here");
	return false;
}

/* The whole is checked before a line is run; the consumer's refusal has a place. */
static void whole_files(void **state)
{
	(void)state;
	struct fault why;
	int column = 0;
	assert_false(recording_check("a.rec", example, sizeof example - 1, no_lifting, &column, &why));
	assert_int_equal(why.line, 5);
	assert_int_equal(why.column, 10); /* of the @ */
	column = 3;
	assert_false(recording_check("a.rec", example, sizeof example - 1, no_lifting, &column, &why));
	assert_int_equal(why.column, 19); /* the third byte of `lifted` */
	assert_string_equal(why.file, "a.rec");
	/* Times stand in order across comments and acts. */
	static const char back[] = "# tally recording 1\n2 @at R1\n# x\n1.9 @at R2\n";
	assert_false(recording_check("a.rec", back, sizeof back - 1, NULL, NULL, &why));
	assert_int_equal(why.line, 4);
	assert_int_equal(why.column, 1);
	/* Every prefix is good or refused at a place inside it. */
	for (size_t n = 0; n < sizeof example; n++) {
		char *cut = malloc(n ? n : 1);
		memcpy(cut, example, n);
		why.line = 0;
		bool good = recording_check("a.rec", cut, n, NULL, NULL, &why);
		assert_true(good || (why.line >= 1 && why.line <= 5 && why.column >= 1));
		if (n == sizeof example - 1 || n == sizeof example - 2)
			assert_true(good);
		free(cut);
	}
}

static void write_and_read(void **state)
{
	(void)state;
	char *out = malloc(RECORDING_LINE_MAX + 2), bytes[RECORDING_BYTES_MAX];
	struct recording_line *line = malloc(sizeof *line);
	struct fault why;
	for (size_t i = 0; i < sizeof bytes; i++)
		bytes[i] = (char)(i * 7 + i / 256);
	for (size_t len = 0; len <= sizeof bytes; len = len < 300 ? len + 1 : len * 2) {
		size_t n = recording_write_bytes(1234567, "red", bytes, len, out, RECORDING_LINE_MAX + 2);
		assert_true(n > 0 && out[n - 1] == '\n' && out[n] == '\0');
		assert_int_equal(strlen(out), n);
		assert_true(read_line(out, n - 1, line, &why));
		assert_true(line->t == 1234567);
		assert_int_equal(line->len, len);
		assert_memory_equal(line->bytes, bytes, len);
	}
	/* The longest there is: every byte escaped. */
	memset(bytes, 0xff, sizeof bytes);
	size_t n = recording_write_bytes(999999999999999, "abcdefghijklmnopqrstuvwxyz012345", bytes,
	                                 sizeof bytes, out, RECORDING_LINE_MAX + 2);
	assert_true(n > 0);
	assert_true(read_line(out, n - 1, line, &why));
	assert_int_equal(line->len, sizeof bytes);

	assert_int_equal(recording_write_act(300000, "at", "R12", out, 99), 17);
	assert_string_equal(out, "0.300000 @at R12\n");
	assert_int_equal(recording_write_act(0, "take", NULL, out, 99), 15);
	assert_string_equal(out, "0.000000 @take\n");
	assert_int_equal(recording_write_act(0, "take", "", out, 99), 15);

	/* What could not be read back is not written. */
	assert_int_equal(recording_write_bytes(-1, "red", "", 0, out, 99), 0);
	assert_int_equal(recording_write_bytes(1000000000000000, "red", "", 0, out, 99), 0);
	assert_int_equal(recording_write_bytes(0, "r d", "", 0, out, 99), 0);
	assert_int_equal(recording_write_bytes(0, "red", bytes, RECORDING_BYTES_MAX + 1, out, 99999), 0);
	assert_int_equal(recording_write_act(0, "At", "x", out, 99), 0);
	assert_int_equal(recording_write_act(0, "", "x", out, 99), 0);
	assert_int_equal(recording_write_act(0, "at", "x\n1 @take", out, 99), 0);
	assert_int_equal(recording_write_act(0, "at", "\xff", out, 99), 0);
	free(out);
	free(line);
}

/* A buffer of every size that is too small, with a guard behind it. */
static void small_buffers(void **state)
{
	(void)state;
	static const char whole[] = "1.000000 red \"a\\r\\x00\\\"\"\n";
	for (size_t size = 0; size <= sizeof whole; size++) {
		char out[64];
		memset(out, '!', sizeof out);
		size_t n = recording_write_bytes(1000000, "red", "a\r\0\"", 4, out, size);
		assert_int_equal(n, size >= sizeof whole ? sizeof whole - 1 : 0);
		assert_true(out[size] == '!');
		if (n)
			assert_string_equal(out, whole);
		memset(out, '!', sizeof out);
		n = recording_escape("a\r\0\"", 4, out, size);
		assert_true(out[size] == '!');
		static const size_t cut[] = {0, 0, 1, 1, 3, 3, 3, 3, 7, 7, 9};
		assert_int_equal(n, cut[size < 10 ? size : 10]);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(the_example), cmocka_unit_test(byte_lines),
	    cmocka_unit_test(acts),        cmocka_unit_test(nothing),
	    cmocka_unit_test(refused),     cmocka_unit_test(headers),
	    cmocka_unit_test(whole_files), cmocka_unit_test(write_and_read),
	    cmocka_unit_test(small_buffers),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
