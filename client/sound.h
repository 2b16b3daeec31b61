/* SPDX-License-Identifier: MIT */
/*
 * Tones through ALSA, on a thread of their own.
 *
 * A device that hangs, is unplugged or was never there must not hold the client for
 * a moment: every call here returns at once (sound_close within about a second).  What
 * waits is bounded (turn.h): the newest result wins, alarms queue and cut off what is
 * no alarm, and a tone that would come more than SOUND_LATE_MS late is not played at
 * all, for a late `logged` is a wrong one.
 *
 * No audio device is no failure: sound_note says so once, tones are dropped, and the
 * device is tried again, at most every SOUND_RETRY_MS, with the next tone.  A device
 * that goes away while it plays is opened anew at once, so that a tone goes on at
 * whatever is the default then.  It is let go after SOUND_KEEP_MS of silence.
 *
 * Built without ALSA (pkg-config had no alsa), the note says that.
 */
#ifndef TALLY_CLIENT_SOUND_H
#define TALLY_CLIENT_SOUND_H

#include "client/happening.h"

#include <stdbool.h>
#include <stddef.h>

#define SOUND_LATE_MS 1500
#define SOUND_RETRY_MS 1000
#define SOUND_KEEP_MS 10000
/* Between two tones, so that they are two: longer than the gap between notes. */
#define SOUND_PAUSE_MS 150

struct sound;

struct sound_setting {
	const char *device; /* an ALSA name; NULL or "": default */
	int volume;         /* 0 to 100 */
	bool mute;
};

/* NULL without memory or a thread; every other function takes NULL and does nothing. */
struct sound *sound_open(const struct sound_setting *setting);

/* Play the tone of a happening, when its turn comes. */
void sound_play(struct sound *s, enum happening what);

/*
 * The pitch of what is set by ear (ear.h), over and over, until it is told otherwise; 0 is
 * silence.  The newest wins: what changed is heard within SOUND_EAR_LATE_MS.  Every tone goes
 * before it and cuts it off, and so do mute and volume 0.  Told nothing for SOUND_EAR_MS it is
 * silent, for a pitch that stands says that nothing moves.  It does not count as playing
 * for sound_idle and sound_played.
 */
#define SOUND_EAR_MS 500
#define SOUND_EAR_LATE_MS 600
void sound_ear(struct sound *s, double hertz, bool inside);
/* Is such a pitch heard, as far as is known? */
bool sound_hears(struct sound *s);

/* From the next tone on. */
void sound_volume(struct sound *s, int volume);
/* Muted: what plays is cut off, what waits is forgotten, nothing new is played. */
void sound_mute(struct sound *s, bool mute);

/* Wait up to `ms` until nothing plays and nothing waits; false where something does. */
bool sound_idle(struct sound *s, int ms);

/* Is a tone heard, as far as is known: not muted, not at volume 0, and no device that is
 * missing? */
bool sound_sounds(struct sound *s);

/* Tones that were really played to their end. */
unsigned sound_played(struct sound *s);

/* What a person should know about the device and was not told yet: one sentence.
 * False where there is nothing new. */
bool sound_note(struct sound *s, char *out, size_t size);

/* What waits is not played any more.  A thread that hangs in the device is left behind:
 * it frees what is its own if it ever comes back. */
void sound_close(struct sound *s);

#endif
