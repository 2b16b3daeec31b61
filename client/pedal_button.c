/* SPDX-License-Identifier: MIT */
/* Words of a foot switch: its keys, its actions, what each button does.  See pedal_press.h. */
#include "client/pedal_press.h"

#include <linux/input-event-codes.h>
#include <stdio.h>
#include <string.h>

/* ---- actions ---- */

static const struct action {
	const char *name, *help;
} actions[PEDAL_ACTIONS] = {
	[PEDAL_NONE] = {"none", "nothing"},
	[PEDAL_TAKE] = {"take", "log the reading as it stands, or what is held"},
	[PEDAL_NEXT] = {"next", "go to the next position"},
	[PEDAL_BACK] = {"back", "go to the position before"},
	[PEDAL_AGAIN] = {"again", "measure this position again"},
	[PEDAL_SAY] = {"say", "say again"},
	[PEDAL_UNDO] = {"undo", "the last entry does not count"},
	[PEDAL_OTHER] = {"other", "what is held belongs to the part that it looks like"},
	[PEDAL_NEW] = {"new", "name the next position, where there is no schematic"},
};

const char *pedal_action_name(enum pedal_action action)
{
	return action < PEDAL_ACTIONS ? actions[action].name : "state";
}

const char *pedal_action_help(enum pedal_action action)
{
	return action < PEDAL_ACTIONS ? actions[action].help : "";
}

bool pedal_action_find(const char *word, size_t len, enum pedal_action *action)
{
	for (int i = 0; i < PEDAL_ACTIONS; i++)
		if (strlen(actions[i].name) == len && memcmp(actions[i].name, word, len) == 0) {
			*action = (enum pedal_action)i;
			return true;
		}
	return false;
}

/* ---- keys ---- */

/* Letters and figures, what stands around them, function and media keys, the buttons of
 * mice and sticks: what foot switches are set to. */
#define KEYS(X)                                                                                    \
	X(KEY_A) X(KEY_B) X(KEY_C) X(KEY_D) X(KEY_E) X(KEY_F) X(KEY_G) X(KEY_H) X(KEY_I) X(KEY_J)      \
	X(KEY_K) X(KEY_L) X(KEY_M) X(KEY_N) X(KEY_O) X(KEY_P) X(KEY_Q) X(KEY_R) X(KEY_S) X(KEY_T)      \
	X(KEY_U) X(KEY_V) X(KEY_W) X(KEY_X) X(KEY_Y) X(KEY_Z) X(KEY_0) X(KEY_1) X(KEY_2) X(KEY_3)      \
	X(KEY_4) X(KEY_5) X(KEY_6) X(KEY_7) X(KEY_8) X(KEY_9) X(KEY_ESC) X(KEY_MINUS) X(KEY_EQUAL)     \
	X(KEY_BACKSPACE) X(KEY_TAB) X(KEY_ENTER) X(KEY_SPACE) X(KEY_LEFTBRACE) X(KEY_RIGHTBRACE)       \
	X(KEY_SEMICOLON) X(KEY_APOSTROPHE) X(KEY_GRAVE) X(KEY_BACKSLASH) X(KEY_COMMA) X(KEY_DOT)       \
	X(KEY_SLASH) X(KEY_102ND) X(KEY_CAPSLOCK) X(KEY_NUMLOCK) X(KEY_SCROLLLOCK) X(KEY_LEFTCTRL)     \
	X(KEY_RIGHTCTRL) X(KEY_LEFTSHIFT) X(KEY_RIGHTSHIFT) X(KEY_LEFTALT) X(KEY_RIGHTALT)             \
	X(KEY_LEFTMETA) X(KEY_RIGHTMETA) X(KEY_COMPOSE) X(KEY_F1) X(KEY_F2) X(KEY_F3) X(KEY_F4)        \
	X(KEY_F5) X(KEY_F6) X(KEY_F7) X(KEY_F8) X(KEY_F9) X(KEY_F10) X(KEY_F11) X(KEY_F12) X(KEY_F13)  \
	X(KEY_F14) X(KEY_F15) X(KEY_F16) X(KEY_F17) X(KEY_F18) X(KEY_F19) X(KEY_F20) X(KEY_F21)        \
	X(KEY_F22) X(KEY_F23) X(KEY_F24) X(KEY_KP0) X(KEY_KP1) X(KEY_KP2) X(KEY_KP3) X(KEY_KP4)        \
	X(KEY_KP5) X(KEY_KP6) X(KEY_KP7) X(KEY_KP8) X(KEY_KP9) X(KEY_KPDOT) X(KEY_KPPLUS)              \
	X(KEY_KPMINUS) X(KEY_KPASTERISK) X(KEY_KPSLASH) X(KEY_KPENTER) X(KEY_KPEQUAL) X(KEY_SYSRQ)     \
	X(KEY_PAUSE) X(KEY_INSERT) X(KEY_DELETE) X(KEY_HOME) X(KEY_END) X(KEY_PAGEUP)                  \
	X(KEY_PAGEDOWN) X(KEY_UP) X(KEY_DOWN) X(KEY_LEFT) X(KEY_RIGHT) X(KEY_MUTE) X(KEY_VOLUMEDOWN)   \
	X(KEY_VOLUMEUP) X(KEY_PLAYPAUSE) X(KEY_PLAYCD) X(KEY_STOPCD) X(KEY_PREVIOUSSONG)               \
	X(KEY_NEXTSONG) X(KEY_FASTFORWARD) X(KEY_REWIND) X(KEY_RECORD) X(KEY_HELP) X(KEY_UNDO)         \
	X(KEY_BACK) X(KEY_FORWARD) X(BTN_0) X(BTN_1) X(BTN_2) X(BTN_3) X(BTN_4) X(BTN_5) X(BTN_6)      \
	X(BTN_7) X(BTN_8) X(BTN_9) X(BTN_LEFT) X(BTN_RIGHT) X(BTN_MIDDLE) X(BTN_SIDE) X(BTN_EXTRA)     \
	X(BTN_FORWARD) X(BTN_BACK) X(BTN_TASK) X(BTN_TRIGGER) X(BTN_THUMB) X(BTN_THUMB2) X(BTN_TOP)    \
	X(BTN_TOP2) X(BTN_PINKIE) X(BTN_BASE) X(BTN_BASE2) X(BTN_BASE3) X(BTN_BASE4) X(BTN_SOUTH)      \
	X(BTN_EAST) X(BTN_NORTH) X(BTN_WEST)

static const struct key {
	const char *name;
	unsigned code;
} keys[] = {
#define X(name) {#name, name},
	KEYS(X)
#undef X
};

void pedal_key_name(unsigned code, char out[PEDAL_KEY_SIZE])
{
	for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++)
		if (keys[i].code == code) {
			snprintf(out, PEDAL_KEY_SIZE, "%s", keys[i].name);
			return;
		}
	snprintf(out, PEDAL_KEY_SIZE, "CODE_%u", code);
}

bool pedal_key_find(const char *name, size_t len, unsigned *code)
{
	for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++)
		if (strlen(keys[i].name) == len && memcmp(keys[i].name, name, len) == 0) {
			*code = keys[i].code;
			return true;
		}
	if (len < 6 || len > 8 || memcmp(name, "CODE_", 5) != 0)
		return false;
	*code = 0;
	for (size_t i = 5; i < len; i++) {
		if (name[i] < '0' || name[i] > '9')
			return false;
		*code = *code * 10 + (unsigned)(name[i] - '0');
	}
	return *code > 0 && *code <= KEY_MAX;
}

bool pedal_key_modifier(unsigned code)
{
	switch (code) {
	case KEY_LEFTCTRL: case KEY_RIGHTCTRL: case KEY_LEFTSHIFT: case KEY_RIGHTSHIFT:
	case KEY_LEFTALT: case KEY_RIGHTALT: case KEY_LEFTMETA: case KEY_RIGHTMETA:
		return true;
	default:
		return false;
	}
}

/* ---- buttons ---- */

static const char action_words[] = "take, next, back, again, say, undo, other, new or none";

/* The next word: its length, 0 at the end or at a comma; *at moves to it. */
static size_t next_word(const char *text, size_t *at)
{
	*at += strspn(text + *at, " \t");
	return strcspn(text + *at, " \t,");
}

static bool refuse(struct fault *why, size_t at, const char *format, const char *word, size_t len)
{
	char text[64];
	snprintf(text, sizeof text, "%.*s", (int)(len < 40 ? len : 40), word);
	fault_set(why, format, text, action_words);
	why->column = (int)at + 1;
	return false;
}

/* "KEY take [long undo] [double back]" up to the comma. */
static bool button_parse(const char *text, size_t *at, struct pedal_button *b, struct fault *why)
{
	size_t len = next_word(text, at);
	if (!len || !pedal_key_find(text + *at, len, &b->code))
		return refuse(why, *at, "\"%s\" is no key: expected a name such as KEY_B, and what it does",
		              text + *at, len);
	*at += len;
	len = next_word(text, at);
	if (!len || !pedal_action_find(text + *at, len, &b->press))
		return refuse(why, *at, "a button does one of %2$s, not \"%1$s\"", text + *at, len);
	*at += len;
	while ((len = next_word(text, at)) > 0) {
		bool is_long = len == 4 && memcmp(text + *at, "long", 4) == 0;
		bool is_double = len == 6 && memcmp(text + *at, "double", 6) == 0;
		enum pedal_action *second = is_long ? &b->held : &b->twice;
		if ((!is_long && !is_double) || *second != PEDAL_NONE)
			return refuse(why, *at, "\"%s\": expected `long` or `double` and an action, once each, "
			              "or a comma and the next button", text + *at, len);
		*at += len;
		len = next_word(text, at);
		if (!len || !pedal_action_find(text + *at, len, second))
			return refuse(why, *at, "a button does one of %2$s, not \"%1$s\"", text + *at, len);
		*at += len;
	}
	return true;
}

bool pedal_buttons_parse(const char *text, struct pedal_buttons *b, struct fault *why)
{
	struct pedal_buttons got = {0};
	size_t at = 0;
	if (!next_word(text, &at) && !text[at]) {
		*b = got;
		return true;
	}
	for (;; at++) {
		next_word(text, &at);
		size_t from = at;
		struct pedal_button one = {0};
		if (!button_parse(text, &at, &one, why))
			return false;
		for (int i = 0; i < got.count; i++)
			if (got.at[i].code == one.code)
				return refuse(why, from, "\"%s\": this key was given already", text + from,
				              at - from);
		if (got.count == PEDAL_BUTTONS_MAX)
			return refuse(why, from, "\"%s\": there are more than eight buttons", text + from,
			              at - from);
		got.at[got.count++] = one;
		if (!text[at]) {
			*b = got;
			return true;
		}
	}
}

void pedal_buttons_text(const struct pedal_buttons *b, char *out, size_t size)
{
	size_t n = 0;
	char key[PEDAL_KEY_SIZE];
	out[0] = '\0';
	for (int i = 0; i < b->count && n < size; i++) {
		const struct pedal_button *one = &b->at[i];
		pedal_key_name(one->code, key);
		n += (size_t)snprintf(out + n, size - n, "%s%s %s", i ? ", " : "", key,
		                      pedal_action_name(one->press));
		if (one->held != PEDAL_NONE && n < size)
			n += (size_t)snprintf(out + n, size - n, " long %s", pedal_action_name(one->held));
		if (one->twice != PEDAL_NONE && n < size)
			n += (size_t)snprintf(out + n, size - n, " double %s", pedal_action_name(one->twice));
	}
}
