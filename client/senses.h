/* SPDX-License-Identifier: MIT */
/*
 * Ears and feet of a sitting: sound, speech and the foot switch, as the person's settings
 * want them.  What is missing is a note on the screen, and everything goes on.
 *
 *     happenings --> voice --> tones, words --> "this name was said" --> daemon
 *     foot switch --> deeds
 */
#ifndef TALLY_CLIENT_SENSES_H
#define TALLY_CLIENT_SENSES_H

#include "client/pedal.h"
#include "client/sitting.h"
#include "client/voice.h"

struct senses {
	/* Set by the caller. */
	struct sitting *sitting;
	bool words; /* false: no speech, for what is printed is read aloud by another program */
	void (*act)(void *arg, const struct deed *deed); /* a press of the foot switch */
	void *arg;
	/* Its own. */
	struct settings settings;
	struct fault wrong; /* with the settings; text "" for nothing */
	struct voice *voice;
	struct pedal *pedal;
	uv_poll_t said;
	uv_timer_t tick;
	bool running, polls, speaks;
	enum pedal_state pedal_was;
	int volume;       /* of the tones now, percent */
	bool volume_kept; /* the settings have it, too */
	uv_timer_t check; /* the sound check: the next of them */
	int check_waits;
	int check_pitches; /* pieces of a pitch that were heard */
	bool tunes;        /* a pitch is really to be heard */
	int checked;      /* how many were heard; -1: none goes on */
};

/* Read the settings and listen; before sitting_begin. */
void senses_listen(struct senses *e);
/* Begin; after sitting_begin. */
void senses_begin(struct senses *e);
/* Let go of everything; the loop has to run once more behind it, then senses_free. */
void senses_end(struct senses *e);
void senses_free(struct senses *e);

/* The pitch of a `tune`, with every change of the scene; where what is printed is read aloud
 * by another program (`words` false) its words are enough. */
void senses_ear(struct senses *e);
void senses_mute(struct senses *e); /* and back again */
/* Louder or quieter by so many percent, heard at once; the settings keep it at the end. */
void senses_volume(struct senses *e, int by);
/* Every sound once, with its name on the screen and spoken; a second call ends it.  What
 * happens meanwhile is heard before it. */
void senses_check(struct senses *e);
bool senses_say_again(struct senses *e); /* false: nobody speaks */
/* [screen] colour, where it says more than `auto`. */
bool senses_colour(const struct senses *e, bool otherwise);

#endif
