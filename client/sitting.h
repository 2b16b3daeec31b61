/* SPDX-License-Identifier: MIT */
/*
 * A sitting at the bench: scene, connection and deeds, whichever way they are shown.
 *
 *     keys or words --> sitting_do --> calls --> daemon
 *     daemon --> scene --> happenings --> those who listen (sound, speech, --plain)
 *
 * What shows it (command_screen.c) gives a loop and hears when something changed.
 */
#ifndef TALLY_CLIENT_SITTING_H
#define TALLY_CLIENT_SITTING_H

#include "client/follow.h"
#include "client/keys.h"
#include "client/lines.h"
#include "client/scene.h"

struct sitting {
	uv_loop_t *loop;
	struct follow *follow;
	struct scene *scene;
	struct happening_list listeners; /* add to it before sitting_begin */
	void (*changed)(void *arg);      /* the scene is another; many times a second */
	void (*quit)(void *arg);         /* the person wants to leave */
	void *arg;
	/* Its own. */
	uv_timer_t ask_timer, remind_timer;
	unsigned asked;       /* SCENE_ASK_*: what has to be asked again */
	unsigned on_the_way;  /* ... and is */
	bool walk_tries_lift;
	bool mute_said; /* the daemon waits for names no more */
	struct deed typed;   /* that is on its way */
	struct sitting_photo *photo; /* that is on its way, NULL */
	struct deed photo_typed;
	struct sitting_again *again; /* a job that is being begun with the sheet of another, NULL */
	struct deed refused; /* the last one that was not done: typed again by its key */
	char instrument[SCENE_NAME]; /* that a value was typed from last */
	struct lines notes; /* that are being gathered, the newest first */
	int notes_pages;
	bool notes_on;
	bool speaks; /* names are said here: the daemon arms a position when its was */
};

/* Set loop, listeners, changed, quit and arg first; the rest zero.  False without memory. */
bool sitting_begin(struct sitting *s, const char *socket, const struct style *style);
/* The loop has to run once more behind it; then sitting_free. */
void sitting_end(struct sitting *s);
void sitting_free(struct sitting *s);

/* Milliseconds of the loop's clock. */
int64_t sitting_now(const struct sitting *s);

/* Do what the person asked for; what comes of it stands in the scene. */
void sitting_do(struct sitting *s, const struct deed *deed);
/* Names are said aloud here, or not any more; and that of this `up` was (0: of the one that
 * is up).  A daemon that does not know of names is not troubled. */
void sitting_speaks(struct sitting *s, bool speaks);
void sitting_announced(struct sitting *s, int64_t up);
/* Something was said in the scene: tell what happened, then show it. */
void sitting_changed(struct sitting *s);
/* For keys_press: names of this bench, what is likely, what can be understood. */
struct keys_guide sitting_guide(struct sitting *s);

#endif
