/* SPDX-License-Identifier: MIT */
/*
 * Pictures of plan, order, recheck, places and budgets, for people and as CSV (RFC 4180).
 */
#include "tests/view_stand.h"

#include "protocol/record/record.h"

static const char plan[] =
    "{\"job\":\"j\",\"rounds\":[{\"round\":1,\"name\":\"supply and electrolytics\",\"replace\":["
    "{\"position\":\"C20\",\"part\":\"can-1\",\"kind\":\"electrolytic\",\"nominal\":\"32 uF\","
    "\"role\":\"reservoir\",\"channel\":null,\"twin\":null,\"because\":\"of that age\",\"policy\":true,"
    "\"along\":null}]},{\"round\":2,\"name\":\"coupling\",\"replace\":[]},"
    "{\"round\":3,\"name\":\"the rest\",\"replace\":[{\"position\":\"R12\",\"part\":null,"
    "\"kind\":\"carbon-composition\",\"nominal\":\"470 kohm\",\"role\":\"anode load\","
    "\"channel\":\"left\",\"twin\":\"R112\",\"because\":\"45 % high: carbon, drifted \\\"up\\\"\","
    "\"policy\":false,\"along\":null,\"quantity\":\"value\",\"seq\":16}]}],"
    "\"order\":[{\"count\":2,\"kind\":\"metal-film\",\"value\":\"470 kohm\",\"tolerance\":\"5%\","
    "\"rated\":null,\"watts\":1,\"fit\":false,\"note\":null,\"positions\":[\"R12\",\"R112\"]},"
    "{\"count\":1,\"kind\":\"electrolytic\",\"value\":\"33 uF + 33 uF\",\"tolerance\":\"20%\","
    "\"rated\":450,\"watts\":null,\"fit\":false,\"note\":\"the nearest value that is sold\","
    "\"positions\":[\"C20\",\"C21\"]}],"
    "\"recheck\":[{\"position\":\"R14\",\"measured\":true,\"quantity\":\"value\",\"verdict\":\"unsure\","
    "\"because\":\"other paths lower it\",\"next\":\"lift one leg and measure again\",\"twin\":null,"
    "\"seq\":23},{\"position\":\"S1\",\"measured\":false,\"quantity\":null,\"verdict\":null,"
    "\"because\":\"nothing was measured\",\"next\":\"measure it\",\"twin\":null}],"
    "\"keep\":1,\"replace\":2,\"unsure\":1,\"unmeasured\":1,\"done\":0}";

static void plans(void **state)
{
	(void)state;
	struct lines out = {0};
	view_plan(&columns, slice(plan), PLAN_ROUNDS, false, &out);
	same(&out, "round 1: supply and electrolytics\n"
	           "position  part   kind          nominal  role       because\n"
	           "C20       can-1  electrolytic    32 uF  reservoir  of that age\n"
	           "\n"
	           "round 3: the rest\n"
	           "position  kind                 nominal  role        channel  twin  because\n"
	           "R12       carbon-composition  470 kohm  anode load  left     R112  45 % high: carbon, "
	           "drifted \"up\"\n"
	           "2 to replace, 1 kept, 1 to look at again (tally plan recheck), 1 not measured\n");
	view_plan(&sentences, slice(plan), PLAN_LOOK, false, &out);
	same(&out, "R14, value, unsure, other paths lower it, next lift one leg and measure again\n"
	           "S1, nothing was measured, next measure it\n");
	view_plan(&columns, slice(plan), PLAN_ORDER, false, &out);
	same(&out, "count  kind                  value  tolerance  at least  for       note\n"
	           "    2  metal-film         470 kohm  5%         1 W       R12 R112\n"
	           "    1  electrolytic  33 uF + 33 uF  20%        450 V     C20 C21   the nearest value that "
	           "is sold\n");
}

static void csv(void **state)
{
	(void)state;
	struct lines out = {0};
	view_plan(&columns, slice(plan), PLAN_ROUNDS, true, &out);
	same(&out, "round,name,position,part,kind,nominal,role,channel,twin,because\r\n"
	           "1,supply and electrolytics,C20,can-1,electrolytic,32 uF,reservoir,,,of that age\r\n"
	           "3,the rest,R12,,carbon-composition,470 kohm,anode load,left,R112,"
	           "\"45 % high: carbon, drifted \"\"up\"\"\"\r\n");
	view_plan(&columns, slice(plan), PLAN_ORDER, true, &out);
	same(&out, "count,kind,value,tolerance,at least,positions,note,number,price\r\n"
	           "2,metal-film,470 kohm,5%,1 W,R12 R112,,,\r\n"
	           "1,electrolytic,33 uF + 33 uF,20%,450 V,C20 C21,the nearest value that is sold,,\r\n");
	view_plan(&columns, slice(plan), PLAN_LOOK, true, &out);
	same(&out, "position,quantity,verdict,because,next\r\n"
	           "R14,value,unsure,other paths lower it,lift one leg and measure again\r\n"
	           "S1,,,nothing was measured,measure it\r\n");
}

static void nothing(void **state)
{
	(void)state;
	struct lines out = {0};
	struct slice none = slice("{}");
	for (int part = PLAN_ROUNDS; part <= PLAN_LOOK; part++)
		for (int as_csv = 0; as_csv < 2; as_csv++)
			view_plan(&columns, none, (enum plan_part)part, as_csv, &out);
	assert_non_null(strstr(lines_text(&out), "nothing to buy"));
	assert_non_null(strstr(lines_text(&out), "nothing to look at again"));
	view_places(&columns, none, &out);
	assert_non_null(strstr(lines_text(&out), "nothing to calculate yet"));
	assert_false(out.failed);
	lines_free(&out);
}

static void places(void **state)
{
	(void)state;
	struct lines out = {0};
	view_places(&columns, slice("{\"job\":\"j\",\"places\":[{\"position\":\"C7\",\"what\":"
	            "\"coupling-corner\",\"condition\":\"found\",\"calculated\":true,\"value\":7.23432,"
	            "\"u\":0.05,\"unit\":\"Hz\",\"shown\":\"7.234 Hz\",\"from\":[\"C7 found, entry 12\","
	            "\"R14 nominal\"],\"note\":null}]}"), &out);
	same(&out, "position  calculated       by values    result     +- U  from\n"
	           "C7        coupling corner  found      7.234 Hz  0.10 Hz  C7 found, entry 12; R14 nominal\n");
	/* U stands in the unit and prefix of the result, also where no meter has that unit. */
	static const struct {
		const char *value, *u, *unit, *shown, *want;
	} rows[] = {
	    {"0.405", "0.0045", "W", "405.0 mW", "9.0 mW"}, {"16.1", "0.085", "W", "16.10 W", "0.17 W"},
	    {"60.06", "0.633", "s", "60.06 s", "1.3 s"},    {"5.894", "0.0135", "dB", "5.894 dB", "0.027 dB"},
	    {"1.9", "0.04", "", "1.900", "0.080\n"},        {"2400", "30", "s", "2.400 ks", "0.060 ks"},
	    {"134", "0.7", "%", "134.0 %", "1.4 %"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		char json[400];
		snprintf(json, sizeof json, "{\"places\":[{\"position\":\"V5\",\"what\":\"heat\","
		         "\"condition\":\"found\",\"value\":%s,\"u\":%s,\"unit\":\"%s\",\"shown\":\"%s\","
		         "\"from\":[],\"note\":null}]}", rows[i].value, rows[i].u, rows[i].unit, rows[i].shown);
		note_row("%s", rows[i].shown);
		view_places(&columns, slice(json), &out);
		if (!strstr(lines_text(&out), rows[i].want))
			fail_msg("no %s in %s", rows[i].want, lines_text(&out));
		lines_free(&out);
	}
}

static void budgets(void **state)
{
	(void)state;
	struct lines out = {0};
	char buffer[4096];
	struct text t;
	struct entry e = {.seq = 16, .quantity = QUANTITY_VALUE, .source = SOURCE_METER,
	                  .function = FUNCTION_OHM, .has_value = true, .value = {6800, 2}, .n = 4,
	                  .basis = {.known = true, .percent = 0.5, .counts = 2, .s = 1000}, .settled = true};
	strcpy(e.position, "R12");
	strcpy(e.meter, "red");
	e.u = hypot(3600 / sqrt(3), 500);
	view_budget(&columns, &e, "680.0 kohm", &out);
	same(&out,
	     "entry 16, R12 value, red: 680.0 kohm\n"
	     "component      from                           distribution  half or s  divisor      "
	     "     u  c   share\n"
	     "accuracy       0.5% of reading + 2 counts     rectangular   3.60 kohm     1.73  "
	     "2.08  kohm  1  94.5 %\n"
	     "repeatability  scatter of 4 settled readings  normal        1.00 kohm     2     "
	     "0.500 kohm  1   5.5 %\n"
	     "combined u 2.14 kohm, degrees of freedom above 1000; U = 2 u = 4.3 kohm\n");
	text_begin(&t, buffer, sizeof buffer);
	view_budget_json(&e, "680.0 kohm", &t);
	struct slice json = {t.bytes, t.len};
	size_t where;
	double x;
	assert_true(json_valid(json.at, json.len, &where));
	assert_true(json_number(json_member(json.at, json.len, "k"), &x) && x == 2);
	assert_true(json_number(json_member(json.at, json.len, "U"), &x));
	assert_near_relative(x, 2 * e.u, 1e-5);
	struct slice first = json_element(json_member(json.at, json.len, "components"), 0);
	assert_true(json_number(json_member(first.at, first.len, "divisor"), &x));
	assert_near_relative(x, sqrt(3), 1e-5);
	assert_true(json_is(json_member(first.at, first.len, "distribution"), "rectangular"));
	/* infinite degrees of freedom are null: JSON has no infinity */
	assert_true(json_absent(json_member(first.at, first.len, "nu")));
	e.has_value = false;
	view_budget(&columns, &e, "overload", &out);
	same(&out, "entry 16, R12 value, red: overload\nan overload has no value, and so no uncertainty\n");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(plans), cmocka_unit_test(csv), cmocka_unit_test(nothing),
	    cmocka_unit_test(places), cmocka_unit_test(budgets),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
