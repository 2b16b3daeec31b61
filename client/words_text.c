/* SPDX-License-Identifier: MIT */
/*
 * Texts of others on a terminal: how wide they are, where they may be cut and folded, and what
 * would steer the terminal made visible.  See words.h.
 */
#include "client/words.h"

#include "protocol/file/utf8.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- characters ---- */

/* One character at `at`: its length and code, length 1 and code 0xFFFFFFFF for a
 * byte that begins none. */
static size_t character(const char *text, size_t len, uint32_t *code)
{
	const unsigned char *u = (const unsigned char *)text;
	size_t n = utf8_length(text, len);
	*code = 0xFFFFFFFFu;
	if (n == 0)
		return 1;
	uint32_t c = n == 1 ? u[0] : u[0] & (0xFFu >> (n + 1));
	for (size_t i = 1; i < n; i++)
		c = c << 6 | (u[i] & 0x3Fu);
	*code = c;
	return n;
}

static bool between(uint32_t c, uint32_t low, uint32_t high)
{
	return c >= low && c <= high;
}

/* Blocks of combining and of wide characters, from the Unicode Standard's block
 * names (from memory): coarse, but no column is off for the scripts in use. */
static size_t character_width(uint32_t c)
{
	if (between(c, 0x300, 0x36F) || between(c, 0x200B, 0x200F) || between(c, 0x20D0, 0x20FF) ||
	    between(c, 0xFE00, 0xFE0F) || c == 0xFEFF)
		return 0;
	if (between(c, 0x1100, 0x115F) || between(c, 0x2E80, 0xA4CF) || between(c, 0xAC00, 0xD7A3) ||
	    between(c, 0xF900, 0xFAFF) || between(c, 0xFE30, 0xFE6F) || between(c, 0xFF00, 0xFF60) ||
	    between(c, 0xFFE0, 0xFFE6) || between(c, 0x1F300, 0x1FAFF) ||
	    between(c, 0x20000, 0x3FFFD))
		return 2;
	return 1;
}

size_t words_width(const char *text, size_t len)
{
	size_t width = 0;
	for (size_t i = 0; i < len;) {
		uint32_t c;
		i += character(text + i, len - i, &c);
		width += c == 0xFFFFFFFFu ? 1 : character_width(c);
	}
	return width;
}

bool words_utf8(const char *text, size_t len, size_t *where)
{
	for (size_t i = 0; i < len;) {
		uint32_t c;
		size_t n = character(text + i, len - i, &c);
		*where = i;
		if (c == 0xFFFFFFFFu || c == 0)
			return false;
		i += n;
	}
	return true;
}

size_t words_cut(const char *text, size_t len, size_t most)
{
	size_t end = 0;
	if (len <= most)
		return len;
	for (size_t i = 0; i < len;) {
		uint32_t c;
		size_t n = character(text + i, len - i, &c);
		bool mark = i && c != 0xFFFFFFFFu && character_width(c) == 0;
		if (!mark)
			end = i;
		if (i + n > most)
			break;
		i += n;
	}
	return end;
}

/* Would this character steer the terminal, or turn the text around? */
static bool steers(uint32_t c)
{
	return c < 0x20 || between(c, 0x7F, 0x9F) || between(c, 0x2028, 0x202E) ||
	       between(c, 0x2066, 0x2069);
}

void words_clean(const char *text, size_t len, char *out, size_t size)
{
	size_t at = 0;
	if (!size)
		return;
	for (size_t i = 0; i < len;) {
		uint32_t c;
		size_t n = character(text + i, len - i, &c);
		char shown[12];
		if (c == 0xFFFFFFFFu)
			snprintf(shown, sizeof shown, "\\x%02X", (unsigned char)text[i]);
		else if (steers(c))
			snprintf(shown, sizeof shown, c < 0x100 ? "\\x%02X" : "\\u%04X", (unsigned)c);
		else
			snprintf(shown, sizeof shown, "%.*s", (int)n, text + i);
		size_t add = strlen(shown);
		if (at + add + 1 > size)
			break;
		memcpy(out + at, shown, add);
		at += add;
		i += n;
	}
	out[at] = '\0';
}

void words_string(struct slice string, char *out, size_t size)
{
	/* A decoded string is never longer than its JSON text. */
	char near[WORDS_SIZE * 2];
	char *decoded = string.len + 1 > sizeof near ? malloc(string.len + 1) : near;
	out[0] = '\0';
	if (!decoded)
		return;
	if (json_text(string, decoded, decoded == near ? sizeof near : string.len + 1))
		words_clean(decoded, strlen(decoded), out, size);
	if (decoded != near)
		free(decoded);
}

void words_member(struct slice object, const char *path, char *out, size_t size)
{
	struct slice s = object.at ? json_member(object.at, object.len, path) : object;
	words_string(s, out, size);
}

bool words_member_is(struct slice object, const char *path, const char *want)
{
	char got[WORDS_SIZE];
	words_member(object, path, got, sizeof got);
	return strcmp(got, want) == 0;
}

/* ---- folding ---- */

void words_fold(struct lines *out, const struct style *style, size_t column, size_t indent,
                const char *text)
{
	/* Narrower than this a folded column helps nobody. */
	const size_t least = 24;
	size_t width = style->width > 0 ? (size_t)style->width : 0;
	if (style->plain || width < indent + least) {
		lines_puts(out, text);
		return;
	}
	bool first = true;
	while (*text) {
		size_t n = strcspn(text, " ");
		size_t w = words_width(text, n);
		if (!first && column + 1 + w > width) {
			lines_puts(out, "\n");
			lines_fill(out, ' ', indent);
			column = indent;
		} else if (!first) {
			lines_puts(out, " ");
			column++;
		}
		lines_add(out, text, n);
		column += w;
		text += n;
		while (*text == ' ')
			text++;
		first = false;
	}
}
