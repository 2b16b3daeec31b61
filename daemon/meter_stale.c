/* SPDX-License-Identifier: MIT */
/* See meter_stale.h. */
#include "daemon/meter_stale.h"

#include <math.h>
#include <string.h>

/* Readings nearer to each other than so many digits may be of the same part, still
 * touched. */
#define SAME_DIGITS 10

void stale_begin(struct stale *s, bool asked)
{
	memset(s, 0, sizeof *s);
	s->asked = asked;
}

void stale_away(struct stale *s)
{
	s->heard = s->speaks = s->nature = s->said = false;
	s->period = 0;
}

static int64_t old_us(const struct stale *s)
{
	int64_t us = STALE_PERIODS * (s->period > 0 ? s->period : STALE_PERIOD_US);
	return us > STALE_LEAST_US ? us : STALE_LEAST_US;
}

/* May this function be silent on open leads? */
static bool may_blank(enum function f)
{
	return f == FUNCTION_OHM || f == FUNCTION_FARAD || f == FUNCTION_HENRY ||
	       f == FUNCTION_DIODE;
}

static bool is_another(const struct reading *a, const struct reading *b)
{
	if (!a->has_value || !b->has_value)
		return a->has_value != b->has_value;
	int coarser = a->value.e > b->value.e ? a->value.e : b->value.e;
	double digit = decimal_double((struct decimal){1, coarser});
	return fabs(decimal_double(a->value) - decimal_double(b->value)) >= SAME_DIGITS * digit;
}

bool stale_reading(struct stale *s, const struct reading *r, int64_t period, bool speaks)
{
	bool over = s->said;
	s->speaks = speaks;
	if (over && may_blank(r->function) && r->function == s->last.function &&
	    is_another(&s->last, r))
		s->nature = true;
	if (s->speaks)
		s->nature = false;
	s->heard = true;
	s->said = false;
	s->last = *r;
	s->period = period;
	return over;
}

int64_t stale_deadline(const struct stale *s)
{
	if (!s->heard || s->said || (s->nature && may_blank(s->last.function)))
		return INT64_MAX;
	int64_t us = old_us(s);
	if (s->asked && us < STALE_ASKED_US)
		us = STALE_ASKED_US;
	if (s->last.function == FUNCTION_FARAD && us < STALE_FARAD_US)
		us = STALE_FARAD_US;
	return s->last.t + us;
}

bool stale_tick(struct stale *s, int64_t t)
{
	if (t < stale_deadline(s))
		return false;
	s->said = true;
	s->count++;
	return true;
}

bool stale_old(const struct stale *s, int64_t t)
{
	return !s->heard || t - s->last.t > old_us(s);
}
