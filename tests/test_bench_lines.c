/* SPDX-License-Identifier: MIT */
/*
 * The sheet as it is typed, at the bench: lines and the other channel, all or nothing,
 * and what a touched position becomes when it is described afterwards.
 */
#include "tests/bench_stand.h"

#define OPEN "red OL MOhm *8\n"

static bool add(struct stand *s, const char *text)
{
	s->why = (struct fault){.text = ""};
	bool good = bench_sheet_add(s->bench, s->t, text, strlen(text), (struct bench_wait){0}, &s->why);
	bench_collect(s->bench);
	return good;
}

static bool mirror(struct stand *s, const char *range, int by)
{
	s->why = (struct fault){.text = ""};
	bool good = bench_sheet_mirror(s->bench, s->t, range, by, (struct bench_wait){0}, &s->why);
	bench_collect(s->bench);
	return good;
}

/* The last record of a position, "" where it has none. */
static const char *record_of(const struct stand *s, const char *position)
{
	char want[64];
	snprintf(want, sizeof want, "\"position\":\"%s\",\"change\"", position);
	for (int i = s->records - 1; i >= 0; i--)
		if (strstr(s->record[i], want))
			return s->record[i];
	return "";
}

static void typed_lines_are_the_sheet(void **state)
{
	(void)state;
	struct stand *s = calloc(1, sizeof *s);
	stand_open(s, stand_config, ":memory:", NULL);
	assert_true(add(s, "R1-R3 100k\n\n# two of them\nC7 0.1u paper with=R14\nR14 470k\r\n"));
	assert_string_equal(stand_member(record_of(s, "R2"), "nominal"), "100k");
	assert_non_null(strstr(record_of(s, "R2"), "\"change\":\"added\""));
	assert_string_equal(stand_member(record_of(s, "C7"), "with"), "R14");
	assert_true(mirror(s, "R1-R20,C7", 100));
	assert_non_null(strstr(record_of(s, "C107"), "\"change\":\"mirrored\""));
	assert_string_equal(stand_member(record_of(s, "C107"), "with"), "R114");
	assert_string_equal(stand_member(record_of(s, "C107"), "twin"), "C7");
	/* And the first one knows it. */
	assert_string_equal(stand_member(record_of(s, "C7"), "twin"), "C107");
	/* `all` takes no mirror image for an original. */
	assert_true(add(s, "R30 1k"));
	assert_true(mirror(s, "all", 100));
	assert_string_equal(stand_member(record_of(s, "R130"), "twin"), "R30");
	assert_string_equal(record_of(s, "R201"), "");
	stand_free(s);
	free(s);
}

static void all_of_it_or_nothing(void **state)
{
	(void)state;
	static const struct {
		const char *lines;
		int line, column;
		const char *why;
	} rows[] = {
	    {"R50 1k\nR51 2kk\n", 2, 7, "R51: nominal"},
	    {"R50 1k\nR50 2k\n", 2, 1, "R50 was given already, at line 1, column 1"},
	    {"R50,R50 1k\n", 1, 5, "R50 was given already, at line 1, column 1"},
	    {"R50 1k\n\n R48 - R49, R50 1k\n", 3, 13, "R50 was given already, at line 1, column 1"},
	    {"R1 2k\n", 1, 1, "R1 is in the sheet already"},
	    {"\nC50 1u with=R77\n", 2, 1, "works with R77, but that is not in the sheet"},
	    {"R49,R50 1k twin=R77\n", 1, 1, "R77 is to be the twin of R49"},
	    {"R50 1k twin=R50\n", 1, 13, "cannot name itself"},
	    {"  R50 1k twin=R3\n", 1, 3, "R3 is the twin of R2"},
	    {"", 0, 0, "no position stands there"},
	    {"\n  # nothing\n", 0, 0, "no position stands there"},
	};
	struct stand *s = calloc(1, sizeof *s);
	stand_open(s, stand_config, ":memory:", NULL);
	assert_true(add(s, "R1 1k\nR2 1k\nR3 1k twin=R2"));
	assert_string_equal(stand_member(record_of(s, "R2"), "twin"), "R3");
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		int records = s->records;
		bool good = add(s, rows[i].lines);
		if (good || s->why.line != rows[i].line || s->why.column != rows[i].column ||
		    !strstr(s->why.text, rows[i].why) || s->records != records) {
			note_row("\"%s\": %d:%d %s, %d records", rows[i].lines, s->why.line, s->why.column,
			         s->why.text, s->records - records);
			fail();
		}
	}
	static const struct {
		const char *range;
		int by;
		const char *why;
	} mirrors[] = {
	    {"R1", 0, "raised by how much"},      {"R1", 1, "R2, but that is in the sheet already"},
	    {"R2", 100, "has a twin already"},    {"R7-R9", 100, "nothing of R7-R9"},
	    {"R1,", 100, "missing"},              {"R1", 999999999, "cannot be raised"},
	};
	for (size_t i = 0; i < sizeof mirrors / sizeof *mirrors; i++) {
		int records = s->records;
		if (mirror(s, mirrors[i].range, mirrors[i].by) ||
		    !strstr(s->why.text, mirrors[i].why) || s->records != records) {
			note_row("%s +%d: %s", mirrors[i].range, mirrors[i].by, s->why.text);
			fail();
		}
	}
	stand_free(s);
	free(s);
}

struct faults {
	int n;
	char text[2048];
};

static void keep_fault(void *arg, const struct fault *why)
{
	struct faults *f = arg;
	size_t len = strlen(f->text);
	snprintf(f->text + len, sizeof f->text - len, "%s%d:%d %s", f->n++ ? "; " : "", why->line,
	         why->column, why->text);
}

/* Every fault at once, with its place; nothing is changed by asking. */
static void all_faults_are_said(void **state)
{
	(void)state;
	static const struct {
		const char *lines;
		int rows;
		const char *faults[5];
	} rows[] = {
	    {"R50-R52 1k\nC50 1u\n", 4, {NULL}},
	    {"R50 1kk\nR51 1k\nR1 5k\nR51 2k\n  R53 1k twin=R99\n", 2,
	     {"1:7 R50: nominal", "3:1 R1 is in the sheet already", "4:1 R51 was given already, at line 2",
	      "5:3 R99 is to be the twin", NULL}},
	    /* What stood to the left in a faulty line does not count. */
	    {"R50,R51,R50 1k\nR51 1k\n", 1, {"1:9 R50 was given already, at line 1, column 1", NULL}},
	    {"", 0, {"0:0 no position stands there", NULL}},
	    {"# nothing\nR5$ 1k", 0, {"2:1 no name of a position", NULL}},
	    /* Rows below their headings, as a spreadsheet copies them. */
	    {"position\tnominal\nR50\t1k\nR51, R52\t4,7k\n", 3, {NULL}},
	    {"Ref\tValue\tQty\nR50-52\t1k\t3\nC50\t47u/450V\t1\n", 4, {NULL}},
	    {"Ref\tValue\tQty\nR50-52\t1k\t2\n", 0, {"2:11 2 stand here, but", NULL}},
	    {"position\tnominal\nR50\t1k\nR1\t1k\n", 0, {"3:1 R1 is in the sheet already", NULL}},
	    /* And rows without headings are lines. */
	    {"R50\t1k\nR51\t4,7k\t5%\n", 2, {NULL}},
	};
	struct stand *s = calloc(1, sizeof *s);
	stand_open(s, stand_config, ":memory:", NULL);
	assert_true(add(s, "R1 1k\nR2 1k"));
	int records = s->records;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct faults f = {.n = 0};
		int n = bench_sheet_try(s->bench, s->t, rows[i].lines, strlen(rows[i].lines), keep_fault, &f);
		int want = 0;
		bool fits = n == rows[i].rows;
		for (; rows[i].faults[want]; want++)
			fits = fits && strstr(f.text, rows[i].faults[want]);
		if (!fits || f.n != want) {
			note_row("\"%s\": %d rows, %d faults: %s", rows[i].lines, n, f.n, f.text);
			fail();
		}
	}
	bench_collect(s->bench);
	assert_int_equal(s->records, records);
	/* What was tried can be done. */
	assert_true(add(s, rows[6].lines));
	assert_string_equal(stand_member(record_of(s, "C50"), "rated"), "450V");
	assert_string_equal(stand_member(record_of(s, "R51"), "nominal"), "1k");
	stand_free(s);
	free(s);
}

/* A range typed in a hurry is that of the sheet; a name that is there as typed goes first. */
static void mirrored_in_a_hurry(void **state)
{
	(void)state;
	struct stand *s = calloc(1, sizeof *s);
	stand_open(s, stand_config, ":memory:", NULL);
	stand_load(s, "position,nominal\nR1,1k\nR2,1k\nr2,2k\n");
	assert_true(mirror(s, "r1 \xe2\x80\x93 r2", 100));
	assert_string_equal(stand_member(record_of(s, "R101"), "twin"), "R1");
	assert_string_equal(record_of(s, "R102"), "");
	assert_string_equal(stand_member(record_of(s, "r102"), "twin"), "r2");
	stand_free(s);
	free(s);
}

/* Touched first, described later: the line gives the nominal, and its entry is judged. */
static void described_after_it_was_touched(void **state)
{
	(void)state;
	struct stand *s = calloc(1, sizeof *s);
	stand_open(s, stand_config, ":memory:", NULL);
	stand_play(s, "@0 reach lifted\n@0 at R77\n" OPEN "red ~100.2 kOhm *12\n" OPEN);
	assert_string_equal(s->made, "R77 red 100.2 kohm lifted");
	assert_true(add(s, "R77 220k 10%"));
	assert_string_equal(s->made, "R77 red 100.2 kohm lifted; rejudge R77");
	assert_string_equal(stand_member(s->record[s->records - 1], "verdict"), "outside");
	assert_false(add(s, "R77 100k"));
	/* In a hurry: the part that is there, no other. */
	stand_play(s, "@40 at r77\nred wait 40\n" OPEN "red ~101.2 kOhm *12\n" OPEN);
	assert_non_null(strstr(s->made, "; R77 red 101.2 kohm lifted"));
	assert_string_equal(record_of(s, "r77"), "");
	stand_free(s);
	free(s);
}

/* A bench that is started anew has the sheet that was typed. */
static void read_back(void **state)
{
	(void)state;
	struct stand *s = calloc(1, sizeof *s);
	stand_open(s, stand_config, ":memory:", NULL);
	assert_true(add(s, "R1 100k 10%\nR2 1k"));
	assert_true(mirror(s, " All ", 100));
	struct log_reader *reader = log_reader_open(log_path(s->log), &s->why);
	assert_non_null(reader);
	stand_bench(s, NULL);
	assert_true(bench_restore(s->bench, reader, &s->why));
	log_reader_close(reader);
	bench_collect(s->bench);
	int records = s->records;
	assert_false(add(s, "R101 1k"));
	assert_non_null(strstr(s->why.text, "R101 is in the sheet already"));
	assert_false(mirror(s, "R1", 100));
	assert_int_equal(s->records, records);
	stand_free(s);
	free(s);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(typed_lines_are_the_sheet),
	    cmocka_unit_test(all_of_it_or_nothing),
	    cmocka_unit_test(all_faults_are_said),
	    cmocka_unit_test(mirrored_in_a_hurry),
	    cmocka_unit_test(described_after_it_was_touched),
	    cmocka_unit_test(read_back),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
