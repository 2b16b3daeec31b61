/* SPDX-License-Identifier: MIT */
/*
 * How often a meter speaks (frames) and how often it measures (conversions).
 *
 * The period is the mean of the last intervals, without the gaps: not their
 * median, because an adapter hands over the frames of a fast meter in bunches.
 */
#include "daemon/settle_parts.h"

#include <string.h>

/* An interval so many times the period is a gap, not pace ... */
static const int64_t gap_periods = 3;
/* ... if it is longer than a bunch of frames in an adapter can make it, us. */
static const int64_t gap_least = 60000;
/* A meter faster than this sends equal frames in bunches: none of them is doubled. */
static const int64_t doubled_least = 60000;
/* ... and no line takes longer to say a frame again, us. */
static const int64_t doubled_most = 50000;
/* An interval that is no bunch, us: so many in a row that are far too short are a new pace. */
static const int64_t short_least = 25000;
static const int shorts_pace = 4;
/* So many gaps in a row are a new pace ... */
static const int gaps_pace = 3;
/* ... and so many frames in a row that look doubled: no meter says one thing five times within a
 * period, but one that was silent for long may have made a false pace of that. */
static const int doubles_pace = 4;
/* Among the first intervals one below `twice_most` beside one above `slow_least` is a frame that
 * was sent twice, us: an adapter does not hold frames back for so long. */
static const int64_t twice_most = 20000;
static const int64_t slow_least = 150000;
/* Runs of equal frames of open leads before their lengths say something ... */
static const int repeats_first = 5;
/* ... and before one of them may differ. */
static const int repeats_sure = 8;
/* With so many intervals what is none of the pace is dropped; before, it is only left out. */
static const int sure_intervals = 8;

/* The interval at `i` was a gap: the ring, not yet gone round, goes on without it. */
static void drop_interval(struct settle *s, int i)
{
	s->interval_sum -= s->interval[i];
	s->intervals--;
	memmove(s->interval + i, s->interval + i + 1, (size_t)(s->intervals - i) * sizeof *s->interval);
}

void settle_pace_frame(struct settle *s, int64_t dt)
{
	if (dt < 0)
		return;
	for (int i = s->intervals; dt > slow_least && s->intervals < sure_intervals && i-- > 0;)
		if (s->interval[i] < twice_most)
			drop_interval(s, i);
	int have = s->intervals < SETTLE_INTERVALS ? s->intervals : SETTLE_INTERVALS;
	if (have >= 3 && dt > gap_periods * s->period && dt > gap_least) {
		if (++s->long_ones < gaps_pace)
			return;
		s->intervals = 0;
	}
	s->long_ones = 0;
	s->short_ones = have >= 3 && dt > short_least && gap_periods * dt < s->period
	                    ? s->short_ones + 1 : 0;
	if (s->short_ones >= shorts_pace)
		s->intervals = s->short_ones = 0;
	int64_t *place = &s->interval[s->intervals % SETTLE_INTERVALS];
	if (s->intervals == 0)
		s->interval_sum = 0;
	s->interval_sum += dt - (s->intervals < SETTLE_INTERVALS ? 0 : *place);
	*place = dt;
	/* Only the place in the ring and "full" count. */
	if (++s->intervals == 2 * SETTLE_INTERVALS)
		s->intervals = SETTLE_INTERVALS;
	have = s->intervals < SETTLE_INTERVALS ? s->intervals : SETTLE_INTERVALS;
	int longest = 0;
	for (int i = 1; i < have && have <= sure_intervals; i++)
		if (s->interval[i] > s->interval[longest])
			longest = i;
	/* Among the first few a gap could not be told from the pace yet. */
	if (have >= 3 && have <= sure_intervals && s->intervals == have &&
	    s->interval[longest] > gap_least) {
		int64_t others = (s->interval_sum - s->interval[longest]) / (have - 1);
		if (s->interval[longest] > gap_periods * others) {
			s->period = others;
			if (have == sure_intervals)
				drop_interval(s, longest);
			return;
		}
	}
	s->period = s->interval_sum / have;
}

int settle_pace_frames(const struct settle *s)
{
	if (s->conversion > 1)
		return s->conversion;
	return s->learnt > 1 ? s->learnt : 1;
}

static bool same_digits(const struct reading *a, const struct reading *b)
{
	return a->has_value && b->has_value && a->value.n == b->value.n && a->value.e == b->value.e;
}

bool settle_pace_doubled(struct settle *s, const struct reading *r, int64_t dt)
{
	bool same = r->has_value ? same_digits(r, &s->last)
	                         : !s->last.has_value && r->state == s->last.state;
	bool paced = s->intervals >= 3 ? s->period > doubled_least && dt < s->period / 4
	                               : s->intervals && s->period > slow_least && dt < twice_most;
	if (!s->heard || !same || !paced || dt > doubled_most) {
		s->doubles = 0;
		return false;
	}
	if (++s->doubles <= doubles_pace)
		return true;
	s->doubles = s->intervals = s->long_ones = 0;
	return false;
}

bool settle_pace_repeats(struct settle *s, const struct reading *r)
{
	if (s->heard && same_digits(r, &s->last) && s->same < settle_pace_frames(s)) {
		s->same++;
		return true;
	}
	s->same = 1;
	return false;
}

/*
 * Open leads wander, so that two conversions seldom show the same digits.  Where
 * nearly all runs of equal frames have the same length, that length is the number
 * of frames a conversion has.  (A lost frame shortens a run, two equal conversions
 * double it.)
 */
void settle_pace_open(struct settle *s, const struct reading *r)
{
	/* (On its way down through the ranges a meter may show each for two frames.) */
	if (!s->heard || !r->has_value || !s->last.has_value || r->value.e != s->last.value.e) {
		s->repeat_now = 0;
		return;
	}
	if (same_digits(r, &s->last)) {
		if (s->repeat_now)
			s->repeat_now++;
		return;
	}
	if (s->repeat_now)
		s->repeat[s->repeats++ % SETTLE_OPENS] = s->repeat_now;
	if (s->repeats == 2 * SETTLE_OPENS)
		s->repeats = SETTLE_OPENS;
	s->repeat_now = 1;
	int have = s->repeats < SETTLE_OPENS ? s->repeats : SETTLE_OPENS;
	if (have < repeats_first)
		return;
	int most = 1;
	for (int frames = 2; frames <= 8; frames++) {
		int fit = 0, exact = 0;
		for (int i = 0; i < have; i++) {
			fit += s->repeat[i] % frames == 0;
			exact += s->repeat[i] == frames;
		}
		/* Of the first few all must fit, and more than pairs: chance makes those. */
		bool sure = have >= repeats_sure ? fit * 8 >= have * 7 : fit == have && frames > 2;
		if (sure && exact * 2 >= have)
			most = frames;
	}
	s->learnt = most;
}

int64_t settle_pace_lift(const struct settle *s)
{
	bool farad = s->heard && s->last.function == FUNCTION_FARAD;
	double seconds = farad ? s->limits.silent_farad_seconds : s->limits.silent_seconds;
	double periods = farad ? s->limits.silent_farad_periods : s->limits.silent_periods;
	double silence = seconds * 1e6;
	if (periods * (double)s->period > silence)
		silence = periods * (double)s->period;
	return (int64_t)silence;
}

int64_t settle_pace_silence(const struct settle *s)
{
	int64_t silence = settle_pace_lift(s);
	if (!s->speaks_open || s->blanks)
		return silence;
	return (int64_t)((double)silence * s->limits.silent_speaker);
}
