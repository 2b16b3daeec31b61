/* SPDX-License-Identifier: MIT */
/*
 * Marks of parity and framing errors (PARMRK of termios(3)), whole, byte by byte and
 * cut at every point.
 */
#include "tests/check.h"

#include "daemon/marks.h"

struct heard {
	char text[256]; /* good bytes as they are, bad ones as # */
	size_t len;
	int stop_at;    /* after so many bad ones; 0: never */
	int bad;
};

static int good(void *arg, const char *bytes, size_t len)
{
	struct heard *h = arg;
	memcpy(h->text + h->len, bytes, len);
	h->len += len;
	return 0;
}

static int bad(void *arg)
{
	struct heard *h = arg;
	h->text[h->len++] = '#';
	return ++h->bad == h->stop_at;
}

static const struct {
	const char *what, *bytes;
	size_t len;
	const char *heard;
	size_t heard_len;
} rows[] = {
    {"plain", "12.3 V\r\n", 8, "12.3 V\r\n", 8},
    {"a bad byte", "12\377\0003 V", 7, "12# V", 5},
    {"a break", "12\377\000\000V", 6, "12#V", 4},
    {"a good FF", "1\377\3772", 4, "1\3772", 3},
    {"a bad FF", "1\377\000\3772", 5, "1#2", 3},
    {"two bad ones", "\377\000a\377\000b", 6, "##", 2},
    {"a mark in the end", "1\377\000", 3, "1", 1},
    {"nothing", "", 0, "", 0},
};

static void in_pieces(size_t row, size_t cut, int single)
{
	struct marks m = {0};
	struct heard h = {.len = 0};
	char copy[64];
	memcpy(copy, rows[row].bytes, rows[row].len);
	if (single)
		for (size_t i = 0; i < rows[row].len; i++)
			marks_undo(&m, copy + i, 1, good, bad, &h);
	else {
		marks_undo(&m, copy, cut, good, bad, &h);
		marks_undo(&m, copy + cut, rows[row].len - cut, good, bad, &h);
	}
	assert_int_equal(h.len, rows[row].heard_len);
	assert_memory_equal(h.text, rows[row].heard, h.len);
}

static void marks_are_undone(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		note_row("%s", rows[i].what);
		in_pieces(i, 0, 1);
		for (size_t cut = 0; cut <= rows[i].len; cut++)
			in_pieces(i, cut, 0);
	}
}

static void a_closed_line_hears_no_more(void **state)
{
	struct marks m = {0};
	struct heard h = {.stop_at = 1};
	char copy[] = "ab\377\000c" "def";
	(void)state;
	marks_undo(&m, copy, 8, good, bad, &h);
	assert_int_equal(h.len, 3);
	assert_memory_equal(h.text, "ab#", 3);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(marks_are_undone),
	    cmocka_unit_test(a_closed_line_hears_no_more),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
