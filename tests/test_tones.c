/* SPDX-License-Identifier: MIT */
/*
 * The tones: apart by rhythm alone and by pitch alone, no clicks, loudness, length;
 * and the order in which what waits is heard.
 */
#include "tests/check.h"

#include "client/tones.h"
#include "tests/pitch.h"

#include <stdlib.h>

#define EACH_TONE(what, var)                                                         \
	for (int what = 0; what < HAPPENING_COUNT; what++)                                 \
		for (const struct tone *var = tone_of((enum happening)what); var; var = NULL)

/* ---- the patterns ---- */

static void every_happening_has_a_sound(void **state)
{
	(void)state;
	assert_null(tone_of((enum happening)HAPPENING_COUNT));
	assert_null(tone_of((enum happening)-1));
	for (int what = 0; what < HAPPENING_COUNT; what++) {
		const struct tone *t = tone_of((enum happening)what);
		assert_non_null(t);
		note_row("%s", t->name);
		assert_true(t->words[0]);
		assert_true(tone_ms(t) >= TONE_SHORT_MS && tone_ms(t) <= TONE_MS_MAX);
		assert_true(tone_notes(t) >= 1 && tone_notes(t) <= TONE_NOTES_MAX);
	}
	/* The commonest is the shortest, and the three of a lost entry, a lost meter and
	 * volts on the unit go before the others. */
	EACH_TONE(what, t)
		assert_true(tone_ms(t) >= tone_ms(tone_of(HAPPENED_LOGGED)));
	assert_int_equal(tone_of(HAPPENED_NOT_LOGGED)->rank, TURN_ALARM);
	assert_int_equal(tone_of(HAPPENED_GONE)->rank, TURN_ALARM);
	assert_int_equal(tone_of(HAPPENED_LIVE)->rank, TURN_ALARM);
	assert_int_equal(tone_of(HAPPENED_ALARM)->rank, TURN_ALARM);
	assert_int_equal(tone_of(HAPPENED_LOGGED)->rank, TURN_RESULT);
	assert_int_equal(tone_of(HAPPENED_UP)->rank, TURN_NAME);
}

/* What an ear without pitch hears: is there sound, in steps of 10 ms. */
static size_t heard_rhythm(const struct tone *t, bool out[TONE_MS_MAX / 10])
{
	static int16_t pcm[TONE_SAMPLES_MAX];
	const size_t step = TONE_RATE / 100;
	size_t n = tone_render(t, 100, pcm, TONE_SAMPLES_MAX), steps = n / step;
	for (size_t i = 0; i < TONE_MS_MAX / 10; i++)
		out[i] = i < steps && pitch_power(pcm + i * step, step) > 1e5;
	return steps;
}

/* Each two differ for 100 ms or more without any pitch: in what sounds when, or in how
 * long the whole takes. */
static void rhythms_differ(void **state)
{
	(void)state;
	EACH_TONE(a, tone_a)
		EACH_TONE(b, tone_b)
		{
			bool first[TONE_MS_MAX / 10], second[TONE_MS_MAX / 10];
			int differ = 0;
			if (b <= a)
				continue;
			size_t steps_a = heard_rhythm(tone_a, first), steps_b = heard_rhythm(tone_b, second);
			int longer = abs((int)steps_a - (int)steps_b);
			for (int i = 0; i < TONE_MS_MAX / 10; i++)
				differ += first[i] != second[i];
			differ = longer > differ ? longer : differ;
			if (differ < 10)
				print_error("%s and %s differ for %d ms\n", tone_a->name, tone_b->name, differ * 10);
			assert_true(differ >= 10);
		}
}

/* The pitches as they follow each other, the same one in a row counted once. */
static int heard_pitches(const struct tone *t, double out[TONE_NOTES_MAX])
{
	static int16_t pcm[TONE_SAMPLES_MAX];
	size_t at = 0, gap = (size_t)TONE_RATE * TONE_GAP_MS / 1000;
	int n = 0;
	tone_render(t, 100, pcm, TONE_SAMPLES_MAX);
	for (int i = 0; i < tone_notes(t); i++) {
		size_t count = (size_t)TONE_RATE * (size_t)t->note[i].ms / 1000;
		double hertz = pitch_of(pcm + at, count, TONE_RATE);
		assert_near(hertz, t->note[i].hertz, t->note[i].hertz * 0.02);
		if (!n || fabs(log2(hertz / out[n - 1])) > 0.5 / 12)
			out[n++] = hertz;
		at += count + gap;
	}
	return n;
}

/* Each two have another number of pitches, or one that is 3 semitones off. */
static void pitches_differ(void **state)
{
	(void)state;
	EACH_TONE(a, tone_a)
		EACH_TONE(b, tone_b)
		{
			double first[TONE_NOTES_MAX], second[TONE_NOTES_MAX], most = 0;
			if (b <= a)
				continue;
			int n = heard_pitches(tone_a, first), m = heard_pitches(tone_b, second);
			for (int i = 0; i < n && n == m; i++)
				most = fmax(most, 12 * fabs(log2(first[i] / second[i])));
			if (n == m && most < 2.9)
				print_error("%s and %s are %.1f semitones apart\n", tone_a->name, tone_b->name, most);
			assert_true(n != m || most >= 2.9);
		}
}

/* ---- the samples ---- */

/* The largest change of the slope from one sample to the next: what a click is. */
static int bend(const int16_t *pcm, size_t n)
{
	int most = 0;
	for (size_t i = 0; i < n; i++) {
		int before = i ? pcm[i - 1] : 0, after = i + 1 < n ? pcm[i + 1] : 0;
		int b = abs(after - 2 * pcm[i] + before);
		most = b > most ? b : most;
	}
	return most;
}

static int loudest(const int16_t *pcm, size_t n)
{
	int most = 0;
	for (size_t i = 0; i < n; i++)
		most = abs(pcm[i]) > most ? abs(pcm[i]) : most;
	return most;
}

static int highest_note(const struct tone *t)
{
	int most = 0;
	for (int i = 0; i < tone_notes(t); i++)
		most = t->note[i].hertz > most ? t->note[i].hertz : most;
	return most;
}

/* A steady sine of amplitude A bends by A w^2 a sample, its octave of a quarter by as
 * much again; the ramps add a little.  A step would bend by its whole height. */
static void nothing_clicks(void **state)
{
	static int16_t pcm[TONE_SAMPLES_MAX];
	(void)state;
	EACH_TONE(what, t)
	{
		note_row("%s", t->name);
		size_t n = tone_render(t, 100, pcm, TONE_SAMPLES_MAX);
		double w = 2 * acos(-1) * highest_note(t) / TONE_RATE;
		double steady = 2 * 30000 / 1.25 * t->gain / 100 * w * w;
		assert_int_equal(pcm[0], 0);
		assert_int_equal(pcm[n - 1], 0);
		assert_true(bend(pcm, n) <= steady * 1.1 + 8);
		/* The test can fail: cut in the middle of a note it does click. */
		size_t cut = (size_t)TONE_RATE * 40 / 1000 + 7;
		assert_true(bend(pcm, cut) > steady * 1.1 + 8 || abs(pcm[cut - 1]) < 500);
		tone_fade(pcm + cut - 240, 240);
		assert_int_equal(pcm[cut - 1], 0);
		assert_true(bend(pcm, cut) <= steady * 1.1 + 40);
	}
}

static void loudness_goes_with_the_volume(void **state)
{
	static int16_t pcm[TONE_SAMPLES_MAX], other[TONE_SAMPLES_MAX];
	(void)state;
	EACH_TONE(what, t)
	{
		size_t n = tone_render(t, 100, pcm, TONE_SAMPLES_MAX);
		int whole = loudest(pcm, n);
		assert_true(whole <= 30000 * t->gain / 100 && whole > 24000 * t->gain / 100);
		assert_int_equal(tone_render(t, 50, pcm, TONE_SAMPLES_MAX), n);
		assert_near(loudest(pcm, n), whole / 4.0, 2);
		assert_int_equal(tone_render(t, 0, pcm, TONE_SAMPLES_MAX), n);
		assert_int_equal(loudest(pcm, n), 0);
		/* Outside the range: the nearer end. */
		tone_render(t, 1000, pcm, TONE_SAMPLES_MAX);
		tone_render(t, 100, other, TONE_SAMPLES_MAX);
		assert_memory_equal(pcm, other, n * sizeof *pcm);
		assert_int_equal(tone_render(t, -5, pcm, TONE_SAMPLES_MAX), n);
		assert_int_equal(loudest(pcm, n), 0);
		/* No room: the length all the same, and nothing beyond the room is written. */
		memset(pcm, 0x55, sizeof pcm);
		assert_int_equal(tone_render(t, 100, pcm, 100), n);
		assert_int_equal(pcm[100], 0x5555);
		assert_int_equal(tone_render(t, 100, NULL, 0), n);
	}
}

/* ---- whose turn it is ---- */

static struct turn_item item(enum turn_rank rank, enum happening what, const char *text,
                             int64_t at)
{
	struct turn_item i = {.rank = rank, .what = what, .at = at};
	snprintf(i.text, sizeof i.text, "%s", text);
	return i;
}

static void push(struct turn *t, enum turn_rank rank, enum happening what, const char *text,
                 int64_t at)
{
	struct turn_item i = item(rank, what, text, at);
	turn_push(t, &i);
}

static void expect_next(struct turn *t, const char *text)
{
	struct turn_item got;
	if (!text) {
		assert_false(turn_next(t, 0, 0, &got));
		return;
	}
	assert_true(turn_next(t, 0, 0, &got));
	assert_string_equal(got.text, text);
}

static void newest_wins_and_alarms_queue(void **state)
{
	struct turn t = {0};
	(void)state;
	expect_next(&t, NULL);
	push(&t, TURN_NAME, HAPPENED_UP, "C7", 0);
	push(&t, TURN_RESULT, HAPPENED_LOGGED, "a", 0);
	push(&t, TURN_RESULT, HAPPENED_REFUSED, "b", 0);
	push(&t, TURN_NAME, HAPPENED_UP, "C8", 0);
	push(&t, TURN_ALARM, HAPPENED_GONE, "red", 0);
	push(&t, TURN_NAME, HAPPENED_UP, "C9", 0);
	push(&t, TURN_ALARM, HAPPENED_NOT_LOGGED, "full", 0);
	push(&t, TURN_ALARM, HAPPENED_GONE, "red", 0); /* waits already */
	push(&t, TURN_ALARM, HAPPENED_GONE, "bench", 0);
	expect_next(&t, "red");
	expect_next(&t, "full");
	expect_next(&t, "bench");
	expect_next(&t, "b");
	expect_next(&t, "C9");
	expect_next(&t, NULL);
	assert_true(turn_empty(&t));
	/* A result swallows the name before it: that part was touched. */
	push(&t, TURN_NAME, HAPPENED_UP, "C10", 0);
	push(&t, TURN_RESULT, HAPPENED_OUTSIDE, "c", 0);
	expect_next(&t, "c");
	expect_next(&t, NULL);
	/* Full: the newest alarm is counted. */
	for (int i = 0; i < TURN_ALARMS + 3; i++) {
		char text[8];
		snprintf(text, sizeof text, "%d", i);
		push(&t, TURN_ALARM, HAPPENED_GONE, text, 0);
	}
	assert_int_equal(t.lost, 3);
	expect_next(&t, "0");
	turn_clear(&t);
	expect_next(&t, NULL);
}

static void what_cuts_what(void **state)
{
	static const struct {
		enum turn_rank waits, heard;
		bool cuts;
	} row[] = {
	    {TURN_NAME, TURN_NAME, true},     {TURN_NAME, TURN_RESULT, false},
	    {TURN_NAME, TURN_ALARM, false},   {TURN_RESULT, TURN_NAME, true},
	    {TURN_RESULT, TURN_RESULT, true}, {TURN_RESULT, TURN_ALARM, false},
	    {TURN_ALARM, TURN_NAME, true},    {TURN_ALARM, TURN_RESULT, true},
	    {TURN_ALARM, TURN_ALARM, false},
	};
	(void)state;
	for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
		struct turn t = {0};
		assert_false(turn_cuts(&t, row[i].heard));
		push(&t, row[i].waits, HAPPENED_UP, "x", 0);
		assert_int_equal(turn_cuts(&t, row[i].heard), row[i].cuts);
	}
	/* Cut off by an alarm, it comes back; by something newer of its kind, not. */
	struct turn t = {0};
	struct turn_item cut = item(TURN_RESULT, HAPPENED_OUTSIDE, "cut", 0);
	push(&t, TURN_ALARM, HAPPENED_GONE, "alarm", 0);
	push(&t, TURN_NAME, HAPPENED_UP, "name", 0);
	turn_return(&t, &cut);
	expect_next(&t, "alarm");
	expect_next(&t, "cut");
	expect_next(&t, "name");
	push(&t, TURN_RESULT, HAPPENED_LOGGED, "newer", 0);
	turn_return(&t, &cut);
	expect_next(&t, "newer");
	expect_next(&t, NULL);
}

static void late_is_dropped(void **state)
{
	struct turn t = {0};
	struct turn_item got;
	(void)state;
	push(&t, TURN_RESULT, HAPPENED_LOGGED, "old", 1000);
	push(&t, TURN_NAME, HAPPENED_UP, "new", 5000);
	push(&t, TURN_ALARM, HAPPENED_NOT_LOGGED, "alarm", 0);
	assert_true(turn_next(&t, 6000, 2000, &got));
	assert_string_equal(got.text, "alarm");
	assert_true(turn_next(&t, 6000, 2000, &got));
	assert_string_equal(got.text, "new");
	assert_false(turn_next(&t, 6000, 2000, &got));
	push(&t, TURN_RESULT, HAPPENED_LOGGED, "just", 4000);
	assert_true(turn_next(&t, 6000, 2000, &got));
	assert_string_equal(got.text, "just");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(every_happening_has_a_sound),
	    cmocka_unit_test(rhythms_differ),
	    cmocka_unit_test(pitches_differ),
	    cmocka_unit_test(nothing_clicks),
	    cmocka_unit_test(loudness_goes_with_the_volume),
	    cmocka_unit_test(newest_wins_and_alarms_queue),
	    cmocka_unit_test(what_cuts_what),
	    cmocka_unit_test(late_is_dropped),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
