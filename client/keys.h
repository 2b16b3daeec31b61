/* SPDX-License-Identifier: MIT */
/*
 * What the person can do in `tally bench`, by key and by word: one table for both
 * screens, for the line of keys and for the list of them.
 *
 * Lower-case letters act at once.  A capital or a digit begins the name of a position,
 * for that is how positions are called: `C8` Enter.  Nothing else has to be typed.
 *
 * Pure: a key and what was typed so far go in, a deed comes out.
 */
#ifndef TALLY_CLIENT_KEYS_H
#define TALLY_CLIENT_KEYS_H

#include <stdbool.h>
#include <stddef.h>

/* id, key (as it is pressed), key as it is shown, word of --plain, what is typed after
 * it (NULL: nothing), label, what it does (at most 24 characters: the list must fit) */
#define ACTION_LIST(X)                                                                       \
	X(TAKE, ' ', "space", "take", NULL, "take", "log it as it stands")                   \
	X(UNDO, 'u', "u", "undo", NULL, "undo", "last entry doesn't count")                  \
	X(NEXT, 'n', "n", "next", NULL, "next", "next without an entry")                     \
	X(BACK, 'b', "b", "back", NULL, "back", "the position before")                       \
	X(AGAIN, 'm', "m", "again", NULL, "again", "measure this one again")                 \
	X(SAY, 's', "s", "say", NULL, "say", "say again what is up")                         \
	X(OTHER, 'o', "o", "other", NULL, "other", "held: it is the other")                  \
	X(AT, 'g', "C8", "at", "POSITION", "position", "type it; Tab completes")             \
	X(REACH, 'r', "r", "reach", NULL, "reach", "in-circuit lifted loose")                \
	X(CONDITION, 'c', "c", "condition", NULL, "condition", "found, new, done")           \
	X(WALK, 'w', "w", "walk", NULL, "walk", "go on by itself, or not")                   \
	X(QUANTITY, 'v', "v", "quantity", NULL, "quantity", "value, leakage, esr ...")       \
	X(NOTE, 't', "t", "note", "TEXT", "note", "on this position")                        \
	X(STRIKE, 'x', "x", "strike", "REASON", "strike", "the last, with a reason")         \
	X(LIVE, 'l', "l", "live", NULL, "live", "volts on; cautions first")                  \
	X(COLD, 'k', "k", "cold", NULL, "cold", "reservoirs measured dead")                  \
	X(MUTE, 'z', "z", "mute", NULL, "mute", "sound and speech off, on")                      \
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

#define KEYS_TEXT_MAX 400

/* Keys that are no character. */
enum { KEY_IS_ENTER = '\r', KEY_IS_ESCAPE = 27, KEY_IS_TAB = '\t', KEY_IS_RUBOUT = 127 };

enum keys_mode {
	KEYS_ACT,     /* a key acts */
	KEYS_TYPE,    /* something is typed: what for says `asked` */
	KEYS_CONFIRM, /* the cautions stand: Enter does it, any other key does not */
	KEYS_LOOK,    /* the list of keys stands: any key takes it away */
};

struct keys {
	enum keys_mode mode;
	enum action asked;
	char text[KEYS_TEXT_MAX]; /* UTF-8 */
	size_t len;
};

/* What is to be done. */
struct deed {
	enum action action;
	char text[KEYS_TEXT_MAX];
};

/*
 * A key: a byte of UTF-8 or one of KEY_IS_*.  `complete` is asked for the names that
 * begin with what was typed: it lengthens `text` as far as they agree.  May be NULL.
 * True where a deed is to be done.
 */
bool keys_press(struct keys *k, int key, void (*complete)(void *arg, char *text, size_t size),
                void *arg, struct deed *out);

/* A line of --plain: "take", "at C8", "C8", "note smells burnt", "reach lifted".  False
 * with a sentence where it means nothing. */
bool keys_line(const char *line, struct deed *out, char *why, size_t size);

#endif
