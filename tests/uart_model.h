/* SPDX-License-Identifier: MIT */
/*
 * A serial line bit by bit: what a receiver makes of bytes that were sent with other
 * settings than its own.
 *
 * The sender puts start bit, data bits from the lowest, parity and stop bits on the
 * wire, with idle time between bytes and between lines.  The receiver looks at the wire
 * sixteen times a bit, takes a falling edge for the start, looks again in its middle,
 * then in the middle of every further bit.  A stop bit that reads 0 is a framing error.
 * After one, receivers differ: some wait for the idle level, some take the low level
 * for the next start bit at once; the model does either.
 */
#ifndef TALLY_TESTS_UART_MODEL_H
#define TALLY_TESTS_UART_MODEL_H

#include "protocol/meter/dialect.h"

#include <stdlib.h>
#include <string.h>

/* The wire: levels of equal length, 16 to a bit of the sender. */
struct wire {
	unsigned char *level;
	size_t n, size;
	double rate; /* levels a second */
};

static inline void wire_bit(struct wire *w, int level, int sixteenths)
{
	if (w->n + (size_t)sixteenths > w->size) {
		w->size = (w->size + (size_t)sixteenths) * 2;
		w->level = realloc(w->level, w->size);
	}
	memset(w->level + w->n, level, (size_t)sixteenths);
	w->n += (size_t)sixteenths;
}

static inline void wire_begin(struct wire *w, int baud)
{
	*w = (struct wire){.rate = baud * 16.0};
	wire_bit(w, 1, 16 * 20);
}

static inline int parity_bit(unsigned byte, enum parity p)
{
	return (__builtin_popcount(byte) + (p == PARITY_ODD)) & 1;
}

/* `idle`: bits of rest after every byte. */
static inline void wire_send(struct wire *w, const struct line_settings *s, const char *bytes,
                             size_t len, int idle)
{
	for (size_t i = 0; i < len; i++) {
		unsigned byte = (unsigned char)bytes[i] & (s->bits == 7 ? 0x7fu : 0xffu);
		wire_bit(w, 0, 16);
		for (int b = 0; b < s->bits; b++)
			wire_bit(w, byte >> b & 1, 16);
		if (s->parity != PARITY_NONE)
			wire_bit(w, parity_bit(byte, s->parity), 16);
		wire_bit(w, 1, 16 * (s->stop + idle));
	}
}

static inline int wire_level(const struct wire *w, double t)
{
	size_t i = (size_t)(t * w->rate);
	return i < w->n ? w->level[i] : 1;
}

struct heard {
	long good, framing, parity;
};

/* Hears the whole wire; good() and bad() in the order of the line.  `deviation`: of the
 * receiver's clock, 0.01 is one percent fast. */
static inline struct heard wire_hear(const struct wire *w, const struct line_settings *s,
                                     double deviation, bool starts_at_once,
                                     void (*good)(void *arg, unsigned char byte),
                                     void (*bad)(void *arg), void *arg)
{
	struct heard h = {0};
	double bit = 1 / (s->baud * (1 + deviation)), tick = bit / 16, end = (double)w->n / w->rate;
	bool low = false; /* the low level of a framing error is the start of the next byte */
	int before = 1;
	for (double t = 0; t < end;) {
		int now = wire_level(w, t);
		if (!(before == 1 && now == 0) && !low) {
			before = now;
			t += tick;
			continue;
		}
		double start = low ? t - bit / 2 : t;
		low = false;
		before = 0;
		if (wire_level(w, start + bit / 2)) { /* a spike */
			t = start + bit / 2;
			before = 1;
			continue;
		}
		unsigned byte = 0;
		double at = start + bit * 1.5;
		for (int b = 0; b < s->bits; b++, at += bit)
			byte |= (unsigned)wire_level(w, at) << b;
		bool wrong = false;
		if (s->parity != PARITY_NONE) {
			wrong = wire_level(w, at) != parity_bit(byte, s->parity);
			at += bit;
		}
		bool stop = wire_level(w, at);
		h.framing += !stop;
		h.parity += stop && wrong;
		h.good += stop && !wrong;
		if (stop && !wrong)
			good(arg, (unsigned char)byte);
		else
			bad(arg);
		t = at;
		before = stop;
		low = !stop && starts_at_once;
	}
	return h;
}

#endif
