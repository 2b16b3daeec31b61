/* SPDX-License-Identifier: MIT */
/*
 * Fuzz entry point: any sequence of readings through settling.
 *
 * Input: byte 0 chooses what is expected and the conversion; then four bytes a
 * reading: what it is (bits 0-2 all clear: overload; bit 3: the last value and a
 * few digits more or less; bits 4-5 the digit; 6-7 the function; 255: the meter is
 * gone, 254: another position is expected), time since the last (8 ms each), two
 * bytes of value.
 *
 * What must hold: at most one SETTLED and one MOVING a touch, never from overload; a
 * result lies within the readings that it names, which were there; deadlines move
 * on; what is taken lies within what was read; two runs agree.
 */
#include "daemon/settle.h"
#include "tests/fuzz.h"

#include <math.h>

#define READINGS_MAX 256

struct past {
	struct reading at[READINGS_MAX];
	int n;
	int settled, moving; /* since the last touch */
	unsigned all;
	double sum;
};

static struct reading read_four(const uint8_t *d, const struct past *p, int64_t *t)
{
	static const int exponents[] = {-12, -3, 0, 2};
	static const enum function functions[] = {FUNCTION_OHM, FUNCTION_FARAD, FUNCTION_VOLT_DC,
	                                          FUNCTION_AMP_DC};
	struct reading r = {0};
	*t += (d[1] + 1) * INT64_C(8000);
	r.t = *t;
	r.function = functions[d[0] >> 6];
	r.has_value = (d[0] & 7) != 0;
	r.state = r.has_value ? 0 : READING_OVERLOAD;
	if (!r.has_value)
		return r;
	r.value = (struct decimal){(int16_t)(d[2] | d[3] << 8), exponents[d[0] >> 4 & 3]};
	if (d[0] & 8 && p->n && p->at[p->n - 1].has_value) {
		r.function = p->at[p->n - 1].function;
		r.value = p->at[p->n - 1].value;
		r.value.n += (int8_t)d[2] / 32;
	} else if (d[3] == 127) {
		r.state |= READING_HOLD;
	}
	return r;
}

/* Between the smallest and the largest of the readings from..to. */
static void must_be_within(const struct past *p, const struct settle_result *x)
{
	bool above = false, below = false;
	must(x->from <= x->to && x->to < (uint64_t)p->n && x->n >= 1);
	must((uint64_t)x->n <= x->to - x->from + 1);
	for (uint64_t i = x->from; i <= x->to; i++) {
		if (!p->at[i].has_value)
			continue;
		above |= decimal_compare(x->value, p->at[i].value) >= 0;
		below |= decimal_compare(x->value, p->at[i].value) <= 0;
	}
	must(above && below);
	must(x->s >= 0 && isfinite(x->s));
}

static void said(struct past *p, const struct settle *s, unsigned ev)
{
	p->all |= ev;
	if (ev & (SETTLE_LIFTED | SETTLE_TOUCHED))
		p->settled = p->moving = 0;
	if (ev & SETTLE_MOVING)
		must(++p->moving == 1);
	if (!(ev & SETTLE_SETTLED))
		return;
	const struct settle_result *x = settle_result(s);
	must(++p->settled == 1 && x->settled && !x->overload);
	must_be_within(p, x);
	p->sum += decimal_double(x->value) + (double)x->from;
}

static void look(const struct past *p, const struct settle *s, int64_t t)
{
	struct settle_result taken;
	struct fault why;
	memset(&why, 0, sizeof why);
	if (!settle_take(s, t, &taken, &why))
		must(why.text[0]);
	else if (!taken.overload)
		must_be_within(p, &taken);
	double progress = settle_progress(s, t);
	must(progress >= 0 && progress <= 1);
	must(settle_period(s) >= 0 && settle_arm(s) >= 0);
	must(settle_touching(s) == (settle_open_since(s) < 0));
	must(settle_open_since(s) <= t);
}

static void run(const uint8_t *data, size_t size, struct past *p)
{
	static struct settle s;
	struct settle_expected e = {FUNCTION_NONE, data[0] & 1, data[0] * 100.0, -INFINITY, INFINITY};
	int64_t t = 0;
	memset(p, 0, sizeof *p);
	settle_init(&s, &settle_limits_standard, 1 + (data[0] >> 6));
	settle_expect(&s, &e);
	for (size_t i = 1; i + 4 <= size && p->n < READINGS_MAX; i += 4) {
		if (data[i] == 255) {
			said(p, &s, settle_gone(&s, t));
			continue;
		}
		if (data[i] == 254) {
			e.has_nominal = data[i + 1] & 1;
			e.nominal = data[i + 2] * 1e-9;
			settle_expect(&s, &e);
			continue;
		}
		struct reading r = read_four(data + i, p, &t);
		for (int k = 0; settle_deadline(&s) <= t; k++) {
			must(k < 100);
			said(p, &s, settle_tick(&s, settle_deadline(&s)));
		}
		p->at[p->n++] = r;
		said(p, &s, settle_reading(&s, &r));
		look(p, &s, t);
	}
}

int fuzz_damaged(void)
{
	return 20;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	static struct past a, b;
	if (size < 5 || size > 1024)
		return 0;
	run(data, size, &a);
	run(data, size, &b);
	must(a.sum == b.sum && a.all == b.all && a.n == b.n);
	return 0;
}
