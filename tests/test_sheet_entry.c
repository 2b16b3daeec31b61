/* SPDX-License-Identifier: MIT */
/*
 * Lines of a sheet: what each word is taken for, where each fault lies, and the other
 * channel.  A property test writes what was understood as CSV and reads it back.
 */
#include "protocol/record/sheet_entry.h"
#include "tests/check.h"

#include <stdlib.h>

struct got {
	int n;
	struct sheet_row row[600];
};
static struct got got;

static bool keep(void *arg, const struct sheet_row *row, struct fault *why)
{
	(void)arg;
	(void)why;
	if (got.n < 600)
		got.row[got.n] = *row;
	got.n++;
	return true;
}

/* "kind=... nominal=... " of the cells that are written, in the order of columns. */
static void cells(const struct sheet_row *row, char *out, size_t size)
{
	size_t len = 0;
	out[0] = '\0';
	for (int i = 0; i < SHEET_COLUMNS; i++)
		if (row->written[i][0] && len < size)
			len += (size_t)snprintf(out + len, size - len, "%s%s=%s", len ? "; " : "",
			                        sheet_column_name[i], row->written[i]);
}

static void words_are_taken_for(void **state)
{
	(void)state;
	static const struct {
		const char *line;
		int rows;
		const char *first; /* its cells */
	} rows[] = {
	    {"R1-R6,R9 100k", 7, "position=R1; nominal=100k"},
	    {"R1-6,R9 100k", 7, "position=R1; nominal=100k"},
	    {"R12 470k cc 10% anode V3", 1,
	     "position=R12; kind=carbon-composition; nominal=470k; tolerance=10%; role=anode V3"},
	    {"R12 anode V3 10% cc 470k", 1,
	     "position=R12; kind=carbon-composition; nominal=470k; tolerance=10%; role=anode V3"},
	    {"C7 0.1u paper 400V with=R14 twin=C17", 1,
	     "position=C7; kind=paper; nominal=0.1u; rated=400V; with=R14; twin=C17"},
	    {"C7 0.1 uF 400 V coupling", 1,
	     "position=C7; nominal=0.1 uF; rated=400 V; role=coupling"},
	    {"C9 el 50 uF -10/+50% 450V reservoir part=can1", 1,
	     "position=C9; kind=electrolytic; nominal=50 uF; tolerance=-10/+50%; rated=450V; "
	     "role=reservoir; part=can1"},
	    {"C9 50u -10 +50 % el", 1,
	     "position=C9; kind=electrolytic; nominal=50u; tolerance=-10 +50 %"},
	    {"R3 4k7 1W 5 %", 1, "position=R3; nominal=4k7; tolerance=5 %; rated=1W"},
	    {"R3 220 1/2W ww", 1, "position=R3; kind=wirewound; nominal=220; rated=1/2W"},
	    {"R3 100n", 1, NULL}, /* a hundred nanohm: legal, if odd */
	    {"C3 100n K", 1, "position=C3; nominal=100n; tolerance=K"},
	    {"C3 100n M 250V", 1, "position=C3; nominal=100n; tolerance=M; rated=250V"},
	    {"R3 10 M grid leak", 1, "position=R3; nominal=10 M; role=grid leak"},
	    {"RAIL1 rail 285V +-10V", 1, "position=RAIL1; kind=rail; nominal=285V; tolerance=+-10V"},
	    {"BIAS1 rail -35 V +- 2 V", 1, "position=BIAS1; kind=rail; nominal=-35 V; tolerance=+- 2 V"},
	    {"BIAS1 rail -35 V +-2 V", 1, "position=BIAS1; kind=rail; nominal=-35 V; tolerance=+-2 V"},
	    {"H1 rail 6.3 V AC heaters", 1,
	     "position=H1; kind=rail; nominal=6.3 V AC; role=heaters"},
	    {"W1 winding >=20M", 1, "position=W1; kind=winding; tolerance=>=20M"},
	    {"V3", 1, "position=V3"},
	    {"V3,V103 \"", 0, NULL},
	    {"  R1   1k   # as drawn, not as fitted", 1, "position=R1; nominal=1k"},
	    {"", 0, ""},
	    {"   ", 0, ""},
	    {"# nothing", 0, ""},
	    {"R01-R12 1k", 12, "position=R01; nominal=1k"},
	    {"L/R1-L/R3 1k", 3, "position=L/R1; nominal=1k"},
	    {"L/R1-3 1k", 3, "position=L/R1; nominal=1k"},
	    {"B-1 rail 285V", 1, "position=B-1; kind=rail; nominal=285V"},
	    {"R1 1k note=\"burnt, and cut # here\"", 1,
	     "position=R1; nominal=1k; note=burnt, and cut # here"},
	    {"R1 nominal=1k tolerance=2% role=\"anode load\" service=20%", 1,
	     "position=R1; nominal=1k; tolerance=2%; service=20%; role=anode load"},
	    {"P1 50k pot lin", 1, "position=P1; kind=pot; nominal=50k; role=lin"},
	    {"T1 heater winding 0.3", 1, NULL},
	    {"C1 0.47\xc2\xb5 film", 1, "position=C1; kind=film; nominal=0.47\xc2\xb5"},
	    {"R1 1k \xc2\xb1" "5%", 1, "position=R1; nominal=1k; tolerance=\xc2\xb1" "5%"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct fault why = {.text = ""};
		char text[600] = "";
		got.n = 0;
		bool good = sheet_entry_parse(rows[i].line, strlen(rows[i].line), keep, NULL, &why);
		bool want = rows[i].rows > 0 || (rows[i].first && !rows[i].first[0]);
		if (got.n)
			cells(&got.row[0], text, sizeof text);
		if (good != want || (good && got.n != rows[i].rows) ||
		    (rows[i].first && strcmp(text, rows[i].first) != 0)) {
			note_row("\"%s\": %s, %d rows, \"%s\" (column %d: %s)", rows[i].line,
			         good ? "good" : "refused", got.n, text, why.column, why.text);
			fail();
		}
	}
}

static void faults_have_their_byte(void **state)
{
	(void)state;
	static const struct {
		const char *line;
		int column;
		const char *what;
	} rows[] = {
	    {"R1 10& cc", 6, "R1: nominal"},
	    {"R1 1k 2k", 7, "a second value"},
	    {"R1 1k 5% 10%", 10, "given already"},
	    {"R1 1k 5% tolerance=10%", 20, "given already"},
	    {"R9-R1 1k", 1, "backwards"},
	    {"R1,,R2 1k", 4, "missing"},
	    {"R1, 1k", 4, "missing"},
	    {"R1,+2 1k", 4, "no name"},
	    {"  R1,$x 1k", 6, "no name"},
	    {"R1-R9999 1k", 1, "more than 500"},
	    {"R1 1k colour=red", 7, "no column"},
	    {"C1 8u el esr=3", 14, "C1: esr wants a limit on one side"},
	    {"C1 8u esr=<=3 ESR=<=2", 15, "given already"},
	    {"C1 8u esr=", 11, "a limit is wanted"},
	    {"V3 valve=", 10, "a valve's own number is wanted"},
	    {"V3 valve=!x", 10, "a valve's own number is wanted"},
	    {"R1 1k valve=A17", 13, "R1 is a resistor"},
	    {"V1-V4 valve=A17", 13, "one valve is in one socket"},
	    {"R1 1k note=\"open", 7, "quote is not closed"},
	    {"R1 1k role=", 12, "nothing stands here"},
	    {"R1 0.1uF", 7, "nominal"},
	    {"R1 1k 0%", 7, "tolerance"},
	    {"C1 0.1u rated=heavy", 15, "rated"},
	    {"R1 position=R2", 4, "no column"},
	    {"R1 1k le\x1b[31mft", 9, "a control character"},
	    {"R1 1k note=\"a\rb\"", 14, "a line break"},
	    {"R1 1k gro\xffund", 10, "not UTF-8"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct fault why = {.text = ""};
		got.n = 0;
		bool good = sheet_entry_parse(rows[i].line, strlen(rows[i].line), keep, NULL, &why);
		if (good || why.column != rows[i].column || !strstr(why.text, rows[i].what)) {
			note_row("\"%s\": %s, column %d: %s", rows[i].line, good ? "good" : "refused",
			         why.column, why.text);
			fail();
		}
	}
}

static void names_shift(void **state)
{
	(void)state;
	static const struct {
		const char *name;
		int by;
		const char *want; /* "" where it cannot be */
	} rows[] = {
	    {"R7", 100, "R107"},     {"R07", 100, "R107"},   {"R07", 1, "R08"},
	    {"C7a", 100, "C107a"},   {"L/R7", 20, "L/R27"},  {"R107", -100, "R007"},
	    {"R7", -8, ""},          {"BIAS", 100, ""},      {"V3.2", 10, "V3.12"},
	    {"R999999999", 1, ""},   {"9", 1, "10"},
	    {"R12345678901", 1, ""}, {"abcdefghijklmnopqrstuvwxyz123459", 1,
	                              "abcdefghijklmnopqrstuvwxyz123460"},
	    {"abcdefghijklmnopqrstuvwxyz999999", 1, ""},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		char out[NAME_SIZE] = "";
		bool good = name_shift(rows[i].name, rows[i].by, out);
		if (good != (rows[i].want[0] != '\0') || (good && strcmp(out, rows[i].want) != 0)) {
			note_row("%s %+d: \"%s\"", rows[i].name, rows[i].by, out);
			fail();
		}
	}
	/* There and back. */
	for (int n = 0; n < 2000; n++) {
		char name[NAME_SIZE], there[NAME_SIZE], back[NAME_SIZE];
		snprintf(name, sizeof name, "R%d", n);
		assert_true(name_shift(name, 1000, there) && name_shift(there, -1000, back));
		size_t at = strspn(back + 1, "0");
		if (back[1 + at] == '\0')
			at--;
		assert_string_equal(back + 1 + at, name + 1);
	}
}

static void channels_have_another(void **state)
{
	(void)state;
	static const char *const rows[][2] = {
	    {"left", "right"}, {"right", "left"}, {"Left", "Right"}, {"LEFT", "RIGHT"}, {"L", "R"},
	    {"r", "l"},        {"A", "B"},        {"1", "2"},        {"2", "1"},        {"two", "one"},
	    {"mono", ""},      {"", ""},          {"3", ""},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		char out[16];
		channel_other(rows[i][0], out);
		assert_string_equal(out, rows[i][1]);
	}
}

static bool in_range(void *arg, const char *name)
{
	(void)arg;
	return strcmp(name, "R14") == 0;
}

static void the_other_channel(void **state)
{
	(void)state;
	static const struct {
		const char *line;
		const char *want;
	} rows[] = {
	    {"C7 0.1u paper 10% 400V coupling with=R14 channel=left part=can1 note=leaks price=2",
	     "position=C107; kind=paper; nominal=0.1u; tolerance=10%; rated=400V; role=coupling; "
	     "with=R114; channel=right; twin=C7; part=can101"},
	    {"C7 0.1u with=R15", "position=C107; nominal=0.1u; with=R15; twin=C7"},
	    {"V3", "position=V103; twin=V3"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct fault why = {.text = ""};
		struct sheet_row out;
		char text[600];
		got.n = 0;
		assert_true(sheet_entry_parse(rows[i].line, strlen(rows[i].line), keep, NULL, &why));
		assert_true(sheet_mirror_row(&got.row[0], 100, in_range, NULL, &out, &why));
		cells(&out, text, sizeof text);
		if (strcmp(text, rows[i].want) != 0) {
			note_row("%s\n  %s", rows[i].line, text);
			fail();
		}
		assert_string_equal(out.position.twin, got.row[0].position.name);
		/* What was understood is the same; only where it is has changed. */
		assert_int_equal(out.position.kind, got.row[0].position.kind);
		assert_int_equal(out.position.has_nominal, got.row[0].position.has_nominal);
		if (out.position.has_nominal)
			assert_int_equal(decimal_compare(out.position.nominal, got.row[0].position.nominal), 0);
	}
}

/* Limits of other quantities are kept as columns of their names, and understood. */
static void limits_beside(void **state)
{
	(void)state;
	static const char line[] = "C1,C2 8u el esr=<=3 Leakage=<=0.1mA";
	struct fault why = {.text = ""};
	got.n = 0;
	assert_true(sheet_entry_parse(line, strlen(line), keep, NULL, &why));
	assert_int_equal(got.n, 2);
	const struct position *p = &got.row[1].position;
	assert_int_equal(p->beside[QUANTITY_ESR].form, TOLERANCE_AT_MOST);
	assert_int_equal(decimal_compare(p->beside[QUANTITY_ESR].high, (struct decimal){3, 0}), 0);
	assert_int_equal(decimal_compare(p->beside[QUANTITY_LEAKAGE].high, (struct decimal){1, -4}), 0);
	assert_int_equal(got.row[1].extras, 2);
	assert_string_equal(got.row[1].extra_name[1], "leakage");
}

/* Any line of words that may stand in one: either refused with a byte of the line, or
 * rows that are understood the same again from their cells. */
static void any_line(void **state)
{
	(void)state;
	static const char *const words[] = {
	    "R1", "C7", "R1-R3", "R1,R2", "V3", "100k", "4k7", "0.1", "uF", "0.47u", "400V", "400", "V",
	    "10%", "-10", "+10", "%", "+-2", "cc", "paper", "rail", "anode", "K", "M", ">=20M", "1W",
	    "note=\"a b\"", "with=R2", "#", "-35", "AC", "=", "\"", "rated=1", "x=", "\xc2\xb5"};
	unsigned seed = 1;
	int good = 0, refused = 0;
	for (int i = 0; i < 200000; i++) {
		char line[200] = "";
		seed = seed * 1103515245 + 12345;
		int n = 1 + (int)(seed >> 16) % 6;
		for (int k = 0; k < n; k++) {
			seed = seed * 1103515245 + 12345;
			strcat(line, words[(seed >> 16) % (sizeof words / sizeof *words)]);
			strcat(line, " ");
		}
		struct fault why = {.text = ""};
		got.n = 0;
		if (!sheet_entry_parse(line, strlen(line), keep, NULL, &why)) {
			if (why.column < 1 || why.column > (int)strlen(line) + 1 || !why.text[0]) {
				note_row("\"%s\": column %d, \"%s\"", line, why.column, why.text);
				fail();
			}
			refused++;
			continue;
		}
		good++;
		for (int k = 0; k < got.n; k++) {
			static char json[8192];
			struct text text;
			struct sheet_row back;
			text_begin(&text, json, sizeof json);
			sheet_row_write(&text, &got.row[k]);
			assert_false(text.failed);
			struct slice s = {text.bytes, text.len};
			if (!sheet_row_read(s, &back, &why) ||
			    strcmp(back.position.name, got.row[k].position.name) != 0) {
				note_row("\"%s\": %s", line, why.text);
				fail();
			}
		}
	}
	assert_true(good > 10000 && refused > 10000);
}

/* The target of the trade: a two-channel amplifier on the sheet with at most 900 key
 * strokes.  60 positions of one channel, as they stand in a schematic, and its mirror. */
static void keystrokes(void **state)
{
	(void)state;
	static const char *const typed[] = {
	    "R1-R4 1M 10%",      "R5,R6 470k cc anode", "R7-R9 100k cc anode", "R10,R11 1k5 cathode",
	    "R12,R13 220k",      "R14-R17 470k grid",   "R18-R21 4k7 stop",    "R22-R25 10k", "R31-R34 47k",
	    "R26 27k 1W",        "R27,R28 150 5% ww",   "R29,R30 100",         "C1-C4 0.1u paper coupling",
	    "C5,C6 25u el 25V",  "C7,C8 50u el 25V",    "C9-C11 22n film",     "C12 100p mica",
	    "C13-C15 32u el 450V reservoir",            "C16,C17 8u el 450V",  "C18 0.47u",
	    "V1-V4",             "P1 500k",             "T1",                  "F1",
	    "RAIL1 rail 285V",   "RAIL2 rail 260V",     "RAIL3 rail 210V",
	};
	size_t strokes = strlen("mirror all +100\n");
	int rows = 0;
	for (size_t i = 0; i < sizeof typed / sizeof *typed; i++) {
		struct fault why = {.text = ""};
		got.n = 0;
		if (!sheet_entry_parse(typed[i], strlen(typed[i]), keep, NULL, &why)) {
			note_row("\"%s\": %s", typed[i], why.text);
			fail();
		}
		strokes += strlen(typed[i]) + 1;
		rows += got.n;
	}
	print_message("  %d positions in two channels, %zu keystrokes\n", 2 * rows, strokes);
	assert_true(2 * rows >= 120);
	assert_true(strokes <= 900);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(words_are_taken_for), cmocka_unit_test(faults_have_their_byte),
	    cmocka_unit_test(names_shift),         cmocka_unit_test(channels_have_another),
	    cmocka_unit_test(the_other_channel),   cmocka_unit_test(any_line),
	    cmocka_unit_test(limits_beside),
	    cmocka_unit_test(keystrokes),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
