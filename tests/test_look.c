/* SPDX-License-Identifier: MIT */
/*
 * What is said of a line by the look of its bytes: lines of meters are sent bit by bit
 * with one setting and heard with another (tests/uart_model.h).
 *
 * The layout of bits on the wire (start bit low, lowest data bit first, parity, stop bit
 * high) is common practice, no source.
 */
#include "protocol/meter/look.h"
#include "tests/check.h"
#include "tests/uart_model.h"

static const struct line_settings plain = {.baud = 9600, .bits = 8, .stop = 1};

static struct line_settings settings(const char *text)
{
	struct line_settings s = plain;
	struct fault why;
	assert_true(line_settings_parse(text, strlen(text), &s, &why));
	return s;
}

static void take(void *arg, unsigned char byte)
{
	char c = (char)byte;
	look_bytes(arg, &c, 1);
}

static void take_bad(void *arg)
{
	look_bad(arg);
}

/* What kind of meter talks. */
enum talk { TALK_UNIT, TALK_NUMBER, TALK_COLUMNS, TALK_NOISE };

static unsigned next_random(unsigned *seed)
{
	return *seed = *seed * 1664525u + 1013904223u, *seed >> 8;
}

static size_t say_line(enum talk talk, unsigned *seed, char *out)
{
	unsigned v = next_random(seed) % 10000, u = next_random(seed);
	static const char *const unit[] = {" kOhm", " uF", " mV DC", " V AC", " Ohm"};
	switch (talk) {
	case TALK_UNIT:
		return (size_t)sprintf(out, "%c%u.%04u%s\r\n", "+-"[u % 2], v / 1000, v, unit[u % 5]);
	case TALK_NUMBER:
		return (size_t)sprintf(out, "%+.7E\r\n", (double)(v + 1) * 1.2345);
	case TALK_COLUMNS:
		memcpy(out, "+0000 1\x20\x00\x20\x20\x00\r\n", 14);
		for (int i = 1; i < 5; i++, v /= 10)
			out[i] = (char)('0' + v % 10);
		out[11] = (char)(u % 50);
		return 14;
	case TALK_NOISE:
		for (int i = 0; i < 16; i++)
			out[i] = (char)next_random(seed);
		return 16;
	}
	return 0;
}

struct hearing {
	struct look look;
	struct look_said said;
	struct heard heard;
};

/* About 60 lines of `talk`, sent as `sent` and heard as `read`. */
static void hear(enum talk talk, const struct line_settings *sent, const struct line_settings *read,
                 double deviation, bool at_once, int idle, unsigned seed, struct hearing *h)
{
	struct wire w;
	char line[64];
	wire_begin(&w, sent->baud);
	for (int i = 0; i < 60; i++) {
		size_t n = say_line(talk, &seed, line);
		wire_send(&w, sent, line, n, idle);
		wire_bit(&w, 1, 16 * (40 + (int)(next_random(&seed) % 20)));
	}
	memset(h, 0, sizeof *h);
	h->heard = wire_hear(&w, read, deviation, at_once, take, take_bad, &h->look);
	free(w.level);
	look_judge(&h->look, read, h->heard.framing, h->heard.parity, &h->said);
}

static const int speeds[] = {300, 600, 1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200};
enum { SPEEDS = sizeof speeds / sizeof *speeds };

/* A meter that is 2 to 8 times slower: the ratio, and so its speed.  Each in both
 * manners of receivers, with clocks that are a little off. */
static void slower_meters_show_their_speed(void **state)
{
	static const enum talk talks[] = {TALK_UNIT, TALK_NUMBER};
	static const double off[] = {0, 0.012, -0.012};
	int seen = 0;
	(void)state;
	for (int i = 0; i < SPEEDS; i++)
		for (int k = 0; k < SPEEDS; k++) {
			int ratio = speeds[k] / speeds[i];
			if (speeds[k] % speeds[i] || ratio < 2 || ratio > 8)
				continue;
			for (int v = 0; v < 12; v++) {
				struct line_settings sent = plain, read = plain;
				struct hearing h;
				sent.baud = speeds[i];
				read.baud = speeds[k];
				hear(talks[v % 2], &sent, &read, off[v % 3], v & 1, v / 6 * 3, (unsigned)v + 1, &h);
				if (h.said.word != LOOK_SLOWER || h.said.ratio != ratio)
					fail_msg("%d read at %d (%d): %s by %d, %d bytes, %.0f %% bad", speeds[i],
					         speeds[k], v, look_word(h.said.word), h.said.ratio, h.said.count,
					         h.said.bad * 100);
				assert_true(h.said.has_likely);
				assert_int_equal(h.said.likely.baud, speeds[i]);
				assert_false(h.said.not_slower);
				seen++;
			}
		}
	assert_true(seen > 200);
}

/* Ten times slower and more: never a byte without an error, or never a wrong word. */
static void much_slower_meters(void **state)
{
	(void)state;
	for (int i = 0; i < SPEEDS; i++)
		for (int k = 0; k < SPEEDS; k++) {
			struct line_settings sent = plain, read = plain;
			struct hearing h;
			if (speeds[k] < 10 * speeds[i])
				continue;
			sent.baud = speeds[i];
			read.baud = speeds[k];
			hear(TALK_UNIT, &sent, &read, 0, false, 0, 7, &h);
			assert_int_equal(h.said.word, LOOK_HELD);
			assert_false(h.said.has_likely);
		}
}

/* At its own speed nothing is said against any of them, and a meter that speaks faster
 * is never called a slower one, nor plain. */
static void right_and_faster_meters(void **state)
{
	(void)state;
	for (int i = 0; i < SPEEDS; i++)
		for (int k = 0; k < SPEEDS; k++)
			for (int v = 0; v < 8; v++) {
				struct line_settings sent = plain, read = plain;
				struct hearing h;
				if (speeds[k] > speeds[i])
					continue;
				sent.baud = speeds[i];
				read.baud = speeds[k];
				hear(v & 2 ? TALK_UNIT : TALK_NUMBER, &sent, &read, v & 4 ? 0.01 : -0.01, v & 1, 0,
				     (unsigned)v + 5, &h);
				if (h.said.count < LOOK_LEAST) /* most of its bytes fall between ours */
					continue;
				assert_int_not_equal(h.said.word, LOOK_SLOWER);
				assert_false(h.said.has_likely && h.said.likely.baud != speeds[k]);
				if (speeds[i] == speeds[k])
					assert_int_equal(h.said.word, LOOK_PLAIN);
				else if (h.said.word != LOOK_GARBLED && h.said.word != LOOK_NOT_TEXT &&
				         h.said.word != LOOK_HELD)
					fail_msg("%d read at %d (%d): %s", speeds[i], speeds[k], v,
					         look_word(h.said.word));
			}
}

/* Bits and parity.  idle: bits between bytes, so that a stop bit is seen apart from the
 * next start bit; a word of more than one is what may be said and nothing else. */
static const struct {
	const char *sent, *read;
	int idle;
	enum look_word word;
	const char *likely; /* "" for none */
} bits[] = {
    {"9600 8N1", "9600 8N1", 0, LOOK_PLAIN, ""},
    {"9600 7E1", "9600 7E1", 0, LOOK_PLAIN, ""},
    {"2400 7O1", "2400 7O1", 0, LOOK_PLAIN, ""},
    {"9600 8N2", "9600 8N1", 0, LOOK_PLAIN, ""},
    {"9600 7E1", "9600 8N1", 0, LOOK_SEVEN_EVEN, "9600 7E1"},
    {"1200 7O1", "1200 8N1", 0, LOOK_SEVEN_ODD, "1200 7O1"},
    {"9600 7E1", "9600 8N1", 3, LOOK_SEVEN_EVEN, "9600 7E1"},
    {"9600 7N2", "9600 8N1", 0, LOOK_SEVEN_BARE, "9600 7N1"},
    {"9600 7N1", "9600 8N1", 2, LOOK_SEVEN_BARE, "9600 7N1"},
    {"9600 8E1", "9600 8N1", 2, LOOK_EIGHT_EVEN, "9600 8E1"},
    {"9600 8O1", "9600 8N1", 2, LOOK_EIGHT_ODD, "9600 8O1"},
    {"9600 7E1", "9600 7O1", 0, LOOK_OTHER_PARITY, "9600 7E1"},
    {"9600 8O1", "9600 8E1", 0, LOOK_OTHER_PARITY, "9600 8O1"},
    {"9600 8N1", "9600 7E1", 0, LOOK_NO_PARITY, "9600 8N1"},
    {"9600 8N1", "9600 7O1", 1, LOOK_NO_PARITY, "9600 8N1"},
    /* Both wrong: what follows from the bits stays true, and no more is said. */
    {"4800 7E1", "9600 8N1", 0, LOOK_SLOWER, "4800 8N1"},
    {"19200 8N1", "9600 7E1", 0, LOOK_GARBLED, ""},
    {"4800 8N1", "9600 7E1", 0, LOOK_HELD, ""},
};

static void bits_and_parity(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof bits / sizeof *bits; i++)
		for (unsigned seed = 1; seed < 9; seed++) {
			struct line_settings sent = settings(bits[i].sent), read = settings(bits[i].read);
			struct hearing h;
			hear(TALK_UNIT, &sent, &read, 0, false, bits[i].idle, seed, &h);
			if (h.said.word != bits[i].word)
				fail_msg("%s read as %s: %s, %.0f %% of %d bad, framing %ld parity %ld",
				         bits[i].sent, bits[i].read, look_word(h.said.word), h.said.bad * 100,
				         h.said.count, h.heard.framing, h.heard.parity);
			assert_int_equal(h.said.has_likely, bits[i].likely[0] != '\0');
			if (!h.said.has_likely)
				continue;
			struct line_settings likely = settings(bits[i].likely);
			assert_int_equal(h.said.likely.baud, likely.baud);
			assert_int_equal(h.said.likely.bits, likely.bits);
			assert_int_equal(h.said.likely.parity, likely.parity);
		}
}

/* Random bytes, bytes with a spoilt one now and then, a constant byte, nothing: no law
 * may be seen where there is none. */
static void no_law_where_there_is_none(void **state)
{
	(void)state;
	for (unsigned seed = 1; seed < 300; seed++) {
		struct look l = {0};
		struct look_said said;
		unsigned s = seed;
		for (int i = 0; i < 400; i++) {
			char c = (char)next_random(&s);
			if (next_random(&s) % 100 < seed % 30)
				look_bad(&l);
			else
				look_bytes(&l, &c, 1);
		}
		look_judge(&l, &plain, -1, -1, &said);
		assert_true(said.word == LOOK_NOT_TEXT || said.word == LOOK_GARBLED);
		assert_false(said.has_likely);
	}
	for (int byte = 0; byte < 256; byte++) {
		struct look l = {0};
		struct look_said said;
		char text[200];
		memset(text, byte, sizeof text);
		look_bytes(&l, text, sizeof text);
		look_judge(&l, &plain, -1, -1, &said);
		assert_false(said.has_likely);
		assert_int_not_equal(said.word, LOOK_SLOWER);
	}
	struct look l = {0};
	struct look_said said;
	look_judge(&l, &plain, -1, -1, &said);
	assert_int_equal(said.word, LOOK_LITTLE);
	look_bytes(&l, "+0.4812 kOhm\r\n", 14);
	look_judge(&l, &plain, -1, -1, &said);
	assert_int_equal(said.word, LOOK_LITTLE);
}

/* A long stream is remembered by its end alone, in whatever pieces it comes. */
static void the_ring_forgets(void **state)
{
	static struct look a, b;
	static char many[5000];
	struct look_said said;
	(void)state;
	for (size_t i = 0; i < sizeof many; i++)
		many[i] = "+0.4812 kOhm\r\n"[i % 14];
	for (int i = 0; i < 700; i++)
		look_bad(&a);
	b = a;
	look_bytes(&a, many, sizeof many);
	for (size_t i = 0; i < sizeof many; i += 7)
		look_bytes(&b, many + i, i + 7 < sizeof many ? 7 : sizeof many - i);
	look_judge(&a, &plain, -1, -1, &said);
	assert_int_equal(said.count, LOOK_SIZE);
	assert_near(said.bad, 0, 0);
	assert_int_equal(said.word, LOOK_PLAIN);
	assert_int_equal(a.bytes, 5700);
	assert_int_equal(b.bytes, 5700);
	assert_int_equal(a.bad, 700);
	for (size_t i = 0; i < LOOK_SIZE; i++)
		assert_int_equal(a.seen[(a.next + i) % LOOK_SIZE], b.seen[(b.next + i) % LOOK_SIZE]);
	assert_true(look_contains(&a, "kOhm\r\n+0.48"));
	assert_false(look_contains(&a, "*IDN?"));
	assert_false(look_contains(&a, ""));
}

static void dialects_are_recognised(void **state)
{
	static const struct { enum talk talk; const char *name; } rows[] = {
	    {TALK_UNIT, "ascii-unit"}, {TALK_NUMBER, "ascii-number"}, {TALK_COLUMNS, "columns-14"},
	    {TALK_NOISE, NULL}};
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct hearing h;
		hear(rows[i].talk, &plain, &plain, 0, false, 0, 3, &h);
		const struct dialect *d = look_dialect(&h.look);
		for (const struct dialect *const *any = dialects; *any; any++)
			assert_int_equal(look_fits(&h.look, *any) && !(*any)->asked, d && d == *any);
		if (!rows[i].name)
			assert_null(d);
		else if (!d || strcmp(d->name, rows[i].name))
			fail_msg("%s taken for %s", rows[i].name, d ? d->name : "none");
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(slower_meters_show_their_speed),
	    cmocka_unit_test(much_slower_meters),
	    cmocka_unit_test(right_and_faster_meters),
	    cmocka_unit_test(bits_and_parity),
	    cmocka_unit_test(no_law_where_there_is_none),
	    cmocka_unit_test(the_ring_forgets),
	    cmocka_unit_test(dialects_are_recognised),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
