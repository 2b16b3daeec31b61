/* SPDX-License-Identifier: MIT */
/*
 * Markdown as mdoc: what README.md, WIRE.md and SEAL.md use of it, and no more.
 *
 * A heading `##` is a subsection, `###` a line that stands out; a table is a list, its first
 * column the tag and the others (under their headings, where there are more than one) the text.
 */
#include "doc/manual.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>

/* ---- text within a line ---- */

/* Drop the marks that a page of plain text does not need: `code`, **strong**, *word*, [text](link). */
static char *plain(const char *text, size_t len)
{
	char *out = malloc(len + 1);
	size_t n = 0;
	bool code = false;
	for (size_t i = 0; out && i < len; i++) {
		char c = text[i];
		if (c == '`') {
			code = !code;
			continue;
		}
		if (!code && c == '\\' && i + 1 < len) {
			out[n++] = text[++i];
			continue;
		}
		if (!code && c == '*' && (i + 1 < len && text[i + 1] == '*')) {
			i++;
			continue;
		}
		bool edge = (i && !isspace((unsigned char)text[i - 1])) ||
		            (i + 1 < len && !isspace((unsigned char)text[i + 1]));
		if (!code && c == '*' && edge)
			continue;
		if (!code && c == '[') {
			const char *end = memchr(text + i, ']', len - i);
			const char *close = end && end[1] == '(' ? memchr(end, ')', len - (size_t)(end - text)) : NULL;
			if (close) {
				for (const char *p = text + i + 1; p < end; p++)
					if (*p != '`')
						out[n++] = *p;
				i = (size_t)(close - text);
				continue;
			}
		}
		out[n++] = c;
	}
	if (out)
		out[n] = '\0';
	return out;
}

static void fill_plain(struct lines *out, const char *text, size_t len)
{
	char *clean = plain(text, len);
	if (clean)
		roff_fill(out, clean);
	free(clean);
}

/* ---- blocks ---- */

static size_t line_length(const char *at)
{
	return strcspn(at, "\n");
}

static const char *line_after(const char *at)
{
	at += line_length(at);
	return *at ? at + 1 : at;
}

static bool blank(const char *at)
{
	return strspn(at, " \t") == line_length(at);
}

static const char *heading(struct lines *out, const char *at)
{
	size_t level = strspn(at, "#"), n = line_length(at);
	char *clean = plain(at + level + 1, n - level - 1);
	if (clean && level > 1) {
		lines_puts(out, level == 2 ? ".Ss " : ".Pp\n.Sy ");
		roff_word(out, clean);
		lines_puts(out, level == 2 ? "\n" : "\n.Pp\n");
	}
	free(clean);
	return line_after(at);
}

static const char *block(struct lines *out, const char *at)
{
	const char *end = at;
	bool fenced = strncmp(at, "```", 3) == 0;
	lines_puts(out, ".Bd -literal -offset indent -compact\n");
	if (fenced)
		for (at = line_after(at); *at && strncmp(at, "```", 3) != 0; at = line_after(at)) {
			struct lines one = {0};
			lines_add(&one, at, line_length(at));
			roff_text(out, lines_text(&one));
			lines_puts(out, "\n");
			lines_free(&one);
			end = line_after(line_after(at));
		}
	else
		for (; *at && (strncmp(at, "    ", 4) == 0 || (blank(at) && strncmp(line_after(at), "    ", 4) == 0));
		     at = line_after(at)) {
			struct lines one = {0};
			if (!blank(at))
				lines_add(&one, at + 4, line_length(at) - 4);
			roff_text(out, lines_text(&one));
			lines_puts(out, "\n");
			lines_free(&one);
			end = line_after(at);
		}
	lines_puts(out, ".Ed\n");
	return end;
}

/* The cells of a row: where they begin and how long they are.  A bar in `code` or after a
 * backslash is none. */
#define CELLS_MAX 8
static int cells(const char *at, const char **cell, size_t *len)
{
	size_t n = line_length(at);
	int count = -1;
	bool code = false;
	for (size_t i = 0; i < n; i++) {
		if (at[i] == '`')
			code = !code;
		if (at[i] == '\\') {
			i++;
			continue;
		}
		if (at[i] != '|' || code)
			continue;
		if (count >= 0 && count < CELLS_MAX) {
			const char *from = cell[count], *end = at + i;
			while (end > from && end[-1] == ' ')
				end--;
			len[count] = (size_t)(end - from);
		}
		if (++count < CELLS_MAX)
			cell[count] = at + i + 1 + strspn(at + i + 1, " ");
	}
	return count > CELLS_MAX ? CELLS_MAX : count;
}

static const char *table(struct lines *out, const char *at)
{
	const char *head[CELLS_MAX + 1], *cell[CELLS_MAX + 1];
	size_t head_len[CELLS_MAX + 1], len[CELLS_MAX + 1];
	int heads = cells(at, head, head_len);
	at = line_after(line_after(at));
	lines_puts(out, ".Bl -tag -width Ds\n");
	for (; *at == '|'; at = line_after(at)) {
		int count = cells(at, cell, len);
		if (count < 1)
			continue;
		char *tag = plain(cell[0], len[0]);
		lines_puts(out, ".It ");
		if (tag)
			roff_word(out, tag);
		free(tag);
		lines_puts(out, "\n");
		bool any = false;
		for (int i = 1; i < count; i++) {
			if (!len[i])
				continue;
			if (any)
				lines_puts(out, ".br\n");
			any = true;
			if (heads > 2 && i < heads && head_len[i]) {
				lines_puts(out, ".Em ");
				for (size_t k = 0; k < head_len[i]; k++)
					lines_add(out, head[i] + k, 1);
				lines_puts(out, " :\n");
			}
			fill_plain(out, cell[i], len[i]);
		}
	}
	lines_puts(out, ".El\n");
	return at;
}

static bool starts_item(const char *at)
{
	size_t digits = strspn(at, "0123456789");
	return strncmp(at, "- ", 2) == 0 || (digits && strncmp(at + digits, ". ", 2) == 0);
}

static bool starts_block(const char *at)
{
	return blank(at) || *at == '#' || *at == '|' || strncmp(at, "    ", 4) == 0 || strncmp(at, "```", 3) == 0 ||
	       starts_item(at);
}

static const char *paragraph(struct lines *out, const char *at)
{
	const char *end = line_after(at);
	while (*end && !starts_block(end))
		end = line_after(end);
	fill_plain(out, at, (size_t)(end - at));
	return end;
}

static const char *list(struct lines *out, const char *at)
{
	bool numbered = *at != '-';
	lines_printf(out, ".Bl -%s -width Ds\n", numbered ? "enum" : "bullet");
	while (*at && starts_item(at) && numbered == (*at != '-')) {
		const char *text = at + strcspn(at, " ") + 1;
		const char *end = line_after(at);
		while (*end && !blank(end) && *end != '#' && *end != '|' && !starts_item(end))
			end = line_after(end);
		lines_puts(out, ".It\n");
		fill_plain(out, text, (size_t)(end - text));
		at = end;
		while (*at && blank(at))
			at = line_after(at);
	}
	lines_puts(out, ".El\n");
	return at;
}

void manual_markdown(struct lines *out, const char *text)
{
	bool parted = true; /* a paragraph mark is wanted between two paragraphs, not after a heading */
	while (*text) {
		if (blank(text)) {
			text = line_after(text);
			continue;
		}
		if (*text == '#') {
			text = heading(out, text);
			parted = true;
			continue;
		}
		bool code = strncmp(text, "    ", 4) == 0 || strncmp(text, "```", 3) == 0;
		if (!parted && *text != '|' && !starts_item(text))
			lines_puts(out, ".Pp\n");
		if (code)
			text = block(out, text);
		else if (*text == '|')
			text = table(out, text);
		else if (starts_item(text))
			text = list(out, text);
		else
			text = paragraph(out, text);
		parted = false;
	}
}
