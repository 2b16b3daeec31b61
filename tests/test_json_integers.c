/* SPDX-License-Identifier: MIT */
/*
 * Lists of whole numbers are checked eight and sixteen bytes at a time (json_valid.c): here
 * against the grammar of RFC 8259, section 6, read byte by byte, on lists of all lengths in
 * which every byte in turn is another one.  So are what open leads leave, against jansson.
 */
#include "tests/check.h"

#include "protocol/record/text.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool digit(char c)
{
	return c >= '0' && c <= '9';
}

/* [ int , int ... ], without spaces; an int is -? ( 0 | [1-9][0-9]* ). */
static bool slow(const char *s, size_t len)
{
	size_t at = 1;
	if (len < 3 || s[0] != '[' || s[len - 1] != ']')
		return false;
	for (;;) {
		at += s[at] == '-';
		if (!digit(s[at]))
			return false;
		if (s[at] == '0')
			at++;
		else
			while (digit(s[at]))
				at++;
		if (s[at] == ']')
			return at + 1 == len;
		if (s[at++] != ',')
			return false;
	}
}

static unsigned dice = 1;

static unsigned roll(unsigned sides)
{
	dice = dice * 1664525u + 1013904223u;
	return (dice >> 8) % sides;
}

static size_t make_list(char *out, int n)
{
	static const char *const odd[] = {"0", "-0", "-7", "10", "100000000", "-123456789012345678",
	                                  "1", "4711", "-10", "9999999999999999999999999"};
	size_t len = 0;
	for (int i = 0; i < n; i++) {
		out[len++] = i ? ',' : '[';
		if (roll(3))
			len += (size_t)sprintf(out + len, "%u", 40000 + roll(30000));
		else
			len += (size_t)sprintf(out + len, "%s", odd[roll(sizeof odd / sizeof *odd)]);
	}
	out[len++] = ']';
	out[len] = '\0';
	return len;
}

/* Where there are other bytes than those of such a list the slow one says nothing; of the
 * bytes put in only these are in its grammar, and none of them makes another valid text
 * out of a list (a space, a point, an e or a bracket would). */
static void test_every_byte_another(void **state)
{
	static const char other[] = "0159,-;x[";
	char list[2048];
	long right = 0, wrong = 0;
	(void)state;
	for (int round = 0; round < 600; round++) {
		size_t len = make_list(list, 1 + round % 40);
		assert_true(slow(list, len) && json_valid(list, len, NULL));
		for (size_t i = 1; i + 1 < len; i++) {
			char was = list[i];
			list[i] = other[roll(sizeof other - 1)];
			bool valid = slow(list, len);
			if (json_valid(list, len, NULL) != valid)
				fail_msg("byte %zu of %s", i, list);
			*(valid ? &right : &wrong) += 1;
			list[i] = was;
		}
	}
	printf("%ld lists that are right, %ld that are not\n", right, wrong);
	assert_true(right > 10000 && wrong > 10000);
}

/* Nothing is read behind the end: each length in a block of its own (for the sanitizer). */
static void test_cut_anywhere(void **state)
{
	char list[512];
	(void)state;
	size_t len = make_list(list, 30);
	for (size_t n = 1; n <= len; n++) {
		char *part = malloc(n);
		memcpy(part, list, n);
		assert_int_equal(json_valid(part, n, NULL), n == len);
		free(part);
	}
}

/* What open leads leave in a trail: no values, and a state for each.  Against jansson. */
static void test_open_leads(void **state)
{
	static const char other[] = "019,-[]\"n \\{x\x1f\x80";
	static const char *const word[] = {"overload", "hold", "", "low-battery", "a", "seven77"};
	char list[2048], copy[2048];
	long right = 0, wrong = 0;
	(void)state;
	for (int round = 0; round < 120; round++) {
		size_t len = 0;
		for (int i = 0; i < 1 + round % 30; i++) {
			len += (size_t)sprintf(list + len, "%s", i ? "," : "[");
			unsigned what = roll(8);
			if (what < 3)
				len += (size_t)sprintf(list + len, "null");
			else if (what < 7)
				len += (size_t)sprintf(list + len, "[%d,\"%s\"]", i * 7 % 120, word[roll(6)]);
			else
				len += (size_t)sprintf(list + len, "%u", roll(3000));
		}
		list[len++] = ']';
		list[len] = '\0';
		for (size_t i = 0; i < len; i++)
			for (size_t k = 0; k < sizeof other - 1; k++) {
				memcpy(copy, list, len + 1);
				copy[i] = other[k];
				json_t *tree = json_loadb(copy, len, 0, NULL);
				if (json_valid(copy, len, NULL) != (tree != NULL))
					fail_msg("%s: jansson says %s", copy, tree ? "valid" : "no JSON");
				*(tree ? &right : &wrong) += 1;
				json_decref(tree);
			}
	}
	assert_true(right > 1000 && wrong > 100000);
	/* A pair is as deep as any list. */
	for (int deep = JSON_DEPTH_MAX - 1; deep <= JSON_DEPTH_MAX; deep++) {
		size_t n = (size_t)deep;
		memset(list, '[', n);
		n += (size_t)sprintf(list + n, "[1,\"a\"],[2,\"b\"]");
		memset(list + n, ']', (size_t)deep);
		assert_int_equal(json_valid(list, n + (size_t)deep, NULL), deep < JSON_DEPTH_MAX);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_every_byte_another), cmocka_unit_test(test_open_leads),
	    cmocka_unit_test(test_cut_anywhere),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
