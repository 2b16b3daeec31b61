/* SPDX-License-Identifier: MIT */
/*
 * What a spoilt line makes of each dialect: whole, byte by byte, cut at every point,
 * bytes lost and doubled, every single bit flipped, seven bits read as eight.  A
 * reading that was not sent is a false one.  Where a format has redundancy there is
 * none; where it has none (a digit turned into another), that is said here, and how
 * many such bits there are is counted, so that nobody makes it worse unseen.
 */
#include "tests/dialect_help.h"

/* A meter that sends the segments of its display, fourteen numbered bytes: state,
 * four digits of two bytes each with minus
 * and points, prefixes, units. */
static const char numbered_file[] =
    "[dialect]\nname = segments\nreads = columns\nsync = numbered\nframe = fixed 14\n"
    "[columns]\n"
    "flag 0.3 = ac\nflag 0.2 = dc\nflag 0.1 = always\nflag 0.0 = always\n"
    "digit 1 = 1.2-0 2.3-0\ndigit 2 = 3.2-0 4.3-0\ndigit 3 = 5.2-0 6.3-0\ndigit 4 = 7.2-0 8.3-0\n"
    "flag 1.3 = minus\nflag 3.3 = point 1\nflag 5.3 = point 2\nflag 7.3 = point 3\n"
    "shape 7D = 0\nshape 05 = 1\nshape 5B = 2\nshape 1F = 3\nshape 27 = 4\nshape 3E = 5\n"
    "shape 7E = 6\nshape 15 = 7\nshape 7F = 8\nshape 3F = 9\nshape 00 = \\x20\nshape 68 = L\n"
    "overload = \\x200L\\x20\n"
    "flag 9.3 = micro\nflag 9.2 = nano\nflag 9.1 = kilo\nflag 9.0 = diode\n"
    "flag 10.3 = milli\nflag 10.2 = percent\nflag 10.1 = mega\nflag 10.0 = ignore\n"
    "flag 11.3 = farad\nflag 11.2 = ohm\nflag 11.1 = relative\nflag 11.0 = hold\n"
    "flag 12.3 = amp\nflag 12.2 = volt\nflag 12.1 = hertz\nflag 12.0 = low-battery\n"
    "flag 13.2 = celsius\n"
    "[samples]\n"
    "frame 1 = \\x13\\x22\\x37\\x4F\\x5F\\x60\\x75\\x85\\x9B\\xA2\\xB0\\xC4\\xD0\\xE0\n"
    "means 1 = ohm 4812\n"
    "frame 2 = \\x13\\x27\\x3D\\x49\\x5F\\x62\\x77\\x83\\x9E\\xA8\\xB0\\xC8\\xD0\\xE0\n"
    "means 2 = farad 3.45e-07\n"
    "frame 3 = \\x17\\x28\\x35\\x45\\x5B\\x69\\x7F\\x82\\x97\\xA0\\xB8\\xC0\\xD4\\xE0\n"
    "means 3 = volt-dc -0.01234\n"
    "frame 4 = \\x1B\\x25\\x3B\\x41\\x5F\\x60\\x75\\x8A\\x97\\xA0\\xB0\\xC0\\xD4\\xE0\n"
    "means 4 = volt-ac 231.4\n"
    "frame 5 = \\x13\\x20\\x30\\x47\\x5D\\x66\\x78\\x80\\x90\\xA0\\xB2\\xC4\\xD0\\xE0\n"
    "means 5 = ohm overload\n"
    "frame 6 = \\x13\\x27\\x3D\\x4F\\x5E\\x60\\x75\\x85\\x9B\\xA1\\xB0\\xC1\\xD4\\xE0\n"
    "means 6 = diode 0.612 hold\n";

static const char pattern_file[] =
    "[dialect]\nname = mine\nreads = pattern\n"
    "[pattern]\nmatch = (?<sign>[-+ ])(?<value>\\d\\.\\d{4}|O\\.L) (?<prefix>[kM ])(?<unit>R|V)\n"
    "unit R = ohm\nprefix \\x20 = none\noverload = O.L\n"
    "[samples]\nframe 1 = +0.4812 kR\nmeans 1 = ohm 481.2\n";

#define STREAM_MAX 16

/* The frames that a meter sends, with their ends, and what is said of the format. */
struct subject {
	const char *name;
	const char *file;        /* of a user; NULL: shipped */
	enum function function;
	const char *frame[6];
	size_t fixed;            /* bytes of a fixed frame, for its zeros */
	int false_bits;          /* single flipped bits of frame 0 that make another reading */
	bool bytes_may_lie;      /* a byte lost or doubled may make another reading */
};

static const struct subject subjects[] = {
    {"ascii-unit", NULL, FUNCTION_NONE,
     {"+0.4812 kOhm\r\n", "0.345 uF\r\n", "120 C\r\n", "125V\r\n", "OL MOhm\r\n", "120C\r\n"}, 0, 17,
     true},
    {"ascii-number", NULL, FUNCTION_OHM,
     {"+4.8120E+02\r\n", "481.2\r\n", "-0.00012\r\n", "120\r\n", "OL\r\n", "15\r\n"}, 0, 22, true},
    {"ask-comma", NULL, FUNCTION_NONE,
     {"+0.4812,kOhm,OK\r\n", "0.345,uF,\r\n", "231.4,V AC,HOLD\r\n", "120,C,\r\n", "OL,MOhm,OL\r\n",
      "125,V,BATT\r\n"}, 0, 16, true},
    {"scpi", NULL, FUNCTION_OHM,
     {"+4.70123000E+03\n", "146\n", "-12.3\n", "+9.90000000E+37\n", "1.5,2.5\n", "120\n"}, 0, 39,
     true},
    {"columns-14", NULL, FUNCTION_NONE,
     {"+4812 1\x20\x00\x20\x20\x00\r\n", "+0345 1\x00\x00\x80\x04\x00\r\n",
      "-1234 2\x10\x00\x40\x80\x05\r\n", "+2314 4\x08\x04\x00\x80\x00\r\n",
      "+?0:? 1\x20\x00\x10\x20\x00\r\n", "+0612 1\x02\x00\x04\x80\x00\r\n"}, 14, 19, false},
    {"segments", numbered_file, FUNCTION_NONE,
     {"\x13\x22\x37\x4F\x5F\x60\x75\x85\x9B\xA2\xB0\xC4\xD0\xE0",
      "\x13\x27\x3D\x49\x5F\x62\x77\x83\x9E\xA8\xB0\xC8\xD0\xE0",
      "\x17\x28\x35\x45\x5B\x69\x7F\x82\x97\xA0\xB8\xC0\xD4\xE0",
      "\x1B\x25\x3B\x41\x5F\x60\x75\x8A\x97\xA0\xB0\xC0\xD4\xE0",
      "\x13\x20\x30\x47\x5D\x66\x78\x80\x90\xA0\xB2\xC4\xD0\xE0",
      "\x13\x27\x3D\x4F\x5E\x60\x75\x85\x9B\xA1\xB0\xC1\xD4\xE0"}, 14, 10, false},
    {"mine", pattern_file, FUNCTION_NONE,
     {"+0.4812 kR\r\n", "-1.2345  V\r\n", "+0.1200 MR\r\n", "+O.L MR\r\n", "+0.1250  R\r\n",
      " 1.0000 kR\r\n"}, 0, 17, false},
};

/* ---- readings of a stream ---- */

#define READINGS_MAX 64

struct heard {
	const struct dialect *dialect;
	struct dialect_setting setting;
	struct dialect_memory memory;
	struct reading reading[READINGS_MAX];
	int readings, bad;
};

static void hear(void *arg, const struct frame *f)
{
	struct heard *h = arg;
	struct understood u;
	if (f->fault != FRAME_GOOD) {
		h->bad++;
		return;
	}
	h->dialect->understand(&h->setting, &h->memory, f, &u);
	h->bad += u.said == SAID_NOTHING;
	for (int i = 0; i < u.count && h->readings < READINGS_MAX; i++)
		h->reading[h->readings++] = u.reading[i];
	/* What a dialect remembers (digits of numbers) is not what is tested here. */
	memset(&h->memory, 0, sizeof h->memory);
}

static bool same(const struct reading *a, const struct reading *b)
{
	return a->function == b->function && a->state == b->state && a->has_value == b->has_value &&
	       a->negative == b->negative && a->prefix == b->prefix && a->value.n == b->value.n &&
	       a->value.e == b->value.e;
}

static int false_ones(const struct heard *h, const struct heard *truth)
{
	int wrong = 0;
	for (int i = 0; i < h->readings; i++) {
		bool sent = false;
		for (int k = 0; k < truth->readings; k++)
			sent = sent || same(&h->reading[i], &truth->reading[k]);
		wrong += !sent;
	}
	return wrong;
}

/* ---- one stream, damaged at one place ---- */

enum damage { NONE, PIECES, BYTEWISE, CUT, LOST, DOUBLED, FLIPPED, EVEN, ODD, SEVEN };

struct stand {
	const struct subject *s;
	struct dialect_file *file;
	const struct dialect *dialect;
	struct heard truth;
	int frames;
	char bytes[6][32];
	size_t len[6];
};

static void begin(struct stand *stand, const struct subject *s)
{
	memset(stand, 0, sizeof *stand);
	stand->s = s;
	stand->file = s->file ? loaded(s->file) : NULL;
	stand->dialect = stand->file ? &stand->file->row : dialect_find(s->name, strlen(s->name));
	assert_non_null(stand->dialect);
	for (; stand->frames < 6 && s->frame[stand->frames]; stand->frames++) {
		size_t n = s->fixed ? s->fixed : strlen(s->frame[stand->frames]);
		memcpy(stand->bytes[stand->frames], s->frame[stand->frames], n);
		stand->len[stand->frames] = n;
	}
}

static char with_parity(char c, bool odd)
{
	int ones = 0;
	for (int bit = 0; bit < 7; bit++)
		ones += (c >> bit) & 1;
	return (char)((c & 0x7f) | (ones % 2 != (odd ? 1 : 0) ? 0x80 : 0));
}

/* Frame `which` is damaged at byte `at` (bit `bit` of it); `gap` us between frames. */
static void run(const struct stand *stand, enum damage damage, int which, size_t at, int bit,
                int64_t gap, struct heard *h)
{
	struct frame_splitter s;
	int64_t t = 0;
	memset(h, 0, sizeof *h);
	h->dialect = stand->dialect;
	h->setting = (struct dialect_setting){.function = stand->s->function,
	                                      .rules = stand->dialect->rules};
	dialect_split(stand->dialect, &s, INT64_MIN / 2);
	for (int k = 0; k < stand->frames; k++, t += gap) {
		char b[40];
		size_t n = 0;
		for (size_t i = 0; i < stand->len[k]; i++) {
			char c = stand->bytes[k][i];
			bool here = k == which && i == at;
			if (damage == EVEN || damage == ODD)
				c = with_parity(c, damage == ODD);
			if (damage == SEVEN)
				c = (char)(c & 0x7f);
			if (here && damage == FLIPPED)
				c = (char)(c ^ (1 << bit));
			if (!here || damage != LOST)
				b[n++] = c;
			if (here && damage == DOUBLED)
				b[n++] = c;
			if (k == which && damage == CUT && i == at)
				break;
		}
		size_t first = damage == PIECES && at < n ? at : n;
		for (size_t i = 0; i < n && damage == BYTEWISE; i++)
			frame_feed(&s, t, b + i, 1, hear, h);
		if (damage == BYTEWISE)
			continue;
		frame_feed(&s, t, b, first, hear, h);
		frame_feed(&s, t + 10000, b + first, n - first, hear, h);
	}
	frame_finish(&s, hear, h);
}

#define GAP 250000
#define LONG_GAP 1200000

/* Whole, byte by byte and in two pieces the same frames are the same readings. */
static void in_any_pieces(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof subjects / sizeof *subjects; i++) {
		struct stand stand;
		struct heard h;
		begin(&stand, &subjects[i]);
		run(&stand, NONE, -1, 0, 0, GAP, &stand.truth);
		assert_true(stand.truth.readings >= stand.frames);
		assert_int_equal(stand.truth.bad, 0);
		for (size_t at = 0; at <= 40; at++) {
			run(&stand, at == 40 ? BYTEWISE : PIECES, -1, at, 0, GAP, &h);
			if (h.readings != stand.truth.readings || false_ones(&h, &stand.truth))
				note_row("%s in pieces at %zu", subjects[i].name, at);
			assert_int_equal(h.readings, stand.truth.readings);
			assert_int_equal(false_ones(&h, &stand.truth), 0);
		}
		if (stand.file)
			drop(stand.file);
	}
}

/* A frame that breaks off, then silence: it is no reading, and the next one is. */
static void cut_at_every_point(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof subjects / sizeof *subjects; i++) {
		struct stand stand;
		struct heard h;
		begin(&stand, &subjects[i]);
		run(&stand, NONE, -1, 0, 0, GAP, &stand.truth);
		int each = stand.truth.readings - stand.frames; /* several in one answer */
		for (int which = 0; which < stand.frames; which++)
			for (size_t at = 0; at + 1 < stand.len[which]; at++) {
				run(&stand, CUT, which, at, 0, LONG_GAP, &h);
				int least = stand.truth.readings - 1 - each - (stand.s->fixed ? 0 : 1);
				if (false_ones(&h, &stand.truth) || h.readings < least)
					note_row("%s, frame %d cut after %zu: %d readings, %d false", subjects[i].name,
					         which, at + 1, h.readings, false_ones(&h, &stand.truth));
				assert_int_equal(false_ones(&h, &stand.truth), 0);
				assert_true(h.readings >= least);
			}
		if (stand.file)
			drop(stand.file);
	}
}

static void bytes_lost_and_doubled(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof subjects / sizeof *subjects; i++) {
		struct stand stand;
		struct heard h;
		int lies = 0;
		begin(&stand, &subjects[i]);
		run(&stand, NONE, -1, 0, 0, GAP, &stand.truth);
		for (int which = 0; which < stand.frames; which++)
			for (size_t at = 0; at < stand.len[which]; at++)
				for (int variant = 0; variant < 4; variant++) {
					/* Also where frames follow each other without a pause. */
					run(&stand, variant & 1 ? LOST : DOUBLED, which, at, 0, variant & 2 ? 0 : GAP,
					    &h);
					int wrong = false_ones(&h, &stand.truth);
					lies += wrong;
					/* A line end lost: two lines in one are none.  (Asked ones never meet.) */
					bool end = at + 1 == stand.len[which] && !stand.dialect->asked;
					if (wrong && (!stand.s->bytes_may_lie || end)) {
						note_row("%s, frame %d, byte %zu, variant %d: %d false", subjects[i].name,
						         which, at, variant, wrong);
						fail();
					}
				}
		print_message("  %s: %d false of lost and doubled bytes\n", subjects[i].name, lies);
		if (stand.file)
			drop(stand.file);
	}
}

/* The top bit of a byte of text is redundancy; of fixed frames its numbers and rules. */
static void every_bit_flipped(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof subjects / sizeof *subjects; i++) {
		struct stand stand;
		struct heard h;
		int lies = 0, tops = 0;
		begin(&stand, &subjects[i]);
		run(&stand, NONE, -1, 0, 0, GAP, &stand.truth);
		for (int which = 0; which < stand.frames; which++)
			for (size_t at = 0; at < stand.len[which]; at++)
				for (int bit = 0; bit < 8; bit++) {
					run(&stand, FLIPPED, which, at, bit, GAP, &h);
					int wrong = false_ones(&h, &stand.truth);
					lies += which == 0 ? wrong : 0;
					tops += bit == 7 && !stand.s->fixed ? wrong : 0;
					if (stand.s->file == numbered_file && bit > 3)
						assert_int_equal(wrong, 0);
				}
		if (tops || lies > stand.s->false_bits)
			note_row("%s: %d bits of frame 0 lie, %d top bits of all", subjects[i].name, lies, tops);
		print_message("  %s: %d of %zu bits make another reading\n", subjects[i].name, lies,
		              stand.len[0] * 8);
		assert_int_equal(tops, 0);
		assert_true(lies <= stand.s->false_bits);
		if (stand.file)
			drop(stand.file);
	}
}

/* Seven bits and parity read as eight, and eight read as seven: no false reading. */
static void seven_bits_read_as_eight(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof subjects / sizeof *subjects; i++) {
		struct stand stand;
		begin(&stand, &subjects[i]);
		run(&stand, NONE, -1, 0, 0, GAP, &stand.truth);
		for (enum damage damage = EVEN; damage <= SEVEN; damage++) {
			struct heard h;
			run(&stand, damage, -1, 0, 0, GAP, &h);
			if (false_ones(&h, &stand.truth))
				note_row("%s, damage %d: %d false", subjects[i].name, damage,
				         false_ones(&h, &stand.truth));
			assert_int_equal(false_ones(&h, &stand.truth), 0);
		}
		if (stand.file)
			drop(stand.file);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(in_any_pieces),
	    cmocka_unit_test(cut_at_every_point),
	    cmocka_unit_test(bytes_lost_and_doubled),
	    cmocka_unit_test(every_bit_flipped),
	    cmocka_unit_test(seven_bits_read_as_eight),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
