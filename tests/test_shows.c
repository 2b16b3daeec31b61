/* SPDX-License-Identifier: MIT */
/*
 * What a part must show: quantities by kind, the walk through them, second values, limits of
 * quantities beside the value, and what is said to be missing, also after a restart.
 *
 * The table by kind: common practice, no source.
 */
#include "tests/bench_stand.h"

#include "daemon/query.h"
#include "protocol/meter/pattern.h"
#include "protocol/trade/budget.h"
#include "protocol/trade/part.h"
#include "tests/trail_check.h"

#include <math.h>

/* ---- the table ---- */

static void test_table(void **state)
{
	(void)state;
	static const struct {
		enum kind kind;
		const char *shows;
	} rows[] = {
		{KIND_CARBON_COMPOSITION, "value"}, {KIND_POT, "value"}, {KIND_FILM, "value"},
		{KIND_ELECTROLYTIC, "value, esr or dissipation, leakage"}, {KIND_PAPER, "value, leakage"},
		{KIND_WINDING, "value, insulation"}, {KIND_RAIL, "volts"}, {KIND_VALVE, "volts"},
		{KIND_FUSE, "value"}, {KIND_OTHER, "value"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct position p = {.kind = rows[i].kind, .function = kind_function(rows[i].kind)};
		struct part_quantity q[PART_SHOWS_MAX];
		char text[200] = "", one[48];
		int n = part_shows(&p, q);
		for (int k = 0; k < n; k++) {
			part_quantity_text(&q[k], one, sizeof one);
			snprintf(text + strlen(text), sizeof text - strlen(text), "%s%s", k ? ", " : "", one);
		}
		assert_string_equal(text, rows[i].shows);
		/* What stands for another one will do; what was seen is not missing. */
		assert_int_equal(part_missing(&p, ~0u, q), 0);
		assert_int_equal(part_missing(&p, 0, q), n);
	}
	/* Each kind shows something, and its first quantity is not asked for twice. */
	for (int k = 0; k < KIND_COUNT; k++) {
		struct position p = {.kind = (enum kind)k};
		struct part_quantity q[PART_SHOWS_MAX];
		int n = part_shows(&p, q);
		assert_true(n >= 1);
		for (int i = 1; i < n; i++)
			assert_true(q[i].quantity != q[0].quantity);
	}
	struct position e = {.kind = KIND_ELECTROLYTIC};
	struct part_quantity q[PART_SHOWS_MAX];
	assert_int_equal(part_missing(&e, PART_BIT(QUANTITY_VALUE) | PART_BIT(QUANTITY_DISSIPATION), q), 1);
	assert_int_equal(q[0].quantity, QUANTITY_LEAKAGE);
	/* A valve whose sheet says milliamps is asked for those. */
	struct position v = {.kind = KIND_VALVE, .has_nominal = true, .function = FUNCTION_AMP_DC};
	assert_int_equal(part_shows(&v, q), 1);
	assert_int_equal(q[0].quantity, QUANTITY_VALUE);
}

static void test_frequencies(void **state)
{
	(void)state;
	static const struct {
		const char *test;
		double hertz;
		const char *mode;
	} rows[] = {
		{"1 kHz, series", 1000, "series"}, {"100 Hz, bridge", 100, ""}, {"series, 120Hz", 120, "series"},
		{"bridge", 0, ""}, {"", 0, ""}, {"parallel", 0, "parallel"}, {"1 kHz,0.5 V,Parallel", 1000, "parallel"},
		{"500 V", 0, ""},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct decimal hertz;
		char mode[12];
		assert_int_equal(test_frequency(rows[i].test, &hertz, mode), rows[i].hertz > 0);
		assert_near(decimal_double(hertz), rows[i].hertz, 1e-9);
		assert_string_equal(mode, rows[i].mode);
	}
}

/* ---- a bench with a bridge that sends pairs, and an ohm-meter that measures ESR ---- */

static const char config[] =
    "[bench]\nname = tests\n"
    "[meter lcr]\ndialect = scpi\nquery = READ?\nfunction = farad\nsecond = dissipation\n"
    "test farad = 1 kHz, series\naccuracy farad = 0.3% + 3\n"
    "[meter red]\ndialect = ascii-unit\n"
    "[meter esr]\ndialect = ascii-unit\ntest ohm = 100 kHz\naccuracy ohm = 5% + 3\n";

static const char sheet[] =
    "position,kind,nominal,tolerance,role,part,dissipation,esr,leakage\n"
    "C1,electrolytic,47 uF,-20/+50%,reservoir,CAN1,<=0.2,<=3,<=0.5 mA\n"
    "C2,electrolytic,47 uF,-20/+50%,reservoir,CAN1,<=0.2,<=3,\n"
    "C3,film,0.1 uF,10%,coupling,,,,\n";

#define PAIR_OPEN "lcr +1.2E-11,+9.9E+37 *6\n"
#define PAIR_C1 "lcr +5.012E-05,+0.0871 *10\n"

static void begin(struct stand *s)
{
	stand_open(s, config, ":memory:", NULL);
	stand_load(s, sheet);
}

static void run(struct stand *s, const char *scene)
{
	char text[4096];
	snprintf(text, sizeof text, "%s", scene);
	stand_play(s, text);
}

static const char *last_entry(const struct stand *s)
{
	for (int i = s->records - 1; i >= 0; i--)
		if (strstr(s->record[i], "\"kind\":\"entry\""))
			return s->record[i];
	return "";
}

static void test_second(void **state)
{
	(void)state;
	struct stand s;
	begin(&s);
	run(&s, "@0 reach lifted\n@0 at C1\n" PAIR_OPEN PAIR_C1 PAIR_OPEN);
	/* One touch, one entry, with both values. */
	assert_string_equal(s.made, "C1 lcr 50.12 uF lifted");
	const char *e = last_entry(&s);
	if (!strstr(e, "\"second\":{\"is\":\"dissipation\",\"quantity\":\"dissipation\",\"function\":\"number\","
	            "\"value\":0.0871,\"digit\":0.0001,\"u\":0.00508"))
		fail_msg("%s", e);
	if (!strstr(e, "\"basis\":{\"percent\":10,\"counts\":1,\"s\":0},\"accuracy\":\"assumed\","
	                          "\"verdict\":\"within\",\"side\":null,\"reason\":null,\"deviation\":null,"
	                          "\"probability\":1,\"limits\":[null,0.2]},\"frequency\":1000,\"mode\":\"series\""))
		fail_msg("%s", e);
	struct entry read;
	assert_true(entry_read(e, strlen(e), &read));
	assert_int_equal(read.second.kind, SECOND_DISSIPATION);
	assert_near(decimal_double(read.second.value), 0.0871, 1e-12);
	/* The digits of the first are its own: of 4 figures, not of the second's. */
	assert_non_null(strstr(e, "\"value\":5.012e-05,\"digit\":1e-08"));
	/* Above the limit of the sheet. */
	run(&s, "@10 at C2\nlcr wait 8\n" PAIR_OPEN "lcr +4.912E-05,+0.4310 *10\n" PAIR_OPEN);
	assert_non_null(strstr(last_entry(&s), "\"accuracy\":\"assumed\",\"verdict\":\"outside\","));
	assert_non_null(strstr(last_entry(&s), "\"position\":\"C2\""));
	stand_free(&s);
}

static const char *last_of(const struct stand *s, const char *kind)
{
	char want[40];
	snprintf(want, sizeof want, "\"kind\":\"%s\"", kind);
	for (int i = s->records - 1; i >= 0; i--)
		if (strstr(s->record[i], want))
			return s->record[i];
	return "";
}

/* Its readings are in the trail beside those of the value, so that who looks later sees from
 * what it was made; and a changed sheet judges it anew. */
static void test_second_is_evidence(void **state)
{
	(void)state;
	struct stand s;
	begin(&s);
	run(&s, "@0 reach lifted\n@0 at C1\n" PAIR_OPEN
	        "lcr +5.012E-05,+0.0871 *4\nlcr +5.012E-05,+0.0873 *6\n" PAIR_OPEN);
	const char *e = last_entry(&s);
	int entry = 0;
	for (int i = 0; i < s.records; i++)
		entry = s.record[i] == e ? i : entry;
	assert_true(trail_names_right(s.record, s.records, e, 1));
	/* The overloads of open leads send none. */
	const char *t = s.record[entry - 1];
	if (!strstr(t, "\"second\":{\"is\":\"dissipation\",\"function\":\"number\",\"digit\":0.0001,"
	            "\"v\":[871,871,871,871"))
		fail_msg("%s", t);
	/* The check can fail: another value is none of those. */
	char other[8192];
	snprintf(other, sizeof other, "%s", e);
	char *at = strstr(other, "\"value\":0.087");
	assert_non_null(at);
	memcpy(at, "\"value\":0.097", 13);
	assert_false(trail_names_right(s.record, s.records, other, 1));
	/* Judged anew, and the rejudge says so. */
	run(&s, "@20 sheet set C1 dissipation=<=0.05\n");
	const char *r = last_of(&s, "rejudge");
	if (!strstr(r, "\"second\":{\"verdict\":\"outside\",\"side\":\"high\"") ||
	    !strstr(r, "\"limits\":[null,0.05],\"next\""))
		fail_msg("%s", r);
	struct rejudge_body body;
	assert_true(rejudge_body_read(r, strlen(r), &body));
	assert_true(body.has_second && body.second.word == VERDICT_OUTSIDE);
	/* Nothing comes out otherwise: no record. */
	int before = s.records;
	run(&s, "@21 sheet set C1 price=2\n");
	assert_int_equal(s.records, before + 1);
	stand_free(&s);
}

/* A finer digit of the second value ends the run; a coarser one is counted in the finer. */
static void test_second_digits(void **state)
{
	(void)state;
	struct stand s;
	begin(&s);
	run(&s, "@0 reach lifted\n@0 at C3\nlcr +1.012E-07,+9.94E-02\nlcr +1.012E-07,+1.02E-01\n"
	        "lcr +1.012E-07,+9.98E-03\n");
	bench_finish(s.bench, s.t + 1000000);
	bench_collect(s.bench);
	const char *first = NULL, *second = NULL;
	for (int i = 0; i < s.records; i++)
		if (strstr(s.record[i], "\"kind\":\"trail\"")) {
			second = first ? s.record[i] : second;
			first = first ? first : s.record[i];
		}
	if (!first || !strstr(first, "\"digit\":0.0001,\"v\":[994,1020]}"))
		fail_msg("%s", first ? first : "none");
	if (!second || !strstr(second, "\"digit\":1e-05,\"v\":[998]}"))
		fail_msg("%s", second ? second : "none");
	stand_free(&s);
}

/* By the meter's own statement where it has one, and then it is not assumed. */
static void test_second_accuracy(void **state)
{
	(void)state;
	struct stand s;
	char text[1024];
	snprintf(text, sizeof text, "%s", config);
	char *at = strstr(text, "accuracy farad");
	char rest[600];
	snprintf(rest, sizeof rest, "%s", at);
	snprintf(at, sizeof text - (size_t)(at - text), "accuracy number = 2%% + 5\n%s", rest);
	stand_open(&s, text, ":memory:", NULL);
	stand_load(&s, sheet);
	run(&s, "@0 reach lifted\n@0 at C1\n" PAIR_OPEN PAIR_C1 PAIR_OPEN);
	const char *e = last_entry(&s), *second = strstr(e, "\"second\"");
	assert_non_null(second);
	/* (0.02 x 0.0871 + 5 x 0.0001) / sqrt(3), and half a digit: GUM 4.3.7, F.2.2.1 */
	struct entry read;
	assert_true(entry_read(e, strlen(e), &read));
	assert_near(read.second.u, hypot((0.02 * 0.0871 + 0.0005) / sqrt(3), 0.0001 / sqrt(12)), 1e-8);
	assert_false(read.second.basis.assumed);
	/* Taken apart again it comes to the same. */
	struct entry alone;
	struct budget b;
	assert_true(entry_second(&read, &alone) && budget_of(&alone, &b));
	assert_true(b.agrees);
	assert_near(b.part[0].spread, 0.02 * 0.0871 + 0.0005, 1e-9);
	stand_free(&s);
}

/* A pair is one reading: a meter whose second is no number gives the first alone. */
static void test_half_a_pair(void **state)
{
	(void)state;
	struct stand s;
	begin(&s);
	run(&s, "@0 reach lifted\n@0 at C3\n" PAIR_OPEN "lcr +1.012E-07,+9.91E+37 *10\n" PAIR_OPEN);
	assert_string_equal(s.made, "C3 lcr 101.2 nF lifted");
	assert_null(strstr(last_entry(&s), "\"second\""));
	stand_free(&s);
}

/* A line of a dialect of one's own. */
static void test_pattern(void **state)
{
	(void)state;
	static const char text[] = "(?<value>[0-9.]+) (?<prefix>[pnum])(?<unit>F)( D=(?<second>[0-9.]+))?";
	static const struct {
		const char *frame;
		bool good, second;
		double value;
	} rows[] = {
		{"47.12 uF D=0.0231", true, true, 0.0231},
		{"47.12 uF", true, false, 0},
		{"47.12 uF D=0.0.1", false, false, 0},
	};
	struct pattern pattern = {.context = NULL};
	struct fault why;
	assert_true(pattern_compile(&pattern, PATTERN_VALUE, text, strlen(text), &why));
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct dialect_setting setting = {.rules = &pattern};
		struct dialect_memory memory = {.finest = 0};
		struct understood u;
		struct frame f = {.bytes = rows[i].frame, .len = strlen(rows[i].frame)};
		pattern_understand(&setting, &memory, &f, &u);
		assert_int_equal(u.said == SAID_READINGS, rows[i].good);
		assert_int_equal(u.reading[0].has_second, rows[i].second);
		if (rows[i].second)
			assert_near(decimal_double(u.reading[0].second), rows[i].value, 1e-12);
	}
	pattern_free(&pattern);
}

/* ---- the walk ---- */

static void test_walk(void **state)
{
	(void)state;
	struct stand s;
	begin(&s);
	/* C1 is asked for its value, then, with the same hands, for its ESR: a meter for that
	 * lies there, set to ohms.  Leakage is nobody's to ask for by probes alone. */
	run(&s, "@0 reach lifted\n@0 walk on\nesr OL Ohm *4\nred 0.021 nF *4\nesr every 0.5\nesr OL Ohm *8\n"
	        "red 0.021 nF *2\nred 50.1 uF *10\nred 0.021 nF *8\nesr wait 1\n"
	        "esr 0.412 Ohm *10\nesr OL Ohm *8\n");
	assert_string_equal(s.made, "C1 red 50.1 uF lifted; C1 esr 0.412 ohm esr lifted");
	assert_string_equal(s.up, "C1; C1; C2");
	/* By the sheet's limit for ESR. */
	assert_non_null(strstr(last_entry(&s), "\"verdict\":\"within\""));
	assert_non_null(strstr(last_entry(&s), "\"limits\":[null,3]"));
	stand_free(&s);
}

/* What no walk can ask for is said as it leaves the part, with what to use instead, and
 * counted at its end; what a meter of the bench can take is asked for. */
static void test_said(void **state)
{
	(void)state;
	static const struct {
		const char *meter, *sheet, *touch, *says, *up;
	} rows[] = {
		/* one further meter, the sheet, what is touched; what is said, what comes up */
		{"", "C1,paper,0.1 uF\nC2,film,0.1 uF\n", "red 0.021 nF *4\nred 0.1021 uF *10\nred 0.021 nF *8\n",
		 "C1 is not whole yet: leakage missing, use `tally leak C1`", "C1; C2"},
		{"", "C1,electrolytic,47 uF\nC2,film,0.1 uF\n",
		 "red 0.021 nF *4\nred 47.1 uF *10\nred 0.021 nF *8\n",
		 "C1 is not whole yet: esr or dissipation missing, no meter of this bench measures it: `tally "
		 "enter C1 VALUE --quantity esr --from INSTRUMENT`; leakage missing, use `tally leak C1`", "C1; C2"},
		{"[meter lcr]\ndialect = ascii-unit\nsecond = dissipation\n",
		 "C1,electrolytic,47 uF\nC2,film,0.1 uF\n", "red 0.021 nF *4\nred 47.1 uF *10\nred 0.021 nF *8\n",
		 "C1 is not whole yet: esr or dissipation missing, again with lcr, which sends it beside the "
		 "value; leakage missing, use `tally leak C1`", "C1; C2"},
		{"", "T1,winding,50 ohm\nR1,resistor,1k\n", "red OL Ohm *4\nred 50.02 Ohm *10\nred OL Ohm *8\n",
		 "T1 is not whole yet: insulation missing, no meter of this bench measures it: `tally enter T1 "
		 "VALUE --quantity insulation --from INSTRUMENT`", "T1; R1"},
		/* one that tests insulations is there: it is asked for, not missing yet */
		{"[meter meg]\ndialect = ascii-unit\ntest ohm = 500 V\n", "T1,winding,50 ohm\nR1,resistor,1k\n",
		 "red OL Ohm *4\nred 50.02 Ohm *10\nred OL Ohm *8\n", "", "T1; T1"},
		/* its own few volts test none */
		{"[meter meg]\ndialect = ascii-unit\ntest ohm = 3 V\n", "T1,winding,50 ohm\nR1,resistor,1k\n",
		 "red OL Ohm *4\nred 50.02 Ohm *10\nred OL Ohm *8\n",
		 "T1 is not whole yet: insulation missing, no meter of this bench measures it: `tally enter T1 "
		 "VALUE --quantity insulation --from INSTRUMENT`", "T1; R1"},
		/* the last of the sheet */
		{"", "C1,paper,0.1 uF\n", "red 0.021 nF *4\nred 0.1021 uF *10\nred 0.021 nF *8\n",
		 "C1 is not whole yet: leakage missing, use `tally leak C1`; every position of the sheet has its "
		 "entry; 1 of them lacks what no walk can measure (leakage, ...): `tally sheet show --missing`", "C1"},
		/* a film part is whole with its value */
		{"", "C2,film,0.1 uF\n", "red 0.021 nF *4\nred 0.1021 uF *10\nred 0.021 nF *8\n",
		 "every position of the sheet has its entry", "C2"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct stand s;
		char file[600], text[400];
		note_row("%s%s", rows[i].meter, rows[i].sheet);
		snprintf(file, sizeof file, "[bench]\nname = tests\n[meter red]\ndialect = ascii-unit\n%s",
		         rows[i].meter);
		stand_open(&s, file, ":memory:", NULL);
		snprintf(text, sizeof text, "position,kind,nominal\n%s", rows[i].sheet);
		stand_load(&s, text);
		snprintf(text, sizeof text, "@0 reach lifted\n@0 walk on\n%s", rows[i].touch);
		run(&s, text);
		assert_string_equal(s.missing, rows[i].says);
		assert_string_equal(s.up, rows[i].up);
		stand_free(&s);
	}
}

/* ---- missing ---- */

static char *ask(struct stand *s, const char *method, const char *params)
{
	struct fault why;
	int code = 0;
	struct log_reader *r = log_reader_open(log_path(s->log), &why);
	json_t *p = json_loads(params, 0, NULL);
	char *text = query_run(r, method, p, &code, &why);
	json_decref(p);
	log_reader_close(r);
	if (!text)
		fail_msg("%s", why.text);
	return text;
}

static void test_missing(void **state)
{
	(void)state;
	struct stand s;
	begin(&s);
	run(&s, "@0 reach lifted\n@0 at C1\n" PAIR_OPEN PAIR_C1 PAIR_OPEN
	        "@8 at C3\nred wait 8\nred 0.021 nF *6\nred 0.1021 uF *10\nred 0.021 nF *6\n");
	char *text = ask(&s, "sheet.missing", "{}");
	/* The dissipation came with the value. */
	if (!strstr(text, "{\"position\":\"C1\",\"kind\":\"electrolytic\",\"part\":\"CAN1\",\"entries\":1,"
	            "\"missing\":[\"leakage\"]},{\"position\":\"C2\",\"kind\":\"electrolytic\",\"part\":\"CAN1\","
	            "\"entries\":0,\"missing\":[\"value\",\"esr or dissipation\",\"leakage\"]}],\"of\":3,"
	            "\"parts\":[{\"part\":\"CAN1\",\"positions\":[\"C1\",\"C2\"],\"whole\":false}]}"))
		fail_msg("%s", text);
	free(text);
	text = ask(&s, "sheet.show", "{}");
	assert_non_null(strstr(text, "\"missing\":[\"leakage\"]"));
	assert_non_null(strstr(text, "\"position\":\"C3\""));
	free(text);
	/* Typed leakage is seen, too, and judged by the sheet. */
	struct bench_typed typed = {.position = "C1", .quantity = QUANTITY_LEAKAGE, .value = "2.70 mA",
		.from = "tester"};
	assert_true(bench_enter(s.bench, s.t, &typed, (struct bench_wait){0}, &s.why));
	bench_collect(s.bench);
	if (!strstr(last_entry(&s), "\"verdict\":\"outside\""))
		fail_msg("%s", last_entry(&s));
	text = ask(&s, "sheet.missing", "{\"position\":\"C1\"}");
	assert_non_null(strstr(text, "\"positions\":[],"));
	free(text);
	/* A strike takes it back. */
	run(&s, "@60 undo\n");
	text = ask(&s, "sheet.missing", "{\"position\":\"C1\"}");
	assert_non_null(strstr(text, "\"missing\":[\"leakage\"]"));
	free(text);
	/* Another part is fitted: what was found says nothing of it. */
	run(&s, "@61 fit C1 nominal=47u\n");
	text = ask(&s, "sheet.missing", "{\"position\":\"C1\"}");
	if (!strstr(text, "\"missing\":[\"value\",\"esr or dissipation\",\"leakage\"]"))
		fail_msg("%s", text);
	free(text);
	stand_free(&s);
}

/* ---- limits by hand ---- */

static void test_limits_by_hand(void **state)
{
	(void)state;
	struct sheet_row row;
	struct fault why;
	assert_true(sheet_bare(&row, "C9", &why));
	assert_true(sheet_set(&row, "leakage", "<=0.1 uA", &why));
	assert_int_equal(row.position.beside[QUANTITY_LEAKAGE].form, TOLERANCE_AT_MOST);
	assert_true(sheet_set(&row, "Insulation", ">=20M", &why));
	assert_int_equal(row.position.beside[QUANTITY_INSULATION].form, TOLERANCE_AT_LEAST);
	assert_true(sheet_set(&row, "leakage", "", &why));
	assert_int_equal(row.position.beside[QUANTITY_LEAKAGE].form, TOLERANCE_NONE);
	/* By hand what is no limit is a mistake. */
	assert_false(sheet_set(&row, "esr", "3 ohm", &why));
	assert_non_null(strstr(why.text, "wants a limit on one side"));
	assert_false(sheet_set(&row, "volts", "<=3", &why));
	assert_false(sheet_set(&row, "wattage", "<=3", &why));
	/* It is in the record, and comes back. */
	char text[2048];
	struct text out;
	struct sheet_row back;
	text_begin(&out, text, sizeof text);
	sheet_row_write(&out, &row);
	assert_true(sheet_row_read((struct slice){text, out.len}, &back, &why));
	assert_int_equal(back.position.beside[QUANTITY_INSULATION].form, TOLERANCE_AT_LEAST);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_table),       cmocka_unit_test(test_frequencies),
	    cmocka_unit_test(test_second_is_evidence), cmocka_unit_test(test_second_digits),
	    cmocka_unit_test(test_second_accuracy), cmocka_unit_test(test_second),      cmocka_unit_test(test_half_a_pair),
	    cmocka_unit_test(test_pattern),     cmocka_unit_test(test_walk),
	    cmocka_unit_test(test_said),
	    cmocka_unit_test(test_missing),     cmocka_unit_test(test_limits_by_hand),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
