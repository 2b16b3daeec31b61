/* SPDX-License-Identifier: MIT */
/* What is typed in `tally bench`, taken apart; and which entries are meant by it. */
#include "tests/bench_scene.h"

#include "client/phrase.h"

/* ---- enter ---- */

static const struct {
	const char *text;
	const char *position, *quantity, *value, *from, *u, *because; /* position NULL: refused */
	const char *why;
} enter_rows[] = {
	/* typed, what is understood; or what the sentence has in it */
	{"R12 47k from tester", "R12", "", "47k", "tester", "", "", NULL},
	{"R12 47 kohm from tester", "R12", "", "47 kohm", "tester", "", "", NULL},
	{"  C7  leakage  0.3   uA from tester ", "C7", "leakage", "0.3 uA", "tester", "", "", NULL},
	{"B1 -35.2 V from scope", "B1", "", "-35.2 V", "scope", "", "", NULL},
	{"R7 overload from megger", "R7", "", "overload", "megger", "", "", NULL},
	{"R7 OL from megger", "R7", "", "OL", "megger", "", "", NULL},
	{"R7 insulation >20M from megger", "R7", "insulation", ">20M", "megger", "", "", NULL},
	{"7 5 from x", "7", "", "5", "x", "", "", NULL},
	{"C1 esr 0.4 ohm from esr u 0.05 ohm", "C1", "esr", "0.4 ohm", "esr", "0.05 ohm", "", NULL},
	{"C1 47u from lcr because it is, from far", "C1", "", "47u", "lcr", "", "it is, from far", NULL},
	{"C1 47u because no line from lcr", NULL, "", "", "", "", "", "by what instrument"},
	{"C1 47u --from lcr --u 1u --because old", "C1", "", "47u", "lcr", "1u", "old", NULL},
	{"C1 4u7 From lcr Because old", "C1", "", "4u7", "lcr", "", "old", NULL},
	/* what is missing, or wrong */
	{"", NULL, "", "", "", "", "", "position is missing"},
	{"R12", NULL, "", "", "", "", "", "value is missing"},
	{"R12 from tester", NULL, "", "", "", "", "", "value is missing"},
	{"C7 leakage from tester", NULL, "", "", "", "", "", "value is missing"},
	{"R12 47k", NULL, "", "", "", "", "", "by what instrument"},
	{"R12 47k from", NULL, "", "", "", "", "", "instrument is missing"},
	{"R12 4,7k from tester", "R12", "", "4,7k", "tester", "", "", NULL},
	{"R12 10,000 from tester", NULL, "", "", "", "", "", "comma"},
	{"R12 many from tester", NULL, "", "", "", "", "", "many"},
	{"R12 47k from lcr from tester", NULL, "", "", "", "", "", "twice"},
	{"R12 47k from two words", NULL, "", "", "", "", "", "words"},
	{"R12 47k from tester u", NULL, "", "", "", "", "", "uncertainty"},
	{"R12 47k from tester u lots", NULL, "", "", "", "", "", "lots"},
	{"!x 47k from tester", NULL, "", "", "", "", "", "no name"},
	{"R12345678901234567890123456789012345 47k from t", NULL, "", "", "", "", "", "no name"},
	{"R12 1111111111111111111111111111111111111111111111111111111111111111111 from t", NULL, "", "",
	 "", "", "", "at most"},
};

static void test_enter(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof enter_rows / sizeof enter_rows[0]; i++) {
		struct phrase_enter e;
		char why[200] = "";
		note_row("%s", enter_rows[i].text);
		bool good = phrase_enter(enter_rows[i].text, &e, why, sizeof why);
		assert_int_equal(good, enter_rows[i].position != NULL);
		if (!good) {
			assert_non_null(strstr(why, enter_rows[i].why));
			continue;
		}
		assert_string_equal(e.position, enter_rows[i].position);
		assert_string_equal(e.quantity, enter_rows[i].quantity);
		assert_string_equal(e.value, enter_rows[i].value);
		assert_string_equal(e.from, enter_rows[i].from);
		assert_string_equal(e.u, enter_rows[i].u);
		assert_string_equal(e.because, enter_rows[i].because);
	}
}

/* ---- which entries ---- */

/* Entries 21 to 25, of which 23 is struck. */
static void five_entries(void)
{
	scene_ready(false, "cold", "R3", "value", R3_CHOSEN);
	record(23, "entry", ENTRY("R3", "1 ohm", "1", "within", "high", "0", ""));
	record(24, "entry", ENTRY("R3", "2 ohm", "2", "within", "high", "0", ""));
	record(25, "entry", ENTRY("R3", "3 ohm", "3", "within", "high", "0", ""));
	record(26, "strike", ",\"of\":23,\"position\":\"R3\"");
}

static const struct {
	enum action action;
	const char *text;
	int64_t newest;
	const char *position; /* NULL: refused, by the words of the next member */
	const char *picks;
} move_rows[] = {
	/* typed, what `last` counts from, to where, which */
	{ACTION_MOVE, "R13", 0, "R13", "25 "},           {ACTION_MOVE, "last R13", 0, "R13", "25 "},
	{ACTION_MOVE, "last 3 R13", 0, "R13", "25 24 22 "},
	{ACTION_MOVE, "last 3 R13", 24, "R13", "24 22 21 "}, /* one came while it was typed */
	{ACTION_MOVE, "last 7", 0, "7", "25 "},          {ACTION_MOVE, "45 7", 0, "7", ""},
	{ACTION_MOVE, "21-24 R13", 0, "R13", "24 22 21 "}, {ACTION_MOVE, "#22 R13", 0, "R13", "22 "},
	{ACTION_MOVE, "21 last R13", 0, "R13", "25 21 "},
	{ACTION_MOVE, "R12 R13", 0, NULL, "which"},      {ACTION_MOVE, "24-21 R13", 0, NULL, "which"},
	{ACTION_MOVE, "last 0 R13", 0, NULL, "last 1"},  {ACTION_MOVE, "", 0, NULL, "missing"},
	{ACTION_MOVE, "last 3 !", 0, NULL, "no name"},
	{ACTION_STRIKE, "slipped", 0, "slipped", "25 "}, {ACTION_STRIKE, "slipped", 24, "slipped", "24 "},
	{ACTION_STRIKE, "#21 slipped", 0, "slipped", "21 "},
	{ACTION_STRIKE, "2 probes slipped", 0, "2 probes slipped", "25 "},
	{ACTION_STRIKE, "#21", 0, NULL, "why"},          {ACTION_STRIKE, "#x y", 0, NULL, "number"},
};

static void test_picks(void **state)
{
	(void)state;
	five_entries();
	for (size_t i = 0; i < sizeof move_rows / sizeof move_rows[0]; i++) {
		char why[200] = "", got[200] = "", to[KEYS_TEXT_MAX] = "";
		int64_t seqs[PHRASE_LAST_MAX];
		struct phrase_move m;
		struct phrase_strike k;
		const char *text = move_rows[i].text;
		note_row("%s", text);
		bool good = phrase_good(move_rows[i].action, text, why, sizeof why);
		assert_int_equal(good, move_rows[i].position != NULL);
		if (!good) {
			assert_non_null(strstr(why, move_rows[i].picks));
			continue;
		}
		if (move_rows[i].action == ACTION_MOVE && phrase_move(text, &m, why, sizeof why))
			snprintf(to, sizeof to, "%s", m.position);
		else if (phrase_strike(text, &k, why, sizeof why))
			snprintf(to, sizeof to, "%s", k.because);
		assert_string_equal(to, move_rows[i].position);
		int count = phrase_picks(scene, move_rows[i].action, text, move_rows[i].newest, seqs);
		for (int n = 0; n < count; n++)
			snprintf(got + strlen(got), sizeof got - strlen(got), "%lld ", (long long)seqs[n]);
		assert_string_equal(got, move_rows[i].picks);
	}
	scene_stop();
}

/* ---- names ---- */

static const struct {
	enum action action;
	const char *text, *first, *second, *third; /* first NULL: refused */
} name_rows[] = {
	{ACTION_OFFSET, "short", "short", "", ""},    {ACTION_OFFSET, "OPEN red", "open", "red", ""},
	{ACTION_OFFSET, "shut", NULL, "", ""},        {ACTION_OFFSET, "short red blue", NULL, "", ""},
	{ACTION_CHECK, "red REF1", "red", "REF1", ""}, {ACTION_CHECK, "red", NULL, "", ""},
	{ACTION_CHECK, "red REF1 x", NULL, "", ""},
	{ACTION_BIND, "red C1", "red", "C1", ""},     {ACTION_BIND, "red C1 leakage", "red", "C1", "leakage"},
	{ACTION_BIND, "red free", "red", "", ""},     {ACTION_BIND, "red C1 much", NULL, "", ""},
	{ACTION_BIND, "red C1 esr x", NULL, "", ""},
};

static void test_names(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof name_rows / sizeof name_rows[0]; i++) {
		struct phrase_names n;
		char why[200] = "";
		note_row("%s", name_rows[i].text);
		bool good = phrase_names(name_rows[i].action, name_rows[i].text, &n, why, sizeof why);
		assert_int_equal(good, name_rows[i].first != NULL);
		if (!good) {
			assert_true(why[0]);
			continue;
		}
		assert_string_equal(n.first, name_rows[i].first);
		assert_string_equal(n.second, name_rows[i].second);
		assert_string_equal(n.third, name_rows[i].third);
	}
}

/* Any bytes: nothing outside the arrays (with the sanitizers), and a sentence for each no. */
static void test_nonsense(void **state)
{
	(void)state;
	static const char pieces[][12] = {"R1", " ", "from", "u", "because", "last", "#", "-", "45",
	                                  "99999999999", "\xC3\xA9", "\xFF", "leakage", ">", "0", "47k"};
	unsigned seed = 7;
	five_entries();
	for (int i = 0; i < 20000; i++) {
		char text[KEYS_TEXT_MAX] = "", why[200];
		int64_t seqs[PHRASE_LAST_MAX];
		for (int n = 0; n < 14; n++) {
			seed = seed * 1103515245u + 12345u;
			strcat(text, pieces[seed >> 16 & 15]);
			if (seed >> 20 & 1)
				strcat(text, " ");
		}
		for (int a = 1; a < ACTION_COUNT; a++) {
			why[0] = '\0';
			assert_true(phrase_good((enum action)a, text, why, sizeof why) || why[0]);
			int count = phrase_picks(scene, (enum action)a, text, 0, seqs);
			assert_true(count >= 0 && count <= 4);
			phrase_expects((enum action)a, text, strlen(text) / 2);
		}
	}
	scene_stop();
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_enter), cmocka_unit_test(test_picks),
		cmocka_unit_test(test_names), cmocka_unit_test(test_nonsense),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
