/* SPDX-License-Identifier: MIT */
/*
 * What each happening sounds like: a pattern of pitch and rhythm, as samples.
 *
 * Two people must be able to tell them apart: one who hears no pitch (old ears, a
 * small loudspeaker, a noisy shop), by the rhythm of short and long notes alone; and
 * one who minds no rhythm, by the pitches alone, for no two patterns have the same
 * notes within three semitones.  The patterns are ours.  What comes a hundred times
 * an hour is the shortest: `logged` is one short note.  Alarms are long, and three
 * notes or more.
 *
 * Pure: no device, no clock.  Samples are 16-bit signed, mono, TONE_RATE a second.
 * A note is a sine with a quarter of its octave (a small loudspeaker gives more of
 * the octave than of a low note itself; the zero crossings stay those of the sine),
 * and rises and falls over TONE_RAMP_MS, so that nothing clicks.
 */
#ifndef TALLY_CLIENT_TONES_H
#define TALLY_CLIENT_TONES_H

#include "client/happening.h"
#include "client/turn.h"

#include <stddef.h>
#include <stdint.h>

#define TONE_RATE 48000
#define TONE_RAMP_MS 8
/* Two lengths of notes, far enough apart for any ear: more than one to three. */
#define TONE_SHORT_MS 80
#define TONE_LONG_MS 280
/* Silence between two notes. */
#define TONE_GAP_MS 60
/* No pattern is longer: a sound may not lag behind the hands. */
#define TONE_MS_MAX 1000
#define TONE_NOTES_MAX 5
/* Room for the longest pattern. */
#define TONE_SAMPLES_MAX ((size_t)TONE_RATE * TONE_MS_MAX / 1000)

struct tone_note {
	int hertz; /* 0: no further note */
	int ms;
};

struct tone {
	const char *name;  /* what it says: "keeps moving" */
	const char *words; /* how it sounds: "one short high note" */
	enum turn_rank rank;
	int gain;          /* loudness beside the others, percent */
	struct tone_note note[TONE_NOTES_MAX];
};

/* The pattern of a happening; NULL for what is none. */
const struct tone *tone_of(enum happening what);
int tone_notes(const struct tone *t);
int tone_ms(const struct tone *t);

/*
 * The pattern as samples: returns how many there are, and writes the first `room` of
 * them.  `volume` 0 to 100 (what lies outside counts as the nearer end); 0 is silence
 * of the same length.  Loudness goes with the square of the volume, as ears do.
 */
size_t tone_render(const struct tone *t, int volume, int16_t *out, size_t room);

/* One note, `peak` of 32767 at its loudest, rising and falling as all do: `count` samples. */
void tone_note_render(double hertz, double peak, int16_t *out, size_t count);
/* The peak of a volume, 0 to 100 (what lies outside counts as the nearer end). */
double tone_peak(int volume);

/* Fade out what was cut off: the first `count` samples (at least 1) end at zero. */
void tone_fade(int16_t *samples, size_t count);

#endif
