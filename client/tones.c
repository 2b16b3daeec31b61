/* SPDX-License-Identifier: MIT */
/* See tones.h. */
#include "client/tones.h"

#include <math.h>

#define S TONE_SHORT_MS
#define L TONE_LONG_MS

/* The pitches lie between 300 and 1600 Hz: below it a laptop is mute, above it many
 * ears of sixty are.  Falling is bad, rising is good, low is no, high is an alarm. */
static const struct tone tone_table[HAPPENING_COUNT] = {
	[HAPPENED_LOGGED] = {"logged", "one short high note", TURN_RESULT, 100, {{1047, S}}},
	[HAPPENED_OUTSIDE] = {"outside", "short and long, falling", TURN_RESULT, 100,
	                      {{784, S}, {523, L}}},
	[HAPPENED_UNSURE] = {"unsure", "long and short, rising", TURN_RESULT, 100, {{659, L}, {880, S}}},
	[HAPPENED_HELD] = {"held", "two short and a long one above", TURN_RESULT, 100,
	                    {{784, S}, {784, S}, {1175, L}}},
	[HAPPENED_REFUSED] = {"refused", "two long low notes", TURN_RESULT, 100, {{311, L}, {311, L}}},
	[HAPPENED_MOVING] = {"keeps moving", "four short notes, to and fro", TURN_RESULT, 80,
	                      {{587, S}, {698, S}, {587, S}, {698, S}}},
	[HAPPENED_DOUBT] = {"in doubt", "short, long above, short", TURN_RESULT, 100,
	                     {{659, S}, {988, L}, {659, S}}},
	[HAPPENED_GONE] = {"meter gone", "a long and two short, falling", TURN_ALARM, 100,
	                    {{988, L}, {740, S}, {494, S}}},
	[HAPPENED_BACK] = {"meter back", "three short notes, rising", TURN_RESULT, 80,
	                    {{494, S}, {740, S}, {988, S}}},
	[HAPPENED_STALE] = {"meter silent", "one long low note", TURN_ALARM, 100, {{415, L}}},
	[HAPPENED_NOT_LOGGED] = {"not logged", "three long notes, high low high", TURN_ALARM, 100,
	                          {{880, L}, {440, L}, {880, L}}},
	[HAPPENED_UP] = {"up", "two short very high notes, soft", TURN_NAME, 50, {{1319, S}, {1568, S}}},
	[HAPPENED_LIVE] = {"live", "two short high and two long below", TURN_ALARM, 100,
	                    {{1175, S}, {1175, S}, {880, L}, {880, L}}},
	[HAPPENED_COLD] = {"cold", "two long low and two short above", TURN_RESULT, 80,
	                    {{392, L}, {392, L}, {587, S}, {587, S}}},
	[HAPPENED_GUIDE] = {"next step", "long, short, long, on one note", TURN_RESULT, 80,
	                     {{698, L}, {698, S}, {698, L}}},
	[HAPPENED_ALARM] = {"alarm", "long high and short low, twice", TURN_ALARM, 100,
	                     {{1568, L}, {698, S}, {1568, L}, {698, S}}},
	[HAPPENED_DISAGREE] = {"meters disagree", "long, two short far above, long", TURN_ALARM, 100,
	                        {{466, L}, {932, S}, {932, S}, {466, L}}},
};

const struct tone *tone_of(enum happening what)
{
	if ((int)what < 0 || (int)what >= HAPPENING_COUNT)
		return NULL;
	return &tone_table[what];
}

int tone_notes(const struct tone *t)
{
	int n = 0;
	while (n < TONE_NOTES_MAX && t->note[n].hertz)
		n++;
	return n;
}

int tone_ms(const struct tone *t)
{
	int notes = tone_notes(t), ms = notes ? (notes - 1) * TONE_GAP_MS : 0;
	for (int i = 0; i < notes; i++)
		ms += t->note[i].ms;
	return ms < TONE_MS_MAX ? ms : TONE_MS_MAX;
}

static const double turn_whole = 6.283185307179586;

/* Half a cosine from 0 to 1 over the ramp, at either end of the note. */
static double ramp(size_t i, size_t count)
{
	size_t edge = (size_t)TONE_RATE * TONE_RAMP_MS / 1000;
	size_t from_end = count - 1 - i, near = i < from_end ? i : from_end;
	if (near >= edge)
		return 1;
	return 0.5 - 0.5 * cos(turn_whole / 2 * (double)near / (double)edge);
}

/* The sum of the sine and a quarter of its octave never passes 1.25. */
static double wave(double hertz, size_t i)
{
	double phase = turn_whole * hertz * (double)i / TONE_RATE;
	return (sin(phase) + 0.25 * sin(2 * phase)) / 1.25;
}

void tone_note_render(double hertz, double peak, int16_t *out, size_t count)
{
	for (size_t i = 0; i < count; i++)
		out[i] = (int16_t)lrint(peak * ramp(i, count) * wave(hertz, i));
}

double tone_peak(int volume)
{
	double loud = (double)(volume < 0 ? 0 : volume > 100 ? 100 : volume) / 100;
	return 30000 * loud * loud;
}

size_t tone_render(const struct tone *t, int volume, int16_t *out, size_t room)
{
	double peak = tone_peak(volume) * t->gain / 100;
	size_t all = (size_t)TONE_RATE * (size_t)tone_ms(t) / 1000, at = 0;
	size_t gap = (size_t)TONE_RATE * TONE_GAP_MS / 1000;
	for (int n = 0; n < tone_notes(t); n++) {
		size_t count = (size_t)TONE_RATE * (size_t)t->note[n].ms / 1000;
		for (size_t i = 0; i < count && at < all; i++, at++)
			if (at < room)
				out[at] = (int16_t)lrint(peak * ramp(i, count) * wave(t->note[n].hertz, i));
		for (size_t i = 0; i < gap && at < all; i++, at++)
			if (at < room)
				out[at] = 0;
	}
	return all;
}

void tone_fade(int16_t *samples, size_t count)
{
	for (size_t i = 0; i < count; i++) {
		double left = count > 1 ? (double)(count - 1 - i) / (double)(count - 1) : 0;
		samples[i] = (int16_t)lrint(samples[i] * (0.5 - 0.5 * cos(turn_whole / 2 * left)));
	}
}
