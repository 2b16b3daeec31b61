/* SPDX-License-Identifier: MIT */
/*
 * Frames taken apart by columns: the shipped columns-14, and what a user's file can
 * say of other ones: bits from the left, segments, ranges, codes of functions.
 */
#include "tests/dialect_help.h"

static const char good14[] = "+4812 1\x20\x00\x20\x20\x00\r\n";

/* Legend: bytes 5 to 13 of columns-14 behind the sign and digits; what it means: the
 * function (NONE: not understood), value, states. */
static const struct {
	const char *head, tail[10];
	enum function function;
	double value; /* NAN: overload */
	unsigned state;
} rows[] = {
    {"+4812", " 1\x20\x00\x20\x20\x00\r\n", FUNCTION_OHM, 4812, 0},
    {"-4812", " 1\x20\x00\x20\x20\x00\r\n", FUNCTION_OHM, -4812, 0},
    {" 4812", " 0\x20\x00\x00\x20\x00\r\n", FUNCTION_OHM, 4812, 0},
    {"+4812", " 2\x20\x00\x10\x20\x00\r\n", FUNCTION_OHM, 48.12e6, 0},
    {"+0345", " 4\x20\x02\x00\x04\x00\r\n", FUNCTION_FARAD, 34.5e-9, 0},
    {"+2314", " 4\x08\x00\x00\x80\x00\r\n", FUNCTION_VOLT_AC, 231.4, 0},
    {"+0012", " 1\x10\x00\x80\x40\x00\r\n", FUNCTION_AMP_DC, 0.012e-6, 0},
    {"+0501", " 4\x00\x00\x00\x08\x00\r\n", FUNCTION_HERTZ, 50.1, 0},
    {"+0501", " 4\x00\x00\x02\x00\x00\r\n", FUNCTION_PERCENT, 50.1, 0},
    {"-0203", " 4\x00\x00\x00\x02\xff\r\n", FUNCTION_CELSIUS, -20.3, 0},
    {"+0612", " 1\x00\x00\x04\x80\x00\r\n", FUNCTION_DIODE, 0.612, 0},
    {"+0612", " 1\x10\x00\x04\x80\x00\r\n", FUNCTION_DIODE, 0.612, 0},
    {"+4812", " 1\x26\x34\x28\x20\x00\r\n", FUNCTION_OHM, 4812,
     READING_RELATIVE | READING_HOLD | READING_MINMAX | READING_LOW_BATTERY},
    {"+?0:?", " 1\x20\x00\x10\x20\x00\r\n", FUNCTION_OHM, NAN, READING_OVERLOAD},
    {"-?0:?", " 0\x10\x00\x00\x80\x00\r\n", FUNCTION_VOLT_DC, NAN, READING_OVERLOAD},
    /* what does not go together */
    {"+4812", " 3\x20\x00\x20\x20\x00\r\n", FUNCTION_NONE, 0, 0}, /* no such point */
    {"*4812", " 1\x20\x00\x20\x20\x00\r\n", FUNCTION_NONE, 0, 0}, /* no sign */
    {"+48 2", " 1\x20\x00\x20\x20\x00\r\n", FUNCTION_NONE, 0, 0}, /* a blank digit */
    {"+?0:0", " 1\x20\x00\x20\x20\x00\r\n", FUNCTION_NONE, 0, 0}, /* half an overload */
    {"+4812", "+1\x20\x00\x20\x20\x00\r\n", FUNCTION_NONE, 0, 0}, /* no blank */
    {"+4812", " 1\x20\x00\x20\x20\x00\n\r", FUNCTION_NONE, 0, 0}, /* no end */
    {"+4812", " 1\x60\x00\x20\x20\x00\r\n", FUNCTION_NONE, 0, 0}, /* an unknown bit */
    {"+4812", " 1\x20\x00\x30\x20\x00\r\n", FUNCTION_NONE, 0, 0}, /* kilo and mega */
    {"+4812", " 1\x20\x02\x20\x20\x00\r\n", FUNCTION_NONE, 0, 0}, /* kilo and nano */
    {"+4812", " 1\x20\x00\x20\x00\x00\r\n", FUNCTION_NONE, 0, 0}, /* no unit */
    {"+4812", " 1\x20\x00\x20\x24\x00\r\n", FUNCTION_NONE, 0, 0}, /* ohm and farad */
    {"+4812", " 1\x10\x00\x20\x20\x00\r\n", FUNCTION_NONE, 0, 0}, /* ohms, DC */
    {"+4812", " 1\x08\x00\x20\x20\x00\r\n", FUNCTION_NONE, 0, 0}, /* ohms, AC */
    {"+4812", " 1\x18\x00\x00\x80\x00\r\n", FUNCTION_NONE, 0, 0}, /* AC and DC */
    {"+4812", " 1\x00\x00\x00\x80\x00\r\n", FUNCTION_NONE, 0, 0}, /* volts, neither */
    {"+4812", " 1\x08\x00\x04\x80\x00\r\n", FUNCTION_NONE, 0, 0}, /* a diode, AC */
    {"+4812", " 1\x00\x00\x04\x20\x00\r\n", FUNCTION_NONE, 0, 0}, /* a diode, ohms */
    {"+4812", " 1\x00\x00\x20\x04\x00\r\n", FUNCTION_NONE, 0, 0}, /* kilofarads */
    {"+4812", " 1\x00\x00\x00\x04\x00\r\n", FUNCTION_NONE, 0, 0}, /* farads */
    {"+4812", " 1\x10\x00\x10\x80\x00\r\n", FUNCTION_NONE, 0, 0}, /* megavolts */
    {"+4812", " 1\x10\x00\x10\x40\x00\r\n", FUNCTION_NONE, 0, 0}, /* megamperes */
    {"+4812", " 1\x00\x02\x00\x20\x00\r\n", FUNCTION_NONE, 0, 0}, /* nanohms */
    {"+4812", " 1\x00\x00\x40\x02\x00\r\n", FUNCTION_NONE, 0, 0}, /* millicelsius */
    {"+4812", " 1\x00\x00\x22\x00\x00\r\n", FUNCTION_NONE, 0, 0}, /* kilopercent */
};

static void the_shipped_one_row_by_row(void **state)
{
	const struct dialect *d = dialect_find("columns-14", 10);
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		char frame[14];
		struct understood u;
		memcpy(frame, rows[i].head, 5);
		memcpy(frame + 5, rows[i].tail, 9);
		say(d, FUNCTION_NONE, frame, 14, &u);
		bool read = u.said == SAID_READINGS;
		if (read != (rows[i].function != FUNCTION_NONE))
			note_row("%zu: %s: %s", i, rows[i].head, read ? "read" : u.why);
		assert_int_equal(read, rows[i].function != FUNCTION_NONE);
		if (!read)
			continue;
		const struct reading *r = &u.reading[0];
		assert_int_equal(r->t, 7);
		assert_int_equal(r->function, rows[i].function);
		assert_int_equal(r->state, rows[i].state);
		assert_int_equal(r->has_value, !isnan(rows[i].value));
		assert_int_equal(r->negative, !r->has_value && rows[i].head[0] == '-');
		if (r->has_value)
			assert_near_relative(decimal_double(r->value), rows[i].value, 1e-15);
	}
}

/* A frame of another length is none, whatever stands in it. */
static void other_lengths(void **state)
{
	const struct dialect *d = dialect_find("columns-14", 10);
	char frame[FRAME_MAX];
	struct understood u;
	(void)state;
	memset(frame, '0', sizeof frame);
	memcpy(frame, good14, 14);
	for (size_t n = 0; n <= FRAME_MAX; n++) {
		say(d, FUNCTION_NONE, frame, n, &u);
		assert_int_equal(u.said, n == 14 ? SAID_READINGS : SAID_NOTHING);
	}
}

/* Any 14 bytes: a reading is well formed, or there is none; never a read outside. */
static void any_bytes(void **state)
{
	const struct dialect *d = dialect_find("columns-14", 10);
	uint32_t seed = 7;
	int read = 0;
	(void)state;
	for (int i = 0; i < 200000; i++) {
		char frame[14];
		struct understood u;
		memcpy(frame, good14, 14);
		for (int k = 0; k < 3; k++) {
			seed = seed * 1664525u + 1013904223u;
			frame[(seed >> 8) % 14] = (char)(seed >> 24);
		}
		say(d, FUNCTION_NONE, frame, 14, &u);
		if (u.said != SAID_READINGS)
			continue;
		const struct reading *r = &u.reading[0];
		read++;
		assert_true(r->function > FUNCTION_NONE && r->function < FUNCTION_COUNT);
		assert_true(r->has_value == !(r->state & READING_OVERLOAD));
		assert_true(r->value.e >= -16 && r->value.e <= 9);
	}
	assert_true(read > 0);
}

/* ---- files of users ---- */

/* Bits counted from the left, five digits, no sign column. */
static void columns_from_the_left(void **state)
{
	(void)state;
	struct dialect_file *d = loaded(
	    "[dialect]\nname = left\nreads = columns\nserial = 9600 8N1\n"
	    "[columns]\nsize = 10\ndigits = 0-4\npoint = 5: 0=5 1=1 2=2 3=3 4=4\n"
	    "byte 9 = \\n\nbits = left\nflag 6.0 = ohm\nflag 6.1 = volt\n"
	    "flag 7.0 = kilo\nflag 7.7 = minus\nflag 8 = ignore\n"
	    "[samples]\nframe 1 = 481202\\x80\\x80\\x33\\n\nmeans 1 = ohm 48120\n"
	    "frame 2 = 012343\\x40\\x01\\x00\\n\nmeans 2 = volt-dc -12.34\n"
	    "frame 3 = 012343\\xC0\\x01\\x00\\n\nmeans 3 = nothing\n"
	    "frame 4 = 481202\\x01\\x01\\x33\\n\nmeans 4 = nothing\n");
	assert_int_equal(d->row.end, FRAME_FIXED);
	assert_int_equal(d->row.size, 10);
	assert_int_equal(d->row.gap_us, 30000);
	assert_int_equal(d->row.line.bits, 8);
	assert_false(d->row.bare);
	drop(d);
}

/* The same frame, its bits named from either side, means the same. */
static void either_order_of_bits(void **state)
{
	static const char *const files[] = {
	    "[dialect]\nname = a\nreads = columns\n[columns]\nsize = 4\nbits = right\n"
	    "digit 1 = 0.7-4\ndigit 2 = 0.3-0\ndigit 3 = 1.7-4\nrange = 1.3-0: 1=1k 2=2 A=1M\n"
	    "flag 2.7 = ohm\nflag 2.0 = hold\nbyte 3 = \\n\n"
	    "[samples]\nframe 1 = \\x48\\x11\\x81\\n\nmeans 1 = ohm 4810 hold\n",
	    "[dialect]\nname = a\nreads = columns\n[columns]\nsize = 4\nbits = left\n"
	    "digit 1 = 0.0-3\ndigit 2 = 0.4-7\ndigit 3 = 1.0-3\nrange = 1.4-7: 1=1k 2=2 A=1M\n"
	    "flag 2.0 = ohm\nflag 2.7 = hold\nbyte 3 = \\n\n"
	    "[samples]\nframe 1 = \\x48\\x11\\x81\\n\nmeans 1 = ohm 4810 hold\n"};
	(void)state;
	struct dialect_file *a = loaded(files[0]), *b = loaded(files[1]);
	int read = 0;
	for (unsigned n = 0; n < 1u << 16; n += 3)
		for (int k = 0; k < 4; k++) {
			static const char units[] = "\x80\x81\x01\x40";
			char frame[4] = {(char)(n >> 8), (char)n, units[k], '\n'};
			struct understood u, v;
			say(&a->row, FUNCTION_NONE, frame, 4, &u);
			say(&b->row, FUNCTION_NONE, frame, 4, &v);
			assert_int_equal(u.said, v.said);
			if (u.said != SAID_READINGS)
				continue;
			read++;
			assert_int_equal(u.reading[0].value.n, v.reading[0].value.n);
			assert_int_equal(u.reading[0].value.e, v.reading[0].value.e);
			assert_int_equal(u.reading[0].state, v.reading[0].state);
		}
	assert_true(read > 100);
	drop(a);
	drop(b);
}

/* A byte for the function, one for the range, whose meaning goes by the function;
 * lines with their end; the last digit first; blanks in front. */
static void functions_and_ranges(void **state)
{
	(void)state;
	struct dialect_file *d = loaded(
	    "[dialect]\nname = f\nreads = columns\nframe = line\n"
	    "[columns]\nsize = 8\nsign = 0\ndigits = 5,4,3,2\nblanks = leading\n"
	    "function = 1: V=volt-dc W=volt-ac O=ohm C=farad \\x3D=hertz\n"
	    "range volt-dc = 6: 0=1 1=2 2=3\n"
	    "range ohm = 6: 0=3 1=1k 2=2k 3=M\n"
	    "range farad = 6: 0=1n 1=1u\n"
	    "overload = -L--\noverload 2 = \\x20\\x20LO\n"
	    "flag 7.6 = always\nflag 7.5 = always\nflag 7.0 = low-battery\nflag 7.1 = under\n"
	    "[samples]\n"
	    "frame 1 = +V43211\\x60\nmeans 1 = volt-dc 12.34\n"
	    "frame 2 = -W43211\\x60\nmeans 2 = volt-ac -12.34\n"
	    "frame 3 = +O2184 \\x60\nmeans 3 = nothing\n"
	    "frame 4 = +O21841\\x60\nmeans 4 = ohm 4812\n"
	    "frame 5 = +O21843\\x61\nmeans 5 = ohm 4812000000 low-battery\n"
	    "frame 6 = +C543 1\\x60\nmeans 6 = farad 3.45e-07\n"
	    "frame 7 = +C54 31\\x60\nmeans 7 = nothing\n"
	    "frame 8 = +O--L-1\\x60\nmeans 8 = ohm overload\n"
	    "frame 9 = -OOL  1\\x60\nmeans 9 = ohm negative overload\n"
	    "frame 10 = +=21841\\x60\nmeans 10 = nothing\n"
	    "frame 11 = +X21841\\x60\nmeans 11 = nothing\n"
	    "frame 12 = +O21849\\x60\nmeans 12 = nothing\n"
	    "frame 13 = +O21841\\x20\nmeans 13 = nothing\n"
	    "frame 14 = +O21841\\x62\nmeans 14 = ohm under\n"
	    "frame 15 = +O    1\\x60\nmeans 15 = nothing\n");
	assert_int_equal(d->row.end, FRAME_LINE);
	drop(d);
}

/* Nothing says the unit: the configuration must, and the file's `function` does. */
static void a_meter_of_one_function(void **state)
{
	static const char bare[] = "[dialect]\nname = lcr\nreads = columns\n"
	                           "[columns]\nsize = 4\ndigits = 0-2\nbyte 3 = \\n\n"
	                           "[samples]\nframe 1 = 123\\n\nmeans 1 = number 123\n";
	static const char hertz[] = "[dialect]\nname = lcr\nreads = columns\nfunction = hertz\n"
	                            "[columns]\nsize = 4\ndigits = 0-2\nbyte 3 = \\n\n"
	                            "[samples]\nframe 1 = 123\\n\nmeans 1 = hertz 123\n";
	(void)state;
	struct dialect_file *d = loaded(bare);
	assert_true(d->row.bare);
	drop(d);
	d = loaded(hertz);
	assert_false(d->row.bare);
	assert_int_equal(d->function, FUNCTION_HERTZ);
	drop(d);
}

/* A shipped reader with other settings: what is not said stays as shipped. */
static void a_shipped_reader_with_other_settings(void **state)
{
	(void)state;
	struct dialect_file *d = loaded(
	    "[dialect]\nname = columns-14\nreads = columns-14\nserial = 19200 7O1\n"
	    "[samples]\nframe 1 = +4812 1\\x20\\x00\\x20\\x20\\x00\\r\\n\nmeans 1 = ohm 4812\n");
	assert_int_equal(d->row.line.baud, 19200);
	assert_int_equal(d->row.line.bits, 7);
	assert_int_equal(d->row.line.parity, PARITY_ODD);
	assert_int_equal(d->row.line.dtr, WIRE_ON);
	assert_int_equal(d->row.line.rts, WIRE_OFF);
	assert_int_equal(d->row.size, 14);
	assert_int_equal(d->row.sync.tails, 2);
	assert_int_equal(d->row.gap_us, 30000);
	assert_ptr_equal(d->row.rules, &columns_14);
	/* The bits that it knows stand beside it as numbers: they follow from its rules. */
	struct columns again = columns_14;
	columns_know(&again);
	assert_memory_equal(again.known, columns_14.known, sizeof again.known);
	drop(d);
	d = loaded("[dialect]\nname = my-comma\nreads = ask-comma\nquery = \\x05\nquiet = 300\n"
	           "[samples]\nframe 1 = 1,V,OK\nmeans 1 = volt-dc 1\n");
	assert_true(d->row.asked);
	assert_string_equal(d->row.query, "\x05");
	assert_string_equal(d->row.line_end, "");
	assert_int_equal(d->row.line.quiet_ms, 300);
	assert_null(d->row.identify);
	drop(d);
	d = loaded("[dialect]\nname = my-scpi\nreads = scpi\nidentify =\nsetup = *CLS | CONF:RES\n"
	           "line end = crlf\nfunction = ohm\n[samples]\nframe 1 = 146\nmeans 1 = ohm 146\n");
	assert_string_equal(d->row.query, "READ?");
	assert_string_equal(d->row.error_query, "SYST:ERR?");
	assert_string_equal(d->row.setup, "*CLS | CONF:RES");
	assert_string_equal(d->row.line_end, "\r\n");
	assert_null(d->row.identify);
	assert_false(d->row.bare);
	drop(d);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(the_shipped_one_row_by_row),
	    cmocka_unit_test(other_lengths),
	    cmocka_unit_test(any_bytes),
	    cmocka_unit_test(columns_from_the_left),
	    cmocka_unit_test(either_order_of_bits),
	    cmocka_unit_test(functions_and_ranges),
	    cmocka_unit_test(a_meter_of_one_function),
	    cmocka_unit_test(a_shipped_reader_with_other_settings),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
