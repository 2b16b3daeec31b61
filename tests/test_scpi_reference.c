/* SPDX-License-Identifier: MIT */
/*
 * The tables of IEEE 488.2 and SCPI-99 in tests/reference/, each row a case.  Where
 * the rows come from stands in their column `provenance` and in SOURCES.md there; the
 * standards themselves were not at hand.
 */
#include "tests/meter_check.h"
#include "tests/reference.h"

#include "protocol/meter/identity.h"
#include "protocol/meter/scpi.h"
#include "protocol/meter/timing.h"

/* What a whole answer is, over the line in two pieces cut anywhere. */
static void answered(const char *text, enum said said)
{
	char line[128];
	size_t len = (size_t)snprintf(line, sizeof line, "%s\n", text);
	for (size_t cut = 0; cut <= len; cut++) {
		struct heard h = {.dialect = dialect_find("scpi", 4)};
		struct frame_splitter s;
		dialect_split(h.dialect, &s, INT64_MIN / 2);
		frame_feed(&s, 1000, line, cut, heard_frame, &h);
		frame_feed(&s, 1000, line + cut, len - cut, heard_frame, &h);
		assert_int_equal(h.good, 1);
		assert_int_equal(h.last.said, said);
		frame_finish(&s, heard_frame, &h);
		assert_int_equal(h.faults, 0);
	}
}

/* kind, text, expected. */
static void numeric_row(const struct reference *row)
{
	const char *text = row->cell[1], *want = row->cell[2];
	struct scpi_value value;
	char why[160] = "";
	note_row("%s: %s", row->cell[0], text);
	bool good = scpi_value_parse(text, strlen(text), &value, why, sizeof why);
	if (strncmp(want, "block", 5) == 0) { /* a number is wanted: it is passed over whole */
		assert_false(good);
		answered(text, SAID_NOTHING);
	} else if (strcmp(want, "error") == 0) {
		assert_false(good);
		assert_true(why[0] != '\0');
	} else if (strcmp(want, "+INF") == 0 || strcmp(want, "-INF") == 0) {
		assert_true(good);
		assert_int_equal(value.kind, SCPI_INFINITE);
		assert_int_equal(value.negative, want[0] == '-');
		answered(text, SAID_READINGS);
	} else if (strcmp(want, "NAN") == 0) {
		assert_true(good);
		assert_int_equal(value.kind, SCPI_NOT_A_NUMBER);
		answered(text, SAID_READINGS);
	} else {
		struct decimal d;
		assert_true(good);
		assert_int_equal(value.kind, SCPI_NUMBER);
		assert_true(decimal_parse(want, strlen(want), &d));
		assert_int_equal(decimal_compare(value.value, d), 0);
		answered(text, SAID_READINGS);
	}
}

static void numbers(void **state)
{
	(void)state;
	assert_int_equal(reference_read("scpi-numeric", numeric_row), 23);
}

/* mnemonic, power of ten. */
static void suffix_row(const struct reference *row)
{
	static const struct { const char *unit; enum function f; } units[] = {
	    {"V", FUNCTION_VOLT_DC}, {"OHM", FUNCTION_OHM}, {"HZ", FUNCTION_HERTZ}, {"H", FUNCTION_HENRY}};
	int power = atoi(row->cell[1]);
	for (size_t i = 0; i < sizeof units / sizeof *units; i++) {
		char text[32], why[160];
		struct scpi_value value;
		snprintf(text, sizeof text, "4.7 %s%s", row->cell[0], units[i].unit);
		note_row("%s", text);
		/* HZ, not henry with a Z: H with M is millihenry all the same. */
		bool mega = strcmp(row->cell[0], "M") == 0 &&
		            (units[i].f == FUNCTION_OHM || units[i].f == FUNCTION_HERTZ);
		assert_true(scpi_value_parse(text, strlen(text), &value, why, sizeof why));
		assert_int_equal(value.function, units[i].f);
		assert_int_equal(decimal_compare(value.value, (struct decimal){47, (mega ? 6 : power) - 1}), 0);
		for (char *p = text; *p; p++)
			*p = *p >= 'A' && *p <= 'Z' ? (char)(*p + 32) : *p;
		/* Small m before OHM and HZ may have been meant as milli: refused. */
		bool good = scpi_value_parse(text, strlen(text), &value, why, sizeof why);
		assert_int_equal(good, !mega);
	}
}

static void suffixes(void **state)
{
	(void)state;
	assert_int_equal(reference_read("scpi-suffix", suffix_row), 12);
}

/* long, short: these two, in any case, and nothing between. */
static void shortform_row(const struct reference *row)
{
	const char *whole = row->cell[0];
	size_t length = strlen(whole), brief = strlen(row->cell[1]);
	note_row("%s", whole);
	for (size_t n = 0; n <= length; n++)
		assert_int_equal(scpi_mnemonic(whole, whole, n), n == length || n == brief);
	assert_true(scpi_mnemonic(whole, row->cell[1], brief));
	assert_false(scpi_mnemonic(whole, row->cell[1], brief - 1));
}

static void short_forms(void **state)
{
	(void)state;
	assert_int_equal(reference_read("scpi-shortform", shortform_row), 25);
}

/* register, bit, weight, name. */
static void status_row(const struct reference *row)
{
	int bit = atoi(row->cell[1]), found = 0;
	note_row("%s %s", row->cell[0], row->cell[3]);
	assert_int_equal(atoi(row->cell[2]), 1 << bit);
	if (strcmp(row->cell[0], "ESR") != 0)
		return; /* the status byte is never read: the queue itself is */
	for (int number = -999; number <= 100; number++) {
		const struct scpi_error_kind *kind = scpi_error_kind(number);
		if (!kind || kind->bit != bit)
			continue;
		assert_string_equal(kind->name, row->cell[3]);
		found++;
	}
	assert_int_equal(found, bit == 3 ? 200 : 100);
}

static void kinds_of_errors(void **state)
{
	/* Legend: number; bit in the register, -1 for none.  SCPI-99 21.8.9 to 21.8.16 [S18]. */
	static const struct { int number, bit; } rows[] = {
	    {0, -1}, {-99, -1}, {-100, 5}, {-113, 5}, {-199, 5}, {-200, 4}, {-222, 4}, {-299, 4},
	    {-300, 3}, {-350, 3}, {-399, 3}, {-400, 2}, {-440, 2}, {-500, 7}, {-600, 6}, {-700, 1},
	    {-800, 0}, {-900, -1}, {1, 3}, {32767, 3}, {32768, -1}};
	(void)state;
	assert_int_equal(reference_read("scpi-status-bits", status_row), 14);
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		const struct scpi_error_kind *kind = scpi_error_kind(rows[i].number);
		note_row("%d", rows[i].number);
		assert_int_equal(kind ? kind->bit : -1, rows[i].bit);
		assert_true(!kind || kind->means[0]);
	}
}

/* format, baud, bits, chars, ms a frame, frames a second: computed by hand. */
static void timing_row(const struct reference *row)
{
	struct line_settings line = {0};
	struct fault why;
	char format[32];
	note_row("%s", row->cell[0]);
	/* The first two words are the settings, the rest says what frame it is. */
	size_t n = strcspn(row->cell[0], " ") + 1;
	snprintf(format, sizeof format, "%.*s", (int)(n + 3), row->cell[0]);
	assert_true(line_settings_parse(format, strlen(format), &line, &why));
	assert_int_equal(line.baud, atoi(row->cell[1]));
	assert_int_equal(timing_bits(&line), atoi(row->cell[2]));
	size_t chars = (size_t)atoi(row->cell[3]);
	double ms = strtod(row->cell[4], NULL), rate = strtod(row->cell[5], NULL);
	assert_near(timing_seconds(&line, chars) * 1e3, ms, 0.51 * reference_last(row->cell[4]));
	assert_near(1 / timing_seconds(&line, chars), rate, 0.51 * reference_last(row->cell[5]));
}

static void times_on_the_line(void **state)
{
	struct line_settings line = {0};
	struct fault why;
	(void)state;
	assert_int_equal(reference_read("serial-timing", timing_row), 9);
	/* Other characters than those of the table: arithmetic. */
	assert_true(line_settings_parse("9600 8E1", 8, &line, &why));
	assert_int_equal(timing_bits(&line), 11);
	assert_true(line_settings_parse("9600 8N2", 8, &line, &why));
	assert_int_equal(timing_bits(&line), 11);
	line.baud = 0;
	assert_near(timing_seconds(&line, 10), 0, 0);
}

/* The formula of timing.h worked out by hand. */
static void how_well_a_stamp_is_known(void **state)
{
	struct line_settings line = {0};
	struct fault why;
	(void)state;
	assert_true(line_settings_parse("9600 8N1", 8, &line, &why));
	/* F 17.708 ms, L 16 ms, P 1 ms: sqrt(313.58 + 256 + 1) / sqrt(12) = 6.8955 ms */
	assert_near(timing_stamp(&line, 17, 0), 6.8955e-3, 2e-7);
	/* A 100 ms: half of it is 50 ms, / sqrt(3) = 28.868 ms; together 29.680 ms */
	assert_near(timing_stamp(&line, 17, 0.1), 29.680e-3, 1e-6);
	assert_true(line_settings_parse("600 7N2", 7, &line, &why));
	/* F 233.33 ms: a slow line is late by its frame: sqrt(54444.4 + 257) / sqrt(12) */
	assert_near(timing_stamp(&line, 14, 0), 67.517e-3, 1e-5);
	/* What is known before a frame was seen. */
	assert_int_equal(timing_frame(dialect_find("columns-14", 10)), 14);
	assert_int_equal(timing_frame(dialect_find("scpi", 4)), TIMING_LINE_CHARS);
}

/* Legend: the answer to *IDN?; maker, model, serial, firmware (IEEE 488.2 10.14, 0 for
 * what is not known [S18]); NULL maker: not in four fields. */
static const struct {
	const char *text, *maker, *model, *serial, *firmware;
} identities[] = {
    {"LANTERN WORKS,LW1,0001,1.0", "LANTERN WORKS", "LW1", "0001", "1.0"},
    {"Lantern Works, LW 1 , 0 ,0", "Lantern Works", "LW 1", "", ""},
    {"a,b,0,1.0-2.0,main 3,b", "a", "b", "", "1.0-2.0,main 3,b"},
    {"\"a,b,c,d\"", "a", "b", "c", "d"},
    {"\"a\",\"b\",\"c\",\"d\"", "a", "b", "c", "d"},
    {"'a,b',c,d,e", "'a", "b'", "c", "d,e"}, /* commas in quotes part fields all the same */
    {",,,", "", "", "", ""},
    {"a,0,00,0.0", "a", "0", "00", "0.0"}, /* only a 0 alone is none, and of these two */
    {"a,b,c", NULL, NULL, NULL, NULL},
    {"BENCH METER V1", NULL, NULL, NULL, NULL},
    {"", NULL, NULL, NULL, NULL},
    {"\"", NULL, NULL, NULL, NULL},
};

static void four_fields(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof identities / sizeof *identities; i++) {
		struct identity id;
		note_row("%s", identities[i].text);
		bool good = identity_parse(identities[i].text, &id);
		assert_int_equal(good, identities[i].maker != NULL);
		assert_string_equal(id.maker, good ? identities[i].maker : "");
		assert_string_equal(id.model, good ? identities[i].model : "");
		assert_string_equal(id.serial, good ? identities[i].serial : "");
		assert_string_equal(id.firmware, good ? identities[i].firmware : "");
	}
	/* A longer field is cut, and no other suffers from it. */
	char text[600];
	struct identity id;
	snprintf(text, sizeof text, "%0300d,b,c,d", 7);
	assert_true(identity_parse(text, &id));
	assert_int_equal(strlen(id.maker), IDENTITY_FIELD - 1);
	assert_string_equal(id.firmware, "d");
}

/* Legend: an answer; the function that it names; what frame it is. */
static const struct {
	const char *text;
	enum function function;
	enum said said;
} answers[] = {
    {"\"RES\"", FUNCTION_OHM, SAID_OTHER},
    {"'FRES'", FUNCTION_OHM, SAID_OTHER},
    {"RESISTANCE", FUNCTION_OHM, SAID_OTHER},
    {"\"VOLT\"", FUNCTION_VOLT_DC, SAID_OTHER},
    {"\"VOLT:AC\"", FUNCTION_VOLT_AC, SAID_OTHER},
    {"\"volt:dc\"", FUNCTION_VOLT_DC, SAID_OTHER},
    {"\"SENS:VOLT:AC\"", FUNCTION_VOLT_AC, SAID_OTHER},
    {"\"XNON:CURR\"", FUNCTION_AMP_DC, SAID_OTHER},
    {"\"VOLT +1.000000E+01,+1.000000E-05\"", FUNCTION_VOLT_DC, SAID_OTHER},
    {"\"RES DEF,MAX\"", FUNCTION_OHM, SAID_OTHER},
    {"\"CAP AUTO\"", FUNCTION_FARAD, SAID_OTHER},
    {"\"FRES 1000,0.001,(@101,102)\"", FUNCTION_OHM, SAID_OTHER},
    {"\"FREQ\"", FUNCTION_HERTZ, SAID_OTHER},
    {"\"PER\"", FUNCTION_NUMBER, SAID_OTHER},
    {"\"TEMP\"", FUNCTION_CELSIUS, SAID_OTHER},
    {"\"DIOD\"", FUNCTION_DIODE, SAID_OTHER},
    {"RES HIGH,LOW", FUNCTION_NONE, SAID_OTHER}, /* words behind it: a banner */
    {"RES,LW1,0001,1.0", FUNCTION_NONE, SAID_IDENTITY}, /* a maker of that name */
    {"\"RESI\"", FUNCTION_NONE, SAID_OTHER},
    {"\"VOLT:DC:FOO\"", FUNCTION_NONE, SAID_OTHER},
    {"VOLT?", FUNCTION_NONE, SAID_OTHER}, /* an echo of a question is no answer */
    {"\"VOLT\",\"CURR\"", FUNCTION_NONE, SAID_OTHER},
    {"4.7E3", FUNCTION_NONE, SAID_READINGS},
    {"-113,\"RES\"", FUNCTION_NONE, SAID_ERROR},
};

static void functions_in_answers(void **state)
{
	struct dialect_setting setting = {.function = FUNCTION_OHM};
	(void)state;
	for (size_t i = 0; i < sizeof answers / sizeof *answers; i++) {
		struct dialect_memory memory = {0};
		note_row("%s", answers[i].text);
		struct understood u = understand(dialect_find("scpi", 4), &setting, &memory,
		                                 answers[i].text, strlen(answers[i].text));
		assert_int_equal(u.said, answers[i].said);
		assert_int_equal(u.function, answers[i].function);
		assert_true(u.said != SAID_OTHER || u.text[0]);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(numbers),
	    cmocka_unit_test(suffixes),
	    cmocka_unit_test(short_forms),
	    cmocka_unit_test(kinds_of_errors),
	    cmocka_unit_test(times_on_the_line),
	    cmocka_unit_test(how_well_a_stamp_is_known),
	    cmocka_unit_test(four_fields),
	    cmocka_unit_test(functions_in_answers),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
