/* SPDX-License-Identifier: MIT */
/*
 * Ears for the technician: each happening as a tone and, where a tone does not say
 * enough, in words.  What sounds how stands in tones.h, what is said in speech_words.h,
 * what cuts off what in turn.h.
 *
 * `logged` is a promise: the record is on the disk.  So voice_happened may be told of
 * LOGGED, OUTSIDE and UNSURE only after the daemon's event `logged`, or with an entry
 * record itself, which are both sent after the commit and never before; of an answer to a
 * call that was not waited for, never.
 *
 * All calls belong to one thread and return at once.  What is missing (no audio device, no
 * speaker) is a note, and everything goes on.
 */
#ifndef TALLY_CLIENT_VOICE_H
#define TALLY_CLIENT_VOICE_H

#include "client/happening.h"
#include "client/settings.h"
#include "client/sound.h"
#include "client/speech.h"

struct voice;

struct voice_setting {
	struct sound_setting sound;
	struct speech_setting speech;
};

/* From the sections [sound] and [speech] of the person's settings.  Points into them. */
void voice_setting_from(const struct settings *settings, struct voice_setting *out);

/* NULL without memory; every other function takes NULL and does nothing. */
struct voice *voice_open(const struct voice_setting *setting);

/* Something happened: play and say it.  `told` is used during the call only. */
void voice_happened(struct voice *v, const struct happening_told *told);
/* The same as a listener of happening.h. */
struct happening_listener voice_listener(struct voice *v);

/* The pitch of a `tune` (ear.h), as often as it changes or stands, at least every
 * SOUND_EAR_MS; 0: silence.  It is silent while words are said, and what happens goes first. */
void voice_ear(struct voice *v, double hertz, bool inside);

/* Say the last result in full (position, value, verdict, within as well), and what is
 * up.  False where there is nothing yet, or nobody speaks. */
bool voice_say_again(struct voice *v);

/* Tones and speech, both, until told otherwise; at first as the settings say.  What was
 * muted there alone (the tones, or the speech) stays so. */
void voice_mute(struct voice *v, bool mute);
bool voice_muted(const struct voice *v);
/* Are the tones on, by settings and by key? */
bool voice_tones(const struct voice *v);

/* For a sound check: this tone, and its name in words. */
void voice_sample(struct voice *v, enum happening what);
/* The pitch of a `tune` (ear_sample) instead, as voice_ear: at least every SOUND_EAR_MS; and at
 * its end its name, which makes it silent. */
void voice_ear_sample(struct voice *v, int sample);
void voice_ear_sampled(struct voice *v, int sample);

/* Loudness of the tones from the next one on, 0 to 100. */
void voice_volume(struct voice *v, int volume);

/*
 * For whoever tells the daemon which names were said (the next position arms only after
 * that): see speech.h.  voice_speaks says whether names are said at all, and
 * voice_announced gives each name that was said to its end, by the position and seq that
 * HAPPENED_UP came with.
 */
int voice_fd(const struct voice *v);
bool voice_speaks(struct voice *v);
/* Was anything said to its end?  A machine without a loudspeaker may have all the
 * programs: before that nobody should wait for names. */
bool voice_heard(struct voice *v);
bool voice_announced(struct voice *v, char position[40], int64_t *seq);

/* What a person should know about device or speaker, one sentence, once each.  A note about
 * the device does not make voice_fd readable: ask with every tick. */
bool voice_note(struct voice *v, char *out, size_t size);

/* Wait up to `ms` until all was heard. */
bool voice_idle(struct voice *v, int ms);

void voice_close(struct voice *v);

#endif
