/* SPDX-License-Identifier: MIT */
/* The line that is typed: see prompt.h. */
#include "client/prompt.h"

#include "client/words.h"

#include <string.h>

static bool continues(char byte)
{
	return ((unsigned char)byte & 0xC0) == 0x80;
}

/* Bytes of the character at `at`, as many as belong to it. */
static size_t bytes_at(const struct prompt *p, size_t at)
{
	size_t n = 1;
	while (at + n < p->len && continues(p->text[at + n]))
		n++;
	return n;
}

static bool is_mark(const struct prompt *p, size_t at)
{
	return at < p->len && words_width(p->text + at, bytes_at(p, at)) == 0;
}

static size_t before(const struct prompt *p, size_t at)
{
	while (at) {
		at--;
		if (!continues(p->text[at]) && !is_mark(p, at))
			break;
	}
	return at;
}

static size_t behind(const struct prompt *p, size_t at)
{
	if (at < p->len)
		at += bytes_at(p, at);
	while (is_mark(p, at))
		at += bytes_at(p, at);
	return at;
}

static size_t word_before(const struct prompt *p, size_t at)
{
	while (at && p->text[at - 1] == ' ')
		at--;
	while (at && p->text[at - 1] != ' ')
		at--;
	return at;
}

/* Take out the bytes from `from` to `to`; the cursor stands there then. */
static bool take_out(struct prompt *p, size_t from, size_t to)
{
	if (from == to)
		return false;
	memmove(p->text + from, p->text + to, p->len - to + 1);
	p->len -= to - from;
	p->at = from;
	return true;
}

bool prompt_replace(struct prompt *p, size_t from, const char *text)
{
	size_t n = strlen(text), gone = p->at - from;
	if (from > p->at || p->len - gone + n >= sizeof p->text)
		return false;
	memmove(p->text + from + n, p->text + p->at, p->len - p->at + 1);
	memcpy(p->text + from, text, n);
	p->len = p->len - gone + n;
	p->at = from + n;
	return true;
}

void prompt_set(struct prompt *p, const char *text, size_t at)
{
	words_clean(text, strlen(text), p->text, sizeof p->text);
	p->len = strlen(p->text);
	p->at = at < p->len ? at : p->len;
	while (p->at && p->at < p->len && continues(p->text[p->at]))
		p->at--;
}

static bool go(struct prompt *p, size_t to)
{
	bool moved = to != p->at;
	p->at = to;
	return moved;
}

#define CTRL(letter) ((letter) - '@')

bool prompt_key(struct prompt *p, int key)
{
	switch (key) {
	case KEY_IS_LEFT:
	case CTRL('B'):
		return go(p, before(p, p->at));
	case KEY_IS_RIGHT:
	case CTRL('F'):
		return go(p, behind(p, p->at));
	case KEY_IS_HOME:
	case CTRL('A'):
		return go(p, 0);
	case KEY_IS_END:
	case CTRL('E'):
		return go(p, p->len);
	case KEY_IS_RUBOUT:
	case CTRL('H'):
		return take_out(p, before(p, p->at), p->at);
	case KEY_IS_DELETE:
	case CTRL('D'):
		return take_out(p, p->at, behind(p, p->at));
	case CTRL('W'):
		return take_out(p, word_before(p, p->at), p->at);
	case CTRL('U'):
		return take_out(p, 0, p->at);
	case CTRL('K'):
		return take_out(p, p->at, p->len);
	default:
		break;
	}
	if (key < ' ' || key > 255)
		return false;
	return prompt_replace(p, p->at, (const char[]){(char)key, '\0'});
}
