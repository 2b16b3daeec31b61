/* SPDX-License-Identifier: MIT */
/*
 * A line that is typed at a terminal: bytes in, the line and what is to be done out.
 *
 *   left right home end, Ctrl-B F A E      move            Ctrl-P N, up down   lines before
 *   rubout Ctrl-H, delete                  one character   Ctrl-U K W          to the ends, a word
 *   Enter                                  the line        Tab                 complete
 *   Ctrl-C                                 away with it    Ctrl-D              the end, where empty
 *
 * What is pasted between the marks of bracketed paste (ESC [ 200 ~ and 201 ~) is text and
 * never a key: a tab in it completes nothing.  It is gathered whole.  Control characters
 * that are none of these are dropped, in a paste too, but for its tabs and line ends.
 *
 * Pure: the terminal is the caller's.
 */
#ifndef TALLY_CLIENT_TYPIST_H
#define TALLY_CLIENT_TYPIST_H

#include "client/lines.h"

#define TYPIST_LINE_MAX 1000 /* bytes; more is not taken */
#define TYPIST_PASTE_MAX (512u << 10)
#define TYPIST_HISTORY 50

enum typed {
	TYPED_NOTHING,
	TYPED_CHANGED,  /* draw it anew */
	TYPED_LINE,     /* Enter: the line is complete */
	TYPED_TAB,
	TYPED_PASTE,    /* a paste has ended: take it with typist_paste */
	TYPED_BREAK,    /* Ctrl-C on an empty line */
	TYPED_END,      /* Ctrl-D on an empty line */
};

struct typist {
	char text[TYPIST_LINE_MAX + 1]; /* UTF-8, NUL-terminated */
	size_t len, at;                 /* the cursor, in bytes, at a character */
	char escape[16];                /* a sequence that has begun */
	size_t escape_len;
	bool pasting;
	struct lines paste;
	char *before[TYPIST_HISTORY]; /* the newest last */
	int befores, shown;           /* shown: which of them stands there; befores: none */
	size_t fault_at;              /* where the newest of them is at fault; set by the caller */
};

/* Start from `(struct typist){0}`; give the memory back with typist_free. */
void typist_free(struct typist *t);
enum typed typist_byte(struct typist *t, unsigned char byte);
/* Put text at the cursor; what does not fit is not taken. */
void typist_put(struct typist *t, const char *text, size_t len);
/* Another line, with the cursor at that byte. */
void typist_set(struct typist *t, const char *text, size_t at);
/* Keep the line for Ctrl-P and begin an empty one; it has no fault yet. */
void typist_next(struct typist *t);

/*
 * A paste that has ended.  Its whole lines, the first with what was typed before it, are put
 * into `whole` (LF after each); what follows the last line end stays as the line.
 */
void typist_paste(struct typist *t, struct lines *whole);

/*
 * The bytes that draw the line behind a prompt in a row of `width` columns: the part of it
 * around the cursor, and the cursor in its place.
 */
void typist_draw(const struct typist *t, const char *prompt, int width, struct lines *out);

#endif
