/* SPDX-License-Identifier: MIT */
/*
 * Names of positions and the mirror, by properties: a list that is printed is read back the
 * same; ranges are bounded; any bytes are names or a fault at one of them; who is mirrored
 * there and back is who he was, and twins are each other's.
 */
#include "protocol/record/sheet_entry.h"
#include "tests/check.h"

#include <strings.h>

#define NAMES_MOST 2000

struct names {
	int n;
	char name[NAMES_MOST][NAME_SIZE];
	size_t at[NAMES_MOST];
};

static bool keep(void *arg, const char *name, size_t at, struct fault *why)
{
	struct names *g = arg;
	(void)why;
	if (g->n < NAMES_MOST) {
		strcpy(g->name[g->n], name);
		g->at[g->n] = at;
	}
	g->n++;
	return true;
}

static unsigned dice = 12345;
static unsigned throw_(unsigned n)
{
	dice = dice * 1103515245 + 12345;
	return (dice >> 16) % n;
}

/* ---- print and read ---- */

static void random_name(char out[NAME_SIZE])
{
	static const char *const forms[] = {"R%u", "C%u", "R%02u", "L/R%u", "V%ua", "RAIL%u", "B-%u",
	                                    "VR%u", "X.%u", "C%03u", "BIAS", "R%u.%u", "anode%u"};
	unsigned a = throw_(30), b = throw_(5);
	snprintf(out, NAME_SIZE, forms[throw_(sizeof forms / sizeof *forms)], a, b);
}

static void printed_and_read_back(void **state)
{
	static struct names made, got;
	(void)state;
	int ranges = 0;
	for (int turn = 0; turn < 20000; turn++) {
		char text[4096];
		struct fault why = {.text = ""};
		made.n = 0;
		int want = 1 + (int)throw_(12);
		while (made.n < want) {
			random_name(made.name[made.n++]);
			/* Runs, as they stand in schematics. */
			while (made.n < want && throw_(3) &&
			       name_shift(made.name[made.n - 1], 1, made.name[made.n]))
				made.n++;
		}
		size_t len = names_print((const char (*)[NAME_SIZE])made.name, (size_t)made.n, text,
		                         sizeof text);
		assert_true(len > 0);
		got.n = 0;
		bool good = names_each(text, len, keep, &got, &why);
		bool same = good && got.n == made.n;
		for (int i = 0; same && i < made.n; i++)
			same = strcmp(got.name[i], made.name[i]) == 0;
		if (!same) {
			note_row("%s: %s", text, why.text);
			fail();
		}
		ranges += strchr(text, '-') && !strstr(text, "B-");
		/* What was read prints as the same text: there is one shortest form. */
		char again[4096];
		assert_int_equal(names_print((const char (*)[NAME_SIZE])got.name, (size_t)got.n, again,
		                             sizeof again), len);
		assert_string_equal(text, again);
	}
	assert_true(ranges > 1000);
}

static void what_cannot_be_printed(void **state)
{
	(void)state;
	static const char rows[][2][NAME_SIZE] = {
	    {"R1-R6", "R9"},  {"R1..R6", "R9"}, {"R1", "2"}, {"R1", "2-7"}, {"R 1", "R2"}, {"", "R2"},
	};
	char out[64];
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
		assert_int_equal(names_print(rows[i], 2, out, sizeof out), 0);
	/* Room for every byte or none. */
	static const char three[][NAME_SIZE] = {"R1", "R2", "R3"};
	assert_int_equal(names_print(three, 3, out, 6), 5);
	assert_string_equal(out, "R1-R3");
	assert_int_equal(names_print(three, 3, out, 5), 0);
}

/* ---- ranges ---- */

static void ranges_are_bounded(void **state)
{
	static struct names got;
	(void)state;
	static const struct {
		const char *text;
		int n;
		const char *first, *last, *why;
		int column;
	} rows[] = {
	    {"R1-R500", 500, "R1", "R500", NULL, 0},
	    {"R1-R501", 0, NULL, NULL, "more than 500", 1},
	    {"C1,R1-R501", 1, NULL, NULL, "more than 500", 4},
	    {"R1-R999999999", 0, NULL, NULL, "more than 500", 1},
	    {"R1-R9999999999", 1, "R1-R9999999999", NULL, NULL, 0}, /* ten digits: a name */
	    {"R999999998-R999999999", 2, "R999999998", "R999999999", NULL, 0},
	    {"R5-R5", 1, "R5", "R5", NULL, 0},
	    {"R6-R5", 0, NULL, NULL, "backwards", 1},
	    {"R01-R12", 12, "R01", "R12", NULL, 0},
	    {"R1-C6", 1, "R1-C6", NULL, NULL, 0},
	    {"R1,2,5-7", 5, "R1", "R7", NULL, 0},
	    {"L/R1-L/R3", 3, "L/R1", "L/R3", NULL, 0},
	    {"L/R1-3", 3, "L/R1", "L/R3", NULL, 0},
	    {"B-1,B-2", 2, "B-1", "B-2", NULL, 0},
	    {"9", 1, "9", "9", NULL, 0},
	    {"BIAS,9", 1, NULL, NULL, "no name", 6},
	    {"R1 2", 1, NULL, NULL, NULL, 0},
	    {"R 1", 0, NULL, NULL, "no name", 1},
	    {"R1,", 1, NULL, NULL, "missing", 4},
	    {",R1", 0, NULL, NULL, "missing", 1},
	    {"", 0, NULL, NULL, "missing", 1},
	    {"  ", 0, NULL, NULL, "missing", 3},
	    {"R1 - ", 0, NULL, NULL, "no name", 4},
	    {"abcdefghijklmnopqrstuvwxyz1234567-1234569", 0, NULL, NULL, "no name", 1},
	    {"\xc2\xa0R1 \xe2\x80\x93 R3 ; $", 3, NULL, NULL, "no name", 15},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct fault why = {.text = ""};
		got.n = 0;
		bool good = names_each(rows[i].text, strlen(rows[i].text), keep, &got, &why);
		bool fits = rows[i].why ? !good && strstr(why.text, rows[i].why) && why.column == rows[i].column
		                        : !rows[i].first ||
		                              (good && strcmp(got.name[0], rows[i].first) == 0);
		fits = fits && (!rows[i].last || strcmp(got.name[got.n - 1], rows[i].last) == 0);
		fits = fits && (!rows[i].first || got.n == rows[i].n);
		if (!fits) {
			note_row("\"%s\": %s, %d names, \"%s\", column %d: %s", rows[i].text,
			         good ? "good" : "refused", got.n, got.name[0], why.column, why.text);
			fail();
		}
	}
}

/* Any bytes: names that are names, each from a byte of the text, or a fault there. */
static void any_bytes(void **state)
{
	static struct names got;
	(void)state;
	static const char *const bits[] = {"R1", "R", "1", "-", "..", ",", ";", " ", "to", "R2", "C10",
	                                   "\xe2\x80\x93", "\xc2\xa0", "500", "/", ".", "\xff", "$", "r7",
	                                   "thru", "\xe2\x80\xa6", "\t", "_", "999999999"};
	int good = 0, refused = 0;
	for (int turn = 0; turn < 200000; turn++) {
		char text[128] = "";
		for (unsigned k = throw_(9); k-- > 0;)
			strcat(text, bits[throw_(sizeof bits / sizeof *bits)]);
		struct fault why = {.text = ""};
		got.n = 0;
		size_t len = strlen(text);
		bool taken = names_each(text, len, keep, &got, &why);
		bool fits = taken ? got.n > 0
		                  : why.text[0] && why.column >= 1 && (size_t)why.column <= len + 1;
		fits = fits && got.n <= 9 * ENTRY_RANGE_MAX;
		for (int k = 0; fits && k < got.n && k < NAMES_MOST; k++)
			fits = name_valid(got.name[k], strlen(got.name[k])) && got.at[k] < len;
		if (!fits) {
			note_row("\"%s\": %s, %d names, column %d: %s", text, taken ? "good" : "refused", got.n,
			         why.column, why.text);
			fail();
		}
		good += taken;
		refused += !taken;
	}
	assert_true(good > 5000 && refused > 5000);
	/* And one that is longer than a list may be. */
	static char longer[2 * NAMES_TEXT_MAX];
	struct fault why = {.text = ""};
	for (size_t k = 0; k + 4 < sizeof longer; k += 3)
		memcpy(longer + k, "R1,", 3);
	got.n = 0;
	assert_false(names_each(longer, strlen(longer), keep, &got, &why));
	assert_non_null(strstr(why.text, "4096"));
	assert_int_equal(got.n, 0);
}

/* ---- one name ---- */

static void raised(void **state)
{
	(void)state;
	static const char *const rows[][2] = {
	    {"r12", "R12"}, {"c7a", "C7a"},     {"vr3", "VR3"},     {"rail1", "rail1"}, {"x1", "x1"},
	    {"R12", "R12"}, {"l/r7", "l/r7"},   {"b-1", "b-1"},     {"bias", "bias"},   {"r", "r"},
	    {"ht1", "HT1"}, {"anode1", "anode1"}, {"rV1", "rV1"},   {"1r", "1r"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		char out[NAME_SIZE];
		name_raise(rows[i][0], out);
		assert_string_equal(out, rows[i][1]);
	}
}

static void many_or_one(void **state)
{
	(void)state;
	static const struct {
		const char *cell;
		bool in_a_sheet, in_a_list;
	} rows[] = {
	    {"R1", false, false},    {"R1,R2", true, true},   {"R1-R6", true, true},
	    {"R1-6", false, true},   {"V1-2", false, true},   {"B-1", false, false},
	    {"R1 R2", true, true},   {"R 1", false, false},   {"R,1", false, false},
	    {"R1\xe2\x80\x93R6", true, true}, {"R1..R6", true, true}, {"", false, false},
	    {"R1;R2", true, true},   {"HT-A", false, false},  {"L/R1-L/R3", true, true},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		note_row("%s", rows[i].cell);
		assert_int_equal(names_many(rows[i].cell, false), rows[i].in_a_sheet);
		assert_int_equal(names_many(rows[i].cell, true), rows[i].in_a_list);
	}
}

/* ---- the mirror ---- */

static bool keep_row(void *arg, const struct sheet_row *row, struct fault *why)
{
	(void)why;
	*(struct sheet_row *)arg = *row;
	return true;
}

static bool in_the_range(void *arg, const char *name)
{
	(void)arg;
	return name[0] != 'V';
}

static struct sheet_row line_row(const char *line)
{
	struct sheet_row row;
	struct fault why = {.text = ""};
	if (!sheet_entry_parse(line, strlen(line), keep_row, &row, &why))
		fail_msg("%s: %s", line, why.text);
	return row;
}

static struct sheet_row mirror_of(const struct sheet_row *row, int by)
{
	struct sheet_row out;
	struct fault why = {.text = ""};
	if (!sheet_mirror_row(row, by, in_the_range, NULL, &out, &why))
		fail_msg("%s: %s", row->position.name, why.text);
	return out;
}

static void there_and_back(void **state)
{
	(void)state;
	static const char *const channels[] = {"left", "right", "L", "r", "A", "b", "1", "2", "One"};
	static const char *const kinds[] = {"R", "C", "VR", "L/R", "P"};
	for (int turn = 0; turn < 5000; turn++) {
		char line[200];
		unsigned n = 1 + throw_(90), with = 91 + throw_(8); /* never itself */
		const char *kind = kinds[throw_(5)];
		bool cap = kind[0] == 'C';
		int by = 100;
		snprintf(line, sizeof line, "%s%u%s %s 10%% %s with=%s%u channel=%s part=can%u", kind, n,
		         throw_(4) ? "" : "a", cap ? "0.1u" : "47k", throw_(2) ? "coupling" : "anode load",
		         throw_(2) ? "R" : "V", with, channels[throw_(9)], 1 + throw_(9));
		struct sheet_row row = line_row(line);
		struct sheet_row there = mirror_of(&row, by);
		struct sheet_row back = mirror_of(&there, -by);
		/* Twins are each other's, and no part of the one channel is one of the other. */
		assert_string_equal(there.position.twin, row.position.name);
		assert_string_equal(back.position.twin, there.position.name);
		assert_string_not_equal(there.position.name, row.position.name);
		assert_string_not_equal(there.position.part, row.position.part);
		if (row.position.with[0] == 'V')
			assert_string_equal(there.position.with, row.position.with);
		else
			assert_string_not_equal(there.position.with, row.position.with);
		/* All of it comes back, but for the width of a number that grew. */
		for (int c = 0; c < SHEET_COLUMNS; c++) {
			char want[SHEET_CELL_SIZE], shifted[NAME_SIZE], back_again[NAME_SIZE];
			snprintf(want, sizeof want, "%s", row.written[c]);
			bool number = c == SHEET_POSITION || c == SHEET_PART ||
			              (c == SHEET_WITH && want[0] != 'V');
			if (number && name_shift(want, by, shifted) && name_shift(shifted, -by, back_again))
				strcpy(want, back_again);
			if (c == SHEET_TWIN)
				snprintf(want, sizeof want, "%s", there.position.name);
			/* `One` and `one` are the same channel. */
			bool same = c == SHEET_CHANNEL ? strcasecmp(back.written[c], want) == 0
			                               : strcmp(back.written[c], want) == 0;
			if (!same) {
				note_row("%s\n  %s: \"%s\", not \"%s\"", line, sheet_column_name[c],
				         back.written[c], want);
				fail();
			}
		}
		assert_int_equal(back.position.kind, row.position.kind);
		assert_int_equal(decimal_compare(back.position.nominal, row.position.nominal), 0);
	}
}

static void what_follows_and_what_does_not(void **state)
{
	(void)state;
	static const struct {
		const char *line, *column, *want;
	} rows[] = {
	    {"C9A 8u part=C9", "part", "C109"},          {"C9A 8u part=can", "part", ""},
	    {"C9A 8u part=C9", "position", "C109A"},     {"R1 1k note=\"see R2\"", "note", ""},
	    {"R1 1k price=2", "price", ""},              {"R1 1k with=R2", "with", "R102"},
	    {"R1 1k with=V2", "with", "V2"},             {"R1 1k channel=Left", "channel", "Right"},
	    {"R1 1k channel=mono", "channel", ""},       {"R1 1k 10% 1W", "tolerance", "10%"},
	    {"R1 1k 10% 1W", "rated", "1W"},             {"R1 1k anode V1", "role", "anode V1"},
	    {"R1 1k source=1M max=2W", "source", "1M"},  {"R1 1k service=20%", "service", "20%"},
	    {"R01 1k", "position", "R101"},              {"V3.2", "position", "V3.102"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct sheet_row row = line_row(rows[i].line), there = mirror_of(&row, 100);
		for (int c = 0; c < SHEET_COLUMNS; c++)
			if (strcmp(sheet_column_name[c], rows[i].column) == 0 &&
			    strcmp(there.written[c], rows[i].want) != 0) {
				note_row("%s: %s is \"%s\"", rows[i].line, rows[i].column, there.written[c]);
				fail();
			}
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(printed_and_read_back), cmocka_unit_test(what_cannot_be_printed),
	    cmocka_unit_test(ranges_are_bounded),    cmocka_unit_test(any_bytes),
	    cmocka_unit_test(raised),                cmocka_unit_test(many_or_one),
	    cmocka_unit_test(there_and_back),        cmocka_unit_test(what_follows_and_what_does_not),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
