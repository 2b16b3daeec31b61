/* SPDX-License-Identifier: MIT */
/* See voice.h. */
#include "client/voice.h"

#include "client/ear.h"
#include "client/tones.h"
#include "client/words.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Between a tone and its words. */
#define AFTER_TONE_MS 60

struct voice {
	struct sound *sound;
	struct speech *speech;
	enum language language;
	bool sound_mute, speech_mute; /* as the settings say */
	bool mute;
	/* For `say again`: the last result in full, and what is up. */
	char result[TURN_TEXT], up[TURN_TEXT];
	char position[40];
	int64_t seq;
};

void voice_setting_from(const struct settings *settings, struct voice_setting *out)
{
	enum language language = LANGUAGE_EN;
	enum speech_use use = SPEECH_AUTO;
	language_from_name(settings_get(settings, "speech", "language"), &language);
	speech_use_from_name(settings_get(settings, "speech", "use"), &use);
	*out = (struct voice_setting){
		.sound = {.device = settings_get(settings, "sound", "device"),
		          .volume = settings_number(settings, "sound", "volume"),
		          .mute = settings_yes(settings, "sound", "mute")},
		.speech = {.use = use,
		           .speaker = {.language = language,
		                       .rate = settings_number(settings, "speech", "rate"),
		                       .volume = settings_number(settings, "speech", "volume")},
		           .mute = settings_yes(settings, "speech", "mute")}};
}

struct voice *voice_open(const struct voice_setting *setting)
{
	struct voice *v = calloc(1, sizeof *v);
	if (!v)
		return NULL;
	v->language = setting->speech.speaker.language;
	v->sound_mute = setting->sound.mute;
	v->speech_mute = setting->speech.mute;
	/* Either may be missing: then the other does what it can. */
	v->sound = sound_open(&setting->sound);
	v->speech = speech_open(&setting->speech);
	return v;
}

static bool is_result(enum happening what)
{
	switch (what) {
	case HAPPENED_LOGGED:
	case HAPPENED_OUTSIDE:
	case HAPPENED_UNSURE:
	case HAPPENED_HELD:
	case HAPPENED_REFUSED:
	case HAPPENED_MOVING:
	case HAPPENED_DOUBT:
	case HAPPENED_NOT_LOGGED:
		return true;
	case HAPPENED_GONE:
	case HAPPENED_BACK:
	case HAPPENED_STALE:
	case HAPPENED_UP:
	case HAPPENED_GUIDE:
	case HAPPENED_LIVE:
	case HAPPENED_COLD:
	case HAPPENED_ALARM:
	case HAPPENED_DISAGREE:
		break;
	}
	return false;
}

void voice_happened(struct voice *v, const struct happening_told *told)
{
	const struct tone *tone = tone_of(told->what);
	if (!v || !tone)
		return;
	if (told->ear && sound_hears(v->sound))
		return; /* the pitch says it */
	struct turn_item item = {.rank = tone->rank, .what = told->what};
	sound_play(v->sound, told->what);
	/* The tone first: over it the name would not be understood. */
	if (sound_sounds(v->sound))
		item.wait_ms = tone_ms(tone) + AFTER_TONE_MS;
	speech_happening(v->language, told, false, item.text, sizeof item.text);
	if (told->what == HAPPENED_UP) {
		snprintf(item.position, sizeof item.position, "%s", told->position ? told->position : "");
		item.seq = told->seq;
		memcpy(v->up, item.text, sizeof v->up);
		memcpy(v->position, item.position, sizeof v->position);
		v->seq = told->seq;
	}
	/* It cuts off the name, and says it: touched too early, that is enough to know what is up. */
	if (told->what == HAPPENED_REFUSED && item.text[0] && told->position && v->position[0] &&
	    strcmp(told->position, v->position) == 0) {
		memcpy(item.position, v->position, sizeof item.position);
		item.seq = v->seq;
	}
	if (is_result(told->what))
		speech_happening(v->language, told, true, v->result, sizeof v->result);
	speech_say(v->speech, &item);
}

static void heard(void *arg, const struct happening_told *told)
{
	voice_happened(arg, told);
}

struct happening_listener voice_listener(struct voice *v)
{
	return (struct happening_listener){heard, v};
}

void voice_ear(struct voice *v, double hertz, bool inside)
{
	if (v)
		sound_ear(v->sound, speech_idle(v->speech, 0) ? hertz : 0, inside);
}

bool voice_say_again(struct voice *v)
{
	if (!v || !speech_speaks(v->speech) || (!v->result[0] && !v->up[0]))
		return false;
	/* It was asked for: it comes before what waits, and a newer result cuts it off. */
	struct turn_item item = {.rank = TURN_RESULT, .what = HAPPENED_UP, .seq = v->seq};
	memcpy(item.position, v->position, sizeof item.position);
	/* Half the room each, cut at a character. */
	words_clean(v->result, strlen(v->result), item.text, TURN_TEXT / 2);
	if (v->result[0] && v->up[0])
		strcat(item.text, ". ");
	size_t n = strlen(item.text);
	words_clean(v->up, strlen(v->up), item.text + n, sizeof item.text - n);
	speech_say(v->speech, &item);
	return true;
}

void voice_mute(struct voice *v, bool mute)
{
	if (!v)
		return;
	v->mute = mute;
	sound_mute(v->sound, mute || v->sound_mute);
	speech_mute(v->speech, mute || v->speech_mute);
}

void voice_volume(struct voice *v, int volume)
{
	if (v)
		sound_volume(v->sound, volume);
}

void voice_sample(struct voice *v, enum happening what)
{
	const struct tone *tone = tone_of(what);
	if (!v || !tone)
		return;
	/* Of the lowest rank: whatever happens meanwhile is heard before it. */
	struct turn_item item = {.rank = TURN_NAME, .what = what};
	sound_play(v->sound, what);
	if (sound_sounds(v->sound))
		item.wait_ms = tone_ms(tone) + AFTER_TONE_MS;
	snprintf(item.text, sizeof item.text, "%s", speech_name(v->language, what));
	speech_say(v->speech, &item);
}

void voice_ear_sample(struct voice *v, int sample)
{
	struct ear_sample ear = ear_sample(sample);
	if (v)
		sound_ear(v->sound, ear.hertz, ear.inside);
}

void voice_ear_sampled(struct voice *v, int sample)
{
	struct turn_item item = {.rank = TURN_NAME};
	if (!v)
		return;
	sound_ear(v->sound, 0, false);
	snprintf(item.text, sizeof item.text, "%s", speech_ear_name(v->language, sample));
	speech_say(v->speech, &item);
}

bool voice_muted(const struct voice *v)
{
	return v && v->mute;
}

bool voice_tones(const struct voice *v)
{
	return v && !v->mute && !v->sound_mute;
}

int voice_fd(const struct voice *v)
{
	return v ? speech_fd(v->speech) : -1;
}

bool voice_speaks(struct voice *v)
{
	return v && speech_speaks(v->speech);
}

bool voice_heard(struct voice *v)
{
	return v && speech_said(v->speech) > 0;
}

bool voice_announced(struct voice *v, char position[40], int64_t *seq)
{
	return v && speech_announced(v->speech, position, seq);
}

bool voice_note(struct voice *v, char *out, size_t size)
{
	return v && (sound_note(v->sound, out, size) || speech_note(v->speech, out, size));
}

bool voice_idle(struct voice *v, int ms)
{
	return !v || (sound_idle(v->sound, ms) && speech_idle(v->speech, ms));
}

void voice_close(struct voice *v)
{
	if (!v)
		return;
	sound_close(v->sound);
	speech_close(v->speech);
	free(v);
}
