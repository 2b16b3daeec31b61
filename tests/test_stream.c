/* SPDX-License-Identifier: MIT */
/* The dialect `ascii-unit`, from bytes to readings. */
#include "tests/meter_check.h"

/* Legend: the line; function, value as digits and exponent, prefix; or `over`, with
 * `minus`; or an unknown line (function none). */
struct row {
	const char *line;
	enum function function;
	int64_t n;
	int e, prefix;
	bool over, minus;
};

#define IS(line, f, n, e, prefix) {line, FUNCTION_##f, n, e, prefix, false, false}
#define OVER(line, f, prefix) {line, FUNCTION_##f, 0, 0, prefix, true, false}
#define UNDER(line, f, prefix) {line, FUNCTION_##f, 0, 0, prefix, true, true}
#define NOT(line) {line, FUNCTION_NONE, 0, 0, 0, false, false}

static const struct row rows[] = {
    /* the lines of the interface */
    IS("+0.4812 kOhm", OHM, 4812, -1, 3),
    IS("0.345 uF", FARAD, 345, -9, -6),
    IS("-12.34 mV DC", VOLT_DC, -1234, -5, -3),
    IS("231.4 V AC", VOLT_AC, 2314, -1, 0),
    OVER("OL MOhm", OHM, 6),
    OVER("OL mF", FARAD, -3),
    OVER("OL V DC", VOLT_DC, 0),
    /* spaces, or none */
    IS("+0.4812kOhm", OHM, 4812, -1, 3),
    IS("0.345uF", FARAD, 345, -9, -6),
    IS("-12.34mVDC", VOLT_DC, -1234, -5, -3),
    IS("  231.4\tV   AC \t", VOLT_AC, 2314, -1, 0),
    IS("- 12.34 mV", VOLT_DC, -1234, -5, -3),
    OVER("OLMOhm", OHM, 6),
    OVER("OL  VAC", VOLT_AC, 0),
    /* coupling first or last, any case, or none */
    IS("DC -12.34 mV", VOLT_DC, -1234, -5, -3),
    IS("AC231.4V", VOLT_AC, 2314, -1, 0),
    IS("dc 1 A", AMP_DC, 1, 0, 0),
    IS("1.50 mA ac", AMP_AC, 150, -5, -3),
    IS("1.50 mA", AMP_DC, 150, -5, -3),
    IS("1.50 uAAC", AMP_AC, 150, -8, -6),
    IS("285.0 V", VOLT_DC, 2850, -1, 0),
    OVER("DC OL V", VOLT_DC, 0),
    /* each prefix with each sign for micro */
    IS("1 pF", FARAD, 1, -12, -12),
    IS("1 nF", FARAD, 1, -9, -9),
    IS("1 uF", FARAD, 1, -6, -6),
    IS("1 \xc2\xb5" "F", FARAD, 1, -6, -6),
    IS("1 \xce\xbc" "F", FARAD, 1, -6, -6),
    IS("1 \xb5" "F", FARAD, 1, -6, -6),
    IS("1\xc2\xb5" "A", AMP_DC, 1, -6, -6),
    IS("1 mF", FARAD, 1, -3, -3),
    IS("1 kHz", HERTZ, 1, 3, 3),
    IS("1 KHz", HERTZ, 1, 3, 3),
    IS("1 MHz", HERTZ, 1, 6, 6),
    IS("1 mHz", HERTZ, 1, -3, -3),
    IS("1 GHz", HERTZ, 1, 9, 9),
    IS("1.2 GOhm", OHM, 12, 8, 9),
    /* milli and mega are never confused, whatever the case of the unit */
    IS("4.7 MOHM", OHM, 47, 5, 6),
    IS("4.7 Mohm", OHM, 47, 5, 6),
    IS("4.7 mohm", OHM, 47, -4, -3),
    IS("4.7 mOHM", OHM, 47, -4, -3),
    IS("4.7 MV", VOLT_DC, 47, 5, 6),
    IS("4.7 mV", VOLT_DC, 47, -4, -3),
    /* each unit */
    IS("12.5 %", PERCENT, 125, -1, 0),
    IS("12.5%", PERCENT, 125, -1, 0),
    IS("23.4 C", CELSIUS, 234, -1, 0),
    IS("-3 \xc2\xb0" "C", CELSIUS, -3, 0, 0),
    IS("-3 \xb0" "C", CELSIUS, -3, 0, 0),
    IS("1.5 H", HENRY, 15, -1, 0),
    IS("1.5 mH", HENRY, 15, -4, -3),
    IS("50.01 Hz", HERTZ, 5001, -2, 0),
    IS("50.01 HZ", HERTZ, 5001, -2, 0),
    IS("470 Ohm", OHM, 470, 0, 0),
    IS("470 Ohms", OHM, 470, 0, 0),
    IS("470 kOHMS", OHM, 470, 3, 3),
    IS("470 \xce\xa9", OHM, 470, 0, 0),
    IS("470 \xe2\x84\xa6", OHM, 470, 0, 0),
    IS("4.70k\xce\xa9", OHM, 470, 1, 3),
    IS("4.70 M\xe2\x84\xa6", OHM, 470, 4, 6),
    /* numbers: the last digit weighs what it is written to weigh */
    IS("1.00 V", VOLT_DC, 100, -2, 0),
    IS("1.0 V", VOLT_DC, 10, -1, 0),
    IS("0.000 V", VOLT_DC, 0, -3, 0),
    IS("-0.000 V", VOLT_DC, 0, -3, 0),
    IS("00012.3 V", VOLT_DC, 123, -1, 0),
    IS(".5 V", VOLT_DC, 5, -1, 0),
    IS("12. V", VOLT_DC, 12, 0, 0),
    IS("+1.2345E+0 V", VOLT_DC, 12345, -4, 0),
    IS("1e3 Ohm", OHM, 1, 3, 0),
    /* overload, either sign, wherever the display has its point */
    OVER("+OL V", VOLT_DC, 0),
    UNDER("-OL V DC", VOLT_DC, 0),
    UNDER("- OL mV", VOLT_DC, -3),
    OVER("O.L MOhm", OHM, 6),
    OVER(".OL MOhm", OHM, 6),
    OVER("OL. kOhm", OHM, 3),
    OVER("ol Ohm", OHM, 0),
    /* not wholly understood */
    NOT("0.345"),
    NOT("OL"),
    NOT("-OL"),
    NOT("OL DC"),
    NOT("DC"),
    NOT("V"),
    NOT("kOhm"),
    NOT("+ V"),
    NOT("--1 V"),
    NOT("+-1 V"),
    NOT("- -1 V"),
    NOT("1.2.3 V"),
    NOT("1,2 V"),
    NOT("0,345 uF"),
    NOT(". V"),
    NOT("1 2 V"),
    NOT("+1 2.34 V"),
    NOT("1 E V"),
    NOT("12 v"),
    NOT("12 a"),
    NOT("12 f"),
    NOT("12 h"),
    NOT("12 hz"),
    NOT("12 c"),
    NOT("12 UF"),
    NOT("12 NF"),
    NOT("12 PF"),
    NOT("12 gHz"),
    NOT("12 k Ohm"),
    NOT("12 kkOhm"),
    NOT("12 mMV"),
    NOT("12 k"),
    NOT("12 m%"),
    NOT("12 kC"),
    NOT("12\xb5" "V"), /* 125V with the top bit of the 5 */
    NOT("12\xb0" "C"), /* 120C */
    NOT("12.\xb5" "F"),
    NOT("12 \xc2\xb0" "F"),
    NOT("12 \xb0" "F"),
    NOT("12 \xbc" "F"),
    NOT("12 \xc2" "F"),
    NOT("12 \xce" "F"),
    NOT("12 \xce\xa8"),
    NOT("12 Oh"),
    NOT("12 Ohmss"),
    NOT("12 Ohmx"),
    NOT("12 Ohm DC"),
    NOT("50 Hz AC"),
    NOT("AC 50 Hz"),
    NOT("12 VX"),
    NOT("12 V DCX"),
    NOT("12 V D"),
    NOT("DC 12 V DC"),
    NOT("DC 12 V AC"),
    NOT("12 V AC+DC"),
    NOT("12 DC V"),
    NOT("12 V DC AC"),
    NOT("12 V 13 V"),
    NOT("x12 V"),
    NOT("12 V\x01"),
    NOT("\x01" "12 V"),
    NOT("1234567890123456789 V"),
    NOT("1E41 V"),
    NOT("1E39 MOhm"),
    NOT("1E-39 uF"),
    NOT("nan V"),
    NOT("inf V"),
    NOT("OLL V"),
    NOT("O L V"),
    NOT("OL. . V"),
    NOT("Hello"),
};
#define ROWS (sizeof rows / sizeof *rows)

static const struct dialect *dialect(void)
{
	const struct dialect *d = dialect_find("ascii-unit", 10);
	assert_non_null(d);
	return d;
}

static struct reading expected(const struct row *row)
{
	return (struct reading){.function = row->function,
	                        .state = row->over ? READING_OVERLOAD : 0,
	                        .has_value = !row->over,
	                        .negative = row->minus,
	                        .value = {row->n, row->e},
	                        .prefix = row->prefix};
}

static struct understood one(const char *bytes, size_t len)
{
	const struct dialect_setting setting = {.function = FUNCTION_NONE};
	struct dialect_memory memory = {.function = FUNCTION_NONE};
	return understand(dialect(), &setting, &memory, bytes, len);
}

static void test_rows(void **state)
{
	(void)state;
	for (size_t i = 0; i < ROWS; i++) {
		struct understood u = one(rows[i].line, strlen(rows[i].line));
		struct reading want = expected(&rows[i]);
		bool known = rows[i].function != FUNCTION_NONE;
		if (known ? u.count != 1 || !same_reading(&u.reading[0], &want)
		          : u.said != SAID_NOTHING)
			note_row("%s: %d, %s", rows[i].line, u.said, u.why);
		assert_int_equal(u.said, known ? SAID_READINGS : SAID_NOTHING);
		assert_true(!known || same_reading(&u.reading[0], &want));
	}
}

/* What people then see is what the meter showed. */
static void test_shown(void **state)
{
	(void)state;
	static const char *const lines[][2] = {
	    {"+0.4812 kOhm", "0.4812 kohm"}, {"0.345 \xc2\xb5" "F", "0.345 uF"},
	    {"-12.34 mV DC", "-12.34 mV"},   {"231.40 V AC", "231.40 V"},
	    {"OL MOhm", "overload"},         {"-OL V DC", "negative overload"},
	    {"12.5%", "12.5 %"},
	};
	for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
		char text[80];
		struct understood u = one(lines[i][0], strlen(lines[i][0]));
		assert_int_equal(u.count, 1);
		reading_shown(&u.reading[0], text, sizeof text);
		assert_string_equal(text, lines[i][1]);
	}
}

static void test_empty_lines(void **state)
{
	(void)state;
	assert_int_equal(one("", 0).said, SAID_OTHER);
	assert_int_equal(one(" \t ", 3).said, SAID_OTHER);
	assert_int_equal(one("\0", 1).said, SAID_NOTHING);
}

/* Every row between two good lines: whole, cut in two anywhere, byte by byte, with
 * each of the line ends; the same readings come each time. */
static void test_in_any_pieces(void **state)
{
	(void)state;
	static const char *const ends[] = {"\r\n", "\n", "\r"};
	for (size_t i = 0; i < ROWS; i++)
		for (size_t end = 0; end < 3; end++) {
			char text[200];
			int len = snprintf(text, sizeof text, "1 V%s%s%s2 V%s", ends[end], rows[i].line,
			                   ends[end], ends[end]);
			bool known = rows[i].function != FUNCTION_NONE;
			for (size_t cut = 0; cut <= (size_t)len + 1; cut++) {
				struct heard h = {.dialect = dialect()};
				hear(&h, text, (size_t)len, cut > (size_t)len ? SIZE_MAX : cut);
				struct reading want = expected(&rows[i]);
				assert_int_equal(h.reading_count, known ? 3 : 2);
				assert_int_equal(h.nothing, known ? 0 : 1);
				assert_int_equal(h.faults, 0);
				assert_int_equal(h.readings[0].value.n, 1);
				assert_int_equal(h.readings[h.reading_count - 1].value.n, 2);
				assert_true(!known || same_reading(&h.readings[1], &want));
			}
		}
}

/* The line goes away inside a frame, or it came in the middle of one: no reading,
 * one fault. */
static void test_cut_frames(void **state)
{
	(void)state;
	for (size_t i = 0; i < ROWS; i++) {
		size_t len = strlen(rows[i].line);
		for (size_t cut = 1; cut <= len; cut++) {
			struct heard h = {.dialect = dialect()};
			hear(&h, rows[i].line, cut, 0);
			assert_int_equal(h.reading_count, 0);
			assert_int_equal(h.faults, 1);

			char text[100];
			struct frame_splitter s;
			int n = snprintf(text, sizeof text, "%s\r\n", rows[i].line + len - cut);
			frame_begin(&s, FRAME_LINE, 0, 0, 100);
			frame_feed(&s, 1000, text, (size_t)n, heard_frame, &h);
			assert_int_equal(h.reading_count, 0);
			assert_int_equal(h.faults, 2);
		}
	}
}

static void test_overlong_frames(void **state)
{
	(void)state;
	char text[600];
	memset(text, '0', sizeof text);
	memcpy(text + sizeof text - 11, "1 V\r\n2 V\r\n", 10);
	struct heard h = {.dialect = dialect()};
	hear(&h, text, sizeof text - 1, 0);
	assert_int_equal(h.reading_count, 1);
	assert_int_equal(h.readings[0].value.n, 2);
	assert_int_equal(h.faults, 1);
}

/* One bit of a good line turned over: a reading or none, but a well-formed one
 * (checked in understand()); m and M differ by one bit, and by nothing else. */
static void test_bit_flips(void **state)
{
	(void)state;
	int readings = 0, none = 0;
	for (size_t i = 0; i < ROWS; i++) {
		size_t len = strlen(rows[i].line);
		char line[100];
		for (size_t bit = 0; bit < 8 * len; bit++) {
			memcpy(line, rows[i].line, len);
			line[bit / 8] = (char)(line[bit / 8] ^ (1 << bit % 8));
			struct understood u = one(line, len);
			if (u.said == SAID_READINGS)
				readings++;
			else
				none++;
		}
	}
	assert_true(readings > 100 && none > 1000);
}

static void test_random_bytes(void **state)
{
	(void)state;
	static const char likely[] = "0123456789+-.eE \tOLolVAFHzC%pnumkKMGDC\xc2\xb5\xce\xbc\xa9";
	int readings = 0;
	srandom(5);
	for (int round = 0; round < 100000; round++) {
		char line[24];
		size_t len = (size_t)(random() % (long)sizeof line);
		for (size_t i = 0; i < len; i++)
			line[i] = (char)(round % 4 ? likely[random() % (long)(sizeof likely - 1)] : random());
		readings += one(line, len).said == SAID_READINGS;
	}
	assert_true(readings > 10);
}

/* Good lines with bytes dropped, doubled, changed and swapped. */
static void test_mutated_lines(void **state)
{
	(void)state;
	srandom(6);
	for (int round = 0; round < 100000; round++) {
		char line[110];
		const char *good = rows[random() % (long)ROWS].line;
		size_t len = strlen(good);
		memcpy(line, good, len);
		for (long change = random() % 3 + 1; change > 0 && len > 0; change--) {
			size_t at = (size_t)(random() % (long)len);
			switch (random() % 4) {
			case 0:
				memmove(line + at, line + at + 1, len - at - 1);
				len--;
				break;
			case 1:
				memmove(line + at + 1, line + at, len - at);
				len++;
				break;
			case 2:
				line[at] = (char)random();
				break;
			default:
				line[at] = line[(size_t)random() % len];
			}
		}
		(void)one(line, len);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_rows),          cmocka_unit_test(test_shown),
	    cmocka_unit_test(test_empty_lines),   cmocka_unit_test(test_in_any_pieces),
	    cmocka_unit_test(test_cut_frames),    cmocka_unit_test(test_overlong_frames),
	    cmocka_unit_test(test_bit_flips),     cmocka_unit_test(test_random_bytes),
	    cmocka_unit_test(test_mutated_lines),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
