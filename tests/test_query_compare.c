/* SPDX-License-Identifier: MIT */
/*
 * Meters against each other and twins, on records made by hand.  Numbers of E_n: ISO 13528:2022,
 * section 9 (|x1 - x2| / sqrt(U1^2 + U2^2), agree up to 1); computed by hand beside each check.
 */
#include "tests/query_stand.h"

/* ---- compare: meters ---- */

static void test_crosscheck(void **state)
{
	static const struct touch touches[] = {
		/* R1: U = 2 u = 0.3 and 0.15; E_n = 0.3 / sqrt(0.09 + 0.0225) = 0.894427 */
		{ "j", "R1", "red", "lifted", "47.35", 0.15, 0 },
		{ "j", "R1", "bench", "lifted", "47.05", 0.075, 0 },
		/* R2: 3 / sqrt(2.2^2 + 1.1^2) = 1.219673 */
		{ "j", "R2", "red", "lifted", "221", 1.1, 0 },
		{ "j", "R2", "bench", "lifted", "218", 0.55, 0 },
		/* R3: three meters; green disagrees with both (10/sqrt(2) = 7.07), they with
		 * each other not (0.1/sqrt(2)) */
		{ "j", "R3", "red", "lifted", "100", 0.5, 0 },
		{ "j", "R3", "bench", "lifted", "100.1", 0.5, 0 },
		{ "j", "R3", "green", "lifted", "110", 0.5, 0 },
		/* R4: one in circuit, one lifted */
		{ "j", "R4", "red", "in-circuit", "100", 0.5, 0 },
		{ "j", "R4", "bench", "lifted", "100", 0.5, 0 },
		/* R5: nothing to compare with */
		{ "j", "R5", "red", "lifted", "100", 0.5, 0 },
		{ "j", "R5", "red", "lifted", "300", 0.5, 0 },
		/* R6: overload; R7: typed; R8: still moving */
		{ "j", "R6", "red", "lifted", "null", 0.5, 0 },
		{ "j", "R6", "bench", "lifted", "100", 0.5, 0 },
		{ "j", "R7", "red", "lifted", "100", 0.5, 0 },
		{ "j", "R7", "bench", "lifted", "100", 0.5, "typed" },
		{ "j", "R8", "red", "lifted", "100", 0.5, "moving" },
		{ "j", "R8", "bench", "lifted", "100", 0.5, 0 },
		/* another job is none of ours */
		{ "old", "R5", "bench", "lifted", "1", 0.5, 0 },
	};
	struct store *s = *state;
	add_job(s, "old", "started", true, false);
	add_job(s, "j", "started", true, false);
	/* The order of the answer is that of the sheet. */
	static const char *const sheet[] = { "R3", "R2", "R1", "R4", "R5", "R6", "R7", "R8" };
	for (size_t i = 0; i < sizeof sheet / sizeof sheet[0]; i++)
		add_position(s, "j", sheet[i], "100", "5%", "");
	/* An older value of red on R1 is overtaken, a newer one struck. */
	add_entry(s, &(struct touch){ "j", "R1", "red", "lifted", "1", 0.1, 0 });
	for (size_t i = 0; i < sizeof touches / sizeof touches[0]; i++)
		add_entry(s, &touches[i]);
	add_said(s, "strike", add_entry(s, &(struct touch){ "j", "R1", "red", "lifted", "2", 0.1, 0 }),
	         ",\"because\":\"slip\"");

	char *text = ask(s, "compare", "{}");
	assert_int_equal(count(text, "crosschecks"), 3);
	element_is(text, "crosschecks", 0, "position", "\"R3\"");
	element_is(text, "crosschecks", 0, "apart", "\"green\"");
	element_is(text, "crosschecks", 0, "agree", "false");
	struct slice pairs = element(text, "crosschecks", 0);
	pairs = json_member(pairs.at, pairs.len, "pairs");
	assert_non_null(json_element(pairs, 2).at);
	assert_null(json_element(pairs, 3).at);
	element_is(text, "crosschecks", 1, "position", "\"R2\"");
	element_is(text, "crosschecks", 1, "agree", "false");
	element_is(text, "crosschecks", 1, "apart", "null");
	element_is(text, "crosschecks", 2, "position", "\"R1\"");
	element_is(text, "crosschecks", 2, "quantity", "\"value\"");
	element_is(text, "crosschecks", 2, "condition", "\"found\"");
	element_is(text, "crosschecks", 2, "reach", "\"lifted\"");
	element_is(text, "crosschecks", 2, "agree", "true");
	struct slice check = element(text, "crosschecks", 2), pair;
	pair = json_element(json_member(check.at, check.len, "pairs"), 0);
	double x;
	assert_true(json_number(json_member(pair.at, pair.len, "en"), &x));
	assert_near(x, 0.894427, 1e-6);
	assert_true(json_is(json_member(pair.at, pair.len, "a.meter"), "bench"));
	assert_true(json_is(json_member(pair.at, pair.len, "b.shown"), "47.35 ohm"));
	assert_true(json_number(json_member(pair.at, pair.len, "b.U"), &x));
	assert_near(x, 0.3, 1e-9);
	check = element(text, "crosschecks", 1);
	pair = json_element(json_member(check.at, check.len, "pairs"), 0);
	assert_true(json_number(json_member(pair.at, pair.len, "en"), &x));
	assert_near(x, 1.219673, 5e-6);

	assert_int_equal(count(text, "refused"), 4);
	element_is(text, "refused", 0, "position", "\"R4\"");
	assert_non_null(strstr(element(text, "refused", 0).at, "different reach"));
	element_is(text, "refused", 1, "position", "\"R6\"");
	element_is(text, "refused", 2, "position", "\"R7\"");
	element_is(text, "refused", 3, "position", "\"R8\"");
	free(text);

	text = ask(s, "compare", "{\"position\":\"R2\"}");
	assert_int_equal(count(text, "crosschecks"), 1);
	assert_int_equal(count(text, "refused"), 0);
	element_is(text, "crosschecks", 0, "position", "\"R2\"");
	free(text);
}

/* ---- pages of compare ---- */

/* The lists of all pages, one text a list. */
static int compare_pages(struct store *s, int limit, char *out[4])
{
	static const char *const list[4] = {"crosschecks", "references", "twins", "refused"};
	int64_t after = 0, next;
	int pages = 0;
	for (bool more = true; more; after = next, pages++) {
		char params[80];
		snprintf(params, sizeof params, limit ? "{\"after\":%d,\"limit\":%d}" : "{\"after\":%d}",
		         (int)after, limit);
		char *text = ask(s, "compare", params);
		assert_true(strlen(text) <= 960u << 10);
		for (int i = 0; i < 4; i++) {
			struct slice m = json_member(text, strlen(text), list[i]);
			assert_true(m.at && m.len >= 2);
			size_t len = strlen(out[i]);
			snprintf(out[i] + len, (4u << 20) - len, "%s%.*s", len && m.len > 2 ? "," : "",
			         (int)m.len - 2, m.at + 1);
		}
		more = json_bool(json_member(text, strlen(text), "more"), false);
		next = after;
		json_int(json_member(text, strlen(text), "next"), &next);
		assert_true(!more || next > after);
		free(text);
	}
	return pages;
}

static void lists_new(char *out[4])
{
	for (int i = 0; i < 4; i++)
		out[i] = calloc(1, 4u << 20);
}

/* More than a line of the wire holds comes in pages, and none loses or doubles anything. */
static void test_compare_pages(void **state)
{
	enum { PAIRS = 1400 };
	struct store *s = *state;
	char *all[4], *few[4], name[40], twin[40];
	add_job(s, "j", "started", true, false);
	for (int i = 1; i <= 2 * PAIRS; i++) {
		snprintf(name, sizeof name, "the-left-supply-board/R%d", i);
		snprintf(twin, sizeof twin, "the-left-supply-board/R%d", i % 2 ? i + 1 : i - 1);
		add_position(s, "j", name, "100", "5%", twin);
	}
	for (int i = 1; i <= 2 * PAIRS; i++) {
		snprintf(name, sizeof name, "the-left-supply-board/R%d", i);
		add_entry(s, &(struct touch){"j", name, "red", i % 100 ? "lifted" : "in-circuit", "100", 0.5, 0});
		add_entry(s, &(struct touch){"j", name, "bench", "lifted", i % 7 ? "100" : "110", 0.5, 0});
	}
	lists_new(all);
	lists_new(few);
	assert_true(compare_pages(s, 0, all) > 1);
	assert_int_equal(compare_pages(s, 333, few), (2 * PAIRS + 332) / 333);
	for (int i = 0; i < 4; i++) {
		/* What was refused for the twin's sake stands behind the meters of its page. */
		if (i < 3)
			assert_string_equal(all[i], few[i]);
		assert_int_equal(strlen(all[i]), strlen(few[i]));
		free(all[i]);
		free(few[i]);
	}
	/* One position and what is beyond the end are single pages. */
	char *text = ask(s, "compare", "{\"position\":\"the-left-supply-board/R7\"}");
	assert_int_equal(count(text, "crosschecks"), 1);
	assert_int_equal(count(text, "twins"), 1);
	free(text);
	answer_is(s, "compare", "{\"after\":5000}", "{\"job\":\"j\",\"crosschecks\":[],\"references\":[],"
	          "\"twins\":[],\"refused\":[],\"more\":false}");
	ask_refused(s, "compare", "{\"limit\":0}", WIRE_BAD_PARAMS, "limit must be 1 to");
	ask_refused(s, "places", "{\"limit\":0}", WIRE_BAD_PARAMS, "limit must be 1 to");
}

/* ---- compare: twins ---- */

static void test_twins(void **state)
{
	static const struct touch touches[] = {
		/* R1 and R101: 5 % parts; 104 against 96: difference 8/100 = 0.08, within the 0.1
		 * that the tolerance lets them differ, though E_n = 8 / (2 sqrt(2)) = 2.83 */
		{ "j", "R1", "red", "in-circuit", "104", 1, 0 },
		{ "j", "R101", "red", "in-circuit", "96", 1, 0 },
		/* R2 and R102: 1 % parts; difference 10/95 is too much */
		{ "j", "R2", "red", "in-circuit", "100", 1, 0 },
		{ "j", "R102", "red", "in-circuit", "90", 1, 0 },
		/* R3 and R103: never at one reach */
		{ "j", "R3", "red", "in-circuit", "100", 1, 0 },
		{ "j", "R103", "red", "lifted", "100", 1, 0 },
		/* R4 and R104: the meter that measured both, though the newest is another's */
		{ "j", "R4", "red", "lifted", "200", 1, 0 },
		{ "j", "R104", "red", "lifted", "201", 1, 0 },
		{ "j", "R104", "bench", "lifted", "250", 1, 0 },
		/* R7 and R107: no tolerance written; 1 % is usual for the kind, so that they may
		 * lie 0.02 apart: 1.5 / 100.75 */
		{ "j", "R7", "red", "lifted", "101.5", 0.1, 0 },
		{ "j", "R107", "red", "lifted", "100", 0.1, 0 },
		/* R5: its twin was not measured */
		{ "j", "R5", "red", "lifted", "200", 1, 0 },
	};
	static const char *const rows[][3] = {
		{ "R1", "5%", "R101" }, { "R2", "1%", "R102" }, { "R3", "5%", "R103" },
		{ "R4", "5%", "R104" }, { "R5", "5%", "R105" }, { "R101", "5%", "R1" },
		{ "R102", "1%", "R2" }, { "R103", "5%", "R3" }, { "R104", "5%", "R4" },
		{ "R105", "5%", "R5" }, { "R6", "5%", "" }, { "R7", "", "R107" }, { "R107", "", "R7" },
	};
	struct store *s = *state;
	add_job(s, "j", "started", true, false);
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
		add_position(s, "j", rows[i][0], "100", rows[i][1], rows[i][2]);
	for (size_t i = 0; i < sizeof touches / sizeof touches[0]; i++)
		add_entry(s, &touches[i]);

	char *text = ask(s, "compare", "{}");
	assert_int_equal(count(text, "twins"), 4); /* each pair once */
	element_is(text, "twins", 0, "position", "\"R1\"");
	element_is(text, "twins", 0, "twin", "\"R101\"");
	element_near(text, "twins", 0, "ratio", 104.0 / 96);
	element_near(text, "twins", 0, "difference", 0.08);
	element_near(text, "twins", 0, "en", 8 / sqrt(8));
	element_is(text, "twins", 0, "agree", "true");
	element_is(text, "twins", 0, "a.shown", "\"104 ohm\"");
	element_is(text, "twins", 1, "agree", "false");
	element_near(text, "twins", 1, "difference", 10.0 / 95);
	element_is(text, "twins", 2, "position", "\"R4\"");
	element_is(text, "twins", 2, "b.meter", "\"red\"");
	element_is(text, "twins", 2, "b.shown", "\"201 ohm\"");
	element_is(text, "twins", 3, "position", "\"R7\"");
	element_is(text, "twins", 3, "agree", "true");
	element_near(text, "twins", 3, "en", 1.5 / sqrt(0.08));
	assert_int_equal(count(text, "refused"), 1);
	element_is(text, "refused", 0, "position", "\"R3\"");
	assert_non_null(strstr(text, "different reach"));
	free(text);

	/* Asked for from either side. */
	text = ask(s, "compare", "{\"position\":\"R101\"}");
	assert_int_equal(count(text, "twins"), 1);
	element_is(text, "twins", 0, "position", "\"R101\"");
	element_near(text, "twins", 0, "ratio", 96.0 / 104);
	assert_int_equal(count(text, "crosschecks"), 0);
	free(text);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		TEST(crosscheck), TEST(compare_pages), TEST(twins),
	};
	return cmocka_run_group_tests_name("query compare", tests, NULL, NULL);
}
