/* SPDX-License-Identifier: MIT */
/*
 * What is fitted: by whose specification an entry is judged, and what every change of the
 * sheet makes of verdicts that are frozen.
 *
 * Limits are worked out by hand beside each row; that a replacement is judged by its own
 * specification and a place by what it can live with is common practice, no source.
 */
#include "tests/fit_stand.h"

static const char sheet[] =
    "position,kind,nominal,tolerance,service,role,twin\n"
    "C7,paper,0.1 uF,20%,,coupling,C17\n"
    "C17,paper,0.1 uF,20%,,coupling,C7\n"
    "R12,carbon-composition,470k,10%,,anode load,\n"
    "R13,carbon-composition,1k,10%,15%,cathode,\n"
    "R14,,10k,,,,\n";

/* One entry, in a condition, with what was fitted before it. */
static void judged_by_its_own_specification(void **state)
{
	(void)state;
	static const struct {
		const char *fit, *condition, *position, *value;
		const char *verdict, *limits, *against, *service;
	} rows[] = {
	    /* film 5 %: 0.095 .. 0.105; the place (coupling -30/+50 %): 0.07 .. 0.15 uF */
	    {"C7 kind=film tolerance=5%", "new", "C7", "0.108 uF", "outside",
	     "[9.5e-08,1.05e-07]", "fit", "[8e-08,1.1e-07]"},
	    {"C7 kind=film tolerance=5%", "done", "C7", "0.104 uF", "within",
	     "[9.5e-08,1.05e-07]", "fit", "[8e-08,1.1e-07]"},
	    /* As found it is the old part: 0.08 .. 0.12 */
	    {"C7 kind=film tolerance=5%", "found", "C7", "0.108 uF", "within",
	     "[8e-08,1.2e-07]", "", "[8e-08,1.1e-07]"},
	    /* No fit is known: by the sheet, and it says so. */
	    {NULL, "new", "C7", "0.108 uF", "within", "[8e-08,1.2e-07]", "sheet",
	     "[8e-08,1.1e-07]"},
	    /* Another value; the place stays what it was: anode load 20 %, 376 .. 564 kohm. */
	    {"R12 nominal=390k tolerance=1%", "new", "R12", "391k", "within",
	     "[386100,393900]", "fit", "[376000,564000]"},
	    {"R12 nominal=330k tolerance=1%", "new", "R12", "331k", "within",
	     "[326700,333300]", "fit", "[376000,564000]"},
	    /* Not said: the sheet's tolerance, 10 % of 390k. */
	    {"R12 nominal=390k", "new", "R12", "420k", "within", "[351000,429000]", "fit",
	     "[376000,564000]"},
	    /* Another kind: the old tolerance says nothing of it, metal film is 1 % by default. */
	    {"R12 kind=metal-film", "new", "R12", "480k", "outside", "[465300,474700]", "fit",
	     "[376000,564000]"},
	    /* A marking that says one: 4K7 is none, 474J means 5 %. */
	    {"R12 marking=474J", "new", "R12", "490k", "within", "[446500,493500]", "fit",
	     "[376000,564000]"},
	    /* The sheet's own service limit: 850 .. 1150 ohm. */
	    {"R13 tolerance=1%", "done", "R13", "1.02k", "outside", "[990,1010]", "fit",
	     "[850,1150]"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct stand *s = fit_begin(sheet);
		char act[128], want[160];
		fit_tell(s, "reach loose");
		snprintf(act, sizeof act, "condition %s", rows[i].condition);
		fit_tell(s, act);
		if (rows[i].fit) {
			snprintf(act, sizeof act, "fit %s", rows[i].fit);
			fit_tell(s, act);
		}
		fit_enter(s, rows[i].position, rows[i].value);
		const char *entry = fit_record(s, "entry", 0);
		const char *service = strstr(entry, "\"service\":{");
		snprintf(want, sizeof want, "\"limits\":%s", rows[i].limits);
		bool good = strcmp(stand_member(entry, "verdict"), rows[i].verdict) == 0 &&
		            strcmp(stand_member(entry, "against"), rows[i].against) == 0 &&
		            strstr(entry, want) && service;
		snprintf(want, sizeof want, "\"limits\":%s", rows[i].service);
		if (!good || !strstr(service, want)) {
			note_row("%zu: %s", i, entry);
			fail();
		}
		fit_end(s);
	}
}

static void refused(void **state)
{
	(void)state;
	static const struct {
		const char *act, *says;
	} rows[] = {
	    {"fit C99 kind=film", "C99 is not in the sheet"},
	    {"fit C7 none", "there is no fit to take back"},
	    {"fit C7 kind=plastic", "C7 kind=plastic: kind: expected a kind"},
	    {"fit C7 tolerance=5%%", "C7 tolerance=5%%, byte "},
	    {"fit C7 nominal=470kohm", "C7 nominal=470kohm, byte "},
	    {"fit C7 kind=resistor", "nominal"},
	    {"fit C7 role=coupling", "belongs to the place"},
	    {"fit C7 service=5%", "belongs to the place"},
	    {"fit C7 colour=red", "`colour` says nothing of a part"},
	    {"fit C7 marking=xyzzy", "C7 marking=xyzzy"},
	    {"fit C7", "expected key=value, or none"},
	    {"fit C7 kind", "expected key=value"},
	    {"fit", "expected the name of a position"},
	};
	struct stand *s = fit_begin(sheet);
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
		fit_refused(s, rows[i].act, rows[i].says);
	/* What is fitted must go with what the sheet becomes. */
	fit_tell(s, "fit R14 nominal=12kohm");
	fit_refused(s, "sheet set R14 kind=electrolytic nominal=10u",
	            "does not go with what is fitted there");
	fit_end(s);
}

/* What it replaced is in the record; it is changed and taken back, and entries follow. */
static void changed_and_taken_back(void **state)
{
	(void)state;
	struct stand *s = fit_begin(sheet);
	fit_tell(s, "reach loose");
	fit_tell(s, "condition new");
	fit_enter(s, "C7", "0.108 uF");
	fit_tell(s, "fit C7 kind=film tolerance=5% part=\"630 V polyester\"");
	const char *fit = fit_record(s, "fit", 0), *rejudge = fit_record(s, "rejudge", 0);
	fit_has(fit, "\"written\":{\"kind\":\"film\",\"tolerance\":\"5%\",\"part\":\"630 V polyester\"}");
	fit_has(fit, "\"nominal\":1e-07,\"limits\":[9.5e-08,1.05e-07]");
	fit_has(fit, "\"replaces\":{\"kind\":\"paper\",\"tolerance\":\"20%\",\"part\":null}");
	fit_has(rejudge, "\"because\":\"fit\",\"verdict\":\"outside\",\"side\":\"high\"");
	fit_has(rejudge, "\"limits\":[9.5e-08,1.05e-07]");
	fit_has(rejudge, "\"against\":\"fit\"");
	assert_int_equal(fit_count(s, "rejudge"), 1);
	/* Another one: the rest of it stays. */
	fit_tell(s, "fit C7 tolerance=10%");
	fit_has(fit_record(s, "fit", 0), "\"written\":{\"kind\":\"film\",\"tolerance\":\"10%\"");
	fit_has(fit_record(s, "fit", 0), "\"replaces\":{\"kind\":\"film\",\"tolerance\":\"5%\"");
	fit_has(fit_record(s, "rejudge", 0), "\"verdict\":\"within\"");
	/* The same again, and what no entry depends on: nothing to judge. */
	int before = fit_count(s, "rejudge");
	fit_tell(s, "fit C7 tolerance=10%");
	fit_tell(s, "fit C7 note=\"from the drawer\" price=1.20");
	fit_tell(s, "sheet set C7 note=\"one \\\"end\\\" is marked\"");
	fit_has(fit_record(s, "position", 0), "\"note\":\"one \\\"end\\\" is marked\"");
	assert_int_equal(fit_count(s, "rejudge"), before);
	/* Beside the sheet, with its record's number. */
	char *rows = fit_ask(s, "sheet.show", "{}"), *job = fit_ask(s, "job.show", "{}");
	fit_has(rows, "\"fit\":{\"seq\":");
	fit_has(rows, ",\"written\":{\"kind\":\"film\",\"tolerance\":\"10%\"");
	fit_has(rows, "\"fit\":null");
	fit_has(job, "\"fits\":1");
	free(rows);
	free(job);
	/* An empty value takes a cell out; all of them, the fit. */
	fit_tell(s, "fit C7 tolerance=");
	fit_has(fit_record(s, "fit", 0), "\"limits\":null");
	fit_tell(s, "fit C7 none");
	fit_has(fit_record(s, "fit", 0), "\"fit\":null,\"replaces\":{\"kind\":\"film\"");
	fit_has(fit_record(s, "rejudge", 0), "\"against\":\"sheet\"");
	fit_has(fit_record(s, "rejudge", 0), "\"limits\":[8e-08,1.2e-07]");
	rows = fit_ask(s, "sheet.show", "{}");
	assert_null(strstr(rows, "\"fit\":{"));
	free(rows);
	fit_end(s);
}

/* Every change of the sheet that touches an entry is followed by its rejudge, and one that
 * touches none by nothing; taken back, it is judged anew again. */
static void rejudged_where_it_changed(void **state)
{
	(void)state;
	static const struct {
		const char *act;
		int rejudges;
		const char *says; /* in the newest of them */
	} rows[] = {
	    {"sheet set R12 note=dark", 0, NULL},
	    {"sheet set R12 tolerance=5%", 1, "\"verdict\":\"outside\""},
	    {"sheet set R12 tolerance=5%", 0, NULL},
	    {"sheet set R12 tolerance=10%", 1, "\"verdict\":\"within\""},
	    {"sheet set R12 role=cathode", 1, "\"service\":{\"verdict\":\"within\",\"side\":\"high\""},
	    {"sheet set R12 role=\"grid stopper\"", 1, "\"limits\":[235000,705000],\"assumed\":true}"},
	    {"sheet set R12 service=2%", 1, "\"limits\":[460600,479400],"},
	    {"sheet set R12 nominal=", 1, "\"verdict\":\"none\""},
	    {"sheet set R12 marking=\"yellow violet yellow silver\" tolerance=", 1,
	     "\"limits\":[423000,517000]"},
	    {"fit R12 nominal=1M", 0, NULL}, /* as found it is the old part */
	    {"rename R12 R99", 0, NULL},
	    {"rename R99 R12", 0, NULL},
	    {"sheet set R13 tolerance=1%", 0, NULL}, /* has no entry */
	};
	struct stand *s = fit_begin(sheet);
	fit_tell(s, "reach loose");
	fit_enter(s, "R12", "500k");
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		int before = fit_count(s, "rejudge");
		fit_tell(s, rows[i].act);
		const char *newest = fit_record(s, "rejudge", 0);
		if (fit_count(s, "rejudge") != before + rows[i].rejudges ||
		    (rows[i].says && !strstr(newest, rows[i].says))) {
			note_row("%s: %d, %s", rows[i].act, fit_count(s, "rejudge") - before, newest);
			fail();
		}
	}
	/* A file that says the same is no change; one that says otherwise is. */
	int before = fit_count(s, "rejudge");
	stand_load(s, "position,kind,nominal,role,service\n"
	              "R12,carbon-composition,yellow violet yellow silver,grid stopper,2%\n");
	assert_int_equal(fit_count(s, "rejudge"), before);
	stand_load(s, "position,kind,nominal\nR12,carbon-composition,500k\n");
	assert_int_equal(fit_count(s, "rejudge"), before + 1);
	fit_has(fit_record(s, "rejudge", 0), "\"because\":\"sheet loaded\"");
	char *entries = fit_ask(s, "entries", "{\"position\":\"R12\"}");
	fit_has(entries, "\"rejudged\":{\"seq\":");
	fit_has(entries, "\"because\":\"sheet loaded\"");
	free(entries);
	fit_end(s);
}

/* The sheet's record and the rejudge are one transaction: a log that takes the one has the
 * other, in the very next record. */
static void in_one_transaction(void **state)
{
	(void)state;
	struct stand *s = fit_begin(sheet);
	fit_tell(s, "reach loose");
	fit_enter(s, "R12", "500k");
	fit_enter(s, "R12", "510k");
	fit_tell(s, "sheet set R12 tolerance=5%");
	fit_has(s->record[s->records - 3], "\"kind\":\"position\"");
	fit_has(s->record[s->records - 2], "\"kind\":\"rejudge\"");
	fit_has(s->record[s->records - 1], "\"kind\":\"rejudge\"");
	fit_tell(s, "condition new");
	fit_enter(s, "C7", "0.108 uF");
	fit_tell(s, "fit C7 kind=film tolerance=5%");
	fit_has(s->record[s->records - 2], "\"kind\":\"fit\"");
	fit_has(s->record[s->records - 1], "\"kind\":\"rejudge\"");
	fit_end(s);
}

/* A can is bought and fitted as one: its name stands for its sections, all of them or none. */
static void a_part_as_a_whole(void **state)
{
	(void)state;
	static const char can[] = "position,kind,nominal,tolerance,rated,part\n"
	                          "C9a,electrolytic,8u,20%,450 V,can1\nC9b,electrolytic,16u,20%,450 V,can1\n"
	                          "R1,metal-film,47k,1%,,R1x\nC7,film,100n,5%,,my can\n";
	struct stand *s = fit_begin(can);
	fit_tell(s, "reach loose");
	fit_tell(s, "condition new");
	fit_enter(s, "C9a", "11 uF");
	fit_enter(s, "C9b", "17 uF");
	int before = s->records;
	fit_tell(s, "fit can1 tolerance=-20/+50% rated=500V");
	/* 8 uF + 50 % is 12: the first is judged anew, the second by other limits. */
	assert_int_equal(s->records - before, 4);
	fit_has(s->record[before], "\"kind\":\"fit\"");
	fit_has(s->record[before], "\"position\":\"C9a\"");
	fit_has(s->record[before + 1], "\"position\":\"C9b\"");
	fit_has(s->record[before + 1], "\"replaces\":{");
	fit_has(s->record[before + 2], "\"limits\":[6.4e-06,1.2e-05]");
	fit_has(s->record[before + 3], "\"limits\":[1.28e-05,2.4e-05]");
	/* One section does not go with it: neither is fitted. */
	fit_refused(s, "fit can1 kind=resistor", "C9");
	/* Taken back where there is one. */
	fit_tell(s, "fit C9a none");
	before = fit_count(s, "fit");
	fit_tell(s, "fit can1 none");
	assert_int_equal(fit_count(s, "fit"), before + 1);
	fit_has(fit_record(s, "fit", 0), "\"position\":\"C9b\"");
	fit_refused(s, "fit can1 none", "no fit to take back");
	fit_refused(s, "fit can2 rated=500V", "can2 is not in the sheet");
	fit_end(s);
}

/* What is expected of a touch in condition new is what is fitted. */
static void a_new_part_is_no_other_part(void **state)
{
	(void)state;
	static const char two[] = "position,kind,nominal,tolerance\n"
	                          "R1,metal-film,47k,1%\nR2,metal-film,100k,1%\n";
	struct stand *s = fit_begin(two);
	/* 100k at R1 looks like R2 ... */
	stand_play(s, "@0 reach loose\n@0 condition new\n@0 at R1\nred OL MOhm *8\n"
	              "red ~100.2 kOhm *12\nred OL MOhm *8\n");
	assert_string_equal(s->made, "");
	fit_has(s->says, "held R1 like R2");
	/* ... but is R1 where 100k is fitted there. */
	fit_tell(s, "fit R1 nominal=100k");
	stand_play(s, "@0 again\nred OL MOhm *8\nred ~100.2 kOhm *12\nred OL MOhm *8\n");
	assert_string_equal(s->made, "R1 red 100.2 kohm new loose");
	fit_has(fit_record(s, "entry", 0), "\"against\":\"fit\"");
	fit_end(s);
}

/* A bench that is started anew judges by the same. */
static void restored(void **state)
{
	(void)state;
	struct stand *s = fit_begin(sheet);
	fit_tell(s, "reach loose");
	fit_tell(s, "condition new");
	fit_tell(s, "fit C7 kind=film tolerance=5%");
	fit_tell(s, "fit C17 kind=film tolerance=5%");
	fit_tell(s, "fit C17 none");
	fit_enter(s, "C7", "0.104 uF");
	char *before = fit_ask(s, "sheet.show", "{}");
	fit_restart(s);
	char *after = fit_ask(s, "sheet.show", "{}");
	assert_string_equal(before, after);
	int rejudges = fit_count(s, "rejudge");
	fit_tell(s, "sheet set C7 note=nothing");
	assert_int_equal(fit_count(s, "rejudge"), rejudges);
	fit_enter(s, "C7", "0.108 uF");
	fit_has(fit_record(s, "entry", 0), "\"verdict\":\"outside\"");
	fit_has(fit_record(s, "entry", 0), "\"against\":\"fit\"");
	fit_enter(s, "C17", "0.108 uF");
	fit_has(fit_record(s, "entry", 0), "\"against\":\"sheet\"");
	fit_tell(s, "fit C7 none");
	fit_has(fit_record(s, "rejudge", 0), "\"against\":\"sheet\"");
	free(before);
	free(after);
	fit_end(s);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(judged_by_its_own_specification),
	    cmocka_unit_test(refused),
	    cmocka_unit_test(changed_and_taken_back),
	    cmocka_unit_test(rejudged_where_it_changed),
	    cmocka_unit_test(in_one_transaction),
	    cmocka_unit_test(a_part_as_a_whole),
	    cmocka_unit_test(a_new_part_is_no_other_part),
	    cmocka_unit_test(restored),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
