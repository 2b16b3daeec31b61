/* SPDX-License-Identifier: MIT */
/*
 * A value against its target, by ear: figures of notes that follow each other without end.
 * Where the pitch goes says protocol/guide/guide.h (guide_tune_ear), and how long the notes are:
 * beyond the limits one long note, inside them two short ones and a rest, so that whoever hears
 * no pitch hears that.
 *
 * Pure; samples as in tones.h.
 */
#ifndef TALLY_CLIENT_EAR_H
#define TALLY_CLIENT_EAR_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* After the two short notes, beside their own gap: so that they are a pair. */
#define EAR_REST_MS 120
/* Softer than the tones of what happens, percent: it goes on for minutes. */
#define EAR_GAIN 50

/* What no loudspeaker gives is no pitch. */
#define EAR_HERTZ_LEAST 20.0
#define EAR_HERTZ_MOST 12000.0

/* One figure and the silence behind it: returns how many samples there are, and writes them
 * where `room` is enough (else none: 0).  What is no pitch is 0 samples. */
size_t ear_render(double hertz, bool inside, int volume, int16_t *out, size_t room);

/* For a sound check: what a `tune` sounds like below its target, on it, and above. */
#define EAR_SAMPLES 3
#define EAR_SAMPLE_MS 1500 /* so long each: several figures */
struct ear_sample {
	const char *name, *words; /* as those of a tone (tones.h) */
	double hertz;
	bool inside;
};
/* `which` 0 to EAR_SAMPLES - 1. */
struct ear_sample ear_sample(int which);

#endif
