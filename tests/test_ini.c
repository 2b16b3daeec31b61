/* SPDX-License-Identifier: MIT */
/* Configuration files: every rule of ini.h, and the place of every fault. */
#include "protocol/file/ini.h"
#include "protocol/trade/uncertainty.h"

#include "tests/check.h"

#include <stdlib.h>

/* Writes every item down: SECTION|key|value|line:key_column:value_column LF */
static bool note_item(void *arg, const struct ini_item *item, struct fault *why)
{
	(void)why;
	char *out = arg;
	size_t n = strlen(out);
	snprintf(out + n, 4096 - n, "%s|%s|%s|%d:%d:%d\n", item->section, item->key ? item->key : "-",
	         item->value, item->line, item->key_column, item->value_column);
	return true;
}

static void good_files(void **state)
{
	(void)state;
	static const struct {
		const char *legend, *text, *items;
	} rows[] = {
	    {"empty", "", ""},
	    {"comments and empty lines only", "# a\n\n  ; b\n\t#c\n   \n", ""},
	    {"plain", "[bench]\nname=north\n", "bench|-||1:2:2\nbench|name|north|2:1:6\n"},
	    {"no end of line", "[a]\nb=c", "a|-||1:2:2\na|b|c|2:1:3\n"},
	    {"CR LF", "[a]\r\nb = c\r\n\r\n", "a|-||1:2:2\na|b|c|2:1:5\n"},
	    {"CR at the very end", "[a]\r\nb = c\r", "a|-||1:2:2\na|b|c|2:1:5\n"},
	    {"byte order mark", "\xef\xbb\xbf[a]\nb=c\n", "a|-||1:2:2\na|b|c|2:1:3\n"},
	    {"spaces and tabs around", " \t[ meter   red\t]  \n  name \t=\t north  \n",
	     "meter red|-||1:5:5\nmeter red|name|north|2:3:12\n"},
	    {"inner spaces of a key fold", "[m]\naccuracy \t farad  below   10n = 2.0% + 10\n",
	     "m|-||1:2:2\nm|accuracy farad below 10n|2.0% + 10|2:1:33\n"},
	    {"inner spaces of a value stay", "[m]\na = b  c\n", "m|-||1:2:2\nm|a|b  c|2:1:5\n"},
	    {"comment after a value", "[m] ; the red one\np = /dev/x   ; a path\nq = 1\t;two\n",
	     "m|-||1:2:2\nm|p|/dev/x|2:1:5\nm|q|1|3:1:5\n"},
	    {"a ; or # without a space is no comment", "[m]\na = b;c\nd = e#f\ng = h # i\nk =;l\n",
	     "m|-||1:2:2\nm|a|b;c|2:1:5\nm|d|e#f|3:1:5\nm|g|h # i|4:1:5\nm|k|;l|5:1:4\n"},
	    {"empty values", "[m]\na =\nb = ; c\nd = \"\"\ne=  \n",
	     "m|-||1:2:2\nm|a||2:1:4\nm|b||3:1:4\nm|d||4:1:6\nm|e||5:1:3\n"},
	    {"quotes", "[m]\na = \" b ; c \" ; d\nb = \"x\\\"y\\\\z\"\nc=\"=\"\n",
	     "m|-||1:2:2\nm|a| b ; c |2:1:6\nm|b|x\"y\\z|3:1:6\nm|c|=|4:1:4\n"},
	    {"quotes inside a value", "[m]\na = SENS:FUNC \"RES ; x\" ; c\n",
	     "m|-||1:2:2\nm|a|SENS:FUNC \"RES ; x\"|2:1:5\n"},
	    {"a backslash outside quotes is itself", "[m]\na = C:\\x \\\n",
	     "m|-||1:2:2\nm|a|C:\\x \\|2:1:5\n"},
	    {"the first = parts", "[m]\na = b = c\n", "m|-||1:2:2\nm|a|b = c|2:1:5\n"},
	    {"micro and ohm signs", "[m]\nx\xc2\xb5 = 1 \xe2\x84\xa6\n",
	     "m|-||1:2:2\nm|x\xc2\xb5|1 \xe2\x84\xa6|2:1:7\n"},
	    {"no continuation", "[m]\na = b \\\n  c = d\n", "m|-||1:2:2\nm|a|b \\|2:1:5\nm|c|d|3:3:7\n"},
	    {"same key in two sections", "[a]\nk=1\n[b]\nk=2\n",
	     "a|-||1:2:2\na|k|1|2:1:3\nb|-||3:2:2\nb|k|2|4:1:3\n"},
	    {"keys differ by case", "[a]\nk=1\nK=2\n[A]\n",
	     "a|-||1:2:2\na|k|1|2:1:3\na|K|2|3:1:3\nA|-||4:2:2\n"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		char items[4096] = "", text[256] = "";
		struct fault why = {.line = 0};
		bool good = ini_parse("t.ini", rows[i].text, strlen(rows[i].text), note_item, items, &why);
		fault_text(&why, text, sizeof text);
		note_row("%s %s", rows[i].legend, good ? "" : text);
		assert_true(good);
		assert_string_equal(items, rows[i].items);
	}
}

static void bad_files(void **state)
{
	(void)state;
	static const struct {
		const char *legend, *text;
		int line, column;
		const char *says;
	} rows[] = {
	    {"section given twice", "[a]\n[b]\n[a]\n", 3, 2, "line 1"},
	    {"twice once folded", "[meter red]\n[b]\n  [  meter \t red ]\n", 3, 6, "line 1"},
	    {"key given twice", "[a]\nb=1\nc=2\n b =3\n", 4, 2, "line 2"},
	    {"key twice once folded", "[a]\nb  c=1\nb c=2\n", 3, 1, "`b c`"},
	    {"key before any section", "# x\n\n  a = b\n", 3, 3, "before any section"},
	    {"neither one nor other", "[a]\n  hello\n", 2, 3, "key = value"},
	    {"the = only in the comment", "[a]\nhello ; a = b\n", 2, 1, "key = value"},
	    {"no key", "[a]\n = b\n", 2, 2, "before the ="},
	    {"section not closed", "[a\n", 1, 3, "]"},
	    {"section closed in the comment", "[a ;]\n", 1, 4, "]"},
	    {"section within a section", "[a[b]]\n", 1, 3, "]"},
	    {"section without a name", "[ ]\n", 1, 3, "without a name"},
	    {"more after a section", "[a] b\n", 1, 5, "after the ]"},
	    {"comment without a space", "[a];b\n", 1, 4, "after the ]"},
	    {"quote not closed", "[a]\nb = \"c\n", 2, 5, "not closed"},
	    {"closed only by escape", "[a]\nb = \"c\\\"\n", 2, 5, "not closed"},
	    {"more after the quote", "[a]\nb = \"c\" d\n", 2, 9, "closing quote"},
	    {"comment close to the quote", "[a]\nb = \"c\";d\n", 2, 8, "closing quote"},
	    {"unknown escape", "[a]\nb = \"c\\n\"\n", 2, 7, "\\\""},
	    {"backslash at the end", "[a]\nb = \"c\\\n", 2, 7, "\\\""},
	    {"odd quote in a value", "[a]\nb = 5\" x ; y\n", 2, 6, "partner"},
	    {"NUL", "[a]\nb = c@d\n", 2, 6, "control"},
	    {"control character in a comment", "[a]\n; \x07\n", 2, 3, "control"},
	    {"CR in the middle", "[a]\rb=c\n", 1, 4, "control"},
	    {"two CR", "[a]\r\r\n", 1, 4, "control"},
	    {"not UTF-8", "[a]\nb = \xb5" "F\n", 2, 5, "UTF-8"},
	    {"cut UTF-8", "[a]\nb = \xc2\n", 2, 5, "UTF-8"},
	    {"a second byte order mark counts", "[a]\n\xef\xbb\xbf" "b\n", 2, 1, "key = value"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		char items[4096] = "", text[512], copy[256];
		struct fault why = {.line = 0};
		size_t len = strlen(rows[i].text);
		memcpy(copy, rows[i].text, len);
		if (strcmp(rows[i].legend, "NUL") == 0)
			*(char *)memchr(copy, '@', len) = '\0';
		bool good = ini_parse("t.ini", copy, len, note_item, items, &why);
		fault_text(&why, text, sizeof text);
		note_row("%s: %s", rows[i].legend, good ? "taken" : text);
		assert_false(good);
		assert_string_equal(why.file, "t.ini");
		assert_int_equal(why.line, rows[i].line);
		assert_int_equal(why.column, rows[i].column);
		assert_non_null(strstr(why.text, rows[i].says));
	}
}

static void long_lines(void **state)
{
	(void)state;
	for (int over = 0; over < 2; over++) {
		char *text = malloc(8192), *items = calloc(1, 8192);
		size_t len = (size_t)snprintf(text, 8192, "[a]\nb = ");
		size_t value = INI_LINE_MAX - 4 + (size_t)over;
		memset(text + len, 'x', value);
		memcpy(text + len + value, "\r\n", 2);
		struct fault why = {.line = 0};
		assert_int_equal(ini_parse("f", text, len + value + 2, note_item, items, &why), !over);
		if (over) {
			assert_int_equal(why.line, 2);
			assert_int_equal(why.column, INI_LINE_MAX + 1);
		}
		free(text);
		free(items);
	}
}

/* What a consumer does: refuses with a place in the value, or with none. */
static bool take_accuracy(void *arg, const struct ini_item *item, struct fault *why)
{
	(void)arg;
	double percent, counts;
	if (!item->key)
		return true;
	if (strcmp(item->key, "accuracy ohm") == 0)
		return accuracy_parse(item->value, strlen(item->value), &percent, &counts, why);
	if (strcmp(item->key, "own place") == 0) {
		fault_at(why, NULL, item->line, item->key_column, "unknown key");
		return false;
	}
	if (strcmp(item->key, "offset") == 0) {
		fault_at(why, NULL, 0, 3, "the third byte");
		return false;
	}
	fault_set(why, "`%s` is unknown", item->key);
	return false;
}

static void refused_by_each(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		int line, column;
	} rows[] = {
	    {"[m]\nx = 1\n", 2, 5},
	    {"[m]\nx = \"1\"\n", 2, 6},
	    {"[m]\n own place = 1\n", 2, 2},
	    {"[m]\noffset = abcdef\n", 2, 12},
	    {"[m]\noffset = \"abcdef\"\n", 2, 13},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct fault why = {.line = 99, .column = 99, .text = "stale", .file = "stale"};
		assert_false(ini_parse("m.ini", rows[i].text, strlen(rows[i].text), take_accuracy, NULL, &why));
		assert_string_equal(why.file, "m.ini");
		assert_int_equal(why.line, rows[i].line);
		assert_int_equal(why.column, rows[i].column);
		assert_string_not_equal(why.text, "stale");
	}
	/* The byte inside an accuracy that is wrong. */
	struct fault why = {.line = 0};
	static const char text[] = "[m]\naccuracy ohm = 0.5% + x\n";
	assert_false(ini_parse("m.ini", text, sizeof text - 1, take_accuracy, NULL, &why));
	assert_int_equal(why.line, 2);
	assert_true(why.column >= 16);
}

static bool same_section(void *arg, const struct ini_item *item, struct fault *why)
{
	(void)why;
	const char **section = arg;
	if (!item->key) {
		assert_ptr_not_equal(*section, item->section);
		*section = item->section;
	}
	assert_ptr_equal(*section, item->section);
	return true;
}

static void one_pointer_a_section(void **state)
{
	(void)state;
	static const char text[] = "[a]\nx=1\ny=2\n[b]\nx=1\n[c]\n";
	const char *section = NULL;
	struct fault why;
	assert_true(ini_parse("f", text, sizeof text - 1, same_section, &section, &why));
}

/* Every prefix of a whole file is good or refused with a place inside it. */
static void prefixes(void **state)
{
	(void)state;
	static const char text[] = "\xef\xbb\xbf# c\r\n[bench]\r\nname   = \"n\\\"o ; r\" ; x\r\n"
	                           "[meter red]\naccuracy ohm = 0.5% + 2 ; \xc2\xb5\n";
	for (size_t n = 0; n < sizeof text; n++) {
		char *cut = malloc(n ? n : 1), items[4096] = "";
		struct fault why = {.line = 0};
		memcpy(cut, text, n);
		if (!ini_parse("f", cut, n, note_item, items, &why)) {
			assert_in_range(why.line, 1, 5);
			assert_in_range(why.column, 1, 40);
		}
		free(cut);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(good_files),      cmocka_unit_test(bad_files),
	    cmocka_unit_test(long_lines),      cmocka_unit_test(refused_by_each),
	    cmocka_unit_test(one_pointer_a_section), cmocka_unit_test(prefixes),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
