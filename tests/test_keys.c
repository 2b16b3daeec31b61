/* SPDX-License-Identifier: MIT */
/* Keys and words of `tally bench`, and what they ask for. */
#include "tests/check.h"

#include "client/keys.h"

static void complete(void *arg, struct keys *k)
{
	(void)arg;
	if (strcmp(k->line.text, "C1") == 0)
		prompt_replace(&k->line, 0, "C10");
}

static void begins(void *arg, struct keys *k)
{
	(void)arg;
	if (k->asked == ACTION_ENTER)
		prompt_set(&k->line, "R1  from tester", 3);
	snprintf(k->about, sizeof k->about, "R9");
	k->seq = 44;
}

/* What has a ! in it cannot be done. */
static bool good(void *arg, struct keys *k)
{
	(void)arg;
	bool bad = strchr(k->line.text, '!') != NULL;
	if (bad)
		snprintf(k->hint, sizeof k->hint, "no !");
	return !bad;
}

static const struct keys_guide guide = {begins, complete, good, NULL};

/* The keys of a row: ^E is Escape, R rubs out, T is Tab, N Enter, < > left and right,
 * A and Z home and end, D delete, W a word back, U all before, K all behind. */
static int key_of(const char **c)
{
	static const struct { char letter; int key; } named[] = {
		{'E', KEY_IS_ESCAPE}, {'R', KEY_IS_RUBOUT}, {'T', KEY_IS_TAB}, {'N', KEY_IS_ENTER},
		{'<', KEY_IS_LEFT},   {'>', KEY_IS_RIGHT},  {'A', KEY_IS_HOME}, {'Z', KEY_IS_END},
		{'D', KEY_IS_DELETE}, {'W', 'W' - '@'},     {'U', 'U' - '@'},  {'K', 'K' - '@'},
		{'v', KEY_IS_DOWN},
	};
	if (**c != '^')
		return (unsigned char)**c;
	++*c;
	for (size_t i = 0; i < sizeof named / sizeof named[0]; i++)
		if (named[i].letter == **c)
			return named[i].key;
	fail();
	return 0;
}

/* Press all of it; the last deed, ACTION_NONE where there was none. */
static struct deed press(const char *text)
{
	struct keys k = {.mode = KEYS_ACT};
	struct deed deed = {.action = ACTION_NONE}, one;
	for (const char *c = text; *c; c++)
		if (keys_press(&k, key_of(&c), &guide, &one))
			deed = one;
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
	/* A note that was rubbed out: what is typed then is no undo. */
	{"tx^R^R^Rundone^N", ACTION_NOTE, "undone"}, {"t^R^Eu", ACTION_UNDO, ""},
	{"g^N", ACTION_NONE, ""},
	/* letters that act are text while something is typed */
	{"tsmells burnt, q^N", ACTION_NOTE, "smells burnt, q"},
	{"t\xC3\xA9\xC3\xA9^R^N", ACTION_NOTE, "\xC3\xA9"},
	{"x^N", ACTION_NONE, ""},        {"xwrong part^N", ACTION_STRIKE, "wrong part"},
	{"xno! ^N", ACTION_NONE, ""},    {"xno!^N^Rt^N", ACTION_STRIKE, "not"},
	/* what is likely stands there, with the cursor where the rest goes */
	{"e47k^N", ACTION_ENTER, "R1 47k from tester"},
	{"e^U^KR2 1k from x^N", ACTION_ENTER, "R2 1k from x"},
	/* put right: left, right, home, end, words; a letter goes with its marks */
	{"tabd^<c^N", ACTION_NOTE, "abcd"},     {"tbc^Aa^Zd^N", ACTION_NOTE, "abcd"},
	{"tabc^<^<^Rx^N", ACTION_NOTE, "xbc"},  {"tabc^A^D^N", ACTION_NOTE, "bc"},
	{"tone two ^Wthree^N", ACTION_NOTE, "one three"},
	{"tae\xCC\x81o^<^<x^N", ACTION_NOTE, "axe\xCC\x81o"},
	{"tae\xCC\x81o^<^R^N", ACTION_NOTE, "ao"},
	{"ta\xE6\xBC\xA2^<x^N", ACTION_NOTE, "ax\xE6\xBC\xA2"},
	{"ta^v^>^>b^N", ACTION_NOTE, "ab"},
	/* what is no UTF-8 is not sent */
	{"ta\xFF^N", ACTION_NONE, ""},        {"ta\xFF^N^R^N", ACTION_NOTE, "a"},
	/* what needs a word and has none */
	{"p^U^N", ACTION_NONE, ""},          {"fshort^N", ACTION_OFFSET, "short"},
	{"hred REF1^N", ACTION_CHECK, "red REF1"}, {"ired C1^N", ACTION_BIND, "red C1"},
	{"plast R13^N", ACTION_MOVE, "last R13"},
	{"#", ACTION_METERS, ""},
	/* a photo, a line of the sheet, what is in its place; what stands before the power is
	 * asked for at once and stands until a key, which does nothing else */
	{"@c7.jpg leaks^N", ACTION_PHOTO, "c7.jpg leaks"},
	{"jR1-R6 100k^N", ACTION_LINE, "R1-R6 100k"},
	{".C7 R1-R6^N", ACTION_FITTED, "C7 R1-R6"}, {".^N", ACTION_NONE, ""},
	{"!", ACTION_RISE, ""},              {"! ", ACTION_RISE, ""},
	{"\"", ACTION_NOTES, ""},             {"\"n ", ACTION_TAKE, ""},
	{"&", ACTION_TWINS, ""},             {"&n ", ACTION_TAKE, ""},
	{"!n ", ACTION_TAKE, ""},            {"/", ACTION_SWAPPED, ""},
	{"d", ACTION_ORDER, ""},             {"y", ACTION_SOUNDS, ""},
	{"+", ACTION_LOUDER, ""},            {"-", ACTION_QUIETER, ""},
	{">", ACTION_GO, ""},                {"<", ACTION_GO_BACK, ""},
	{"*", ACTION_NONE, ""},              {"*y", ACTION_LEAVE, ""},
	{"*n", ACTION_NONE, ""},             {"*^N", ACTION_NONE, ""},
	{"^v", ACTION_NEXT, ""},
	/* cold and live: only by y after the cautions */
	{"l", ACTION_NONE, ""},          {"ly", ACTION_LIVE, ""},
	{"l ", ACTION_NONE, ""},         {"l^N", ACTION_NONE, ""},
	{"lly", ACTION_SOUNDS, ""}, /* the second l said no */
	{"ky", ACTION_COLD, ""},         {"k^E", ACTION_NONE, ""},
	{"a ", ACTION_NONE, ""},         {"a  ", ACTION_TAKE, ""},
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
	/* As it was when typing began. */
	struct deed deed = press("tx^N");
	assert_string_equal(deed.about, "R9");
	assert_int_equal(deed.seq, 44);
}

/* A refusal by the guide leaves what was typed, and says why, until it is changed. */
static void test_hint(void **state)
{
	(void)state;
	struct keys k = {.mode = KEYS_ACT};
	struct deed deed;
	for (const char *c = "tno!"; *c; c++)
		keys_press(&k, *c, &guide, &deed);
	assert_false(keys_press(&k, KEY_IS_ENTER, &guide, &deed));
	assert_int_equal(k.mode, KEYS_TYPE);
	assert_string_equal(k.line.text, "no!");
	assert_string_equal(k.hint, "no !");
	keys_press(&k, KEY_IS_RUBOUT, &guide, &deed);
	assert_string_equal(k.hint, "");
}

static void test_bounds(void **state)
{
	(void)state;
	struct keys k = {.mode = KEYS_ACT};
	struct deed deed;
	keys_press(&k, 't', NULL, &deed);
	for (int i = 0; i < 5000; i++)
		assert_false(keys_press(&k, 'x', NULL, &deed));
	assert_false(keys_press(&k, KEY_IS_TAB, NULL, &deed));
	assert_true(keys_press(&k, KEY_IS_ENTER, NULL, &deed));
	assert_int_equal(strlen(deed.text), KEYS_TEXT_MAX - 1);
	/* No key, known or not, does harm in any mode. */
	for (int mode = 0; mode < 4; mode++)
		for (int key = -5; key < KEY_IS_DOWN + 5; key++) {
			k = (struct keys){.mode = (enum keys_mode)mode, .asked = ACTION_NOTE};
			keys_press(&k, key, NULL, &deed);
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

/* Every key stands in README.md, among the keys of the screen. */
static void test_readme(void **state)
{
	(void)state;
	static char text[1 << 17];
	FILE *f = fopen("README.md", "r");
	assert_non_null(f);
	text[fread(text, 1, sizeof text - 1, f)] = '\0';
	fclose(f);
	const char *from = strstr(text, "| key |"), *to = from ? strstr(from, "\n\n") : NULL;
	assert_non_null(to);
	text[to - text] = '\0';
	for (int i = 1; i < ACTION_COUNT; i++) {
		char key[16];
		snprintf(key, sizeof key, "`%s`", action_table[i].shown);
		note_row("%s", key);
		assert_true(i == ACTION_TAKE ? strstr(from, "| space |") != NULL
		                             : strstr(from, key) != NULL);
	}
	assert_null(strstr(from, "`J`")); /* the search can fail */
}

static const struct {
	const char *line;
	bool good;
	enum action action;
	const char *text; /* or what the sentence has in it */
} lines[] = {
	{"go", true, ACTION_GO, ""},              {"go C1", true, ACTION_GO, "C1"},
	{"go back", true, ACTION_GO_BACK, ""},    {"go back C1", true, ACTION_GO_BACK, "C1"},
	{"go backs", true, ACTION_GO, "backs"},   {"leave", true, ACTION_LEAVE, ""},
	{"leave RV1", true, ACTION_LEAVE, "RV1"},
	{"take", true, ACTION_TAKE, ""},          {"  next \r", true, ACTION_NEXT, ""},
	{"", true, ACTION_NONE, ""},              {"at C8 leakage", true, ACTION_AT, "C8 leakage"},
	{"C8", true, ACTION_AT, "C8"},            {"7", true, ACTION_AT, "7"},
	{"reach lifted", true, ACTION_REACH, "lifted"}, {"reach", true, ACTION_REACH, ""},
	{"note smells burnt", true, ACTION_NOTE, "smells burnt"},
	{"note", false, ACTION_NONE, "TEXT"},     {"strike", false, ACTION_NONE, "REASON"},
	{"at", false, ACTION_NONE, "POSITION"},   {"takes", false, ACTION_NONE, "help"},
	{"C8 x", false, ACTION_NONE, "help"},     {"quit", true, ACTION_QUIT, ""},
	{"enter R1 47k from tester", true, ACTION_ENTER, "R1 47k from tester"},
	{"enter", false, ACTION_NONE, "VALUE"},   {"move last R13", true, ACTION_MOVE, "last R13"},
	{"meters 4", true, ACTION_METERS, "4"},   {"meters", true, ACTION_METERS, ""},
	{"offset", false, ACTION_NONE, "short"},  {"order kind", true, ACTION_ORDER, "kind"},
	{"photo c7.jpg leaks", true, ACTION_PHOTO, "c7.jpg leaks"},
	{"fitted C7 R1-R6", true, ACTION_FITTED, "C7 R1-R6"}, {"fitted", false, ACTION_NONE, "POSITIONS"},
	{"notes", true, ACTION_NOTES, ""},       {"twins", true, ACTION_TWINS, ""},
	{"there", true, ACTION_OTHER, ""},       {"other", true, ACTION_OTHER, ""},
	{"there R3", false, ACTION_NONE, "help"},    {"u", true, ACTION_UNDO, ""},
	{"q", true, ACTION_QUIT, ""},            {"t", false, ACTION_NONE, "help"},
	{"*", false, ACTION_NONE, "help"},
	{"ready", true, ACTION_RISE, ""},         {"swapped", true, ACTION_SWAPPED, ""},
	{"line set V3 valve=A17", true, ACTION_LINE, "set V3 valve=A17"},
	{"line", false, ACTION_NONE, "LINE"},
	{"sounds", true, ACTION_SOUNDS, ""},      {"sheet", true, ACTION_SHEET, ""},
	{"\x1b]0;title\x07 now", false, ACTION_NONE, "\"\\x1B]0;title\\x07\" is no word"},
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
		cmocka_unit_test(test_keys), cmocka_unit_test(test_bounds), cmocka_unit_test(test_hint),
		cmocka_unit_test(test_table), cmocka_unit_test(test_lines), cmocka_unit_test(test_readme),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
