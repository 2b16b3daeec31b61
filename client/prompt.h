/* SPDX-License-Identifier: MIT */
/*
 * A line that is typed and put right: text and cursor, one key after the other.
 *
 * The text is UTF-8 and comes a byte at a time, as terminals send it.  The cursor stands
 * on a byte where a character begins, never between a letter and its combining marks.
 * Keys: left, right, home, end, delete, rub out, and as shells have them Ctrl-A, E, B, F,
 * D, W (a word back), U (all before), K (all behind).
 *
 * Pure.  Bound: PROMPT_MAX with the NUL; what does not fit is not taken.
 */
#ifndef TALLY_CLIENT_PROMPT_H
#define TALLY_CLIENT_PROMPT_H

#include <stdbool.h>
#include <stddef.h>

#define PROMPT_MAX 400

/* Keys that are no character. */
enum {
	KEY_IS_ENTER = '\r',
	KEY_IS_ESCAPE = 27,
	KEY_IS_TAB = '\t',
	KEY_IS_RUBOUT = 127,
	KEY_IS_LEFT = 0x1001,
	KEY_IS_RIGHT,
	KEY_IS_HOME,
	KEY_IS_END,
	KEY_IS_DELETE,
	KEY_IS_UP,
	KEY_IS_DOWN,
};

/* Empty with {0}. */
struct prompt {
	char text[PROMPT_MAX];
	size_t len, at; /* at: the byte of the cursor, 0 to len */
};

/* The text anew, cut at a character; the cursor `at` bytes from its start, or its end. */
void prompt_set(struct prompt *p, const char *text, size_t at);

/* True where the key did something to the line. */
bool prompt_key(struct prompt *p, int key);

/* Put `text` in the place of the bytes from `from` to the cursor; the cursor behind it.
 * False, and nothing changed, where it does not fit. */
bool prompt_replace(struct prompt *p, size_t from, const char *text);

#endif
