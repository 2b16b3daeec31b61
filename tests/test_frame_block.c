/* SPDX-License-Identifier: MIT */
/*
 * Definite blocks of IEEE 488.2 (7.7.6) in lines: # and a digit, so many digits, so
 * many bytes.  Forms from a public SCPI-99 parser library's lexer tests (#12AB) and
 * from trials with an instrument (#15hello); the rest is what follows from frame.h.
 * Every row is fed whole, byte by byte, and cut in two at every point.
 */
#include "tests/meter_check.h"

#define AT INT64_C(1000000)

struct seen {
	char bytes[8][FRAME_MAX];
	size_t len[8];
	enum frame_fault fault[8];
	int count;
};

static void on_frame(void *arg, const struct frame *f)
{
	struct seen *s = arg;
	assert_true(s->count < 8);
	memcpy(s->bytes[s->count], f->bytes, f->len);
	s->len[s->count] = f->len;
	s->fault[s->count++] = f->fault;
}

static void begin(struct frame_splitter *s, int64_t gap)
{
	struct frame_sync sync = {.blocks = true};
	frame_begin(s, FRAME_LINE, 0, gap, 0);
	frame_sync(s, &sync);
}

/* Legend: what is fed; the frames. */
#define FED(text) text, sizeof text - 1
static const struct {
	const char *fed;
	size_t len;
	const char *frames[6];
} rows[] = {
    {FED("#15hello\r\n1.0\r\n"), {"#15hello", "1.0"}},
    {FED("#15he\nlo\n1.0\n"), {"#15he\nlo", "1.0"}},
    {FED("#15\r\n\r\n\n\n1.0\n"), {"#15\r\n\r\n\n", "1.0"}},
    {FED("#217+1.0E+03\n+2.0E+0\n\n1\n"), {"#217+1.0E+03\n+2.0E+0\n", "1"}},
    {FED("#0005\n1.0\n"), {"#0005", "1.0"}},       /* indefinite: to the line end */
    {FED("#0a\nb\n"), {"#0a", "b"}},
    {FED("#10\n1\n"), {"#10", "1"}},               /* of no bytes */
    {FED("#300\n1\n"), {"#300", "1"}},             /* a head that ends too soon is none */
    {FED("#3005a\nb\nc\n1\n"), {"#3005a\nb\nc", "1"}},
    {FED("#1x\n1\n"), {"#1x", "1"}},
    {FED("#H12\n#B101\n#\n"), {"#H12", "#B101", "#"}},
    {FED(" #12\n\n\n1\n"), {" #12\n\n", "1"}},     /* blanks before it */
    {FED("1.0,#12\n\n,2.0\n3\n"), {"1.0,#12\n\n,2.0", "3"}},
    {FED("1;#12\n\n;#11\n\n3\n"), {"1;#12\n\n;#11\n", "3"}},
    {FED("1.0 #12\n3\n"), {"1.0 #12", "3"}},       /* no element begins there */
    {FED("a#12\n3\n"), {"a#12", "3"}},
    {FED("-1,\"a,#15\"\n3\n"), {"-1,\"a,#15\"", "3"}}, /* in a string it is text */
    {FED("\"a;\"\"#12\"\n3\n"), {"\"a;\"\"#12\"", "3"}},
    {FED("'#12'\n3\n"), {"'#12'", "3"}},
    {FED("#12#1\n1\n"), {"#12#1", "1"}},           /* its data are any bytes */
    {FED("#12\0\xff\n1\n"), {NULL}},               /* checked below */
};

static void in_any_pieces(void **state)
{
	(void)state;
	for (size_t row = 0; row < sizeof rows / sizeof *rows; row++) {
		for (size_t cut = 0; cut <= rows[row].len + 1; cut++) {
			struct frame_splitter s;
			struct seen seen = {.count = 0};
			begin(&s, FRAME_LINE_GAP_US);
			if (cut > rows[row].len) {
				for (size_t i = 0; i < rows[row].len; i++)
					frame_feed(&s, AT, rows[row].fed + i, 1, on_frame, &seen);
			} else {
				frame_feed(&s, AT, rows[row].fed, cut, on_frame, &seen);
				frame_feed(&s, AT, rows[row].fed + cut, rows[row].len - cut, on_frame, &seen);
			}
			note_row("%zu cut at %zu", row, cut);
			if (!rows[row].frames[0]) {
				assert_int_equal(seen.count, 2);
				assert_int_equal(seen.len[0], 5);
				assert_memory_equal(seen.bytes[0], "#12\0\xff", 5);
				continue;
			}
			int want = 0;
			for (; want < 6 && rows[row].frames[want]; want++) {
				assert_true(want < seen.count);
				assert_int_equal(seen.fault[want], FRAME_GOOD);
				assert_int_equal(seen.len[want], strlen(rows[row].frames[want]));
				assert_memory_equal(seen.bytes[want], rows[row].frames[want], seen.len[want]);
			}
			assert_int_equal(seen.count, want);
		}
	}
}

/* Without `blocks` a line end is a line end. */
static void only_where_they_are_spoken(void **state)
{
	struct frame_splitter s;
	struct seen seen = {.count = 0};
	(void)state;
	frame_begin(&s, FRAME_LINE, 0, 0, 0);
	frame_feed(&s, AT, "#15he\nlo\n", 9, on_frame, &seen);
	assert_int_equal(seen.count, 2);
}

/* Longer than a frame may be: all of it is passed over, and what is kept says what it was. */
static void a_long_one(void **state)
{
	struct frame_splitter s;
	struct seen seen = {.count = 0};
	char data[5000];
	(void)state;
	for (size_t i = 0; i < sizeof data; i++)
		data[i] = i % 7 ? '1' : '\n';
	begin(&s, FRAME_LINE_GAP_US);
	frame_feed(&s, AT, "#45000", 6, on_frame, &seen);
	for (size_t i = 0; i < sizeof data; i += 100)
		frame_feed(&s, AT + (int64_t)i, data + i, 100, on_frame, &seen);
	frame_feed(&s, 2 * AT, "\n1.0\n", 5, on_frame, &seen);
	assert_int_equal(seen.count, 2);
	assert_int_equal(seen.fault[0], FRAME_GOOD);
	assert_int_equal(seen.len[0], FRAME_MAX);
	assert_int_equal(seen.fault[1], FRAME_GOOD);
	assert_memory_equal(seen.bytes[1], "1.0", 3);
}

/* A spoilt head that promises a thousand million bytes makes nobody deaf. */
static void one_that_never_comes(void **state)
{
	struct frame_splitter s;
	struct seen seen = {.count = 0};
	(void)state;
	begin(&s, FRAME_LINE_GAP_US);
	frame_feed(&s, AT, "#9999999999abc\n1\n", 17, on_frame, &seen);
	assert_int_equal(seen.count, 0);
	frame_feed(&s, AT + FRAME_LINE_GAP_US + 1, "xyz\n1.0\n", 8, on_frame, &seen);
	assert_int_equal(seen.count, 2);
	assert_int_equal(seen.fault[0], FRAME_CUT);
	assert_int_equal(seen.fault[1], FRAME_GOOD);
	assert_memory_equal(seen.bytes[1], "1.0", 3);
	/* The line goes away in the middle of one. */
	seen.count = 0;
	frame_feed(&s, 3 * AT, "#15he", 5, on_frame, &seen);
	frame_finish(&s, on_frame, &seen);
	assert_int_equal(seen.count, 1);
	assert_int_equal(seen.fault[0], FRAME_CUT);
	begin(&s, FRAME_LINE_GAP_US);
	frame_feed(&s, 4 * AT, "1.0\n", 4, on_frame, &seen);
	assert_int_equal(seen.count, 2);
	assert_int_equal(seen.fault[1], FRAME_GOOD);
}

/* A byte with a parity error inside it counts as one of its bytes, in its head as none. */
static void bad_bytes(void **state)
{
	struct frame_splitter s;
	struct seen seen = {.count = 0};
	(void)state;
	begin(&s, FRAME_LINE_GAP_US);
	frame_feed(&s, AT, "#15h", 4, on_frame, &seen);
	frame_bad_byte(&s, AT);
	frame_feed(&s, AT, "\nlo\n1\n", 6, on_frame, &seen);
	assert_int_equal(seen.count, 2);
	assert_int_equal(seen.fault[0], FRAME_BAD_BYTE);
	assert_memory_equal(seen.bytes[0], "#15h\xff\nlo", 8);
	assert_int_equal(seen.fault[1], FRAME_GOOD);
	seen.count = 0;
	frame_feed(&s, AT, "#2", 2, on_frame, &seen);
	frame_bad_byte(&s, AT);
	frame_feed(&s, AT, "5he\n1\n", 6, on_frame, &seen);
	assert_int_equal(seen.count, 2);
	assert_int_equal(seen.fault[0], FRAME_BAD_BYTE);
	assert_int_equal(seen.fault[1], FRAME_GOOD);
}

/* Whatever stands in it, a block is no reading, and the reader says that it was one. */
static void none_is_a_reading(void **state)
{
	static const char *const lines[] = {"#15hello", "#14+1.0", "1.0,#11x", "#0", "#12\n\n", " #11\x01"};
	struct dialect_setting setting = {.function = FUNCTION_OHM};
	(void)state;
	for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
		struct dialect_memory memory = {0};
		struct understood u = understand(dialect_find("scpi", 4), &setting, &memory, lines[i],
		                                 strlen(lines[i]));
		assert_int_equal(u.said, SAID_NOTHING);
		assert_non_null(strstr(u.why, "block"));
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(in_any_pieces), cmocka_unit_test(only_where_they_are_spoken),
	    cmocka_unit_test(a_long_one),    cmocka_unit_test(one_that_never_comes),
	    cmocka_unit_test(bad_bytes),     cmocka_unit_test(none_is_a_reading),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
