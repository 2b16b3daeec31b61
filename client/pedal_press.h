/* SPDX-License-Identifier: MIT */
/*
 * From what a foot switch sends to what is done: which button does what, and a stream of
 * (time, code, value) to actions.
 *
 * Pure: time is given, nothing is asked.  One foot, no eyes: what could be taken for a
 * press and was none must do nothing, and a press must do one thing.
 *
 *   - A press counts at its first contact.  It must not wait until the contact rests, for
 *     some switches send down and up within one report of the bus, however long the foot
 *     stays.  A release counts when the contact has been open for `debounce`: so a contact
 *     that chatters, at the beginning, under the foot, or at the end, is one press.
 *   - Auto-repeat (value 2) is nothing.
 *   - A button with a second action waits until it is known which is meant: `long` comes
 *     as soon as the button was down that long, `double` with the second press; the
 *     first action then comes at the release, or when no second press came in time.
 *   - A button that goes down while another is down does nothing: a foot on two buttons
 *     means one at most, the first.  A press elsewhere decides a first press that still
 *     waits for a second.
 *   - What is known late does nothing: a press or a decision older than PEDAL_STALE_US
 *     (the program was stopped, the machine slept) changes the state alone.
 */
#ifndef TALLY_CLIENT_PEDAL_PRESS_H
#define TALLY_CLIENT_PEDAL_PRESS_H

#include "protocol/trade/fault.h"

#include <stdbool.h>
#include <stdint.h>

/* What a button can do.  The words are those of the keys of the screen. */
enum pedal_action {
	PEDAL_NONE,
	PEDAL_TAKE,  /* log the reading as it stands; decide what is held */
	PEDAL_NEXT,  /* the next position */
	PEDAL_BACK,  /* the position before */
	PEDAL_AGAIN, /* measure this position again */
	PEDAL_SAY,   /* say again */
	PEDAL_UNDO,  /* the last entry does not count */
	PEDAL_OTHER, /* what is held is of the part that it looks like */
	PEDAL_NEW,   /* name the next new position */
	PEDAL_ACTIONS,
	/* No button does this: the state of the pedal changed (pedal.h). */
	PEDAL_STATE = PEDAL_ACTIONS,
};

/* "take"; "none" for PEDAL_NONE. */
const char *pedal_action_name(enum pedal_action action);
/* What it does, for people. */
const char *pedal_action_help(enum pedal_action action);
/* The action of a word of `len` bytes, "none" too; false for any other. */
bool pedal_action_find(const char *word, size_t len, enum pedal_action *action);

/* ---- keys by name ---- */

/* Names as the kernel's header has them ("KEY_B", "BTN_LEFT") for what foot switches and
 * their set-up programs send; "CODE_589" for any other.  Out to PEDAL_KEY_SIZE bytes. */
#define PEDAL_KEY_SIZE 24
void pedal_key_name(unsigned code, char out[PEDAL_KEY_SIZE]);
bool pedal_key_find(const char *name, size_t len, unsigned *code);
/* Shift, control and the like: what goes before the key that is meant. */
bool pedal_key_modifier(unsigned code);

/* ---- buttons ---- */

#define PEDAL_BUTTONS_MAX 8

struct pedal_button {
	unsigned code;
	enum pedal_action press, held, twice; /* PEDAL_NONE: nothing */
};

struct pedal_buttons {
	int count;
	struct pedal_button at[PEDAL_BUTTONS_MAX];
};

/* "KEY_B take long undo, KEY_C next double back".  False with the fault; its column
 * counts from the start of the text.  "" is no button. */
bool pedal_buttons_parse(const char *text, struct pedal_buttons *b, struct fault *why);
/* The same text again; at most `size` bytes with the NUL. */
void pedal_buttons_text(const struct pedal_buttons *b, char *out, size_t size);

/* ---- times ---- */

/* Small switches bounce for 5 to 20 ms (common practice, no source).  A pedal is heavier
 * and worn, and no foot lets go for less than some 60 ms: so a little more than usual. */
#define PEDAL_DEBOUNCE_MS 30
/* Longer than any press that just was one, shorter than patience. */
#define PEDAL_LONG_MS 700
/* Two presses of a foot take 200 to 350 ms (from memory); every single press waits this
 * long where `double` has an action. */
#define PEDAL_DOUBLE_MS 400
/* What was pressed a second ago was meant for what was on the screen a second ago. */
#define PEDAL_STALE_US 1000000

struct pedal_timing {
	int64_t debounce_us, long_us, double_us;
};

/* ---- the stream ---- */

struct pedal_press {
	struct pedal_buttons buttons;
	struct pedal_timing timing;
	void (*act)(void *arg, enum pedal_action action, unsigned code);
	void *arg;
	int64_t last; /* time never runs backwards */
	struct pedal_press_state {
		bool down;     /* the press goes on, chatter passed over */
		bool pending;  /* a press whose action is not decided */
		int64_t down_at;
		int64_t up_at; /* the contact is open since then; -1: closed */
	} state[PEDAL_BUTTONS_MAX];
};

/* All up.  `act` is called from the functions below, once an action. */
void pedal_press_begin(struct pedal_press *p, const struct pedal_buttons *buttons,
                       const struct pedal_timing *timing,
                       void (*act)(void *arg, enum pedal_action action, unsigned code), void *arg);

/* One key event of the device: when it was (us), and when it is now, of the same clock.
 * Decisions that were due before it are made before it.  Other codes are passed over. */
void pedal_press_event(struct pedal_press *p, int64_t now, int64_t time, unsigned code, int value);
/* Make the decisions that are due.  All events until then must have been given. */
void pedal_press_run(struct pedal_press *p, int64_t now);
/* When the next decision is due; INT64_MAX for none. */
int64_t pedal_press_due(const struct pedal_press *p);

/* The button is so, whatever happened meanwhile: nothing is done for it, and one that is
 * down does nothing until it was let go. */
void pedal_press_set(struct pedal_press *p, unsigned code, bool down);

#endif
