/* SPDX-License-Identifier: MIT */
/*
 * Fuzz entry point: any sequence of readings through settling.
 *
 * Input: byte 0 chooses what is expected; then four bytes a reading: what it is,
 * time since the last (milliseconds, up to 2 s), two bytes of value.
 *
 * What must hold: at most one SETTLED a touch, never from overload; a result lies
 * within what was read, names readings that were there, and has a positive n;
 * deadlines move on; two runs agree.
 */
#include "daemon/settle.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static void must(int holds)
{
	if (!holds)
		abort();
}

static struct reading read_four(const uint8_t *d, int64_t *t)
{
	static const int exponents[] = {-12, -3, 0, 2};
	static const enum function functions[] = {FUNCTION_OHM, FUNCTION_FARAD, FUNCTION_VOLT_DC,
	                                          FUNCTION_OHM};
	struct reading r = {0};
	*t += (d[1] + 1) * INT64_C(8000);
	r.t = *t;
	r.function = functions[d[0] >> 6];
	r.has_value = (d[0] & 7) != 0;
	r.state = r.has_value ? 0 : READING_OVERLOAD;
	if ((d[0] & 0x38) == 0x38)
		r.state |= READING_HOLD;
	if (r.has_value)
		r.value = (struct decimal){(int16_t)(d[2] | d[3] << 8), exponents[d[0] >> 4 & 3]};
	return r;
}

static double run(const uint8_t *data, size_t size, unsigned *all)
{
	static struct settle s;
	struct settle_expected e = {FUNCTION_NONE, data[0] & 1, data[0] * 100.0, -INFINITY, INFINITY};
	int64_t t = 0;
	uint64_t readings = 0;
	double sum = 0;
	int settled = 0;
	settle_init(&s, &settle_limits_standard, 1 + (data[0] >> 6));
	settle_expect(&s, &e);
	*all = 0;
	for (size_t i = 1; i + 4 <= size; i += 4) {
		struct reading r = read_four(data + i, &t);
		for (int k = 0; settle_deadline(&s) <= t; k++) {
			int64_t due = settle_deadline(&s);
			unsigned ev = settle_tick(&s, due);
			if (ev & SETTLE_LIFTED)
				settled = 0;
			must(k < 100);
			*all |= ev;
		}
		unsigned ev = settle_reading(&s, &r);
		readings++;
		*all |= ev;
		if (ev & (SETTLE_LIFTED | SETTLE_TOUCHED))
			settled = 0;
		if (ev & SETTLE_SETTLED) {
			const struct settle_result *x = settle_result(&s);
			must(++settled == 1);
			must(!x->overload && x->n >= 1 && x->from <= x->to && x->to < readings);
			must(x->s >= 0 && isfinite(x->s));
			sum += decimal_double(x->value) + (double)x->from;
		}
		struct settle_result taken;
		struct fault why;
		if (settle_take(&s, t, &taken, &why))
			must(taken.overload || taken.n >= 1);
		double p = settle_progress(&s, t);
		must(p >= 0 && p <= 1);
		must(settle_period(&s) >= 0);
		must(settle_touching(&s) == (settle_open_since(&s) < 0));
	}
	return sum;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);
int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	unsigned a, b;
	if (size < 5 || size > 1024)
		return 0;
	double x = run(data, size, &a), y = run(data, size, &b);
	must(x == y && a == b);
	return 0;
}
