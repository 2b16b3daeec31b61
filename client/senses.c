/* SPDX-License-Identifier: MIT */
/* See senses.h. */
#include "client/senses.h"

#include "client/ear.h"
#include "client/tones.h"

#include <stdio.h>
#include <string.h>

/* What a device has to say is asked for so often. */
#define TICK_MS 500

void senses_listen(struct senses *e)
{
	struct voice_setting setting;
	if (!settings_load(&e->settings, &e->wrong) && !e->wrong.text[0])
		fault_set(&e->wrong, "the settings cannot be read");
	voice_setting_from(&e->settings, &setting);
	if (!e->words)
		setting.speech.use = SPEECH_NONE;
	e->volume = setting.sound.volume;
	e->volume_kept = true;
	e->checked = -1;
	e->voice = voice_open(&setting);
	if (e->voice)
		happening_listen(&e->sitting->listeners, voice_listener(e->voice));
}

/* Names that were said, and whether they are said at all: the daemon waits for them. */
static void heard(struct senses *e)
{
	char position[40];
	int64_t seq;
	/* A touch before its name makes no entry: so names are waited for only once it is
	 * shown that they are heard. */
	bool speaks = voice_speaks(e->voice) && voice_heard(e->voice);
	if (speaks != e->speaks) {
		e->speaks = speaks;
		sitting_speaks(e->sitting, speaks);
	}
	while (voice_announced(e->voice, position, &seq))
		sitting_announced(e->sitting, seq);
}

static void notes(struct senses *e)
{
	char text[300];
	while (voice_note(e->voice, text, sizeof text)) {
		scene_say(e->sitting->scene, sitting_now(e->sitting), SCENE_SAID, "%s", text);
		sitting_changed(e->sitting);
	}
}

static void on_said(uv_poll_t *poll, int status, int events)
{
	(void)events;
	if (status == 0)
		heard(poll->data);
	else
		uv_poll_stop(poll);
}

static void on_tick(uv_timer_t *timer)
{
	heard(timer->data);
	notes(timer->data);
}

/* ---- the foot switch ---- */

static void pedal_changed(struct senses *e)
{
	enum pedal_state state = pedal_state(e->pedal);
	bool bad = state == PEDAL_AWAY || state == PEDAL_TROUBLE;
	if (state == e->pedal_was || state == PEDAL_OFF || state == PEDAL_WAIT)
		return;
	e->pedal_was = state;
	scene_say(e->sitting->scene, sitting_now(e->sitting), bad ? SCENE_WARNING : SCENE_GOOD,
	          "foot switch: %s", pedal_words(e->pedal));
	sitting_changed(e->sitting);
}

static void on_pedal(void *arg, enum pedal_action action)
{
	static const enum action deeds[PEDAL_ACTIONS] = {
		[PEDAL_TAKE] = ACTION_TAKE,   [PEDAL_NEXT] = ACTION_NEXT, [PEDAL_BACK] = ACTION_BACK,
		[PEDAL_AGAIN] = ACTION_AGAIN, [PEDAL_SAY] = ACTION_SAY,   [PEDAL_UNDO] = ACTION_UNDO,
		[PEDAL_OTHER] = ACTION_OTHER, [PEDAL_NEW] = ACTION_AT,
	};
	struct senses *e = arg;
	if (action == PEDAL_STATE)
		pedal_changed(e);
	else if (action > PEDAL_NONE && action < PEDAL_ACTIONS)
		e->act(e->arg, &(struct deed){.action = deeds[action],
		                              .text = {action == PEDAL_NEW ? 'n' : '\0', 'e', 'w'}});
}

/* ---- a run ---- */

void senses_begin(struct senses *e)
{
	char text[1024];
	e->running = true;
	uv_timer_init(e->sitting->loop, &e->tick);
	e->tick.data = e->said.data = e;
	uv_timer_start(&e->tick, on_tick, 0, TICK_MS);
	uv_timer_init(e->sitting->loop, &e->check);
	e->check.data = e;
	int fd = voice_fd(e->voice);
	e->polls = fd >= 0 && uv_poll_init(e->sitting->loop, &e->said, fd) == 0;
	if (e->polls)
		uv_poll_start(&e->said, UV_READABLE, on_said);
	e->pedal = pedal_open(e->sitting->loop, &e->settings, on_pedal, e);
	if (e->wrong.text[0]) {
		fault_text(&e->wrong, text, sizeof text);
		scene_say(e->sitting->scene, sitting_now(e->sitting), SCENE_WARNING, "settings: %s", text);
	}
}

/* At the end, once: a file that is written with every press would be a nuisance. */
static void volume_keep(struct senses *e)
{
	char text[16];
	struct fault why;
	if (e->volume_kept || e->wrong.text[0])
		return;
	snprintf(text, sizeof text, "%d", e->volume);
	/* A folder that cannot be written is no reason not to end. */
	e->volume_kept = settings_set(&e->settings, "sound", "volume", text, &why);
}

void senses_end(struct senses *e)
{
	if (!e->running)
		return;
	e->running = false;
	if (e->pedal)
		pedal_close(e->pedal);
	e->pedal = NULL;
	uv_close((uv_handle_t *)&e->tick, NULL);
	uv_close((uv_handle_t *)&e->check, NULL);
	volume_keep(e);
	if (e->polls)
		uv_close((uv_handle_t *)&e->said, NULL);
}

void senses_free(struct senses *e)
{
	voice_close(e->voice);
	e->voice = NULL;
}

void senses_ear(struct senses *e)
{
	bool inside = false;
	double hertz = scene_ear(e->sitting->scene, sitting_now(e->sitting), &inside);
	e->tunes = hertz > 0;
	/* A sample of it goes on in the silence of the real one. */
	if (e->running && e->words && (e->tunes || e->checked <= HAPPENING_COUNT))
		voice_ear(e->voice, hertz, inside);
}

void senses_mute(struct senses *e)
{
	bool mute = !voice_muted(e->voice);
	voice_mute(e->voice, mute);
	if (mute && e->checked >= 0)
		senses_check(e); /* nothing more would be heard */
	scene_say(e->sitting->scene, sitting_now(e->sitting), mute ? SCENE_WARNING : SCENE_SAID,
	          mute ? "sound and speech are off" : "sound and speech are on");
	heard(e);
	sitting_changed(e->sitting);
}

static void say(struct senses *e, enum scene_weight weight, const char *text)
{
	scene_say(e->sitting->scene, sitting_now(e->sitting), weight, "%s", text);
	sitting_changed(e->sitting);
}

void senses_volume(struct senses *e, int by)
{
	char text[100];
	int volume = e->volume + by;
	volume = volume < 0 ? 0 : volume > 100 ? 100 : volume;
	e->volume_kept = e->volume_kept && volume == e->volume;
	e->volume = volume;
	voice_volume(e->voice, volume);
	snprintf(text, sizeof text, "the tones have %d %%%s", volume,
	         !voice_tones(e->voice) ? ", and are off" : volume ? "" : ": they are silent");
	voice_sample(e->voice, HAPPENED_LOGGED);
	say(e, SCENE_SAID, text);
}

/* ---- the sound check ---- */

/* Looked so often whether the one before was heard to its end; a tone and its name take
 * no longer than this, whatever hangs. */
#define CHECK_MS 400
#define CHECK_LEAST 4
#define CHECK_LONGEST 15
/* The tones, and the pitch of what is set by ear. */
#define CHECK_SOUNDS (HAPPENING_COUNT + EAR_SAMPLES)

static void check_tell(struct senses *e, const char *name, const char *words)
{
	char text[160];
	snprintf(text, sizeof text, "sound %d of %d, %s: %s", e->checked, CHECK_SOUNDS, name, words);
	say(e, SCENE_SAID, text);
}

/* The pitch of a `tune`, in pieces of CHECK_MS, then its name: false while it goes on.  Where one
 * is really set, that is what is heard. */
static bool check_pitch(struct senses *e)
{
	int sample = e->checked - 1 - HAPPENING_COUNT;
	if (sample < 0 || e->check_pitches == EAR_SAMPLE_MS / CHECK_MS + 1)
		return true;
	if (e->check_pitches++ == EAR_SAMPLE_MS / CHECK_MS)
		voice_ear_sampled(e->voice, sample);
	else if (!e->tunes)
		voice_ear_sample(e->voice, sample);
	return false;
}

static void on_check(uv_timer_t *timer)
{
	struct senses *e = timer->data;
	if (!check_pitch(e))
		return;
	/* Only into silence, so that a sample swallows no name and no verdict; and slow
	 * enough to be read, where nothing is heard. */
	int waits = voice_idle(e->voice, 0) ? CHECK_LEAST : CHECK_LONGEST;
	if (e->checked && ++e->check_waits < waits)
		return;
	e->check_waits = 0;
	if (e->checked >= CHECK_SOUNDS) {
		uv_timer_stop(timer);
		e->checked = -1;
		say(e, SCENE_SAID, "that was every sound; what was not heard is too quiet or comes out "
		    "elsewhere");
		return;
	}
	int which = e->checked++;
	if (which >= HAPPENING_COUNT) {
		struct ear_sample ear = ear_sample(which - HAPPENING_COUNT);
		e->check_pitches = 0;
		check_tell(e, ear.name, ear.words);
		check_pitch(e);
		return;
	}
	const struct tone *t = tone_of((enum happening)which);
	voice_sample(e->voice, (enum happening)which);
	check_tell(e, t->name, t->words);
}

void senses_check(struct senses *e)
{
	if (e->checked >= 0) {
		uv_timer_stop(&e->check);
		voice_ear(e->voice, 0, false);
		e->checked = -1;
		say(e, SCENE_SAID, "the sound check ends here");
		return;
	}
	if (voice_muted(e->voice)) {
		say(e, SCENE_WARNING, "sound and speech are off: z turns them on");
		return;
	}
	e->checked = e->check_waits = 0;
	uv_timer_start(&e->check, on_check, 0, CHECK_MS);
}

bool senses_say_again(struct senses *e)
{
	return e->words && voice_say_again(e->voice);
}

bool senses_colour(const struct senses *e, bool otherwise)
{
	const char *colour = settings_get(&e->settings, "screen", "colour");
	return !colour || strcmp(colour, "auto") == 0 ? otherwise : strcmp(colour, "yes") == 0;
}
