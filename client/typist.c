/* SPDX-License-Identifier: MIT */
/* A line that is typed: see typist.h. */
#include "client/typist.h"

#include "client/words.h"

#include <stdlib.h>
#include <string.h>

#define CONTROL(letter) ((letter) - '@')

void typist_free(struct typist *t)
{
	lines_free(&t->paste);
	for (int i = 0; i < t->befores; i++)
		free(t->before[i]);
	*t = (struct typist){0};
}

/* ---- the line ---- */

static bool inside_character(const struct typist *t, size_t at)
{
	return at > 0 && at < t->len && ((unsigned char)t->text[at] & 0xc0) == 0x80;
}

static size_t step_left(const struct typist *t, size_t at)
{
	if (at > 0)
		at--;
	while (inside_character(t, at))
		at--;
	return at;
}

static size_t step_right(const struct typist *t, size_t at)
{
	if (at < t->len)
		at++;
	while (inside_character(t, at))
		at++;
	return at;
}

static void take_out(struct typist *t, size_t from, size_t to)
{
	memmove(t->text + from, t->text + to, t->len - to + 1);
	t->len -= to - from;
	t->at = from;
}

void typist_put(struct typist *t, const char *text, size_t len)
{
	if (t->len + len > TYPIST_LINE_MAX)
		return;
	memmove(t->text + t->at + len, t->text + t->at, t->len - t->at + 1);
	memcpy(t->text + t->at, text, len);
	t->len += len;
	t->at += len;
}

void typist_set(struct typist *t, const char *text, size_t at)
{
	size_t len = strlen(text);
	t->len = len < TYPIST_LINE_MAX ? len : TYPIST_LINE_MAX;
	memcpy(t->text, text, t->len);
	t->text[t->len] = '\0';
	t->at = at < t->len ? at : t->len;
	while (inside_character(t, t->at))
		t->at--;
}

void typist_next(struct typist *t)
{
	bool again = t->befores && strcmp(t->before[t->befores - 1], t->text) == 0;
	char *copy = t->len && !again ? strdup(t->text) : NULL;
	if (copy && t->befores == TYPIST_HISTORY) {
		free(t->before[0]);
		memmove(t->before, t->before + 1, (TYPIST_HISTORY - 1) * sizeof t->before[0]);
		t->befores--;
	}
	if (copy)
		t->before[t->befores++] = copy;
	t->shown = t->befores;
	t->fault_at = TYPIST_LINE_MAX;
	typist_set(t, "", 0);
}

static enum typed history(struct typist *t, int by)
{
	int to = t->shown + by;
	if (to < 0 || to > t->befores)
		return TYPED_NOTHING;
	t->shown = to;
	const char *text = to < t->befores ? t->before[to] : "";
	typist_set(t, text, to == t->befores - 1 ? t->fault_at : strlen(text));
	return TYPED_CHANGED;
}

static void rub_word(struct typist *t)
{
	size_t from = t->at;
	while (from > 0 && t->text[from - 1] == ' ')
		from--;
	while (from > 0 && t->text[from - 1] != ' ')
		from--;
	take_out(t, from, t->at);
}

/* ---- sequences ---- */

static enum typed move(struct typist *t, size_t to)
{
	t->at = to;
	return TYPED_CHANGED;
}

static enum typed sequence(struct typist *t)
{
	static const struct {
		const char *bytes;
		char key;
	} known[] = {
	    {"[A", 'P'}, {"OA", 'P'}, {"[B", 'N'}, {"OB", 'N'},  {"[C", 'F'},  {"OC", 'F'},
	    {"[D", 'B'}, {"OD", 'B'}, {"[H", 'A'}, {"OH", 'A'},  {"[1~", 'A'}, {"[7~", 'A'},
	    {"[F", 'E'}, {"OF", 'E'}, {"[4~", 'E'}, {"[8~", 'E'},
	};
	if (strcmp(t->escape, "[200~") == 0) {
		t->pasting = true;
		return TYPED_NOTHING;
	}
	if (strcmp(t->escape, "[3~") == 0) {
		if (t->at < t->len)
			take_out(t, t->at, step_right(t, t->at));
		return TYPED_CHANGED;
	}
	for (size_t i = 0; i < sizeof known / sizeof *known; i++)
		if (strcmp(t->escape, known[i].bytes) == 0)
			return typist_byte(t, (unsigned char)CONTROL(known[i].key));
	return TYPED_NOTHING;
}

/* ESC [ digits letter, ESC O letter; one that is longer than any is dropped. */
static enum typed escape_byte(struct typist *t, unsigned char c)
{
	size_t n = t->escape_len; /* 1: the ESC itself */
	if (n >= sizeof t->escape) {
		if (c >= '@' && c <= '~')
			t->escape_len = 0;
		return TYPED_NOTHING;
	}
	t->escape[n - 1] = (char)c;
	t->escape[n] = '\0';
	t->escape_len++;
	bool more = n == 1 ? c == '[' || c == 'O' : t->escape[0] == '[' && (c < '@' || c > '~');
	if (more)
		return TYPED_NOTHING;
	t->escape_len = 0;
	return sequence(t);
}

/* ---- paste ---- */

static enum typed paste_byte(struct typist *t, unsigned char c)
{
	static const char end[] = "\x1b[201~";
	char byte = (char)c;
	if (t->paste.len < TYPIST_PASTE_MAX)
		lines_add(&t->paste, &byte, 1);
	size_t n = sizeof end - 1, len = t->paste.len;
	if (c != '~' || len < n || memcmp(t->paste.bytes + len - n, end, n) != 0)
		return TYPED_NOTHING;
	t->paste.len -= n;
	t->paste.bytes[t->paste.len] = '\0';
	t->pasting = false;
	return TYPED_PASTE;
}

/* A line end of any kind as LF; control characters but tabs dropped. */
static void plain_paste(const char *bytes, size_t len, struct lines *out)
{
	for (size_t i = 0; i < len; i++) {
		unsigned char c = (unsigned char)bytes[i];
		bool after = c == '\n' && i > 0 && bytes[i - 1] == '\r';
		if ((c == '\r' || c == '\n') && !after)
			lines_add(out, "\n", 1);
		else if ((c >= 0x20 && c != 0x7f) || c == '\t')
			lines_add(out, bytes + i, 1);
	}
}

void typist_paste(struct typist *t, struct lines *whole)
{
	struct lines text = {0};
	plain_paste(lines_text(&t->paste), t->paste.len, &text);
	lines_free(&t->paste);
	const char *all = lines_text(&text), *last = strrchr(all, '\n');
	if (last) {
		/* What was typed before it begins its first line; what stood behind ends the last. */
		lines_add(whole, t->text, t->at);
		lines_add(whole, all, (size_t)(last + 1 - all));
		take_out(t, 0, t->at);
		all = last + 1;
	}
	typist_put(t, all, strlen(all));
	lines_free(&text);
}

/* ---- keys ---- */

static enum typed control(struct typist *t, unsigned char c)
{
	switch (c) {
	case '\r':
	case '\n':
		return TYPED_LINE;
	case '\t':
		return TYPED_TAB;
	case CONTROL('A'):
		return move(t, 0);
	case CONTROL('E'):
		return move(t, t->len);
	case CONTROL('B'):
		return move(t, step_left(t, t->at));
	case CONTROL('F'):
		return move(t, step_right(t, t->at));
	case CONTROL('P'):
		return history(t, -1);
	case CONTROL('N'):
		return history(t, 1);
	case CONTROL('H'):
	case 0x7f:
		take_out(t, step_left(t, t->at), t->at);
		return TYPED_CHANGED;
	case CONTROL('U'):
		take_out(t, 0, t->at);
		return TYPED_CHANGED;
	case CONTROL('K'):
		take_out(t, t->at, t->len);
		return TYPED_CHANGED;
	case CONTROL('W'):
		rub_word(t);
		return TYPED_CHANGED;
	case CONTROL('L'):
		return TYPED_CHANGED;
	case CONTROL('C'):
		if (!t->len)
			return TYPED_BREAK;
		typist_set(t, "", 0);
		return TYPED_CHANGED;
	case CONTROL('D'):
		if (!t->len)
			return TYPED_END;
		if (t->at < t->len)
			take_out(t, t->at, step_right(t, t->at));
		return TYPED_CHANGED;
	case 0x1b:
		t->escape_len = 1;
		return TYPED_NOTHING;
	default:
		return TYPED_NOTHING;
	}
}

enum typed typist_byte(struct typist *t, unsigned char c)
{
	char byte = (char)c;
	if (t->pasting)
		return paste_byte(t, c);
	if (t->escape_len)
		return escape_byte(t, c);
	if (c < 0x20 || c == 0x7f)
		return control(t, c);
	typist_put(t, &byte, 1);
	/* The rest of a character is on its way: nothing to be seen yet. */
	return c >= 0xc0 ? TYPED_NOTHING : TYPED_CHANGED;
}

/* ---- drawing ---- */

void typist_draw(const struct typist *t, const char *prompt, int width, struct lines *out)
{
	size_t lead = strlen(prompt), room = width > (int)lead + 8 ? (size_t)width - lead - 1 : 8;
	size_t from = 0, to = 0;
	/* As far to the right as the cursor needs. */
	while (words_width(t->text + from, t->at - from) > room)
		from = step_right(t, from);
	to = t->at;
	while (to < t->len && words_width(t->text + from, step_right(t, to) - from) <= room)
		to = step_right(t, to);
	lines_printf(out, "\r%s", prompt);
	for (size_t i = from; i < to; i++)
		lines_add(out, t->text[i] == '\t' ? " " : t->text + i, 1);
	lines_printf(out, "\x1b[K\r\x1b[%zuC", lead + words_width(t->text + from, t->at - from));
}
