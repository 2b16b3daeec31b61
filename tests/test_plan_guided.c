/* SPDX-License-Identifier: MIT */
/* What guided runs found out decides in the plan, and is a quantity that was seen. */
#include "tests/plan_stand.h"

static int64_t ran(struct store *s, const char *guide, const char *of, const char *event,
                   const char *rest)
{
	struct text t;
	text_begin(&t, room, sizeof room);
	text_printf(&t, ",\"job\":\"j\",\"guide\":\"%s\",\"of\":\"%s\",\"event\":\"%s\",\"position\":\"%s\""
	            ",\"step\":\"off\",\"alarm\":false%s", guide, of, event, of, rest);
	return add(s, "guide", &t);
}

#define FOUND(amps, word) ",\"result\":{\"calculated\":true,\"leakage\":{\"value\":" amps ",\"u\":1e-9," \
	"\"unit\":\"A\"},\"verdict\":\"" word "\",\"most\":5e-07}"
#define HOURS ",\"failed\":\"2 hours without progress at 296 uA\"" FOUND("0.000296", "outside")
#define ROUND "its meter is the wrong way round"
#define KEEP "{\"keep\":[\"paper\",\"electrolytic\"]}"

/* What becomes of a position: its round or "recheck", and why; "" where nothing does. */
static void becomes(struct store *s, const char *position, char *out, size_t size)
{
	json_t *plan = answer(s, "plan", KEEP), *round, *one;
	size_t r, i;
	out[0] = '\0';
	json_array_foreach(json_object_get(plan, "rounds"), r, round)
		json_array_foreach(json_object_get(round, "replace"), i, one)
			if (!strcmp(json_string_value(json_object_get(one, "position")), position))
				snprintf(out, size, "%zu %s", r + 1,
				         json_string_value(json_object_get(one, "because")));
	json_array_foreach(json_object_get(plan, "recheck"), i, one)
		if (!strcmp(json_string_value(json_object_get(one, "position")), position))
			snprintf(out, size, "recheck %s", json_string_value(json_object_get(one, "because")));
	json_decref(plan);
}

static bool lacks_leakage(struct store *s, const char *position)
{
	char params[80];
	json_t *one;
	size_t i;
	bool lacks = false;
	snprintf(params, sizeof params, "{\"position\":\"%s\"}", position);
	json_t *missing = answer(s, "sheet.missing", params);
	json_t *of = json_array_get(json_object_get(missing, "positions"), 0);
	json_array_foreach(json_object_get(of, "missing"), i, one)
		lacks = lacks || strstr(json_string_value(one), "leakage");
	json_decref(missing);
	return lacks;
}

static void guided(void **state)
{
	struct store *s = *state;
	static const struct {
		const char *guide, *of, *event, *rest, *becomes;
		bool lacks; /* its leakage is still to be measured */
	} rows[] = {
	    /* Left is not ended: it says nothing. */
	    {"reform", "C20", "left", FOUND("1.5e-06", "unsure"), "recheck nothing was measured", true},
	    {"reform", "C20", "done", FOUND("3.9e-05", "within"), "", false},
	    {"reform", "C20", "stopped", HOURS,
	     "1 re-forming was given up: 2 hours without progress at 296 uA", false},
	    /* ... nor does it undo the run before it. */
	    {"reform", "C20", "left", FOUND("1.5e-06", "unsure"),
	     "1 re-forming was given up: 2 hours without progress at 296 uA", false},
	    {"reform", "C20", "done", FOUND("0.0004", "outside"), "1 re-forming: 400 uA, at most 500 nA",
	     false},
	    {"reform", "C20", "done", FOUND("0.000144", "unsure"),
	     "recheck re-forming: 144 uA, at most 500 nA", false},
	    /* No current was found: the part is not condemned. */
	    {"reform", "C20", "stopped", ",\"failed\":\"" ROUND "\"",
	     "recheck re-forming was given up: " ROUND, true},
	    {"leak", "C7", "done", FOUND("4.4e-06", "outside"), "2 leakage: 4.4 uA, at most 500 nA", false},
	    {"leak", "C7", "done", FOUND("4.39e-07", "within"), "", false},
	    {"leak", "C7", "done", FOUND("4.99e-07", "unsure"), "recheck leakage: 499 nA, at most 500 nA",
	     false},
	    {"leak", "C7", "stopped", ",\"failed\":\"the rail is above 450 V\"",
	     "recheck leakage was given up: the rail is above 450 V", true},
	    /* Another kind of run says nothing of leakage. */
	    {"tune", "R15", "done", FOUND("1", "outside"), "recheck nothing was measured", false},
	};
	char got[400];
	sheet(s, PLAN_SHEET);
	assert_true(lacks_leakage(s, "C20") && lacks_leakage(s, "C7"));
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		ran(s, rows[i].guide, rows[i].of, rows[i].event, rows[i].rest);
		becomes(s, rows[i].of, got, sizeof got);
		if (strcmp(got, rows[i].becomes))
			fail_msg("row %zu: \"%s\", not \"%s\"", i, got, rows[i].becomes);
		if (lacks_leakage(s, rows[i].of) != rows[i].lacks)
			fail_msg("row %zu: leakage is %s", i, rows[i].lacks ? "not missing" : "missing");
	}
}

/* What was found out is a better reason than age; the can and the twin go along; what is
 * measured later takes its place. */
static void guided_reasons(void **state)
{
	struct store *s = *state;
	char got[400];
	sheet(s, PLAN_SHEET);
	int64_t seq = ran(s, "reform", "C20", "stopped", HOURS);
	ran(s, "leak", "C7", "done", FOUND("4.4e-06", "outside"));
	json_t *plan = answer(s, "plan", "{}");
	json_t *c20 = find(json_object_get(json_array_get(json_object_get(plan, "rounds"), 0), "replace"),
	                   "position", "C20");
	assert_true(json_is_false(json_object_get(c20, "policy")));
	assert_int_equal(json_integer_value(json_object_get(c20, "guided")), seq);
	assert_string_equal(json_string_value(json_object_get(c20, "quantity")), "leakage");
	json_decref(plan);
	becomes(s, "C21", got, sizeof got);
	assert_string_equal(got, "1 one part with C20");
	becomes(s, "C17", got, sizeof got);
	assert_string_equal(got, "2 its twin C7 is replaced");
	tell(s, &(struct told){"C20", "33u", F, 1e-7, W, W, SIDE_NONE, .condition = CONDITION_DONE,
	                       .reach = REACH_LOOSE});
	becomes(s, "C20", got, sizeof got);
	assert_string_equal(got, "");
	tell(s, &(struct told){"C7", "0.1 uA", FUNCTION_AMP_DC, 1e-9, W, W, SIDE_NONE,
	                       .quantity = QUANTITY_LEAKAGE, .reach = REACH_LIFTED});
	becomes(s, "C7", got, sizeof got);
	assert_string_equal(got, "");
}

/* An entry that the run rests on is struck: so is what it found out. */
static void guided_struck(void **state)
{
	struct store *s = *state;
	char got[400], rest[400];
	struct text t;
	sheet(s, PLAN_SHEET);
	int64_t entry = tell(s, &(struct told){"C7", "4 V", FUNCTION_VOLT_DC, .01, 0, 0, SIDE_NONE,
	                                       .quantity = QUANTITY_LEAKAGE, .reach = REACH_IN_CIRCUIT});
	snprintf(rest, sizeof rest, ",\"values\":{\"volts\":{\"value\":4,\"seq\":%d}}%s", (int)entry,
	         FOUND("4.4e-06", "outside"));
	ran(s, "leak", "C7", "done", rest);
	becomes(s, "C7", got, sizeof got);
	assert_string_equal(got, "2 leakage: 4.4 uA, at most 500 nA");
	text_begin(&t, room, sizeof room);
	text_printf(&t, ",\"job\":\"j\",\"of\":%d,\"because\":\"the valve was in\"", (int)entry);
	add(s, "strike", &t);
	becomes(s, "C7", got, sizeof got);
	assert_string_equal(got, "recheck nothing was measured");
	assert_true(lacks_leakage(s, "C7"));
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup_teardown(f, store_up, store_down)
	const struct CMUnitTest tests[] = {
	    TEST(guided), TEST(guided_reasons), TEST(guided_struck),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
