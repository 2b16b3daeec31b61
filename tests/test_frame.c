/* SPDX-License-Identifier: MIT */
/*
 * Frames: each row of bytes is fed whole, byte by byte, and cut in two at every
 * point, and must give the same frames each time.
 */
#include "tests/check.h"

#include <stdlib.h>

#include "protocol/meter/frame.h"

#define SEEN_MAX 64

struct seen {
	char bytes[FRAME_MAX];
	size_t len;
	int64_t t;
	enum frame_fault fault;
};

struct catch {
	struct seen seen[SEEN_MAX];
	int count;
};

static void on_frame(void *arg, const struct frame *f)
{
	struct catch *c = arg;
	assert_true(c->count < SEEN_MAX);
	assert_true(f->len <= FRAME_MAX);
	struct seen *s = &c->seen[c->count++];
	memcpy(s->bytes, f->bytes, f->len);
	s->len = f->len;
	s->t = f->t;
	s->fault = f->fault;
}

static void must_be(const struct catch *c, int i, const char *bytes, enum frame_fault fault)
{
	assert_true(i < c->count);
	if (c->seen[i].fault != fault)
		print_error("frame %d is %s, expected %s\n", i, frame_fault_word(c->seen[i].fault),
		            frame_fault_word(fault));
	assert_int_equal(c->seen[i].fault, fault);
	assert_int_equal(c->seen[i].len, strlen(bytes));
	assert_memory_equal(c->seen[i].bytes, bytes, strlen(bytes));
}

/* A line that was quiet long before its first byte: opened at 0, fed at 1 s. */
static void open_quiet(struct frame_splitter *s, enum frame_end end, size_t size, int64_t gap)
{
	frame_begin(s, end, size, gap, 0);
}

#define AT INT64_C(1000000)

/* Legend: what is fed at one moment; the frames that it gives, each a letter for
 * its fault (g good, o over-long, c cut, b bad byte, p partial), then its bytes. */
static const struct {
	enum frame_end end;
	size_t size;
	int64_t gap;
	const char *fed;
	const char *frames[8];
} rows[] = {
    {FRAME_LINE, 0, 0, "+0.4812 kOhm\r\n", {"g+0.4812 kOhm"}},
    {FRAME_LINE, 0, 0, "+0.4812 kOhm\n", {"g+0.4812 kOhm"}},
    {FRAME_LINE, 0, 0, "+0.4812 kOhm\r", {"g+0.4812 kOhm"}},
    {FRAME_LINE, 0, 0, "1 V\r\n2 V\r\n3 V", {"g1 V", "g2 V"}},
    {FRAME_LINE, 0, 0, "1 V\n2 V\r3 V\r\n4 V\n", {"g1 V", "g2 V", "g3 V", "g4 V"}},
    {FRAME_LINE, 0, 0, "\n\n1 V\n", {"g", "g", "g1 V"}},
    {FRAME_LINE, 0, 0, "\r\n\r\n1 V\r\n", {"g", "g", "g1 V"}},
    {FRAME_LINE, 0, 0, "\r\r1 V\r", {"g", "g", "g1 V"}},
    {FRAME_LINE, 0, FRAME_LINE_GAP_US, "1 V\r\n2 V\r\n", {"g1 V", "g2 V"}},
    {FRAME_LINE, 0, 0, "no end", {NULL}},
    {FRAME_FIXED, 4, 0, "abcdefghij", {"gabcd", "gefgh"}},
    {FRAME_FIXED, 4, 100000, "abcd", {"gabcd"}},
    {FRAME_FIXED, 4, 100000, "ab\r\n", {"gab\r\n"}},
    {FRAME_FIXED, 4, 100000, "abc", {NULL}},
    {FRAME_FIXED, 1, 0, "abc", {"ga", "gb", "gc"}},
    {FRAME_FIXED, 0, 0, "ab", {"ga", "gb"}}, /* a size of 0 is taken for 1 */
};

static enum frame_fault fault_of(char letter)
{
	switch (letter) {
	case 'g':
		return FRAME_GOOD;
	case 'o':
		return FRAME_OVERLONG;
	case 'c':
		return FRAME_CUT;
	case 'b':
		return FRAME_BAD_BYTE;
	case 'p':
		return FRAME_PARTIAL;
	default:
		fail();
		return FRAME_GOOD;
	}
}

static void check_row(size_t row, const struct catch *c)
{
	int count = 0;
	for (; count < 8 && rows[row].frames[count]; count++) {
		const char *want = rows[row].frames[count];
		must_be(c, count, want + 1, fault_of(want[0]));
		assert_int_equal(c->seen[count].t, AT);
	}
	if (c->count != count)
		note_row("%zu: %s", row, rows[row].fed);
	assert_int_equal(c->count, count);
}

static void test_rows_in_any_pieces(void **state)
{
	(void)state;
	for (size_t row = 0; row < sizeof rows / sizeof *rows; row++) {
		const char *fed = rows[row].fed;
		size_t len = strlen(fed);
		for (size_t cut = 0; cut <= len; cut++) {
			struct frame_splitter s;
			struct catch c = {.count = 0};
			open_quiet(&s, rows[row].end, rows[row].size, rows[row].gap);
			frame_feed(&s, AT, fed, cut, on_frame, &c);
			frame_feed(&s, AT, fed + cut, len - cut, on_frame, &c);
			check_row(row, &c);
		}
		struct frame_splitter s;
		struct catch c = {.count = 0};
		open_quiet(&s, rows[row].end, rows[row].size, rows[row].gap);
		for (size_t i = 0; i < len; i++)
			frame_feed(&s, AT, fed + i, 1, on_frame, &c);
		check_row(row, &c);
	}
}

static void feed(struct frame_splitter *s, int64_t t, const char *text, struct catch *c)
{
	frame_feed(s, t, text, strlen(text), on_frame, c);
}

/* The joining rule of frame.h. */
static void test_joining(void **state)
{
	(void)state;
	struct frame_splitter s;
	struct catch c = {.count = 0};

	/* Opened in the middle of a line: its rest is no frame, the next is one. */
	frame_begin(&s, FRAME_LINE, 0, 0, 0);
	feed(&s, 10000, "812 kOhm\r\n+0.4811 kOhm\r\n", &c);
	assert_int_equal(c.count, 2);
	must_be(&c, 0, "812 kOhm", FRAME_PARTIAL);
	must_be(&c, 1, "+0.4811 kOhm", FRAME_GOOD);

	/* The rest comes byte by byte, 49 ms apart: still one frame's rest. */
	c.count = 0;
	frame_begin(&s, FRAME_LINE, 0, 0, 0);
	feed(&s, 49000, "8", &c);
	feed(&s, 98000, "1 V", &c);
	feed(&s, 147000, "\n", &c);
	feed(&s, 147000, "2 V\n", &c);
	assert_int_equal(c.count, 2);
	must_be(&c, 0, "81 V", FRAME_PARTIAL);
	must_be(&c, 1, "2 V", FRAME_GOOD);

	/* Quiet for 50 ms after opening: a new frame, at once. */
	c.count = 0;
	frame_begin(&s, FRAME_LINE, 0, 0, 1000);
	feed(&s, 51000, "2 V\n", &c);
	assert_int_equal(c.count, 1);
	must_be(&c, 0, "2 V", FRAME_GOOD);
	assert_int_equal(c.seen[0].t, 51000);

	/* One microsecond less is not. */
	c.count = 0;
	frame_begin(&s, FRAME_LINE, 0, 0, 1000);
	feed(&s, 50999, "2 V\n", &c);
	must_be(&c, 0, "2 V", FRAME_PARTIAL);

	/* A rest without an end, then quiet: the rest is partial, what follows good. */
	c.count = 0;
	frame_begin(&s, FRAME_LINE, 0, 0, 0);
	feed(&s, 10000, "812 k", &c);
	feed(&s, 60000, "2 V\n", &c);
	assert_int_equal(c.count, 2);
	must_be(&c, 0, "812 k", FRAME_PARTIAL);
	must_be(&c, 1, "2 V", FRAME_GOOD);

	/* The late line end belongs to the rest. */
	c.count = 0;
	frame_begin(&s, FRAME_LINE, 0, 0, 0);
	feed(&s, 10000, "812 k", &c);
	feed(&s, 90000, "\r\n2 V\n", &c);
	assert_int_equal(c.count, 2);
	must_be(&c, 0, "812 k", FRAME_PARTIAL);
	must_be(&c, 1, "2 V", FRAME_GOOD);

	/* Opened between CR and LF. */
	c.count = 0;
	frame_begin(&s, FRAME_LINE, 0, 0, 0);
	feed(&s, 1000, "\n2 V\n", &c);
	assert_int_equal(c.count, 2);
	must_be(&c, 0, "", FRAME_PARTIAL);
	must_be(&c, 1, "2 V", FRAME_GOOD);

	/* Fixed frames have no end to wait for: only silence, of the longer kind. */
	c.count = 0;
	frame_begin(&s, FRAME_FIXED, 4, 100000, 0);
	feed(&s, 60000, "\ncd", &c);
	feed(&s, 120000, "abcd", &c);
	assert_int_equal(c.count, 0);
	feed(&s, 220000, "efgh", &c);
	assert_int_equal(c.count, 2);
	must_be(&c, 0, "\ncdabcd", FRAME_PARTIAL);
	must_be(&c, 1, "efgh", FRAME_GOOD);
	assert_int_equal(c.seen[1].t, 220000);
}

static void test_overlong(void **state)
{
	(void)state;
	char text[FRAME_MAX + 200];
	memset(text, 'x', sizeof text);
	for (size_t len = FRAME_MAX - 1; len <= sizeof text; len += len == FRAME_MAX + 1 ? 150 : 1) {
		struct frame_splitter s;
		struct catch c = {.count = 0};
		open_quiet(&s, FRAME_LINE, 0, 0);
		frame_feed(&s, AT, text, len, on_frame, &c);
		assert_int_equal(c.count, 0);
		feed(&s, AT, "\r\n1 V\n", &c);
		assert_int_equal(c.count, 2);
		assert_int_equal(c.seen[0].fault, len > FRAME_MAX ? FRAME_OVERLONG : FRAME_GOOD);
		assert_int_equal(c.seen[0].len, len > FRAME_MAX ? FRAME_MAX : len);
		must_be(&c, 1, "1 V", FRAME_GOOD);
	}
}

static void test_cut(void **state)
{
	(void)state;
	struct frame_splitter s;
	struct catch c = {.count = 0};

	/* A line that pauses: nobody knows what its rest belongs to. */
	open_quiet(&s, FRAME_LINE, 0, 1000000);
	feed(&s, AT, "+12", &c);
	feed(&s, AT + 1000000, "34.5 V\r\n1 V\r\n", &c);
	assert_int_equal(c.count, 2);
	must_be(&c, 0, "+1234.5 V", FRAME_CUT);
	must_be(&c, 1, "1 V", FRAME_GOOD);
	assert_int_equal(c.seen[0].t, AT);

	/* Shorter than that it is one frame, and its time is that of its first byte. */
	c.count = 0;
	open_quiet(&s, FRAME_LINE, 0, 1000000);
	feed(&s, AT, "+12", &c);
	feed(&s, AT + 999999, ".5 V\r\n", &c);
	must_be(&c, 0, "+12.5 V", FRAME_GOOD);
	assert_int_equal(c.seen[0].t, AT);

	/* Silence between lines cuts nothing; neither does a clock that steps back. */
	c.count = 0;
	open_quiet(&s, FRAME_LINE, 0, 1000000);
	feed(&s, AT, "1 V\r", &c);
	feed(&s, AT + 5000000, "\n2 V\r\n", &c);
	feed(&s, AT + 9000000, "3", &c);
	feed(&s, AT, " V\r\n", &c);
	assert_int_equal(c.count, 3);
	must_be(&c, 1, "2 V", FRAME_GOOD);
	must_be(&c, 2, "3 V", FRAME_GOOD);

	/* The line goes away. */
	c.count = 0;
	open_quiet(&s, FRAME_LINE, 0, 0);
	feed(&s, AT, "1 V\r\n2 V", &c);
	frame_finish(&s, on_frame, &c);
	frame_finish(&s, on_frame, &c);
	assert_int_equal(c.count, 2);
	must_be(&c, 1, "2 V", FRAME_CUT);

	/* Fixed frames: too few before the silence, too many after a whole one. */
	c.count = 0;
	open_quiet(&s, FRAME_FIXED, 4, 100000);
	feed(&s, AT, "abc", &c);
	feed(&s, AT + 100000, "abcd", &c);
	feed(&s, AT + 150000, "ef", &c);
	feed(&s, AT + 240000, "gh", &c);
	feed(&s, AT + 340000, "ijkl", &c);
	assert_int_equal(c.count, 4);
	must_be(&c, 0, "abc", FRAME_CUT);
	must_be(&c, 1, "abcd", FRAME_GOOD);
	must_be(&c, 2, "efgh", FRAME_OVERLONG);
	must_be(&c, 3, "ijkl", FRAME_GOOD);
}

static void test_bad_byte(void **state)
{
	(void)state;
	struct frame_splitter s;
	struct catch c = {.count = 0};

	/* First, in the middle, and in place of the line end. */
	open_quiet(&s, FRAME_LINE, 0, 0);
	frame_bad_byte(&s, AT);
	feed(&s, AT, "12 V\n1", &c);
	frame_bad_byte(&s, AT);
	feed(&s, AT, "2 V\n12 V", &c);
	frame_bad_byte(&s, AT);
	feed(&s, AT, "13 V\n14 V\n", &c);
	assert_int_equal(c.count, 4);
	must_be(&c, 0, "\xff" "12 V", FRAME_BAD_BYTE);
	must_be(&c, 1, "1\xff" "2 V", FRAME_BAD_BYTE);
	must_be(&c, 2, "12 V\xff" "13 V", FRAME_BAD_BYTE);
	must_be(&c, 3, "14 V", FRAME_GOOD);

	/* It counts in a fixed frame, also as its last byte. */
	c.count = 0;
	open_quiet(&s, FRAME_FIXED, 4, 100000);
	feed(&s, AT, "ab", &c);
	frame_bad_byte(&s, AT);
	feed(&s, AT, "d", &c);
	feed(&s, AT + 100000, "abc", &c);
	frame_bad_byte(&s, AT + 100000);
	feed(&s, AT + 200000, "abcd", &c);
	assert_int_equal(c.count, 3);
	must_be(&c, 0, "ab\xff" "d", FRAME_BAD_BYTE);
	must_be(&c, 1, "abc\xff", FRAME_BAD_BYTE);
	must_be(&c, 2, "abcd", FRAME_GOOD);

	/* Without a silence to wait for, the next begins at once; with one, what follows
	 * at once is no frame; a short one stays bad, and is not cut. */
	c.count = 0;
	open_quiet(&s, FRAME_FIXED, 4, 0);
	feed(&s, AT, "abc", &c);
	frame_bad_byte(&s, AT);
	feed(&s, AT, "abcd", &c);
	assert_int_equal(c.count, 2);
	must_be(&c, 0, "abc\xff", FRAME_BAD_BYTE);
	must_be(&c, 1, "abcd", FRAME_GOOD);
	c.count = 0;
	open_quiet(&s, FRAME_FIXED, 4, 100000);
	feed(&s, AT, "abc", &c);
	frame_bad_byte(&s, AT);
	feed(&s, AT, "abcd", &c);
	frame_bad_byte(&s, AT + 100000);
	feed(&s, AT + 200000, "abcd", &c);
	frame_bad_byte(&s, AT + 300000);
	feed(&s, AT + 300000, "bcd", &c);
	assert_int_equal(c.count, 4);
	must_be(&c, 0, "abc\xff", FRAME_BAD_BYTE);
	must_be(&c, 1, "abcd\xff", FRAME_OVERLONG);
	must_be(&c, 2, "abcd", FRAME_GOOD);
	must_be(&c, 3, "\xff" "bcd", FRAME_BAD_BYTE);
	c.count = 0;
	open_quiet(&s, FRAME_FIXED, 4, 100000);
	feed(&s, AT, "a", &c);
	frame_bad_byte(&s, AT);
	feed(&s, AT + 100000, "abcd", &c);
	assert_int_equal(c.count, 2);
	must_be(&c, 0, "a\xff", FRAME_BAD_BYTE);
	must_be(&c, 1, "abcd", FRAME_GOOD);

	/* No bound is passed by any number of them. */
	c.count = 0;
	open_quiet(&s, FRAME_LINE, 0, 0);
	for (int i = 0; i < 3 * FRAME_MAX; i++)
		frame_bad_byte(&s, AT);
	feed(&s, AT, "\n", &c);
	assert_int_equal(c.count, 1);
	assert_int_equal(c.seen[0].fault, FRAME_OVERLONG);
}

struct total {
	size_t bytes;
	int good;
};

static void count_bytes(void *arg, const struct frame *f)
{
	struct total *total = arg;
	assert_true(f->len <= FRAME_MAX);
	total->bytes += f->len;
	total->good += f->fault == FRAME_GOOD;
}

/* Any bytes at any times, in any pieces: bounded, and in lines that are short
 * enough not one byte but line ends is lost. */
static void test_random(void **state)
{
	(void)state;
	int good = 0;
	srandom(20261125);
	for (int round = 0; round < 2000; round++) {
		struct frame_splitter s;
		struct total total = {0, 0};
		size_t fed = 0;
		int64_t t = 0;
		bool fixed = random() % 2;
		int64_t gap = random() % 2 ? random() % 200000 : 0;
		frame_begin(&s, fixed ? FRAME_FIXED : FRAME_LINE, (size_t)(random() % 300), gap, t);
		for (int piece = 0; piece < 20; piece++) {
			char bytes[12];
			size_t len = (size_t)(random() % 12);
			for (size_t i = 0; i < len; i++) {
				bytes[i] = (char)(random() % 8 ? random() : "\r\n"[random() % 2]);
				fed += fixed || (bytes[i] != '\r' && bytes[i] != '\n');
			}
			t += random() % 300000 - 1000;
			frame_feed(&s, t, bytes, len, count_bytes, &total);
			if (random() % 8 == 0) {
				frame_bad_byte(&s, t);
				fed++;
			}
		}
		frame_finish(&s, count_bytes, &total);
		assert_int_equal(total.bytes, fed);
		good += total.good;
	}
	assert_true(good > 1000);
}

static void test_words(void **state)
{
	(void)state;
	assert_string_equal(frame_fault_word(FRAME_GOOD), "good");
	assert_string_equal(frame_fault_word(FRAME_PARTIAL), "partial");
	assert_string_equal(frame_fault_word((enum frame_fault)99), "unknown");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_rows_in_any_pieces), cmocka_unit_test(test_joining),
	    cmocka_unit_test(test_overlong),           cmocka_unit_test(test_cut),
	    cmocka_unit_test(test_bad_byte),           cmocka_unit_test(test_random),
	    cmocka_unit_test(test_words),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
