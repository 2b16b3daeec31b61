/* SPDX-License-Identifier: MIT */
/*
 * The dialect `scpi`.
 *
 * IEEE 488.2 and SCPI-99 were not at hand themselves; the rows are what public
 * texts quote of them, named beside each:
 *   [lib]   a public SCPI-99 parser library (github j123b567/scpi-parser, its error.h,
 *           units.c, ieee488.c), [lib-t] its lexer tests
 *   [guide] programming guides of instruments that quote the standards' clauses
 *   [own]   what follows from scpi.h
 *   [mem]   from memory
 */
#include "tests/meter_check.h"

#include "protocol/meter/scpi.h"

static const struct dialect *dialect(void)
{
	const struct dialect *d = dialect_find("scpi", 4);
	assert_non_null(d);
	return d;
}

/* A meter in a function, digit unknown. */
struct meter {
	struct dialect_setting setting;
	struct dialect_memory memory;
};

static struct understood say_bytes(struct meter *m, const char *bytes, size_t len)
{
	return understand(dialect(), &m->setting, &m->memory, bytes, len);
}

static struct understood say(struct meter *m, const char *line)
{
	return say_bytes(m, line, strlen(line));
}

/* Legend: the text of one element; its kind; sign of an infinity; the value; the
 * unit that its suffix has. */
struct numeric {
	const char *text;
	bool ok;
	enum scpi_kind kind;
	bool negative;
	int64_t n;
	int e;
	enum function unit;
};

#define NUM(text, n, e) {text, true, SCPI_NUMBER, false, n, e, FUNCTION_NONE}
#define WITH(text, n, e, unit) {text, true, SCPI_NUMBER, false, n, e, FUNCTION_##unit}
#define INF(text) {text, true, SCPI_INFINITE, false, 0, 0, FUNCTION_NONE}
#define NINF(text) {text, true, SCPI_INFINITE, true, 0, 0, FUNCTION_NONE}
#define NAN_(text) {text, true, SCPI_NOT_A_NUMBER, false, 0, 0, FUNCTION_NONE}
#define BAD(text) {text, false, SCPI_NUMBER, false, 0, 0, FUNCTION_NONE}

static const struct numeric numerics[] = {
    /* [guide] NRf with multiplier suffix: all equal 28 */
    NUM("28", 28, 0),
    NUM("0.28E2", 28, 0),
    NUM("280E-1", 280, -1),
    NUM("28000m", 28000, -3),
    NUM("0.028K", 28, 0),
    NUM("28E-3K", 28, 0),
    /* [guide] NRf, NR1, NR2, NR3 */
    NUM("+200", 200, 0),
    NUM("+9.9E36", 99, 35), /* a legal number, and not infinity */
    NUM("-9.9E36", -99, 35),
    NUM("146", 146, 0),
    NUM("-12345", -12345, 0),
    NUM("12.3", 123, -1),
    NUM("-0.123", -123, -3),
    NUM("+1.2345E+0", 12345, -4),
    NUM("+1.2345E+6", 12345, 2),
    NUM("+1.23456789E+03", 123456789, -5),
    /* [guide] infinity and not a number */
    INF("9.9E37"),
    NINF("-9.9E37"),
    NAN_("9.91E37"),
    /* [mem] as bench meters print them */
    INF("+9.90000000E+37"),
    NINF("-9.90000000E+37"),
    NAN_("+9.91000000E+37"),
    NAN_("-9.91E37"),
    /* [own] by value, not by text; held in 32 bits they are not exact */
    INF("99E36"),
    INF("0.99e+38"),
    INF("+9.89999995E+37"),
    INF("+9.90000050E+37"),
    INF("990000000000000000e20"),
    NINF("-9.89999995E+37"),
    NAN_("9.91000010E+37"),
    NUM("9.89E37", 989, 35),
    BAD("9.905E37"),
    BAD("9.92E37"),
    BAD("1E38"),
    BAD("-1E39"),
    /* [lib] character forms */
    INF("INFinity"),
    INF("INF"),
    INF("infinity"),
    NINF("NINF"),
    NINF("NINFinity"),
    NAN_("NAN"),
    NAN_("nan"),
    INF("+INF"),
    NINF("-INF"),
    NINF("-inf"),
    NAN_("-nan"),
    BAD("INFI"),
    BAD("INFINIT"),
    BAD("-NINF"),
    BAD("NA"),
    /* [lib-t] NRf and white space */
    NUM("-10.5", -105, -1),
    NUM("-1 e 3", -1, 3),
    NUM("+.5", 5, -1),
    NUM("10.", 10, 0),
    NUM("1.e3", 1, 3),
    NUM("1e+3", 1, 3),
    NUM(" 1.5 ", 15, -1),
    NUM("\t1.5\t", 15, -1),
    BAD("-."),
    BAD("."),
    BAD("+"),
    BAD("e3"),
    BAD("1e"),
    BAD("1e+"),
    BAD("1 e + 3"),
    BAD("+ 1"),
    BAD("--1"),
    BAD("1.2.3"),
    BAD("1 2"),
    BAD(""),
    BAD("  "),
    /* [lib-t] other bases */
    NUM("#H123fe5A", 19136090, 0),
    NUM("#B0111010101", 469, 0),
    NUM("#Q17", 15, 0),
    BAD("#H"),
    BAD("#H12G"),
    BAD("#B012"),
    BAD("#Q8"),
    BAD("#X1"),
    BAD("#"),
    BAD("#HFFFFFFFFFFFFFFFFFFFF"),
    /* [lib] suffixes, case ignored: table 7-2 on table 7-1 */
    WITH("1V", 1, 0, VOLT_DC),
    WITH("1 EXV", 1, 18, VOLT_DC),
    WITH("1 PEV", 1, 15, VOLT_DC),
    WITH("1 TV", 1, 12, VOLT_DC),
    WITH("1 GV", 1, 9, VOLT_DC),
    WITH("1 MAV", 1, 6, VOLT_DC),
    WITH("1 KV", 1, 3, VOLT_DC),
    WITH("1 MV", 1, -3, VOLT_DC),
    WITH("1 mV", 1, -3, VOLT_DC),
    WITH("1 UV", 1, -6, VOLT_DC),
    WITH("1 NV", 1, -9, VOLT_DC),
    WITH("1 PV", 1, -12, VOLT_DC),
    WITH("1 FV", 1, -15, VOLT_DC),
    WITH("1 AV", 1, -18, VOLT_DC),
    WITH("1 A", 1, 0, AMP_DC),
    WITH("1 MA", 1, -3, AMP_DC),
    WITH("1 MAA", 1, 6, AMP_DC),
    WITH("4.7 OHM", 47, -1, OHM),
    WITH("4.7 kohm", 47, 2, OHM),
    WITH("4.7 MOHM", 47, 5, OHM),
    WITH("4.7 Mohm", 47, 5, OHM),
    WITH("4.7 MAOHM", 47, 5, OHM),
    WITH("4.7 MHZ", 47, 5, HERTZ),
    WITH("4.7HZ", 47, -1, HERTZ),
    WITH("0.345 UF", 345, -9, FARAD),
    WITH("0.345E-6F", 345, -9, FARAD),
    WITH("345 NFAR", 345, -9, FARAD),
    WITH("15 MH", 15, -3, HENRY),
    WITH("23.4 CEL", 234, -1, CELSIUS),
    WITH("12.5 PCT", 125, -1, PERCENT),
    WITH("12.5%", 125, -1, PERCENT),
    WITH("+1.23456E+00VDC", 123456, -5, VOLT_DC),
    WITH("+1.23456E+00VAC", 123456, -5, VOLT_AC),
    WITH("1 MAAC", 1, -3, AMP_AC),
    WITH("1 ADC", 1, 0, AMP_DC),
    NUM("1 EX", 1, 18), /* and no exponent */
    NUM("1 M", 1, -3),
    NUM("1 T", 1, 12),
    /* [own] m before OHM and HZ may have meant milli */
    BAD("4.7 mOHM"),
    BAD("4.7 mohm"),
    BAD("4.7 mHz"),
    BAD("1 S"),
    BAD("1 W"),
    BAD("1 VX"),
    BAD("1 V AC"),
    BAD("1 KPCT"),
    BAD("1 KK"),
    BAD("1 V;"),
    BAD("1;2"),
    BAD("12345678901234567890"),
    BAD("1E41"),
    BAD("1E-41"),
    BAD("1E25EXV"),
    BAD("1E-39UF"),
};
#define NUMERICS (sizeof numerics / sizeof *numerics)

static void test_numeric_rows(void **state)
{
	(void)state;
	for (size_t i = 0; i < NUMERICS; i++) {
		const struct numeric *row = &numerics[i];
		struct scpi_value v;
		char why[120] = "";
		bool ok = scpi_value_parse(row->text, strlen(row->text), &v, why, sizeof why);
		if (ok != row->ok || (ok && (v.kind != row->kind || v.value.n != row->n)))
			note_row("%s: %s", row->text, why);
		assert_int_equal(ok, row->ok);
		if (!ok) {
			assert_non_null(strstr(why, "expected"));
			continue;
		}
		assert_int_equal(v.kind, row->kind);
		assert_int_equal(v.negative, row->negative);
		assert_true(v.value.n == row->n);
		assert_int_equal(v.value.e, row->e);
		assert_int_equal(v.function, row->unit);
	}
}

/* The same rows as frames between two good answers: whole, cut anywhere, byte by
 * byte; a row is a reading, or it is not and says why. */
static void test_in_any_pieces(void **state)
{
	(void)state;
	for (size_t i = 0; i < NUMERICS; i++) {
		char text[200];
		const char *row = numerics[i].text;
		bool blank = strspn(row, " ") == strlen(row);
		int len = snprintf(text, sizeof text, "+1.5E+0\r\n%s\r\n+2.5E+0\r\n", row);
		for (size_t cut = 0; cut <= (size_t)len + 1; cut++) {
			struct heard h = {.dialect = dialect(), .setting = {.function = FUNCTION_OHM}};
			hear(&h, text, (size_t)len, cut > (size_t)len ? SIZE_MAX : cut);
			if (h.reading_count != 2 + numerics[i].ok)
				note_row("%s", row);
			assert_int_equal(h.reading_count, 2 + numerics[i].ok);
			assert_int_equal(h.good, 3);
			assert_int_equal(h.faults, 0);
			/* Words that are none of ours are text, and no bad frame. */
			bool text_row = !strncmp(row, "INFI", 4) || !strcmp(row, "NA");
			assert_int_equal(h.nothing, !(numerics[i].ok || blank || text_row));
			assert_int_equal(h.readings[h.reading_count - 1].has_value, 1);
		}
	}
}

static void test_cut_and_overlong(void **state)
{
	(void)state;
	static const char good[] = "+4.70123000E+03";
	for (size_t cut = 1; cut < sizeof good; cut++) {
		struct heard h = {.dialect = dialect(), .setting = {.function = FUNCTION_OHM}};
		hear(&h, good, cut, 0);
		assert_int_equal(h.reading_count, 0);
		assert_int_equal(h.faults, 1);
	}
	char text[600];
	memset(text, '0', sizeof text);
	memcpy(text + sizeof text - 11, "1 V\r\n2 V\r\n", 10);
	struct heard h = {.dialect = dialect()};
	hear(&h, text, sizeof text - 1, 0);
	assert_int_equal(h.reading_count, 1);
	assert_int_equal(h.faults, 1);
}

/* Legend: the line; what it is. */
static const struct {
	const char *line;
	enum said said;
	int number; /* of values, or of the error */
} lines[] = {
    {"", SAID_OTHER, 0},
    {"   ", SAID_OTHER, 0},
    {"+1.0E+0", SAID_READINGS, 1},
    {"+1.0E+0,+2.0E+0, 3", SAID_READINGS, 3},
    {"1,2,3,4", SAID_READINGS, 4}, /* three commas, and no identity */
    {"NAN,NAN,NAN,NAN", SAID_READINGS, 4},
    {"1,2,3,4,5,6,7,8,9,10,11,12,13,14,15,16", SAID_READINGS, 16},
    {"1,2,3,4,5,6,7,8,9,10,11,12,13,14,15,16,17", SAID_NOTHING, 0},
    {"1,", SAID_NOTHING, 0},
    {",1", SAID_NOTHING, 0},
    {"1,,2", SAID_NOTHING, 0},
    {",", SAID_NOTHING, 0},
    {"1,x,2", SAID_NOTHING, 0},
    {"+1.0xE+0,2,3,4", SAID_NOTHING, 0},
    {"1.0xE+0,2,3,4", SAID_NOTHING, 0},
    {"NAN,NAX,NAN,NAN", SAID_NOTHING, 0},
    /* identities: IEEE 488.2 10.14, four fields [lib]; some have more commas */
    {"NORTH WORKS,BENCH 6,0,1.02-A", SAID_IDENTITY, 0},
    {"North,B6,0,0", SAID_IDENTITY, 0},
    {"North,,,", SAID_IDENTITY, 0},
    {"3N Works,B6,12345,0.1", SAID_IDENTITY, 0},
    {"North,B6,0,A,B,C", SAID_IDENTITY, 0},
    {"N\xf6rth,B6,0,0", SAID_IDENTITY, 0},
    {"North,B6,0", SAID_OTHER, 0},
    /* the error queue: SCPI-99 21.8 [lib] */
    {"0,\"No error\"", SAID_ERROR, 0},
    {"+0,\"No error\"", SAID_ERROR, 0},
    {"-113,\"Undefined header;READX?\"", SAID_ERROR, -113},
    {"-222, \"Data out of range\"", SAID_ERROR, -222},
    {"-350,\"Queue overflow\"", SAID_ERROR, -350},
    {"514,\"Not, here, or, there\"", SAID_ERROR, 514},
    {"-100,\"a \"\"quoted\"\" word\"", SAID_ERROR, -100},
    {"-100,'single'", SAID_ERROR, -100},
    {"-100,\"\"", SAID_ERROR, -100},
    {"-100,\"cut", SAID_NOTHING, 0},
    {"-100,\"two\",\"three\"", SAID_NOTHING, 0},
    {"-100,\"text\"x", SAID_NOTHING, 0},
    {"-1.5,\"text\"", SAID_NOTHING, 0},
    {",\"text\"", SAID_NOTHING, 0},
    {"12345678,\"text\"", SAID_NOTHING, 0},
    {"0,No error", SAID_NOTHING, 0},
    /* blocks: refused [lib-t] */
    {"#12AB", SAID_NOTHING, 0},
    {"#13AB", SAID_NOTHING, 0},
    {"#15hello", SAID_NOTHING, 0},
    {"#0hello", SAID_NOTHING, 0},
    {"#", SAID_NOTHING, 0},
    /* banners, strings */
    {"Welcome.", SAID_OTHER, 0},
    {"Bench meter ready, version 2", SAID_OTHER, 0},
    {"\"VOLT:AC\"", SAID_OTHER, 0},
    {"ON", SAID_OTHER, 0},
    /* numbers that came garbled are no banners */
    {"k1.2345E+03", SAID_NOTHING, 0},
    {"+1.2x45E+03", SAID_NOTHING, 0},
    {"*1.2345", SAID_NOTHING, 0},
    {"1.2345Volts", SAID_NOTHING, 0},
    {"0;1", SAID_NOTHING, 0},
    {"+1.0E+0;+2.0E+0", SAID_NOTHING, 0},
    {"Wel\x01" "come", SAID_NOTHING, 0},
    {"1.5\x7f", SAID_NOTHING, 0},
    {"\x01", SAID_NOTHING, 0},
};

static void test_lines(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
		struct meter m = {.setting = {.function = FUNCTION_VOLT_DC}};
		struct understood u = say(&m, lines[i].line);
		if (u.said != lines[i].said)
			note_row("%s: %d %s", lines[i].line, u.said, u.why);
		assert_int_equal(u.said, lines[i].said);
		if (u.said == SAID_READINGS)
			assert_int_equal(u.count, lines[i].number);
		if (u.said == SAID_ERROR) {
			assert_int_equal(u.error_number, lines[i].number);
			assert_string_equal(u.text, lines[i].line);
		}
		if (u.said == SAID_NOTHING) {
			assert_int_equal(m.memory.has_finest, false); /* nothing is learnt from it */
			assert_int_equal(u.error_number, 0);
		}
	}
	struct meter m = {.setting = {.function = FUNCTION_NONE}};
	assert_string_equal(say(&m, " North,B6,0,1.2 ").text, "North,B6,0,1.2");
	assert_string_equal(say(&m, "N\xf6rth,B6,0,0").text, "N?rth,B6,0,0");
	assert_non_null(strstr(say(&m, "#15hello").why, "block"));
	assert_non_null(strstr(say(&m, "0;1").why, ";"));
	assert_int_equal(say_bytes(&m, "1\0" "2", 3).said, SAID_NOTHING);
	/* An identity as long as a frame is cut to fit. */
	char line[FRAME_MAX];
	memset(line, 'x', sizeof line);
	memcpy(line, "No,B,0,", 7);
	struct understood u = say_bytes(&m, line, sizeof line);
	assert_int_equal(u.said, SAID_IDENTITY);
	assert_int_equal(strlen(u.text), sizeof u.text - 1);
}

/* The states: words for what is no number, and never a number. */
static void test_states(void **state)
{
	(void)state;
	struct meter m = {.setting = {.function = FUNCTION_OHM}};
	struct understood u = say(&m, "+9.90000000E+37,-9.9E37,9.91E37,+9.9E36");
	assert_int_equal(u.count, 4);
	assert_int_equal(u.reading[0].state, READING_OVERLOAD);
	assert_false(u.reading[0].negative);
	assert_int_equal(u.reading[0].function, FUNCTION_OHM);
	assert_int_equal(u.reading[1].state, READING_OVERLOAD);
	assert_true(u.reading[1].negative);
	assert_int_equal(u.reading[2].state, READING_INVALID);
	assert_false(u.reading[2].has_value);
	assert_int_equal(u.reading[3].state, 0);
	assert_true(u.reading[3].has_value);
	u = say(&m, "+9.90000000E+37OHM");
	assert_int_equal(u.reading[0].state, READING_OVERLOAD);
}

/* Of which function a number is: the unit that came with it, else the configured. */
static void test_function_of_numbers(void **state)
{
	(void)state;
	static const struct {
		enum function configured;
		const char *line;
		enum function function;
	} cases[] = {
	    {FUNCTION_NONE, "1.5", FUNCTION_NUMBER},
	    {FUNCTION_OHM, "1.5", FUNCTION_OHM},
	    {FUNCTION_NONE, "1.5V", FUNCTION_VOLT_DC},
	    {FUNCTION_VOLT_AC, "1.5V", FUNCTION_VOLT_AC},
	    {FUNCTION_DIODE, "0.6V", FUNCTION_DIODE},
	    {FUNCTION_AMP_AC, "1.5 MA", FUNCTION_AMP_AC},
	    {FUNCTION_VOLT_AC, "1.5VDC", FUNCTION_VOLT_DC},
	    {FUNCTION_VOLT_DC, "1.5VAC", FUNCTION_VOLT_AC},
	    {FUNCTION_OHM, "1.5V", FUNCTION_VOLT_DC},
	    {FUNCTION_NONE, "9.9E37", FUNCTION_NUMBER},
	};
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct meter m = {.setting = {.function = cases[i].configured}};
		struct understood u = say(&m, cases[i].line);
		assert_int_equal(u.count, 1);
		assert_int_equal(u.reading[0].function, cases[i].function);
	}
}

static size_t pick_line(char *line)
{
	size_t rows = sizeof lines / sizeof *lines;
	size_t i = (size_t)random() % (rows + NUMERICS);
	const char *text = i < rows ? lines[i].line : numerics[i - rows].text;
	size_t len = strlen(text);
	memcpy(line, text, len);
	return len;
}

/* One bit turned over in every row: understood or not, what comes is well formed
 * (checked in understand()). */
static void test_bit_flips(void **state)
{
	(void)state;
	int readings = 0, none = 0;
	for (size_t i = 0; i < NUMERICS; i++) {
		char line[100];
		size_t len = strlen(numerics[i].text);
		for (size_t bit = 0; bit < 8 * len; bit++) {
			struct meter m = {.setting = {.function = FUNCTION_OHM}};
			memcpy(line, numerics[i].text, len);
			line[bit / 8] = (char)(line[bit / 8] ^ (1 << bit % 8));
			if (say_bytes(&m, line, len).said == SAID_READINGS)
				readings++;
			else
				none++;
		}
	}
	assert_true(readings > 100 && none > 1000);
}

/* Random bytes, and good lines with bytes dropped, doubled, changed and swapped. */
static void test_garbage(void **state)
{
	(void)state;
	static const char likely[] = "0123456789+-.,;#\"'eE \tINFAVOHMZKUP%HQBx";
	struct meter m = {.setting = {.function = FUNCTION_OHM}};
	srandom(8);
	for (int round = 0; round < 100000; round++) {
		char line[260];
		size_t len;
		if (round % 2) {
			len = (size_t)random() % 24;
			for (size_t i = 0; i < len; i++)
				line[i] = (char)(round % 8 == 1 ? random()
				                                : likely[(size_t)random() % (sizeof likely - 1)]);
		} else {
			len = pick_line(line);
			for (long change = random() % 3 + 1; change > 0 && len > 0; change--) {
				size_t at = (size_t)random() % len;
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
		}
		m.setting.function = (enum function)(random() % FUNCTION_COUNT);
		m.setting.has_digit = random() % 2;
		m.setting.digit = (struct decimal){random() % 100, (int)(random() % 80 - 40)};
		(void)say_bytes(&m, line, len);
		(void)scpi_function(line, len);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_numeric_rows),
	    cmocka_unit_test(test_in_any_pieces),
	    cmocka_unit_test(test_cut_and_overlong),
	    cmocka_unit_test(test_lines),
	    cmocka_unit_test(test_states),
	    cmocka_unit_test(test_function_of_numbers),
	    cmocka_unit_test(test_bit_flips),
	    cmocka_unit_test(test_garbage),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
