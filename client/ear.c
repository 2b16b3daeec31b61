/* SPDX-License-Identifier: MIT */
/* See ear.h. */
#include "client/ear.h"

#include "client/tones.h"
#include "protocol/guide/guide.h"

#include <string.h>

static size_t samples(int ms)
{
	return (size_t)TONE_RATE * (size_t)ms / 1000;
}

size_t ear_render(double hertz, bool inside, int volume, int16_t *out, size_t room)
{
	struct guide_ear like = guide_tune_ear(inside ? 0 : 2); /* for its rhythm alone */
	size_t note = samples(like.ms), gap = samples(like.gap_ms), rest = inside ? samples(EAR_REST_MS) : 0;
	size_t all = (size_t)like.notes * (note + gap) + rest;
	if (!(hertz >= EAR_HERTZ_LEAST && hertz <= EAR_HERTZ_MOST) || all > room)
		return 0;
	memset(out, 0, all * sizeof *out);
	for (int i = 0; i < like.notes; i++)
		tone_note_render(hertz, tone_peak(volume) * EAR_GAIN / 100, out + (size_t)i * (note + gap), note);
	return all;
}

struct ear_sample ear_sample(int which)
{
	/* Far enough off that nobody mistakes them for the target's pitch: most of an octave. */
	static const struct { double toward; const char *name, *words; } table[EAR_SAMPLES] = {
		{-4, "tune, below", "long low notes, on and on"},
		{0, "tune, in limits", "pairs of short notes, on and on"},
		{4, "tune, above", "long high notes, on and on"},
	};
	struct guide_ear ear = guide_tune_ear(table[which].toward);
	return (struct ear_sample){table[which].name, table[which].words, ear.hertz, ear.inside};
}
