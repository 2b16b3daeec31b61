/* SPDX-License-Identifier: MIT */
/* See settle.h.  The touch: what the probes do, as a table of what comes in against
 * the state; whether the trace is at rest is asked of settle_law. */
#include "daemon/settle_law.h"
#include "daemon/settle_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

const struct settle_limits settle_limits_standard = {
#define X(field, name, standard, low, high) .field = standard,
	SETTLE_LIMIT_LIST(X)
#undef X
};

static const double us = 1e6;
/* Three periods are stale; but adapters hold the frames of a fast meter back. */
static const double stale_least = 0.3;
/* Open readings for longer than the silence that would be a lift: open leads do
 * speak; so many times longer where they came after a silence, for then they may be
 * the overload of a meter that hunts for its range ... */
static const int64_t speech = 3;
/* ... and so many periods are no silence yet. */
static const int64_t joined = 3;

/* Periods by which a reading may come late, when the leads seem open for longer than they were. */
static const double arm_jitter = 0.25;

static double digit_of(int e)
{
	return decimal_double((struct decimal){1, e});
}

void settle_init(struct settle *s, const struct settle_limits *limits, int conversion)
{
	memset(s, 0, sizeof(*s));
	s->limits = limits ? *limits : settle_limits_standard;
	s->conversion = conversion > 1 ? conversion : 1;
	s->expected.low = -INFINITY;
	s->expected.high = INFINITY;
	s->blank_since = -1;
}

void settle_expect(struct settle *s, const struct settle_expected *expected)
{
	s->expected = *expected;
}

/* In doubt already, and the value that came now would be doubted again: floating
 * leads may go on like that for hours, and need not be judged at every reading. */
static bool doubts_on(const struct settle *s)
{
	if (!s->doubted || s->items == s->stretch)
		return false;
	const struct settle_item *now = &s->item[(s->items - 1) % SETTLE_WINDOW];
	struct settle_result r = {.function = s->result.function, .value = {now->n, s->exponent}};
	return settle_open_doubt(s, &r);
}

static unsigned decide(struct settle *s)
{
	uint64_t first;
	if (!s->touching || s->settled || s->refused || doubts_on(s))
		return 0;
	enum settle_lack lack = settle_lacks(s, &first);
	s->refused = lack >= LACK_REST;
	if (lack)
		return 0;
	struct settle_result result;
	settle_stretch_result(s, first, &result);
	result.settled = true;
	if (settle_open_doubt(s, &result)) {
		if (s->doubted)
			return 0;
		s->doubted = true;
		s->result = result;
		return SETTLE_DOUBT;
	}
	s->settled = true;
	s->result = result;
	if (!settle_is_fast(s))
		for (uint64_t i = first + 2; i < s->items; i++)
			settle_stretch_rests(s, i);
	return SETTLE_SETTLED;
}

/* --- feeding the law --- */

static int compare_doubles(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;
	return (x > y) - (x < y);
}

static double conversion_seconds(const struct settle *s)
{
	return (double)s->period * settle_pace_frames(s) / us;
}

/* A fast meter's readings go to the law in blocks: the mean of the middle half. */
static unsigned block_flush(struct settle *s, int64_t t)
{
	qsort(s->block, (size_t)s->blocked, sizeof(s->block[0]), compare_doubles);
	int low = s->blocked / 4, high = s->blocked - low;
	double sum = 0;
	for (int i = low; i < high; i++)
		sum += s->block[i];
	s->blocked = 0;
	s->refused = false;
	settle_law_add(&s->law, &s->limits, t, sum / (high - low), digit_of(s->exponent),
	               conversion_seconds(s));
	return decide(s);
}

static unsigned feed(struct settle *s, const struct reading *r, uint64_t ordinal)
{
	settle_stretch_add(s, r, ordinal);
	if (s->settled) {
		if (s->items - s->stretch > 1 && !settle_is_fast(s))
			settle_stretch_rests(s, s->items - 1);
		return 0;
	}
	double value = decimal_double(r->value);
	if (!settle_is_fast(s)) {
		s->blocked = 0;
		s->refused = false;
		settle_law_add(&s->law, &s->limits, r->t, value, digit_of(r->value.e),
		               conversion_seconds(s));
		return decide(s);
	}
	if (!s->blocked)
		s->block_t = r->t;
	s->block[s->blocked++] = value;
	if (s->blocked < SETTLE_BLOCK && r->t - s->block_t < (int64_t)(s->limits.block_seconds * us))
		return decide(s);
	return block_flush(s, s->block_t);
}

/* --- touch and lift --- */

static unsigned touch_begin(struct settle *s, int64_t t)
{
	s->touching = true;
	s->settled = s->moving = s->doubted = s->narrowed = false;
	s->touched_at = t;
	s->gliding = false;
	s->blanks = 0;
	s->blank_since = -1;
	settle_stretch_break(s);
	settle_law_reset(&s->law);
	s->refused = false;
	return SETTLE_TOUCHED;
}

static unsigned touch_end(struct settle *s, int64_t open_since)
{
	if (!s->touching)
		return 0;
	s->touching = false;
	s->open_since = open_since;
	settle_stretch_break(s);
	settle_law_reset(&s->law);
	s->refused = false;
	return SETTLE_LIFTED;
}

/* An open reading: one is a break in the stretch, enough of them are a lift. */
static unsigned open_reading(struct settle *s, const struct reading *r)
{
	if (!s->blanks++) {
		s->blank_since = r->t;
		s->blank_joined = s->heard && r->t - s->last_t <= joined * s->period;
	}
	if (!s->touching) {
		/* What open leads read may be taken by key: a supply that is off reads 0. */
		if (r->has_value)
			settle_stretch_add(s, r, s->ordinal - 1);
		else
			settle_stretch_break(s);
		settle_pace_open(s, r);
		settle_open_learn(s, r);
		int64_t spoke = (s->blank_joined ? 1 : speech) * settle_pace_lift(s);
		if (r->t - s->blank_since > spoke)
			s->speaks_open = true;
		return 0;
	}
	settle_stretch_break(s);
	settle_law_jolt(&s->law);
	s->refused = false;
	if (s->blanks < 2)
		return 0;
	double open = s->period ? ((double)s->blanks + 0.1) * (double)s->period
	                        : (double)(r->t - s->blank_since);
	if (open < s->limits.lift_seconds * us)
		return 0;
	s->gliding = settle_is_volt(r->function);
	return touch_end(s, s->blank_since);
}

static unsigned number_reading(struct settle *s, const struct reading *r, uint64_t ordinal,
                               bool repeat)
{
	unsigned events = 0;
	if (!s->touching) {
		bool glided = s->gliding && s->blanks && s->last.has_value &&
		              s->last.value.e == r->value.e &&
		              llabs(s->last.value.n - r->value.n) <= (int64_t)s->limits.moving_digits;
		events |= touch_begin(s, r->t);
		/* The step down from the glide was this part already. */
		if (glided)
			events |= feed(s, &s->last, ordinal - 1);
	}
	s->blanks = 0;
	s->blank_since = -1;
	s->repeat_now = 0;
	if (repeat && settle_stretch_extend(s, ordinal))
		return events;
	return events | feed(s, r, ordinal);
}

static unsigned blind_reading(struct settle *s, const struct reading *r)
{
	unsigned events = 0;
	if (!s->touching)
		events |= touch_begin(s, r->t);
	s->blanks = 0;
	s->blank_since = -1;
	settle_stretch_break(s);
	settle_law_jolt(&s->law);
	if (r->state & READING_OVERLOAD)
		settle_law_hide(&s->law);
	s->refused = false;
	return events;
}

/* Another function: nothing that was learnt of the old one holds. */
static unsigned function_change(struct settle *s)
{
	unsigned events = touch_end(s, s->last_t);
	s->opens = s->repeats = s->repeat_now = s->learnt = 0;
	s->speaks_open = s->gliding = false;
	s->intervals = s->long_ones = s->short_ones = 0;
	s->blanks = 0;
	s->blank_since = -1;
	settle_law_forget(&s->law);
	s->has_finest = false;
	return events;
}

/* A meter that speaks when open was silent, and comes back with something else: the
 * leads were elsewhere meanwhile, and it does not speak after all. */
static unsigned elsewhere(struct settle *s, const struct reading *r)
{
	if (!s->touching || !s->speaks_open || s->blanks || !r->has_value || !s->last.has_value ||
	    r->t - s->last_t < settle_pace_lift(s))
		return 0;
	double was = decimal_double(s->last.value), is = decimal_double(r->value);
	if (fabs(is - was) < 10 * fmax(digit_of(r->value.e), digit_of(s->last.value.e)))
		return 0;
	s->speaks_open = false;
	return touch_end(s, s->last_t + s->period);
}

void settle_follow(struct settle *s)
{
	uint64_t first;
	if (s->touching && s->settled && settle_lacks(s, &first))
		(void)touch_begin(s, s->last_t);
}

unsigned settle_reading(struct settle *s, const struct reading *r)
{
	unsigned events = settle_tick(s, r->t) | elsewhere(s, r);
	uint64_t ordinal = s->ordinal++;
	bool turned = ordinal && r->function != s->last.function;
	if (turned)
		events |= function_change(s);
	if (r->has_value && (!s->has_finest || r->value.e < s->finest)) {
		s->has_finest = true;
		s->finest = r->value.e;
	}
	/* (How long the dial was on its way is nobody's pace.) */
	int64_t dt = s->heard && !turned ? r->t - s->last_t : -1;
	bool doubled = settle_pace_doubled(s, r, dt);
	bool repeat = doubled || settle_pace_repeats(s, r);
	if (!doubled)
		settle_pace_frame(s, dt);
	if (r->state & (READING_HOLD | READING_RELATIVE | READING_MINMAX | READING_INVALID)) {
		/* Heard, and not measured now. */
		settle_stretch_break(s);
	} else {
		switch (settle_contact(s, r)) {
		case CONTACT_OPEN:
			if (!doubled)
				events |= open_reading(s, r);
			break;
		case CONTACT_NUMBER:
			events |= number_reading(s, r, ordinal, repeat);
			break;
		case CONTACT_BLIND:
			events |= blind_reading(s, r);
			break;
		}
	}
	s->heard = true;
	s->last = *r;
	s->last_t = r->t;
	return events | settle_tick(s, r->t);
}

unsigned settle_gone(struct settle *s, int64_t t)
{
	unsigned events = touch_end(s, t);
	/* Nothing is known of the time until it is back. */
	s->open_since = t;
	s->heard = s->gliding = false;
	s->blanks = 0;
	s->blank_since = -1;
	s->intervals = s->long_ones = s->short_ones = 0;
	settle_stretch_break(s);
	return events;
}

/* --- deadlines --- */

static int64_t silence_deadline(const struct settle *s)
{
	return s->touching && s->heard ? s->last_t + settle_pace_silence(s) : INT64_MAX;
}

static int64_t moving_deadline(const struct settle *s)
{
	if (!s->touching || s->settled || s->doubted || s->moving)
		return INT64_MAX;
	double limit = s->limits.moving_seconds;
	if (s->last.function == FUNCTION_FARAD && s->last.has_value) {
		/* Large capacitances are measured by charging them. */
		double mf = 1e3 * fabs(decimal_double(s->last.value));
		limit += fmin(mf * s->limits.moving_millifarad_seconds, 4 * limit);
	}
	return s->touched_at + (int64_t)(limit * us);
}

int64_t settle_deadline(const struct settle *s)
{
	int64_t a = silence_deadline(s), b = moving_deadline(s);
	return a < b ? a : b;
}

unsigned settle_tick(struct settle *s, int64_t t)
{
	unsigned events = 0;
	if (t >= moving_deadline(s) && moving_deadline(s) <= silence_deadline(s)) {
		s->moving = true;
		/* An overload or an open part does not move. */
		if (s->last.has_value)
			events |= SETTLE_MOVING;
	}
	if (t >= silence_deadline(s)) {
		/* Where nothing was said: when the first missing reading would have come. */
		events |= touch_end(s, s->blanks ? s->blank_since : s->last_t + s->period);
		s->speaks_open = false;
	}
	return events;
}

/* --- asking --- */

const struct settle_result *settle_result(const struct settle *s)
{
	return &s->result;
}

bool settle_take(const struct settle *s, int64_t t, struct settle_result *out, struct fault *why)
{
	if (!s->heard) {
		fault_set(why, "no reading came from this meter yet");
		return false;
	}
	int64_t period = s->period ? s->period : (int64_t)us;
	if (t - s->last_t > 3 * period && (double)(t - s->last_t) > stale_least * us) {
		fault_set(why, "the last reading is %.1f s old: is the meter still on?",
		          (double)(t - s->last_t) / us);
		return false;
	}
	unsigned mode = s->last.state & (READING_HOLD | READING_RELATIVE | READING_MINMAX);
	if (mode) {
		fault_set(why, "the meter is in its mode %s: it does not show what it measures now",
		          reading_state_word(mode));
		return false;
	}
	memset(out, 0, sizeof(*out));
	if (s->last.state & READING_OVERLOAD) {
		out->function = s->last.function;
		out->prefix = s->last.prefix;
		out->overload = true;
		out->negative = s->last.negative;
		out->n = 1;
		out->from = out->to = s->ordinal - 1;
		return true;
	}
	if (!s->last.has_value) {
		fault_set(why, "the last reading has no value");
		return false;
	}
	uint64_t first;
	/* A probe that is clipped on settled once and moved on with the supply, a bias, the warmth: it
	 * is at rest again where it stands still. */
	bool clipped = s->touching && s->settled;
	if (!settle_lacks(s, &first) || (clipped && settle_stands_still(s, &first))) {
		settle_stretch_result(s, first, out);
		out->settled = true;
		return true;
	}
	out->function = s->last.function;
	out->value = s->last.value;
	out->prefix = s->last.prefix;
	out->n = 1;
	out->from = out->to = s->ordinal - 1;
	return true;
}

bool settle_speaks(const struct settle *s)
{
	return s->speaks_open;
}

bool settle_touching(const struct settle *s)
{
	return s->touching;
}

int64_t settle_open_since(const struct settle *s)
{
	return s->touching ? -1 : s->open_since;
}

int64_t settle_arm(const struct settle *s)
{
	double arm = s->limits.arm_seconds * us;
	if (s->period <= 0)
		return (int64_t)arm;
	double periods = ceil(arm / (double)s->period - 0.1);
	return (int64_t)((periods + arm_jitter) * (double)s->period);
}

double settle_progress(const struct settle *s, int64_t t)
{
	(void)t;
	if (!s->touching)
		return 0;
	if (s->settled)
		return 1;
	if (s->items == s->stretch)
		return 0;
	struct settle_judgement j;
	settle_law_judge(&s->law, &s->limits, &j);
	double count = (double)(s->items - s->stretch) / s->limits.settle_conversions;
	return 0.99 * fmin(1, count) * (1 - j.off);
}

int64_t settle_period(const struct settle *s)
{
	return s->period;
}
