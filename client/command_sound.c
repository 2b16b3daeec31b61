/* SPDX-License-Identifier: MIT */
/*
 * tally sound check: every sound once, with its name printed and spoken, so that the
 * person hears before the work begins whether it can be heard, and learns which is
 * which.
 */
#include "client/command_calls.h"

#include "client/ear.h"
#include "client/settings.h"
#include "client/tones.h"
#include "client/voice.h"
#include "protocol/record/text.h"

#include <string.h>
#include <time.h>

/* A tone and its name take no longer, whatever hangs. */
#define TONE_WAIT_MS 4000
#define NAME_WAIT_MS 20000
/* How often a pitch is fed: more often than SOUND_EAR_MS. */
#define EAR_FEED_MS 100
/* The tones, and the pitch of what is set by ear. */
#define SOUNDS (HAPPENING_COUNT + EAR_SAMPLES)

struct check {
	struct client *c;
	struct voice_setting setting;
	struct sound *sound;
	struct speech *speech;
	unsigned played, said;
};

static bool stopped(const struct client *c)
{
	return c->stop && *c->stop;
}

/* Wait in short pieces, so that Ctrl-C ends it. */
static void wait_quiet(struct check *k, int ms, bool (*idle)(struct check *k, int ms))
{
	for (int waited = 0; waited < ms && !stopped(k->c) && !idle(k, 20); waited += 20)
		;
}

static bool sound_quiet(struct check *k, int ms)
{
	return sound_idle(k->sound, ms);
}

static bool speech_quiet(struct check *k, int ms)
{
	return speech_idle(k->speech, ms);
}

/* What is wrong with device or speaker, as soon as it is known. */
static void notes(struct check *k)
{
	char note[512];
	while (sound_note(k->sound, note, sizeof note) || speech_note(k->speech, note, sizeof note))
		fprintf(k->c->err, "tally: %s\n", note);
}

static void tell(struct check *k, const char *sound, const char *pattern, const char *name,
                 bool played, bool said)
{
	char line[512];
	if (!client_has(k->c, OPTION_JSON)) {
		const char *missing = !played && !said ? " (neither heard nor spoken)"
		                      : !played        ? " (spoken alone)"
		                      : !said          ? " (not spoken)"
		                                       : "";
		if (k->c->style.plain)
			fprintf(k->c->out, "%s: %s%s\n", sound, pattern, missing);
		else
			fprintf(k->c->out, "%-16s %-36s%s\n", sound, pattern, missing);
		fflush(k->c->out);
		return;
	}
	struct text text;
	text_begin(&text, line, sizeof line);
	text_puts(&text, "{\"sound\":");
	text_string(&text, sound, strlen(sound));
	text_member_string(&text, "pattern", pattern);
	text_member_string(&text, "name", name);
	text_member_bool(&text, "played", played);
	text_member_bool(&text, "spoken", said);
	text_puts(&text, "}");
	client_json(k->c, (struct slice){text.bytes, text.len});
}

/* Was it said? */
static bool say_name(struct check *k, const char *name)
{
	struct turn_item item = {.rank = TURN_ALARM};
	unsigned before = speech_said(k->speech);
	snprintf(item.text, sizeof item.text, "%s", name);
	if (!stopped(k->c))
		speech_say(k->speech, &item);
	wait_quiet(k, NAME_WAIT_MS, speech_quiet);
	bool said = speech_said(k->speech) > before;
	k->said += said;
	return said;
}

static void one_sound(struct check *k, enum happening what)
{
	const struct tone *t = tone_of(what);
	const char *name = speech_name(k->setting.speech.speaker.language, what);
	unsigned before = sound_played(k->sound);
	sound_play(k->sound, what);
	wait_quiet(k, TONE_WAIT_MS, sound_quiet);
	bool played = sound_played(k->sound) > before, said = say_name(k, name);
	k->played += played;
	if (stopped(k->c))
		return;
	tell(k, t->name, t->words, name, played, said);
	notes(k);
}

/* What is set by ear has no end of its own: so long, fed as the bench feeds it. */
static void one_pitch(struct check *k, int sample)
{
	struct ear_sample ear = ear_sample(sample);
	const char *name = speech_ear_name(k->setting.speech.speaker.language, sample);
	bool played = false;
	for (int ms = 0; ms < EAR_SAMPLE_MS && !stopped(k->c); ms += EAR_FEED_MS) {
		sound_ear(k->sound, ear.hertz, ear.inside);
		nanosleep(&(struct timespec){0, EAR_FEED_MS * 1000000L}, NULL);
		played = sound_hears(k->sound);
		if (!played)
			break;
	}
	sound_ear(k->sound, 0, false);
	bool said = say_name(k, name);
	k->played += played;
	if (stopped(k->c))
		return;
	tell(k, ear.name, ear.words, name, played, said);
	notes(k);
}

static void summary(struct check *k)
{
	const struct voice_setting *v = &k->setting;
	if (v->sound.mute)
		fprintf(k->c->err, "tally: tones are muted in the settings ([sound] mute)\n");
	else if (v->sound.volume == 0)
		fprintf(k->c->err, "tally: the volume is 0 in the settings ([sound] volume)\n");
	if (v->speech.mute)
		fprintf(k->c->err, "tally: speech is muted in the settings ([speech] mute)\n");
	else if (v->speech.use == SPEECH_NONE)
		fprintf(k->c->err, "tally: speech is switched off in the settings ([speech] use)\n");
	if (client_has(k->c, OPTION_JSON) || stopped(k->c))
		return;
	fprintf(k->c->out, "%u of %d sounds and %u of %d names went out%s%s; what was not heard is too "
	        "quiet or comes out elsewhere\n", k->played, SOUNDS, k->said, SOUNDS,
	        speech_who(k->speech)[0] ? ", spoken by " : "",
	        speech_who(k->speech));
}

enum outcome call_sound_check(struct client *c)
{
	static struct settings settings; /* large */
	struct check k = {.c = c};
	struct fault why;
	/* A mistake in the file is said; the check goes on as without one. */
	enum outcome outcome = OUTCOME_DONE;
	if (!settings_load(&settings, &why))
		outcome = client_fault(c, OUTCOME_WRONG, &why);
	voice_setting_from(&settings, &k.setting);
	k.sound = sound_open(&k.setting.sound);
	k.speech = speech_open(&k.setting.speech);
	for (int what = 0; what < HAPPENING_COUNT && !stopped(c); what++)
		one_sound(&k, (enum happening)what);
	for (int sample = 0; sample < EAR_SAMPLES && !stopped(c); sample++)
		one_pitch(&k, sample);
	summary(&k);
	sound_close(k.sound);
	speech_close(k.speech);
	return outcome;
}
