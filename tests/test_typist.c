/* SPDX-License-Identifier: MIT */
/*
 * The line that is typed at a terminal: keys to text, pastes that are never keys, what Tab
 * proposes, and any bytes at all.
 */
#include "client/known.h"
#include "client/typist.h"
#include "protocol/record/sheet_entry.h"
#include "tests/check.h"

static enum typed type(struct typist *t, const char *keys)
{
	enum typed last = TYPED_NOTHING;
	for (; *keys; keys++)
		last = typist_byte(t, (unsigned char)*keys);
	return last;
}

#define ESC "\x1b"
#define UP ESC "[A"
#define DOWN ESC "OB"
#define RIGHT ESC "[C"
#define LEFT ESC "[D"
#define PASTE(text) ESC "[200~" text ESC "[201~"

static void keys_to_text(void **state)
{
	(void)state;
	static const struct {
		const char *keys, *text;
		size_t at;
		enum typed last;
	} rows[] = {
	    {"R1 1k", "R1 1k", 5, TYPED_CHANGED},
	    {"R1 1k\r", "R1 1k", 5, TYPED_LINE},
	    {"R1 1k\n", "R1 1k", 5, TYPED_LINE},
	    {"R1 1k\x7f\x7f" "2k", "R1 2k", 5, TYPED_CHANGED},
	    {"\x7f\x08", "", 0, TYPED_CHANGED},
	    {"R1 1k" LEFT LEFT "0", "R1 01k", 4, TYPED_CHANGED},
	    {"R1 1k" LEFT LEFT LEFT LEFT LEFT LEFT "x", "xR1 1k", 1, TYPED_CHANGED},
	    {"ab" LEFT RIGHT RIGHT "c", "abc", 3, TYPED_CHANGED},
	    {"ab" ESC "[Hx" ESC "[Fy", "xaby", 4, TYPED_CHANGED},
	    {"ab" ESC "OHx" ESC "[4~y", "xaby", 4, TYPED_CHANGED},
	    {"ab\x01x\x05y", "xaby", 4, TYPED_CHANGED},
	    {"abc" LEFT LEFT ESC "[3~", "ac", 1, TYPED_CHANGED},
	    {"abc" LEFT "\x04", "ab", 2, TYPED_CHANGED},
	    {"abc" LEFT "\x0b", "ab", 2, TYPED_CHANGED},
	    {"abc" LEFT "\x15", "c", 0, TYPED_CHANGED},
	    {"R1 100k \x17", "R1 ", 3, TYPED_CHANGED},
	    {"abc\x03", "", 0, TYPED_CHANGED},
	    {"\x03", "", 0, TYPED_BREAK},
	    {"\x04", "", 0, TYPED_END},
	    {"a\t", "a", 1, TYPED_TAB},
	    {"1\xc2\xb5" "F", "1\xc2\xb5" "F", 4, TYPED_CHANGED},
	    {"1\xc2\xb5\x7f", "1", 1, TYPED_CHANGED},
	    {"1\xc2\xb5" LEFT "x", "1x\xc2\xb5", 2, TYPED_CHANGED},
	    {"\xe2\x80\x93" LEFT "\x04", "", 0, TYPED_CHANGED},
	    /* Sequences that nobody knows leave nothing behind. */
	    {"a" ESC "[99;99Xb", "ab", 2, TYPED_CHANGED},
	    {"a" ESC "[1234567890123456~b", "ab", 2, TYPED_CHANGED},
	    {"a" ESC "xb", "ab", 2, TYPED_CHANGED},
	    {"a\x02" "b\x1c\x1d" "c", "bca", 2, TYPED_CHANGED},
	    /* Pastes */
	    {PASTE("R1\t1k"), "", 0, TYPED_PASTE},
	    {"a" PASTE("\t\t\x03\x04\x7f\x1b[A"), "a", 1, TYPED_PASTE},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct typist t = {.len = 0};
		enum typed last = type(&t, rows[i].keys);
		if (strcmp(t.text, rows[i].text) != 0 || t.at != rows[i].at || last != rows[i].last) {
			note_row("%zu: \"%s\" at %zu, %d", i, t.text, t.at, (int)last);
			fail();
		}
		typist_free(&t);
	}
}

static void pastes(void **state)
{
	(void)state;
	static const struct {
		const char *before, *paste, *whole, *rest;
	} rows[] = {
	    {"", "R1\t1k", "", "R1\t1k"},
	    {"", "R1\t1k\nR2\t2k\n", "R1\t1k\nR2\t2k\n", ""},
	    {"", "R1 1k\r\nR2 2k\r\nR3", "R1 1k\nR2 2k\n", "R3"},
	    {"", "R1 1k\rR2 2k\r", "R1 1k\nR2 2k\n", ""},
	    {"R", "1 1k\nR2", "R1 1k\n", "R2"},
	    {"", "a\x03\x04\x1b[A\x7f\n", "a[A\n", ""},
	    {"", "\n\n\n", "\n\n\n", ""},
	    {"x", "", "", "x"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct typist t = {.len = 0};
		struct lines whole = {0};
		type(&t, rows[i].before);
		type(&t, ESC "[200~");
		type(&t, rows[i].paste);
		assert_int_equal(type(&t, ESC "[201~"), TYPED_PASTE);
		typist_paste(&t, &whole);
		note_row("%zu: \"%s\", \"%s\"", i, lines_text(&whole), t.text);
		assert_string_equal(lines_text(&whole), rows[i].whole);
		assert_string_equal(t.text, rows[i].rest);
		lines_free(&whole);
		typist_free(&t);
	}
	/* One that goes on for ever takes no more than its room, and ends. */
	struct typist t = {.len = 0};
	struct lines whole = {0};
	type(&t, ESC "[200~");
	for (size_t i = 0; i < TYPIST_PASTE_MAX + 1000; i++)
		assert_int_equal(typist_byte(&t, 'x'), TYPED_NOTHING);
	assert_true(t.paste.len <= TYPIST_PASTE_MAX);
	typist_free(&t);
	lines_free(&whole);
}

static void lines_before(void **state)
{
	(void)state;
	struct typist t = {.len = 0};
	type(&t, "one\r");
	typist_next(&t);
	type(&t, "two\r");
	typist_next(&t);
	t.fault_at = 1;
	type(&t, UP);
	assert_string_equal(t.text, "two");
	assert_int_equal(t.at, 1); /* where it was at fault */
	type(&t, UP);
	assert_string_equal(t.text, "one");
	assert_int_equal(t.at, 3);
	assert_int_equal(type(&t, UP), TYPED_NOTHING);
	type(&t, DOWN DOWN);
	assert_string_equal(t.text, "");
	assert_int_equal(type(&t, DOWN), TYPED_NOTHING);
	/* The oldest make way. */
	for (int i = 0; i < 3 * TYPIST_HISTORY; i++) {
		char line[16];
		snprintf(line, sizeof line, "%d", i);
		typist_set(&t, line, 0);
		typist_next(&t);
	}
	assert_int_equal(t.befores, TYPIST_HISTORY);
	type(&t, UP);
	assert_string_equal(t.text, "149");
	typist_free(&t);
}

static void any_bytes(void **state)
{
	(void)state;
	static const char bits[] = "R1 k\t\x7f\x08\x01\x05\x02\x06\x0b\x15\x17\x10\x0e\x1b[ABCDHO~20\xc2\xb5\xe2";
	unsigned dice = 7;
	struct typist t = {.len = 0};
	for (int i = 0; i < 1000000; i++) {
		dice = dice * 1103515245 + 12345;
		unsigned char c = (unsigned char)((dice >> 16) % 3 ? bits[(dice >> 18) % (sizeof bits - 1)]
		                                                    : (int)(dice >> 17) & 0xff);
		enum typed did = typist_byte(&t, c);
		assert_true(t.len <= TYPIST_LINE_MAX && t.at <= t.len && t.text[t.len] == '\0');
		assert_int_equal(strlen(t.text), t.len);
		if (did == TYPED_LINE)
			typist_next(&t);
		if (did == TYPED_PASTE) {
			struct lines whole = {0};
			typist_paste(&t, &whole);
			lines_free(&whole);
		}
		if (i % 1000 == 0) {
			struct lines out = {0};
			typist_draw(&t, "> ", 20, &out);
			assert_true(out.len < 200);
			lines_free(&out);
		}
		if (i % 50000 == 0 && t.pasting)
			type(&t, ESC "[201~");
	}
	typist_free(&t);
}

static void drawn(void **state)
{
	(void)state;
	static const struct {
		const char *keys;
		int width;
		const char *want;
	} rows[] = {
	    {"R1", 80, "\r> R1\x1b[K\r\x1b[4C"},
	    {"R1" LEFT, 80, "\r> R1\x1b[K\r\x1b[3C"},
	    {"\xc2\xb5x" LEFT, 80, "\r> \xc2\xb5x\x1b[K\r\x1b[3C"},
	    /* Longer than the row: the part around the cursor. */
	    {"abcdefghijklmnopqrstuvwxyz", 16, "\r> nopqrstuvwxyz\x1b[K\r\x1b[15C"},
	    {"abcdefghijklmnopqrstuvwxyz\x01", 16, "\r> abcdefghijklm\x1b[K\r\x1b[2C"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct typist t = {.len = 0};
		struct lines out = {0};
		type(&t, rows[i].keys);
		typist_draw(&t, "> ", rows[i].width, &out);
		assert_string_equal(lines_text(&out), rows[i].want);
		lines_free(&out);
		typist_free(&t);
	}
}

/* ---- what Tab proposes ---- */

static bool learn(void *arg, const struct sheet_row *row, struct fault *why)
{
	(void)why;
	known_add(arg, row);
	return true;
}

static void completions(void **state)
{
	(void)state;
	static const char *const sheet[] = {"R1-R6 100k anode", "C1,C2 0.1u paper coupling with=R1",
	                                    "R9 1k", "C9A,C9B 8+8u channel=left", "R7 1k own.role"};
	static const struct {
		const char *line, *want; /* joined by | */
		size_t from;
	} rows[] = {
	    {"", "R8", 0},               {"R", "R8", 0},           {"r", "R8", 0},
	    {"C", "C10", 0},            {"V", "", 0},             {"R1-", "", 0},
	    {"R10,", "R8", 4},           {"R10 1k cou", "coupling ", 7},
	    {"R10 1k an", "anode |anode load ", 7},
	    {"R10 1k kind=carb", "carbon-composition |carbon-film ", 12},
	    {"C10 1u with=R", "R1 |R2 |R3 |R4 |R5 |R6 |R9 |R7 ", 12},
	    {"C10 1u twin=C1", "C1 ", 12}, {"C10 1u part=", "C9 ", 12},
	    {"V3 valv", "valve |valve=", 3},
	    {"C10 1u channel=l", "left ", 15}, {"C10 1u tol", "tolerance=", 7},
	    {"R10 1k grid le", "grid leak ", 7}, {"R10 1k cathode by", "cathode bypass ", 7},
	    {"R10 1k cathode xy", "", 15},     {"R10 1k le", "leakage=", 7},
	    {"C10 1u own", "own.role ", 7}, {"C10 1u ", "", 7},       {"C10 1u pap", "paper ", 7},
	    {"R10 10k anode R", "resistor |rectifier |rail |reference |rated=|role=|reservoir |R1 |R2 |R3 "
	                        "|R4 |R5 |R6 |R9 |R7 ", 14},
	};
	struct known k = {.count = 0};
	struct fault why;
	for (size_t i = 0; i < sizeof sheet / sizeof *sheet; i++)
		assert_true(sheet_entry_parse(sheet[i], strlen(sheet[i]), learn, &k, &why));
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct lines list = {0};
		size_t from = 99;
		char joined[512] = "";
		int n = known_complete(&k, rows[i].line, strlen(rows[i].line), &from, &list);
		for (const char *p = lines_text(&list); *p; p++) {
			char c[2] = {*p == '\n' ? '|' : *p, '\0'};
			if (p[0] != '\n' || p[1])
				strcat(joined, c);
		}
		int want = rows[i].want[0] ? 1 : 0;
		for (const char *p = rows[i].want; *p; p++)
			want += *p == '|';
		if (strcmp(joined, rows[i].want) != 0 || from != rows[i].from || n != want) {
			note_row("\"%s\": \"%s\" from %zu, %d", rows[i].line, joined, from, n);
			fail();
		}
		lines_free(&list);
	}
	known_free(&k);
	assert_int_equal(known_common("anode \nanode load \n"), 6);
	assert_int_equal(known_common("paper \n"), 6);
	assert_int_equal(known_common("a\nb\n"), 0);
	assert_int_equal(known_common(""), 0);
	assert_int_equal(known_common("\xc2\xb5\n\xc2\xb4\n"), 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(keys_to_text), cmocka_unit_test(pastes), cmocka_unit_test(lines_before),
	    cmocka_unit_test(any_bytes),    cmocka_unit_test(drawn),  cmocka_unit_test(completions),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
