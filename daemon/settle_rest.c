/* SPDX-License-Identifier: MIT */
/*
 * The stretch: the conversions since the last break (lost contact, another range),
 * whether they are at rest, and the value that comes of them.
 */
#include "daemon/settle_law.h"
#include "daemon/settle_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Next to zero "twice" is a matter of a few digits. */
static const double few_digits = 5;
static const double stray_apart = 4;
/* The value is taken from so many readings at least. */
static const uint64_t least_clear = 2;
/* Of few readings it may look so many times larger than it is. */
static const double noise_known_times = 2.6;
/* Digits of it up to which that is chance and asks for no more readings. */
static const double noise_known_small = 1.2;

static double digit_of(int e)
{
	return decimal_double((struct decimal){1, e});
}

static const struct settle_item *item_at(const struct settle *s, uint64_t i)
{
	return &s->item[i % SETTLE_WINDOW];
}

void settle_stretch_break(struct settle *s)
{
	s->stretch = s->items;
	s->blocked = 0;
}

void settle_stretch_add(struct settle *s, const struct reading *r, uint64_t ordinal)
{
	if (s->items > s->stretch && r->value.e != s->exponent) {
		s->narrowed |= r->value.e < s->exponent;
		settle_stretch_break(s);
	}
	if (s->items == s->stretch)
		s->stretch_t = r->t;
	s->exponent = r->value.e;
	s->prefix = r->prefix;
	s->item[s->items++ % SETTLE_WINDOW] =
	    (struct settle_item){r->t, r->value.n, ordinal, ordinal};
	if (s->items - s->stretch > SETTLE_WINDOW)
		s->stretch = s->items - SETTLE_WINDOW;
}

bool settle_stretch_extend(struct settle *s, uint64_t ordinal)
{
	if (s->items == s->stretch)
		return false;
	s->item[(s->items - 1) % SETTLE_WINDOW].last = ordinal;
	return true;
}

bool settle_is_fast(const struct settle *s)
{
	return s->intervals >= 3 &&
	       (double)s->period * settle_pace_frames(s) < s->limits.block_seconds * 1e6;
}

/* --- the value --- */

static int compare_digits(const void *a, const void *b)
{
	int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;
	return (x > y) - (x < y);
}

/* The result of the items from number `first` to the last. */
void settle_stretch_result(const struct settle *s, uint64_t first, struct settle_result *out)
{
	int64_t n[SETTLE_WINDOW];
	int count = 0;
	double ref = (double)item_at(s, first)->n, sum = 0, sum2 = 0;
	for (uint64_t i = first; i < s->items; i++) {
		n[count++] = item_at(s, i)->n;
		double d = (double)item_at(s, i)->n - ref;
		sum += d;
		sum2 += d * d;
	}
	qsort(n, (size_t)count, sizeof(n[0]), compare_digits);
	double variance = count > 1 ? (sum2 - sum * sum / count) / (count - 1) : 0;
	double mean = sum / count;
	/* Of two in the middle the one nearer to the mean, or to where an approach comes to rest; the
	 * digits stay a meter's. */
	double rest = s->touching && !s->settled ? settle_law_rest(&s->law) : NAN;
	if (isfinite(rest))
		mean = rest / digit_of(s->exponent) - ref;
	int64_t low = n[(count - 1) / 2], high = n[count / 2];
	int64_t median = low;
	double lift = (double)(high - low);
	if (lift > 1)
		median = low + (int64_t)floor(lift / 2);
	else if (fabs((double)high - ref - mean) < fabs((double)low - ref - mean))
		median = high;
	memset(out, 0, sizeof(*out));
	out->function = s->last.function;
	out->value = (struct decimal){median, s->exponent};
	out->prefix = s->prefix;
	out->s = sqrt(fmax(0, variance)) * digit_of(s->exponent);
	out->n = count;
	out->from = item_at(s, first)->first;
	out->to = item_at(s, s->items - 1)->last;
}

void settle_stretch_rests(struct settle *s, uint64_t i)
{
	/* Further apart they are a stray, or the probes on their way. */
	double most = stray_apart * fmax(few_digits, s->result.s / digit_of(s->exponent));
	if (i < s->stretch + 2 || s->exponent != s->result.value.e)
		return;
	/* The newest may be half of a lift: it counts with the one that comes after it. */
	double apart = (double)(item_at(s, i - 1)->n - item_at(s, i - 2)->n);
	double after = (double)(item_at(s, i)->n - item_at(s, i - 1)->n);
	if (fabs(apart) < most && fabs(after) < most)
		settle_law_rests(&s->law, apart);
}

/* --- is it at rest? --- */

/* Standard deviation of the items from number `first` on, digits. */
static double stretch_noise(const struct settle *s, uint64_t first)
{
	double n = (double)(s->items - first), sum = 0, sum2 = 0;
	for (uint64_t i = first; i < s->items; i++) {
		double d = (double)(item_at(s, i)->n - item_at(s, first)->n);
		sum += d;
		sum2 += d * d;
	}
	return n > 1 ? sqrt(fmax(0, sum2 - sum * sum / n) / (n - 1)) : 0;
}

/*
 * Values that ask for a second look: above twice the nominal (the wrong part, a
 * half-made contact), or shown with few digits although this meter has a finer
 * range (it is about to change to it).
 */
static bool is_odd(const struct settle *s)
{
	const struct settle_expected *x = &s->expected;
	double n = fabs((double)item_at(s, s->items - 1)->n);
	double nominal = fabs(x->nominal) / digit_of(s->exponent);
	if (x->has_nominal && x->function == s->last.function && nominal > 0 &&
	    n > s->limits.odd_times * nominal + few_digits)
		return true;
	return s->has_finest && s->exponent > s->finest && n < s->limits.odd_digits * s->law.counts;
}

/*
 * The end of an approach whose beginning nobody saw, for a range or an overload hid it, looks like
 * creep from few readings.  Do all that this range has shown so far go one way, in two steps or
 * more that grow no longer?  Then how far they went, digits, else 0.  (One long step and a still
 * display is half a contact or a stray; of a long way the law makes its own mind up.)
 */
static double way_shown(const struct settle *s)
{
	uint64_t n = s->items - s->stretch, from = s->stretch, steps = 0;
	if ((!s->narrowed && !s->law.hidden) || settle_is_fast(s) || n < 3 ||
	    (double)n >= s->limits.settle_conversions_slow)
		return 0;
	int64_t way = item_at(s, s->items - 1)->n - item_at(s, from)->n, sign = way < 0 ? -1 : 1;
	int64_t first = 0, second = 0, last = 0;
	for (uint64_t i = from + 1; i < s->items; i++) {
		last = sign * (item_at(s, i)->n - item_at(s, i - 1)->n);
		if (last < 0)
			return 0;
		steps += last > 0;
		if (i == from + 1)
			first = last;
		if (i == from + 2)
			second = last;
	}
	if (steps < 2 || first < last || (double)first > s->limits.way_ratio * fmax(1, (double)second))
		return 0;
	/* (Behind a range alone it goes on from its first reading, or that was a digit of noise.) */
	if (!s->law.hidden && (!first || !second))
		return 0;
	return (double)llabs(way) > s->limits.way_most ? 0 : (double)llabs(way);
}

/* It may still be on its way, if that is more than the noise that is known makes of a rest. */
static bool is_going(const struct settle *s, const struct settle_judgement *j)
{
	const struct settle_limits *l = &s->limits;
	double way = way_shown(s), known = j->known * (1 + 1 / sqrt(fmax(1, s->law.rest_n)));
	if (s->law.hidden)
		return way >= fmax(l->way_least, l->way_hidden_times * known);
	bool stands = item_at(s, s->items - 1)->n == item_at(s, s->items - 2)->n;
	return way >= fmax(l->way_least, l->way_times * known) && (!stands || way > l->way_short);
}

/* How many undisturbed conversions are wanted. */
static double conversions_wanted(const struct settle *s, const struct settle_judgement *j,
                                 uint64_t first)
{
	const struct settle_limits *l = &s->limits;
	double noise = stretch_noise(s, first);
	if (j->slow || is_odd(s) || is_going(s, j) ||
	    noise > fmax(l->settle_noise, noise_known_times * j->known))
		return fmax(l->settle_conversions, l->settle_conversions_slow);
	/* Noise that the meter is known for needs no more than a good middle of it. */
	if (noise > l->settle_noise && j->known > noise_known_small)
		return fmax(l->settle_conversions, l->settle_conversions_noise);
	return l->settle_conversions;
}

/*
 * A trace that jumps from level to level stands still on each for a while: with a
 * chance h of a jump a reading, and odds of (odds times^jumps) that it will go on
 * jumping, n readings without one leave odds (1 - h)^(n - 1) times as large.
 */
static bool is_lawless(const struct settle *s, const struct settle_judgement *j)
{
	const struct settle_limits *l = &s->limits;
	if (j->jumps < 1 || j->n >= l->lawless_most)
		return false;
	double before = fmax(j->readings - j->n, j->jumps);
	double h = fmin(0.9, fmax(0.1, j->jumps / before));
	double odds = l->lawless_odds * pow(l->lawless_times, fmin(j->jumps, 20) - 1);
	return odds * pow(1 - h, j->n - 1) > l->settle_doubt;
}

/* Is a second, slower tail still to go?  From few readings that is asked more strictly. */
static bool has_tail(const struct settle *s, const struct settle_judgement *j)
{
	const struct settle_limits *l = &s->limits;
	if (j->slow && !settle_is_fast(s) && j->tail_count < l->tail_clear)
		return true;
	double wide = fmax(1, l->tail_conversions - l->tail_least);
	double part = fmax(0, (j->tail_count - l->tail_least) / wide);
	double doubt = l->tail_doubt_early * pow(l->tail_doubt / l->tail_doubt_early, part);
	return j->tail_chance > fmin(doubt, fmax(l->tail_doubt, l->tail_doubt_most));
}

/* The first of the items that are undisturbed and near where the law comes to rest. */
static uint64_t first_near(const struct settle *s, const struct settle_judgement *j)
{
	double rest = j->rest / digit_of(s->exponent);
	double band = s->limits.law_near_digits + 2 * j->noise;
	/* Where it came in within a reading, the first one may be taken for its tail. */
	if (!j->slow && j->since > j->begun)
		band += s->limits.law_quick_digits;
	double stray = s->limits.law_stray_sigma * j->noise + s->limits.law_stray_digits;
	/* (The noise of a fast meter is that of its blocks: there the time alone counts.) */
	bool fast = settle_is_fast(s);
	/* In much noise it is chance where the likeliest run begins: what stood near its rest
	 * before it counts as well. */
	bool noisy = !j->slow && j->since == j->begun && j->noise > s->limits.settle_noise;
	uint64_t i = s->items;
	while (i > s->stretch) {
		const struct settle_item *x = item_at(s, i - 1);
		double away = fabs((double)x->n - rest);
		if (x->t >= j->since ? !fast && away > stray
		                     : fast || away > band || (x->t < j->begun && !noisy))
			break;
		i--;
	}
	return i;
}

/* Within a digit of these two? */
static bool item_among(const struct settle *s, uint64_t i, double low, double high)
{
	double n = (double)item_at(s, i)->n;
	return n >= low - 1 && n <= high + 1;
}

/*
 * One reading that is far from all others from number `first` on (half of a contact, a stray) makes
 * the spread of few look like noise, which asks for more: where what came after it stands by
 * itself, that is enough.  Then the number of the first reading after it, else `first`.
 */
static uint64_t after_stray(const struct settle *s, const struct settle_judgement *j, uint64_t first,
                            double least)
{
	uint64_t i = s->items - (uint64_t)fmin(s->limits.settle_conversions, (double)(s->items - first));
	double low = INFINITY, high = -INFINITY;
	if (settle_is_fast(s) || j->slow)
		return first;
	for (uint64_t k = i; k < s->items; k++) {
		low = fmin(low, (double)item_at(s, k)->n);
		high = fmax(high, (double)item_at(s, k)->n);
	}
	while (i > first && item_among(s, i - 1, low, high))
		i--;
	if (i == first || item_among(s, i - 1, low - few_digits, high + few_digits) ||
	    stretch_noise(s, i) > s->limits.settle_noise / 2 ||
	    (double)(item_at(s, s->items - 1)->t - item_at(s, i)->t) < least)
		return first;
	for (uint64_t k = first; k + 1 < i; k++)
		if (!item_among(s, k, low, high))
			return first;
	return i;
}

/*
 * Readings that stood on one level and then on another look like one level with noise, as long as
 * they are few; their middle may be the level that was left.  The number of the first reading after
 * the last such step behind item `first`, else `first`.
 */
static uint64_t after_step(const struct settle *s, const struct settle_judgement *j, uint64_t first)
{
	double low = INFINITY, high = -INFINITY;
	if (settle_is_fast(s) || j->slow || s->items - first > SETTLE_RECENTS)
		return first;
	for (uint64_t k = s->items; --k >= first + 2;) {
		low = fmin(low, (double)item_at(s, k)->n);
		high = fmax(high, (double)item_at(s, k)->n);
		double below = INFINITY, above = -INFINITY;
		for (uint64_t i = first; i < k; i++) {
			below = fmin(below, (double)item_at(s, i)->n);
			above = fmax(above, (double)item_at(s, i)->n);
		}
		double spread = fmax(high - low, above - below), step = fmax(low - above, below - high);
		double least = fmax(s->limits.step_digits + 2 * spread, s->limits.step_times * j->known);
		if (spread <= 1 && step >= least)
			return k;
	}
	return first;
}

const char *settle_lack_word(enum settle_lack lack)
{
	static const char *const words[] = {
	    [LACK_NOTHING] = "nothing", [LACK_TIME] = "time",   [LACK_COUNT] = "count",
	    [LACK_REST] = "rest",       [LACK_LAW] = "law",     [LACK_NOISE] = "noise",
	    [LACK_WAVE] = "wave",       [LACK_TAIL] = "tail",
	};
	return words[lack];
}

/* What the law itself says against it. */
static enum settle_lack law_lacks(const struct settle *s, const struct settle_judgement *j)
{
	if (j->off > j->doubt)
		return LACK_REST;
	if (is_lawless(s, j))
		return LACK_LAW;
	if (j->wanders)
		return LACK_NOISE;
	if (j->wave_chance > s->limits.wave_doubt)
		return LACK_WAVE;
	return has_tail(s, j) ? LACK_TAIL : LACK_NOTHING;
}

/* While something is touched and has not settled: by the law. */
static enum settle_lack touch_lacks(const struct settle *s, uint64_t *first)
{
	struct settle_judgement j;
	/* The conversion nearest to the time will do, and the block that ends at it. */
	double block = s->limits.block_seconds * 1e6;
	double grace = settle_is_fast(s) ? block : fmin(0.5 * (double)s->period, block);
	double least = s->limits.settle_seconds * 1e6 - grace;
	int64_t t = item_at(s, s->items - 1)->t;
	if ((double)(t - s->stretch_t) < least)
		return LACK_TIME;
	settle_law_judge(&s->law, &s->limits, &j);
	enum settle_lack lack = law_lacks(s, &j);
	if (lack)
		return lack;
	uint64_t i = first_near(s, &j);
	int64_t from = s->stretch_t > j.since ? s->stretch_t : j.since;
	if (i > s->stretch)
		from = i < s->items ? item_at(s, i)->t : t;
	if ((double)(t - from) < least)
		return LACK_TIME;
	i = after_step(s, &j, i);
	if ((double)(s->items - i) < conversions_wanted(s, &j, i)) {
		i = after_stray(s, &j, i, least);
		if ((double)(s->items - i) < conversions_wanted(s, &j, i))
			return LACK_COUNT;
	}
	/* The value is taken from what is clear of the approach, or from the last ones. */
	while (i + least_clear < s->items && item_at(s, i)->t < j.clear)
		i++;
	/* ... and where it may be two exponentials, from what is clear of both. */
	uint64_t clear = (uint64_t)j.tail_count > least_clear ? (uint64_t)j.tail_count : least_clear;
	if (j.slow && i + clear < s->items)
		i = s->items - clear;
	/* What ends a way that a coarse range hid counts, and not the way. */
	if (i + least_clear < s->items && way_shown(s) > 0)
		i = s->items - least_clear;
	*first = i;
	return LACK_NOTHING;
}

/* The last `want` items stand within a band of `middle`. */
static bool stands(const struct settle *s, uint64_t want, double middle, double band,
                   uint64_t *first)
{
	if (s->items - s->stretch < want)
		return false;
	for (uint64_t i = s->items - want; i < s->items; i++)
		if (fabs((double)item_at(s, i)->n - middle) > band)
			return false;
	*first = s->items - want;
	return true;
}

/* Standing still is enough. */
static enum settle_lack still_lacks(const struct settle *s, uint64_t *first)
{
	double last = (double)item_at(s, s->items - 1)->n;
	if (!stands(s, (uint64_t)s->limits.settle_conversions_slow, last,
	            s->limits.law_near_digits + 1, first))
		return LACK_COUNT;
	bool long_enough =
	    (double)(s->last_t - item_at(s, *first)->t) >= s->limits.settle_seconds * 1e6;
	return long_enough ? LACK_NOTHING : LACK_TIME;
}

bool settle_stands_still(const struct settle *s, uint64_t *first)
{
	return s->items > s->stretch && still_lacks(s, first) == LACK_NOTHING;
}

enum settle_lack settle_lacks(const struct settle *s, uint64_t *first)
{
	if (s->items == s->stretch)
		return LACK_TIME;
	if (s->touching && !s->settled)
		return touch_lacks(s, first);
	/* Elsewhere the law rests, and standing still is enough: after settling where it
	 * settled, with open leads (a supply that is off) anywhere. */
	if (s->touching) {
		double noise = s->result.s / digit_of(s->exponent);
		bool there = s->exponent == s->result.value.e &&
		             stands(s, (uint64_t)s->limits.settle_conversions, (double)s->result.value.n,
		                    s->limits.law_near_digits + 3 * fmax(noise, 0.5), first);
		return there ? LACK_NOTHING : LACK_COUNT;
	}
	return still_lacks(s, first);
}
