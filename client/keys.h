/* SPDX-License-Identifier: MIT */
/*
 * What the person can do in `tally bench`, by key and by word: one table for both
 * screens, for the line of keys and for the list of them.
 *
 * Lower-case letters act at once.  A capital or a digit begins the name of a position,
 * for that is how positions are called: `C8` Enter.  What has no meter, no name and no
 * button (a note, a typed entry, a reason) is typed on one line, which stops nothing:
 * touches are logged, the pedal acts and the walk goes on meanwhile.
 *
 * Pure: a key and what was typed so far go in, a deed comes out.
 */
#ifndef TALLY_CLIENT_KEYS_H
#define TALLY_CLIENT_KEYS_H

#include "client/prompt.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* id, key (as it is pressed), key as it is shown, word of --plain, what is typed after
 * it (NULL: nothing), label, what it does (at most 24 characters: the list must fit).
 * The list shows them in this order, down the columns; the line of keys as far as it
 * goes. */
#define ACTION_LIST(X)                                                                       \
	X(TAKE, ' ', "space", "take", NULL, "take", "log it as it stands")                   \
	X(UNDO, 'u', "u", "undo", NULL, "undo", "last entry doesn't count")                  \
	X(NEXT, 'n', "n", "next", NULL, "next", "next without an entry")                     \
	X(BACK, 'b', "b", "back", NULL, "back", "the position before")                       \
	X(AGAIN, 'm', "m", "again", NULL, "again", "measure this one again")                 \
	X(OTHER, 'o', "o", "other", NULL, "other", "held: it is the other")                  \
	X(SAY, 's', "s", "say", NULL, "say", "say again what is up")                         \
	X(AT, 'g', "C8", "at", "POSITION", "position", "type it; Tab completes")             \
	X(QUANTITY, 'v', "v", "quantity", NULL, "quantity", "value, leakage, esr ...")       \
	X(REACH, 'r', "r", "reach", NULL, "reach", "in-circuit lifted loose")                \
	X(CONDITION, 'c', "c", "condition", NULL, "condition", "found, new, done")           \
	X(WALK, 'w', "w", "walk", NULL, "walk", "off, on, or what to lift")                  \
	X(ORDER, 'd', "d", "order", NULL, "order", "by kind ...; # meters")                \
	X(METERS, '#', "#", "meters", NULL, "meters", "so many at each position")            \
	X(SHEET, 'a', "a", "sheet", NULL, "sheet", "all of it, what is done")                \
	X(TWINS, '&', "&", "twins", NULL, "twins", "proposed by equal value")                \
	X(NOTE, 't', "t", "note", "TEXT", "note", "on this position")                        \
	X(NOTES, '"', "\"", "notes", NULL, "notes", "all of the job")                        \
	X(PHOTO, '@', "@", "photo", "FILE WHAT IT SHOWS", "photo", "and what it shows")      \
	X(ENTER, 'e', "e", "enter", "POSITION VALUE from INSTRUMENT", "enter",               \
	  "type what has no line")                                                          \
	X(MOVE, 'p', "p", "move", "WHICH POSITION", "move", "entries, where they fit")       \
	X(STRIKE, 'x', "x", "strike", "REASON", "strike", "an entry, with a reason")         \
	X(SWAPPED, '/', "/", "swapped", NULL, "swapped", "again, leads changed")             \
	X(OFFSET, 'f', "f", "offset", "short or open", "offset", "of the leads")             \
	X(CHECK, 'h', "h", "check", "METER POSITION", "check", "a meter, by a reference")    \
	X(BIND, 'i', "i", "bind", "METER POSITION", "bind", "a meter to a position")         \
	X(LINE, 'j', "j", "line", "LINE", "line", "sheet, fit, valve, unit")                 \
	X(RISE, '!', "!", "ready", NULL, "ready", "is it, for the power?")                   \
	X(FITTED, '.', ".", "fitted", "POSITIONS", "fitted", "no leg is up, it is in")       \
	X(GO, '>', ">", "go", NULL, "run", "guided: on, back, leave")                        \
	X(GO_BACK, '<', "<", "go back", NULL, "step back", "guided run: once more")          \
	X(LEAVE, '*', "*", "leave", NULL, "leave", "the guided run as it is")                \
	X(LIVE, 'l', "l", "live", NULL, "live", "volts on; cautions first")                  \
	X(COLD, 'k', "k", "cold", NULL, "cold", "measure reservoirs dead")                   \
	X(MUTE, 'z', "z", "mute", NULL, "mute", "sound and speech off, on")                  \
	X(LOUDER, '+', "+", "louder", NULL, "louder", "the tones")                           \
	X(QUIETER, '-', "-", "quieter", NULL, "quieter", "the tones")                        \
	X(SOUNDS, 'y', "y", "sounds", NULL, "sounds", "each once, with its name")            \
	X(STATUS, '=', "=", "status", NULL, "status", "how things stand, once")              \
	X(HELP, '?', "?", "help", NULL, "all keys", "this list")                             \
	X(QUIT, 'q', "q", "quit", NULL, "quit", "the daemon goes on")

enum action {
	ACTION_NONE,
#define X(id, key, shown, word, typed, label, help) ACTION_##id,
	ACTION_LIST(X)
#undef X
	    ACTION_COUNT
};

struct action_row {
	int key;
	const char *shown, *word, *typed, *label, *help;
};
/* Row 0 is empty. */
extern const struct action_row action_table[ACTION_COUNT];

/* What the person has to type, in one sentence, "" where nothing is. */
const char *keys_asks(enum action action);

#define KEYS_TEXT_MAX PROMPT_MAX
#define KEYS_ABOUT 40
#define KEYS_HINT 240

enum keys_mode {
	KEYS_ACT,     /* a key acts */
	KEYS_TYPE,    /* something is typed: what for says `asked` */
	KEYS_CONFIRM, /* the cautions stand: y does it, any other key does not */
	KEYS_LOOK,    /* the list of keys, the whole sheet, notes, twins, or what stands before
	               * the power: any key takes it away */
};

struct keys {
	enum keys_mode mode;
	enum action asked;
	struct prompt line; /* what is typed */
	/* As it was when typing began, for the bench goes on meanwhile: the position that
	 * a note is about, and the newest entry, from which `last` counts. */
	char about[KEYS_ABOUT];
	int64_t seq;
	char hint[KEYS_HINT]; /* names that would complete it, or what is wrong with it */
};

/* What is to be done. */
struct deed {
	enum action action;
	char text[KEYS_TEXT_MAX];
	char about[KEYS_ABOUT]; /* as in struct keys; "" and 0: as things are now */
	int64_t seq;
};

/* Who knows the bench, for what is typed.  Each may be NULL. */
struct keys_guide {
	/* Typing begins: put what is likely into `line`, and set about and seq. */
	void (*begin)(void *arg, struct keys *k);
	/* Tab: lengthen the word before the cursor as far as the names agree that begin
	 * with it; where there are several, they become the hint. */
	void (*complete)(void *arg, struct keys *k);
	/* Enter: can it be done?  False with the reason as the hint; typing goes on. */
	bool (*good)(void *arg, struct keys *k);
	void *arg;
};

/*
 * A key: a byte of UTF-8 or one of KEY_IS_*.  True where a deed is to be done.
 * `guide` may be NULL.
 */
bool keys_press(struct keys *k, int key, const struct keys_guide *guide, struct deed *out);

/* A line of --plain: "take", "at C8", "C8", "note smells burnt", "reach lifted".  False
 * with a sentence where it means nothing. */
bool keys_line(const char *line, struct deed *out, char *why, size_t size);

#endif
