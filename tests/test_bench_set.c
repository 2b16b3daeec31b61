/* SPDX-License-Identifier: MIT */
/*
 * Fields of one position or of many that are alike: all of them are set, or none; and a mirror
 * that leaves something out.
 */
#include "tests/fit_stand.h"

static const char sheet[] = "position,nominal,tolerance\n"
                            "R1,100k,5%\nR2,100k,5%\nR3,100k,5%\nR9,100k,5%\n"
                            "C9A,8u,\nC9B,8u,\nV1,,\n";

/* The tolerance of a position by its last record. */
static const char *written(const struct stand *s, const char *position)
{
	char want[80];
	snprintf(want, sizeof want, "\"position\":\"%s\",\"change\"", position);
	for (int i = s->records - 1; i >= 0; i--)
		if (strstr(s->record[i], want))
			return s->record[i];
	return "";
}

static void many_at_once(void **state)
{
	(void)state;
	struct stand *s = fit_begin(sheet);
	fit_tell(s, "reach loose");
	fit_enter(s, "R1", "108k");
	fit_enter(s, "R9", "109k");
	assert_int_equal(fit_count(s, "position"), 7);
	fit_tell(s, "sheet set R1-R3,r9 tolerance=10% note=\"cracked glaze\"");
	for (const char *const *p = (const char *const[]){"R1", "R2", "R3", "R9", NULL}; *p; p++) {
		fit_has(written(s, *p), "\"tolerance\":\"10%\"");
		fit_has(written(s, *p), "cracked glaze");
	}
	assert_int_equal(fit_count(s, "position"), 11);
	/* Both entries are judged anew in the same breath. */
	assert_int_equal(fit_count(s, "rejudge"), 2);
	fit_has(fit_record(s, "rejudge", 0), "\"verdict\":\"within\"");
	fit_restart(s);
	fit_tell(s, "sheet set R1-R3 tolerance=");
	assert_null(strstr(written(s, "R2"), "\"tolerance\""));
	fit_has(written(s, "R9"), "\"tolerance\":\"10%\"");
	fit_end(s);
}

static void all_or_none(void **state)
{
	(void)state;
	static const struct {
		const char *act, *says;
	} rows[] = {
	    {"sheet set R1-R4 tolerance=10%", "R4 is not in the sheet: nothing was set"},
	    {"sheet set R1,R2,R1 tolerance=10%", "R1 is named twice"},
	    {"sheet set R1-R3 tolerance=10x", "R1: tolerance"},
	    {"sheet set R3-R1 tolerance=10%", "backwards"},
	    {"sheet set R1,R2 twin=R9", "twin belongs to one position"},
	    {"sheet set V1,R1 valve=A17", "valve belongs to one position"},
	    {"sheet set R1-R3,C9A nominal=4k7", "C9A: nominal"},
	    {"sheet set R1,R2 position=R5", "position"},
	    /* Many are never one of a new name. */
	    {"at R1-R3", "names many positions"},
	    {"note C9A-C9B leaks", "names many positions"},
	    {"rename R1 R5-R7", "names many positions"},
	};
	struct stand *s = fit_begin(sheet);
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
		fit_refused(s, rows[i].act, rows[i].says);
	/* A recording makes the one that it sets. */
	fit_tell(s, "sheet set N5 kind=resistor nominal=4k7");
	fit_has(written(s, "N5"), "\"nominal\":4700");
	/* The slips of typed lines. */
	fit_refused(s, "sheet set N5 nominal=-5", "no part has less than nothing");
	fit_refused(s, "sheet set N5 nominal=1m", "write M for megohms");
	fit_refused(s, "fit N5 nominal=-5", "no part has less than nothing");
	/* A name may look like a range of two halves. */
	fit_tell(s, "at V1-2");
	fit_end(s);
}

/* Typed small, meant large: where the one is not there and the other is. */
static void typed_small(void **state)
{
	(void)state;
	struct stand *s = fit_begin(sheet);
	fit_tell(s, "sheet set r1 nominal=4,7k tolerance=2,5% note=\"1,5 mm off\"");
	fit_has(written(s, "R1"), "\"nominal\":4700");
	fit_has(written(s, "R1"), "1,5 mm off");
	fit_refused(s, "sheet set R1 nominal=10,000", "write 10 or 10k");
	fit_tell(s, "sheet set r1 note=x");
	fit_has(written(s, "R1"), "\"note\":\"x\"");
	assert_string_equal(written(s, "r1"), "");
	fit_tell(s, "fit r1 nominal=120k");
	fit_has(fit_record(s, "fit", 0), "\"position\":\"R1\"");
	fit_tell(s, "rename r1 R77");
	fit_has(fit_record(s, "rename", 0), "\"position\":\"R77\",\"from\":\"R1\"");
	fit_end(s);
}

/* What is typed of an instrument is read as a sheet is. */
static void entered(void **state)
{
	(void)state;
	struct stand *s = fit_begin(sheet);
	struct bench_typed bare = {.position = "C9A", .value = "0.3", .from = "tester",
	                           .quantity = QUANTITY_LEAKAGE};
	fit_enter(s, "r1", "101,5 kohm");
	fit_has(fit_record(s, "entry", 0), "\"position\":\"R1\"");
	fit_has(fit_record(s, "entry", 0), "\"value\":101500");
	int records = s->records;
	assert_false(bench_enter(s->bench, s->t, &bare, (struct bench_wait){0}, &s->why));
	assert_non_null(strstr(s->why.text, "leakage wants its unit"));
	bare.value = "10,000 ohm";
	bare.quantity = -1;
	bare.position = "R1";
	assert_false(bench_enter(s->bench, s->t, &bare, (struct bench_wait){0}, &s->why));
	bench_collect(s->bench);
	assert_int_equal(s->records, records);
	bare = (struct bench_typed){.position = "C9A", .value = "0,3uA", .from = "tester",
	                            .quantity = QUANTITY_LEAKAGE};
	assert_true(bench_enter(s->bench, s->t, &bare, (struct bench_wait){0}, &s->why));
	bench_collect(s->bench);
	fit_has(fit_record(s, "entry", 0), "\"value\":3e-07");
	fit_end(s);
}

static bool mirror(struct stand *s, const char *range, int by)
{
	s->why = (struct fault){.text = ""};
	bool good = bench_sheet_mirror(s->bench, s->t, range, by, (struct bench_wait){0}, &s->why);
	bench_collect(s->bench);
	return good;
}

static void mirror_but_some(void **state)
{
	(void)state;
	struct stand *s = fit_begin(sheet);
	int records = s->records;
	assert_false(mirror(s, "all except R1,R7", 100));
	assert_non_null(strstr(s->why.text, "R7 is not in the sheet"));
	assert_false(mirror(s, "R1-R2 except R1-R2", 100));
	assert_non_null(strstr(s->why.text, "nothing of"));
	assert_false(mirror(s, "all except", 100));
	assert_int_equal(s->records, records);
	assert_true(mirror(s, "all except C9A-C9B,v1,R9", 100));
	assert_int_equal(s->records, records + 6); /* each new one, and its twin */
	assert_string_equal(written(s, "C109A"), "");
	assert_string_equal(written(s, "V101"), "");
	fit_has(written(s, "R103"), "\"twin\":\"R3\"");
	fit_end(s);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(many_at_once),
	    cmocka_unit_test(all_or_none),
	    cmocka_unit_test(typed_small),
	    cmocka_unit_test(entered),
	    cmocka_unit_test(mirror_but_some),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
