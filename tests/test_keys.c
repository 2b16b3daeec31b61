/* SPDX-License-Identifier: MIT */
/* Keys and words of `tally bench`, and what they ask for. */
#include "tests/check.h"

#include "client/keys.h"

static void complete(void *arg, char *text, size_t size)
{
	(void)arg;
	if (strcmp(text, "C1") == 0)
		snprintf(text, size, "C10");
}

/* Press all of it; the last deed, ACTION_NONE where there was none.  E is Escape, R
 * rubs out, T is Tab, N Enter. */
static struct deed press(const char *text)
{
	struct keys k = {.mode = KEYS_ACT};
	struct deed deed = {.action = ACTION_NONE}, one;
	for (const char *c = text; *c; c++) {
		int key = *c == '^' ? *++c == 'E' ? KEY_IS_ESCAPE : *c == 'R' ? KEY_IS_RUBOUT
		        : *c == 'T' ? KEY_IS_TAB : KEY_IS_ENTER : (unsigned char)*c;
		if (keys_press(&k, key, complete, NULL, &one))
			deed = one;
	}
	return deed;
}

static const struct {
	const char *keys;
	enum action action;
	const char *text;
} rows[] = {
	/* pressed, what comes of it, with which text */
	{" ", ACTION_TAKE, ""},          {"u", ACTION_UNDO, ""},
	{"n", ACTION_NEXT, ""},          {"b", ACTION_BACK, ""},
	{"m", ACTION_AGAIN, ""},         {"s", ACTION_SAY, ""},
	{"o", ACTION_OTHER, ""},         {"r", ACTION_REACH, ""},
	{"c", ACTION_CONDITION, ""},     {"w", ACTION_WALK, ""},
	{"v", ACTION_QUANTITY, ""},      {"q", ACTION_QUIT, ""},
	{"=", ACTION_STATUS, ""},        {"z", ACTION_MUTE, ""},
	/* a name is typed at once, or after g */
	{"C8^N", ACTION_AT, "C8"},       {"gc8^N", ACTION_AT, "c8"},
	{"C8", ACTION_NONE, ""},         {"C8^E^N", ACTION_NONE, ""},
	{"C89^R^N", ACTION_AT, "C8"},    {"C1^T^N", ACTION_AT, "C10"},
	{"7 leakage ^N", ACTION_AT, "7 leakage"},
	{"C^R^R ", ACTION_TAKE, ""},     /* rubbed out beyond the start: no more typing */
	{"g^N", ACTION_NONE, ""},
	/* letters that act are text while something is typed */
	{"tsmells burnt, q^N", ACTION_NOTE, "smells burnt, q"},
	{"t\xC3\xA9\xC3\xA9^R^N", ACTION_NOTE, "\xC3\xA9"},
	{"x^N", ACTION_NONE, ""},        {"xwrong part^N", ACTION_STRIKE, "wrong part"},
	/* cold and live: only by Enter after the cautions */
	{"l", ACTION_NONE, ""},          {"l^N", ACTION_LIVE, ""},
	{"l ", ACTION_NONE, ""},         {"ll^N", ACTION_NONE, ""},
	{"k^N", ACTION_COLD, ""},        {"k^E", ACTION_NONE, ""},
	/* the list of keys goes with any key, which does nothing else */
	{"? ", ACTION_NONE, ""},         {"?  ", ACTION_TAKE, ""},
	{"~", ACTION_NONE, ""},          {"^E", ACTION_NONE, ""},
};

static void test_keys(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		struct deed deed = press(rows[i].keys);
		if (deed.action != rows[i].action || strcmp(deed.text, rows[i].text) != 0) {
			print_error("\"%s\" gives %d \"%s\"\n", rows[i].keys, (int)deed.action, deed.text);
			fail();
		}
	}
}

static void test_bounds(void **state)
{
	(void)state;
	struct keys k = {.mode = KEYS_ACT};
	struct deed deed;
	keys_press(&k, 't', NULL, NULL, &deed);
	for (int i = 0; i < 5000; i++)
		assert_false(keys_press(&k, 'x', NULL, NULL, &deed));
	assert_false(keys_press(&k, KEY_IS_TAB, NULL, NULL, &deed));
	assert_true(keys_press(&k, KEY_IS_ENTER, NULL, NULL, &deed));
	assert_int_equal(strlen(deed.text), KEYS_TEXT_MAX - 1);
	/* No key, known or not, does harm in any mode. */
	for (int mode = 0; mode < 4; mode++)
		for (int key = -5; key < 1000; key++) {
			k = (struct keys){.mode = (enum keys_mode)mode, .asked = ACTION_NOTE};
			keys_press(&k, key, NULL, NULL, &deed);
		}
}

/* Every action has a key of its own, a word of its own, and room in the list. */
static void test_table(void **state)
{
	(void)state;
	for (int i = 1; i < ACTION_COUNT; i++) {
		assert_true(strlen(action_table[i].help) <= 24);
		assert_true(strlen(action_table[i].label) <= 9);
		for (int k = i + 1; k < ACTION_COUNT; k++) {
			assert_int_not_equal(action_table[i].key, action_table[k].key);
			assert_string_not_equal(action_table[i].word, action_table[k].word);
		}
	}
}

static const struct {
	const char *line;
	bool good;
	enum action action;
	const char *text; /* or what the sentence has in it */
} lines[] = {
	{"take", true, ACTION_TAKE, ""},          {"  next \r", true, ACTION_NEXT, ""},
	{"", true, ACTION_NONE, ""},              {"at C8 leakage", true, ACTION_AT, "C8 leakage"},
	{"C8", true, ACTION_AT, "C8"},            {"7", true, ACTION_AT, "7"},
	{"reach lifted", true, ACTION_REACH, "lifted"}, {"reach", true, ACTION_REACH, ""},
	{"note smells burnt", true, ACTION_NOTE, "smells burnt"},
	{"note", false, ACTION_NONE, "TEXT"},     {"strike", false, ACTION_NONE, "REASON"},
	{"at", false, ACTION_NONE, "POSITION"},   {"takes", false, ACTION_NONE, "help"},
	{"C8 x", false, ACTION_NONE, "help"},     {"quit", true, ACTION_QUIT, ""},
};

static void test_lines(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++) {
		struct deed deed;
		char why[200] = "";
		bool good = keys_line(lines[i].line, &deed, why, sizeof why);
		note_row("%s", lines[i].line);
		assert_int_equal(good, lines[i].good);
		if (good) {
			assert_int_equal(deed.action, lines[i].action);
			assert_string_equal(deed.text, lines[i].text);
		} else {
			assert_non_null(strstr(why, lines[i].text));
		}
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_keys), cmocka_unit_test(test_bounds),
		cmocka_unit_test(test_table), cmocka_unit_test(test_lines),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
