/* SPDX-License-Identifier: MIT */
/*
 * What is typed, and what helps with it:
 *
 *     enter: C7 leakage 0.3 uA from tester_
 *     Enter logs, as typed: C7 leakage 0.3 uA from tester
 *
 * The line is cut around the cursor, never inside a character; the row below says what is
 * asked for, then what was understood, names that would do, or what is wrong.
 */
#include "client/view_bench.h"

#include "client/phrase.h"

#include <stdio.h>
#include <string.h>

/* "note at R3: ", "enter: ". */
static void asked_for(const struct keys *k, char *out, size_t size)
{
	const char *label = action_table[k->asked].label;
	bool at = (k->asked == ACTION_NOTE || k->asked == ACTION_PHOTO) && k->about[0];
	snprintf(out, size, "%s%s%s: ", label, at ? " at " : "", at ? k->about : "");
}

static size_t next_character(const char *text, size_t at)
{
	at++;
	while (((unsigned char)text[at] & 0xC0) == 0x80)
		at++;
	return at;
}

static int width_of(const char *text, size_t from, size_t to)
{
	return (int)words_width(text + from, to - from);
}

static const char how[] = "Enter does it  Tab completes  Esc leaves";

void view_bench_how(struct picture *p, int row, int width)
{
	picture_clear(p, row, 0, width);
	picture_put(p, row, 0, LOOK_FAINT, how);
}

void view_bench_prompt(const struct bench_view *v, struct picture *p, int row, int width)
{
	const struct keys *k = v->keys;
	const struct prompt *l = &k->line;
	char label[64 + KEYS_ABOUT];
	asked_for(k, label, sizeof label);
	picture_clear(p, row, 0, width);
	int column = picture_put_most(p, row, 0, width / 2, LOOK_STRONG, label), end = width;
	if (width >= BENCH_HOW_BESIDE)
		end = width - (int)sizeof how;
	/* From here on, so that the cursor and a cell behind it are there. */
	size_t from = 0;
	while (from < l->at && width_of(l->text, from, l->at) > end - column - 2)
		from = next_character(l->text, from);
	while (from < l->at && width_of(l->text, from, next_character(l->text, from)) == 0)
		from = next_character(l->text, from); /* a mark without its letter */
	if (from)
		picture_put(p, row, column - 1, LOOK_FAINT, "<");
	int behind = picture_put_most(p, row, column, end - column - 1, LOOK_ORDINARY, l->text + from);
	if (width_of(l->text, from, l->len) > end - column - 1)
		picture_put(p, row, behind, LOOK_FAINT, ">");
	p->cursor_row = row;
	p->cursor_column = column + width_of(l->text, from, l->at);
	if (p->cursor_column >= width)
		p->cursor_column = width - 1;
	if (end < width)
		picture_put(p, row, width - (int)sizeof how + 1, LOOK_FAINT, how);
}

/* What an entry would be, in the order in which it is understood; what is missing from
 * it, once its value is begun. */
static enum look understood(const struct bench_view *v, char *out, size_t size)
{
	struct phrase_enter e;
	char why[KEYS_HINT], value[WORDS_SIZE], u[WORDS_SIZE];
	snprintf(out, size, "%s", keys_asks(v->keys->asked));
	if (v->keys->asked != ACTION_ENTER)
		return LOOK_FAINT;
	if (!phrase_enter(v->keys->line.text, &e, why, sizeof why)) {
		if (e.value[0])
			snprintf(out, size, "%s", why);
		return LOOK_FAINT;
	}
	words_value(v->style, e.value, value, sizeof value);
	words_value(v->style, e.u, u, sizeof u);
	snprintf(out, size, "Enter logs, as typed: %s %s%s%s%s%s from %s%s", e.position, e.quantity,
	         e.quantity[0] ? " " : "", value, u[0] ? " u " : "", u, e.from,
	         e.because[0] ? ", and why" : "");
	return LOOK_GOOD;
}

void view_bench_hint(const struct bench_view *v, struct picture *p, int row, int width)
{
	const struct keys *k = v->keys;
	char text[4 * WORDS_SIZE];
	picture_clear(p, row, 0, width);
	enum look look = understood(v, text, sizeof text);
	if (k->hint[0])
		picture_put_most(p, row, 0, width, LOOK_WARNING, k->hint);
	else
		picture_put_most(p, row, 0, width, look, text);
}
