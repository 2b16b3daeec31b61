/* SPDX-License-Identifier: MIT */
/* See look.h, which has the laws. */
#include "protocol/meter/look.h"

#include <stdio.h>
#include <string.h>

/* Shares from which on something is said.  Adapters of one family report errors a
 * packet at a time, and every line has a spoilt byte now and then: a law holds where
 * one byte in fifty breaks it, and errors count from one in ten on. */
#define LAW 0.98
#define FEW_BAD 0.05
#define MANY_BAD 0.10
#define NEARLY_ALL 0.90
/* Bytes of another kind than text, of all: from here on it is none. */
#define NO_TEXT 0.20
/* A parity law holds by chance for few values. */
#define VALUES_LEAST 6
#define RUNS_LEAST 32
#define GOOD_LEAST 16
#define RATIO_MAX 8
#define FRAMES_LEAST 4
/* Stretches of one bit, of all: text at its own speed has a third and more. */
#define SINGLE 0.10

const char *look_word(enum look_word w)
{
	static const char *const word[LOOK_WORDS] = {
	    [LOOK_LITTLE] = "little", [LOOK_PLAIN] = "plain", [LOOK_SLOWER] = "slower",
	    [LOOK_HELD] = "held", [LOOK_SEVEN_EVEN] = "seven-even", [LOOK_SEVEN_ODD] = "seven-odd",
	    [LOOK_SEVEN_BARE] = "seven-bare", [LOOK_EIGHT_EVEN] = "eight-even",
	    [LOOK_EIGHT_ODD] = "eight-odd", [LOOK_OTHER_PARITY] = "other-parity",
	    [LOOK_NO_PARITY] = "no-parity", [LOOK_GARBLED] = "garbled", [LOOK_NOT_TEXT] = "not-text"};
	return word[w];
}

/* ---- taking in ---- */

void look_bytes(struct look *l, const char *bytes, size_t len)
{
	size_t over = len > LOOK_SIZE ? len - LOOK_SIZE : 0;
	l->bytes += len;
	for (size_t i = over; i < len;) {
		size_t room = LOOK_SIZE - l->next, n = len - i < room ? len - i : room;
		for (size_t k = 0; k < n; k++)
			l->seen[l->next + k] = (unsigned char)bytes[i + k];
		l->next = (l->next + n) % LOOK_SIZE;
		i += n;
	}
}

void look_bad(struct look *l)
{
	l->seen[l->next] = LOOK_BAD;
	l->next = (l->next + 1) % LOOK_SIZE;
	l->bytes++;
	l->bad++;
}

static size_t held_count(const struct look *l)
{
	return l->bytes < LOOK_SIZE ? (size_t)l->bytes : LOOK_SIZE;
}

/* The i-th of those that are held, 0 the oldest. */
static uint16_t held(const struct look *l, size_t i)
{
	return l->seen[(l->next + LOOK_SIZE - held_count(l) + i) % LOOK_SIZE];
}

/* ---- counting ---- */

struct counts {
	int good, bad;
	int high, strange, text; /* of the good: top bit; no text; lower seven bits are text */
	int even;                /* ... an even number of ones */
	int values;              /* how many different ones */
	unsigned char one;       /* one of them */
	int runs, run[12];       /* stretches that end inside a byte, by their length */
};

static int ones(unsigned byte)
{
	int n = 0;
	for (; byte; byte &= byte - 1)
		n++;
	return n;
}

static bool is_text(unsigned char c)
{
	return (c >= 0x20 && c < 0x7f) || c == '\r' || c == '\n' || c == '\t';
}

/* The stretches of equal bits of one byte as it stood on the wire.  The last one goes
 * on behind the stop bit, nobody knows how far, and does not count.  Nor does the first
 * of a byte behind a bad one: some receivers take the low level that spoilt a stop bit
 * for the next start bit, and that is no edge of the meter's. */
static void count_runs(struct counts *c, unsigned char byte, const struct line_settings *line,
                       bool after_bad)
{
	int bit[12], n = 0, length = 1;
	bool whole = !after_bad;
	bit[n++] = 0;
	for (int i = 0; i < line->bits; i++)
		bit[n++] = byte >> i & 1;
	if (line->parity != PARITY_NONE)
		bit[n++] = (ones(byte) + (line->parity == PARITY_ODD)) & 1;
	bit[n++] = 1;
	for (int i = 1; i < n; i++) {
		if (bit[i] == bit[i - 1]) {
			length++;
			continue;
		}
		c->run[length] += whole;
		c->runs += whole;
		whole = true;
		length = 1;
	}
}

static void count(const struct look *l, const struct line_settings *line, struct counts *c)
{
	bool seen[256] = {false};
	size_t n = held_count(l);
	memset(c, 0, sizeof *c);
	for (size_t i = 0; i < n; i++) {
		uint16_t s = held(l, i);
		if (s == LOOK_BAD) {
			c->bad++;
			continue;
		}
		unsigned char byte = (unsigned char)s;
		c->good++;
		c->high += byte >> 7;
		c->strange += !(byte & 0x80) && !is_text(byte);
		c->text += is_text(byte & 0x7f);
		c->even += ones(byte) % 2 == 0;
		c->values += !seen[byte];
		c->one = byte;
		seen[byte] = true;
		count_runs(c, byte, line, i && held(l, i - 1) == LOOK_BAD);
	}
}

static double share(int part, int of)
{
	return of ? (double)part / of : 0;
}

/* ---- the laws ---- */

/* The greatest k of which every stretch is a multiple; 1 where there is none. */
static int slower_by(const struct counts *c, double bad)
{
	/* One value over and over tells nothing, unless its like are missing because they
	 * came with errors; and NUL alone is a line that is held. */
	if (c->runs < RUNS_LEAST || (c->values == 1 && (bad < MANY_BAD || c->one == 0)))
		return 1;
	for (int k = RATIO_MAX; k > 1; k--) {
		int fits = 0;
		for (int length = k; length < (int)(sizeof c->run / sizeof *c->run); length += k)
			fits += c->run[length];
		if (share(fits, c->runs) >= LAW)
			return k;
	}
	return 1;
}

static enum look_word eight_bits_read(const struct counts *c, double bad)
{
	double even = share(c->even, c->good), high = share(c->high, c->good);
	bool lawful = c->good >= LOOK_LEAST / 2 && c->values >= VALUES_LEAST &&
	              share(c->text, c->good) >= LAW;
	if (!lawful)
		return LOOK_PLAIN;
	if (high >= LAW)
		return LOOK_SEVEN_BARE;
	if (bad < FEW_BAD && high >= MANY_BAD)
		return even >= LAW ? LOOK_SEVEN_EVEN : even <= 1 - LAW ? LOOK_SEVEN_ODD : LOOK_PLAIN;
	if (bad >= MANY_BAD && high <= 1 - LAW)
		return even <= 1 - LAW ? LOOK_EIGHT_EVEN : even >= LAW ? LOOK_EIGHT_ODD : LOOK_PLAIN;
	return LOOK_PLAIN;
}

/* With parity the driver says whether the stop bits were right: at the wrong speed
 * they are not. */
static enum look_word parity_read(double bad, long framing, long parity)
{
	if (bad < MANY_BAD || framing < 0 || parity < 0 || parity < LOOK_LEAST / 4 ||
	    framing * 20 > parity)
		return LOOK_PLAIN;
	return bad >= NEARLY_ALL ? LOOK_OTHER_PARITY : LOOK_NO_PARITY;
}

static void set_likely(struct look_said *out, int baud, int bits, enum parity parity)
{
	out->has_likely = true;
	out->likely.baud = baud;
	out->likely.bits = bits;
	out->likely.parity = parity;
}

static void say_likely(struct look_said *out, const struct line_settings *line)
{
	static const struct { enum look_word word; int bits; enum parity parity; } bits[] = {
	    {LOOK_SEVEN_EVEN, 7, PARITY_EVEN}, {LOOK_SEVEN_ODD, 7, PARITY_ODD},
	    {LOOK_SEVEN_BARE, 7, PARITY_NONE}, {LOOK_EIGHT_EVEN, 8, PARITY_EVEN},
	    {LOOK_EIGHT_ODD, 8, PARITY_ODD},   {LOOK_NO_PARITY, 8, PARITY_NONE}};
	out->likely = *line;
	for (size_t i = 0; i < sizeof bits / sizeof *bits; i++)
		if (bits[i].word == out->word)
			set_likely(out, line->baud, bits[i].bits, bits[i].parity);
	if (out->word == LOOK_OTHER_PARITY)
		set_likely(out, line->baud, line->bits,
		           line->parity == PARITY_EVEN ? PARITY_ODD : PARITY_EVEN);
	if (out->word == LOOK_SLOWER && line->baud % out->ratio == 0)
		set_likely(out, line->baud / out->ratio, line->bits, line->parity);
}

static enum look_word judge(const struct counts *c, const struct line_settings *line, long framing,
                            long parity, struct look_said *out)
{
	if (out->count < LOOK_LEAST)
		return LOOK_LITTLE;
	enum look_word w = line->parity != PARITY_NONE ? parity_read(out->bad, framing, parity)
	                   : line->bits == 8           ? eight_bits_read(c, out->bad)
	                                               : LOOK_PLAIN;
	if (w != LOOK_PLAIN)
		return w;
	out->ratio = slower_by(c, out->bad);
	if (out->ratio > 1)
		return LOOK_SLOWER;
	if (c->good == 0)
		return LOOK_HELD;
	if (out->bad >= MANY_BAD)
		return LOOK_GARBLED;
	return out->high + out->odd_ones >= NO_TEXT ? LOOK_NOT_TEXT : LOOK_PLAIN;
}

void look_judge(const struct look *l, const struct line_settings *line, long framing, long parity,
                struct look_said *out)
{
	struct counts c;
	count(l, line, &c);
	memset(out, 0, sizeof *out);
	out->ratio = 1;
	out->count = c.good + c.bad;
	out->bad = share(c.bad, out->count);
	out->high = share(c.high, c.good);
	out->odd_ones = share(c.strange, c.good);
	out->not_slower = c.runs >= RUNS_LEAST && share(c.run[1], c.runs) >= SINGLE;
	out->word = judge(&c, line, framing, parity, out);
	say_likely(out, line);
}

void look_text(const struct look_said *l, char *out, size_t size)
{
	static const char *const fixed[LOOK_WORDS] = {
	    [LOOK_SEVEN_EVEN] = "it sends 7 bits and even parity: in every byte the top bit makes the "
	                        "number of ones even",
	    [LOOK_SEVEN_ODD] = "it sends 7 bits and odd parity: in every byte the top bit makes the "
	                       "number of ones odd",
	    [LOOK_SEVEN_BARE] = "it sends 7 bits: the top bit, which is its stop bit, is set in every "
	                        "byte",
	    [LOOK_EIGHT_EVEN] = "it sends 8 bits and even parity: just the bytes whose parity bit "
	                        "would be 0 have errors",
	    [LOOK_EIGHT_ODD] = "it sends 8 bits and odd parity: just the bytes whose parity bit would "
	                       "be 0 have errors",
	    [LOOK_OTHER_PARITY] = "it has the other parity: nearly every byte has a parity error, and "
	                          "the stop bits are right",
	    [LOOK_NO_PARITY] = "it sends no parity: many bytes have a parity error, and the stop bits "
	                       "are right"};
	if (l->word == LOOK_SLOWER)
		snprintf(out, size, "it speaks %d times slower than the line is read: every stretch of "
		         "equal bits is a multiple of %d long, in %d bytes", l->ratio, l->ratio, l->count);
	else if (l->word == LOOK_HELD)
		snprintf(out, size, "not one of %d bytes came without an error: the meter speaks ten times "
		         "slower or more, or its signal is upside down, or the number of bits is another",
		         l->count);
	else if (l->word == LOOK_GARBLED)
		snprintf(out, size, "%.0f %% of the last %d bytes have errors%s", l->bad * 100, l->count,
		         l->not_slower ? ": it does not speak slower; faster, or with other bits" : "");
	else if (l->word == LOOK_NOT_TEXT)
		snprintf(out, size, "what comes is no text: %.0f %% of the bytes have the top bit set, "
		         "%.0f %% are control characters, and few have "
		         "errors", l->high * 100, l->odd_ones * 100);
	else
		snprintf(out, size, "%s", fixed[l->word] ? fixed[l->word] : "");
}

/* ---- what it says ---- */

struct trial {
	const struct dialect *dialect;
	struct dialect_setting setting;
	struct dialect_memory memory;
	int good, bad; /* frames with readings; frames that were not understood */
};

static void try_frame(void *arg, const struct frame *f)
{
	struct trial *t = arg;
	struct understood u;
	if (f->fault == FRAME_PARTIAL)
		return;
	understood_clear(&u, SAID_NOTHING);
	if (f->fault == FRAME_GOOD)
		t->dialect->understand(&t->setting, &t->memory, f, &u);
	t->good += u.said == SAID_READINGS;
	t->bad += u.said == SAID_NOTHING;
}

/* The oldest byte that is held may stand in the middle of a frame: the splitter is
 * told that the line was opened just then. */
static void try_dialect(const struct look *l, struct trial *t)
{
	struct frame_splitter s;
	dialect_split(t->dialect, &s, 0);
	t->setting = (struct dialect_setting){.rules = t->dialect->rules};
	for (size_t i = 0; i < held_count(l); i++) {
		uint16_t seen = held(l, i);
		char byte = (char)seen;
		if (seen == LOOK_BAD)
			frame_bad_byte(&s, 1);
		else
			frame_feed(&s, 1, &byte, 1, try_frame, t);
	}
}

/* How many readings it makes of them; 0 where it does not fit. */
static int fits(const struct look *l, const struct dialect *d)
{
	struct trial t = {.dialect = d};
	try_dialect(l, &t);
	return t.good >= FRAMES_LEAST && t.good >= 9 * t.bad ? t.good : 0;
}

bool look_fits(const struct look *l, const struct dialect *d)
{
	return fits(l, d) > 0;
}

const struct dialect *look_dialect(const struct look *l)
{
	const struct dialect *best = NULL;
	int most = 0;
	for (const struct dialect *const *d = dialects; *d; d++) {
		int n = (*d)->asked ? 0 : fits(l, *d);
		if (n > most) {
			most = n;
			best = *d;
		}
	}
	return best;
}

bool look_contains(const struct look *l, const char *text)
{
	char bytes[LOOK_SIZE];
	size_t n = 0;
	for (size_t i = 0; i < held_count(l); i++)
		if (held(l, i) != LOOK_BAD)
			bytes[n++] = (char)held(l, i);
	return text[0] && memmem(bytes, n, text, strlen(text)) != NULL;
}
