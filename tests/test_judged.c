/* SPDX-License-Identifier: MIT */
/*
 * What the bench makes of a settled value beside the plain rule: swapped leads, twins,
 * the meter's limits of use, and what its uncertainty was made of; each in the record, and
 * the same when a record is judged anew from itself.
 */
#include "tests/bench_stand.h"

#include "daemon/bench_inside.h"
#include "protocol/trade/budget.h"
#include "protocol/trade/frequency.h"

#include <math.h>

static const char config[] =
    "[bench]\nname = tests\n[meter red]\ndialect = ascii-unit\naccuracy ohm = 0.5% + 2\n"
    "accuracy farad = 1% + 3\naccuracy farad below 10n = 2% + 10\naccuracy volt-dc = 0.5% + 2\n"
    "accuracy volt-ac = 5% + 9\naccuracy volt-ac below 2 kHz = 1% + 5\n"
    "accuracy volt-ac below 20 V below 2 kHz = 0.5% + 3\nac = average\nbandwidth = 1k\ncrest = 3\ninput volt-dc = 10M\n"
    "test farad = 10 kHz bridge\n";

static const char sheet[] = "position,kind,nominal,tolerance,role,twin,source\n"
                            "R1,carbon-composition,100k,10%,anode load,R2,\n"
                            "R2,carbon-composition,100k,10%,anode load,R1,\n"
                            "R3,carbon-composition,100k,10%,anode load,,\n"
                            "C1,paper,4.7 nF,10%,tone,,\n"
                            "C2,electrolytic,25 uF,-20/+50%,cathode bypass,,\n"
                            "V1,valve,100 V,10%,,,1M\n"
                            "V2,valve,100 V,10%,,,10k\n"
                            "RIP,rail,2 V AC,50%,ripple,,\n"
                            "OUT,other,9 V AC,5%,output 10 kHz,,\n"
                            "OUT1,other,9 V AC,5%,output 1 kHz,,\n";

#define OPEN "red OL MOhm *6\n"

/* The n-th entry of a position, from the first. */
static struct entry entry_of(const struct stand *s, const char *position, int n)
{
	struct entry e;
	for (int i = 0; i < s->records; i++)
		if (entry_read(s->record[i], strlen(s->record[i]), &e) && !strcmp(e.position, position) &&
		    n-- == 0)
			return e;
	fail_msg("no such entry of %s; made: %s; says: %s", position, s->made, s->says);
	return e;
}

static struct stand *stand_up(const char *scene)
{
	struct stand *s = calloc(1, sizeof *s);
	assert_non_null(s);
	stand_open(s, config, ":memory:", NULL);
	stand_load(s, sheet);
	stand_play(s, scene);
	bench_finish(s->bench, s->t);
	bench_collect(s->bench);
	return s;
}

static void stand_down(struct stand *s)
{
	stand_free(s);
	free(s);
}

static void swapped_leads(void **state)
{
	(void)state;
	struct stand *s = stand_up("@0 at R3\n" OPEN "red ~130.2 kOhm *9\n" OPEN "@5.2 again swapped\n"
	                           "red ~130.1 kOhm *9\n" OPEN "@8.9 at R1\nred ~130.2 kOhm *9\n" OPEN
	                           "@12.6 again swapped\nred ~97.0 kOhm *9\n" OPEN
	                           "@16.4 again\nred ~130.2 kOhm *9\n" OPEN);
	struct entry e = entry_of(s, "R3", 0);
	assert_false(e.swapped);
	assert_int_equal(e.verdict.word, VERDICT_OUTSIDE);
	assert_non_null(strstr(e.verdict.next, "swap the leads"));
	e = entry_of(s, "R3", 1);
	assert_true(e.swapped && e.swap == AGREEMENT_YES);
	assert_int_equal(e.verdict.word, VERDICT_OUTSIDE);
	assert_null(strstr(e.verdict.next, "swap"));
	/* a charge: the two ways round differ */
	e = entry_of(s, "R1", 1);
	assert_true(e.swapped && e.swap == AGREEMENT_NO);
	assert_int_equal(e.verdict.word, VERDICT_UNSURE);
	assert_int_equal(e.verdict.reason, REASON_CIRCUIT);
	assert_non_null(strstr(e.verdict.next, "discharge"));
	/* only what was asked for is swapped */
	assert_false(entry_of(s, "R1", 2).swapped);
	stand_down(s);
}

/* A trimmer may stand anywhere between its least and most; a heater is judged by its volts, at
 * the mains' frequency (common practice, no source). */
static void ranges(void **state)
{
	(void)state;
	static const struct {
		enum kind kind;
		enum function f;
		enum quantity q;
		struct decimal nominal, low, high, value, hertz;
		enum verdict_word verdict, service;
	} rows[] = {
	    /* 3-30pF */
	    {KIND_MICA, FUNCTION_FARAD, QUANTITY_VALUE, {30, -12}, {-27, -12}, {0, 0}, {15, -12}, {0, 0},
	     VERDICT_WITHIN, VERDICT_WITHIN},
	    {KIND_MICA, FUNCTION_FARAD, QUANTITY_VALUE, {30, -12}, {-27, -12}, {0, 0}, {4, -12}, {0, 0},
	     VERDICT_WITHIN, VERDICT_WITHIN},
	    {KIND_MICA, FUNCTION_FARAD, QUANTITY_VALUE, {30, -12}, {-27, -12}, {0, 0}, {1, -12}, {0, 0},
	     VERDICT_OUTSIDE, VERDICT_OUTSIDE},
	    {KIND_MICA, FUNCTION_FARAD, QUANTITY_VALUE, {30, -12}, {-27, -12}, {0, 0}, {34, -12}, {0, 0},
	     VERDICT_OUTSIDE, VERDICT_OUTSIDE},
	    /* no trimmer: what mica's place can live with is narrower than its tolerance here */
	    {KIND_MICA, FUNCTION_FARAD, QUANTITY_VALUE, {30, -12}, {-27, -12}, {27, -12}, {15, -12},
	     {0, 0}, VERDICT_WITHIN, VERDICT_OUTSIDE},
	    /* 6.3 V AC +-1 V */
	    {KIND_HEATER, FUNCTION_VOLT_AC, QUANTITY_VOLTS, {63, -1}, {-1, 0}, {1, 0}, {641, -2}, {50, 0},
	     VERDICT_WITHIN, VERDICT_WITHIN},
	    {KIND_HEATER, FUNCTION_VOLT_AC, QUANTITY_VOLTS, {63, -1}, {-1, 0}, {1, 0}, {491, -2}, {50, 0},
	     VERDICT_OUTSIDE, VERDICT_OUTSIDE},
	    {KIND_HEATER, FUNCTION_VOLT_AC, QUANTITY_VOLTS, {63, -1}, {-1, 0}, {1, 0}, {641, -2}, {1, 3},
	     VERDICT_NONE, VERDICT_NONE},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct position p = {.kind = rows[i].kind, .function = rows[i].f, .has_nominal = true,
		                     .nominal = rows[i].nominal,
		                     .tolerance = {TOLERANCE_ABSOLUTE, rows[i].low, rows[i].high}};
		struct entry e = {.quantity = rows[i].q, .function = rows[i].f, .has_value = true,
		                  .value = rows[i].value, .settled = true, .reach = REACH_LOOSE};
		note_row("%zu", i);
		e.u = fabs(decimal_double(e.value)) * 1e-3;
		frequency_known(&e, rows[i].hertz);
		entry_judge(&p, &e);
		assert_int_equal(e.verdict.word, rows[i].verdict);
		if (rows[i].f == FUNCTION_FARAD)
			assert_int_equal(e.service.word, rows[i].service);
	}
}

static void twins(void **state)
{
	(void)state;
	struct stand *s = stand_up("@0 at R1\n" OPEN "red ~82.0 kOhm *9\n" OPEN "@5.4 at R2\n"
	                           "red ~82.3 kOhm *9\n" OPEN "@9.4 again\nred ~61.0 kOhm *9\n" OPEN
	                           "@13.4 reach lifted\n@13.4 again\nred ~99.0 kOhm *9\n" OPEN);
	struct entry e = entry_of(s, "R1", 0);
	assert_string_equal(e.twin, "");
	e = entry_of(s, "R2", 0);
	assert_string_equal(e.twin, "R1");
	assert_true(e.twin_agrees);
	assert_int_equal(e.verdict.word, VERDICT_UNSURE);
	assert_non_null(strstr(e.verdict.why, "nothing against it"));
	e = entry_of(s, "R2", 1);
	assert_false(e.twin_agrees);
	assert_non_null(strstr(e.verdict.why, "lift both"));
	assert_non_null(strstr(e.service.why, "lift both"));
	/* lifted, the twin in circuit says nothing */
	e = entry_of(s, "R2", 2);
	assert_string_equal(e.twin, "");
	assert_int_equal(e.verdict.word, VERDICT_WITHIN);
	stand_down(s);
}

static void limits_of_use(void **state)
{
	(void)state;
	static const struct {
		const char *position, *reading;
		enum verdict_word word;
		const char *why;
	} rows[] = {
	    {"C2", "25.0 uF", VERDICT_NONE, "another part at 10000 Hz"},
	    {"RIP", "2.01 V AC", VERDICT_NONE, "average"},
	    {"OUT", "9.01 V AC", VERDICT_NONE, "bandwidth"},
	    {"OUT1", "9.01 V AC", VERDICT_WITHIN, ""},
	    {"V2", "100.5 V DC", VERDICT_WITHIN, ""},
	    {"V1", "104.0 V DC", VERDICT_NONE, "loads this place"},
	    {"V1", "60.0 V DC", VERDICT_OUTSIDE, ""}, /* 66 V would be low, too */
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		char scene[300];
		snprintf(scene, sizeof scene, "@0 reach lifted\n@0 at %s\nred %s *30\n@4 take red\n",
		         rows[i].position, rows[i].reading);
		struct stand *s = stand_up(scene);
		struct entry e = entry_of(s, rows[i].position, 0);
		if (e.verdict.word != rows[i].word)
			note_row("%s %s: %s \"%s\"", rows[i].position, rows[i].reading,
			         verdict_word_name(e.verdict.word), e.verdict.why);
		assert_int_equal(e.verdict.word, rows[i].word);
		assert_true(e.has_value);
		if (rows[i].word != VERDICT_NONE) {
			assert_int_not_equal(e.verdict.reason, REASON_LIMITS_OF_METER);
		} else {
			assert_int_equal(e.verdict.reason, REASON_LIMITS_OF_METER);
			assert_non_null(strstr(e.verdict.why, rows[i].why));
			assert_true(e.verdict.next[0]);
			assert_true(e.verdict.has_deviation && e.verdict.limits.has_low);
		}
		stand_down(s);
	}
}

/* A typed value in circuit has the same company. */
static void typed_beside(void **state)
{
	(void)state;
	struct bench_wait nobody = {0};
	struct bench_typed typed = {.position = "R1", .value = "82k", .from = "pen", .quantity = -1};
	struct stand *s = calloc(1, sizeof *s);
	assert_non_null(s);
	stand_open(s, config, ":memory:", NULL);
	stand_load(s, sheet);
	assert_true(bench_enter(s->bench, 0, &typed, nobody, &s->why));
	typed.position = "R2";
	assert_true(bench_enter(s->bench, 1000, &typed, nobody, &s->why));
	assert_true(bench_at(s->bench, 2000, "R3", -1, NULL, &s->why));
	typed.position = "R3";
	typed.value = "130k";
	assert_true(bench_enter(s->bench, 3000, &typed, nobody, &s->why));
	assert_true(bench_again(s->bench, 4000, true, &s->why));
	assert_true(bench_enter(s->bench, 5000, &typed, nobody, &s->why));
	assert_true(bench_enter(s->bench, 6000, &typed, nobody, &s->why));
	bench_finish(s->bench, 7000);
	bench_collect(s->bench);
	assert_non_null(strstr(entry_of(s, "R2", 0).verdict.why, "nothing against it"));
	assert_false(entry_of(s, "R3", 0).swapped);
	struct entry e = entry_of(s, "R3", 1);
	assert_true(e.swapped && e.swap == AGREEMENT_YES);
	assert_false(entry_of(s, "R3", 2).swapped);
	stand_down(s);
}

/* u is worked out again from each record alone. */
static void budgets(void **state)
{
	(void)state;
	/* the statement of the signal's frequency */
	static const struct {
		const char *position;
		double percent;
	} ac[] = {{"OUT1", 0.5}, {"OUT", 5}};
	for (size_t i = 0; i < 2; i++) {
		char scene[200];
		snprintf(scene, sizeof scene, "@0 at %s\nred 9.01 V AC *20\n@4 take red\n", ac[i].position);
		struct stand *a = stand_up(scene);
		struct entry e = entry_of(a, ac[i].position, 0);
		assert_near(e.basis.percent, ac[i].percent, 0);
		assert_int_equal(e.basis.has_hertz, i == 0);
		stand_down(a);
	}
	struct stand *s = stand_up("@0 reach lifted\n@0 at R3\n" OPEN "red 0.2 Ohm *9\n" OPEN
	                           "@5.3 at C1\nred 4.70 nF *9\nred 0.00 nF *6\n"
	                           "@9.1 at V2\nred 100.5 V DC *9\n@11.5 take red\n");
	int budgets = 0, farads = 0;
	for (int i = 0; i < s->records; i++) {
		struct entry e;
		struct budget b;
		if (!entry_read(s->record[i], strlen(s->record[i]), &e))
			continue;
		assert_true(e.basis.known);
		assert_true(budget_of(&e, &b));
		assert_true(b.agrees);
		assert_string_equal(b.unknown, "");
		budgets++;
		/* the statement for small capacitors */
		if (e.function == FUNCTION_FARAD) {
			assert_near(e.basis.percent, 2, 0);
			assert_true(e.basis.has_below);
			farads++;
		}
	}
	assert_true(budgets >= 2 && farads == 1);
	stand_down(s);
}

/* What was sealed, judged anew when a sheet changes, keeps what it was judged beside. */
static void judged_anew(void **state)
{
	(void)state;
	struct stand *s = stand_up("@0 at R1\n" OPEN "red ~82.0 kOhm *9\n" OPEN "@5.4 at R2\n"
	                           "red ~82.3 kOhm *9\n" OPEN);
	struct bench_wait nobody = {0};
	const char *key[] = {"tolerance"}, *value[] = {"5%"};
	assert_true(bench_sheet_set(s->bench, s->t, "R2", key, value, 1, nobody, &s->why));
	bench_finish(s->bench, s->t);
	bench_collect(s->bench);
	struct rejudge_body body;
	bool found = false;
	for (int i = 0; i < s->records; i++)
		if (rejudge_body_read(s->record[i], strlen(s->record[i]), &body)) {
			found = true;
			assert_non_null(strstr(body.verdict.why, "as its twin R1"));
		}
	assert_true(found);
	stand_down(s);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(swapped_leads), cmocka_unit_test(ranges), cmocka_unit_test(twins), cmocka_unit_test(limits_of_use),
	    cmocka_unit_test(budgets), cmocka_unit_test(judged_anew), cmocka_unit_test(typed_beside),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
