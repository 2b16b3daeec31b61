/* SPDX-License-Identifier: MIT */
/*
 * The terminal as a screen, by ncursesw.  A program has one.
 *
 * Whatever ends the program, the terminal is left as it was found: by screen_close, at
 * exit, and by the signals that kill (they restore it, then do what they do).
 */
#ifndef TALLY_CLIENT_SCREEN_H
#define TALLY_CLIENT_SCREEN_H

#include "client/picture.h"
#include "client/words.h"

/* What screen_key gives besides bytes and KEY_IS_* of keys.h. */
enum { SCREEN_NO_KEY = -1, SCREEN_REDRAW = -2 };

/* Take over standard input and output.  *style: colour may be taken away where the
 * terminal has none, utf8 where the locale is not there.  False with a sentence where
 * the terminal cannot do it. */
bool screen_open(struct style *style, char *why, size_t size);
void screen_close(void);

void screen_size(int *width, int *height); /* asks the terminal */
void screen_draw(const struct picture *p);
/* Everything anew, also what something else wrote over it. */
void screen_refresh(void);
int screen_key(void); /* does not wait */

/* Leave the terminal, stop as Ctrl-Z asked, and take it over again.  Whoever has them
 * called listens to SIGTSTP before screen_open: what curses finds unheard it keeps, and
 * loses. */
void screen_suspend(void);
void screen_stop(void); /* stop alone, for who has no screen */

#endif
